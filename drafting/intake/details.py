"""What lies on the edges of a piece and inside it: notches, darts, drill holes, marks.

Beside `adopt`, which moves an outline to its place: the lines are moved with it, and each is
found its edge there. A file of ours tells the edge; in others it is the nearest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from drafting.intake.drawn import DRILL, NOTCH
from drafting.intake.found import Inner
from drafting.intake.geometry import Array
from drafting.outline import without_repeats
from drafting.piece import Dart, Mark, Notch

Ring = dict[str, Any]  # edge → shapely line

NEAR_MM = 60.0  # no notch is cut further from its sewing line
TOUCH_MM = 0.5  # ends of a dart's legs lie on an edge
SAME_MM = 0.3  # two notches nearer than this are one, drawn as point and as line
AGREE_MM = 1.5  # between where a notch is drawn and where the file says it is


def details_of(
    inner: Sequence[Inner], edges: Mapping[str, Array], renamed: Mapping[str, str], mirrored: bool
) -> tuple[tuple[Notch, ...], tuple[Dart, ...], tuple[Mark, ...]]:
    """Notches, darts and marks of a piece; a notch or dart at no edge of it is a mark.

    ``inner``: in the piece frame; ``edges``: name → (M, 2) mm of the piece; ``renamed``: name in
    the file → name of the piece's edge; ``mirrored``: edges run against those of the file.
    """
    import shapely

    ring: Ring = {n: shapely.LineString(p) for n, p in edges.items()}
    shapely.prepare(list(ring.values()))
    darts: list[Dart] = []
    marks: list[Mark] = []
    snips: dict[object, list[Inner]] = {}
    for i, line in enumerate(inner):
        name = line.note.get("name", "")
        named = renamed.get(line.note.get("on", ""), line.note.get("on", ""))
        if line.kind == NOTCH:  # the snips of a double notch say the same of themselves
            snips.setdefault(tuple(sorted(line.note.items())) or i, []).append(line)
        elif line.kind == DRILL:
            middle = (line.points.min(axis=0) + line.points.max(axis=0)) / 2.0
            hole = Mark(name or "drill hole", middle[None, :])
            if not any(_same_hole(hole, m) for m in marks):  # a cross is drawn as two lines
                marks.append(hole)
        elif (legs := _dart(line, ring, named)) is not None:
            darts.append(legs)
        else:
            marks.append(Mark(name or line.kind, without_repeats(line.points), line.closed))
    notches: list[Notch] = []
    for lines in snips.values():
        named = renamed.get(lines[0].note.get("on", ""), lines[0].note.get("on", ""))
        notch = _notch(lines, ring, named, mirrored)
        if notch is None:
            marks += [Mark("notch", without_repeats(line.points)) for line in lines]
        elif not any(
            n.edge == notch.edge and abs(n.at_mm - notch.at_mm) < SAME_MM for n in notches
        ):
            notches.append(notch)  # a file may have both a point and a line for it
    return tuple(notches), tuple(darts), tuple(marks)


def _notch(snips: Sequence[Inner], ring: Ring, named: str, mirrored: bool) -> Notch | None:
    """The notch on its edge, in the middle of its snips; None when no edge is near."""
    ends = np.vstack([line.points[[0, -1]] for line in snips])
    name, away = _nearest(ends, ring, named, min)
    if away > NEAR_MM:
        return None
    edge, note = ring[name], snips[0].note
    places = []
    for line in snips:
        both = line.points[[0, -1]]
        places.append(_along(edge, both[int(np.argmin([_distance(edge, p) for p in both]))]))
    at = (min(places) + max(places)) / 2.0
    count, match = note.get("count", "1"), note.get("match", "")
    notch = Notch(name, at, int(count) if count in tuple("123456789") else 1, match)
    try:
        told = float(note.get("at", ""))
    except ValueError:
        return notch
    told = edge.length - told if mirrored else told
    if name == named and abs(told - at) <= AGREE_MM:  # never for nan
        return replace(notch, at_mm=min(max(told, 0.0), edge.length))
    return notch


def _nearest(
    points: Array, ring: Ring, named: str, how: Callable[[list[float]], float]
) -> tuple[str, float]:
    """The edge nearest to points (N, 2) and how far they are, the least or most of them; only
    the one that is named, where there is such."""
    there = {named: ring[named]} if named in ring else ring
    away = {n: how([_distance(e, p) for p in points]) for n, e in there.items()}
    name = min(away, key=lambda n: away[n])
    return name, away[name]


def _distance(edge: Any, spot: Array) -> float:
    import shapely

    return float(shapely.distance(edge, shapely.Point(spot)))


def _along(edge: Any, spot: Array) -> float:
    """Distance in mm along an edge to its place nearest to ``spot`` (2,)."""
    import shapely

    return float(shapely.line_locate_point(edge, shapely.Point(spot)))


def _same_hole(hole: Mark, other: Mark) -> bool:
    return (
        len(other.points) == 1
        and other.name == hole.name
        and float(np.hypot(*(other.points[0] - hole.points[0]))) < SAME_MM
    )


def _dart(line: Inner, ring: Ring, named: str) -> Dart | None:
    """A dart from its two legs; None for any other line."""
    if line.closed or len(line.points) != 3:
        return None
    first, tip, second = line.points
    edge, away = _nearest(np.array([first, second]), ring, named, max)
    if (away > TOUCH_MM and edge != named) or _distance(ring[edge], tip) < 2.0 * TOUCH_MM:
        return None
    if _along(ring[edge], first) > _along(ring[edge], second):
        first, second = second, first
    xy = [(float(p[0]), float(p[1])) for p in (first, second, tip)]
    return Dart(edge, xy[0], xy[1], xy[2])
