"""Calibrations for the tests of bays, align and height: ideal ones, and ones fitted to a rig.

A fitted one comes from the virtual projector's own rays at a grid of pixels by a general
least-squares search, so that these tests do not lean on the project's solver.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from scipy.optimize import least_squares

from calibrate.calibration import Calibration, ProjectorModel
from calibrate.virtual_table import VirtualTable


def ideal(
    width_mm: float = 1200.0,
    *,
    size: tuple[int, int] = (1920, 1080),
    keystone: float = 0.0,
    k1: float = 0.0,
    turn_deg: float = 0.0,
) -> Calibration:
    """A beam of this width about the origin; ``keystone``: how much narrower its far side is."""
    import cv2

    w, h = size
    half = np.array([width_mm, width_mm * h / w]) / 2
    corner = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    corner[:2, 0] *= 1 - keystone
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    corner = corner @ np.array([[c, s], [-s, c]])
    px = np.array([[-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5], [-0.5, h - 0.5]])
    matrix = cv2.getPerspectiveTransform(corner.astype(np.float32), px.astype(np.float32))
    model = ProjectorModel(size, matrix, np.array([(w - 1) / 2, (h - 1) / 2]), k1, 0.0)
    return Calibration(model, np.zeros((12, 12)), "test", "2026-11-25")


def calibration_of(rig: VirtualTable) -> Calibration:
    """The calibration of a rig from its own rays: as good as a calibration can be."""
    return _fitted(rig.projector)


@functools.lru_cache(maxsize=16)
def _fitted(projector: object) -> Calibration:
    import cv2

    w, h = projector.size  # type: ignore[attr-defined]
    gx, gy = np.meshgrid(np.linspace(0, w - 1, 17), np.linspace(0, h - 1, 11))
    px = np.column_stack([gx.ravel(), gy.ravel()])
    table = projector.to_table(px)  # type: ignore[attr-defined]
    first, _ = cv2.findHomography(table, px)
    start = ProjectorModel((w, h), first, np.array([(w - 1) / 2, (h - 1) / 2])).vector()

    def miss(v: np.ndarray) -> np.ndarray:
        return (ProjectorModel.from_vector((w, h), v).to_projector(table) - px).ravel()

    best = least_squares(miss, start, x_scale="jac", xtol=1e-12)
    model = ProjectorModel.from_vector((w, h), best.x)
    return Calibration(model, np.zeros((12, 12)), "test", "2026-11-25")
