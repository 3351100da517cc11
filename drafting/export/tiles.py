"""Pieces on the joined paper, and which of its tiles show them.

Between packing and printing. All is mm on the joined paper, x right, y down; nothing is drawn
here. Signs on the joints are kept off the pattern's lines, so both sheets of a joint ask here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from drafting.export.marks import CUTTING, Box, Label, MarkWords, Shown, Stroke, mark_words
from drafting.export.packing import Grid, Spot
from drafting.outline import Points
from drafting.piece import Piece

COVER_MM = (190.0, 232.0)  # of the test squares and words, where they share a sheet with pieces
DIAMOND_MM = 4.0  # half of a registration mark


@dataclass(frozen=True)
class Laid:
    """A piece where it lies on the joined paper, everything already in its frame (y down)."""

    piece: Piece
    drawn: tuple[Stroke, ...]
    label: Label  # its centre and its turn as they lie on the paper
    words: tuple[MarkWords, ...]  # beside the marks; turned as the piece is
    turned: bool

    @cached_property
    def box(self) -> tuple[Points, Points]:
        """Near and far corner (2,) of all that is drawn of it."""
        points = np.vstack([s.points for s in self.drawn])
        return points.min(axis=0), points.max(axis=0)


def laid_on(one: Shown, box: Box, spot: Spot, label: Label) -> Laid:
    """The piece's strokes in the frame of the joined paper: x right, y down, mm."""
    left, _, right, high = box
    corner = np.array([spot.x, spot.y])

    def place(points: Points) -> Points:
        x, y = points.T
        if spot.turned:  # a quarter counter-clockwise: (x, y) → (−y, x), then y down
            return np.asarray(np.column_stack([high - y, right - x]) + corner)
        return np.asarray(np.column_stack([x - left, high - y]) + corner)

    moved = tuple(Stroke(s.kind, s.name, place(s.points), s.closed, s.on_fold) for s in one.drawn)

    def spot_of(at: tuple[float, float]) -> tuple[float, float]:
        x, y = place(np.array([at]))[0]
        return float(x), float(y)

    turn = label.turn_deg + (90.0 if spot.turned else 0.0)
    turn -= 180.0 if turn > 90.0 + 1e-6 else 0.0  # never upside down
    label = replace(label, centre=spot_of(label.centre), turn_deg=turn)
    words = tuple(replace(w, at=spot_of(w.at)) for w in mark_words(one.piece))
    return Laid(one.piece, moved, label, words, spot.turned)


def sheets_showing(laid: Sequence[Laid], grid: Grid, cover: bool) -> tuple[tuple[int, int], ...]:
    """The sheets (row, column) that show any of a piece, row by row; ``cover``: also the cover's."""
    import shapely

    shapes = [shapely.Polygon(s.points) for p in laid for s in p.drawn if s.kind == CUTTING]
    if cover:
        shapes.append(shapely.box(0, 0, *COVER_MM))
    whole = shapely.unary_union(shapes).buffer(0.5)
    left, top, right, bottom = whole.bounds
    out = []
    for r, c in sorted(grid.sheets(max(left, 0), max(top, 0), right - 0.5, bottom - 0.5)):
        x, y = c * grid.step_x, r * grid.step_y
        # what only lies in an overlap is on the neighbour too
        left, top = x + (grid.overlap if c else 0.0), y + (grid.overlap if r else 0.0)
        if whole.intersects(shapely.box(left, top, x + grid.width, y + grid.height)):
            out.append((r, c))
    return tuple(out)


@dataclass(frozen=True)
class Clear:
    """Finds places on the joined paper that no line of the pattern crosses."""

    laid: tuple[Laid, ...]

    @cached_property
    def lines(self) -> Any:
        """Everything drawn of the pieces, on the joined paper, as one shapely geometry."""
        import shapely

        return shapely.union_all(
            [shapely.LineString(s.inked) for p in self.laid for s in p.drawn if len(s.points) > 1]
        )

    def diamonds_along(self, start: Points, run: tuple[float, float]) -> list[float]:
        """Where two diamonds stand on a joint that begins at ``start`` (2,) on the joined paper
        and is ``run`` long: near its quarters, clear of the pattern's lines. The running
        coordinate, so that both sheets of the joint put them in one place."""
        import shapely

        axis = 0 if run[0] else 1
        length = run[axis]
        out = []
        for part in (0.25, 0.75):
            best = (-1.0, 0.0)
            for off in outward(0.2 * length, 5.0):
                at = start.copy()
                at[axis] += part * length + off
                clear = min(float(self.lines.distance(shapely.Point(at))), 2.0 * DIAMOND_MM)
                if clear > best[0] + 1e-6:
                    best = (clear, float(at[axis]))
            out.append(best[1])
        return out

    def clearest(
        self, spots: Sequence[Points], wide: float, size: float, corner: Points
    ) -> tuple[float, float]:
        """The first of some places (2,) on a page where words ``wide`` mm of ``size`` mm cross no
        line, or the fewest; ``corner``: (2,) page → joined paper."""
        import shapely

        best, least = spots[0], math.inf
        for at in spots:
            x, y = at + corner
            box = shapely.box(x - 1, y - size - 0.5, x + wide + 1, y + 0.3 * size + 0.5)
            crossed = float(self.lines.intersection(box).length)
            if crossed < least - 1e-9:
                best, least = at, crossed
            if not crossed:
                break
        return float(best[0]), float(best[1])


def outward(reach: float, step: float) -> list[float]:
    """0, then steps to both sides of it, the nearest first, up to ``reach``."""
    return [0.0, *(sign * i * step for i in range(1, int(reach / step) + 1) for sign in (1, -1))]
