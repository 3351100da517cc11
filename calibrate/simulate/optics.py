"""What the virtual projector and the virtual camera have in common: a pinhole behind a lens."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibrate.arrays import Array
from calibrate.plane import rim


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
class Pinhole:
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
        return rim(0.0, 0.0, self.size[0] - 1.0, self.size[1] - 1.0, per_side)


def rotation_about(axis: int, angle: float) -> Array:
    """Rotation (3, 3) about a world axis, counter-clockwise seen from its tip."""
    c, s = math.cos(angle), math.sin(angle)
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    out = np.eye(3)
    out[i, i] = out[j, j] = c
    out[i, j], out[j, i] = -s, s
    return out


def rows_of(matrix: Array) -> tuple[tuple[float, float, float], ...]:
    return tuple((float(a), float(b), float(c)) for a, b, c in matrix)
