"""Compositor: a state on the canvas, with as little painting as the change asks for.

It owns every cache of painted things. What does not move is composed as a whole when the state
says something else stands there; what moves (the piece in her hand, the strip's figures, the
pointer) floats over it and is taken away and put back alone, so that moving one piece costs one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drafting.placement import Array
from projector.picture import pages, signs
from projector.picture import strip as strips
from projector.picture.callouts import Callouts
from projector.picture.marks import Index, Item
from projector.picture.painter import EMPTY, Box, Painted, Painter
from projector.picture.stage import PieceState
from projector.picture.strip import Strip
from projector.picture.strip_layout import StripLayout
from projector.session import words
from projector.session.judged import OVERLAPS
from projector.session.rows import groups_of, row_of
from projector.session.rules import lie_alike
from projector.session.state import Shown, State

if TYPE_CHECKING:
    from drafting.placement import Placement


_PAGES = ("help", "all", "question")  # that stand over the whole beam, the strip below them
_MOST_ARROWS = 6  # at the edge, towards pieces out of the light; more would be a hedge


_STILL = (
    "mode",
    "page",
    "chosen",
    "current",
    "tool",
    "strip",
    "board_from",
    "board_focus",
    "help_from",
    "question",
)


def still(state: State) -> dict[str, Any]:
    """What stands still on the table: another one of any of these is another picture."""
    stage, work, plan, check = state.stage, state.work, state.plan, state.checking_at
    return {
        **{name: getattr(state, name) for name in _STILL},
        "stage": (stage.look, stage.lens, id(stage.faces), stage.left_handed),
        "plan": None if plan is None else id(plan.best),
        "planned": plan is None,
        "check": None if check is None else check.tobytes(),
        "work": (work.view, work.traced),
        "lay": tuple(p for p in work.lay if p.key != state.loose),
        "loose": state.loose,
    }


@dataclass(eq=False)
class Compositor:
    """The canvas of a sitting.

    ``changed``: after `frame`, the pixels that may differ, as indices into the flat canvas, or
    None for every pixel of its boxes; ``pending``: whether another frame is wanted at once;
    ``shown``: the strip as it stands.
    """

    painter: Painter
    changed: list[Index] | None = None
    pending: bool = False
    shown: Shown = field(default_factory=Shown)
    _key: dict[str, Any] | None = None
    _lens: Any = None
    _below: NDArray[np.uint32] = field(init=False, repr=False)
    _layout: StripLayout = field(default_factory=StripLayout)
    _callouts: Callouts = field(default_factory=Callouts)
    _painted: dict[str, tuple[Any, Painted]] = field(default_factory=dict, repr=False)
    _spare: dict[str, tuple[Any, Painted]] = field(default_factory=dict, repr=False)
    _floats: dict[Any, Painted] = field(default_factory=dict, repr=False)
    _figures: tuple[Any, dict[Any, Painted]] = (None, {})
    _over: list[tuple[Array | None, Painted]] = field(default_factory=list, repr=False)
    _cold: list[str] = field(default_factory=list)
    _warmed: Any = None
    _arrows: tuple[Any, list[tuple[Array, Painted]]] = ((), [])
    _used: set[str] = field(default_factory=set)  # names painted since the last composing began
    _troubles: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _loose_said: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        self._below = np.empty_like(self.painter.canvas)

    def repaint(self) -> None:
        """Compose everything anew at the next frame."""
        self._key = None

    def frame(self, state: State) -> list[Box]:
        """Bring the canvas up to date; answers the boxes that have changed (x0, y0, x1, y1 px)."""
        dirty: list[Box] = []
        self.changed = []
        self._follow(state)
        key, strip = still(state), self.shown.strip
        stale = key != self._key
        if stale and self._lifts(key):
            stale = not self._lift(state)
        lines = () if stale else words.lines_for(state, strip)
        if not stale and strip is not None:
            rows = strip.rows_needed(lines)
            # in the middle of a drag it only grows: it shrinks when the hand has let go
            stale = rows > strip.rows or (rows < strip.rows and state.drag is None)
        self._key = key
        if stale:
            self._compose(state)
            dirty.append((0, 0, *self.painter.size))
            lines = words.lines_for(state, self.shown.strip)
        if state.drag is not None and state.drag is not self._warmed and not state.drag.moved:
            self._warm(state, state.work.of(state.drag.key), chosen=True)
        self._warmed = state.drag
        dirty += self._float(state, lines)
        if len(dirty) and dirty[0] == (0, 0, *self.painter.size):
            self.changed = None
        return dirty

    def rest(self, state: State) -> None:
        """Use a quiet moment: work out a piece's look in trouble before it is wanted in a drag."""
        if self._cold and state.drag is None and state.mode == "arrange" and not self.pending:
            self._warm(state, state.work.of(self._cold.pop()), chosen=False)

    def _follow(self, state: State) -> None:
        """Another look or lens: what was painted for the old one is of no use."""
        lens = (state.stage.look, state.stage.lens)
        if self._lens == lens:
            return
        self._lens = lens
        self.painter.set_ground(state.stage.ink.ground)
        self._painted.clear()
        self._spare.clear()
        self._floats.clear()
        self._figures = (None, {})

    def _warm(self, state: State, p: Placement | None, *, chosen: bool) -> None:
        if p is None or p.aside:
            return
        look = words.shown(state, p)
        own = state.judged.own.get(p.key, ())
        look = replace(look, trouble=tuple(dict.fromkeys((*own, OVERLAPS))), chosen=chosen)
        item = state.stage.piece(p, look)
        key = _look_key(state, p, look)
        held = self._spare.get(item.key)
        if not chosen and (held is None or held[0] != key):
            self._spare[item.key] = (key, self.painter.paint(state.stage.lens.frame(item)))

    # -- what stands still -------------------------------------------------------------------------

    def _compose(self, state: State) -> None:
        """Everything that is not moving, anew."""
        self.pending = False
        self._floats.clear()
        self._draw(state)
        np.copyto(self._below, self.painter.canvas)

    def _draw(self, state: State) -> None:
        painter = self.painter
        if state.page in ("dark", "light"):
            painter.canvas.fill((0 if state.page == "dark" else 255) * 0x010101)
            self.shown = Shown()
            return
        painter.clear()
        self.shown = Shown(self._layout.lay(state))
        if state.page in _PAGES:
            page = self._board(state) if state.page == "all" else self._page(state)
            painter.put(painter.paint(state.stage.lens.frame(page)))
            self._put_strip(state)
            return
        self._used.clear()
        self._over.clear()
        if state.tool is not None and row_of(state).alone:
            self._put_strip(state)
            self._put_tool(state)
            return
        used = state.rules.figures(state.work.lay).used_mm
        bolt = state.docket.cloth is None or state.docket.cloth.lie_outline_mm is None
        key = (state.work.view, state.stage.look, round(used) if bolt else 0)
        painter.put(self._paint(state, signs.cloth(state.stage, used), key))
        placed = state.work.placed()
        for p in placed:
            if p.key != state.loose:
                painter.put(self._piece(state, p))
        self._troubles = {p.key: state.judged.of(p.key) for p in placed}
        self._cold = [p.key for p in placed]
        self._put_over(state)
        pieces = {f"piece:{p.key}" for p in placed}
        for cache in (self._painted, self._spare):
            for name in [n for n in cache if n not in self._used and n not in pieces]:
                del cache[name]

    def _board(self, state: State) -> Item:
        """The page of everything."""
        row, title = row_of(state), f"All: {state.mode}"
        groups = {g: words.buttons(state, n, row) for g, n in groups_of(state).items()}
        first, focus = state.board_from, state.board_focus
        item, places, after = pages.board(
            state.stage, title, groups, first, self._strip_mm(), focus
        )
        self.shown = replace(self.shown, pads=places, next_row=after)
        return item

    def _strip_mm(self) -> float:
        """What the strip takes of a page, below."""
        strip = self.shown.strip
        return pages.STRIP_MM if strip is None else strip.tall_mm + 18.0 * strip.rows + 12.0

    def _page(self, state: State) -> Item:
        if state.page == "question":
            title = "Is the calibration still true?"
            rows = words.question_rows(state)
            return pages.page(state.stage, title, rows, state.question, 0, self._strip_mm())[0]
        lines, strip = words.lines(state), self.shown.strip
        # what finds no room on the strip stands here
        short = strip is not None and len(strip.figures(lines)) < len(lines)
        foot = (*([" | ".join(lines)] if strip is None or short else []), *words.HELP_FOOT)
        rows = words.help_rows(state)
        item, count = pages.page(
            state.stage, f"Help: {state.mode}", rows, foot, state.help_from, self._strip_mm()
        )
        last = state.help_from + count
        self.shown = replace(self.shown, next_help=last if last < len(rows) else 0)
        return item

    def _put_over(self, state: State) -> None:
        """What lies over the pieces: a plan's outlines, the strip, a tool's marks, the square."""
        stage, strip = state.stage, self.shown.strip
        for item in (*_plan_items(state), *_overlaps(state)):
            self._put_item(state, item)
        grounds = [strip.ground_mm] if strip is not None else []
        if state.checking_at is not None:
            grounds.append(signs.check_panel(stage, state.checking_at))
        for item, ground in self._callouts.of(state, grounds):
            grounds.append(ground)
            self._lay_over(state, ground, self._paint(state, item, item))
        if state.tool is None:
            for ground, painted in self._put_arrows(state, grounds):
                self._lay_over(state, ground, painted)
        self._put_strip(state)
        self._put_tool(state)

    def _put_arrows(self, state: State, grounds: Sequence[Array]) -> list[tuple[Array, Painted]]:
        """Arrows towards copies that are not lit, each with its ground; kept while nothing they keep off
        has moved."""
        stage, placed = state.stage, state.work.placed()
        dark = [p for p in placed if p.key != state.loose and stage.unlit(p) == "wholly"]
        if not dark:
            return []
        clear = [*grounds, *words.labels_on_table(state)]
        kept = (tuple(placed), state.loose, stage.view, stage.look, stage.lens, stage.docket)
        key: tuple[Any, ...] = (*kept, *(ring.tobytes() for ring in clear))
        if self._arrows[0] != key:
            made: list[tuple[Array, Painted]] = []
            lit = [stage.along(p, 12.0) for p in placed if stage.unlit(p) != "wholly"]
            lines = np.concatenate([np.zeros((0, 2)), *lit])
            for p in dark[:_MOST_ARROWS]:  # the strip counts them all
                found = signs.beyond(stage, p, clear, lines)
                if found is not None:
                    item, ground = found
                    clear.append(ground)
                    made.append((ground, self.painter.paint(stage.lens.frame(item))))
            self._arrows = (key, made)
        return self._arrows[1]

    def _put_tool(self, state: State) -> None:
        """A tool's own marks, and the check square, over all else."""
        stage = state.stage
        if state.tool is not None:
            for item in state.tool.items(state):
                self._put_item(state, item)
        if state.checking_at is not None:
            self._put_item(state, signs.check_square(stage, state.checking_at, inches=state.inches))

    def _put_strip(self, state: State) -> None:
        strip = self.shown.strip
        if strip is not None:
            key = (state.mode, state.page, state.work.view, strip.item)
            self._lay_over(state, strip.ground_mm, self._paint(state, strip.item, key))

    def _put_item(self, state: State, item: Item) -> None:
        is_check = item.key == "check"  # nothing may cross a ruler or its numbers
        panel = signs.check_panel(state.stage, item.table_from_item[:2, 2]) if is_check else None
        # a tool that hands out the same item again gets the same pixels
        self._lay_over(state, panel, self._paint(state, item, item))

    def _lay_over(self, state: State, ground_mm: Array | None, painted: Painted) -> None:
        """Something over the pieces: first its ground is cleared (N, 2) mm, then its light put."""
        ground = None
        if ground_mm is not None:
            ground = state.stage.calibration.to_projector(ground_mm)
            self.painter.fill(ground, self.painter.ground)
        self.painter.put(painted)
        self._over.append((ground, painted))

    def _paint(self, state: State, item: Item, key: Any) -> Painted:
        """An item's pixels, out of the cache when ``key`` is the one it was painted for."""
        self._used.add(item.key)
        held = self._painted.get(item.key)
        if held is not None and held[0] == key:
            return held[1]
        spare = self._spare.get(item.key)
        if spare is not None and spare[0] == key:
            made = spare[1]
        else:
            made = self.painter.paint(state.stage.lens.frame(item))
        if held is not None and item.key.startswith("piece:"):
            self._spare[item.key] = held  # a look often comes back: trouble comes and goes
        self._painted[item.key] = (key, made)
        return made

    def _piece(self, state: State, p: Placement) -> Painted:
        look = words.shown(state, p)
        return self._paint(state, state.stage.piece(p, look), _look_key(state, p, look))

    # -- what moves --------------------------------------------------------------------------------

    def _lifts(self, key: dict[str, Any]) -> bool:
        """Whether all that has changed is that one piece has been taken into the hand."""
        old = self._key
        if old is None or key["loose"] is None or old["loose"] is not None or key["page"]:
            return False
        lay = tuple(p for p in old["lay"] if p.key != key["loose"])
        return {**old, "lay": lay, "loose": key["loose"]} == key

    def _lift(self, state: State) -> bool:
        """Take the loose piece out of the ground, so that it can move over it; whether that went."""
        name = f"piece:{state.loose}"
        held = self._painted.get(name)
        if held is None:
            return False
        self._exchange(state, held[1], EMPTY)
        self._floats[name] = held[1]
        self.painter.put(held[1])
        return True

    def _exchange(self, state: State, old: Painted, new: Painted) -> Box:
        """Put other pixels in the place of a still item's, and only there; answers the box."""
        painter = self.painter
        for painted in self._floats.values():
            painter.carry(painted, self._below, painter.canvas)
        painter.erase(
            old,
            [
                painted
                for name, (_, painted) in self._painted.items()
                if (name == "cloth" or name.startswith("piece:"))
                and name != f"piece:{state.loose}"
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

    def _show_neighbours(self, state: State) -> list[Box]:
        """While a piece is moved: neighbours that it has come to lie on, or has left."""
        self.pending = False
        boxes: list[Box] = []
        for p in state.work.placed():
            said = state.judged.of(p.key)
            if p.key == state.loose or said == self._troubles.get(p.key, ()):
                continue
            if boxes:  # one a frame, so that the hand is never kept waiting
                self.pending = True
                break
            self._troubles[p.key] = said
            held = self._painted.get(f"piece:{p.key}")
            new = self._piece(state, p)
            boxes.append(self._exchange(state, held[1] if held is not None else EMPTY, new))
        return boxes

    def _float(self, state: State, lines: tuple[str, ...]) -> list[Box]:
        """What moves: the loose piece, guides, figures, the pointer."""
        new, first = self._moving(state, lines)
        painter = self.painter
        if new.keys() == self._floats.keys() and all(new[k] is self._floats[k] for k in new):
            return first
        old = self._floats
        names = [n for n in {**old, **new} if old.get(n) is not new.get(n)]
        boxes = first + [f[n].box for n in names for f in (old, new) if n in f]
        # what stands still is touched only where something else moves over it
        same = [n for n in new if n not in names and any(_meet(new[n].box, b) for b in boxes)]
        for name in names:
            if name in old:
                painter.carry(old[name], self._below, painter.canvas)
        for name in [*names, *same]:
            if name in new:
                painter.put(new[name])
        self._floats = new
        if self.changed is not None:
            self.changed += [f[n].index for n in names for f in (old, new) if n in f]
        return _merged(boxes)

    def _moving(self, state: State, lines: tuple[str, ...]) -> tuple[dict[Any, Painted], list[Box]]:
        """All that floats now, and the boxes of neighbours that were shown anew on the way."""
        new: dict[Any, Painted] = {}
        first: list[Box] = []
        if not state.page and state.loose is not None:
            p = state.work.of(state.loose)
            said = state.judged.of(state.loose)
            if self._loose_said == said:
                first = self._show_neighbours(state)
            else:  # its own label is looked up anew in this frame; the neighbours' in the next
                self._loose_said, self.pending = said, True
            if p is not None:
                new["moving"] = self._in_hand(state, p)
        else:
            self.pending = False
        if self.shown.strip is not None and state.page in ("", *_PAGES):
            shown = self._figures[1]
            if self.pending and shown and all(f in self._floats for f in shown):
                new.update(shown)  # enough for one frame: they come with the next
            else:
                new.update(self._figures_of(state, self.shown.strip, lines))
        at_mm, busy = state.pointer_mm, state.drag is not None
        if at_mm is not None and state.page not in ("dark", "light") and "moving" not in new:
            at = (round(float(at_mm[0]), 3), round(float(at_mm[1]), 3))
            item = signs.cursor(state.stage, at, busy=busy)
            new["cursor"] = self._paint(state, item, (at, busy, state.stage.look))
        return new, first

    def _in_hand(self, state: State, p: Placement) -> Painted:
        """The loose piece, what it snaps to and the pointer, painted in one go."""
        stage, at = state.stage, state.pointer_mm
        look = words.shown(state, p)
        pointer = None if at is None else (float(at[0]), float(at[1]))
        key = (p, look, state.work.view, stage.look, pointer)
        held = self._painted.get("moving")
        if held is not None and held[0] == key:
            return held[1]
        parts = [stage.piece(p, look)]
        if state.drag is not None and state.drag.guides:
            parts.append(signs.guides(stage, state.drag.guides))
        if at is not None:
            parts.append(signs.cursor(stage, at, busy=True))
        made = self.painter.paint(stage.lens.frame_joined(parts))
        self._painted["moving"] = (key, made)
        return made

    def _figures_of(self, state: State, strip: Strip, lines: tuple[str, ...]) -> dict[Any, Painted]:
        """The strip's figures; those that stand as they stood are not painted again."""
        stage = state.stage
        place = (strip.item.table_from_item.tobytes(), strip.rows, strip.tall_mm, stage.look)
        if self._figures[0] == (lines, place):
            return self._figures[1]
        held = self._figures[1] if self._figures[0] and self._figures[0][1] == place else {}
        made = {
            f: held.get(f) or self.painter.paint(stage.lens.frame(strips.figure(stage, f, strip)))
            for f in strip.figures(lines)
        }
        self._figures = ((lines, place), made)
        return made


def _look_key(state: State, p: Placement, look: PieceState) -> Any:
    """What a piece's pixels depend on."""
    face = state.stage.faces.of(p).key
    return (replace(p, locked=False), look, state.work.view, state.stage.look, face)


def _overlaps(state: State) -> Iterable[Item]:
    """Hatching where two pieces that lie still overlap."""
    for (one, two), said in state.judged.pairs.items():
        if said != OVERLAPS or state.loose in (one, two):
            continue
        pair = [state.work.of(k) for k in (one, two)]
        rings = [state.rules.outline(p) for p in pair if p is not None]
        if len(rings) == 2:
            yield signs.overlap(state.stage, f"{one} {two}", *rings)


def _plan_items(state: State) -> Iterable[Item]:
    if state.plan is None or state.plan.best is None:
        return
    here = {p.key: p for p in state.work.placed()}
    moved = [
        p
        for p in state.plan.best.lay
        if p.piece in state.stage.faces and not (p.key in here and lie_alike(p, here[p.key]))
    ]
    labels = [w for p in here.values() for w in state.stage.words_of(p, words.shown(state, p))]
    yield signs.ghost(state.stage, moved, labels)


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
