"""The face of a piece: every line and word that is drawn for it, in the piece's own frame.

Between the drafted pieces and `scene`: worked out once for each piece, its cloth and the way
she looks at it, and from then on only moved. Here it is decided which part of the ring is cut
and which is the fold, how long the grain arrow may be, and where a label finds room to stand
upright without crossing a line.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drafting.outline import signed_area
from drafting.placement import Array
from projector.lettering import LINE_PITCH, text_strokes, text_width
from projector.picture.marks import polyline, ring
from projector.picture.view import rigid

if TYPE_CHECKING:
    from drafting import Piece
    from drafting.cloth import Cloth
    from drafting.placement import Placement


_GRAIN_LEAST_MM = 60.0
_ARROW_MM = 9.0
_NOTCH_MM = 4.0  # an inward snip of 3 to 4 mm (common practice, no source)
_GRID_MM = 3.0  # raster on which labels look for room
_CLEAR_MM = 3.0  # room kept between letters and lines
LEAST_TEXT_MM = 8.0
_TEXT_SIZES_MM = (13.0, 10.5, 8.5)
BESIDE_MM = 8.5  # of words beside a mark
_BESIDE_REACH_MM = 90.0  # farther from its mark nobody would know whose words they are


@dataclass(frozen=True, eq=False)
class Face:
    """A piece as it is drawn, piece frame mm.

    ``outline``: (N, 2) ring, cutting line with its fold, counter-clockwise; ``rough``: (M, 2) the
    same with few points, for quick tests; ``lines``: kind → lines; ``words``: label lines;
    ``area_mm2``: inside the outline; ``beside``: words that stand beside a mark ('zip 18 cm'), and
    the mark's own line (N, 2); ``larger``: the four numbers of the matrix by which it was made
    larger for cloth that shrinks, () at the draft's size.
    """

    name: str
    outline: Array
    rough: Array
    lines: dict[str, tuple[Array, ...]]
    words: tuple[str, ...]
    on_fold: bool
    area_mm2: float
    beside: tuple[tuple[str, Array], ...] = ()
    larger: tuple[float, ...] = ()
    number: int = field(default_factory=itertools.count().__next__)

    @property
    def key(self) -> tuple[object, ...]:
        """What tells it from every other face, of a piece drafted otherwise too."""
        return self.name, self.number, self.larger

    def made_larger(self, growth: Array) -> Face:
        """Its lines as they are cut from cloth that shrinks: ``growth`` as `Cloth.growth`, (2, 2)."""

        def grow(points: Array) -> Array:
            return np.asarray(points @ growth.T)

        return replace(
            self,
            outline=grow(self.outline),
            rough=grow(self.rough),
            lines={kind: tuple(map(grow, lines)) for kind, lines in self.lines.items()},
            area_mm2=self.area_mm2 * abs(float(np.linalg.det(growth))),
            beside=tuple((words, grow(line)) for words, line in self.beside),
            larger=tuple(growth.ravel().tolist()),
        )


class Faces(dict[str, Face]):
    """Piece → its face at the draft's size; `of` gives it as large as it is cut where it lies.

    Args:
        faces: by piece; cloth: whose shrinkage counts.
    """

    _KEPT = 200  # free turning makes a new one at every angle

    def __init__(self, faces: Mapping[str, Face], cloth: Cloth | None) -> None:
        super().__init__(faces)
        self._cloth = cloth if cloth is not None and cloth.cut_scale != (1.0, 1.0) else None
        self._made: dict[tuple[object, ...], tuple[Face, Face]] = {}

    def of(self, placement: Placement) -> Face:
        """The face of a piece that lies so, shrinkage added along the cloth's axes."""
        face = self[placement.piece]
        if self._cloth is None:
            return face
        growth = self._cloth.growth(placement.turn_deg, placement.mirrored)
        key = (placement.piece, *np.round(growth, 9).ravel().tolist())
        known = self._made.get(key)
        if known is None or known[0] is not face:
            if len(self._made) >= self._KEPT:
                self._made.clear()
            known = self._made[key] = (face, face.made_larger(growth))
        return known[1]


def face_of(
    piece: Piece, allowances: dict[str, float] | None, cloth: Cloth | None, *, one_way: bool = False
) -> Face:
    """Work out a piece's face for this cloth, at the draft's size.

    ``allowances``: edge → mm. On single cloth a piece that is cut on the fold is laid opened out.

    Raises:
        InputError, DraftError: the allowances do not suit the piece.
    """
    from drafting.export.marks import told_once

    half = piece.fold is not None and cloth is not None and cloth.lays_on_fold(piece.name)
    shown = piece if half else piece.opened()
    cutting = piece.cutting_line(allowances) if half else piece.unfolded(allowances)
    sewing = shown.sewing_line
    fold = np.asarray(shown.fold, float) if half else None
    lines: dict[str, tuple[Array, ...]] = {}
    lines["cutting"], fold_lines = _split_fold(cutting, fold)
    differs = len(cutting) != len(sewing) or float(np.abs(cutting - sewing).max(initial=0.0)) > 0.05
    lines["sewing"] = _split_fold(sewing, fold)[0] if differs else ()
    if fold_lines:
        lines["fold"] = fold_lines
        lines["foldmark"] = tuple(_fold_ends(fold_lines, cutting))
    lines["dart"] = tuple(
        np.array([d.first, d.tip, d.second], dtype=np.float64) for d in shown.darts
    )
    lines["notch"] = shown.notch_lines(allowances)
    lines["mark"] = tuple(_cross(m.points[0]) for m in shown.drills)
    lines["inner"] = tuple(
        ring(m.points) if m.closed else m.points for m in shown.marks if len(m.points) > 1
    )
    lines["grain"] = _grain(shown, one_way)
    return Face(
        piece.name,
        cutting,
        simplify_ring(cutting, 0.25),
        lines,
        tuple(words_of(piece, half)),
        half,
        abs(signed_area(cutting)),
        # a mark that tells a size is a zip's or a slit's end: by its bar alone nobody knows it
        tuple(
            told_once(
                (m.name, np.asarray(m.points))
                for m in shown.marks
                if len(m.points) > 1 and any(c.isdigit() for c in m.name)
            )
        ),
    )


def words_of(piece: Piece, half: bool) -> list[str]:
    """Label lines of a piece: its name first, then how many to cut."""
    name = piece.name.replace("-", " ")
    beside = {m.name for m in piece.marks}  # said where they are
    given = [str(line).strip() for line in piece.label if str(line).strip() not in beside]
    more = [
        line for line in given if line and line.lower() not in (name.lower(), piece.name.lower())
    ]
    rows = [name, *(more[:2] or [piece.how_to_cut])]
    return rows if half else [r.removesuffix(" on the fold") for r in rows]


def _cross(at: Array, r: float = 3.5) -> Array:
    x, y = at
    return polyline((x - r, y), (x + r, y), (x, y), (x, y - r), (x, y + r))


def _split_fold(outline: Array, fold: Array | None) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """The ring's parts off the fold and on it, each (N, 2)."""
    if fold is None:
        return (ring(outline),), ()
    a, b = fold
    along = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
    away = np.abs((outline - a) @ np.array([-along[1], along[0]])) < 0.02
    on = away & np.roll(away, -1)  # the edge from each point to the next
    if not on.any():
        return (ring(outline),), ()
    if on.all():
        return (), (ring(outline),)
    start = int(np.flatnonzero(on & ~np.roll(on, -1))[0]) + 1
    points = np.roll(outline, -start, axis=0)
    flags = np.roll(on, -start)
    ends = [0, *(np.flatnonzero(np.diff(flags.astype(int))) + 1), len(points)]
    runs = [(flags[i], points[np.arange(i, j + 1) % len(points)]) for i, j in pairwise(ends)]
    off_lines, on_lines = ([r for folded, r in runs if folded == which] for which in (False, True))
    return tuple(off_lines), tuple(on_lines)


def _fold_ends(fold_lines: Sequence[Array], outline: Array) -> list[Array]:
    """The custom of patterns for 'cut on fold': a line along it with its ends bent to the fold."""
    out = []
    middle = outline.mean(axis=0)
    for line in fold_lines:
        a, b = line[0], line[-1]
        length = float(np.hypot(*(b - a)))
        if length < 60.0:
            continue
        along = (b - a) / length
        inward = np.array([-along[1], along[0]])
        if float((middle - a) @ inward) < 0:
            inward = -inward
        p, q = a + along * min(40.0, length * 0.2), b - along * min(40.0, length * 0.2)
        d = inward * 9.0
        out.append(np.array([p, p + d, q + d, q]))
        for tip, sign in ((p, 1.0), (q, -1.0)):
            wing = along * 2.5 * sign
            out.append(np.array([tip + d * 0.45 - wing, tip, tip + d * 0.45 + wing]))
    return out


def _grain(piece: Piece, one_way: bool) -> tuple[Array, ...]:
    """Grain arrow, parallel to the grain, well inside the sewing line, the fold mark and marks."""
    from drafting.export.marks import clear_grain

    ends = clear_grain(piece)
    span = float(np.hypot(*(ends[1] - ends[0])))
    if span < 1.0:
        return ()
    along = (ends[1] - ends[0]) / span
    across = np.array([along[1], -along[0]])
    # short, so that a label finds room beside it or past its ends
    keep = min(span, max(_GRAIN_LEAST_MM, 0.62 * span))
    foot, head = (ends.mean(axis=0) + along * keep * half for half in (-0.5, 0.5))
    arrow = min(_ARROW_MM, keep / 4)

    def tip(point: Array, sign: float) -> Array:
        back = point - along * arrow * sign
        return np.array([back - across * arrow * 0.42, point, back + across * arrow * 0.42])

    parts = [np.array([foot, head]), tip(head, 1.0)]
    if not one_way:
        parts.append(tip(foot, -1.0))
    return tuple(parts)


def simplify_ring(points: Array, tolerance: float) -> Array:
    """Fewer points within ``tolerance`` mm of the ring (Douglas and Peucker)."""
    import cv2

    if len(points) < 8:
        return points
    small = np.asarray(points, np.float32).reshape(-1, 1, 2)
    kept = cv2.approxPolyDP(small, tolerance, True).reshape(-1, 2)
    # it answers some of the points, in float32: give back the true ones
    place = {p.tobytes(): i for i, p in enumerate(small.reshape(-1, 2))}
    return np.asarray(points[sorted(place[p.tobytes()] for p in kept)], dtype=np.float64)


# -- labels --------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Label:
    """Text that found its place: strokes in the piece frame mm, and the capital height used."""

    strokes: tuple[Array, ...]
    height_mm: float
    words: tuple[str, ...]


class LabelRoom:
    """Where in a piece there is room for words: upright to her, clear of every line drawn.

    Args:
        face: the piece.
        table_from_piece: (3, 3) rigid; its turn and mirror decide what upright is.
        up_deg: her reading direction in the table frame.
        kinds: the kinds of lines that are drawn and must not be crossed.
        larger: how many times the usual size letters get where there is room.
    """

    def __init__(
        self,
        face: Face,
        table_from_piece: Array,
        up_deg: float,
        kinds: Iterable[str],
        larger: float = 1.0,
    ) -> None:
        import cv2

        usual = _TEXT_SIZES_MM
        self._sizes = usual if larger <= 1.0 else (larger * usual[0], *usual)

        # reading frame: x along her reading direction, y away from her, still in mm
        read = rigid(up_deg, (0.0, 0.0))[:2, :2]
        self._read_from_piece = read.T @ table_from_piece[:2, :2]
        outline = face.outline @ self._read_from_piece.T
        self._low = outline.min(axis=0) - _GRID_MM
        size = np.ceil((outline.max(axis=0) - self._low) / _GRID_MM).astype(int) + 2
        self._free = np.zeros((int(size[1]), int(size[0])), np.uint8)

        def grid(points: Array) -> NDArray[np.int32]:
            return np.asarray(np.round((points - self._low) / _GRID_MM * 16.0), np.int32)

        cv2.fillPoly(self._free, [grid(outline)], 1, shift=4)
        cv2.polylines(self._free, [grid(outline)], True, 0, 1, cv2.LINE_8, 4)
        for kind in kinds:
            for line in face.lines.get(kind, ()):
                cv2.polylines(
                    self._free, [grid(line @ self._read_from_piece.T)], False, 0, 1, cv2.LINE_8, 4
                )
        self.beside: tuple[Array, ...] = tuple(self._put_beside(face))
        self._total = cv2.integral(1 - self._free)
        framed = cv2.copyMakeBorder(self._free, 1, 1, 1, 1, cv2.BORDER_CONSTANT)
        self._deep = cv2.distanceTransform(framed, cv2.DIST_L2, 3)[1:-1, 1:-1]

    def _put_beside(self, face: Face) -> list[Array]:
        """Strokes of the words beside marks, as near as there is room; labels then keep off them."""
        import cv2

        out: list[Array] = []
        for words, line in face.beside:
            self._total = cv2.integral(1 - self._free)
            there = (line.mean(axis=0) @ self._read_from_piece.T - self._low) / _GRID_MM
            for turned in (False, True):
                rows, cols = self._size((words,), BESIDE_MM, turned)
                spots = self._spots(rows, cols)
                if not len(spots):
                    continue
                # how far the words' box, not its middle, lies from the mark
                low, high = spots[:, ::-1], spots[:, ::-1] + np.array([cols, rows])
                gap = np.hypot(*np.maximum(np.maximum(low - there, there - high), 0.0).T)
                best = int(np.argmin(gap))
                if gap[best] * _GRID_MM > _BESIDE_REACH_MM:
                    continue
                r, c = (int(v) for v in spots[best])
                at = self._low + np.array([c + cols / 2.0, r + rows / 2.0]) * _GRID_MM
                out += self._strokes((words,), BESIDE_MM, turned, at)
                self._free[r : r + rows, c : c + cols] = 0
                break
        return out

    def place(self, words: Sequence[str]) -> Label | None:
        """The words, large if they fit, else smaller, else along the piece, else fewer.

        Never below `LEAST_TEXT_MM`; None when nothing fits.
        """
        for chosen, rows, turned in _ways(words):
            for height in self._sizes:
                at = self._spot(rows, height, turned)
                if at is not None:
                    return Label(tuple(self._strokes(rows, height, turned, at)), height, chosen)
        return None

    def _strokes(self, rows: Sequence[str], height: float, turned: bool, at: Array) -> list[Array]:
        """Rows of text about a place in the reading frame, as strokes in the piece frame."""
        block = text_block(rows, height)
        flat = np.concatenate(block)
        if turned:  # a quarter turn: it reads away from her
            flat = np.column_stack([-flat[:, 1], flat[:, 0]])
        # rigid: the way back is the transpose, applied to rows from the right
        there = (flat + at) @ self._read_from_piece
        return list(np.split(there, np.cumsum([len(stroke) for stroke in block])[:-1]))

    def _size(self, words: Sequence[str], height: float, turned: bool) -> tuple[int, int]:
        """Rows and columns of the raster that the words take."""
        width = max(text_width(w, height) for w in words)
        # accents above and tails below reach past the capitals
        tall = height * (1.0 + LINE_PITCH * (len(words) - 1)) + 0.6 * height
        cols = math.ceil((width + 2 * _CLEAR_MM) / _GRID_MM) + 1
        rows = math.ceil((tall + 2 * _CLEAR_MM) / _GRID_MM) + 1
        return (cols, rows) if turned else (rows, cols)

    def _spots(self, rows: int, cols: int) -> NDArray[np.int64]:
        """(N, 2) row and column of every free box of that size."""
        free, total = self._free, self._total
        if cols >= free.shape[1] or rows >= free.shape[0]:
            return np.zeros((0, 2), np.int64)
        blocked = (
            total[rows:, cols:]
            - total[:-rows, cols:]
            - total[rows:, :-cols]
            + total[:-rows, :-cols]
        )
        return np.argwhere(blocked == 0)

    def _spot(self, words: Sequence[str], height: float, turned: bool) -> Array | None:
        rows, cols = self._size(words, height, turned)
        spots = self._spots(rows, cols)
        if not len(spots):
            return None
        free = self._free
        middle = spots + np.array([rows / 2.0, cols / 2.0])
        # deep inside, and near the middle of the piece
        m = np.minimum(middle.astype(int), np.array(free.shape) - 1)
        worth = self._deep[m[:, 0], m[:, 1]]
        centre = np.array(free.shape) / 2.0
        worth = worth - 0.12 * np.hypot(*(middle - centre).T)
        return np.asarray(self._low + middle[int(np.argmax(worth))][::-1] * _GRID_MM)


def text_block(
    words: Sequence[str], height_mm: float, about: Sequence[float] | Array = (0.0, 0.0)
) -> list[Array]:
    """Centred lines of text about a place (2,), mm."""
    pitch = height_mm * LINE_PITCH
    top = 0.5 * (pitch * (len(words) - 1) + height_mm) - height_mm
    strokes: list[Array] = []
    for i, text in enumerate(words):
        offset = np.array([-0.5 * text_width(text, height_mm), top - i * pitch]) + about
        strokes.extend(stroke + offset for stroke in text_strokes(text, height_mm))
    return strokes


def _ways(words: Sequence[str]) -> Iterator[tuple[tuple[str, ...], Sequence[str], bool]]:
    """(words, their rows, turned) in the order to try: nothing is left out before it must be.

    Upright first, then with the name in two rows, along the piece, and all in one row; only then
    with fewer words, and cut short at the very last.
    """
    name = words[0] if words else ""
    parts = name.split()
    for k in range(len(words), 0, -1):
        some = tuple(words[:k])
        yield some, some, False
        if len(parts) > 1:
            yield some, (*parts, *some[1:]), False
        yield some, some, True
        if k > 1:
            yield some, (", ".join(some),), False
            yield some, (", ".join(some),), True
    if len(name) > 4:
        short = (name[:3].rstrip() + ".",)
        yield short, short, False
        yield short, short, True
