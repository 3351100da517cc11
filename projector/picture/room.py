"""Room: where something may stand on the table without covering what matters.

Between `scene` and `sitting`, for the strip's handle and the check square. The beam is looked at
as a raster along her reading axes; lines that may be covered only at a price are counted into it,
and one summed-area table answers every place at once.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drafting.placement import Array
from projector.picture.frame import Lens

_CELL_MM = 8.0


def place(
    lens: Lens,
    read: Array,
    size_mm: tuple[float, float],
    near_mm: Array,
    *,
    lines: Sequence[tuple[Array, float]] = (),
    keep_off: Sequence[Array] = (),
    stay: Array | None = None,
) -> Array | None:
    """Where the lower left corner of an upright box stands best; None when the beam is too small.

    Args:
        lens: of the beam.
        read: (2, 2) columns: her directions right and away, in the table frame.
        size_mm: of the box, right and away.
        near_mm: (2,) table mm that the box's middle should be near.
        lines: points (M, 2) table mm and the price of covering each of them.
        keep_off: quads (4, 2) table mm that the box may not meet.
        stay: (2,) corner where it stands now; kept as long as nothing priced at 1 or more is covered.
    """
    seen = lens.beam_mm @ read
    low, high = seen.min(axis=0), seen.max(axis=0)
    n, m = np.ceil((high - low) / _CELL_MM).astype(int)
    x, y = low[0] + _CELL_MM * (np.arange(n) + 0.5), low[1] + _CELL_MM * (np.arange(m) + 0.5)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), -1)
    ends = [low[k] + _CELL_MM * np.arange(c + 1) for k, c in enumerate((n, m))]
    corners = np.stack(np.meshgrid(*ends, indexing="ij"), -1)
    dark = ~lens.covers(corners.reshape(-1, 2) @ read.T).reshape(n + 1, m + 1)
    barred = dark[1:, 1:] | dark[1:, :-1] | dark[:-1, 1:] | dark[:-1, :-1]
    for quad in keep_off:
        ring = quad @ read
        d = np.roll(ring, -1, axis=0) - ring
        d /= np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)[:, None]
        away = d[:, 0] * (grid[..., 1:] - ring[:, 1]) - d[:, 1] * (grid[..., :1] - ring[:, 0])
        barred |= (away >= -_CELL_MM).all(axis=-1) | (away <= _CELL_MM).all(axis=-1)
    price = np.zeros((n, m))
    for points, each in lines:
        at = np.floor((points @ read - low) / _CELL_MM).astype(int)
        inside = ((at >= 0) & (at < (n, m))).all(axis=1)
        np.add.at(price, tuple(at[inside].T), each)
    w, h = (
        int(np.ceil(s / _CELL_MM)) + 1 for s in size_mm
    )  # a cell more: it stands anywhere in it
    if w > n or h > m:
        return None
    cost = _box_sums(price, w, h)
    free = _box_sums(barred.astype(float), w, h) == 0.0
    if not free.any():
        return None
    corner = grid[: n - w + 1, : m - h + 1] - 0.5 * _CELL_MM
    if stay is not None:
        i, j = np.round((stay @ read - corner[0, 0]) / _CELL_MM).astype(int)
        if 0 <= i < len(free) and 0 <= j < len(free[0]) and free[i, j] and cost[i, j] < 1.0:
            return stay
    middle = corner + 0.5 * np.asarray(size_mm)
    far = np.hypot(*np.moveaxis(middle - near_mm @ read, -1, 0))
    best = np.where(free, cost + 1e-4 * far, np.inf)
    i, j = np.unravel_index(int(np.argmin(best)), best.shape)
    return np.asarray(read @ corner[i, j])


def any_in_quad(points: Array, quad: Array) -> bool:
    """Whether any of the points (N, 2) lies in a convex quad (4, 2)."""
    d = np.roll(quad, -1, axis=0) - quad
    side = d[:, 0] * (points[:, 1:2] - quad[:, 1]) - d[:, 1] * (points[:, 0:1] - quad[:, 0])
    return bool(((side >= 0).all(axis=1) | (side <= 0).all(axis=1)).any())


def _box_sums(values: Array, w: int, h: int) -> Array:
    """(N − w + 1, M − h + 1) sums over every box of ``w`` by ``h`` cells."""
    table = np.zeros((values.shape[0] + 1, values.shape[1] + 1))
    table[1:, 1:] = values.cumsum(axis=0).cumsum(axis=1)
    return np.asarray(table[w:, h:] - table[:-w, h:] - table[w:, :-h] + table[:-w, :-h])
