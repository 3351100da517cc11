"""Plans put together from one end: a beam search over the front that the pieces laid so far make.

A raster search loses what makes pieces lie close: edges that match to a fraction of a millimetre.
Here the cloth is looked at as some hundred lines along its length. Of a plan in the making only its
front counts, that is how far each line is taken; the next piece is pushed against it from the
right, and the cloth left behind it is waste for good. So is cloth that no piece left over can reach
any more, in any stance at any row: that is looked at for each plan, and makes a slit between two
pieces as dear as it is. Pieces pushed apart one way can always be laid in such an order, so little
is lost; which pieces come together is found by keeping the many plans that waste least, step by
step. Ends are those of the outline on the very line, so rows may be coarse and what is laid is still
true to a fraction of one; small overlaps are let pass: `compact` takes them apart in mm, and the
exact check guards all.

Fold edges, obstacles (holes, locked pieces, what lies outside a remnant), the cloth's end and
stripes along the length are part of the search; stripes across are not (see `Front.usable`).
The loops are compiled (`kernels`, by way of `compiled`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.cloth import Cloth
from drafting.lay import compiled
from drafting.lay.first import State, locked_phases
from drafting.lay.job import Job, make_job
from drafting.lay.shapes import (
    Points,
    area_around,
    convex_parts,
    disc_around,
    minkowski,
    pieces_without_holes,
    row_spans,
)
from drafting.piece import Piece

_LINES = 120  # across the cloth
_TIGHT = 0.13  # lines of overlap that are let pass where a piece is laid: a fine row
_LOOSE = 0.52  # the same where coarse rows are looked through: half a line
_PER_LINE = 16  # places on an outline looked at per line
_SPARE = 2  # children looked at exactly for each one kept
_BLOCK = 256  # plans looked at in one go
_TOLD = 200  # plans told of at the end
_SAME_LINES = 8.0  # fronts that differ by less, in pitches of lines, count as one
_SAME_PHASE = 0.1  # of the repeat: the same for stripes
_LATE_NOISE = 0.3  # of the chance in choosing what to look at, in choosing what to keep
_ROUNDING = 0.003  # of the pieces' area: waste that may come of rounding
_MOST_PLACES = 24  # worth a closer look, for a plan and a shape, on average

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class _Shapes:
    """All stances as the front sees them, S of them, each on at most M lines, mm.

    x from the stance's low corner, grown by half the distance. ``kind``, ``stance`` (S,); ``lines``,
    ``rows``, ``highest`` (S,) lines taken, coarse rows, highest fine row; ``ends``, ``hull`` (S, M)
    left ends on each line, and the same with overlaps let pass, at coarse rows; ``from_``, ``to``,
    ``tight`` (S, SUB, M) both ends, and the left one with overlaps let pass, at fine rows; ``sums``,
    ``reach``, ``area`` (S,) sum of ends, length, mm of line covered; ``group``, ``match`` (S,) of
    stripes; ``bars`` (S, O, fine rows, 2) what obstacles forbid, ``coarse_bars`` (S, O, rows, 3) the
    same at coarse rows, with the cloth that they take there.
    """

    kind: Ints
    stance: Ints
    lines: Ints
    rows: Ints
    highest: Ints
    ends: Floats
    hull: Floats
    from_: Floats
    to: Floats
    tight: Floats
    sums: Floats
    reach: Floats
    area: Floats
    group: Ints
    match: Floats
    coarse_bars: Floats
    bars: Floats


@dataclass(frozen=True)
class _Plans:
    """Plans in the making, N of them: ``front`` (N, L) mm, ``left`` (N, kinds) pieces to come,
    ``waste``, ``laid`` (N,) mm of line, ``phase`` (N, groups) of stripes or −1."""

    front: Floats
    left: Ints
    waste: Floats
    laid: Floats
    phase: Floats

    def only(self, which: Any) -> _Plans:
        """Some of them, by index or slice (a slice gives views)."""
        return _Plans(
            self.front[which], self.left[which], self.waste[which], self.laid[which],
            self.phase[which],
        )  # fmt: skip


@dataclass(frozen=True)
class _Rules:
    """Of one run: x none may pass, waste none may have (mm of line), how far a piece may run ahead of
    the front's hindmost line (mm), what laid area makes up for in waste, and chance."""

    limit: float
    budget: float
    ahead: float
    thrift: float
    noise: float


class _TimeIsUp(Exception):
    """The run is to stop where it is."""


def _ask(over: Callable[[], bool] | None) -> None:
    if over is not None and over():
        raise _TimeIsUp


class Front:
    """Beam searches over one job; keeps its tables between them."""

    def __init__(self, job: Job, lines: int = _LINES, tight: float = _TIGHT) -> None:
        """``lines``: across the cloth; ``tight``: parts of a line of overlap that are let pass.

        Raises:
            RuntimeError: the compiled loops cannot be had (see `compiled.loops`).
        """
        self.loops = compiled.loops()
        self.job = job
        self.lines = lines
        self.grow = 0.5 * job.distance
        self.start = job.start - self.grow
        self.bottom = job.bottom - self.grow
        self.height = job.top + self.grow - self.bottom
        self.pitch = self.height / lines
        self.end = job.stop + self.grow - self.start
        self.count = np.bincount([i.kind for i in job.items], minlength=len(job.kinds))
        self.repeat = job.cloth.repeat_length_mm
        self.groups = sorted({k.group for k in job.kinds if k.group >= 0}) if self.repeat else []
        # where some pieces may cover flaws, flaws count as cloth, and as waste where others shun them
        self.tolerant = any(k.tolerant for k in job.kinds)
        self.spans, self.flaws = self._obstacles()
        self.free_spans = _apart(
            self.spans[~self.flaws] if self.tolerant else self.spans, float(self.loops.FAR)
        )
        self.area = sum(self._grown_area(i.kind) for i in job.items) / self.pitch
        self.shapes = self._shapes(tight)
        made = np.random.default_rng(20)  # any fixed numbers: they tell fronts apart
        self._mix = made.integers(1, 2**40, lines)
        self._mix_kinds = made.integers(1, 2**60, len(job.kinds))

    @property
    def usable(self) -> bool:
        """Whether every piece can be laid here and no stripe across has to be met."""
        job = self.job
        across = job.cloth.repeat_width_mm and any(k.group >= 0 for k in job.kinds)
        kinds = {i.kind for i in job.items}
        return not across and set(map(int, self.shapes.kind)) == kinds != set()

    @property
    def work(self) -> float:
        """Steps of the innermost loop for one plan kept, about."""
        s = self.shapes
        each = s.rows.astype(float) * (s.lines + 2.0 * len(self.spans))
        return float(len(self.job.items) * each.sum())

    # -- tables

    def _grown_area(self, k: int) -> float:
        """Area of a kind with half the distance around it, mm²."""
        return area_around(self.job.kinds[k].stances[0].ring, self.grow)

    def _obstacles(self) -> tuple[Floats, NDArray[np.bool_]]:
        """(O, 2, lines) left and right end of each obstacle's parts on each line (FAR where it is
        not), and (O,) which are flaws."""
        far = self.loops.FAR
        ys: Points = self.bottom + (np.arange(self.lines, dtype=np.float64) + 0.5) * self.pitch
        out, flaws = [], []
        for o in self.job.obstacles:
            more = o.clearance - self.grow
            parts = o.parts if more >= 0 else _shrunk(o.parts, -more)
            for part in parts:
                grown = minkowski(part, disc_around(more, 8)) if more > 0 else part
                left, right = row_spans(grown, ys)
                there = np.isfinite(left) & (right > self.start)
                if not there.any():
                    continue
                left = np.where(there, np.maximum(left - self.start, 0.0), far)
                out.append((left, np.where(there, right - self.start, far)))
                flaws.append(o.flaw)
        spans: Floats = np.array(out, dtype=np.float32).reshape(len(out), 2, self.lines)
        return spans, np.array(flaws, dtype=np.bool_)

    def _shapes(self, tight: float) -> _Shapes:
        job, loops = self.job, self.loops
        sub, far = loops.SUB, float(loops.FAR)
        disc = disc_around(self.grow, 12) if self.grow > 0 else None
        rows: list[dict[str, Any]] = []
        for k in np.flatnonzero(self.count):
            kind = job.kinds[k]
            for s, stance in enumerate(kind.stances):
                size = stance.high - stance.low + 2.0 * self.grow
                if stance.high[1] - stance.low[1] > job.top - job.bottom + 1e-6:
                    continue
                low = stance.low - self.grow
                parts = [minkowski(p, disc) if disc is not None else p for p in stance.coarse]
                made = self._profile([p - low for p in parts], float(size[1]), tight)
                if made is None:
                    continue
                fold = kind.how == "fold"
                room = (self.height - float(size[1])) / self.pitch
                m = len(made["ends"])
                made |= {
                    "kind": k, "stance": s, "lines": m, "reach": float(size[0]),
                    "rows": 1 if fold else self.lines - m + 1,
                    "highest": 0 if fold else max(0, round(room * sub)),
                    "area": self._grown_area(int(k)) / self.pitch,
                    "group": self.groups.index(kind.group) if kind.group in self.groups else -1,
                    "match": 0.0 if stance.match is None else float(stance.match[0] - low[0]),
                }  # fmt: skip
                rows.append(made)
        most = max((r["from_"].shape[1] for r in rows), default=1)

        def block(name: str, fill: float) -> Floats:
            shape = rows[0][name].shape[:-1] if rows else (1,)
            out = np.full((len(rows), *shape, most), fill, dtype=np.float32)
            for r, row in enumerate(rows):
                out[r, ..., : row[name].shape[-1]] = row[name]
            return out

        def column(name: str, kind: Any) -> NDArray[Any]:
            return np.array([r[name] for r in rows], dtype=kind)

        i32, f32 = np.int32, np.float32
        highest = column("highest", i32)
        tight_, from_, to = block("tight", far), block("from_", far), block("to", -far)
        bars, coarse_bars = self._bars(rows, highest, tight_, block("tight_to", -far), from_)
        return _Shapes(
            column("kind", i32), column("stance", i32), column("lines", i32),
            column("rows", i32), highest,
            block("ends", far), block("hull", far), from_, to, tight_,
            np.array([r["ends"].sum() for r in rows], dtype=f32), column("reach", f32),
            column("area", f32), column("group", i32), column("match", f32),
            coarse_bars, bars,
        )  # fmt: skip

    def _profile(self, parts: list[Points], height: float, tight: float) -> dict[str, Any] | None:
        """Ends of a stance made of convex parts, on its lines, at coarse and at fine rows."""
        sub, far = self.loops.SUB, float(self.loops.FAR)
        m = max(1, min(self.lines, int(height / self.pitch + 0.5)))
        edge = 2 * _PER_LINE  # looked at beyond both ends, where there is nothing
        n = (m + 1) * _PER_LINE + 2 * edge
        ys: Points = (np.arange(n, dtype=np.float64) - edge) * self.pitch / _PER_LINE
        left, right = np.full(n, np.inf), np.full(n, -np.inf)
        for p in parts:
            a, b = row_spans(p, ys)
            left, right = np.minimum(left, a), np.maximum(right, b)
        there = np.flatnonzero(np.isfinite(left))
        if not len(there):
            return None
        bridged = np.interp(np.arange(n), there, left[there])  # gaps between parts, ends run on
        middle = edge + np.arange(m) * _PER_LINE + _PER_LINE // 2
        out: dict[str, Any] = {
            "ends": bridged[middle],
            "hull": _eroded(left, round(_LOOSE * _PER_LINE), middle, far),
        }
        from_, to, close, close_to = [], [], [], []
        by = round(tight * _PER_LINE)
        for o in range(sub):
            # the shape pushed up by o parts of a line, on lines counted from where it was
            at = edge + np.arange(m + 2) * _PER_LINE + _PER_LINE // 2 - o * _PER_LINE // sub
            at = np.minimum(at, n - 1)
            inside = np.isfinite(left[at])
            begin, stop = np.where(inside, left[at], far), np.where(inside, right[at], -far)
            if not inside.any():  # it lies between two lines: it takes the nearer one
                j = int(np.argmin(np.abs(at - there.mean())))
                begin[j], stop[j] = left[there].min(), right[there].max()
            from_.append(begin)
            to.append(stop)
            close.append(_eroded(left, by, at, far))
            close_to.append(-_eroded(-right, by, at, far))
        out |= {"from_": np.array(from_), "to": np.array(to)}
        out |= {"tight": np.array(close), "tight_to": np.array(close_to)}
        return out

    def _bars(
        self,
        rows: list[dict[str, Any]],
        highest: Ints,
        tight: Floats,
        tight_to: Floats,
        from_: Floats,
    ) -> tuple[Floats, Floats]:
        """What obstacles forbid at fine rows, and at coarse ones: there what each of the fine rows
        nearby forbids."""
        far, sub = self.loops.FAR, self.loops.SUB
        most = int(highest.max(initial=0)) + 1
        shape = (len(rows), len(self.spans))
        bars = np.zeros((*shape, most, 2), dtype=np.float32)
        coarse = np.zeros((*shape, max((r["rows"] for r in rows), default=1), 3), dtype=np.float32)
        for out in (bars, coarse):
            out[..., 0], out[..., 1] = far, -far
        taken = np.zeros(most, dtype=np.float32)
        for s, row in enumerate(rows):
            at = np.arange(row["rows"])[:, None] * sub + np.arange(-(sub // 2), sub // 2 + 1)
            at = np.clip(at, 0, highest[s])
            for o, (begins, stops) in enumerate(self.spans):
                if self.flaws[o] and self.job.kinds[row["kind"]].tolerant:
                    continue
                count = int(highest[s]) + 1
                self.loops.barred(
                    begins, stops, tight[s], tight_to[s], from_[s], count, bars[s, o], taken
                )
                there = coarse[s, o, : row["rows"]]
                there[:, 0] = bars[s, o, at, 0].max(axis=1)
                there[:, 1] = bars[s, o, at, 1].min(axis=1)
                if not (self.flaws[o] and self.tolerant):  # flaws count as cloth then
                    there[:, 2] = taken[at].min(axis=1)
        return bars, coarse

    # -- the search

    def run(
        self,
        width: int,
        rng: np.random.Generator,
        *,
        limit: float = np.inf,
        over: Callable[[], bool] | None = None,
    ) -> list[tuple[float, State]]:
        """Plans found, the shortest first, as (x reached, state); small overlaps stay.

        ``width``: plans kept at each step; ``limit``: x that none may pass. How far pieces may run
        ahead of the rest and how dear waste is are drawn by ``rng``, so that each run differs.
        ``over``: asked now and then whether time is up. Empty when none comes through, or when it is.
        """
        far = float(self.loops.FAR)
        limit = min(limit - self.start + self.grow, self.end, far)
        budget = far
        if limit < far:
            free = sum(self._free(limit, line) for line in range(self.lines))
            budget = max(0.0, free - self.area + _ROUNDING * self.area)
        rules = _Rules(
            limit,
            budget,
            ahead=float(rng.uniform(0.05, 0.5)) * self.height,
            thrift=float(rng.uniform(0.0, 0.02)),
            noise=float(rng.choice([0.0, 0.02, 0.05])),
        )
        plans = self._nothing_laid()
        steps: list[tuple[Ints, Floats]] = []
        try:
            for step in range(len(self.job.items)):
                chosen = self._worth_a_look(plans, width, rules, rng, over)
                children, place = self._at_rest(plans, chosen)
                last = step == len(self.job.items) - 1
                made, score = self._laid(plans, children, place, width, rules, rng, over, last)
                keep = self._kept(made, score, width)
                if not len(keep):
                    return []
                steps.append((children[keep], place[keep]))
                plans = made.only(keep)
        except _TimeIsUp:
            return []
        ends = plans.front.max(axis=1)
        return [
            (float(ends[q]) + self.start - self.grow, self._state(steps, int(q)))
            for q in np.argsort(ends, kind="stable")[:_TOLD]
        ]

    def _nothing_laid(self) -> _Plans:
        fixed = locked_phases(self.job)
        phase = [
            (fixed[g][0] - self.start) % self.repeat if g in fixed else -1.0 for g in self.groups
        ]
        t = self.shapes
        plans = _Plans(
            np.zeros((1, self.lines), dtype=np.float32),
            self.count[None, :].astype(np.int32),
            np.zeros(1, dtype=np.float32),
            np.zeros(1, dtype=np.float32),
            np.array([phase], dtype=np.float32).reshape(1, len(phase)),
        )
        plans.waste[0] = self.loops.begin(
            plans.front[0], plans.left[0], plans.phase[0],
            t.kind, t.lines, t.rows, t.ends, t.hull, t.group, t.match,
            t.coarse_bars, self.free_spans, float(self.repeat or 1.0),
        )  # fmt: skip
        return plans

    def _worth_a_look(
        self,
        plans: _Plans,
        width: int,
        rules: _Rules,
        rng: np.random.Generator,
        over: Callable[[], bool] | None,
    ) -> Ints:
        """(Q, 3) plan, shape and coarse row of the most promising next pieces, the best first."""
        t, most = self.shapes, _SPARE * width
        room = np.empty((_BLOCK * len(t.kind) * _MOST_PLACES, 3), dtype=np.int32)
        worth = np.empty(len(room), dtype=np.float32)
        chosen: Ints = np.empty((0, 3), dtype=np.int32)
        score: Floats = np.empty(0, dtype=np.float32)
        for a in range(0, len(plans.front), _BLOCK):
            _ask(over)
            some = plans.only(slice(a, a + _BLOCK))
            found = self.loops.children(
                some.front, some.left, some.waste, some.laid, some.phase,
                t.kind, t.lines, t.rows, t.hull, t.sums, t.reach, t.area,
                t.group, t.match, t.coarse_bars, self.free_spans, float(self.repeat or 1.0),
                rules.ahead, rules.limit, rules.budget, rules.thrift, room, worth,
            )  # fmt: skip
            more, its_score = room[:found].copy(), worth[:found]
            more[:, 0] += a
            if rules.noise:
                drawn = rng.random(found, dtype=np.float32)
                its_score = its_score + np.float32(rules.noise) * t.area[more[:, 1]] * drawn
            chosen, score = np.concatenate([chosen, more]), np.concatenate([score, its_score])
            if len(score) > most:
                best = np.argpartition(score, most - 1)[:most]
                chosen, score = chosen[best], score[best]
        return chosen[np.argsort(score, kind="stable")]

    def _at_rest(self, plans: _Plans, chosen: Ints) -> tuple[Ints, Floats]:
        """(Q, 3) plan, shape and fine row, and (Q,) x of the pieces laid down close."""
        t = self.shapes
        children = np.empty((2 * len(chosen), 3), dtype=np.int32)
        place = np.empty(len(children), dtype=np.float32)
        count = self.loops.rest(
            plans.front, plans.phase, chosen, t.highest, t.tight, t.group, t.match, t.bars,
            float(self.repeat or 1.0), children, place,
        )  # fmt: skip
        _, one = np.unique(children[:count], axis=0, return_index=True)
        one.sort()  # the promising ones stay in front
        return children[one], place[one]

    def _laid(
        self,
        plans: _Plans,
        children: Ints,
        place: Floats,
        width: int,
        rules: _Rules,
        rng: np.random.Generator,
        over: Callable[[], bool] | None,
        last: bool,
    ) -> tuple[_Plans, Floats]:
        """The plans with the children laid, and what each is worth (the less the better; FAR: none)."""
        t, count, far = self.shapes, len(children), float(self.loops.FAR)
        made = _Plans(
            np.empty((count, self.lines), dtype=np.float32),
            np.empty((count, plans.left.shape[1]), dtype=np.int32),
            np.empty(count, dtype=np.float32),
            np.empty(count, dtype=np.float32),
            np.empty((count, plans.phase.shape[1]), dtype=np.float32),
        )
        so_far = plans.laid[children[:, 0]] + t.area[children[:, 1]]
        more: Floats = np.float32(-rules.thrift) * so_far
        if rules.noise:
            drawn = rng.random(count, dtype=np.float32)
            more += np.float32(_LATE_NOISE * rules.noise) * so_far * drawn
        most = far
        for a in range(0, count, _BLOCK):
            _ask(over)
            b = slice(a, a + _BLOCK)
            some = made.only(b)  # views: filled in place
            self.loops.lay(
                plans.front, plans.left, plans.waste, plans.laid, plans.phase,
                children[b], place[b],
                t.kind, t.lines, t.rows, t.ends, t.hull, t.reach, t.area,
                t.from_, t.to, t.group, t.match, t.coarse_bars, self.free_spans,
                float(self.repeat or 1.0), rules.limit, rules.budget, more[b], most, last,
                some.front, some.left, some.waste, some.laid, some.phase,
            )  # fmt: skip
            done = min(count, a + _BLOCK)
            if done > width:  # what is worse than so many need not be looked at in full
                most = float(np.partition(made.waste[:done] + more[:done], width)[width])
        score: Floats = made.front.max(axis=1) if last else made.waste + more
        lost = made.waste >= far if last else made.waste > rules.budget
        return made, np.where(lost, self.loops.FAR, score)

    def _kept(self, plans: _Plans, score: Floats, width: int) -> NDArray[np.int64]:
        """The best of the plans, of those with nearly the same front and pieces left only one."""
        order = np.argsort(score, kind="stable")
        order = order[score[order] < float(self.loops.FAR)]
        about = np.round(plans.front / (_SAME_LINES * self.pitch)).astype(np.int64)
        mark = (about * self._mix).sum(axis=1) + (plans.left * self._mix_kinds).sum(axis=1)
        if self.groups:
            phases = np.round(plans.phase / (_SAME_PHASE * float(self.repeat or 1.0)))
            mark += (phases.astype(np.int64) * self._mix[: len(self.groups)]).sum(axis=1)
        _, one = np.unique(mark[order], return_index=True)
        return order[np.sort(one)[:width]]

    def _free(self, x: float, line: int) -> float:
        """Free cloth on a line up to x."""
        taken = np.clip(x - self.free_spans[:, 0, line], 0.0, None)
        width = self.free_spans[:, 1, line] - self.free_spans[:, 0, line]
        return x - float(np.minimum(taken, width).sum())

    def _state(self, steps: list[tuple[Ints, Floats]], node: int) -> State:
        job, t = self.job, self.shapes
        n = len(job.items)
        state = State(np.full(n, -1), np.zeros((n, 2)))
        free: dict[int, list[int]] = {}
        for i, item in enumerate(job.items):
            free.setdefault(item.kind, []).append(i)
        for children, place in reversed(steps):
            parent, s, row = (int(v) for v in children[node])
            kind = job.kinds[t.kind[s]]
            stance = kind.stances[t.stance[s]]
            i = free[int(t.kind[s])].pop()
            high = job.top - float(stance.high[1] - stance.low[1])
            y = min(self.bottom + self.grow + row / self.loops.SUB * self.pitch, high)
            if kind.how == "fold":
                y = job.bottom
            state.stance[i] = t.stance[s]
            state.at[i] = (
                self.start + self.grow + float(place[node]) - stance.low[0],
                max(y, job.bottom) - stance.low[1],
            )
            node = parent
        return state


def _eroded(left: Points, reach: int, at: NDArray[Any], far: float) -> Points:
    """Left ends at ``at`` with overlaps of ``reach`` places up and down let pass; ``far``: no end.

    Of an outline too low for that the line nearest to its middle is kept.
    """
    n = len(left)
    near = np.clip(at[:, None] + np.arange(-reach, reach + 1), 0, n - 1)
    out: Points = left[near].max(axis=1)
    out[~np.isfinite(out)] = far
    if (out >= far).all():
        all_of_it = np.flatnonzero(np.isfinite(left))
        j = int(np.argmin(np.abs(at - all_of_it.mean())))
        out[j] = left[at[j]] if np.isfinite(left[at[j]]) else left[all_of_it].min()
    return out


def _apart(spans: Floats, far: float) -> Floats:
    """(K, 2, L) the same spans, those that overlap on a line made one (left over places: ``far``)."""
    lines = spans.shape[2]
    made: list[list[list[float]]] = []
    for line in range(lines):
        merged: list[list[float]] = []
        for begin, end in sorted((float(b), float(e)) for b, e in spans[:, :, line] if b < far):
            if merged and begin <= merged[-1][1]:
                merged[-1][1] = max(merged[-1][1], end)
            else:
                merged.append([begin, end])
        made.append(merged)
    out = np.full((max(map(len, made), default=0), 2, lines), far, dtype=np.float32)
    for line, merged in enumerate(made):
        for k, (begin, end) in enumerate(merged):
            out[k, :, line] = begin, end
    return out


def _shrunk(parts: tuple[Points, ...], by: float) -> tuple[Points, ...]:
    """Convex parts of what these make up together, its edge drawn in by so much."""
    from shapely import union_all
    from shapely.geometry import Polygon

    whole = union_all([Polygon(p).buffer(1e-6, join_style="mitre") for p in parts])
    rings = pieces_without_holes(whole.buffer(-by, join_style="mitre"))
    return tuple(part for ring in rings for part in convex_parts(ring))


def warm_up() -> None:
    """Run every compiled loop once, on two squares beside a hole, so that all are compiled."""
    ring = [(0.0, 0.0), (90.0, 0.0), (90.0, 80.0), (0.0, 80.0)]
    pieces = [Piece.from_outline(name, ring) for name in ("a", "b")]
    cloth = Cloth.from_dict(
        {
            "outline": [[0, 0], [600, 0], [600, 200], [0, 200]],
            "holes": [[[250, 50], [300, 50], [300, 90], [250, 90]]],
        }
    )
    Front(make_job(pieces, cloth)).run(4, np.random.default_rng(1))
