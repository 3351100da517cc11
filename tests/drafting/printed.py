"""Printed sums worked out again from the text alone, by nothing of the program but its units."""

from __future__ import annotations

import re
from fractions import Fraction

from configs.units import parse_length
from drafting.blocks import Draft

LENGTH = r"\d+(?:\.\d+)?(?: \d+/\d+)?(?:/\d+)? (?:mm|cm|in)\b"
STEP_MM = {"cm": 1.0, "in": 25.4 / 16.0, "mm": 0.1}


def printed_sums(d: Draft) -> list[str]:
    """The sums with an operation in them, of all steps."""
    return [s for step in d.steps for s in step.sums if " = " in s]


def worked_out(text: str) -> Fraction:
    """The value in mm of what stands left of the equals sign: × and ÷ before + and -."""
    parts = re.findall(
        rf"{LENGTH}|(?<= )[()]|^[()]|\(|\)|(?<= )[+÷×-](?= )|^-|\d+(?:/\d+|\.\d+)?", text
    )
    code = []
    for i, part in enumerate(parts):
        if re.fullmatch(LENGTH, part):
            code.append(f"Fraction('{Fraction(parse_length(part)).limit_denominator(10**9)}')")
        elif part in "()+-÷×":
            code.append(part.replace("÷", "/").replace("×", "*"))
        elif (i and parts[i - 1] in "÷×") or (i + 1 < len(parts) and parts[i + 1] == "×"):
            code.append(f"Fraction('{part}')")
    return Fraction(eval(" ".join(code), {"Fraction": Fraction}))


def off_by(text: str) -> tuple[float, str, bool]:
    """How far (mm) a printed sum is from its result, the unit, and whether it divides or multiplies."""
    left, right = text.split(" = ")
    (result,) = re.findall(rf"-?{LENGTH}", right)
    off = abs(worked_out(left) - Fraction(parse_length(result, signed=True)))
    return float(off), result.rsplit(" ", 1)[1], "÷" in left or "×" in left


def holds(text: str) -> bool:
    """A sum holds exactly; where it divides or multiplies, to half of the last place printed."""
    off, unit, divided = off_by(text)
    return off <= (0.5 * STEP_MM[unit] if divided else 0.0) + 1e-6
