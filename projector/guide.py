"""The guide: pages of text inside the package, shown in the terminal or printed.

Beside `demo`: a page is plain text in `configs/guide`, with a little form. ``# `` its title, ``## `` a
heading, ``- `` a point of a list, four spaces before what is typed or written into a file, and
``[picture: figure bust_girth]``, ``[picture: pieces quick-top]`` or ``[picture: lay.png]`` for what
the program draws; all else is paragraphs.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from configs import shipped
from configs.errors import InputError
from configs.files import read_text
from configs.reader import nearest

ORDER = (
    "measuring", "toile", "together", "cloth", "calibrating", "table", "bays", "remnants", "scissors", "trouble",
)  # fmt: skip
_MARGIN_MM, _TEXT_MM, _CODE_MM, _FIGURE_MM = 20.0, 4.1, 3.4, 60.0
_PITCH = 1.45


@dataclass(frozen=True)
class Part:
    """A part of a page; ``kind``: heading, point, typed, picture or text."""

    kind: str
    text: str


@dataclass(frozen=True)
class Page:
    """A page: its name, its title, and its parts in order."""

    name: str
    title: str
    parts: tuple[Part, ...]

    def typed(self) -> list[str]:
        """The commands that stand on it."""
        return [p.text for p in self.parts if p.kind == "typed" and p.text.startswith("chalkbeam ")]


def page(name: str) -> Page:
    """A page by its name.

    Raises:
        InputError: there is none of that name; the nearest is named.
    """
    if name not in ORDER:
        hint = nearest(name, ORDER)
        raise InputError.of(name, f"is no page of the guide. There are {', '.join(ORDER)}.", hint)
    text = read_text(shipped("guide", f"{name}.txt"))
    first, _, rest = text.partition("\n")
    return Page(name, first.removeprefix("# "), tuple(_parts(rest)))


def pages() -> list[Page]:
    """Every page, in the order of the job."""
    return [page(name) for name in ORDER]


def _parts(text: str) -> Iterator[Part]:
    for block in re.split(r"\n\s*\n", text.strip("\n")):
        lines = block.strip("\n").splitlines()
        if lines[0].startswith("    "):
            yield from (Part("typed", line[4:]) for line in lines)
        elif found := re.fullmatch(r"\[picture: (.+)\]", block.strip()):
            yield Part("picture", found[1])
        elif lines[0].startswith("## "):
            yield Part("heading", lines[0][3:])
            if lines[1:]:
                yield from _parts("\n".join(lines[1:]))
        elif lines[0].startswith("- "):
            yield from (Part("point", line[2:]) for line in lines)
        else:
            yield Part("text", " ".join(lines))


# -- in the terminal -----------------------------------------------------------------------------


def lines_of(shown: Page, columns: int, *, plain: bool) -> list[str]:
    """A page as lines for a terminal. ``plain``: pictures in ASCII."""
    import textwrap

    out = [shown.title, ("=" if plain else "═") * min(columns, len(shown.title)), ""]
    before = ""
    for part in shown.parts:
        if before and not (part.kind == before and part.kind in ("typed", "point")):
            out.append("")
        before = part.kind
        if part.kind == "heading":
            out += [part.text, ("-" if plain else "─") * len(part.text)]
        elif part.kind == "typed":
            out.append(f"    {part.text}")
        elif part.kind == "point":
            out += textwrap.wrap(f"- {part.text}", columns, subsequent_indent="  ")
        elif part.kind == "picture":
            out += _picture_text(part.text, columns, plain=plain)
        else:
            out += textwrap.wrap(part.text, columns)
    return out


def _picture_text(what: str, columns: int, *, plain: bool) -> list[str]:
    kind, _, name = what.partition(" ")
    if kind == "figure":
        from drafting.figures import figure_legend, figure_text

        return [*figure_text(name, min(34, columns), 16, plain), *figure_legend(name)]
    if kind == "pieces" and not plain:
        from projector.sketch import beside, dots, strokes

        drawn = _pieces(name)
        return beside([dots(strokes(p), 15, 8) for p in drawn.values()], list(drawn))
    return ["(The picture stands in the printed guide: chalkbeam guide --out guide.pdf)"]


def _pieces(block: str) -> dict[str, Any]:
    from drafting import Measurements, draft

    body = Measurements.load(shipped("measurements", "alto-3.yaml"))
    return dict(draft(block, body).pieces)


# -- on paper ------------------------------------------------------------------------------------


def guide_pdf(printed: list[Page], paper: str = "a4") -> bytes:
    """The pages as a PDF, each from the top of a sheet."""
    from configs.paper import PAPERS, pdf_document
    from drafting.lettering import Lettering

    pdf = pdf_document(PAPERS[paper], "The guide to chalkbeam")
    pdf.add_page()
    texts = [t for p in printed for t in (p.title, *(part.text for part in p.parts))]
    press = _Press(pdf, Lettering(pdf, texts))
    for number, each in enumerate(printed):
        if number:
            press.new_sheet()
        press.write(each.title, 7.0)
        for part in each.parts:
            press.part(part)
    return bytes(pdf.output())


class _Press:
    """Writes down a sheet, and on to the next one."""

    def __init__(self, pdf: Any, letters: Any) -> None:
        self.pdf, self.letters = pdf, letters
        self.y = _MARGIN_MM

    def new_sheet(self) -> None:
        self.pdf.add_page()
        self.y = _MARGIN_MM

    def room(self, high: float) -> None:
        if self.y + high > self.pdf.h - _MARGIN_MM:
            self.new_sheet()

    def write(self, text: str, size: float, indent: float = 0.0) -> None:
        from drafting.figures.drawing import text_lines

        wide = self.pdf.w - 2 * _MARGIN_MM - indent
        for line in text_lines(text, size, wide, self.letters.width):
            self.room(_PITCH * size)
            self.y += _PITCH * size
            self.letters.write(_MARGIN_MM + indent, self.y, line, size)

    def part(self, part: Part) -> None:
        if part.kind == "heading":
            self.room(30.0)  # no heading alone at the foot of a sheet
            self.y += 4.0
            self.write(part.text, 5.2)
        elif part.kind == "typed":
            self.y += 0.6
            inner = len(part.text) - len(part.text.lstrip())  # YAML lives by its indents
            self.write(part.text, _CODE_MM, 8.0 + 1.2 * inner)
        elif part.kind == "point":
            self.write(f"-  {part.text}", _TEXT_MM, 4.0)
        elif part.kind == "picture":
            self.picture(part.text)
        else:
            self.y += 2.0
            self.write(part.text, _TEXT_MM)

    def picture(self, what: str) -> None:
        from drafting.figures import figure
        from drafting.figures.drawing import to_pdf

        kind, _, name = what.partition(" ")
        self.y += 4.0
        if kind in ("figure", "pieces"):
            drawing = figure(name, _FIGURE_MM) if kind == "figure" else _drawn(_pieces(name))
            self.room(drawing.height_mm)
            to_pdf(self.pdf, self.letters, drawing, _MARGIN_MM, self.y)
            self.y += drawing.height_mm + 2.0
            return
        wide = self.pdf.w - 2 * _MARGIN_MM
        self.room(0.6 * wide)
        info = self.pdf.image(str(shipped("pictures", what)), _MARGIN_MM, self.y, w=wide)
        self.y += info.rendered_height + 2.0


def _drawn(pieces: dict[str, Any]) -> Any:
    """Pieces side by side, 1 : 10, with their names."""
    from drafting.figures.drawing import Drawing, Stroke, Writing
    from projector.sketch import strokes

    drawn, names, x, high = [], [], 2.0, 0.0
    for name, piece in pieces.items():
        lines = [line / 10.0 for line in strokes(piece)]
        ring = lines[0]
        low, top = ring.min(axis=0), ring.max(axis=0)
        drawn += [Stroke(line * (1, -1) + (x - low[0], top[1] + 2.0), "line") for line in lines]
        names.append(Writing((x + (top[0] - low[0]) / 2, (top[1] - low[1]) / 2), name, 3.6))
        x, high = x + top[0] - low[0] + 8.0, max(high, top[1] - low[1])
    return Drawing(x, high + 4.0, tuple(drawn), tuple(names))


def listed() -> list[str]:
    """The pages by name, one line each."""
    width = max(map(len, ORDER))
    return [f"  {p.name:<{width}}  {p.title}" for p in pages()]
