"""The words and the tables of numbers beside a step's picture."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from configs.units import format_length
from drafting.figures.drawing import GREY, INK, STRONG_SHARE, TAPE, Stroke, Writing, text_lines
from drafting.sheet import Step
from drafting.steps.board import PANEL_MM, PICTURE_MM, Board, Spot
from drafting.steps.lines import Standing, rows_of


def write_words(
    board: Board, standing: Standing, step: Step, number: int, of: int, unit: str
) -> float:
    """Title, sentence, sums and table; the height at which they end."""
    which = {"both": "front and back"}.get(step.piece, step.piece)
    y = head_words(board, f"{number} of {of}", step.title, step.text, step.sums, which)
    left = PICTURE_MM[0] + 4.0
    return _table(board, rows_of(standing, step), left, y + 2.5, PANEL_MM[0] - left, unit)


def head_words(
    board: Board, count: str, title: str, text: str, sums: Iterable[str], which: str
) -> float:
    """Count, title, sentence and sums, from the top of the right column; where they end."""
    left = PICTURE_MM[0] + 4.0
    width = PANEL_MM[0] - left
    out = board.writings
    y = 6.0
    out.append(Writing((left, y), count, 3.0, colour=GREY, bare=True))
    out.append(Writing((PANEL_MM[0], y), which, 3.0, "end", GREY, bare=True))
    y += 7.0
    for line in text_lines(title, 5.0, width - STRONG_SHARE * 5.0, board.measure):
        out.append(Writing((left, y), line, 5.0, strong=True, bare=True))
        y += 6.2
    y += 0.8
    for line in text_lines(text, 3.7, width, board.measure):
        out.append(Writing((left, y), line, 3.7, bare=True))
        y += 4.9
    y += 1.2
    for sum_line in sums:
        for i, line in enumerate(text_lines(sum_line, 3.4, width - 3.0, board.measure)):
            out.append(Writing((left + (3.0 if i else 0.0), y), line, 3.4, colour=TAPE, bare=True))
            y += 4.4
    return y


_COLUMN_GAP_MM = 3.0


def right_ends(
    board: Board, right: float, cells: list[list[str]], size: float, heads: tuple[str, ...]
) -> list[float]:
    """Right edges of columns of numbers from their widest texts, or their heads.

    ``cells``: rows of texts; ``heads``: one over each column, ending where it ends.
    """
    wide = [max(board.measure(row[k], size) for row in cells) for k in range(len(cells[0]))]
    edges = [0.0] * len(wide)
    for k in range(len(wide) - 1, -1, -1):
        edges[k] = right
        right -= max(wide[k], board.measure(heads[k], _HEAD_MM)) + _COLUMN_GAP_MM
    return edges


_HEAD_MM = 2.6


def sheet_unit(unit: str) -> str:
    """The one unit of a sheet: hers, where it is one for pages."""
    return unit if unit in ("in", "cm", "mm") else "cm"


def _table(
    board: Board, rows: list[tuple[str, Spot]], left: float, y: float, width: float, unit: str
) -> float:
    """Each place from the centre line and from the top line, in her unit."""
    if not rows:
        return y
    size, high = 2.8, 3.8
    own = sheet_unit(unit)
    cells = [[_number(x, own, below=False), _number(-up, own, below=True)] for _, (x, up) in rows]
    heads = ("from the centre", "below top line")
    columns = right_ends(board, left + width, cells, size, heads)
    if y + high * (len(rows) + 2) > PANEL_MM[1]:
        high = max(3.0, (PANEL_MM[1] - y) / (len(rows) + 2))
    names = [name for name, _ in rows]
    return rows_of_numbers(board, left, y, names, cells, columns, heads, own, size, high)


def rows_of_numbers(
    board: Board, left: float, y: float, names: list[str], cells: list[list[str]],
    columns: list[float], heads: tuple[str, ...], unit: str, size: float, high: float,
) -> float:  # fmt: skip
    """A table with a head over each column; the height at which it ends."""
    out = board.writings
    for pair, head in enumerate(heads):
        out.append(Writing((columns[pair], y), head, _HEAD_MM, "end", GREY, bare=True))
    y += 3.7
    for right in columns:
        out.append(Writing((right, y), unit, _HEAD_MM, "end", GREY, bare=True))
    y += 1.2
    board.strokes.append(Stroke(np.array([(left, y), (columns[-1], y)]), "old"))
    y += high - 0.6
    first = min(columns[0] - board.measure(row[0], size) for row in cells)
    longest = max(board.measure(name, size) for name in names)
    fitted = size * min(1.0, (first - left - 1.5) / longest) if longest > 0 else size
    for name, row in zip(names, cells, strict=True):
        out.append(Writing((left, y), name, max(1.7, fitted), bare=True))
        for right, text in zip(columns, row, strict=True):
            if text:
                out.append(Writing((right, y), text, size, "end", INK, bare=True))
        y += high
    return y


def _number(mm: float, unit: str, below: bool) -> str:
    """A length without its unit; above the top line it says so."""
    text = format_length(abs(mm), unit).removesuffix(f" {unit}")
    zero = text.strip("0.") == ""
    return f"{text} up" if below and mm < 0 and not zero else text
