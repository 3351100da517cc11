"""Corners measured: the picture of a blurred saddle fitted to the pixels round each.

A saddle is symmetric about its corner, so neither blur nor a tone curve moves it; what the fit
leaves over tells how sure each corner is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import Array, Image

_LARGEST_WINDOW_PX = 12  # half side; wider windows add pixels and no knowledge
_WINDOW_SHARE = 0.42  # of a square: clear of the neighbouring edges


@dataclass(frozen=True, eq=False)
class Corners:
    """Measured corners of one board in one photo.

    ``index`` (N,) into the board's corners; ``px`` (N, 2); ``sigma`` (N,) noise of a coordinate,
    px; ``blur`` (N,) sigma of the edges, px; ``contrast`` (N,) half the step from black to white,
    grey levels; ``white`` (N,) level of white; ``side`` (N,) length of a square, px.
    """

    index: NDArray[np.int64]
    px: Array
    sigma: Array
    blur: Array
    contrast: Array
    white: Array
    side: Array

    def __len__(self) -> int:
        return len(self.index)

    def pick(self, keep: NDArray[Any]) -> Corners:
        """Some of them."""
        return Corners(*(getattr(self, f.name)[keep] for f in fields(self)))


def measure(
    gray: Image,
    px: Array,
    steps: Array,
    square: float,
    signs: Array,
    clear: Array,
    index: NDArray[np.int64] | None = None,
) -> Corners:
    """Fit a blurred saddle to the pixels round each rough corner.

    The grey in a window is ``b + g (p - c) -/+ a erf(du / √2 s) erf(dv / √2 s)`` with du, dv the
    distances from the two edges through the corner: nine unknowns a corner, Gauss-Newton, all
    corners at once. A saddle is symmetric about its corner, so neither blur nor a tone curve
    moves it.

    Args:
        gray: (H, W); px: (N, 2) to about a pixel; steps: (N, 2, 2) px per unit of the board;
        square: in units; signs, clear: as in `Board`.

    Returns:
        the corners that came out well, ``index`` into those given (or out of ``index``).
    """
    count = len(px)
    numbers = np.arange(count) if index is None else index
    out = np.full((count, 8), np.nan)
    share = np.minimum(_WINDOW_SHARE, clear * 0.9)
    along = np.hypot(*steps[:, :, 0].T) * square
    across = np.hypot(*steps[:, :, 1].T) * square
    reach = np.minimum(share * (along + across) / 2 * 1.1, _LARGEST_WINDOW_PX)
    halves = np.clip(np.ceil(reach), 3, _LARGEST_WINDOW_PX).astype(int)
    for half in np.unique(halves):
        chosen = np.flatnonzero(halves == half)
        for part in np.array_split(chosen, max(1, math.ceil(len(chosen) / 64))):
            out[part] = _fit_saddles(
                gray, px[part], steps[part], square, signs[part], share[part], int(half)
            )
    sigma, blur, contrast, white, misfit, shift = out[:, 2:].T
    side = np.minimum(along, across)
    with np.errstate(invalid="ignore"):
        good = (
            np.isfinite(out).all(axis=1)
            & (contrast > 4)
            & (misfit < 0.3 * contrast)
            & (shift < 0.15 * side + 1.0)
            & (blur < 0.35 * side)
            & (blur > 0.15)
            & (sigma < 0.1 * side)
        )
    return Corners(numbers, out[:, :2], sigma, blur, contrast, white, side).pick(good)


def _fit_saddles(
    gray: Image, px: Array, steps: Array, square: float, signs: Array, share: Array, half: int
) -> Array:
    """(N, 8): x, y, sigma, blur, contrast, white, rms misfit, shift; NaN where it failed."""
    from scipy.special import erf

    n = len(px)
    h, w = gray.shape
    base = np.round(np.nan_to_num(px, nan=-1e6)).astype(np.int64)
    inside = np.all((base >= half) & (base < np.array([w, h]) - half), axis=1)
    safe = np.where(inside[:, None], base, half)
    k = np.arange(-half, half + 1)
    oy, ox = (a.ravel().astype(np.float64) for a in np.meshgrid(k, k, indexing="ij"))
    iy = safe[:, 1, None] + oy.astype(np.int64)
    ix = safe[:, 0, None] + ox.astype(np.int64)
    values = gray[iy, ix].astype(np.float64)

    inverse = np.linalg.inv(np.where(inside[:, None, None], steps, np.eye(2)))
    start = np.where(inside[:, None], px - base, 0.0)
    u = inverse[:, 0, 0, None] * (ox - start[:, :1]) + inverse[:, 0, 1, None] * (oy - start[:, 1:])
    v = inverse[:, 1, 0, None] * (ox - start[:, :1]) + inverse[:, 1, 1, None] * (oy - start[:, 1:])
    limit = (share * square)[:, None]
    weight = ((np.abs(u) < limit) & (np.abs(v) < limit)).astype(np.float64)
    used = weight.sum(axis=1)
    inside &= used >= 20

    # unit normals of the two edges, pointing to +u and +v
    nu, nv = inverse[:, 0], inverse[:, 1]
    p = np.empty((n, 9))
    p[:, 0:2] = start
    p[:, 2] = np.arctan2(nu[:, 1], nu[:, 0])
    p[:, 3] = np.arctan2(nv[:, 1], nv[:, 0])
    p[:, 4] = 0.9
    mean = (values * weight).sum(axis=1) / np.maximum(used, 1)
    p[:, 5] = mean
    spread = np.sqrt((weight * (values - mean[:, None]) ** 2).sum(axis=1) / np.maximum(used, 1))
    p[:, 6] = np.maximum(spread, 1.0)
    p[:, 7:9] = 0.0
    root2 = math.sqrt(2.0)
    left = np.zeros_like(values)
    normal = np.tile(np.eye(9), (n, 1, 1))
    turn0 = p[:, 2:4].copy()
    going = np.arange(n)
    for round_ in range(9):
        q = p[going]
        x, y, s, a = q[:, :1], q[:, 1:2], q[:, 4:5], q[:, 6:7]
        dx, dy = ox - x, oy - y
        cu, su, cv, sv = np.cos(q[:, 2:3]), np.sin(q[:, 2:3]), np.cos(q[:, 3:4]), np.sin(q[:, 3:4])
        du, dv = cu * dx + su * dy, cv * dx + sv * dy
        eu, ev = erf(du / (root2 * s)), erf(dv / (root2 * s))
        sign = -signs[going, None]
        saddle = sign * eu * ev
        off = values[going] - (q[:, 5:6] + a * saddle + q[:, 7:8] * dx + q[:, 8:9] * dy)
        left[going] = off
        if round_ == 8:
            break
        a = a * sign * math.sqrt(2 / math.pi) / s
        a_u, a_v = a * np.exp(-0.5 * (du / s) ** 2) * ev, a * np.exp(-0.5 * (dv / s) ** 2) * eu
        J = np.empty((len(going), 9, len(ox)))
        J[:, 0] = -(a_u * cu + a_v * cv) - q[:, 7:8]
        J[:, 1] = -(a_u * su + a_v * sv) - q[:, 8:9]
        J[:, 2] = a_u * (cu * dy - su * dx)
        J[:, 3] = a_v * (cv * dy - sv * dx)
        J[:, 4] = -(a_u * du + a_v * dv) / s
        J[:, 5] = 1.0
        J[:, 6] = saddle
        J[:, 7] = dx
        J[:, 8] = dy
        JW = J * weight[going, None]
        normal[going] = squares = JW @ J.transpose(0, 2, 1)
        damped = squares + (1e-6 + 1e-4 * (round_ < 3)) * np.einsum("nii->ni", squares)[
            :, :, None
        ] * np.eye(9)
        damped += 1e-9 * np.eye(9)
        step = np.linalg.solve(damped, JW @ off[:, :, None])[:, :, 0]
        step[:, :2] = np.clip(step[:, :2], -1.0, 1.0)
        step[:, 2:4] = np.clip(step[:, 2:4], -0.1, 0.1)
        step[:, 4] = np.clip(step[:, 4], -0.4, 0.6)
        step = np.where(np.isfinite(step), step, 0.0)
        q += step
        q[:, 4] = np.clip(q[:, 4], 0.2, 0.4 * half + 1)
        p[going] = q
        if round_ > 3:  # those that came to rest are left alone
            going = going[np.abs(step[:, :5]).max(axis=1) >= 1e-4]
            if not len(going):
                break
    freedom = np.maximum(used - 9, 1)
    variance = (weight * left**2).sum(axis=1) / freedom
    covariance = np.linalg.pinv(normal)
    out = np.empty((n, 8))
    out[:, 0:2] = p[:, :2] + base
    noise = variance * (covariance[:, 0, 0] + covariance[:, 1, 1]) / 2
    out[:, 2] = np.sqrt(np.maximum(noise, 0))
    out[:, 3] = p[:, 4]
    out[:, 4] = p[:, 6]
    out[:, 5] = p[:, 5] + p[:, 6]
    out[:, 6] = np.sqrt(variance)
    out[:, 7] = np.hypot(*(p[:, :2] - start).T)
    turned = np.abs(p[:, 2:4] - turn0).max(axis=1) > 0.35
    out[~inside | turned] = np.nan
    return out
