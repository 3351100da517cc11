"""Walking: one edge along another, and what was found; darts turned into something else.

As on paper: one piece is rolled along the other with a pin, from one end, and every notch is seen
where it falls. Frame: piece mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from configs.units import length_text
from drafting.outline import arc_lengths
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.shaping.parts import End, edge_named, of_a_dart, refuse
from drafting.shaping.pivoting import without_point
from drafting.shaping.places import dart_named
from drafting.shaping.state import Work
from drafting.truing import Seam, dart_spans, sewn_length, sewn_place

KINDS: Mapping[str, str] = {  # what a dart may be turned into, and how its seam tells that
    "gathers": "gathered in",
    "ease": "eased in",
    "pleat": "in a pleat",
    "tuck": "in a tuck",
}


@dataclass(frozen=True)
class Walk:
    """``first_mm`` and ``second_mm``: lengths with darts closed; ``notches``: for each notch of the
    first its match, its place from the start and, where the second has one near, how far that one
    lies from it (mm; None where there is none); ``reversed_``: the second was walked backwards."""

    first_mm: float
    second_mm: float
    notches: tuple[tuple[str, float, float | None], ...]
    reversed_: bool

    @property
    def eased_mm(self) -> float:
        """How much the first is longer: eased or gathered in; less than 0: the second is."""
        return self.first_mm - self.second_mm


def walk(first: Piece, edge: str, second: Piece, other: str) -> Walk:
    """Walk one edge along another, from the ends whose notches agree best.

    Raises:
        DraftError: no such edge.
    """
    edge, other = edge_named(first, edge), edge_named(second, other)
    here, there = sewn_notches(first, edge), sewn_notches(second, other)
    long_ = sewn_length(second, other)
    best = None
    for back in (True, False):
        spots = [(m, long_ - x) if back else (m, x) for m, x in there]
        met = tuple((m, x, _nearest(x, spots)) for m, x in here)
        misses = sum(abs(g) if g is not None else 50.0 for _, _, g in met)
        if best is None or misses < best[0] - 1e-9:
            best = (misses, met, back)
    assert best is not None
    return Walk(sewn_length(first, edge), long_, best[1], best[2])


def _nearest(x: float, spots: Sequence[tuple[str, float]]) -> float | None:
    gaps = [y - x for _, y in spots]
    best = min(gaps, key=abs, default=None)
    return best if best is not None and abs(best) < 25.0 else None


def sewn_notches(piece: Piece, edge: str) -> list[tuple[str, float]]:
    """(match, place along the edge with its darts closed, mm) of every notch that is no dart's."""
    spans = dart_spans(piece, edge)
    own = [n for n in piece.notches if n.edge == edge and not of_a_dart(n)]
    return sorted(((n.match, sewn_place(spans, n.at_mm)) for n in own), key=lambda t: t[1])


def told(result: Walk, name: str, other: str, unit_: str) -> str:
    """A walk in one sentence."""
    text = (
        f"{name}: {length_text(result.first_mm, unit_)} walked along {other}, "
        f"{length_text(result.second_mm, unit_)}"
    )
    if abs(result.eased_mm) >= 0.5:
        more = name if result.eased_mm > 0 else other
        text += (
            f"; {more} is {length_text(abs(result.eased_mm), unit_)} longer, to ease or gather in"
        )
    off = [g for _, _, g in result.notches if g is not None]
    missing = sum(g is None for _, _, g in result.notches)
    if off:
        worst = max(abs(g) for g in off)
        text += f"; {len(off)} notches meet, the farthest {length_text(worst, unit_)} off"
    if missing:
        text += f"; {missing} find no partner"
    return text + "."


def walked(work: Work, name: str, edge: str, along: str, other: str) -> Work:
    """One edge walked along another (of the same name, if ``other`` is ''), and what was found told.

    Raises:
        DraftError: no such piece, or edge.
    """
    other = other or edge
    found = walk(work.piece(name), edge, work.piece(along), other)
    return work.noting(told(found, f"{name} {edge}", f"{along} {other}", work.unit))


def turned(work: Work, name: str, which: str, kind: str) -> Work:
    """As `turned_into`; ``which``: the dart in words, or its number alone."""
    words = which if "dart" in which.split() else f"dart {which}"
    dart = dart_named(work.piece(name), words)
    if dart is None:
        raise refuse(f"'{which}' names no dart.", "Such as 'dart 1'.")
    return turned_into(work, name, dart, kind)


def turned_into(work: Work, name: str, dart: Dart, kind: str) -> Work:
    """A dart that is not sewn: its width is gathered, eased, or folded in as a pleat or tuck.

    ``kind``: one of `KINDS`. Seams of its edge tell the fullness. A pleat gets its fold lines, as long
    as the dart; a tuck its two stitching lines.
    """
    piece = work.piece(name)
    end = End.of_dart(piece, dart)
    edge = piece.edges[dart.edge]
    wide = end.after - end.before
    bare = without_point(piece, end)
    marks, notches = list(bare.marks), [n for n in bare.notches if not _of(n, end)]
    near, far, tip = np.array(end.near), np.array(end.far), np.array(dart.tip)
    # The roof was for a dart that is folded: the edge runs straight over what is left.
    steps = arc_lengths(edge.points)
    points = np.concatenate(
        [edge.points[steps <= end.before + 1e-6], edge.points[steps >= end.after - 1e-6]]
    )
    flat = float(np.hypot(*(far - near)))
    shift = wide - flat
    notches = [
        replace(n, at_mm=n.at_mm - shift) if n.edge == dart.edge and n.at_mm > end.after else n
        for n in notches
    ]
    notches += [Notch(dart.edge, x, 1, kind) for x in (end.before, end.before + flat)]
    if kind in ("pleat", "tuck"):
        down = (tip - 0.5 * (near + far)) * (1.0 if kind == "pleat" else 0.5)
        marks += [Mark(kind, np.stack([p, p + down])) for p in (near, far)]
    edges = {n: replace(e, points=points) if n == dart.edge else e for n, e in piece.edges.items()}
    made = bare.with_(
        edges=edges,
        darts=tuple(d for d in piece.darts if d is not dart),
        marks=tuple(marks),
        notches=tuple(notches),
    )
    seams = [fuller(s, (name, dart.edge), flat, KINDS[kind]) for s in work.seams]
    return replace(work.with_piece(made), seams=tuple(seams)).noting(
        f"{name}: {length_text(flat, work.unit)} of the {dart.edge} {KINDS[kind]}."
    )


def _of(notch: Notch, end: End) -> bool:
    return notch.edge == end.edge and (
        abs(notch.at_mm - end.before) < 0.01 or abs(notch.at_mm - end.after) < 0.01
    )


def fuller(seam: Seam, spot: tuple[str, str], by: float, word: str) -> Seam:
    """A seam with more fullness on the side where ``spot`` lies."""
    times = seam.a.count(spot) - seam.b.count(spot)
    if not times:
        return seam
    return replace(seam, ease_mm=seam.ease_mm + times * by, ease=word)
