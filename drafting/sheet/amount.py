"""Amounts: lengths that know how they came about.

The numbers of the drawing sheet. An `Amount` is a float in mm that remembers its parts: measures,
style options, plain numbers, and + − × ÷ between them. So it can be told as a sum in her unit, and
what it hangs on is known. A printed sum holds as printed: the whole is rounded once, and its parts
are rounded up or down so that they give that whole. Functions of `math` and numpy take an amount
for its value and return plain numbers; wrap what they give with `found`.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Iterator, Mapping
from fractions import Fraction
from itertools import product
from typing import Any

from configs.units import format_length

Sources = frozenset[str]
MEASURE, OPTION, NUMBER, FOUND, NAMED, CHOSEN = (
    "measure", "option", "number", "found", "named", "chosen",
)  # fmt: skip
PLUS, MINUS, TIMES, OVER = "+", "-", "×", "÷"


_Operation = Callable[["Amount", float], "Amount"]


def _both_ways(kind: str, work: Callable[[float, float], float]) -> tuple[_Operation, _Operation]:
    """An operation with an amount at the left, and with one at the right."""

    def left(self: Amount, other: float) -> Amount:
        return Amount(work(float(self), float(other)), kind, "", (self, other))

    def right(self: Amount, other: float) -> Amount:
        return Amount(work(float(other), float(self)), kind, "", (other, self))

    return left, right


class Amount(float):
    """A length in mm (or a ratio) with its origin.

    ``kind``: a leaf (measure, option, number, found, named) or an operation; ``label``: what a
    leaf is called in a sum; ``parts``: what an operation joins; ``sources``: keys of all measures,
    ``style.`` options and ``fit.`` changes that it hangs on.
    """

    __slots__ = ("kind", "label", "parts", "sources")
    kind: str
    label: str
    parts: tuple[float, ...]
    sources: Sources

    def __new__(
        cls,
        value: float,
        kind: str = NUMBER,
        label: str = "",
        parts: tuple[float, ...] = (),
        sources: Sources | None = None,
    ) -> Amount:
        self = super().__new__(cls, value)
        self.kind, self.label, self.parts = kind, label, parts
        self.sources = sources_of(*parts) if sources is None else sources
        return self

    __add__, __radd__ = _both_ways(PLUS, operator.add)
    __sub__, __rsub__ = _both_ways(MINUS, operator.sub)
    __mul__, __rmul__ = _both_ways(TIMES, operator.mul)
    __truediv__, __rtruediv__ = _both_ways(OVER, operator.truediv)

    def __neg__(self) -> Amount:
        return Amount(-float(self), MINUS, "", (0.0, self))

    def __abs__(self) -> Amount:
        return -self if self < 0 else self

    def __reduce__(self) -> tuple[Any, ...]:
        return float, (float(self),)  # to another process goes the value

    def named(self, label: str) -> Amount:
        """The same amount under a name, by which later sums call it."""
        return Amount(float(self), NAMED, label, (self,))

    def sum_text(self, unit: str) -> str:
        """How it came about: ``bust girth 92.5 cm ÷ 4 = 23.1 cm``; '' for a leaf."""
        return _sum_text(self, unit)


class Choice(str):
    """A chosen word of a style option, which knows its key."""

    __slots__ = ("sources",)
    sources: Sources

    def __new__(cls, value: str, key: str) -> Choice:
        self = super().__new__(cls, value)
        self.sources = frozenset((key,))
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return str, (str(self),)


def sources_of(*things: Any) -> Sources:
    """All that some amounts, choices, spots, sets of keys, lists and dicts of these hang on."""
    found: set[str] = set()
    for thing in things:
        own = thing if isinstance(thing, frozenset) else getattr(thing, "sources", None)
        if own is not None:
            found |= own
        elif isinstance(thing, Mapping):
            found |= sources_of(*thing.values())
        elif isinstance(thing, list | tuple):
            found |= sources_of(*thing)
    return frozenset(found)


def found(value: float, label: str, *of: Any) -> Amount:
    """An amount that was measured or solved for on the sheet; ``of``: what it hangs on."""
    return Amount(float(value), FOUND, label, (), sources_of(*of))


def number(mm: float, label: str = "") -> Amount:
    """A number of the method, mm."""
    return Amount(float(mm), NUMBER, label)


def most(*amounts: float) -> Amount:
    """The largest; it hangs on all of them."""
    return Amount(float(max(amounts)), CHOSEN, "", (max(amounts),), sources_of(*amounts))


def least(*amounts: float) -> Amount:
    """The smallest; it hangs on all of them."""
    return Amount(float(min(amounts)), CHOSEN, "", (min(amounts),), sources_of(*amounts))


# --- sums as they are printed --------------------------------------------------------------------


def _shown_parts(amount: float) -> tuple[str, tuple[float, ...]]:
    """Kind and parts of a node as it is printed: chosen ones stand for what they chose."""
    if not isinstance(amount, Amount):
        return NUMBER, ()
    if amount.kind == CHOSEN:
        return _shown_parts(amount.parts[0])
    return amount.kind, amount.parts


def _is_sum(kind: str) -> bool:
    return kind in (PLUS, MINUS)


def _terms(amount: float, sign: int = 1) -> Iterator[tuple[int, float]]:
    """The terms of a sum with their signs, nothing that is nil."""
    kind, parts = _shown_parts(amount)
    if not _is_sum(kind):
        if float(amount) != 0.0:
            yield sign, amount
        return
    yield from _terms(parts[0], sign)
    yield from _terms(parts[1], sign if kind == PLUS else -sign)


class _Line:
    """One printed sum: its leaves (label, mm) in order, and how they are joined."""

    def __init__(self, amount: float) -> None:
        self.leaves: list[tuple[str, float]] = []
        self.told: list[bool] = []  # measures and names stand elsewhere too: they are rounded last
        self.exact = True  # only + and −: the printed parts give the whole to the last place
        self.tree = self._read(amount, top=True)

    def _read(self, amount: float, top: bool = False) -> Any:
        kind, parts = _shown_parts(amount)
        node = _chosen(amount)
        if kind == NAMED and top:
            return self._read(parts[0], top=True)
        if _is_sum(kind):
            terms = list(_terms(amount))
            if len(terms) == 1 and terms[0][0] == 1:
                return self._read(terms[0][1], top)
            return ("sum", [(sign, self._read(term)) for sign, term in terms])
        if kind in (TIMES, OVER):
            ratio = _ratio(parts, kind)
            if ratio is not None:
                self.exact = False
                of, number_, first = ratio
                return (kind, self._read(of), number_, first)
        label = node.label if isinstance(node, Amount) else ""
        self.leaves.append((label, float(amount)))
        self.told.append(isinstance(node, Amount) and node.kind in (MEASURE, NAMED))
        return len(self.leaves) - 1

    def value(self, node: Any, leaves: list[Fraction]) -> Fraction:
        """The line worked out from its printed leaves."""
        if isinstance(node, int):
            return leaves[node]
        if node[0] == "sum":
            total = Fraction(0)
            for sign, n in node[1]:
                total += sign * self.value(n, leaves)
            return total
        inner = self.value(node[1], leaves)
        number_: Fraction = node[2]
        return inner / number_ if node[0] == OVER else inner * number_

    def text(self, node: Any, texts: list[str], inside: bool = False) -> str:
        """The line in words and signs."""
        if isinstance(node, int):
            return texts[node]
        if node[0] == "sum":
            out = ""
            for sign, n in node[1]:
                mark = ("+ " if out else "") if sign > 0 else "- "
                out += f"{' ' if out else ''}{mark}{self.text(n, texts, sign < 0)}"
            return f"({out})" if inside else out
        of, number_, first = self.text(node[1], texts, True), node[2], node[3]
        shown = str(number_) if number_.denominator < 100 else f"{float(number_):g}"
        if node[0] == OVER:
            return f"{of} ÷ {shown}"
        return f"{shown} × {of}" if first else f"{of} × {shown}"


def _chosen(amount: float) -> float:
    while isinstance(amount, Amount) and amount.kind == CHOSEN:
        amount = amount.parts[0]
    return amount


def _ratio(parts: tuple[float, ...], kind: str) -> tuple[float, Fraction, bool] | None:
    """(what is multiplied, the plain number, whether it came first), or None."""
    a, b = parts
    if not isinstance(b, Amount):
        plain = Fraction(b).limit_denominator(10_000)
        return (a, plain, False) if plain else None
    if kind == TIMES and not isinstance(a, Amount):
        return b, Fraction(a).limit_denominator(10_000), True
    return None


_FINER = {"in": 4, "ft": 4, "yd": 4}


def _counted(mm: float, unit: str, finer: int) -> tuple[int, Fraction]:
    """(the length in whole steps of what is printed, one step in mm); ``finer`` 0 as usual."""
    if unit in _FINER:
        step = Fraction(254, 10) / (16 * 4**finer)
    else:
        step = (Fraction(1) if unit != "mm" else Fraction(1, 10)) / 10**finer
    if finer == 0 and unit not in _FINER:  # as `format_length` rounds
        shown = f"{mm / 10:.1f}" if unit != "mm" else f"{mm:.1f}"
        return round(Fraction(shown) * (10 if unit != "mm" else 1) / step), step
    return round(mm / float(step)), step


def _written(steps: int, step: Fraction, unit: str, finer: int) -> str:
    mm = float(steps * step)
    if unit in _FINER:
        return format_length(mm, unit, 16 * 4**finer)
    if finer == 0:
        return format_length(mm, unit)
    per, digits = (10.0, 1 + finer) if unit != "mm" else (1.0, 1 + finer)
    text = f"{mm / per:.{digits}f}".rstrip("0")
    return f"{text}0 cm" if unit != "mm" and text.endswith(".") else f"{text.rstrip('.')} {unit}"


def _sum_text(amount: Amount, unit: str) -> str:
    line = _Line(amount)
    if isinstance(line.tree, int):
        return ""
    whole, step = _counted(float(amount), unit, 0)
    for finer in (0, 1, 2):
        rounded = _rounded(line, whole * step, step, unit, finer)
        if rounded is not None:
            break
    else:  # rounding cannot help: as near as it goes
        finer = 2
        rounded = [_counted(v, unit, finer)[0] for _, v in line.leaves]
    _, fine = _counted(0.0, unit, finer)
    texts = []
    for (label, _), steps in zip(line.leaves, rounded, strict=True):
        short = _written(steps, fine, unit, finer)
        texts.append(f"{label} {short}".strip())
    return f"{line.text(line.tree, texts)} = {format_length(float(amount), unit)}"


def _rounded(
    line: _Line, whole: Fraction, step: Fraction, unit: str, finer: int
) -> list[int] | None:
    """The leaves in printed steps so that the line gives ``whole``, each up or down at most."""
    counted = [_counted(v, unit, finer) for _, v in line.leaves]
    fine = counted[0][1] if counted else step
    off = [v / float(fine) - n for (_, v), (n, _) in zip(line.leaves, counted, strict=True)]
    other = [0 if abs(o) < 1e-6 else (1 if o > 0 else -1) for o in off]
    limit = Fraction(0) if line.exact and finer == 0 else step / 2
    if len(line.leaves) > 12:
        return None
    best: tuple[float, list[int]] | None = None
    for pick in product(*((0, 1) if o else (0,) for o in other)):
        cost = sum(10.0 * t + abs(1.0 - 2 * abs(o)) for o, p, t in zip(off, pick, line.told, strict=True) if p)  # fmt: skip
        if best is not None and cost >= best[0]:
            continue
        steps = [n + p * o for (n, _), p, o in zip(counted, pick, other, strict=True)]
        value = line.value(line.tree, [Fraction(n) * fine for n in steps])
        if abs(value - whole) <= limit:
            best = cost, steps
            if cost == 0:
                break
    return best[1] if best else None


def told(amounts: Iterable[float], unit: str, known: set[str] | None = None) -> list[str]:
    """The sums of some amounts, each once, leaves left out; before each, how what it calls by a
    name came about. ``known``: sums told before, which are left out; the new ones are added."""
    known = set() if known is None else known
    out: list[str] = []

    def tell(amount: float, label: str) -> None:
        if not isinstance(amount, Amount):
            return
        inner = amount.parts[0] if amount.kind == NAMED else amount
        text = inner.sum_text(unit) if isinstance(inner, Amount) else ""
        if text in known:
            return
        for part in _named_in(inner):
            tell(part, part.label)
        if text and text not in known:
            known.add(text)
            out.append(f"{label}: {text}" if label else text)

    for amount in amounts:
        amount = abs(amount)
        tell(amount, amount.label if isinstance(amount, Amount) and amount.kind == NAMED else "")
    return out


def _named_in(amount: float) -> Iterator[Amount]:
    """The named amounts that a sum calls by their names."""
    if not isinstance(amount, Amount):
        return
    for part in amount.parts:
        if isinstance(part, Amount) and part.kind == NAMED:
            yield part
        else:
            yield from _named_in(part)
