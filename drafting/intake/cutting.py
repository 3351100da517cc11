"""A file's cutting line told as allowances, where allowances tell it.

After `adopt`: a piece that came with a sewing line and a cutting line round it. Where the cutting
line is at one distance all along each edge, the distances are its allowances, and the corners
are those of the kinds that a piece can have (see `drafting.allowance`) which come nearest. What
they make must be the file's line; else the piece keeps that line as it was drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError, InputError
from drafting.allowance import ALL, EXTENDED, FOLD, MIRRORED, MOST_MM, SQUARED
from drafting.outline import Edge, Points
from drafting.piece import Piece

EVEN_MM = 0.2  # an allowance that varies by more is none that one number tells
SAME_MM = 0.3  # a cutting line further from the file's is another
MOST_EDGES = 40  # whose corners are tried: five kinds each, a cutting line for every one
CORNER_REACH = 3.0  # allowances round a corner in which its kind shows


@dataclass(frozen=True)
class CutLine:
    """A piece, and its allowances by edge (the commonest as ``all``) where they tell its cutting
    line; empty where it keeps one of its own, at ``least`` to ``most`` mm outside the edge
    ``uneven`` ('' where only a corner is of no kind that there is); ``inside``: how far in mm its
    cutting line runs inside its sewing line."""

    piece: Piece
    allowances: Mapping[str, float]
    uneven: str = ""
    least: float = 0.0
    most: float = 0.0
    inside: float = 0.0


def as_allowances(piece: Piece) -> CutLine:
    """The piece without its own cutting line, and the allowances that make the same one.

    Where none do, the piece as it is. A piece without a cutting line of its own comes back as it
    is, with no allowances.
    """
    import shapely

    drawn = piece.own_cutting_line
    if drawn is None:
        return CutLine(piece, {})
    bare = piece.with_(own_cutting_line=None)
    outside = shapely.LinearRing(drawn)
    shapely.prepare(outside)
    away = {n: _distances(e, outside) for n, e in piece.edges.items() if n != FOLD}
    sizes = {n: round(float(np.median(mm)), 1) + 0.0 for n, mm in away.items()}
    bare = _with_corners(bare, sizes, drawn)
    if _gap(bare, sizes, drawn) > SAME_MM:
        spread = {n: max(mm) - min(mm) for n, mm in away.items()}
        worst = max(spread, key=lambda n: spread[n])
        values = list(sizes.values())
        if spread[worst] > EVEN_MM:
            values = _distances(piece.edges[worst], outside, 0.01)
        else:
            worst = ""
        sewn = shapely.points(piece.sewing_line)
        inside = float(shapely.distance(sewn, shapely.Polygon(drawn)).max())
        return CutLine(piece, {}, worst, min(values), max(values), inside)
    common = max(sizes.values(), key=list(sizes.values()).count)
    rest = {n: mm for n, mm in sizes.items() if mm != common}
    return CutLine(bare, {ALL: common, **rest})


def _distances(edge: Edge, outside: object, ends: float = 0.2) -> list[float]:
    """Distances in mm out to the cutting line, along the edge but for that share at its ends."""
    import shapely

    out = []
    for share in np.linspace(ends, 1.0 - ends, 9):
        at, t = edge.at(float(share) * edge.length_mm)
        ray = shapely.LineString([at, at + np.array([t[1], -t[0]]) * MOST_MM])
        met = shapely.intersection(ray, outside)
        near = float(shapely.Point(at).distance(outside))
        out.append(near if met.is_empty else float(shapely.Point(at).distance(met)))
    return out


def _gap(piece: Piece, sizes: Mapping[str, float], drawn: Points) -> float:
    """How far in mm the cutting line of these allowances lies from the drawn one at most."""
    import shapely

    try:
        made = piece.cutting_line(sizes)
    except (DraftError, InputError):
        return float("inf")
    return float(shapely.hausdorff_distance(shapely.LinearRing(made), shapely.LinearRing(drawn)))


def _with_corners(piece: Piece, sizes: Mapping[str, float], drawn: Points) -> Piece:
    """The piece with each corner of the kind that comes nearest to the drawn line."""
    import shapely

    goal = shapely.Polygon(drawn)
    names = list(piece.edges)
    if len(names) > MOST_EDGES:
        return piece
    for a, b in zip(names, names[1:] + names[:1], strict=True):
        if a == b or FOLD in (a, b) or _gap(piece, sizes, drawn) <= SAME_MM:
            continue
        reach = CORNER_REACH * max(sizes[a], sizes[b], 1.0)
        round_it = shapely.Point(piece.edges[a].points[-1]).buffer(reach)
        there = shapely.intersection(goal, round_it)

        def off(tried: Piece, around: object = round_it, there: object = there) -> float:
            try:
                made = shapely.Polygon(tried.cutting_line(sizes))
            except (DraftError, InputError):
                return float("inf")
            shown = shapely.intersection(made, around)
            return float(shapely.symmetric_difference(shown, there).area)

        best, least = piece, off(piece)
        for kind in ((EXTENDED, a), (SQUARED, a), (SQUARED, b), (MIRRORED, a), (MIRRORED, b)):
            tried = piece.with_(corners={**piece.corners, (a, b): kind})
            if (found := off(tried)) < least - 0.5:
                best, least = tried, found
        piece = best
    return piece
