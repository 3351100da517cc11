"""Collars on the sheet: the lines that they share, and how they become pieces, two layers and interfacing.

For any neckline that `necks` has measured. Frame: piece mm, x from the collar's fold, y up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError
from drafting.allowance import FOLD
from drafting.curves import Points, arc, chain_points, cross, left_of, sweep, turned, unit
from drafting.fit import BACK, FRONT, LEFT
from drafting.outline import arc_lengths, points_along, polyline_length, without_repeats
from drafting.piece import Notch, Piece
from drafting.sheet.board import Sheet
from drafting.sheet.inside import INTERFACING, SHORT_MM, interfacing_of
from drafting.sheet.necks import Half, Neck, notch_fronts
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import label_of, pieces_of
from drafting.truing import Seam, Spot

OVERLAP_AT_MM = 120.0  # the shoulder on which the overlap of a flat collar is measured
_BRIDGE_MM = 20.0  # as far on both sides of the neck point, and the overlap, the line is drawn anew
Lines = dict[str, Points]

SHARED = (
    length("turn_of_cloth", "How much smaller the under layer is at its outer edges, so that it stays hidden.", 2.0, 0.0, 6.0),
    choice("interfacing", "Which layers are interfaced.", {"upper": "the outer layer", "both": "both layers", "none": "neither"}),
)  # fmt: skip


def arc_angle(length_mm: float, rise: float) -> float:
    """The angle (radians) of an arc of a length that rises by so much from its level start."""
    low, high = 0.0, math.pi
    for _ in range(60):
        angle = 0.5 * (low + high)
        risen = length_mm * (1.0 - math.cos(angle)) / angle if angle else 0.0
        low, high = (angle, high) if risen < rise else (low, angle)
    return 0.5 * (low + high) if rise > 0 else 0.0


def rising(length_mm: float, rise: float, up: float = 0.0) -> Points:
    """(N, 2) mm an arc from (0, 0), level at its start, of this length and rise; or the line ``up`` above
    it, which is shorter by ``up`` times the arc's angle."""
    angle = arc_angle(length_mm, rise)
    if angle < 1e-6:
        return np.array([[0.0, up], [length_mm, up]])
    radius = length_mm / angle
    return chain_points(arc((0.0, radius), radius - up, -math.pi / 2, angle - math.pi / 2))


def laid_together(front: Half, back: Half, overlap: float) -> tuple[Points, Points]:
    """Back and front with their necks touching and the shoulders overlapped: (N, 2) mm the neckline from the
    centre back at (0, 0) to the centre front, and (2,) the direction of the centre front, outward.

    ``overlap``: at 12 cm from the neck point. The line is smooth over the shoulder and as long as both.
    """
    alpha = 2.0 * math.asin(overlap / (2.0 * OVERLAP_AT_MM))
    flipped = front.shoulder * (-1.0, 1.0)
    goal = turned(back.shoulder, -alpha)
    cos, sin = float(flipped @ goal), cross(flipped, goal)
    move = np.array([[cos, sin], [-sin, cos]])
    neck = back.line[-1]
    ahead = ((front.line - front.line[-1]) * (-1.0, 1.0)) @ move + neck
    down = np.array([0.0, -1.0]) @ move  # of the front's centre line, away from the neck
    a, b = (min(_BRIDGE_MM + overlap, 0.4 * polyline_length(x)) for x in (back.line, ahead))
    first, start, leave = _until(back.line, a)
    second, end, arrive = _until(ahead, b)
    apart = np.zeros(2)
    for _ in range(12):
        bridge = sweep(start, leave, end + apart, -arrive).flatten()
        short = a + b - polyline_length(bridge)
        if abs(short) < 1e-4:
            break
        apart = apart + short * unit(leave - arrive)
    else:
        what = "is too much for this neckline: it cannot be laid smooth over the shoulder."
        raise DraftError.of("style.overlap", what, "Use less.")
    line = np.concatenate([first[:-1], bridge, (second[::-1] + apart)[1:]])
    return line - line[0], down


def _until(line: Points, rest: float) -> tuple[Points, Points, Points]:
    """A line without its last ``rest`` mm, where that ends, and its direction there."""
    along = arc_lengths(line)
    at = float(along[-1]) - rest
    point = points_along(line, at)
    i = int(np.searchsorted(along, at))
    kept = line[:i] if along[i - 1] < at - 1e-6 else line[: i - 1]
    return np.concatenate([kept, point[None]]), point, unit(line[i] - line[i - 1])


def beside(seam: Points, width: float, front_down: Points) -> Points:
    """(N, 2) mm the line ``width`` outside a laid neckline, from the centre back (x = 0) to the centre front."""
    import shapely

    made = shapely.LineString(seam).offset_curve(-width, quad_segs=16, join_style="mitre", mitre_limit=2.0)  # fmt: skip
    points = without_repeats(np.array(made.coords)) if made.geom_type == "LineString" else seam[:0]
    if len(points) < 2:
        what = "is so wide that the collar folds over itself on this neckline."
        raise DraftError.of("style.width", what, "Make the collar narrower.")
    points = _to_line(points[::-1], np.zeros(2), np.array([0.0, -1.0]))[::-1]
    points = _to_line(points, seam[-1], front_down)
    points[0, 0] = 0.0
    return points


def _to_line(points: Points, at: Points, along: Points) -> Points:
    """Points whose end is cut off at, or runs on straight to, the line through ``at`` along ``along``."""
    side = (points - at) @ left_of(along)
    past = side * math.copysign(1.0, float(np.median(side))) < 1e-9
    keep = len(points)
    while keep > 2 and past[keep - 1]:
        keep -= 1
    last = unit(points[min(keep, len(points) - 1)] - points[min(keep, len(points) - 1) - 1])
    run = -float(side[keep - 1]) / float(last @ left_of(along))
    return np.concatenate([points[:keep], (points[keep - 1] + run * last)[None]])


@dataclass(frozen=True)
class Layer:
    """One layer of a collar: its piece's ``name``, whether its right side is turned ``inside`` to the
    cloth below it or the neck, and how much smaller it is, mm."""

    name: str
    inside: bool
    smaller: float


def layers(
    s: Sheet,
    neck: Neck,
    made: Mapping[Layer, Sequence[Lines]],
    fold: str,
    seam: bool,
    what: str,
    past: float = 0.0,
) -> None:
    """The layers of a collar as pieces with their notches, their interfacing, and their seams.

    ``made``: each layer's lines by edge, for one side or for left and right; ``fold``: 'front' or
    'back', where it is folded; ``seam``: it is in two there; ``what``: how it is called; ``past``: mm by which
    it reaches over a button stand.
    """
    of = (neck.sources, s.options(*s.style))
    spots: dict[Layer, list[Spot]] = {}
    for layer, lines in made.items():
        (x, high), (_, low) = lines[0]["fold"]
        ends = lines[0]["neckline"]
        a, b = (ends[0], ends[1]) if abs(ends[0, 0]) < abs(ends[-1, 0]) else (ends[-1], ends[-2])
        level = abs(float(b[1] - a[1])) < 0.02 * abs(float(b[0] - a[0]))  # not so behind a V
        grain = ((x + 8.0, low + 0.2 * (high - low)), (x + 8.0, low + 0.8 * (high - low)))
        pieces = pieces_of(layer.name, fold, lines, s.measurements, grain, seam, facing=layer.inside)  # fmt: skip
        for name, piece in pieces.items():
            piece = s.add(
                piece.with_(notches=tuple(_notches(piece, neck, fold, layer, past))), all=of
            )
            if level:
                s.square(name, [frozenset((c, "outer")) for c in ("fold", "centre back")])
            spots.setdefault(layer, []).append((name, "neckline"))
        on = (*neck.spots, *(neck.tops if past else ()))
        s.seams.append(Seam(f"{layer.name} on the neckline", on, tuple(spots[layer]), neck.full))
    upper, under = made
    for (a, _), (b, _) in zip(spots[upper], spots[under], strict=True):
        for edge in s.pieces[a].edges:
            if edge in (FOLD, "neckline") or edge not in s.pieces[b].edges:
                continue
            more = s.pieces[a].edges[edge].length_mm - s.pieces[b].edges[edge].length_mm
            s.seams.append(Seam(f"{a} {edge}", ((a, edge),), ((b, edge),), more, "the under layer stretched to it"))  # fmt: skip
    if s.style["interfacing"] != "none":
        times = 2 if s.style["interfacing"] == "both" else 1
        for name, _ in spots[upper]:
            piece = s.pieces[name]
            own = name.replace(upper.name, f"{what} {INTERFACING}")
            how = ("cut %d on the fold" if piece.fold else "cut %d") % (times * piece.cut)
            copy = interfacing_of(piece, own, SHORT_MM, times * piece.cut)
            s.add(copy.with_(label=label_of(own, how, s.measurements)), all=of)
    notch_fronts(s, neck)


def _notches(piece: Piece, neck: Neck, fold: str, layer: Layer, past: float) -> list[Notch]:
    """Notches at the shoulders, and halfway on the front, for one piece of a collar."""
    edge = piece.edges["neckline"]
    x = edge.points[:, 0]
    whole = bool(x.min() < -1.0 and x.max() > 1.0)
    along = arc_lengths(edge.points)
    centre = float(along[int(np.argmin(np.abs(x)))])
    out = []
    for i, side in enumerate(neck.sides):
        front, back = side[FRONT], side[BACK]
        first, other = (back, front) if fold == BACK else (front, back)
        near = front.middle_mm if fold == FRONT else float(first.length + other.length) - front.middle_mm  # fmt: skip
        if len(neck.sides) == 1 or whole:
            left = (fold == FRONT) != layer.inside
            plus = True if len(neck.sides) == 1 else (i == 0) == left
        elif (piece.name.startswith(LEFT)) != (i == 0):
            continue
        else:
            plus = bool(x.mean() > 0.0)
        sign = 1.0 if (float(edge.points[-1, 0]) > float(edge.points[0, 0])) == plus else -1.0
        places = [(float(first.length), "shoulder"), (near, "front neckline")]
        if past:
            places.append((float(first.length + other.length), "centre front"))
        out += [Notch("neckline", centre + sign * d, 1, word) for d, word in places]
    return out
