"""``chalkbeam import``: outlines that she already has, from SVG or DXF, into a docket's pieces."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs.errors import InputError
from projector.commands.command_line import CommandLine, argument, json_switch, option
from projector.commands.places import Place
from projector.console import print_json, print_table, tell
from projector.output import DOCKET, DRAWING, write

if TYPE_CHECKING:
    from drafting.intake.found import Outline

_EACH = "[PIECE=]"
# what is said of pieces that go into a docket
_SAID = ("rename", "cut", "pair", "fold", "grain", "turns", "edge", "allowance")
_DOCKET = Place(DOCKET, edited=lambda _: True)


class ImportCommand(CommandLine, name="import"):
    """Take closed outlines from an SVG or DXF file into a docket as pieces.

    Without a docket, shows what the file holds: each outline with its size and sides; --picture
    draws them. Look at the sizes before you go on; where they are wrong, --unit or --side puts
    them right. With one (a new one is made if it is not there), the outlines become its pieces,
    with the notches, darts, drill holes and lines inside that the file has; say what a bare
    outline cannot: --fold, --grain, --cut, --pair, --allowance. PIECE= may be left out when it
    goes for all. Where a file has a cutting line beside the sewing line, it is cut there.
    """

    file: Path = argument("FILE.svg|FILE.dxf")
    docket: Path | None = argument("[DOCKET.yaml]", _DOCKET)
    docket_out: Path | None = option(
        "The docket, when it is not named as the second argument.",
        _DOCKET,
        names="--out -o",
        metavar="DOCKET.yaml",
    )
    unit: str | None = option(
        "What one unit of the drawing is, when the file does not say, or says it wrong.",
        ("mm", "cm", "in", "pt", "px"),
    )
    side: str | None = option(
        "What this side measures: everything is scaled so, when the file was drawn at another scale.",
        metavar="PIECE/SIDE=LENGTH",
    )
    only: tuple[str, ...] = option(
        "Take only this outline; may be given again.", names="--outline", metavar="NAME"
    )
    rename: tuple[str, ...] = option("Give a piece another name.", metavar="OLD=NEW")
    cut: tuple[str, ...] = option("How many are cut.", metavar=f"{_EACH}N")
    pair: tuple[str, ...] = option("Cut as left and right; 'all' for every piece.", metavar="PIECE")
    fold: tuple[str, ...] = option(
        "The side on the fold: left, right, top or bottom of the drawing, or a side's name.",
        metavar=f"{_EACH}SIDE",
    )
    grain: tuple[str, ...] = option(
        "Where the grain points in the drawing, counter-clockwise from its right; 90 is up.",
        metavar=f"{_EACH}DEGREES",
    )
    turns: tuple[str, ...] = option(
        "Turns allowed on the cloth; 0,180 unless said.", metavar=f"{_EACH}DEG,…"
    )
    edge: tuple[str, ...] = option(
        "Name a side, so that it can have its own allowance.", metavar="PIECE/SIDE=NAME"
    )
    allowance: tuple[str, ...] = option(
        "Allowance such as '10 mm'; of one edge with PIECE/EDGE=.",
        metavar=f"{_EACH[:-2]}[/EDGE]=]WIDTH",
    )
    lines: str | None = option(
        "What the outlines are, when the file does not say; cutting lines get no allowance. Sewing unless said.",
        ("sewing", "cutting"),
    )
    picture: Path | None = option(
        "Draw the outlines with the name and length of every side.",
        Place(DRAWING),
        metavar="FILE.svg",
    )
    replacing: bool = option("Replace pieces of the same name in the docket.", names="--replace")
    as_json: bool = json_switch()

    def run(self) -> None:
        from drafting.docket import Docket
        from drafting.intake import read_outlines
        from drafting.intake.adopt import named_sides
        from drafting.intake.saying import allowances_from, one_of, renamed, said_of, scale_from
        from drafting.intake.taking import into, on_their_outlines, pieces_from, with_allowances
        from projector.session.hold import alone

        docket, other = self.docket or self.docket_out, self.docket_out
        if other is not None and docket != other:
            raise InputError.of("--out", f"names '{other}' beside '{docket}'.", "Name one docket.")
        said: dict[str, tuple[str, ...]] = {word: getattr(self, word) for word in _SAID}

        def read(scale: float = 1.0) -> tuple[dict[str, Outline], tuple[str, ...]]:
            """The outlines wanted, by their names in the docket, and what is told of the file."""
            found = read_outlines(self.file, self.unit, self.only, scale)
            names = [o.name for o in found.outlines]
            wanted = [one_of(name, names, "--outline") for name in self.only] or names
            new = renamed(said["rename"], wanted)
            return {new[o.name]: o for o in found.outlines if o.name in wanted}, found.notes

        outlines, notes = read()
        if self.side is not None:
            scale, note = scale_from(self.side, outlines)
            outlines, notes = read(scale)
            notes = (*notes, note)
        sides = {n: dict(o.edges) or named_sides(o.points) for n, o in outlines.items()}
        if self.picture is not None:
            from drafting.export.svg import sides_svg

            write(self.picture, sides_svg(sides, title=self.file.name), DRAWING)
        if docket is None:
            _only_for_dockets({w: texts for w, texts in said.items() if w != "rename"})
            _show(str(self.file), outlines, sides, notes, self.as_json)
            return
        pieces = pieces_from(outlines, said_of(list(outlines), said))
        as_cut = [n for n, o in outlines.items() if (o.line or self.lines) == "cutting"]
        own = allowances_from(said["allowance"], pieces)
        with alone(docket) if docket.exists() else contextlib.nullcontext():
            before = Docket.load(docket) if docket.exists() else Docket(title=self.file.stem)
            taken = with_allowances(pieces, own, as_cut=as_cut, kept=bool(before.allowances))
            made = into(before, taken, replacing=self.replacing, where=str(docket))
            made.save(docket)
        told = list(taken.told)
        if bare := on_their_outlines(taken, made, as_cut):
            told.append(
                f"No allowance is named for {', '.join(bare)}: they will be cut on their outlines. "
                "Name one with --allowance, or in the docket's 'allowances'."
            )
        sides = {n: {e: x.points for e, x in p.edges.items()} for n, p in taken.pieces.items()}
        _show(f"{self.file} → {docket}", outlines, sides, (*told, *notes), self.as_json)


def _only_for_dockets(said: Mapping[str, tuple[str, ...]]) -> None:
    """Refuse what is said of pieces when no docket is named to take them."""
    for word, texts in said.items():
        if texts:
            what = "is for pieces of a docket, and no docket is named."
            raise InputError.of(f"--{word}", what, "Add DOCKET.yaml after the file.")


def _show(
    head: str,
    outlines: Mapping[str, Outline],
    sides: Mapping[str, Mapping[str, Any]],
    notes: Sequence[str],
    as_json: bool,
) -> None:
    """What was found or taken: sizes to check against the paper pattern, the sides, and what lies
    on them and inside."""
    from drafting.outline import polyline_length

    lengths = {n: {e: polyline_length(p) for e, p in sides[n].items()} for n in outlines}
    if as_json:
        print_json(
            {
                "outlines": [
                    {
                        "name": name,
                        "where": o.where,
                        "line": o.line or None,
                        "width_mm": round(o.size_mm[0], 3),
                        "height_mm": round(o.size_mm[1], 3),
                        "around_mm": round(o.length_mm, 3),
                        "edges_mm": {n: round(v, 3) for n, v in lengths[name].items()},
                        "with": _with(o),
                    }
                    for name, o in outlines.items()
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
                name,
                f"{o.size_mm[0]:.1f}",
                f"{o.size_mm[1]:.1f}",
                f"{o.length_mm:.1f}",
                ", ".join(f"{n} {v:.1f}" for n, v in lengths[name].items()),
                ", ".join(f"{count} {what}" for what, count in _with(o).items()) or "–",
            )
            for name, o in outlines.items()
        ],
    )
    tell(notes)
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
