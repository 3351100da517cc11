"""The last two pictures: lengths to check the lines by, and how the curves run."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from configs.units import format_length
from drafting.blocks import Draft
from drafting.figures.drawing import (
    GREY,
    INK,
    TAPE,
    Measure,
    Points,
    Stroke,
    text_lines,
)
from drafting.steps.board import LEFT_MM, NAME_MM, PANEL_MM, Board, Panel, new_board, scale_of
from drafting.steps.lines import Standing, curvature, is_straight, middle_of
from drafting.steps.words import head_words, rows_of_numbers, sheet_unit
from drafting.truing import sewn_length


def check_panel(
    draft: Draft,
    standing: Standing,
    extent: tuple[float, float, float, float],
    number: int,
    measure: Measure,
) -> Panel:
    """The finished lines with their true lengths, to hold a tape measure against."""
    board = new_board(extent, scale_of(extent), measure)
    title = "Check your lines before you cut"
    for points in standing.lines.values():
        board.draw(board.put(points), "old", 0.5)
    seen = Standing()
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
            board.label(middle_of(board.put(points)), name, NAME_MM, INK, False, 2.4)
    text = (
        "Lay a tape on edge along each line that you drew; it should read this. "
        "Front drawn full, back broken where it differs."
    )
    y = head_words(board, "check", title, text, (), "front and back")
    y = _length_table(board, draft, y + 2.5)
    _write_notes(board, draft.notes, y)
    return board.panel("check", number, title)


_NOTE_SIZES_MM = (3.2, 2.9, 2.6, 2.3)
_MORE_NOTES = "More notes stand in truing.txt."


def _write_notes(board: Board, notes: Iterable[str], y: float) -> None:
    """The draft's notes below ``y``, as large as they all fit; what does not fit is told."""
    width = PANEL_MM[0] - LEFT_MM - 3.0

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
            board.say(LEFT_MM + (3.0 if i else 0.0), y + 0.6 * size, line, size, colour=TAPE)
            y += 1.3 * size


def _length_table(board: Board, draft: Draft, y: float) -> float:
    """Edge lengths of up to two pieces."""
    own = sheet_unit(draft.measurements.unit)
    pieces = list(draft.pieces)[:2]
    names = list(dict.fromkeys(e for p in pieces for e in draft.pieces[p].edges))

    def cell(piece: str, name: str, unit: str) -> str:
        if name not in draft.pieces[piece].edges:
            return ""
        length = sewn_length(draft.pieces[piece], name)
        return format_length(length, unit).removesuffix(f" {unit}")

    cells = [[cell(p, name, own) for p in pieces] for name in names]
    darted = {d.edge for p in pieces for d in draft.pieces[p].darts}
    shown = [f"{name}, closed" if name in darted else name for name in names]
    high = min(4.2, (PANEL_MM[1] - y - 4.9) / (len(names) + 1))
    return rows_of_numbers(board, y, shown, cells, tuple(pieces), own, 2.9, high)


_TOOTH_MM2 = 420.0  # a curve of radius 60 mm gets teeth of 7 mm
_TOOTH_MOST_MM = 14.0
_NEARLY_STRAIGHT_MM = 1500.0


def bend_panel(
    draft: Draft,
    standing: Standing,
    extent: tuple[float, float, float, float],
    number: int,
    measure: Measure,
) -> Panel:
    """How strongly each curve bends along its way, as a comb of fine lines square to it."""
    board = new_board(extent, scale_of(extent), measure)
    title = "How the curves run"
    seen = Standing()
    rows: list[tuple[str, float]] = []
    for full, points in standing.curves.items():
        piece, name = full.split(" ", 1)
        if seen.holds(points) or name == "fold":
            continue
        seen.curves[full] = points
        pen = "other-seam" if piece == "back" else "line"
        board.draw(board.put(points), pen, 2.0)
        darted = piece in draft.pieces and any(d.edge == name for d in draft.pieces[piece].darts)
        if is_straight(points) or darted:  # a dart's roof is a corner that nobody sees
            continue
        teeth, tightest = _comb(points, board)
        board.strokes += [Stroke(t, "comb") for t in teeth]
        rows.append((name if name.startswith(piece) else full, tightest))
    text = (
        "The fine lines show how strongly a curve bends: the longer, the tighter. They should "
        "grow and shrink evenly; a jump would be a corner that shows when it is worn."
    )
    y = head_words(board, "to judge by eye", title, text, (), "front and back")
    own = sheet_unit(draft.measurements.unit)
    y += 3.5
    board.say(PANEL_MM[0], y, "tightest radius", 2.6, "end", GREY)
    y += 1.2
    board.strokes.append(Stroke(np.array([(LEFT_MM, y), (PANEL_MM[0], y)]), "old"))
    y += 3.8
    for name, radius in rows:
        text = format_length(radius, own) if radius < _NEARLY_STRAIGHT_MM else "nearly straight"
        room = PANEL_MM[0] - LEFT_MM - board.measure(text, 2.9) - 1.5
        board.say(LEFT_MM, y, name, 3.0 * min(1.0, room / max(board.measure(name, 3.0), 1e-9)))
        board.say(PANEL_MM[0], y, text, 2.9, "end")
        y += 4.2
    return board.panel("curves", number, title)


def _comb(points: Points, board: Board) -> tuple[list[Points], float]:
    """Teeth in panel mm along a curve, on its outer side, and its tightest radius in mm."""
    step = np.hypot(*np.diff(points, axis=0).T)
    bend, normal = curvature(points[np.concatenate([[True], step > 1e-6])])
    at = board.put(points[np.concatenate([[True], step > 1e-6])][1:-1])
    length = np.clip(-bend * _TOOTH_MM2, -_TOOTH_MOST_MM, _TOOTH_MOST_MM)
    tips = at + length[:, None] * normal * np.array([1.0, -1.0])
    every = max(1, len(at) // 40)
    teeth = [np.stack([p, q]) for p, q in zip(at[::every], tips[::every], strict=True)]
    return [*teeth, tips], float(1.0 / max(float(np.abs(bend).max()), 1e-9))
