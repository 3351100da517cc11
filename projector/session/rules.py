"""What hands do to a lay: move, turn, turn over, lock, put aside; and what is wrong with it.

Pure functions from one state to the next: `sitting` keeps the state and its history, `scene`
shows it. Placements only: a piece's outline is never touched here, so nothing done at the table
can change its size.

Frames: cloth mm throughout; her own directions (left, away) are turned into it by the caller.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drafting.cloth import Cloth
from drafting.folding import Zone
from drafting.lay.check import Judge
from drafting.lay.cuts import specs_of
from drafting.lay.quick import Hand, Still
from drafting.placement import Array, carry
from projector.picture.view import View

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.placement import Placement
    from projector.picture.faces import Faces


SNAP_MM = 6.0  # how near an edge must come before it is drawn onto its mark
SNAP_DEG = 1.5
GAPS_MM = 120.0  # farther off than that no distance is told; to look farther costs a drag its time
_BESIDE_MM = 6.0  # a piece that is pressed on so near is meant
_SAID = {"overlap": "overlaps", "distance": "too near"}


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

    def unmarked(self, key: str) -> Work:
        """With the mark off one copy."""
        return replace(self, traced=tuple(k for k in self.traced if k != key))

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
        past, future = (
            linked([replace(work, view=view) for work in chain(link)])
            for link in (self.past, self.future)
        )
        return History(replace(self.now, view=view), past, future)

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


def chain(link: object) -> Iterator[Work]:
    """The works of a history's past or future, the nearest first."""
    while link is not None:
        yield link[0]  # type: ignore[index]  # recursive
        link = link[1]  # type: ignore[index]  # recursive


def linked(works: Sequence[Work]) -> tuple[Work, object] | None:
    """The past or future with these works, the nearest first."""
    made: tuple[Work, object] | None = None
    for work in reversed(works):
        made = (work, made)
    return made


@dataclass(eq=False)
class Rules:
    """What the cloth allows, and the pieces made ready for quick answers.

    ``faces``: piece → its face. What is wrong is for the one judge of lays to say
    (`drafting.lay.check`); here it is asked fast enough for a hand.
    """

    docket: Docket
    faces: Faces
    _still: tuple[object, Still] | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        cloth = self.cloth = self.docket.cloth
        rules = self.docket.rules
        named = cloth if cloth is not None else Cloth()
        specs = specs_of(self.docket.pieces(), named, rules).of
        self.judge = Judge(specs, named, rules, bounded=cloth is not None)
        self._hand = Hand(self.judge)

    def on_fold(self, placement: Placement) -> bool:
        """Whether this piece must keep to the fold."""
        return self.faces[placement.piece].on_fold

    def outline(self, placement: Placement) -> Array:
        """(N, 2) its cutting ring, cloth mm."""
        return self._hand.solid(placement).laid.outline_mm

    def _others(self, key: str | None, lay: Sequence[Placement]) -> Still:
        """What lies on the cloth but for one copy; made once for as long as it lies still."""
        placed = tuple(p for p in lay if not p.aside and p.key != key)
        if self._still is not None and self._still[0] == (key, placed):
            return self._still[1]
        made = Still([self._hand.solid(p) for p in placed], self.judge.distance)
        self._still = ((key, placed), made)
        return made

    def under(self, lay: Sequence[Placement], at_cloth: Array) -> str | None:
        """The copy under a point of the cloth: the smallest of those that hold it, or just beside it."""
        return self._others(None, lay).under(at_cloth, _BESIDE_MM)

    def layers(self, placement: Placement) -> int:
        """Layers of cloth that one copy is cut through."""
        return self._hand.solid(placement).laid.layers

    def zone_of(self, placement: Placement) -> Zone | None:
        """The part of the cloth that the middle of a copy lies in; None off all of them."""
        one = self._hand.solid(placement)
        x, y = 0.5 * (one.low + one.high)
        zones = self.judge.cloth.zones
        return next((z for z in zones if z.holds((float(x), float(y)))), None)

    # -- figures -------------------------------------------------------------------------------

    def figures(self, lay: Sequence[Placement], moving: str | None = None) -> Figures:
        """Used length, share of the cloth used, and what is left over; quick for one ``moving``."""
        cloth = self.cloth
        still = self._others(moving, lay)
        area, end = still.cut_area_mm2, still.end_mm
        p = next((p for p in lay if p.key == moving and not p.aside), None)
        if p is not None:
            one = self._hand.solid(p)
            area += one.laid.area_mm2
            end = max(end, float(one.high[0]))
        start = cloth.x_range_mm[0] if cloth is not None else 0.0
        used = max(0.0, end - start)
        share = 0.0
        left = math.inf
        if cloth is not None:
            room = sum(
                max(0.0, min(z.x[1], start + used) - z.x[0]) * (z.y[1] - z.y[0]) * z.layers
                for z in cloth.zones
            )
            share = area / room if room > 0 else 0.0
            left = cloth.x_range_mm[1] - start - used
        return Figures(used, share, left)

    def gaps(self, p: Placement, lay: Sequence[Placement]) -> list[tuple[float, str]]:
        """How far a copy's cutting line lies from what it may come near, mm: from its nearest
        neighbour (by key), and from the fold, the selvedge or the end of straight cloth."""
        one, cloth = self._hand.solid(p), self.cloth
        near = self._others(p.key, lay).neighbour(one, GAPS_MM)
        found = [near] if near is not None else []
        if cloth is None or cloth.outline is not None:
            return found
        folds, (y0, y1), start = cloth.folds_mm, cloth.y_range_mm, cloth.x_range_mm[0]
        marks = [(float(one.low[0]) - start, "the end of the cloth")]
        if not self.on_fold(p):
            for gap, level in ((float(one.low[1]) - y0, y0), (y1 - float(one.high[1]), y1)):
                is_fold = any(abs(level - f) < 1.0 for f in folds)
                marks.append((gap, "the fold" if is_fold else "the selvedge"))
        marks = [m for m in marks if 0.0 <= m[0] <= GAPS_MM]  # outside is told as trouble
        return [*found, min(marks)] if marks else found

    # -- what is wrong -------------------------------------------------------------------------

    def own_troubles(self, p: Placement, lay: Sequence[Placement]) -> tuple[str, ...]:
        """What is wrong with one copy by itself: off the cloth, the grain, the fold, the face."""
        found = self.judge.own(self._hand.solid(p).laid)
        of_a_pair = [self._hand.solid(q).laid for q in lay if q.piece == p.piece and not q.aside]
        found += [q for q in self.judge.of_pairs(of_a_pair) if q.keys == (p.key,)]
        return tuple(dict.fromkeys(q.short for q in found))

    def tilt(self, p: Placement) -> float:
        """Degrees from the nearest turn that is allowed, −180 to 180."""
        return self.judge.tilt(p.piece, p.turn_deg, p.mirrored)

    def pair_troubles(self, lay: Sequence[Placement]) -> dict[tuple[str, str], str]:
        """Every pair of copies that overlap, lie too near or miss the stripes: in a word each."""
        still = self._others(None, lay)
        found = {(one, two): _SAID[kind] for kind, one, two in still.pairs()}
        return self._phases(lay) | found

    def troubles_with(
        self, moving: Placement, lay: Sequence[Placement]
    ) -> dict[tuple[str, str], str]:
        """The same of the pairs that one copy is in."""
        against = self._others(moving.key, lay).against(self._hand.solid(moving))
        found = {(moving.key, key): _SAID[kind] for kind, key in against}
        off = {pair: said for pair, said in self._phases(lay).items() if moving.key in pair}
        return off | found

    def _phases(self, lay: Sequence[Placement]) -> dict[tuple[str, str], str]:
        if all(spec.match is None for spec in self.judge.specs.values()):
            return {}
        laid = [self._hand.solid(p).laid for p in lay if not p.aside]
        return {(p.keys[0], p.keys[1]): p.short for p in self.judge.phases(laid)}

    # -- what hands do -------------------------------------------------------------------------

    def moved(self, p: Placement, dx: float, dy: float) -> Placement:
        """Moved on the cloth; a piece that belongs on a fold keeps to it, or goes to the other."""
        x, y = p.at[0] + dx, p.at[1] + dy
        if not self.on_fold(p):
            return replace(p, at=(x, y))
        folds = np.array(self.judge.cloth.folds_mm)
        here, there = (float(folds[np.argmin(np.abs(folds - v))]) for v in (p.at[1], y))
        over = p.mirrored if here == there else not p.mirrored  # it lies the other way round there
        return replace(p, at=(x, there), mirrored=over)

    def turned(self, p: Placement, by_deg: float) -> Placement:
        """Turned about its middle; on the fold half a turn is the only one, and turns it over."""
        if self.on_fold(p):
            if abs(abs(math.remainder(by_deg, 360.0)) - 180.0) > 1e-9:
                return p
            middle = self._middle(p)
            made = replace(p, turn_deg=(p.turn_deg + 180.0) % 360.0, mirrored=not p.mirrored)
            return replace(made, at=(made.at[0] + middle[0] - self._middle(made)[0], p.at[1]))
        return self._about_middle(p, replace(p, turn_deg=(p.turn_deg + by_deg) % 360.0))

    def turned_over(self, p: Placement) -> Placement:
        """Mirrored about its middle, along the grain; a piece on the fold stays as it is."""
        if self.on_fold(p):
            return p
        zone = self.zone_of(p)
        two = self.layers(p) == 1 and zone is not None and zone.layers == 2
        spec = self.judge.specs.get(p.piece)
        # cut from one of two layers, its side tells from which; alike on both it changes the layer
        alike = spec is not None and spec.alike
        over = not p.mirrored
        lower = two and zone is not None and (not p.lower if alike else over != zone.wrong_side)
        return self._about_middle(p, replace(p, mirrored=over, lower=lower))

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
        return carry(p.cloth_from_piece, middle)

    # -- soft snapping -------------------------------------------------------------------------

    def snapped(self, p: Placement, lay: Sequence[Placement]) -> tuple[Placement, list[Array]]:
        """Drawn onto the fold, the selvedge, the cloth's start, or a neighbour's cutting distance.

        Returns the placement and the guide lines to show, cloth mm.
        """
        solid = self._hand.solid(p)
        low, high = solid.low, solid.high
        shift = np.zeros(2)
        guides: list[Array] = []
        cloth = self.cloth
        if cloth is not None and cloth.outline is None:
            x0, x1 = cloth.x_range_mm
            y0, y1 = cloth.y_range_mm
            end = min(x1, high[0] + 400.0)
            marks = [(1, y0, low), (1, y1, high), (0, x0, low), (0, x1, high)]
            if cloth.meeting_mm is not None:
                marks += [(1, cloth.meeting_mm[0], high), (1, cloth.meeting_mm[1], low)]
            for axis, level, corner in marks:
                gap = level - corner[axis]
                if not abs(gap) <= SNAP_MM or shift[axis]:
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
        beside = self._beside(made, lay, free)
        if beside is not None:
            made, line = beside
            guides.append(line)
        return made, guides

    def _beside(
        self, p: Placement, lay: Sequence[Placement], free: NDArray[np.bool_]
    ) -> tuple[Placement, Array] | None:
        """Moved so that the nearest neighbour lies at exactly the cutting distance."""
        distance, reach = self.judge.distance, SNAP_MM
        still = self._others(p.key, lay)
        best = still.nearest(self._hand.solid(p), distance + reach)
        if best is None or best[0] < 0.05 or abs(best[0] - distance) > reach or not free.any():
            return None
        made, moved = p, np.zeros(2)
        for _ in range(4):  # along a slant or round a curve the first step is not all of it
            gap, a, b = best
            direction = (b - a) / max(gap, 1e-9)
            slide = direction * (gap - distance)
            # along the one free way when the other is already held by a mark
            for axis in (0, 1):
                if not free[axis]:
                    if abs(direction[1 - axis]) < 0.5:
                        return None
                    slide = np.zeros(2)
                    slide[1 - axis] = (gap - distance) / direction[1 - axis]
            moved = moved + slide
            if float(np.hypot(*moved)) > 1.5 * reach:
                return None
            made = self.moved(p, float(moved[0]), float(moved[1]))
            again = still.nearest(self._hand.solid(made), distance + reach)
            if again is None or abs(again[0] - distance) < 1e-6:
                break
            best = again
        return made, np.array([best[1], best[2]]) if again is None else np.array(again[1:])


@dataclass(frozen=True)
class Figures:
    """``used_mm`` of the length, ``share`` of the cloth in it (0 to 1), ``left_mm`` over."""

    used_mm: float
    share: float
    left_mm: float


def lie_alike(one: Placement, other: Placement) -> bool:
    """Whether chalk drawn round the one lies right for the other."""
    return not other.aside and replace(one, locked=False) == replace(other, locked=False)
