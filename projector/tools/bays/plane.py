"""Plane geometry of bays: boxes, lines cut to a bay, distances to lines, crosses as strokes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from drafting.placement import Array
from projector.picture.marks import spans

if TYPE_CHECKING:
    from shapely import STRtree
from projector.tools.bays.model import BayPlan, Box, Laid, Mask


def within(points: Array, rings: Iterable[Array]) -> Mask:
    """(N,) whether each point (N, 2) lies in any of the closed rings."""
    import shapely

    out = np.zeros(len(points), dtype=bool)
    shapes = [shapely.Polygon(r) for r in rings]
    if len(points) and shapes:
        hit = shapely.STRtree(shapes).query(shapely.points(points), predicate="within")
        out[hit[0]] = True
    return out


def tree_of(lines: Iterable[Array]) -> STRtree | None:
    """Open lines (N, 2) made ready for many questions of `gap_to`; None without any."""
    import shapely

    pairs = [np.stack([line[:-1], line[1:]], axis=1) for line in lines if len(line) > 1]
    return shapely.STRtree(shapely.linestrings(np.concatenate(pairs))) if pairs else None


def gap_to(points: Array, lines: STRtree | None, most_mm: float | None = None) -> Array:
    """(N,) distance of points (N, 2) from the nearest line; infinite past ``most_mm`` or with none."""
    import shapely

    out = np.full(len(points), np.inf)
    if not len(points) or lines is None:
        return out
    found, gap = lines.query_nearest(
        shapely.points(points), max_distance=most_mm, return_distance=True, all_matches=False
    )
    out[found[0]] = gap
    return out


def clip(line: Array, box: Box) -> list[Array]:
    """The stretches of an open line (N, 2) inside a box, each (M, 2); cut at its rim exactly."""
    d = np.diff(line, axis=0)
    enter, leave = spans(line[:-1], d, box[:2], box[2:])
    runs: list[list[Array]] = []
    joined = False
    for i in np.flatnonzero(enter < leave - 1e-12).tolist():
        a = line[i] + d[i] * enter[i]
        b = line[i + 1] if leave[i] >= 1.0 else line[i] + d[i] * leave[i]
        if joined and enter[i] <= 0.0 and runs and np.array_equal(runs[-1][-1], line[i]):
            runs[-1].append(b)
        else:
            runs.append([a, b])
        joined = leave[i] >= 1.0
    return [np.array(r) for r in runs]


def lines_here(
    plan: BayPlan, index: int, piece: Laid
) -> tuple[list[Array], list[Array], list[Array]]:
    """A piece's lines in a bay: to trace now, not now, and the ticks where the bay hands over.

    Each (M, 2) cloth mm. A piece that is traced whole elsewhere is all "not now".
    """
    bay = plan.bays[index]
    runs = piece.runs()
    if piece.key in bay.whole:
        return runs, [], []
    if piece.key not in bay.parts:
        return [], runs, []
    share = bay.parts[piece.key]
    now = [b for line in runs for b in clip(line, share)]
    later: list[Array] = []
    for other in plan.bays:
        if other.index != index and piece.key in other.parts:
            later += [b for line in runs for b in clip(line, other.parts[piece.key])]
    ends = []
    for b in now:
        ends += [(b[0], b[1] - b[0]), (b[-1], b[-1] - b[-2])]
    ticks = []
    for at, d in ends:
        on_rim = any(abs(at[k % 2] - level) < 1e-6 for k, level in enumerate(share))
        length = float(np.hypot(*d))
        if on_rim and length > 0:
            n = np.array([-d[1], d[0]]) / length * 6.0
            ticks.append(np.array([at - n, at + n]))
    return now, later, ticks
