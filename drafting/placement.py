"""Where one copy of a piece lies on the cloth: place, turn, mirror, lock.

Shared by the planners, the docket and the table. The piece's grain (its y axis) lies along
the cloth's length (its x axis) when ``turn_deg`` is 0; a mirrored piece is turned over first.

Frames: piece mm (x away from the centre line, y up along the grain); cloth mm (x along the
length, y across, 0 at the near selvedge or at the fold); both right-handed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Placement:
    """One copy of a piece on the cloth.

    ``piece``: its name; ``copy``: 1, 2, …; ``at``: (x, y) mm, where the piece's origin lies in
    the cloth frame; ``turn_deg``: counter-clockwise, 0 has the grain along the cloth's length;
    ``mirrored``: turned over (its x axis reversed before turning); ``locked``: stays where she
    put it; ``aside``: taken off the cloth for now; ``lower``: on folded cloth, cut from one layer, and
    that is the lower one.
    """

    piece: str
    copy: int
    at: tuple[float, float]
    turn_deg: float = 0.0
    mirrored: bool = False
    locked: bool = False
    aside: bool = False
    lower: bool = False

    @property
    def key(self) -> str:
        """The copy's name in the docket's ``traced`` list: ``front/1``."""
        return f"{self.piece}/{self.copy}"

    @property
    def cloth_from_piece(self) -> Array:
        """(3, 3) rigid matrix, piece mm → cloth mm (determinant −1 when mirrored)."""
        return cloth_from_piece(self.at, self.turn_deg, self.mirrored)


def grain_turn(grain: tuple[tuple[float, float], tuple[float, float]] | None) -> float:
    """Degrees to turn a piece so that its grain (two points, piece mm) points up its y axis.

    Within a quarter turn each way: an arrow drawn downwards is the same grain. 0 without a grain.
    """
    if grain is None:
        return 0.0
    (x0, y0), (x1, y1) = grain
    turn = (90.0 - math.degrees(math.atan2(y1 - y0, x1 - x0)) + 180.0) % 360.0 - 180.0
    if abs(turn) > 90.0 + 1e-9:
        turn = (turn + 360.0) % 360.0 - 180.0
    return 0.0 if abs(turn) < 1e-9 else turn


def carry(matrix: Array, points: ArrayLike) -> Array:
    """(N, 2) points, or one of (2,), through a (3, 3) affine matrix."""
    out = np.asarray(points, dtype=np.float64) @ matrix[:2, :2].T + matrix[:2, 2]
    return np.asarray(out, dtype=np.float64)


def cloth_from_piece(at: tuple[float, float], turn_deg: float, mirrored: bool) -> Array:
    """(3, 3) rigid matrix, piece mm → cloth mm.

    At turn 0 the piece's +y maps to the cloth's +x and its +x to the cloth's −y (a quarter turn,
    no mirroring); ``mirrored`` maps +x to +y instead.
    """
    quarter = round(turn_deg / 90.0)
    if abs(turn_deg - 90.0 * quarter) < 1e-12:  # exact for the turns that cloth allows
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[quarter % 4]
    else:
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    flip = -1.0 if mirrored else 1.0
    return np.array([[s * flip, c, at[0]], [-c * flip, s, at[1]], [0.0, 0.0, 1.0]])
