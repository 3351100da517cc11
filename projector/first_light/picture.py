"""The pictures of first light: a page of words, the pattern, the crosses, what was found."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drafting.placement import Array
from projector.first_light.stand_in import plain_calibration
from projector.picture import pages, signs, sketches
from projector.picture import strip as strips
from projector.picture.buttons import Button
from projector.picture.marks import Item
from projector.picture.painter import EMPTY, Box, Painted, Painter, packed
from projector.picture.stage import Stage
from projector.picture.view import View

if TYPE_CHECKING:
    from projector.first_light.light import FirstLight


class Picture:
    """The canvas of first light; ``places``: key → (4, 2) mm of the button that does the same."""

    def __init__(self, light: FirstLight) -> None:
        self.light = light
        self.painter = Painter(light.size)
        self.stage = Stage(light.docket, plain_calibration(light.size), View(), words_only=True)
        self.lens = self.stage.lens
        self.places: dict[str, Array] = {}
        self.stale = True
        self._below = self.painter.canvas.copy()
        self._cursor: Painted = EMPTY

    def frame(self) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed."""
        if self.stale:
            self.stale = False
            self.painter.clear()
            self.places = {}
            self._cursor = EMPTY
            self.light.room.draw(self.light, self)
            self._put_buttons()
            np.copyto(self._below, self.painter.canvas)
            self._put_cursor()
            return [(0, 0, *self.light.size)]
        return self._put_cursor()

    def _put_cursor(self) -> list[Box]:
        """The pointer, where it is now; never on the pattern, which a camera looks at."""
        made = EMPTY
        if self.light.at_px is not None and self.light.room.POINTER:
            x, y = (round(v, 1) for v in self.light.at_px)
            made = self.painter.paint(
                self.lens.frame(signs.cursor(self.stage, self.lens.to_table(x, y)))
            )
        old, self._cursor = self._cursor, made
        if np.array_equal(old.index, made.index):
            return []
        self.painter.carry(old, self._below, self.painter.canvas)
        self.painter.put(made)
        return [p.box for p in (old, made) if p.index.size]

    def _put_buttons(self) -> None:
        """The page's own buttons, along her edge or, where crosses lie there, in the middle."""
        buttons = [
            Button(key, words, printed, marked=n == self.light.marked)
            for n, (key, words, printed) in enumerate(self.light.buttons())
        ]
        if not buttons:
            return
        strip = strips.strip(self.stage, (), buttons)
        high = float(np.ptp(self.lens.beam_mm[:, 1]))
        up = np.array([0.0, self.light.room.UP * high])
        frame = strip.item.table_from_item.copy()
        frame[:2, 2] += up
        self.clear(strip.ground_mm + up)
        self.put(strip.item.moved(frame))
        self.places = {key: box + up for key, box in strip.buttons.items()}

    def clear(self, ground_mm: Array) -> None:
        """Nothing may run under words or buttons."""
        self.painter.fill(self.lens.calibration.to_projector(ground_mm), self.painter.ground)

    def put(self, item: Item, stage: Stage | None = None) -> None:
        """One item on the canvas; of another ``stage`` than the stand-in's."""
        lens = self.lens if stage is None else stage.lens
        self.painter.put(self.painter.paint(lens.frame(item)))

    def under(self, x_px: float, y_px: float) -> str | None:
        """The key of the button under a pixel; None beside all of them."""
        at = self.lens.to_table(x_px, y_px)
        for key, box in self.places.items():  # upright here: the stand-in has no lens
            if (at >= box.min(axis=0)).all() and (at <= box.max(axis=0)).all():
                return key
        return None

    def page(
        self,
        title: str,
        rows: Sequence[tuple[str, str]],
        foot: Sequence[str],
        drawn: Sequence[sketches.Sketch] = (),
    ) -> None:
        """A page of text, sketches of what to do under its rows, then what is said."""
        said = (self.light.said,) if self.light.said else ()
        self.put(pages.page(self.stage, title, rows, (*said, *foot))[0])
        if drawn:
            frame, room = pages.free_room(self.stage, len(rows), (*said, *foot))
            sketch = sketches.row_of(self.stage, drawn, frame, room)
            if sketch is not None:
                self.put(sketch)

    def picture(self, rgb: NDArray[Any]) -> None:
        """A picture pixel for pixel: (H, W) or (H, W, 3) uint8."""
        if rgb.ndim == 2:
            rgb = np.repeat(rgb[:, :, None], 3, axis=2)
        self.painter.canvas[:] = packed(rgb)
