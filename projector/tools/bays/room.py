"""Bays at the table: tracing a lay that is larger than the beam, with the cloth moved between.

Between the table and the pure steps of `baywalk`: holds one state of theirs, shows it as marks of
light, and keeps it in the docket's ``table`` after every step.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import InputError
from configs.units import length_text
from drafting.placement import carry
from projector.picture import order
from projector.picture.faces import text_block
from projector.picture.look import LINES as SHOWN_LINES
from projector.picture.marks import Item, Mark, circle, moved
from projector.picture.view import rigid
from projector.session.registry import Row
from projector.session.rules import under
from projector.session.standing import side
from projector.session.state import State
from projector.session.words import difference
from projector.tools.align import told
from projector.tools.bays.kept import to_dict
from projector.tools.bays.model import Laid
from projector.tools.bays.plane import clip, cross_lines, distance_to, lines_here
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
)
from projector.tools.bays.window import out_of_beam
from projector.tools.protocol import Pressed

if TYPE_CHECKING:
    from drafting.placement import Placement
    from projector.picture.stage import Stage

Array = NDArray[np.float64]
Spot = tuple[float, float]
Cleared = tuple[str, Any, object]  # a part marked: the piece, the marks before, the history then
_LABEL_MM = 12.0
_MOVED_MM = 3.0  # a pointer that has moved less than this was not brought to the next cross
KINDS = ("cutting", "sewing", "fold", "dart", "notch", "mark", "inner")
_ALL = "All traced. Turn the room light up before you cut."
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
class BayTool(Pressed):
    """Tracing in bays; ``walk`` is where she is, ``pieces`` the lay that the plan was made for.

    ``unit``: that lengths are told in, None for millimetres and centimetres; ``lines``: of the lay,
    table mm; ``spots``: where each cross's letter stands beside it; ``unlit``: (x, y) mm by which
    the bay lies out of the beam; ``tally``: the piece's name, how many are traced here, of how many;
    ``parts``: marks on parts of pieces, which are not in the history; ``at``: the pointer's place
    at the last step.
    """

    walk: Baywalk
    pieces: list[Laid]
    unit: str | None = None
    lines: tuple[Array, ...] = field(default=(), repr=False)
    spots: Mapping[tuple[str, bool], Spot] = field(default_factory=dict, repr=False)
    unlit: tuple[float, float] = (0.0, 0.0)
    tally: tuple[str, int, int] = ("", 0, 0)
    parts: tuple[Cleared, ...] = field(default=(), repr=False)
    at: Array | None = None

    @property
    def row(self) -> Row:
        """Which row of buttons."""
        return _ROW[self.walk.phase]

    @property
    def says(self) -> str:
        """For the strip: parts by line breaks; those that find no room are left out, last first."""
        lines = said(self.walk, self.unit).split("\n")
        if self.walk.phase != "trace":
            return "\n".join(lines)
        name, count, total = self.tally
        more = f": on to bay {self.walk.at + 2}" if count == total and not self.walk.last else ""
        mine = [name] if name else []
        if self.unlit != (0.0, 0.0):
            mine.insert(0, f"part of it is not lit: {self._unlit_words()}")
        mine.append(f"{count} of {total} traced here{more}")
        return "\n".join([lines[0], *mine, *lines[1:], *self._notes()])

    def _notes(self) -> tuple[str, ...]:
        new = {c.label for c in self.walk.plan.to_chalk(self.walk.at)}
        return tuple(n for n in self.walk.plan.notes if new & set(n.split(" lie")[0].split()))

    def _unlit_words(self) -> str:
        x, y = self.unlit
        up = np.radians(self.walk.view.up_deg)
        right, away = x * np.cos(up) + y * np.sin(up), -x * np.sin(up) + y * np.cos(up)
        ways = []
        if abs(right) >= 1.0:
            way = "right" if right > 0 else "left"
            ways.append(f"{length_text(round(abs(right)), self.unit)} to your {way}")
        if abs(away) >= 1.0:
            way = "away from" if away > 0 else "towards"
            ways.append(f"{length_text(round(abs(away)), self.unit)} {way} you")
        return f"move the cloth {' and '.join(ways) or 'a little'}, point again"

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
        tool = self
        if tool.walk.phase == "check":
            state = _step(state, tool, again)
            tool = _of(state)
        if tool.walk.phase == "move":
            return _step(state, tool, lambda w: point(w, (float(at[0]), float(at[1]))))
        cloth = carry(state.work.view.cloth_from_table, at[None])[0]
        key = under(state.rules, state.work.lay, cloth)
        if key in self.walk.bay.keys:
            return _counted(state.but(current=key), self)
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
        out += [self._cross(state.stage, c) for c in crosses_shown(self.walk)]
        return out

    def retaken(self, state: State) -> State:
        """The view was set by other means (aligned): the bay lies as it says now."""
        return synced(state, replace(self, walk=self.walk.with_view(state.work.view)))

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

    def _cross(self, stage: Stage, cross: ShownCross) -> Item:
        """A cross along the cloth's threads, its letter upright to her beside it."""
        x, y = cross.at_table
        frame = rigid(stage.reading_deg, (x, y))
        turn = rigid(cross.turn_deg - stage.reading_deg, (0.0, 0.0))
        strokes = moved(cross_lines((0.0, 0.0), cross.arm_mm), turn)
        kind, emphasis = {
            "chalk": ("strong", "bright"),
            "next": ("chosen", "bright"),
            "later": ("chosen", "bright"),
            "taken": ("strong", "faint"),
            "old": ("strong", "faint"),
        }[cross.kind]
        marks = [stage.mark(kind, strokes, emphasis)]
        if cross.kind == "next":
            marks.append(stage.mark(kind, [circle(0.0, 0.0, cross.arm_mm + 7.0)], emphasis))
        if cross.kind == "taken":
            marks.append(stage.mark(kind, [circle(0.0, 0.0, 5.0)], emphasis))
        letter = text_block([cross.label], _LABEL_MM)
        away = self.spots.get((cross.label, cross.kind == "next"))
        if away is None:
            away = _spot(stage, cross, self.lines)
        shown = "bright" if cross.kind in ("chalk", "next", "later") else "faint"
        marks.append(stage.mark("label", moved(letter, rigid(0.0, away)), shown))
        return Item(f"cross {cross.label}", tuple(marks), frame)


def _spot(stage: Stage, cross: ShownCross, lines: Sequence[Array]) -> Spot:
    """Where beside a cross its letter is farthest from every line, in the reading frame."""
    frame = rigid(stage.reading_deg, cross.at_table)
    arm = cross.arm_mm + (8.0 if cross.kind == "next" else 0.0)
    d = 0.75 * arm + 0.7 * _LABEL_MM
    e = arm + 0.8 * _LABEL_MM
    spots = np.array([(d, d), (-d, d), (d, -d), (-d, -d), (0, e), (0, -e), (e, 0), (-e, 0)])
    gap = distance_to(carry(frame, spots), list(lines))
    free = np.flatnonzero(gap > _LABEL_MM)  # the first that is free: letters stand alike
    best = int(free[0]) if free.size else int(np.argmax(gap))
    return float(spots[best, 0]), float(spots[best, 1])


def _of(state: State) -> BayTool:
    """The bays that are in use."""
    if not isinstance(state.tool, BayTool):
        raise TypeError("no bays are in use")
    return state.tool


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
    walk = tool.walk.with_view(tool.walk.view.replace(side=state.work.view.side))
    state = state.lies(walk.view)
    stage, a = state.stage, walk.view.table_from_cloth
    lines = tuple(moved([line], a)[0] for p in tool.pieces for line in p.runs())
    unlit = (0.0, 0.0)
    if walk.phase == "trace":
        unlit = out_of_beam(walk.plan, walk.at, tool.pieces, stage.calibration, walk.view)
    spots = {(c.label, c.kind == "next"): _spot(stage, c, lines) for c in crosses_shown(walk)}
    tool = replace(tool, walk=walk, lines=lines, spots=spots, unlit=unlit)
    return _kept(_counted(state, tool), walk, on=True)


def _counted(state: State, tool: BayTool) -> State:
    """With what is traced here counted."""
    keys = tool.walk.bay.keys
    name = (state.current or "").rsplit("/", 1)[0].replace("-", " ")
    count = sum(tool.is_done(state, k) for k in keys)
    return state.but(tool=replace(tool, tally=(name, count, len(keys))))


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
        return state.tell(_ALL, 30.0)
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
    kept = tuple(k for k in state.work.traced if k != key)
    if kept != state.work.traced:
        state = state.change(replace(state.work, traced=kept), key)
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
