"""``chalkbeam calibrate crosses`` and ``calibrate tape``: no camera, a tape measure."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs.errors import InputError
from configs.units import length_text, said_in, small_text
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.lengths import SIZE
from projector.commands.places import Place
from projector.console import print_json, print_table, tell
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


class CrossesCommand(CommandLine):
    """The lettered crosses for the tape measure.

    Show the picture full screen at the projector's own resolution, not scaled. Measure from the
    middle of one cross to the middle of the other, as many pairs as you can reach, and write them
    into a distances file: the lines of the .yaml beside the picture, then distances_mm.
    """

    size: tuple[int, int] = option("The projector's own resolution.", SIZE)
    count: str = option("How many crosses; 4 do not see the lens.", ("4", "6", "9"), default="6")
    out: Path = option(
        "The PNG; a .yaml lies beside it.", Place(EXACT_PICTURE, beside={".yaml": CROSSES})
    )
    form: Path | None = option(
        "Also write a distances file with every pair still empty, to fill in.", Place(READINGS)
    )

    def run(self) -> None:
        from calibrate import readings

        placed = readings.crosses_for(self.size, int(self.count))
        side = self.out.with_suffix(".yaml")
        files: dict[Path, tuple[str | bytes, Kind]] = {
            self.out: (picture_bytes(readings.crosses_picture(self.size, placed)), EXACT_PICTURE),
            side: (readings.crosses_text(self.size, placed), CROSSES),
        }
        if self.form is not None:
            files[self.form] = (readings.form_text(self.size, placed), READINGS)
        write_all(files)
        click.echo(f"Wrote {self.out} and {side}: crosses {', '.join(placed)}.")
        if self.form is not None:
            many = len(readings.pairs_of(placed))
            click.echo(f"Wrote {self.form}: {many} distances to fill in.")
        click.echo("Stay out of the beam while you measure, and never look into the lens.")


class TapeCommand(CommandLine):
    """Solve from distances taken with a tape measure.

    DISTANCES holds the crosses and what the tape read between them: 'A-B: 1123' in mm, or with a
    unit: '112.3 cm', '44 1/4 in'. Pairs that could not be measured are left out.
    """

    distances: Path = argument(kind=Place(READINGS, edited=lambda given: bool(given["guided"])))
    size: tuple[int, int] | None = option("The projector's own resolution.", SIZE)
    out: Path = option("Where the calibration goes.", Place(CALIBRATION))
    tape_class: str = option(
        "Printed on a good tape in an oval; sets how sure the scale is.",
        ("I", "II", "III", "none"),
        default="none",
    )
    display: str = option("Name of the projector, for the store.", default="")
    guided: bool = option(
        "Show which two crosses are next and ask for each reading; DISTANCES is filled as you go."
    )
    screen: int | None = option("Which display the projector is, with --guided.")
    count: str = option("How many crosses, with --guided.", ("4", "6", "9"), default="6")
    unit: str = option(
        "Of readings typed without one, with --guided.", ("mm", "cm", "in"), default="mm"
    )
    as_json: bool = json_switch()

    def run(self) -> None:
        from calibrate.readings import load_readings
        from calibrate.store import keep
        from calibrate.tape import solve_tape

        true = True
        if self.guided:
            from projector.tape_guide import guide, shown, typed

            with shown(self.screen, self.size) as beam:
                form = (self.distances, beam.size, int(self.count), self.unit)
                guide(*form, beam.show, typed(beam.wait))
                true = beam.true_scale
        data = load_readings(self.distances, self.size)
        if self.unit == "in":
            data = replace(data, unit=self.unit)
        result = solve_tape(data, self.tape_class, self.display)
        result.calibration.save(self.out)
        kept = None
        try:
            kept = keep(result.calibration) if true else None
        except InputError:  # the file asked for is written; 'project' can be given it
            if self.display:
                raise
        if self.as_json:
            print_json(_as_data(result, self.out))
            return
        _say(result, self.out)
        if kept is not None:
            click.echo("Kept for 'chalkbeam project' too.")
        elif not true:
            click.echo(
                "It was a window, not the projector's whole picture: not kept for 'project'."
            )


def _readings(result: TapeResult) -> list[dict[str, Any]]:
    """Every reading: its pair, what was read, what fits best, by how much it is off the rest (None:
    nothing to check it by), whether it was left out."""
    each = zip(result.readings, result.fitted_mm, result.surplus_mm, strict=True)
    return [
        {
            "pair": "-".join(pair),
            "read_mm": mm,
            "fitted_mm": float(fitted),
            "surplus_mm": float(surplus) if math.isfinite(surplus) else None,
            "left_out": i in result.left_out,
        }
        for i, ((pair, mm), fitted, surplus) in enumerate(each)
    ]


def _as_data(result: TapeResult, out: Path) -> dict[str, Any]:
    return {
        "calibration": str(out),
        "readings": _readings(result),
        "reading_mm": result.reading_mm,
        "worst": result.words(result.worst) if result.worst is not None else None,
        "warnings": list(result.warnings),
        **result.calibration.summary(),
    }


def _say(result: TapeResult, out: Path) -> None:
    rows, inches = [], result.calibration.unit == "in"
    for r in _readings(result):
        off, lengths = r["surplus_mm"], (r["read_mm"], r["fitted_mm"])
        against = "not checked"
        if off is not None:
            against = small_text(off, "in") if inches else f"{off:+z.1f}"
        told = [length_text(mm, "in") if inches else f"{mm:.1f}" for mm in lengths]
        pair, note = r["pair"].replace("-", "–"), "left out" if r["left_out"] else ""
        rows.append([pair, *told, against, note])
    print_table(
        "Readings" if inches else "Readings, mm",
        ["pair", "read", "fitted", "against the rest", ""],
        rows,
    )
    if result.worst is not None and not result.left_out:
        click.echo(f"The worst: {result.words(result.worst)}")
    tell(result.warnings, "Note: ")
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
