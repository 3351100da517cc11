"""One cutting line on the cloth, as the planners, the judge and the lay know it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drafting.outline import signed_area
from drafting.placement import Placement, carry


@dataclass(frozen=True, eq=False)
class LaidPiece:
    """One cutting line on the cloth.

    ``cloth_from_piece``: (3, 3), piece mm → cloth mm, shrinkage included (rigid without);
    ``outline_mm``: (N, 2) cutting line in the cloth frame, closed, counter-clockwise, first point
    not repeated; ``turn``: degrees counter-clockwise, 0 has the grain along the length;
    ``how``: "single" (one layer), "through" (both layers at once: a pair), or "fold" (half the
    piece, its fold edge on the cloth's fold); ``at``: (x, y) mm, where the piece's origin lies; ``lower``: of "single" on folded cloth, whether it is
    cut from the lower layer; ``upper``: from the upper one of two.
    """

    piece: str
    copy: int
    at: tuple[float, float]
    turn: float
    mirrored: bool
    locked: bool
    how: str
    cloth_from_piece: NDArray[np.float64]
    outline_mm: NDArray[np.float64]
    lower: bool = False
    upper: bool = False

    @property
    def key(self) -> str:
        """The copy's name: ``front/1``."""
        return f"{self.piece}/{self.copy}"

    @property
    def layers(self) -> int:
        """Layers of cloth that this line is cut through."""
        return 1 if self.how == "single" else 2

    @property
    def on_fold(self) -> bool:
        """Whether its fold edge lies on the cloth's fold."""
        return self.how == "fold"

    def point(self, point_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(2,) where a point of the piece (piece mm) lies on the cloth."""
        return carry(self.cloth_from_piece, point_mm)

    @property
    def area_mm2(self) -> float:
        """Cloth cut out, both layers counted, mm²."""
        return abs(signed_area(self.outline_mm)) * self.layers

    @property
    def placement(self) -> Placement:
        """The same for the docket and the table."""
        return Placement(
            self.piece, self.copy, self.at, self.turn, self.mirrored, self.locked, lower=self.lower
        )

    def apart_from(self, other: LaidPiece) -> bool:
        """Whether the two are cut from different layers, so that one may lie over the other."""
        return (self.lower and other.upper) or (self.upper and other.lower)


def placement_of(given: Any) -> Placement:
    """What a `Placement`, a `LaidPiece` or a mapping (piece, copy, at, turn, mirrored, locked, layer)
    says of where a copy lies."""
    if isinstance(given, Placement):
        return given
    if isinstance(given, LaidPiece):
        return given.placement
    x, y = given["at"]
    return Placement(
        str(given["piece"]),
        int(given.get("copy", 1)),
        (float(x), float(y)),
        float(given.get("turn", 0.0)),
        bool(given.get("mirrored", False)),
        bool(given.get("locked", False)),
        lower=given.get("layer") == "lower" or bool(given.get("lower", False)),
    )


def lower_steps(laid: Sequence[LaidPiece]) -> tuple[str, ...]:
    """How to cut what is cut from the lower layer, in one sentence; () where nothing is."""
    below = list(dict.fromkeys(p.piece for p in laid if p.lower))
    if not below:
        return ()
    return (
        f"Cut {', '.join(below)} last, from the lower layer: turn the upper layer back over the fold, "
        "without moving the lower one.",
    )
