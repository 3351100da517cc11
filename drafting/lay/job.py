"""From pieces and cloth to a job for the planners: what is cut how often, in which stances, where.

Here the trade's rules, as `cuts` has read them from pieces and cloth, become geometry. Nap and
grain decide the stances, shrinkage the size; holes, flaws, what lies outside a remnant and locked
pieces become obstacles. Everything that cannot be cut is said here, all at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from configs.errors import Fault, LayError
from drafting.cloth import Cloth
from drafting.lay.cuts import (
    FOLD,
    FOLD_TOLERANCE_MM,
    SINGLE,
    THROUGH,
    Cut,
    Spec,
    laid_piece,
    named,
    on_folds,
    specs_of,
    zones_for,
)
from drafting.lay.laid import LaidPiece, placement_of
from drafting.lay.rules import MOST_DISTANCE_MM, Rules
from drafting.lay.shapes import (
    cleaned,
    convex_parts,
    counter_clockwise,
    pieces_without_holes,
    simplified_around,
)
from drafting.outline import Points, signed_area
from drafting.piece import Piece
from drafting.placement import carry, cloth_from_piece

_FINE = 0.0003  # of the cloth's width: how far outlines are simplified for the exact planners
_COARSE = 0.0022  # the same for the raster
_BESIDE, _BELOW = -1, -2  # among a stance's zones: how it keeps its distance from the fold
UPPER, LOWER, BOTH = 1, 2, 3  # layers, as bits
_MAX_COPIES = 400
_FAR_MM = 1e5  # farther than any bolt is long


@dataclass(frozen=True, eq=False)
class Stance:
    """One way for a kind of piece to lie, its origin at (0, 0) of the cloth frame.

    ``turn``, ``mirrored``: as in `Placement`; ``matrix``: (3, 3) piece → cloth at the origin;
    ``ring``: (N, 2) true cutting line; ``around``: a simpler ring that covers it; ``fine``, ``coarse``: convex parts of rings around it;
    ``low``, ``high``: (2,) bounds of the true ring; ``where``: which zones of the cloth it may lie in
    (`Obstacle.where`); ``room``: how wide the widest of them is; ``pin``: the one y that its origin may have; ``match``: (2,) match point; ``from_top``: its
    fold edge is its highest and lies on the cloth's upper fold; ``layers``: which it is cut from, 1 the
    upper, 2 the lower, 3 both (as bits).
    """

    turn: float
    mirrored: bool
    matrix: NDArray[np.float64]
    ring: Points
    around: Points
    fine: tuple[Points, ...]
    coarse: tuple[Points, ...]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    match: NDArray[np.float64] | None = None
    from_top: bool = False
    where: tuple[int, ...] = ()
    room: float = math.inf
    pin: float | None = None
    layers: int = BOTH


@dataclass(frozen=True, eq=False)
class Kind:
    """Copies that are cut alike: one piece, one way of cutting, the same stances.

    ``layers``: cloth layers cut; ``tolerant``: may cover a flaw; ``group``: stripe group or −1.
    """

    piece: str
    how: str
    stances: tuple[Stance, ...]
    area: float
    layers: int
    tolerant: bool
    group: int = -1


@dataclass(frozen=True)
class Item:
    """One copy to be laid: index of its kind, number of the copy."""

    kind: int
    copy: int


@dataclass(frozen=True, eq=False)
class Obstacle:
    """Something that cutting lines keep clear of by ``clearance`` mm.

    ``flaw``: tolerant ones do not; ``where``: only stances of the same ``where`` do, None for all;
    ``layers``: in which layers it lies, as bits.
    """

    parts: tuple[Points, ...]
    clearance: float
    flaw: bool = False
    where: tuple[int, ...] | None = None
    layers: int = BOTH

    def stops(self, tolerant: bool, where: tuple[int, ...], layers: int) -> bool:
        """Whether a copy that lies so has to keep clear of it."""
        if self.flaw and tolerant:
            return False
        return self.where in (None, where) and bool(self.layers & layers)


@dataclass(frozen=True, eq=False)
class Job:
    """All that a planner needs, in plain arrays. Lengths mm, cloth frame.

    The lay keeps inside ``start`` ≤ x ≤ ``stop`` (infinite off the bolt) and ``bottom`` ≤ y ≤ ``top``
    and off the ``obstacles``; fold kinds keep their lowest edge at y = 0, or their highest at ``top``
    where that is a fold too. ``specs``: piece → how it
    is cut, what the judge goes by.
    """

    cloth: Cloth
    kinds: tuple[Kind, ...]
    items: tuple[Item, ...]
    obstacles: tuple[Obstacle, ...]
    locked: tuple[LaidPiece, ...]
    distance: float
    notes: tuple[str, ...]
    specs: Mapping[str, Spec]

    @property
    def start(self) -> float:
        """Lowest x."""
        return self.cloth.x_range_mm[0]

    @property
    def stop(self) -> float:
        """Highest x."""
        return self.cloth.x_range_mm[1]

    @property
    def bottom(self) -> float:
        """Lowest y."""
        return self.cloth.y_range_mm[0]

    @property
    def top(self) -> float:
        """Highest y."""
        return self.cloth.y_range_mm[1]

    @property
    def plain(self) -> bool:
        """Whether it is a plain strip: no fold edge, no obstacle, no stripe to meet."""
        return (
            not self.obstacles
            and not self.locked
            and self.cloth.outline is None
            and all(k.how != "fold" and k.group < 0 for k in self.kinds)
            and all(s.pin is None and s.layers != LOWER for k in self.kinds for s in k.stances)
        )

    def kind_of(self, i: int) -> Kind:
        """The kind of the item of that number."""
        return self.kinds[self.items[i].kind]

    def stance_of(self, i: int, stance: NDArray[np.int64]) -> Stance:
        """How the item of that number lies, by ``stance``, which has its own for every item."""
        return self.kind_of(i).stances[int(stance[i])]

    def key(self, item: Item) -> str:
        """The copy's name: ``front/1``."""
        return f"{self.kinds[item.kind].piece}/{item.copy}"

    def fits_across(self, item: Item) -> bool:
        """Whether the copy is narrow enough for the cloth in any stance."""
        stances = self.kinds[item.kind].stances
        return any(s.high[1] - s.low[1] <= s.room + 1e-6 for s in stances)

    def laid_all(self, stance: NDArray[np.int64], at: NDArray[np.float64]) -> list[LaidPiece]:
        """Locked pieces first, then the items that have a stance (≥ 0), in their order."""
        out = list(self.locked)
        for i, item in enumerate(self.items):
            if stance[i] >= 0:
                out.append(self.laid(item, self.kinds[item.kind].stances[stance[i]], at[i]))
        return out

    def laid(self, item: Item, stance: Stance, at: Sequence[float]) -> LaidPiece:
        """The copy laid in a stance with its origin at ``at``."""
        kind = self.kinds[item.kind]
        x, y = float(at[0]), float(at[1])
        matrix = stance.matrix.copy()
        matrix[:2, 2] = x, y
        ring = stance.ring + np.array([x, y])
        if kind.how == "fold":
            on_folds(ring, self.cloth)
        return LaidPiece(
            kind.piece, item.copy, (x, y), stance.turn, stance.mirrored, False, kind.how,
            matrix, ring, stance.layers == LOWER, stance.layers == UPPER,
        )  # fmt: skip


def make_job(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    cloth: Cloth,
    rules: Rules | None = None,
    locked: Iterable[Any] = (),
) -> Job:
    """Check pieces, cloth and locked placements against each other and make the planners' job.

    Raises:
        LayError: everything that cannot be laid as asked, naming the pieces.
    """
    return _Maker(cloth, rules or Rules()).job(named(pieces), locked)


class _Maker:
    def __init__(self, cloth: Cloth, rules: Rules) -> None:
        self.cloth = cloth
        self.rules = rules
        self.faults: list[Fault] = []
        self.kinds: list[Kind] = []
        self.items: list[Item] = []
        self.distance = float(rules.distance_mm)
        if not 0.0 <= self.distance <= MOST_DISTANCE_MM:
            self.fault("distance", f"{self.distance:g} mm is outside 0 to {MOST_DISTANCE_MM:g} mm.")
            self.distance = 0.0
        low, high = cloth.y_range_mm
        if not high - low > 0:
            self.fault("cloth", "has no width to lay pieces on.", "Give its width in mm.")
        self.width = max(high - low, 1.0)
        if cloth.fold == "crosswise" and cloth.nap == "one-way":
            self.fault(
                "cloth",
                "a nap does not go with a crosswise fold: the upper layer would run the other way.",
                "Fold it lengthwise or lay it single.",
            )
        # a fine shape costs little where there is much cloth, and must not grow with its size
        # however the cloth is folded, so that the pieces look alike on all ways
        wide = self.width if cloth.outline is not None else cloth.width_mm
        self.fine = min(0.5, max(0.02, _FINE * wide))
        self.coarse = min(3.0, max(0.05, _COARSE * wide))

    def fault(self, where: str, what: str, remedy: str = "") -> None:
        self.faults.append(Fault(where, what, remedy))

    def job(self, pieces: dict[str, Piece], locked: Iterable[Any]) -> Job:
        if not pieces:
            self.fault("", "There are no pieces to lay.")
        read = specs_of(pieces, self.cloth, self.rules)
        self.faults += read.faults
        for spec in read.of.values():
            for cut in spec.cuts if spec.turns else ():
                kind = self.kind(spec, pieces[spec.name], cut)
                if kind is not None:
                    self.kinds.append(kind)
                    self.items += [Item(len(self.kinds) - 1, n) for n in cut.copies]
        if len(self.items) > _MAX_COPIES:
            self.fault("", f"{len(self.items)} copies are more than {_MAX_COPIES}.")
        if self.faults:
            raise LayError(self.faults)
        self.check_fold_phases()
        obstacles = [*self.obstacles(), *self.beyond_zones()]
        fixed, rest = self.lock(locked, read.of)
        obstacles += [
            Obstacle(
                split(around(p.outline_mm, self.fine)), self.distance,
                layers=LOWER if p.lower else UPPER if p.upper else BOTH,
            )
            for p in fixed
        ]  # fmt: skip
        if self.faults:
            raise LayError(self.faults)
        return Job(
            self.cloth,
            tuple(self.kinds),
            tuple(rest),
            tuple(obstacles),
            tuple(fixed),
            self.distance,
            read.notes,
            read.of,
        )

    # -- pieces

    def kind(self, spec: Spec, piece: Piece, cut: Cut) -> Kind | None:
        tilts = (0.0, spec.tilt, -spec.tilt) if spec.tilt else (0.0,)
        matched = spec.match is not None
        stances: list[Stance] = []
        seen: list[tuple[Any, Points]] = []
        # a stripe is met in the layer that she sees
        below = cut.how == SINGLE and self.cloth.folded and not matched
        fold = piece.fold if cut.how == FOLD else None
        ways = product((False, True) if below else (False,), spec.turns, tilts, cut.sides)
        for lower, turn, tilt, flip in ways:
            stance = self.stance(spec, turn + tilt, flip, fold)
            zones = zones_for(spec, self.cloth, cut.how, flip, lower)
            if stance is None or not zones:
                continue
            # where the cloth lies single it is the lower layer that goes on there
            upper = cut.how == SINGLE and all(z.layers == 2 for z in zones)
            beside = (_BESIDE,) if cut.how == THROUGH else (_BELOW,) if lower else ()
            stance = replace(
                stance,
                where=(*map(self.cloth.zones.index, zones), *beside),
                room=max(z.y[1] - z.y[0] for z in zones),
                layers=LOWER if lower else UPPER if upper else BOTH,
            )
            shape = stance.ring - stance.low
            top = (stance.from_top, stance.where, stance.layers)
            if matched or not any(top == t and _same_ring(shape, o) for t, o in seen):
                seen.append((top, shape))
                stances.append(stance)
        if not stances:
            self.fault(
                spec.name,
                "its fold edge cannot lie on the cloth's fold: it must run along the grain "
                "and be an outer edge of the half piece.",
                "Lay it on single cloth, or turn the piece or its fold.",
            )
            return None
        area = abs(signed_area(stances[0].ring))
        return Kind(spec.name, cut.how, tuple(stances), area, cut.layers, spec.tolerant, spec.group)

    def stance(self, spec: Spec, angle: float, flip: bool, fold: Any) -> Stance | None:
        # the planners turn nothing, so the docket's turn carries the grain's slant
        turn = (angle + (-spec.grain_turn if flip else spec.grain_turn)) % 360.0
        growth = self.cloth.growth(turn, flip)
        matrix = cloth_from_piece((0.0, 0.0), turn, flip)
        matrix[:2, :2] = matrix[:2, :2] @ growth
        laid = carry(matrix, spec.ring)
        if flip:
            laid = laid[::-1]
        shift = 0.0
        from_top = False
        if fold is not None:
            ends = carry(matrix, fold)
            if abs(ends[0, 1] - ends[1, 1]) > FOLD_TOLERANCE_MM:
                return None
            shift = -float(ends[0, 1])
            if laid[:, 1].min() + shift < -FOLD_TOLERANCE_MM:
                # stripes across fix where it lies, and the one phase is that of the fold at y = 0
                free = not (spec.match is not None and self.cloth.repeat_width_mm)
                free = free and self.cloth.open_from_mm is None  # the planners know it at the top
                from_top = len(self.cloth.folds_mm) > 1 and free
                if not from_top or laid[:, 1].max() + shift > FOLD_TOLERANCE_MM:
                    return None
            if np.count_nonzero(np.abs(laid[:, 1] + shift) < FOLD_TOLERANCE_MM) < 2:
                return None
            laid = laid.copy()
            laid[np.abs(laid[:, 1] + shift) < FOLD_TOLERANCE_MM, 1] = -shift
        if fold is not None:
            rough = _clipped(around(laid, self.fine), -shift, above=from_top)
            fine, coarse = split(rough), split(around(laid, self.coarse))
        else:
            rough, fine, coarse = self.like_others(spec.ring, growth, turn, flip)
        # only true points bound a piece against the cloth's edge, or a full-width piece never fits
        low, high = laid.min(axis=0), laid.max(axis=0)
        match = None if spec.match is None else carry(matrix, spec.match)
        pin = self.pinned(spec, matrix, low, high)
        return Stance(
            turn, flip, matrix, laid, rough, fine, coarse, low, high, match, from_top, pin=pin
        )

    def pinned(self, spec: Spec, matrix: Any, low: Points, high: Points) -> float | None:
        """Where the origin of a piece on the border lies across the cloth; None of any other."""
        border, side = self.cloth.border, self.cloth.border_mm()
        if spec.border is None or border is None or side is None:
            return None
        y = carry(matrix, spec.border)[:, 1]
        nearest = float(y.min() if side[1] > 0 else y.max())
        pin = side[0] + side[1] * border.from_mm - nearest
        bottom, top = self.cloth.y_range_mm
        over = max(bottom - (pin + float(low[1])), pin + float(high[1]) - top)
        if over > 1e-6:
            self.fault(
                "cloth.border",
                f"{spec.name} reaches {over:.1f} mm past the usable cloth when its edge lies on the border.",
                f"Say at least 'from: {border.from_mm + over:.0f} mm', or piece it.",
            )
        return pin

    def like_others(
        self, ring: Points, growth: NDArray[np.float64], turn_deg: float, flip: bool
    ) -> tuple[Points, tuple[Points, ...], tuple[Points, ...]]:
        """Simplified ring and parts of a stance, turned from those made once for the piece."""
        rough = around(ring @ growth.T, self.fine)
        turned = cloth_from_piece((0.0, 0.0), turn_deg, flip)

        def turn(points: Points) -> Points:
            out = carry(turned, points)
            return np.ascontiguousarray(out[::-1] if flip else out)

        fine, coarse = split(rough), split(around(rough, self.coarse))
        return turn(rough), tuple(map(turn, fine)), tuple(map(turn, coarse))

    # -- stripes

    def check_fold_phases(self) -> None:
        """Fold pieces cannot slide across: do their match points meet the stripes there at all?"""
        repeat = self.cloth.repeat_width_mm
        first: dict[int, tuple[str, float]] = {}
        for k in self.kinds:
            s = k.stances[0]
            if not repeat or k.group < 0 or k.how != "fold" or s.match is None:
                continue
            y = float(s.match[1] - s.low[1])
            name, other = first.setdefault(k.group, (k.piece, y))
            off = (y - other + 0.5 * repeat) % repeat - 0.5 * repeat
            if abs(off) > 0.4:
                self.fault(
                    "cloth.match",
                    f"{name} and {k.piece} lie on the fold, and there their match points are "
                    f"{abs(off):.1f} mm apart across the stripes.",
                    "Match another place, match along the length only, or lay it single.",
                )

    # -- cloth

    def obstacles(self) -> list[Obstacle]:
        from shapely.geometry import Polygon, box

        cloth = self.cloth
        found: list[Obstacle] = []
        if cloth.outline is not None:
            start, stop = cloth.x_range_mm
            low, high = cloth.y_range_mm
            margin = 0.2 * self.width
            outside = box(start - margin, low - margin, stop + margin, high + margin)
            outside = outside.difference(Polygon(cloth.outline))
            found += [Obstacle(split(ring), 0.0) for ring in pieces_without_holes(outside)]
        for flaw, rings in ((False, cloth.holes), (True, cloth.flaws)):
            for r in rings:
                ring = counter_clockwise(cleaned(np.array(r)))
                found.append(Obstacle(split(around(ring, self.fine)), 0.0, flaw))
        return found

    def beyond_zones(self) -> list[Obstacle]:
        """What lies between the zones, and the zones that a stance may not lie in, stance by stance."""
        from shapely.geometry import box
        from shapely.ops import unary_union

        zones = self.cloth.zones
        # what lies above one of the lower layer may lie at the fold itself
        beside = {
            _BESIDE: self.cloth.beside_folds_mm(self.distance),
            _BELOW: self.cloth.beside_folds_mm(2.0 * self.distance),
        }
        if len(zones) < 2 and not beside[_BESIDE]:
            return []
        start, stop = self.cloth.x_range_mm
        low, high = self.cloth.y_range_mm
        end = stop if math.isfinite(stop) else _FAR_MM
        whole = box(start - 1.0, low, end + 1.0, high)
        found = []
        for where in sorted({s.where for k in self.kinds for s in k.stances}):
            mine = [zones[i] for i in where if i >= 0]
            rooms = [
                box(z.x[0] - (z.x[0] <= start), z.y[0], min(z.x[1], end) + (z.x[1] >= stop), z.y[1])
                for z in mine
            ]
            rest = whole.difference(unary_union(rooms))
            if where[-1] in beside:
                strips = [
                    box(max(a, start - 1.0), c, min(b, end + 1.0), d)
                    for a, b, c, d in beside[where[-1]]
                ]
                rest = unary_union([rest, *strips]).intersection(whole)
            rings = pieces_without_holes(rest)
            found += [Obstacle(split(ring), 0.0, where=where) for ring in rings]
        return found

    # -- locked pieces

    def lock(
        self, locked: Iterable[Any], specs: Mapping[str, Spec]
    ) -> tuple[list[LaidPiece], list[Item]]:
        """Locked placements as laid pieces, and the items left to plan."""
        rest = list(self.items)
        laid: list[LaidPiece] = []
        for where in map(placement_of, locked):
            name = where.piece
            item = next(
                (i for i in rest if self.kinds[i.kind].piece == name and i.copy == where.copy), None
            )
            if item is None:
                known = sorted({k.piece for k in self.kinds})
                why = (
                    "this copy is locked twice or there are not so many"
                    if name in known
                    else f"there is no such piece; there are {', '.join(known)}"
                )
                self.fault(where.key, f"is locked, but {why}.")
                continue
            rest.remove(item)
            self.side_left(item, where.mirrored, rest)
            laid.append(laid_piece(specs[name], self.cloth, replace(where, locked=True)))
        if laid:
            from drafting.lay.check import Judge

            self.faults += Judge(specs, self.cloth, self.rules).faults_among(laid)
        return laid, rest

    def side_left(self, locked: Item, mirrored: bool, rest: list[Item]) -> None:
        """She has taken the other one of a pair: what is left to plan is the one that is wanted."""
        kind = self.kinds[locked.kind]
        if any(s.mirrored == mirrored for s in kind.stances):
            return
        for i, item in enumerate(rest):
            other = self.kinds[item.kind]
            if other.piece == kind.piece and any(s.mirrored == mirrored for s in other.stances):
                rest[i] = Item(locked.kind, item.copy)
                return


R = TypeVar("R")


def _remembered(make: Callable[..., R]) -> Callable[..., R]:
    """A function of a ring (N, 2) that keeps its answers: every way to fold a cloth asks for the same."""
    kept = lru_cache(maxsize=2048)(
        lambda ring, *rest: make(np.frombuffer(ring).reshape(-1, 2), *rest)
    )
    return lambda ring, *rest: kept(np.ascontiguousarray(ring).tobytes(), *rest)


@_remembered
def around(ring: Points, tolerance: float) -> Points:
    """`simplified_around`, not to be written to."""
    made = simplified_around(ring, tolerance)
    made.flags.writeable = False
    return made


@_remembered
def split(ring: Points) -> tuple[Points, ...]:
    """`convex_parts`, not to be written to; of a ring that crosses itself a hull that covers it."""
    try:
        parts = convex_parts(ring)
    except ValueError:
        from shapely.geometry import Polygon

        hull = Polygon(ring).buffer(0).convex_hull
        parts = (counter_clockwise(np.array(hull.exterior.coords)[:-1]),)
    for part in parts:
        part.flags.writeable = False
    return parts


def _same_ring(one: Points, two: Points) -> bool:
    """Whether two rings have the same corners (wherever they start)."""
    if len(one) != len(two):
        return False
    a = np.round(one[np.lexsort((np.round(one[:, 1], 2), np.round(one[:, 0], 2)))], 1)
    b = np.round(two[np.lexsort((np.round(two[:, 1], 2), np.round(two[:, 0], 2)))], 1)
    return bool(np.allclose(a, b, atol=0.11))


def _clipped(ring: Points, y: float, *, above: bool) -> Points:
    """The ring with whatever its simplification added past the fold cut off again."""
    if (ring[:, 1].max() <= y + 1e-12) if above else (ring[:, 1].min() >= y - 1e-12):
        return ring
    from shapely.geometry import Polygon, box

    shape = Polygon(ring)
    left, low, right, high = shape.bounds
    keep = box(left - 1, low - 1, right + 1, y) if above else box(left - 1, y, right + 1, high + 1)
    cut = shape.intersection(keep)
    if cut.geom_type != "Polygon":
        return ring
    return counter_clockwise(np.array(cut.exterior.coords)[:-1])
