"""What the scissors work on: the pieces of a garment and what is sewn to what.

Every operation takes a `Work` and gives another one. Seams are told by pieces and edges, so when a
piece is cut or renamed they are told anew; none gets lost without a word.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from configs.reader import nearest
from drafting.piece import Piece
from drafting.shaping.parts import refuse
from drafting.truing import Seam, Spot


@dataclass(frozen=True, eq=False)
class Work:
    """``pieces`` by name; ``seams``: what is sewn together; ``said``: notes, in order; ``unit``: of
    lengths without their own; ``origin``: piece → the pieces of the draft that it is of; ``drafted``:
    those drafted from others: facings, bands, linings."""

    pieces: Mapping[str, Piece]
    seams: tuple[Seam, ...] = ()
    said: tuple[str, ...] = ()
    unit: str = "mm"
    origin: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    drafted: frozenset[str] = frozenset()

    def piece(self, name: str) -> Piece:
        """The piece of that name.

        Raises:
            DraftError: there is none.
        """
        if name not in self.pieces:
            raise refuse(
                f"there is no piece '{name}'; there are {', '.join(self.pieces)}.",
                nearest(name, self.pieces),
            )
        return self.pieces[name]

    def unused(self, name: str) -> str:
        """The name, if no piece has it yet.

        Raises:
            DraftError: one has.
        """
        if name in self.pieces:
            raise refuse(f"there is a piece '{name}' already.", "Give it another 'as' name.")
        return name

    def with_piece(self, piece: Piece) -> Work:
        """One piece, of a name that is there, replaced."""
        return replace(self, pieces={**self.pieces, piece.name: piece})

    def with_new(self, piece: Piece, of: str) -> Work:
        """A further piece, drafted from one that is there."""
        origin = {**self.origin, piece.name: self.came_from(of)}
        drafted = self.drafted | {piece.name}
        return replace(
            self, pieces={**self.pieces, piece.name: piece}, origin=origin, drafted=drafted
        )

    def instead(self, old: Sequence[str], new: Sequence[Piece]) -> Work:
        """Some pieces replaced by others, in the place of the first of them."""
        pieces: dict[str, Piece] = {}
        for name, piece in self.pieces.items():
            if name == old[0]:
                pieces |= {p.name: p for p in new}
            elif name not in old:
                pieces[name] = piece
        of = tuple(dict.fromkeys(o for name in old for o in self.came_from(name)))
        names = {p.name for p in new}
        drafted = self.drafted - set(old) | (names if self.drafted & set(old) else set())
        origin = {**self.origin, **dict.fromkeys(names, of)}
        return replace(self, pieces=pieces, origin=origin, drafted=drafted)

    def came_from(self, name: str) -> tuple[str, ...]:
        """The pieces of the draft that a piece is of."""
        return self.origin.get(name, (name,))

    def retold(self, told: Callable[[Spot], tuple[Spot, ...]]) -> Work:
        """Every seam told anew: each piece and edge by what it is now."""
        seams = [
            replace(
                s,
                a=tuple(n for spot in s.a for n in told(spot)),
                b=tuple(n for spot in s.b for n in told(spot)),
            )
            for s in self.seams
        ]
        return replace(self, seams=tuple(s for s in seams if s.a and s.b))

    def doubled(self, name: str, sides: Mapping[str, tuple[Spot, Spot]]) -> Work:
        """Seams of a piece whose two sides are told apart now; ``sides``: its edge → left and right.

        An edge that is not in ``sides`` crosses the centre: it is one edge now, twice as long, and
        meets its partner on both sides.
        """
        out: list[Seam] = []
        for seam in self.seams:
            spots = [s for s in (*seam.a, *seam.b) if s[0] == name]
            if not spots:
                out.append(seam)
            elif any(s[1] in sides for s in spots):
                for i, word in enumerate(("left", "right")):
                    a, b = (
                        tuple(sides[e][i] if p == name and e in sides else (p, e) for p, e in side)
                        for side in (seam.a, seam.b)
                    )
                    out.append(replace(seam, name=f"{word} {seam.name}", a=a, b=b))
            else:
                both = any((*seam.a, *seam.b).count(s) > 1 for s in spots)
                a, b = (_crossing(side, name, both) for side in (seam.a, seam.b))
                out.append(replace(seam, a=a, b=b, ease_mm=seam.ease_mm * (1.0 if both else 2.0)))
        return replace(self, seams=tuple(out))

    def sewn(self, *seams: Seam) -> Work:
        """With further seams."""
        return replace(self, seams=(*self.seams, *seams))

    def noting(self, *texts: str) -> Work:
        """With further notes."""
        return replace(self, said=(*self.said, *texts))

    def free_name(self, name: str) -> str:
        """The name, with a number where it is taken."""
        if name not in self.pieces:
            return name
        return next(n for i in range(2, 100) if (n := f"{name} {i}") not in self.pieces)


def _crossing(side: tuple[Spot, ...], name: str, both: bool) -> tuple[Spot, ...]:
    """One side of a seam that crosses the centre of a piece that is whole now; ``both``: the seam was
    told with both its halves already."""
    out: list[Spot] = []
    for spot in side:
        if spot[0] != name:
            out += [spot] if both else [spot, spot]
        elif spot not in out:
            out.append(spot)
    return tuple(out)
