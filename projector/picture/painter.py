"""Frame → pixels, the same for the window and off-screen.

Last before the light: takes lines in projector pixels from `frame` and leaves their exact
coverage on a canvas. Coverage is the line's profile under a tent one pixel to each side: a
tent, unlike a box, keeps the centroid of any line exactly where it was asked, at every place
between the pixels. Light adds by the brightest (or, on a lit ground, the darkest) value, so the
order of painting does not matter and any item can be taken away and put back alone: that is
what makes dragging cheap.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drafting.placement import Array
from projector.picture.contrast import Colour
from projector.picture.marks import Index, spans

if TYPE_CHECKING:
    from projector.picture.frame import FrameItem

Box = tuple[int, int, int, int]  # x0, y0, x1, y1 px, the last ones excluded
_CHUNK = 60_000  # pixel samples worked on at once: the temporaries stay in the cache


@dataclass(frozen=True, eq=False)
class Painted:
    """What an item leaves on the canvas.

    ``index`` (K,) int64 into the flat canvas, some pixels more than once, always with the same
    light; ``light`` (K,) uint32 0x00RRGGBB; ``box``: x0, y0, x1, y1 of the touched pixels, the
    last ones excluded.
    """

    index: Index
    light: NDArray[np.uint32]
    box: Box


EMPTY = Painted(np.zeros(0, np.int64), np.zeros(0, np.uint32), (0, 0, 0, 0))


def _tent(z: NDArray[np.float32]) -> NDArray[np.float32]:
    """Integral of the unit tent up to z, less a half; z (…) px, changed in place."""
    np.minimum(z, 1.0, out=z)
    np.maximum(z, -1.0, out=z)
    square = np.abs(z)
    square *= z
    square *= 0.5
    z -= square
    return z


def _samples(
    segments: Array,
    half: Array,
    reach_on: Array,
    tag: Index,
    size: tuple[int, int],
) -> tuple[Index, NDArray[np.uint16]]:
    """Coverage of capsules, column by column of each one's longer direction.

    ``segments``: (S, 4) x0 y0 x1 y1 px; ``half``: (S,) half widths px; ``reach_on``: (S, 2) px
    by which each end is to be drawn on along its direction (a free end: its round cap); ``tag``:
    (S,) of its ink, below 256. Returns flat pixel index (K,) and its mark (K,): coverage in 255
    steps times 256, and the tag; a pixel may come several times.
    """
    width, height = size
    x0, y0, x1, y1 = segments.T
    steep = np.abs(y1 - y0) > np.abs(x1 - x0)
    u0, v0 = np.where(steep, y0, x0), np.where(steep, x0, y0)
    u1, v1 = np.where(steep, y1, x1), np.where(steep, x1, y1)
    back = u1 < u0
    u0, u1 = np.where(back, u1, u0), np.where(back, u0, u1)
    v0, v1 = np.where(back, v1, v0), np.where(back, v0, v1)
    on0 = np.where(back, reach_on[:, 1], reach_on[:, 0])
    on1 = np.where(back, reach_on[:, 0], reach_on[:, 1])
    length = np.hypot(u1 - u0, v1 - v0)
    dot = length < 1e-9
    safe = np.where(dot, 1.0, length)
    cos, sin = np.where(dot, 1.0, (u1 - u0) / safe), np.where(dot, 0.0, (v1 - v0) / safe)
    lean = np.abs(sin)

    reach = half / cos + 1.0  # across, in pixels of the minor axis
    low_v, high_v = np.minimum(v0, v1) - reach, np.maximum(v0, v1) + reach
    limit_u = np.where(steep, height, width)
    limit_v = np.where(steep, width, height)
    seen = (high_v >= 0) & (low_v <= limit_v - 1.0)
    whole = half + cos  # the round cap, softened
    side = (half + 1.0) * lean
    low = np.maximum(np.ceil(u0 - np.minimum(whole, side + on0 * cos + 1.0)), 0.0)
    high = np.minimum(np.floor(u1 + np.minimum(whole, side + on1 * cos + 1.0)), limit_u - 1.0)
    # between these columns every pixel's foot lies on the segment: no end to think of
    inner = reach * lean * cos
    body0 = np.maximum(np.ceil(u0 + inner), low)
    body1 = np.minimum(np.floor(u1 - inner), high)
    has_body = body1 >= body0
    line = _Lines(segments, steep, u0, v0, length, cos, sin, half, reach, limit_v, tag, size)
    number = np.arange(len(segments))
    with_body, lit = number[seen & has_body], number[seen]
    end0 = np.where(has_body, body0 - 1.0, high)
    parts = (
        line.body(with_body, body0[with_body], body1[with_body]),
        line.ends(
            np.concatenate([lit, with_body]),
            np.concatenate([low[lit], body1[with_body] + 1.0]),
            np.concatenate([end0[lit], high[with_body]]),
        ),
    )
    index, marks = _joined(parts)
    return index, marks


@dataclass(frozen=True, eq=False)
class _Lines:
    """Segments turned so that u is the axis along which they run; see `_samples`."""

    segments: Array
    steep: NDArray[np.bool_]
    u0: Array
    v0: Array
    length: Array
    cos: Array
    sin: Array
    half: Array
    reach: Array
    limit_v: Index
    tag: Index
    size: tuple[int, int]

    def _columns(self, chosen: Index, first: Array, last: Array) -> tuple[Any, ...] | None:
        count = np.maximum(last - first + 1.0, 0.0).astype(np.int64)
        total = int(count.sum())
        if not total:
            return None
        which = np.repeat(chosen, count)
        begin = np.cumsum(count) - count - first.astype(np.int64)
        u = np.arange(total) - np.repeat(begin, count)
        along = u - self.u0[which]
        slope = (self.sin / self.cos)[which]
        stay = np.clip(along, 0.0, (self.length * self.cos)[which])
        centre = self.v0[which] + slope * stay
        base = np.floor(centre - self.reach[which]) + 1.0
        rows = int(np.ceil(2.0 * float(self.reach[chosen].max()))) + 1
        return which, u, along, centre, base, rows

    def body(self, chosen: Index, first: Array, last: Array) -> tuple[Any, ...]:
        """Columns away from the ends: only the distance across counts.

        ``chosen``: (R,) segments; ``first``, ``last``: (R,) their columns.
        """
        made = self._columns(chosen, first, last)
        if made is None:
            return _NOTHING
        which, u, _, centre, base, rows = made
        steps = np.arange(rows, dtype=np.float32)
        dist = (base - centre).astype(np.float32)[:, None] + steps
        np.abs(dist, out=dist)
        h = (self.half / self.cos).astype(np.float32)[which, None]
        if float(h.min()) >= 1.0:  # the far side of the line is a whole pixel away
            value = _tent(np.subtract(h, dist, out=dist))
            value += np.float32(0.5)
        else:
            value = _tent(h + dist)
            value += _tent(np.subtract(h, dist, out=dist))
        return self._kept(which, u, base, rows, value)

    def ends(self, chosen: Index, first: Array, last: Array) -> tuple[Any, ...]:
        """Columns about the ends: the distance to the nearest place of the segment counts."""
        made = self._columns(chosen, first, last)
        if made is None:
            return _NOTHING
        which, u, along, _, base, rows = made
        per = np.column_stack([self.cos, self.sin, self.length, self.half])
        c, s, far, h = (per.astype(np.float32)[which, k, None] for k in range(4))
        across = (base - self.v0[which]).astype(np.float32)[:, None]
        across = across + np.arange(rows, dtype=np.float32)
        a = along.astype(np.float32)[:, None]
        past = a * c + across * s
        on = np.minimum(past, far)
        np.maximum(on, 0.0, out=on)
        past -= on
        across *= c
        across -= a * s
        across *= across
        past *= past
        across += past
        dist = np.sqrt(across, out=across)
        inverse = 1.0 / c
        dist *= inverse
        h = h * inverse
        value = _tent(h + dist)
        value += _tent(np.subtract(h, dist, out=dist))
        return self._kept(which, u, base, rows, value)

    def _kept(
        self,
        which: Index,
        u: Index,
        base: Array,
        rows: int,
        value: NDArray[np.float32],
    ) -> tuple[Any, ...]:
        width = self.size[0]
        start = base.astype(np.int64)
        lies = self.steep[which]
        value *= np.float32(255.0)
        value += np.float32(0.5)
        mark = value.astype(np.uint16)
        keep = mark > 0
        mark <<= 8
        mark |= self.tag[which].astype(np.uint16)[:, None]
        top = self.limit_v[which]
        over = np.flatnonzero((start < 0) | (start + rows > top))
        if over.size:  # only these columns reach past the picture's edge
            v = start[over, None] + np.arange(rows)
            keep[over] &= (v >= 0) & (v < top[over, None])
        flat = np.where(lies, u * width + start, start * width + u)
        at = np.flatnonzero(keep)
        column = at // rows
        at_v = at - column * rows
        return flat[column] + np.where(lies, 1, width)[column] * at_v, mark.reshape(-1)[at]


_NOTHING = (np.zeros(0, np.int64), np.zeros(0, np.uint16))


def _reach_on(segments: Array, half: Array, inks: Index) -> Array:
    """(S, 2) px by which each end must be drawn on: its cap, or the wedge of a joint only."""
    on = np.repeat(half[:, None] + 1.0, 2, axis=1)
    if len(segments) < 2:
        return on
    meet = (segments[1:, :2] == segments[:-1, 2:]).all(axis=1) & (inks[1:] == inks[:-1])
    d = segments[:, 2:] - segments[:, :2]
    length = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)
    cosine = np.einsum("ij,ij->i", d[1:], d[:-1]) / (length[1:] * length[:-1])
    # tan of half the turn; a sharp corner gets its whole round cap
    wedge = np.sqrt(np.clip((1.0 - cosine) / np.maximum(1.0 + cosine, 1e-3), 0.0, 4.0))
    wide = np.maximum(half[1:], half[:-1]) * wedge
    on[:-1, 1] = np.where(meet, wide, on[:-1, 1])
    on[1:, 0] = np.where(meet, wide, on[1:, 0])
    return on


class Painter:
    """A canvas of the projector's size and what is painted on it.

    ``canvas``: (H, W) uint32, 0x00RRGGBB, pixel centres at integers. ``ground``: its colour with
    nothing on it; lines are lighter than a dark ground and darker than a light one.
    """

    def __init__(self, size: tuple[int, int], ground: Colour = (0, 0, 0)) -> None:
        self.size = size
        self.canvas: NDArray[np.uint32] = np.zeros((size[1], size[0]), np.uint32)
        self._cover: NDArray[np.uint16] = np.zeros(size[0] * size[1], np.uint16)
        self._erased: NDArray[np.bool_] = np.zeros(size[0] * size[1], np.bool_)
        self._tables: dict[tuple[Colour, ...], NDArray[np.uint32]] = {}
        self.set_ground(ground)

    def set_ground(self, ground: Colour) -> None:
        """Clear the canvas to a colour."""
        self.ground = ground
        self.ground_word = np.uint32((ground[0] << 16) | (ground[1] << 8) | ground[2])
        self.dark_ink = sum(ground) > 3 * 96
        self._tables.clear()
        self.clear()

    def clear(self) -> None:
        """Nothing but the ground."""
        self.canvas.fill(self.ground_word)

    def paint(self, item: FrameItem) -> Painted:
        """Coverage of an item as pixels with their light; the canvas is not touched."""
        segments, half, ink = item.segments, item.half_px, item.ink
        if not len(segments):
            return EMPTY
        near = _clip_far(segments, *self.size)
        if near is not None:
            segments, half, ink = near[0], half[near[1]], ink[near[1]]
            if not len(segments):
                return EMPTY
        on = _reach_on(segments, half, ink)
        work = np.abs(segments[:, 2:] - segments[:, :2]).max(axis=1) + 2 * half + 3
        group = (np.cumsum(work * (3 * half + 3)) // _CHUNK).astype(np.int64)
        parts = []
        for start, stop in _runs(group):
            made = _samples(
                segments[start:stop], half[start:stop], on[start:stop], ink[start:stop], self.size
            )
            if made[0].size:
                parts.append(made)
        if not parts:
            return EMPTY
        index, mark = parts[0] if len(parts) == 1 else _joined(parts)
        # Where two strokes meet the nearer counts, not the sum of both.
        np.maximum.at(self._cover, index, mark)
        best = self._cover[index]
        self._cover[index] = 0
        return Painted(index, self._levels(item.colours)[best], self._box(segments, half))

    def _box(self, segments: Array, half: Array) -> Box:
        w, h = self.size
        reach = float(half.max()) + 2.0
        low = np.minimum(segments[:, :2], segments[:, 2:]).min(axis=0) - reach
        high = np.maximum(segments[:, :2], segments[:, 2:]).max(axis=0) + reach
        return (
            max(0, int(low[0])),
            max(0, int(low[1])),
            min(w, int(high[0]) + 2),
            min(h, int(high[1]) + 2),
        )

    def _levels(self, colours: tuple[Colour, ...]) -> NDArray[np.uint32]:
        """(65536,) light of each mark: coverage times 256 and the colour's number, over the ground."""
        held = self._tables.get(colours)
        if held is None:
            share = np.arange(256) / 255.0
            rows = np.zeros((256, 256), np.uint32)
            for number, colour in enumerate(colours):
                for shift, ink, ground in zip((16, 8, 0), colour, self.ground, strict=True):
                    level = np.round(ground + share * (ink - ground)).astype(np.uint32)
                    rows[:, number] |= level << np.uint32(shift)
            held = rows.reshape(-1)
            if len(self._tables) > 48:  # faded colours come and go; what is in use comes back
                self._tables.clear()
            self._tables[colours] = held
        return held

    def put(self, painted: Painted, canvas: NDArray[np.uint32] | None = None) -> None:
        """Add an item's light to the canvas (or to another of the same shape)."""
        flat = (self.canvas if canvas is None else canvas).reshape(-1)
        pick = np.minimum if self.dark_ink else np.maximum
        here = flat[painted.index].view(np.uint8)
        pick(here, painted.light.view(np.uint8), out=here)
        flat[painted.index] = here.view(np.uint32)

    @staticmethod
    def carry(painted: Painted, source: NDArray[np.uint32], target: NDArray[np.uint32]) -> None:
        """An item's pixels from one canvas into another of the same shape: what lay under it, put back."""
        index = painted.index
        target.reshape(-1)[index] = source.reshape(-1)[index]

    def erase(self, painted: Painted, others: Iterable[Painted] = ()) -> None:
        """Put the bare ground where an item was, and there what others have at the same pixels."""
        self.canvas.reshape(-1)[painted.index] = self.ground_word
        self._erased[painted.index] = True
        for other in others:
            here = np.flatnonzero(self._erased[other.index])
            if here.size:
                self.put(Painted(other.index[here], other.light[here], other.box))
        self._erased[painted.index] = False

    def fill(self, polygon_px: Array, colour: Colour) -> None:
        """Fill a polygon (N, 2) px, its border not softened (strip and shade, never a cut line)."""
        import cv2

        points = np.round(np.asarray(polygon_px) * 16.0).astype(np.int32)
        word = [int(colour[2]), int(colour[1]), int(colour[0]), 0]
        view = self.canvas.view(np.uint8).reshape(*self.canvas.shape, 4)
        cv2.fillPoly(view, [points], word, lineType=cv2.LINE_8, shift=4)

    def rgb(self) -> NDArray[np.uint8]:
        """(H, W, 3) uint8 RGB copy of the canvas."""
        view = self.canvas.view(np.uint8).reshape(*self.canvas.shape, 4)
        return np.ascontiguousarray(view[:, :, 2::-1])


def packed(rgb: NDArray[np.uint8]) -> NDArray[np.uint32]:
    """(H, W) uint32 0x00RRGGBB of a picture (H, W, 3) uint8 RGB."""
    red, green, blue = np.moveaxis(rgb.astype(np.uint32), 2, 0)
    return np.asarray(red << np.uint32(16) | green << np.uint32(8) | blue)


def _joined(parts: Sequence[tuple[Any, ...]]) -> Any:
    return tuple(np.concatenate(column) for column in zip(*parts, strict=True))


def _runs(group: Index) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(group)) + 1
    return list(zip([0, *edges.tolist()], [*edges.tolist(), len(group)], strict=True))


def _clip_far(segments: Array, width: int, height: int) -> tuple[Array, Index] | None:
    """Cut what lies far outside the picture; None when nothing does.

    Keeps a margin wider than any line, so that no cut end shows.
    """
    margin = 64.0
    low, high = (-margin, -margin), (width + margin, height + margin)
    if np.all((segments >= -margin) & (segments <= np.tile(high, 2))):
        return None
    a, d = segments[:, :2], segments[:, 2:] - segments[:, :2]
    enter, leave = spans(a, d, low, high)
    kept = np.flatnonzero(enter < leave)
    a, d = a[kept], d[kept]
    return np.hstack([a + d * enter[kept, None], a + d * leave[kept, None]]), kept
