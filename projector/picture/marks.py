"""Marks: lines of light in millimetres, before the lens.

The plain currency between `scene`, which makes them, and `frame`, which takes them through the
calibration: runs of points with the width and colour that their meaning has been given, cut
into dashes and fine enough for the lens.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from drafting.outline import arc_lengths, points_along
from drafting.placement import Array, carry
from projector.picture.contrast import Colour

Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Mark:
    """Lines of one width and colour.

    ``points``: (N, 2) mm in the item's own frame; ``joined``: (N − 1,) whether a line runs from
    each point to the next; ``width_mm`` on the table, or ``width_px`` in the picture when given.
    ``length_mm``: (N − 1,) of each step; ``kind``: what it means.
    """

    points: Array
    joined: NDArray[np.bool_]
    width_mm: float
    colour: Colour
    width_px: float | None = None
    length_mm: Array = field(default_factory=lambda: np.zeros(0), repr=False)
    kind: str = ""


@dataclass(frozen=True, eq=False)
class Packed:
    """All lines of an item in a few long arrays, so that they go through the lens at once.

    ``points`` (N, 2) mm; ``first`` (S,): a line runs from each of these points to the next;
    ``half_mm`` (S,) half widths on the table; ``half_px`` (S,) the same where the width is given
    in px, else 0; ``length_mm`` (S,); ``ink`` (S,) index into ``colours``.
    """

    points: Array
    first: Index
    half_mm: Array
    half_px: Array
    length_mm: Array
    ink: Index
    colours: tuple[Colour, ...]


@dataclass(frozen=True, eq=False)
class Item:
    """What is painted, moved and taken away as one: a piece, the cloth, the strip …

    ``table_from_item``: (3, 3) rigid, the item's frame mm → table mm.
    """

    key: str
    marks: tuple[Mark, ...]
    table_from_item: Array

    @cached_property
    def packed(self) -> Packed:
        """Its lines in long arrays."""
        return _packed(self.marks)

    def moved(self, table_from_item: Array, key: str | None = None) -> Item:
        """The same marks elsewhere."""
        made = Item(key or self.key, self.marks, table_from_item)
        made.__dict__["packed"] = self.packed
        return made


def _packed(marks: Sequence[Mark]) -> Packed:
    points, first, half_mm, half_px, length, ink = [], [], [], [], [], []
    colours: list[Colour] = []
    at = 0
    for m in marks:
        starts = np.flatnonzero(m.joined)
        if starts.size:
            if m.colour not in colours:
                colours.append(m.colour)
            points.append(m.points)
            first.append(starts + at)
            half_mm.append(np.full(len(starts), 0.5 * m.width_mm))
            half_px.append(np.full(len(starts), 0.5 * (m.width_px or 0.0)))
            length.append(m.length_mm[starts])
            ink.append(np.full(len(starts), colours.index(m.colour)))
            at += len(m.points)
    if not points:
        none = np.zeros(0)
        index = np.zeros(0, np.int64)
        return Packed(np.zeros((0, 2)), index, none, none, none, index, ())
    return Packed(
        np.concatenate(points),
        np.concatenate(first),
        np.concatenate(half_mm),
        np.concatenate(half_px),
        np.concatenate(length),
        np.concatenate(ink),
        tuple(colours),
    )


def mark(
    lines: Iterable[Array],
    *,
    width_mm: float,
    colour: Colour,
    dash: Sequence[float] = (),
    step_mm: float = 40.0,
    width_px: float | None = None,
    kind: str = "",
) -> Mark:
    """A mark from lines, each (N, 2) mm, in dashes (mm on, off, on …), chords at most ``step_mm``."""
    given = [np.asarray(line, dtype=np.float64) for line in lines if len(line) > 1]
    if not given:
        empty = np.zeros((0, 2))
        return Mark(empty, np.zeros(0, bool), width_mm, colour, width_px, kind=kind)
    points, joined = _strung(given)
    gaps = np.hypot(*np.diff(points, axis=0).T)
    if dash or bool((gaps[joined] > step_mm).any()):
        pieces: list[Array] = []
        for line in given:
            fine = _fine(line, step_mm)
            pieces.extend(_dashes(fine, dash) if dash else [fine])
        points, joined = _strung(pieces)
    d = np.diff(points, axis=0)
    return Mark(points, joined, width_mm, colour, width_px, np.hypot(d[:, 0], d[:, 1]), kind)


def _strung(lines: Sequence[Array]) -> tuple[Array, NDArray[np.bool_]]:
    """All points of several lines, and between which of them a line runs."""
    points = np.concatenate(lines)
    joined = np.ones(len(points) - 1, dtype=bool)
    joined[np.cumsum([len(p) for p in lines])[:-1] - 1] = False
    return points, joined


def _fine(line: Array, step_mm: float) -> Array:
    """The line with points added so that no chord is longer than ``step_mm``."""
    d = np.diff(line, axis=0)
    count = np.maximum(1, np.ceil(np.hypot(d[:, 0], d[:, 1]) / step_mm)).astype(np.int64)
    if int(count.max(initial=1)) == 1:
        return line
    which = np.repeat(np.arange(len(count)), count)
    within = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    points = line[which] + d[which] * (within / count[which])[:, None]
    return np.vstack([points, line[-1:]])


def _dashes(line: Array, dash: Sequence[float]) -> list[Array]:
    """Cut a line into dashes that begin and end whole: the pattern is stretched to fit."""
    s = arc_lengths(line)
    total = float(s[-1])
    period, first = sum(dash), dash[0]
    # n periods and the first dash once more, so that corners at the ends are drawn
    n = max(0, round((total - first) / period))
    if n == 0:
        return [line]
    scale = total / (n * period + first)
    cuts = np.concatenate([[0.0], np.cumsum(np.asarray(dash) * scale)])
    at = np.arange(n + 1)[:, None] * period * scale
    a = (at + cuts[:-1:2]).ravel()[: n * ((len(dash) + 1) // 2) + 1]
    b = np.minimum(at + cuts[1::2], total).ravel()[: len(a)]
    inner = np.searchsorted(s, a + 1e-9, "right")  # the first corner within each dash
    count = np.maximum(np.searchsorted(s, b - 1e-9) - inner, 0) + 2
    first = np.cumsum(count) - count
    within = np.arange(int(count.sum())) - np.repeat(first, count)
    along = s[np.minimum(np.repeat(inner - 1, count) + within, len(s) - 1)]
    along[first], along[first + count - 1] = a, b
    points = points_along(line, along)
    return [points[i : i + c] for i, c in zip(first.tolist(), count.tolist(), strict=True)]


def stepped(line: Array, step_mm: float) -> Array:
    """The line with points no farther apart than ``step_mm``."""
    at = arc_lengths(line)
    return points_along(line, np.union1d(at, np.arange(0.0, at[-1], step_mm)))


def box_of(points: Array) -> tuple[float, float, float, float]:
    """x0, y0, x1, y1 about points (N, 2)."""
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return x0, y0, x1, y1


def polyline(*points: tuple[float, float]) -> Array:
    """(N, 2) from corners."""
    return np.asarray(points, dtype=np.float64)


def ring(points: Array) -> Array:
    """A ring (N, 2), closed by repeating its first point."""
    return np.vstack([points, points[:1]])


def circle(cx: float, cy: float, radius: float, steps: int = 32) -> Array:
    """(steps + 1, 2) closed circle."""
    t = np.linspace(0.0, 2.0 * np.pi, steps + 1)
    return np.column_stack([cx + radius * np.cos(t), cy + radius * np.sin(t)])


def spans(
    start: Array, step: Array, low: Sequence[float], high: Sequence[float]
) -> tuple[Array, Array]:
    """(N,) shares of segments (start and step (N, 2)) at which they enter a box and leave it; enter is
    not below leave where they miss it (Liang and Barsky)."""
    enter, leave = np.zeros(len(start)), np.ones(len(start))
    with np.errstate(divide="ignore", invalid="ignore"):
        for axis in (0, 1):
            at, along = start[:, axis], step[:, axis]
            t0, t1 = (low[axis] - at) / along, (high[axis] - at) / along
            flat = along == 0.0
            # a run along the rim belongs to the box above it, not to both
            out = (at < low[axis]) | (at >= high[axis])
            enter = np.where(flat, np.where(out, 2.0, enter), np.maximum(enter, np.minimum(t0, t1)))
            leave = np.where(flat, leave, np.minimum(leave, np.maximum(t0, t1)))
    return enter, leave


def cross(x: float, y: float, arm: float) -> list[Array]:
    """The two strokes of a cross, each (2, 2) mm."""
    return [polyline((x - arm, y), (x + arm, y)), polyline((x, y - arm), (x, y + arm))]


def moved(lines: Iterable[Array], matrix: Array) -> list[Array]:
    """Lines through a (3, 3) affine matrix."""
    return [carry(matrix, line) for line in lines]
