"""``chalkbeam calibrate live``: show white, then the pattern, look with a camera, solve, save."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.command_line import CommandLine, json_switch, option, rule_unit
from projector.commands.lengths import BEAM_MM, PAIR_MM
from projector.commands.places import OUT_FOLDER, Place
from projector.console import print_json
from projector.output import CALIBRATION, PICTURE, look_over, write_picture

if TYPE_CHECKING:
    from calibrate.camera import Source
    from calibrate.verdict import Solution


class LiveCommand(CommandLine):
    """Show the pattern, grab camera frames, solve, save.

    Lay the cards near the corners of the light. White light is shown with a small picture of what
    the camera sees; once the cards are found, the pattern. Stand clear, and never look into the lens.
    """

    camera: int = option("Which camera.", default=0)
    display: int | None = option("Which display the projector is.")
    out: Path | None = option(
        "Where to save, beside the store of calibrations.", Place(CALIBRATION)
    )
    frames: int = option(
        "Frames to average; noise and a colour wheel's bands fade in thirty.",
        click.IntRange(1, 200),
        default=30,
    )
    positions: int = option(
        "Look from so many places; you move the camera in between. Three are truer.",
        click.IntRange(1, 6),
        default=1,
    )
    bars_mm: tuple[float, float] | None = option(
        "What your ruler reads on bar 1 and bar 2 of the cards page, in mm: 180.4,250.0",
        PAIR_MM,
        names="--bars",
    )
    unit: str = rule_unit()
    beam_width: float | None = option("Width of the lit picture, mm.", BEAM_MM)
    large: bool = option("Windows for the larger cards.")
    patience: float = option(
        "How long to look for the four cards before making do with three.",
        click.FloatRange(1, 600),
        default=60.0,
        metavar="SECONDS",
    )
    keep_pictures: Path | None = option(
        "Also write the averaged pictures there; 'calibrate photo' takes them.",
        OUT_FOLDER,
        metavar="DIR",
    )
    as_json: bool = json_switch()

    def run(self) -> None:
        from calibrate.camera import DeviceSource
        from projector.app import Beam

        with DeviceSource.open(self.camera) as source, Beam.open(self.display) as beam:
            if beam.notice:
                click.echo(beam.notice, err=self.as_json)
            self.look(source, beam, beam.display.name)

    def look(
        self,
        source: Source,
        beam: Any,
        name: str = "",
        next_position: Callable[[int], None] | None = None,
    ) -> Solution:
        """Without its devices: a camera source, and a beam with ``size``, ``show``, ``wait``.

        Args:
            name: of the projector, for the store.
            next_position: called before each further position; asks for Enter when not given.

        Raises:
            Refusal: in her words, what was not seen; nothing is saved then.
        """

        from calibrate.report import as_data, text
        from calibrate.solve import bar_scale, solve
        from calibrate.store import keep
        from projector.live import look_from

        bar_scale(self.bars_mm)
        folder, each = self.keep_pictures, range(1, self.positions + 1)
        pictures = [folder / f"position-{n}.png" for n in each] if folder else []
        look_over([], [("--keep-pictures", path, PICTURE, False) for path in pictures])
        views = look_from(
            source, beam, frames=self.frames, positions=self.positions, beam_width=self.beam_width,
            large=self.large, patience=self.patience, quiet=self.as_json,
            say=lambda words: click.echo(words, err=self.as_json),
            next_position=next_position or _ask_to_move,
        )  # fmt: skip
        seen = [v.seen for v in views]
        solution = solve(seen, bars_mm=self.bars_mm, display=name, method="live")
        solution = replace(solution, calibration=solution.calibration.told_in(self.unit))
        saved = [keep(solution.calibration), *pictures]
        if self.out is not None:
            solution.calibration.save(self.out)
            saved.insert(0, self.out)
        for path, view in zip(pictures, views, strict=False):
            write_picture(path, view.picture)
        if self.as_json:
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
