"""A valid plan at once: pieces put down one after another on a raster that errs on the safe side.

Every raster cell that a piece touches counts as taken, so whatever lies here is valid in mm. The
better planners start from it. Handles every rule of the cloth; may leave pieces out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.lay.job import Job, Stance
from drafting.lay.shapes import disc_around, fill_spans, row_spans, sums
from drafting.outline import Points

_ROWS = 120  # rows across the cloth: fine enough to be useful, coarse enough to be instant
_MOST_CELLS = 40_000  # of the whole raster; long lays of many pieces get coarser cells
_FEWEST_ROWS = 60


@dataclass
class State:
    """Where the items of a job lie: for each item its stance (−1: left out) and origin, mm."""

    stance: NDArray[np.int64]
    at: NDArray[np.float64]

    @classmethod
    def empty(cls, n: int) -> State:
        """Of ``n`` items none laid."""
        return cls(np.full(n, -1), np.zeros((n, 2)))

    def copy(self) -> State:
        """An independent copy."""
        return State(self.stance.copy(), self.at.copy())


def touched_cells(
    rings: Points, cell: tuple[float, float], size: tuple[int, int]
) -> NDArray[np.bool_]:
    """(rows, columns) cells that convex rings (K, M, 2) touch, the grid's corner at (0, 0).

    ``cell``: (width, height) mm; ``size``: (rows, columns); what lies outside is clipped.
    """
    rows, columns = size
    cw, ch = cell
    left, right = row_spans(rings, np.arange(rows + 1, dtype=np.float64) * ch)
    low, high = np.minimum(left[:, :-1], left[:, 1:]), np.maximum(right[:, :-1], right[:, 1:])
    # between two lines of the grid a ring may reach further than on them, with a corner
    k, there = np.nonzero((rings[..., 1] > -1e-9) & (rings[..., 1] < rows * ch + 1e-9))
    x, y = rings[k, there].T
    band = np.clip(np.floor(y / ch + 1e-9).astype(int), 0, rows - 1)
    np.minimum.at(low, (k, band), x)
    np.maximum.at(high, (k, band), x)
    first = np.maximum(np.floor(low / cw + 1e-9), 0.0)
    last = np.maximum(np.minimum(np.ceil(high / cw - 1e-9), columns) - 1.0, first)
    return fill_spans(first, last, columns)


class Constructor:
    """Puts items down one after another on a conservative raster; reusable for many orders."""

    def __init__(self, job: Job, length: float) -> None:
        """``length``: how far the raster reaches from the cloth's start, mm."""
        from scipy.fft import next_fast_len

        self.job = job
        height = job.top - job.bottom
        reach = min(length, job.stop - job.start)
        self.rows = _ROWS
        if reach / height * _ROWS**2 > _MOST_CELLS:
            self.rows = max(_FEWEST_ROWS, math.floor(math.sqrt(_MOST_CELLS * height / reach)))
        self.ch = height / self.rows
        self.cw = self.ch
        self.columns = max(8, math.ceil(reach / self.cw))
        if math.isfinite(job.stop):  # whole cells only, so that the end is exact
            self.columns = max(1, math.floor((reach + 1e-9) / self.cw))
        self.shape = (self.rows, self.columns)
        # only shifts that stay inside are read, and those do not wrap round
        self.fast = next_fast_len(self.rows, True), next_fast_len(self.columns, True)
        # one raster for each set of obstacles that a stance has to keep clear of
        self.free = {
            key: self._painted_obstacles(*key)
            for key in {(k.tolerant, s.where, s.layers) for k in job.kinds for s in k.stances}
        }
        self.most_stances = 8 if len(job.items) <= 30 else 2
        self.kernel = cache(self._kernel)
        self.repeat = job.cloth.repeats_mm

    def _painted_obstacles(
        self, tolerant: bool, where: tuple[int, ...], layers: int
    ) -> NDArray[np.bool_]:
        grid = np.zeros(self.shape, dtype=bool)
        for obstacle in self.job.obstacles:
            if obstacle.stops(tolerant, where, layers):
                self._paint(grid, obstacle.parts, (0.0, 0.0), obstacle.clearance)
        return grid

    def _paint(
        self, grid: NDArray[np.bool_], parts: Sequence[Points], at: Any, clearance: float
    ) -> None:
        rings = sums(parts, (disc_around(clearance),)) if clearance > 0 else sums(parts)
        rings = rings + at - (self.job.start, self.job.bottom)
        y = rings[..., 1]
        r0 = max(math.floor(float(y.min()) / self.ch + 1e-9), 0)
        r1 = min(math.ceil(float(y.max()) / self.ch - 1e-9), self.rows)
        if r1 > r0:
            window = (r1 - r0, self.columns)
            grid[r0:r1] |= touched_cells(rings - (0.0, r0 * self.ch), (self.cw, self.ch), window)

    def _kernel(self, kind: int, stance: int) -> tuple[Any, tuple[int, int]] | None:
        """A stance's cells as a spectrum, and how many rows and columns it takes; None of one too large.

        Where it has to slide to meet a stripe it takes the cells that it may slide over too.
        """
        s, matched = self.job.kinds[kind].stances[stance], self.job.kinds[kind].group >= 0
        along, across = (int(matched and repeat > 0) for repeat in self.repeat)
        corner = self._corner(s)
        cols = math.ceil((s.high - s.low)[0] / self.cw - 1e-9)
        rows = math.ceil((s.high - corner)[1] / self.ch - 1e-9)
        if rows > self.rows or cols > self.columns:
            return None
        if rows + across > self.rows:
            across = 0  # nowhere to slide: only an exact phase will do
        cells = touched_cells(sums(s.coarse) - corner, (self.cw, self.ch), (rows, cols))
        grid = np.zeros((rows + across, cols + along), dtype=bool)
        for r in range(across + 1):
            for c in range(along + 1):
                grid[r : r + rows, c : c + cols] |= cells
        if grid.shape[1] > self.columns:
            return None
        spectrum = np.conj(np.fft.rfft2(grid.astype(np.float32), self.fast))
        return spectrum, (grid.shape[0], grid.shape[1])

    def _corner(self, s: Stance) -> Points:
        """(2,) the point of a stance that lies on a corner of the raster: its low one, as a rule."""
        if s.pin is not None:
            off = (s.pin + float(s.low[1]) - self.job.bottom) % self.ch
            return np.array([s.low[0], s.low[1] - off])
        if not s.from_top:
            return s.low
        rows = math.ceil((s.high - s.low)[1] / self.ch - 1e-9)
        return np.array([s.low[0], s.high[1] - rows * self.ch])

    def run(
        self,
        order: Sequence[int],
        start: State | None = None,
        phases: dict[int, tuple[float, float]] | None = None,
    ) -> State:
        """Put the items down in this order; what finds no place is left out.

        ``phases``: stripe group → (x, y) that its match points fall on, modulo the repeat; the
        first of a group sets it when it is not given.
        """
        job = self.job
        state = start.copy() if start else State.empty(len(job.items))
        grids = {key: free.copy() for key, free in self.free.items()}
        phases = {**locked_phases(job), **(phases or {})}

        def put(i: int) -> None:
            group, stance = job.kind_of(i).group, job.stance_of(i, state.stance)
            for key, grid in grids.items():
                if key[2] & stance.layers:
                    self._paint(grid, stance.coarse, state.at[i], job.distance)
            if group >= 0 and stance.match is not None:
                x, y = (state.at[i] + stance.match).tolist()
                phases.setdefault(group, (x, y))

        for i in np.flatnonzero(state.stance >= 0).tolist():  # what lies there already
            put(i)
        for i in order:
            kind = job.kind_of(i)
            spectra: dict[tuple[tuple[int, ...], int], Any] = {}
            best: tuple[float, float, int, float, float] | None = None
            for k, stance in enumerate(kind.stances[: self.most_stances]):
                kernel = self.kernel(job.items[i].kind, k)
                if kernel is None:
                    continue
                conj, (rows, cols) = kernel
                room = (stance.where, stance.layers)
                if room not in spectra:
                    taken = grids[kind.tolerant, *room].astype(np.float32)
                    spectra[room] = np.fft.rfft2(taken, self.fast)
                hits = np.fft.irfft2(spectra[room] * conj, self.fast)
                hits = hits[: self.rows - rows + 1, : self.columns - cols + 1]
                ok = hits < 0.5
                if kind.how == "fold":
                    ok = ok.copy()
                    ok[slice(0, -1) if stance.from_top else slice(1, None)] = False
                if stance.pin is not None:
                    row = round((stance.pin + self._corner(stance)[1] - self.job.bottom) / self.ch)
                    ok = ok.copy()
                    ok[np.arange(ok.shape[0]) != row] = False
                if not ok.any():
                    continue
                place = self._place(ok, stance, phases.get(kind.group), kind.how == "fold")
                if place is None:
                    continue
                x, y = place
                end = x + float(stance.high[0])
                rank = (round(end / self.cw, 3), y, k, x, y)
                if best is None or rank < best:
                    best = rank
            if best is not None:
                state.stance[i], state.at[i] = best[2], best[3:]
                put(i)
        return state

    def _place(
        self,
        ok: NDArray[np.bool_],
        stance: Stance,
        phase: tuple[float, float] | None,
        on_fold: bool,
    ) -> tuple[float, float] | None:
        """Leftmost, then lowest free place; its origin in mm. ``phase``: where its match point falls."""
        low = (stance.low[0], self._corner(stance)[1])
        cell, start = (self.cw, self.ch), (self.job.start, self.job.bottom)
        places = [start[a] + np.arange(ok.shape[1 - a]) * cell[a] - low[a] for a in (0, 1)]
        if phase is not None and stance.match is not None:
            full = on_fold or math.isclose(
                stance.high[1] - stance.low[1], self.job.top - self.job.bottom
            )
            for a, most in ((0, self.cw), (1, 1e-6 if full else self.ch)):
                slip = np.zeros(len(places[a]))
                if self.repeat[a]:
                    slip = (phase[a] - stance.match[a] - places[a]) % self.repeat[a]
                    slip[slip > self.repeat[a] - 1e-9] = 0.0
                places[a] = places[a] + slip
                ok = ok & ((slip <= most) if a == 0 else (slip <= most)[:, None])
        columns = ok.any(axis=0)
        if not columns.any():
            return None
        c = int(np.argmax(columns))
        return float(places[0][c]), float(places[1][int(np.argmax(ok[:, c]))])


def locked_phases(job: Job) -> dict[int, tuple[float, float]]:
    """Where the match points of locked pieces lie: stripe group → (x, y) mm."""
    out: dict[int, tuple[float, float]] = {}
    for p in job.locked:
        spec = job.specs[p.piece]
        if spec.match is not None and spec.group not in out:
            x, y = p.point(spec.match)
            out[spec.group] = (float(x), float(y))
    return out


def guess_length(job: Job) -> float:
    """A length from the cloth's start on which a first plan will surely find room, mm."""
    height = job.top - job.bottom
    kinds = [job.kinds[item.kind] for item in job.items]
    area = sum(k.area for k in kinds)
    shortest = [min(float((s.high - s.low)[0]) for s in k.stances) for k in kinds]
    longest = max(shortest, default=0.0)
    first = [k.stances[0] for k in kinds if k.how == "fold"]
    fold = sum(float((s.high - s.low)[0]) for s in first)
    fixed = max((float(p.outline_mm[:, 0].max()) - job.start for p in job.locked), default=0.0)
    return fixed + 1.1 * max(fold, area / (0.4 * height)) + 2.0 * longest


def by_size(job: Job, noise: Points | None = None) -> list[int]:
    """Fold pieces first, then the largest: the order that leaves small ones to fill the gaps.

    ``noise``: one number for each item, the logarithm of how much larger it is taken to be.
    """
    kinds = [job.kinds[item.kind] for item in job.items]
    size = np.array([k.area for k in kinds]) * np.exp(0.0 if noise is None else noise)
    free = [k.how != "fold" and k.stances[0].pin is None for k in kinds]
    return sorted(range(len(kinds)), key=lambda i: (free[i], -size[i]))


def first_plan(job: Job) -> State:
    """A valid plan in a blink. Off the bolt, everything that fits across the cloth is laid."""
    length = guess_length(job)
    order = [i for i in by_size(job) if job.fits_across(job.items[i])]
    for _ in range(4):
        state = Constructor(job, length).run(order)
        if (state.stance[order] >= 0).all() or length >= job.stop - job.start:
            return state
        length *= 1.6
    return state
