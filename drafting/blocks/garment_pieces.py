"""From the lines of the quarters to pieces: fold, pair or whole, notches, facings, bindings, pocket.

Third stage of a block of quarters. Frame: piece mm, x from the centre line, y up. All rules are
common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from configs.errors import DraftError, Fault
from configs.units import format_length
from drafting.blocks.quarter_lines import (
    Drawn,
    flattened,
    neckline_curves,
)
from drafting.curves import (
    Cubic,
    Points,
    chain_length,
    chain_points,
    cut_chain,
    left_of,
    line,
    rounded,
    sweep,
)
from drafting.fit import BACK, FRONT, LEFT, RIGHT, Quarter
from drafting.measurements import Measurements
from drafting.outline import Edge, is_simple, polyline_length, ring_points
from drafting.piece import Line, Mark, Notch, Piece
from drafting.style import slash_and_spread
from drafting.truing import (
    Check,
    Seam,
    seam_length,
)

GATHER_STEP_MM = 2.0
SIDE_NOTCH_MM = 80.0
BIAS_JOIN_MM = 6.0
LONGEST_STRIP_MM = 700.0  # longer bias strips waste cloth; they are joined


Spot = tuple[str, str]


# --- pieces ------------------------------------------------------------------------------------


def _flip(points: Points) -> Points:
    """Mirrored in the centre line, direction kept counter-clockwise."""
    return np.asarray((points * (-1.0, 1.0))[::-1])


def _half_piece(
    name: str,
    half: str,
    points: Mapping[str, Points],
    m: Measurements,
    style: Mapping[str, Any],
    grain: Line,
) -> Piece:
    """A piece that is the same left and right: cut on the fold, or as a pair."""
    seam = half == BACK and style["centre_back"] == "seam"
    folded = "fold" in points and not seam
    names = {n: ("centre back" if seam and n == "fold" else n) for n in points}
    edges = {names[n]: Edge(names[n], p) for n, p in points.items()}
    _refuse_crossing(edges, name)
    fold = None
    if folded:
        top, low = points["fold"][0], points["fold"][-1]
        fold = ((0.0, float(top[1])), (0.0, float(low[1])))
    return Piece(
        name=name,
        edges=edges,
        cut=1 if folded else 2,
        pair=not folded,
        fold=fold,
        grain=grain,
        notches=tuple(_notches(edges, half)),
        label=label_of(name, "cut 1 on the fold" if folded else "cut 2, a pair", m),
    )


def _whole_piece(
    name: str,
    half: str,
    left: Mapping[str, Points],
    right: Mapping[str, Points],
    m: Measurements,
    grain: Line,
    facing: bool = False,
) -> Piece:
    """A piece whose sides differ: one whole, seen from the cloth's right side.

    Seen so, the wearer's left lies at x > 0 on the front and at x < 0 on the back; on a facing,
    whose right side looks at the wearer, it is the other way round.
    """
    left_first = (half == FRONT) != facing
    plus, minus = (left, right) if left_first else (right, left)
    side_of = (LEFT, RIGHT) if left_first else (RIGHT, LEFT)
    a, b = dict(plus), {n: _flip(p) for n, p in minus.items()}
    across = [n for n in a if n != "fold"]
    first, last = across[0], across[-1]  # the hem (or a facing's outer edge), and the neckline
    middle = across[1:-1]
    edges = {
        first: Edge(first, np.concatenate([b[first][:-1], a[first]])),
        **{f"{side_of[0]} {n}": Edge(f"{side_of[0]} {n}", a[n]) for n in middle},
        last: Edge(last, np.concatenate([a[last][:-1], b[last]])),
        **{f"{side_of[1]} {n}": Edge(f"{side_of[1]} {n}", b[n]) for n in reversed(middle)},
    }
    _refuse_crossing(edges, name)
    (_, low), (_, high) = grain
    return Piece(
        name=name,
        edges=edges,
        grain=((0.0, low), (0.0, high)),
        notches=tuple(_notches(edges, half)),
        label=label_of(name, "cut 1, single layer, right side up", m),
    )


def garment_pieces(
    name: str,
    half: str,
    flat: Sequence[Mapping[str, Points]],
    m: Measurements,
    style: Mapping[str, Any],
    grain: Line,
    apart: bool = False,
    facing: bool = False,
) -> dict[str, Piece]:
    """The piece or pieces of one half: one drawing of it for both sides, or left and right.

    ``apart``: left and right do not meet at the centre (armhole facings); ``facing``: it lies
    inside, its right side to the wearer. Every piece is drawn as the cloth's right side shows it.
    """
    if len(flat) == 1:
        return {name: _half_piece(name, half, flat[0], m, style, grain)}
    if not apart and not (half == BACK and style["centre_back"] == "seam"):
        return {name: _whole_piece(name, half, flat[0], flat[1], m, grain, facing)}
    out = {}
    for side, points in zip((LEFT, RIGHT), flat, strict=True):
        full = f"{side} {name}"
        ends = grain
        if (side == LEFT) != ((half == FRONT) != facing):  # lies at x < 0, see `_whole_piece`
            points = {n: _flip(points[n]) for n in reversed(list(points))}
            (x0, y0), (x1, y1) = grain
            ends = ((-x0, y0), (-x1, y1))
        piece = _half_piece(full, half, points, m, style, ends)
        label = label_of(full, "cut 1, right side up", m)
        out[full] = piece.with_(cut=1, pair=False, label=label)
    return out


def spot(half: str, side: str, edge: str, style: Mapping[str, Any]) -> Spot:
    """Piece and edge where an edge of the garment's half lies; ``side`` '' when both are alike."""
    if not side:
        return (half, edge)
    if half == BACK and style["centre_back"] == "seam":
        return (f"{side} {half}", edge)
    return (half, edge if edge in ("neckline", "hem") else f"{side} {edge}")


def _refuse_crossing(edges: Mapping[str, Edge], half: str) -> None:
    ring = ring_points(edges)
    if not is_simple(ring):
        raise DraftError(
            Fault(
                f"{half} outline",
                "crosses itself with these measurements and this style.",
                "Look at the neckline's depth and width, the shoulder and the bust girth.",
            )
        )


def grain_of(drawn: Drawn) -> Line:
    """A grainline parallel to the fold, short of the cutting lines (JIS L 0110:2001)."""
    q = drawn.quarter
    x = 0.42 * q.bust[0]
    low = q.hem_y + 0.12 * (q.bust[1] - q.hem_y)
    return ((x, low), (x, min(q.bust[1], q.centre_y) - 10.0))


def label_of(half: str, how: str, m: Measurements) -> tuple[str, ...]:
    who = " · ".join(t for t in (m.wearer, m.taken) if t)
    return tuple(t for t in (half, how, who) if t)


def _notches(edges: Mapping[str, Edge], half: str) -> list[Notch]:
    """One notch on the front, two on the back, at equal distances along mated edges."""
    count = 1 if half == FRONT else 2
    out = []
    for name, edge in edges.items():
        plain = name.split()[-1]
        length = edge.length_mm
        mirrored = _runs_down(edge)  # of the other side of a whole piece
        if plain == "side" and length > 2.0 * SIDE_NOTCH_MM:
            from_top = SIDE_NOTCH_MM
            at = from_top if mirrored else length - from_top
            out.append(Notch(name, at, count, name))
        elif plain == "armhole":
            third = length / 3.0
            out.append(Notch(name, length - third if mirrored else third, count, ""))
        elif plain == "shoulder" and length > 120.0:
            out.append(Notch(name, length / 2.0, 1, name))
    return out


def _runs_down(edge: Edge) -> bool:
    return bool(edge.points[0, 1] > edge.points[-1, 1])


# --- finishing pieces --------------------------------------------------------------------------


FACING_PAST_SLIT_MM = 30.0  # a facing reaches this far below the end of the slit that it finishes


def _neck_facing(
    drawn: Drawn, style: Mapping[str, Any], tilt: float, slit: float
) -> dict[str, list[Cubic]]:
    """A facing of the neckline: the neckline again, and once more the facing's width further out.

    ``slit``: length mm of the slit at the centre back, which it must finish too.
    """
    q, width = drawn.quarter, style["facing_width"]
    c, s = q.along
    width = min(width, 0.8 * q.shoulder_length)
    shape = style["neckline"] if q.half == FRONT else style["back_neckline"]
    deeper = width
    if shape == "v":  # measured square to the V's line, not down the centre
        lean = math.atan2(q.neck[0], q.neck[1] - q.centre_y)
        deeper = min(width / math.sin(lean), 2.5 * width, q.centre_y - q.hem_y - 40.0)
    if slit > 0 and q.half == BACK:
        deeper = max(deeper, slit + FACING_PAST_SLIT_MM)
    outer = replace(
        q, neck=(q.neck[0] + c * width, q.neck[1] + s * width), centre_y=q.centre_y - deeper
    )
    edge = neckline_curves(outer, shape, tilt if q.half == FRONT else -tilt)
    return {
        "fold": [line((0.0, q.centre_y), (0.0, outer.centre_y))],
        "outer": [x.reversed() for x in edge[::-1]],
        "shoulder": [line(outer.neck, q.neck)],
        "neckline": drawn.edges["neckline"],
    }


def _armhole_facing(drawn: Drawn, style: Mapping[str, Any]) -> dict[str, list[Cubic]]:
    """A facing of the armhole, of even width at the shoulder and at the side seam."""
    armhole, shoulder, side = (drawn.edges[n] for n in ("armhole", "shoulder", "side"))
    width = min(style["facing_width"], 0.45 * chain_length(shoulder), 0.5 * chain_length(side))
    lower, kept = cut_chain(side, chain_length(side) - width)
    near, far = cut_chain(shoulder, width)
    down = -kept[0].tangent(0.0)
    top = far[0].start
    leave = -armhole[-1].tangent(1.0)
    outer = sweep(top, leave, kept[0].start, left_of(down), (0.9, 0.9))
    del lower
    return {"outer": [outer], "side": kept, "armhole": armhole, "shoulder": near}


def _strip(
    name: str, length: float, style: Mapping[str, Any], loops: int, m: Measurements
) -> tuple[Piece, str]:
    """A bias binding: strips at 45° to the grain, their ends along the grain, joins included.

    ``length``: the finished edge, mm; ``loops``: how many such edges are bound.
    """
    width = style["binding_width"]
    slant = BIAS_JOIN_MM * math.sqrt(2.0)  # a join across a 45° end takes this much of the strip
    parts = max(1, math.ceil((length + 2.0 * slant) / LONGEST_STRIP_MM))
    each = length / parts + 2.0 * slant
    d = math.sqrt(0.5)
    along, rise = each * d, width / d
    ring = ((0.0, 0.0), (along, along), (along, along + rise), (0.0, rise))
    names = ("lower raw edge", "last raw edge", "upper raw edge", "first raw edge")
    edges = {n: Edge(n, np.array([ring[i], ring[(i + 1) % 4]])) for i, n in enumerate(names)}
    cut = parts * loops
    text = (
        f"{name}: cut {cut} on the bias, {format_length(width, m.unit)} wide and "
        f"{format_length(each, m.unit)} long along its middle; "
        f"the finished edge is {format_length(length, m.unit)} long"
        + (f", joined from {parts} strips." if parts > 1 else ".")
        + " Bound edges take no seam allowance, unless the docket names them under 'allowances'."
    )
    piece = Piece(
        name=name,
        edges=edges,
        cut=cut,
        grain=((0.5 * along, 0.5 * along + 0.2 * rise), (0.5 * along, 0.5 * along + 0.8 * rise)),
        turns=(0.0, 90.0, 180.0, 270.0),
        label=label_of(name, f"cut {cut} on the bias", m),
    )
    return piece, text


POCKET_OFF_MM = 30.0  # a pocket keeps this far off armhole, neckline and hem
POCKET_MM = (125.0, 140.0)  # width and depth where she names none
LEAST_POCKET_MM = (80.0, 90.0)
_POCKET_INSIDE_MM = 8.0  # off the centre and the side seam
_POCKET_STEP_MM = 5.0
_ROUND = 1.0 / math.cos(math.pi / 16.0)  # a buffer's corners of 4 segments lie this much inside
_FAR_FROM = ("armhole", "neckline", "hem", "sleeve hem", "underarm", "shoulder")


def pocket(
    front: Piece, drawn: Drawn, style: Mapping[str, Any], m: Measurements, notes: list[str]
) -> tuple[Piece, Piece, Check]:
    """A patch pocket, the front with its place marked, and the check of that place.

    Raises:
        DraftError: the front has no room for a pocket of the size that was asked for.
    """
    q = drawn.quarter
    chest = style["pocket"] == "chest"
    middle = (0.52 if chest else 0.55) * q.bust[0]
    width, depth, middle, low = _pocket_place(front, style, m, middle, q, notes)
    bevel = min(18.0, 0.15 * width)
    left, right = -0.5 * width, 0.5 * width
    base = [
        line((left + bevel, 0.0), (right - bevel, 0.0)),
        rounded((right - bevel, 0.0), (right, 0.0), (right, bevel)),
    ]
    first = rounded((left, bevel), (left, 0.0), (left + bevel, 0.0))
    edges = {
        "bottom": chain_points([first, *base]),
        "right side": np.array([[right, bevel], [right, depth]]),
        "hem": np.array([[right, depth], [left, depth]]),
        "left side": np.array([[left, depth], [left, bevel]]),
    }
    cut = 1 if chest else 2
    pocket = Piece(
        name="pocket",
        edges={n: Edge(n, p) for n, p in edges.items()},
        cut=cut,
        grain=((0.0, 0.15 * depth), (0.0, 0.75 * depth)),
        label=label_of("pocket", f"cut {cut}", m),
    )
    place = ring_points(pocket.edges) + np.array([middle, low])
    marks = [
        Mark("pocket", place, closed=True),
        # drilled a centimetre inside, so that the pocket hides the holes
        Mark("pocket corner", np.array([[middle + left + 10.0, low + depth - 10.0]])),
        Mark("pocket corner", np.array([[middle + right - 10.0, low + depth - 10.0]])),
    ]
    if front.fold is None and not chest:
        marks += [Mark(k.name, k.points * (-1.0, 1.0), k.closed) for k in marks]
    if chest and front.fold is not None:
        notes.append("The chest pocket's place shows on both halves: sew it on the wearer's left.")
    marked = front.with_(marks=(*front.marks, *marks))
    return pocket, marked, check_pocket(marked, m.unit)


def check_pocket(front: Piece, unit_: str) -> Check:
    """Every pocket's place keeps 3 cm off armhole, neckline and hem; measured on the piece."""
    places = [k.points for k in front.marks if k.name == "pocket"]
    off = {
        n: min(_apart(p, e.points) for p in places)
        for n, e in front.edges.items()
        if n.removeprefix("left ").removeprefix("right ") in _FAR_FROM
    }
    name = min(off, key=lambda n: off[n])
    text = f"{format_length(off[name], unit_)} off the {name}, the nearest"
    least = off[name] + 1e-3
    limit = POCKET_OFF_MM
    return Check(
        "the pocket keeps off the edges", max(limit - least, 0.0), 0.0, least >= limit, text
    )


def _apart(ring: Points, line_: Points) -> float:
    """Distance in mm between the closed ``ring`` with what it encloses, and a line; 0 if they meet."""
    import shapely

    return float(shapely.distance(shapely.Polygon(ring), shapely.LineString(line_)))


def _pocket_place(
    front: Piece,
    style: Mapping[str, Any],
    m: Measurements,
    middle: float,
    q: Quarter,
    notes: list[str],
) -> tuple[float, float, float, float]:
    """Width, depth, x of the middle and y of the lower edge, mm: the nearest place that is free.

    Raises:
        DraftError: there is none.
    """
    import shapely
    from shapely.affinity import scale

    chest = style["pocket"] == "chest"
    edges = {n: shapely.LineString(e.points) for n, e in front.edges.items()}
    taken = [
        line_.buffer(
            _ROUND
            * (
                POCKET_OFF_MM
                if n.removeprefix("left ").removeprefix("right ") in _FAR_FROM
                else _POCKET_INSIDE_MM
            ),
            quad_segs=4,
        )
        for n, line_ in edges.items()
    ]
    taken.append(shapely.LineString([(0.0, -1e4), (0.0, 1e4)]).buffer(_POCKET_INSIDE_MM))
    free = shapely.Polygon(front.sewing_line)
    if front.fold is None:  # a pocket on each side, or one that is sewn where it is drawn
        free = free.intersection(scale(free, -1.0, 1.0, origin=(0.0, 0.0)))
        taken += [scale(t, -1.0, 1.0, origin=(0.0, 0.0)) for t in taken]
    free = free.difference(shapely.union_all(taken))
    shapely.prepare(free)
    wide, deep = style["pocket_width"], style["pocket_depth"]
    usual = (wide or POCKET_MM[0], deep or POCKET_MM[1])
    sizes = [usual]
    for share in np.arange(0.95, 0.5, -0.05):
        size = (
            wide or max(share * POCKET_MM[0], LEAST_POCKET_MM[0]),
            deep or max(share * POCKET_MM[1], LEAST_POCKET_MM[1]),
        )
        if size != sizes[-1]:
            sizes.append(size)
    _, bottom, right, top = front.bounds()
    for width, depth in sizes:
        start = (q.bust[1] + 20.0 if chest else q.waist[1] - 20.0) - depth
        xs = np.r_[middle, np.arange(0.5 * width, right, _POCKET_STEP_MM)]
        ys = np.r_[start, np.arange(bottom, top - depth, _POCKET_STEP_MM)]
        x, y = (g.ravel() for g in np.meshgrid(xs, ys))
        moved = np.hypot(x - middle, y - start)
        order = np.argsort(moved, kind="stable")
        order = order[moved[order] <= _POCKET_REACH_MM]
        boxes = shapely.box(
            x[order] - 0.5 * width, y[order], x[order] + 0.5 * width, y[order] + depth
        )
        fits = np.flatnonzero(shapely.covers(free, boxes))
        if len(fits):
            i = order[fits[0]]
            said = []
            if (width, depth) != usual:
                said.append(
                    f"is {format_length(width, m.unit)} × {format_length(depth, m.unit)} instead of "
                    f"{format_length(usual[0], m.unit)} × {format_length(usual[1], m.unit)}"
                )
            if moved[i] > 1.0:
                said.append(f"lies {format_length(float(moved[i]), m.unit)} from its usual place")
            if said:
                notes.append(
                    f"The pocket {' and '.join(said)}, to keep {format_length(POCKET_OFF_MM, m.unit)} "
                    "off armhole and hem."
                )
            return float(width), float(depth), float(x[i]), float(y[i])
    named = [k for k in ("pocket_width", "pocket_depth") if style[k] is not None]
    raise DraftError(
        Fault(
            f"style.{named[0] if named else 'pocket'}",
            f"the front has no room for a pocket of {format_length(sizes[-1][0], m.unit)} × "
            f"{format_length(sizes[-1][1], m.unit)} that keeps {format_length(POCKET_OFF_MM, m.unit)} "
            "off armhole, neckline and hem.",
            f"Make it smaller, or leave {' and '.join(named)} out."
            if named
            else "Make the top longer, or leave the pocket out.",
        )
    )


_POCKET_REACH_MM = 280.0  # farther from its usual place it would be another pocket


def finish(
    pieces: dict[str, Piece],
    both: tuple[Mapping[str, Drawn], Mapping[str, Drawn]],
    m: Measurements,
    style: Mapping[str, Any],
    notes: list[str],
    slit: float = 0.0,
) -> list[Seam]:
    """Facings and bindings of neckline and armholes, added to ``pieces``; their seams.

    ``slit``: length mm of the slit at the centre back, 0 for none.
    """
    seams: list[Seam] = []
    one = both[0] is both[1]
    shapes: dict[str, list[dict[str, dict[str, Points]]]] = {}
    if style["neckline_finish"] == "facing":
        shapes["neck"] = [
            {h: flattened(_neck_facing(d[h], style, d[h].tilt, slit)) for h in (FRONT, BACK)}
            for d in both
        ]
    has_armhole = "armhole" in both[0][FRONT].edges
    if style["armhole_finish"] == "facing" and has_armhole:
        shapes["armhole"] = [
            {h: flattened(_armhole_facing(d[h], style)) for h in (FRONT, BACK)} for d in both
        ]
    for kind, sides in shapes.items():
        edge = "neckline" if kind == "neck" else "armhole"
        apart = kind == "armhole"
        for h in (FRONT, BACK):
            name, flat = f"{h} {kind} facing", [d[h] for d in sides[: 1 if one else 2]]
            pieces |= garment_pieces(
                name, h, flat, m, style, _facing_grain(flat[0]), apart, facing=True
            )

        def facing(h: str, side: str, e: str, kind: str = kind, apart: bool = apart) -> Spot:
            name = f"{h} {kind} facing"
            if not side:
                return (name, e)
            if apart or (h == BACK and style["centre_back"] == "seam"):
                return (f"{side} {name}", e)
            return (name, e if e in ("neckline", "outer") else f"{side} {e}")

        for side in ("",) if one else (LEFT, RIGHT):
            for e in ("side", "shoulder") if apart else ("shoulder",):
                name = f"{side} {kind} facing {e}".strip()
                seams.append(Seam(name, (facing(FRONT, side, e),), (facing(BACK, side, e),)))
            for h in (FRONT, BACK):
                on, under = spot(h, side, edge, style), facing(h, side, edge)
                longer = (
                    seam_length(pieces, [on]) - seam_length(pieces, [under])
                    if kind == "neck" and style["gathers"] in (h, "both")
                    else 0.0
                )
                seam = Seam(under[0], (on,), (under,), longer)
                if seam not in seams:  # a whole neck facing is met from both sides
                    seams.append(seam)
    if style["neckline_finish"] == "bias":
        length = sum(chain_length(d[h].edges["neckline"]) for d in both for h in (FRONT, BACK))
        pieces["neck binding"], text = _strip("neck binding", length, style, 1, m)
        _bind(pieces, "neckline")
        notes.append(text)
    if style["armhole_finish"] == "bias" and has_armhole:
        lengths = [sum(chain_length(d[h].edges["armhole"]) for h in (FRONT, BACK)) for d in both]
        pieces["armhole binding"], text = _strip("armhole binding", max(lengths), style, 2, m)
        _bind(pieces, "armhole")
        notes.append(text)
    return seams


def _bind(pieces: dict[str, Piece], edge: str) -> None:
    """Mark the edge of that name as bound, on every front and back."""
    for name, piece in pieces.items():
        if name.split()[-1] in (FRONT, BACK):
            ends = tuple(n for n in piece.edges if n.split()[-1] == edge)
            pieces[name] = piece.with_(bound=(*piece.bound, *ends))


def _facing_grain(
    points: Mapping[str, Points],
) -> Line:
    """A short grainline inside a facing: at its fold, or beside the middle of its outer edge."""
    if "fold" in points:
        top, low = points["fold"][0], points["fold"][-1]
        x = 8.0
        return (
            (x, float(low[1] + 0.2 * (top[1] - low[1]))),
            (x, float(low[1] + 0.8 * (top[1] - low[1]))),
        )
    outer, inner = points["outer"], points["armhole"]
    middle = 0.5 * (outer[len(outer) // 2] + inner[len(inner) // 2])
    return (
        (float(middle[0]), float(middle[1] - 15.0)),
        (float(middle[0]), float(middle[1] + 15.0)),
    )


def gathered(points: dict[str, Points], q: Quarter, style: Mapping[str, Any]) -> dict[str, Points]:
    """The quarter slashed from neckline to hem and spread, so that the neckline can be gathered.

    The slashes lie close to one another near the centre and end short of the neck point: the
    shoulder, armhole and side seam are moved as they are and still fit their partners.
    """
    if style["gathers"] not in (q.half, "both"):
        return points
    # Straight stretches are bent by the spreading: they need points to bend at.
    points = {
        n: _dense(p, GATHER_STEP_MM) if n in ("neckline", "hem") else p for n, p in points.items()
    }
    neckline = points["neckline"]
    finished = polyline_length(neckline)
    zone = _gather_zone(q)
    even = style["gather_spread"] == "even"
    height = q.centre_y - q.hem_y

    def spread(line_: Points, amount: float) -> Points:
        return slash_and_spread(line_, zone, amount, q.hem_y, 0.0 if even else height)

    low, high = 0.0, 3.0 * finished
    for _ in range(24):  # to a ten-thousandth of a millimetre
        amount = 0.5 * (low + high)
        new = spread(neckline, amount)
        if polyline_length(new) < style["gather_ratio"] * finished:
            low = amount
        else:
            high = amount
    return {n: spread(p, 0.5 * (low + high)) for n, p in points.items()}


def _gather_zone(q: Quarter) -> float:
    """How far from the centre the gathers reach, mm."""
    return 0.85 * q.neck[0]


def gather_marks(
    pieces: dict[str, Piece],
    drawn: Mapping[str, Drawn],
    style: Mapping[str, Any],
    m: Measurements,
    notes: list[str],
) -> None:
    """Notches where the gathers begin and end, a line on the label, and a note; in ``pieces``.

    From the neck point to the notch the neckline is as it was drawn; the facing is notched at
    the same distance.
    """
    for half in (FRONT, BACK):
        if style["gathers"] not in (half, "both"):
            continue
        flat, q = drawn[half].flat["neckline"], drawn[half].quarter
        zone = _gather_zone(q)
        dense = _dense(flat, 0.25)
        plain = polyline_length(dense[: int(np.argmax(dense[:, 0] < zone)) + 1])
        finished = 2.0 * (polyline_length(flat) - plain)
        long_ = 2.0 * (style["gather_ratio"] * polyline_length(flat) - plain)
        text = f"gather {format_length(long_, m.unit)} into {format_length(finished, m.unit)}"
        for name, piece in pieces.items():
            facing = name.endswith(f"{half} neck facing")
            if not facing and name.split()[-1] != half:
                continue
            edge = piece.edges["neckline"]
            ends = np.abs(edge.points[[0, -1], 0])
            far = [i for i in (0, 1) if ends[i] > 0.5 * q.neck[0]]  # the ends at a neck point
            notches = tuple(
                Notch("neckline", plain if i == 0 else edge.length_mm - plain, 1, "gathers")
                for i in far
            )
            label = piece.label
            if not facing:
                label = (*label[:2], text, *label[2:])
            pieces[name] = piece.with_(notches=(*piece.notches, *notches), label=label)
        added = 2.0 * (float(_reach(pieces, half)) - q.bust[0])
        wide = (
            f" The {half} is {format_length(added, m.unit)} wider all the way down."
            if style["gather_spread"] == "even"
            else ""
        )
        notes.append(f"{half.capitalize()} neckline, from notch to notch: {text}.{wide}")


def _reach(pieces: Mapping[str, Piece], half: str) -> float:
    """x of the underarm on the half's first piece: where its side or underarm edge ends."""
    piece = next(p for n, p in pieces.items() if n.split()[-1] == half)
    edge = next(e for n, e in piece.edges.items() if n.split()[-1] == "side")
    return float(np.abs(edge.points[-1 if edge.points[0, 1] < edge.points[-1, 1] else 0, 0]))


def _dense(points: Points, step_mm: float) -> Points:
    """The same polyline with points at most ``step_mm`` apart."""
    parts = []
    for a, b in pairwise(points):
        count = max(1, math.ceil(float(np.hypot(*(b - a))) / step_mm))
        parts.append(a + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * (b - a))
    return np.concatenate([*parts, points[-1:]])
