"""A wardrobe on paper: every garment with its pieces drawn to one scale, and what is to know of it.

Beside the other writers of `drafting.export`; the command reads the folder and says what is shown.
Sheets are in mm from their top-left corner, y down, of a height or as high as it takes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from drafting.allowance import FOLD
from drafting.export.marks import CUTTING, MARK, SEWING, Shown, shown
from drafting.figures.drawing import GREY, Drawing, Stroke, Writing, svg_width, text_lines
from drafting.piece import Piece

Measure = Callable[[str, float], float]
SCALES = (5, 8, 10, 12, 15, 20, 30, 50)  # 1 to so many, the largest that the widest piece allows
PAGE_MM = (210.0, 297.0)
_MARGIN, _GAP = 12.0, 4.0
_TEXT_MM, _BETWEEN = 60.0, 6.0  # the column of words, and what parts it from the pieces
_TITLE, _SMALL = 4.2, 2.7
_PITCH = 1.35
_FOOT = 6.0
_PENS = {CUTTING: "line", SEWING: "faint", FOLD: "fold", MARK: "level"}


@dataclass(frozen=True, eq=False)
class Card:
    """One garment: ``lines`` and ``alarms`` (out of date, cannot be drafted) are for people;
    ``traced``: pieces that are traced, by name, drawn with a heavy line."""

    title: str
    lines: tuple[str, ...] = ()
    alarms: tuple[str, ...] = ()
    pieces: Mapping[str, Piece] = field(default_factory=dict)
    allowances: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    traced: Mapping[str, str] = field(default_factory=dict)


def scale_of(cards: Sequence[Card]) -> int:
    """One to how much every piece is drawn: the widest and the highest have room."""
    wide, high = _room(None)
    boxes = [s.box for c in cards for s in _shown(c).values()]
    need = max((max((b[2] - b[0]) / wide, (b[3] - b[1]) / high) for b in boxes), default=0.0)
    return next((s for s in SCALES if s >= max(need, 10.0)), SCALES[-1])


def sheets(
    cards: Sequence[Card],
    title: str,
    *,
    height_mm: float | None = PAGE_MM[1],
    measure: Measure = svg_width,
) -> list[Drawing]:
    """The cards one below the other on sheets of a height; on one sheet if that is None."""
    one_to = scale_of(cards)
    blocks = [_block(c, one_to, measure) for c in cards]
    out: list[Drawing] = []
    here: list[tuple[Drawing, float]] = []
    low = _MARGIN + 10.0
    foot = (height_mm or np.inf) - _MARGIN - _FOOT
    for block in blocks:
        if here and low + block.height_mm > foot:
            out.append(_sheet(here, low, title if not out else "", one_to, height_mm))
            here, low = [], _MARGIN
        here.append((block, low))
        low += block.height_mm + 2 * _GAP
    out.append(_sheet(here, low, title if not out else "", one_to, height_mm))
    return out


def _room(height_mm: float | None) -> tuple[float, float]:
    """(width, height) mm that a card's pieces have."""
    wide = PAGE_MM[0] - 2 * _MARGIN - _TEXT_MM - _BETWEEN
    return wide, (height_mm or PAGE_MM[1]) - 2 * _MARGIN - 40.0


def _shown(card: Card) -> dict[str, Shown]:
    allowances = {name: card.allowances.get(name, {}) for name in card.pieces}
    return shown(card.pieces, allowances) if card.pieces else {}


def _block(card: Card, one_to: int, measure: Measure) -> Drawing:
    """A card from its own top-left corner."""
    wide, _ = _room(None)
    writings, y = [], 0.0
    for text, size, strong in (
        (card.title, _TITLE, True),
        *((t, _SMALL, False) for t in card.lines),
        *((t, _SMALL, True) for t in card.alarms),
    ):
        for line in text_lines(text, size, _TEXT_MM, measure):
            y += size * _PITCH
            writings.append(Writing((0.0, y), line, size, strong=strong, bare=True))
    drawn: list[Stroke] = []
    left0 = _TEXT_MM + _BETWEEN
    x, top, deep = 0.0, 0.0, 0.0
    for name, one in _shown(card).items():
        a, b, c, d = one.box
        told = [name, *([card.traced[name]] if name in card.traced else [])]
        w = max((c - a) / one_to, *(measure(t, _SMALL) for t in told))
        h = (d - b) / one_to + _SMALL * _PITCH * len(told)
        if x and x + w > wide:
            x, top, deep = 0.0, top + deep + _GAP, 0.0
        at = np.array([left0 + x, top])
        for stroke in one.drawn:
            pen = _PENS.get(stroke.kind, "faint")
            if stroke.kind == CUTTING and name in card.traced:
                pen = "new"
            points = (stroke.inked - (a, d)) * (1.0, -1.0) / one_to + at
            drawn.append(Stroke(points, pen))
        for i, text in enumerate(told, 1):
            low = top + (d - b) / one_to + _SMALL * _PITCH * i
            writings.append(Writing((left0 + x, low), text, _SMALL, colour=GREY, bare=True))
        x, deep = x + w + _GAP, max(deep, h)
    return Drawing(PAGE_MM[0] - 2 * _MARGIN, max(y, top + deep), tuple(drawn), tuple(writings))


def _sheet(
    blocks: Sequence[tuple[Drawing, float]],
    low: float,
    title: str,
    one_to: int,
    height_mm: float | None,
) -> Drawing:
    """Cards put on their sheet, with a head on the first and the scale at the foot of each."""
    high = height_mm or low + _FOOT + _MARGIN
    lines: list[Stroke] = []
    words: list[Writing] = []
    if title:
        words.append(Writing((_MARGIN, _MARGIN + 5.0), title, 5.0, strong=True, bare=True))
    for i, (block, top) in enumerate(blocks):
        shift = np.array([_MARGIN, top])
        lines += [replace(s, points=s.points + shift) for s in block.strokes]
        words += [replace(w, at=(w.at[0] + _MARGIN, w.at[1] + top)) for w in block.writings]
        if i:
            y = top - _GAP
            lines.append(Stroke(np.array([[_MARGIN, y], [PAGE_MM[0] - _MARGIN, y]]), "rule"))
    foot = f"All pieces 1 : {one_to}. Heavy lines: traced."
    words.append(Writing((_MARGIN, high - _MARGIN), foot, _SMALL, colour=GREY, bare=True))
    return Drawing(PAGE_MM[0], high, tuple(lines), tuple(words))
