"""``chalkbeam calibrate live``: show white, then the pattern, look with a camera, solve, save."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.lengths import BEAM_MM, PAIR_MM, UNIT
from projector.commands.places import JSON_OPTION, OUT_FOLDER, Command, Place
from projector.output import CALIBRATION, PICTURE, look_over, write_picture

if TYPE_CHECKING:
    from calibrate.camera import Source
    from calibrate.verdict import Solution


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
    "--bars", "bars_mm", type=PAIR_MM, metavar="X,Y",
    help="What your ruler reads on bar 1 and bar 2 of the cards page, in mm: 180.4,250.0",
)  # fmt: skip
@UNIT
@click.option("--beam-width", type=BEAM_MM, metavar="LENGTH", help="Width of the lit picture, mm.")
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
    bars_mm: tuple[float, float] | None,
    unit: str,
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
            unit=unit,
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
    unit: str = "mm",
    beam_width: float | None = None,
    large: bool = False,
    patience: float = 60.0,
    keep_pictures: Path | None = None,
    as_json: bool = False,
    next_position: Callable[[int], None] | None = None,
) -> Solution:
    """The command without its devices: a camera source, and a beam with ``size``, ``show``, ``wait``.

    Args:
        next_position: called before each further position; asks for Enter when not given.

    Raises:
        Refusal: in her words, what was not seen; nothing is saved then.
    """
    from dataclasses import replace

    from calibrate.report import as_data, text
    from calibrate.solve import bar_scale, solve
    from calibrate.store import keep
    from projector.console import print_json
    from projector.live import look_from

    bar_scale(bars_mm)
    pictures = (
        [keep_pictures / f"position-{n + 1}.png" for n in range(positions)] if keep_pictures else []
    )
    look_over([], [("--keep-pictures", path, PICTURE, False) for path in pictures])
    views = look_from(
        source, beam, frames=frames, positions=positions, beam_width=beam_width, large=large,
        patience=patience, say=lambda words: click.echo(words, err=as_json), quiet=as_json,
        next_position=next_position or _ask_to_move,
    )  # fmt: skip
    seen = [v.seen for v in views]
    solution = solve(seen, bars_mm=bars_mm, display=name, method="live")
    solution = replace(solution, calibration=solution.calibration.told_in(unit))
    saved = [keep(solution.calibration), *pictures]
    if out is not None:
        solution.calibration.save(out)
        saved.insert(0, out)
    for path, view in zip(pictures, views, strict=False):
        write_picture(path, view.picture)
    if as_json:
        print_json({**as_data(solution, seen), "saved": [str(p) for p in saved]})
    else:
        click.echo(text(solution, seen))
        click.echo("Saved: " + ", ".join(str(p) for p in saved))
    return solution


def _ask_to_move(position: int) -> None:
    click.prompt(
        f"Move the camera to another side for position {position}; leave the cards. Then Enter",
        default="",
        show_default=False,
        prompt_suffix=" ",
        err=True,
    )
