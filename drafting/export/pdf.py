"""Pieces as a PDF at exact scale, tiled on sheets of paper: for when there is no projector.

Beside the other writers of `drafting.export`. Pieces are packed on one large sheet
(`packing`), which is cut into overlapping tiles (`tiles`); each tile is a page (`press`). The
first page carries a 100 mm and a 4 in square; desk printers get a map of the sheets as second page.

PDF (ISO 32000): 1 unit is 1/72 in; positions are written to 0.01 unit, 0.0035 mm.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from configs.errors import InputError
from configs.paper import PAPERS
from configs.units import length_text, said_in
from drafting.export.marks import Allowances, Box, label_of, shown
from drafting.export.packing import Grid, Spot, pack, sheets_of
from drafting.export.press import Plan, Press
from drafting.export.tiles import COVER_MM, laid_on, sheets_showing
from drafting.piece import Piece

ROLL = "roll"
ROLL_LONGEST_MM = 5000.0  # a PDF page ends at 14 400 units, 5.08 m (ISO 32000)
ROLL_WIDTHS_MM = (200.0, 3000.0)
LARGE_MM = 700.0  # from this width on a sheet holds whole pieces and no cover page is spent
MARGIN_MM = 10.0  # more than any desk printer needs at its edges
OVERLAP_MM = 10.0
GAP_MM = 8.0
LINE_ROOM_MM = 1.0
MAX_SHEETS = 400


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


def pieces_pdf(
    pieces: Mapping[str, Piece],
    allowances: Allowances,
    *,
    paper: str = "a4",
    roll_width_mm: float | None = None,
    title: str = "",
    notes: Sequence[str] = (),
    fonts: Sequence[Path] = (),
    unit: str = "mm",
) -> Printed:
    """All pieces as a tiled PDF.

    Args:
        pieces: what to print, each once; a piece on the fold as its half.
        allowances: edge → mm for every piece, or piece → (edge → mm).
        paper: a key of `PAPERS`, or 'roll' with ``roll_width_mm``.
        title: the garment; notes: lines for the first page, such as how the cloth is folded.
        unit: of the lengths in writing.
        fonts: TrueType files to write with, before those of the machine.

    Raises:
        InputError: no pieces, an unknown paper, a roll without a usable width, a font that
            cannot be read, or more than `MAX_SHEETS` sheets.
        DraftError: an allowance that a piece has no room for.
    """
    there = shown(pieces, allowances)
    for font in fonts:
        if not font.is_file():
            raise InputError.of(str(font), "there is no such font file.", "Name a .ttf file.")
    size, large = _paper(paper, roll_width_mm)
    margin = MARGIN_MM
    boxes = {n: _padded(one.box) for n, one in there.items()}
    sizes = [(b[2] - b[0], b[3] - b[1]) for b in boxes.values()]
    if large:
        sizes.insert(0, COVER_MM)
    best: tuple[int, tuple[float, float], Grid, list[Spot]] | None = None
    for page in _shapes(size, paper):
        grid = Grid(page[0] - 2 * margin, page[1] - 2 * margin, OVERLAP_MM)
        packed = pack(sizes, grid, GAP_MM, first=1 if large else 0)
        count = len(set().union(*sheets_of(packed, sizes, grid)))
        if best is None or (count, page) < best[:2]:
            best = (count, page, grid, packed)
    assert best is not None  # two page shapes were tried
    count, page, grid, packed = best
    if count > MAX_SHEETS:
        raise InputError.of(
            "",
            f"the pieces need {count} sheets of {paper}; at most {MAX_SHEETS} are printed.",
            "Take larger paper, or print fewer pieces at a time.",
        )
    spots = dict(zip(boxes, packed[1:] if large else packed, strict=True))
    laid = tuple(
        laid_on(one, boxes[n], spots[n], label_of(one.piece, one.allowances, title, unit))
        for n, one in there.items()
    )
    sheets = sheets_showing(laid, grid, cover=large)
    if paper == ROLL and len(sheets) == 1:  # no longer than what is on it
        bottom = max(float(p.box[1][1]) for p in laid)
        page = (page[0], math.ceil(max(bottom, COVER_MM[1]) + 2 * margin + 2))
    cover = packed[0] if large else None
    said = tuple(said_in(line, unit) for line in notes)
    plan = Plan(laid, grid, sheets, page, margin, cover, title, paper, said, unit)
    data, count, missing = Press(plan, fonts).pages()
    return Printed(data, count, sheets, plan.first_sheet, grid, margin, page, spots, missing)


def _paper(paper: str, roll_width_mm: float | None) -> tuple[tuple[float, float], bool]:
    """(width, height) mm and whether it is large.

    Raises:
        InputError: unknown, or a roll without a usable width.
    """
    if paper == ROLL:
        low, high = ROLL_WIDTHS_MM
        if roll_width_mm is None or not low <= roll_width_mm <= high:
            raise InputError.of(
                "--roll-width",
                f"a roll needs its width, {length_text(low)} to {length_text(high)}.",
                "Example: --paper roll --roll-width 914mm",
            )
        return (roll_width_mm, ROLL_LONGEST_MM), True
    if paper not in PAPERS:
        raise InputError.of(
            "--paper", f"'{paper}' is not a paper.", f"Use {', '.join(PAPERS)} or roll."
        )
    return PAPERS[paper], PAPERS[paper][0] >= LARGE_MM


def _shapes(size: tuple[float, float], paper: str) -> tuple[tuple[float, float], ...]:
    """The page shapes to choose from, (width, height) mm: upright and across."""
    return (size,) if paper == ROLL else (size, size[::-1])


def _padded(box: Box) -> Box:
    """A box with room for the width of the lines on its border."""
    left, low, right, high = box
    return left - LINE_ROOM_MM, low - LINE_ROOM_MM, right + LINE_ROOM_MM, high + LINE_ROOM_MM
