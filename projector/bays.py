"""Bays: a lay longer or wider than the beam, cut into overlapping parts that are traced in turn.

Between the lay and the table. The largest upright rectangle of the beam is the window; it is set
along the cloth so that small pieces lie whole in one bay, and crosses are put into the overlaps,
to be chalked in one bay and pointed at in the next (`baywalk` takes those steps). Pure geometry
in cloth mm; the only thing asked of a calibration is where the beam lies.

A piece that lies whole in a bay is traced there alone. What is larger than the beam is traced
cell by cell: the cells share the cloth out without gap, so no line is traced twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from configs.errors import Fault, InputError
from configs.units import length_text
from drafting.cloth import Cloth
from drafting.placement import carry
from projector.frame import Seen
from projector.view import View

if TYPE_CHECKING:
    from shapely import STRtree

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Box = tuple[float, float, float, float]  # x0, y0, x1, y1

MARGIN_MM = 20.0  # a cloth laid down by hand may be 10 mm and 1° off and its bay is still lit
_TIGHTER = (1.0, 0.6, 0.35)  # of the margin: taken where that saves a bay
OVERLAP_MM = 120.0
CROSS_ARM_MM = 12.0
LEAST_CROSSES, MOST_CROSSES = 2, 4
LEAST_WINDOW_MM = 150.0
_LEAST_ARM_MM = 5.0
_CLEAR_MM = 1.0  # between the tip of a cross and the nearest line
_ON_PIECE_PRICE, _SHORT_ARM_PRICE, _OLD_PRICE = 0.25, 0.1, -0.02  # against a variance of about 0.5
_FROM_EDGE_MM = CROSS_ARM_MM + 6.0  # of a cross from the rim of both bays and of the cloth
_APART_MM = 60.0  # two crosses closer than this might be taken for one another
_PITCH_MM = 12.0
_SMALL_SHARE = 0.6  # of the window: up to this a piece is not cut when that can be avoided
_BAY_COST = 1.0
_SMALL_CUT_COST = 100.0
_LARGE_CUT_COST = 0.6  # two large pieces saved from a cut are worth one more move of the cloth
_EVEN_COST = 0.02
_EASE_MM = 35.0  # of a bay's lines from the window's rim, where there is room for it
_LABELS = "ABCDEFGHJKLMNPRSTUVWXYZ"  # no I, O, Q: they read as 1 and 0 in chalk


@dataclass(frozen=True, eq=False)
class Laid:
    """One copy of a piece as it lies: ``key`` (``front/1``), ``outline_mm`` (N, 2) its closed
    cutting line, ``lines_mm`` every line to be traced, the cutting line among them; cloth mm."""

    key: str
    outline_mm: Array
    lines_mm: tuple[Array, ...] = ()

    @property
    def box(self) -> Box:
        """x0, y0, x1, y1 of all its lines."""
        points = np.vstack([self.outline_mm, *self.lines_mm])
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)

    def runs(self) -> list[Array]:
        """Its lines as open runs, the outline closed by repeating its first point."""
        return [np.vstack([self.outline_mm, self.outline_mm[:1]]), *self.lines_mm]


@dataclass(frozen=True)
class Cross:
    """A cross to chalk: ``label``, ``at`` (x, y) cloth mm, half length ``arm_mm`` of its strokes;
    ``on_piece``: it lies on a piece."""

    label: str
    at: tuple[float, float]
    on_piece: bool = False
    arm_mm: float = CROSS_ARM_MM


@dataclass(frozen=True)
class Bay:
    """One part of the lay.

    ``index``: its place in the order, from 0; ``rect``: what the beam covers, cloth mm; ``whole``:
    pieces traced here entirely; ``parts``: pieces traced here inside a box only (cloth mm, open
    sides infinite); ``crosses``: labels pointed at on arrival.
    """

    index: int
    rect: Box
    whole: tuple[str, ...] = ()
    parts: Mapping[str, Box] = field(default_factory=dict)
    crosses: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every piece traced here, whole ones first."""
        return (*self.whole, *self.parts)


@dataclass(frozen=True)
class Window:
    """The rectangle of the beam that a bay may fill, upright to the cloth.

    ``turn_deg``, ``mirror``: how the cloth lies (as in `View`); ``low``, ``high``: its corners in
    the table frame turned back by ``turn_deg``, mm; ``side``: where she stands.
    """

    turn_deg: float
    mirror: bool
    low: tuple[float, float]
    high: tuple[float, float]
    side: str = "near"

    @property
    def size(self) -> tuple[float, float]:
        """Length along the cloth and breadth across it, mm."""
        return self.high[0] - self.low[0], self.high[1] - self.low[1]

    def view(self, rect: Box) -> View:
        """The view that puts the middle of ``rect`` (cloth mm) into the middle of the window."""
        plain = View(self.turn_deg, (0.0, 0.0), self.mirror, self.side)
        a = plain.table_from_cloth[:2, :2]
        turn = View(self.turn_deg).table_from_cloth[:2, :2]
        middle = turn @ (0.5 * (np.array(self.low) + np.array(self.high)))
        at = middle - a @ np.array([0.5 * (rect[0] + rect[2]), 0.5 * (rect[1] + rect[3])])
        return plain.replace(at=(float(at[0]), float(at[1])))


@dataclass(frozen=True)
class BayPlan:
    """The bays in the order of the work, their crosses, and how the cloth lies under the beam.

    ``cut``: pieces that no bay holds whole; ``notes``: what could not be done as it should.
    """

    bays: tuple[Bay, ...]
    crosses: Mapping[str, Cross]
    window: Window
    cut: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.bays)

    def view(self, index: int) -> View:
        """How the cloth is meant to lie for this bay, before she has pointed."""
        return self.window.view(self.bays[index].rect)

    def to_chalk(self, index: int) -> tuple[Cross, ...]:
        """Crosses first seen in this bay and wanted later, in the order of their labels."""
        seen = self.bays[:index]
        return tuple(
            c
            for c in self.crosses.values()
            if inside(c.at, self.bays[index].rect, _FROM_EDGE_MM - 0.2)
            and not any(inside(c.at, b.rect, _FROM_EDGE_MM - 0.2) for b in seen)
        )

    def to_point(self, index: int) -> tuple[Cross, ...]:
        """Crosses she points at when this bay has come under the beam."""
        return tuple(self.crosses[label] for label in self.bays[index].crosses)

    def bay_of(self, key: str) -> tuple[int, ...]:
        """Indices of the bays in which a piece is traced."""
        return tuple(b.index for b in self.bays if key in b.keys)


# -- the beam --------------------------------------------------------------------------------------


def beam_quad(calibration: Seen, margin_mm: float = MARGIN_MM) -> tuple[Array, Array]:
    """The beam on the table as four half planes ``normals @ p <= reach``, margin taken off.

    Straight sides inside a rim that the lens may have bowed; (4, 2) outward normals of unit
    length and (4,) mm, in the order left, top, right, bottom of the picture.

    Raises:
        InputError: the picture's rim does not all meet the table.
    """
    w, h = calibration.size
    t = np.linspace(0.0, 1.0, 25)[:, None]
    corner = np.array([[-0.5, h - 0.5], [-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5]])
    middle = calibration.to_table(np.array([[(w - 1) / 2.0, (h - 1) / 2.0]]))[0]
    normals, reach = np.empty((4, 2)), np.empty(4)
    for i in range(4):
        side = calibration.to_table(corner[i] * (1 - t) + corner[(i + 1) % 4] * t)
        if not np.all(np.isfinite(side)):
            raise InputError(
                Fault(
                    "calibration", "part of the picture never meets the table.", "Calibrate again."
                )
            )
        d = side[-1] - side[0]
        n = np.array([d[1], -d[0]]) / np.hypot(*d)
        if float(n @ (side[0] - middle)) < 0:
            n = -n
        normals[i], reach[i] = n, float((side @ n).min()) - margin_mm
    return normals, reach


def window_for(
    calibration: Seen,
    view: View,
    extent_mm: tuple[float, float],
    *,
    margin_mm: float = MARGIN_MM,
    strip_mm: float = 0.0,
    overlap_mm: float = OVERLAP_MM,
) -> Window:
    """The rectangle of the beam that takes the lay in the fewest bays; the largest of those.

    Args:
        view: how the cloth lies: its turn, mirror and side count.
        extent_mm: length and breadth of the lay.
        strip_mm: breadth of the strip along her edge, kept free.

    Raises:
        InputError: the beam leaves no rectangle of `LEAST_WINDOW_MM`.
    """
    normals, reach = beam_quad(calibration, margin_mm)
    if strip_mm:
        up = math.radians(view.up_deg)
        hers = int(np.argmin(normals @ np.array([-math.sin(up), math.cos(up)])))
        reach = reach.copy()
        reach[hers] -= strip_mm
    turn = View(view.turn_deg).table_from_cloth[:2, :2]
    n = normals @ turn  # the same sides seen in axes along the cloth
    corners = _corners(n, reach)
    if corners is None:
        raise _no_room(0.0)
    ys = np.linspace(corners[:, 1].min(), corners[:, 1].max(), 161)
    left, right = _chords(n, reach, ys)
    x0 = np.maximum(left[:, None], left[None])
    x1 = np.minimum(right[:, None], right[None])
    width, depth = x1 - x0, ys[None] - ys[:, None]
    good = (width >= LEAST_WINDOW_MM) & (depth >= LEAST_WINDOW_MM)
    if not good.any():
        raise _no_room(float(np.minimum(width, depth).max()))
    count = _least_count(width, extent_mm[0], overlap_mm) * _least_count(
        depth, extent_mm[1], overlap_mm
    )
    count = np.where(good, count, np.inf)
    area = np.where(count == count.min(), width * depth, -1.0)
    i, j = np.unravel_index(int(np.argmax(area)), area.shape)
    return Window(
        view.turn_deg,
        view.mirror,
        (float(x0[i, j]), float(ys[i])),
        (float(x1[i, j]), float(ys[j])),
        view.side,
    )


def _no_room(mm: float) -> InputError:
    return InputError(
        Fault(
            "calibration",
            f"the beam leaves only {length_text(round(max(mm, 0.0)))} for a bay; "
            f"{length_text(LEAST_WINDOW_MM)} is the least.",
            "Raise the projector, or turn the cloth along the beam.",
        )
    )


def _least_count(size: Array, extent: float, overlap_mm: float) -> Array:
    step = np.maximum(size - _overlap(size, overlap_mm), 1.0)
    return np.where(size >= extent, 1.0, np.ceil((extent - size) / step - 1e-9) + 1.0)


def _overlap(size: Any, overlap_mm: float) -> Any:
    """Overlap of two bays in one direction, mm: never more than a third of the window."""
    return np.minimum(overlap_mm, np.asarray(size) / 3.0)


def _corners(normals: Array, reach: Array) -> Array | None:
    """(4, 2) corners of the four half planes taken in turn; None when they leave nothing."""
    out = np.empty((4, 2))
    for i in range(4):
        pair = np.stack([normals[i], normals[(i + 1) % 4]])
        if abs(np.linalg.det(pair)) < 1e-9:
            return None
        out[i] = np.linalg.solve(pair, reach[[i, (i + 1) % 4]])
    return out if np.all(normals @ out.T <= reach[:, None] + 1e-6) else None


def _chords(normals: Array, reach: Array, ys: Array) -> tuple[Array, Array]:
    """Left and right end of the half planes' common part at each y; crossed when empty."""
    left, right = np.full(len(ys), -1e9), np.full(len(ys), 1e9)
    for (nx, ny), d in zip(normals, reach, strict=True):
        room = d - ny * ys
        if abs(nx) < 1e-9:
            right = np.where(room < -1e-9, -1e9, right)
        elif nx > 0:
            right = np.minimum(right, room / nx)
        else:
            left = np.maximum(left, room / nx)
    return left, right


# -- the plan --------------------------------------------------------------------------------------


def plan_bays(
    pieces: Sequence[Laid],
    calibration: Seen,
    view: View,
    cloth: Cloth | None = None,
    *,
    margin_mm: float = MARGIN_MM,
    overlap_mm: float = OVERLAP_MM,
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
        margin_mm: taken off all round the beam, for a cloth not laid down exactly.
        overlap_mm: at least this much of two neighbouring bays is common (a third of a small
            window at most).
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
        raise InputError(Fault("lay", "no piece lies on the cloth.", "Plan or place the pieces."))
    boxes = np.array([p.box for p in pieces])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    extent = (float(high[0] - low[0]), float(high[1] - low[1]))
    tries: list[tuple[float, _Layout, Window]] = []
    for less, share in enumerate(_TIGHTER):
        window = window_for(
            calibration,
            view,
            extent,
            margin_mm=margin_mm * share,
            strip_mm=strip_mm,
            overlap_mm=overlap_mm,
        )
        size = np.array(window.size)
        overlap = np.asarray(_overlap(size, overlap_mm), dtype=np.float64)
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
    home: NDArray[np.int64]
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
                bits = [b for line in r for b in clip(line, _band(edge, v))]
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


def _home(low: Array, high: Array, starts: Sequence[float], size: float) -> NDArray[np.int64]:
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


def _band(edge: tuple[float, float], axis: int) -> Box:
    if axis == 0:
        return edge[0], -math.inf, edge[1], math.inf
    return -math.inf, edge[0], math.inf, edge[1]


def _box(u0: float, v0: float, u1: float, v1: float, axis: int) -> Box:
    values = (u0, v0, u1, v1) if axis == 0 else (v0, u0, v1, u1)
    return (float(values[0]), float(values[1]), float(values[2]), float(values[3]))


def _shared(order: Sequence[_Slot], slot: _Slot) -> float:
    """Area that a bay has in common with those before it (counted once each), mm²."""
    return max(
        (
            max(0.0, min(o.rect[2], slot.rect[2]) - max(o.rect[0], slot.rect[0]))
            * max(0.0, min(o.rect[3], slot.rect[3]) - max(o.rect[1], slot.rect[1]))
            for o in order
        ),
        default=0.0,
    )


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
    cut: list[str] = []
    divided: list[Array] = []
    for piece, box, lane in zip(pieces, boxes, layout.home.tolist(), strict=True):
        home = next((i for i, s in enumerate(slots) if _holds(s.rect, box)), None)
        if home is not None:
            whole[home].append(piece.key)
            continue
        cut.append(piece.key)
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
        raise InputError(Fault("bays", f"it takes {len(used)} bays, not fewer than {fewer_than}."))
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
            picked = _crosses(
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
    return BayPlan(tuple(bays), crosses, window, tuple(cut), tuple(notes))


def _content(pieces: Sequence[Laid], whole: Sequence[str], parts: Mapping[str, Box]) -> Box | None:
    """x0, y0, x1, y1 of what is traced in a bay; None for nothing."""
    points = [line for p in pieces if p.key in whole for line in p.runs()]
    points += [b for p in pieces if p.key in parts for r in p.runs() for b in clip(r, parts[p.key])]
    if not points:
        return None
    every = np.vstack(points)
    (x0, y0), (x1, y1) = every.min(axis=0), every.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


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
    def common(r: Box, axis: int) -> float:
        return min(r[axis + 2], other[axis + 2]) - max(r[axis], other[axis])

    if min(common(before, 0), common(before, 1)) <= 0:
        return True
    return all(common(after, k) >= min(common(before, k), OVERLAP_MM) - 1e-6 for k in (0, 1))


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
    for other in earlier:
        w = min(other.rect[2], slot.rect[2]) - max(other.rect[0], slot.rect[0])
        h = min(other.rect[3], slot.rect[3]) - max(other.rect[1], slot.rect[1])
        if min(w, h) > 2 * _FROM_EDGE_MM and max(w, h) > 2 * _FROM_EDGE_MM + _APART_MM:
            return True
    return False


def _holds(rect: Box, box: ArrayLike) -> bool:
    x0, y0, x1, y1 = np.asarray(box, dtype=np.float64).tolist()
    e = 1e-6
    return bool(rect[0] - e <= x0 and rect[1] - e <= y0 and x1 <= rect[2] + e and y1 <= rect[3] + e)


# -- the crosses -----------------------------------------------------------------------------------


def _crosses(
    rect: Box,
    shares: Sequence[Box],
    earlier: Sequence[Box],
    lines: STRtree | None,
    outlines: Sequence[Array],
    divided: Sequence[Array],
    cloth: Cloth | None,
    known: Mapping[str, Cross],
) -> list[Cross]:
    """Up to four crosses that say best how this bay lies to the earlier ones."""
    spots = _grid(rect, earlier)
    spots = spots[_on_cloth(spots, cloth)] if len(spots) else spots
    old = [c for c in known.values() if inside(c.at, rect, _FROM_EDGE_MM - 0.2)]
    gap = gap_to(spots, lines, CROSS_ARM_MM + _CLEAR_MM)  # more room than that is no better
    free = gap >= _LEAST_ARM_MM + _CLEAR_MM
    spots, gap = spots[free], gap[free]
    on_piece = within(spots, outlines)
    arm = np.minimum(CROSS_ARM_MM, gap - _CLEAR_MM)
    price = _ON_PIECE_PRICE * on_piece + _SHORT_ARM_PRICE * (arm < CROSS_ARM_MM)
    pool = np.vstack([np.array([c.at for c in old]).reshape(-1, 2), spots])
    price = np.concatenate([np.full(len(old), _OLD_PRICE), price])
    pick = _spread(pool, price, _targets(rect, shares, divided)) if len(pool) else []
    if len(pick) < LEAST_CROSSES:
        raise InputError(
            Fault(
                "bays",
                "no two crosses find room in the overlap of two bays.",
                "Move a piece that fills the cloth there, or raise the projector.",
            )
        )
    out = []
    for i in pick:
        if i < len(old):
            out.append(old[i])
            continue
        k = i - len(old)
        label = _label(len(known) + sum(c.label not in known for c in out))
        at = (float(spots[k, 0]), float(spots[k, 1]))
        out.append(Cross(label, at, bool(on_piece[k]), round(float(arm[k]), 1)))
    return out


def _label(n: int) -> str:
    turn, letter = divmod(n, len(_LABELS))
    return _LABELS[letter] + (str(turn + 1) if turn else "")


def _grid(rect: Box, earlier: Sequence[Box]) -> Array:
    """(N, 2) places inside the bay and inside an earlier one, away from both rims."""
    e = _FROM_EDGE_MM
    found = []
    for other in earlier:
        x0, x1 = max(rect[0], other[0]) + e, min(rect[2], other[2]) - e
        y0, y1 = max(rect[1], other[1]) + e, min(rect[3], other[3]) - e
        if x0 > x1 or y0 > y1:
            continue
        xs = np.linspace(x0, x1, max(1, math.ceil((x1 - x0) / _PITCH_MM) + 1))
        ys = np.linspace(y0, y1, max(1, math.ceil((y1 - y0) / _PITCH_MM) + 1))
        gx, gy = np.meshgrid(xs, ys)
        found.append(np.column_stack([gx.ravel(), gy.ravel()]))
    if not found:
        return np.zeros((0, 2))
    return np.unique(np.round(np.vstack(found), 1), axis=0)


def _targets(rect: Box, shares: Sequence[Box], divided: Sequence[Array]) -> Array:
    """(T, 2) where lines are handed over to this bay, and its middle for the pieces in it."""
    found = []
    rims = {(axis, s[axis + k]) for s in shares for axis in (0, 1) for k in (0, 2)}
    for axis, level in sorted(rims):
        if not math.isfinite(level):
            continue
        for line in divided:
            p, q = line[:-1], line[1:]
            hit = (p[:, axis] <= level) != (q[:, axis] <= level)
            if hit.any():
                t = (level - p[hit, axis]) / (q[hit, axis] - p[hit, axis])
                at = p[hit] + (q[hit] - p[hit]) * t[:, None]
                found += [c for c in at.tolist() if inside(c, rect)]
    middle = [0.5 * (rect[0] + rect[2]), 0.5 * (rect[1] + rect[3])]
    return np.array(found + [middle] * max(1, len(found) // 2))


def _spread(pool: Array, price: Array, targets: Array) -> list[int]:
    """Indices of the crosses that make the error at the targets least.

    The variance of a rigid fit at a place is proportional to 1/n + d²/(2 Q) (see
    `align.Registration.expected_error_mm`); chosen greedily, then exchanged one by one.
    """
    if len(pool) > 1200:
        keep = np.linspace(0, len(pool) - 1, 1200).astype(int)
        pool, price = pool[keep], price[keep]
    else:
        keep = np.arange(len(pool))
    middle = targets.mean(axis=0)
    own = float(np.mean(np.sum((targets - middle) ** 2, axis=1)))

    def worth(others: list[int]) -> Array:
        """(N,) cost of the set ``others`` with each candidate added; infinite if too close."""
        base = pool[others]
        n = len(others) + 1
        c = (base.sum(axis=0) + pool) / n
        q = np.sum(base**2) + np.sum(pool**2, axis=1) - n * np.sum(c**2, axis=1)
        d2 = np.sum((c - middle) ** 2, axis=1) + own
        cost = (
            1.0 / n + d2 / (2.0 * np.maximum(q, 1e-6)) + price / n + float(price[others].sum()) / n
        )
        for i in others:
            cost = np.where(np.hypot(*(pool - pool[i]).T) < _APART_MM, np.inf, cost)
        return np.asarray(cost)

    far = np.argmax(np.hypot(*(pool - pool.mean(axis=0)).T))
    pick = [int(far)]
    while len(pick) < MOST_CROSSES:
        cost = worth(pick)
        best = int(np.argmin(cost))
        if not math.isfinite(cost[best]):
            break
        pick.append(best)
    for _ in range(6):
        before = list(pick)
        for k in range(len(pick)):
            others = pick[:k] + pick[k + 1 :]
            if others:
                cost = worth(others)
                pick[k] = int(np.argmin(cost))
        if pick == before:
            break
    return [int(keep[i]) for i in sorted(pick, key=lambda i: (pool[i, 0], pool[i, 1]))]


def _on_cloth(points: Array, cloth: Cloth | None) -> Mask:
    """(N,) on the cloth and away from its rim; everywhere when its size is not known."""
    if cloth is None:
        return np.ones(len(points), dtype=bool)
    outline = cloth.lie_outline_mm
    if outline is None:
        width = cloth.width_mm / (2.0 if cloth.fold == "lengthwise" else 1.0)
        e = _FROM_EDGE_MM
        good = points[:, 0] >= e
        return np.asarray(
            good if not width else good & (points[:, 1] >= e) & (points[:, 1] <= width - e)
        )
    rings = [np.asarray(r, dtype=np.float64) for r in (outline, *cloth.holes)]
    if len(rings) == 1 and cloth.outline is None:  # a plain length of cloth: no geometry needed
        low, high = rings[0].min(axis=0) + _FROM_EDGE_MM, rings[0].max(axis=0) - _FROM_EDGE_MM
        return np.asarray(((points >= low) & (points <= high)).all(axis=1))
    ok = within(points, rings[:1])
    for hole in rings[1:]:
        ok &= ~within(points, [hole])
    closed = [np.vstack([r, r[:1]]) for r in rings]
    return np.asarray(ok & (distance_to(points, closed) >= _FROM_EDGE_MM))


# -- plane geometry --------------------------------------------------------------------------------


def inside(at: tuple[float, float] | Sequence[float], box: Box, by: float = 0.0) -> bool:
    """Whether a place lies in a box, at least ``by`` mm from its rim."""
    return bool(box[0] + by <= at[0] <= box[2] - by and box[1] + by <= at[1] <= box[3] - by)


def within(points: Array, rings: Iterable[Array]) -> Mask:
    """(N,) whether each point (N, 2) lies in any of the closed rings."""
    import shapely

    out = np.zeros(len(points), dtype=bool)
    shapes = [shapely.Polygon(r) for r in rings]
    if len(points) and shapes:
        hit = shapely.STRtree(shapes).query(shapely.points(points), predicate="within")
        out[hit[0]] = True
    return out


def distance_to(points: Array, lines: Iterable[Array]) -> Array:
    """(N,) distance of points (N, 2) from the nearest of the open lines; infinite with none."""
    return gap_to(points, tree_of(lines))


def tree_of(lines: Iterable[Array]) -> STRtree | None:
    """Open lines (N, 2) made ready for many questions of `gap_to`; None without any."""
    import shapely

    pairs = [np.stack([line[:-1], line[1:]], axis=1) for line in lines if len(line) > 1]
    return shapely.STRtree(shapely.linestrings(np.concatenate(pairs))) if pairs else None


def gap_to(points: Array, lines: STRtree | None, most_mm: float | None = None) -> Array:
    """(N,) distance of points (N, 2) from the nearest line; infinite past ``most_mm`` or with none."""
    import shapely

    out = np.full(len(points), np.inf)
    if not len(points) or lines is None:
        return out
    found, gap = lines.query_nearest(
        shapely.points(points), max_distance=most_mm, return_distance=True, all_matches=False
    )
    out[found[0]] = gap
    return out


def clip(line: Array, box: Box) -> list[Array]:
    """The stretches of an open line (N, 2) inside a box, each (M, 2); cut at its rim exactly."""
    p, d = line[:-1], line[1:] - line[:-1]
    enter, leave = np.zeros(len(p)), np.ones(len(p))
    with np.errstate(divide="ignore", invalid="ignore"):
        for axis in (0, 1):
            lo, hi = box[axis], box[axis + 2]
            t0, t1 = (lo - p[:, axis]) / d[:, axis], (hi - p[:, axis]) / d[:, axis]
            flat = d[:, axis] == 0.0
            # a run along the rim belongs to the box above it, not to both
            out = (p[:, axis] < lo) | (p[:, axis] >= hi)
            enter = np.where(flat, np.where(out, 2.0, enter), np.maximum(enter, np.minimum(t0, t1)))
            leave = np.where(flat, leave, np.minimum(leave, np.maximum(t0, t1)))
    runs: list[list[Array]] = []
    joined = False
    for i in np.flatnonzero(enter < leave - 1e-12).tolist():
        a = line[i] + d[i] * enter[i]
        b = line[i + 1] if leave[i] >= 1.0 else line[i] + d[i] * leave[i]
        if joined and enter[i] <= 0.0 and runs and np.array_equal(runs[-1][-1], line[i]):
            runs[-1].append(b)
        else:
            runs.append([a, b])
        joined = leave[i] >= 1.0
    return [np.array(r) for r in runs]


def lines_here(
    plan: BayPlan, index: int, piece: Laid
) -> tuple[list[Array], list[Array], list[Array]]:
    """A piece's lines in a bay: to trace now, not now, and the ticks where the bay hands over.

    Each (M, 2) cloth mm. A piece that is traced whole elsewhere is all "not now".
    """
    bay = plan.bays[index]
    runs = piece.runs()
    if piece.key in bay.whole:
        return runs, [], []
    if piece.key not in bay.parts:
        return [], runs, []
    share = bay.parts[piece.key]
    now = [b for line in runs for b in clip(line, share)]
    later: list[Array] = []
    for other in plan.bays:
        if other.index != index and piece.key in other.parts:
            later += [b for line in runs for b in clip(line, other.parts[piece.key])]
    ends = []
    for b in now:
        ends += [(b[0], b[1] - b[0]), (b[-1], b[-1] - b[-2])]
    ticks = []
    for at, d in ends:
        on_rim = any(
            math.isfinite(level) and abs(at[axis] - level) < 1e-6
            for axis, level in (
                (0, share[0]),
                (0, share[2]),
                (1, share[1]),
                (1, share[3]),
            )
        )
        length = float(np.hypot(*d))
        if on_rim and length > 0:
            n = np.array([-d[1], d[0]]) / length * 6.0
            ticks.append(np.array([at - n, at + n]))
    return now, later, ticks


def cross_lines(at: tuple[float, float], arm_mm: float = CROSS_ARM_MM) -> list[Array]:
    """The two strokes of a cross, each (2, 2) mm."""
    x, y = at
    return [
        np.array([[x - arm_mm, y], [x + arm_mm, y]]),
        np.array([[x, y - arm_mm], [x, y + arm_mm]]),
    ]


def fits(plan: BayPlan, pieces: Sequence[Laid], chalked: Iterable[str] = ()) -> bool:
    """Whether a plan still holds for the lay: each piece inside the bays it was given to.

    And no cross that is still to be ``chalked`` has come to lie on a line.
    """
    ahead = np.array([c.at for c in plan.crosses.values() if c.label not in set(chalked)])
    lines = [line for p in pieces for line in p.runs()]
    if float(distance_to(ahead.reshape(-1, 2), lines).min(initial=np.inf)) < _LEAST_ARM_MM:
        return False
    if {p.key for p in pieces} != {k for b in plan.bays for k in b.keys}:
        return False
    for p in pieces:
        length = 0.0
        for i in plan.bay_of(p.key):
            now = lines_here(plan, i, p)[0]
            rect = plan.bays[i].rect
            if any(not _holds(rect, (*b.min(axis=0), *b.max(axis=0))) for b in now):
                return False
            length += sum(_length(b) for b in now)
        if length < sum(_length(b) for b in p.runs()) - 0.5:
            return False
    return True


def _length(line: Array) -> float:
    d = np.diff(line, axis=0)
    return float(np.hypot(d[:, 0], d[:, 1]).sum())


def too_long(pieces: Sequence[Laid], calibration: Seen, view: View, margin_mm: float = 5.0) -> bool:
    """Whether any line of the lay falls outside the beam as the cloth lies now."""
    normals, reach = beam_quad(calibration, margin_mm)
    a = view.table_from_cloth
    for p in pieces:
        table = carry(a, p.outline_mm)
        if np.any(table @ normals.T > reach):
            return True
    return False


def out_of_beam(
    plan: BayPlan,
    index: int,
    pieces: Sequence[Laid],
    calibration: Seen,
    view: View,
    margin_mm: float = 3.0,
) -> tuple[float, float]:
    """How far (x, y) the cloth must be moved on the table so that this bay's lines are all lit.

    (0, 0) when they are; table mm.
    """
    normals, reach = beam_quad(calibration, margin_mm)
    a = view.table_from_cloth
    move = np.zeros(2)
    mine = [p for p in pieces if p.key in plan.bays[index].keys]
    points = [line for p in mine for line in lines_here(plan, index, p)[0]]
    if not points:
        return 0.0, 0.0
    table = carry(a, np.vstack(points))
    over = np.maximum((table @ normals.T - reach).max(axis=0), 0.0)
    move -= over @ normals
    return float(move[0]), float(move[1])
