"""Pieces as DXF for other pattern programs, plotters and cutters, by ezdxf.

Beside the other writers of `drafting.export`. One block a piece, its lines on the layers of
ASTM D6673 (Sewn Products Pattern Data Interchange), in millimetres at true scale.

What of the standard is met: one block a piece with its text inside; style text once; boundary 1,
turn points 2, curve points 3, notches 4, mirror line 6, grain 7, internal lines 8, drill holes
13, sew line 14, text 15; closed boundaries as POLYLINE. What is not: there are no grade rules
(one garment is drafted for one wearer), no stripe or plaid lines (9, 10), cut-outs (11) or
quality-check curves (84–87); notches are written as the slit's line, not as a point; the file is
DXF R2000, not R13. The layer numbers are from two listings that agree, not from the
standard's own text, so conformance is not claimed.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from configs import clean
from configs.errors import Fault, InputError
from drafting.allowance import FOLD
from drafting.export.marks import CUTTING, DART, MARK, NOTCH, Stroke, allowance_text, strokes
from drafting.export.marks import GRAIN as GRAIN_STROKE
from drafting.export.svg import box_of, own_allowances
from drafting.outline import Points
from drafting.piece import Piece

APP_ID = "CHALKBEAM"  # owner of our extended data: where each named edge starts on the sew line
GAP_MM = 30.0
TEXT_MM = 8.0
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
    allowances: Mapping[str, float] | Mapping[str, Mapping[str, float]] | None,
    *,
    title: str = "",
) -> bytes:
    """All pieces side by side as the bytes of a DXF file (R2000, ASCII, mm).

    ``allowances``: edge → mm for every piece, or piece → (edge → mm).

    Raises:
        InputError: there are no pieces.
        DraftError: an allowance that a piece has no room for.
    """
    clean.library("ezdxf")
    from ezdxf import units
    from ezdxf.filemanagement import new

    if not pieces:
        raise InputError(Fault("", "there are no pieces to write."))
    document = new("R2000", setup=False, units=units.MM)
    document.header["$MEASUREMENT"] = 1
    document.appids.add(APP_ID)
    for layer, (colour, said) in _LAYERS.items():
        document.layers.add(layer, color=colour).description = said
    space = document.modelspace()
    x, names = 0.0, set[str]()
    for name, piece in pieces.items():
        own = own_allowances(allowances, name)
        drawn = strokes(piece, own)
        left, low, right, _ = box_of(drawn)
        block = document.blocks.new(_block_name(piece.name, names))
        _fill(block, piece, drawn, own)
        space.add_blockref(block.name, (x - left, -low), dxfattribs={"layer": BOUNDARY})
        x += right - left + GAP_MM
    style = [f"STYLE NAME: {title or next(iter(pieces))}", "UNITS: METRIC", "AUTHOR: chalkbeam"]
    for i, line in enumerate(style):
        _text(space, line, (0.0, -(3.0 + 1.6 * i) * TEXT_MM), BOUNDARY)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def _fill(
    block: Any, piece: Piece, drawn: tuple[Stroke, ...], allowances: Mapping[str, float] | None
) -> None:
    ring = next(s.points for s in drawn if s.kind == CUTTING)
    _polyline(block, ring, True, BOUNDARY)
    for point, turns in zip(ring, _turning(ring), strict=True):
        layer = TURN_POINTS if turns > TURN_DEG else CURVE_POINTS
        block.add_point(point.tolist(), dxfattribs={"layer": layer})
    sew, starts = _sewing(piece)
    line = _polyline(block, sew, True, SEW)
    data: list[tuple[int, Any]] = []
    for name, start in zip(piece.edges, starts, strict=True):
        data += [(1000, _plain(name)), (1071, start)]
    line.set_xdata(APP_ID, data)
    if FOLD in piece.edges:
        fold = np.array([ring[0], ring[-1]])
        block.add_line(fold[0].tolist(), fold[1].tolist(), dxfattribs={"layer": MIRROR})
    grain = next(s.points for s in drawn if s.kind == GRAIN_STROKE).tolist()
    block.add_line(grain[0], grain[1], dxfattribs={"layer": GRAIN})
    for s in drawn:
        if s.kind == NOTCH:
            a, b = s.points.tolist()
            block.add_line(a, b, dxfattribs={"layer": NOTCHES})
        elif s.kind in (DART, MARK):
            _polyline(block, s.points, s.closed, INTERNAL)
    for mark in piece.drills:
        block.add_point(mark.points[0].tolist(), dxfattribs={"layer": DRILLS})
    words = [
        f"PIECE NAME: {piece.name}",
        f"QUANTITY: {piece.cut}",
        f"PAIR: {'true' if piece.pair else 'false'}",
        f"TURNS: {' '.join(f'{t:g}' for t in piece.turns)}",
    ]
    if piece.larger is not None:
        words.append(f"LARGER: {' '.join(f'{v:.9g}' for v in piece.larger)}")
    middle = (sew.min(axis=0) + sew.max(axis=0)) / 2.0
    for i, text in enumerate(words):
        _text(block, text, (middle[0], middle[1] - 1.6 * i * TEXT_MM), BOUNDARY)
    _text(
        block,
        allowance_text(piece, allowances),
        (middle[0], middle[1] - 1.6 * len(words) * TEXT_MM),
        TEXT,
    )


def _polyline(layout: Any, points: Points, closed: bool, layer: str) -> Any:
    return layout.add_polyline2d(points.tolist(), close=closed, dxfattribs={"layer": layer})


def _text(layout: Any, text: str, at: tuple[float, float], layer: str) -> None:
    layout.add_text(
        _plain(text),
        height=TEXT_MM,
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
    """One line of text without control characters, short enough for a DXF string."""
    return re.sub(r"[\x00-\x1f\x7f]+", " ", text)[:200]


def _block_name(name: str, taken: set[str]) -> str:
    """A block name: characters that DXF forbids replaced, unlike those in ``taken``."""
    base = re.sub(r'[<>/\\":;?*|=`,\x00-\x1f]', "-", name).strip()[:60] or "piece"
    made, n = base, 2
    while made.lower() in taken:
        made, n = f"{base}-{n}", n + 1
    taken.add(made.lower())
    return made
