"""How a docket's garment is made: its recipe drafted, changed by the scissors, other blocks sewn to it.

Between `model`, which keeps what comes of it, and the blocks. What the base says comes first, then what
the garment says itself; every fault is told by the docket's own keys.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from configs.errors import ChalkbeamError, Fault, InputError
from configs.reader import Reader, nearest
from drafting.docket.recent import recalled
from drafting.docket.telling import told_in, told_on
from drafting.piece import Piece

if TYPE_CHECKING:
    from drafting.blocks import Draft
    from drafting.docket.model import Docket
    from drafting.measurements import Measurements
    from drafting.shaping.changes import Change

Part = tuple[Mapping[str, Any], str, str]


@contextmanager
def told(tell: Callable[[Fault], Fault]) -> Iterator[None]:
    """Faults of what is done here are told as ``tell`` says."""
    try:
        yield
    except ChalkbeamError as error:
        raise type(error)([tell(f) for f in error.faults]) from error


def _levels(docket: Docket) -> list[Part]:
    """What the garment is drawn from, in order: the base's recipe, then its own, each with its unit and
    what stands before its keys."""
    own = (docket.garment or {}, docket.unit, "")
    base = docket.base
    return [own] if base is None else [(base.recipe, base.unit, f"{base.path}: base."), own]


def recipe_of(docket: Docket) -> dict[str, Any]:
    """Block, style and fit to draft: the base's, with what this garment says beside it."""
    from drafting.fit import parse_fit

    garment = docket.garment or {}
    style, fit = dict(garment.get("style") or {}), garment.get("fit") or []
    if docket.base is None:
        return {"block": garment.get("block"), "style": style, "fit": fit}
    return {
        "block": docket.base.recipe.get("block"),
        "style": {**docket.base.style(), **style},
        "fit": [
            c
            for recipe, unit, before in _levels(docket)
            for c in parse_fit(recipe.get("fit"), unit, f"{before}fit")
        ],
    }


def parts_of(docket: Docket) -> list[Part]:
    """The blocks sewn to the garment, as written, each with its unit and its key."""
    return [
        (part, unit, f"{before}with[{i}]")
        for recipe, unit, before in _levels(docket)
        for i, part in enumerate(recipe.get("with") or [])
    ]


def _read(recipe: Mapping[str, Any], unit: str, key: str = "") -> tuple[Change, ...]:
    """The scissors' operations of a recipe."""
    from drafting.shaping.changes import read_changes

    reader = Reader(recipe, unit=unit, key=key)
    found = read_changes(reader)
    reader.done()
    return found


def _sewn(made: Draft, part: Mapping[str, Any], unit: str, key: str) -> Draft:
    """A draft with a further block sewn to it, after the changes of that block."""
    from drafting.blocks import joined
    from drafting.shaping.garment import changed

    with told(lambda f: replace(f, where=f"{key}.{f.where}")):
        made = joined(made, part["block"], part.get("style"), part.get("fit"), unit)
        own = _read(part, unit)
        return changed(made, own, unit)[0] if own else made


def imported_of(docket: Docket) -> dict[str, Piece]:
    """The imported pieces after the changes, of a garment without a block."""
    from drafting.shaping.garment import changed_pieces

    pieces = {**(docket.base.imported if docket.base else {}), **docket.imported}
    with told(partial(_of_garment, docket)):
        for recipe, unit, before in _levels(docket):
            pieces = changed_pieces(pieces, _read(recipe, unit, before.rstrip(".")), unit)
    return pieces


def made_for(
    docket: Docket, body: Measurements, recipe: Mapping[str, Any]
) -> tuple[Draft, dict[str, Piece]]:
    """The garment drafted for a body, and the imported pieces beside it, both after the changes."""
    from drafting.blocks import draft, of_pieces
    from drafting.shaping.garment import changed

    plain = recipe.get("block") is not None
    beside: dict[str, Piece] = {}
    if not plain:
        made = of_pieces(imported_of(docket), body)
    else:
        made = recalled(
            lambda: draft(measurements=body, unit=docket.unit, **recipe),
            (body,),
            recipe,
            docket.unit,
        )
        beside = dict(docket.imported)
        for level, unit, before in _levels(docket):
            changes = _read(level, unit, before.rstrip("."))
            if changes and beside:
                made, beside = changed(made, changes, unit, beside)
            elif changes:
                cut = partial(changed, made, changes, unit)
                made, _ = recalled(cut, (made,), level.get("changes"), unit)
    for part, unit, key in parts_of(docket):
        made = recalled(partial(_sewn, made, part, unit, key), (made,), part, unit, key)
    if plain:
        pieces = told_on(made.pieces, told_in(docket))
        if any(pieces[n] is not p for n, p in made.pieces.items()):
            made = replace(made, pieces=MappingProxyType(pieces))
    return made, beside


def drafted(docket: Docket) -> tuple[Draft | None, dict[str, Piece]]:
    """The garment's draft (None where it has no block) and the imported pieces, both after the changes.

    Raises:
        InputError, DraftError: as `Docket.draft`.
    """
    from drafting.blocks import names

    recipe, body = docket._recipe, docket.measurements
    if recipe.get("block") is None and not parts_of(docket):
        return None, imported_of(docket)
    if body is None:
        raise InputError.of(
            docket._where("measurements"),
            "a garment is to be drafted but no measurements are named.",
            "Add 'measurements: alto-3.yaml', or take them with 'chalkbeam measure'.",
        )
    try:
        return made_for(docket, body, recipe)
    except ChalkbeamError as error:  # the block knows no files: say which one it speaks of
        if body.unit_doubt:  # what follows from numbers in the wrong unit is told of nothing else
            where = body.path or docket._where("measurements")
            remedy = "Correct its line 'unit:', or the numbers."
            raise InputError.of(where, body.unit_doubt, remedy) from error
        faults = [_of_garment(docket, f) for f in error.faults]
        garment = docket.garment or {}
        if isinstance(error, InputError) and not (
            garment.get("changes") or garment.get("with") or docket.base
        ):  # else an edge may be of what is made there
            block = str(recipe["block"])
            if block in names():
                faults += strange_edges(block, docket.allowances, docket._where("allowances"))
        raise type(error)(faults) from error


def strange_edges(block: str, edges: Iterable[str], where: str) -> list[Fault]:
    """Edges that allowances name and no style of a block has, each with the nearest one."""
    from drafting.blocks import edge_names

    known = {*edge_names(block), "all"}
    return [
        Fault(where, f"there is no edge '{e}'.", nearest(e, known)) for e in edges if e not in known
    ]


def _of_garment(docket: Docket, fault: Fault) -> Fault:
    """A fault that drafting told, with this file and its key where they are the docket's."""
    head = re.split(r"[ .\[:]", fault.where, maxsplit=1)[0]
    if head in ("block", "style", "fit", "changes", "with"):
        return replace(fault, where=docket._where(f"garment.{fault.where}"))
    body = docket.measurements
    named = [str(p) for p in (docket.path, body and body.path) if p]
    if any(fault.where.startswith(n) for n in named):
        return fault
    where = f"garment, {fault.where}" if fault.where else "garment"
    return replace(fault, where=docket._where(where))
