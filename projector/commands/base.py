"""``chalkbeam base``: a fitted draft kept as her own base, which garments refer to."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from projector.commands.command_line import CommandLine, argument, option
from projector.commands.places import Place
from projector.output import BASE, write


class BaseCommand(CommandLine):
    """Keep a docket's block, style, fit changes and measurements as a base.

    Fit one toile well, keep it as a base, and draw every other garment from it: a docket says
    'garment: {base: NAME.yaml, changes: [...]}'. What a later toile shows is added to the base's fit
    list once; every garment follows, and 'chalkbeam draft' tells which edges moved. A docket of
    imported outlines makes a base too.
    """

    docket: Path = argument("DOCKET.yaml")
    out: Path = option("The base.", Place(BASE), names="-o", metavar="NAME.yaml")
    title: str | None = option("What it is called; unset, as the docket is.")

    def run(self) -> int:
        from drafting.docket import Docket
        from drafting.docket.base import Base, base_text

        read = Docket.load(self.docket)
        text = base_text(
            read, self.title or read.title, datetime.date.today().isoformat(), self.out
        )
        write(self.out, text, BASE)
        made = Base.load(self.out)
        names = ", ".join(made.drafted or made.imported)
        click.echo(f"Kept as a base in {self.out}: {names}.")
        click.echo(
            f"A garment is drawn from it with: garment: {{base: {self.out.name}, changes: []}}"
        )
        click.echo("What can be done to its pieces: chalkbeam blocks --changes")
        return 0
