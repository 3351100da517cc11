"""``chalkbeam calibrate cards`` and ``calibrate pattern``: what is printed, what is projected."""

from __future__ import annotations

from pathlib import Path

import click

from configs.files import dump_yaml
from projector.commands.command_line import CommandLine, option, paper_option, rule_unit
from projector.commands.lengths import BEAM_MM, SIZE
from projector.commands.places import Place
from projector.output import CARDS, EXACT_PICTURE, PATTERN, PDF, picture_bytes, write_all


class CardsCommand(CommandLine):
    """Print these marker cards once and cut them out.

    Writes the PDF and, beside it, a file that says which card lies where on the page. Print at
    100 %, lay a ruler on the two printed bars and keep the readings for 'calibrate photo'.
    """

    paper: str = paper_option("Paper that the printer holds.")
    large: bool = option("Larger cards, two to a page: truer, for wide tables.")
    out: Path = option("The PDF; a .yaml lies beside it.", Place(PDF, beside={".yaml": CARDS}))
    unit: str = rule_unit()

    def run(self) -> None:
        from calibrate.cards import bar_text, card_set, cards_pdf

        name = f"{self.paper}-large" if self.large else self.paper
        made = card_set(name)
        side = self.out.with_suffix(".yaml")
        write_all(
            {self.out: (cards_pdf(name, self.unit), PDF), side: (dump_yaml(made.to_dict()), CARDS)}
        )
        one, two = (bar_text(mm, self.unit) for mm in made.bars_mm)
        ids = ", ".join(str(c.id) for c in made.cards)
        click.echo(f"Wrote {self.out} (cards {ids}) and {side}.")
        click.echo(
            f"Print it at 100 % and lay a ruler on its two long bars: bar 1, across, is drawn "
            f"{one}, bar 2, up the page, {two}. Give what you read to "
            "'calibrate photo' as --bars BAR1,BAR2. The last page shows how to lay the cards and "
            "take the photo."
        )


class PatternCommand(CommandLine):
    """The picture to project while the photo is taken.

    Show it full screen at the projector's own resolution, not scaled, with keystone correction
    and 'sharpness' switched off in the projector's menu.
    """

    size: tuple[int, int] = option("The projector's own resolution.", SIZE)
    beam_width: float | None = option(
        "Width of the lit picture on the table; sets how large the card windows are.", BEAM_MM
    )
    large: bool = option("Windows for the larger cards.")
    out: Path = option(
        "The PNG; a .yaml lies beside it.", Place(EXACT_PICTURE, beside={".yaml": PATTERN})
    )

    def run(self) -> None:
        from calibrate.pattern import DEFAULT_BEAM_MM, pattern_for

        made = pattern_for(self.size, self.beam_width, self.large)
        side = self.out.with_suffix(".yaml")
        write_all(
            {
                self.out: (picture_bytes(made.image()), EXACT_PICTURE),
                side: (dump_yaml(made.to_dict()), PATTERN),
            }
        )
        click.echo(f"Wrote {self.out} and {side}.")
        if self.beam_width is None:
            click.echo(
                f"The card windows suit a beam about {DEFAULT_BEAM_MM:g} mm wide; "
                "for another width give --beam-width."
            )
