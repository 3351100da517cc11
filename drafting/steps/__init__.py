"""The construction as a sequence of pictures with the numbers worked out for her body.

After `drafting.blocks`, whose recorded steps it draws: what is new stands strong, what stood
before is light; each new point has its name and its distance, and a table gives every new point
and a few points of every new curve in both units, enough to draft with a pencil. One PDF, or an
SVG for each step. Piece frame in (mm, x from the centre line, y up from the top line).
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any

from configs.errors import InputError
from drafting.blocks import Draft
from drafting.figures.drawing import GREY, INK, PALE, Measure, svg_width, to_pdf, to_svg
from drafting.sheet import Step
from drafting.steps.board import PANEL_MM, Panel, extent_of, new_board, scale_of
from drafting.steps.ends import bend_panel, check_panel
from drafting.steps.lines import Standing, readable
from drafting.steps.picture import draw_new, draw_standing, inset_of, paste
from drafting.steps.words import write_words


def panels(draft: Draft, measure: Measure = svg_width) -> list[Panel]:
    """Each recorded step of a draft as a drawing of `PANEL_MM`, in order.

    ``measure``: how wide a line of text will be where it is written, so that lines break and
    names find room by the letters that are really set.

    Raises:
        InputError: the block recorded no steps.
    """
    if not draft.steps:
        raise InputError.of(
            "steps", f"the block '{draft.block}' recorded none, so none can be drawn."
        )
    whole = extent = extent_of(_first_sheet(draft))
    one_to = scale_of(extent)
    unit = draft.measurements.unit
    out = []
    steps = readable(draft.steps)
    first = standing = Standing()
    of = ""
    for number, step in enumerate(steps, 1):
        if step.of != of:  # a part has a sheet of its own
            of, standing = step.of, Standing()
            drawn = [s for s in steps if s.of == of and (s.lines or s.curves or s.points)]
            extent = extent_of(drawn) if drawn else extent
            one_to = scale_of(extent)
        board = new_board(extent, one_to, measure)
        bottom = write_words(board, standing, step, number, len(steps), unit)
        inset, region = inset_of(standing, step, one_to, PANEL_MM[1] - bottom - 4.0, measure)
        draw_standing(board, standing, step)
        draw_new(board, standing, step, unit, numbers=inset is None)
        if inset is not None:
            draw_standing(inset, standing, step)
            draw_new(inset, standing, step, unit)
            paste(board, inset, region)
        out.append(board.panel(step.key, number, step.title))
        standing.add(step)
    ends = (check_panel, bend_panel)
    return out + [end(draft, first, whole, len(out) + i, measure) for i, end in enumerate(ends, 1)]


def _first_sheet(draft: Draft) -> list[Step]:
    """The steps of the block itself; of an import, those of the first block that is sewn to it."""
    return [s for s in draft.steps if s.of == draft.steps[0].of]


def steps_svg(draft: Draft) -> dict[str, str]:
    """File name → SVG document, one for each step, at the panel's true size.

    Raises:
        InputError: the block recorded no steps.
    """
    return {
        f"step-{p.number:02d}-{p.key}.svg": to_svg(p.drawing, f"{p.number}. {p.title}")
        for p in panels(draft)
    }


_PAGE_MARGIN_MM = 14.0


def steps_pdf(draft: Draft, *, title: str = "", paper: str = "a4") -> bytes:
    """One vector PDF of all steps, two on a page. ``paper``: a4 or letter.

    Raises:
        InputError: the block recorded no steps, or another paper is asked for.
    """
    if paper not in ("a4", "letter"):
        raise InputError.of("paper", f"{paper!r} is not known.", "Take a4 or letter.")
    from configs.paper import PAPERS, pdf_document
    from drafting.lettering import Lettering, one_line

    head, under, foot = _headings(draft, title)
    pdf = pdf_document(PAPERS[paper], one_line(head))
    pdf.add_page()
    # once for the letters that fonts are needed for, once more in the widths of those fonts
    texts = [head, under, foot, *(t for p in panels(draft) for t in p.drawing.texts())]
    letters = Lettering(pdf, texts)
    drawn = panels(draft, cache(letters.width))
    left = (pdf.w - PANEL_MM[0]) / 2
    at = _first_head(pdf, letters, left, head, under)
    room = (pdf.h - at - 10.0 - 2 * PANEL_MM[1]) / 3
    pages = math.ceil(len(drawn) / 2)
    for i, panel in enumerate(drawn):
        if i and i % 2 == 0:
            pdf.add_page()
        y = at + room + (i % 2) * (PANEL_MM[1] + room)
        if i % 2 == 0:
            _foot(pdf, letters, left, foot, f"{i // 2 + 1} of {pages}")
        else:
            pdf.set_draw_color(*PALE)
            pdf.set_line_width(0.2)
            pdf.line(left, y - room / 2, left + PANEL_MM[0], y - room / 2)
        to_pdf(pdf, letters, panel.drawing, left, y)
    return bytes(pdf.output())


def _headings(draft: Draft, title: str) -> tuple[str, str, str]:
    """Head line, the measurements in one line, foot line."""
    m = draft.measurements
    who = f" for {m.wearer}" if m.wearer else ""
    head = f"{title or draft.block}{who}: how it is drafted"
    one_to = scale_of(extent_of(_first_sheet(draft)))
    used = f" of {m.taken}" if m.taken else ""
    under = (
        f"Worked out from the measurements{used}. Numbers are full size, pictures 1 : {one_to}. "
        "Seam allowances are added at cutting."
    )
    return head, under, f"{title or draft.block}{who}"


def _first_head(pdf: Any, letters: Any, left: float, head: str, under: str) -> float:
    """Head of the first page; the height at which every page's steps begin."""
    size = letters.fitted(head, 6.0, PANEL_MM[0])
    pdf.set_text_color(*INK)
    letters.write(left, _PAGE_MARGIN_MM - 1.0, head, size)
    pdf.set_text_color(*GREY)
    letters.write(left, _PAGE_MARGIN_MM + 4.0, under, letters.fitted(under, 3.3, PANEL_MM[0]))
    return _PAGE_MARGIN_MM + 4.5


def _foot(pdf: Any, letters: Any, left: float, foot: str, page: str) -> None:
    pdf.set_text_color(*GREY)
    y = pdf.h - 6.0
    letters.write(left, y, foot, letters.fitted(foot, 3.0, PANEL_MM[0] - 30.0))
    letters.write(left + PANEL_MM[0] - letters.width(page, 3.0), y, page, 3.0)
