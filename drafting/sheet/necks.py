"""Necklines as a collar meets them: each half measured on the pieces, however many they are now.

Between what was drafted before, after its changes, and a collar. From the centre to the shoulder: the
line, its sewn length, and where it opens. Frame: piece mm, x from the centre line, y up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError
from drafting.curves import Points, cross, unit
from drafting.fit import BACK, FRONT, LEFT, RIGHT
from drafting.outline import arc_lengths, polyline_length
from drafting.piece import Notch, Piece
from drafting.sheet.amount import Amount, Sources, found, sources_of
from drafting.sheet.board import Sheet
from drafting.sheet.fronts import TOP
from drafting.sheet.onto import EdgeRun, Onto
from drafting.truing import Spot

SAME_MM = 0.5  # sides that differ by less get a collar that is the same on both
_PAST_MM = 20.0  # an edge that reaches so far past the centre line on both sides is whole
_CORNER_DEG = 30.0
# of a shoulder that cannot be found: 20° (common practice, no source)
_SLOPE = np.array([0.94, -0.34])


@dataclass(frozen=True, eq=False)
class Half:
    """Half a neckline of one side: ``line`` (N, 2) mm from the centre to the shoulder at x ≥ 0; ``spots``: the
    edges that it is made of; ``length``: as finished; ``full``: by how much the edges are longer, to be
    gathered in; ``shoulder`` (2,) and ``shoulder_mm``: direction of the shoulder seam, outward, and its
    length; ``middle``: piece, edge and place along it of a notch about halfway."""

    line: Points
    spots: tuple[Spot, ...]
    length: Amount
    full: float
    shoulder: Points
    shoulder_mm: float
    middle: tuple[str, str, float]
    middle_mm: float

    @property
    def bent(self) -> bool:
        """Whether it is gathered or has a dart: the line is not as it will be sewn."""
        return abs(polyline_length(self.line) - float(self.length)) > SAME_MM

    @property
    def cornered(self) -> bool:
        """Whether the line has a corner between its ends."""
        d = np.diff(self.line, axis=0)
        cross = d[:-1, 0] * d[1:, 1] - d[:-1, 1] * d[1:, 0]
        turns = np.abs(np.arctan2(cross, (d[:-1] * d[1:]).sum(axis=1)))
        return bool((turns > math.radians(_CORNER_DEG)).any())


@dataclass(frozen=True, eq=False)
class Neck:
    """The neckline: front and back of each side, of one where both are alike; ``opens``: 'front', 'back', or
    '' where it goes over the head as it is; ``spots``: all edges that the collar is sewn to; ``tops``: the
    upper edges of a button stand beside them, each ``stand`` mm long."""

    sides: tuple[dict[str, Half], ...]
    opens: str
    spots: tuple[Spot, ...]
    tops: tuple[Spot, ...] = ()
    stand: float = 0.0

    @property
    def full(self) -> float:
        """By how much the edges are longer than the collar, mm, to be gathered in."""
        return sum(h.full for side in self.sides for h in side.values())

    @property
    def sources(self) -> Sources:
        """What it hangs on."""
        return sources_of([h.length for side in self.sides for h in side.values()])


@dataclass(frozen=True, eq=False)
class _Part:
    """One edge's share of a half: its points from the centre outward, and where along the edge they
    begin and which way they run."""

    run: EdgeRun
    points: Points
    start: float
    sign: float

    @property
    def length(self) -> float:
        """As sewn, mm: a whole edge's in proportion."""
        return self.run.length_mm * polyline_length(self.points) / polyline_length(self.run.points)


def neck_of(s: Sheet) -> Neck:
    """The neckline that a collar is sewn to.

    Raises:
        DraftError: there is none, it is bound or has a collar, or one half of it is missing.
    """
    onto, leave = s.garment, "Leave that out; 'neckline_finish: facing' goes with a collar."
    runs = s.fits("neckline", leave, beside="facing")
    s.stop()
    whole = {(r.piece, r.edge) for r in runs if _centre(onto, r) is not None}
    apart = bool(whole) or any(r.side for r in runs)
    sides = tuple(
        {half: _half(onto, [r for r in runs if r.half == half and r.side in (side, "")], half, side) for half in (FRONT, BACK)}
        for side in ((LEFT, RIGHT) if apart else ("",))
    )  # fmt: skip
    alike = all(abs(sides[0][h].length - sides[-1][h].length) < SAME_MM for h in sides[0])
    if apart and alike and not whole:
        sides = sides[:1]
    every = [spot for side in sides for half in side.values() for spot in half.spots]
    spots = [x for i, x in enumerate(every) if x not in whole or x not in every[:i]]
    fronts = dict.fromkeys(p for p, _ in spots if TOP in onto.pieces[p].edges)
    tops = tuple((p, TOP) for p in fronts)
    stand = min((onto.pieces[p].edges[TOP].length_mm for p in fronts), default=0.0)
    return Neck(sides, _opens(onto, runs), tuple(spots), tops, stand)


def _centre(onto: Onto, r: EdgeRun) -> float | None:
    """Where the centre line of an edge lies that runs over both sides of the wearer, mm along x: at 0, or
    on a piece that was drawn elsewhere in the edge's middle; None of half an edge."""
    x = r.points[:, 0]
    if onto.pieces[r.piece].fold is not None:
        return None
    if x.min() < -_PAST_MM and x.max() > _PAST_MM:
        return 0.0
    along = arc_lengths(r.points)
    both = onto.next_to(r.piece, r.edge) == ("shoulder", "shoulder")
    return float(np.interp(0.5 * along[-1], along, x)) if both else None


def _opens(onto: Onto, runs: Sequence[EdgeRun]) -> str:
    asked = str(onto.style.get("opening", ""))
    if asked in (FRONT, BACK):
        return asked
    sewn = {spot for seam in onto.seams for spot in (*seam.a, *seam.b)}
    for r in runs:
        if r.half == BACK and any(m.name == "opening" for m in onto.pieces[r.piece].marks):
            return BACK
        ends = [e for e in onto.next_to(r.piece, r.edge) if e not in ("shoulder", "fold")]
        edge = any(e.startswith(("centre front", "front edge")) for e in ends)
        if r.half == FRONT and edge and not any((r.piece, e) in sewn for e in ends):
            return FRONT
    return ""


def _half(onto: Onto, runs: Sequence[EdgeRun], half: str, side: str) -> Half:
    """One half of one side, its parts put together from the centre to the shoulder."""
    where = f"{side} {half} neckline".strip()
    if not runs:
        what = "is missing; a collar needs the front and the back."
        raise DraftError.of(where, what, "Look at what cut it.")
    parts = [_part(onto, r, half, side) for r in runs]
    parts.sort(key=lambda p: float(p.points[:, 0].min()))
    line = parts[0].points
    for p in parts[1:]:
        line = np.concatenate([line, _run_on(line, p.points)[1:]])
    sewn = sum(p.length for p in parts)
    times = float(onto.style["gather_ratio"]) if onto.style.get("gathers") in (half, "both") else 1.0  # fmt: skip
    long_ = max(parts, key=lambda p: p.length)
    before = sum(p.length for p in parts[: parts.index(long_)])
    middle = 0.5 * polyline_length(long_.points)
    of = [onto.sources(p.run.piece, p.run.edge) for p in parts]
    shoulders = [r for r in onto.edge_runs("shoulder") if r.half == half and r.side in (side, "")]
    return Half(
        line,
        tuple((p.run.piece, p.run.edge) for p in parts),
        found(sewn / times, where, *of),
        sewn - sewn / times,
        _slope(onto.pieces[parts[-1].run.piece], side, _centre(onto, parts[-1].run) or 0.0),
        sum(r.length_mm for r in shoulders) or math.inf,
        (long_.run.piece, long_.run.edge, long_.start + long_.sign * middle),
        (before + 0.5 * long_.length) / times,
    )


def _part(onto: Onto, r: EdgeRun, half: str, side: str) -> _Part:
    """A run's points at x ≥ 0 from the centre outward; of a whole edge those of one side."""
    points, centre = r.points, _centre(onto, r)
    if centre is None:
        before, after = onto.next_to(r.piece, r.edge)
        inward = after != "shoulder" and abs(points[0, 0]) > abs(points[-1, 0])
        start, sign = 0.0, 1.0
        if before == "shoulder" or inward:
            points, start, sign = points[::-1], polyline_length(points), -1.0
        mirror = -1.0 if float(points[:, 0].mean()) < 0.0 else 1.0
        return _Part(r, points * (mirror, 1.0), start, sign)
    points = points - np.array([centre, 0.0])
    want = 1.0 if (side == LEFT) == (half == FRONT) else -1.0  # see `pieces.whole_piece`
    along = arc_lengths(points)
    i = int(np.flatnonzero(np.diff(np.sign(points[:, 0])) != 0)[0])
    share = abs(points[i, 0]) / max(abs(points[i, 0]) + abs(points[i + 1, 0]), 1e-9)
    middle = points[i] + share * (points[i + 1] - points[i])
    start = float(along[i] + share * (along[i + 1] - along[i]))
    first = np.concatenate([middle[None], points[i::-1]])
    second = np.concatenate([middle[None], points[i + 1 :]])
    ahead = float(points[-1, 0]) * want > 0.0
    kept = second if ahead else first
    step = np.r_[1.0, np.hypot(*np.diff(kept, axis=0).T)]
    kept = kept[step > 1e-6]
    return _Part(r, kept * (want, 1.0), start, 1.0 if ahead else -1.0)


def _run_on(line: Points, more: Points) -> Points:
    """Further points moved and turned so that they run on from a line's end."""
    if float(np.hypot(*(more[0] - line[-1]))) < SAME_MM:
        return more
    a, b = unit(line[-1] - line[-2]), unit(more[1] - more[0])
    cos, sin = float(a @ b), cross(b, a)
    return np.asarray((more - more[0]) @ np.array([[cos, sin], [-sin, cos]]) + line[-1])


def _slope(piece: Piece, side: str, centre: float) -> Points:
    """Direction (2,) of the shoulder seam from the neck outward at x ≥ 0; ``centre``: where x is 0."""
    names = [e for e in piece.edges if e.rstrip(" 0123456789").split()[-1] == "shoulder"]
    own = [e for e in names if side and side in e.split()] or names
    if not own:
        return _SLOPE
    ends = piece.edges[own[0]].points[[0, -1]] - np.array([centre, 0.0])
    ends = ends[np.argsort(np.abs(ends[:, 0]))] * (math.copysign(1.0, ends[:, 0].mean()), 1.0)
    return unit(ends[1] - ends[0])


def refuse_corners(s: Sheet, neck: Neck, what: str) -> None:
    """Note it where a neckline has corners, for what does not follow them."""
    for side in neck.sides:
        cornered = " and the ".join(h for h, half in side.items() if half.cornered)
        text = f"of the {cornered} has corners, which {what} does not follow."
        s.fault(bool(cornered), "neckline", text, "Choose a round neckline, or a V.")


def notch_fronts(s: Sheet, neck: Neck) -> None:
    """A notch about halfway on each front neckline of the garment: the collar has its partner."""
    for side in neck.sides:
        piece, edge, at = side[FRONT].middle
        s.notch_onto(piece, Notch(edge, at, 1, "front neckline"))
