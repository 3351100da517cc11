"""Hands: keys and pointer into actions, and into what a press on the cloth means.

Between the machine's events (`app`) and the actions: every function answers an event with the next
state. Knows neither pygame nor a clock.
"""

from __future__ import annotations

from collections.abc import Sequence

from drafting.placement import Array
from projector.picture import signs
from projector.picture.edge import along_edge
from projector.picture.room import any_in_quad
from projector.session import hand, ways
from projector.session.actions import done
from projector.session.registry import ACTIONS
from projector.session.state import SILENT, State

_ANSWERS = ("check", "calibrate", "help", "quit")  # to the question; any other key goes on


def key(state: State, name: str) -> State:
    """A key was pressed: ``a``, ``shift+left``, ``page down`` …"""
    if state.page in ("dark", "light"):
        return state.but(page="")
    action = state.keys.action(name, state.mode)
    if state.page == "question":
        if action == "leave":
            return ways.leave_if_sure(state)
        state = state.but(page="")
        if action not in _ANSWERS:
            return state
    if state.tool is not None and not state.page:
        made = state.tool.typed(state, name)
        if made is not None:
            return made
    action = state.keys.meant(name, state.mode)
    return state if action is None else done(state, action, large="shift+" in name)


def repeats(state: State, name: str) -> bool:
    """Whether a key goes on as long as it is held."""
    action = state.keys.meant(name, state.mode)
    return not state.page and action is not None and ACTIONS[action].repeats


def ask(state: State, lines: Sequence[str]) -> State:
    """A page that questions the calibration: go on, check it, or make a new one."""
    return state.but(question=tuple(lines), unchecked=True, page="question")


def pointer(state: State, kind: str, at: Array, button: int = 1, *, free: bool = False) -> State:
    """The pointer: ``kind`` is ``move``, ``down`` or ``up``; ``at`` (2,) table mm.

    ``button``: 1 moves, 3 turns; ``free``: with a key held that keeps pieces from snapping.
    """
    state = state.but(pointer_mm=at)
    if kind == "move":
        if state.check_held is not None:
            return _check_to(state, at + state.check_held)
        if state.tool is not None and state.drag is None and not state.page:
            return state.tool.move(state, at)
        if state.drag is None:
            return state
        return hand.move(state, state.on_cloth(at), free=free)
    if kind == "down":
        return _press(state, at, button)
    state = state.but(check_held=None)
    return hand.let_go(state) if state.tool is None else state.tool.let_go(state)


def _press(state: State, at: Array, button: int) -> State:
    if state.page in ("dark", "light"):
        return state.but(page="")
    strip = state.shown.strip
    if strip is not None:
        for action, box in strip.buttons.items():
            if any_in_quad(at[None], box):
                return done(state, action)
        for action, box in state.shown.pads.items():
            if any_in_quad(at[None], box):
                return done(state.but(page=""), action)
        if any_in_quad(at[None], strip.ground_mm):
            return state  # beside a button: what lies hidden under the strip is not meant
    state = state.but(message=SILENT, to_confirm="")
    if state.page:
        return state.but(page="")
    check = state.checking_at
    if check is not None and any_in_quad(at[None], signs.check_panel(state.stage, check)):
        return state.but(check_held=check - at)
    if not state.strip and _on_edge(state, at):
        return ways.strip(state, False)
    if state.tool is not None:
        return state.tool.press(state, at)
    key_ = state.under(at)
    if state.mode == "trace":
        return state if key_ is None else state.but(current=key_)
    return hand.take_up(state, key_, state.on_cloth(at), turning=button == 3)


def _check_to(state: State, corner: Array) -> State:
    """The check square elsewhere, where it is wholly lit."""
    panel = signs.check_panel(state.stage, corner)
    lit = bool(state.stage.lens.covers(panel).all())
    return state.but(checking_at=corner) if lit else state


def _on_edge(state: State, at: Array) -> bool:
    frame, length, height = along_edge(state.stage, 30.0)
    local = frame[:2, :2].T @ (at - frame[:2, 2])
    return bool(-10.0 <= local[0] <= length + 10.0 and -20.0 <= local[1] <= height)
