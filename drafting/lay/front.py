"""Plans put together from one end: a beam search over the front that the pieces laid so far make.

A raster search loses what makes pieces lie close: edges that match to a fraction of a millimetre.
Here the cloth is looked at as some hundred lines along its length. Of a plan in the making only its
front counts, that is how far each line is taken; the next piece is pushed against it from the
right, and the cloth left behind it is waste for good. Pieces pushed apart one way can always be laid
in such an order, so little is lost; which pieces come together is found by keeping the many plans
that waste least, step by step. Across the cloth places are tried on a coarse raster first and the
promising ones on one four times finer. Overlaps of the height of a line are let pass: `compact`
takes them apart in mm, and the exact check guards all.

Fold edges, obstacles (holes, locked pieces, what lies outside a remnant), the cloth's end and
stripes along the length are part of the search; stripes across are not (see `Front.usable`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.lay.first import State, locked_phases
from drafting.lay.job import Job
from drafting.lay.shapes import Points, disc_around, minkowski, row_spans

_LINES = 240  # across the cloth
_STEP = 4  # lines between the places that are tried first
_SLACK = 1  # lines of overlap that are let pass, for rounding
_SUB = 8  # points of an outline looked at per line
_FAR = 1e7
_OVERLAP_COST = 2.0  # of overlap, in areas of cloth wasted
_SPARE = 3  # children looked at exactly for each one kept

Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class _Shape:
    """A stance as the front sees it, lengths in mm from its low corner (grown by half the distance).

    ``left``, ``right``: (m,) ends on each of its m lines; ``hull``: left end with overlaps of
    `_SLACK` lines let pass, for lines ``first`` on; ``coarse_…``: the same on every `_STEP`-th line,
    for places known only so exactly; ``forbidden``: (O, places, 3) for each obstacle and place
    across the x that it may not have, from and to, and the cloth the obstacle takes on its lines.
    """

    kind: int
    stance: int
    left: Floats
    right: Floats
    hull: Floats
    first: int
    coarse_left: Floats
    coarse_hull: Floats
    coarse_first: int
    places: int
    reach: float
    area: float
    length: float
    match: float
    forbidden: Floats


class Front:
    """Beam searches over one job; keeps its tables between them."""

    def __init__(self, job: Job, slack: int = _SLACK) -> None:
        """``slack``: lines of overlap that are let pass."""
        self.job = job
        self.slack = slack
        self.grow = 0.5 * job.distance
        self.start = job.start - self.grow
        self.bottom = job.bottom - self.grow
        self.lines = _LINES
        self.pitch = (job.top + self.grow - self.bottom) / self.lines
        self.end = job.stop + self.grow - self.start
        self.count = np.bincount([i.kind for i in job.items], minlength=len(job.kinds))
        self.repeat = job.cloth.repeat_length_mm
        self.groups = sorted({k.group for k in job.kinds if k.group >= 0}) if self.repeat else []
        self.spans = self._obstacles()
        self.shapes = [
            shape
            for k in np.flatnonzero(self.count)
            for s in range(len(job.kinds[k].stances))
            if (shape := self._shape(int(k), s)) is not None
        ]
        self.area = float(sum(job.kinds[i.kind].area for i in job.items)) / self.pitch
        kinds = len(job.kinds)
        self.least_lines = np.full(kinds, self.lines)
        self.least_length = np.full(kinds, _FAR)
        for shape in self.shapes:
            k = shape.kind
            self.least_lines[k] = min(self.least_lines[k], len(shape.left))
            self.least_length[k] = min(self.least_length[k], shape.length)
        self.areas = np.array([s.area for s in self.shapes], dtype=np.float32)
        self.reaches = np.array([s.reach for s in self.shapes], dtype=np.float32)
        self.kind_of = np.array([s.kind for s in self.shapes], dtype=np.int64)
        made = np.random.default_rng(20)  # any fixed numbers: they tell fronts apart
        self._mix = made.integers(1, 2**40, self.lines)
        self._mix_kinds = made.integers(1, 2**60, kinds)

    @property
    def usable(self) -> bool:
        """Whether every piece can be laid here and no stripe across has to be met."""
        job = self.job
        across = job.cloth.repeat_width_mm and any(k.group >= 0 for k in job.kinds)
        return not across and len(set(self.kind_of)) == len({i.kind for i in job.items}) > 0

    # -- tables

    def _obstacles(self) -> Floats:
        """(O, 2, lines) left and right end of each obstacle's parts on each line (empty: far, 0)."""
        ys: Points = self.bottom + (np.arange(self.lines, dtype=np.float64) + 0.5) * self.pitch
        out = []
        for o in self.job.obstacles:
            more = o.clearance - self.grow
            for part in o.parts:
                grown = minkowski(part, disc_around(more, 8)) if more > 0 else part
                left, right = row_spans(grown, ys)
                there = np.isfinite(left) & (right > self.start)
                if not there.any():
                    continue
                left = np.where(there, np.maximum(left - self.start, 0.0), _FAR)
                out.append((left, np.where(there, right - self.start, _FAR)))
        spans: Floats = np.array(out, dtype=np.float32).reshape(len(out), 2, self.lines)
        return spans

    def _shape(self, k: int, s: int) -> _Shape | None:
        job = self.job
        kind = job.kinds[k]
        stance = kind.stances[s]
        low = stance.low - self.grow
        size = stance.high - stance.low + 2.0 * self.grow
        if stance.high[1] - stance.low[1] > job.top - job.bottom + 1e-6:
            return None
        disc = disc_around(self.grow, 12) if self.grow > 0 else None
        parts = [minkowski(p, disc) if disc is not None else p for p in stance.coarse]
        m = max(1, min(self.lines, int(size[1] / self.pitch + 0.5)))
        edge = 2 * _STEP * _SUB  # looked at beyond both ends, where there is nothing
        ys = (np.arange(m * _SUB + 2 * edge) + 0.5 - edge) * self.pitch / _SUB
        fine_left = np.full(len(ys), np.inf)
        fine_right = np.full(len(ys), -np.inf)
        for p in parts:
            left, right = row_spans(p - low, ys)
            fine_left, fine_right = np.minimum(fine_left, left), np.maximum(fine_right, right)
        there = np.flatnonzero(np.isfinite(fine_left))
        if not len(there):
            return None
        middle = edge + np.arange(m) * _SUB + _SUB // 2
        left = np.interp(middle, there, fine_left[there])
        right = np.interp(middle, there, fine_right[there])
        hull, first = _eroded(fine_left, middle, self.slack * _SUB)
        rough = middle[_STEP // 2 :: _STEP]
        if not len(rough):
            rough = middle[:1]
        coarse_hull, coarse_first = _eroded(fine_left, rough, (self.slack + _STEP // 2) * _SUB)
        places = 1 if kind.how == "fold" else self.lines - m + 1
        match = float(stance.match[0] - low[0]) if stance.match is not None else 0.0
        forbidden = np.zeros((len(self.spans), places, 3), dtype=np.float32)
        for o, (begins, ends) in enumerate(self.spans):
            taken = np.where(begins < _FAR, ends - begins, 0.0)
            sums = np.concatenate([[0.0], np.cumsum(taken)])
            for r in range(places):
                rows = slice(r + first, r + first + len(hull))
                b, e = begins[rows], ends[rows]
                hit = b < _FAR
                if not hit.any():
                    forbidden[o, r] = _FAR, -_FAR, 0.0
                    continue
                forbidden[o, r, 0] = (b - right[first : first + len(hull)])[hit].min()
                forbidden[o, r, 1] = (e - hull)[hit].max()
                forbidden[o, r, 2] = sums[r + m] - sums[r]
        return _Shape(
            k, s, left.astype(np.float32), right.astype(np.float32), hull, first,
            left[_STEP // 2 :: _STEP].astype(np.float32) if m > _STEP // 2
            else left[:1].astype(np.float32),
            coarse_hull, coarse_first, places, float(right.max()), kind.area / self.pitch,
            float(size[0]), match, forbidden,
        )  # fmt: skip

    # -- the search

    def run(
        self,
        width: int,
        rng: np.random.Generator,
        *,
        limit: float = np.inf,
        over: Callable[[], bool] | None = None,
    ) -> list[tuple[float, State]]:
        """Plans found, the shortest first, as (x reached, state); overlaps of a line's height stay.

        ``width``: plans kept at each step; ``limit``: x that none may pass. How far pieces may run
        ahead of the rest and how dear waste is are drawn by ``rng``, so that each run differs.
        ``over``: asked at each step whether time
        is up. Empty when none comes through, or when it is.
        """
        n = len(self.job.items)
        limit = min(limit - self.start + self.grow, self.end, _FAR)
        ahead = float(rng.uniform(0.05, 0.5)) * self.lines * self.pitch
        thrift = float(rng.uniform(0.0, 0.1))
        noise = float(rng.choice([0.0, 0.02, 0.05]))
        budget = limit * self.lines
        front = np.zeros((self.lines, 1), dtype=np.float32)
        left = self.count[None, :].copy()
        waste = np.zeros(1, dtype=np.float32)
        laid = np.zeros(1, dtype=np.float32)
        fixed = locked_phases(self.job)
        rho = np.array(
            [[fixed[g][0] - self.start if g in fixed else np.nan for g in self.groups]],
            dtype=np.float64,
        )
        self._close(front, left, waste)
        waste[:] = 0.0
        steps: list[tuple[NDArray[Any], ...]] = []
        for level in range(n):
            found = self._children(front, left, rho, ahead, limit)
            if found is None or (over is not None and over()):
                return []
            parent, shape, place, gap = found
            score = waste[parent] + gap - thrift * (laid[parent] + self.areas[shape])
            if noise:
                score += noise * self.areas[shape] * rng.random(len(score), dtype=np.float32)
            take = min(len(score), _SPARE * width)
            some = np.argpartition(score, take - 1)[:take]
            some = some[np.argsort(shape[some], kind="stable")]
            parent, shape, place = parent[some], shape[some], place[some]
            x, place, gap = self._exactly(front, rho, parent, shape, place)
            ok = x + self.reaches[shape] <= limit + 1.0
            if not ok.any():
                return []
            parent, shape, place, x, gap = (v[ok] for v in (parent, shape, place, x, gap))
            front_, left_, rho_ = self._laid(front, left, rho, parent, shape, place, x)
            waste_, laid_ = waste[parent] + gap, laid[parent] + self.areas[shape]
            if level < n - 1:
                self._close(front_, left_, waste_)
                full = front_
                if limit < _FAR:  # lines too near the end for anything that is left
                    least = np.where(left_ > 0, self.least_length, _FAR).min(axis=1)
                    full = np.where(limit - front_ < least, np.maximum(front_, limit), front_)
                # what obstacles take is no room either, but it is counted in the waste already
                room = full.sum(axis=0) + self.area - laid_
                ok = room <= budget + 0.003 * self.area
                score = waste_ - thrift * laid_
                if noise:
                    score = score + 0.3 * noise * laid_ * rng.random(len(score), dtype=np.float32)
            else:
                score = front_.max(axis=0)
                ok = np.ones(len(score), dtype=bool)
            order = np.argsort(score, kind="stable")
            order = order[ok[order]]
            about = np.round(front_ / (4 * _STEP * self.pitch)).astype(np.int64)
            mark = (about * self._mix[:, None]).sum(axis=0) + (left_ * self._mix_kinds).sum(axis=1)
            _, one = np.unique(mark[order], return_index=True)
            keep = order[np.sort(one)[:width]]
            if not len(keep):
                return []
            steps.append((parent[keep], shape[keep], place[keep], x[keep]))
            front = np.ascontiguousarray(front_[:, keep])
            left, waste, laid, rho = left_[keep], waste_[keep], laid_[keep], rho_[keep]
        ends = front.max(axis=0)
        return [
            (float(ends[q]) + self.start - self.grow, self._state(steps, q))
            for q in np.argsort(ends, kind="stable")
        ]

    def _children(
        self,
        front: Floats,
        left: NDArray[Any],
        rho: NDArray[np.float64],
        ahead: float,
        limit: float,
    ) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any], Floats] | None:
        """Places worth a closer look, on the coarse raster: parent, shape, first line, waste."""
        low = front.min(axis=0)
        rough = front[_STEP // 2 :: _STEP]
        free = self._free(front, np.arange(self.lines))[_STEP // 2 :: _STEP]
        out = []
        for number, shape in enumerate(self.shapes):
            nodes = np.flatnonzero(left[:, shape.kind] > 0)
            if not len(nodes):
                continue
            f, g = rough[:, nodes], free[:, nodes]
            m = len(shape.coarse_left)
            count = min(-(-(shape.places - 1) // _STEP) + 1, len(rough) - m + 1)
            sums = np.zeros((len(g) + 1, len(nodes)), dtype=np.float32)
            np.cumsum(g, axis=0, out=sums[1:])
            a = shape.coarse_first
            x = f[a : a + count] - shape.coarse_hull[0]
            spare = np.empty_like(x)
            for j in range(1, len(shape.coarse_hull)):
                np.subtract(f[a + j : a + j + count], shape.coarse_hull[j], out=spare)
                np.maximum(x, spare, out=x)
            np.maximum(x, 0.0, out=x)
            table = shape.forbidden[:, np.minimum(np.arange(count) * _STEP, shape.places - 1)]
            x, taken, ok = self._moved(x, shape, table[:, :, None], rho[nodes][None])
            gap = m * x + shape.coarse_left.sum() - (sums[m : m + count] - sums[:count])
            gap = np.maximum(_STEP * gap - taken, 0.0)
            gap[~ok] = _FAR * 100
            beside = np.full((count + 2, len(nodes)), _FAR * 100, dtype=np.float32)
            beside[1:-1] = gap
            one = (gap <= beside[:-2]) & (gap <= beside[2:])
            one &= (gap < beside[:-2] - 1.0) | (gap < beside[2:] - 1.0)
            one &= ok & (x < low[nodes] + ahead) & (x + shape.reach <= limit + 1.0)
            r, c = np.nonzero(one)
            if len(r):
                out.append((nodes[c], np.full(len(r), number), r * _STEP, gap[r, c]))
        if not out:
            return None
        parent, shapes, place, gaps = (np.concatenate(v) for v in zip(*out, strict=True))
        return parent, shapes, place, gaps

    def _exactly(
        self,
        front: Floats,
        rho: NDArray[np.float64],
        parent: NDArray[Any],
        number: NDArray[Any],
        place: NDArray[Any],
    ) -> tuple[Floats, NDArray[Any], Floats]:
        """The best line near each place: (x, first line, waste) of each child. Sorted by shape."""
        near = np.arange(-(_STEP // 2), _STEP // 2 + 1)
        x_out = np.empty(len(place), dtype=np.float32)
        gap_out = np.empty(len(place), dtype=np.float32)
        place_out = place.copy()
        for s in np.unique(number):
            a, b = np.searchsorted(number, [s, s + 1])
            shape = self.shapes[s]
            m = len(shape.left)
            r = np.clip(place[a:b] + near[:, None], 0, shape.places - 1)  # (near, children)
            rows = r + np.arange(m)[:, None, None]
            who = parent[a:b]
            f = front[rows, who]
            inner = slice(shape.first, shape.first + len(shape.hull))
            x = np.maximum((f[inner] - shape.hull[:, None, None]).max(axis=0), 0.0)
            x, taken, ok = self._moved(x, shape, shape.forbidden[:, r], rho[who][None])
            space = x + shape.left[:, None, None] - f
            over = np.minimum(space, 0.0).sum(axis=0)
            begun = self._free(f, rows)
            gap = (x + shape.left[:, None, None] - begun).sum(axis=0) - taken
            gap = np.maximum(gap - over, 0.0) - _OVERLAP_COST * over
            gap[~ok] = _FAR * 100
            pick = np.argmin(gap, axis=0)
            c = np.arange(b - a)
            x_out[a:b], gap_out[a:b], place_out[a:b] = x[pick, c], gap[pick, c], r[pick, c]
            x_out[a:b][gap_out[a:b] >= _FAR] = _FAR
        return x_out, place_out, gap_out

    def _free(self, x: Floats, rows: NDArray[Any]) -> Floats:
        """Free cloth on each line up to x, mm: x less what obstacles take before it."""
        out = x
        for begins, ends in self.spans:
            b = begins[rows]
            w = np.where(b < _FAR, ends[rows] - b, np.float32(0.0))
            if b.ndim == 1:
                b, w = b[:, None], w[:, None]
            out = out - np.clip(x - b, 0.0, w)
        return out

    def _moved(
        self, x: Floats, shape: _Shape, table: Floats, rho: NDArray[np.float64]
    ) -> tuple[Floats, Floats | float, NDArray[np.bool_]]:
        """x moved on past obstacles and to the stripe, what obstacles before it take, and whether.

        ``table``: of `_Shape.forbidden`, broadcast against x; ``rho``: phases, (…, groups).
        """
        group = self.job.kinds[shape.kind].group
        if not len(table) and (group < 0 or not self.groups):
            return x, 0.0, np.ones(x.shape, dtype=bool)
        for _ in range(2 + len(table)):
            before = x
            for t in table:
                x = np.where((x > t[..., 0]) & (x < t[..., 1]), t[..., 1], x)
            if group >= 0 and self.groups:
                want = rho[..., self.groups.index(group)]
                off = np.mod(want - (x + shape.match), self.repeat)
                off = np.where(np.isnan(off) | (off > self.repeat - 1e-3), 0.0, off)
                x = (x + off).astype(np.float32)
            if not (x > before + 1e-3).any():
                break
        ok = np.ones(x.shape, dtype=bool)
        taken: Floats = np.zeros(x.shape, dtype=np.float32)
        for t in table:
            ok &= ~((x > t[..., 0] + 0.01) & (x < t[..., 1] - 0.01))
            taken += np.where(x >= t[..., 1] - 0.01, t[..., 2], np.float32(0.0))
        return x, taken, ok

    def _laid(
        self,
        front: Floats,
        left: NDArray[Any],
        rho: NDArray[np.float64],
        parent: NDArray[Any],
        number: NDArray[Any],
        place: NDArray[Any],
        x: Floats,
    ) -> tuple[Floats, NDArray[Any], NDArray[np.float64]]:
        """Fronts, pieces left and phases with the children laid."""
        made, rest, phases = front[:, parent], left[parent], rho[parent]
        rest[np.arange(len(parent)), self.kind_of[number]] -= 1
        for s in np.unique(number):
            a, b = np.searchsorted(number, [s, s + 1])
            shape = self.shapes[s]
            rows = place[a:b] + np.arange(len(shape.right))[:, None]
            who = np.arange(a, b)
            made[rows, who] = np.maximum(made[rows, who], x[a:b] + shape.right[:, None])
            group = self.job.kinds[shape.kind].group
            if group >= 0 and self.groups:
                g = self.groups.index(group)
                unset = np.isnan(phases[a:b, g])
                phases[a:b, g] = np.where(unset, x[a:b] + shape.match, phases[a:b, g])
        return made, rest, phases

    def _close(self, front: Floats, left: NDArray[Any], waste: Floats) -> None:
        """Take what is too narrow for all pieces that are left off the room, in place."""
        narrowest = np.where(left > 0, self.least_lines, self.lines).min(axis=1)
        for v in np.unique(narrowest - 2 * self.slack):
            if v < 2:
                continue
            who = np.flatnonzero(narrowest - 2 * self.slack == v)
            now = front[:, who]
            over = _slid_max(now, int(v))
            pad = np.full((int(v) - 1, len(who)), _FAR, dtype=np.float32)
            closed = -_slid_max(-np.concatenate([pad, over, pad]), int(v))
            rows = np.arange(self.lines)
            waste[who] += (self._free(closed, rows) - self._free(now, rows)).sum(axis=0)
            front[:, who] = closed
        if not len(self.spans):
            return
        # nothing fits between the front and an obstacle so near: go on behind it
        least = np.where(left > 0, self.least_length, _FAR).min(axis=1)
        rows = np.arange(self.lines)
        for _ in range(2):
            for begins, ends in self.spans:
                b, e = begins[:, None], ends[:, None]
                past = np.where((front > b - least) & (front < e), e, front).astype(np.float32)
                waste += (self._free(past, rows) - self._free(front, rows)).sum(axis=0)
                front[:] = past

    def _state(self, steps: list[tuple[NDArray[Any], ...]], node: int) -> State:
        job = self.job
        n = len(job.items)
        state = State(np.full(n, -1), np.zeros((n, 2)))
        free: dict[int, list[int]] = {}
        for i, item in enumerate(job.items):
            free.setdefault(item.kind, []).append(i)
        for parent, number, place, x in reversed(steps):
            shape = self.shapes[number[node]]
            stance = job.kinds[shape.kind].stances[shape.stance]
            i = free[shape.kind].pop()
            high = job.top - float(stance.high[1] - stance.low[1])
            y = min(self.bottom + self.grow + float(place[node]) * self.pitch, high)
            if job.kinds[shape.kind].how == "fold":
                y = job.bottom
            state.stance[i] = shape.stance
            state.at[i] = (
                self.start + self.grow + float(x[node]) - stance.low[0],
                max(y, job.bottom) - stance.low[1],
            )
            node = int(parent[node])
        return state


def _eroded(fine: Points, middle: NDArray[Any], reach: int) -> tuple[Floats, int]:
    """Left ends with ``reach`` fine points of overlap let pass up and down: (ends, first line)."""
    ends = []
    first = -1
    for j, c in enumerate(middle):
        near = fine[max(0, c - reach) : c + reach]
        if np.isfinite(near).all():
            ends.append(near.max())
            first = j if first < 0 else first
        elif first >= 0:
            break
    if not ends:
        j = len(middle) // 2
        there = fine[np.isfinite(fine)]
        value = fine[middle[j]] if np.isfinite(fine[middle[j]]) else there.min()
        return np.array([value], dtype=np.float32), j
    return np.array(ends, dtype=np.float32), first


def _slid_max(a: Floats, rows: int) -> Floats:
    """Greatest of ``rows`` rows from each row on: (R − rows + 1, …)."""
    out, width = a, 1
    while 2 * width <= rows:
        out = np.maximum(out[:-width], out[width:])
        width *= 2
    if width < rows:
        more = rows - width
        out = np.maximum(out[: len(out) - more], out[more:])
    return out
