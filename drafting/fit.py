"""What she wrote down after a toile, as changes to the points a draft is drawn from.

Between the block's arithmetic and its curves: a block works out the points of each quarter of
the body, `apply` moves them, and only then are the curves drawn. So every change keeps the
mated seams mated and the curves smooth. Frame: piece mm, x from the centre, y up, y = 0 on the
top line. All changes are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from configs.errors import DraftError, Fault, InputError, short
from configs.reader import Reader, nearest
from configs.units import is_bare, length_text, parse_length

FRONT, BACK = "front", "back"
LEFT, RIGHT = "left", "right"
XY = tuple[float, float]
Act = Callable[["Quarter", float, "FitChange"], "Quarter"]


@dataclass(frozen=True)
class Quarter:
    """The points of one quarter of the body, before its curves are drawn; mm, y = 0 on the top line.

    ``neck``, ``shoulder``: ends of the shoulder line; ``centre_y``: the neckline at the centre;
    ``bust``, ``waist``, ``hip``: eased points at their levels; ``hem_y``: the hem at the centre;
    ``ease``: how much longer its shoulder is than the other half's, to be eased in; ``longer``: how
    much longer its side seam is than its points make it.
    """

    half: str
    neck: XY
    shoulder: XY
    centre_y: float
    bust: XY
    waist: XY
    hip: XY
    hem_y: float
    ease: float = 0.0
    longer: float = 0.0

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
    """A change that can be asked for: the fault it mends and what it does, its limit in mm, and the
    words it takes. ``act`` moves the points by the amount, or by its ``minus``. ``adds``: level → what
    share of the amount it adds to the girth there; ``sided``: it goes with one side of the wearer."""

    name: str
    text: str
    limit_mm: float
    where: tuple[str, ...]
    signed: bool
    act: Act
    minus: bool = False
    adds: Mapping[str, float] = field(default_factory=dict)
    sided: bool = False


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


def _shoulder_height(q: Quarter, by: float, _: FitChange) -> Quarter:
    # The shoulder turns about the neck point and keeps its length; the underarm moves with
    # the shoulder point, so the armhole keeps its size.
    drop = q.shoulder[1] + by - q.neck[1]
    run = math.sqrt(max(q.shoulder_length**2 - drop**2, 1.0))
    turned = replace(q, shoulder=(q.neck[0] + run, q.neck[1] + drop))
    return turned.moved(bust=(0.0, by))


def _shoulder_width(q: Quarter, by: float, _: FitChange) -> Quarter:
    dx, dy = q.along
    return q.moved(shoulder=(by * dx, by * dy))


def _neck(q: Quarter, by: float, _: FitChange) -> Quarter:
    # The whole neck hole travels: what the front loses at the neck the back gains.
    step = -by if q.half == FRONT else by
    return q.moved(neck=(0.0, step), centre_y=step)


def _girth(level: str) -> Act:
    def act(q: Quarter, by: float, change: FitChange) -> Quarter:
        quarters = 4 if change.where == "both" else 2
        return q.moved(**{level: (by / quarters, 0.0)})

    return act


def _above_waist(q: Quarter, by: float, _: FitChange) -> Quarter:
    return q.moved(waist=(0.0, -by), hip=(0.0, -by), hem_y=-by)


def _below_waist(q: Quarter, by: float, _: FitChange) -> Quarter:
    return q.moved(hip=(0.0, -by), hem_y=-by)


def _neck_end(q: Quarter, by: float) -> Quarter:
    """The neck end of the shoulder moved up by ``by``, its other end and its length kept."""
    rise = q.neck[1] + by - q.shoulder[1]
    run = math.sqrt(max(q.shoulder_length**2 - rise**2, 1.0))
    return replace(q, neck=(q.shoulder[0] - run, q.shoulder[1] + rise))


def _sway_back(q: Quarter, by: float, _: FitChange) -> Quarter:
    # The strip between the centre and a line under the neck point slides down; armhole, shoulder end
    # and all below the bust line stay (Liechty, Pottberg and Rasband, Fitting & Pattern Alteration,
    # 1992, as told on a web page).
    return _neck_end(q, -by).moved(centre_y=-by)


def _round_back(q: Quarter, by: float, _: FitChange) -> Quarter:
    # Slashed at the blades, open by the amount at the centre and by nothing at the armhole. The
    # shoulder gets longer at its neck end; what is too much is eased into the front's.
    before = q.shoulder_length
    up = by * max(0.0, 1.0 - q.neck[0] / max(q.shoulder[0], 1.0))
    q = q.moved(centre_y=by, neck=(0.0, up))
    return q.moved(ease=q.shoulder_length - before)


def _gaping(q: Quarter, by: float, _: FitChange) -> Quarter:
    # The neckline is pinched out into the shoulder seam: the armhole stays.
    return _neck_end(q, -by)


def _forward_shoulder(q: Quarter, by: float, change: FitChange) -> Quarter:
    # The seam turns about the neck point: what the front loses at the arm the back gains.
    step = -by if q.half == FRONT else by
    return _shoulder_height(q, step, change).moved(bust=(0.0, -step))


def _full_bust(q: Quarter, by: float, _: FitChange) -> Quarter:
    # Slashed from the shoulder over the bust to the hem and spread; the front hangs longer at the
    # centre by as much as each half is spread.
    each = by / 2
    longer = -min(each, MOST_LONGER_MM)
    wide = q.moved(bust=(each, 0.0), waist=(each, 0.0), hip=(each, longer), hem_y=longer)
    return wide.moved(longer=longer)  # at the side it hangs as before


def _back_width(q: Quarter, by: float, _: FitChange) -> Quarter:
    each = by / 2
    q = q.moved(bust=(each, 0.0), waist=(each, 0.0), hip=(each, 0.0))
    out = min(max(each, 0.0), MOST_SHOULDER_EASE_MM)  # the blades need it, the front does not
    dx, dy = q.along
    return q.moved(shoulder=(out * dx, out * dy), ease=out)


def _armhole(q: Quarter, by: float, _: FitChange) -> Quarter:
    return q.moved(bust=(0.0, by))


def _stomach(q: Quarter, by: float, _: FitChange) -> Quarter:
    # Both fronts get the whole amount at waist and hem, both backs lose it; the front hangs as much
    # longer at the centre as it stands out, half of the amount.
    wide = by / 2 if q.half == FRONT else -by / 2
    longer = -by / 2 if q.half == FRONT else 0.0
    wider = q.moved(waist=(wide, 0.0), hip=(wide, longer), hem_y=longer)
    return wider.moved(longer=longer)  # at the side it hangs as before


def _same(q: Quarter, _: float, __: FitChange) -> Quarter:
    return q


_LEAST_BARE_MM = 3.0  # a bare number below it was hardly meant in mm,
_NOTHING = 0.03  # nor one below this part of the most that a change can do
MOST_LONGER_MM = 30.0
MOST_SHOULDER_EASE_MM = 10.0  # a shoulder of woven cloth eases in no more
_BOTH, _FRONT, _BACK, _ALL = ("both", FRONT, BACK), (FRONT,), (BACK,), ("both",)
_ROUND = {"bust": 1.0, "waist": 1.0, "hem": 1.0}
_KINDS = (
    Kind("shoulder up", "Square shoulders: folds lie across below the neck, the top is tight over the shoulder ends. The shoulder point goes up, the underarm with it.", 25.0, _ALL, False, _shoulder_height),
    Kind("shoulder down", "Sloping shoulders: folds run from the neck down to the arm. The shoulder point goes down, the underarm with it.", 25.0, _ALL, False, _shoulder_height, True),
    Kind("shoulder in", "The shoulder seam falls over the arm. It gets shorter at its outer end.", 40.0, _ALL, False, _shoulder_width, True),
    Kind("shoulder out", "The armhole cuts in on top of the shoulder. The seam gets longer at its outer end.", 40.0, _ALL, False, _shoulder_width),
    Kind("forward shoulder", "At the neck the shoulder seam is right, at the arm it lies behind the shoulder's ridge. Its outer end goes to the front.", 25.0, _ALL, False, _forward_shoulder),
    Kind("neck forward", "The neck hole presses on the throat and stands away behind. The whole hole goes to the front.", 25.0, _ALL, False, _neck),
    Kind("neck back", "The neck hole presses at the back of the neck, and the top creeps backward. The whole hole goes to the back.", 25.0, _ALL, False, _neck, True),
    Kind("gaping neckline", "The front neckline stands away from the chest, and nothing presses behind. It is pinched out into the shoulder seam; the armhole stays.", 20.0, _FRONT, False, _gaping),
    Kind("armhole lower", "The armhole cuts in under the arm. The underarm goes down.", 40.0, _ALL, False, _armhole, True),
    Kind("armhole higher", "The armhole gapes under the arm, and the whole top lifts with it. The underarm goes up.", 30.0, _ALL, False, _armhole),
    Kind("bust", "Tight or loose at bust level all round; with 'where' in front or behind alone. The amount is round the body; a minus takes away.", 200.0, _BOTH, True, _girth("bust"), False, {"bust": 1.0}),
    Kind("full bust", "The hem rises in front and folds point at the bust; the back fits. The front gets wider from the bust down and longer at the centre. The amount is added round the front.", 120.0, _FRONT, False, _full_bust, False, _ROUND),
    Kind("waist", "Tight or loose at waist level. The amount is round the body; a minus takes away.", 200.0, _BOTH, True, _girth("waist"), False, {"waist": 1.0}),
    Kind("hip", "A skirt that is tight or loose at hip level. The amount is round the body; a minus takes away.", 200.0, _ALL, True, _same, False, {"hip": 1.0}),  # a top has no hip line
    Kind("hem", "Tight or loose at the hem. The amount is round the body; a minus takes away.", 400.0, _BOTH, True, _girth("hip"), False, {"hem": 1.0}),
    Kind("stomach", "The hem rises in front and the side seams swing forward below the waist; the bust fits. The front gets wider and longer for a full stomach, the back narrower; the amount goes from back to front.", 60.0, _ALL, False, _stomach),
    Kind("length above waist", "The waist lies too high, or with a minus too low. Longer or shorter between bust line and waist.", 120.0, _ALL, True, _above_waist),
    Kind("length below waist", "Too short or too long below the waist, which lies right. Longer or shorter between waist and hem.", 200.0, _ALL, True, _below_waist),
    Kind("sway back", "Folds lie across the small of the back. The centre back gets shorter by a strip as wide as the neck; armhole and waist stay. A skirt's waist is lowered so.", 30.0, _BACK, False, _sway_back),
    Kind("round back", "The hem rises behind and the top pulls back from the nape. The centre back gets longer above the blades; the armhole stays, the shoulder's surplus is eased in.", 30.0, _BACK, False, _round_back),
    Kind("broad back", "Tight across the shoulder blades when the arms reach forward. The back gets wider, its shoulder eased into the front's. The amount is across the back.", 60.0, _BACK, False, _back_width, False, _ROUND),
    Kind("narrow back", "Loose folds stand upright between the shoulder blades. The back gets narrower. The amount is across the back.", 60.0, _BACK, False, _back_width, True, dict.fromkeys(_ROUND, -1.0)),
    Kind("upper arm", "A sleeve is tight or loose round the upper arm. It gets wider, and its cap lower by what keeps it as long as its armhole; a minus takes away.", 80.0, _ALL, True, _same),
    Kind("cap height", "Folds lie across the cap of a sleeve, it is too low; or with a minus they fall from its crown, it is too high. The sleeve gets narrower as the cap gets higher.", 40.0, _ALL, True, _same),
    Kind("sleeve length", "A sleeve is too short, or with a minus too long.", 120.0, _ALL, True, _same),
    Kind("wrist", "A sleeve is tight or loose at its end. The amount is round it; a minus takes away.", 80.0, _ALL, True, _same),
    Kind("one shoulder lower", "Folds run from the neck to the arm on one side only. Left and right then differ and four quarters are drawn; 'side' names the lower shoulder as the wearer feels it.", 25.0, _ALL, False, _shoulder_height, True, sided=True),
    Kind("one hip higher", "The hem rises on one side only, and folds point at that hip. The side seam gets longer there; 'side' names the higher hip as the wearer feels it.", 40.0, _ALL, False, lambda q, by, _: q.moved(longer=by), sided=True),
)  # fmt: skip
KINDS: dict[str, Kind] = {k.name: k for k in _KINDS}
SLEEVE = ("upper arm", "cap height", "sleeve length", "wrist")  # changes of a set-in sleeve alone
SIDED = tuple(k.name for k in _KINDS if k.sided)
FORM = "{change: bust, by: 12 mm, where: front, note: …}"
_KEYS = ("change", "by", "where", "side", "note", "date")


def parse_fit(
    fit: Sequence[Any] | None, unit: str = "mm", where: str = "fit", *, asks: bool = True
) -> tuple[FitChange, ...]:
    """The ``fit`` list as changes; lengths are texts with a unit, or numbers in ``unit``. ``asks``:
    whether a number that is next to nothing in mm is asked back.

    Raises:
        InputError: all that is wrong with the list, at once.
    """
    if fit is None:
        return ()
    if isinstance(fit, str | Mapping) or not isinstance(fit, Sequence):
        raise InputError.of(where, "is not a list of changes.", f"Write '- {FORM}'.")
    faults: list[Fault] = []
    out = []
    for i, entry in enumerate(fit):
        spot = f"{where}[{i + 1}]"
        if isinstance(entry, FitChange):
            out.append(entry)
        elif isinstance(entry, Mapping):
            change = _parse_one(Reader(entry, key=spot, unit=unit, faults=faults, asks=asks))
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
        place = row.place("by")
        by = row.tried(
            lambda: parse_length(row.get("by"), row.unit, place, signed=kind.signed), 0.0
        )
    least = max(_LEAST_BARE_MM, _NOTHING * kind.limit_mm)
    if row.too_bare("by", row.get("by"), by, least, kind.limit_mm):
        return None
    if abs(by) > kind.limit_mm:
        most = length_text(kind.limit_mm, "in" if row.unit == "in" else None)
        what = f"{short(row.get('by'))} is more than '{kind.name}' can do ({most})."
        remedy = "Measure again instead; a change this large means another body."
        row.note("by", what, remedy, row.get("by"))
    side, place = str(row.get("side", "both")).lower(), str(row.get("where", kind.where[0])).lower()
    if place not in kind.where:
        row.note("where", f"is {short(place)}.", f"Here: {', '.join(kind.where)}.")
    if kind.sided:
        if side not in (LEFT, RIGHT):
            row.note("side", "is missing.", "Write side: left or side: right (the wearer's).")
    elif side != "both":
        row.note("side", f"only goes with {' and '.join(map(repr, SIDED))}.")
    note = row.text("note", lines=True)
    if len(row.faults) > before:
        return None
    written = str(row.get("by"))
    inches = row.unit == "in" and is_bare(row.get("by"))
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
        kind = KINDS[change.change]
        by = -change.by_mm if kind.minus else change.by_mm
        quarter = kind.act(quarter, by, change)
        shoulder, high = quarter.shoulder[0] - quarter.neck[0], quarter.bust[1] - quarter.waist[1]
        if min(shoulder, high) < 15.0:
            what = f"'{change.text}' leaves no room on the {quarter.half}."
            raise DraftError.of("fit", what, "Use less.")
    return quarter


def one_sided(changes: Sequence[FitChange]) -> bool:
    """Whether left and right differ."""
    return any(c.side != "both" for c in changes)
