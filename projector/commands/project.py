"""``chalkbeam project``: the lay on the cloth, full screen on the projector's display."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs import shipped
from projector.commands.command_line import CommandLine, argument, option
from projector.commands.places import Place
from projector.console import tell
from projector.output import DOCKET

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from projector.app import Beam

_OLD_H = 24.0
_NOT_YET = "No calibration yet: a look at the lay, not true scale. Ctrl+K leads through one."


class ProjectCommand(CommandLine):
    """Show DOCKET's lay on the cloth; move pieces, trace them, cut.

    Without a calibration for this display it leads through one first. Every change is kept at
    once; leave with Q. Help is on the table: H. Never look into the projector's lens.
    """

    docket: Path = argument(kind=Place(DOCKET, edited=lambda _: True))
    display: int | None = option(
        "The projector's display; the first that is not the primary when not given.", metavar="N"
    )
    window: bool = option("A window instead: to try it out, not true scale.")
    calibration_file: Path | None = option(
        "The calibration to use; the newest of this display when not given.",
        names="--calibration",
    )
    keys_file: Path | None = option("A keys.yaml of your own.", names="--keys")
    cloth: str | None = option(
        "What is cut from this one of the docket's further cloths.", metavar="NAME"
    )
    photos: Path | None = option(
        "Where first light looks for your photo; beside the docket when not given.",
        metavar="FOLDER",
    )
    camera: int = option("The webcam that first light may use.", default=0, metavar="N")

    def run(self) -> None:
        from calibrate import Calibration
        from drafting import Docket
        from projector.app import Beam, run
        from projector.first_light.stand_in import is_plain
        from projector.height import notes
        from projector.laying import kept_lay, noted_plan
        from projector.session.journal import Journal
        from projector.session.sitting import Sitting

        docket = self.docket
        read = Docket.load(docket)
        read.pieces()
        if self.cloth is not None:
            from drafting.docket.beside import docket_of_cloth

            read = docket_of_cloth(read, self.cloth)
            if read.path is not None:
                docket = read.path
                if not docket.exists():
                    read.save()
                    read = Docket.load(docket)
        keys = _keys(self.keys_file, shipped())
        in_use = None if self.calibration_file is None else Calibration.load(self.calibration_file)
        read, note = kept_lay(read)
        anew = False
        while True:
            journal, recovered = Journal.open(read)
            kept = False  # first light was left: the calibration in use stays
            try:
                size = in_use.size if in_use is not None and not anew else None
                with Beam.open(self.display, size, self.window) as beam:
                    if anew or in_use is None:
                        found = self._calibration(recovered.docket, beam, in_use)
                        if found is None:
                            click.echo("Left without a calibration. Nothing was changed.")
                            return
                        kept = found is in_use
                        in_use = found
                        if kept and found.size != beam.size:  # a window of another size
                            anew, read = False, Docket.load(docket)
                            continue
                    truth = "" if beam.true_scale else "a window, not true scale"
                    sitting = Sitting(recovered.docket, in_use, keys, journal, click.echo, truth)
                    cautions = () if is_plain(in_use) else notes(recovered.docket, in_use)
                    tell(cautions)
                    doubts = [] if is_plain(in_use) or anew else _doubts(in_use, beam)
                    if recovered.left is not None:
                        sitting.offer(noted_plan(recovered.docket, recovered.left))
                    # the terminal is across the room: what is told there stands on the table too
                    stays = "Not calibrated anew: the calibration in use stays." if kept else ""
                    not_yet = _NOT_YET if is_plain(in_use) else ""
                    told = [recovered.note, not_yet or stays or beam.notice, note]
                    if said := "\n".join(t for t in told if t):
                        sitting.tell(said, 30.0 if recovered.note else 12.0)
                    note = ""
                    if doubts:
                        sitting.ask([*doubts, *cautions])
                    run(sitting, beam)
            finally:
                journal.close()
            if not sitting.state.anew:
                break
            anew, read = True, Docket.load(docket)
        click.echo(f"Saved: {docket}")

    def _calibration(
        self, docket: Docket, beam: Beam, in_use: Calibration | None
    ) -> Calibration | None:
        """The newest calibration of this display; without one (or anew), first light on the table.

        ``in_use``: she has asked for a new one; this one is answered when she comes back without.
        None when she leaves altogether.
        """
        from calibrate.store import newest
        from projector.first_light.stand_in import plain_calibration
        from projector.leading import led

        if in_use is None:
            found = None if not beam.true_scale else newest(beam.display.name, beam.size)
            found = found or newest(None, beam.size)
            if found is not None:
                return found
        folder = self.photos or (docket.path.resolve().parent if docket.path else Path.cwd())
        leading = led(docket, beam, folder, self.camera, in_use=in_use is not None)
        if leading.looks:
            return in_use or plain_calibration(beam.size)
        if leading.result is None:
            return None if leading.closed else in_use
        return leading.result


def _keys(path: Path | None, configs: Path) -> Any:
    """Her own keys, those in her settings folder, or the shipped ones."""

    from projector.session.keys import Keys, load_keys

    if path is not None:
        return load_keys(path)
    from platformdirs import user_config_path

    home = os.environ.get("CHALKBEAM_HOME")
    folder = Path(home) if home else user_config_path("chalkbeam", appauthor=False)
    for candidate in (folder / "keys.yaml", configs / "keys.yaml"):
        if candidate.is_file():
            return load_keys(candidate)
    return Keys()


def _doubts(calibration: Calibration, beam: Beam) -> list[str]:
    """What is to be questioned before anything is cut by this light."""
    said = []
    try:
        age_h = (datetime.now() - datetime.fromisoformat(calibration.date)).total_seconds() / 3600.0
    except (TypeError, ValueError):
        said.append("This calibration says not when it was made.")
        age_h = 0.0
    if age_h > _OLD_H:
        days = age_h / 24.0
        said.append(f"This calibration is {days:.0f} day{'s' if days >= 1.5 else ''} old.")
    if beam.true_scale and calibration.display and calibration.display != beam.display.name:
        said.append(f"This calibration was made for '{calibration.display}'.")
    if said:
        said.append(
            "A projector that was touched, or is cold, lies elsewhere: check before you cut."
        )
    return said
