"""``chalkbeam frame``: exactly what the projector would show, as a picture."""

from __future__ import annotations

from pathlib import Path

import click

from projector.commands.lengths import SIZE
from projector.commands.places import FILE, Command, Place, taken
from projector.output import EXACT_PICTURE, write_picture


@click.command(cls=Command)
@click.argument("docket", type=FILE)
@click.option("--calibration", "calibration_file", type=FILE, required=True,
              help="The calibration to draw through.")  # fmt: skip
@click.option("--out", type=Place(EXACT_PICTURE), default=Path("frame.png"), show_default=True,
              help="Where to write the picture (PNG).")  # fmt: skip
@click.option("--size", type=SIZE, metavar="WxH",
              help="Refuse unless the calibration was made for this size.")  # fmt: skip
@click.option("--mode", type=click.Choice(["arrange", "trace", "plain"]), default="arrange",
              show_default=True, help="All pieces alike, the current one bright, or lines only.")  # fmt: skip
@click.option("--lines", type=click.Choice(["both", "cutting", "sewing"]), default=None,
              help="Which lines; as the docket remembers when not given.")  # fmt: skip
@click.option("--ink", type=click.Choice(["light", "bold", "dark"]), default=None,
              help="Light on dark, bolder for printed cloth, or dark on a lit ground.")  # fmt: skip
@click.option("--width", default=None, metavar="WIDTH",
              help="Width of the cutting line: 1.2 mm or 2 px.")  # fmt: skip
@click.option("--cloth", "cloth", default=None, metavar="NAME",
              help="What is cut from this one of the docket's further cloths.")  # fmt: skip
@click.option("--piece", default=None, metavar="NAME/COPY", help="The piece to trace.")
def frame(
    docket: Path,
    calibration_file: Path,
    out: Path,
    size: tuple[int, int] | None,
    mode: str,
    lines: str | None,
    ink: str | None,
    width: str | None,
    cloth: str | None,
    piece: str | None,
) -> None:
    """Write exactly what the projector would show for DOCKET to a picture.

    The picture has the projector's own pixels: show it full screen, unscaled, and its lines lie
    true on the table. A docket without a lay is laid for a few seconds; its file is not changed.
    """
    from calibrate import Calibration
    from configs.errors import InputError
    from projector.lay_picture import docket_lay
    from projector.laying import laid
    from projector.picture.on_table import light_words, view_of
    from projector.picture.scene import render
    from projector.picture.stage import Stage

    wanted = size
    calibration = Calibration.load(calibration_file, wanted)
    (read,), said = taken([docket], alone=False)
    for line in said:
        click.echo(line, err=True)
    if cloth is not None:
        from drafting.docket.beside import docket_of_cloth

        read = docket_of_cloth(read, cloth)
        if read.path is not None and read.path.exists():
            (read,), said = taken([read.path], alone=False)
            for line in said:
                click.echo(line, err=True)
    if width is not None:
        read = read.replace(table={**read.table, "width": width})
    read, note = laid(read)
    copies = [p.key for p in read.placed() if p.piece == piece]
    if len(copies) == 1:  # a piece cut once needs no number
        piece = copies[0]
    if piece is not None and piece not in {p.key for p in read.placed()}:
        keys = ", ".join(p.key for p in read.placed())
        raise InputError.of(
            "--piece", f"'{piece}' does not lie on the cloth.", f"There are {keys}."
        )
    picture = render(read, calibration, mode=mode, lines=lines, ink=ink, current=piece)
    write_picture(out, picture, EXACT_PICTURE)
    if note:
        click.echo(note)
    for text in docket_lay(read).problems() if read.cloth is not None else ():
        click.echo(f"Wrong: {text}")
    stage = Stage(read, calibration, view_of(read, calibration))
    way = "trace them in bays at the table ('chalkbeam project', then V)."
    if stage.holds_all(read.placed()):
        way = "in the middle of the beam all are lit ('chalkbeam project', then Home)."
    dark = light_words([stage.unlit(p) for p in read.placed()], way)
    if dark:
        click.echo(f"Note: {dark}")
    w, h = calibration.size
    click.echo(
        f"{out}: {w} x {h} px, {len(read.placed())} pieces. Show it unscaled, pixel for pixel."
    )
