"""A lens and a view of the table through it: what the projector and the cameras have in common.

A view is a homography followed by a lens. Its parameters stand in one vector, eight of the
homography and those of `Lens`, all of order one: the table counted in a unit near its size, the
picture in half diagonals from its middle.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from calibrate.arrays import Array


class Lens(NamedTuple):
    """Radial, tangential and thin-prism terms about a centre, unit half a diagonal.

    With ``p`` from the centre (cx, cy) and ``r = |p|``, a place ``u`` before the lens is seen at
    ``c + p (1 + k1 r² + k2 r⁴ + k3 r⁶) + t``, ``t = (2 p1 x y + p2 (r² + 2 x²) + s2 r⁴,
    p1 (r² + 2 y²) + 2 p2 x y + s4 r⁴)`` (Brown 1966, from memory, in the signs of OpenCV's
    documentation; a prism's r² is a keystone and a tangential term together).
    """

    k1: float = 0.0
    k2: float = 0.0
    cx: float = 0.0
    cy: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0
    s2: float = 0.0
    s4: float = 0.0

    @property
    def centre(self) -> Array:
        """(2,) the lens's centre from the picture's middle."""
        return np.array([self.cx, self.cy])

    @property
    def off_axis(self) -> bool:
        """Whether it has terms that are not radial."""
        return bool(self.p1 or self.p2 or self.s2 or self.s4)

    def radial(self, r2: Array) -> tuple[Array, Array]:
        """What the radial terms do at r²: place out over place in, and twice its slope by r²."""
        k1, k2, k3 = self.k1, self.k2, self.k3
        return 1 + r2 * (k1 + r2 * (k2 + r2 * k3)), 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))

    def sideways(self, p: Array) -> Array:
        """(N, 2) what is not radial, of places (N, 2) from the centre."""
        x, y = p[:, 0], p[:, 1]
        across, fourth = 2 * x * y, (x * x + y * y) ** 2
        return np.column_stack(
            [
                self.p1 * across + self.p2 * (3 * x * x + y * y) + self.s2 * fourth,
                self.p1 * (x * x + 3 * y * y) + self.p2 * across + self.s4 * fourth,
            ]
        )

    def through(self, p: Array) -> tuple[Array, tuple[Array, Array, Array, Array]]:
        """Places (N, 2) from the centre through the lens, and the derivatives that an inverse needs.

        Returns:
            places (N, 2) from the centre; xx, xy, yx, yy, (N,) each: x and y out by x and y in.
        """
        x, y = p[:, 0], p[:, 1]
        r2 = x * x + y * y
        factor, steeper = self.radial(r2)
        p1, p2, r4 = self.p1, self.p2, 4 * r2
        both = steeper * x * y + 2 * p1 * x + 2 * p2 * y
        slopes = (
            factor + steeper * x * x + 2 * p1 * y + 6 * p2 * x + self.s2 * r4 * x,
            both + self.s2 * r4 * y,
            both + self.s4 * r4 * x,
            factor + steeper * y * y + 6 * p1 * y + 2 * p2 * x + self.s4 * r4 * y,
        )
        return p * factor[:, None] + self.sideways(p), slopes

    def seen(self, u: Array) -> tuple[Array, Array, Array]:
        """Places (N, 2) through the lens, and the derivatives by hand.

        Returns:
            places (N, 2); by the place before the lens (N, 2, 2); by the lens's parameters (N, 2, 9).
        """
        p = u - self.centre
        out, bends = self.through(p)
        bend = np.stack(bends).reshape(2, 2, -1)  # rows of N each: what numpy is fast with
        p = np.ascontiguousarray(p.T)
        (x2, y2), xy = p * p, p[0] * p[1]
        r2 = x2 + y2
        r4 = r2 * r2
        slopes = np.zeros((len(self), 2, len(u)))
        slopes[_K1], slopes[_K2], slopes[_K3] = p * r2, p * r4, p * (r2 * r4)
        slopes[_CX : _CX + 2] = np.eye(2)[:, :, None] - bend.swapaxes(0, 1)
        slopes[_P1], slopes[_P2] = (2 * xy, r2 + 2 * y2), (r2 + 2 * x2, 2 * xy)
        slopes[_S2, 0] = slopes[_S4, 1] = r4
        return self.centre + out, bend.transpose(2, 0, 1), slopes.transpose(2, 1, 0)


_K1, _K2, _CX, _, _P1, _P2, _K3, _S2, _S4 = range(len(Lens._fields))
HOMOGRAPHY = ("h11", "h12", "h13", "h21", "h22", "h23", "h31", "h32")
PARAMETERS = (*HOMOGRAPHY, *Lens._fields)


def view(vector: Array, places: Array) -> tuple[Array, Array, Array]:
    """Places (N, 2), in the vector's table unit, seen through homography and lens.

    Args:
        vector: the first of `PARAMETERS`, as many as the view has.

    Returns:
        (N, 2) in half diagonals from the middle; by the place (N, 2, 2); by the vector (N, 2, count).
    """
    h = vector[: len(HOMOGRAPHY)]
    w = places @ h[6:] + 1.0
    u = (places @ h[[0, 3, 1, 4]].reshape(2, 2) + h[[2, 5]]) / w[:, None]
    seen, bend, by_lens = Lens(*vector[len(HOMOGRAPHY) :]).seen(u)
    base = np.ascontiguousarray(np.column_stack([places, np.ones(len(places))]).T) / w
    count = len(HOMOGRAPHY)
    by_vector = np.empty((2, len(vector), len(places))).transpose(2, 0, 1)
    rows, slope = by_vector.transpose(1, 2, 0), bend.transpose(1, 2, 0)
    rows[:, 0:3], rows[:, 3:6] = slope[:, :1] * base, slope[:, 1:] * base
    rows[:, 6:count] = -(slope * u.T).sum(axis=1, keepdims=True) * base[:2]
    by_vector[:, :, count:] = by_lens[:, :, : len(vector) - count]
    by_place = (h[[0, 1, 3, 4]].reshape(2, 2) - u[:, :, None] * h[6:]) / w[:, None, None]
    return seen, chained(bend, by_place), by_vector


def chained(outer: Array, inner: Array) -> Array:
    """Derivatives (N, 2, 2) of those (N, 2, K): their product, for which numpy's own is slow."""
    return np.asarray(outer[:, :, :1] * inner[:, :1] + outer[:, :, 1:] * inner[:, 1:])
