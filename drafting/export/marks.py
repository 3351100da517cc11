"""A piece as strokes by kind: what is drawn of it, wherever it is drawn.

First station of every export. Kinds follow the trade's line habits: the cutting line, the sewing
line edge by edge, the fold, the grain, notches, darts, drill holes and marks inside. Symbols are
read from the right side and the grain line is kept short of the cutting line (JIS L 0110:2001);
the fold's sign, a line with both ends bent towards the fold, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from configs.errors import InputError
from configs.units import format_length, length_text
from drafting.allowance import ALL, FOLD, RAW, allowance_of
from drafting.export.cut_size import size_words
from drafting.figures.drawing import svg_width
from drafting.outline import Points
from drafting.piece import AS_DRAWN, Piece

CUTTING, SEWING, GRAIN, NOTCH = "cutting", "sewing", "grain", "notch"
DART, DRILL, MARK, SIGN = "dart", "drill", "mark", "sign"
KINDS = (CUTTING, SEWING, FOLD, GRAIN, NOTCH, DART, DRILL, MARK, SIGN)

ARROW_MM = 7.0
DRILL_MM = 3.0  # half length of a drill cross's arms
FOLD_SIGN_MM = 12.0  # how far the fold's sign stands inside


@dataclass(frozen=True, eq=False)
class Stroke:
    """One line to draw: ``points`` (N, 2) mm, piece frame (y up), not repeated when ``closed``.

    ``name``: the edge of a sewing or fold line, else what it marks; ``on_fold``: the side that
    closes it lies on the cloth's fold, belongs to the outline and is not to be drawn or cut;
    ``note``: what a file says of the line so that it can be read back, key → value.
    """

    kind: str
    name: str
    points: Points
    closed: bool = False
    on_fold: bool = False
    note: Mapping[str, str] = field(default_factory=dict)

    @property
    def inked(self) -> Points:
        """The line as it is drawn: a closed one returns to its first point, but for the fold."""
        if not self.closed or self.on_fold:
            return self.points
        return np.vstack([self.points, self.points[:1]])


def strokes(
    piece: Piece, allowances: Mapping[str, float] | None, ring: Points | None = None
) -> tuple[Stroke, ...]:
    """All that is drawn of a piece, the cutting line first, its edges in ring order.

    ``ring``: the cutting line (N, 2) mm to draw, where it is worked out already.

    Raises:
        DraftError: an allowance that the piece has no room for.
    """
    if ring is None:
        ring = piece.cutting_line(allowances)
    if piece.fold is None:
        drawn = [Stroke(CUTTING, piece.name, ring, True)]
    else:
        ring = _from_fold(ring)
        drawn = [Stroke(CUTTING, piece.name, ring, True, on_fold=True)]
        low, high = sorted(piece.edges[FOLD].points[:, 1])[:: len(piece.edges[FOLD].points) - 1]
        for a, b in ((ring[0, 1], low), (high, ring[-1, 1])):
            if b - a > 1e-6:  # the fold runs on through the allowances at its ends
                drawn.append(Stroke(FOLD, "fold end", np.array([[0.0, a], [0.0, b]])))
    for name, edge in piece.edges.items():
        drawn.append(Stroke(FOLD if name == FOLD else SEWING, name, edge.points))
    grain = clear_grain(piece)
    drawn.append(Stroke(GRAIN, "grain", grain))
    drawn += [Stroke(SIGN, "grain arrow", a) for a in _arrows(piece, grain)]
    if piece.fold is not None:
        drawn.append(Stroke(SIGN, "fold sign", _fold_sign(piece)))
    snips = [n for n in piece.notches for _ in range(n.count)]
    for notch, line in zip(snips, piece.notch_lines(allowances), strict=True):
        note = {"on": notch.edge, "at": f"{notch.at_mm:.4f}", "count": str(notch.count)}
        note |= {"match": notch.match} if notch.match else {}
        drawn.append(Stroke(NOTCH, "notch", line, note=note))
    for dart in piece.darts:
        legs = np.array([dart.first, dart.tip, dart.second], dtype=np.float64)
        drawn.append(Stroke(DART, f"dart at {dart.edge}", legs, note={"on": dart.edge}))
    for mark in piece.marks:
        said = {"name": mark.name}
        if len(mark.points) == 1:
            arms = _cross(mark.points[0], DRILL_MM)
            drawn += [Stroke(DRILL, mark.name, arm, note=said) for arm in arms]
        else:
            drawn.append(Stroke(MARK, mark.name, mark.points, mark.closed, note=said))
    return tuple(drawn)


Allowances = Mapping[str, float] | Mapping[str, Mapping[str, float]] | None
Box = tuple[float, float, float, float]  # left, bottom, right, top, mm


@dataclass(frozen=True)
class Shown:
    """A piece as a file shows it: its own ``allowances`` (edge → mm), and all that is ``drawn``."""

    piece: Piece
    allowances: Mapping[str, float] | None
    drawn: tuple[Stroke, ...]

    @property
    def box(self) -> Box:
        """Round all of its strokes."""
        points = np.vstack([s.points for s in self.drawn])
        (left, low), (right, high) = points.min(axis=0), points.max(axis=0)
        return float(left), float(low), float(right), float(high)


def shown(
    pieces: Mapping[str, Piece], allowances: Allowances, *, unfolded: bool = False
) -> dict[str, Shown]:
    """Pieces by name as a file shows them; ``unfolded``: those on the fold whole.

    ``allowances``: edge → mm for every piece, or piece → (edge → mm).

    Raises:
        InputError: there are no pieces.
        DraftError: an allowance that a piece has no room for.
    """
    if not pieces:
        raise InputError.of("", "there are no pieces to write.")
    each = allowances and all(isinstance(v, Mapping) for v in allowances.values())
    made = {}
    for name, piece in pieces.items():
        own: Any = (allowances or {}).get(name) if each else allowances
        ring = piece.unfolded(own) if unfolded else None
        one = piece.opened() if unfolded else piece
        made[name] = Shown(one, own, strokes(one, own, ring))
    return made


def _from_fold(ring: Points) -> Points:
    """A closed ring from the fold's lower end round to its upper end, x = 0 only at those two."""
    on = np.abs(ring[:, 0]) < 1e-7
    lowest = int(np.flatnonzero(on)[np.argmin(ring[on, 1])])
    turned = np.roll(ring, -lowest, axis=0)
    upper = int(np.argmax(np.where(np.abs(turned[:, 0]) < 1e-7, turned[:, 1], -np.inf)))
    return np.array(turned[: upper + 1])


GRAIN_CLEAR_MM = 10.0
_LEAST_GRAIN_MM = 30.0


def clear_grain(piece: Piece, clear_mm: float = GRAIN_CLEAR_MM) -> Points:
    """The grain line (2, 2) mm as it is drawn: parallel to the piece's own, clear of every line.

    Kept ``clear_mm`` from the sewing line, the fold's sign, darts and marks. It stays where the
    piece has it when most of it is clear there, else it is moved to where it can be longest;
    pieces too narrow for the margin take a smaller one.
    """
    import shapely

    own = np.array(piece.grain, dtype=np.float64)
    length = float(np.hypot(*(own[1] - own[0])))
    along = (own[1] - own[0]) / length
    across = np.array([along[1], -along[0]])
    inside = shapely.Polygon(piece.sewing_line)
    drawn = shapely.union_all(np.array([line for line, _ in _inside(piece)], dtype=object))
    reach = np.array(piece.sewing_line) @ np.column_stack([across, along])
    low, high = reach.min(axis=0), reach.max(axis=0)
    for margin in (clear_mm, 0.6 * clear_mm, 0.3 * clear_mm):
        free = inside.buffer(-margin).difference(drawn.buffer(margin))
        kept = _longest(free, own)
        if kept is not None and _span(kept) >= min(length, max(_LEAST_GRAIN_MM, 0.6 * length)):
            return kept
        best = kept
        for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8):
            x = low[0] + share * (high[0] - low[0])
            chord = np.array([across * x + along * low[1], across * x + along * high[1]])
            found = _longest(free, chord)
            if found is not None and (best is None or _span(found) > 1.1 * _span(best)):
                best = found
        if best is not None and _span(best) >= min(length, _LEAST_GRAIN_MM):
            short = max(0.0, _span(best) - length) / 2.0  # no longer than it was meant to be
            return np.array([best[0] + along * short, best[1] - along * short])
    return own


def _inside(piece: Piece) -> list[tuple[Any, float]]:
    """Lines inside a piece, and how far a label keeps off each, mm."""
    import shapely

    marks = [
        (m.points if len(m.points) > 1 else np.repeat(m.points, 2, 0), 4.0) for m in piece.marks
    ]
    darts = [(np.array([d.first, d.tip, d.second]), 3.0) for d in piece.darts]
    sign = [] if piece.fold is None else [(_fold_sign(piece), 3.0)]
    return [(shapely.LineString(line), away) for line, away in (*sign, *marks, *darts)]


def _span(line: Points) -> float:
    return float(np.hypot(*(line[1] - line[0])))


def _longest(free: Any, line: Points) -> Points | None:
    """The longest stretch of a straight line (2, 2) that lies in an area, kept in its direction."""
    import shapely

    part = shapely.intersection(free, shapely.LineString(line))
    runs = [np.array(g.coords) for g in getattr(part, "geoms", [part]) if g.length > 0]
    if not runs:
        return None
    best = max(runs, key=lambda r: float(np.hypot(*(r[-1] - r[0]))))[[0, -1]]
    same = float((best[1] - best[0]) @ (line[1] - line[0])) > 0
    return np.asarray(best if same else best[::-1])


def _arrows(piece: Piece, ends: Points) -> list[Points]:
    """Arrow heads of the grain line: two, or only the upper one when nap allows one turn."""
    along = ends[1] - ends[0]
    length = float(np.hypot(*along))
    if length < 1e-9:
        return []
    t = along / length
    side = np.array([-t[1], t[0]])
    size = min(ARROW_MM, length / 4.0)

    def head(tip: Points, back: Points) -> Points:
        return np.array([tip + size * (back + 0.4 * side), tip, tip + size * (back - 0.4 * side)])

    heads = [head(ends[1], -t)]
    if len(piece.turns) > 1:
        heads.append(head(ends[0], t))
    return heads


def _fold_sign(piece: Piece) -> Points:
    """A line beside the fold with both ends bent to it, (4, 2) mm."""
    low, high = sorted(p[1] for p in piece.fold or ())
    third = (high - low) / 5.0
    low, high = low + third, high - third
    bend = min(FOLD_SIGN_MM, (high - low) / 3.0, float(np.ptp(piece.sewing_line[:, 0])) / 4.0)
    return np.array([[0.0, low], [bend, low + bend / 2], [bend, high - bend / 2], [0.0, high]])


@dataclass(frozen=True)
class MarkWords:
    """The size that a mark says, as 'slit 6.5 cm': ``at`` the start of its base line, (x, y) mm."""

    text: str
    at: tuple[float, float]
    em_mm: float


LABEL_MM = 6.0
_DOT = " · "
READ_MM = 4.0  # smaller letters are hard to read on a piece that lies on the table
MARK_TEXT_MM = 5.0
_CLEAR_OF_WORDS_MM = 1.2


def says_size(stroke: Stroke) -> bool:
    """Whether a mark's name holds a size that is written beside it."""
    return stroke.kind == MARK and any(c.isdigit() for c in stroke.name)


_ONE_SIZE_MM = 30.0


def told_once(named: Iterable[tuple[str, Points]]) -> list[tuple[str, Points]]:
    """Marks by (name, line) without those that lie beside one of the same name, as the two halves of a
    slit on a piece that is opened out: its size is written once."""
    kept: list[tuple[str, Points]] = []
    for name, line in named:
        ends = [other for n, other in kept if n == name]
        near = (
            float(np.hypot(*(line[:, None] - o[None]).transpose(2, 0, 1)).min()) < _ONE_SIZE_MM
            for o in ends
        )
        if not any(near):
            kept.append((name, line))
    return kept


def mark_words(piece: Piece, every: bool = False) -> tuple[MarkWords, ...]:
    """The words beside marks that say a size, where no line of the piece crosses them.

    As near to the mark as there is room inside the sewing line, smaller where there is little.
    ``every``: the names of all marks and drill holes, not only of those that say a size.
    """
    import shapely

    wanted = [s for s in strokes(piece, None) if says_size(s) or (every and s.kind == MARK)]
    if every:  # a drill hole is a cross of two strokes
        wanted += [s for s in strokes(piece, None) if s.kind == DRILL][::2]
    if not wanted:
        return ()
    once = {id(line) for _, line in told_once((s.name, s.points) for s in wanted)}
    wanted = [s for s in wanted if id(s.points) in once]
    inside = shapely.Polygon(piece.sewing_line)
    lines = shapely.union_all(
        [shapely.LineString(s.inked) for s in strokes(piece, None) if len(s.points) > 1]
    )
    out: list[MarkWords] = []
    for stroke in wanted:
        end = stroke.points[int(np.argmax(stroke.points[:, 0]))]
        best: tuple[float, MarkWords] | None = None
        for em in (MARK_TEXT_MM, 0.8 * MARK_TEXT_MM, 0.6 * MARK_TEXT_MM):
            wide = svg_width(stroke.name, em)
            for dx, dy in _round_about(wide, em):
                at = float(end[0]) + dx, float(end[1]) + dy - em / 3.0
                words = MarkWords(stroke.name, at, em)
                box = _words_box(words)
                room = box.buffer(_CLEAR_OF_WORDS_MM, join_style="mitre")
                crossed = float(lines.intersection(room).length)
                if not inside.covers(box):
                    crossed += 1000.0 + float(box.difference(inside).area)
                if best is None or crossed < best[0]:
                    best = (crossed, words)
                if crossed == 0.0:
                    break
            if best is not None and best[0] == 0.0:
                break
        if best is not None:
            out.append(best[1])
            lines = lines.union(_words_box(best[1]).exterior)
    return tuple(out)


def _round_about(wide: float, em: float) -> list[tuple[float, float]]:
    """Offsets from a mark's end to the start of its words, the nearest first."""
    right = [3.0 + i * em for i in range(12)]
    left = [-3.0 - wide - i * em for i in range(12)]
    places = [
        (dx, sign * j * 0.6 * em) for dx in (*right, *left) for j in range(20) for sign in (1, -1)
    ]

    def reach(place: tuple[float, float]) -> float:
        dx, dy = place
        aside = dx - 3.0 if dx > 0 else -dx - wide - 3.0 + 2.0 * em  # to the right when alike
        return float(np.hypot(aside, 1.5 * dy))

    return sorted(places, key=reach)


def _words_box(words: MarkWords) -> Any:
    import shapely

    x, y = words.at
    wide = svg_width(words.text, words.em_mm)
    return shapely.box(x, y - 0.25 * words.em_mm, x + wide, y + 0.8 * words.em_mm)


@dataclass(frozen=True)
class Label:
    """Where a piece's label goes: ``rows``, the centre of their box (x, y) mm, the box's room
    ``across`` and ``up`` mm along the text's own directions, ``turn_deg`` counter-clockwise."""

    rows: tuple[str, ...]
    centre: tuple[float, float]
    across: float
    up: float
    turn_deg: float

    def set_in(
        self, width: Callable[[str, float], float], least: float
    ) -> list[tuple[str, float, float]]:
        """Each row with the size of its letters and how far below the centre its base line is, mm.

        The first row is half as large again. ``width``: of a text in letters of a size, mm;
        ``least``: smaller letters than that are not read.
        """
        # a facing keeps what it is and how often it is cut; whose it is stands on the large pieces
        em, rows, head = 0.0, self.rows, 1.5
        for tried, first_row in ((self.rows, 1.5), *((r, 1.15) for r in self._fewer())):
            size = self._letters(tried, first_row, width)
            if size > em:
                em, rows, head = size, tried, first_row
            if size >= READ_MM:
                break
        em = max(least, em)
        first = -(len(rows) - 1) * 0.65
        return [
            (row, em * (head if i == 0 else 1.0), em * (first + 1.3 * i))
            for i, row in enumerate(rows)
        ]

    def _fewer(self) -> Iterator[tuple[str, ...]]:
        """Ever less to write, the name and how often it is cut to the last."""
        for n in range(len(self.rows), 1, -1):
            yield self.rows[:n]
        cut = self.rows[1] if len(self.rows) > 1 else ""
        for n in range(cut.count(_DOT), -1, -1):
            yield self.rows[0], _DOT.join(cut.split(_DOT)[: n + 1])
        how = cut.split(_DOT)[0].split(",")[0]
        yield self.rows[0], how
        yield (_DOT.join((self.rows[0], how)),)

    def _letters(
        self, rows: tuple[str, ...], head: float, width: Callable[[str, float], float]
    ) -> float:
        """The size of letters, mm, at which the rows fill their room."""
        widest = max(width(r, head if i == 0 else 1.0) for i, r in enumerate(rows))
        room = self.up / (1.3 * len(rows) + 0.7)
        return float(min(LABEL_MM, self.across / widest, room))


def label_of(
    piece: Piece, allowances: Mapping[str, float] | None, title: str = "", unit: str = "mm"
) -> Label:
    """The label as every output sets it: along a long narrow piece, else upright where it is free."""
    rows = label_lines(piece, allowances, title, unit)
    narrow = label_along(piece)
    if narrow is None:
        return Label(rows, *label_spot(piece), 0.0)
    if len(rows) > 2:  # one row for the name, one for the rest
        rows = (rows[0], _DOT.join(rows[1:]))
    return Label(rows, *narrow)


def label_along(piece: Piece) -> tuple[tuple[float, float], float, float, float] | None:
    """Where a long narrow piece takes its label, written along it; None for other pieces and where
    no line of the piece leaves room for it.

    ((x, y) of the centre, room along, room across, mm; degrees turned, counter-clockwise).
    """
    import shapely

    box = np.array(shapely.Polygon(piece.sewing_line).minimum_rotated_rectangle.exterior.coords)
    sides = np.diff(box[:3], axis=0)
    lengths = np.hypot(*sides.T)
    long_ = int(np.argmax(lengths))
    if lengths[long_] < 5.0 * lengths[1 - long_]:
        return None
    d = sides[long_] / lengths[long_] * (1.0 if sides[long_][0] >= 0 else -1.0)
    turn = float(np.degrees(np.arctan2(d[1], d[0])))
    inside = shapely.Polygon(piece.sewing_line).buffer(-1.0)
    lines = [
        shapely.LineString(s.inked) for s in strokes(piece, None) if s.kind not in (CUTTING, SEWING)
    ]
    free = inside.difference(shapely.union_all(lines).buffer(2.0)) if lines else inside
    shapely.prepare(free)
    middle, wide = box[:4].mean(axis=0), lengths[1 - long_]
    across = np.array([-d[1], d[0]])
    # A quarter of the way along first: the grain arrow has the middle. Beside a line along the
    # piece, as the fold of a band, there is room for less.
    for up, aside in ((0.75 * wide, 0.0), (0.36 * wide, 0.25 * wide), (0.36 * wide, -0.25 * wide)):
        for along in (0.35 * lengths[long_], 0.25 * lengths[long_]):
            for share in (-0.22, 0.22, -0.28, 0.28, -0.16, 0.16, 0.0):
                x, y = middle + share * lengths[long_] * d + aside * across
                room = shapely.box(x - along / 2, y - up / 2, x + along / 2, y + up / 2)
                if free.contains(shapely.affinity.rotate(room, turn, origin=(x, y))):
                    return (float(x), float(y)), along, up, turn
    return None


def _cross(at: Points, arm: float) -> list[Points]:
    return [
        at + np.array([[-arm, 0.0], [arm, 0.0]]),
        at + np.array([[0.0, -arm], [0.0, arm]]),
    ]


def label_lines(
    piece: Piece, allowances: Mapping[str, float] | None, title: str = "", unit: str = "mm"
) -> tuple[str, ...]:
    """What is written on a piece: its name, how to cut it, the allowances drawn, the garment."""
    lines = [piece.name, piece.how_to_cut, allowance_text(piece, allowances, unit)]
    if piece.larger is not None:
        lines.append(size_words(piece))
    # The block's own words on the cutting are said above already.
    said, cut = (*lines, title), f"cut {piece.cut}"
    lines += [t for t in piece.label if t not in said and not t.startswith(cut)]
    return (*lines, title) if title else tuple(lines)


def allowance_text(piece: Piece, allowances: Mapping[str, float] | None, unit: str = "mm") -> str:
    """The allowances as drawn on this piece: 'allowance 10 mm; hem 25, neckline 6'; in inches for
    ``unit`` in, else in mm."""
    unit = "in" if unit == "in" else "mm"
    allowances = piece.widths(allowances)
    widths = {n: allowance_of(n, allowances) for n in piece.edges if n != FOLD}
    if piece.own_cutting_line is not None and (piece.larger is None or AS_DRAWN in piece.label):
        return AS_DRAWN
    if not any(widths.values()):
        if all(n.endswith(RAW) for n in widths):
            return "cut as drawn"
        return "no allowance: cut on the sewing line or add it"
    if len(set(widths.values())) == 1:
        (width,) = set(widths.values())
        return f"allowance {length_text(width, unit if unit == 'in' else None)}"
    common = float((allowances or {}).get(ALL, 0.0))
    if common not in widths.values():
        common = max(set(widths.values()), key=list(widths.values()).count)
    other = ", ".join(
        f"{n} bound" if n in piece.bound and not w else f"{n} {_bare(w, unit)}"
        for n, w in widths.items()
        if w != common
    )
    return f"allowance {_bare(common, unit)} {unit}; {other}"


def _bare(mm: float, unit: str) -> str:
    """A number without its unit, for a row of them."""
    return format_length(mm, unit).removesuffix(f" {unit}")


def label_spot(piece: Piece) -> tuple[tuple[float, float], float, float]:
    """((x, y) of a label's centre, its room across, its room up), mm, inside the sewing line.

    The widest free place beside the grain line; the room is that of a box 3 wide to 1 high.
    """
    import shapely

    shape = shapely.Polygon(piece.sewing_line)
    keep = shape.difference(shapely.LineString(clear_grain(piece)).buffer(6.0))
    for line, away in _inside(piece):
        keep = keep.difference(line.buffer(away))
    for words in mark_words(piece):
        keep = keep.difference(_words_box(words).buffer(3.0))
    # Squeezed to a third across, the largest circle becomes an ellipse three wide to one high.
    flat = shapely.affinity.scale(keep, 1.0 / 3.0, 1.0, origin=(0, 0))
    circle = shapely.maximum_inscribed_circle(flat, tolerance=1.0)
    (x, y), _ = circle.coords[0], circle.coords[-1]
    reach = float(circle.length)
    half = reach / float(np.sqrt(2.0))
    return (float(x) * 3.0, float(y)), 6.0 * half, 2.0 * half
