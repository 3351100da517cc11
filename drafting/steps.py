"""The construction as a sequence of pictures with the numbers worked out for her body.

After `drafting.blocks`, whose recorded steps it draws: what is new stands strong, what stood
before is light; each new point has its name and its distance, and a table gives every new point
and a few points of every new curve in both units, enough to draft with a pencil. One PDF, or an
SVG for each step. Piece frame in (mm, x from the centre line, y up from the top line).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from configs.errors import Fault, InputError
from configs.units import format_length
from drafting.blocks import Draft
from drafting.figures.drawing import (
    GREY,
    INK,
    PALE,
    STRONG_SHARE,
    TAPE,
    Colour,
    Drawing,
    Measure,
    Points,
    Stroke,
    Writing,
    circle,
    clipped,
    svg_width,
    text_lines,
    to_pdf,
    to_svg,
)
from drafting.sheet import Step
from drafting.truing import sewn_length

PANEL_MM = (182.0, 124.0)  # two on an A4 or Letter page
_PICTURE_MM = (98.0, 124.0)
_MARGINS_MM = (17.0, 15.0, 6.0, 6.0)  # left (for upright dimensions), right, top, bottom
_SCALES = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30)
_NAME_MM, _DIMENSION_MM, _LEVEL_MM = 3.0, 2.8, 2.5
_INSET_LEAST_MM, _INSET_MOST_MM = 28.0, 64.0
_SAME_MM = 0.5  # nearer than this two heights are one height on paper
_CLOSE_ON_PAPER_MM = 14.0
_CORNER_DEG = 25.0  # a sharper turn is a corner of its own and stands in the table
_STRAIGHT_MM = 0.4
# A curve is given at equal parts between its ends, more where it turns much: a smooth pencil
# line through the dots then stays within 2 mm of the true one.
_CURVE_PARTS, _TURNING_PARTS, _MUCH_DEG = 4, 6, 70.0

Spot = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Panel:
    """One step, drawn: ``key`` and ``title`` of the step, its number, the drawing."""

    key: str
    number: int
    title: str
    drawing: Drawing


# --- a board to draw on -------------------------------------------------------------------------


@dataclass
class _Board:
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
        size = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        at = np.arange(0.0, size[-1], 0.4)
        cells = 2 * np.stack([np.interp(at, size, points[:, k]) for k in (1, 0)], axis=1)
        inside = ((cells >= 0) & (cells < self.taken.shape)).all(axis=1)
        rows, columns = cells[inside].astype(int).T
        np.add.at(self.taken, (rows, columns), weight)

    def _take(self, x0: float, y0: float, x1: float, y1: float, weight: float) -> None:
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
        self._take(*self._box(text), 30.0)

    def _box(self, text: Writing) -> tuple[float, float, float, float]:
        wide, high = self.measure(text.text, text.size_mm), 0.75 * text.size_mm
        wide += STRONG_SHARE * text.size_mm if text.strong else 0.0
        x, y = text.at
        left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[text.anchor]
        if text.turn_deg:  # upright, read from the right
            return x - high, y - left - wide, x, y - left
        return x + left, y - high, x + left + wide, y + 0.2 * text.size_mm

    def crowding(self, text: Writing) -> float:
        """How much lies under a text, and how far it would leave the board."""
        x0, y0, x1, y1 = self._box(text)
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
        x, y = float(at[0]), float(at[1])
        places = []
        for gap in (gap_mm, gap_mm + 1.4, gap_mm + 3.4, gap_mm + 6.4):
            low, mid = gap + 0.75 * size, 0.3 * size
            places += [
                (gap, -gap * 0.6, "start"), (-gap, -gap * 0.6, "end"), (gap, low, "start"),
                (-gap, low, "end"), (0.0, -gap, "middle"), (0.0, low, "middle"),
                (gap, mid, "start"), (-gap, mid, "end"),
            ]  # fmt: skip
        tried = [
            Writing((x + dx, y + dy), text, size, anchor, colour, strong=strong)
            for dx, dy, anchor in places
            if anchor != barred
        ]
        per_gap = len(tried) // 4
        # farther places come later and must be clearly freer
        best = min(range(len(tried)), key=lambda i: self.crowding(tried[i]) + 6.0 * (i // per_gap))
        self.write(tried[best])
        if best >= 2 * per_gap:
            self.strokes.append(Stroke(np.array([at, tried[best].at]), "old"))

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
        wide = self.measure(text, _DIMENSION_MM)
        upright = abs(direction[1]) > abs(direction[0])
        if length > wide + 5.0:
            self.draw(np.stack([p, q]), "measure", 4.0)
            self._arrow(p, -direction)
            self._arrow(q, direction)
            middle = 0.5 * (p + q)
            if upright:
                self.write(
                    Writing((middle[0] + 1.0, middle[1]), text, _DIMENSION_MM, "middle", TAPE, 90.0)
                )
            else:
                self.write(
                    Writing((middle[0], middle[1] + 1.0), text, _DIMENSION_MM, "middle", TAPE)
                )
            return
        # too short for its number: arrows from outside, the number where there is room
        self.draw(np.stack([p - 3.2 * direction, p]), "measure", 4.0)
        self.draw(np.stack([q, q + 3.2 * direction]), "measure", 4.0)
        self._arrow(p, direction)
        self._arrow(q, -direction)
        middle = 0.5 * (p + q)
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

    def _arrow(self, tip: Points, direction: Points) -> None:
        side = 0.45 * np.array([-direction[1], direction[0]])
        back = tip - 1.7 * direction
        self.strokes.append(Stroke(np.stack([tip, back + side, back - side]), "arrow", True))


# --- what stands on the paper after each step ---------------------------------------------------


@dataclass
class _Standing:
    """All that earlier steps drew."""

    points: dict[str, Spot] = field(default_factory=dict)
    lines: dict[str, Points] = field(default_factory=dict)
    curves: dict[str, Points] = field(default_factory=dict)

    def add(self, step: Step) -> None:
        """The step's strokes now stand too."""
        self.points.update(step.points)
        self.lines.update(step.lines)
        for name, points in step.curves.items():
            self.curves[f"{step.piece} {name}"] = points

    def holds(self, points: Points) -> bool:
        """Whether this very line is on the paper already."""
        return any(
            len(c) == len(points) and np.allclose(c, points, atol=0.05)
            for c in self.curves.values()
        )


def _extent(steps: Iterable[Step]) -> tuple[float, float, float, float]:
    """Left, right, bottom, top of everything that any step draws, mm."""
    parts = []
    for step in steps:
        parts += [np.array(list(step.points.values())).reshape(-1, 2)]
        parts += [np.asarray(x) for x in (*step.lines.values(), *step.curves.values())]
    everything = np.vstack([p for p in parts if len(p)])
    if not np.isfinite(everything).all():
        raise InputError(Fault("steps", "hold a coordinate that is no number."))
    low, high = everything.min(axis=0), everything.max(axis=0)
    return float(min(low[0], 0.0)), float(high[0]), float(low[1]), float(max(high[1], 0.0))


def _scale(extent: tuple[float, float, float, float]) -> int:
    """The largest round scale, 1 to this, at which the picture fits its place."""
    left, right, bottom, top = extent
    ml, mr, mt, mb = _MARGINS_MM
    needed = max(
        (right - left) / (_PICTURE_MM[0] - ml - mr), (top - bottom) / (_PICTURE_MM[1] - mt - mb)
    )
    return next((s for s in _SCALES if s >= needed), math.ceil(needed))


def panels(draft: Draft, measure: Measure = svg_width) -> list[Panel]:
    """Each recorded step of a draft as a drawing of `PANEL_MM`, in order.

    ``measure``: how wide a line of text will be where it is written, so that lines break and
    names find room by the letters that are really set.

    Raises:
        InputError: the block recorded no steps.
    """
    if not draft.steps:
        raise InputError(
            Fault("steps", f"the block '{draft.block}' recorded none, so none can be drawn.")
        )
    extent = _extent(draft.steps)
    one_to = _scale(extent)
    unit = draft.measurements.unit
    standing = _Standing()
    out = []
    steps = _readable(draft.steps)
    for number, step in enumerate(steps, 1):
        board = _board(extent, one_to, measure)
        bottom = _write_words(board, standing, step, number, len(steps), unit)
        inset, region = _inset(standing, step, one_to, PANEL_MM[1] - bottom - 4.0, measure)
        _draw_standing(board, standing, step)
        _draw_new(board, standing, step, unit, numbers=inset is None)
        if inset is not None:
            _draw_standing(inset, standing, step)
            _draw_new(inset, standing, step, unit)
            _paste(board, inset, region)
        drawing = Drawing(*PANEL_MM, tuple(board.strokes), tuple(board.writings))
        out.append(Panel(step.key, number, step.title, drawing))
        standing.add(step)
    ends = (_check_panel, _bend_panel)
    return out + [
        end(draft, standing, extent, len(out) + i, measure) for i, end in enumerate(ends, 1)
    ]


def _readable(steps: Iterable[Step]) -> list[Step]:
    """The steps as they are drawn: points before the curves through them."""
    out: list[Step] = []
    standing = _Standing()
    for step in steps:
        fresh = {n: c for n, c in step.curves.items() if not standing.holds(c)}
        bent = [n for n, c in fresh.items() if n != "fold" and not _is_straight(c)]
        standing.add(step)
        if not step.points or not bent:
            out.append(step)
            continue
        first, then = step.parts
        out.append(replace(step, curves={}, text=first or step.text))
        out.append(
            replace(
                step, key=f"{step.key}-lines", title=f"{step.title}: its lines", sums=(), points={},
                lines={}, text=f"{then} The rings are the places in the table.".strip(),
            )
        )  # fmt: skip
    return out


def _inset(
    standing: _Standing, step: Step, one_to: int, room: float, measure: Measure
) -> tuple[_Board | None, Points]:
    """A larger board for a step whose news is small, and what it shows (2, 2) mm; None if not."""
    spots: list[Spot] = []
    for name, at in step.points.items():
        spots += [at, *([step.origins[name].at] if name in step.origins else [])]
    parts = [np.array(spots).reshape(-1, 2)]
    if not spots:
        parts += [p for n, p in step.curves.items() if n != "fold" and not standing.holds(p)]
        parts += list(step.lines.values())
    everything = np.vstack(parts)
    nothing = None, np.zeros((2, 2))
    if not len(everything):
        return nothing
    low, high = everything.min(axis=0), everything.max(axis=0)
    width, height = PANEL_MM[0] - _PICTURE_MM[0] - 4.0, min(room, _INSET_MOST_MM)
    if height < _INSET_LEAST_MM:
        return nothing
    space = np.array([width - 30.0, height - 17.0])
    fitting = next((n for n in _SCALES if ((high - low) / n <= space).all()), None)
    if fitting is None or fitting > 0.67 * one_to:
        return nothing
    height = max(_INSET_LEAST_MM, min(height, float((high - low)[1]) / fitting + 20.0))
    middle = 0.5 * (low + high)
    scale = 1.0 / fitting
    origin = (width / 2 - middle[0] * scale, height / 2 + middle[1] * scale)
    if low[0] < 1.0:  # the paper ends at the centre line: only dimensions stand left of it
        origin = (min(origin[0], 20.0), origin[1])
    inset = _Board(origin, scale, (width, height), is_inset=True, measure=measure)
    paper = inset.put([(0.0, 1e5), (1e5, -1e5)])
    left = max(0.0, float(paper[0][0]))
    inset.strokes.append(
        Stroke(np.array([(left, 0), (width, 0), (width, height), (left, height)]), "sheet", True)
    )
    inset.write(Writing((1.4, height - 1.6), f"1 : {fitting}", 2.5, colour=GREY, bare=True))
    region = (np.array([(0.0, 0.0), (width, height)]) - origin) * np.array([1, -1]) * fitting
    return inset, region


def _paste(board: _Board, inset: _Board, region: Points) -> None:
    """The inset into the lower right of the panel, framed; its region marked on the board."""
    width, height = inset.size
    shift = np.array([PANEL_MM[0] - width - 0.2, PANEL_MM[1] - height - 0.2])
    for stroke in inset.strokes:
        points = stroke.points
        if stroke.closed:
            if (points >= -0.01).all() and (points <= np.array(inset.size) + 0.01).all():
                board.strokes.append(Stroke(points + shift, stroke.pen, True))
            continue
        board.strokes += [
            Stroke(part + shift, stroke.pen) for part in clipped(points, (0, 0, width, height))
        ]
    frame = np.array([(0, 0), (width, 0), (width, height), (0, height)])
    board.strokes += [Stroke(np.vstack([frame, frame[:1]]) + shift, "faint")]
    for text in inset.writings:
        board.writings.append(replace(text, at=(text.at[0] + shift[0], text.at[1] + shift[1])))
    (x0, y0), (x1, y1) = board.put(region)
    x0, y0, x1 = max(x0, _MARGINS_MM[0] - 5.0), max(y0, 1.0), min(x1, _PICTURE_MM[0] - 1.0)
    marked = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])
    board.strokes.append(Stroke(marked, "level"))


def _board(extent: tuple[float, float, float, float], one_to: int, measure: Measure) -> _Board:
    left, right, bottom, top = extent
    ml, _, mt, mb = _MARGINS_MM
    scale = 1.0 / one_to
    width, height = (right - left) * scale, (top - bottom) * scale
    free = max(0.0, _PICTURE_MM[1] - mt - mb - height)
    origin = (ml - left * scale, mt + free / 2 + top * scale)
    board = _Board(origin, scale, _PICTURE_MM, measure=measure)
    board.strokes.append(
        Stroke(
            np.array([(ml, origin[1] - top * scale - 3.0), (ml + width + 3.0, origin[1] - top * scale - 3.0),
                      (ml + width + 3.0, origin[1] - bottom * scale + 3.0), (ml, origin[1] - bottom * scale + 3.0)]),
            "sheet", True,
        )
    )  # fmt: skip
    return board


def _draw_standing(board: _Board, standing: _Standing, step: Step) -> None:
    for name, points in standing.lines.items():
        pen = "fold" if name == "centre line" else "old"
        board.draw(board.put(points), pen, 0.5)
    for points in standing.curves.values():
        board.draw(board.put(points), "old-seam", 1.0)
    for at in standing.points.values():
        if at not in step.points.values():
            board.strokes.append(Stroke(circle(board.put(at)[0], 0.55), "old-dot", True))


def _draw_new(
    board: _Board, standing: _Standing, step: Step, unit: str, numbers: bool = True
) -> None:
    for name, points in step.lines.items():
        board.draw(board.put(points), "fold" if name == "centre line" else "new", 3.0)
    fresh = {n: p for n, p in step.curves.items() if not standing.holds(p)}
    for name, points in fresh.items():
        board.draw(board.put(points), "new-fold" if name == "fold" else "new-seam", 4.0)
    for corner, along_a, along_b in _square_corners(standing, step, fresh):
        _square_mark(board, corner, along_a, along_b)
    for at in step.points.values():
        p = board.put(at)[0]
        board.strokes.append(Stroke(circle(p, 0.8), "dot", True))
        board._take(p[0] - 0.8, p[1] - 0.8, p[0] + 0.8, p[1] + 0.8, 20.0)
    for name, points in fresh.items():
        for dot in [] if name == "fold" or _is_straight(points) else _dots(points):
            board.strokes.append(Stroke(circle(board.put(dot)[0], 0.8), "bead", True))
    for name, points in [*standing.lines.items(), *step.lines.items()]:
        _line_name(board, name, board.put(points), name in step.lines and numbers)
    if numbers:
        references = _dimensions(board, step, unit)
        for name, at in step.points.items():
            side = "left" if _close_on_level(at, references.values(), board.scale) else ""
            board.label(board.put(at)[0], name, _NAME_MM, INK, True, not_towards=side)
        for name, at in references.items():
            if name in step.points or at == (0.0, 0.0):
                continue
            near = [p for p in step.points.values() if _close_on_level(p, [at], board.scale)]
            board.label(
                board.put(at)[0], name, _LEVEL_MM, GREY, False,
                not_towards="right" if near else "",
            )  # fmt: skip
    for name, points in fresh.items():
        if numbers:
            board.label(_middle(board.put(points)), name, _NAME_MM, INK, False, 2.4)


def _close_on_level(at: Spot, others: Iterable[Spot], scale: float) -> bool:
    """Whether one of the others lies just left of ``at``, at its level, close on paper."""
    return any(
        abs(at[1] - p[1]) < _SAME_MM and 0 < (at[0] - p[0]) * scale < _CLOSE_ON_PAPER_MM
        for p in others
    )


def _middle(points: Points) -> Points:
    """A place (2,) halfway along a line."""
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    half = at[-1] / 2
    return np.array([np.interp(half, at, points[:, 0]), np.interp(half, at, points[:, 1])])


def _line_name(board: _Board, name: str, points: Points, new: bool) -> None:
    colour = INK if new else PALE
    if len(points) > 2:  # a dart: its points have names
        return
    if abs(points[0][0] - points[-1][0]) < 0.1:  # the centre line, named along itself
        if new:
            y = 0.5 * (points[0][1] + points[-1][1])
            board.write(Writing((points[0][0] + 3.4, y), name, _LEVEL_MM, "middle", colour, 90.0))
        return
    if abs(points[0][1] - points[-1][1]) > 0.1:
        if new:
            board.label(0.5 * (points[0] + points[-1]), name, _LEVEL_MM, INK, False)
        return
    y = float(points[0][1])
    if board.is_inset:
        if 4.0 < y < board.size[1] - 2.0:
            board.write(Writing((board.size[0] - 1.2, y - 0.8), name, _LEVEL_MM, "end", colour))
        return
    right = float(points[:, 0].max()) + 3.8
    text = Writing((right, y + 0.8), name, _LEVEL_MM, "start", colour)
    if board._box(text)[2] > board.size[0]:
        text = replace(text, at=(board.size[0] - 0.2, y - 0.8), anchor="end")
    board.write(text)


# --- numbers in the picture ---------------------------------------------------------------------


def _dimensions(board: _Board, step: Step, unit: str) -> dict[str, Spot]:
    """A dimension line for each new point; the earlier points from which they were measured."""
    used: dict[str, Spot] = {}
    taken: dict[float, list[tuple[float, float, int]]] = {}  # by level; upright ones under x = 0
    of_darts = [p for line in step.lines.values() if len(line) > 2 for p in line]
    for name, at in step.points.items():
        start = step.origins.get(name)
        if start is None or any(not _apart((p[0], p[1]), at) for p in of_darts):
            continue  # a dart's points are taken from the table
        used[start.name] = start.at
        a, b = board.put(start.at)[0], board.put(at)[0]
        dx, dy = at[0] - start.at[0], at[1] - start.at[1]
        if start.moved and min(abs(dx), abs(dy)) >= _SAME_MM:
            _moved_arrow(board, a, b)
            continue
        foot = board.put((at[0], start.at[1]))[0]
        if abs(dx) >= _SAME_MM:
            text = format_length(abs(dx), unit)
            lane = 4.2 * _lane(taken.setdefault(round(a[1], 1), []), a[0], foot[0])
            below = start.at[1] < -_SAME_MM
            board.dimension(a, foot, (0.0, 4.2 + lane if below else -4.6 - lane), text)
        if abs(dy) >= _SAME_MM:
            text = format_length(abs(dy), unit)
            if abs(at[0]) < _SAME_MM:
                lane = -4.5 - 5.0 * _lane(taken.setdefault(-1.0, []), a[1], b[1])
                board.dimension(foot, b, (lane, 0.0), text)
            else:
                board.dimension(foot, b, (0.0, 0.0), text)
    return used


def _lane(taken: list[tuple[float, float, int]], y0: float, y1: float) -> int:
    """The column or row, outward, in which a dimension is free."""
    low, high = min(y0, y1), max(y0, y1)
    lane = 0
    while any(n == lane and low < b - 0.5 and high > a + 0.5 for a, b, n in taken):
        lane += 1
    taken.append((low, high, lane))
    return lane


def _apart(a: Spot, b: Spot) -> bool:
    return math.hypot(a[0] - b[0], a[1] - b[1]) > _SAME_MM


def _moved_arrow(board: _Board, a: Points, b: Points) -> None:
    length = float(np.hypot(*(b - a)))
    if length < 0.6:
        return
    direction = (b - a) / length
    board.draw(np.stack([a, b]), "measure", 3.0)
    board._arrow(b - 0.8 * direction, direction)


def _square_corners(
    standing: _Standing, step: Step, fresh: Mapping[str, Points]
) -> list[tuple[Points, Points, Points]]:
    """Where a new line meets another squarely: (corner, direction along each), piece mm."""
    own = [(np.asarray(p), True) for p in (*fresh.values(), *step.lines.values())]
    others = [(np.asarray(p), False) for p in (*standing.curves.values(), *standing.lines.values())]
    everything = own + others
    found: list[tuple[Points, Points, Points]] = []
    for i, (first, _) in enumerate(own):
        for corner, along_a in (
            (first[0], first[1] - first[0]),
            (first[-1], first[-2] - first[-1]),
        ):
            for j, (second, new) in enumerate(everything):
                if j == i or (new and j < i):
                    continue
                along_b = _direction_at(second, corner)
                if along_b is None:
                    continue
                a, b = along_a / np.hypot(*along_a), along_b / np.hypot(*along_b)
                if abs(float(a @ b)) < math.sin(math.radians(1.5)) and not any(
                    np.allclose(corner, c, atol=1.0) for c, _, _ in found
                ):
                    found.append((corner, a, b))
    return found


def _direction_at(line: Points, corner: Points) -> Points | None:
    """The direction away from ``corner`` along a line that ends there, or passes through it."""
    if np.hypot(*(line[0] - corner)) < _SAME_MM:
        return np.asarray(line[1] - line[0])
    if np.hypot(*(line[-1] - corner)) < _SAME_MM:
        return np.asarray(line[-2] - line[-1])
    if len(line) == 2:
        run = line[1] - line[0]
        share = float((corner - line[0]) @ run) / float(run @ run)
        if 0 < share < 1 and np.hypot(*(line[0] + share * run - corner)) < _SAME_MM:
            return np.asarray(line[1] - corner if share < 0.5 else line[0] - corner)
    return None


def _square_mark(board: _Board, corner: Points, along_a: Points, along_b: Points) -> None:
    at = board.put(corner)[0]
    a = 2.2 * along_a * np.array([1.0, -1.0])
    b = 2.2 * along_b * np.array([1.0, -1.0])
    board.draw(np.stack([at + a, at + a + b, at + b]), "square", 2.0)


# --- words and numbers beside the picture -------------------------------------------------------


def _write_words(
    board: _Board, standing: _Standing, step: Step, number: int, of: int, unit: str
) -> float:
    """Title, sentence, sums and table; the height at which they end."""
    which = {"both": "front and back"}.get(step.piece, step.piece)
    y = _head_words(board, f"{number} of {of}", step.title, step.text, step.sums, which)
    left = _PICTURE_MM[0] + 4.0
    return _table(board, _rows(standing, step), left, y + 2.5, PANEL_MM[0] - left, unit)


def _head_words(
    board: _Board, count: str, title: str, text: str, sums: Iterable[str], which: str
) -> float:
    """Count, title, sentence and sums, from the top of the right column; where they end."""
    left = _PICTURE_MM[0] + 4.0
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


_COLUMN_GAP_MM, _PAIR_GAP_MM = 2.0, 3.0


def _columns(
    board: _Board, right: float, cells: list[list[str]], size: float, heads: tuple[str, ...]
) -> list[float]:
    """Right edges of columns of numbers, in pairs of own and other unit, from their widest texts.

    ``cells``: rows of texts; ``heads``: one over each pair, ending where the pair ends.
    """
    wide = [max(board.measure(row[k], size) for row in cells) for k in range(len(cells[0]))]
    edges = [0.0] * len(wide)
    at = right
    for pair in range(len(wide) // 2 - 1, -1, -1):
        own, other = 2 * pair, 2 * pair + 1
        edges[other], edges[own] = at, at - wide[other] - _COLUMN_GAP_MM
        head = board.measure(heads[pair], _HEAD_MM)
        at = min(edges[own] - wide[own], at - head) - _PAIR_GAP_MM
    return edges


_HEAD_MM = 2.6


def _units(unit: str) -> tuple[str, str]:
    """Her unit and the other one."""
    return ("in", "cm") if unit == "in" else (unit if unit in ("cm", "mm") else "cm", "in")


def _rows(standing: _Standing, step: Step) -> list[tuple[str, Spot]]:
    """(name, place) of each new point, then a few places along each new curve that bends."""
    rows = [(n, p) for n, p in step.points.items()]
    known = [*standing.points.values(), *step.points.values()]
    known += [(float(x), float(y)) for c in standing.curves.values() for x, y in (c[0], c[-1])]
    for name, points in step.curves.items():
        if standing.holds(points):
            continue
        run = _readable_way(points)
        bent = name != "fold" and not _is_straight(points)
        dots = _dots(points) if bent else []
        shares = [Fraction(i, len(dots) + 1) for i in range(1, len(dots) + 1)]
        parts = [
            ("middle" if share == Fraction(1, 2) else str(share), at)
            for share, at in zip(shares, dots, strict=True)
        ]
        parts = _with_corners(run, parts)
        for end, at in (("start", run[0]), ("end", run[-1])):
            spot = (float(at[0]), float(at[1]))
            if all(_apart(spot, p) for p in known):
                known.append(spot)
                parts.insert(0 if end == "start" else len(parts), (_end_name(run, end), at))
        rows += [(f"{name}, {part}", (float(at[0]), float(at[1]))) for part, at in parts]
    return rows


def _turns(line: Points) -> Points:
    """By how much a line (N, 2) turns at each inner point (N - 2,), radians."""
    step = np.diff(line, axis=0)
    return np.diff(np.unwrap(np.arctan2(step[:, 1], step[:, 0])))


def _with_corners(run: Points, parts: list[tuple[str, Points]]) -> list[tuple[str, Points]]:
    """The places along a line with its corners among them, in reading order."""
    sharp = np.flatnonzero(np.abs(_turns(run)) > math.radians(_CORNER_DEG)) + 1
    if not len(sharp):
        return parts
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    total = at[-1]
    placed = [(total * i / (len(parts) + 1), p) for i, p in enumerate(parts, 1)]
    placed += [(float(at[i]), ("corner", run[i])) for i in sharp]
    return [part for _, part in sorted(placed, key=lambda x: x[0])]


def _readable_way(points: Points) -> Points:
    """The line (N, 2) from its upper end down or, along a hem, from the centre outward."""
    run = points[-1] - points[0]
    down = run[1] < 0 if abs(run[1]) > 0.3 * abs(run[0]) else run[0] > 0
    return points if down else points[::-1]


def _end_name(run: Points, end: str) -> str:
    """'at the centre', 'upper end' and the like, for the end of a line in its reading way."""
    at = run[0] if end == "start" else run[-1]
    if abs(at[0]) < _SAME_MM:
        return "at the centre"
    across = abs(run[-1][1] - run[0][1]) <= 0.3 * abs(run[-1][0] - run[0][0])
    if across:
        return "inner end" if end == "start" else "outer end"
    return "upper end" if end == "start" else "lower end"


def _dots(points: Points) -> list[Points]:
    """Places (2,) at equal parts of a curve, downward or, along a hem, outward from the centre."""
    points = _readable_way(points)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    much = np.abs(_turns(points)).sum() > math.radians(_MUCH_DEG)
    count = _TURNING_PARTS if much else _CURVE_PARTS
    parts = at[-1] * np.arange(1, count) / count
    return list(
        np.stack([np.interp(parts, at, points[:, 0]), np.interp(parts, at, points[:, 1])], axis=1)
    )


def _is_straight(points: Points) -> bool:
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    if length < 1e-9:
        return True
    off = (points - points[0]) @ np.array([-chord[1], chord[0]]) / length
    return bool(np.abs(off).max() < _STRAIGHT_MM)


def _table(
    board: _Board, rows: list[tuple[str, Spot]], left: float, y: float, width: float, unit: str
) -> float:
    """Each place from the centre line and from the top line, in her unit and in the other."""
    if not rows:
        return y
    size, high = 2.8, 3.8
    own, other = _units(unit)
    cells = [
        [_number(x if k < 2 else -up, (own, other)[k % 2], below=k >= 2) for k in range(4)]
        for _, (x, up) in rows
    ]
    heads = ("from the centre", "below top line")
    columns = _columns(board, left + width, cells, size, heads)
    if y + high * (len(rows) + 2) > PANEL_MM[1]:
        high = max(3.0, (PANEL_MM[1] - y) / (len(rows) + 2))
    names = [name for name, _ in rows]
    return _rows_of_numbers(board, left, y, names, cells, columns, heads, (own, other), size, high)


def _rows_of_numbers(
    board: _Board, left: float, y: float, names: list[str], cells: list[list[str]],
    columns: list[float], heads: tuple[str, ...], units: tuple[str, str], size: float, high: float,
) -> float:  # fmt: skip
    """A table with a head over each pair of columns; the height at which it ends."""
    out = board.writings
    for pair, head in enumerate(heads):
        out.append(Writing((columns[2 * pair + 1], y), head, _HEAD_MM, "end", GREY, bare=True))
    y += 3.7
    for k, right in enumerate(columns):
        out.append(Writing((right, y), units[k % 2], _HEAD_MM, "end", GREY, bare=True))
    y += 1.2
    board.strokes.append(Stroke(np.array([(left, y), (columns[-1], y)]), "old"))
    y += high - 0.6
    first = min(columns[0] - board.measure(row[0], size) for row in cells)
    longest = max(board.measure(name, size) for name in names)
    fitted = size * min(1.0, (first - left - 1.5) / longest) if longest > 0 else size
    for name, row in zip(names, cells, strict=True):
        out.append(Writing((left, y), name, max(2.0, fitted), bare=True))
        for k, (right, text) in enumerate(zip(columns, row, strict=True)):
            if text:
                colour = GREY if k % 2 else INK
                out.append(Writing((right, y), text, size, "end", colour, bare=True))
        y += high
    return y


def _number(mm: float, unit: str, below: bool) -> str:
    """A length without its unit; above the top line it says so."""
    text = format_length(abs(mm), unit).removesuffix(f" {unit}")
    zero = text.strip("0.") == ""
    return f"{text} up" if below and mm < 0 and not zero else text


# --- after the last step ------------------------------------------------------------------------


def _check_panel(
    draft: Draft,
    standing: _Standing,
    extent: tuple[float, float, float, float],
    number: int,
    measure: Measure,
) -> Panel:
    """The finished lines with their true lengths, to hold a tape measure against."""
    board = _board(extent, _scale(extent), measure)
    title = "Check your lines before you cut"
    for points in standing.lines.values():
        board.draw(board.put(points), "old", 0.5)
    seen = _Standing()
    for full, points in standing.curves.items():
        piece, name = full.split(" ", 1)
        same = seen.holds(points)
        seen.curves[full] = points
        if same:
            continue
        pen = "other-seam" if piece == "back" else "new-seam"
        board.draw(board.put(points), pen, 4.0)
    for full, points in seen.curves.items():
        piece, name = full.split(" ", 1)
        only = not any(k != full and k.split(" ", 1)[1] == name for k in seen.curves)
        if piece == "front" or only:
            board.label(_middle(board.put(points)), name, _NAME_MM, INK, False, 2.4)
    text = (
        "Lay a tape on edge along each line that you drew; it should read this. "
        "Front drawn full, back broken where it differs."
    )
    y = _head_words(board, "check", title, text, (), "front and back")
    y = _length_table(board, draft, y + 2.5)
    _write_notes(board, draft.notes, y)
    drawing = Drawing(*PANEL_MM, tuple(board.strokes), tuple(board.writings))
    return Panel("check", number, title, drawing)


_NOTE_SIZES_MM = (3.2, 2.9, 2.6, 2.3)
_MORE_NOTES = "More notes stand in truing.txt."


def _write_notes(board: _Board, notes: Iterable[str], y: float) -> None:
    """The draft's notes below ``y``, as large as they all fit; what does not fit is told."""
    left = _PICTURE_MM[0] + 4.0
    width = PANEL_MM[0] - left - 3.0

    def paragraphs(size: float) -> list[list[str]]:
        return [text_lines(note, size, width, board.measure) for note in notes]

    def height(parts: list[list[str]], size: float) -> float:
        return sum(0.5 * size + 1.3 * size * len(lines) for lines in parts)

    room = PANEL_MM[1] - 1.0 - y
    size = next((s for s in _NOTE_SIZES_MM if height(paragraphs(s), s) <= room), _NOTE_SIZES_MM[-1])
    parts = paragraphs(size)
    if height(parts, size) > room:
        while parts and height([*parts, [_MORE_NOTES]], size) > room:
            parts.pop()
        parts.append([_MORE_NOTES])
    for lines in parts:
        y += 0.5 * size
        for i, line in enumerate(lines):
            at = (left + (3.0 if i else 0.0), y + 0.6 * size)
            board.writings.append(Writing(at, line, size, colour=TAPE, bare=True))
            y += 1.3 * size


def _length_table(board: _Board, draft: Draft, y: float) -> float:
    """Edge lengths of up to two pieces, in both units."""
    own, other = _units(draft.measurements.unit)
    pieces = list(draft.pieces)[:2]
    names = list(dict.fromkeys(e for p in pieces for e in draft.pieces[p].edges))
    left = _PICTURE_MM[0] + 4.0

    def cell(piece: str, name: str, unit: str) -> str:
        if name not in draft.pieces[piece].edges:
            return ""
        length = sewn_length(draft.pieces[piece], name)
        return format_length(length, unit).removesuffix(f" {unit}")

    cells = [[cell(p, name, u) for p in pieces for u in (own, other)] for name in names]
    darted = {d.edge for p in pieces for d in draft.pieces[p].darts}
    shown = [f"{name}, closed" if name in darted else name for name in names]
    high = min(4.2, (PANEL_MM[1] - y - 4.9) / (len(names) + 1))
    heads = tuple(pieces)
    columns = _columns(board, PANEL_MM[0], cells, 2.9, heads)
    return _rows_of_numbers(board, left, y, shown, cells, columns, heads, (own, other), 2.9, high)


_TOOTH_MM2 = 420.0  # a curve of radius 60 mm gets teeth of 7 mm
_TOOTH_MOST_MM = 14.0
_NEARLY_STRAIGHT_MM = 1500.0


def _bend_panel(
    draft: Draft,
    standing: _Standing,
    extent: tuple[float, float, float, float],
    number: int,
    measure: Measure,
) -> Panel:
    """How strongly each curve bends along its way, as a comb of fine lines square to it."""
    board = _board(extent, _scale(extent), measure)
    title = "How the curves run"
    seen = _Standing()
    rows: list[tuple[str, float]] = []
    for full, points in standing.curves.items():
        piece, name = full.split(" ", 1)
        if seen.holds(points) or name == "fold":
            continue
        seen.curves[full] = points
        pen = "other-seam" if piece == "back" else "line"
        board.draw(board.put(points), pen, 2.0)
        darted = piece in draft.pieces and any(d.edge == name for d in draft.pieces[piece].darts)
        if _is_straight(points) or darted:  # a dart's roof is a corner that nobody sees
            continue
        teeth, tightest = _comb(points, board)
        board.strokes += [Stroke(t, "comb") for t in teeth]
        rows.append((f"{full}", tightest))
    text = (
        "The fine lines show how strongly a curve bends: the longer, the tighter. They should "
        "grow and shrink evenly; a jump would be a corner that shows when it is worn."
    )
    y = _head_words(board, "to judge by eye", title, text, (), "front and back")
    left = _PICTURE_MM[0] + 4.0
    own, other = _units(draft.measurements.unit)
    out = board.writings
    y += 3.5
    out.append(Writing((PANEL_MM[0], y), "tightest radius", 2.6, "end", GREY, bare=True))
    y += 1.2
    board.strokes.append(Stroke(np.array([(left, y), (PANEL_MM[0], y)]), "old"))
    y += 3.8
    for name, radius in rows:
        out.append(Writing((left, y), name, 3.0, bare=True))
        text = (
            f"{format_length(radius, own)} ({format_length(radius, other)})"
            if radius < _NEARLY_STRAIGHT_MM
            else "nearly straight"
        )
        out.append(Writing((PANEL_MM[0], y), text, 2.9, "end", INK, bare=True))
        y += 4.2
    drawing = Drawing(*PANEL_MM, tuple(board.strokes), tuple(board.writings))
    return Panel("curves", number, title, drawing)


def curvature(points: Points) -> tuple[Points, Points]:
    """(signed curvature 1/mm (N - 2,), unit normals (N - 2, 2)) at the inner points (N, 2).

    Of the circle through each point and its neighbours; positive where the line bends left.
    """
    a, b, c = points[:-2], points[1:-1], points[2:]
    u, v, w = b - a, c - b, c - a
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    sizes = np.hypot(*u.T) * np.hypot(*v.T) * np.hypot(*w.T)
    along_ = w / np.maximum(np.hypot(*w.T), 1e-12)[:, None]
    return (
        np.asarray(2 * cross / np.maximum(sizes, 1e-12)),
        np.stack([-along_[:, 1], along_[:, 0]], axis=1),
    )


def _comb(points: Points, board: _Board) -> tuple[list[Points], float]:
    """Teeth in panel mm along a curve, on its outer side, and its tightest radius in mm."""
    step = np.hypot(*np.diff(points, axis=0).T)
    bend, normal = curvature(points[np.concatenate([[True], step > 1e-6])])
    at = board.put(points[np.concatenate([[True], step > 1e-6])][1:-1])
    length = np.clip(-bend * _TOOTH_MM2, -_TOOTH_MOST_MM, _TOOTH_MOST_MM)
    tips = at + length[:, None] * normal * np.array([1.0, -1.0])
    every = max(1, len(at) // 40)
    teeth = [np.stack([p, q]) for p, q in zip(at[::every], tips[::every], strict=True)]
    return [*teeth, tips], float(1.0 / max(float(np.abs(bend).max()), 1e-9))


# --- the way out --------------------------------------------------------------------------------


def steps_svg(draft: Draft) -> dict[str, str]:
    """File name → SVG document, one for each step, at the panel's true size.

    Raises:
        InputError: the block recorded no steps.
    """
    return {
        f"step-{p.number:02d}-{p.key}.svg": to_svg(p.drawing, f"{p.number}. {p.title}")
        for p in panels(draft)
    }


_PAGE_MARGIN_MM = 14.0


def steps_pdf(draft: Draft, *, title: str = "", paper: str = "a4") -> bytes:
    """One vector PDF of all steps, two on a page. ``paper``: a4 or letter.

    Raises:
        InputError: the block recorded no steps, or another paper is asked for.
    """
    if paper not in ("a4", "letter"):
        raise InputError(Fault("paper", f"{paper!r} is not known.", "Take a4 or letter."))
    from configs.paper import PAPERS, pdf_document
    from drafting.lettering import Lettering, one_line

    head, under, foot = _headings(draft, title)
    pdf = pdf_document(PAPERS[paper], one_line(head))
    pdf.add_page()
    # once for the letters that fonts are needed for, once more in the widths of those fonts
    texts = [head, under, foot, *(t for p in panels(draft) for t in p.drawing.texts())]
    letters = Lettering(pdf, texts)
    drawn = panels(draft, cache(letters.width))
    left = (pdf.w - PANEL_MM[0]) / 2
    at = _first_head(pdf, letters, left, head, under)
    room = (pdf.h - at - 10.0 - 2 * PANEL_MM[1]) / 3
    pages = math.ceil(len(drawn) / 2)
    for i, panel in enumerate(drawn):
        if i and i % 2 == 0:
            pdf.add_page()
        y = at + room + (i % 2) * (PANEL_MM[1] + room)
        if i % 2 == 0:
            _foot(pdf, letters, left, foot, f"{i // 2 + 1} of {pages}")
        else:
            pdf.set_draw_color(*PALE)
            pdf.set_line_width(0.2)
            pdf.line(left, y - room / 2, left + PANEL_MM[0], y - room / 2)
        to_pdf(pdf, letters, panel.drawing, left, y)
    return bytes(pdf.output())


def _headings(draft: Draft, title: str) -> tuple[str, str, str]:
    """Head line, the measurements in one line, foot line."""
    m = draft.measurements
    who = f" for {m.wearer}" if m.wearer else ""
    head = f"{title or draft.block}{who}: how it is drafted"
    one_to = _scale(_extent(draft.steps))
    used = f" of {m.taken}" if m.taken else ""
    under = (
        f"Worked out from the measurements{used}. Numbers are full size, pictures 1 : {one_to}. "
        "Seam allowances are added at cutting."
    )
    return head, under, f"{title or draft.block}{who}"


def _first_head(pdf: Any, letters: Any, left: float, head: str, under: str) -> float:
    """Head of the first page; the height at which every page's steps begin."""
    size = letters.fitted(head, 6.0, PANEL_MM[0])
    pdf.set_text_color(*INK)
    letters.write(left, _PAGE_MARGIN_MM - 1.0, head, size)
    pdf.set_text_color(*GREY)
    letters.write(left, _PAGE_MARGIN_MM + 4.0, under, letters.fitted(under, 3.3, PANEL_MM[0]))
    return _PAGE_MARGIN_MM + 4.5


def _foot(pdf: Any, letters: Any, left: float, foot: str, page: str) -> None:
    pdf.set_text_color(*GREY)
    y = pdf.h - 6.0
    letters.write(left, y, foot, letters.fitted(foot, 3.0, PANEL_MM[0] - 30.0))
    letters.write(left + PANEL_MM[0] - letters.width(page, 3.0), y, page, 3.0)


def write_steps(
    draft: Draft, folder: Path, *, kind: str = "pdf", title: str = "", paper: str = "a4"
) -> list[Path]:
    """Write ``steps.pdf`` (kind 'pdf') or one SVG for each step (kind 'svg') into a folder.

    Raises:
        InputError: no steps, another kind or paper, a folder that cannot be written to.
    """
    from configs.files import write_atomic

    files: Mapping[str, str | bytes]
    if kind == "pdf":
        files = {"steps.pdf": steps_pdf(draft, title=title, paper=paper)}
    elif kind == "svg":
        files = steps_svg(draft)
    else:
        raise InputError(Fault("steps", f"the kind {kind!r} is not known.", "Take pdf or svg."))
    for name, data in files.items():
        write_atomic(folder / name, data)
    return [folder / name for name in files]
