"""A piece in her hand: taken up, moved or turned, let go, put back."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from drafting.placement import Array
from projector.session.judged import judged_again
from projector.session.pieces import says_locked, tell_unmarked
from projector.session.rules import SNAP_DEG, History, lie_alike
from projector.session.state import Drag, State

if TYPE_CHECKING:
    from drafting.placement import Placement


_DRAG_MM = 2.0  # a press that wanders less is a press
HELD_S = 0.7  # a press held still so long before it moves sets a piece free of snapping


def take_up(state: State, key: str | None, cloth: Array, *, turning: bool) -> State:
    """A press on a copy at a place of the cloth, or beside all of them: chosen, and in the hand."""
    state = state.but(chosen=key)
    p = state.work.of(key)
    if key is None or p is None:
        return state
    if p.locked:
        return says_locked(state, p)
    return state.but(drag=Drag(key, cloth, p, state.history, turning, since=state.now))


def move(state: State, cloth: Array, *, free: bool = False) -> State:
    """The hand is over another place of the cloth; ``free``: a key says that nothing snaps."""
    drag = state.drag
    if drag is None:
        return state
    d = cloth - drag.start
    history = state.history
    if not drag.moved:
        if float(np.hypot(*d)) < _DRAG_MM:
            return state
        held = state.now - drag.since >= HELD_S
        if held:
            state = state.tell("Held still first: it snaps to nothing until you let go.")
        drag = replace(drag, moved=True, free=held)
        history = History(history.now, (history.now, history.past), None)
    guides: list[Array] = []
    if drag.turning:
        made = _turned(state, drag, cloth, snap=not (free or drag.free))
    else:
        made = state.rules.moved(drag.before, float(d[0]), float(d[1]))
        if not (free or drag.free):
            made, guides = state.rules.snapped(made, state.work.lay)
    history = history.instead(history.now.with_placement(made))
    drag = replace(drag, guides=tuple(guides))
    lay = history.now.lay
    wrong = judged_again(state.judged, state.rules, lay, drag.key, in_hand=True)
    return state.but(history=history, judged=wrong, drag=drag)


def _turned(state: State, drag: Drag, cloth: Array, *, snap: bool) -> Placement:
    rules = state.rules
    if rules.on_fold(drag.before):
        return drag.before
    ring = rules.outline(drag.before)
    middle = 0.5 * (ring.min(axis=0) + ring.max(axis=0))
    a, b = drag.start - middle, cloth - middle
    turn = math.degrees(math.atan2(b[1], b[0]) - math.atan2(a[1], a[0]))
    made = rules.turned(drag.before, turn)
    return rules.straightened(made) if snap and abs(rules.tilt(made)) < SNAP_DEG else made


def let_go(state: State) -> State:
    """The piece lies where it is: one step to undo, its mark off when it no longer lies as traced."""
    drag = state.drag
    if drag is None:
        return state
    state = state.but(drag=None)
    if not drag.moved:
        return state
    history = state.history
    if history.past is not None and history.past[0] == history.now:
        _, rest = history.past
        history = History(history.now, rest, None)  # type: ignore[arg-type]  # recursive
    work = history.now
    p = work.of(drag.key)
    if p is not None and drag.key in work.traced and not lie_alike(drag.before, p):
        state = tell_unmarked(state, p)
        history = history.instead(work.unmarked(drag.key))
    return state.but(history=history).took(drag.key)


def put_back(state: State) -> State:
    """The piece back to where it was picked up."""
    drag = state.drag
    if drag is None or not drag.moved:
        return state.but(drag=None)
    state = state.but(drag=None, history=drag.history).took(drag.key)
    return state.tell(f"{drag.before.piece} is back where it was.")
