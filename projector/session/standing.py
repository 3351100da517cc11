"""Where she stands at the table: words turn to her, no line moves."""

from __future__ import annotations

from dataclasses import replace

from projector.picture.view import SIDES
from projector.session.registry import following
from projector.session.state import State
from projector.session.words import chalk


def side(state: State, large: bool) -> State:
    """The next side of the table to stand on: words turn, no line moves."""
    view = state.work.view
    turned = replace(view, side=following(SIDES, view.side))
    state = state.change(replace(state.work, view=turned))
    if chalk(state):
        return state.tell("The words are turned to where you stand; no line has moved.")
    return state


def other_hand(state: State, large: bool) -> State:
    """The strip's buttons begin at her other hand; kept in the docket."""
    stage = state.stage.for_hand(left=not state.stage.left_handed)
    return state.but(stage=stage).keep(left_handed=stage.left_handed)
