"""A table, a projector and a camera in software, for rehearsal, tests and measurement.

It stands where the real devices stand: a frame goes in, a photo comes out. The model is its own
and is not the solver run backwards: each camera pixel is followed as a ray through pinhole and
lens to the table or to a raised or curled sheet, and from there to the projector pixel that
lights it. The solver knows all terms of the camera's lens, and of the projector's all but r⁸. What a photo loses is modelled in the order
in which it is lost: the projector's grey curve, black level, pixel grid and defocus; the colour
of table and paper; room light; the camera's blur, vignetting, noise, tone curve and JPEG.

World frame: mm, right-handed, x right, y away from the person (who stands at −y), z up from the
table. Pixel centres are integers, in the camera and in the projector. Light is linear; 1 is the
projector's white at the middle of its beam.

Left out, and small: shadows of raised sheets, light that bounces between sheets, depth of field.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
_Plane = NDArray[np.float32]

_LIGHT_SAMPLES = 2  # samples of the light image per projector pixel, each way
_PAD_PX = 8  # dark rim of the light image, so that the beam's edge fades as it should
_PREFILTER = 0.45  # sigma of the filter before sampling, in steps of the sampling grid
_TILE_MM, _TILE_PX_PER_MM = 400, 3
_PROJECTOR_WHITE = np.array([0.98, 1.0, 1.04])
_ROOM_WHITE = np.array(
    [1.05, 0.97, 0.84]
)  # a lamp is warmer than the beam; the camera sits between
_FAR_PX = 1.0e4
_HALF_X, _HALF_Y = np.array([0.5, 0.0]), np.array([0.0, 0.5])


@dataclass(frozen=True)
class Lens:
    """Brown's distortion in normalised image coordinates (x/z, y/z).

    Ideal (x, y) → seen: ``x (1 + k1 r² + k2 r⁴ + k3 r⁶ + k4 r⁸) + 2 p1 x y + p2 (r² + 2 x²) +
    s2 r⁴`` and the same with x and y changed and s4. Source: D. C. Brown, Photogrammetric
    Engineering 32 (1966), in the signs of OpenCV's documentation, where s2 and s4 are the
    fourth-order terms of a thin prism (its second-order ones are a keystone and a tangential term
    together). Beyond ``reach`` the terms are held, because the polynomial folds back there and
    would show the beam twice.
    """

    k1: float = 0.0
    k2: float = 0.0
    k3: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    reach: float = 2.0
    s2: float = 0.0
    s4: float = 0.0
    k4: float = 0.0

    def distort(self, ideal: Array) -> Array:
        """Seen (N, 2) of ideal (N, 2), both normalised."""
        x, y = ideal[:, 0], ideal[:, 1]
        r2 = x * x + y * y
        held = np.minimum(r2, self.reach**2)
        pull = np.sqrt(held / np.maximum(r2, held + 1e-300))
        xt, yt = x * pull, y * pull
        radial = 1.0 + held * (self.k1 + held * (self.k2 + held * (self.k3 + held * self.k4)))
        dx = 2.0 * self.p1 * xt * yt + self.p2 * (held + 2.0 * xt * xt)
        dy = self.p1 * (held + 2.0 * yt * yt) + 2.0 * self.p2 * xt * yt
        dx, dy = dx + self.s2 * held * held, dy + self.s4 * held * held
        return np.column_stack([x * radial + dx, y * radial + dy])

    def undistort(self, seen: Array) -> Array:
        """Ideal (N, 2) of seen (N, 2): Newton steps on `distort`, to rounding error."""
        ideal = seen.copy()
        h = 1e-6
        ex, ey = np.array([h, 0.0]), np.array([0.0, h])
        for _ in range(30):
            miss = self.distort(ideal) - seen
            jx = (self.distort(ideal + ex) - self.distort(ideal - ex)) / (2 * h)
            jy = (self.distort(ideal + ey) - self.distort(ideal - ey)) / (2 * h)
            det = jx[:, 0] * jy[:, 1] - jy[:, 0] * jx[:, 1]
            step = np.column_stack(
                [
                    (jy[:, 1] * miss[:, 0] - jy[:, 0] * miss[:, 1]) / det,
                    (jx[:, 0] * miss[:, 1] - jx[:, 1] * miss[:, 0]) / det,
                ]
            )
            ideal = ideal - step
            if np.abs(step).max(initial=0.0) < 1e-14:
                break
        return ideal


@dataclass(frozen=True)
class _Eye:
    """A pinhole behind a lens: what camera and projector have in common.

    ``rotation`` (3, 3) turns world axes into (right, down, forward) of the device;
    ``position_mm`` (3,) is the pinhole's place in the world.
    """

    size: tuple[int, int]
    focal_px: float
    centre_px: tuple[float, float]
    lens: Lens
    position_mm: tuple[float, float, float]
    rotation: tuple[tuple[float, float, float], ...]

    def to_pixels(self, points_mm: Array) -> Array:
        """Pixels (N, 2) of world points (N, 2) on the table or (N, 3); nan behind the device."""
        points = np.atleast_2d(np.asarray(points_mm, float))
        if points.shape[1] == 2:
            points = np.column_stack([points, np.zeros(len(points))])
        seen = (points - np.array(self.position_mm)) @ np.array(self.rotation).T
        with np.errstate(divide="ignore", invalid="ignore"):
            ideal = np.where(seen[:, 2:] > 1e-9, seen[:, :2] / seen[:, 2:], np.nan)
        return np.asarray(self.lens.distort(ideal) * self.focal_px + np.array(self.centre_px))

    def rays(self, pixels: Array) -> Array:
        """World directions (N, 3), not of unit length, in which the pixels (N, 2) look."""
        ideal = self.lens.undistort(
            (np.atleast_2d(np.asarray(pixels, float)) - np.array(self.centre_px)) / self.focal_px
        )
        return np.asarray(np.column_stack([ideal, np.ones(len(ideal))]) @ np.array(self.rotation))

    def to_table(self, pixels: Array, height_mm: float = 0.0) -> Array:
        """Places (N, 2) in mm where the pixels' rays meet the plane at that height; nan if never."""
        rays = self.rays(pixels)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (height_mm - self.position_mm[2]) / rays[:, 2]
            t = np.where(t > 0, t, np.nan)
        return np.asarray(np.array(self.position_mm)[:2] + rays[:, :2] * t[:, None])

    def _edge_px(self, per_side: int) -> Array:
        """Points (4·per_side, 2) round the rim of the picture, clockwise from its first pixel."""
        w, h = self.size[0] - 1.0, self.size[1] - 1.0
        s = np.linspace(0.0, 1.0, per_side, endpoint=False)
        zero = np.zeros_like(s)
        return np.concatenate(
            [
                np.column_stack([s * w, zero]),
                np.column_stack([zero + w, s * h]),
                np.column_stack([w - s * w, zero + h]),
                np.column_stack([zero, h - s * h]),
            ]
        )


@dataclass(frozen=True)
class VirtualProjector(_Eye):
    """A projector over the table.

    ``defocus_px``: sigma of the spot of one pixel's edge; ``gamma``: light = value ** gamma;
    ``contrast``: white over black; ``gap``: depth of the dark grid between pixels, 0 to 1;
    ``falloff``: loss of light from the middle to the corner beyond what distance explains;
    ``wheel``: depth of the colour wheel's flicker, 0 to 1, at ``wheel_hz``.
    """

    defocus_px: float = 0.45
    gamma: float = 2.2
    contrast: float = 600.0
    gap: float = 0.1
    falloff: float = 0.1
    wheel: float = 0.0
    wheel_hz: float = 120.0

    @classmethod
    def above(
        cls,
        size: tuple[int, int] = (1920, 1080),
        *,
        beam_width_mm: float = 1200.0,
        throw: float = 1.3,
        tilt_deg: tuple[float, float] = (0.0, 0.0),
        turn_deg: float = 0.0,
        shift: tuple[float, float] = (0.0, 0.0),
        k1: float = 0.0,
        k2: float = 0.0,
        k3: float = 0.0,
        k4: float = 0.0,
        tangential: tuple[float, float] = (0.0, 0.0),
        prism: tuple[float, float] = (0.0, 0.0),
        middle_mm: tuple[float, float] = (0.0, 0.0),
        **look: float,
    ) -> VirtualProjector:
        """A projector aimed so that the middle of its picture falls on ``middle_mm``.

        Args:
            size: (width, height) px.
            beam_width_mm: width of the picture on the table, through its middle.
            throw: distance over width of the picture, without tilt.
            tilt_deg: axis away from the plumb line, about x (keystone) and about y.
            turn_deg: turn of the picture about the plumb line, counter-clockwise.
            shift: of the lens, as a fraction of the picture's width and height.
            k1, k2, k3, k4: radial distortion at half the picture's diagonal, as a fraction (0.01 = 1 %).
            tangential: p1, p2 in the same measure; prism: s2, s4 too.
            middle_mm: where the middle of the picture falls, mm.
            look: the fields of the class (defocus, gamma …).
        """
        w, h = size
        focal = throw * w
        half = math.hypot(w, h) / 2 / focal  # normalised radius at which k1 and k2 are told
        lens = Lens(
            k1 / half**2,
            k2 / half**4,
            k3 / half**6,
            tangential[0] / half,
            tangential[1] / half,
            2.5 * half,
            prism[0] / half**3,
            prism[1] / half**3,
            k4 / half**8,
        )
        centre = ((w - 1) / 2 + shift[0] * w, (h - 1) / 2 + shift[1] * h)
        ax, ay, az = (math.radians(a) for a in (*tilt_deg, turn_deg))
        down = np.diag([1.0, -1.0, -1.0])
        rotation = down @ (_rot(2, az) @ _rot(1, ay) @ _rot(0, ax)).T
        rows = _rows(rotation)
        eye = cls(size, focal, centre, lens, (0.0, 0.0, 1.0), rows, **look)
        spots = eye.to_table(
            np.array([[-0.5, (h - 1) / 2], [w - 0.5, (h - 1) / 2], [(w - 1) / 2, (h - 1) / 2]])
        )
        height = beam_width_mm / float(np.linalg.norm(spots[1] - spots[0]))
        place = np.array(middle_mm) - spots[2] * height
        return replace(eye, position_mm=(float(place[0]), float(place[1]), height))

    def beam_mm(self, per_side: int = 1) -> Array:
        """Outline of the beam on the table (4·per_side, 2) mm, from the first pixel clockwise in px."""
        return self.to_table(self._edge_px(per_side))

    def emitted(self, frame: Image) -> _Plane:
        """Light of each pixel, linear: (H, W, 1) for a grey frame, else (H, W, 3), without colour cast."""
        _check_frame(frame, self.size)
        grey = frame.ndim == 2 or (
            np.array_equal(frame[..., 0], frame[..., 1])
            and np.array_equal(frame[..., 0], frame[..., 2])
        )
        values = frame if frame.ndim == 2 else frame[..., 0] if grey else frame
        curve = 1 / self.contrast + (1 - 1 / self.contrast) * (np.arange(256) / 255.0) ** self.gamma
        out = curve.astype(np.float32)[values]
        out = out[..., None] if out.ndim == 2 else out
        return np.asarray(out * self._fall()[..., None], np.float32)

    def _fall(self) -> _Plane:
        """How bright white falls on the table at each pixel (H, W), 1 in the middle."""
        w, h = self.size
        nx, ny = 25, 15
        u, v = np.meshgrid(np.linspace(0, w - 1, nx), np.linspace(0, h - 1, ny))
        px = np.column_stack([u.ravel(), v.ravel()])

        def light(p: Array) -> Array:
            right = self.to_table(p + _HALF_X) - self.to_table(p - _HALF_X)
            below = self.to_table(p + _HALF_Y) - self.to_table(p - _HALF_Y)
            area = np.abs(right[:, 0] * below[:, 1] - right[:, 1] * below[:, 0])
            r2 = ((p - np.array([(w - 1) / 2, (h - 1) / 2])) ** 2).sum(axis=1)
            return np.asarray((1 - self.falloff * r2 / (0.25 * (w * w + h * h))) / area)

        middle = light(np.array([[(w - 1) / 2, (h - 1) / 2]]))[0]
        nodes = (light(px) / middle).reshape(ny, nx)
        return _spread(
            nodes, np.linspace(0, w - 1, nx), np.linspace(0, h - 1, ny), np.arange(w), np.arange(h)
        )


@dataclass(frozen=True)
class VirtualCamera(_Eye):
    """A camera held over the table.

    ``blur_px``: sigma of lens and sensor together; ``vignetting``: loss at the corner beyond
    cos⁴; ``full_well``: electrons at white; ``read_noise``: electrons; ``gamma``: tone curve;
    ``exposure``: 1 puts the brightest half per cent at 80 % of white, 2 is twice that;
    ``jpeg``: quality, or 0 for none; ``samples``: rays each way per pixel; ``sharpen``: amount of
    the unsharp mask a phone applies; ``shake_px``: way of the picture while the shutter is open;
    ``fringe``: by how much red is drawn larger and blue smaller than green (3e-4 is plain);
    ``shutter_s``, ``readout_s``: how long a row is open and
    how long the rows take one after the other (colour-wheel flicker).
    """

    blur_px: float = 0.6
    vignetting: float = 0.15
    full_well: float = 6000.0
    read_noise: float = 4.0
    gamma: float = 2.2
    exposure: float = 1.0
    jpeg: int = 92
    samples: int = 1
    sharpen: float = 0.0
    shake_px: tuple[float, float] = (0.0, 0.0)
    fringe: float = 0.0
    shutter_s: float = 1 / 60
    readout_s: float = 0.02

    @classmethod
    def aimed(
        cls,
        corners_mm: Array,
        size: tuple[int, int],
        *,
        focal_px: float,
        lens: Lens | None = None,
        centre_px: tuple[float, float] | None = None,
        tilt_deg: float = 20.0,
        azimuth_deg: float = -90.0,
        roll_deg: float = 0.0,
        margin: float = 0.06,
        aim_mm: tuple[float, float] = (0.0, 0.0),
        **look: Any,
    ) -> VirtualCamera:
        """A camera that just sees all of ``corners_mm`` (N, 2), the longer way along its picture.

        Args:
            tilt_deg: of its axis from the plumb line; azimuth_deg: on which side of the table it
                is held (−90 is the person's side); roll_deg: turn about its axis, 0 with the
                corners' longer way along its rows.
            margin: of its picture left free on each side, as a fraction.
            aim_mm: how far beside the best place it is held.
        """
        corners = np.asarray(corners_mm, float)
        target = np.array([*corners.mean(axis=0), 0.0])
        tilt, azimuth, roll = (math.radians(a) for a in (tilt_deg, azimuth_deg, roll_deg))
        back = np.array(
            [math.cos(azimuth) * math.sin(tilt), math.sin(azimuth) * math.sin(tilt), math.cos(tilt)]
        )
        forward = -back
        away = np.array([-math.cos(azimuth), -math.sin(azimuth), 0.0])
        up = away - forward * float(away @ forward)
        up /= np.linalg.norm(up)
        right = np.cross(forward, up)
        down = -up
        seen = corners - corners.mean(axis=0)
        seen = np.column_stack([seen @ right[:2], seen @ down[:2]])
        long_way = np.linalg.svd(seen, full_matrices=False)[2][0]
        roll += math.atan(long_way[1] / long_way[0]) if abs(long_way[0]) > 1e-9 else math.pi / 2
        c, s = math.cos(roll), math.sin(roll)
        rotation = np.array([c * right + s * down, c * down - s * right, forward])
        rows = _rows(rotation)
        w, h = size
        middle = centre_px or ((w - 1) / 2, (h - 1) / 2)
        camera = cls(size, focal_px, middle, lens or Lens(), (0.0, 0.0, 0.0), rows, **look)
        pinhole = replace(camera, lens=Lens())
        room = 0.5 * np.array([w, h])
        for _ in range(6):
            near, far = 50.0, 50_000.0
            for _ in range(50):
                distance = math.sqrt(near * far)
                camera = camera._at(target + back * distance)
                px = camera.to_pixels(corners)
                # from very near, a lens's polynomial folds the far corners back into the picture
                plain = pinhole._at(target + back * distance).to_pixels(corners)
                fits = bool(
                    np.isfinite(px).all()
                    and (plain >= -room).all()
                    and (plain <= 3 * room).all()
                    and (px >= (w * margin, h * margin)).all()
                    and (px <= (w * (1 - margin), h * (1 - margin))).all()
                )
                near, far = (near, distance) if fits else (distance, far)
            # then the box of what it should see is brought to the middle of the picture
            box = (px.min(axis=0) + px.max(axis=0)) / 2
            seen_at = camera.to_table(np.array([box, [(w - 1) / 2, (h - 1) / 2]]))
            target[:2] += seen_at[0] - seen_at[1]
        return camera._at(target + back * distance + np.array([*aim_mm, 0.0]))

    def _at(self, place: Array) -> VirtualCamera:
        return replace(self, position_mm=(float(place[0]), float(place[1]), float(place[2])))

    @classmethod
    def phone(
        cls,
        seed: int,
        corners_mm: Array | None = None,
        size: tuple[int, int] = (4032, 3024),
        **options: Any,
    ) -> VirtualCamera:
        """A phone's main camera in a hand, aimed at the beam (``VirtualTable.beam_mm()``).

        Equivalent focal length 24 to 28 mm, tilt 3 to 35°, from the person's side or a little
        round the corner. ``options`` go to `aimed` or are fields of the class.
        """
        rng = np.random.default_rng([seed, 12])
        w, h = size
        diagonal = math.hypot(w, h)
        focal = float(rng.uniform(24, 28) / 43.27 * diagonal)
        drawn: dict[str, Any] = {
            "focal_px": focal,
            "lens": Lens(
                float(rng.uniform(-0.04, 0.06)),
                float(rng.uniform(-0.05, 0.03)),
                float(rng.uniform(-0.01, 0.01)),
                float(rng.normal(0, 3e-4)),
                float(rng.normal(0, 3e-4)),
            ),
            "centre_px": (
                (w - 1) / 2 + float(rng.normal(0, 0.005 * w)),
                (h - 1) / 2 + float(rng.normal(0, 0.005 * w)),
            ),
            "tilt_deg": float(rng.uniform(3, 35)),
            "azimuth_deg": float(-90 + rng.uniform(-70, 70)),
            "roll_deg": float(rng.normal(0, 5)),
            "margin": float(rng.uniform(0.03, 0.08)),
            "blur_px": float(rng.uniform(0.55, 0.85)),
            "jpeg": int(rng.integers(88, 97)),
            "full_well": 5000.0,
            "vignetting": float(rng.uniform(0.0, 0.15)),
        }
        return cls.aimed(_corners_or_default(corners_mm), size, **(drawn | options))

    @classmethod
    def webcam(
        cls,
        seed: int,
        corners_mm: Array | None = None,
        size: tuple[int, int] = (1920, 1080),
        **options: Any,
    ) -> VirtualCamera:
        """A 1080p webcam on an arm or a shelf beside the projector: wider, softer, noisier."""
        rng = np.random.default_rng([seed, 2])
        w, h = size
        drawn: dict[str, Any] = {
            "focal_px": float(rng.uniform(0.68, 0.85) * w),
            "lens": Lens(
                float(rng.uniform(-0.1, 0.05)),
                float(rng.uniform(-0.05, 0.05)),
                float(rng.uniform(-0.01, 0.01)),
                float(rng.normal(0, 5e-4)),
                float(rng.normal(0, 5e-4)),
            ),
            "centre_px": (
                (w - 1) / 2 + float(rng.normal(0, 0.008 * w)),
                (h - 1) / 2 + float(rng.normal(0, 0.008 * w)),
            ),
            "tilt_deg": float(rng.uniform(3, 30)),
            "azimuth_deg": float(-90 + rng.uniform(-70, 70)),
            "roll_deg": float(rng.normal(0, 4)),
            "margin": float(rng.uniform(0.02, 0.06)),
            "blur_px": float(rng.uniform(0.6, 0.9)),
            "jpeg": int(rng.integers(80, 93)),
            "full_well": 2500.0,
            "read_noise": 6.0,
            "samples": 2,
            "vignetting": float(rng.uniform(0.0, 0.25)),
        }
        return cls.aimed(_corners_or_default(corners_mm), size, **(drawn | options))

    def _smeared(self, part: _Plane) -> _Plane:
        """The hand's shake, and red and blue drawn a little larger and smaller than green."""
        length = math.hypot(*self.shake_px)
        if length > 0:
            # a line of even weight through the middle, sampled ten times a pixel and binned
            reach = math.ceil(length / 2) + 1
            t = np.linspace(-0.5, 0.5, max(3, 2 * round(5 * length) + 1))
            kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
            for x, y in np.outer(t, self.shake_px) + reach:
                i, j = int(y), int(x)
                fy, fx = y - i, x - j
                kernel[i : i + 2, j : j + 2] += np.outer((1 - fy, fy), (1 - fx, fx))
            part = np.asarray(cv2.filter2D(part, -1, kernel / kernel.sum()), np.float32)
        if self.fringe:
            part = part.copy()
            for channel, grow in ((0, 1 + self.fringe), (2, 1 - self.fringe)):
                cx, cy = self.centre_px
                inward = np.array([[1 / grow, 0, cx - cx / grow], [0, 1 / grow, cy - cy / grow]])
                part[..., channel] = cv2.warpAffine(
                    np.ascontiguousarray(part[..., channel]),
                    inward,
                    self.size,
                    flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                    borderMode=cv2.BORDER_REPLICATE,
                )
        return part

    def expose(
        self,
        light: Radiance,
        seed: int = 0,
        *,
        time_s: float = 0.0,
        wheel: float = 0.0,
        wheel_hz: float = 120.0,
    ) -> Image:
        """A photo (H, W, 3) uint8 RGB of what falls on the sensor.

        Args:
            light: from `VirtualTable.radiance`.
            seed: of the noise.
            time_s: when the shutter opens, for the flicker of a colour wheel.
            wheel, wheel_hz: the projector's flicker.
        """
        rng = np.random.default_rng([seed, 77])
        beam = light.beam
        if wheel > 0.0:
            # what an open shutter leaves of a wave, and the wave's place as the rows go by
            depth = wheel * abs(float(np.sinc(wheel_hz * self.shutter_s)))
            rows = time_s + np.arange(self.size[1]) / self.size[1] * self.readout_s
            phase = 2 * math.pi * wheel_hz * rows[:, None] + np.array([0.0, 2.1, 4.2])
            beam = beam * (1 + depth * np.sin(phase)).astype(np.float32)[:, None, :]
        linear = beam + light.room
        linear *= np.float32(light.gain * self.exposure)
        noise = rng.standard_normal(linear.shape, dtype=np.float32)
        sigma = np.maximum(linear, 0.0)
        sigma *= np.float32(1 / self.full_well)
        sigma += np.float32((self.read_noise / self.full_well) ** 2)
        np.sqrt(sigma, out=sigma)
        noise *= sigma
        linear += noise
        linear *= np.float32(4095)
        np.clip(linear, 0, 4095, out=linear)
        curve = (np.linspace(0, 1, 4096) ** (1 / self.gamma) * 255 + 0.5).astype(np.uint8)
        photo: Image = curve[linear.astype(np.uint16)]
        if self.sharpen > 0:
            soft = cv2.GaussianBlur(photo, (0, 0), 1.2)
            photo = np.asarray(
                cv2.addWeighted(photo, 1 + self.sharpen, soft, -self.sharpen, 0), np.uint8
            )
        return jpeg(photo, self.jpeg) if self.jpeg else photo


@dataclass(frozen=True)
class Sheet:
    """A flat picture on paper, lying on the table.

    ``picture``: (h, w), (h, w, 3) or (h, w, 4) uint8, 255 is bare paper, its first row is the far
    edge, a fourth channel of 0 is cut away;
    ``size_mm``: (width, height) as the file asks for; ``at_mm``, ``angle_deg``: place of its
    middle and its turn counter-clockwise; ``height_mm``: how far above the table; ``curl_mm``:
    how much higher its left and right edges stand than its middle; ``print_scale``: what the
    printer made of it, along its width and height; ``paper``, ``ink``: reflectance.
    """

    picture: Image = field(repr=False)
    size_mm: tuple[float, float]
    at_mm: tuple[float, float] = (0.0, 0.0)
    angle_deg: float = 0.0
    height_mm: float = 0.0
    curl_mm: float = 0.0
    print_scale: tuple[float, float] = (1.0, 1.0)
    paper: float = 0.82
    ink: float = 0.05

    def to_table(self, points_mm: Array) -> Array:
        """World places (N, 3) of points (N, 2) given in mm on the file's picture from its top-left, y down."""
        p = np.asarray(points_mm, float)
        x = (p[:, 0] - self.size_mm[0] / 2) * self.print_scale[0]
        y = (self.size_mm[1] / 2 - p[:, 1]) * self.print_scale[1]
        a = self._bend()
        x = x - 2 / 3 * a * a * x**3  # the paper keeps its length along the curl
        c, s = math.cos(math.radians(self.angle_deg)), math.sin(math.radians(self.angle_deg))
        return np.column_stack(
            [
                self.at_mm[0] + c * x - s * y,
                self.at_mm[1] + s * x + c * y,
                self.height_mm + a * x * x,
            ]
        )

    def _bend(self) -> float:
        """Curl as the factor a of the parabola height = a x², 1/mm."""
        return self.curl_mm / (self.size_mm[0] / 2) ** 2

    def _local(self, places: Array) -> Array:
        """Picture mm from the top-left, y down (N, 2), of world places (N, 2 or 3) on its surface."""
        c, s = math.cos(math.radians(self.angle_deg)), math.sin(math.radians(self.angle_deg))
        dx, dy = places[:, 0] - self.at_mm[0], places[:, 1] - self.at_mm[1]
        x, y = c * dx + s * dy, c * dy - s * dx
        a = self._bend()
        x = x + 2 / 3 * a * a * x**3
        return np.column_stack(
            [
                x / self.print_scale[0] + self.size_mm[0] / 2,
                self.size_mm[1] / 2 - y / self.print_scale[1],
            ]
        )

    def _struck(self, origin: Array, rays: Array) -> Array:
        """World places (N, 3) where rays from an origin (3,) or origins (N, 3) meet the sheet's surface."""
        height = np.full(len(rays), self.height_mm)
        c, s = math.cos(math.radians(self.angle_deg)), math.sin(math.radians(self.angle_deg))
        base = np.broadcast_to(origin, rays.shape)
        at = base
        for _ in range(12 if self.curl_mm else 1):
            t = (height - base[:, 2]) / rays[:, 2]
            at = base + rays * t[:, None]
            along = c * (at[:, 0] - self.at_mm[0]) + s * (at[:, 1] - self.at_mm[1])
            # far beside the sheet the parabola would rise past the camera
            along = np.clip(along, -self.size_mm[0], self.size_mm[0])
            height = self.height_mm + self._bend() * along**2
        return np.asarray(at)


@dataclass(frozen=True)
class Radiance:
    """Linear light on a sensor: ``beam`` from the projector and ``room`` from lamps, (H, W, 3) each.

    ``gain`` makes it an exposure of 1.
    """

    beam: _Plane = field(repr=False)
    room: _Plane = field(repr=False)
    gain: float = 1.0


SURFACES = (
    "light table",
    "white sheet",
    "wood",
    "cutting mat",
    "dark mat",
    "cloth",
    "dark cloth",
)


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

    def true_projector_from_table(self, points_mm: Array) -> Array:
        """Projector px (N, 2) that light the table at (N, 2) mm. For measuring only."""
        return self.projector.to_pixels(points_mm)

    def true_table_from_projector(self, points_px: Array) -> Array:
        """Where on the table (N, 2) mm projector px (N, 2) fall. For measuring only."""
        return self.projector.to_table(points_px)

    def radiance(self, frame: Image, camera: VirtualCamera) -> Radiance:
        """Linear light on the camera's sensor, before noise and tone curve."""
        n = camera.samples
        w, h = camera.size[0] * n, camera.size[1] * n
        nodes_x, nodes_y = _nodes(w), _nodes(h)
        u, v = np.meshgrid(nodes_x, nodes_y)
        # sample k of a pixel that is cut in n lies at (k + 0.5) / n − 0.5 from its centre
        px = np.column_stack([(u.ravel() + 0.5) / n - 0.5, (v.ravel() + 0.5) / n - 0.5])
        rays = camera.rays(px)
        rays[:, 2] = np.minimum(rays[:, 2], -1e-3)  # a ray above the horizon lands very far away
        origin = np.array(camera.position_mm)
        step = self._step_mm(camera) / n
        beam, room = self._paint(
            frame, origin, rays, (nodes_x, nodes_y), (w, h), step, self._mirror_mm(camera)
        )
        sigma = camera.blur_px * n
        # what the prefilter and the box of a pixel have done already
        sigma = math.sqrt(max(sigma**2 - _PREFILTER**2 - (n * n - 1) / 12, 0.09))
        r = ((px - np.array(camera.centre_px)) / (0.5 * math.hypot(*camera.size))) ** 2
        r2 = r.sum(axis=1)
        lit = (1 - camera.vignetting * r2) / (
            1 + r2 * (0.5 * math.hypot(*camera.size) / camera.focal_px) ** 2
        ) ** 2
        shade = _spread(lit.reshape(len(nodes_y), -1), nodes_x, nodes_y, np.arange(w), np.arange(h))
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
        p = self.projector
        return camera.expose(self.radiance(frame, camera), seed, wheel=p.wheel, wheel_hz=p.wheel_hz)

    def sequence(
        self, frame: Image, camera: VirtualCamera, count: int, seed: int = 0, fps: float = 29.97
    ) -> Iterator[Image]:
        """``count`` frames of a camera that stands still, with the colour wheel's flicker."""
        light = self.radiance(frame, camera)
        p = self.projector
        for i in range(count):
            yield camera.expose(
                light, seed * 1009 + i, time_s=i / fps, wheel=p.wheel, wheel_hz=p.wheel_hz
            )

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
        nodes_x, nodes_y = _nodes(w), _nodes(h)
        u, v = np.meshgrid(nodes_x, nodes_y)
        height = 1e4
        origins = np.column_stack(
            [left + u.ravel() * mm_per_px, far - v.ravel() * mm_per_px, np.full(u.size, height)]
        )
        rays = np.tile([0.0, 0.0, -1.0], (u.size, 1))
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
        px = np.where(np.isfinite(px), px, -_FAR_PX)
        sigma = max(self.projector.defocus_px, 1e-3)
        reach = math.ceil(0.5 + 4.5 * sigma)
        w, h = self.projector.size
        out = np.zeros((len(px), 3))
        offsets = np.arange(-reach, reach + 1)
        for start in range(0, len(px), 65536):
            part = px[start : start + 65536]
            near = np.rint(part).astype(int)
            share = [
                _pixel_share(part[:, k, None] - near[:, k, None] - offsets, sigma) for k in (0, 1)
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
        beside = camera.to_table(np.concatenate([px, px + 2 * _HALF_X, px + 2 * _HALF_Y]))
        return math.sqrt(2 * _area(beside)) or 0.5

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
    ) -> tuple[_Plane, _Plane]:
        """Follow the rays of a grid of nodes, and fill the grid between them: beam and room light.

        Every map from sensor to scene is smooth, so it is computed exactly at some thousand nodes
        and carried to all pixels by cubic splines (error under 1e-3 px, see the tests). OpenCV
        before version 5 rounds the places it samples to 1/32 of a sample: noise, not bias.
        """
        w, h = size
        shape = (len(nodes[1]), len(nodes[0]))
        spread_x, spread_y = _spline(nodes[0], np.arange(w)), _spline(nodes[1], np.arange(h))
        lamp = self._light_image(frame, step_mm)
        tile = _blurred(_tile(self.surface), _PREFILTER * step_mm * _TILE_PX_PER_MM)
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
            paint = _sample(
                tile,
                np.mod(x, _TILE_MM) * _TILE_PX_PER_MM + 3.5,
                np.mod(y, _TILE_MM) * _TILE_PX_PER_MM + 3.5,
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
        self, places: Array, inner: Array, shape: tuple[int, int], spread_x: _Plane
    ) -> list[_Plane]:
        """Node maps, spread along x: lamp image px (u, v), then the two columns of ``inner``."""
        px = self.projector.to_pixels(places)
        px = np.clip(np.where(np.isfinite(px), px, -_FAR_PX), -_FAR_PX, _FAR_PX)
        inner = np.clip(inner, -1e5, 1e5)
        columns = [px[:, 0], px[:, 1], inner[:, 0], inner[:, 1]]
        return [c.reshape(shape).astype(np.float32) @ spread_x.T for c in columns]

    def _light_image(self, frame: Image, step_mm: float) -> _Plane:
        """The light of the panel, oversampled, defocused, with a dark rim: (H', W', 1 or 3)."""
        p = self.projector
        emitted = p.emitted(frame)
        n = _LIGHT_SAMPLES
        big = np.repeat(np.repeat(emitted, n, axis=0), n, axis=1)
        big = np.pad(big, ((_PAD_PX * n, _PAD_PX * n), (_PAD_PX * n, _PAD_PX * n), (0, 0)))
        pixel_mm = math.sqrt(_area(p.beam_mm()) / ((p.size[0] - 1) * (p.size[1] - 1)))
        # linear interpolation between samples blurs by 1/sqrt(6) of a sample: taken off the defocus
        sigma = n * math.sqrt(p.defocus_px**2 + (_PREFILTER * step_mm / pixel_mm) ** 2)
        sigma = math.sqrt(max(sigma**2 - 1 / 6, 0.04))
        return _blurred(big, sigma)

    def _lit(self, lamp: _Plane, u: _Plane, v: _Plane, step_mm: float) -> _Plane:
        """Light (h, w, 1 or 3) at projector px (u, v), pixel grid included."""
        n = np.float32(_LIGHT_SAMPLES)
        shift = np.float32((_LIGHT_SAMPLES - 1) / 2 + _PAD_PX * _LIGHT_SAMPLES)
        return np.asarray(
            _sample(lamp, u * n + shift, v * n + shift) * self._grid(u, v, step_mm)[..., None]
        )

    def _grid(self, u: _Plane, v: _Plane, step_mm: float) -> _Plane:
        """The dark lines between projector pixels, as far as defocus and camera leave them."""
        p = self.projector
        pixel_mm = math.sqrt(_area(p.beam_mm()) / ((p.size[0] - 1) * (p.size[1] - 1)))
        blur = p.defocus_px**2 + (_PREFILTER * step_mm / pixel_mm) ** 2
        depth = np.float32(p.gap * math.exp(-2 * math.pi**2 * blur))
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
        spread_x: _Plane,
        step_mm: float,
    ) -> _Layer:
        places = sheet._struck(origin, rays)
        local = sheet._local(places)
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
        whole = _blurred(whole, _PREFILTER * step_mm * float(per_mm.mean()))
        return _Layer(maps, whole, per_mm, rim, box)


@dataclass(eq=False)
class VirtualSource:
    """Projector and camera of a virtual table behind the calls of the real ones.

    ``show`` is the projector's, ``read`` the camera's next frame of what is shown.
    """

    table: VirtualTable
    camera: VirtualCamera
    seed: int = 0
    name: str = "virtual camera"
    settle_seconds: float = 0.0
    stale: int = 0
    fps: float = 29.97
    _count: int = 0
    _light: Radiance | None = field(default=None, repr=False)

    def show(self, frame: Image) -> None:
        """Project a picture (H, W, 3) uint8 RGB."""
        self._light = self.table.radiance(frame, self.camera)

    def read(self) -> Image:
        """The next frame, (H, W, 3) uint8 RGB; a dark projector's before anything is shown."""
        light = self._light
        if light is None:
            w, h = self.table.projector.size
            light = self._light = self.table.radiance(np.zeros((h, w, 3), np.uint8), self.camera)
        self._count += 1
        p = self.table.projector
        return self.camera.expose(
            light,
            self.seed * 1009 + self._count,
            time_s=self._count / self.fps,
            wheel=p.wheel,
            wheel_hz=p.wheel_hz,
        )

    def close(self) -> None:
        """Nothing to give back."""


@dataclass(frozen=True)
class _Layer:
    """A sheet made ready for painting: node maps, its picture with cover as last channel, its box in px."""

    maps: list[_Plane]
    picture: _Plane
    per_mm: Array
    rim: int
    box: tuple[int, int, int, int]

    def cover(
        self,
        table: VirtualTable,
        rows: slice,
        spread_y: _Plane,
        lamp: _Plane,
        step_mm: float,
        beam: _Plane,
        paint: _Plane,
    ) -> None:
        """Paint the sheet over these rows of ``beam`` and ``paint`` (both changed)."""
        left, top, right, bottom = self.box
        top, bottom = max(top, rows.start), min(bottom, rows.stop)
        if top >= bottom or left >= right:
            return
        box = (slice(top - rows.start, bottom - rows.start), slice(left, right))
        u, v, x, y = (spread_y[top:bottom] @ m for m in self.maps)
        px, py = np.float32(self.per_mm[0]), np.float32(self.per_mm[1])
        seen = _sample(
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
    limits = [
        int(nodes[0][columns[0]]),
        int(nodes[1][lines[0]]),
        math.ceil(nodes[0][columns[-1]]),
        math.ceil(nodes[1][lines[-1]]),
    ]
    return (
        max(limits[0], 0),
        max(limits[1], 0),
        min(limits[2], int(nodes[0][-1])),
        min(limits[3], int(nodes[1][-1])),
    )


def _close(local: Array, size_mm: tuple[float, float], axis: int) -> NDArray[np.bool_]:
    """Which steps between nodes start within three sheet sizes of the sheet."""
    far = 3 * max(size_mm)
    near: NDArray[np.bool_] = np.abs(local).max(axis=2) < far
    return near[:-1] if axis == 0 else near[:, :-1]


def jpeg(photo: Image, quality: int) -> Image:
    """The photo (H, W, 3) uint8 RGB after JPEG compression at this quality."""
    done, data = cv2.imencode(".jpg", photo[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    if not done:
        raise ValueError("the picture could not be compressed")
    back = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
    return np.ascontiguousarray(back[..., ::-1])


def _check_frame(frame: Image, size: tuple[int, int]) -> None:
    if (
        frame.dtype != np.uint8
        or frame.shape[:2] != (size[1], size[0])
        or (frame.ndim == 3 and frame.shape[2] != 3)
    ):
        raise ValueError(
            f"a frame of {size[0]} × {size[1]} uint8 pixels is expected, not {frame.shape} {frame.dtype}"
        )


def _corners_or_default(corners_mm: Array | None) -> Array:
    if corners_mm is None:
        return np.array([[-600.0, 338.0], [600.0, 338.0], [600.0, -338.0], [-600.0, -338.0]])
    return np.asarray(corners_mm, float)


def _rot(axis: int, angle: float) -> Array:
    """Rotation (3, 3) about a world axis, counter-clockwise seen from its tip."""
    c, s = math.cos(angle), math.sin(angle)
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    out = np.eye(3)
    out[i, i] = out[j, j] = c
    out[i, j], out[j, i] = -s, s
    return out


def _rows(matrix: Array) -> tuple[tuple[float, float, float], ...]:
    return tuple((float(a), float(b), float(c)) for a, b, c in matrix)


def _area(ring: Array) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2


def _nodes(length: int) -> Array:
    """Places along a side of so many pixels at which the maps are exact."""
    return np.linspace(-1.0, float(length), max(12, min(40, length // 24)))


def _spline(nodes: Array, at: NDArray[Any]) -> _Plane:
    """Matrix (len(at), len(nodes)) that takes values at the nodes to values at ``at``: cubic spline."""
    from scipy.interpolate import make_interp_spline

    return np.asarray(make_interp_spline(nodes, np.eye(len(nodes)), k=3)(at), np.float32)


def _spread(values: Array, x: Array, y: Array, at_x: NDArray[Any], at_y: NDArray[Any]) -> _Plane:
    """Node values (len(y), len(x)) at every (at_y, at_x)."""
    return np.asarray(_spline(y, at_y) @ values.astype(np.float32) @ _spline(x, at_x).T, np.float32)


def _sample(image: _Plane, x: _Plane, y: _Plane) -> _Plane:
    out = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(out if out.ndim == 3 else out[..., None], np.float32)


def _blurred(image: _Plane, sigma: float) -> _Plane:
    if sigma < 0.15:
        return image
    out = cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(out if out.ndim == 3 else out[..., None], np.float32)


def _pixel_share(distance: Array, sigma: float) -> Array:
    """Light of a unit pixel, blurred by a Gaussian, at this distance (px) from its centre."""
    from scipy.special import ndtr

    return np.asarray(ndtr((distance + 0.5) / sigma) - ndtr((distance - 0.5) / sigma))


@functools.lru_cache(maxsize=4)
def _tile(surface: str) -> _Plane:
    """Reflectance (n, n, 3) of a square of `_TILE_MM` that repeats without a seam, with a rim of 4."""
    if surface not in SURFACES:
        raise ValueError(f"surface is one of {', '.join(SURFACES)}, not {surface!r}")
    n = _TILE_MM * _TILE_PX_PER_MM
    rng = np.random.default_rng(SURFACES.index(surface))
    x = np.arange(n) / _TILE_PX_PER_MM
    base = {
        "light table": (0.74, 0.72, 0.67),
        "white sheet": (0.86, 0.86, 0.85),
        "wood": (0.47, 0.29, 0.16),
        "cutting mat": (0.07, 0.24, 0.17),
        "dark mat": (0.03, 0.032, 0.036),
        "cloth": (0.42, 0.45, 0.56),
        "dark cloth": (0.05, 0.05, 0.08),
    }[surface]
    uneven = 0.001 if surface == "white sheet" else 0.015
    tile = np.ones((n, n)) * (1 + uneven * _clouds(rng, n, 40.0, 40.0))
    if surface == "wood":
        grain = 0.6 * _clouds(rng, n, 60.0, 1.2) + 0.5 * _clouds(rng, n, 120.0, 7.0)
        boards = np.where(np.mod(x, 100.0) < 0.7, 0.45, 1.0)[:, None]
        tile *= np.exp(0.22 * grain) * boards
    if surface in ("cloth", "dark cloth"):
        weave = np.sin(2 * np.pi * x / 0.8)[:, None] * np.sin(2 * np.pi * x / 0.8)[None, :]
        tile *= (
            1 + 0.06 * weave + 0.05 * _clouds(rng, n, 6.0, 0.6) + 0.05 * _clouds(rng, n, 0.6, 6.0)
        )
    colour = tile[..., None] * np.array(base)
    if surface in ("cutting mat", "dark mat"):
        fine = np.abs(np.mod(x + 5.0, 10.0) - 5.0) < 0.25
        bold = np.abs(np.mod(x + 25.0, 50.0) - 25.0) < 0.5
        lines = np.maximum(fine * 0.55, bold * 0.9)
        cover = np.maximum(lines[:, None], lines[None, :])[..., None]
        ink = np.array((0.62, 0.66, 0.42) if surface == "cutting mat" else (0.3, 0.3, 0.3))
        colour = colour * (1 - cover) + ink * cover
    return np.pad(
        np.clip(colour, 0.005, 0.95).astype(np.float32), ((4, 4), (4, 4), (0, 0)), mode="wrap"
    )


def _clouds(rng: np.random.Generator, n: int, x_mm: float, y_mm: float) -> Array:
    """Smooth periodic noise (n, n) of unit deviation with these lengths along x and y."""
    fx = np.fft.rfftfreq(n, 1 / _TILE_PX_PER_MM)
    fy = np.fft.fftfreq(n, 1 / _TILE_PX_PER_MM)
    keep = np.exp(-2 * (np.pi * 0.5) ** 2 * ((fx[None, :] * x_mm) ** 2 + (fy[:, None] * y_mm) ** 2))
    noise = np.fft.irfft2(np.fft.rfft2(rng.standard_normal((n, n))) * keep, (n, n))
    return np.asarray(noise / max(float(noise.std()), 1e-12))
