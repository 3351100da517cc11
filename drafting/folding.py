"""How cloth is folded, and what follows: where it lies in how many layers, and which side shows.

Beside `cloth`, which holds one of these. A zone is a part of the cloth, as it lies, in which the
same holds everywhere: as many layers, the same side of the upper one to be seen.

Frame: cloth mm, as in `cloth`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from configs.reader import Reader
from configs.units import length_text

FOLDS = ("none", "lengthwise", "crosswise", "double", "partial")
BEST = "best"
FOLD_WORDS = {
    "none": "single layer",
    "lengthwise": "folded lengthwise",
    "crosswise": "folded crosswise",
    "double": "both selvedges folded to the middle",
    "partial": "one selvedge folded over",
}
FACES = ("in", "out")
FACE_WORDS = {"in": "right sides together", "out": "wrong sides together"}
_KEYS = ("way", "face", "over", "open_from", "found")
_SAME: dict[Any, str] = {"single": "none", "no": "none", False: "none"}
_SAME |= dict.fromkeys(
    ("both selvedges to the middle", "selvedges to the middle", "to the middle"), "double"
)
_SAME |= dict.fromkeys(("part", "one selvedge", "one selvedge folded over"), "partial")
_SAME_FACE = {"right sides together": "in", "wrong sides together": "out"}
_MEETING_MM = 0.1  # two selvedges that meet leave a line at least
_LEAST_BARE_MM = 60.0  # a bare number below it was hardly meant in mm
_LEAST_OVER_MM = 20.0  # folded over by less, nothing can be cut there
_MAX_MM = 200_000.0


@dataclass(frozen=True)
class Zone:
    """A part of the cloth as it lies: from and to, mm; layers; which side of the upper one shows."""

    x: tuple[float, float]
    y: tuple[float, float]
    layers: int
    wrong_side: bool

    def holds(self, at: tuple[float, float]) -> bool:
        """Whether a point lies in it."""
        return self.x[0] <= at[0] <= self.x[1] and self.y[0] <= at[1] <= self.y[1]


@dataclass(frozen=True)
class Folding:
    """How a cloth is folded.

    ``way``: one of `FOLDS`; ``face``: which sides lie together, "in" for right sides together
    (common practice, no source: the face keeps clean, and chalk goes on the wrong side) or "out";
    ``over_mm``: partial only, how wide the selvedge is folded over; ``open_from_mm``: from this x on
    the cloth is opened out to a single layer, once the rest is cut; None for nowhere; ``best``: the
    planner chooses the way, ``found`` tells whether it has.
    """

    way: str = "none"
    face: str = "in"
    over_mm: float = 0.0
    open_from_mm: float | None = None
    best: bool = False
    found: bool = False

    @property
    def layers(self) -> int:
        """Layers where it is folded."""
        return 1 if self.way == "none" else 2

    @property
    def short(self) -> str:
        """The way in few words."""
        said = FOLD_WORDS[self.way]
        return said + (f" by {length_text(self.over_mm)}" if self.way == "partial" else "")

    @property
    def words(self) -> str:
        """In words: the way, which sides lie together, where it is opened out."""
        if self.way == "none":
            return f"{FOLD_WORDS['none']}, right side up"
        if self.open_from_mm == 0.0:
            return f"{self.short}, all of it opened out to a single layer, right side up"
        said = f"{self.short}, {FACE_WORDS[self.face]}"
        if self.open_from_mm is not None:
            said += f"; opened out, right side up, from {length_text(self.open_from_mm)} on"
        return said

    def width_of(self, width_mm: float) -> float:
        """How wide cloth of a width lies, where it is folded."""
        if self.way == "partial":
            return width_mm - self.over_mm
        return width_mm / (2.0 if self.way in ("lengthwise", "double") else 1.0)

    def folds_of(self, width_mm: float) -> tuple[float, ...]:
        """Where folds run along the length, as y."""
        if self.way == "double":
            return 0.0, width_mm / 2.0
        return (0.0,) if self.way in ("lengthwise", "partial") else ()

    def meeting_of(self, width_mm: float, selvedge_mm: float) -> tuple[float, float] | None:
        """From which y to which no line may be cut across: an upper layer ends there."""
        half = max(selvedge_mm, _MEETING_MM)
        if self.way == "double":
            return width_mm / 4.0 - half, width_mm / 4.0 + half
        return (self.over_mm - half, self.over_mm) if self.way == "partial" else None

    def opened_length(self, used_mm: float) -> float:
        """Length of cloth, opened out, of what lies up to ``used_mm``."""
        if self.way != "crosswise":
            return used_mm
        opened = self.open_from_mm
        return 2.0 * used_mm if opened is None else used_mm + min(used_mm, opened)

    def lying_length(self, length_mm: float) -> float:
        """How far cloth of a length reaches as it lies."""
        if self.way != "crosswise":
            return length_mm
        return length_mm / 2.0 if self.open_from_mm is None else length_mm - self.open_from_mm

    def zones(
        self, width_mm: float, selvedge_mm: float, start: float, stop: float
    ) -> tuple[Zone, ...]:
        """The parts of a straight cloth that lies from x = ``start`` to ``stop``, selvedges left out."""
        opened = self.open_from_mm
        end = stop if opened is None else min(stop, max(opened, start))
        across, out = (start, end), self.face == "out"
        wide, s = self.width_of(width_mm), selvedge_mm
        meeting = self.meeting_of(width_mm, s)
        folded = not out  # right sides together, the upper layer shows its wrong side
        if self.way == "none":
            found = [Zone((start, stop), (s, width_mm - s), 1, False)]
        elif self.way == "partial" and meeting is not None:
            found = [Zone(across, (0.0, meeting[0]), 2, folded)]
            # the lower layer goes on: its own upper side is that which the fold covers
            found.append(Zone(across, (meeting[1] + _MEETING_MM, wide - s), 1, out))
        elif meeting is not None:
            found = [Zone(across, (0.0, meeting[0]), 2, folded)]
            found.append(Zone(across, (meeting[1], wide), 2, folded))
        else:
            low = s if self.way == "crosswise" else 0.0
            found = [Zone(across, (low, wide - s), 2, folded)]
        if self.way != "none" and opened is not None and stop > end:
            # nothing lies across the line: beyond it the cloth lies otherwise
            found.append(Zone((end + _MEETING_MM, stop), (s, width_mm - s), 1, False))
        return tuple(z for z in found if z.y[1] > z.y[0] and z.x[1] > z.x[0])

    # -- reading and writing

    def to_plain(self) -> Any:
        """What `read_folding` reads back to an equal one: a word where that is enough."""
        own: dict[str, Any] = {"way": self.way}
        if self.way == "partial":
            own["over"] = f"{self.over_mm:.10g} mm"
        if self.way != "none" and self.open_from_mm is not None:
            own["open_from"] = f"{self.open_from_mm:.10g} mm"
        out = dict(own)
        if self.best:
            out = {"way": BEST, **({"found": own} if self.found else {})}
        if self.face != "in":
            out["face"] = self.face
        return out["way"] if len(out) == 1 else out


def read_folding(reader: Reader, key: str = "fold") -> Folding:
    """The fold of a cloth's mapping: a word, or {way: …, face: …, over: …, open_from: …}."""
    given = reader.data.get(key)
    if not isinstance(given, Mapping):
        way = reader.word(key, (*FOLDS, BEST), same=_SAME)
        if way == "partial":
            _over_missing(reader, key)
        return Folding("lengthwise", best=True) if way == BEST else Folding(way)
    inner = reader.sub(key, _KEYS)
    way = inner.word("way", (*FOLDS, BEST), same=_SAME)
    face = inner.word("face", FACES, same=_SAME_FACE) if inner.has("face") else "in"
    if way == BEST:
        if not inner.has("found"):
            return Folding("lengthwise", face, best=True)
        own = inner.sub("found", ("way", "over", "open_from"))
        made = _one(own, own.word("way", FOLDS, same=_SAME))
        return replace(made, face=face, best=True, found=True)
    return replace(_one(inner, way), face=face)


def _one(inner: Reader, way: str) -> Folding:
    over, opened = 0.0, None
    if inner.has("over"):
        over = inner.length("over", _LEAST_OVER_MM, 5000.0, least=_LEAST_BARE_MM)
        if way != "partial":
            inner.note("over", "goes with 'way: partial' only.", "Take it out.")
    elif way == "partial":
        _over_missing(inner, "over")
    if inner.has("open_from"):
        opened = inner.length("open_from", 0.0, _MAX_MM, least=_LEAST_BARE_MM)
        if way == "none":
            inner.note("open_from", "the cloth is not folded, so nothing is opened out.")
            opened = None
    return Folding(way, over_mm=over, open_from_mm=opened)


def _over_missing(reader: Reader, key: str) -> None:
    reader.note(
        key,
        "how wide the one selvedge is folded over is missing.",
        "Example: fold: {way: partial, over: 300 mm}. 'fold: best' chooses it for you.",
    )


def check_folding(reader: Reader, fold: Folding, width_mm: float, selvedge_mm: float) -> None:
    """Note what a fold does not go with: the width, the selvedges."""
    if not width_mm or (fold.way == "partial" and not fold.over_mm):
        return  # what is missing was told
    if fold.way == "partial" and fold.over_mm > width_mm / 2.0:
        reader.note(
            "fold",
            f"folded over by {length_text(fold.over_mm)} the selvedge passes the other one.",
            f"At most {length_text(width_mm / 2.0)}; then it is 'fold: lengthwise'.",
        )
    wanted = 2 if fold.way in ("double", "partial") else 1
    if len(replace(fold, open_from_mm=None).zones(width_mm, selvedge_mm, 0.0, 1.0)) < wanted:
        reader.note(
            "selvedge",
            f"two of {length_text(selvedge_mm)} leave nothing of {length_text(width_mm)}.",
        )
