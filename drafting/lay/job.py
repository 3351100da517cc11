"""From pieces and cloth to a job for the planners: what is cut how often, in which stances, where.

Here the trade's rules become geometry. Folded cloth turns a pair into one outline cut through both
layers and a cut-on-fold piece into a half with its fold edge at y = 0; single cloth turns the pair
into a piece and its mirror image and opens the cut-on-fold piece out. Nap and grain decide the
stances, shrinkage the size; holes, flaws, what lies outside a remnant and locked pieces become
obstacles. Everything that cannot be cut is said here, all at once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import Fault, LayError
from drafting.cloth import Cloth, MatchPoint
from drafting.lay.model import LaidPiece
from drafting.lay.shapes import (
    Points,
    cleaned,
    convex_parts,
    counter_clockwise,
    pieces_without_holes,
    ring_area,
    same_turned_over,
    simplified_around,
)
from drafting.piece import Piece
from drafting.placement import cloth_from_piece, grain_turn

FOLD_TOLERANCE_MM = 0.05
_FINE = 0.0003  # of the cloth's width: how far outlines are simplified for the exact planners
_COARSE = 0.0015  # the same for the raster
_MAX_COPIES = 400


@dataclass(frozen=True, eq=False)
class Stance:
    """One way for a kind of piece to lie, its origin at (0, 0) of the cloth frame.

    ``turn``, ``mirrored``: as in `Placement`; ``matrix``: (3, 3) piece → cloth at the origin;
    ``ring``: (N, 2) true cutting line; ``around``: a simpler ring that covers it; ``fine``, ``coarse``: convex parts of rings around it;
    ``low``, ``high``: (2,) bounds of the true ring; ``match``: (2,) match point.
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
    """Something that cutting lines keep clear of by ``clearance`` mm; ``flaw``: tolerant ones not."""

    parts: tuple[Points, ...]
    clearance: float
    flaw: bool
    name: str


@dataclass(frozen=True, eq=False)
class Job:
    """All that a planner needs, in plain arrays. Lengths mm, cloth frame.

    The lay keeps inside ``start`` ≤ x ≤ ``stop`` (infinite off the bolt) and ``bottom`` ≤ y ≤ ``top``
    and off the ``obstacles``; fold kinds keep their lowest edge at y = 0. ``grains``: piece → its
    grain's direction in its own frame (unit vector; what points along the cloth at turn 0).
    """

    cloth: Cloth
    kinds: tuple[Kind, ...]
    items: tuple[Item, ...]
    obstacles: tuple[Obstacle, ...]
    locked: tuple[LaidPiece, ...]
    distance: float
    notes: tuple[str, ...]
    turns: Mapping[str, tuple[float, ...]]
    grains: Mapping[str, tuple[float, float]] = field(default_factory=dict)

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
        )

    def key(self, item: Item) -> str:
        """The copy's name: ``front/1``."""
        return f"{self.kinds[item.kind].piece}/{item.copy}"

    def fits_across(self, item: Item) -> bool:
        """Whether the copy is narrow enough for the cloth in any stance."""
        room = self.top - self.bottom + 1e-6
        return any(s.high[1] - s.low[1] <= room for s in self.kinds[item.kind].stances)

    @staticmethod
    def match_place(kind: Kind, laid: LaidPiece) -> NDArray[np.float64]:
        """(2,) where a laid copy's match point lies, cloth mm."""
        stance = kind.stances[0]
        if stance.match is None:
            raise ValueError(f"{kind.piece} has no match point")
        point = np.linalg.solve(stance.matrix[:2, :2], stance.match)
        out: NDArray[np.float64] = (
            laid.cloth_from_piece[:2, :2] @ point + laid.cloth_from_piece[:2, 2]
        )
        return out

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
            edge = np.abs(ring[:, 1]) < FOLD_TOLERANCE_MM
            ring[edge, 1] = 0.0
        return LaidPiece(
            kind.piece, item.copy, (x, y), stance.turn, stance.mirrored, False, kind.how,
            matrix, ring,
        )  # fmt: skip


def make_job(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    cloth: Cloth,
    *,
    distance_mm: float = 0.0,
    allowances: Mapping[str, Any] | None = None,
    quantity: int | Mapping[str, int] = 1,
    locked: Iterable[Any] = (),
) -> Job:
    """Check pieces, cloth and locked placements against each other and make the planners' job.

    Raises:
        LayError: everything that cannot be laid as asked, naming the pieces.
    """
    return _Maker(cloth, distance_mm, allowances or {}).job(_named(pieces), quantity, locked)


def _named(pieces: Mapping[str, Piece] | Iterable[Piece]) -> dict[str, Piece]:
    if isinstance(pieces, Mapping):
        return {str(k): v for k, v in pieces.items()}
    out: dict[str, Piece] = {}
    twice = []
    for piece in pieces:
        if piece.name in out:
            twice.append(piece.name)
        out[piece.name] = piece
    if twice:
        raise LayError(
            [
                Fault(name, "two pieces bear this name.", "Hand them over as {name: piece}.")
                for name in sorted(set(twice))
            ]
        )
    return out


def _allowances_of(allowances: Mapping[str, Any], piece: str) -> dict[str, float] | None:
    flat = {k: float(v) for k, v in allowances.items() if not isinstance(v, Mapping)}
    own = allowances.get(piece)
    if isinstance(own, Mapping):
        flat |= {k: float(v) for k, v in own.items()}
    return flat or None


class _Maker:
    def __init__(self, cloth: Cloth, distance: float, allowances: Mapping[str, Any]) -> None:
        self.cloth = cloth
        self.allowances = allowances
        self.faults: list[Fault] = []
        self.notes: list[str] = []
        self.kinds: list[Kind] = []
        self.items: list[Item] = []
        self.turns: dict[str, tuple[float, ...]] = {}
        self.made: dict[Any, tuple[Points, tuple[Points, ...], tuple[Points, ...]]] = {}
        if not math.isfinite(distance) or not 0.0 <= distance <= 100.0:
            self.fault("distance", f"{distance:g} mm is outside 0 to 100 mm.")
            distance = 0.0
        self.distance = float(distance)
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
        self.fine = min(0.5, max(0.02, _FINE * self.width))
        self.coarse = min(3.0, max(0.05, _COARSE * self.width))

    def fault(self, where: str, what: str, remedy: str = "") -> None:
        self.faults.append(Fault(where, what, remedy))

    def job(
        self, pieces: dict[str, Piece], quantity: int | Mapping[str, int], locked: Iterable[Any]
    ) -> Job:
        if not pieces:
            self.fault("", "There are no pieces to lay.")
        points = self.match_points(pieces)
        for name, piece in pieces.items():
            times = quantity if isinstance(quantity, int) else int(quantity.get(name, 1))
            self.add(name, piece, times, points.get(name))
        if len(self.items) > _MAX_COPIES:
            self.fault("", f"{len(self.items)} copies are more than {_MAX_COPIES}.")
        if self.faults:
            raise LayError(self.faults)
        self.check_fold_phases()
        obstacles = self.obstacles()
        fixed, rest = self.lock(locked)
        obstacles += [
            Obstacle(
                self.parts(p.outline_mm, self.fine), self.distance, False, p.key
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
            tuple(self.notes),
            self.turns,
            {name: self.grain_direction(piece) for name, piece in pieces.items()},
        )

    # -- pieces

    def outline(self, name: str, piece: Piece) -> Points | None:
        """The piece's cutting line in its own frame, checked, in mm; None with a fault."""
        try:
            ring = piece.cutting_line(_allowances_of(self.allowances, name))
        except ValueError as error:
            self.fault(name, str(error))
            return None
        ring = np.asarray(ring, dtype=np.float64)
        if ring.ndim != 2 or ring.shape[1:] != (2,) or not np.isfinite(ring).all():
            self.fault(name, "its outline is not a list of finite [x, y].")
            return None
        ring = cleaned(ring, 1e-6)
        if len(ring) < 3 or abs(ring_area(ring)) < 1.0:
            self.fault(name, "its outline encloses no area.")
            return None
        from shapely.geometry import Polygon
        from shapely.validation import explain_validity

        shape = Polygon(ring)
        if not shape.is_valid:
            spot = explain_validity(shape).partition("[")[2].rstrip("]").split()
            near = f" near ({float(spot[0]):.0f}, {float(spot[1]):.0f}) mm" if spot else ""
            self.fault(name, f"its outline crosses itself{near}.", "Redraw the outline there.")
            return None
        return counter_clockwise(ring)

    def add(
        self, name: str, piece: Piece, times: int, points: tuple[int, list[Points]] | None
    ) -> None:
        ring = self.outline(name, piece)
        turns = self.allowed_turns(name, piece)
        if ring is None or not turns:
            return
        copies = int(piece.cut) * times
        if piece.pair and copies % 2:
            copies += 1
        fold = piece.fold
        on_fold = fold is not None and self.cloth.fold == "lengthwise"
        if fold is not None and not on_fold:
            opened = self.opened(name, ring, fold)
            if opened is None:
                return
            ring = opened
        common: dict[str, Any] = {
            "name": name,
            "piece": piece,
            "ring": ring,
            "turns": turns,
            "points": points,
        }
        if on_fold:
            assert fold is not None
            kind = self.kind("fold", fold=fold, **common)
            self.copies(kind, range(1, copies + 1))
            return
        if not self.cloth.folded:
            if piece.pair:
                self.copies(self.kind("single", flips=(False,), **common), range(1, copies + 1, 2))
                self.copies(self.kind("single", flips=(True,), **common), range(2, copies + 1, 2))
            else:
                self.copies(self.kind("single", flips=(False,), **common), range(1, copies + 1))
            return
        alike = same_turned_over(ring, piece.grain)
        twins = copies // 2 if piece.pair or alike else 0
        if twins:
            self.copies(self.kind("through", flips=(False, True), **common), range(1, twins + 1))
        left = copies - 2 * twins
        if left:
            over = self.cloth.top_shows_wrong_side and not alike
            self.copies(
                self.kind("single", flips=(over,), **common), range(twins + 1, twins + left + 1)
            )
            many = f"{left} times" if left > 1 else "once"
            self.notes.append(
                f"{name} is cut {many} from one layer only: on the folded cloth, cut the upper "
                "layer and leave the lower one whole."
                + (
                    " It lies turned over: folded right sides together, that layer shows its wrong "
                    "side."
                    if over
                    else ""
                )
            )

    def copies(self, kind: Kind | None, numbers: Iterable[int]) -> None:
        if kind is None:
            return
        self.kinds.append(kind)
        self.items += [Item(len(self.kinds) - 1, n) for n in numbers]

    def allowed_turns(self, name: str, piece: Piece) -> tuple[float, ...]:
        turns = [float(t) % 360.0 for t in piece.turns]
        nap = self.cloth.nap
        if nap == "one-way":
            turns = [t for t in turns if t == 0.0]
        elif nap == "two-way":
            turns = [t for t in turns if t in (0.0, 180.0)]
        if not turns:
            listed = ", ".join(f"{float(t):g}°" for t in piece.turns)
            self.fault(
                name,
                f"may only be turned {listed}, which {nap} cloth does not allow.",
                "Allow the turn 0 on the piece, or check the cloth's nap.",
            )
        self.turns[name] = tuple(dict.fromkeys(turns))
        return self.turns[name]

    def opened(self, name: str, ring: Points, fold: Any) -> Points | None:
        """A half piece opened out over its fold line."""
        from shapely.geometry import Polygon
        from shapely.ops import unary_union

        a, b = np.asarray(fold[0], dtype=float), np.asarray(fold[1], dtype=float)
        u = (b - a) / np.linalg.norm(b - a)
        rel = ring - a
        along = rel @ u
        across = rel @ np.array([-u[1], u[0]])
        if across.max() > FOLD_TOLERANCE_MM and across.min() < -FOLD_TOLERANCE_MM:
            self.fault(
                name,
                f"reaches {min(across.max(), -across.min()):.1f} mm over its own fold line.",
                "The fold must be the edge of the half piece.",
            )
            return None
        across = np.where(np.abs(across) < FOLD_TOLERANCE_MM, 0.0, across)
        if np.count_nonzero(across == 0.0) < 2:
            self.fault(name, "has no edge on its fold line.", "The fold must be one of its edges.")
            return None
        half = a + along[:, None] * u + across[:, None] * np.array([-u[1], u[0]])
        other = a + along[:, None] * u - across[:, None] * np.array([-u[1], u[0]])
        both = unary_union([Polygon(half), Polygon(other)])
        if both.geom_type != "Polygon":
            both = both.buffer(1e-6, join_style="mitre")
        if both.geom_type != "Polygon":
            self.fault(name, "does not open out into one piece.", "Check its fold line.")
            return None
        return counter_clockwise(cleaned(np.array(both.exterior.coords)[:-1, :2], 1e-6))

    def grain_direction(self, piece: Piece) -> tuple[float, float]:
        """Unit vector along the grain in the piece's frame, the way that turns to +x."""
        b = math.radians(grain_turn(piece.grain))
        return math.sin(b), math.cos(b)

    def kind(
        self,
        how: str,
        *,
        name: str,
        piece: Piece,
        ring: Points,
        turns: tuple[float, ...],
        points: tuple[int, list[Points]] | None,
        flips: tuple[bool, ...] = (False, True),
        fold: Any = None,
    ) -> Kind | None:
        base = grain_turn(piece.grain)
        tilt = 0.0 if how == "fold" or points is not None else self.cloth.tilt_deg(name)
        angles = [t + d for t in turns for d in ((0.0, tilt, -tilt) if tilt else (0.0,))]
        stances: list[Stance] = []
        seen: list[Points] = []
        for angle in angles:
            if points is not None and abs(angle % 360.0) > 1e-9:
                continue  # stripes: no change of direction (FACTS E, Industrial Cutting §14.2.1)
            for flip in flips:
                stance = self.stance(ring, base, angle, flip, how, fold, points)
                if stance is None:
                    continue
                shape = stance.ring - stance.low
                if points is None and any(_same_ring(shape, other) for other in seen):
                    continue
                seen.append(shape)
                stances.append(stance)
        if not stances:
            if how == "fold":
                self.fault(
                    name,
                    "its fold edge cannot lie on the cloth's fold: it must run along the grain "
                    "and be an outer edge of the half piece.",
                    "Lay it on single cloth, or turn the piece or its fold.",
                )
            else:
                self.fault(name, "no turn is left that the stripes allow.", "Allow the turn 0.")
            return None
        return Kind(
            name,
            how,
            tuple(stances),
            abs(ring_area(stances[0].ring)),
            1 if how == "single" else 2,
            name in self.cloth.tolerates_flaws,
            -1 if points is None else points[0],
        )

    def stance(
        self,
        ring: Points,
        base: float,
        angle: float,
        flip: bool,
        how: str,
        fold: Any,
        points: tuple[int, list[Points]] | None,
    ) -> Stance | None:
        # the planners turn nothing, so the docket's turn carries the grain's slant
        turn = (angle - base if flip else angle + base) % 360.0
        growth = self.cloth.growth(turn, flip)
        matrix = cloth_from_piece((0.0, 0.0), turn, flip)
        matrix[:2, :2] = matrix[:2, :2] @ growth
        laid = ring @ matrix[:2, :2].T
        if flip:
            laid = laid[::-1]
        shift = 0.0
        if how == "fold":
            ends = np.asarray(fold, dtype=float) @ matrix[:2, :2].T
            if abs(ends[0, 1] - ends[1, 1]) > FOLD_TOLERANCE_MM:
                return None
            shift = -float(ends[0, 1])
            if laid[:, 1].min() + shift < -FOLD_TOLERANCE_MM:
                return None
            if np.count_nonzero(np.abs(laid[:, 1] + shift) < FOLD_TOLERANCE_MM) < 2:
                return None
            laid = laid.copy()
            laid[np.abs(laid[:, 1] + shift) < FOLD_TOLERANCE_MM, 1] = -shift
        if how == "fold":
            around = _clipped_below(simplified_around(laid, self.fine), -shift)
            fine, coarse = self.split(around), self.parts(laid, self.coarse)
        else:
            around, fine, coarse = self.like_others(ring, growth, turn, flip)
        # only true points bound a piece against the cloth's edge, or a full-width piece never fits
        low, high = laid.min(axis=0), laid.max(axis=0)
        match = None
        if points is not None:
            match = np.asarray(points[1][0], dtype=float) @ matrix[:2, :2].T
        return Stance(turn, flip, matrix, laid, around, fine, coarse, low, high, match)

    def like_others(
        self, ring: Points, growth: NDArray[np.float64], turn_deg: float, flip: bool
    ) -> tuple[Points, tuple[Points, ...], tuple[Points, ...]]:
        """Simplified ring and parts of a stance, turned from those made once for the piece."""
        key = (ring.tobytes(), np.round(growth, 9).tobytes())
        if key not in self.made:
            around = simplified_around(ring @ growth.T, self.fine)
            self.made[key] = (around, self.split(around), self.parts(around, self.coarse))
        around, fine, coarse = self.made[key]
        turned = cloth_from_piece((0.0, 0.0), turn_deg, flip)

        def turn(points: Points) -> Points:
            out = points @ turned[:2, :2].T
            return np.ascontiguousarray(out[::-1] if flip else out)

        return turn(around), tuple(map(turn, fine)), tuple(map(turn, coarse))

    def parts(self, ring: Points, tolerance: float) -> tuple[Points, ...]:
        return self.split(simplified_around(ring, tolerance))

    def split(self, ring: Points) -> tuple[Points, ...]:
        try:
            return convex_parts(ring)
        except ValueError:
            from shapely.geometry import Polygon

            hull = Polygon(ring).buffer(0).convex_hull  # covers it, so it stays valid
            return (counter_clockwise(np.array(hull.exterior.coords)[:-1]),)

    # -- stripes

    def match_points(self, pieces: Mapping[str, Piece]) -> dict[str, tuple[int, list[Points]]]:
        """Piece → (group, its match points in its own frame)."""
        out: dict[str, tuple[int, list[Points]]] = {}
        if not (self.cloth.repeat_length_mm or self.cloth.repeat_width_mm):
            return out
        for g, group in enumerate(self.cloth.match):
            for point in group:
                at = self.locate(point, pieces)
                if at is None:
                    continue
                if point.piece in out:
                    self.fault(
                        f"cloth.match[{g}]",
                        f"{point.piece} is to meet the stripes at two places.",
                        "One place a piece: its seam meets all along once it meets at one point.",
                    )
                    continue
                out[point.piece] = (g, [at])
        return out

    def locate(self, point: MatchPoint, pieces: Mapping[str, Piece]) -> Points | None:
        # several garments in one lay bear their wearer's name before the piece's
        piece = pieces.get(point.piece)
        if piece is None:
            self.fault(
                "cloth.match",
                f"there is no piece '{point.piece}'; there are {', '.join(sorted(pieces))}.",
            )
            return None
        if point.at is not None:
            return np.array(point.at, dtype=float)
        edges = getattr(piece, "edges", {})
        if point.edge not in edges:
            self.fault(
                "cloth.match",
                f"{point.piece} has no edge '{point.edge}'; it has {', '.join(edges)}.",
            )
            return None
        line = np.asarray(edges[point.edge].points, dtype=float)
        out: Points = line[int(np.argmin(line[:, 1]))]
        return out

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
            found += [
                Obstacle(self.split(ring), 0.0, False, "the cloth's edge")
                for ring in pieces_without_holes(outside)
            ]
        for rings, flaw, name in ((cloth.holes, False, "a hole"), (cloth.flaws, True, "a flaw")):
            for r in rings:
                ring = counter_clockwise(cleaned(np.array(r)))
                found.append(Obstacle(self.parts(ring, self.fine), 0.0, flaw, name))
        return found

    # -- locked pieces

    def lock(self, locked: Iterable[Any]) -> tuple[list[LaidPiece], list[Item]]:
        """Locked placements as laid pieces, and the items left to plan."""
        rest = list(self.items)
        laid: list[LaidPiece] = []
        for given in locked:
            name, copy, at, turn, mirrored = placement_parts(given)
            match = [
                i for i in rest if self.kinds[i.kind].piece == name and i.copy == copy
            ]  # fmt: skip
            if not match:
                known = sorted({k.piece for k in self.kinds})
                why = (
                    "this copy is locked twice or there are not so many"
                    if name in known
                    else f"there is no such piece; there are {', '.join(known)}"
                )
                self.fault(f"{name}/{copy}", f"is locked, but {why}.")
                continue
            item = match[0]
            kind = self.kinds[item.kind]
            rest.remove(item)
            laid.append(_put_down(self.cloth, kind, item, at, turn, mirrored))
        if laid:
            from drafting.lay.check import faults_among

            self.faults += faults_among(laid, self.cloth, self.distance)
        return laid, rest


def put_down(
    job: Job, item: Item, at: tuple[float, float], turn: float, mirrored: bool
) -> LaidPiece:
    """A copy exactly where it was put, whatever its turn."""
    return _put_down(job.cloth, job.kinds[item.kind], item, at, turn, mirrored)


def _put_down(
    cloth: Cloth, kind: Kind, item: Item, at: tuple[float, float], turn: float, mirrored: bool
) -> LaidPiece:
    stance = next(
        (
            s
            for s in kind.stances
            if s.mirrored == mirrored and abs((s.turn - turn + 180.0) % 360.0 - 180.0) < 1e-6
        ),
        None,
    )
    if stance is None:
        like = kind.stances[0]
        matrix = cloth_from_piece((0.0, 0.0), turn, mirrored)
        matrix[:2, :2] = matrix[:2, :2] @ cloth.growth(turn, mirrored)
        change = matrix[:2, :2] @ np.linalg.inv(like.matrix[:2, :2])
        ring = counter_clockwise(like.ring @ change.T)
    else:
        matrix, ring = stance.matrix.copy(), stance.ring
    matrix[:2, 2] = at
    ring = ring + np.array(at)
    if kind.how == "fold":
        ring[np.abs(ring[:, 1]) < FOLD_TOLERANCE_MM, 1] = 0.0
    return LaidPiece(kind.piece, item.copy, at, float(turn), mirrored, True, kind.how, matrix, ring)


def placement_parts(given: Any) -> tuple[str, int, tuple[float, float], float, bool]:
    if isinstance(given, Mapping):
        x, y = given["at"]
        return (
            str(given["piece"]),
            int(given.get("copy", 1)),
            (float(x), float(y)),
            float(given.get("turn", 0.0)),
            bool(given.get("mirrored", False)),
        )
    x, y = given.at
    return (
        str(given.piece),
        int(given.copy),
        (float(x), float(y)),
        float(given.turn_deg),
        bool(given.mirrored),
    )


def _same_ring(one: Points, two: Points) -> bool:
    """Whether two rings have the same corners (wherever they start)."""
    if len(one) != len(two):
        return False
    a = np.round(one[np.lexsort((np.round(one[:, 1], 2), np.round(one[:, 0], 2)))], 1)
    b = np.round(two[np.lexsort((np.round(two[:, 1], 2), np.round(two[:, 0], 2)))], 1)
    return bool(np.allclose(a, b, atol=0.11))


def _clipped_below(ring: Points, y: float) -> Points:
    """The ring with whatever its simplification added below the fold cut off again."""
    if ring[:, 1].min() >= y - 1e-12:
        return ring
    from shapely.geometry import Polygon, box

    shape = Polygon(ring)
    left, _, right, high = shape.bounds
    cut = shape.intersection(box(left - 1, y, right + 1, high + 1))
    if cut.geom_type != "Polygon":
        return ring
    return counter_clockwise(np.array(cut.exterior.coords)[:-1])
