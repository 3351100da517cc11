"""Lays for dockets: planned, written into each as it is then, and made where there is none yet.

Between `drafting.lay`, which plans, and what is shown or written: `lay`, `frame`, `project` and the
demo. A docket is read again before a lay is written into it: an edit made meanwhile stays.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from configs.errors import ChalkbeamError, Fault, InputError, LayError
from configs.files import path_from
from configs.units import format_length, length_text

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.cloth import Cloth
    from drafting.lay.advice import Choice, Leftover, Purchase
    from drafting.lay.folds import Tried
    from drafting.lay.laid import LaidPiece
    from drafting.lay.model import Lay
    from drafting.lay.rules import Rules
    from drafting.piece import Piece
    from drafting.placement import Placement
    from projector.session.journal import Left
    from projector.session.planning import Planning
    from projector.session.shares import Together

QUICK_SECONDS = 5.0
_MOST_COMPARED = 60  # pieces; with more each width takes seconds, so she is asked (--compare)
_PIECING_S = 0.6  # of a quick plan, to see what a join saves
_PIECING_SHARE = 0.5  # of the time, for all of them
_WORTH_A_JOIN_MM = 10.0
_PLAN_SHARE = 0.7  # of the time for a short lay, the rest for one in fewer places
_NO_CLOTH = "no cloth is named, so nothing can be laid."
_NAME_ONE = "Add 'cloth: {width: 1400 mm, length: 2 m, fold: lengthwise}'."


def laid(docket: Docket, seconds: float | None = None) -> tuple[Docket, str]:
    """The docket with a lay, and what to say: that one had to be made, and of its allowances.

    "" when it had a lay and its allowances leave no doubt.

    Raises:
        InputError: no cloth is named, or a docket that shares it is of no use.
        LayError: the pieces do not fit the cloth, or nothing could be laid.
    """
    if docket.lay:
        docket.pieces()
        return docket, " ".join([*docket.allowance_cautions(), *sharing_notes(docket)])
    where = str(docket.path or "docket")
    if docket.cloth is None:
        raise InputError.of(f"{where}: cloth", _NO_CLOTH, _NAME_ONE)
    from projector.session.shares import rules_of, together

    joined = together([docket])
    time = QUICK_SECONDS if seconds is None else seconds
    rules = rules_of(joined, docket.distance_mm)
    lay = _best(joined.pieces, docket.cloth, time, joined.still, rules)[0]
    own = tuple(p for p in lay.docket_placements() if joined.own(p.piece))
    if not own:
        raise LayError.of(where, "no piece fits on the cloth.", "Check the cloth's size.")
    from drafting.docket.telling import told_in

    note = (
        f"The docket had no lay: planned one, {format_length(lay.used_length_mm, told_in(docket))} of cloth. "
        "'chalkbeam lay' takes more time over it."
    )
    if lay.left_out:
        note += f" No room for {', '.join(lay.left_out)}."
    note = " ".join([note, *joined.said, *docket.allowance_cautions()])
    docket = docket.replace(lay=own, cloth=lay.cloth)
    return docket, " ".join([note, *sharing_notes(docket)])


def kept_lay(docket: Docket) -> tuple[Docket, str]:
    """As `laid`, and the lay that had to be made is in the docket's file.

    The file is read again before it is written: an edit made meanwhile stays, and where the plan
    does not suit it, it is made anew.

    Raises:
        ChalkbeamError: as `laid`; or the docket is edited again and again.
    """
    from drafting import Docket
    from projector.session.hold import alone

    for _ in range(3):
        made, note = laid(docket)
        if docket.lay or docket.path is None:
            return made, note
        with alone(docket.path):
            docket = Docket.load(docket.path)
            if not docket.lay and not unlike(made, docket):
                docket.replace(lay=made.lay, cloth=made.cloth).save()
                return Docket.load(docket.path), note  # type: ignore[arg-type]  # it was loaded
    what = "was changed again and again while it was laid."
    raise InputError.of(str(docket.path), what, "Try again.")


def unlike(planned: Docket, now: Docket) -> list[str]:
    """What a plan hangs on and is not as it was: names of pieces, "cloth", "distance", "quantity"."""
    from drafting.lay.folds import as_asked
    from drafting.piece_entry import entry_of

    cloths = [None if d.cloth is None else as_asked(d.cloth) for d in (planned, now)]
    same = {
        "cloth": cloths[0] == cloths[1],
        "distance": planned.distance_mm == now.distance_mm,
        "quantity": planned.quantity == now.quantity,
    }
    said = [key for key, holds in same.items() if not holds]
    before, after = planned.pieces(), now.pieces()
    for name in dict.fromkeys((*before, *after)):
        one, other = before.get(name), after.get(name)
        if (
            one is None
            or other is None
            or entry_of(one) != entry_of(other)
            or planned.allowances_for(name) != now.allowances_for(name)
        ):
            said.append(name)
    return said


def noted_plan(docket: Docket, left: Left) -> Planning:
    """What was left for her to decide, as the table shows a plan."""
    from projector.lay_picture import docket_lay
    from projector.session.planning import Found, Planning

    lay = docket_lay(docket.replace(lay=left.lay))
    found = Found(left.lay, lay.used_length_mm, lay.efficiency)
    told = "the table's place, before the edit"
    return Planning(docket, (), best=found, done=True, told=told, decided=left.settle)


def sharing_notes(docket: Docket) -> list[str]:
    """Where pieces of a docket lie on or too near those that share its cloth, in sentences."""
    from drafting import Docket
    from projector.lay_picture import docket_lay

    if not docket.shares or docket.path is None:
        return []
    said = []
    own = docket_lay(docket).placements
    for name in docket.shares:
        try:
            other = Docket.load(docket.path.parent / name)
            if other.cloth is None:
                other = other.replace(cloth=docket.cloth)
            theirs = docket_lay(other).placements if other.placed() else ()
        except ChalkbeamError as error:
            said.append(f"{name} shares this cloth and cannot be read: {error.faults[0]}")
            continue
        on = _on_each_other(own, theirs, docket.rules)
        if on:
            said.append(
                f"{name} shares this cloth, and there lies {', '.join(on)}: lay one of them anew, "
                f"'chalkbeam lay {docket.path} --afresh'."
            )
    return said


def _on_each_other(
    own: Sequence[LaidPiece], theirs: Sequence[LaidPiece], rules: Rules
) -> list[str]:
    """Copies of one garment on or too near those of another, in words."""
    from drafting.cloth import Cloth
    from drafting.lay import Judge

    kept = {p.key for p in own}
    others = [dataclasses.replace(q, piece=f"its {q.piece}") for q in theirs]
    told = []
    for problem in Judge({}, Cloth(), rules, bounded=False).between([*own, *others]):
        one, two = sorted(problem.keys, key=lambda key: key not in kept)
        if one in kept and two not in kept:
            how = "on" if problem.kind == "overlap" else f"nearer than {rules.distance_mm:g} mm to"
            told.append(f"{one} {how} {two}")
    return told


@dataclass(frozen=True)
class Planned:
    """A lay of all that shares a cloth, and what was reckoned from it.

    ``purchase``: None for cloth that she has; ``widths``: what other widths and folds would need;
    ``tried``: every way to fold it that was tried, where the docket leaves that open;
    ``would_help``: sentences, when something found no room; ``problems``: what is wrong with it.
    """

    lay: Lay
    distance_mm: float
    purchase: Purchase | None
    leftover: Leftover
    would_help: tuple[str, ...]
    widths: tuple[Choice, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]
    tried: tuple[Tried, ...] = ()


def planned(
    dockets: Sequence[Docket],
    joined: Together,
    *,
    seconds: float,
    distance_mm: float | None = None,
    afresh: bool = False,
    compare: bool | None = None,
    sold_by: str = "cm",
    partial: bool = True,
    beam_mm: tuple[float, float] | None = None,
    progress: Callable[[Lay], bool] | None = None,
) -> Planned:
    """Plan the lay of dockets that are laid together.

    Args:
        dockets: those that are laid now, ``joined`` with what shares their cloth.
        distance_mm: between two cutting lines; None for the first docket's.
        afresh: do not start from the lay so far; what is locked or traced stays in any case.
        compare: also try other widths and folds; None for where that is of use.
        sold_by: cm or yd, in which cloth is bought.
        beam_mm: what the light reaches along and across: a lay that is cut in fewer places is taken
            where it needs no more cloth.
        partial: whether a lay in which something found no room is of use.
        progress: told of every better lay; False ends it.

    Raises:
        InputError: no cloth is named.
        LayError: something found no room, and that is of no use; with what would help.
    """
    from drafting.lay import advice
    from drafting.strips import joining_words
    from projector.session.shares import rules_of, together

    cloth, pieces, where = joined.cloth, joined.pieces, f"{dockets[0].path or 'docket'}: cloth"
    if cloth is None:
        raise InputError.of(where, _NO_CLOTH, _NAME_ONE)
    apart = dockets[0].distance_mm if distance_mm is None else distance_mm
    rules = rules_of(joined, apart)
    still, start = _placements(dockets, joined.prefixes, afresh)
    fixed = [*still, *joined.still]
    if cloth.joins and not fixed and len(dockets) == 1:
        began = time.monotonic()
        docket = _pieced(dockets[0], seconds)
        joined = together([docket])
        assert joined.cloth is not None
        cloth, pieces, rules = joined.cloth, joined.pieces, rules_of(joined, apart)
        start = [p for p in start if p.piece in pieces]
        seconds = max(0.2, seconds - (time.monotonic() - began))
    share = _PLAN_SHARE if beam_mm is not None else 1.0
    made, tried = _best(pieces, cloth, share * seconds, fixed, rules, start, progress)
    if beam_mm is not None and not made.interrupted and not fixed:
        from drafting.lay.order import with_fewer_stops

        fewer = with_fewer_stops(made, beam_mm, (1.0 - share) * seconds)
        said = tuple(dict.fromkeys((*made.notes, *fewer.notes)))
        made = dataclasses.replace(fewer, notes=said) if fewer is not made else made
    cloth = made.cloth
    bolt = cloth.length_mm is None and cloth.outline is None
    purchase = advice.to_buy(made, sold_by) if bolt else None
    bought = None if purchase is None else cloth.folding.lying_length(purchase.length_mm)
    quick = min(1.0, max(seconds, 0.05))  # what is asked besides is not looked at for longer
    helps: Sequence[str] = ()
    if made.left_out:
        helps = advice.what_would_help(pieces, cloth, made, seconds=quick, rules=rules)
    if made.left_out and not partial:
        what = f"there is no room for {', '.join(made.left_out)}; nothing was changed."
        fault = Fault(where, what, "'--partial' keeps a lay of the rest.")
        raise LayError([fault, *(Fault("", line) for line in helps)])
    few = len(made.placements) + len(made.left_out) <= _MOST_COMPARED
    if compare is None:
        compare_now = cloth.outline is None and few and not made.interrupted
    else:
        compare_now = compare
    # cloth with a length is hers: only its folding is still to be chosen
    widths = advice.WIDTHS_MM[sold_by] if bolt or compare else ()
    choices: Sequence[Choice] = ()
    opening = None
    if compare_now:
        choices = advice.compare_widths(
            pieces, cloth, seconds=3.0 * quick, widths_mm=widths, rules=rules
        )
    if compare_now and len(dockets) == 1 and not joined.others and not cloth.whole:
        opening = advice.worth_opening(pieces, cloth, made, seconds=quick, rules=rules)
    notes = [*cloth.contradictions(), *_across_notes(made), *_fold_notes(made)]
    notes += joining_words(cloth.pieced, pieces)
    if opening is not None:
        names = ", ".join(opening.pieces)
        notes.append(
            f"Laid whole in one layer instead of on the fold, {names} would save "
            f"{length_text(opening.saved_mm)} of cloth: say 'opened: [{names}]' under 'cloth', or 'whole: allowed'."
        )
    return Planned(
        made, apart, purchase, advice.leftover(made, bought), tuple(helps), tuple(choices), tuple(made.problems()),
        tuple(notes), tried,
    )  # fmt: skip


def _pieced(docket: Docket, seconds: float) -> Docket:
    """The docket with its strips in as few parts as take the least cloth, by quick plans.

    First all strips with the same number of joins, then each of them with fewer.

    Raises:
        LayError: a piece named under 'joins' is no strip.
    """
    from projector.session.shares import rules_of, together

    assert docket.cloth is not None
    # its lay may name parts that there are then no more
    bare = docket.replace(cloth=dataclasses.replace(docket.cloth, pieced={}), lay=(), traced=())
    strips = bare.strips()
    each = min(_PIECING_S, _PIECING_SHARE * seconds / (sum(strips.values()) + 1))
    known: dict[tuple[tuple[str, int], ...], tuple[float, float]] = {}

    def taken(joins: Mapping[str, int]) -> tuple[float, float]:
        """How much finds no room, and the length of cloth."""
        key = tuple(sorted(joins.items()))
        if key not in known:
            joined = together([_with_joins(bare, joins)])
            rules = rules_of(joined, docket.distance_mm)
            lay = _best(joined.pieces, joined.cloth, each, (), rules, quietly=True)[0]  # type: ignore[arg-type]
            known[key] = (float(len(lay.left_out)), lay.cloth_length_mm)
        return known[key]

    def better(one: tuple[float, float], two: tuple[float, float], by: float) -> bool:
        return one[0] < two[0] or (one[0] == two[0] and one[1] < two[1] - by)

    best = dict.fromkeys(strips, 0)
    for many in range(1, max(strips.values(), default=0) + 1):
        joins = {name: min(many, most) for name, most in strips.items()}
        try:
            if better(taken(joins), taken(best), _WORTH_A_JOIN_MM):
                best = joins
        except LayError:
            if many == 1:
                raise
            break  # the parts would be too short
    for name in best:
        while best[name]:
            fewer = {**best, name: best[name] - 1}
            if better(taken(best), taken(fewer), _WORTH_A_JOIN_MM):
                break
            best = fewer
    return _with_joins(bare, best)


def _with_joins(docket: Docket, joins: Mapping[str, int]) -> Docket:
    made = {name: many for name, many in joins.items() if many}
    assert docket.cloth is not None
    return docket.replace(cloth=dataclasses.replace(docket.cloth, pieced=made))


def _best(
    pieces: Mapping[str, Piece],
    cloth: Cloth,
    seconds: float,
    fixed: Sequence[Placement],
    rules: Rules,
    start: Sequence[Placement] = (),
    progress: Callable[[Lay], bool] | None = None,
    *,
    quietly: bool = False,
) -> tuple[Lay, tuple[Tried, ...]]:
    """The lay on cloth folded as the docket asks, and what the ways to fold it take where it asks none.

    What is fixed lies on the cloth as it is folded now, so then it stays folded so. ``quietly``: in
    this process alone.
    """
    from drafting.lay import Effort, plan
    from drafting.lay.folds import best_fold, ways_as_asked

    effort = Effort(workers=0) if quietly else None
    open_ways = () if fixed else ways_as_asked(pieces, cloth, rules)
    if len(open_ways) < 2:
        return plan(
            pieces, cloth, seconds, fixed, progress, start=start, rules=rules, effort=effort
        ), ()
    found = best_fold(
        pieces, cloth, seconds, among=open_ways, rules=rules, progress=progress,
        start=[p for p in start if not p.aside], effort=effort,
    )  # fmt: skip
    return found.lay, found.tried


def _fold_notes(made: Lay) -> list[str]:
    """How to fold a cloth with a pattern, so that both layers are cut at the same place of it.

    Common practice, no source.
    """
    cloth = made.cloth
    if not cloth.folded or not (cloth.repeat_length_mm or cloth.repeat_width_mm):
        return []
    if all(p.layers == 1 for p in made.placements):
        return []
    said = ["Pin the pattern of the two layers on each other, stripe on stripe, before you cut."]
    across = cloth.fold == "crosswise" and cloth.repeat_length_mm
    if across or (cloth.fold != "crosswise" and cloth.repeat_width_mm):
        said.append("Fold it on the middle of a stripe or check, so that both layers run alike.")
    return said


def _across_notes(made: Lay) -> list[str]:
    border = made.cloth.border.edges if made.cloth.border is not None else {}
    keys = [k for k in made.across_grain() if k.rsplit("/", 1)[0] not in border]
    if not keys:
        return []
    lie = "lies" if len(keys) == 1 else "lie"
    return [
        f"{', '.join(keys)} {lie} across the grain, to save cloth. Where it must run along "
        "(less stretch; a stripe), say 'nap: two-way' under 'cloth'."
    ]


def _placements(
    dockets: Sequence[Docket], names: Sequence[str], afresh: bool
) -> tuple[list[Placement], list[Placement]]:
    """Placements that must stay (locked or traced), and those to start from."""
    locked: list[Placement] = []
    start: list[Placement] = []
    for prefix, one in zip(names, dockets, strict=True):
        for p in one.placed():
            named = dataclasses.replace(p, piece=prefix + p.piece)
            if p.locked or p.key in one.traced:
                locked.append(named)
            elif not afresh:
                start.append(named)
    return locked, start


def write_plan(dockets: Sequence[Docket], prefixes: Sequence[str], made: Lay) -> list[str]:
    """Write the plan into every docket, each read again before; what to say of it.

    Raises:
        InputError: what was edited meanwhile leaves no sense in the plan; that docket is as it was.
    """
    said = []
    for prefix, one in zip(prefixes, dockets, strict=True):
        there = _in_parts_of(one, made.cloth).pieces()
        own = [
            dataclasses.replace(p, piece=p.piece[len(prefix) :])
            for p in made.docket_placements()
            if p.piece.startswith(prefix) and p.piece[len(prefix) :] in there
        ]
        said += _write(one, own, dockets, made.cloth)
    return said


def _in_parts_of(docket: Docket, laid_on: Cloth) -> Docket:
    """The docket with its strips in the parts that they were laid in."""
    if docket.cloth is None or docket.cloth.pieced == laid_on.pieced:
        return docket
    cloth = dataclasses.replace(docket.cloth, pieced=laid_on.pieced)
    return docket.replace(cloth=cloth, lay=(), traced=())


def _write(
    one: Docket, own: Sequence[Placement], dockets: Sequence[Docket], laid_on: Cloth
) -> list[str]:
    """Put the plan of one docket into its file as it is now; what to say of what came meanwhile.

    Raises:
        InputError: what was edited meanwhile leaves no sense in the plan; nothing is written.
    """
    from drafting.lay.folds import as_asked
    from projector.session.hold import alone
    from projector.session.journal import forget, is_stale, with_noted
    from projector.session.merge import Kept

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
            why = f"was changed while it was laid ({', '.join(whole)}): the plan is not written."
            raise InputError.of(str(path), why, "The change is kept; lay it again.")
        kept = {p.key: p for p in now.lay}
        # what was traced stays put but is no more locked than she made it
        lay = {
            p.key: dataclasses.replace(p, locked=p.key in kept and kept[p.key].locked)
            for p in own
            if p.piece not in changed
        }
        there = _in_parts_of(now, laid_on).pieces()
        for p in now.lay:
            if p.key not in lay and (p.aside or p.piece in changed) and p.piece in there:
                lay[p.key] = p
        noted = not is_stale(path)
        cloth = now.cloth
        if cloth is not None and as_asked(cloth) == as_asked(laid_on):
            cloth = dataclasses.replace(
                cloth.folded_as(laid_on.folding), opened=laid_on.opened, pieced=laid_on.pieced
            )
        now.replace(lay=tuple(lay.values()), shares=_shares(now, dockets), cloth=cloth).save()
        if noted:
            forget(path)  # what the table had noted is in the docket now
    if not changed:
        return []
    came = [n for n in changed if n in there]
    return [f"{', '.join(came or changed)} changed in {path.name} while it was laid: lay it again."]


def _shares(one: Docket, dockets: Sequence[Docket]) -> tuple[str, ...]:
    """What a docket notes of those it was laid with, beside what it noted before."""
    if one.path is None:
        return one.shares
    folder = one.path.resolve().parent
    known = {one.path.resolve(), *((folder / n).resolve() for n in one.shares)}
    new = [d.path.resolve() for d in dockets if d.path]
    return (*one.shares, *(path_from(folder, path) for path in new if path not in known))
