"""Pieces as DXF for other pattern programs, plotters and cutters, by ezdxf.

Beside the other writers of `drafting.export`. One block a piece, its lines on the layers of
ASTM D6673 (Sewn Products Pattern Data Interchange), in millimetres at true scale.

What of the standard is met: one block a piece with its text inside; style text once; boundary 1,
turn points 2, curve points 3, notches 4 (the slit's line, and a point where it starts), mirror
line 6, grain 7, internal lines 8, drill holes 13, sew line 14, text 15; closed boundaries as
POLYLINE. What is not: there are no grade rules (one garment is drafted for one wearer), no
stripe or plaid lines (9, 10), cut-outs (11) or quality-check curves (84–87); the file is DXF
R2000, not R13. The layer numbers are from two listings that agree, not from the standard's own
text, so conformance is not claimed.

What those layers have no place for (an edge's name, which notches match, a mark's name) goes
with the line as extended data of ours, which other programs pass over.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from configs import clean
from drafting.allowance import FOLD
from drafting.export.marks import (
    CUTTING,
    DART,
    DRILL,
    MARK,
    NOTCH,
    Allowances,
    Shown,
    allowance_text,
    label_of,
    mark_words,
    shown,
)
from drafting.export.marks import GRAIN as GRAIN_STROKE
from drafting.figures.drawing import svg_width
from drafting.lettering import one_line, unlike
from drafting.outline import Points
from drafting.piece import Piece

APP_ID = "CHALKBEAM"  # owner of our extended data
GAP_MM = 30.0
TEXT_MM = 8.0  # height of a capital letter
LEAST_TEXT_MM = 1.0
CAPITAL = 0.72  # height of a capital letter over the size of its font [Helvetica]
TURN_DEG = 15.0  # a vertex that turns more is a turn point, others are curve points

BOUNDARY, TURN_POINTS, CURVE_POINTS, NOTCHES = "1", "2", "3", "4"
MIRROR, GRAIN, INTERNAL, DRILLS, SEW, TEXT = "6", "7", "8", "13", "14", "15"
_LAYERS = {
    BOUNDARY: (7, "piece boundary (cutting line)"),
    TURN_POINTS: (8, "turn points"),
    CURVE_POINTS: (8, "curve points"),
    NOTCHES: (1, "notches"),
    MIRROR: (6, "mirror line (fold)"),
    GRAIN: (3, "grain line"),
    INTERNAL: (30, "internal lines, not cut"),
    DRILLS: (1, "drill holes"),
    SEW: (5, "sew line"),
    TEXT: (8, "annotation text"),
}


def pieces_dxf(
    pieces: Mapping[str, Piece],
    allowances: Allowances,
    *,
    title: str = "",
    unfolded: bool = False,
    unit: str = "mm",
) -> bytes:
    """All pieces side by side as the bytes of a DXF file (R2000, ASCII, mm).

    ``allowances``: edge → mm for every piece, or piece → (edge → mm); ``unfolded``: write pieces
    on the fold whole, without a mirror line; ``unit``: of the allowances in writing.

    Raises:
        InputError: there are no pieces.
        DraftError: an allowance that a piece has no room for.
    """
    clean.library("ezdxf")
    from ezdxf import units
    from ezdxf.filemanagement import new

    there = shown(pieces, allowances, unfolded=unfolded)
    document = new("R2000", setup=False, units=units.MM)
    document.header["$MEASUREMENT"] = 1
    document.appids.add(APP_ID)
    for layer, (colour, said) in _LAYERS.items():
        document.layers.add(layer, color=colour).description = said
    space = document.modelspace()
    x = top = 0.0
    for one in there.values():
        left, low, right, high = one.box
        block = document.blocks.new(_block_name(one.piece.name, document))
        _fill(block, one, unit)
        space.add_blockref(block.name, (x - left, -low), dxfattribs={"layer": BOUNDARY})
        x += right - left + GAP_MM
        top = max(top, high - low)
    style = [f"STYLE NAME: {title or next(iter(pieces))}", "UNITS: METRIC", "AUTHOR: chalkbeam"]
    row = 1.6 * TEXT_MM
    for i, line in enumerate(style):
        _text(space, line, (0.0, -(i + 2) * row), BOUNDARY)
    wide = max(x - GAP_MM, *(_width(line, TEXT_MM) for line in style))
    # the layout's own extents are what ezdxf writes to $EXTMIN and $EXTMAX
    space.reset_extents((0.0, -(len(style) + 1) * row - 0.3 * TEXT_MM, 0.0), (wide, top, 0.0))
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def _fill(block: Any, one: Shown, unit: str) -> None:
    piece, drawn = one.piece, one.drawn
    ring = next(s.points for s in drawn if s.kind == CUTTING)
    boundary = _polyline(block, ring, True, BOUNDARY)
    label = {f"label-{i}": line for i, line in enumerate(piece.label, 1)}
    turns = " ".join(f"{t:g}" for t in piece.turns)
    said = {"pair": "true" if piece.pair else "false", "turns": turns, **label}
    if piece.larger is not None:
        said["larger"] = " ".join(f"{v:.9g}" for v in piece.larger)
    _note(boundary, said)
    for point, turn in zip(ring, _turning(ring), strict=True):
        _point(block, point, TURN_POINTS if turn > TURN_DEG else CURVE_POINTS)
    sew, starts = _sewing(piece)
    line = _polyline(block, sew, True, SEW)
    data: list[tuple[int, Any]] = []
    for name, start in zip(piece.edges, starts, strict=True):
        data += [(1000, _plain(name)), (1071, start)]
    line.set_xdata(APP_ID, data)
    if FOLD in piece.edges:
        _line(block, np.array([ring[0], ring[-1]]), MIRROR)
    _line(block, next(s.points for s in drawn if s.kind == GRAIN_STROKE), GRAIN)
    for s in drawn:
        if s.kind == NOTCH:
            _note(_line(block, s.points, NOTCHES), s.note)
            _note(_point(block, s.points[0], NOTCHES), s.note)
        elif s.kind in (DART, MARK):
            _note(_polyline(block, s.points, s.closed, INTERNAL), s.note)
        elif s.kind == DRILL and s.points[0, 1] == s.points[1, 1]:  # the level arm of each cross
            _note(_point(block, s.points.mean(axis=0), DRILLS), s.note)
    _words(block, piece, one.allowances, unit)


def _words(block: Any, piece: Piece, allowances: Mapping[str, float] | None, unit: str) -> None:
    """What is said of a piece, inside its sewing line, and the names of its marks beside them."""
    rows = [(f"PIECE NAME: {piece.name}", BOUNDARY), (f"QUANTITY: {piece.cut}", BOUNDARY)]
    if piece.pair:
        rows.append(("CATEGORY: L,R", BOUNDARY))
    rows.append((allowance_text(piece, allowances, unit), TEXT))
    spot = label_of(piece, allowances)
    widest = max(_width(text, 1.0) for text, _ in rows)
    height = min(TEXT_MM, 0.9 * spot.across / widest, spot.up / (1.6 * len(rows)))
    height = max(LEAST_TEXT_MM, height)
    turn = np.radians(spot.turn_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    up = np.array([-along[1], along[0]])
    for i, (text, layer) in enumerate(rows):
        line = (len(rows) - 1) / 2.0 - i
        at = spot.centre - along * _width(text, height) / 2.0 + up * height * (1.6 * line - 0.5)
        _text(block, text, (at[0], at[1]), layer, height, spot.turn_deg)
    for words in mark_words(piece, every=True):
        _text(block, words.text, words.at, TEXT, words.em_mm * CAPITAL)


def _width(text: str, height: float) -> float:
    """Width in mm of a line of text whose capitals are ``height`` mm high, about."""
    return svg_width(_plain(text), height / CAPITAL)


def _note(entity: Any, note: Mapping[str, str]) -> None:
    """Key and value with an entity, as extended data of ours."""
    if note:
        entity.set_xdata(APP_ID, [(1000, _plain(f"{k}={v}")) for k, v in note.items()])


def _point(layout: Any, at: Points, layer: str) -> Any:
    return layout.add_point(at.tolist(), dxfattribs={"layer": layer})


def _line(layout: Any, ends: Points, layer: str) -> Any:
    return layout.add_line(ends[0].tolist(), ends[1].tolist(), dxfattribs={"layer": layer})


def _polyline(layout: Any, points: Points, closed: bool, layer: str) -> Any:
    return layout.add_polyline2d(points.tolist(), close=closed, dxfattribs={"layer": layer})


def _text(
    layout: Any,
    text: str,
    at: tuple[float, float],
    layer: str,
    height: float = TEXT_MM,
    turn_deg: float = 0.0,
) -> None:
    """A line of text whose base line starts at ``at``, turned counter-clockwise."""
    layout.add_text(
        _plain(text),
        height=height,
        rotation=turn_deg,
        dxfattribs={"layer": layer, "insert": (float(at[0]), float(at[1]))},
    )


def _sewing(piece: Piece) -> tuple[Points, list[int]]:
    """(N, 2) mm sewing line and the index where each edge starts on it."""
    ring: list[Points] = []
    starts: list[int] = []
    for edge in piece.edges.values():
        starts.append(len(ring))
        for point in edge.points[:-1]:
            if not ring or len(ring) == starts[-1] or np.hypot(*(point - ring[-1])) > 1e-6:
                ring.append(point)
    return np.array(ring), starts


def _turning(ring: Points) -> Points:
    """(N,) degrees by which a closed ring turns at each of its points."""
    ahead = np.roll(ring, -1, axis=0) - ring
    back = np.roll(ahead, 1, axis=0)
    cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    return np.asarray(np.degrees(np.abs(np.arctan2(cross, (back * ahead).sum(axis=1)))))


def _plain(text: str) -> str:
    r"""One line of text, short enough for a DXF string; letters past U+FFFF as the two halves
    that \U+XXXX has room for (DXF reference, from memory)."""
    line = one_line(text)[:200].replace("\\U+", "\\U+005CU+")  # her own is no escape
    return "".join(c if ord(c) < 0x10000 else _halves(c) for c in line)


def _halves(letter: str) -> str:
    high, low = divmod(ord(letter) - 0x10000, 0x400)
    return f"\\U+{0xD800 + high:04X}\\U+{0xDC00 + low:04X}"


def _block_name(name: str, document: Any) -> str:
    """A block name: characters that DXF forbids replaced, unlike those of the other blocks."""
    base = re.sub(r'[<>/\\":;?*|=`,\x00-\x1f]', "-", name).strip()[:60] or "piece"
    return unlike(base, document.blocks, "-")
