"""``chalkbeam measure``: measurements taken one at a time, with a figure of where the tape goes.

Every answer is saved at once; the file's other lines and comments stay as they are.
"""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.places import FILE, OUT_FOLDER, Command, Place
from projector.output import DRAWING, MEASUREMENTS, PDF, Kind, write_all


@click.command(cls=Command)
@click.argument("out", type=Place(MEASUREMENTS, edited=lambda _: True), metavar="OUT.yaml")
@click.option(
    "--block", "blocks", multiple=True, default=("quick-top",), show_default=True,
    help="What will be drafted: only what it needs is asked. May be given again.",
)  # fmt: skip
@click.option("--extra", is_flag=True, help="Also what helps the block without being needed.")
@click.option("--unit", type=str, help="Of bare numbers: cm, in or mm. Asked for when not given.")
@click.option("--wearer", type=str, help="Who is measured, as a voice part such as alto-3.")
@click.option(
    "--since", type=FILE, metavar="OLD.yaml",
    help="An earlier file of the same wearer: what changed since is told.",
)  # fmt: skip
@click.option(
    "--taken", type=str, metavar="DATE", help="Day of measuring, as 2026-11-02; else today."
)
@click.option("--once", is_flag=True, help="Ask for one take only, not for two.")
@click.option(
    "--figures", type=OUT_FOLDER, metavar="DIR",
    help="Write the figures as SVG and a measuring sheet to print, with blanks, as PDF.",
)  # fmt: skip
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"], case_sensitive=False),
    default="a4",
    show_default=True,
)
@click.option("--plain", is_flag=True, help="Figures in ASCII, for a terminal without Unicode.")
def measure(
    out: Path,
    blocks: tuple[str, ...],
    extra: bool,
    unit: str | None,
    wearer: str | None,
    since: Path | None,
    taken: str | None,
    once: bool,
    figures: Path | None,
    paper: str,
    plain: bool,
) -> None:
    """Take measurements, guided, one at a time.

    Shows where the tape goes, takes each measure twice, says when two takes differ too much and
    when a value looks unusual. Saves after every answer and goes on where it stopped. Exit code
    1 when something is still missing at the end.
    """
    from drafting import blocks as makers
    from drafting.measurements_file import MeasurementsFile
    from projector.measuring import Dialog
    from projector.talk import can_draw

    chosen = [makers.get(name) for name in blocks]
    keys = [k for b in chosen for k in b.needs]
    keys += [k for b in chosen for k in b.helps if extra]
    keys = list(dict.fromkeys(keys))
    session = Dialog(MeasurementsFile.open(out, since), keys, once, plain or not can_draw())
    if figures is not None:
        _write_figures(figures, keys, [b.title for b in chosen], paper)
        session.say(f"Wrote the figures and measuring-sheet.pdf into {figures}.")
    try:
        session.begin(unit, wearer, taken)
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
