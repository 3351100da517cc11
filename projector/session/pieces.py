"""What she does to one piece: nudge, turn, lock, put aside; every step from state to state."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from projector.picture import order
from projector.session.registry import Step
from projector.session.rules import Work, lie_alike
from projector.session.state import State

if TYPE_CHECKING:
    from drafting.placement import Placement

_PICK = "Pick a piece first: press on it, or Tab."


def picked(state: State) -> tuple[State, Placement | None]:
    """The chosen copy, when it may be changed; else the state that says why not."""
    p = state.work.of(state.chosen)
    if p is None:
        return state.tell(_PICK), None
    if p.locked:
        return says_locked(state, p), None
    return state, p


def says_locked(state: State, p: Placement) -> State:
    """It stays where it lies, and how to free it."""
    return state.tell(f"{p.piece} is locked. Free it with [{state.key_words('lock')}].")


def put(state: State, p: Placement) -> State:
    """One copy elsewhere; what was traced of it is chalk in another place now."""
    before = state.work
    after = state.change(with_moved(before, p), p.key)
    if p.key in before.traced and p.key not in after.work.traced:
        return tell_unmarked(after, p)
    return after


def with_moved(work: Work, p: Placement) -> Work:
    """With one copy elsewhere, and its mark off when it no longer lies as it was traced."""
    before = work.of(p.key)
    work = work.with_placement(p)
    if before is None or p.key not in work.traced or lie_alike(before, p):
        return work
    return replace(work, traced=tuple(k for k in work.traced if k != p.key))


def tell_unmarked(state: State, p: Placement) -> State:
    """That its chalk is in the wrong place now."""
    undo = state.key_words("undo")
    return state.tell(
        f"{p.piece} was traced where it lay: its mark is off, brush the chalk out. "
        f"[{undo}] puts it back.",
        10.0,
    )


def nudge(way: str) -> Step:
    """A step to ``left``, ``right``, ``away`` or ``toward``: 1 mm, the larger one 10 mm."""

    def step(state: State, large: bool) -> State:
        state, p = picked(state)
        if p is None:
            return state
        angle = math.radians(state.stage.reading_deg)
        right = np.array([math.cos(angle), math.sin(angle)])
        away = np.array([-right[1], right[0]])
        to = {"right": right, "left": -right, "away": away, "toward": -away}[way]
        d = state.work.view.cloth_from_table[:2, :2] @ (to * (10.0 if large else 1.0))
        moved = state.rules.moved(p, float(d[0]), float(d[1]))
        if moved == p:
            return state.tell(f"{p.piece} stays on the fold.")
        return put(state, moved)

    return step


def turn(state: State, large: bool) -> State:
    """Half round."""
    state, p = picked(state)
    return state if p is None else put(state, state.rules.turned(p, 180.0))


def turn_over(state: State, large: bool) -> State:
    """Mirrored."""
    state, p = picked(state)
    if p is None:
        return state
    if state.rules.on_fold(p):
        return state.tell(f"{p.piece} lies on the fold: both its halves are the same.")
    return put(state, state.rules.turned_over(p))


def tilt(sign: float) -> Step:
    """Off the grain by a degree, the larger step 5; ``sign``: +1 to the left."""

    def step(state: State, large: bool) -> State:
        state, p = picked(state)
        if p is None:
            return state
        if state.rules.on_fold(p):
            return state.tell(f"{p.piece} stays on the fold.")
        deg = sign * (5.0 if large else 1.0) * (-1.0 if state.work.view.mirror else 1.0)
        state = put(state, state.rules.turned(p, deg))
        made = state.work.of(p.key)
        if made is None:
            return state
        return state.tell(f"{p.piece}: {abs(state.rules.tilt(made)):.1f}° off the grain.")

    return step


def straighten(state: State, large: bool) -> State:
    """On the grain again."""
    state, p = picked(state)
    return state if p is None else put(state, state.rules.straightened(p))


def lock(state: State, large: bool) -> State:
    """Locked where it lies, or free."""
    p = state.work.of(state.chosen)
    if p is None:
        return state.tell(_PICK)
    return put(state, replace(p, locked=not p.locked))


def aside(state: State, large: bool) -> State:
    """Off the cloth for now."""
    state, p = picked(state)
    if p is None:
        return state
    state = put(state, replace(p, aside=True))
    return state.tell(f"{p.piece} is put aside. [{state.key_words('bring-back')}] brings it back.")


def bring_back(state: State, large: bool) -> State:
    """The last one put aside, back where it lay."""
    waiting = [p for p in state.work.lay if p.aside]
    if not waiting:
        return state.tell("Nothing is put aside.")
    p = replace(waiting[-1], aside=False)
    return put(state.but(chosen=p.key), p)


def pick_next(state: State, large: bool) -> State:
    """The next piece: to trace, or of those that are lit."""
    placed = state.work.placed()
    if state.mode == "trace":
        return state.but(current=order.neighbour(state.stage, placed, state.current, 1))
    lit = [p for p in placed if _is_lit(state, p)]
    return state.but(chosen=order.neighbour(state.stage, lit or placed, state.chosen, 1))


def _is_lit(state: State, p: Placement) -> bool:
    """Whether the middle of a piece lies in the beam."""
    ring = state.rules.outline(p)
    middle = 0.5 * (ring.min(axis=0) + ring.max(axis=0))
    a = state.work.view.table_from_cloth
    return bool(state.stage.lens.covers((a[:2, :2] @ middle + a[:2, 2])[None])[0])
