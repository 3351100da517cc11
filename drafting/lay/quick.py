"""The judge made ready for a hand: one copy moves, all others lie still in a tree.

Between `check`, whose limits it takes, and the table, which asks at every frame. Exact like the
judge itself; only what is wrong is asked here, not how much of it.

Frames: cloth mm. Points and rings go in and out as arrays; the shapes stay in here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.lay.check import Judge, inset, near_of, near_pairs, too_near
from drafting.lay.laid import LaidPiece
from drafting.placement import Placement

_KEPT = 400  # outlines of pieces at their turns; free turning makes a new one at every angle


@dataclass(frozen=True, eq=False)
class Solid:
    """A copy as it lies: ``laid``, and the ``low`` and ``high`` (2,) of its outline."""

    laid: LaidPiece
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    shape: Any = field(repr=False)
    drawn_in: Any = field(repr=False)

    @property
    def key(self) -> str:
        """The copy's name: ``front/1``."""
        return self.laid.key


class Hand:
    """Copies as solids, made once for each piece and turn and then only moved."""

    def __init__(self, judge: Judge) -> None:
        self.judge = judge
        self._made: dict[tuple[object, ...], Solid] = {}
        self._solid = lru_cache(_KEPT)(self._moved)

    def solid(self, p: Placement) -> Solid:
        """A copy where it is put.

        Raises:
            KeyError: there is no such piece.
        """
        return self._solid(p)

    def _moved(self, p: Placement) -> Solid:
        import shapely

        laid = self.judge.laid(p)
        across = p.at[1] if laid.on_fold else 0.0
        kind = (p.piece, laid.how, p.turn_deg, p.mirrored, p.lower, across)
        like = self._made.get(kind)
        ring = laid.outline_mm
        if like is None:
            if len(self._made) >= _KEPT:
                self._made.clear()
            shape = shapely.Polygon(ring)
            like = Solid(laid, ring.min(axis=0), ring.max(axis=0), shape, inset(shape))
            self._made[kind] = like
            return like
        by = np.array(p.at) - np.array(like.laid.at)
        shape = shapely.Polygon(ring)
        return Solid(
            laid, like.low + by, like.high + by, shape,
            shapely.transform(like.drawn_in, lambda points: points + by),
        )  # fmt: skip


class Still:
    """Solids that do not move, in a tree."""

    def __init__(self, solids: Sequence[Solid], distance_mm: float) -> None:
        from shapely import STRtree

        self.solids = tuple(solids)
        self.distance = distance_mm
        self._tree = STRtree([s.shape for s in solids])

    def against(self, one: Solid) -> list[tuple[str, str]]:
        """(kind, key) of every solid that ``one`` overlaps or comes too near; kinds as of `Problem`."""
        near = [self.solids[i] for i in sorted(near_of(self._tree, one.shape, self.distance))]
        return [(kind, other.key) for other in near if (kind := self._between(one, other))]

    def pairs(self) -> list[tuple[str, str, str]]:
        """(kind, key, key) of all that overlap or lie too near each other."""
        near = near_pairs(self._tree, [s.shape for s in self.solids], self.distance)
        two = [(self.solids[i], self.solids[j]) for i, j in near]
        return [(kind, a.key, b.key) for a, b in two if (kind := self._between(a, b))]

    def _between(self, one: Solid, two: Solid) -> str:
        if one.laid.apart_from(two.laid):
            return ""
        if one.drawn_in.intersects(two.drawn_in):
            return "overlap"
        return "distance" if too_near(one.shape, two.shape, self.distance) else ""

    def nearest(
        self, one: Solid, reach_mm: float
    ) -> tuple[float, NDArray[np.float64], NDArray[np.float64]] | None:
        """The least gap within reach, mm, and its ends on ``one`` and on the other, (2,) each."""
        import shapely

        found = self.neighbour(one, reach_mm)
        if found is None:
            return None
        other = next(s for s in self.solids if s.key == found[1])
        ends = shapely.get_coordinates(shapely.shortest_line(one.shape, other.shape))
        return found[0], ends[0], ends[-1]

    def neighbour(self, one: Solid, reach_mm: float) -> tuple[float, str] | None:
        """The least gap within reach, mm, and the key of the copy that it is to."""
        import shapely

        there = [self.solids[i] for i in near_of(self._tree, one.shape, reach_mm)]
        near = [s for s in there if not one.laid.apart_from(s.laid)]
        if not near:
            return None
        gaps = shapely.distance(one.shape, [s.shape for s in near])
        best = int(np.argmin(gaps))
        return float(gaps[best]), near[best].key

    def under(self, point: NDArray[np.float64], reach_mm: float) -> str | None:
        """The key of the smallest solid that holds a point (2,), or of the nearest within reach."""
        import shapely

        spot = shapely.Point(point)
        near = [self.solids[i] for i in near_of(self._tree, spot, reach_mm)]
        ranks = ((float(s.shape.distance(spot)), float(s.shape.area), s.key) for s in near)
        return min(ranks, default=(0.0, 0.0, None))[2]

    @property
    def end_mm(self) -> float:
        """Where the last of them ends along the cloth; −inf when there is none."""
        return max((float(s.high[0]) for s in self.solids), default=-math.inf)

    @property
    def cut_area_mm2(self) -> float:
        """Cloth that all of them take, layers counted, mm²."""
        return sum(float(s.shape.area) * s.laid.layers for s in self.solids)
