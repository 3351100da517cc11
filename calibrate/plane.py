"""The plane geometry of the package, once: homographies, rigid moves, areas, what lies inside.

What OpenCV, numpy or scipy have is taken from there. Nothing here knows of cards or projectors.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calibrate.arrays import Array, Mask


def apply(matrix: Array, points: Array) -> Array:
    """(N, 2) points through a (3, 3) homography; NaN past its horizon."""
    w = points @ matrix[2, :2] + matrix[2, 2]
    # The side of the horizon where the last coordinate keeps the sign it has at the beam.
    with np.errstate(divide="ignore", invalid="ignore"):
        out = (points @ matrix[:2, :2].T + matrix[:2, 2]) / w[:, None]
    out[w * np.sign(matrix[2, 2]) <= 1e-12] = np.nan
    return np.asarray(out)


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
    """The pose (x, y, turn) that takes points (N, 2) best to points (N, 2).

    Kabsch's algorithm in the plane (from memory).
    """
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = math.atan2(float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])), float(np.sum(a * b)))
    x, y = target.mean(axis=0) - place(source, (0.0, 0.0, turn)).mean(axis=0)
    return float(x), float(y), turn


def matrix_of(pose: Sequence[float] | Array) -> Array:
    """(3, 3) of a pose (x, y, turn): the move that `place` makes."""
    c, s = math.cos(pose[2]), math.sin(pose[2])
    return np.array([[c, -s, pose[0]], [s, c, pose[1]], [0.0, 0.0, 1.0]])


def signed_area(ring: Array) -> float:
    """Area of a closed ring (N, 2), above 0 when it runs counter-clockwise with y up (shoelace)."""
    x, y = ring.T
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def grid(x: Array, y: Array) -> Array:
    """(len(y) * len(x), 2) each x with each y, row by row."""
    u, v = np.meshgrid(x, y)
    return np.column_stack([u.ravel(), v.ravel()])


def rim(x0: float, y0: float, x1: float, y1: float, per_side: int) -> Array:
    """(4 * per_side, 2) points round a rectangle, from (x0, y0) by way of (x1, y0); not closed."""
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    t = np.arange(per_side)[:, None] / per_side
    ways = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    return np.concatenate([a + (b - a) * t for a, b in ways])


def within(ring: Array, points: Array) -> Mask:
    """(N,) which points (N, 2) lie inside a convex ring (M, 2) of either turn."""
    edges = np.roll(ring, -1, axis=0) - ring
    away = points[:, None, :] - ring[None]
    side = edges[None, :, 0] * away[:, :, 1] - edges[None, :, 1] * away[:, :, 0]
    with np.errstate(invalid="ignore"):
        return np.asarray(np.all(side >= 0, axis=1) | np.all(side <= 0, axis=1))


def place(points: Array, pose: Sequence[float] | Array) -> Array:
    """(N, 2) points of a card's frame laid down at a pose (x, y, turn)."""
    c, s = math.cos(pose[2]), math.sin(pose[2])
    return np.asarray(points @ np.array([[c, s], [-s, c]]) + np.array([pose[0], pose[1]]))
