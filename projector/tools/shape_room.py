"""Shaping on the cloth: the garment's own lengths are pulled at true size, and drafted again at once.

Every grip is a style option or a change of fit, so the docket stays the truth: what is pulled is what
it says afterwards. The outline as it was stays faintly below. What is under way is kept in the
docket's ``table`` until it is taken, so that a power cut loses nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from configs.errors import ChalkbeamError, InputError
from configs.units import parse_length
from drafting.cloth import Cloth
from drafting.grips import Grip, grips, moved_along, moved_pieces, pulled
from drafting.lay.cuts import specs_of
from drafting.placement import Array, Placement, carry
from drafting.shaping.places import nearest_dart, nearest_place
from projector.lettering import text_strokes, text_width
from projector.picture import signs
from projector.picture.marks import Item, polyline, ring
from projector.session.merge import placement_from
from projector.session.registry import Row
from projector.session.rules import Work
from projector.session.words import named
from projector.tools.protocol import Tool

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.piece import Piece
    from projector.picture.stage import Stage
    from projector.session.state import State

XY = tuple[float, float]

_REACH_MM = 35.0  # of a press from the grip that it takes
_HALF_MM = 7.0  # of a grip's diamond
_STEP_MM, _STEP_IN_MM = 1.0, 25.4 / 16  # what a pull is rounded to
_LARGE = 10  # steps of a large one
_WORDS_MM = 10.0  # capitals of a grip's words

# what does not touch where pieces lie or which there are; anything else waits until it is done
_AS_ALWAYS = (
    "help", "more", "choose", "lines", "ink", "wider", "thinner", "blank", "work-light", "check",
    "side", "hand", "strip", "centre", "turn-cloth", "flip-cloth", "calibrate", "quit",
)  # fmt: skip


@dataclass(frozen=True)
class Op:
    """An operation of the scissors that is pointed at: the word for it, what is asked for at each
    press, how each place is found, and what else its entry says."""

    word: str
    asks: tuple[str, ...]
    places: tuple[Callable[[Piece, XY], tuple[str, float] | None], ...]
    more: Mapping[str, str]


_OPS: Mapping[str, Op] = {
    "cut": Op(
        "Cut", ("Cut: press on an edge where it begins", "and on another where it ends"),
        (nearest_place, nearest_place), {},
    ),
    "spread": Op(
        "Spread by 2 cm", ("Spread: press on the edge that opens", "and on the one that stays"),
        (nearest_place, nearest_place), {"by": "2 cm"},
    ),
    "pivot": Op(
        "Dart moved", ("Dart: press on it", "and on the edge where it is to go"),
        (nearest_dart, nearest_place), {},
    ),
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Held:
    """A grip in her hand: where it was taken (2,) table mm, its value and the docket then."""

    start: Array
    grip: Grip
    docket: Docket


@dataclass(frozen=True, eq=False)
class ShapeTool(Tool):
    """``base``: the docket as it was, ``lay``: how it lay, ``below``: its stage; ``at``: the grip that is
    chosen; ``past``: what to go back to, ``future``: to go forth to; ``op``: the operation that is
    being pointed at, ``pressed``: its places so far (piece, words); ``text``: typed so far."""

    ROW = Row(
        "shape",
        (
            "next", "away", "toward", "cut-here", "spread-here", "dart-here", "undo", "drop", "keep-as",
            "leave",
        ),
        handle=("next", "undo", "leave"),
        words={
            "next": "Other grip", "away": "More", "toward": "Less", "drop": "As it was",
            "leave": "Done",
        },
    )  # fmt: skip

    base: Docket
    lay: Work
    below: Stage
    grips: tuple[Grip, ...]
    at: int = 0
    held: Held | None = None
    past: tuple[tuple[Docket, Work], ...] = ()
    future: tuple[tuple[Docket, Work], ...] = ()
    op: str = ""
    pressed: tuple[tuple[str, str], ...] = ()
    changed: tuple[str, ...] = ()
    old: tuple[Any, Item | None] = (None, None)
    text: str = ""

    @property
    def grip(self) -> Grip:
        """The grip that is chosen."""
        return self.grips[self.at]

    @property
    def in_hand(self) -> bool:
        """Whether a grip is."""
        return self.held is not None

    def says(self, state: State) -> str:
        """The grip, its value, and how it is changed; or what to press on next."""
        if self.op:
            asked, so_far = _OPS[self.op].asks[len(self.pressed)], (w for _, w in self.pressed)
            return f"{asked}\n{' → '.join(so_far)}"
        if not self.grips:
            return "Nothing here can be pulled any more"
        typed = f"typed {self.text} _, Enter" if self.text else "pull it, or type a length"
        return f"{self.grip.name} {state.length(self.grip.value_mm)}\n{typed}\n{self.grip.text}"

    def clear_of(self, state: State) -> Array:
        """The grips themselves."""
        return np.array([self.on_table(state, g) for g in self.grips]).reshape(-1, 2)

    def placement(self, state: State, grip: Grip) -> Placement:
        """The copy that a grip is shown on: none is put aside while the garment is shaped."""
        return next(p for p in state.work.placed() if p.piece == grip.piece)

    def on_table(self, state: State, grip: Grip) -> Array:
        """(2,) table mm of a grip."""
        return carry(state.stage.table_from_piece(self.placement(state, grip)), grip.at)

    def items(self, state: State) -> Sequence[Item]:
        """The outlines as they were, a diamond at each grip, and at the chosen one its name and way."""
        stage = state.stage
        out = [] if self.old[1] is None else [self.old[1]]
        r = _HALF_MM
        diamond = ring(polyline((r, 0), (0, r), (-r, 0), (0, -r)))
        others = []
        for i, grip in enumerate(self.grips):
            frame = stage.reading_frame(self.on_table(state, grip))
            if i != self.at:
                others.append(carry(frame, diamond))
                continue
            way = stage.table_from_piece(self.placement(state, grip))[:2, :2] @ grip.way
            along = frame[:2, :2].T @ (way / max(float(np.hypot(*way)), 1e-9))
            lines = [diamond, 1.5 * diamond, _arrow(along), _arrow(-along)]
            text = f"{grip.name} {self.text or state.length(grip.value_mm)}"
            spot = _beside(stage, frame, 2.0 * r if along[1] <= 0.3 else -3.4 * r, text)
            words = [s + spot for s in text_strokes(text, _WORDS_MM)]
            marks = (stage.mark("strong", lines), stage.mark("text", words))
            out.append(Item("grip", marks, frame))
        if others:
            out.append(Item("grips", (stage.mark("strong", others),), np.eye(3)))
        return out

    def press(self, state: State, at: Array) -> State:
        """A grip is taken, or a place for the operation; a press elsewhere takes none."""
        if self.op:
            return self.pointed(state, at)
        if not self.grips:
            return state
        gaps = [math.dist(self.on_table(state, g), at) for g in self.grips]
        nearest = int(np.argmin(gaps))
        if gaps[nearest] > _REACH_MM:
            return state
        held = Held(at, self.grips[nearest], state.docket)
        return state.but(tool=replace(self, at=nearest, held=held, text=""))

    def move(self, state: State, at: Array) -> State:
        """The grip follows the hand, and the garment is drafted with it."""
        if self.held is None:
            return state
        grip = self.held.grip
        a = state.stage.table_from_piece(self.placement(state, grip))[:2, :2]
        value = _rounded(state, grip.pulled_to(np.linalg.inv(a) @ (at - self.held.start)), grip)
        return self.valued(state, self.held.docket, grip, value)

    def let_go(self, state: State) -> State:
        """The garment stays as it was pulled: one step to undo."""
        held = self.held
        if held is None:
            return state
        tool = replace(self, held=None)
        if state.docket is held.docket:
            return state.but(tool=tool)
        return tool.kept(state, (held.docket, state.work))

    def typed(self, state: State, name: str) -> State | None:
        """A length is typed; Enter takes it."""
        if self.op or not self.grips:
            return None
        if name == "return" and self.text:
            try:
                unit = "in" if state.inches else "cm"
                value = parse_length(self.text.strip(), unit, self.grip.name, True)
            except InputError as error:
                return state.tell(str(error.faults[0])).but(tool=replace(self, text=""))
            grip = self.grip
            if not grip.low_mm <= value <= grip.high_mm:
                return self.refused(state, grip).but(tool=replace(self, text=""))
            return replace(self, text="").set_to(state, value)
        if name == "backspace" and self.text:
            return state.but(tool=replace(self, text=self.text[:-1]))
        letter = {"space": " "}.get(name, name) if self.text else name
        if len(letter) == 1 and letter in ("0123456789" + (" ./,-cmin" if self.text else "")):
            return state.but(tool=replace(self, text=self.text + letter))
        return None

    def do(self, state: State, action: str) -> State | None:
        """More, less, another grip, back, as it was, done."""
        if action in self.DOES:
            return self.DOES[action](state, replace(self, text=""))
        if action in _AS_ALWAYS:
            return None
        text = f"First take what is shaped [{state.key_words('leave')}], or as it was, then that."
        return state.tell(text)

    def unpointed(self) -> ShapeTool:
        """No operation is pointed at any more."""
        return replace(self, op="", pressed=())

    # -- what follows ------------------------------------------------------------------------------

    def set_to(self, state: State, value: float) -> State:
        """The chosen grip at another value: a finished change, where it can be drafted."""
        made = self.valued(state, state.docket, self.grip, value)
        if made.docket is state.docket or not isinstance(made.tool, ShapeTool):
            return made.but(tool=self)
        return made.tool.kept(made, (state.docket, made.work))

    def valued(self, state: State, docket: Docket, grip: Grip, value: float) -> State:
        """The garment drafted with another value of a grip, from ``docket``; refused it stays."""
        if abs(value - self.grip.value_mm) < 1e-9:
            return state
        try:
            made = state.drafted(pulled(docket, grip.key, value))
        except ChalkbeamError as error:
            return state.tell(f"No farther: {error.faults[0].what}")
        now = tuple(
            replace(g, value_mm=value) if g.key == grip.key else g
            for g in moved_along(made.docket, self.grips)
        )
        if len(now) < len(self.grips):  # an edge has come or gone: looked for anew when let go
            return state.tell("No farther: the outline would get other edges.")
        tool = replace(self, grips=now).compared(made)
        made = made.but(tool=tool)
        return tool.refused(made, grip) if value in (grip.low_mm, grip.high_mm) else made

    def compared(self, state: State) -> ShapeTool:
        """With what has changed since it was opened, and the old outlines of that."""
        changed = tuple(moved_pieces(self.base.pieces(), state.docket.pieces()))
        known = [
            p for p in state.work.placed() if p.piece in changed and p.piece in self.below.faces
        ]
        key = (tuple(known), state.stage.view, state.stage.look, state.stage.lens)
        if self.old[0] == key:
            return replace(self, changed=changed)
        below = self.below.with_view(state.stage.view).with_look(state.stage.look)
        item = signs.ghost(below, known, []) if known else None
        return replace(self, changed=changed, old=(key, item))

    def refused(self, state: State, grip: Grip) -> State:
        """That a value has come to its limit."""
        limits = f"{state.length(grip.low_mm)} to {state.length(grip.high_mm)}"
        return state.tell(f"{grip.name}: {limits}.")

    def kept(self, state: State, before: tuple[Docket, Work]) -> State:
        """A finished change: noted, with a way back; chalk of another outline is told."""
        state = state.but(tool=replace(self, past=(*self.past, before), future=()))
        chalked = [k for k in self.lay.traced if k.rpartition("/")[0] in self.gone(state)]
        if chalked:
            names = ", ".join(map(named, chalked))
            state = state.tell(f"The chalk of {names} is of the old line, shown faintly.", 10.0)
        return self.noted(state)

    def noted(self, state: State) -> State:
        """What is under way kept on the disk, beside the docket's own garment and lay."""
        if state.docket is self.base:
            return state.keep(shaping=None).but(noted=None)
        lay = [asdict(p) for p in state.work.lay]
        shaping = {"garment": dict(state.docket.garment or {}), "lay": lay}
        return state.keep(shaping=shaping).but(noted=replace(self.lay, view=state.work.view))

    def gone(self, state: State) -> set[str]:
        """Pieces of the base that are otherwise now, or are no more."""
        return {*self.changed, *(self.base.pieces().keys() - state.docket.pieces().keys())}

    def pointed(self, state: State, at: Array) -> State:
        """A place was pressed for the operation; the last of them does it."""
        op, found = _OPS[self.op], None
        for p in state.work.placed():
            piece = state.docket.pieces()[p.piece]
            if self.pressed and p.piece != self.pressed[0][0]:
                continue
            a = np.linalg.inv(state.stage.table_from_piece(p))
            spot = a[:2, :2] @ at + a[:2, 2]
            place = op.places[len(self.pressed)](piece, (float(spot[0]), float(spot[1])))
            if place is not None and place[1] <= _REACH_MM and (not found or place[1] < found[0]):
                found = (place[1], p.piece, place[0])
        if found is None:
            return state.tell(f"Nothing to take there. {op.asks[len(self.pressed)]}.")
        pressed = (*self.pressed, found[1:])
        if len(pressed) < len(op.asks):
            return state.but(tool=replace(self, pressed=pressed))
        piece_name, (first, last) = pressed[0][0], (pressed[0][1], pressed[-1][1])
        garment = dict(state.docket.garment or {})
        entry = {self.op: piece_name, "from": first, "to": last, **op.more}
        garment["changes"] = [*(garment.get("changes") or []), entry]
        before = (state.docket, state.work)
        try:
            docket = state.docket.replace(garment=garment, lay=(), traced=())
            made = self.back_to(state, docket)
        except ChalkbeamError as error:
            fault = error.faults[0]
            told = f"Not so: {fault.what} {fault.remedy}".strip()
            return state.tell(told, 12.0).but(tool=self.unpointed())
        tool = made.tool
        assert isinstance(tool, ShapeTool)
        return tool.kept(made, before).tell(
            f"{op.word}: {first} to {last}. Undo takes it back.", 8.0
        )

    def back_to(self, state: State, docket: Docket, work: Work | None = None) -> State:
        """Another docket of this sitting, its grips looked for anew; ``work``: where its pieces lie,
        when not as those of now."""
        laid = laid_anew(docket, state.work, state.docket) if work is None else work
        state = state.drafted(docket, replace(laid, view=state.work.view))
        found = _laid_grips(state)
        known = self.grip.key if self.grips else ""
        at = next((i for i, g in enumerate(found) if g.key == known), 0)
        tool = replace(self, grips=found, at=at, op="", pressed=()).compared(state)
        return tool.noted(state.but(tool=tool))


def laid_anew(docket: Docket, work: Work, before: Docket) -> Work:
    """Where the pieces of a docket lie that was changed: what is new lies where the piece lay that it
    was cut from; more copies than lay there are put aside."""
    names, old = docket.pieces(), before.pieces()
    fresh = [n for n in names if n not in old]
    cloth = docket.cloth if docket.cloth is not None else Cloth()
    specs = specs_of(names, cloth, docket.rules).of
    lay: list[Placement] = []
    for p in work.lay:
        if p.piece in names:
            lay.append(p)
            continue
        for name in fresh:
            there = {q.key for q in lay}
            for n, cut in enumerate(specs[name].cuts if name in specs else ()):
                copy = cut.copies[0]
                if f"{name}/{copy}" not in there:
                    off = n > 0 or p.aside
                    lay.append(replace(p, piece=name, copy=copy, locked=False, aside=off))
    keys = {p.key for p in lay}
    return replace(work, lay=tuple(lay), traced=tuple(k for k in work.traced if k in keys))


def _beside(stage: Stage, frame: Array, up: float, text: str) -> Array:
    """(2,) where a grip's words begin in its frame: to its right, or to its left where they would
    leave the light."""
    wide, gap = text_width(text, _WORDS_MM), 2.4 * _HALF_MM
    ends = polyline((gap, up), (gap + wide + gap, up + _WORDS_MM))
    fits = bool(stage.lens.covers(carry(frame, ends)).all())
    return np.array([gap if fits else -gap - wide, up])


def _arrow(along: Array) -> Array:
    """An open arrow head and its shaft outwards from a grip, mm."""
    side = np.array([-along[1], along[0]])
    tip = 26.0 * along
    return np.array(
        [12.0 * along, tip, tip - 6.0 * along + 4.0 * side, tip, tip - 6.0 * along - 4.0 * side]
    )


def _laid_grips(state: State) -> tuple[Grip, ...]:
    laid = {p.piece for p in state.work.placed()}
    return tuple(g for g in grips(state.docket) if g.piece in laid)


def _rounded(state: State, mm: float, grip: Grip) -> float:
    """A value in whole steps of her unit, within the limits."""
    step = _step_mm(state)
    return min(max(round(mm / step) * step, grip.low_mm), grip.high_mm)


def _step_mm(state: State) -> float:
    return _STEP_IN_MM if state.inches else _STEP_MM


def _by(steps: int) -> Callable[[State, ShapeTool], State]:
    def step(state: State, tool: ShapeTool) -> State:
        grip = tool.grip
        value = _rounded(state, grip.value_mm + steps * _step_mm(state), grip)
        return tool.refused(state, grip) if value == grip.value_mm else tool.set_to(state, value)

    return step


def _other(by: int) -> Callable[[State, ShapeTool], State]:
    return lambda state, tool: state.but(tool=replace(tool, at=(tool.at + by) % len(tool.grips)))


def _travel(state: State, tool: ShapeTool, *, back: bool) -> State:
    """To the garment before, or forth again."""
    if back and tool.op:
        return state.but(tool=tool.unpointed())
    there, here = tool.past if back else tool.future, (state.docket, state.work)
    if not there:
        none = "Nothing left to undo here." if back else "Nothing to do again."
        return state.tell(none).but(tool=tool)
    past = tool.past[:-1] if back else (*tool.past, here)
    future = (*tool.future, here) if back else tool.future[:-1]
    return replace(tool, past=past, future=future).back_to(state, *there[-1])


def _as_it_was(state: State, tool: ShapeTool) -> State:
    if state.docket is tool.base:
        return state.tell("It is as it was.").but(tool=tool.unpointed())
    past = (*tool.past, (state.docket, state.work))
    made = replace(tool, past=past, future=())
    return made.back_to(state, tool.base, tool.lay).tell("As it was.")


def _done(state: State, tool: ShapeTool) -> State:
    """The garment is taken as it is now: the marks of pieces that changed go with their old lines."""
    if tool.op:
        return state.but(tool=tool.unpointed())
    if state.docket is tool.base:
        return state.but(tool=tool.before, noted=None).keep(shaping=None)
    return state.but(tool=tool, reshaped=state.docket)


def taken(state: State) -> State:
    """After the docket has the garment as it was shaped: the tool closed, old chalk told."""
    tool = state.tool
    if not isinstance(tool, ShapeTool):
        return state
    state = state.but(tool=tool.before, noted=None).keep(shaping=None)
    kept = tuple(k for k in state.work.traced if k.rpartition("/")[0] not in tool.gone(state))
    gone = len(tool.lay.traced) - len(kept)
    state = state.change(replace(state.work, traced=kept)) if kept != state.work.traced else state
    told = " Brush out the chalk of the old lines." if gone else ""
    return state.tell(f"The garment is changed.{told}", 8.0)


def _keep_as(state: State, tool: ShapeTool) -> State:
    """The changed garment in a docket of its own; this one as it was."""
    if state.docket is tool.base:
        return state.tell("It is as it was: there is nothing to keep.").but(tool=tool)
    made = state.docket.replace(lay=state.work.lay, traced=())
    return state.but(tool=tool, reshaped=made, anew_name=True)


def as_it_was(state: State) -> State:
    """After the shaped garment has a docket of its own: this one as it was, the tool closed."""
    tool = state.tool
    if not isinstance(tool, ShapeTool):
        return state
    return tool.back_to(state, tool.base, tool.lay).but(tool=tool.before)


def _points(op: str) -> Callable[[State, ShapeTool], State]:
    return lambda state, tool: state.but(tool=replace(tool, op=op, pressed=()))


ShapeTool.DOES = {
    "next": _other(1),
    "go-on": _other(1),
    "go-back": _other(-1),
    "away": _by(1),
    "toward": _by(-1),
    "right": _by(_LARGE),
    "left": _by(-_LARGE),
    "undo": partial(_travel, back=True),
    "redo": partial(_travel, back=False),
    "drop": _as_it_was,
    "keep-as": _keep_as,
    "cut-here": _points("cut"),
    "spread-here": _points("spread"),
    "dart-here": _points("pivot"),
    "shape": _done,
    "take": _done,
    "leave": _done,
}


def open_shape(state: State) -> State:
    """Begin to shape the garment on the cloth.

    Raises:
        InputError: it has no block, or none of its pieces that can be pulled is laid.
    """
    found = _laid_grips(state)
    if not found:
        what = "nothing here can be pulled: the pieces were imported, or are not laid."
        raise InputError.of("", what)
    tool = ShapeTool(state.docket, state.work, state.stage, found, before=state.tool)
    return state.but(tool=tool)


def resumed(state: State) -> State:
    """Shaping taken up where a power cut left it; what cannot be drafted any more is told."""
    held: Any = state.settings().get("shaping")
    if held is None:
        return state
    try:
        garment, lay = dict(held["garment"]), tuple(map(placement_from, held["lay"]))
        if garment == dict(state.docket.garment or {}):
            return state.keep(shaping=None)
        opened = open_shape(state)
        tool, docket = opened.tool, opened.docket.replace(garment=garment, lay=(), traced=())
        assert isinstance(tool, ShapeTool)
        known = docket.pieces()
        work = replace(state.work, lay=tuple(p for p in lay if p.piece in known), traced=())
        return replace(tool, past=((state.docket, state.work),)).back_to(opened, docket, work)
    except (ChalkbeamError, AttributeError, KeyError, TypeError, ValueError):
        text = "What was pulled on the cloth cannot be drafted any more: the garment is as the docket says."
        return state.but(tool=None).keep(shaping=None).tell(text, 12.0)
