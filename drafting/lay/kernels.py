"""The inner loops of the beam search over the front (`front`), compiled by numba.

Plain loops over float32 arrays, one line of the cloth after the other: written with numpy they take
three times as long and more, and the lay gets better with every plan that is looked at. A planner imports
them only where `compiled` says that the machine has them ready, so nobody waits for a compiler.

Frame: lines run across the cloth at even pitch, x along it in mm from the front's start. Rows are
places across: a coarse row is a line, a fine one a part of it (`SUB` to a line). Arrays of shapes
(S of them, at most M lines each) are rectangles filled up with `FAR`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np

SUB = 8
FAR = np.float32(1e7)
_NOT = np.float32(1e6)  # more than this is FAR or came of it
_JUMP_MM = np.float32(
    8.0
)  # a piece falls so much further a row on: here it leans against a neighbour
_SAME_MM = np.float32(1.0)
_OVERLAP_COST = np.float32(2.0)  # of overlap, in areas of cloth wasted
_OFF = np.float32(1e-2)

F = TypeVar("F", bound=Callable[..., Any])


def _fast(function: F) -> F:
    return cast(F, numba.njit(cache=True, fastmath=True, nogil=True)(function))


@_fast
def _pushed(front: Any, hull: Any, m: int, rows: int, x: Any) -> None:
    """x (rows,) of a shape pushed against the front from the right at each coarse row."""
    for r in range(rows):
        x[r] = 0.0
    j = 0
    while j + 4 <= m:  # four lines at a time: x stays in the processor meanwhile
        a, b, c, d = hull[j], hull[j + 1], hull[j + 2], hull[j + 3]
        for r in range(rows):
            one = max(front[r + j] - a, front[r + j + 1] - b)
            two = max(front[r + j + 2] - c, front[r + j + 3] - d)
            x[r] = max(x[r], max(one, two))
        j += 4
    while j < m:
        a = hull[j]
        for r in range(rows):
            x[r] = max(x[r], front[r + j] - a)
        j += 1


@_fast
def _covered(x: Any, ends: Any, m: int, rows: int, near: Any) -> None:
    """near (L,) least x at which each line is covered, with a shape at x (rows,) taken in.

    ``x`` has room for four more at its end.
    """
    for r in range(rows, rows + 4):
        x[r] = FAR
    j = 0
    while j + 4 <= m:
        a, b, c, d = ends[j], ends[j + 1], ends[j + 2], ends[j + 3]
        near[j] = min(near[j], x[0] + a)
        near[j + 1] = min(near[j + 1], min(x[1] + a, x[0] + b))
        near[j + 2] = min(near[j + 2], min(x[2] + a, min(x[1] + b, x[0] + c)))
        for r in range(rows):
            one = min(x[r + 3] + a, x[r + 2] + b)
            two = min(x[r + 1] + c, x[r] + d)
            near[r + j + 3] = min(near[r + j + 3], min(one, two))
        j += 4
    while j < m:
        a = ends[j]
        for r in range(rows):
            near[r + j] = min(near[r + j], x[r] + a)
        j += 1


@_fast
def _moved(x: Any, bars: Any, match: Any, want: Any, repeat: float) -> Any:
    """x moved on past obstacles and to the next stripe; FAR where it never comes to rest.

    ``bars``: (O, 2 or more) x from, to; ``want``: phase of the stripe, or −1.
    """
    for _ in range(2 + 2 * len(bars)):
        before = x
        for o in range(len(bars)):
            if x > bars[o, 0] + _OFF and x < bars[o, 1] - _OFF:
                x = bars[o, 1]
        if want >= 0.0:
            off = (want - x - match) % repeat
            if off < repeat - 1e-3:
                x += off
        if x <= before + 1e-3:
            return x
    return FAR


@_fast
def _free(x: float, spans: Any, j: int) -> float:
    """Free cloth on line j up to x: x less what obstacles take before it."""
    out = x
    for o in range(len(spans)):
        b, e = spans[o, 0, j], spans[o, 1, j]
        if b < x:
            out -= min(x, e) - b
    return out


@_fast
def _closed(
    f: Any, left: Any, phase: Any,
    kind: Any, lines: Any, rows: Any, ends: Any, hull: Any, group: Any, match: Any,
    bars: Any, spans: Any, repeat: float, near: Any, x: Any,
) -> Any:  # fmt: skip
    """Take what no piece that is left can reach off the room, in place; answer how much that is.

    Each shape is pushed against the front ``f`` (L,) at each coarse row; a line is taken as far as
    the first of them covers it: exact but for the pitch of the rows. ``near``, ``x``: room to work.
    """
    near[:] = FAR
    for t in range(len(kind)):
        if left[kind[t]] <= 0:
            continue
        m, places = lines[t], rows[t]
        want = phase[group[t]] if group[t] >= 0 else np.float32(-1.0)
        _pushed(f, hull[t], m, places, x)
        if bars.shape[1] > 0 or want >= 0.0:
            for p in range(places):
                x[p] = _moved(x[p], bars[t, :, p], match[t], want, repeat)
        _covered(x, ends[t], m, places, near)
    # what no piece can reach is lost as far as the plan goes by now. Not as far as the cloth goes:
    # that much is left over in the end anyway, and plans that know it early would seem worse
    end = max(f.max(), near.min())
    lost = np.float32(0.0)
    for j in range(len(f)):
        near[j] = min(near[j], end)
        if near[j] > f[j]:
            lost += _free(near[j], spans, j) - _free(f[j], spans, j)
            f[j] = near[j]
    return lost


@_fast
def begin(
    f: Any, left: Any, phase: Any,
    kind: Any, lines: Any, rows: Any, ends: Any, hull: Any, group: Any, match: Any,
    bars: Any, spans: Any, repeat: float,
) -> Any:  # fmt: skip
    """The same for the front (L,) that nothing is laid against yet."""
    near = np.empty(len(f), np.float32)
    x = np.empty(len(f) + 4, np.float32)
    return _closed(
        f, left, phase, kind, lines, rows, ends, hull, group, match, bars, spans, repeat, near, x
    )


@_fast
def children(
    front: Any, left: Any, waste: Any, laid: Any, phase: Any,
    kind: Any, lines: Any, rows: Any, hull: Any, sums: Any, reach: Any, area: Any,
    group: Any, match: Any, bars: Any, spans: Any,
    repeat: float, ahead: float, limit: float, budget: float, thrift: float,
    out: Any, score: Any,
) -> int:  # fmt: skip
    """Places worth a closer look, of each plan and each shape: how many were found.

    ``front``: (N, L); ``left``: (N, kinds) pieces left; ``phase``: (N, groups) or −1. Filled:
    ``out`` (Q, 3) plan, shape, coarse row and ``score`` (Q,). Ends early when they are full.
    """
    plans, count = front.shape
    found = 0
    x = np.empty(count + 2, np.float32)
    gap = np.empty(count + 2, np.float32)
    upto = np.empty(count + 1, np.float64)
    for q in range(plans):
        f = front[q]
        upto[0] = 0.0
        low = f[0]
        for j in range(count):
            upto[j + 1] = upto[j] + _free(f[j], spans, j)
            low = min(low, f[j])
        for s in range(len(kind)):
            if left[q, kind[s]] <= 0:
                continue
            m, places = lines[s], rows[s]
            want = phase[q, group[s]] if group[s] >= 0 else np.float32(-1.0)
            _pushed(f, hull[s], m, places, x[1:])
            for r in range(places):
                gap[r + 1] = 0.0
            if bars.shape[1] > 0 or want >= 0.0:
                for r in range(places):
                    at = _moved(x[r + 1], bars[s, :, r], match[s], want, repeat)
                    x[r + 1] = at
                    for o in range(bars.shape[1]):
                        if at >= bars[s, o, r, 1] - _OFF:
                            gap[r + 1] -= bars[s, o, r, 2]
            for r in range(places):
                gap[r + 1] += m * x[r + 1] + sums[s] - np.float32(upto[r + m] - upto[r])
                gap[r + 1] = max(gap[r + 1], np.float32(0.0))
            x[0] = gap[0] = x[places + 1] = gap[places + 1] = FAR
            for r in range(1, places + 1):
                if x[r] > low + ahead or x[r] + reach[s] > limit + 1.0:
                    continue
                g = gap[r]
                valley = g <= gap[r - 1] and g <= gap[r + 1]
                valley = valley and (g < gap[r - 1] - 1.0 or g < gap[r + 1] - 1.0)
                leaning = x[r - 1] > x[r] + _JUMP_MM or x[r + 1] > x[r] + _JUMP_MM
                if (valley or leaning) and waste[q] + g <= budget:
                    if found == len(out):
                        return found
                    out[found, 0], out[found, 1], out[found, 2] = q, s, r - 1
                    score[found] = waste[q] + g - thrift * (laid[q] + area[s])
                    found += 1
    return found


@_fast
def rest(
    front: Any, phase: Any, chosen: Any,
    highest: Any, tight: Any, group: Any, match: Any, bars: Any, repeat: float,
    out: Any, place: Any,
) -> int:  # fmt: skip
    """Fine rows near the chosen coarse ones: the lowest and the highest with the least x.

    ``chosen``: (Q, 3) plan, shape, coarse row; ``tight``: (S, SUB, M) left ends. Filled: ``out``
    (2Q, 3) plan, shape, fine row and ``place`` (2Q,) x. Answers how many.
    """
    count = front.shape[1]
    found = 0
    x = np.empty(2 * SUB + 1, np.float32)
    for i in range(len(chosen)):
        q, s = chosen[i, 0], chosen[i, 1]
        f = front[q]
        want = phase[q, group[s]] if group[s] >= 0 else np.float32(-1.0)
        first = max(0, min((chosen[i, 2] - 1) * SUB, highest[s]))
        last = min((chosen[i, 2] + 1) * SUB, highest[s])
        least = FAR
        for y in range(first, last + 1):
            r, o = y // SUB, y % SUB
            at = np.float32(0.0)
            for j in range(min(tight.shape[2], count - r)):
                at = max(at, f[r + j] - tight[s, o, j])
            x[y - first] = _moved(at, bars[s, :, y], match[s], want, repeat)
            least = min(least, x[y - first])
        if least > _NOT:
            continue
        low = high = -1
        for y in range(first, last + 1):
            if x[y - first] <= least + _SAME_MM:
                if low < 0:
                    low = y
                high = y
        for y in (low, high):
            if y == low or high > low:
                out[found, 0], out[found, 1], out[found, 2] = q, s, y
                place[found] = x[y - first]
                found += 1
            if high == low:
                break
    return found


@_fast
def lay(
    front: Any, left: Any, waste: Any, laid: Any, phase: Any, chosen: Any, place: Any,
    kind: Any, lines: Any, rows: Any, ends: Any, hull: Any, reach: Any, area: Any,
    from_: Any, to: Any, group: Any, match: Any, bars: Any, spans: Any,
    repeat: float, limit: float, budget: float, more: Any, most: float, last: bool,
    fronts: Any, lefts: Any, wastes: Any, laids: Any, phases: Any,
) -> None:  # fmt: skip
    """The chosen pieces laid, and what no piece that is left can reach taken off the room.

    ``chosen``: (Q, 3) plan, shape, fine row at x ``place``; ``from_``, ``to``: (S, SUB, M) ends on
    each line. Fills the last five, as the first five but one for each chosen. Waste is FAR where the
    piece ends past ``limit``, where it is over ``budget``, and where it is over ``most`` with what
    ``more`` (Q,) puts on it: those are not looked at any further.
    """
    count = front.shape[1]
    near = np.empty(count, np.float32)
    x = np.empty(count + 4, np.float32)
    for i in range(len(chosen)):
        q, s, y = chosen[i, 0], chosen[i, 1], chosen[i, 2]
        r, o = y // SUB, y % SUB
        at = place[i]
        f = fronts[i]
        gap = np.float32(0.0)
        f[:] = front[q]
        for j in range(min(from_.shape[2], count - r)):
            begin = from_[s, o, j]
            if begin < _NOT:
                now = f[r + j]
                if at + begin > now:
                    gap += _free(at + begin, spans, r + j) - _free(now, spans, r + j)
                else:
                    gap += _OVERLAP_COST * (now - at - begin)
                f[r + j] = max(now, at + to[s, o, j])
        lefts[i] = left[q]
        lefts[i, kind[s]] -= 1
        laids[i] = laid[q] + area[s]
        phases[i] = phase[q]
        if group[s] >= 0 and phases[i, group[s]] < 0.0:
            phases[i, group[s]] = (at + match[s]) % repeat
        wastes[i] = waste[q] + gap
        if at + reach[s] > limit + 1.0:
            wastes[i] = FAR
        if last:
            continue
        if wastes[i] > budget or wastes[i] + more[i] > most:
            wastes[i] = FAR
            continue
        wastes[i] += _closed(
            f, lefts[i], phases[i], kind, lines, rows, ends, hull, group, match, bars, spans,
            repeat, near, x,
        )  # fmt: skip


@_fast
def barred(
    begins: Any, stops: Any, tight: Any, tight_to: Any, from_: Any, rows: int, out: Any, taken: Any
) -> None:
    """x that an obstacle forbids a shape at each fine row, and the cloth it takes on those lines.

    ``begins``, ``stops``: (L,) the obstacle on each line (FAR where it is not); ``tight``,
    ``tight_to``: (SUB, M) ends of the shape with the overlap that is let pass, ``from_`` without.
    Filled: ``out`` (rows, 2) x from, to; ``taken`` (rows,) cloth, mm of line.
    """
    count = len(begins)
    for y in range(rows):
        r, o = y // SUB, y % SUB
        low, high, cloth = FAR, -FAR, np.float32(0.0)
        for j in range(min(tight.shape[1], count - r)):
            if begins[r + j] > _NOT:
                continue
            if tight[o, j] < _NOT:
                low = min(low, begins[r + j] - tight_to[o, j])
                high = max(high, stops[r + j] - tight[o, j])
            if from_[o, j] < _NOT:
                cloth += stops[r + j] - begins[r + j]
        out[y, 0], out[y, 1], taken[y] = low, high, cloth
