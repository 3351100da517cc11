"""The flattened photo with what was found drawn over it."""

from __future__ import annotations

import math

import numpy as np

from calibrate.arrays import Array, Image
from calibrate.cloth_scan.masks import evenly_spaced, filled_in, fixed_point
from calibrate.cloth_scan.scan import ClothScan
from calibrate.plane import apply


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
            path = evenly_spaced(px, dash)
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
        filled_in(out.shape, apply(found.flat_from_table, found.outline)).astype(np.uint8),
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
        cv2.polylines(canvas, [fixed_point(px)], False, colour, width, cv2.LINE_AA, shift=4)


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
