"""Paper parts: a piece cut along a line into two, moved, and put together again.

The ground of the scissors. A part is a run of edges with all that lies on it (notches, darts) and
inside (marks, landmarks); a cut has two ends on the outline, each a plain place or a dart whose legs
become part of the cut. Frame: piece mm, x from the centre line, y up along the grain; rings run
counter-clockwise, so the cloth lies left of every run.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from itertools import combinations, groupby

import numpy as np

from configs.errors import DraftError
from configs.reader import nearest
from drafting.allowance import FOLD
from drafting.curves import left_of, unit
from drafting.outline import (
    Edge,
    Points,
    arc_lengths,
    place_on,
    polyline_length,
    signed_area,
    without_repeats,
)
from drafting.piece import Dart, Line, Mark, Notch, Piece, longest_run
from drafting.truing import span_on

XY = tuple[float, float]
SAME_MM = 1e-6
JOINED_MM = 0.02  # ends of runs that are laid together may miss one another by this much


def refuse(what: str, remedy: str = "") -> DraftError:
    """A refusal without its place: who replays the changes says in which of them it happened."""
    return DraftError.of("", what, remedy)


def xy(point: Points) -> XY:
    """A point (2,) as a pair."""
    return float(point[0]), float(point[1])


def edge_named(piece: Piece, name: str) -> str:
    """The edge of that name; of a piece whose sides differ the side must be said.

    Raises:
        DraftError: there is none; the nearest is named.
    """
    if name in piece.edges:
        return name
    known = ", ".join(piece.edges)
    raise refuse(
        f"the {piece.name} has no edge '{name}'; it has {known}.", nearest(name, piece.edges)
    )


@dataclass(frozen=True)
class Move:
    """A rigid motion of the plane: turned by ``angle`` (radians, counter-clockwise), then shifted."""

    angle: float = 0.0
    shift: XY = (0.0, 0.0)

    @classmethod
    def about(cls, centre: Points, angle: float) -> Move:
        """Turned about a point (2,)."""
        c, s = math.cos(angle), math.sin(angle)
        x, y = float(centre[0]), float(centre[1])
        return cls(angle, (x - c * x + s * y, y - s * x - c * y))

    def __call__(self, points: Points) -> Points:
        """Points (2,) or (N, 2) moved."""
        c, s = math.cos(self.angle), math.sin(self.angle)
        return np.asarray(points @ np.array([[c, s], [-s, c]]) + np.array(self.shift))

    def after(self, first: Move) -> Move:
        """``first``, then this."""
        return Move(self.angle + first.angle, xy(self(np.array(first.shift))))

    def xy(self, point: XY) -> XY:
        """One point moved."""
        return xy(self(np.array(point)))


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch of an edge: ``points`` (N, 2) mm, its ``notches`` (measured from its start), and the
    ``darts`` on it."""

    name: str
    points: Points
    notches: tuple[Notch, ...] = ()
    darts: tuple[Dart, ...] = ()

    @property
    def length_mm(self) -> float:
        """Length, mm."""
        return polyline_length(self.points)

    def moved(self, move: Move) -> Run:
        """Moved with all that lies on it."""
        darts = tuple(
            replace(d, first=move.xy(d.first), second=move.xy(d.second), tip=move.xy(d.tip))
            for d in self.darts
        )
        return replace(self, points=move(self.points), darts=darts)

    def then(self, other: Run) -> Run:
        """This run and the next of the same edge, as one."""
        length = self.length_mm
        gap = float(np.hypot(*(self.points[-1] - other.points[0])))
        later = tuple(replace(n, at_mm=n.at_mm + length) for n in other.notches)
        points = np.concatenate(
            [self.points, other.points[1:] if gap < JOINED_MM else other.points]
        )
        return Run(self.name, points, (*self.notches, *later), (*self.darts, *other.darts))

    def named(self, name: str) -> Run:
        """Under another name."""
        return Run(
            name,
            self.points,
            tuple(replace(n, edge=name) for n in self.notches),
            tuple(replace(d, edge=name) for d in self.darts),
        )


@dataclass(frozen=True)
class End:
    """Where a cut meets the outline: on ``edge``, from ``before`` to ``after`` mm along it.

    Both are one place, but at a dart, where they are the ends of its legs and ``tip`` is its point.
    ``near`` and ``far``: the points at ``before`` and ``after``.
    """

    edge: str
    before: float
    after: float
    near: XY
    far: XY
    tip: XY | None = None

    @classmethod
    def on(cls, piece: Piece, edge: str, mm: float) -> End:
        """A plain place on an edge, at a distance from the edge's start."""
        line = piece.edges[edge]
        mm = min(max(mm, 0.0), line.length_mm)
        point = xy(line.at(mm)[0])
        return cls(edge, mm, mm, point, point)

    @classmethod
    def of_dart(cls, piece: Piece, dart: Dart) -> End:
        """A dart: its legs' ends and its point."""
        points = piece.edges[dart.edge].points
        spots = sorted((place_on(points, p)[0], p) for p in (dart.first, dart.second))
        (low, near), (high, far) = spots
        return cls(dart.edge, low, high, near, far, dart.tip)


@dataclass(frozen=True, eq=False)
class Part:
    """One side of a cut: its ``runs`` in ring order, and ``line`` (N, 2) mm, the cut from the end of
    the last run back to the start of the first."""

    runs: tuple[Run, ...]
    line: Points
    marks: tuple[Mark, ...] = ()
    landmarks: Mapping[str, XY] = field(default_factory=dict)
    holds_grain: bool = False

    @property
    def ring(self) -> Points:
        """(N, 2) mm, closed (first point not repeated)."""
        parts = [r.points[:-1] for r in self.runs] + [self.line[:-1]]
        return without_repeats(np.concatenate(parts), closed=True)

    @property
    def on_fold(self) -> bool:
        """Whether the fold is one of its edges."""
        return any(r.name == FOLD for r in self.runs)

    def moved(self, move: Move) -> Part:
        """Moved with all that lies on and in it."""
        return Part(
            tuple(r.moved(move) for r in self.runs),
            move(self.line),
            tuple(replace(m, points=move(m.points)) for m in self.marks),
            {n: move.xy(p) for n, p in self.landmarks.items()},
            self.holds_grain,
        )


def of_a_dart(notch: Notch) -> bool:
    """Whether a notch marks the end of a dart's leg."""
    return "dart" in notch.match.split()


def runs_of(piece: Piece) -> list[Run]:
    """Every edge of a piece as a run."""
    return [
        Run(
            n,
            e.points,
            tuple(k for k in piece.notches if k.edge == n),
            tuple(d for d in piece.darts if d.edge == n),
        )
        for n, e in piece.edges.items()
    ]


def parted(run: Run, at_mm: float) -> tuple[Run, Run]:
    """Both stretches of a run, parted at a distance from its start.

    Raises:
        DraftError: a dart lies there.
    """
    edge = Edge(run.name, run.points)
    here = edge.at(at_mm)[0]
    ends = arc_lengths(run.points)
    before = run.points[ends < at_mm - SAME_MM]
    after = run.points[ends > at_mm + SAME_MM]
    darts: tuple[list[Dart], list[Dart]] = [], []
    for dart in run.darts:
        low, high = span_on(run.points, dart)
        if low < at_mm - 1e-3 and high > at_mm + 1e-3:
            raise refuse(
                f"the line meets the {run.name} between the legs of a dart.",
                "End it at the dart ('dart 1'), or beside it.",
            )
        darts[high > at_mm + 1e-3].append(dart)
    near = tuple(n for n in run.notches if n.at_mm < at_mm - SAME_MM)
    far = tuple(
        replace(n, at_mm=max(n.at_mm - at_mm, 0.0))
        for n in run.notches
        if n.at_mm >= at_mm - SAME_MM
    )
    return (
        Run(run.name, np.concatenate([before, here[None]]), near, tuple(darts[0])),
        Run(run.name, np.concatenate([here[None], after]), far, tuple(darts[1])),
    )


def split(piece: Piece, a: End, b: End, inner: Points) -> tuple[Part, Part]:
    """A piece cut from ``a`` to ``b`` along ``inner`` (K, 2), the points between the ends.

    Returns the part that follows ``a`` in the ring and the part that follows ``b``.

    Raises:
        DraftError: the line leaves the piece, crosses itself, or cuts nothing off.
    """
    if piece.own_cutting_line is not None:
        raise refuse(
            f"the {piece.name} has a cutting line of its own, which would no longer fit.",
            "Take 'cutting' out of its entry and write its allowances.",
        )
    runs = _cut_runs(piece, (a, b))
    first, second = _chain(runs, a, b), _chain(runs, b, a)
    if not first or not second:
        raise refuse("both ends of the line are one place.", "Give it another end.")
    inner = np.asarray(inner, dtype=np.float64).reshape(-1, 2)
    tip_a = np.array([a.tip]) if a.tip else np.zeros((0, 2))
    tip_b = np.array([b.tip]) if b.tip else np.zeros((0, 2))
    there = without_repeats(np.concatenate([tip_a, inner, tip_b]))
    line_1 = np.concatenate([first[-1].points[-1:], there[::-1], first[0].points[:1]])
    line_2 = np.concatenate([second[-1].points[-1:], there, second[0].points[:1]])
    made = []
    for chain, line in ((first, line_1), (second, line_2)):
        part = Part(tuple(chain), without_repeats(line))
        _refuse_unsound(piece, part)
        made.append(part)
    _hand_out(piece, made)
    return made[0], made[1]


def _cut_runs(piece: Piece, ends: Sequence[End]) -> list[Run]:
    """The runs of a piece, parted at every end; what lies between a dart's legs is left out."""
    out = []
    for run in runs_of(piece):
        gone = {(e.before, e.after) for e in ends if e.edge == run.name and e.tip is not None}
        cuts = sorted({x for e in ends if e.edge == run.name for x in (e.before, e.after)})
        darts = tuple(
            d for d in run.darts if not any(_is_dart(run, d, low, high) for low, high in gone)
        )
        rest, start = replace(run, darts=darts), 0.0
        for cut in cuts:
            if cut - start < SAME_MM or run.length_mm - cut < SAME_MM:
                continue
            kept, rest = parted(rest, cut - start)
            if not any(abs(low - start) < 1e-6 and abs(high - cut) < 1e-6 for low, high in gone):
                out.append(kept)
            start = cut
        if not any(abs(low - start) < 1e-6 and run.length_mm - high < 1e-6 for low, high in gone):
            out.append(rest)
    return out


def _is_dart(run: Run, dart: Dart, low: float, high: float) -> bool:
    a, b = span_on(run.points, dart)
    return abs(a - low) < 1e-3 and abs(b - high) < 1e-3


def _chain(runs: Sequence[Run], a: End, b: End) -> list[Run]:
    """The runs from ``a`` on, up to ``b``, in ring order; none when both are one place."""
    count = len(runs)
    starts = [i for i in range(count) if _same(runs[i].points[0], a.far)]
    stops = [i for i in range(count) if _same(runs[i].points[-1], b.near)]
    if len(starts) != 1 or len(stops) != 1:
        raise refuse("an end of the line lies on no edge.")
    chain = [*runs[starts[0] :], *runs[: starts[0]]][: (stops[0] - starts[0]) % count + 1]
    return chain if len(chain) < count else []


def _same(point: Points, other: XY) -> bool:
    return math.hypot(float(point[0]) - other[0], float(point[1]) - other[1]) < 1e-5


def _refuse_unsound(piece: Piece, part: Part) -> None:
    import shapely

    ring = part.ring
    # A line outside the piece turns one of its sides over.
    if len(ring) < 3 or not shapely.LinearRing(ring).is_simple or signed_area(ring) < 0:
        raise refuse(
            f"the line leaves the {piece.name}, or crosses its outline or itself.",
            "Move one of its ends.",
        )
    if shapely.Polygon(ring).area < _LEAST_PART_MM2:
        raise refuse(f"the line cuts next to nothing off the {piece.name}.", "Move its ends.")


_LEAST_PART_MM2 = 25.0


def _hand_out(piece: Piece, parts: list[Part]) -> None:
    """Marks, landmarks and grain to the part in which they lie; a mark that is cut comes in two."""
    import shapely

    shapes = [shapely.Polygon(p.ring) for p in parts]
    middle = np.mean(np.array(piece.grain), axis=0)
    holder = int(np.argmin([shapely.distance(s, shapely.Point(middle)) for s in shapes]))
    for i, (part, shape) in enumerate(zip(parts, shapes, strict=True)):
        marks = [piece_ for m in piece.marks for piece_ in _mark_in(m, shape, shapes[1 - i], i)]
        points = {n: shapely.Point(p) for n, p in piece.landmarks.items()}
        landmarks = {
            n: piece.landmarks[n]
            for n, p in points.items()
            if shape.distance(p) <= min(shapes[1 - i].distance(p), 1e-3) + 1e-3
        }
        parts[i] = replace(part, marks=tuple(marks), landmarks=landmarks, holds_grain=i == holder)


def _mark_in(mark: Mark, shape: object, other: object, i: int) -> list[Mark]:
    """What of a mark lies in a part."""
    import shapely

    if len(mark.points) == 1:
        point = shapely.Point(mark.points[0])
        mine, theirs = shapely.distance(shape, point), shapely.distance(other, point)
        return [mark] if (mine, i) < (theirs, 1 - i) else []
    ring = np.concatenate([mark.points, mark.points[:1]]) if mark.closed else mark.points
    line = shapely.LineString(ring)
    if shapely.distance(shape, line) < 1e-9 and shapely.covers(shapely.buffer(shape, 1e-6), line):
        return [mark] if i == 0 or not shapely.covers(shapely.buffer(other, 1e-6), line) else []
    inside = shapely.line_merge(shapely.intersection(shape, line))
    runs = [g for g in getattr(inside, "geoms", [inside]) if g.length > 1e-3]
    return [Mark(mark.name, np.array(g.coords)) for g in runs]


# --- together again ----------------------------------------------------------------------------


def gap_run(name: str, start: Points, end: Points) -> list[Run]:
    """The straight run that fills a gap of an edge; none where there is no gap."""
    if float(np.hypot(*(end - start))) < JOINED_MM:
        return []
    return [Run(name, np.stack([start, end]))]


def merged(runs: Sequence[Run]) -> list[Run]:
    """Runs of a ring in which neighbours of the same edge are one, each edge under a name of its own.

    The ring begins with its fold, or else where an edge begins.
    """
    first = next((i for i, r in enumerate(runs) if r.name != runs[i - 1].name), 0)
    ring = [*runs[first:], *runs[:first]]  # an edge begins there
    out = [reduce(Run.then, same) for _, same in groupby(ring, key=lambda r: r.name)]
    fold = next((i for i, r in enumerate(out) if r.name == FOLD), 0)
    out = [*out[fold:], *out[:fold]]
    seen: dict[str, int] = {}
    named = []
    for run in out:
        seen[run.name] = seen.get(run.name, 0) + 1
        named.append(run if seen[run.name] == 1 else run.named(f"{run.name} {seen[run.name]}"))
    return named


def built(
    piece: Piece,
    runs: Iterable[Run],
    marks: Iterable[Mark],
    landmarks: Mapping[str, XY],
    **changes: object,
) -> Piece:
    """A piece like ``piece`` with this ring and what lies in it.

    Raises:
        DraftError: its outline crosses itself or the fold.
    """
    import shapely

    ring = merged(list(runs))
    edges = {r.name: Edge(r.name, _snapped(r, ring)) for r in ring}
    outline = np.concatenate([e.points[:-1] for e in edges.values()])
    outline = without_repeats(outline, closed=True)
    if len(outline) < 3 or not shapely.LinearRing(outline).is_simple:
        raise refuse(
            f"the outline of the {piece.name} would cross itself.", "Use less, or another place."
        )
    fold = None
    if FOLD in edges:
        points = edges[FOLD].points
        if float(np.abs(points[:, 0]).max()) > 1e-3:
            raise refuse(
                f"the fold of the {piece.name} would no longer be straight.",
                f"Give it a seam there first: 'seam at fold: {piece.name}'.",
            )
        if float(outline[:, 0].min()) < -1e-3 and float(outline[:, 0].max()) > 1e-3:
            raise refuse(
                f"the outline of the {piece.name} would cross its fold.",
                "Use less, or another place.",
            )
        fold = (xy(points[0]), xy(points[-1]))
    ends = {r.name: edges[r.name].length_mm for r in ring}
    notches = tuple(
        replace(n, edge=r.name, at_mm=min(n.at_mm, ends[r.name])) for r in ring for n in r.notches
    )
    darts = tuple(replace(d, edge=r.name) for r in ring for d in r.darts)
    kept = {
        (a, b): kind
        for (a, b), kind in piece.corners.items()
        if a in edges and b in edges and kind[1] in edges
    }
    made = {
        "edges": edges,
        "fold": fold,
        "notches": notches,
        "darts": darts,
        "marks": tuple(marks),
        "landmarks": dict(landmarks),
        "corners": kept,
        "bound": tuple(b for b in piece.bound if b in edges),
        **changes,
    }
    grain = made.pop("grain", piece.grain)
    return piece.with_(**made, grain=grain_inside(outline, grain))  # type: ignore[arg-type]


def _snapped(run: Run, ring: Sequence[Run]) -> Points:
    """The run's points, its end moved (by a rounding error) to where the next run begins."""
    i = ring.index(run)
    after = ring[(i + 1) % len(ring)].points[0]
    points = without_repeats(run.points)
    if float(np.hypot(*(points[-1] - after))) < JOINED_MM:
        points = np.concatenate([points[:-1], after[None]])
    if run.name == FOLD:
        near = np.abs(points[:, 0]) < 1e-3
        points = np.where(near[:, None], points * (0.0, 1.0), points)
    return points


def grain_inside(outline: Points, grain: Line) -> Line:
    """The grainline as it is where it lies inside; else one of its direction, up the widest run."""
    import shapely

    shape = shapely.Polygon(outline)
    line = np.array(grain, dtype=np.float64)
    if shape.buffer(-2.0).covers(shapely.LineString(line)):
        return grain
    direction = unit(line[1] - line[0])
    if not direction.any():
        direction = np.array([0.0, 1.0])
    spots = [np.array(p.coords[0]) for p in (shape.centroid, shape.representative_point())]
    a, b = longest_run(outline, spots, direction)
    return xy(a + 0.15 * (b - a)), xy(b - 0.15 * (b - a))


def together(
    piece: Piece,
    still: Part,
    moved: Part,
    at_end: Sequence[Run],
    at_start: Sequence[Run],
    **changes: object,
) -> Piece:
    """Two parts as one piece: ``still``, what fills the outline at its end, ``moved``, and what fills
    it at its start."""
    marks = [*still.marks, *moved.marks]
    landmarks = {**moved.landmarks, **still.landmarks}
    runs = [*still.runs, *at_end, *moved.runs, *at_start]
    return built(piece, runs, rejoined(marks), landmarks, **changes)


def rejoined(marks: Sequence[Mark]) -> list[Mark]:
    """Marks of which two halves meet again are one again."""
    out = list(marks)
    for _ in range(len(out)):
        pairs = ((i, j, _end_to_end(out[i], out[j])) for i, j in combinations(range(len(out)), 2))
        found = next((p for p in pairs if p[2] is not None), None)
        if found is None:
            break
        i, j, joined = found
        assert joined is not None
        closed = float(np.hypot(*(joined[0] - joined[-1]))) < JOINED_MM
        out[i] = Mark(out[i].name, joined[:-1] if closed else joined, closed)
        del out[j]
    return out


def _end_to_end(a: Mark, b: Mark) -> Points | None:
    """Two open lines of one name as one, where an end of one lies on an end of the other."""
    if a.name != b.name or min(len(a.points), len(b.points)) < 2 or a.closed or b.closed:
        return None
    for p in (a.points, a.points[::-1]):
        for q in (b.points, b.points[::-1]):
            if float(np.hypot(*(p[-1] - q[0]))) < JOINED_MM:
                return np.concatenate([p, q[1:]])
    return None


def which_stays(a: Part, b: Part) -> tuple[Part, Part]:
    """(the part that keeps its place, the one that moves): the fold stays, or else the grainline.

    Raises:
        DraftError: both hold a stretch of the fold.
    """
    if a.on_fold and b.on_fold:
        raise refuse(
            "the line ends on the fold, which would bend.",
            "Give the piece a seam there first: 'seam at fold: back'.",
        )
    if a.on_fold or (not b.on_fold and a.holds_grain):
        return a, b
    return b, a


def capped(before: Points, first: Points, second: Points, tip: Points) -> list[Points]:
    """The top (0 or 1 points) of the roof that a dart's allowance needs on its edge.

    ``before``: the edge's direction (2,) where it reaches the first leg. The dart is folded towards
    that side, so its near half is the edge mirrored in the near leg, up to the dart's middle.
    """
    leg = unit(first - tip)
    middle = unit(0.5 * (first + second) - tip)
    back = -unit(before)
    mirrored = 2.0 * float(back @ leg) * leg - back
    across = left_of(middle)
    slope = float(mirrored @ across)
    if abs(slope) < 0.35:
        return []
    step = float((tip - first) @ across) / slope
    if not 0.0 < step < 2.0 * float(np.hypot(*(second - first))):
        return []
    return [first + step * mirrored]
