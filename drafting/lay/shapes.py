"""Outlines as the planners need them: a little simplified, in convex parts, on a raster.

The base of the lay. Simplifying only ever adds area (at most a stated depth), so what is valid
for the simplified outline is valid for the true one; the exact check uses the true one anyway.

Conventions: rings are (N, 2) float64, mm, counter-clockwise, first point not repeated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.outline import Points, signed_area
from drafting.placement import carry, cloth_from_piece, grain_turn

_SYMMETRY_MM = 0.1  # a mirror image closer than this is the same piece


def _before(values: NDArray[Any]) -> NDArray[Any]:
    """The same values moved on by one: each one's predecessor (np.roll is ten times slower here)."""
    return np.concatenate([values[-1:], values[:-1]])


def _after(values: NDArray[Any]) -> NDArray[Any]:
    """Each one's successor."""
    return np.concatenate([values[1:], values[:1]])


def _bends(ring: Points) -> tuple[Points, Points, Points]:
    """Of each point the edge to it, the edge from it, and their cross product: above 0 where it bulges."""
    a, b = ring - _before(ring), _after(ring) - ring
    return a, b, a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def counter_clockwise(ring: Points) -> Points:
    """The ring with its orientation made counter-clockwise."""
    return ring if signed_area(ring) >= 0 else ring[::-1].copy()


def cleaned(ring: Points, eps: float = 1e-4) -> Points:
    """Without repeated points and without points lying on the line of their neighbours."""
    pts = np.asarray(ring, dtype=np.float64)
    if len(pts) > 1 and np.allclose(pts[0], pts[-1], atol=1e-9):
        pts = pts[:-1]
    step = np.linalg.norm(pts - _before(pts), axis=1)
    pts = pts[step > eps]
    for _ in range(3):
        if len(pts) <= 3:
            break
        a, b, cross = _bends(pts)
        base = np.linalg.norm(a + b, axis=1) + 1e-12
        ahead = np.einsum("ij,ij->i", a, b) > 0
        flat = (np.abs(cross) / base < eps * 0.1) & ahead
        flat &= ~_before(flat)  # never two neighbours in one pass
        if not flat.any():
            break
        pts = pts[~flat]
    out: Points = pts
    return out


def same_turned_over(ring: Points, grain: Any) -> bool:
    """Whether turning a piece over about its grain (two points) gives the same piece at the shears."""
    from shapely.geometry import Polygon

    upright = carry(cloth_from_piece((0.0, 0.0), 90.0 + grain_turn(grain), False), ring)
    mirror = upright * (-1.0, 1.0)
    mirror = mirror + (upright.min(axis=0) - mirror.min(axis=0))
    one, two = Polygon(upright), Polygon(mirror)
    return bool(one.buffer(_SYMMETRY_MM).covers(two) and two.buffer(_SYMMETRY_MM).covers(one))


def simplified_around(ring: Points, tolerance: float) -> Points:
    """A ring with fewer points that covers the given one and reaches at most ~2 × tolerance out.

    Hollow corners are bridged, short edges between bulging corners are replaced by the meeting
    point of their neighbours. Falls back to the ring itself when the result would not be simple.
    """
    import shapely
    from shapely.geometry import Polygon

    original = cleaned(counter_clockwise(ring))
    for allowed in (tolerance, tolerance / 4.0):
        made = _simplify(original, allowed)
        if len(made) >= len(original):
            return original
        shape = Polygon(made)
        if shape.is_valid and shape.buffer(1e-6).covers(Polygon(original)):
            far = float(np.max(shapely.distance(Polygon(original), shapely.points(made))))
            if far <= 2.5 * tolerance:
                return made
    return original


def _simplify(ring: Points, tolerance: float) -> Points:
    pts = ring.copy()
    for _ in range(40):
        n = len(pts)
        if n <= 4:
            break
        a, b, cross = _bends(pts)
        chord = _after(pts) - _before(pts)
        hollow = np.where(
            cross <= 0, np.abs(cross) / (np.linalg.norm(chord, axis=1) + 1e-12), np.inf
        )
        # the corner where the edge before i and the edge after i + 1 meet, when both ends bulge
        nxt = _after(b)
        turn = a[:, 0] * nxt[:, 1] - a[:, 1] * nxt[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (b[:, 0] * nxt[:, 1] - b[:, 1] * nxt[:, 0]) / turn
            tip = pts + a * t[:, None]
            out = (b[:, 0] * (tip - pts)[:, 1] - b[:, 1] * (tip - pts)[:, 0]) / (
                np.linalg.norm(b, axis=1) + 1e-12
            )
        both = (cross > 0) & (_after(cross) > 0) & (turn > 1e-9)
        sharp = np.where(both, np.abs(out), np.inf)
        sharp[~np.isfinite(sharp)] = np.inf
        cost = np.minimum(hollow, sharp)
        if cost.min() > tolerance:
            break
        busy = np.zeros(n, dtype=bool)
        drop = np.zeros(n, dtype=bool)
        new = pts.copy()
        for i in np.argsort(cost):
            if cost[i] > tolerance:
                break
            touched = [(i - 1) % n, i, (i + 1) % n, (i + 2) % n]
            if busy[touched].any():
                continue
            busy[touched] = True
            drop[i] = True
            if sharp[i] < hollow[i]:
                new[(i + 1) % n] = tip[i]
        pts = new[~drop]
    return pts


def convex_parts(ring: Points) -> tuple[Points, ...]:
    """Convex rings that together make up the ring: its triangles, joined where it stays convex.

    Raises:
        ValueError: the ring crosses itself.
    """
    import shapely

    pts = cleaned(counter_clockwise(ring), 1e-6)
    shape = shapely.Polygon(pts)
    if not shape.is_valid:
        raise ValueError("the outline crosses itself")
    index = {(x, y): i for i, (x, y) in enumerate(pts.tolist())}
    triangles = []
    for made in shapely.constrained_delaunay_triangles(shape).geoms:
        corners = counter_clockwise(shapely.get_coordinates(made)[:-1])
        triangles.append([index[x, y] for x, y in corners.tolist()])
    return tuple(pts[part] for part in _joined(pts, triangles))


def _joined(pts: Points, parts: list[list[int]]) -> list[list[int]]:
    """Hertel and Mehlhorn: drop each diagonal that both its sides can do without, longest first."""
    rings: list[list[int] | None] = list(parts)
    owner: dict[tuple[int, int], int] = {}
    for r, ring in enumerate(parts):
        for u, v in zip(ring, ring[1:] + ring[:1], strict=True):
            owner[(u, v)] = r
    diagonals = [(u, v) for (u, v) in owner if u < v and (v, u) in owner]
    diagonals.sort(key=lambda d: -float(np.hypot(*(pts[d[0]] - pts[d[1]]))))
    for u, v in diagonals:
        r, s = owner[(u, v)], owner[(v, u)]
        if r == s:
            continue
        first, second = rings[r], rings[s]
        if first is None or second is None:
            continue
        i, j = first.index(v), second.index(u)
        one = first[i:] + first[:i]  # v … u
        two = second[j:] + second[:j]  # u … v
        merged = one + two[1:-1]
        if (_bends(pts[merged])[2] < -1e-9).any():
            continue
        rings[r], rings[s] = merged, None
        for x, y in zip(merged, merged[1:] + merged[:1], strict=True):
            owner[(x, y)] = r
    return [cleaned_index(pts, ring) for ring in rings if ring is not None]


def cleaned_index(pts: Points, ring: list[int]) -> list[int]:
    """The indices of a convex ring without those lying on the line of their neighbours."""
    keep = np.abs(_bends(pts[ring])[2]) > 1e-9
    return [i for i, k in zip(ring, keep, strict=True) if k] if keep.sum() >= 3 else ring


def sums(first: Sequence[Points], second: Sequence[Points] = (np.zeros((1, 2)),)) -> Points:
    """Minkowski sums {a + b} of each convex ring with each of the others, edges merged by angle.

    (K, M, 2), K pairs, the second running faster; counter-clockwise, some corners twice where there
    are fewer than M.
    """
    e, low_e = _edges_padded(first)
    f, low_f = _edges_padded(second)
    a, b = len(first), len(second)
    pairs = np.concatenate(
        [
            np.broadcast_to(e[:, None], (a, b, e.shape[1], 2)),
            np.broadcast_to(f[None], (a, b, f.shape[1], 2)),
        ],
        axis=2,
    ).reshape(a * b, -1, 2)
    low = (low_e[:, None] + low_f[None]).reshape(a * b, 1, 2)
    order = np.argsort(np.arctan2(pairs[..., 1], pairs[..., 0]), axis=1, kind="stable")
    ring = np.cumsum(np.take_along_axis(pairs, order[..., None], axis=1), axis=1)
    # angles start at −π, so the walk does not start at the lowest corner
    lowest = np.argmin(ring[..., 1] - 1e-9 * ring[..., 0], axis=1)
    out: Points = ring + low - np.take_along_axis(ring, lowest[:, None, None], axis=1)
    return out


def disc_around(radius: float, sides: int = 12) -> Points:
    """A regular ring of ``sides`` that holds the disc of ``radius``."""
    a = 2.0 * math.pi * (np.arange(sides) + 0.5) / sides
    return radius / math.cos(math.pi / sides) * np.column_stack([np.cos(a), np.sin(a)])


def row_spans(rings: Points, ys: Points) -> tuple[Points, Points]:
    """(K, R) leftmost and rightmost x of convex rings (K, M, 2), counter-clockwise, at each height
    ``ys`` (R,); +inf and −inf where they are not.

    Rows that only touch the lowest or highest point count as outside.
    """
    x0, y0 = rings[..., 0], rings[..., 1]
    x1, y1 = np.roll(x0, -1, axis=1), np.roll(y0, -1, axis=1)
    rise = y1 - y0
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(np.abs(rise) > 1e-12, (x1 - x0) / rise, 0.0)
    # the left side of a convex ring runs down, the right one up: of each the edge that holds the row
    up, down = rise > 1e-12, rise < -1e-12
    y = ys[None, :, None]
    at = x0[:, None, :] + (y - y0[:, None, :]) * slope[:, None, :]
    held = (y >= np.minimum(y0, y1)[:, None, :]) & (y <= np.maximum(y0, y1)[:, None, :])
    left = np.where(held & down[:, None, :], at, np.inf).min(axis=2)
    right = np.where(held & up[:, None, :], at, -np.inf).max(axis=2)
    bottom, top = y0.min(axis=1)[:, None], y0.max(axis=1)[:, None]
    off = (ys[None] <= bottom) | (ys[None] >= top)
    left[off], right[off] = np.inf, -np.inf
    return left, right


def _edges_padded(rings: Sequence[Points]) -> tuple[Points, Points]:
    """Edges of convex rings as (K, M, 2), made equally many by edges of no length, and their lowest corners."""
    most = max(map(len, rings))
    edges = np.zeros((len(rings), most, 2))
    for k, ring in enumerate(rings):
        edges[k, : len(ring)] = _after(ring) - ring
    return edges, np.array([r[int(np.argmin(r[:, 1] - 1e-9 * r[:, 0]))] for r in rings])


def fill_spans(left: Points, right: Points, width: int) -> NDArray[np.bool_]:
    """(R, width) mask of the cells left … right (both included) of each row, for stacked spans.

    ``left``, ``right``: (K, R) for K convex parts, numbers of cells; spans with left > right are empty.
    """
    k, rows = left.shape
    ok = (left <= right) & (right >= 0) & (left < width)
    row = np.broadcast_to(np.arange(rows), (k, rows))[ok]
    step = width + 1
    starts, ends = np.maximum(left[ok], 0.0), np.minimum(right[ok] + 1.0, width)
    marks = np.bincount(row * step + starts.astype(np.int64), minlength=rows * step) - np.bincount(
        row * step + ends.astype(np.int64), minlength=rows * step
    )
    out: NDArray[np.bool_] = np.cumsum(marks.reshape(rows, step), axis=1)[:, :width] > 0
    return out


def pieces_without_holes(shape: object) -> list[Points]:
    """Rings that together make up a shapely polygon (holes are cut open) or collection of them."""
    from shapely.geometry import MultiPolygon, Polygon, box

    todo = list(shape.geoms) if hasattr(shape, "geoms") else [shape]
    done: list[Points] = []
    while todo:
        part = todo.pop()
        if isinstance(part, MultiPolygon) or hasattr(part, "geoms"):
            todo.extend(part.geoms)
            continue
        if not isinstance(part, Polygon) or part.area < 1e-6:
            continue
        if not part.interiors:
            done.append(counter_clockwise(np.array(part.exterior.coords)[:-1, :2]))
            continue
        x = Polygon(part.interiors[0]).representative_point().x
        left, low, right, high = part.bounds
        todo.append(part.intersection(box(left - 1, low - 1, x, high + 1)))
        todo.append(part.intersection(box(x, low - 1, right + 1, high + 1)))
    return done
