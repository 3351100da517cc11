"""Boxes packed on tiled paper: few sheets, and few pieces cut by a sheet's edge.

Before the PDF is drawn. Pieces are packed by their bounding boxes, in corners and along the
sheets' seams, with a cost counted in paper; small and quick, since paper is cheap and time at the
printer is not. The cloth's planner is another matter (`drafting.lay`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

MAX_COLUMNS = 8


@dataclass(frozen=True)
class Grid:
    """Sheets side by side: ``width`` × ``height`` mm drawn on each, ``overlap`` mm shared.

    Sheet (row, column) shows x from column·step_x to that + width, y likewise (y down).
    """

    width: float
    height: float
    overlap: float

    @property
    def step_x(self) -> float:
        """From one column to the next, mm."""
        return self.width - self.overlap

    @property
    def step_y(self) -> float:
        """From one row to the next, mm."""
        return self.height - self.overlap

    def sheets(self, x0: float, y0: float, x1: float, y1: float) -> set[tuple[int, int]]:
        """(row, column) of every sheet needed to show a box whole, with no sheet too many.

        What lies in an overlap is shown on two sheets, so one of them is enough for it.
        """
        return {
            (r, c)
            for r in _needed(y0, y1, self.step_y, self.overlap)
            for c in _needed(x0, x1, self.step_x, self.overlap)
        }


def _needed(low: float, high: float, step: float, overlap: float) -> range:
    first = max(0, math.floor(low / step + 1e-9))
    last = max(first, math.ceil((high - overlap) / step - 1e-9) - 1)
    return range(first, last + 1)


@dataclass(frozen=True)
class Spot:
    """Where a box lies: ``x``, ``y`` of its near corner, mm; ``turned`` by a quarter."""

    x: float
    y: float
    turned: bool


def pack(
    sizes: Sequence[tuple[float, float]],
    grid: Grid,
    gap: float,
    columns: int | None = None,
    first: int = 0,
) -> list[Spot]:
    """Places for boxes of ``sizes`` (width, height) mm, at least ``gap`` apart.

    ``columns``: how many sheets wide; tried from 1 up when None. The first ``first`` boxes keep
    their order and stay upright, at the top (a test square that belongs on the first sheet).
    """
    best: tuple[tuple[float, ...], list[Spot]] | None = None
    for n in range(1, MAX_COLUMNS + 1) if columns is None else (columns,):
        spots = _pack_wide(sizes, grid, gap, n, first)
        if spots is None:
            continue
        own = sheets_of(spots, sizes, grid)
        sheets, cut = set[tuple[int, int]]().union(*own), sum(map(len, own))
        rows = 1 + max(r for r, _ in sheets)
        cost = (float(len(sheets)), float(cut), float(abs(n - rows)))
        if best is None or cost < best[0]:
            best = (cost, spots)
    if best is None:  # wider than the widest: one below the other, as many columns as needed
        return _stack(sizes, gap)
    return best[1]


def sheets_of(
    spots: Sequence[Spot], sizes: Sequence[tuple[float, float]], grid: Grid
) -> list[set[tuple[int, int]]]:
    """(row, column) of the sheets that each box takes."""
    turned = [size[::-1] if s.turned else size for s, size in zip(spots, sizes, strict=True)]
    return [
        grid.sheets(s.x, s.y, s.x + w, s.y + h) for s, (w, h) in zip(spots, turned, strict=True)
    ]


def _stack(sizes: Sequence[tuple[float, float]], gap: float) -> list[Spot]:
    spots, y = [], 0.0
    for _, h in sizes:
        spots.append(Spot(0.0, y, False))
        y += h + gap
    return spots


def _pack_wide(
    sizes: Sequence[tuple[float, float]], grid: Grid, gap: float, columns: int, first: int
) -> list[Spot] | None:
    """Largest first, each where it needs the least paper; None when a box is too wide."""
    width = columns * grid.step_x + grid.overlap
    rest = sorted(range(first, len(sizes)), key=lambda i: (-max(sizes[i]), -min(sizes[i]), i))
    order = [*range(first), *rest]
    placed: dict[int, tuple[float, float, float, float]] = {}
    spots: dict[int, Spot] = {}
    used: set[tuple[int, int]] = set()
    for i in order:
        best: tuple[tuple[float, ...], Spot, tuple[float, float, float, float]] | None = None
        for turned in (False,) if i < first else (False, True):
            w, h = sizes[i][::-1] if turned else sizes[i]
            if w > width + 1e-6:
                continue
            for x, y in _corners(placed.values(), grid, gap, columns):
                box = (x, y, x + w, y + h)
                if box[2] > width + 1e-6 or any(
                    _clash(box, other, gap) for other in placed.values()
                ):
                    continue
                sheets = grid.sheets(*box)
                # paper first, then joints through the piece, then short, then upright
                cost = (float(len(sheets - used)), float(len(sheets)), y + h, float(turned), x)
                if best is None or cost < best[0]:
                    best = (cost, Spot(x, y, turned), box)
        if best is None:
            return None
        spots[i], placed[i] = best[1], best[2]
        used |= grid.sheets(*best[2])
    return [spots[i] for i in range(len(sizes))]


def _corners(
    placed: Iterable[tuple[float, float, float, float]], grid: Grid, gap: float, columns: int
) -> list[tuple[float, float]]:
    """Places worth trying: sheets' edges and the far sides of boxes, in both directions."""
    boxes = list(placed)
    rows = 1 + max((math.ceil(b[3] / grid.step_y) for b in boxes), default=0)
    xs = {0.0, *(b[2] + gap for b in boxes), *(c * grid.step_x for c in range(columns))}
    ys = {0.0, *(b[3] + gap for b in boxes), *(r * grid.step_y for r in range(rows + 1))}
    return [(x, y) for y in sorted(ys) for x in sorted(xs)]


def _clash(
    a: tuple[float, float, float, float], b: tuple[float, float, float, float], gap: float
) -> bool:
    slack = gap - 1e-6
    return (
        a[0] < b[2] + slack and b[0] < a[2] + slack and a[1] < b[3] + slack and b[1] < a[3] + slack
    )
