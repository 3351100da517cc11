"""The lines of a set-in sleeve: its sums, the plain sleeve, and the sleeve slashed and spread.

For `set_in_sleeve`: armhole and arm → heights, lengths and widths → outline. Rules from handbooks
(from memory) and common practice. Frame: piece mm, x from the sleeve's middle, front at x > 0, y up,
y = 0 at the crown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from configs.errors import DraftError
from drafting.curves import Points, chain_points, sweep
from drafting.outline import Edge, polyline_length
from drafting.sheet import Amount, Sheet, Sources, found, most, number, sources_of
from drafting.sheet.armholes import Armhole
from drafting.sheet.arms import Arm
from drafting.sheet.caps import Cap, Fan, bell, cap_of, height_for
from drafting.sheet.cuffs import HAND_EASE_MM, Cuff, cuff_for
from drafting.sheet.finishing import dense
from drafting.truing import Girth

PARTS = {"fitted": 3, "easy": 4, "casual": 5}  # of the armhole, that the cap is high
CAP_EASE_MM = {"fitted": 20.0, "easy": 10.0, "casual": 5.0}  # 2.0–2.5 and 0–1 cm in woven cloth
# at least, round the upper arm
ARM_EASE_MM = {"fitted": 40.0, "auto": 50.0, "easy": 50.0, "casual": 50.0}
FRONT_SHARE = 0.4  # of the cap's ease; the back, which reaches forward, has the rest
DROPPED_MM = 10.0  # a shoulder this much longer than measured is a dropped one
DROPPED_EASE_MM = 5.0
SHORT_MM, UNDERARM_MM = 220.0, 50.0  # a short sleeve: so long, and so much below the underarm
LEAST_UNDERARM_MM = 15.0
WRIST_EASE_MM, END_EASE_MM = 50.0, 20.0
SPREAD_MM = {"flared": 200.0, "bishop": 100.0, "puff": 100.0}
RAISED = 0.5  # of what is spread at the cap, that a puffed cap is raised by
MOST_RAISED_MM = 50.0
BLOUSE_MM = 20.0  # a full sleeve is so much longer at its back, to fall over its cuff
FINE_MM = 0.5  # ends of an edge are drawn so finely, that they are square
STEP_MM = 4.0  # of a straight hem that is fanned out
STEEPEST = math.tan(math.radians(25.0))
# for a seam that finds no slope: steeper than any that is drawn
NO_REST = math.tan(math.radians(60.0))
GATHERED_UP = ("cuff", "elastic")
LOWEST = 0.15  # of the armhole, that a cap is high: lower it is a tunic's
# by which a sleeve narrows for its length: where the arm's is not known, and at most
SHORT_TAPER, MOST_TAPER = 0.25, 0.5
PLEAT_MM = 22.0  # each of two, 2 to 2.5 cm
WIDEST = 2.6  # radians; opened farther, its underarm seams would meet


@dataclass(frozen=True)
class Sizes:
    """What a sleeve is drawn from: its armhole and arm, the cap's and its halves' lengths, its
    length without the cuff, where it ends on the arm, and all that these hang on."""

    hole: Armhole
    arm: Arm
    height: Amount
    front: Amount
    back: Amount
    ease: Amount
    long_: Amount
    down: Amount
    cuff: Cuff | None
    of: Sources


def sizes_of(s: Sheet, hole: Armhole, arm: Arm) -> Sizes:
    """The sums, up to the lengths."""
    style = s.style
    around = (hole.front.length + hole.back.length).named("armhole")
    word = str(style["cap"]) if isinstance(style["cap"], str) else ""
    word = "easy" if word == "auto" else word
    dropped = hole.grown > DROPPED_MM
    height: Amount = around / PARTS[word] if word else style["cap"]
    if word and dropped:
        height = height - hole.grown
        s.notes.append(
            f"The shoulder is {s.t(hole.grown)} longer than measured, a dropped one: the cap is so much lower."
        )
    height = (height + s.fitted("cap height")).named("cap height")
    ease = DROPPED_EASE_MM if dropped and word != "fitted" else CAP_EASE_MM.get(word, 10.0)
    ease = s.given("cap_ease", ease, style["cap"], hole.grown)
    front = (hole.front.length + FRONT_SHARE * ease).named("front of the cap")
    back = (hole.back.length + (1.0 - FRONT_SHARE) * ease).named("back of the cap")
    by = s.fitted("upper arm")
    if by:
        halves = float(front), float(back)
        fits = height_for(cap_of(float(height), *halves).biceps + float(by), *halves)
        height = found(fits, "cap height", height, by, front, back)
    for wanted in ("elbow", "three-quarter", "long"):
        lacks = arm.length is None and not (wanted == "elbow" and arm.elbow_at is not None)
        what = f"is '{wanted}', and the arm length was not measured."
        s.fault(lacks and style["length"] == wanted, "style.length", what, "Measure arm_length, or give the sleeve's length.")  # fmt: skip
    s.stop()
    elbow, whole = arm.elbow_at or number(0.0), arm.length or number(0.0)
    names = {
        "short": most(SHORT_MM, height + UNDERARM_MM),
        "elbow": elbow - 30.0,
        "three-quarter": (elbow + whole) / 2,
        "long": whole,
    }
    whole = s.chosen("length", names) + s.fitted("sleeve length")
    down = whole
    if isinstance(style["length"], str):
        whole = whole - hole.grown
    else:
        down = whole + hole.grown
    cuff = cuff_for(s, arm, down) if style["finish"] == "cuff" else None
    long_ = (whole - cuff.depth if cuff else whole).named("sleeve length")
    low = height + LEAST_UNDERARM_MM
    what = f"leaves {s.t(long_ - height)} below the cap, which is {s.t(height)} high."
    s.refuse(long_ < low, "style.length", what, f"{s.t(low + whole - long_)} or more, or a lower cap.")  # fmt: skip
    of = sources_of(height, front, back, ease, long_, whole, down, vars(arm), s.options(*s.style))
    return Sizes(hole, arm, height, front, back, ease, long_, down, cuff, of)


def _end_width(s: Sheet, z: Sizes, biceps: float) -> float:
    """Round the end of a plain sleeve, mm, before pleats and gathers."""
    arm, by = z.arm, float(s.fitted("wrist"))
    wrist = max(arm.wrist + WRIST_EASE_MM, arm.hand + HAND_EASE_MM) + by
    below = float(z.long_ - z.height)
    narrow = biceps - 1.7 * STEEPEST * below
    taper = SHORT_TAPER
    if arm.length is not None:
        taper = min((biceps - wrist) / max(float(arm.length - z.height), 1.0), MOST_TAPER)
    natural = biceps - max(taper, 0.0) * below
    if s.style["hem_width"] is not None:
        natural = float(s.style["hem_width"]) + by
    elif z.cuff:
        natural = max(z.cuff.upper + 2.0 * PLEAT_MM * (z.cuff.slit > 0.0), narrow)
    elif s.style["finish"] == "elastic":
        natural = max(natural, arm.hand + HAND_EASE_MM, 1.2 * arm.girth_at(float(z.down)), narrow)
    elif s.style["finish"] == "hem":
        natural = max(natural, least_end(z), narrow)
    return natural


def least_end(z: Sizes) -> float:
    """What a sleeve's end must measure to let the hand and the arm through, mm."""
    hand = float(z.arm.hand) + HAND_EASE_MM
    return max(hand, z.arm.girth_at(float(z.down)) + END_EASE_MM)


def _fits_arm(s: Sheet, z: Sizes, cap: Cap) -> None:
    """Refuse a sleeve that is too narrow for the arm, with what would fit."""
    need_of = ARM_EASE_MM.get(s.style["cap"], ARM_EASE_MM["fitted"])
    need = z.arm.upper + need_of
    s.girths.append(Girth(f"{z.hole.side} upper arm girth".strip(), cap.biceps, float(z.arm.upper), need_of, True))  # fmt: skip
    if cap.biceps >= need - 0.5:
        return
    lower = _lower(s, z, cap, float(need))
    remedy = (
        "The armhole is too small for this arm: make it deeper ('armhole lower'), or the top wider."
    )
    if lower is not None:
        fits = 5.0 * math.floor(float(lower.height) / 5.0)
        remedy = f"A lower cap is wider: 'cap: {s.t(fits)}, cap_ease: {s.t(z.ease)}', or make the armhole deeper."
    what = (
        f"with a cap {s.t(cap.height)} high the sleeve is {s.t(cap.biceps)} round the upper arm; "
        f"it needs {s.t(need)}: the arm's {s.t(z.arm.upper)} and {s.t(need_of)}."
    )
    raise DraftError.of("style.cap", what, remedy)


def _hung(s: Sheet, z: Sizes, slope: float = 0.0) -> tuple[Cap, float, float, float]:
    """The cap, and of each underarm seam: its slope, how far it runs in, how far its foot lies below
    the middle of the hem, mm. They hang on one another; ``slope``: where to begin."""
    below = float(z.long_ - z.height)
    in_ = dip = 0.0
    for _ in range(8):
        cap = cap_of(float(z.height), float(z.front), float(z.back), math.atan(slope))
        if s.style["shape"] != "plain":
            break
        turn = abs(math.atan(slope))
        chord = math.sin(turn) / turn if turn > 1e-6 else 1.0  # of the hem, which is an arc
        in_ = 0.5 * (cap.biceps - chord * _end_width(s, z, cap.biceps))
        wide = 0.5 * cap.biceps - in_
        # slope × (below + dip) = in, with dip = wide × tan(half the angle): a quadratic for that
        whole = 2.0 * wide + in_
        rest = below**2 + whole * in_  # less than nil: so short a seam never reaches so wide an end
        half = (math.sqrt(max(rest, 0.0)) - below) / whole
        dip = wide * half
        before, slope = slope, 2.0 * half / (1.0 - half * half) if rest >= 0.0 else -NO_REST
        if abs(slope - before) < 0.003 or abs(slope) > STEEPEST:
            break
    return cap, slope, in_, dip


def _lower(s: Sheet, z: Sizes, cap: Cap, need: float) -> Sizes | None:
    """With the cap so low that the sleeve is as wide as the arm needs it; None if it would be none."""
    of = (z.height, z.arm.upper, z.front, z.back)
    least = LOWEST * float(z.hole.front.length + z.hole.back.length)
    for _ in range(4):  # the wider it is, the more its seams run in, which takes of its width
        try:
            low = height_for(need + 1.0, float(z.front), float(z.back), cap.lean)
        except DraftError:
            return None
        if low < least:
            return None
        z = replace(z, height=found(low, "cap height", *of))
        cap, *_ = _hung(s, z, math.tan(cap.lean))
        if cap.biceps >= need:
            return z
    return None


def plain_lines(s: Sheet, z: Sizes) -> tuple[Sizes, Cap, dict[str, Points]]:
    """The sleeve with straight underarm seams, its hem square to them, ring order from the hem; and
    its sizes, the cap lower where the arm needs it and she left its height open."""
    cap, slope, in_, dip = _hung(s, z)
    first, need = z.height, float(z.arm.upper) + ARM_EASE_MM["auto"]
    if s.style["cap"] == "auto" and cap.biceps < need and (lower := _lower(s, z, cap, need)):
        z = lower
        cap, slope, in_, dip = _hung(s, z, slope)
    if z.height is not first:
        s.notes.append(
            f"The cap is {s.t(z.height)} high instead of {s.t(first)}, so that the sleeve is wide enough "
            "for the arm."
        )
    _fits_arm(s, z, cap)
    what = f"turns the underarm seam by {abs(math.degrees(math.atan(slope))):.0f}°."
    s.refuse(abs(slope) > STEEPEST, "style.hem_width", what, "Make the sleeve longer, or its end nearer to the upper arm's width.")  # fmt: skip
    foot = float(z.long_) + dip
    right, left = cap.front_width - in_, -cap.back_width + in_
    a, b, up = np.array([left, -foot]), np.array([right, -foot]), math.atan(slope)
    hem = sweep(a, (math.cos(up), math.sin(up)), b, (math.cos(up), -math.sin(up))).flatten()
    front, back = (chain_points(c) for c in (cap.front, cap.back))
    lines = {
        "hem": hem,
        "front underarm": np.array([b, front[0]]),
        "front cap": front,
        "back cap": back[::-1],
        "back underarm": np.array([back[0], a]),
    }
    return z, cap, lines


def fuller_lines(s: Sheet, z: Sizes, points: dict[str, Points]) -> dict[str, Points]:
    """The sleeve slashed between its notches and spread: at the hem, at the cap, or at both."""
    shape = str(s.style["shape"])
    spread = float(s.given("fullness", SPREAD_MM[shape]))
    gathered = s.style["finish"] in GATHERED_UP
    points = {n: dense(p, STEP_MM) if n == "hem" else p for n, p in points.items()}
    whole = np.concatenate([points["front cap"], points["back cap"][1:]])
    low, high = (float(Edge(h, points[h]).at(x)[0][0]) for h, x in notch_places(z, points))
    if gathered:
        a, b = points["hem"][[0, -1], 0]
        x = np.r_[a, np.linspace(a + FINE_MM, b - FINE_MM, 90), b]
        y = points["hem"][0, 1] - BLOUSE_MM * bell(x, a, 0.5 * a, b)
        points = {**points, "hem": np.stack([x, y], axis=1)}
    at = np.linspace(low, high, 50)
    depth = float((np.interp(at, *whole[::-1].T) - np.interp(at, *points["hem"].T)).mean())
    raised = min(RAISED * spread, MOST_RAISED_MM) if shape == "puff" else 0.0
    fan = Fan(whole, low, high, spread / depth)
    if shape == "puff":
        apart, turn = (spread, 0.0) if gathered else (0.0, -spread / depth)
        fan = Fan(points["hem"], low, high, turn, apart)
    what = f"of {s.t(spread)} is more than a sleeve {s.t(depth)} from cap to end opens to."
    remedy = f"{s.t(10.0 * math.floor(0.1 * WIDEST * depth))} at most."
    s.refuse(abs(fan.angle) > WIDEST, "style.fullness", what, remedy)
    put = {n: raised * bell(p[:, 0], low, 0.0, high) * n.endswith("cap") for n, p in points.items()}
    made = fan(np.concatenate([*points.values()]), np.concatenate([*put.values()]))
    ends = np.cumsum([len(p) for p in points.values()])[:-1]
    return dict(zip(points, np.split(made, ends), strict=True))


def notch_places(
    z: Sizes, points: Mapping[str, Points]
) -> tuple[tuple[str, float], tuple[str, float]]:
    """Edge and distance along it of the back's and the front's notch on the cap."""
    back = polyline_length(points["back cap"]) - z.hole.back.notch_mm
    return ("back cap", back), ("front cap", z.hole.front.notch_mm)
