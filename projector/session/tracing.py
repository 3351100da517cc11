"""Tracing piece by piece, undoing, and a plan in the background; every step from state to state."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from projector.picture import order
from projector.session.rules import History
from projector.session.state import Plan, State
from projector.session.words import ALL_TRACED, chalk, difference, things, trouble_words
from projector.tools.bays.opening import open_bays
from projector.tools.protocol import used


def go_on(state: State, large: bool) -> State:
    """Mark the piece traced and go to the next; in arrange: begin to trace."""
    if state.mode != "trace":
        return trace(state, large)
    key = state.current
    if key is None:
        current = order.neighbour(state.stage, state.work.placed(), None, 1)
        return state.but(current=current)
    work = state.work
    if key not in work.traced:
        work = replace(work, traced=(*work.traced, key))
    current = order.next_piece(state.stage, work.placed(), work.traced, after=key)
    state = state.but(current=current).change(work, key)
    return state.tell(ALL_TRACED, 30.0) if current is None else state


def go_back(state: State, large: bool) -> State:
    """To the piece before; in arrange: undo."""
    if state.mode != "trace":
        return undo(state, large)
    current = order.neighbour(state.stage, state.work.placed(), state.current, -1)
    return state.but(current=current)


def unmark(state: State, large: bool) -> State:
    """The mark off the piece."""
    if state.current is None or state.current not in state.work.traced:
        return state.tell("This piece is not marked.")
    return state.change(state.work.unmarked(state.current), state.current)


def trace(state: State, large: bool) -> State:
    """Begin to trace, in bays where the lay is larger than the beam."""
    current = order.next_piece(state.stage, state.work.placed(), state.work.traced)
    state = state.but(plan=None, mode="trace", chosen=None, current=current)
    if current is None:
        state = state.tell(ALL_TRACED, 30.0)
    if state.judged.count:
        state = state.tell(f"{trouble_words(state)}: put the lay right in 'arrange' first.", 12.0)
    return used(state, open_bays)


def arrange(state: State, large: bool) -> State:
    """Move pieces about."""
    return state.but(mode="arrange", chosen=state.current)


# -- undo ------------------------------------------------------------------------------------------


def undo(state: State, large: bool) -> State:
    """One step back."""
    if state.history.past is None:
        return state.tell("Nothing left to undo.")
    return _travel(state, state.history.back(), "Undone")


def redo(state: State, large: bool) -> State:
    """One step forth again."""
    if state.history.future is None:
        return state.tell("Nothing to do again.")
    return _travel(state, state.history.forth(), "Done again")


def _travel(state: State, history: History, word: str) -> State:
    """To another state of the work, and what it changed said; a piece whose mark comes or goes is
    the current one again."""
    before, view = set(state.work.traced), state.stage.view
    told = difference(*((state.work, history.now)[:: -1 if word == "Undone" else 1]))
    state = state.but(history=history).tell(f"{word}: {told}.")
    work = state.work
    changed = [k for k in (*work.traced, *before) if (k in before) != (k in work.traced)]
    if state.mode == "trace" and changed and work.of(changed[-1]) is not None:
        state = state.but(current=changed[-1])
    state = state.took()
    moved = not np.array_equal(view.table_from_cloth, state.stage.view.table_from_cloth)
    return off_chalk(state) if moved and chalk(state) else state


def off_chalk(state: State) -> State:
    """That the light has left the chalk, and the way back to it."""
    align, back = state.key_words("align"), state.key_words("undo")
    return state.tell(
        f"The light lies elsewhere than the chalk\nbring the cloth to it: [{align}] aligns\n"
        f"[{back}] goes back",
        12.0,
    )


# -- a plan in the background ----------------------------------------------------------------------


def plan(state: State, large: bool) -> State:
    """Ask for a plan around what is locked or traced."""
    work = state.work
    # chalk does not move
    still = tuple(p for p in work.placed() if p.locked or p.key in work.traced)
    kept = f"around {things(len(still), 'locked or traced piece')}" if still else "from the start"
    state = state.but(plan=Plan(still))
    return state.tell(f"Planning {kept}. Go on working; the best so far is shown.")


def take(state: State, large: bool) -> State:
    """Take the plan that is shown."""
    if state.plan is None or state.plan.best is None:
        return state.tell("There is no plan to take.")
    best, work = state.plan.best, state.work
    keys = {p.key for p in best.lay}
    held = () if state.plan.whole else work.lay  # what she noted herself is taken as it was
    locked = {p.key: p for p in held if p.locked or p.key in work.traced}
    kept = [replace(p, aside=True) for p in work.lay if p.key not in keys]
    lay = tuple(locked.get(p.key, p) for p in best.lay) + tuple(kept)
    state = state.but(plan=None, decided=True).change(replace(work, lay=lay))
    back = state.key_words("undo")
    return state.tell(f"Taken: {state.length(round(best.used_mm))}. [{back}] goes back.")


def drop(state: State, large: bool) -> State:
    """Drop the plan that is shown."""
    if state.plan is None:
        return state.tell("There is no plan to drop.")
    return state.but(plan=None, decided=True).tell("Dropped. The lay is as it was.")
