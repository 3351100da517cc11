"""What a block is sewn to: the garment drafted before it, after its changes, as values.

A sleeve, a collar or a skirt at a waist is drafted to edges that are there already. An `Onto` finds
them: under the names that the scissors gave them, on every piece that has a part of one now.
Frame: piece mm, each piece in its own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from drafting.curves import Points
from drafting.fit import BACK, FRONT, LEFT, RIGHT
from drafting.piece import Piece
from drafting.truing import Seam, sewn_length

INSIDE = ("facing", "lining", "interfacing", "binding")  # pieces that nothing is set in


@dataclass(frozen=True, eq=False)
class EdgeRun:
    """A part of an edge of the garment: ``piece`` and ``edge``, its ``points`` (N, 2) mm, its length
    with the darts closed, its ``half`` ('front', 'back' or ''), the wearer's ``side`` ('left',
    'right', or '' where it stands for both), and how many of it are cut."""

    piece: str
    edge: str
    points: Points
    length_mm: float
    half: str
    side: str
    cut: int


@dataclass(frozen=True, eq=False)
class Onto:
    """The garment before a part of it: its ``block``, ``pieces``, ``seams``, and what each edge hangs on."""

    block: str
    pieces: Mapping[str, Piece]
    seams: tuple[Seam, ...] = ()
    hangs_on: Mapping[tuple[str, str], frozenset[str]] = field(default_factory=dict)

    @property
    def landmarks(self) -> dict[str, dict[str, tuple[float, float]]]:
        """Piece → its landmarks (bust point), mm."""
        return {n: dict(p.landmarks) for n, p in self.pieces.items()}

    def edge_runs(self, kind: str) -> tuple[EdgeRun, ...]:
        """Every part of the edges of one kind, such as 'armhole', on pieces that show."""
        return tuple(
            EdgeRun(name, e, edge.points, sewn_length(piece, e), *_place(name, e), piece.cut)
            for name, piece in self.pieces.items()
            if not set(name.split()) & set(INSIDE)
            for e, edge in piece.edges.items()
            if _kind(e) == kind
        )

    def sources(self, piece: str, edge: str) -> frozenset[str]:
        """What an edge hangs on; of one that the scissors made, what the whole garment does."""
        every: frozenset[str] = frozenset().union(*self.hangs_on.values())
        return self.hangs_on.get((piece, edge), every)


def _kind(edge: str) -> str:
    """An edge's name without side and number: 'left armhole 2' is an armhole."""
    return re.sub(r" \d+$", "", edge).removeprefix("left ").removeprefix("right ")


def _place(piece: str, edge: str) -> tuple[str, str]:
    """Half and side of the body that an edge belongs to, by the names."""
    words = [*edge.split(), *piece.split()]
    half = next((w for w in words if w in (FRONT, BACK)), "")
    side = next((w for w in words if w in (LEFT, RIGHT)), "")
    return half, side
