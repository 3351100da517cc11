"""State: all that a sitting is at one moment, as a value.

In the middle of the table: `hands` and `actions` answer each event with the next state, `words`
reads it off for the strip, `picture.compositor` shows it. Nothing here draws, waits or saves; what
follows from a change (what is wrong with the lay, what is lit) is worked out as it is made.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from configs.units import INCH_UNITS, length_text, said_in
from drafting.placement import Array, carry
from projector.picture.look import ink_for
from projector.picture.on_table import at_cloth
from projector.session import judged
from projector.session.rules import History, Rules, Work

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from drafting.placement import Placement
    from projector.picture.look import Look
    from projector.picture.stage import Stage
    from projector.picture.strip import Strip
    from projector.picture.view import View
    from projector.session.keys import Keys
    from projector.session.planning import Found
    from projector.tools.protocol import Tool


MESSAGE_S = 5.0


@dataclass(frozen=True)
class Message:
    """What is said for a while: the text, by line breaks into parts, and until when (s)."""

    text: str = ""
    until: float = 0.0


SILENT = Message()


@dataclass(frozen=True, eq=False)
class Drag:
    """A piece in her hand.

    ``start``: (2,) cloth mm where it was taken; ``before``: where it lay; ``history``: as it was
    then; ``turning``: with the second button; ``moved``: more than a press; ``guides``: (2, 2)
    cloth mm each, what it has snapped to; ``since``: when it was taken (s); ``free``: held still
    for a moment before it was moved: it snaps to nothing.
    """

    key: str
    start: Array
    before: Placement
    history: History
    turning: bool = False
    moved: bool = False
    guides: tuple[Array, ...] = ()
    since: float = 0.0
    free: bool = False


@dataclass(frozen=True)
class Plan:
    """A plan that is shown: what it keeps, the best so far, how far it is, in words.

    ``whole``: taken as it is, what is locked or traced too (what she had noted herself).
    """

    still: tuple[Placement, ...]
    best: Found | None = None
    told: str = "planning …"
    whole: bool = False


@dataclass(frozen=True, eq=False)
class Shown:
    """What stands on the table now: the strip as laid out, what 'more' and 'help' bring next, and
    where the buttons of a page lie (action → (4, 2) table mm)."""

    strip: Strip | None = None
    next_row: int = 0
    next_help: int = 0
    pads: Mapping[str, Array] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class State:
    """A sitting at one moment.

    ``history``: the work and all that can be undone; ``stage``: pieces, lens, view and look ready
    to be drawn; ``mode``: ``arrange`` or ``trace``; ``page``: ``help``, ``all``, ``question``,
    ``dark``, ``light`` or none; ``chosen``: the piece picked in arrange, ``current``: being traced;
    ``checking_at``: (2,) table mm of the check square, ``check_held``: from the hand to it while it
    is dragged; ``strip``: not hidden by hand; ``board_from``, ``board_focus``: the first row of buttons
    on the page of everything, and which button on it the next press does; ``kept``: what tools keep in the docket's
    ``table``, over ``table`` itself; ``truth``: how true the light is, ``doubt`` the part of it
    that the calibration and the heights tell; ``unchecked``: questioned, and no ruler laid on it
    since; ``to_confirm``: the action that she has been asked about; ``said``: told since the last
    event; ``decided``: the plan was taken or dropped by her; ``not_saved``: what no disk has, and why; ``held``: whether the beam would hold the lay; ``noted``: what
    is kept on the disk in place of the work, while the garment is being changed; ``reshaped``: the docket
    with a garment that was changed on the cloth, to be saved, under another name if ``anew_name``; ``anew``: she leaves to calibrate.
    """

    docket: Docket
    calibration: Calibration
    keys: Keys
    rules: Rules
    stage: Stage
    history: History
    light: str
    truth: str
    doubt: str
    table: Mapping[str, Any]
    judged: judged.Judged = field(default_factory=judged.Judged)
    mode: str = "arrange"
    page: str = ""
    chosen: str | None = None
    current: str | None = None
    tool: Tool | None = None
    plan: Plan | None = None
    decided: bool = False
    not_saved: str = ""
    drag: Drag | None = None
    pointer_mm: Array | None = None
    checking_at: Array | None = None
    check_held: Array | None = None
    strip: bool = True
    board_from: int = 0
    board_focus: int = 0
    shown: Shown = field(default_factory=Shown)
    help_from: int = 0
    question: tuple[str, ...] = ()
    unchecked: bool = False
    to_confirm: str = ""
    message: Message = SILENT
    said: tuple[str, ...] = ()
    kept: Mapping[str, Any] = field(default_factory=dict)
    held: bool = False
    noted: Work | None = None
    reshaped: Docket | None = None
    anew_name: bool = False
    now: float = 0.0
    running: bool = True
    anew: bool = False

    def but(self, **changes: Any) -> State:
        """With some fields changed.

        What `dataclasses.replace` does, without setting every other field one by one: several
        states are made for each move of the pointer.

        Raises:
            TypeError: there is no such field.
        """
        fields = self.__dict__
        if not changes.keys() <= fields.keys():
            raise TypeError(f"a state has no {', '.join(sorted(changes.keys() - fields.keys()))}")
        made = object.__new__(State)
        made.__dict__.update(fields)
        made.__dict__.update(changes)
        return made

    @property
    def work(self) -> Work:
        """The work as it stands."""
        return self.history.now

    @property
    def loose(self) -> str | None:
        """The piece that her hand moves, taken out of the rest."""
        return self.drag.key if self.drag is not None and self.drag.moved else None

    @property
    def place(self) -> tuple[str, str | None]:
        """Where she is: the mode, and the piece."""
        return self.mode, self.current if self.mode == "trace" else self.chosen

    def on_cloth(self, at: Array) -> Array:
        """(2,) cloth mm of a place on the table."""
        return carry(self.work.view.cloth_from_table, at)

    def under(self, at: Array) -> str | None:
        """The copy under a place (2,) of the table."""
        return self.rules.under(self.work.lay, self.on_cloth(at))

    # -- what is said ------------------------------------------------------------------------------

    def tell(self, text: str, seconds: float = MESSAGE_S) -> State:
        """Something said on the strip for a while, in her unit."""
        text = self.in_her_unit(text)
        return self.but(message=Message(text, self.now + seconds), said=(*self.said, text))

    def ask_twice(self, action: str, text: str) -> tuple[State, bool]:
        """Whether she has asked for it a second time; at the first she is told what it does."""
        if self.to_confirm == action:
            return self.but(to_confirm=""), True
        return self.tell(text, 8.0).but(to_confirm=action), False

    def key_words(self, action: str) -> str:
        """The key of an action as it is printed on the keyboard."""
        return self.keys.printed(action)

    def in_her_unit(self, text: str) -> str:
        """A text with its lengths as they are told to her."""
        return said_in(text, "in" if self.inches else "mm")

    def length(self, mm: float) -> str:
        """A length as it is told to her: in inches where the docket is, else as everywhere."""
        return length_text(mm, "in" if self.inches else None)

    @property
    def inches(self) -> bool:
        """Whether she works in inches."""
        return self.docket.unit in INCH_UNITS

    # -- changes -----------------------------------------------------------------------------------

    def change(self, work: Work, key: str | None = None) -> State:
        """A finished change of the work, of one copy when ``key`` is given."""
        return self.but(history=self.history.then(work)).took(key)

    def took(self, key: str | None = None) -> State:
        """With all that follows from the work as it stands now."""
        work, stage = self.work, self.stage
        if stage.view != work.view:
            stage, key = stage.with_view(work.view), None
        if key is None:
            made = judged.judged(self.rules, work.lay)
        else:
            made = judged.judged_again(
                self.judged, self.rules, work.lay, key, in_hand=self.drag is not None
            )
        p = work.of(self.chosen)
        chosen = self.chosen if p is not None and not p.aside else None
        placed = work.placed()
        held = any(map(stage.unlit, placed)) and stage.holds_all(placed)
        return self.but(stage=stage, judged=made, chosen=chosen, held=held)

    def drafted(self, docket: Docket, work: Work | None = None) -> State:
        """With the docket's pieces drafted anew: those that changed are shown and judged so.

        ``work``: where they lie, when that changed with them; what was before has other pieces then,
        and nothing of it can be undone.

        Raises:
            ChalkbeamError: it cannot be drafted, or its cutting lines cannot be drawn.
        """
        stage = self.stage.of(docket)
        history = self.history if work is None or work == self.work else History(work)
        rules = Rules(docket, stage.faces)
        return self.but(docket=docket, stage=stage, rules=rules, history=history).took()

    def lies(self, view: View) -> State:
        """The cloth was moved: the view follows, and undoing brings no old one back."""
        if view == self.work.view:
            return self
        return self.but(history=self.history.lying(view)).took()

    def looks(self, look: Look) -> State:
        """Lines shown in another way."""
        return self.but(stage=self.stage.with_look(look))

    def keep(self, **values: Any) -> State:
        """Something of a tool's kept in the docket's ``table`` (a bay, crosses …); None: no more."""
        return self.but(kept={**self.kept, **values})

    def at_height(self, noted: dict[str, Any]) -> State:
        """What lies on the calibrated table, and the lens: the picture follows, the docket keeps it.

        Raises:
            configs.errors.InputError, CalibrationError: it cannot be so.
        """
        from projector.height import truth

        docket = self.docket.replace(table={**self.docket.table, "height": noted})
        stage = self.stage.on(at_cloth(docket, self.calibration))
        doubt = truth(docket, self.calibration)
        # not a window's, which is not to scale anyway
        words = doubt if self.truth == self.doubt else self.truth
        return self.but(docket=docket, stage=stage, doubt=doubt, truth=words).keep(height=noted)

    def settings(self) -> dict[str, Any]:
        """The docket's ``table`` as it stands: view, ink, lines; what others keep there stays."""
        kept = dict(self.table)
        look = self.stage.look
        kept["view"] = self.work.view.to_dict()
        kept["light"] = self.light
        kept["ink"], kept["lines"] = look.ink, look.lines
        if look.ink == ink_for(look.cloth):  # what suits the cloth needs no remembering
            del kept["ink"]
        kept["weight"] = round(look.weight, 3)
        mode, piece = self.place
        if mode != "arrange" or piece is not None:
            kept["place"] = {"mode": mode, "piece": piece}
        else:
            kept.pop("place", None)
        kept.update(self.kept)
        return {k: v for k, v in kept.items() if v is not None}


def begun(
    docket: Docket,
    calibration: Calibration,
    keys: Keys,
    history: History,
    stage: Stage,
    **more: Any,
) -> State:
    """The first state of a sitting: in the mode and at the piece where the table was left."""
    from projector.height import truth
    from projector.picture import order
    from projector.picture.on_table import light_of

    doubt = truth(docket, calibration)
    state = State(
        docket, calibration, keys, Rules(docket, stage.faces), stage, history,
        light=light_of(calibration), truth=more.pop("truth", "") or doubt, doubt=doubt, **more,
    ).took()  # fmt: skip
    place = docket.table.get("place")
    if not isinstance(place, Mapping):
        return state
    piece, keys_there = place.get("piece"), {p.key for p in state.work.placed()}
    if place.get("mode") == "trace":
        if piece is not None and piece not in keys_there:
            piece = order.next_piece(state.stage, state.work.placed(), state.work.traced)
        return state.but(mode="trace", current=piece)
    return state.but(chosen=piece) if piece in keys_there else state
