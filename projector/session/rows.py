"""Rows: which buttons stand on the strip; those of a tool stand in the tool's own file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from projector.session.registry import Row

if TYPE_CHECKING:
    from projector.session.state import State

ARRANGE = Row(
    "arrange",
    (
        "trace", "plan", "turn", "turn-over", "lock", "aside", "bring-back", "undo", "align",
        "check", "lines", "ink", "side", "help",
    ),
    # with these every action has a pointer way
    (
        "redo", "straighten", "height", "bays", "blank", "work-light", "wider", "thinner",
        "centre", "turn-cloth", "flip-cloth", "calibrate", "strip", "leave", "quit",
    ),
)  # fmt: skip
TRACE = Row(
    "trace",
    (
        "go-on", "go-back", "unmark", "arrange", "align", "blank", "work-light", "check", "lines",
        "ink", "help",
    ),
    (
        "undo", "redo", "bays", "side", "wider", "thinner", "centre", "turn-cloth", "flip-cloth",
        "calibrate", "strip", "leave", "quit",
    ),
    handle=("go-on", "next", "go-back"),
)  # fmt: skip
QUESTION = Row(
    "question",
    ("go-on", "check", "calibrate", "quit"),
    words={"go-on": "Go on", "check": "Check", "calibrate": "Calibrate"},
)
PLAN = Row(
    "plan",
    ("take", "drop", "turn", "turn-over", "lock", "aside", "bring-back", "undo", "help"),
    (
        "trace", "plan", "align", "check", "lines", "ink", "side", "redo", "straighten", "height",
        "bays", "blank", "work-light", "wider", "thinner", "centre", "turn-cloth", "flip-cloth",
        "calibrate", "strip", "leave", "quit",
    ),
    words={"leave": "Close"},
)  # fmt: skip
ROWS = (ARRANGE, TRACE, QUESTION, PLAN)
# words that differ from the action's own in a mode, unless the row has its own
MODE_WORDS: Mapping[str, Mapping[str, str]] = {
    "arrange": {"leave": "Leave"},
    "trace": {"go-on": "Traced", "go-back": "Back"},
}
# further buttons while a tool is in use
IN_USE = ("check", "blank", "ink", "wider", "thinner", "side", "strip", "quit")


def row_of(state: State) -> Row:
    """The row that stands on the strip."""
    if state.page == "question":
        return QUESTION
    if state.plan is not None and state.plan.best is not None:
        return PLAN
    if state.tool is not None:
        return state.tool.row
    return TRACE if state.mode == "trace" else ARRANGE
