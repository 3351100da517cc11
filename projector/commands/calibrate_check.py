"""``chalkbeam calibrate check``: is the calibration still true, by how much not, and mend it."""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.lengths import LENGTH_MM
from projector.commands.places import FILE, JSON_OPTION, Command, Place
from projector.output import CALIBRATION


@click.command(cls=Command)
@click.argument("photo", required=False, type=FILE)
@click.option(
    "--calibration", "calibration_file", type=FILE,
    help="The calibration in use; without it, the newest in the store.",
)  # fmt: skip
@click.option(
    "--tolerance", type=LENGTH_MM, default=1.0, show_default=True, metavar="LENGTH",
    help="How far off is too far.",
)  # fmt: skip
@click.option("--mend", is_flag=True, help="Solve anew, keeping the old table frame.")
@click.option("--out", type=Place(CALIBRATION), help="Where the mended calibration goes.")
@click.option("--live", is_flag=True, help="No photo: show the pattern and look with a camera.")
@click.option("--camera", default=0, show_default=True, help="Which camera, with --live.")
@click.option("--display", type=int, help="Which display the projector is, with --live.")
@click.option(
    "--frames", type=click.IntRange(1, 200), default=30, show_default=True,
    help="Frames to average, with --live.",
)  # fmt: skip
@JSON_OPTION
def check(
    photo: Path | None,
    calibration_file: Path | None,
    tolerance: float,
    mend: bool,
    out: Path | None,
    live: bool,
    camera: int,
    display: int | None,
    frames: int,
    as_json: bool,
) -> int:
    """Is the calibration still true? By how much not?

    PHOTO shows the pattern and the cards, as for 'calibrate photo'. The shape of the light is
    checked always; its place on the table when cards were left taped down. Exit 1 past tolerance.
    """
    from calibrate.calibration import Calibration
    from calibrate.detect import detect
    from calibrate.drift import drift
    from calibrate.drift import mend as mended_by
    from calibrate.photo import read_photo
    from calibrate.solve import solve
    from calibrate.store import newest, told
    from configs.errors import InputError
    from configs.units import said_in
    from projector.console import print_json

    if (photo is None) == (not live):
        raise InputError.of(
            "check", "needs a PHOTO, or --live to look with a camera.", "Give one of the two."
        )
    if mend and out is None:
        raise InputError.of("--mend", "does not know where to save.", "Give --out FILE.")
    if out is not None and not mend:
        raise InputError.of("--out", "only saves with --mend.", "Add --mend, or leave it.")
    old = Calibration.load(calibration_file) if calibration_file else newest()
    if old is None:
        raise InputError.of(
            "--calibration", "is missing, and the store is empty.", "Give the file to check."
        )
    if calibration_file is None and not as_json:
        click.echo(f"Checked against the newest in the store: {told(old)}.")
    if photo is not None:
        seen = detect(read_photo(photo), old.size, name=str(photo))
    else:
        from projector.live import look

        seen = look(camera, display, old.size, frames)
    new = solve([seen], bars_mm=old.bars_mm, display=old.display).calibration
    found = drift(old, new, tolerance)
    if mend and out is not None:
        mended_by(old, new, found).save(out)
    if as_json:
        print_json({**found.to_dict(), "mended": str(out) if out else None})
    else:
        for line in found.sentences():
            click.echo(said_in(line, old.unit))
        if out is not None:
            carried = "the taped cards" if found.position_max_mm is not None else "the beam itself"
            click.echo(f"Mended: {out}. The table frame is the old one, carried by {carried}.")
    return 1 if found.past else 0
