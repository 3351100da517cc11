"""``chalkbeam calibrate photo``: from one photo, or several, to a saved calibration."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from configs.errors import InputError, Refusal
from projector.commands.command_line import CommandLine, argument, json_switch, option, rule_unit
from projector.commands.lengths import BEAM_MM, PAIR_MM, SIZE
from projector.commands.places import Place
from projector.console import print_json, tell
from projector.output import CALIBRATION, PICTURE, write_picture

if TYPE_CHECKING:
    from calibrate.arrays import Image
    from calibrate.detect import Detections
    from calibrate.verdict import Solution
    from configs.errors import Refusal


class PhotoCommand(CommandLine):
    """Solve from one photo, or several, and save the calibration.

    Show the pattern, lay the four cards flat into its windows, photograph everything that is lit.
    Several photos from different sides make it truer; leave the cards where they are between them.
    """

    photos: tuple[Path, ...] = argument()
    size: tuple[int, int] = option("The projector's own resolution.", SIZE)
    out: Path | None = option(
        "Where to save it, beside the store of calibrations.", Place(CALIBRATION)
    )
    bars_mm: tuple[float, float] | None = option(
        "What your ruler reads on bar 1 and bar 2 of the cards page: 180.4,250.0 mm, or '7 1/16 in,9 13/16 in'",
        PAIR_MM,
        names="--bars",
    )
    square_mm: tuple[float, float] | None = option(
        "What your ruler reads on the projected check square of 200 mm, in mm.",
        PAIR_MM,
        names="--square",
    )
    unit: str = rule_unit()
    cards_file: Path | None = option("cards.yaml, if other.", names="--cards")
    pattern_file: Path | None = option("pattern.yaml, if at hand.", names="--pattern")
    beam_width: float | None = option("Width of the light, as given to 'pattern'.", BEAM_MM)
    display: str = option("Name of the projector, for the store.", default="")
    report: Path | None = option(
        "A picture: the photo with the error map, the cards and the corners found.", Place(PICTURE)
    )
    square_picture: Path | None = option(
        "Write the check square of 200 mm as a picture to project.", Place(PICTURE)
    )
    as_json: bool = json_switch()

    def run(self) -> None:
        from calibrate.cards import load_cards
        from calibrate.detect import detect
        from calibrate.pattern import load_pattern, pattern_for
        from calibrate.photo import read_photo
        from calibrate.report import apply_square, as_data, text
        from calibrate.solve import bar_scale, solve
        from calibrate.store import keep

        bar_scale(self.bars_mm)
        ids = None if self.cards_file is None else [c.id for c in load_cards(self.cards_file).cards]
        pattern = None
        if self.pattern_file is not None:
            pattern = load_pattern(self.pattern_file)
            if pattern.size != self.size:
                there, said = ("x".join(map(str, size)) for size in (pattern.size, self.size))
                what = f"is {there}; --size says {said}."
                remedy = "Give the projector's own resolution to both."
                raise InputError.of(f"{self.pattern_file}: size", what, remedy)
        elif self.beam_width is not None:
            # only to refuse nonsense: the photo shows the windows
            pattern_for(self.size, self.beam_width)
        seen: list[Detections] = []
        first: Image | None = None
        refused: list[Refusal] = []
        for path in self.photos:
            picture = read_photo(path)
            try:
                found = detect(picture, self.size, pattern=pattern, card_ids=ids, name=str(path))
            except Refusal as refusal:
                refused.append(refusal)
                continue
            seen.append(found)
            first = picture if first is None else first
            del picture
        if not seen:
            raise refused[0]
        solution = solve(seen, bars_mm=self.bars_mm, display=self.display, pattern=pattern)
        if self.beam_width is not None:
            solution = _against_width(solution, self.beam_width)
        calibration = solution.calibration
        if self.square_mm is not None:
            calibration = apply_square(calibration, self.square_mm)
        calibration = calibration.told_in(self.unit)
        solution = replace(solution, calibration=calibration)
        saved = []
        if self.out is not None:
            calibration.save(self.out)
            saved.append(self.out)
        try:
            saved.append(keep(calibration))
        except InputError:  # the file asked for is written; 'project' can be given it
            if self.out is None or self.display:
                raise
        if self.report is not None and first is not None:
            from calibrate.report import picture as draw

            write_picture(self.report, draw(first, solution, seen[0], solution.order.index(0)))
        if self.square_picture is not None:
            from calibrate.report import square_picture as square_of

            write_picture(self.square_picture, square_of(calibration))
        left_out = [str(r) for r in refused]
        if self.as_json:
            data = as_data(solution, seen)
            print_json({**data, "saved": [str(p) for p in saved], "left_out": left_out})
            return
        click.echo(text(solution, seen))
        tell(left_out, "Left out: ")
        click.echo("Saved: " + ", ".join(str(p) for p in saved))


def _against_width(solution: Solution, wide_mm: float) -> Solution:
    """With a note when the light is not as wide as she measured it."""
    found = solution.calibration.summary()["beam_width_mm"]
    if abs(found / wide_mm - 1) < 0.03:
        return solution
    note = (
        f"You gave {wide_mm / 10:.0f} cm as the light's width; the cards make it "
        f"{found / 10:.0f} cm. Was the pattern shown full screen, without a viewer's margins? If "
        "not, nothing will lie true: show it pixel for pixel and photograph again."
    )
    return replace(solution, notes=(note, *solution.notes))
