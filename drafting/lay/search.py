"""Our own planner: guided local search on a raster, compaction in mm.

The lay is shortened step by step: pieces that now overlap move to where the weighted sum of depths
(`nofit`) is least, pairs that keep overlapping gain weight, and what is nearly free of overlap is
taken apart and compacted in mm (`compact`).
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.lay.check import is_sound
from drafting.lay.compact import SOLVED_MM, Compactor
from drafting.lay.first import Constructor, State, by_size, guess_length
from drafting.lay.job import Job
from drafting.lay.nofit import DEEP, NoFit

_SHORTER = 0.01  # how much shorter the next lay is asked to be, at first
_ORDERS = 10  # first plans, and how many of them are compacted
_COMPACTED = 3
_TRIES = 10  # failures to get shorter before another start is made
_STRIKES = 3  # returns to the least overlap before giving up
_MEND_EVERY = 6  # passes on the grid between two programs in mm
Report = Callable[[State, float], bool]
Lies = NDArray[np.int64]  # (n, 3) how each item lies on the grid: stance, column, row
Items = NDArray[np.int64]  # numbers of items


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
        self.nofit = NoFit(job)
        self.kinds = [item.kind for item in job.items]
        self.areas = np.array([job.kinds[k].area for k in self.kinds])
        self.n = len(job.items)
        self.chosen: dict[tuple[int, int], int] = {}  # (stripe group, axis) → phase
        self.best: State | None = None
        self.best_length = self.best_left = math.inf

    # -- places

    def _allowed(self, i: int, s: int, columns: int) -> NDArray[np.float32]:
        """Cost of places for an item before other pieces are looked at, cut at ``columns``."""
        k = self.kinds[i]
        kind, grid = self.job.kinds[k], self.nofit.grids[k][s]
        cost = self.nofit.wall(k, s)[:, : max(0, columns)].copy()
        for axis, repeats in enumerate(self.nofit.repeats):
            chosen = self.chosen.get((kind.group, axis))
            if repeats > 1 and chosen is not None and not (axis and kind.how == "fold"):
                along = cost.T if axis == 0 else cost
                off = (np.arange(len(along)) + grid.phase[axis] - chosen) % repeats != 0
                along[off] = DEEP
        return cost

    def _settled(self, i: int, s: int, place: NDArray[Any], columns: int) -> NDArray[Any]:
        """(2,) the allowed place (column, row) of an item nearest to one; itself where there is none."""
        k = self.kinds[i]
        wall = self.nofit.wall(k, s)
        most = max(columns - 1, 0), max(len(wall) - 1, 0)
        c, r = (min(max(int(v), 0), m) for v, m in zip(place, most, strict=True))
        if self.job.kinds[k].group >= 0 or r >= len(wall) or wall[r, c] > 0:
            ok = np.argwhere(self._allowed(i, s, columns) < DEEP)
            if len(ok):
                r, c = ok[np.argmin(((ok - (r, c)) ** 2).sum(axis=1))]
        return np.array([c, r])

    def _columns(self, i: int, s: int, length: float) -> int:
        return self.nofit.columns_for(self.kinds[i], s, length)

    # -- the search

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
        left = float(self.areas[state.stance < 0].sum())
        if left < self.best_left - 1e-6 or (
            left <= self.best_left and length < self.best_length - 1e-3
        ):
            if not is_sound(self.job, state):
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
        builder = Constructor(job, length)
        made = builder.run(by_size(job))
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
            made = builder.run(by_size(job, self.rng.normal(0.0, 0.25 + 0.05 * attempt, self.n)))
            left = float(self.areas[made.stance < 0].sum())
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
        fits = [i for i in range(self.n) if self._has_room(i, length)]
        seconds = 1.0
        while not self._over() and self.best is not None:
            missing = [i for i in fits if self.best.stance[i] < 0]
            if not missing:
                return True
            lies = self._to_grid(self.best, length)
            if self.rng.random() < 0.5:  # all of them at once
                extra = list(self.rng.permutation(missing))
            else:  # one more, rather a large one
                p = self.areas[missing] / self.areas[missing].sum()
                extra = [int(self.rng.choice(missing, p=p))]
            active = np.flatnonzero(self.best.stance >= 0)
            ones = np.ones((self.n, self.n), dtype=np.float32)
            for i in extra:
                cost, *best = self._best_move(i, length, lies, ones, active)
                if cost < DEEP:
                    lies[i] = best
                    active = np.append(active, i)
            if self.rng.random() < 0.3:
                self._disturb(lies, 1, active)
            until = time.monotonic() + seconds
            state, last = self._separate(lies, length, 20 + 2 * self.n, active, until)
            if state is None:
                state = self._thinned(last, active, length)
                seconds = min(1.3 * seconds, 6.0)
            if not self._offer(self._refilled(state)):
                return False
        return False

    def _has_room(self, i: int, length: float) -> bool:
        """Whether an item could lie somewhere on so long a cloth, were it alone."""
        stances = range(len(self.job.kinds[self.kinds[i]].stances))
        return any((self._allowed(i, s, self._columns(i, s, length)) < DEEP).any() for s in stances)

    def _thinned(self, lies: Lies, active: Items, length: float) -> State:
        """A valid state from an overlapping one: the least area that must go is taken out."""
        keep = list(active)
        while len(keep) > 1:
            depth = self._depths_of(lies, np.array(keep))
            if depth.max() <= 1.5:
                made, left = self._mended(lies, length, np.array(keep), rounds=5)
                if left <= SOLVED_MM:
                    return made
            hurt = depth.sum(axis=1)
            keep.remove(max(keep, key=lambda i: (hurt[i] > 0, hurt[i] / math.sqrt(self.areas[i]))))
        return State.empty(self.n)

    def _refilled(self, state: State) -> State:
        """A valid state with whatever still finds room put in."""
        missing = sorted(np.flatnonzero(state.stance < 0).tolist(), key=lambda i: -self.areas[i])
        if not missing:
            return state
        return Constructor(self.job, self.job.stop - self.job.start).run(missing, start=state)

    def _to_grid(self, state: State, length: float) -> Lies:
        """Nearest allowed places of a state."""
        if (self.nofit.repeats > 1).any():
            self._take_phases(state)
        lies = np.zeros((self.n, 3), dtype=np.int64)
        for i, k in enumerate(self.kinds):
            s = max(int(state.stance[i]), 0)
            place = np.rint(self.nofit.cells_of(k, s, state.at[i]))
            lies[i] = s, *self._settled(i, s, place, self._columns(i, s, length))
        return lies

    def _take_phases(self, state: State) -> None:
        """Take over the stripe phases that a state has."""
        for i, k in enumerate(self.kinds):
            kind, s = self.job.kinds[k], int(state.stance[i])
            if kind.group < 0 or s < 0:
                continue
            cells = np.rint(self.nofit.cells_of(k, s, state.at[i])).astype(np.int64)
            phase = (cells + self.nofit.grids[k][s].phase) % self.nofit.repeats
            for axis in (0,) if kind.how == "fold" else (0, 1):
                self.chosen.setdefault((kind.group, axis), int(phase[axis]))
        self._pin_phases()

    def _pin_phases(self) -> None:
        """Locked pieces and fold pieces leave no choice of phase."""
        for k in self.job.kinds:
            if k.group < 0:
                continue
            if any(p.piece == k.piece for p in self.job.locked):
                self.chosen[k.group, 0] = self.chosen[k.group, 1] = 0
            elif k.how == "fold":
                self.chosen[k.group, 1] = 0

    def _best_move(
        self, i: int, length: float, lies: Lies, weight: NDArray[Any], active: Items
    ) -> tuple[float, int, int, int]:
        """Least weighted depth over all stances and places: (cost, stance, column, row)."""
        best = (math.inf, 0, 0, 0)
        for s in range(len(self.job.kinds[self.kinds[i]].stances)):
            cost = self._cost(i, s, self._columns(i, s, length), lies, weight, active)
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

    def _cost(
        self, i: int, s: int, columns: int, lies: Lies, weight: NDArray[Any], active: Items
    ) -> NDArray[np.float32]:
        """(rows, columns) weighted depth of an item in a stance at every place."""
        cost = self._allowed(i, s, columns)
        rows, columns = cost.shape
        k, made = self.kinds[i], self.nofit.made
        for j in active.tolist():
            if j == i:
                continue
            stance, column, row = lies[j].tolist()
            key = (self.kinds[j], stance, k, s)
            m = made.get(key) or self.nofit.depths(*key)
            c, r = column + m.x0, row + m.y0
            h, w = m.depth.shape
            r0, r1 = (r if r > 0 else 0), (r + h if r + h < rows else rows)
            c0, c1 = (c if c > 0 else 0), (c + w if c + w < columns else columns)
            if r0 < r1 and c0 < c1:
                cost[r0:r1, c0:c1] += m.depth[r0 - r : r1 - r, c0 - c : c1 - c] * weight[i, j]
        return cost

    def _choose(self, equal: NDArray[Any], columns: int) -> int:
        """One of equally good places: mostly the leftmost, sometimes any."""
        if self.rng.random() >= 0.3:
            c = equal % columns
            equal = equal[c == c.min()]
        return int(equal[self.rng.integers(len(equal))])

    def _separate(
        self, lies: Lies, length: float, passes: int, active: Items, until: float
    ) -> tuple[State | None, Lies]:
        """Move overlapping pieces until none overlap; answer a valid state or None, and the last.

        ``length``: from the cloth's start, mm; only ``active`` items take part. Pieces move one by
        one on the grid; every few passes all of them move at once in mm.
        """
        weight = np.ones((self.n, self.n), dtype=np.float32)
        lies = lies.copy()
        depth = self._depths_of(lies, active)
        lowest = tried = math.inf
        best = lies.copy()
        idle = count = strikes = 0
        while True:
            total = float(depth.sum()) / 2.0
            if total < lowest - 1e-6:
                lowest, idle = total, 0
                best = lies.copy()
            else:
                idle += 1
            count += 1
            shallow = depth.max() <= 2.5 and total <= 0.25 * len(active) + 2.0
            if total == 0.0 or count % _MEND_EVERY == 0 or (shallow and total < 0.9 * tried):
                tried = min(tried, total)
                made, left = self._mended(lies, length, active)
                if left <= SOLVED_MM:
                    return made, best
                lies[active] = self._to_grid(made, length)[active]
                depth = self._depths_of(lies, active)
                if total == 0.0:
                    idle += passes // 4  # free on the grid but not in mm: soon give up
            if self._over() or time.monotonic() > until:
                return None, best
            if idle > passes:
                strikes += 1
                if strikes >= _STRIKES:
                    return None, best
                # back to where least overlapped, the weights telling what not to repeat
                lies = best.copy()
                depth = self._depths_of(lies, active)
                idle = 0
                tried = math.inf
            for i in self.rng.permutation(active).tolist():
                if not depth[i].any():
                    continue
                now = float((depth[i] * weight[i]).sum())
                cost, *move = self._best_move(i, length, lies, weight, active)
                # a move that does not help now would only undo what the weights have learnt
                if cost >= now - 1e-6 or cost >= DEEP:
                    continue
                lies[i] = move
                for j in active[active != i].tolist():
                    depth[i, j] = depth[j, i] = self._depth_between(i, j, lies)
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

    def _depth_between(self, i: int, j: int, lies: Lies) -> float:
        return self.nofit.depth_between(self.kinds[i], lies[i], self.kinds[j], lies[j])

    def _depths_of(self, lies: Lies, active: Items) -> NDArray[np.float64]:
        depth = np.zeros((self.n, self.n))
        for i, j in combinations(active.tolist(), 2):
            depth[i, j] = depth[j, i] = self._depth_between(i, j, lies)
        return depth

    def _mended(
        self, lies: Lies, length: float, active: Items, rounds: int = 3
    ) -> tuple[State, float]:
        """A state with its overlaps taken apart in mm as far as it goes, and the worst one left."""
        state = State.empty(self.n)
        for i in active.tolist():
            s = int(lies[i, 0])
            state.stance[i], state.at[i] = s, self.nofit.origin_of(self.kinds[i], s, lies[i, 1:])
        made, _, left = self.compactor.compact(
            state,
            limit=self.job.start + length,
            rounds=rounds,
            step=3.0 * float(self.nofit.cell.max()),
            elastic=True,
        )
        return made, left

    def _shorten(self) -> None:
        """Ask for ever shorter lays; where that ends, begin again from another first plan."""
        if self.best is None:
            return
        everything = np.flatnonzero(self.best.stance >= 0)
        fixed = max((float(p.outline_mm[:, 0].max()) for p in self.job.locked), default=-math.inf)
        start: tuple[State, float] = (self.best, self.best_length)
        while not self._over():
            if self.best_length <= fixed + 1e-3:
                return  # nothing ends later than a locked piece
            if not self._descend(*start, everything):
                return
            start = self._another_start(everything) or (self.best, self.best_length)

    def _descend(self, run: State, run_length: float, everything: Items) -> bool:
        """From one plan to shorter ones until it fails several times; False when told to stop."""
        ratio = _SHORTER
        fails = 0
        lies = self._to_grid(run, run_length - self.job.start)
        while not self._over() and fails < _TRIES:
            span = run_length - self.job.start
            length = span * (1.0 - ratio)
            for i, (s, *place) in enumerate(lies.tolist()):  # what reaches past the new end
                columns = self._columns(i, s, length)
                if place[0] >= columns:
                    lies[i, 1:] = self._settled(i, s, place, columns)
            until = time.monotonic() + 4.0 + 0.1 * self.n
            state, last = self._separate(lies, length, 12 + self.n // 2, everything, until)
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
                lies = self._to_grid(run, run_length - self.job.start)
                continue
            fails += 1
            if fails % 2 == 0:
                ratio = max(0.5 * ratio, 0.001)
            lies = self._to_grid(run, span) if self.rng.random() < 0.6 else last
            # the longer nothing helps, the harder the lay is shaken
            self._disturb(lies, 1 + fails // 4, everything)
        return True

    def _another_start(self, everything: Items) -> tuple[State, float] | None:
        """A first plan in a chance order, compacted; None when the best so far is to be gone on from."""
        if self.rng.random() < 0.25:
            return None
        order = by_size(self.job, self.rng.normal(0.0, 0.5, self.n))
        length = 1.5 * (self.best_length - self.job.start)
        made = Constructor(self.job, length).run([i for i in order if i in everything])
        if (made.stance[everything] < 0).any():
            return None
        self.chosen.clear()
        return self.compactor.compact(made)[:2]

    def _disturb(self, lies: Lies, times: int, active: Items) -> None:
        """Exchange the places of two pieces, large ones rather than small."""
        if len(active) < 2:
            return
        p = np.sqrt(self.areas[active])
        for _ in range(min(times, 4)):
            i, j = self.rng.choice(active, 2, replace=False, p=p / p.sum())
            lies[[i, j], 1:] = lies[[j, i], 1:]
            for q in (i, j):
                s = int(lies[q, 0])
                lies[q, 1:] = self._settled(q, s, lies[q, 1:], self.nofit.columns)
        if self.nofit.repeats[0] > 1 and self.rng.random() < 0.3:
            for group, axis in self.chosen:
                self.chosen[group, axis] = int(self.rng.integers(self.nofit.repeats[axis]))
            self._pin_phases()
