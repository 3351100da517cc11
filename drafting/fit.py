"""What she wrote down after a toile, as changes to the points a draft is drawn from.

Between the block's arithmetic and its curves: a block works out the points of each quarter of
the body, `apply` moves them, and only then are the curves drawn. So every change keeps the
mated seams mated and the curves smooth. Frame: piece mm, x from the centre, y up, y = 0 on the
top line. All changes are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from configs.errors import DraftError, Fault, InputError, short
from configs.reader import Reader, as_number, nearest
from configs.units import length_text, parse_length

FRONT, BACK = "front", "back"
LEFT, RIGHT = "left", "right"
XY = tuple[float, float]


@dataclass(frozen=True)
class Quarter:
    """The points of one quarter of the body, before its curves are drawn; mm, y = 0 on the top line.

    ``neck``, ``shoulder``: ends of the shoulder line; ``centre_y``: the neckline at the centre;
    ``bust``, ``waist``, ``hip``: eased points at their levels; ``hem_y``: the hem at the centre.
    """

    half: str
    neck: XY
    shoulder: XY
    centre_y: float
    bust: XY
    waist: XY
    hip: XY
    hem_y: float

    def moved(self, **by: XY | float) -> Quarter:
        """The same quarter with some of its points moved by (dx, dy) or its heights by dy."""
        changes: dict[str, Any] = {}
        for name, step in by.items():
            old = getattr(self, name)
            if isinstance(step, tuple):
                changes[name] = (old[0] + step[0], old[1] + step[1])
            else:
                changes[name] = old + step
        return replace(self, **changes)

    @property
    def shoulder_length(self) -> float:
        """Length of the drawn shoulder line, mm."""
        return math.dist(self.neck, self.shoulder)

    @property
    def along(self) -> XY:
        """Unit direction of the shoulder line, from the neck outward."""
        size = max(self.shoulder_length, 1e-9)
        return (
            (self.shoulder[0] - self.neck[0]) / size,
            (self.shoulder[1] - self.neck[1]) / size,
        )


@dataclass(frozen=True)
class Kind:
    """A change that can be asked for: what it does, its limit in mm, and the words it takes."""

    name: str
    text: str
    limit_mm: float
    where: tuple[str, ...]
    signed: bool
    act: Callable[[Quarter, float, FitChange], Quarter]


@dataclass(frozen=True)
class FitChange:
    """One line of the ``fit`` list: ``by`` mm, ``where`` (front, back, both), ``side``."""

    change: str
    by_mm: float
    where: str = "both"
    side: str = "both"
    note: str = ""
    date: str = ""
    unit: str = "cm"

    @property
    def text(self) -> str:
        """The change in a few words."""
        parts = [self.change, length_text(self.by_mm, "in" if self.unit == "in" else None)]
        if self.where != "both":
            parts.append(f"({self.where})")
        if self.side != "both":
            parts.append(f"({self.side})")
        return " ".join(parts)


def _shoulder_height(sign: float) -> Callable[[Quarter, float, FitChange], Quarter]:
    def act(q: Quarter, by: float, _: FitChange) -> Quarter:
        # The shoulder turns about the neck point and keeps its length; the underarm moves with
        # the shoulder point, so the armhole keeps its size.
        drop = q.shoulder[1] + sign * by - q.neck[1]
        run = math.sqrt(max(q.shoulder_length**2 - drop**2, 1.0))
        turned = replace(q, shoulder=(q.neck[0] + run, q.neck[1] + drop))
        return turned.moved(bust=(0.0, sign * by))

    return act


def _shoulder_width(sign: float) -> Callable[[Quarter, float, FitChange], Quarter]:
    def act(q: Quarter, by: float, _: FitChange) -> Quarter:
        dx, dy = q.along
        return q.moved(shoulder=(sign * by * dx, sign * by * dy))

    return act


def _neck(sign: float) -> Callable[[Quarter, float, FitChange], Quarter]:
    def act(q: Quarter, by: float, _: FitChange) -> Quarter:
        # The whole neck hole travels: what the front loses at the neck the back gains.
        step = sign * by * (-1.0 if q.half == FRONT else 1.0)
        return q.moved(neck=(0.0, step), centre_y=step)

    return act


def _girth(level: str) -> Callable[[Quarter, float, FitChange], Quarter]:
    def act(q: Quarter, by: float, change: FitChange) -> Quarter:
        quarters = 4 if change.where == "both" else 2
        return q.moved(**{level: (by / quarters, 0.0)})

    return act


def _above_waist(q: Quarter, by: float, _: FitChange) -> Quarter:
    return q.moved(waist=(0.0, -by), hip=(0.0, -by), hem_y=-by)


def _below_waist(q: Quarter, by: float, _: FitChange) -> Quarter:
    return q.moved(hip=(0.0, -by), hem_y=-by)


def _back_length(sign: float) -> Callable[[Quarter, float, FitChange], Quarter]:
    def act(q: Quarter, by: float, _: FitChange) -> Quarter:
        # Full at the centre back, nothing at the side seam: the side seams stay mated.
        reach = max(q.bust[0], 1.0)

        def step(x: float) -> float:
            return sign * by * max(0.0, 1.0 - x / reach)

        return q.moved(
            centre_y=step(0.0),
            neck=(0.0, step(q.neck[0])),
            shoulder=(0.0, step(q.shoulder[0])),
        )

    return act


def _stomach(q: Quarter, by: float, _: FitChange) -> Quarter:
    # Both fronts get the whole amount at waist and hem, both backs lose it; the front hangs as much
    # longer at the centre as it stands out, half of the amount.
    wide = by / 2 if q.half == FRONT else -by / 2
    longer = -by / 2 if q.half == FRONT else 0.0
    return q.moved(waist=(wide, 0.0), hip=(wide, longer), hem_y=longer)


_BOTH = ("both", FRONT, BACK)
KINDS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind(
            "shoulder up",
            "The shoulder point higher: the shoulder seam lay behind a hollow or dragged at the neck. The underarm rises with it.",
            25.0,
            ("both",),
            False,
            _shoulder_height(1.0),
        ),
        Kind(
            "shoulder down",
            "The shoulder point lower: folds ran from the neck to the arm. The underarm drops with it.",
            25.0,
            ("both",),
            False,
            _shoulder_height(-1.0),
        ),
        Kind(
            "shoulder in",
            "The shoulder seam shorter at its outer end.",
            40.0,
            ("both",),
            False,
            _shoulder_width(-1.0),
        ),
        Kind(
            "shoulder out",
            "The shoulder seam longer at its outer end.",
            40.0,
            ("both",),
            False,
            _shoulder_width(1.0),
        ),
        Kind(
            "neck forward",
            "The neck hole further to the front: it pressed on the throat and stood away behind.",
            25.0,
            ("both",),
            False,
            _neck(1.0),
        ),
        Kind(
            "neck back",
            "The neck hole further to the back: the top crept backward.",
            25.0,
            ("both",),
            False,
            _neck(-1.0),
        ),
        Kind(
            "bust",
            "Wider (or with a minus narrower) at bust level; the amount is round the body.",
            200.0,
            _BOTH,
            True,
            _girth("bust"),
        ),
        Kind(
            "waist",
            "Wider or narrower at waist level; the amount is round the body.",
            200.0,
            _BOTH,
            True,
            _girth("waist"),
        ),
        Kind(
            "hip",
            "Wider or narrower at hip level, of a skirt; the amount is round the body.",
            200.0,
            ("both",),
            True,
            lambda q, by, change: q,  # a top has no hip line; a skirt works it into its width
        ),
        Kind(
            "hem",
            "Wider or narrower at the hem; the amount is round the body.",
            400.0,
            _BOTH,
            True,
            _girth("hip"),
        ),
        Kind(
            "length above waist",
            "Longer or shorter between bust line and waist.",
            120.0,
            ("both",),
            True,
            _above_waist,
        ),
        Kind(
            "length below waist",
            "Longer or shorter between waist and hem.",
            200.0,
            ("both",),
            True,
            _below_waist,
        ),
        Kind(
            "sway back",
            "The centre back shorter above the waist, running out to nothing at the side: folds lay across the small of the back. A skirt's waist is lowered so.",
            30.0,
            (BACK,),
            False,
            _back_length(-1.0),
        ),
        Kind(
            "stomach",
            "The front wider and longer for a full stomach, the back narrower by as much: the hem rose in front and the side seams swung forward. The amount goes from back to front.",
            60.0,
            ("both",),
            False,
            _stomach,
        ),
        Kind(
            "round back",
            "The centre back longer above the bust line, running out to nothing at the side: the hem rose behind.",
            30.0,
            (BACK,),
            False,
            _back_length(1.0),
        ),
        Kind(
            "one shoulder lower",
            "One shoulder point lower than the other; left and right then differ and four quarters are drawn. 'side' names the lower one as the wearer feels it.",
            25.0,
            ("both",),
            False,
            _shoulder_height(-1.0),
        ),
    )
}
FORM = "{change: bust, by: 12 mm, where: front, note: …}"
_KEYS = ("change", "by", "where", "side", "note", "date")


def parse_fit(
    fit: Sequence[Any] | None, unit: str = "mm", where: str = "fit"
) -> tuple[FitChange, ...]:
    """The ``fit`` list as changes; lengths are texts with a unit, or numbers in ``unit``.

    Raises:
        InputError: all that is wrong with the list, at once.
    """
    if fit is None:
        return ()
    if isinstance(fit, str | Mapping) or not isinstance(fit, Sequence):
        raise InputError(Fault(where, "is not a list of changes.", f"Write '- {FORM}'."))
    faults: list[Fault] = []
    out = []
    for i, entry in enumerate(fit):
        spot = f"{where}[{i + 1}]"
        if isinstance(entry, FitChange):
            out.append(entry)
        elif isinstance(entry, Mapping):
            change = _parse_one(Reader(entry, key=spot, unit=unit, faults=faults))
            out += [change] if change else []
        else:
            faults.append(Fault(spot, f"{short(entry)} is not a change.", f"Write {FORM}.", entry))
    if faults:
        raise InputError(faults)
    return tuple(out)


def _parse_one(row: Reader) -> FitChange | None:
    before = len(row.faults)
    row.only(_KEYS)
    given = row.get("change", "")
    name = " ".join(str(given)[:60].replace("-", " ").replace("_", " ").split())
    kind = KINDS.get(name.lower())
    if kind is None:
        if not name:
            row.note("change", "is missing.", f"Write {FORM}.")
        else:
            near = nearest(name, KINDS) or f"Known here: {', '.join(sorted(KINDS))}."
            row.note("change", f"unknown change {short(name)}.", f"{near} Form: {FORM}.", given)
        return None
    by = 0.0
    if not row.has("by"):
        row.note("by", "is missing: by how much?", f"Write {FORM}.")
    else:
        by = row.tried(
            lambda: parse_length(row.get("by"), row.unit, row.place("by"), signed=kind.signed), 0.0
        )
    if abs(by) > kind.limit_mm:
        most = length_text(kind.limit_mm, "in" if row.unit == "in" else None)
        row.note(
            "by",
            f"{short(row.get('by'))} is more than '{kind.name}' can do ({most}).",
            "Measure again instead; a change this large means another body.",
            row.get("by"),
        )
    side, place = str(row.get("side", "both")).lower(), str(row.get("where", kind.where[0])).lower()
    if place not in kind.where:
        row.note("where", f"is {short(place)}.", f"Here: {', '.join(kind.where)}.")
    if kind.name == "one shoulder lower":
        if side not in (LEFT, RIGHT):
            row.note("side", "is missing.", "Write side: left or side: right (the wearer's).")
    elif side != "both":
        row.note("side", "only goes with 'one shoulder lower'.")
    note = row.text("note", lines=True)
    if len(row.faults) > before:
        return None
    written = str(row.get("by"))
    inches = row.unit == "in" and as_number(row.get("by")) is not None
    shown = "in" if inches or any(mark in written for mark in ("in", '"', "″")) else "cm"
    return FitChange(kind.name, by, place, side, note, str(row.get("date", ""))[:40], shown)


def apply(quarter: Quarter, side: str, changes: Sequence[FitChange]) -> Quarter:
    """The quarter after all changes that concern it; ``side``: the wearer's left or right.

    Raises:
        DraftError: a change turns the quarter inside out.
    """
    for change in changes:
        if change.where not in ("both", quarter.half) or change.side not in ("both", side):
            continue
        quarter = KINDS[change.change].act(quarter, change.by_mm, change)
        if (
            quarter.shoulder[0] - quarter.neck[0] < 15.0
            or quarter.bust[1] - quarter.waist[1] < 15.0
        ):
            raise DraftError(
                Fault("fit", f"'{change.text}' leaves no room on the {quarter.half}.", "Use less.")
            )
    return quarter


def one_sided(changes: Sequence[FitChange]) -> bool:
    """Whether left and right differ."""
    return any(c.side != "both" for c in changes)
