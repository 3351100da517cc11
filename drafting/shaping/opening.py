"""Pieces opened and shut as she asks: a dart pivoted, a piece slashed and spread, or lengthened.

Between the words of a change and `pivoting`, `spreading`: places are found by their names, the edges
that were broken are trued, and what an edge has gained is told to what it is sewn to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from configs.units import length_text
from drafting.piece import Dart, Piece
from drafting.shaping import pivoting, spreading, walking
from drafting.shaping.mending import mended
from drafting.shaping.parts import End, refuse
from drafting.shaping.places import level_line, level_y, line_between, place
from drafting.shaping.state import Work

_MOST_TRIES, _EXACT_MM = 12, 1e-3
TOLD_MM = 0.5  # an edge that truing moved by less is not worth a word


@dataclass(frozen=True)
class NewDart:
    """What a pivot makes: ``share`` of the dart that is moved, ``kind``: what the opening becomes, how
    far the new point is kept short of the old one, and how wide a dart is that is taken from an edge."""

    share: float
    kind: str
    short_mm: float
    by_mm: float


def pivoted(work: Work, name: str, about: str, start: str, to: str, new: NewDart) -> Work:
    """A dart moved about a point to another place on the outline, or taken from an edge.

    Raises:
        DraftError: a place that is none, or a pivot that cannot be.
    """
    piece = work.piece(name)
    source, target = place(piece, start, work.unit), place(piece, to, work.unit)
    if target.end is None or target.dart is not None:
        raise refuse(f"'{to}' is no place on the outline where a dart could open.")
    opened = target.end
    if source.end is None:
        raise refuse(f"'{start}' is neither a dart nor a place on the outline.")
    if source.dart is not None:
        point = place(piece, about, work.unit).point if about else source.dart.tip
        how = pivoting.FLARE if new.kind == "flare" else pivoting.DART
        made = pivoting.pivot(
            piece, np.array(point), source.end, opened, new.share, how, new.short_mm, keep_breaks=True
        )  # fmt: skip
    else:
        if not about or new.by_mm <= 0:
            raise refuse(
                f"'{start}' is no dart, so it must be said about which point and by how much.",
                "Such as 'about: bust point, by: 3 cm': the new dart's width.",
            )
        point = place(piece, about, work.unit).point
        made = pivoting.taken_from(
            piece, np.array(point), source.end, opened, new.by_mm, new.short_mm
        )
    out = _trued(work, made)
    if new.kind == "flare":
        return _eased(out, work, name, opened.edge)
    if new.kind in walking.KINDS:
        dart = min(out.pieces[name].darts, key=lambda d: _off(d, opened))
        return walking.turned_into(out, name, dart, new.kind)
    return out


def _trued(work: Work, made: Piece) -> Work:
    """The work with a piece, the edges that its change broke trued, which is told."""
    piece, moved = mended(made)
    return work.with_piece(piece).noting(
        *(
            f"{piece.name}: its {edge} was trued where it was opened or shut; it moved by "
            f"{length_text(off, work.unit)} at most."
            for edge, off in moved.items()
            if off >= TOLD_MM
        )
    )


def _off(dart: Dart, end: End) -> float:
    middle = 0.5 * (np.array(dart.first) + np.array(dart.second))
    return float(np.hypot(*(middle - np.array(end.near)))) + (0.0 if dart.edge == end.edge else 1e6)


def _eased(out: Work, before: Work, name: str, edge: str) -> Work:
    """What an edge has gained is told where it is sewn to something."""
    more = out.pieces[name].edges[edge].length_mm - before.pieces[name].edges[edge].length_mm
    sewn = [s.name for s in out.seams if (name, edge) in (*s.a, *s.b)]
    if not sewn or abs(more) < 0.05:
        return out
    return out.noting(
        f"{name}: its {edge} is {length_text(more, out.unit)} longer than before; "
        f"{', '.join(sewn)} must take it."
    )


def slashed(
    work: Work, name: str, start: str, to: str, lines: int, hinge: str, much: tuple[str, float], kind: str
) -> Work:  # fmt: skip
    """A piece slashed from edge to edge, or from place to place, and spread or taken in.

    ``hinge``: the edge that keeps its length, '' for none; ``much``: 'by', 'ratio' or 'length', and
    its value for the other edge; ``kind``: what becomes of the fullness.

    Raises:
        DraftError: a place that is none, or a line that cannot be opened so.
    """
    piece = work.piece(name)
    ends = _slashes(piece, start, to, lines, work.unit)
    edges = (ends[0][0].edge, ends[0][1].edge)
    if hinge and hinge not in edges:
        raise refuse(f"it can be hinged at {edges[0]} or {edges[1]}, not at '{hinge}'.")
    grown = edges[1] if hinge == edges[0] else edges[0]
    old = piece.edges[grown].length_mm
    way, value = much
    wanted = {"by": old + value, "ratio": value * old, "length": value}[way]

    def opened(total: float) -> tuple[Piece, tuple[float, float]]:
        each = total / len(ends)
        amounts = (0.0 if hinge == edges[0] else each, 0.0 if hinge == edges[1] else each)
        lips = "pleat" if kind == "pleats" else ""
        return spreading.fan(piece, ends, [amounts] * len(ends), lips, keep_breaks=True), amounts

    total = wanted - old
    made, amounts = opened(total)
    if hinge or way != "by":  # strips that slide apart by so much do so, told as they are
        # Where it slopes, an edge trued over its openings is shorter than all its strips.
        step, before = total, wanted - old  # so much more is that much nearer, to begin with
        for _ in range(_MOST_TRIES):
            short = wanted - mended(made)[0].edges[grown].length_mm
            if abs(short) < _EXACT_MM or min(amounts) < 0.0:
                break
            gained = (before - short) / step
            step, before = short / (gained if 0.3 < gained < 3.0 else 1.0), short
            total += step
            made, amounts = opened(total)
    out = _trued(work, made)
    word = {"gathers": "gathered in", "ease": "eased in", "pleats": "in pleats"}.get(kind, "")
    for edge, more in zip(edges, amounts, strict=True):
        if more == 0.0:
            continue
        if word and any((name, edge) in (*s.a, *s.b) for s in out.seams):
            gain = out.pieces[name].edges[edge].length_mm - piece.edges[edge].length_mm
            seams = tuple(walking.fuller(s, (name, edge), gain, word) for s in out.seams)
            out = replace(out, seams=seams)
        else:
            out = _eased(out, work, name, edge)
    return out


def _slashes(piece: Piece, start: str, to: str, lines: int, unit_: str) -> list[tuple[End, End]]:
    """The slashes: one between two places, or several spread evenly between two edges."""
    if start in piece.edges and to in piece.edges:
        a, b = piece.edges[start].length_mm, piece.edges[to].length_mm
        shares = [(i + 1) / (lines + 1) for i in range(lines)]
        # Seen from inside, the second edge runs the other way round the ring.
        return [(End.on(piece, start, s * a), End.on(piece, to, (1.0 - s) * b)) for s in shares]
    if lines != 1:
        raise refuse(
            "several lines run from edge to edge.", "Name two edges: 'from: neckline, to: hem'."
        )
    line = line_between(piece, start, to, (), 0.0, unit_)
    return [(line.a, line.b)]


def lengthened(work: Work, name: str, level: str, by: float) -> Work:
    """A piece lengthened, or shortened, at a level.

    Raises:
        DraftError: a level that is none, or a line that cannot be opened.
    """
    piece = work.piece(name)
    line = level_line(piece, level_y(piece, level, work.unit))
    return _trued(
        work, spreading.spread(piece, (line.a, line.b), line.inner, by, by, keep_breaks=True)
    )
