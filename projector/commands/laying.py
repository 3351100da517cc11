"""Shared by `frame` and `project`: a docket that was never laid is laid before it is shown."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from drafting import Docket
    from projector.journal import Left
    from projector.planning import Noted

QUICK_SECONDS = 5.0


def laid(docket: Docket, seconds: float | None = None) -> tuple[Docket, str]:
    """The docket with a lay, and what to say: that one had to be made, and of its allowances.

    "" when it had a lay and its allowances leave no doubt.

    Raises:
        InputError: no cloth is named, or a docket that shares it is of no use.
        LayError: the pieces do not fit the cloth, or nothing could be laid.
    """
    from configs.errors import Fault, InputError, LayError

    if docket.lay:
        docket.pieces()
        return docket, " ".join([*docket.allowance_cautions(), *sharing_notes(docket)])
    where = str(docket.path or "docket")
    if docket.cloth is None:
        raise InputError(
            Fault(
                f"{where}: cloth",
                "no cloth is named, so nothing can be laid.",
                "Add 'cloth: {width: 1400 mm, length: 2 m, fold: lengthwise}'.",
            )
        )
    from drafting.lay import plan
    from projector.shares import rules_of, together

    joined = together([docket])
    lay = plan(
        joined.pieces,
        docket.cloth,
        seconds=QUICK_SECONDS if seconds is None else seconds,
        locked=joined.still,
        rules=rules_of(joined, docket.distance_mm),
    )
    own = tuple(p for p in lay.docket_placements() if joined.own(p.piece))
    if not own:
        raise LayError(Fault(where, "no piece fits on the cloth.", "Check the cloth's size."))
    note = (
        f"The docket had no lay: planned one, {lay.used_length_mm:.0f} mm of cloth. "
        "'chalkbeam lay' takes more time over it."
    )
    if lay.left_out:
        note += f" No room for {', '.join(lay.left_out)}."
    note = " ".join([note, *joined.said, *docket.allowance_cautions()])
    docket = docket.replace(lay=own)
    return docket, " ".join([note, *sharing_notes(docket)])


def kept_lay(docket: Docket) -> tuple[Docket, str]:
    """As `laid`, and the lay that had to be made is in the docket's file.

    The file is read again before it is written: an edit made meanwhile stays, and where the plan
    does not suit it, it is made anew.

    Raises:
        ChalkbeamError: as `laid`; or the docket is edited again and again.
    """
    from configs.errors import Fault, InputError
    from drafting import Docket
    from projector.hold import alone

    for _ in range(3):
        made, note = laid(docket)
        if docket.lay or docket.path is None:
            return made, note
        with alone(docket.path):
            docket = Docket.load(docket.path)
            if not docket.lay and not unlike(made, docket):
                docket.replace(lay=made.lay).save()
                return Docket.load(docket.path), note  # type: ignore[arg-type]  # it was loaded
    raise InputError(
        Fault(str(docket.path), "was changed again and again while it was laid.", "Try again.")
    )


def unlike(planned: Docket, now: Docket) -> list[str]:
    """What a plan hangs on and is not as it was: names of pieces, "cloth", "distance", "quantity"."""
    from drafting.piece_entry import entry_of

    said = [
        key
        for key, same in (
            ("cloth", planned.cloth == now.cloth),
            ("distance", planned.distance_mm == now.distance_mm),
            ("quantity", planned.quantity == now.quantity),
        )
        if not same
    ]
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


def noted_plan(docket: Docket, left: Left) -> Noted:
    """What was left for her to decide, as the table shows a plan."""
    from projector.commands.lay_picture import docket_lay
    from projector.planning import Found, Noted

    lay = docket_lay(docket.replace(lay=left.lay))
    found = Found(left.lay, lay.used_length_mm, lay.efficiency, ())
    return Noted(found, left.settle)


def sharing_notes(docket: Docket) -> list[str]:
    """Where pieces of a docket lie on those of another that shares its cloth, in sentences."""
    from shapely.geometry import Polygon

    from configs.errors import ChalkbeamError
    from drafting import Docket
    from projector.commands.lay_picture import docket_lay

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
        on = [
            f"{p.key} on its {q.key}"
            for p in own
            for q in theirs
            if Polygon(p.outline_mm).intersection(Polygon(q.outline_mm)).area > 1.0
        ]
        if on:
            said.append(
                f"{name} shares this cloth, and there lies {', '.join(on)}: lay one of them anew, "
                f"'chalkbeam lay {docket.path} --afresh'."
            )
    return said


def taken(paths: Sequence[Path], *, alone: bool) -> tuple[list[Docket], list[str]]:
    """Dockets as the table left them, with what its journals still hold; and what to say of it.

    Args:
        alone: to be written to: each is kept from every table until the command ends.

    Raises:
        InputError: one is open at a table (every such one is named), or has faults.
    """
    import click

    from configs.errors import ChalkbeamError, Fault, InputError
    from projector.hold import held
    from projector.shares import as_noted

    if alone:
        faults: list[Fault] = []
        for path in dict.fromkeys(p.resolve() for p in paths):
            if not path.is_file():
                continue  # told by its own name below
            try:
                click.get_current_context().with_resource(held(path))
            except ChalkbeamError as error:
                faults += error.faults
        if faults:
            raise InputError(faults)
    return as_noted(paths)
