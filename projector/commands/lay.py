"""``chalkbeam lay``: plan how the pieces lie, write it into the docket, draw it beside it."""

from __future__ import annotations

import contextlib
import dataclasses
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs.errors import InputError
from configs.units import parse_length, typed_length
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.places import Place, taken
from projector.console import print_json, print_table, tell, terminal, warn
from projector.output import DOCKET, PICTURE, look_over, write_picture

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.lay.model import Lay

MOST_SECONDS = 24 * 3600.0
_DOCKET = Place(DOCKET, edited=lambda given: not given["dry_run"])


class LayCommand(CommandLine):
    """Lay the pieces on the cloth so that little of it is wasted.

    The first plan comes at once, better ones while you wait. Pieces that you locked or traced
    stay where they are. The docket keeps the lay; a picture is drawn beside it. Off the bolt you
    are also told what to buy. When something finds no room, nothing is written and the exit code
    is 2, unless you ask to keep the rest with --partial (exit code 1).

    What is cut from further cloths ('cloths' in the docket) is laid on each of them, with a
    picture and a purchase of its own; that lay is kept in a small docket beside: top.lining.yaml.
    """

    docket: Path = argument("DOCKET.yaml", _DOCKET)
    seconds: float = option(
        "How long to look for better lays. Ctrl-C ends it early and keeps the best.",
        click.FloatRange(0.0, MOST_SECONDS),
        default=10.0,
    )
    picture: Path | None = option(
        "Where the picture goes (for top.yaml: top.lay.png beside it).",
        Place(PICTURE),
        metavar="FILE.png",
    )
    distance: str | None = option(
        "Between cutting lines, such as 5 mm; else the docket's.", metavar="LENGTH"
    )
    others: tuple[Path, ...] = option(
        "Lay another docket's pieces on the same cloth too (may be repeated). Both note it under "
        "'shares'; laid alone later, each keeps off the other.",
        _DOCKET,
        names="--with",
        metavar="OTHER.yaml",
    )
    only: str | None = option(
        "Lay only what is cut from this one of the docket's further 'cloths'; else all are laid.",
        names="--cloth",
        metavar="NAME",
    )
    beam: str | None = option(
        "What your projector lights, such as '120x70 cm': tells in which order to cut, the cloth "
        "moved as little as can be.",
        metavar="LENGTHxWIDTH",
    )
    afresh: bool = option("Forget the lay so far (locked pieces stay).")
    compare: bool | None = option(
        "Also try the widths sold, folded and single (by itself when buying off the bolt; of cloth "
        "with a length, only folded against single).",
        names="--compare/--no-compare",
    )
    unit: str | None = option("For print; else as the docket measures.", ("cm", "in"))
    partial: bool = option("Keep the lay though something found no room.")
    dry_run: bool = option("Write nothing.")
    as_json: bool = json_switch()

    def run(self) -> int:
        from drafting.docket.beside import docket_of_cloth
        from drafting.docket.telling import told_in
        from drafting.lay.order import stops
        from drafting.lay.rules import LEAST_BARE_DISTANCE_MM
        from projector import lay_report, laying
        from projector.lay_picture import lay_picture
        from projector.session.shares import together

        _all_different(self.docket, self.others)
        apart = None
        if self.distance is not None:
            apart = typed_length(self.distance, "--distance", LEAST_BARE_DISTANCE_MM, 100.0)
            if not 0.0 <= apart <= 100.0:
                raise InputError.of("--distance", f"{self.distance} is outside 0 to 100 mm.")
        lit = None if self.beam is None else _beam(self.beam)
        told: list[dict[str, Any]] = []
        code, unit = 0, self.unit

        def one(docket: Path, others: Sequence[Path], picture: Path | None, seconds: float) -> None:
            """Lay what shares one cloth, write it, draw it, tell it."""
            nonlocal code, unit
            picture = picture or docket.with_name(f"{docket.stem}.lay.png")
            if not self.dry_run:
                look_over([], [("", picture, PICTURE, False)])
            dockets, said = taken((docket, *others), alone=not self.dry_run)
            unit = unit or told_in(dockets[0])
            joined = together(dockets)
            tell((*said, *joined.said), err=True)
            with _bar(seconds, quiet=self.as_json) as progress:
                made = laying.planned(
                    dockets, joined, seconds=seconds, distance_mm=apart, afresh=self.afresh, compare=self.compare,
                    sold_by="yd" if unit == "in" else "cm", partial=self.partial, beam_mm=lit, progress=progress,
                )  # fmt: skip
            notes: list[str] = []
            if not self.dry_run:
                notes = laying.write_plan(dockets, joined.prefixes, made.lay)
                title = " + ".join(dict.fromkeys(d.title for d in (*dockets, *joined.others)))
                buy = lay_report.to_buy_words(made, unit)
                drawn = lay_picture(made.lay, title=title, unit=unit, buy=buy)
                write_picture(picture, drawn)
            cautions = [c for d in dockets if d.of is None for c in d.allowance_cautions()]
            code = max(code, 1 if made.lay.left_out or made.problems else 0)
            if self.as_json:
                data = lay_report.as_data(made, unit)
                data["cautions"] = [*cautions, *made.notes, *notes]
                data["stops"] = [dataclasses.asdict(s) for s in stops(made.lay, lit)] if lit else []
                told.append({**data, "picture": None if self.dry_run else str(picture)})
                return
            tell(lay_report.lines_of(made, unit, notes))
            if lit:
                tell(lay_report.stop_lines(stops(made.lay, lit), unit))
            head, rows = lay_report.widths_of(made, unit)
            if rows:
                print_table("The same on the widths sold, planned quickly", head, rows)
            for caution in cautions:
                warn(caution, "Caution        ")
            if not self.dry_run:
                into = ", ".join(str(d.path) for d in dockets)
                click.echo(f"Written into {into}; drawn in {picture}.")

        every, _ = taken([self.docket, *self.others], alone=False)
        read = every[0]
        if self.only:
            docket_of_cloth(read, self.only)  # told where there is none
        names = list(dict.fromkeys(n for d in every if d.of is None for n in d.cloths))
        names = [self.only] if self.only else names
        own = not self.only and (not names or any(d.pieces() for d in every))
        count = len(names) + own
        if own:
            one(self.docket, self.others, self.picture, self.seconds / count)
        laid_names = []
        for name in names:
            garments = [d for d in every if name in d.cloths]
            with _small_dockets(garments, name, self.dry_run) as paths:
                if not paths:
                    continue
                if not self.as_json:
                    click.echo(f"\n{name}:")
                drawn = self.picture if self.only else None
                one(paths[0], paths[1:], drawn, self.seconds / count)
                laid_names.append(name)
        if self.as_json and told:
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
    found = re.fullmatch(r"\s*([\d.,]+)\s*([a-z]*)\s*x\s*([\d.,]+)\s*([a-z]*)\s*", text)
    if found is None:
        raise InputError.of("--beam", f"'{text}' is no size.", "Example: --beam '120x70 cm'")
    unit = found[4] or "mm"
    one = float(parse_length(f"{found[1]} {found[2] or unit}", "mm", "--beam"))
    two = float(parse_length(f"{found[3]} {unit}", "mm", "--beam"))
    if not min(one, two) >= 100.0 or not max(one, two) <= 20_000.0:
        what = f"'{text}' is outside 10 cm to 20 m."
        raise InputError.of("--beam", what, "Measure the light on the table.")
    return one, two


def _all_different(docket: Path, others: tuple[Path, ...]) -> None:
    seen = [docket.resolve()]
    for other in others:
        if other.resolve() in seen:
            remedy = "Name another one; for a second of the same garment write 'quantity: 2'."
            raise InputError.of(f"--with {other}", "that is the same docket.", remedy)
        seen.append(other.resolve())
