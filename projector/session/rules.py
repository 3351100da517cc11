"""What hands do to a lay: move, turn, turn over, lock, put aside; and what is wrong with it.

Pure functions from one state to the next: `sitting` keeps the state and its history, `scene`
shows it. Placements only: a piece's outline is never touched here, so nothing done at the table
can change its size.

Frames: cloth mm throughout; her own directions (left, away) are turned into it by the caller.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drafting.lay.shapes import same_turned_over
from drafting.placement import grain_turn
from projector.view import View

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.cloth import Cloth
    from drafting.placement import Placement
    from projector.faces import Faces

Array = NDArray[np.float64]

SNAP_MM = 6.0  # how near an edge must come before it is drawn onto its mark
SNAP_DEG = 1.5
_DEPTH_MM = 0.6  # an overlap shallower than this is the roughness of the quick test
_EDGE_MM = 0.3  # how far over the cloth's edge counts as over it
_PROBE_MM = 12.0


@dataclass(frozen=True)
class Work:
    """All that she may undo: where pieces lie, what is traced, how the cloth lies on the table."""

    lay: tuple[Placement, ...]
    traced: tuple[str, ...]
    view: View

    def of(self, key: str | None) -> Placement | None:
        """The placement of that name."""
        return next((p for p in self.lay if p.key == key), None)

    def with_placement(self, changed: Placement) -> Work:
        """With one placement changed."""
        return replace(self, lay=tuple(changed if p.key == changed.key else p for p in self.lay))

    def placed(self) -> tuple[Placement, ...]:
        """Those that lie on the cloth."""
        return tuple(p for p in self.lay if not p.aside)


@dataclass(frozen=True)
class History:
    """The work and every state before and after it; no limit, nothing is copied.

    ``past`` and ``future``: (work, the rest) all the way down, or None.
    """

    now: Work
    past: tuple[Work, object] | None = None
    future: tuple[Work, object] | None = None

    def then(self, work: Work) -> History:
        """A change: what was undone before is forgotten."""
        return self if work == self.now else History(work, (self.now, self.past), None)

    def instead(self, work: Work) -> History:
        """A change that cannot be undone by itself (the middle of a drag)."""
        return History(work, self.past, self.future)

    def lying(self, view: View) -> History:
        """The cloth was moved: every state, past and to come, lies as it lies now."""

        def again(link: object) -> tuple[Work, object] | None:
            states: list[Work] = []
            while link is not None:
                states.append(replace(link[0], view=view))  # type: ignore[index]  # recursive
                link = link[1]  # type: ignore[index]  # recursive
            made: tuple[Work, object] | None = None
            for state in reversed(states):
                made = (state, made)
            return made

        return History(replace(self.now, view=view), again(self.past), again(self.future))

    def back(self) -> History:
        """One step back; itself at the start."""
        if self.past is None:
            return self
        work, rest = self.past
        return History(work, rest, (self.now, self.future))  # type: ignore[arg-type]  # recursive

    def forth(self) -> History:
        """One step forth again; itself at the end."""
        if self.future is None:
            return self
        work, rest = self.future
        return History(work, (self.now, self.past), rest)  # type: ignore[arg-type]  # recursive


@dataclass(frozen=True, eq=False)
class _Shape:
    """A copy's outline on the cloth, made ready: few points, the same dense, edges, box."""

    ring: Array
    probe: Array
    edge: Array
    square: Array
    low: Array
    high: Array


@dataclass(frozen=True, eq=False)
class _Crowd:
    """All copies that lie still while one is moved: placements, shapes, boxes (N, 2) each."""

    placed: tuple[Placement, ...]
    shapes: tuple[_Shape, ...]
    low: Array
    high: Array
    area_mm2: float
    end_mm: float


@dataclass(eq=False)
class Rules:
    """What the cloth allows, and the shapes of the pieces, made ready for quick answers.

    ``faces``: piece → its face; ``turns``: piece → turns in degrees that cloth and piece allow.
    """

    docket: Docket
    faces: Faces
    turns: dict[str, tuple[float, ...]] = field(init=False)
    _probes: dict[tuple[object, ...], Array] = field(default_factory=dict, init=False)
    _shapes: dict[tuple[object, ...], _Shape] = field(default_factory=dict, init=False)
    _alike: dict[str, bool] = field(default_factory=dict, init=False)
    _still: tuple[object, _Crowd] | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        cloth = self.docket.cloth
        nap = cloth.nap if cloth is not None else "none"
        self.turns = {}
        for name, piece in self.docket.pieces().items():
            base = grain_turn(piece.grain)
            turns = [t for t in piece.turns if nap == "none" or t in (0.0, 180.0)]
            if nap == "one-way":
                turns = [t for t in turns if t == 0.0]
            self.turns[name] = tuple((t + base) % 360.0 for t in turns)
        self._grain = {n: grain_turn(p.grain) for n, p in self.docket.pieces().items()}

    @cached_property
    def cloth(self) -> Cloth | None:
        """The docket's cloth."""
        return self.docket.cloth

    def on_fold(self, placement: Placement) -> bool:
        """Whether this piece must keep to the fold."""
        return self.faces[placement.piece].on_fold

    def outline(self, placement: Placement, *, rough: bool = True) -> Array:
        """(N, 2) its cutting ring, cloth mm."""
        if rough:
            return self._shape(placement).ring
        return _carry(placement, self.faces.of(placement).outline)

    def _shape(self, p: Placement) -> _Shape:
        """The shape of a copy where it lies; kept, since all but the moving one stay."""
        key = (p.piece, p.at, p.turn_deg, p.mirrored)
        shape = self._shapes.get(key)
        if shape is None:
            if len(self._shapes) > 600:
                self._shapes.clear()
            face = self.faces.of(p)
            if face.key not in self._probes:
                self._probes[face.key] = _dense(face.rough, _PROBE_MM)
            ring = _carry(p, face.rough)
            shape = _Shape(ring, _carry(p, self._probes[face.key]), *_edges(ring),
                           ring.min(axis=0), ring.max(axis=0))  # fmt: skip
            self._shapes[key] = shape
        return shape

    def _others(self, key: str | None, lay: Sequence[Placement]) -> _Crowd:
        """What lies on the cloth but for one copy; made once for as long as it lies still."""
        placed = tuple(p for p in lay if not p.aside and p.key != key)
        mark = (key, tuple(map(id, placed)))
        if self._still is not None and self._still[0] == mark:
            return self._still[1]
        shapes = tuple(self._shape(p) for p in placed)
        none = np.zeros((0, 2))
        made = _Crowd(
            placed,  # held, so that no other object can come to have these ids
            shapes,
            np.array([s.low for s in shapes]) if shapes else none,
            np.array([s.high for s in shapes]) if shapes else none,
            sum(self.faces.of(p).area_mm2 * self.layers(p, lay) for p in placed),
            max((float(s.high[0]) for s in shapes), default=-math.inf),
        )
        self._still = (mark, made)
        return made

    def layers(self, placement: Placement, lay: Iterable[Placement]) -> int:
        """Layers of cloth that one copy is cut through."""
        cloth = self.cloth
        if cloth is None or not cloth.folded:
            return 1
        if self.on_fold(placement):
            return 2
        piece = self.docket.pieces()[placement.piece]
        wanted = piece.cut * self.docket.quantity
        copies = sum(1 for p in lay if p.piece == placement.piece)
        return 2 if placement.copy <= wanted - copies else 1

    # -- figures -------------------------------------------------------------------------------

    def figures(self, lay: Sequence[Placement], moving: str | None = None) -> Figures:
        """Used length, share of the cloth used, and what is left over; quick for one ``moving``."""
        cloth = self.cloth
        still = self._others(moving, lay)
        area, end = still.area_mm2, still.end_mm
        p = next((p for p in lay if p.key == moving and not p.aside), None)
        if p is not None:
            area += self.faces.of(p).area_mm2 * self.layers(p, lay)
            end = max(end, float(self._shape(p).high[0]))
        start = cloth.x_range_mm[0] if cloth is not None else 0.0
        used = max(0.0, end - start)
        share = 0.0
        left = math.inf
        if cloth is not None:
            low, high = cloth.y_range_mm
            room = used * (high - low) * cloth.layers
            share = area / room if room > 0 else 0.0
            left = cloth.x_range_mm[1] - start - used
        return Figures(used, share, left)

    # -- what is wrong -------------------------------------------------------------------------

    def own_troubles(self, p: Placement, lay: Sequence[Placement]) -> tuple[str, ...]:
        """What is wrong with one copy by itself: off the cloth, the grain, the fold, the face."""
        found = []
        cloth = self.cloth
        if cloth is not None and self._off_cloth(p, cloth):
            found.append("off the cloth")
        tilt = self.tilt(p)
        allowed = (cloth.tilt_deg(p.piece) if cloth is not None else 0.0) + 0.01
        if abs(tilt) > allowed:
            whole = abs(abs(tilt) - 180.0) < 0.01
            found.append("against the nap" if whole else f"off grain {abs(tilt):.1f}°")
        if self.on_fold(p):
            if abs(self._fold_gap(p)) > 0.05:
                found.append("off the fold")
        elif self._wrong_side(p, lay):
            found.append("wrong side up")
        return tuple(found)

    def tilt(self, p: Placement) -> float:
        """Degrees from the nearest turn that is allowed, −180 to 180."""
        turns = self.turns.get(p.piece) or (0.0,)
        flipped = [(t - 2.0 * self._grain[p.piece]) % 360.0 for t in turns]
        return min((_wrap(p.turn_deg - t) for t in (flipped if p.mirrored else turns)), key=abs)

    def overlaps(self, one: Placement, other: Placement) -> bool:
        """Whether two copies overlap by more than the quick test's roughness."""
        return _overlap(self._shape(one), self._shape(other))

    def overlap_pairs(self, lay: Sequence[Placement]) -> set[tuple[str, str]]:
        """Every pair of copies that overlap."""
        placed = [p for p in lay if not p.aside]
        return {
            (p.key, q.key)
            for i, p in enumerate(placed)
            for q in placed[i + 1 :]
            if self.overlaps(p, q)
        }

    def overlap_with(self, moving: Placement, lay: Sequence[Placement]) -> set[tuple[str, str]]:
        """The pairs in which one copy overlaps another."""
        still, mine = self._others(moving.key, lay), self._shape(moving)
        room = np.minimum(still.high, mine.high) - np.maximum(still.low, mine.low)
        near = np.flatnonzero(room.min(axis=1) >= _DEPTH_MM)
        return {
            (moving.key, still.placed[i].key)
            for i in near.tolist()
            if _overlap(mine, still.shapes[i])
        }

    def _off_cloth(self, p: Placement, cloth: Cloth) -> bool:
        points = self.outline(p)
        if cloth.outline is not None:
            edge = np.asarray(cloth.outline, dtype=np.float64)
            out = points[~_inside(points, edge)]
            if len(out) and float(_distance(out, edge).max()) > _EDGE_MM:
                return True
        else:
            (x0, x1), (y0, y1) = cloth.x_range_mm, cloth.y_range_mm
            low, high = points.min(axis=0), points.max(axis=0)
            if low[0] < x0 - _EDGE_MM or high[0] > x1 + _EDGE_MM:
                return True
            if low[1] < y0 - _EDGE_MM or high[1] > y1 + _EDGE_MM:
                return True
        bad = list(cloth.holes)
        if p.piece not in cloth.tolerates_flaws:
            bad += list(cloth.flaws)
        for hole in bad:
            ring = np.asarray(hole, dtype=np.float64)
            if _inside(ring, points).any() or _inside(self._shape(p).probe, ring).any():
                return True
        return False

    def _fold_gap(self, p: Placement) -> float:
        """How far a piece's fold lies from the cloth's (the fold is the piece's x = 0)."""
        a = p.cloth_from_piece
        on_side = abs(a[1, 1]) < 1e-9
        low = float(self.outline(p, rough=False)[:, 1].min())
        return float(a[1, 2]) if on_side and low > -0.1 else 1e3

    def _wrong_side(self, p: Placement, lay: Sequence[Placement]) -> bool:
        piece = self.docket.pieces()[p.piece]
        cloth = self.cloth
        if cloth is not None and cloth.folded and self.layers(p, lay) == 2:
            return False
        if not piece.pair:
            over = cloth is not None and cloth.top_shows_wrong_side
            return p.mirrored != over and not self._same_turned_over(p.piece)
        # of a pair it does not matter which is the turned one, only that one of them is
        copies = [q for q in lay if q.piece == p.piece]
        alike = sum(1 for q in copies if q.mirrored == p.mirrored)
        return p.mirrored != (p.copy % 2 == 0) and 2 * alike > len(copies)

    def _same_turned_over(self, name: str) -> bool:
        if name not in self._alike:
            face, piece = self.faces[name], self.docket.pieces()[name]
            self._alike[name] = same_turned_over(face.outline, piece.grain)
        return self._alike[name]

    # -- what hands do -------------------------------------------------------------------------

    def moved(self, p: Placement, dx: float, dy: float) -> Placement:
        """Moved on the cloth; a piece that belongs on the fold keeps to it."""
        x, y = p.at[0] + dx, 0.0 if self.on_fold(p) else p.at[1] + dy
        return replace(p, at=(x, y))

    def turned(self, p: Placement, by_deg: float) -> Placement:
        """Turned about its middle; on the fold half a turn is the only one, and turns it over."""
        if self.on_fold(p):
            if abs(abs(_wrap(by_deg)) - 180.0) > 1e-9:
                return p
            middle = self._middle(p)
            made = replace(p, turn_deg=(p.turn_deg + 180.0) % 360.0, mirrored=not p.mirrored)
            return replace(made, at=(made.at[0] + middle[0] - self._middle(made)[0], 0.0))
        return self._about_middle(p, replace(p, turn_deg=(p.turn_deg + by_deg) % 360.0))

    def turned_over(self, p: Placement) -> Placement:
        """Mirrored about its middle, along the grain; a piece on the fold stays as it is."""
        if self.on_fold(p):
            return p
        return self._about_middle(p, replace(p, mirrored=not p.mirrored))

    def straightened(self, p: Placement) -> Placement:
        """Turned to the nearest turn that cloth and piece allow."""
        return self.turned(p, -self.tilt(p)) if not self.on_fold(p) else p

    def _about_middle(self, before: Placement, after: Placement) -> Placement:
        shift = self._middle(before) - self._middle(after)
        return replace(after, at=(after.at[0] + float(shift[0]), after.at[1] + float(shift[1])))

    def _middle(self, p: Placement) -> Array:
        # of the outline's own box, turned with it: the box's middle in the cloth would wander
        face = self.faces.of(p)
        middle = 0.5 * (face.outline.min(axis=0) + face.outline.max(axis=0))
        return np.asarray(_carry(p, middle[None])[0])

    # -- soft snapping -------------------------------------------------------------------------

    def snapped(
        self, p: Placement, lay: Sequence[Placement], reach_mm: float = SNAP_MM
    ) -> tuple[Placement, list[Array]]:
        """Drawn onto the fold, the selvedge, the cloth's start, or a neighbour's cutting distance.

        Returns the placement and the guide lines to show, cloth mm.
        """
        shape = self._shape(p)
        low, high = shape.low, shape.high
        shift = np.zeros(2)
        guides: list[Array] = []
        cloth = self.cloth
        if cloth is not None and cloth.outline is None:
            x0, x1 = cloth.x_range_mm
            y0, y1 = cloth.y_range_mm
            end = min(x1, high[0] + 400.0)
            marks = [(1, y0, low), (1, y1, high), (0, x0, low), (0, x1, high)]
            for axis, level, corner in marks:
                gap = level - corner[axis]
                if not abs(gap) <= reach_mm or shift[axis]:
                    continue
                if axis == 1 and self.on_fold(p):
                    continue
                shift[axis] = gap
                ends = (
                    [(max(x0, low[0] - 60.0), level), (min(end, high[0] + 60.0), level)]
                    if axis == 1
                    else [(level, y0), (level, y1)]
                )
                guides.append(np.asarray(ends, dtype=np.float64))
        made = self.moved(p, float(shift[0]), float(shift[1]))
        free = np.array([shift[0] == 0.0, shift[1] == 0.0 and not self.on_fold(p)])
        beside = self._beside(made, lay, reach_mm, free)
        if beside is not None:
            made, line = beside
            guides.append(line)
        return made, guides

    def _beside(
        self, p: Placement, lay: Sequence[Placement], reach: float, free: NDArray[np.bool_]
    ) -> tuple[Placement, Array] | None:
        """Moved so that the nearest neighbour lies at exactly the cutting distance."""
        distance = self.docket.distance_mm
        mine = self._shape(p)
        low, high = mine.low - distance - reach, mine.high + distance + reach
        best: tuple[float, Array, Array] | None = None
        still = self._others(p.key, lay)
        close = ((still.high >= low) & (still.low <= high)).all(axis=1)
        for i in np.flatnonzero(close).tolist():
            near = _nearest(mine, still.shapes[i], distance + reach)
            if near is not None and (best is None or near[0] < best[0]):
                best = near
        if best is None or best[0] < 0.05 or abs(best[0] - distance) > reach:
            return None
        gap, a, b = best
        direction = (b - a) / gap
        slide = direction * (gap - distance)
        # along the one free way when the other is already held by a mark
        for axis in (0, 1):
            if not free[axis]:
                if abs(direction[1 - axis]) < 0.5:
                    return None
                slide = np.zeros(2)
                slide[1 - axis] = (gap - distance) / direction[1 - axis]
        if not free.any() or float(np.hypot(*slide)) > 1.5 * reach:
            return None
        return self.moved(p, float(slide[0]), float(slide[1])), np.array([a + slide, b])


@dataclass(frozen=True)
class Figures:
    """``used_mm`` of the length, ``share`` of the cloth in it (0 to 1), ``left_mm`` over."""

    used_mm: float
    share: float
    left_mm: float


def lie_alike(one: Placement, other: Placement) -> bool:
    """Whether chalk drawn round the one lies right for the other."""
    return not other.aside and replace(one, locked=False) == replace(other, locked=False)


def under(
    rules: Rules, lay: Sequence[Placement], at_cloth: Array, reach_mm: float = 6.0
) -> str | None:
    """The copy under a point of the cloth: the smallest of those that hold it, or just beside it."""
    inside: list[tuple[float, str]] = []
    beside: list[tuple[float, str]] = []
    for p in lay:
        if p.aside:
            continue
        ring = rules.outline(p)
        if np.any(at_cloth < ring.min(axis=0) - reach_mm) or np.any(
            at_cloth > ring.max(axis=0) + reach_mm
        ):
            continue
        if _inside(at_cloth[None], ring)[0]:
            inside.append((rules.faces.of(p).area_mm2, p.key))
        else:
            far = float(_distance(at_cloth[None], ring)[0])
            if far <= reach_mm:
                beside.append((far, p.key))
    found = inside or beside
    return min(found)[1] if found else None


def _carry(p: Placement, points: Array) -> Array:
    a = p.cloth_from_piece
    return np.asarray(points @ a[:2, :2].T + a[:2, 2])


def _wrap(deg: float) -> float:
    return (deg + 180.0) % 360.0 - 180.0


def _dense(ring: Array, step: float) -> Array:
    d = np.roll(ring, -1, axis=0) - ring
    count = np.maximum(1, np.ceil(np.hypot(d[:, 0], d[:, 1]) / step)).astype(np.int64)
    which = np.repeat(np.arange(len(count)), count)
    within = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    return np.asarray(ring[which] + d[which] * (within / count[which])[:, None])


def _inside(points: Array, ring: Array) -> NDArray[np.bool_]:
    """(N,) even-odd rule."""
    x, y = points[:, 0:1], points[:, 1:2]
    x0, y0 = ring[:, 0], ring[:, 1]
    x1, y1 = np.append(x0[1:], x0[0]), np.append(y0[1:], y0[0])
    cross = (y0 <= y) != (y1 <= y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x0 + (y - y0) / (y1 - y0) * (x1 - x0)
    return np.asarray((cross & (x < at)).sum(axis=1) % 2 == 1)


def _edges(ring: Array) -> tuple[Array, Array]:
    """A ring's edges (N, 2) from each point to the next, and their squared lengths (N,)."""
    edge = np.concatenate([ring[1:], ring[:1]]) - ring
    return edge, np.maximum(np.einsum("ij,ij->i", edge, edge), 1e-12)


def _distance(points: Array, ring: Array) -> Array:
    """(N,) distance to a ring's edges."""
    return np.asarray(np.sqrt(_square_gap(points, ring, *_edges(ring))[0]))


def _square_gap(points: Array, ring: Array, edge: Array, square: Array) -> tuple[Array, Array]:
    """Squared distance (N,) of each point to a ring, and the nearest place on it (N, 2)."""
    rx, ry = points[:, 0:1] - ring[:, 0], points[:, 1:2] - ring[:, 1]
    dx, dy = edge[:, 0], edge[:, 1]
    t = (rx * dx + ry * dy) / square
    np.clip(t, 0.0, 1.0, out=t)
    rx -= t * dx
    ry -= t * dy
    far = rx * rx + ry * ry
    k = np.argmin(far, axis=1)
    rows = np.arange(len(points))
    return far[rows, k], ring[k] + t[rows, k, None] * edge[k]


def _nearest(mine: _Shape, other: _Shape, reach: float) -> tuple[float, Array, Array] | None:
    """Least distance between two rings, if within reach, and its ends (corners against edges)."""
    low, high = other.low - reach, other.high + reach
    a = mine.ring[((mine.ring >= low) & (mine.ring <= high)).all(axis=1)]
    low, high = mine.low - reach, mine.high + reach
    b = other.ring[((other.ring >= low) & (other.ring <= high)).all(axis=1)]
    found: list[tuple[float, Array, Array]] = []
    if len(a):
        square, there = _square_gap(a, other.ring, other.edge, other.square)
        i = int(np.argmin(square))
        found.append((math.sqrt(float(square[i])), a[i], there[i]))
    if len(b):
        square, here = _square_gap(b, mine.ring, mine.edge, mine.square)
        j = int(np.argmin(square))
        found.append((math.sqrt(float(square[j])), here[j], b[j]))
    best = min(found, key=lambda f: f[0], default=None)
    return best if best is not None and best[0] <= reach else None


def _overlap(a: _Shape, b: _Shape) -> bool:
    low, high = np.maximum(a.low, b.low), np.minimum(a.high, b.high)
    if (high - low).min() < _DEPTH_MM:
        return False
    return _reaches_into(a.probe, b, low, high) or _reaches_into(b.probe, a, low, high)


def _reaches_into(points: Array, shape: _Shape, low: Array, high: Array) -> bool:
    near = points[((points >= low) & (points <= high)).all(axis=1)]
    if not len(near):
        return False
    inner = near[_inside(near, shape.ring)]
    if not len(inner):
        return False
    deep = _square_gap(inner, shape.ring, shape.edge, shape.square)[0]
    return bool(float(deep.max()) > _DEPTH_MM**2)
