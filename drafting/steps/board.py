"""A board to draw a step on: strokes and writings in panel mm, with room kept for text."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from configs.errors import InputError
from drafting.figures.drawing import (
    INK,
    STRONG_SHARE,
    TAPE,
    Colour,
    Drawing,
    Measure,
    Points,
    Stroke,
    Writing,
    svg_width,
)
from drafting.outline import points_along, polyline_length
from drafting.sheet import Step

PANEL_MM = (182.0, 124.0)  # two on an A4 or Letter page
PICTURE_MM = (98.0, 124.0)
LEFT_MM = PICTURE_MM[0] + 4.0  # where the words beside a picture begin
MARGINS_MM = (17.0, 15.0, 6.0, 6.0)  # left (for upright dimensions), right, top, bottom
SCALES = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30)
NAME_MM, _DIMENSION_MM, LEVEL_MM = 3.0, 2.8, 2.5
SAME_MM = 0.5  # nearer than this two heights are one height on paper
Spot = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Panel:
    """One step, drawn: ``key`` and ``title`` of the step, its number, the drawing."""

    key: str
    number: int
    title: str
    drawing: Drawing


@dataclass
class Board:
    """Strokes and writings in panel mm, and a raster of what is taken, to keep text legible."""

    origin: Spot
    scale: float
    size: Spot
    strokes: list[Stroke] = field(default_factory=list)
    writings: list[Writing] = field(default_factory=list)
    is_inset: bool = False
    measure: Measure = svg_width

    def __post_init__(self) -> None:
        self.taken = np.zeros((math.ceil(self.size[1] * 2), math.ceil(self.size[0] * 2)))

    def put(self, points: Any) -> Points:
        """Piece mm (N, 2) → panel mm."""
        p = np.atleast_2d(np.asarray(points, dtype=np.float64))
        return np.asarray(np.array(self.origin) + p * np.array([self.scale, -self.scale]))

    def draw(self, points: Points, pen: str, weight: float, closed: bool = False) -> None:
        """A stroke in panel mm; ``weight``: how much text should keep off it."""
        self.strokes.append(Stroke(points, pen, closed))
        cells = 2 * points_along(points, np.arange(0.0, polyline_length(points), 0.4))[:, ::-1]
        inside = ((cells >= 0) & (cells < self.taken.shape)).all(axis=1)
        rows, columns = cells[inside].astype(int).T
        np.add.at(self.taken, (rows, columns), weight)

    def take(self, x0: float, y0: float, x1: float, y1: float, weight: float) -> None:
        rows, columns = self._cells(x0, y0, x1, y1)
        self.taken[rows, columns] += weight

    def _cells(self, x0: float, y0: float, x1: float, y1: float) -> tuple[slice, slice]:
        def clip(v: float, most: int) -> int:
            return int(min(max(v, 0.0), most))

        height, width = self.taken.shape
        return (
            slice(clip(y0 * 2, height), clip(y1 * 2 + 1, height)),
            slice(clip(x0 * 2, width), clip(x1 * 2 + 1, width)),
        )

    def write(self, text: Writing) -> None:
        """Text at its place; its box is taken."""
        self.writings.append(text)
        self.take(*self.box(text), 30.0)

    def say(
        self, x: float, y: float, text: str, size: float, anchor: str = "start",
        colour: Colour = INK, strong: bool = False,
    ) -> None:  # fmt: skip
        """Text beside the picture, where nothing else is."""
        self.writings.append(Writing((x, y), text, size, anchor, colour, strong=strong, bare=True))

    def box(self, text: Writing) -> tuple[float, float, float, float]:
        wide, high = self.measure(text.text, text.size_mm), 0.75 * text.size_mm
        wide += STRONG_SHARE * text.size_mm if text.strong else 0.0
        x, y = text.at
        left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[text.anchor]
        if text.turn_deg:  # upright, read from the right
            return x - high, y - left - wide, x, y - left
        return x + left, y - high, x + left + wide, y + 0.2 * text.size_mm

    def crowding(self, text: Writing) -> float:
        """How much lies under a text, and how far it would leave the board."""
        x0, y0, x1, y1 = self.box(text)
        rows, columns = self._cells(x0, y0, x1, y1)
        beyond = max(0.0, -x0) + max(0.0, x1 - self.size[0])
        beyond += max(0.0, -y0) + max(0.0, y1 - self.size[1])
        return float(self.taken[rows, columns].sum()) + 200.0 * beyond

    def label(
        self,
        at: Points,
        text: str,
        size: float,
        colour: Colour,
        strong: bool,
        gap_mm: float = 1.6,
        not_towards: str = "",
    ) -> None:
        """A name beside a point (2,), ``gap_mm`` off or more, where the least lies under it.

        ``not_towards``: 'left' or 'right' where a near neighbour's name belongs.
        """
        barred = {"left": "end", "right": "start"}.get(not_towards, "")
        places = []
        for gap in (gap_mm, gap_mm + 1.4, gap_mm + 3.4, gap_mm + 6.4):
            low, mid = gap + 0.75 * size, 0.3 * size
            places += [
                (gap, -gap * 0.6, "start"), (-gap, -gap * 0.6, "end"), (gap, low, "start"),
                (-gap, low, "end"), (0.0, -gap, "middle"), (0.0, low, "middle"),
                (gap, mid, "start"), (-gap, mid, "end"),
            ]  # fmt: skip
        tried = [
            Writing((at[0] + dx, at[1] + dy), text, size, anchor, colour, strong=strong)
            for dx, dy, anchor in places
            if anchor != barred
        ]
        per_gap = len(tried) // 4
        # farther places come later and must be clearly freer
        best = min(range(len(tried)), key=lambda i: self.crowding(tried[i]) + 6.0 * (i // per_gap))
        self.write(tried[best])
        if best >= 2 * per_gap:
            self.strokes.append(Stroke(np.array([at, tried[best].at]), "old"))

    def panel(self, key: str, number: int, title: str) -> Panel:
        """What stands on the board, as one step."""
        drawing = Drawing(*PANEL_MM, tuple(self.strokes), tuple(self.writings))
        return Panel(key, number, title, drawing)

    # --- dimension lines ----------------------------------------------------------------------

    def dimension(self, a: Points, b: Points, offset: Spot, text: str) -> None:
        """A dimension line between two panel points, set off by ``offset``, with its number."""
        shift = np.array(offset)
        p, q = a + shift, b + shift
        length = float(np.hypot(*(q - p)))
        if length < 1e-6:
            return
        direction = (q - p) / length
        reach = shift * (1 + 1.0 / max(float(np.hypot(*shift)), 1.0))
        if np.hypot(*shift) > 0.1:
            for end in (a, b):
                self.draw(np.stack([end + 0.25 * shift, end + reach]), "measure", 1.0)
        wide, middle = self.measure(text, _DIMENSION_MM), 0.5 * (p + q)
        upright = abs(direction[1]) > abs(direction[0])
        if length > wide + 5.0:
            self.draw(np.stack([p, q]), "measure", 4.0)
            self.arrow(p, -direction)
            self.arrow(q, direction)
            x, y, turn = (1.0, 0.0, 90.0) if upright else (0.0, 1.0, 0.0)
            at = (middle[0] + x, middle[1] + y)
            self.write(Writing(at, text, _DIMENSION_MM, "middle", TAPE, turn))
            return
        # too short for its number: arrows from outside, the number where there is room
        self.draw(np.stack([p - 3.2 * direction, p]), "measure", 4.0)
        self.draw(np.stack([q, q + 3.2 * direction]), "measure", 4.0)
        self.arrow(p, direction)
        self.arrow(q, -direction)
        places = (
            [(1.4, 1.0, "start"), (-1.4, 1.0, "end"), (1.4, 4.0, "start"), (1.4, -2.0, "start")]
            if upright
            else [
                (length / 2 + 3.8, 1.0, "start"), (-length / 2 - 3.8, 1.0, "end"),
                (0.0, 4.2, "middle"), (0.0, -2.0, "middle"),
            ]
        )  # fmt: skip
        tried = [
            Writing((middle[0] + dx, middle[1] + dy), text, _DIMENSION_MM, anchor, TAPE)
            for dx, dy, anchor in places
        ]
        self.write(min(tried, key=self.crowding))

    def arrow(self, tip: Points, direction: Points) -> None:
        side = 0.45 * np.array([-direction[1], direction[0]])
        back = tip - 1.7 * direction
        self.strokes.append(Stroke(np.stack([tip, back + side, back - side]), "arrow", True))


def extent_of(steps: Iterable[Step]) -> tuple[float, float, float, float]:
    """Left, right, bottom, top of everything that any step draws, mm."""
    parts = []
    for step in steps:
        parts += [np.array(list(step.points.values())).reshape(-1, 2)]
        parts += [np.asarray(x) for x in (*step.lines.values(), *step.curves.values())]
    everything = np.vstack([p for p in parts if len(p)])
    if not np.isfinite(everything).all():
        raise InputError.of("steps", "hold a coordinate that is no number.")
    low, high = everything.min(axis=0), everything.max(axis=0)
    return float(min(low[0], 0.0)), float(high[0]), float(low[1]), float(max(high[1], 0.0))


def scale_of(extent: tuple[float, float, float, float]) -> int:
    """The largest round scale, 1 to this, at which the picture fits its place."""
    left, right, bottom, top = extent
    ml, mr, mt, mb = MARGINS_MM
    needed = max(
        (right - left) / (PICTURE_MM[0] - ml - mr), (top - bottom) / (PICTURE_MM[1] - mt - mb)
    )
    return next((s for s in SCALES if s >= needed), math.ceil(needed))


def new_board(extent: tuple[float, float, float, float], one_to: int, measure: Measure) -> Board:
    """A board for what lies in ``extent`` (left, right, bottom, top, mm) at 1 : ``one_to``."""
    left, right, bottom, top = extent
    ml, _, mt, mb = MARGINS_MM
    scale = 1.0 / one_to
    width, height = (right - left) * scale, (top - bottom) * scale
    free = max(0.0, PICTURE_MM[1] - mt - mb - height)
    origin = (ml - left * scale, mt + free / 2 + top * scale)
    board = Board(origin, scale, PICTURE_MM, measure=measure)
    low, high = origin[1] - top * scale - 3.0, origin[1] - bottom * scale + 3.0
    board.strokes.append(Stroke(box_ring(ml, low, ml + width + 3.0, high), "sheet", True))
    return board


def box_ring(x0: float, y0: float, x1: float, y1: float) -> Points:
    """(4, 2) the corners of a box, round from its first."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
