"""Slide pieces together in mm: a linear program with one separating line per pair of convex parts.

Takes a plan, valid or nearly so, and shortens it (or takes small overlaps apart) without turning
anything. Each pair of convex parts is kept apart by the edge of either that now parts them best;
the program moves everything at once, then the lines are chosen anew. Phases of stripes, the fold
and locked pieces are equations and bounds of the same program.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.lay.first import State
from drafting.lay.job import Job
from drafting.outline import Points

_MARGIN_MM = 0.002  # kept between parts, so that rounding never shows in the exact check
SOLVED_MM = 0.004  # an overlap smaller than this is rounding


@dataclass(frozen=True)
class _Lines:
    """Candidate separating lines of two parted shapes: for K part pairs, M lines each.

    A shift t of the second against the first parts a pair by max over lines of normals · t − reach.
    """

    normals: NDArray[np.float64]  # (K, M, 2)
    reach: NDArray[np.float64]  # (K, M), +inf where there is no line


def _normals(ring: Points) -> NDArray[np.float64]:
    e = np.roll(ring, -1, axis=0) - ring
    n = np.column_stack([e[:, 1], -e[:, 0]])
    out: NDArray[np.float64] = n / np.linalg.norm(n, axis=1)[:, None]
    return out


def _padded(
    parts: tuple[Points, ...], sign: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Parts as (K, M, 2) corners, the last one repeated, normals of their edges times ``sign``, and
    which of them are true ones."""
    most = max(map(len, parts))
    corners = np.array(
        [np.concatenate([p, np.repeat(p[-1:], most - len(p), axis=0)]) for p in parts]
    )
    normals = np.zeros_like(corners)
    there = np.zeros(corners.shape[:2], dtype=bool)
    for k, p in enumerate(parts):
        normals[k, : len(p)] = sign * _normals(p)
        there[k, : len(p)] = True
    return corners, normals, there


def _lines(first: tuple[Points, ...], second: tuple[Points, ...]) -> _Lines:
    p, np_, true_p = _padded(first, 1.0)
    q, nq, true_q = _padded(second, -1.0)
    a, m, b, n = len(p), p.shape[1], len(q), q.shape[1]
    # of each normal: how far the first reaches along it, and from where on the second lies
    own_p = np.einsum("amx,anx->amn", np_, p).max(axis=2)[:, None, :]
    of_q = np.einsum("amx,bnx->abmn", np_, q).min(axis=3)
    reach_p = np.where(true_p[:, None, :], own_p - of_q, np.inf)
    of_p = np.einsum("bnx,amx->abnm", nq, p).max(axis=3)
    own_q = np.einsum("bnx,bmx->bnm", nq, q).min(axis=2)[None, :, :]
    reach_q = np.where(true_q[None, :, :], of_p - own_q, np.inf)
    normals = np.concatenate(
        [
            np.broadcast_to(np_[:, None], (a, b, m, 2)),
            np.broadcast_to(nq[None], (a, b, n, 2)),
        ],
        axis=2,
    )
    reach = np.concatenate([reach_p, reach_q], axis=2)
    return _Lines(normals.reshape(a * b, m + n, 2), reach.reshape(a * b, m + n))


@dataclass(frozen=True)
class _Rows:
    """Constraints normal · (move of ``second`` − move of ``first``) ≥ need, R of them.

    ``first``, ``second``: numbers of items, −1 for what is fixed; ``pair``: of which shapes it is one.
    """

    first: NDArray[np.int64]  # (R,), and so are the others but for the normals
    second: NDArray[np.int64]
    pair: NDArray[np.int64]
    normal: NDArray[np.float64]  # (R, 2)
    need: NDArray[np.float64]


class Compactor:
    """Compacts states of one job; keeps the tables of separating lines between calls."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._table = cache(self._lines_between)
        self.boxes = [
            (np.vstack(o.parts).min(axis=0), np.vstack(o.parts).max(axis=0)) for o in job.obstacles
        ]

    def _lines_between(self, obstacle: int, ka: int, sa: int, kb: int, sb: int) -> _Lines:
        """Of two stances, each the number of its kind and its own; of an obstacle where it is not −1."""
        kinds = self.job.kinds
        first = kinds[ka].stances[sa].fine if obstacle < 0 else self.job.obstacles[obstacle].parts
        return _lines(first, kinds[kb].stances[sb].fine)

    def _rows(self, state: State, reach: float) -> _Rows:
        """What keeps parted all that could meet when each thing moves by half of ``reach`` mm."""
        job = self.job
        placed = np.flatnonzero(state.stance >= 0).tolist()
        stances = [job.stance_of(i, state.stance) for i in placed]
        low = np.array([s.low for s in stances]).reshape(-1, 2) + state.at[placed]
        high = np.array([s.high for s in stances]).reshape(-1, 2) + state.at[placed]
        what = [(job.items[i].kind, int(state.stance[i])) for i in placed]
        found: list[tuple[int, int, _Lines, NDArray[np.float64], float]] = []
        gap = reach + job.distance + 1.0
        for r, i in enumerate(placed):
            near = (low[r + 1 :] <= high[r] + gap) & (high[r + 1 :] >= low[r] - gap)
            for q in (np.flatnonzero(near.all(axis=1)) + r + 1).tolist():
                if stances[r].layers & stances[q].layers:
                    table = self._table(-1, *what[r], *what[q])
                    shift = state.at[placed[q]] - state.at[i]
                    found.append((i, placed[q], table, shift, job.distance))
        for o, obstacle in enumerate(job.obstacles):
            low_o, high_o = self.boxes[o]
            extra = reach + obstacle.clearance + 1.0
            for r, j in enumerate(placed):
                if (low[r] > high_o + extra).any() or (high[r] < low_o - extra).any():
                    continue
                if obstacle.stops(job.kind_of(j).tolerant, stances[r].where, stances[r].layers):
                    table = self._table(o, 0, 0, *what[r])
                    found.append((-1, j, table, state.at[j], obstacle.clearance))
        rows: list[tuple[int, int, int, NDArray[np.float64], float]] = []
        for pair, (i, j, table, shift, distance) in enumerate(found):
            away = table.normals @ shift - table.reach
            best = away.argmax(axis=1)
            value = away[np.arange(len(best)), best]
            for r in np.flatnonzero(value < distance + reach).tolist():
                normal = table.normals[r, best[r]]
                rows.append((i, j, pair, normal, distance + _MARGIN_MM - value[r]))
        first, second, pairs, normals, need = zip(*rows, strict=True) if rows else ((),) * 5
        return _Rows(
            np.array(first, dtype=np.int64), np.array(second, dtype=np.int64),
            np.array(pairs, dtype=np.int64), np.array(normals).reshape(-1, 2), np.array(need),
        )  # fmt: skip

    def compact(
        self,
        state: State,
        *,
        limit: float | None = None,
        rounds: int = 12,
        step: float | None = None,
        elastic: bool = False,
    ) -> tuple[State, float, float]:
        """Shorten a plan; answer (state, length used, worst violation left, both mm).

        ``limit``: the lay may not reach past this x (no shortening below it is sought when
        ``elastic``); ``elastic``: small overlaps to begin with are allowed and taken apart.
        """
        height = self.job.top - self.job.bottom
        reach = step if step is not None else 0.03 * height
        best = state.copy()
        length = self.length(best)
        last = math.inf
        violation = 1e9 if elastic else math.inf
        for _ in range(rounds):
            solved = self._solve(best, self._rows(best, 2.0 * reach), reach, limit, elastic)
            if solved is None:
                break
            best, violation = solved
            length = self.length(best)
            goal = length + 100.0 * violation
            if elastic and violation <= SOLVED_MM and (limit is None or length <= limit + 1e-6):
                break
            if last - goal < 1e-4 * height:
                break
            last = goal
        if elastic:  # what is left, whatever the program says
            violation = max(violation, float(self._rows(best, 1.0).need.max(initial=0.0)))
        return best, length, violation

    def length(self, state: State) -> float:
        """How far the lay reaches, x in mm."""
        ends = [
            float(self.job.stance_of(i, state.stance).high[0] + state.at[i, 0])
            for i in np.flatnonzero(state.stance >= 0).tolist()
        ]
        fixed = [float(p.outline_mm[:, 0].max()) for p in self.job.locked]
        return max(ends + fixed, default=self.job.start)

    def _solve(
        self, state: State, rows: _Rows, step: float, limit: float | None, elastic: bool
    ) -> tuple[State, float] | None:
        """The state moved so that it gets shorter, and the worst overlap left; None without a solution.

        Of the program's variables the first two for each item are its move, then comes the length,
        then how far each pair of shapes may overlap.
        """
        from scipy.optimize import linprog
        from scipy.sparse import csr_matrix

        placed = np.flatnonzero(state.stance >= 0).tolist()
        n, count = len(placed), len(rows.need)
        if n == 0:
            return None
        pairs, slack = np.unique(rows.pair, return_inverse=True)
        size = 2 * n + 1 + (len(pairs) if elastic else 0)
        column = np.full(len(state.stance), -1)
        column[placed] = np.arange(n)
        first, second, line = column[rows.first], column[rows.second], np.arange(count)
        own = rows.first >= 0
        every, ends = np.arange(n), count + np.arange(n)  # the last: x + high ≤ length
        entries = [
            (line, 2 * second, -rows.normal[:, 0]),
            (line, 2 * second + 1, -rows.normal[:, 1]),
            (line[own], 2 * first[own], rows.normal[own, 0]),
            (line[own], 2 * first[own] + 1, rows.normal[own, 1]),
            (ends, 2 * every, np.ones(n)),
            (ends, np.full(n, 2 * n), -np.ones(n)),
        ]
        if elastic:
            entries.append((line, 2 * n + 1 + slack, -np.ones(count)))
        row, col, value = (np.concatenate(part) for part in zip(*entries, strict=True))
        high = np.array([self.job.stance_of(i, state.stance).high[0] for i in placed])
        cost = np.full(size, 20.0)
        cost[: 2 * n] = np.tile([1e-3 / n, 1e-4 / n], n)
        cost[2 * n] = 1.0
        bounds, equal = self._bounds(state, placed, step, limit, size)
        # nothing is gained below the limit; overlaps are what counts
        bounds[2 * n] = limit if elastic and limit is not None else -np.inf, np.inf
        both = np.repeat(np.arange(len(equal)), 2), np.array(equal, dtype=np.int64).ravel()
        same = csr_matrix((np.tile([1.0, -1.0], len(equal)), both), shape=(len(equal), size))
        solve: Any = linprog
        result = solve(
            cost,
            A_ub=csr_matrix((value, (row, col)), shape=(count + n, size)),
            b_ub=np.concatenate([-rows.need, -(state.at[placed, 0] + high)]),
            A_eq=same if equal else None,
            b_eq=np.zeros(len(equal)) if equal else None,
            bounds=bounds,
            method="highs",
            options={"time_limit": 3.0},
        )
        if result.x is None or result.status != 0:
            return None
        moved = state.copy()
        moved.at[placed] += result.x[: 2 * n].reshape(n, 2)
        return moved, float(result.x[2 * n + 1 :].max(initial=0.0))

    def _bounds(
        self, state: State, placed: list[int], step: float, limit: float | None, size: int
    ) -> tuple[NDArray[np.float64], list[tuple[int, int]]]:
        """(size, 2) least and most of each variable, and moves that must be alike."""
        job, n = self.job, len(placed)
        stances = [job.stance_of(i, state.stance) for i in placed]
        stop = job.stop if limit is None else min(job.stop, limit)
        room = np.array([[job.start, job.bottom], [stop, job.top]])
        edges = np.array([[s.low for s in stances], [s.high for s in stances]]) + state.at[placed]
        least = np.maximum(room[0] - edges[0], -step)
        most = np.minimum(room[1] - edges[1], step)
        most[:, 0] = np.where(np.isfinite(stop), most[:, 0], step)
        kinds = [job.kind_of(i) for i in placed]
        still = [k.how == "fold" or s.pin is not None for k, s in zip(kinds, stances, strict=True)]
        least[still, 1] = most[still, 1] = 0.0
        equal: list[tuple[int, int]] = []
        for group in {k.group for k in kinds if k.group >= 0}:
            members = [c for c, k in enumerate(kinds) if k.group == group]
            names = {k.piece for k in job.kinds if k.group == group}
            pinned = any(p.piece in names for p in job.locked)
            folded = any(kinds[m].how == "fold" for m in members)
            for axis, repeat in enumerate(job.cloth.repeats_mm):
                if repeat and (pinned or (axis and folded)):
                    least[members, axis] = most[members, axis] = 0.0
                elif repeat:
                    equal += [(2 * members[0] + axis, 2 * m + axis) for m in members[1:]]
        # a start past its bounds (a plan nudged over the edge) may come back as far as it must
        flip = least > most
        back = np.where(least > 0, least, most)
        least[flip] = most[flip] = back[flip]
        bounds = np.tile([0.0, np.inf], (size, 1))
        bounds[: 2 * n] = np.column_stack([least.ravel(), most.ravel()])
        return bounds, equal
