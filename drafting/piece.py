"""A pattern piece: outline by named edges, grain, fold, notches, darts, marks, label.

What a block hands over and what every later part reads: the lay, the table, the exports. On a
piece cut on the fold the outline is the half, with its fold on x = 0 and the piece in x ≥ 0.
All coordinates mm in the piece frame (x away from the centre line, y up along the grain).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from configs.errors import Fault, InputError
from drafting.allowance import FOLD, KINDS, MOST_MM, allowance_of, cutting_ring, in_mm, with_bound
from drafting.outline import (
    JOIN_MM,
    Edge,
    Points,
    as_points,
    is_simple,
    mirrored_ring,
    ring_of,
    ring_points,
    signed_area,
    without_repeats,
)

Line = tuple[tuple[float, float], tuple[float, float]]

NOTCH_MM = 4.0  # a snip of 3–4 mm, never past half the allowance [common practice, no source]
DOUBLE_NOTCH_GAP_MM = 6.0
ON_FOLD_MM = 0.5  # a notch nearer to the fold than this stands on it, and is no pair opened out
LEAST_AREA_MM2 = 1.0  # smaller is a slip of the unit, not a piece of a garment
LARGEST_MM = 20_000.0
AS_DRAWN = "cutting line as in the file that it came from"  # on the label of such a piece
FOLD_NEAR_MM = 0.1  # a cutting line drawn elsewhere that comes nearer to the fold lies on it


@dataclass(frozen=True)
class Notch:
    """A notch on an edge: ``at_mm`` along it from its start; ``count`` 1 (front) or 2 (back).

    ``match``: a name shared by the notches that are laid on one another when sewing.
    """

    edge: str
    at_mm: float
    count: int = 1
    match: str = ""


@dataclass(frozen=True)
class Dart:
    """A dart on an edge: both leg ends on the edge and the tip, (x, y) mm."""

    edge: str
    first: tuple[float, float]
    second: tuple[float, float]
    tip: tuple[float, float]

    @property
    def legs_mm(self) -> tuple[float, float]:
        """Length of each leg, mm; they are sewn together."""
        tip = np.array(self.tip)
        a, b = (float(np.hypot(*(tip - np.array(p)))) for p in (self.first, self.second))
        return a, b


@dataclass(frozen=True, eq=False)
class Mark:
    """A line, or a single point to drill, inside a piece: ``points`` (N, 2) mm."""

    name: str
    points: Points
    closed: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", as_points(self.points, f"mark '{self.name}'", 1))


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of a garment.

    ``edges``: name → `Edge`, an ordered counter-clockwise ring of the sewing line; ``cut``: how
    many are cut; ``pair``: they are cut as left and right; ``fold``: the line that lies on the
    cloth's fold, or None; ``grain``: the grainline; ``turns``: degrees the piece may be turned
    on the cloth; ``label``: lines of text; ``corners``: (edge, next edge) → (kind, the edge
    whose allowance it shapes) where the default does not fit (see `drafting.allowance`);
    ``bound``: edges that a binding encloses: they get an allowance only where it is named;
    ``own_cutting_line``: (N, 2) mm ring to cut along whatever the allowances say, of a piece that
    was drawn elsewhere with a cutting line that no allowances tell; None for all others;
    ``landmarks``: name → (x, y) mm, places that mean something (bust point) and are not drawn;
    ``larger``: the four numbers, row by row, of the matrix that made it larger for cloth that
    shrinks (`drafting.export.cut_size`), None at the draft's size.

    Raises:
        InputError: edges that do not join, an outline that crosses itself, a notch off its edge.
    """

    name: str
    edges: Mapping[str, Edge]
    cut: int = 1
    pair: bool = False
    fold: Line | None = None
    grain: Line = ((0.0, 0.0), (0.0, 0.0))
    turns: tuple[float, ...] = (0.0, 180.0)
    notches: tuple[Notch, ...] = ()
    darts: tuple[Dart, ...] = ()
    marks: tuple[Mark, ...] = ()
    label: tuple[str, ...] = ()
    corners: Mapping[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    bound: tuple[str, ...] = ()
    own_cutting_line: Points | None = None
    larger: tuple[float, float, float, float] | None = None
    landmarks: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    _cache: dict[Any, Points] = field(default_factory=dict, init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        where = f"piece '{self.name}'"
        edges = ring_of(self.edges.values(), where)
        object.__setattr__(self, "edges", edges)
        object.__setattr__(self, "corners", MappingProxyType(dict(self.corners)))
        object.__setattr__(self, "landmarks", MappingProxyType(dict(self.landmarks)))
        ring = ring_points(edges)
        ring.setflags(write=False)
        self._cache["sew"] = ring
        faults = list(_ring_faults(ring, where))
        if not isinstance(self.cut, int) or isinstance(self.cut, bool) or not 1 <= self.cut <= 50:
            faults.append(Fault(where, f"cut is {self.cut!r}; it must be a whole number, 1 to 50."))
        for notch in self.notches:
            edge = edges.get(notch.edge)
            if edge is None or not -JOIN_MM <= notch.at_mm <= edge.length_mm + JOIN_MM:
                faults.append(Fault(where, f"a notch lies off its edge '{notch.edge}'."))
        for kind, _ in self.corners.values():
            if kind not in KINDS:
                faults.append(Fault(where, f"unknown corner kind '{kind}'."))
        if self.own_cutting_line is not None:
            cut = _cutting_ring_of(self.own_cutting_line, self.fold, f"{where}: its cutting line")
            faults += _ring_faults(cut, f"{where}: its cutting line")
            if self.fold is not None and np.count_nonzero(cut[:, 0] == 0.0) != 2:
                what = "its cutting line does not lie along the fold in one stretch."
                faults.append(Fault(where, what, "Draw it from one end of the fold to the other."))
            object.__setattr__(self, "own_cutting_line", cut)
        if faults:
            raise InputError(faults)
        if self.grain[0] == self.grain[1]:
            object.__setattr__(self, "grain", _default_grain(ring))

    @classmethod
    def from_outline(
        cls,
        name: str,
        points_mm: ArrayLike,
        cut: int = 1,
        pair: bool = False,
        fold: Line | None = None,
        turns: Sequence[float] = (0, 180),
        *,
        grain: Line | None = None,
        edges: Mapping[str, ArrayLike] | None = None,
    ) -> Piece:
        """A piece from a closed outline (N, 2) mm in either direction, grain along its y.

        ``fold``: the straight side that lies on the fold; the piece is moved so that this side
        lies on x = 0 with the piece in x ≥ 0, its grain along the fold. Edges are named
        ``edge``, and ``fold`` where there is one. ``grain``: the grainline's ends, of a piece
        without a fold. ``edges``: name → (M, 2) mm, in ring order and in the piece frame
        already; they stand for the outline, and the one named ``fold`` lies on x = 0.

        Raises:
            InputError: fewer than three points, not finite, no area, an outline that crosses or
                touches itself, or a fold that is not one straight side of the outline.
        """
        where = f"piece '{name}'"
        if not isinstance(name, str) or not name.strip():
            raise InputError.of("piece", "has no name.")
        if edges:
            sides = [Edge(n, as_points(p, f"{where} {n}")) for n, p in edges.items()]
            fold = _fold_of(edges, fold, where)
        else:
            ring = without_repeats(as_points(points_mm, where, 3), closed=True)
            faults = list(_ring_faults(ring, where))
            if faults:
                raise InputError(faults)
            if signed_area(ring) < 0:
                ring = ring[::-1]
            if fold is None:
                sides = [Edge("edge", np.concatenate([ring, ring[:1]]))]
            else:
                sides, grain = _edges_on_fold(ring, fold, where), None
                ends = sides[0].points
                fold = ((0.0, float(ends[0, 1])), (0.0, float(ends[-1, 1])))
        return cls(
            name=name,
            edges={e.name: e for e in sides},
            cut=cut,
            pair=bool(pair),
            fold=fold,
            grain=grain or ((0.0, 0.0), (0.0, 0.0)),
            turns=_turns(turns, where),
            label=(name,),
        )

    @property
    def sewing_line(self) -> Points:
        """(N, 2) mm, closed (first point not repeated), counter-clockwise; the half on a fold."""
        return self._cache["sew"]

    def cutting_line(self, allowances: Mapping[str, float] | None = None) -> Points:
        """(N, 2) mm, closed (first point not repeated), counter-clockwise; the half on a fold.

        ``allowances``: mm by edge name, ``all`` for the others; None cuts on the sewing line. A
        cutting line of its own goes before them all.

        Raises:
            InputError: an allowance that is no number from 0 to 200.
            DraftError: an allowance that the piece has no room for.
        """
        if self.own_cutting_line is not None:
            return self.own_cutting_line
        widths = self.widths(allowances)
        key = tuple(sorted(widths.items()))
        if key not in self._cache:
            line = cutting_ring(self.edges, widths, self.corners)
            line.setflags(write=False)
            self._cache[key] = line
        return self._cache[key]

    def widths(self, allowances: Mapping[str, float] | None = None) -> dict[str, float]:
        """The allowances in mm as this piece takes them: its bound edges get none from ``all``.

        Raises:
            InputError: an allowance that is no number from 0 to 200.
        """
        return with_bound(in_mm(allowances), self.bound)

    @property
    def cut_in_words(self) -> str:
        """How many to cut and how: 'cut 1 on the fold', 'cut 2, a pair', 'cut 3'."""
        each = f"cut {self.cut}"
        if self.fold is not None:
            return f"{each} on the fold"
        return each + (", a pair" if self.cut == 2 else ", in pairs") * self.pair

    @property
    def how_to_cut(self) -> str:
        """`cut_in_words`, or what its label says beyond it: 'cut 2 on the bias'."""
        each = self.cut_in_words
        if self.fold is not None or self.pair:
            return each
        told = (t for t in self.label if t == each or t.startswith((f"{each} ", f"{each},")))
        return next((t for t in told if "fold" not in t), each)

    def unfolded(self, allowances: Mapping[str, float] | None = None) -> Points:
        """(N, 2) mm: the cutting line as it comes off the table, opened out when on a fold.

        With no allowances this is the sewing line, unless the piece has a cutting line of its own.
        Closed, counter-clockwise.
        """
        half = self.cutting_line(allowances)
        return half if self.fold is None else _opened(half)

    @property
    def drills(self) -> tuple[Mark, ...]:
        """The marks that are a single point."""
        return tuple(m for m in self.marks if len(m.points) == 1)

    @property
    def area_mm2(self) -> float:
        """Area inside the sewing line, mm²; of the half on a fold."""
        return signed_area(self.sewing_line)

    def bounds(
        self, allowances: Mapping[str, float] | None = None
    ) -> tuple[float, float, float, float]:
        """(left, bottom, right, top) mm of the cutting line."""
        line = self.cutting_line(allowances)
        (left, bottom), (right, top) = line.min(axis=0), line.max(axis=0)
        return float(left), float(bottom), float(right), float(top)

    def notch_lines(self, allowances: Mapping[str, float] | None = None) -> tuple[Points, ...]:
        """Each snip as (2, 2) mm, from the cutting line inward, square to the edge.

        Never deeper than half the allowance. Where an edge has no allowance the mark crosses
        the sewing line from inside instead, to be chalked and not cut.
        """
        lines = []
        widths = self.widths(allowances)
        for notch in self.notches:
            width = allowance_of(notch.edge, widths)
            edge = self.edges[notch.edge]
            if self.own_cutting_line is not None:
                width = _room_outside(self.own_cutting_line, *edge.at(notch.at_mm))
            gap = DOUBLE_NOTCH_GAP_MM * (np.arange(notch.count) - (notch.count - 1) / 2)
            for shift in gap:
                point, t = edge.at(notch.at_mm + shift)
                outward = np.array([t[1], -t[0]])
                depth = min(NOTCH_MM, width / 2) if width else NOTCH_MM
                outer = point + outward * width
                lines.append(np.array([outer, outer - outward * depth]))
        return tuple(lines)

    def with_(self, **changes: Any) -> Piece:
        """The same piece with some fields changed (checked again)."""
        return replace(self, **changes)

    def mirrored(self) -> Piece:
        """The piece as its other side is seen: mirrored at x = 0, every edge under its name, no fold."""
        own = self.own_cutting_line
        ring = [Edge(e.name, mirrored_ring(e.points)) for e in list(self.edges.values())[::-1]]
        return self.with_(
            edges={e.name: e for e in ring},
            fold=None,
            own_cutting_line=None if own is None else mirrored_ring(own),
            grain=tuple(_across(p) for p in self.grain),
            notches=tuple(
                replace(n, at_mm=self.edges[n.edge].length_mm - n.at_mm) for n in self.notches
            ),
            darts=tuple(
                Dart(d.edge, _across(d.second), _across(d.first), _across(d.tip))
                for d in self.darts
            ),
            marks=tuple(Mark(m.name, m.points * (-1.0, 1.0), m.closed) for m in self.marks),
            landmarks={n: _across(p) for n, p in self.landmarks.items()},
            corners={(b, a): v for (a, b), v in self.corners.items()},
        )

    def plus(self, *told: str, **more: Iterable[Any]) -> Piece:
        """The same piece with further notches, marks, darts …, and ``told`` on its label."""
        longer = {k: (*getattr(self, k), *v) for k, v in more.items()}
        return self.with_(label=(*self.label[:2], *told, *self.label[2:]), **longer)

    def beside(self, edge: str) -> tuple[str, str]:
        """The edges before and after one of its edges."""
        ring = list(self.edges)
        i = ring.index(edge)
        return ring[i - 1], ring[(i + 1) % len(ring)]

    def opened(self, sides: tuple[str, str] = ("right", "left")) -> Piece:
        """The same piece without its fold, both halves in one outline.

        ``sides``: what edges that come twice are prefixed with, at x > 0 and at x < 0; an edge
        that crosses the fold becomes one and keeps its name. Returns self without a fold.
        """
        if self.fold is None:
            return self
        plus, minus = sides
        other = self.mirrored()
        names = [n for n in self.edges if n != FOLD]
        # The ring starts after the fold: the first edge leaves the fold, the last returns to it.
        first, last = names[0], names[-1]
        half, there = ({n: p.edges[n].points for n in names} for p in (self, other))
        ring = {
            first: np.concatenate([there[first][:-1], half[first]]),
            **{f"{plus} {n}": half[n] for n in names[1:-1]},
            last: np.concatenate([half[last][:-1], there[last]]),
            **{f"{minus} {n}": there[n] for n in names[-2:0:-1]},
        }

        def own(edge: str, side: str) -> str:
            return edge if edge in (first, last) else f"{side} {edge}"

        # where a half's own part of an edge that crosses the fold begins; one edge alone begins with it
        before = {
            (first, plus): self.edges[first].length_mm,
            (last, plus): 0.0,
            (last, minus): self.edges[last].length_mm,
        }
        notches: list[Notch] = []
        darts: list[Dart] = []
        marks: list[Mark] = []
        for a, b in zip(self.notches, other.notches, strict=True):
            gap = min(a.at_mm if a.edge == first else np.inf, b.at_mm if a.edge == last else np.inf)
            for n, side in ((a, plus), (b, minus)) if gap > ON_FOLD_MM else ((a, plus),):
                at = before.get((n.edge, side), 0.0) + n.at_mm
                notches.append(replace(n, edge=own(n.edge, side), at_mm=at))
        for c, d in zip(self.darts, other.darts, strict=True):
            darts += [replace(c, edge=own(c.edge, plus)), replace(d, edge=own(d.edge, minus))]
        for m, mark in zip(self.marks, other.marks, strict=True):
            marks += [m, mark] if np.abs(m.points[:, 0]).max() > 1e-9 else [m]
        halves = ((self, plus), (other, minus))
        return self.with_(
            edges={n: Edge(n, p) for n, p in ring.items()},
            fold=None,
            notches=tuple(notches),
            darts=tuple(darts),
            marks=tuple(marks),
            corners={
                (own(a, side), own(b, side)): (kind, own(lead, side))
                for half_, side in halves
                for (a, b), (kind, lead) in half_.corners.items()
                if FOLD not in (a, b)  # what meets at the fold is one edge now
            },
            own_cutting_line=None if self.own_cutting_line is None else self.unfolded(),
            landmarks={
                own(n, side) if abs(p[0]) > 1e-6 else n: p
                for half_, side in halves
                for n, p in half_.landmarks.items()
            },
            bound=tuple(dict.fromkeys(own(e, side) for e in self.bound for side in sides)),
        )


def _across(point: tuple[float, float]) -> tuple[float, float]:
    """A point mirrored at x = 0."""
    return -point[0], point[1]


def _cutting_ring_of(line: ArrayLike, fold: Line | None, where: str) -> Points:
    """A read-only counter-clockwise ring (N, 2) mm; what is next to a fold lies on it.

    Raises:
        InputError: not pairs of finite numbers.
    """
    ring = without_repeats(as_points(line, where, 3), closed=True)
    if len(ring) >= 3 and signed_area(ring) < 0:
        ring = ring[::-1]
    ring = np.array(ring)
    if fold is not None:
        ring = _up_to_the_fold(ring)
    ring.setflags(write=False)
    return ring


def _up_to_the_fold(ring: Points) -> Points:
    """A ring (N, 2) without what lies past the fold on x = 0; along the fold only its ends stay."""
    after = np.roll(ring, -1, axis=0)
    past, beside = ring[:, 0] < -FOLD_NEAR_MM, ring[:, 0] > FOLD_NEAR_MM
    crossed = past & np.roll(beside, -1) | beside & np.roll(past, -1)
    run = after - ring
    share = -ring[crossed, 0] / run[crossed, 0]
    met = ring[crossed] + share[:, None] * run[crossed]
    ring = np.insert(ring, np.flatnonzero(crossed) + 1, met, axis=0)
    on = ring[:, 0] < FOLD_NEAR_MM
    ring[on, 0] = 0.0
    # A point between two others of the fold says nothing; the ends of a stretch are real corners.
    return ring[~(on & np.roll(on, 1) & np.roll(on, -1))]


def _room_outside(ring: Points, at: Points, tangent: Points) -> float:
    """Distance in mm from a place on the sewing line square out to the cutting line; 0 for none."""
    import shapely

    outward = np.array([tangent[1], -tangent[0]])
    ray = shapely.LineString([at, at + outward * MOST_MM])
    met = shapely.intersection(ray, shapely.LinearRing(ring))
    return 0.0 if met.is_empty else float(shapely.Point(at).distance(met))


def _opened(half: Points) -> Points:
    """The whole outline from the half whose fold lies on x = 0."""
    on = np.abs(half[:, 0]) < 1e-7
    # Turn the ring so that it starts at the fold's lower end and ends at its upper one.
    lowest = int(np.flatnonzero(on)[np.argmin(half[on, 1])])
    ring = np.roll(half, -lowest, axis=0)
    mirror = mirrored_ring(ring)
    whole = np.concatenate([ring, mirror[np.abs(mirror[:, 0]) >= 1e-7]])
    return without_repeats(whole, closed=True)


def _ring_faults(ring: Points, where: str) -> Iterable[Fault]:
    """What is wrong with a closed outline, if anything."""
    if len(ring) < 3:
        yield Fault(where, "has fewer than three different points.", "Is it an open line?")
        return
    size = float(np.ptp(ring, axis=0).max())
    if size > LARGEST_MM:
        yield Fault(
            where, f"is {size / 1000:.1f} m long.", "Coordinates are millimetres: check the unit."
        )
    elif abs(signed_area(ring)) < LEAST_AREA_MM2:
        yield Fault(
            where,
            f"encloses only {abs(signed_area(ring)):.3g} mm².",
            "Coordinates are millimetres, and an outline must enclose an area.",
        )
    elif not is_simple(ring):
        yield Fault(
            where,
            "has an outline that crosses or touches itself.",
            "Draw it as one line around the piece.",
        )


def longest_run(ring: Points, spots: Iterable[Points], along: Points) -> Points:
    """The longest straight stretch (2, 2) inside an outline, of the lines through some places (2,) in a
    direction (2,); its ends in that direction."""
    import shapely

    shape, reach = shapely.Polygon(ring), float(np.hypot(*np.ptp(ring, axis=0))) + 1.0
    best = np.zeros((2, 2))
    for spot in spots:
        ray = shapely.LineString([spot - reach * along, spot + reach * along])
        for part in shapely.get_parts(shapely.intersection(shape, ray)):
            if part.length > float(np.hypot(*(best[1] - best[0]))) + 1e-9:
                best = np.array(part.coords)[[0, -1]]
    return np.asarray(best[np.argsort(best @ along)])


def _default_grain(ring: Points) -> Line:
    """A grainline up the piece's middle, kept short of the cutting line (JIS L 0110:2001)."""
    import shapely

    spot = np.array(shapely.Polygon(ring).representative_point().coords[0])
    middle = np.array([0.5 * (ring[:, 0].min() + ring[:, 0].max()), spot[1]])
    a, b = longest_run(ring, (middle, spot), np.array([0.0, 1.0]))
    low, high = a + (b - a) / 6, b - (b - a) / 6
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))


def _turns(turns: Sequence[float], where: str) -> tuple[float, ...]:
    """Allowed turns as floats.

    Raises:
        InputError: none given, or not finite numbers.
    """
    try:
        allowed = tuple(float(t) % 360.0 for t in turns)
    except (TypeError, ValueError) as error:
        raise InputError.of(
            where, f"turns is {turns!r}, not a list of degrees.", "Use [0, 180]."
        ) from error
    if not allowed or not np.isfinite(allowed).all():
        raise InputError.of(where, "turns must hold at least one number of degrees.")
    return tuple(dict.fromkeys(allowed))


def _fold_of(edges: Mapping[str, ArrayLike], fold: Line | None, where: str) -> Line | None:
    """The fold of a piece given by its edges: the ends of the edge of that name.

    Raises:
        InputError: a fold is told but no edge of that name is there, or it does not lie on x = 0.
    """
    if FOLD not in edges:
        if fold is not None:
            raise InputError.of(where, "has a fold, but none of its edges is named 'fold'.")
        return None
    points = as_points(edges[FOLD], f"{where} {FOLD}")
    inside = min(float(np.min(as_points(p, where)[:, 0])) for p in edges.values())
    if np.abs(points[:, 0]).max() > 1e-6 or inside < -1e-6:
        raise InputError.of(where, "has a fold that is not on x = 0 with the piece in x ≥ 0.")
    return ((0.0, float(points[0, 1])), (0.0, float(points[-1, 1])))


def _edges_on_fold(ring: Points, fold: Line, where: str) -> list[Edge]:
    """Fold edge and the rest, moved so that the fold lies on x = 0, piece in x ≥ 0."""
    a, b = as_points(fold, f"{where} fold")[:2]
    length = float(np.hypot(*(b - a)))
    if length < 1.0:
        raise InputError.of(where, "has a fold whose ends are one point.")
    t = (b - a) / length
    off = (ring - a) @ np.array([-t[1], t[0]])
    if off.max() <= -off.min():  # the piece shall lie left of a → b, as the ring runs
        a, t, off = b, -t, -off
    if off.min() < -0.1:
        raise InputError.of(
            where, "lies on both sides of its fold.", "Give the half that is drawn."
        )
    # The ring runs down the fold in the piece frame: t there is (0, −1).
    moved = np.stack([off, -((ring - a) @ t)], axis=1)
    on = np.abs(moved[:, 0]) <= 0.1
    run = on & np.roll(on, -1)
    starts = np.flatnonzero(run & ~np.roll(run, 1))
    if len(starts) != 1:
        raise InputError.of(
            where,
            "has no single straight side on its fold line.",
            "The fold must be one side of the outline.",
        )
    moved = np.roll(moved, -int(starts[0]), axis=0)
    count = int(np.count_nonzero(run)) + 1
    moved[:count, 0] = 0.0
    moved[:, 0] = np.maximum(moved[:, 0], 0.0)
    shift = a[1] if abs(t[0]) < 1e-9 and t[1] < 0 else 0.0  # keep y of a fold already upright
    moved[:, 1] += shift
    return [
        Edge(FOLD, moved[:count]),
        Edge("edge", np.concatenate([moved[count - 1 :], moved[:1]])),
    ]


def alike(one: Any, other: Any) -> bool:
    """Whether two pieces are the same through and through: every line, notch, dart, mark and word."""
    if one is other:
        return True
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and np.array_equal(one, other)
    if type(one) is not type(other):
        return False
    if isinstance(one, Mapping):
        return one.keys() == other.keys() and all(alike(v, other[k]) for k, v in one.items())
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(alike, one, other))
    if is_dataclass(one):
        return all(
            alike(getattr(one, f.name), getattr(other, f.name)) for f in fields(one) if f.compare
        )
    return bool(one == other)
