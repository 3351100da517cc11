"""Strip: figures and buttons along her edge, or the small handle that it shrinks to."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from drafting.placement import Array, carry
from projector.lettering import text_strokes, text_width
from projector.picture.buttons import GAP_MM, Button, Buttons, length_of, rounded, wide
from projector.picture.edge import MARGIN_MM, along_edge
from projector.picture.marks import Item, Mark, polyline
from projector.picture.pages import cut_to, wrapped
from projector.picture.stage import Stage

_FIGURES_MM = 9.0  # capitals of the strip's figures
_ROW_MM = 18.0  # of a row of them
_MOST_ROWS = 4
_MOST_HANDLE_ROWS = 5
_HANDLE_MM = 300.0  # a longer line is broken on the handle
_TALL_MM = 46.0  # of the strip's row of buttons
_FOOT_MM = 4.0  # round it
_SLOT_MM = 12.0
MOST_MM = _TALL_MM + _MOST_ROWS * _ROW_MM + 5.0  # how high it may become


@dataclass(frozen=True, eq=False)
class Strip:
    """The strip along her edge: its item, its ground (N, 2) mm, and where its buttons lie.

    ``buttons``: action → (4, 2) mm on the table; ``rows``: of figures that have room, at most
    ``most_rows``; ``small``: the handle that it shrinks to where there is no room for it; ``far``: along the edge
    across the table.
    """

    item: Item
    ground_mm: Array
    buttons: dict[str, Array]
    tall_mm: float
    length_mm: float
    rows: int
    most_rows: int
    small: bool = False
    far: bool = False

    def rows_needed(self, lines: Sequence[str]) -> int:
        """How many rows of figures these lines take, at most as many as it may have."""
        return min(self.most_rows, len(_in_rows(tuple(lines), self.length_mm)))

    def figures(self, lines: Sequence[str]) -> list[Figure]:
        """Where its figures stand; few of them change while a piece is moved."""
        out: list[Figure] = []
        laid = _in_rows(tuple(lines), self.length_mm)
        for r, row in enumerate(laid[: self.rows]):
            y = self.tall_mm + 6.5 + (self.rows - 1 - r) * _ROW_MM
            if r == self.rows - 1 and len(laid) > self.rows:  # the help page has the rest
                x, text = row[-1]
                row = (*row[:-1], (x, cut_to(text + " …", _FIGURES_MM, self.length_mm - 6.0 - x)))
            out += [Figure(text, x, y, i == 0) for i, (x, text) in enumerate(row)]
        return out


@dataclass(frozen=True)
class Figure:
    """One of the strip's figures: its words, their place in the strip's frame mm, first in its row."""

    text: str
    x_mm: float
    y_mm: float
    first: bool


def strip_room(stage: Stage, *, far: bool = False) -> Array:
    """(4, 2) table mm: what the strip may cover with as many rows of words as it may have."""
    return _ground(*along_edge(stage, MOST_MM, far=far), far)


def _ground(frame: Array, length: float, height: float, far: bool) -> Array:
    """(4, 2) table mm: a strip's box, down to the beam's edge, and past its corners."""
    m = 2.5 * MARGIN_MM
    low, top = (0.0, height + m) if far else (-m, height)
    return carry(frame, polyline((-m, low), (length + m, low), (length + m, top), (-m, top)))


def strip(
    stage: Stage,
    lines: Sequence[str],
    buttons: Sequence[Button],
    *,
    last: Sequence[Button] = (),
    far: bool = False,
    from_right: bool = False,
) -> Strip:
    """The strip along her edge: figures in as many rows as they take, one row of buttons.

    Buttons that find no room are left out, the last first (the page of everything has them).
    ``last``: at the other end; ``from_right``: begun at her right hand.
    """
    tall = _TALL_MM if buttons else 0.0
    rows = 1 if lines else 0
    while True:  # under keystone a higher strip is a shorter one
        frame, length, height = along_edge(stage, tall + rows * _ROW_MM + 5.0, far=far)
        needed = len(_in_rows(tuple(lines), length))
        if needed <= rows or rows >= _MOST_ROWS:
            break
        rows += 1
    marks, places = _row_of(stage, buttons, last, frame, length, from_right=from_right)
    inner = 0.0 if far else height  # the side towards the work
    marks.append(stage.mark("button", [polyline((0, inner), (length, inner))]))
    item = Item("strip", tuple(m for m in marks if len(m.points)), frame)
    ground = _ground(frame, length, height, far)
    return Strip(item, ground, places, tall, length, rows, _MOST_ROWS, far=far)


def handle(
    stage: Stage,
    lines: Sequence[str],
    buttons: Sequence[Button],
    where: Callable[[tuple[float, float]], Array | None],
    *,
    from_right: bool = False,
) -> Strip:
    """The strip as a small leaf with a few buttons, for a beam that pieces fill.

    ``where``: size mm → (2,) table mm of its lower left corner, or None for her edge's middle.
    """
    tall = _TALL_MM if buttons else 0.0
    longest = max((text_width(line, _FIGURES_MM) for line in lines), default=0.0) + 14.0
    row_mm = 2 * _FOOT_MM + length_of(buttons)
    length = min(max(row_mm, longest), max(row_mm, _HANDLE_MM))
    rows = max(1, min(_MOST_HANDLE_ROWS, len(_in_rows(tuple(lines), length))))
    height = tall + rows * _ROW_MM + 5.0
    at = where((length, height))
    if at is None:
        frame, free, _ = along_edge(stage, height)
        at = carry(frame, np.array([max(0.0, 0.5 * (free - length)), 0.0]))
    frame = stage.reading_frame(at)
    marks, places = _row_of(stage, buttons, (), frame, length, from_right=from_right)
    marks.append(stage.mark("button", [rounded(1.0, 1.0, length - 1.0, height - 1.0, 6.0)]))
    item = Item("strip", tuple(m for m in marks if len(m.points)), frame)
    ground = carry(frame, polyline((0, 0), (length, 0), (length, height), (0, height)))
    return Strip(item, ground, places, tall, length, rows, _MOST_HANDLE_ROWS, small=True)


def _row_of(
    stage: Stage,
    buttons: Sequence[Button],
    last: Sequence[Button],
    frame: Array,
    length: float,
    *,
    from_right: bool,
) -> tuple[list[Mark], dict[str, Array]]:
    """Buttons side by side as far as there is room, ``last`` at the other end: their marks, and
    where each lies (4, 2) mm."""
    row, tall = Buttons(), _TALL_MM - _FOOT_MM
    x = _FOOT_MM
    end = length - _FOOT_MM - (length_of(last) + GAP_MM if last else 0.0)

    def put(button: Button, x: float) -> float:
        return row.put(button, length - x - wide(button) if from_right else x, _FOOT_MM, tall)

    for button in buttons:
        if x + wide(button) > end:
            break
        x += put(button, x) + GAP_MM
    x = end + GAP_MM
    for button in last:
        x += put(button, x) + GAP_MM
    return row.marks(stage), {name: carry(frame, box) for name, box in row.places.items()}


def figure(stage: Stage, figure: Figure, strip: Strip) -> Item:
    """One of the strip's figures as light."""
    x, y = figure.x_mm, figure.y_mm
    strokes = [s + np.array([x, y]) for s in text_strokes(figure.text, _FIGURES_MM)]
    if not figure.first:
        strokes.append(polyline((x - 8.0, y - 0.5), (x - 8.0, y + 9.5)))
    return Item("figure", (stage.mark("text", strokes),), strip.item.table_from_item)


@lru_cache(maxsize=64)
def _in_rows(lines: tuple[str, ...], length_mm: float) -> tuple[tuple[tuple[float, str], ...], ...]:
    """Figures side by side in rows: (x mm, text) each; none is left out or split needlessly."""
    rows: list[list[tuple[float, str]]] = [[]]
    x = 6.0
    for line in lines:
        width = text_width(line, _FIGURES_MM)
        if rows[-1] and x + width > length_mm - 6.0:
            rows.append([])
            x = 6.0
        if x + width <= length_mm - 6.0:
            rows[-1].append((x, line))
            # in steps, so that a figure that changes leaves its neighbours where they stand
            x += _SLOT_MM * math.ceil((width + 16.0) / _SLOT_MM)
            continue
        for part in wrapped(line, _FIGURES_MM, length_mm - 12.0):  # longer than a whole row
            if rows[-1]:
                rows.append([])
            rows[-1].append((6.0, part))
            x = 22.0 + text_width(part, _FIGURES_MM)
    return tuple(tuple(row) for row in rows if row)
