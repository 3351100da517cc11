"""Cuts and joins: one piece along a line into two, two along a seam into one.

Operations of the scissors. Both sides of a cut are the same line, so they mate; notches set across
it let them be laid on one another again. A cut that ends at a dart goes along its legs, which are
sewn in the new seam. Frame: piece mm. Common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from drafting.allowance import FOLD
from drafting.curves import turn
from drafting.outline import Edge, Points, points_along, polyline_length
from drafting.piece import Mark, Notch, Piece
from drafting.shaping.parts import (
    Move,
    Part,
    Run,
    built,
    edge_named,
    refuse,
    rejoined,
    runs_of,
    split,
    xy,
)
from drafting.shaping.pivoting import without_point
from drafting.shaping.places import CutLine
from drafting.shaping.state import Work
from drafting.truing import Seam, Spot

NOTCH_EVERY_MM = 280.0  # a notch at every 25 to 30 cm of a long seam at most
_LEAST_FOR_NOTCH_MM = 60.0
CENTRE_BACK, CENTRE_FRONT = "centre back", "centre front"


def cut(
    work: Work,
    name: str,
    line: CutLine,
    seam: str,
    into: Sequence[str] = (),
    notches: int | None = None,
) -> Work:
    """One piece cut along a line into two, both new edges named ``seam`` and sewn together.

    ``into``: the names of the two, the upper (or that at the centre) first; unset, they are named
    by where they lie. ``notches``: how many are set across the cut; unset, by its length.

    Raises:
        DraftError: the line does not part the piece in two sound ones, or a name is taken.
    """
    piece = work.piece(name)
    if seam in piece.edges:
        raise refuse(f"the {name} has an edge '{seam}' already.", "Give the seam another name.")
    bare = piece
    for end in (line.a, line.b):
        if end.tip is not None:
            bare = without_point(bare, end)
    parts = split(bare, line.a, line.b, line.inner)
    wide, high = np.ptp(line.points, axis=0)
    level = bool(wide > high)
    spots = [float(np.mean(p.ring[:, int(level)])) for p in parts]
    order = sorted((0, 1), key=lambda i: -spots[i] if level else abs(spots[i]))
    words = ("upper", "lower") if level else ("centre", "side")
    names = list(into) or [work.free_name(f"{word} {name}") for word in words]
    for n in names:
        if n != name and n in work.pieces:
            raise refuse(f"there is a piece '{n}' already.", "Name both: 'into: [yoke, body]'.")
    if names[0] == names[1]:
        raise refuse("both parts have one name.", "Name both: 'into: [yoke, body]'.")
    length = polyline_length(parts[0].line)
    places = _notch_places(length, notches)
    new, told = [], []
    for i, n in zip(order, names, strict=True):
        # The first part's edge runs from the end of the line to its start, the other's back.
        at = places if i == 1 else [length - x for x in places]
        new.append(_part_piece(piece, parts[i], n, seam, at))
        told.append(_kept_edges(piece, parts[i], new[-1]))

    def retold(spot: Spot) -> tuple[Spot, ...]:
        if spot[0] != name:
            return (spot,)
        return tuple(
            (p.name, e) for p, kept in zip(new, told, strict=True) for e in kept.get(spot[1], ())
        )

    out = work.instead([name], new).retold(retold)
    told_as = seam.removesuffix(" seam")
    return out.sewn(Seam(told_as, ((new[0].name, seam),), ((new[1].name, seam),)))


def _notch_places(length: float, count: int | None) -> list[float]:
    """Where notches lie on a cut; not at its middle alone, or the two could be sewn swapped."""
    if count is None:
        count = 0 if length < _LEAST_FOR_NOTCH_MM else max(1, math.ceil(length / NOTCH_EVERY_MM))
    return [length * (i + 1) / (count + 1) * (0.9 if count == 1 else 1.0) for i in range(count)]


def _part_piece(piece: Piece, part: Part, name: str, seam: str, notches: Sequence[float]) -> Piece:
    run = Run(seam, part.line, tuple(Notch(seam, x, 1, seam) for x in notches))
    changes: dict[str, object] = {"name": name}
    if piece.fold is not None and not part.on_fold:
        changes |= {"cut": 2 * piece.cut, "pair": True}
    return relabelled(built(piece, [*part.runs, run], part.marks, part.landmarks, **changes))


def relabelled(piece: Piece) -> Piece:
    """The piece with its name and how it is cut in the first lines of its label."""
    rest = [t for t in piece.label[1:] if not t.startswith(("cut ", "gather "))]
    return piece.with_(label=(piece.name, piece.cut_in_words, *rest))


def _kept_edges(piece: Piece, part: Part, made: Piece) -> dict[str, list[str]]:
    """Edge of the whole → the edges of a part that are of it."""
    out: dict[str, list[str]] = {}
    for run in part.runs:
        for edge in made.edges.values():
            if edge.name != run.name and not edge.name.startswith(f"{run.name} "):
                continue
            if edge.name != run.name and edge.name in piece.edges:
                continue
            near = np.hypot(*(edge.points - run.points[len(run.points) // 2]).T).min()
            ends = np.hypot(*(edge.points[:, None] - run.points[None]).transpose(2, 0, 1)).min()
            if min(near, ends) < 1e-6 and edge.name not in out.setdefault(run.name, []):
                out[run.name].append(edge.name)
    return out


def join(work: Work, names: Sequence[str], edge: str, other: str = "", name: str = "") -> Work:
    """Two pieces laid together along an edge and made one; the second is turned to the first.

    ``other``: the second's edge, if it has another name; ``name``: the new piece's, else the first's.

    Raises:
        DraftError: the edges are not one line, a name is taken, or a fold would bend.
    """
    first, second = names
    name, other = name or first, other or edge
    if name not in names:
        work.unused(name)
    a, b = work.piece(first), work.piece(second)
    here, there = a.edges[edge_named(a, edge)].points, b.edges[edge_named(b, other)].points[::-1]
    if b.fold is not None and a.fold is None:
        return join(work, (second, first), other, edge, name)
    move = _laid_on(there, here)
    shares = np.linspace(0.0, 1.0, 33)
    laid, on = (points_along(line, shares * polyline_length(line)) for line in (move(there), here))
    gap = float(np.abs(laid - on).max())
    off = abs(polyline_length(here) - polyline_length(there))
    if gap > _JOIN_GAP_MM or off > _JOIN_GAP_MM:
        raise refuse(
            f"'{edge}' of the {first} and '{other}' of the {second} are not one line: laid together "
            f"they part by {gap:.1f} mm, and their lengths by {off:.1f} mm.",
            "Join straight or equal edges, with their darts closed.",
        )
    if b.fold is not None:
        spots = move(np.array(b.fold))
        if float(np.abs(spots[:, 0]).max()) > 0.01:
            raise refuse(f"the fold of the {second} would not lie on that of the {first}.")
    one, two = _without(a, edge), [r.moved(move) for r in _without(b, other)]
    taken = {r.name for r in one} - {FOLD}
    told: dict[str, str] = {}
    for i, run in enumerate(
        two
    ):  # where it runs on into the first's edge of its name, it is one with it
        runs_on = (i == 0 and run.name == one[-1].name) or (
            i == len(two) - 1 and run.name == one[0].name
        )
        told[run.name] = f"{second} {run.name}" if run.name in taken and not runs_on else run.name
    renamed = [run.named(told[run.name]) for run in two]
    marks = [*a.marks, *(Mark(m.name, move(m.points), m.closed) for m in b.marks)]
    landmarks = {**{n: move.xy(p) for n, p in b.landmarks.items()}, **a.landmarks}
    made = relabelled(built(a, [*one, *renamed], rejoined(marks), landmarks, name=name))

    def retold(spot: Spot) -> tuple[Spot, ...]:
        piece, on = spot
        if piece == first:
            return () if on == edge else ((name, on),)
        if piece == second:
            return () if on == other else ((name, told[on]),)
        return (spot,)

    gone = {(first, edge), (second, other)}
    out = replace(work, seams=tuple(s for s in work.seams if {*s.a, *s.b} != gone))
    return out.instead([first, second], [made]).retold(retold)


_JOIN_GAP_MM = 0.5


def _laid_on(points: Points, line: Points) -> Move:
    """The motion that lays the ends of one line on those of another."""
    there, here = points[-1] - points[0], line[-1] - line[0]
    angle = turn(there, here)
    shift = 0.5 * (line[0] + line[-1]) - Move(angle)(0.5 * (points[0] + points[-1]))
    return Move(angle, xy(shift))


def _without(piece: Piece, edge: str) -> list[Run]:
    """The runs of a piece from the end of an edge round to its start."""
    runs = runs_of(piece)
    i = [r.name for r in runs].index(edge)
    return [*runs[i + 1 :], *runs[:i]]


# --- folds, halves -----------------------------------------------------------------------------


def _on_fold(work: Work, name: str) -> Piece:
    piece = work.piece(name)
    if piece.fold is None:
        raise refuse(f"the {name} is not cut on a fold.")
    return piece


def seam_at_fold(work: Work, name: str, edge: str = "") -> Work:
    """A piece on the fold cut in two there: its fold becomes a seam, ``edge``.

    Raises:
        DraftError: it lies on no fold.
    """
    piece = _on_fold(work, name)
    edge = edge or (CENTRE_BACK if "back" in name.split() else CENTRE_FRONT)
    named = {n: edge if n == FOLD else n for n in piece.edges}
    edges = {named[n]: Edge(named[n], e.points) for n, e in piece.edges.items()}
    made = relabelled(
        piece.with_(
            edges=edges,
            fold=None,
            cut=2 * piece.cut,
            pair=True,
            notches=tuple(replace(n, edge=edge) if n.edge == FOLD else n for n in piece.notches),
            corners={k: v for k, v in piece.corners.items() if FOLD not in k},
        )
    )
    out = work.with_piece(made).retold(
        lambda spot: ((name, edge),) if spot == (name, FOLD) else (spot,)
    )
    return out.sewn(Seam(edge, ((name, edge),), ((name, edge),)))


def unfold(work: Work, name: str) -> Work:
    """A piece on the fold, opened out: both halves in one outline, cut once in a single layer.

    Raises:
        DraftError: it lies on no fold.
    """
    piece = _on_fold(work, name)
    sides = ("left", "right") if "back" not in name.split() else ("right", "left")
    whole = relabelled(piece.opened(sides))
    told = {
        e: ((name, f"left {e}"), (name, f"right {e}"))
        for e in piece.edges
        if f"left {e}" in whole.edges
    }
    return work.with_piece(whole).doubled(name, told)


def apart(work: Work, name: str) -> Work:
    """A pair made into a left and a right piece, so that each can be changed for itself.

    Raises:
        DraftError: it is no pair.
    """
    piece = work.piece(name)
    if not piece.pair:
        raise refuse(
            f"the {name} is no pair.",
            f"Open it out first ('unfold: {name}')." if piece.fold is not None else "",
        )
    left, right = f"left {name}", f"right {name}"
    sides = (right, left) if "back" in name.split() else (left, right)
    made = [
        relabelled(p.with_(name=work.unused(n), cut=piece.cut // 2, pair=False))
        for n, p in zip(sides, (piece, piece.mirrored()), strict=True)
    ]
    told = {e: ((left, e), (right, e)) for e in piece.edges}
    return work.instead([name], made).doubled(name, told)


def as_inside(piece: Piece, made: Piece) -> Piece:
    """What is sewn to the inside of a piece, drawn from its outline, as its own face is seen: of a piece
    of which there is no mirrored half it is turned over."""
    return made if piece.fold is not None or piece.pair else made.mirrored()
