"""What an SVG element draws: basic shapes and paths as chains, lengths, transforms, viewBox.

First station of the intake for SVG, beside `svgpath` (the grammar of paths). Each function reads
attributes of one element; faults come without their place, which the caller knows.

Source: SVG 1.1 (Second Edition), chapters 7 and 9, W3C.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping

import numpy as np

from configs.errors import InputError
from drafting.intake.geometry import (
    LARGEST,
    Array,
    Bezier,
    Chain,
    bounded,
    ellipse,
    line,
    polygon,
    svg_arc,
)
from drafting.intake.svgpath import parse_path

UNIT_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "in": 25.4,
    "pt": 25.4 / 72.0,
    "pc": 25.4 / 6.0,
    "px": 25.4 / 96.0,
    "q": 0.25,
}
MAX_NUMBERS = 200_000  # of one attribute
LENGTH = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z%]*)\s*")
_FUNCTION = re.compile(r"\s*,?\s*([A-Za-z]+)\s*\(([^()]*)\)")
_FLOAT = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_AGAIN = "Save the drawing again."

Number = Callable[[str, int], float]  # an attribute's name and axis → user units


def chains_of(tag: str, attributes: Mapping[str, str], n: Number) -> list[Chain]:
    """A basic shape or path as chains, in its own units (SVG 1.1, chapter 9).

    ``n``: reads an attribute as a length; its axis is 0 for x, 1 for y, 2 for neither.

    Raises:
        InputError: a path or list of points that cannot be read.
    """
    if tag == "path":
        return parse_path(attributes.get("d", ""))
    if tag in ("polygon", "polyline"):
        values = floats(attributes.get("points", ""))
        if len(values) % 2:
            raise InputError.of("", "has a point with one coordinate.", _AGAIN)
        made = polygon(np.array(values).reshape(-1, 2), tag == "polygon")
        return [made] if made else []
    if tag == "line":
        ends = np.array([[n("x1", 0), n("y1", 1)], [n("x2", 0), n("y2", 1)]])
        return [Chain((line(ends[0], ends[1]),), False)]
    if tag == "circle":
        r = n("r", 2)
        return [ellipse(n("cx", 0), n("cy", 1), r, r)] if r > 0 else []
    if tag == "ellipse":
        rx, ry = n("rx", 0), n("ry", 1)
        return [ellipse(n("cx", 0), n("cy", 1), rx, ry)] if rx > 0 and ry > 0 else []
    if tag == "rect":
        width, height = n("width", 0), n("height", 1)
        a, b = (n(k, axis) if k in attributes else None for axis, k in enumerate(("rx", "ry")))
        a, b = (b if a is None else a), (a if b is None else b)
        corner = min(a or 0.0, width / 2.0), min(b or 0.0, height / 2.0)
        return _rect(n("x", 0), n("y", 1), width, height, *corner)
    return []


def length(text: str, axis: int, viewport: tuple[float, float]) -> float:
    """A length in user units; ``viewport``: (width, height) that percentages are of.

    Raises:
        InputError: it is none.
    """
    match = LENGTH.fullmatch(text)
    if match:
        value, unit = float(match.group(1)), match.group(2).lower()
        width, height = viewport
        if unit == "%":
            whole = (width, height, math.hypot(width, height) / math.sqrt(2.0))[axis]
            value *= whole / 100.0
        elif unit in UNIT_MM:
            value *= UNIT_MM[unit] / UNIT_MM["px"]
        elif unit:
            match = None
        kept = bounded(value) if match else None
        if kept is not None:
            return kept
    raise InputError.of("", f"'{text[:40]}' is no length.", _AGAIN)


def transform(text: str) -> Array:
    """The (3, 3) matrix of a ``transform`` attribute (SVG 1.1, section 7.6).

    Raises:
        InputError: it cannot be read, or moves things too far.
    """
    text = text.strip()
    matrix = np.eye(3)
    at = 0
    while at < len(text):
        match = _FUNCTION.match(text, at)
        step = _transform_step(match.group(1), floats(match.group(2))) if match else None
        if match is None or step is None:
            raise InputError.of("", f"its transform '{text[:60]}' cannot be read.", _AGAIN)
        matrix = matrix @ step
        if not float(np.abs(matrix).max()) <= LARGEST:
            raise InputError.of("", "its transform is too large.", _AGAIN)
        at = match.end()
    return matrix


def view_box(text: str) -> tuple[float, float, float, float] | None:
    """x, y, width and height of a viewBox; None without one.

    Raises:
        InputError: it is not four numbers, or has no size.
    """
    if not text.strip():
        return None
    values = floats(text)
    if len(values) != 4 or min(values[2:]) <= 0.0:
        raise InputError.of(
            "", f"its viewBox '{text[:60]}' cannot be used.", "Save the drawing again."
        )
    return values[0], values[1], values[2], values[3]


def floats(text: str) -> list[float]:
    """Numbers parted by spaces or commas, or only by a sign.

    Raises:
        InputError: anything else stands between them, or one is too large.
    """
    if len(text) > 40 * MAX_NUMBERS:
        raise InputError.of("", f"has more than {MAX_NUMBERS} numbers.", "Simplify the paths.")
    rest = _FLOAT.sub(" ", text)
    read = [bounded(float(v)) for v in _FLOAT.findall(text)]
    values = [v for v in read if v is not None]
    if rest.strip(" ,\t\r\n\f") or len(values) < len(read):
        raise InputError.of(
            "", f"'{text.strip()[:40]}' is no list of numbers.", "Save the drawing again."
        )
    return values


def shift(x: float, y: float) -> Array:
    """The (3, 3) matrix of a translation."""
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def _transform_step(name: str, v: list[float]) -> Array | None:
    if name == "matrix" and len(v) == 6:
        return np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]], [0.0, 0.0, 1.0]])
    if name == "translate" and len(v) in (1, 2):
        return shift(v[0], v[1] if len(v) == 2 else 0.0)
    if name == "scale" and len(v) in (1, 2):
        return np.diag([v[0], v[-1], 1.0])
    if name == "rotate" and len(v) in (1, 3):
        c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        return turn if len(v) == 1 else shift(v[1], v[2]) @ turn @ shift(-v[1], -v[2])
    if name in ("skewX", "skewY") and len(v) == 1:
        t = math.tan(math.radians(v[0]))
        step = np.eye(3)
        step[(0, 1) if name == "skewX" else (1, 0)] = t
        return step
    return None


def _rect(x: float, y: float, w: float, h: float, rx: float, ry: float) -> list[Chain]:
    if w <= 0.0 or h <= 0.0:
        return []
    if rx <= 0.0 or ry <= 0.0:
        made = polygon(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]), True)
        return [made] if made else []
    r, b = x + w, y + h
    corners = np.array(
        [
            [[x + rx, y], [r - rx, y], [r, y + ry]],
            [[r, y + ry], [r, b - ry], [r - rx, b]],
            [[r - rx, b], [x + rx, b], [x, b - ry]],
            [[x, b - ry], [x, y + ry], [x + rx, y]],
        ]
    )
    segments: list[Bezier] = []
    for start, turn, end in corners:
        if not np.allclose(start, turn, rtol=0.0, atol=1e-12):
            segments.append(line(start, turn))
        segments.append(svg_arc(turn, end, rx, ry, 0.0, False, True))
    return [Chain(tuple(segments), True)]
