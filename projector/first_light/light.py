"""Leading through a calibration: keys and photos in, a calibration out.

Before the sitting, on the same beam and the same event loop: a page of what to lay where, then the
pattern for a photo, the webcam, or the crosses for a tape measure, and what came of it. Every word
stands on the beam itself. The solving is the calibrate package's; only the leading is here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.units import INCH_UNITS, length_text
from projector.first_light.beside import Beside, Photos
from projector.first_light.picture import Picture
from projector.first_light.words import BUTTONS, START, TO_THE_LAY
from projector.picture.painter import Box
from projector.session.words import things

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket


@dataclass(eq=False)
class FirstLight:
    """Leads through a calibration; ``result`` holds it when she has taken it.

    Args:
        docket: hers, to come back to (its pieces are not needed).
        size: of the picture, px.
        display: its name, for the record.
        folders: where new photos are looked for.
        may_look: it is a window: she may look at the lay without a calibration.
        in_use: she came from the lay, and goes back to it with the calibration in use.

    ``looks``: she wants only the look; ``closed``: the window was closed, which ends everything.
    ``webcam``: she asked for the webcam; the command looks with it on the same beam and hands the
    outcome to `found` or `tell`. ``marked``: which of `buttons` a presenter's black button presses,
    None before it was used. ``said``, ``typed``, ``pair``, ``readings``, ``bars``, ``solved``:
    what the pages show of it.
    """

    docket: Docket
    size: tuple[int, int]
    display: str
    folders: Sequence[Path]
    may_look: bool = False
    in_use: bool = False
    beam_width_mm: float | None = None
    page: str = "start"
    result: Calibration | None = None
    running: bool = True
    webcam: bool = False
    looks: bool = False
    closed: bool = False
    bars_mm: tuple[float, float] | None = None
    said: str = ""
    _leaves: bool = False
    solved: Any = None
    typed: str = ""
    pair: int = 0
    readings: dict[str, str] = field(default_factory=dict)
    beside: Beside = field(default_factory=Beside)
    _back_to: str = "start"
    bars: list[float] = field(default_factory=list)
    _detected: Any = None
    at_px: tuple[float, float] | None = None
    marked: int | None = None
    _doubted: tuple[tuple[str, str], str] | None = None

    def __post_init__(self) -> None:
        self.picture = Picture(self)
        self._photos = Photos(self.folders)

    @property
    def canvas(self) -> NDArray[np.uint32]:
        """(H, W) uint32 0x00RRGGBB."""
        return self.picture.painter.canvas

    def repaint(self) -> None:
        """Paint everything anew at the next frame."""
        self.picture.stale = True

    def save(self) -> None:
        """Nothing to save before it is taken."""

    def close(self) -> None:
        """Nothing to give back."""

    def tell(self, text: str, seconds: float = 5.0) -> None:
        """Say something at the foot of the page."""
        del seconds
        self.said = text
        self.repaint()

    def pointer(
        self, kind: str, x_px: float, y_px: float, button: int = 1, *, free: bool = False
    ) -> None:
        """A press on one of the strip's buttons does what its key does; on the pattern it goes back."""
        del button, free
        self.at_px = (x_px, y_px)
        if kind != "down":
            return
        if self.page == "pattern":
            self.key("space")
            return
        at = self.picture.lens.to_table(x_px, y_px)
        for key, box in self.picture.places.items():
            low, high = box.min(axis=0), box.max(axis=0)  # upright here: the stand-in has no lens
            if (at >= low).all() and (at <= high).all():
                self.key(key)
                return

    def do(self, action: str) -> None:
        """The window was closed."""
        if action == "quit":
            self.closed, self.running = True, False

    def leaves(self, name: str) -> bool:
        """Whether a key means to leave."""
        return name == "escape"

    def repeats(self, name: str) -> bool:
        """No key goes on while it is held."""
        return False

    @property
    def pending(self) -> bool:
        """No further frame is wanted before the next event."""
        return False

    @property
    def changed(self) -> None:
        """Every pixel of the boxes may differ."""
        return

    def found(self, calibration: Calibration) -> None:
        """A calibration was found: shown with its check square, to be taken or not."""
        self.webcam, self.running = False, True
        self.solved, self._detected = calibration.told_in(self.unit), None
        self._go("done")
        self.repaint()

    def again(self, said: str) -> None:
        """Back to the first page with what went wrong."""
        self.webcam, self.running = False, True
        self._go("start")
        self.tell(said)

    @property
    def unit(self) -> str:
        """What her rule and her tape read in."""
        return "in" if self.docket.unit in INCH_UNITS else "mm"

    def told(self, mm: float) -> str:
        """What a rule reads, as it is told to her."""
        return length_text(mm, "in") if self.unit == "in" else f"{mm:g} mm"

    # -- keys ------------------------------------------------------------------------------------

    def key(self, name: str) -> None:
        """A key was pressed."""
        self.repaint()
        if self._from_presenter(name):
            return
        self.marked = None
        self._press(name)

    def buttons(self) -> list[tuple[str, str, str]]:
        """The page's buttons: the key that each presses, its words, that key as it is printed."""
        return [
            (key, self.leaving() if words == "Leave" else words, printed)
            for key, words, printed in BUTTONS[self.page]
            if (key != "r" or self.may_read_bars())
            and (key != "4" or self.page != "start" or self.may_look)
        ]

    def _from_presenter(self, name: str) -> bool:
        """Whether a key was a presenter's, which has but forward, back and black (``.`` or ``b``):
        black marks a button and presses the one that is marked, forward and back move the mark.

        Where a page has one way on, forward and back take it as long as no button is marked.
        """
        keys, typing = [key for key, _, _ in self.buttons()], self.page in _TYPED
        if not keys:
            return False
        if name == "b" or (name == "." and (self.marked is not None or not typing)):
            if self.marked is None:
                self.marked = 0
            else:
                self._press(keys[self.marked])
            return True
        by = {"page down": 1, "page up": -1}.get(name)
        if by is None or (self.marked is None and self.page not in ("start", *_TYPED)):
            return False
        before = self.marked if self.marked is not None else min(-by, 0)
        self.marked = (before + by) % len(keys)
        return True

    def _press(self, name: str) -> None:
        """What a key, or the button of the same, does."""
        if name == "escape":
            if self.page == "done" or (self.page == "start" and not self.in_use):
                if self._leaves:
                    self.running = False
                else:
                    self._leaves = True
                    self.tell(f"Esc once more: {TO_THE_LAY if self.in_use else START[-1][1]}.")
            elif self.page == "start":
                self.running = False
            else:
                self._go(self._back_to if self.page == "bars" else "start")
            return
        self._leaves = False
        if name == "r" and self.page in ("start", "photo", "done") and self.may_read_bars():
            self._back_to, self.typed = self.page, ""
            self.bars.clear()
            self._go("bars")
            return
        _KEYS[self.page](self, name)

    def _go(self, page: str) -> None:
        self.page, self.said, self.marked = page, "", None

    def _key_start(self, name: str) -> None:
        if name == "1":
            self._go("photo")
        elif name == "2":
            self.webcam, self.running = True, False
        elif name == "3":
            self._to_tape()
        elif name == "4" and self.may_look:
            self.looks, self.running = True, False

    def may_read_bars(self) -> bool:
        """Whether reading the bars can still change something: not for the tape or the webcam's end."""
        return self.page != "done" or self._detected is not None

    def _key_bars(self, name: str) -> None:
        from calibrate.solve import bar_scale
        from configs.errors import ChalkbeamError
        from configs.units import parse_length

        if name != "return":
            self._type(name)
            return
        try:
            self.bars.append(parse_length(self.typed, self.unit))
        except ChalkbeamError:
            such = f"{self.unit}, such as {'7 1/8' if self.unit == 'in' else '180.4'}"
            self.tell(f"Type what the rule reads in {such}; Esc leaves them unread.")
            return
        self.typed = ""
        if len(self.bars) < 2:
            return
        read = (self.bars[0], self.bars[1])
        self.bars.clear()
        try:
            bar_scale(read)
        except ChalkbeamError as error:
            self.tell(f"{str(error.faults[0]).removeprefix('--bars: ')} Type both anew.")
            return
        self.bars_mm = read
        self._go(self._back_to)
        if self._detected is not None and self.page == "done":
            self._solve_with_bars()
        else:
            self.tell(f"The bars: {self.told(read[0])} and {self.told(read[1])}.")

    def _solve_with_bars(self) -> None:
        self.tell("Solving with the bars …")
        self.beside.start(self._solve_detected)

    def _type(self, name: str) -> None:
        """A digit more, or one less."""
        if name == "backspace":
            self.typed = self.typed[:-1]
        elif name == "space":
            self.typed += " "
        elif len(name) == 1 and name in "0123456789.,/ ":
            self.typed += name

    def _key_photo(self, name: str) -> None:
        if name in ("space", "return", "page down"):
            self._go("pattern")
        elif name in ("backspace", "page up"):
            self._go("start")

    def _key_pattern(self, name: str) -> None:
        if name in ("backspace", "page up", "space"):
            self._go("photo")

    def _key_done(self, name: str) -> None:
        from calibrate.readings import set_aside

        if self.beside.busy:
            self.tell("Still solving with the bars; a moment.")
        elif name in ("space", "return", "page down"):
            self.result, self.running = self.solved, False
            if self.solved.method == "tape":
                set_aside(self.display, self.size)
        elif name in ("backspace", "page up"):
            self.solved = self._detected = None
            self._go("start")

    def _to_tape(self) -> None:
        """The tape's page, with the readings that were kept when it was left."""
        from calibrate.readings import pairs_of, under_way

        self._go("tape")
        self.readings = under_way(self.display, self.size, self.crosses())
        pairs = [f"{a}-{b}" for a, b in pairs_of(self.crosses())]
        left = [n for n, pair in enumerate(pairs) if pair not in self.readings]
        self.pair, self.typed = left[0] if left else len(pairs), ""
        if self.readings:
            self.tell(
                f"{things(len(self.readings), 'reading')} of before kept. Enter goes on; was the "
                "projector moved since, press Del and measure anew."
            )

    def _keep_readings(self) -> None:
        """On the disk before the next reading: the plug may be pulled."""
        from calibrate.readings import keep_under_way
        from configs.errors import ChalkbeamError

        try:
            keep_under_way(self.display, self.size, self.crosses(), self.readings)
        except ChalkbeamError as error:
            self.tell(f"Not kept: {error.faults[0]}")

    def _doubt(self, pair: tuple[str, str], typed: str) -> str:
        """What is wrong with a reading as it is typed, in words; empty when nothing is, or when the same
        is typed again after it was told that it contradicts the rest."""
        from calibrate.readings import readings_from
        from calibrate.tape import against_the_rest
        from configs.errors import ChalkbeamError
        from configs.units import parse_length

        such = "44 1/4" if self.unit == "in" else "1123.5"
        try:
            mm = parse_length(typed, self.unit)
        except ChalkbeamError:
            return (
                f"'{typed}' is no length. Type what the tape reads in {self.unit}, such as {such}."
            )
        if not _LEAST_MM <= mm <= _MOST_MM:
            return f"{self.told(mm)} is no distance on a table. Is it read in {self.unit}?"
        given = {**self.readings, f"{pair[0]}-{pair[1]}": f"{mm:.3f}"}
        try:
            told = against_the_rest(readings_from(self._taped(given), "the readings", self.size))
        except ChalkbeamError:  # of readings that are kept: told when it is solved
            return ""
        if not told or self._doubted == (pair, typed):
            return ""
        self._doubted = (pair, typed)
        return f"{told} Read it again; the same once more keeps it."

    def _taped(self, readings: Mapping[str, str]) -> dict[str, Any]:
        return {
            "size": list(self.size),
            "crosses": {k: list(v) for k, v in self.crosses().items()},
            "distances_mm": dict(readings),
        }

    def _key_tape(self, name: str) -> None:
        from calibrate.readings import pairs_of, set_aside

        pairs = pairs_of(self.crosses())
        if name == "delete":
            set_aside(self.display, self.size)
            self._to_tape()
            self.tell("The readings were put aside. Measure anew, from the first pair.")
            return
        if name == "return" and self.pair >= len(pairs):
            self._from_tape()
            return
        if name == "return":
            a, b = pairs[self.pair]
            before = self.readings.pop(f"{a}-{b}", "")
            typed = self.typed.strip()
            if typed and (doubt := self._doubt((a, b), typed)):
                self.readings |= {f"{a}-{b}": before} if before else {}
                self.tell(doubt)
                return
            if typed:  # a plain number is mm in what is kept
                self.readings[f"{a}-{b}"] = f"{typed} in" if self.unit == "in" else typed
            if self.readings.get(f"{a}-{b}", "") != before:
                self._keep_readings()
            self.pair, self.typed = self.pair + 1, ""
            if self.pair >= len(pairs):
                self._from_tape()
        elif name == "backspace" and not self.typed:
            if self.pair:
                self.pair -= 1
                a, b = pairs[self.pair]
                self.typed = self.readings.get(f"{a}-{b}", "").removesuffix(" in")
        elif name == "tab":
            self._from_tape()
        else:
            self._type(name)

    # -- what comes in -----------------------------------------------------------------------------

    def tick(self, now_s: float) -> None:
        """Time has passed: photos come in, solving ends."""
        while (ended := self.beside.ended()) is not None:
            self._ended(*ended)
        if self.page in ("photo", "pattern") and not self.beside.busy:
            path = self._photos.new(now_s)
            if path is not None:
                self.tell(f"{path.name} is being looked at …")
                self.beside.start(lambda: self._solve_photo(path))

    def _ended(self, kind: str, value: Any) -> None:
        """A job has ended: what it found is shown, or why it found nothing."""
        self.repaint()
        if kind != "done":
            self._go("photo" if self.page == "pattern" else self.page)
            self.tell(value)
            return
        self.solved = value.told_in(self.unit)
        if self.page == "bars":  # she is typing: what was found waits behind that page
            self._back_to = "done"
            return
        self._go("done")
        if self._detected is not None and value.bars_mm != self.bars_mm:
            self._solve_with_bars()  # typed while it was solved without them

    def _solve_photo(self, path: Path) -> Calibration:
        from calibrate.detect import detect
        from calibrate.photo import read_photo

        self._detected = detect(read_photo(path), self.size, name=path.name)
        return self._solve_detected()

    def _solve_detected(self) -> Calibration:
        from calibrate.solve import solve

        return solve([self._detected], bars_mm=self.bars_mm, display=self.display).calibration

    def crosses(self) -> dict[str, tuple[int, int]]:
        """The crosses of the tape's page, px."""
        from calibrate.readings import crosses_for

        return crosses_for(self.size, 6)

    def _from_tape(self) -> None:
        from calibrate.readings import readings_from
        from calibrate.tape import solve_tape

        data = self._taped(self.readings)
        self._detected = None  # what is found now is the tape's; the cards' bars say nothing of it
        self.tell("Solving …")

        def job() -> Calibration:
            return solve_tape(
                readings_from(data, "the readings", self.size), display=self.display
            ).calibration

        self.beside.start(job)

    # -- the picture -------------------------------------------------------------------------------

    def leaving(self) -> str:
        """What leaving is called: there may be a lay to go back to."""
        return "Go back" if self.in_use else "Leave"

    def frame(self) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed."""
        return self.picture.frame()


_LEAST_MM, _MOST_MM = 5.0, 30_000.0  # of a distance on a table
_TYPED = ("tape", "bars")  # pages on which a point is a digit's
_KEYS: Mapping[str, Callable[[FirstLight, str], None]] = {
    "start": FirstLight._key_start,
    "photo": FirstLight._key_photo,
    "pattern": FirstLight._key_pattern,
    "tape": FirstLight._key_tape,
    "bars": FirstLight._key_bars,
    "done": FirstLight._key_done,
}
