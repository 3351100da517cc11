"""One panel of the straight skirt: side seam, darts, a waist that is smooth with the darts closed.

First stage of the block: from half-girths to curves. Frame: piece mm, x from the centre line, y up,
y = 0 on the waist line. Handbook constants are Aldrich's (*Metric Pattern Cutting for Women's
Wear*, from memory) where they say so; the others are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError, Fault
from drafting.curves import Cubic, Points, left_of, line, sweep, unit
from drafting.fit import BACK, FRONT

RAISE_MM, RAISE_AT_MM = 12.5, 35.0  # Aldrich's raised side waist, at her usual shaping of the side
DART_MM, LEAST_DART_MM, MOST_DART_MM = 20.0, 10.0, 30.0
# How much of the shaping the side seam takes: less is no shape, more makes a hook at the hip.
LEAST_SIDE_MM, MOST_SIDE_MM, LIMIT_SIDE_MM = 10.0, 40.0, 50.0
# Dart lengths at a waist-to-hip of 20.6 cm (Aldrich: back 14 and 12.5, front 10); with it they grow.
USUAL_DEPTH_MM = 206.0
_LENGTHS = {
    (BACK, 2): (140.0, 125.0), (BACK, 1): (130.0,),
    (FRONT, 1): (100.0,), (FRONT, 2): (90.0, 100.0),
}  # fmt: skip
# Where a dart stands, as a share of the waist from the centre.
_SHARES = {
    (BACK, 2): (1 / 3, 2 / 3), (BACK, 1): (0.5,),
    (FRONT, 1): (2 / 3,), (FRONT, 2): (0.4, 0.75),
}  # fmt: skip
# The side seam leans in at the waist by this much of what its chord leans; about 5 mm of bow.
SIDE_BOW = 1.35


@dataclass(frozen=True)
class DartPlan:
    """How many darts of which width (at the waist, mm) a half of front and back get."""

    front: tuple[float, ...]
    back: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class OpenDart:
    """A dart as it is cut: its leg ends nearer the centre and nearer the side, its point, and
    ``cap``, the top of the roof that its seam allowance needs; (2,) mm each."""

    inner: Points
    outer: Points
    tip: Points
    cap: Points


@dataclass(frozen=True, eq=False)
class Panel:
    """Half of the front or the back: its curves, mm.

    ``waist``: its parts from the centre to the side, between the darts; ``side`` from the waist
    down to the hem; ``hem`` from the centre to the side; ``closed``: the waist with its darts
    closed, one curve; ``width``: at the hip line.
    """

    half: str
    width: float
    centre_y: float
    waist: tuple[Cubic, ...]
    darts: tuple[OpenDart, ...]
    side: tuple[Cubic, ...]
    hem: Cubic
    closed: Cubic

    @property
    def waist_point(self) -> Points:
        """Where waist and side seam meet (2,) mm."""
        return self.side[0].start

    @property
    def hip_point(self) -> Points:
        """Where the side seam passes the hip line (2,) mm."""
        return self.side[1].start


@dataclass(frozen=True)
class Sizes:
    """The numbers of the draft, mm: half the hip and half the waist as drawn, how deep the hip line
    lies, the length, by how much the hem stands out at the side of each panel, by how much the centre
    back is lowered, and what a closed ring must measure round that the hip is to pass."""

    hip: float
    waist: float
    depth: float
    length: float
    flare: float
    back_drop: float
    ring: float


def plan_darts(shaping_mm: float) -> DartPlan:
    """Darts for what one half of the skirt must lose from hip to waist.

    Three of 2 cm where that leaves the side seam 1 to 4 cm on each panel; else wider ones, a
    second in the front, or fewer, and none where there is nothing to take in.

    Raises:
        DraftError: more than darts and side seams can take.
    """
    side = 0.5 * (shaping_mm - 3 * DART_MM)
    if LEAST_SIDE_MM <= side <= MOST_SIDE_MM:
        return DartPlan((DART_MM,), (DART_MM, DART_MM))
    if side > MOST_SIDE_MM:
        each = (shaping_mm - 2 * MOST_SIDE_MM) / 3
        if each <= MOST_DART_MM:
            return DartPlan((each,), (each, each))
        each = min((shaping_mm - 2 * MOST_SIDE_MM) / 4, MOST_DART_MM)
        if 0.5 * (shaping_mm - 4 * each) > LIMIT_SIDE_MM + 1e-9:
            raise DraftError(
                Fault(
                    "waist",
                    "is too small for the hip: darts and side seams cannot take in so much.",
                    "Are waist_girth and hip_girth right? Else a yoke or gathers are needed.",
                )
            )
        return DartPlan((each, each), (each, each))
    rest = max(shaping_mm - 2 * LEAST_SIDE_MM, 0.0)
    if rest / 3 >= LEAST_DART_MM:
        return DartPlan((rest / 3,), (rest / 3, rest / 3))
    if rest / 2 >= LEAST_DART_MM:
        return DartPlan((rest / 2,), (rest / 2,))
    return DartPlan((), (rest,)) if rest >= LEAST_DART_MM else DartPlan((), ())


# --- one panel ---------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Turn:
    """A rotation of the plane by ``angle`` (radians) about ``centre``, then a shift."""

    matrix: Points
    shift: Points

    @classmethod
    def about(cls, centre: Points, angle: float) -> _Turn:
        c, s = math.cos(angle), math.sin(angle)
        matrix = np.array([[c, -s], [s, c]])
        return cls(matrix, centre - matrix @ centre)

    def __call__(self, points: Points) -> Points:
        return np.asarray(points @ self.matrix.T + self.shift)

    def direction(self, d: Points) -> Points:
        return np.asarray(self.matrix @ d)

    def after(self, first: _Turn) -> _Turn:
        """``first``, then this."""
        return _Turn(self.matrix @ first.matrix, self.matrix @ first.shift + self.shift)

    def back(self) -> _Turn:
        return _Turn(self.matrix.T, -self.matrix.T @ self.shift)


def draw_panel(
    half: str, width: float, taken: float, darts: Sequence[float], sizes: Sizes
) -> Panel:
    """Half of the front or back whose side seam comes in by ``taken`` mm from hip to waist.

    The waist is one smooth line with the darts closed: it leaves the centre squarely and meets
    the side seam squarely.
    """
    centre_y = -sizes.back_drop if half == BACK else 0.0
    lean = math.atan2(sizes.flare, max(sizes.length - sizes.depth, 1.0))
    down = np.array([math.sin(lean), -math.cos(lean)])
    hip = np.array([width, -sizes.depth])
    foot = hip + down * (sizes.length - sizes.depth)
    end = np.array([width - taken, RAISE_MM * min(max(taken, 0.0) / RAISE_AT_MM, 1.6)])
    chord = math.atan2(taken, float(end[1]) + sizes.depth)
    phi = SIDE_BOW * chord - (SIDE_BOW - 1.0) * lean
    up = np.array([-math.sin(phi), math.cos(phi)])
    upper = _hip_curve(end, -up, hip, down)
    centre = np.array([0.0, centre_y])
    rough = sweep(centre, (1.0, 0.0), end, np.array([up[1], -up[0]]))
    scale = min(max(sizes.depth / USUAL_DEPTH_MM, 0.7), 1.1)
    key = (half, len(darts))
    named = list(zip(_SHARES.get(key, ()), _LENGTHS.get(key, ()), darts, strict=True))
    grid = np.linspace(0.0, 1.0, 65)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(rough.point(grid), axis=0).T))])
    lifts = [0.0] * len(named)
    for _ in range(3):  # the true waist lies a little off the rough one: the points follow it
        spots = []
        for (share, long_, wide), lift in zip(named, lifts, strict=True):
            at = float(np.interp(share * run[-1], run, grid))
            axis = left_of(rough.tangent(at))
            tip = rough.point(at) + axis * (lift - long_ * scale)
            spots.append((tip, axis, 2.0 * math.asin(0.5 * wide / (long_ * scale))))
        waist, opened, closed = _waist(centre, end, up, spots)
        lifts = [
            lift + float(np.hypot(*(d.inner - d.tip))) - long_ * scale
            for lift, d, (_, long_, _) in zip(lifts, opened, named, strict=True)
        ]
    hem = sweep((0.0, -sizes.length), (1.0, 0.0), foot, left_of(down))
    return Panel(
        half, width, centre_y, tuple(waist), tuple(opened), (upper, line(hip, foot)), hem, closed
    )


def _hip_curve(start: Points, leave: Points, hip: Points, down: Points) -> Cubic:
    """The side from the waist to the hip, where it runs on into the straight side below.

    Both inner control points lie on that straight line, so the curve has no curvature left where
    it meets it, and no jump shows on the hip.
    """
    cross = float(leave[0] * down[1] - leave[1] * down[0])
    height = float(np.hypot(*(hip - start)))
    if abs(cross) > 1e-4:
        gap = hip - start
        reach = float(gap[0] * down[1] - gap[1] * down[0]) / cross
        if 0.2 * height < reach < 0.95 * height:
            corner = start + reach * leave
            return Cubic(np.stack([start, corner, hip + 0.6 * (corner - hip), hip]))
    return sweep(start, leave, hip, down)


def _waist(
    centre: Points, end: Points, up: Points, darts: Sequence[tuple[Points, Points, float]]
) -> tuple[list[Cubic], list[OpenDart], Cubic]:
    """The waist from ``centre`` to ``end``: its open parts, its darts, and the closed curve.

    ``up``: the side seam's direction at its upper end; ``darts``: (tip, direction of the middle upward, angle) of each, from the centre outward.
    Closing turns all that lies outward of a dart about its tip, towards the centre.
    """
    turns = [_Turn(np.eye(2), np.zeros(2))]
    legs: list[tuple[Points, Points]] = []  # tip and direction of the closed leg, closed frame
    for tip, axis, angle in darts:
        before = turns[-1]
        inner = _Turn.about(np.zeros(2), 0.5 * angle).direction(axis)
        legs.append((before(tip), before.direction(inner)))
        turns.append(before.after(_Turn.about(tip, angle)))
    last = turns[-1]
    closed_up = last.direction(up)
    closed = sweep(centre, (1.0, 0.0), last(end), np.array([closed_up[1], -closed_up[0]]))
    parts, rest = [], closed
    for origin, along in legs:
        first, rest = rest.split(_meeting(rest, origin, along))
        parts.append(first)
    parts.append(rest)
    waist = [Cubic(t.back()(p.control)) for t, p in zip(turns, parts, strict=True)]
    opened = [
        OpenDart(a.end, b.start, tip, _cap(a, tip, axis))
        for a, b, (tip, axis, _) in zip(waist[:-1], waist[1:], darts, strict=True)
    ]
    return waist, opened, closed


def _meeting(curve: Cubic, origin: Points, along: Points) -> float:
    """Where a curve first crosses the line through ``origin``, as its parameter.

    Raises:
        DraftError: it does not.
    """
    p = (curve.control - origin) @ left_of(along)
    power = (
        p[3] - 3 * p[2] + 3 * p[1] - p[0],
        3 * (p[2] - 2 * p[1] + p[0]),
        3 * (p[1] - p[0]),
        p[0],
    )
    roots = np.roots(np.trim_zeros(power, "f"))
    real = roots[np.abs(roots.imag) < 1e-9].real
    inside = real[(real > 0.0) & (real < 1.0)]
    if not len(inside):
        raise DraftError(
            Fault("waist", "has no room for its darts.", "Are waist_girth and hip_girth right?")
        )
    return float(inside.min())


def _cap(inner: Cubic, tip: Points, axis: Points) -> Points:
    """The top of the roof over a dart that is folded towards the centre.

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
