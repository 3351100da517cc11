"""``chalkbeam import``: outlines that she already has, from SVG or DXF, into a docket's pieces."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from projector.commands.places import FILE, JSON_OPTION, Command, Place
from projector.output import DOCKET, DRAWING, write

if TYPE_CHECKING:
    from drafting.intake.found import Found, Outline
    from drafting.piece import Piece

_EACH = "[PIECE=]"
_DOCKET = Place(DOCKET, edited=lambda _: True)


@click.command("import", cls=Command)
@click.argument("file", type=FILE, metavar="FILE.svg|FILE.dxf")
@click.argument("docket", type=_DOCKET, metavar="[DOCKET.yaml]", required=False)
@click.option(
    "--out",
    "-o",
    "docket_out",
    type=_DOCKET,
    metavar="DOCKET.yaml",
    help="The docket, when it is not named as the second argument.",
)
@click.option(
    "--unit",
    type=click.Choice(["mm", "cm", "in", "pt", "px"]),
    help="What one unit of the drawing is, when the file does not say, or says it wrong.",
)
@click.option(
    "--side",
    metavar="PIECE/SIDE=LENGTH",
    help="What this side measures: everything is scaled so, when the file was drawn at another scale.",
)
@click.option(
    "--outline",
    "only",
    multiple=True,
    metavar="NAME",
    help="Take only this outline; may be given again.",
)
@click.option("--rename", multiple=True, metavar="OLD=NEW", help="Give a piece another name.")
@click.option("--cut", multiple=True, metavar=f"{_EACH}N", help="How many are cut.")
@click.option(
    "--pair", multiple=True, metavar="PIECE", help="Cut as left and right; 'all' for every piece."
)
@click.option(
    "--fold",
    multiple=True,
    metavar=f"{_EACH}SIDE",
    help="The side on the fold: left, right, top or bottom of the drawing, or a side's name.",
)
@click.option(
    "--grain",
    multiple=True,
    metavar=f"{_EACH}DEGREES",
    help="Where the grain points in the drawing, counter-clockwise from its right; 90 is up.",
)
@click.option(
    "--turns",
    multiple=True,
    metavar=f"{_EACH}DEG,…",
    help="Turns allowed on the cloth; 0,180 unless said.",
)
@click.option(
    "--edge",
    multiple=True,
    metavar="PIECE/SIDE=NAME",
    help="Name a side, so that it can have its own allowance.",
)
@click.option(
    "--allowance",
    multiple=True,
    metavar=f"{_EACH[:-2]}[/EDGE]=]WIDTH",
    help="Allowance such as '10 mm'; of one edge with PIECE/EDGE=.",
)
@click.option(
    "--lines",
    type=click.Choice(["sewing", "cutting"]),
    help="What the outlines are, when the file does not say; cutting lines get no allowance. Sewing unless said.",
)
@click.option(
    "--picture",
    type=Place(DRAWING),
    metavar="FILE.svg",
    help="Draw the outlines with the name and length of every side.",
)
@click.option(
    "--replace", "replacing", is_flag=True, help="Replace pieces of the same name in the docket."
)
@JSON_OPTION
def import_(
    file: Path,
    docket: Path | None,
    docket_out: Path | None,
    unit: str | None,
    side: str | None,
    only: tuple[str, ...],
    rename: tuple[str, ...],
    cut: tuple[str, ...],
    pair: tuple[str, ...],
    fold: tuple[str, ...],
    grain: tuple[str, ...],
    turns: tuple[str, ...],
    edge: tuple[str, ...],
    allowance: tuple[str, ...],
    lines: str | None,
    picture: Path | None,
    replacing: bool,
    as_json: bool,
) -> None:
    """Take closed outlines from an SVG or DXF file into a docket as pieces.

    Without a docket, shows what the file holds: each outline with its size and sides; --picture
    draws them. Look at the sizes before you go on; where they are wrong, --unit or --side puts
    them right. With one (a new one is made if it is not there), the outlines become its pieces,
    with the notches, darts, drill holes and lines inside that the file has; say what a bare
    outline cannot: --fold, --grain, --cut, --pair, --allowance. PIECE= may be left out when it
    goes for all. Where a file has a cutting line beside the sewing line, it is cut there.
    """
    from configs.errors import Fault, InputError
    from drafting.docket import Docket
    from drafting.intake import read_outlines
    from drafting.intake.adopt import named_sides
    from drafting.intake.taking import Said, into, on_their_outlines, pieces_from, with_allowances
    from projector.session.hold import alone

    if docket is not None and docket_out is not None and docket != docket_out:
        raise InputError(
            Fault("--out", f"names '{docket_out}' beside '{docket}'.", "Name one docket.")
        )
    docket = docket or docket_out
    found = read_outlines(file, unit, only)
    outlines = _chosen(found, only)
    names = _renamed(outlines, rename)
    if side is not None:
        scale, note = _scale_by(side, outlines, names)
        found = read_outlines(file, unit, only, scale)
        found = replace(found, notes=(*found.notes, note))
        outlines = _chosen(found, only)
        names = _renamed(outlines, rename)
    drawn = {o.name: dict(o.edges) or named_sides(o.points) for o in outlines}
    if picture is not None:
        from drafting.export.svg import sides_svg

        shown = {names[n]: sides for n, sides in drawn.items()}
        write(picture, sides_svg(shown, title=file.name), DRAWING)
    if docket is None:
        _only_for_dockets(fold=fold, grain=grain, cut=cut, pair=pair, edge=edge,
                          allowance=allowance, turns=turns)  # fmt: skip
        _show(str(file), outlines, names, drawn, found.notes, as_json)
        return
    known = list(names.values())
    for name in pair:
        if name != "all" and name not in known:
            raise _nobody("--pair", name, known)
    said = Said(
        cut={n: _whole(v, "--cut") for n, v in _each(cut, known, "--cut").items()},
        pair=known if "all" in pair else pair,
        fold=_each(fold, known, "--fold"),
        grain_deg={n: _number(v, "--grain") for n, v in _each(grain, known, "--grain").items()},
        turns={
            n: tuple(_number(t, "--turns") for t in v.split(","))
            for n, v in _each(turns, known, "--turns").items()
        },
        edge_names=_sides(edge, known),
    )
    pieces = pieces_from(outlines, names, said)
    as_cut = [names[o.name] for o in outlines if (o.line or lines) == "cutting"]
    own = _allowances(allowance, pieces)
    with alone(docket) if docket.exists() else contextlib.nullcontext():
        read = Docket.load(docket) if docket.exists() else Docket(title=file.stem)
        taken = with_allowances(pieces, own, as_cut=as_cut, kept=bool(read.allowances))
        made = into(read, taken, replacing=replacing, where=str(docket))
        made.save(docket)
    told = list(taken.told)
    if bare := on_their_outlines(taken, made, as_cut):
        told.append(
            f"No allowance is named for {', '.join(bare)}: they will be cut on their outlines. "
            "Name one with --allowance, or in the docket's 'allowances'."
        )
    sides = {
        o.name: {n: e.points for n, e in taken.pieces[names[o.name]].edges.items()}
        for o in outlines
    }
    _show(f"{file} → {docket}", outlines, names, sides, (*told, *found.notes), as_json)


def _only_for_dockets(**given: tuple[str, ...]) -> None:
    """Refuse what is said of pieces when no docket is named to take them."""
    from configs.errors import Fault, InputError

    for word, said in given.items():
        if said:
            raise InputError(
                Fault(
                    f"--{word}",
                    "is for pieces of a docket, and no docket is named.",
                    "Add DOCKET.yaml after the file.",
                )
            )


def _scale_by(
    side: str, outlines: Sequence[Outline], names: Mapping[str, str]
) -> tuple[float, str]:
    """How many times as large everything must be, and that in words; from 'piece/side=length'."""
    from configs.errors import Fault, InputError
    from configs.units import parse_length
    from drafting.intake.taking import scale_for

    place, equals, text = (part.strip() for part in side.rpartition("="))
    piece, slash, name = (part.strip() for part in place.rpartition("/"))
    if not (equals and slash and piece and name):
        raise InputError(
            Fault(
                "--side",
                f"'{side}' is not PIECE/SIDE=LENGTH.",
                "Example: --side 'front/left=300 mm'",
            )
        )
    wanted = parse_length(text, "mm", "--side")
    chosen = next((o for o in outlines if piece in (names[o.name], o.name)), None)
    if chosen is None:
        raise _nobody("--side", piece, list(names.values()))
    return scale_for(chosen, f"{piece}/{name}", wanted, "--side")


def _chosen(found: Found, only: Sequence[str]) -> list[Outline]:
    names = [o.name for o in found.outlines]
    for name in only:
        if name not in names:
            raise _nobody("--outline", name, names)
    return [o for o in found.outlines if not only or o.name in only]


def _nobody(where: str, name: str, names: Sequence[str]) -> Exception:
    from configs.errors import Fault, InputError
    from configs.reader import nearest

    what = f"there is no outline '{name}'; there are {', '.join(names)}."
    return InputError(Fault(where, what, nearest(name, names)))


def _renamed(outlines: Sequence[Outline], rename: Sequence[str]) -> dict[str, str]:
    """Name in the file → name in the docket."""
    from configs.errors import Fault, InputError

    names = {o.name: o.name for o in outlines}
    for text in rename:
        old, equals, new = (part.strip() for part in text.partition("="))
        if not equals or not new or "/" in new:
            raise InputError(
                Fault("--rename", f"'{text}' is not OLD=NEW.", "Example: --rename 'piece 1=front'")
            )
        if old not in names:
            raise _nobody("--rename", old, list(names))
        names[old] = new
    if len(set(names.values())) < len(names):
        raise InputError(Fault("--rename", "two pieces would have the same name."))
    return names


def _each(texts: Sequence[str], names: Sequence[str], where: str) -> dict[str, str]:
    """Piece → value from texts 'value' (for all) and 'piece=value' (going before)."""
    values: dict[str, str] = {}
    for text in sorted(texts, key=lambda t: "=" in t):
        name, equals, value = (part.strip() for part in text.rpartition("="))
        if equals and name not in names:
            raise _nobody(where, name, names)
        values.update({name: value} if equals else dict.fromkeys(names, value))
    return values


def _sides(texts: Sequence[str], names: Sequence[str]) -> dict[str, dict[str, str]]:
    """Piece → (side → name) from texts 'piece/side=name'."""
    from configs.errors import Fault, InputError

    sides: dict[str, dict[str, str]] = {}
    for text in texts:
        place, equals, new = (part.strip() for part in text.partition("="))
        piece, slash, side = (part.strip() for part in place.partition("/"))
        if not (equals and slash and side and new):
            raise InputError(
                Fault(
                    "--edge",
                    f"'{text}' is not PIECE/SIDE=NAME.",
                    "Example: --edge front/bottom=hem",
                )
            )
        if piece not in names:
            raise _nobody("--edge", piece, names)
        sides.setdefault(piece, {})[side] = new
    return sides


def _allowances(texts: Sequence[str], pieces: Mapping[str, Piece]) -> dict[str, dict[str, float]]:
    """Piece → (edge or all → mm) from texts 'width', 'piece=width', 'piece/edge=width'."""
    from configs.errors import Fault, InputError
    from configs.units import parse_length

    own: dict[str, dict[str, float]] = {}
    for text in sorted(texts, key=lambda t: ("=" in t, "/" in t.partition("=")[0])):
        place, equals, width = (part.strip() for part in text.rpartition("="))
        mm = parse_length(width, "mm", "--allowance")
        if not equals:
            own.update({n: {"all": mm} for n in pieces})
            continue
        piece, _, edge = (part.strip() for part in place.partition("/"))
        if piece not in pieces:
            raise _nobody("--allowance", piece, list(pieces))
        if edge and edge not in pieces[piece].edges:
            raise InputError(
                Fault(
                    "--allowance",
                    f"'{piece}' has no edge '{edge}'.",
                    f"It has {', '.join(pieces[piece].edges)}.",
                )
            )
        own.setdefault(piece, {})[edge or "all"] = mm
    return own


def _number(text: str, where: str) -> float:
    import math

    from configs.errors import Fault, InputError

    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(Fault(where, f"'{text}' is no number of degrees.", "Example: 90"))
    return value


def _whole(text: str, where: str) -> int:
    from configs.errors import Fault, InputError

    if not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= 50):
        raise InputError(Fault(where, f"'{text}' is not a whole number from 1 to 50."))
    return int(text)


def _show(
    head: str,
    outlines: Sequence[Outline],
    names: Mapping[str, str],
    sides: Mapping[str, Mapping[str, Any]],
    notes: Sequence[str],
    as_json: bool,
) -> None:
    """What was found or taken: sizes to check against the paper pattern, the sides, and what lies
    on them and inside."""
    from drafting.outline import polyline_length
    from projector.console import print_json, print_table

    lengths = {o.name: {n: polyline_length(p) for n, p in sides[o.name].items()} for o in outlines}
    if as_json:
        print_json(
            {
                "outlines": [
                    {
                        "name": names[o.name],
                        "where": o.where,
                        "line": o.line or None,
                        "width_mm": round(o.size_mm[0], 3),
                        "height_mm": round(o.size_mm[1], 3),
                        "around_mm": round(o.length_mm, 3),
                        "edges_mm": {n: round(v, 3) for n, v in lengths[o.name].items()},
                        "with": _with(o),
                    }
                    for o in outlines
                ],
                "notes": list(notes),
            }
        )
        return
    print_table(
        head,
        ["piece", "width mm", "height mm", "around mm", "sides mm", "with"],
        [
            (
                names[o.name],
                f"{o.size_mm[0]:.1f}",
                f"{o.size_mm[1]:.1f}",
                f"{o.length_mm:.1f}",
                ", ".join(f"{n} {v:.1f}" for n, v in lengths[o.name].items()),
                ", ".join(f"{count} {what}" for what, count in _with(o).items()) or "–",
            )
            for o in outlines
        ],
    )
    for note in notes:
        click.echo(note)
    click.echo("Check one length against the pattern that it came from before you cut.")


def _with(outline: Outline) -> dict[str, int]:
    """How many notches, darts, drill holes and lines lie on an outline and inside it."""
    from drafting.intake.adopt import adopt

    piece = adopt(outline)
    counts = {
        "notches": len(piece.notches),
        "darts": len(piece.darts),
        "drill holes": len(piece.drills),
        "lines": len(piece.marks) - len(piece.drills),
    }
    return {what: count for what, count in counts.items() if count}
