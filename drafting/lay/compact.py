"""Slide pieces together in mm: a linear program with one separating line per pair of convex parts.

Takes a plan, valid or nearly so, and shortens it (or takes small overlaps apart) without turning
anything. Each pair of convex parts is kept apart by the edge of either that now parts them best;
the program moves everything at once, then the lines are chosen anew. Phases of stripes, the fold
and locked pieces are equations and bounds of the same program.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
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


class Compactor:
    """Compacts states of one job; keeps the tables of separating lines between calls."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._tables: dict[tuple[int, int, int, int], _Lines] = {}
        self._walls: dict[tuple[int, int, int], _Lines] = {}
        self.kind_of = np.array([i.kind for i in job.items], dtype=np.int64)
        self.boxes = [
            (
                np.array([np.min([p.min(0) for p in o.parts], axis=0)]).ravel(),
                np.array([np.max([p.max(0) for p in o.parts], axis=0)]).ravel(),
            )
            for o in job.obstacles
        ]

    def _pair(self, ki: int, si: int, kj: int, sj: int) -> _Lines:
        key = (ki, si, kj, sj)
        if key not in self._tables:
            a, b = self.job.kinds[ki].stances[si], self.job.kinds[kj].stances[sj]
            self._tables[key] = _lines(a.fine, b.fine)
        return self._tables[key]

    def _wall(self, o: int, k: int, s: int) -> _Lines:
        key = (o, k, s)
        if key not in self._walls:
            self._walls[key] = _lines(
                self.job.obstacles[o].parts, self.job.kinds[k].stances[s].fine
            )
        return self._walls[key]

    def _layers(self, i: int, state: State) -> int:
        return self.job.kinds[int(self.kind_of[i])].stances[int(state.stance[i])].layers

    def depth(self, state: State) -> float:
        """Largest violation of a distance between the simplified shapes, mm (0 when valid)."""
        rows = self._rows(state, 1.0)
        return max((need for _, _, _, need, _ in rows), default=0.0)

    def _rows(
        self, state: State, reach: float
    ) -> list[tuple[int, int, NDArray[np.float64], float, int]]:
        """Constraints n · (move_j − move_i) ≥ need as (i, j, n, need, pair); i = −1: fixed."""
        job = self.job
        placed = np.flatnonzero(state.stance >= 0)
        low = np.zeros((len(placed), 2))
        high = np.zeros((len(placed), 2))
        for r, i in enumerate(placed):
            s = job.kinds[self.kind_of[i]].stances[state.stance[i]]
            low[r], high[r] = s.low + state.at[i], s.high + state.at[i]
        gap = reach + job.distance + 1.0
        rows: list[tuple[int, int, NDArray[np.float64], float, int]] = []
        pair = 0
        for r, i in enumerate(placed):
            near = np.flatnonzero(
                (low[r + 1 :] <= high[r] + gap).all(axis=1)
                & (high[r + 1 :] >= low[r] - gap).all(axis=1)
            )
            for q in near:
                j = placed[r + 1 + q]
                if not self._layers(int(i), state) & self._layers(int(j), state):
                    continue
                table = self._pair(
                    int(self.kind_of[i]), int(state.stance[i]),
                    int(self.kind_of[j]), int(state.stance[j]),
                )  # fmt: skip
                pair = self._add(
                    rows,
                    table,
                    state.at[j] - state.at[i],
                    job.distance,
                    reach,
                    int(i),
                    int(j),
                    pair,
                )
        for o, obstacle in enumerate(job.obstacles):
            low_o, high_o = self.boxes[o]
            for r, j in enumerate(placed):
                k = int(self.kind_of[j])
                lies = job.kinds[k].stances[int(state.stance[j])]
                if not obstacle.stops(job.kinds[k].tolerant, lies.where, lies.layers):
                    continue
                extra = reach + obstacle.clearance + 1.0
                if (low[r] > high_o + extra).any() or (high[r] < low_o - extra).any():
                    continue
                pair = self._add(
                    rows, self._wall(o, k, int(state.stance[j])), state.at[j],
                    obstacle.clearance, reach, -1, int(j), pair,
                )  # fmt: skip
        return rows

    @staticmethod
    def _add(
        rows: list[tuple[int, int, NDArray[np.float64], float, int]],
        table: _Lines,
        shift: NDArray[np.float64],
        distance: float,
        reach: float,
        i: int,
        j: int,
        pair: int,
    ) -> int:
        apart = table.normals @ shift - table.reach
        best = apart.argmax(axis=1)
        k = np.arange(len(best))
        value = apart[k, best]
        rows.extend(
            (i, j, table.normals[r, best[r]], distance + _MARGIN_MM - value[r], pair)
            for r in np.flatnonzero(value < distance + reach)
        )
        return pair + 1

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
        job = self.job
        height = job.top - job.bottom
        reach = step if step is not None else 0.03 * height
        best = state.copy()
        length = self.length(best)
        last = math.inf
        violation = math.inf
        for _ in range(rounds):
            rows = self._rows(best, 2.0 * reach)
            solved = self._solve(best, rows, reach, limit, elastic)
            if solved is None:
                break
            moved, slack = solved
            best = moved
            length = self.length(best)
            violation = slack
            goal = length + 100.0 * slack
            if elastic and slack <= SOLVED_MM and (limit is None or length <= limit + 1e-6):
                break
            if last - goal < 1e-4 * height:
                break
            last = goal
        if elastic:
            violation = max(violation if math.isfinite(violation) else 1e9, self.depth(best))
        return best, length, violation

    def length(self, state: State) -> float:
        """How far the lay reaches, x in mm."""
        ends = [
            float(self.job.kinds[self.kind_of[i]].stances[state.stance[i]].high[0] + state.at[i, 0])
            for i in np.flatnonzero(state.stance >= 0)
        ]
        fixed = [float(p.outline_mm[:, 0].max()) for p in self.job.locked]
        return max(ends + fixed, default=self.job.start)

    def _solve(
        self,
        state: State,
        rows: list[tuple[int, int, NDArray[np.float64], float, int]],
        step: float,
        limit: float | None,
        elastic: bool,
    ) -> tuple[State, float] | None:
        from scipy.optimize import linprog
        from scipy.sparse import csr_matrix

        job = self.job
        placed = np.flatnonzero(state.stance >= 0)
        n = len(placed)
        if n == 0:
            return None
        column = np.full(len(state.stance) + 1, -1)
        column[placed] = np.arange(n)
        stances = [job.kinds[self.kind_of[i]].stances[state.stance[i]] for i in placed]
        at = state.at[placed]
        s_low = np.array([s.low for s in stances])
        s_high = np.array([s.high for s in stances])
        pairs = sorted({r[4] for r in rows}) if elastic else []
        slack_of = {p: 2 * n + 1 + k for k, p in enumerate(pairs)}
        size = 2 * n + 1 + len(pairs)

        count = len(rows)
        if count:
            first = np.array([column[r[0]] if r[0] >= 0 else -1 for r in rows])
            second = np.array([column[r[1]] for r in rows])
            normal = np.array([r[2] for r in rows])
            need = np.array([r[3] for r in rows])
        else:
            first = second = np.zeros(0, dtype=int)
            normal, need = np.zeros((0, 2)), np.zeros(0)
        line = np.arange(count)
        own = first >= 0
        data = [-normal[:, 0], -normal[:, 1], normal[own, 0], normal[own, 1]]
        row_index = [line, line, line[own], line[own]]
        col_index = [2 * second, 2 * second + 1, 2 * first[own], 2 * first[own] + 1]
        if elastic:
            row_index.append(line)
            col_index.append(np.array([slack_of[r[4]] for r in rows], dtype=int))
            data.append(-np.ones(count))
        # x + high ≤ length
        line = count + np.arange(n)
        row_index += [line, line]
        col_index += [2 * np.arange(n), np.full(n, 2 * n)]
        data += [np.ones(n), -np.ones(n)]
        b = np.concatenate([-need, -(at[:, 0] + s_high[:, 0])])
        a = csr_matrix(
            (np.concatenate(data), (np.concatenate(row_index), np.concatenate(col_index))),
            shape=(count + n, size),
        )

        lower = np.full(size, -step)
        upper = np.full(size, step)
        lower[2 * n + 1 :], upper[2 * n + 1 :] = 0.0, np.inf
        lower[0 : 2 * n : 2] = np.maximum(-step, job.start - s_low[:, 0] - at[:, 0])
        lower[1 : 2 * n : 2] = np.maximum(-step, job.bottom - s_low[:, 1] - at[:, 1])
        upper[1 : 2 * n : 2] = np.minimum(step, job.top - s_high[:, 1] - at[:, 1])
        stop = job.stop if limit is None else min(job.stop, limit)
        if math.isfinite(stop):
            ends = stop - s_high[:, 0] - at[:, 0]
            upper[0 : 2 * n : 2] = np.minimum(step, ends)
        fold = np.array(
            [
                job.kinds[self.kind_of[i]].how == "fold" or s.pin is not None
                for i, s in zip(placed, stances, strict=True)
            ]
        )
        lower[1 : 2 * n : 2][fold] = 0.0
        upper[1 : 2 * n : 2][fold] = 0.0
        equal, groups = [], self._groups(placed)
        for members, fixed_y, fixed_x in groups:
            for axis, frozen in ((0, fixed_x), (1, fixed_y)):
                if frozen is None:
                    continue
                if frozen:
                    for m in members:
                        lower[2 * m + axis] = upper[2 * m + axis] = 0.0
                else:
                    equal += [(2 * members[0] + axis, 2 * m + axis) for m in members[1:]]
        # a start past its bounds (a plan nudged over the edge) may come back as far as it must
        flip = lower > upper
        if flip.any():
            reach_in = np.where(lower > 0, lower, upper)
            lower[flip] = upper[flip] = reach_in[flip]
        lower[2 * n], upper[2 * n] = -np.inf, np.inf
        if elastic and limit is not None:
            lower[2 * n] = limit  # nothing is gained below it; overlaps are what counts
        cost = np.zeros(size)
        cost[2 * n] = 1.0
        cost[0 : 2 * n : 2] = 1e-3 / n
        cost[1 : 2 * n : 2] = 1e-4 / n
        cost[2 * n + 1 :] = 20.0
        a_eq = b_eq = None
        if equal:
            r = np.repeat(np.arange(len(equal)), 2)
            c = np.array(equal).ravel()
            v = np.tile([1.0, -1.0], len(equal))
            a_eq, b_eq = csr_matrix((v, (r, c)), shape=(len(equal), size)), np.zeros(len(equal))
        solve: Any = linprog
        result = solve(
            cost,
            A_ub=a,
            b_ub=b,
            A_eq=a_eq,
            b_eq=b_eq,
            bounds=np.column_stack([lower, upper]),
            method="highs",
            options={"time_limit": 3.0},
        )
        if result.x is None or result.status not in (0,):
            return None
        moved = state.copy()
        moved.at[placed] += result.x[: 2 * n].reshape(n, 2)
        slack = float(result.x[2 * n + 1 :].max()) if pairs else 0.0
        return moved, slack

    def _groups(
        self, placed: NDArray[np.int64]
    ) -> list[tuple[list[int], bool | None, bool | None]]:
        """Stripe groups as (columns, y frozen?, x frozen?); None where the axis has no repeat."""
        job = self.job
        cloth = job.cloth
        out = []
        for g in {k.group for k in job.kinds if k.group >= 0}:
            members = [
                c for c, i in enumerate(placed) if job.kinds[self.kind_of[i]].group == g
            ]  # fmt: skip
            if not members:
                continue
            names = {k.piece for k in job.kinds if k.group == g}
            pinned = any(p.piece in names for p in job.locked)
            folds = any(job.kinds[self.kind_of[placed[m]]].how == "fold" for m in members)
            out.append(
                (
                    members,
                    (pinned or folds) if cloth.repeat_width_mm else None,
                    pinned if cloth.repeat_length_mm else None,
                )
            )
        return out
