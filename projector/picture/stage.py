"""Stage: pieces as marks of light in millimetres on the table.

Takes what the state decided and what `faces` worked out, gives `frame` items that are painted, moved
and taken away one at a time.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable, Sequence
from dataclasses import InitVar, dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from drafting.outline import arc_lengths, points_along
from drafting.placement import Array, carry
from projector.picture.faces import BESIDE_MM, Face, Faces, Label, LabelRoom
from projector.picture.frame import Lens
from projector.picture.look import (
    FAINT_WIDTH,
    LINES,
    OWN_WIDTH,
    PLAIN_LOOK,
    STYLES,
    Ink,
    Look,
    suited,
)
from projector.picture.marks import Item, Mark, mark, polyline, ring, stepped
from projector.picture.on_table import at_cloth, faces_of, reading_direction, used_box
from projector.picture.view import View, default_view, rigid

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from drafting.placement import Placement


_BARS_MM = 45.0  # between two bars across a line that is in trouble
_KEPT = 200  # drawn pieces and labels kept; free turning makes a new one at every angle
_STATES = ("locked", "traced")  # notes that must be read whatever the room
_INSIDE = ("sewing", "grain", "dart", "notch", "mark", "inner", "fold", "foldmark")


@dataclass(frozen=True)
class PieceState:
    """How one copy is to be shown.

    ``emphasis``: ``plain``, ``bright`` (its turn) or ``faint``; ``notes``: words under
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
    look: Look = PLAIN_LOOK
    lens: Lens = field(init=False)
    faces: Faces = field(init=False)
    left_handed: bool = field(default=False, init=False)
    _labels: dict[Any, Label | None] = field(default_factory=dict, repr=False)
    _rooms: dict[Any, LabelRoom] = field(default_factory=dict, repr=False)
    _made: dict[Any, Item] = field(default_factory=dict, repr=False)
    _lines: dict[Any, Mark] = field(default_factory=dict, repr=False)
    _unlit: dict[Any, str] = field(default_factory=dict, repr=False)

    words_only: InitVar[bool] = False

    def __post_init__(self, words_only: bool) -> None:
        self.faces = Faces({}, None)
        if not words_only:  # pages of text come before there is anything to lay
            self.calibration = at_cloth(self.docket, self.calibration)
            self.faces = faces_of(self.docket)
            self.left_handed = bool(self.docket.table.get("left_handed"))
        self.lens = Lens(self.calibration)
        self.reading_deg = reading_direction(self.lens, self.view.side)

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
        made._made, made._lines, made._labels, made._rooms = {}, {}, {}, {}
        return made

    def for_hand(self, *, left: bool) -> Stage:
        """The same for her other hand."""
        made = copy.copy(self)
        made.left_handed = left
        return made

    def of(self, docket: Docket) -> Stage:
        """The same with the docket's pieces drafted anew, on the same cloth."""
        made = copy.copy(self)
        made.docket, made.faces = docket, faces_of(docket, self.docket, self.faces)
        made._unlit = {}
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
        """The ink in use, its colours seen on this cloth."""
        return suited(self.look.ink, self.look.cloth)

    def mark(
        self, kind: str, lines: Iterable[Array], emphasis: str = "plain", *, wider: float = 1.0
    ) -> Mark:
        """Lines of a kind as a mark."""
        style, ink = STYLES[kind], self.ink
        bright = emphasis in ("plain", "bright")  # paler when it is not its turn
        share = style.width_mm * self.look.weight * wider
        width_px = None
        if self.look.cut is None or kind in OWN_WIDTH:
            width = share * ink.weight
        else:
            value, unit = self.look.cut
            width = share * value / STYLES["cutting"].width_mm
            if unit == "px":
                width_px, width = width, width / self.lens.px_per_mm
        return mark(
            lines,
            width_mm=width,
            width_px=width_px,
            colour=ink.colours[style.colour] if bright else ink.faint,
            dash=style.dash,
            step_mm=self.lens.step_mm,
            kind=kind,
        )

    def table_from_piece(self, placement: Placement) -> Array:
        """(3, 3) rigid, piece mm → table mm."""
        return np.asarray(self.view.table_from_cloth @ placement.cloth_from_piece)

    def piece(self, placement: Placement, state: PieceState = PLAIN) -> Item:
        """One copy of a piece."""
        face = self.faces.of(placement)
        matrix = self.table_from_piece(placement)
        key = (face.key, self._turned(placement), self.reading_deg, state)
        made = self.kept(key, lambda: Item("", tuple(self._face_marks(placement, state)), matrix))
        return made.moved(matrix, f"piece:{placement.key}")

    def kept(self, key: Any, make: Callable[[], Item]) -> Item:
        """What was made for a key before, in this look; else made now."""
        if key not in self._made:
            if len(self._made) > _KEPT:
                self._made.clear()
            self._made[key] = make()
        return self._made[key]

    def _turned(self, placement: Placement) -> tuple[float, bool, bool]:
        """How a copy lies on the table, but for its place."""
        turn = round(placement.turn_deg + self.view.turn_deg, 3)
        return turn, placement.mirrored, self.view.mirror

    def _face_marks(self, placement: Placement, state: PieceState) -> list[Mark]:
        face, emphasis, shown = self.faces.of(placement), state.emphasis, LINES[self.look.lines]
        marks = []
        wider = {"bright": 1.25, "faint": FAINT_WIDTH}.get(emphasis, 1.0)
        if "cutting" in shown or not face.lines["sewing"]:
            kind = "trouble" if state.trouble else "cutting"
            marks.append(self._line_mark(face, "cutting", kind, emphasis, wider))
        if "sewing" in shown:
            marks.append(self._line_mark(face, "sewing", "sewing", emphasis))
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
        label = self._label(placement, self._words(face, state))
        if face.beside and emphasis != "faint":
            beside = self._room(placement).beside
            marks.append(self.mark("label", beside, emphasis, wider=BESIDE_MM / 10.5))
        if label is not None:
            marks.append(self.mark("label", label.strokes, emphasis, wider=label.height_mm / 10.5))
        return [m for m in marks if len(m.points)]

    @staticmethod
    def _words(face: Face, state: PieceState) -> tuple[str, ...]:
        """What a label says: where there is no room for all, the last go first, so what is wrong
        comes right after the name."""
        wrong = (f"! {t}" for t in state.trouble)
        rest = face.words[1:]
        if state.copy:
            rest = (state.copy, *(w for w in rest if not w.startswith("cut ")))
        return (*face.words[:1], *wrong, *rest, *state.notes)

    def without_room(self, placement: Placement, state: PieceState) -> tuple[str, ...]:
        """What must be read of a copy and found no room in it: its name, which of how many it is,
        what is wrong, and whether it is locked or traced; empty when all of it stands there."""
        face = self.faces.of(placement)
        label = self._label(placement, self._words(face, state))
        stands = label.words if label is not None else ()
        states = tuple(n for n in state.notes if n in _STATES)
        copy_ = (state.copy,) if state.copy and not state.copy.startswith("cut ") else ()
        must = (*face.words[:1], *(f"! {t}" for t in state.trouble), *copy_, *states)
        return () if set(must) <= set(stands) else must

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

    def _label(self, placement: Placement, words: tuple[str, ...]) -> Label | None:
        key = (self._room_key(placement), words)
        if key not in self._labels:
            if len(self._labels) > _KEPT:
                self._labels.clear()
                self._rooms.clear()
            self._labels[key] = self._room(placement).place(words)
        return self._labels[key]

    def _room_key(self, placement: Placement) -> tuple[Any, ...]:
        """What room for words hangs on; the last of it the kinds of lines that they keep off."""
        sewn = "sewing" in LINES[self.look.lines]
        kinds = _INSIDE if sewn else tuple(k for k in _INSIDE if k != "sewing")
        return self.faces.of(placement).key, self._turned(placement), self.reading_deg, kinds

    def _room(self, placement: Placement) -> LabelRoom:
        """Where a copy has room for words as it lies; kept."""
        key = self._room_key(placement)
        room = self._rooms.get(key)
        if room is None:
            face, matrix = self.faces.of(placement), self.table_from_piece(placement)
            room = LabelRoom(face, matrix, self.reading_deg, key[-1], self.ink.letters)
            self._rooms[key] = room
        return room

    def words_of(self, placement: Placement, state: PieceState = PLAIN) -> list[Array]:
        """The strokes of a copy's label as they stand, (N, 2) table mm each; none when it has none."""
        item = self.piece(placement, state)
        return [carry(item.table_from_item, m.points) for m in item.marks if m.kind == "label"]

    def unlit(self, placement: Placement) -> str:
        """Whether a copy reaches out of the light: "" when all of it is lit, ``partly``, ``wholly``."""
        key = (placement.piece, placement.at, placement.turn_deg, placement.mirrored)
        if key not in self._unlit:
            if len(self._unlit) > _KEPT:
                self._unlit.clear()
            self._unlit[key] = self._reaches_out(placement)
        return self._unlit[key]

    def ring(self, placement: Placement) -> Array:
        """(N, 2) table mm: a copy's cutting ring, with few points."""
        return carry(self.table_from_piece(placement), self.faces.of(placement).rough)

    def along(self, placement: Placement, step_mm: float, without: str = "") -> Array:
        """(N, 2) table mm: places close together along every line of a copy, of one kind not."""
        drawn = self.faces.of(placement).lines.items()
        lines = [stepped(line, step_mm) for kind, ls in drawn if kind != without for line in ls]
        return carry(self.table_from_piece(placement), np.concatenate(lines))

    def _reaches_out(self, placement: Placement) -> str:
        import shapely

        ring = self.ring(placement)
        # few points do: a beam is convex, so what lies between two lit corners is lit
        lit = self.lens.covers(ring)
        if lit.all():
            return ""
        # some of it may be lit though none of its corners is
        looks_in = shapely.Polygon(ring).intersects(shapely.Polygon(self.lens.beam_mm))
        return "partly" if lit.any() or looks_in else "wholly"

    def holds_all(self, placements: Sequence[Placement]) -> bool:
        """Whether the beam would hold every copy with the lay in its middle."""
        box = used_box(self.faces, placements)
        if box is None:
            return True
        middle = self.with_view(default_view(self.lens.beam_mm, box, side=self.view.side))
        return bool(self.lens.covers(np.concatenate([*map(middle.ring, placements)])).all())

    @property
    def read(self) -> Array:
        """(2, 2) columns: her directions right and away, in the table frame."""
        return self.reading_frame((0.0, 0.0))[:2, :2]

    def reading_frame(self, at_mm: Sequence[float] | Array) -> Array:
        """(3, 3) table from a frame at ``at_mm`` whose x runs along her reading direction."""
        return rigid(self.reading_deg, (float(at_mm[0]), float(at_mm[1])))

    @property
    def middle_mm(self) -> Array:
        """(2,) the beam's middle on the table."""
        w, h = self.calibration.size
        return self.lens.to_table((w - 1) / 2.0, (h - 1) / 2.0)


def _bars(outline: Array) -> list[Array]:
    """Short bars across a ring: trouble is told by shape, not by colour alone."""
    closed = ring(outline)
    d, s = np.diff(closed, axis=0), arc_lengths(closed)
    count = max(4, int(s[-1] // _BARS_MM))
    at = (np.arange(count) + 0.5) * s[-1] / count
    which = np.clip(np.searchsorted(s, at, side="right") - 1, 0, len(d) - 1)
    unit = d[which] / np.maximum(np.diff(s)[which], 1e-9)[:, None]
    spot = points_along(closed, at)
    lean = np.column_stack([unit[:, 0] - unit[:, 1], unit[:, 1] + unit[:, 0]]) * 3.5
    return [np.array([p - n, p + n]) for p, n in zip(spot, lean, strict=True)]


def _brackets(outline: Array) -> list[Array]:
    """Corner brackets about a piece that is picked up."""
    (x0, y0), (x1, y1) = outline.min(axis=0) - 9.0, outline.max(axis=0) + 9.0
    a = min(26.0, 0.3 * min(x1 - x0, y1 - y0))
    return [
        polyline((x0, y0 + a), (x0, y0), (x0 + a, y0)),
        polyline((x1 - a, y0), (x1, y0), (x1, y0 + a)),
        polyline((x1, y1 - a), (x1, y1), (x1 - a, y1)),
        polyline((x0 + a, y1), (x0, y1), (x0, y1 - a)),
    ]
