"""A drawing in mm as a picture in pixels: for what is not printed but looked at.

The same drawings become SVG and PDF in `drafting.figures.drawing`; letters are the strokes that
the table writes with. Drawn with OpenCV, smooth to a sixteenth of a pixel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drafting.outline import polyline_length, stretch_of
from projector.lettering import text_strokes, text_width

if TYPE_CHECKING:
    from drafting.figures.drawing import Drawing

DOTS_PER_MM = 6.0
MOST_PX = 60_000  # a picture as high as that opens in no viewer
_CAP = 0.7  # of a letter's size, its capitals' height
_SHIFT = 4
_WEIGHT = {False: 0.06, True: 0.1}  # of a letter's size, its line


def picture_of(drawing: Drawing, dots_per_mm: float = DOTS_PER_MM) -> NDArray[np.uint8]:
    """(H, W, 3) uint8 RGB picture of a drawing, so many dots a millimetre."""
    import cv2

    from drafting.figures.drawing import PENS

    size = (round(drawing.height_mm * dots_per_mm), round(drawing.width_mm * dots_per_mm), 3)
    image = np.full(size, 255, dtype=np.uint8)

    def line(points: NDArray[np.float64], width: float, colour: tuple[int, int, int]) -> None:
        px = np.round(points * dots_per_mm * 2**_SHIFT).astype(np.int32)
        thick = max(1, round(width * dots_per_mm))
        cv2.polylines(image, [px], False, colour, thick, cv2.LINE_AA, _SHIFT)

    for stroke in drawing.strokes:
        pen = PENS[stroke.pen]
        points = np.vstack([stroke.points, stroke.points[:1]]) if stroke.closed else stroke.points
        for part in _dashed(points, pen.dash):
            line(part, pen.width_mm, pen.colour)
    for text in drawing.writings:
        cap = _CAP * text.size_mm
        wide = text_width(text.text, cap)
        left = {"start": 0.0, "middle": -0.5 * wide, "end": -wide}[text.anchor]
        at = np.array(text.at) + np.array([left, 0.0])
        for glyph in text_strokes(text.text, cap):
            line(glyph * (1.0, -1.0) + at, text.size_mm * _WEIGHT[text.strong], text.colour)
    return image


def _dashed(
    points: NDArray[np.float64], dash: tuple[float, float] | tuple[()]
) -> list[NDArray[np.float64]]:
    """A line as its dashes, mm on and off."""
    if not dash:
        return [points]
    total = polyline_length(points)
    starts = np.arange(0.0, total, sum(dash))
    return [stretch_of(points, start, min(start + dash[0], total)) for start in starts]
