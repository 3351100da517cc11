"""``chalkbeam calibrate check``: is the calibration still true, by how much not, and mend it."""

from __future__ import annotations

from pathlib import Path

import click

from configs.errors import InputError
from configs.units import said_in
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.lengths import LENGTH_MM
from projector.commands.places import Place
from projector.console import print_json
from projector.output import CALIBRATION


class CheckCommand(CommandLine):
    """Is the calibration still true? By how much not?

    PHOTO shows the pattern and the cards, as for 'calibrate photo'. The shape of the light is
    checked always; its place on the table when cards were left taped down. Exit 1 past tolerance.
    """

    photo: Path | None = argument()
    calibration_file: Path | None = option(
        "The calibration in use; without it, the newest in the store.", names="--calibration"
    )
    tolerance: float = option("How far off is too far.", LENGTH_MM, default=1.0)
    mend: bool = option("Solve anew, keeping the old table frame.")
    out: Path | None = option("Where the mended calibration goes.", Place(CALIBRATION))
    live: bool = option("No photo: show the pattern and look with a camera.")
    camera: int = option("Which camera, with --live.", default=0)
    display: int | None = option("Which display the projector is, with --live.")
    frames: int = option("Frames to average, with --live.", click.IntRange(1, 200), default=30)
    as_json: bool = json_switch()

    def run(self) -> int:
        from calibrate.calibration import Calibration
        from calibrate.detect import detect
        from calibrate.drift import drift
        from calibrate.drift import mend as mended_by
        from calibrate.photo import read_photo
        from calibrate.solve import solve
        from calibrate.store import newest, told

        if (self.photo is None) == (not self.live):
            what = "needs a PHOTO, or --live to look with a camera."
            raise InputError.of("check", what, "Give one of the two.")
        if self.mend and self.out is None:
            raise InputError.of("--mend", "does not know where to save.", "Give --out FILE.")
        if self.out is not None and not self.mend:
            raise InputError.of("--out", "only saves with --mend.", "Add --mend, or leave it.")
        old = Calibration.load(self.calibration_file) if self.calibration_file else newest()
        if old is None:
            what = "is missing, and the store is empty."
            raise InputError.of("--calibration", what, "Give the file to check.")
        if self.calibration_file is None and not self.as_json:
            click.echo(f"Checked against the newest in the store: {told(old)}.")
        if self.photo is not None:
            seen = detect(read_photo(self.photo), old.size, name=str(self.photo))
        else:
            from projector.live import look

            seen = look(self.camera, self.display, old.size, self.frames)
        new = solve([seen], bars_mm=old.bars_mm, display=old.display).calibration
        found = drift(old, new, self.tolerance)
        if self.mend and self.out is not None:
            mended_by(old, new, found).save(self.out)
        if self.as_json:
            print_json({**found.to_dict(), "mended": str(self.out) if self.out else None})
        else:
            for line in found.sentences():
                click.echo(said_in(line, old.unit))
            if self.out is not None:
                carried = (
                    "the taped cards" if found.position_max_mm is not None else "the beam itself"
                )
                click.echo(
                    f"Mended: {self.out}. The table frame is the old one, carried by {carried}."
                )
        return 1 if found.past else 0
