"""Marker cards: printed once, cut out, laid anywhere on the table; their exact geometry.

First step of a calibration by photo. A card is a small chessboard with a large marker in two
opposite corners. The marker says which card this is; the chessboard's saddle corners, which do
not move with blur, carry the true millimetre. Each paper has ids of its own, so that a photo
alone tells which print lies on the table. The same `Board` describes the projected pattern.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import Array, Image, Mask
from configs.errors import Fault, InputError
from configs.files import FORMAT_VERSION
from configs.paper import PAPERS, pdf_document
from configs.reader import Reader
from configs.units import inches_text

MARKER_CELLS = 6  # four by four bits and a black border all round
MARKER_IDS = 100  # OpenCV's 4x4 dictionary of a hundred; ids from FIRST_PATTERN_ID are projected
FIRST_PATTERN_ID = 32
SETS = ("a4", "letter", "a4-large", "letter-large")
BARS_MM = (180.0, 250.0)


@cache
def marker_bits(marker: int) -> Mask:
    """(6, 6) cells of a marker, True where black, from OpenCV's dictionary DICT_4X4_100."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    drawn = np.asarray(cv2.aruco.generateImageMarker(dictionary, marker, MARKER_CELLS))
    bits: Mask = drawn == 0
    bits.setflags(write=False)
    return bits


@dataclass(frozen=True, eq=False)
class Board:
    """A chessboard with markers, as the detector sees it, in units and axes of its own.

    ``corners`` (N, 2) saddle corners; ``signs`` (N,) +1 where the quadrant towards +x, +y is
    black, -1 where it is white; ``markers`` id -> (4, 2) outer corners of the black border in
    the reading order of the marker (top left, top right, bottom right, bottom left as printed);
    ``square`` side of a square; ``clear`` (N,) how far each corner is clear of other ink, as a
    fraction of a square.
    """

    name: str
    corners: Array
    signs: Array
    markers: Mapping[int, Array]
    square: float
    clear: Array


@dataclass(frozen=True)
class CardShape:
    """Chessboard of ``columns`` x ``rows`` squares centred on a white card, mm."""

    columns: int
    rows: int
    square_mm: float
    width_mm: float
    height_mm: float

    @property
    def marker_mm(self) -> float:
        """Side of a marker: two squares less a white ring."""
        return 1.56 * self.square_mm


def saddles_of(black: Mask) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Where chequers cross in squares (rows, columns): row and column of the square before each, and
    1 where that square is black, -1 where it is white."""
    a, b, c, d = black[:-1, :-1], black[:-1, 1:], black[1:, 1:], black[1:, :-1]
    rows, columns = np.nonzero((a == c) & (b == d) & (a != b))
    return rows, columns, np.where(a[rows, columns], 1.0, -1.0)


def clear_of_ink(corners: Array, quads: list[Array], square: float) -> Array:
    """(N,) half side, in squares, of the window round each corner that no marker reaches into.

    Half a square at most: from there on the neighbouring edges come in.
    """
    clear = np.full(len(corners), 0.5)
    for quad in quads:
        low, high = quad.min(axis=0), quad.max(axis=0)
        gap = np.maximum(np.maximum(low - corners, corners - high), 0.0).max(axis=1)
        clear = np.minimum(clear, gap / square)
    return clear


_STANDARD = CardShape(6, 9, 13.5, 90.0, 130.0)
_LARGE = CardShape(10, 7, 17.5, 184.0, 130.0)


@dataclass(frozen=True)
class Card:
    """One card of a print.

    ``rect_mm``: (x, y, width, height) of the whole card with its white margin, on the page, from
    the page's top-left, y down. The card's own frame has its origin in the middle, x to the
    right and y up as printed.
    """

    id: int
    page: int
    rect_mm: tuple[float, float, float, float]
    shape: CardShape

    @property
    def marker_ids(self) -> tuple[int, int]:
        """Ids of the marker at the top left and of the one at the opposite corner."""
        return (2 * self.id, 2 * self.id + 1)

    def _line(self, i: float, j: float) -> tuple[float, float]:
        """Chessboard line crossing (i from the left, j from the top) in the card's frame, mm."""
        s = self.shape
        return ((i - s.columns / 2) * s.square_mm, (s.rows / 2 - j) * s.square_mm)

    def _blocks(self) -> tuple[tuple[int, int], tuple[int, int]]:
        return ((0, 0), (self.shape.columns - 2, self.shape.rows - 2))

    def _black(self, i: int, j: int) -> bool:
        if not (0 <= i < self.shape.columns and 0 <= j < self.shape.rows):
            return False
        if any(a <= i < a + 2 and b <= j < b + 2 for a, b in self._blocks()):
            return False
        return (i + j) % 2 == 1

    def board(self, scale: tuple[float, float] = (1.0, 1.0)) -> Board:
        """The card for the detector and the solver, mm in the card's frame.

        Args:
            scale: what a printed millimetre measures along x and along y.
        """
        by, s = np.array(scale), self.shape
        black = np.array([[self._black(i, j) for i in range(s.columns)] for j in range(s.rows)])
        rows, columns, signs = saddles_of(black)
        corners = np.array([self._line(i + 1, j + 1) for j, i in zip(rows, columns, strict=True)])
        quads = [self._quad(*block) for block in self._blocks()]
        return Board(
            f"card {self.id}",
            corners * by,
            -signs,  # y runs up here
            {m: quad * by for m, quad in zip(self.marker_ids, quads, strict=True)},
            s.square_mm * float(np.sqrt(by[0] * by[1])),
            clear_of_ink(corners, quads, s.square_mm),
        )

    def _quad(self, a: int, b: int) -> Array:
        """(4, 2) corners of the marker in the block whose first square is (a, b), as printed."""
        m = self.shape.marker_mm / self.shape.square_mm / 2
        ring = ((1 - m, 1 - m), (1 + m, 1 - m), (1 + m, 1 + m), (1 - m, 1 + m))
        return np.array([self._line(a + x, b + y) for x, y in ring])

    def outline_mm(self, scale: tuple[float, float] = (1.0, 1.0)) -> Array:
        """(4, 2) corners of the whole card in its own frame, counter-clockwise, mm."""
        w, h = self.shape.width_mm / 2, self.shape.height_mm / 2
        return np.asarray(np.array([(-w, -h), (w, -h), (w, h), (-w, h)]) * np.array(scale))

    def black_rects_mm(self) -> Array:
        """(M, 4) x, y, width, height of all black from the card's top-left, y down, mm; disjoint."""
        s = self.shape
        x0 = (s.width_mm - s.columns * s.square_mm) / 2
        y0 = (s.height_mm - s.rows * s.square_mm) / 2
        q = s.square_mm
        rects = [
            (x0 + i * q, y0 + j * q, q, q)
            for j in range(s.rows)
            for i in range(s.columns)
            if self._black(i, j)
        ]
        cell = s.marker_mm / MARKER_CELLS
        for marker, (a, b) in zip(self.marker_ids, self._blocks(), strict=True):
            left = x0 + (a + 1) * q - s.marker_mm / 2
            top = y0 + (b + 1) * q - s.marker_mm / 2
            for j, row in enumerate(marker_bits(marker)):
                rects += [
                    (left + i * cell, top + j * cell, cell, cell) for i in np.flatnonzero(row)
                ]
        return np.array(rects)


@dataclass(frozen=True)
class CardSet:
    """All cards of one print: ``name`` of `SETS`, the page's size, and the printed rulers."""

    name: str
    page_mm: tuple[float, float]
    cards: tuple[Card, ...]
    bars_mm: tuple[float, float] = BARS_MM

    @property
    def pages(self) -> int:
        """Pages that carry cards."""
        return max(card.page for card in self.cards)

    def to_dict(self) -> dict[str, Any]:
        """The data of ``cards.yaml``."""
        return {
            "chalkbeam": FORMAT_VERSION,
            "print": self.name,
            "page_mm": list(self.page_mm),
            "bars_mm": list(self.bars_mm),
            "cards": [
                {"id": c.id, "page": c.page, "rect_mm": [float(v) for v in c.rect_mm]}
                for c in self.cards
            ],
        }


@cache
def card_set(name: str) -> CardSet:
    """One of `SETS`.

    Raises:
        InputError: there is no print of that name.
    """
    if name not in SETS:
        raise InputError(
            Fault("cards", f"there is no print '{name}'.", f"Known: {', '.join(SETS)}.")
        )
    paper, large = name.split("-")[0], name.endswith("-large")
    width, height = PAPERS[paper]
    first = 4 * SETS.index(name)
    shape = _LARGE if large else _STANDARD
    w, h = shape.width_mm, shape.height_mm
    gap = 8.0 if paper == "a4" else 7.0  # the printed ruler along x lies in it
    tops = ((height - 2 * h - gap) / 2, (height + gap) / 2)
    columns = 1 if large else 2
    left = width - columns * w - (10.0 if paper == "a4" else 12.0)
    cards = []
    for n in range(4):
        if large:
            page, i, j = 1 + n // 2, 0, n % 2
        else:
            page, i, j = 1, n % 2, n // 2
        rect = (round(left + i * w, 3), round(tops[j], 3), w, h)
        cards.append(Card(first + n, page, rect, shape))
    return CardSet(name, (width, height), tuple(cards))


@cache
def card(card_id: int) -> Card:
    """The card with this id, of whichever print.

    Raises:
        InputError: no print has such a card.
    """
    if not 0 <= card_id < 4 * len(SETS):
        raise InputError(Fault("cards", f"there is no card {card_id}."))
    return card_set(SETS[card_id // 4]).cards[card_id % 4]


def in_words(ids: Sequence[int]) -> str:
    """'card 1', 'cards 1 and 2', 'cards 0, 1 and 2'."""
    *most, last = ids
    return f"cards {', '.join(map(str, most))} and {last}" if most else f"card {last}"


def set_of(card_id: int) -> str:
    """Name of the print that a card belongs to."""
    return SETS[card_id // 4]


def load_cards(path: str | Path) -> CardSet:
    """Read a ``cards.yaml`` and find the print that it belongs to.

    Raises:
        InputError: not ours, or its cards are none that this program prints.
    """
    reader = Reader.of_file(path).only(("chalkbeam", "print", "page_mm", "bars_mm", "cards"))
    rows = reader.rows("cards", ("id", "page", "rect_mm"))
    if not rows:
        reader.note("cards", "must be a list of cards.")
    ids = []
    for row in rows:
        if not row.has("id"):
            row.note("id", "is missing.")
        ids.append(row.count("id", 0, 0, 4 * len(SETS) - 1))
    names = sorted({set_of(i) for i in ids})
    if len(names) > 1:
        reader.note(
            "cards",
            f"mixes the prints {' and '.join(names)}.",
            "Take the file that was written beside the PDF.",
        )
    reader.done()
    return card_set(names[0])


def card_images(name: str, px_per_mm: float) -> dict[int, Image]:
    """Each card of a print as it is printed, for the virtual table and for screens.

    Pixel (row j, column i) holds the exact mean of the paper over its square of 1 / px_per_mm;
    0 is ink, 255 bare paper; the picture covers the whole card with its white margin, as printed
    (first row at the top of the page).

    Returns:
        card id -> (height_mm * px_per_mm, width_mm * px_per_mm) uint8, rounded up.
    """
    pictures = {}
    for each in card_set(name).cards:
        w = math.ceil(each.shape.width_mm * px_per_mm - 1e-9)
        h = math.ceil(each.shape.height_mm * px_per_mm - 1e-9)
        ink = np.zeros((h, w))
        for x, y, a, b in each.black_rects_mm() * px_per_mm:
            c0, c1 = int(x), min(w, math.ceil(x + a))
            r0, r1 = int(y), min(h, math.ceil(y + b))
            across, down = (
                np.clip(at + 1 - low, 0, 1) - np.clip(at + 1 - high, 0, 1)
                for at, low, high in ((np.arange(c0, c1), x, x + a), (np.arange(r0, r1), y, y + b))
            )
            ink[r0:r1, c0:c1] += np.outer(down, across)
        pictures[each.id] = np.rint(255 * (1 - np.minimum(ink, 1))).astype(np.uint8)
    return pictures


# -- the printed pages -----------------------------------------------------------------------

_HOW_TO = (
    (
        "Print",
        'At 100 % ("actual size"), never "fit to page", on plain matt white paper.',
    ),
    (
        "Measure",
        "Two long bars are printed beside the cards. Lay a steel ruler along each and read it from "
        "end mark to end mark. Printers are often 0.2 % out, and no photo can show it.",
    ),
    (
        "Cut",
        "Cut the cards apart at the corner marks. The white margin stays on the card. A card must "
        "lie flat: no curl, no fold.",
    ),
    (
        "Lay",
        "Let the projector warm up for half an hour. Lay on the table what you will cut on, "
        "flat. Is that dark, shiny or printed with a grid? Then first lay white paper over "
        "it wherever the light falls. Show the pattern (chalkbeam calibrate pattern writes it, "
        "calibrate live shows it). Lay one card, print up, in each of its four white windows: "
        "anywhere in the window, at any angle. The nearer to the corners of the light, the truer.",
    ),
    (
        "Photograph",
        "From above and a little from the side, so that no shadow falls on the table. All that "
        "is lit must be in the picture, and all the cards. No flash, no zoom, no wide-angle lens; "
        "hold still.",
    ),
    (
        "Solve",
        "chalkbeam calibrate photo PHOTO.jpg --size 1920x1080 --bars BAR1,BAR2 --out "
        "calibration.yaml, with your projector's own resolution and your two readings, such as {such}.",
    ),
    (
        "Take care",
        "Never look into the lens; keep children and pets from the beam. Fit and aim the "
        "projector only as its maker and the mount's maker say.",
    ),
)


def bar_text(mm: float, unit: str) -> str:
    """How long a bar is drawn, for a rule in mm or in 64ths of an inch."""
    return f"{inches_text(mm / 25.4, 64)} in" if unit == "in" else f"{mm:g} mm"


def cards_pdf(name: str, unit: str = "mm") -> bytes:
    """The PDF of a print: its page or pages of cards, then a page on how to lay them.

    Vector; coordinates are exact to 0.01 mm. ``unit``: of her rule, mm or in.

    Raises:
        InputError: there is no print of that name.
    """
    cards = card_set(name)
    width, height = cards.page_mm
    # A hair under the paper: a box that PDF's hundredths of a point round up makes viewers that
    # count whole pixels add one and stretch the page.
    pdf = pdf_document((width - 0.002, height - 0.003), "chalkbeam marker cards")
    for page in range(1, cards.pages + 1):
        pdf.add_page()
        for each in cards.cards:
            if each.page == page:
                _draw_card(pdf, each)
        _draw_bars(pdf, cards, page, unit)
    pdf.add_page()
    _draw_how_to(pdf, cards, unit)
    return bytes(pdf.output())


def _draw_card(pdf: Any, each: Card) -> None:
    x, y, w, h = each.rect_mm
    # one path for all ink: an antialiasing viewer leaves no seams between touching cells
    with pdf.drawing_context() as context:
        from fpdf.drawing import PaintedPath
        from fpdf.enums import PathPaintRule

        path = PaintedPath()
        path.style.fill_color = "#000000"
        path.style.stroke_color = None
        path.style.paint_rule = PathPaintRule.FILL_NONZERO
        for a, b, cw, ch in each.black_rects_mm():
            path.rectangle(x + a, y + b, cw, ch)
        context.add_item(path)
    pdf.set_draw_color(120)
    pdf.set_line_width(0.1)
    for cx, sx in ((x, 1), (x + w, -1)):
        for cy, sy in ((y, 1), (y + h, -1)):
            pdf.line(cx, cy, cx + 3 * sx, cy)
            pdf.line(cx, cy, cx, cy + 3 * sy)
    pdf.set_font("Helvetica", size=6)
    pdf.set_text_color(110)
    # between the chessboard and the cut, clear of both markers
    pdf.text(x + 6.0, y + h - 1.4, f"chalkbeam card {each.id}")


def _bar_starts(cards: CardSet, page: int) -> tuple[tuple[float, float], tuple[float, float]]:
    """Left end of the bar across and upper end of the bar up the page, mm from its top-left."""
    width, height = cards.page_mm
    first = min((c for c in cards.cards if c.page == page), key=lambda c: c.rect_mm[1])
    below = 4.0 if width < 212 else 3.5
    return (
        (first.rect_mm[0] + 1.0, first.rect_mm[1] + first.rect_mm[3] + below),
        (first.rect_mm[0] - 5.0, (height - cards.bars_mm[1]) / 2),
    )


def _draw_bars(pdf: Any, cards: CardSet, page: int, unit: str) -> None:
    along, down = cards.bars_mm
    (x0, y), (x, y0) = _bar_starts(cards, page)
    pdf.set_draw_color(0)
    pdf.set_text_color(0)
    pdf.set_line_width(0.15)
    for long, left, top, (right, low) in ((along, x0, y, (1, 0)), (down, x, y0, (0, 1))):
        pdf.line(left, top, left + right * long, top + low * long)
        for mm in range(0, int(long) + 1, 10):
            tall = 2.2 if mm in (0, int(long)) else 0.9
            mx, my = left + right * mm, top + low * mm
            pdf.line(mx - low * tall, my - right * tall, mx + low * tall, my + right * tall)
    pdf.set_font("Helvetica", size=6)
    read = "read your ruler from end mark to end mark."
    pdf.text(x0 + 3, y - 1.2, f"Bar 1, drawn {bar_text(along, unit)}: {read}")
    with pdf.rotation(90, x - 2.8, y0 + down - 3):
        pdf.text(x - 2.8, y0 + down - 3, f"Bar 2, drawn {bar_text(down, unit)}: {read}")


_SIZE, _LINE_MM = 10.5, 4.9  # points, mm


def _draw_how_to(pdf: Any, cards: CardSet, unit: str) -> None:
    width, height = cards.page_mm
    left, wide, indent = 18.0, width - 36.0, 32.0
    pdf.set_text_color(0)
    pdf.c_margin = 0.0
    pdf.set_xy(left, 14)
    pdf.set_font("Helvetica", style="B", size=18)
    pdf.cell(wide, 10, "The cards: from the printer to a true picture")
    y = 28.0
    such = "7 1/16 in,9 13/16 in" if unit == "in" else "180.4,250.2"
    for number, (head, text) in enumerate(_HOW_TO, 1):
        pdf.set_xy(left, y)
        pdf.set_font("Helvetica", style="B", size=_SIZE)
        pdf.cell(indent, _LINE_MM, f"{number}  {head}" if number < len(_HOW_TO) else head)
        pdf.set_xy(left + indent, y)
        pdf.set_font("Helvetica", size=_SIZE)
        pdf.multi_cell(wide - indent, _LINE_MM, text.format(such=such), align="L")
        y = pdf.get_y() + 1.8
        if head == "Measure":
            y = _draw_readings(pdf, cards, left + indent, y + 2.2, unit) + 3.0
    pdf.set_font("Helvetica", size=8.5)
    gap, page = 6.0, 44.0
    column = (wide - page - 2 * gap) / 2
    high = min(56.0, height - y - 24.0)
    _draw_page(pdf, cards, left, y + 4, page, high)
    _draw_table(pdf, left + page + gap, y + 4, column, high)
    _draw_taking(pdf, left + page + column + 2 * gap, y + 4, column, high)


def _draw_readings(pdf: Any, cards: CardSet, x: float, y: float, unit: str) -> float:
    """Blanks for what the ruler reads; where they end."""
    pdf.set_draw_color(0)
    pdf.set_line_width(0.2)
    for i, (mm, how) in enumerate(zip(cards.bars_mm, ("across", "up the page"), strict=True)):
        base = y + 3.4 + 7.0 * i
        pdf.text(x, base, f"Bar {i + 1}, {how}, drawn {bar_text(mm, unit)}. My ruler reads")
        pdf.line(x + 86.0, base + 0.6, x + 106.0, base + 0.6)
        pdf.text(x + 108.0, base, unit)
    return y + 12.0


def _draw_page(pdf: Any, cards: CardSet, x: float, y: float, w: float, h: float) -> None:
    """The first page of the print, small: where its two bars are, and a ruler on one."""
    pdf.set_draw_color(0)
    k = min(w / cards.page_mm[0], h / cards.page_mm[1])
    pdf.set_line_width(0.3)
    pdf.rect(x, y, cards.page_mm[0] * k, cards.page_mm[1] * k)
    pdf.set_fill_color(205)
    for each in cards.cards:
        if each.page == 1:
            a, b, wide, high = (v * k for v in each.rect_mm)
            pdf.rect(x + a + 0.8, y + b + 0.8, wide - 1.6, high - 1.6, style="F")
    (x0, y0), (x1, y1) = _bar_starts(cards, 1)
    across, down = cards.bars_mm
    pdf.set_line_width(0.7)
    pdf.line(x + x0 * k, y + y0 * k, x + (x0 + across) * k, y + y0 * k)
    pdf.line(x + x1 * k, y + y1 * k, x + x1 * k, y + (y1 + down) * k)
    pdf.set_fill_color(255)
    pdf.set_font("Helvetica", style="B", size=8)
    for number, at in (
        ("1", (x + (x0 + 0.5 * across) * k, y + y0 * k)),
        ("2", (x + x1 * k, y + (y1 + 0.5 * down) * k)),
    ):
        pdf.set_line_width(0.25)
        pdf.ellipse(at[0] - 2.0, at[1] - 2.0, 4.0, 4.0, style="DF")
        pdf.text(at[0] - 0.5 * pdf.get_string_width(number), at[1] + 1.0, number)
    _caption(pdf, x, y + h + 2, w, "2  Bars 1 and 2 on the page with the cards.")


def _caption(pdf: Any, x: float, y: float, w: float, text: str) -> None:
    pdf.set_font("Helvetica", size=9)
    pdf.set_xy(x, y)
    pdf.multi_cell(w, 4.2, text, align="L")


_ACROSS, _DOWN = 24, 13  # cells of the little pattern, about as wide as a projector's picture


def _draw_table(pdf: Any, x: float, y: float, w: float, h: float) -> None:
    """The table from above: the lit pattern and one card in each of its four windows."""
    pdf.set_draw_color(0)
    pdf.set_line_width(0.3)
    pdf.rect(x, y, w, h)
    cell = min((w - 8.0) / _ACROSS, (h - 8.0) / _DOWN)
    left, top = x + (w - _ACROSS * cell) / 2, y + (h - _DOWN * cell) / 2
    windows = [(a, b) for a in (1, 18) for b in (1, _DOWN - 6)]
    pdf.set_fill_color(205)
    for j in range(_DOWN):
        for i in range(_ACROSS):
            inside = any(a <= i < a + 5 and b <= j < b + 5 for a, b in windows)
            if (i + j) % 2 and not inside:
                pdf.rect(left + i * cell, top + j * cell, cell, cell, style="F")
    pdf.set_line_width(0.2)
    pdf.rect(left, top, _ACROSS * cell, _DOWN * cell)
    for (a, b), turn in zip(windows, (8, -12, 95, 4), strict=True):
        cx, cy = left + (a + 2.5) * cell, top + (b + 2.5) * cell
        with pdf.rotation(turn, cx, cy):
            pdf.set_fill_color(255)
            pdf.rect(cx - 1.35 * cell, cy - 1.95 * cell, 2.7 * cell, 3.9 * cell, style="DF")
            pdf.set_fill_color(60)
            q = 0.4 * cell
            for j in range(9):
                for i in range(6):
                    if (i + j) % 2:
                        pdf.rect(cx + (i - 3) * q, cy + (j - 4.5) * q, q, q, style="F")
    _caption(
        pdf,
        x,
        y + h + 2,
        w,
        "4  From above: the light on the table, one card in each white window.",
    )


def _draw_taking(pdf: Any, x: float, y: float, w: float, h: float) -> None:
    """From the side: the projector over the table, the phone beside its light, what it must see."""
    pdf.set_draw_color(0)
    pdf.set_line_width(0.3)
    pdf.rect(x, y, w, h)
    table, mid = y + h - 7.0, x + 0.42 * w
    half = 0.27 * w
    lens = (mid, y + 10.0)
    phone = (x + 0.8 * w, y + 0.34 * h)
    pdf.set_fill_color(232)
    pdf.polygon([lens, (mid - half, table), (mid + half, table)], style="F")
    pdf.set_line_width(0.6)
    pdf.line(x + 6.0, table, x + w - 8.0, table)
    for leg in (x + 10.0, x + w - 12.0):
        pdf.line(leg, table, leg, y + h - 2.5)
    pdf.set_line_width(0.2)
    pdf.set_dash_pattern(1.2, 0.9)
    for end in (mid - half - 3.0, mid + half + 3.0):
        pdf.line(*phone, end, table)
    pdf.set_dash_pattern()
    pdf.set_fill_color(90)
    pdf.rect(mid - 5.0, y + 5.5, 10.0, 4.5, style="F")
    pdf.rect(mid - half + 3.0, table - 0.9, 8.0, 0.9, style="F")
    pdf.rect(mid + half - 11.0, table - 0.9, 8.0, 0.9, style="F")
    with pdf.rotation(-35, *phone):
        pdf.rect(phone[0] - 4.0, phone[1] - 1.2, 8.0, 1.6, style="F")
    pdf.set_font("Helvetica", size=8)
    pdf.text(mid + 6.5, y + 8.6, "projector")
    pdf.text(phone[0] - 5.5, phone[1] - 4.2, "phone")
    pdf.text(mid - half + 3.5, table + 4.0, "card")
    pdf.text(mid + half - 10.5, table + 4.0, "card")
    _caption(
        pdf, x, y + h + 2, w,
        "5  From the side: the phone stays out of the light and sees all of it.",
    )  # fmt: skip
