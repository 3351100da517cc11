"""One sitting at the table: what she does, what she sees, what is kept.

Between the machine's events (`app`) and everything below: turns keys and pointer into changes of
the `table.Work`, keeps their history and journal, and holds the canvas, so painted that moving
one piece costs one piece. Knows neither pygame nor a clock: times are handed in, so a test can
sit at the table too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from configs.units import length_text
from projector import height, room, tools, trace
from projector.actions import ACTIONS, BY_NAME, HANDLE, STRIP, STRIP_MORE, STRIP_WORDS, Keys
from projector.marks import Item
from projector.painter import EMPTY, Painted, Painter
from projector.past import Past
from projector.planning import Noted, Planning
from projector.scene import (
    INKS,
    LINES,
    Button,
    Look,
    PieceState,
    Stage,
    Strip,
    at_cloth,
    copy_of,
    light_of,
    light_words,
    look_of,
    stepped,
    used_box,
    view_of,
)
from projector.table import SNAP_DEG, History, Rules, Work, under
from projector.view import SIDES, default_view

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from drafting.placement import Placement
    from projector.journal import Journal

Array = NDArray[np.float64]
Box = tuple[int, int, int, int]

SAVE_AFTER_S = 2.0  # of quiet
OVERLAPS = "overlaps"
MESSAGE_S = 5.0
ASK_AGAIN_S = 5.0  # whether the disk takes it now
DRAG_NOTE_S = 0.2  # how often a drag under way is journalled
_REPEATING = ("left", "right", "away", "toward", "tilt-left", "tilt-right", "wider", "thinner")
_DRAG_MM = 2.0  # a press that wanders less is a press
_MOST_ARROWS = 6  # at the edge, towards pieces out of the light; more would be a hedge


class Tool(Protocol):
    """Something that takes the pointer for a while (align to the cloth, step to the next bay).

    ``name``: of the mode; ``says``: what she is to do now, for the strip, by line breaks into
    parts; ``done``: over; ``strip``: which row of buttons; ``shows``: emphasis and notes of a
    piece where they differ from the mode's; ``clear_of``: (N, 2) table mm to keep the strip off.
    """

    name: str

    @property
    def strip(self) -> str: ...

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None: ...

    def clear_of(self, sitting: Sitting) -> Array: ...

    @property
    def says(self) -> str: ...

    @property
    def done(self) -> bool: ...

    def press(self, sitting: Sitting, table_mm: Array) -> None: ...

    def do(self, sitting: Sitting, action: str) -> bool: ...

    def items(self, sitting: Sitting) -> Sequence[Item]: ...


@dataclass
class _Drag:
    key: str
    start_cloth: Array
    before: Placement
    turning: bool
    history: History
    moved: bool = False
    last_note: float = 0.0


@dataclass(eq=False)
class Sitting:
    """A docket on the table.

    Args:
        docket: with a lay.
        calibration: of the display.
        keys: which key does what.
        journal: where every change is noted; None keeps nothing (tests, pictures).
        say: called with every message, besides showing it.
        truth: how true the light is, for the strip; empty for what the calibration says.
    """

    docket: Docket
    calibration: Calibration
    keys: Keys = field(default_factory=Keys)
    journal: Journal | None = None
    say: Callable[[str], None] | None = None
    mode: str = "arrange"
    page: str = ""
    chosen: str | None = None
    current: str | None = None
    running: bool = True
    tool: Tool | None = None
    planning: Planning | Noted | None = None
    pointer_mm: Array | None = None
    checking_at: Array | None = None
    strip_on: bool = True
    truth: str = ""
    anew: bool = False
    _question: tuple[str, ...] = ()
    _unsaved: str = ""
    _warned: bool = False
    _kept: dict[str, Any] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        docket = self.docket
        look = look_of(docket)
        view = view_of(docket, self.calibration)
        self.stage = Stage(docket, self.calibration, view, look)
        self.rules = Rules(docket, self.stage.faces)
        work = Work(docket.lay, docket.traced, view)
        self._past: Past | None = None
        if self.journal is not None and docket.path is not None:
            self._past, self.history = Past.open(docket.path, work, self.stage.faces)
        else:
            self.history = History(work)
        self.painter = Painter(self.calibration.size, INKS[look.ink].ground)
        self._below = np.empty_like(self.painter.canvas)
        self._painted: dict[str, tuple[Any, Painted]] = {}
        self._spare: dict[str, tuple[Any, Painted]] = {}
        self._floats: dict[Any, Painted] = {}
        self._figures: tuple[Any, dict[Any, Painted]] = (None, {})
        self._over: list[tuple[Array | None, Painted]] = []
        self.changed: list[NDArray[np.int64]] | None = None
        self._strip: Strip | None = None
        self._drag: _Drag | None = None
        self._guides: list[Array] = []
        self._loose: str | None = None
        self._message = ""
        self._message_until = 0.0
        self._now = 0.0
        self._began = False
        self._quiet_since = 0.0
        self._stale = True
        self._light = light_of(self.calibration)
        self._help_from = self._help_next = 0
        self._strip_row = ""
        self._strip_from = self._strip_next = 0
        self._strip_open = False  # asked for, although it covers what is traced
        self._unchecked = False  # the calibration was questioned, and no ruler laid on it since
        self._to_confirm = ""  # what she has been asked about and may now do
        self._strip_room: tuple[Any, int] = (None, 0)
        self._own: dict[str, tuple[str, ...]] = {}
        self._pairs: set[tuple[str, str]] = set()
        self._beside: set[str] = set()
        self._cold: list[str] = []
        self._loose_said: tuple[str, ...] = ()
        self.pending = False  # whether another frame is wanted at once
        self._holds: tuple[Any, bool] = (None, False)
        self._unlit: dict[str, tuple[Any, str]] = {}
        self._shown_troubles: dict[str, tuple[str, ...]] = {}
        self._noted_place: tuple[str, str | None] = ("arrange", None)
        self._judge_all()
        self._doubt = height.truth(docket, self.calibration)
        self.truth = self.truth or self._doubt
        self._be_where_she_was()
        tools.resume(self)

    def _be_where_she_was(self) -> None:
        """In the mode and at the piece where the table was left."""
        place = self.docket.table.get("place") if self.docket.table else None
        if not isinstance(place, Mapping):
            return
        keys = {p.key for p in self.work.placed()}
        piece = place.get("piece")
        if place.get("mode") == "trace":
            self.mode, self.current = "trace", piece
            if piece is not None and piece not in keys:
                placed, traced = self.work.placed(), self.work.traced
                self.current = trace.next_piece(self.stage, placed, traced)
        elif piece in keys:
            self.chosen = piece

    # -- state ---------------------------------------------------------------------------------

    @property
    def work(self) -> Work:
        """The work as it stands."""
        return self.history.now

    @property
    def ended(self) -> bool:
        """Whether she has left."""
        return not self.running

    def troubles(self, key: str) -> tuple[str, ...]:
        """What is wrong with one copy, in words."""
        own = self._own.get(key, ())
        return (*own, OVERLAPS) if key in self._beside else own

    @property
    def trouble_count(self) -> int:
        """How many things are wrong with the lay."""
        return sum(len(t) for t in self._own.values()) + len(self._pairs)

    def _trouble_words(self) -> str:
        """What is wrong with the lay, counted by kind: ``2 overlaps, 1 off the cloth``."""
        counts: dict[str, int] = {}
        for said in self._own.values():
            for trouble in said:
                kind = trouble.rstrip("0123456789.° ")  # an angle is no kind of its own
                counts[kind] = counts.get(kind, 0) + 1
        words = [f"{n} {kind}" for kind, n in counts.items()]
        if self._pairs:
            words.insert(0, _things(len(self._pairs), "overlap"))
        return ", ".join(words)

    def unlit(self, p: Placement) -> str:
        """Whether a copy reaches out of the light: "", ``partly`` or ``wholly``."""
        key = (p.at, p.turn_deg, p.mirrored, self.stage.view, self.stage.lens)
        held = self._unlit.get(p.key)
        if held is None or held[0] != key:
            held = self._unlit[p.key] = (key, self.stage.unlit(p))
        return held[1]

    def _light_words(self) -> str:
        """What reaches out of the light, for the strip."""
        placed = self.work.placed()
        unlit = [self.unlit(p) for p in placed]
        if not any(unlit):
            return ""
        key = (placed, self.stage.view.side, self.stage.lens)
        if self._drag is None and self._holds[0] != key:  # the hand is not kept waiting for it
            self._holds = (key, self.stage.holds_all(placed))
        bays, centre = (self.key_words(a) for a in ("bays", "centre"))
        way = (
            f"in the middle all are lit [{centre}]" if self._holds[1] else f"trace in bays [{bays}]"
        )
        return light_words(unlit, way)

    def length(self, mm: float) -> str:
        """A length as it is told to her: in inches where the docket is, else as everywhere."""
        return length_text(mm, "in" if self.docket.unit in ("in", "ft", "yd") else None)

    def _judge_all(self) -> None:
        lay = self.work.lay
        self._own = {p.key: self.rules.own_troubles(p, lay) for p in lay if not p.aside}
        self._pairs = self.rules.overlap_pairs(lay)
        self._pair_up()

    def _pair_up(self) -> None:
        self._beside = {key for pair in self._pairs for key in pair}

    def _judge(self, key: str) -> None:
        """After one copy has moved: only what it can have changed."""
        p = self.work.of(key)
        self._pairs = {pair for pair in self._pairs if key not in pair}
        self._own.pop(key, None)
        if p is not None and not p.aside:
            self._own[key] = self.rules.own_troubles(p, self.work.lay)
            self._pairs |= self.rules.overlap_with(p, self.work.lay)
        if self._drag is None and p is not None:  # one of a pair turned over: the other's case too
            for q in self.work.lay:
                if q.piece == p.piece and q.key != key and not q.aside:
                    self._own[q.key] = self.rules.own_troubles(q, self.work.lay)
        self._pair_up()

    def _change(self, work: Work, key: str | None = None) -> None:
        """A finished change: into the history and the journal, judged, shown."""
        self.history = self.history.then(work)
        self._took(key)

    def _took(self, key: str | None = None) -> None:
        work = self.work
        if self.stage.view != work.view:
            self.stage.retake(view=work.view)
            key = None
        if key is None:
            self._judge_all()
        else:
            self._judge(key)
        if self.chosen is not None:
            chosen = work.of(self.chosen)
            if chosen is None or chosen.aside:
                self.chosen = None
        self._note()
        self._stale = True

    def _note(self) -> None:
        self._quiet_since = self._now
        if self.journal is not None:
            self.journal.note(self.work.lay, self.work.traced, self.table_settings())
        if self._past is not None and self._drag is None:
            self._past.note(self.history)

    def _note_place(self) -> None:
        """Where she is (mode, piece) is journalled like a change, so that it opens there."""
        if self.journal is not None and self._drag is None and self._place() != self._noted_place:
            self._note()

    def _place(self) -> tuple[str, str | None]:
        return self.mode, self.current if self.mode == "trace" else self.chosen

    def table_settings(self) -> dict[str, Any]:
        """The docket's ``table`` as it stands: view, ink, lines; what others keep there stays."""
        kept = dict(self.journal.docket.table if self.journal is not None else self.docket.table)
        look = self.stage.look
        kept["view"] = self.work.view.to_dict()
        kept["light"] = self._light
        kept["ink"], kept["lines"] = look.ink, look.lines
        kept["weight"] = round(look.weight, 3)
        mode, piece = self._noted_place = self._place()
        if mode != "arrange" or piece is not None:
            kept["place"] = {"mode": mode, "piece": piece}
        else:
            kept.pop("place", None)
        kept.update(self._kept)
        return kept

    def keep(self, **values: Any) -> None:
        """Keep something of a tool's in the docket's ``table`` (a bay, crosses …), at once."""
        self._kept.update(values)
        self._note()

    def key_words(self, action: str) -> str:
        """The key of an action as it is printed on the strip."""
        return _key_words(self.keys.shown(action))

    def tell(self, text: str, seconds: float = MESSAGE_S) -> None:
        """Say something on the strip for a while."""
        self._message = text
        self._message_until = self._now + seconds
        if self.say is not None:
            self.say(text)

    # -- keys and buttons --------------------------------------------------------------------------

    def key(self, name: str) -> None:
        """A key was pressed: ``a``, ``shift+left``, ``page down`` …"""
        if self.page in ("dark", "light"):
            self._set_page("")
            return
        action = self.keys.action(name, self.mode)
        if self.page == "question":
            if action == "leave":
                if self._sure("leave", self._leaving()):
                    self._do_quit()
                self._stale = True
                return
            self._set_page("")
            if action not in ("check", "calibrate", "help", "quit"):
                return  # any other key goes on
        if action is None and "shift+" in name:
            action = self.keys.action(name.replace("shift+", ""), self.mode)
        if action is not None:
            self.do(action, large="shift+" in name)

    def repeats(self, name: str) -> bool:
        """Whether a key goes on as long as it is held."""
        action = self.keys.action(name, self.mode)
        if action is None and "shift+" in name:
            action = self.keys.action(name.replace("shift+", ""), self.mode)
        return not self.page and action in _REPEATING

    def ask(self, lines: Sequence[str]) -> None:
        """A page that questions the calibration: go on, check it, or make a new one."""
        self._question = tuple(lines)
        self._unchecked = True
        self._set_page("question")

    def do(self, action: str, *, large: bool = False) -> None:
        """Do an action by its name; ``large``: the larger step where there are two."""
        if action not in BY_NAME or self.mode not in BY_NAME[action].modes:
            return
        self._message = ""  # it was about what she did before
        if action != self._to_confirm:
            self._to_confirm = ""
        if action == "leave" and self._drag is not None:
            self._put_back()
        else:
            self._act(action, large)
        if self._strip_open and action != "more" and not self._to_confirm:
            self._strip_open, self._stale = False, True
        self._note_place()

    def _sure(self, action: str, text: str) -> bool:
        """Whether she has asked for it a second time; at the first she is told what it does."""
        if self._to_confirm == action:
            self._to_confirm = ""
            return True
        self._to_confirm = action
        self.tell(text, 8.0)
        return False

    def _chalk(self) -> str:
        """What of the lay is on the cloth in chalk, in words; empty when nothing is."""
        traced = sum(1 for p in self.work.placed() if p.key in self.work.traced)
        if traced:
            return f"{_things(traced, 'piece')} {'is' if traced == 1 else 'are'} traced"
        bays = self.table_settings().get("bays")
        if isinstance(bays, Mapping) and bays.get("chalked"):
            return "crosses are chalked"
        return "you are tracing" if self.mode == "trace" and self.current is not None else ""

    def _lay_may_move(self, action: str) -> bool:
        """Before the whole lay is moved: with chalk on the cloth she is asked first."""
        chalk = self._chalk()
        if not chalk:
            return True
        key = self.key_words(action)
        if not self._sure(
            action, f"{chalk}: this takes the light off the chalk\n[{key}] again: do it"
        ):
            return False
        self._tell_off_chalk()
        return True

    def _tell_off_chalk(self) -> None:
        align, undo = self.key_words("align"), self.key_words("undo")
        self.tell(
            f"The light lies elsewhere than the chalk\nbring the cloth to it: [{align}] aligns\n"
            f"[{undo}] goes back",
            12.0,
        )

    def _act(self, action: str, large: bool) -> None:
        if self.page == "question" and action == "go-on":
            self._set_page("")
            return
        if self.tool is not None and self.tool.do(self, action):
            self._stale = True
            return
        if self.page and action not in ("leave", "help", "quit"):
            self._set_page("")
        self._end_drag()
        step = 10.0 if large else 1.0
        handler = getattr(self, "_do_" + action.replace("-", "_"), None)
        if handler is not None:
            handler()
        elif action in ("left", "right", "away", "toward"):
            self._nudge(action, step)
        elif action in ("tilt-left", "tilt-right"):
            self._tilt((5.0 if large else 1.0) * (1.0 if action == "tilt-left" else -1.0))
        elif action in ("wider", "thinner"):
            factor = 1.2 if action == "wider" else 1.0 / 1.2
            weight = min(4.0, max(0.4, self.stage.look.weight * factor))
            self._set_look(replace(self.stage.look, weight=round(weight, 3)))

    def _picked(self) -> Placement | None:
        """The chosen copy, when it may be changed; says why not otherwise."""
        p = self.work.of(self.chosen)
        if p is None:
            self.tell("Pick a piece first: press on it, or Tab.")
            return None
        if p.locked:
            self.tell(f"{p.piece} is locked. Free it with [{self.key_words('lock')}].")
            return None
        return p

    def _put(self, p: Placement) -> None:
        before = self.work
        self._change(self._with_moved(before, p), p.key)
        if p.key in before.traced and p.key not in self.work.traced:
            self._tell_unmarked(p)

    def _with_moved(self, work: Work, p: Placement) -> Work:
        """With one piece elsewhere; what was traced of it is chalk in another place now."""
        before = work.of(p.key)
        work = work.with_placement(p)
        if before is None or p.key not in work.traced or _lie_alike(before, p):
            return work
        return replace(work, traced=tuple(k for k in work.traced if k != p.key))

    def _tell_unmarked(self, p: Placement) -> None:
        undo = self.key_words("undo")
        self.tell(
            f"{p.piece} was traced where it lay: its mark is off, brush the chalk out. "
            f"[{undo}] puts it back.",
            10.0,
        )

    def _nudge(self, action: str, step: float) -> None:
        p = self._picked()
        if p is None:
            return
        angle = math.radians(self.stage.reading_deg)
        right = np.array([math.cos(angle), math.sin(angle)])
        away = np.array([-right[1], right[0]])
        way = {"right": right, "left": -right, "away": away, "toward": -away}[action]
        d = self.work.view.cloth_from_table[:2, :2] @ (way * step)
        moved = self.rules.moved(p, float(d[0]), float(d[1]))
        if moved == p:
            self.tell(f"{p.piece} stays on the fold.")
            return
        self._put(moved)

    def _do_turn(self) -> None:
        p = self._picked()
        if p is not None:
            self._put(self.rules.turned(p, 180.0))

    def _do_turn_over(self) -> None:
        p = self._picked()
        if p is None:
            return
        if self.rules.on_fold(p):
            self.tell(f"{p.piece} lies on the fold: both its halves are the same.")
            return
        self._put(self.rules.turned_over(p))

    def _tilt(self, deg: float) -> None:
        p = self._picked()
        if p is None:
            return
        if self.rules.on_fold(p):
            self.tell(f"{p.piece} stays on the fold.")
            return
        if self.work.view.mirror:
            deg = -deg
        self._put(self.rules.turned(p, deg))
        made = self.work.of(p.key)
        if made is not None:
            self.tell(f"{p.piece}: {abs(self.rules.tilt(made)):.1f}° off the grain.")

    def _do_straighten(self) -> None:
        p = self._picked()
        if p is not None:
            self._put(self.rules.straightened(p))

    def _do_lock(self) -> None:
        p = self.work.of(self.chosen)
        if p is None:
            self.tell("Pick a piece first: press on it, or Tab.")
            return
        self._put(replace(p, locked=not p.locked))

    def _do_aside(self) -> None:
        p = self._picked()
        if p is None:
            return
        self._put(replace(p, aside=True))
        self.tell(f"{p.piece} is put aside. [{self.key_words('bring-back')}] brings it back.")

    def _do_bring_back(self) -> None:
        waiting = [p for p in self.work.lay if p.aside]
        if not waiting:
            self.tell("Nothing is put aside.")
            return
        p = replace(waiting[-1], aside=False)
        self.chosen = p.key
        self._put(p)

    def _do_undo(self) -> None:
        if self.history.past is None:
            self.tell("Nothing left to undo.")
            return
        self._travel(self.history.back())

    def _travel(self, history: History) -> None:
        """To another state; a piece whose mark comes or goes is the current one again."""
        before, self.history = set(self.work.traced), history
        changed = [
            k for k in (*self.work.traced, *before) if (k in before) != (k in self.work.traced)
        ]
        if self.mode == "trace" and changed and self.work.of(changed[-1]) is not None:
            self.current = changed[-1]
        moved = (
            self.stage.view.table_from_cloth.tobytes()
            != history.now.view.table_from_cloth.tobytes()
        )
        self._took()
        if moved and self._chalk():
            self._tell_off_chalk()

    def _do_redo(self) -> None:
        if self.history.future is None:
            self.tell("Nothing to do again.")
            return
        self._travel(self.history.forth())

    def _do_next(self) -> None:
        placed = self.work.placed()
        if self.mode == "trace":
            self.current = trace.neighbour(self.stage, placed, self.current, 1)
        else:
            lit = [p for p in placed if self._is_lit(p)]
            self.chosen = trace.neighbour(self.stage, lit or placed, self.chosen, 1)
        self._stale = True

    def _is_lit(self, p: Placement) -> bool:
        """Whether the middle of a piece lies in the beam."""
        ring = self.rules.outline(p)
        middle = _through(
            self.work.view.table_from_cloth, 0.5 * (ring.min(axis=0) + ring.max(axis=0))
        )
        return bool(self.stage.lens.covers(middle[None])[0])

    def _do_go_on(self) -> None:
        if self.mode != "trace":
            self._do_trace()
            return
        if self.current is None:
            self._do_next()
            return
        work, key = self.work, self.current
        if key not in work.traced:
            work = replace(work, traced=(*work.traced, key))
        placed = work.placed()
        self.current = trace.next_piece(self.stage, placed, work.traced, after=key)
        self._change(work, key)
        if self.current is None:
            self.tell("All traced. Turn the room light up before you cut.", 30.0)

    def _do_go_back(self) -> None:
        if self.mode != "trace":
            self._do_undo()
            return
        placed = self.work.placed()
        self.current = trace.neighbour(self.stage, placed, self.current, -1)
        self._stale = True

    def _do_unmark(self) -> None:
        if self.current is None or self.current not in self.work.traced:
            self.tell("This piece is not marked.")
            return
        kept = tuple(k for k in self.work.traced if k != self.current)
        self._change(replace(self.work, traced=kept), self.current)

    def _do_trace(self) -> None:
        self._drop_plan()
        self.mode, self.chosen = "trace", None
        self.current = trace.next_piece(self.stage, self.work.placed(), self.work.traced)
        if self.current is None:
            self.tell("All traced. Turn the room light up before you cut.", 30.0)
        if self.trouble_count:
            self.tell(f"{self._trouble_words()}: put the lay right in 'arrange' first.", 12.0)
        self._stale = True
        self._use(tools.open_bays)

    def _do_bays(self) -> None:
        self._use(lambda sitting: tools.open_bays(sitting, wanted=True))

    def _do_align(self) -> None:
        self._use(tools.open_align)

    def _do_height(self) -> None:
        self._use(tools.open_height)

    def set_height(self, noted: dict[str, Any]) -> None:
        """What lies on the calibrated table, and the lens: the picture follows, the docket keeps it.

        Raises:
            InputError, InputError: it cannot be so; nothing is changed.
        """
        docket = self.docket.replace(table={**self.docket.table, "height": noted})
        self.stage.stand_on(at_cloth(docket, self.calibration))
        self.docket = docket
        doubt = height.truth(docket, self.calibration)
        if self.truth == self._doubt:  # not a window, which is not to scale anyway
            self.truth = doubt
        self._doubt = doubt
        self._painted.clear()
        self._spare.clear()
        self._floats.clear()
        self._figures = (None, {})
        self._stale = True
        self.keep(height=noted)

    def _use(self, open_tool: Callable[[Sitting], object]) -> None:
        """Open a tool; what it refuses is said on the table."""
        from configs.errors import ChalkbeamError

        self._drop_plan()
        try:
            open_tool(self)
        except ChalkbeamError as error:
            self.tell(str(error.faults[0]), 12.0)

    def _do_arrange(self) -> None:
        self.mode, self.chosen = "arrange", self.current
        self._stale = True

    def _do_lines(self) -> None:
        names = list(LINES)
        at = (names.index(self.stage.look.lines) + 1) % len(names)
        self._set_look(replace(self.stage.look, lines=names[at]))
        self.tell({"both": "Cutting and sewing line.", "cutting": "Cutting line only.",
                   "sewing": "Sewing line only."}[names[at]])  # fmt: skip

    def _do_ink(self) -> None:
        names = list(INKS)
        at = (names.index(self.stage.look.ink) + 1) % len(names)
        self._set_look(replace(self.stage.look, ink=names[at]))

    def _set_look(self, look: Look) -> None:
        self.stage.retake(look=look)
        self.painter.set_ground(INKS[look.ink].ground)
        self._painted.clear()
        self._spare.clear()
        self._floats.clear()
        self._figures = (None, {})
        self._note()
        self._stale = True

    def _do_blank(self) -> None:
        self._set_page("dark")

    def _do_work_light(self) -> None:
        self._set_page("light")

    def _do_help(self) -> None:
        if self.page != "help":
            self._help_from, self._help_next = 0, 0
            self._set_page("help")
        elif self._help_next:  # a small beam: there is another page
            self._help_from = self._help_next
            self._set_page("help")
        else:
            self._set_page("")

    def _set_page(self, page: str) -> None:
        self.page = page
        self._stale = True

    def _do_check(self) -> None:
        if self.checking_at is not None:
            self.checking_at = None
        else:
            at = self.pointer_mm if self.pointer_mm is not None else self.stage.middle_mm
            self._unchecked = False
            self.checking_at = self.stage.check_corner(at, self._strips_room())
            ruler = "Lay a ruler on it: 100 mm each way, corner to corner 141.4 mm."
            self.tell("\n".join([ruler, *height.notes(self.docket, self.calibration)]), 12.0)
        self._stale = True

    def _strips_room(self) -> list[Array]:
        """What the strip may cover as it grows, (4, 2) table mm each."""
        if self._strip is None:
            return []
        if self._strip.small:
            return [self._strip.ground_mm]
        return [self.stage.strip_room(far=self._strip.far)]

    def _do_side(self) -> None:
        names = list(SIDES)
        side = names[(names.index(self.work.view.side) + 1) % len(names)]
        self._change(replace(self.work, view=self.work.view.replace(side=side)))
        if self._chalk():
            self.tell("The words are turned to where you stand; no line has moved.")

    def _do_flip_cloth(self) -> None:
        if not self._lay_may_move("flip-cloth"):
            return
        view = self.work.view
        box = used_box(self.stage.faces, self.work.placed()) or (0.0, 0.0, 0.0, 0.0)
        middle = np.array([0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])])
        flipped = view.replace(mirror=not view.mirror)
        a, b = view.table_from_cloth, flipped.table_from_cloth
        shift = a[:2, :2] @ middle - b[:2, :2] @ middle
        at = (view.at[0] + float(shift[0]), view.at[1] + float(shift[1]))
        self._change(replace(self.work, view=flipped.replace(at=at)))

    def _do_turn_cloth(self) -> None:
        """The cloth runs the other way over the table: a quarter turn about the beam's middle."""
        if not self._lay_may_move("turn-cloth"):
            return
        view = self.work.view
        mx, my = (float(v) for v in self.stage.middle_mm)
        dx, dy = view.at[0] - mx, view.at[1] - my
        turn = math.remainder(view.turn_deg + 90.0, 360.0)
        self._change(replace(self.work, view=view.replace(turn_deg=turn, at=(mx - dy, my + dx))))

    def _do_centre(self) -> None:
        if not self._lay_may_move("centre"):
            return
        box = used_box(self.stage.faces, self.work.placed())
        if box is not None:
            view = default_view(self.stage.lens.beam_mm, box, side=self.work.view.side)
            self._change(replace(self.work, view=view))

    def set_view(self, view: Any) -> None:
        """A tool has found how the cloth really lies; can be undone like any change."""
        self._change(replace(self.work, view=view))

    def place(self, view: Any) -> None:
        """The cloth was moved: the view follows, and undoing brings no old one back."""
        if view != self.work.view:
            self.history = self.history.lying(view)
            self._took()

    def _do_strip(self) -> None:
        self.strip_on = not self.strip_on
        self._stale = True

    def _do_more(self) -> None:
        """The strip's further buttons, and after the last the first again; the handle opens."""
        if self._strip is not None and self._strip.small:
            self._strip_open = True
        else:
            self._strip_from = self._strip_next
        self._stale = True

    def _do_leave(self) -> None:
        if self.page or self.checking_at is not None or self.chosen is not None or self.planning:
            self._set_page("")
            self.checking_at, self.chosen = None, None
            self._drop_plan()
        elif self.mode == "trace":
            self._do_arrange()
        elif self._sure("leave", self._leaving()):
            self._do_quit()

    def _leaving(self) -> str:
        return f"[{self.key_words('leave')}] once more leaves the table; everything is saved."

    def _do_quit(self) -> None:
        if self._may_leave():
            self.running = False

    def _may_leave(self) -> bool:
        """Whether everything is saved, or she has been told that it is not and goes all the same."""
        self.save()
        if self.journal is None or not self.journal.unsaved or self._warned:
            return True
        self._warned = True
        self.tell(f"{self._unsaved} Once more leaves without what is not saved.", 60.0)
        return False

    def _do_calibrate(self) -> None:
        """Leave for first light; the command comes back to the docket afterwards."""
        if self._may_leave():
            self.anew, self.running = True, False

    # -- a plan in the background ------------------------------------------------------------------

    def _do_plan(self) -> None:
        if self.planning is not None:
            self._drop_plan()
        traced = self.work.traced
        still = tuple(
            p for p in self.work.lay if (p.locked or p.key in traced) and not p.aside
        )  # chalk does not move
        self.planning = Planning(self.docket, still)
        self.planning.start()
        kept = (
            f"around {_things(len(still), 'locked or traced piece')}" if still else "from the start"
        )
        self.tell(f"Planning {kept}. Go on working; the best so far is shown.")
        self._stale = True

    def _do_take(self) -> None:
        run = self.planning
        if run is None or run.best is None:
            self.tell("There is no plan to take.")
            return
        best = run.best
        keys = {p.key for p in best.lay}
        traced = self.work.traced
        still = not isinstance(run, Noted)  # what she noted herself is taken as it was
        locked = {p.key: p for p in self.work.lay if still and (p.locked or p.key in traced)}
        kept = [replace(p, aside=True) for p in self.work.lay if p.key not in keys]
        lay = tuple(locked.get(p.key, p) for p in best.lay) + tuple(kept)
        run.decided()
        self._drop_plan()
        self._change(replace(self.work, lay=lay))
        self.tell(
            f"Taken: {self.length(round(best.used_mm))}. [{self.key_words('undo')}] goes back."
        )

    def _do_drop(self) -> None:
        if self.planning is None:
            self.tell("There is no plan to drop.")
            return
        self.planning.decided()
        self._drop_plan()
        self.tell("Dropped. The lay is as it was.")

    def _drop_plan(self) -> None:
        if self.planning is not None:
            self.planning.stop()
            self.planning = None
            self._stale = True

    # -- pointer -----------------------------------------------------------------------------------

    def pointer(self, kind: str, x_px: float, y_px: float, button: int = 1) -> None:
        """The pointer: ``kind`` is ``move``, ``down`` or ``up``; px of the picture.

        ``button``: 1 moves, 3 turns.
        """
        at = self.stage.lens.to_table(x_px, y_px)
        if not np.isfinite(at).all():
            return
        self.pointer_mm = at
        if kind == "move":
            if self._drag is not None:
                self._drag_to(at)
        elif kind == "down":
            self._press(at, button)
            self._note_place()
        elif kind == "up":
            self._end_drag()

    def _press(self, at: Array, button: int) -> None:
        if self.page in ("dark", "light"):
            self._set_page("")
            return
        action = self._button_at(at)
        if action is not None:
            self.do(action)
            return
        if self._strip is not None and _in_quad(at, self._strip.ground_mm):
            return  # beside a button: what lies hidden under the strip is not meant
        self._message = self._to_confirm = ""
        if self._strip_open:
            self._strip_open, self._stale = False, True
            return
        if self.page:
            self._set_page("")
            return
        if self.checking_at is not None and self._on_check(at):
            return
        if not self.strip_on and self._on_edge(at):
            self._do_strip()
            return
        if self.tool is not None:
            self.tool.press(self, at)
            self._stale = True
            return
        cloth = _through(self.work.view.cloth_from_table, at)
        key = under(self.rules, self.work.lay, cloth)
        if self.mode == "trace":
            if key is not None:
                self.current = key
                self._stale = True
            return
        if key != self.chosen:
            self.chosen = key
            self._stale = True
        p = self.work.of(key)
        if key is None or p is None:
            return
        if p.locked:
            self.tell(f"{p.piece} is locked. Free it with [{self.key_words('lock')}].")
            return
        self._warm(p, chosen=True)
        self._drag = _Drag(key, cloth, p, button == 3, self.history)

    def _drag_to(self, at: Array) -> None:
        drag = self._drag
        if drag is None:
            return
        cloth = _through(self.work.view.cloth_from_table, at)
        d = cloth - drag.start_cloth
        if not drag.moved:
            if float(np.hypot(*d)) < _DRAG_MM:
                return
            drag.moved = True
            self.history = self.history.then(self.work.with_placement(drag.before))
            self.history = History(self.work, (self.work, self.history.past), None)
            self._lift(drag.key)
        guides: list[Array] = []
        if drag.turning:
            made = self._turned_with(drag, cloth)
        else:
            made = self.rules.moved(drag.before, float(d[0]), float(d[1]))
            made, guides = self.rules.snapped(made, self.work.lay)
        self._guides = guides
        self.history = self.history.instead(self.work.with_placement(made))
        self._judge(drag.key)
        if self.journal is not None and self._now - drag.last_note >= DRAG_NOTE_S:
            drag.last_note = self._now
            self._note()

    def _turned_with(self, drag: _Drag, cloth: Array) -> Placement:
        if self.rules.on_fold(drag.before):
            return drag.before
        ring = self.rules.outline(drag.before)
        middle = 0.5 * (ring.min(axis=0) + ring.max(axis=0))
        a, b = drag.start_cloth - middle, cloth - middle
        turn = math.degrees(math.atan2(b[1], b[0]) - math.atan2(a[1], a[0]))
        made = self.rules.turned(drag.before, turn)
        if abs(self.rules.tilt(made)) < SNAP_DEG:
            made = self.rules.straightened(made)
        return made

    def _end_drag(self) -> None:
        drag, self._drag = self._drag, None
        self._guides = []
        if drag is None or not drag.moved:
            return
        self._loose = None
        if self.history.past is not None and self.history.past[0] == self.work:
            _, rest = self.history.past
            self.history = History(self.work, rest, None)  # type: ignore[arg-type]  # recursive
        p = self.work.of(drag.key)
        if p is not None and drag.key in self.work.traced and not _lie_alike(drag.before, p):
            kept = tuple(k for k in self.work.traced if k != drag.key)
            self.history = self.history.instead(replace(self.work, traced=kept))
            self._tell_unmarked(p)
        self._took(drag.key)

    def _put_back(self) -> None:
        """The piece in her hand back to where it was picked up."""
        drag, self._drag = self._drag, None
        self._guides = []
        if drag is None or not drag.moved:
            return
        self._loose = None
        self.history = drag.history
        self._took(drag.key)
        self.tell(f"{drag.before.piece} is back where it was.")

    def _button_at(self, at: Array) -> str | None:
        if self._strip is None or self.page in ("dark", "light"):
            return None
        for action, box in self._strip.buttons.items():
            if _in_quad(at, box):
                return action
        return None

    def _on_check(self, at: Array) -> bool:
        """Whether a place is covered by the check square."""
        frame = self.stage.reading_frame(self.checking_at)  # type: ignore[arg-type]
        return _in_quad(at, self.stage.check_panel(frame))

    def _on_edge(self, at: Array) -> bool:
        frame, length, height = self.stage.strip_box(30.0)
        local = frame[:2, :2].T @ (at - frame[:2, 2])
        return bool(-10.0 <= local[0] <= length + 10.0 and -20.0 <= local[1] <= height)

    # -- time ----------------------------------------------------------------------------------------

    def tick(self, now_s: float) -> None:
        """Time has passed (s, any origin): plans come in, messages go, rest saves the docket."""
        if not self._began:  # what was said before the clock ran stays as long as it was meant to
            self._began = True
            self._message_until += now_s
        self._now = now_s
        if self._message and now_s >= self._message_until:
            self._message = self._to_confirm = ""
        if self._cold and self._drag is None and self.mode == "arrange" and not self.pending:
            p = self.work.of(self._cold.pop())
            if p is not None and not p.aside:
                self._warm(p, chosen=False)
        run = self.planning
        if run is not None and run.poll():
            if run.fault:
                self.tell(run.fault, 10.0)
                self._drop_plan()
            elif run.note:
                self.tell(run.note, 10.0)
                run.note = ""
            self._stale = True
        if (
            self.journal is not None
            and self.journal.unsaved
            and self._drag is None
            and now_s - self._quiet_since >= SAVE_AFTER_S
        ):
            self.save()

    def _warm(self, p: Placement, *, chosen: bool) -> None:
        """Work out a piece's look in trouble before it is wanted in the middle of a drag."""
        state = self.state_of(p)
        trouble = tuple(dict.fromkeys((*self._own.get(p.key, ()), OVERLAPS)))
        state = replace(state, trouble=trouble, chosen=chosen)
        item = self.stage.piece(p, state)
        key = self._look_key(p, state)
        held = self._spare.get(item.key)
        if not chosen and (held is None or held[0] != key):
            self._spare[item.key] = (key, self.painter.paint(self.stage.lens.frame(item)))

    def save(self) -> None:
        """Save the docket now; a disk that refuses is told, the journal still holds all."""
        if self.journal is None:
            return
        from configs.errors import ChalkbeamError

        try:
            said = self.journal.save()
        except ChalkbeamError as error:
            self._quiet_since = self._now + ASK_AGAIN_S  # not at every frame
            why = f"Not saved yet: {error.faults[0]}"
            if why != self._unsaved:
                self.tell(why, 20.0)
            self._unsaved = why
            return
        if self._unsaved:
            said = f"Saved: the disk takes it again. {said}".strip()
        self._unsaved, self._warned = "", False
        if said:
            self.tell(said, 20.0)

    def close(self) -> None:
        """Leave: stop the planner, save."""
        self._end_drag()
        self._drop_plan()
        if self._past is not None:
            self._past.close()
        if self.journal is not None:
            self.journal.close()

    # -- the picture ---------------------------------------------------------------------------------

    def frame(self) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed (x0, y0, x1, y1 px).

        ``changed`` then holds the pixels that may differ, as indices into the flat canvas, or
        None for every pixel of the boxes.
        """
        dirty: list[Box] = []
        self.changed = []
        lines = self._lines_for(self._strip)
        if self._strip is not None and not self._stale:
            rows = self.stage.rows_needed(lines, self._strip)
            # in the middle of a drag it only grows: it shrinks when the hand has let go
            if rows > self._strip.rows or (rows < self._strip.rows and self._drag is None):
                self._stale = True
        if self._stale:
            self._compose()
            dirty.append((0, 0, *self.painter.size))
            lines = self._lines_for(self._strip)
        dirty += self._float(lines)
        if len(dirty) and dirty[0] == (0, 0, *self.painter.size):
            self.changed = None
        return dirty

    def repaint(self) -> None:
        """Paint everything anew at the next frame."""
        self._stale = True

    @property
    def canvas(self) -> NDArray[np.uint32]:
        """(H, W) uint32 0x00RRGGBB: what the projector is to show."""
        return self.painter.canvas

    def state_of(self, p: Placement) -> PieceState:
        """How one copy is to be shown."""
        notes: list[str] = []
        if p.locked:
            notes.append("locked")
        if p.key in self.work.traced:
            notes.append("traced")
        cloth, lay = self.docket.cloth, self.work.lay
        copy = copy_of(self.docket, lay, p, on_fold=self.rules.on_fold(p))
        if cloth and cloth.folded and not self.rules.on_fold(p):
            double = self.rules.layers(p, self.work.lay) == 2
            notes.append("both layers" if double else "upper layer only")
        if p.mirrored and not self.rules.on_fold(p):
            notes.append("turned over")
        shown = self.tool.shows(p.key) if self.tool is not None else None
        if shown is not None:
            return PieceState(shown[0], (*notes, *shown[1]), copy=copy)
        if self.mode == "trace":
            emphasis = "bright" if p.key == self.current else "faint"
            return PieceState(emphasis, tuple(notes), copy=copy)
        chosen = p.key == self.chosen
        return PieceState("plain", tuple(notes), self.troubles(p.key), chosen, copy)

    def _paint(self, item: Item, key: Any) -> Painted:
        """An item's pixels, out of the cache when ``key`` is the one it was painted for."""
        held = self._painted.get(item.key)
        if held is not None and held[0] == key:
            return held[1]
        spare = self._spare.get(item.key)
        if spare is not None and spare[0] == key:
            made = spare[1]
        else:
            made = self.painter.paint(self.stage.lens.frame(item))
        if held is not None and item.key.startswith("piece:"):
            self._spare[item.key] = held  # a look often comes back: trouble comes and goes
        self._painted[item.key] = (key, made)
        return made

    def _piece_painted(self, p: Placement) -> Painted:
        state = self.state_of(p)
        return self._paint(self.stage.piece(p, state), self._look_key(p, state))

    def _look_key(self, p: Placement, state: PieceState) -> Any:
        """What a piece's pixels depend on."""
        return (replace(p, locked=False), state, self.work.view, self.stage.look)

    def _compose(self) -> None:
        """Everything that is not moving, anew."""
        self.pending = False
        painter = self.painter
        self._stale = False
        self._floats.clear()
        if self.page in ("dark", "light"):
            level = 0 if self.page == "dark" else 255
            painter.canvas.fill(level * 0x010101)
            self._strip = None
            np.copyto(self._below, painter.canvas)
            return
        painter.clear()
        if self.page in ("help", "question"):
            self._strip = self._make_strip()
            made = self._help() if self.page == "help" else self._asked()
            painter.put(painter.paint(self.stage.lens.frame(made)))
            self._put_strip()
            np.copyto(self._below, painter.canvas)
            return
        for item, key in self._ground_items():
            painter.put(self._paint(item, key))
        keep = {"cloth", "used"}
        for p in self.work.placed():
            keep.add(f"piece:{p.key}")
            if p.key != self._loose:
                painter.put(self._piece_painted(p))
        for name in [n for n in self._painted if n not in keep]:
            del self._painted[name]
        for name in [n for n in self._spare if n not in keep]:
            del self._spare[name]
        self._shown_troubles = {p.key: self.troubles(p.key) for p in self.work.placed()}
        self._cold = [p.key for p in self.work.placed()]
        self._strip = self._make_strip()
        self._put_over()
        np.copyto(self._below, painter.canvas)

    def _put_over(self) -> None:
        """What lies over the pieces: a plan's outlines, the strip, a tool's marks, the square."""
        self._over.clear()
        for item in self._plan_items():
            self._put_item(item)
        if self.tool is None:
            clear = [self._strip.ground_mm] if self._strip is not None else []
            dark = [
                p for p in self.work.placed() if p.key != self._loose and self.unlit(p) == "wholly"
            ]
            for p in dark[:_MOST_ARROWS]:  # the strip counts them all
                item, ground = self.stage.beyond(p, clear)
                clear.append(ground)
                self._lay_over(ground, self.painter.paint(self.stage.lens.frame(item)))
        self._put_strip()
        if self.tool is not None:
            for item in self.tool.items(self):
                self._put_item(item)
        if self.checking_at is not None:
            self._put_item(self.stage.check_square(self.checking_at))

    def _lay_over(self, ground_mm: Array | None, painted: Painted) -> None:
        """Something over the pieces: first its ground is cleared (N, 2) mm, then its light put."""
        ground = None
        if ground_mm is not None:
            ground = self.calibration_at_cloth.to_projector(ground_mm)
            self.painter.fill(ground, self.painter.ground)
        self.painter.put(painted)
        self._over.append((ground, painted))

    @property
    def calibration_at_cloth(self) -> Calibration:
        """The calibration of the cloth's upper side, that everything is drawn through."""
        return self.stage.calibration

    def _put_item(self, item: Item) -> None:
        # nothing may cross a ruler or its numbers
        panel = self.stage.check_panel(item.table_from_item) if item.key == "check" else None
        self._lay_over(panel, self.painter.paint(self.stage.lens.frame(item)))

    def _ground_items(self) -> Iterable[tuple[Item, Any]]:
        view, look = self.work.view, self.stage.look
        used = self.rules.figures(self.work.lay).used_mm
        bolt = self.docket.cloth is None or self.docket.cloth.lie_outline_mm is None
        yield self.stage.cloth(used), (view, look, round(used) if bolt else 0)

    def _plan_items(self) -> Iterable[Item]:
        run = self.planning
        if run is None or run.best is None:
            return
        here = {p.key: p for p in self.work.placed()}
        moved = [
            p
            for p in run.best.lay
            if p.piece in self.stage.faces and not (p.key in here and _lie_alike(p, here[p.key]))
        ]
        words = [w for p in here.values() for w in self.stage.words_of(p, self.state_of(p))]
        yield self.stage.ghost(moved, words)

    def _help(self) -> Item:
        rows = []
        for action in ACTIONS:
            if self.mode not in action.modes:
                continue
            keys = "  ".join(_key_words(k) for k in self.keys.by_action[action.name][:2])
            rows.append((keys, action.help))
        lines = self.lines_of_strip()
        strip = self._strip  # what finds no room on it stands here
        short = strip is not None and len(self.stage.figures(lines, strip)) < len(lines)
        foot = (
            *([" | ".join(lines)] if strip is None or short else []),
            "Press on a piece to pick it, drag to move, drag with the second button to tilt.",
            "Never look into the lens. Close the blade guard after every cut.",
        )
        item, shown = self.stage.leaf(f"Help: {self.mode}", rows, foot, self._help_from)
        last = self._help_from + shown
        self._help_next = last if last < len(rows) else 0
        return item

    def _asked(self) -> Item:
        rows = [
            ("any key", "go on with it"),
            (_key_words(self.keys.shown("check")), "check it: lay a ruler on a 100 mm square"),
            (_key_words(self.keys.shown("calibrate")), "calibrate anew"),
        ]
        return self.stage.page("Is the calibration still true?", rows, self._question)

    def _buttons(self, names: Iterable[str], row: str) -> list[Button]:
        return [
            Button(
                name,
                STRIP_WORDS.get((row, name))
                or STRIP_WORDS.get((self.mode, name))
                or BY_NAME[name].words,
                _key_words(self.keys.shown(name)),
                on=(name == "check" and self.checking_at is not None)
                or (name == "help" and self.page == "help"),
            )
            for name in names
        ]

    def _make_strip(self) -> Strip | None:
        if not self.strip_on and self.page != "question":
            return None
        row = self.tool.strip if self.tool is not None else self.mode
        if self.page == "question":
            row = "question"
        elif self.planning is not None and self.planning.best:
            row = "plan"
        if row != self._strip_row:
            self._strip_row, self._strip_from = row, 0
        every = STRIP[row] + STRIP_MORE.get(row, ())
        names = every[self._strip_from :]
        lines = self.lines_of_strip()
        now = (row, self._strip_from, self.mode, self.stage.view)
        if now != self._strip_room[0]:
            laid = self.stage.strip(lines, self._buttons(("more", *names), row))
            self._strip_room = (now, len(laid.buttons) - 1)
        room = self._strip_room[1]
        self._strip_next = self._strip_from + max(room, 1)
        if self._strip_next >= len(every):
            self._strip_next = 0
        if self._strip_from or self._strip_next:
            names = (*names[: max(room, 1)], "more")
        buttons = self._buttons(names, row)
        near = self.stage.strip(lines, buttons)
        if self.page:
            return near
        far = self.stage.strip(lines, buttons, far=True)
        if self.mode != "trace":
            # on the other side only when that covers nothing and her own side does
            free = [not self._covers_piece(s) for s in (near, far)]
            return near if free[0] or not free[1] else far
        if self._strip_open or not self._hides_current(near):
            return near
        return far if not self._hides_current(far) else self._handle(row)

    def _handle(self, row: str) -> Strip:
        """The strip shrunk to what she cannot do without, where it covers least."""
        mine = self._lines_of_current()
        others = [self._on_table(p) for p in self.work.placed() if p.key != self.current]
        lines = [(mine, 10.0), *((_dense(ring), 0.01) for ring in others)]
        keep_off: list[Array] = []
        if self.tool is not None:
            lines.append((self.tool.clear_of(self), 100.0))
        if self.checking_at is not None:
            keep_off.append(self.stage.check_panel(self.stage.reading_frame(self.checking_at)))
        read = self.stage.reading_frame((0.0, 0.0))[:2, :2]
        frame, length, _ = self.stage.strip_box(1.0)
        near = frame[:2, :2] @ np.array([0.5 * length, 0.0]) + frame[:2, 2]
        held = (
            self._strip.item.table_from_item[:2, 2] if self._strip and self._strip.small else None
        )

        def where(size: tuple[float, float]) -> Array | None:
            return room.place(
                self.stage.lens.beam_mm, self.stage.lens.covers, read, size, near,
                lines=lines, keep_off=keep_off, stay=held,
            )  # fmt: skip

        buttons = self._buttons((*HANDLE.get(row, STRIP[row][:3]), "more"), row)
        return self.stage.handle(self._short_lines(), buttons, where)

    def _lines_of_current(self) -> Array:
        """(N, 2) table mm, close together along every line of the piece that is traced."""
        p = self.work.of(self.current)
        if p is None:
            return np.zeros((0, 2))
        a = self.stage.table_from_piece(p)
        lines = [
            stepped(line, 4.0)
            for kind, drawn in self.stage.faces[p.piece].lines.items()
            if kind != "grain"
            for line in drawn
        ]
        return np.asarray(np.concatenate(lines) @ a[:2, :2].T + a[:2, 2])

    def _covers_piece(self, strip: Strip) -> bool:
        return any(
            _any_in_quad(_dense(self._on_table(p)), strip.ground_mm) for p in self.work.placed()
        )

    def _on_table(self, p: Placement) -> Array:
        a = self.stage.table_from_piece(p)
        return np.asarray(self.stage.faces.of(p).rough @ a[:2, :2].T + a[:2, 2])

    def _hides_current(self, strip: Strip) -> bool:
        if self.tool is not None and any(
            _in_quad(q, strip.ground_mm) for q in self.tool.clear_of(self)
        ):
            return True
        return _any_in_quad(self._lines_of_current(), _grown(strip.ground_mm, 4.0))

    def _put_strip(self) -> None:
        if self._strip is None:
            return
        strip = self._strip
        key = (self.mode, self.page, self.work.view, strip.item)
        self._lay_over(strip.ground_mm, self._paint(strip.item, key))

    def _true(self) -> str:
        """How true the light is, in words."""
        return self.truth + (", when it was made" if self._unchecked else "")

    def _lines_for(self, strip: Strip | None) -> tuple[str, ...]:
        """The words for a strip as large as it is."""
        if strip is None:
            return ()
        return self._short_lines() if strip.small else self.lines_of_strip()

    def _short_lines(self) -> tuple[str, ...]:
        """The words that the handle has room for: what is said, or where she is and what is wrong."""
        if self._message:
            return tuple(self._message.split("\n"))
        if self.tool is not None:
            return tuple(self.tool.says.split("\n"))
        words = self.lines_of_strip()[:2]
        return (*words, self._trouble_words()) if self.trouble_count else words

    def lines_of_strip(self) -> tuple[str, ...]:
        """The strip's line: what is said, or the figures."""
        if self._message:
            return tuple(self._message.split("\n"))
        if self.tool is not None:
            return (*self.tool.says.split("\n"), self._true())
        figures = self.rules.figures(self.work.lay, self._loose)
        lines: list[str] = []
        if self.journal is not None and self.journal.unsaved and self.journal.refused:
            lines.append(f"NOT SAVED: the journal {self.journal.refused}")
        run = self.planning
        if run is not None:
            lines.append(run.told)
            if run.best is not None:
                lines.append(
                    f"plan: {self.length(round(run.best.used_mm))}, {100 * run.best.share:.0f} %"
                )
        if self.mode == "trace":
            placed = self.work.placed()
            done = sum(1 for p in placed if p.key in self.work.traced)
            name = (
                self.current.rsplit("/", 1)[0].replace("-", " ") if self.current else "all traced"
            )
            lines += [name, f"{done} of {len(placed)} traced", self._true()]
            if self.trouble_count:
                lines.append(f"{self._trouble_words()}: look at 'arrange'")
            lines += [w for w in (self._light_words(),) if w]
            lines.append(_lines_words(self.stage.look.lines))
            return tuple(lines)
        cut = f"used {self.length(round(figures.used_mm))}"
        if figures.share:
            cut += f", {100 * figures.share:.0f} %"
        lines.append(cut)
        if math.isfinite(figures.left_mm):
            left = round(figures.left_mm)
            words = self.length(abs(left))
            lines.append(f"{words} left" if left >= 0 else f"{words} too long")
        lines.append(self._trouble_words() or "nothing overlaps")
        lines += [w for w in (self._light_words(),) if w]
        lines.append(self._true())
        waiting = sum(1 for p in self.work.lay if p.aside)
        if waiting:
            lines.append(f"{waiting} aside")
        p = self.work.of(self.chosen)
        if p is not None and abs(self.rules.tilt(p)) >= 0.05:
            name = p.piece.replace("-", " ")
            lines.append(f"{name}: {abs(self.rules.tilt(p)):.1f}° off grain")
        return tuple(lines)

    def _lift(self, key: str) -> None:
        """Take one piece out of the ground, so that it can move over it."""
        self._loose = key
        held = self._painted.get(f"piece:{key}")
        if self._stale or held is None or self.page:
            self._stale = True
            return
        self._exchange(held[1], EMPTY)
        self._floats[f"piece:{key}"] = held[1]
        self.painter.put(held[1])
        self._shown_troubles = {p.key: self.troubles(p.key) for p in self.work.placed()}

    def _exchange(self, old: Painted, new: Painted) -> Box:
        """Put other pixels in the place of a still item's, and only there; answers the box."""
        painter = self.painter
        for painted in self._floats.values():
            painter.restore(painted, self._below)
        painter.erase(
            old,
            [
                painted
                for name, (_, painted) in self._painted.items()
                if (name == "cloth" or name.startswith("piece:"))
                and name != f"piece:{self._loose}"
                and painted is not old
                and _meet(painted.box, old.box)
            ],
        )
        painter.put(new)
        box = _around(old.box, new.box)
        if any(_meet(_box_of(ground, painted), box) for ground, painted in self._over):
            for ground, painted in self._over:
                if ground is not None:
                    painter.fill(ground, painter.ground)
                painter.put(painted)
        painter.carry(old, painter.canvas, self._below)
        painter.carry(new, painter.canvas, self._below)
        for painted in self._floats.values():
            painter.put(painted)
        if self.changed is not None:
            self.changed += [old.index, new.index]
        return box

    def _show_neighbours(self) -> list[Box]:
        """While a piece is moved: neighbours that it has come to lie on, or has left."""
        self.pending = False
        boxes: list[Box] = []
        for p in self.work.placed():
            said = self.troubles(p.key)
            if p.key == self._loose or said == self._shown_troubles.get(p.key, ()):
                continue
            if boxes:  # one a frame, so that the hand is never kept waiting
                self.pending = True
                break
            self._shown_troubles[p.key] = said
            held = self._painted.get(f"piece:{p.key}")
            new = self._piece_painted(p)
            boxes.append(self._exchange(held[1] if held is not None else EMPTY, new))
        return boxes

    def _float(self, lines: tuple[str, ...]) -> list[Box]:
        """What moves: the loose piece, guides, figures, the pointer."""
        new: dict[Any, Painted] = {}
        first: list[Box] = []
        painter = self.painter
        if not self.page and self._loose is not None:
            p = self.work.of(self._loose)
            said = self.troubles(self._loose)
            if self._loose_said == said:
                first = self._show_neighbours()
            else:  # its own label is looked up anew in this frame; the neighbours' in the next
                self._loose_said, self.pending = said, True
            if p is not None:
                new["moving"] = self._moving_painted(p)
        else:
            self.pending = False
        if self._strip is not None and self.page in ("", "help", "question"):
            shown = self._figures[1]
            if self.pending and shown and all(f in self._floats for f in shown):
                # enough for one frame: they come with the next
                new.update(self._figures[1])
            else:
                new.update(self._figures_painted(self._strip, lines))
        if (
            self.pointer_mm is not None
            and self.page not in ("dark", "light")
            and "moving" not in new
        ):
            at = (round(float(self.pointer_mm[0]), 3), round(float(self.pointer_mm[1]), 3))
            item = self.stage.cursor(at, busy=self._drag is not None)
            new["cursor"] = self._paint(item, (at, self._drag is not None, self.stage.look))
        if new.keys() == self._floats.keys() and all(new[k] is self._floats[k] for k in new):
            return first
        old = self._floats
        names = [n for n in {**old, **new} if old.get(n) is not new.get(n)]
        boxes = first + [f[n].box for n in names for f in (old, new) if n in f]
        # what stands still is touched only where something else moves over it
        same = [n for n in new if n not in names and any(_meet(new[n].box, b) for b in boxes)]
        for name in names:
            if name in old:
                painter.restore(old[name], self._below)
        for name in [*names, *same]:
            if name in new:
                painter.put(new[name])
        self._floats = new
        if self.changed is not None:
            self.changed += [f[n].index for n in names for f in (old, new) if n in f]
        return _merged(boxes)

    def _moving_painted(self, p: Placement) -> Painted:
        """The loose piece, what it snaps to and the pointer, painted in one go."""
        lens = self.stage.lens
        state = self.state_of(p)
        at = self.pointer_mm
        pointer = None if at is None else (float(at[0]), float(at[1]))
        key = (p, state, self.work.view, self.stage.look, pointer)
        held = self._painted.get("moving")
        if held is not None and held[0] == key:
            return held[1]
        parts = [self.stage.piece(p, state)]
        if self._guides:
            parts.append(self.stage.guides(self._guides))
        if self.pointer_mm is not None:
            parts.append(self.stage.cursor(self.pointer_mm, busy=True))
        made = self.painter.paint(lens.frame_joined(parts))
        self._painted["moving"] = (key, made)
        return made

    def _figures_painted(self, strip: Strip, lines: tuple[str, ...]) -> dict[Any, Painted]:
        """The strip's figures; those that stand as they stood are not painted again."""
        place = (strip.item.table_from_item.tobytes(), strip.rows, strip.tall_mm, self.stage.look)
        if self._figures[0] == (lines, place):
            return self._figures[1]
        held = self._figures[1] if self._figures[0] and self._figures[0][1] == place else {}
        made = {
            f: held.get(f) or self.painter.paint(self.stage.lens.frame(self.stage.figure(f, strip)))
            for f in self.stage.figures(lines, strip)
        }
        self._figures = ((lines, place), made)
        return made


def _things(count: int, what: str = "thing") -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _lie_alike(one: Placement, other: Placement) -> bool:
    """Whether chalk drawn round the one lies right for the other."""
    return not other.aside and replace(one, locked=False) == replace(other, locked=False)


def _lines_words(lines: str) -> str:
    return {"both": "cutting and sewing line", "cutting": "cutting line", "sewing": "sewing line"}[
        lines
    ]


_KEY_WORDS = {
    ",": ", comma",
    ".": ". point",
    "return": "Enter",
    "escape": "Esc",
    "backspace": "Back",
    "page down": "PgDn",
    "page up": "PgUp",
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
}


def _key_words(key: str) -> str:
    """A key as it is printed on the keyboard; a sign too small to be read has its word too."""
    *held, name = key.split("+")
    name = _KEY_WORDS.get(name, name.capitalize() if len(name) > 1 else name.upper())
    return "+".join([h.capitalize() for h in held] + [name]) if key else ""


def _through(matrix: Array, point: Array) -> Array:
    return np.asarray(matrix[:2, :2] @ point + matrix[:2, 2])


def _in_quad(point: Array, quad: Array) -> bool:
    d = np.roll(quad, -1, axis=0) - quad
    side = d[:, 0] * (point[1] - quad[:, 1]) - d[:, 1] * (point[0] - quad[:, 0])
    return bool(np.all(side >= 0) or np.all(side <= 0))


def _box_of(ground_px: Array | None, painted: Painted) -> Box:
    """About something that lies over the pieces: its cleared ground and its light."""
    if ground_px is None:
        return painted.box
    (x0, y0), (x1, y1) = ground_px.min(axis=0), ground_px.max(axis=0)
    return _around((int(x0) - 1, int(y0) - 1, int(x1) + 2, int(y1) + 2), painted.box)


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _around(a: Box, b: Box) -> Box:
    """The box about two, either of which may be empty."""
    if a[2] <= a[0]:
        return b
    if b[2] <= b[0]:
        return a
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


def _merged(boxes: Sequence[Box]) -> list[Box]:
    """Fewer boxes with every pixel of the given ones, joined where that means less to copy."""
    out: list[Box] = []
    for box in boxes:
        if box[2] <= box[0] or box[3] <= box[1]:
            continue
        for i, other in enumerate(out):
            both = _around(box, other)
            if _area(both) <= _area(box) + _area(other):
                out[i] = both
                break
        else:
            out.append(box)
    return out


def _area(box: Box) -> int:
    return (box[2] - box[0]) * (box[3] - box[1])


def _dense(ring: Array) -> Array:
    """A ring's corners and the middles between them."""
    return np.concatenate([ring, 0.5 * (ring + np.roll(ring, -1, axis=0))])


def _grown(quad: Array, by_mm: float) -> Array:
    """A quad with its corners moved outwards."""
    middle = quad.mean(axis=0)
    away = quad - middle
    return np.asarray(quad + by_mm * away / np.abs(away).max(axis=0))


def _any_in_quad(points: Array, quad: Array) -> bool:
    """Whether any of the points lies in a convex quad."""
    d = np.roll(quad, -1, axis=0) - quad
    side = d[:, 0] * (points[:, 1:2] - quad[:, 1]) - d[:, 1] * (points[:, 0:1] - quad[:, 0])
    return bool(((side >= 0).all(axis=1) | (side <= 0).all(axis=1)).any())
