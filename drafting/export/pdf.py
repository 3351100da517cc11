"""Pieces as a PDF at exact scale, tiled on sheets of paper: for when there is no projector.

Beside the other writers of `drafting.export`. Pieces are packed on one large sheet
(`drafting.export.packing`), which is cut into overlapping tiles; each tile is a page. A solid
line says where to trim, a dashed one where the next sheet's trimmed edge lies, and diamonds on
that line are whole again when it does. The first page carries a 100 mm and a 4 in square; desk
printers get a map of the sheets as second page.

PDF (ISO 32000): 1 unit is 1/72 in; positions are written to 0.01 unit, 0.0035 mm.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from configs.errors import Fault, InputError
from configs.paper import PAPERS, pdf_document
from configs.units import length_text
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
    Label,
    MarkWords,
    Stroke,
    label_of,
    mark_words,
    says_size,
    strokes,
)
from drafting.export.packing import Grid, Spot, pack
from drafting.export.svg import box_of, own_allowances
from drafting.figures.drawing import svg_width
from drafting.lettering import Lettering, one_line
from drafting.outline import Points
from drafting.piece import Piece

ROLL = "roll"
ROLL_LONGEST_MM = 5000.0  # a PDF page ends at 14 400 units, 5.08 m (ISO 32000)
ROLL_WIDTHS_MM = (200.0, 3000.0)
LARGE_MM = 700.0  # from this width on a sheet holds whole pieces and no cover page is spent
MARGIN_MM = 10.0  # more than any desk printer needs at its edges
LARGE_MARGIN_MM = 10.0
OVERLAP_MM = 10.0
GAP_MM = 8.0
LINE_ROOM_MM = 1.0
COVER_MM = (190.0, 232.0)
MAX_SHEETS = 400
SQUARES_MM = (100.0, 101.6)  # 4 in
SQUARE_GAP_MM = 8.0
DIAMOND_MM = 4.0  # half of a registration mark

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
_JOIN = (
    "Trim each sheet along its solid lines (left, top).",
    "Lay the cut edge on the dashed line of the sheet",
    "before it, until the diamonds close, and tape.",
)


@dataclass(frozen=True)
class Printed:
    """A finished PDF: ``data`` its bytes, ``pages``, ``sheets`` (row, column) of the pattern in
    page order, ``first_sheet`` the number of the first page with pattern on it (from 1), ``grid``
    how they join, ``spots`` where each piece lies on the joined paper (name → spot; mm from its
    top-left corner, y down, of a box 1 mm larger than its lines), ``missing`` letters that no font here has."""

    data: bytes
    pages: int
    sheets: tuple[tuple[int, int], ...]
    first_sheet: int
    grid: Grid
    margin_mm: float
    page_mm: tuple[float, float]
    spots: Mapping[str, Spot]
    missing: str


@dataclass(frozen=True)
class _Laid:
    """A piece where it lies on the joined paper, everything already in its frame (y down)."""

    piece: Piece
    drawn: tuple[Stroke, ...]
    label: Label  # its centre and its turn as they lie on the paper
    words: tuple[MarkWords, ...]  # beside the marks; turned as the piece is
    turned: bool


def pieces_pdf(
    pieces: Mapping[str, Piece],
    allowances: Mapping[str, float] | Mapping[str, Mapping[str, float]] | None,
    *,
    paper: str = "a4",
    roll_width_mm: float | None = None,
    title: str = "",
    fonts: Sequence[Path] = (),
) -> Printed:
    """All pieces as a tiled PDF.

    Args:
        pieces: what to print, each once; a piece on the fold as its half.
        allowances: edge → mm for every piece, or piece → (edge → mm).
        paper: a key of `PAPERS`, or 'roll' with ``roll_width_mm``.
        title: the garment.
        fonts: TrueType files to write with, before those of the machine.

    Raises:
        InputError: no pieces, an unknown paper, a roll without a usable width, a font that
            cannot be read, or more than `MAX_SHEETS` sheets.
        DraftError: an allowance that a piece has no room for.
    """
    if not pieces:
        raise InputError(Fault("", "there are no pieces to print."))
    for font in fonts:
        if not font.is_file():
            raise InputError(Fault(str(font), "there is no such font file.", "Name a .ttf file."))
    size, large = _paper(paper, roll_width_mm)
    margin = LARGE_MARGIN_MM if large else MARGIN_MM
    drawn = {n: strokes(p, own_allowances(allowances, n)) for n, p in pieces.items()}
    boxes = {n: _padded(box_of(s)) for n, s in drawn.items()}
    sizes = [(b[2] - b[0], b[3] - b[1]) for b in boxes.values()]
    if large:
        sizes.insert(0, COVER_MM)
    best: tuple[int, tuple[float, float], Grid, list[Spot]] | None = None
    for page in _shapes(size, paper):
        grid = Grid(page[0] - 2 * margin, page[1] - 2 * margin, OVERLAP_MM)
        packed = pack(sizes, grid, GAP_MM, first=1 if large else 0)
        count = len(_sheets_of(packed, sizes, grid))
        if best is None or (count, page) < best[:2]:
            best = (count, page, grid, packed)
    assert best is not None  # two page shapes were tried
    count, page, grid, packed = best
    if count > MAX_SHEETS:
        raise InputError(
            Fault(
                "",
                f"the pieces need {count} sheets of {paper}; at most {MAX_SHEETS} are printed.",
                "Take larger paper, or print fewer pieces at a time.",
            )
        )
    spots = dict(zip(boxes, packed[1:] if large else packed, strict=True))
    laid = [
        _laid(
            pieces[n],
            drawn[n],
            boxes[n],
            spots[n],
            label_of(pieces[n], own_allowances(allowances, n), title),
        )
        for n in pieces
    ]
    cover = packed[0] if large else None
    return _Press(laid, page, margin, grid, spots, title, paper, cover, fonts).printed()


def _paper(paper: str, roll_width_mm: float | None) -> tuple[tuple[float, float], bool]:
    """(width, height) mm and whether it is large.

    Raises:
        InputError: unknown, or a roll without a usable width.
    """
    if paper == ROLL:
        low, high = ROLL_WIDTHS_MM
        if roll_width_mm is None or not low <= roll_width_mm <= high:
            raise InputError(
                Fault(
                    "--roll-width",
                    f"a roll needs its width, {length_text(low)} to {length_text(high)}.",
                    "Example: --paper roll --roll-width 914mm",
                )
            )
        return (roll_width_mm, ROLL_LONGEST_MM), True
    if paper not in PAPERS:
        raise InputError(
            Fault("--paper", f"'{paper}' is not a paper.", f"Use {', '.join(PAPERS)} or roll.")
        )
    return PAPERS[paper], PAPERS[paper][0] >= LARGE_MM


def _shapes(size: tuple[float, float], paper: str) -> tuple[tuple[float, float], ...]:
    """The page shapes to choose from, (width, height) mm: upright and across."""
    return (size,) if paper == ROLL else (size, size[::-1])


def _padded(
    box: tuple[float, float, float, float],
) -> tuple[float, float, float, float]:
    """A box with room for the width of the lines on its border."""
    return (
        box[0] - LINE_ROOM_MM,
        box[1] - LINE_ROOM_MM,
        box[2] + LINE_ROOM_MM,
        box[3] + LINE_ROOM_MM,
    )


def _sheets_of(
    spots: Sequence[Spot], sizes: Sequence[tuple[float, float]], grid: Grid
) -> set[tuple[int, int]]:
    sheets: set[tuple[int, int]] = set()
    for s, (w, h) in zip(spots, sizes, strict=True):
        w, h = (h, w) if s.turned else (w, h)
        sheets |= grid.sheets(s.x, s.y, s.x + w, s.y + h)
    return sheets


def _laid(
    piece: Piece,
    drawn: tuple[Stroke, ...],
    box: tuple[float, float, float, float],
    spot: Spot,
    label: Label,
) -> _Laid:
    """The piece's strokes in the frame of the joined paper: x right, y down, mm."""
    left, _, right, high = box
    corner = np.array([spot.x, spot.y])

    def place(points: Points) -> Points:
        x, y = points.T
        if spot.turned:  # a quarter counter-clockwise: (x, y) → (−y, x), then y down
            return np.asarray(np.column_stack([high - y, right - x]) + corner)
        return np.asarray(np.column_stack([x - left, high - y]) + corner)

    moved = tuple(Stroke(s.kind, s.name, place(s.points), s.closed, s.on_fold) for s in drawn)

    def spot_of(at: tuple[float, float]) -> tuple[float, float]:
        x, y = place(np.array([at]))[0]
        return float(x), float(y)

    turn = label.turn_deg + (90.0 if spot.turned else 0.0)
    turn -= 180.0 if turn > 90.0 + 1e-6 else 0.0  # never upside down
    label = replace(label, centre=spot_of(label.centre), turn_deg=turn)
    words = tuple(replace(w, at=spot_of(w.at)) for w in mark_words(piece))
    return _Laid(piece, moved, label, words, spot.turned)


class _Press:
    """Draws the pages of one PDF."""

    def __init__(
        self,
        laid: Sequence[_Laid],
        page: tuple[float, float],
        margin: float,
        grid: Grid,
        spots: Mapping[str, Spot],
        title: str,
        paper: str,
        cover: Spot | None,
        fonts: Sequence[Path],
    ) -> None:
        self.laid, self.grid, self.spots = laid, grid, spots
        self.margin, self.title, self.paper, self.cover = margin, title, paper, cover
        self.sheets = self.needed()
        if paper == ROLL and len(self.sheets) == 1:
            bottom = max(float(s.points[:, 1].max()) for p in laid for s in p.drawn)
            bottom = max(bottom, COVER_MM[1] if cover else 0.0)
            page = (page[0], math.ceil(bottom + 2 * margin + 2))
        self.page = page
        self.pdf = pdf_document(page, one_line(title) or "pattern")
        texts = [
            *_NOTICE,
            *_JOIN,
            title,
            *(r for p in laid for r in p.label.rows),
            "mm in 4 x . sheets",
        ]
        self.letters = Lettering(self.pdf, texts, fonts)

    def needed(self) -> tuple[tuple[int, int], ...]:
        """The sheets that show any of a piece, row by row."""
        import shapely

        shapes = [
            shapely.Polygon(s.points) for p in self.laid for s in p.drawn if s.kind == CUTTING
        ]
        if self.cover is not None:
            shapes.append(shapely.box(0, 0, *COVER_MM))
        whole = shapely.unary_union(shapes).buffer(0.5)
        left, top, right, bottom = whole.bounds
        g = self.grid
        out = []
        for r, c in sorted(g.sheets(max(left, 0), max(top, 0), right - 0.5, bottom - 0.5)):
            x, y = c * g.step_x, r * g.step_y
            # what only lies in an overlap is on the neighbour too
            own = shapely.box(x, y, x + g.width, y + g.height)
            rest = shapely.box(
                x + (g.overlap if c else 0.0),
                y + (g.overlap if r else 0.0),
                x + g.width,
                y + g.height,
            )
            if whole.intersects(own) and whole.intersects(rest):
                out.append((r, c))
        return tuple(out)

    def printed(self) -> Printed:
        first = 1
        if self.cover is None:
            self.cover_page()
            first = 2
            if len(self.sheets) > 1:
                self.map_page()
                first = 3
        for number, sheet in enumerate(self.sheets, 1):
            self.sheet_page(sheet, number)
        return Printed(
            bytes(self.pdf.output()),
            self.pdf.page,
            self.sheets,
            first,
            self.grid,
            self.margin,
            self.page,
            self.spots,
            self.letters.missing,
        )

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
        for block in (_NOTICE, _JOIN if len(self.sheets) > 1 else ()):
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
        for r, c in self.sheets:
            self.pdf.rect(
                x + c * g.step_x * scale,
                y + r * g.step_y * scale,
                g.step_x * scale,
                g.step_y * scale,
            )
        self.pen(0.25)
        for p in self.laid:
            for s in p.drawn:
                if s.kind == CUTTING:
                    self.line(s.points * scale + (x, y), True)
        if self.cover is not None:
            self.pdf.rect(x, y, COVER_MM[0] * scale, COVER_MM[1] * scale)
        for r, c in self.sheets:
            self.text(
                x + (c * g.step_x + 8) * scale,
                y + (r * g.step_y + 8) * scale + 3.2,
                self.name((r, c)),
                min(5.0, g.step_x * scale / 4),
                70,
            )
        for p in self.laid:
            name = p.label.rows[0]
            low, high = _extent(p)
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
                box = _extent(p)
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

    def piece(self, p: _Laid, shift: Points) -> None:
        for s in p.drawn:
            self.pen(*(_LOOKS[s.kind] if not says_size(s) else _BAR))
            self.line(s.points + shift, s.closed and not s.on_fold)
        for w in p.words:
            x, y = w.at[0] + shift[0], w.at[1] + shift[1]
            room = svg_width(w.text, w.em_mm)
            with self.pdf.rotation(90 if p.turned else 0, x, y):
                self.text(x, y, w.text, self.letters.fitted(w.text, w.em_mm, room, 1.5))
        rows, (x, y) = p.label.rows, p.label.centre
        x, y = x + shift[0], y + shift[1]
        widest = max(self.letters.width(r, 1.5 if i == 0 else 1.0) for i, r in enumerate(rows))
        size = max(1.8, min(6.0, p.label.across / widest, p.label.up / (1.3 * len(rows) + 0.7)))
        with self.pdf.rotation(p.label.turn_deg, x, y):
            line = y - (len(rows) - 1) * 0.65 * size + 0.3 * size
            for i, row in enumerate(rows):
                em = size * (1.5 if i == 0 else 1.0)
                self.text(x - self.letters.width(row, em) / 2, line, row, em)
                line += 1.3 * size

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
                for y in self.diamonds_along(np.array([x, m]) + corner, (0.0, g.height)):
                    self.diamond(x, y - corner[1])
        for y, other in ((m, (r - 1, c)), (after_y, (r + 1, c))):
            if other in have:
                self.pen(0.2, (0, 0) if y == m else (2, 2), 130)
                self.pdf.line(m, y, right, y)
                for x in self.diamonds_along(np.array([m, y]) + corner, (g.width, 0.0)):
                    self.diamond(x - corner[0], y)
        for at, along, other in (
            ((after_x + 1.2, m + g.height / 2), (0.0, 1.0), (r, c + 1)),
            ((m + g.width / 2, after_y + 4), (1.0, 0.0), (r + 1, c)),
        ):
            if other in have:
                name = self.name(other)
                reach = 0.4 * (g.width * along[0] + g.height * along[1])
                spots = [np.array(at) + s * np.array(along) for s in _outward(reach, 6.0)]
                self.text(*self.clearest(spots, name, 3.4, corner), name, 3.4, 130)
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
        self.text(*self.clearest(spots, words, size, corner), words, size, 130)

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
            for off in _outward(0.2 * length, 5.0):
                at = start.copy()
                at[axis] += part * length + off
                clear = min(float(self.lines.distance(shapely.Point(at))), 2.0 * DIAMOND_MM)
                if clear > best[0] + 1e-6:
                    best = (clear, float(at[axis]))
            out.append(best[1])
        return out

    def clearest(
        self, spots: Sequence[Points], words: str, size: float, corner: Points
    ) -> tuple[float, float]:
        """The first of some places (2,) on the page where words cross no line, or the fewest."""
        import shapely

        wide = self.letters.width(words, size)
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

    def diamond(self, x: float, y: float) -> None:
        """A registration mark centred on a joint: half of it on each sheet."""
        self.pen(0.2)
        a = DIAMOND_MM
        with self.pdf.rect_clip(self.margin, self.margin, self.grid.width, self.grid.height):
            self.pdf.polygon([(x - a, y), (x, y - a), (x + a, y), (x, y + a)])
            self.pdf.line(x - a, y, x + a, y)
            self.pdf.line(x, y - a, x, y + a)


def _outward(reach: float, step: float) -> list[float]:
    """0, then steps to both sides of it, the nearest first, up to ``reach``."""
    return [0.0, *(sign * i * step for i in range(1, int(reach / step) + 1) for sign in (1, -1))]


def _extent(p: _Laid) -> tuple[Points, Points]:
    points = np.vstack([s.points for s in p.drawn])
    return points.min(axis=0), points.max(axis=0)
