"""``chalkbeam lay``: plan how the pieces lie, write it into the docket, draw it beside it."""

from __future__ import annotations

import contextlib
import dataclasses
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.places import JSON_OPTION, Command, Place, taken
from projector.output import DOCKET, PICTURE, look_over, write_picture

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.lay.model import Lay

MOST_SECONDS = 24 * 3600.0
_DOCKET = Place(DOCKET, edited=lambda given: not given["dry_run"])


@click.command(cls=Command)
@click.argument("docket", type=_DOCKET, metavar="DOCKET.yaml")
@click.option(
    "--seconds",
    default=10.0,
    show_default=True,
    type=click.FloatRange(0.0, MOST_SECONDS),
    help="How long to look for better lays. Ctrl-C ends it early and keeps the best.",
)
@click.option(
    "--picture",
    type=Place(PICTURE),
    metavar="FILE.png",
    help="Where the picture goes (for top.yaml: top.lay.png beside it).",
)
@click.option(
    "--distance", metavar="LENGTH", help="Between cutting lines, such as 5 mm; else the docket's."
)
@click.option(
    "--with",
    "others",
    multiple=True,
    type=_DOCKET,
    metavar="OTHER.yaml",
    help="Lay another docket's pieces on the same cloth too (may be repeated). Both note it under "
    "'shares'; laid alone later, each keeps off the other.",
)
@click.option(
    "--cloth", "only", metavar="NAME",
    help="Lay only what is cut from this one of the docket's further 'cloths'; else all are laid.",
)  # fmt: skip
@click.option(
    "--beam", metavar="LENGTHxWIDTH",
    help="What your projector lights, such as '120x70 cm': tells in which order to cut, the cloth "
    "moved as little as can be.",
)  # fmt: skip
@click.option("--afresh", is_flag=True, help="Forget the lay so far (locked pieces stay).")
@click.option(
    "--compare/--no-compare",
    default=None,
    help="Also try the widths sold, folded and single (by itself when buying off the bolt; of cloth "
    "with a length, only folded against single).",
)
@click.option(
    "--unit", type=click.Choice(["cm", "in"]), help="For print; else as the docket measures."
)
@click.option("--partial", is_flag=True, help="Keep the lay though something found no room.")
@click.option("--dry-run", is_flag=True, help="Write nothing.")
@JSON_OPTION
def lay(
    docket: Path,
    seconds: float,
    picture: Path | None,
    distance: str | None,
    others: tuple[Path, ...],
    only: str | None,
    beam: str | None,
    afresh: bool,
    compare: bool | None,
    unit: str | None,
    partial: bool,
    dry_run: bool,
    as_json: bool,
) -> int:
    """Lay the pieces on the cloth so that little of it is wasted.

    The first plan comes at once, better ones while you wait. Pieces that you locked or traced
    stay where they are. The docket keeps the lay; a picture is drawn beside it. Off the bolt you
    are also told what to buy. When something finds no room, nothing is written and the exit code
    is 2, unless you ask to keep the rest with --partial (exit code 1).

    What is cut from further cloths ('cloths' in the docket) is laid on each of them, with a
    picture and a purchase of its own; that lay is kept in a small docket beside: top.lining.yaml.
    """
    from configs.errors import InputError
    from configs.units import typed_length
    from drafting.docket.beside import docket_of_cloth
    from drafting.docket.telling import told_in
    from drafting.lay.order import stops
    from drafting.lay.rules import LEAST_BARE_DISTANCE_MM
    from projector import lay_report, laying
    from projector.console import print_json, print_table, warn
    from projector.lay_picture import lay_picture
    from projector.session.shares import together

    _all_different(docket, others)
    apart = (
        None
        if distance is None
        else typed_length(distance, "--distance", LEAST_BARE_DISTANCE_MM, 100.0)
    )
    if apart is not None and not 0.0 <= apart <= 100.0:
        raise InputError.of("--distance", f"{distance} is outside 0 to 100 mm.")
    lit = None if beam is None else _beam(beam)
    told: list[dict[str, Any]] = []
    code = 0

    def one(docket: Path, others: tuple[Path, ...], picture: Path | None, seconds: float) -> None:
        """Lay what shares one cloth, write it, draw it, tell it."""
        nonlocal code, unit
        picture = picture or docket.with_name(f"{docket.stem}.lay.png")
        if not dry_run:
            look_over([], [("", picture, PICTURE, False)])
        dockets, said = taken((docket, *others), alone=not dry_run)
        unit = unit or told_in(dockets[0])
        joined = together(dockets)
        for line in (*said, *joined.said):
            click.echo(line, err=True)
        with _bar(seconds, quiet=as_json) as progress:
            made = laying.planned(
                dockets, joined, seconds=seconds, distance_mm=apart, afresh=afresh, compare=compare,
                sold_by="yd" if unit == "in" else "cm", partial=partial, beam_mm=lit, progress=progress,
            )  # fmt: skip
        notes: list[str] = []
        if not dry_run:
            notes = laying.write_plan(dockets, joined.prefixes, made.lay)
            title = " + ".join(dict.fromkeys(d.title for d in (*dockets, *joined.others)))
            buy = lay_report.to_buy_words(made, unit)
            drawn = lay_picture(made.lay, title=title, unit=unit, buy=buy)
            write_picture(picture, drawn)
        cautions = [c for d in dockets if d.of is None for c in d.allowance_cautions()]
        code = max(code, 1 if made.lay.left_out or made.problems else 0)
        if as_json:
            data = lay_report.as_data(made, unit)
            data["cautions"] = [*cautions, *made.notes, *notes]
            data["stops"] = [dataclasses.asdict(s) for s in stops(made.lay, lit)] if lit else []
            told.append({**data, "picture": None if dry_run else str(picture)})
            return
        for line in lay_report.lines_of(made, unit, notes):
            click.echo(line)
        if lit:
            for line in lay_report.stop_lines(stops(made.lay, lit), unit):
                click.echo(line)
        head, rows = lay_report.widths_of(made, unit)
        if rows:
            print_table("The same on the widths sold, planned quickly", head, rows)
        for caution in cautions:
            warn(caution, "Caution        ")
        if not dry_run:
            into = ", ".join(str(d.path) for d in dockets)
            click.echo(f"Written into {into}; drawn in {picture}.")

    every, _ = taken([docket, *others], alone=False)
    read = every[0]
    if only:
        docket_of_cloth(read, only)  # told where there is none
    names = list(dict.fromkeys(n for d in every if d.of is None for n in d.cloths))
    names = [only] if only else names
    own = not only and (not names or any(d.pieces() for d in every))
    count = len(names) + own
    if own:
        one(docket, others, picture, seconds / count)
    laid_names = []
    for name in names:
        with _small_dockets([d for d in every if name in d.cloths], name, dry_run) as paths:
            if not paths:
                continue
            if not as_json:
                click.echo(f"\n{name}:")
            one(paths[0], tuple(paths[1:]), picture if only else None, seconds / count)
            laid_names.append(name)
    if as_json and told:
        first, *rest = told
        further = dict(zip(laid_names, rest, strict=True)) if own else {}
        print_json({**first, "cloths": further} if further else first)
    return code


@contextlib.contextmanager
def _small_dockets(garments: list[Docket], name: str, dry_run: bool) -> Iterator[list[Path]]:
    """The files of the small dockets of one cloth, made where they are not there yet.

    A dry run takes those away again.
    """
    from drafting.docket.beside import docket_of_cloth

    paths, new = [], []
    for garment in garments:
        small = docket_of_cloth(garment, name)
        if small.path is None or not small.pieces():
            continue
        paths.append(small.path)
        if not small.path.exists():
            small.save()
            new.append(small.path)
    try:
        yield paths
    finally:
        for path in new if dry_run else ():
            path.unlink(missing_ok=True)


@contextlib.contextmanager
def _bar(seconds: float, *, quiet: bool) -> Iterator[Callable[[Lay], bool] | None]:
    """A progress bar on the terminal, moved on by every better lay; None for no bar."""
    if quiet:
        yield None
        return
    from rich.progress import BarColumn, Progress, TextColumn

    from projector.console import terminal

    bar = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.fields[left]}", markup=False),
        console=terminal(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("Laying", total=max(seconds, 0.01), left="")

        def show(found: Lay) -> bool:
            room = f", no room for {len(found.left_out)}" if found.left_out else ""
            bar.update(
                task,
                completed=seconds - found.seconds_left,
                description=f"{found.used_length_mm / 10:.1f} cm, "
                f"{100 * found.efficiency:.1f} % used{room}",
                left=f"{found.seconds_left:.0f} s left, Ctrl-C keeps the best",
            )
            return True

        yield show


def _beam(text: str) -> tuple[float, float]:
    """(along, across) mm of what is lit; a unit at the end is both's."""
    from configs.errors import InputError
    from configs.units import parse_length

    found = re.fullmatch(r"\s*([\d.,]+)\s*([a-z]*)\s*x\s*([\d.,]+)\s*([a-z]*)\s*", text)
    if found is None:
        raise InputError.of("--beam", f"'{text}' is no size.", "Example: --beam '120x70 cm'")
    unit = found[4] or "mm"
    one = float(parse_length(f"{found[1]} {found[2] or unit}", "mm", "--beam"))
    two = float(parse_length(f"{found[3]} {unit}", "mm", "--beam"))
    if not min(one, two) >= 100.0 or not max(one, two) <= 20_000.0:
        raise InputError.of(
            "--beam", f"'{text}' is outside 10 cm to 20 m.", "Measure the light on the table."
        )
    return one, two


def _all_different(docket: Path, others: tuple[Path, ...]) -> None:
    from configs.errors import InputError

    seen = [docket.resolve()]
    for other in others:
        if other.resolve() in seen:
            raise InputError.of(
                f"--with {other}",
                "that is the same docket.",
                "Name another one; for a second of the same garment write 'quantity: 2'.",
            )
        seen.append(other.resolve())
