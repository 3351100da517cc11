"""From a photo to the cloth that lies on the table: outline, holes, flaws, the grain's direction.

After detection and a calibration, beside the solver: the photo's corners tell how the camera sees
the table (`view_of`), the photo is laid out flat in millimetres, the cloth is told from the table
by colour, its edge is then followed to a fraction of a camera pixel (`scan`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibrate.calibration import Calibration
from calibrate.cards import card
from calibrate.detect import Detections, detect
from calibrate.model import CameraModel
from calibrate.pattern import Pattern, bare
from calibrate.photo import check_photo
from calibrate.photo_faults import why_unreadable
from calibrate.plane import apply, matrix_of, place, rigid, signed_area
from calibrate.stages import TablePlane, fit_plane
from configs.errors import Fault, InputError, Refusal

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

_PER_MM = 2.0  # pixels of the flat picture per mm, at most
_LARGEST_PX = 14e6  # of the flat picture
_WORK_SIDE = 640  # long side of the picture in which cloth and table are told apart
_RIM_MM = 25.0  # strip along the edge of the view that must be bare table
_STILL_MM = 1.0  # a card that lies where it lay at the calibration
_LEAST_CLOTH = 0.01  # share of the view; smaller than that is a scrap or a shadow
_CARD_RIM_MM = 4.0  # kept clear round a card: its shadow and a corner that stands up
_LEAST_GAP_MM = 8.0  # a hole or flaw narrower than this is the eye's matter
_LEAST_SIDE_MM = 100.0  # a straight side that may be a selvedge or follow the grain
_BOW_MM = 1.5  # how far a straight side may bend
_REACH_MM = 5.0  # how far the edge may lie from where the colours put it
_FAINT = 8.0  # a step of colour across the edge that leaves its place open
_PRINTED = 7.0  # spread of colour (CIE 1976 L*a*b*) within the cloth from which on it is printed
_FLAW = 9.0  # difference of colour that a person sees as a stain at once (from memory)


def scan_light(size: tuple[int, int]) -> Pattern:
    """What the projector shows while a cloth is photographed: white, chequers in the corners.

    The chequers are the pattern's own, so the photo tells where the beam lies; ``windows`` are the
    white cross between them, where the cloth goes.

    Raises:
        InputError: no projector's picture, or one too small for markers in its corners.
    """
    base = bare(size)
    cells = np.array(list(base.marker_cells().values())).reshape(-1, 2)
    lx, ly = base.lines(0), base.lines(1)
    w, h = size
    spans = []
    for lines, at in ((lx, cells[:, 0]), (ly, cells[:, 1])):
        low, high = (int(at.min()) + 4, int(at.max()) - 2) if len(at) else (0, 0)
        if high - low < 3:
            raise InputError(Fault("--size", f"{w}x{h} is too small for chequers in the corners."))
        spans.append((int(lines[low]), int(lines[high])))
    (x0, x1), (y0, y1) = spans
    return Pattern(size, ((x0, 0, x1 - x0, h), (0, y0, w, y1 - y0)))


@dataclass(frozen=True, eq=False)
class TableView:
    """How one photo sees the table.

    ``camera``: of the table frame, mm; ``placed``: whether that frame is the calibration's (else
    it is that of the first card: sizes are true, the place is not known); ``by``: ``light``,
    ``taped cards`` or ``loose cards``; ``reach_mm`` (4,): x0, y0, x1, y1 of what was recognised;
    ``rms_px``: what the fit left over; ``cards``: their outlines (M, 4, 2) mm, which hide the
    cloth; ``white_mm``: polygons of the lit cross, mm, when the light was the reference;
    ``beam_mm``: outline of the projector's whole picture, mm, where that is known otherwise.
    """

    camera: CameraModel
    placed: bool
    by: str
    reach_mm: Array
    rms_px: float
    cards: Array
    white_mm: tuple[Array, ...] = ()
    beam_mm: Array | None = None
    notes: tuple[str, ...] = ()

    def to_table(self, points_px: ArrayLike) -> Array:
        """(N, 2) camera px to (N, 2) table mm."""
        return self.camera.to_table(points_px)

    def to_px(self, points_mm: ArrayLike) -> Array:
        """(N, 2) table mm to (N, 2) camera px."""
        return self.camera.to_px(points_mm)


@dataclass(frozen=True, eq=False)
class ClothScan:
    """The cloth in the table frame, mm, rings counter-clockwise and not closed.

    ``outline`` (N, 2); ``holes`` and ``flaws``; ``sides``: straight sides as (start, end) (2, 2),
    the longest first; ``grain_rad``: direction of the cloth's length; ``printed``: its colour
    varies so much that stains cannot be told; ``colour``: mean, sRGB; ``doubt_mm``: one sigma of
    the outline's place; ``flat`` (H, W, 3) and ``flat_from_table`` (3, 3): the flattened photo.
    """

    outline: Array
    holes: tuple[Array, ...]
    flaws: tuple[Array, ...]
    sides: tuple[Array, ...]
    grain_rad: float
    grain_by: str
    printed: bool
    colour: tuple[int, int, int]
    doubt_mm: float
    flat: Image = field(repr=False)
    flat_from_table: Array = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def area_mm2(self) -> float:
        """Of the cloth, holes taken off."""
        return abs(signed_area(self.outline)) - sum(abs(signed_area(h)) for h in self.holes)


# -- how the photo sees the table --------------------------------------------------------------


def view_of(photo: ArrayLike, calibration: Calibration | None, name: str = "photo") -> TableView:
    """How a photo of the cloth sees the table, by the scan's light, taped cards or loose cards.

    Args:
        photo: (H, W, 3) uint8 RGB.
        calibration: of the table; None takes loose cards (sizes true, place unknown).

    Raises:
        InputError: not a picture.
        Refusal: nothing in it that tells where the table is, for being mirrored, blurred, too
            dark or burnt out where that is so; or what the detector refuses.
    """
    notes: list[str] = []
    seen = None
    if calibration is not None:
        shown = scan_light(calibration.size)
        for look in _looks(photo, calibration.size, shown, name):
            seen = seen or look
            if look.pattern is not None:
                board = shown.board()
                px = board.corners[look.pattern.index]
                if _round(px, calibration.size):
                    at = calibration.to_table(px)
                    plane = fit_plane({0: (at, look.pattern.px)}, look.size, _sigma(look))
                    white = tuple(_ring_mm(calibration, window) for window in shown.windows)
                    return _view(plane, True, "light", at, look, np.eye(3), white, notes)
            if len(look.cards) >= 2:
                break  # lines are taken out only to read the light: these need none of that
    seen = seen or detect(photo, None, name=name, lenient=True)
    if not seen.cards:
        raise (
            _mirrored_light(photo, calibration, name)
            or why_unreadable(photo, name)
            or Refusal(
                "no-reference",
                "nothing in the picture tells where the table is.",
                "Show the scan's light ('chalkbeam cloth --light light.png --size 1920x1080'), or lay "
                "the printed cards beside the cloth, and take the photo again.",
                where=name,
            )
        )
    cards = {i: (card(i).board().corners[c.index], c.px) for i, c in sorted(seen.cards.items())}
    plane = fit_plane(cards, seen.size, _sigma(seen))
    corners = np.concatenate([place(mm, plane.poses[i]) for i, (mm, _) in cards.items()])
    table = np.eye(3)
    still = {} if calibration is None else _still(plane, calibration)
    if len(still) >= 2:
        here = np.array([plane.poses[i][:2] for i in still])
        there = np.array(list(still.values()))
        table = matrix_of(rigid(here, there))
        return _view(plane, True, "taped cards", corners, seen, table, (), notes, calibration)
    if calibration is not None:
        notes.append(
            "The cards do not lie where they lay when the projector was calibrated, and its light "
            "is not seen: the cloth's size is true, its place on the table is not known. Turn the "
            "lay on to it with Align."
        )
    if len(cards) < 2:
        notes.append(
            "Only one card is seen: far from it the size may be off. Lay two to four round the cloth."
        )
    return _view(plane, False, "loose cards", corners, seen, table, (), notes)


def _mirrored_light(photo: ArrayLike, calibration: Calibration | None, name: str) -> Refusal | None:
    """The refusal of a photo whose light can be read only when it is turned over."""
    if calibration is None:
        return None
    over = np.ascontiguousarray(check_photo(photo, name)[:, ::-1])
    shown = scan_light(calibration.size)
    for look in _looks(over, calibration.size, shown, name):
        if look.pattern is not None and len(look.pattern):
            return Refusal(
                "mirrored",
                "the light in the photo is mirrored.",
                "Switch off 'mirror front camera' on the phone; if it was the camera on its back, "
                "switch off rear projection in the projector's menu.",
                where=name,
            )
    return None


def _looks(
    photo: ArrayLike, size: tuple[int, int], shown: Pattern, name: str
) -> Iterator[Detections]:
    """The photo as it is, then with thin bright lines taken out: a mat's grid hides the markers."""
    import cv2

    yield detect(photo, size, pattern=shown, name=name, lenient=True)
    picture = check_photo(photo, name)
    for share in (450, 270):
        wide = 2 * max(1, round(max(picture.shape) / share / 2)) + 1  # odd: an even one shifts
        lines_out = cv2.morphologyEx(picture, cv2.MORPH_OPEN, np.ones((wide, wide), np.uint8))
        yield detect(lines_out, size, pattern=shown, name=name, lenient=True)


def _round(corners: Array, size: tuple[int, int]) -> bool:
    """Whether these corners (N, 2) of the light, projector px, lie in all its four quarters."""
    quarter = (corners > np.array(size) / 2) @ np.array([1, 2])
    return bool(np.all(np.bincount(quarter, minlength=4) >= 3))


def _sigma(seen: Detections) -> float:
    every = [c.sigma for c in seen.cards.values()]
    if seen.pattern is not None:
        every.append(seen.pattern.sigma)
    return max(float(np.median(np.concatenate(every))), 0.02)


def _ring_mm(calibration: Calibration, window: tuple[int, int, int, int]) -> Array:
    x, y, w, h = (float(v) for v in window)
    t = np.linspace(0, 1, 17)[:-1]
    px = np.concatenate(
        [
            np.column_stack([x + w * t, np.full(16, y)]),
            np.column_stack([np.full(16, x + w), y + h * t]),
            np.column_stack([x + w - w * t, np.full(16, y + h)]),
            np.column_stack([np.full(16, x), y + h - h * t]),
        ]
    )
    return calibration.to_table(px - 0.5)


def _still(plane: TablePlane, calibration: Calibration) -> dict[int, tuple[float, float]]:
    """Cards that lie to one another as at the calibration: card id -> its place there, mm."""
    known = {c.card: c.at_mm for c in calibration.cards if c.card in plane.poses}
    ids = sorted(known)
    agree: dict[int, set[int]] = {i: {i} for i in ids}
    for a in ids:
        for b in ids:
            was = math.dist(known[a], known[b])
            now = math.dist(plane.poses[a][:2], plane.poses[b][:2])
            if a != b and abs(was - now) < _STILL_MM:
                agree[a].add(b)
    best = max(agree.values(), key=len, default=set())
    return {i: known[i] for i in sorted(best)} if len(best) >= 2 else {}


def _view(
    plane: TablePlane,
    placed: bool,
    by: str,
    corners: Array,
    seen: Detections,
    table_from_plane: Array,
    white: tuple[Array, ...],
    notes: Sequence[str],
    calibration: Calibration | None = None,
) -> TableView:
    """A view in the table frame: the plane's camera with the frame moved."""
    camera = plane.camera
    turned = camera.moved(table_from_plane)
    at = apply(table_from_plane, corners)
    outlines = []
    for i, c in seen.cards.items():
        board = card(i).board().corners[c.index]
        spot = turned.to_table(c.px)
        outlines.append(place(card(i).outline_mm(), rigid(board, spot)))
    reach = np.concatenate([at.min(axis=0), at.max(axis=0)])
    return TableView(
        turned,
        placed,
        by,
        reach,
        plane.rms_px,
        np.array(outlines).reshape(-1, 4, 2),
        white,
        None if calibration is None else calibration.beam_outline_mm(),
        tuple(notes),
    )


# -- the cloth ---------------------------------------------------------------------------------


def scan(
    photo: ArrayLike,
    view: TableView,
    *,
    grain_deg: float | None = None,
    grain_side: int | None = None,
    name: str = "photo",
) -> ClothScan:
    """The cloth in a photo.

    Args:
        photo: (H, W, 3) uint8 RGB, the one that ``view`` is of.
        grain_deg: direction of the cloth's length in the table frame, counter-clockwise from x.
        grain_side: number of the straight side that it follows, 1 for the longest; without both,
            the longest straight side is taken for the selvedge or a side cut along the grain.

    Raises:
        InputError: not a picture; no such side.
        Refusal: no cloth that differs from the table, or it runs out of the picture or the light.
    """
    picture = check_photo(photo, name)
    flat, known, flat_from_table = _flatten(picture, view)
    table_from_flat = np.asarray(np.linalg.inv(flat_from_table), dtype=np.float64)
    per_mm = float(flat_from_table[0, 0])
    whole = _told_apart(flat, known, per_mm, name, bool(view.white_mm) or not _whole(known))
    outline_px = _largest_ring(whole)
    lab = _lab(flat)
    fine, doubt_px = _followed(lab, known, outline_px, per_mm)
    outline = apply(table_from_flat, _plain(fine, 0.8 * per_mm))
    inside = _filled(whole.shape, fine)
    deep = _shrunk(inside, 3.0 * per_mm)
    holes_px = _gaps(deep & ~whole & known, per_mm)
    holes = tuple(
        apply(table_from_flat, _plain(_followed(lab, known, ring, per_mm)[0], 0.5 * per_mm))
        for ring in holes_px
    )
    bare_cloth = deep & whole & known
    for ring in holes_px:
        bare_cloth &= ~_grown(_filled(whole.shape, ring), 4.0 * per_mm)
    flaws_px, printed = _flaws(lab, bare_cloth, per_mm)
    flaws = tuple(apply(table_from_flat, ring) for ring in flaws_px)
    sides = straight_sides(outline)
    grain, grain_by = _grain(sides, grain_deg, grain_side, outline)
    colour = flat[bare_cloth].reshape(-1, 3).mean(axis=0) if bare_cloth.any() else np.zeros(3)
    notes = []
    if printed:
        notes.append(
            "The cloth is printed or woven in colours: stains cannot be told from the print. Look "
            "for flaws yourself and write them into the file."
        )
    rest = _others(whole, inside, per_mm)
    if rest:
        notes.append(
            f"{rest} further piece{'s' if rest > 1 else ''} of cloth lie{'' if rest > 1 else 's'} "
            "there; only the largest is taken. Photograph each alone."
        )
    if len(view.cards) and _covered(inside, known) > 0.0:
        notes.append("A card lies on the cloth: what it hides is taken for good cloth.")
    if doubt_px > 0.4 * _REACH_MM * per_mm:
        notes.append(
            "Cloth and table are nearly of one colour: the edge is only roughly known. Lay it on "
            "something of quite another colour, or look at the picture with care."
        )
    span = np.concatenate([outline.min(axis=0), outline.max(axis=0)])
    size = view.reach_mm[2:] - view.reach_mm[:2]
    beyond = np.maximum(view.reach_mm[:2] - span[:2], span[2:] - view.reach_mm[2:]).max()
    if beyond > 0.3 * float(size.max()):
        notes.append(
            "The cloth reaches far past the cards or the light by which its size is known: lay "
            "cards round it for a truer outline."
        )
    doubt = math.hypot(doubt_px / per_mm, view.rms_px * _mm_per_px(view, outline.mean(axis=0)))
    return ClothScan(
        outline,
        holes,
        flaws,
        sides,
        grain,
        grain_by,
        printed,
        (int(colour[0]), int(colour[1]), int(colour[2])),
        doubt,
        flat,
        flat_from_table,
        tuple(notes),
    )


def _flatten(picture: Image, view: TableView) -> tuple[Image, Mask, Array]:
    """The photo laid out flat, y up in the table's sense; what of it is known; flat_from_table."""
    import cv2
    from scipy.interpolate import RectBivariateSpline

    h, w = picture.shape[:2]
    if view.white_mm:
        every = np.concatenate(view.white_mm)
        low, high = every.min(axis=0), every.max(axis=0)
    else:
        t = np.linspace(0.01, 0.99, 25)
        x, y = t * (w - 1), t * (h - 1)
        rim = np.concatenate(
            [
                np.column_stack([x, np.full(25, y[0])]),
                np.column_stack([x, np.full(25, y[-1])]),
                np.column_stack([np.full(25, x[0]), y]),
                np.column_stack([np.full(25, x[-1]), y]),
            ]
        )
        with np.errstate(all="ignore"):
            seen = view.to_table(rim)
        # a slanted view sees to the end of the room: three times the reach of the cards is enough
        size = np.maximum(view.reach_mm[2:] - view.reach_mm[:2], 150.0)
        low, high = view.reach_mm[:2] - size.max(), view.reach_mm[2:] + size.max()
        seen = seen[np.all(np.isfinite(seen), axis=1)]
        if len(seen) > 50:
            low = np.maximum(low, seen.min(axis=0))
            high = np.minimum(high, seen.max(axis=0))
    middle = (view.reach_mm[:2] + view.reach_mm[2:]) / 2
    per_mm = min(_PER_MM, 1.0 / _mm_per_px(view, middle))
    per_mm = min(per_mm, math.sqrt(_LARGEST_PX / float(np.prod(high - low))))
    size_px = np.ceil((high - low) * per_mm).astype(int) + 1
    flat_from_table = np.array(
        [[per_mm, 0, -low[0] * per_mm], [0, -per_mm, high[1] * per_mm], [0, 0, 1.0]]
    )
    nodes_x = np.linspace(0, size_px[0] - 1, max(8, size_px[0] // 24))
    nodes_y = np.linspace(0, size_px[1] - 1, max(8, size_px[1] // 24))
    gx, gy = np.meshgrid(nodes_x, nodes_y)
    at = apply(
        np.asarray(np.linalg.inv(flat_from_table)), np.column_stack([gx.ravel(), gy.ravel()])
    )
    px = np.clip(np.nan_to_num(view.to_px(at), nan=-1e5), -1e5, 1e5)
    maps = []
    for axis in (0, 1):
        spline = RectBivariateSpline(nodes_y, nodes_x, px[:, axis].reshape(gx.shape))
        maps.append(
            np.asarray(spline(np.arange(size_px[1]), np.arange(size_px[0])), dtype=np.float32)
        )
    fine = 1.0 / (per_mm * _mm_per_px(view, middle))  # camera px per flat px
    source = cv2.GaussianBlur(picture, (0, 0), 0.45 * fine) if fine > 1.2 else picture
    flat = cv2.remap(source, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    known = (maps[0] > 2) & (maps[0] < w - 3) & (maps[1] > 2) & (maps[1] < h - 3)
    if view.white_mm:
        lit = np.zeros(known.shape, dtype=np.uint8)
        for ring in view.white_mm:
            cv2.fillPoly(lit, [_fixed(apply(flat_from_table, ring))], 1, shift=4)
        known &= _shrunk(lit > 0, 4.0 * per_mm)
    if view.beam_mm is not None and _lit(
        np.asarray(flat), known, apply(flat_from_table, view.beam_mm)
    ):
        known &= _shrunk(_filled(known.shape, apply(flat_from_table, view.beam_mm)), 4 * per_mm)
    for ring in view.cards:
        inner = ring.mean(axis=0)
        wide = inner + (ring - inner) * (1 + 2 * _CARD_RIM_MM / np.hypot(*(ring[0] - ring[2])))
        hide = np.zeros(known.shape, dtype=np.uint8)
        cv2.fillPoly(hide, [_fixed(apply(flat_from_table, wide))], 1, shift=4)
        known &= hide == 0
    return np.asarray(flat, dtype=np.uint8), np.asarray(known), flat_from_table


def _lit(flat: Image, known: Mask, beam: Array) -> bool:
    """Whether the projector lights its picture: brighter just inside its edge than just outside."""
    path = _evenly(beam, 8.0)
    middle = path.mean(axis=0)
    away = (path - middle) / np.hypot(*(path - middle).T)[:, None]
    sides = []
    for step in (-8.0, 8.0):
        at = np.round(path + step * away).astype(int)
        ok = np.all((at >= 0) & (at < np.array(known.shape[::-1])), axis=1)
        ok[ok] &= known[at[ok, 1], at[ok, 0]]
        level = np.full(len(at), np.nan)
        level[ok] = flat[at[ok, 1], at[ok, 0]].mean(axis=1)
        sides.append(level)
    both = np.isfinite(sides[0]) & np.isfinite(sides[1])
    return bool(both.sum() > 20 and np.median((sides[0] - sides[1])[both]) > 12)


def _whole(known: Mask) -> bool:
    """Whether the view reaches the picture's own edges."""
    return bool(known[:, [0, -1]].any() or known[[0, -1]].any())


def _told_apart(flat: Image, known: Mask, per_mm: float, name: str, lit: bool) -> Mask:
    """Which pixels are cloth: those that the bare table along the view's edge does not explain.

    A first guess by the distance from the table's few colours, then GrabCut (Rother, Kolmogorov
    and Blake 2004, OpenCV's), at a size at which a mat's grid lines are one texture.
    """
    import cv2

    h, w = known.shape
    factor = min(1.0, _WORK_SIDE / max(h, w))
    small = np.asarray(
        cv2.resize(flat, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), dtype=np.uint8
    )
    seen = (
        cv2.resize(known.astype(np.uint8), small.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    )
    lab = _lab(small)
    scale = per_mm * factor
    rim = _rim(seen, max(2.0, _RIM_MM * scale))
    if rim.sum() < 50:
        raise Refusal(
            "no-table",
            "too little of the table is seen round the cloth.",
            "Step back, so that a hand's breadth of bare table shows on every side.",
            where=name,
        )
    samples = lab[rim]
    away = _distance(lab, samples)
    guess = seen & (away > 3.5)
    guess = _opened(guess, 4.0 * scale)
    if guess.sum() < _LEAST_CLOTH * seen.sum():
        raise _no_cloth(name)
    marks = np.full(seen.shape, cv2.GC_PR_BGD, dtype=np.uint8)
    marks[guess] = cv2.GC_PR_FGD
    marks[rim & (away < 3.5)] = cv2.GC_BGD
    marks[~seen] = cv2.GC_BGD
    eight = cv2.cvtColor(small, cv2.COLOR_RGB2LAB)
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(11)
    cv2.grabCut(eight, marks, (0, 0, 0, 0), models[0], models[1], 5, cv2.GC_INIT_WITH_MASK)
    cloth = ((marks == cv2.GC_FGD) | (marks == cv2.GC_PR_FGD)) & seen
    cloth = _opened(cloth, 2.0 * scale)
    if cloth.sum() < _LEAST_CLOTH * seen.sum():
        raise _no_cloth(name)
    largest = _components(cloth)[0]
    edge = ~_shrunk(np.pad(seen, 1), 1.5)[1:-1, 1:-1] & seen
    outer = edge & (_grown(~_filled_holes(seen), 3.0) | _frame(seen.shape))
    touching = (largest & outer).sum() / max(1, outer.sum())
    if touching > 0.01:
        raise Refusal(
            "cloth-cut-off",
            "the cloth runs out of the light." if lit else "the cloth runs out of the picture.",
            "Lay it wholly inside the white, clear of the chequered corners, or use cards instead."
            if lit
            else "Step back or fold it, so that bare table shows on every side.",
            where=name,
            data={"share_of_rim": round(float(touching), 3)},
        )
    # what a card hides belongs to whatever lies round it
    for spot in _components(~seen & _filled_holes(seen)):
        ring = _grown(spot, 2.0) & seen
        if ring.any() and cloth[ring].mean() > 0.5:
            cloth |= spot
    big = cv2.resize(cloth.astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(big > 0.5)


def _no_cloth(name: str) -> Refusal:
    return Refusal(
        "no-cloth",
        "no cloth can be told from the table, or it runs out of what is seen.",
        "Let bare table show all round, lay it on something of quite another colour, and photograph it again.",
        where=name,
    )


def _distance(lab: Array, samples: Array) -> Array:
    """How far each colour lies from the nearest of the few that the samples hold, in their spreads."""
    import cv2

    pick = samples[:: max(1, len(samples) // 6000)].astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.1)
    cv2.setRNGSeed(5)
    count = min(4, len(pick))
    _, labels, middles = cv2.kmeans(pick, count, None, criteria, 3, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
    best = np.full(lab.shape[:2], np.inf)
    for k in range(count):
        mine = pick[labels.ravel() == k].astype(np.float64)
        if len(mine) < 0.03 * len(pick):
            continue
        spread = np.cov(mine.T) + np.diag([4.0, 1.0, 1.0])
        gone = lab - middles[k]
        best = np.minimum(
            best, np.sqrt(np.einsum("...i,ij,...j->...", gone, np.linalg.inv(spread), gone))
        )
    return best


def _followed(lab: Array, known: Mask, ring: Array, per_mm: float) -> tuple[Array, float]:
    """The ring (N, 2) px moved on to the step of colour near it, and the doubt of its place, px.

    Along the normal at each place: where the colour on the one side differs most from the other,
    to a fraction of a pixel by the centre of the step; smoothed along the edge by a median.
    """
    from scipy.ndimage import map_coordinates, median_filter, uniform_filter1d

    path = _evenly(ring, 1.5 * per_mm)
    n = len(path)
    if n < 12:
        return ring, 0.5
    tangent = np.roll(path, -2, axis=0) - np.roll(path, 2, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    reach = _REACH_MM * per_mm
    flank = max(3.0, 2.5 * per_mm)
    t = np.arange(-reach - flank, reach + flank + 0.25, 0.5)
    at = path[:, None] + normal[:, None] * t[None, :, None]
    where = [at[..., 1].ravel(), at[..., 0].ravel()]
    profile = np.stack(
        [map_coordinates(lab[..., c], where, order=1, mode="nearest") for c in range(3)], axis=-1
    ).reshape(n, len(t), 3)
    sure = map_coordinates(known.astype(np.float32), where, order=1, mode="nearest")
    hidden = sure.reshape(n, len(t)).min(axis=1) < 0.99
    profile = uniform_filter1d(profile, 3, axis=0, mode="wrap")
    k = round(flank / 0.5)
    total = np.cumsum(np.pad(profile, ((0, 0), (1, 0), (0, 0))), axis=1)
    after = (total[:, 2 * k :] - total[:, k:-k]) / k
    before = (total[:, k:-k] - total[:, : -2 * k]) / k
    step = np.sqrt(np.sum((after - before) ** 2, axis=2))
    places = t[k:][: step.shape[1]] - 0.25
    near = np.exp(-0.5 * (places / (0.6 * reach)) ** 2)  # prefer the step near the first guess
    peak = np.argmax(step * near, axis=1)
    rows = np.arange(n)
    lo, hi = np.clip(peak - 1, 0, None), np.clip(peak + 1, None, step.shape[1] - 1)
    a, b, c = step[rows, lo], step[rows, peak], step[rows, hi]
    bend = a - 2 * b + c
    fraction = np.where(bend < -1e-9, 0.5 * (a - c) / np.where(bend < -1e-9, bend, 1.0), 0.0)
    shift = places[peak] + 0.5 * np.clip(fraction, -1, 1)
    shift = np.where(hidden | (b < 2.0), np.nan, shift)
    if np.isnan(shift).all():
        return ring, _REACH_MM * per_mm
    gaps = np.isnan(shift)
    if gaps.any():
        good = np.flatnonzero(~gaps)
        shift = np.interp(rows, good, shift[good], period=n)
    narrow, wide = (median_filter(shift, k, mode="wrap") for k in (5, 13))
    # a mat's line or a thread beside the edge draws a stretch of it away
    smooth = np.where(np.abs(narrow - wide) > 0.8 * per_mm, wide, narrow)
    left = max(float(1.4826 * np.median(np.abs(shift - smooth))), 0.1)
    # the edge is guessed where its step is faint, or no more than the grain of wood beside it
    faint = b < np.maximum(_FAINT, 4.0 * np.quantile(step, 0.25, axis=1))
    if np.mean(faint[~hidden]) > 0.1:
        left = max(left, 0.8 * _REACH_MM * per_mm)
    return path + normal * smooth[:, None], left


def _flaws(lab: Array, cloth: Mask, per_mm: float) -> tuple[list[Array], bool]:
    """Rings round stains and darns, and whether the cloth is printed."""
    import cv2

    if cloth.sum() < 100:
        return [], False
    factor = min(1.0, 1.0 / per_mm)  # at a millimetre a pixel the weave is gone
    small = cv2.resize(
        lab.astype(np.float32), None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA
    )
    inside = (
        cv2.resize(cloth.astype(np.uint8), small.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    )
    scale = per_mm * factor
    weight = inside.astype(np.float32)
    # light changes slowly over a table: its course is taken from a picture a quarter as large
    size = small.shape[1::-1]
    coarse = (max(8, size[0] // 4), max(8, size[1] // 4))
    sigma = 45.0 * scale * coarse[0] / size[0]
    parts = [
        cv2.GaussianBlur(cv2.resize(p, coarse, interpolation=cv2.INTER_AREA), (0, 0), sigma)
        for p in (small * weight[..., None], weight)
    ]
    course = np.asarray(parts[0]) / np.maximum(np.asarray(parts[1]), 1e-3)[..., None]
    base = cv2.resize(course, size, interpolation=cv2.INTER_LINEAR)
    rest = (small - base) * weight[..., None]
    away = np.sqrt(np.sum(rest.astype(np.float64) ** 2, axis=2))
    typical = float(np.quantile(away[inside], 0.8))
    if typical > _PRINTED:
        return [], True
    limit = max(_FLAW, 4.0 * float(np.median(away[inside])))
    odd = _opened((away > limit) & inside, 1.5 * scale)
    rings = []
    for spot in _components(_grown(odd, 2.0 * scale)):
        if (odd & spot).sum() < (_LEAST_GAP_MM * scale) ** 2 * 0.4:
            continue
        contours, _ = cv2.findContours(
            spot.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
        )
        hull = cv2.convexHull(max(contours, key=len)).reshape(-1, 2).astype(np.float64)
        if len(hull) >= 3:
            rings.append(_plain((hull + 0.5) / factor - 0.5, 0.7 * per_mm))
    return rings, False


def straight_sides(outline: ArrayLike) -> tuple[Array, ...]:
    """Straight stretches of a ring (N, 2) mm, each (2, 2) start and end, the longest first.

    Stretches that bend by no more than a selvedge does; shorter than 10 cm are left out.
    """
    import cv2

    ring = np.asarray(outline, dtype=np.float64)
    few = cv2.approxPolyDP(ring.astype(np.float32).reshape(-1, 1, 2), _BOW_MM, True)
    corners = few.reshape(-1, 2).astype(np.float64)
    sides = [np.array([a, b]) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    sides = [s for s in sides if math.dist(s[0], s[1]) >= _LEAST_SIDE_MM]
    return tuple(sorted(sides, key=lambda s: -math.dist(s[0], s[1])))


def _grain(
    sides: Sequence[Array], deg: float | None, number: int | None, outline: Array
) -> tuple[float, str]:
    if deg is not None:
        return _half(math.radians(deg)), "given"
    if number is not None:
        if not 1 <= number <= len(sides):
            raise InputError(
                Fault(
                    "--grain-side",
                    f"there is no straight side {number}; {len(sides)} were found.",
                    "The picture beside the file numbers them; or give --grain in degrees.",
                )
            )
        d = sides[number - 1][1] - sides[number - 1][0]
        return _half(math.atan2(d[1], d[0])), f"side {number}"
    if sides:
        d = sides[0][1] - sides[0][0]
        return _half(math.atan2(d[1], d[0])), "longest side"
    gone = outline - outline.mean(axis=0)
    axis = np.linalg.svd(gone, full_matrices=False)[2][0]
    return _half(math.atan2(axis[1], axis[0])), "longest way"


def _half(angle: float) -> float:
    """The same line, told in (−90°, 90°]."""
    while angle <= -math.pi / 2:
        angle += math.pi
    while angle > math.pi / 2:
        angle -= math.pi
    return angle


# -- pictures ----------------------------------------------------------------------------------


def picture(found: ClothScan) -> Image:
    """The flattened photo with what was found drawn over it: (H, W, 3) uint8 RGB.

    Outline drawn whole, holes dashed, flaws dotted, both named; the straight sides numbered; an
    arrow along the grain.
    """
    import cv2

    out = found.flat.copy()
    thick = max(2, round(max(out.shape) / 700))

    def line(ring: Array, ink: tuple[int, int, int], dash: float = 0.0) -> None:
        px = apply(found.flat_from_table, ring)
        closed = np.concatenate([px, px[:1]])
        if dash:
            path = _evenly(px, dash)
            for k in range(0, len(path) - 1, 2):
                _stroke(out, path[k : k + 2], ink, thick)
        else:
            _stroke(out, closed, ink, thick)

    line(found.outline, (255, 210, 0))
    for ring in found.holes:
        line(ring, (255, 210, 0), 6.0 * thick)
        _word(out, "hole", apply(found.flat_from_table, ring.mean(axis=0)[None])[0], thick)
    for ring in found.flaws:
        line(ring, (255, 255, 255), 2.5 * thick)
        _word(out, "flaw", apply(found.flat_from_table, ring.mean(axis=0)[None])[0], thick)
    for number, side in enumerate(found.sides, 1):
        d = (side[1] - side[0]) / math.dist(side[0], side[1])
        words = f"{number}: {math.dist(side[0], side[1]) / 10:.1f} cm"
        width, height = _word_size(words, thick)
        clear = (abs(d[1]) * width / 2 + abs(d[0]) * height) + 3 * thick  # inward of a ccw ring
        spot = apply(found.flat_from_table, side.mean(axis=0)[None])[0]
        _word(out, words, spot + clear * np.array([-d[1], -d[0]]), thick)
    # the arrow stands where there is most cloth round it
    room = cv2.distanceTransform(
        _filled(out.shape, apply(found.flat_from_table, found.outline)).astype(np.uint8),
        cv2.DIST_L2, 5,
    )  # fmt: skip
    y, x = np.unravel_index(int(np.argmax(room)), room.shape)
    half = 0.6 * float(room[y, x])
    along = np.array([math.cos(found.grain_rad), -math.sin(found.grain_rad)])  # y runs down here
    tip = np.array([x, y]) + half * along
    _stroke(out, np.array([tip - 2 * half * along, tip]), (255, 255, 255), thick)
    for way in (2.7, -2.7):
        c, s = math.cos(way), math.sin(way)
        barb = 12 * thick * np.array([c * along[0] - s * along[1], s * along[0] + c * along[1]])
        _stroke(out, np.array([tip, tip + barb]), (255, 255, 255), thick)
    return np.asarray(np.clip(out, 0, 255), dtype=np.uint8)


def _stroke(canvas: Image, px: Array, ink: tuple[int, int, int], thick: int) -> None:
    import cv2

    for colour, width in (((0, 0, 0), thick + 2), (ink, thick)):
        cv2.polylines(canvas, [_fixed(px)], False, colour, width, cv2.LINE_AA, shift=4)


def _word(canvas: Image, words: str, at: Array, thick: int) -> None:
    import cv2

    w, h = _word_size(words, thick)
    spot = (round(float(at[0]) - w / 2), round(float(at[1]) + h / 2))
    box = (spot[0] - thick, spot[1] - h - 2 * thick, w + 2 * thick, h + 4 * thick)
    cv2.rectangle(canvas, box, (0, 0, 0), cv2.FILLED)
    cv2.putText(
        canvas, words, spot, cv2.FONT_HERSHEY_SIMPLEX, 0.28 * thick, (255, 255, 255),
        max(1, thick - 1), cv2.LINE_AA,
    )  # fmt: skip


def _word_size(words: str, thick: int) -> tuple[int, int]:
    """Width and height of words in the picture, px."""
    import cv2

    (w, h), _ = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, 0.28 * thick, max(1, thick - 1))
    return int(w), int(h)


# -- small things ------------------------------------------------------------------------------


def _lab(picture: Image) -> Array:
    """CIE 1976 L*a*b* of an sRGB picture, (H, W, 3) float32."""
    import cv2

    return np.asarray(cv2.cvtColor(picture.astype(np.float32) / 255, cv2.COLOR_RGB2LAB))


def _mm_per_px(view: TableView, at: Array) -> float:
    """Size of a camera pixel on the table at a place (2,), mm."""
    _, slope, _ = view.camera.project(np.asarray(at, dtype=np.float64)[None])
    return 1.0 / math.sqrt(max(abs(float(np.linalg.det(slope[0]))), 1e-12))


def _fixed(px: Array) -> NDArray[np.int32]:
    return np.round(np.asarray(px) * 16).astype(np.int32).reshape(-1, 1, 2)


def _evenly(ring: Array, step: float) -> Array:
    """A closed ring resampled at about this step."""
    closed = np.concatenate([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(3, round(along[-1] / step))
    at = np.linspace(0, along[-1], count, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, k]) for k in (0, 1)])


def _plain(ring: Array, tolerance: float) -> Array:
    """The ring with the points left out that lie on the line between others; y up: ccw."""
    import cv2

    few = cv2.approxPolyDP(ring.astype(np.float32).reshape(-1, 1, 2), tolerance, True)
    out = few.reshape(-1, 2).astype(np.float64)
    if len(out) < 3:
        out = ring
    # flat pictures have y down: counter-clockwise on the table is clockwise here
    return out if signed_area(out) < 0 else out[::-1]


def _largest_ring(mask: Mask) -> Array:
    import cv2

    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    best = max(contours, key=cv2.contourArea)
    return np.asarray(best.reshape(-1, 2), dtype=np.float64)


def _gaps(mask: Mask, per_mm: float) -> list[Array]:
    """Rings of holes large enough to matter, the largest first."""
    return [
        _largest_ring(spot)
        for spot in _components(_opened(mask, 2.0 * per_mm))
        if spot.sum() > 0.6 * (_LEAST_GAP_MM * per_mm) ** 2
    ]


def _components(mask: Mask) -> list[Mask]:
    """Connected parts, the largest first."""
    import cv2

    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), None, None, None, 4
    )
    order = sorted(range(1, count), key=lambda k: -int(stats[k, cv2.CC_STAT_AREA]))
    return [labels == k for k in order[:60] if stats[k, cv2.CC_STAT_AREA] >= 12]


def _others(cloth: Mask, inside: Mask, per_mm: float) -> int:
    return sum(1 for c in _components(cloth & ~inside) if c.sum() > (60 * per_mm) ** 2)


def _covered(inside: Mask, known: Mask) -> float:
    return float((inside & ~known).mean())


def _filled(shape: tuple[int, ...], ring: Array) -> Mask:
    import cv2

    out = np.zeros(shape[:2], dtype=np.uint8)
    cv2.fillPoly(out, [_fixed(ring)], 1, shift=4)
    return np.asarray(out > 0)


def _filled_holes(mask: Mask) -> Mask:
    from scipy.ndimage import binary_fill_holes

    return np.asarray(binary_fill_holes(mask))


def _frame(shape: tuple[int, ...]) -> Mask:
    out = np.zeros(shape[:2], dtype=bool)
    out[[0, -1]] = True
    out[:, [0, -1]] = True
    return out


def _rim(seen: Mask, width: float) -> Mask:
    """A strip along the outer edge of what is seen."""
    whole = np.pad(_filled_holes(seen), 1)
    return np.asarray(seen & ~_shrunk(whole, width + 1)[1:-1, 1:-1])


def _disc(radius: float) -> NDArray[np.uint8]:
    import cv2

    size = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), dtype=np.uint8)


def _shrunk(mask: Mask, radius: float) -> Mask:
    import cv2

    return np.asarray(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) > radius)


def _grown(mask: Mask, radius: float) -> Mask:
    return ~_shrunk(~mask, radius)


def _opened(mask: Mask, radius: float) -> Mask:
    import cv2

    kind = cv2.MORPH_OPEN
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), kind, _disc(radius)) > 0)


def as_data(found: ClothScan, view: TableView) -> Mapping[str, Any]:
    """The numbers for programs."""
    span = np.ptp(found.outline, axis=0)
    return {
        "placed": view.placed,
        "by": view.by,
        "area_mm2": round(found.area_mm2, 1),
        "span_mm": [round(float(v), 2) for v in span],
        "holes": len(found.holes),
        "flaws": len(found.flaws),
        "printed": found.printed,
        "grain_deg": round(math.degrees(found.grain_rad), 3),
        "grain_by": found.grain_by,
        "doubt_mm": round(found.doubt_mm, 3),
        "colour": "#{:02x}{:02x}{:02x}".format(*found.colour),
    }
