"""Small things: rings of pixels, and pictures of yes and no."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import Array, Image, Mask
from calibrate.plane import signed_area


def lab_of(picture: Image) -> Array:
    """CIE 1976 L*a*b* of an sRGB picture, (H, W, 3) float32."""
    import cv2

    return np.asarray(cv2.cvtColor(picture.astype(np.float32) / 255, cv2.COLOR_RGB2LAB))


def fixed_point(px: Array) -> NDArray[np.int32]:
    """Pixels (N, 2) as OpenCV's fixed point, four bits after it, (N, 1, 2)."""
    return np.round(np.asarray(px) * 16).astype(np.int32).reshape(-1, 1, 2)


def evenly_spaced(ring: Array, step: float) -> Array:
    """A closed ring resampled at about this step."""
    closed = np.concatenate([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(3, round(along[-1] / step))
    at = np.linspace(0, along[-1], count, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, k]) for k in (0, 1)])


def plain_ring(ring: Array, tolerance: float) -> Array:
    """The ring with the points left out that lie on the line between others; y up: ccw."""
    import cv2

    few = cv2.approxPolyDP(ring.astype(np.float32).reshape(-1, 1, 2), tolerance, True)
    out = few.reshape(-1, 2).astype(np.float64)
    if len(out) < 3:
        out = ring
    # flat pictures have y down: counter-clockwise on the table is clockwise here
    return out if signed_area(out) < 0 else out[::-1]


def largest_ring(mask: Mask) -> Array:
    """The outer ring (N, 2) px of the largest part."""
    import cv2

    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    best = max(contours, key=cv2.contourArea)
    return np.asarray(best.reshape(-1, 2), dtype=np.float64)


def components(mask: Mask) -> list[Mask]:
    """Connected parts, the largest first."""
    import cv2

    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), None, None, None, 4
    )
    order = sorted(range(1, count), key=lambda k: -int(stats[k, cv2.CC_STAT_AREA]))
    return [labels == k for k in order[:60] if stats[k, cv2.CC_STAT_AREA] >= 12]


def filled_in(shape: tuple[int, ...], ring: Array) -> Mask:
    """The pixels inside a ring (N, 2) px."""
    import cv2

    out = np.zeros(shape[:2], dtype=np.uint8)
    cv2.fillPoly(out, [fixed_point(ring)], 1, shift=4)
    return np.asarray(out > 0)


def filled_holes(mask: Mask) -> Mask:
    """The mask without its holes."""
    from scipy.ndimage import binary_fill_holes

    return np.asarray(binary_fill_holes(mask))


def border(shape: tuple[int, ...]) -> Mask:
    """The outermost pixels of a picture."""
    out = np.zeros(shape[:2], dtype=bool)
    out[[0, -1]] = True
    out[:, [0, -1]] = True
    return out


def rim_of(seen: Mask, width: float) -> Mask:
    """A strip along the outer edge of what is seen."""
    whole = np.pad(filled_holes(seen), 1)
    return np.asarray(seen & ~shrunk_by(whole, width + 1)[1:-1, 1:-1])


def _disc(radius: float) -> NDArray[np.uint8]:
    import cv2

    size = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), dtype=np.uint8)


def shrunk_by(mask: Mask, radius: float) -> Mask:
    """The pixels farther than ``radius`` px from what is outside."""
    import cv2

    return np.asarray(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) > radius)


def grown_by(mask: Mask, radius: float) -> Mask:
    """The pixels within ``radius`` px of the mask."""
    return ~shrunk_by(~mask, radius)


def opened_by(mask: Mask, radius: float) -> Mask:
    """The mask without what is narrower than twice the radius, px."""
    import cv2

    kind = cv2.MORPH_OPEN
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), kind, _disc(radius)) > 0)
