"""An independent judge of lays: plain shapely on what a lay says about itself, no planner code.

Shares nothing with `drafting.lay` but the public contract: placements with `outline_mm`,
`cloth_from_piece`, `turn`, `mirrored`. Limits: overlap depth 0.02 mm, outside 1 mm², fold 0.05 mm,
turn 0.01°, phase 0.5 mm. `test_lay_judge.py` proves by planted faults that it sees.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

OVERLAP_MM, OUTSIDE_MM2, FOLD_MM, TURN_DEG, PHASE_MM = 0.02, 1.0, 0.05, 0.01, 0.5
RIM_MM = 0.02


def judge(
    placements: Sequence[Any],
    *,
    width: float,
    length: float | None = None,
    outline: Sequence[Any] | None = None,
    holes: Sequence[Any] = (),
    flaws: Sequence[Any] = (),
    tolerant: Sequence[str] = (),
    fold: bool = False,
    double: bool = False,
    selvedge: float = 0.0,
    distance: float = 0.0,
    turns: Mapping[str, Sequence[float]] | None = None,
    tilt: float = 0.0,
    on_fold: Sequence[str] = (),
    sides: Mapping[str, bool] | None = None,
    shapes: Mapping[str, Any] | None = None,
    scale: tuple[float, float] = (1.0, 1.0),
    phases: Sequence[tuple[str, tuple[float, float]]] = (),
    repeat: tuple[float, float] = (0.0, 0.0),
    wanted: Mapping[str, int] | None = None,
    left_out: Sequence[str] = (),
) -> list[str]:
    """Every violation found, in words.

    ``shapes``: piece → its true outline (N, 2) in the piece frame (the half on a fold), against which
    the laid outline is held; ``phases``: (piece, match point) that must fall on one phase of
    ``repeat`` (along, across); ``double``: both selvedges are folded to the middle; ``wanted``: piece → number of cutting lines; ``flaws``: kept clear
    of by all but ``tolerant`` pieces; ``sides``: piece → whether it must lie turned over.
    """
    found: list[str] = []
    laid = [(p, Polygon(p.outline_mm)) for p in placements]
    for p, shape in laid:
        if not shape.is_valid:
            found.append(f"{p.piece}/{p.copy}: outline crosses itself")
        if not shape.exterior.is_ccw:
            found.append(f"{p.piece}/{p.copy}: outline is not counter-clockwise")

    for i, (p, a) in enumerate(laid):
        for q, b in laid[i + 1 :]:
            names = f"{p.piece}/{p.copy} and {q.piece}/{q.copy}"
            if (
                getattr(p, "lower", False) != getattr(q, "lower", False)
                and p.how == q.how == "single"
            ):
                continue  # cut from different layers
            if a.buffer(-RIM_MM / 2).intersects(b.buffer(-RIM_MM / 2)):
                found.append(f"{names}: overlap {a.intersection(b).area:.3f} mm²")
            if distance and a.distance(b) < distance - OVERLAP_MM:
                found.append(f"{names}: {a.distance(b):.3f} mm apart instead of {distance}")

    if outline is not None:
        cloth = Polygon(outline)
    else:
        low = 0.0 if fold else selvedge
        high = (width / 2 if fold else width) - selvedge
        end = length if length is not None else 1e7
        cloth = box(0.0, low, end, high)
        if double:  # two lanes, each with a fold on its outer side; the selvedges meet between them
            lane = width / 4 - selvedge
            cloth = box(0.0, 0.0, end, lane).union(box(0.0, width / 2 - lane, end, width / 2))
    if holes:
        cloth = cloth.difference(unary_union([Polygon(h) for h in holes]))
    good = cloth.difference(unary_union([Polygon(f) for f in flaws])) if flaws else cloth
    for p, shape in laid:
        for region, name in ((cloth, "outside the cloth"), (good, "over a flaw")):
            if name == "over a flaw" and p.piece in tolerant:
                continue
            out = shape.difference(region)
            deep = shape.buffer(-RIM_MM).difference(region)
            if out.area > OUTSIDE_MM2 or deep.area > 0.0:
                found.append(f"{p.piece}/{p.copy}: {out.area:.2f} mm² {name}")
                break

    for p, _ in laid:
        if sides is not None and p.piece in sides and bool(p.mirrored) != sides[p.piece]:
            found.append(f"{p.piece}/{p.copy}: wrong side up")

    for p, shape in laid:
        if p.piece in on_fold:
            upper = double and shape.centroid.y > width / 4
            line = width / 2 if upper else 0.0
            edge = [q for q in np.asarray(p.outline_mm) if abs(q[1] - line) <= FOLD_MM]
            run = max((q[0] for q in edge), default=0) - min((q[0] for q in edge), default=0)
            over = shape.bounds[3] > line + FOLD_MM if upper else shape.bounds[1] < -FOLD_MM
            if over or len(edge) < 2 or run < 1.0:
                found.append(f"{p.piece}/{p.copy}: its fold edge is not on the fold")

    for p, _ in laid:
        m = np.asarray(p.cloth_from_piece, dtype=float)
        # +y of the piece runs along the cloth at turn 0: its direction is the turn
        angle = math.degrees(math.atan2(m[1, 1], m[0, 1])) % 360.0
        if abs((angle - p.turn + 180) % 360 - 180) > TURN_DEG:
            found.append(f"{p.piece}/{p.copy}: says turn {p.turn}, is {angle:.3f}")
        if (np.linalg.det(m[:2, :2]) < 0) != bool(p.mirrored):
            found.append(f"{p.piece}/{p.copy}: says mirrored {p.mirrored}, is not so")
        if turns is not None and p.piece in turns:
            gap = min(abs((angle - t + 180) % 360 - 180) for t in turns[p.piece])
            if gap > tilt + TURN_DEG:
                found.append(f"{p.piece}/{p.copy}: turned {angle:.3f}, not allowed")

    if shapes is not None:
        for p, shape in laid:
            if p.piece not in shapes:
                continue
            half = Polygon(shapes[p.piece])
            whole = half
            if p.piece not in on_fold and getattr(p, "opened", False):
                whole = unary_union([half, affinity.scale(half, -1, 1, origin=(0, 0))])
            m = np.asarray(p.cloth_from_piece, dtype=float)
            a, b, c, d = m[0, 0], m[0, 1], m[1, 0], m[1, 1]
            true = affinity.affine_transform(whole, (a, b, c, d, m[0, 2], m[1, 2]))
            if abs(abs(a * d - b * c) - scale[0] * scale[1]) > 1e-6:
                found.append(f"{p.piece}/{p.copy}: is scaled by {abs(a * d - b * c):.6f}")
            if true.symmetric_difference(shape).area > 1.0:
                found.append(f"{p.piece}/{p.copy}: outline is not the piece's")

    first: Any = None
    for p, _ in laid:
        for name, point in phases:
            if p.piece != name:
                continue
            m = np.asarray(p.cloth_from_piece, dtype=float)
            at = m[:2, :2] @ np.asarray(point, dtype=float) + m[:2, 2]
            first = at if first is None else first
            for axis in (0, 1):
                if not repeat[axis]:
                    continue
                off = (at[axis] - first[axis]) / repeat[axis]
                if abs(off - round(off)) * repeat[axis] > PHASE_MM:
                    found.append(f"{p.piece}/{p.copy}: off phase by {off % 1:.3f} of the repeat")

    if wanted is not None:
        have = Counter(p.piece for p in placements) + Counter(k.rsplit("/", 1)[0] for k in left_out)
        if dict(have) != {k: v for k, v in wanted.items() if v}:
            found.append(f"laid and left out are {dict(have)}, wanted {dict(wanted)}")
        keys = [f"{p.piece}/{p.copy}" for p in placements]
        if len(set(keys)) != len(keys):
            found.append("a copy is laid twice")
    return found


def cut_up(
    rng: np.random.Generator,
    length: float,
    width: float,
    count: int,
    *,
    gap: float = 0.0,
    bent: bool = False,
) -> list[np.ndarray[Any, Any]]:
    """A cloth of ``length`` × ``width`` cut into ``count`` pieces by slanted cuts, or bent ones.

    They fit it by construction, so its length is the known optimum. ``gap``: each piece is set in by
    half of it, so they lie that far apart.
    """
    parts = [box(0, 0, length, width)]
    while len(parts) < count:
        i = max(range(len(parts)), key=lambda k: parts[k].area * rng.uniform(0.4, 1.0))
        part = parts.pop(i)
        left, low, right, high = part.bounds
        across = right - left > high - low
        t = rng.uniform(0.35, 0.65)
        slant = rng.uniform(-0.08, 0.08)
        bend = rng.uniform(-0.12, 0.12) if bent else 0.0
        if across:
            x = left + t * (right - left)
            d, e = bend * (right - left), slant * (high - low)
            line = [(x - d - e, low - 1), (x + d, 0.5 * (low + high)), (x - d + e, high + 1)]
            side = Polygon([*line, (left - 1e4, high + 1), (left - 1e4, low - 1)])
        else:
            y = low + t * (high - low)
            d, e = bend * (high - low), slant * (right - left)
            line = [(left - 1, y - d - e), (0.5 * (left + right), y + d), (right + 1, y - d + e)]
            side = Polygon([*line, (right + 1, low - 1e4), (left - 1, low - 1e4)])
        one, two = part.intersection(side), part.difference(side)
        if one.geom_type != "Polygon" or two.geom_type != "Polygon" or min(one.area, two.area) < 1:
            parts.append(part)
            continue
        parts += [one, two]
    if gap:
        parts = [p.buffer(-gap / 2, join_style="mitre") for p in parts]
    return [np.array(p.exterior.coords)[:-1] for p in parts]
