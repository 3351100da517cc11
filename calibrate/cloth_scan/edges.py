"""The cloth's edge, its holes, its flaws, and its straight sides."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array, Mask
from calibrate.cloth_scan.masks import (
    components,
    evenly_spaced,
    grown_by,
    largest_ring,
    opened_by,
    plain_ring,
)

_LEAST_GAP_MM = 8.0  # a hole or flaw narrower than this is the eye's matter
_LEAST_SIDE_MM = 100.0  # a straight side that may be a selvedge or follow the grain
_BOW_MM = 1.5  # how far a straight side may bend
REACH_MM = 5.0  # how far the edge may lie from where the colours put it
_FAINT = 8.0  # a step of colour across the edge that leaves its place open
_PRINTED = 7.0  # spread of colour (CIE 1976 L*a*b*) within the cloth from which on it is printed
_FLAW = 9.0  # difference of colour that a person sees as a stain at once (from memory)


def followed(lab: Array, known: Mask, ring: Array, per_mm: float) -> tuple[Array, float]:
    """The ring (N, 2) px moved on to the step of colour near it, and the doubt of its place, px.

    Along the normal at each place: where the colour on the one side differs most from the other,
    to a fraction of a pixel by the centre of the step; smoothed along the edge by a median.
    """
    from scipy.ndimage import map_coordinates, median_filter, uniform_filter1d

    path = evenly_spaced(ring, 1.5 * per_mm)
    n = len(path)
    if n < 12:
        return ring, 0.5
    tangent = np.roll(path, -2, axis=0) - np.roll(path, 2, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    reach = REACH_MM * per_mm
    flank = max(3.0, 2.5 * per_mm)
    t = np.arange(-reach - flank, reach + flank + 0.25, 0.5)
    at = path[:, None] + normal[:, None] * t[None, :, None]
    where = [at[..., 1].ravel(), at[..., 0].ravel()]
    profile = np.stack(
        [map_coordinates(lab[..., c], where, order=1, mode="nearest") for c in range(3)], axis=-1
    ).reshape(n, len(t), 3)
    sure = map_coordinates(known.astype(np.float32), where, order=1, mode="nearest")
    hidden = sure.reshape(n, len(t)).min(axis=1) < 0.99
    profile = uniform_filter1d(profile, 3, axis=0, mode="wrap")
    k = round(flank / 0.5)
    total = np.cumsum(np.pad(profile, ((0, 0), (1, 0), (0, 0))), axis=1)
    after = (total[:, 2 * k :] - total[:, k:-k]) / k
    before = (total[:, k:-k] - total[:, : -2 * k]) / k
    step = np.sqrt(np.sum((after - before) ** 2, axis=2))
    places = t[k:][: step.shape[1]] - 0.25
    near = np.exp(-0.5 * (places / (0.6 * reach)) ** 2)  # prefer the step near the first guess
    peak = np.argmax(step * near, axis=1)
    rows = np.arange(n)
    lo, hi = np.clip(peak - 1, 0, None), np.clip(peak + 1, None, step.shape[1] - 1)
    a, b, c = step[rows, lo], step[rows, peak], step[rows, hi]
    bend = a - 2 * b + c
    fraction = np.where(bend < -1e-9, 0.5 * (a - c) / np.where(bend < -1e-9, bend, 1.0), 0.0)
    shift = places[peak] + 0.5 * np.clip(fraction, -1, 1)
    shift = np.where(hidden | (b < 2.0), np.nan, shift)
    if np.isnan(shift).all():
        return ring, REACH_MM * per_mm
    gaps = np.isnan(shift)
    if gaps.any():
        good = np.flatnonzero(~gaps)
        shift = np.interp(rows, good, shift[good], period=n)
    narrow, wide = (median_filter(shift, k, mode="wrap") for k in (5, 13))
    # a mat's line or a thread beside the edge draws a stretch of it away
    smooth = np.where(np.abs(narrow - wide) > 0.8 * per_mm, wide, narrow)
    left = max(float(1.4826 * np.median(np.abs(shift - smooth))), 0.1)
    # the edge is guessed where its step is faint, or no more than the grain of wood beside it
    faint = b < np.maximum(_FAINT, 4.0 * np.quantile(step, 0.25, axis=1))
    if np.mean(faint[~hidden]) > 0.1:
        left = max(left, 0.8 * REACH_MM * per_mm)
    return path + normal * smooth[:, None], left


def flaws_in(lab: Array, cloth: Mask, per_mm: float) -> tuple[list[Array], bool]:
    """Rings round stains and darns, and whether the cloth is printed."""
    import cv2

    if cloth.sum() < 100:
        return [], False
    factor = min(1.0, 1.0 / per_mm)  # at a millimetre a pixel the weave is gone
    small = cv2.resize(
        lab.astype(np.float32), None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA
    )
    inside = (
        cv2.resize(cloth.astype(np.uint8), small.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    )
    scale = per_mm * factor
    weight = inside.astype(np.float32)
    # light changes slowly over a table: its course is taken from a picture a quarter as large
    size = small.shape[1::-1]
    coarse = (max(8, size[0] // 4), max(8, size[1] // 4))
    sigma = 45.0 * scale * coarse[0] / size[0]
    parts = [
        cv2.GaussianBlur(cv2.resize(p, coarse, interpolation=cv2.INTER_AREA), (0, 0), sigma)
        for p in (small * weight[..., None], weight)
    ]
    course = np.asarray(parts[0]) / np.maximum(np.asarray(parts[1]), 1e-3)[..., None]
    base = cv2.resize(course, size, interpolation=cv2.INTER_LINEAR)
    rest = (small - base) * weight[..., None]
    away = np.sqrt(np.sum(rest.astype(np.float64) ** 2, axis=2))
    typical = float(np.quantile(away[inside], 0.8))
    if typical > _PRINTED:
        return [], True
    limit = max(_FLAW, 4.0 * float(np.median(away[inside])))
    odd = opened_by((away > limit) & inside, 1.5 * scale)
    rings = []
    for spot in components(grown_by(odd, 2.0 * scale)):
        if (odd & spot).sum() < (_LEAST_GAP_MM * scale) ** 2 * 0.4:
            continue
        ring = largest_ring(spot).astype(np.float32)
        hull = cv2.convexHull(ring).reshape(-1, 2).astype(np.float64)
        if len(hull) >= 3:
            rings.append(plain_ring((hull + 0.5) / factor - 0.5, 0.7 * per_mm))
    return rings, False


def straight_sides(outline: ArrayLike) -> tuple[Array, ...]:
    """Straight stretches of a ring (N, 2) mm, each (2, 2) start and end, the longest first.

    Stretches that bend by no more than a selvedge does; shorter than 10 cm are left out.
    """
    import cv2

    ring = np.asarray(outline, dtype=np.float64)
    few = cv2.approxPolyDP(ring.astype(np.float32).reshape(-1, 1, 2), _BOW_MM, True)
    corners = few.reshape(-1, 2).astype(np.float64)
    sides = [np.array([a, b]) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    sides = [s for s in sides if math.dist(s[0], s[1]) >= _LEAST_SIDE_MM]
    return tuple(sorted(sides, key=lambda s: -math.dist(s[0], s[1])))


def gaps_in(mask: Mask, per_mm: float) -> list[Array]:
    """Rings of holes large enough to matter, the largest first."""
    return [
        largest_ring(spot)
        for spot in components(opened_by(mask, 2.0 * per_mm))
        if spot.sum() > 0.6 * (_LEAST_GAP_MM * per_mm) ** 2
    ]
