"""``chalkbeam measure``: measurements taken one at a time, with a figure of where the tape goes.

Every answer is saved at once; the file's other lines and comments stay as they are.
"""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.command_line import CommandLine, argument, option, paper_option
from projector.commands.places import OUT_FOLDER, Place
from projector.output import DRAWING, MEASUREMENTS, PDF, Kind, write_all
from projector.talk import can_draw


class MeasureCommand(CommandLine):
    """Take measurements, guided, one at a time.

    Shows where the tape goes, takes each measure twice, says when two takes differ too much and
    when a value looks unusual. Saves after every answer and goes on where it stopped. Exit code
    1 when something is still missing at the end.
    """

    out: Path = argument("OUT.yaml", Place(MEASUREMENTS, edited=lambda _: True))
    blocks: tuple[str, ...] = option(
        "What will be drafted: only what it needs is asked. May be given again.",
        names="--block",
        default=("quick-top",),
    )
    extra: bool = option("Also what helps the block without being needed.")
    unit: str | None = option("Of bare numbers: cm, in or mm. Asked for when not given.")
    wearer: str | None = option("Who is measured, as a voice part such as alto-3.")
    since: Path | None = option(
        "An earlier file of the same wearer: what changed since is told.", metavar="OLD.yaml"
    )
    taken: str | None = option("Day of measuring, as 2026-11-02; else today.", metavar="DATE")
    once: bool = option("Ask for one take only, not for two.")
    figures: Path | None = option(
        "Write the figures as SVG and a measuring sheet to print, with blanks, as PDF.",
        OUT_FOLDER,
        metavar="DIR",
    )
    paper: str = paper_option()
    plain: bool = option("Figures in ASCII, for a terminal without Unicode.")

    def run(self) -> None:
        from drafting import blocks as makers
        from drafting.measurements_file import MeasurementsFile
        from projector.measuring import Dialog

        chosen = [makers.get(name) for name in self.blocks]
        keys = [k for b in chosen for k in b.needs]
        keys += [k for b in chosen for k in b.helps if self.extra]
        keys = list(dict.fromkeys(keys))
        session = Dialog(
            MeasurementsFile.open(self.out, self.since),
            keys,
            self.once,
            self.plain or not can_draw(),
        )
        if self.figures is not None:
            _write_figures(self.figures, keys, [b.title for b in chosen], self.paper)
            session.say(f"Wrote the figures and measuring-sheet.pdf into {self.figures}.")
        try:
            session.begin(self.unit, self.wearer, self.taken)
            session.run()
        except EOFError:
            session.say()
        except KeyboardInterrupt as error:
            session.say()
            raise click.Abort from error
        helpful = [k for b in chosen for k in b.helps if k not in keys]
        click.get_current_context().exit(session.end(helpful))


def _write_figures(folder: Path, keys: list[str], titles: list[str], paper: str) -> None:
    from drafting.figures import FIGURES, figure_svg, measuring_sheet

    heading = [
        f"Measuring sheet: {', '.join(titles)}",
        "wearer _______________     date _______________     unit  cm / in",
    ]
    files: dict[Path, tuple[str | bytes, Kind]] = {
        folder / f"{key}.svg": (figure_svg(key), DRAWING) for key in keys if key in FIGURES
    }
    files[folder / "measuring-sheet.pdf"] = (measuring_sheet(keys, heading, paper), PDF)
    write_all(files)
