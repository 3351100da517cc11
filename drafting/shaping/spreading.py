"""Slash and spread, and the contrary: fullness at one end or both, length put in and taken out.

Operations of the scissors. The piece is slashed along a line; what lies beyond it turns about one
end of the line (hinged) or slides (parallel), and the gap is filled with cloth. Taken in, the paper
is overlapped along the line instead and the edge trued. Frame: piece mm. Common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from drafting.curves import left_of, sweep, turn, unit
from drafting.outline import Edge, Points, arc_lengths, place_on, signed_area, without_repeats
from drafting.piece import Mark, Notch, Piece
from drafting.shaping.lapping import stepless, trimmed_at
from drafting.shaping.mending import broken, turn_between
from drafting.shaping.parts import (
    End,
    Move,
    Part,
    Run,
    edge_named,
    gap_run,
    refuse,
    split,
    together,
    which_stays,
    xy,
)
from drafting.shaping.state import Work
from drafting.truing import dart_spans

_LEAST_MM = 0.05


def spread(
    piece: Piece,
    line: Sequence[End],
    inner: Points,
    at_first: float,
    at_second: float,
    lips: str = "",
    keep_breaks: bool = False,
) -> Piece:
    """The piece slashed along one line and opened by ``at_first`` and ``at_second`` mm at its ends.

    ``line``: both ends; ``inner`` (K, 2): the points between. Less than 0 overlaps. What does not
    hold the fold, or the grainline, moves. ``lips``: name of the marks along both sides of the
    opening (the fold lines of a pleat), '' for none; ``keep_breaks``: for `drafting.shaping.mending`.

    Raises:
        DraftError: a dart at an end, both ends apart by different signs, or an outline that crosses
            itself.
    """
    a, b = line
    if a.tip is not None or b.tip is not None:
        raise refuse("a slash ends on an edge, not at a dart.", "Pivot the dart, or end beside it.")
    if max(abs(at_first), abs(at_second)) < _LEAST_MM:
        raise refuse("it would be spread by nothing.", "Say by how much: 'by: 2 cm'.")
    if at_first * at_second < 0:
        raise refuse("one end would open and the other close.", "Use amounts of one sign.")
    one, two = split(piece, a, b, inner)
    ends = (np.array(a.near), np.array(b.near))
    amounts = (at_first, at_second)
    if one.on_fold and two.on_fold and at_first == at_second:
        # Across the fold: the lower part slides along it.
        still, moving = sorted((one, two), key=lambda p: -float(np.mean(p.ring[:, 1])))
    else:
        still, moving = which_stays(one, two)
    outward = _away(ends, still)
    if at_first == at_second:
        outward = _by_grain(piece, outward)
    move = _opening(ends, amounts, outward)
    moved = moving.moved(move)
    if max(amounts) > 0:
        after_still, after_moved = (a, b) if still is two else (b, a)
        first: Sequence[Run] = _gap(after_still.edge, still, moved)
        last: Sequence[Run] = _gap(after_moved.edge, moved, still)
        if lips:
            first, last = ([_notched(r, lips) for r in gap] for gap in (first, last))
            marks = (Mark(lips, still.line), Mark(lips, moved.line))
            still = replace(still, marks=(*still.marks, *marks))
        elif keep_breaks:
            turn_first = turn_between(still.runs[-1], moving.runs[0])
            turn_last = turn_between(moving.runs[-1], still.runs[0])
            still, first = broken(still, first, moved, turn_first)
            moved, last = broken(moved, last, still, turn_last)
        return together(piece, still, moved, first, last)
    return _overlapped(piece, still, moved)


def _gap(edge: str, before: Part, after: Part) -> list[Run]:
    return gap_run(edge, before.runs[-1].points[-1], after.runs[0].points[0])


def _notched(gap: Run, match: str) -> Run:
    """A gap with a notch at each end."""
    return replace(gap, notches=tuple(Notch(gap.name, x, 1, match) for x in (0.0, gap.length_mm)))


def _away(ends: tuple[Points, Points], still: Part) -> Points:
    """Unit direction (2,) square to the line, away from the part that stays."""
    normal = left_of(unit(ends[1] - ends[0]))
    middle = np.mean(still.ring, axis=0) - 0.5 * (ends[0] + ends[1])
    return -normal if float(normal @ middle) > 0 else normal


def _by_grain(piece: Piece, outward: Points) -> Points:
    """The direction along or across the grain that is nearest: strips that slide apart keep level."""
    along = unit(np.array(piece.grain[1]) - np.array(piece.grain[0]))
    axes = (along, -along, left_of(along), -left_of(along))
    return max(axes, key=lambda d: float(d @ outward))


def _opening(ends: tuple[Points, Points], amounts: tuple[float, float], outward: Points) -> Move:
    """The motion that opens a line by ``amounts`` (straight from lip to lip) at its ends."""
    (a, b), (first, second) = ends, amounts
    if first == second:
        return Move(0.0, xy(first * outward))
    if abs(first) < abs(second):
        return _opening((b, a), (second, first), outward)
    # At b it slides, then turns about b's new place until a is as far open as asked.
    slide = Move(0.0, xy(second * outward))
    centre = slide(b)
    lever = slide(a)
    length = float(np.hypot(*(a - b)))
    sign = 1.0 if float((left_of(a - b)) @ outward) * math.copysign(1.0, first) > 0 else -1.0

    def gap(angle: float) -> float:
        return float(np.hypot(*(Move.about(centre, sign * angle)(lever) - a)))

    wanted = abs(first)
    low, high = 0.0, min(math.pi * 0.9, 2.0 * (abs(first) + abs(second)) / max(length, 1e-9))
    if gap(high) < wanted:
        raise refuse("it cannot be opened so far.", "Use less, or more lines.")
    for _ in range(80):
        angle = 0.5 * (low + high)
        low, high = (angle, high) if gap(angle) < wanted else (low, angle)
    return Move.about(centre, sign * 0.5 * (low + high)).after(slide)


def _overlapped(piece: Piece, still: Part, moved: Part) -> Piece:
    """Two parts of which the second lies over the first: what is covered twice is cut off the second,
    and the steps that are left on the edges are trued."""
    lip = without_repeats(still.line)
    runs = list(moved.runs)
    runs[0] = trimmed_at(runs[0], lip, from_start=True)
    runs[-1] = trimmed_at(runs[-1], lip, from_start=False)
    before, first = stepless(list(still.runs), runs)
    last, after = stepless(first, before)
    still, moved = replace(still, runs=tuple(after)), replace(moved, runs=tuple(last))
    return together(piece, still, moved, [], [])


def fan(
    piece: Piece,
    ends: Sequence[tuple[End, End]],
    amounts: Sequence[tuple[float, float]],
    lips: str = "",
    keep_breaks: bool = False,
) -> Piece:
    """The piece slashed along several lines, each from its first to its second end, and opened at
    each by its amounts.

    The lines are taken from the one farthest from what stays: those still to come lie in that part
    and do not move.
    """
    straight = np.zeros((0, 2))
    stay = [which_stays(*split(piece, a, b, straight))[0] for a, b in ends]
    for i in map(int, np.argsort([signed_area(p.ring) for p in stay])[::-1]):
        piece = spread(piece, _again(piece, ends[i]), straight, *amounts[i], lips, keep_breaks)
    return piece


def _again(piece: Piece, ends: tuple[End, End]) -> tuple[End, End]:
    """Ends found again by their points on a piece whose far side has moved."""
    made = []
    for end in ends:
        at, off = place_on(piece.edges[end.edge].points, end.near)
        if off > 0.01:
            raise refuse("two of the lines cross.", "Use fewer lines.")
        made.append(End.on(piece, end.edge, at))
    return made[0], made[1]


def trued(piece: Piece, edge: str, reach_mm: float = 30.0, turn_deg: float = 4.0) -> Piece:
    """The piece with the corners inside an edge redrawn as smooth curves.

    ``reach_mm``: how far on each side of a corner the edge may change; corners of less than
    ``turn_deg`` are left. Darts on the edge stay as they are.
    """
    line = piece.edges[edge]
    points, kept = line.points, []
    roofs, run = dart_spans(piece, edge), arc_lengths(points)
    for i in range(1, len(points) - 1):
        if any(low - 1e-3 <= run[i] <= high + 1e-3 for low, high in roofs):
            continue
        corner = abs(turn(points[i] - points[i - 1], points[i + 1] - points[i]))
        if math.degrees(corner) >= turn_deg:
            kept.append(float(run[i]))
    if not kept:
        raise refuse(f"the {edge} has no corner to true.")
    out: list[Points] = []
    start = 0.0
    for i, at in enumerate(kept):
        free = [at - start, (kept[i + 1] if i + 1 < len(kept) else float(run[-1])) - at]
        for low, high in roofs:
            free[0] = min(free[0], at - high) if high <= at else free[0]
            free[1] = min(free[1], low - at) if low >= at else free[1]
        reach = min(reach_mm, 0.45 * free[0] if i else 0.9 * free[0], 0.45 * free[1])
        (a, ta), (b, tb) = line.at(at - reach), line.at(at + reach)
        inside = points[(run > start + 1e-9) & (run < at - reach - 1e-9)]
        out += [inside, sweep(a, ta, b, tb).flatten()]
        start = at + reach
    out.append(points[run > start + 1e-9])
    new = without_repeats(np.concatenate([points[:1], *out]))
    edges = {n: Edge(n, new) if n == edge else e for n, e in piece.edges.items()}
    notches = tuple(_on_new(n, line, edges[edge]) if n.edge == edge else n for n in piece.notches)
    return piece.with_(edges=edges, notches=notches)


def trued_up(work: Work, name: str, edge: str, reach_mm: float) -> Work:
    """A piece of a garment with an edge `trued`."""
    piece = work.piece(name)
    return work.with_piece(trued(piece, edge_named(piece, edge), reach_mm))


def _on_new(notch: Notch, old: Edge, new: Edge) -> Notch:
    """A notch where it was; of what was redrawn at the same share of the edge."""
    at, off = place_on(new.points, old.at(notch.at_mm)[0])
    if off > 0.01:
        at = notch.at_mm * new.length_mm / old.length_mm
    return replace(notch, at_mm=at)
