"""A camera in software: from light on its sensor to the JPEG that a phone saves."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np

from calibrate.arrays import Array, Image, Plane
from calibrate.simulate.optics import Lens, Pinhole, rows_of


@dataclass(frozen=True)
class VirtualCamera(Pinhole):
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
        rows = rows_of(rotation)
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
        return cls.aimed(corners_or_default(corners_mm), size, **(drawn | options))

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
        return cls.aimed(corners_or_default(corners_mm), size, **(drawn | options))

    def _smeared(self, part: Plane) -> Plane:
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
class Radiance:
    """Linear light on a sensor: ``beam`` from the projector and ``room`` from lamps, (H, W, 3) each.

    ``gain`` makes it an exposure of 1.
    """

    beam: Plane = field(repr=False)
    room: Plane = field(repr=False)
    gain: float = 1.0


def jpeg(photo: Image, quality: int) -> Image:
    """The photo (H, W, 3) uint8 RGB after JPEG compression at this quality."""
    done, data = cv2.imencode(".jpg", photo[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    if not done:
        raise ValueError("the picture could not be compressed")
    back = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
    return np.ascontiguousarray(back[..., ::-1])


def corners_or_default(corners_mm: Array | None) -> Array:
    if corners_mm is None:
        return np.array([[-600.0, 338.0], [600.0, 338.0], [600.0, -338.0], [-600.0, -338.0]])
    return np.asarray(corners_mm, float)
