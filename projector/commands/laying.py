"""Shared by `frame` and `project`: a docket that was never laid is laid before it is shown."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from drafting import Docket

QUICK_SECONDS = 5.0


def laid(docket: Docket, seconds: float | None = None) -> tuple[Docket, str]:
    """The docket with a lay, and a sentence when one had to be made ("" when it had one).

    Raises:
        drafting.InputError: no cloth is named.
        drafting.LayError: the pieces do not fit the cloth, or nothing could be laid.
    """
    from drafting.errors import Fault, InputError, LayError

    if docket.lay:
        docket.pieces()
        return docket, ""
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

    pieces = docket.pieces()
    lay = plan(
        pieces,
        docket.cloth,
        seconds=QUICK_SECONDS if seconds is None else seconds,
        distance_mm=docket.distance_mm,
        allowances={**docket.allowances, **docket.piece_allowances},
        quantity=docket.quantity,
    )
    if not lay.placements:
        raise LayError(Fault(where, "no piece fits on the cloth.", "Check the cloth's size."))
    note = (
        f"The docket had no lay: planned one, {lay.used_length_mm:.0f} mm of cloth. "
        "'chalkbeam lay' takes more time over it."
    )
    if lay.left_out:
        note += f" No room for {', '.join(lay.left_out)}."
    return docket.replace(lay=lay.docket_placements()), note


def at_the_table(docket: Path) -> bool:
    """Whether `project` has this docket open, or was cut off with changes not yet in its file."""
    from projector.journal import journal_path

    return journal_path(docket.resolve()).exists()
