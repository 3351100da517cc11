"""``chalkbeam calibrate crosses`` and ``calibrate tape``: no camera, a tape measure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.lengths import SIZE
from projector.commands.places import JSON_OPTION, Command, Place
from projector.output import (
    CALIBRATION,
    CROSSES,
    EXACT_PICTURE,
    READINGS,
    Kind,
    picture_bytes,
    write_all,
)

if TYPE_CHECKING:
    from calibrate.tape import TapeResult


@click.command(cls=Command)
@click.option(
    "--size", type=SIZE, required=True, metavar="WxH", help="The projector's own resolution."
)
@click.option(
    "--count", type=click.Choice(["4", "6", "9"]), default="6", show_default=True,
    help="How many crosses; 4 do not see the lens.",
)  # fmt: skip
@click.option(
    "--out", type=Place(EXACT_PICTURE, beside={".yaml": CROSSES}), required=True,
    help="The PNG; a .yaml lies beside it.",
)  # fmt: skip
@click.option(
    "--form", type=Place(READINGS),
    help="Also write a distances file with every pair still empty, to fill in.",
)  # fmt: skip
def crosses(size: tuple[int, int], count: str, out: Path, form: Path | None) -> None:
    """The lettered crosses for the tape measure.

    Show the picture full screen at the projector's own resolution, not scaled. Measure from the
    middle of one cross to the middle of the other, as many pairs as you can reach, and write them
    into a distances file: the lines of the .yaml beside the picture, then distances_mm.
    """
    from calibrate.readings import crosses_for, crosses_picture, crosses_text, form_text, pairs_of

    wanted = size
    placed = crosses_for(wanted, int(count))
    side = out.with_suffix(".yaml")
    files: dict[Path, tuple[str | bytes, Kind]] = {
        out: (picture_bytes(crosses_picture(wanted, placed)), EXACT_PICTURE),
        side: (crosses_text(wanted, placed), CROSSES),
    }
    if form is not None:
        files[form] = (form_text(wanted, placed), READINGS)
    write_all(files)
    click.echo(f"Wrote {out} and {side}: crosses {', '.join(placed)}.")
    if form is not None:
        click.echo(f"Wrote {form}: {len(pairs_of(placed))} distances to fill in.")
    click.echo("Stay out of the beam while you measure, and never look into the lens.")


@click.command(cls=Command)
@click.argument("distances", type=Place(READINGS, edited=lambda given: bool(given["guided"])))
@click.option("--size", type=SIZE, metavar="WxH", help="The projector's own resolution.")
@click.option("--out", type=Place(CALIBRATION), required=True, help="Where the calibration goes.")
@click.option(
    "--tape-class", "tape_class", type=click.Choice(["I", "II", "III", "none"]), default="none",
    show_default=True, help="Printed on a good tape in an oval; sets how sure the scale is.",
)  # fmt: skip
@click.option("--display", default="", help="Name of the projector, for the store.")
@click.option(
    "--guided", is_flag=True,
    help="Show which two crosses are next and ask for each reading; DISTANCES is filled as you go.",
)  # fmt: skip
@click.option("--screen", type=int, help="Which display the projector is, with --guided.")
@click.option(
    "--count", type=click.Choice(["4", "6", "9"]), default="6", show_default=True,
    help="How many crosses, with --guided.",
)  # fmt: skip
@click.option(
    "--unit", type=click.Choice(["mm", "cm", "in"]), default="mm", show_default=True,
    help="Of readings typed without one, with --guided.",
)  # fmt: skip
@JSON_OPTION
def tape(
    distances: Path,
    size: tuple[int, int] | None,
    out: Path,
    tape_class: str,
    display: str,
    guided: bool,
    screen: int | None,
    count: str,
    unit: str,
    as_json: bool,
) -> None:
    """Solve from distances taken with a tape measure.

    DISTANCES holds the crosses and what the tape read between them: 'A-B: 1123' in mm, or with a
    unit: '112.3 cm', '44 1/4 in'. Pairs that could not be measured are left out.
    """
    from dataclasses import replace

    from calibrate.readings import load_readings
    from calibrate.store import keep
    from calibrate.tape import solve_tape
    from configs.errors import InputError
    from projector.console import print_json

    wanted, true = size, True
    if guided:
        from projector.tape_guide import guide, shown, typed

        with shown(screen, wanted) as beam:
            guide(distances, beam.size, int(count), unit, beam.show, typed(beam.wait))
            true = beam.true_scale
    data = load_readings(distances, wanted)
    if unit == "in":
        data = replace(data, unit=unit)
    result = solve_tape(data, tape_class, display)
    result.calibration.save(out)
    kept = None
    try:
        kept = keep(result.calibration) if true else None
    except InputError:  # the file asked for is written; 'project' can be given it
        if display:
            raise
    if as_json:
        print_json(_as_data(result, out))
        return
    _say(result, out)
    if kept is not None:
        click.echo("Kept for 'chalkbeam project' too.")
    elif not true:
        click.echo("It was a window, not the projector's whole picture: not kept for 'project'.")


def _as_data(result: TapeResult, out: Path) -> dict[str, Any]:
    import math

    return {
        "calibration": str(out),
        "readings": [
            {
                "pair": f"{a}-{b}",
                "read_mm": mm,
                "fitted_mm": float(fitted),
                "surplus_mm": float(surplus) if math.isfinite(surplus) else None,
                "left_out": i in result.left_out,
            }
            for i, (((a, b), mm), fitted, surplus) in enumerate(
                zip(result.readings, result.fitted_mm, result.surplus_mm, strict=True)
            )
        ],
        "reading_mm": result.reading_mm,
        "worst": result.words(result.worst) if result.worst is not None else None,
        "warnings": list(result.warnings),
        **result.calibration.summary(),
    }


def _say(result: TapeResult, out: Path) -> None:
    import math

    from configs.units import length_text, said_in, small_text
    from projector.console import print_table

    rows, inches = [], result.calibration.unit == "in"
    for i, (((a, b), mm), fitted, surplus) in enumerate(
        zip(result.readings, result.fitted_mm, result.surplus_mm, strict=True)
    ):
        against = f"{surplus:+z.1f}" if math.isfinite(surplus) else "not checked"
        note = "left out" if i in result.left_out else ""
        if inches:
            against = small_text(surplus, "in") if math.isfinite(surplus) else against
            rows.append(
                [f"{a}–{b}", length_text(mm, "in"), length_text(fitted, "in"), against, note]
            )
        else:
            rows.append([f"{a}–{b}", f"{mm:.1f}", f"{fitted:.1f}", against, note])
    print_table(
        "Readings" if inches else "Readings, mm",
        ["pair", "read", "fitted", "against the rest", ""],
        rows,
    )
    if result.worst is not None and not result.left_out:
        click.echo(f"The worst: {result.words(result.worst)}")
    for warning in result.warnings:
        click.echo(f"Note: {warning}")
    s = result.calibration.summary()
    dots = s["rms_mm"] / s["dot_mm"]
    true = (
        f"True to about {s['rms_mm']:.1f} mm ({dots:.1f} of a projector dot), at the worst place "
        f"{s['max_mm']:.1f} mm, over {s['beam_width_mm'] / 1000:.2f} × "
        f"{s['beam_height_mm'] / 1000:.2f} m, by this tape: what the tape itself is off comes on "
        f"top."
    )
    click.echo(f"{said_in(true, result.calibration.unit)} Wrote {out}.")
    click.echo("Before you cut: show a square of a known size and lay a ruler on it.")
