"""What finishes an edge or lies on a piece: bands, facings, bindings, pockets, gathers, openings.

For any block.
Frame: piece mm, x from the centre line, y up. All rules are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from configs.errors import DraftError
from configs.units import format_length
from drafting.allowance import plain
from drafting.curves import Points, chain_points, left_of, line, rounded, unit
from drafting.measurements import Measurements
from drafting.outline import Edge, polyline_length, ring_points
from drafting.piece import Mark, Notch, Piece
from drafting.sheet.darts import OpenDart
from drafting.sheet.pieces import half_piece, label_of
from drafting.style import slash_and_spread
from drafting.truing import Check

DRILL_SHORT_MM = 10.0  # the mark for a dart's point lies this far inside it, so that no hole shows
BAR_MM = 15.0  # of the mark across the end of a zip or slit
BIAS_JOIN_MM = 6.0
LONGEST_STRIP_MM = 700.0  # longer bias strips waste cloth; they are joined
GATHER_STEP_MM = 2.0
POCKET_OFF_MM = 30.0  # a pocket keeps this far off armhole, neckline and hem
_POCKET_INSIDE_MM = 8.0  # off the centre and the side seam
_WHOLE_MM = 100.0  # a piece that reaches so far past the centre is no half with a stand
_POCKET_STEP_MM = 5.0
_POCKET_REACH_MM = 280.0  # farther from its usual place it would be another pocket
_ROUND = 1.0 / math.cos(math.pi / 16.0)  # a buffer's corners of 4 segments lie this much inside
_FAR_FROM = ("armhole", "neckline", "hem", "sleeve hem", "underarm", "shoulder")


def rectangle(name: str, sides: Sequence[str], long_: float, high: float, **more: Any) -> Piece:
    """A rectangle from (0, 0), its sides named from the lower one counter-clockwise."""
    ring = ((0.0, 0.0), (long_, 0.0), (long_, high), (0.0, high))
    edges = {n: Edge(n, np.array([ring[i], ring[(i + 1) % 4]])) for i, n in enumerate(sides)}
    return Piece(name, edges, **more)


def band(
    name: str, edge: str, long_: float, high: float, at: Mapping[str, Sequence[float]],
    m: Measurements,
) -> Piece:  # fmt: skip
    """A straight band, folded along its middle; ``at``: notches on its ``edge``, match → places."""
    fold = np.array([(0.0, 0.5 * high), (long_, 0.5 * high)])
    return rectangle(
        name, (edge, "right side", "inner", "left side"), long_, high,
        grain=((0.35 * long_, 0.25 * high), (0.65 * long_, 0.25 * high)),
        turns=(0.0, 90.0, 180.0, 270.0),
        notches=tuple(Notch(edge, float(p), 1, n) for n, places in at.items() for p in places),
        marks=(Mark("fold the band here", fold),),
        label=label_of(name, "cut 1", m),
    )  # fmt: skip


def facing_below(
    name: str, top: Points, ends: tuple[Points, Points], width: float, notches: Sequence[Notch],
    seam: bool, m: Measurements,
) -> Piece:  # fmt: skip
    """A facing as deep as ``width`` below a line (N, 2) mm from the centre to the side, half of it;
    ``ends``: the directions (2,) of the line at its ends; ``seam``: cut as a pair.

    Raises:
        DraftError: the line bends too much for so wide a facing.
    """
    half = name.split()[0]
    tangents = np.gradient(top, axis=0)
    tangents[0], tangents[-1] = ends
    tangents /= np.hypot(*tangents.T)[:, None]
    lower = top - width * np.stack([-tangents[:, 1], tangents[:, 0]], axis=1)
    lower[0, 0] = 0.0
    if (np.diff(lower[:, 0]) <= 0).any() or (lower[1:, 0] <= 0).any():
        what = f"is too wide for the waist of the {half}, which is strongly curved."
        raise DraftError.of("style.facing_width", what, "Make it narrower.")
    points = {
        "fold": np.array([top[0], lower[0]]),
        "outer": lower,
        "side": np.array([lower[-1], top[-1]]),
        "waist": top[::-1],
    }
    x = 0.3 * float(top[-1, 0])
    y = float(np.interp(x, top[:, 0], top[:, 1]))
    notches = [*notches, Notch("waist", 0.0, 1, "side")]
    grain = ((x, y - 0.85 * width), (x, y - 0.15 * width))
    return half_piece(name, points, m, seam, grain=grain, notches=tuple(notches))


def bars(
    edge: Edge, sizes: Mapping[str, float], down: bool, where: str, t: Callable[[float], str]
) -> tuple[list[Mark], list[Notch]]:
    """Bars across the ends of a zip (from the top) and a slit (from the hem), inside the seam, and
    a notch at each. ``down``: the edge runs from the top to the hem; ``t``: a length in words."""
    marks, notches = [], []
    for word, size in sizes.items():
        if size <= 0:
            continue
        at = size if (word == "zip") == down else edge.length_mm - size
        point, along = edge.at(at)
        marks.append(Mark(f"{where}{word} {t(size)}", np.array([point, point + BAR_MM * left_of(along)])))  # fmt: skip
        notches.append(Notch(edge.name, at, 1, word))
    return marks, notches


def short_of(dart: OpenDart) -> Points:
    """Where a dart's point is drilled (2,) mm: a little inside it."""
    return np.asarray(dart.tip + DRILL_SHORT_MM * unit(0.5 * (dart.inner + dart.outer) - dart.tip))


def binding(
    name: str, length: float, width: float, loops: int, m: Measurements
) -> tuple[Piece, str]:
    """A bias binding: strips at 45° to the grain, their ends along the grain, joins included; and
    how to cut it, in words.

    ``length``: the finished edge, mm; ``width``: as cut; ``loops``: how many such edges are bound.
    """
    slant = BIAS_JOIN_MM * math.sqrt(2.0)  # a join across a 45° end takes this much of the strip
    parts = max(1, math.ceil((length + 2.0 * slant) / LONGEST_STRIP_MM))
    each = length / parts + 2.0 * slant
    d = math.sqrt(0.5)
    along, rise = each * d, width / d
    ring = ((0.0, 0.0), (along, along), (along, along + rise), (0.0, rise))
    names = ("lower raw edge", "last raw edge", "upper raw edge", "first raw edge")
    edges = {n: Edge(n, np.array([ring[i], ring[(i + 1) % 4]])) for i, n in enumerate(names)}
    cut = parts * loops

    def t(mm: float) -> str:
        return format_length(mm, m.unit)

    text = (
        f"{name}: cut {cut} on the bias, {t(width)} wide and {t(each)} long along its middle; "
        f"the finished edge is {t(length)} long"
        + (f", joined from {parts} strips." if parts > 1 else ".")
        + " Bound edges take no seam allowance, unless the docket names them under 'allowances'."
    )
    grain = ((0.5 * along, 0.5 * along + 0.2 * rise), (0.5 * along, 0.5 * along + 0.8 * rise))
    label = label_of(name, f"cut {cut} on the bias", m)
    turns = (0.0, 90.0, 180.0, 270.0)
    return Piece(name, edges, cut, grain=grain, turns=turns, label=label), text


def patch_pocket(width: float, depth: float, cut: int, m: Measurements) -> Piece:
    """A patch pocket with rounded lower corners, its middle on x = 0, its foot on y = 0."""
    bevel = min(18.0, 0.15 * width)
    left, right = -0.5 * width, 0.5 * width
    bottom = [
        rounded((left, bevel), (left, 0.0), (left + bevel, 0.0)),
        line((left + bevel, 0.0), (right - bevel, 0.0)),
        rounded((right - bevel, 0.0), (right, 0.0), (right, bevel)),
    ]
    edges = {
        "bottom": chain_points(bottom),
        "right side": np.array([[right, bevel], [right, depth]]),
        "hem": np.array([[right, depth], [left, depth]]),
        "left side": np.array([[left, depth], [left, bevel]]),
    }
    return Piece(
        "pocket", {n: Edge(n, p) for n, p in edges.items()}, cut,
        grain=((0.0, 0.15 * depth), (0.0, 0.75 * depth)), label=label_of("pocket", f"cut {cut}", m),
    )  # fmt: skip


def pocket_marks(pocket: Piece, at: tuple[float, float]) -> tuple[Mark, ...]:
    """Where a patch pocket is sewn on, its foot's middle at ``at``; its upper corners are drilled a
    centimetre inside, so that the pocket hides the holes."""
    corners = pocket.edges["hem"].points + np.array(at)
    inside = np.array([[-10.0, -10.0], [10.0, -10.0]])
    drills = [Mark("pocket corner", (c + i)[None, :]) for c, i in zip(corners, inside, strict=True)]
    return (Mark("pocket", ring_points(pocket.edges) + np.array(at), closed=True), *drills[::-1])


def pocket_place(
    piece: Piece, usual: tuple[float, float], sizes: Sequence[tuple[float, float]]
) -> tuple[float, float, float, float, float] | None:
    """Width, depth, x of the middle and y of the foot of a pocket, and how far that lies from its
    usual place, mm: of the first of ``sizes`` that is free near there, the nearest; None for none.

    ``usual``: (x of the middle, y of the upper edge).
    """
    import shapely
    from shapely.affinity import scale

    edges = [(plain(n), shapely.LineString(e.points)) for n, e in piece.edges.items()]
    taken = [
        line_.buffer(_ROUND * (POCKET_OFF_MM if n in _FAR_FROM else _POCKET_INSIDE_MM), quad_segs=4)
        for n, line_ in edges
    ]
    taken.append(shapely.LineString([(0.0, -1e4), (0.0, 1e4)]).buffer(_POCKET_INSIDE_MM))
    free = shapely.Polygon(piece.sewing_line)
    if piece.fold is None and piece.bounds()[0] < -_WHOLE_MM:  # on each side, or where it is drawn
        free = free.intersection(scale(free, -1.0, 1.0, origin=(0.0, 0.0)))
        taken += [scale(t, -1.0, 1.0, origin=(0.0, 0.0)) for t in taken]
    free = free.difference(shapely.union_all(taken))
    shapely.prepare(free)
    _, bottom, right, top = piece.bounds()
    middle = usual[0]
    for width, depth in sizes:
        start = usual[1] - depth
        xs = np.r_[middle, np.arange(0.5 * width, right, _POCKET_STEP_MM)]
        ys = np.r_[start, np.arange(bottom, top - depth, _POCKET_STEP_MM)]
        x, y = (g.ravel() for g in np.meshgrid(xs, ys))
        moved = np.hypot(x - middle, y - start)
        order = np.argsort(moved, kind="stable")
        order = order[moved[order] <= _POCKET_REACH_MM]
        x, y, moved = x[order], y[order], moved[order]
        boxes = shapely.box(x - 0.5 * width, y, x + 0.5 * width, y + depth)
        fits = np.flatnonzero(shapely.covers(free, boxes))
        if len(fits):
            i = fits[0]
            return width, depth, float(x[i]), float(y[i]), float(moved[i])
    return None


def check_pocket(piece: Piece, unit_: str) -> Check:
    """Every pocket's place keeps 3 cm off armhole, neckline and hem; measured on the piece."""
    import shapely

    places = [shapely.Polygon(k.points) for k in piece.marks if k.name == "pocket"]
    off = {
        n: min(float(p.distance(shapely.LineString(e.points))) for p in places)
        for n, e in piece.edges.items()
        if plain(n) in _FAR_FROM
    }
    name = min(off, key=lambda n: off[n])
    text = f"{format_length(off[name], unit_)} off the {name}, the nearest"
    short = max(POCKET_OFF_MM - off[name] - 1e-3, 0.0)
    return Check("the pocket keeps off the edges", short, 0.0, short == 0.0, text)


def gathered(
    points: Mapping[str, Points], edge: str, foot: str, zone: float, ratio: float, even: bool
) -> dict[str, Points]:
    """A half slashed from ``edge`` to ``foot`` and spread, so that ``edge`` can be gathered.

    ``zone``: how far from the centre it reaches, mm: what lies beyond is moved as it is and still
    fits its partners. ``ratio``: the edge's length to its finished one; ``even``: spread down to
    the foot; else hinged there.
    """
    # Straight stretches are bent by the spreading: they need points to bend at.
    points = {n: dense(p, GATHER_STEP_MM) if n in (edge, foot) else p for n, p in points.items()}
    finished = polyline_length(points[edge])
    hinge = float(points["fold"][-1, 1])
    height = 0.0 if even else float(points["fold"][0, 1]) - hinge
    low, high = 0.0, 3.0 * finished
    for _ in range(24):  # to a ten-thousandth of a millimetre
        amount = 0.5 * (low + high)
        new = polyline_length(slash_and_spread(points[edge], zone, amount, hinge, height))
        low, high = (amount, high) if new < ratio * finished else (low, amount)
    amount = 0.5 * (low + high)
    return {n: slash_and_spread(p, zone, amount, hinge, height) for n, p in points.items()}


def dense(points: Points, step_mm: float) -> Points:
    """The same polyline with points at most ``step_mm`` apart."""
    parts = []
    for a, b in pairwise(points):
        count = max(1, math.ceil(float(np.hypot(*(b - a))) / step_mm))
        parts.append(a + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * (b - a))
    return np.concatenate([*parts, points[-1:]])
