"""What every way of calibrating ends in: the projector over the table, both directions, with doubt.

Cards or a tape measure give a `ProjectorModel` and the covariance of its parameters; a
`Calibration` joins them with where they come from, is saved as YAML and carried to every frame
that is drawn. One model is solved and its inverse is exact; nothing is ever fitted twice.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from configs.errors import Fault, InputError, short
from configs.files import FORMAT_VERSION, dump_yaml, read_yaml, write_atomic
from configs.reader import Reader

Array = NDArray[np.float64]

TABLE_UNIT_MM = 500.0  # the parameter vector counts the table in half metres: entries near one
PARAMETERS = (
    *("h11", "h12", "h13", "h21", "h22", "h23", "h31", "h32"),
    *("k1", "k2", "cx", "cy", "p1", "p2", "k3", "s2", "s4"),
)
COUNT = len(PARAMETERS)
# how many parameters files have that were written before the tangential terms, and before k3
_EARLIER = (12, 14)
_MOST_TANGENTIAL = 0.01  # no lens has more, and up to it the way back is found by iteration
_LENS_REACH = 2.0  # half diagonals; further out the lens goes on straight, so it never folds
_KEPT, _DRAWS = 0.9, 2000  # what is told at the worst place holds nine times in ten
_LEAST_SLOPE = 0.2  # the lens is used only where a step outwards stays a step outwards


def _points(points: ArrayLike, what: str) -> Array:
    array = np.asarray(points, dtype=np.float64)
    if array.ndim == 1 and array.size == 0:
        array = array.reshape(0, 2)
    if array.ndim != 2 or array.shape[1] != 2:
        raise InputError(
            Fault(what, f"has the shape {array.shape}; expected (N, 2): one x, y in each row.")
        )
    return array


@dataclass(frozen=True, eq=False)
class ProjectorModel:
    """Homography and a lens with its own centre: table mm to projector px and back.

    ``u = H X`` (dehomogenised, px); with ``s`` half the image's diagonal, ``c`` the lens centre
    and ``p = (u - c) / s``, ``r = |p|``: ``px = c + s (p (1 + k1 r² + k2 r⁴ + k3 r⁶) + t)``,
    with ``t = (2 p1 x y + p2 (r² + 2 x²) + s2 r⁴, p1 (r² + 2 y²) + 2 p2 x y + s4 r⁴)``. Radial,
    tangential and thin-prism terms of photogrammetry (Brown 1966; from memory), in the signs of
    OpenCV's documentation; a prism's r² is a keystone and a tangential term together. Pixel
    centres are integers.

    A shifted centre does to first order what the tangential terms do, times k1: a lens with
    hardly any k1 needs them, because no centre can stand in for them.

    Args:
        size: (width, height) of the projector's picture, px.
        projector_from_table: (3, 3) homography, last entry not 0 (scaled to 1).
        centre_px: (2,) lens centre, px; None for the middle of the picture.
        k1, k2, k3: radial terms, unit half a diagonal.
        p1, p2: tangential terms, unit half a diagonal.
        s2, s4: thin-prism terms, unit half a diagonal.
    """

    size: tuple[int, int]
    projector_from_table: Array
    centre_px: Array
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0
    s2: float = 0.0
    s4: float = 0.0

    def __post_init__(self) -> None:
        matrix = np.array(self.projector_from_table, dtype=np.float64)
        if matrix.shape != (3, 3) or not np.all(np.isfinite(matrix)) or matrix[2, 2] == 0:
            raise InputError("projector_from_table is not a finite 3 x 3 matrix with a last entry.")
        if matrix[2, 2] != 1.0:
            matrix = matrix / matrix[2, 2]
        centre = np.array(self.centre_px, dtype=np.float64).reshape(2)
        matrix.setflags(write=False)
        centre.setflags(write=False)
        object.__setattr__(self, "size", (int(self.size[0]), int(self.size[1])))
        object.__setattr__(self, "projector_from_table", matrix)
        object.__setattr__(self, "centre_px", centre)
        for name in ("k1", "k2", "p1", "p2", "k3", "s2", "s4"):
            object.__setattr__(self, name, float(getattr(self, name)))

    # -- parameters ----------------------------------------------------------------------

    @property
    def middle_px(self) -> Array:
        """(2,) the middle of the picture, px."""
        return np.array([(self.size[0] - 1) / 2.0, (self.size[1] - 1) / 2.0])

    @property
    def unit_px(self) -> float:
        """Half the picture's diagonal, px: the unit of the lens and of the parameter vector."""
        return 0.5 * math.hypot(*self.size)

    def vector(self) -> Array:
        """(17,) the parameters in the order of `PARAMETERS`, all of order one.

        The homography takes half metres to half diagonals from the middle of the picture; the
        lens centre is counted in half diagonals from the middle.
        """
        normal = self._to_unit() @ self.projector_from_table @ _MM
        centre = (self.centre_px - self.middle_px) / self.unit_px
        rest = [self.p1, self.p2, self.k3, self.s2, self.s4]
        return np.concatenate([normal.reshape(9)[:8], [self.k1, self.k2], centre, rest])

    @classmethod
    def from_vector(cls, size: tuple[int, int], vector: ArrayLike) -> ProjectorModel:
        """The model with these parameters, the inverse of `vector`.

        (12,) is without p1, p2; (14,) without k3, s2, s4.
        """
        v = np.asarray(vector, dtype=np.float64)
        if v.shape in [(n,) for n in _EARLIER]:
            v = np.append(v, np.zeros(COUNT - len(v)))
        if v.shape != (COUNT,):
            raise InputError(f"the parameter vector has the shape {v.shape}; expected ({COUNT},).")
        frame = cls(size, np.eye(3), np.zeros(2))
        normal = np.append(v[:8], 1.0).reshape(3, 3)
        matrix = np.linalg.inv(frame._to_unit()) @ normal @ np.linalg.inv(_MM)
        centre = frame.middle_px + frame.unit_px * v[10:12]
        return cls(size, matrix, centre, v[8], v[9], *v[12:])

    def _to_unit(self) -> Array:
        s, (mx, my) = self.unit_px, self.middle_px
        return np.array([[1 / s, 0, -mx / s], [0, 1 / s, -my / s], [0, 0, 1.0]])

    # -- both directions -----------------------------------------------------------------

    @cached_property
    def lens_reach(self) -> float:
        """Radius (half diagonals, before the lens) up to which the lens term is used."""
        # slope of r (1 + k1 r² + k2 r⁴ + k3 r⁶) as a polynomial in r²
        roots = np.roots([7 * self.k3, 5 * self.k2, 3 * self.k1, 1.0 - _LEAST_SLOPE])
        real = roots[np.abs(roots.imag) < 1e-12].real
        ahead = real[(real > 0) & (real < _LENS_REACH**2)]
        return math.sqrt(float(ahead.min())) if ahead.size else _LENS_REACH

    def _stretch(self, r2: Array) -> tuple[Array, Array]:
        """What the radial terms do at r²: px out over px in, and the slope of the one by the other."""
        k1, k2, k3 = self.k1, self.k2, self.k3
        return (
            1 + r2 * (k1 + r2 * (k2 + r2 * k3)),
            1 + r2 * (3 * k1 + r2 * (5 * k2 + r2 * 7 * k3)),
        )

    def _lens_edge(self) -> tuple[float, float, float]:
        reach = self.lens_reach
        factor, slope = self._stretch(np.array(reach * reach))
        return reach, reach * float(factor), float(slope)

    def bend(self, ideal_px: ArrayLike) -> Array:
        """(N, 2) px without the lens to (N, 2) px with it."""
        p = (_points(ideal_px, "points") - self.centre_px) / self.unit_px
        r2 = np.einsum("ij,ij->i", p, p)
        factor = self._stretch(r2)[0]
        reach, image, slope = self._lens_edge()
        far = r2 > reach * reach
        if np.any(far):
            r = np.sqrt(r2[far])
            factor[far] = (image + slope * (r - reach)) / r
        q = p * factor[:, None] + self._sideways(p)
        return np.asarray(self.centre_px + self.unit_px * q)

    def _sideways(self, p: Array) -> Array:
        """(N, 2) what is not radial, of places (N, 2) before the lens; past its reach that of its rim."""
        if not self._off_axis:
            return np.zeros_like(p)
        r = np.hypot(p[:, 0], p[:, 1])
        x, y = (p * np.minimum(1.0, self.lens_reach / np.maximum(r, 1e-300))[:, None]).T
        across = 2 * x * y
        fourth = (x * x + y * y) ** 2
        return np.column_stack(
            [
                self.p1 * across + self.p2 * (3 * x * x + y * y) + self.s2 * fourth,
                self.p1 * (x * x + 3 * y * y) + self.p2 * across + self.s4 * fourth,
            ]
        )

    @property
    def _off_axis(self) -> bool:
        return bool(self.p1 or self.p2 or self.s2 or self.s4)

    def unbend(self, points_px: ArrayLike) -> Array:
        """(N, 2) px to (N, 2) px as they would be without the lens; exact to 1e-9 px."""
        q = (_points(points_px, "points") - self.centre_px) / self.unit_px
        p = self._radial_back(q)
        if self._off_axis:
            # these terms change little from step to step: each gains a digit or more
            for _ in range(60):
                last, p = p, self._radial_back(q - self._sideways(p))
                if np.abs(p - last).max(initial=0.0) < 1e-15:
                    break
        return np.asarray(self.centre_px + self.unit_px * p)

    def _radial_back(self, q: Array) -> Array:
        """(N, 2) places before the radial terms of places (N, 2) after them."""
        rho = np.hypot(q[:, 0], q[:, 1])
        reach, image, slope = self._lens_edge()
        r = np.minimum(rho, reach)
        for _ in range(30):  # Newton on an increasing function, kept inside its range
            factor, steep = self._stretch(r * r)
            step = (r * factor - rho) / steep
            r = np.clip(r - step, 0.0, reach)
            if np.all(np.abs(step[rho <= image]) < 1e-14):
                break
        r = np.where(rho > image, reach + (rho - image) / slope, r)
        factor = np.divide(r, rho, out=np.ones_like(r), where=rho > 1e-300)
        return np.asarray(q * factor[:, None])

    def to_projector(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table mm to (N, 2) projector px; NaN past the horizon of the projector."""
        return self.bend(_apply(self.projector_from_table, _points(points_mm, "points_mm")))

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) projector px to (N, 2) table mm; NaN for rays that never meet the table."""
        inverse = np.asarray(np.linalg.inv(self.projector_from_table), dtype=np.float64)
        return _apply(inverse, self.unbend(_points(points_px, "points_px")))

    # -- derivatives ---------------------------------------------------------------------

    def jacobians(self, points_mm: ArrayLike) -> tuple[Array, Array, Array]:
        """Image of points and its derivatives, by hand.

        Returns:
            px (N, 2); d px / d point (N, 2, 2), px per mm; d px / d vector (N, 2, 17).
        """
        X = _points(points_mm, "points_mm") / TABLE_UNIT_MM
        v, s = self.vector(), self.unit_px
        n = len(X)
        w = v[6] * X[:, 0] + v[7] * X[:, 1] + 1.0
        u = np.stack(
            [
                (v[0] * X[:, 0] + v[1] * X[:, 1] + v[2]) / w,
                (v[3] * X[:, 0] + v[4] * X[:, 1] + v[5]) / w,
            ],
            axis=1,
        )
        p = u - v[10:12]
        r2 = np.einsum("ij,ij->i", p, p)
        f = self._stretch(r2)[0]
        steeper = 2 * (self.k1 + r2 * (2 * self.k2 + r2 * 3 * self.k3))
        bend = f[:, None, None] * np.eye(2) + steeper[:, None, None] * np.einsum("ni,nj->nij", p, p)
        x, y = p[:, 0], p[:, 1]
        p1, p2 = self.p1, self.p2
        bend[:, 0, 0] += 2 * p1 * y + 6 * p2 * x
        bend[:, 0, 1] += 2 * p1 * x + 2 * p2 * y
        bend[:, 1, 0] += 2 * p1 * x + 2 * p2 * y
        bend[:, 1, 1] += 6 * p1 * y + 2 * p2 * x
        bend += np.array([[self.s2], [self.s4]]) * (4 * r2[:, None] * p)[:, None, :]
        du_dX = (v[[0, 1, 3, 4]].reshape(2, 2) - u[:, :, None] * v[6:8]) / w[:, None, None]
        du_dh = np.zeros((n, 2, 8))
        base = np.column_stack([X, np.ones(n)]) / w[:, None]
        du_dh[:, 0, 0:3] = base
        du_dh[:, 1, 3:6] = base
        du_dh[:, :, 6:8] = -u[:, :, None] * base[:, None, :2]
        dv = np.empty((n, 2, COUNT))
        dv[:, :, :8] = bend @ du_dh
        dv[:, :, 8] = p * r2[:, None]
        dv[:, :, 9] = p * (r2 * r2)[:, None]
        dv[:, :, 10:12] = np.eye(2) - bend
        dv[:, 0, 12], dv[:, 1, 12] = 2 * x * y, r2 + 2 * y * y
        dv[:, 0, 13], dv[:, 1, 13] = r2 + 2 * x * x, 2 * x * y
        dv[:, :, 14] = p * (r2**3)[:, None]
        dv[:, :, 15:17] = np.eye(2) * (r2 * r2)[:, None, None]
        sideways = dv[:, :, [12, 13, 15, 16]] @ np.array([p1, p2, self.s2, self.s4])
        px = self.middle_px + s * (v[10:12] + p * f[:, None] + sideways)
        return px, s * (bend @ du_dX) / TABLE_UNIT_MM, s * dv

    def table_jacobian(self, points_mm: ArrayLike) -> Array:
        """(N, 2, 17) how the table place of a fixed pixel moves (mm) with the parameters."""
        _, dX, dv = self.jacobians(points_mm)
        return np.asarray(-np.linalg.solve(dX, dv))

    # -- the beam ------------------------------------------------------------------------

    def moved(self, new_from_old: ArrayLike) -> ProjectorModel:
        """The same projector seen in another table frame (``new_from_old`` (3, 3), mm)."""
        old_from_new = np.linalg.inv(np.asarray(new_from_old, dtype=np.float64))
        return replace(self, projector_from_table=self.projector_from_table @ old_from_new)

    def beam_outline_mm(self, per_side: int = 24) -> Array:
        """(4 * per_side, 2) outer edge of the picture on the table, mm, counter-clockwise."""
        w, h = self.size
        t = np.arange(per_side) / per_side
        x0, x1, y0, y1 = -0.5, w - 0.5, -0.5, h - 0.5
        ring = np.concatenate(
            [
                np.column_stack([x0 + (x1 - x0) * t, np.full(per_side, y1)]),
                np.column_stack([np.full(per_side, x1), y1 + (y0 - y1) * t]),
                np.column_stack([x1 + (x0 - x1) * t, np.full(per_side, y0)]),
                np.column_stack([np.full(per_side, x0), y0 + (y1 - y0) * t]),
            ]
        )
        outline = self.to_table(ring)
        x, y = outline[:, 0], outline[:, 1]
        area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
        return outline if area >= 0 else np.ascontiguousarray(outline[::-1])

    def grid_mm(self, columns: int = 17, rows: int = 11) -> Array:
        """(columns * rows, 2) table places under an even grid of pixels over the whole beam."""
        w, h = self.size
        gx, gy = np.meshgrid(np.linspace(0, w - 1, columns), np.linspace(0, h - 1, rows))
        return self.to_table(np.column_stack([gx.ravel(), gy.ravel()]))

    def mm_per_px(self) -> float:
        """Size of a projector dot on the table, mm: square root of its mean area over the beam."""
        _, dX, _ = self.jacobians(self.grid_mm())
        return float(np.mean(np.abs(np.linalg.det(dX))) ** -0.5)

    def faults(self) -> list[str]:
        """What makes this model no projector over a table; empty when it is sound."""
        w, h = self.size
        corners = np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1], [w / 2, h / 2]])
        found = []
        with np.errstate(all="ignore"):
            if abs(np.linalg.det(self.projector_from_table)) < 1e-300:
                return ["its homography cannot be inverted."]
            if max(map(abs, (self.p1, self.p2, self.s2, self.s4))) > _MOST_TANGENTIAL:
                return ["its lens is further off its axis than any lens is."]
            table = self.to_table(corners)
            if not np.all(np.isfinite(table)):
                found.append("a corner of its picture never meets the table.")
            elif float(np.abs(self.to_projector(table) - corners).max()) > 0.01:
                found.append("its two directions do not agree.")
            edge = np.hypot(*((corners - self.centre_px) / self.unit_px).T)
            if np.any(edge > self._lens_edge()[1]):
                found.append("its lens folds the picture over inside the beam.")
        return found


_MM = np.diag([TABLE_UNIT_MM, TABLE_UNIT_MM, 1.0])


def _apply(matrix: Array, points: Array) -> Array:
    w = points @ matrix[2, :2] + matrix[2, 2]
    # The side of the horizon where the last coordinate keeps the sign it has at the beam.
    with np.errstate(divide="ignore", invalid="ignore"):
        out = (points @ matrix[:2, :2].T + matrix[:2, 2]) / w[:, None]
    out[w * np.sign(matrix[2, 2]) <= 1e-12] = np.nan
    return np.asarray(out)


def _whole(covariance: Array) -> Array:
    """A covariance of earlier files, (12, 12) or (14, 14), with zeros for what they had not."""
    if covariance.shape in [(n, n) for n in _EARLIER]:
        return np.pad(covariance, (0, COUNT - len(covariance)))
    return covariance


def without_rigid(model: ProjectorModel, covariance: Array) -> Array:
    """Covariance (17, 17) with the doubt of the frame itself taken out.

    Where the origin lies and how it is turned is a choice, not an error; what is left is the
    doubt of the beam's shape and size after the best rigid alignment over the whole beam.
    """
    covariance = _whole(covariance)
    grid = model.grid_mm()
    shape = model.table_jacobian(grid).reshape(-1, COUNT)
    n = len(grid)
    rigid = np.zeros((2 * n, 3))
    rigid[0::2, 0] = 1.0
    rigid[1::2, 1] = 1.0
    rigid[0::2, 2] = -grid[:, 1] / TABLE_UNIT_MM
    rigid[1::2, 2] = grid[:, 0] / TABLE_UNIT_MM
    # a rigid move of the table is itself a change of the parameters: shape @ move = rigid
    move = np.linalg.lstsq(shape, rigid, rcond=None)[0]
    away = np.eye(COUNT) - move @ np.linalg.lstsq(rigid, shape, rcond=None)[0]
    out = away @ covariance @ away.T
    return np.asarray(0.5 * (out + out.T))


@dataclass(frozen=True)
class CardPlace:
    """Where a card lay while the photo was taken: the card's own frame in the table frame."""

    card: int
    at_mm: tuple[float, float]
    turn: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """How the projector sees the table, how sure that is, and where it comes from.

    ``covariance``: (17, 17) of ``model.vector()``, freedom of the frame taken out; (12, 12) is
    taken for one without the tangential terms, (14, 14) for one without k3, s2 and s4.
    ``floor_mm``: what the model cannot know (flatness, lens terms it has not), rms, mm.
    ``bars_mm``: what her ruler read on the printed bars; None when not read (``scale_doubt`` is
    then the relative doubt of a printed length, one sigma).
    ``rms_px``: what the fit left over, projector px, rms; ``held_out_mm``: rms on the table of
    points kept out of the fit. ``cards``: where each card lay. ``facts``: further numbers.
    """

    model: ProjectorModel
    covariance: Array
    method: str
    date: str
    display: str = ""
    rms_px: float = 0.0
    held_out_mm: float | None = None
    floor_mm: float = 0.0
    bars_mm: tuple[float, float] | None = None
    scale_doubt: float = 0.0
    cards: tuple[CardPlace, ...] = ()
    facts: Mapping[str, float | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        covariance = _whole(np.array(self.covariance, dtype=np.float64))
        if covariance.shape != (COUNT, COUNT) or not np.all(np.isfinite(covariance)):
            raise InputError(f"the covariance is not a finite {COUNT} x {COUNT} matrix.")
        covariance.setflags(write=False)
        object.__setattr__(self, "covariance", covariance)

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the projector's picture, px."""
        return self.model.size

    def to_projector(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table mm to (N, 2) projector px; NaN past the projector's horizon."""
        return self.model.to_projector(points_mm)

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) projector px to (N, 2) table mm; the exact inverse of `to_projector`."""
        return self.model.to_table(points_px)

    def expected_error_mm(self, points_mm: ArrayLike) -> Array:
        """(N,) rms distance, mm, by which the light may miss each table place.

        After the best rigid alignment; the corner noise carried through the fit, and the floor.
        The print's own doubt is not in it: see `print_doubt_mm`.
        """
        points = _points(points_mm, "points_mm")
        if len(points) == 0:
            return np.zeros(0)
        J = self.model.table_jacobian(points)
        variance = np.einsum("nij,jk,nik->n", J, self.covariance, J)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0) + self.floor_mm**2))

    def print_doubt_mm(self, points_mm: ArrayLike) -> Array:
        """(N,) what an unread printer scale may add at each place, mm, from the beam's middle."""
        points = _points(points_mm, "points_mm")
        middle = self.to_table([self.model.middle_px])
        return np.asarray(self.scale_doubt * np.hypot(*(points - middle).T))

    def worst_error_mm(self, with_print: bool = False) -> float:
        """What the light keeps within at every place of the beam in nine cases of ten, mm.

        The largest of many places is mostly well past what each of them is expected to miss by,
        so its distribution is sampled: parameters are drawn from the covariance (from Student's t
        where ``facts["freedom"]`` tells how many readings' worth the noise level rests on).

        Args:
            with_print: with what the print's scale may add (`print_doubt_mm`).
        """
        grid = self.model.grid_mm()
        values, vectors = np.linalg.eigh(self.covariance)
        shifts = self.model.table_jacobian(grid) @ (vectors * np.sqrt(np.maximum(values, 0.0)))
        if with_print:
            away = self.scale_doubt * (grid - self.to_table([self.model.middle_px]))
            shifts = np.concatenate([shifts, away[:, :, None]], axis=2)
        draw = np.random.default_rng(0)
        error = np.tensordot(shifts, draw.standard_normal((shifts.shape[2], _DRAWS)), axes=1)
        largest = np.sqrt(np.sum(error**2, axis=1).max(axis=0))
        freedom = self.facts.get("freedom")
        if isinstance(freedom, int | float) and freedom > 0:
            largest *= np.sqrt(freedom / draw.chisquare(freedom, _DRAWS))
        return float(np.hypot(np.quantile(largest, _KEPT), self.floor_mm))

    def beam_outline_mm(self, per_side: int = 24) -> Array:
        """(4 * per_side, 2) outer edge of the picture on the table, mm, counter-clockwise."""
        return self.model.beam_outline_mm(per_side)

    def summary(self) -> dict[str, float]:
        """The few numbers a person asks for, mm: rms doubt, `worst_error_mm`, dot and beam size."""
        grid = self.model.grid_mm()
        error = self.expected_error_mm(grid)
        w, h = self.size
        mid = self.to_table([[-0.5, h / 2], [w - 0.5, h / 2], [w / 2, -0.5], [w / 2, h - 0.5]])
        return {
            "rms_mm": float(np.sqrt(np.mean(error**2))),
            "max_mm": self.worst_error_mm(),
            "dot_mm": self.model.mm_per_px(),
            "beam_width_mm": float(np.hypot(*(mid[1] - mid[0]))),
            "beam_height_mm": float(np.hypot(*(mid[3] - mid[2]))),
            "print_doubt_mm": float(self.print_doubt_mm(grid).max()),
        }

    def at_height(self, height_mm: float, lens_mm: ArrayLike) -> Calibration:
        """The calibration of a surface ``height_mm`` above the calibrated one.

        A ray that would meet the table at X0 meets the raised surface nearer to the lens's foot:
        ``X = F + (X0 - F) (1 - height / lens height)`` (similar triangles).

        Args:
            height_mm: thickness of what lies on the calibrated plane; negative when taken away.
            lens_mm: (3,) the lens in the table frame, z up from the calibrated plane.

        Raises:
            InputError: the lens is not well above the surface.
        """
        lens = np.asarray(lens_mm, dtype=np.float64)
        if lens.shape != (3,) or not np.all(np.isfinite(lens)) or not math.isfinite(height_mm):
            raise InputError("the lens's place must be three numbers: x, y and height in mm.")
        if lens[2] <= 0 or height_mm > 0.5 * lens[2]:
            raise InputError(
                Fault(
                    "lens_mm",
                    f"the lens stands {lens[2]:g} mm above the table and the surface {height_mm:g} mm.",
                    "Measure straight down from the lens to the table.",
                )
            )
        g = 1.0 - height_mm / lens[2]
        raised_from_table = np.array(
            [[g, 0, lens[0] * (1 - g)], [0, g, lens[1] * (1 - g)], [0, 0, 1.0]]
        )
        return self.moved(raised_from_table)

    def moved(self, new_from_old: ArrayLike) -> Calibration:
        """The same light in another table frame (``new_from_old`` (3, 3), mm; similarity)."""
        matrix = np.asarray(new_from_old, dtype=np.float64)
        model = self.model.moved(matrix)
        base = self.model.vector()
        steps = np.eye(COUNT) * 1e-6
        change = np.stack(
            [
                (
                    ProjectorModel.from_vector(self.size, base + d).moved(matrix).vector()
                    - ProjectorModel.from_vector(self.size, base - d).moved(matrix).vector()
                )
                / 2e-6
                for d in steps
            ],
            axis=1,
        )
        angle = math.atan2(matrix[1, 0], matrix[0, 0])
        cards = tuple(
            CardPlace(
                c.card, tuple(_apply(matrix, np.array([c.at_mm]))[0].tolist()), c.turn + angle
            )
            for c in self.cards
        )
        return replace(
            self, model=model, covariance=change @ self.covariance @ change.T, cards=cards
        )

    # -- file ----------------------------------------------------------------------------

    def save(self, path: str | Path) -> None:
        """Write the calibration whole or not at all.

        Raises:
            InputError: the place cannot be written to.
        """
        write_atomic(path, dump_yaml(self.to_dict()))

    def to_dict(self) -> dict[str, Any]:
        """Plain data of the file; numbers keep every digit."""
        return {
            "chalkbeam": FORMAT_VERSION,
            "holds": "calibration",
            "size": list(self.size),
            "projector_from_table": self.model.projector_from_table.tolist(),
            "lens": {
                "centre_px": self.model.centre_px.tolist(),
                "k1": self.model.k1,
                "k2": self.model.k2,
                "p1": self.model.p1,
                "p2": self.model.p2,
                "k3": self.model.k3,
                "s2": self.model.s2,
                "s4": self.model.s4,
            },
            "method": self.method,
            "date": self.date,
            "display": self.display,
            "bars_mm": None if self.bars_mm is None else list(self.bars_mm),
            "scale_doubt": float(self.scale_doubt),
            "rms_px": float(self.rms_px),
            "held_out_mm": None if self.held_out_mm is None else float(self.held_out_mm),
            "floor_mm": float(self.floor_mm),
            "cards": [
                {"card": c.card, "at_mm": [float(v) for v in c.at_mm], "turn": float(c.turn)}
                for c in self.cards
            ],
            "facts": dict(self.facts),
            "covariance": self.covariance.tolist(),
        }

    @classmethod
    def load(cls, path: str | Path, size: tuple[int, int] | None = None) -> Calibration:
        """Read a saved calibration.

        Args:
            size: the picture size that it is wanted for, px; None takes any.

        Raises:
            InputError: missing, not ours, of another version or size, or with faults (all told).
        """
        calibration = cls.from_dict(read_yaml(path), str(path))
        if size is not None and tuple(size) != calibration.size:
            raise InputError(
                Fault(
                    f"{path}: size",
                    f"was made for a picture of {calibration.size[0]} x {calibration.size[1]} px; "
                    f"the projector now shows {size[0]} x {size[1]}.",
                    "Set the projector's own resolution, or calibrate again at this one.",
                )
            )
        return calibration

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], where: str = "") -> Calibration:
        """A calibration from plain data.

        Raises:
            InputError: with every fault that was found.
        """
        reader = Reader(data, file=where, remedy="Calibrate again, or mend the line.")
        if reader.get("holds") != "calibration":
            reader.note("holds", f"is {short(reader.get('holds'))}; this is not a calibration.")
        reader.only(_KEYS)
        size = _array(reader, "size", (2,))
        matrix = _array(reader, "projector_from_table", (3, 3))
        lens = reader.sub("lens", _LENS_KEYS)
        if not reader.has("lens"):
            reader.note("lens", "is missing.")
        centre = _array(lens, "centre_px", (2,)) if lens.data else np.zeros(2)
        for name in ("k1", "k2"):
            if lens.data and not lens.has(name):
                lens.note(name, "is missing.")
        # files written before the later terms have neither them nor their doubt
        k1, k2, *later = (
            lens.number(n, 0.0, -_MOST_LENS, _MOST_LENS) for n in _LENS_KEYS if n != "centre_px"
        )
        rows = reader.get("covariance")
        count = len(rows) if isinstance(rows, list) and len(rows) in _EARLIER else COUNT
        covariance = _array(reader, "covariance", (count, count))
        bars = None
        if reader.has("bars_mm"):
            read = _array(reader, "bars_mm", (2,))
            bars = (float(read[0]), float(read[1]))
        held_out = (
            reader.number("held_out_mm", 0.0, 0.0, 1e6) if reader.has("held_out_mm") else None
        )
        cards = tuple(_card_place(row) for row in reader.rows("cards", ("card", "at_mm", "turn")))
        facts = reader.sub("facts").data
        if not all(isinstance(v, int | float | str) for v in facts.values()):
            reader.note("facts", "must be a mapping of numbers and words.")
        if np.any(size < 16) or np.any(size > 32768) or np.any(size != np.round(size)):
            reader.note("size", f"{size.tolist()} is no picture size in px.")
        doubt = {
            name: reader.number(name, 0.0, 0.0, 1e6)
            for name in ("scale_doubt", "rms_px", "floor_mm")
        }
        text = {k: reader.text(k) for k in ("method", "date", "display")}
        reader.done()
        model = ProjectorModel((int(size[0]), int(size[1])), matrix, centre, k1, k2, *later)
        unsound = [
            Fault(where, fault, "The file is damaged: calibrate again.") for fault in model.faults()
        ]
        if np.linalg.eigvalsh(covariance).min() < -1e-6 * max(1e-30, np.abs(covariance).max()):
            unsound.append(
                Fault(
                    f"{where}: covariance", "is not a covariance.", "Calibrate again, or leave it."
                )
            )
        if unsound:
            raise InputError(unsound)
        return cls(
            model,
            covariance,
            text["method"],
            text["date"],
            display=text["display"],
            bars_mm=bars,
            held_out_mm=held_out,
            cards=cards,
            facts=dict(facts),
            rms_px=doubt["rms_px"],
            scale_doubt=doubt["scale_doubt"],
            floor_mm=doubt["floor_mm"],
        )


_KEYS = (
    "chalkbeam",
    "holds",
    "size",
    "projector_from_table",
    "lens",
    "method",
    "date",
    "display",
    "bars_mm",
    "scale_doubt",
    "rms_px",
    "held_out_mm",
    "floor_mm",
    "cards",
    "facts",
    "covariance",
)
_LENS_KEYS = ("k1", "k2", "p1", "p2", "k3", "s2", "s4", "centre_px")
_MOST_LENS = 1e3  # far past any lens; how much is too much, `ProjectorModel.faults` says


def _array(reader: Reader, key: str, shape: tuple[int, ...]) -> Array:
    found = reader.numbers(key, shape)
    return np.full(shape, 64.0) if found is None else np.array(found, dtype=np.float64)


def _card_place(row: Reader) -> CardPlace:
    at = _array(row, "at_mm", (2,))
    card = row.count("card", low=0, high=10_000) if row.has("card") else 0
    if not row.has("card"):
        row.note("card", "is missing.")
    return CardPlace(card, (float(at[0]), float(at[1])), row.number("turn", 0.0, -1e6, 1e6))


# -- the store: calibrations by display and date ---------------------------------------------


def store_folder() -> Path:
    """Where calibrations are kept: ``$CHALKBEAM_HOME/calibrations``, or the user's data folder."""
    home = os.environ.get("CHALKBEAM_HOME")
    if home:
        return Path(home) / "calibrations"
    from platformdirs import user_data_path

    return user_data_path("chalkbeam", appauthor=False) / "calibrations"


def slug(display: str) -> str:
    """A display's name as the name of a file."""
    return re.sub(r"[^a-z0-9]+", "-", display.lower()).strip("-") or "projector"


def keep(calibration: Calibration) -> Path:
    """Save into the store under its display and date; old ones are kept.

    Returns:
        the file that was written.
    """
    stamp = re.sub(r"[^0-9]+", "", calibration.date)[:14] or datetime.now().strftime("%Y%m%d%H%M%S")
    folder = store_folder() / slug(calibration.display)
    path = folder / f"{stamp}.yaml"
    count = 2
    while path.exists():
        path = folder / f"{stamp}-{count:02d}.yaml"
        count += 1
    calibration.save(path)
    return path


def kept(display: str | None = None) -> list[Path]:
    """Stored calibrations, newest first; of one display or of all."""
    root = store_folder()
    folders = [root / slug(display)] if display is not None else sorted(root.glob("*"))
    files = [p for folder in folders if folder.is_dir() for p in folder.glob("*.yaml")]
    return sorted(files, key=lambda p: p.stem, reverse=True)


def newest(display: str | None = None, size: tuple[int, int] | None = None) -> Calibration | None:
    """The newest stored calibration of a display that fits the picture size; None without one."""
    for path in kept(display):
        try:
            calibration = Calibration.load(path)
        except InputError:  # an old or damaged one must not hide the good one behind it
            continue
        if size is None or calibration.size == tuple(size):
            return calibration
    return None


def told(calibration: Calibration) -> str:
    """Which one it is, for a sentence: when, how, for which display."""
    display = f", {calibration.display}" if calibration.display else ""
    w, h = calibration.size
    return f"{calibration.date or 'undated'}, by {calibration.method}, {w} x {h}{display}"


def now() -> str:
    """The present moment as calibrations carry it: local time, to the second."""
    return datetime.now().isoformat(sep=" ", timespec="seconds")
