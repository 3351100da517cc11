"""Pages: text over the beam, helps and questions; lines broken and cut to the room there is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from drafting.placement import carry
from projector.lettering import text_strokes, text_width
from projector.picture.buttons import GAP_MM, Button, Buttons, length_of
from projector.picture.edge import along_edge
from projector.picture.faces import LEAST_TEXT_MM, text_block
from projector.picture.marks import Item, polyline
from projector.picture.stage import Stage

Array = NDArray[np.float64]

_SIDE_MM, _FOOT_SIZE_MM = 28.0, 10.0
STRIP_MM = 66.0  # what a strip of buttons alone takes of a page


def page(
    stage: Stage,
    title: str,
    rows: Sequence[tuple[str, str]],
    foot: Sequence[str] = (),
    below_mm: float = STRIP_MM,
) -> Item:
    """A page of text in the middle of the beam: questions, first light.

    ``rows``: (key, what it does), in as many columns as the beam has room for; ``below_mm``: what
    the strip takes below.
    """
    return _page(stage, title, rows, foot, 0, below_mm)[0]


def leaf(
    stage: Stage,
    title: str,
    rows: Sequence[tuple[str, str]],
    foot: Sequence[str],
    first: int,
    below_mm: float = STRIP_MM,
) -> tuple[Item, int]:
    """A page that begins with the row ``first``, and how many rows found room on it."""
    return _page(stage, title, rows, foot, first, below_mm)


def board(
    stage: Stage, title: str, groups: Mapping[str, Sequence[Button]], first: int, above_mm: float
) -> tuple[Item, dict[str, Array], int]:
    """A page of buttons in groups, each with its name: the item, where each button lies (4, 2)
    table mm, and the first row of the next page, 0 when all have found room.

    ``first``: the row of buttons that it begins with; ``above_mm``: what the strip takes below.
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
            x += row.put(button, x, y, pitch - GAP_MM) + GAP_MM
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


def lines_in_middle(stage: Stage, lines: Sequence[str], height_mm: float = 15.0) -> Item:
    """Lines of text about the beam's middle."""
    strokes = text_block(lines[:1], height_mm * 1.6)
    for i, line in enumerate(lines[1:], 1):
        strokes += [
            s - np.array([0.0, 2.0 * i * height_mm]) for s in text_block([line], height_mm * 0.8)
        ]
    return Item("lines", (stage.mark("strong", strokes),), stage.reading_frame(stage.middle_mm))


def free_room(
    stage: Stage, rows: int, foot: Sequence[str]
) -> tuple[Array, tuple[float, float, float, float]]:
    """What a page of a few rows leaves free for sketches: its frame, and (left, bottom, right, top) mm."""
    frame, length, height = along_edge(stage, 1e9)
    lines = [p for line in foot for p in wrapped(line, _FOOT_SIZE_MM, length - 2 * _SIDE_MM)]
    low = STRIP_MM + len(lines) * 1.9 * _FOOT_SIZE_MM + 14.0
    return frame, (_SIDE_MM, low, length - _SIDE_MM, height - 70.0 - rows * 34.0 - 8.0)


def _page(
    stage: Stage,
    title: str,
    rows: Sequence[tuple[str, str]],
    foot: Sequence[str],
    first: int,
    below_mm: float,
) -> tuple[Item, int]:
    frame, length, height = along_edge(stage, 1e9)
    low, top, side = below_mm, height - 18.0, 28.0
    foot_size = _FOOT_SIZE_MM
    foot_mm = foot_size * 1.9
    foot = [part for line in foot for part in wrapped(line, foot_size, length - 2 * side)]
    room = top - 52.0 - (low + len(foot) * foot_mm + 10.0)
    # the largest letters with which every row stands, in as few columns as that takes
    for size in (17.0, 15.0, 13.5, 12.0, 11.0, 10.0, 9.0, 8.5, LEAST_TEXT_MM):
        pitch = 2.0 * size
        widest = max((text_width(m, size) for _, m in rows), default=0.0)
        key_mm = max((text_width(k, size) for k, _ in rows), default=0.0) + 1.4 * size
        fit = max(1, int((length - 2 * side + 3 * size) // (widest + key_mm + 3 * size)))
        per = max(1, int(room // pitch))
        columns = min(3, max(1, math.ceil(len(rows) / per)))
        if columns <= fit and columns * per >= len(rows):
            per = math.ceil(len(rows) / columns) if rows else 1
            break
    else:
        columns = min(3, fit)  # the smallest letters and still too much: several pages
    shown = rows[first : first + columns * per]
    if len(shown) < len(rows):
        pages = math.ceil(len(rows) / (columns * per))
        title = f"{title}  {first // (columns * per) + 1} of {pages}"
    column_mm = (length - 2 * side) / columns
    strong: list[Array] = [s + np.array([side, top - 18.0]) for s in text_strokes(title, 18.0)]
    keys: list[Array] = []
    words: list[Array] = []
    for i, (key, meaning) in enumerate(shown):
        x = side + (i // per) * column_mm
        y = top - 50.0 - (i % per) * pitch - size
        meaning = cut_to(meaning, size, column_mm - key_mm - 4.0)
        keys.extend(s + np.array([x, y]) for s in text_strokes(key, size))
        words.extend(s + np.array([x + key_mm, y]) for s in text_strokes(meaning, size))
    for j, line in enumerate(foot):
        y = low + (len(foot) - 1 - j) * foot_mm + 6.0
        words.extend(s + np.array([side, y]) for s in text_strokes(line, foot_size))
    marks = (
        stage.mark("strong", strong, wider=1.1),
        stage.mark("key", keys, wider=1.4),
        stage.mark("text", words),
        stage.mark("button", [polyline((side, top - 30), (length - side, top - 30))]),
    )
    return Item("page", tuple(m for m in marks if len(m.points)), frame), len(shown)


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
