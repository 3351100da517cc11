"""The projector over the table: a homography and a lens, both directions and their derivatives.

One model is solved and its inverse is exact; nothing is ever fitted twice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array, Mask
from calibrate.lens import HOMOGRAPHY, PARAMETERS, Lens, chained, view
from calibrate.plane import apply, grid, rim, signed_area
from configs.errors import Fault, InputError

TABLE_UNIT_MM = 500.0  # the parameter vector counts the table in half metres: entries near one
COUNT = len(PARAMETERS)
TERMS = tuple(name for name in Lens._fields if name not in ("cx", "cy"))
# how many parameters files have that were written before the tangential terms, and before k3
EARLIER = (12, 14)
_MOST_TANGENTIAL = 0.01  # no lens has more, and up to it the way back is found by iteration
_MOST_STEPS = 25  # of Newton's method; four or five do, more past the lens's reach
_SMALL_STEP = 1e-13  # half diagonals; the step after it is lost in rounding
_LENS_REACH = 2.0  # half diagonals; further out the lens goes on straight, so it never folds
_LEAST_SLOPE = 0.2  # the lens is used only where a step outwards stays a step outwards
CAMERA_COUNT = PARAMETERS.index("s2")  # a camera's lens has no prism
_MM = np.diag([TABLE_UNIT_MM, TABLE_UNIT_MM, 1.0])


def points_2d(points: ArrayLike, what: str) -> Array:
    array = np.asarray(points, dtype=np.float64)
    if array.ndim == 1 and array.size == 0:
        array = array.reshape(0, 2)
    if array.ndim != 2 or array.shape[1] != 2:
        raise InputError(
            Fault(what, f"has the shape {array.shape}; expected (N, 2): one x, y in each row.")
        )
    return array


class Picture:
    """What a projector's picture and a camera's have in common: the frame of a lens."""

    size: tuple[int, int]

    @property
    def middle_px(self) -> Array:
        """(2,) the middle of the picture, px."""
        return (np.array(self.size) - 1) / 2

    @property
    def unit_px(self) -> float:
        """Half the picture's diagonal, px: the unit of the lens and of the parameter vector."""
        return 0.5 * math.hypot(*self.size)

    @property
    def to_unit(self) -> Array:
        """(3, 3) half diagonals from the middle, from px."""
        s, (mx, my) = self.unit_px, self.middle_px
        return np.array([[1 / s, 0, -mx / s], [0, 1 / s, -my / s], [0, 0, 1.0]])


@dataclass(frozen=True, eq=False)
class ProjectorModel(Picture):
    """Homography and a lens with its own centre: table mm to projector px and back.

    ``u = H X`` (dehomogenised, px), then the terms of `calibrate.lens.Lens` about ``centre_px``, in
    half diagonals of the picture. Pixel centres are integers.

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
        for name in TERMS:
            object.__setattr__(self, name, float(getattr(self, name)))

    # -- parameters ----------------------------------------------------------------------

    def vector(self) -> Array:
        """(17,) the parameters in the order of `PARAMETERS`, all of order one.

        The homography takes half metres to half diagonals from the middle of the picture; the
        lens centre is counted in half diagonals from the middle.
        """
        normal = self.to_unit @ self.projector_from_table @ _MM
        return np.concatenate([normal.reshape(9)[:8], self.lens])

    @property
    def lens(self) -> Lens:
        """The lens, its centre in half diagonals from the picture's middle."""
        cx, cy = ((self.centre_px - self.middle_px) / self.unit_px).tolist()
        return Lens(cx=cx, cy=cy, **{name: getattr(self, name) for name in TERMS})

    @classmethod
    def from_vector(cls, size: tuple[int, int], vector: ArrayLike) -> ProjectorModel:
        """The model with these parameters, the inverse of `vector`.

        (12,) is without p1, p2; (14,) without k3, s2, s4.
        """
        v = np.asarray(vector, dtype=np.float64)
        if v.shape in [(n,) for n in EARLIER]:
            v = np.append(v, np.zeros(COUNT - len(v)))
        if v.shape != (COUNT,):
            raise InputError(f"the parameter vector has the shape {v.shape}; expected ({COUNT},).")
        frame = cls(size, np.eye(3), np.zeros(2))
        normal = np.append(v[:8], 1.0).reshape(3, 3)
        matrix = np.linalg.inv(frame.to_unit) @ normal @ np.linalg.inv(_MM)
        lens = Lens(*v[len(HOMOGRAPHY) :].tolist())
        centre = frame.middle_px + frame.unit_px * lens.centre
        return cls(size, matrix, centre, *(getattr(lens, name) for name in TERMS))

    # -- both directions -----------------------------------------------------------------

    @cached_property
    def lens_reach(self) -> float:
        """Radius (half diagonals, before the lens) up to which the lens term is used."""
        # slope of r (1 + k1 r² + k2 r⁴ + k3 r⁶) as a polynomial in r²
        roots = np.roots([7 * self.k3, 5 * self.k2, 3 * self.k1, 1.0 - _LEAST_SLOPE])
        real = roots[np.abs(roots.imag) < 1e-12].real
        ahead = real[(real > 0) & (real < _LENS_REACH**2)]
        return math.sqrt(float(ahead.min())) if ahead.size else _LENS_REACH

    def _lens_edge(self) -> tuple[float, float, float]:
        reach = self.lens_reach
        factor, steeper = self.lens.radial(np.array(reach * reach))
        return reach, reach * float(factor), float(factor + steeper * reach * reach)

    def bend(self, ideal_px: ArrayLike) -> Array:
        """(N, 2) px without the lens to (N, 2) px with it."""
        p = (points_2d(ideal_px, "points") - self.centre_px) / self.unit_px
        r2 = np.einsum("ij,ij->i", p, p)
        factor = self.lens.radial(r2)[0]
        reach, image, slope = self._lens_edge()
        far = r2 > reach * reach
        if np.any(far):
            r = np.sqrt(r2[far])
            factor[far] = (image + slope * (r - reach)) / r
        q = p * factor[:, None] + self._sideways(p)
        return np.asarray(self.centre_px + self.unit_px * q)

    def _sideways(self, p: Array) -> Array:
        """(N, 2) what is not radial, of places (N, 2) before the lens; past its reach that of its rim."""
        lens = self.lens
        if not lens.off_axis:
            return np.zeros_like(p)
        r = np.hypot(p[:, 0], p[:, 1])
        return lens.sideways(p * np.minimum(1.0, self.lens_reach / np.maximum(r, 1e-300))[:, None])

    def unbend(self, points_px: ArrayLike) -> Array:
        """(N, 2) px to (N, 2) px as they would be without the lens; exact to 1e-9 px."""
        q = (points_2d(points_px, "points") - self.centre_px) / self.unit_px
        p, done = self._newton_back(q)
        if not done.all():  # at the lens's rim it may step to and fro
            p[~done] = self._slowly_back(q[~done])
        return np.asarray(self.centre_px + self.unit_px * p)

    def _newton_back(self, q: Array) -> tuple[Array, Mask]:
        """(N, 2) places before the lens of places (N, 2) after it, by Newton's method in both
        coordinates; (N,) for which of them it came to rest."""
        p = q.copy()
        step = np.full_like(q, np.inf)
        det = np.ones(len(q))
        for _ in range(_MOST_STEPS):
            seen, (xx, xy, yx, yy) = self._through(p)
            off = seen - q
            det = xx * yy - xy * yx
            with np.errstate(divide="ignore", invalid="ignore"):
                step[:, 0] = (yy * off[:, 0] - xy * off[:, 1]) / det
                step[:, 1] = (xx * off[:, 1] - yx * off[:, 0]) / det
                p = p - step
            if (np.abs(step) < _SMALL_STEP).all():
                break
        with np.errstate(invalid="ignore"):
            done = (np.abs(step) < _SMALL_STEP).all(axis=1) & (det > 0)
        return p, np.asarray(done)

    def _through(self, p: Array) -> tuple[Array, tuple[Array, Array, Array, Array]]:
        """`Lens.through`, past the lens's reach as it goes on there (what is not radial held still)."""
        seen, slopes = self.lens.through(p)
        reach, image, slope = self._lens_edge()
        r = np.hypot(p[:, 0], p[:, 1])
        far = ~(r <= reach)
        if far.any():
            (x, y), r = p[far].T, r[far]
            factor = (image + slope * (r - reach)) / r
            seen[far] = p[far] * factor[:, None] + self._sideways(p[far])
            more = (slope - factor) / (r * r)
            both = more * x * y
            for kept, value in zip(
                slopes, (factor + more * x * x, both, both, factor + more * y * y), strict=True
            ):
                kept[far] = value
        return seen, slopes

    def _slowly_back(self, q: Array) -> Array:
        """The same anywhere: what is not radial changes little from step to step, each gains a digit."""
        p = self._radial_back(q)
        if self.lens.off_axis:
            for _ in range(60):
                last, p = p, self._radial_back(q - self._sideways(p))
                if np.abs(p - last).max(initial=0.0) < 1e-15:
                    break
        return p

    def _radial_back(self, q: Array) -> Array:
        """(N, 2) places before the radial terms of places (N, 2) after them."""
        rho = np.hypot(q[:, 0], q[:, 1])
        reach, image, slope = self._lens_edge()
        r, lens = np.minimum(rho, reach), self.lens
        for _ in range(30):  # Newton on an increasing function, kept inside its range
            factor, steeper = lens.radial(r * r)
            step = (r * factor - rho) / (factor + steeper * r * r)
            r = np.clip(r - step, 0.0, reach)
            if np.all(np.abs(step[rho <= image]) < 1e-14):
                break
        r = np.where(rho > image, reach + (rho - image) / slope, r)
        factor = np.divide(r, rho, out=np.ones_like(r), where=rho > 1e-300)
        return np.asarray(q * factor[:, None])

    def to_projector(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table mm to (N, 2) projector px; NaN past the horizon of the projector."""
        return self.bend(apply(self.projector_from_table, points_2d(points_mm, "points_mm")))

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) projector px to (N, 2) table mm; NaN for rays that never meet the table."""
        inverse = np.asarray(np.linalg.inv(self.projector_from_table), dtype=np.float64)
        return apply(inverse, self.unbend(points_2d(points_px, "points_px")))

    # -- derivatives ---------------------------------------------------------------------

    def jacobians(self, points_mm: ArrayLike) -> tuple[Array, Array, Array]:
        """Image of points and its derivatives, by hand.

        Returns:
            px (N, 2); d px / d point (N, 2, 2), px per mm; d px / d vector (N, 2, 17).
        """
        places = points_2d(points_mm, "points_mm") / TABLE_UNIT_MM
        seen, by_place, by_vector = view(self.vector(), places)
        s = self.unit_px
        return self.middle_px + s * seen, by_place * (s / TABLE_UNIT_MM), s * by_vector

    def table_jacobian(self, points_mm: ArrayLike) -> Array:
        """(N, 2, 17) how the table place of a fixed pixel moves (mm) with the parameters."""
        _, dX, dv = self.jacobians(points_mm)
        (a, b), (c, d) = dX.transpose(1, 2, 0)
        back = np.stack([d, -b, -c, a], axis=1) / (b * c - a * d)[:, None]
        return chained(back.reshape(-1, 2, 2), dv)

    # -- the beam ------------------------------------------------------------------------

    def moved(self, new_from_old: ArrayLike) -> ProjectorModel:
        """The same projector seen in another table frame (``new_from_old`` (3, 3), mm)."""
        old_from_new = np.linalg.inv(np.asarray(new_from_old, dtype=np.float64))
        return replace(self, projector_from_table=self.projector_from_table @ old_from_new)

    def beam_outline_mm(self, per_side: int = 24) -> Array:
        """(4 * per_side, 2) outer edge of the picture on the table, mm, counter-clockwise."""
        w, h = self.size
        outline = self.to_table(rim(-0.5, h - 0.5, w - 0.5, -0.5, per_side))
        return outline if signed_area(outline) >= 0 else np.ascontiguousarray(outline[::-1])

    def grid_mm(self, columns: int = 17, rows: int = 11) -> Array:
        """(columns * rows, 2) table places under an even grid of pixels over the whole beam."""
        return self.to_table(self.grid_px(columns, rows))

    def grid_px(self, columns: int = 17, rows: int = 11) -> Array:
        """(columns * rows, 2) an even grid of pixels over the whole beam, row by row."""
        w, h = self.size
        return grid(np.linspace(0, w - 1, columns), np.linspace(0, h - 1, rows))

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


@dataclass(frozen=True, eq=False)
class CameraModel(Picture):
    """A camera's view of the table plane: homography, then radial and tangential lens terms.

    ``vector`` (15,): the first of `calibrate.lens.PARAMETERS`; the homography takes table places,
    counted in ``unit_mm``, to half diagonals from the middle of the picture.
    """

    size: tuple[int, int]
    vector: Array
    unit_mm: float = 500.0

    @property
    def lens(self) -> Lens:
        """The lens, in half diagonals."""
        return Lens(*self.vector[len(HOMOGRAPHY) :].tolist())

    @property
    def homography(self) -> Array:
        """(3, 3) half diagonals from the middle, before the lens, from table in ``unit_mm``."""
        return np.append(self.vector[: len(HOMOGRAPHY)], 1.0).reshape(3, 3)

    def project(self, points_mm: Array) -> tuple[Array, Array, Array]:
        """Image of table places (N, 2) mm.

        Returns:
            px (N, 2); d px / d place (N, 2, 2), px per mm; d px / d vector (N, 2, 15).
        """
        seen, by_place, by_vector = view(self.vector, points_mm / self.unit_mm)
        s = self.unit_px
        return self.middle_px + s * seen, by_place * (s / self.unit_mm), s * by_vector

    def moved(self, new_from_old: ArrayLike, unit_mm: float | None = None) -> CameraModel:
        """The same camera in another table frame (``new_from_old`` (3, 3), mm), or another unit."""
        unit = self.unit_mm if unit_mm is None else unit_mm
        old_from_new = np.linalg.inv(np.asarray(new_from_old, dtype=np.float64))
        into = np.diag([1 / self.unit_mm, 1 / self.unit_mm, 1.0])
        matrix = self.homography @ into @ old_from_new @ np.diag([unit, unit, 1.0])
        vector = self.vector.copy()
        vector[: len(HOMOGRAPHY)] = (matrix / matrix[2, 2]).ravel()[: len(HOMOGRAPHY)]
        return CameraModel(self.size, vector, unit)

    def to_px(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table mm to (N, 2) camera px."""
        return self.project(np.asarray(points_mm, dtype=np.float64).reshape(-1, 2))[0]

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) camera px to (N, 2) table mm, by Newton's steps on `project`'s lens."""
        lens = self.lens
        q = (np.asarray(points_px, dtype=np.float64).reshape(-1, 2) - self.middle_px) / self.unit_px
        u = q.copy()
        for _ in range(40):
            seen, bend, _ = lens.seen(u)
            miss_x, miss_y = (seen - q).T
            a, b, d = bend[:, 0, 0], bend[:, 0, 1], bend[:, 1, 1]
            det = a * d - b * b
            det = np.where(np.abs(det) < 0.05, 0.05, det)  # past the fold: creep, do not jump
            step = np.column_stack([d * miss_x - b * miss_y, a * miss_y - b * miss_x])
            step /= det[:, None]
            u -= np.clip(step, -0.3, 0.3)
            if np.abs(step).max(initial=0.0) < 1e-13:
                break
        inverse = np.linalg.inv(self.homography)
        rays = np.column_stack([u, np.ones(len(u))]) @ inverse.T
        return np.asarray(rays[:, :2] / rays[:, 2:] * self.unit_mm)
