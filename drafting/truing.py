"""Truing: does what was drawn sew together? A list of checks with numbers.

The last word on a draft: it measures the finished pieces, not the rules they came from. Angles
are told as mm off over 100 mm of edge, so that every check is a length: 2° is 3.5 mm (common
practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from configs.errors import ChalkbeamError
from configs.units import format_length
from drafting.allowance import allowance_of, plain
from drafting.curves import turn
from drafting.outline import (
    Edge,
    Points,
    corner_angle_deg,
    gap_between,
    nearest_distance,
    place_on,
)
from drafting.piece import Dart, Piece

SEAM_MM = 0.5  # seams sewn together: a tenth of what shows
GIRTH_MM = 1.0
CUTTING_MM = 0.1
WIDE_MM = 25.0  # of a wider allowance that limit is taken in proportion
ANGLE_DEG = 2.0
ANGLE_MM = 100.0 * math.tan(math.radians(ANGLE_DEG))
USUAL_ALLOWANCES: Mapping[str, float] = {"all": 10.0, "hem": 25.0, "neckline": 6.0}

Spot = tuple[str, str]  # piece, edge


@dataclass(frozen=True)
class Check:
    """One check: ``value_mm`` off, at most ``limit_mm``; ``text`` says what was measured."""

    name: str
    value_mm: float
    limit_mm: float
    ok: bool
    text: str = ""


@dataclass(frozen=True)
class Seam:
    """Edges sewn together: those of ``a`` one after the other on those of ``b``.

    ``ease_mm``: how much longer ``a`` may be; ``ease``: what becomes of it, in words.
    """

    name: str
    a: tuple[Spot, ...]
    b: tuple[Spot, ...]
    ease_mm: float = 0.0
    ease: str = "gathered in"


@dataclass(frozen=True)
class Corner:
    """A corner that must be square: ``before`` runs into ``after`` on ``piece``."""

    piece: str
    before: str
    after: str


@dataclass(frozen=True)
class Run:
    """A line that must run on over a seam: its interior angles on both pieces make 180°."""

    name: str
    a: Corner
    b: Corner


@dataclass(frozen=True)
class Girth:
    """A finished girth: ``finished_mm`` measured on the pieces, ``body_mm``, ``ease_mm`` chosen.

    ``at_least``: more is as good (a straight side seam passes outside the waist).
    """

    name: str
    finished_mm: float
    body_mm: float
    ease_mm: float
    at_least: bool = False


def _check(name: str, value: float, limit: float, text: str = "") -> Check:
    return Check(name, float(value), float(limit), bool(value <= limit + 1e-9), text)


def seam_length(pieces: Mapping[str, Piece], spots: Iterable[Spot]) -> float:
    """Total length in mm of some edges, their darts closed."""
    return sum(sewn_length(pieces[p], e) for p, e in spots)


def sewn_length(piece: Piece, edge: str) -> float:
    """Length in mm of an edge when its darts are closed: without what lies between their legs."""
    return piece.edges[edge].length_mm - sum(high - low for low, high in dart_spans(piece, edge))


def dart_places(piece: Piece, edge: str) -> list[float]:
    """How far along an edge, its darts closed, each of them ends, mm."""
    folds = dart_spans(piece, edge)
    return [low - sum(b - a for a, b in folds[:i]) for i, (low, _) in enumerate(folds)]


def place_sewn(piece: Piece, edge: str, sewn_mm: float) -> float:
    """Where on an edge, its darts open, a place lies that is ``sewn_mm`` along it with them closed."""
    return cut_place(dart_spans(piece, edge), sewn_mm)


def dart_spans(piece: Piece, edge: str) -> list[tuple[float, float]]:
    """Where the darts of an edge begin and end along it, mm, in order."""
    points = piece.edges[edge].points
    return sorted(span_on(points, d) for d in piece.darts if d.edge == edge)


def span_on(points: Points, dart: Dart) -> tuple[float, float]:
    """Where a dart begins and ends along the line (N, 2) that it is on, mm."""
    low, high = sorted(place_on(points, p)[0] for p in (dart.first, dart.second))
    return low, high


def sewn_place(spans: Sequence[tuple[float, float]], at: float) -> float:
    """A distance along an edge as one along it with its darts closed, mm; ``spans``: `dart_spans`."""
    return at - sum(min(max(at - a, 0.0), b - a) for a, b in spans)


def cut_place(spans: Sequence[tuple[float, float]], sewn: float) -> float:
    """A distance along an edge with its darts closed as one along the edge as it is cut, mm."""
    for a, b in spans:
        sewn += b - a if sewn > a else 0.0
    return sewn


def check_seams(pieces: Mapping[str, Piece], seams: Sequence[Seam], unit: str) -> list[Check]:
    """Edges that are sewn together are equally long, but for the ease that was asked for."""
    out = []
    for seam in seams:
        a, b = seam_length(pieces, seam.a), seam_length(pieces, seam.b)
        text = f"{format_length(a, unit)} on {format_length(b, unit)}"
        if seam.ease_mm:
            text += f", {format_length(abs(seam.ease_mm), unit)} {seam.ease}"
        out.append(_check(f"{seam.name} seam", abs(a - seam.ease_mm - b), SEAM_MM, text))
    return out


def angle_deg(pieces: Mapping[str, Piece], corner: Corner) -> float:
    """Interior angle at a corner, degrees."""
    edges = pieces[corner.piece].edges
    return corner_angle_deg(edges[corner.before].end_tangent, edges[corner.after].start_tangent)


def check_corners(pieces: Mapping[str, Piece], corners: Sequence[Corner]) -> list[Check]:
    """Corners are square within 2°."""
    return [
        _angle(f"{c.piece}: {c.before} square to {c.after}", angle_deg(pieces, c), 90.0)
        for c in corners
    ]


def _angle(name: str, angle: float, wanted: float) -> Check:
    """A check of an angle in degrees, as mm off over 100 mm."""
    off = 100.0 * math.tan(math.radians(min(abs(angle - wanted), 89.0)))
    return _check(name, off, ANGLE_MM, f"{angle:.1f}°")


def check_runs(pieces: Mapping[str, Piece], runs: Sequence[Run]) -> list[Check]:
    """Lines run on over closed seams: the angles on both sides make 180° within 2°."""
    return [_angle(r.name, angle_deg(pieces, r.a) + angle_deg(pieces, r.b), 180.0) for r in runs]


def check_girths(girths: Sequence[Girth], unit: str) -> list[Check]:
    """Finished girth less body girth is the ease that was chosen."""
    out = []
    for g in girths:
        ease = g.finished_mm - g.body_mm
        off = max(g.ease_mm - ease, 0.0) if g.at_least else abs(ease - g.ease_mm)
        wanted = ("at least " if g.at_least else "") + format_length(g.ease_mm, unit)
        text = (
            f"{format_length(g.finished_mm, unit)} finished, "
            f"{format_length(ease, unit)} ease ({wanted} wanted)"
        )
        out.append(_check(f"finished {g.name}", off, GIRTH_MM, text))
    return out


def check_cutting(
    pieces: Mapping[str, Piece],
    allowances: Mapping[str, float] | Mapping[str, Mapping[str, float]] | None = None,
) -> list[Check]:
    """The cutting line lies outside the sewing line, at the allowance, off the corners.

    ``allowances``: edge → mm for every piece, or piece → (edge → mm); the usual ones if None.
    """
    out = []
    for name, piece in pieces.items():
        chosen = _allowances_of(name, allowances)
        text = "how far from the sewing line, against its allowances"
        try:
            worst = cutting_distance_error(piece, chosen)
            if not _inside(piece.sewing_line, piece.cutting_line(chosen)):
                worst, text = math.inf, "the sewing line leaves the cutting line"
        except ChalkbeamError as error:
            worst, text = math.inf, str(error)
        out.append(_check(f"{name}: cutting line", worst, CUTTING_MM, text))
    return out


def _allowances_of(
    piece: str, allowances: Mapping[str, float] | Mapping[str, Mapping[str, float]] | None
) -> Mapping[str, float]:
    if allowances is None:
        return USUAL_ALLOWANCES
    by_piece = {n: a for n, a in allowances.items() if isinstance(a, Mapping)}
    if by_piece:
        return by_piece.get(piece, {})
    return {n: a for n, a in allowances.items() if not isinstance(a, Mapping)}


def cutting_distance_error(piece: Piece, allowances: Mapping[str, float]) -> float:
    """Largest difference in mm between an edge's allowance and its distance to the cutting line, in
    proportion where the allowance is wider than `WIDE_MM`.

    Measured from the cutting line back to the sewing line: of every stretch of the cutting line
    that runs beside an edge, away from that edge's ends, so that corners do not count.
    """
    cut = piece.cutting_line(allowances)
    allowances = piece.widths(allowances)
    ring = np.concatenate([piece.sewing_line, piece.sewing_line[:1]])
    closed = np.concatenate([cut, cut[:1]])
    middles = 0.5 * (closed[:-1] + closed[1:])
    spots = np.concatenate([cut, middles])
    worst = 0.0
    distances = [nearest_distance(spots, e.points) for e in piece.edges.values()]
    nearest = np.argmin(np.array(distances), axis=0)
    for i, (name, edge) in enumerate(piece.edges.items()):
        width = allowance_of(name, allowances)
        margin = 3.0 * max([allowance_of(n, allowances) for n in piece.edges] + [1.0])
        ends = np.concatenate([edge.points[[0, -1]], _sharp(edge.points)])
        far = np.hypot(*(spots[:, None, :] - ends[None]).transpose(2, 0, 1)).min(axis=1) > margin
        mine = (nearest == i) & far
        if mine.any():
            from_edge = nearest_distance(spots[mine], ring)
            # what a blunt corner of the seam adds grows with the width: 0.1 mm are meant for 25
            off = float(np.abs(from_edge - width).max()) / max(width / WIDE_MM, 1.0)
            worst = max(worst, off)
    return worst


def _inside(inner: Points, outer: Points) -> bool:
    """Whether one closed outline lies in the other, touching allowed."""
    import shapely

    cut = shapely.Polygon(outer).buffer(1e-4)
    return bool(cut.covers(shapely.Polygon(inner)))


_CORNER_DEG = 8.0


def _sharp(points: Points) -> Points:
    """The vertices (K, 2) inside an edge where it has a corner; a curve turns by less at each."""
    d = np.diff(points, axis=0)
    cross = d[:-1, 0] * d[1:, 1] - d[:-1, 1] * d[1:, 0]
    dot = (d[:-1] * d[1:]).sum(axis=1)
    return np.asarray(points[1:-1][np.abs(np.arctan2(cross, dot)) > math.radians(_CORNER_DEG)])


def check_darts(pieces: Mapping[str, Piece]) -> list[Check]:
    """Dart legs are equally long (within 0.5 mm)."""
    return [
        _check(f"{name}: legs of dart {i}", abs(d.legs_mm[0] - d.legs_mm[1]), 0.5)
        for name, piece in pieces.items()
        for i, d in enumerate(piece.darts, 1)
    ]


def check_dart_runs(pieces: Mapping[str, Piece]) -> list[Check]:
    """The edge runs on over every closed dart: its angles with both legs make 180° within 2°."""
    out = []
    for name, piece in pieces.items():
        for i, d in enumerate(piece.darts, 1):
            edge = piece.edges[d.edge]
            tip = np.array(d.tip)
            total = 0.0
            for end, sign in ((d.first, -1.0), (d.second, 1.0)):
                away = edge.at(place_on(edge.points, end)[0] + sign * 0.01)[0] - np.array(end)
                total += abs(math.degrees(turn(away, tip - np.array(end))))
            out.append(_angle(f"{name}: {d.edge} over dart {i}", total, 180.0))
    return out


def check_head(
    opening_mm: float, slit_mm: float, head_mm: float, unit: str, guessed: bool = False
) -> Check:
    """The neck opening, with its slit opened, lets the head through; ``guessed``: not measured."""
    need = head_mm + HEAD_EASE_MM
    girth = opening_mm + 2.0 * slit_mm
    text = f"opening {format_length(opening_mm, unit)}"
    if slit_mm:
        text += f" and a slit of {format_length(slit_mm, unit)}"
    text += f", head {format_length(head_mm, unit)}" + (" (guessed)" if guessed else "")
    if need > girth:
        text += (
            f": choose a wider or deeper neckline, or an opening of at least "
            f"{format_length((need - opening_mm) / 2, unit)}"
        )
    return _check("the head passes", max(need - girth, 0.0), 0.0, text)


HEAD_EASE_MM = 10.0  # a woven neck opening is drawn over the head with a centimetre to spare
USUAL_HEAD_MM = 570.0  # where the head was not measured: the upper end of published tables


@dataclass(frozen=True)
class Move:
    """How an edge differs between two drafts: lengths in mm, and how far its line moved.

    ``before_mm`` or ``after_mm`` is None where the edge is on one of them only.
    """

    piece: str
    edge: str
    before_mm: float | None
    after_mm: float | None
    moved_mm: float | None


def compare(before: Mapping[str, Piece], after: Mapping[str, Piece]) -> list[Move]:
    """Every edge of both drafts that changed by more than 0.05 mm, in order.

    Where one draft has a piece on the fold and the other has it whole, both are taken whole.
    """
    before, after = _alike(before, after), _alike(after, before)
    out = []
    names = {(p, e): None for pieces in (before, after) for p in pieces for e in pieces[p].edges}
    for name, edge in names:
        old, new = _edge(before, name, edge), _edge(after, name, edge)
        if old is None or new is None:
            was, now = (None if e is None else e.length_mm for e in (old, new))
            out.append(Move(name, edge, was, now, None))
            continue
        moved = gap_between(old.points, new.points)
        if moved > 0.05 or abs(old.length_mm - new.length_mm) > 0.05:
            out.append(Move(name, edge, old.length_mm, new.length_mm, moved))
    return out


def _edge(pieces: Mapping[str, Piece], piece: str, edge: str) -> Edge | None:
    return pieces[piece].edges.get(edge) if piece in pieces else None


def _alike(pieces: Mapping[str, Piece], others: Mapping[str, Piece]) -> dict[str, Piece]:
    """The pieces, those on the fold opened out where the other draft has them whole."""
    out = {}
    for name, piece in pieces.items():
        other = others.get(name)
        if piece.fold is not None and other is not None and other.fold is None:
            first = next((e.split()[0] for e in other.edges if plain(e) != e), "")
            if first:  # the ring runs up the side of x > 0 first
                piece = piece.opened((first, "right" if first == "left" else "left"))
        out[name] = piece
    return out
