"""Height page: what is measured, one below the other, beside a drawing of the table from its side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drafting.placement import Array, carry
from projector.lettering import text_strokes, text_width
from projector.picture import signs, sketches
from projector.picture import strip as strips
from projector.picture.buttons import rounded
from projector.picture.edge import along_edge
from projector.picture.faces import LEAST_TEXT_MM
from projector.picture.marks import Item, polyline
from projector.picture.pages import wrapped
from projector.picture.stage import Stage

_TITLE = "Height: what lies on the table, and where the lens is"
_SIDE_MM = 28.0
_SQUARE_MM = (230.0, 180.0)  # room for the check square


def height_page(
    stage: Stage,
    rows: Sequence[tuple[str, str, str]],
    chosen: int,
    inches: bool,
) -> list[Item]:
    """The page as items: words and drawing, and the check square where there is room for it.

    Args:
        rows: name, what is noted, how it is measured; in the order of `sketches.HEIGHTS`.
        chosen: the row that the keys change.
    """
    below_mm = strips.MOST_MM + 8.0  # it grows and shrinks with what is said
    frame, length, height = along_edge(stage, 1e9)
    left, top = _SIDE_MM, height - 18.0
    wide = 0.5 * (length - 3 * _SIDE_MM)
    strong: list[Array] = [s + np.array([left, top - 16.0]) for s in text_strokes(_TITLE, 16.0)]
    keys: list[Array] = []
    words: list[Array] = []
    box: list[Array] = []
    room = (top - 44.0 - below_mm) / len(rows)
    for size in (15.0, 13.5, 12.0, 11.0, 10.0, 9.0, LEAST_TEXT_MM):
        told = [wrapped(how, 0.8 * max(size, 10.0), wide - 40.0) for _, _, how in rows]
        tall = max(2.2 * size + 1.5 * 0.8 * max(size, 10.0) * len(t) + 8.0 for t in told)
        widest = max(text_width(f"{name}: {value}", size) for name, value, _ in rows)
        if tall <= room and widest <= wide - 40.0:
            break
    small, y = 0.8 * max(size, 10.0), top - 44.0
    numbers = list(sketches.HEIGHTS.values())
    for n, (name, value, _) in enumerate(rows):
        base = y - 1.5 * size
        keys += [s + np.array([left + 6.0, base]) for s in text_strokes(numbers[n], size)]
        target = strong if n == chosen else words
        target += [
            s + np.array([left + 34.0, base]) for s in text_strokes(f"{name}: {value}", size)
        ]
        line = base
        for part in told[n]:
            line -= 1.6 * small
            words += [s + np.array([left + 34.0, line]) for s in text_strokes(part, small)]
        if n == chosen:  # a frame, not weight alone
            box.append(rounded(left - 6.0, line - 8.0, left + wide, y - 2.0, 6.0))
        y -= room
    marks = [
        stage.mark("strong", [*strong, *box]),
        stage.mark("key", keys),
        stage.mark("text", words),
        stage.mark("button", [polyline((left, top - 30.0), (length - left, top - 30.0))]),
    ]
    out = [Item("page", tuple(m for m in marks if len(m.points)), frame)]
    x0, x1 = left + wide + _SIDE_MM, length - _SIDE_MM
    low, high = below_mm + 6.0, top - 44.0
    side = x1 - x0 > 264.0 + _SQUARE_MM[0] * 1.2  # beside the drawing, else below it
    across = (x1 - _SQUARE_MM[0] + 20.0, low + 60.0)
    room_for = (x0, low, x1 - _SQUARE_MM[0], high) if side else (x0, low + _SQUARE_MM[1], x1, high)
    if not side:
        across = (x0 + 30.0, low + 52.0)
    drawn = sketches.row_of(
        stage, [sketches.heights(list(sketches.HEIGHTS)[chosen])], frame, room_for
    )
    if drawn is not None:
        out.append(drawn)
    corner = carry(frame, np.array([across]))[0]
    panel = signs.check_panel(stage, corner)
    if stage.lens.covers(panel).all():
        out.append(signs.check_square(stage, corner, inches=inches))
    return out
