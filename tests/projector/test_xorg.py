"""Two displays of a real X server whose modes change and whose outputs come and go."""

from __future__ import annotations

import os
import shutil
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
from projector.picture.notice import words_only
from projector.session.sitting import Sitting

SIZE = (1280, 720)
TOP = 560  # above the strip, which says for a while what has happened
pytestmark = [
    pytest.mark.window,
    pytest.mark.skipif(
        not all(map(shutil.which, ("Xorg", "xrandr", "xdotool")))
        or (hasattr(os, "geteuid") and os.geteuid() != 0),
        reason="needs Xorg with the dummy driver, xrandr and xdotool, and root to start it",
    ),
]
_CONFIG = """
Section "Device"
  Identifier "dummy"
  Driver "dummy"
  VideoRam 256000
EndSection
Section "Monitor"
  Identifier "any"
  HorizSync 5.0-1000.0
  VertRefresh 5.0-200.0
EndSection
Section "Screen"
  Identifier "screen"
  Device "dummy"
  Monitor "any"
  DefaultDepth 24
  SubSection "Display"
    Depth 24
    Modes "1024x768"
    Virtual 4096 2160
  EndSubSection
EndSection
"""


class Desk:
    """An X server with a desktop display (1024 x 768) and the projector right of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "xorg.conf").write_text(_CONFIG)
        read, write = os.pipe()
        self.server = subprocess.Popen(
            ["Xorg", "-displayfd", str(write), "-config", str(folder / "xorg.conf"), "-noreset",
             "-nolisten", "tcp", "-ac", "-logfile", str(folder / "xorg.log")],
            pass_fds=(write,), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(write)
        with os.fdopen(read) as told:
            self.name = f":{told.readline().strip()}"
        for mode in ("1280x720", "800x600"):
            self.randr("--addmode", "DUMMY1", mode)
        self.on()
        from Xlib import display

        self._display = display.Display(self.name)

    @property
    def environment(self) -> dict[str, str]:
        """For a program that is to open on it."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith("SDL_")}
        return {**kept, "DISPLAY": self.name, "CHALKBEAM_HOME": str(self.folder / "home")}

    def randr(self, *words: str) -> None:
        """xrandr here."""
        subprocess.run(["xrandr", *words], env=self.environment, check=True, capture_output=True)

    def on(self, mode: str = "1280x720") -> None:
        """The projector's output on, in a mode."""
        self.randr("--output", "DUMMY1", "--mode", mode, "--right-of", "DUMMY0")
        self.randr("--query")  # the dummy driver looks at its outputs when it is asked

    def key(self, name: str) -> None:
        """A key pressed."""
        subprocess.run(["xdotool", "key", name], env=self.environment, check=True)

    def shown(self, x: int, size: tuple[int, int]) -> np.ndarray:
        """(H, W) uint32 0x00RRGGBB of what an output with its left edge at ``x`` shows."""
        from Xlib import X

        root = self._display.screen().root
        got = root.get_image(x, 0, *size, X.ZPixmap, 0xFFFFFF)
        return np.frombuffer(got.data, "<u4").reshape(size[1], size[0]) & 0xFFFFFF

    def close(self) -> None:
        """Take it away."""
        self._display.close()
        self.server.terminate()
        self.server.wait(20)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A fresh one."""
    made = Desk(tmp_path)
    yield made
    made.close()


@pytest.fixture
def table(desk: Desk, tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], np.ndarray]]:
    """The real command on the second display, and the picture that it is to show there."""
    path, cal = tmp_path / "top.yaml", tmp_path / "cal.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    replace(projector(SIZE), date=now()).save(cal)
    twin = Sitting(Docket.load(path), projector(SIZE))
    twin.frame()
    picture = twin.canvas[:TOP].copy()
    code = "import sys; from projector.cli import main; sys.exit(main(sys.argv[1:]))"
    child = subprocess.Popen(
        [sys.executable, "-c", code, "project", str(path), "--calibration", str(cal)],
        env=desk.environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        wait_for(
            lambda: np.array_equal(desk.shown(1024, (SIZE[0], TOP)), picture),
            "the first picture",
            15.0,
        )
        yield child, picture
    finally:
        child.kill()
        print(child.communicate()[0])  # shown when the test fails


def wait_for(done: Callable[[], bool], what: str, seconds: float = 40.0) -> float:
    """Wait until something is so; answers how long it took, s."""
    begin = time.monotonic()
    while not done():
        assert time.monotonic() - begin < seconds, what
        time.sleep(0.02)
    return time.monotonic() - begin


def notice(now: tuple[int, int]) -> np.ndarray:
    """What alone may be seen while the display has another mode."""
    from projector.app import _BACK

    what = f"The projector's display now shows {now[0]} x {now[1]} instead of 1280 x 720"
    return words_only(now, [what, "Paused: no line would be true. Nothing is lost.", _BACK])


def test_another_mode_shows_no_line_and_the_old_one_goes_on(
    desk: Desk, table: tuple[subprocess.Popen[str], np.ndarray]
) -> None:
    """1280 x 720 to 800 x 600: words alone within a second, keys do nothing, and back it goes on; that
    the projector becomes the primary display, and the other one again, changes no pixel."""
    child, picture = table
    desk.on("800x600")
    words = notice((800, 600))
    took = wait_for(
        lambda: np.array_equal(desk.shown(1024, (800, 600)), words), "the notice alone", 10.0
    )
    assert took < 1.0
    desk.key("b")  # nobody sees what it does, so it does nothing
    time.sleep(0.5)
    assert np.array_equal(desk.shown(1024, (800, 600)), words)
    desk.on()
    wait_for(
        lambda: np.array_equal(desk.shown(1024, (SIZE[0], TOP)), picture), "the picture again", 10.0
    )
    for primary in ("DUMMY1", "DUMMY0"):
        desk.randr("--output", primary, "--primary")
        time.sleep(1.2)  # longer than from look to look
        assert np.array_equal(desk.shown(1024, (SIZE[0], TOP)), picture)
    desk.key("q")
    out, _ = child.communicate(timeout=40)
    assert child.returncode == 0
    assert "800 x 600 instead of 1280 x 720" in out and "display is back" in out


def test_an_output_that_goes_and_comes_back_and_a_desktop_that_changes(
    desk: Desk, table: tuple[subprocess.Popen[str], np.ndarray]
) -> None:
    """Unplugged and plugged in it goes on; when its place on the desktop moves, so does the picture."""
    child, picture = table
    desk.randr("--output", "DUMMY1", "--off")
    time.sleep(1.0)
    desk.key("b")  # lost, as nothing is shown
    desk.on()
    wait_for(
        lambda: np.array_equal(desk.shown(1024, (SIZE[0], TOP)), picture), "the picture again", 10.0
    )
    # the desktop's own display shrinks, so the projector's part begins further left
    desk.randr("--output", "DUMMY0", "--mode", "800x600", "--output", "DUMMY1", "--pos", "800x0")
    wait_for(  # the server has moved the pointer, which is drawn
        lambda: int((desk.shown(800, (SIZE[0], TOP)) != picture).sum()) < 400,
        "the picture moved",
        10.0,
    )
    desk.key("q")
    out, _ = child.communicate(timeout=40)
    assert child.returncode == 0
    assert "off or unplugged" in out
