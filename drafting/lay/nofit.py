"""No-fit depth maps: how deep two outlines overlap at each shift on a grid, and where each may lie.

Under `search`. The shifts are exact, only the places are discrete. Fold, holes, locked pieces and
stripes are masks of allowed places. Maps and masks are made when they are first asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from drafting.lay.first import guess_length
from drafting.lay.job import Job, Kind, Stance
from drafting.lay.shapes import disc_around, fill_spans, row_spans, sums
from drafting.outline import Points, signed_area

Floats = NDArray[np.float32]

_ROWS = 110  # places across the cloth
DEEP = 1e6  # cost of a place that is not allowed at all
_FORGIVEN = 0.6  # cells of overlap that cost nothing on the grid: rounding, mended in mm
_HALF = 0.5  # cells that a place may reach past the end or the edge, for the same reason


@dataclass(frozen=True)
class Depths:
    """Depths of overlap, in cells, of a second stance shifted against a first; 0 outside.

    ``depth[r, c]`` belongs to the shift (c + x0, r + y0) in cells.
    """

    depth: Floats
    x0: int
    y0: int


@dataclass(frozen=True)
class Grid:
    """A stance on the grid: place (c, r) has its low corner at the cloth's + (c, r) · cell + ``slip``.

    ``slip``, ``phase``, ``size``: (2,), along and across; of the columns (rows) those with
    (number + phase) % repeats == the group's choice meet the stripes.
    """

    slip: Points
    rows: int
    phase: NDArray[np.int64]
    size: Points


class NoFit:
    """The grid of one job. ``cell``: (2,) mm; ``repeats``: (2,) cells to a stripe's repeat, 1 without.

    ``columns``: how many there are; longer lays are never searched.
    """

    def __init__(self, job: Job) -> None:
        self.job = job
        self.corner = np.array([job.start, job.bottom])
        self.cell = np.full(2, (job.top - job.bottom) / _ROWS)
        self.repeats = np.ones(2, dtype=np.int64)
        matched = any(k.group >= 0 for k in job.kinds)
        for axis, repeat in enumerate(job.cloth.repeats_mm):
            if matched and repeat:
                self.repeats[axis] = max(1, round(repeat / self.cell[axis]))
                self.cell[axis] = repeat / self.repeats[axis]
        origins = self._origins()
        self.grids = [[self._grid(k, s, origins) for s in k.stances] for k in job.kinds]
        reach = min(job.stop - job.start, 1.3 * guess_length(job))
        self.columns = max(2, math.floor(reach / float(self.cell[0]) + 1e-6) + 1)
        self.made: dict[tuple[int, int, int, int], Depths] = {}
        self.wall = cache(self._wall)

    def _origins(self) -> dict[int, Points]:
        """Stripe phases that locked pieces or the fold dictate, per group, mm."""
        out: dict[int, Points] = {}
        for k in self.job.kinds:
            if k.group < 0:
                continue
            origin = out.setdefault(k.group, np.zeros(2))
            first = k.stances[0]
            if k.how == "fold" and first.match is not None:
                origin[1] = first.match[1] - first.low[1]
            match = self.job.specs[k.piece].match
            for p in self.job.locked:
                if p.piece == k.piece and match is not None:
                    origin[:] = p.point(match) - self.corner
        return out

    def _grid(self, kind: Kind, s: Stance, origins: dict[int, Points]) -> Grid:
        slip, phase = np.zeros(2), np.zeros(2, dtype=np.int64)
        if kind.group >= 0 and s.match is not None:
            for axis, repeat in enumerate(self.job.cloth.repeats_mm):
                if repeat and not (axis and kind.how == "fold"):
                    off = float((s.match - s.low - origins[kind.group])[axis])
                    slip[axis] = -off % self.cell[axis]
                    if axis and self.cell[axis] - slip[axis] < 1e-6:
                        slip[axis] = 0.0
                    phase[axis] = round((slip[axis] + off) / self.cell[axis])
        size = s.high - s.low
        room = self.job.top - self.job.bottom - float(size[1]) - slip[1]
        if s.pin is not None:
            slip[1], room = s.pin + float(s.low[1]) - self.job.bottom, 0.0
        if s.from_top:
            slip[1], room = room, 0.0 if room > -1e-6 else room
        rows = math.floor(room / self.cell[1] + _HALF) + 1 if room > -1e-6 else 0
        return Grid(slip, min(rows, 1) if kind.how == "fold" else rows, phase, size)

    def columns_for(self, k: int, s: int, length: float) -> int:
        """How many columns a stance has on a lay of a length."""
        grid = self.grids[k][s]
        room = length - float(grid.slip[0] + grid.size[0])
        return min(self.columns, math.floor(room / float(self.cell[0]) + _HALF) + 1)

    def cells_of(self, k: int, s: int, at: Points) -> Points:
        """(2,) where an origin (2,) mm lies on the grid, column and row, not rounded."""
        low = at + self.job.kinds[k].stances[s].low - self.corner - self.grids[k][s].slip
        return np.asarray(low / self.cell)

    def origin_of(self, k: int, s: int, place: NDArray[np.int64]) -> Points:
        """(2,) mm where the origin lies at a place (column, row)."""
        slip = self.grids[k][s].slip
        low = self.job.kinds[k].stances[s].low
        return np.asarray(self.corner + place * self.cell + slip - low)

    def depths(self, ka: int, sa: int, kb: int, sb: int) -> Depths:
        """How deep the second stance overlaps the first, at each shift."""
        key = (ka, sa, kb, sb)
        found = self.made.get(key)
        if found is not None:
            return found
        a, b = self.job.kinds[ka].stances[sa], self.job.kinds[kb].stances[sb]
        if not a.layers & b.layers:  # one may lie over the other
            return self.made.setdefault(key, Depths(np.zeros((0, 0), dtype=np.float32), 0, 0))
        shift = self.grids[ka][sa].slip - self.grids[kb][sb].slip
        first = [p - a.low + shift for p in a.coarse]
        if self.job.distance > 0:
            first = list(sums(first, (disc_around(self.job.distance, 8),)))
        made = self.made[key] = self._depths(first, [-(q - b.low) for q in b.coarse])
        # the other way round is the same picture turned by half a turn
        flipped = np.ascontiguousarray(made.depth[::-1, ::-1])
        rows, columns = flipped.shape
        other = Depths(flipped, -(made.x0 + columns - 1), -(made.y0 + rows - 1))
        self.made.setdefault((kb, sb, ka, sa), other)
        return made

    def _depths(self, first: list[Points], second: list[Points]) -> Depths:
        from scipy.ndimage import distance_transform_edt

        rings = sums(first, second)
        corner = np.floor(rings.min(axis=(0, 1)) / self.cell).astype(int) - 1
        columns, rows = np.ceil(rings.max(axis=(0, 1)) / self.cell).astype(int) + 2 - corner
        ys = (np.arange(rows, dtype=np.float64) + corner[1]) * self.cell[1]
        left, right = (side / self.cell[0] - corner[0] for side in row_spans(rings, ys))
        inside = fill_spans(np.ceil(left + 1e-6), np.floor(right - 1e-6), columns)
        depth = distance_transform_edt(inside, sampling=(self.cell[1] / self.cell[0], 1.0))
        # overlaps of large pieces weigh more, so that small ones give way (pieces of 10 × 10 cells: 1)
        area = min(sum(map(signed_area, first)), sum(map(signed_area, second)))
        weight = math.sqrt(max(area / float(self.cell.prod()), 1.0) / 100.0)
        depth = np.maximum(depth - _FORGIVEN, 0.0) * weight
        return Depths(depth.astype(np.float32), int(corner[0]), int(corner[1]))

    def depth_between(self, ki: int, i: NDArray[np.int64], kj: int, j: NDArray[np.int64]) -> float:
        """How deep two overlap that lie as (stance, column, row)."""
        m = self.depths(ki, int(i[0]), kj, int(j[0]))
        c, r = int(j[1] - i[1]) - m.x0, int(j[2] - i[2]) - m.y0
        rows, columns = m.depth.shape
        return float(m.depth[r, c]) if 0 <= r < rows and 0 <= c < columns else 0.0

    def _wall(self, k: int, s: int) -> Floats:
        """(rows, columns) cost of each place for a stance: 0, or `DEEP` where it may not lie."""
        grid, kind = self.grids[k][s], self.job.kinds[k]
        stance = kind.stances[s]
        cost = np.zeros((grid.rows, self.columns), dtype=np.float32)
        ys = self.corner[1] + grid.slip[1] + np.arange(grid.rows, dtype=np.float64) * self.cell[1]
        own = [-(q - stance.low) for q in stance.coarse]
        for o in self.job.obstacles if grid.rows else ():
            if not o.stops(kind.tolerant, stance.where, stance.layers):
                continue
            around = list(sums(o.parts, (disc_around(o.clearance, 8),))) if o.clearance else o.parts
            left, right = (
                (side - self.corner[0] - grid.slip[0]) / self.cell[0]
                for side in row_spans(sums(around, own), ys)
            )
            blocked = fill_spans(np.ceil(left + 1e-6), np.floor(right - 1e-6), self.columns)
            cost[blocked] = DEEP
        return cost
