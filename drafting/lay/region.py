"""The part of the cloth that may be cut, as a shape: outline, selvedges, holes, flaws.

Used by the planners (what lies outside becomes an obstacle) and by the exact check.
"""

from __future__ import annotations

import math
from typing import Any

from drafting.cloth import Cloth


def usable_region(cloth: Cloth, end_mm: float | None = None, *, flaws: bool = False) -> Any:
    """The usable cloth as a shapely polygon, cloth frame, cut off at x = ``end_mm``.

    ``flaws``: take them out too (for pieces that may not cover one). Off the bolt ``end_mm`` is
    needed. Flaws and holes are as the cloth lies.
    """
    from shapely.geometry import Polygon, box
    from shapely.ops import unary_union

    start, stop = cloth.x_range_mm
    if end_mm is not None:
        stop = min(stop, max(end_mm, start))
    if not math.isfinite(stop):
        raise ValueError("cloth off the bolt has no end of its own")
    low, high = cloth.y_range_mm
    shape: Any = box(start, low, stop, high)
    if cloth.outline is not None:
        shape = shape.intersection(Polygon(cloth.outline))
    if cloth.meeting_mm is not None:
        shape = shape.difference(box(start, cloth.meeting_mm[0], stop, cloth.meeting_mm[1]))
    out = [Polygon(r) for r in cloth.holes] + ([Polygon(r) for r in cloth.flaws] if flaws else [])
    return shape.difference(unary_union(out)) if out else shape
