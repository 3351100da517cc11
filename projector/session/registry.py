"""The registry: every action once, its name, key, words on the button, line of help and what it does.

`actions` fills it. A name that is not registered is an error where it is written down (a row of
buttons, a tool's own table), at import, never something that silently does nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from projector.session.state import State

MODES = ("arrange", "trace")
BUTTON = "the strip's button"

Step = Callable[["State", bool], "State"]
T = TypeVar("T")


def following(names: Iterable[T], now: T) -> T:
    """The one after, and round again."""
    row = list(names)
    return row[(row.index(now) + 1) % len(row)]


@dataclass(frozen=True)
class Action:
    """One thing she can do.

    ``do``: the state before, and whether the larger step is meant → the state after; ``words``: on
    the strip's button ("" when it has none there); ``keys``: as shipped; ``help``: one line;
    ``modes``: where it counts; ``pointer``: how a hand does it without keys; ``repeats``: goes on
    as long as its key is held; ``group``: on the page of everything, "" for what only the strip has.
    """

    name: str
    do: Step
    words: str
    keys: tuple[str, ...]
    help: str
    modes: tuple[str, ...] = MODES
    pointer: str = BUTTON
    repeats: bool = False
    group: str = "table"


class Registry(dict[str, Action]):
    """Actions by name, in the order in which the help page lists them."""

    def add(self, *actions: Action) -> None:
        """Register actions.

        Raises:
            ValueError: a name is taken already.
        """
        for action in actions:
            if action.name in self:
                raise ValueError(f"there is an action {action.name!r} already")
            self[action.name] = action

    def known(self, names: Iterable[str], where: str) -> None:
        """For whatever is written down by names.

        Raises:
            LookupError: one is not registered.
        """
        for name in names:
            if name not in self:
                raise LookupError(f"{where} names {name!r}, which is no action")


ACTIONS = Registry()


@dataclass(frozen=True)
class Row:
    """The strip's buttons in one mode of the table: the more important first.

    All that counts there besides is one press away, on the page of everything. ``last``: at the
    strip's other end, for what comes and goes (a plan's), so that nothing else ever moves;
    ``handle``: what stays where the strip has no room, the first three when not given; ``words``:
    that differ from the actions' own; ``alone``: what the tool draws stands alone, without pieces.
    """

    name: str
    buttons: tuple[str, ...]
    last: tuple[str, ...] = ()
    handle: tuple[str, ...] = ()
    words: Mapping[str, str] | None = None
    alone: bool = False

    @property
    def every(self) -> tuple[str, ...]:
        """All its buttons."""
        return self.buttons + self.last

    @property
    def small(self) -> tuple[str, ...]:
        """Those of the handle."""
        return self.handle or self.buttons[:3]

    def checked(self) -> None:
        """Every name looked up in the registry."""
        ACTIONS.known((*self.every, *self.handle, *(self.words or {})), f"row {self.name!r}")
