"""The protocol of a tool: something that takes the pointer for a while.

A tool is a value that stands in the state; it answers what the table asks of it, and every answer
to an event is the next state. A new mode of the table is a class like this in a file of its own,
with its row of buttons, and an action in the registry that opens it (`opens`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from configs.errors import ChalkbeamError
from projector.session.registry import Row, Step

if TYPE_CHECKING:
    from projector.picture.marks import Item
    from projector.session.state import State

Array = NDArray[np.float64]


class Tool(Protocol):
    """All that the table asks of a tool, and nothing else."""

    @property
    def row(self) -> Row:
        """The strip's buttons now."""
        ...

    @property
    def says(self) -> str:
        """What she is to do now, for the strip, by line breaks into parts, the first ones first."""
        ...

    @property
    def in_hand(self) -> bool:
        """Whether something is being dragged: the strip stays where it is until it is let go."""
        ...

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Emphasis and notes of a copy where they differ from the mode's."""
        ...

    def clear_of(self, state: State) -> Array:
        """(N, 2) table mm to keep the strip off."""
        ...

    def items(self, state: State) -> Sequence[Item]:
        """Its marks of light."""
        ...

    def press(self, state: State, at: Array) -> State:
        """The pointer was pressed at (2,) table mm."""
        ...

    def do(self, state: State, action: str) -> State | None:
        """After an action that it takes over; None for the table's own."""
        ...

    def move(self, state: State, at: Array) -> State:
        """The pointer is over (2,) table mm."""
        ...

    def let_go(self, state: State) -> State:
        """The pointer was let go."""
        ...

    def typed(self, state: State, name: str) -> State | None:
        """A key was pressed, by its name; None where it means what it always means."""
        ...


class Pressed:
    """A tool that only answers presses: nothing is dragged with it and nothing typed; pieces are shown
    as always, and the strip need keep off nothing."""

    @property
    def in_hand(self) -> bool:
        """Nothing is."""
        return False

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Pieces are shown as always."""
        return None

    def clear_of(self, state: State) -> Array:
        """Nothing that the strip must keep off."""
        return np.zeros((0, 2))

    def move(self, state: State, at: Array) -> State:
        """The pointer is over (2,) table mm: nothing follows it."""
        return state

    def let_go(self, state: State) -> State:
        """The pointer was let go."""
        return state

    def typed(self, state: State, name: str) -> State | None:
        """Keys mean what they always mean."""
        return None


def used(state: State, open_tool: Callable[[State], State]) -> State:
    """With a tool opened; what it refuses is said on the table."""
    state = state.but(plan=None)
    try:
        return open_tool(state)
    except ChalkbeamError as error:
        return state.tell(str(error.faults[0]), 12.0)


def opens(open_tool: Callable[[State], State]) -> Step:
    """The action that opens a tool."""

    def step(state: State, large: bool) -> State:
        return used(state, open_tool)

    return step
