"""Nudging: buttons that move or tilt the chosen piece a little, for a hand without a keyboard.

A presenter's forward and back do it too: the way that was pressed last, and against it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from configs.errors import InputError
from drafting.placement import Array
from projector.session import pieces
from projector.session.registry import Row, Step
from projector.session.state import State
from projector.tools.protocol import Tool, leave

_STEPS: Mapping[str, Step] = {
    **{way: pieces.nudge(way) for way in ("left", "right", "toward", "away")},
    "tilt-left": pieces.tilt(1.0),
    "tilt-right": pieces.tilt(-1.0),
}
_AGAINST = {
    "left": "right", "right": "left", "toward": "away", "away": "toward",
    "tilt-left": "tilt-right", "tilt-right": "tilt-left",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class NudgeTool(Tool):
    """``way``: the step that was pressed last."""

    ROW = Row("nudge", (*_STEPS, "undo", "leave"), words={"leave": "Done"})

    way: str = "away"

    def says(self, state: State) -> str:
        """What a press does."""
        way = self.way.replace("-", " ")
        return f"1 mm or 1° a press\nforward: {way}; back: against it\npress on another piece"

    def press(self, state: State, at: Array) -> State:
        """The piece that is pressed on is the next to be nudged."""
        key = state.under(at)
        return state if key is None else state.but(chosen=key)


def _step(way: str) -> Callable[[State, NudgeTool], State]:
    return lambda state, tool: _STEPS[way](state, False).but(tool=replace(tool, way=way))


NudgeTool.DOES = {
    **{way: _step(way) for way in _STEPS},
    "go-on": lambda state, tool: _STEPS[tool.way](state, False),
    "go-back": lambda state, tool: _STEPS[_AGAINST[tool.way]](state, False),
    **dict.fromkeys(("nudge", "leave", "take"), leave),
}


def open_nudge(state: State) -> State:
    """Begin to nudge the chosen piece.

    Raises:
        InputError: none is chosen.
    """
    if state.work.of(state.chosen) is None:
        raise InputError.of("", "pick a piece first: press on it, or 'Next'.")
    return state.but(tool=NudgeTool(before=state.tool))
