"""Printed sheets on the table, flat, raised or curled."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from calibrate.arrays import Array, Image


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

    def local(self, places: Array) -> Array:
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

    def struck(self, origin: Array, rays: Array) -> Array:
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
