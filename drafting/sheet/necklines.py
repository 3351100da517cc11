"""Necklines: their shapes, how they leave the shoulder, and curves without a wave in them.

For any upper garment. Front and back leave the shoulder by angles that make 180° together, so that
the line runs on over the joined shoulder; within that, each leans so that it can reach its depth in
one bend. Frame: piece mm, x from the centre line, y up. Common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from drafting.curves import Cubic, Points, line, meeting, sweep, turn, turned, vec
from drafting.fit import BACK, FRONT, Quarter

# How deep a neckline lies below the top line, as a share of the bust line's depth; and how far the
# neck point moves out along the shoulder, mm. The round front neckline is 3 in deep on every body,
# the back's 1 1/2 in higher (the method's own numbers).
DEPTHS = {"scoop": 5 / 8, "v": 3 / 4, "square": 9 / 16, "boat": 3 / 16}
BACK_DEPTHS = {"scoop": 7 / 16, "v": 1 / 2, "square": 3 / 8, "boat": 3 / 16}
OUT_MM = {"round": 0.0, "scoop": 20.0, "v": 6.0, "square": 20.0, "boat": 50.0}
SQUARE_RUN_MM = 7.0  # lines leave folds and side seams square for 5 to 10 mm
_MOST_TILT = math.radians(22.0)
# How much of the neck's width is left for the bend at the foot: what is liked, and the least.
_FOOT, _LEAST_FOOT = 0.5, 0.35
_STRAP_MM = 45.0  # where a deep line must lean less than it leaves, it turns within this
_REACH = 0.9  # a handle ends short of where both tangents meet: nothing waves


def _lean_of(direction: Points) -> float:
    """By how much (radians) a downward direction (2,) leans towards the centre."""
    return math.atan2(-float(direction[0]), -float(direction[1]))


def square_down(q: Quarter) -> Points:
    """Direction (2,) square to the shoulder line, into the piece."""
    c, s = q.along
    return vec((s, -c))


def _limit(q: Quarter, shape: str, foot: float) -> float:
    """The most that a neckline may lean towards the centre where it leaves the shoulder, radians."""
    drop = q.neck[1] - q.centre_y
    if shape == "square":
        return math.radians(30.0)
    return math.atan2((1.0 if shape == "v" else 1.0 - foot) * q.neck[0], drop)


def tilt_of(front: Quarter, back: Quarter, shapes: Mapping[str, str]) -> float:
    """How far the front neckline leaves the shoulder off square, radians, outward positive; the back
    leaves by as much the other way. ``shapes``: half → shape."""
    own, other = _lean_of(square_down(front)), _lean_of(square_down(back))
    wishes = []
    for q, lean, sign in ((front, own, 1.0), (back, other, -1.0)):
        shape = shapes[q.half]
        if shape == "square":  # straight down
            wishes.append(sign * lean)
        elif shape == "v":  # straight to its point
            wishes.append(sign * (lean - _limit(q, "v", 0.0)))
    if not wishes:  # rounder than square to the shoulder would make it, the front above all
        wishes.append(
            max(own - _limit(front, "round", 0.75), 0.0)
            - max(other - _limit(back, "round", 0.35), 0.0)
        )
    wish = sum(wishes) / len(wishes)
    for foot in (_FOOT, _LEAST_FOOT):
        low = own - _limit(front, shapes[FRONT], foot)
        high = _limit(back, shapes[BACK], foot) - other
        if low <= high:
            return min(max(wish, low, -_MOST_TILT), max(high, -_MOST_TILT), _MOST_TILT)
    return min(max(0.5 * (low + high), -_MOST_TILT), _MOST_TILT)


def neckline_curves(q: Quarter, shape: str, tilt: float) -> list[Cubic]:
    """The neckline from the neck point to the centre, square to the centre (but for a V).

    ``tilt``: of its own half, outward positive, see `tilt_of`.
    """
    start, end = vec(q.neck), vec((0.0, q.centre_y))
    leave = turned(square_down(q), tilt)
    flat = vec((-1.0, 0.0))
    drop = q.neck[1] - q.centre_y
    if shape == "v":
        chord = vec((-q.neck[0], -drop))
        return [sweep(start, leave, end, turned(chord, 0.3 * turn(leave, chord)))]
    lean = _lean_of(leave)
    if shape == "square":  # straight down from where it has turned to the centre line's direction
        high = min(_STRAP_MM, 0.5 * drop)
        turn_at = start + vec((-high * math.tan(0.5 * lean), -high))
        corner = vec((float(turn_at[0]), q.centre_y))
        strap = [_bend(start, leave, turn_at, vec((0.0, -1.0)))] if abs(lean) > 1e-6 else []
        top = turn_at if strap else start
        return [*strap, line(top, vec((float(top[0]), q.centre_y))), line(corner, end)]
    # Straight where it leaves the fold, or a peak or a dip would show there once opened out.
    lead = end - flat * min(SQUARE_RUN_MM, 0.1 * float(start[0]))
    most = _limit(q, shape, _LEAST_FOOT)
    strap = []
    if lean > most + 1e-9:
        high = min(_STRAP_MM, 0.4 * drop)
        for _ in range(4):  # the strap's foot lies nearer the centre, so the rest leans less still
            foot = start + vec((-high * math.tan(0.5 * (lean + most)), -high))
            most = math.atan2((1.0 - _FOOT) * float(foot[0]), float(foot[1]) - q.centre_y)
        down = vec((-math.sin(most), -math.cos(most)))
        strap = [_bend(start, leave, foot, down)]
        start, leave = foot, down
    tension = {"scoop": (1.0, 0.82)}.get(shape, (1.0, 1.0))
    return [*strap, _within(sweep(start, leave, lead, flat, tension)), line(lead, end)]


def _bend(start: Points, leave: Points, end: Points, arrive: Points) -> Cubic:
    """A gentle turn from one direction to another."""
    return _within(sweep(start, leave, end, arrive))


def _within(curve: Cubic) -> Cubic:
    """The curve with its handles kept inside where both end tangents meet: it bends one way only."""
    p, a, b, q = curve.control
    out, into = curve.tangent(0.0), curve.tangent(1.0)
    met = meeting(q - p, out, into)
    if met is None or min(met) <= 0.0:
        return curve
    first = min(float(np.hypot(*(a - p))), _REACH * met[0])
    last = min(float(np.hypot(*(q - b))), _REACH * met[1])
    return Cubic(np.stack([p, p + out * first, q - into * last, q]))
