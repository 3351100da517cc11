"""Outlines from a DXF file, read by ezdxf: units, blocks, bulges, arcs, splines.

First station of the intake. A block with lines on the pattern-interchange layers (1 boundary,
14 sew line, 7 grain, 6 mirror line; after ASTM D6673, layer numbers from listings) is one
piece; any other drawing gives every closed outline that is in it. Arcs stay arcs until the last
step (ezdxf's own path tool turns them into cubics that are 0.05 mm off on a 200 mm radius).
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Collection, Iterable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from configs import clean
from configs.errors import Fault, InputError
from drafting.intake.drawn import Drawn
from drafting.intake.found import Found
from drafting.intake.geometry import LARGEST, Arc, Array, Chain, Segment, line, polygon
from drafting.intake.svg import UNIT_MM, read_bytes

MAX_BYTES = 10_000_000
MAX_ENTITIES = 20_000  # also after every INSERT is carried out
MAX_VERTICES = 200_000
MAX_NESTING = 8
SPLINE_MM = 0.003  # ezdxf's points lie on the curve, so these chords must be short to be true
APP_ID = "CHALKBEAM"  # our extended data: where each named edge starts on the sew line

_LINES = {"1": "cutting", "14": "sewing", "7": "grain", "6": "fold"}
# $INSUNITS codes of the DXF reference that a drawing of a garment can have → mm
_INSUNITS_MM = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 14: 100.0}
_PLAIN = "Save it as ASCII DXF (R12 or R2000) from the program it came from."


def read_dxf(path: str | Path, unit: str | None = None, only: Collection[str] = ()) -> Found:
    """The closed outlines of a DXF file, in mm, y up.

    Args:
        path: the file.
        unit: what one drawing unit is ('mm', 'cm', 'in', 'pt', 'px') when the file does not say.
        only: names of the outlines wanted; what is wrong with others is then a note.

    Raises:
        InputError: not a DXF, past the limits, no unit declared and none given, or an outline
            that cannot be a piece.
    """
    path = Path(path)
    data = read_bytes(path, MAX_BYTES)
    return _Reader(_document(data, str(path)), str(path), unit).found(only)


def _document(data: bytes, where: str) -> Any:
    """The file as an ezdxf document, mended where ezdxf can mend it."""
    clean.library("ezdxf")
    from ezdxf import recover
    from ezdxf.lldxf.const import DXFError

    if data[:22] == b"AutoCAD Binary DXF\r\n\x1a\x00":
        raise InputError(Fault(where, "is a binary DXF.", _PLAIN))
    if b"SECTION" not in data[:200_000]:
        raise InputError(Fault(where, "is not a DXF file.", "Is it the right file?"))
    try:
        document, _ = recover.read(io.BytesIO(data), errors="surrogateescape")
    except (DXFError, OSError) as error:
        raise InputError(Fault(where, f"cannot be read as DXF ({error}).", _PLAIN)) from error
    except (
        ArithmeticError,
        LookupError,
        TypeError,
        ValueError,
        AttributeError,
        RecursionError,
    ) as error:
        # ezdxf meets broken tags with whatever Python raises; to her they are all one thing
        raise InputError(Fault(where, "cannot be read as DXF: it is damaged.", _PLAIN)) from error
    return document


class _Reader:
    """Walks the model space, block by block, under the limits."""

    def __init__(self, document: Any, where: str, unit: str | None) -> None:
        self.document = document
        self.where = where
        self.unit = unit
        self.notes: list[str] = []
        self.entities = 0
        self.vertices = 0
        self.scale = 1.0
        self.unread: dict[str, int] = {}

    def found(self, only: Collection[str]) -> Found:
        try:
            return self._found(only)
        except (ArithmeticError, LookupError, TypeError, AttributeError, RecursionError) as error:
            raise InputError(
                Fault(self.where, "cannot be read as DXF: it is damaged.", _PLAIN)
            ) from error

    def _found(self, only: Collection[str]) -> Found:
        self.scale = self.unit_mm()
        drawn: list[Drawn] = []
        space = list(self.document.modelspace())
        inserts = [e for e in space if e.dxftype() == "INSERT"]
        if not space:  # pieces may stand in blocks that nothing inserts
            for block in self.document.blocks:
                if not block.name.startswith("*"):
                    drawn += self.piece(block.name, list(block))
        for insert in inserts:
            drawn += self.inserted(insert)
        drawn += self.loose((e for e in space if e.dxftype() != "INSERT"), "")
        for kind, count in sorted(self.unread.items()):
            self.notes.append(f"{count} × {kind} left out: not a line that is read.")
        return outlines_from(drawn, self.where, self.notes, only)

    def unit_mm(self) -> float:
        """Millimetres per drawing unit: from the header, the style text, or as she says."""
        code = self.document.header.get("$INSUNITS", 0)
        declared = _INSUNITS_MM.get(code if isinstance(code, int) else 0)
        said = f"$INSUNITS {code}"
        if declared is None:
            for text in self.texts():
                match = re.match(r"\s*units?\s*:\s*(metric|english)", text, re.IGNORECASE)
                if match:
                    declared = 1.0 if match.group(1).lower() == "metric" else 25.4
                    said = f"'{text.strip()[:40]}'"
                    break
        if declared is None:
            if self.unit is None:
                raise InputError(
                    Fault(
                        self.where,
                        "declares no unit, so its scale is unknown.",
                        "Say what one unit of the drawing is: --unit mm, cm or in.",
                    )
                )
            return UNIT_MM[self.unit]
        if self.unit is not None and not math.isclose(UNIT_MM[self.unit], declared, rel_tol=1e-3):
            raise InputError(
                Fault(
                    self.where,
                    f"says itself that one unit is {declared:g} mm ({said}), but --unit says {self.unit}.",
                    "Leave --unit out, or correct the file.",
                )
            )
        return declared

    def texts(self) -> Iterator[str]:
        sources = [self.document.modelspace(), *self.document.blocks]
        count = 0
        for source in sources:
            for e in source:
                if e.dxftype() in ("TEXT", "MTEXT"):
                    count += 1
                    yield e.dxf.text if e.dxftype() == "TEXT" else e.text
                if count > 5000:
                    return

    def inserted(self, insert: Any) -> list[Drawn]:
        name = str(insert.dxf.name)
        parts = list(self.expanded(insert, 0))
        return self.piece(name, parts)

    def expanded(self, insert: Any, depth: int) -> Iterator[Any]:
        """The entities of an INSERT in the drawing's frame, nested ones too."""
        if depth > MAX_NESTING:
            raise self.fault(f"nests blocks deeper than {MAX_NESTING}.")
        block = self.document.blocks.get(insert.dxf.name)
        if block is None:
            raise self.fault(
                f"inserts the block '{str(insert.dxf.name)[:40]}', which is not there."
            )
        if block.block is not None and block.block.is_xref:
            raise self.fault("refers to another file, which is not fetched.")
        self.tally(len(block) * max(1, insert.mcount))
        for one in insert.multi_insert() if insert.mcount > 1 else (insert,):
            for e in one.virtual_entities():
                if e.dxftype() == "INSERT":
                    yield from self.expanded(e, depth + 1)
                else:
                    yield e

    def tally(self, entities: int) -> None:
        self.entities += entities
        if self.entities > MAX_ENTITIES:
            raise self.fault(f"draws more than {MAX_ENTITIES} entities.")

    def fault(self, what: str) -> InputError:
        return InputError(Fault(self.where, what, "Save the outlines of one garment alone."))

    def piece(self, block: str, entities: list[Any]) -> list[Drawn]:
        """One block: a piece when it has the interchange layers, else loose lines."""
        layers = {str(e.dxf.layer) for e in entities}
        if not layers & {"1", "14"}:
            return self.loose(entities, block)
        name, about = block, {}
        for e in entities:
            text = _decoded(e.dxf.text) if e.dxftype() == "TEXT" else ""
            key, colon, value = text.partition(":")
            if colon and key.strip().lower() == "piece name" and value.strip():
                name = value.strip()
            if colon and key.strip().lower() in ("quantity", "pair", "turns"):
                about[key.strip().lower().replace("quantity", "cut")] = value.strip()
        drawn = []
        place = f"block '{block[:40]}'"
        for e in entities:
            kind = _LINES.get(str(e.dxf.layer))
            if kind is None:
                continue
            for chain in self.chains(e):
                for edge, part in _named_edges(e, chain) if kind == "sewing" else ():
                    drawn.append(Drawn(part, name, place, name, _decoded(edge), kind, about))
                drawn.append(Drawn(chain, name, place, name, "", kind, about))
        return drawn

    def loose(self, entities: Iterable[Any], block: str) -> list[Drawn]:
        drawn = []
        for e in entities:
            self.tally(1)
            layer = str(e.dxf.layer)
            name = block or (layer if layer != "0" else "")
            place = f"{e.dxftype()} #{e.dxf.handle or '?'} on layer '{layer[:40]}'"
            drawn += [Drawn(c, name, place) for c in self.chains(e)]
        return drawn

    # -- entities

    def chains(self, e: Any) -> list[Chain]:
        """An entity as chains in mm, y up (view from above); empty for what draws no line."""
        kind = e.dxftype()
        made: list[Chain] = []
        if kind == "LINE":
            made = [Chain((line(_xy(e.dxf.start), _xy(e.dxf.end)),), False)]
        elif kind in ("LWPOLYLINE", "POLYLINE"):
            made = self.polyline(e)
        elif kind in ("ARC", "CIRCLE"):
            made = self.arc(e)
        elif kind == "ELLIPSE":
            made = [_ellipse(e)]
        elif kind == "SPLINE":
            made = self.spline(e)
        elif kind not in ("TEXT", "MTEXT", "POINT", "ATTRIB", "ATTDEF", "DIMENSION", "VIEWPORT"):
            self.unread[kind] = self.unread.get(kind, 0) + 1
        moved = [c.moved(np.diag([self.scale, self.scale, 1.0])) for c in made]
        for chain in moved:
            self.vertices += len(chain.segments)
            if self.vertices > MAX_VERTICES:
                raise self.fault(f"draws more than {MAX_VERTICES} points.")
            if not all(np.all(np.abs(s.hull) <= LARGEST) for s in chain.segments):
                raise self.fault("holds a coordinate that is no number, or far too large.")
        return moved

    def mirror(self, e: Any) -> float | None:
        """1 seen from above, −1 from below (extrusion), None when it stands on edge."""
        z = float(e.dxf.extrusion.z) if e.dxf.hasattr("extrusion") else 1.0
        if abs(abs(z) - 1.0) > 1e-6:
            self.unread["line not lying flat"] = self.unread.get("line not lying flat", 0) + 1
            return None
        return math.copysign(1.0, z)

    def polyline(self, e: Any) -> list[Chain]:
        if e.dxftype() == "LWPOLYLINE":
            rows = [(float(x), float(y), float(b)) for x, y, b in e.get_points("xyb")]
            closed, flip = bool(e.closed), self.mirror(e)
        else:
            if not (e.is_2d_polyline or e.is_3d_polyline):
                self.unread["mesh"] = self.unread.get("mesh", 0) + 1
                return []
            rows = [
                (
                    float(v.dxf.location.x),
                    float(v.dxf.location.y),
                    float(v.dxf.bulge if e.is_2d_polyline else 0.0),
                )
                for v in e.vertices
                if not int(v.dxf.flags) & 16  # a spline's control point, not on the line
            ]
            closed = bool(e.is_closed)
            flip = self.mirror(e) if e.is_2d_polyline else 1.0
        if flip is None or len(rows) < 2:
            return []
        if closed and rows[0][:2] != rows[-1][:2]:
            rows.append((rows[0][0], rows[0][1], 0.0))
        segments = [
            _bulge(np.array(a[:2]), np.array(b[:2]), a[2])
            for a, b in pairwise(rows)
            if a[:2] != b[:2]
        ]
        if not segments:
            return []
        shut = closed or (len(segments) > 1 and rows[0][:2] == rows[-1][:2])
        return [Chain(tuple(segments), shut).moved(np.diag([flip, 1.0, 1.0]))]

    def arc(self, e: Any) -> list[Chain]:
        flip = self.mirror(e)
        radius = float(e.dxf.radius)
        if flip is None or radius <= 0.0:
            return []
        start, sweep, closed = 0.0, 2.0 * math.pi, True
        if e.dxftype() == "ARC":
            start = math.radians(float(e.dxf.start_angle) % 360.0)
            sweep = math.radians((float(e.dxf.end_angle) - float(e.dxf.start_angle)) % 360.0)
            closed = sweep == 0.0
            sweep = sweep or 2.0 * math.pi
        made = _arc(
            _xy(e.dxf.center), np.array([radius, 0.0]), np.array([0.0, radius]), start, sweep
        )
        return [Chain((made,), closed).moved(np.diag([flip, 1.0, 1.0]))]

    def spline(self, e: Any) -> list[Chain]:
        curve = e.construction_tool()
        if curve.count > 5000:
            raise self.fault(f"holds a curve of {curve.count} control points.")
        corners = np.array([[p.x, p.y] for p in curve.control_points]) * self.scale
        if not np.all(np.isfinite(corners)) or float(np.ptp(corners, axis=0).max()) > 2e4:
            raise self.fault("holds a curve longer than 20 m.")
        points = np.array(
            [[p.x, p.y] for p in curve.flattening(SPLINE_MM / self.scale, segments=8)]
        )
        made = polygon(points, bool(e.closed))
        return [made] if made else []


def _decoded(text: Any) -> str:
    r"""Text with its \U+03A9 escapes (letters outside the file's code page) read."""
    from ezdxf.lldxf.encoding import decode_dxf_unicode

    return str(decode_dxf_unicode(str(text)))


def _xy(point: Any) -> Array:
    return np.array([float(point[0]), float(point[1])])


def _arc(centre: Array, u: Array, v: Array, start: float, sweep: float) -> Arc:
    def at(t: float) -> Array:
        return np.asarray(centre + math.cos(t) * u + math.sin(t) * v)

    first = at(start)
    whole = math.isclose(abs(sweep), 2.0 * math.pi)
    return Arc(centre, u, v, start, sweep, first, first if whole else at(start + sweep))


def _ellipse(e: Any) -> Chain:
    u, v = _xy(e.dxf.major_axis), _xy(e.minor_axis)
    start = float(e.dxf.start_param)
    sweep = (float(e.dxf.end_param) - start) % (2.0 * math.pi)
    whole = math.isclose(sweep, 0.0, abs_tol=1e-9) or math.isclose(sweep, 2.0 * math.pi)
    made = _arc(_xy(e.dxf.center), u, v, start, 2.0 * math.pi if whole else sweep)
    return Chain((made,), whole)


def _bulge(a: Array, b: Array, bulge: float) -> Segment:
    """A polyline's segment; ``bulge`` = tan(quarter of its angle), positive to the left turn.

    Source: the DXF reference, group code 42.
    """
    if not math.isfinite(bulge) or abs(bulge) < 1e-12:
        return line(a, b)
    chord = b - a
    # The centre stands square to the chord's middle; sagitta = bulge × half chord.
    half = float(np.linalg.norm(chord)) / 2.0
    offset = half * (1.0 - bulge * bulge) / (2.0 * bulge)
    left = np.array([-chord[1], chord[0]]) / (2.0 * half)
    centre = (a + b) / 2.0 + offset * left
    u = a - centre
    v = np.array([-u[1], u[0]])
    return Arc(centre, u, v, 0.0, 4.0 * math.atan(bulge), np.array(a), np.array(b))


def _named_edges(e: Any, chain: Chain) -> list[tuple[str, Chain]]:
    """The edges that our extended data names on a closed straight-sided sew line."""
    if not e.has_xdata(APP_ID) or not chain.closed:
        return []
    values = [tag.value for tag in e.get_xdata(APP_ID) if tag.code in (1000, 1071)]
    names, starts = values[0::2], values[1::2]
    count = len(chain.segments)
    good = (
        len(names) == len(starts) >= 2
        and len(set(names)) == len(names)
        and all(isinstance(s, int) and 0 <= s < count for s in starts)
        and all(a < b for a, b in pairwise(starts))
    )
    if not good:
        return []
    ring = chain.segments
    stops = [*starts[1:], starts[0] + count]
    return [
        (str(n), Chain(tuple(ring[i % count] for i in range(a, b)), False))
        for n, a, b in zip(names, starts, stops, strict=True)
    ]
