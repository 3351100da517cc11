"""Opening the bays of a docket: as they were left, or planned now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from configs.errors import ChalkbeamError, InputError
from drafting.placement import Array, carry
from projector.picture.marks import moved
from projector.picture.stage import PieceState
from projector.session import words
from projector.session.state import State
from projector.tools.bays.kept import from_dict
from projector.tools.bays.model import BayPlan, Laid
from projector.tools.bays.plan import fits, plan_bays
from projector.tools.bays.walk import Baywalk, restart, start
from projector.tools.bays.window import out_of_beam, too_long

if TYPE_CHECKING:
    from drafting.placement import Placement
    from projector.picture.stage import Stage
from projector.tools.bays.room import KINDS, BayTool, light_of, synced

STRIP_MM = 68.0  # of the strip along her edge, with a little room


def laid(stage: Stage, placed: Sequence[Placement]) -> list[Laid]:
    """The copies on the cloth as `bays` wants them, cloth mm."""
    out = []
    for p in placed:
        face, a = stage.faces.of(p), p.cloth_from_piece
        lines = [line for k in KINDS if k != "cutting" for line in face.lines.get(k, ())]
        out.append(Laid(p.key, carry(a, face.outline), tuple(moved(lines, a))))
    return out


def plan_for(state: State, chalked: BayPlan | None = None, labels: Sequence[str] = ()) -> BayPlan:
    """Bays for the lay as it lies; the strip's room is kept free where that costs no bay.

    Raises:
        InputError: as `bays.plan_bays`.
    """
    pieces = laid(state.stage, state.work.placed())
    old = [chalked.crosses[c] for c in labels if c in chalked.crosses] if chalked else []
    cal, view, cloth = state.stage.calibration, state.work.view, state.docket.cloth
    words = _ruled(state)
    whole = plan_bays(pieces, cal, view, cloth, chalked=old, words=words)
    try:
        free = plan_bays(
            pieces, cal, view, cloth, strip_mm=STRIP_MM, chalked=old, words=words,
            fewer_than=len(whole) + 1,
        )  # fmt: skip
    except InputError:
        return whole

    def joints(plan: BayPlan) -> int:
        return sum(len(b.parts) for b in plan.bays)

    return free if len(free) <= len(whole) and joints(free) <= joints(whole) else whole


def _ruled(state: State) -> list[Array]:
    """Every label as it stands, its box ruled with lines (N, 2) cloth mm: no cross among letters."""
    stage = state.stage
    read = stage.read
    back = state.work.view.cloth_from_table
    out = []
    for p in state.work.placed():
        now = words.shown(state, p)
        traced = PieceState("bright", (*now.notes, "traced"), copy=now.copy)
        for points in stage.words_of(p, traced):
            (x0, y0), (x1, y1) = (points @ read).min(axis=0), (points @ read).max(axis=0)
            rows = np.linspace(y0, y1, max(2, int((y1 - y0) // 8.0) + 1))
            out += [carry(back, np.array([[x0, y], [x1, y]]) @ read.T) for y in rows]
    return out


def open_bays(state: State, *, wanted: bool = False) -> State:
    """In the bays of this docket: as they were left, or planned now; not when the beam holds all.

    Args:
        wanted: she has asked for them; else only when the lay is not all lit.

    Raises:
        InputError: the lay cannot be cut into bays, or what is kept of them has faults.
    """
    pieces = laid(state.stage, state.work.placed())
    kept: Any = state.settings().get("bays")
    walk: Baywalk | None = None
    if kept:
        where = f"{state.docket.path or 'docket'}: table.bays"
        if not isinstance(kept, dict):
            raise InputError.of(where, "is not a mapping.", "Take it out to plan the bays anew.")
        walk = from_dict(kept, where)
        same = kept.get("light") == light_of(state)
        if not same or not fits(walk.plan, pieces, walk.chalked):
            why = "The lay has changed" if same else "The calibration is another one"
            state = state.tell(f"{why}: the bays are planned anew.", 8.0)
            walk = _anew(state, walk, pieces, same)
    if walk is None:
        if not wanted and not too_long(pieces, state.stage.calibration, state.work.view):
            return state
        plan = plan_for(state)
        if len(plan) == 1:
            if wanted:
                return state.tell("The beam holds all of the lay; no bays are needed.")
            centre = state.key_words("centre")
            return state.tell(
                f"Part of the lay is not lit; the beam holds it all: [{centre}].", 10.0
            )
        state, walk = _begun(state, plan, pieces)
    tool = BayTool(walk, pieces)
    state = state.but(mode="trace", tool=tool, chosen=None)
    if walk.phase == "trace":
        state = state.but(current=tool.next(state, None))
    return synced(state, tool)


def _begun(state: State, plan: BayPlan, pieces: list[Laid]) -> tuple[State, Baywalk]:
    """At the first bay of a new plan, with what is to be told of it."""
    view = state.work.view
    fewer = _turned(state, pieces, len(plan))
    unlit = out_of_beam(plan, 0, pieces, state.stage.calibration, view)
    if unlit != (0.0, 0.0):
        key = state.key_words("align")
        state = state.tell(
            f"The lay is larger than the beam. Lay the cloth to the light, [{key}] aligns.", 12
        )
    if fewer:
        key = state.key_words("turn-cloth")
        plural = "s" if fewer > 1 else ""
        state = state.tell(
            f"With the cloth turned a quarter {fewer} bay{plural} would do\n[{key}] in arrange", 12
        )
    return state, start(plan, view if unlit == (0.0, 0.0) else None)


def _turned(state: State, pieces: list[Laid], count: int) -> int:
    """How many bays it would take with the cloth turned a quarter; 0 when no fewer."""
    view = state.work.view
    try:
        turned = replace(view, turn_deg=view.turn_deg + 90.0)
        cal, cloth = state.stage.calibration, state.docket.cloth
        return len(plan_bays(pieces, cal, turned, cloth, fewer_than=count))
    except InputError:
        return 0


def _anew(state: State, old: Baywalk, pieces: list[Laid], same_light: bool) -> Baywalk:
    """Other bays for a lay that was changed, or under another calibration; the chalk stays."""
    view = old.view if old.phase == "trace" and same_light else state.work.view
    plan, cal = plan_for(state, old.plan, old.chalked), state.stage.calibration
    lit: list[int] = []
    if old.phase == "trace" and same_light:
        bays = range(len(plan))
        lit = [i for i in bays if out_of_beam(plan, i, pieces, cal, view) == (0.0, 0.0)]
    return restart(plan, view, old.chalked, lit)


def resumed(state: State) -> State:
    """When the table opens: in the bay where it was left."""
    kept: Any = state.docket.table.get("bays")
    if not (isinstance(kept, dict) and kept.get("on") and state.work.placed()):
        return state
    try:
        return open_bays(state)
    except ChalkbeamError as error:
        return state.tell(str(error.faults[0]), 12.0)
