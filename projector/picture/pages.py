"""Pages: text over the beam, helps and questions; lines broken and cut to the room there is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drafting.placement import Array, carry
from projector.lettering import text_strokes, text_width
from projector.picture.buttons import GAP_MM, Button, Buttons, length_of
from projector.picture.edge import along_edge
from projector.picture.faces import LEAST_TEXT_MM, text_block
from projector.picture.marks import Item, polyline
from projector.picture.stage import Stage

_SIDE_MM, _FOOT_SIZE_MM = 28.0, 10.0
_ROW, _LINE = 2.0, 1.45  # of a page, in letters: from row to row, from line to line in a row
_NARROW = 16.0  # letters that a column has room for at least
STRIP_MM = 66.0  # what a strip of buttons alone takes of a page


def board(
    stage: Stage,
    title: str,
    groups: Mapping[str, Sequence[Button]],
    first: int,
    above_mm: float,
    focus: int,
) -> tuple[Item, dict[str, Array], int]:
    """A page of buttons in groups, each with its name: the item, where each button lies (4, 2)
    table mm, and the first row of the next page, 0 when all have found room.

    ``first``: the row of buttons that it begins with; ``above_mm``: what the strip takes below;
    ``focus``: which button on it is marked.
    """
    frame, length, height = along_edge(stage, 1e9)
    top, side = height - 18.0, _SIDE_MM
    room = top - 40.0 - above_mm
    for letters in (14.0, 12.5, 11.0, 10.0, 9.0, LEAST_TEXT_MM):  # the largest with which all stand
        names_mm = max((text_width(g, letters) for g in groups), default=0.0) + 1.6 * letters
        rows = _in_rows_of(groups, length - 2 * side - names_mm, letters)
        pitch = 4.2 * letters + GAP_MM
        if len(rows) * pitch <= room:
            break
    per = max(1, int(room // pitch))
    shown = rows[first : first + per]
    if len(shown) < len(rows):
        title = f"{title}  {first // per + 1} of {math.ceil(len(rows) / per)}"
    strong = [s + np.array([side, top - 16.0]) for s in text_strokes(title, 16.0)]
    row = Buttons(letters)
    y = top - 34.0
    for name, buttons in shown:
        y -= pitch
        middle = y + 0.5 * (pitch - GAP_MM - letters)
        strong += [s + np.array([side, middle]) for s in text_strokes(name, letters)]
        x = side + names_mm
        for button in buttons:
            made = replace(button, marked=len(row.places) == focus)
            x += row.put(made, x, y, pitch - GAP_MM) + GAP_MM
    marks = [stage.mark("strong", strong), *row.marks(stage)]
    item = Item("page", tuple(m for m in marks if len(m.points)), frame)
    places = {name: carry(frame, box) for name, box in row.places.items()}
    last = first + len(shown)
    return item, places, last if last < len(rows) else 0


def _in_rows_of(
    groups: Mapping[str, Sequence[Button]], length_mm: float, letters_mm: float
) -> list[tuple[str, list[Button]]]:
    """The groups' buttons in rows as long as there is room; a group's name stands at its first."""
    rows: list[tuple[str, list[Button]]] = []
    for name, buttons in groups.items():
        rows.append((name, []))
        for button in buttons:
            if rows[-1][1] and length_of([*rows[-1][1], button], letters_mm) > length_mm:
                rows.append(("", []))
            rows[-1][1].append(button)
    return rows


def lines_in_middle(stage: Stage, lines: Sequence[str]) -> Item:
    """Lines of text about the beam's middle, the first of them large."""
    strokes = text_block(lines[:1], 24.0)
    for i, line in enumerate(lines[1:], 1):
        strokes += text_block([line], 12.0, (0.0, -30.0 * i))
    return Item("lines", (stage.mark("strong", strokes),), stage.reading_frame(stage.middle_mm))


def free_room(
    stage: Stage, rows: int, foot: Sequence[str]
) -> tuple[Array, tuple[float, float, float, float]]:
    """What a page of a few rows leaves free for sketches: its frame, and (left, bottom, right, top) mm."""
    frame, length, height = along_edge(stage, 1e9)
    lines = [p for line in foot for p in wrapped(line, _FOOT_SIZE_MM, length - 2 * _SIDE_MM)]
    low = STRIP_MM + len(lines) * 1.9 * _FOOT_SIZE_MM + 14.0
    return frame, (_SIDE_MM, low, length - _SIDE_MM, height - 70.0 - rows * 34.0 - 8.0)


def page(
    stage: Stage,
    title: str,
    rows: Sequence[tuple[str, str]],
    foot: Sequence[str] = (),
    first: int = 0,
    below_mm: float = STRIP_MM,
) -> tuple[Item, int]:
    """A page of text in the middle of the beam, and how many of its rows found room: helps,
    questions, first light.

    ``rows``: (key, what it does), from the row ``first`` on, in as many columns as the beam has room
    for; ``below_mm``: what the strip takes below.
    """
    frame, length, height = along_edge(stage, 1e9)
    low, top, side = below_mm, height - 18.0, 28.0
    foot_size = _FOOT_SIZE_MM
    foot_mm = foot_size * 1.9
    foot = [part for line in foot for part in wrapped(line, foot_size, length - 2 * side)]
    room = top - 52.0 - (low + len(foot) * foot_mm + 10.0)
    laid = _columns(rows, length - 2 * side, room, first)
    size, shown = laid.size_mm, laid.columns
    count = sum(len(column) for column in shown)
    if count < len(rows):
        title = f"{title}  {laid.number} of {laid.pages}"
    column_mm = (length - 2 * side) / max(len(shown), 1)
    strong: list[Array] = [s + np.array([side, top - 18.0]) for s in text_strokes(title, 18.0)]
    keys: list[Array] = []
    words: list[Array] = []
    for c, column in enumerate(shown):
        x, y = side + c * column_mm, top - 50.0
        for n in column:
            y -= size
            keys.extend(s + np.array([x, y]) for s in text_strokes(rows[n][0], size))
            for line in laid.broken[n]:
                words.extend(s + np.array([x + laid.key_mm, y]) for s in text_strokes(line, size))
                y -= _LINE * size
            y -= (_ROW - 1.0 - _LINE) * size
    for j, line in enumerate(foot):
        y = low + (len(foot) - 1 - j) * foot_mm + 6.0
        words.extend(s + np.array([side, y]) for s in text_strokes(line, foot_size))
    marks = (
        stage.mark("strong", strong, wider=1.1),
        stage.mark("key", keys, wider=1.4),
        stage.mark("text", words),
        stage.mark("button", [polyline((side, top - 30), (length - side, top - 30))]),
    )
    return Item("page", tuple(m for m in marks if len(m.points)), frame), count


@dataclass(frozen=True)
class _Laid:
    """Rows in columns: the letters' size, each column's rows by number, every row in as many lines as
    it takes, the width of the keys mm, and which page of how many it is."""

    size_mm: float
    columns: list[list[int]]
    broken: list[list[str]]
    key_mm: float
    number: int
    pages: int


def _columns(rows: Sequence[tuple[str, str]], wide_mm: float, room_mm: float, first: int) -> _Laid:
    """Rows from ``first`` on, in the largest letters with which all of them stand, in up to three
    columns; in the smallest as many as there is room for."""
    most, best = -1, (0, [[""]], 0.0)
    for size in (17.0, 15.0, 13.5, 12.0, 11.0, 10.0, 9.0, 8.5, LEAST_TEXT_MM):
        key_mm, tall = max((text_width(k, size) for k, _ in rows), default=0.0), room_mm / size
        key_mm += 1.4 * size
        for count in (1, 2, 3):
            words_mm = wide_mm / count - key_mm - (2.0 * size if count > 1 else 0.0)
            if words_mm < _NARROW * size and count > 1:
                break
            broken = [wrapped(m, size, words_mm) for _, m in rows]
            done = _held(broken, 0, count, tall)
            if done == len(rows):  # evenly, where all stand
                while tall > 2 and _held(broken, 0, count, tall - 1.0) == done:
                    tall -= 1.0
                return _Laid(size, _filled(broken, 0, count, tall), broken, key_mm, 1, 1)
            if size == LEAST_TEXT_MM and done > most:
                most, best = done, (count, broken, key_mm)
    count, broken, key_mm = best
    starts = [0]
    while (n := _held(broken, starts[-1], count, tall)) and starts[-1] + n < len(rows):
        starts.append(starts[-1] + n)
    shown = _filled(broken, first, count, tall)
    return _Laid(size, shown, broken, key_mm, sum(s <= first for s in starts), len(starts))


def _held(broken: Sequence[list[str]], first: int, count: int, tall: float) -> int:
    """How many rows find room."""
    return sum(map(len, _filled(broken, first, count, tall)))


def _filled(broken: Sequence[list[str]], first: int, count: int, tall: float) -> list[list[int]]:
    """Rows by number in up to ``count`` columns, each ``tall`` letters high; what finds no room is left
    out."""
    columns: list[list[int]] = [[]]
    used = 0.0
    for n in range(first, len(broken)):
        own = _ROW + _LINE * (len(broken[n]) - 1)
        if used + own > tall and columns[-1]:
            if len(columns) == count:
                break
            columns.append([])
            used = 0.0
        columns[-1].append(n)
        used += own
    return columns


def wrapped(line: str, height_mm: float, length_mm: float) -> list[str]:
    """A line in as many lines as it takes."""
    out: list[str] = []
    held = ""
    for word in line.split():
        longer = f"{held} {word}".strip()
        if held and text_width(longer, height_mm) > length_mm:
            out.append(held)
            held = word
        else:
            held = longer
    return [*out, held]


def cut_to(line: str, height_mm: float, length_mm: float) -> str:
    """As much of a line as there is room for, with a sign that there is more."""
    if text_width(line, height_mm) <= length_mm:
        return line
    while line and text_width(line + "…", height_mm) > length_mm:
        line = line[:-1]
    return line.rstrip() + "…"
