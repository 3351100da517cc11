"""One sitting at the table: the state, and what must happen in the world when it changes.

Between the machine's events (`app`) and the values below: hands events to `hands`, keeps what they
answer, notes every change in the journal and the steps file, says what was told, runs the planner,
and lets the compositor show it. Knows neither pygame nor a clock: times are handed in, so a test
can sit at the table too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from projector.picture.compositor import Compositor
from projector.picture.look import look_of
from projector.picture.marks import Index
from projector.picture.on_table import view_of
from projector.picture.painter import Box, Painter
from projector.picture.stage import Stage
from projector.session import actions, hand, hands
from projector.session.keys import Keys
from projector.session.merge import Kept
from projector.session.past import Past
from projector.session.planning import Planning
from projector.session.rules import History, Work
from projector.session.state import MESSAGE_S, SILENT, Plan, State, begun
from projector.tools import shape_room
from projector.tools.bays.opening import resumed

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from projector.session.journal import Journal


SAVE_AFTER_S = 2.0  # of quiet
ASK_AGAIN_S = 5.0  # whether the disk takes it now
DRAG_NOTE_S = 0.2  # how often a drag under way is journalled


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

    def __init__(
        self,
        docket: Docket,
        calibration: Calibration,
        keys: Keys | None = None,
        journal: Journal | None = None,
        say: Callable[[str], None] | None = None,
        truth: str = "",
    ) -> None:
        self.journal, self.say = journal, say
        view = view_of(docket, calibration)
        stage = Stage(docket, calibration, view, look_of(docket))
        work = Work(docket.lay, docket.traced, view)
        self._past: Past | None = None
        history = History(work)
        if journal is not None and docket.path is not None:
            self._past, history = Past.open(docket.path, work, stage.faces)
        self.state = begun(
            docket, calibration, keys or Keys(), history, stage, table=docket.table, truth=truth
        )
        self.compositor = Compositor(Painter(calibration.size, stage.ink.ground))
        self.planning: Planning | None = None
        self._ordered: Plan | None = None
        self._noted = self._notable(self.state)
        self._drag_noted = self._quiet_since = 0.0
        self._clock_runs = False
        self._unsaved, self._warned = "", False
        self._take(shape_room.resumed(resumed(self.state)))

    # -- events ------------------------------------------------------------------------------------

    def key(self, name: str) -> None:
        """A key was pressed: ``a``, ``shift+left``, ``page down`` …"""
        self._take(hands.key(self._now(), name))

    def repeats(self, name: str) -> bool:
        """Whether a key goes on as long as it is held."""
        return hands.repeats(self.state, name)

    def do(self, action: str, *, large: bool = False) -> None:
        """Do an action by its name; ``large``: the larger step where there are two.

        Raises:
            KeyError: there is no such action.
        """
        self._take(actions.done(self._now(), action, large=large))

    def pointer(
        self, kind: str, x_px: float, y_px: float, button: int = 1, *, free: bool = False
    ) -> None:
        """The pointer: ``kind`` is ``move``, ``down`` or ``up``; px of the picture; ``free``: with a
        key held that keeps pieces from snapping."""
        at = self.state.stage.lens.to_table(x_px, y_px)
        if np.isfinite(at).all():
            self._take(hands.pointer(self._now(), kind, at, button, free=free))

    def leaves(self, name: str) -> bool:
        """Whether a key means to leave at once."""
        return self.state.keys.action(name, "arrange") == "quit"

    def offer(self, noted: Planning) -> None:
        """Show what she had noted and an edit of the docket contradicts, to take or to leave."""
        plan = Plan((), noted.best, noted.told, whole=True)
        self.planning, self._ordered = noted, plan
        self._take(self.state.but(plan=plan))

    def ask(self, lines: Sequence[str]) -> None:
        """A page that questions the calibration: go on, check it, or make a new one."""
        self._take(hands.ask(self.state, lines))

    def tell(self, text: str, seconds: float = MESSAGE_S) -> None:
        """Say something on the strip for a while."""
        self._take(self.state.tell(text, seconds))

    def tick(self, now_s: float) -> None:
        """Time has passed (s, any origin): plans come in, messages go, rest saves the docket."""
        state = self.state
        message = state.message
        if not self._clock_runs:  # what was said before it ran stays as long as it was meant to
            self._clock_runs = True
            message = replace(message, until=message.until + now_s)
        if message.text and now_s >= message.until:
            message, state = SILENT, state.but(to_confirm="")
        self.state = state.but(now=now_s, message=message)
        self.compositor.rest(self.state)
        self._poll()
        if (
            self.journal is not None
            and self.journal.unsaved
            and self.state.drag is None
            and now_s - self._quiet_since >= SAVE_AFTER_S
        ):
            self.save()

    def _now(self) -> State:
        """The state that an event meets: what stands in the docket beside ours may have changed."""
        table = self.journal.docket.table if self.journal is not None else self.state.table
        return self.state if table is self.state.table else self.state.but(table=table)

    # -- what follows ------------------------------------------------------------------------------

    def _take(self, state: State) -> None:
        """The next state: told, noted, planned."""
        said = state.said
        if state.decided and self.planning is not None:
            self.planning.decided()
        self.state = state.but(said=(), decided=False) if said or state.decided else state
        if self.say is not None:
            for text in said:
                self.say(text)
        plan, ordered = state.plan, self._ordered
        if plan is None or ordered is None or plan.still is not ordered.still:
            self._order(plan)
        if state.reshaped is not None:
            self._reshape(state.reshaped)
        self._note()
        if not state.running:
            self._leave()

    def _reshape(self, docket: Docket) -> None:
        """A garment that was shaped on the cloth goes into the docket, or into a new one; where it
        cannot be written she is told, and it stays in her hands as it is."""
        from configs.errors import ChalkbeamError

        anew, journal = self.state.anew_name, self.journal
        state = self.state.but(reshaped=None, anew_name=False)
        made = shape_room.as_it_was(state) if anew else shape_room.taken(state)
        try:
            if anew and journal is not None:
                name = journal.keep_as(docket).name
                made = made.tell(f"Kept as {name}. This one is as it was.", 12.0)
            elif journal is not None:
                work = made.work
                kept = Kept(work.lay, work.traced, made.settings())
                journal.reshape(docket.garment, kept)
        except ChalkbeamError as error:
            made = state.tell(f"Not kept: {error.faults[0]}", 20.0)
        self._take(made)

    def _leave(self) -> None:
        """Everything is saved first; when it cannot be she is told, and goes when she asks again."""
        anew = self.state.anew
        self.state = self.state.but(running=True, anew=False)  # she is there until it is decided
        self.save()
        if self.journal is None or not self.journal.unsaved or self._warned:
            self.state = self.state.but(running=False, anew=anew)
            return
        self._warned = True
        self.tell(f"{self._unsaved} Once more leaves without what is not saved.", 60.0)

    @staticmethod
    def _notable(state: State) -> tuple[Any, ...]:
        """What is kept of a state: another one of these is noted."""
        return (state.history, state.kept, state.stage.look, state.place)

    def _note(self) -> None:
        """Note what has changed since the last note; in the middle of a drag not every move."""
        state = self.state
        mine, last = self._notable(state), self._noted
        if all(a is b for a, b in zip(mine[:2], last[:2], strict=True)) and mine[2:] == last[2:]:
            return
        if state.drag is not None:
            if state.now - self._drag_noted < DRAG_NOTE_S or not state.drag.moved:
                return
            self._drag_noted = state.now
        self._noted = mine
        self._quiet_since = state.now
        if self.journal is not None:
            work = state.work if state.noted is None else state.noted
            self.journal.note(work.lay, work.traced, state.settings())
            self._tell_unsaved()
        if self._past is not None and state.drag is None:
            self._past.note(state.history)

    def _order(self, plan: Plan | None) -> None:
        """Start the plan that is asked for; stop the one that is not any more."""
        if self.planning is not None:
            self.planning.stop()
            self.planning = None
        self._ordered = plan
        if plan is not None:
            self.planning = Planning(self.state.docket, plan.still)
            self.planning.start()

    def _poll(self) -> None:
        """Take in what the planner has found, not in the middle of a drag."""
        run, plan = self.planning, self.state.plan
        if self.state.drag is not None or run is None or plan is None or not run.poll():
            return
        state = self.state.but(plan=replace(plan, best=run.best, told=run.told))
        if run.fault:
            state = state.tell(run.fault, 10.0).but(plan=None)
        elif run.note:
            state, run.note = state.tell(run.note, 10.0), ""
        self._take(state)

    def save(self) -> None:
        """Save the docket now; a disk that refuses is told, the journal still holds all."""
        if self.journal is None:
            return
        from configs.errors import ChalkbeamError

        try:
            said = self.journal.save()
        except ChalkbeamError as error:
            self._quiet_since = self.state.now + ASK_AGAIN_S  # not at every frame
            why = f"Not saved yet: {error.faults[0]}"
            if why != self._unsaved:
                self.tell(why, 20.0)
            self._unsaved = why
            return
        finally:
            self._tell_unsaved()
        if self._unsaved:
            said = f"Saved: the disk takes it again. {said}".strip()
        self._unsaved, self._warned = "", False
        if said:
            self.tell(said, 20.0)

    def _tell_unsaved(self) -> None:
        """On the strip as long as neither the journal nor the docket has it."""
        journal = self.journal
        if journal is not None:
            lost = f"NOT SAVED: the journal {journal.refused}"
            words_ = lost if journal.unsaved and journal.refused else ""
            self.state = self.state.but(not_saved=words_)

    def close(self) -> None:
        """Leave: stop the planner, save."""
        self._take(hand.let_go(self.state).but(plan=None))
        if self._past is not None:
            self._past.close()
        if self.journal is not None:
            self.journal.close()

    # -- the picture -------------------------------------------------------------------------------

    @property
    def running(self) -> bool:
        """Whether she is still at the table."""
        return self.state.running

    @property
    def pending(self) -> bool:
        """Whether another frame is wanted at once."""
        return self.compositor.pending

    @property
    def canvas(self) -> NDArray[np.uint32]:
        """(H, W) uint32 0x00RRGGBB: what the projector is to show."""
        return self.compositor.painter.canvas

    @property
    def changed(self) -> list[Index] | None:
        """After `frame`: the pixels that may differ, or None for every pixel of its boxes."""
        return self.compositor.changed

    def frame(self) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed (x0, y0, x1, y1 px)."""
        boxes = self.compositor.frame(self.state)
        if self.compositor.shown is not self.state.shown:
            self.state = self.state.but(shown=self.compositor.shown)
        return boxes

    def repaint(self) -> None:
        """Paint everything anew at the next frame."""
        self.compositor.repaint()
