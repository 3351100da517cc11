"""``chalkbeam print``: the pieces on paper, tiled at exact scale."""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.places import FILE, JSON_OPTION, Command, Place
from projector.output import PDF, write


@click.command("print", cls=Command)
@click.argument("docket", type=FILE, metavar="DOCKET.yaml")
@click.option(
    "--paper",
    type=click.Choice(
        ["a4", "letter", "a3", "legal", "tabloid", "a0", "roll"], case_sensitive=False
    ),
    required=True,
    help="Sheets to print on; 'roll' for a plotter, with --roll-width.",
)
@click.option(
    "--roll-width", metavar="WIDTH", help="Width of the roll, such as '914 mm' or '36 in'."
)
@click.option(
    "--out",
    "-o",
    required=True,
    type=Place(PDF),
    metavar="FILE.pdf",
    help="What to write.",
)
@click.option(
    "--piece",
    "-p",
    "only",
    multiple=True,
    metavar="NAME",
    help="Only this piece; may be given again.",
)
@click.option(
    "--font",
    "fonts",
    multiple=True,
    type=FILE,
    metavar="FILE.ttf",
    help="Write with this font first (for letters that no font of this machine has).",
)
@JSON_OPTION
def print_(
    docket: Path,
    paper: str,
    roll_width: str | None,
    out: Path,
    only: tuple[str, ...],
    fonts: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Print the pieces at true scale, tiled: for when there is no projector.

    Writes a PDF. Its first page has a 100 mm and a 4 in square: print that page first, at 100 %
    ("actual size", never "fit to page"), and measure both squares before you print the rest.
    """
    from configs.errors import InputError
    from configs.units import typed_length
    from drafting.docket import Docket
    from drafting.docket.telling import told_in
    from drafting.export.cut_size import cut_size
    from drafting.export.pdf import pieces_pdf
    from projector.commands.export import chosen_pieces
    from projector.console import print_json, warn

    if roll_width is not None and paper != "roll":
        raise InputError.of(
            "--roll-width", f"belongs to a roll, not to {paper}.", "Say --paper roll."
        )
    width = (
        typed_length(roll_width, "--roll-width", 150.0, 2000.0) if roll_width is not None else None
    )
    read = Docket.load(docket)
    pieces, allowances = cut_size(read, chosen_pieces(read.every_piece(), only))
    made = pieces_pdf(
        pieces, allowances, paper=paper, roll_width_mm=width, title=read.title, fonts=fonts, unit=told_in(read),
        notes=() if read.cloth is None else read.cloth.side_words,
    )  # fmt: skip
    write(out, made.data, PDF)
    for caution in read.allowance_cautions():
        warn(caution, stderr=True)
    if as_json:
        print_json(
            {
                "file": str(out),
                "paper": paper,
                "page_mm": list(made.page_mm),
                "pages": made.pages,
                "sheets": [{"row": r + 1, "column": c + 1} for r, c in made.sheets],
                "letters_missing": made.missing,
            }
        )
        return
    count = len(made.sheets)
    click.echo(f"{out}: {made.pages} pages, {count} of them with pieces.")
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
