"""``chalkbeam calibrate live``: show white, then the pattern, look with a camera, solve, save."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.lengths import LENGTH_MM
from projector.commands.places import JSON_OPTION, OUT_FOLDER, Command, Place
from projector.output import CALIBRATION, PICTURE, picture_bytes, write_all

if TYPE_CHECKING:
    from calibrate.camera import Source, View
    from calibrate.detect import Detections


@click.command(cls=Command)
@click.option("--camera", default=0, show_default=True, help="Which camera.")
@click.option("--display", type=int, help="Which display the projector is.")
@click.option(
    "--out",
    type=Place(CALIBRATION),
    help="Where to save, beside the store of calibrations.",
)
@click.option(
    "--frames", type=click.IntRange(1, 200), default=30, show_default=True,
    help="Frames to average; noise and a colour wheel's bands fade in thirty.",
)  # fmt: skip
@click.option(
    "--positions", type=click.IntRange(1, 6), default=1, show_default=True,
    help="Look from so many places; you move the camera in between. Three are truer.",
)  # fmt: skip
@click.option(
    "--bars", metavar="X,Y",
    help="What your ruler reads on bar 1 and bar 2 of the cards page, in mm: 180.4,250.0",
)  # fmt: skip
@click.option(
    "--beam-width", type=LENGTH_MM, metavar="LENGTH", help="Width of the lit picture, mm."
)
@click.option("--large", is_flag=True, help="Windows for the larger cards.")
@click.option(
    "--patience", type=click.FloatRange(1, 600), default=60.0, show_default=True, metavar="SECONDS",
    help="How long to look for the four cards before making do with three.",
)  # fmt: skip
@click.option(
    "--keep-pictures", type=OUT_FOLDER, metavar="DIR",
    help="Also write the averaged pictures there; 'calibrate photo' takes them.",
)  # fmt: skip
@JSON_OPTION
def live(
    camera: int,
    display: int | None,
    out: Path | None,
    frames: int,
    positions: int,
    bars: str | None,
    beam_width: float | None,
    large: bool,
    patience: float,
    keep_pictures: Path | None,
    as_json: bool,
) -> None:
    """Show the pattern, grab camera frames, solve, save.

    Lay the cards near the corners of the light. White light is shown with a small picture of what
    the camera sees; once the cards are found, the pattern. Stand clear, and never look into the lens.
    """
    from calibrate.camera import DeviceSource
    from projector.app import Beam
    from projector.commands.calibrate_photo import _pair

    bars_mm = _pair(bars, "--bars")
    with DeviceSource.open(camera) as source, Beam.open(display) as beam:
        if beam.notice:
            click.echo(beam.notice, err=as_json)
        run(
            source,
            beam,
            name=beam.display.name,
            out=out,
            frames=frames,
            positions=positions,
            bars_mm=bars_mm,
            beam_width=beam_width,
            large=large,
            patience=patience,
            keep_pictures=keep_pictures,
            as_json=as_json,
        )


def run(
    source: Source,
    beam: Any,
    *,
    name: str = "",
    out: Path | None = None,
    frames: int = 30,
    positions: int = 1,
    bars_mm: tuple[float, float] | None = None,
    beam_width: float | None = None,
    large: bool = False,
    patience: float = 60.0,
    keep_pictures: Path | None = None,
    as_json: bool = False,
    next_position: Callable[[int], None] | None = None,
) -> Any:
    """The command without its devices: a camera source, and a beam with ``size``, ``show``, ``wait``.

    Args:
        next_position: called before each further position; asks for Enter when not given.

    Returns:
        the `calibrate.solve.Solution`.

    Raises:
        Refusal: in her words, what was not seen; nothing is saved then.
    """
    from calibrate.calibration import keep
    from calibrate.pattern import pattern_for
    from calibrate.report import as_data, text
    from calibrate.solve import bar_scale, solve
    from projector.console import print_json

    bar_scale(bars_mm)
    say = _sayer(as_json)
    pattern = pattern_for(beam.size, beam_width, large)
    views: list[View] = []
    for n in range(positions):
        if n:
            (next_position or _ask_to_move)(n + 1)
        views.append(_one_position(source, beam, pattern, frames, patience, say, as_json))
        say(
            f"Position {n + 1} of {positions}: cards "
            f"{', '.join(map(str, sorted(views[-1].seen.cards)))} and "
            f"{len(views[-1].seen.pattern or ())} pattern corners."
        )
    solution = solve([v.seen for v in views], bars_mm=bars_mm, display=name, method="live")
    saved = [keep(solution.calibration)]
    if out is not None:
        solution.calibration.save(out)
        saved.insert(0, out)
    if keep_pictures is not None:
        saved += _write_views(keep_pictures, views)
    if as_json:
        data = as_data(solution, [v.seen for v in views])
        print_json({**data, "saved": [str(p) for p in saved]})
    else:
        click.echo(text(solution, [v.seen for v in views]))
        click.echo("Saved: " + ", ".join(str(p) for p in saved))
    return solution


def look(camera: int, display: int | None, size: tuple[int, int], frames: int = 30) -> Detections:
    """One view with a plugged-in camera, for 'calibrate check --live'.

    Raises:
        Refusal: no camera, no display of that size, or nothing seen.
    """
    from calibrate.camera import DeviceSource
    from calibrate.pattern import pattern_for
    from projector.app import Beam

    with DeviceSource.open(camera) as source, Beam.open(display, size) as beam:
        pattern = pattern_for(beam.size)
        return _one_position(source, beam, pattern, frames, 20.0, _sayer(True), False).seen


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


def _ask_to_move(position: int) -> None:
    click.prompt(
        f"Move the camera to another side for position {position}; leave the cards. Then Enter",
        default="",
        show_default=False,
        prompt_suffix=" ",
        err=True,
    )


def _sayer(as_json: bool) -> Callable[[str], None]:
    def say(words: str) -> None:
        click.echo(words, err=as_json)

    return say


def _write_views(folder: Path, views: list[View]) -> list[Path]:
    pictures = {folder / f"position-{n}.png": v.picture for n, v in enumerate(views, 1)}
    write_all({path: (picture_bytes(p), PICTURE) for path, p in pictures.items()})
    return list(pictures)
