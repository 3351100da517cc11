"""Pivots: darts moved about a point, whole or in part, opened, split and closed.

An operation of the scissors. What lies between the closed dart and the new place turns about the
point; it is the same as folding the dart shut and slashing the new place open. The area of the
piece with its darts closed stays, and so does the sum of the dart angles about the point.
Frame: piece mm. Common practice, no source: H. Armstrong, *Patternmaking for Fashion Design*, and
W. Aldrich, *Metric Pattern Cutting for Women's Wear*, teach the same (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from configs.errors import DraftError
from drafting.curves import arc, chain_points, turn, turned, unit
from drafting.outline import Points
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.shaping.lapping import stepless, trimmed_at
from drafting.shaping.mending import broken, turn_between, unbroken
from drafting.shaping.parts import (
    End,
    Move,
    Part,
    Run,
    capped,
    gap_run,
    of_a_dart,
    refuse,
    split,
    together,
    which_stays,
    xy,
)

LEGS_MM = 0.5  # legs that differ by more do not meet when the dart is closed
_LEAST_DEG = 0.05
POINT = "dart point"
DRILL_SHORT_MM = 10.0  # the mark for a dart's point lies this far inside it, so that no hole shows
DART, FLARE = "dart", "flare"
# radians off the grain, where a dart is folded shut into an edge
_ASIDE = (0.0, 0.25, -0.25, 0.5, -0.5)


def pivot(
    piece: Piece,
    about: Points,
    close: End,
    open_at: End,
    share: float = 1.0,
    as_: str = DART,
    short_mm: float = 0.0,
    keep_breaks: bool = False,
) -> Piece:
    """The piece with a share of one dart closed and opened at another place.

    ``about`` (2,): the point that the dart points at; ``close``: the dart (`End.of_dart`);
    ``open_at``: a place on the outline; ``as_``: 'dart', or 'flare': the opening is filled with
    cloth, as at a hem; ``short_mm``: the new dart's point lies so far short of ``about``;
    ``keep_breaks``: for `drafting.shaping.mending`.

    Raises:
        DraftError: the dart does not point there, the line leaves the piece, or an outline would
            cross itself.
    """
    if close.tip is None:
        raise refuse("what is closed must be a dart.", "Such as 'from: dart 1'.")
    if not 0.0 < share <= 1.0:
        raise refuse("the share of the dart must be more than 0, at most 1.", "Such as 1/2.")
    near, far = np.array(close.near), np.array(close.far)
    legs = [float(np.hypot(*(p - about))) for p in (near, far)]
    if abs(legs[0] - legs[1]) > LEGS_MM:
        raise refuse(
            f"the dart does not point at the place about which it is to turn: from there its legs are "
            f"{legs[0]:.1f} and {legs[1]:.1f} mm.",
            "Turn about the dart's own point: 'about: point of dart 1'.",
        )
    wedge = turn(near - about, far - about)
    if abs(wedge) * share < math.radians(_LEAST_DEG):
        raise refuse("so small a share of that dart is nothing to move.", "Use a larger one.")
    tip = np.array(close.tip)
    inner = [about] if float(np.hypot(*(tip - about))) > 1e-6 else []
    # `open_at` → the point → the dart: the first part follows the opening up to the near leg.
    before, after = split(
        without_point(piece, close), open_at, close, np.array(inner).reshape(-1, 2)
    )
    before, after = _bare(before, at_end=True), _bare(after, at_end=False)
    still, moving = which_stays(before, after)
    was = turn_between(after.runs[-1], before.runs[0])
    angle = share * wedge * (1.0 if moving is before else -1.0)
    moved = moving.moved(Move.about(about, angle))
    first, second = (moved, still) if moving is before else (still, moved)
    closing: Sequence[Run] = []
    if share < 1.0:
        tip = _towards(first, second, about, float(np.hypot(*(tip - about))))
        closing = [_dart_run(close.edge, first, second, tip)]
    opening = _opened(open_at.edge, about, second, first, as_, short_mm)
    if share == 1.0:
        first, closing = broken(first, closing, second)
    if as_ == FLARE:
        second, opening = broken(second, opening, first, was)
    made = with_points(
        together(piece, second, first, opening, closing)
        if moving is before
        else together(piece, first, second, closing, opening)
    )
    return made if keep_breaks else unbroken(made)


def taken_from(
    piece: Piece, about: Points, shut: End, open_at: End, by: float, short_mm: float = 0.0
) -> Piece:
    """The piece with a new dart at one place, its width taken out at another: a hem's fullness as a
    dart.

    ``about`` (2,): the point about which the part between turns; ``shut``: where it laps over the
    rest, and what is covered twice is cut away; ``by``: the new dart's width at the edge, mm.

    Raises:
        DraftError: the line leaves the piece, or an outline would cross itself.
    """
    reach = float(np.hypot(*(np.array(open_at.near) - about)))
    if by >= 1.2 * reach:
        raise refuse("so wide a dart would be wider than it is long.", "Use less.")
    angle = 2.0 * math.asin(0.5 * by / reach)
    first, second = split(piece, open_at, shut, about[None, :])
    moving = which_stays(first, second)[1]
    moves = moving is first
    # The ring runs from the opening to the shut place on the first part: it turns clockwise to open.
    moved = moving.moved(Move.about(about, angle if moves else -angle))
    first, second = (moved, second) if moves else (first, moved)
    opening = _opened(open_at.edge, about, second, first, DART, short_mm)
    before, after = list(first.runs), list(second.runs)
    lip = np.stack([about, np.array(shut.near)])
    if moves:
        before[-1] = trimmed_at(before[-1], lip, from_start=False)
    else:
        after[0] = trimmed_at(after[0], lip, from_start=True)
    before, after = stepless(before, after, whole=True)
    first, second = replace(first, runs=tuple(before)), replace(second, runs=tuple(after))
    return with_points(
        together(piece, second, first, opening, [])
        if moves
        else together(piece, first, second, [], opening)
    )


def without_point(piece: Piece, dart: End) -> Piece:
    """The piece without what is drilled inside a dart: its point, where it is sewn to."""
    import shapely

    inside = shapely.Polygon([dart.near, dart.tip, dart.far]).buffer(1.0)
    gone = [m for m in piece.drills if shapely.covers(inside, shapely.Point(m.points[0]))]
    return piece.with_(marks=tuple(m for m in piece.marks if m not in gone))


def with_points(piece: Piece) -> Piece:
    """The piece with the drill mark of every dart's point, a centimetre inside the dart."""
    import shapely

    drills = [m for m in piece.marks if m.name == POINT]
    marks = list(piece.marks)
    for dart in piece.darts:
        tip, middle = np.array(dart.tip), 0.5 * (np.array(dart.first) + np.array(dart.second))
        inside = shapely.Polygon([dart.first, dart.tip, dart.second]).buffer(1.0)
        if any(shapely.covers(inside, shapely.Point(m.points[0])) for m in drills):
            continue
        marks.append(Mark(POINT, (tip + DRILL_SHORT_MM * unit(middle - tip))[None, :]))
    return piece.with_(marks=tuple(marks))


def _bare(part: Part, at_end: bool) -> Part:
    """A part without the notch of the closed dart's leg where it ends, or begins."""
    runs = list(part.runs)
    i = -1 if at_end else 0
    spot = runs[i].length_mm if at_end else 0.0
    notches = tuple(n for n in runs[i].notches if not of_a_dart(n) or abs(n.at_mm - spot) > 0.01)
    runs[i] = replace(runs[i], notches=notches)
    return replace(part, runs=tuple(runs))


def _towards(before: Part, after: Part, about: Points, by: float) -> Points:
    """The place (2,) so far from a point towards the middle of the gap between two parts."""
    middle = 0.5 * (before.runs[-1].points[-1] + after.runs[0].points[0])
    return np.asarray(about + unit(middle - about) * by)


def _dart_run(edge: str, before: Part, after: Part, tip: Points) -> Run:
    """The top of a dart between two parts, with the dart on it."""
    last = before.runs[-1].points
    first, second = last[-1], after.runs[0].points[0]
    direction = last[-1] - last[-2]
    points = np.array([first, *capped(direction, first, second, tip), second])
    run = Run(edge, points, (), (Dart(edge, xy(first), xy(second), xy(tip)),))
    return replace(run, notches=tuple(Notch(edge, x, 1, "dart") for x in (0.0, run.length_mm)))


def _opened(
    edge: str, about: Points, before: Part, after: Part, as_: str, short_mm: float
) -> Sequence[Run]:
    """What fills the outline where the piece was opened: the new dart, or cloth."""
    start, end = before.runs[-1].points[-1], after.runs[0].points[0]
    if as_ == FLARE:
        return _flare(edge, about, start, end)
    if short_mm >= 0.8 * float(np.hypot(*(0.5 * (start + end) - about))):
        raise refuse("the new dart would be hardly longer than it is kept short.", "Use less.")
    return [_dart_run(edge, before, after, _towards(before, after, about, short_mm))]


def _flare(edge: str, about: Points, start: Points, end: Points) -> list[Run]:
    """Cloth in an opening: its edge is the arc about the point, so a hem that ran square to the slash
    runs on smoothly."""
    angle = turn(start - about, end - about)
    if abs(angle) < math.radians(_LEAST_DEG):
        return gap_run(edge, start, end)
    radius = float(np.hypot(*(start - about)))
    first = math.atan2(*(start - about)[::-1])
    return [Run(edge, chain_points(arc(about, radius, first, first + angle)))]


def closed(piece: Piece, edge: str) -> Piece:
    """The piece with every dart of an edge folded shut, slashed open at the far side of each: what a
    facing or lining of that edge is drafted from.

    Raises:
        DraftError: a dart cannot be folded shut.
    """
    from drafting.shaping.places import on_outline

    for _ in range(len(piece.darts)):
        dart = next((d for d in piece.darts if d.edge == edge), None)
        if dart is None:
            break
        tip = np.array(dart.tip)
        down = unit(tip - 0.5 * (np.array(dart.first) + np.array(dart.second)))
        refused = None
        # Ahead of its point; where that is a fold, or another dart, about down the grain.
        for along in (down, *(turned(np.array([0.0, -1.0]), x) for x in _ASIDE)):
            try:
                far = on_outline(piece, _first_met(piece, tip, along))
                piece = pivot(piece, tip, End.of_dart(piece, dart), far, 1.0, FLARE)
                break
            except DraftError as error:
                refused = refused or error
        else:
            assert refused is not None
            raise refused
    return piece


def _first_met(piece: Piece, start: Points, along: Points) -> Points:
    """Where a ray from inside a piece first meets its outline (2,)."""
    import shapely

    reach = 2.0 * float(np.hypot(*np.ptp(piece.sewing_line, axis=0)))
    ring = shapely.LinearRing(piece.sewing_line)
    met = shapely.intersection(ring, shapely.LineString([start, start + reach * along]))
    spots = [np.array(g.coords[0]) for g in shapely.get_parts(met)]
    if not spots:
        raise refuse(f"a dart of the {piece.name} points out of it.")
    return min(spots, key=lambda p: float(np.hypot(*(p - start))))
