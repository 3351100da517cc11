"""Bundle adjustment: cameras, card poses and the projector from all corners at once.

Residuals are reprojection errors over each corner's noise; weak priors on lenses speak where the
corners do not. The unknowns are freed in stages, by `calibrate.stages`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from calibrate.arrays import Array, Mask
from calibrate.lens import PARAMETERS, chained
from calibrate.model import CAMERA_COUNT, COUNT, CameraModel, ProjectorModel
from calibrate.plane import apply, homography, place

# Weak knowledge of lenses, one sigma, unit half a diagonal: what phones, webcams and projectors
# have (common practice, no source). It only speaks where the corners do not.
_CAMERA_PRIOR = {
    "k1": 0.15, "k2": 0.06, "cx": 0.02, "cy": 0.02, "p1": 0.0006, "p2": 0.0006, "k3": 0.01,
}  # fmt: skip
# k3 as the next term of the series; a prism of a tenth of a projector pixel at the corners
# (common practice, no source)
_PROJECTOR_PRIOR = {
    "k1": 0.03, "k2": 0.006, "cx": 0.25, "cy": 0.25, "p1": 0.0003, "p2": 0.0003, "k3": 0.001,
    "s2": 0.0001, "s4": 0.0001,
}  # fmt: skip
_HEIGHT_PRIOR_MM = 1.0  # of a card over the table: what lies under cards (no source)
_FOCAL, _FOCAL_SIGMA = 1.25, 0.2  # focal length over half the picture's diagonal: phones, webcams
_EYE_SIGMA = 0.1  # how well its place is known from a view of the table, of its height
_SQUARE_SIGMA = 0.005  # how well a homography's axes are known to be square, of their length²
_BENT_PARAMETERS = 14  # of a homography, and of a parabola that it has not
_LOST = 1e6  # residual of a corner that a wild step throws past the horizon
_STILL = 1e-12  # relative step at which nothing moves any more
_STRETCH_PRIOR = 0.003  # how unequally printers scale along the two ways of a page


def stretched(corners_mm: Array, stretch: float | None) -> Array:
    if not stretch:
        return corners_mm
    return np.asarray(corners_mm * np.array([1 + stretch / 2, 1 - stretch / 2]))


@dataclass(frozen=True, eq=False)
class CardView:
    """One card in one photo: ``corners_mm`` (N, 2) in its own frame, ``corners_px`` (N, 2) seen,
    ``sigma_px`` (N,) noise of each."""

    corners_mm: Array
    corners_px: Array
    sigma_px: Array

    def pick(self, keep: Mask, wilder: float = 1.0) -> CardView:
        """Some of its corners, their noise so many times as large."""
        return CardView(self.corners_mm[keep], self.corners_px[keep], self.sigma_px[keep] * wilder)


def own_level(card: CardView) -> float:
    """Rms over sigma of what a card's corners leave when it may lie tilted and bent as it likes.

    A homography and a parabola each way take up height, tilt and curl; what is left is the noise
    of its corners. 0 where too few corners are seen to tell.
    """
    if 2 * len(card.corners_px) < 2 * _BENT_PARAMETERS:
        return 0.0
    x, y = (card.corners_mm - card.corners_mm.mean(axis=0)).T
    weight = 1 / card.sigma_px[:, None]
    left = apply(homography(card.corners_mm, card.corners_px), card.corners_mm) - card.corners_px
    terms = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y]) * weight
    left = left * weight - terms @ np.linalg.lstsq(terms, left * weight, rcond=None)[0]
    return math.sqrt(float(np.sum(left**2)) / (left.size - _BENT_PARAMETERS))


@dataclass(frozen=True, eq=False)
class PhotoView:
    """One photo for the solver: its size, its cards, and the pattern's corners.

    ``pattern_px`` (M, 2) projector px, ``seen_px`` (M, 2) camera px, ``sigma_px`` (M,).
    """

    size: tuple[int, int]
    cards: Mapping[int, CardView]
    pattern_px: Array = field(default_factory=lambda: np.zeros((0, 2)))
    seen_px: Array = field(default_factory=lambda: np.zeros((0, 2)))
    sigma_px: Array = field(default_factory=lambda: np.zeros(0))

    def pick(self, cards: Mapping[int, CardView], keep: Mask, wilder: float = 1.0) -> PhotoView:
        """With these cards, and some of the pattern's corners, their noise so many times as large."""
        pattern, seen, sigma = self.pattern_px[keep], self.seen_px[keep], self.sigma_px[keep]
        return PhotoView(self.size, cards, pattern, seen, sigma * wilder)

    @property
    def by_id(self) -> list[tuple[int, CardView]]:
        """The cards in the order of their numbers."""
        return sorted(self.cards.items())

    def seen(self, lit: bool) -> tuple[Array, Array]:
        """(N, 2) camera px seen and (N, 1) 1 / sigma: cards by id, then, where lit, the pattern."""
        views = [(v.corners_px, v.sigma_px) for _, v in self.by_id]
        views += [(self.seen_px, self.sigma_px)] if lit else []
        px, sigma = (np.concatenate(list(c)) for c in zip(*views, strict=True))
        return px, 1 / sigma[:, None]


@dataclass(eq=False)
class State:
    """The unknowns: cameras, card poses (in table mm), the projector."""

    cameras: list[CameraModel]
    poses: dict[int, Array]
    projector: ProjectorModel | None = None
    stretch: float | None = None  # of the print, along x over along y; None: not asked
    heights: dict[int, float] | None = None  # of the cards over the lit plane, mm; None: not asked
    eyes: list[Array] | None = None  # where each camera is held, (3,) mm; with heights
    held: Mapping[int, float] | None = None  # how sure a card's height is 0, mm, where surer

    def laid(self, camera: int, i: int, corners_mm: Array) -> Array:
        """(N, 2) where on the table a camera sees the corners of a card, its height with it."""
        flat = place(stretched(corners_mm, self.stretch), self.poses[i])
        if self.heights is None or self.eyes is None or not self.heights[i]:
            return flat
        eye = self.eyes[camera]
        return np.asarray(eye[:2] + (flat - eye[:2]) * raised_by(self.heights[i], eye))


def raised_by(height_mm: float, eye: Array) -> float:
    """How much further from the eye's foot a raised place is seen on the table (similar triangles)."""
    return float(eye[2] / max(eye[2] - height_mm, 0.2 * eye[2]))


def eye_of(camera: CameraModel) -> Array:
    """(3,) where the camera is held, table mm, z up: from its view of the table, pixels square.

    The focal length that makes the table's two axes square and equal in the homography (Zhang
    2000, from memory), held near that of a phone or webcam: seen from straight above, the
    homography has nothing to say of it.
    """
    lens = camera.lens
    G = np.array([[1, 0, -lens.cx], [0, 1, -lens.cy], [0, 0, 1.0]]) @ camera.homography
    G = G / np.linalg.norm(G[:2, :2])
    a, b = G[:, 0], G[:, 1]
    rows = np.array([[a[0] * b[0] + a[1] * b[1], a[2] * b[2]],
                     [a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2, a[2] ** 2 - b[2] ** 2]])  # fmt: skip
    weigh = 1 / _SQUARE_SIGMA**2
    usual = 1 / _FOCAL**2
    stiff = 1 / (2 * _FOCAL_SIGMA * usual) ** 2
    inverse = (stiff * usual - weigh * rows[:, 0] @ rows[:, 1]) / (
        stiff + weigh * rows[:, 0] @ rows[:, 0]
    )
    f = 1 / math.sqrt(min(max(inverse, 0.1), 4.0))
    rays = np.diag([1 / f, 1 / f, 1.0]) @ G
    rays /= 0.5 * (np.linalg.norm(rays[:, 0]) + np.linalg.norm(rays[:, 1]))
    if rays[2, 2] < 0:
        rays = -rays
    x, y = (rays[:, k] / np.linalg.norm(rays[:, k]) for k in (0, 1))
    up = np.cross(x, y)
    where = -np.array([x, y, up / np.linalg.norm(up)]) @ rays[:, 2]
    return np.asarray(np.array([where[0], where[1], abs(where[2])]) * camera.unit_mm)


class Bundle:
    """Residuals and Jacobian of all photos; columns: cameras, cards, projector."""

    def __init__(self, photos: Sequence[PhotoView], state: State, unit_mm: float) -> None:
        self.photos = photos
        self._seen = [[p.seen(lit) for p in photos] for lit in (False, True)]
        boards = [
            (sum(len(v.corners_px) for v in p.cards.values()), len(p.seen_px)) for p in photos
        ]
        ends = np.cumsum(2 * np.array(boards), axis=None)
        # before which rows (of residuals with a projector) the next board begins
        self.cuts = ends[:-1] if state.projector is not None else ends[:0]
        self.unit_mm = unit_mm
        self.ids = sorted(state.poses)
        self.cards_at = CAMERA_COUNT * len(photos)
        self.projector_at = self.cards_at + 3 * len(self.ids)
        self.stretch_at = self.projector_at + (COUNT if state.projector is not None else 0)
        self.heights_at = self.stretch_at + (1 if state.stretch is not None else 0)
        more = 0 if state.heights is None else len(self.ids) + 3 * len(photos)
        self.eyes_at = self.heights_at + len(self.ids)
        self.count = self.heights_at + more

    def pack(self, state: State) -> Array:
        scale = np.array([1 / self.unit_mm, 1 / self.unit_mm, 1.0])
        parts = [c.vector for c in state.cameras] + [state.poses[i] * scale for i in self.ids]
        if state.projector is not None:
            parts.append(state.projector.vector())
        if state.stretch is not None:
            parts.append(np.array([state.stretch]))
        if state.heights is not None:
            parts.append(np.array([state.heights[i] for i in self.ids]))
            parts += [eye / self.unit_mm for eye in state.eyes or []]
        return np.concatenate(parts)

    def unpack(self, x: Array, like: State) -> State:
        cameras = [
            CameraModel(c.size, x[k * CAMERA_COUNT : (k + 1) * CAMERA_COUNT], c.unit_mm)
            for k, c in enumerate(like.cameras)
        ]
        scale = np.array([self.unit_mm, self.unit_mm, 1.0])
        poses = {
            i: x[self.cards_at + 3 * k : self.cards_at + 3 * k + 3] * scale
            for k, i in enumerate(self.ids)
        }
        projector = None
        if like.projector is not None:
            projector = ProjectorModel.from_vector(
                like.projector.size, x[self.projector_at : self.projector_at + COUNT]
            )
        stretch = None if like.stretch is None else float(x[self.stretch_at])
        heights, eyes = None, None
        if like.heights is not None:
            heights = {i: float(x[self.heights_at + k]) for k, i in enumerate(self.ids)}
            eyes = list(x[self.eyes_at :].reshape(-1, 3) * self.unit_mm)
        return State(cameras, poses, projector, stretch, heights, eyes, like.held)

    def residuals(self, state: State) -> tuple[Array, Array]:
        """Reprojection errors over sigma, predicted less seen, and their derivatives.

        Returns:
            (R,), photo by photo: cards by id, then the pattern; (R, count).
        """
        all_seen = self._seen[state.projector is not None]
        errors = np.empty(2 * sum(len(px) for px, _ in all_seen))
        J = np.zeros((len(errors), self.count))
        first = 0
        for k, (photo, (seen, weight)) in enumerate(zip(self.photos, all_seen, strict=True)):
            places = [state.laid(k, i, card.corners_mm) for i, card in photo.by_id]
            lit = np.empty((0, 2))
            if state.projector is not None and len(photo.pattern_px):
                lit = state.projector.to_table(photo.pattern_px)
            px, by_place, by_camera = state.cameras[k].project(np.concatenate([*places, lit]))
            by_place *= weight[:, :, None]
            by_camera *= weight[:, :, None]
            here = slice(first, first + 2 * len(px))
            first = here.stop
            errors[here] = ((px - seen) * weight).ravel()
            rows = J[here].reshape(len(px), 2, self.count)
            rows[:, :, k * CAMERA_COUNT : (k + 1) * CAMERA_COUNT] = by_camera
            done = 0
            for (i, card), laid in zip(photo.by_id, places, strict=True):
                part = slice(done, done + len(laid))
                for at_column, block in self._card_blocks(
                    state, k, i, card, by_place[part]
                ).items():
                    rows[part, :, at_column : at_column + block.shape[2]] = block
                done = part.stop
            if state.projector is not None and len(lit):
                rows[done:, :, self.projector_at : self.projector_at + COUNT] = chained(
                    by_place[done:], state.projector.table_jacobian(lit)
                )
        return errors, J

    def _card_blocks(
        self, state: State, k: int, i: int, card: CardView, by_place: Array
    ) -> dict[int, Array]:
        """First column -> derivatives (N, 2, width) of a card's corners by what moves the card."""
        pose = state.poses[i]
        flat = place(stretched(card.corners_mm, state.stretch), pose)
        blocks = {}
        if state.heights is not None and state.eyes is not None:
            eye = state.eyes[k]
            grown = raised_by(state.heights[i], eye)
            away = np.einsum("nij,nj->ni", by_place, flat - eye[:2])[:, :, None]
            blocks[self.heights_at + self.ids.index(i)] = away * (grown * grown / eye[2])
            across = by_place * ((1 - grown) * self.unit_mm)
            along = away * (grown * (1 - grown) / eye[2] * self.unit_mm)
            blocks[self.eyes_at + 3 * k] = np.concatenate([across, along], axis=2)
            by_place = by_place * grown
        arm = flat - pose[:2]
        turn = by_place[:, :, 0] * -arm[:, 1:] + by_place[:, :, 1] * arm[:, :1]
        blocks[self.cards_at + 3 * self.ids.index(i)] = np.concatenate(
            [by_place * self.unit_mm, turn[:, :, None]], axis=2
        )
        if state.stretch is not None:
            change = place(card.corners_mm * np.array([0.5, -0.5]), (0.0, 0.0, pose[2]))
            blocks[self.stretch_at] = np.einsum("nij,nj->ni", by_place, change)[:, :, None]
        return blocks

    def priors(self, state: State) -> tuple[Array, Array]:
        """Weak knowledge of lenses as (centres, 1 / sigma), both (count,); 0 where none."""
        centre, stiff = np.zeros(self.count), np.zeros(self.count)
        for k in range(len(self.photos)):
            stiff[_columns(k * CAMERA_COUNT, _CAMERA_PRIOR)] = 1 / _of(_CAMERA_PRIOR)
        if state.projector is not None:
            stiff[_columns(self.projector_at, _PROJECTOR_PRIOR)] = 1 / _of(_PROJECTOR_PRIOR)
        if state.stretch is not None:
            stiff[self.stretch_at] = 1 / _STRETCH_PRIOR
        if state.heights is not None:
            for k, i in enumerate(self.ids):
                held = state.held or {}
                stiff[self.heights_at + k] = 1 / held.get(i, _HEIGHT_PRIOR_MM)
            for k, eye in enumerate(state.eyes or []):
                at = self.eyes_at + 3 * k
                centre[at : at + 3] = eye / self.unit_mm
                stiff[at : at + 3] = self.unit_mm / (_EYE_SIGMA * eye[2])
        return centre, stiff

    def free(self, stage: str) -> Mask:
        """(count,) which unknowns a stage of `STAGES` frees.

        The first card's pose is the frame and stays.
        """
        held_by_camera, held_by_projector = STAGES[stage]
        free = np.ones(self.count, dtype=bool)
        for k in range(len(self.photos)):
            free[_columns(k * CAMERA_COUNT, held_by_camera)] = False
        free[_columns(self.projector_at, held_by_projector)] = False
        free[self.cards_at : self.cards_at + 3] = False
        return free


# stage -> what it holds of the cameras' lenses and of the projector's. Lens centre and tangential
# terms do nearly the same: one after the other
STAGES: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "plane": (tuple(_CAMERA_PRIOR), ()),
    "k1": (tuple(name for name in _CAMERA_PRIOR if name != "k1"), ()),
    "centre": ((), ("p1", "p2", "k3", "s2", "s4")),
    "axis": ((), ("cx", "cy")),
    "all": ((), ()),
}


def _columns(first: int, names: Iterable[str]) -> list[int]:
    """Where parameters of these names stand, of a view whose vector begins at ``first``."""
    return [first + PARAMETERS.index(name) for name in names]


def _of(prior: Mapping[str, float]) -> Array:
    return np.array(list(prior.values()))


def _triangle(rows: Array) -> Array:
    """The triangle of the QR factors of rows; columns in which they hold nothing cost nothing."""
    used = rows.any(axis=0)
    few: Any = np.linalg.qr(rows[:, used], mode="r")
    out = np.zeros((len(few), rows.shape[1]))
    out[:, used] = few
    return out


@dataclass(frozen=True, eq=False)
class Fit:
    """Where a minimisation ended.

    ``residuals`` (R,) over sigma, without priors; ``covariance`` (count, count), zero where the
    stage frees nothing; ``cost``: sum of squares (of Huber's loss), priors with it; ``settled``:
    whether it came to rest within the looks that it was given.
    """

    state: State
    residuals: Array
    covariance: Array
    cost: float
    settled: bool = True


def minimise(
    bundle: Bundle,
    state: State,
    stage: str,
    *,
    huber: float | None = 3.0,
    tolerance: float = 1e-9,
    most: int | None = None,
) -> Fit:
    """Least squares with priors on the unknowns that a stage frees (MINPACK's Levenberg-Marquardt).

    Args:
        huber: past so many sigma a residual counts linearly (Huber's loss); None: all squared.
        tolerance: relative gain of a step at which it ends.
        most: looks at the residuals after which it ends wherever it is; None: MINPACK's own many.
    """
    from scipy.optimize import least_squares

    free = bundle.free(stage)
    centre, stiff = bundle.priors(state)
    held = free & (stiff > 0)
    prior_rows = np.diag(stiff)[np.ix_(held, free)]
    x = bundle.pack(state)
    last: tuple[bytes, Array, Array] = (b"", x, x)
    small: tuple[bytes, Array] = (b"", x)

    def whole(part: Array) -> Array:
        out = x.copy()
        out[free] = part
        return out

    def evaluated(part: Array) -> tuple[Array, Array]:
        nonlocal last
        if last[0] != part.tobytes():  # errors and derivatives are asked for one after the other
            with np.errstate(all="ignore"):
                r, J = bundle.residuals(bundle.unpack(whole(part), state))
            J = J[:, free]
            if not np.isfinite(r).all():
                r, J = np.nan_to_num(r, nan=_LOST, posinf=_LOST, neginf=-_LOST), np.nan_to_num(J)
            last = (part.tobytes(), r, J)
        return last[1], last[2]

    def squeezed(part: Array) -> Array:
        """The triangle of the QR factors of [derivatives, errors]: the same sums of squares and the
        same steps from a few rows instead of thousands, which LAPACK finds faster than MINPACK."""
        nonlocal small
        if small[0] != part.tobytes():
            r, J = evaluated(part)
            if huber is not None:  # squared it is Huber's loss, and smooth
                a = np.abs(r)
                past = a > huber
                slope = huber / np.sqrt(huber * (2 * a[past] - huber))
                r, J = r.copy(), J.copy()
                r[past] = np.sign(r[past]) * huber / slope
                J[past] *= slope[:, None]
            rows = np.column_stack([J, r])
            held_rows = np.column_stack([prior_rows, (whole(part) - centre)[held] * stiff[held]])
            boards = [_triangle(board) for board in np.split(rows, bundle.cuts)]
            whole_triangle = _triangle(np.concatenate([*boards, held_rows]))
            missing = rows.shape[1] - len(whole_triangle)  # MINPACK wants always as many rows
            small = (part.tobytes(), np.pad(whole_triangle, ((0, missing), (0, 0))))
        return small[1]

    def errors(part: Array) -> Array:
        return squeezed(part)[:, -1]

    def slopes(part: Array) -> Array:
        return squeezed(part)[:, :-1]

    found = least_squares(
        errors,
        x[free],
        slopes,
        method="lm",
        x_scale="jac",
        ftol=tolerance,
        xtol=_STILL,
        gtol=_STILL,
        max_nfev=most,
    )
    x = whole(found.x)
    r, J = evaluated(found.x)
    weight = (
        1.0 if huber is None else np.minimum(1.0, huber / np.maximum(np.abs(r), 1e-300))[:, None]
    )
    normal = (J * weight).T @ J + np.diag(stiff[free] ** 2)
    covariance = np.zeros((bundle.count, bundle.count))
    covariance[np.ix_(free, free)] = np.linalg.pinv(normal, hermitian=True)
    return Fit(bundle.unpack(x, state), r, covariance, 2 * float(found.cost), found.status > 0)


def without_cards(photo: PhotoView, cards_out: Sequence[int]) -> PhotoView:
    if not set(cards_out) & set(photo.cards):
        return photo
    kept = {i: v for i, v in photo.cards.items() if i not in cards_out}
    return replace(photo, cards=kept)
