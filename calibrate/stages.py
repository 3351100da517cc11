"""The stages of the bundle adjustment: one photo's plane, the projector, the other photos, all.

Every stage starts from the one before, so that none begins far from its end.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array, Mask
from calibrate.bundle import Bundle, CardView, Fit, PhotoView, State, minimise
from calibrate.lens import HOMOGRAPHY
from calibrate.model import CAMERA_COUNT, COUNT, TABLE_UNIT_MM, CameraModel, ProjectorModel
from calibrate.plane import homography, matrix_of, place, rigid
from configs.errors import Refusal

_STRAY = 5.5  # a corner further off than so many times the noise is none


@dataclass(frozen=True, eq=False)
class TablePlane:
    """A camera's view of the table, from cards at unknown places.

    ``poses``: card id -> (x, y, turn) of the card's frame in the table frame, the first card's
    frame; ``rms_px``: what the fit left over, per coordinate.
    """

    camera: CameraModel
    poses: Mapping[int, tuple[float, float, float]]
    rms_px: float


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
            np.asarray(mm, dtype=np.float64),
            np.asarray(px, dtype=np.float64),
            np.full(len(np.asarray(px)), sigma_px),
        )
        for i, (mm, px) in cards.items()
    }
    fit = plane_of_photo(PhotoView(image_size, views))
    poses = {i: (float(p[0]), float(p[1]), float(p[2])) for i, p in fit.state.poses.items()}
    rms = float(np.sqrt(np.mean(fit.residuals**2))) * sigma_px
    return TablePlane(fit.state.cameras[0], poses, rms)


def plane_of_photo(photo: PhotoView) -> Fit:
    """Camera and poses from one photo's cards."""
    if not photo.cards:
        raise Refusal("no-cards", "no card is seen.", "Lay the printed cards into the light.")
    homographies = {}
    for i, view in photo.by_id:
        spread = np.linalg.svd(view.corners_mm - view.corners_mm.mean(axis=0), compute_uv=False)
        if len(view.corners_mm) < 4 or spread[-1] < 1e-3 * spread[0]:
            raise Refusal(
                "few-corners",
                f"of card {i} only {len(view.corners_mm)} corners are seen.",
                "Nothing may lie on a card, and no shadow or glare.",
            )
        homographies[i] = homography(view.corners_mm, view.corners_px)
    starts = [_start_from(photo, homographies, first) for first in homographies]
    fits = [
        minimise(Bundle([photo], start, start.cameras[0].unit_mm), start, "plane", tolerance=1e-4)
        for start in starts
        if start is not None
    ]
    if not fits:
        raise Refusal(
            "solve-failed",
            "no view of a flat table agrees with the cards seen.",
            "Photograph again, from above, with all cards flat.",
        )
    best = min(fits, key=lambda fit: fit.cost)
    joint = Bundle([photo], best.state, best.state.cameras[0].unit_mm)
    for stage in ("k1", "all"):
        best = minimise(joint, best.state, stage)
    return best


def _start_from(photo: PhotoView, homographies: Mapping[int, Array], first: int) -> State | None:
    """Camera and poses if the view of one card held for the whole table.

    The frame is that of the lowest card id, shifted so that the camera's vector is well scaled.
    """
    inverse = np.linalg.inv(homographies[first])
    laid, poses = [], {}
    for i, view in photo.cards.items():
        q = np.column_stack([view.corners_px, np.ones(len(view.corners_px))]) @ inverse.T
        if np.any(q[:, 2] * np.sign(q[:, 2].mean()) <= 1e-9):
            return None
        laid.append(q[:, :2] / q[:, 2:])
        poses[i] = np.array(rigid(view.corners_mm, laid[-1]))
    base = poses[min(poses)]
    unit = max(float(np.ptp(np.concatenate(laid), axis=0).max()) / 2, 1e-9)
    # into the frame of the lowest id
    turned = {
        i: np.append(place((p - base)[None, :2], (0, 0, -base[2])), p[2] - base[2])
        for i, p in poses.items()
    }
    view_of_table = homographies[first] @ matrix_of(base) @ np.diag([unit, unit, 1.0])
    if abs(view_of_table[2, 2]) < 1e-9:
        return None
    return State([_camera(photo.size, view_of_table, unit)], turned)


def _camera(size: tuple[int, int], px_from_table: Array, unit_mm: float) -> CameraModel:
    """A camera without a lens that has this view (3, 3) of the table in its unit, px."""
    camera = CameraModel(size, np.zeros(CAMERA_COUNT), unit_mm)
    G = camera.to_unit @ px_from_table
    camera.vector[: len(HOMOGRAPHY)] = (G / G[2, 2]).ravel()[: len(HOMOGRAPHY)]
    return camera


def staged(photos: Sequence[PhotoView], size: tuple[int, int]) -> State:
    """First photo's plane, then the projector, then the other photos' cameras."""
    first = photos[0]
    base = plane_of_photo(first).state
    camera = base.cameras[0].moved(np.eye(3), TABLE_UNIT_MM)
    table = camera.to_table(first.seen_px)
    ok = np.isfinite(table).all(axis=1)
    matrix = homography(table[ok], first.pattern_px[ok])
    projector = ProjectorModel(size, matrix, (np.array(size) - 1) / 2)
    state = State([camera], dict(base.poses), projector)
    joint = Bundle([first], state, TABLE_UNIT_MM)
    # Without robust weights: at the start nearly all is far off, and what weighs all of it alike
    # little by little ends in false minima.
    # A lens with hardly any k1 shows its centre by the further terms only, and there are two valleys:
    # the centre first, or at the middle of the picture until all is free.
    begun = [minimise(joint, state, way, huber=None, tolerance=1e-4) for way in ("centre", "axis")]
    ends = [minimise(joint, b.state, "all", huber=None, tolerance=1e-7) for b in begun]
    state = min(ends, key=lambda fit: fit.cost).state
    for photo in photos[1:]:
        extra = _first_camera(photo, state)
        poses = dict(state.poses)
        for i in sorted(set(photo.cards) - set(poses)):
            view = photo.cards[i]
            poses[i] = np.array(rigid(view.corners_mm, extra.to_table(view.corners_px)))
        state = State([*state.cameras, extra], poses, state.projector)
    return state


def _first_camera(photo: PhotoView, state: State) -> CameraModel:
    """A further photo's camera from the projector that is known by now."""
    if state.projector is None:
        raise Refusal("solve-failed", "no projector was found.", "Take the photos again.")
    table = state.projector.to_table(photo.pattern_px)
    seen = homography(table / TABLE_UNIT_MM, photo.seen_px)
    start = _camera(photo.size, seen, TABLE_UNIT_MM)
    lone = PhotoView(photo.size, {0: CardView(table, photo.seen_px, photo.sigma_px)})
    known = State([start], {0: np.zeros(3)})
    joint = Bundle([lone], known, TABLE_UNIT_MM)
    for stage in ("k1", "all"):
        known = minimise(joint, known, stage, tolerance=1e-6).state
    return known.cameras[0]


def polish(photos: Sequence[PhotoView], state: State) -> tuple[Fit, Bundle, list[PhotoView], float]:
    """Fit all, set the noise to what is left over, drop strays, fit again; held-out figure too."""
    current = list(photos)
    joint = Bundle(current, state, TABLE_UNIT_MM)
    fit = minimise(joint, state, "all")
    for _ in range(2):
        current = [_reweighed(p, fit.state, k) for k, p in enumerate(current)]
        joint = Bundle(current, fit.state, TABLE_UNIT_MM)
        fit = minimise(joint, fit.state, "all")
    shown = [_every(p, 4, False) for p in current]
    hidden = [_every(p, 4, True) for p in current]
    trial = minimise(Bundle(shown, fit.state, TABLE_UNIT_MM), fit.state, "all", tolerance=1e-6)
    misses = np.concatenate([misses_mm(p, trial.state, k) for k, p in enumerate(hidden)])
    held_out = float(np.sqrt(np.mean(np.sum(misses**2, axis=1))))
    return fit, joint, current, held_out


def _every(photo: PhotoView, n: int, chosen: bool) -> PhotoView:
    """Every n-th corner of each board, or all the others."""

    def some(count: int) -> Mask:
        return np.asarray((np.arange(count) % n == n - 1) == chosen)

    cards = {i: v.pick(some(len(v.corners_mm))) for i, v in photo.cards.items()}
    return photo.pick(cards, some(len(photo.pattern_px)))


def misses_mm(photo: PhotoView, state: State, k: int) -> Array:
    """(N, 2) seen less predicted on the table, mm, cards then pattern."""
    camera = state.cameras[k]
    parts = [camera.to_table(v.corners_px) - state.laid(k, i, v.corners_mm) for i, v in photo.by_id]
    if state.projector is not None and len(photo.pattern_px):
        parts.append(camera.to_table(photo.seen_px) - state.projector.to_table(photo.pattern_px))
    return np.concatenate(parts)


def card_rms_mm(photos: Sequence[PhotoView], state: State) -> dict[int, float]:
    """Card id -> rms of what its corners miss on the table, mm, over all photos."""
    squares: dict[int, list[Array]] = {}
    for k, photo in enumerate(photos):
        for i, v in photo.cards.items():
            miss = state.cameras[k].to_table(v.corners_px) - state.laid(k, i, v.corners_mm)
            squares.setdefault(i, []).append(np.sum(miss**2, axis=1))
    return {i: float(np.sqrt(np.mean(np.concatenate(s)))) for i, s in squares.items()}


def _reweighed(photo: PhotoView, state: State, k: int) -> PhotoView:
    """Noise scaled to what a fit left over, cards and pattern each; strays dropped."""
    camera = state.cameras[k]

    def missed(px: Array, places: Array, sigma: Array) -> Array:
        return np.abs(px - camera.to_px(places)) / sigma[:, None]

    def level(misses: Array) -> float:
        return max(float(np.median(misses)) / 0.6745, 0.05)

    off = {
        i: missed(v.corners_px, state.laid(k, i, v.corners_mm), v.sigma_px) for i, v in photo.by_id
    }
    factor = level(np.concatenate(list(off.values())))
    cards = {}
    for i, z in off.items():
        keep = z.max(axis=1) < _STRAY * factor
        cards[i] = photo.cards[i].pick(keep if keep.sum() >= 6 else keep | True, factor)
    if state.projector is None or not len(photo.pattern_px):
        return replace(photo, cards=cards)
    z = missed(photo.seen_px, state.projector.to_table(photo.pattern_px), photo.sigma_px)
    factor = level(z)
    # what the projector's own unknowns take up of the noise is noise all the same
    count = 2.0 * len(photo.pattern_px)
    own = math.sqrt(count / max(count - COUNT, 1.0))
    return photo.pick(cards, z.max(axis=1) < _STRAY * factor, factor * own)
