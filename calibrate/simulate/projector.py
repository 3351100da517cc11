"""A projector in software: its grey curve, pixel grid, defocus and fall of light."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from calibrate.arrays import Array, Image, Plane
from calibrate.plane import grid
from calibrate.simulate.images import check_frame, spread_between
from calibrate.simulate.optics import Lens, Pinhole, rotation_about, rows_of

HALF_X, HALF_Y = np.array([0.5, 0.0]), np.array([0.0, 0.5])


@dataclass(frozen=True)
class VirtualProjector(Pinhole):
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
        rotation = down @ (rotation_about(2, az) @ rotation_about(1, ay) @ rotation_about(0, ax)).T
        rows = rows_of(rotation)
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

    def emitted(self, frame: Image) -> Plane:
        """Light of each pixel, linear: (H, W, 1) for a grey frame, else (H, W, 3), without colour cast."""
        check_frame(frame, self.size)
        grey = frame.ndim == 2 or (
            np.array_equal(frame[..., 0], frame[..., 1])
            and np.array_equal(frame[..., 0], frame[..., 2])
        )
        values = frame if frame.ndim == 2 else frame[..., 0] if grey else frame
        curve = 1 / self.contrast + (1 - 1 / self.contrast) * (np.arange(256) / 255.0) ** self.gamma
        out = curve.astype(np.float32)[values]
        out = out[..., None] if out.ndim == 2 else out
        return np.asarray(out * self._fall()[..., None], np.float32)

    def _fall(self) -> Plane:
        """How bright white falls on the table at each pixel (H, W), 1 in the middle."""
        w, h = self.size
        nx, ny = 25, 15
        nodes_x, nodes_y = np.linspace(0, w - 1, nx), np.linspace(0, h - 1, ny)

        def light(p: Array) -> Array:
            right = self.to_table(p + HALF_X) - self.to_table(p - HALF_X)
            below = self.to_table(p + HALF_Y) - self.to_table(p - HALF_Y)
            area = np.abs(right[:, 0] * below[:, 1] - right[:, 1] * below[:, 0])
            r2 = ((p - np.array([(w - 1) / 2, (h - 1) / 2])) ** 2).sum(axis=1)
            return np.asarray((1 - self.falloff * r2 / (0.25 * (w * w + h * h))) / area)

        middle = light(np.array([[(w - 1) / 2, (h - 1) / 2]]))[0]
        nodes = (light(grid(nodes_x, nodes_y)) / middle).reshape(ny, nx)
        return spread_between(nodes, nodes_x, nodes_y, np.arange(w), np.arange(h))
