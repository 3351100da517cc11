"""Walking: one edge along another, and what was found; darts turned into something else.

As on paper: one piece is rolled along the other with a pin, from one end, and every notch is seen
where it falls. Frame: piece mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from configs.units import length_text
from drafting.curves import unit
from drafting.outline import arc_lengths
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.shaping.parts import End, of_a_dart, place_on, refuse
from drafting.shaping.pivoting import without_point
from drafting.shaping.state import Work
from drafting.truing import Seam, sewn_length

_NOTCH_NEAR_MM = 3.0


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
    for piece, name in ((first, edge), (second, other)):
        if name not in piece.edges:
            raise refuse(f"the {piece.name} has no edge '{name}'.")
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
    points = piece.edges[edge].points
    roofs = [
        sorted(place_on(points, p)[0] for p in (d.first, d.second))
        for d in piece.darts
        if d.edge == edge
    ]
    out = []
    for n in piece.notches:
        if n.edge != edge or of_a_dart(n):
            continue
        taken = sum(min(max(n.at_mm - low, 0.0), high - low) for low, high in roofs)
        out.append((n.match, n.at_mm - taken))
    return sorted(out, key=lambda t: t[1])


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


def turned_into(work: Work, name: str, dart: Dart, kind: str) -> Work:
    """A dart that is not sewn: its width is gathered, eased, or folded in as a pleat or tuck.

    Seams of its edge tell the fullness. A pleat gets its fold lines, as long as the dart; a tuck
    its two stitching lines.

    Raises:
        DraftError: an unknown kind.
    """
    if kind not in KINDS:
        raise refuse(f"'{kind}' is not one of {', '.join(KINDS)}.")
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
    word = {"gathers": "gathers", "ease": "ease"}.get(kind, kind)
    notches += [Notch(dart.edge, x, 1, word) for x in (end.before, end.before + flat)]
    if kind in ("pleat", "tuck"):
        middle = 0.5 * (near + far)
        down = (
            unit(tip - middle)
            * float(np.hypot(*(tip - middle)))
            * (1.0 if kind == "pleat" else 0.5)
        )
        marks += [Mark(kind, np.stack([p, p + down])) for p in (near, far)]
    edges = {n: replace(e, points=points) if n == dart.edge else e for n, e in piece.edges.items()}
    made = bare.with_(
        edges=edges,
        darts=tuple(d for d in piece.darts if d is not dart),
        marks=tuple(marks),
        notches=tuple(notches),
    )
    words = {
        "gathers": "gathered in",
        "ease": "eased in",
        "pleat": "in a pleat",
        "tuck": "in a tuck",
    }
    seams = [fuller(s, (name, dart.edge), flat, words[kind]) for s in work.seams]
    return replace(work.with_piece(made), seams=tuple(seams)).noting(
        f"{name}: {length_text(flat, work.unit)} of the {dart.edge} {words[kind]}."
    )


KINDS = ("gathers", "ease", "pleat", "tuck")


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
