"""Bays at the table: tracing a lay that is larger than the beam, with the cloth moved between.

Between the table and the pure steps of `walk`: holds one state of theirs, shows it as marks of light,
and keeps it in the docket's ``table`` after every step.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from configs.errors import InputError
from drafting.placement import Array, carry
from projector.picture import order
from projector.picture.faces import text_block
from projector.picture.look import LINES as SHOWN_LINES
from projector.picture.marks import Item, Mark, circle, cross, moved
from projector.picture.view import rigid
from projector.session.registry import Row
from projector.session.standing import side
from projector.session.state import State
from projector.session.words import ALL_TRACED, difference
from projector.tools.align import told
from projector.tools.bays.kept import to_dict
from projector.tools.bays.model import Laid
from projector.tools.bays.plane import clip, gap_to, lines_here, tree_of
from projector.tools.bays.walk import (
    Baywalk,
    ShownCross,
    again,
    crosses_shown,
    go,
    keep,
    mark,
    next_bay,
    point,
    previous_bay,
    said,
    stay,
    take_back,
    unmark,
    ways_words,
)
from projector.tools.bays.window import out_of_beam
from projector.tools.protocol import Tool

if TYPE_CHECKING:
    from shapely import STRtree

    from drafting.placement import Placement
    from projector.picture.stage import Stage

Cleared = tuple[str, Any, object]  # a part marked: the piece, the marks before, the history then
_LABEL_MM = 12.0
_MOVED_MM = 3.0  # a pointer that has moved less than this was not brought to the next cross
KINDS = ("cutting", "sewing", "fold", "dart", "notch", "mark", "inner")
ROWS = (
    Row(
        "bays",
        (
            "go-on", "go-back", "unmark", "next-bay", "previous-bay", "point-again", "arrange",
            "help",
        ),
        handle=("go-on", "next-bay", "go-back"),
    ),
    Row(
        "bays-move",
        ("point-again", "previous-bay", "go-back", "arrange", "work-light", "help"),
        handle=("point-again", "go-back", "arrange"),
        words={"previous-bay": "Not yet"},
    ),
    Row(
        "bays-check",
        ("point-again", "keep-fit", "go-back", "arrange", "work-light", "help"),
    ),
)  # fmt: skip
_ROW = dict(zip(("trace", "move", "check"), ROWS, strict=True))


@dataclass(frozen=True, eq=False)
class BayTool(Tool):
    """Tracing in bays; ``walk`` is where she is, ``pieces`` the lay that the plan was made for.

    ``unlit``: (x, y) mm by which the bay lies out of the beam; ``parts``: marks on parts of pieces,
    which are not in the history; ``at``: the pointer's place at the last step.
    """

    walk: Baywalk
    pieces: list[Laid]
    unlit: tuple[float, float] = (0.0, 0.0)
    parts: tuple[Cleared, ...] = field(default=(), repr=False)
    at: Array | None = None

    @property
    def row(self) -> Row:
        """Which row of buttons."""
        return _ROW[self.walk.phase]

    def says(self, state: State) -> str:
        """For the strip: parts by line breaks; those that find no room are left out, last first."""
        walk, unit = self.walk, "in" if state.inches else None
        lines = said(walk, unit).split("\n")
        if walk.phase != "trace":
            return "\n".join(lines)
        name = (state.current or "").rsplit("/", 1)[0].replace("-", " ")
        count, total = sum(self.is_done(state, k) for k in walk.bay.keys), len(walk.bay.keys)
        more = f": on to bay {walk.at + 2}" if count == total and not walk.last else ""
        mine = [name] if name else []
        if self.unlit != (0.0, 0.0):
            ways = " and ".join(ways_words(self.unlit, walk.view, unit, 1.0)) or "a little"
            mine.insert(0, f"part of it is not lit: move the cloth {ways}, point again")
        mine.append(f"{count} of {total} traced here{more}")
        new = {c.label for c in walk.plan.to_chalk(walk.at)}
        notes = [n for n in walk.plan.notes if new & set(n.split(" lie")[0].split())]
        return "\n".join([lines[0], *mine, *lines[1:], *notes])

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Emphasis and notes of a piece, where they differ from those of plain tracing."""
        walk = self.walk
        if walk.phase != "trace":
            return "faint", ()
        bay = walk.bay
        if key in bay.whole:
            return None
        others = [str(i + 1) for i in walk.plan.bay_of(key) if i != walk.at]
        note = f"bay {' and '.join(others)}" + (" too" if key in bay.parts else "")
        return "faint", (note,)

    def clear_of(self, state: State) -> Array:
        """(N, 2) table mm that the strip must not cover."""
        wanted = [c.at_table for c in crosses_shown(self.walk) if c.kind != "old"]
        return np.array(wanted).reshape(-1, 2)

    def press(self, state: State, at: Array) -> State:
        """Point at a cross; in a bay, pick the piece."""
        if self.walk.phase != "trace":
            spot = (float(at[0]), float(at[1]))
            return _step(state, self, lambda w: point(again(w) if w.phase == "check" else w, spot))
        key = state.under(at)
        if key in self.walk.bay.keys:
            return state.but(current=key)
        if key is None:
            return state
        where = " and ".join(str(i + 1) for i in self.walk.plan.bay_of(key))
        return state.tell(f"{key.rsplit('/', 1)[0]} is traced in bay {where}.")

    def do(self, state: State, action: str) -> State | None:
        """After an action that is done another way in bays."""
        if action in ("centre", "flip-cloth", "turn-cloth"):
            return state.tell("In bays the crosses hold the lay on the cloth; point at them again.")
        if action == "leave":
            if state.page or state.checking_at is not None:
                return None
            if self.walk.phase != "trace" and self.walk.came is not None:
                return _step(state, self, stay)
        if action in ("arrange", "leave"):
            left = _kept(state.but(page="", tool=None), self.walk, on=False)
            return left.but(mode="arrange", chosen=state.current)
        handler = DOES[self.walk.phase].get(action)
        if handler is None:
            return state if action in ("trace", "bays") else None
        return handler(state.but(page=""), self)

    def items(self, state: State) -> Sequence[Item]:
        """Crosses with their letters, and the bright part of a piece that goes on in another bay."""
        out = []
        if self.walk.phase == "trace" and state.current in self.walk.bay.parts:
            out.append(self._part(state))
        crosses = crosses_shown(self.walk)
        if crosses:
            runs = [line for p in self.pieces for line in p.runs()]
            lines = tree_of(moved(runs, self.walk.view.table_from_cloth))
            out += [_cross(state.stage, c, lines) for c in crosses]
        return out

    def retaken(self, state: State) -> State:
        """The view was set by other means (aligned): the bay lies as it says now."""
        return synced(state, replace(self, walk=replace(self.walk, view=state.work.view)))

    def is_done(self, state: State, key: str) -> bool:
        """Whether a piece is traced as far as this bay goes."""
        return key in state.work.traced or (key, self.walk.at) in self.walk.marked

    def lot(self, state: State) -> list[Placement]:
        """The copies of this bay."""
        return [p for p in state.work.placed() if p.key in self.walk.bay.keys]

    def next(self, state: State, after: str | None) -> str | None:
        """The next piece to trace here."""
        lot = self.lot(state)
        marked = [p.key for p in lot if self.is_done(state, p.key)]
        return order.next_piece(state.stage, lot, marked, after=after)

    def _part(self, state: State) -> Item:
        """The lines of the current piece as far as this bay goes, and ticks where it ends."""
        stage, walk = state.stage, self.walk
        key = str(state.current)
        p = state.work.of(key)
        marks: list[Mark] = []
        if p is not None:
            shown = SHOWN_LINES[stage.look.lines]
            face, share = stage.faces.of(p), walk.bay.parts[key]
            for kind in KINDS:
                if kind in ("cutting", "sewing") and kind not in shown:
                    continue
                lines = moved(face.lines.get(kind, ()), p.cloth_from_piece)
                here = [b for line in lines for b in clip(line, share)]
                wider = 1.25 if kind == "cutting" else 1.0
                marks.append(stage.mark(kind, here, "bright", wider=wider))
            mine = next((q for q in self.pieces if q.key == key), None)
            if mine is not None:
                marks.append(stage.mark("strong", lines_here(walk.plan, walk.at, mine)[2]))
        made = tuple(m for m in marks if len(m.points))
        return Item("bay part", made, walk.view.table_from_cloth)


def _cross(stage: Stage, shown: ShownCross, lines: STRtree | None) -> Item:
    """A cross along the cloth's threads, its letter upright to her beside it, where it is farthest
    from every line."""
    frame = stage.reading_frame(shown.at_table)
    turn = rigid(shown.turn_deg - stage.reading_deg, (0.0, 0.0))
    bright = "bright" if shown.kind in ("chalk", "next", "later") else "faint"
    kind = "chosen" if shown.kind in ("next", "later") else "strong"
    marks = [stage.mark(kind, moved(cross(0.0, 0.0, shown.arm_mm), turn), bright)]
    ring_mm = {"next": shown.arm_mm + 7.0, "taken": 5.0}.get(shown.kind)
    if ring_mm is not None:
        marks.append(stage.mark(kind, [circle(0.0, 0.0, ring_mm)], bright))
    arm = shown.arm_mm + (8.0 if shown.kind == "next" else 0.0)
    d, e = 0.75 * arm + 0.7 * _LABEL_MM, arm + 0.8 * _LABEL_MM
    spots = np.array([(d, d), (-d, d), (d, -d), (-d, -d), (0, e), (0, -e), (e, 0), (-e, 0)])
    gap = gap_to(carry(frame, spots), lines)
    free = np.flatnonzero(gap > _LABEL_MM)  # the first that is free: letters stand alike
    spot = spots[free[0] if free.size else np.argmax(gap)]
    marks.append(stage.mark("label", text_block([shown.label], _LABEL_MM, spot), bright))
    return Item(f"cross {shown.label}", tuple(marks), frame)


def _step(state: State, tool: BayTool, change: Callable[[Baywalk], Baywalk]) -> State:
    before = tool.walk
    try:
        walk = change(before)
    except InputError as error:
        return state.tell(str(error.faults[0]).removeprefix("bays: ").capitalize(), 8.0)
    tool = replace(tool, walk=walk, parts=(), at=state.pointer_mm)
    if walk.phase == "trace" and before.phase != "trace":
        state = state.but(current=tool.next(state, None))
        if walk.registration is not None:
            state = state.tell(told(walk.registration))
    return synced(state, tool)


def synced(state: State, tool: BayTool) -> State:
    """View, picture and docket after a step."""
    walk = replace(tool.walk, view=replace(tool.walk.view, side=state.work.view.side))
    state = state.lies(walk.view)
    unlit = (0.0, 0.0)
    if walk.phase == "trace":
        unlit = out_of_beam(walk.plan, walk.at, tool.pieces, state.stage.calibration, walk.view)
    tool = replace(tool, walk=walk, unlit=unlit)
    return _kept(state.but(tool=tool), walk, on=True)


def _kept(state: State, walk: Baywalk, *, on: bool) -> State:
    return state.keep(bays={"on": on, "light": light_of(state), **to_dict(walk)})


def _trace_go_on(state: State, tool: BayTool) -> State:
    key, walk = state.current, tool.walk
    if key is not None and key in walk.bay.keys and not tool.is_done(state, key):
        work, whole = state.work, key in walk.bay.whole
        parts = tool.parts
        if not whole:
            parts = (*parts, (key, walk.marked, state.history.past))
            walk, whole = mark(walk, key)
        if whole and key not in work.traced:
            state = state.change(replace(work, traced=(*work.traced, key)), key)
        tool = replace(tool, walk=walk, parts=parts)
        state = synced(state.but(current=tool.next(state, key)), tool)
        return state if state.current is not None else _bay_done(state, tool)
    if key is None and tool.next(state, None) is None:
        return _bay_done(state, tool) if walk.last else _step(state, tool, next_bay)
    return synced(state.but(current=tool.next(state, key)), tool)


def _bay_done(state: State, tool: BayTool) -> State:
    left = [p.key for p in state.work.placed() if p.key not in state.work.traced]
    if not left:
        return state.tell(ALL_TRACED, 30.0)
    if tool.walk.last:
        where = sorted({i + 1 for k in left for i in tool.walk.plan.bay_of(k)})
        return state.tell(f"Left to trace in bay {' and '.join(map(str, where))}.", 10.0)
    return state


def _undo(state: State, tool: BayTool) -> State:
    """Back one step; marks on parts of a piece are not in the history."""
    if tool.parts and tool.parts[-1][2] is state.history.past:
        key, marked, _ = tool.parts[-1]
        walk = replace(tool.walk, marked=marked)
        return synced(state.but(current=key), replace(tool, walk=walk, parts=tool.parts[:-1]))
    if state.history.past is None:
        return synced(state.tell("Nothing left to undo."), tool)
    traced = state.work.traced
    told = difference(state.history.back().now, state.work)
    state = state.but(history=state.history.back()).took().tell(f"Undone: {told}.")
    for key in traced:
        if key not in state.work.traced:
            tool = replace(tool, walk=unmark(tool.walk, key))
            if key in tool.walk.bay.keys:
                state = state.but(current=key)
            if tool.parts and tool.parts[-1][0] == key:
                tool = replace(tool, parts=tool.parts[:-1])
    return synced(state, tool)


def _redo(state: State, tool: BayTool) -> State:
    return synced(state.but(history=state.history.forth()).took(), tool)


def _neighbour(step: int) -> Callable[[State, BayTool], State]:
    def made(state: State, tool: BayTool) -> State:
        current = order.neighbour(state.stage, tool.lot(state), state.current, step)
        return synced(state.but(current=current), tool)

    return made


def _unmark(state: State, tool: BayTool) -> State:
    key = state.current
    if key is None or not tool.is_done(state, key):
        return state.tell("This piece is not marked.")
    tool = replace(tool, walk=unmark(tool.walk, key))
    if key in state.work.traced:
        state = state.change(state.work.unmarked(key), key)
    return synced(state, tool)


def _side(state: State, tool: BayTool) -> State:
    return synced(side(state, False), tool)


def _move_go_on(state: State, tool: BayTool) -> State:
    at, cross = state.pointer_mm, tool.walk.next_cross
    label = f"cross {cross.label}" if cross is not None else "the cross"
    # a presenter's button pressed twice must not take the pointer where it happens to be
    if at is None or (tool.at is not None and float(np.hypot(*(at - tool.at))) < _MOVED_MM):
        return state.tell(f"Move the pointer onto {label} first.")
    return tool.press(state, at)


def _stepping(change: Callable[[Baywalk], Baywalk]) -> Callable[[State, BayTool], State]:
    return lambda state, tool: _step(state, tool, change)


def _not_yet(walk: Baywalk) -> Baywalk:
    return stay(walk) if walk.came is not None else previous_bay(walk)


_POINT_AGAIN, _TAKE_BACK = _stepping(again), _stepping(take_back)
_BACK = _stepping(lambda walk: take_back(walk) if walk.taken else stay(walk))
# phase → action → what it does there
DOES: Mapping[str, Mapping[str, Callable[[State, BayTool], State]]] = {
    "trace": {
        "go-on": _trace_go_on,
        "go-back": _neighbour(-1),
        "next": _neighbour(1),
        "unmark": _unmark,
        "undo": _undo,
        "redo": _redo,
        "side": _side,
        "next-bay": _stepping(next_bay),
        "previous-bay": _stepping(previous_bay),
        "point-again": _POINT_AGAIN,
    },
    "move": {
        "go-on": _move_go_on,
        "go-back": _BACK,
        "undo": _BACK,
        "side": _side,
        "next-bay": _stepping(lambda walk: go(walk, walk.at + 1)),
        "previous-bay": _stepping(_not_yet),
        "point-again": _POINT_AGAIN,
    },
    "check": {
        "go-on": _POINT_AGAIN,
        "point-again": _POINT_AGAIN,
        "keep-fit": _stepping(keep),
        "go-back": _TAKE_BACK,
        "undo": _TAKE_BACK,
        "side": _side,
    },
}


def light_of(state: State) -> list[float]:
    """What tells one calibration from another: where five of its pixels fall on the table, mm."""
    w, h = state.stage.calibration.size
    px = np.array([[0, 0], [w, 0], [w, h], [0, h], [w / 2, h / 2]], dtype=np.float64)
    return [round(float(v), 2) + 0.0 for v in state.stage.calibration.to_table(px).ravel()]
