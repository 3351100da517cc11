"""Baywalk: from bay to bay, with the cloth moved by hand between them.

Takes the plan of `bays` and what she does (go on, point, take back, keep) and answers with the
next state; `table` holds the state, `scene` draws it and the docket's ``table: {bays: …}`` keeps
it, so that a killed program opens in the same bay with the same crosses. Every step is a pure
function of the state: nothing here draws, waits or saves.

In a bay she traces and chalks the crosses shown. Going on, the light stands where the next bay
is meant to lie; she slides the cloth until its crosses are near the light, points at each, and
the lay falls on them. Past 2 mm or 0.3 % it says so and asks again.
"""

from __future__ import annotations

import contextlib
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from configs.errors import InputError
from configs.units import length_text
from drafting.placement import Array, carry
from projector.picture.view import View
from projector.tools.align import Registration, register, told
from projector.tools.bays.model import (
    LEAST_CROSSES,
    MOST_CROSSES,
    Bay,
    BayPlan,
    Cross,
    inside,
)

Spot = tuple[float, float]  # table mm
PHASES = ("trace", "move", "check")
_FROM_RIM_MM = 10.0
_TURN_DOUBT_DEG = 25.0  # she does not turn the cloth further than this by mistake


@dataclass(frozen=True, eq=False)
class Baywalk:
    """Where she is.

    ``plan``; ``at``: index of the bay; ``phase``: ``trace`` (the bay lies right), ``move`` (she
    slides the cloth and points) or ``check`` (what she pointed at does not fit); ``view``: how
    the cloth lies, as far as is known; ``before``, ``came``: view and bay before the move;
    ``chalked``: labels
    of crosses that are on the cloth; ``wanted``: labels to point at, in order; ``taken``: table mm
    of those pointed at; ``registration``: the last one made; ``visited``: bays she has been in;
    ``marked``: (piece, bay) of the parts that are traced, where a piece is cut.
    """

    plan: BayPlan
    at: int = 0
    phase: str = "trace"
    view: View = field(default_factory=View)
    before: View | None = None
    came: int | None = None
    chalked: tuple[str, ...] = ()
    wanted: tuple[str, ...] = ()
    taken: tuple[Spot, ...] = ()
    registration: Registration | None = None
    visited: tuple[int, ...] = ()
    marked: tuple[tuple[str, int], ...] = ()

    @property
    def bay(self) -> Bay:
        """The bay she is in, or is moving to."""
        return self.plan.bays[self.at]

    @property
    def last(self) -> bool:
        """Whether no bay comes after this one."""
        return self.at == len(self.plan) - 1

    @property
    def next_cross(self) -> Cross | None:
        """The cross she is to point at now."""
        if self.phase != "move" or len(self.taken) >= len(self.wanted):
            return None
        return self.plan.crosses[self.wanted[len(self.taken)]]


def start(plan: BayPlan, view: View | None = None) -> Baywalk:
    """In the first bay; ``view``: as the cloth lies when that bay is lit already."""
    return Baywalk(plan, view=view or plan.view(0), visited=(0,))


def next_bay(walk: Baywalk) -> Baywalk:
    """On to the bay after this one; the crosses of this one count as chalked.

    Raises:
        InputError: this is the last bay.
    """
    if walk.last:
        raise InputError.of("bays", "this is the last bay.", "Nothing is left to move for.")
    return go(walk, walk.at + 1)


def previous_bay(walk: Baywalk) -> Baywalk:
    """Back to the bay before; she points at crosses again.

    Raises:
        InputError: this is the first bay, or too few crosses are chalked there.
    """
    if walk.at == 0:
        raise InputError.of("bays", "this is the first bay.")
    return go(walk, walk.at - 1)


def go(walk: Baywalk, index: int) -> Baywalk:
    """To any bay, or to this one again when the cloth has slipped.

    Raises:
        InputError: no such bay, or fewer than two chalked crosses lie in it.
    """
    if not 0 <= index < len(walk.plan):
        raise InputError.of("bays", f"there is no bay {index + 1}; there are {len(walk.plan)}.")
    chalked = list(walk.chalked)
    if walk.phase == "trace":
        chalked += [c.label for c in walk.plan.to_chalk(walk.at) if c.label not in chalked]
    wanted = _wanted(walk.plan, index, chalked)
    if len(wanted) < LEAST_CROSSES:
        near = next(
            (b.index for b in walk.plan.bays[:index] if b.index not in walk.visited), index - 1
        )
        raise InputError.of(
            "bays",
            f"fewer than two crosses are chalked in bay {index + 1}.",
            f"Trace bay {near + 1} first.",
        )
    return replace(
        walk,
        at=index,
        phase="move",
        before=walk.view if walk.phase == "trace" else walk.before,
        came=walk.at if walk.phase == "trace" else walk.came,
        view=_meant(walk, index),
        chalked=tuple(chalked),
        wanted=wanted,
        taken=(),
        registration=None,
    )


def stay(walk: Baywalk) -> Baywalk:
    """Back in the bay she was in: the cloth was not moved after all."""
    if walk.phase == "trace" or walk.before is None or walk.came is None:
        return walk
    return replace(
        walk,
        at=walk.came,
        phase="trace",
        view=walk.before,
        before=None,
        came=None,
        wanted=(),
        taken=(),
        registration=None,
    )


def point(walk: Baywalk, at_table: Spot) -> Baywalk:
    """She has pointed at the next cross.

    The light follows: after one cross it is moved, after two it is turned as well. After the
    last the phase is ``trace`` when all fits, else ``check``.
    """
    if walk.next_cross is None:
        return walk
    taken = (*walk.taken, (float(at_table[0]), float(at_table[1])))
    if len(taken) < len(walk.wanted):
        return replace(walk, taken=taken, view=_guess(walk, taken))
    try:
        made = in_any_order(_chalked(walk, taken), np.array(taken), walk.plan.view(walk.at))
    except InputError:  # all in one spot: as bad as can be, and she is asked again
        return replace(walk, taken=taken[:-1])
    view = made.view(walk.view)
    if made.ok:
        return _arrived(replace(walk, taken=taken, registration=made, view=view))
    return replace(walk, taken=taken, registration=made, view=view, phase="check")


def take_back(walk: Baywalk) -> Baywalk:
    """Without the cross she pointed at last."""
    if walk.phase == "trace" or not walk.taken:
        return walk
    taken = walk.taken[:-1]
    back = replace(walk, phase="move", taken=taken, registration=None)
    return replace(back, view=_guess(back, taken))


def again(walk: Baywalk) -> Baywalk:
    """All crosses of this bay once more."""
    if walk.phase == "trace":
        return go(walk, walk.at)
    return replace(walk, phase="move", taken=(), registration=None, view=_meant(walk, walk.at))


def mark(walk: Baywalk, key: str) -> tuple[Baywalk, bool]:
    """A piece is traced as far as this bay goes; and whether that was the last of it."""
    marked = walk.marked
    if (key, walk.at) not in marked:
        marked = (*marked, (key, walk.at))
    whole = all((key, i) in marked for i in walk.plan.bay_of(key))
    return replace(walk, marked=marked), whole


def unmark(walk: Baywalk, key: str) -> Baywalk:
    """Take the mark off a piece in this bay."""
    return replace(walk, marked=tuple(m for m in walk.marked if m != (key, walk.at)))


def restart(plan: BayPlan, view: View, chalked: Sequence[str], lit: Sequence[int] = ()) -> Baywalk:
    """With a new plan in the middle of the work.

    ``lit``: bays that are lit whole as the cloth lies: the first of them goes on as it is. Else
    she points at crosses of the first bay that holds two of those ``chalked``.
    """
    on = tuple(c for c in chalked if c in plan.crosses)
    walk = Baywalk(plan, view=view, chalked=on)
    if lit:
        return replace(walk, at=lit[0], visited=(lit[0],))
    for bay in plan.bays:
        if len(_wanted(plan, bay.index, on)) >= LEAST_CROSSES:
            return replace(go(replace(walk, phase="move"), bay.index), before=None)
    return start(plan)


def keep(walk: Baywalk) -> Baywalk:
    """She takes the fit as it is, although it is past the limit."""
    return _arrived(walk) if walk.phase == "check" else walk


def _arrived(walk: Baywalk) -> Baywalk:
    visited = walk.visited if walk.at in walk.visited else (*walk.visited, walk.at)
    return replace(walk, phase="trace", visited=visited, before=None, came=None)


def _wanted(plan: BayPlan, index: int, chalked: Sequence[str]) -> tuple[str, ...]:
    """Labels to point at in a bay: those planned for it, or others that are chalked there."""
    have = [c for c in plan.bays[index].crosses if c in chalked]
    if len(have) >= LEAST_CROSSES and len(have) == len(plan.bays[index].crosses):
        return tuple(have)
    rect = plan.bays[index].rect
    others = [
        c for c in chalked if c not in have and inside(plan.crosses[c].at, rect, _FROM_RIM_MM)
    ]
    while others and len(have) < MOST_CROSSES:  # the farthest from those it has, one by one
        at = [plan.crosses[c].at for c in have] or [(0.5 * (rect[0] + rect[2]), rect[1])]
        best = max(others, key=lambda c: min(math.dist(plan.crosses[c].at, p) for p in at))
        others.remove(best)
        have.append(best)
    return tuple(have)


def _meant(walk: Baywalk, index: int) -> View:
    """How the cloth is meant to lie for a bay; she may have gone to another side since."""
    return replace(walk.plan.view(index), side=walk.view.side)


def _chalked(walk: Baywalk, taken: Sequence[Spot]) -> Array:
    """(N, 2) cloth mm of the crosses that have been pointed at."""
    return np.array([walk.plan.crosses[c].at for c in walk.wanted[: len(taken)]]).reshape(-1, 2)


def _guess(walk: Baywalk, taken: Sequence[Spot]) -> View:
    """The view as far as the crosses taken tell."""
    meant, cloth, table = _meant(walk, walk.at), _chalked(walk, taken), np.array(taken)
    if len(cloth) == 0:
        return meant
    if len(cloth) >= 2:
        with contextlib.suppress(InputError):
            return register(cloth, table, mirrored=meant.mirror).view(meant)
    off = table[-1] - carry(meant.table_from_cloth, cloth[-1:])[0]
    return replace(meant, at=(meant.at[0] + float(off[0]), meant.at[1] + float(off[1])))


def in_any_order(cloth: Array, table: Array, meant: View) -> Registration:
    """The registration as pointed; when that fails, in the one other order that fits."""
    made = register(cloth, table, mirrored=meant.mirror)
    if made.ok or len(cloth) < 3:
        return made
    fits = []
    for order in itertools.permutations(range(len(cloth))):
        other = register(cloth, table[list(order)], mirrored=meant.mirror)
        off = math.remainder(math.degrees(other.rotation) - meant.turn_deg, 360.0)
        if other.ok and abs(off) <= _TURN_DOUBT_DEG:
            fits.append(other)
    return fits[0] if len(fits) == 1 else made


@dataclass(frozen=True)
class ShownCross:
    """A cross in the light: ``at_table`` mm, ``turn_deg`` of its strokes, ``kind``: ``chalk``
    (draw it on the cloth), ``next`` (point at it now), ``later``, ``taken`` or ``old`` (there
    already)."""

    label: str
    at_table: tuple[float, float]
    turn_deg: float
    arm_mm: float
    kind: str


def crosses_shown(walk: Baywalk) -> list[ShownCross]:
    """Every cross to be drawn in this state."""
    out = []
    plan, a = walk.plan, walk.view.table_from_cloth

    def add(label: str, kind: str, at: tuple[float, float] | None = None) -> None:
        cross = plan.crosses[label]
        x, y = at if at is not None else carry(a, np.array([cross.at]))[0].tolist()
        out.append(ShownCross(label, (float(x), float(y)), walk.view.turn_deg, cross.arm_mm, kind))

    if walk.phase == "trace":
        new = [c.label for c in plan.to_chalk(walk.at)]
        for label in new:
            add(label, "old" if label in walk.chalked else "chalk")
        for label in walk.chalked:
            if label not in new and inside(plan.crosses[label].at, walk.bay.rect, 0.0):
                add(label, "old")
        return out
    for i, label in enumerate(walk.wanted):
        if i < len(walk.taken):
            add(label, "taken", walk.taken[i])
        else:
            add(label, "next" if i == len(walk.taken) else "later")
    return out


def said(walk: Baywalk, unit: str | None = None) -> str:
    """What to tell her now, for the strip: short parts by line breaks, the first ones first.

    ``unit``: that lengths are told in; by the one rule everywhere when None.
    """
    n = f"Bay {walk.at + 1} of {len(walk.plan)}"
    labels = [f"cross {c}" for c in walk.wanted]
    if walk.phase == "check" and walk.registration is not None:
        return f"{n}\n{told(walk.registration, labels)}"
    if walk.phase == "move":
        cross = walk.next_cross
        at = f"point at cross {cross.label}" if cross is not None else "point at its crosses"
        where = moved_by(walk, unit)
        if walk.taken or not where:
            return f"{n}: {at}"
        return f"{n}: {at}\nfirst slide the cloth {where}"
    parts = [n]
    new = [c.label for c in walk.plan.to_chalk(walk.at) if c.label not in walk.chalked]
    if new:
        parts.append(f"chalk {' '.join(new)} before you move the cloth")
    elif walk.last:
        parts.append("the last one")
    if walk.registration is not None:
        parts.append(told(walk.registration, labels))
    return "\n".join(parts)


def moved_by(walk: Baywalk, unit: str | None = None) -> str:
    """How the cloth is to be moved, in her words: ``64 cm to your left``; empty when unknown."""
    if walk.before is None:
        return ""
    r = walk.bay.rect
    middle = np.array([[0.5 * (r[0] + r[2]), 0.5 * (r[1] + r[3])]])
    meant = walk.plan.view(walk.at).table_from_cloth
    d = (carry(meant, middle) - carry(walk.before.table_from_cloth, middle))[0]
    return ", ".join(ways_words(d, walk.view, unit, 5.0))


def ways_words(
    move: Sequence[float] | Array, view: View, unit: str | None, least_mm: float
) -> list[str]:
    """A move (2,) table mm in her directions: ``64 cm to your left``; less than ``least_mm`` is none."""
    up = math.radians(view.up_deg)
    right = move[0] * math.cos(up) + move[1] * math.sin(up)
    away = -move[0] * math.sin(up) + move[1] * math.cos(up)
    ways = (right, "to your right", "to your left"), (away, "away from you", "towards you")
    return [
        f"{length_text(round(abs(mm)), unit)} {more if mm > 0 else less}"
        for mm, more, less in ways
        if abs(mm) >= least_mm
    ]
