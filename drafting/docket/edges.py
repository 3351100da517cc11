"""What a docket says of edges and pieces by their names: what it means, and what it leaves open.

Beside `model`: names that no piece has are told, and so are edges without an allowance, or with one that
is too small to sew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from configs.errors import Fault
from configs.reader import nearest
from drafting.allowance import ALL, HEM, SMALL_ALLOWANCE_MM, plain
from drafting.docket.cloths import untaken
from drafting.docket.making import parts_of
from drafting.outline import bow
from drafting.piece import Piece

if TYPE_CHECKING:
    from drafting.docket.model import Docket

ZIP_SEAM_MM = 15.0  # a zip is sewn on 1.5 to 2 cm (common practice, no source)


def may_name(pieces: Iterable[Piece]) -> set[str]:
    """What allowances may name of some pieces: 'side' speaks for 'left side' and 'right side' too."""
    edges = {e for p in pieces for e in p.edges}
    return edges | {plain(e) for e in edges} | {ALL}


def _blocks(docket: Docket) -> list[str]:
    """The names of the garment's block and of all that are sewn to it."""
    named = [docket._recipe.get("block"), *(p["block"] for p, _, _ in parts_of(docket))]
    return [str(n) for n in named if n]


def unknown_names(docket: Docket, pieces: Mapping[str, Piece]) -> list[Fault]:
    """Names under allowances, cloth, lay and traced that nothing here has, each with the nearest one."""
    from drafting.blocks import edge_names

    faults: list[Fault] = []

    def need(key: str, name: str, known: set[str], kind: str) -> None:
        if name not in known:
            what = f"there is no {kind} '{name}'; there are {', '.join(sorted(known))}."
            faults.append(Fault(docket._where(key), what, nearest(name, known)))

    # an edge that only another style has is no slip
    of_blocks = {e for block in _blocks(docket) for e in edge_names(block)}
    every = may_name(pieces.values()) | of_blocks
    for edge in docket.allowances:
        need("allowances", edge, every, "edge")
    for name, own in docket.piece_allowances.items():
        need("allowances", name, set(pieces), "piece")
        if name in pieces:
            known = may_name([pieces[name]]) | (set() if name in docket.imported else of_blocks)
            for edge in own:
                need(f"allowances.{name}", edge, known, "edge")
    for name in docket.cloth.joins if docket.cloth is not None else ():
        need("cloth.joins", name, {*pieces, ALL}, "piece")
    for i, placement in enumerate(docket.lay):
        need(f"lay[{i}].piece", placement.piece, set(pieces), "piece")
    for key in docket.traced:
        need("traced", key.rsplit("/", 1)[0], set(pieces), "piece")
    return faults + untaken(docket.cloths, pieces, docket._where(""))


def unused_allowances(docket: Docket) -> tuple[str, ...]:
    """Edges named under ``allowances`` that no piece of this style has, in order."""
    there = may_name(docket.every_piece().values())
    return tuple(e for e in docket.allowances if e not in there)


def cautions(docket: Docket) -> list[str]:
    """What to know before cutting: edges without allowance, and allowances too small to sew.

    ``all: 0`` says that it is meant so (outlines that hold their allowances already).
    """
    where = str(docket.path) if docket.path else "the docket"
    pieces = docket.every_piece().values()
    if not docket.allowances and not docket.piece_allowances:
        if all(p.own_cutting_line is not None for p in pieces):
            return []
        return [
            "No allowance is set: the pieces would be cut on the seam line, with nothing to sew. "
            f"Add this line to {where}: 'allowances: {{{_usual(docket)}}}' (or 'all: 0' "
            "if the outlines hold their allowances already)."
        ]
    said = []
    bare = list(dict.fromkeys(e for p in pieces for e in _bare_edges(docket, p)))
    if bare:
        said.append(
            f"No allowance is set for {', '.join(bare)}: cut on the seam line there. Add 'all: "
            f"10 mm' under 'allowances' in {where} (or 'all: 0' if it is meant so)."
        )
    for key, mm in _each(docket):
        if 0.0 < mm < SMALL_ALLOWANCE_MM:
            said.append(
                f"{key} is {mm:.3g} mm: is that meant? No seam so narrow can be cut and sewn."
            )
    for piece in pieces:
        widths = piece.widths(docket.allowances_for(piece.name))
        for edge in dict.fromkeys(n.edge for n in piece.notches if n.match == "zip"):
            mm = widths.get(edge, widths.get(ALL, 0.0))
            if 0.0 < mm < ZIP_SEAM_MM:
                said.append(
                    f"The {edge} of the {piece.name} takes the zip with an allowance of {mm:.3g} mm: "
                    f"15 to 20 mm are usual there. Add '{edge}: 18 mm' under 'allowances'."
                )
    return said


def _usual(docket: Docket) -> str:
    """What is usual for the docket's blocks, as a docket writes it."""
    from drafting.blocks import usual_allowances

    usual = usual_allowances(_blocks(docket)) or {ALL: 10.0, HEM: 25.0}
    return ", ".join(f"{edge}: {mm:g} mm" for edge, mm in usual.items())


def _bare_edges(docket: Docket, piece: Piece) -> list[str]:
    """Edges of a piece for which neither they nor 'all' have an allowance."""
    own = docket.allowances_for(piece.name)
    if piece.own_cutting_line is not None or ALL in own:
        return []
    widths = piece.widths(own)

    def meant(edge: str) -> bool:
        named = edge in own or plain(edge) in own or (edge.split()[-1] == HEM and HEM in own)
        return named or bool(widths.get(edge)) or edge in piece.bound or _on_fold(piece, edge)

    return [e for e in piece.edges if not meant(e)]


def _on_fold(piece: Piece, edge: str) -> bool:
    if piece.fold is None:
        return False
    a, b = np.array(piece.fold)
    return all(bow(np.stack([a, p, b])) < 0.05 for p in piece.edges[edge].points)


def _each(docket: Docket) -> list[tuple[str, float]]:
    """Key path → mm of every allowance that is written."""
    every = [(f"allowances.{k}", v) for k, v in docket.allowances.items()]
    for name, own in docket.piece_allowances.items():
        every += [(f"allowances.{name}.{k}", v) for k, v in own.items()]
    return every
