"""``chalkbeam new``: a docket by question and answer, drafted and shown."""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.command_line import CommandLine, argument, option
from projector.commands.places import Place
from projector.console import tell, warn
from projector.output import DOCKET
from projector.talk import can_draw


class NewCommand(CommandLine):
    """Begin a garment by question and answer.

    Asks what you want to make, for whom and from which cloth, takes the measures now or later, writes
    the docket with a word on each line, drafts it and shows the pieces. Every answer is kept at once:
    ended in the middle, the same command goes on. Without FILE the title names the file.
    """

    out: Path | None = argument("[FILE.yaml]", Place(DOCKET))
    plain: bool = option("Figures in ASCII, for a terminal without Unicode.")

    def run(self) -> int:
        from projector.making import Making, needed

        talk = Making(self.out.parent if self.out is not None else Path(), self.out)
        try:
            path = talk.run()
            talk.say()
            talk.say(f"Written: {path}. It is a text file: open it and change what you like.")
            params = click.get_current_context().params
            params["written"], params["answers"] = path, dict(talk.answers)
            wanted = needed(path)
            if wanted is not None:
                file, needs = wanted
                asked = f"Take the {len(needs)} measures now? Enter: now, l: later: "
                if talk.ask(asked).lower() in ("", "y", "yes", "now"):
                    _measure(file, needs, talk.answers, self.plain)
        except EOFError:
            talk.say()
            if "written" in click.get_current_context().params:
                return 0
            talk.say(talk.stopped())
            click.get_current_context().exit(1)
        except KeyboardInterrupt as error:
            talk.say()
            if "written" not in click.get_current_context().params:
                talk.say(talk.stopped())
            raise click.Abort from error
        if needed(path) is None:
            return _show(path, self.plain)
        return 0


def _measure(file: Path, needs: tuple[str, ...], answers: dict[str, object], plain: bool) -> None:
    """The flow of `measure`, for the measures that the block needs."""
    from drafting.measurements_file import MeasurementsFile
    from projector.measuring import Dialog

    sheet = MeasurementsFile.open(file, None)
    dialog = Dialog(sheet, list(needs), False, plain or not can_draw())
    fresh = not file.exists()
    unit = str(answers["unit"]) if fresh and "unit" in answers else None
    dialog.begin(unit, str(answers.get("wearer", "")) if fresh else None, None)
    dialog.run()


def _show(path: Path, plain: bool) -> int:
    """Draft it and show the pieces; 1 when a check fails."""
    from drafting.docket import Docket
    from drafting.report import off, report
    from projector.sketch import beside, dots, strokes

    made = report(Docket.load(path))
    pieces = made.draft.pieces
    click.echo()
    if can_draw() and not plain:
        sketches = [dots(strokes(p), 15, 8) for p in pieces.values()]
        tell(beside(sketches, list(pieces)))
    click.echo(f"Drafted: {', '.join(pieces)}.")
    tell((n for n in made.notes if n not in made.cautions), "Note: ")
    for caution in made.cautions:
        warn(caution)
    for check in made.failed:
        by = off(check, made.draft.measurements.unit)
        warn(f"{check.name}: off by {by}. {check.text}", "Do not cut yet: ")
    if not made.failed:
        click.echo(f"All {len(made.checks)} checks of the draft passed.")
    return 1 if made.failed else 0
