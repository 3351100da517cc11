"""Notice: words alone on a display that nothing else may be shown on.

Beside `scene`: for `app`, when the display is not the one that the calibration was made for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from projector.picture.faces import text_block
from projector.picture.frame import FrameItem
from projector.picture.look import INKS
from projector.picture.marks import Item, mark
from projector.picture.pages import wrapped
from projector.picture.painter import Painter


def words_only(size: tuple[int, int], lines: Sequence[str]) -> NDArray[np.uint32]:
    """(H, W) uint32 0x00RRGGBB: words on nothing, for a display of whatever size; not to scale."""
    painter = Painter(size)
    low = min(0.03 * size[1], 24.0)
    broken = [part for line in lines for part in wrapped(line, low, 0.9 * size[0])]
    ink = INKS["light"].colours["text"]
    for i, line in enumerate(broken):
        down = 0.5 * size[1] + 2.2 * low * (i - 0.5 * (len(broken) - 1))
        made = mark(
            [s * (1.0, -1.0) + (0.5 * size[0], down) for s in text_block([line], low)],
            width_mm=max(1.6, 0.12 * low),
            colour=ink,
            step_mm=1e9,
        )
        pack = Item("words", (made,), np.eye(3)).packed
        segments = np.hstack([pack.points[pack.first], pack.points[pack.first + 1]])
        frame = FrameItem("words", segments, pack.half_mm, pack.ink, pack.colours)
        painter.put(painter.paint(frame))  # no lens: a millimetre is a pixel
    return painter.canvas
