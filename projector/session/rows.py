"""Rows: which buttons stand on the strip, few and for what the mode is for; and the groups of the
page that shows all of them. Those of a tool stand in the tool's own file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from projector.session.registry import ACTIONS, Row

if TYPE_CHECKING:
    from projector.session.state import State

ARRANGE = Row(
    "arrange",
    ("trace", "plan", "turn", "turn-over", "lock", "aside", "undo", "help"),
    last=("take", "drop"),
)
TRACE = Row(
    "trace",
    ("go-on", "go-back", "unmark", "arrange", "align", "help"),
    handle=("go-on", "next", "go-back"),
)
QUESTION = Row(
    "question",
    ("go-on", "check", "calibrate", "quit"),
    words={"go-on": "Go on", "check": "Check", "calibrate": "Calibrate"},
)
ROWS = (ARRANGE, TRACE, QUESTION)
# words that differ from the action's own in a mode, unless the row has its own
MODE_WORDS: Mapping[str, Mapping[str, str]] = {
    "arrange": {"leave": "Leave"},
    "trace": {"go-on": "Traced", "go-back": "Back"},
}
# The page of everything begins with what a presenter's black button is for.
_GROUPS = ("beam", "piece", "work", "cloth", "table")


def row_of(state: State) -> Row:
    """The row that stands on the strip."""
    if state.page == "question":
        return QUESTION
    if state.tool is not None:
        return state.tool.row
    return TRACE if state.mode == "trace" else ARRANGE


def groups_of(state: State) -> dict[str, tuple[str, ...]]:
    """What the page of everything holds now: a tool's own first, then what counts in the mode."""
    row = row_of(state)
    planned = state.plan is not None and state.plan.best is not None
    idle = {state.mode} | (set() if planned else {"take", "drop"})
    here = [a for a in ACTIONS.values() if state.mode in a.modes and a.name not in idle]
    own = tuple(n for n in row.every if not ACTIONS[n].group) if state.tool is not None else ()
    found = {row.name.partition("-")[0].capitalize(): own} if own else {}
    for group in _GROUPS:
        if names := tuple(a.name for a in here if a.group == group):
            found[group.capitalize()] = names
    return found
