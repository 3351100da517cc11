"""The table itself: light thrown and seen, sheet by sheet.

Left out, and small: shadows of raised sheets, light that bounces between sheets, depth of field.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from calibrate.arrays import Array, Image, Mask, Plane
from calibrate.plane import grid, signed_area
from calibrate.simulate.camera import Radiance, VirtualCamera
from calibrate.simulate.images import (
    blurred,
    nodes_of,
    pixel_share,
    sampled,
    spline,
    spread_between,
)
from calibrate.simulate.projector import HALF_X, HALF_Y, VirtualProjector
from calibrate.simulate.sheets import Sheet
from calibrate.simulate.surfaces import TILE_MM, TILE_PX_PER_MM, tile_of

_LIGHT_SAMPLES = 2  # samples of the light image per projector pixel, each way
_PAD_PX = 8  # dark rim of the light image, so that the beam's edge fades as it should
PREFILTER = 0.45  # sigma of the filter before sampling, in steps of the sampling grid
_PROJECTOR_WHITE = np.array([0.98, 1.0, 1.04])
_ROOM_WHITE = np.array(
    [1.05, 0.97, 0.84]
)  # a lamp is warmer than the beam; the camera sits between
FAR_PX = 1.0e4
_FPS = 29.97  # of a camera's frames


@dataclass(frozen=True)
class VirtualTable:
    """A table with a projector over it and sheets on it.

    ``surface``: one of `SURFACES`; ``ambient``: room light over the beam's white; ``slope``: how
    much the room light differs from one end of the table to the other; ``glare``: mirror-like
    share of the surface's reflection of the lens; ``glare_mm``: its radius.
    """

    projector: VirtualProjector
    surface: str = "light table"
    sheets: tuple[Sheet, ...] = ()
    ambient: float = 0.15
    slope: float = 0.2
    glare: float = 0.0
    glare_mm: float = 60.0

    @classmethod
    def random(
        cls,
        seed: int,
        size: tuple[int, int] = (1920, 1080),
        *,
        surface: str = "light table",
        sheets: Sequence[Sheet] = (),
        ambient: float | None = None,
        glare: float = 0.0,
        rest: bool = False,
        **options: Any,
    ) -> VirtualTable:
        """A rig as they stand in homes: beam 0.7 to 1.6 m wide, keystone to 15°, k1 to ±1 %.

        ``rest``: its lens also has what lenses have besides: k3 up to 0.28 px at the corners of
        1920 × 1080, a fourth-order prism of 0.05 px (one sigma), and k4 up to 0.11 px, which the
        solver does not know, so that it is not measured against its own model.
        ``options`` go to `VirtualProjector.above` in place of what was drawn.
        """
        rng = np.random.default_rng([seed, 5])
        tilt, toward = float(rng.uniform(0, 15)), float(rng.uniform(0, 2 * math.pi))
        drawn: dict[str, Any] = {
            "beam_width_mm": float(rng.uniform(700, 1600)),
            "throw": float(rng.uniform(1.1, 1.6)),
            "tilt_deg": (tilt * math.cos(toward), tilt * math.sin(toward)),
            "turn_deg": float(rng.normal(0, 2)),
            "shift": (float(rng.normal(0, 0.02)), float(rng.normal(0, 0.05))),
            "k1": float(rng.uniform(-0.01, 0.01)),
            "k2": float(rng.normal(0, 0.0008)),
            "tangential": (float(rng.normal(0, 1e-4)), float(rng.normal(0, 1e-4))),
            "middle_mm": (float(rng.normal(0, 40)), float(rng.normal(0, 40))),
            "defocus_px": float(rng.uniform(0.35, 0.6)),
            "gamma": float(rng.uniform(1.9, 2.5)),
        }
        if rest:
            lens = np.random.default_rng([seed, 6])  # its own, so that all else is drawn as ever
            drawn["k3"] = float(lens.uniform(-2.5e-4, 2.5e-4))
            drawn["prism"] = (float(lens.normal(0, 5e-5)), float(lens.normal(0, 5e-5)))
            drawn["k4"] = float(lens.uniform(-1e-4, 1e-4))
        room = float(rng.uniform(0.05, 0.25))
        projector = VirtualProjector.above(size, **(drawn | options))
        return cls(
            projector,
            surface,
            tuple(sheets),
            room if ambient is None else ambient,
            float(rng.uniform(0, 0.4)),
            glare,
        )

    def with_sheets(self, sheets: Sequence[Sheet]) -> VirtualTable:
        """The same table with these sheets on it, later ones on top."""
        return replace(self, sheets=tuple(sheets))

    def beam_mm(self, per_side: int = 1) -> Array:
        """Outline of the beam on the table (4·per_side, 2), mm."""
        return self.projector.beam_mm(per_side)

    def radiance(self, frame: Image, camera: VirtualCamera) -> Radiance:
        """Linear light on the camera's sensor, before noise and tone curve."""
        n = camera.samples
        w, h = camera.size[0] * n, camera.size[1] * n
        nodes_x, nodes_y = nodes_of(w), nodes_of(h)
        # sample k of a pixel that is cut in n lies at (k + 0.5) / n − 0.5 from its centre
        px = (grid(nodes_x, nodes_y) + 0.5) / n - 0.5
        rays = camera.rays(px)
        rays[:, 2] = np.minimum(rays[:, 2], -1e-3)  # a ray above the horizon lands very far away
        origin = np.array(camera.position_mm)
        step = self._step_mm(camera) / n
        beam, room = self._paint(
            frame, origin, rays, (nodes_x, nodes_y), (w, h), step, self._mirror_mm(camera)
        )
        sigma = camera.blur_px * n
        # what the prefilter and the box of a pixel have done already
        sigma = math.sqrt(max(sigma**2 - PREFILTER**2 - (n * n - 1) / 12, 0.09))
        r = ((px - np.array(camera.centre_px)) / (0.5 * math.hypot(*camera.size))) ** 2
        r2 = r.sum(axis=1)
        lit = (1 - camera.vignetting * r2) / (
            1 + r2 * (0.5 * math.hypot(*camera.size) / camera.focal_px) ** 2
        ) ** 2
        shade = spread_between(
            lit.reshape(len(nodes_y), -1), nodes_x, nodes_y, np.arange(w), np.arange(h)
        )
        out = []
        for part in (beam, room):
            part *= shade[..., None]
            part = np.asarray(cv2.GaussianBlur(part, (0, 0), sigma), np.float32)
            if n > 1:
                part = np.asarray(
                    cv2.resize(part, camera.size, interpolation=cv2.INTER_AREA), np.float32
                )
            out.append(camera._smeared(part))
        bright = float(np.quantile((out[0][::8, ::8] + out[1][::8, ::8]).max(axis=2), 0.995))
        return Radiance(out[0], out[1], 0.8 / max(bright, 1e-6))

    def photograph(self, frame: Image, camera: VirtualCamera, seed: int = 0) -> Image:
        """What the camera takes while the projector shows ``frame``: (H, W, 3) uint8 RGB.

        Args:
            frame: (H, W) or (H, W, 3) uint8, of the projector's size.
            seed: of the noise.

        Raises:
            ValueError: the frame is not of the projector's size.
        """
        return self.exposed(self.radiance(frame, camera), camera, seed)

    def exposed(
        self, light: Radiance, camera: VirtualCamera, seed: int, time_s: float = 0.0
    ) -> Image:
        """A photo of this light, the shutter opening at a moment of the colour wheel's turn."""
        p = self.projector
        return camera.expose(light, seed, time_s=time_s, wheel=p.wheel, wheel_hz=p.wheel_hz)

    def sequence(
        self, frame: Image, camera: VirtualCamera, count: int, seed: int = 0
    ) -> Iterator[Image]:
        """``count`` frames of a camera that stands still, with the colour wheel's flicker."""
        light = self.radiance(frame, camera)
        for i in range(count):
            yield self.exposed(light, camera, seed * 1009 + i, i / _FPS)

    def throw(
        self,
        frame: Image,
        mm_per_px: float = 0.5,
        region_mm: tuple[float, float, float, float] | None = None,
        exposure: float = 1.0,
    ) -> tuple[Image, tuple[float, float]]:
        """What the table looks like from straight above while the projector shows ``frame``.

        Args:
            mm_per_px: scale of the picture.
            region_mm: (left, near, right, far) in mm; the beam and a little more when not given.
            exposure: brighter or darker than white paper in the beam at 85 %.

        Returns:
            (H, W, 3) uint8 RGB with the far side up, and (x, y) mm of the first pixel's centre:
            pixel (c, r) is the place (x + c·mm_per_px, y − r·mm_per_px).
        """
        if region_mm is None:
            rim = self.beam_mm(8)
            low, high = rim.min(axis=0), rim.max(axis=0)
            more = 0.05 * (high - low)
            region_mm = (*(low - more), *(high + more))
        left, near, right, far = region_mm
        w = max(2, round((right - left) / mm_per_px) + 1)
        h = max(2, round((far - near) / mm_per_px) + 1)
        nodes_x, nodes_y = nodes_of(w), nodes_of(h)
        places = grid(left + nodes_x * mm_per_px, far - nodes_y * mm_per_px)
        origins = np.column_stack([places, np.full(len(places), 1e4)])
        rays = np.tile([0.0, 0.0, -1.0], (len(places), 1))
        beam, room = self._paint(frame, origins, rays, (nodes_x, nodes_y), (w, h), mm_per_px, None)
        linear = (beam + room) * np.float32(0.85 / (0.82 * (1 + self.ambient)) * exposure)
        values = np.clip(linear, 0, 1) ** np.float32(1 / 2.2) * 255 + 0.5
        return values.astype(np.uint8), (float(left), float(far))

    def light(self, frame: Image, points_mm: Array) -> Array:
        """Light of the projector alone on the bare table at points (N, 2) mm: (N, 3), linear.

        Exact for square pixels behind a Gaussian defocus: nothing is resampled, so a line's
        place can be taken from its centroid to a thousandth of a pixel.
        """
        emitted = self.projector.emitted(frame).astype(float)
        if emitted.shape[2] == 1:
            emitted = np.repeat(emitted, 3, axis=2)
        px = self.projector.to_pixels(points_mm)
        px = np.where(np.isfinite(px), px, -FAR_PX)
        sigma = max(self.projector.defocus_px, 1e-3)
        reach = math.ceil(0.5 + 4.5 * sigma)
        w, h = self.projector.size
        out = np.zeros((len(px), 3))
        offsets = np.arange(-reach, reach + 1)
        for start in range(0, len(px), 65536):
            part = px[start : start + 65536]
            near = np.rint(part).astype(int)
            share = [
                pixel_share(part[:, k, None] - near[:, k, None] - offsets, sigma) for k in (0, 1)
            ]
            for i, dx in enumerate(offsets):
                for j, dy in enumerate(offsets):
                    x, y = near[:, 0] + dx, near[:, 1] + dy
                    inside = (x >= 0) & (x < w) & (y >= 0) & (y < h)
                    weight = share[0][:, i] * share[1][:, j] * inside
                    out[start : start + 65536] += (
                        weight[:, None] * emitted[np.clip(y, 0, h - 1), np.clip(x, 0, w - 1)]
                    )
        return np.asarray(out * _PROJECTOR_WHITE)

    def _step_mm(self, camera: VirtualCamera) -> float:
        """Width of a camera pixel on the table, at the middle of the beam."""
        middle = self.beam_mm().mean(axis=0)
        px = camera.to_pixels(middle[None])
        if not np.isfinite(px).all():
            return 0.5
        beside = camera.to_table(np.concatenate([px, px + 2 * HALF_X, px + 2 * HALF_Y]))
        return math.sqrt(2 * abs(signed_area(beside))) or 0.5

    def _mirror_mm(self, camera: VirtualCamera) -> Array:
        """Where on the table (2,) the camera sees the lens mirrored."""
        lens, eye = np.array(self.projector.position_mm), np.array(camera.position_mm)
        t = lens[2] / (lens[2] + eye[2])
        return np.asarray(lens[:2] + (eye[:2] - lens[:2]) * t)

    def _paint(
        self,
        frame: Image,
        origin: Array,
        rays: Array,
        nodes: tuple[Array, Array],
        size: tuple[int, int],
        step_mm: float,
        mirror_mm: Array | None,
    ) -> tuple[Plane, Plane]:
        """Follow the rays of a grid of nodes, and fill the grid between them: beam and room light.

        Every map from sensor to scene is smooth, so it is computed exactly at some thousand nodes
        and carried to all pixels by cubic splines (error under 1e-3 px, see the tests). OpenCV
        before version 5 rounds the places it samples to 1/32 of a sample: noise, not bias.
        """
        w, h = size
        shape = (len(nodes[1]), len(nodes[0]))
        spread_x, spread_y = spline(nodes[0], np.arange(w)), spline(nodes[1], np.arange(h))
        lamp = self._light_image(frame, step_mm)
        tile = blurred(tile_of(self.surface), PREFILTER * step_mm * TILE_PX_PER_MM)
        ground = (
            np.broadcast_to(origin, rays.shape)
            + rays * (-np.broadcast_to(origin, rays.shape)[:, 2] / rays[:, 2])[:, None]
        )
        ground_maps = self._maps(ground, ground[:, :2], shape, spread_x)
        layers = [
            self._sheet_layer(s, origin, rays, nodes, shape, spread_x, step_mm) for s in self.sheets
        ]
        beam = np.empty((h, w, 3), np.float32)
        room = np.empty((h, w, 3), np.float32)
        white, warm = (
            _PROJECTOR_WHITE.astype(np.float32),
            (_ROOM_WHITE * self.ambient).astype(np.float32),
        )
        rim = self.beam_mm(4)
        span = np.float32(max(float(np.ptp(rim[:, 0])), 1.0))
        for top in range(0, h, 256):
            rows = slice(top, min(top + 256, h))
            u, v, x, y = (spread_y[rows] @ m for m in ground_maps)
            lit = self._lit(lamp, u, v, step_mm)
            paint = sampled(
                tile,
                np.mod(x, TILE_MM) * TILE_PX_PER_MM + 3.5,
                np.mod(y, TILE_MM) * TILE_PX_PER_MM + 3.5,
            )
            beam_rows = paint * lit
            if self.glare and mirror_mm is not None:
                lobe = np.exp(
                    -((x - mirror_mm[0]) ** 2 + (y - mirror_mm[1]) ** 2)
                    / np.float32(2 * self.glare_mm**2)
                )
                beam_rows += np.float32(self.glare) * lobe[..., None] * lit
            for layer in layers:
                layer.cover(self, rows, spread_y, lamp, step_mm, beam_rows, paint)
            beam_rows *= white
            beam[rows] = beam_rows
            uneven = 1 + np.float32(self.slope) * np.clip(x / span, -1, 1)
            room[rows] = paint * uneven[..., None] * warm
        return beam, room

    def _maps(
        self, places: Array, inner: Array, shape: tuple[int, int], spread_x: Plane
    ) -> list[Plane]:
        """Node maps, spread along x: lamp image px (u, v), then the two columns of ``inner``."""
        px = self.projector.to_pixels(places)
        px = np.clip(np.where(np.isfinite(px), px, -FAR_PX), -FAR_PX, FAR_PX)
        inner = np.clip(inner, -1e5, 1e5)
        columns = [px[:, 0], px[:, 1], inner[:, 0], inner[:, 1]]
        return [c.reshape(shape).astype(np.float32) @ spread_x.T for c in columns]

    def _light_image(self, frame: Image, step_mm: float) -> Plane:
        """The light of the panel, oversampled, defocused, with a dark rim: (H', W', 1 or 3)."""
        emitted = self.projector.emitted(frame)
        n = _LIGHT_SAMPLES
        big = np.repeat(np.repeat(emitted, n, axis=0), n, axis=1)
        big = np.pad(big, ((_PAD_PX * n, _PAD_PX * n), (_PAD_PX * n, _PAD_PX * n), (0, 0)))
        # linear interpolation between samples blurs by 1/sqrt(6) of a sample: taken off the defocus
        return blurred(big, math.sqrt(max(n * n * self._blur2(step_mm) - 1 / 6, 0.04)))

    def _blur2(self, step_mm: float) -> float:
        """Square of the blur by defocus and prefilter together, projector px."""
        p = self.projector
        pixel_mm = math.sqrt(abs(signed_area(p.beam_mm())) / ((p.size[0] - 1) * (p.size[1] - 1)))
        return p.defocus_px**2 + (PREFILTER * step_mm / pixel_mm) ** 2

    def _lit(self, lamp: Plane, u: Plane, v: Plane, step_mm: float) -> Plane:
        """Light (h, w, 1 or 3) at projector px (u, v), pixel grid included."""
        n = np.float32(_LIGHT_SAMPLES)
        shift = np.float32((_LIGHT_SAMPLES - 1) / 2 + _PAD_PX * _LIGHT_SAMPLES)
        return np.asarray(
            sampled(lamp, u * n + shift, v * n + shift) * self._grid(u, v, step_mm)[..., None]
        )

    def _grid(self, u: Plane, v: Plane, step_mm: float) -> Plane:
        """The dark lines between projector pixels, as far as defocus and camera leave them."""
        depth = np.float32(self.projector.gap * math.exp(-2 * math.pi**2 * self._blur2(step_mm)))
        if depth < 1e-4:
            return np.ones_like(u)
        turn = np.float32(2 * math.pi)
        return np.asarray(1 + depth * (np.cos(turn * u) + np.cos(turn * v)) / 2, np.float32)

    def _sheet_layer(
        self,
        sheet: Sheet,
        origin: Array,
        rays: Array,
        nodes: tuple[Array, Array],
        shape: tuple[int, int],
        spread_x: Plane,
        step_mm: float,
    ) -> _Layer:
        places = sheet.struck(origin, rays)
        local = sheet.local(places)
        box = _reach(local.reshape(*shape, 2), sheet.size_mm, nodes)
        maps = self._maps(places, local, shape, spread_x[box[0] : box[2]])
        picture = sheet.picture if sheet.picture.ndim == 3 else sheet.picture[..., None]
        per_mm = np.array(
            [picture.shape[1] / sheet.size_mm[0], picture.shape[0] / sheet.size_mm[1]]
        )
        colour = (
            np.float32(sheet.ink)
            + np.float32(sheet.paper - sheet.ink) * picture.astype(np.float32) / 255
        )
        rim = 12
        there = np.ones_like(colour[..., :1])
        if picture.shape[2] == 4:
            there = picture[..., 3:].astype(np.float32) / 255
            colour = colour[..., :3] * there
        whole = np.concatenate([colour, there], axis=2)
        whole = np.pad(whole, ((rim, rim), (rim, rim), (0, 0)))
        whole = blurred(whole, PREFILTER * step_mm * float(per_mm.mean()))
        return _Layer(maps, whole, per_mm, rim, box)


@dataclass(frozen=True)
class _Layer:
    """A sheet made ready for painting: node maps, its picture with cover as last channel, its box in px."""

    maps: list[Plane]
    picture: Plane
    per_mm: Array
    rim: int
    box: tuple[int, int, int, int]

    def cover(
        self,
        table: VirtualTable,
        rows: slice,
        spread_y: Plane,
        lamp: Plane,
        step_mm: float,
        beam: Plane,
        paint: Plane,
    ) -> None:
        """Paint the sheet over these rows of ``beam`` and ``paint`` (both changed)."""
        left, top, right, bottom = self.box
        top, bottom = max(top, rows.start), min(bottom, rows.stop)
        if top >= bottom or left >= right:
            return
        box = (slice(top - rows.start, bottom - rows.start), slice(left, right))
        u, v, x, y = (spread_y[top:bottom] @ m for m in self.maps)
        px, py = np.float32(self.per_mm[0]), np.float32(self.per_mm[1])
        seen = sampled(
            self.picture, x * px + np.float32(self.rim - 0.5), y * py + np.float32(self.rim - 0.5)
        )
        lit = table._lit(lamp, u, v, step_mm)
        bare = 1 - seen[..., -1:]
        beam[box] = beam[box] * bare + seen[..., :-1] * lit
        paint[box] = paint[box] * bare + seen[..., :-1]


def _reach(
    local: Array, size_mm: tuple[float, float], nodes: tuple[Array, Array]
) -> tuple[int, int, int, int]:
    """Box (left, top, right, bottom) px that surely holds a sheet, from its local mm at the nodes."""
    more = 3.0 + max(
        float(np.abs(np.diff(local[..., k], axis=a)).max(initial=0.0, where=near))
        for k, a, near in ((k, a, _close(local, size_mm, a)) for k in (0, 1) for a in (0, 1))
    )
    within = (local > -more) & (local < np.array(size_mm) + more)
    inside = within[..., 0] & within[..., 1]
    lines, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    if not len(lines):
        return 0, 0, 0, 0
    (x, y), (w, h) = nodes, (int(n[-1]) for n in nodes)
    low = max(int(x[columns[0]]), 0), max(int(y[lines[0]]), 0)
    return (*low, min(math.ceil(x[columns[-1]]), w), min(math.ceil(y[lines[-1]]), h))


def _close(local: Array, size_mm: tuple[float, float], axis: int) -> Mask:
    """Which steps between nodes start within three sheet sizes of the sheet."""
    far = 3 * max(size_mm)
    near: Mask = np.abs(local).max(axis=2) < far
    return near[:-1] if axis == 0 else near[:, :-1]
