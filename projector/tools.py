"""Tools: what takes the pointer for a while, aligning to the cloth and going from bay to bay.

Between `sitting`, which hands them keys and pointer, and the pure steps of `align` and `baywalk`.
A tool holds one state of theirs, shows it as marks of light, and keeps it in the docket's
``table`` after every step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import ChalkbeamError, Fault, InputError
from configs.units import length_text
from projector import trace
from projector.align import LINES, Pointing, carry, told
from projector.bays import (
    BayPlan,
    Laid,
    clip,
    cross_lines,
    distance_to,
    fits,
    lines_here,
    out_of_beam,
    plan_bays,
    too_long,
)
from projector.baywalk import (
    Baywalk,
    ShownCross,
    again,
    crosses_shown,
    from_dict,
    go,
    keep,
    mark,
    next_bay,
    point,
    previous_bay,
    restart,
    said,
    start,
    stay,
    take_back,
    to_dict,
    unmark,
)
from projector.faces import text_block
from projector.height import Height, height_of, off_by
from projector.marks import Item, Mark, circle, moved
from projector.scene import LINES as SHOWN_LINES
from projector.scene import PieceState
from projector.table import under
from projector.view import rigid

if TYPE_CHECKING:
    from drafting.placement import Placement
    from projector.scene import Stage
    from projector.sitting import Sitting, Tool

Array = NDArray[np.float64]

STRIP_MM = 62.0  # of the strip along her edge, with a little room
_LABEL_MM = 12.0
_MOVED_MM = 3.0  # a pointer that has moved less than this was not brought to the next cross
_OURS = ("on", "light")  # kept beside the state of `baywalk`
_KINDS = ("cutting", "sewing", "fold", "dart", "notch", "mark", "inner")


def laid(stage: Stage, placed: Sequence[Placement]) -> list[Laid]:
    """The copies on the cloth as `bays` wants them, cloth mm."""
    out = []
    for p in placed:
        face = stage.faces.of(p)
        lines = [line for k in _KINDS if k != "cutting" for line in face.lines.get(k, ())]
        a = p.cloth_from_piece
        outline = face.outline @ a[:2, :2].T + a[:2, 2]
        out.append(Laid(p.key, outline, tuple(moved(lines, a))))
    return out


# -- bays ------------------------------------------------------------------------------------------


@dataclass(eq=False)
class BayTool:
    """Tracing in bays; ``walk`` is where she is, ``pieces`` the lay that the plan was made for.

    ``unit``: that lengths are told in; None for millimetres and centimetres.
    """

    walk: Baywalk
    pieces: list[Laid]
    name: str = "bays"
    done: bool = False
    unit: str | None = None
    _lines: list[Array] = field(default_factory=list, repr=False)
    _spots: dict[tuple[str, bool, float], tuple[float, float]] = field(
        default_factory=dict, repr=False
    )
    _unlit: tuple[float, float] = (0.0, 0.0)
    _tally: tuple[str, int, int] = ("", 0, 0)
    _parts: list[tuple[str, Baywalk, object]] = field(default_factory=list, repr=False)
    _at: Array | None = None

    # -- what the sitting asks -----------------------------------------------------------------

    @property
    def strip(self) -> str:
        """Which row of buttons."""
        return {"trace": "bays", "move": "bays-move", "check": "bays-check"}[self.walk.phase]

    @property
    def says(self) -> str:
        """For the strip: parts by line breaks; those that find no room are left out, last first."""
        lines = said(self.walk, self.unit).split("\n")
        if self.walk.phase != "trace":
            return "\n".join(lines)
        name, count, total = self._tally
        more = f": on to bay {self.walk.at + 2}" if count == total and not self.walk.last else ""
        mine = [name] if name else []
        if self._unlit != (0.0, 0.0):
            mine.insert(0, f"part of it is not lit: {self._unlit_words()}")
        mine.append(f"{count} of {total} traced here{more}")
        return "\n".join([lines[0], *mine, *lines[1:], *self._notes()])

    def _notes(self) -> tuple[str, ...]:
        new = {c.label for c in self.walk.plan.to_chalk(self.walk.at)}
        return tuple(n for n in self.walk.plan.notes if new & set(n.split(" lie")[0].split()))

    def _unlit_words(self) -> str:
        x, y = self._unlit
        up = np.radians(self.walk.view.up_deg)
        right, away = x * np.cos(up) + y * np.sin(up), -x * np.sin(up) + y * np.cos(up)
        words = []
        if abs(right) >= 1.0:
            words.append(
                f"{length_text(round(abs(right)), self.unit)} to your {'right' if right > 0 else 'left'}"
            )
        if abs(away) >= 1.0:
            words.append(
                f"{length_text(round(abs(away)), self.unit)} {'away from' if away > 0 else 'towards'} you"
            )
        return f"move the cloth {' and '.join(words) or 'a little'}, point again"

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

    def clear_of(self, sitting: Sitting) -> Array:
        """(N, 2) table mm that the strip must not cover."""
        wanted = [c.at_table for c in crosses_shown(self.walk) if c.kind != "old"]
        return np.array(wanted).reshape(-1, 2)

    def press(self, sitting: Sitting, table_mm: Array) -> None:
        """Point at a cross; in a bay, pick the piece."""
        at = (float(table_mm[0]), float(table_mm[1]))
        if self.walk.phase == "check":
            self._step(sitting, again)
        if self.walk.phase == "move":
            self._step(sitting, lambda w: point(w, at))
            return
        cloth = carry(sitting.work.view.cloth_from_table, table_mm[None])[0]
        key = under(sitting.rules, sitting.work.lay, cloth)
        if key in self.walk.bay.keys:
            sitting.current = key
            self._count(sitting)
        elif key is not None:
            where = " and ".join(str(i + 1) for i in self.walk.plan.bay_of(key))
            sitting.tell(f"{key.rsplit('/', 1)[0]} is traced in bay {where}.")

    def do(self, sitting: Sitting, action: str) -> bool:
        """Whether the tool has done this action itself."""
        if action in ("centre", "flip-cloth", "turn-cloth"):
            sitting.tell("In bays the crosses hold the lay on the cloth; point at them again.")
            return True
        if action == "side":
            sitting._do_side()
            self._sync(sitting)
            return True
        if action in ("undo", "redo") and self.walk.phase == "trace":
            self._undo(sitting) if action == "undo" else self._redo(sitting)
            return True
        if action in ("arrange", "leave"):
            if action == "leave" and (sitting.page or sitting.checking_at is not None):
                return False
            if action == "leave" and self.walk.phase != "trace" and self.walk.came is not None:
                self._step(sitting, stay)
                return True
            self.leave(sitting)
            return False
        handler = getattr(self, f"_{self.walk.phase}_" + action.replace("-", "_"), None)
        if handler is None:
            return action in ("trace", "bays")
        if sitting.page:
            sitting._set_page("")
        handler(sitting)
        return True

    def items(self, sitting: Sitting) -> Sequence[Item]:
        """Crosses with their letters, and the bright part of a piece that goes on in another bay."""
        stage = sitting.stage
        out = []
        if self.walk.phase == "trace" and sitting.current in self.walk.bay.parts:
            out.append(self._part(sitting))
        out += [self._cross(stage, c) for c in crosses_shown(self.walk)]
        return out

    # -- in a bay --------------------------------------------------------------------------------

    def _trace_go_on(self, sitting: Sitting) -> None:
        key = sitting.current
        if key is not None and key in self.walk.bay.keys and not self._is_done(sitting, key):
            work, whole = sitting.work, key in self.walk.bay.whole
            if not whole:
                self._parts.append((key, self.walk, sitting.history.past))
                self.walk, whole = mark(self.walk, key)
            if whole and key not in work.traced:
                sitting._change(replace(work, traced=(*work.traced, key)), key)
            sitting.current = self._next(sitting, key)
            self._sync(sitting)
            if sitting.current is None:
                self._bay_done(sitting)
            return
        if sitting.current is None and self._next(sitting, None) is None:
            if self.walk.last:
                self._bay_done(sitting)
            else:
                self._step(sitting, next_bay)
            return
        sitting.current = self._next(sitting, key)
        self._sync(sitting)

    def _undo(self, sitting: Sitting) -> None:
        """Back one step; marks on parts of a piece are not in the sitting's own history."""
        if self._parts and self._parts[-1][2] is sitting.history.past:
            key, before, _ = self._parts.pop()
            self.walk = replace(self.walk, marked=before.marked)
            sitting.current = key
        elif sitting.history.past is None:
            sitting.tell("Nothing left to undo.")
        else:
            traced = sitting.work.traced
            sitting.history = sitting.history.back()
            for key in traced:
                if key not in sitting.work.traced:
                    self.walk = unmark(self.walk, key)
                    sitting.current = key if key in self.walk.bay.keys else sitting.current
                    if self._parts and self._parts[-1][0] == key:
                        self._parts.pop()
        self._sync(sitting)

    def _redo(self, sitting: Sitting) -> None:
        sitting.history = sitting.history.forth()
        self._sync(sitting)

    def _bay_done(self, sitting: Sitting) -> None:
        left = [p.key for p in sitting.work.placed() if p.key not in sitting.work.traced]
        if not left:
            sitting.tell("All traced. Turn the room light up before you cut.", 30.0)
        elif self.walk.last:
            where = sorted({i + 1 for k in left for i in self.walk.plan.bay_of(k)})
            sitting.tell(f"Left to trace in bay {' and '.join(map(str, where))}.", 10.0)

    def _trace_go_back(self, sitting: Sitting) -> None:
        self._neighbour(sitting, -1)

    def _trace_next(self, sitting: Sitting) -> None:
        self._neighbour(sitting, 1)

    def _neighbour(self, sitting: Sitting, step: int) -> None:
        sitting.current = trace.neighbour(sitting.stage, self._lot(sitting), sitting.current, step)
        self._sync(sitting)

    def _trace_unmark(self, sitting: Sitting) -> None:
        key = sitting.current
        if key is None or not self._is_done(sitting, key):
            sitting.tell("This piece is not marked.")
            return
        self.walk = unmark(self.walk, key)
        kept = tuple(k for k in sitting.work.traced if k != key)
        if kept != sitting.work.traced:
            sitting._change(replace(sitting.work, traced=kept), key)
        self._sync(sitting)

    def _trace_next_bay(self, sitting: Sitting) -> None:
        self._step(sitting, next_bay)

    def _trace_previous_bay(self, sitting: Sitting) -> None:
        self._step(sitting, previous_bay)

    def _trace_point_again(self, sitting: Sitting) -> None:
        self._step(sitting, again)

    # -- between bays ----------------------------------------------------------------------------

    def _move_go_on(self, sitting: Sitting) -> None:
        at = sitting.pointer_mm
        cross = self.walk.next_cross
        label = f"cross {cross.label}" if cross is not None else "the cross"
        # a presenter's button pressed twice must not take the pointer where it happens to be
        if at is None or (self._at is not None and float(np.hypot(*(at - self._at))) < _MOVED_MM):
            sitting.tell(f"Move the pointer onto {label} first.")
            return
        self.press(sitting, at)

    def _move_go_back(self, sitting: Sitting) -> None:
        self._step(sitting, take_back if self.walk.taken else stay)

    def _move_previous_bay(self, sitting: Sitting) -> None:
        self._step(sitting, lambda w: stay(w) if w.came is not None else previous_bay(w))

    def _move_next_bay(self, sitting: Sitting) -> None:
        self._step(sitting, lambda w: go(w, w.at + 1))

    _move_undo = _move_go_back

    def _move_point_again(self, sitting: Sitting) -> None:
        self._step(sitting, again)

    _check_go_on = _move_point_again
    _check_point_again = _move_point_again

    def _check_keep_fit(self, sitting: Sitting) -> None:
        self._step(sitting, keep)

    def _check_go_back(self, sitting: Sitting) -> None:
        self._step(sitting, take_back)

    _check_undo = _check_go_back

    # -- inside ----------------------------------------------------------------------------------

    def _step(self, sitting: Sitting, change: Callable[[Baywalk], Baywalk]) -> None:
        before = self.walk
        try:
            self.walk = change(before)
        except InputError as error:
            sitting.tell(str(error.faults[0]).removeprefix("bays: ").capitalize(), 8.0)
            return
        self._parts.clear()
        self._at = sitting.pointer_mm
        if self.walk.phase == "trace" and before.phase != "trace":
            sitting.current = self._next(sitting, None)
            if self.walk.registration is not None:
                sitting.tell(told(self.walk.registration))
        self._sync(sitting)

    def _sync(self, sitting: Sitting) -> None:
        """View, picture and docket after a step."""
        side = sitting.work.view.side
        self.walk = self.walk.with_view(self.walk.view.replace(side=side))
        sitting.place(self.walk.view)
        a = self.walk.view.table_from_cloth
        self._lines = [moved([line], a)[0] for p in self.pieces for line in p.runs()]
        self._spots.clear()
        self._unlit = (0.0, 0.0)
        if self.walk.phase == "trace":
            self._unlit = out_of_beam(
                self.walk.plan, self.walk.at, self.pieces, sitting.stage.calibration, self.walk.view
            )
        self._count(sitting)
        sitting.keep(bays={"on": True, "light": light_of(sitting), **to_dict(self.walk)})
        sitting.repaint()

    def _count(self, sitting: Sitting) -> None:
        keys = self.walk.bay.keys
        name = (sitting.current or "").rsplit("/", 1)[0].replace("-", " ")
        self._tally = (name, sum(self._is_done(sitting, k) for k in keys), len(keys))

    def leave(self, sitting: Sitting) -> None:
        """Put the tool away; the state stays in the docket for the next time."""
        sitting.keep(bays={"on": False, "light": light_of(sitting), **to_dict(self.walk)})
        sitting.tool = None
        self.done = True

    def retaken(self, sitting: Sitting) -> None:
        """The view was set by other means (aligned, another side): the bay lies as it says now."""
        self.walk = self.walk.with_view(sitting.work.view)
        self._sync(sitting)

    def _is_done(self, sitting: Sitting, key: str) -> bool:
        return key in sitting.work.traced or (key, self.walk.at) in self.walk.marked

    def _lot(self, sitting: Sitting) -> list[Placement]:
        return [p for p in sitting.work.placed() if p.key in self.walk.bay.keys]

    def _next(self, sitting: Sitting, after: str | None) -> str | None:
        lot = self._lot(sitting)
        done = [p.key for p in lot if self._is_done(sitting, p.key)]
        return trace.next_piece(sitting.stage, lot, done, after=after)

    def _part(self, sitting: Sitting) -> Item:
        """The lines of the current piece as far as this bay goes, and ticks where it ends."""
        stage, walk = sitting.stage, self.walk
        key = str(sitting.current)
        p = sitting.work.of(key)
        marks: list[Mark] = []
        if p is not None:
            shown = SHOWN_LINES[stage.look.lines]
            face, share = stage.faces.of(p), walk.bay.parts[key]
            for kind in _KINDS:
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
        key = (cross.label, cross.kind == "next", stage.reading_deg)
        if key not in self._spots:
            ring = 8.0 if cross.kind == "next" else 0.0
            self._spots[key] = self._room(frame, cross.arm_mm + ring)
        away = self._spots[key]
        shown = "bright" if cross.kind in ("chalk", "next", "later") else "faint"
        marks.append(stage.mark("label", moved(letter, rigid(0.0, away)), shown))
        return Item(f"cross {cross.label}", tuple(marks), frame)

    def _room(self, frame: Array, arm_mm: float) -> tuple[float, float]:
        """Where beside a cross its letter is farthest from every line, in the reading frame."""
        d = 0.75 * arm_mm + 0.7 * _LABEL_MM
        e = arm_mm + 0.8 * _LABEL_MM
        spots = np.array([(d, d), (-d, d), (d, -d), (-d, -d), (0, e), (0, -e), (e, 0), (-e, 0)])
        gap = distance_to(carry(frame, spots), self._lines)
        free = np.flatnonzero(gap > _LABEL_MM)  # the first that is free: letters stand alike
        best = int(free[0]) if free.size else int(np.argmax(gap))
        return float(spots[best, 0]), float(spots[best, 1])


def plan_for(
    sitting: Sitting, chalked: BayPlan | None = None, labels: Sequence[str] = ()
) -> BayPlan:
    """Bays for the lay as it lies; the strip's room is kept free where that costs no bay.

    Raises:
        InputError: as `bays.plan_bays`.
    """
    pieces = laid(sitting.stage, sitting.work.placed())
    old = [chalked.crosses[c] for c in labels if c in chalked.crosses] if chalked else []
    cal, view, cloth = sitting.stage.calibration, sitting.work.view, sitting.docket.cloth
    words = _ruled(sitting)
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


def _ruled(sitting: Sitting) -> list[Array]:
    """Every label as it stands, its box ruled with lines (N, 2) cloth mm: no cross among letters."""
    stage = sitting.stage
    read = rigid(stage.reading_deg, (0.0, 0.0))[:2, :2]
    back = sitting.work.view.cloth_from_table
    out = []
    for p in sitting.work.placed():
        now = sitting.state_of(p)
        traced = PieceState("bright", (*now.notes, "traced"), copy=now.copy)
        for points in stage.words_of(p, traced):
            (x0, y0), (x1, y1) = (points @ read).min(axis=0), (points @ read).max(axis=0)
            rows = np.linspace(y0, y1, max(2, int((y1 - y0) // 8.0) + 1))
            out += [carry(back, np.array([[x0, y], [x1, y]]) @ read.T) for y in rows]
    return out


def open_bays(sitting: Sitting, *, wanted: bool = False) -> BayTool | None:
    """The bays of this docket: as they were left, or planned now; None when the beam holds all.

    Args:
        wanted: she has asked for them; else only when the lay is not all lit.

    Raises:
        InputError: the lay cannot be cut into bays, or what is kept of them has faults.
    """
    pieces = laid(sitting.stage, sitting.work.placed())
    kept: Any = sitting.table_settings().get("bays")
    walk: Baywalk | None = None
    if kept:
        where = f"{sitting.docket.path or 'docket'}: table.bays"
        if not isinstance(kept, dict):
            raise InputError(
                Fault(where, "is not a mapping.", "Take it out to plan the bays anew.")
            )
        walk = from_dict({k: v for k, v in kept.items() if k not in _OURS}, where)
        same = kept.get("light") == light_of(sitting)
        if not same or not fits(walk.plan, pieces, walk.chalked):
            walk = _anew(sitting, walk, pieces, same)
    if walk is None:
        if not wanted and not too_long(pieces, sitting.stage.calibration, sitting.work.view):
            return None
        plan = plan_for(sitting)
        if len(plan) == 1:
            if wanted:
                sitting.tell("The beam holds all of the lay; no bays are needed.")
            else:
                centre = sitting.key_words("centre")
                sitting.tell(
                    f"Part of the lay is not lit; the beam holds it all: [{centre}].", 10.0
                )
            return None
        view = sitting.work.view
        fewer = _turned(sitting, pieces, len(plan))
        unlit = out_of_beam(plan, 0, pieces, sitting.stage.calibration, view)
        walk = start(plan, view if unlit == (0.0, 0.0) else None)
        if unlit != (0.0, 0.0):
            key = sitting.key_words("align")
            sitting.tell(
                f"The lay is larger than the beam. Lay the cloth to the light, [{key}] aligns.", 12
            )
        if fewer:
            key = sitting.key_words("turn-cloth")
            plural = "s" if fewer > 1 else ""
            sitting.tell(
                f"With the cloth turned a quarter {fewer} bay{plural} would do\n[{key}] in arrange",
                12,
            )
    inches = sitting.docket.unit in ("in", "ft", "yd")
    tool = BayTool(walk, pieces, unit="in" if inches else None)
    sitting.mode, sitting.tool, sitting.chosen = "trace", tool, None
    if walk.phase == "trace":
        sitting.current = tool._next(sitting, None)
    tool._sync(sitting)
    return tool


def _turned(sitting: Sitting, pieces: list[Laid], count: int) -> int:
    """How many bays it would take with the cloth turned a quarter; 0 when no fewer."""
    view = sitting.work.view
    try:
        plan = plan_bays(
            pieces,
            sitting.stage.calibration,
            view.replace(turn_deg=view.turn_deg + 90.0),
            sitting.docket.cloth,
            fewer_than=count,
        )
    except InputError:
        return 0
    return len(plan)


def _anew(sitting: Sitting, old: Baywalk, pieces: list[Laid], same_light: bool) -> Baywalk:
    """Other bays for a lay that was changed, or under another calibration; the chalk stays."""
    view = old.view if old.phase == "trace" and same_light else sitting.work.view
    plan = plan_for(sitting, old.plan, old.chalked)
    cal = sitting.stage.calibration
    lit = [
        b.index
        for b in plan.bays
        if old.phase == "trace"
        and same_light
        and out_of_beam(plan, b.index, pieces, cal, view) == (0.0, 0.0)
    ]
    why = "The lay has changed" if same_light else "The calibration is another one"
    sitting.tell(f"{why}: the bays are planned anew.", 8.0)
    return restart(plan, view, old.chalked, lit)


def light_of(sitting: Sitting) -> list[float]:
    """What tells one calibration from another: where five of its pixels fall on the table, mm."""
    w, h = sitting.stage.calibration.size
    px = np.array([[0, 0], [w, 0], [w, h], [0, h], [w / 2, h / 2]], dtype=np.float64)
    return [round(float(v), 2) + 0.0 for v in sitting.stage.calibration.to_table(px).ravel()]


def resume(sitting: Sitting) -> None:
    """When the table opens: in the bay where it was left."""
    kept: Any = sitting.docket.table.get("bays") if sitting.docket.table else None
    if isinstance(kept, dict) and kept.get("on") and sitting.work.placed():
        try:
            open_bays(sitting)
        except ChalkbeamError as error:
            sitting.tell(str(error.faults[0]), 12.0)


# -- align -----------------------------------------------------------------------------------------


@dataclass(eq=False)
class AlignTool:
    """Pointing along the cloth's edge, or at the marks of the last time."""

    pointing: Pointing
    before: Tool | None = None
    key: str = "E"
    name: str = "align"
    done: bool = False
    strip: str = "align"

    @property
    def says(self) -> str:
        """For the strip."""
        return f"{self.pointing.asks()}\n[{self.key}] for another edge"

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Pieces are shown faint meanwhile."""
        return "faint", ()

    def clear_of(self, sitting: Sitting) -> Array:
        """Nothing that the strip must keep off."""
        return np.zeros((0, 2))

    def press(self, sitting: Sitting, table_mm: Array) -> None:
        """One more place."""
        at = (float(table_mm[0]), float(table_mm[1]))
        try:
            self.pointing, made = self.pointing.point(at, sitting.work.view, sitting.docket.cloth)
        except InputError as error:
            self.pointing = replace(self.pointing, taken=())
            sitting.tell(str(error.faults[0]), 8.0)
            return
        if made is None:
            return
        sitting.set_view(made.view)
        sitting.keep(align=self.pointing.to_dict())
        self._end(sitting)
        sitting.tell(made.said(), 20.0)

    def do(self, sitting: Sitting, action: str) -> bool:
        """``align`` takes another edge, going back takes back a place, leaving leaves."""
        p = self.pointing
        if action == "align":
            ways = [(line, False) for line in LINES] + ([("near", True)] if p.anchors else [])
            at = (ways.index((p.line if not p.again else "near", p.again)) + 1) % len(ways)
            self.pointing = Pointing(ways[at][0], (), p.anchors, ways[at][1])
        elif action in ("go-back", "undo") and p.taken:
            self.pointing = replace(p, taken=p.taken[:-1])
        elif action == "go-on" and sitting.pointer_mm is not None:
            self.press(sitting, sitting.pointer_mm)
        elif action in ("leave", "go-back", "arrange"):
            self._end(sitting)
        else:
            return False
        return True

    def items(self, sitting: Sitting) -> Sequence[Item]:
        """The places taken so far."""
        stage = sitting.stage
        out = []
        for i, at in enumerate(self.pointing.taken):
            lines = [circle(0.0, 0.0, 6.0), *cross_lines((0.0, 0.0), 10.0)]
            mark_ = stage.mark("chosen", lines)
            out.append(Item(f"place {i}", (mark_,), stage.reading_frame(at)))
        return out

    def _end(self, sitting: Sitting) -> None:
        self.done = True
        sitting.tool = self.before
        if isinstance(self.before, BayTool):
            self.before.retaken(sitting)
        sitting.repaint()


def open_align(sitting: Sitting) -> AlignTool:
    """Begin to align; when marks of the last time are kept and pieces traced, at those."""
    kept = sitting.table_settings().get("align")
    anchors: tuple[tuple[float, float], ...] = ()
    line = "near"
    if isinstance(kept, dict):
        try:
            anchors = tuple((float(x), float(y)) for x, y in kept.get("anchors") or ())
            line = kept["line"] if kept.get("line") in LINES else "near"
        except (TypeError, ValueError) as error:
            where = f"{sitting.docket.path or 'docket'}: table.align"
            raise InputError(
                Fault(where, f"cannot be read ({error}).", "Take it out to align anew.")
            ) from error
    again_ = len(anchors) >= 2 and bool(sitting.work.traced)
    pointing = Pointing(line, (), anchors, again_)
    tool = AlignTool(pointing, sitting.tool, sitting.key_words("align"))
    sitting.tool = tool
    sitting.repaint()
    return tool


# -- height ----------------------------------------------------------------------------------------

_FIELDS = ("cloth", "mat", "lens")
_FINE = {"cloth": 0.1, "mat": 0.5, "lens": 1.0}  # mm
_COARSE = {"cloth": 1.0, "mat": 5.0, "lens": 20.0}
_START_THROW = 1.2  # lens height over beam width to begin from; she sets it by her tape


@dataclass(eq=False)
class HeightTool:
    """Setting the thickness of mat and cloth and the lens's place, the picture following at once."""

    height: Height
    beam_mm: float
    doubts: tuple[str, ...] = ()
    field: str = "cloth"
    before: Tool | None = None
    name: str = "height"
    done: bool = False
    strip: str = "height"

    @property
    def says(self) -> str:
        """For the strip: the field that the keys change, then the others, then what is in doubt."""
        h = self.height
        cloth = "not noted" if h.cloth_mm is None else f"{length_text(h.cloth_mm)} a layer"
        lens = "not noted" if h.lens_mm is None else f"{length_text(h.lens_mm)} above the table"
        foot = "press on the point under it" if h.foot_mm is None else "foot noted"
        words = {
            "cloth": f"cloth {cloth}" + (f", {h.layers} layers" if h.layers > 1 else ""),
            "mat": f"mat put on since calibrating {length_text(h.mat_mm)}",
            "lens": f"lens {lens}, {foot}",
        }
        others = [words[k] for k in _FIELDS if k != self.field]
        return "\n".join([f"> {words[self.field]}", *others, *self.doubts])

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Pieces are shown as always."""
        return None

    def clear_of(self, sitting: Sitting) -> Array:
        """Nothing that the strip must keep off."""
        return np.zeros((0, 2))

    def press(self, sitting: Sitting, table_mm: Array) -> None:
        """The point of the table under the plumb line from the lens."""
        self._set(sitting, self.height.replace(foot_mm=(float(table_mm[0]), float(table_mm[1]))))

    def do(self, sitting: Sitting, action: str) -> bool:
        """Up and down change a little, left and right more; Tab takes the next; leaving keeps it."""
        if action in ("next", "height"):
            self.field = _FIELDS[(_FIELDS.index(self.field) + 1) % len(_FIELDS)]
        elif action in ("away", "toward", "left", "right"):
            step = (_FINE if action in ("away", "toward") else _COARSE)[self.field]
            self._change(sitting, step if action in ("away", "right") else -step)
        elif action in ("leave", "go-back", "go-on", "take"):
            self.done = True
            sitting.tool = self.before
        else:
            return False
        return True

    def items(self, sitting: Sitting) -> Sequence[Item]:
        """The foot of the lens, and the 100 mm square to hold a ruler to."""
        stage = sitting.stage
        out = [stage.check_square(stage.middle_mm)]
        if self.height.foot_mm is not None:
            lines = [circle(0.0, 0.0, 9.0), *cross_lines((0.0, 0.0), 16.0)]
            frame = stage.reading_frame(self.height.foot_mm)
            out.append(Item("foot", (stage.mark("chosen", lines),), frame))
        return out

    def _change(self, sitting: Sitting, by: float) -> None:
        h = self.height
        if self.field == "cloth":
            h = h.replace(cloth_mm=round(max(0.0, (h.cloth_mm or 0.0) + by), 2))
        elif self.field == "mat":
            h = h.replace(mat_mm=round(min(50.0, max(-50.0, h.mat_mm + by)), 2))
        elif h.lens_mm is None:
            h = h.replace(lens_mm=float(round(_START_THROW * self.beam_mm, -1)))
        else:
            h = h.replace(lens_mm=min(9000.0, max(300.0, h.lens_mm + by)))
        self._set(sitting, h)

    def _set(self, sitting: Sitting, height: Height) -> None:
        try:
            sitting.set_height(height.to_dict())
        except ChalkbeamError as error:
            sitting.tell(str(error.faults[0]), 8.0)
            return
        self.height = height
        self.doubts = off_by(sitting.calibration, height).said


def open_height(sitting: Sitting) -> HeightTool:
    """Begin to set what lies on the calibrated table, from what is noted already.

    Raises:
        InputError: what is noted has faults.
    """
    cloth = sitting.docket.cloth
    known = height_of(
        sitting.table_settings(),
        sitting.calibration,
        folded=cloth is not None and cloth.folded,
        where=f"{sitting.docket.path or 'docket'}: table",
    )
    width = float(np.ptp(sitting.stage.lens.beam_mm[:, 0]))
    doubts = off_by(sitting.calibration, known).said
    sitting.tool = HeightTool(known, width, doubts, before=sitting.tool)
    sitting.repaint()
    return sitting.tool
