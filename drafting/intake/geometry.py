"""Straight lines, Bézier curves and elliptical arcs of a drawing file, flattened to millimetres.

Second station of the intake: a reader (`drafting.intake.svg`, `drafting.intake.dxf`) hands over
segments in the units of its file, this module carries them through the file's transforms exactly
and only then breaks them into chords. Frames: whatever the caller's matrix leads to.

A chord with sagitta s that turns by an angle θ is shorter than its curve by s·θ/3: chords that
nobody sees (0.015 mm) would still lose 0.03 mm a turn, three times what the intake promises. So
the points between the ends are set out by s/3, which gives the length back exactly to that order,
with less than half of the points that finer chords would need (derived here; the tests measure
it against integrals).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from configs.errors import Fault, InputError
from drafting.placement import carry

Array = NDArray[np.float64]

CHORD_MM = 0.015  # sagitta of the chords; with points set out by a third, 0.01 mm off at most
LARGEST = 1e9  # of any number in a file: far past any drawing, far from overflow
SMALLEST = 1e-12  # nearer to nothing is nothing
MAX_CHORDS = 20_000  # of one segment: a whole circle of 10 m radius needs 1800


@dataclass(frozen=True)
class Bezier:
    """A line (2 control points), quadratic (3) or cubic (4): ``control`` (2…4, 2)."""

    control: Array

    def moved(self, matrix: Array) -> Bezier:
        """The same after an affine ``matrix`` (3, 3)."""
        return Bezier(carry(matrix, self.control))

    @property
    def ends(self) -> tuple[Array, Array]:
        """First and last point, each (2,)."""
        return self.control[0], self.control[-1]

    @property
    def hull(self) -> Array:
        """(M, 2) points whose box holds the curve."""
        return self.control

    def reversed(self) -> Bezier:
        """The same run the other way."""
        return Bezier(self.control[::-1].copy())

    def flatten(self, chord: float) -> Array:
        """(N, 2) points, both ends exact, of the curve's own length; ``chord``: largest sagitta.

        The number of chords is Wang's bound (second differences of the control polygon).
        """
        degree = len(self.control) - 1
        if degree == 1:
            return self.control.copy()
        bend = float(np.linalg.norm(np.diff(self.control, 2, axis=0), axis=1).max())
        n = _chords(math.sqrt(degree * (degree - 1) / 8.0 * bend / chord))
        t = np.linspace(0.0, 1.0, 2 * n + 1)[:, None]
        rows = [self.control[i][None, :] for i in range(degree + 1)]
        while len(rows) > 1:  # de Casteljau, all parameters at once
            rows = [(1.0 - t) * a + t * b for a, b in itertools.pairwise(rows)]
        points = np.array(rows[0])
        points[0], points[-1] = self.control[0], self.control[-1]
        return _set_out(points)


@dataclass(frozen=True)
class Arc:
    """Part of an ellipse: centre + ``u``·cos t + ``v``·sin t, t from ``start`` by ``sweep`` (rad).

    ``centre``, ``u``, ``v``: (2,). Any affine map of an arc is an arc of this form, exactly.
    ``first``, ``last``: (2,) its end points as the file gave them.
    """

    centre: Array
    u: Array
    v: Array
    start: float
    sweep: float
    first: Array
    last: Array

    def moved(self, matrix: Array) -> Arc:
        """The same after an affine ``matrix`` (3, 3)."""
        linear = matrix[:2, :2]
        first, last, centre = carry(matrix, np.array([self.first, self.last, self.centre]))
        return Arc(centre, linear @ self.u, linear @ self.v, self.start, self.sweep, first, last)

    @property
    def ends(self) -> tuple[Array, Array]:
        """First and last point, each (2,)."""
        return self.first, self.last

    @property
    def hull(self) -> Array:
        """(M, 2) points whose box holds the curve."""
        reach = np.abs(self.u) + np.abs(self.v)
        return np.array([self.centre - reach, self.centre + reach, self.first, self.last])

    def reversed(self) -> Arc:
        """The same run the other way."""
        stop = self.start + self.sweep
        return Arc(self.centre, self.u, self.v, stop, -self.sweep, self.last, self.first)

    def flatten(self, chord: float) -> Array:
        """(N, 2) points, both ends exact, of the arc's own length; ``chord``: largest sagitta."""
        # The second derivative of an ellipse is never longer than its longer half axis, which is
        # the larger singular value of [u v] (u and v need not stand square after a shear).
        axes = np.column_stack([self.u, self.v])
        radius = float(np.linalg.svd(axes, compute_uv=False)[0])
        n = max(_chords(abs(self.sweep) * math.sqrt(radius / (8.0 * chord))), 2)
        t = self.start + self.sweep * np.linspace(0.0, 1.0, 2 * n + 1)
        points = self.centre + np.cos(t)[:, None] * self.u + np.sin(t)[:, None] * self.v
        points[0], points[-1] = self.first, self.last
        return _set_out(points)


Segment = Bezier | Arc


@dataclass(frozen=True)
class Chain:
    """Segments joined end to start; ``closed`` when the last ends where the first starts."""

    segments: tuple[Segment, ...]
    closed: bool

    def moved(self, matrix: Array) -> Chain:
        """The same after an affine ``matrix`` (3, 3)."""
        return Chain(tuple(s.moved(matrix) for s in self.segments), self.closed)

    def reversed(self) -> Chain:
        """The same run the other way."""
        return Chain(tuple(s.reversed() for s in reversed(self.segments)), self.closed)

    @property
    def ends(self) -> tuple[Array, Array]:
        """First and last point, each (2,)."""
        return self.segments[0].ends[0], self.segments[-1].ends[1]

    @property
    def box(self) -> tuple[Array, Array]:
        """Low and high corner (2,) of a box round it, cheap and never too small."""
        corners = np.vstack([s.hull for s in self.segments])
        return corners.min(axis=0), corners.max(axis=0)

    def flatten(self, chord: float = CHORD_MM) -> Array:
        """(N, 2) points; of a closed chain the first is not repeated, of an open one all stand."""
        parts = [s.flatten(chord)[:-1] for s in self.segments]
        if not self.closed:
            parts.append(self.segments[-1].ends[1][None, :])
        return np.vstack(parts)


def line(a: Array, b: Array) -> Bezier:
    """A straight segment from ``a`` to ``b``, each (2,)."""
    return Bezier(np.array([a, b], dtype=np.float64))


def svg_arc(
    a: Array, b: Array, rx: float, ry: float, turn_deg: float, large: bool, sweep: bool
) -> Segment:
    """Arc from ``a`` to ``b`` as SVG writes it: radii, x-axis turn, two flags.

    Formula: SVG 1.1 (Second Edition), appendix F.6.5 and F.6.6 (end points to centre, radii out
    of range), W3C.
    """
    rx, ry = abs(rx), abs(ry)
    if rx == 0.0 or ry == 0.0 or np.array_equal(a, b):
        return line(a, b)
    phi = math.radians(turn_deg % 360.0)
    c, s = math.cos(phi), math.sin(phi)
    x, y = np.array([[c, s], [-s, c]]) @ ((a - b) / 2.0)
    too_small = math.hypot(x / rx, y / ry)
    if too_small > 1.0:
        rx, ry = rx * too_small, ry * too_small
    room = max((rx * ry) ** 2 - (rx * y) ** 2 - (ry * x) ** 2, 0.0)
    root = math.sqrt(room / ((rx * y) ** 2 + (ry * x) ** 2)) * (-1.0 if large == sweep else 1.0)
    cx, cy = root * rx * y / ry, -root * ry * x / rx
    start = math.atan2((y - cy) / ry, (x - cx) / rx)
    stop = math.atan2((-y - cy) / ry, (-x - cx) / rx)
    turn = stop - start
    if sweep and turn < 0.0:
        turn += 2.0 * math.pi
    elif not sweep and turn > 0.0:
        turn -= 2.0 * math.pi
    centre = np.array([[c, -s], [s, c]]) @ np.array([cx, cy]) + (a + b) / 2.0
    u, v = rx * np.array([c, s]), ry * np.array([-s, c])
    return Arc(centre, u, v, start, turn, np.array(a), np.array(b))


def ellipse(cx: float, cy: float, rx: float, ry: float) -> Chain:
    """A whole ellipse as a closed chain of one arc."""
    first = np.array([cx + rx, cy])
    u, v = np.array([rx, 0.0]), np.array([0.0, ry])
    return Chain((Arc(np.array([cx, cy]), u, v, 0.0, 2.0 * math.pi, first, first),), True)


def polygon(points: Array, closed: bool) -> Chain | None:
    """Straight segments through ``points`` (N, 2); None when nothing is left of them."""
    steps = [line(a, b) for a, b in itertools.pairwise(points)]
    if closed and len(points) > 2 and not np.array_equal(points[0], points[-1]):
        steps.append(line(points[-1], points[0]))
    if not closed and len(points) > 3 and np.array_equal(points[0], points[-1]):
        closed = True
    return Chain(tuple(steps), closed) if steps else None


def bounded(value: float) -> float | None:
    """A number as used here: as it is, 0 when next to nothing, None when too large or no number."""
    if not abs(value) <= LARGEST:
        return None
    return value if abs(value) >= SMALLEST else 0.0


def _set_out(points: Array) -> Array:
    """Every second of (2 N + 1, 2) points on a curve, those between the ends set out by a third
    of the sagitta beside them, so that the chords are as long as the curve."""
    kept, middles = points[::2].copy(), points[1::2]
    sagittas = middles - (kept[:-1] + kept[1:]) / 2.0
    kept[1:-1] += (sagittas[:-1] + sagittas[1:]) / 6.0
    return kept


def _chords(wanted: float) -> int:
    if not math.isfinite(wanted) or wanted > MAX_CHORDS:
        raise InputError(
            Fault(
                "",
                "holds a curve far larger than any cloth.",
                "Check the unit that the file was saved in.",
            )
        )
    return max(1, math.ceil(wanted))
