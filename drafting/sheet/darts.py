"""Darts in an edge that is one smooth line when they are closed.

For waists, and any other edge on which darts end: the edge is drawn with its darts shut and opened
again, so that it runs on over every dart and is as long as it must be. Piece frame, mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from configs.errors import DraftError
from drafting.curves import Cubic, Points, left_of, sweep, turned, unit


@dataclass(frozen=True, eq=False)
class OpenDart:
    """A dart as it is cut: its leg ends nearer the centre and nearer the side, its point, and
    ``cap``, the top of the roof that its seam allowance needs; (2,) mm each."""

    inner: Points
    outer: Points
    tip: Points
    cap: Points


@dataclass(frozen=True, eq=False)
class Turn:
    """A rotation of the plane by ``angle`` (radians) about a point, then a shift."""

    matrix: Points
    shift: Points

    @classmethod
    def about(cls, centre: Points, angle: float) -> Turn:
        """Counter-clockwise about ``centre`` (2,) mm."""
        c, s = math.cos(angle), math.sin(angle)
        matrix = np.array([[c, -s], [s, c]])
        return cls(matrix, centre - matrix @ centre)

    def __call__(self, points: Points) -> Points:
        """Points (N, 2) or (2,) mm, turned."""
        return np.asarray(points @ self.matrix.T + self.shift)

    def after(self, first: Turn) -> Turn:
        """``first``, then this."""
        return Turn(self.matrix @ first.matrix, self.matrix @ first.shift + self.shift)

    def back(self) -> Turn:
        """The turn that undoes this one."""
        return Turn(self.matrix.T, -self.matrix.T @ self.shift)


def through_darts(
    start: Points, end: Points, up: Points, darts: Sequence[tuple[Points, Points, float]]
) -> tuple[list[Cubic], list[OpenDart], Cubic]:
    """An edge from ``start`` at the centre to ``end`` at the side: its open parts, its darts, and
    the whole as one curve with the darts closed, square to the centre and to the side.

    ``up``: direction (2,) of the side at its end; ``darts``: (tip, direction of the middle upward,
    angle) of each, from the centre outward. Closing turns all that lies outward of a dart about
    its tip, towards the centre.

    Raises:
        DraftError: the edge has no room for a dart.
    """
    turns = [Turn(np.eye(2), np.zeros(2))]
    legs: list[tuple[Points, Points]] = []  # tip and direction of the closed leg, closed frame
    for tip, axis, angle in darts:
        before = turns[-1]
        legs.append((before(tip), before.matrix @ turned(axis, 0.5 * angle)))
        turns.append(before.after(Turn.about(tip, angle)))
    last = turns[-1]
    square = -left_of(last.matrix @ up)
    closed = sweep(start, (1.0, 0.0), last(end), square)
    parts, rest = [], closed
    for origin, along in legs:
        first, rest = rest.split(_meeting(rest, origin, along))
        parts.append(first)
    edge = [Cubic(t.back()(p.control)) for t, p in zip(turns, [*parts, rest], strict=True)]
    opened = [
        OpenDart(a.end, b.start, tip, roof(a, tip, axis))
        for a, b, (tip, axis, _) in zip(edge[:-1], edge[1:], darts, strict=True)
    ]
    return edge, opened, closed


def _meeting(curve: Cubic, origin: Points, along: Points) -> float:
    """Where a curve first crosses the line through ``origin``, as its parameter."""
    a, b, c, d = (float(x) for x in (curve.control - origin) @ left_of(along))
    d1, d2, d3 = 3.0 * (b - a), 3.0 * (c - 2.0 * b + a), d - 3.0 * (c - b) - a

    def off(t: float) -> float:
        return a + t * (d1 + t * (d2 + t * d3))

    # between its turning points it goes one way, so that a change of sign holds one crossing
    turns = _roots(3.0 * d3, 2.0 * d2, d1)
    stops = [0.0, *sorted(t for t in turns if 0.0 < t < 1.0), 1.0]
    for low, high in pairwise(stops):
        below = off(low)
        if below * off(high) < 0.0:
            t = low - below * (high - low) / (off(high) - below)
            for _ in range(60):  # Newton's steps, halved where one would leave the stretch
                here = off(t)
                low, high = (t, high) if here * below > 0.0 else (low, t)
                slope = d1 + t * (2.0 * d2 + t * 3.0 * d3)
                step = t - here / slope if slope else low
                step = step if low < step < high else 0.5 * (low + high)
                if abs(step - t) < 1e-15:
                    break
                t = step
            return t
    what = "has no room for its darts."
    raise DraftError.of("waist", what, "Are waist_girth and hip_girth right?")


def _roots(a: float, b: float, c: float) -> list[float]:
    """The real roots of a t² + b t + c."""
    if abs(a) < 1e-12 * max(abs(b), abs(c)):
        return [-c / b] if b else []
    inside = b * b - 4.0 * a * c
    if inside <= 0.0:
        return []
    q = -0.5 * (b + math.copysign(math.sqrt(inside), b))
    return [q / a, c / q] if q else [0.0]


def roof(inner: Cubic, tip: Points, axis: Points) -> Points:
    """The top (2,) mm of the roof over a dart that is folded towards the centre.

    Folded so, its near half lies on the waist beside it: the waist's line, mirrored in the near
    leg, up to the dart's middle.
    """
    leg = unit(inner.end - tip)
    back = -inner.tangent(1.0)  # along the waist, towards the centre
    mirrored = 2.0 * float(back @ leg) * leg - back
    mirrored = -mirrored if float(mirrored @ back) > 0 else mirrored
    across = left_of(axis)
    step = float((tip - inner.end) @ across) / float(mirrored @ across)
    return np.asarray(inner.end + step * mirrored)


def with_roofs(parts: Sequence[Cubic], darts: Sequence[OpenDart]) -> Points:
    """The opened edge (N, 2) mm from the side to the centre, with the roofs of its darts."""
    out = [parts[-1].flatten()[::-1]]
    for dart, part in zip(darts[::-1], parts[-2::-1], strict=True):
        out += [dart.cap[None, :], part.flatten()[::-1]]
    return np.concatenate(out)
