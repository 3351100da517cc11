"""Front and back of a skirt that is fitted from the waist to the hip: darts by the body, one side seam.

Shared by the darted skirts; after the rules that `straight_skirt` names. Front and back have the
very same side seam, and the waist is drawn with the darts closed, as one smooth line, and opened
again, so that it runs on over every dart and is as long as it must be.

Frame: piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError
from drafting.curves import Cubic, left_of, line, sweep
from drafting.fit import BACK, FRONT
from drafting.outline import arc_lengths
from drafting.sheet import Amount, Sheet, found, least, number
from drafting.sheet.darts import OpenDart, through_darts
from drafting.sheet.joints import Joint, places
from drafting.sheet.waists import (
    LENGTHS_MM,
    Girths,
    hip_curve,
    in_line,
    on_target,
    refuse_halves,
    refuse_short,
)

BACK_WIDER = number(15.0, "the back is wider by")  # on each half, in both handbooks
RAISE_MM, RAISE_AT_MM = 12.5, 35.0  # Aldrich's raised side waist, at her usual shaping of the side
DART_MM, LEAST_DART_MM = 20.0, 10.0
MOST_OF_LENGTH = 0.25  # a dart that is wider for its length makes a bag at its point
# How much of the shaping the side seam takes: less is no shape, more makes a hook at the hip.
LEAST_SIDE_MM, MOST_SIDE_MM, LIMIT_SIDE_MM = 10.0, 40.0, 50.0
# Dart lengths at a waist-to-hip of 20.6 cm (Aldrich: back 14 and 12.5, front 10); with it they
# grow. Where a dart stands, as a share of the waist from the centre.
USUAL_DEPTH_MM = 206.0
_DARTS = {
    (BACK, 2): ((1 / 3, 140.0), (2 / 3, 125.0)), (BACK, 1): ((0.5, 130.0),),
    (FRONT, 1): ((2 / 3, 100.0),), (FRONT, 2): ((0.4, 90.0), (0.75, 100.0)),
}  # fmt: skip
SIDE_BOW = 1.35  # the side seam leans in at the waist by this of its chord: about 5 mm of bow
MOST_RISE_MM = 20.0  # of the centre front over a full stomach
FAR_SIDE_MM = 15.0  # of a side seam from its usual place: told
GATHERED_SIDE_MM = 30.0  # of shaping at the side of a skirt that is gathered into its band


@dataclass(frozen=True)
class DartPlan:
    """How many darts of which width (at the waist, mm) a half of front and back get."""

    front: tuple[float, ...]
    back: tuple[float, ...]


def plan_darts(
    shaping_mm: float, scale: float = 1.0, remedy: str = "Else 'style: {shaping: gathers}'."
) -> DartPlan:
    """Darts for what one half of the skirt must lose from hip to waist: a third in front, two thirds
    behind, none wider than a quarter of its length.

    Three of 2 cm where that leaves the side seam 1 to 4 cm on each panel; else wider ones, a
    second in the front, or fewer, and none where there is nothing to take in. ``scale``: of the
    darts' lengths; ``remedy``: what to do where that cannot be.

    Raises:
        DraftError: more than darts and side seams can take.
    """
    side = 0.5 * (shaping_mm - 3 * DART_MM)
    if LEAST_SIDE_MM <= side <= MOST_SIDE_MM:
        return DartPlan((DART_MM,), (DART_MM, DART_MM))
    usual = MOST_SIDE_MM if side > MOST_SIDE_MM else LEAST_SIDE_MM
    third = max(shaping_mm - 2 * usual, 0.0) / 3
    if third < LEAST_DART_MM:  # one dart behind, or none
        return DartPlan((), (3 * third,) if 3 * third >= LEAST_DART_MM else ())
    widest = _widest(scale)
    back = min(third, widest[BACK, 2])  # where these are as wide as may be the front takes more
    front = min(shaping_mm - 2 * usual - 2 * back, 2 * widest[FRONT, 2])
    if 0.5 * (shaping_mm - 2 * back - front) > LIMIT_SIDE_MM + 1e-9:
        what = "is too small for the hip: darts and side seams cannot take in so much."
        raise DraftError.of("waist", what, f"Are waist_girth and hip_girth right? {remedy}")
    fronts = (front,) if front <= widest[FRONT, 1] else (front / 2, front / 2)
    return DartPlan(fronts, (back, back))


def _widest(scale: float) -> dict[tuple[str, int], float]:
    """How wide each of a half's darts may be, mm: half and how many → that of the shortest."""
    return {k: scale * MOST_OF_LENGTH * min(leg for _, leg in d) for k, d in _DARTS.items()}


@dataclass(frozen=True, eq=False)
class Panel:
    """Half of the front or the back, mm: ``waist``, its parts from the centre to the side, between
    the ``darts``; ``side`` from the waist down to the hem; ``hem`` from the centre to the side;
    ``closed``: the waist with its darts closed, one curve."""

    half: str
    width: float
    waist: list[Cubic]
    darts: list[OpenDart]
    side: tuple[Cubic, Cubic]
    hem: Cubic
    closed: Cubic


@dataclass(frozen=True)
class Sizes:
    """The draft's amounts: half the hip and half the waist as drawn, how deep the hip line lies,
    the length, how far the hem stands out on each panel, how far the centre back is lowered
    and the centre front raised, and what a closed ring must measure round that the hip is to pass."""

    hip: Amount
    waist: Amount
    depth: Amount
    length: Amount
    flare: Amount
    drop: Amount
    rise: Amount
    ring: Amount


def sizes(s: Sheet, g: Girths, flare: Amount) -> Sizes:
    """The amounts of a skirt; ``flare``: how far the hem stands out on each panel.

    Faults for what is no skirt are noted on the sheet.
    """
    z = Sizes(
        hip=(g.drawn / 2).named("half the hip"),
        waist=(g.waist / 2).named("half the waist"),
        depth=s.m["waist_to_hip"],
        length=s.chosen("length", LENGTHS_MM) + s.fitted("length below waist"),
        flare=flare,
        drop=s.fitted("sway back"),
        rise=least(s.fitted("stomach") / 2, MOST_RISE_MM),
        ring=g.ring,
    )
    refuse_halves(s, ("waist", "hip", "hem"), "front and back of this skirt share one side seam")
    refuse_short(s, z.length)
    s.fault(z.drop > 0.2 * z.depth, "fit", "'sway back' takes too much from so short a hip.", "Use less.")  # fmt: skip
    return z


def hip_widths(s: Sheet, z: Sizes) -> dict[str, Amount]:
    """How wide front and back are at the hip, half of each."""
    shift = s.fitted("stomach") / 2
    return {FRONT: (z.hip - BACK_WIDER) / 2 + shift, BACK: (z.hip + BACK_WIDER) / 2 - shift}


def dart_scale(depth: float) -> float:
    """How much longer than usual darts are, for a hip that lies ``depth`` below the waist."""
    return min(max(depth / USUAL_DEPTH_MM, 0.7), 1.1)


def dart_legs(half: str, count: int, depth: float) -> list[float]:
    """How long the legs of a half's darts are, from the centre outward, mm."""
    return [leg * dart_scale(depth) for _, leg in _DARTS.get((half, count), ())]


def draw_panel(
    half: str, width: float, taken: float, darts: Sequence[float], z: Sizes, under: Sequence[float] = ()
) -> Panel:  # fmt: skip
    """Half of the front or back whose side seam comes in by ``taken`` mm from hip to waist; ``under``:
    where its darts stand on the closed waist, mm from the centre, where not by the usual shares.

    The waist is one smooth line with the darts closed: it leaves the centre squarely and meets
    the side seam squarely.
    """
    depth, long_, flare = float(z.depth), float(z.length), float(z.flare)
    lean = math.atan2(flare, max(long_ - depth, 1.0))
    down = np.array([math.sin(lean), -math.cos(lean)])
    hip = np.array([width, -depth])
    foot = hip + down * (long_ - depth)
    end = np.array([width - taken, RAISE_MM * min(max(taken, 0.0) / RAISE_AT_MM, 1.6)])
    chord = math.atan2(taken, float(end[1]) + depth)
    phi = SIDE_BOW * chord - (SIDE_BOW - 1.0) * lean
    up = np.array([-math.sin(phi), math.cos(phi)])
    centre = np.array([0.0, -float(z.drop) if half == BACK else float(z.rise)])
    rough = sweep(centre, (1.0, 0.0), end, -left_of(up))
    scale = dart_scale(depth)
    grid = np.linspace(0.0, 1.0, 65)
    run = arc_lengths(rough.point(grid))
    usual = _DARTS.get((half, len(darts)), ())
    legs = [leg * scale for _, leg in usual]
    stands = [share * run[-1] for share, _ in usual]
    if under:
        stands = [at + sum(darts[:i]) + 0.5 * darts[i] for i, at in enumerate(under)]
    lifts = [0.0] * len(stands)
    for _ in range(3):  # the true waist lies a little off the rough one: the points follow it
        spots = []
        for stand, leg, wide, lift in zip(stands, legs, darts, lifts, strict=True):
            at = float(np.interp(stand, run, grid))
            axis = left_of(rough.tangent(at))
            spots.append((rough.point(at) + axis * (lift - leg), axis, 2.0 * math.asin(0.5 * wide / leg)))  # fmt: skip
        waist, opened, closed = through_darts(centre, end, up, spots)
        drawn = [float(np.hypot(*(d.inner - d.tip))) for d in opened]
        lifts = [x + a - leg for x, a, leg in zip(lifts, drawn, legs, strict=True)]
        if under:
            ends = np.cumsum([part.length for part in waist])
            stands = [x + at - e for x, at, e in zip(stands, under, ends[:-1], strict=True)]
    hem = sweep((0.0, -long_), (1.0, 0.0), foot, left_of(down))
    side = (hip_curve(end, -up, hip, down), line(hip, foot))
    return Panel(half, width, waist, opened, side, hem, closed)


def plan_joined(
    plan: DartPlan, joint: Joint, widths: Mapping[str, Amount], scale: float, far: float, least: float
) -> DartPlan:  # fmt: skip
    """The planned darts shared anew between front and back where else these would end more than ``far``
    mm from the bodice's side seam, or the hip's side seam lie so far from its usual place; ``least``: of a dart."""
    widest = _widest(scale)
    total = sum(plan.front) + sum(plan.back)
    uneven = float(widths[FRONT] - widths[BACK] - joint.halves[FRONT].length + joint.halves[BACK].length)  # fmt: skip
    most_ = {h: 2.0 * widest[h, 2] for h in (FRONT, BACK)}
    straight = 0.5 * (total + uneven)  # with which the side seam stays where it is
    front = min(max(sum(plan.front), straight - far), straight + far)
    front = min(max(front, total - most_[BACK], 0.0), most_[FRONT], total)
    if front < least:
        front = 0.0
    elif total - front < least:
        front = min(total, most_[FRONT])
    found_ = {}
    for half, wide in ((FRONT, front), (BACK, min(total - front, most_[BACK]))):
        many = 0 if wide < least else 1 if wide <= widest[half, 1] else 2
        found_[half] = (wide / many,) * many if many else ()
    return DartPlan(found_[FRONT], found_[BACK])


def solved_to(
    z: Sizes, plan: DartPlan | None, widths: Mapping[str, float], joint: Joint
) -> tuple[Panel, Panel, float, float]:
    """Front and back for the waist of a bodice, each as long as its half of that, darts in line, sides
    alike; by how much the side comes in, and how much wider than usual the front is at the hip."""
    darts = {FRONT: plan.front if plan else (), BACK: plan.back if plan else ()}
    under = {h: places(joint, h, len(d)) for h, d in darts.items()}
    waist = {h: float(x.length) for h, x in joint.halves.items()}
    taken = 0.5 * float(z.hip - z.waist - sum(darts[FRONT]) - sum(darts[BACK]))
    if plan is None:
        taken = min(taken, GATHERED_SIDE_MM)
    more = 0.5 * (waist[FRONT] - waist[BACK] + sum(darts[FRONT]) - sum(darts[BACK]) - widths[FRONT] + widths[BACK])  # fmt: skip

    def drawn(taken: float, more: float) -> tuple[dict[str, Panel], float, float]:
        pair = {
            h: draw_panel(h, widths[h] + sign * more, taken, darts[h], z, under[h])
            for h, sign in ((FRONT, 1.0), (BACK, -1.0))
        }
        front, back = (pair[h].closed.length - waist[h] for h in (FRONT, BACK))
        return pair, front, back

    if plan is None:
        pair = drawn(taken, more)[0]
    else:
        pair, taken, more = in_line(drawn, taken, more)
        if not -5.0 < taken < 2.0 * LIMIT_SIDE_MM:
            raise DraftError.of("waist", "cannot be drawn to that of the bodice.", "Are the measurements right?")  # fmt: skip
    return pair[FRONT], pair[BACK], taken, more


def panels(
    s: Sheet,
    z: Sizes,
    g: Girths,
    plan: DartPlan | None,
    far: float = FAR_SIDE_MM,
    least: float = LEAST_DART_MM,
) -> tuple[Panel, Panel, Amount, dict[str, Amount]]:
    """Front and back of a skirt by itself or sewn to a bodice, by how much the side comes in, and how
    wide they are at the hip; ``far``: how far its side seam may move before darts are shared anew;
    ``least``: the narrowest dart, mm."""
    widths = hip_widths(s, z)
    plain = {h: float(w) for h, w in widths.items()}
    if g.joint is None:
        front, back, taken = solved(z, plan, plain)
        return front, back, _in(z, taken), widths
    if plan:
        plan = plan_joined(plan, g.joint, widths, dart_scale(float(z.depth)), far, least)
    front, back, taken, more = solved_to(z, plan, plain, g.joint)
    move = found(more, "to the bodice's side seam", g.waist)
    if abs(more) > FAR_SIDE_MM:
        way = BACK if more > 0 else FRONT
        s.notes.append(f"The side seam meets the bodice's: at the hip it lies {s.t(abs(more))} farther to the {way} than on a skirt alone.")  # fmt: skip
    return front, back, _in(z, taken), {FRONT: widths[FRONT] + move, BACK: widths[BACK] - move}


def _in(z: Sizes, taken: float) -> Amount:
    return found(taken, "taken in at the side", z.hip, z.waist, z.depth)


def solved(
    z: Sizes, plan: DartPlan | None, widths: Mapping[str, float]
) -> tuple[Panel, Panel, float]:
    """Front and back whose waists together are as long as half the waist, their sides alike, and
    by how much the side comes in; without a ``plan`` they are longer, to be gathered in."""
    darts = plan or DartPlan((), ())

    def drawn(taken: float) -> tuple[tuple[Panel, Panel], float]:
        front = draw_panel(FRONT, widths[FRONT], taken, darts.front, z)
        pair = front, draw_panel(BACK, widths[BACK], taken, darts.back, z)
        return pair, sum(p.closed.length for p in pair) - float(z.waist)

    taken = 0.5 * float(z.hip - z.waist - sum(darts.front) - sum(darts.back))
    if plan is None:
        taken = min(taken, GATHERED_SIDE_MM)
        return (*drawn(taken)[0], taken)
    pair, taken, off = on_target(drawn, taken)
    if abs(off) > 1e-4 or not -5.0 < taken < 2.0 * LIMIT_SIDE_MM:
        what = "cannot be drawn to its length."
        raise DraftError.of("waist", what, "Are the measurements right?")
    return (*pair, taken)
