"""Bays as data: pieces as they lie, crosses, bays, the window of the beam, the plan.

A lay longer or wider than the beam is cut into overlapping parts that are traced in turn. A piece
that lies whole in a bay is traced there alone; what is larger than the beam is traced cell by cell:
the cells share the cloth out without gap, so no line is traced twice. Cloth mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from drafting.placement import Array
from projector.picture.marks import box_of
from projector.picture.view import View

Mask = NDArray[np.bool_]
Box = tuple[float, float, float, float]  # x0, y0, x1, y1
MARGIN_MM = 20.0  # a cloth laid down by hand may be 10 mm and 1° off and its bay is still lit
OVERLAP_MM = 120.0
CROSS_ARM_MM = 12.0
FROM_EDGE_MM = CROSS_ARM_MM + 6.0  # of a cross from the rim of both bays and of the cloth
LEAST_CROSSES, MOST_CROSSES = 2, 4
LEAST_WINDOW_MM = 150.0


@dataclass(frozen=True, eq=False)
class Laid:
    """One copy of a piece as it lies: ``key`` (``front/1``), ``outline_mm`` (N, 2) its closed
    cutting line, ``lines_mm`` every line to be traced, the cutting line among them; cloth mm."""

    key: str
    outline_mm: Array
    lines_mm: tuple[Array, ...] = ()

    @property
    def box(self) -> Box:
        """x0, y0, x1, y1 of all its lines."""
        return box_of(np.vstack([self.outline_mm, *self.lines_mm]))

    def runs(self) -> list[Array]:
        """Its lines as open runs, the outline closed by repeating its first point."""
        return [np.vstack([self.outline_mm, self.outline_mm[:1]]), *self.lines_mm]


@dataclass(frozen=True)
class Cross:
    """A cross to chalk: ``label``, ``at`` (x, y) cloth mm, half length ``arm_mm`` of its strokes;
    ``on_piece``: it lies on a piece."""

    label: str
    at: tuple[float, float]
    on_piece: bool = False
    arm_mm: float = CROSS_ARM_MM


@dataclass(frozen=True)
class Bay:
    """One part of the lay.

    ``index``: its place in the order, from 0; ``rect``: what the beam covers, cloth mm; ``whole``:
    pieces traced here entirely; ``parts``: pieces traced here inside a box only (cloth mm, open
    sides infinite); ``crosses``: labels pointed at on arrival.
    """

    index: int
    rect: Box
    whole: tuple[str, ...] = ()
    parts: Mapping[str, Box] = field(default_factory=dict)
    crosses: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every piece traced here, whole ones first."""
        return (*self.whole, *self.parts)


@dataclass(frozen=True)
class Window:
    """The rectangle of the beam that a bay may fill, upright to the cloth.

    ``turn_deg``, ``mirror``: how the cloth lies (as in `View`); ``low``, ``high``: its corners in
    the table frame turned back by ``turn_deg``, mm; ``side``: where she stands.
    """

    turn_deg: float
    mirror: bool
    low: tuple[float, float]
    high: tuple[float, float]
    side: str = "near"

    @property
    def size(self) -> tuple[float, float]:
        """Length along the cloth and breadth across it, mm."""
        return self.high[0] - self.low[0], self.high[1] - self.low[1]

    def view(self, rect: Box) -> View:
        """The view that puts the middle of ``rect`` (cloth mm) into the middle of the window."""
        plain = View(self.turn_deg, (0.0, 0.0), self.mirror, self.side)
        a = plain.table_from_cloth[:2, :2]
        turn = View(self.turn_deg).table_from_cloth[:2, :2]
        middle = turn @ (0.5 * (np.array(self.low) + np.array(self.high)))
        at = middle - a @ np.array([0.5 * (rect[0] + rect[2]), 0.5 * (rect[1] + rect[3])])
        return replace(plain, at=(float(at[0]), float(at[1])))


@dataclass(frozen=True)
class BayPlan:
    """The bays in the order of the work, their crosses, and how the cloth lies under the beam.

    ``notes``: what could not be done as it should.
    """

    bays: tuple[Bay, ...]
    crosses: Mapping[str, Cross]
    window: Window
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.bays)

    def view(self, index: int) -> View:
        """How the cloth is meant to lie for this bay, before she has pointed."""
        return self.window.view(self.bays[index].rect)

    def to_chalk(self, index: int) -> tuple[Cross, ...]:
        """Crosses first seen in this bay and wanted later, in the order of their labels."""
        seen = self.bays[:index]
        return tuple(
            c
            for c in self.crosses.values()
            if inside(c.at, self.bays[index].rect, FROM_EDGE_MM - 0.2)
            and not any(inside(c.at, b.rect, FROM_EDGE_MM - 0.2) for b in seen)
        )

    def bay_of(self, key: str) -> tuple[int, ...]:
        """Indices of the bays in which a piece is traced."""
        return tuple(b.index for b in self.bays if key in b.keys)


def common_mm(one: Box, other: Box) -> tuple[float, float]:
    """Length and breadth of what two boxes have in common; below 0: how far they lie apart."""
    return (
        min(one[2], other[2]) - max(one[0], other[0]),
        min(one[3], other[3]) - max(one[1], other[1]),
    )


def inside(at: Sequence[float] | Array, box: Box, by: float = 0.0) -> bool:
    """Whether a place lies in a box, at least ``by`` mm from its rim."""
    return bool(box[0] + by <= at[0] <= box[2] - by and box[1] + by <= at[1] <= box[3] - by)
