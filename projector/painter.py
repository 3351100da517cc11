"""Frame → pixels, the same for the window and off-screen.

Last before the light: takes lines in projector pixels from `frame` and leaves their exact
coverage on a canvas. Coverage is the line's profile under a tent one pixel to each side: a
tent, unlike a box, keeps the centroid of any line exactly where it was asked, at every place
between the pixels. Light adds by the brightest (or, on a lit ground, the darkest) value, so the
order of painting does not matter and any item can be taken away and put back alone: that is
what makes dragging cheap.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from projector.frame import FrameItem
    from projector.view import View

Colour = tuple[int, int, int]
_CHUNK = 60_000  # pixel samples worked on at once: the temporaries stay in the cache


@dataclass(frozen=True, eq=False)
class Painted:
    """What an item leaves on the canvas.

    ``spots``: (index (K,) int64 into the flat canvas, light (K,) uint32 0x00RRGGBB), one pair a
    colour; ``box``: x0, y0, x1, y1 of the touched pixels, the last ones excluded.
    """

    spots: tuple[tuple[NDArray[np.int64], NDArray[np.uint32]], ...]
    box: tuple[int, int, int, int]


EMPTY = Painted((), (0, 0, 0, 0))


def _tent(z: NDArray[np.float32]) -> NDArray[np.float32]:
    """Integral of the unit tent up to z, less a half; z (…) px, changed in place."""
    np.clip(z, -1.0, 1.0, out=z)
    square = np.abs(z)
    square *= z
    square *= 0.5
    z -= square
    return z


def _samples(
    segments: NDArray[np.float64], half: NDArray[np.float64], size: tuple[int, int]
) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """Coverage of capsules: flat pixel index (K,), value (K,) 0…1; a pixel may come twice.

    ``segments``: (S, 4) x0 y0 x1 y1 px; ``half``: (S,) half widths px.
    """
    width, height = size
    x0, y0, x1, y1 = segments.T
    steep = np.abs(y1 - y0) > np.abs(x1 - x0)
    u0, v0 = np.where(steep, y0, x0), np.where(steep, x0, y0)
    u1, v1 = np.where(steep, y1, x1), np.where(steep, x1, y1)
    back = u1 < u0
    u0, u1 = np.where(back, u1, u0), np.where(back, u0, u1)
    v0, v1 = np.where(back, v1, v0), np.where(back, v0, v1)
    length = np.hypot(u1 - u0, v1 - v0)
    dot = length < 1e-9
    safe = np.where(dot, 1.0, length)
    cos, sin = np.where(dot, 1.0, (u1 - u0) / safe), np.where(dot, 0.0, (v1 - v0) / safe)
    limit_u = np.where(steep, height, width)
    limit_v = np.where(steep, width, height)

    first = np.maximum(np.ceil(u0 - half - cos), 0.0)
    last = np.minimum(np.floor(u1 + half + cos), limit_u - 1.0)
    reach = half / cos + 1.0  # across, in pixels of the minor axis
    low_v, high_v = np.minimum(v0, v1) - reach, np.maximum(v0, v1) + reach
    count = np.where((high_v >= 0) & (low_v <= limit_v - 1.0), last - first + 1.0, 0.0)
    count = np.maximum(count, 0.0).astype(np.int64)
    keep = count > 0
    if not np.any(keep):
        return np.zeros(0, np.int64), np.zeros(0, np.float32)
    rows = int(np.ceil(2.0 * float(reach[keep].max()))) + 1

    which = np.repeat(np.arange(len(count)), count)
    u = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + first[which]
    along = u - u0[which]  # of the pixel column, from the first end
    slope = (sin / cos)[which]
    centre = v0[which] + slope * np.clip(along, 0.0, (u1 - u0)[which])
    base = np.floor(centre - reach[which]) + 1.0

    offset = np.arange(rows, dtype=np.float32)
    across = (base - v0[which]).astype(np.float32)[:, None] + offset
    c, s = cos.astype(np.float32)[which, None], sin.astype(np.float32)[which, None]
    a = along.astype(np.float32)[:, None]
    # distance to the segment: across it, and past its ends
    past = a * c + across * s
    past -= np.clip(past, 0.0, length.astype(np.float32)[which, None])
    dist = across * c
    dist -= a * s
    np.abs(dist, out=dist)
    ends = past != 0.0
    dist[ends] = np.hypot(dist[ends], past[ends])
    inverse = 1.0 / c
    dist *= inverse
    h = half.astype(np.float32)[which, None] * inverse
    value = _tent(h + dist)
    value += _tent(h - dist)

    v = (base.astype(np.int64))[:, None] + np.arange(rows)
    inside = (v >= 0) & (v < limit_v[which, None].astype(np.int64)) & (value > 1.0 / 512.0)
    ui = np.broadcast_to(u.astype(np.int64)[:, None], v.shape)
    st = steep[which, None]
    index = np.where(st, ui * width + v, v * width + ui)
    return index[inside], value[inside]


class Painter:
    """A canvas of the projector's size and what is painted on it.

    ``canvas``: (H, W) uint32, 0x00RRGGBB, pixel centres at integers. ``ground``: its colour with
    nothing on it; lines are lighter than a dark ground and darker than a light one.
    """

    def __init__(self, size: tuple[int, int], ground: Colour = (0, 0, 0)) -> None:
        self.size = size
        self.canvas: NDArray[np.uint32] = np.zeros((size[1], size[0]), np.uint32)
        self._cover: NDArray[np.float32] = np.zeros(size[0] * size[1], np.float32)
        self.set_ground(ground)

    def set_ground(self, ground: Colour) -> None:
        """Clear the canvas to a colour."""
        self.ground = ground
        self.ground_word = np.uint32((ground[0] << 16) | (ground[1] << 8) | ground[2])
        self.dark_ink = sum(ground) > 3 * 96
        self.clear()

    def clear(self) -> None:
        """Nothing but the ground."""
        self.canvas.fill(self.ground_word)

    def paint(self, item: FrameItem) -> Painted:
        """Coverage of an item as pixels with their light; the canvas is not touched."""
        spots = []
        boxes = []
        for stroke in item.strokes:
            index, cover = self._coverage(stroke.segments, stroke.half_px)
            if not index.size:
                continue
            spots.append((index, self._light(cover, stroke.colour)))
            reach = stroke.half_px.max() + 2.0
            xs, ys = stroke.segments[:, 0::2], stroke.segments[:, 1::2]
            boxes.append((xs.min() - reach, ys.min() - reach, xs.max() + reach, ys.max() + reach))
        if not spots:
            return EMPTY
        w, h = self.size
        b = np.array(boxes)
        box = (
            max(0, int(b[:, 0].min())),
            max(0, int(b[:, 1].min())),
            min(w, int(b[:, 2].max()) + 2),
            min(h, int(b[:, 3].max()) + 2),
        )
        return Painted(tuple(spots), box)

    def _coverage(
        self, segments: NDArray[np.float64], half: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
        if not len(segments):
            return np.zeros(0, np.int64), np.zeros(0, np.float32)
        w, h = self.size
        near = _clip_far(segments, w, h)
        if near is not None:
            segments, half = near[0], half[near[1]]
        parts: list[tuple[NDArray[np.int64], NDArray[np.float32]]] = []
        work = (np.hypot(*(segments[:, 2:] - segments[:, :2]).T) + 2 * half + 3) * (3 * half + 3)
        group = (np.cumsum(work) // _CHUNK).astype(np.int64)
        for start, stop in _runs(group):
            parts.append(_samples(segments[start:stop], half[start:stop], self.size))
        index = parts[0][0] if len(parts) == 1 else np.concatenate([p[0] for p in parts])
        value = parts[0][1] if len(parts) == 1 else np.concatenate([p[1] for p in parts])
        # Where two strokes of a colour meet the nearer counts, not the sum of both.
        np.maximum.at(self._cover, index, value)
        value = self._cover[index]
        self._cover[index] = 0.0
        return index, value

    def _light(self, cover: NDArray[np.float32], colour: Colour) -> NDArray[np.uint32]:
        out = np.zeros(len(cover), np.uint32)
        for shift, ink, ground in zip((16, 8, 0), colour, self.ground, strict=True):
            level = cover * np.float32(ink - ground)
            level += np.float32(ground + 0.5)
            out |= level.astype(np.uint32) << np.uint32(shift)
        return out

    def put(self, painted: Painted, canvas: NDArray[np.uint32] | None = None) -> None:
        """Add an item's light to the canvas (or to another of the same shape)."""
        flat = (self.canvas if canvas is None else canvas).reshape(-1)
        pick = np.minimum if self.dark_ink else np.maximum
        for index, light in painted.spots:
            here = flat[index].view(np.uint8)
            pick(here, light.view(np.uint8), out=here)
            flat[index] = here.view(np.uint32)

    def restore(self, painted: Painted, source: NDArray[np.uint32]) -> None:
        """Put back what lay under an item, out of another canvas of the same shape."""
        flat, under = self.canvas.reshape(-1), source.reshape(-1)
        for index, _ in painted.spots:
            flat[index] = under[index]

    def fill(self, polygon_px: NDArray[np.float64], colour: Colour) -> None:
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


def _runs(group: NDArray[np.int64]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(group)) + 1
    return list(zip([0, *edges.tolist()], [*edges.tolist(), len(group)], strict=True))


def _clip_far(
    segments: NDArray[np.float64], width: int, height: int
) -> tuple[NDArray[np.float64], NDArray[np.int64]] | None:
    """Cut what lies far outside the picture (Liang and Barsky); None when nothing does.

    Keeps a margin wider than any line, so that no cut end shows.
    """
    margin = 64.0
    low = np.array([-margin, -margin])
    high = np.array([width + margin, height + margin])
    a, b = segments[:, :2], segments[:, 2:]
    if np.all((segments >= -margin) & (segments <= np.tile(high, 2))):
        return None
    d = b - a
    enter, leave = np.zeros(len(a)), np.ones(len(a))
    with np.errstate(divide="ignore", invalid="ignore"):
        for axis in (0, 1):
            t0, t1 = (low[axis] - a[:, axis]) / d[:, axis], (high[axis] - a[:, axis]) / d[:, axis]
            flat = d[:, axis] == 0.0
            outside = (a[:, axis] < low[axis]) | (a[:, axis] > high[axis])
            enter = np.where(
                flat, np.where(outside, 2.0, enter), np.maximum(enter, np.minimum(t0, t1))
            )
            leave = np.where(flat, leave, np.minimum(leave, np.maximum(t0, t1)))
    kept = np.flatnonzero(enter < leave)
    a, d = a[kept], d[kept]
    return np.hstack([a + d * enter[kept, None], a + d * leave[kept, None]]), kept


def render(
    docket: Docket,
    calibration: Calibration,
    *,
    mode: str = "arrange",
    view: View | None = None,
    **options: Any,
) -> NDArray[np.uint8]:
    """What the projector shows for a docket: (H, W, 3) uint8 RGB, the size of the calibration.

    Args:
        docket: with its lay; pieces put aside are not shown.
        calibration: table mm to projector px.
        mode: ``arrange`` (all pieces alike) or ``trace`` (the current piece bright).
        view: how the cloth lies on the table; None for the docket's own, or centred in the beam.
        options: further ones of `projector.scene.build` (``lines``, ``ink``, ``strip`` …).

    Raises:
        drafting.InputError, DraftError: the docket has faults or no lay.
    """
    from projector.scene import INKS, build, ink_of

    scene = build(docket, calibration, mode=mode, view=view, **options)
    lens = scene.stage.lens  # at the height of the cloth, where that is known
    painter = Painter(calibration.size, INKS[ink_of(docket, options.get("ink"))].ground)
    for item in scene.items:
        painter.put(painter.paint(lens.frame(item)))
    return painter.rgb()


def png(picture: NDArray[np.uint8]) -> bytes:
    """A (H, W, 3) uint8 RGB picture as a PNG file's bytes (lossless, so lines stay where they are)."""
    import cv2

    done, data = cv2.imencode(".png", np.ascontiguousarray(picture[:, :, ::-1]))
    if not done:
        raise OSError("the picture could not be written as PNG")
    return bytes(data.tobytes())
