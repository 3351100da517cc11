"""Pieces as small sketches of Braille dots, for a terminal. Frame of the pieces: mm, y up."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from drafting.piece import Piece


def strokes(piece: Piece) -> list[NDArray[np.float64]]:
    """The outline (N, 2) of a piece, opened out, with its marks and darts, mm."""
    import numpy as np

    ring = piece.unfolded()
    lines = [np.concatenate([ring, ring[:1]])]
    inside = [m.points for m in piece.marks]
    inside += [np.array([d.first, d.tip, d.second]) for d in piece.darts]
    for line in inside:
        lines.append(line)
        if piece.fold is not None:
            lines.append(line * (-1.0, 1.0))
    return lines


def in_a_row(pieces: Iterable[Piece]) -> list[NDArray[np.float64]]:
    """The lines of pieces side by side, their tops level, mm."""
    import numpy as np

    lines: list[NDArray[np.float64]] = []
    x = 0.0
    for piece in pieces:
        own = strokes(piece)
        low, high = own[0][:, 0].min(), own[0][:, 0].max()
        move = np.array([x - low, -own[0][:, 1].max()])
        lines += [line + move for line in own]
        x += high - low + 60.0
    return lines


def dots(lines: list[NDArray[np.float64]], columns: int, rows: int) -> list[str]:
    """Polylines as rows of Braille signs, 2 × 4 dots each, to one scale where they fit."""
    import numpy as np

    scale = 4 * rows / 760.0  # dots a mm: a top fills the height, a dress is cut by its own
    points = np.concatenate(lines)
    height = float(np.ptp(points[:, 1]))
    scale = min(scale, (4 * rows - 1) / height, (2 * columns - 1) / float(np.ptp(points[:, 0])))
    top = points[:, 1].max()
    middle = 0.5 * (points[:, 0].max() + points[:, 0].min())
    starts = np.concatenate([line[:-1] for line in lines])
    steps = np.concatenate([np.diff(line, axis=0) for line in lines])
    count = np.maximum(2, (np.hypot(*steps.T) * scale * 3).astype(int))  # spots on each step
    of = np.repeat(np.arange(len(count)), count)
    nth = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    spots = starts[of] + (nth / (count[of] - 1))[:, None] * steps[of]
    x = np.round((spots[:, 0] - middle) * scale + columns - 0.5).clip(0, 2 * columns - 1)
    y = np.round((top - spots[:, 1]) * scale).clip(0, 4 * rows - 1)
    grid = np.zeros((4 * rows, 2 * columns), dtype=bool)
    grid[y.astype(int), x.astype(int)] = True
    bits = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])
    values = (grid.reshape(rows, 4, columns, 2) * bits[:, None]).sum(axis=(1, 3))
    return ["".join(chr(0x2800 + v) if v else " " for v in row) for row in values.tolist()]


def beside(sketches: Sequence[Sequence[str]], names: Sequence[str]) -> list[str]:
    """Sketches side by side, as many in a row as the terminal has room for, names below."""
    width = 2 + max(15, *(len(row) for sketch in sketches for row in sketch), *map(len, names))
    fit = max(1, (shutil.get_terminal_size((96, 24)).columns - 6) // width)
    out = []
    for start in range(0, len(names), fit):
        part = slice(start, start + fit)
        for row in zip(*sketches[part], strict=True):
            text = "".join(r.ljust(width) for r in row).rstrip()
            if text:
                out.append(f"      {text}")
        out.append("      " + "".join(n.ljust(width) for n in names[part]).rstrip())
    return out
