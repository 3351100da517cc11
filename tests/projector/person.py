"""Somebody at the table with one device, who does the whole job through the real window and loop.

Only the hand is made: each press is posted to SDL's own queue, and what is pressed next is decided by
what stands on the beam. What was pressed is kept as a list that can be read.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from projector import app
from projector.first_light.light import FirstLight
from projector.session import actions
from projector.session.rows import MODE_WORDS

Script = Callable[["Person"], Iterator[None]]
_KEYS = {"page down": "K_PAGEDOWN", "page up": "K_PAGEUP", ".": "K_PERIOD", "b": "K_b",
         "escape": "K_ESCAPE"}  # fmt: skip
_PATIENCE_S = 120.0


@dataclass(eq=False)
class Person:
    """``shown``: what is on the beam now, first light or the table; ``presses``: what was pressed."""

    script: Script
    presses: list[str] = field(default_factory=list)
    shown: Any = None
    beam: Any = None
    _does: Iterator[None] | None = None
    _began: float = 0.0

    def sits_down(self, patch: Any) -> None:
        """From now on the loop's events are hers. ``patch``: pytest's monkeypatch, or its like."""
        pygame = app.pygame
        wait, run = pygame.event.wait, app.run

        def next_event(_: int) -> Any:
            if not pygame.event.peek():
                self._act()
            return wait(1)

        def running(shown: Any, beam: Any) -> None:
            self.shown, self.beam, self._began = shown, beam, time.monotonic()
            run(shown, beam)

        patch.setattr(pygame.event, "wait", next_event)
        patch.setattr(app, "run", running)

    def _act(self) -> None:
        if self._does is None:
            self._does = self.script(self)
        assert time.monotonic() - self._began < _PATIENCE_S, self.presses[-3:]
        next(self._does, None)

    # -- what she has: a mouse, or a presenter -----------------------------------------------------

    def press(self, name: str) -> Iterator[None]:
        """The mouse pressed in the middle of the button that does ``name``."""
        x, y = self._middle(self._buttons()[name])
        yield from self.press_at(x, y, self._words_of(name))

    def press_at(self, x: float, y: float, what: str) -> Iterator[None]:
        """The mouse moved to a place of the picture, px, and pressed."""
        pygame = app.pygame
        at = (round(x), round(y))
        self.presses.append(f"mouse  {at[0]:4d} {at[1]:4d}  {what}")
        pygame.event.post(pygame.event.Event(pygame.MOUSEMOTION, pos=at, rel=(0, 0), buttons=()))
        for kind in (pygame.MOUSEBUTTONDOWN, pygame.MOUSEBUTTONUP):
            pygame.event.post(pygame.event.Event(kind, pos=at, button=1))
        yield

    def sends(self, name: str, what: str = "") -> Iterator[None]:
        """One of the presenter's buttons."""
        pygame = app.pygame
        self.presses.append(f"presenter  {name:9s}  {what}".rstrip())
        code = getattr(pygame, _KEYS[name])
        for kind in (pygame.KEYDOWN, pygame.KEYUP):
            pygame.event.post(pygame.event.Event(kind, key=code, mod=0, unicode="", scancode=0))
        yield

    def chooses(self, name: str, black: str = "b") -> Iterator[None]:
        """Black, forward until the button of ``name`` is marked, black."""
        yield from self.sends(black, "marks")
        for _ in range(120):
            if self.marked() == name:
                break
            yield from self.sends("page down")
        assert self.marked() == name, (name, self.marked())
        yield from self.sends(black, self._words_of(name))

    def _words_of(self, name: str) -> str:
        """What stands on the button that does ``name``."""
        if isinstance(self.shown, FirstLight):
            return next(words for key, words, _ in self.shown.buttons() if key == name)
        of_mode = MODE_WORDS.get(self.shown.state.mode, {})
        return of_mode.get(name) or actions.ACTIONS[name].words

    def marked(self) -> str:
        """The button that the presenter's black one does next."""
        if isinstance(self.shown, FirstLight):
            n = self.shown.marked
            return "" if n is None else self.shown.buttons()[n][0]
        state = self.shown.state
        return str(actions.ways.marked(state)) if state.page == "all" else ""

    # -- what she sees -----------------------------------------------------------------------------

    def sees(self, what: Callable[[], bool]) -> Iterator[None]:
        """Waits until it is so."""
        while not what():
            yield

    def glass(self) -> NDArray[np.uint8]:
        """(H, W, 3) uint8: what the window holds."""
        surface = app.pygame.display.get_surface()
        return np.ascontiguousarray(app.pygame.surfarray.array3d(surface).swapaxes(0, 1))

    def _buttons(self) -> dict[str, Any]:
        if isinstance(self.shown, FirstLight):
            return dict(self.shown.picture.places)
        made = self.shown.state.shown
        strip = {} if made.strip is None else made.strip.buttons
        return {**strip, **made.pads}

    def _middle(self, box: NDArray[np.float64]) -> tuple[float, float]:
        light = isinstance(self.shown, FirstLight)
        lens = self.shown.picture.lens.calibration if light else self.shown.state.calibration
        x, y = lens.to_projector(box.mean(axis=0)[None])[0]
        return float(x), float(y)


def goes(person: Person, path: Path, patch: Any) -> str:
    """``project PATH`` on the dummy driver's display, full screen, worked by her; what it printed."""
    from click.testing import CliRunner

    from projector.commands.project import ProjectCommand

    assert os.environ["SDL_VIDEODRIVER"] == "dummy"
    app.pygame.display.quit()
    person.sits_down(patch)
    done = CliRunner().invoke(
        ProjectCommand.command, [str(path), "--display", "0"], catch_exceptions=False
    )
    assert done.exit_code == 0, done.output
    return done.output


# -- the two sessions ------------------------------------------------------------------------------


def by_mouse(truth: Any) -> Script:
    """First light by tape, typed with the page's own buttons, then every piece traced, then out.

    ``truth``: the projector that the table really has, (N, 2) px → mm.
    """
    from calibrate.readings import pairs_of

    def script(me: Person) -> Iterator[None]:
        yield from me.press("1")
        yield from me.press("space")
        assert me.shown.page == "pattern" and not me.shown.picture.places
        yield from me.press_at(500.0, 300.0, "anywhere on the pattern")
        yield from me.press("escape")
        yield from me.press("3")
        crosses = me.shown.crosses()
        at = {k: truth(np.array([v], float))[0] for k, v in crosses.items()}
        for n, (a, b) in enumerate(pairs_of(crosses)):
            if n == 2:  # a slip, mended
                yield from me.press("7")
                yield from me.press("backspace")
            for letter in f"{np.hypot(*(at[a] - at[b])):.1f}":
                yield from me.press(letter)
            yield from me.press("return")
        yield from me.sees(lambda: me.shown.page == "done")
        yield
        yield from me.press("space")
        yield from me.sees(lambda: not isinstance(me.shown, FirstLight))
        yield
        yield from me.press("help")
        yield from me.press("help")
        yield from me.press("trace")
        while me.shown.state.current is not None:
            yield from me.press("go-on")
        yield from me.press("more")
        while "quit" not in me._buttons():
            yield from me.press("more")
        yield from me.press("quit")

    return script


def by_presenter(photographed: Callable[[NDArray[np.uint8]], None], black: str = "b") -> Script:
    """First light by photo, then every piece traced, one taken back on the way, then out.

    ``photographed``: takes what is on the beam and puts a photo into the folder.
    """

    def script(me: Person) -> Iterator[None]:
        yield from me.chooses("r", black)  # into the page of the bars, and out of it
        assert me.shown.page == "bars"
        yield from me.sends("page down")
        yield from me.sends("page down")
        yield from me.sends("page up")
        yield from me.sends(black, "escape")
        assert me.shown.page == "start"
        yield from me.chooses("1", black)
        yield from me.sends("page down", "the pattern")
        assert me.shown.page == "pattern"
        yield
        photographed(me.glass())
        yield from me.sees(lambda: me.shown.page == "done")
        yield
        yield from me.sends("page down", "take it")
        yield from me.sees(lambda: not isinstance(me.shown, FirstLight))
        yield
        yield from me.chooses("work-light", black)
        yield from me.sends("page up", "light off again")
        yield from me.sends("page down", "trace")
        yield from me.sends("page down", "traced")
        yield from me.sends("page up", "back")
        while me.shown.state.current is not None:
            yield from me.sends("page down", "traced")
        yield from me.sends("escape", "arrange")
        yield from me.sends("escape", "asks")
        assert me.shown.running
        yield from me.chooses("quit", black)

    return script
