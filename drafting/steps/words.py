"""The words and the tables of numbers beside a step's picture."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from configs.units import format_length
from drafting.figures.drawing import GREY, STRONG_SHARE, TAPE, Stroke, text_lines
from drafting.sheet import Step
from drafting.steps.board import LEFT_MM, PANEL_MM, Board, Spot
from drafting.steps.lines import Standing, rows_of


def write_words(
    board: Board, standing: Standing, step: Step, number: int, of: int, unit: str
) -> float:
    """Title, sentence, sums and table; the height at which they end."""
    which = {"both": "front and back"}.get(step.piece, step.piece)
    y = head_words(board, f"{number} of {of}", step.title, step.text, step.sums, which)
    return _table(board, rows_of(standing, step), y + 2.5, unit)


def head_words(
    board: Board, count: str, title: str, text: str, sums: Iterable[str], which: str
) -> float:
    """Count, title, sentence and sums, from the top of the right column; where they end."""
    width = PANEL_MM[0] - LEFT_MM
    y = 6.0
    board.say(LEFT_MM, y, count, 3.0, colour=GREY)
    board.say(PANEL_MM[0], y, which, 3.0, "end", GREY)
    y += 7.0
    for line in text_lines(title, 5.0, width - STRONG_SHARE * 5.0, board.measure):
        board.say(LEFT_MM, y, line, 5.0, strong=True)
        y += 6.2
    y += 0.8
    for line in text_lines(text, 3.7, width, board.measure):
        board.say(LEFT_MM, y, line, 3.7)
        y += 4.9
    y += 1.2
    for sum_line in sums:
        for i, line in enumerate(text_lines(sum_line, 3.4, width - 3.0, board.measure)):
            board.say(LEFT_MM + (3.0 if i else 0.0), y, line, 3.4, colour=TAPE)
            y += 4.4
    return y


_COLUMN_GAP_MM = 3.0
_HEAD_MM = 2.6


def sheet_unit(unit: str) -> str:
    """The one unit of a sheet: hers, where it is one for pages."""
    return unit if unit in ("in", "cm", "mm") else "cm"


def _table(board: Board, rows: list[tuple[str, Spot]], y: float, unit: str) -> float:
    """Each place from the centre line and from the top line, in her unit."""
    if not rows:
        return y
    own, high = sheet_unit(unit), 3.8
    cells = [[_number(x, own, below=False), _number(-up, own, below=True)] for _, (x, up) in rows]
    if y + high * (len(rows) + 2) > PANEL_MM[1]:
        high = max(3.0, (PANEL_MM[1] - y) / (len(rows) + 2))
    heads = ("from the centre", "below top line")
    return rows_of_numbers(board, y, [name for name, _ in rows], cells, heads, own, 2.8, high)


def rows_of_numbers(
    board: Board, y: float, names: list[str], cells: list[list[str]], heads: tuple[str, ...],
    unit: str, size: float, high: float,
) -> float:  # fmt: skip
    """A table with a head over each column, as wide as its widest text or its head; the height at which
    it ends. ``cells``: rows of texts."""
    columns: list[float] = []
    right = PANEL_MM[0]
    for column, head in zip([*zip(*cells, strict=True)][::-1], heads[::-1], strict=True):
        columns.insert(0, right)
        wide = max(board.measure(text, size) for text in column)
        right -= max(wide, board.measure(head, _HEAD_MM)) + _COLUMN_GAP_MM
    for end, head in zip(columns, heads, strict=True):
        board.say(end, y, head, _HEAD_MM, "end", GREY)
    y += 3.7
    for end in columns:
        board.say(end, y, unit, _HEAD_MM, "end", GREY)
    y += 1.2
    board.strokes.append(Stroke(np.array([(LEFT_MM, y), (columns[-1], y)]), "old"))
    y += high - 0.6
    first = min(columns[0] - board.measure(row[0], size) for row in cells)
    longest = max(board.measure(name, size) for name in names)
    fitted = size * min(1.0, (first - LEFT_MM - 1.5) / longest) if longest > 0 else size
    for name, row in zip(names, cells, strict=True):
        board.say(LEFT_MM, y, name, max(1.7, fitted))
        for end, text in zip(columns, row, strict=True):
            if text:
                board.say(end, y, text, size, "end")
        y += high
    return y


def _number(mm: float, unit: str, below: bool) -> str:
    """A length without its unit; above the top line it says so."""
    text = format_length(abs(mm), unit).removesuffix(f" {unit}")
    zero = text.strip("0.") == ""
    return f"{text} up" if below and mm < 0 and not zero else text
