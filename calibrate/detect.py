"""From a photo to corners: which cards and which pattern are seen, and exactly where.

Second step of a calibration by photo, before `calibrate.solve`. OpenCV reads the marker ids, no
more: from one or two markers all the corners of a board are predicted, found, and then measured
by fitting the picture of a blurred saddle to the pixels round each, which also tells how sure
each corner is. What is wrong with a photo is said here, in words for the person who took it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibrate import cards as card_module
from calibrate.cards import FIRST_PATTERN_ID, Board
from calibrate.pattern import Pattern, bare, sizes_like
from calibrate.photo import check_photo
from configs.errors import Refusal

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Bools = NDArray[np.bool_]

SHAKEN, UNSHARP = "The photo was shaken.", "The photo is not sharp:"  # how such notes begin
_CARDS_LAID = 4  # of a print
_READ_WIDTH = 2000  # long side at which markers are read first, px
_LEAST_CARD_CORNERS = 10
_PLAIN_STEP = 45.0  # grey levels; wood grain alone makes 35, cards and pattern 75 to 140
# Edges of sharp virtual photos are up to 6 px wide (of 2000) and by up to 1.42 unlike over the
# directions, out of focus by 1.44; shaken by what a marker cannot be read through, from 1.6 on.
_SHAKEN_PX, _SHAKEN_RATIO, _SOFT_PX = 4.5, 1.52, 8.0
_STEADY = (
    "Lean the phone on something or use its timer, and give it more light, so that it need not "
    "expose so long."
)
_LEAST_SHARED = 20  # corners in both photos, to call them one
_SAME_NOISE = 3.0  # median miss over noise; copies and a still camera make 0.1 to 2
_LARGEST_WINDOW_PX = 12  # half side; wider windows add pixels and no knowledge
_WINDOW_SHARE = 0.42  # of a square: clear of the neighbouring edges


def _gray(photo: Image) -> Image:
    import cv2

    return np.asarray(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


# -- markers ---------------------------------------------------------------------------------


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


def _read_markers(gray: Image, factor: float) -> list[tuple[int, Array]]:
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


# -- small geometry --------------------------------------------------------------------------


def _homography(source: Array, target: Array) -> Array | None:
    """(3, 3) least-squares homography (N at least 4); None when degenerate."""
    from calibrate.plane import homography

    with np.errstate(all="ignore"):
        matrix = homography(source, target)
    return matrix if np.all(np.isfinite(matrix)) else None


def _affine(source: Array, target: Array) -> Array | None:
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
        with np.errstate(all="ignore"):
            q = points @ self.matrix[:, :2].T + self.matrix[:, 2]
            px = q[:, :2] / q[:, 2:]
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
    matrix = _affine(board, px) if len(board) < 8 else _homography(board, px)
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


# -- finding all corners of a board ----------------------------------------------------------


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
    h, w = gray.shape
    x, y = px[:, 0], px[:, 1]
    with np.errstate(invalid="ignore"):
        ok = (x >= 0) & (y >= 0) & (x < w - 1) & (y < h - 1)
    x, y = np.where(ok, x, 0), np.where(ok, y, 0)
    i, j = x.astype(int), y.astype(int)
    a, b = x - i, y - j
    g = gray
    value = (
        (1 - a) * (1 - b) * g[j, i]
        + a * (1 - b) * g[j, i + 1]
        + (1 - a) * b * g[j + 1, i]
        + a * b * g[j + 1, i + 1]
    )
    return np.where(ok, value, np.nan)


def _looks_right(gray: Image, px: Array, steps: Array, square: float, signs: Array) -> Bools:
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
    forbidden: Callable[[Array], Bools] | None = None,
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


# -- measuring corners -----------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Corners:
    """Measured corners of one board in one photo.

    ``index`` (N,) into the board's corners; ``px`` (N, 2); ``sigma`` (N,) noise of a coordinate,
    px; ``blur`` (N,) sigma of the edges, px; ``contrast`` (N,) half the step from black to white,
    grey levels; ``white`` (N,) level of white; ``side`` (N,) length of a square, px.
    """

    index: NDArray[np.int64]
    px: Array
    sigma: Array
    blur: Array
    contrast: Array
    white: Array
    side: Array

    def __len__(self) -> int:
        return len(self.index)

    def pick(self, keep: NDArray[Any]) -> Corners:
        """Some of them."""
        return Corners(
            self.index[keep],
            self.px[keep],
            self.sigma[keep],
            self.blur[keep],
            self.contrast[keep],
            self.white[keep],
            self.side[keep],
        )


def measure(
    gray: Image,
    px: Array,
    steps: Array,
    square: float,
    signs: Array,
    clear: Array,
    index: NDArray[np.int64] | None = None,
) -> Corners:
    """Fit a blurred saddle to the pixels round each rough corner.

    The grey in a window is ``b + g (p - c) -/+ a erf(du / √2 s) erf(dv / √2 s)`` with du, dv the
    distances from the two edges through the corner: nine unknowns a corner, Gauss-Newton, all
    corners at once. A saddle is symmetric about its corner, so neither blur nor a tone curve
    moves it.

    Args:
        gray: (H, W); px: (N, 2) to about a pixel; steps: (N, 2, 2) px per unit of the board;
        square: in units; signs, clear: as in `Board`.

    Returns:
        the corners that came out well, ``index`` into those given (or out of ``index``).
    """
    count = len(px)
    numbers = np.arange(count) if index is None else index
    out = np.full((count, 8), np.nan)
    share = np.minimum(_WINDOW_SHARE, clear * 0.9)
    along = np.hypot(*steps[:, :, 0].T) * square
    across = np.hypot(*steps[:, :, 1].T) * square
    reach = np.minimum(share * (along + across) / 2 * 1.1, _LARGEST_WINDOW_PX)
    halves = np.clip(np.ceil(reach), 3, _LARGEST_WINDOW_PX).astype(int)
    for half in np.unique(halves):
        chosen = np.flatnonzero(halves == half)
        for part in np.array_split(chosen, max(1, math.ceil(len(chosen) / 256))):
            out[part] = _fit_saddles(
                gray, px[part], steps[part], square, signs[part], share[part], int(half)
            )
    x, y, sigma, blur, contrast, white, misfit, shift = out.T
    side = np.minimum(along, across)
    with np.errstate(invalid="ignore"):
        good = (
            np.isfinite(out).all(axis=1)
            & (contrast > 4)
            & (misfit < 0.3 * contrast)
            & (shift < 0.15 * side + 1.0)
            & (blur < 0.35 * side)
            & (blur > 0.15)
            & (sigma < 0.1 * side)
        )
    keep = np.flatnonzero(good)
    return Corners(
        np.asarray(numbers[keep], dtype=np.int64),
        np.column_stack([x, y])[keep],
        sigma[keep],
        blur[keep],
        contrast[keep],
        white[keep],
        side[keep],
    )


def _fit_saddles(
    gray: Image, px: Array, steps: Array, square: float, signs: Array, share: Array, half: int
) -> Array:
    """(N, 8): x, y, sigma, blur, contrast, white, rms misfit, shift; NaN where it failed."""
    from scipy.special import erf

    n = len(px)
    h, w = gray.shape
    base = np.round(np.nan_to_num(px, nan=-1e6)).astype(np.int64)
    inside = np.all((base >= half) & (base < np.array([w, h]) - half), axis=1)
    safe = np.where(inside[:, None], base, half)
    k = np.arange(-half, half + 1)
    oy, ox = (a.ravel().astype(np.float64) for a in np.meshgrid(k, k, indexing="ij"))
    iy = safe[:, 1, None] + oy.astype(np.int64)
    ix = safe[:, 0, None] + ox.astype(np.int64)
    values = gray[iy, ix].astype(np.float64)

    inverse = np.linalg.inv(np.where(inside[:, None, None], steps, np.eye(2)))
    start = np.where(inside[:, None], px - base, 0.0)
    u = inverse[:, 0, 0, None] * (ox - start[:, :1]) + inverse[:, 0, 1, None] * (oy - start[:, 1:])
    v = inverse[:, 1, 0, None] * (ox - start[:, :1]) + inverse[:, 1, 1, None] * (oy - start[:, 1:])
    limit = (share * square)[:, None]
    weight = ((np.abs(u) < limit) & (np.abs(v) < limit)).astype(np.float64)
    used = weight.sum(axis=1)
    inside &= used >= 20

    # unit normals of the two edges, pointing to +u and +v
    nu, nv = inverse[:, 0], inverse[:, 1]
    p = np.empty((n, 9))
    p[:, 0:2] = start
    p[:, 2] = np.arctan2(nu[:, 1], nu[:, 0])
    p[:, 3] = np.arctan2(nv[:, 1], nv[:, 0])
    p[:, 4] = 0.9
    mean = (values * weight).sum(axis=1) / np.maximum(used, 1)
    p[:, 5] = mean
    spread = np.sqrt((weight * (values - mean[:, None]) ** 2).sum(axis=1) / np.maximum(used, 1))
    p[:, 6] = np.maximum(spread, 1.0)
    p[:, 7:9] = 0.0
    root2 = math.sqrt(2.0)
    J = np.empty((n, len(ox), 9))
    left = np.zeros_like(values)
    normal = np.tile(np.eye(9), (n, 1, 1))
    turn0 = p[:, 2:4].copy()
    for round_ in range(9):
        dx, dy = ox - p[:, :1], oy - p[:, 1:2]
        s = p[:, 4:5]
        cu, su, cv, sv = np.cos(p[:, 2:3]), np.sin(p[:, 2:3]), np.cos(p[:, 3:4]), np.sin(p[:, 3:4])
        du, dv = cu * dx + su * dy, cv * dx + sv * dy
        eu, ev = erf(du / (root2 * s)), erf(dv / (root2 * s))
        bell = math.sqrt(2 / math.pi) / s
        gu, gv = bell * np.exp(-0.5 * (du / s) ** 2), bell * np.exp(-0.5 * (dv / s) ** 2)
        sign = -signs[:, None]
        saddle = sign * eu * ev
        a = p[:, 6:7] * sign
        a_u, a_v = a * gu * ev, a * gv * eu
        left = values - (p[:, 5:6] + p[:, 6:7] * saddle + p[:, 7:8] * dx + p[:, 8:9] * dy)
        if round_ == 8:
            break
        J[:, :, 0] = -(a_u * cu + a_v * cv) - p[:, 7:8]
        J[:, :, 1] = -(a_u * su + a_v * sv) - p[:, 8:9]
        J[:, :, 2] = a_u * (cu * dy - su * dx)
        J[:, :, 3] = a_v * (cv * dy - sv * dx)
        J[:, :, 4] = -(a_u * du + a_v * dv) / s
        J[:, :, 5] = 1.0
        J[:, :, 6] = saddle
        J[:, :, 7] = dx
        J[:, :, 8] = dy
        JW = (J * weight[:, :, None]).transpose(0, 2, 1)
        normal = JW @ J
        damped = normal + (1e-6 + 1e-4 * (round_ < 3)) * np.einsum("nii->ni", normal)[
            :, :, None
        ] * np.eye(9)
        damped += 1e-9 * np.eye(9)
        step = np.linalg.solve(damped, JW @ left[:, :, None])[:, :, 0]
        step[:, :2] = np.clip(step[:, :2], -1.0, 1.0)
        step[:, 2:4] = np.clip(step[:, 2:4], -0.1, 0.1)
        step[:, 4] = np.clip(step[:, 4], -0.4, 0.6)
        step = np.where(np.isfinite(step), step, 0.0)
        p += step
        p[:, 4] = np.clip(p[:, 4], 0.2, 0.4 * half + 1)
        if round_ > 3 and np.abs(step[:, :2]).max(initial=0.0) < 1e-4:
            break
    freedom = np.maximum(used - 9, 1)
    variance = (weight * left**2).sum(axis=1) / freedom
    covariance = np.linalg.pinv(normal)
    out = np.empty((n, 8))
    out[:, 0:2] = p[:, :2] + base
    noise = variance * (covariance[:, 0, 0] + covariance[:, 1, 1]) / 2
    out[:, 2] = np.sqrt(np.maximum(noise, 0))
    out[:, 3] = p[:, 4]
    out[:, 4] = p[:, 6]
    out[:, 5] = p[:, 5] + p[:, 6]
    out[:, 6] = np.sqrt(variance)
    out[:, 7] = np.hypot(*(p[:, :2] - start).T)
    turned = np.abs(p[:, 2:4] - turn0).max(axis=1) > 0.35
    out[~inside | turned] = np.nan
    return out


# -- a whole photo ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Detections:
    """What one photo shows.

    ``size`` (width, height) px; ``cards`` card id -> corners; ``pattern`` corners of the projected
    pattern of ``pattern_size``; ``markers`` ids read; ``name`` for messages.
    """

    name: str
    size: tuple[int, int]
    cards: Mapping[int, Corners]
    pattern: Corners | None
    pattern_size: tuple[int, int]
    markers: tuple[int, ...] = ()
    notes: tuple[str, ...] = field(default=())


def detect(
    photo: ArrayLike,
    pattern_size: tuple[int, int] | None,
    *,
    pattern: Pattern | None = None,
    card_ids: Collection[int] | None = None,
    name: str = "photo",
    lenient: bool = False,
) -> Detections:
    """Find and measure the cards and the projected pattern in a photo.

    Args:
        photo: (H, W, 3) RGB or (H, W) uint8.
        pattern_size: the projector's picture size; None looks for cards only.
        pattern: the pattern shown, when its file is at hand; else it follows from the size.
        card_ids: cards of the print in use; None takes any print.
        name: the photo's name, for messages.
        lenient: take what there is, cards or pattern or neither; the caller says what is missing.

    Raises:
        InputError: not a picture.
        Refusal: mirrored, blurred, over- or under-exposed, no cards, the same card twice, cards
            of several prints, pattern not seen or of another size.
    """
    gray = _gray(check_photo(photo, name))
    h, w = gray.shape
    long_side = max(w, h)
    first = min(1.0, _READ_WIDTH / long_side)
    markers = _read_markers(gray, first)
    wanted = {i for i, _ in markers}
    for factor in (1.5, 2.0):  # small markers are read better larger
        factor = min(factor, 2 * _READ_WIDTH / long_side)
        if factor > first * 1.2 and _is_thin(wanted, pattern_size is not None):
            markers = _merge(markers, _read_markers(gray, factor))
            wanted = {i for i, _ in markers}
            first = factor
    shown = None
    if pattern_size is not None:
        shown = (pattern or bare(pattern_size)).board()
    found = _find_cards(gray, markers, card_ids, name)
    if not found and not lenient:
        _say_why_nothing(gray, markers, name)
    corners = None
    if shown is not None and pattern_size is not None:
        outlines = [_card_outline(i, c) for i, c in found.items()]
        corners = _find_pattern(gray, markers, shown, outlines)
        if corners is None and not lenient:
            _say_why_no_pattern(gray, markers, pattern_size, name)
    return Detections(
        name,
        (w, h),
        found,
        corners,
        pattern_size or (0, 0),
        tuple(sorted({i for i, _ in markers})),
        tuple(_quality_notes(gray, found, corners)),
    )


def same_view(one: Detections, two: Detections) -> bool:
    """Whether two photos show the table from one and the same place: a file given twice, a copy
    of it (turned, made smaller, saved anew), or a camera that did not move.

    From another place a card is foreshortened otherwise, which no affine map of the picture
    does; a hand's breadth makes hundreds of times the noise of a corner.
    """
    spots, others, noise = [], [], []
    boards = [(one.cards[i], two.cards[i]) for i in sorted(set(one.cards) & set(two.cards))]
    if one.pattern is not None and two.pattern is not None:
        boards.append((one.pattern, two.pattern))
    for a, b in boards:
        _, at, there = np.intersect1d(a.index, b.index, return_indices=True)
        spots.append(a.px[at])
        others.append(b.px[there])
        noise.append(a.sigma[at])
    if sum(len(p) for p in spots) < _LEAST_SHARED:
        return False
    px, sigma = np.concatenate(spots), np.concatenate(noise)
    chart = _affine(np.concatenate(others), px)
    if chart is None:
        return False
    left = px - np.concatenate(others) @ chart[:2, :2].T - chart[:2, 2]
    return bool(np.median(np.hypot(*left.T) / sigma) < _SAME_NOISE)


def is_soft(seen: Detections) -> bool:
    """Whether a photo was shaken or is out of focus, as its notes have it."""
    return any(note.startswith((SHAKEN, UNSHARP)) for note in seen.notes)


def _is_thin(ids: set[int], with_pattern: bool) -> bool:
    seen = {i // 2 for i in ids if i < FIRST_PATTERN_ID}
    both = sum(1 for i in ids if i < FIRST_PATTERN_ID)
    projected = sum(1 for i in ids if i >= FIRST_PATTERN_ID)
    return len(seen) < 4 or both < 6 or (with_pattern and projected < 5)


def _merge(
    first: list[tuple[int, Array]], second: list[tuple[int, Array]]
) -> list[tuple[int, Array]]:
    """Both readings; the same marker at the same place once."""
    out = list(second)
    for i, quad in first:
        middle = quad.mean(axis=0)
        side = float(np.hypot(*(quad[0] - quad[2])))
        if not any(
            i == j and float(np.hypot(*(other.mean(axis=0) - middle))) < side for j, other in second
        ):
            out.append((i, quad))
    return out


def _find_cards(
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
                f"{_cards_text(strangers)} on the table {'is' if len(strangers) == 1 else 'are'} "
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


def _cards_text(ids: Sequence[int]) -> str:
    if len(ids) == 1:
        return f"card {ids[0]}"
    return "cards " + ", ".join(str(i) for i in ids[:-1]) + f" and {ids[-1]}"


def _card_outline(card_id: int, corners: Corners) -> Array:
    """(4, 2) px of the whole card with its margin, a finger's breadth wider."""
    each = card_module.card(card_id)
    board = each.board()
    matrix = _homography(board.corners[corners.index], corners.px)
    ring = each.outline_mm() * (1 + 4.0 / np.array([each.shape.width_mm, each.shape.height_mm]))
    if matrix is None:
        return np.zeros((4, 2))
    q = ring @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(q[:, :2] / q[:, 2:])


def _within(ring: Array, points: Array) -> Bools:
    """Which points (N, 2) lie inside a convex ring (M, 2) of either turn."""
    edges = np.roll(ring, -1, axis=0) - ring
    away = points[:, None, :] - ring[None]
    side = edges[None, :, 0] * away[:, :, 1] - edges[None, :, 1] * away[:, :, 0]
    with np.errstate(invalid="ignore"):
        return np.asarray(np.all(side >= 0, axis=1) | np.all(side <= 0, axis=1))


def _agreeing(markers: Sequence[tuple[int, Array]], board: Board) -> list[tuple[int, Array]]:
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


def _find_pattern(
    gray: Image,
    markers: Sequence[tuple[int, Array]],
    board: Board,
    outlines: Sequence[Array],
) -> Corners | None:
    good = _agreeing(markers, board)
    known = sum(1 for i, _ in markers if i >= FIRST_PATTERN_ID)
    if len(good) < 2 or len(good) < 0.5 * known:
        return None
    seeds = np.concatenate([board.markers[i] for i, _ in good])
    seeds_px = np.concatenate([q for _, q in good])

    def forbidden(px: Array) -> Bools:
        inside = np.zeros(len(px), dtype=bool)
        for ring in outlines:
            inside |= _within(ring, px)
        return inside

    index, px, steps = _grow(gray, board, seeds, seeds_px, bent=True, forbidden=forbidden)
    if len(index) < 30:
        return None
    return measure(gray, px, steps, board.square, board.signs[index], board.clear[index], index)


# -- what is wrong with a photo --------------------------------------------------------------


def _light(gray: Image) -> dict[str, float]:
    import cv2

    small = np.asarray(
        cv2.resize(
            gray,
            (480, max(1, round(480 * gray.shape[0] / gray.shape[1]))),
            interpolation=cv2.INTER_AREA,
        )
    )
    return {
        "dark": float(np.quantile(small, 0.02)),
        "middle": float(np.quantile(small, 0.5)),
        "bright": float(np.quantile(small, 0.98)),
        "burnt": float(np.mean(small >= 252)),
    }


def _sharpness(gray: Image) -> float:
    """Width of the sharpest edges, px: step height over steepest slope, 2 % sharpest places."""
    import cv2

    soft = cv2.GaussianBlur(gray, (0, 0), 1.0).astype(np.float32)
    slope = np.hypot(cv2.Sobel(soft, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(soft, cv2.CV_32F, 0, 1) / 8)
    r = 12
    kernel = np.ones((2 * r + 1, 2 * r + 1), np.uint8)
    step = cv2.dilate(gray, kernel).astype(np.float32) - cv2.erode(gray, kernel)
    with np.errstate(divide="ignore", invalid="ignore"):
        width = np.where((step > 25) & (slope > 0.5), step / slope, np.inf)
    finite = width[np.isfinite(width)]
    return float(np.quantile(finite, 0.02)) if finite.size > 50 else math.inf


def _edge_widths(gray: Image) -> tuple[float, float]:
    """Width of the sharpest edges across the worst and the best of eight directions, px.

    Of a picture reduced to 2000 px: what the grey changes over a finger's breadth, by the
    steepest slope the same way. A shake smears all edges across its way and leaves those along
    it, so the two differ; a lens out of focus, or a scene of any kind, softens all ways alike.
    Directions in which nothing in the scene stands out tell nothing; (0, 0) when none does.
    """
    import cv2

    factor = min(1.0, _READ_WIDTH / max(gray.shape))
    small = gray
    if factor < 1:
        small = np.asarray(
            cv2.resize(gray, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        )
    soft = cv2.GaussianBlur(small, (0, 0), 1.0).astype(np.float32)
    rough = cv2.GaussianBlur(small, (0, 0), 2.0).astype(np.float32)
    slope_x = cv2.Sobel(soft, cv2.CV_32F, 1, 0) / 8
    slope_y = cv2.Sobel(soft, cv2.CV_32F, 0, 1) / 8
    h, w = small.shape
    reach = max(h, w) // 50
    rim = reach + 1
    widths = []
    for k in range(8):
        c, s = math.cos(math.pi * k / 8), math.sin(math.pi * k / 8)
        x, y = round(reach * c), round(reach * s)
        ahead = rough[rim + y : h - rim + y : 4, rim + x : w - rim + x : 4]
        behind = rough[rim - y : h - rim - y : 4, rim - x : w - rim - x : 4]
        step = float(np.quantile(np.abs(ahead - behind), 0.98))
        if step < _PLAIN_STEP:
            continue
        # an edge fills 2 % of the first picture where it fills 0.04 % of the second
        slope = float(np.quantile(np.abs(c * slope_x + s * slope_y), 0.9996))
        widths.append(step / max(slope, 1e-3))
    return (max(widths), min(widths)) if widths else (0.0, 0.0)


def _is_shaken(worst: float, best: float) -> bool:
    return worst > _SHAKEN_PX and worst > _SHAKEN_RATIO * best


def _mirrored(gray: Image, kind: str) -> bool:
    """Does the picture hold more of our markers when it is flipped?"""
    factor = min(1.0, _READ_WIDTH / max(gray.shape))
    flipped = _read_markers(np.ascontiguousarray(gray[:, ::-1]), factor)
    if kind == "cards":
        flipped = [m for m in flipped if m[0] < FIRST_PATTERN_ID]
        return bool(_find_cards(np.ascontiguousarray(gray[:, ::-1]), flipped, None, ""))
    return sum(1 for i, _ in flipped if i >= FIRST_PATTERN_ID) >= 6


def _light_refusal(gray: Image, name: str) -> Refusal | None:
    light = _light(gray)
    if light["bright"] < 60:
        return Refusal(
            "under-exposed",
            "the photo is too dark to find anything in it.",
            "Turn on the projector and more room light, or expose longer.",
            where=name,
            data=light,
        )
    if light["burnt"] > 0.25 or light["dark"] > 225:
        return Refusal(
            "over-exposed",
            "the photo is burnt out: the lit table is pure white.",
            "Tap on the brightest place before you take it, or lower the exposure.",
            where=name,
            data=light,
        )
    return None


def _blur_refusal(gray: Image, name: str, projected: int = 0) -> Refusal | None:
    """``projected``: markers of the pattern that were read all the same."""
    worst, best = _edge_widths(gray)
    if _is_shaken(worst, best):
        return Refusal(
            "blurred",
            "the photo was shaken: its edges are drawn out one way.",
            _STEADY,
            where=name,
            data={"edge_px": worst, "best_px": best},
        )
    width = _sharpness(gray)
    limit = max(9.0, max(gray.shape) / 300)
    if width > limit:
        return Refusal(
            "blurred",
            "the photo is blurred: no edge in it is sharp.",
            "Hold the phone against something, wait until it has focused, wipe its lens.",
            where=name,
            data={"edge_px": width if math.isfinite(width) else -1.0},
        )
    if projected >= 3 and worst > _SOFT_PX:
        return Refusal(
            "blurred",
            "the photo is not sharp: the projected pattern is seen, but no card can be read.",
            "Wait until the camera has focused, wipe its lens, go nearer. The four cards lie face "
            "up in the white windows of the pattern.",
            where=name,
            data={"edge_px": worst, "best_px": best},
        )
    return None


def _mirror_refusal(name: str) -> Refusal:
    return Refusal(
        "mirrored",
        "the photo is mirrored.",
        "Switch off 'mirror front camera', or use the camera on the phone's back.",
        where=name,
    )


def why_unreadable(photo: ArrayLike, name: str = "photo") -> Refusal | None:
    """What is wrong with a photo in which no card can be read; None if nothing is.

    For a caller of `detect` that was ``lenient``: mirrored (by its cards), under- or over-exposed,
    blurred, shaken.
    """
    gray = _gray(check_photo(photo, name))
    if _mirrored(gray, "cards"):
        return _mirror_refusal(name)
    return _light_refusal(gray, name) or _blur_refusal(gray, name)


def _say_why_nothing(gray: Image, markers: Sequence[tuple[int, Array]], name: str) -> None:
    """Raise the refusal that fits a photo without a card."""
    if _mirrored(gray, "cards"):
        raise _mirror_refusal(name)
    projected = sum(1 for i, _ in markers if i >= FIRST_PATTERN_ID)
    for refusal in (_light_refusal(gray, name), _blur_refusal(gray, name, projected)):
        if refusal is not None:
            raise refusal
    seen = (
        "The projected pattern is seen, but no card is." if projected >= 3 else "No card is seen."
    )
    raise Refusal(
        "no-cards",
        seen[0].lower() + seen[1:],
        "Lay the four printed cards, face up, into the white windows of the pattern; nearer and "
        "sharper if they are small in the photo.",
        where=name,
        data={"pattern_markers": projected},
    )


def _say_why_no_pattern(
    gray: Image,
    markers: Sequence[tuple[int, Array]],
    size: tuple[int, int],
    name: str,
) -> None:
    """Raise the refusal that fits a photo with cards but without the pattern."""
    seen = {i: q for i, q in markers if i >= FIRST_PATTERN_ID}
    others = [s for s in sizes_like(seen) if s != size]
    if others and len(_agreeing(markers, bare(others[0]).board())) >= max(4, 0.6 * len(seen)):
        w, h = others[0]
        raise Refusal(
            "other-pattern",
            f"the projector shows the pattern for {w} x {h} px, not for {size[0]} x {size[1]}.",
            "Show the pattern made for the projector's own resolution and give that as --size.",
            where=name,
            data={"seen": list(others[0]), "wanted": list(size)},
        )
    if len(seen) >= 6:
        raise Refusal(
            "other-pattern",
            f"the projected pattern is not the one for {size[0]} x {size[1]} px, or it is cropped or scaled.",
            "Make it with 'calibrate pattern --size' for the projector's own resolution; show it "
            "full screen, with overscan, zoom and keystone correction off.",
            where=name,
            data={"wanted": list(size), "markers": len(seen)},
        )
    if _mirrored(gray, "pattern"):
        raise Refusal(
            "mirrored-pattern",
            "the projector shows its picture mirrored.",
            "Switch off rear projection (mirror image) in the projector's menu.",
            where=name,
        )
    for refusal in (_light_refusal(gray, name), _blur_refusal(gray, name)):
        if refusal is not None:
            raise refusal
    raise Refusal(
        "no-pattern",
        "the cards are seen, but not the projected pattern.",
        "Show the pattern full screen and darken the room; on a dark mat lay white paper wherever the light falls.",
        where=name,
        data={"markers": len(seen)},
    )


def _quality_notes(gray: Image, cards: Mapping[int, Corners], pattern: Corners | None) -> list[str]:
    """What would make the next photo better."""
    notes = []
    # whether the picture is soft is looked into only where something could not be read for it
    few = pattern is not None and 0 < len(cards) < _CARDS_LAID
    worst, best = _edge_widths(gray) if few else (0.0, 0.0)
    shaken = _is_shaken(worst, best)
    if shaken:
        notes.append(f"{SHAKEN} {_STEADY}")
    if cards:
        side = float(np.median(np.concatenate([c.side for c in cards.values()])))
        blur = float(np.median(np.concatenate([c.blur for c in cards.values()])))
        white = float(np.median(np.concatenate([c.white for c in cards.values()])))
        if side < 12:
            notes.append("The cards are small in the photo: go nearer, or use the larger cards.")
        if not shaken and ((blur > 2.2 and blur > 0.08 * side) or worst > _SOFT_PX):
            notes.append(f"{UNSHARP} hold still and let the camera focus.")
        if white > 250:
            notes.append("The cards are burnt out: expose less.")
        elif white < 60:
            notes.append("The photo is dark: expose longer or light the room evenly.")
    if pattern is not None and len(pattern):
        low = float(np.median(pattern.contrast))
        if low < 14:
            notes.append(
                "The projected pattern is faint: darken the room, or lay white paper wherever it falls."
            )
        if float(np.median(pattern.blur)) > 0.16 * float(np.median(pattern.side)):
            notes.append("The projector is out of focus.")
    return notes
