"""The plane geometry that detector and solver share: homographies, rigid moves, a camera's view.

Nothing here knows of cards or projectors.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

CAMERA_PARAMETERS = 15


@dataclass(frozen=True, eq=False)
class CameraModel:
    """A camera's view of the table plane: homography, then radial and tangential lens terms.

    ``vector`` (15,): homography (8, from half metres to half diagonals), k1, k2, lens centre
    (2, half diagonals from the middle of the picture), p1, p2, k3. Formula of the lens: Brown
    1966, in the signs of OpenCV's documentation.
    """

    size: tuple[int, int]
    vector: Array
    unit_mm: float = 500.0

    @property
    def unit_px(self) -> float:
        """Half the picture's diagonal, px."""
        return 0.5 * math.hypot(*self.size)

    @property
    def middle_px(self) -> Array:
        """(2,) middle of the picture, px."""
        return np.array([(self.size[0] - 1) / 2.0, (self.size[1] - 1) / 2.0])

    def project(self, points_mm: Array) -> tuple[Array, Array, Array]:
        """Image of table places (N, 2) mm.

        Returns:
            px (N, 2); d px / d place (N, 2, 2), px per mm; d px / d vector (N, 2, 15).
        """
        v, n = self.vector, len(points_mm)
        X = points_mm / self.unit_mm
        w = X @ v[6:8] + 1.0
        u = (X @ v[[0, 3, 1, 4]].reshape(2, 2) + v[[2, 5]]) / w[:, None]
        p = u - v[10:12]
        x, y = p[:, 0], p[:, 1]
        r2 = x * x + y * y
        k1, k2, p1, p2, k3 = v[8], v[9], v[12], v[13], v[14]
        f = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        df = 2 * (k1 + r2 * (2 * k2 + 3 * k3 * r2))
        q = np.column_stack(
            [
                x * f + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
                y * f + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
            ]
        )
        bend = np.empty((n, 2, 2))
        bend[:, 0, 0] = f + df * x * x + 2 * p1 * y + 6 * p2 * x
        bend[:, 0, 1] = bend[:, 1, 0] = df * x * y + 2 * p1 * x + 2 * p2 * y
        bend[:, 1, 1] = f + df * y * y + 6 * p1 * y + 2 * p2 * x
        base = np.column_stack([X, np.ones(n)]) / w[:, None]
        du = np.zeros((n, 2, 8))
        du[:, 0, 0:3] = base
        du[:, 1, 3:6] = base
        du[:, :, 6:8] = -u[:, :, None] * base[:, None, :2]
        dv = np.empty((n, 2, CAMERA_PARAMETERS))
        dv[:, :, :8] = bend @ du
        dv[:, :, 8] = p * r2[:, None]
        dv[:, :, 9] = p * (r2 * r2)[:, None]
        dv[:, :, 10:12] = np.eye(2) - bend
        dv[:, 0, 12], dv[:, 1, 12] = 2 * x * y, r2 + 2 * y * y
        dv[:, 0, 13], dv[:, 1, 13] = r2 + 2 * x * x, 2 * x * y
        dv[:, :, 14] = p * (r2**3)[:, None]
        s = self.unit_px
        dX = (v[[0, 1, 3, 4]].reshape(2, 2) - u[:, :, None] * v[6:8]) / w[:, None, None]
        return self.middle_px + s * (v[10:12] + q), s / self.unit_mm * (bend @ dX), s * dv

    def to_px(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table mm to (N, 2) camera px."""
        return self.project(np.asarray(points_mm, dtype=np.float64).reshape(-1, 2))[0]

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) camera px to (N, 2) table mm, by Newton's steps on `project`'s lens."""
        v = self.vector
        q = (np.asarray(points_px, dtype=np.float64).reshape(-1, 2) - self.middle_px) / self.unit_px
        q = q - v[10:12]
        p = q.copy()
        k1, k2, p1, p2, k3 = v[8], v[9], v[12], v[13], v[14]
        for _ in range(40):
            x, y = p[:, 0], p[:, 1]
            r2 = x * x + y * y
            f = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
            df = 2 * (k1 + r2 * (2 * k2 + 3 * k3 * r2))
            miss_x = x * f + 2 * p1 * x * y + p2 * (r2 + 2 * x * x) - q[:, 0]
            miss_y = y * f + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y - q[:, 1]
            a = f + df * x * x + 2 * p1 * y + 6 * p2 * x
            b = df * x * y + 2 * p1 * x + 2 * p2 * y
            d = f + df * y * y + 6 * p1 * y + 2 * p2 * x
            det = a * d - b * b
            det = np.where(np.abs(det) < 0.05, 0.05, det)  # past the fold: creep, do not jump
            step = np.column_stack([d * miss_x - b * miss_y, a * miss_y - b * miss_x])
            step /= det[:, None]
            p -= np.clip(step, -0.3, 0.3)
            if np.abs(step).max(initial=0.0) < 1e-13:
                break
        inverse = np.linalg.inv(np.append(v[:8], 1.0).reshape(3, 3))
        u = np.column_stack([p + v[10:12], np.ones(len(p))]) @ inverse.T
        return np.asarray(u[:, :2] / u[:, 2:] * self.unit_mm)


def homography(source: Array, target: Array) -> Array:
    """(3, 3) homography of points (N, 2) to points (N, 2), N at least 4: normalised DLT.

    Hartley and Zisserman, Multiple View Geometry, algorithm 4.2 (from memory).
    """

    def normal(points: Array) -> Array:
        mean = points.mean(axis=0)
        scale = math.sqrt(2) / max(float(np.hypot(*(points - mean).T).mean()), 1e-300)
        return np.array([[scale, 0, -scale * mean[0]], [0, scale, -scale * mean[1]], [0, 0, 1.0]])

    a, b = normal(source), normal(target)
    s = source * a[0, 0] + a[:2, 2]
    t = target * b[0, 0] + b[:2, 2]
    n = len(s)
    rows = np.zeros((2 * n, 9))
    rows[:n, 0:2], rows[:n, 2] = s, 1
    rows[n:, 3:5], rows[n:, 5] = s, 1
    rows[:n, 6:8], rows[:n, 8] = -t[:, :1] * s, -t[:, 0]
    rows[n:, 6:8], rows[n:, 8] = -t[:, 1:] * s, -t[:, 1]
    _, _, vt = np.linalg.svd(rows, full_matrices=n < 5)
    out = np.linalg.inv(b) @ vt[-1].reshape(3, 3) @ a
    return np.asarray(out / out[2, 2])


def rigid(source: Array, target: Array) -> tuple[float, float, float]:
    """(x, y, turn) of the rigid move that takes points (N, 2) best to points (N, 2).

    Kabsch's algorithm in the plane (from memory).
    """
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = math.atan2(float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])), float(np.sum(a * b)))
    x, y = target.mean(axis=0) - place(source, (0.0, 0.0, turn)).mean(axis=0)
    return float(x), float(y), turn


def place(points: Array, pose: Sequence[float] | Array) -> Array:
    """(N, 2) points of a card's frame laid down at a pose (x, y, turn)."""
    c, s = math.cos(pose[2]), math.sin(pose[2])
    return np.asarray(points @ np.array([[c, s], [-s, c]]) + np.array([pose[0], pose[1]]))
