"""Where crosses are chalked: in the overlaps, far apart, off every line, letter and piece's rim."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from configs.errors import InputError
from drafting.cloth import Cloth
from drafting.placement import Array

if TYPE_CHECKING:
    from shapely import STRtree
from projector.tools.bays.model import (
    CROSS_ARM_MM,
    FROM_EDGE_MM,
    LEAST_CROSSES,
    MOST_CROSSES,
    Box,
    Cross,
    Mask,
    inside,
)
from projector.tools.bays.plane import gap_to, tree_of, within

LEAST_ARM_MM = 5.0
_CLEAR_MM = 1.0  # between the tip of a cross and the nearest line
_ON_PIECE_PRICE, _SHORT_ARM_PRICE, _OLD_PRICE = 0.25, 0.1, -0.02  # against a variance of about 0.5
APART_MM = 60.0  # two crosses closer than this might be taken for one another
_PITCH_MM = 12.0
_LABELS = "ABCDEFGHJKLMNPRSTUVWXYZ"  # no I, O, Q: they read as 1 and 0 in chalk


def placed_crosses(
    rect: Box,
    shares: Sequence[Box],
    earlier: Sequence[Box],
    lines: STRtree | None,
    outlines: Sequence[Array],
    divided: Sequence[Array],
    cloth: Cloth | None,
    known: Mapping[str, Cross],
) -> list[Cross]:
    """Up to four crosses that say best how this bay lies to the earlier ones."""
    spots = _grid(rect, earlier)
    spots = spots[_on_cloth(spots, cloth)] if len(spots) else spots
    old = [c for c in known.values() if inside(c.at, rect, FROM_EDGE_MM - 0.2)]
    gap = gap_to(spots, lines, CROSS_ARM_MM + _CLEAR_MM)  # more room than that is no better
    free = gap >= LEAST_ARM_MM + _CLEAR_MM
    for other in known.values():  # an earlier bay's too: their letters would lie on each other
        free &= np.hypot(*(spots - other.at).T) >= APART_MM
    spots, gap = spots[free], gap[free]
    on_piece = within(spots, outlines)
    arm = np.minimum(CROSS_ARM_MM, gap - _CLEAR_MM)
    price = _ON_PIECE_PRICE * on_piece + _SHORT_ARM_PRICE * (arm < CROSS_ARM_MM)
    pool = np.vstack([np.array([c.at for c in old]).reshape(-1, 2), spots])
    price = np.concatenate([np.full(len(old), _OLD_PRICE), price])
    pick = _spread(pool, price, _targets(rect, shares, divided)) if len(pool) else []
    if len(pick) < LEAST_CROSSES:
        raise InputError.of(
            "bays",
            "no two crosses find room in the overlap of two bays.",
            "Move a piece that fills the cloth there, or raise the projector.",
        )
    out = []
    for i in pick:
        if i < len(old):
            out.append(old[i])
            continue
        k = i - len(old)
        label = _label(len(known) + sum(c.label not in known for c in out))
        at = (float(spots[k, 0]), float(spots[k, 1]))
        out.append(Cross(label, at, bool(on_piece[k]), round(float(arm[k]), 1)))
    return out


def _label(n: int) -> str:
    turn, letter = divmod(n, len(_LABELS))
    return _LABELS[letter] + (str(turn + 1) if turn else "")


def _grid(rect: Box, earlier: Sequence[Box]) -> Array:
    """(N, 2) places inside the bay and inside an earlier one, away from both rims."""
    e = FROM_EDGE_MM
    found = []
    for other in earlier:
        x0, x1 = max(rect[0], other[0]) + e, min(rect[2], other[2]) - e
        y0, y1 = max(rect[1], other[1]) + e, min(rect[3], other[3]) - e
        if x0 > x1 or y0 > y1:
            continue
        xs = np.linspace(x0, x1, max(1, math.ceil((x1 - x0) / _PITCH_MM) + 1))
        ys = np.linspace(y0, y1, max(1, math.ceil((y1 - y0) / _PITCH_MM) + 1))
        gx, gy = np.meshgrid(xs, ys)
        found.append(np.column_stack([gx.ravel(), gy.ravel()]))
    if not found:
        return np.zeros((0, 2))
    return np.unique(np.round(np.vstack(found), 1), axis=0)


def _targets(rect: Box, shares: Sequence[Box], divided: Sequence[Array]) -> Array:
    """(T, 2) where lines are handed over to this bay, and its middle for the pieces in it."""
    found = []
    rims = {(axis, s[axis + k]) for s in shares for axis in (0, 1) for k in (0, 2)}
    for axis, level in sorted(rims):
        if not math.isfinite(level):
            continue
        for line in divided:
            p, q = line[:-1], line[1:]
            hit = (p[:, axis] <= level) != (q[:, axis] <= level)
            if hit.any():
                t = (level - p[hit, axis]) / (q[hit, axis] - p[hit, axis])
                at = p[hit] + (q[hit] - p[hit]) * t[:, None]
                found += [c for c in at.tolist() if inside(c, rect)]
    middle = [0.5 * (rect[0] + rect[2]), 0.5 * (rect[1] + rect[3])]
    return np.array(found + [middle] * max(1, len(found) // 2))


def _spread(pool: Array, price: Array, targets: Array) -> list[int]:
    """Indices of the crosses that make the error at the targets least.

    The variance of a rigid fit at a place is proportional to 1/n + d²/(2 Q) (see
    `align.Registration.expected_error_mm`); chosen greedily, then exchanged one by one.
    """
    if len(pool) > 1200:
        keep = np.linspace(0, len(pool) - 1, 1200).astype(int)
        pool, price = pool[keep], price[keep]
    else:
        keep = np.arange(len(pool))
    middle = targets.mean(axis=0)
    own = float(np.mean(np.sum((targets - middle) ** 2, axis=1)))

    def worth(others: list[int]) -> Array:
        """(N,) cost of the set ``others`` with each candidate added; infinite if too close."""
        base = pool[others]
        n = len(others) + 1
        c = (base.sum(axis=0) + pool) / n
        q = np.sum(base**2) + np.sum(pool**2, axis=1) - n * np.sum(c**2, axis=1)
        d2 = np.sum((c - middle) ** 2, axis=1) + own
        cost = (
            1.0 / n + d2 / (2.0 * np.maximum(q, 1e-6)) + price / n + float(price[others].sum()) / n
        )
        for i in others:
            cost = np.where(np.hypot(*(pool - pool[i]).T) < APART_MM, np.inf, cost)
        return np.asarray(cost)

    far = np.argmax(np.hypot(*(pool - pool.mean(axis=0)).T))
    pick = [int(far)]
    while len(pick) < MOST_CROSSES:
        cost = worth(pick)
        best = int(np.argmin(cost))
        if not math.isfinite(cost[best]):
            break
        pick.append(best)
    for _ in range(6):
        before = list(pick)
        for k in range(len(pick)):
            others = pick[:k] + pick[k + 1 :]
            if others:
                cost = worth(others)
                pick[k] = int(np.argmin(cost))
        if pick == before:
            break
    return [int(keep[i]) for i in sorted(pick, key=lambda i: (pool[i, 0], pool[i, 1]))]


def _on_cloth(points: Array, cloth: Cloth | None) -> Mask:
    """(N,) on the cloth and away from its rim; everywhere when its size is not known."""
    if cloth is None:
        return np.ones(len(points), dtype=bool)
    outline, e = cloth.lie_outline_mm, FROM_EDGE_MM
    plain = outline is None or (cloth.outline is None and not cloth.holes)
    if outline is None:
        width = cloth.lie_width_mm or math.inf
        outline = np.array([(0.0, 0.0 if math.isfinite(width) else -math.inf), (math.inf, width)])
    if plain:  # a length of cloth: no geometry needed
        low, high = outline.min(axis=0) + e, outline.max(axis=0) - e
        return np.asarray(((points >= low) & (points <= high)).all(axis=1))
    rings = [np.asarray(r, dtype=np.float64) for r in (outline, *cloth.holes)]
    ok = within(points, rings[:1])
    for hole in rings[1:]:
        ok &= ~within(points, [hole])
    closed = [np.vstack([r, r[:1]]) for r in rings]
    return np.asarray(ok & (gap_to(points, tree_of(closed)) >= FROM_EDGE_MM))
