"""Pieces as large as they are cut: cloth that shrinks later is cut larger now.

Between the docket and the printed or exported sheet. The cloth loses length along its own axes, so
how much larger a piece is on which side hangs on how it lies: what the docket's lay says, else with
its grain along the cloth. The rule itself is `Cloth.growth`, the same for the lay and the table.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from drafting.outline import Edge, Points
from drafting.piece import AS_DRAWN, Line, Mark, Piece
from drafting.placement import grain_turn

if TYPE_CHECKING:
    from drafting.docket import Docket

_SAME = 1e-9


def cut_size(
    docket: Docket, only: Iterable[str] = ()
) -> tuple[dict[str, Piece], dict[str, dict[str, float]]]:
    """The docket's pieces as they are cut from its cloth, and their allowances, both by name.

    ``only``: names of the pieces wanted, all by default. Copies of one piece that lie along and
    across come apart, as ``name`` and ``name (copy 2)``; a piece on the fold that lies so that it
    grows askew is opened out.

    Raises:
        drafting.InputError, DraftError: allowances that do not suit a piece.
    """
    wanted = set(only)
    pieces: dict[str, Piece] = {}
    allowances: dict[str, dict[str, float]] = {}
    for name, piece in docket.every_piece().items():
        if wanted and name not in wanted:
            continue
        own = docket.allowances_for(name)
        cloth = docket.cloth_of(name)
        if cloth is not None and name in cloth.opened and piece.fold is not None:
            piece = opened_out(piece, own)
        for label, growth in _growths(docket, piece, name).items():
            pieces[label] = made_larger(piece, growth, own)
            if label != name:
                pieces[label] = replace(pieces[label], name=label)
            allowances[label] = own
    return pieces, allowances


def opened_out(piece: Piece, allowances: Mapping[str, float]) -> Piece:
    """A piece with a fold as the whole that is cut, its cutting line the half's and its mirror image.

    Raises:
        drafting.InputError, DraftError: allowances that do not suit the piece.
    """
    return replace(piece.opened(), own_cutting_line=piece.unfolded(allowances))


def _growths(docket: Docket, piece: Piece, name: str) -> dict[str, Points]:
    """What each different copy is to be called, and its growth (2, 2)."""
    cloth = docket.cloth_of(name)
    if cloth is None or cloth.cut_scale == (1.0, 1.0):
        return {name: np.eye(2)}
    laid = sorted((p for p in docket.placed() if p.piece == name), key=lambda p: p.copy)
    found: dict[str, Points] = {}
    for p in laid:
        growth = cloth.growth(p.turn_deg, p.mirrored)
        if not any(np.abs(growth - other).max() < _SAME for other in found.values()):
            found[name if not found else f"{name} (copy {p.copy})"] = growth
    return found or {name: cloth.growth(grain_turn(piece.grain))}


def made_larger(
    piece: Piece, growth: Points, allowances: Mapping[str, float] | None = None
) -> Piece:
    """The piece with every line of it made larger; itself when ``growth`` (2, 2) is the identity.

    ``growth``: symmetric, piece frame, as of `Cloth.growth`; ``allowances``: edge → mm at the
    draft's size. The cutting line grows as a whole, so the allowances are in it.

    Raises:
        drafting.InputError, DraftError: allowances that do not suit the piece.
    """
    if np.abs(growth - np.eye(2)).max() < _SAME:
        return piece
    if piece.fold is not None and abs(growth[0, 1]) > _SAME:
        piece = piece.opened()

    def grown(points: object) -> Points:
        return np.asarray(np.asarray(points, dtype=np.float64) @ growth.T)

    def pair(points: object) -> Line:
        (x0, y0), (x1, y1) = grown(points).tolist()
        return (x0, y0), (x1, y1)

    def spot(point: tuple[float, float]) -> tuple[float, float]:
        x, y = grown(point).tolist()
        return x, y

    edges = {n: Edge(n, grown(e.points)) for n, e in piece.edges.items()}
    (a, b), (c, d) = growth.tolist()
    return replace(
        piece,
        edges=edges,
        fold=None if piece.fold is None else pair(piece.fold),
        grain=pair(piece.grain),
        notches=tuple(
            replace(n, at_mm=_along(piece.edges[n.edge], n.at_mm, growth)) for n in piece.notches
        ),
        darts=tuple(
            replace(d, first=spot(d.first), second=spot(d.second), tip=spot(d.tip))
            for d in piece.darts
        ),
        marks=tuple(Mark(m.name, grown(m.points), m.closed) for m in piece.marks),
        own_cutting_line=grown(piece.cutting_line(allowances)),
        # a larger piece has a line of its own always; whether it had one before is kept so
        label=piece.label if piece.own_cutting_line is None else (*piece.label, AS_DRAWN),
        larger=(a, b, c, d),
    )


def _along(edge: Edge, at_mm: float, growth: Points) -> float:
    """How far along the larger edge the same place is."""
    steps = np.hypot(*np.diff(edge.points, axis=0).T)
    larger = np.hypot(*(np.diff(edge.points, axis=0) @ growth.T).T)
    before = np.concatenate([[0.0], np.cumsum(steps)])
    after = np.concatenate([[0.0], np.cumsum(larger)])
    return float(np.interp(at_mm, before, after))


def size_words(piece: Piece) -> str:
    """What was added for the shrinkage, for the label: 'larger by 3.1 % along, 1 % across'."""
    if piece.larger is None:
        return ""
    growth = np.array(piece.larger).reshape(2, 2)
    d = np.diff(np.array(piece.grain, dtype=np.float64), axis=0)[0]
    along = d / np.hypot(*d)
    across = np.array([along[1], -along[0]])
    told = [
        f"{100 * (np.hypot(*(growth @ way)) - 1):.1f}".rstrip("0").rstrip(".")
        for way in (along, across)
    ]
    return f"larger for shrinkage: {told[0]} % along the grain, {told[1]} % across"
