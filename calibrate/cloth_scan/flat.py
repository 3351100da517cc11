"""The photo laid out flat, in millimetres."""

from __future__ import annotations

import math

import numpy as np

from calibrate.arrays import Array, Image, Mask
from calibrate.cloth_scan.masks import evenly_spaced, filled_in, shrunk_by
from calibrate.cloth_scan.view import TableView, mm_per_px
from calibrate.plane import apply, grid, rim

_PER_MM = 2.0  # pixels of the flat picture per mm, at most
_LARGEST_PX = 14e6  # of the flat picture
_CARD_RIM_MM = 4.0  # kept clear round a card: its shadow and a corner that stands up


def flatten(picture: Image, view: TableView) -> tuple[Image, Mask, Array]:
    """The photo laid out flat, y up in the table's sense; what of it is known; flat_from_table."""
    import cv2
    from scipy.interpolate import RectBivariateSpline

    h, w = picture.shape[:2]
    if view.white_mm:
        every = np.concatenate(view.white_mm)
        low, high = every.min(axis=0), every.max(axis=0)
    else:
        inner = 0.01 * (w - 1), 0.01 * (h - 1), 0.99 * (w - 1), 0.99 * (h - 1)
        with np.errstate(all="ignore"):
            seen = view.camera.to_table(rim(*inner, 24))
        # a slanted view sees to the end of the room: three times the reach of the cards is enough
        size = np.maximum(view.reach_mm[2:] - view.reach_mm[:2], 150.0)
        low, high = view.reach_mm[:2] - size.max(), view.reach_mm[2:] + size.max()
        seen = seen[np.all(np.isfinite(seen), axis=1)]
        if len(seen) > 50:
            low = np.maximum(low, seen.min(axis=0))
            high = np.minimum(high, seen.max(axis=0))
    middle = (view.reach_mm[:2] + view.reach_mm[2:]) / 2
    per_mm = min(_PER_MM, 1.0 / mm_per_px(view, middle))
    per_mm = min(per_mm, math.sqrt(_LARGEST_PX / float(np.prod(high - low))))
    size_px = np.ceil((high - low) * per_mm).astype(int) + 1
    flat_from_table = np.array(
        [[per_mm, 0, -low[0] * per_mm], [0, -per_mm, high[1] * per_mm], [0, 0, 1.0]]
    )
    nodes_x = np.linspace(0, size_px[0] - 1, max(8, size_px[0] // 24))
    nodes_y = np.linspace(0, size_px[1] - 1, max(8, size_px[1] // 24))
    at = apply(np.asarray(np.linalg.inv(flat_from_table)), grid(nodes_x, nodes_y))
    px = np.clip(np.nan_to_num(view.camera.to_px(at), nan=-1e5), -1e5, 1e5)
    maps = []
    for axis in (0, 1):
        spline = RectBivariateSpline(nodes_y, nodes_x, px[:, axis].reshape(len(nodes_y), -1))
        maps.append(
            np.asarray(spline(np.arange(size_px[1]), np.arange(size_px[0])), dtype=np.float32)
        )
    fine = 1.0 / (per_mm * mm_per_px(view, middle))  # camera px per flat px
    source = cv2.GaussianBlur(picture, (0, 0), 0.45 * fine) if fine > 1.2 else picture
    flat = cv2.remap(source, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    known = (maps[0] > 2) & (maps[0] < w - 3) & (maps[1] > 2) & (maps[1] < h - 3)
    if view.white_mm:
        lit = [filled_in(known.shape, apply(flat_from_table, ring)) for ring in view.white_mm]
        known &= shrunk_by(np.any(lit, axis=0), 4.0 * per_mm)
    if view.beam_mm is not None and _lit(
        np.asarray(flat), known, apply(flat_from_table, view.beam_mm)
    ):
        known &= shrunk_by(filled_in(known.shape, apply(flat_from_table, view.beam_mm)), 4 * per_mm)
    for ring in view.cards:
        inner = ring.mean(axis=0)
        wide = inner + (ring - inner) * (1 + 2 * _CARD_RIM_MM / np.hypot(*(ring[0] - ring[2])))
        known &= ~filled_in(known.shape, apply(flat_from_table, wide))
    return np.asarray(flat, dtype=np.uint8), np.asarray(known), flat_from_table


def _lit(flat: Image, known: Mask, beam: Array) -> bool:
    """Whether the projector lights its picture: brighter just inside its edge than just outside."""
    path = evenly_spaced(beam, 8.0)
    middle = path.mean(axis=0)
    away = (path - middle) / np.hypot(*(path - middle).T)[:, None]
    sides = []
    for step in (-8.0, 8.0):
        at = np.round(path + step * away).astype(int)
        ok = np.all((at >= 0) & (at < np.array(known.shape[::-1])), axis=1)
        ok[ok] &= known[at[ok, 1], at[ok, 0]]
        level = np.full(len(at), np.nan)
        level[ok] = flat[at[ok, 1], at[ok, 0]].mean(axis=1)
        sides.append(level)
    both = np.isfinite(sides[0]) & np.isfinite(sides[1])
    return bool(both.sum() > 20 and np.median((sides[0] - sides[1])[both]) > 12)


def sees_all(known: Mask) -> bool:
    """Whether the view reaches the picture's own edges."""
    return bool(known[:, [0, -1]].any() or known[[0, -1]].any())
