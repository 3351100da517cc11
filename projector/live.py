"""Calibrating live: white light until the cards are seen, then the pattern; looks from several places.

Between `calibrate`, which sees and solves, and what has a camera and a beam: the command `calibrate
live`, `calibrate check --live` and first light at the table.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calibrate.camera import Source, View
    from calibrate.detect import Detections


def look_from(
    source: Source,
    beam: Any,
    *,
    frames: int = 30,
    positions: int = 1,
    beam_width: float | None = None,
    large: bool = False,
    patience: float = 60.0,
    say: Callable[[str], None] = print,
    quiet: bool = False,
    next_position: Callable[[int], None] = lambda _: None,
) -> list[View]:
    """What a camera sees of cards and pattern, from one place after the other.

    Args:
        beam: what shows pictures: has ``size``, ``show`` and ``wait``.
        frames: to average at each place; patience: s to look for four cards.
        beam_width: of the lit picture, mm; large: windows for the larger cards.
        say: told what is seen, a sentence each; quiet: no progress bar.
        next_position: called with its number before each further place.

    Raises:
        Refusal: in her words, what was not seen.
    """
    from calibrate.pattern import pattern_for

    pattern = pattern_for(beam.size, beam_width, large)
    views: list[View] = []
    for n in range(positions):
        if n:
            next_position(n + 1)
        views.append(_one_position(source, beam, pattern, frames, patience, say, quiet))
        say(
            f"Position {n + 1} of {positions}: cards "
            f"{', '.join(map(str, sorted(views[-1].seen.cards)))} and "
            f"{len(views[-1].seen.pattern or ())} pattern corners."
        )
    return views


def look(camera: int, display: int | None, size: tuple[int, int], frames: int = 30) -> Detections:
    """One view with a plugged-in camera, for 'calibrate check --live'.

    Raises:
        Refusal: no camera, no display of that size, or nothing seen.
    """
    from functools import partial

    import click

    from calibrate.camera import DeviceSource
    from calibrate.pattern import pattern_for
    from projector.app import Beam

    say = partial(click.echo, err=True)
    with DeviceSource.open(camera) as source, Beam.open(display, size) as beam:
        pattern = pattern_for(beam.size)
        return _one_position(source, beam, pattern, frames, 20.0, say, False).seen


def _one_position(
    source: Source,
    beam: Any,
    pattern: Any,
    frames: int,
    patience: float,
    say: Callable[[str], None],
    quiet: bool,
) -> View:
    from rich.progress import Progress

    from calibrate.camera import take_view
    from projector.console import terminal

    _wait_for_cards(source, beam, patience, say)
    with Progress(console=terminal(stderr=True), transient=True, disable=quiet) as progress:
        task = progress.add_task("Looking: stand clear of the light", total=2 * frames)

        def told(done: int, whole: int) -> None:
            progress.update(task, completed=done, total=whole)

        return take_view(source, beam.show, pattern, frames=frames, wait=beam.wait, progress=told)


def _wait_for_cards(source: Source, beam: Any, patience: float, say: Callable[[str], None]) -> None:
    """White light and the small live picture until four cards are found, or three and patience ends.

    Raises:
        Refusal: fewer than three at the end; with what was wrong.
    """
    import numpy as np

    from calibrate.camera import live_picture, look_for_cards
    from configs.errors import Refusal

    w, h = beam.size
    beam.show(np.full((h, w, 3), 255, np.uint8))
    beam.wait(source.settle_seconds)
    until = time.monotonic() + patience
    last = ""
    while True:
        picture, seen, wrong = look_for_cards(source)
        ids = sorted(seen.cards) if seen else []
        words = f"cards found: {', '.join(map(str, ids))} of four" if ids else "no cards found yet"
        if words != last:
            say(words[0].upper() + words[1:] + ".")
            last = words
        if len(ids) >= 4:
            return
        if time.monotonic() >= until:
            if len(ids) >= 3:
                say("Going on with three; four are truer.")
                return
            raise Refusal(
                "few-cards" if ids else "no-cards",
                f"{words} in {patience:.0f} s. {wrong}".strip(),
                "Lay four cards flat near the corners of the light, all in the camera's picture, "
                "and bright enough to read.",
                data={"cards": ids},
            )
        beam.show(live_picture(picture, seen, beam.size, words))
        beam.wait(0.05 if source.settle_seconds else 0.0)
