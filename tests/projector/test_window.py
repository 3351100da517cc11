"""The real window under a virtual screen: hands by xdotool, eyes on the screen's own memory."""

from __future__ import annotations

import os
import shutil
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import yaml
from table_rig import DATA, projector

from calibrate.store import now
from drafting.docket import Docket
from projector.session.journal import _recover, journal_path
from projector.session.sitting import Sitting

SIZE = (1280, 720)
pytestmark = [
    pytest.mark.window,
    pytest.mark.skipif(
        not (shutil.which("Xvfb") and shutil.which("xdotool")), reason="needs Xvfb and xdotool"
    ),
]


class Screen:
    """A virtual screen whose pixels can be read: Xvfb with its frame buffer in a file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        read, write = os.pipe()
        self.server = subprocess.Popen(
            ["Xvfb", "-displayfd", str(write), "-screen", "0", f"{SIZE[0]}x{SIZE[1]}x24",
             "-fbdir", str(folder), "-nolisten", "tcp"],
            pass_fds=(write,), stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(write)
        with os.fdopen(read) as told:
            self.name = f":{told.readline().strip()}"

    @property
    def environment(self) -> dict[str, str]:
        """For a program that is to open on it."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith("SDL_")}
        return {**kept, "DISPLAY": self.name, "CHALKBEAM_HOME": str(self.folder / "home")}

    def do(self, *words: str) -> str:
        """xdotool on this screen."""
        run = subprocess.run(
            ["xdotool", *words], env=self.environment, capture_output=True, text=True, check=False
        )
        return run.stdout.strip()

    def picture(self) -> np.ndarray:
        """(H, W) uint32 0x00RRGGBB of what the screen shows (the XWD file of X11)."""
        data = (self.folder / "Xvfb_screen0").read_bytes()
        head = struct.unpack(">25I", data[:100])
        header, width, height, pitch, colours = head[0], head[4], head[5], head[12], head[19]
        start = header + 12 * colours
        rows = np.frombuffer(data, "<u4", pitch // 4 * height, start).reshape(height, pitch // 4)
        return rows[:, :width] & 0xFFFFFF

    def close(self) -> None:
        """Take the screen away."""
        self.server.terminate()
        self.server.wait(10)


@pytest.fixture
def screen(tmp_path: Path) -> Iterator[Screen]:
    """A fresh screen."""
    made = Screen(tmp_path)
    yield made
    made.close()


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    """A docket and a calibration of today."""
    path, cal = tmp_path / "top.yaml", tmp_path / "cal.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    replace(projector(SIZE), date=now()).save(cal)
    return path, cal


def project(screen: Screen, path: Path, *more: str) -> subprocess.Popen[str]:
    """The command itself, on the virtual screen."""
    code = "import sys; from projector.cli import main; sys.exit(main(sys.argv[1:]))"
    return subprocess.Popen(
        [sys.executable, "-c", code, "project", str(path), "--display", "0", *more],
        env=screen.environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip


def wait_for(done: Callable[[], bool], what: str, seconds: float = 40.0) -> None:
    """Wait until something is so."""
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, what
        time.sleep(0.05)


def differ(screen: Screen, canvas: np.ndarray) -> int:
    """How many pixels of the screen are other than those of a canvas."""
    return int((screen.picture() != canvas).sum())


def test_the_window_shows_the_picture_and_hands_move_it(
    screen: Screen, files: tuple[Path, Path]
) -> None:
    """Pixel for pixel the off-screen picture; a real drag and keys; kill -9; opened as it stood."""
    path, cal = files
    twin = Sitting(Docket.load(path), projector(SIZE))
    twin.frame()
    child = project(screen, path, "--calibration", str(cal))
    try:
        # no pointer has moved: nothing of a cursor in either
        wait_for(lambda: differ(screen, twin.canvas) < 2000, "the first picture")
        ring = twin.state.rules.outline(twin.state.work.of("neck-facing/1"))
        t = twin.state.work.view.table_from_cloth
        at = t[:2, :2] @ (0.5 * (ring.min(axis=0) + ring.max(axis=0))) + t[:2, 2]
        x, y = (round(float(v)) for v in twin.state.calibration.to_projector(at[None])[0])
        hand = [("mousemove", x, y), ("mousedown", 1)]
        hand += [("mousemove", x + 6 * i, y - 3 * i) for i in range(1, 11)]
        for word, *values in hand:
            screen.do(word, *(str(v) for v in values))
            time.sleep(0.03)
        screen.do("mouseup", "1")
        twin.pointer("move", x, y)
        twin.pointer("down", x, y)
        for i in range(1, 11):
            twin.pointer("move", x + 6 * i, y - 3 * i)
        twin.pointer("up", x + 60, y - 30)
        twin.frame()
        wait_for(lambda: differ(screen, twin.canvas) == 0, "the picture after the drag")
        for name, action in (("shift+Up", "shift+up"), ("t", "t"), ("h", "h"), ("h", "h")):
            screen.do("key", name)
            twin.key(action)
            twin.frame()
            wait_for(lambda: differ(screen, twin.canvas) == 0, f"the picture after {name}")
        os.kill(child.pid, signal.SIGKILL)
        child.wait(10)
        found = _recover(Docket.load(path), journal_path(path))
        assert found.docket.lay == twin.state.work.lay
        assert found.changes > 0
    finally:
        child.kill()
        child.communicate()

    child = project(screen, path, "--calibration", str(cal))
    try:
        again = Sitting(found.docket, projector(SIZE))
        again.frame()
        cloth = (slice(0, 560), slice(0, SIZE[0]))  # the strip says for a while what was kept
        wait_for(
            lambda: int((screen.picture()[cloth] != again.canvas[cloth]).sum()) < 400,
            "the picture as it stood",
        )
        screen.do("key", "shift+b")
        wait_for(lambda: not screen.picture().any(), "the beam dark")
        screen.do("key", "shift+b")
        screen.do("key", "q")
        out, _ = child.communicate(timeout=40)
        assert child.returncode == 0 and "Saved" in out and "kept" in out
    finally:
        child.kill()
        child.communicate()
    assert not journal_path(path).exists()
    for mine, theirs in zip(Docket.load(path).lay, twin.state.work.lay, strict=True):
        assert mine.at == pytest.approx(theirs.at, abs=1e-3)


def test_a_calibration_for_another_size_is_refused(
    screen: Screen, files: tuple[Path, Path], tmp_path: Path
) -> None:
    """Full screen with a calibration of another resolution: one message with both sizes, exit 2."""
    path, _ = files
    other = tmp_path / "other.yaml"
    projector((1920, 1080)).save(other)
    child = project(screen, path, "--calibration", str(other))
    out, _ = child.communicate(timeout=40)
    assert child.returncode == 2
    assert "1920 x 1080" in out and "1280 x 720" in out and "Traceback" not in out


def test_without_a_calibration_it_leads_through_one(
    screen: Screen, files: tuple[Path, Path]
) -> None:
    """No calibration for this display: first light is on the beam, and leaving changes nothing."""
    path, _ = files
    before = path.read_text()
    child = project(screen, path)
    try:
        wait_for(lambda: bool(screen.picture().any()), "first light")
        screen.do("key", "1")
        time.sleep(0.3)
        screen.do("key", "space")
        from calibrate.pattern import pattern_for

        image = np.asarray(pattern_for(SIZE).image())
        gray = (image if image.ndim == 2 else image[:, :, 0]).astype(np.uint32)
        wait_for(lambda: differ(screen, gray * 0x010101) == 0, "the pattern, pixel for pixel")
        for _ in range(3):  # to the first page, and there twice
            screen.do("key", "Escape")
            time.sleep(0.3)
        out, _ = child.communicate(timeout=40)
        assert child.returncode == 0 and "without a calibration" in out
    finally:
        child.kill()
        child.communicate()
    assert path.read_text() == before
