"""Outlines into a docket: what the person says of them, and what their cutting lines say.

The last step of the intake: `adopt` makes each outline a piece, `cutting` tells its cutting line as
allowances; here all of a file is taken together, into a docket as it is now.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from configs.errors import Fault, InputError
from configs.units import length_text
from drafting.intake.adopt import adopt, named_sides
from drafting.intake.cutting import MOST_TRIES, as_allowances
from drafting.intake.found import Outline
from drafting.outline import polyline_length
from drafting.piece import Piece

if TYPE_CHECKING:
    from drafting.docket import Docket

INSIDE_MM = 0.5  # a cutting line no further inside the sewing line is a slack of the drawing


@dataclass(frozen=True)
class Said:
    """What a person says of outlines, by the piece's name; see `adopt`."""

    cut: Mapping[str, int] = field(default_factory=dict)
    pair: Collection[str] = ()
    fold: Mapping[str, str] = field(default_factory=dict)
    grain_deg: Mapping[str, float] = field(default_factory=dict)
    turns: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    edge_names: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Taken:
    """Pieces and their allowances (piece → edge or ``all`` → mm); ``told``: sentences of that."""

    pieces: Mapping[str, Piece]
    allowances: Mapping[str, Mapping[str, float]]
    told: tuple[str, ...] = ()


def pieces_from(outlines: Mapping[str, Outline], said: Said) -> dict[str, Piece]:
    """A piece for each outline, by its name in the docket.

    Raises:
        InputError: every fault of every outline.
    """
    pieces: dict[str, Piece] = {}
    faults: list[Fault] = []
    for name, o in outlines.items():
        try:
            pieces[name] = adopt(
                o,
                name=name,
                cut=said.cut.get(name),
                pair=True if name in said.pair else None,
                fold=said.fold.get(name),
                grain_deg=said.grain_deg.get(name),
                turns=said.turns.get(name),
                edge_names=said.edge_names.get(name),
            )
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return pieces


def with_allowances(
    pieces: Mapping[str, Piece],
    own: Mapping[str, Mapping[str, float]],
    *,
    as_cut: Collection[str] = (),
    kept: bool = False,
) -> Taken:
    """The pieces with the allowances that she gives them, else with those that the file shows.

    Args:
        own: what she says, piece → edge or ``all`` → mm.
        as_cut: pieces whose outlines are cutting lines already.
        kept: the docket has allowances of its own, which go before the file's.
    """
    sizes = {name: dict(mm) for name, mm in own.items()}
    for name in as_cut:
        if name not in sizes:
            sizes[name] = {"all": 0.0, **{e: 0.0 for e in pieces[name].edges if e != "fold"}}
    made, told, tries = dict(pieces), [], MOST_TRIES
    for name, piece in pieces.items():
        if piece.own_cutting_line is None:
            continue
        line = as_allowances(piece, tries)
        tries -= line.tries
        if "all" in sizes.get(name, {}) or (not line.allowances and name in sizes):
            made[name] = piece.with_(own_cutting_line=None)  # she says how it is cut
            continue
        made[name] = line.piece
        if line.allowances:
            found = ", ".join(f"{e} {mm:g} mm" for e, mm in line.allowances.items())
            what = "the docket's own are kept" if kept else "taken from its cutting line"
            told.append(f"{name}: allowances in the file {found}; {what}.")
            if not kept:
                sizes[name] = {**line.allowances, **sizes.get(name, {})}
            continue
        where = f" at {line.uneven}" if line.uneven else ""
        told.append(
            f"{name}: its cutting line lies {line.least:.1f} to {line.most:.1f} mm outside the "
            f"sewing line{where}, which no allowance tells: it is cut as the file draws it, "
            "whatever allowances the docket names (--allowance puts them in its place)."
        )
        if line.inside > INSIDE_MM:
            told.append(
                f"{name}: its cutting line runs up to {line.inside:.1f} mm INSIDE its sewing line: it "
                "would be cut too small. Are the two lines of the file swapped?"
            )
    return Taken(made, sizes, tuple(told))


def into(docket: Docket, taken: Taken, *, replacing: bool = False, where: str = "docket") -> Docket:
    """The docket with the pieces in it.

    Raises:
        InputError: it has pieces of these names, and they are not to be replaced; or its
            allowances or its lay do not fit the pieces.
    """
    there = set(docket.imported)
    if docket.garment is not None:
        there |= set(docket.pieces())
    twice = [n for n in taken.pieces if n in there and not (replacing and n in docket.imported)]
    if twice:
        raise InputError(
            [
                Fault(
                    f"{where}: pieces ({n})",
                    "a piece of this name is there already.",
                    "Say --replace to put the new one in its place, or --rename."
                    if n in docket.imported
                    else "Give this one another name: --rename.",
                )
                for n in twice
            ]
        )
    made = docket.replace(
        imported={**docket.imported, **taken.pieces},
        piece_allowances={**docket.piece_allowances, **taken.allowances},
    )
    made.pieces()
    return made


def on_their_outlines(taken: Taken, docket: Docket, as_cut: Collection[str]) -> list[str]:
    """Pieces that would be cut on their sewing lines: neither she, nor the file, nor the docket has
    an allowance for them."""
    if any(docket.allowances.values()):
        return []
    known = {*as_cut, *(n for n, p in taken.pieces.items() if p.own_cutting_line is not None)}
    return [
        n for n in taken.pieces if n not in known and not any(taken.allowances.get(n, {}).values())
    ]


def scale_for(outline: Outline, side: str, wanted_mm: float, where: str) -> tuple[float, str]:
    """How many times as large a drawing must be for a side to be as long as she says; in words too.

    Raises:
        InputError: no such side, or another by far.
    """
    sides = dict(outline.edges) or named_sides(outline.points)
    piece, _, name = side.rpartition("/")
    if name not in sides:
        raise InputError.of(
            where, f"'{piece}' has no side '{name}'.", f"It has {', '.join(sides)}."
        )
    scale = wanted_mm / (drawn := polyline_length(sides[name]))
    if not 1e-3 < scale < 1e3:
        raise InputError.of(
            where,
            f"{side} is {length_text(drawn)} in the drawing, not nearly {length_text(wanted_mm)}.",
            "Check the side and its length.",
        )
    return (
        scale,
        f"Everything was made {scale:.6g} times as large: {side} is {length_text(wanted_mm)}.",
    )
