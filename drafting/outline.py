"""Outlines: closed rings of named edges (fold, hem, side, armhole, shoulder, neckline …).

Between the curves, which the blocks draw, and the pieces, which carry an outline to the
cutting table. All points are (N, 2) float64 arrays, mm, in the piece frame (x away from the
centre line, y up along the grain); rings run counter-clockwise.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from configs.errors import Fault, InputError
from drafting.curves import turn

Points = NDArray[np.float64]

JOIN_MM = 0.01  # ends of neighbouring edges nearer than this are one point
_SAME_MM = 1e-6  # two points nearer than this add nothing to an outline


def as_points(points: ArrayLike, what: str, least: int = 2) -> Points:
    """A read-only (N, 2) float64 copy of ``points``.

    Raises:
        InputError: not pairs of finite numbers, or fewer than ``least``.
    """
    try:
        array = np.array(points, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError.of(what, "is not a list of [x, y] pairs of numbers.") from error
    if array.ndim != 2 or array.shape[1:] != (2,):
        raise InputError.of(what, f"is not a list of [x, y] pairs (its shape is {array.shape}).")
    if not np.isfinite(array).all():
        raise InputError.of(what, "holds a coordinate that is not a finite number.")
    if len(array) < least:
        raise InputError.of(what, f"has {len(array)} points; at least {least} are needed.")
    array.setflags(write=False)
    return array


def polyline_length(points: Points) -> float:
    """Length in mm of an open polyline, (N, 2) mm."""
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def arc_lengths(points: Points) -> Points:
    """(N,) how far along a polyline (N, 2) each of its points lies, from 0."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def points_along(points: Points, at: ArrayLike) -> Points:
    """(…, 2) the places at distances (…) along a polyline (N, 2); past an end, that end."""
    run, wanted = arc_lengths(points), np.asarray(at, dtype=np.float64)
    return np.stack([np.interp(wanted, run, points[:, k]) for k in (0, 1)], axis=-1)


def stretch_of(points: Points, start: float, end: float) -> Points:
    """(K, 2) a polyline from one distance along it to another, with its own points between."""
    run = arc_lengths(points)
    inner = run[(run > start + _SAME_MM) & (run < end - _SAME_MM)]
    return points_along(points, np.concatenate([[start], inner, [end]]))


def place_on(points: Points, spot: ArrayLike) -> tuple[float, float]:
    """(distance mm along a polyline to its place nearest to a point, distance mm from it)."""
    p = np.asarray(spot, dtype=np.float64)
    a, run = points[:-1], np.diff(points, axis=0)
    size2 = np.maximum((run**2).sum(axis=1), 1e-18)
    share = np.clip(((p - a) * run).sum(axis=1) / size2, 0.0, 1.0)
    away = np.hypot(*(a + share[:, None] * run - p).T)
    i = int(np.argmin(away))
    steps = np.sqrt(size2)
    return float(steps[:i].sum() + share[i] * steps[i]), float(away[i])


def bow(points: Points) -> float:
    """How far an open polyline (N, 2) leaves the straight line between its ends, mm; where both are
    one point, how far it goes from there."""
    chord, off = points[-1] - points[0], points - points[0]
    size = float(np.hypot(*chord))
    if size < _SAME_MM:
        return float(np.hypot(*off.T).max())
    return float(np.abs(off @ np.array([-chord[1], chord[0]])).max()) / size


def signed_area(ring: Points) -> float:
    """Area in mm² of a closed ring (first point not repeated), positive counter-clockwise."""
    x, y = (ring - ring[0]).T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def is_simple(ring: Points) -> bool:
    """True when the closed ring (first point not repeated) neither crosses nor touches itself."""
    import shapely

    return len(ring) >= 3 and bool(shapely.LinearRing(ring).is_simple)


def crossing_of(ring: Points) -> tuple[float, float] | None:
    """(x, y) where a ring (N, 2) crosses or touches itself; None where it is simple."""
    import shapely

    said = re.search(r"\[(\S+) (\S+)\]", shapely.is_valid_reason(shapely.Polygon(ring)))
    return (float(said[1]), float(said[2])) if said else None


def without_repeats(points: Points, closed: bool = False) -> Points:
    """The same polyline without points that repeat the one before (first and last kept)."""
    if len(points) < 2:
        return points
    keep = np.r_[True, np.hypot(*np.diff(points, axis=0).T) > _SAME_MM]
    if not closed and not keep[-1]:
        last = np.flatnonzero(keep)[-1]
        keep[-1] = True
        keep[last] = last == 0
    out = points[keep]
    if closed and len(out) > 1 and np.hypot(*(out[0] - out[-1])) <= _SAME_MM:
        out = out[:-1]
    return np.asarray(out, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Edge:
    """One named edge of a piece: ``points`` (N, 2) mm, in the direction of the ring.

    Raises:
        InputError: fewer than two points, or not finite.
    """

    name: str
    points: Points

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", as_points(self.points, f"edge '{self.name}'"))

    @property
    def length_mm(self) -> float:
        """Length along the sewing line, mm."""
        return float(self._steps[1][-1])

    @cached_property
    def _steps(self) -> tuple[Points, Points]:
        """(N - 1,) lengths from point to point, and the sum up to each one's end."""
        steps = np.hypot(*np.diff(self.points, axis=0).T)
        return steps, np.cumsum(steps)

    def spots(self, distances_mm: ArrayLike) -> tuple[Points, Points]:
        """Points (K, 2) and unit tangents (K, 2) at distances (K,) along the edge from its start.

        A distance outside the edge is taken at its nearer end.
        """
        steps, ends = self._steps
        wanted = np.asarray(distances_mm, dtype=np.float64)
        i = np.minimum(np.searchsorted(ends, wanted), len(steps) - 1)
        there = steps[i] > 0
        part = np.clip((wanted - ends[i] + steps[i]) / np.where(there, steps[i], 1.0), 0.0, 1.0)
        way = self.points[i + 1] - self.points[i]
        spots = self.points[i] + np.where(there, part, 0.0)[:, None] * way
        return spots, way / np.maximum(steps[i], 1e-12)[:, None]

    def at(self, distance_mm: float) -> tuple[Points, Points]:
        """`spots` of one distance: point (2,) and unit tangent (2,)."""
        points, tangents = self.spots((distance_mm,))
        return points[0], tangents[0]

    @property
    def start_tangent(self) -> Points:
        """Unit tangent (2,) where the edge starts."""
        return self.at(0.0)[1]

    @property
    def end_tangent(self) -> Points:
        """Unit tangent (2,) where the edge ends."""
        return self.at(self.length_mm)[1]


def ring_of(edges: Iterable[Edge], what: str) -> Mapping[str, Edge]:
    """Edges as an ordered, read-only ring, each starting where the one before ended.

    Raises:
        InputError: a gap between edges, a name used twice, clockwise, or no area.
    """
    ring = list(edges)
    faults = []
    named: dict[str, Edge] = {}
    for i, edge in enumerate(ring):
        if edge.name in named:
            faults.append(Fault(what, f"has two edges named '{edge.name}'."))
        named[edge.name] = edge
        after = ring[(i + 1) % len(ring)]
        gap = float(np.hypot(*(edge.points[-1] - after.points[0])))
        if gap > JOIN_MM:
            faults.append(
                Fault(what, f"'{after.name}' starts {gap:.2f} mm from where '{edge.name}' ends.")
            )
    if not faults and signed_area(ring_points(named)) <= 0:
        faults.append(Fault(what, "runs clockwise or encloses nothing."))
    if faults:
        raise InputError(faults)
    return MappingProxyType(named)


def ring_points(edges: Mapping[str, Edge]) -> Points:
    """(N, 2) mm: the whole ring, first point not repeated."""
    return without_repeats(np.concatenate([e.points[:-1] for e in edges.values()]), closed=True)


def mirrored_ring(ring: Points) -> Points:
    """The ring mirrored in x = 0, still counter-clockwise."""
    return np.asarray((ring * (-1.0, 1.0))[::-1], dtype=np.float64)


def corner_angle_deg(before: Points, after: Points) -> float:
    """Interior angle in degrees where a ring's edge with end tangent ``before`` meets ``after``.

    Both are unit tangents (2,) in the direction of a counter-clockwise ring.
    """
    return float(180.0 - np.degrees(turn(before, after)))


def gap_between(one: Points, other: Points) -> float:
    """Largest distance in mm from either of two open polylines (N, 2), (M, 2) to the other."""
    there, back = nearest_distance(one, other), nearest_distance(other, one)
    return float(max(there.max(), back.max()))


def nearest_distance(points: Points, line: Points) -> Points:
    """(M,) distance in mm from each of ``points`` (M, 2) to the open polyline ``line`` (N, 2)."""
    a, d = line[:-1], np.diff(line, axis=0)
    w = points[:, None, :] - a[None]
    length2 = np.maximum((d * d).sum(axis=1), 1e-18)
    t = np.clip((w * d[None]).sum(axis=2) / length2[None], 0.0, 1.0)
    gap = w - t[:, :, None] * d[None]
    return np.asarray(np.sqrt((gap * gap).sum(axis=2)).min(axis=1), dtype=np.float64)
