"""In which order a garment is sewn: each block gives its sentences, the trade's rule orders the whole.

Common practice, no source: small things and darts while the pieces lie flat; shoulders before the
collar or the facing, which lie open until the sides are closed; a set-in sleeve goes into a closed
armhole; a skirt is whole before it meets the bodice; the opening is closed over both; what ends at
the opening is finished after it; hems come last, when it has hung.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

MAKE_UP = "Making up, in this order"
STAGES = ("flat", "darts", "seams", "shoulder", "neckline", "side", "sleeve", "armhole", "skirt", "waist", "closing", "finish", "hem")  # fmt: skip


_LINES, _LETTERS = 22, 36  # of a panel beside its title, with some to spare


@dataclass(frozen=True)
class Task:
    """A sentence of how a garment is made up; ``stage``: one of `STAGES`."""

    stage: str
    text: str


def tasks_of(sentences: Iterable[str | Task], otherwise: str) -> tuple[Task, ...]:
    """Sentences as tasks; ``otherwise``: the stage of those that name none."""
    return tuple(t if isinstance(t, Task) else Task(otherwise, t) for t in sentences if t)


def with_part(
    tasks: Sequence[Task], part: Sequence[Task], joins: Iterable[str]
) -> tuple[Task, ...]:
    """A garment's tasks with those of a part: what the part is sewn to is finished by it now, and where
    it closes what was closed before, that is done once."""
    settled = {*joins, *(t.stage for t in part if t.stage == "closing")}
    return (*(t for t in tasks if t.stage not in settled), *part)


def in_order(tasks: Iterable[Task]) -> tuple[str, ...]:
    """The sentences as they are sewn."""
    return tuple(t.text for t in sorted(tasks, key=lambda t: STAGES.index(t.stage)))


def pages(sentences: Sequence[str]) -> list[list[str]]:
    """The sentences numbered, in as many lists as they take in the column of a step's panel."""
    out: list[list[str]] = [[]]
    room = _LINES
    for i, text in enumerate(sentences, 1):
        lines = math.ceil((len(text) + 4) / _LETTERS)
        if lines > room and out[-1]:
            out.append([])
            room = _LINES
        out[-1].append(f"{i}. {text}")
        room -= lines
    return out
