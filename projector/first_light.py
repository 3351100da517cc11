"""First light: no calibration for this display yet, so she is led through one on the table.

Before `sitting`, on the same beam and the same event loop: a page of what to lay where, then the
pattern for a photo, the webcam, or the crosses for a tape measure, and what came of it. Every
word stands on the beam itself. The solving is the calibrate package's; only the leading is here.
"""

from __future__ import annotations

import math
import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from projector.lettering import text_width
from projector.picture import pages, signs
from projector.picture import strip as strips
from projector.picture.frame import Lens
from projector.picture.marks import Item
from projector.picture.painter import EMPTY, Painted, Painter
from projector.picture.stage import Stage
from projector.picture.strip import Button
from projector.picture.view import View

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket

Array = NDArray[np.float64]
Box = tuple[int, int, int, int]

_NOMINAL_MM = 1200.0  # the beam's width until it is known: only letters are drawn at this scale
_PHOTOS = {".jpg", ".jpeg", ".png", ".webp", ".bmp", ".tif", ".tiff"}
_LOOK_S = 1.0  # how often the folder is looked at
_SETTLED_S = 1.5  # a photo still growing is still being copied

CAUTIONS = (
    "Never look into the lens; keep children and pets out of the beam.",
    "Fit the projector only as its maker and the mount's maker say. Local rules come first.",
)
START = (
    ("1", "a photo: phone or camera, and the four printed cards"),
    ("2", "a webcam over the table, and the four printed cards"),
    ("3", "a tape measure, and nothing else"),
    ("B", "first: what a steel rule reads on the cards' two printed bars"),
    ("Esc", "leave"),
)
LOOK = ("4", "no calibration: only a look at the lay, not to scale")
_TO_THE_LAY = "back to the lay as it was, not calibrated anew"
IN_A_WINDOW = "This is a window: what is found here holds for the window only, and is not kept."
BARS_ASKED = ("the bar along the page's width", "the bar along the page's height")
_DIGITS = "1234567890."
_TYPING: tuple[tuple[str, str, str], ...] = (
    *((d, d, "") for d in _DIGITS),
    ("backspace", "Mend", "Back"),
    ("return", "Next", "Enter"),
)
# the strip's buttons of each page: the key they press, their words, that key as it is printed
BUTTONS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "start": (
        ("1", "Photo", "1"), ("2", "Webcam", "2"), ("3", "Tape", "3"), ("4", "Look", "4"),
        ("b", "Bars", "B"),
        ("escape", "Leave", "Esc"),
    ),
    "photo": (("space", "Pattern", "Space"), ("b", "Bars", "B"), ("escape", "Go back", "Esc")),
    "pattern": (),
    "tape": (
        *_TYPING, ("tab", "Solve", "Tab"), ("delete", "Anew", "Del"), ("escape", "Go back", "Esc"),
    ),
    "bars": (*_TYPING, ("escape", "Go back", "Esc")),
    "done": (
        ("space", "Take it", "Space"), ("b", "Bars", "B"), ("backspace", "Again", "Back"),
        ("escape", "Leave", "Esc"),
    ),
}  # fmt: skip
PHOTO_STEPS = (
    ("1", "Print the cards once at 100 % (chalkbeam calibrate cards); cut the four out. No curl."),
    ("B", "Lay a steel rule on the two printed bars and type what it reads: printers rescale."),
    ("2", "Room dim, projector warm, its own keystone, overscan and sharpening off."),
    ("3", "Press Space: the pattern appears, with bright windows near the corners."),
    ("4", "One card flat into each window, on what you cut on (dark or shiny? white paper first)."),
    ("5", "Photograph all that is lit, from above, flash off. No part of a card cut off."),
    ("6", "Put the photo into the folder named below. It is found by itself."),
)


def plain_calibration(size: tuple[int, int]) -> Calibration:
    """A stand-in that draws letters at a nominal scale. Nothing drawn through it is true."""
    from calibrate.calibration import Calibration, ProjectorModel

    s = size[0] / _NOMINAL_MM
    matrix = np.array([[s, 0.0, 0.0], [0.0, -s, size[1] - 1.0], [0.0, 0.0, 1.0]])
    middle = np.array([(size[0] - 1) / 2.0, (size[1] - 1) / 2.0])
    return Calibration(ProjectorModel(size, matrix, middle), np.zeros((12, 12)), "none", "")


def is_plain(calibration: Calibration) -> bool:
    """Whether it is the stand-in of `plain_calibration`."""
    return calibration.method == "none"


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
    outcome to `found` or `tell`.
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
    _said: str = ""
    _leaves: bool = False
    _found: Any = None
    _typed: str = ""
    _pair: int = 0
    _readings: dict[str, str] = field(default_factory=dict)
    _seen: dict[Path, tuple[int, float]] = field(default_factory=dict)
    _looked: float = -1e9
    _work: queue.Queue[tuple[str, Any]] = field(default_factory=queue.Queue)
    _busy: bool = False
    _stale: bool = True
    _back_to: str = "start"
    _bars: list[float] = field(default_factory=list)
    _detected: Any = None
    _places: dict[str, Array] = field(default_factory=dict)
    _pointer: tuple[float, float] | None = None
    _cursor: Painted = EMPTY

    def __post_init__(self) -> None:
        self.painter = Painter(self.size)
        self._below = self.painter.canvas.copy()
        self.lens = Lens(plain_calibration(self.size))
        self._stage = Stage.for_words(self.docket, plain_calibration(self.size), View())
        for path in self._photos():
            self._seen[path] = (-1, 0.0)  # photos that were there before are not meant

    @property
    def canvas(self) -> NDArray[np.uint32]:
        """(H, W) uint32 0x00RRGGBB."""
        return self.painter.canvas

    def repaint(self) -> None:
        """Paint everything anew at the next frame."""
        self._stale = True

    def save(self) -> None:
        """Nothing to save before it is taken."""

    def close(self) -> None:
        """Nothing to give back."""

    def tell(self, text: str, seconds: float = 5.0) -> None:
        """Say something at the foot of the page."""
        del seconds
        self._said = text
        self._stale = True

    def pointer(self, kind: str, x_px: float, y_px: float, button: int = 1) -> None:
        """A press on one of the strip's buttons does what its key does; on the pattern it goes back."""
        del button
        self._pointer = (x_px, y_px)
        if kind != "down":
            return
        if self.page == "pattern":
            self.key("space")
            return
        at = self.lens.to_table(x_px, y_px)
        for key, box in self._places.items():
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
        self._found, self._detected = calibration, None
        self._go("done")
        self._stale = True

    def again(self, said: str) -> None:
        """Back to the first page with what went wrong."""
        self.webcam, self.running = False, True
        self._go("start")
        self.tell(said)

    # -- keys ------------------------------------------------------------------------------------

    def key(self, name: str) -> None:
        """A key was pressed."""
        self._stale = True
        if name == "escape":
            if self.page == "done" or (self.page == "start" and not self.in_use):
                if self._leaves:
                    self.running = False
                else:
                    self._leaves = True
                    self.tell(f"Esc once more: {_TO_THE_LAY if self.in_use else START[-1][1]}.")
            elif self.page == "start":
                self.running = False
            else:
                self._go(self._back_to if self.page == "bars" else "start")
            return
        self._leaves = False
        if name == "b" and self.page in ("start", "photo", "done") and self._may_read_bars():
            self._back_to, self._typed = self.page, ""
            self._bars.clear()
            self._go("bars")
            return
        handler = getattr(self, f"_key_{self.page}", None)
        if handler is not None:
            handler(name)

    def _go(self, page: str) -> None:
        self.page, self._said = page, ""

    def _key_start(self, name: str) -> None:
        if name == "1":
            self._go("photo")
        elif name == "2":
            self.webcam, self.running = True, False
        elif name == "3":
            self._to_tape()
        elif name == "4" and self.may_look:
            self.looks, self.running = True, False

    def _may_read_bars(self) -> bool:
        """Whether reading the bars can still change something: not for the tape or the webcam's end."""
        return self.page != "done" or self._detected is not None

    def _key_bars(self, name: str) -> None:
        from calibrate.solve import bar_scale
        from configs.errors import ChalkbeamError

        if name != "return":
            self._type(name)
            return
        try:
            self._bars.append(float(self._typed.strip().replace(",", ".")))
        except ValueError:
            self.tell("Type what the rule reads in mm, such as 180.4; Esc leaves them unread.")
            return
        self._typed = ""
        if len(self._bars) < 2:
            return
        read = (self._bars[0], self._bars[1])
        self._bars.clear()
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
            self.tell(f"The bars: {read[0]:g} and {read[1]:g} mm.")

    def _solve_with_bars(self) -> None:
        self.tell("Solving with the bars …")
        self._start(self._solve_detected)

    def _type(self, name: str) -> None:
        """A digit more, or one less."""
        if name == "backspace":
            self._typed = self._typed[:-1]
        elif name == "space":
            self._typed += " "
        elif len(name) == 1 and name in "0123456789.,/ ":
            self._typed += name

    def _key_photo(self, name: str) -> None:
        if name in ("space", "return", "page down"):
            self._go("pattern")
        elif name in ("backspace", "page up"):
            self._go("start")

    def _key_pattern(self, name: str) -> None:
        if name in ("backspace", "page up", "space"):
            self._go("photo")

    def _key_done(self, name: str) -> None:
        from calibrate.tape import set_aside

        if self._busy:
            self.tell("Still solving with the bars; a moment.")
        elif name in ("space", "return", "page down"):
            self.result, self.running = self._found, False
            if self._found.method == "tape":
                set_aside(self.display, self.size)
        elif name in ("backspace", "page up"):
            self._found = self._detected = None
            self._go("start")

    def _to_tape(self) -> None:
        """The tape's page, with the readings that were kept when it was left."""
        from calibrate.tape import pairs_of, under_way

        self._go("tape")
        self._readings = under_way(self.display, self.size, self._crosses())
        pairs = [f"{a}-{b}" for a, b in pairs_of(self._crosses())]
        left = [n for n, pair in enumerate(pairs) if pair not in self._readings]
        self._pair, self._typed = left[0] if left else len(pairs), ""
        if self._readings:
            self.tell(
                f"{len(self._readings)} readings of before are kept. Enter goes on; was the "
                "projector moved since, press Del and measure anew."
            )

    def _keep_readings(self) -> None:
        """On the disk before the next reading: the plug may be pulled."""
        from calibrate.tape import keep_under_way
        from configs.errors import ChalkbeamError

        try:
            keep_under_way(self.display, self.size, self._crosses(), self._readings)
        except ChalkbeamError as error:
            self.tell(f"Not kept: {error.faults[0]}")

    def _key_tape(self, name: str) -> None:
        from calibrate.tape import pairs_of, set_aside

        pairs = pairs_of(self._crosses())
        if name == "delete":
            set_aside(self.display, self.size)
            self._to_tape()
            self.tell("The readings were put aside. Measure anew, from the first pair.")
            return
        if name == "return" and self._pair >= len(pairs):
            self._from_tape()
            return
        if name == "return":
            a, b = pairs[self._pair]
            before = self._readings.pop(f"{a}-{b}", "")
            if self._typed:
                self._readings[f"{a}-{b}"] = self._typed
            if self._typed != before:
                self._keep_readings()
            self._pair, self._typed = self._pair + 1, ""
            if self._pair >= len(pairs):
                self._from_tape()
        elif name == "backspace" and not self._typed:
            if self._pair:
                self._pair -= 1
                a, b = pairs[self._pair]
                self._typed = self._readings.get(f"{a}-{b}", "")
        elif name == "tab":
            self._from_tape()
        else:
            self._type(name)

    # -- what comes in -----------------------------------------------------------------------------

    def tick(self, now_s: float) -> None:
        """Time has passed: photos come in, solving ends."""
        while True:
            try:
                kind, value = self._work.get_nowait()
            except queue.Empty:
                break
            self._busy = False
            if kind == "done":
                self._found = value
                if self.page == "bars":  # she is typing: what was found waits behind that page
                    self._back_to = "done"
                else:
                    self._go("done")
                    if self._detected is not None and value.bars_mm != self.bars_mm:
                        self._solve_with_bars()  # typed while it was solved without them
            else:
                self._go("photo" if self.page == "pattern" else self.page)
                self.tell(value)
            self._stale = True
        if self.page in ("photo", "pattern") and not self._busy and now_s - self._looked >= _LOOK_S:
            self._looked = now_s
            self._look(now_s)

    def _photos(self) -> list[Path]:
        found = []
        for folder in self.folders:
            try:
                found += [p for p in folder.iterdir() if p.suffix.lower() in _PHOTOS]
            except OSError:
                continue
        return found

    def _look(self, now_s: float) -> None:
        for path in self._photos():
            try:
                size = path.stat().st_size
            except OSError:
                continue
            held = self._seen.get(path)
            if held is not None and held[0] in (-1, -2):
                continue
            if held is None or held[0] != size:
                self._seen[path] = (size, now_s)
            elif now_s - held[1] >= _SETTLED_S:
                self._seen[path] = (-2, now_s)
                self.tell(f"{path.name} is being looked at …")
                self._start(lambda p=path: self._solve_photo(p))  # type: ignore[misc]  # bound now
                return

    def _start(self, job: Callable[[], Calibration]) -> None:
        """Solve beside the picture, so that it goes on answering."""
        from configs.errors import ChalkbeamError

        self._busy = True

        def work() -> None:
            try:
                self._work.put(("done", job()))
            except ChalkbeamError as error:
                self._work.put(("fault", str(error.faults[0])))
            except Exception as error:  # the table must not go dark for it
                self._work.put(("fault", f"It could not be solved ({type(error).__name__})."))

        threading.Thread(target=work, name="first light", daemon=True).start()

    def _solve_photo(self, path: Path) -> Calibration:
        from calibrate.detect import detect
        from calibrate.photo import read_photo

        self._detected = detect(read_photo(path), self.size, name=path.name)
        return self._solve_detected()

    def _solve_detected(self) -> Calibration:
        from calibrate.solve import solve

        return solve([self._detected], bars_mm=self.bars_mm, display=self.display).calibration

    def _crosses(self) -> dict[str, tuple[int, int]]:
        from calibrate.tape import crosses_for

        return crosses_for(self.size, 6)

    def _from_tape(self) -> None:
        from calibrate.tape import readings_from, solve_tape

        data = {
            "size": list(self.size),
            "crosses": {k: list(v) for k, v in self._crosses().items()},
            "distances_mm": dict(self._readings),
        }
        self._detected = None  # what is found now is the tape's; the cards' bars say nothing of it
        self.tell("Solving …")

        def job() -> Calibration:
            return solve_tape(
                readings_from(data, "the readings", self.size), display=self.display
            ).calibration

        self._start(job)

    # -- the picture -------------------------------------------------------------------------------

    def frame(self) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed."""
        if self._stale:
            self._stale = False
            self.painter.clear()
            self._places = {}
            self._cursor = EMPTY
            getattr(self, f"_show_{self.page}")()
            self._put_buttons()
            np.copyto(self._below, self.painter.canvas)
            self._put_cursor()
            return [(0, 0, *self.size)]
        return self._put_cursor()

    def _put_cursor(self) -> list[Box]:
        """The pointer, where it is now; never on the pattern, which a camera looks at."""
        made = EMPTY
        if self._pointer is not None and self.page != "pattern":
            x, y = (round(v, 1) for v in self._pointer)
            made = self.painter.paint(
                self.lens.frame(signs.cursor(self._stage, self.lens.to_table(x, y)))
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
            Button(key, self._leaving() if words == "Leave" else words, printed)
            for key, words, printed in BUTTONS[self.page]
            if (key != "b" or self._may_read_bars())
            and (key != "4" or self.page != "start" or self.may_look)
        ]
        if not buttons:
            return
        strip = strips.strip(self._stage, (), buttons)
        up = np.zeros(2)
        if self.page == "tape":
            up = 0.26 * np.array([0.0, float(np.ptp(self.lens.beam_mm[:, 1]))])
        frame = strip.item.table_from_item.copy()
        frame[:2, 2] += up
        self._clear(strip.ground_mm + up)
        self._put(strip.item.moved(frame))
        self._places = {key: box + up for key, box in strip.buttons.items()}

    def _clear(self, ground_mm: Array) -> None:
        """Nothing may run under words or buttons."""
        self.painter.fill(self.lens.calibration.to_projector(ground_mm), self.painter.ground)

    def _put(self, item: Item) -> None:
        self.painter.put(self.painter.paint(self.lens.frame(item)))

    def _page(self, title: str, rows: Sequence[tuple[str, str]], foot: Sequence[str]) -> None:
        said = (self._said,) if self._said else ()
        self._put(pages.page(self._stage, title, rows, (*said, *foot)))

    def _picture(self, rgb: NDArray[Any]) -> None:
        if rgb.ndim == 2:
            rgb = np.repeat(rgb[:, :, None], 3, axis=2)
        words = rgb.astype(np.uint32)
        self.painter.canvas[:] = (
            words[:, :, 0] << np.uint32(16) | words[:, :, 1] << np.uint32(8) | words[:, :, 2]
        )

    def _leaving(self) -> str:
        """What leaving is called: there may be a lay to go back to."""
        return "Go back" if self.in_use else "Leave"

    def _show_start(self) -> None:
        rows = [*START[:3], *([LOOK] if self.may_look else []), *START[3:-1]]
        rows.append(("Esc", _TO_THE_LAY if self.in_use else START[-1][1]))
        window = (IN_A_WINDOW,) if self.may_look else ()
        self._page(
            "First light: how does the projector see this table?",
            rows,
            ("Nothing drawn on this page is to scale yet.", *window, *CAUTIONS),
        )

    def _show_photo(self) -> None:
        where = " or ".join(str(f) for f in self.folders)
        self._page(
            "A photo", PHOTO_STEPS, (f"Folder: {where}", "Space shows the pattern, Esc goes back.")
        )

    def _show_pattern(self) -> None:
        from calibrate.pattern import pattern_for

        self._picture(pattern_for(self.size, self.beam_width_mm).image())

    def _show_tape(self) -> None:
        from calibrate.tape import crosses_picture, pairs_of

        crosses = self._crosses()
        pairs = pairs_of(crosses)
        pair = pairs[self._pair] if self._pair < len(pairs) else None
        self._picture(crosses_picture(self.size, crosses, pair))
        asked = f"{pair[0]} to {pair[1]}: {self._typed}_ mm" if pair else "Enter solves"
        count = f"{len(self._readings)} read"
        said = (
            self._said
            or "Enter: next (empty leaves a pair out). Back: mend. Tab: enough, solve. Esc: leave."
        )
        lines = [asked, count, said]
        half = 0.5 * max(text_width(t, h) for t, h in zip(lines, (24.0, 12.0, 12.0), strict=True))
        x, y = (float(v) for v in self._stage.middle_mm)
        box = np.array([(-half, -74.0), (half, -74.0), (half, 24.0), (-half, 24.0)])
        self._clear(box * (1.06, 1.0) + (x, y))
        self._put(pages.lines_in_middle(self._stage, lines))

    def _show_bars(self) -> None:
        from calibrate.cards import BARS_MM

        n = len(self._bars)
        drawn = BARS_MM[min(n, 1)]
        rows = [
            (
                "1",
                f"{BARS_ASKED[0]}: {self._bars[0]:g} mm"
                if n
                else f"{BARS_ASKED[0]}: {self._typed}_ mm",
            ),
            ("2", BARS_ASKED[1] + (f": {self._typed}_ mm" if n else "")),
        ]
        self._page(
            "What does a steel rule read on the two printed bars?",
            rows,
            (
                f"Drawn {drawn:g} mm long, from end to end; read it to a fifth of a millimetre. Enter takes it.",
                "Printers are often 0.2 % out, and no photo can show it. Esc leaves the bars unread.",
            ),
        )

    def _show_done(self) -> None:
        from calibrate.report import headline

        found = self._found
        leave = _TO_THE_LAY if self.in_use else "leave without it"
        rows = [("Space", "take it"), ("Back", "do it again"), ("Esc", leave)]
        if self._may_read_bars():
            words = "read the two printed bars: the print is what it is least sure of"
            rows.insert(1, ("B", words if self.bars_mm is None else "read the bars again"))
        self._page(
            "Found", rows, (headline(found), "Afterwards lay a ruler on the check square: key K.")
        )
        corner = found.to_table(np.array([[self.size[0] * 0.62, self.size[1] * 0.55]]))[0]
        if np.isfinite(corner).all() and math.isfinite(float(corner.sum())):
            true = Stage.for_words(self.docket, found, View())
            self.painter.put(self.painter.paint(true.lens.frame(signs.check_square(true, corner))))
