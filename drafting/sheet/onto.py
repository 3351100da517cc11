"""What a block is sewn to: the garment drafted before it, after its changes, as values.

A sleeve, a collar or a skirt at a waist is drafted to edges that are there already. An `Onto` finds
them: under the names that the scissors gave them, on every piece that has a part of one now.
Frame: piece mm, each piece in its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from drafting.allowance import plain
from drafting.curves import Points
from drafting.fit import BACK, FRONT, LEFT, RIGHT
from drafting.piece import Piece
from drafting.truing import Seam, sewn_length

INSIDE = ("facing", "lining", "interfacing", "binding", "pocket", "bag")  # nothing is set in these


@dataclass(frozen=True, eq=False)
class EdgeRun:
    """A part of an edge of the garment: ``piece`` and ``edge``, its ``points`` (N, 2) mm, its length
    with the darts closed, its ``half`` ('front', 'back' or ''), and the wearer's ``side`` ('left',
    'right', or '' where it stands for both)."""

    piece: str
    edge: str
    points: Points
    length_mm: float
    half: str
    side: str


@dataclass(frozen=True, eq=False)
class Onto:
    """The garment before a part of it: its ``pieces``, ``seams``, what each edge hangs on, its ``style``."""

    pieces: Mapping[str, Piece]
    seams: tuple[Seam, ...] = ()
    hangs_on: Mapping[tuple[str, str], frozenset[str]] = field(default_factory=dict)
    style: Mapping[str, Any] = field(default_factory=dict)

    def edge_runs(self, kind: str) -> tuple[EdgeRun, ...]:
        """Every part of the edges of one kind, such as 'armhole', on pieces that show."""
        return tuple(
            EdgeRun(name, e, edge.points, sewn_length(piece, e), *self._place(name, e))
            for name, piece in self.pieces.items()
            if not set(name.split()) & set(INSIDE)
            for e, edge in piece.edges.items()
            if f" {_plain(e)}".endswith(f" {kind}")
        )

    def kinds_in(self, seams: Iterable[Seam]) -> set[str]:
        """The kinds of its edges that are in some seams."""
        spots = (spot for s in seams for spot in (*s.a, *s.b))
        return {_plain(e).split()[-1] for p, e in spots if p in self.pieces}

    def next_to(self, piece: str, edge: str) -> tuple[str, str]:
        """The edges before and after an edge on its piece, by their plain names."""
        before, after = self.pieces[piece].beside(edge)
        return _plain(before), _plain(after)

    def taken(self, piece: str, edge: str) -> str:
        """What an edge is finished with or sewn to already: a piece's name, 'a binding', or ''."""
        if edge in self.pieces[piece].bound:
            return "a binding"
        mates = (s.b if (piece, edge) in s.a else s.a for s in self.seams if (piece, edge) in (*s.a, *s.b))  # fmt: skip
        return next((f"the {spots[0][0]}" for spots in mates), "")

    def sources(self, piece: str, edge: str) -> frozenset[str]:
        """What an edge hangs on; of one that the scissors made, what the whole garment does."""
        every: frozenset[str] = frozenset().union(*self.hangs_on.values())
        return self.hangs_on.get((piece, edge), every)

    def _place(self, piece: str, edge: str) -> tuple[str, str]:
        """Half and side of the body that an edge belongs to: by the names, or where pieces of both
        halves were joined, by what is sewn on beside it."""
        words = [*edge.split(), *piece.split()]
        half = next((w for w in words if w in (FRONT, BACK)), "")
        side = next((w for w in words if w in (LEFT, RIGHT)), "")
        if not half:
            beside = {(piece, e) for e in self.pieces[piece].beside(edge)}
            ways = [way for s in self.seams for way in ((s.a, s.b), (s.b, s.a))]
            mates = [
                w for one, other in ways if beside & set(one) for n, _ in other for w in n.split()
            ]
            half = next((w for w in mates if w in (FRONT, BACK)), "")
        return half, side


def _plain(edge: str) -> str:
    """An edge's name without side and number: 'left armhole 2' is an armhole."""
    return plain(re.sub(r" \d+$", "", edge))
