"""Lines, arcs and cubics: the strokes that outlines are drawn with.

The first stage of a draft after the measurements. A curve knows its point, tangent,
length and halves; ``flatten`` turns it into a polyline whose chords leave it by at most
`CHORD_MM`. Parameters t run 0…1; points are (2,) or (N, 2) float64, mm, piece frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Points = NDArray[np.float64]

CHORD_MM = 0.05  # a tenth of what a hand can cut; 40 points for an armhole
END_CHORD_MM = 0.8
_GAUSS = 20  # nodes


def vec(p: ArrayLike) -> Points:
    """A float64 array."""
    array: Points = np.asarray(p, dtype=np.float64)
    return array


def unit(d: ArrayLike) -> Points:
    """The direction ``d`` (2,) at length 1; a zero direction stays zero."""
    v = vec(d)
    return np.asarray(v / max(math.hypot(float(v[0]), float(v[1])), 1e-300))


def left_of(d: Points) -> Points:
    """The direction (2,) turned a quarter counter-clockwise."""
    return np.array([-d[1], d[0]])


def turned(d: Points, radians: float) -> Points:
    """The direction (2,) turned counter-clockwise."""
    c, s = math.cos(radians), math.sin(radians)
    return np.array([c * d[0] - s * d[1], s * d[0] + c * d[1]])


def cross(a: Points, b: Points) -> float:
    """The cross product of two directions (2,): above 0 where ``b`` lies to the left of ``a``."""
    return float(a[0] * b[1] - a[1] * b[0])


def turn(a: Points, b: Points) -> float:
    """The angle in radians from one direction (2,) to another, counter-clockwise positive."""
    return math.atan2(cross(a, b), float(a @ b))


def meeting(chord: Points, out: Points, into: Points) -> tuple[float, float] | None:
    """How far along ``out`` from a chord's (2,) start, and back along ``into`` from its end, the two lines
    meet; None where they are parallel."""
    sine = cross(out, into)
    return None if abs(sine) < 1e-9 else (cross(chord, into) / sine, cross(out, chord) / sine)


@dataclass(frozen=True, eq=False)
class Cubic:
    """A cubic curve by its four control points, (4, 2) mm. A straight line is one too."""

    control: Points

    def __post_init__(self) -> None:
        array = np.array(self.control, dtype=np.float64)
        array.setflags(write=False)
        object.__setattr__(self, "control", array)

    @property
    def start(self) -> Points:
        """First point (2,)."""
        return np.asarray(self.control[0])

    @property
    def end(self) -> Points:
        """Last point (2,)."""
        return np.asarray(self.control[3])

    def point(self, t: ArrayLike) -> Points:
        """Point(s) at ``t``: () → (2,), (N,) → (N, 2)."""
        s = vec(t)[..., None]
        a, b, c, d = self.control
        r = 1.0 - s
        return np.asarray(r**3 * a + 3 * r * r * s * b + 3 * r * s * s * c + s**3 * d)

    def derivative(self, t: ArrayLike) -> Points:
        """d point / d t, same shapes as `point`."""
        s = vec(t)[..., None]
        d = self.control[1:] - self.control[:-1]
        r = 1.0 - s
        return np.asarray(3 * (r * r * d[0] + 2 * r * s * d[1] + s * s * d[2]))

    def tangent(self, t: float) -> Points:
        """Unit tangent (2,), also where a control point repeats its neighbour."""
        # in plain numbers: for one parameter arrays take ten times as long
        (x0, y0), (x1, y1), (x2, y2), (x3, y3) = self.control.tolist()
        r = 1.0 - t
        a, b, c = 3.0 * r * r, 6.0 * r * t, 3.0 * t * t
        dx = a * (x1 - x0) + b * (x2 - x1) + c * (x3 - x2)
        dy = a * (y1 - y0) + b * (y2 - y1) + c * (y3 - y2)
        size = math.hypot(dx, dy)
        if size > 1e-9:
            return np.array([dx / size, dy / size])
        order = self.control if t < 0.5 else self.control[::-1]
        for other in order[1:]:
            v = other - order[0]
            if math.hypot(float(v[0]), float(v[1])) > 1e-9:
                return unit(v if t < 0.5 else -v)
        return np.zeros(2)

    @cached_property
    def length(self) -> float:
        """Arc length, mm, to 1e-6."""
        basis, whole, halves = _many_nodes()
        d = basis @ (self.control[1:] - self.control[:-1])
        speed = np.hypot(d[:, 0], d[:, 1])
        total = float(speed @ halves)
        if abs(total - float(speed @ whole)) < 1e-7:
            return total
        return self.length_between(0.0, 1.0)

    def length_between(self, t0: float, t1: float) -> float:
        """Arc length mm between two parameters, to 1e-6.

        Gauss–Legendre, over halves again and again until they agree with their whole: once for
        the curves of a garment, oftener near a cusp.
        """
        spans = [(t0, t1, self._gauss_length(t0, t1), 0)]
        total = 0.0
        while spans:
            a, b, whole, depth = spans.pop()
            middle = 0.5 * (a + b)
            first, second = self._gauss_length(a, middle), self._gauss_length(middle, b)
            if abs(first + second - whole) < 1e-7 or depth > 30:
                total += first + second
            else:
                spans += [(a, middle, first, depth + 1), (middle, b, second, depth + 1)]
        return total

    def _gauss_length(self, t0: float, t1: float) -> float:
        nodes, weights = _gauss()
        d = self.derivative(t0 + (t1 - t0) * nodes)
        return float((t1 - t0) * (weights @ np.hypot(d[:, 0], d[:, 1])))

    def parameter_at(self, distance: float) -> float:
        """t at a distance mm along the curve from its start (clipped to 0…1)."""
        total = self.length
        if distance <= 0.0 or total == 0.0:
            return 0.0
        if distance >= total:
            return 1.0
        t = distance / total
        for _ in range(30):
            gap = (self.length_between(0.0, t) if t > 0 else 0.0) - distance
            if abs(gap) < 1e-9:
                break
            d = self.derivative(t)
            t = min(max(t - gap / max(math.hypot(float(d[0]), float(d[1])), 1e-9), 0.0), 1.0)
        return t

    def split(self, t: float) -> tuple[Cubic, Cubic]:
        """Both parts of the curve, cut at ``t`` (de Casteljau)."""
        rows = [self.control]
        while len(rows[-1]) > 1:
            rows.append(rows[-1][:-1] * (1 - t) + rows[-1][1:] * t)
        return Cubic(np.array([r[0] for r in rows])), Cubic(np.array([r[-1] for r in rows[::-1]]))

    def reversed(self) -> Cubic:
        """The same curve drawn the other way."""
        return Cubic(self.control[::-1])

    def flatten(self, chord_mm: float = CHORD_MM) -> Points:
        """(N, 2) points whose chords leave the curve by at most ``chord_mm``.

        A chord over a step h of t is off by at most h²/8 · max|second derivative|.
        """
        bend = np.abs(np.diff(self.control, n=2, axis=0))
        most = 6.0 * float(np.hypot(bend[:, 0], bend[:, 1]).max())
        count = max(1, math.ceil(math.sqrt(most / (8.0 * chord_mm))))
        t = np.linspace(0.0, 1.0, count + 1)
        if most > 0.01:  # short first and last chords keep the end tangents within half a degree
            step = 0.1 * t[1]
            speeds = np.hypot(*self.derivative(t[[0, -1]]).T)
            first, last = (min(step, END_CHORD_MM / max(float(v), 1e-6)) for v in speeds)
            t = np.concatenate([[0.0, first], t[1:-1], [1.0 - last, 1.0]])
        points = self.point(t)
        points[0], points[-1] = self.start, self.end
        return points


@lru_cache(maxsize=1)
def _gauss() -> tuple[Points, Points]:
    """Nodes and weights on 0…1."""
    x, w = np.polynomial.legendre.leggauss(_GAUSS)
    return 0.5 * (x + 1.0), 0.5 * w


@lru_cache(maxsize=1)
def _many_nodes() -> tuple[Points, Points, Points]:
    """Of nodes over 0…1 and over both halves: the factors (60, 3) that make a cubic's derivative of
    its control polygon's sides, and the weights of the whole and of its halves."""
    nodes, weights = _gauss()
    t = np.concatenate([nodes, 0.5 * nodes, 0.5 + 0.5 * nodes])
    r = 1.0 - t
    none = np.zeros_like(weights)
    return (
        3.0 * np.stack([r * r, 2.0 * r * t, t * t], axis=1),
        np.concatenate([weights, none, none]),
        0.5 * np.concatenate([none, weights, weights]),
    )


def line(a: ArrayLike, b: ArrayLike) -> Cubic:
    """The straight line from ``a`` to ``b`` (2,), as a cubic of constant speed."""
    p, q = vec(a), vec(b)
    return Cubic(np.stack([p, p + (q - p) / 3, p + (q - p) * (2 / 3), q]))


def arc(centre: ArrayLike, radius: float, start_rad: float, end_rad: float) -> list[Cubic]:
    """A circular arc as cubics of at most an eighth of a turn each (off by under 1e-5 radius)."""
    count = max(1, math.ceil(abs(end_rad - start_rad) / (math.pi / 4)))
    step = (end_rad - start_rad) / count
    k = 4 / 3 * math.tan(step / 4) * radius
    out = []
    for i in range(count):
        a, b = start_rad + i * step, start_rad + (i + 1) * step
        p = vec(centre) + radius * np.array([math.cos(a), math.sin(a)])
        q = vec(centre) + radius * np.array([math.cos(b), math.sin(b)])
        ta, tb = np.array([-math.sin(a), math.cos(a)]), np.array([-math.sin(b), math.cos(b)])
        out.append(Cubic(np.stack([p, p + k * ta, q - k * tb, q])))
    return out


def sweep(
    start: ArrayLike,
    leave: ArrayLike,
    end: ArrayLike,
    arrive: ArrayLike,
    tension: tuple[float, float] = (1.0, 1.0),
) -> Cubic:
    """The curve that leaves ``start`` along ``leave`` and reaches ``end`` along ``arrive``.

    Handle lengths after J. D. Hobby, "Smooth, easy to compute interpolating splines",
    Discrete & Computational Geometry 1 (1986): they hold the curvature as even as one cubic
    can. ``tension``: above 1 pulls that end's handle in, below 1 lets it out.
    """
    p, q = vec(start), vec(end)
    chord = q - p
    size = math.hypot(float(chord[0]), float(chord[1]))
    if size < 1e-9:
        return line(p, q)
    out, into = unit(leave), unit(arrive)
    base = math.atan2(float(chord[1]), float(chord[0]))
    theta = _wrap(math.atan2(float(out[1]), float(out[0])) - base)
    phi = _wrap(base - math.atan2(float(into[1]), float(into[0])))
    a = size * _velocity(theta, phi) / tension[0]
    b = size * _velocity(phi, theta) / tension[1]
    # Where both tangents meet well between the ends the curve bends one way only: a handle that
    # reached past their meeting point would put a dip into it.
    met = meeting(chord, out, into)
    if met is not None and min(met) > 0.2 * size:
        a, b = min(a, _REACH * met[0]), min(b, _REACH * met[1])
    return Cubic(np.stack([p, p + out * a, q - into * b, q]))


def rounded(start: ArrayLike, corner: ArrayLike, end: ArrayLike) -> Cubic:
    """A curve in place of a corner, from ``start`` to ``end``; a circular arc when both are as far.

    All (2,) mm; it leaves towards the corner and arrives from it.
    """
    p, c, q = vec(start), vec(corner), vec(end)
    out, into = unit(c - p), unit(q - c)
    bend = abs(turn(out, into))
    share = 2 / 3 if bend < 1e-6 else 4 / 3 * math.tan(bend / 4) / math.tan(bend / 2)
    return Cubic(np.stack([p, p + share * (c - p), q - share * (q - c), q]))


_REACH = 0.85  # of the way to the tangents' meeting point


def _wrap(angle: float) -> float:
    return (angle + math.pi) % (2 * math.pi) - math.pi


def _velocity(theta: float, phi: float) -> float:
    st, ct, sf, cf = math.sin(theta), math.cos(theta), math.sin(phi), math.cos(phi)
    above = 2 + math.sqrt(2) * (st - sf / 16) * (sf - st / 16) * (ct - cf)
    below = 3 * (1 + 0.5 * (math.sqrt(5) - 1) * ct + 0.5 * (3 - math.sqrt(5)) * cf)
    return min(max(above / below, 0.05), 1.5)


def chain_points(curves: Sequence[Cubic], chord_mm: float = CHORD_MM) -> Points:
    """Curves drawn one after the other, flattened into one (N, 2) polyline."""
    parts = [c.flatten(chord_mm) for c in curves]
    return np.concatenate([p[:-1] for p in parts[:-1]] + [parts[-1]])


def chain_length(curves: Sequence[Cubic]) -> float:
    """Total arc length of several curves, mm, to 1e-6 each: all at once, one by one where one bends
    so that its halves do not agree with its whole."""
    if len(curves) < 2:
        return sum(c.length for c in curves)
    basis, whole, halves = _many_nodes()
    d = np.diff(np.stack([c.control for c in curves]), axis=1)
    speed = np.hypot(*np.moveaxis(basis @ d, 2, 0))
    total = speed @ halves
    if np.abs(total - speed @ whole).max() < 1e-7:
        return float(total.sum())
    return sum(c.length for c in curves)


def cut_chain(curves: Sequence[Cubic], distance: float) -> tuple[list[Cubic], list[Cubic]]:
    """Both parts of a chain, cut at a distance mm from its start (clipped to its ends)."""
    before: list[Cubic] = []
    rest = list(curves)
    while rest:
        size = rest[0].length
        if distance < size:
            a, b = rest[0].split(rest[0].parameter_at(distance))
            return [*before, a], [b, *rest[1:]]
        distance -= size
        before.append(rest.pop(0))
    return before, rest


def through_levels(
    points: Sequence[tuple[float, float]], slopes: tuple[float, float] | None = None
) -> list[Cubic]:
    """A smooth curve through points (x, y) of falling y: x as a cubic spline of y.

    Continuous in tangent and curvature, so no bump shows on the side seam. Exact as cubics,
    since y runs linearly along each. ``slopes``: dx per mm downward at both ends; without, the
    curvature is nil there (a natural spline).
    """
    p = np.array(points, dtype=np.float64)
    ends = (None, None) if slopes is None else [np.array([x, -1.0]) for x in slopes]
    return _spline(p, -np.diff(p[:, 1]), *ends)


def through(points: Sequence[ArrayLike], leave: ArrayLike, arrive: ArrayLike) -> list[Cubic]:
    """A smooth curve through points (2,): a cubic spline over the chords' lengths, clamped.

    Tangent and curvature run on at every point; it leaves the first along ``leave`` and reaches the
    last along ``arrive``.
    """
    p = np.array([vec(q) for q in points])
    return _spline(p, np.hypot(*np.diff(p, axis=0).T), unit(leave), unit(arrive))


def _spline(p: Points, h: Points, first: Points | None, last: Points | None) -> list[Cubic]:
    """The cubic spline through points (N, 2) with steps (N - 1,) of its parameter between them.

    ``first``, ``last``: derivatives (2,) at the ends; None: no curvature there.
    """
    sides, n = np.diff(p, axis=0), len(p)
    system, right = np.eye(n), np.zeros((n, 2))
    before, after = h[:-1, None], h[1:, None]
    right[1:-1] = 3.0 * (after / before * sides[:-1] + before / after * sides[1:])
    for i in range(1, n - 1):
        system[i, i - 1 : i + 2] = h[i], 2.0 * (h[i - 1] + h[i]), h[i - 1]
    for end, beside, side, given in ((0, 1, 0, first), (n - 1, n - 2, -1, last)):
        if given is None:
            system[end, end], system[end, beside] = 2.0, 1.0
        right[end] = 3.0 * sides[side] / h[side] if given is None else given
    d = np.linalg.solve(system, right)
    third = h[:, None] / 3.0
    controls = np.stack([p[:-1], p[:-1] + third * d[:-1], p[1:] - third * d[1:], p[1:]], axis=1)
    return [Cubic(c) for c in controls]
