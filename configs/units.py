"""Lengths as people write them, and back: the only place where inches become millimetres.

Everything past this edge of the program is float mm. Reading is exact: the text becomes a
fraction and the fraction is multiplied by the unit (1 in = 25.4 mm, international yard and
pound agreement of 1959), so ``21 1/2 in`` is 546.1 mm and nothing else.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from numbers import Real
from typing import Any

from configs.errors import Fault, InputError, short

MM_PER: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
    "yd": Fraction(9144, 10),
}
_KNOWN = f"Known here: {', '.join(MM_PER)}."
INCH_UNITS = ("in", "ft", "yd")  # of people who work in inches
_ALIASES = {
    spelling: unit
    for unit, spellings in {
        "in": ('"', "″", "”", "''", "inch", "inches"),
        "ft": ("foot", "feet", "'", "′", "’"),
        "yd": ("yard", "yards"),
        "m": ("metre", "metres", "meter", "meters"),
        "cm": ("centimetre", "centimetres", "centimeter", "centimeters"),
        "mm": ("millimetre", "millimetres", "millimeter", "millimeters"),
    }.items()
    for spelling in spellings
}
_SIGNS = "½⅓⅔¼¾⅛⅜⅝⅞"
_NUMBER = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_TERM = re.compile(
    rf"\s*(?:(?P<num2>\d+)\s*[/⁄]\s*(?P<den2>\d+)"
    rf"|(?P<whole>{_NUMBER})(?:(?:\s+|\s*-\s*|\s+and\s+)(?P<num>\d+)\s*[/⁄]\s*(?P<den>\d+))?)"
    rf"\s*(?P<unit>[A-Za-z]+|''|[\"″”'′’])?"
)
_LONGEST = 60  # signs; no length that somebody writes is longer
HOW_TO_WRITE = "Write it like 92 cm, 21 1/2 in, 54,6 cm or 546 mm."


def unit_name(unit: Any, where: str) -> str:
    """The unit's short name (mm, cm, m, in, ft, yd).

    Raises:
        InputError: not a unit of length that is known here.
    """
    name = _known_unit(str(unit))
    if name is None:
        raise InputError.of(where, f"unknown unit {short(unit)}.", _KNOWN)
    return name


def _known_unit(text: str) -> str | None:
    text = text.strip().lower().removesuffix(".")
    text = _ALIASES.get(text, text)
    return text if text in MM_PER else None


def parse_length(
    value: Any, unit: str | None = None, where: str = "length", signed: bool = False
) -> float:
    """A length in mm from a number in ``unit`` or a text that may carry its own unit.

    ``signed``: whether a minus sign is allowed. Fractions, decimal points and decimal commas
    are read; ``5 ft 3 in`` adds up, and what follows feet without a unit is inches.

    Raises:
        InputError: no number, no unit from either, an unknown unit, below 0, not finite.
    """
    if isinstance(value, Real) and not isinstance(value, bool):  # numpy's numbers too
        try:
            number = float(value)
        except OverflowError:  # a whole number of hundreds of digits
            number = math.inf
        if not math.isfinite(number):
            raise InputError(
                Fault(where, f"{short(value)} is not a finite length.", HOW_TO_WRITE, value)
            )
        if unit == "mm" and number >= 0.0:
            return number + 0.0  # -0.0 is 0.0
        # repr gives back the decimals that were written, not their binary neighbours
        text = repr(number)
        if "e" in text:
            text = f"{number:.12f}"
    elif isinstance(value, str):
        text = value.strip()
    else:
        raise InputError(Fault(where, f"{short(value)} is not a length.", HOW_TO_WRITE, value))
    if len(text) > _LONGEST:
        raise InputError(Fault(where, f"{short(value)} is not a length.", HOW_TO_WRITE, value))
    text = re.sub(f"[{_SIGNS}]", lambda sign: " " + unicodedata.normalize("NFKC", sign[0]), text)
    text = text.strip().replace("−", "-")
    negative = text.startswith("-")
    if text[:1] in "+-":
        text = text[1:]
    total, at = Fraction(0), 0
    last_size: Fraction | None = None
    while at < len(text):
        term = _TERM.match(text, at)
        if term is None or term.end() == at:
            raise InputError.of(where, f"{short(value)} is not a length.", HOW_TO_WRITE)
        written = term["unit"] or ("in" if last_size == MM_PER["ft"] else None)
        size = _unit_size(written, unit, value, where)
        if last_size is not None and (written is None or size >= last_size):
            raise InputError.of(where, f"{short(value)} is not one length.", HOW_TO_WRITE)
        total += _number(term, value, where) * size
        last_size, at = size, term.end()
        while at < len(text) and text[at].isspace():
            at += 1
    if last_size is None:
        raise InputError.of(where, "is empty.", HOW_TO_WRITE)
    if negative and total > 0:
        if not signed:
            raise InputError.of(where, f"{short(value)} is less than nothing.", HOW_TO_WRITE)
        total = -total
    return float(total)


_BARE = re.compile(rf"\s*[-+−]?[\d.,/⁄{_SIGNS}][\d.,/⁄{_SIGNS} -]*")


def is_bare(value: Any) -> bool:
    """Whether a length was written without its unit."""
    if isinstance(value, str):
        return _BARE.fullmatch(value) is not None
    return isinstance(value, Real) and not isinstance(value, bool)


def _as_written(value: Any) -> str:
    """A number as a person writes it: 4 for 4.0."""
    return value.strip() if isinstance(value, str) else f"{float(value):.12g}"


def meant_units(value: Any, low: float, high: float, unit: str = "mm") -> str:
    """'Did you mean 4 cm or 4 in?' of a number without unit, read in ``unit``: the units in which it
    lies from ``low`` to ``high`` mm, two at most; '' where there is none, or it has a unit."""
    if not is_bare(value) or len(text := _as_written(value)) > _LONGEST:
        return ""
    fit = []
    for other in ("mm", "cm", "in", "m", "yd"):
        try:
            mm = abs(parse_length(text, other, signed=True))
        except InputError:
            return ""
        if other != unit and low <= mm <= high:
            fit.append(f"{text} {other}")
    return f"Did you mean {' or '.join(fit[:2])}? " if fit else ""


def asked_back(
    value: Any, mm: float, least_mm: float, most_mm: float = math.inf, low_mm: float = 0.0
) -> tuple[str, str] | None:
    """What is wrong with a bare number of fewer mm than anybody means there, and what to write;
    None for any other. ``least_mm``, ``most_mm``: what is likely; ``low_mm``: what is allowed."""
    if not 0.0 < abs(mm) < least_mm or not is_bare(value):
        return None
    text = _as_written(value)
    meant = meant_units(value, max(low_mm, 0.5 * least_mm), most_mm)
    first = meant.removeprefix("Did you mean ").partition("?")[0].partition(" or ")[0]
    what = f"{text} mm: {meant[0].lower() + meant[1:] if meant else 'that is next to nothing. '}"
    return (
        f"{what}A number without a unit is read in mm.",
        f"Write it with its unit: {f'{first}, or ' if first else ''}{text} mm if it is meant so.",
    )


def typed_length(
    value: Any, where: str, least_mm: float = 0.0, most_mm: float = math.inf, unit: str = "mm"
) -> float:
    """As `parse_length`, of what a person types outside a file; a bare number of fewer mm than
    ``least_mm`` is asked back.

    Raises:
        InputError: no length, or one that is asked back.
    """
    mm = parse_length(value, unit, where)
    asked = asked_back(value, mm, least_mm, most_mm) if unit == "mm" else None
    if asked is not None:
        raise InputError(Fault(where, *asked, value))
    return mm


def run_together(text: str) -> str:
    """'31 1/2' for 311/2, '1 1/2' for 3/2: a fraction with no space before it; '' for all else."""
    found = re.fullmatch(r"(\d{1,5})\s*/\s*(\d{1,2})(\D*)", text.strip())
    if found is None or int(found[2]) == 0 or int(found[1]) < int(found[2]):
        return ""
    digits, den, unit = found[1], int(found[2]), found[3]
    for cut in range(1, len(digits)):
        if digits[cut] != "0" and int(digits[cut:]) < den:
            return f"{digits[:cut]} {digits[cut:]}/{den}{unit}"
    whole, rest = divmod(int(digits), den)
    return f"{whole} {rest}/{den}{unit}" if rest else f"{whole}{unit}"


def _number(term: re.Match[str], value: Any, where: str) -> Fraction:
    whole = Fraction(term["whole"].replace(",", ".")) if term["whole"] else Fraction(0)
    num, den = term["num"] or term["num2"], term["den"] or term["den2"]
    if num is None:
        return whole
    if int(den) == 0 or int(num) >= int(den):
        meant = run_together(str(value))
        remedy = (
            f"Did you mean {meant}? Leave a space before the fraction." if meant else HOW_TO_WRITE
        )
        raise InputError.of(where, f"{short(value)} holds no proper fraction.", remedy)
    if whole.denominator != 1:
        raise InputError.of(where, f"{short(value)} mixes decimals and a fraction.", HOW_TO_WRITE)
    return whole + Fraction(int(num), int(den))


def _unit_size(written: str | None, given: str | None, value: Any, where: str) -> Fraction:
    if written is None:
        if given is None:
            remedy = "Write the unit after it, like 92 cm."
            raise InputError.of(where, f"{short(value)} has no unit.", remedy)
        return MM_PER[unit_name(given, where)]
    name = _known_unit(written)
    if name is None:
        raise InputError.of(where, f"{short(value)} has the unknown unit '{written}'.", _KNOWN)
    return MM_PER[name]


def format_length(mm: float, unit: str = "cm", parts: int = 16) -> str:
    """Text for a person: ``11 1/2 in`` (to 1/``parts``), ``29.2 cm`` (to 1 mm), ``292 mm``.

    What rounds to nothing has no minus sign.
    """
    name = unit_name(unit, "unit")
    if name in INCH_UNITS:
        return f"{inches_text(mm / 25.4, parts)} in"
    if name == "mm":
        return f"{mm:z.1f}".removesuffix(".0") + " mm"
    return f"{mm / 10:z.1f} cm"


def small_text(mm: float, unit: str = "mm") -> str:
    """By how much something is off, as a person reads it: '0.02 mm', '0.2 mm', '2 mm'; in inches,
    where fractions end, '0.0002 in', '0.016 in', '0.13 in'."""
    size = abs(mm)
    if unit_name(unit, "unit") in INCH_UNITS:
        inches = mm / 25.4
        digits = 4 if size < 0.0254 else 3 if size < 2.54 else 2
        return f"{inches:z.{digits}f} in"
    return f"{mm:z.2f} mm" if size < 0.995 else f"{mm:z.1f} mm"


_TOLD = re.compile(
    r"(?<![\w.])(?P<numbers>[-+±]?\d+(?:[.,]\d+)?(?:(?: ×| x| to| and| or|,) [-+]?\d+(?:[.,]\d+)?)*)"
    r"[  ](?P<unit>mm|cm|m)\b(?![²/])"
)
_TOLD_WORDS = {
    "a millimetre or two in a metre": "1/16 in in 40 in",
    "a millimetre": "1/32 in",
    "in a metre": "in 40 in",
    "each mm of cloth makes a metre": "each 0.04 in of cloth makes 40 in",
    "make a metre up": "make 40 in up",
}


def said_in(text: str, unit: str) -> str:
    """A sentence that was made in metric lengths, in her unit: one system in one sitting.

    Only for who works in inches; any other unit leaves it as it is. Numbers of mm become inches: to a
    thousandth below 1/10 in, to a hundredth below 1 in, else to a sixteenth.
    """
    if unit not in INCH_UNITS:
        return text

    def inches(number: str, size: float) -> str:
        mm = float(number.lstrip("±").replace(",", ".")) * size
        said = small_text(mm, "in") if abs(mm) < 25.4 else format_length(mm, "in")
        said = said.removesuffix(" in")
        if size == 1.0 and "." not in number and abs(mm) >= 2.54:  # 6 mm was never meant as 0.24 in
            said = inches_text(mm / 25.4)
        sign = number[0] if number[0] in "±+" else ""
        return sign + said

    def turned(found: re.Match[str]) -> str:
        size = float(MM_PER[found["unit"]])
        number = r"[-+±]?\d+(?:[.,]\d+)?"
        return re.sub(number, lambda n: inches(n[0], size), found["numbers"]) + " in"

    for word, other in _TOLD_WORDS.items():
        text = text.replace(word, other)
    return _TOLD.sub(turned, text)


IN_CM_FROM_MM = 100.0


def length_text(mm: float, unit: str | None = None) -> str:
    """A length as it is told to a person: in ``unit`` where a file or a body has one.

    Without one there is one rule everywhere: below 100 mm in mm, else in cm (``6 mm``, ``14 cm``).
    """
    if unit is not None:
        return format_length(mm, unit)
    small = abs(mm) < IN_CM_FROM_MM - 0.05
    number, _, name = format_length(mm, "mm" if small else "cm").partition(" ")
    return f"{number.removesuffix('.0')} {name}"


def inches_text(inches: float, parts: int = 16) -> str:
    """Inches as a whole number and a fraction in lowest terms: ``11 1/2``, ``-3/8``."""
    counted = round(abs(inches) * parts)
    whole, rest = divmod(counted, parts)
    told = f"{whole} {Fraction(rest, parts)}" if whole and rest else f"{Fraction(counted, parts)}"
    return f"-{told}" if inches < 0 and counted else told
