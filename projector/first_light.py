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

from projector.frame import Lens
from projector.marks import Item
from projector.painter import Painter
from projector.scene import Stage
from projector.view import View

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
    ("Esc", "leave"),
)
PHOTO_STEPS = (
    ("1", "Print the cards once: chalkbeam calibrate cards. Glue them on stiff, flat card."),
    ("2", "Room dim, projector warm, its own keystone, overscan and sharpening off."),
    ("3", "Press Space: the pattern appears, with bright windows near the corners."),
    ("4", "Lay one card flat into each window, on the bare mat. They need not be straight."),
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

    ``webcam``: she asked for the webcam; the command looks with it on the same beam and hands the
    outcome to `found` or `tell`.
    """

    docket: Docket
    size: tuple[int, int]
    display: str
    folders: Sequence[Path]
    beam_width_mm: float | None = None
    page: str = "start"
    result: Calibration | None = None
    running: bool = True
    webcam: bool = False
    _said: str = ""
    _found: Any = None
    _typed: str = ""
    _pair: int = 0
    _readings: dict[str, str] = field(default_factory=dict)
    _seen: dict[Path, tuple[int, float]] = field(default_factory=dict)
    _looked: float = -1e9
    _work: queue.Queue[tuple[str, Any]] = field(default_factory=queue.Queue)
    _busy: bool = False
    _stale: bool = True

    def __post_init__(self) -> None:
        self.painter = Painter(self.size)
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
        """A press goes on, like Space."""
        del x_px, y_px, button
        if kind == "down" and self.page in ("photo", "pattern", "done"):
            self.key("space")

    def do(self, action: str) -> None:
        """The window was closed."""
        if action == "quit":
            self.running = False

    def found(self, calibration: Calibration) -> None:
        """A calibration was found: shown with its check square, to be taken or not."""
        self.webcam, self.running = False, True
        self._found = calibration
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
            if self.page in ("start", "done"):
                self.running = False
            else:
                self._go("start")
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
            self._readings.clear()
            self._pair, self._typed = 0, ""
            self._go("tape")

    def _key_photo(self, name: str) -> None:
        if name in ("space", "return", "page down"):
            self._go("pattern")
        elif name in ("backspace", "page up"):
            self._go("start")

    def _key_pattern(self, name: str) -> None:
        if name in ("backspace", "page up", "space"):
            self._go("photo")

    def _key_done(self, name: str) -> None:
        if name in ("space", "return", "page down"):
            self.result, self.running = self._found, False
        elif name in ("backspace", "page up"):
            self._found = None
            self._go("start")

    def _key_tape(self, name: str) -> None:
        from calibrate.tape import pairs_of

        pairs = pairs_of(self._crosses())
        if name == "return" and self._pair >= len(pairs):
            self._from_tape()
            return
        if name == "return":
            a, b = pairs[self._pair]
            if self._typed:
                self._readings[f"{a}-{b}"] = self._typed
            self._pair, self._typed = self._pair + 1, ""
            if self._pair >= len(pairs):
                self._from_tape()
        elif name == "backspace":
            if self._typed:
                self._typed = self._typed[:-1]
            elif self._pair:
                self._pair -= 1
                a, b = pairs[self._pair]
                self._typed = self._readings.pop(f"{a}-{b}", "")
        elif name == "tab":
            self._from_tape()
        elif len(name) == 1 and name in "0123456789.,/ ":
            self._typed += name
        elif name == "space":
            self._typed += " "

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
                self._go("done")
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
        from calibrate.errors import CalibrationError

        self._busy = True

        def work() -> None:
            try:
                self._work.put(("done", job()))
            except CalibrationError as error:
                self._work.put(("fault", str(error.faults[0])))
            except Exception as error:  # the table must not go dark for it
                self._work.put(("fault", f"It could not be solved ({type(error).__name__})."))

        threading.Thread(target=work, name="first light", daemon=True).start()

    def _solve_photo(self, path: Path) -> Calibration:
        from calibrate.detect import detect, read_photo
        from calibrate.solve import solve

        seen = detect(read_photo(path), self.size, name=path.name)
        return solve([seen], display=self.display).calibration

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
        self.tell("Solving …")

        def job() -> Calibration:
            return solve_tape(
                readings_from(data, "the readings", self.size), display=self.display
            ).calibration

        self._start(job)

    # -- the picture -------------------------------------------------------------------------------

    def frame(self) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed."""
        if not self._stale:
            return []
        self._stale = False
        self.painter.clear()
        getattr(self, f"_show_{self.page}")()
        return [(0, 0, *self.size)]

    def _put(self, item: Item) -> None:
        self.painter.put(self.painter.paint(self.lens.frame(item)))

    def _page(self, title: str, rows: Sequence[tuple[str, str]], foot: Sequence[str]) -> None:
        said = (self._said,) if self._said else ()
        self._put(self._stage.page(title, rows, (*said, *foot)))

    def _picture(self, rgb: NDArray[Any]) -> None:
        if rgb.ndim == 2:
            rgb = np.repeat(rgb[:, :, None], 3, axis=2)
        words = rgb.astype(np.uint32)
        self.painter.canvas[:] = (
            words[:, :, 0] << np.uint32(16) | words[:, :, 1] << np.uint32(8) | words[:, :, 2]
        )

    def _show_start(self) -> None:
        self._page(
            "First light: how does the projector see this table?",
            START,
            ("Nothing drawn on this page is to scale yet.", *CAUTIONS),
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
        self._put(self._stage.lines_in_middle([asked, count, said]))

    def _show_done(self) -> None:
        from calibrate.report import headline

        found = self._found
        rows = [("Space", "take it"), ("Back", "do it again"), ("Esc", "leave without it")]
        self._page(
            "Found", rows, (headline(found), "Afterwards lay a ruler on the check square: key K.")
        )
        corner = found.to_table(np.array([[self.size[0] * 0.62, self.size[1] * 0.55]]))[0]
        if np.isfinite(corner).all() and math.isfinite(float(corner.sum())):
            true = Stage.for_words(self.docket, found, View())
            self.painter.put(self.painter.paint(true.lens.frame(true.check_square(corner))))
