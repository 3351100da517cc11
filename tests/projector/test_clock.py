"""The window's clock runs: messages pass, first light looks for photos, waits end."""

from __future__ import annotations

import time

import numpy as np
import pytest

from projector import app


@pytest.fixture
def beam(monkeypatch: pytest.MonkeyPatch) -> app.Beam:
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    with app.Beam.open(None, (640, 360), window=True) as opened:
        yield opened


def test_wait_ends(beam: app.Beam) -> None:
    """Waiting at the beam ends after the time asked for, not never and not at once."""
    began = time.monotonic()
    beam.wait(0.15)
    assert 0.14 < time.monotonic() - began < 3.0


def test_the_loop_hands_on_a_running_clock(beam: app.Beam) -> None:
    """Between two turns of the loop the time handed to the sitting moves on."""

    class Looker:
        running, pending, changed = True, False, None
        canvas = np.zeros((360, 640), np.uint32)

        def __init__(self) -> None:
            self.times: list[float] = []

        def tick(self, now: float) -> None:
            self.times.append(now)
            time.sleep(0.02)
            self.running = len(self.times) < 4

        def frame(self) -> list[tuple[int, int, int, int]]:
            return []

        def tell(self, text: str, *_: object, **__: object) -> None:
            raise AssertionError(text)

        def close(self) -> None:
            self.closed = True

    looker = Looker()
    app.run(looker, beam)
    assert looker.closed
    assert looker.times[-1] - looker.times[0] > 0.05
