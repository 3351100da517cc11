"""``chalkbeam guide``: the pages of the guide, in the terminal or as a PDF to print."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from projector.commands.places import Command, Place
from projector.output import PDF


@click.command(cls=Command)
@click.argument("name", required=False, metavar="[PAGE]")
@click.option("--out", type=Place(PDF), metavar="FILE.pdf", help="Print it: the page, or all.")
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"], case_sensitive=False),
    default="a4",
    show_default=True,
)
@click.option("--plain", is_flag=True, help="Pictures in ASCII, for a terminal without Unicode.")
def guide(name: str | None, out: Path | None, paper: str, plain: bool) -> None:
    """The guide: a list of its pages, or one PAGE; with --out as a PDF to print."""
    from projector.guide import guide_pdf, lines_of, listed, page, pages
    from projector.output import write
    from projector.talk import can_draw, showable

    if out is not None:
        printed = [page(name)] if name else pages()
        write(out, guide_pdf(printed, paper), PDF)
        click.echo(f"Wrote {out}: {', '.join(p.name for p in printed)}.")
        return
    if name is None:
        click.echo("The guide's pages:")
        for line in listed():
            click.echo(line)
        click.echo("One of them: chalkbeam guide measuring. All on paper: --out guide.pdf.")
        return
    columns = min(shutil.get_terminal_size().columns, 80) - 1
    for line in lines_of(page(name), columns, plain=plain or not can_draw()):
        click.echo(showable(line))
