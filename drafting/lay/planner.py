"""Plan a lay: a valid one at once, better ones while the person watches, the best one kept.

The only entrance to the planners. Each candidate is checked exactly before it replaces the last.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from drafting.cloth import Cloth
from drafting.lay.check import sound
from drafting.lay.first import State, first_plan
from drafting.lay.job import Job, make_job
from drafting.lay.model import LaidPiece, Lay
from drafting.piece import Piece

Progress = Callable[[Lay], Any]


def plan(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    cloth: Cloth,
    seconds: float = 10.0,
    locked: Iterable[Any] = (),
    progress: Progress | None = None,
    distance_mm: float = 0.0,
    allowances: Mapping[str, Any] | None = None,
    quantity: int | Mapping[str, int] = 1,
) -> Lay:
    """Lay pieces on cloth.

    ``seconds``: how long to look for better lays; ``locked``: placements (or laid pieces, or
    mappings with piece, copy, at, turn, mirrored) that stay where they are; ``progress``: called
    with every better lay, answers False to stop; ``distance_mm``: between cutting lines;
    ``allowances``: edge → mm, ``all`` for the rest, piece → such a mapping; none by default.

    Raises:
        LayError: pieces, cloth or locked placements that cannot be used, all named at once.
    """
    began = time.monotonic()
    job = make_job(
        pieces,
        cloth,
        distance_mm=distance_mm,
        allowances=allowances,
        quantity=quantity,
        locked=locked,
    )
    state = first_plan(job)
    lay = lay_of(job, state, time.monotonic() - began)
    if progress is not None:
        progress(lay)
    return lay


def laid_pieces(job: Job, state: State) -> list[LaidPiece]:
    """Locked pieces first, then the items in their order."""
    out = list(job.locked)
    for i, item in enumerate(job.items):
        if state.stance[i] >= 0:
            stance = job.kinds[item.kind].stances[state.stance[i]]
            out.append(job.laid(item, stance, state.at[i]))
    return out


def lay_of(job: Job, state: State, seconds: float, left: float = 0.0, planner: str = "") -> Lay:
    """The lay of a state."""
    missing = tuple(job.key(item) for i, item in enumerate(job.items) if state.stance[i] < 0)
    return Lay(
        tuple(laid_pieces(job, state)),
        job.cloth,
        job.distance,
        missing,
        job.notes,
        seconds,
        left,
        planner,
        job,
    )


def is_sound(job: Job, state: State) -> bool:
    """Whether a state passes the exact check."""
    return sound(laid_pieces(job, state), job.cloth, job.distance, job)
