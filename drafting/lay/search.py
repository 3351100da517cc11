"""Our own planner: guided local search on a raster, compaction in mm.

For every two oriented outlines a no-fit depth map says how deep they overlap at each shift on the
grid; the shifts are exact, only the places are discrete. The lay is shortened step by step: pieces
that now overlap move to where the weighted sum of depths is least, pairs that keep overlapping gain
weight, and what is nearly free of overlap is taken apart and compacted in mm (`compact`). Fold,
holes, locked pieces and stripes are masks of allowed places.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.lay.check import is_sound
from drafting.lay.compact import SOLVED_MM, Compactor
from drafting.lay.first import Constructor, State, by_size, guess_length
from drafting.lay.job import Job, Stance
from drafting.lay.shapes import (
    disc_around,
    fill_spans,
    row_spans,
    sums,
)
from drafting.outline import Points, signed_area

_ROWS = 110  # places across the cloth
_DEEP = 1e6  # cost of a place that is not allowed at all
_FORGIVEN = 0.6  # cells of overlap that cost nothing on the grid: rounding, mended in mm
_HALF = 0.5  # cells that a place may reach past the end or the edge, for the same reason
_SHORTER = 0.01  # how much shorter the next lay is asked to be, at first
_ORDERS = 10  # first plans, and how many of them are compacted
_COMPACTED = 3
_TRIES = 10  # failures to get shorter before another start is made
_STRIKES = 3  # returns to the least overlap before giving up
_MEND_EVERY = 6  # passes on the grid between two programs in mm
Report = Callable[[State, float], bool]


@dataclass
class _Map:
    """Depths of overlap, in cells, of a second stance shifted against a first; 0 outside.

    ``depth[r, c]`` belongs to the shift (c + x0, r + y0) in cells.
    """

    depth: NDArray[np.float32]
    x0: int
    y0: int


@dataclass
class _Grid:
    """A stance on the grid: place (c, r) has its low corner at origin + (c·cw, r·ch) + slip."""

    slip: tuple[float, float]
    rows: int
    phase: int  # columns with (c + phase) % m == ρ are allowed (x stripes)
    phase_y: int
    size: tuple[float, float] = field(default=(0.0, 0.0))


class Search:
    """A guided local search on one job; reports valid states through a callback."""

    def __init__(
        self,
        job: Job,
        seed: int,
        deadline: float,
        report: Report,
        tick: Callable[[], bool] | None = None,
    ) -> None:
        """``deadline``: by time.monotonic(); ``report``: takes (state, length), False to stop.

        ``tick``: called about four times a second, False to stop.
        """
        self.tick = tick
        self.ticked = time.monotonic()
        self.job = job
        self.rng = np.random.default_rng(seed)
        self.deadline = deadline
        self.report = report
        self.compactor = Compactor(job)
        height = job.top - job.bottom
        cloth = job.cloth
        matched = any(k.group >= 0 for k in job.kinds)
        self.ch = height / _ROWS
        self.cw = self.ch
        self.mx = self.my = 1
        if matched and cloth.repeat_length_mm:
            self.mx = max(1, round(cloth.repeat_length_mm / self.cw))
            self.cw = cloth.repeat_length_mm / self.mx
        if matched and cloth.repeat_width_mm:
            self.my = max(1, round(cloth.repeat_width_mm / self.ch))
            self.ch = cloth.repeat_width_mm / self.my
        self.kinds = np.array([i.kind for i in job.items], dtype=np.int64)
        self.n = len(job.items)
        self.maps: dict[tuple[int, int, int, int], _Map] = {}
        self.walls: dict[tuple[int, int], NDArray[np.float32]] = {}
        self.disc = disc_around(job.distance, 8) if job.distance > 0 else None
        self.phase = self._phase_origin()
        self.grids = [
            [self._grid(k.stances[s], k.group, k.how) for s in range(len(k.stances))]
            for k in job.kinds
        ]
        # the wall maps cover this many columns; longer lays are never searched
        self.reach = min(job.stop - job.start, 1.3 * guess_length(job))
        self.columns = max(2, math.floor(self.reach / self.cw + 1e-6) + 1)
        self.rho: dict[int, int] = {}
        self.rho_y: dict[int, int] = {}
        self.best: State | None = None
        self.best_length = self.best_left = math.inf
        self.moves = 0

    # -- maps

    def _phase_origin(self) -> dict[int, tuple[float, float]]:
        """Stripe phases that locked pieces or the fold dictate, per group, mm."""
        job = self.job
        out: dict[int, tuple[float, float]] = {}
        for k in job.kinds:
            if k.group < 0:
                continue
            x, y = out.get(k.group, (0.0, 0.0))
            if k.how == "fold" and k.stances[0].match is not None:
                s = k.stances[0]
                y = float(s.match[1] - s.low[1]) if s.match is not None else y
            for p in job.locked:
                match = job.specs[k.piece].match
                if p.piece == k.piece and match is not None:
                    at = p.point(match)
                    x, y = float(at[0]) - job.start, float(at[1]) - job.bottom
            out[k.group] = (x, y)
        return out

    def _grid(self, s: Stance, group: int, how: str) -> _Grid:
        job = self.job
        slip_x = slip_y = 0.0
        phase = phase_y = 0
        if group >= 0 and s.match is not None:
            ox, oy = self.phase[group]
            m = s.match - s.low
            if job.cloth.repeat_length_mm:
                slip_x = float((ox - m[0]) % self.cw)
                phase = round((slip_x + m[0] - ox) / self.cw)
            if job.cloth.repeat_width_mm and how != "fold":
                slip_y = float((oy - m[1]) % self.ch)
                if self.ch - slip_y < 1e-6:
                    slip_y = 0.0
                phase_y = round((slip_y + m[1] - oy) / self.ch)
        room = job.top - job.bottom - float(s.high[1] - s.low[1]) - slip_y
        if s.pin is not None:
            slip_y, room = s.pin + float(s.low[1]) - job.bottom, 0.0
        if s.from_top:
            slip_y, room = room, 0.0 if room > -1e-6 else room
        rows = math.floor(room / self.ch + _HALF) + 1 if room > -1e-6 else 0
        if how == "fold":
            rows = min(rows, 1)
        size = (float(s.high[0] - s.low[0]), float(s.high[1] - s.low[1]))
        return _Grid((slip_x, slip_y), rows, phase, phase_y, size)

    def _map(self, ka: int, sa: int, kb: int, sb: int) -> _Map:
        key = (ka, sa, kb, sb)
        found = self.maps.get(key)
        if found is not None:
            return found
        a, b = self.job.kinds[ka].stances[sa], self.job.kinds[kb].stances[sb]
        if not a.layers & b.layers:  # one may lie over the other
            made = self.maps[key] = _Map(np.zeros((0, 0), dtype=np.float32), 0, 0)
            return made
        shift = np.array(self.grids[ka][sa].slip) - np.array(self.grids[kb][sb].slip)
        first = [p - a.low + shift for p in a.coarse]
        second = [-(q - b.low) for q in b.coarse]
        if self.disc is not None:
            first = list(sums(first, (self.disc,)))
        depth, x0, y0 = self._depths(first, second)
        made = _Map(depth, x0, y0)
        self.maps[key] = made
        # the other way round is the same picture turned by half a turn
        flipped = np.ascontiguousarray(depth[::-1, ::-1])
        self.maps.setdefault(
            (kb, sb, ka, sa),
            _Map(flipped, -(x0 + depth.shape[1] - 1), -(y0 + depth.shape[0] - 1)),
        )
        return made

    def _depths(
        self, first: list[Points], second: list[Points]
    ) -> tuple[NDArray[np.float32], int, int]:
        from scipy.ndimage import distance_transform_edt

        low = np.min([p.min(0) for p in first], 0) + np.min([q.min(0) for q in second], 0)
        high = np.max([p.max(0) for p in first], 0) + np.max([q.max(0) for q in second], 0)
        x0, y0 = math.floor(low[0] / self.cw) - 1, math.floor(low[1] / self.ch) - 1
        columns = math.ceil(high[0] / self.cw) + 2 - x0
        rows = math.ceil(high[1] / self.ch) + 2 - y0
        ys = (np.arange(rows, dtype=np.float64) + y0) * self.ch
        left, right = row_spans(sums(first, second), ys)
        inside = fill_spans(
            np.ceil(left / self.cw - x0 + 1e-6), np.floor(right / self.cw - x0 - 1e-6), columns
        )
        depth = distance_transform_edt(inside, sampling=(self.ch / self.cw, 1.0))
        # overlaps of large pieces weigh more, so that small ones give way (pieces of 10 × 10 cells: 1)
        cells = min(sum(map(signed_area, first)), sum(map(signed_area, second))) / (
            self.cw * self.ch
        )
        depth = np.maximum(depth - _FORGIVEN, 0.0) * math.sqrt(max(cells, 1.0) / 100.0)
        return depth.astype(np.float32), x0, y0

    def _wall(self, k: int, s: int) -> NDArray[np.float32]:
        """(rows, columns) cost of each place for a stance: 0, or `_DEEP` where it may not lie."""
        key = (k, s)
        found = self.walls.get(key)
        if found is not None:
            return found
        job, grid = self.job, self.grids[k][s]
        stance, kind = job.kinds[k].stances[s], job.kinds[k]
        rows, columns = grid.rows, self.columns
        cost = np.zeros((rows, columns), dtype=np.float32)
        ys: Points = job.bottom + grid.slip[1] + np.arange(rows, dtype=np.float64) * self.ch
        origin = job.start + grid.slip[0]
        own = [-(q - stance.low) for q in stance.coarse]
        for o in job.obstacles if rows else ():
            if not o.stops(kind.tolerant, stance.where, stance.layers):
                continue
            around = list(sums(o.parts, (disc_around(o.clearance, 8),))) if o.clearance else o.parts
            left, right = row_spans(sums(around, own), ys)
            left, right = (left - origin) / self.cw, (right - origin) / self.cw
            cost[fill_spans(np.ceil(left + 1e-6), np.floor(right - 1e-6), columns)] = _DEEP
        self.walls[key] = cost
        return cost

    # -- the search

    def _allowed(self, i: int, s: int, columns: int) -> NDArray[np.float32]:
        """Cost of places for an item before other pieces are looked at, cut at ``columns``."""
        k = int(self.kinds[i])
        kind, grid = self.job.kinds[k], self.grids[k][s]
        cost = self._wall(k, s)[:, : max(0, columns)].copy()
        if kind.group >= 0 and cost.size:
            if self.mx > 1 and kind.group in self.rho:
                off = (np.arange(cost.shape[1]) + grid.phase - self.rho[kind.group]) % self.mx != 0
                cost[:, off] = _DEEP
            if self.my > 1 and kind.how != "fold" and kind.group in self.rho_y:
                off = (np.arange(cost.shape[0]) + grid.phase_y - self.rho_y[kind.group]) % self.my
                cost[off != 0, :] = _DEEP
        return cost

    def _columns_for(self, k: int, s: int, length: float) -> int:
        grid = self.grids[k][s]
        room = length - grid.slip[0] - grid.size[0]
        return min(self.columns, math.floor(room / self.cw + _HALF) + 1)

    def run(
        self,
        start: State | None = None,
        strip: bool = False,
        threads: int = 1,
        fresh: bool = False,
    ) -> None:
        """Search until the deadline or until told to stop.

        ``start``: a valid state to begin with; ``strip``: ask the strip library first, with so many
        ``threads``; ``fresh``: look for first plans of its own even when ``start`` holds everything.
        """
        if self.n == 0:
            return
        if start is not None and not self._offer(start):
            return
        if strip and self.job.plain:
            self._ask_strip_library(threads)
        begun = self.best is not None and self.best_left == 0 and not fresh
        if begun or (self._start() and (self.best_left == 0 or self._fill())):
            self._shorten()

    def _ask_strip_library(self, threads: int) -> None:
        from drafting.lay.strip import strip_states

        left = self.deadline - time.monotonic()
        seconds = math.floor(left - 0.3 - 0.004 * self.n)
        if seconds < 1:
            return
        for state in strip_states(self.job, seconds, int(self.rng.integers(2**31)), threads):
            made, length, left_over = self.compactor.compact(state, rounds=6, elastic=True)
            if left_over <= SOLVED_MM and (
                length <= self.job.stop + 1e-6 and not self._offer(made)
            ):
                return
            if self._over():
                return

    def _offer(self, state: State) -> bool:
        """Compact a valid state, keep and report it if it is better; False when told to stop."""
        return self._taken(*self.compactor.compact(state)[:2])

    def _taken(self, state: State, length: float) -> bool:
        """Keep and report a compacted state if it is better; False when told to stop."""
        job = self.job
        left = sum(job.kinds[self.kinds[i]].area for i in np.flatnonzero(state.stance < 0))
        if left < self.best_left - 1e-6 or (
            left <= self.best_left and length < self.best_length - 1e-3
        ):
            if not is_sound(job, state):
                return True  # rounding can lose; nothing is reported that is not exactly right
            if not self.report(state, length):
                self.deadline = 0.0
                return False
            self.best, self.best_length, self.best_left = state, length, left
        return True

    def _over(self) -> bool:
        now = time.monotonic()
        if self.tick is not None and now - self.ticked > 0.25:
            self.ticked = now
            if not self.tick():
                self.deadline = 0.0
        return now >= self.deadline

    def _start(self) -> bool:
        """Constructive plans in several orders, the best of them compacted; False when told to stop."""
        job = self.job
        length = guess_length(job)
        order = by_size(job)
        builder = Constructor(job, length)
        made = builder.run(order)
        if not self._offer(made):
            return False
        tried: list[tuple[float, float, int, State]] = []
        for attempt in range(_ORDERS if self.n <= 30 else 1):
            missing = any(
                made.stance[i] < 0 and job.fits_across(item) for i, item in enumerate(job.items)
            )
            if missing and math.isinf(job.stop):
                length *= 1.6
                builder = Constructor(job, length)
            if self._over():
                break
            noise = self.rng.normal(0.0, 0.25 + 0.05 * attempt, self.n)
            order = sorted(
                range(self.n),
                key=lambda i: (
                    job.kinds[self.kinds[i]].how != "fold",
                    -job.kinds[self.kinds[i]].area * math.exp(noise[i]),
                ),
            )
            made = builder.run(order)
            left = sum(job.kinds[self.kinds[i]].area for i in np.flatnonzero(made.stance < 0))
            tried.append((left, self.compactor.length(made), attempt, made))
        return all(self._offer(state) for *_, state in sorted(tried)[:_COMPACTED])

    def _fill(self) -> bool:
        """The cloth is too short for all that was laid at once: squeeze in what is left out.

        Answers True when everything (that can lie on this cloth at all) lies, False at the end.
        """
        job = self.job
        if not math.isfinite(job.stop):
            return True  # off the bolt: what is left out is too wide
        length = job.stop - job.start
        fits = np.array(
            [
                i
                for i in range(self.n)
                if any(
                    self.grids[self.kinds[i]][s].rows > 0
                    and self._columns_for(int(self.kinds[i]), s, length) > 0
                    and (self._allowed(i, s, self._columns_for(int(self.kinds[i]), s, length))
                         < _DEEP).any()
                    for s in range(len(job.kinds[self.kinds[i]].stances))
                )
            ],
            dtype=np.int64,
        )  # fmt: skip
        area = np.array([job.kinds[k].area for k in self.kinds])
        seconds = 1.0
        while not self._over() and self.best is not None:
            missing = [i for i in fits if self.best.stance[i] < 0]
            if not missing:
                return True
            stance, place = self._to_grid(self.best, length)
            if self.rng.random() < 0.5:  # all of them at once
                extra = list(self.rng.permutation(missing))
            else:  # one more, rather a large one
                p = area[missing] / area[missing].sum()
                extra = [int(self.rng.choice(missing, p=p))]
            active = np.flatnonzero(self.best.stance >= 0)
            ones = np.ones((self.n, self.n), dtype=np.float32)
            for i in extra:
                cost, s, c, r = self._best_move(i, length, stance, place, ones, active)
                if cost < _DEEP:
                    stance[i], place[i] = s, (c, r)
                    active = np.append(active, i)
            if self.rng.random() < 0.3:
                self._disturb(stance, place, 1, active)
            state, last = self._separate(
                stance, place, length, 20 + 2 * self.n, active, time.monotonic() + seconds
            )
            if state is None:
                state = self._thinned(*last, active, length)
                seconds = min(1.3 * seconds, 6.0)
            state = self._refilled(state)
            if not self._offer(state):
                return False
        return False

    def _thinned(
        self, stance: NDArray[Any], place: NDArray[Any], active: NDArray[Any], length: float
    ) -> State:
        """A valid state from an overlapping one: the least area that must go is taken out."""
        area = np.array([self.job.kinds[k].area for k in self.kinds])
        keep = list(active)
        while len(keep) > 1:
            depth = self._depths_of(stance, place, np.array(keep))
            if depth.max() <= 1.5:
                made, left = self._mended(
                    self._to_state(stance, place), length, np.array(keep), rounds=5
                )
                if left <= SOLVED_MM:
                    return made
            hurt = depth.sum(axis=1)
            worst = max(
                (i for i in keep), key=lambda i: (hurt[i] > 0, hurt[i] / math.sqrt(area[i]))
            )
            keep.remove(worst)
        return State(np.full(self.n, -1), np.zeros((self.n, 2)))

    def _refilled(self, state: State) -> State:
        """A valid state with whatever still finds room put in."""
        missing = [int(i) for i in np.flatnonzero(state.stance < 0)]
        if not missing:
            return state
        missing.sort(key=lambda i: -self.job.kinds[self.kinds[i]].area)
        builder = Constructor(self.job, self.job.stop - self.job.start)
        return builder.run(missing, start=state)

    def _to_grid(self, state: State, length: float) -> tuple[NDArray[Any], NDArray[Any]]:
        """Nearest allowed places of a state: (stances, (n, 2) columns and rows)."""
        job = self.job
        stance = state.stance.copy()
        place = np.zeros((self.n, 2), dtype=np.int64)
        if self.mx > 1 or self.my > 1:
            self._set_phases(state)
        for i in range(self.n):
            k = int(self.kinds[i])
            s = max(int(stance[i]), 0)
            stance[i] = s
            grid = self.grids[k][s]
            low = state.at[i] + job.kinds[k].stances[s].low - (job.start, job.bottom) - grid.slip
            c, r = round(low[0] / self.cw), round(low[1] / self.ch)
            columns = self._columns_for(k, s, length)
            c, r = min(max(c, 0), max(columns - 1, 0)), min(max(r, 0), max(grid.rows - 1, 0))
            if job.kinds[k].group >= 0 or self._wall_at(k, s, c, r):
                cost = self._allowed(i, s, columns)
                ok = np.argwhere(cost < _DEEP)
                if len(ok):
                    near = ok[np.argmin(((ok - (r, c)) ** 2).sum(axis=1))]
                    r, c = int(near[0]), int(near[1])
            place[i] = c, r
        return stance, place

    def _wall_at(self, k: int, s: int, c: int, r: int) -> bool:
        wall = self._wall(k, s)
        return bool(r >= wall.shape[0] or c >= wall.shape[1] or wall[r, c] > 0)

    def _set_phases(self, state: State) -> None:
        """Take over the stripe phases that a state has."""
        job = self.job
        for i in range(self.n):
            k = int(self.kinds[i])
            kind = job.kinds[k]
            if kind.group < 0 or state.stance[i] < 0:
                continue
            grid, s = self.grids[k][int(state.stance[i])], kind.stances[int(state.stance[i])]
            low = state.at[i] + s.low - (job.start, job.bottom) - grid.slip
            if kind.group not in self.rho:
                self.rho[kind.group] = (round(low[0] / self.cw) + grid.phase) % self.mx
            if kind.how != "fold" and kind.group not in self.rho_y:
                self.rho_y[kind.group] = (round(low[1] / self.ch) + grid.phase_y) % self.my
        self._pin_phases()

    def _pin_phases(self) -> None:
        """Locked pieces and fold pieces leave no choice of phase."""
        job = self.job
        for k in job.kinds:
            if k.group < 0:
                continue
            if any(p.piece == k.piece for p in job.locked):
                self.rho[k.group] = self.rho_y[k.group] = 0
            elif k.how == "fold":
                self.rho_y[k.group] = 0

    def _to_state(self, stance: NDArray[Any], place: NDArray[Any]) -> State:
        job = self.job
        at = np.zeros((self.n, 2))
        for i in range(self.n):
            k, s = int(self.kinds[i]), int(stance[i])
            grid = self.grids[k][s]
            corner = np.array([place[i, 0] * self.cw, place[i, 1] * self.ch]) + grid.slip
            at[i] = np.array([job.start, job.bottom]) + corner - job.kinds[k].stances[s].low
        return State(stance.astype(np.int64).copy(), at)

    def _depth_between(
        self, i: int, si: int, pi: NDArray[Any], j: int, sj: int, pj: NDArray[Any]
    ) -> float:
        m = self._map(int(self.kinds[i]), si, int(self.kinds[j]), sj)
        c = int(pj[0] - pi[0]) - m.x0
        r = int(pj[1] - pi[1]) - m.y0
        if 0 <= r < m.depth.shape[0] and 0 <= c < m.depth.shape[1]:
            return float(m.depth[r, c])
        return 0.0

    def _cost(
        self,
        i: int,
        s: int,
        columns: int,
        stance: NDArray[Any],
        place: NDArray[Any],
        weight: NDArray[Any],
        active: NDArray[Any],
    ) -> NDArray[np.float32]:
        """(rows, columns) weighted depth of an item in a stance at every place."""
        cost = self._allowed(i, s, columns)
        rows, columns = cost.shape
        k = int(self.kinds[i])
        maps = self.maps
        for j in active:
            if j == i:
                continue
            key = (int(self.kinds[j]), int(stance[j]), k, s)
            m = maps.get(key) or self._map(*key)
            c, r = int(place[j, 0]) + m.x0, int(place[j, 1]) + m.y0
            h, w = m.depth.shape
            r0, r1 = (r if r > 0 else 0), (r + h if r + h < rows else rows)
            c0, c1 = (c if c > 0 else 0), (c + w if c + w < columns else columns)
            if r0 < r1 and c0 < c1:
                cost[r0:r1, c0:c1] += m.depth[r0 - r : r1 - r, c0 - c : c1 - c] * weight[i, j]
        return cost

    def _best_move(
        self,
        i: int,
        length: float,
        stance: NDArray[Any],
        place: NDArray[Any],
        weight: NDArray[Any],
        active: NDArray[Any],
    ) -> tuple[float, int, int, int]:
        """Least weighted depth over all stances and places: (cost, stance, column, row)."""
        k = int(self.kinds[i])
        best = (math.inf, 0, 0, 0)
        for s in range(len(self.job.kinds[k].stances)):
            cost = self._cost(i, s, self._columns_for(k, s, length), stance, place, weight, active)
            self.moves += 1
            if not cost.size:
                continue
            # of the places that are equally good take any, or pieces would queue at one spot
            flat = cost.ravel()
            low = float(flat.min())
            if low < best[0] - 1e-9 or (low <= best[0] + 1e-9 and self.rng.random() < 0.5):
                equal = np.flatnonzero(flat <= low + 1e-6)
                one = len(equal) == 1
                pick = int(equal[0]) if one else self._choose(equal, cost.shape[1])
                best = (low, s, pick % cost.shape[1], pick // cost.shape[1])
        return best

    def _choose(self, equal: NDArray[Any], columns: int) -> int:
        """One of equally good places: mostly the leftmost, sometimes any."""
        if self.rng.random() < 0.3:
            return int(equal[self.rng.integers(len(equal))])
        c = equal % columns
        left = equal[c == c.min()]
        return int(left[self.rng.integers(len(left))])

    def _separate(
        self,
        stance: NDArray[Any],
        place: NDArray[Any],
        length: float,
        passes: int,
        active: NDArray[Any],
        until: float,
    ) -> tuple[State | None, tuple[NDArray[Any], NDArray[Any]]]:
        """Move overlapping pieces until none overlap; answer a valid state or None, and the last.

        ``length``: from the cloth's start, mm; only ``active`` items take part. Pieces move one by
        one on the grid; every few passes all of them move at once in mm.
        """
        weight = np.ones((self.n, self.n), dtype=np.float32)
        stance, place = stance.copy(), place.copy()
        depth = self._depths_of(stance, place, active)
        lowest = tried = math.inf
        best = (stance.copy(), place.copy())
        idle = count = strikes = 0
        while True:
            total = float(depth.sum()) / 2.0
            if total < lowest - 1e-6:
                lowest, idle = total, 0
                best = (stance.copy(), place.copy())
            else:
                idle += 1
            count += 1
            shallow = depth.max() <= 2.5 and total <= 0.25 * len(active) + 2.0
            if total == 0.0 or count % _MEND_EVERY == 0 or (shallow and total < 0.9 * tried):
                tried = min(tried, total)
                made, left = self._mended(self._to_state(stance, place), length, active)
                if left <= SOLVED_MM:
                    return made, best
                _, moved = self._to_grid(made, length)
                place[active] = moved[active]
                depth = self._depths_of(stance, place, active)
                if total == 0.0:
                    idle += passes // 4  # free on the grid but not in mm: soon give up
            if self._over() or time.monotonic() > until:
                return None, best
            if idle > passes:
                strikes += 1
                if strikes >= _STRIKES:
                    return None, best
                # back to where least overlapped, the weights telling what not to repeat
                stance, place = best[0].copy(), best[1].copy()
                depth = self._depths_of(stance, place, active)
                idle = 0
                tried = math.inf
            for i in self.rng.permutation(active):
                if not depth[i].any():
                    continue
                now = float((depth[i] * weight[i]).sum())
                cost, s, c, r = self._best_move(i, length, stance, place, weight, active)
                # a move that does not help now would only undo what the weights have learnt
                if cost >= now - 1e-6 or cost >= _DEEP:
                    continue
                stance[i], place[i] = s, (c, r)
                for j in active:
                    if j != i:
                        depth[i, j] = depth[j, i] = self._depth_between(
                            i, s, place[i], j, int(stance[j]), place[j]
                        )
                if self._over():
                    break
            most = depth.max()
            if most > 0:
                # pairs that stay in each other's way cost more next time, the rest is forgotten slowly
                over = depth > 0
                weight[over] *= (1.2 + 0.8 * depth[over] / most).astype(np.float32)
                weight[~over] = np.maximum(1.0, weight[~over] * 0.95)
                if weight.max() > 1e5:
                    weight /= 10.0

    def _depths_of(
        self, stance: NDArray[Any], place: NDArray[Any], active: NDArray[Any]
    ) -> NDArray[np.float64]:
        depth = np.zeros((self.n, self.n))
        for a, i in enumerate(active):
            for j in active[a + 1 :]:
                depth[i, j] = depth[j, i] = self._depth_between(
                    i, int(stance[i]), place[i], j, int(stance[j]), place[j]
                )
        return depth

    def _mended(
        self, state: State, length: float, active: NDArray[Any], rounds: int = 3
    ) -> tuple[State, float]:
        """A state with its overlaps taken apart in mm as far as it goes, and the worst one left."""
        keep = np.full(self.n, -1)
        keep[active] = state.stance[active]
        made, _, left = self.compactor.compact(
            State(keep, state.at),
            limit=self.job.start + length,
            rounds=rounds,
            step=3.0 * max(self.cw, self.ch),
            elastic=True,
        )
        return made, left

    def _shorten(self) -> None:
        """Ask for ever shorter lays; where that ends, begin again from another first plan."""
        if self.best is None:
            return
        job = self.job
        everything = np.flatnonzero(self.best.stance >= 0)
        fixed = max((float(p.outline_mm[:, 0].max()) for p in job.locked), default=-math.inf)
        start: tuple[State, float] | None = (self.best, self.best_length)
        while start is not None and not self._over():
            if self.best_length <= fixed + 1e-3:
                return  # nothing ends later than a locked piece
            if not self._descend(*start, everything):
                return
            start = self._another_start(everything)

    def _descend(self, run: State, run_length: float, everything: NDArray[Any]) -> bool:
        """From one plan to shorter ones until it fails several times; False when told to stop."""
        job = self.job
        ratio = _SHORTER
        fails = 0
        stance, place = self._to_grid(run, run_length - job.start)
        while not self._over() and fails < _TRIES:
            span = run_length - job.start
            length = span * (1.0 - ratio)
            self._clip(stance, place, length)
            passes = 12 + self.n // 2
            state, last = self._separate(
                stance, place, length, passes, everything, time.monotonic() + 4.0 + 0.1 * self.n
            )
            if state is not None:
                state, new_length, _ = self.compactor.compact(state)
                if new_length < run_length - 1e-3:
                    run, run_length = state, new_length
                if not self._taken(state, new_length):
                    return False
                fails = 0
                # a fresh start has far to go: long steps until it is near the best
                behind = run_length > 1.02 * self.best_length
                ratio = min(ratio * 1.5, 0.03) if behind else min(ratio, _SHORTER)
                stance, place = self._to_grid(run, run_length - job.start)
                continue
            fails += 1
            if fails % 2 == 0:
                ratio = max(0.5 * ratio, 0.001)
            stance, place = self._to_grid(run, span) if self.rng.random() < 0.6 else last
            # the longer nothing helps, the harder the lay is shaken
            self._disturb(stance, place, 1 + fails // 4, everything)
        return True

    def _another_start(self, everything: NDArray[Any]) -> tuple[State, float] | None:
        """A first plan in a chance order, compacted; the best so far when none can be made."""
        if self.rng.random() < 0.25 and self.best is not None:
            return self.best, self.best_length
        noise = self.rng.normal(0.0, 0.5, self.n)
        order = sorted(
            map(int, everything),
            key=lambda i: (
                self.job.kinds[self.kinds[i]].how != "fold" and self.rng.random() < 0.8,
                -self.job.kinds[self.kinds[i]].area * math.exp(noise[i]),
            ),
        )
        length = 1.5 * (self.best_length - self.job.start)
        made = Constructor(self.job, length).run(order)
        if (made.stance[everything] < 0).any():
            return None if self.best is None else (self.best, self.best_length)
        state, end, _ = self.compactor.compact(made)
        if self.mx > 1 or self.my > 1:
            self.rho.clear()
            self.rho_y.clear()
        return state, end

    def _clip(self, stance: NDArray[Any], place: NDArray[Any], length: float) -> None:
        for i in range(self.n):
            columns = self._columns_for(int(self.kinds[i]), int(stance[i]), length)
            if place[i, 0] >= columns:
                k = int(self.kinds[i])
                place[i, 0] = max(columns - 1, 0)
                if self.job.kinds[k].group >= 0 or self.job.obstacles:
                    cost = self._allowed(i, int(stance[i]), columns)
                    ok = np.argwhere(cost < _DEEP)
                    if len(ok):
                        want = (place[i, 1], place[i, 0])
                        near = ok[np.argmin(((ok - want) ** 2).sum(axis=1))]
                        place[i] = near[1], near[0]

    def _disturb(
        self, stance: NDArray[Any], place: NDArray[Any], times: int, active: NDArray[Any]
    ) -> None:
        """Exchange the places of two pieces, large ones rather than small."""
        if len(active) < 2:
            return
        area = np.array([self.job.kinds[self.kinds[i]].area for i in active])
        p = np.sqrt(area) / np.sqrt(area).sum()
        for _ in range(min(times, 4)):
            i, j = self.rng.choice(active, 2, replace=False, p=p)
            place[[i, j]] = place[[j, i]]
            for q in (i, j):
                k, s = int(self.kinds[q]), int(stance[q])
                place[q, 1] = min(place[q, 1], max(self.grids[k][s].rows - 1, 0))
                if self.job.kinds[k].group >= 0 or self._wall_at(k, s, *map(int, place[q])):
                    cost = self._allowed(q, s, self.columns)
                    ok = np.argwhere(cost < _DEEP)
                    if len(ok):
                        near = ok[np.argmin(((ok - (place[q, 1], place[q, 0])) ** 2).sum(axis=1))]
                        place[q] = near[1], near[0]
        if self.mx > 1 and self.rng.random() < 0.3:
            self._new_phase()

    def _new_phase(self) -> None:
        for g in list(self.rho):
            self.rho[g] = int(self.rng.integers(self.mx))
        for g in list(self.rho_y):
            self.rho_y[g] = int(self.rng.integers(self.my))
        self._pin_phases()
