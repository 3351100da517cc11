"""The pages of a tiled pattern, drawn into a PDF: cover, map, sheets.

Last station of `drafting.export.pdf`, which has decided what lies where. A solid line says where
to trim, a dashed one where the next sheet's trimmed edge lies, and diamonds on that line are
whole again when it does. The first page carries a 100 mm and a 4 in square.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from configs.paper import pdf_document
from drafting.allowance import FOLD
from drafting.export.marks import (
    CUTTING,
    DART,
    DRILL,
    GRAIN,
    MARK,
    NOTCH,
    SEWING,
    SIGN,
    says_size,
)
from drafting.export.packing import Grid, Spot
from drafting.export.tiles import COVER_MM, DIAMOND_MM, Clear, Laid, outward
from drafting.figures.drawing import svg_width
from drafting.lettering import Lettering, one_line
from drafting.outline import Points

SQUARES_MM = (100.0, 101.6)  # 4 in
SQUARE_GAP_MM = 8.0

# weight mm, (dash, gap) mm, grey
_LOOKS: dict[str, tuple[float, tuple[float, float], int]] = {
    CUTTING: (0.6, (0, 0), 0),
    SEWING: (0.3, (5, 2.5), 0),
    FOLD: (0.5, (14, 3), 0),
    GRAIN: (0.3, (0, 0), 60),
    SIGN: (0.3, (0, 0), 60),
    NOTCH: (0.6, (0, 0), 0),
    DART: (0.3, (3, 2), 60),
    DRILL: (0.3, (0, 0), 60),
    MARK: (0.25, (8, 2), 60),
}
_BAR = (0.7, (0, 0), 60)  # a mark that says a size, as the bar of a slit

_NOTICE = (
    'Print at 100 % ("actual size"), never "fit to page".',
    "Measure both squares, across and up. If one is off",
    "by more than 0.5 mm, do not cut: change the print",
    "settings and print this page again.",
)


def _notice(unit: str) -> tuple[str, ...]:
    """What is said of the two squares, which stand there in both systems: hers is the ruler."""
    return tuple(line.replace("0.5 mm", "1/64 in") if unit == "in" else line for line in _NOTICE)


_JOIN = (
    "Trim each sheet along its solid lines (left, top).",
    "Lay the cut edge on the dashed line of the sheet",
    "before it, until the diamonds close, and tape.",
)


@dataclass(frozen=True)
class Plan:
    """What is printed, and where it lies: ``laid`` on the joined paper, its ``grid`` of sheets,
    (row, column) of the ``sheets`` in page order, the ``page`` (width, height) mm with its
    ``margin``; ``cover``: where the test squares lie among the pieces, None for pages of their own;
    ``notes``: lines for the first page, said of the cloth; ``unit``: in for who works in inches."""

    laid: tuple[Laid, ...]
    grid: Grid
    sheets: tuple[tuple[int, int], ...]
    page: tuple[float, float]
    margin: float
    cover: Spot | None
    title: str
    paper: str
    notes: tuple[str, ...] = ()
    unit: str = "mm"

    @property
    def first_sheet(self) -> int:
        """The number of the first page with pattern on it, from 1."""
        if self.cover is not None:
            return 1
        return 2 if len(self.sheets) == 1 else 3


class Press:
    """Draws the pages of one PDF. ``missing``: letters that no font here has."""

    def __init__(self, plan: Plan, fonts: Sequence[Path]) -> None:
        self.plan = plan
        self.laid, self.grid, self.sheets = plan.laid, plan.grid, plan.sheets
        self.page, self.margin, self.cover = plan.page, plan.margin, plan.cover
        self.title, self.paper = plan.title, plan.paper
        self.clear = Clear(plan.laid)
        self.pdf = pdf_document(plan.page, one_line(plan.title) or "pattern")
        texts = [
            *_notice(plan.unit),
            *_JOIN,
            plan.title,
            *plan.notes,
            *(r for p in plan.laid for r in p.label.rows),
            "mm in 4 x . sheets",
        ]
        self.letters = Lettering(self.pdf, texts, fonts)

    def pages(self) -> tuple[bytes, int, str]:
        """The finished PDF, its number of pages, and letters that no font here has."""
        if self.cover is None:
            self.cover_page()
            if len(self.sheets) > 1:
                self.map_page()
        for number, sheet in enumerate(self.sheets, 1):
            self.sheet_page(sheet, number)
        return bytes(self.pdf.output()), self.pdf.page, self.letters.missing

    # -- small drawing helpers

    def pen(self, weight: float, dash: tuple[float, float] = (0, 0), grey: int = 0) -> None:
        self.pdf.set_line_width(weight)
        self.pdf.set_dash_pattern(*dash)
        self.pdf.set_draw_color(grey)

    def text(self, x: float, y: float, words: str, size: float, grey: int = 0) -> None:
        self.pdf.set_text_color(grey)
        self.letters.write(x, y, words, size)

    def name(self, sheet: tuple[int, int]) -> str:
        """Row letter and column number: B3."""
        row, letters = sheet[0], ""
        while row >= 0:
            letters = chr(ord("A") + row % 26) + letters
            row = row // 26 - 1
        return f"{letters}{sheet[1] + 1}"

    # -- pages

    def cover_page(self) -> None:
        self.pdf.add_page(format=self.page)
        width = self.page[0] - 2 * self.margin
        height = self.page[1] - 2 * self.margin
        self.cover_block(self.margin, self.margin, width, height)

    def cover_block(self, x: float, y: float, width: float, height: float) -> None:
        """Test squares, what to do with them, what is printed: in a box at (x, y) mm.

        The squares stand one above the other where the box is high enough, with the words beside
        them; else side by side, with the words below.
        """
        first, second = SQUARES_MM
        upright = first + SQUARE_GAP_MM + second <= height
        self.square(x, y, first, "100 mm")
        if upright:
            self.square(x, y + first + SQUARE_GAP_MM, second, "4 in")
            left, top = x + second + 6, y + 5
            room = x + width - left
            foot = y + height
            end = self.told(left, top, room)
            end = self.listed(left, end, room, foot)
            if self.cover is not None and len(self.sheets) > 1:
                end = max(end, y + 160.0)
                self.map(left, end, room, foot - end)
            return
        self.square(x + first + SQUARE_GAP_MM, y, second, "4 in")
        top, room = y + second + 9, (width - 8) / 2
        self.told(x, top, room)
        self.listed(x + room + 8, top, room, y + height)

    def square(self, x: float, y: float, side: float, said: str) -> None:
        """A square to measure, its corner at (x, y) mm."""
        self.pen(0.2)
        self.pdf.rect(x, y, side, side)
        self.text(x + 5, y + side / 2 - 1, f"{said} × {said}", 5)
        how = "from the middle of one line to the middle of the other"
        self.text(x + 5, y + side / 2 + 6, how, 2.6, 90)

    def told(self, x: float, y: float, room: float) -> float:
        """The title and what to do, from (x, y) mm down; where it ends."""
        head = self.title or "pattern"
        self.text(x, y, head, self.letters.fitted(head, 6, room))
        y += 8
        for block in (
            _notice(self.plan.unit),
            _JOIN if len(self.sheets) > 1 else (),
            self.plan.notes,
        ):
            for line in block:
                self.text(x, y, line, self.letters.fitted(line, 3.4, room))
                y += 5
            y += 3 if block else 0
        return y

    def listed(self, x: float, y: float, room: float, foot: float) -> float:
        """How many sheets there are, and the pieces as far as there is room; where it ends."""
        what = f"{len(self.sheets)} sheet{'s' if len(self.sheets) > 1 else ''}, {self.paper}"
        self.text(x, y, what, 3.4)
        y += 7
        for p in self.laid:
            if y > foot - 12:
                self.text(x, y, "...", 3.4)
                break
            head, how = p.piece.name, p.piece.how_to_cut
            self.text(x, y, head, self.letters.fitted(head, 3.8, room))
            self.text(x, y + 4.5, how, self.letters.fitted(how, 3, room), 70)
            y += 11
        return y

    def map_page(self) -> None:
        self.pdf.add_page(format=self.page)
        width, height = self.page[0] - 2 * self.margin, self.page[1] - 2 * self.margin
        x, y = self.margin, self.margin
        head = f"{self.title}: map of the sheets" if self.title else "map of the sheets"
        self.text(x, y + 5, head, self.letters.fitted(head, 5, width))
        self.text(x, y + 11, "Rows are letters, columns numbers. Not to scale.", 3.2, 70)
        self.map(x, y + 16, width, height - 16)

    def map(self, x: float, y: float, width: float, height: float) -> None:
        """All sheets with the pieces on them, fitted into a box at (x, y) mm on the page."""
        g = self.grid
        rows = 1 + max(r for r, _ in self.sheets)
        columns = 1 + max(c for _, c in self.sheets)
        scale = min(
            width / (columns * g.step_x + g.overlap), height / (rows * g.step_y + g.overlap)
        )
        self.pen(0.15, (1.2, 1.2), 120)
        wide, tall = g.step_x * scale, g.step_y * scale
        for r, c in self.sheets:
            self.pdf.rect(x + c * g.step_x * scale, y + r * g.step_y * scale, wide, tall)
        self.pen(0.25)
        for p in self.laid:
            for s in p.drawn:
                if s.kind == CUTTING:
                    self.line(s.points * scale + (x, y), True)
        if self.cover is not None:
            self.pdf.rect(x, y, COVER_MM[0] * scale, COVER_MM[1] * scale)
        for r, c in self.sheets:
            left, top = x + (c * g.step_x + 8) * scale, y + (r * g.step_y + 8) * scale + 3.2
            self.text(left, top, self.name((r, c)), min(5.0, wide / 4), 70)
        for p in self.laid:
            name = p.label.rows[0]
            low, high = p.box
            room = (high[0] - low[0]) * scale - 1
            size = self.letters.fitted(name, 4, room, 1.5)
            cx, cy = (low + high) / 2 * scale + (x, y)
            self.text(cx - self.letters.width(name, size) / 2, cy, name, size)

    def sheet_page(self, sheet: tuple[int, int], number: int) -> None:
        self.pdf.add_page(format=self.page)
        g, (r, c) = self.grid, sheet
        shift = np.array([self.margin - c * g.step_x, self.margin - r * g.step_y])
        low, high = -shift + self.margin, -shift + self.margin + (g.width, g.height)
        single = len(self.sheets) == 1
        with self.pdf.rect_clip(
            self.margin, self.margin, g.width, min(g.height, self.page[1] - 2 * self.margin)
        ):
            if not single:
                self.watermark(sheet)
            for p in self.laid:
                box = p.box
                if np.all(box[0] <= high) and np.all(box[1] >= low):
                    self.piece(p, shift)
            if self.cover is not None and sheet == (0, 0):
                self.cover_block(self.margin, self.margin, *COVER_MM)
        if not single:
            self.joints(sheet, number)

    def watermark(self, sheet: tuple[int, int]) -> None:
        """The sheet's name, large and pale, under the lines."""
        name = self.name(sheet)
        size = min(self.grid.width, self.grid.height) / 4
        x = self.page[0] / 2 - self.letters.width(name, size) / 2
        self.text(x, self.page[1] / 2 + size / 3, name, size, 235)

    def piece(self, p: Laid, shift: Points) -> None:
        for s in p.drawn:
            self.pen(*(_LOOKS[s.kind] if not says_size(s) else _BAR))
            self.line(s.points + shift, s.closed and not s.on_fold)
        for w in p.words:
            x, y = w.at[0] + shift[0], w.at[1] + shift[1]
            room = svg_width(w.text, w.em_mm)
            with self.pdf.rotation(90 if p.turned else 0, x, y):
                self.text(x, y, w.text, self.letters.fitted(w.text, w.em_mm, room, 1.5))
        x, y = p.label.centre[0] + shift[0], p.label.centre[1] + shift[1]
        rows = p.label.set_in(self.letters.width, 1.8)
        middle = 0.3 * rows[-1][1]  # of the letters, over their base line
        with self.pdf.rotation(p.label.turn_deg, x, y):
            for row, em, down in rows:
                self.text(x - self.letters.width(row, em) / 2, y + down + middle, row, em)

    def line(self, points: Points, closed: bool) -> None:
        self.pdf.polyline(points.tolist(), polygon=closed)

    def joints(self, sheet: tuple[int, int], number: int) -> None:
        """Trim lines, the next sheets' edges, diamonds on both, and what sheet this is."""
        g, (r, c), m = self.grid, sheet, self.margin
        right, bottom = m + g.width, m + g.height
        have = set(self.sheets)
        after_x, after_y = m + g.step_x, m + g.step_y
        corner = np.array([c * g.step_x - m, r * g.step_y - m])  # page → joined paper
        for x, other in ((m, (r, c - 1)), (after_x, (r, c + 1))):
            if other in have:
                self.pen(0.2, (0, 0) if x == m else (2, 2), 130)
                self.pdf.line(x, m, x, bottom)
                for y in self.clear.diamonds_along(np.array([x, m]) + corner, (0.0, g.height)):
                    self.diamond(x, y - corner[1])
        for y, other in ((m, (r - 1, c)), (after_y, (r + 1, c))):
            if other in have:
                self.pen(0.2, (0, 0) if y == m else (2, 2), 130)
                self.pdf.line(m, y, right, y)
                for x in self.clear.diamonds_along(np.array([m, y]) + corner, (g.width, 0.0)):
                    self.diamond(x - corner[0], y)
        for at, along, other in (
            ((after_x + 1.2, m + g.height / 2), (0.0, 1.0), (r, c + 1)),
            ((m + g.width / 2, after_y + 4), (1.0, 0.0), (r + 1, c)),
        ):
            if other in have:
                name = self.name(other)
                reach = 0.4 * (g.width * along[0] + g.height * along[1])
                spots = [np.array(at) + s * np.array(along) for s in outward(reach, 6.0)]
                wide = self.letters.width(name, 3.4)
                self.text(*self.clear.clearest(spots, wide, 3.4, corner), name, 3.4, 130)
        words = f"{self.name(sheet)}  ·  sheet {number} of {len(self.sheets)}  ·  100 %"
        if self.title:
            words += f"  ·  {self.title}"
        size = self.letters.fitted(words, 2.8, g.width / 2)
        # what lies past the dashed lines is covered when the sheets are joined
        free_x = g.step_x - self.letters.width(words, size) - 6.0
        spots = [
            np.array([m + 2 + x, m + 8 + y])
            for y in np.linspace(0.0, g.step_y - 20.0, 9)
            for x in np.linspace(0.0, max(free_x, 0.0), 5)
        ]
        wide = self.letters.width(words, size)
        self.text(*self.clear.clearest(spots, wide, size, corner), words, size, 130)

    def diamond(self, x: float, y: float) -> None:
        """A registration mark centred on a joint: half of it on each sheet."""
        self.pen(0.2)
        a = DIAMOND_MM
        with self.pdf.rect_clip(self.margin, self.margin, self.grid.width, self.grid.height):
            self.pdf.polygon([(x - a, y), (x, y - a), (x + a, y), (x, y + a)])
            self.pdf.line(x - a, y, x + a, y)
            self.pdf.line(x, y - a, x, y + a)
