"""The part of the cloth that may be cut, as a shape: outline, selvedges, holes, flaws.

Used by the planners (what lies outside becomes an obstacle) and by the exact check.
"""

from __future__ import annotations

import math
from typing import Any

from drafting.cloth import Cloth


def usable_region(
    cloth: Cloth, end_mm: float | None = None, *, flaws: bool = False, layers: int | None = None
) -> Any:
    """The usable cloth as a shapely polygon, cloth frame, cut off at x = ``end_mm``.

    ``flaws``: take them out too (for pieces that may not cover one); ``layers``: only where the cloth
    lies in so many. Off the bolt ``end_mm`` is
    needed. Flaws and holes are as the cloth lies.
    """
    from shapely.geometry import Polygon, box
    from shapely.ops import unary_union

    start, stop = cloth.x_range_mm
    if end_mm is not None:
        stop = min(stop, max(end_mm, start))
    if not math.isfinite(stop):
        raise ValueError("cloth off the bolt has no end of its own")
    out = [Polygon(r) for r in cloth.holes] + ([Polygon(r) for r in cloth.flaws] if flaws else [])
    zones = [z for z in cloth.zones if layers in (None, z.layers) and z.x[0] <= min(z.x[1], stop)]
    shape = unary_union([box(z.x[0], z.y[0], min(z.x[1], stop), z.y[1]) for z in zones])
    if cloth.outline is not None:
        shape = shape.intersection(Polygon(cloth.outline))
    return shape.difference(unary_union(out)) if out else shape


def area_to(cloth: Cloth, end_mm: float) -> float:
    """Usable cloth up to x = ``end_mm``, each layer counted, mm²."""
    return sum(n * float(usable_region(cloth, end_mm, layers=n).area) for n in (1, 2))
