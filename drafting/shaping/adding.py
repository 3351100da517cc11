"""What is added to a piece or drafted from it: strips, facings, bands, linings, pocket bags.

Operations of the scissors. Each new piece is drafted from the *finished* edge, so it is as long as
the edge as it is now. Frame: piece mm. Common practice, no source, unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

import numpy as np

from drafting.allowance import FOLD
from drafting.curves import chain_points, left_of, sweep, unit
from drafting.curves import line as line_of
from drafting.measurements import Measurements
from drafting.outline import Edge, Points, bow, place_on, without_repeats
from drafting.piece import Mark, Notch, Piece
from drafting.shaping.cutting import as_inside, relabelled
from drafting.shaping.parts import Run, built, edge_named, of_a_dart, refuse, runs_of, split, xy
from drafting.shaping.pivoting import closed
from drafting.shaping.places import CutLine, beside, level_y, neighbours
from drafting.shaping.state import Work
from drafting.sheet.collars import rising
from drafting.sheet.finishing import POCKET_OFF_MM, binding, patch_pocket, pocket_marks
from drafting.sheet.finishing import band as straight_band
from drafting.truing import Seam, sewn_length

LINING = "lining"
_FILL = 1.5  # of a facing's width: the radius of its outer edge from one edge to the next


def strip(work: Work, name: str, edge: str, width: float, fold_line: str) -> Work:
    """A strip added along an edge: the old edge becomes a line on the piece, ``fold_line``.

    A straight edge moves out square to itself; a hem or a front edge is turned back on it.

    Raises:
        DraftError: no such edge, a curved one, or a fold.
    """
    piece = work.piece(name)
    if edge == FOLD:
        raise refuse(
            "a strip along the fold would only be folded in.",
            f"Make it a seam first ('seam at fold: {name}'), or spread the piece.",
        )
    line = edge_of(piece, edge).points
    chord = line[-1] - line[0]
    off = bow(line)
    if off > 0.02 * float(np.hypot(*chord)) + 0.5:
        raise refuse(
            f"the {edge} of the {name} is curved by {off:.0f} mm: a strip on it would not lie flat "
            "when it is turned.",
            "Draft a facing from it instead ('facing').",
        )
    outward = -left_of(unit(chord)) * width
    runs = runs_of(piece)
    i = [r.name for r in runs].index(edge)
    before, after = runs[i - 1], runs[(i + 1) % len(runs)]
    moved = Run(edge, line + outward, runs[i].notches, ())
    if runs[i].darts:
        raise refuse(f"the {edge} of the {name} has a dart.", "Move the dart first.")
    lead = Run(before.name, np.stack([line[0], line[0] + outward]))
    tail = Run(after.name, np.stack([line[-1] + outward, line[-1]]))
    ring = [*runs[:i], lead, moved, tail, *runs[i + 1 :]]
    while ring[0].name == ring[-1].name:  # what was added to an edge at the ring's seam joins it
        ring = [ring[-1], *ring[:-1]]
    marks = [*piece.marks, Mark(fold_line or f"{edge} line", line)]
    return work.with_piece(built(piece, ring, marks, piece.landmarks))


def edge_of(piece: Piece, edge: str) -> Edge:
    """The edge of that name, which is no fold.

    Raises:
        DraftError: there is none, or it is the fold.
    """
    if edge == FOLD:
        raise refuse(
            "a fold is not an edge to be finished.", f"'seam at fold: {piece.name}' first."
        )
    return piece.edges[edge_named(piece, edge)]


def new_piece(
    work: Work, of: str, name: str, edges: Mapping[str, Points], **fields: Any
) -> tuple[Work, Piece]:
    """A further piece drawn by its edges, with the lines of another's label that say whose it is.

    Raises:
        DraftError: there is a piece of that name already.
    """
    label = (work.unused(name), "", *work.piece(of).label[2:])
    ring = {n: Edge(n, p) for n, p in edges.items()}
    made = relabelled(Piece(name=name, edges=ring, label=label, **fields))
    return work.with_new(made, of), made


def facing(work: Work, name: str, edges: Sequence[str], width: float, made_name: str) -> Work:
    """A facing of one or more edges that follow one another: their own line, and once more ``width``
    inside. Of more edges it is all in one, as where neck and armhole facings would overlap.

    Raises:
        DraftError: edges that do not follow one another, or a piece too narrow for it.
    """
    import shapely

    piece = work.piece(name)
    wanted = [edge_of(piece, e).name for e in edges]
    near = [*wanted, *_between(piece, wanted)]
    for name_ in near:
        piece = closed(piece, name_)  # a facing has no darts: it is drafted with them folded shut
    shape = shapely.Polygon(piece.sewing_line)
    lines = shapely.union_all([shapely.LineString(piece.edges[e].points) for e in near])
    # Flat ends: the facing stops where its edge stops, along the neighbour's line.
    zone = shapely.intersection(shape, lines.buffer(width, quad_segs=24, join_style="round"))
    if len(near) > 1:  # no crevice where two widths meet: it would only be clipped away
        filled = zone.buffer(_FILL * width, quad_segs=24).buffer(-_FILL * width, quad_segs=24)
        zone = shapely.intersection(shape, shapely.union(zone, filled))
    parts = [g for g in getattr(zone, "geoms", [zone]) if g.area > 100.0]
    if len(parts) != 1 or len(parts[0].interiors):
        raise refuse(
            f"a facing of {width / 10:.1f} cm has no single shape on the {name}.",
            "Make it narrower, or face the edges apart.",
        )
    if parts[0].area > 0.8 * shape.area:
        raise refuse(
            f"a facing of {width / 10:.1f} cm covers most of the {name}.", "Make it narrower."
        )
    ring = without_repeats(np.array(parts[0].exterior.coords), closed=True)
    if not parts[0].exterior.is_ccw:
        ring = ring[::-1]
    runs = _named_ring(piece, ring)
    kind = " and ".join("neck" if e == "neckline" else e for e in wanted)
    made_name = work.unused(made_name or f"{name} {kind} facing")
    half = piece.fold is not None and not any(r.name == FOLD for r in runs)
    changes: dict[str, object] = {"name": made_name, "bound": ()}
    if half:
        changes |= {"cut": 2 * piece.cut, "pair": True}
    made = as_inside(piece, relabelled(built(piece, runs, (), {}, **changes)))
    out = work.with_new(made, name)
    seams = [
        Seam(f"{made_name}, {e}", ((name, e),), ((made_name, e),))
        for e in wanted
        if e in made.edges
    ]
    return out.sewn(*seams)


def _between(piece: Piece, wanted: Sequence[str]) -> list[str]:
    """Edges that lie between two of the wanted ones: the facing bridges them (a shoulder)."""
    return [n for n in piece.edges if n not in wanted and {*neighbours(piece, n)} <= {*wanted}]


def _named_ring(piece: Piece, ring: Points) -> list[Run]:
    """The runs of a ring cut out of a piece: stretches of its edges by their names, the rest
    'outer'."""
    count = len(ring)
    names = []
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        on = (
            n
            for n, e in piece.edges.items()
            if all(place_on(e.points, p)[1] < 1e-4 for p in (a, 0.5 * (a + b), b))
        )
        names.append(next(on, "outer"))
    start = next((i for i in range(count) if names[i] != names[i - 1]), 0)
    order = [(start + k) % count for k in range(count)]
    runs = []
    for name, group in groupby(order, key=lambda i: names[i]):
        of = list(group)
        runs.append(Run(name, ring[[*of, (of[-1] + 1) % count]]))
    return [_with_notches(piece, r) for r in runs]


def _with_notches(piece: Piece, run: Run) -> Run:
    """A stretch of an edge with the notches that lie on it."""
    own = [n for n in piece.notches if n.edge == run.name and not of_a_dart(n)]
    met = [(n, *place_on(run.points, piece.edges[n.edge].at(n.at_mm)[0])) for n in own]
    return replace(run, notches=tuple(replace(n, at_mm=at) for n, at, off in met if off < 1e-3))


def band(
    work: Work,
    name: str,
    edge: str,
    width: float,
    ease: float = 0.0,
    overlap: float = 0.0,
    made_name: str = "",
) -> Work:
    """A straight band for an edge, folded along its middle: twice as wide as it is finished, as long
    as the finished edge (all pieces that are cut of it) and an overlap.

    ``ease``: how much longer the edge is than the band, gathered or eased in.
    """
    piece = work.piece(name)
    edge_of(piece, edge)
    per = sewn_length(piece, edge)
    each = (2.0 * per if piece.fold is not None else per) - ease
    if each <= 0:
        raise refuse("so much ease leaves no band.", "Use less.")
    long_ = each + overlap
    made_name = work.unused(made_name or f"{name} band")
    ends = {m: [x] for m, x in (("centre", 0.5 * each), ("overlap", each)) if 0 < x < long_}
    made = _of(piece, straight_band(made_name, edge, long_, 2.0 * width, ends, _nobody(work)))
    if piece.fold is None:
        made = made.with_(cut=piece.cut)
    out = work.with_new(relabelled(made), name)
    twice = ((name, edge),) * (2 if piece.fold is not None else 1)
    return out.sewn(
        Seam(made_name, twice, ((made_name, edge),), ease - overlap, "gathered or eased in")
    )


def _nobody(work: Work) -> Measurements:
    """Measurements of nobody, for makers of pieces that label them and tell lengths in her unit."""
    return Measurements({}, unit=work.unit)


def _of(piece: Piece, made: Piece) -> Piece:
    """A new piece with the lines of another's label that say whose it is."""
    return made.with_(label=(*made.label, *piece.label[2:]))


def bind(work: Work, name: str, edge: str, width: float, made_name: str) -> Work:
    """A bias binding for an edge, both halves of a piece on the fold and every piece that is cut; the
    edge is bound, so it takes no allowance.

    ``width``: of the strip as cut, four times the finished width.
    """
    piece = work.piece(name)
    line = edge_of(piece, edge)
    twice = 2 if piece.fold is not None else 1
    apart = twice == 2 and line.points[0, 0] * line.points[-1, 0] != 0.0  # a left and a right one
    length = sewn_length(piece, edge) * (1 if apart else twice)
    loops = piece.cut * (twice if apart else 1)
    made_name = work.unused(made_name or f"{name} {edge} binding")
    made, text = binding(made_name, length, width, loops, _nobody(work))
    bound = piece.with_(bound=(*piece.bound, edge))
    return work.with_piece(bound).with_new(_of(piece, made), name).noting(text)


def stand(
    work: Work, names: Sequence[str], edge: str, height: float, rise: float, made_name: str
) -> Work:
    """A collar stand for a neckline: half of it, its centre back on the fold, rising to its front.

    ``names``: the pieces whose ``edge`` makes the half neckline, from the back to the front;
    ``rise``: how far its lower edge rises at the centre front. It lies along an arc, so that the upper
    edge is shorter by the height times the arc's angle, and leans to the neck.
    """
    pieces = [work.piece(n) for n in names]
    for piece in pieces:
        edge_of(piece, edge)
    half = sum(
        sewn_length(p, edge) * (1.0 if p.fold is not None or p.pair else 0.5) for p in pieces
    )
    if not 0.0 <= rise < 0.4 * half:
        raise refuse("so high a rise would stand the collar on end.", "1 to 2.5 cm is usual.")
    lower, upper = rising(half, rise), rising(half, rise, height)
    edges = {
        FOLD: np.array([upper[0], lower[0]]),
        edge: lower,
        "centre front": np.array([lower[-1], upper[-1]]),
        "upper": upper[::-1],
    }
    made_name = made_name or "collar stand"
    spots = np.cumsum([sewn_length(p, edge) for p in pieces])[:-1]
    out, _ = new_piece(
        work,
        names[0],
        made_name,
        edges,
        cut=2,
        fold=(xy(upper[0]), xy(lower[0])),
        notches=tuple(Notch(edge, float(s), 1, "shoulder") for s in spots),
        grain=((0.1 * half, 0.2 * height), (0.1 * half, 0.8 * height)),
    )
    sewn = tuple((p.name, edge) for p in pieces)
    return out.sewn(Seam(made_name, sewn, ((made_name, edge),)))


def patch(
    work: Work, name: str, across: float, level: str, width: float, depth: float, made_name: str
) -> Work:
    """A patch pocket, and its place marked on a piece.

    ``across``: its middle from the centre line; ``level``: of its upper edge, in words.

    Raises:
        DraftError: its place leaves the piece, or comes within 3 cm of its edges' allowances.
    """
    import shapely

    piece = work.piece(name)
    top = level_y(piece, level, work.unit)
    made_name = work.unused(made_name or f"{name} pocket")
    twice = piece.fold is not None and across > 0.5 * width
    made = patch_pocket(width, depth, 2 if twice or piece.pair else 1, _nobody(work))
    marks = pocket_marks(made, (across, top - depth))
    place = shapely.Polygon(marks[0].points)
    shape = shapely.Polygon(piece.unfolded())
    if not shape.buffer(-POCKET_OFF_MM).covers(place):
        raise refuse(
            f"the pocket would lie within {POCKET_OFF_MM / 10:g} cm of an edge of the {name}, or off it.",
            "Make it smaller, or move it.",
        )
    marked = piece.with_(marks=(*piece.marks, *marks))
    named = _of(piece, made.with_(name=made_name, label=(made_name, made.label[1])))
    return work.with_piece(marked).with_new(named, name)


def lining(work: Work, name: str, shorter: float = 0.0, edge: str = "hem") -> Work:
    """A copy for lining, ``shorter`` at one edge (2 to 2.5 cm at the hem).

    Raises:
        DraftError: it would be shortened at an edge that it has not.
    """
    piece = work.piece(name)
    made_name = work.unused(f"{name} {LINING}")
    made = piece.with_(name=made_name, marks=piece.drills)
    if shorter > 0:
        line = beside(made, edge_of(made, edge).name, shorter)
        made = trimmed(made, line, edge)
    label = (made_name, "", *piece.label[2:])
    made = as_inside(piece, relabelled(made.with_(name=made_name, label=label)))
    return work.with_new(made, name)


def trimmed(piece: Piece, line: CutLine, edge: str) -> Piece:
    """A piece without what lies past a line beside an edge; the new edge takes the old one's name."""
    parts = split(piece, line.a, line.b, line.inner)
    kept = min(parts, key=lambda p: sum(r.length_mm for r in p.runs if r.name == edge))
    run = Run(edge, kept.line)
    return built(piece, [*kept.runs, run], kept.marks, kept.landmarks)


def pocket_bag(
    work: Work, name: str, edge: str, at: float, opening: float, depth: float, made_name: str
) -> Work:
    """An in-seam pocket bag drafted from an edge, and its opening notched there.

    ``at``: where the opening begins, mm from the edge's upper end; ``depth``: how far the bag hangs
    below the opening's lower end.
    """
    piece = work.piece(name)
    line = edge_of(piece, edge)
    down = bool(line.points[0, 1] > line.points[-1, 1])
    spots = [at, at + opening]
    if at < 0 or at + opening > line.length_mm:
        raise refuse(
            f"the opening does not fit on the {edge} ({line.length_mm / 10:.1f} cm).", "Move it up."
        )
    along = spots if down else [line.length_mm - s for s in spots]
    notches = tuple(Notch(edge, x, 1, "pocket") for x in along)
    marked = piece.with_(notches=(*piece.notches, *notches))
    mouth, _ = line.spots(np.linspace(along[0], along[1], 17))
    top = mouth[0]
    mouth = mouth - top
    if float(np.mean(piece.sewing_line[:, 0])) < float(top[0]):
        mouth = mouth * (-1.0, 1.0)  # drawn with its mouth at the left, as any bag
    wide = max(0.75 * opening, 110.0)
    low = float(mouth[-1, 1]) - depth
    bottom, corner = np.array([0.6 * wide, low]), np.array([wide, float(mouth[-1, 1])])
    outer = chain_points(
        [
            sweep(mouth[-1], (0.35, -1.0), bottom, (1.0, 0.0)),
            sweep(bottom, (1.0, 0.0), corner, (0.0, 1.0)),
            line_of(corner, (wide, 0.0)),
            line_of((wide, 0.0), mouth[0]),
        ]
    )
    grain = ((0.5 * wide, 0.8 * low), (0.5 * wide, 0.2 * low))
    edges = {"mouth": mouth, "outer": outer}
    made_name = made_name or f"{name} pocket bag"
    out, _ = new_piece(work, name, made_name, edges, cut=4, pair=True, grain=grain)
    return out.with_piece(marked)


def landmark(work: Work, name: str, word: str, across: float, level: str) -> Work:
    """A place inside a piece named, by its distance from the centre line and its level.

    Raises:
        DraftError: it lies outside, or its name would be read as something else.
    """
    import shapely

    piece = work.piece(name)
    spot = (across, level_y(piece, level, work.unit))
    if not shapely.Polygon(piece.sewing_line).covers(shapely.Point(spot)):
        raise refuse(f"'{word}' would lie outside the {name}.")
    if word in piece.edges or "dart" in word.split():
        raise refuse(f"'{word}' cannot name a landmark: it is read as something else.")
    return work.with_piece(piece.with_(landmarks={**piece.landmarks, word: spot}))
