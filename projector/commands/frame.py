"""``chalkbeam frame``: exactly what the projector would show, as a picture."""

from __future__ import annotations

from pathlib import Path

import click

from configs.errors import InputError
from projector.commands.command_line import CommandLine, argument, option
from projector.commands.lengths import SIZE
from projector.commands.places import Place, taken
from projector.console import tell
from projector.output import EXACT_PICTURE, write_picture


class FrameCommand(CommandLine):
    """Write exactly what the projector would show for DOCKET to a picture.

    The picture has the projector's own pixels: show it full screen, unscaled, and its lines lie
    true on the table. A docket without a lay is laid for a few seconds; its file is not changed.
    """

    docket: Path = argument()
    calibration_file: Path = option("The calibration to draw through.", names="--calibration")
    out: Path = option(
        "Where to write the picture (PNG).", Place(EXACT_PICTURE), default=Path("frame.png")
    )
    size: tuple[int, int] | None = option(
        "Refuse unless the calibration was made for this size.", SIZE
    )
    mode: str = option(
        "All pieces alike, the current one bright, or lines only.",
        ("arrange", "trace", "plain"),
        default="arrange",
    )
    lines: str | None = option(
        "Which lines; as the docket remembers when not given.", ("both", "cutting", "sewing")
    )
    ink: str | None = option(
        "Light on dark, bolder for printed cloth, or dark on a lit ground.",
        ("light", "bold", "dark"),
    )
    width: str | None = option("Width of the cutting line: 1.2 mm or 2 px.", metavar="WIDTH")
    cloth: str | None = option(
        "What is cut from this one of the docket's further cloths.", metavar="NAME"
    )
    piece: str | None = option("The piece to trace.", metavar="NAME/COPY")

    def run(self) -> None:
        from calibrate import Calibration
        from projector.lay_picture import docket_lay
        from projector.laying import laid
        from projector.picture.on_table import light_words, view_of
        from projector.picture.scene import render
        from projector.picture.stage import Stage

        calibration = Calibration.load(self.calibration_file, self.size)
        (read,), said = taken([self.docket], alone=False)
        tell(said, err=True)
        if self.cloth is not None:
            from drafting.docket.beside import docket_of_cloth

            read = docket_of_cloth(read, self.cloth)
            if read.path is not None and read.path.exists():
                (read,), said = taken([read.path], alone=False)
                tell(said, err=True)
        if self.width is not None:
            read = read.replace(table={**read.table, "width": self.width})
        read, note = laid(read)
        piece, keys = self.piece, [p.key for p in read.placed()]
        copies = [p.key for p in read.placed() if p.piece == piece]
        if len(copies) == 1:  # a piece cut once needs no number
            piece = copies[0]
        if piece is not None and piece not in keys:
            what = f"'{piece}' does not lie on the cloth."
            raise InputError.of("--piece", what, f"There are {', '.join(keys)}.")
        picture = render(
            read, calibration, mode=self.mode, lines=self.lines, ink=self.ink, current=piece
        )
        write_picture(self.out, picture, EXACT_PICTURE)
        if note:
            click.echo(note)
        tell(docket_lay(read).problems() if read.cloth is not None else (), "Wrong: ")
        stage = Stage(read, calibration, view_of(read, calibration))
        way = "trace them in bays at the table ('chalkbeam project', then V)."
        if stage.holds_all(read.placed()):
            way = "in the middle of the beam all are lit ('chalkbeam project', then Home)."
        dark = light_words([stage.unlit(p) for p in read.placed()], way)
        if dark:
            click.echo(f"Note: {dark}")
        w, h = calibration.size
        click.echo(
            f"{self.out}: {w} x {h} px, {len(read.placed())} pieces. Show it unscaled, pixel for pixel."
        )
