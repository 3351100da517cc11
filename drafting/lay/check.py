"""The one judge of a lay: planner, table, `lay`, `frame` and the public API ask here.

Exact, on the true cutting lines. Planners work on rasters and simplified outlines; this does not,
and shares no code with them but the region and what `cuts` says of each piece.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import Fault, LayError
from drafting.cloth import Cloth
from drafting.folding import Zone
from drafting.lay.cuts import (
    FOLD,
    FOLD_TOLERANCE_MM,
    SINGLE,
    THROUGH,
    Spec,
    laid_piece,
    named,
    specs_of,
    zones_for,
)
from drafting.lay.laid import LaidPiece, placement_of
from drafting.lay.region import usable_region
from drafting.lay.rules import Rules
from drafting.piece import Piece
from drafting.placement import Placement, carry

if TYPE_CHECKING:
    from drafting.lay.first import State
    from drafting.lay.job import Job
    from drafting.lay.model import Lay

OVERLAP_MM = 0.02
OUTSIDE_MM2 = 1.0
TURN_DEG = 0.01
PHASE_MM = 0.5
_FAR_MM = 1e6  # where cloth off the bolt ends for the check


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with a lay.

    ``kind``: overlap, distance, outside, flaw, fold, layers, border, grain, nap, side, stripes or count; ``keys``:
    the copies concerned; ``amount``: mm, or degrees for grain and nap, how far past what is right;
    ``text``: a sentence; ``short``: the same for a label beside the piece.
    """

    kind: str
    keys: tuple[str, ...]
    amount: float
    text: str
    short: str


def judge(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    cloth: Cloth,
    placements: Iterable[Any],
    rules: Rules | None = None,
) -> list[Problem]:
    """Everything wrong with placements of pieces on a cloth; empty for a sound lay.

    ``placements``: `Placement`, `LaidPiece` or mappings with piece, copy, at, turn, mirrored. What
    is not laid is not asked for; what is laid twice or was never to be cut is told.

    Raises:
        LayError: pieces that cannot be cut from this cloth at all.
    """
    rules = rules or Rules()
    read = specs_of(named(pieces), cloth, rules)
    if read.faults:
        raise LayError(list(read.faults))
    one = Judge(read.of, cloth, rules)
    found: list[Problem] = []
    laid: list[LaidPiece] = []
    for given in placements:
        where = placement_of(given)
        if where.piece in read.of:
            laid.append(one.laid(where))
            continue
        text = f"{where.key} is not to be cut."
        found.append(Problem("count", (where.key,), 1.0, text, "not to be cut"))
    return found + one.problems(laid) + one.counts(laid)


class Judge:
    """What is wrong with where copies lie, on one cloth by one set of rules.

    Args:
        specs: piece → how it is cut (`cuts.specs_of`); of others only their lines are judged.
        cloth: its size, folds, nap, stripes.
        rules: the distance between cutting lines.
        bounded: whether the cloth's edges, holes and flaws count.
    """

    def __init__(
        self, specs: Mapping[str, Spec], cloth: Cloth, rules: Rules, *, bounded: bool = True
    ) -> None:
        self.specs = specs
        self.cloth = cloth
        self.distance = max(rules.distance_mm, 0.0)
        self.bounded = bounded

    def laid(self, where: Placement) -> LaidPiece:
        """A copy exactly where it is put.

        Raises:
            KeyError: there is no such piece.
        """
        return laid_piece(self.specs[where.piece], self.cloth, where)

    # -- one copy ----------------------------------------------------------------------------------

    def own(self, p: LaidPiece) -> list[Problem]:
        """What is wrong with one copy by itself: off the cloth, the fold, the grain, the face."""
        asked = (
            self._outside,
            self._off_fold,
            self._beside,
            self._off_border,
            self._turn,
            self._face,
        )
        return [found for ask in asked if (found := ask(p)) is not None]

    def _outside(self, p: LaidPiece) -> Problem | None:
        if not self.bounded:
            return None
        spec = self.specs.get(p.piece)
        tolerant = spec.tolerant if spec is not None else p.piece in self.cloth.tolerates_flaws
        low, high = _box(p)
        if self._plain and np.all(low >= self._corners[0]) and np.all(high <= self._corners[1]):
            return None
        shape = _polygon(p)
        for region, kind, where, short in (
            (self._regions[0], "outside", "the usable cloth", "off the cloth"),
            (self._regions[1], "flaw", "the sound cloth, over a flaw", "over a flaw"),
        ):
            if (kind == "flaw" and tolerant) or region.covers(shape):
                continue
            out = shape.difference(region)
            if out.area <= OUTSIDE_MM2 and region.covers(shape.buffer(-OVERLAP_MM)):
                continue
            depth = _reach(out, region)
            text = f"{p.key} lies {depth:.2f} mm ({out.area:.0f} mm²) outside {where}."
            return Problem(kind, (p.key,), depth, text, short)
        return None

    @cached_property
    def _plain(self) -> bool:
        cloth = self.cloth
        whole = cloth.outline is None and len(self._zones) == 1
        return whole and not cloth.holes and not cloth.flaws

    @cached_property
    def _folds(self) -> dict[bool, tuple[tuple[float, float, float, float], ...]]:
        # above a copy in the lower layer there may be one at the fold itself
        beside = self.cloth.beside_folds_mm
        return {False: beside(self.distance), True: beside(2.0 * self.distance)}

    @cached_property
    def _zones(self) -> tuple[Zone, ...]:
        return self.cloth.zones

    @cached_property
    def _corners(self) -> NDArray[np.float64]:
        return np.array([self.cloth.x_range_mm, self.cloth.y_range_mm]).T

    @cached_property
    def _regions(self) -> tuple[Any, Any]:
        """The usable cloth, and what of it is sound."""
        import shapely

        whole = usable_region(self.cloth, _FAR_MM)
        sound = usable_region(self.cloth, _FAR_MM, flaws=True) if self.cloth.flaws else whole
        shapely.prepare([whole, sound])
        return whole, sound

    def _off_fold(self, p: LaidPiece) -> Problem | None:
        if p.how != FOLD:
            return None
        y = p.outline_mm[:, 1]
        # at each fold: how far its own edge is off, and how many corners lie on it
        ends = [
            (float(y.min() if fold <= y.mean() else y.max()), fold) for fold in self.cloth.folds_mm
        ]
        off, fold = min(((abs(end - fold), fold) for end, fold in ends), default=(math.inf, 0.0))
        edge = int(np.count_nonzero(np.abs(y - fold) <= FOLD_TOLERANCE_MM))
        if off > FOLD_TOLERANCE_MM:
            text = f"{p.key} has its fold edge {off:.2f} mm off the cloth's fold."
        elif edge < 2:
            text = f"{p.key} touches the cloth's fold at one point only."
        else:
            return None
        return Problem("fold", (p.key,), off, text, "off the fold")

    def _beside(self, p: LaidPiece) -> Problem | None:
        """Whether what is cut through both layers keeps its distance from its twin over the fold, and
        what is cut from the lower one from what is cut from the upper."""
        if not (p.how == THROUGH or p.lower) or not self.bounded:
            return None
        low, high = _box(p)
        for x0, x1, y0, y1 in self._folds[p.lower]:
            axis = 0 if y1 - y0 > x1 - x0 and self.cloth.fold == "crosswise" else 1
            first, last = ((x0, x1), (y0, y1))[axis]
            if low[1 - axis] > (x1, y1)[1 - axis] or high[1 - axis] < (x0, y0)[1 - axis]:
                continue
            into = min(last - float(low[axis]), float(high[axis]) - first)
            if into > OVERLAP_MM:
                gap = max((1.0 if p.lower else 0.5) * self.distance - into, 0.0)
                from_what = (
                    "in the lower layer" if p.lower else f"so {2.0 * gap:.2f} mm from its twin"
                )
                text = (
                    f"{p.key} lies {gap:.2f} mm from the fold, {from_what}; "
                    f"{self.distance:g} mm are wanted."
                )
                amount = into if p.lower else 2.0 * into
                return Problem("distance", (p.key,), amount, text, "too near the fold")
        return None

    def _off_border(self, p: LaidPiece) -> Problem | None:
        """Whether its edge lies on the border print, as far from the selvedge as is wanted."""
        spec, side, border = self.specs.get(p.piece), self.cloth.border_mm(), self.cloth.border
        if spec is None or spec.border is None or side is None or border is None:
            return None
        y = carry(p.cloth_from_piece, spec.border)[:, 1]
        off = float(((y - side[0]) * side[1]).min()) - border.from_mm
        if abs(off) <= PHASE_MM:
            return None
        where = "too far from" if off > 0 else "too near"
        text = f"{p.key} lies {abs(off):.1f} mm {where} the selvedge for the border print."
        return Problem("border", (p.key,), abs(off), text, "off the border")

    def tilt(self, piece: str, turn: float, mirrored: bool) -> float:
        """Degrees from the nearest turn that is allowed, −180 to 180; 0 of a piece not known."""
        spec = self.specs.get(piece)
        return spec.tilt_of(turn, mirrored) if spec is not None else 0.0

    def _turn(self, p: LaidPiece) -> Problem | None:
        spec = self.specs.get(p.piece)
        if spec is None:
            return None
        off = abs(spec.tilt_of(p.turn, p.mirrored))
        if off <= spec.tilt + TURN_DEG:
            return None
        base = -spec.grain_turn if p.mirrored else spec.grain_turn
        allowed = ", ".join(f"{t:g}°" for t in sorted((t + base) % 360.0 for t in spec.turns))
        leave = f", {spec.tilt:g}° more or less" if spec.tilt else ""
        text = f"{p.key} is turned {p.turn:g}°; allowed are {allowed}{leave}."
        if abs(off - 180.0) < TURN_DEG:
            return Problem("nap", (p.key,), off, text, "against the nap")
        return Problem("grain", (p.key,), off, text, f"off grain {off:.1f}°")

    def _face(self, p: LaidPiece) -> Problem | None:
        """Whether it lies where the cloth has the layers, and shows the side, that it is cut from."""
        spec = self.specs.get(p.piece)
        zones = self._zones
        if spec is None:
            return None
        low, high = _box(p)
        here = max(zones, key=lambda z: _shared(z, low, high))
        if len(zones) > 1 and p.how != SINGLE and here.layers == 1:
            text = f"{p.key} is to be cut through both layers, and lies where there is only one."
            return Problem("layers", (p.key,), 1.0, text, "needs two layers")
        if p.lower and here.layers == 1:
            text = f"{p.key} is to be cut from the lower layer, and lies where there is only one."
            return Problem("layers", (p.key,), 1.0, text, "has no lower layer")
        other = [z for z in zones if (z.layers, z.x) != (here.layers, here.x)]
        over = [z for z in other if _shared(z, low, high) > OVERLAP_MM]
        if over and _shared_area(over, p) > OUTSIDE_MM2:
            text = f"{p.key} lies across a line where the cloth begins to lie otherwise."
            return Problem("layers", (p.key,), 1.0, text, "across the line")
        right = zones_for(spec, self.cloth, p.how, p.mirrored, p.lower)
        if p.how != SINGLE or spec.alike or here in right:
            return None
        upper = "the upper layer" if here.layers == 2 else "the cloth there"
        if here.wrong_side != p.lower:
            layer = f"{'the lower layer' if p.lower else upper} shows its wrong side"
        else:
            layer = f"{'the lower layer' if p.lower else 'the cloth'} lies right side up"
        text = f"{p.key} lies wrong side up, and would be cut mirrored: {layer}. Turn it over."
        return Problem("side", (p.key,), 1.0, text, "wrong side up")

    # -- copies and each other -----------------------------------------------------------------------

    def of_pairs(self, laid: Sequence[LaidPiece]) -> list[Problem]:
        """Left and right of a pair that lie the same way up in one layer."""
        found = []
        for name, spec in self.specs.items():
            copies = [p for p in laid if p.piece == name and p.how == SINGLE]
            if not spec.pair or spec.alike or len(copies) < 2:
                continue
            for p in copies:
                # it does not matter which is the turned one, only that one of them is
                alike = sum(1 for q in copies if q.mirrored == p.mirrored)
                if p.mirrored != (p.copy % 2 == 0) and 2 * alike > len(copies):
                    others = ", ".join(q.key for q in copies if q is not p)
                    text = (
                        f"{p.key} lies the same side up as {others}: both would be cut for one side. "
                        "Turn it over."
                    )
                    found.append(Problem("side", (p.key,), 1.0, text, "wrong side up"))
        return found

    def between(self, laid: Sequence[LaidPiece]) -> list[Problem]:
        """Copies that overlap or lie nearer than the distance."""
        from shapely import STRtree

        shapes = [_polygon(p) for p in laid]
        found = []
        for i, j in near_pairs(STRtree(shapes), shapes, self.distance):
            if not laid[i].apart_from(laid[j]):
                depth = _depth(shapes[i], shapes[j])
                keys = (laid[i].key, laid[j].key)
                names = f"{keys[0]} and {keys[1]}"
                if depth > OVERLAP_MM:
                    text = f"{names} overlap by {depth:.2f} mm."
                    found.append(Problem("overlap", keys, depth, text, "overlaps"))
                elif too_near(shapes[i], shapes[j], self.distance):
                    gap = float(shapes[i].distance(shapes[j]))
                    text = f"{names} are {gap:.2f} mm apart; {self.distance:g} mm are wanted."
                    missing = self.distance - gap
                    found.append(Problem("distance", keys, missing, text, "too near"))
        return found

    def phases(self, laid: Sequence[LaidPiece]) -> list[Problem]:
        """Match points that do not fall on the phase of the first of their group."""
        found = []
        first: dict[int, tuple[str, NDArray[np.float64]]] = {}
        ways = zip((0, 1), self.cloth.repeats_mm, ("along", "across"), strict=True)
        repeats = [way for way in ways if way[1]]
        for p in laid:
            spec = self.specs.get(p.piece)
            if spec is None or spec.match is None:
                continue
            at = p.point(spec.match)
            key, origin = first.setdefault(spec.group, (p.key, at))
            for axis, repeat, word in repeats:
                off = (at[axis] - origin[axis] + 0.5 * repeat) % repeat - 0.5 * repeat
                if abs(off) > PHASE_MM:
                    text = (
                        f"{p.key} meets the stripes {abs(off):.1f} mm off {key}, {word} the cloth."
                    )
                    keys = (key, p.key)
                    found.append(Problem("stripes", keys, abs(off), text, "off the stripes"))
        return found

    # -- the whole -----------------------------------------------------------------------------------

    def problems(self, laid: Sequence[LaidPiece]) -> list[Problem]:
        """Everything wrong with what lies there, overlaps first."""
        found = self.between(laid)
        for p in laid:
            found += self.own(p)
        return found + self.of_pairs(laid) + self.phases(laid)

    def counts(
        self, laid: Sequence[LaidPiece], left_out: Sequence[str] | None = None
    ) -> list[Problem]:
        """Copies laid twice or never wanted; with ``left_out`` also those nobody has named."""
        wanted = Counter(
            f"{name}/{n}" for name, s in self.specs.items() for c in s.cuts for n in c.copies
        )
        there = Counter(p.key for p in laid) + Counter(left_out or ())
        found = []
        for key in sorted(set(wanted) | set(there)):
            off = there[key] - wanted[key]
            if off > 0:
                text = f"{key} is laid {there[key]} times; {wanted[key]} is wanted."
                found.append(Problem("count", (key,), float(off), text, "one too many"))
            elif off < 0 and left_out is not None:
                text = f"{key} is neither laid nor named as left out."
                found.append(Problem("count", (key,), float(-off), text, "missing"))
        return found

    def faults_among(self, locked: Sequence[LaidPiece]) -> list[Fault]:
        """What makes locked pieces contradict each other or the cloth, as faults that name them.

        How she turned one herself is her own choice, so grain, side and stripes are not in it.
        """
        remedy = "Unlock one of them or move it."
        found = [Fault("locked pieces", p.text, remedy) for p in self.between(locked)]
        for p in locked:
            for problem, say in (
                (self._outside(p), "Unlock it or move it."),
                (self._off_fold(p), "Move its fold edge onto the fold."),
            ):
                if problem is not None:
                    found.append(Fault("locked pieces", problem.text, say))
        return found


def problems_of(lay: Lay) -> list[Problem]:
    """Everything wrong with a lay, missing copies too."""
    specs = lay.job.specs if lay.job is not None else {}
    one = Judge(specs, lay.cloth, Rules(lay.distance_mm))
    found = one.problems(lay.placements)
    return found + one.counts(lay.placements, lay.left_out) if lay.job is not None else found


def is_sound(job: Job, state: State) -> bool:
    """Whether a planner's state is valid (copies left out apart, and what she locked herself)."""
    laid = job.laid_all(state.stance, state.at)
    locked = {p.key for p in job.locked}
    one = Judge(job.specs, job.cloth, Rules(job.distance))
    if any(any(k not in locked for k in p.keys) for p in one.between(laid)):
        return False
    if any(one.own(p) for p in laid if not p.locked):
        return False
    rest = one.of_pairs(laid) + one.phases(laid)
    return not any(any(k not in locked for k in p.keys) for p in rest)


# -- shapes ------------------------------------------------------------------------------------------


def near_of(tree: Any, shape: Any, distance: float) -> list[int]:
    """Indices of a tree's shapes that touch ``shape`` or come within ``distance`` mm."""
    return [int(k) for k in _near(tree, shape, distance)]


def near_pairs(tree: Any, shapes: Sequence[Any], distance: float) -> list[tuple[int, int]]:
    """The like of a tree's own shapes, the lower index first."""
    found = _near(tree, np.array(shapes, dtype=object), distance)
    return sorted((i, j) for i, j in found.T.tolist() if i < j)


def _near(tree: Any, shapes: Any, distance: float) -> Any:
    predicate = "dwithin" if distance else "intersects"
    return tree.query(shapes, predicate=predicate, distance=distance or None)


def too_near(one: Any, two: Any, distance: float) -> bool:
    """Whether two shapes lie nearer to each other than ``distance`` mm."""
    return distance > 0.0 and float(one.distance(two)) < distance - OVERLAP_MM


def inset(shape: Any) -> Any:
    """A shape drawn in by half the overlap that is let pass: two that still meet overlap."""
    return shape.buffer(-0.5 * OVERLAP_MM)


def _shared(zone: Zone, low: NDArray[np.float64], high: NDArray[np.float64]) -> float:
    """How much of a box lies in a zone: the square root of the area, mm."""
    x = min(zone.x[1], float(high[0])) - max(zone.x[0], float(low[0]))
    y = min(zone.y[1], float(high[1])) - max(zone.y[0], float(low[1]))
    return math.sqrt(max(x, 0.0) * max(y, 0.0))


def _shared_area(zones: Sequence[Zone], p: LaidPiece) -> float:
    """Area of a piece inside zones, mm²."""
    from shapely.geometry import box

    shape, far = _polygon(p), 1e7
    return sum(
        float(shape.intersection(box(z.x[0], z.y[0], min(z.x[1], far), z.y[1])).area) for z in zones
    )


def _box(piece: LaidPiece) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return piece.outline_mm.min(axis=0), piece.outline_mm.max(axis=0)


def _polygon(piece: LaidPiece) -> Any:
    from shapely.geometry import Polygon

    return Polygon(piece.outline_mm)


def _depth(one: Any, two: Any) -> float:
    """How deep two shapes overlap: twice the inset at which both no longer meet, mm."""
    if not one.intersects(two) or one.intersection(two).area < 1e-9:
        return 0.0
    if not inset(one).intersects(inset(two)):
        return 0.0
    low, high = 0.0, OVERLAP_MM
    while one.buffer(-high).intersects(two.buffer(-high)) and high < 1000.0:
        low, high = high, 2.0 * high
    for _ in range(12):
        middle = 0.5 * (low + high)
        meet = one.buffer(-middle).intersects(two.buffer(-middle))
        low, high = (middle, high) if meet else (low, middle)
    return 2.0 * high


def _reach(out: Any, region: Any) -> float:
    """How far a shape reaches out of a region, mm."""
    import shapely

    corners = shapely.get_coordinates(out)
    return float(np.max(shapely.distance(region, shapely.points(corners)), initial=0.0))
