"""A step's picture: what stood before is light, what is new is strong, with its dimensions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from configs.units import format_length
from drafting.figures.drawing import (
    GREY,
    INK,
    PALE,
    Measure,
    Points,
    Stroke,
    Writing,
    circle,
    clipped,
)
from drafting.sheet import Step
from drafting.steps.board import (
    LEVEL_MM,
    MARGINS_MM,
    NAME_MM,
    PANEL_MM,
    PICTURE_MM,
    SAME_MM,
    SCALES,
    Board,
    Spot,
    box_ring,
)
from drafting.steps.lines import Standing, apart, dots_on, is_straight, middle_of, square_corners

_INSET_LEAST_MM, _INSET_MOST_MM = 28.0, 64.0
_CLOSE_ON_PAPER_MM = 14.0


def inset_of(
    standing: Standing, step: Step, one_to: int, room: float, measure: Measure
) -> tuple[Board | None, Points]:
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
    width, height = PANEL_MM[0] - PICTURE_MM[0] - 4.0, min(room, _INSET_MOST_MM)
    if height < _INSET_LEAST_MM:
        return nothing
    space = np.array([width - 30.0, height - 17.0])
    fitting = next((n for n in SCALES if ((high - low) / n <= space).all()), None)
    if fitting is None or fitting > 0.67 * one_to:
        return nothing
    height = max(_INSET_LEAST_MM, min(height, float((high - low)[1]) / fitting + 20.0))
    middle = 0.5 * (low + high)
    scale = 1.0 / fitting
    origin = (width / 2 - middle[0] * scale, height / 2 + middle[1] * scale)
    if low[0] < 1.0:  # the paper ends at the centre line: only dimensions stand left of it
        origin = (min(origin[0], 20.0), origin[1])
    inset = Board(origin, scale, (width, height), is_inset=True, measure=measure)
    paper = inset.put([(0.0, 1e5), (1e5, -1e5)])
    left = max(0.0, float(paper[0][0]))
    inset.strokes.append(Stroke(box_ring(left, 0.0, width, height), "sheet", True))
    inset.write(Writing((1.4, height - 1.6), f"1 : {fitting}", 2.5, colour=GREY, bare=True))
    region = (np.array([(0.0, 0.0), (width, height)]) - origin) * np.array([1, -1]) * fitting
    return inset, region


def paste(board: Board, inset: Board, region: Points) -> None:
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
    frame = _closed(box_ring(0.0, 0.0, width, height))
    board.strokes.append(Stroke(frame + shift, "faint"))
    for text in inset.writings:
        board.writings.append(replace(text, at=(text.at[0] + shift[0], text.at[1] + shift[1])))
    (x0, y0), (x1, y1) = board.put(region)
    x0, y0, x1 = max(x0, MARGINS_MM[0] - 5.0), max(y0, 1.0), min(x1, PICTURE_MM[0] - 1.0)
    board.strokes.append(Stroke(_closed(box_ring(x0, y0, x1, y1)), "level"))


def _closed(ring: Points) -> Points:
    return np.concatenate([ring, ring[:1]])


def draw_standing(board: Board, standing: Standing, step: Step) -> None:
    """What earlier steps drew, light."""
    for name, points in standing.lines.items():
        pen = "fold" if name == "centre line" else "old"
        board.draw(board.put(points), pen, 0.5)
    for points in standing.curves.values():
        board.draw(board.put(points), "old-seam", 1.0)
    for at in standing.points.values():
        if at not in step.points.values():
            board.strokes.append(Stroke(circle(board.put(at)[0], 0.55), "old-dot", True))


def draw_new(board: Board, standing: Standing, step: Step, unit: str, numbers: bool = True) -> None:
    for name, points in step.lines.items():
        board.draw(board.put(points), "fold" if name == "centre line" else "new", 3.0)
    fresh = {n: p for n, p in step.curves.items() if not standing.holds(p)}
    for name, points in fresh.items():
        board.draw(board.put(points), "new-fold" if name == "fold" else "new-seam", 4.0)
    for corner, along_a, along_b in square_corners(standing, step, fresh):
        _square_mark(board, corner, along_a, along_b)
    for at in step.points.values():
        p = board.put(at)[0]
        board.strokes.append(Stroke(circle(p, 0.8), "dot", True))
        board.take(p[0] - 0.8, p[1] - 0.8, p[0] + 0.8, p[1] + 0.8, 20.0)
    for name, points in fresh.items():
        for dot in [] if name == "fold" or is_straight(points) else dots_on(points):
            board.strokes.append(Stroke(circle(board.put(dot)[0], 0.8), "bead", True))
    for name, points in [*standing.lines.items(), *step.lines.items()]:
        _line_name(board, name, board.put(points), name in step.lines and numbers)
    if numbers:
        references = _dimensions(board, step, unit)
        for name, at in step.points.items():
            side = "left" if _close_on_level(at, references.values(), board.scale) else ""
            board.label(board.put(at)[0], name, NAME_MM, INK, True, not_towards=side)
        for name, at in references.items():
            if name in step.points or at == (0.0, 0.0):
                continue
            near = [p for p in step.points.values() if _close_on_level(p, [at], board.scale)]
            board.label(
                board.put(at)[0], name, LEVEL_MM, GREY, False,
                not_towards="right" if near else "",
            )  # fmt: skip
    for name, points in fresh.items():
        if numbers:
            board.label(middle_of(board.put(points)), name, NAME_MM, INK, False, 2.4)


def _close_on_level(at: Spot, others: Iterable[Spot], scale: float) -> bool:
    """Whether one of the others lies just left of ``at``, at its level, close on paper."""
    return any(
        abs(at[1] - p[1]) < SAME_MM and 0 < (at[0] - p[0]) * scale < _CLOSE_ON_PAPER_MM
        for p in others
    )


def _line_name(board: Board, name: str, points: Points, new: bool) -> None:
    colour = INK if new else PALE
    if len(points) > 2:  # a dart: its points have names
        return
    if abs(points[0][0] - points[-1][0]) < 0.1:  # the centre line, named along itself
        if new:
            y = 0.5 * (points[0][1] + points[-1][1])
            board.write(Writing((points[0][0] + 3.4, y), name, LEVEL_MM, "middle", colour, 90.0))
        return
    if abs(points[0][1] - points[-1][1]) > 0.1:
        if new:
            board.label(0.5 * (points[0] + points[-1]), name, LEVEL_MM, INK, False)
        return
    y = float(points[0][1])
    if board.is_inset:
        if 4.0 < y < board.size[1] - 2.0:
            board.write(Writing((board.size[0] - 1.2, y - 0.8), name, LEVEL_MM, "end", colour))
        return
    right = float(points[:, 0].max()) + 3.8
    text = Writing((right, y + 0.8), name, LEVEL_MM, "start", colour)
    if board.box(text)[2] > board.size[0]:
        text = replace(text, at=(board.size[0] - 0.2, y - 0.8), anchor="end")
    board.write(text)


def _dimensions(board: Board, step: Step, unit: str) -> dict[str, Spot]:
    """A dimension line for each new point; the earlier points from which they were measured."""
    used: dict[str, Spot] = {}
    taken: dict[float, list[tuple[float, float, int]]] = {}  # by level; upright ones under x = 0
    of_darts = [p for line in step.lines.values() if len(line) > 2 for p in line]
    for name, at in step.points.items():
        start = step.origins.get(name)
        if start is None or any(not apart((p[0], p[1]), at) for p in of_darts):
            continue  # a dart's points are taken from the table
        used[start.name] = start.at
        a, b = board.put(start.at)[0], board.put(at)[0]
        dx, dy = at[0] - start.at[0], at[1] - start.at[1]
        if start.moved and min(abs(dx), abs(dy)) >= SAME_MM:
            _moved_arrow(board, a, b)
            continue
        foot = board.put((at[0], start.at[1]))[0]
        if abs(dx) >= SAME_MM:
            text = format_length(abs(dx), unit)
            lane = 4.2 * _lane(taken.setdefault(round(a[1], 1), []), a[0], foot[0])
            below = start.at[1] < -SAME_MM
            board.dimension(a, foot, (0.0, 4.2 + lane if below else -4.6 - lane), text)
        if abs(dy) >= SAME_MM:
            text = format_length(abs(dy), unit)
            if abs(at[0]) < SAME_MM:
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


def _moved_arrow(board: Board, a: Points, b: Points) -> None:
    length = float(np.hypot(*(b - a)))
    if length < 0.6:
        return
    direction = (b - a) / length
    board.draw(np.stack([a, b]), "measure", 3.0)
    board.arrow(b - 0.8 * direction, direction)


def _square_mark(board: Board, corner: Points, along_a: Points, along_b: Points) -> None:
    at = board.put(corner)[0]
    a = 2.2 * along_a * np.array([1.0, -1.0])
    b = 2.2 * along_b * np.array([1.0, -1.0])
    board.draw(np.stack([at + a, at + a + b, at + b]), "square", 2.0)
