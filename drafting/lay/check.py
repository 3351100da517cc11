"""Is a lay sound? Checked exactly, on the true cutting lines, before anyone sees it.

Every plan passes here before it replaces the last one, and again before it is saved. Planners work
on rasters and simplified outlines; this does not, and shares no code with them but the region.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import Fault
from drafting.cloth import Cloth
from drafting.lay.model import LaidPiece
from drafting.lay.region import usable_region

if TYPE_CHECKING:
    from drafting.lay.first import State
    from drafting.lay.job import Job
    from drafting.lay.model import Lay

OVERLAP_MM = 0.02
OUTSIDE_MM2 = 1.0
FOLD_MM = 0.05
TURN_DEG = 0.01
PHASE_MM = 0.5


def problems(lay: Lay) -> list[str]:
    """Everything wrong with a lay, one sentence each, naming pieces and mm."""
    found = _overlaps(lay.placements, lay.distance_mm)
    found += _outside(lay.placements, lay.cloth)
    if lay.job is not None:
        found += _against_rules(lay, lay.job)
    return found


def sound(placements: Sequence[LaidPiece], cloth: Cloth, distance_mm: float, job: Job) -> bool:
    """Whether placements are valid (those left out apart)."""
    if _overlaps(placements, distance_mm) or _outside(placements, cloth):
        return False
    return not (_turns_and_folds(placements, job) or _phases(placements, job))


def is_sound(job: Job, state: State) -> bool:
    """Whether a planner's state is valid (copies left out apart)."""
    return sound(job.laid_all(state.stance, state.at), job.cloth, job.distance, job)


def faults_among(laid: Sequence[LaidPiece], cloth: Cloth, distance_mm: float) -> list[Fault]:
    """What is contradictory about locked pieces, as faults that name them."""
    remedy = "Unlock one of them or move it."
    found = [Fault("locked pieces", text, remedy) for text in _overlaps(laid, distance_mm)]
    found += [
        Fault("locked pieces", text, "Unlock it or move it.") for text in _outside(laid, cloth)
    ]
    for p in laid:
        if p.on_fold and (text := _off_fold(p)):
            found.append(Fault("locked pieces", text, "Move its fold edge onto the fold."))
    return found


def _polygon(piece: LaidPiece) -> Any:
    from shapely.geometry import Polygon

    return Polygon(piece.outline_mm)


def _overlaps(laid: Sequence[LaidPiece], distance: float) -> list[str]:
    from shapely import STRtree

    if len(laid) < 2:
        return []
    shapes = [_polygon(p) for p in laid]
    found = []
    tree = STRtree(shapes)
    reach = max(distance, 0.0)
    for i, shape in enumerate(shapes):
        near = (
            tree.query(shape, predicate="dwithin", distance=reach) if reach else tree.query(shape)
        )
        for j in sorted(int(k) for k in near if k > i):
            depth = _depth(shape, shapes[j])
            names = f"{laid[i].key} and {laid[j].key}"
            if depth > OVERLAP_MM:
                found.append(f"{names} overlap by {depth:.2f} mm.")
            elif reach and (gap := shape.distance(shapes[j])) < reach - OVERLAP_MM:
                found.append(f"{names} are {gap:.2f} mm apart; {reach:g} mm are wanted.")
    return found


def _depth(one: Any, two: Any) -> float:
    """How deep two shapes overlap: twice the inset at which both no longer meet, mm."""
    if not one.intersects(two) or one.intersection(two).area < 1e-9:
        return 0.0
    if not one.buffer(-0.5 * OVERLAP_MM).intersects(two.buffer(-0.5 * OVERLAP_MM)):
        return 0.0
    low, high = 0.5 * OVERLAP_MM, 0.5 * OVERLAP_MM
    while one.buffer(-high).intersects(two.buffer(-high)) and high < 1000.0:
        low, high = high, 2.0 * high
    for _ in range(12):
        middle = 0.5 * (low + high)
        if one.buffer(-middle).intersects(two.buffer(-middle)):
            low = middle
        else:
            high = middle
    return 2.0 * high


def _outside(laid: Sequence[LaidPiece], cloth: Cloth) -> list[str]:
    import shapely

    if not laid:
        return []
    end = max(float(p.outline_mm[:, 0].max()) for p in laid) + 1.0
    whole = usable_region(cloth, end)
    sound_cloth = usable_region(cloth, end, flaws=True) if cloth.flaws else whole
    for region in (whole, sound_cloth):
        shapely.prepare(region)
    found = []
    for p in laid:
        shape = _polygon(p)
        tolerant = p.piece in cloth.tolerates_flaws
        region = whole if tolerant else sound_cloth
        if region.covers(shape):
            continue
        out = shape.difference(region)
        deep = shape.buffer(-OVERLAP_MM)
        if out.area <= OUTSIDE_MM2 and region.covers(deep):
            continue
        where = "the usable cloth"
        if not tolerant and whole.covers(deep):
            where = "the sound cloth, over a flaw"
        depth = _reach(out, region)
        found.append(f"{p.key} lies {depth:.2f} mm ({out.area:.0f} mm²) outside {where}.")
    return found


def _reach(out: Any, region: Any) -> float:
    points = [
        q
        for part in getattr(out, "geoms", [out])
        if hasattr(part, "exterior")
        for q in part.exterior.coords
    ]
    if not points:
        return 0.0
    import shapely

    return float(np.max(shapely.distance(region, shapely.points(np.array(points)))))


def _off_fold(p: LaidPiece) -> str:
    low = float(p.outline_mm[:, 1].min())
    edge = int(np.count_nonzero(np.abs(p.outline_mm[:, 1]) <= FOLD_MM))
    if abs(low) > FOLD_MM:
        return f"{p.key} has its fold edge {abs(low):.2f} mm off the cloth's fold."
    if edge < 2:
        return f"{p.key} touches the cloth's fold at one point only."
    return ""


def _turns_and_folds(laid: Sequence[LaidPiece], job: Job) -> list[str]:
    found = []
    for p in laid:
        if p.on_fold and (text := _off_fold(p)):
            found.append(text)
        if p.locked:
            continue  # how she turned it herself is her own choice
        kind = next((k for k in job.kinds if k.piece == p.piece and k.how == p.how), None)
        if kind is None:
            found.append(f"{p.key} is cut {p.how}, which this cloth does not ask for.")
            continue
        allowed = sorted({s.turn for k in job.kinds if k.piece == p.piece for s in k.stances})
        gap = min(abs((p.turn - t + 180.0) % 360.0 - 180.0) for t in allowed)
        if gap > TURN_DEG:
            names = ", ".join(f"{t:g}°" for t in allowed)
            found.append(f"{p.key} is turned {p.turn:g}°; allowed are {names}.")
    return found


def _phases(laid: Sequence[LaidPiece], job: Job) -> list[str]:
    cloth = job.cloth
    groups: dict[int, list[tuple[str, NDArray[np.float64]]]] = {}
    for p in laid:
        for kind in job.kinds:
            if kind.piece == p.piece and kind.group >= 0:
                at = job.match_place(kind, p)
                groups.setdefault(kind.group, []).append((p.key, at))
                break
    found = []
    for members in groups.values():
        first, origin = members[0]
        for key, at in members[1:]:
            for axis, repeat, word in (
                (0, cloth.repeat_length_mm, "along"),
                (1, cloth.repeat_width_mm, "across"),
            ):
                if not repeat:
                    continue
                off = (at[axis] - origin[axis] + 0.5 * repeat) % repeat - 0.5 * repeat
                if abs(off) > PHASE_MM:
                    found.append(
                        f"{key} meets the stripes {abs(off):.1f} mm off {first}, {word} the cloth."
                    )
    return found


def _against_rules(lay: Lay, job: Job) -> list[str]:
    found = _turns_and_folds(lay.placements, job) + _phases(lay.placements, job)
    wanted = Counter(job.key(i) for i in job.items) + Counter(p.key for p in job.locked)
    there = Counter(p.key for p in lay.placements) + Counter(lay.left_out)
    for key in sorted(set(wanted) | set(there)):
        if there[key] > wanted[key]:
            found.append(f"{key} is laid {there[key]} times; {wanted[key]} is wanted.")
        elif there[key] < wanted[key]:
            found.append(f"{key} is neither laid nor named as left out.")
    return found
