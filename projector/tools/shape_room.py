"""Shaping on the cloth: the garment's own lengths are pulled at true size, and drafted again at once.

Every grip is a style option or a change of fit, so the docket stays the truth: what is pulled is what
it says afterwards. The outline as it was stays faintly below. What is under way is kept in the
docket's ``table`` until it is taken, so that a power cut loses nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import ChalkbeamError, Fault, InputError
from configs.units import parse_length
from drafting.grips import Grip, grips, moved_along, moved_pieces, pulled
from drafting.placement import carry
from projector.lettering import text_strokes
from projector.picture import signs
from projector.picture.marks import Item, polyline, ring
from projector.session.registry import Row
from projector.session.words import named
from projector.tools.protocol import Tool

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.placement import Placement
    from projector.picture.stage import Stage
    from projector.session.state import State

Array = NDArray[np.float64]

_REACH_MM = 35.0  # of a press from the grip that it takes
_HALF_MM = 7.0  # of a grip's diamond
_STEP_MM, _STEP_IN_MM = 1.0, 25.4 / 16  # what a pull is rounded to
_LARGE = 10  # steps of a large one

ROW = Row(
    "shape",
    ("next", "away", "toward", "drop", "undo", "keep-as", "leave", "help"),
    handle=("next", "undo", "leave"),
    words={
        "next": "Other grip", "away": "More", "toward": "Less", "drop": "As it was",
        "leave": "Done",
    },
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Held:
    """A grip in her hand: where it was taken (2,) table mm, its value and the docket then."""

    start: Array
    grip: Grip
    docket: Docket


@dataclass(frozen=True, eq=False)
class ShapeTool:
    """``base``: the docket as it was, ``below``: its stage; ``at``: the grip that is chosen; ``past``:
    dockets to go back to, ``future``: to go forth to; ``text``: typed so far."""

    base: Docket
    below: Stage
    grips: tuple[Grip, ...]
    at: int = 0
    held: Held | None = None
    past: tuple[Docket, ...] = ()
    future: tuple[Docket, ...] = ()
    changed: tuple[str, ...] = ()
    old: tuple[Any, Item | None] = (None, None)
    text: str = ""
    inches: bool = False
    before: Tool | None = None

    @property
    def row(self) -> Row:
        """The strip's buttons."""
        return ROW

    @property
    def grip(self) -> Grip:
        """The grip that is chosen."""
        return self.grips[self.at]

    @property
    def says(self) -> str:
        """The grip, its value, and how it is changed."""
        typed = f"typed {self.text} _, Enter" if self.text else "pull it, or type a length"
        return f"{self.grip.name} {self.told(self.grip.value_mm)}\n{typed}\n{self.grip.text}"

    def told(self, mm: float) -> str:
        """A length as it is told to her."""
        from configs.units import length_text

        return length_text(mm, "in" if self.inches else None)

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Pieces are shown as always."""
        return None

    def clear_of(self, state: State) -> Array:
        """The grips themselves."""
        return np.array([self.on_table(state, g) for g in self.grips]).reshape(-1, 2)

    def placement(self, state: State, grip: Grip) -> Placement:
        """The copy that a grip is shown on."""
        return next(p for p in state.work.placed() if p.piece == grip.piece)

    def on_table(self, state: State, grip: Grip) -> Array:
        """(2,) table mm of a grip."""
        return carry(state.stage.table_from_piece(self.placement(state, grip)), grip.at)

    def items(self, state: State) -> Sequence[Item]:
        """The outlines as they were, a diamond at each grip, and at the chosen one its name and way."""
        stage = state.stage
        out = [] if self.old[1] is None else [self.old[1]]
        for i, grip in enumerate(self.grips):
            frame = stage.reading_frame(self.on_table(state, grip))
            r = _HALF_MM
            lines = [ring(polyline((r, 0), (0, r), (-r, 0), (0, -r)))]
            if i != self.at:
                out.append(Item(f"grip {i}", (stage.mark("strong", lines),), frame))
                continue
            lines += [1.5 * line for line in lines]
            way = stage.table_from_piece(self.placement(state, grip))[:2, :2] @ grip.way
            along = frame[:2, :2].T @ (way / max(float(np.hypot(*way)), 1e-9))
            lines += [_arrow(along), _arrow(-along)]
            text = f"{grip.name} {self.text or self.told(grip.value_mm)}"
            spot = np.array([2.4 * r, 2.0 * r if along[1] <= 0.3 else -3.4 * r])
            words = [s + spot for s in text_strokes(text, 10.0)]
            marks = (stage.mark("strong", lines), stage.mark("text", words))
            out.append(Item(f"grip {i}", marks, frame))
        return out

    def press(self, state: State, at: Array) -> State:
        """A grip is taken; a press elsewhere takes none."""
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
        value = self.rounded(grip.pulled_to(np.linalg.inv(a) @ (at - self.held.start)), grip)
        return self.set(state, self.held.docket, grip, value)

    def let_go(self, state: State) -> State:
        """The garment stays as it was pulled: one step to undo."""
        held = self.held
        if held is None:
            return state
        tool = replace(self, held=None)
        return (
            tool.kept(state, held.docket)
            if state.docket is not held.docket
            else state.but(tool=tool)
        )

    def typed(self, state: State, name: str) -> State | None:
        """A length is typed; Enter takes it."""
        if name == "return" and self.text:
            try:
                value = parse_length(
                    self.text.strip(), "in" if self.inches else "cm", self.grip.name, True
                )
            except InputError as error:
                return state.tell(str(error.faults[0])).but(tool=replace(self, text=""))
            before, grip = state.docket, self.grip
            if not grip.low_mm <= value <= grip.high_mm:
                return self.refused(state, grip).but(tool=replace(self, text=""))
            made = replace(self, text="").set(state, before, grip, value)
            return made.tool.kept(made, before) if isinstance(made.tool, ShapeTool) else made
        if name == "backspace" and self.text:
            return state.but(tool=replace(self, text=self.text[:-1]))
        letter = {"space": " "}.get(name, name) if self.text else name
        if len(letter) == 1 and letter in ("0123456789" + (" ./,-cmin" if self.text else "")):
            return state.but(tool=replace(self, text=self.text + letter))
        return None

    def do(self, state: State, action: str) -> State | None:
        """More, less, another grip, back, as it was, done."""
        handler = DOES.get(action)
        return None if handler is None else handler(state, replace(self, text=""))

    # -- what follows ------------------------------------------------------------------------------

    def rounded(self, mm: float, grip: Grip) -> float:
        """A value in whole steps of her unit, within the limits."""
        step = _STEP_IN_MM if self.inches else _STEP_MM
        return min(max(round(mm / step) * step, grip.low_mm), grip.high_mm)

    def set(self, state: State, docket: Docket, grip: Grip, value: float) -> State:
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
        limits = f"{self.told(grip.low_mm)} to {self.told(grip.high_mm)}"
        return state.tell(f"{grip.name}: {limits}.")

    def kept(self, state: State, before: Docket) -> State:
        """A finished change: noted, with a way back; chalk of another outline is told."""
        state = state.but(tool=replace(self, past=(*self.past, before), future=()))
        chalked = [k for k in state.work.traced if k.rpartition("/")[0] in self.changed]
        if chalked:
            names = ", ".join(map(named, chalked))
            state = state.tell(f"The chalk of {names} is of the old line, shown faintly.", 10.0)
        return state.keep(shaping=dict(state.docket.garment or {}))

    def back_to(self, state: State, docket: Docket) -> State:
        """Another docket of this sitting, its grips looked for anew."""
        state = state.drafted(docket)
        found = _laid_grips(state)
        at = next((i for i, g in enumerate(found) if g.key == self.grip.key), 0)
        same = docket is self.base
        tool = replace(self, grips=found, at=at).compared(state)
        return state.but(tool=tool).keep(shaping=None if same else dict(docket.garment or {}))


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


def _by(steps: int) -> Callable[[State, ShapeTool], State]:
    def step(state: State, tool: ShapeTool) -> State:
        before, grip = state.docket, tool.grip
        size = _STEP_IN_MM if tool.inches else _STEP_MM
        value = tool.rounded(grip.value_mm + steps * size, grip)
        made = tool.set(state, before, grip, value)
        if made.docket is before:
            return tool.refused(state, grip) if value == grip.value_mm else made
        return made.tool.kept(made, before) if isinstance(made.tool, ShapeTool) else made

    return step


def _other(by: int) -> Callable[[State, ShapeTool], State]:
    return lambda state, tool: state.but(tool=replace(tool, at=(tool.at + by) % len(tool.grips)))


def _undo(state: State, tool: ShapeTool) -> State:
    if not tool.past:
        return state.tell("Nothing left to undo here.").but(tool=tool)
    future = (*tool.future, state.docket)
    return replace(tool, past=tool.past[:-1], future=future).back_to(state, tool.past[-1])


def _redo(state: State, tool: ShapeTool) -> State:
    if not tool.future:
        return state.tell("Nothing to do again.").but(tool=tool)
    past = (*tool.past, state.docket)
    return replace(tool, past=past, future=tool.future[:-1]).back_to(state, tool.future[-1])


def _as_it_was(state: State, tool: ShapeTool) -> State:
    if state.docket is tool.base:
        return state.tell("It is as it was.").but(tool=tool)
    past = (*tool.past, state.docket)
    return replace(tool, past=past, future=()).back_to(state, tool.base).tell("As it was.")


def _done(state: State, tool: ShapeTool) -> State:
    """The garment is taken as it is now: the marks of pieces that changed go with their old lines."""
    state = state.but(tool=tool.before)
    if state.docket is tool.base:
        return state.keep(shaping=None)
    kept = tuple(k for k in state.work.traced if k.rpartition("/")[0] not in tool.changed)
    gone = len(state.work.traced) - len(kept)
    state = state.change(replace(state.work, traced=kept)) if gone else state
    told = " Brush out the chalk of the old lines." if gone else ""
    return state.but(reshaped=state.docket).tell(f"The garment is changed.{told}", 8.0)


def _keep_as(state: State, tool: ShapeTool) -> State:
    """The changed garment in a docket of its own; this one as it was."""
    if state.docket is tool.base:
        return state.tell("It is as it was: there is nothing to keep.").but(tool=tool)
    made = state.docket
    state = tool.back_to(state, tool.base)
    return state.but(tool=tool.before, reshaped=made, anew_name=True).keep(shaping=None)


DOES: Mapping[str, Callable[[State, ShapeTool], State]] = {
    "next": _other(1),
    "go-on": _other(1),
    "go-back": _other(-1),
    "away": _by(1),
    "toward": _by(-1),
    "right": _by(_LARGE),
    "left": _by(-_LARGE),
    "undo": _undo,
    "redo": _redo,
    "drop": _as_it_was,
    "keep-as": _keep_as,
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
        raise InputError(Fault("", what))
    tool = ShapeTool(
        state.docket, state.stage, found, inches=state.inches, before=state.tool,
    )  # fmt: skip
    return state.but(tool=tool)


def resumed(state: State) -> State:
    """Shaping taken up where a power cut left it; what cannot be drafted any more is told."""
    held: Any = state.settings().get("shaping")
    if not isinstance(held, Mapping) or dict(held) == dict(state.docket.garment or {}):
        return state.keep(shaping=None) if held is not None else state
    try:
        state = open_shape(state)
        tool = state.tool
        assert isinstance(tool, ShapeTool)
        made = state.docket.replace(garment=dict(held))
        return replace(tool, past=(state.docket,)).back_to(state, made)
    except (ChalkbeamError, AttributeError, TypeError, ValueError):
        text = "What was pulled on the cloth cannot be drafted any more: the garment is as the docket says."
        return state.but(tool=None).keep(shaping=None).tell(text, 12.0)
