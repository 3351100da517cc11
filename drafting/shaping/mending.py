"""Edges that an operation broke, trued: where a piece was opened or shut the edge runs on smoothly.

As on paper: the edge is redrawn in one sweep over the place, from well before it to well after. The
edge is taken as the line that it was, and the motion of what lies beyond a break sets in little by
little along it: a hinged opening follows its circle, strips that slid apart a slope, a shut dart a
bow through the place where its legs meet. Far from a break, at the ends of the edge and over its
darts nothing changes, so corners that were square stay square. Frame: piece mm. Own method.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from configs.errors import InputError
from drafting.allowance import FOLD
from drafting.curves import left_of, sweep, turn, unit
from drafting.outline import (
    Edge,
    Points,
    arc_lengths,
    gap_between,
    nearest_distance,
    points_along,
    polyline_length,
    stretch_of,
    without_repeats,
)
from drafting.piece import Notch, Piece
from drafting.shaping.parts import SAME_MM, Move, Part, Run, xy
from drafting.truing import dart_spans

_SIGN = "\x00broken"  # match of the notches that keep a break until it is trued; no other has it
_OPENS, _SHUTS, _MEETS = f"{_SIGN} <", f"{_SIGN} >", f"{_SIGN} |"
CORNER_DEG = 8.0  # an edge that turned more where it was opened had a corner there, which it keeps
REACH_MM = 60.0  # an edge is redrawn at least so far on both sides of a break, if there is room
_OF_FREE = 0.9  # at most this share of what lies between a break and the edge's end or a dart
_LEAST_MM = 5.0  # nearer to its edge's end a break is left alone: there is no room for a sweep
_STEP_MM = 2.0
_STRAIGHT_MM = 0.003
_TANGENT_MM = 0.5
_WAVE_DEG = 0.5
_BOW_MM = 6.0
_WAVE_MM, _WAVE_SHARE = 5.0, 0.05  # a wave that is flattened moves the edge by no more


def broken(
    before: Part, gap: Sequence[Run], after: Part, was: float = 0.0
) -> tuple[Part, Sequence[Run]]:
    """What lies before a break, and the gap, with notches that keep where the break is.

    ``was``: by how much the edge turned there before, radians.
    """
    last, first = before.runs[-1], after.runs[0]
    if was > math.radians(CORNER_DEG):
        return before, gap
    if gap:
        name, long_ = gap[0].name, gap[0].length_mm
        signs = (Notch(name, 0.0, 1, _OPENS), Notch(name, long_, 1, _SHUTS))
        return before, [replace(gap[0], notches=(*gap[0].notches, *signs)), *gap[1:]]
    if last.name != first.name:
        return before, gap
    sign = Notch(last.name, last.length_mm, 1, _MEETS)
    runs = (*before.runs[:-1], replace(last, notches=(*last.notches, sign)))
    return replace(before, runs=runs), gap


def turn_between(before: Run, after: Run) -> float:
    """By how much an edge turns from one of its stretches to the next, radians."""
    a, b = Edge("a", before.points).end_tangent, Edge("b", after.points).start_tangent
    return abs(turn(a, b))


def unbroken(piece: Piece) -> Piece:
    """The piece with its breaks as they are, and no longer kept."""
    return piece.with_(notches=tuple(n for n in piece.notches if not n.match.startswith(_SIGN)))


def mended(piece: Piece) -> tuple[Piece, Mapping[str, float]]:
    """The piece with every edge that was broken trued, and how far each moved at most, mm.

    Where a sweep would cross the outline or the fold, the edges stay as they were opened.
    """
    edges, notches = dict(piece.edges), []
    moved: dict[str, float] = {}
    for name, edge in piece.edges.items():
        here = [n for n in piece.notches if n.edge == name]
        kept = [n for n in here if not n.match.startswith(_SIGN)]
        spans = [] if name == FOLD else _spans(edge, here)
        if not spans:
            notches += kept
            continue
        roofs = dart_spans(piece, name)
        points, places = _swept(edge, spans, roofs, [n.at_mm for n in kept])
        edges[name] = Edge(name, points)
        long_ = edges[name].length_mm
        notches += [replace(n, at_mm=min(x, long_)) for n, x in zip(kept, places, strict=True)]
        moved[name] = gap_between(points, edge.points)
    if piece.fold is not None and any(edges[n].points[:, 0].min() < -1e-6 for n in moved):
        return unbroken(piece), {}
    try:
        return piece.with_(edges=edges, notches=tuple(notches)), moved
    except InputError:
        return unbroken(piece), {}


def _spans(edge: Edge, notches: Sequence[Notch]) -> list[tuple[float, float]]:
    """(start, end) of every break of an edge that has room for a sweep, mm along it, in order."""
    opens = sorted(n.at_mm for n in notches if n.match == _OPENS)
    shuts = sorted(n.at_mm for n in notches if n.match == _SHUTS)
    meets = [n.at_mm for n in notches if n.match == _MEETS]
    pairs = [*zip(opens, shuts, strict=False), *((x, x) for x in meets)]
    far = edge.length_mm - _LEAST_MM
    return sorted(p for p in pairs if p[0] > _LEAST_MM and p[1] < far)


@dataclass(frozen=True, eq=False)
class _Break:
    """A break of the line as it was: ``at`` along it; ``first`` to ``last``: where the motion beyond it
    sets in; ``meets``: nothing was put in there; the motion is a turn by ``angle`` about ``centre``, or where that is None a ``shift``."""

    at: float
    first: float
    last: float
    meets: bool
    angle: float
    centre: Points | None
    shift: Points

    def share(self, u: Points) -> Points:
        """(N,) how much of the motion there is at distances along the line: 0 to 1, smooth."""
        x = np.clip((u - self.first) / (self.last - self.first), 0.0, 1.0)
        return np.asarray(x * x * x * (10.0 - 15.0 * x + 6.0 * x * x))

    def __call__(self, points: Points, u: Points) -> Points:
        """Points (N, 2) moved, each by its share."""
        w = self.share(u)
        if self.centre is None:
            return np.asarray(points + w[:, None] * self.shift)
        d = points - self.centre
        c, s = np.cos(w * self.angle), np.sin(w * self.angle)
        return self.centre + np.stack([c * d[:, 0] - s * d[:, 1], s * d[:, 0] + c * d[:, 1]], 1)


def _swept(
    edge: Edge,
    spans: Sequence[tuple[float, float]],
    roofs: Sequence[tuple[float, ...]],
    marks: Sequence[float],
) -> tuple[Points, list[float]]:
    """An edge with its breaks swept over, and where places along it lie now.

    ``spans``: from where to where it is broken; ``roofs``: its darts; ``marks``: the places, mm.
    """
    stops = [0.0, *(x for span in spans for x in span), edge.length_mm]
    parts = [stretch_of(edge.points, a, b) for a, b in zip(stops[::2], stops[1::2], strict=True)]
    lengths = [polyline_length(p) for p in parts]
    starts = [0.0, *np.cumsum(lengths)]

    def along(s: float) -> float:
        """A distance along the edge as one along the line that it was."""
        k = max(i for i in range(len(parts)) if i == 0 or s >= stops[2 * i] - 1e-9)
        return float(starts[k] + min(s - stops[2 * k], lengths[k]))

    walls = [0.0, starts[-1], *(along(x) for roof in roofs for x in roof)]
    line = [parts[0]]
    back = Move()  # from the edge to the line that it was
    breaks: list[_Break] = []
    ats = [float(x) for x in starts[1:-1]]
    for k, at in enumerate(ats, 1):
        here, there = line[-1], back(parts[k])
        angle = turn(_end(here), -_end(there[::-1]))
        glue = Move.about(there[0], -angle)
        shift = here[-1] - glue(there[0])
        glue = Move(0.0, xy(shift)).after(glue)
        line.append(glue(there))
        back = glue.after(back)
        free = (
            at - max(w for w in walls if w <= at + 1e-9),
            min(w for w in walls if w >= at - 1e-9) - at,
        )
        gap = float(np.hypot(*(there[0] - here[-1])))
        spacing = max(
            (abs(x - at) for x in ats[max(k - 2, 0) : k + 1]), default=0.0
        )  # to its neighbours
        reach = max(REACH_MM, 1.5 * gap, 1.2 * spacing)
        first, last = (min(reach, _OF_FREE * f) for f in free)
        if min(first, last) < SAME_MM:
            first = last = 1e-3
        breaks.append(_break(at, at - first, at + last, gap < SAME_MM, glue))
    return _drawn(line, breaks, [along(x) for x in marks], walls, edge.points[[0, -1]])


def _break(at: float, first: float, last: float, meets: bool, glue: Move) -> _Break:
    """The break whose far side was laid on its near side by a motion; it is undone little by little."""
    angle = -glue.angle
    c, s = math.cos(angle), math.sin(angle)
    shift = -np.array([[c, -s], [s, c]]) @ np.array(glue.shift)
    if abs(angle) < 1e-7:
        return _Break(at, first, last, meets, 0.0, None, shift)
    centre = np.linalg.solve(np.eye(2) - np.array([[c, -s], [s, c]]), shift)
    return _Break(at, first, last, meets, angle, centre, shift)


def _drawn(
    line: Sequence[Points],
    breaks: Sequence[_Break],
    marks: Sequence[float],
    walls: Sequence[float],
    ends: Points,
) -> tuple[Points, list[float]]:
    """The line that an edge was, moved beyond each break, and where places along it come to lie."""
    joined = without_repeats(np.concatenate([line[0], *(p[1:] for p in line[1:])]))
    run = arc_lengths(joined)
    fine = np.arange(0.0, run[-1], _STEP_MM)
    more = [x for b in breaks for x in (b.first, b.last)]
    u = np.unique(np.concatenate([run, fine, more, marks, walls]).clip(0.0, run[-1]))
    u = u[np.r_[True, np.diff(u) > 1e-6]]
    points = before = points_along(joined, u)
    for b in reversed(breaks):
        points = b(points, u)
    points = points.copy()
    points[0], points[-1] = ends
    for first, last in _zones(breaks):
        near = _from_to(u, first, last)
        wide = _from_to(
            u, max(w for w in walls if w <= first + 1e-9), min(w for w in walls if w >= last - 1e-9)
        )
        if all(k.meets for k in breaks if first <= k.at <= last):
            points[near] = _as_long(points[near], float(np.ptp(u[near])))
        elif _waves(points[near]):
            for zone in (near, wide):
                simple = None if _waves(before[zone]) else _waveless(points[zone])
                if simple is not None:
                    points[zone] = simple
                    break
    length = arc_lengths(points)
    # The ends of the darts' legs stay points of it.
    stops = np.unique([int(np.argmin(np.abs(u - w))) for w in walls])
    stretches = [_plain(points[a : b + 1]) for a, b in pairwise(stops)]
    joined = np.concatenate([stretches[0], *(p[1:] for p in stretches[1:])])
    return joined, [float(x) for x in np.interp(marks, u, length)]


def _from_to(u: Points, first: float, last: float) -> slice:
    """The places from one distance to another, both with it."""
    a, b = (int(np.argmin(np.abs(u - x))) for x in (first, last))
    return slice(a, b + 1)


def _zones(breaks: Sequence[_Break]) -> list[tuple[float, float]]:
    """From where to where the line is redrawn: breaks that reach into one another are one."""
    out: list[tuple[float, float]] = []
    for b in breaks:
        if out and b.first < out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], b.last))
        else:
            out.append((b.first, b.last))
    return out


def _waveless(points: Points) -> Points | None:
    """A waving stretch of the redrawn line as one simple curve, or None where there is none near it.

    A slash that does not meet the edge square lets it dip beside the opening, which nobody sews.
    """
    whole = polyline_length(points)
    curve = sweep(points[0], points[1] - points[0], points[-1], points[-1] - points[-2])
    simple = curve.flatten(_STRAIGHT_MM)
    off = float(nearest_distance(points, simple).max())
    if _waves(simple) or off > max(_WAVE_MM, _WAVE_SHARE * whole):
        return None
    # As many points as there were, at the same shares of the way.
    return points_along(simple, arc_lengths(points) / whole * polyline_length(simple))


def _as_long(points: Points, wanted: float) -> Points:
    """A stretch bowed out or in until it has a length, mm; as near to it as a small bow makes it."""
    run = arc_lengths(points)
    share = run / run[-1]
    off = (np.sin(np.pi * share) ** 2)[:, None] * np.apply_along_axis(
        left_of, 1, np.gradient(points, share, axis=0)
    )
    off /= np.hypot(*off.T).max()

    def miss(by: float) -> float:
        return polyline_length(points + by * off) - wanted

    tries = np.linspace(-_BOW_MM, _BOW_MM, 41)
    misses = np.array([miss(float(t)) for t in tries])
    crossed = np.flatnonzero(np.sign(misses[:-1]) != np.sign(misses[1:]))
    if not len(crossed):
        return np.asarray(points + tries[int(np.argmin(np.abs(misses)))] * off)
    i = min(crossed, key=lambda k: abs(float(tries[k] + tries[k + 1])))
    low, high = float(tries[i]), float(tries[i + 1])
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if miss(middle) * misses[i] > 0 else (low, middle)
    return np.asarray(points + 0.5 * (low + high) * off)


def _waves(points: Points) -> bool:
    """Whether a line bends to both sides, each by more than half a degree in all."""
    way = np.unwrap(np.arctan2(*np.diff(points, axis=0).T[::-1]))
    turns = np.diff(way)
    return bool(min(turns[turns > 0].sum(), -turns[turns < 0].sum()) > math.radians(_WAVE_DEG))


def _plain(points: Points) -> Points:
    """The same line without the points that say nothing."""
    import shapely

    line = shapely.LineString(points).simplify(_STRAIGHT_MM)
    return np.array(line.coords)


def _end(points: Points) -> Points:
    """The direction (2,) in which a polyline ends."""
    back = points_along(points, max(polyline_length(points) - _TANGENT_MM, 0.0))
    return unit(points[-1] - back)
