"""Callouts: what a piece has to say and has no room for, beside it, with a line to it.

Between the state and the compositor. A piece's label keeps inside its outline; where its name, what is
wrong with it, or that it is locked or traced finds no room there, it stands on free cloth near by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from drafting.placement import Array, carry
from projector.lettering import LINE_PITCH, text_width
from projector.picture import room
from projector.picture.faces import LEAST_TEXT_MM, text_block
from projector.picture.marks import Item, polyline, ring, stepped
from projector.session import words

if TYPE_CHECKING:
    from drafting.placement import Placement
    from projector.session.state import State


MOST = 12  # more would hide the work; those in trouble first
_LETTERS_MM = LEAST_TEXT_MM + 0.5
_CLEAR_MM = 4.0


@dataclass(eq=False)
class Callouts:
    """Callouts of a state; made again only when what they stand beside has changed."""

    _key: Any = None
    _made: tuple[tuple[Item, Array], ...] = ()

    def of(self, state: State, keep_off: Sequence[Array]) -> Sequence[tuple[Item, Array]]:
        """(item, ground (4, 2) table mm) of each; ``keep_off``: quads (4, 2) table mm."""
        wanted = _wanted(state)
        stage = state.stage
        key = (
            wanted, tuple(state.work.placed()), stage.view, stage.look, id(stage.lens),
            id(stage.faces), tuple(q.tobytes() for q in keep_off),
        )  # fmt: skip
        if key != self._key:
            self._key, self._made = key, tuple(_placed(state, wanted, keep_off))
        return self._made


def _wanted(state: State) -> tuple[tuple[Placement, tuple[str, ...]], ...]:
    """Copies and the words that found no room in them; in trace of the current piece alone."""
    found = []
    for p in state.work.placed():
        if p.key == state.loose or (state.mode == "trace" and p.key != state.current):
            continue
        if state.stage.unlit(p) == "wholly":
            continue  # an arrow at the edge has its name
        look = words.shown(state, p)
        missing = state.stage.without_room(p, look)
        if missing:
            found.append((not look.trouble, p, missing))
    found.sort(key=lambda x: x[0])
    return tuple((p, missing) for _, p, missing in found[:MOST])


def _placed(
    state: State,
    wanted: Sequence[tuple[Placement, tuple[str, ...]]],
    keep_off: Sequence[Array],
) -> list[tuple[Item, Array]]:
    stage = state.stage
    # close enough that no cell is jumped over
    lines = [(stepped(ring(stage.ring(p)), 6.0), 1.0) for p in state.work.placed()]
    taken = list(keep_off)
    made = []
    for p, said in wanted:
        wide = max(text_width(line, _LETTERS_MM) for line in said) + 2 * _CLEAR_MM
        tall = _LETTERS_MM * (1.0 + LINE_PITCH * (len(said) - 1)) + 2 * _CLEAR_MM
        rough = stage.ring(p)
        middle = 0.5 * (rough.min(axis=0) + rough.max(axis=0))
        corner = room.place(
            stage.lens, stage.read, (wide, tall), middle,
            lines=lines, keep_off=taken,
        )  # fmt: skip
        if corner is None:
            continue
        frame = stage.reading_frame(corner)
        box = polyline((0, 0), (wide, 0), (wide, tall), (0, tall))
        goal = frame[:2, :2].T @ (middle - frame[:2, 2])
        foot = np.clip(goal, (0.0, 0.0), (wide, tall))
        text = text_block(said, _LETTERS_MM, (wide / 2, tall / 2))
        marks = [stage.mark("text", text)]
        if float(np.hypot(*(goal - foot))) > _CLEAR_MM:
            marks.append(stage.mark("guide", [np.array([foot, goal])]))
        ground = carry(frame, box)
        taken.append(ground)
        made.append((Item(f"callout:{p.key}", tuple(marks), frame), ground))
    return made
