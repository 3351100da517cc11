"""Which way to fold the cloth: every allowed way is tried, the best one kept, and what each takes told.

Above the planner, which lays pieces on a cloth that is folded in one way. Here too is the refold
between two groups: what is cut through both layers lies on the folded part, and the cloth beyond
is opened out to a single layer for the rest.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from configs.errors import LayError
from drafting.cloth import Cloth
from drafting.folding import Folding
from drafting.lay.cuts import FOLD, FOLD_TOLERANCE_MM, SINGLE, named, specs_of
from drafting.lay.job import Job, Kind, make_job
from drafting.lay.laid import LaidPiece
from drafting.lay.model import Lay
from drafting.lay.planner import Effort, lay_as_it_is, plan_job
from drafting.lay.rules import Rules
from drafting.outline import signed_area
from drafting.piece import Piece

Progress = Callable[[Lay], Any]

REFOLDED = ("lengthwise", "double", "crosswise")  # folds that are opened out for the rest
_FIRST_SHARE = 0.6  # of the time that is left for the way that is looked at next
_FURTHER_S = 1.5, 4.0  # with so much time a second way is looked at, and a third
_LOOK_SHARE = 0.3  # of the time for first plans; those that promise little are then made last
_TOLD_EACH_S = 0.05  # kept for each of those
_TOLD_S = 0.3  # over the time, so that they can be told
_LEAST_SLICE_S = 0.1  # with less time nothing is bettered
_NO_GAIN_MM = 0.5
_DENSE = 0.82  # of the cloth that a good lay turns into pieces
_SMALL = 0.25  # of the largest piece: facings, bands, pockets
_ROOM_MM = 1.0  # between the widest piece on a fold and the selvedge that ends it


@dataclass(frozen=True)
class Way:
    """One way to fold: the cloth so folded; ``refold``: opened out once what lies double is cut."""

    cloth: Cloth
    refold: bool = False

    @property
    def kind(self) -> str:
        """The way's key: one of `FOLDS`, or "refold"."""
        return "refold" if self.refold else self.cloth.fold

    @property
    def words(self) -> str:
        """In short words: ``folded lengthwise, then opened out``."""
        said = replace(self.cloth.folding, open_from_mm=None).short
        if self.refold:
            said += ", then opened out"
        if self.cloth.whole and self.cloth.opened and self.cloth.folded:
            said += f" ({', '.join(self.cloth.opened)} whole)"
        return said


@dataclass(frozen=True)
class Tried:
    """What one way would take: ``length_mm`` of cloth, opened out; None where something has no room."""

    way: str
    words: str
    length_mm: float | None
    efficiency: float


@dataclass(frozen=True)
class Chosen:
    """The best lay found and what every way that was tried takes, the best first."""

    lay: Lay
    tried: tuple[Tried, ...]


def ways(
    pieces: Mapping[str, Piece] | Iterable[Piece], cloth: Cloth, rules: Rules | None = None
) -> tuple[Way, ...]:
    """Every way that this cloth may be folded for these pieces; a remnant lies as it is drawn.

    Across the length only without a one-way nap: the upper layer would run the other way.
    """
    given, rules = named(pieces), rules or Rules()
    if cloth.outline is not None:
        return (Way(cloth),)
    plain = replace(cloth, open_from_mm=None, over_mm=0.0, found=cloth.best)
    if cloth.border is not None:
        return tuple(Way(replace(plain, fold=fold)) for fold in _along_border(cloth))
    found = [Way(replace(plain, fold="none"))]
    lengthwise = replace(plain, fold="lengthwise")
    for fold in REFOLDED:
        if fold == "crosswise" and cloth.nap == "one-way":
            continue
        folded = replace(plain, fold=fold)
        found.append(Way(folded))
        if _refoldable(given, folded, rules):
            found.append(Way(folded, refold=True))
    overs = _overs(given, lengthwise, rules)
    found += [Way(replace(plain, fold="partial", over_mm=over)) for over in overs]
    return tuple(found)


def ways_as_asked(
    pieces: Mapping[str, Piece] | Iterable[Piece], cloth: Cloth, rules: Rules | None = None
) -> tuple[Way, ...]:
    """The ways that the docket leaves open: all of them for 'best', else the one that it names.

    Folded across, what is cut from one layer would leave as much cloth lying whole below it, so
    opening out the rest is tried too.
    """
    given, rules = named(pieces), rules or Rules()
    if cloth.outline is not None:
        return (Way(cloth),)
    plain = as_asked(cloth)
    found = ways(given, plain, rules) if cloth.best else (Way(plain),)
    across = cloth.fold == "crosswise" and cloth.border is None and not cloth.best
    if across and SINGLE in _hows(given, plain, rules):
        found = Way(plain), Way(plain, refold=True)
    if cloth.whole:
        found += tuple(_opened(given, found, rules))
    return found if len(found) > 1 else (Way(cloth),)


def _along_border(cloth: Cloth) -> list[str]:
    """The folds that leave the border's selvedge bare along one line."""
    folds = ["none"] if cloth.nap == "one-way" else ["none", "crosswise"]
    far = cloth.border is not None and cloth.border.side == "far"
    return [*folds, "lengthwise"] if far else folds


def _opened(pieces: Mapping[str, Piece], those: Iterable[Way], rules: Rules) -> list[Way]:
    """The same ways with the small halves, and with all halves but the largest, laid whole."""
    made = []
    for way in those:
        small = small_halves(pieces, way.cloth, rules)
        rest = tuple(_halves(pieces, way.cloth, rules))[1:]
        for some in dict.fromkeys(s for s in (small, rest) if s):
            cloth = replace(way.cloth, opened=(*way.cloth.opened, *some))
            made.append(Way(cloth, way.refold))
            refolds = cloth.fold in REFOLDED and cloth.border is None
            if not way.refold and refolds and _refoldable(pieces, cloth, rules):
                made.append(Way(cloth, refold=True))
    return made


def small_halves(pieces: Mapping[str, Piece], cloth: Cloth, rules: Rules) -> tuple[str, ...]:
    """Halves on the fold that are small beside the largest piece: facings, bands, pockets."""
    area = _halves(pieces, cloth, rules)
    most = max(
        (abs(signed_area(s.ring)) for s in specs_of(pieces, cloth, rules).of.values()), default=0.0
    )
    return tuple(n for n, a in area.items() if a < _SMALL * most)


def _halves(pieces: Mapping[str, Piece], cloth: Cloth, rules: Rules) -> dict[str, float]:
    """Halves on the fold by area, mm², the largest first."""
    specs = specs_of(pieces, cloth, rules).of
    area = {n: abs(signed_area(s.ring)) for n, s in specs.items() if s.on_fold}
    return dict(sorted(area.items(), key=lambda a: -a[1]))


def _refoldable(pieces: Mapping[str, Piece], cloth: Cloth, rules: Rules) -> bool:
    """Whether something is cut from one layer there, and something else through both."""
    hows = _hows(pieces, cloth, rules)
    return SINGLE in hows and len(hows) > 1


def _hows(pieces: Mapping[str, Piece], cloth: Cloth, rules: Rules) -> set[str]:
    return {c.how for s in specs_of(pieces, cloth, rules).of.values() for c in s.cuts}


def _overs(pieces: Mapping[str, Piece], cloth: Cloth, rules: Rules) -> tuple[float, ...]:
    """How wide one selvedge may be folded over: for what lies double, and to leave room for the rest."""
    try:
        job = make_job(pieces, cloth, rules)
    except LayError:
        return ()
    across = [(k.how, min(float((s.high - s.low)[1]) for s in k.stances)) for k in job.kinds]
    single = max((wide for how, wide in across if how == SINGLE), default=0.0)
    double = max((wide for how, wide in across if how != SINGLE), default=0.0)
    if not double or not single:
        return ()
    s, width = cloth.selvedge_mm, cloth.width_mm
    wanted = (double + s + _ROOM_MM, (width - s - single - _ROOM_MM) / 2.0)
    found = {round(v, 0) for v in wanted if double + s < v < width / 2.0}
    return tuple(sorted(v + 1.0 if v < double + s + _ROOM_MM else v for v in found))


def plan_way(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    way: Way,
    seconds: float,
    *,
    rules: Rules | None = None,
    start: Iterable[Any] = (),
    progress: Progress | None = None,
    effort: Effort | None = None,
) -> Lay:
    """Lay the pieces on cloth folded one way; with a refold, in two groups.

    Raises:
        LayError: pieces or cloth that cannot be used.
    """
    given, rules = named(pieces), rules or Rules()
    job = make_job(given, way.cloth, rules)
    if not way.refold:
        return plan_job(job, seconds, start=start, progress=progress, effort=effort)
    double = replace(job, items=tuple(i for i in job.items if job.kinds[i.kind].layers == 2))
    first = plan_job(double, 0.4 * seconds if double.items else 0.0, effort=effort)
    if first.left_out:  # what lies double has no room, so there is nothing to open out after it
        return plan_job(job, 0.0, effort=effort)
    apart = job.distance if double.items else 0.0
    opened = math.ceil(10.0 * (first.used_length_mm + apart)) / 10.0
    cloth = replace(way.cloth, open_from_mm=opened)
    rest = make_job(given, cloth, rules, first.placements)

    def shown(lay: Lay) -> Any:
        return progress(_unlocked(lay)) if progress is not None else None

    made = plan_job(rest, 0.6 * seconds if double.items else seconds, progress=shown, effort=effort)
    whole = lay_as_it_is(given, cloth, _unlocked(made).placements, rules)
    return replace(
        whole, seconds=first.seconds + made.seconds, interrupted=made.interrupted or first.interrupted,
        notes=(*whole.notes, *_steps(whole)),
    )  # fmt: skip


def _unlocked(lay: Lay) -> Lay:
    return replace(lay, placements=tuple(replace(p, locked=False) for p in lay.placements))


def _steps(lay: Lay) -> tuple[str, ...]:
    """What is cut before and after the cloth is opened out, in one sentence."""
    opened = lay.cloth.open_from_mm
    if opened is None:
        return ()

    def names(those: Iterable[LaidPiece]) -> str:
        return ", ".join(dict.fromkeys(p.piece for p in those))

    before = [p for p in lay.placements if float(p.outline_mm[:, 0].max()) <= opened + 0.05]
    after = [p for p in lay.placements if p not in before]
    if not before or not after:
        return ()
    return (
        f"First cut {names(before)} from the cloth {replace(lay.cloth.folding, open_from_mm=None).short}; "
        f"then open out the rest, right side up, and cut {names(after)}.",
    )


def best_fold(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    cloth: Cloth,
    seconds: float = 10.0,
    *,
    among: Iterable[Way] | None = None,
    rules: Rules | None = None,
    start: Iterable[Any] = (),
    progress: Progress | None = None,
    effort: Effort | None = None,
) -> Chosen:
    """The best lay over all ways to fold, the time shared among them.

    Each way gets a first plan. Time is then spent on those that may come to the least, by the area of the
    pieces, the edges on the fold and the longest piece; a way whose least is no less than what is found
    already gets none, and when none is left the planning ends. Compared is the cloth that is taken, opened out. ``among``: only these ways; ``start``: an earlier lay on the cloth as it is folded,
    to be bettered.

    Raises:
        LayError: pieces or cloth that cannot be used in any way.
    """
    given, rules, effort = named(pieces), rules or Rules(), effort or Effort()
    every = tuple(among) if among is not None else ways(given, cloth, rules)
    began = time.monotonic()
    found: list[tuple[tuple[float, float], int, Lay]] = []
    faults: list[LayError] = []
    stopped = False

    def told(lay: Lay) -> Any:
        nonlocal stopped
        if progress is not None:
            left = max(0.0, seconds - (time.monotonic() - began))
            stopped = progress(replace(lay, seconds_left=left)) is False or stopped
        return not stopped

    def first(n: int) -> None:
        try:
            lay = plan_way(given, every[n], 0.0, rules=rules, effort=replace(effort, workers=0))
        except LayError as error:
            faults.append(error)
            return
        found.append((_rank(lay), n, lay))
        told(min(found)[2])

    hopes = {}
    for n, way in enumerate(every):
        try:
            hopes[n] = _hope(make_job(given, way.cloth, rules), way)
        except LayError as error:
            faults.append(error)
    waiting = sorted(hopes, key=lambda n: (round(hopes[n].likely), n))
    while waiting and not stopped:
        soon = time.monotonic() - began < _LOOK_SHARE * seconds
        if found and not soon and min(found)[0][0] == 0.0:
            break
        first(waiting.pop(0))
    earlier = tuple(start)
    if earlier and cloth.outline is None:
        lay = lay_as_it_is(given, cloth, earlier, rules)
        if not lay.problems():
            every = (*every, Way(cloth))
            hopes[len(every) - 1] = _hope(make_job(given, cloth, rules), Way(cloth))
            found.append((_rank(lay), len(every) - 1, lay))
    if not found:
        raise faults[0]
    looked: set[int] = set()
    kept_ways = 1 + sum(seconds >= s for s in _FURTHER_S)
    while not stopped and not any(lay.interrupted for *_, lay in found):
        left = seconds - (time.monotonic() - began) - _TOLD_EACH_S * len(waiting)
        missing, shortest = min(found)[0]
        better = [
            (rank[0], hopes[n].likely + rank[1], k)
            for k, (rank, n, lay) in enumerate(found)
            if (hopes[n].least < shortest - _NO_GAIN_MM or missing > 0.0)
            and (rank[0] <= missing or cloth.length_mm is not None)
        ]
        fresh = sorted(b for b in better if found[b[2]][1] not in looked)
        if left < _LEAST_SLICE_S or not better:
            break
        last = len(fresh) < 2 or len(looked) >= kept_ways - 1
        k = fresh[0][2] if fresh and len(looked) < kept_ways else found.index(min(found))
        share = left if last else _FIRST_SHARE * left
        rank, n, lay = found[k]
        again = n in looked
        looked.add(n)
        made = plan_way(
            given, every[n], share, rules=rules, start=lay.docket_placements(), progress=told,
            effort=effort,
        )  # fmt: skip
        kept = lay if rank <= _rank(made) else made
        found[k] = (_rank(kept), n, replace(kept, interrupted=made.interrupted))
        if again and made.seconds < 0.5 * share:
            break  # it ended by itself: there is nothing to better
    while waiting and not stopped and time.monotonic() - began < seconds + _TOLD_S:
        first(waiting.pop(0))  # so that what they take can be told
    found.sort(key=lambda f: f[:2])
    tried: dict[str, Tried] = {}
    for _, n, lay in found:  # of one way the better ones come first
        length = None if lay.left_out else lay.cloth_length_mm
        words = Way(lay.cloth, lay.cloth.open_from_mm is not None).words
        tried.setdefault(words, Tried(every[n].kind, words, length, lay.efficiency))
    best = found[0][2]
    return Chosen(replace(best, seconds=time.monotonic() - began), tuple(tried.values()))


@dataclass(frozen=True)
class _Hope:
    """Cloth that a way takes, opened out, mm: ``least`` whatever is tried, ``likely`` at best."""

    least: float
    likely: float


def _hope(job: Job, way: Way) -> _Hope:
    """By the area of all pieces, the longest of them, and the edges that lie on its folds."""
    cloth = way.cloth
    if cloth.outline is not None:
        return _Hope(0.0, 0.0)
    kinds = [job.kinds[item.kind] for item in job.items]
    area = sum(k.area * k.layers for k in kinds)
    area += sum(p.area_mm2 for p in job.locked)
    longest: float = max(
        (min(float(s.high[0] - s.low[0]) for s in k.stances) for k in kinds), default=0.0
    )
    edges = [_on_fold(k) for k in kinds if k.how == FOLD]
    longest = max(longest, sum(edges) / max(1, len(cloth.folds_mm)))
    if cloth.fold == "crosswise" and not way.refold:
        longest *= 2.0
    wide = max(cloth.width_mm - 2.0 * cloth.selvedge_mm, 1.0)
    return _Hope(max(longest, area / wide), max(longest, area / wide / _DENSE))


def _on_fold(kind: Kind) -> float:
    """How long the edge is that a half has on the fold, mm."""
    stance = kind.stances[0]
    y = stance.ring[:, 1]
    line = y.max() if stance.from_top else y.min()
    return float(np.ptp(stance.ring[np.abs(y - line) < FOLD_TOLERANCE_MM, 0]))


def _rank(lay: Lay) -> tuple[float, float]:
    """Cloth that found no room first, then how much is taken, opened out."""
    kinds = [] if lay.job is None else [(i, lay.job.kinds[i.kind]) for i in lay.job.items]
    size = {f"{kind.piece}/{item.copy}": kind.area * kind.layers for item, kind in kinds}
    return sum(size.get(key, 1.0) for key in lay.left_out if size), lay.cloth_length_mm


def as_asked(cloth: Cloth) -> Cloth:
    """The cloth without what a planner chose: with 'fold: best' the way, else where it is opened out;
    with 'whole: allowed' which halves are laid whole; with 'joins' how many are made."""
    fold = cloth.folding
    if cloth.whole:
        cloth = replace(cloth, opened=())
    if cloth.joins:
        cloth = replace(cloth, pieced={})
    if fold.best:
        return cloth.folded_as(Folding("lengthwise", fold.face, best=True))
    return replace(cloth, open_from_mm=None)
