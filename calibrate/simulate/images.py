"""Pictures as light: sampling, blur and slow fields between nodes."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import Array, Image, Plane


def check_frame(frame: Image, size: tuple[int, int]) -> None:
    if (
        frame.dtype != np.uint8
        or frame.shape[:2] != (size[1], size[0])
        or (frame.ndim == 3 and frame.shape[2] != 3)
    ):
        raise ValueError(
            f"a frame of {size[0]} × {size[1]} uint8 pixels is expected, not {frame.shape} {frame.dtype}"
        )


def nodes_of(length: int) -> Array:
    """Places along a side of so many pixels at which the maps are exact."""
    return np.linspace(-1.0, float(length), max(12, min(40, length // 24)))


def spline(nodes: Array, at: NDArray[Any]) -> Plane:
    """Matrix (len(at), len(nodes)) that takes values at the nodes to values at ``at``: cubic spline."""
    from scipy.interpolate import make_interp_spline

    return np.asarray(make_interp_spline(nodes, np.eye(len(nodes)), k=3)(at), np.float32)


def spread_between(
    values: Array, x: Array, y: Array, at_x: NDArray[Any], at_y: NDArray[Any]
) -> Plane:
    """Node values (len(y), len(x)) at every (at_y, at_x)."""
    return np.asarray(spline(y, at_y) @ values.astype(np.float32) @ spline(x, at_x).T, np.float32)


def sampled(image: Plane, x: Plane, y: Plane) -> Plane:
    out = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(out if out.ndim == 3 else out[..., None], np.float32)


def blurred(image: Plane, sigma: float) -> Plane:
    if sigma < 0.15:
        return image
    out = cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(out if out.ndim == 3 else out[..., None], np.float32)


def pixel_share(distance: Array, sigma: float) -> Array:
    """Light of a unit pixel, blurred by a Gaussian, at this distance (px) from its centre."""
    from scipy.special import ndtr

    return np.asarray(ndtr((distance + 0.5) / sigma) - ndtr((distance - 0.5) / sigma))
