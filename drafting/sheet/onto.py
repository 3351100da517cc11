"""What a block is sewn to: the pieces drafted before it, after their changes, as values. (shim)"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from drafting.curves import Points
from drafting.piece import Piece
from drafting.truing import Seam, sewn_length


@dataclass(frozen=True, eq=False)
class EdgeRun:
    piece: str
    edge: str
    points: Points
    length_mm: float
    half: str
    side: str
    cut: int


@dataclass(frozen=True, eq=False)
class Onto:
    pieces: Mapping[str, Piece]
    seams: Sequence[Seam] = ()
    hangs_on: Mapping[tuple[str, str], frozenset[str]] = field(default_factory=dict)

    def edge_runs(self, kind: str) -> tuple[EdgeRun, ...]:
        out = []
        for name, piece in self.pieces.items():
            if "facing" in name:
                continue
            half = next((w for w in ("front", "back") if w in name.split()), "")
            for e, edge in piece.edges.items():
                words = re.sub(r" \d+$", "", e).split()
                side = next((w for w in ("left", "right") if w in (*words, *name.split())), "")
                if words[-1] == kind:
                    out.append(
                        EdgeRun(name, e, edge.points, sewn_length(piece, e), half, side, piece.cut)
                    )
        return tuple(out)
