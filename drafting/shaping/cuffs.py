"""Cuffs and interfacing: what a sleeve's end gets, and what stiffens a facing, a band or a cuff.

Operations of the scissors, drafted from finished edges. Frame: piece mm. Common practice, no source:
a shaped cuff follows the sleeve's slope, one turned back lies on the sleeve, so it is cut as the
sleeve is there; interfacing is cut without allowance, or 2 mm short, with the darts cut out of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from drafting.allowance import FOLD
from drafting.outline import Points, arc_lengths, polyline_length
from drafting.piece import Notch, Piece
from drafting.shaping.adding import edge_of, new_piece
from drafting.shaping.cutting import as_inside, relabelled
from drafting.shaping.parts import End, refuse
from drafting.shaping.places import neighbours
from drafting.shaping.state import Work
from drafting.shaping.walking import sewn_notches
from drafting.sheet.inside import INTERFACING, cut_as_drawn
from drafting.truing import Seam, Spot, sewn_length

_LEAST_SHARE = 0.4  # an outer edge shorter than this share of the seam is no cuff but a cone


def cuff(
    work: Work,
    names: Sequence[str],
    edge: str,
    width: float,
    fullness: tuple[float, float],
    overlap: float,
    turned: bool,
    made_name: str,
) -> Work:
    """A shaped cuff for the sleeve end that ``edge`` of some pieces makes, one after the other.

    ``fullness``: how much longer the sleeve end is, gathered or pleated in; or else the cuff's own
    length at the seam. ``overlap``: further length for a button; ``turned``: it is turned back over
    the sleeve, else it runs on below it.

    Raises:
        DraftError: no such edge, ends that differ in number, or a slope too steep for the width.
    """
    long_, growth, starts, loops = 0.0, 0.0, [0.0], set()
    notches: list[tuple[str, float, int]] = []
    sewn: tuple[Spot, ...] = ()
    for name in names:
        piece = work.piece(name)
        edge_of(piece, edge)
        per, more, times, each = _end_of(piece, edge, width)
        if times == 1:
            counts = {n.match: n.count for n in piece.notches if n.edge == edge}
            notches += [(m, long_ + x, counts[m]) for m, x in sewn_notches(piece, edge)]
        long_, growth = long_ + times * per, growth + times * more
        starts.append(long_)
        loops.add(each)
        sewn += ((name, edge),) * times
    if len(loops) != 1:
        raise refuse(f"{' and '.join(names)} are not cut for the same number of sleeves.")
    ease, girth = fullness
    inner = girth or long_ - ease
    if inner < 20.0:
        raise refuse("so much ease leaves no cuff.", "Use less.")
    growth *= (1.0 if turned else -1.0) * inner / long_
    if inner + growth < _LEAST_SHARE * inner:
        raise refuse(
            f"following the slope of the sleeve, a cuff of {width / 10:.1f} cm would be only "
            f"{(inner + growth) / 10:.1f} cm round at its outer edge.",
            "Make it narrower, or draft a straight one ('band').",
        )
    made_name = made_name or f"{names[0]} cuff"
    edges = _sector(edge, inner, width, growth, overlap)
    drawn = polyline_length(edges[edge])  # by a hair less than along the arc
    share = inner / long_
    spots = [(m, share * x, c) for m, x, c in notches]
    spots += [("seam", share * x, 1) for x in starts[1:-1]]
    at = [Notch(edge, min(overlap + inner - x, drawn), c, m) for m, x, c in spots]
    if overlap > 0:
        at.append(Notch(edge, overlap, 1, "overlap"))
    out, _ = new_piece(
        work,
        names[0],
        made_name,
        edges,
        cut=2 * loops.pop(),
        pair=bool(at),
        grain=((0.0, -0.85 * width), (0.0, -0.15 * width)),
        notches=tuple(at),
    )
    word = "gathered or pleated in"
    return out.sewn(Seam(made_name, sewn, ((made_name, edge),), long_ - inner - overlap, word))


def _end_of(piece: Piece, edge: str, width: float) -> tuple[float, float, int, int]:
    """Of a sleeve end: (its sewn length, how much longer the sleeve is ``width`` above it, how often
    it counts in one sleeve, how many sleeves are cut)."""
    before, after = (piece.edges[n] for n in neighbours(piece, edge))
    up = min(width, before.length_mm, after.length_mm)
    if up < 0.25 * width:
        raise refuse(
            f"the {piece.name} is shorter than a cuff of {width / 10:.1f} cm.", "Make it narrower."
        )
    p, q = before.at(before.length_mm - up)[0], after.at(up)[0]
    a, b = piece.edges[edge].points[[0, -1]]
    more = (float(np.hypot(*(p - q))) - float(np.hypot(*(a - b)))) * width / up
    centre = FOLD in (before.name, after.name)
    twice = piece.fold is not None and not centre
    return sewn_length(piece, edge), more, 2 if centre else 1, piece.cut * (2 if twice else 1)


def _sector(
    edge: str, inner: float, width: float, growth: float, overlap: float
) -> dict[str, Points]:
    """The edges of a cuff: a piece of a ring, ``inner`` long at the seam, ``growth`` longer outside."""
    bend = growth / width  # radians over its whole length
    count = max(2, math.ceil(abs(bend) * 60.0) + 1)

    def row(down: float) -> Points:
        x = np.linspace(-0.5 * inner, 0.5 * inner + overlap, count)
        if abs(bend) < 1e-6:
            return np.stack([x, np.full(count, -down)], axis=1)
        radius = inner / bend
        angle = x / radius
        return np.stack(
            [(radius + down) * np.sin(angle), radius - (radius + down) * np.cos(angle)], axis=1
        )

    seam, outer = row(0.0)[::-1], row(width)
    return {
        "outer": outer,
        "right end": np.stack([outer[-1], seam[0]]),
        edge: seam,
        "left end": np.stack([seam[-1], outer[0]]),
    }


def interfacing(work: Work, name: str, short: float = 0.0, cut: int = 0) -> Work:
    """A copy of a piece for interfacing, cut as drawn whatever the allowances: on the sewing line, or
    ``short`` inside it all round (not at the fold), the darts cut out.

    ``cut``: how many, as many as of the piece itself if 0.

    Raises:
        DraftError: it would fall apart, or nothing would be left.
    """
    import shapely

    piece = work.piece(name)
    made_name = work.unused(f"{name} {INTERFACING}")
    whole = piece.opened() if piece.fold is not None else piece
    shape = shapely.Polygon(whole.sewing_line)
    for dart in whole.darts:
        line, end = whole.edges[dart.edge].points, End.of_dart(whole, dart)
        steps = arc_lengths(line)
        roof = line[(steps > end.before + 1e-6) & (steps < end.after - 1e-6)]
        wedge = shapely.Polygon([end.near, *roof, end.far, dart.tip])
        shape = shape.difference(wedge.buffer(1e-6, join_style="mitre"))
    made = cut_as_drawn(piece, shape, made_name, short, cut or piece.cut)
    return work.with_new(as_inside(piece, relabelled(made)), name)
