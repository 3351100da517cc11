"""The plan of bays: as few as hold the lay, small pieces whole, crosses where they meet."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from configs.errors import InputError
from drafting.cloth import Cloth
from drafting.outline import polyline_length
from drafting.placement import Array
from projector.picture.frame import Seen
from projector.picture.marks import Index, box_of
from projector.picture.view import View
from projector.tools.bays.crosses import APART_MM, LEAST_ARM_MM, placed_crosses
from projector.tools.bays.model import (
    FROM_EDGE_MM,
    MARGIN_MM,
    OVERLAP_MM,
    Bay,
    BayPlan,
    Box,
    Cross,
    Laid,
    Window,
    common_mm,
    inside,
)
from projector.tools.bays.plane import clip, gap_to, lines_here, tree_of
from projector.tools.bays.window import TIGHTER, least_overlap, window_for

_SMALL_SHARE = 0.6  # of the window: up to this a piece is not cut when that can be avoided
_BAY_COST = 1.0
_SMALL_CUT_COST = 100.0
_LARGE_CUT_COST = 0.6  # two large pieces saved from a cut are worth one more move of the cloth
_EVEN_COST = 0.02
_EASE_MM = 35.0  # of a bay's lines from the window's rim, where there is room for it


def plan_bays(
    pieces: Sequence[Laid],
    calibration: Seen,
    view: View,
    cloth: Cloth | None = None,
    *,
    strip_mm: float = 0.0,
    chalked: Sequence[Cross] = (),
    words: Sequence[Array] = (),
    fewer_than: int | None = None,
) -> BayPlan:
    """Cut the lay into bays.

    Args:
        pieces: everything that is to be traced, cloth mm.
        calibration: where the beam lies on the table.
        view: how the cloth lies now; only its turn, mirror and side are used.
        cloth: for where a cross may be chalked; None: anywhere.
        strip_mm: kept free along her edge.
        chalked: crosses that are on the cloth already; used again where they lie well.
        words: lines (N, 2) cloth mm of the pieces' labels, that no new cross may touch.
        fewer_than: a plan of so many bays or more is not wanted: refused before its crosses are
            looked for, which takes most of the time.

    Raises:
        InputError: nothing to trace, a beam too small, no two crosses fit into an overlap, or not
            fewer bays than asked for.
    """
    if not pieces:
        raise InputError.of("lay", "no piece lies on the cloth.", "Plan or place the pieces.")
    boxes = np.array([p.box for p in pieces])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    extent = (float(high[0] - low[0]), float(high[1] - low[1]))
    tries: list[tuple[float, _Layout, Window]] = []
    for less, share in enumerate(TIGHTER):
        window = window_for(
            calibration, view, extent, margin_mm=MARGIN_MM * share, strip_mm=strip_mm
        )
        size = np.array(window.size)
        overlap = least_overlap(size)
        for axis in (0, 1):
            layout = _layout(pieces, boxes, size, overlap, axis)
            tries.append((layout.cost + 0.3 * less, layout, window))
        if len(tries[-1][1].slots) == 1:
            break
    _, layout, window = min(tries, key=lambda t: round(t[0], 9))
    return _filled(pieces, boxes, layout, window, cloth, chalked, words, fewer_than)


@dataclass(frozen=True)
class _Slot:
    """A bay before its pieces: ``lane``, and its share of the lane and of all the cloth."""

    rect: Box
    lane: int
    share: Box
    cell: Box


@dataclass(frozen=True)
class _Layout:
    """Bays in the order of the work; ``home``: (P,) the lane each piece lies in whole, or −1."""

    slots: list[_Slot]
    home: Index
    cost: float


def _layout(
    pieces: Sequence[Laid], boxes: Array, size: Array, overlap: Array, axis: int
) -> _Layout:
    """Bays in lanes that run along ``axis`` (0: x), there and back; and their cost.

    Works in (u, v): u along the lanes, v across them.
    """
    u, v = axis, 1 - axis
    lo_u, hi_u, lo_v, hi_v = boxes[:, u], boxes[:, 2 + u], boxes[:, v], boxes[:, 2 + v]
    lanes, cost = _positions(lo_v, hi_v, float(size[v]), float(overlap[v]))
    home = _home(lo_v, hi_v, lanes, float(size[v]))
    runs = [p.runs() for p in pieces]
    split = [r for r, h in zip(runs, home, strict=True) if h < 0]
    seams = _seams(lanes, float(size[v]), [line for r in split for line in r], v)
    slots: list[list[_Slot]] = []
    spans: list[tuple[float, float]] = []
    for k in range(len(lanes)):
        edge = (seams[k], seams[k + 1])
        here = np.flatnonzero(home == k)
        lows, highs = list(lo_u[here]), list(hi_u[here])
        cut_here: list[Array] = []
        for r, h in zip(runs, home, strict=True):
            if h < 0:
                bits = [
                    b
                    for line in r
                    for b in clip(line, _box(edge[0], -math.inf, edge[1], math.inf, v))
                ]
                cut_here += bits
                lows += [float(b[:, u].min()) for b in bits]
                highs += [float(b[:, u].max()) for b in bits]
        if not lows:  # nothing here: one bay, so that the chain of crosses goes on
            lows = highs = [0.5 * (spans[-1][0] + spans[-1][1])]
        lo, hi = min(lows), max(highs)
        if spans:  # reach far enough to share a good piece of the lane before
            need = min(float(size[u]), spans[-1][1] - spans[-1][0]) * 0.5
            lo, hi = min(lo, spans[-1][1] - need), max(hi, spans[-1][0] + need)
        spans.append((lo, hi))
        lo_k, hi_k = np.append(lo_u[here], [lo]), np.append(hi_u[here], [lo])
        stops, price = _positions(
            lo_k, np.maximum(hi_k, lo_k), float(size[u]), float(overlap[u]), hi
        )
        cost += price
        inner = _home(lo_u[here], hi_u[here], stops, float(size[u]))
        cut_here += [line for i, h in zip(here, inner, strict=True) if h < 0 for line in runs[i]]
        marks = _seams(stops, float(size[u]), cut_here, u)
        lane = [
            _Slot(
                _box(s, lanes[k], s + size[u], lanes[k] + size[v], axis),
                k,
                _box(marks[i], -math.inf, marks[i + 1], math.inf, axis),
                _box(marks[i], edge[0], marks[i + 1], edge[1], axis),
            )
            for i, s in enumerate(stops)
        ]
        slots.append(lane)
    order: list[_Slot] = []
    for lane in slots:
        if order and lane and _shared(order, lane[-1]) > _shared(order, lane[0]):
            lane = lane[::-1]
        order += lane
    return _Layout(order, home, cost)


def _positions(
    low: Array, high: Array, size: float, overlap: float, reach: float | None = None
) -> tuple[list[float], float]:
    """Where windows of ``size`` begin so that they cover all, cut little and are few.

    A window at t holds [a, b] when b − size <= t <= a; a piece is cut when that interval falls
    between two neighbouring windows. The cost of a row of windows is therefore a sum over
    neighbours, and the least is found exactly over the candidates (dynamic programming).

    Args:
        low, high: (P,) ends of the pieces; ``reach``: cover at least up to here.
    """
    lo, hi = float(low.min()), float(high.max())
    hi = max(hi, reach) if reach is not None else hi
    if hi - lo <= size + 1e-9:
        return [0.5 * (lo + hi - size)], _BAY_COST
    last = hi - size
    a, b = high - size, low  # feasible window starts of each piece
    fits = a <= b
    spots = np.concatenate([[lo, last], np.arange(lo, last, 10.0), a[fits], b[fits]])
    spots = np.unique(np.round(spots[(spots >= lo) & (spots <= last)], 6))
    spots[0], spots[-1] = lo, last
    extent = high - low
    weight = np.where(extent <= _SMALL_SHARE * size, _SMALL_CUT_COST, _LARGE_CUT_COST)[fits]
    passed = (spots[:, None] < a[fits] - 1e-6).astype(float)
    ahead = (spots[:, None] > b[fits] + 1e-6).astype(float)
    step = spots[None] - spots[:, None]
    cost = (passed * weight) @ ahead.T + _BAY_COST + _EVEN_COST * (step / size) ** 2
    cost[(step <= 1e-6) | (step > size - overlap + 1e-6)] = np.inf
    best = np.full(len(spots), np.inf)
    best[0] = _BAY_COST
    came = np.zeros(len(spots), dtype=np.int64)
    for j in range(1, len(spots)):
        total = best[:j] + cost[:j, j]
        came[j] = int(np.argmin(total))
        best[j] = float(total[came[j]])
    path = [len(spots) - 1]
    while path[-1] != 0:
        path.append(int(came[path[-1]]))
    return [float(spots[i]) for i in reversed(path)], float(best[-1])


def _home(low: Array, high: Array, starts: Sequence[float], size: float) -> Index:
    """(P,) the first window that holds each piece whole, or −1."""
    t = np.asarray(starts)
    holds = (t[None] <= low[:, None] + 1e-6) & (t[None] + size >= high[:, None] - 1e-6)
    return np.where(holds.any(axis=1), holds.argmax(axis=1), -1)


def _seams(starts: Sequence[float], size: float, lines: Sequence[Array], axis: int) -> list[float]:
    """Where one window hands over to the next: len + 1 coordinates, the outer ones infinite.

    Inside each overlap, where the fewest lines are crossed, and those most nearly square: a step
    shows least where a line runs straight across.
    """
    out = [-math.inf]
    for t, after in pairwise(starts):
        a, b = after, t + size
        inset = 0.25 * (b - a)
        spots = np.linspace(a + inset, b - inset, 25)
        price = np.zeros(len(spots))
        for line in lines:
            p, q = line[:-1], line[1:]
            d = q - p
            length = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)
            crossed = (p[:, axis] <= spots[:, None]) != (q[:, axis] <= spots[:, None])
            price += (crossed * np.minimum(length / np.maximum(np.abs(d[:, axis]), 1e-9), 8.0)).sum(
                1
            )
        # its neighbours count too, to keep off corners; then the middle is best
        price = np.convolve(np.pad(price, 1, mode="edge"), [0.5, 1.0, 0.5], mode="valid")
        price += 1e-3 * np.abs(spots - 0.5 * (a + b)) / max(b - a, 1.0)
        out.append(float(spots[int(np.argmin(price))]))
    return [*out, math.inf]


def _box(u0: float, v0: float, u1: float, v1: float, axis: int) -> Box:
    values = (u0, v0, u1, v1) if axis == 0 else (v0, u0, v1, u1)
    return (float(values[0]), float(values[1]), float(values[2]), float(values[3]))


def _shared(order: Sequence[_Slot], slot: _Slot) -> float:
    """Area that a bay has in common with those before it (counted once each), mm²."""
    shared = (common_mm(o.rect, slot.rect) for o in order)
    return max((max(0.0, w) * max(0.0, h) for w, h in shared), default=0.0)


def _filled(
    pieces: Sequence[Laid],
    boxes: Array,
    layout: _Layout,
    window: Window,
    cloth: Cloth | None,
    chalked: Sequence[Cross],
    words: Sequence[Array],
    fewer_than: int | None = None,
) -> BayPlan:
    """Share the pieces out over the bays and put the crosses into the overlaps."""
    slots = layout.slots
    whole: list[list[str]] = [[] for _ in slots]
    parts: list[dict[str, Box]] = [{} for _ in slots]
    divided: list[Array] = []
    for piece, box, lane in zip(pieces, boxes, layout.home.tolist(), strict=True):
        home = next((i for i, s in enumerate(slots) if _holds(s.rect, box)), None)
        if home is not None:
            whole[home].append(piece.key)
            continue
        divided += piece.runs()
        for i, slot in enumerate(slots):
            # in one lane it is shared out along the lane only; else over all the cloth
            if lane >= 0 and lane != slot.lane:
                continue
            share = slot.share if lane >= 0 else slot.cell
            if any(clip(line, share) for line in piece.runs()):
                parts[i][piece.key] = share
    used = _linked(slots, [bool(whole[i] or parts[i]) for i in range(len(slots))])
    if fewer_than is not None and len(used) >= fewer_than:
        raise InputError.of("bays", f"it takes {len(used)} bays, not fewer than {fewer_than}.")
    rects = _eased(
        [slots[i].rect for i in used], [_content(pieces, whole[i], parts[i]) for i in used]
    )
    everything = tree_of([*(line for p in pieces for line in p.runs()), *words])
    outlines = [p.outline_mm for p in pieces]
    crosses = {c.label: c for c in chalked}
    bays: list[Bay] = []
    notes: list[str] = []
    for n, i in enumerate(used):
        rect = rects[n]
        labels: tuple[str, ...] = ()
        if n:
            shares = list(parts[i].values())
            picked = placed_crosses(
                rect, shares, rects[:n], everything, outlines, divided, cloth, crosses
            )
            labels = tuple(c.label for c in picked)
            for c in picked:
                crosses.setdefault(c.label, c)
            on_piece = [c.label for c in picked if c.on_piece]
            if on_piece:
                lie = "lies" if len(on_piece) == 1 else "lie"
                notes.append(f"{' '.join(on_piece)} {lie} on a piece: use chalk that brushes out")
        bays.append(Bay(n, rect, tuple(whole[i]), parts[i], labels))
    return BayPlan(tuple(bays), crosses, window, tuple(notes))


def _content(pieces: Sequence[Laid], whole: Sequence[str], parts: Mapping[str, Box]) -> Box | None:
    """x0, y0, x1, y1 of what is traced in a bay; None for nothing."""
    points = [line for p in pieces if p.key in whole for line in p.runs()]
    points += [b for p in pieces if p.key in parts for r in p.runs() for b in clip(r, parts[p.key])]
    return box_of(np.vstack(points)) if points else None


def _eased(rects: Sequence[Box], contents: Sequence[Box | None]) -> list[Box]:
    """Bays moved so that their lines keep away from the window's rim where that costs nothing.

    What two bays have in common is not made smaller than `OVERLAP_MM`, nor than it was.
    """
    out = list(rects)
    for n, content in enumerate(contents):
        if content is None:
            continue
        for axis in (0, 1):
            low = content[axis] - out[n][axis]
            high = out[n][axis + 2] - content[axis + 2]
            want = min(_EASE_MM, 0.5 * (low + high))
            shift = low - want if low < want else want - high if high < want else 0.0
            for part in (1.0, 0.5, 0.25):
                moved = list(out[n])
                moved[axis] += part * shift
                moved[axis + 2] += part * shift
                box: Box = (moved[0], moved[1], moved[2], moved[3])
                others = [r for m, r in enumerate(out) if m != n]
                if all(_still_common(out[n], box, r) for r in others):
                    out[n] = box
                    break
    return out


def _still_common(before: Box, after: Box, other: Box) -> bool:
    was, now = common_mm(before, other), common_mm(after, other)
    return min(was) <= 0 or all(
        a >= min(b, OVERLAP_MM) - 1e-6 for a, b in zip(now, was, strict=True)
    )


def _linked(slots: Sequence[_Slot], busy: Sequence[bool]) -> list[int]:
    """The bays with work in them, and empty ones where the chain of crosses would break."""
    kept = list(range(len(slots)))
    for i in [i for i, b in enumerate(busy) if not b]:
        rest = [k for k in kept if k != i]
        if all(_touch([slots[k] for k in rest[:n]], slots[rest[n]]) for n in range(1, len(rest))):
            kept = rest
    return kept


def _touch(earlier: Sequence[_Slot], slot: _Slot) -> bool:
    """Whether two crosses can stand in what the bay has in common with an earlier one."""
    shared = (common_mm(other.rect, slot.rect) for other in earlier)
    return any(min(s) > 2 * FROM_EDGE_MM and max(s) > 2 * FROM_EDGE_MM + APART_MM for s in shared)


def _holds(rect: Box, box: Sequence[float] | Array) -> bool:
    return inside(box[:2], rect, -1e-6) and inside(box[2:], rect, -1e-6)


def fits(plan: BayPlan, pieces: Sequence[Laid], chalked: Iterable[str] = ()) -> bool:
    """Whether a plan still holds for the lay: each piece inside the bays it was given to.

    And no cross that is still to be ``chalked`` has come to lie on a line.
    """
    ahead = np.array([c.at for c in plan.crosses.values() if c.label not in set(chalked)])
    lines = tree_of(line for p in pieces for line in p.runs())
    if float(gap_to(ahead.reshape(-1, 2), lines).min(initial=np.inf)) < LEAST_ARM_MM:
        return False
    if {p.key for p in pieces} != {k for b in plan.bays for k in b.keys}:
        return False
    for p in pieces:
        length = 0.0
        for i in plan.bay_of(p.key):
            now = lines_here(plan, i, p)[0]
            rect = plan.bays[i].rect
            if any(not _holds(rect, box_of(b)) for b in now):
                return False
            length += sum(polyline_length(b) for b in now)
        if length < sum(polyline_length(b) for b in p.runs()) - 0.5:
            return False
    return True
