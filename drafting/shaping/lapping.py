"""Where paper laps over paper: what is covered twice is cut away, and the step on the edge is trued.

Used by what takes in and by what shuts. Frame: piece mm.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drafting.curves import sweep, turn, unit
from drafting.outline import Points, bow, place_on, points_along, polyline_length
from drafting.shaping.parts import Run, parted, refuse
from drafting.truing import span_on

TRUE_REACH_MM = 40.0  # how far on each side of a step the edge is redrawn
_SWEEP_SHARE, _SWEEP_MM = 0.9, 300.0  # a straight edge is redrawn so far, but for its end
_STRAIGHT_SHARE = 0.01
BACK_TURN = math.radians(150.0)  # sharper than any corner of a seam: nothing is left between


def trimmed_at(run: Run, lip: Points, from_start: bool) -> Run:
    """A run without the stretch at its start (or end) that lies past a line."""
    import shapely

    line = shapely.LineString(run.points)
    # The lip run on straight at both ends, so that an edge that leans is met too.
    reach = 0.5 * line.length + 50.0
    first, last = unit(lip[0] - lip[1]), unit(lip[-1] - lip[-2])
    long_ = np.concatenate([[lip[0] + reach * first], lip, [lip[-1] + reach * last]])
    met = shapely.get_parts(shapely.intersection(line, shapely.LineString(long_)))
    places = [place_on(run.points, p.coords[0])[0] for p in met if p.geom_type == "Point"]
    if not places:
        return run
    at = max(places) if from_start else min(places)
    if at < 1e-6 or run.length_mm - at < 1e-6:
        return run
    before, after = parted(run, at)
    return after if from_start else before


def stepless(
    before: list[Run], after: list[Run], whole: bool = False
) -> tuple[list[Run], list[Run]]:
    """Two lists of runs whose meeting ends are joined by a smooth line where they miss each other.

    ``whole``: straight edges are redrawn nearly to their ends.

    Raises:
        DraftError: one would run back along the other.
    """
    a, b = before[-1], after[0]
    gap = float(np.hypot(*(a.points[-1] - b.points[0])))
    corner = abs(turn(a.points[-1] - a.points[-2], b.points[1] - b.points[0]))
    if gap < 0.01 and corner < 0.02:
        return before, after
    little = min(max(TRUE_REACH_MM, 3.0 * gap), 0.45 * a.length_mm, 0.45 * b.length_mm)
    back, on = (max(little, _straight(r, r is a) if whole else 0.0) for r in (a, b))
    kept, _ = parted(a, a.length_mm - back)
    _, rest = parted(b, on)
    leave, arrive = kept.points[-1] - kept.points[-2], rest.points[1] - rest.points[0]
    chord = rest.points[0] - kept.points[-1]
    if max(abs(turn(leave, chord)), abs(turn(chord, arrive))) > BACK_TURN:
        raise refuse(
            f"the {a.name} would turn back on itself where it is taken in.",
            "Use less, or another place.",
        )
    curve = sweep(kept.points[-1], leave, rest.points[0], arrive).flatten()
    half = len(curve) // 2
    points = np.concatenate([kept.points, curve[1 : half + 1]])
    lost = [n for n in a.notches if n.at_mm >= kept.length_mm - 1e-6]
    long_ = polyline_length(points)
    notches = tuple(replace(n, at_mm=min(n.at_mm, long_)) for n in (*kept.notches, *lost))
    first = Run(a.name, points, notches, a.darts)
    lead = polyline_length(curve[half:])
    more = [replace(n, at_mm=n.at_mm * lead / on) for n in b.notches if n.at_mm < on - 1e-6]
    later = [replace(n, at_mm=n.at_mm + lead) for n in rest.notches]
    points = np.concatenate([curve[half:], rest.points[1:]])
    second = Run(b.name, points, (*more, *later), b.darts)
    return [*before[:-1], first], [second, *after[1:]]


def _straight(run: Run, at_end: bool) -> float:
    """How much of a run is straight at its end, or start, but for a tenth; 0 where it is not: so a hem
    goes in one sweep from seam to seam."""
    free = run.length_mm
    for dart in run.darts:
        low, high = span_on(run.points, dart)
        free = min(free, run.length_mm - high if at_end else low)
    long_ = min(_SWEEP_SHARE * free, _SWEEP_MM)
    if long_ <= 0:
        return 0.0
    start = run.length_mm - long_ if at_end else 0.0
    line = points_along(run.points, start + long_ * np.linspace(0.0, 1.0, 9))
    return long_ if bow(line) <= _STRAIGHT_SHARE * long_ else 0.0
