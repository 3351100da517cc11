"""Remnants for the virtual table: a cloth of known outline, with a hole and a stain, and its truth."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibrate.calibration import Calibration
from calibrate.model import ProjectorModel
from calibrate.plane import homography
from calibrate.simulate import Sheet, VirtualTable

Array = NDArray[np.float64]

SIZE = (1920, 1080)
OUTLINE = np.array(
    [
        [-330.0, -190], [-100, -215], [150, -190], [300, -200], [330, 0], [250, 170], [60, 140],
        [-60, 200], [-310, 190],
    ]
)  # fmt: skip


def oval(x: float, y: float, a: float, b: float) -> Array:
    """(24, 2) mm."""
    t = np.linspace(0, 2 * math.pi, 24, endpoint=False)
    return np.column_stack([x + a * np.cos(t), y + b * np.sin(t)])


HOLE = oval(-150, 20, 30, 22)
STAIN = oval(140, -60, 25, 16)


def remnant(
    outline: Array = OUTLINE,
    hole: Array | None = HOLE,
    stain: Array | None = STAIN,
    colour: tuple[int, int, int] = (40, 90, 150),
    *,
    checks: bool = False,
    seed: int = 0,
) -> Sheet:
    """A cloth on the table, corners (N, 2) in world mm; its edge is true to a tenth of a mm."""
    px, fine = 3, 4
    low, high = outline.min(axis=0) - 5, outline.max(axis=0) + 5
    w, h = (np.ceil((high - low) * px)).astype(int)
    high = low + np.array([w, h]) / px

    def mask(ring: Array) -> NDArray[np.uint8]:
        big = np.zeros((h * fine, w * fine), np.uint8)
        at = np.column_stack([ring[:, 0] - low[0], high[1] - ring[:, 1]]) * px * fine - 0.5
        cv2.fillPoly(big, [np.round(at * 256).astype(np.int32)], 255, cv2.LINE_8, 8)
        big = cv2.erode(big, np.ones((2, 2), np.uint8))  # fillPoly paints its rim as well
        return np.asarray(cv2.resize(big, (w, h), interpolation=cv2.INTER_AREA), np.uint8)

    cut = mask(outline)
    if hole is not None:
        cut = np.minimum(cut, 255 - mask(hole))
    weave = np.random.default_rng(seed).normal(0, 1, (h, w)).astype(np.float32)
    picture = np.array(colour, np.float32) + 18 * cv2.GaussianBlur(weave, (0, 0), 1.0)[..., None]
    if checks:
        y, x = np.mgrid[:h, :w]
        picture[(x // 60 + y // 60) % 2 == 0] = (220, 200, 60)
    if stain is not None:
        part = cv2.GaussianBlur(mask(stain), (0, 0), 2).astype(np.float32)[..., None] / 255
        picture = picture * (1 - part) + 0.55 * np.array(colour, np.float32) * part
    rgba = np.dstack([np.clip(picture, 0, 255).astype(np.uint8), cut])
    return Sheet(rgba, (w / px, h / px), tuple((low + high) / 2))


def true_calibration(table: VirtualTable) -> Calibration:
    """The virtual projector's own truth as a calibration whose table frame is the world's."""
    x, y = np.meshgrid(np.linspace(0, SIZE[0] - 1, 21), np.linspace(0, SIZE[1] - 1, 15))
    px = np.column_stack([x.ravel(), y.ravel()])
    mm = table.projector.to_table(px)
    middle = (np.array(SIZE) - 1) / 2
    start = ProjectorModel(SIZE, homography(mm, px), middle, 0.0, 0.0).vector()

    def miss(v: Array) -> Array:
        told = ProjectorModel.from_vector(SIZE, v).to_projector(mm)
        return np.asarray(told - px).ravel()

    v = least_squares(miss, start, x_scale=np.maximum(np.abs(start), 1e-3)).x
    assert float(np.abs(miss(v)).max()) < 0.01
    model = ProjectorModel.from_vector(SIZE, v)
    return Calibration(model, np.zeros((len(v), len(v))), "photo", "2026-11-25")


def apart(ring: Array, truth: Array) -> tuple[float, float]:
    """(rms, largest) distance of a ring's line from the true one, mm, by shapely."""
    line = shapely.segmentize(shapely.Polygon(ring).exterior, 4.0)
    d = shapely.distance(shapely.points(line.coords), shapely.Polygon(truth).exterior)
    return float(np.sqrt(np.mean(d**2))), float(d.max())


def moved(sheet: Sheet, at_mm: tuple[float, float], angle_deg: float) -> Sheet:
    """The same cloth elsewhere."""
    return replace(sheet, at_mm=at_mm, angle_deg=angle_deg)
