"""From drawn lines to pieces: on the fold, as a pair, or whole where left and right differ.

The last thing a block does on the sheet. Frame: piece mm, x from the centre line, y up. Rules of
the trade: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from configs.errors import DraftError
from drafting.curves import Points
from drafting.fit import FRONT, LEFT, RIGHT
from drafting.measurements import Measurements
from drafting.outline import Edge, is_simple, polyline_length, ring_points
from drafting.piece import Line, Notch, Piece

CENTRE = {False: "fold", True: "centre back"}
EdgeAt = tuple[str, str]
Notches = Callable[[Mapping[str, Edge], str], Iterable[Notch]]


def label_of(name: str, how: str, m: Measurements) -> tuple[str, ...]:
    """Name, how to cut it, whose it is."""
    who = " · ".join(t for t in (m.wearer, m.taken) if t)
    return tuple(t for t in (name, how, who) if t)


def flip(points: Points) -> Points:
    """Mirrored in the centre line, direction kept counter-clockwise."""
    return np.asarray((points * (-1.0, 1.0))[::-1])


def half_piece(
    name: str, points: Mapping[str, Points], m: Measurements, seam: bool = False, **more: Any
) -> Piece:
    """A piece that is the same left and right: cut on its edge 'fold', or as a pair where it has
    none or ``seam`` opens it. ``points``: edge → (N, 2) mm in ring order; ``more``: of `Piece`.
    """
    folded = "fold" in points and not seam
    edges = {n: Edge(n, p) for n, p in renamed(points, seam).items()}
    refuse_crossing(edges, name)
    how = "cut 1 on the fold" if folded else "cut 2, a pair"
    top, low = (points["fold"][i] for i in (0, -1)) if folded else (None, None)
    fold = ((0.0, float(top[1])), (0.0, float(low[1]))) if folded else None  # type: ignore[index]
    more = {"label": label_of(name, how, m)} | more
    return Piece(name, edges, 1 if folded else 2, not folded, fold, **more)


def both_halves(hem: Points, seam: Points, waist: Points) -> dict[str, Edge]:
    """A panel from its right half: its hem from the middle out, its seam up, its waist back in; mm."""
    lines = {
        "hem": np.concatenate([flip(hem)[:-1], hem]), "right seam": seam,
        "waist": np.concatenate([waist[:-1], flip(waist)]), "left seam": flip(seam),
    }  # fmt: skip
    return {n: Edge(n, p) for n, p in lines.items()}


def renamed(points: Mapping[str, Points], seam: bool) -> dict[str, Points]:
    """The lines by edge name: with a seam the fold is the centre back."""
    return {(CENTRE[seam] if n == "fold" else n): p for n, p in points.items()}


def whole_piece(
    name: str, half: str, left: Mapping[str, Points], right: Mapping[str, Points],
    m: Measurements, grain: Line, facing: bool,
) -> Piece:  # fmt: skip
    """A piece whose sides differ: one whole, seen from the cloth's right side.

    Seen so, the wearer's left lies at x > 0 on the front and at x < 0 on the back; on a facing,
    whose right side looks at the wearer, it is the other way round.
    """
    left_first = (half == FRONT) != facing
    plus, minus = (left, right) if left_first else (right, left)
    side_of = (LEFT, RIGHT) if left_first else (RIGHT, LEFT)
    a, b = dict(plus), {n: flip(p) for n, p in minus.items()}
    across = [n for n in a if n != "fold"]
    first, last = across[0], across[-1]  # the hem (or a facing's outer edge), and the neckline
    middle = across[1:-1]
    lines = {
        first: np.concatenate([b[first][:-1], a[first]]),
        **{f"{side_of[0]} {n}": a[n] for n in middle},
        last: np.concatenate([a[last][:-1], b[last]]),
        **{f"{side_of[1]} {n}": b[n] for n in reversed(middle)},
    }
    edges = {n: Edge(n, p) for n, p in lines.items()}
    refuse_crossing(edges, name)
    (_, low), (_, high) = grain
    label = label_of(name, "cut 1, single layer, right side up", m)
    return Piece(name, edges, grain=((0.0, low), (0.0, high)), label=label)


def pieces_of(
    name: str, half: str, flat: Sequence[Mapping[str, Points]], m: Measurements, grain: Line,
    seam: bool, apart: bool = False, facing: bool = False, notches: Notches | None = None,
) -> dict[str, Piece]:  # fmt: skip
    """The piece or pieces of one half: one drawing of it for both sides, or left and right.

    ``seam``: the centre is sewn; ``apart``: left and right do not meet there (armhole facings);
    ``facing``: it lies inside, its right side to the wearer. Every piece is drawn as the cloth's
    right side shows it.
    """

    def notched(piece: Piece) -> Piece:
        return piece if notches is None else piece.with_(notches=tuple(notches(piece.edges, half)))

    if len(flat) == 1:
        return {name: notched(half_piece(name, flat[0], m, seam, grain=grain))}
    if not apart and not seam:
        return {name: notched(whole_piece(name, half, flat[0], flat[1], m, grain, facing))}
    out = {}
    for side, points in zip((LEFT, RIGHT), flat, strict=True):
        full = f"{side} {name}"
        ends = grain
        if (side == LEFT) != ((half == FRONT) != facing):  # lies at x < 0, see `whole_piece`
            points = {n: flip(points[n]) for n in reversed(list(points))}
            (x0, y0), (x1, y1) = grain
            ends = ((-x0, y0), (-x1, y1))
        piece = notched(half_piece(full, points, m, True, grain=ends))
        out[full] = piece.with_(cut=1, pair=False, label=label_of(full, "cut 1, right side up", m))
    return out


def edge_at(half: str, side: str, edge: str, seam: bool, name: str = "") -> EdgeAt:
    """Piece and edge where an edge of the garment's half lies; ``side`` '' when both are alike."""
    name = name or half
    if not side:
        return (name, edge)
    if seam:
        return (f"{side} {name}", edge)
    return (name, edge if edge in ("neckline", "hem", "outer") else f"{side} {edge}")


def refuse_crossing(edges: Mapping[str, Edge], name: str) -> None:
    """Refuse an outline that crosses itself."""
    if not is_simple(ring_points(edges)):
        what = "crosses itself with these measurements and this style."
        remedy = "Look at the neckline's depth and width, the shoulder and the bust girth."
        raise DraftError.of(f"{name} outline", what, remedy)


def along(edge: Edge, spot: Sequence[float] | Points) -> float:
    """How far along an edge one of its own points lies, mm."""
    i = int(np.argmin(np.hypot(*(edge.points - np.array(spot)).T)))
    return polyline_length(edge.points[: i + 1]) if i else 0.0
