"""``chalkbeam cloth``: from a photo of the cloth on the table to a file that the lay is planned on."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from configs.errors import InputError
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.lengths import LENGTH_MM, SIZE
from projector.commands.places import Place, taken
from projector.console import print_json, tell
from projector.output import CLOTH, DOCKET, PICTURE, look_over, write, write_picture

if TYPE_CHECKING:
    from calibrate.arrays import Image
    from calibrate.calibration import Calibration


class ClothCommand(CommandLine):
    """Find the cloth that lies on the table: outline, holes, flaws.

    Smooth it flat on something of another colour. Show the light of '--light' and keep the cloth
    inside its white; or leave the printed cards taped where they lay at the calibration; or lay
    them loose beside the cloth (its size is true then, its place not known). Bare table must show
    all round. The picture written beside the file numbers the straight sides.
    """

    photo: Path | None = argument()
    calibration_file: Path | None = option(
        "The table's calibration; without it, the newest in the store.", names="--calibration"
    )
    out: Path | None = option(
        "Where to write the cloth: cloth.yaml", Place(CLOTH, beside={".png": PICTURE})
    )
    into: Path | None = option(
        "Also make it the docket's cloth, lying where it was seen.",
        Place(DOCKET, edited=lambda given: given["light"] is None),
        metavar="DOCKET.yaml",
    )
    keep_off: float = option(
        "Leave this much along the edge, holes and flaws: raw edges fray and curl.",
        LENGTH_MM,
        default=3.0,
    )
    grain: float | None = option(
        "The cloth's length, counter-clockwise from the table's right.",
        click.FloatRange(-360, 360),
        metavar="DEGREES",
    )
    grain_side: int | None = option(
        "The straight side that follows the length, as the picture numbers them.",
        click.IntRange(1),
        metavar="N",
    )
    light: Path | None = option(
        "Write the light to show while the photo is taken, and leave.",
        Place(PICTURE),
        metavar="FILE.png",
    )
    size: tuple[int, int] | None = option("The projector's own resolution, with --light.", SIZE)
    live: bool = option("No photo: show the light and look with a camera.")
    camera: int = option("Which camera, with --live.", default=0)
    display: int | None = option("Which display the projector is, with --live.")
    as_json: bool = json_switch()

    def run(self) -> None:
        from calibrate.calibration import Calibration
        from calibrate.cloth_scan.picture import picture as drawn
        from calibrate.cloth_scan.scan import scan
        from calibrate.cloth_scan.view import view_of
        from calibrate.store import newest
        from calibrate.store import told as told_of
        from projector.remnant import remnant, sentences
        from projector.session.hold import alone
        from projector.session.journal import with_noted

        calibration = Calibration.load(self.calibration_file) if self.calibration_file else newest()
        if self.light is not None:
            self._write_light(self.light, calibration)
            return
        if self.size is not None:
            raise InputError.of("--size", "goes with --light.", "Leave it out.")
        if (self.photo is None) == (not self.live):
            what = "needs a PHOTO, or --live to look with a camera."
            raise InputError.of("cloth", what, "Give one of the two.")
        if self.out is None and self.into is None:
            remedy = "Give --out cloth.yaml, or --into."
            raise InputError.of("cloth", "does not know where to write.", remedy)
        if not 0 <= self.keep_off <= 100:
            raise InputError.of("--keep-off", f"{self.keep_off:g} mm is no rim.", "3 mm is usual.")
        if self.grain is not None and self.grain_side is not None:
            raise InputError.of("--grain", "and --grain-side say the same.", "Give one of the two.")
        beside = (self.out or self.into or Path()).with_suffix(".png" if self.out else ".cloth.png")
        look_over([], [("", beside, PICTURE, False)])
        picture, name = self._picture(calibration)
        view = view_of(picture, calibration, name)
        found = scan(picture, view, grain_deg=self.grain, grain_side=self.grain_side, name=name)
        made = remnant(found, self.keep_off, name)
        written = []
        with contextlib.ExitStack() as stack:
            cloth, docket = made.cloth(), None
            if self.into is not None:
                taken([self.into], alone=True)
                stack.enter_context(alone(self.into))
                docket = made.into(with_noted(self.into).docket, placed=view.placed)
                cloth = docket.cloth or cloth
            if self.out is not None:
                write(self.out, made.text(cloth), CLOTH)
                written.append(self.out)
            if docket is not None:
                written.append(docket.save())
        write_picture(beside, drawn(found))
        written.append(beside)
        if self.as_json:
            from calibrate.cloth_scan.scan import as_data

            print_json(
                {
                    **as_data(found, view),
                    "cloth": made.data,
                    "table_from_cloth": {"turn_deg": made.turn_deg, "at_mm": made.at_mm},
                    "notes": [*view.notes, *found.notes, *made.notes],
                    "written": [str(p) for p in written],
                }
            )
            return
        if self.calibration_file is None and calibration is not None:
            click.echo(f"By the newest calibration in the store: {told_of(calibration)}.")
        tell(sentences(found, view, made))
        tell((*view.notes, *found.notes, *made.notes), "Note: ")
        click.echo("Written: " + ", ".join(str(p) for p in written))

    def _write_light(self, path: Path, calibration: Calibration | None) -> None:
        from calibrate.cloth_scan.view import scan_light

        size = self.size or (calibration.size if calibration is not None else None)
        if size is None:
            what = "needs the projector's resolution."
            raise InputError.of("--light", what, "Give --size 1920x1080.")
        write_picture(path, scan_light(size).image())
        click.echo(
            f"Written: {path}. Show it full screen on the projector, lay the cloth flat inside the "
            "white, and photograph all four chequered corners. Never look into the lens."
        )

    def _picture(self, calibration: Calibration | None) -> tuple[Image, str]:
        """The photo, or what a camera sees of the light, and its name."""
        import numpy as np

        from calibrate.photo import read_photo

        if self.photo is not None:
            return read_photo(self.photo), str(self.photo)
        if calibration is None:
            what = "is missing, and the store is empty."
            raise InputError.of("--calibration", what, "Calibrate first.")
        from calibrate.camera import DeviceSource, mean_frame
        from calibrate.cloth_scan.view import scan_light
        from projector.app import Beam

        size = calibration.size
        with DeviceSource.open(self.camera) as source, Beam.open(self.display, size) as beam:
            light = scan_light(size).image()
            beam.show(np.repeat(light[..., None], 3, axis=2))
            beam.wait(source.settle_seconds)
            for _ in range(source.stale):
                source.read()
            return mean_frame(source, 30), source.name
