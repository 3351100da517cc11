"""The bust of the quick top: its front slashed over the bust and spread, by a side dart or into the hem.

Between the lines of a quarter and the pieces. The full-bust method of the handbooks (from memory): a
pattern is drafted for a bust 5 cm larger than the chest above it; of what the bust is larger still,
each front half is spread by half. Slashed from the hem to the bust point and on to the armhole, and
from the side to the bust point: the part below the arm turns about the armhole, the part below the
bust slides out and down by as much, and the centre gets as much longer. The dart that opens at the
side is sewn, or shut, which opens the hem. Armhole, shoulder and side seam keep their lengths. Frame:
piece mm, x from the centre line, y up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from drafting.blocks._quarter_lines import BustDart, Drawn, hem_lines
from drafting.curves import Cubic, Points, chain_length, cut_chain, line, sweep, unit
from drafting.fit import FRONT, RIGHT, Quarter
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.sheet import Amount, Sheet, found, most, number
from drafting.sheet.darts import Turn, roof
from drafting.sheet.necklines import SQUARE_RUN_MM, square_down
from drafting.sheet.pieces import along

USUAL_CUP_MM = number(50.0, "a usual bust over its chest")
GUESSED_CUP_MM = 100.0  # of a body whose upper chest was not measured, where shaping is asked for
BELOW_BUST_MM = 25.0  # the bust point below the bust line (W. Aldrich, from memory)
# between the bust points, of the bust girth: 18.9 of 92 (W. Aldrich, from memory)
POINT_SHARE = 0.2
DART_BELOW_MM = 30.0  # the dart rises so much from the side to the bust point
SEWN_SHORT_MM = 30.0
LEAST_MM = 5.0  # a smaller spread is none
HINGE_UP = 0.55  # of the armhole's height: about its notch, where the slash ends
STEEPEST = math.radians(28.0)
LEAST_SIDE_MM = 60.0  # of side seam below the dart
FULL_MM = 1100.0  # a bust from which on the upper chest is asked for


def fuller_by(s: Sheet) -> Amount:
    """By how much the bust is fuller than the draft's usual one, mm; nil where it is not shaped."""
    if s.style["bust_shaping"] == "none":
        return found(0.0, "fuller by", s.options("bust_shaping"))
    upper, bust = s.m.get("upper_chest_girth"), s.m["bust_girth"]
    usual = number(GUESSED_CUP_MM) - USUAL_CUP_MM if upper is None else most(bust - upper - USUAL_CUP_MM, 0.0)  # fmt: skip
    spread = s.given("bust_spread", float(usual) / 2, usual, bust, s.options("bust_shaping"))
    spread = spread if spread >= LEAST_MM else 0.0 * spread
    return found(2.0 * spread, "fuller by", spread, s.options("bust_shaping"))


def for_chest(q: Quarter, fuller: Amount) -> Quarter:
    """A quarter drafted for a bust that is ``fuller`` mm smaller; the front narrower below it too, by what
    the spread brings back."""
    each = -fuller / 4
    below = -fuller / 2 if q.half == FRONT else 0.0
    return q.moved(bust=(each, 0.0), waist=(below, 0.0), hip=(below, 0.0)) if fuller > 0 else q


def bust_point(s: Sheet, q: Quarter) -> tuple[Amount, Amount]:
    """The bust point: by her measures, else by the bust girth and below the bust line."""
    wide = s.m.get("bust_point_width")
    x = (s.m["bust_girth"] * POINT_SHARE if wide is None else wide) / 2
    y = found(q.bust[1] - BELOW_BUST_MM, "bust point", q.bust)
    down = s.m.get("side_neck_to_bust_point")
    if down is not None:
        run = max(float(down) ** 2 - (float(x) - q.neck[0]) ** 2, 1.0)
        y = found(float(q.neck[1]) - math.sqrt(run), "bust point", down, q.neck)
    return x, y


def shaped(s: Sheet, drawn: Mapping[str, Drawn], fuller: float, point: Points) -> dict[str, Drawn]:
    """Front and back with the front spread over the bust by half of ``fuller``.

    Raises:
        DraftError: an armhole or a side seam that has no room for it.
    """
    front, spread = drawn[FRONT], 0.5 * fuller
    side, hole = front.edges["side"], front.edges["armhole"]
    q, shoulder = front.quarter, hole[-1].end
    under = side[-1].end
    at = _place_at(side, float(point[1]) - DART_BELOW_MM)
    low = s.t(LEAST_SIDE_MM)
    s.fault(at < LEAST_SIDE_MM, "style.bust_shaping", f"has no room: less than {low} of side seam are left below the dart.", "Make the top longer.")  # fmt: skip
    high = float(point[1]) > float(shoulder[1]) - 60.0 or not 25.0 < point[0] < 0.9 * under[0]
    s.fault(high, "bust point", "does not lie on the front below the armhole.", "Are bust_point_width and side_neck_to_bust_point right?")  # fmt: skip
    s.stop()
    turn, armhole = _turned(q, hole, under, point, spread)
    drop = float(point[1] - turn(point)[1])
    angle = math.atan2(float(turn.matrix[1, 0]), float(turn.matrix[0, 0]))
    what = f"of {s.t(spread)} on each half turns the part below the armhole by {math.degrees(angle):.0f}°."
    s.refuse(angle > STEEPEST, "style.bust_spread", what, "Use less, or more bust ease.")
    lower, upper = cut_chain(side, at)
    slide = Turn(np.eye(2), turn(point) - point)
    into_hem = s.style["bust_shaping"] == "hem"
    lower, upper = _moved(lower, turn if into_hem else slide), _moved(upper, turn)
    new = q.moved(bust=(spread, 0.0), waist=(spread, -drop), hip=(spread, -drop), hem_y=-drop)
    for _ in range(4):  # leaned by a hair about the dart, so that the hem is as long as its girth
        end, down = lower[0].start, -lower[0].tangent(0.0)
        hem = hem_lines(new, end, down, s.style["hem"] == "shirt-tail")
        off = front.hem_length + spread - chain_length(hem)
        if into_hem or s.style["hem"] == "shirt-tail" or abs(off) < 0.01:
            break
        lower = _moved(lower, Turn.about(lower[-1].end, off / chain_length(lower)))
    fold = [line((0.0, q.centre_y), (0.0, new.hem_y))]
    edges = front.edges | {"fold": fold, "hem": hem, "side": [*lower, *upper], "armhole": armhole}
    dart = None
    if not into_hem:
        tip, a, b = turn(point), lower[-1].end, upper[0].start
        axis = unit(0.5 * (a + b) - tip)
        top, sewn = roof(lower[-1], tip, axis), tip + SEWN_SHORT_MM * axis
        dart = BustDart(a, b, tip, top, sewn, len(lower))
    free = math.inf if dart is None else chain_length(upper)
    wider = front.waist_x + spread
    made = replace(front, quarter=new, edges=edges, waist_x=wider, hem_length=chain_length(hem), dart=dart)  # fmt: skip
    return {h: replace(d, free=free) for h, d in {**drawn, FRONT: made}.items()}


def _place_at(rising: list[Cubic], y: float) -> float:
    """How far along its way a rising line passes a height, mm."""
    total, at = chain_length(rising), 0.0
    for c in rising:
        if c.end[1] >= y:
            t = np.linspace(0.0, 1.0, 65)
            return at + c.length_between(0.0, float(np.interp(y, c.point(t)[:, 1], t)))
        at += c.length
    return total


def _moved(curves: list[Cubic], by: Turn) -> list[Cubic]:
    return [Cubic(by(c.control)) for c in curves]


def _turned(
    q: Quarter, hole: list[Cubic], under: Points, point: Points, spread: float
) -> tuple[Turn, list[Cubic]]:
    """How the part below the armhole turns so that the bust point goes out by ``spread``, and the armhole
    drawn anew, as long as before."""
    long_, shoulder = chain_length(hole), hole[-1].end
    up = _place_at(hole, float(under[1] + HINGE_UP * (shoulder[1] - under[1])))
    hinge = cut_chain(hole, up)[1][0].start
    leave = square_down(q)
    square = -hole[0].tangent(0.0)

    def drawn(turn: Turn) -> list[Cubic]:
        into = turn.matrix @ square
        at = turn(under)
        lead = at - into * SQUARE_RUN_MM
        return [line(at, lead), sweep(shoulder, leave, lead, into, (0.9, 0.9)).reversed()]

    angle = spread / max(float(hinge[1] - point[1]), 30.0)
    down = unit(under - shoulder)
    for _ in range(6):
        turn = Turn.about(hinge, angle)
        for _ in range(6):
            short = long_ - chain_length(drawn(turn))
            if abs(short) < 0.005:
                break
            turn = Turn(turn.matrix, turn.shift + short * down)
        off = spread - float(turn(point)[0] - point[0])
        if abs(off) < 0.01:
            break
        angle += off / max(float(hinge[1] - point[1]), 30.0)
    return turn, drawn(turn)


def darted(piece: Piece, both: Sequence[Mapping[str, Drawn]]) -> Piece:
    """A front with the bust darts of its sides: legs, points, notches, and how far they are sewn."""
    darts, marks, notches = [], [], []
    places: dict[str, tuple[float, float]] = {}
    for name, edge in piece.edges.items():
        right = RIGHT in (*name.split(), *piece.name.split())
        dart = both[-1 if right else 0][FRONT].dart
        if dart is None or name.split()[-1] != "side":
            continue
        flip = (math.copysign(1.0, float(edge.points[:, 0].mean())), 1.0)
        first, second, tip, sewn = ((p * flip) for p in (dart.first, dart.second, dart.tip, dart.sewn))  # fmt: skip
        darts.append(Dart(name, (first[0], first[1]), (second[0], second[1]), (tip[0], tip[1])))
        marks.append(Mark("bust dart, sewn to here", sewn[None]))
        notches += [Notch(name, along(edge, p), 1, "front dart") for p in (first, second)]
        places |= {f"{name.removesuffix('side')}bust point": (float(tip[0]), float(tip[1]))}
    if not darts:
        return piece
    made = piece.plus(darts=darts, marks=marks, notches=notches)
    return made.with_(landmarks={**piece.landmarks, **places})
