"""From the ids of a few markers to all corners of a board.

OpenCV reads the marker ids, no more: from one or two markers all the corners of a board are
predicted, found outwards, and handed to `calibrate.saddles`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibrate import cards as card_module
from calibrate.arrays import Array, Image, Mask
from calibrate.cards import FIRST_PATTERN_ID, Board
from calibrate.plane import apply, homography, within
from calibrate.saddles import Corners, measure
from configs.errors import Refusal

_LEAST_CARD_CORNERS = 10


def gray_of(photo: Image) -> Image:
    import cv2

    return np.asarray(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def _reader() -> Any:
    import cv2

    settings = cv2.aruco.DetectorParameters()
    # what a study of small, slanted markers found to matter
    settings.polygonalApproxAccuracyRate = 0.06
    settings.perspectiveRemoveIgnoredMarginPerCell = 0.25
    settings.maxErroneousBitsInBorderRate = 0.45
    settings.minMarkerPerimeterRate = 0.02
    settings.maxMarkerPerimeterRate = 0.8
    settings.minMarkerDistanceRate = 0.05
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    return cv2.aruco.ArucoDetector(dictionary, settings)


def read_markers(gray: Image, factor: float) -> list[tuple[int, Array]]:
    """Markers in a picture looked at ``factor`` times its size: id, corners (4, 2) px."""
    import cv2

    look = gray
    if factor != 1.0:
        kind = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
        look = np.asarray(cv2.resize(gray, None, fx=factor, fy=factor, interpolation=kind))
    corners, ids, _ = _reader().detectMarkers(look)
    if ids is None:
        return []
    sx, sy = gray.shape[1] / look.shape[1], gray.shape[0] / look.shape[0]
    # pixel centres are integers at either size
    return [
        (int(i), (np.asarray(c, dtype=np.float64).reshape(4, 2) + 0.5) * (sx, sy) - 0.5)
        for i, c in zip(np.ravel(ids), corners, strict=True)
    ]


def _homography(source: Array, target: Array) -> Array | None:
    """(3, 3) least-squares homography (N at least 4); None when degenerate."""
    with np.errstate(all="ignore"):
        matrix = homography(source, target)
    return matrix if np.all(np.isfinite(matrix)) else None


def affine(source: Array, target: Array) -> Array | None:
    """(3, 3) least-squares affine map: the perspective of one small marker is only noise."""
    rows = np.column_stack([source, np.ones(len(source))])
    if np.linalg.matrix_rank(rows) < 3:
        return None
    both = np.linalg.lstsq(rows, target, rcond=None)[0].T
    return np.asarray(np.concatenate([both, [[0.0, 0.0, 1.0]]]), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Map:
    """Board to photo: a homography, and a polynomial on top for two lenses."""

    matrix: Array
    middle: Array
    reach: float
    bend: Array  # (terms, 2)

    def __call__(self, points: Array) -> Array:
        px = apply(self.matrix, points)
        if len(self.bend):
            px = px + _terms((points - self.middle) / self.reach, len(self.bend)) @ self.bend
        return np.asarray(px)

    def steps(self, points: Array, length: float) -> Array:
        """(N, 2, 2) px per unit of the board, by differences of a small ``length``."""
        h = 0.02 * length
        columns = [
            (self(points + d) - self(points - d)) / (2 * h)
            for d in (np.array([h, 0.0]), np.array([0.0, h]))
        ]
        return np.stack(columns, axis=2)


def _terms(p: Array, count: int) -> Array:
    x, y = p[:, 0], p[:, 1]
    one = np.ones_like(x)
    rows = [one, x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3]
    return np.column_stack(rows[:count])


def _fit_map(board: Array, px: Array, bent: bool) -> _Map | None:
    matrix = affine(board, px) if len(board) < 8 else _homography(board, px)
    if matrix is None:
        return None
    middle = board.mean(axis=0)
    reach = max(float(np.abs(board - middle).max()), 1e-9)
    out = _Map(matrix, middle, reach, np.zeros((0, 2)))
    if not bent or len(board) < 12:
        return out
    count = 10 if len(board) >= 40 else 6
    terms = _terms((board - middle) / reach, count)
    left = px - out(board)
    # a breath of ridge: few points must not swing the far corners
    ridge = 1e-3 * len(board) * np.eye(count)
    bend = np.asarray(np.linalg.solve(terms.T @ terms + ridge, terms.T @ left), dtype=np.float64)
    return _Map(matrix, middle, reach, bend)


def _settle(gray: Image, px: Array, half: Array) -> Array:
    """Move rough corners (N, 2) onto the saddles near them, within about ``half`` (N,) px."""
    import cv2

    out = px.copy()
    h, w = gray.shape
    sizes = np.clip(np.round(half), 2, 40).astype(int)
    inside = np.all(
        (px > sizes[:, None] + 2) & (px < np.array([w, h]) - sizes[:, None] - 3), axis=1
    )
    for size in np.unique(sizes[inside]):
        pick = np.flatnonzero(inside & (sizes == size))
        start = np.ascontiguousarray(px[pick].astype(np.float32).reshape(-1, 1, 2))
        moved = cv2.cornerSubPix(
            gray,
            start,
            (int(size), int(size)),
            (-1, -1),
            (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 12, 0.02),
        )
        out[pick] = np.asarray(moved, dtype=np.float64).reshape(-1, 2)
    out[~inside] = np.nan
    return out


def _sample(gray: Image, px: Array) -> Array:
    """Bilinear values at px (N, 2); NaN outside."""
    from scipy.ndimage import map_coordinates

    at = np.nan_to_num(px[:, ::-1].T, nan=-9.0)
    return np.asarray(map_coordinates(gray, at, np.float64, order=1, cval=np.nan))


def _looks_right(gray: Image, px: Array, steps: Array, square: float, signs: Array) -> Mask:
    """Which corners have black and white in the quadrants where the board has them."""
    reach = 0.24 * square
    values = []
    for u, v in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        offset = steps @ np.array([u * reach, v * reach])
        values.append(_sample(gray, px + offset))
    q = np.stack(values)
    same, other = q[[0, 2]], q[[1, 3]]
    with np.errstate(invalid="ignore"):
        gap = np.where(
            signs > 0, other.min(axis=0) - same.max(axis=0), same.min(axis=0) - other.max(axis=0)
        )
        span = np.abs(other.mean(axis=0) - same.mean(axis=0))
        return np.asarray((gap > 5) & (gap > 0.35 * span))


def _grow(
    gray: Image,
    board: Board,
    seeds_board: Array,
    seeds_px: Array,
    bent: bool,
    forbidden: Callable[[Array], Mask] | None = None,
) -> tuple[NDArray[np.int64], Array, Array]:
    """All corners of a board that are seen, found outwards from its markers.

    Returns:
        index into the board's corners (N,), px (N, 2), steps (N, 2, 2) px per unit.
    """
    from scipy.spatial import cKDTree

    total = len(board.corners)
    px = np.full((total, 2), np.nan)
    found = np.zeros(total, dtype=bool)
    known_board, known_px = seeds_board, seeds_px
    for reach in (2.0, 2.6, 3.2, 5.0, 7.0, 10.0, 14.0, 60.0)[0 if not bent else 2 :]:
        chart = _fit_map(known_board, known_px, bent)
        if chart is None:
            break
        near = cKDTree(known_board).query(board.corners)[0] < reach * board.square
        pick = np.flatnonzero(near & ~found) if reach < 60 else np.flatnonzero(near)
        guess = chart(board.corners[pick])
        steps = chart.steps(board.corners[pick], board.square)
        if forbidden is not None:
            allowed = ~forbidden(guess)
            pick, guess, steps = pick[allowed], guess[allowed], steps[allowed]
        side = board.square * np.minimum(np.hypot(*steps[:, :, 0].T), np.hypot(*steps[:, :, 1].T))
        with np.errstate(invalid="ignore"):
            ok = np.isfinite(guess).all(axis=1) & (side > 5) & (side < 1000)
        pick, guess, steps, side = pick[ok], guess[ok], steps[ok], side[ok]
        if len(pick):
            clear = np.minimum(board.clear[pick] * 0.8, 0.33)
            moved = _settle(gray, guess, side * clear)
            with np.errstate(invalid="ignore"):
                close = np.hypot(*(moved - guess).T) < 0.33 * side
            good = close & _looks_right(gray, moved, steps, board.square, board.signs[pick])
            found[pick] = good
            px[pick[good]] = moved[good]
        count = int(found.sum())
        if count >= 6:
            flat = np.linalg.svd(
                board.corners[found] - board.corners[found].mean(axis=0), compute_uv=False
            )
            if (flat[1] > 0.15 * flat[0] and count >= 8) or count > 40:
                known_board, known_px = board.corners[found], px[found]
            else:  # few, or all on a line so far: the markers' own corners hold the plane
                known_board = np.concatenate([seeds_board, board.corners[found]])
                known_px = np.concatenate([seeds_px, px[found]])
    chart = _fit_map(known_board, known_px, bent)
    if chart is None or not found.any():
        return np.zeros(0, dtype=np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2))
    index = np.flatnonzero(found)
    left = np.hypot(*(px[index] - chart(board.corners[index])).T)
    keep = left < max(3.0, 6 * float(np.median(left)))
    index = index[keep]
    return index, px[index], chart.steps(board.corners[index], board.square)


def find_cards(
    gray: Image, markers: Sequence[tuple[int, Array]], card_ids: Collection[int] | None, name: str
) -> dict[int, Corners]:
    by_card: dict[int, list[tuple[int, Array]]] = {}
    for marker, quad in markers:
        if marker < FIRST_PATTERN_ID:
            by_card.setdefault(marker // 2, []).append((marker, quad))
    found: dict[int, Corners] = {}
    for card_id, seen in sorted(by_card.items()):
        board = card_module.card(card_id).board()
        best: Corners | None = None
        places: list[tuple[Array, float]] = []
        groups = [seen] if len(seen) == 2 and seen[0][0] != seen[1][0] else []
        groups += [[one] for one in seen]
        for group in groups:
            middle = np.concatenate([quad for _, quad in group]).mean(axis=0)
            if any(float(np.hypot(*(middle - p))) < r for p, r in places):
                continue
            seeds = np.concatenate([board.markers[m] for m, _ in group])
            seeds_px = np.concatenate([quad for _, quad in group])
            index, px, steps = _grow(gray, board, seeds, seeds_px, bent=False)
            if len(index) < _LEAST_CARD_CORNERS:
                continue
            corners = measure(
                gray, px, steps, board.square, board.signs[index], board.clear[index], index
            )
            if len(corners) < _LEAST_CARD_CORNERS:
                continue
            centre = corners.px.mean(axis=0)
            radius = float(np.hypot(*(corners.px - centre).T).max()) * 1.3
            if best is not None and float(np.hypot(*(centre - places[0][0]))) > places[0][1]:
                raise Refusal(
                    "card-twice",
                    f"card {card_id} lies on the table twice.",
                    "Use one print of the cards, each card once.",
                    where=name,
                    data={"card": card_id},
                )
            places.append((centre, radius))
            if best is None or len(corners) > len(best):
                best = corners
        if best is not None:
            found[card_id] = best
    if card_ids is not None:
        strangers = sorted(set(found) - set(card_ids))
        if strangers:
            raise Refusal(
                "other-print",
                f"{card_module.in_words(strangers)} on the table {'is' if len(strangers) == 1 else 'are'} "
                "not of the print that the cards file describes.",
                "Use the cards of one print only, with the file written beside it.",
                where=name,
                data={"cards": strangers},
            )
    prints = sorted({card_module.set_of(i) for i in found})
    if len(prints) > 1:
        raise Refusal(
            "other-print",
            f"the cards come from different prints ({' and '.join(prints)}).",
            "Two prints are never of quite the same scale: use the cards of one print only.",
            where=name,
            data={"prints": prints},
        )
    return found


def card_outline(card_id: int, corners: Corners, wider_mm: float = 0.0) -> Array:
    """(4, 2) px of the whole card with its white margin, so much wider and taller."""
    each = card_module.card(card_id)
    matrix = _homography(each.board().corners[corners.index], corners.px)
    ring = each.outline_mm() * (
        1 + wider_mm / np.array([each.shape.width_mm, each.shape.height_mm])
    )
    return np.zeros((4, 2)) if matrix is None else apply(matrix, ring)


def agreeing(markers: Sequence[tuple[int, Array]], board: Board) -> list[tuple[int, Array]]:
    """Projected markers that lie where this board has them, as one plane sees it."""
    import cv2

    seen = [(i, q) for i, q in markers if i in board.markers]
    if len(seen) < 2:
        return []
    source = np.concatenate([board.markers[i] for i, _ in seen])
    target = np.concatenate([q for _, q in seen])
    side = float(np.median([np.hypot(*(q[0] - q[1])) for _, q in seen]))
    # lenses bend the plane by up to a square or so over the whole beam
    cv2.setRNGSeed(7)
    _, mask = cv2.findHomography(source, target, cv2.RANSAC, max(4.0, 0.9 * side), maxIters=3000)
    if mask is None:
        return []
    votes = np.asarray(mask).reshape(-1, 4).sum(axis=1)
    return [s for s, v in zip(seen, votes, strict=True) if v >= 3]


def find_pattern(
    gray: Image,
    markers: Sequence[tuple[int, Array]],
    board: Board,
    outlines: Sequence[Array],
) -> Corners | None:
    good = agreeing(markers, board)
    known = sum(1 for i, _ in markers if i >= FIRST_PATTERN_ID)
    if len(good) < 2 or len(good) < 0.5 * known:
        return None
    seeds = np.concatenate([board.markers[i] for i, _ in good])
    seeds_px = np.concatenate([q for _, q in good])

    def forbidden(px: Array) -> Mask:
        inside = np.zeros(len(px), dtype=bool)
        for ring in outlines:
            inside |= within(ring, px)
        return inside

    index, px, steps = _grow(gray, board, seeds, seeds_px, bent=True, forbidden=forbidden)
    if len(index) < 30:
        return None
    return measure(gray, px, steps, board.square, board.signs[index], board.clear[index], index)
