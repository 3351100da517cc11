"""``chalkbeam base``: a fitted draft kept as her own base, which garments refer to."""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.places import FILE, Command, Place
from projector.output import BASE, write


@click.command(cls=Command)
@click.argument("docket", type=FILE, metavar="DOCKET.yaml")
@click.option("--out", "-o", required=True, type=Place(BASE), metavar="NAME.yaml", help="The base.")
@click.option("--title", help="What it is called; unset, as the docket is.")
def base(docket: Path, out: Path, title: str | None) -> int:
    """Keep a docket's block, style, fit changes and measurements as a base.

    Fit one toile well, keep it as a base, and draw every other garment from it: a docket says
    'garment: {base: NAME.yaml, changes: [...]}'. What a later toile shows is added to the base's fit
    list once; every garment follows, and 'chalkbeam draft' tells which edges moved. A docket of
    imported outlines makes a base too.
    """
    import datetime

    from drafting.docket import Docket
    from drafting.docket.base import Base, base_text

    read = Docket.load(docket)
    text = base_text(read, title or read.title, datetime.date.today().isoformat(), out)
    write(out, text, BASE)
    made = Base.load(out)
    names = ", ".join(made.drafted or made.imported)
    click.echo(f"Kept as a base in {out}: {names}.")
    click.echo(f"A garment is drawn from it with: garment: {{base: {out.name}, changes: []}}")
    click.echo("What can be done to its pieces: chalkbeam blocks --changes")
    return 0
