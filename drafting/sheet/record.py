"""The record of a drawing sheet: what was done in each step, and its sentence, sums and lines.

Between a block, which draws by the words of the trade, and the pictures of the steps: nothing
about a step is typed a second time. Frame: piece mm, x from the centre line, y up, y = 0 on the
first level (the top line, or a skirt's waist line).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from configs.units import format_length
from drafting.curves import Points
from drafting.sheet.amount import Amount, Sources, sources_of, told

XY = tuple[float, float]
CENTRE_LINE = "centre line"
BOTH = "both"


class Spot(tuple[float, float]):
    """A named point: (x, y) mm, each with what it hangs on."""

    name: str
    sources: Sources

    def __new__(cls, x: float, y: float, name: str = "", *of: Any) -> Spot:
        self = super().__new__(cls, (x, y))
        self.name, self.sources = name, sources_of(x, y, *of)
        return self

    @property
    def x(self) -> float:
        """How far from the centre line, mm."""
        return self[0]

    @property
    def y(self) -> float:
        """How high, mm."""
        return self[1]


class Origin(NamedTuple):
    """What a point is measured from: its name and place; ``moved``: it is the point before."""

    name: str
    at: XY
    moved: bool = False


@dataclass(frozen=True)
class Step:
    """One construction step, as data: what is drawn anew, with the numbers worked out.

    ``key``: a short name; ``piece``: 'front', 'back' or 'both'; ``title``; ``text``: what to do
    with the numbers in her unit; ``sums``: the arithmetic, line by line; ``points``: name →
    (x, y) mm; ``lines``: construction lines, ``curves``: lines that will be sewn, name →
    (N, 2) mm; ``origins``: name of a point → what it is measured from; ``parts``: the text in two,
    up to the points and about the curves; ``of``: the block, of a part with a
    sheet of its own.
    """

    key: str
    piece: str
    title: str
    text: str
    sums: tuple[str, ...] = ()
    points: Mapping[str, XY] = field(default_factory=dict)
    lines: Mapping[str, Points] = field(default_factory=dict)
    curves: Mapping[str, Points] = field(default_factory=dict)
    origins: Mapping[str, Origin] = field(default_factory=dict)
    parts: tuple[str, str] = ("", "")
    of: str = ""


@dataclass(frozen=True, eq=False)
class Deed:
    """One thing done on the sheet.

    ``kind``: level, mark, move, join, dart, draw, tell; ``name``: of what is new; ``at``: a new
    point; ``origin``: what it is measured from; ``on``: the level it lies on; ``out``, ``up``:
    how far from there; ``points`` (N, 2) mm: a new line; ``how``: words of the trade about it;
    ``amounts``: what is told of it.
    """

    kind: str
    name: str
    at: Spot | None = None
    origin: Spot | None = None
    on: str = ""
    out: float = 0.0
    up: float = 0.0
    points: Points | None = None
    how: str = ""
    amounts: tuple[float, ...] = ()

    def steps_taken(self) -> tuple[float, ...]:
        """The amounts by which it was placed; of a point moved outward, where it came to lie."""
        ways: tuple[float, ...] = (self.out, self.up)
        if self.kind == "move" and self.out and self.at and isinstance(self.at.x, Amount):
            ways = (*self.at.x.parts, self.up)
        return tuple(a for a in ways if a)


@dataclass(frozen=True, eq=False)
class Recorded:
    """A step with its deeds; ``why``: a sentence without numbers that ends it."""

    key: str
    piece: str
    title: str
    why: str
    deeds: Sequence[Deed]
    of: str = ""  # the block, of a part that is sewn to what was drafted before it

    def read(self, unit: str, known: set[str]) -> Step:
        """The step in her unit; ``known``: sums that were told before, and are from now on."""
        sums = told((a for d in self.deeds for a in d.steps_taken()), unit, known)
        for d in (d for d in self.deeds if d.kind == "tell"):
            plain = f"{d.name} {_length(d.amounts[0], unit)}" if d.amounts else d.name
            sums += told(d.amounts, unit, known) or [plain]
        marks = [d for d in self.deeds if d.kind != "draw"]
        draws = [d for d in self.deeds if d.kind == "draw"]
        parts = " ".join(_sentences(marks, unit)), " ".join(_sentences(draws, unit))
        placed = [(d.at, d.origin, d.kind) for d in self.deeds if d.at is not None]
        lines, curves = (
            {d.name: d.points for d in some if d.points is not None} for some in (marks, draws)
        )
        return Step(
            self.key,
            self.piece,
            self.title,
            " ".join(t for t in (*parts, self.why) if t),
            tuple(sums),
            {at.name: _plain(at) for at, _, _ in placed},
            lines,
            curves,
            {a.name: Origin(o.name, _plain(o), k == "move") for a, o, k in placed if o is not None},
            (parts[0], f"{parts[1]} {self.why}".strip()),
            self.of,
        )


def _sentences(deeds: Sequence[Deed], unit: str) -> list[str]:
    """What to do, in order; neighbours of one kind share a sentence."""
    out: list[str] = []
    i = 0
    deeds = [d for d in deeds if d.kind in _WORDS]
    while i < len(deeds):
        same = [deeds[i]]
        while i + len(same) < len(deeds) and _alike(same[0], deeds[i + len(same)]):
            same.append(deeds[i + len(same)])
        i += len(same)
        text = _WORDS[same[0].kind](same, unit)
        if text:
            out.append(text[0].upper() + text[1:])
    return out


def _plain(spot: Spot) -> XY:
    return float(spot.x), float(spot.y)


def _alike(a: Deed, b: Deed) -> bool:
    if a.kind != b.kind or a.kind in ("draw", "join"):
        return False
    return a.kind != "mark" or a.on == b.on


def _list(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _length(mm: float, unit: str) -> str:
    return format_length(abs(float(mm)), unit)


def _level_words(deeds: Sequence[Deed], unit: str) -> str:
    names = {d.name for d in deeds}
    parts: list[str] = []
    for d in (d for d in deeds if d.name != CENTRE_LINE):
        start = "it" if d.on in names and len(parts) == 1 else f"the {d.on}"
        parts.append(
            f"the {d.name} {_length(d.up, unit)} below {start}" if d.up else f"the {d.name}"
        )
    if CENTRE_LINE not in names:
        return f"square to the centre line draw {_list(parts)}."
    return f"draw the centre line along the paper's edge and, square to it, {_list(parts)}."


def _mark_words(deeds: Sequence[Deed], unit: str) -> str:
    on = deeds[0].on
    parts = []
    for d in deeds:
        start = "the centre" if on else f"the {d.origin.name}" if d.origin else "the centre"
        line = f"the {d.origin.name.removesuffix(' level')} line" if d.origin and on else "it"
        ways = []
        if d.out:
            ways.append(f"{_length(d.out, unit)} {'from' if d.out > 0 else 'inside'} {start}")
        if d.up:
            side = "above" if d.up > 0 else "below"
            ways.append(f"{_length(d.up, unit)} {side} {'it' if d.out and not on else line}")
        parts.append(f"the {d.name} {' and '.join(ways)}")
    return f"{f'on the {on} ' if on else ''}mark {_list(parts)}."


def _move_words(deeds: Sequence[Deed], unit: str) -> str:
    parts = []
    for d in deeds:
        ways = []
        if round(abs(float(d.out)), 2):
            ways.append(f"{'out' if d.out > 0 else 'in'} by {_length(d.out, unit)}")
        if round(abs(float(d.up)), 2):
            ways.append(f"{'up' if d.up > 0 else 'down'} by {_length(d.up, unit)}")
        parts.append(f"the {d.origin.name if d.origin else d.name} {' and '.join(ways)}")
    return f"move {_list(parts)}."


def _draw_words(deeds: Sequence[Deed], unit: str) -> str:
    del unit
    (d,) = deeds
    return f"draw the {d.name} {d.how}".strip() + "." if d.how != "-" else ""


_WORDS: dict[str, Callable[[Sequence[Deed], str], str]] = {
    "level": _level_words,
    "mark": _mark_words,
    "move": _move_words,
    "join": lambda deeds, _: f"join {deeds[0].how}: the {deeds[0].name}.",
    "dart": lambda deeds, _: f"draw the dart{'s' * (len(deeds) > 1)} from the places in the table.",
    "draw": _draw_words,
}


def spot_array(points: Sequence[XY] | Sequence[Points]) -> Points:
    """(N, 2) float64 of some spots."""
    return np.array([(float(x), float(y)) for x, y in points])


def xy(p: Points) -> XY:
    """A point (2,) mm as a plain pair."""
    return float(p[0]), float(p[1])


def read_steps(steps: Sequence[Recorded], unit: str) -> tuple[Step, ...]:
    """All steps, read off in her unit; each sum is told once."""
    known: set[str] = set()
    return tuple(s.read(unit, known) for s in steps)
