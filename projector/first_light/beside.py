"""What goes on beside the picture: solving in a thread, and looking for a new photo."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs.errors import ChalkbeamError

if TYPE_CHECKING:
    from calibrate import Calibration

_PHOTOS = {".jpg", ".jpeg", ".png", ".webp", ".bmp", ".tif", ".tiff"}
_LOOK_S = 1.0  # how often the folder is looked at
_SETTLED_S = 1.5  # a photo still growing is still being copied


@dataclass(eq=False)
class Beside:
    """One job at a time, so that the picture goes on answering. ``busy``: one is under way."""

    busy: bool = False
    _ended: queue.Queue[tuple[str, Any]] = field(default_factory=queue.Queue)

    def start(self, job: Callable[[], Calibration]) -> None:
        """Begin; what it answers, or why it could not, comes with `ended`."""
        self.busy = True

        def work() -> None:
            try:
                self._ended.put(("done", job()))
            except ChalkbeamError as error:
                self._ended.put(("fault", str(error.faults[0])))
            except Exception as error:  # the table must not go dark for it
                self._ended.put(("fault", f"It could not be solved ({type(error).__name__})."))

        threading.Thread(target=work, name="first light", daemon=True).start()

    def ended(self) -> tuple[str, Any] | None:
        """(``done``, calibration) or (``fault``, words) of a job that has ended; each once."""
        try:
            made = self._ended.get_nowait()
        except queue.Empty:
            return None
        self.busy = False
        return made


@dataclass(eq=False)
class Photos:
    """Folders in which a new photo is looked for; those that are there already are not meant."""

    folders: Sequence[Path]
    _known: set[Path] = field(init=False)
    _growing: dict[Path, tuple[int, float]] = field(default_factory=dict)  # size, since when
    _looked: float = -1e9

    def __post_init__(self) -> None:
        self._known = set(self._there())

    def new(self, now_s: float) -> Path | None:
        """A photo that has come and is whole; each once."""
        if now_s - self._looked < _LOOK_S:
            return None
        self._looked = now_s
        for path in self._there():
            if path in self._known:
                continue
            try:
                size = path.stat().st_size
            except OSError:
                continue
            before, since = self._growing.get(path, (-1, now_s))
            if before != size:
                self._growing[path] = (size, now_s)
            elif now_s - since >= _SETTLED_S:
                self._known.add(path)
                return path
        return None

    def _there(self) -> list[Path]:
        found = []
        for folder in self.folders:
            try:
                found += [p for p in folder.iterdir() if p.suffix.lower() in _PHOTOS]
            except OSError:
                continue
        return found
