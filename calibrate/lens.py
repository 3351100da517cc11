"""A lens and a view of the table through it: what the projector and the cameras have in common.

A view is a homography followed by a lens. Its parameters stand in one vector, eight of the
homography and those of `Lens`, all of order one: the table counted in a unit near its size, the
picture in half diagonals from its middle.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


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
        """What the radial terms do at r²: place out over place in, and the slope of out by in."""
        k1, k2, k3 = self.k1, self.k2, self.k3
        return (
            1 + r2 * (k1 + r2 * (k2 + r2 * k3)),
            1 + r2 * (3 * k1 + r2 * (5 * k2 + r2 * 7 * k3)),
        )

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

    def through(self, p: Array) -> tuple[Array, tuple[Array, Array, Array]]:
        """Places (N, 2) from the centre through the lens, and the derivatives that an inverse needs.

        Returns:
            places (N, 2) from the centre; xx, xy (and yx), yy, (N,) each, without the prism's terms.
        """
        x, y = p[:, 0], p[:, 1]
        r2 = x * x + y * y
        factor = self.radial(r2)[0]
        steeper = 2 * (self.k1 + r2 * (2 * self.k2 + r2 * 3 * self.k3))
        p1, p2 = self.p1, self.p2
        xx = factor + steeper * x * x + 2 * p1 * y + 6 * p2 * x
        yy = factor + steeper * y * y + 6 * p1 * y + 2 * p2 * x
        xy = steeper * x * y + 2 * p1 * x + 2 * p2 * y
        return p * factor[:, None] + self.sideways(p), (xx, xy, yy)

    def seen(self, u: Array) -> tuple[Array, Array, Array]:
        """Places (N, 2) through the lens, and the derivatives by hand.

        Returns:
            places (N, 2); by the place before the lens (N, 2, 2); by the lens's parameters (N, 2, 9).
        """
        p = u - self.centre
        x, y = p[:, 0], p[:, 1]
        r2 = x * x + y * y
        r4 = r2 * r2
        out, (xx, xy, yy) = self.through(p)
        bend = np.stack([xx, xy, xy, yy], axis=1).reshape(-1, 2, 2)
        prism = 4 * r2[:, None] * p
        if self.s2 or self.s4:
            bend[:, 0] += self.s2 * prism
            bend[:, 1] += self.s4 * prism
        slopes = np.zeros((len(u), 2, len(self)))
        slopes[:, :, _K1] = p * r2[:, None]
        slopes[:, :, _K2] = p * r4[:, None]
        slopes[:, :, _K3] = p * (r2 * r4)[:, None]
        slopes[:, :, _CX : _CX + 2] = np.eye(2) - bend
        slopes[:, 0, _P1], slopes[:, 1, _P1] = 2 * x * y, r2 + 2 * y * y
        slopes[:, 0, _P2], slopes[:, 1, _P2] = r2 + 2 * x * x, 2 * x * y
        slopes[:, 0, _S2] = slopes[:, 1, _S4] = r4
        return self.centre + out, bend, slopes


_K1, _K2, _CX, _, _P1, _P2, _K3, _S2, _S4 = range(len(Lens._fields))
HOMOGRAPHY = ("h11", "h12", "h13", "h21", "h22", "h23", "h31", "h32")
PARAMETERS = (*HOMOGRAPHY, *Lens._fields)


def at(names: Iterable[str]) -> list[int]:
    """Where parameters of these names stand in the vector of a view."""
    return [PARAMETERS.index(name) for name in names]


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
    base = np.column_stack([places, np.ones(len(places))]) / w[:, None]
    by_homography = np.zeros((len(places), 2, len(HOMOGRAPHY)))
    by_homography[:, 0, 0:3] = base
    by_homography[:, 1, 3:6] = base
    by_homography[:, :, 6:] = -u[:, :, None] * base[:, None, :2]
    by_vector = np.empty((len(places), 2, len(vector)))
    by_vector[:, :, : len(HOMOGRAPHY)] = bend @ by_homography
    by_vector[:, :, len(HOMOGRAPHY) :] = by_lens[:, :, : len(vector) - len(HOMOGRAPHY)]
    by_place = (h[[0, 1, 3, 4]].reshape(2, 2) - u[:, :, None] * h[6:]) / w[:, None, None]
    return seen, bend @ by_place, by_vector
