"""A line drawing as data, and its three ways out: SVG, a PDF page, plain text for a terminal.

Under both the measuring figures and the construction steps. A `Drawing` is a sheet of paper:
mm, x right, y down from its top-left corner. Pens are told apart by weight and dash first, by
colour last, so that a copy in grey or a terminal without colour still reads.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drafting.outline import Edge

Points = NDArray[np.float64]
Colour = tuple[int, int, int]


@dataclass(frozen=True)
class Pen:
    """How a line is drawn: ``width_mm`` on paper, ``dash`` mm on and off, ``fill`` of its inside."""

    width_mm: float
    colour: Colour
    dash: tuple[float, float] | tuple[()] = ()
    fill: Colour | None = None


INK: Colour = (38, 42, 48)
GREY: Colour = (128, 132, 138)
PALE: Colour = (186, 189, 193)
TAPE: Colour = (158, 42, 43)
SKIN: Colour = (246, 243, 238)
WHITE: Colour = (255, 255, 255)
PAPER: Colour = (250, 249, 245)

PENS: dict[str, Pen] = {
    "body": Pen(0.35, INK, fill=SKIN),
    "line": Pen(0.28, INK),
    "faint": Pen(0.2, GREY),
    "level": Pen(0.2, GREY, (0.8, 0.9)),
    "tape": Pen(1.1, TAPE),
    "tick": Pen(0.22, WHITE),
    "hidden": Pen(0.7, TAPE, (1.6, 1.2)),
    "end": Pen(0.35, TAPE, fill=WHITE),
    # construction
    "new": Pen(0.65, INK),
    "new-seam": Pen(0.95, INK),
    "old": Pen(0.25, PALE),
    "old-seam": Pen(0.4, PALE),
    "measure": Pen(0.22, TAPE),
    "arrow": Pen(0.22, TAPE, fill=TAPE),
    "dot": Pen(0.3, INK, fill=INK),
    "old-dot": Pen(0.25, PALE, fill=WHITE),
    "bead": Pen(0.3, INK, fill=WHITE),
    "other-seam": Pen(0.7, INK, (2.2, 1.2)),
    "new-fold": Pen(0.6, INK, (4.0, 1.2)),
    "fold": Pen(0.3, GREY, (3.0, 1.0)),
    "sheet": Pen(0.25, PALE, fill=PAPER),
    "square": Pen(0.25, INK),
    "comb": Pen(0.18, TAPE),
    "rule": Pen(0.3, PALE, fill=WHITE),
}


@dataclass(frozen=True, eq=False)
class Stroke:
    """A line through ``points`` (N, 2) mm on the sheet with the pen named ``pen``."""

    points: Points
    pen: str
    closed: bool = False


@dataclass(frozen=True)
class Writing:
    """One line of text; ``at`` is the start, middle or end of its base line by ``anchor``.

    ``size_mm``: letter height (em); ``turn_deg``: turned counter-clockwise about ``at``;
    ``strong``: bold; ``bare``: no white edge behind the letters.
    """

    at: tuple[float, float]
    text: str
    size_mm: float = 3.2
    anchor: str = "start"
    colour: Colour = INK
    turn_deg: float = 0.0
    strong: bool = False
    bare: bool = False


@dataclass(frozen=True, eq=False)
class Drawing:
    """A sheet ``width_mm`` × ``height_mm`` with strokes, then writings, in the order drawn."""

    width_mm: float
    height_mm: float
    strokes: tuple[Stroke, ...] = ()
    writings: tuple[Writing, ...] = ()

    def texts(self) -> list[str]:
        """Every line of text on it."""
        return [w.text for w in self.writings]


def smooth(points: ArrayLike, closed: bool = False, per: int = 8) -> Points:
    """A smooth line (M, 2) through points (N, 2): cubics with centripetal speed.

    Centripetal parametrisation (Yuksel, Schaefer, Keyser, "Parameterization and applications of
    Catmull-Rom curves", Computer-Aided Design 43, 2011) makes no loops between near points.
    """
    p = np.asarray(points, dtype=np.float64)
    if len(p) < 3:
        return p.copy()
    if closed:
        p = np.vstack([p[-1], p, p[0], p[1]])
    else:
        p = np.vstack([2 * p[0] - p[1], p, 2 * p[-1] - p[-2]])
    knot = np.concatenate([[0.0], np.cumsum(np.sqrt(np.hypot(*np.diff(p, axis=0).T)) + 1e-9)])
    out = [p[1:2]]
    for i in range(1, len(p) - 2):
        t0, t1, t2, t3 = knot[i - 1 : i + 3]
        t = np.linspace(t1, t2, per + 1)[1:, None]
        a1 = (t1 - t) / (t1 - t0) * p[i - 1] + (t - t0) / (t1 - t0) * p[i]
        a2 = (t2 - t) / (t2 - t1) * p[i] + (t - t1) / (t2 - t1) * p[i + 1]
        a3 = (t3 - t) / (t3 - t2) * p[i + 1] + (t - t2) / (t3 - t2) * p[i + 2]
        b1 = (t2 - t) / (t2 - t0) * a1 + (t - t0) / (t2 - t0) * a2
        b2 = (t3 - t) / (t3 - t1) * a2 + (t - t1) / (t3 - t1) * a3
        out.append((t2 - t) / (t2 - t1) * b1 + (t - t1) / (t2 - t1) * b2)
    line = np.vstack(out)
    return line[:-1] if closed else line


def circle(at: ArrayLike, radius: float) -> Points:
    """A small ring (16, 2) round ``at``, for dots and ends."""
    a = np.linspace(0.0, 2 * math.pi, 17)[:-1]
    return np.asarray(at, dtype=np.float64) + radius * np.stack([np.cos(a), np.sin(a)], axis=1)


TICK_MM = 1.6  # between two of a tape's ticks


def tape_strokes(points: Points, hidden: Points | None = None) -> list[Stroke]:
    """A measuring tape laid along a line (N, 2) mm on the sheet: a band with ticks across it.

    ``hidden``: the part (M, 2) that runs behind the body.
    """
    out = [] if hidden is None else [Stroke(hidden, "hidden")]
    out.append(Stroke(points, "tape"))
    tape = Edge("tape", points)
    places = tape.spots(np.arange(TICK_MM, tape.length_mm - 0.4 * TICK_MM, TICK_MM))
    for at, direction in zip(*places, strict=True):
        across = 0.38 * np.array([-direction[1], direction[0]])
        out.append(Stroke(np.stack([at - across, at + across]), "tick"))
    return out


def _rgb(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def number(value: float, places: int = 2) -> str:
    """A number as SVG takes it, with no more digits than it needs."""
    text = f"{float(value):.{places}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


_n = number


def xml_text(text: str) -> str:
    """Text for an XML file: markup escaped, characters that XML forbids left out."""
    allowed = "".join(
        c
        for c in text
        if c in "\t\n"
        or (ord(c) >= 32 and not 0xD800 <= ord(c) < 0xE000 and ord(c) not in (0xFFFE, 0xFFFF))
    )
    return escape(allowed, {'"': "&quot;"})


def svg_document(
    width: float, height: float, body: Sequence[str], *, title: str = "", more: str = ""
) -> str:
    """An SVG document of ``width`` × ``height`` mm, one user unit a millimetre, around elements.

    ``more``: further attributes of the outermost one.
    """
    w, h = number(width, 4), number(height, 4)
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" '
            f'viewBox="0 0 {w} {h}"{" " * bool(more)}{more}>',
            *([f"<title>{xml_text(title)}</title>"] if title else []),
            *body,
            "</svg>",
            "",
        ]
    )


def to_svg(drawing: Drawing, title: str = "") -> str:
    """The drawing as an SVG document at true paper size; what passes its edge is cut off."""
    w, h = drawing.width_mm, drawing.height_mm
    out = [f'<rect width="{_n(w)}" height="{_n(h)}" fill="#ffffff"/>']
    for stroke in drawing.strokes:
        pen = PENS[stroke.pen]
        path = "M" + " ".join(f"{_n(x)},{_n(y)}" for x, y in stroke.points.tolist())
        dash = f' stroke-dasharray="{" ".join(_n(d) for d in pen.dash)}"' if pen.dash else ""
        fill = _rgb(pen.fill) if pen.fill else "none"
        out.append(
            f'<path d="{path}{"Z" if stroke.closed else ""}" fill="{fill}" '
            f'stroke="{_rgb(pen.colour)}" stroke-width="{_n(pen.width_mm)}"{dash} '
            f'stroke-linecap="{"butt" if pen.dash else "round"}" stroke-linejoin="round"/>'
        )
    for text in drawing.writings:
        x, y = text.at
        turn = f' transform="rotate({_n(-text.turn_deg)} {_n(x)} {_n(y)})"' if text.turn_deg else ""
        # a line round the letters makes them strong in whatever face the viewer has
        line = f'{_rgb(text.colour)}" stroke-width="{_n(STRONG_SHARE * text.size_mm)}'
        place_ = (
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(text.size_mm)}" '
            f'text-anchor="{text.anchor}"{turn}'
        )
        words = f"{xml_text(text.text)}</text>"
        if not text.bare:  # a white edge as a text of its own: every viewer knows that
            edge = 'stroke="#ffffff" stroke-width="0.9" stroke-linejoin="round"'
            out.append(f'{place_} fill="#ffffff" {edge} aria-hidden="true">{words}')
        out.append(
            f'{place_} fill="{_rgb(text.colour)}" stroke="{line if text.strong else "none"}">{words}'
        )
    face = f'font-family="{FAMILY}" text-rendering="geometricPrecision"'
    return svg_document(w, h, out, title=title, more=face)


def to_pdf(pdf: Any, letters: Any, drawing: Drawing, x: float, y: float) -> None:
    """Draw on the current page of an fpdf2 document (unit mm), top-left corner at (x, y).

    ``letters``: a `drafting.lettering.Lettering` of that document.
    """
    # the local context makes fpdf2 forget the colours that end with the clip
    with pdf.local_context(), pdf.rect_clip(x, y, drawing.width_mm, drawing.height_mm):
        for stroke in drawing.strokes:
            pen = PENS[stroke.pen]
            pdf.set_line_width(pen.width_mm)
            pdf.set_draw_color(*pen.colour)
            pdf.set_dash_pattern(*pen.dash)
            if pen.fill:
                pdf.set_fill_color(*pen.fill)
            points = [(px + x, py + y) for px, py in stroke.points.tolist()]
            pdf.polyline(points, polygon=stroke.closed, style="DF" if pen.fill else "D")
        pdf.set_dash_pattern()
        for text in drawing.writings:
            _pdf_text(pdf, letters, text, x, y)
    pdf.set_text_color(*INK)


def _pdf_text(pdf: Any, letters: Any, text: Writing, x: float, y: float) -> None:
    wide = letters.width(text.text, text.size_mm)
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[text.anchor]
    at = text.at[0] + x, text.at[1] + y
    with pdf.rotation(text.turn_deg, *at):
        if not text.bare:  # a white ground, as wide as the letters, keeps lines off them
            pdf.set_fill_color(*WHITE)
            pdf.rect(at[0] + left - 0.3, at[1] - 0.78 * text.size_mm, wide + 0.6, text.size_mm, "F")
        pdf.set_text_color(*text.colour)
        if not text.strong:
            letters.write(at[0] + left, at[1], text.text, text.size_mm)
            return
        # a line round the letters makes them strong in whatever font has them
        line = STRONG_SHARE * text.size_mm
        with pdf.local_context(text_mode="FILL_STROKE", line_width=line, draw_color=text.colour):
            letters.write(at[0] + left, at[1], text.text, text.size_mm)


# In a terminal the body is made of fine dots and the tape of solid blocks: they differ in
# weight, so no colour is needed. Dots are 2 × 4, blocks 2 × 2 to a character.
_DOT_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
_BLOCKS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
_SHOWN = {"body": "fine", "line": "fine", "tape": "solid", "faint": "fine"}


def to_text(drawing: Drawing, columns: int = 36, plain: bool = False) -> list[str]:
    """The drawing as lines of text at most ``columns`` wide, without colour.

    ``plain``: ASCII only, for terminals that show nothing else. Ends are letters.
    """
    cell = drawing.width_mm / columns
    rows = max(1, round(drawing.height_mm / (2 * cell)))
    fine = np.zeros((rows * 4, columns * 2), dtype=bool)
    solid = np.zeros((rows * 2, columns * 2), dtype=bool)
    for stroke in drawing.strokes:
        kind = _SHOWN.get(stroke.pen)
        if kind is None:
            continue
        grid = fine if kind == "fine" else solid
        scale = np.array([2 / cell, (4 if kind == "fine" else 2) / (2 * cell)])
        points = stroke.points * scale
        _rasterise(grid, np.vstack([points, points[:1]]) if stroke.closed else points)
    lines = [[_glyph(fine, solid, r, c, plain) for c in range(columns)] for r in range(rows)]
    for text in drawing.writings:
        if len(text.text) == 1:
            c = min(max(round(text.at[0] / cell - 0.5), 0), columns - 1)
            r = min(max(round((text.at[1] - 0.35 * text.size_mm) / (2 * cell) - 0.5), 0), rows - 1)
            lines[r][c] = text.text
    texts = ["".join(line).rstrip() for line in lines]
    inked = [i for i, t in enumerate(texts) if t]
    return texts[inked[0] : inked[-1] + 1] if inked else []


def _rasterise(grid: NDArray[np.bool_], points: Points) -> None:
    for a, b in pairwise(points):
        count = max(2, int(3 * np.abs(b - a).max()) + 2)
        at = np.floor(a + (b - a) * np.linspace(0.0, 1.0, count)[:, None]).astype(int)
        keep = (at >= 0).all(axis=1) & (at[:, 0] < grid.shape[1]) & (at[:, 1] < grid.shape[0])
        grid[at[keep, 1], at[keep, 0]] = True


def _glyph(
    fine: NDArray[np.bool_], solid: NDArray[np.bool_], row: int, column: int, plain: bool
) -> str:
    block: NDArray[np.bool_] = solid[2 * row : 2 * row + 2, 2 * column : 2 * column + 2]
    dots = fine[4 * row : 4 * row + 4, 2 * column : 2 * column + 2]
    if block.any():
        if plain:
            return "#"
        return _BLOCKS[int(block.ravel() @ np.array([1, 2, 4, 8]))]
    if not dots.any():
        return " "
    if plain:
        return _ascii(dots)
    return chr(0x2800 + sum(_DOT_BITS[r][c] for r in range(4) for c in range(2) if dots[r, c]))


def _ascii(dots: NDArray[np.bool_]) -> str:
    """The mark that lies nearest to the dots of one character."""
    height: NDArray[np.bool_] = np.logical_or(dots[:, 0], dots[:, 1])
    if height.sum() == 1:
        return "'" if height[0] else "-" if height[1] or height[2] else "_"
    left, right = dots[:, 0], dots[:, 1]
    if left.any() and right.any():
        lean = float(np.flatnonzero(left).mean() - np.flatnonzero(right).mean())
        if abs(lean) > 0.6:
            return "/" if lean > 0 else "\\"
    return "|" if height.sum() > 2 else ":" if height.sum() == 2 else "."


# Widths in thousandths of the letter height: the advances of DejaVu Sans 2.37, a free font and
# among the widest in everyday use. Where another sans-serif stands in for it, lines only get shorter.
FAMILY = "DejaVu Sans, Helvetica, Arial, sans-serif"
_ADVANCES = {
    275: "'", 278: "ijl", 295: "IJ", 318: " ,.·’", 337: "/:;\\|", 352: "f", 361: "-", 390: "()[]",
    392: "t", 401: "!", 411: "r", 460: '"', 500: "*_`°–", 518: "“”", 521: "s", 525: "z", 531: "?",
    550: "c", 557: "L", 575: "F", 579: "k", 592: "vxy", 603: "P", 611: "TY", 612: "o", 613: "a",
    615: "e", 632: "E", 634: "hnu", 635: "Sbdgpq", 636: "$0123456789{}", 656: "K", 684: "AV",
    685: "XZ", 686: "B", 695: "R", 698: "C", 732: "U", 748: "N", 752: "H", 770: "D", 775: "G",
    780: "&", 787: "OQ", 818: "w", 838: "#+<=>^~×÷−", 863: "M", 950: "%", 974: "m", 989: "W",
    1000: "@—…",
}  # fmt: skip
_ADVANCE = {c: w / 1000.0 for w, letters in _ADVANCES.items() for c in letters}
_OTHER_LETTER, _WIDE_LETTER = 0.85, 1.0  # shares of the letter height, on the wide side
STRONG_SHARE = 0.035  # how much a strong letter is wider, of its height

Measure = Callable[[str, float], float]  # (one line of text, letter height mm) → its width mm


@cache
def _advance(letter: str) -> float:
    if letter in _ADVANCE:
        return _ADVANCE[letter]
    plain = unicodedata.normalize("NFD", letter)[0]  # an accent makes no letter wider
    if plain in _ADVANCE:
        return _ADVANCE[plain]
    if unicodedata.combining(letter):
        return 0.0
    wide = unicodedata.east_asian_width(letter) in ("W", "F")
    return _WIDE_LETTER if wide else _OTHER_LETTER


def svg_width(text: str, size_mm: float) -> float:
    """How wide a line of text is, mm, in the `FAMILY` that `to_svg` names."""
    return sum(map(_advance, text)) * size_mm


# a mixed number and its unit stay on one line: '9 3/16 in', '24 in', '1.5 cm'
_KEPT = re.compile(r"(?<=\d) (?=\d+/\d|(?:in|cm|mm)\b)")


def text_lines(text: str, size_mm: float, width: float, measure: Measure = svg_width) -> list[str]:
    """The text broken into lines of at most ``width`` mm as ``measure`` tells it.

    A mixed number stays with its fraction and its unit. A word that is wider than that by
    itself has a line of its own.
    """
    lines: list[str] = []
    for word in _KEPT.sub("\0", text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and measure(longer.replace("\0", " "), size_mm) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return [line.replace("\0", " ") for line in lines]


def clipped(points: Points, box: tuple[float, float, float, float]) -> list[Points]:
    """The parts of a line (N, 2) inside ``box`` (x0, y0, x1, y1) (Liang and Barsky, 1984)."""
    low, high = np.array(box[:2]), np.array(box[2:])
    parts: list[list[Points]] = []
    for a, b in pairwise(points):
        run = b - a
        enter, leave = 0.0, 1.0
        for p, q in zip((*-run, *run), (*(a - low), *(high - a)), strict=True):
            if abs(p) < 1e-12:
                if q < 0:
                    leave = -1.0
            elif p < 0:
                enter = max(enter, q / p)
            else:
                leave = min(leave, q / p)
        if enter >= leave:
            continue
        start, end = a + enter * run, a + leave * run
        if parts and np.allclose(parts[-1][-1], start, atol=1e-9):
            parts[-1].append(end)
        else:
            parts.append([start, end])
    return [np.array(part) for part in parts]


def place(points: ArrayLike, origin: Sequence[float], scale: float) -> Points:
    """Model points (N, 2), y up, onto a sheet: ``origin`` is the model's (0, 0) there."""
    p = np.asarray(points, dtype=np.float64)
    return np.asarray(np.array(origin, dtype=np.float64) + p * np.array([scale, -scale]))
