"""``chalkbeam calibrate cards`` and ``calibrate pattern``: what is printed, what is projected."""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.lengths import BEAM_MM, SIZE, UNIT
from projector.commands.places import Command, Place
from projector.output import CARDS, EXACT_PICTURE, PATTERN, PDF, picture_bytes, write_all


@click.command(cls=Command)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"], case_sensitive=False), default="a4", show_default=True,
    help="Paper that the printer holds.",
)  # fmt: skip
@click.option("--large", is_flag=True, help="Larger cards, two to a page: truer, for wide tables.")
@click.option(
    "--out", type=Place(PDF, beside={".yaml": CARDS}), required=True,
    help="The PDF; a .yaml lies beside it.",
)  # fmt: skip
@UNIT
def cards(paper: str, large: bool, out: Path, unit: str) -> None:
    """Print these marker cards once and cut them out.

    Writes the PDF and, beside it, a file that says which card lies where on the page. Print at
    100 %, lay a ruler on the two printed bars and keep the readings for 'calibrate photo'.
    """
    from calibrate.cards import bar_text, card_set, cards_pdf
    from configs.files import dump_yaml

    name = f"{paper}-large" if large else paper
    made = card_set(name)
    side = out.with_suffix(".yaml")
    write_all({out: (cards_pdf(name, unit), PDF), side: (dump_yaml(made.to_dict()), CARDS)})
    one, two = (bar_text(mm, unit) for mm in made.bars_mm)
    ids = ", ".join(str(c.id) for c in made.cards)
    click.echo(f"Wrote {out} (cards {ids}) and {side}.")
    click.echo(
        f"Print it at 100 % and lay a ruler on its two long bars: bar 1, across, is drawn "
        f"{one}, bar 2, up the page, {two}. Give what you read to "
        "'calibrate photo' as --bars BAR1,BAR2. The last page shows how to lay the cards and "
        "take the photo."
    )


@click.command(cls=Command)
@click.option(
    "--size", type=SIZE, required=True, metavar="WxH", help="The projector's own resolution."
)
@click.option(
    "--beam-width", type=BEAM_MM, metavar="LENGTH",
    help="Width of the lit picture on the table; sets how large the card windows are.",
)  # fmt: skip
@click.option("--large", is_flag=True, help="Windows for the larger cards.")
@click.option(
    "--out", type=Place(EXACT_PICTURE, beside={".yaml": PATTERN}), required=True,
    help="The PNG; a .yaml lies beside it.",
)  # fmt: skip
def pattern(size: tuple[int, int], beam_width: float | None, large: bool, out: Path) -> None:
    """The picture to project while the photo is taken.

    Show it full screen at the projector's own resolution, not scaled, with keystone correction
    and 'sharpness' switched off in the projector's menu.
    """
    from calibrate.pattern import DEFAULT_BEAM_MM, pattern_for
    from configs.files import dump_yaml

    made = pattern_for(size, beam_width, large)
    side = out.with_suffix(".yaml")
    write_all(
        {
            out: (picture_bytes(made.image()), EXACT_PICTURE),
            side: (dump_yaml(made.to_dict()), PATTERN),
        }
    )
    click.echo(f"Wrote {out} and {side}.")
    if beam_width is None:
        click.echo(
            f"The card windows suit a beam about {DEFAULT_BEAM_MM:g} mm wide; "
            "for another width give --beam-width."
        )
