"""The store: calibrations by display and date."""

from __future__ import annotations

import os
import re
from datetime import datetime
from pathlib import Path

from calibrate.calibration import Calibration
from configs.errors import InputError


def store_folder() -> Path:
    """Where calibrations are kept: ``$CHALKBEAM_HOME/calibrations``, or the user's data folder."""
    home = os.environ.get("CHALKBEAM_HOME")
    if home:
        return Path(home) / "calibrations"
    from platformdirs import user_data_path

    return user_data_path("chalkbeam", appauthor=False) / "calibrations"


def slug(display: str) -> str:
    """A display's name as the name of a file."""
    return re.sub(r"[^a-z0-9]+", "-", display.lower()).strip("-") or "projector"


def keep(calibration: Calibration) -> Path:
    """Save into the store under its display and date; old ones are kept.

    Returns:
        the file that was written.
    """
    stamp = re.sub(r"[^0-9]+", "", calibration.date)[:14] or datetime.now().strftime("%Y%m%d%H%M%S")
    folder = store_folder() / slug(calibration.display)
    path = folder / f"{stamp}.yaml"
    count = 2
    while path.exists():
        path = folder / f"{stamp}-{count:02d}.yaml"
        count += 1
    calibration.save(path)
    return path


def kept(display: str | None = None) -> list[Path]:
    """Stored calibrations, newest first; of one display or of all."""
    root = store_folder()
    folders = [root / slug(display)] if display is not None else sorted(root.glob("*"))
    files = [p for folder in folders if folder.is_dir() for p in folder.glob("*.yaml")]
    return sorted(files, key=lambda p: p.stem, reverse=True)


def newest(display: str | None = None, size: tuple[int, int] | None = None) -> Calibration | None:
    """The newest stored calibration of a display that fits the picture size; None without one."""
    for path in kept(display):
        try:
            calibration = Calibration.load(path)
        except InputError:  # an old or damaged one must not hide the good one behind it
            continue
        if size is None or calibration.size == tuple(size):
            return calibration
    return None


def told(calibration: Calibration) -> str:
    """Which one it is, for a sentence: when, how, for which display."""
    display = f", {calibration.display}" if calibration.display else ""
    w, h = calibration.size
    return f"{calibration.date or 'undated'}, by {calibration.method}, {w} x {h}{display}"


def now() -> str:
    """The present moment as calibrations carry it: local time, to the second."""
    return datetime.now().isoformat(sep=" ", timespec="seconds")
