"""From the corners that were seen to the projector over the table: the joint fit.

After `calibrate.detect`. Every card carries the true millimetre to its place in the photo, so the
camera's view of the table plane, its lens, where each card lies and the projector with its own
lens are found together, by least squares weighted with each corner's noise. Unknowns are freed in
steps. What comes out is a `Calibration` with the covariance of what went in.

The camera's focal length is never needed: a flat table gives a homography, and a lens on top.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibrate.calibration import (
    COUNT,
    TABLE_UNIT_MM,
    Calibration,
    CardPlace,
    ProjectorModel,
    now,
    without_rigid,
)
from calibrate.cards import BARS_MM, card, set_of
from calibrate.detect import Detections, is_soft, same_view
from calibrate.pattern import Pattern, bare
from calibrate.plane import CAMERA_PARAMETERS, CameraModel, homography, place, rigid
from configs.errors import Fault, InputError, Refusal

Array = NDArray[np.float64]

# Weak knowledge of lenses, one sigma, unit half a diagonal: what phones, webcams and projectors
# have (common practice, no source). It only speaks where the corners do not.
_CAMERA_PRIOR = {"k1": 0.15, "k2": 0.06, "c": 0.02, "p": 0.0006, "k3": 0.01}
# k3 as the next term of the series; a prism of a tenth of a projector pixel at the corners
# (common practice, no source)
_PROJECTOR_PRIOR = {"k1": 0.03, "k2": 0.006, "c": 0.25, "p": 0.0003, "k3": 0.001, "s": 0.0001}
_HEIGHT_PRIOR_MM = 1.0  # of a card over the table: what lies under cards (no source)
_FOCAL, _FOCAL_SIGMA = 1.25, 0.2  # focal length over half the picture's diagonal: phones, webcams
_EYE_SIGMA = 0.1  # how well its place is known from a view of the table, of its height
_SQUARE_SIGMA = 0.005  # how well a homography's axes are known to be square, of their length²
_STRETCH_PRIOR = 0.003  # how unequally printers scale along the two ways of a page


def _stretched(corners_mm: Array, stretch: float | None) -> Array:
    if not stretch:
        return corners_mm
    return np.asarray(corners_mm * np.array([1 + stretch / 2, 1 - stretch / 2]))


# -- the fit ---------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class CardView:
    """One card in one photo: ``corners_mm`` (N, 2) in its own frame, ``corners_px`` (N, 2) seen,
    ``sigma_px`` (N,) noise of each."""

    corners_mm: Array
    corners_px: Array
    sigma_px: Array


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


@dataclass(eq=False)
class _State:
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
        flat = place(_stretched(corners_mm, self.stretch), self.poses[i])
        if self.heights is None or self.eyes is None or not self.heights[i]:
            return flat
        eye = self.eyes[camera]
        return np.asarray(eye[:2] + (flat - eye[:2]) * _raised(self.heights[i], eye))


def _raised(height_mm: float, eye: Array) -> float:
    """How much further from the eye's foot a raised place is seen on the table (similar triangles)."""
    return float(eye[2] / max(eye[2] - height_mm, 0.2 * eye[2]))


def _eye(camera: CameraModel) -> Array:
    """(3,) where the camera is held, table mm, z up: from its view of the table, pixels square.

    The focal length that makes the table's two axes square and equal in the homography (Zhang
    2000, from memory), held near that of a phone or webcam: seen from straight above, the
    homography has nothing to say of it.
    """
    G = np.append(camera.vector[:8], 1.0).reshape(3, 3)
    G = np.array([[1, 0, -camera.vector[10]], [0, 1, -camera.vector[11]], [0, 0, 1.0]]) @ G
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


class _Joint:
    """Residuals and Jacobian of all photos; columns: cameras, cards, projector."""

    def __init__(self, photos: Sequence[PhotoView], state: _State, unit_mm: float) -> None:
        self.photos = photos
        self.unit_mm = unit_mm
        self.ids = sorted(state.poses)
        self.cards_at = CAMERA_PARAMETERS * len(photos)
        self.projector_at = self.cards_at + 3 * len(self.ids)
        self.stretch_at = self.projector_at + (COUNT if state.projector is not None else 0)
        self.heights_at = self.stretch_at + (1 if state.stretch is not None else 0)
        more = 0 if state.heights is None else len(self.ids) + 3 * len(photos)
        self.eyes_at = self.heights_at + len(self.ids)
        self.count = self.heights_at + more

    def pack(self, state: _State) -> Array:
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

    def unpack(self, x: Array, like: _State) -> _State:
        cameras = [
            CameraModel(c.size, x[k * CAMERA_PARAMETERS : (k + 1) * CAMERA_PARAMETERS], c.unit_mm)
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
        return _State(cameras, poses, projector, stretch, heights, eyes, like.held)

    def residuals(self, state: _State, jacobian: bool = True) -> tuple[Array, Array]:
        """Seen less predicted over sigma, with the sign of predicted; (R,) and (R, count)."""
        values, blocks = [], []
        for k, photo in enumerate(self.photos):
            camera = state.cameras[k]
            columns = slice(k * CAMERA_PARAMETERS, (k + 1) * CAMERA_PARAMETERS)
            for i in sorted(photo.cards):
                view = photo.cards[i]
                flat = place(_stretched(view.corners_mm, state.stretch), state.poses[i])
                px, dX, dv = camera.project(state.laid(k, i, view.corners_mm))
                weight = 1 / view.sigma_px[:, None]
                values.append(((px - view.corners_px) * weight).ravel())
                J = np.zeros((len(px), 2, self.count))
                J[:, :, columns] = dv
                at = self.cards_at + 3 * self.ids.index(i)
                if state.heights is not None and state.eyes is not None:
                    eye = state.eyes[k]
                    grown = _raised(state.heights[i], eye)
                    away = np.einsum("nij,nj->ni", dX, flat - eye[:2])
                    J[:, :, self.heights_at + self.ids.index(i)] = away * (grown * grown / eye[2])
                    at = self.eyes_at + 3 * k
                    J[:, :, at : at + 2] = dX * ((1 - grown) * self.unit_mm)
                    J[:, :, at + 2] = away * (grown * (1 - grown) / eye[2] * self.unit_mm)
                    at = self.cards_at + 3 * self.ids.index(i)
                    dX = dX * grown
                J[:, :, at : at + 2] = dX * self.unit_mm
                arm = flat - state.poses[i][:2]
                J[:, :, at + 2] = dX[:, :, 0] * -arm[:, 1:] + dX[:, :, 1] * arm[:, :1]
                if state.stretch is not None:
                    change = view.corners_mm * np.array([0.5, -0.5])
                    change = place(change, (0.0, 0.0, state.poses[i][2]))
                    J[:, :, self.stretch_at] = np.einsum("nij,nj->ni", dX, change)
                blocks.append((J * weight[:, :, None]).reshape(-1, self.count))
            if state.projector is not None and len(photo.pattern_px):
                X = state.projector.to_table(photo.pattern_px)
                px, dX, dv = camera.project(X)
                weight = 1 / photo.sigma_px[:, None]
                values.append(((px - photo.seen_px) * weight).ravel())
                J = np.zeros((len(px), 2, self.count))
                J[:, :, columns] = dv
                columns_p = slice(self.projector_at, self.projector_at + COUNT)
                J[:, :, columns_p] = dX @ state.projector.table_jacobian(X)
                blocks.append((J * weight[:, :, None]).reshape(-1, self.count))
        return np.concatenate(values), np.concatenate(blocks)

    def priors(self, state: _State) -> tuple[Array, Array]:
        """Weak knowledge of lenses as (centres, 1 / sigma), both (count,); 0 where none."""
        centre, stiff = np.zeros(self.count), np.zeros(self.count)
        for k in range(len(self.photos)):
            at = k * CAMERA_PARAMETERS
            stiff[at + 8], stiff[at + 9] = 1 / _CAMERA_PRIOR["k1"], 1 / _CAMERA_PRIOR["k2"]
            stiff[at + 10 : at + 12] = 1 / _CAMERA_PRIOR["c"]
            stiff[at + 12 : at + 14] = 1 / _CAMERA_PRIOR["p"]
            stiff[at + 14] = 1 / _CAMERA_PRIOR["k3"]
        if state.projector is not None:
            at = self.projector_at
            stiff[at + 8], stiff[at + 9] = 1 / _PROJECTOR_PRIOR["k1"], 1 / _PROJECTOR_PRIOR["k2"]
            stiff[at + 10 : at + 12] = 1 / _PROJECTOR_PRIOR["c"]
            stiff[at + 12 : at + 14] = 1 / _PROJECTOR_PRIOR["p"]
            stiff[at + 14] = 1 / _PROJECTOR_PRIOR["k3"]
            stiff[at + 15 : at + 17] = 1 / _PROJECTOR_PRIOR["s"]
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

    def free(self, stage: str) -> NDArray[np.bool_]:
        """Which unknowns a stage frees; the first card's pose is the frame and stays."""
        free = np.ones(self.count, dtype=bool)
        for k in range(len(self.photos)):
            at = k * CAMERA_PARAMETERS
            if stage == "plane":
                free[at + 8 : at + 15] = False
            elif stage == "k1":
                free[at + 9 : at + 15] = False
        # lens centre and tangential terms do nearly the same: one after the other
        if stage == "centre":
            free[self.projector_at + 12 : self.projector_at + COUNT] = False
        elif stage == "axis":
            free[self.projector_at + 10 : self.projector_at + 12] = False
        free[self.cards_at : self.cards_at + 3] = False
        return free


@dataclass(frozen=True, eq=False)
class _Fit:
    state: _State
    residuals: Array  # over sigma, without priors
    covariance: Array
    cost: float


def _minimise(
    joint: _Joint,
    state: _State,
    stage: str,
    *,
    rounds: int = 40,
    huber: float | None = 3.0,
    tolerance: float = 1e-9,
) -> _Fit:
    """Levenberg-Marquardt with Huber weights and priors, on the unknowns that a stage frees."""
    free = joint.free(stage)
    centre, stiff = joint.priors(state)
    held = stiff[free]
    x = joint.pack(state)

    def weigh(r: Array) -> tuple[Array, float]:
        if huber is None:
            return np.ones_like(r), float(r @ r)
        a = np.abs(r)
        w = np.minimum(1.0, huber / np.maximum(a, 1e-300))
        return w, float(np.sum(np.where(a <= huber, r * r, 2 * huber * a - huber * huber)))

    def total(r: Array, at: Array) -> tuple[Array, float]:
        w, cost = weigh(r)
        pull = (at - centre)[free] * held
        return w, cost + float(pull @ pull)

    r, J = joint.residuals(state)
    w, cost = total(r, x)
    damping = 1e-4
    for _ in range(rounds):
        A = J[:, free]
        N = (A * w[:, None]).T @ A + np.diag(held**2)
        g = A.T @ (w * r) + held**2 * (x - centre)[free]
        done = False
        for _ in range(12):
            scale = np.diag(N)
            step = np.linalg.lstsq(N + np.diag(damping * scale + 1e-12), -g, rcond=None)[0]
            trial = x.copy()
            trial[free] += step
            candidate = joint.unpack(trial, state)
            with np.errstate(all="ignore"):
                r2, J2 = joint.residuals(candidate)
            ok = bool(np.all(np.isfinite(r2)))
            w2, cost2 = total(r2, trial) if ok else (w, math.inf)
            if cost2 <= cost:
                # a small gain under heavy damping says nothing: go on with longer steps
                done = cost - cost2 < tolerance * max(cost, 1e-12) and damping < 1e-6
                x, state, r, J, w, cost = trial, candidate, r2, J2, w2, cost2
                damping = max(damping * 0.2, 1e-12)
                break
            damping *= 6
        else:
            done = True
        if done:
            break
    A = J[:, free]
    N = (A * w[:, None]).T @ A + np.diag(held**2)
    covariance = np.zeros((joint.count, joint.count))
    covariance[np.ix_(free, free)] = np.linalg.pinv(N, hermitian=True)
    return _Fit(state, r, covariance, cost)


@dataclass(frozen=True, eq=False)
class TablePlane:
    """A camera's view of the table, from cards at unknown places.

    ``poses``: card id -> (x, y, turn) of the card's frame in the table frame, the first card's
    frame; ``rms_px``: what the fit left over, per coordinate; ``residuals_px``: card id -> (N, 2);
    ``covariance`` of camera and poses, in the solver's own units.
    """

    camera: CameraModel
    poses: Mapping[int, tuple[float, float, float]]
    rms_px: float
    residuals_px: Mapping[int, Array]

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) camera px to (N, 2) table, in the unit of the cards' corners."""
        return self.camera.to_table(points_px)

    def to_px(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table to (N, 2) camera px."""
        return self.camera.to_px(points_mm)


def fit_plane(
    cards: Mapping[int, tuple[ArrayLike, ArrayLike]],
    image_size: tuple[int, int],
    sigma_px: float = 0.05,
) -> TablePlane:
    """The camera's view of the table from cards that lie flat at unknown places.

    Args:
        cards: id -> (corners_mm (N, 2) in the card's frame, corners_px (N, 2)); N at least 4 and
            not on one line; any unit does for mm.
        image_size: (width, height) px.
        sigma_px: noise of a corner coordinate; weighs the lens's weak prior against the corners.

    Raises:
        Refusal: ``no-cards``, ``few-corners``.
    """
    views = {
        int(i): CardView(
            np.asarray(mm, dtype=np.float64).reshape(-1, 2),
            np.asarray(px, dtype=np.float64).reshape(-1, 2),
            np.full(len(np.asarray(px).reshape(-1, 2)), float(sigma_px)),
        )
        for i, (mm, px) in cards.items()
    }
    photo = PhotoView((int(image_size[0]), int(image_size[1])), views)
    fit, _ = _fit_plane(photo)
    residuals = {}
    at = 0
    for i in sorted(views):
        n = len(views[i].corners_px)
        residuals[i] = (fit.residuals[at : at + 2 * n] * sigma_px).reshape(n, 2)
        at += 2 * n
    poses = {i: (float(p[0]), float(p[1]), float(p[2])) for i, p in fit.state.poses.items()}
    rms = float(np.sqrt(np.mean(fit.residuals**2))) * sigma_px
    return TablePlane(fit.state.cameras[0], poses, rms, residuals)


def _fit_plane(photo: PhotoView) -> tuple[_Fit, float]:
    """Camera and poses from one photo's cards; also the unit that the fit counted in."""
    if not photo.cards:
        raise Refusal("no-cards", "no card is seen.", "Lay the printed cards into the light.")
    homographies = {}
    for i, view in sorted(photo.cards.items()):
        spread = np.linalg.svd(view.corners_mm - view.corners_mm.mean(axis=0), compute_uv=False)
        if len(view.corners_mm) < 4 or spread[-1] < 1e-3 * spread[0]:
            raise Refusal(
                "few-corners",
                f"of card {i} only {len(view.corners_mm)} corners are seen.",
                "Nothing may lie on a card, and no shadow or glare.",
            )
        homographies[i] = homography(view.corners_mm, view.corners_px)
    best: _Fit | None = None
    unit = TABLE_UNIT_MM
    for first in homographies:
        start, unit_here = _start_from(photo, homographies, first)
        if start is None:
            continue
        joint = _Joint([photo], start, unit_here)
        fit = _minimise(joint, start, "plane", rounds=25, tolerance=1e-4)
        if best is None or fit.cost < best.cost:
            best, unit = fit, unit_here
    if best is None:
        raise Refusal(
            "solve-failed",
            "no view of a flat table agrees with the cards seen.",
            "Photograph again, from above, with all cards flat.",
        )
    state = best.state
    joint = _Joint([photo], state, unit)
    for stage in ("k1", "all"):
        best = _minimise(joint, state, stage)
        state = best.state
    return best, unit


def _start_from(
    photo: PhotoView, homographies: Mapping[int, Array], first: int
) -> tuple[_State | None, float]:
    """Camera and poses if the view of one card held for the whole table.

    The frame is that of the lowest card id, shifted so that the camera's vector is well scaled.
    """
    w, h = photo.size
    s = 0.5 * math.hypot(w, h)
    to_unit = np.array([[1 / s, 0, -(w - 1) / 2 / s], [0, 1 / s, -(h - 1) / 2 / s], [0, 0, 1]])
    inverse = np.linalg.inv(homographies[first])
    laid, poses = {}, {}
    for i, view in photo.cards.items():
        q = np.column_stack([view.corners_px, np.ones(len(view.corners_px))]) @ inverse.T
        if np.any(q[:, 2] * np.sign(q[:, 2].mean()) <= 1e-9):
            return None, 1.0
        laid[i] = q[:, :2] / q[:, 2:]
        poses[i] = rigid(view.corners_mm, laid[i])
    base = poses[min(poses)]
    everything = np.concatenate(list(laid.values()))
    unit = max(float(np.ptp(everything, axis=0).max()) / 2, 1e-9)
    # into the frame of the lowest id
    back = {i: (np.array(p) - np.array(base)) for i, p in poses.items()}
    c, sn = math.cos(base[2]), math.sin(base[2])
    turned = {
        i: np.array([c * d[0] + sn * d[1], -sn * d[0] + c * d[1], d[2]]) for i, d in back.items()
    }
    first_from_frame = np.array([[c, -sn, base[0]], [sn, c, base[1]], [0, 0, 1]])
    G = to_unit @ homographies[first] @ first_from_frame @ np.diag([unit, unit, 1.0])
    if abs(G[2, 2]) < 1e-9:
        return None, 1.0
    vector = np.concatenate([(G / G[2, 2]).reshape(9)[:8], np.zeros(7)])
    return _State([CameraModel(photo.size, vector, unit)], turned), unit


# -- photos to a calibration -----------------------------------------------------------------

PRINT_DOUBT = 0.002  # one sigma of a printer's scale (common practice, no source)
RULER_DOUBT_MM = 0.12  # one sigma of reading a printed bar with a ruler
_REFUSE_ERROR_MM = 1.0
_LEAST_PATTERN = 30  # corners; the projector has 17 unknowns, and what is left over must tell
_LEAST_SPREAD = 0.15  # share of the beam that the cards' hull must cover
_SIGMA_FLOOR_PX = 0.004
_NEXT_TERM = 0.2  # of a radial series, the next term over the last: as the priors fall
_ODD_LEVEL = 1.7  # from here on the cards contradict each other
_REFUSE_LEVEL = 8.0
_SURE_GAIN = 2.0  # six sigma for a card of 33 corners
_SURE_DROP = 30.0  # of chi square for the one unknown of a stretched print
_SURE_LIFT = 40.0  # of chi square for the heights of four cards
_LIFT_TOLD_MM = 0.2  # a lower card counts as lying on the table
_LIFT_SEEN_MM = 0.3  # surer than this, the photos themselves tell where the table is
_BARS_MISREAD = 0.005  # a steel rule read to half a millimetre on both bars leaves 0.3 %
_RULER_STRETCH = 0.002  # between two bars read to a fifth of a millimetre or so
_TOLD_STRETCH = 5e-4  # smaller ones are put right without a word
_BESIDE_MM = 0.4  # cards of one photo beside those of the others, in the median: no noise does that
_MOVED_MM = 1.0  # a place that differs by more between two photos that are fitted alone
_STRAYED_MM = 4.0  # a raised card seems to move between photos too, but hardly so far
_MAY_BE_MOVED = ("not-flat", "bad-fit", "too-uncertain", "solve-failed")
_NAMED_SHIFT_MM = 0.12  # a card whose absence changes less than this is not worth a word


@dataclass(frozen=True, eq=False)
class Solution:
    """A calibration and what lies behind it, for reports and for `calibrate.drift`.

    ``cameras`` one a photo, in the table frame, in the ``order`` of the photos given (one that shows
    the same as another is not among them); ``card_mm`` card id -> rms of its corners' misses
    on the table, mm; ``named`` cards that do not lie flat, left out of the fit; ``raised`` card id ->
    mm above the table, which the fit reckoned with; ``notes`` for the person, the weightiest first.
    """

    calibration: Calibration
    cameras: tuple[CameraModel, ...]
    photos: tuple[PhotoView, ...]
    card_mm: Mapping[int, float]
    named: tuple[int, ...]
    notes: tuple[str, ...]
    order: tuple[int, ...] = (0,)
    scale: tuple[float, float] = (1.0, 1.0)
    raised: Mapping[int, float] = field(default_factory=dict)


def solve_photos(
    detections: Sequence[Detections],
    *,
    bars_mm: tuple[float, float] | None = None,
    display: str = "",
    method: str = "photo",
    date: str | None = None,
    pattern: Pattern | None = None,
) -> Calibration:
    """The calibration that one or several photos give; see `solve` for all of it."""
    return solve(
        detections, bars_mm=bars_mm, display=display, method=method, date=date, pattern=pattern
    ).calibration


def solve(
    detections: Sequence[Detections],
    *,
    bars_mm: tuple[float, float] | None = None,
    display: str = "",
    method: str = "photo",
    date: str | None = None,
    pattern: Pattern | None = None,
) -> Solution:
    """Joint fit of all photos: cameras, cards, projector.

    Args:
        detections: from `calibrate.detect.detect`, all of one pattern size; the cards must not
            have been moved between the photos.
        bars_mm: what her ruler read on the printed bars along x and y; None when not read.
        pattern: the pattern that was shown, when it was given to `detect` as well.

    Raises:
        InputError: bars that no printer makes.
        Refusal: ``no-cards``, ``few-cards``, ``cards-together``, ``no-pattern``, ``few-pattern``,
            ``not-flat``, ``bars-contradicted``, ``bad-fit``, ``too-uncertain``, ``solve-failed``,
            ``photos-disagree``.
    """
    if not detections:
        raise InputError("no photo was given.")
    size = detections[0].pattern_size
    scale = bar_scale(bars_mm)
    board = (pattern or bare(size)).board()
    ids = sorted({i for d in detections for i in d.cards})
    if len(ids) <= 2:
        raise _few_cards(ids, detections)
    once, told_once = _counted_once(detections)
    photos = [_view(detections[k], board.corners, scale) for k in once]
    seen = max(len(p.pattern_px) for p in photos)
    if seen < _LEAST_PATTERN:
        raise Refusal(
            "few-pattern",
            f"of the projected pattern only {seen} corner{'' if seen == 1 else 's'} can be measured.",
            "Make it brighter on the table: lay a white sheet under the light, turn lamps off, "
            "let the phone expose longer.",
            data={"corners": seen},
        )
    order = sorted(range(len(photos)), key=lambda k: (-len(photos[k].cards), k))
    photos = [photos[k] for k in order]
    order = [once[k] for k in order]
    if len(photos[0].cards) < 3:
        raise Refusal(
            "few-cards",
            "no single photo shows more than two cards.",
            "Take at least one photo that shows the whole lit table with all four cards.",
        )
    names = [detections[k].name for k in order]
    try:
        solution = _joined(photos, size, bars_mm, scale, display, method, date)
    except Refusal as refusal:
        if len(photos) > 1 and refusal.code in _MAY_BE_MOVED:
            for k in range(1, len(photos)):
                why = _moved_between(photos[0], photos[k], size)
                if why:
                    raise _disagree(names[0], names[k], why) from refusal
        raise
    for i in solution.named:
        gone = _strayed_mm(i, photos, solution.cameras)
        if gone > _STRAYED_MM:
            told = f"Card {i} was moved by {gone:.0f} mm between the photos and was left out."
            notes = [told if n.startswith(f"Card {i} ") else n for n in solution.notes]
            solution = replace(solution, notes=tuple(notes))
    odd = _odd_photo(solution)
    if odd is not None:
        other = 0 if odd else 1
        why = _moved_between(photos[other], photos[odd], size)
        raise _disagree(names[other], names[odd], why or "What they show cannot both be so.")
    return replace(solution, order=tuple(order), notes=(*solution.notes, *told_once))


def _counted_once(detections: Sequence[Detections]) -> tuple[list[int], list[str]]:
    """The photos that each show something of their own, and what to say of the others.

    A copy brings its noise and its faults again; counted as a photo of its own it would make the
    told error too small.
    """
    once: list[int] = []
    notes = []
    for k, two in enumerate(detections):
        first = next((j for j in once if same_view(detections[j], two)), None)
        if first is None:
            once.append(k)
            continue
        name = detections[first].name
        what = f"{two.name} shows the same as {name}, from the very same place"
        if two.name == name:
            what = f"{name} was given twice"
        notes.append(f"{what}: counted once. A photo from another side would make it truer.")
    return once, list(dict.fromkeys(notes))


def _joined(
    photos: list[PhotoView],
    size: tuple[int, int],
    bars_mm: tuple[float, float] | None,
    scale: tuple[float, float],
    display: str,
    method: str,
    date: str | None,
) -> Solution:
    """The joint fit of photos that are taken to show one table, the richest first."""
    state = _staged(photos, size)
    verdict = _judge(photos, state, bars_mm is not None)
    notes = list(verdict.notes)
    if verdict.stretch:  # the print is put right first, then the cards are looked at again
        photos = [_print_mended(p, verdict.stretch) for p in photos]
        verdict = _judge(photos, verdict.state, bars_mm is not None)
        photos = [_print_mended(p, verdict.stretch) for p in photos]
        notes += verdict.notes
    state, named = verdict.state, verdict.named
    photos = [_without(p, named) for p in photos]
    fit, joint, photos, held_out = _polish(photos, state)
    if np.any(verdict.spread):
        at = joint.projector_at
        fit.covariance[at : at + COUNT, at : at + COUNT] += verdict.spread
    solution = _conclude(
        fit, joint, photos, named, notes, held_out, bars_mm, scale, display, method, date
    )
    return replace(solution, raised=verdict.raised)


def _odd_photo(solution: Solution) -> int | None:
    """The photo whose cards lie beside where the others have them, if one does.

    Robust weights let a photo that contradicts the first be overruled; it must not be in silence.
    """
    if len(solution.photos) < 2:
        return None
    state = {c.card: np.array([*c.at_mm, c.turn]) for c in solution.calibration.cards}
    beside = []
    for camera, photo in zip(solution.cameras, solution.photos, strict=True):
        gone = []
        for i, v in photo.cards.items():
            if i in state:
                miss = camera.to_table(v.corners_px) - place(v.corners_mm, state[i])
                gone.append(float(np.hypot(*miss.mean(axis=0))) / (1 + solution.raised.get(i, 0.0)))
        beside.append(float(np.median(gone)) if gone else 0.0)
    worst = int(np.argmax(beside))
    return worst if beside[worst] > _BESIDE_MM else None


def _strayed_mm(i: int, photos: Sequence[PhotoView], cameras: Sequence[CameraModel]) -> float:
    """How far apart the photos have one card's middle on the table, mm."""
    spots = [
        camera.to_table(photo.cards[i].corners_px).mean(axis=0)
        for photo, camera in zip(photos, cameras, strict=True)
        if i in photo.cards
    ]
    return max((math.dist(a, b) for a in spots for b in spots), default=0.0)


def _moved_between(one: PhotoView, two: PhotoView, size: tuple[int, int]) -> str:
    """What was moved between two photos that each make sense alone; "" when that is not told."""
    tables = []
    for photo in (one, two):
        if len(photo.cards) < 3:
            return ""
        try:
            state = _staged([photo], size)
        except Refusal:
            return ""
        at = {
            i: rigid(v.corners_mm, state.cameras[0].to_table(v.corners_px))
            for i, v in photo.cards.items()
        }
        tables.append((state, at))
    (a, here), (b, there) = tables
    ids = sorted(set(here) & set(there))
    if len(ids) < 2 or a.projector is None or b.projector is None:
        return "They show other cards."
    apart = {
        (i, j): abs(math.dist(here[i][:2], here[j][:2]) - math.dist(there[i][:2], there[j][:2]))
        for i in ids
        for j in ids
        if i < j
    }
    loose = {i: [gap for pair, gap in apart.items() if i in pair] for i in ids}
    gone = [i for i in ids if min(loose[i]) > _MOVED_MM]
    if gone:
        far = max(min(loose[i]) for i in gone)
        which = "The cards lie" if len(gone) > 2 else f"{_named(gone)}"
        return f"{which} about {far:.0f} mm elsewhere in the second."
    if max(apart.values()) > _MOVED_MM:
        return "Not all cards lie where they lay."
    w, h = size
    px = np.array([[x, y] for x in (0.0, w / 2, w - 1.0) for y in (0.0, h / 2, h - 1.0)])
    spots = np.array([here[i][:2] for i in ids]), np.array([there[i][:2] for i in ids])
    moved = place(b.projector.to_table(px), rigid(spots[1], spots[0])) - a.projector.to_table(px)
    far = float(np.median(np.hypot(*moved.T)))
    if far < _MOVED_MM:
        return ""
    return (
        f"The light lies about {far:.0f} mm elsewhere among the cards: the projector was touched, "
        "or all cards were moved together."
    )


def _disagree(one: str, two: str, why: str) -> Refusal:
    return Refusal(
        "photos-disagree",
        f"{one} and {two} do not show one and the same table. {why}",
        "Take all photos without touching cards or projector in between, or give one photo alone.",
        data={"photos": [one, two]},
    )


def bar_scale(bars_mm: tuple[float, float] | None) -> tuple[float, float]:
    """What a printed millimetre measures along x and y, from what her ruler read on the bars.

    Raises:
        InputError: readings more than 4 % from what was drawn.
    """
    if bars_mm is None:
        return (1.0, 1.0)
    faults = []
    for read, drawn, axis in zip(bars_mm, BARS_MM, ("wide", "tall"), strict=True):
        if not math.isfinite(read) or abs(read / drawn - 1) > 0.04:
            faults.append(
                Fault(
                    "--bars",
                    f"{read:g} mm for the bar that was drawn {drawn:g} mm {axis}.",
                    "Measure both bars end to end in mm, the one along the page's width first; "
                    "if it is right, print again at 100 %.",
                )
            )
    if faults:
        raise InputError(faults)
    return (bars_mm[0] / BARS_MM[0], bars_mm[1] / BARS_MM[1])


def _few_cards(ids: Sequence[int], detections: Sequence[Detections]) -> Refusal:
    if not ids:
        return Refusal("no-cards", "no card is seen.", "Lay the four printed cards into the light.")
    count = "only one card" if len(ids) == 1 else "only two cards"
    soft = [n for d in detections if is_soft(d) for n in d.notes]
    lay = "Lay all four, one near each corner of the light, and nothing over them."
    return Refusal(
        "few-cards",
        f"{count} can be read ({', '.join(f'card {i}' for i in ids)}).",
        f"{f'{soft[0]} ' if soft else ''}{lay} One or two cards leave errors of several "
        "millimetres at the far side.",
        data={"cards": list(ids)},
    )


def _view(d: Detections, pattern_corners: Array, scale: tuple[float, float]) -> PhotoView:
    views = {}
    for i, c in d.cards.items():
        corners = card(i).board(scale).corners[c.index]
        views[i] = _own_strays_dropped(
            CardView(corners, c.px, np.maximum(c.sigma, _SIGMA_FLOOR_PX))
        )
    if d.pattern is None or len(d.pattern) == 0:
        raise Refusal(
            "no-pattern",
            "the projected pattern is not seen.",
            "Show the pattern full screen while you take the photo.",
            where=d.name,
        )
    return PhotoView(
        d.size,
        views,
        pattern_corners[d.pattern.index],
        d.pattern.px,
        np.maximum(d.pattern.sigma, _SIGMA_FLOOR_PX),
    )


def _own_strays_dropped(view: CardView) -> CardView:
    """Without the few corners that do not lie with the others of their card: a hair, a thread."""
    matrix = homography(view.corners_mm, view.corners_px)
    q = view.corners_mm @ matrix[:, :2].T + matrix[:, 2]
    miss = np.hypot(*(q[:, :2] / q[:, 2:] - view.corners_px).T) / view.sigma_px
    keep = miss < 6 * max(float(np.median(miss)), 0.3)
    if keep.sum() < 8:
        return view
    return CardView(view.corners_mm[keep], view.corners_px[keep], view.sigma_px[keep])


def _without(photo: PhotoView, cards_out: Sequence[int]) -> PhotoView:
    if not set(cards_out) & set(photo.cards):
        return photo
    kept = {i: v for i, v in photo.cards.items() if i not in cards_out}
    return replace(photo, cards=kept)


def _card_rms(fit: _Fit, photo: PhotoView) -> dict[int, float]:
    """Card id -> rms of its residuals over sigma, from a fit of this photo first."""
    out, at = {}, 0
    for i in sorted(photo.cards):
        n = 2 * len(photo.cards[i].corners_px)
        out[i] = float(np.sqrt(np.mean(fit.residuals[at : at + n] ** 2)))
        at += n
    return out


def _staged(photos: Sequence[PhotoView], size: tuple[int, int]) -> _State:
    """First photo's plane, then the projector, then the other photos' cameras."""
    first = photos[0]
    base = _fit_plane(first)[0].state
    camera = _in_half_metres(base.cameras[0])
    state = _State([camera], dict(base.poses), _first_projector(camera, first, size))
    joint = _Joint([first], state, TABLE_UNIT_MM)
    # Without robust weights: at the start nearly all is far off, and what weighs all of it alike
    # little by little ends in false minima.
    # A lens with hardly any k1 shows its centre by the further terms only, and there are two valleys:
    # the centre first, or at the middle of the picture until all is free.
    ends = [
        _minimise(joint, _minimise(joint, state, way, huber=None).state, "all", huber=None)
        for way in ("centre", "axis")
    ]
    state = min(ends, key=lambda fit: fit.cost).state
    for photo in photos[1:]:
        extra = _first_camera(photo, state)
        poses = dict(state.poses)
        for i in sorted(set(photo.cards) - set(poses)):
            view = photo.cards[i]
            poses[i] = np.array(rigid(view.corners_mm, extra.to_table(view.corners_px)))
        state = _State([*state.cameras, extra], poses, state.projector)
    return state


def _print_mended(photo: PhotoView, stretch: float) -> PhotoView:
    """The photo with its cards' corners as the stretched print has them."""
    if stretch == 0:
        return photo
    cards = {
        i: replace(v, corners_mm=_stretched(v.corners_mm, stretch)) for i, v in photo.cards.items()
    }
    return replace(photo, cards=cards)


@dataclass(frozen=True, eq=False)
class _Verdict:
    """Do the cards agree with one flat table? If not: which card, or the print, is to blame."""

    state: _State
    named: tuple[int, ...] = ()
    stretch: float = 0.0
    notes: tuple[str, ...] = ()
    spread: Array = field(default_factory=lambda: np.zeros((COUNT, COUNT)))
    raised: Mapping[int, float] = field(default_factory=dict)


def _cards_level(fit: _Fit, photos: Sequence[PhotoView]) -> float:
    """Rms of all card residuals over sigma."""
    total, count, at = 0.0, 0, 0
    for photo in photos:
        n = 2 * sum(len(v.corners_px) for v in photo.cards.values())
        total += float(np.sum(fit.residuals[at : at + n] ** 2))
        count += n
        at += n + 2 * len(photo.pattern_px)
    return math.sqrt(total / max(count, 1))


def _shift_mm(a: ProjectorModel, b: ProjectorModel) -> float:
    """Largest distance between two projectors' tables over the beam, after the best rigid move."""
    w, h = a.size
    x, y = np.meshgrid(np.linspace(0, w - 1, 9), np.linspace(0, h - 1, 7))
    px = np.column_stack([x.ravel(), y.ravel()])
    ta, tb = a.to_table(px), b.to_table(px)
    return float(np.hypot(*(place(ta, rigid(ta, tb)) - tb).T).max())


def _judge(photos: Sequence[PhotoView], state: _State, bars_read: bool) -> _Verdict:
    """Name the card that is bent or raised, or a print that is stretched one way.

    Without robust weights a bad card shows in the cost: leaving the right one out (or freeing the
    print's stretch) brings the residuals down to the corners' noise, leaving another out does not.
    """

    def tried(these: Sequence[PhotoView], start: _State) -> tuple[_Fit, float]:
        joint = _Joint(these, start, TABLE_UNIT_MM)
        fit = _minimise(joint, start, "all", huber=None, tolerance=1e-6)
        return fit, _cards_level(fit, these)

    whole, level = tried(photos, state)
    whole_size = (0, 0) if state.projector is None else state.projector.size
    total = sum(2 * len(v.corners_px) for p in photos for v in p.cards.values())
    ids = sorted(state.poses)
    without: dict[int, tuple[_Fit, float]] = {}
    gains: list[tuple[float, int]] = []
    for i in ids if len(ids) >= 4 else []:
        poses = {k: v for k, v in whole.state.poses.items() if k != i}
        rest = [_without(p, [i]) for p in photos]
        if not all(p.cards for p in rest):
            continue
        without[i] = tried(rest, replace(whole.state, poses=poses))
        if level > 1.2 and len(rest[0].cards) >= 3:
            # a bad card can have drawn the lens into a false minimum: once more from the start
            fresh = tried(rest, _staged(rest, whole_size))
            without[i] = min(without[i], fresh, key=lambda fit: fit[1])
        # what this card adds to the cost, per coordinate of its own: 1 if it is like the others
        own = sum(2 * len(p.cards[i].corners_px) for p in photos if i in p.cards)
        kept = max(without[i][1] ** 2, 1e-12)
        gains.append(((total * level**2 - (total - own) * kept) / (own * kept), i))
    gains.sort(reverse=True)
    best = without[gains[0][1]][1] if gains else math.inf
    freed, free = tried(photos, replace(whole.state, stretch=0.0))
    stretch = freed.state.stretch or 0.0
    drop = total * (level**2 - free**2) / max(free**2, 1e-12)
    fits = free < 1.25 * best or free < 0.75 * level
    apart = 0.0
    if len(gains) >= 2:  # chi square between the likeliest card and the next
        second = min(without[i][1] for _, i in gains[1:])
        apart = total * (1 - 1 / len(ids)) * (second**2 - best**2) / max(best**2, 1e-12)
    stretched = drop > _SURE_DROP and fits and abs(stretch) > 2e-4
    alone = bool(gains) and gains[0][0] > _SURE_GAIN and apart > 25
    left = without[gains[0][1]][0].state if alone else None
    shift = 0.0
    if left and left.projector is not None and whole.state.projector is not None:
        shift = _shift_mm(whole.state.projector, left.projector)
    other = free if stretched else best if alone and shift > _NAMED_SHIFT_MM else math.inf
    lifted = _lifted(photos, whole.state, level, other)
    if lifted is not None:
        return lifted
    if stretched:
        if bars_read and abs(stretch) > _BARS_MISREAD:
            raise Refusal(
                "bars-contradicted",
                f"the two bars cannot both be right: {_stretch_note(stretch, True)}",
                "One of the readings is off, and with it every length on the table.",
                data={"stretch": stretch},
            )
        told = _RULER_STRETCH if bars_read else _TOLD_STRETCH
        notes = (_stretch_note(stretch, bars_read),) if abs(stretch) > told else ()
        return _Verdict(replace(freed.state, stretch=None), (), stretch, notes)
    if alone:
        if left is None or shift <= _NAMED_SHIFT_MM:
            return _Verdict(state)
        i = gains[0][1]
        note = (
            f"Card {i} does not lie flat like the others (raised, bent, or over something): it "
            f"would have cost up to {shift:.2f} mm and was left out. Press it flat and repeat."
        )
        return _Verdict(left, (i,), 0.0, (note,))
    if level > _ODD_LEVEL:
        return _at_odds(photos, whole, level, {i: f.state for i, (f, _) in without.items()})
    return _Verdict(state)


def _lifted(
    photos: Sequence[PhotoView], state: _State, level: float, otherwise: float
) -> _Verdict | None:
    """The verdict that some cards lie higher than others, when nothing else explains as much.

    Seen from one place, a raised card is shifted and enlarged but not tilted as its neighbours
    would have it; from several places, it is shifted each time another way. One photo tells the
    cards' heights from one another, not from the table: there the lowest are taken to lie on it.

    Args:
        level: rms of the cards' residuals with all flat; otherwise: with the best other reason.
    """

    def asked(state: _State, tolerance: float = 1e-6) -> tuple[_Fit, _Joint, float]:
        joint = _Joint(photos, state, TABLE_UNIT_MM)
        fit = _minimise(joint, state, "all", huber=None, tolerance=tolerance)
        return fit, joint, _cards_level(fit, photos)

    total = sum(2 * len(v.corners_px) for p in photos for v in p.cards.values())
    eyes = [_eye(c) for c in state.cameras]
    level_ones = dict.fromkeys(state.poses, 0.0)
    fit, joint, left = asked(replace(state, heights=level_ones, eyes=eyes), 1e-4)
    drop = total * (level**2 - left**2) / max(left**2, 1e-12)
    if drop < _SURE_LIFT:
        return None
    for _ in range(3):  # the cameras' places were read off a table that was thought tilted
        heights = dict(fit.state.heights or {})
        doubt = np.sqrt(np.diag(fit.covariance)[joint.heights_at : joint.eyes_at]).max()
        held = fit.state.held
        if len(photos) == 1 or doubt > _LIFT_SEEN_MM:
            low = min(heights.values())
            heights = {i: h - low for i, h in heights.items()}
            held = {i: 0.1 if h < 0.3 else 3.0 for i, h in heights.items()}
        eyes = [_eye(c) for c in fit.state.cameras]
        fit, joint, left = asked(replace(fit.state, heights=heights, eyes=eyes, held=held))
    if left > 0.85 * otherwise or left > _ODD_LEVEL:
        return None
    heights = dict(fit.state.heights or {})
    raised = {i: h for i, h in sorted(heights.items()) if h > _LIFT_TOLD_MM}
    if not raised or state.projector is None or fit.state.projector is None:
        return None
    shift = _shift_mm(state.projector, fit.state.projector)
    mean = float(np.mean(list(raised.values())))
    which = "All cards lie" if len(raised) == len(heights) else f"{_named(list(raised))}"
    note = (
        f"{which} about {mean:.1f} mm above the table (bent, or over something). That was "
        f"reckoned with, else it would have cost up to {shift:.1f} mm; press all cards flat and "
        "repeat to be surer."
    )
    return _Verdict(fit.state, (), 0.0, (note,), raised=raised)


def _floor_mm(model: ProjectorModel, covariance: Array) -> float:
    """What the lens term that the model has not may leave over the beam, mm, rms.

    The next term of the radial series, r⁸, as large as such series fall, less what the model's
    own parameters take up of it (least squares over the beam).
    """
    grid = model.grid_mm()
    _, dX, _ = model.jacobians(grid)
    p = (model.to_projector(grid) - model.centre_px) / model.unit_px
    size = _NEXT_TERM * math.hypot(model.k3, math.sqrt(max(covariance[14, 14], 0.0)))
    field_px = p * np.sum(p * p, axis=1)[:, None] ** 4 * (size * model.unit_px)
    shift = np.linalg.solve(dX, field_px[:, :, None]).ravel()
    own = model.table_jacobian(grid).reshape(-1, COUNT)
    left = shift - own @ np.linalg.lstsq(own, shift, rcond=None)[0]
    return float(np.sqrt(2 * np.mean(left**2)))


def _named(ids: Sequence[int]) -> str:
    if len(ids) == 1:
        return f"Card {ids[0]} lies"
    return f"Cards {', '.join(str(i) for i in ids[:-1])} and {ids[-1]} lie"


def _lift_mm(fit: _Fit, photos: Sequence[PhotoView]) -> float:
    """How far the light may be off, mm, were cards a millimetre above the table and it not seen.

    All cards, or those on one side of the light: the change of the fit (linear theory), worst
    place of the beam, times the share of the millimetre that would not have shown.
    """
    state = fit.state
    if state.projector is None:
        return 0.0
    flat = dict.fromkeys(state.poses, 0.0)
    asked = replace(state, heights=flat, eyes=[_eye(c) for c in state.cameras])
    joint = _Joint(photos, asked, TABLE_UNIT_MM)
    r, J = joint.residuals(asked)
    _, stiff = joint.priors(asked)
    free = joint.free("all")
    free[joint.heights_at :] = False
    w = np.minimum(1.0, 3.0 / np.maximum(np.abs(r), 1e-300))[:, None]
    A = J[:, free]
    inverse = np.linalg.pinv((A * w).T @ A + np.diag(stiff[free] ** 2), hermitian=True)
    spots = np.array([state.poses[i][:2] for i in joint.ids])
    px = state.projector.to_projector(spots) - state.projector.middle_px
    sides = [
        np.ones(len(px)),
        *(np.where(s * px[:, k] > 0, 1.0, 0) for k in (0, 1) for s in (1, -1)),
    ]
    grid = state.projector.grid_mm()
    move = state.projector.table_jacobian(grid)
    worst = 0.0
    for side in sides:
        if not side.any():
            continue
        pull = J[:, joint.heights_at : joint.eyes_at] @ side
        change = np.zeros(joint.count)
        change[free] = -inverse @ (A.T @ (w[:, 0] * pull))
        shown = pull + J @ change
        seen = float(np.sum(w[:, 0] * shown**2))
        there = grid + move @ change[joint.projector_at : joint.projector_at + COUNT]
        off = np.hypot(*(place(there, rigid(there, grid)) - grid).T).max()
        worst = max(worst, float(off) * min(1.0, math.sqrt(_SURE_LIFT / max(seen, 1e-9))))
    return worst


def _at_odds(
    photos: Sequence[PhotoView], whole: _Fit, level: float, without: Mapping[int, _State]
) -> _Verdict:
    """Cards that contradict each other and none alone is to blame: refuse, or say how much.

    The doubt is the spread of the answers when each card in turn is left out (Tukey's jackknife).

    Raises:
        Refusal: ``not-flat``.
    """
    miss: dict[int, list[Array]] = {}
    for k, photo in enumerate(photos):
        for i, v in photo.cards.items():
            seen = whole.state.cameras[k].to_table(v.corners_px)
            gap = np.sum((seen - whole.state.laid(k, i, v.corners_mm)) ** 2, axis=1)
            miss.setdefault(i, []).append(gap)
    rms = {i: float(np.sqrt(np.mean(np.concatenate(m)))) for i, m in miss.items()}
    worst = max(rms, key=lambda i: rms[i])
    model = whole.state.projector
    spread = np.zeros((COUNT, COUNT))
    shift = 0.0
    if model is not None:
        for left in without.values():
            if left.projector is None:
                continue
            other = _in_frame_of(left.projector, model)
            d = other.vector() - model.vector()
            spread += np.outer(d, d) * (len(without) - 1) / len(without)
            shift = max(shift, _shift_mm(other, model))
    if (level > _REFUSE_LEVEL and rms[worst] > 0.12) or shift > 2 * _REFUSE_ERROR_MM:
        raise Refusal(
            "not-flat",
            "the cards do not agree with one flat table: card "
            f"{worst} is out by {rms[worst]:.2f} mm within itself.",
            "Press all cards flat, with weights on their white margins if they curl, on one "
            "level surface; and all from one print.",
            data={"level": level, "shift_mm": shift, **{f"card_{i}_mm": v for i, v in rms.items()}},
        )
    note = (
        f"The cards contradict each other by up to {max(shift, 0.01):.2f} mm; card {worst} fits "
        "worst. Press all of them flat and repeat."
    )
    return _Verdict(whole.state, (), 0.0, (note,), spread)


def _in_frame_of(model: ProjectorModel, other: ProjectorModel) -> ProjectorModel:
    """The model, its table moved to lie best on the other's."""
    w, h = model.size
    x, y = np.meshgrid(np.linspace(0, w - 1, 9), np.linspace(0, h - 1, 7))
    px = np.column_stack([x.ravel(), y.ravel()])
    a, b, turn = rigid(model.to_table(px), other.to_table(px))
    c, s = math.cos(turn), math.sin(turn)
    # `rigid` gives turn and shift as `place` applies them
    return model.moved(np.array([[c, -s, a], [s, c, b], [0.0, 0.0, 1.0]]))


def _stretch_note(stretch: float, bars_read: bool) -> str:
    way = "wider" if stretch > 0 else "taller"
    if bars_read:
        return (
            f"The cards say that the print is {abs(stretch) * 100:.2f} % {way} than the bars "
            "given: measure both bars again, the one along the page's width first."
        )
    return (
        f"The print is stretched: {abs(stretch) * 100:.2f} % {way} than it should be, which was "
        "put right; how large it is altogether only the bars can tell. Measure both: --bars."
    )


def _in_half_metres(camera: CameraModel) -> CameraModel:
    """The same camera with its vector counted in half metres."""
    v = camera.vector.copy()
    g = TABLE_UNIT_MM / camera.unit_mm
    v[[0, 1, 3, 4, 6, 7]] *= g
    return CameraModel(camera.size, v, TABLE_UNIT_MM)


def _first_projector(
    camera: CameraModel, photo: PhotoView, size: tuple[int, int]
) -> ProjectorModel:
    table = camera.to_table(photo.seen_px)
    ok = np.isfinite(table).all(axis=1)
    matrix = homography(table[ok], photo.pattern_px[ok])
    middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    return ProjectorModel(size, matrix, middle)


def _first_camera(photo: PhotoView, state: _State) -> CameraModel:
    """A further photo's camera from the projector that is known by now."""
    if state.projector is None:
        raise Refusal("solve-failed", "no projector was found.", "Take the photos again.")
    table = state.projector.to_table(photo.pattern_px)
    w, h = photo.size
    s = 0.5 * math.hypot(w, h)
    G = homography(
        table / TABLE_UNIT_MM, (photo.seen_px - np.array([(w - 1) / 2, (h - 1) / 2])) / s
    )
    start = CameraModel(photo.size, np.concatenate([G.reshape(9)[:8], np.zeros(7)]), TABLE_UNIT_MM)
    lone = PhotoView(photo.size, {0: CardView(table, photo.seen_px, photo.sigma_px)})
    known = _State([start], {0: np.zeros(3)})
    joint = _Joint([lone], known, TABLE_UNIT_MM)
    for stage in ("k1", "all"):
        known = _minimise(joint, known, stage, rounds=20, tolerance=1e-6).state
    return known.cameras[0]


def _polish(
    photos: Sequence[PhotoView], state: _State
) -> tuple[_Fit, _Joint, list[PhotoView], float]:
    """Fit all, set the noise to what is left over, drop strays, fit again; held-out figure too."""
    current = list(photos)
    joint = _Joint(current, state, TABLE_UNIT_MM)
    fit = _minimise(joint, state, "all")
    for _ in range(2):
        current = [_reweighed(p, fit.state, k) for k, p in enumerate(current)]
        joint = _Joint(current, fit.state, TABLE_UNIT_MM)
        fit = _minimise(joint, fit.state, "all")
    shown = [_every(p, 4, False) for p in current]
    hidden = [_every(p, 4, True) for p in current]
    trial = _minimise(_Joint(shown, fit.state, TABLE_UNIT_MM), fit.state, "all", tolerance=1e-6)
    misses = np.concatenate([_misses_mm(p, trial.state, k) for k, p in enumerate(hidden)])
    held_out = float(np.sqrt(np.mean(np.sum(misses**2, axis=1))))
    return fit, joint, current, held_out


def _every(photo: PhotoView, n: int, chosen: bool) -> PhotoView:
    """Every n-th corner of each board, or all the others."""

    def keep(count: int) -> NDArray[np.bool_]:
        return np.asarray((np.arange(count) % n == n - 1) == chosen)

    cards = {}
    for i, v in photo.cards.items():
        k = keep(len(v.corners_mm))
        cards[i] = CardView(v.corners_mm[k], v.corners_px[k], v.sigma_px[k])
    k = keep(len(photo.pattern_px))
    return PhotoView(photo.size, cards, photo.pattern_px[k], photo.seen_px[k], photo.sigma_px[k])


def _misses_mm(photo: PhotoView, state: _State, k: int) -> Array:
    """(N, 2) seen less predicted on the table, mm, cards then pattern."""
    camera = state.cameras[k]
    parts = [
        camera.to_table(v.corners_px) - state.laid(k, i, v.corners_mm)
        for i, v in sorted(photo.cards.items())
    ]
    if state.projector is not None and len(photo.pattern_px):
        parts.append(camera.to_table(photo.seen_px) - state.projector.to_table(photo.pattern_px))
    return np.concatenate(parts)


def _reweighed(photo: PhotoView, state: _State, k: int) -> PhotoView:
    """Noise scaled to what a fit left over, cards and pattern each; strays dropped."""
    camera = state.cameras[k]

    def weigh(px: Array, predicted: Array, sigma: Array) -> tuple[float, NDArray[np.bool_]]:
        z = np.abs(px - predicted) / sigma[:, None]
        factor = max(float(np.median(z)) / 0.6745, 0.05)
        return factor, np.asarray(z.max(axis=1) < 5.5 * factor)

    seen = [
        (i, v, camera.to_px(state.laid(k, i, v.corners_mm))) for i, v in sorted(photo.cards.items())
    ]
    factor, _ = weigh(
        np.concatenate([v.corners_px for _, v, _ in seen]),
        np.concatenate([p for _, _, p in seen]),
        np.concatenate([v.sigma_px for _, v, _ in seen]),
    )
    cards = {}
    for i, v, predicted in seen:
        z = np.abs(v.corners_px - predicted).max(axis=1) / (v.sigma_px * factor)
        keep = z < 5.5
        if keep.sum() < 6:
            keep = np.ones(len(z), dtype=bool)
        cards[i] = CardView(v.corners_mm[keep], v.corners_px[keep], v.sigma_px[keep] * factor)
    pattern_px, seen_px, sigma = photo.pattern_px, photo.seen_px, photo.sigma_px
    if state.projector is not None and len(pattern_px):
        predicted = camera.to_px(state.projector.to_table(pattern_px))
        factor, keep = weigh(seen_px, predicted, sigma)
        # what the projector's own unknowns take up of the noise is noise all the same
        count = 2.0 * len(pattern_px)
        factor *= math.sqrt(count / max(count - COUNT, 1.0))
        pattern_px, seen_px, sigma = pattern_px[keep], seen_px[keep], sigma[keep] * factor
    return PhotoView(photo.size, cards, pattern_px, seen_px, sigma)


def _conclude(
    fit: _Fit,
    joint: _Joint,
    photos: Sequence[PhotoView],
    named: tuple[int, ...],
    notes: list[str],
    held_out: float,
    bars_mm: tuple[float, float] | None,
    scale: tuple[float, float],
    display: str,
    method: str,
    date: str | None,
) -> Solution:
    """Into the table frame, with doubt, checks and notes."""
    state = fit.state
    projector = state.projector
    if projector is None:
        raise Refusal("solve-failed", "no projector was found.", "Take the photo again.")
    unsound = projector.faults()
    if unsound:
        raise Refusal(
            "bad-fit",
            f"the fit ended in something that is no projector over a table: {unsound[0]}",
            "Photograph again, with all four cards flat and near the corners.",
        )
    frame = _table_frame(projector)
    covariance = fit.covariance[joint.projector_at :, joint.projector_at :][:COUNT, :COUNT]
    poses = {i: p for i, p in state.poses.items() if i not in named}
    if bars_mm is None:
        doubt = PRINT_DOUBT
    else:
        doubt = math.hypot(RULER_DOUBT_MM / BARS_MM[0], RULER_DOUBT_MM / BARS_MM[1]) / math.sqrt(2)
    misses = np.concatenate([_misses_mm(p, state, k) for k, p in enumerate(photos)])
    u = np.concatenate([p.pattern_px for p in photos])
    back = np.concatenate([state.cameras[k].to_table(p.seen_px) for k, p in enumerate(photos)])
    rms_px = float(np.sqrt(np.mean((projector.to_projector(back) - u) ** 2)))
    card_mm: dict[int, list[Array]] = {}
    for k, photo in enumerate(photos):
        for i, v in photo.cards.items():
            miss = state.cameras[k].to_table(v.corners_px) - state.laid(k, i, v.corners_mm)
            card_mm.setdefault(i, []).append(np.sum(miss**2, axis=1))
    raw = Calibration(
        projector,
        covariance,
        method,
        date or now(),
        display=display,
        rms_px=rms_px,
        held_out_mm=held_out,
        bars_mm=bars_mm,
        scale_doubt=doubt,
        floor_mm=_floor_mm(projector, covariance),
        cards=tuple(
            CardPlace(i, (float(p[0]), float(p[1])), float(p[2])) for i, p in sorted(poses.items())
        ),
        facts={
            "photos": len(photos),
            "card_corners": sum(len(v.corners_px) for p in photos for v in p.cards.values()),
            "pattern_corners": sum(len(p.pattern_px) for p in photos),
            "misses_mm": float(np.sqrt(np.mean(np.sum(misses**2, axis=1)))),
            "print": set_of(min(poses)),
            "lift_mm": 0.0 if state.heights else _lift_mm(fit, photos),
        },
    ).moved(frame)
    calibration = replace(raw, covariance=without_rigid(raw.model, raw.covariance))
    cameras = tuple(_camera_moved(c, frame) for c in state.cameras)
    _check(calibration, state, photos, projector)
    return Solution(
        calibration,
        cameras,
        tuple(photos),
        {i: float(np.sqrt(np.mean(np.concatenate(v)))) for i, v in sorted(card_mm.items())},
        named,
        tuple(notes),
        scale=scale,
    )


def _table_frame(projector: ProjectorModel) -> Array:
    """(3, 3) new from old: origin under the middle of the picture, x along its rows, y up in it."""
    middle = projector.middle_px
    quarter = np.array([projector.size[0] / 4, 0.0])
    a, b, o = projector.to_table(np.array([middle - quarter, middle + quarter, middle]))
    turn = math.atan2(*(b - a)[::-1])
    c, s = math.cos(turn), math.sin(turn)
    return np.array(
        [[c, s, -(c * o[0] + s * o[1])], [-s, c, -(-s * o[0] + c * o[1])], [0.0, 0.0, 1.0]]
    )


def _camera_moved(camera: CameraModel, new_from_old: Array) -> CameraModel:
    unit = np.diag([camera.unit_mm, camera.unit_mm, 1.0])
    G = np.append(camera.vector[:8], 1.0).reshape(3, 3)
    G = G @ np.linalg.inv(unit) @ np.linalg.inv(new_from_old) @ unit
    return CameraModel(
        camera.size,
        np.concatenate([(G / G[2, 2]).reshape(9)[:8], camera.vector[8:]]),
        camera.unit_mm,
    )


def _check(
    calibration: Calibration,
    state: _State,
    photos: Sequence[PhotoView],
    projector: ProjectorModel,
) -> None:
    """Refuse what cannot be trusted."""
    import cv2

    corners = np.concatenate(
        [
            place(card(i).outline_mm(), state.poses[i])
            for i in sorted({i for p in photos for i in p.cards})
        ]
    )
    px = projector.to_projector(corners)
    px = np.clip(np.nan_to_num(px), -0.5, np.array(projector.size) - 0.5)
    hull = cv2.convexHull(px.astype(np.float32).reshape(-1, 1, 2))
    share = float(cv2.contourArea(hull)) / (projector.size[0] * projector.size[1])
    if share < _LEAST_SPREAD:
        raise Refusal(
            "cards-together",
            f"the cards lie all in one place: they span {100 * share:.0f} % of the light.",
            "Lay one near each corner of the light; what lies between them is measured, what "
            "lies outside is guessed.",
            data={"share": share},
        )
    worst = float(calibration.expected_error_mm(calibration.model.grid_mm()).max())
    if worst > _REFUSE_ERROR_MM:
        raise Refusal(
            "too-uncertain",
            f"somewhere in the light the error may reach {worst:.1f} mm.",
            "Lay all four cards nearer the corners, go nearer with the camera, hold it still.",
            data={"max_mm": worst},
        )
