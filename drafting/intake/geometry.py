"""Lines and curves of a drawing file, arcs among them, flattened to millimetres.

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

from configs.errors import InputError
from drafting.placement import carry

Array = NDArray[np.float64]

CHORD_MM = 0.015  # sagitta of the chords; with points set out by a third, 0.01 mm off at most
LARGEST = 1e9  # of any number in a file: far past any drawing, far from overflow
SMALLEST = 1e-12  # nearer to nothing is nothing
MAX_CHORDS = 20_000  # of one curve: a whole circle of 10 m radius needs 1800
ARC_RAD = math.pi / 8.0  # of an arc to a cubic, which is then off by 7e-8 of the radius (measured)


@dataclass(frozen=True)
class Bezier:
    """A line (2 control points), a quadratic (3), or cubics that go on in one another (3 n + 1).

    ``control``: (N, 2), the ends of each curve with what bends it between them.
    """

    control: Array

    def moved(self, matrix: Array) -> Bezier:
        """The same after an affine ``matrix`` (3, 3)."""
        return Bezier(carry(matrix, self.control))

    @property
    def ends(self) -> tuple[Array, Array]:
        """First and last point, each (2,)."""
        return self.control[0], self.control[-1]

    def reversed(self) -> Bezier:
        """The same run the other way."""
        return Bezier(self.control[::-1].copy())

    def flatten(self, chord: float) -> Array:
        """(N, 2) points, both ends exact, of the curve's own length; ``chord``: largest sagitta.

        The number of chords is Wang's bound (second differences of the control polygon).
        """
        degree = min(len(self.control) - 1, 3)
        if degree == 1:
            return self.control.copy()
        starts = np.arange(0, len(self.control) - 1, degree)
        curves = self.control[starts[:, None] + np.arange(degree + 1)]
        bend = float(np.linalg.norm(np.diff(curves, 2, axis=1), axis=2).max())
        n = _chords(math.sqrt(degree * (degree - 1) / 8.0 * bend / chord))
        t = np.linspace(0.0, 1.0, 2 * n + 1)[:-1, None]
        rows = [curves[:, i, None] for i in range(degree + 1)]
        while len(rows) > 1:  # de Casteljau, all curves and parameters at once
            rows = [(1.0 - t) * a + t * b for a, b in itertools.pairwise(rows)]
        return _set_out(np.vstack([rows[0].reshape(-1, 2), self.control[-1:]]))


@dataclass(frozen=True)
class Chain:
    """Segments joined end to start; ``closed`` when the last ends where the first starts."""

    segments: tuple[Bezier, ...]
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
        corners = np.vstack([s.control for s in self.segments])
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
) -> Bezier:
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
    return arc(centre, u, v, start, turn, (a, b))


def arc(
    centre: Array,
    u: Array,
    v: Array,
    start: float,
    sweep: float,
    ends: tuple[Array, Array] | None = None,
) -> Bezier:
    """Part of an ellipse, centre + ``u``·cos t + ``v``·sin t, t from ``start`` by ``sweep`` (rad).

    ``centre``, ``u``, ``v``: (2,), ``u`` and ``v`` need not stand square; ``ends``: the end points as
    the file gives them. Of the cubics each agrees with the arc in ends and tangents.
    """
    n = max(1, math.ceil(abs(sweep) / ARC_RAD - 1e-9))
    t = start + sweep * np.linspace(0.0, 1.0, n + 1)[:, None]
    at = centre + np.cos(t) * u + np.sin(t) * v
    if ends is not None:
        at[0], at[-1] = ends
    elif math.isclose(abs(sweep), 2.0 * math.pi):
        at[-1] = at[0]
    reach = 4.0 / 3.0 * math.tan(sweep / n / 4.0) * (np.cos(t) * v - np.sin(t) * u)
    curves = np.stack([at[:-1], at[:-1] + reach[:-1], at[1:] - reach[1:]], axis=1)
    return Bezier(np.vstack([curves.reshape(-1, 2), at[-1:]]))


def ellipse(cx: float, cy: float, rx: float, ry: float) -> Chain:
    """A whole ellipse as a closed chain of one arc."""
    half = np.array([rx, 0.0]), np.array([0.0, ry])
    return Chain((arc(np.array([cx, cy]), *half, 0.0, 2.0 * math.pi),), True)


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
        raise InputError.of(
            "",
            "holds a curve far larger than any cloth.",
            "Check the unit that the file was saved in.",
        )
    return max(1, math.ceil(wanted))
