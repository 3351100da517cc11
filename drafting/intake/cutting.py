"""A file's cutting line told as allowances, where allowances tell it.

After `adopt`: a piece that came with a sewing line and a cutting line round it. Where the cutting
line is at one distance all along each edge, the distances are its allowances, and the corners
are those of the kinds that a piece can have (see `drafting.allowance`) which come nearest. What
they make must be the file's line; else the piece keeps that line as it was drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from configs.errors import DraftError, InputError
from drafting.allowance import ALL, EXTENDED, FOLD, MIRRORED, MOST_MM, SQUARED
from drafting.outline import Edge, Points
from drafting.piece import FOLD_NEAR_MM, LARGEST_MM, Piece

EVEN_MM = 0.2  # an allowance that varies by more is none that one number tells
SAME_MM = 0.3  # a cutting line further from the file's is another
MOST_EDGES = 40  # of a piece whose corners are looked at
MOST_TRIES = 600  # cutting lines worked out to find the kinds of corners, 1.3 ms each
CORNER_MM2 = 0.5  # what the corner of a cutting line may differ by
CORNER_REACH = 3.0  # allowances round a corner in which its kind shows


@dataclass(frozen=True)
class CutLine:
    """A piece, and its allowances by edge (the commonest as ``all``) where they tell its cutting
    line; empty where it keeps one of its own, at ``least`` to ``most`` mm outside the edge
    ``uneven`` ('' where only a corner is of no kind that there is); ``inside``: how far in mm its
    cutting line runs inside its sewing line; ``tries``: cutting lines worked out for it."""

    piece: Piece
    allowances: Mapping[str, float]
    uneven: str = ""
    least: float = 0.0
    most: float = 0.0
    inside: float = 0.0
    tries: int = 0


def as_allowances(piece: Piece, tries: int = MOST_TRIES) -> CutLine:
    """The piece without its own cutting line, and the allowances that make the same one.

    Where none do, the piece as it is. A piece without a cutting line of its own comes back as it
    is, with no allowances. ``tries``: how many cutting lines may be worked out for its corners.
    """
    import shapely

    drawn = piece.own_cutting_line
    if drawn is None:
        return CutLine(piece, {})
    bare = piece.with_(own_cutting_line=None)
    outside = shapely.LinearRing(drawn)
    shapely.prepare(outside)
    away = {n: _distances(e, outside) for n, e in piece.edges.items() if n != FOLD}
    left = tries
    # beside a hollow corner the next edge's allowance reaches further out than the edge's own, beside
    # a sharp one less far: the least is tried, then the middle
    for of in (min, np.median):
        sizes = {n: round(float(of(mm)), 1) + 0.0 for n, mm in away.items()}
        tried, left = _with_corners(bare, sizes, drawn, left)
        if _same(tried, sizes, drawn):
            common = max(sizes.values(), key=list(sizes.values()).count)
            rest = {n: mm for n, mm in sizes.items() if mm != common}
            return CutLine(tried, {ALL: common, **rest}, tries=tries - left)
    spread = {n: max(mm) - min(mm) for n, mm in away.items()}
    uneven = max(spread, key=lambda n: spread[n])
    values = list(sizes.values())
    if spread[uneven] > EVEN_MM:
        values = _distances(piece.edges[uneven], outside, 0.01)
    else:
        uneven = ""
    sewn = shapely.points(piece.sewing_line)
    inside = float(shapely.distance(sewn, shapely.Polygon(drawn)).max())
    return CutLine(piece, {}, uneven, min(values), max(values), inside, tries - left)


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


def _same(piece: Piece, sizes: Mapping[str, float], drawn: Points) -> bool:
    """Whether the cutting line of these allowances lies within `SAME_MM` of the drawn one all along,
    and the drawn one of it; past a fold nothing is cut."""
    import shapely

    try:
        made = piece.cutting_line(sizes)
    except (DraftError, InputError):
        return False
    lines = [shapely.LinearRing(r) for r in (made, drawn)]
    if piece.fold is not None:
        beside = shapely.box(FOLD_NEAR_MM, -LARGEST_MM, LARGEST_MM, LARGEST_MM)
        lines = [shapely.intersection(line, beside) for line in lines]
    return all(a.buffer(SAME_MM).covers(b) for a, b in (lines, lines[::-1]))


def _with_corners(
    piece: Piece, sizes: Mapping[str, float], drawn: Points, tries: int
) -> tuple[Piece, int]:
    """The piece with each corner of the kind that comes nearest to the drawn line, and how many
    ``tries`` are left."""
    import shapely

    goal = shapely.Polygon(drawn)
    names = list(piece.edges)
    if len(names) > MOST_EDGES:
        return piece, tries
    for a, b in zip(names, names[1:] + names[:1], strict=True):
        if a == b or FOLD in (a, b) or tries < 2 + len(_kinds(a, b)):
            continue
        if _same(piece, sizes, drawn):
            break
        reach = CORNER_REACH * max(sizes[a], sizes[b], 1.0)
        round_it = shapely.Point(piece.edges[a].points[-1]).buffer(reach)
        there = shapely.intersection(goal, round_it)
        best, least = piece, _off(piece, sizes, round_it, there)
        tries -= 2
        if least <= CORNER_MM2:
            continue
        for kind in _kinds(a, b):
            tried = piece.with_(corners={**piece.corners, (a, b): kind})
            tries -= 1
            if (off := _off(tried, sizes, round_it, there)) < least - CORNER_MM2:
                best, least = tried, off
        piece = best
    return piece, tries


def _kinds(a: str, b: str) -> tuple[tuple[str, str], ...]:
    """The kinds of the corner between two edges, each with the edge that it goes by."""
    return (EXTENDED, a), (SQUARED, a), (SQUARED, b), (MIRRORED, a), (MIRRORED, b)


def _off(piece: Piece, sizes: Mapping[str, float], around: Any, there: Any) -> float:
    """mm² by which the piece's cutting line differs ``around`` a corner from what is ``there``."""
    import shapely

    try:
        made = shapely.Polygon(piece.cutting_line(sizes))
    except (DraftError, InputError):
        return float("inf")
    return float(shapely.symmetric_difference(shapely.intersection(made, around), there).area)
