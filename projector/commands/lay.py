"""``chalkbeam lay``: plan how the pieces lie, write it into the docket, draw it beside it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.places import JSON_OPTION, Command, Place
from projector.output import DOCKET, PICTURE, look_over, write_picture

if TYPE_CHECKING:
    from drafting.docket import Docket
    from drafting.lay.advice import Choice, Leftover, Purchase
    from drafting.lay.model import Lay
    from drafting.lay.rules import Rules
    from drafting.placement import Placement

MOST_SECONDS = 24 * 3600.0
_DOCKET = Place(DOCKET, edited=lambda given: not given["dry_run"])
_CROOKED_MM = 30.0  # what a crooked cut may cost (common practice, no source)
_MOST_COMPARED = 60  # pieces; with more each width takes seconds, so she is asked (--compare)
_WORTH_MM = 10.0  # less saved than this is not spoken of


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
@click.option("--afresh", is_flag=True, help="Forget the lay so far (locked pieces stay).")
@click.option(
    "--compare/--no-compare",
    default=None,
    help="Also try the widths sold, folded and single (by itself when buying off the bolt; of cloth "
    "with a length, only folded against single).",
)
@click.option(
    "--unit", type=click.Choice(["cm", "in"]), default="cm", show_default=True, help="For print."
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
    afresh: bool,
    compare: bool | None,
    unit: str,
    partial: bool,
    dry_run: bool,
    as_json: bool,
) -> int:
    """Lay the pieces on the cloth so that little of it is wasted.

    The first plan comes at once, better ones while you wait. Pieces that you locked or traced
    stay where they are. The docket keeps the lay; a picture is drawn beside it. Off the bolt you
    are also told what to buy. When something finds no room, nothing is written and the exit code
    is 2, unless you ask to keep the rest with --partial (exit code 1).
    """
    from configs.errors import Fault, InputError, LayError
    from configs.units import parse_length
    from drafting.lay.advice import compare_widths, leftover, to_buy, what_would_help
    from projector.commands.laying import taken
    from projector.console import print_json, warn
    from projector.shares import rules_of, together

    _all_different(docket, others)
    picture = picture or docket.with_name(f"{docket.stem}.lay.png")
    if not dry_run:
        look_over([], [("", picture, PICTURE, False)])
    dockets, said = taken((docket, *others), alone=not dry_run)
    joined = together(dockets)
    for line in (*said, *joined.said):
        click.echo(line, err=True)
    cloth, pieces = joined.cloth, joined.pieces
    if cloth is None:
        raise InputError(
            Fault(
                f"{docket}: cloth",
                "no cloth is named, so nothing can be laid.",
                "Add 'cloth: {width: 1400 mm, length: 2 m, fold: lengthwise}'.",
            )
        )
    apart = dockets[0].distance_mm
    if distance is not None:
        apart = float(parse_length(distance, "mm"))
        if not 0.0 <= apart <= 100.0:
            raise InputError(Fault("--distance", f"{distance} is outside 0 to 100 mm."))
    rules = rules_of(joined, apart)
    locked, start = _placements(dockets, joined.prefixes, afresh)
    locked += joined.still
    made = _planned(pieces, cloth, seconds, locked, start, rules, quiet=as_json)
    wrong = made.problems()
    bolt = cloth.length_mm is None and cloth.outline is None
    purchase = to_buy(made, "yd" if unit == "in" else "cm") if bolt else None
    rest = leftover(
        made, purchase.length_mm / _layers_along(made) if purchase is not None else None
    )
    fitting = [] if not made.left_out else what_would_help(pieces, cloth, made, rules=rules)
    if made.left_out and not partial:
        raise LayError(
            [
                Fault(
                    f"{docket}: cloth",
                    f"there is no room for {', '.join(made.left_out)}; nothing was changed.",
                    "'--partial' keeps a lay of the rest.",
                ),
                *(Fault("", line) for line in fitting),
            ]
        )
    # cloth with a length is hers: only its folding is still to be chosen
    widths = {} if bolt or compare else {"widths_mm": ()}
    whole = cloth.outline is None
    few = len(made.placements) + len(made.left_out) <= _MOST_COMPARED
    choices = (
        compare_widths(pieces, cloth, seconds=min(1.0, max(seconds, 0.2)), **widths, rules=rules)
        if (compare if compare is not None else whole and few and not made.interrupted)
        else []
    )
    across = [*cloth.contradictions(), *_across_notes(made)]
    if not dry_run:
        title = _title([*dockets, *joined.others])
        across += _save(dockets, joined.prefixes, made, picture, title)
    cautions = [c for d in dockets for c in d.allowance_cautions()]
    if as_json:
        print_json(
            {
                **made.to_dict(),
                "interrupted": made.interrupted,
                "distance_mm": apart,
                "to_buy": None if purchase is None else dataclasses.asdict(purchase),
                "leftover": dataclasses.asdict(rest),
                "would_help": fitting,
                "cautions": [*cautions, *across],
                "widths": [dataclasses.asdict(c) for c in choices],
                "picture": None if dry_run else str(picture),
            }
        )
    else:
        _print(made, purchase, rest, fitting, choices, wrong, unit, across)
        for caution in cautions:
            warn(caution, "Caution        ")
        if not dry_run:
            click.echo(
                f"Written into {', '.join(str(d.path) for d in dockets)}; drawn in {picture}."
            )
    return 1 if made.left_out or wrong else 0


def _all_different(docket: Path, others: tuple[Path, ...]) -> None:
    from configs.errors import Fault, InputError

    seen = [docket.resolve()]
    for other in others:
        if other.resolve() in seen:
            raise InputError(
                Fault(
                    f"--with {other}",
                    "that is the same docket.",
                    "Name another one; for a second of the same garment write 'quantity: 2'.",
                )
            )
        seen.append(other.resolve())


def _title(dockets: list[Docket]) -> str:
    return " + ".join(dict.fromkeys(d.title for d in dockets))


def _across_notes(made: Lay) -> list[str]:
    keys = made.across_grain()
    if not keys:
        return []
    lie = "lies" if len(keys) == 1 else "lie"
    return [
        f"{', '.join(keys)} {lie} across the grain, to save cloth. Where it must run along "
        "(less stretch; a stripe), say 'nap: two-way' under 'cloth'."
    ]


def _placements(
    dockets: list[Docket], names: Sequence[str], afresh: bool
) -> tuple[list[Any], list[Any]]:
    """Placements that must stay (locked or traced), and those to start from."""
    locked: list[Any] = []
    start: list[Any] = []
    for prefix, one in zip(names, dockets, strict=True):
        for p in one.placed():
            named = dataclasses.replace(p, piece=prefix + p.piece)
            if p.locked or p.key in one.traced:
                locked.append(named)
            elif not afresh:
                start.append(named)
    return locked, start


def _planned(
    pieces: Mapping[str, Any],
    cloth: Any,
    seconds: float,
    locked: list[Any],
    start: list[Any],
    rules: Rules,
    *,
    quiet: bool,
) -> Lay:
    from drafting.lay import plan

    if quiet:
        return plan(pieces, cloth, seconds, locked, start=start, rules=rules)
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

        return plan(pieces, cloth, seconds, locked, show, start=start, rules=rules)


def _layers_along(made: Lay) -> float:
    return 2.0 if made.cloth.fold == "crosswise" else 1.0


def _save(
    dockets: list[Docket], names: Sequence[str], made: Lay, picture: Path, title: str
) -> list[str]:
    """Write the plan into every docket, each read again before; what to say of it."""
    from projector.commands.lay_picture import lay_picture

    image = lay_picture(made, title=title)
    said = []
    for prefix, one in zip(names, dockets, strict=True):
        own = [
            dataclasses.replace(p, piece=p.piece[len(prefix) :])
            for p in made.docket_placements()
            if p.piece.startswith(prefix) and p.piece[len(prefix) :] in one.pieces()
        ]
        said += _write(one, own, _shares(one, dockets))
    write_picture(picture, image)
    return said


def _write(one: Docket, own: Sequence[Placement], shares: tuple[str, ...]) -> list[str]:
    """Put the plan of one docket into its file as it is now; what to say of what came meanwhile.

    Raises:
        InputError: what was edited meanwhile leaves no sense in the plan; nothing is written.
    """
    from configs.errors import Fault, InputError
    from projector.commands.laying import unlike
    from projector.hold import alone
    from projector.journal import forget, is_stale, with_noted
    from projector.merge import Kept

    path = one.path
    if path is None:
        return []
    with alone(path):
        now = with_noted(path).docket
        changed = unlike(one, now)
        whole: list[str] = [w for w in ("cloth", "distance", "quantity") if w in changed]
        if not Kept(now.lay).like(Kept(one.lay)):
            whole.append("lay")
        if whole:
            raise InputError(
                Fault(
                    str(path),
                    f"was changed while it was laid ({', '.join(whole)}): the plan is not written.",
                    "The change is kept; lay it again.",
                )
            )
        kept = {p.key: p for p in now.lay}
        # what was traced stays put but is no more locked than she made it
        lay = {
            p.key: dataclasses.replace(p, locked=p.key in kept and kept[p.key].locked)
            for p in own
            if p.piece not in changed
        }
        there = now.pieces()
        for p in now.lay:
            if p.key not in lay and (p.aside or p.piece in changed) and p.piece in there:
                lay[p.key] = p
        noted = not is_stale(path)
        now.replace(lay=tuple(lay.values()), shares=shares).save()
        if noted:
            forget(path)  # what the table had noted is in the docket now
    if not changed:
        return []
    came = [n for n in changed if n in there]
    return [f"{', '.join(came or changed)} changed in {path.name} while it was laid: lay it again."]


def _shares(one: Docket, dockets: list[Docket]) -> tuple[str, ...]:
    """What a docket notes of those it was laid with, beside what it noted before."""
    import os

    if one.path is None:
        return one.shares
    folder = one.path.resolve().parent
    known = {(folder / n).resolve() for n in one.shares}
    new = [d.path.resolve() for d in dockets if d is not one and d.path]
    told = []
    for path in new:
        if path in known:
            continue
        try:
            told.append(Path(os.path.relpath(path, folder)).as_posix())
        except ValueError:  # another drive
            told.append(str(path))
    return (*one.shares, *told)


def _print(
    made: Lay,
    purchase: Purchase | None,
    rest: Leftover,
    fitting: list[str],
    choices: list[Choice],
    wrong: list[str],
    unit: str,
    across: list[str],
) -> None:
    from configs.units import format_length
    from projector.console import print_table

    def say(mm: float) -> str:
        return format_length(mm, unit)

    if made.interrupted:
        click.echo("Stopped early; this is the best lay found.")
    if made.placements:
        click.echo(
            f"Length needed  {say(made.cloth_length_mm)}"
            f"   ({100 * made.efficiency:.1f} % of that cloth becomes pieces)"
        )
    if purchase is not None:
        margin = f", one repeat of {say(purchase.margin_mm)} included" if purchase.margin_mm else ""
        cost = (
            "" if purchase.cost is None else f"   {purchase.cost:.2f} {purchase.currency}".rstrip()
        )
        yards = f" ({_yards(purchase.length_mm)} yd)" if unit == "in" else ""
        click.echo(f"To buy         {say(purchase.length_mm)}{yards}{margin}{cost}")
        shrinks = made.cloth.shrinkage_length or made.cloth.shrinkage_width
        click.echo(
            "               Shrinkage is in it: the pieces are cut larger."
            if shrinks
            else "               No shrinkage was given: wash the cloth before, or add what it loses."
        )
        spare = purchase.length_mm - purchase.needed_mm - purchase.margin_mm
        if spare < _CROOKED_MM:
            more = "1/8 yd" if unit == "in" else "10 cm"
            click.echo(
                f"               Only {say(spare)} of it is spare: shops cut crooked now and then; "
                f"{more} more is safe."
            )
    x, y, length, width = rest.rectangle_mm
    both = ", in two layers" if rest.layers == 2 else ""
    click.echo(
        f"Left over      {rest.area_mm2 / 1e6:.2f} m²{both}; largest rectangle "
        f"{say(length)} x {say(width)}, from {say(x)} along and {say(y)} across"
    )
    for note in (*made.notes, *across):
        click.echo(f"Note           {note}")
    if made.left_out:
        click.echo(f"No room for    {', '.join(made.left_out)}")
        for text in fitting:
            click.echo(f"               {text}")
    for text in wrong:
        click.echo(f"Wrong          {text}")
    if choices and len({c.width_mm for c in choices}) == 1:
        click.echo(f"Planned quickly: {_folding(choices, made, say)}")
    elif choices:
        print_table(
            "The same on the widths sold, planned quickly",
            ["width", "folded", "single"],
            [
                [say(w), *(_choice(choices, w, fold, say) for fold in ("lengthwise", "none"))]
                for w in sorted({c.width_mm for c in choices})
            ],
        )


def _folding(choices: list[Choice], made: Lay, say: Any) -> str:
    """Folded against single, of cloth whose width is settled."""
    words = {"lengthwise": "folded lengthwise", "none": "as a single layer"}
    told = [
        f"{words[c.fold]} {'too narrow' if c.length_mm is None else say(c.length_mm)}"
        for c in choices
    ]
    text = f"{', '.join(told)}, opened out."
    found = [c for c in choices if c.length_mm is not None and c.fold != made.cloth.fold]
    if found and made.placements and found[0].length_mm is not None:
        less = made.cloth_length_mm - found[0].length_mm
        if less > _WORTH_MM:
            text += f" {words[found[0].fold].capitalize()} it needs {say(less)} less."
    return text


def _choice(choices: list[Choice], width: float, fold: str, say: Any) -> str:
    for c in choices:
        if c.width_mm == width and c.fold == fold:
            return "too narrow" if c.length_mm is None else str(say(c.length_mm))
    return "–"


def _yards(mm: float) -> str:
    eighths = round(mm / (914.4 / 8.0))
    whole, part = divmod(eighths, 8)
    if not part:
        return str(whole)
    import math

    g = math.gcd(part, 8)
    return f"{whole} {part // g}/{8 // g}" if whole else f"{part // g}/{8 // g}"
