"""A front that buttons: the stand beyond the centre front, its facing, the buttonholes.

For the front of any upper garment, drawn to its centre line. Both fronts lap over one another, their
centre lines on one another, so each is wider than half by the stand. Numbers: two machine handbooks
for the hole (its button's width and thickness; it begins 3 mm past the centre), the rest common
practice, no source. Frame: piece mm, x from the centre line, y up; the stand at x < 0.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from drafting.curves import Points, rounded, sweep, unit, vec
from drafting.outline import nearest_distance
from drafting.piece import Mark, Notch, Piece
from drafting.sheet.board import Sheet
from drafting.sheet.pieces import along

EDGE, TOP = "front edge", "stand top"
PAST_MM = 6.0  # a button's rim keeps this far from the edge
HOLE_PAST_CENTRE_MM = 3.0
THICK = 0.2  # of a flat button's width
SPACING_MM = 80.0  # 7 to 9 cm
ABOVE_HEM_MM = 70.0
_LEAST_SHARE = 0.75  # of a neck facing's width that a front facing has beside the neckline
Lines = Mapping[str, Points]


def stand_width(button: float) -> float:
    """How far a front reaches past its centre line for a button of this width, mm."""
    return max(button, 0.5 * button + PAST_MM)


def with_stand(points: Lines, wide: float, drawn: Points | None = None) -> dict[str, Points]:
    """A front from its centre line outward, with a stand ``wide`` beside it, in ring order.

    ``points``: fold, hem, …, neckline. The neckline runs on over the stand as it meets the centre; ``drawn``: as
    it was before it was spread for gathers.
    """
    neck, hem = points["neckline"], points["hem"]
    last = neck if drawn is None else drawn
    out = unit(last[-1] - last[-2])
    out = out if out[0] < -0.2 else vec((-1.0, 0.0))
    top = neck[-1] + out * (wide / -float(out[0]))
    low = hem[0] + (-wide, 0.0)
    rest = {n: p for n, p in points.items() if n not in ("fold", "hem")}
    hem = np.concatenate([low[None], hem])
    return {EDGE: np.array([top, low]), "hem": hem, **rest, TOP: np.array([neck[-1], top])}


def front_facing(points: Lines, wide: float, beside: Points, bust_y: float) -> dict[str, Points]:
    """The facing of a front with a stand, ``points``: ``wide`` past the centre at the hem, turning at the bust
    towards the end of ``beside`` on the shoulder, (N, 2) mm the outer line of a neck facing from the
    centre; where that would leave the neckline too little, it follows ``beside`` all along."""
    hem, shoulder, neck = points["hem"], points["shoulder"], points["neckline"]
    end = float(np.interp(wide, hem[:, 0], hem[:, 1]))
    upper, down = beside[-1], beside[-2] - beside[-1]
    turn_y = min(bust_y, float(neck[-1, 1]) - wide)
    turn_y = max(turn_y, end + 0.2 * (float(upper[1]) - end))
    foot = np.array([wide, end])
    outer = np.concatenate([foot[None], sweep((wide, turn_y), (0.0, 1.0), upper, -down).flatten()])
    even = float(nearest_distance(beside, neck).min())
    if float(nearest_distance(outer, neck).min()) < _LEAST_SHARE * even:
        past = beside[int(np.argmax(beside[:, 0] > wide + 1e-6)) :]
        turn = np.array([wide, float(np.interp(wide, beside[:, 0], beside[:, 1]))])
        reach = 0.5 * min(even, float(np.hypot(*(past[-1] - turn))))
        begin = turn - (0.0, reach)
        kept = past[np.hypot(*(past - turn).T) > reach]
        outer = np.concatenate([foot[None], rounded(begin, turn, kept[0]).flatten(), kept[1:]])
    return {
        EDGE: points[EDGE],
        "hem": np.concatenate([hem[hem[:, 0] < wide - 1e-6], foot[None]]),
        "outer": outer,
        "shoulder": np.array([upper, shoulder[-1]]),
        "neckline": neck,
        TOP: points[TOP],
    }


def button_places(top: float, bust: float, low: float, button: float) -> list[float]:
    """Heights (mm, falling) of the buttons between the stand's top and the hem: the first its rim and
    6 mm below the top, one at the bust line, all equally far apart, 7 to 9 cm where that goes."""
    first, last = top - 0.5 * button - PAST_MM, low + ABOVE_HEM_MM
    above = first - bust
    span = above if above > 0.5 * SPACING_MM and bust > last else first - last
    step = min((span / n for n in range(1, 30)), key=lambda each: abs(each - SPACING_MM))
    return [first - step * i for i in range(math.floor((first - last) / step + 1e-6) + 1)]


def buttoned(s: Sheet, piece: Piece, bust: float, button: float) -> Piece:
    """The front with its centre line, its buttonholes and the notches of its centre."""
    sign = 1.0 if float(piece.edges["neckline"].points[:, 0].mean()) > 0.0 else -1.0
    neck, hem = piece.edges["neckline"], piece.edges["hem"]
    centre = neck.points[np.argmin(np.abs(neck.points[:, 0]))]
    foot = hem.points[np.argmin(np.abs(hem.points[:, 0]))]
    top = float(piece.edges[TOP].points[:, 1].min())
    places = button_places(top, bust, float(foot[1]), button)
    hole = button * (1.0 + THICK)
    begin = -sign * HOLE_PAST_CENTRE_MM
    holes = [Mark(f"buttonhole {s.t(hole)}", np.array([[begin, y], [begin + sign * hole, y]])) for y in places]  # fmt: skip
    line_ = Mark("centre front", np.array([centre, foot]))
    at = [("neckline", along(neck, centre)), ("hem", along(hem, foot))]
    notches = [Notch(e, x, 1, "centre front") for e, x in at]
    told = f"{len(places)} buttons of {s.t(button)}, {s.t(places[0] - places[1])} apart" if len(places) > 1 else f"1 button of {s.t(button)}"  # fmt: skip
    return piece.plus(told, marks=[line_, *holes], notches=notches)
