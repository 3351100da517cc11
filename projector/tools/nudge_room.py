"""Nudging: buttons that move or tilt the chosen piece a little, for a hand without a keyboard.

A presenter's forward and back do it too: the way that was pressed last, and against it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from configs.errors import Fault, InputError
from projector.picture.marks import Item
from projector.session import pieces
from projector.session.registry import Row, Step
from projector.session.rules import under
from projector.session.state import State
from projector.tools.protocol import Pressed, Tool

Array = NDArray[np.float64]

_STEPS: Mapping[str, Step] = {
    **{way: pieces.nudge(way) for way in ("left", "right", "toward", "away")},
    "tilt-left": pieces.tilt(1.0),
    "tilt-right": pieces.tilt(-1.0),
}
_AGAINST = {
    "left": "right", "right": "left", "toward": "away", "away": "toward",
    "tilt-left": "tilt-right", "tilt-right": "tilt-left",
}  # fmt: skip
ROW = Row("nudge", (*_STEPS, "undo", "leave"), words={"leave": "Done"})


@dataclass(frozen=True, eq=False)
class NudgeTool(Pressed):
    """``way``: the step that was pressed last; ``before``: the tool to go back to."""

    way: str = "away"
    before: Tool | None = None

    @property
    def row(self) -> Row:
        """The strip's buttons."""
        return ROW

    @property
    def says(self) -> str:
        """What a press does."""
        way = self.way.replace("-", " ")
        return f"1 mm or 1° a press\nforward: {way}; back: against it\npress on another piece"

    def items(self, state: State) -> Sequence[Item]:
        """No marks of its own."""
        return ()

    def press(self, state: State, at: Array) -> State:
        """The piece that is pressed on is the next to be nudged."""
        a = state.work.view.cloth_from_table
        key = under(state.rules, state.work.lay, a[:2, :2] @ at + a[:2, 2])
        return state if key is None else state.but(chosen=key)

    def do(self, state: State, action: str) -> State | None:
        """A step; the last one again, or against it; leaving."""
        if action in _STEPS:
            return self.stepped(state, action)
        handler = DOES.get(action)
        return None if handler is None else handler(state, self)

    def stepped(self, state: State, way: str, *, against: bool = False) -> State:
        """The chosen piece a step that way, or against it."""
        state = _STEPS[_AGAINST[way] if against else way](state, False)
        return state.but(tool=replace(self, way=way))


def _leave(state: State, tool: NudgeTool) -> State:
    return state.but(tool=tool.before)


DOES: Mapping[str, Callable[[State, NudgeTool], State]] = {
    "go-on": lambda state, tool: tool.stepped(state, tool.way),
    "go-back": lambda state, tool: tool.stepped(state, tool.way, against=True),
    "nudge": _leave,
    "leave": _leave,
    "take": _leave,
}


def open_nudge(state: State) -> State:
    """Begin to nudge the chosen piece.

    Raises:
        InputError: none is chosen.
    """
    if state.work.of(state.chosen) is None:
        raise InputError(Fault("", "pick a piece first: press on it, or 'Next'."))
    return state.but(tool=NudgeTool(before=state.tool))
