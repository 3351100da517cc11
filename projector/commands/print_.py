"""``chalkbeam print``: the pieces on paper, tiled at exact scale."""

from __future__ import annotations

from pathlib import Path

import click

from configs.errors import InputError
from configs.units import typed_length
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.places import Place
from projector.console import print_json, warn
from projector.output import PDF, write


class PrintCommand(CommandLine, name="print"):
    """Print the pieces at true scale, tiled: for when there is no projector.

    Writes a PDF. Its first page has a 100 mm and a 4 in square: print that page first, at 100 %
    ("actual size", never "fit to page"), and measure both squares before you print the rest.
    """

    docket: Path = argument("DOCKET.yaml")
    paper: str = option(
        "Sheets to print on; 'roll' for a plotter, with --roll-width.",
        click.Choice(
            ["a4", "letter", "a3", "legal", "tabloid", "a0", "roll"], case_sensitive=False
        ),
    )
    roll_width: str | None = option(
        "Width of the roll, such as '914 mm' or '36 in'.", metavar="WIDTH"
    )
    out: Path = option("What to write.", Place(PDF), names="-o", metavar="FILE.pdf")
    only: tuple[str, ...] = option(
        "Only this piece; may be given again.", names="--piece -p", metavar="NAME"
    )
    fonts: tuple[Path, ...] = option(
        "Write with this font first (for letters that no font of this machine has).",
        names="--font",
        metavar="FILE.ttf",
    )
    as_json: bool = json_switch()

    def run(self) -> None:
        from drafting.docket import Docket
        from drafting.docket.telling import told_in
        from drafting.export.cut_size import cut_size
        from drafting.export.pdf import pieces_pdf
        from projector.commands.export import chosen_pieces

        if self.roll_width is not None and self.paper != "roll":
            what = f"belongs to a roll, not to {self.paper}."
            raise InputError.of("--roll-width", what, "Say --paper roll.")
        width = (
            typed_length(self.roll_width, "--roll-width", 150.0, 2000.0)
            if self.roll_width is not None
            else None
        )
        read = Docket.load(self.docket)
        pieces, allowances = cut_size(read, chosen_pieces(read.every_piece(), self.only))
        made = pieces_pdf(
            pieces, allowances, paper=self.paper, roll_width_mm=width, title=read.title, fonts=self.fonts, unit=told_in(read),
            notes=() if read.cloth is None else read.cloth.side_words,
        )  # fmt: skip
        write(self.out, made.data, PDF)
        for caution in read.allowance_cautions():
            warn(caution, stderr=True)
        if self.as_json:
            print_json(
                {
                    "file": str(self.out),
                    "paper": self.paper,
                    "page_mm": list(made.page_mm),
                    "pages": made.pages,
                    "sheets": [{"row": r + 1, "column": c + 1} for r, c in made.sheets],
                    "letters_missing": made.missing,
                }
            )
            return
        count = len(made.sheets)
        click.echo(f"{self.out}: {made.pages} pages, {count} of them with pieces.")
        click.echo(
            'Print page 1 first, at 100 % ("actual size", never "fit to page"), and measure its squares.'
        )
        if count > 1:
            rows, columns = 1 + max(r for r, _ in made.sheets), 1 + max(c for _, c in made.sheets)
            click.echo(f"The sheets join to {rows} rows of {columns}; the map shows how.")
        if made.missing:
            click.echo(
                f"No font here has these letters, □ stands for them: {made.missing} "
                "(name a font with --font).",
                err=True,
            )
