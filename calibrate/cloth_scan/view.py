"""How one photo sees the table: by the scan's light, by taped cards, or by loose ones."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array
from calibrate.calibration import Calibration
from calibrate.cards import card
from calibrate.detect import Detections, detect
from calibrate.model import CameraModel
from calibrate.pattern import Pattern, bare
from calibrate.photo import check_photo
from calibrate.photo_faults import why_unreadable
from calibrate.plane import apply, matrix_of, place, rigid, rim
from calibrate.stages import TablePlane, fit_plane
from configs.errors import Fault, InputError, Refusal

_STILL_MM = 1.0  # a card that lies where it lay at the calibration


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

    ``camera``: of the table frame, mm; ``by``: ``light``, ``taped cards`` or ``loose cards`` (by
    these the frame is that of the first card: sizes are true, the place is not known); ``reach_mm`` (4,): x0, y0, x1, y1 of what was recognised;
    ``rms_px``: what the fit left over; ``cards``: their outlines (M, 4, 2) mm, which hide the
    cloth; ``white_mm``: polygons of the lit cross, mm, when the light was the reference;
    ``beam_mm``: outline of the projector's whole picture, mm, where that is known otherwise.
    """

    camera: CameraModel
    by: str
    reach_mm: Array
    rms_px: float
    cards: Array
    white_mm: tuple[Array, ...] = ()
    beam_mm: Array | None = None
    notes: tuple[str, ...] = ()

    @property
    def placed(self) -> bool:
        """Whether the frame is the calibration's."""
        return self.by != "loose cards"


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
                    return _view(plane, "light", at, look, np.eye(3), white)
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
    if calibration is not None and len(still) >= 2:
        here = np.array([plane.poses[i][:2] for i in still])
        there = np.array(list(still.values()))
        table = matrix_of(rigid(here, there))
        return _view(plane, "taped cards", corners, seen, table, beam=calibration.beam_outline_mm())
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
    return replace(_view(plane, "loose cards", corners, seen, table), notes=tuple(notes))


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
    x, y, w, h = window
    return calibration.to_table(rim(x, y, x + w, y + h, 16) - 0.5)


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
    by: str,
    corners: Array,
    seen: Detections,
    table_from_plane: Array,
    white: tuple[Array, ...] = (),
    beam: Array | None = None,
) -> TableView:
    """A view in the table frame: the plane's camera with the frame moved."""
    turned = plane.camera.moved(table_from_plane)
    at = apply(table_from_plane, corners)
    outlines = []
    for i, c in seen.cards.items():
        board = card(i).board().corners[c.index]
        spot = turned.to_table(c.px)
        outlines.append(place(card(i).outline_mm(), rigid(board, spot)))
    reach = np.concatenate([at.min(axis=0), at.max(axis=0)])
    return TableView(
        turned,
        by,
        reach,
        plane.rms_px,
        np.array(outlines).reshape(-1, 4, 2),
        white,
        beam,
    )


def mm_per_px(view: TableView, at: Array) -> float:
    """Size of a camera pixel on the table at a place (2,), mm."""
    _, slope, _ = view.camera.project(np.asarray(at, dtype=np.float64)[None])
    return 1.0 / math.sqrt(max(abs(float(np.linalg.det(slope[0]))), 1e-12))
