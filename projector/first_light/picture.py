"""The pictures of first light: a page of words, the pattern, the crosses, what was found."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.units import INCH_UNITS
from drafting.placement import Array, carry
from projector.first_light.stand_in import plain_calibration
from projector.first_light.words import (
    BARS_ASKED,
    CAUTIONS,
    IN_A_WINDOW,
    LOOK,
    PHOTO_STEPS,
    PRESENTER,
    START,
    TO_THE_LAY,
)
from projector.lettering import text_width
from projector.picture import pages, signs, sketches
from projector.picture import strip as strips
from projector.picture.buttons import Button, rounded
from projector.picture.frame import Lens
from projector.picture.marks import Item
from projector.picture.painter import EMPTY, Box, Painted, Painter
from projector.picture.stage import Stage
from projector.picture.view import View

if TYPE_CHECKING:
    from projector.first_light.light import FirstLight


class Picture:
    """The canvas of first light; ``places``: key → (4, 2) mm of the button that does the same."""

    def __init__(self, light: FirstLight) -> None:
        self.light = light
        self.painter = Painter(light.size)
        self.lens = Lens(plain_calibration(light.size))
        self.stage = Stage.for_words(light.docket, plain_calibration(light.size), View())
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
            PAGES[self.light.page](self)
            self._put_buttons()
            np.copyto(self._below, self.painter.canvas)
            self._put_cursor()
            return [(0, 0, *self.light.size)]
        return self._put_cursor()

    def _put_cursor(self) -> list[Box]:
        """The pointer, where it is now; never on the pattern, which a camera looks at."""
        made = EMPTY
        if self.light.at_px is not None and self.light.page != "pattern":
            x, y = (round(v, 1) for v in self.light.at_px)
            made = self.painter.paint(
                self.lens.frame(signs.cursor(self.stage, self.lens.to_table(x, y)))
            )
        old, self._cursor = self._cursor, made
        if np.array_equal(old.index, made.index):
            return []
        self.painter.restore(old, self._below)
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
        up = np.zeros(2)
        if self.light.page == "tape":
            up = 0.26 * np.array([0.0, float(np.ptp(self.lens.beam_mm[:, 1]))])
        frame = strip.item.table_from_item.copy()
        frame[:2, 2] += up
        self.clear(strip.ground_mm + up)
        self.put(strip.item.moved(frame))
        self.places = {key: box + up for key, box in strip.buttons.items()}

    def clear(self, ground_mm: Array) -> None:
        """Nothing may run under words or buttons."""
        self.painter.fill(self.lens.calibration.to_projector(ground_mm), self.painter.ground)

    def put(self, item: Item) -> None:
        """One item on the canvas."""
        self.painter.put(self.painter.paint(self.lens.frame(item)))

    def page(
        self,
        title: str,
        rows: Sequence[tuple[str, str]],
        foot: Sequence[str],
        drawn: Sequence[sketches.Sketch] = (),
    ) -> None:
        """A page of text, sketches of what to do under its rows, then what is said."""
        said = (self.light.said,) if self.light.said else ()
        self.put(pages.page(self.stage, title, rows, (*said, *foot)))
        if drawn:
            frame, room = pages.free_room(self.stage, len(rows), (*said, *foot))
            sketch = sketches.row_of(self.stage, drawn, frame, room)
            if sketch is not None:
                self.put(sketch)

    def picture(self, rgb: NDArray[Any]) -> None:
        """A picture pixel for pixel: (H, W) or (H, W, 3) uint8."""
        if rgb.ndim == 2:
            rgb = np.repeat(rgb[:, :, None], 3, axis=2)
        words = rgb.astype(np.uint32)
        self.painter.canvas[:] = (
            words[:, :, 0] << np.uint32(16) | words[:, :, 1] << np.uint32(8) | words[:, :, 2]
        )


def _start(picture: Picture) -> None:
    light = picture.light
    rows = [*START[:3], *([LOOK] if light.may_look else []), *START[3:-1]]
    rows.append(("Esc", TO_THE_LAY if light.in_use else START[-1][1]))
    window = (IN_A_WINDOW,) if light.may_look else ()
    picture.page(
        "First light: how does the projector see this table?",
        rows,
        ("Nothing drawn on this page is to scale yet.", *window, PRESENTER, *CAUTIONS),
        [
            sketches.named(s, n)
            for n, s in enumerate((sketches.photo(), sketches.webcam(), sketches.tape()), 1)
        ],
    )


def _photo(picture: Picture) -> None:
    light = picture.light
    where = " or ".join(str(f) for f in light.folders)
    picture.page(
        "A photo",
        PHOTO_STEPS,
        (f"Folder: {where}", "Space shows the pattern, Esc goes back."),
        (sketches.bars(), sketches.photo()),
    )


def _pattern(picture: Picture) -> None:
    light = picture.light
    from calibrate.pattern import pattern_for

    picture.picture(pattern_for(light.size, light.beam_width_mm).image())


def _tape(picture: Picture) -> None:
    light = picture.light
    from calibrate.readings import crosses_picture, pairs_of

    crosses = light.crosses()
    pairs = pairs_of(crosses)
    pair = pairs[light.pair] if light.pair < len(pairs) else None
    picture.picture(crosses_picture(light.size, crosses, pair))
    asked = f"{pair[0]} to {pair[1]}: {light.typed}_ {light.unit}" if pair else "Enter solves"
    count = f"{min(light.pair + 1, len(pairs))} of {len(pairs)}, {len(light.readings)} read"
    said = (
        light.said
        or "Enter: next (empty leaves a pair out). Back: mend. Tab: enough, solve. Esc: leave."
    )
    lines = [asked, count, said]
    half = 0.5 * max(text_width(t, h) for t, h in zip(lines, (24.0, 12.0, 12.0), strict=True))
    x, y = (float(v) for v in picture.stage.middle_mm)
    box = np.array([(-half, -74.0), (half, -74.0), (half, 24.0), (-half, 24.0)])
    picture.clear(box * (1.06, 1.0) + (x, y))
    picture.put(pages.lines_in_middle(picture.stage, lines))
    if pair is None:
        return
    drawn = sketches.tape(*pair)
    wide, tall = 1.2 * drawn.size[0], 1.2 * drawn.size[1]
    frame = picture.stage.reading_frame((x - 0.5 * wide, y + 44.0))
    # in a frame: its crosses are not those on the table
    leaf = rounded(-14.0, -8.0, wide + 14.0, tall + 8.0, 6.0)
    picture.clear(carry(frame, leaf))
    marks = [picture.stage.mark("button", [leaf]), *drawn.marks(picture.stage, (0.0, 0.0), 1.2)]
    picture.put(Item("sketch", tuple(marks), frame))


def _bars(picture: Picture) -> None:
    light = picture.light
    from calibrate.cards import BARS_MM

    n = len(light.bars)
    drawn = BARS_MM[min(n, 1)]
    fine = "to a 64th of an inch" if light.unit == "in" else "to a fifth of a millimetre"
    rows = [
        (
            "1",
            f"{BARS_ASKED[0]}: {light.told(light.bars[0])}"
            if n
            else f"{BARS_ASKED[0]}: {light.typed}_ {light.unit}",
        ),
        ("2", BARS_ASKED[1] + (f": {light.typed}_ {light.unit}" if n else "")),
    ]
    picture.page(
        "What does a steel rule read on the two printed bars?",
        rows,
        (
            f"Drawn {light.told(drawn)} long, from end to end; read it {fine}. Enter takes it.",
            "Printers are often 0.2 % out, and no photo can show it. Esc leaves the bars unread.",
        ),
        (sketches.bars(),),
    )


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _done(picture: Picture) -> None:
    light = picture.light
    from projector.height import truth

    found = light.solved
    leave = TO_THE_LAY if light.in_use else "leave without it"
    rows = [("Space", "take it"), ("Back", "do it again"), ("Esc", leave)]
    if light.may_read_bars():
        words = "read the two printed bars: the print is what it is least sure of"
        rows.insert(1, ("R", words if light.bars_mm is None else "read the bars again"))
    picture.page(
        "Found",
        rows,
        # the figure of the strip: one, with every doubt that is known
        (
            _sentence(truth(light.docket, found)),
            "Afterwards lay a ruler on the check square: key K.",
        ),
    )
    corner = found.to_table(np.array([[light.size[0] * 0.62, light.size[1] * 0.55]]))[0]
    if np.isfinite(corner).all() and math.isfinite(float(corner.sum())):
        true = Stage.for_words(light.docket, found, View())
        picture.painter.put(
            picture.painter.paint(
                true.lens.frame(
                    signs.check_square(true, corner, inches=light.docket.unit in INCH_UNITS)
                )
            )
        )


PAGES: Mapping[str, Callable[[Picture], None]] = {
    "start": _start,
    "photo": _photo,
    "pattern": _pattern,
    "tape": _tape,
    "bars": _bars,
    "done": _done,
}
