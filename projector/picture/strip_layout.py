"""Strip layout: where the strip stands for a state, how large, with which buttons.

Between `session.words`, which has its words, and `compositor`, which paints it. Along her edge it is
whole; while she traces it goes to the far side rather than over a line of the piece, and where both
are taken it shrinks to a handle at the place that covers least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from drafting.placement import Array
from projector.picture import room, signs
from projector.picture import strip as strips
from projector.picture.edge import along_edge
from projector.picture.strip import Strip
from projector.session import words
from projector.session.registry import Row
from projector.session.rows import row_of
from projector.session.state import State

if TYPE_CHECKING:
    pass


@dataclass(eq=False)
class StripLayout:
    """Lays the strip out; keeps how many buttons have room, so that none moves under a finger."""

    _room: tuple[Any, int] = (None, 0)
    _last: tuple[Any, Strip | None] = (None, None)

    def lay(self, state: State) -> Strip | None:
        """The strip for a state; None when she has hidden it and nothing is amiss."""
        hand = state.tool is not None and state.tool.in_hand
        key = (state.mode, state.page, state.strip, state.stage.view, state.not_saved)
        if not hand or self._last[0] != key:
            self._last = (key, self._laid(state))
        return self._last[1]

    def _laid(self, state: State) -> Strip | None:
        row = row_of(state)
        if not state.strip and state.page != "question":
            row = replace(row, words={"strip": "Show"})
            return _handle(state, row, ("strip",), (state.not_saved,)) if state.not_saved else None
        lines = words.lines(state)

        def strip(names: Sequence[str], *, far: bool = False, last: Sequence[str] = ()) -> Strip:
            return strips.strip(
                state.stage, lines, words.buttons(state, names, row),
                last=words.buttons(state, last, row), far=far, from_right=state.stage.left_handed,
            )  # fmt: skip

        if state.page == "question":
            return strip(row.buttons)
        # with room kept for what comes and goes
        now = (row.name, state.mode, state.stage.view)
        if now != self._room[0]:
            laid = strip(("more", *row.buttons), last=row.last)
            self._room = (now, len(laid.buttons) - 1 - len(row.last))
        names = (*row.buttons[: max(self._room[1], 1)], "more")
        planned = state.plan is not None and state.plan.best is not None
        last = row.last if planned else ()
        near = strip(names, last=last)
        if state.page:
            return near
        # what she moves may lie under the strip; what she traces may not, nor what a tool is held by
        must = state.mode == "trace" or (
            state.tool is not None and len(state.tool.clear_of(state)) > 0
        )
        hides = _hides_current if must else _covers_piece
        if not hides(state, near):
            return near
        far = strip(names, far=True, last=last)
        if not hides(state, far):
            return far
        return near if not must else _handle(state, row, (*row.small, "more"), None)


def _handle(state: State, row: Row, names: Sequence[str], lines_: Sequence[str] | None) -> Strip:
    """The strip shrunk to what she cannot do without, where it covers least."""
    stage = state.stage
    others = [state.stage.ring(p) for p in state.work.placed() if p.key != state.current]
    lines = [(_lines_of_current(state), 10.0), *((_dense(ring), 0.01) for ring in others)]
    keep_off: list[Array] = []
    if state.tool is not None:
        lines.append((state.tool.clear_of(state), 100.0))
    if state.checking_at is not None:
        keep_off.append(signs.check_panel(stage, state.checking_at))
    frame, length, _ = along_edge(stage, 1.0)
    near = frame[:2, :2] @ np.array([0.5 * length, 0.0]) + frame[:2, 2]
    strip = state.shown.strip
    stay = strip.item.table_from_item[:2, 2] if strip is not None and strip.small else None

    def where(size: tuple[float, float]) -> Array | None:
        return room.place(
            stage.lens, stage.read, size, near,
            lines=lines, keep_off=keep_off, stay=stay,
        )  # fmt: skip

    said = words.short_lines(state) if lines_ is None else lines_
    return strips.handle(
        stage, said, words.buttons(state, names, row), where, from_right=stage.left_handed
    )


def _lines_of_current(state: State) -> Array:
    """(N, 2) table mm, close together along every line of the piece that is traced."""
    p = state.work.of(state.current)
    return np.zeros((0, 2)) if p is None else state.stage.along(p, 4.0, "grain")


def _hides_current(state: State, strip: Strip) -> bool:
    if state.tool is not None and room.any_in_quad(state.tool.clear_of(state), strip.ground_mm):
        return True
    return room.any_in_quad(_lines_of_current(state), _grown(strip.ground_mm, 4.0))


def _covers_piece(state: State, strip: Strip) -> bool:
    return any(
        room.any_in_quad(_dense(state.stage.ring(p)), strip.ground_mm) for p in state.work.placed()
    )


def _dense(ring: Array) -> Array:
    """A ring's corners and the middles between them."""
    return np.concatenate([ring, 0.5 * (ring + np.roll(ring, -1, axis=0))])


def _grown(quad: Array, by_mm: float) -> Array:
    """A quad with its corners moved outwards."""
    away = quad - quad.mean(axis=0)
    return np.asarray(quad + by_mm * away / np.abs(away).max(axis=0))
