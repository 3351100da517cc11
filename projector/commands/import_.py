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
    from drafting.docket import Docket
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
    from drafting.intake import read_outlines
    from drafting.intake.adopt import adopt, named_sides
    from drafting.intake.cutting import as_allowances

    if docket is not None and docket_out is not None and docket != docket_out:
        raise InputError(
            Fault("--out", f"names '{docket_out}' beside '{docket}'.", "Name one docket.")
        )
    docket = docket or docket_out
    found = read_outlines(file, unit, only)
    outlines = _chosen(found, only)
    names = _renamed(outlines, rename)
    if side is not None:
        scale, said = _scale_by(side, outlines, names)
        found = read_outlines(file, unit, only, scale)
        found = replace(found, notes=(*found.notes, said))
        outlines = _chosen(found, only)
        names = _renamed(outlines, rename)
    drawn = {o.name: dict(o.edges) or named_sides(o.points) for o in outlines}
    if picture is not None:
        from drafting.export.svg import sides_svg

        shown = {names[n]: sides for n, sides in drawn.items()}
        write(picture, sides_svg(shown, title=file.name), DRAWING)
    if docket is None:
        for word, given in (
            ("--fold", fold),
            ("--grain", grain),
            ("--cut", cut),
            ("--pair", pair),
            ("--edge", edge),
            ("--allowance", allowance),
            ("--turns", turns),
        ):
            if given:
                raise InputError(
                    Fault(
                        word,
                        "is for pieces of a docket, and no docket is named.",
                        "Add DOCKET.yaml after the file.",
                    )
                )
        _show(str(file), outlines, names, drawn, found, as_json)
        return
    known = list(names.values())
    counts = {n: _whole(v, "--cut") for n, v in _each(cut, known, "--cut").items()}
    folds = _each(fold, known, "--fold")
    grains = {n: _number(v, "--grain") for n, v in _each(grain, known, "--grain").items()}
    turned = {
        n: tuple(_number(t, "--turns") for t in v.split(","))
        for n, v in _each(turns, known, "--turns").items()
    }
    sides_named = _sides(edge, known)
    for name in pair:
        if name != "all" and name not in known:
            raise _nobody("--pair", name, known)
    pieces: dict[str, Piece] = {}
    faults: list[Fault] = []
    for o in outlines:
        name = names[o.name]
        try:
            pieces[name] = adopt(
                o,
                name=name,
                cut=counts.get(name),
                pair=True if name in pair or "all" in pair else None,
                fold=folds.get(name),
                grain_deg=grains.get(name),
                turns=turned.get(name),
                edge_names=sides_named.get(name),
            )
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    own = _allowances(allowance, pieces)
    for o in outlines:
        name = names[o.name]
        if name not in own and (o.line or lines) == "cutting":
            own[name] = {"all": 0.0, **dict.fromkeys(pieces[name].edges, 0.0)}
            own[name].pop("fold", None)
    kept = docket.exists() and bool(read_allowances(docket))
    told: list[str] = []
    for name, piece in pieces.items():
        if piece.own_cutting_line is None:
            continue
        line = as_allowances(piece)
        if "all" in own.get(name, {}) or (not line.allowances and name in own):
            pieces[name] = piece.with_(own_cutting_line=None)  # she says how it is cut
            continue
        pieces[name] = line.piece
        if line.allowances:
            sizes = ", ".join(f"{e} {mm:g} mm" for e, mm in line.allowances.items())
            what = "the docket's own are kept" if kept else "taken from its cutting line"
            told.append(f"{name}: allowances in the file {sizes}; {what}.")
            if not kept:
                own[name] = {**line.allowances, **own.get(name, {})}
            continue
        where = f" at {line.uneven}" if line.uneven else ""
        told.append(
            f"{name}: its cutting line lies {line.least:.1f} to {line.most:.1f} mm outside the "
            f"sewing line{where}, which no allowance tells: it is cut as the file draws it, whatever "
            "allowances the docket names (--allowance puts them in its place)."
        )
    _save(docket, file, pieces, own, replacing)
    if not as_json:
        for text in told:
            click.echo(text)
    cutting = {names[o.name] for o in outlines if (o.line or lines) == "cutting"}
    cutting |= {n for n, p in pieces.items() if p.own_cutting_line is not None}
    bare = [n for n in pieces if n not in cutting and not any(own.get(n, {}).values())]
    if bare and not as_json and not any(v for v in read_allowances(docket).values()):
        click.echo(
            f"No allowance is named for {', '.join(bare)}: they will be cut on their outlines. "
            "Name one with --allowance, or in the docket's 'allowances'."
        )
    _show(
        f"{file} → {docket}",
        outlines,
        names,
        {o.name: {n: e.points for n, e in pieces[names[o.name]].edges.items()} for o in outlines},
        found,
        as_json,
    )


def _scale_by(
    side: str, outlines: Sequence[Outline], names: Mapping[str, str]
) -> tuple[float, str]:
    """How many times as large everything must be for a side to be as long as she says, and that
    in words; from 'piece/side=length'."""
    from configs.errors import Fault, InputError
    from configs.units import length_text, parse_length
    from drafting.intake.adopt import named_sides
    from drafting.outline import polyline_length

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
    sides = dict(chosen.edges) or named_sides(chosen.points)
    if name not in sides:
        raise InputError(
            Fault("--side", f"'{piece}' has no side '{name}'.", f"It has {', '.join(sides)}.")
        )
    drawn = polyline_length(sides[name])
    if not 1e-3 < wanted / drawn < 1e3:
        raise InputError(
            Fault(
                "--side",
                f"{piece}/{name} is {length_text(drawn)} in the drawing, not nearly {length_text(wanted)}.",
                "Check the side and its length.",
            )
        )
    scale = wanted / drawn
    said = (
        f"Everything was made {scale:.6g} times as large: {piece}/{name} is {length_text(wanted)}."
    )
    return scale, said


def read_allowances(docket: Path) -> Mapping[str, float]:
    """What a docket says for all its pieces, edge → mm."""
    from drafting.docket import Docket

    return Docket.load(docket).allowances


def _save(
    docket: Path,
    file: Path,
    pieces: Mapping[str, Piece],
    own: Mapping[str, Mapping[str, float]],
    replacing: bool,
) -> None:
    """Put the pieces into the docket, or into a new one, whole or not at all."""
    from drafting.docket import Docket
    from projector.hold import alone

    with alone(docket) if docket.exists() else contextlib.nullcontext():
        read = Docket.load(docket) if docket.exists() else Docket(title=file.stem)
        made = _with_pieces(read, str(docket), pieces, own, replacing)
        made.pieces()  # names in allowances and lay are checked before anything is written
        made.save(docket)


def _with_pieces(
    read: Docket,
    docket: str,
    pieces: Mapping[str, Piece],
    own: Mapping[str, Mapping[str, float]],
    replacing: bool,
) -> Docket:
    """The docket with the pieces in it.

    Raises:
        InputError: it has pieces of these names, and they are not to be replaced.
    """
    from configs.errors import Fault, InputError

    there = set(read.imported)
    if read.garment is not None:
        there |= set(read.pieces())
    twice = [n for n in pieces if n in there and not (replacing and n in read.imported)]
    if twice:
        raise InputError(
            [
                Fault(
                    f"{docket}: pieces ({n})",
                    "a piece of this name is there already.",
                    "Say --replace to put the new one in its place, or --rename."
                    if n in read.imported
                    else "Give this one another name: --rename.",
                )
                for n in twice
            ]
        )
    return read.replace(
        imported={**read.imported, **pieces},
        piece_allowances={**read.piece_allowances, **own},
    )


def _chosen(found: Found, only: Sequence[str]) -> list[Outline]:
    names = [o.name for o in found.outlines]
    for name in only:
        if name not in names:
            raise _nobody("--outline", name, names)
    return [o for o in found.outlines if not only or o.name in only]


def _nobody(where: str, name: str, names: Sequence[str]) -> Exception:
    import difflib

    from configs.errors import Fault, InputError

    near = difflib.get_close_matches(name, names, 1, 0.4)
    hint = f"Did you mean '{near[0]}'?" if near else ""
    return InputError(
        Fault(where, f"there is no outline '{name}'; there are {', '.join(names)}.", hint)
    )


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
    found: Found,
    as_json: bool,
) -> None:
    """What was found or taken: sizes to check against the paper pattern, the sides, and what lies
    on them and inside."""
    import numpy as np

    from projector.console import print_json, print_table

    lengths = {
        o.name: {
            n: float(np.hypot(*np.diff(np.asarray(p), axis=0).T).sum())
            for n, p in sides[o.name].items()
        }
        for o in outlines
    }
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
                "notes": list(found.notes),
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
    for note in found.notes:
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
