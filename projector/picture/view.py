"""View: how the cloth lies on the table, and where she stands.

Between the cloth's frame and the table's, which the calibration knows. A view only turns,
moves and turns over: it holds no scale, so nothing done at the table can lose true size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from drafting.placement import Array

# side of the table where she stands → direction that is up for her, degrees in the table frame
SIDES: dict[str, float] = {"near": 0.0, "right": 90.0, "far": 180.0, "left": -90.0}
_KEYS = ("turn", "at", "mirror", "side")


@dataclass(frozen=True)
class View:
    """Rotation, translation, mirror and side; no scale.

    ``turn_deg``: cloth +x in the table frame, counter-clockwise; ``at``: (x, y) table mm of the
    cloth's origin; ``mirror``: the cloth's width runs the other way (it lies turned over);
    ``side``: ``near``, ``right``, ``far`` or ``left``, the table's side where she stands.
    """

    turn_deg: float = 0.0
    at: tuple[float, float] = (0.0, 0.0)
    mirror: bool = False
    side: str = "near"

    @property
    def table_from_cloth(self) -> Array:
        """(3, 3) rigid, cloth mm → table mm (determinant −1 when mirrored)."""
        return rigid(self.turn_deg, self.at, self.mirror)

    @property
    def cloth_from_table(self) -> Array:
        """(3, 3) the inverse of `table_from_cloth`."""
        a = self.table_from_cloth
        out = np.eye(3)
        out[:2, :2] = a[:2, :2].T
        out[:2, 2] = -a[:2, :2].T @ a[:2, 2]
        return out

    @property
    def up_deg(self) -> float:
        """Turn of her right hand's direction in the table frame: text runs along it."""
        return SIDES[self.side]

    def to_dict(self) -> dict[str, Any]:
        """Plain data for the docket's ``table`` key."""
        return {
            "turn": round(self.turn_deg, 6) + 0.0,
            "at": [round(self.at[0], 4) + 0.0, round(self.at[1], 4) + 0.0],
            "mirror": self.mirror,
            "side": self.side,
        }

    @classmethod
    def from_dict(cls, data: Any, where: str) -> View:
        """A view from the docket's ``table: {view: …}``.

        Raises:
            InputError: every fault of it.
        """
        from configs.reader import Reader

        reader = Reader(data, key=where, remedy="Take it out to begin anew.")
        reader.done()
        reader.only(_KEYS)
        turn = reader.number("turn", 0.0, -1e6, 1e6, "an angle in degrees")
        x, y = reader.point("at", 1e7) if reader.has("at") else (0.0, 0.0)
        mirror, side = reader.flag("mirror"), reader.word("side", SIDES, "near")
        reader.done()
        return cls(turn, (x, y), mirror, side)


def rigid(turn_deg: float, at: tuple[float, float], mirror: bool = False) -> Array:
    """(3, 3) turn (and mirror y before it), then move; exact at quarter turns."""
    quarter = round(turn_deg / 90.0)
    if abs(turn_deg - 90.0 * quarter) < 1e-12:
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[quarter % 4]
    else:
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    flip = -1.0 if mirror else 1.0
    return np.array([[c, -s * flip, at[0]], [s, c * flip, at[1]], [0.0, 0.0, 1.0]])


def default_view(
    beam_mm: Array, used_mm: tuple[float, float, float, float], *, side: str = "near"
) -> View:
    """The view when she has not set one: the cloth's length along the beam's longer axis.

    The used part of the cloth is centred in the beam; what is longer than the beam begins at
    its edge instead.

    Args:
        beam_mm: (N, 2) beam outline on the table, counter-clockwise.
        used_mm: x0, y0, x1, y1 of the used part, cloth mm.
    """
    from_corner = _minimum_box(beam_mm)
    turn, middle, long_mm, short_mm = from_corner
    x0, y0, x1, y1 = used_mm
    cx, cy = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
    if x1 - x0 > long_mm:
        cx = x0 + 0.5 * long_mm - 20.0  # a hand's breadth less: the cloth's end stays in sight
    if y1 - y0 > short_mm:
        cy = y0 + 0.5 * short_mm - 20.0
    a = rigid(turn, (0.0, 0.0))
    at = middle - a[:2, :2] @ np.array([cx, cy])
    return View(turn, (float(at[0]), float(at[1])), False, side)


def _minimum_box(beam: Array) -> tuple[float, Array, float, float]:
    """Direction (degrees, within a quarter turn of +x), middle, length and breadth of the beam.

    The direction is the mean of the two long sides: under keystone neither alone is the axis.
    """
    n = len(beam) // 4
    corner = beam[[0, n, 2 * n, 3 * n]]
    along = (corner[1] - corner[0]) + (corner[2] - corner[3])
    across = (corner[2] - corner[1]) + (corner[3] - corner[0])
    axis = along if np.hypot(*along) >= np.hypot(*across) else across
    if axis[0] < -1e-9 * np.hypot(*axis) or (
        abs(axis[0]) <= 1e-9 * np.hypot(*axis) and axis[1] < 0
    ):
        axis = -axis
    turn = math.degrees(math.atan2(axis[1], axis[0]))
    if abs(turn - 90.0 * round(turn / 90.0)) < 1e-6:
        turn = 90.0 * round(turn / 90.0)
    middle = corner.mean(axis=0)
    length = float(max(np.hypot(*along), np.hypot(*across)) / 2.0)
    breadth = float(min(np.hypot(*along), np.hypot(*across)) / 2.0)
    return turn, middle, length, breadth
