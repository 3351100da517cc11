"""What lies inside a garment: interfacing, cut as drawn whatever the allowances.

On the sheet and for the scissors. Frame: piece mm. Common practice, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from configs.errors import DraftError
from drafting.allowance import FOLD, RAW
from drafting.curves import Points
from drafting.outline import Edge, signed_area, without_repeats
from drafting.piece import Piece
from drafting.sheet.board import Sheet
from drafting.sheet.pieces import label_of

INTERFACING = "interfacing"
SHORT_MM = 2.0  # it ends so far inside the seam
_LEAST_AREA_MM2 = 200.0


def interfaced(s: Sheet, piece: Piece, *of: Any) -> None:
    """The interfacing of a piece of the sheet; ``of``: what it hangs on."""
    own = f"{piece.name} {INTERFACING}"
    how = f"cut {piece.cut}{', a pair' if piece.pair else ' on the fold' if piece.fold else ''}"
    copy = interfacing_of(piece, own, SHORT_MM, piece.cut)
    s.add(copy.with_(label=label_of(own, how, s.measurements)), all=(*of, s.options("interfacing")))


def interfacing_of(piece: Piece, name: str, short: float, cut: int) -> Piece:
    """A copy of a piece without darts for interfacing, cut as drawn: ``short`` mm inside its sewing line,
    not at the fold; ``cut``: how many.

    Raises:
        DraftError: it would fall apart, or nothing would be left.
    """
    import shapely

    whole = piece.opened() if piece.fold is not None else piece
    return cut_as_drawn(piece, shapely.Polygon(whole.sewing_line), name, short, cut)


def cut_as_drawn(piece: Piece, shape: Any, name: str, short: float, cut: int) -> Piece:
    """A piece cut along a shapely outline (of the opened piece), ``short`` mm inside it."""
    import shapely

    shape = shapely.buffer(shape, -short, join_style="mitre")
    if piece.fold is not None:
        shape = shape.intersection(shapely.box(0.0, -1e5, 1e5, 1e5))
    if shape.geom_type != "Polygon" or shape.interiors or shape.area < _LEAST_AREA_MM2:
        what = f"{short:.0f} mm short of the {piece.name} would not be one sound piece."
        raise DraftError.of(INTERFACING, what, "Use less.")
    ring = without_repeats(np.array(shape.exterior.coords), closed=True)
    if signed_area(ring) < 0:
        ring = ring[::-1]
    return Piece(
        name, _raw(ring, piece.fold is not None), cut, piece.pair and cut > 1,
        None if piece.fold is None else _fold_of(ring), piece.grain, piece.turns,
        label=(name, INTERFACING, *piece.label[2:]),
    )  # fmt: skip


def _fold_of(ring: Points) -> tuple[tuple[float, float], tuple[float, float]]:
    """The fold of a ring that lies on it: from its upper to its lower end."""
    y = ring[np.abs(ring[:, 0]) < 1e-6, 1]
    return (0.0, float(y.max())), (0.0, float(y.min()))


def _raw(ring: Points, fold: bool) -> dict[str, Edge]:
    """The edges of a piece that is cut as drawn: one all round, and its fold."""
    if not fold:
        return {RAW: Edge(RAW, np.concatenate([ring, ring[:1]]))}
    on = np.flatnonzero(np.abs(ring[:, 0]) < 1e-6)
    first = int(on[np.argmax(ring[on, 1])])  # the ring runs down its fold
    last = int(on[np.argmin(ring[on, 1])])
    ring = np.roll(ring, -last, axis=0)
    count = (first - last) % len(ring)
    raw = ring[: count + 1]
    ends = np.stack([raw[-1], raw[0]]) * (0.0, 1.0)
    raw = np.concatenate([ends[1:], raw[1:-1], ends[:1]])
    return {FOLD: Edge(FOLD, ends), RAW: Edge(RAW, raw)}
