"""The blocks that can be drafted, and what a draft is.

A block turns measurements, style and fit changes into pieces on a drawing sheet, which records
the construction, so that the steps can be taught and drawn with a pencil. Each block is a
module of its own here, loaded when first asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from importlib import import_module
from pkgutil import iter_modules
from types import MappingProxyType
from typing import Any

from configs.errors import DraftError, Fault, InputError, once
from configs.reader import nearest, unknown_keys
from drafting.fit import FitChange, parse_fit
from drafting.measurements import REGISTRY, Measurements, missing
from drafting.piece import Notch, Piece
from drafting.sheet import Deed, Recorded, Sheet, Step, read_steps
from drafting.sheet.making import MAKE_UP, Task, in_order, pages, tasks_of, with_part
from drafting.sheet.notching import notched
from drafting.sheet.onto import Onto
from drafting.sheet.record import BOTH
from drafting.style import Option, resolve, without_effect
from drafting.truing import (
    USUAL_ALLOWANCES,
    Check,
    Corner,
    Girth,
    Run,
    Seam,
    check_corners,
    check_cutting,
    check_darts,
    check_girths,
    check_runs,
    check_seams,
    compare,
)


@dataclass(frozen=True)
class Block:
    """A block: ``needs`` and ``helps`` are measurement keys, ``options`` its style options.

    ``edges``: the names of all edges that some style of it has; ``changes``: the fit changes
    that it knows; ``allowances``: edge → mm, the usual ones of the trade for it.

    ``joins``: the kinds of edges that it can be sewn to; ``alone``: whether it makes a garment with
    nothing else; ``word``: what its pieces are called by on the garment that they are sewn to, and
    ``sewn_on`` the style that it has there where no other is written.

    ``draw(sheet)`` draws it; ``name``, ``title`` and ``text`` are for people.
    """

    name: str
    title: str
    text: str
    options: tuple[Option, ...]
    edges: tuple[str, ...]
    draw: Callable[[Sheet], None]
    needs: tuple[str, ...] = ()
    helps: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    joins: tuple[str, ...] = ()
    alone: bool = True
    word: str = ""
    sewn_on: Mapping[str, Any] = field(default_factory=dict)
    allowances: Mapping[str, float] = field(default_factory=lambda: USUAL_ALLOWANCES)


@dataclass(frozen=True, eq=False)
class Part:
    """A block of a garment: its name, style and fit changes, read; ``onto``: what it was sewn to."""

    block: str
    style: Mapping[str, Any]
    fit: tuple[FitChange, ...]
    onto: Onto | None = None


@dataclass(frozen=True, eq=False)
class Draft:
    """What a block drew.

    ``pieces``: name → `Piece`; ``seams``, ``corners``, ``runs``, ``girths``: what truing
    checks; ``extra_checks``: checks the block made itself; ``record``: the construction as it
    was done on the sheet; ``said``: warnings in plain words; ``figures``: further numbers (mm)
    by name; ``hangs_on``: (piece, edge) → keys of the measures, ``style.`` options and ``fit.``
    changes that the edge hangs on; ``parts``: the blocks that were sewn to it, in order;
    ``tasks``: how it is made up, unordered; ``given``: the pieces that it began with where these are
    an import and ``block`` is ''; ``partners``: of a part, the
    notches that it needs on pieces of the garment.
    """

    block: str
    measurements: Measurements
    style: Mapping[str, Any]
    fit: tuple[FitChange, ...]
    pieces: Mapping[str, Piece]
    seams: tuple[Seam, ...] = ()
    corners: tuple[Corner, ...] = ()
    runs: tuple[Run, ...] = ()
    girths: tuple[Girth, ...] = ()
    extra_checks: tuple[Check, ...] = ()
    record: tuple[Recorded, ...] = ()
    said: tuple[str, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    hangs_on: Mapping[tuple[str, str], frozenset[str]] = field(default_factory=dict)
    parts: tuple[Part, ...] = ()
    tasks: tuple[Task, ...] = ()
    partners: tuple[tuple[str, Notch], ...] = ()
    given: Mapping[str, Piece] = field(default_factory=dict)

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The construction, read off the record in her unit; last, how it is made up."""
        record = self.record
        if self.tasks:
            for told in pages(self.making):
                key = "make-up" if record is self.record else f"make-up-{len(record)}"
                title = MAKE_UP if record is self.record else "Making up, going on"
                record = (*record, Recorded(key, BOTH, title, "", [Deed("tell", t) for t in told]))
        return read_steps(record, self.measurements.unit)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Warnings in plain words; those of changes that move nothing cost further drafts, made only here."""
        blocks = (Part(self.block, self.style, self.fit), *self.parts)
        idle = (text for part in blocks for text in _idle_changes(part, self.measurements))
        return (*self.said, *idle)

    @cached_property
    def making(self) -> tuple[str, ...]:
        """How the whole is made up, a sentence each, in the trade's order."""
        return in_order(self.tasks)

    def checks(
        self, allowances: Mapping[str, float] | Mapping[str, Mapping[str, float]] | None = None
    ) -> list[Check]:
        """Truing: every check with its number.

        ``allowances``: edge → mm for every piece, or piece → (edge → mm); the usual ones if None.
        """
        unit = self.measurements.unit
        return [
            *check_seams(self.pieces, self.seams, unit),
            *check_corners(self.pieces, self.corners),
            *check_runs(self.pieces, self.runs),
            *check_girths(self.girths, unit),
            *check_darts(self.pieces),
            *check_cutting(self.pieces, self.usual if allowances is None else allowances),
            *self.extra_checks,
        ]

    @property
    def usual(self) -> dict[str, float]:
        """The allowances of the trade for its blocks, edge → mm; where two differ, the first's."""
        own = (self.block,) if self.block else ()
        return usual_allowances((*own, *(p.block for p in self.parts)))


def names() -> tuple[str, ...]:
    """The names of all blocks: one for each module here whose name has no underscore before it."""
    return _names_in(tuple(__path__))


@cache
def _names_in(path: tuple[str, ...]) -> tuple[str, ...]:
    found = (m.name for m in iter_modules(path))
    return tuple(n.replace("_", "-") for n in found if not n.startswith("_"))


def get(name: str) -> Block:
    """The block of this name.

    Raises:
        InputError: there is none; the nearest is named.
    """
    word = str(name).strip().lower().replace("_", "-").replace(" ", "-")
    if word not in names():
        fault = unknown_keys({name: 0}, names(), "block")[0]
        remedy = nearest(word, names()) or fault.remedy
        raise InputError.of("block", f"there is no block '{name}'.", remedy)
    block = import_module(f"drafting.blocks.{word.replace('-', '_')}").BLOCK
    assert isinstance(block, Block)
    return block


def edge_names(block: str) -> tuple[str, ...]:
    """Every edge that some style of the block has, without 'left' or 'right'.

    Raises:
        InputError: there is no such block.
    """
    return get(block).edges


def usual_allowances(blocks: Sequence[str]) -> dict[str, float]:
    """The allowances of the trade for some blocks together, edge → mm; where two differ, the first's."""
    return {e: mm for name in reversed(blocks) for e, mm in get(name).allowances.items()}


def draft(
    block: str,
    measurements: Measurements,
    style: Mapping[str, Any] | None = None,
    fit: Sequence[Any] | None = None,
    unit: str | None = None,
) -> Draft:
    """Draft a block.

    ``unit``: of plain numbers in ``style`` and ``fit``, as a person wrote them: what is next to nothing
    in mm is asked back; None: mm, taken as they are.

    Raises:
        InputError: an unknown block, a missing measurement, a style or change that is not one.
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    chosen = get(block)
    if not chosen.alone:
        what = f"the {chosen.name} is sewn to the {' or '.join(chosen.joins)} of a garment."
        remedy = f"Such as 'garment: {{block: quick-top, with: [{{block: {chosen.name}}}]}}'."
        raise InputError.of("block", what, remedy)
    return _draft(chosen, measurements, style, fit, unit)


def of_pieces(pieces: Mapping[str, Piece], measurements: Measurements) -> Draft:
    """Pieces that no block drew, an import, as a garment to which blocks can be sewn."""
    given = MappingProxyType(dict(pieces))
    return Draft("", measurements, MappingProxyType({}), (), given, given=given)


def joined(
    made: Draft,
    block: str,
    style: Mapping[str, Any] | None = None,
    fit: Sequence[Any] | None = None,
    unit: str = "mm",
) -> Draft:
    """A garment with a further block sewn to it, drafted to its edges as they are now.

    Raises:
        InputError, DraftError: as `draft`; the block is sewn to nothing, the garment has no edge for
            it, or has a piece of the same name.
    """
    chosen = get(block)
    if not chosen.joins:
        those = ", ".join(n for n in names() if get(n).joins)
        what = f"the {chosen.name} is not sewn to another block."
        raise InputError.of("block", what, f"These are: {those}.")
    onto = Onto(made.pieces, made.seams, made.hangs_on, made.style)
    part = _draft(chosen, made.measurements, style, fit, unit, onto)
    twice = sorted(set(made.pieces) & set(part.pieces))
    if twice:
        what = f"the garment has a piece '{twice[0]}' already."
        raise DraftError.of("block", what, "Is it sewn on twice?")
    there = dict(made.pieces)
    for name, notch in part.partners:
        there[name] = there[name].plus(notches=[notch])
    apart = f"{chosen.name}: "  # an option of a part is another than the garment's of the same name
    hangs_on = {
        spot: frozenset(k if k in REGISTRY else apart + k for k in keys)
        for spot, keys in part.hangs_on.items()
    }
    lists = ("seams", "corners", "runs", "girths", "extra_checks")
    both: dict[str, Any] = {k: (*getattr(made, k), *getattr(part, k)) for k in lists}
    return replace(
        made,
        **both,
        pieces=MappingProxyType({**there, **part.pieces}),
        record=(*made.record, *(replace(r, of=chosen.name) for r in part.record)),
        said=once((*made.said, *part.said)),
        figures=MappingProxyType({**made.figures, **part.figures}),
        hangs_on=MappingProxyType({**made.hangs_on, **hangs_on}),
        parts=(*made.parts, Part(chosen.name, part.style, part.fit, onto)),
        tasks=with_part(made.tasks, part.tasks, onto.kinds_in(part.seams)),
    )


def _draft(
    chosen: Block,
    measurements: Measurements,
    style: Mapping[str, Any] | None,
    fit: Sequence[Any] | None,
    unit: str | None,
    onto: Onto | None = None,
) -> Draft:
    """A block drafted alone, or to what it is sewn to, with what has no effect told."""
    faults: list[Fault] = []
    where = measurements.path or measurements.wearer or "measurements"
    faults += missing([k for k in chosen.needs if k not in measurements], where)
    if faults and measurements.path.endswith((".yaml", ".yml")):
        asks = f"'chalkbeam measure {where} --block {chosen.name}' asks for what is missing."
        faults[-1] = replace(faults[-1], remedy=f"{faults[-1].remedy} {asks}")
    if onto:
        style = {**chosen.sewn_on, **(style or {})}
    resolved: Mapping[str, Any] = MappingProxyType({})
    changes: tuple[FitChange, ...] = ()
    try:
        resolved = resolve(chosen.options, style, unit or "mm", asks=unit is not None)
    except InputError as error:
        faults += error.faults
    try:
        changes = parse_fit(fit, unit or "mm", asks=unit is not None)
    except InputError as error:
        faults += error.faults
    for i, change in enumerate(changes, 1):
        if change.change not in chosen.changes:
            what = f"'{change.change}' is no change of the {chosen.name}."
            faults.append(Fault(f"fit[{i}]", what, f"Here: {', '.join(chosen.changes)}."))
    if faults:
        raise InputError(faults)
    made = _drawn(chosen, measurements, resolved, changes, onto)
    idle = without_effect(chosen.options, style, resolved)
    return replace(made, said=once((*made.said, *idle)))


def _idle_changes(part: Part, measurements: Measurements) -> list[str]:
    """The fit changes without which a block would draw the very same pieces."""
    if not part.fit or not part.block:
        return []
    block, said = get(part.block), []
    made = _drawn(block, measurements, part.style, part.fit, part.onto)
    for i, change in enumerate(part.fit):
        try:
            others = (*part.fit[:i], *part.fit[i + 1 :])
            without = _drawn(block, measurements, part.style, others, part.onto)
        except DraftError:
            continue
        if [*without.pieces] == [*made.pieces] and not compare(without.pieces, made.pieces):
            said.append(f"fit[{i + 1}] '{change.text}' moves nothing on this garment.")
    return said


def _drawn(
    chosen: Block,
    measurements: Measurements,
    resolved: Mapping[str, Any],
    changes: tuple[FitChange, ...],
    onto: Onto | None = None,
) -> Draft:
    """What the block draws on a sheet."""
    sheet = Sheet(measurements, resolved, changes, onto)
    chosen.draw(sheet)
    if onto and chosen.word:
        sheet.settle(chosen.word)
    there = onto.pieces if onto else {}
    own = notched({**there, **sheet.pieces}, sheet.seams)
    return Draft(
        chosen.name,
        measurements,
        resolved,
        changes,
        MappingProxyType({n: p for n, p in own.items() if n in sheet.pieces}),
        tuple(sheet.seams),
        tuple(sheet.corners),
        sheet.runs,
        tuple(sheet.girths),
        tuple(sheet.checks),
        tuple(sheet.steps),
        tuple(sheet.notes),
        MappingProxyType(sheet.figures),
        MappingProxyType(sheet.hangs_on),
        tasks=tasks_of(sheet.making, chosen.joins[0] if chosen.joins else "finish"),
        partners=tuple(sheet.partners),
    )
