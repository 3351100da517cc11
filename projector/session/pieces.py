"""What she does to one piece: nudge, turn, lock, put aside; every step from state to state."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from drafting.placement import carry
from projector.picture import order
from projector.session.registry import Step
from projector.session.rules import lie_alike
from projector.session.state import State

if TYPE_CHECKING:
    from drafting.placement import Placement

_PICK = "Pick a piece first: press on it, or Tab."


def _of_chosen(change: Callable[[State, Placement, bool], State]) -> Step:
    """The step that changes the chosen copy; it says why not where that may not be changed."""

    def step(state: State, large: bool) -> State:
        p = state.work.of(state.chosen)
        if p is None:
            return state.tell(_PICK)
        return says_locked(state, p) if p.locked else change(state, p, large)

    return step


def says_locked(state: State, p: Placement) -> State:
    """It stays where it lies, and how to free it."""
    return state.tell(f"{p.piece} is locked. Free it with [{state.key_words('lock')}].")


def put(state: State, p: Placement) -> State:
    """One copy elsewhere; what was traced of it is chalk in another place now."""
    before, work = state.work.of(p.key), state.work.with_placement(p)
    off = before is not None and p.key in work.traced and not lie_alike(before, p)
    after = state.change(work.unmarked(p.key) if off else work, p.key)
    return tell_unmarked(after, p) if off else after


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

    @_of_chosen
    def step(state: State, p: Placement, large: bool) -> State:
        right, away = state.stage.read.T
        to = {"right": right, "left": -right, "away": away, "toward": -away}[way]
        d = state.work.view.cloth_from_table[:2, :2] @ (to * (10.0 if large else 1.0))
        moved = state.rules.moved(p, float(d[0]), float(d[1]))
        if moved == p:
            return state.tell(f"{p.piece} stays on the fold.")
        return put(state, moved)

    return step


@_of_chosen
def turn(state: State, p: Placement, large: bool) -> State:
    """Half round."""
    return put(state, state.rules.turned(p, 180.0))


@_of_chosen
def turn_over(state: State, p: Placement, large: bool) -> State:
    """Mirrored."""
    if state.rules.on_fold(p):
        return state.tell(f"{p.piece} lies on the fold: both its halves are the same.")
    return put(state, state.rules.turned_over(p))


def tilt(sign: float) -> Step:
    """Off the grain by a degree, the larger step 5; ``sign``: +1 to the left."""

    @_of_chosen
    def step(state: State, p: Placement, large: bool) -> State:
        if state.rules.on_fold(p):
            return state.tell(f"{p.piece} stays on the fold.")
        deg = sign * (5.0 if large else 1.0) * (-1.0 if state.work.view.mirror else 1.0)
        made = state.rules.turned(p, deg)
        off = abs(state.rules.tilt(made))
        return put(state, made).tell(f"{p.piece}: {off:.1f}° off the grain.")

    return step


@_of_chosen
def straighten(state: State, p: Placement, large: bool) -> State:
    """On the grain again."""
    return put(state, state.rules.straightened(p))


def lock(state: State, large: bool) -> State:
    """Locked where it lies, or free."""
    p = state.work.of(state.chosen)
    if p is None:
        return state.tell(_PICK)
    return put(state, replace(p, locked=not p.locked))


@_of_chosen
def aside(state: State, p: Placement, large: bool) -> State:
    """Off the cloth for now."""
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
    return bool(state.stage.lens.covers(carry(state.work.view.table_from_cloth, middle[None]))[0])
