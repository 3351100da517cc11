"""A tool: something that takes the pointer for a while.

A tool is a value that stands in the state; it answers what the table asks of it, and every answer
to an event is the next state. A new mode of the table is a class like this in a file of its own,
with its row of buttons, and an action in the registry that opens it (`opens`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from configs.errors import ChalkbeamError
from drafting.placement import Array
from projector.session.registry import Row, Step

if TYPE_CHECKING:
    from projector.picture.marks import Item
    from projector.session.state import State

Does = Mapping[str, Callable[["State", Any], "State | None"]]


@dataclass(frozen=True, eq=False)
class Tool:
    """All that the table asks of a tool; as it stands, of one that only answers presses.

    ``ROW``: its buttons; ``DOES``: the actions that it takes over, each from a state and the tool
    to the next state, or to None for the table's own; ``before``: the tool to go back to.
    """

    ROW: ClassVar[Row]
    DOES: ClassVar[Does] = {}

    before: Tool | None = field(default=None, kw_only=True)

    @property
    def row(self) -> Row:
        """The strip's buttons now."""
        return self.ROW

    @property
    def in_hand(self) -> bool:
        """Whether something is being dragged: the strip stays where it is until it is let go."""
        return False

    def says(self, state: State) -> str:
        """What she is to do now, for the strip, by line breaks into parts, the first ones first."""
        raise NotImplementedError

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Emphasis and notes of a copy where they differ from the mode's."""
        return None

    def clear_of(self, state: State) -> Array:
        """(N, 2) table mm to keep the strip off."""
        return np.zeros((0, 2))

    def items(self, state: State) -> Sequence[Item]:
        """Its marks of light."""
        return ()

    def press(self, state: State, at: Array) -> State:
        """The pointer was pressed at (2,) table mm."""
        raise NotImplementedError

    def do(self, state: State, action: str) -> State | None:
        """After an action that it takes over; None for the table's own."""
        handler = self.DOES.get(action)
        return None if handler is None else handler(state, self)

    def move(self, state: State, at: Array) -> State:
        """The pointer is over (2,) table mm."""
        return state

    def let_go(self, state: State) -> State:
        """The pointer was let go."""
        return state

    def typed(self, state: State, name: str) -> State | None:
        """A key was pressed, by its name; None where it means what it always means."""
        return None

    def retaken(self, state: State) -> State:
        """In use again, after the view was set by other means."""
        return state


def leave(state: State, tool: Tool) -> State:
    """Back to the tool before."""
    return state.but(tool=tool.before)


def used(state: State, open_tool: Callable[[State], State]) -> State:
    """With a tool opened; what it refuses is said on the table."""
    state = state.but(plan=None)
    try:
        return open_tool(state)
    except ChalkbeamError as error:
        return state.tell(str(error.faults[0]), 12.0)


def opens(open_tool: Callable[[State], State]) -> Step:
    """The action that opens a tool."""
    return lambda state, large: used(state, open_tool)
