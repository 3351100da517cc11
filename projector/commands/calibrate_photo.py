"""``chalkbeam calibrate photo``: from one photo, or several, to a saved calibration."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from projector.commands.lengths import BEAM_MM, PAIR_MM, SIZE, UNIT
from projector.commands.places import FILE, JSON_OPTION, Command, Place
from projector.output import CALIBRATION, PICTURE, write_picture

if TYPE_CHECKING:
    from calibrate.arrays import Image
    from calibrate.detect import Detections
    from calibrate.verdict import Solution
    from configs.errors import Refusal


@click.command(cls=Command)
@click.argument("photos", nargs=-1, required=True, type=FILE)
@click.option(
    "--size", type=SIZE, required=True, metavar="WxH", help="The projector's own resolution."
)
@click.option(
    "--out", type=Place(CALIBRATION),
    help="Where to save it, beside the store of calibrations.",
)  # fmt: skip
@click.option(
    "--bars", "bars_mm", type=PAIR_MM, metavar="X,Y",
    help="What your ruler reads on bar 1 and bar 2 of the cards page: 180.4,250.0 mm, or '7 1/16 in,9 13/16 in'",
)  # fmt: skip
@click.option(
    "--square", "square_mm", type=PAIR_MM, metavar="X,Y",
    help="What your ruler reads on the projected check square of 200 mm, in mm.",
)  # fmt: skip
@UNIT
@click.option("--cards", "cards_file", type=FILE, help="cards.yaml, if other.")
@click.option("--pattern", "pattern_file", type=FILE, help="pattern.yaml, if at hand.")
@click.option(
    "--beam-width",
    type=BEAM_MM,
    metavar="LENGTH",
    help="Width of the light, as given to 'pattern'.",
)
@click.option("--display", default="", help="Name of the projector, for the store.")
@click.option(
    "--report", type=Place(PICTURE),
    help="A picture: the photo with the error map, the cards and the corners found.",
)  # fmt: skip
@click.option(
    "--square-picture", type=Place(PICTURE),
    help="Write the check square of 200 mm as a picture to project.",
)  # fmt: skip
@JSON_OPTION
def photo(
    photos: tuple[Path, ...],
    size: tuple[int, int],
    out: Path | None,
    bars_mm: tuple[float, float] | None,
    square_mm: tuple[float, float] | None,
    unit: str,
    cards_file: Path | None,
    pattern_file: Path | None,
    beam_width: float | None,
    display: str,
    report: Path | None,
    square_picture: Path | None,
    as_json: bool,
) -> None:
    """Solve from one photo, or several, and save the calibration.

    Show the pattern, lay the four cards flat into its windows, photograph everything that is lit.
    Several photos from different sides make it truer; leave the cards where they are between them.
    """
    from dataclasses import replace

    from calibrate.cards import load_cards
    from calibrate.detect import detect
    from calibrate.pattern import load_pattern, pattern_for
    from calibrate.photo import read_photo
    from calibrate.report import apply_square, as_data, text
    from calibrate.solve import bar_scale, solve
    from calibrate.store import keep
    from configs.errors import InputError, Refusal

    wanted = size
    bar_scale(bars_mm)
    ids = None if cards_file is None else [c.id for c in load_cards(cards_file).cards]
    pattern = None
    if pattern_file is not None:
        pattern = load_pattern(pattern_file)
        if pattern.size != wanted:
            raise InputError.of(
                f"{pattern_file}: size",
                f"is {pattern.size[0]}x{pattern.size[1]}; --size says {wanted[0]}x{wanted[1]}.",
                "Give the projector's own resolution to both.",
            )
    elif beam_width is not None:
        pattern_for(wanted, beam_width)  # only to refuse nonsense: the photo shows the windows
    seen: list[Detections] = []
    first: Image | None = None
    refused: list[Refusal] = []
    for path in photos:
        picture = read_photo(path)
        try:
            found = detect(picture, wanted, pattern=pattern, card_ids=ids, name=str(path))
        except Refusal as refusal:
            refused.append(refusal)
            continue
        seen.append(found)
        first = picture if first is None else first
        del picture
    if not seen:
        raise refused[0]
    solution = solve(seen, bars_mm=bars_mm, display=display, pattern=pattern)
    if beam_width is not None:
        solution = _against_width(solution, beam_width)
    calibration = solution.calibration
    if square_mm is not None:
        calibration = apply_square(calibration, square_mm)
    calibration = calibration.told_in(unit)
    solution = replace(solution, calibration=calibration)
    saved = []
    if out is not None:
        calibration.save(out)
        saved.append(out)
    try:
        saved.append(keep(calibration))
    except InputError:  # the file asked for is written; 'project' can be given it
        if out is None or display:
            raise
    if report is not None and first is not None:
        from calibrate.report import picture as draw

        write_picture(report, draw(first, solution, seen[0], solution.order.index(0)))
    if square_picture is not None:
        from calibrate.report import square_picture as square_of

        write_picture(square_picture, square_of(calibration))
    left_out = [str(r) for r in refused]
    if as_json:
        from projector.console import print_json

        data = as_data(solution, seen)
        print_json({**data, "saved": [str(p) for p in saved], "left_out": left_out})
        return
    click.echo(text(solution, seen))
    for line in left_out:
        click.echo(f"Left out: {line}")
    click.echo("Saved: " + ", ".join(str(p) for p in saved))


def _against_width(solution: Solution, wide_mm: float) -> Solution:
    """With a note when the light is not as wide as she measured it."""
    from dataclasses import replace

    found = solution.calibration.summary()["beam_width_mm"]
    if abs(found / wide_mm - 1) < 0.03:
        return solution
    note = (
        f"You gave {wide_mm / 10:.0f} cm as the light's width; the cards make it "
        f"{found / 10:.0f} cm. Was the pattern shown full screen, without a viewer's margins? If "
        "not, nothing will lie true: show it pixel for pixel and photograph again."
    )
    return replace(solution, notes=(note, *solution.notes))
