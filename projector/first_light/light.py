"""Leading through a calibration: keys and photos in, a calibration out.

Before the sitting, on the same beam and the same event loop: a page of what to lay where, then the
pattern for a photo, the webcam, or the crosses for a tape measure, and what came of it. The solving
is the calibrate package's, the pages are `rooms`; here is the leading from one to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.units import INCH_UNITS, length_text
from projector.first_light.beside import Beside, Photos
from projector.first_light.picture import Picture
from projector.first_light.rooms import Bars, Done, Pattern, Photo, Room, Start, Typing
from projector.first_light.words import START, TO_THE_LAY, Words
from projector.picture.painter import Box

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
    outcome to `found` or `tell`. ``room``: the page she is on; ``marked``: which of `buttons` a
    presenter's black button presses, None before it was used. ``detected``: what was seen in her
    photo; ``solved``: what was found.
    """

    docket: Docket
    size: tuple[int, int]
    display: str
    folders: Sequence[Path]
    may_look: bool = False
    in_use: bool = False
    room: Room = field(default_factory=Start)
    result: Calibration | None = None
    running: bool = True
    webcam: bool = False
    looks: bool = False
    closed: bool = False
    bars_mm: tuple[float, float] | None = None
    said: str = ""
    detected: Any = None
    solved: Any = None
    beside: Beside = field(default_factory=Beside)
    at_px: tuple[float, float] | None = None
    marked: int | None = None
    _leaves: bool = False

    def __post_init__(self) -> None:
        self.picture = Picture(self)
        self._photos = Photos(self.folders)

    @property
    def page(self) -> str:
        """The room's name."""
        return self.room.name

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
        if kind == "down":
            pressed = "space" if not self.room.POINTER else self.picture.under(x_px, y_px)
            if pressed is not None:
                self.key(pressed)

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

    pending = False  # no further frame is wanted before the next event
    changed = None  # every pixel of the boxes may differ

    def found(self, calibration: Calibration) -> None:
        """A calibration was found: shown with its check square, to be taken or not."""
        self.webcam, self.running = False, True
        self.solved, self.detected = calibration.told_in(self.unit), None
        self.go(Done())

    def again(self, said: str) -> None:
        """Back to the first page with what went wrong."""
        self.webcam, self.running = False, True
        self.go(Start())
        self.tell(said)

    @property
    def unit(self) -> str:
        """What her rule and her tape read in."""
        return "in" if self.docket.unit in INCH_UNITS else "mm"

    def told(self, mm: float) -> str:
        """What a rule reads, as it is told to her."""
        return length_text(mm, "in") if self.unit == "in" else f"{mm:g} mm"

    def crosses(self) -> dict[str, tuple[int, int]]:
        """The crosses of the tape's page, px."""
        from calibrate.readings import crosses_for

        return crosses_for(self.size, 6)

    # -- keys ------------------------------------------------------------------------------------

    def key(self, name: str) -> None:
        """A key was pressed."""
        self.repaint()
        if not self._from_presenter(name):
            self.marked = None
            self._press(name)

    def buttons(self) -> list[Words]:
        """The page's buttons: the key that each presses, its words, that key as it is printed."""
        leave = "Go back" if self.in_use else "Leave"  # there may be a lay to go back to
        found = self.room.buttons(self)
        return [(key, leave if said == "Leave" else said, shown) for key, said, shown in found]

    def _from_presenter(self, name: str) -> bool:
        """Whether a key was a presenter's, which has but forward, back and black (``.`` or ``b``):
        black marks a button and presses the one that is marked, forward and back move the mark.

        Where a page has one way on, forward and back take it as long as no button is marked.
        """
        keys, typing = [key for key, _, _ in self.buttons()], isinstance(self.room, Typing)
        if not keys:
            return False
        if name == "b" or (name == "." and (self.marked is not None or not typing)):
            if self.marked is None:
                self.marked = 0
            else:
                self._press(keys[self.marked])
            return True
        by = {"page down": 1, "page up": -1}.get(name)
        if by is None or (self.marked is None and not self.room.MARKS):
            return False
        before = self.marked if self.marked is not None else min(-by, 0)
        self.marked = (before + by) % len(keys)
        return True

    def _press(self, name: str) -> None:
        """What a key, or the button of the same, does."""
        if name == "escape":
            self.room.leave(self)
            return
        self._leaves = False
        if name == "r" and any(key == "r" for key, _, _ in self.buttons()):
            self.go(Bars(before=self.room))
        else:
            self.room.key(self, name)

    def leave_if_sure(self) -> None:
        """Leave when she has asked for it twice."""
        if self._leaves:
            self.running = False
        else:
            self._leaves = True
            self.tell(f"Esc once more: {TO_THE_LAY if self.in_use else START[-1][1]}.")

    def go(self, room: Room) -> None:
        """To another page."""
        self.room, self.said, self.marked = room, "", None
        self.repaint()

    # -- what comes in -----------------------------------------------------------------------------

    def tick(self, now_s: float) -> None:
        """Time has passed: photos come in, solving ends."""
        while (ended := self.beside.ended()) is not None:
            self._ended(*ended)
        if isinstance(self.room, Photo | Pattern) and not self.beside.busy:
            path = self._photos.new(now_s)
            if path is not None:
                self.tell(f"{path.name} is being looked at …")
                self.beside.start(lambda: self._solve_photo(path))

    def _ended(self, kind: str, value: Any) -> None:
        """A job has ended: what it found is shown, or why it found nothing."""
        if kind != "done":
            self.go(Photo() if isinstance(self.room, Pattern) else self.room)
            self.tell(value)
            return
        self.solved = value.told_in(self.unit)
        if isinstance(self.room, Bars):  # she is typing: what was found waits behind that page
            self.room.before = Done()
            return
        self.go(Done())
        if self.detected is not None and value.bars_mm != self.bars_mm:
            self.solve_with_bars()  # typed while it was solved without them

    def _solve_photo(self, path: Path) -> Calibration:
        from calibrate.detect import detect
        from calibrate.photo import read_photo

        self.detected = detect(read_photo(path), self.size, name=path.name)
        return self.solve_detected()

    def solve_detected(self) -> Calibration:
        """From what was seen in her photo, with the bars as they are read by now."""
        from calibrate.solve import solve

        return solve([self.detected], bars_mm=self.bars_mm, display=self.display).calibration

    def solve_with_bars(self) -> None:
        """Again, beside the picture, with the bars that she has read."""
        self.tell("Solving with the bars …")
        self.beside.start(self.solve_detected)

    def frame(self) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed."""
        return self.picture.frame()
