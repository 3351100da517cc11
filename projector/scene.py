"""Scene: the lay and the state of the work → marks of light in millimetres on the table.

Takes what `table` and `trace` decided and what `faces` worked out, gives `frame` items that are
painted, moved and taken away one at a time. Meaning is carried by dash and weight first and by
colour second; the three line kinds are those of JIS L 0110:2001 (solid, dashed, long-short
chain), which line gets which, and the colours (tailor's chalk: white, yellow, blue, red), are
our own choice.
"""

from __future__ import annotations

import copy
import hashlib
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drafting.placement import carry
from projector import room
from projector.faces import (
    BESIDE_MM,
    LEAST_TEXT_MM,
    Face,
    Faces,
    Label,
    LabelRoom,
    copy_words,
    face_of,
    text_block,
)
from projector.frame import Lens
from projector.lettering import text_strokes, text_width
from projector.marks import Item, Mark, circle, mark, polyline, ring
from projector.view import View, default_view, rigid

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from drafting.placement import Placement

Array = NDArray[np.float64]
Colour = tuple[int, int, int]


@dataclass(frozen=True)
class Style:
    """Width mm, dash mm (on, off, …), colour's name in the ink."""

    width_mm: float
    dash: tuple[float, ...]
    colour: str


STYLES: dict[str, Style] = {
    "cutting": Style(1.5, (), "white"),
    "sewing": Style(0.9, (7.0, 4.0), "yellow"),
    "fold": Style(1.1, (24.0, 4.0, 5.0, 4.0), "blue"),
    "foldmark": Style(0.8, (), "blue"),
    "grain": Style(0.8, (), "green"),
    "dart": Style(0.9, (7.0, 4.0), "yellow"),
    "notch": Style(1.3, (), "white"),
    "mark": Style(0.9, (), "yellow"),
    "inner": Style(0.8, (12.0, 4.0), "yellow"),
    "label": Style(1.0, (), "text"),
    "cloth": Style(0.8, (), "slate"),
    "selvedge": Style(0.7, (3.0, 5.0), "slate"),
    "ghost": Style(1.0, (14.0, 7.0), "blue"),
    "guide": Style(0.8, (2.5, 5.0), "blue"),
    "snap": Style(0.5, (), "blue"),
    "trouble": Style(1.5, (), "red"),
    "chosen": Style(1.3, (), "blue"),
    "button": Style(0.8, (), "slate"),
    "text": Style(1.0, (), "text"),
    "key": Style(0.8, (), "blue"),
    "strong": Style(1.4, (), "white"),
}
_OWN_WIDTH = ("label", "text", "key", "strong", "button", "chosen")  # words and signs, no lines
_FIGURES_MM = 9.0  # capitals of the strip's figures
_ROW_MM = 18.0  # of a row of them
_MOST_ROWS = 3
_MOST_HANDLE_ROWS = 5
_HANDLE_MM = 300.0  # a longer line is broken on the handle
_TALL_MM = 40.0  # of the strip's buttons
_GAP_MM = 5.0  # between them
_FROM_WORDS_MM = 3.0  # room kept between a label and a line that must be broken for it
_SLOT_MM = 12.0
_STRIP_MARGIN_MM = 5.0  # from the beam's edge
_BEYOND_MM = 10.5  # letters beside an arrow towards what is not lit
_KEPT = 200  # drawn pieces and labels kept; free turning makes a new one at every angle
_INSIDE = ("sewing", "grain", "dart", "notch", "mark", "inner", "fold", "foldmark")


@dataclass(frozen=True)
class Ink:
    """Colours for one kind of cloth. ``weight`` thickens lines (dark or printed cloth)."""

    ground: Colour
    colours: Mapping[str, Colour]
    weight: float = 1.0
    faint: float = 0.30  # how much of a colour is left when it is not its turn


_CHALK: dict[str, Colour] = {
    "white": (255, 253, 244),
    "yellow": (255, 204, 84),
    "blue": (104, 190, 255),
    "green": (140, 214, 160),
    "red": (255, 92, 74),
    "slate": (112, 122, 138),
    "text": (226, 226, 214),
}
_PENCIL: dict[str, Colour] = {
    "white": (0, 0, 0),
    "yellow": (96, 44, 0),
    "blue": (0, 36, 140),
    "green": (0, 78, 34),
    "red": (176, 0, 0),
    "slate": (104, 104, 112),
    "text": (18, 18, 26),
}
INKS: dict[str, Ink] = {
    "light": Ink((0, 0, 0), _CHALK),
    "bold": Ink((0, 0, 0), _CHALK, weight=1.9, faint=0.4),
    "dark": Ink((238, 238, 230), _PENCIL, weight=1.15, faint=0.35),
}
MODES = ("arrange", "trace", "plain")
LINES: dict[str, tuple[str, ...]] = {
    "both": ("cutting", "sewing"),
    "cutting": ("cutting",),
    "sewing": ("sewing",),
}


@dataclass(frozen=True)
class Look:
    """How lines are shown.

    ``ink`` of `INKS`; which ``lines``; ``weight`` on top of the ink's; ``cut``: the cutting line's
    own width and its unit, mm or px (other lines in proportion), None for the ink's.
    """

    ink: str = "light"
    lines: str = "both"
    weight: float = 1.0
    cut: tuple[float, str] | None = None


@dataclass(frozen=True)
class Button:
    """One of the strip's own buttons: the action it does, its words, the key that does the same."""

    action: str
    words: str
    key: str
    on: bool = False


@dataclass(frozen=True, eq=False)
class Strip:
    """The strip along her edge: its item, its ground (N, 2) mm, and where its buttons lie.

    ``buttons``: action → (4, 2) mm on the table; ``rows``: of figures that have room, at most
    ``most_rows``; ``small``: the handle that it shrinks to where there is no room for it; ``far``: along the edge
    across the table.
    """

    item: Item
    ground_mm: Array
    buttons: dict[str, Array]
    tall_mm: float
    length_mm: float
    rows: int
    most_rows: int
    small: bool = False
    far: bool = False


@dataclass(frozen=True)
class Figure:
    """One of the strip's figures: its words, their place in the strip's frame mm, first in its row."""

    text: str
    x_mm: float
    y_mm: float
    first: bool


@dataclass(frozen=True, eq=False)
class Scene:
    """Items in painting order, and the stage they stand on."""

    items: tuple[Item, ...]
    stage: Stage


@dataclass(frozen=True)
class PieceState:
    """How one copy is to be shown.

    ``emphasis``: ``plain``, ``bright`` (its turn), ``faint`` or ``ghost``; ``notes``: words under
    its label; ``trouble``: words for what is wrong with where it lies; ``chosen``: picked up;
    ``copy``: which of how many it is (``1 of 2``), told in place of how many to cut.
    """

    emphasis: str = "plain"
    notes: tuple[str, ...] = ()
    trouble: tuple[str, ...] = ()
    chosen: bool = False
    copy: str = ""


PLAIN = PieceState()


@dataclass(eq=False)
class Stage:
    """What stays the same from frame to frame: pieces' faces, the lens, the view, the look.

    A value: `with_view`, `with_look` and `on` give another stage. Everything it makes is kept by what
    it depends on, and shared with those as far as it still holds.
    """

    docket: Docket
    calibration: Calibration
    view: View
    look: Look = Look()
    lens: Lens = field(init=False)
    faces: Faces = field(init=False)
    _labels: dict[Any, Label | None] = field(default_factory=dict, repr=False)
    _rooms: dict[Any, LabelRoom] = field(default_factory=dict, repr=False)
    _made: dict[Any, Item] = field(default_factory=dict, repr=False)
    _lines: dict[Any, Mark] = field(default_factory=dict, repr=False)
    _unlit: dict[Any, str] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        self.calibration = at_cloth(self.docket, self.calibration)
        self.lens = Lens(self.calibration)
        self.faces = faces_of(self.docket)
        self.reading_deg = reading_direction(self.lens, self.view.side)

    @classmethod
    def for_words(cls, docket: Docket, calibration: Calibration, view: View) -> Stage:
        """A stage without pieces, for pages of text before there is anything to lay."""
        stage = cls.__new__(cls)
        stage.docket, stage.calibration, stage.view, stage.look = docket, calibration, view, Look()
        stage.lens, stage.faces = Lens(calibration), Faces({}, None)
        stage._labels, stage._rooms, stage._made, stage._lines, stage._unlit = {}, {}, {}, {}, {}
        stage.reading_deg = reading_direction(stage.lens, view.side)
        return stage

    def lines_in_middle(self, lines: Sequence[str], height_mm: float = 15.0) -> Item:
        """Lines of text about the beam's middle."""
        strokes = text_block(lines[:1], height_mm * 1.6)
        for i, line in enumerate(lines[1:], 1):
            strokes += [
                s - np.array([0.0, 2.0 * i * height_mm])
                for s in text_block([line], height_mm * 0.8)
            ]
        return Item("lines", (self.mark("strong", strokes),), self.reading_frame(self.middle_mm))

    def with_view(self, view: View) -> Stage:
        """The same under another view."""
        made = copy.copy(self)
        made.view = view
        made.reading_deg = reading_direction(self.lens, view.side)
        made._unlit = {}
        return made

    def with_look(self, look: Look) -> Stage:
        """The same in another look: widths and colours are its own."""
        made = copy.copy(self)
        made.look = look
        made._made, made._lines = {}, {}
        return made

    def on(self, calibration: Calibration) -> Stage:
        """The same under another calibration of the same picture: the cloth lies higher or lower."""
        made = copy.copy(self)
        made.calibration = calibration
        made.lens = Lens(calibration)
        made.reading_deg = reading_direction(made.lens, self.view.side)
        made._made, made._lines, made._unlit = {}, {}, {}
        return made

    @property
    def ink(self) -> Ink:
        """The ink in use."""
        return INKS[self.look.ink]

    def colour(self, kind: str, emphasis: str = "plain") -> Colour:
        """A kind's colour, paler when it is not its turn."""
        ink = self.ink
        full = ink.colours[STYLES[kind].colour]
        if emphasis in ("plain", "bright"):
            return full
        mixed = [round(g + (c - g) * ink.faint) for c, g in zip(full, ink.ground, strict=True)]
        return (mixed[0], mixed[1], mixed[2])

    def mark(
        self, kind: str, lines: Iterable[Array], emphasis: str = "plain", *, wider: float = 1.0
    ) -> Mark:
        """Lines of a kind as a mark."""
        style = STYLES[kind]
        share = style.width_mm * self.look.weight * wider
        width_px = None
        if self.look.cut is None or kind in _OWN_WIDTH:
            width = share * self.ink.weight
        else:
            value, unit = self.look.cut
            width = share * value / STYLES["cutting"].width_mm
            if unit == "px":
                width_px, width = width, width / self.lens.px_per_mm
        return mark(
            lines,
            width_mm=width,
            width_px=width_px,
            colour=self.colour(kind, emphasis),
            dash=style.dash,
            step_mm=self.lens.step_mm,
            kind=kind,
        )

    # -- pieces ------------------------------------------------------------------------------

    def table_from_piece(self, placement: Placement) -> Array:
        """(3, 3) rigid, piece mm → table mm."""
        return np.asarray(self.view.table_from_cloth @ placement.cloth_from_piece)

    def piece(self, placement: Placement, state: PieceState = PLAIN) -> Item:
        """One copy of a piece."""
        face = self.faces.of(placement)
        matrix = self.table_from_piece(placement)
        turned = (
            round(placement.turn_deg + self.view.turn_deg, 3),
            placement.mirrored,
            self.view.mirror,
        )
        key = (face.key, turned, self.reading_deg, state)
        made = self._made.get(key)
        if made is None:
            if len(self._made) > _KEPT:
                self._made.clear()
            made = Item("", tuple(self._face_marks(face, matrix, turned, state)), matrix)
            self._made[key] = made
        return made.moved(matrix, f"piece:{placement.key}")

    def _face_marks(
        self, face: Face, matrix: Array, turned: tuple[Any, ...], state: PieceState
    ) -> list[Mark]:
        shown = LINES[self.look.lines]
        emphasis = state.emphasis
        if emphasis == "ghost":
            return [self._line_mark(face, "cutting", "ghost")]
        marks = []
        wider = 1.25 if emphasis == "bright" else 1.0
        if "cutting" in shown or not face.lines["sewing"]:
            kind = "trouble" if state.trouble else "cutting"
            marks.append(self._line_mark(face, "cutting", kind, emphasis, wider))
        if "sewing" in shown:
            marks.append(self._line_mark(face, "sewing", "sewing", emphasis))
        drawn = [k for k in _INSIDE if k != "sewing" or "sewing" in shown]
        kinds: tuple[str, ...] = ("fold",)
        if emphasis != "faint":
            kinds = ("fold", "foldmark", "grain", "dart", "notch", "mark", "inner")
        marks.extend(
            self._line_mark(face, kind, kind, emphasis) for kind in kinds if face.lines.get(kind)
        )
        if state.trouble:
            marks.append(self._line_mark(face, "", "trouble", emphasis))
        if state.chosen:
            marks.append(self._line_mark(face, "", "chosen"))
        # where there is no room for all, the last go first: what is wrong comes right after the name
        wrong = (f"! {t}" for t in state.trouble)
        rest = face.words[1:]
        if state.copy:
            rest = (state.copy, *(w for w in rest if not w.startswith("cut ")))
        words = (*face.words[:1], *wrong, *rest, *state.notes)
        label = self._label(face, words, matrix, turned, tuple(drawn))
        if face.beside and emphasis != "faint":
            beside = self._room(face, matrix, turned, tuple(drawn)).beside
            marks.append(self.mark("label", beside, emphasis, wider=BESIDE_MM / 10.5))
        if label is not None:
            marks.append(self.mark("label", label.strokes, emphasis, wider=label.height_mm / 10.5))
        return [m for m in marks if len(m.points)]

    def _line_mark(
        self, face: Face, lines: str, kind: str, emphasis: str = "plain", wider: float = 1.0
    ) -> Mark:
        """One kind of a face's lines as a mark: the same whatever else the piece shows."""
        key = (face.key, lines, kind, emphasis, wider)
        made = self._lines.get(key)
        if made is None:
            if lines:
                given: Sequence[Array] = face.lines[lines]
            else:
                given = _bars(face.outline) if kind == "trouble" else _brackets(face.outline)
            made = self._lines[key] = self.mark(kind, given, emphasis, wider=wider)
        return made

    def _label(
        self,
        face: Face,
        words: tuple[str, ...],
        matrix: Array,
        turned: tuple[Any, ...],
        kinds: tuple[str, ...],
    ) -> Label | None:
        key = ((face.key, turned, self.reading_deg, kinds), words)
        if key not in self._labels:
            if len(self._labels) > _KEPT:
                self._labels.clear()
                self._rooms.clear()
            self._labels[key] = self._room(face, matrix, turned, kinds).place(words)
        return self._labels[key]

    def _room(
        self, face: Face, matrix: Array, turned: tuple[Any, ...], kinds: tuple[str, ...]
    ) -> LabelRoom:
        """Where a face has room for words as it lies; kept."""
        key = (face.key, turned, self.reading_deg, kinds)
        room = self._rooms.get(key)
        if room is None:
            room = self._rooms[key] = LabelRoom(face, matrix, self.reading_deg, kinds)
        return room

    def words_of(self, placement: Placement, state: PieceState = PLAIN) -> list[Array]:
        """The strokes of a copy's label as they stand, (N, 2) table mm each; none when it has none."""
        key = "label"
        item = self.piece(placement, state)
        a = item.table_from_item
        return [carry(a, m.points) for m in item.marks if m.kind == key and len(m.points)]

    def unlit(self, placement: Placement) -> str:
        """Whether a copy reaches out of the light: "" when all of it is lit, ``partly``, ``wholly``."""
        key = (placement.piece, placement.at, placement.turn_deg, placement.mirrored)
        if key not in self._unlit:
            if len(self._unlit) > _KEPT:
                self._unlit.clear()
            self._unlit[key] = self._reaches_out(placement)
        return self._unlit[key]

    def _reaches_out(self, placement: Placement) -> str:
        a = self.table_from_piece(placement)
        # few points do: a beam is convex, so what lies between two lit corners is lit
        lit = self.lens.covers(carry(a, self.faces.of(placement).rough))
        if lit.all():
            return ""
        return "partly" if lit.any() or self._looks_in(placement) else "wholly"

    def _looks_in(self, placement: Placement) -> bool:
        """Whether some of a piece is lit though none of its corners is."""
        import shapely

        a = self.table_from_piece(placement)
        ring_mm = carry(a, self.faces.of(placement).rough)
        return bool(shapely.Polygon(ring_mm).intersects(shapely.Polygon(self.lens.beam_mm)))

    def holds_all(self, placements: Sequence[Placement]) -> bool:
        """Whether the beam would hold every copy with the lay in its middle."""
        box = used_box(self.faces, placements)
        if box is None:
            return True
        view = default_view(self.lens.beam_mm, box, side=self.view.side).table_from_cloth
        rings = []
        for p in placements:
            a = view @ p.cloth_from_piece
            rings.append(carry(a, self.faces.of(p).rough))
        return bool(self.lens.covers(np.concatenate(rings)).all())

    def beyond(self, placement: Placement, clear_of: Sequence[Array] = ()) -> tuple[Item, Array]:
        """An arrow at the beam's edge towards a copy that is not lit, with its name; and its ground.

        ``clear_of``: (N, 2) table mm each, to keep off (the strip, other arrows); the ground: alike.
        """
        face = self.faces.of(placement)
        a = self.table_from_piece(placement)
        goal = carry(a, 0.5 * (face.rough.min(axis=0) + face.rough.max(axis=0)))
        middle = self.middle_mm
        read = self.reading_frame((0.0, 0.0))[:2, :2]
        way = (goal - middle) / max(1.0, float(np.hypot(*(goal - middle))))
        d = way @ read  # in her directions: right, away
        name = face.words[0]
        x, y = 0.5 * text_width(name, _BEYOND_MM) + 8.0, 34.0
        box = polyline((-x, -y), (x, -y), (x, y), (-x, y))
        reach = 2.0 * float(np.hypot(*np.ptp(self.lens.beam_mm, axis=0)))
        at = middle + np.linspace(1.0, 0.0, 201)[:, None] * (way * reach)
        grounds = (box @ read.T)[None] + at[:, None]
        free = np.ones(len(at), dtype=bool)
        low, high = at @ read - (x, y), at @ read + (x, y)
        for each in clear_of:
            seen = each @ read
            meets = (np.maximum(low, seen.min(axis=0)) < np.minimum(high, seen.max(axis=0))).all(1)
            free &= ~meets
        lit = self.lens.covers(grounds.reshape(-1, 2)).reshape(len(at), -1).all(axis=1)
        good = np.flatnonzero(free & lit)
        best = int(good[0]) if len(good) else len(at) - 1  # the outermost place, else the middle
        at, ground = at[best], grounds[best]
        side = np.array([-d[1], d[0]])
        foot, tip = np.array([0.0, 12.0]) - 14.0 * d, np.array([0.0, 12.0]) + 14.0 * d
        head = [tip - 9.0 * d + 5.0 * side, tip, tip - 9.0 * d - 5.0 * side]
        words = [w + np.array([0.0, -22.0]) for w in text_block([name], _BEYOND_MM)]
        marks = (
            self.mark("strong", [np.array([foot, tip]), np.array(head)], wider=1.2),
            self.mark("text", words),
        )
        return Item(f"beyond:{placement.key}", marks, self.reading_frame(at)), ground

    def ghost(self, placements: Sequence[Placement], words: Sequence[Array]) -> Item:
        """Outlines of a plan, in the table frame, broken where they would run through words.

        ``words``: points (N, 2) table mm of one label each.
        """
        c, s = math.cos(math.radians(self.reading_deg)), math.sin(math.radians(self.reading_deg))
        read_from_table = np.array([[c, s], [-s, c]])
        boxes = [
            (seen.min(axis=0) - _FROM_WORDS_MM, seen.max(axis=0) + _FROM_WORDS_MM)
            for seen in (w @ read_from_table.T for w in words)
        ]
        lines: list[Array] = []
        for p in placements:
            for line in self.faces.of(p).lines["cutting"]:
                table = carry(self.table_from_piece(p), line)
                lines += _outside(stepped(table, 3.0), read_from_table, boxes)
        return Item("ghost", (self.mark("ghost", lines),), np.eye(3))

    def outline_on_cloth(self, placement: Placement, *, rough: bool = False) -> Array:
        """(N, 2) a copy's cutting ring in the cloth frame, mm."""
        face = self.faces.of(placement)
        a = placement.cloth_from_piece
        points = face.rough if rough else face.outline
        return carry(a, points)

    # -- cloth, strip, and what helps -----------------------------------------------------------

    def cloth(self, used_mm: float | None = None) -> Item:
        """The cloth's edge, selvedge and fold, and a tick where the used length ends."""
        cloth = self.docket.cloth
        if cloth is None:
            return Item("cloth", (), self.view.table_from_cloth)
        marks = []
        outline = cloth.lie_outline_mm
        x1 = cloth.x_range_mm[1]
        if outline is not None:
            fold_line = cloth.fold == "lengthwise" and cloth.outline is None
            if fold_line:
                open_ring = np.vstack([outline[1:], outline[:1]])
                marks.append(self.mark("cloth", [open_ring]))
                marks.append(self.mark("guide", [outline[:2]]))
            else:
                marks.append(self.mark("cloth", [ring(outline)]))
        else:
            x1 = (used_mm or 0.0) + 300.0  # off the bolt: as far as the work reaches, and a bit
            y1 = cloth.width_mm / (2.0 if cloth.fold == "lengthwise" else 1.0)
            near = "guide" if cloth.fold == "lengthwise" else "cloth"
            marks.append(self.mark(near, [polyline((0, 0), (x1, 0))]))
            marks.append(self.mark("cloth", [polyline((x1, y1), (0, y1), (0, 0))]))
        if cloth.outline is None and cloth.selvedge_mm > 0:
            low, high = cloth.y_range_mm
            lines = [polyline((0, high), (x1, high))]
            if cloth.fold != "lengthwise":
                lines.append(polyline((0, low), (x1, low)))
            marks.append(self.mark("selvedge", lines))
        rings = [np.asarray(h, float) for h in (*cloth.holes, *cloth.flaws)]
        if rings:
            marks.append(self.mark("trouble", [ring(r) for r in rings], "faint"))
        return Item("cloth", tuple(marks), self.view.table_from_cloth)

    def used_tick(self, used_mm: float) -> Item:
        """A line across the cloth where the used length ends."""
        cloth = self.docket.cloth
        if cloth is None or used_mm <= 0:
            return Item("used", (), self.view.table_from_cloth)
        low, high = cloth.y_range_mm
        line = self.mark("guide", [polyline((used_mm, low), (used_mm, high))])
        return Item("used", (line,), self.view.table_from_cloth)

    def reading_frame(self, at_mm: Sequence[float] | Array) -> Array:
        """(3, 3) table from a frame at ``at_mm`` whose x runs along her reading direction."""
        return rigid(self.reading_deg, (float(at_mm[0]), float(at_mm[1])))

    def strip_box(self, height_mm: float, *, far: bool = False) -> tuple[Array, float, float]:
        """Where a strip along her edge fits: its frame (3, 3), length and height mm."""
        c, s = math.cos(math.radians(self.reading_deg)), math.sin(math.radians(self.reading_deg))
        read_from_table = np.array([[c, s], [-s, c]])
        beam = self.lens.beam_mm @ read_from_table.T
        if far:
            beam = beam * np.array([1.0, -1.0])
        return _strip_box(beam, read_from_table, height_mm, far)

    def strip_room(self, *, far: bool = False) -> Array:
        """(4, 2) table mm: what the strip may cover with as many rows of words as it may have."""
        height = _TALL_MM + _MOST_ROWS * _ROW_MM + 5.0
        frame, length, high = self.strip_box(height, far=far)
        m = 2.5 * _STRIP_MARGIN_MM
        low, top = (0.0, high + m) if far else (-m, high)
        return carry(frame, polyline((-m, low), (length + m, low), (length + m, top), (-m, top)))

    def strip(
        self,
        lines: Sequence[str],
        buttons: Sequence[Button],
        *,
        far: bool = False,
    ) -> Strip:
        """The strip along her edge: figures in as many rows as they take, one row of buttons.

        Buttons that find no room are left out, the last first (their keys still work).
        """
        tall = _TALL_MM if buttons else 0.0
        rows = 1 if lines else 0
        while True:  # under keystone a higher strip is a shorter one
            frame, length, height = self.strip_box(tall + rows * _ROW_MM + 5.0, far=far)
            needed = len(_in_rows(lines, length))
            if needed <= rows or rows >= _MOST_ROWS:
                break
            rows += 1
        marks, places = self._row_of(buttons, frame, length, tall)
        inner = 0.0 if far else height  # the side towards the work
        marks.append(self.mark("button", [polyline((0, inner), (length, inner))]))
        item = Item("strip", tuple(m for m in marks if len(m.points)), frame)
        m = 2.5 * _STRIP_MARGIN_MM  # down to the beam's edge, and past its corners
        box = polyline((-m, -m), (length + m, -m), (length + m, height), (-m, height))
        if far:
            box = polyline((-m, 0), (length + m, 0), (length + m, height + m), (-m, height + m))
        ground = carry(frame, box)
        return Strip(item, ground, places, tall, length, rows, _MOST_ROWS, far=far)

    def handle(
        self,
        lines: Sequence[str],
        buttons: Sequence[Button],
        where: Callable[[tuple[float, float]], Array | None],
    ) -> Strip:
        """The strip as a small leaf with a few buttons, for a beam that pieces fill.

        ``where``: size mm → (2,) table mm of its lower left corner, or None for her edge's middle.
        """
        tall = _TALL_MM
        longest = max((text_width(line, _FIGURES_MM) for line in lines), default=0.0) + 14.0
        row_mm = 8.0 + sum(_button_mm(b) + _GAP_MM for b in buttons) - _GAP_MM
        length = min(max(row_mm, longest), max(row_mm, _HANDLE_MM))
        rows = max(1, min(_MOST_HANDLE_ROWS, len(_in_rows(lines, length))))
        height = tall + rows * _ROW_MM + 5.0
        at = where((length, height))
        if at is None:
            frame, free, _ = self.strip_box(height)
            at = carry(frame, np.array([max(0.0, 0.5 * (free - length)), 0.0]))
        frame = self.reading_frame(at)
        marks, places = self._row_of(buttons, frame, length, tall)
        marks.append(self.mark("button", [_rounded(1.0, 1.0, length - 1.0, height - 1.0, 6.0)]))
        item = Item("strip", tuple(m for m in marks if len(m.points)), frame)
        ground = carry(frame, polyline((0, 0), (length, 0), (length, height), (0, height)))
        return Strip(item, ground, places, tall, length, rows, _MOST_HANDLE_ROWS, small=True)

    def _row_of(
        self, buttons: Sequence[Button], frame: Array, length: float, tall: float
    ) -> tuple[list[Mark], dict[str, Array]]:
        """Buttons side by side as far as there is room: their marks, and where each lies (4, 2) mm."""
        outlines: list[Array] = []
        words: list[Array] = []
        strong: list[Array] = []
        keys: list[Array] = []
        places: dict[str, Array] = {}
        x = 4.0
        for button in buttons:
            width = _button_mm(button)
            if x + width > length - 4.0:
                break
            box = polyline((x, 4), (x + width, 4), (x + width, tall), (x, tall))
            outlines.append(_rounded(x, 4.0, x + width, tall, 5.0))
            target = strong if button.on else words
            high = 28.0 if button.key else 22.0
            target.extend(
                s + np.array([x + width / 2, high]) for s in text_block([button.words], 9.0)
            )
            keys.extend(s + np.array([x + width / 2, 13.0]) for s in text_block([button.key], 8.0))
            if button.on:
                strong.append(_rounded(x + 1.6, 5.6, x + width - 1.6, tall - 1.6, 4.0))
            places[button.action] = carry(frame, box)
            x += width + _GAP_MM
        marks = [
            self.mark("button", outlines),
            self.mark("text", words, wider=0.95),
            self.mark("key", keys),
            self.mark("strong", strong, wider=0.75),
        ]
        return marks, places

    def rows_needed(self, lines: Sequence[str], strip: Strip) -> int:
        """How many rows of figures these lines take on a strip, at most as many as it may have."""
        return min(strip.most_rows, len(_in_rows(lines, strip.length_mm)))

    def figures(self, lines: Sequence[str], strip: Strip) -> list[Figure]:
        """Where the strip's figures stand; few of them change while a piece is moved."""
        out: list[Figure] = []
        laid = _in_rows(lines, strip.length_mm)
        for r, row in enumerate(laid[: strip.rows]):
            y = strip.tall_mm + 6.5 + (strip.rows - 1 - r) * _ROW_MM
            if r == strip.rows - 1 and len(laid) > strip.rows:  # the help page has the rest
                x, text = row[-1]
                row = [*row[:-1], (x, _cut_to(text + " …", _FIGURES_MM, strip.length_mm - 6.0 - x))]
            out += [Figure(text, x, y, i == 0) for i, (x, text) in enumerate(row)]
        return out

    def figure(self, figure: Figure, strip: Strip) -> Item:
        """One of the strip's figures as light."""
        x, y = figure.x_mm, figure.y_mm
        strokes = [s + np.array([x, y]) for s in text_strokes(figure.text, _FIGURES_MM)]
        if not figure.first:
            strokes.append(polyline((x - 8.0, y - 0.5), (x - 8.0, y + 9.5)))
        return Item("figure", (self.mark("text", strokes),), strip.item.table_from_item)

    def check_square(self, at_mm: Sequence[float] | Array) -> Item:
        """A square of 100 mm and a ruler of 200 mm, to lay a real ruler on."""
        frame = self.reading_frame(at_mm)
        square = polyline((0, 0), (100, 0), (100, 100), (0, 100), (0, 0))
        diagonals = [polyline((0, 0), (100, 100)), polyline((100, 0), (0, 100))]
        ticks = [polyline((0, -30), (200, -30))]
        numbers: list[Array] = []
        for mm in range(0, 201, 5):
            high = 12.0 if mm % 50 == 0 else 8.0 if mm % 10 == 0 else 5.0
            ticks.append(polyline((mm, -30), (mm, -30 + high)))
            if mm % 50 == 0:
                words = text_block([str(mm // 10)], 8.0)
                numbers.extend(w + np.array([mm, -42.0]) for w in words)
        numbers.extend(
            w + np.array([100.0, 112.0])
            for w in text_block(
                [
                    "100 mm each side",
                ],
                8.5,
            )
        )
        marks = (
            self.mark("cutting", [square], wider=0.6),
            self.mark("guide", diagonals),
            self.mark("cutting", ticks, wider=0.5),
            self.mark("text", numbers),
        )
        return Item("check", marks, frame)

    def check_panel(self, frame: Array) -> Array:
        """(4, 2) table mm: what is cleared under a check square, so that no line crosses it."""
        return carry(frame, polyline((-14, -50), (214, -50), (214, 128), (-14, 128)))

    def check_corner(self, at_mm: Array, keep_off: Sequence[Array] = ()) -> Array:
        """(2,) where a check square stands that is asked for at a place: there, or the nearest free.

        ``keep_off``: quads (4, 2) table mm that it must not cover.
        """
        panel = self.check_panel(self.reading_frame(at_mm))
        if self.lens.covers(panel).all() and not any(_meet(panel, q) for q in keep_off):
            return np.asarray(at_mm, dtype=np.float64)
        read = self.reading_frame((0.0, 0.0))[:2, :2]
        size = (float(v) for v in np.ptp(panel @ read, axis=0))
        w, h = size
        found = room.place(
            self.lens.beam_mm, self.lens.covers, read, (w, h), at_mm, keep_off=keep_off
        )
        if found is None:
            return np.asarray(at_mm, dtype=np.float64)
        return np.asarray(found + np.asarray(at_mm) - panel[0])

    def cursor(self, at_mm: Sequence[float] | Array, *, busy: bool = False) -> Item:
        """The pointer, drawn in mm on the cloth."""
        r = 7.0
        lines = [circle(0, 0, r, 24)]
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            lines.append(polyline((dx * (r + 1), dy * (r + 1)), (dx * (r + 6), dy * (r + 6))))
        if not busy:
            lines.append(polyline((-0.3, 0), (0.3, 0)))
        key = ("cursor", busy)
        if key not in self._made:
            drawn = self.mark("chosen", lines, wider=0.8)
            self._made[key] = Item("cursor", (drawn,), np.eye(3))
        return self._made[key].moved(self.reading_frame(at_mm))

    def guides(self, lines: Sequence[Array]) -> Item:
        """Lines in the cloth frame that a moving piece has snapped to."""
        return Item("guides", (self.mark("snap", lines),), self.view.table_from_cloth)

    def page(self, title: str, rows: Sequence[tuple[str, str]], foot: Sequence[str] = ()) -> Item:
        """A page of text in the middle of the beam: questions, first light.

        ``rows``: (key, what it does), in as many columns as the beam has room for.
        """
        return _page(self, title, rows, foot, 0)[0]

    def leaf(
        self, title: str, rows: Sequence[tuple[str, str]], foot: Sequence[str], first: int
    ) -> tuple[Item, int]:
        """A page that begins with the row ``first``, and how many rows found room on it."""
        return _page(self, title, rows, foot, first)

    @property
    def middle_mm(self) -> Array:
        """(2,) the beam's middle on the table."""
        w, h = self.calibration.size
        return self.lens.to_table((w - 1) / 2.0, (h - 1) / 2.0)


def _button_mm(button: Button) -> float:
    """How wide a button is: a finger's breadth and more, and its words."""
    return max(46.0, text_width(button.words, 9.0) + 14.0)


def stepped(line: Array, step_mm: float) -> Array:
    """The line with points no farther apart than ``step_mm``."""
    d = np.hypot(*np.diff(line, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(d)])
    every = np.union1d(at, np.arange(0.0, at[-1], step_mm))
    return np.column_stack([np.interp(every, at, line[:, 0]), np.interp(every, at, line[:, 1])])


def _outside(
    line: Array, read_from_table: Array, boxes: Sequence[tuple[Array, Array]]
) -> list[Array]:
    """The stretches of a line that lie in none of the boxes, given in reading axes."""
    seen = line @ read_from_table.T
    free = np.ones(len(line), dtype=bool)
    for low, high in boxes:
        free &= ~((seen >= low) & (seen <= high)).all(axis=1)
    if free.all():
        return [line]
    runs = np.split(np.arange(len(line)), np.flatnonzero(np.diff(free.astype(int))) + 1)
    return [line[run] for run in runs if free[run[0]] and len(run) > 1]


def _page(
    stage: Stage, title: str, rows: Sequence[tuple[str, str]], foot: Sequence[str], first: int
) -> tuple[Item, int]:
    frame, length, height = stage.strip_box(1e9)
    low, top, side = 66.0, height - 18.0, 28.0  # the strip's own room below
    foot_size = 10.0
    foot_mm = foot_size * 1.9
    foot = [part for line in foot for part in wrapped(line, foot_size, length - 2 * side)]
    room = top - 52.0 - (low + len(foot) * foot_mm + 10.0)
    # the largest letters with which every row stands, in as few columns as that takes
    for size in (17.0, 15.0, 13.5, 12.0, 11.0, 10.0, 9.0, 8.5, LEAST_TEXT_MM):
        pitch = 2.0 * size
        widest = max((text_width(m, size) for _, m in rows), default=0.0)
        key_mm = max((text_width(k, size) for k, _ in rows), default=0.0) + 1.4 * size
        fit = max(1, int((length - 2 * side + 3 * size) // (widest + key_mm + 3 * size)))
        per = max(1, int(room // pitch))
        columns = min(3, max(1, math.ceil(len(rows) / per)))
        if columns <= fit and columns * per >= len(rows):
            per = math.ceil(len(rows) / columns) if rows else 1
            break
    else:
        columns = min(3, fit)  # the smallest letters and still too much: several pages
    shown = rows[first : first + columns * per]
    if len(shown) < len(rows):
        pages = math.ceil(len(rows) / (columns * per))
        title = f"{title}  {first // (columns * per) + 1} of {pages}"
    column_mm = (length - 2 * side) / columns
    strong: list[Array] = [s + np.array([side, top - 18.0]) for s in text_strokes(title, 18.0)]
    keys: list[Array] = []
    words: list[Array] = []
    for i, (key, meaning) in enumerate(shown):
        x = side + (i // per) * column_mm
        y = top - 50.0 - (i % per) * pitch - size
        meaning = _cut_to(meaning, size, column_mm - key_mm - 4.0)
        keys.extend(s + np.array([x, y]) for s in text_strokes(key, size))
        words.extend(s + np.array([x + key_mm, y]) for s in text_strokes(meaning, size))
    for j, line in enumerate(foot):
        y = low + (len(foot) - 1 - j) * foot_mm + 6.0
        words.extend(s + np.array([side, y]) for s in text_strokes(line, foot_size))
    marks = (
        stage.mark("strong", strong, wider=1.1),
        stage.mark("key", keys, wider=1.4),
        stage.mark("text", words),
        stage.mark("button", [polyline((side, top - 30), (length - side, top - 30))]),
    )
    return Item("page", tuple(m for m in marks if len(m.points)), frame), len(shown)


def wrapped(line: str, height_mm: float, length_mm: float) -> list[str]:
    """A line in as many lines as it takes."""
    out: list[str] = []
    held = ""
    for word in line.split():
        longer = f"{held} {word}".strip()
        if held and text_width(longer, height_mm) > length_mm:
            out.append(held)
            held = word
        else:
            held = longer
    return [*out, held]


@lru_cache(maxsize=64)
def _rows_of(lines: tuple[str, ...], length_mm: float) -> tuple[tuple[tuple[float, str], ...], ...]:
    rows: list[list[tuple[float, str]]] = [[]]
    x = 6.0
    for line in lines:
        width = text_width(line, _FIGURES_MM)
        if rows[-1] and x + width > length_mm - 6.0:
            rows.append([])
            x = 6.0
        if x + width <= length_mm - 6.0:
            rows[-1].append((x, line))
            # in steps, so that a figure that changes leaves its neighbours where they stand
            x += _SLOT_MM * math.ceil((width + 16.0) / _SLOT_MM)
            continue
        for part in wrapped(line, _FIGURES_MM, length_mm - 12.0):  # longer than a whole row
            if rows[-1]:
                rows.append([])
            rows[-1].append((6.0, part))
            x = 22.0 + text_width(part, _FIGURES_MM)
    return tuple(tuple(row) for row in rows if row)


def _in_rows(lines: Sequence[str], length_mm: float) -> list[list[tuple[float, str]]]:
    """Figures side by side in rows: (x mm, text) each; none is left out or split needlessly."""
    return [list(row) for row in _rows_of(tuple(lines), length_mm)]


def _cut_to(line: str, height_mm: float, length_mm: float) -> str:
    """As much of a line as there is room for, with a sign that there is more."""
    if text_width(line, height_mm) <= length_mm:
        return line
    while line and text_width(line + "…", height_mm) > length_mm:
        line = line[:-1]
    return line.rstrip() + "…"


def _strip_box(
    beam: Array, read_from_table: Array, height_mm: float, far: bool
) -> tuple[Array, float, float]:
    """The widest box along the lower edge of a beam given in reading axes."""
    margin = _STRIP_MARGIN_MM
    n = len(beam)
    # the lower edge is the side whose points all lie low; under keystone its highest counts
    quarter = n // 4
    sides = [beam[np.arange(i * quarter, (i + 1) * quarter + 1) % n] for i in range(4)]
    base = min(sides, key=lambda p: float(p[:, 1].mean()))
    roof = max(sides, key=lambda p: float(p[:, 1].mean()))
    y0 = float(base[:, 1].max()) + margin
    y1 = min(y0 + height_mm, float(roof[:, 1].min()) - margin)
    left, right = -math.inf, math.inf
    middle = float(beam[:, 0].mean())
    for y in np.linspace(y0, y1, 9):
        chords = _crossings(beam, float(y))
        left = max(left, max((x for x in chords if x < middle), default=-math.inf))
        right = min(right, min((x for x in chords if x > middle), default=math.inf))
    left, right = left + margin, right - margin
    origin = np.array([left, y0 if not far else -y1])
    table_from_read = read_from_table.T
    frame = np.eye(3)
    frame[:2, :2] = table_from_read
    frame[:2, 2] = table_from_read @ origin
    return frame, right - left, y1 - y0


def _crossings(points: Array, y: float) -> list[float]:
    a, b = points, np.roll(points, -1, axis=0)
    hit = (a[:, 1] <= y) != (b[:, 1] <= y)
    share = (y - a[hit, 1]) / (b[hit, 1] - a[hit, 1])
    return [float(v) for v in a[hit, 0] + share * (b[hit, 0] - a[hit, 0])]


def _meet(one: Array, other: Array) -> bool:
    """Whether two convex quads (4, 2) have a place in common (separating axes)."""
    for quad in (one, other):
        d = np.roll(quad, -1, axis=0) - quad
        for normal in np.column_stack([-d[:, 1], d[:, 0]]):
            a, b = one @ normal, other @ normal
            if a.max() < b.min() or b.max() < a.min():
                return False
    return True


def _rounded(x0: float, y0: float, x1: float, y1: float, r: float) -> Array:
    t = np.radians(np.linspace(0.0, 90.0, 5))
    c, s = r * np.cos(t), r * np.sin(t)
    return ring(
        np.concatenate(
            [
                np.column_stack([x1 - r + c, y1 - r + s]),
                np.column_stack([x0 + r - s, y1 - r + c]),
                np.column_stack([x0 + r - c, y0 + r - s]),
                np.column_stack([x1 - r + s, y0 + r - c]),
            ]
        )
    )


def _bars(outline: Array, every_mm: float = 45.0, half_mm: float = 5.0) -> list[Array]:
    """Short bars across a ring: trouble is told by shape, not by colour alone."""
    closed = ring(outline)
    d = np.diff(closed, axis=0)
    length = np.hypot(d[:, 0], d[:, 1])
    s = np.concatenate([[0.0], np.cumsum(length)])
    count = max(4, int(s[-1] // every_mm))
    at = (np.arange(count) + 0.5) * s[-1] / count
    which = np.clip(np.searchsorted(s, at, side="right") - 1, 0, len(d) - 1)
    unit = d[which] / np.maximum(length[which], 1e-9)[:, None]
    spot = closed[which] + unit * (at - s[which])[:, None]
    lean = np.column_stack([unit[:, 0] - unit[:, 1], unit[:, 1] + unit[:, 0]]) * (half_mm * 0.7)
    return [np.array([p - n, p + n]) for p, n in zip(spot, lean, strict=True)]


def _brackets(outline: Array, gap: float = 9.0, arm: float = 26.0) -> list[Array]:
    """Corner brackets about a piece that is picked up."""
    (x0, y0), (x1, y1) = outline.min(axis=0) - gap, outline.max(axis=0) + gap
    a = min(arm, 0.3 * min(x1 - x0, y1 - y0))
    return [
        polyline((x0, y0 + a), (x0, y0), (x0 + a, y0)),
        polyline((x1 - a, y0), (x1, y0), (x1, y0 + a)),
        polyline((x1, y1 - a), (x1, y1), (x1 - a, y1)),
        polyline((x0 + a, y1), (x0, y1), (x0, y1 - a)),
    ]


def at_cloth(docket: Docket, calibration: Calibration) -> Calibration:
    """The calibration of the cloth's upper side, as far as thickness and lens are known.

    Raises:
        InputError, InputError: what is noted of them has faults.
    """
    if not docket.table.get("height"):  # without a thickness nothing is to be corrected
        return calibration
    from projector.height import corrected, height_of

    folded = docket.cloth is not None and docket.cloth.folded
    where = f"{docket.path or 'docket'}: table"
    return corrected(calibration, height_of(docket.table, calibration, folded=folded, where=where))


def faces_of(docket: Docket) -> Faces:
    """Every piece's face for the docket's cloth and allowances."""
    one_way = docket.cloth is not None and docket.cloth.nap == "one-way"
    made = {
        name: face_of(piece, docket.allowances_for(name), docket.cloth, one_way=one_way)
        for name, piece in docket.pieces().items()
    }
    return Faces(made, docket.cloth)


def reading_direction(lens: Lens, side: str) -> float:
    """Her reading direction in the table frame, degrees: the beam's own axis nearest to it.

    Text along the beam's axis rather than the table's: the calibration's frame may lie turned.
    """
    whole = View(side=side).up_deg
    w, h = lens.calibration.size
    mids = lens.calibration.to_table(
        np.array([[0.0, h / 2], [w - 1.0, h / 2], [w / 2, h - 1.0], [w / 2, 0.0]])
    )
    best, least = whole, 361.0
    for d in (mids[1] - mids[0], mids[0] - mids[1], mids[3] - mids[2], mids[2] - mids[3]):
        angle = math.degrees(math.atan2(d[1], d[0]))
        off = abs((angle - whole + 180.0) % 360.0 - 180.0)
        if off < least - 1e-9:
            best, least = angle, off
    return round(best, 6)


def copy_of(
    docket: Docket, lay: Iterable[Placement], placement: Placement, *, on_fold: bool
) -> str:
    """Which of how many a laid copy is, in words; empty where it is the only one laid."""
    copies = sum(1 for p in lay if p.piece == placement.piece)
    piece = docket.pieces()[placement.piece]
    return copy_words(piece, docket.quantity, placement.copy, copies, docket.cloth, on_fold=on_fold)


def light_words(unlit: Sequence[str], way: str) -> str:
    """How many of the pieces reach out of the light, and what to do; empty when all are lit.

    ``unlit``: `Stage.unlit` of every piece laid; ``way``: to the bays, in words.
    """
    out = sum(1 for u in unlit if u)
    if not out:
        return ""
    dark = sum(1 for u in unlit if u == "wholly")
    reach = "reaches" if out == 1 else "reach"
    wholly = f" ({dark} not lit at all)" if dark else ""
    return f"{out} of {len(unlit)} pieces {reach} out of the light{wholly}: {way}"


def used_box(
    stage_faces: Faces, lay: Iterable[Placement]
) -> tuple[float, float, float, float] | None:
    """x0, y0, x1, y1 of what lies on the cloth, cloth mm; None with nothing there."""
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for p in lay:
        if p.aside or p.piece not in stage_faces:
            continue
        a = p.cloth_from_piece
        points = carry(a, stage_faces.of(p).outline)
        low, high = np.minimum(low, points.min(axis=0)), np.maximum(high, points.max(axis=0))
    if not np.isfinite(low).all():
        return None
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def view_of(docket: Docket, calibration: Calibration) -> View:
    """The docket's own view, or the used cloth centred in the beam.

    Raises:
        InputError: the docket's ``table: view`` has faults.
    """
    held = docket.table.get("view") if docket.table else None
    side = "near"
    if held is not None:
        kept = View.from_dict(held, f"{docket.path or 'docket'}: table.view")
        # a view is of one calibration's table frame: under another it would lie anywhere
        if docket.table.get("light", light_of(calibration)) == light_of(calibration):
            return kept
        side = kept.side
    lens = Lens(at_cloth(docket, calibration))
    box = used_box(faces_of(docket), docket.lay)
    if box is None:
        cloth = docket.cloth
        outline = cloth.lie_outline_mm if cloth is not None else None
        if outline is not None:
            box = (*outline.min(axis=0), *outline.max(axis=0))
        else:
            box = (0.0, 0.0, 1000.0, cloth.width_mm if cloth is not None else 600.0)
    return default_view(lens.beam_mm, box, side=side)


def light_of(calibration: Calibration) -> str:
    """A short word that tells one calibration from another by where its pixels fall."""
    w, h = calibration.size
    px = np.array([[0.0, 0.0], [w - 1.0, 0.0], [w - 1.0, h - 1.0], [0.0, h - 1.0]])
    places = np.round(calibration.to_table(px), 2) + 0.0
    return hashlib.sha256(places.tobytes()).hexdigest()[:12]


def ink_of(docket: Docket, ink: str | None = None) -> str:
    """The ink asked for, or the one that the docket's table remembers."""
    chosen = ink or (docket.table.get("ink") if docket.table else None) or "light"
    return chosen if chosen in INKS else "light"


def lines_of(docket: Docket, lines: str | None = None) -> str:
    """Which lines: asked for, or as the docket's table remembers."""
    chosen = lines or (docket.table.get("lines") if docket.table else None) or "both"
    return chosen if chosen in LINES else "both"


def look_of(docket: Docket) -> Look:
    """How the docket's ``table`` wants lines: ``ink``, ``lines``, ``weight``, ``width``.

    ``width``: of the cutting line: ``1.2 mm`` or ``2 px``.

    Raises:
        InputError: a weight or width that is none.
    """
    from configs.errors import short
    from configs.reader import Reader

    table = Reader(docket.table or {}, file=str(docket.path or "docket"), key="table")
    weight = table.number("weight", 1.0, 0.1, 10.0)
    cut = None
    if table.has("width"):
        given = table.get("width")
        found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(mm|px)\s*", str(given)[:40])
        value = float(found[1].replace(",", ".")) if found else 0.0
        if not found or not 0.2 <= value <= 30.0:
            said = f"{short(given)} is not a line's width."
            table.note("width", said, "Write it as 1.2 mm or 2 px.", given)
        else:
            cut = (value, found[2])
    table.done()
    return Look(ink_of(docket), lines_of(docket), weight, cut)


def build(
    docket: Docket,
    calibration: Calibration,
    *,
    mode: str = "arrange",
    view: View | None = None,
    ink: str | None = None,
    lines: str | None = None,
    weight: float | None = None,
    current: str | None = None,
    cloth: bool = True,
) -> Scene:
    """The scene of a docket without anybody at the table (no strip, no pointer).

    Args:
        mode: ``arrange``: all pieces alike; ``trace``: ``current`` (or the next in order) bright,
            the others faint; ``plain``: only the pieces' lines, no cloth.
        view, ink, lines: None for what the docket's ``table`` remembers.
        weight: widens every line; None for what the docket's ``table`` remembers.
        current: the piece being traced, ``front/1``.

    Raises:
        InputError: the docket has no lay, or its pieces or view have faults.
        ValueError: no such mode.
    """
    if mode not in MODES:
        raise ValueError(f"mode is 'arrange', 'trace' or 'plain', not {mode!r}.")
    from configs.errors import Fault, InputError

    placed = docket.placed()
    if not placed:
        raise InputError(
            Fault(
                f"{docket.path or 'docket'}: lay",
                "no piece lies on the cloth yet.",
                f"Plan it with 'chalkbeam lay {docket.path.name if docket.path else 'DOCKET.yaml'}'.",
            )
        )
    look = look_of(docket)
    look = replace(look, ink=ink_of(docket, ink), lines=lines_of(docket, lines))
    if weight is not None:
        look = replace(look, weight=weight)
    stage = Stage(docket, calibration, view or view_of(docket, calibration), look)
    items = []
    if cloth and mode != "plain":
        box = used_box(stage.faces, placed)
        items.append(stage.cloth(box[2] if box else None))
    if mode == "trace" and current is None:
        from projector.session.order import next_piece

        current = next_piece(stage, placed, docket.traced)
    for p in placed:
        state = PieceState(
            copy=copy_of(docket, docket.lay, p, on_fold=stage.faces[p.piece].on_fold)
        )
        if mode == "trace":
            done = ("traced",) if p.key in docket.traced else ()
            state = replace(state, emphasis="bright" if p.key == current else "faint", notes=done)
        items.append(stage.piece(p, state))
    return Scene(tuple(items), stage)
