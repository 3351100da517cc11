"""What an entity of a DXF file draws, as chains of segments in drawing units, seen from above.

First station of the intake for DXF (ezdxf's own path tool takes an arc for one cubic a quarter, which
is 0.05 mm off on a 200 mm radius).

Source: the DXF reference (group codes 42, 210, 70).
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np

from configs.errors import InputError
from drafting.intake.geometry import Array, Bezier, Chain, arc, line, polygon

SPLINE_MM = 0.003  # ezdxf's points lie on the curve, so these chords must be short to be true
MAX_DEGREE = 10  # of a spline, as far as ezdxf goes; drawing programs write 3, seldom 5
MAX_CONTROL = 5_000  # points of a spline
MAX_FIT = 1_000  # points that a spline goes through: its memory grows with their square
MAX_CURVE_MM = 20_000.0
NO_LINE = ("TEXT", "MTEXT", "ATTRIB", "ATTDEF", "DIMENSION", "VIEWPORT", "SEQEND")


class Unread(Exception):
    """An entity that is not read, and what to call it."""


def chains_of(e: Any, mm: float) -> list[Chain]:
    """An entity as chains; empty for what draws no line. A point is a line of no length.

    ``mm``: of one drawing unit, for the fineness of curves.

    Raises:
        InputError: a curve past the limits.
        Unread: a kind of entity that is not read.
    """
    kind = e.dxftype()
    if kind == "LINE":
        return [Chain((line(_xy(e.dxf.start), _xy(e.dxf.end)),), False)]
    if kind == "POINT":
        return [Chain((line(_xy(e.dxf.location), _xy(e.dxf.location)),), False)]
    if kind in ("LWPOLYLINE", "POLYLINE"):
        return _polyline(e)
    if kind in ("ARC", "CIRCLE", "ELLIPSE"):
        return _round(e)
    if kind == "SPLINE":
        return _spline(e, mm)
    if kind in NO_LINE:
        return []
    raise Unread(kind)


def _facing(e: Any) -> float:
    """1 seen from above, −1 from below (extrusion).

    Raises:
        Unread: it stands on edge.
    """
    z = float(e.dxf.extrusion.z) if e.dxf.hasattr("extrusion") else 1.0
    if abs(abs(z) - 1.0) > 1e-6:
        raise Unread("line not lying flat")
    return math.copysign(1.0, z)


def _polyline(e: Any) -> list[Chain]:
    if e.dxftype() == "LWPOLYLINE":
        rows = [(float(x), float(y), float(b)) for x, y, b in e.get_points("xyb")]
        closed, flip = bool(e.closed), _facing(e)
    else:
        if not (e.is_2d_polyline or e.is_3d_polyline):
            raise Unread("mesh")
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
        flip = _facing(e) if e.is_2d_polyline else 1.0
    if len(rows) < 2:
        return []
    if closed and rows[0][:2] != rows[-1][:2]:
        rows.append((rows[0][0], rows[0][1], 0.0))
    segments = [
        _bulge(np.array(a[:2]), np.array(b[:2]), a[2]) for a, b in pairwise(rows) if a[:2] != b[:2]
    ]
    if not segments:
        return []
    shut = closed or (len(segments) > 1 and rows[0][:2] == rows[-1][:2])
    return [Chain(tuple(segments), shut).moved(np.diag([flip, 1.0, 1.0]))]


def _round(e: Any) -> list[Chain]:
    """A circle, an ellipse, or an arc of one."""
    flip, centre, whole = 1.0, _xy(e.dxf.center), 2.0 * math.pi
    if e.dxftype() == "ELLIPSE":
        u, v = _xy(e.dxf.major_axis), _xy(e.minor_axis)
        start, stop = float(e.dxf.start_param), float(e.dxf.end_param)
    else:
        flip, radius = _facing(e), float(e.dxf.radius)
        if not radius > 0.0:
            return []
        u, v = np.array([radius, 0.0]), np.array([0.0, radius])
        angles = (e.dxf.start_angle, e.dxf.end_angle) if e.dxftype() == "ARC" else (0.0, 0.0)
        start, stop = (math.radians(float(a)) for a in angles)
    if not (math.isfinite(start) and math.isfinite(stop)):
        raise _past("holds an arc that begins or ends nowhere")
    sweep = (stop - start) % whole
    closed = min(sweep, whole - sweep) < 1e-9
    made = arc(centre, u, v, start % whole, whole if closed else sweep)
    return [Chain((made,), closed).moved(np.diag([flip, 1.0, 1.0]))]


def _spline(e: Any, mm: float) -> list[Chain]:
    degree, count = int(e.dxf.degree), len(e.control_points) or len(e.fit_points)
    most = MAX_CONTROL if len(e.control_points) else MAX_FIT
    if not 1 <= degree <= MAX_DEGREE or count > most or len(e.knots) > 2 * MAX_CONTROL:
        raise _past(f"holds a curve of degree {degree} with {count} control points")
    if not np.all(np.isfinite([float(v) for v in (*e.knots, *e.weights)])):
        raise _past("holds a curve with a number that is none")
    curve = e.construction_tool()
    corners = np.array([[p.x, p.y] for p in curve.control_points]) * mm
    if len(corners) > MAX_CONTROL or not np.all(np.isfinite(corners)):
        raise _past("holds a curve with a number that is none")
    if float(np.ptp(corners, axis=0).max()) > MAX_CURVE_MM:
        raise _past("holds a curve longer than 20 m")
    points = np.array([[p.x, p.y] for p in curve.flattening(SPLINE_MM / mm, segments=8)])
    made = polygon(points, bool(e.closed))
    return [made] if made else []


def _past(what: str) -> InputError:
    return InputError.of("", f"{what}.", "Save the outlines of one garment alone.")


def _xy(point: Any) -> Array:
    return np.array([float(point[0]), float(point[1])])


def _bulge(a: Array, b: Array, bulge: float) -> Bezier:
    """A polyline's segment; ``bulge`` = tan(quarter of its angle), positive to the left turn.

    Source: the DXF reference, group code 42.
    """
    if not math.isfinite(bulge):
        raise _past("holds a bend that is no number")
    if abs(bulge) < 1e-12:
        return line(a, b)
    # the centre stands square to the chord's middle; sagitta = bulge × half chord
    square = np.array([a[1] - b[1], b[0] - a[0]])
    centre = (a + b) / 2.0 + (1.0 - bulge * bulge) / (4.0 * bulge) * square
    u = a - centre
    return arc(centre, u, np.array([-u[1], u[0]]), 0.0, 4.0 * math.atan(bulge), (a, b))
