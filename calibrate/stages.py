"""The stages of the bundle adjustment: one photo's plane, the projector, the other photos, all.

Every stage starts from the one before, so that none begins far from its end.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array, Mask
from calibrate.bundle import Bundle, CardView, Fit, PhotoView, State, minimise
from calibrate.model import COUNT, TABLE_UNIT_MM, CameraModel, ProjectorModel
from calibrate.plane import homography, rigid
from configs.errors import Refusal


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
    fit, _ = plane_of_photo(photo)
    residuals = {}
    at = 0
    for i in sorted(views):
        n = len(views[i].corners_px)
        residuals[i] = (fit.residuals[at : at + 2 * n] * sigma_px).reshape(n, 2)
        at += 2 * n
    poses = {i: (float(p[0]), float(p[1]), float(p[2])) for i, p in fit.state.poses.items()}
    rms = float(np.sqrt(np.mean(fit.residuals**2))) * sigma_px
    return TablePlane(fit.state.cameras[0], poses, rms, residuals)


def plane_of_photo(photo: PhotoView) -> tuple[Fit, float]:
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
    best: Fit | None = None
    unit = TABLE_UNIT_MM
    for first in homographies:
        start, unit_here = _start_from(photo, homographies, first)
        if start is None:
            continue
        joint = Bundle([photo], start, unit_here)
        fit = minimise(joint, start, "plane", tolerance=1e-4)
        if best is None or fit.cost < best.cost:
            best, unit = fit, unit_here
    if best is None:
        raise Refusal(
            "solve-failed",
            "no view of a flat table agrees with the cards seen.",
            "Photograph again, from above, with all cards flat.",
        )
    state = best.state
    joint = Bundle([photo], state, unit)
    for stage in ("k1", "all"):
        best = minimise(joint, state, stage)
        state = best.state
    return best, unit


def _start_from(
    photo: PhotoView, homographies: Mapping[int, Array], first: int
) -> tuple[State | None, float]:
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
    return State([CameraModel(photo.size, vector, unit)], turned), unit


def staged(photos: Sequence[PhotoView], size: tuple[int, int]) -> State:
    """First photo's plane, then the projector, then the other photos' cameras."""
    first = photos[0]
    base = plane_of_photo(first)[0].state
    camera = base.cameras[0].moved(np.eye(3), TABLE_UNIT_MM)
    state = State([camera], dict(base.poses), _first_projector(camera, first, size))
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


def _first_projector(
    camera: CameraModel, photo: PhotoView, size: tuple[int, int]
) -> ProjectorModel:
    table = camera.to_table(photo.seen_px)
    ok = np.isfinite(table).all(axis=1)
    matrix = homography(table[ok], photo.pattern_px[ok])
    middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    return ProjectorModel(size, matrix, middle)


def _first_camera(photo: PhotoView, state: State) -> CameraModel:
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

    def keep(count: int) -> Mask:
        return np.asarray((np.arange(count) % n == n - 1) == chosen)

    cards = {}
    for i, v in photo.cards.items():
        k = keep(len(v.corners_mm))
        cards[i] = CardView(v.corners_mm[k], v.corners_px[k], v.sigma_px[k])
    k = keep(len(photo.pattern_px))
    return PhotoView(photo.size, cards, photo.pattern_px[k], photo.seen_px[k], photo.sigma_px[k])


def misses_mm(photo: PhotoView, state: State, k: int) -> Array:
    """(N, 2) seen less predicted on the table, mm, cards then pattern."""
    camera = state.cameras[k]
    parts = [
        camera.to_table(v.corners_px) - state.laid(k, i, v.corners_mm)
        for i, v in sorted(photo.cards.items())
    ]
    if state.projector is not None and len(photo.pattern_px):
        parts.append(camera.to_table(photo.seen_px) - state.projector.to_table(photo.pattern_px))
    return np.concatenate(parts)


def _reweighed(photo: PhotoView, state: State, k: int) -> PhotoView:
    """Noise scaled to what a fit left over, cards and pattern each; strays dropped."""
    camera = state.cameras[k]

    def weigh(px: Array, predicted: Array, sigma: Array) -> tuple[float, Mask]:
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
