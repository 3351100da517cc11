"""Pieces as SVG, at true scale: one user unit is a millimetre.

Beside the other writers of `drafting.export`. Each piece is a group with its named edges, lines
carry their kind as a class, and y is turned so that a piece stands upright. Presentation is by
attributes too, so that a reader without style sheets shows the same.

Standard: SVG 2, W3C (the elements used are those of SVG 1.1; data-* attributes came with 2). Positions are written to 0.0001 mm.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from configs.errors import InputError
from configs.units import format_length
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
    Allowances,
    Label,
    Shown,
    label_of,
    mark_words,
    says_size,
    shown,
)
from drafting.figures.drawing import FAMILY, number, svg_document, svg_width, xml_text
from drafting.lettering import unlike
from drafting.outline import Edge, Points, polyline_length
from drafting.piece import Piece

MARGIN_MM = 10.0
GAP_MM = 20.0

# line weight mm, dash mm, colour: weight and dash tell the kinds apart on a black printer too
_LOOKS = {
    CUTTING: (0.7, "", "#14213d"),
    SEWING: (0.35, "5 2.5", "#14213d"),
    FOLD: (0.5, "12 2 2 2", "#7a1f5c"),
    GRAIN: (0.35, "", "#0b6e4f"),
    SIGN: (0.35, "", "#0b6e4f"),
    NOTCH: (0.7, "", "#14213d"),
    DART: (0.35, "3 2", "#b3541e"),
    DRILL: (0.35, "", "#b3541e"),
    MARK: (0.3, "8 2", "#b3541e"),
}
_TEXT = "#14213d"
_SIDES = ("#14213d", "#b3541e", "#0b6e4f", "#7a1f5c")


def pieces_svg(
    pieces: Mapping[str, Piece],
    allowances: Allowances,
    *,
    title: str = "",
    unfolded: bool = False,
    unit: str = "mm",
) -> str:
    """All pieces side by side in one SVG document, feet on one line, one user unit a millimetre.

    ``allowances``: edge → mm for every piece, or piece → (edge → mm), ``all`` for the rest of its edges;
    None draws the cutting on the sewing line; ``title``: the garment, written on each piece too;
    ``unfolded``: draw pieces on the fold whole. Else the cutting line of such a half is an open path
    that ends at the fold, so that a cutting machine leaves the fold whole. ``unit``: of the allowances
    in writing.

    Raises:
        InputError: there are no pieces.
        DraftError: an allowance that a piece has no room for.
    """
    there = list(shown(pieces, allowances, unfolded=unfolded).values())
    height = max(s.box[3] - s.box[1] for s in there)
    body: list[str] = []
    taken: set[str] = set()
    x = MARGIN_MM
    for one in there:
        left, low, right, _ = one.box
        # piece (x, y up) → page (x, y down), its lowest point on the common foot line
        body += _piece(one, (x - left, MARGIN_MM + height + low), title, taken, unit)
        x += right - left + GAP_MM
    width = x - GAP_MM + MARGIN_MM
    name = title or next(iter(pieces))
    return svg_document(width, height + 2 * MARGIN_MM, body, title=name)


def sides_svg(outlines: Mapping[str, Mapping[str, Points]], *, title: str = "") -> str:
    """Outlines with the name and length of each side written at its middle, at true scale.

    For a look before an import: which side is 'right 2'? ``outlines``: name → side → (N, 2) mm,
    y up, sides in ring order, counter-clockwise.

    Raises:
        InputError: there are no outlines.
    """
    if not outlines:
        raise InputError.of("", "there are no outlines to draw.")
    boxes = []
    for sides in outlines.values():
        points = np.vstack(list(sides.values()))
        boxes.append((points.min(axis=0), points.max(axis=0)))
    height = max(float(high[1] - low[1]) for low, high in boxes)
    body: list[str] = []
    x = MARGIN_MM
    for (name, sides), (low, high) in zip(outlines.items(), boxes, strict=True):
        shift = np.array([x - low[0], MARGIN_MM + height + low[1]])
        em = float(np.clip((high - low).max() / 40.0, 3.0, 9.0))
        for i, (side, run) in enumerate(sides.items()):
            colour = _SIDES[i % len(_SIDES)]
            d = path_data(run * (1.0, -1.0) + shift, False)
            body.append(
                f'<path fill="none" stroke="{colour}" stroke-width="{_number(em / 6)}" stroke-linejoin="round" d="{d}"/>'
            )
            at, along = Edge(side, run).at(polyline_length(run) / 2.0)
            spot = (at + 1.3 * em * np.array([-along[1], along[0]])) * (1.0, -1.0) + shift
            turn = -float(np.degrees(np.arctan2(along[1], along[0])))  # the page's y runs down
            turn = turn - 180.0 if turn > 90.0 else turn + 180.0 if turn <= -90.0 else turn
            text = f"{side} · {format_length(polyline_length(run), 'mm')}"
            body.append(_words(text, spot[0], spot[1], em, colour, turn))
        centre = (low + high) / 2.0 * (1.0, -1.0) + shift
        body.append(_words(name, centre[0], centre[1], 1.6 * em, _TEXT))
        x += float(high[0] - low[0]) + GAP_MM
    width = x - GAP_MM + MARGIN_MM
    return svg_document(width, height + 2 * MARGIN_MM, body, title=title or "outlines")


def _words(text: str, x: float, y: float, em: float, colour: str, turn: float = 0.0) -> str:
    """Text with its middle at (x, y), turned clockwise by ``turn`` degrees."""
    place = f"translate({_number(x)} {_number(y)}) rotate({_number(turn)})"
    return (
        f'<text transform="{place}" y="{_number(em / 3)}" font-size="{_number(em)}"'
        f' fill="{colour}" stroke="none" font-family="{FAMILY}" text-anchor="middle">'
        f"{xml_text(text)}</text>"
    )


def _piece(
    one: Shown, shift: tuple[float, float], title: str, taken: set[str], unit: str
) -> list[str]:
    piece = one.piece
    slug = _unlike(_slug(piece.name), taken)
    about = [
        f'data-piece="{xml_text(piece.name)}"',
        f'data-cut="{piece.cut}"',
        f'data-pair="{"true" if piece.pair else "false"}"',
        f'data-turns="{" ".join(f"{t:g}" for t in piece.turns)}"',
        *(f'data-label-{i}="{xml_text(t)}"' for i, t in enumerate(piece.label, 1)),
    ]
    if piece.larger is not None:
        about.append(f'data-larger="{" ".join(f"{v:.9g}" for v in piece.larger)}"')
    lines = [f'<g id="{slug}" class="piece" {" ".join(about)}>']
    for stroke in one.drawn:
        what = stroke.kind if stroke.name == piece.name else _slug(stroke.name)
        unique = _unlike(f"{slug}.{what}", taken)
        edge = ""
        if stroke.kind in (SEWING, FOLD) and stroke.name in piece.edges:
            edge = f' data-edge="{xml_text(stroke.name)}"'
        weight, dash, colour = _LOOKS[stroke.kind]
        if says_size(stroke):  # the bar of a slit: solid, and its length beside it
            weight, dash = 0.7, ""
        edge += "".join(f' data-{k}="{xml_text(v)}"' for k, v in stroke.note.items())
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        d = path_data(stroke.points * (1.0, -1.0) + shift, stroke.closed and not stroke.on_fold)
        lines.append(
            f'<path id="{unique}" class="{stroke.kind}"{edge} fill="none" stroke="{colour}"'
            f' stroke-width="{weight}"{dashes} stroke-linejoin="round" d="{d}"/>'
        )
    for words in mark_words(piece):
        x, y = words.at[0] + shift[0], shift[1] - words.at[1]
        lines.append(
            f'<text class="note" x="{_number(x)}" y="{_number(y)}" font-size="{_number(words.em_mm)}"'
            f' fill="{_LOOKS[MARK][2]}" stroke="none" font-family="{FAMILY}">'
            f"{xml_text(words.text)}</text>"
        )
    lines += _label(label_of(piece, one.allowances, title, unit), shift)
    lines.append("</g>")
    return lines


def _label(label: Label, shift: tuple[float, float]) -> list[str]:
    x, y = label.centre[0] + shift[0], shift[1] - label.centre[1]
    turned = ""
    if label.turn_deg:
        turned = f' transform="rotate({_number(-label.turn_deg)} {_number(x)} {_number(y)})"'
    out = [
        f'<g class="label"{turned} font-family="{FAMILY}" text-anchor="middle" fill="{_TEXT}" stroke="none">'
    ]
    for row, em, down in label.set_in(svg_width, 2.0):
        out.append(
            f'<text x="{_number(x)}" y="{_number(y + down)}" font-size="{_number(em)}">{xml_text(row)}</text>'
        )
    out.append("</g>")
    return out


def path_data(points: Points, closed: bool) -> str:
    """The ``d`` attribute of straight lines through ``points`` (N, 2), y down."""
    steps = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
    return f"M{steps}{'Z' if closed else ''}"


def _number(value: float) -> str:
    return number(value, 4)


def _unlike(name: str, taken: set[str]) -> str:
    """An id not given before in this document; remembered in ``taken``."""
    made = unlike(name, taken, "-")
    taken.add(made)
    return made


def _slug(text: str) -> str:
    """An id: letters, digits and hyphens, starting with a letter."""
    plain = "".join(c if c.isalnum() and c.isascii() else "-" for c in text.lower()).strip("-")
    return plain if plain[:1].isalpha() else f"p-{plain}".rstrip("-")
