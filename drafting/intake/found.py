"""What a drawing file was found to hold: closed outlines in millimetres, judged one by one.

Between the readers of SVG and DXF and the docket: a reader hands over chains (joined segments in
piece axes, y up), this module closes what is nearly closed, flattens, tells the outlines of
pieces from what is drawn inside them, and refuses what cannot be cut.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from configs.errors import Fault, InputError
from drafting.intake.geometry import Array, Chain, polygon

JOIN_MM = 0.1  # ends no further apart than this are one point; less than a pencil line
EVEN_MM = 0.2  # an allowance that varies by more is none that one number tells
MIN_AREA_MM2 = 100.0  # a square centimetre: smaller closed shapes are marks, not pieces
MAX_EXTENT_MM = 20_000.0  # no piece is longer than 20 m; larger means a wrong unit
MAX_POINTS = 20_000  # of one outline, after flattening
MAX_TOTAL_POINTS = 60_000  # of one file: more would make a docket that takes long to read
MAX_FAULTS = 20  # told of one file
MAX_OUTLINES = 500  # pieces of one file

Ends = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Drawn:
    """One chain of a file with what the file says about it; mm, y up.

    ``name``: what the file calls it or its group; ``where``: for messages; ``piece``, ``edge``,
    ``line``: only in files of ours (and ``line`` from DXF layers: cutting, sewing, grain, fold);
    ``about``: further keys of the piece's group (cut, pair, turns).
    """

    chain: Chain
    name: str
    where: str
    piece: str = ""
    edge: str = ""
    line: str = ""
    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Outline:
    """A closed outline fit to be a piece.

    ``points``: (N, 2) mm, counter-clockwise, y up, first point not repeated, nowhere
    further than 0.01 mm from the file's curve and of its length; ``edges``: name → (M, 2) mm in ring order, each starting where the
    one before it ends, empty when the file names none; ``line``: 'sewing' or 'cutting' when the
    file says which it is; ``where``: its place in the file; ``allowances``: edge (``all`` without
    edges) → mm from the sewing line out to the file's cutting line, where it has both.
    """

    name: str
    points: Array
    where: str
    edges: Mapping[str, Array] = field(default_factory=dict)
    line: str = ""
    grain: Ends | None = None
    fold: Ends | None = None
    cut: int = 1
    pair: bool = False
    turns: tuple[float, ...] = (0.0, 180.0)
    allowances: Mapping[str, float] = field(default_factory=dict)

    @property
    def called(self) -> str:
        """How messages call it: by its name, else its place in the file."""
        return f"'{self.name}'" if self.name else self.where

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of its bounding box."""
        low, high = self.points.min(axis=0), self.points.max(axis=0)
        return float(high[0] - low[0]), float(high[1] - low[1])

    @property
    def length_mm(self) -> float:
        """Once round."""
        ring = np.vstack([self.points, self.points[:1]])
        return float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum())

    @property
    def area_mm2(self) -> float:
        """What it encloses (positive)."""
        return signed_area(self.points)


@dataclass(frozen=True)
class Found:
    """All outlines of a file, and ``notes`` on what was left out or taken for granted."""

    outlines: tuple[Outline, ...]
    notes: tuple[str, ...] = ()


def _at_draft_size(drawn: Drawn) -> Drawn:
    """A line of a piece that our export had made larger for shrinkage, at the draft's size again."""
    try:
        growth = np.array([float(v) for v in drawn.about.get("larger", "").split()])
    except ValueError:
        return drawn
    if growth.shape != (4,) or not np.all(np.isfinite(growth)):
        return drawn
    matrix = np.eye(3)
    matrix[:2, :2] = growth.reshape(2, 2)
    if not 0.5 < float(np.linalg.det(matrix)) < 4.0:  # no cloth shrinks so
        return drawn
    return dataclasses.replace(
        drawn, chain=drawn.chain.moved(np.asarray(np.linalg.inv(matrix), dtype=np.float64))
    )


def signed_area(points: Array) -> float:
    """Area of a closed ring (N, 2) mm²; positive when counter-clockwise."""
    x, y = (points - points[0]).T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2.0)


def outlines_from(
    drawn: Sequence[Drawn], where: str, notes: Sequence[str] = (), only: Collection[str] = ()
) -> Found:
    """Judge what a reader found.

    Groups with a piece's name (files of ours, blocks of a DXF) give one outline each, the sewing
    line before the cutting line, their edges joined by name. Elsewhere every closed chain is a
    candidate and open chains whose ends meet within 0.1 mm are joined; what lies inside another
    outline is left out, and said.

    ``only``: names of the outlines wanted: what is wrong with others is then a note, and an
    outline inside another is taken. The others are still found; the caller chooses.

    Raises:
        InputError: nothing closed is there, or an outline crosses itself, is far too large or has
            too many points. All faults at once.
    """
    said = list(notes)
    wrong: list[tuple[str, Fault]] = []
    outlines: list[Outline] = []
    groups: dict[str, list[Drawn]] = {}
    loose: list[Drawn] = []
    for d in map(_at_draft_size, drawn):
        if d.piece:
            groups.setdefault(d.piece, []).append(d)
        else:
            loose.append(d)
    for name, members in groups.items():
        try:
            made = _piece_of(name, members, said)
        except InputError as error:
            wrong += [(name, _placed(f, where, name)) for f in error.faults]
            continue
        if made is not None:
            outlines.append(made)
    closed, left_open = _join(loose)
    candidates: list[Outline] = []
    tiny = 0
    for d in closed:
        try:
            points = _ring(d.chain)
        except InputError as error:
            wrong += [(d.name, _placed(f, where, d.where)) for f in error.faults]
            continue
        if points is None:
            tiny += 1
            continue
        candidates.append(Outline(d.name, points, d.where, line=d.line))
    if len(candidates) + len(outlines) > MAX_OUTLINES:
        raise InputError(
            Fault(
                where,
                f"holds {len(candidates) + len(outlines)} closed outlines; at most {MAX_OUTLINES} are taken.",
                "Save the pieces of one garment to a file of their own.",
            )
        )
    outer, inner = _outermost(candidates)
    if tiny:
        said.append(
            f"{tiny} closed shape{'s' if tiny > 1 else ''} under a square centimetre left out."
        )
    # Sizes are often drawn one inside the other: an inner outline is had by its name.
    named = _unique([*outlines, *outer, *(o for o, _ in inner)])
    within = dict(zip((o.name for o in named[len(outlines) + len(outer) :]), inner, strict=True))
    outlines = [o for o in named if o.name not in within or o.name in only]
    hidden = [(n, o, around) for n, (o, around) in within.items() if n not in only]
    for name, o, around in hidden[:MAX_FAULTS]:
        said.append(f"'{name}' ({o.where}) lies inside {around.called} and was left out.")
    if len(hidden) > MAX_FAULTS:
        said.append(f"{len(hidden) - MAX_FAULTS} more lie inside others and were left out.")
    if hidden:
        said.append("What was left out for lying inside is taken when it is asked for by name.")
    if left_open:
        said.append(
            f"{left_open} open line{'s' if left_open > 1 else ''} left out: only closed outlines become pieces."
        )
    faults = [f for name, f in wrong if not only or name in only or not outlines]
    if faults:
        raise InputError(faults[:MAX_FAULTS])
    said += [f"Left out: {f}" for _, f in wrong[:MAX_FAULTS]]
    count = sum(len(o.points) for o in outlines)
    if count > MAX_TOTAL_POINTS:
        raise InputError(
            Fault(
                where,
                f"has {count} points on its outlines; at most {MAX_TOTAL_POINTS} are taken.",
                "Simplify the paths, or save fewer pieces to a file.",
            )
        )
    if not outlines:
        raise InputError(
            Fault(
                where,
                "holds no closed outline of a piece"
                + (f" (but {left_open} open lines)." if left_open else "."),
                "Close the outlines in the program that the file came from, convert text and pictures to paths, and save again.",
            )
        )
    return Found(tuple(outlines), tuple(said))


def _placed(fault: Fault, where: str, inner: str) -> Fault:
    return Fault(f"{where}: {inner}" if inner else where, fault.what, fault.remedy)


def _ring(chain: Chain) -> Array | None:
    """(N, 2) counter-clockwise ring of a closed chain; None when too small to be a piece."""
    low, high = chain.box
    if not np.all(np.isfinite([low, high])) or float((high - low).max()) > MAX_EXTENT_MM:
        raise InputError(
            Fault(
                "",
                f"is {float((high - low).max()) / 1000:.3g} m long: larger than any piece.",
                "Check the unit that the file was saved in.",
            )
        )
    points = _tidy(chain.flatten())
    if len(points) > MAX_POINTS:
        raise InputError(
            Fault(
                "",
                f"has {len(points)} points on its outline; at most {MAX_POINTS} are taken.",
                "Simplify the path in the program that it came from.",
            )
        )
    if len(points) < 3 or float(np.ptp(points, axis=0).prod()) <= MIN_AREA_MM2:
        return None
    _refuse_crossing(points)
    if abs(signed_area(points)) <= MIN_AREA_MM2:
        return None
    if signed_area(points) < 0.0:
        points = np.vstack([points[:1], points[:0:-1]])
    return points


def _tidy(points: Array) -> Array:
    """Without points that repeat the one before them (within a thousandth of a millimetre)."""
    step = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
    step[0] = np.inf if len(points) < 2 or step[0] > 1e-3 else step[0]
    return np.array(points[step > 1e-3])


def _refuse_crossing(points: Array) -> None:
    import shapely

    ring = shapely.Polygon(points)
    if ring.is_valid:
        return
    reason = shapely.is_valid_reason(ring)
    spot = ""
    if "[" in reason:
        x, y = reason.split("[")[1].rstrip("]").split()[:2]
        spot = f" near x {float(x):z.1f}, y {float(y):z.1f} mm"
    raise InputError(
        Fault(
            "",
            f"its outline crosses or touches itself{spot}.",
            "Mend it in the program that it came from: one plain line round the piece.",
        )
    )


def _join(loose: Sequence[Drawn]) -> tuple[list[Drawn], int]:
    """Closed chains, those that open ones make end to end included; and how many stay open."""
    closed = [d for d in loose if d.chain.closed]
    pending = [d for d in loose if not d.chain.closed]
    ends = [d.chain.ends for d in pending]
    # Ends are looked up by the cells of a grid, so that thousands of loose lines stay quick.
    cells: dict[tuple[int, int], set[int]] = {}
    for i, both in enumerate(ends):
        for end in both:
            cells.setdefault(_cell(end), set()).add(i)
    free = set(range(len(pending)))

    def nearest(point: Array) -> tuple[int, bool] | None:
        """The free chain with an end at ``point``, and whether it must be turned round."""
        cx, cy = _cell(point)
        around = [(cx + dx, cy + dy) for dx in (-1, 0, 1) for dy in (-1, 0, 1)]
        offers = [
            (float(np.linalg.norm(ends[i][flip] - point)), i, bool(flip))
            for c in around
            for i in cells.get(c, set()) & free
            for flip in (0, 1)
        ]
        best = min(offers, default=(math.inf, -1, False))
        return (best[1], best[2]) if best[0] <= JOIN_MM else None

    stay = 0
    for i, d in enumerate(pending):
        if i not in free:
            continue
        free.discard(i)
        run, (first, last), count = list(d.chain.segments), ends[i], 1
        shut = len(run) > 1 and _meet(first, last)
        while not shut and (step := nearest(last)) is not None:
            j, flip = step
            free.discard(j)
            more = pending[j].chain.reversed() if flip else pending[j].chain
            run += more.segments
            last = more.ends[1]
            count += 1
            shut = _meet(first, last)
        if shut:
            closed.append(dataclasses.replace(d, chain=Chain(tuple(run), True)))
        else:
            stay += count
    return closed, stay


def _cell(point: Array) -> tuple[int, int]:
    return math.floor(float(point[0]) / JOIN_MM), math.floor(float(point[1]) / JOIN_MM)


def _meet(a: Array, b: Array) -> bool:
    return float(np.linalg.norm(a - b)) <= JOIN_MM


def _outermost(
    candidates: Sequence[Outline],
) -> tuple[list[Outline], list[tuple[Outline, Outline]]]:
    """Outlines not inside another, and the others each with one that holds it."""
    import shapely

    shapes = [shapely.Polygon(o.points) for o in candidates]
    tree = shapely.STRtree(shapes)
    outer: list[Outline] = []
    inner: list[tuple[Outline, Outline]] = []
    for i, (o, shape) in enumerate(zip(candidates, shapes, strict=True)):
        holders = [
            int(j)
            for j in tree.query(shape, predicate="covered_by")
            # of two equal outlines, one drawn over the other, the first stays
            if j != i and (shapes[j].area > shape.area or (shapes[j].area == shape.area and j < i))
        ]
        if holders:
            inner.append((o, candidates[max(holders, key=lambda j: shapes[j].area)]))
        else:
            outer.append(o)
    return outer, inner


def _piece_of(name: str, members: Sequence[Drawn], said: list[str]) -> Outline | None:
    """One outline from a group that is a piece: by its edges, else sewing line, else cutting."""
    where = members[0].where
    about: dict[str, str] = {}
    for d in members:
        about.update(d.about)
    edges = _edges([d for d in members if d.edge])
    line = "sewing"
    points: Array | None = None
    if edges:
        ring = polygon(np.vstack([e[:-1] for e in edges.values()]), True)
        points = _ring(ring) if ring else None
        if points is not None and signed_area(np.vstack([e[:-1] for e in edges.values()])) < 0.0:
            edges = {n: e[::-1].copy() for n, e in reversed(edges.items())}
    else:
        for line in ("sewing", "cutting", ""):
            closed, _ = _join(
                [d for d in members if d.line == line or (d.edge and line == "sewing")]
            )
            rings = [r for d in closed if (r := _ring(d.chain)) is not None]
            if rings:
                points = max(rings, key=signed_area)
                break
    if points is None:
        said.append(f"'{name}' holds no closed outline and was left out.")
        return None
    return Outline(
        name,
        points,
        where,
        edges=edges,
        line=line,
        grain=_straight(members, "grain"),
        fold=_straight(members, "fold"),
        cut=_count(about.get("cut", "1")),
        pair=about.get("pair", "") == "true",
        turns=_turns(about.get("turns", "")),
        allowances=_allowances(name, members, edges, points, said) if line == "sewing" else {},
    )


def _allowances(
    name: str,
    members: Sequence[Drawn],
    edges: Mapping[str, Array],
    points: Array,
    said: list[str],
) -> dict[str, float]:
    """Edge → mm out to the group's cutting line; empty without one, or where it is not even."""
    import shapely

    closed, _ = _join([d for d in members if d.line == "cutting" and not d.edge])
    rings = [r for d in closed if (r := _ring(d.chain)) is not None]
    if not rings:
        return {}
    cut = shapely.LinearRing(max(rings, key=signed_area))
    runs = dict(edges) or {"all": np.vstack([points, points[:1]])}
    out: dict[str, float] = {}
    for edge, run in runs.items():
        line = shapely.LineString(run)
        share = (0.35, 0.5, 0.65) if edges else np.linspace(0.02, 0.98, 25)
        away = [line.interpolate(t, normalized=True).distance(cut) for t in share]
        if max(away) - min(away) > EVEN_MM:
            of = "" if edge == "all" else f" at {edge}"
            said.append(
                f"'{name}': its cutting line lies {min(away):.1f} to {max(away):.1f} mm outside the "
                f"sewing line{of}: not taken as an allowance."
            )
            continue
        out[edge] = round(sum(away) / len(away), 1) + 0.0
    return out


def _edges(drawn: Sequence[Drawn]) -> dict[str, Array]:
    """Named edges in ring order, joints exact; empty when they do not close a ring."""
    runs = {d.edge: d.chain.flatten() for d in drawn if not d.chain.closed}
    names = list(runs)
    if len(names) < 2 or len(names) != len(drawn):
        return {}
    for n, after in zip(names, names[1:] + names[:1], strict=True):
        if not _meet(runs[n][-1], runs[after][0]):
            return {}
        runs[n][-1] = runs[after][0]
    return runs


def _straight(members: Sequence[Drawn], line: str) -> Ends | None:
    """The two ends of the group's first line of that kind, an edge's before another's."""
    for d in sorted(members, key=lambda d: not d.edge):
        if d.line == line and not d.chain.closed:
            (ax, ay), (bx, by) = d.chain.ends
            return (float(ax), float(ay)), (float(bx), float(by))
    return None


def _count(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= 100 else 1


def _turns(text: str) -> tuple[float, ...]:
    try:
        turns = tuple(float(t) for t in text.split())
    except ValueError:
        turns = ()
    return turns if turns and all(math.isfinite(t) for t in turns) else (0.0, 180.0)


def _unique(outlines: Sequence[Outline]) -> list[Outline]:
    """The same with names made unlike: a second 'front' becomes 'front 2'."""
    seen: set[str] = set()
    named = []
    for i, o in enumerate(outlines, 1):
        base = " ".join(o.name.replace("/", "-").split())[:60] or f"piece {i}"
        name, n = base, 2
        while name in seen:
            name, n = f"{base} {n}", n + 1
        seen.add(name)
        named.append(dataclasses.replace(o, name=name))
    return named
