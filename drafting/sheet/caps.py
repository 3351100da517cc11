"""Sleeve caps: a curve of given height that is exactly as long as its armhole and the ease, by half.

Pure geometry for a set-in sleeve: the widths at the biceps line are solved from the lengths of the
cap's front and back, and the sleeve below is fanned out where it is to be fuller. The curve is drawn
after the handbooks' offsets from the two chords (full near the crown, hollow near the underarm, the
front more than the back; from memory), square to the underarm seams for 1 cm. Frame: piece mm,
x from the sleeve's middle, front at x > 0, y up, y = 0 at the crown.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from configs.errors import DraftError
from drafting.curves import Cubic, Points, chain_length, line, through
from drafting.fit import BACK, FRONT

SQUARE_MM = 10.0  # as far the cap runs square to the underarm seam
LEAST_HEIGHT_MM = 25.0
# Where each half passes a quarter, a half and three quarters of its chord, from the underarm up, as
# shares of its width and height: C4's offsets from the chords of its example (armhole 42.4).
_THROUGH = {
    FRONT: ((0.708, 0.197), (0.512, 0.516), (0.326, 0.845)),
    BACK: ((0.731, 0.223), (0.522, 0.533), (0.320, 0.854)),
}
CHORD_SHARE = 0.945  # of a half's length, its chord: where a search begins
_FINE_MM, _FINE_WIDTH_MM = 1e-4, 0.02
_MOST_TRIES = 40


@dataclass(frozen=True, eq=False)
class Cap:
    """A cap: its height, the widths of its halves at the biceps line, and their curves, from the
    underarm to the crown; ``lean``: radians by which each underarm seam runs inward going down."""

    height: float
    front_width: float
    back_width: float
    front: tuple[Cubic, ...]
    back: tuple[Cubic, ...]
    lean: float = 0.0

    @property
    def biceps(self) -> float:
        """Width at the biceps line, mm."""
        return self.front_width + self.back_width


def half_cap(half: str, width: float, height: float, lean: float = 0.0) -> tuple[Cubic, ...]:
    """One half of a cap from its underarm to the crown; the back's at x < 0."""
    sign = 1.0 if half == FRONT else -1.0
    out = np.array([math.cos(lean), -math.sin(lean)])
    flat = min(SQUARE_MM, 0.2 * width)
    under = np.array([width, -height])
    start = under - flat * out
    points: list[ArrayLike] = [
        start,
        *((x * width, (y - 1.0) * height) for x, y in _THROUGH[half]),
        (0.0, 0.0),
    ]
    curves = (line(under, start), *through(points, -out, (-1.0, 0.0)))
    return curves if half == FRONT else tuple(Cubic(c.control * (sign, 1.0)) for c in curves)


def half_width(half: str, length: float, height: float, lean: float = 0.0) -> float:
    """The width at which one half of a cap of this height has this length, mm.

    Raises:
        DraftError: the height takes all of the length.
    """

    def longer(width: float) -> float:
        return chain_length(half_cap(half, width, height, lean)) - length

    narrow = 0.35 * height + SQUARE_MM  # a steeper cap is no sleeve
    if height < LEAST_HEIGHT_MM or longer(narrow) > 0.0:
        what = f"of {height / 10:.1f} cm does not go with a cap {length / 10:.1f} cm long in the {half}."
        raise DraftError.of("style.cap", what, "Choose another cap.")
    start = math.sqrt(max((CHORD_SHARE * length) ** 2 - height**2, narrow**2))
    return _root(longer, start, start / length, narrow, length, _FINE_MM)


def cap_of(height: float, front: float, back: float, lean: float = 0.0) -> Cap:
    """The cap of this height whose halves have these lengths, mm.

    Raises:
        DraftError: no such cap is one.
    """
    w = {h: half_width(h, n, height, lean) for h, n in ((FRONT, front), (BACK, back))}
    front_, back_ = (half_cap(h, w[h], height, lean) for h in (FRONT, BACK))
    return Cap(height, w[FRONT], w[BACK], front_, back_, lean)


def height_for(biceps: float, front: float, back: float, lean: float = 0.0) -> float:
    """The cap height at which halves of these lengths are as wide as ``biceps`` together, mm.

    Raises:
        DraftError: so long a cap is never so wide, or would be too narrow.
    """
    low, high = LEAST_HEIGHT_MM, 0.8 * min(front, back)

    def wider(height: float) -> float:
        return cap_of(height, front, back, lean).biceps - biceps

    if wider(low) < 0.0:
        what = f"is {biceps / 10:.1f} cm; a cap for this armhole is {(wider(low) + biceps) / 10:.1f} cm wide at most."
        raise DraftError.of("style.cap", what, "Make the armhole deeper.")
    chord = CHORD_SHARE * 0.5 * (front + back)
    start = min(math.sqrt(max(chord**2 - 0.25 * biceps**2, low**2)), high)
    return _root(wider, start, -4.0 * start / biceps, low, high, _FINE_WIDTH_MM)


def _root(
    f: Callable[[float], float], start: float, slope: float, low: float, high: float, fine: float
) -> float:
    """Where ``f`` is nil, to ``fine``: secants from ``start``, the first by its ``slope`` there."""
    a, fa = start, f(start)
    b = a
    if abs(fa) >= fine:
        b = min(max(a - fa / slope, low), high)
        fb = f(b)
        for _ in range(_MOST_TRIES):
            if abs(fb) < fine or fa == fb:
                break
            c = min(max(b - fb * (b - a) / (fb - fa), low), high)
            a, fa, b, fb = b, fb, c, f(c)
    return b


def bell(x: Points, low: float, peak: float, high: float) -> Points:
    """(N,) a smooth hill over ``x``: 1 at the peak, nil and level at ``low`` and ``high`` and beyond."""
    side = np.where(x < peak, (x - peak) / (low - peak), (x - peak) / (high - peak))
    return np.asarray(0.5 + 0.5 * np.cos(math.pi * np.clip(side, 0.0, 1.0)))


@dataclass(frozen=True, eq=False)
class Fan:
    """A sleeve slashed from cap to hem into ever so many strips between ``low`` and ``high``, and spread.

    ``hinge`` (N, 2) mm, x falling: the edge that keeps its length, the cap or the hem, whose points
    the strips turn about; ``angle``: how much they turn in all, radians, more to the front at the
    front; ``apart``: how far they slide apart in all, mm, turning not at all. The strip at x = 0 stays.
    As many narrow strips as there are leave smooth edges: nothing is trued afterwards.
    """

    hinge: Points
    low: float
    high: float
    angle: float = 0.0
    apart: float = 0.0

    def _share(self, x: Points) -> Points:
        u = np.clip((x - self.low) / (self.high - self.low), 0.0, 1.0)
        return np.asarray(u - (0.0 - self.low) / (self.high - self.low))

    def __call__(self, points: Points, raised: Points | float = 0.0) -> Points:
        """Points (N, 2) mm after the spreading; ``raised`` (N,): how far each is put up in its strip."""
        x, y = points.T
        at = np.unique(np.concatenate([self.hinge[:, 0], x, [0.0, self.low, self.high]]))
        order = np.argsort(self.hinge[:, 0])
        height = np.interp(at, *self.hinge[order].T)
        turn = self.angle * self._share(0.5 * (at[1:] + at[:-1]))
        dx, dy = np.diff(at), np.diff(height)
        c, s = np.cos(turn), np.sin(turn)
        foot = np.stack([at, height], axis=1)
        foot[1:] = foot[0] + np.cumsum(np.stack([c * dx - s * dy, s * dx + c * dy], axis=1), axis=0)
        still = int(np.searchsorted(at, 0.0))
        foot += (0.0, height[still]) - foot[still]
        i = np.searchsorted(at, x)
        lift = y - height[i] + raised
        theta = self.angle * self._share(x)
        out = foot[i] + lift[:, None] * np.stack([-np.sin(theta), np.cos(theta)], axis=1)
        out[:, 0] += self.apart * self._share(x)
        return np.asarray(out)
