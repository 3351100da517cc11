"""``chalkbeam guide``: the pages of the guide, in the terminal or as a PDF to print."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from projector.commands.command_line import CommandLine, argument, option, paper_option
from projector.commands.places import Place
from projector.console import tell
from projector.output import PDF, write
from projector.talk import can_draw, showable


class GuideCommand(CommandLine):
    """The guide: a list of its pages, or one PAGE; with --out as a PDF to print."""

    name: str | None = argument("[PAGE]")
    out: Path | None = option("Print it: the page, or all.", Place(PDF), metavar="FILE.pdf")
    paper: str = paper_option()
    plain: bool = option("Pictures in ASCII, for a terminal without Unicode.")

    def run(self) -> None:
        from projector.guide import guide_pdf, lines_of, listed, page, pages

        if self.out is not None:
            printed = [page(self.name)] if self.name else pages()
            write(self.out, guide_pdf(printed, self.paper), PDF)
            click.echo(f"Wrote {self.out}: {', '.join(p.name for p in printed)}.")
            return
        if self.name is None:
            click.echo("The guide's pages:")
            tell(listed())
            click.echo("One of them: chalkbeam guide measuring. All on paper: --out guide.pdf.")
            return
        columns = min(shutil.get_terminal_size().columns, 80) - 1
        for line in lines_of(page(self.name), columns, plain=self.plain or not can_draw()):
            click.echo(showable(line))
