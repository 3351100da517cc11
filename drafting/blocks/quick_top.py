"""The quick top: a loose dartless top drafted on quarters, front and back in one drawing.

Rules as common practice gives them for a first garment (no source): the length in thirds, a
quarter of each girth with an inch of ease, a shoulder line balanced seven eighths up and down,
an armhole and hem drawn square. Measurements → points of four quarters → fit changes → curves →
pieces. Frame: piece mm, x from the centre line, y up, y = 0 on the top line through the back
neck point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from types import MappingProxyType
from typing import Any

import numpy as np

from drafting.blocks import Block, Draft, Step
from drafting.curves import (
    Cubic,
    Points,
    chain_length,
    chain_points,
    cut_chain,
    left_of,
    line,
    rounded,
    sweep,
    through_levels,
    turned,
    unit,
    vec,
)
from drafting.errors import DraftError, Fault
from drafting.fit import BACK, FRONT, LEFT, RIGHT, FitChange, Quarter, apply, one_sided
from drafting.measurements import Measurements
from drafting.outline import Edge, is_simple, polyline_length, ring_points
from drafting.piece import Line, Mark, Notch, Piece
from drafting.style import Option, slash_and_spread
from drafting.truing import (
    HEAD_EASE_MM,
    USUAL_HEAD_MM,
    Check,
    Corner,
    Girth,
    Run,
    Seam,
    check_head,
    seam_length,
)
from drafting.units import format_length

INCH = 25.4
BALANCE_MM = 7 / 8 * INCH  # neck point up, shoulder mark down: the slope of the shoulder
FRONT_DEPTH_MM = 3 * INCH
BACK_RISE_MM = 1.5 * INCH  # the back neckline lies this much higher than the front's
BACK_DROP_MM = 3 / 8 * INCH  # the back shoulder line lies this much lower
BUST_EASE_MM = 4 * INCH  # 1 in on each quarter
WAIST_EASE_MM = 3 * INCH
HEM_EASE_MM = 4 * INCH
MOST_WAIST_SHAPING_MM = 40.0  # a side seam of a dartless woven top takes in no more without drag
PAPER_MARGIN_MM = 2 * INCH
FULL_BUST_MM = 60.0
GATHER_STEP_MM = 2.0
EASE_TO_PULL_ON_MM = 100.0
SQUARE_RUN_MM = 7.0  # lines leave folds and side seams square for 5 to 10 mm (common practice)
SIDE_NOTCH_MM = 80.0
BIAS_JOIN_MM = 6.0
LONGEST_STRIP_MM = 700.0  # longer bias strips waste cloth; they are joined

Spot = tuple[str, str]


def _turn_to(a: Points, b: Points) -> float:
    """Angle in radians from direction ``a`` to ``b``, counter-clockwise positive."""
    return math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a @ b))


def _square_down(q: Quarter) -> Points:
    """Direction (2,) square to the shoulder line, into the piece."""
    c, s = q.along
    return vec((s, -c))


# --- necklines ---------------------------------------------------------------------------------

_DEPTH_MM = {  # below the top line at the centre front
    "round": FRONT_DEPTH_MM,
    "scoop": 5 * INCH,
    "v": 6 * INCH,
    "square": 4.5 * INCH,
    "boat": 1.5 * INCH,
}
_BACK_DEPTH_MM = {
    "round": FRONT_DEPTH_MM - BACK_RISE_MM,
    "scoop": 3.5 * INCH,
    "v": 4 * INCH,
    "square": 3 * INCH,
    "boat": 1.5 * INCH,
}
_OUT_MM = {"round": 0.0, "scoop": 20.0, "v": 6.0, "square": 20.0, "boat": 50.0}
_MOST_TILT = math.radians(12.0)


def _tilt(q: Quarter, other: Quarter, shapes: Mapping[str, str]) -> float:
    """How far the front neckline leaves the shoulder off square, radians, outward positive.

    The back leaves by as much the other way, so that the line runs on over the joined shoulder.
    A front neckline that leaves square to a sloping shoulder leans in, and comes to a point at
    the centre; turned outward it is round. A deep back asks for the contrary.
    """
    if shapes[q.half] == "v":
        wanted = _turn_to(_square_down(q), vec((-q.neck[0], q.centre_y - q.neck[1])))
    else:
        wanted = _lean(q, {"square": 0.85}.get(shapes[q.half], 0.75))
    wanted -= _lean(other, 0.35)
    room = max(-_lean(other, 0.08, least=-1.0), 0.0)
    return min(max(wanted, -_MOST_TILT), _MOST_TILT, room if wanted > 0 else _MOST_TILT)


def _lean(q: Quarter, share: float, least: float = 0.0) -> float:
    """By how much (radians) a line square to the shoulder leans in more than one that meets the
    neckline's depth at ``share`` of the neck's width."""
    n = _square_down(q)
    most = math.atan2((1.0 - share) * q.neck[0], q.neck[1] - q.centre_y)
    return max(math.atan2(-float(n[0]), -float(n[1])) - most, least)


def _neckline(q: Quarter, shape: str, tilt: float) -> list[Cubic]:
    """The neckline from the neck point to the centre, square to the centre (but for a V)."""
    start, end = vec(q.neck), vec((0.0, q.centre_y))
    leave = turned(_square_down(q), tilt)
    flat = vec((-1.0, 0.0))
    if shape == "v":
        chord = vec((-q.neck[0], q.centre_y - q.neck[1]))
        return [sweep(start, leave, end, turned(chord, 0.3 * _turn_to(leave, chord)))]
    drop = q.neck[1] - q.centre_y
    met = float(start[0] + leave[0] / -leave[1] * drop)  # where the leaving line is that deep
    if shape == "square":
        corner = vec((max(met, 0.25 * float(start[0])), q.centre_y))
        return [sweep(start, leave, corner, corner - start), line(corner, end)]
    # Straight where it leaves the fold, or a peak or a dip would show there once opened out.
    lead = end - flat * min(SQUARE_RUN_MM, 0.1 * float(start[0]))
    if met < 0.3 * start[0]:
        # So deep and narrow that one bend would end in a point: a U, nearly straight above.
        handles = start + leave * (0.5 * drop), lead - flat * (0.45 * float(start[0]))
        return [Cubic(np.stack([start, *handles, lead])), line(lead, end)]
    tension = {"scoop": (1.0, 0.82)}.get(shape, (1.0, 1.0))
    return [sweep(start, leave, lead, flat, tension), line(lead, end)]


# --- side seam and hem -------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Side:
    """A side seam from the underarm down past the hem: ``curves``, and where the hem meets it."""

    curves: list[Cubic]
    hem_at: float  # mm along the curves
    hem_length: float | None = None  # what the hem must measure, where a girth says so

    @property
    def end(self) -> tuple[Points, Points]:
        """Point and downward tangent (2,) where the hem meets the side seam."""
        kept = cut_chain(self.curves, self.hem_at)[0]
        return kept[-1].end, kept[-1].tangent(1.0)


def _at_level(curves: Sequence[Cubic], y: float) -> tuple[float, Points]:
    """x and tangent of a falling chain whose y runs linearly along each curve, at height y."""
    for c in curves:
        if y >= c.end[1] or c is curves[-1]:
            t = float((y - c.start[1]) / (c.end[1] - c.start[1]))
            return float(c.point(t)[0]), c.tangent(min(max(t, 0.0), 1.0))
    raise AssertionError("a chain has at least one curve")


def _side(q: Quarter, shaped: bool, flare: float, more: float = 0.0) -> Side:
    """The side seam of one quarter, and where a hem square to it ends.

    Straight from the eased bust point to the eased hem point, unless that would cut inside the
    eased waist: then a curve through it, continuous in curvature. The hem end is placed so that
    the hem line, an arc square to both the centre and the side, is as long as the eased quarter
    girth: the hem hangs level, as on a cone. ``more`` mm correct that length where front and
    back differ and the side seam's end is no longer the natural one.
    """
    bust, waist, hip = q.bust, q.waist, q.hip
    share = (bust[1] - waist[1]) / (bust[1] - hip[1])
    straight_x = bust[0] + share * (hip[0] - bust[0])
    curved = shaped or straight_x < waist[0] - 1e-9
    if shaped:
        waist = (max(waist[0], straight_x - MOST_WAIST_SHAPING_MM), waist[1])
    knots = [bust, waist, hip] if curved else [bust, hip]
    longer = hip[1] - q.hem_y
    base = through_levels(knots, _end_slopes(knots) if shaped else None)
    if longer < -1e-6 and flare <= 0:
        whole = _side(replace(q, hem_y=hip[1]), shaped, 0.0)
        return _cropped(whole.curves, q.hem_y)
    if longer < -1e-6:
        x_hem = _at_level(base, q.hem_y)[0]
        knots = [k for k in knots if k[1] > q.hem_y + 40.0]
    elif curved:
        x_hem = hip[0]
        knots = knots if longer > 60.0 else knots[:-1]
    else:
        x_hem = bust[0] + (hip[0] - bust[0]) * (bust[1] - q.hem_y) / (bust[1] - hip[1])
        knots = [bust]
    target = max(x_hem + flare / 4.0 + more, 20.0)
    if not shaped and flare > 0:
        # With its flare a straight seam may pass outside the waist where it did not without.
        slope = (target - bust[0]) / (bust[1] - q.hem_y)
        if all(bust[0] + slope * (bust[1] - k[1]) >= k[0] for k in knots[1:]):
            knots = knots[:1]
    x, y = target, q.hem_y
    curves = base
    for _ in range(60):
        ends = [*knots, (x, y)]
        curves = through_levels(ends, _end_slopes(ends) if shaped and len(ends) > 2 else None)
        down = curves[-1].tangent(1.0)
        theta = math.atan2(float(down[0]), -float(down[1]))
        nx = target * math.sin(theta) / theta if abs(theta) > 1e-9 else target
        ny = q.hem_y + nx * math.tan(theta / 2.0)
        moved = abs(nx - x) + abs(ny - y)
        x, y = nx, ny
        if y > knots[-1][1] - 20.0:
            raise DraftError(
                Fault("side seam", "flares so much that it runs out level.", "Use less flare.")
            )
        if moved < 1e-7:
            break
    return Side(curves, chain_length(curves), max(x_hem + flare / 4.0, 20.0))


def _end_slopes(knots: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """dx per mm downward at both ends of a shaped side seam: it leaves the underarm less steeply
    than straight to the waist, and hangs nearly straight at the hem."""
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = knots[0], knots[1], knots[-2], knots[-1]
    return 0.8 * (x1 - x0) / (y0 - y1), 0.4 * (x3 - x2) / (y2 - y3)


def _cropped(curves: list[Cubic], hem_y: float) -> Side:
    """A side seam cut off where a hem at ``hem_y``, square to it, meets it."""
    y = hem_y
    for _ in range(40):
        x, down = _at_level(curves, y)
        y = hem_y + x * math.tan(math.atan2(float(down[0]), -float(down[1])) / 2.0)
    at = 0.0
    for c in curves:
        if y < c.end[1]:
            at += c.length
            continue
        t = float((y - c.start[1]) / (c.end[1] - c.start[1]))
        at += c.length_between(0.0, min(max(t, 1e-6), 1.0))
        break
    return Side(curves, at)


def _side_to(side: Side, length: float) -> list[Cubic]:
    """The side seam from the underarm, ``length`` mm long, run on straight where needed."""
    total = chain_length(side.curves)
    if length > total:
        end, down = side.curves[-1].end, side.curves[-1].tangent(1.0)
        return [*side.curves, line(end, end + down * (length - total))]
    return cut_chain(side.curves, length)[0]


def _hem(q: Quarter, end: Points, down: Points, shirt_tail: bool) -> list[Cubic]:
    """The hem from the centre to the side seam's end, square to both."""
    start, level = vec((0.0, q.hem_y)), vec((1.0, 0.0))
    square = left_of(down)
    if not shirt_tail:
        return [sweep(start, level, end, square)]
    width, rise = float(end[0]), float(end[1] - q.hem_y)
    middle = vec((0.63 * width, q.hem_y + 0.42 * rise))
    slope = vec((width, 1.9 * rise))
    return [sweep(start, level, middle, slope), sweep(middle, slope, end, square)]


# --- armhole, shoulder, sleeve -----------------------------------------------------------------


def _armhole(q: Quarter, down: Points, from_point: Points, leave: Points) -> list[Cubic]:
    """From the shoulder end to the underarm: square to the shoulder, square to the side seam."""
    end, square = vec(q.bust), left_of(down)
    lead = end - square * SQUARE_RUN_MM
    return [sweep(from_point, leave, lead, square, (0.9, 0.9)), line(lead, end)]


@dataclass(frozen=True, eq=False)
class Drawn:
    """The curves of one quarter by edge name, in ring order, and what was measured on them."""

    quarter: Quarter
    edges: dict[str, list[Cubic]]
    waist_x: float
    hem_length: float
    side_length: float
    tilt: float

    @cached_property
    def flat(self) -> dict[str, Points]:
        """Flattened edges of the quarter, x ≥ 0, in ring order."""
        return _flat(self.edges)


def _draw_side(
    front: Quarter,
    back: Quarter,
    style: Mapping[str, Any],
    arm: float | None,
    notes: list[str],
) -> dict[str, Drawn]:
    """Both quarters of one side of the body, mated: shoulders, side seams and underarms equal."""
    mean = 0.5 * (front.shoulder_length + back.shoulder_length)
    pair = {q.half: _shoulder_to(q, mean) for q in (front, back)}
    shaped, flare = style["waist"] == "shaped", style["flare"]
    rise = (style["hem_rise"] or 70.0) if style["hem"] == "shirt-tail" else 0.0
    sides, length = _sides(pair, shaped, flare, rise)
    shapes = {FRONT: style["neckline"], BACK: style["back_neckline"]}
    tilt = _tilt(pair[FRONT], pair[BACK], shapes)
    sleeves = _sleeve(pair, sides, length, style, arm, notes)
    out = {}
    for half, q in pair.items():
        kept = _side_to(sides[half], length)
        down = kept[-1].tangent(1.0)
        hem = _hem(q, kept[-1].end, down, rise > 0)
        upper = sleeves[half] if sleeves else None
        if upper is None:
            top_down = kept[0].tangent(0.0)
            leave = _square_down(q)
            # _armhole runs down from the shoulder; the ring runs up
            armhole = [c.reversed() for c in _armhole(q, top_down, vec(q.shoulder), leave)[::-1]]
            rest = {"armhole": armhole, "shoulder": [line(q.shoulder, q.neck)]}
        else:
            rest = dict(upper.edges)
            kept = cut_chain(kept, upper.taken)[1]
        edges = {
            "fold": [line((0.0, q.centre_y), (0.0, q.hem_y))],
            "hem": hem,
            "side": [c.reversed() for c in kept[::-1]],
            **rest,
            "neckline": _neckline(q, shapes[half], tilt if half == FRONT else -tilt),
        }
        waist_y = min(q.waist[1], q.bust[1])
        waist_x = _at_level(sides[half].curves, waist_y)[0]
        out[half] = Drawn(
            q,
            edges,
            waist_x,
            chain_length(hem),
            chain_length(kept),
            tilt,
        )
    return out


def _sides(
    pair: Mapping[str, Quarter], shaped: bool, flare: float, rise: float
) -> tuple[dict[str, Side], float]:
    """Side seams of front and back, and their common length.

    Where the quarters differ, each hem end is moved along its seam to the mean length, and the
    seam is leaned until the hem is again as long as its girth.
    """
    more = dict.fromkeys(pair, 0.0)
    for _ in range(8):
        sides = {h: _side(q, shaped, flare, more[h]) for h, q in pair.items()}
        length = 0.5 * (sides[FRONT].hem_at + sides[BACK].hem_at) - rise
        if length < 40.0:
            raise DraftError(
                Fault("side seam", f"is only {length:.0f} mm long.", "Make the top longer.")
            )
        if abs(sides[FRONT].hem_at - sides[BACK].hem_at) < 1e-6 or rise > 0:
            break
        worst = 0.0
        for h, q in pair.items():
            wanted = sides[h].hem_length
            if wanted is None:
                continue
            kept = _side_to(sides[h], length)
            hem = _hem(q, kept[-1].end, kept[-1].tangent(1.0), False)
            off = wanted - chain_length(hem)
            more[h] += off
            worst = max(worst, abs(off))
        if worst < 0.02:
            break
    return sides, length


def _shoulder_to(q: Quarter, length: float) -> Quarter:
    """The quarter with its shoulder line that long, the shoulder point moved along the line."""
    c, s = q.along
    return replace(q, shoulder=(q.neck[0] + c * length, q.neck[1] + s * length))


@dataclass(frozen=True, eq=False)
class Upper:
    """What replaces armhole and shoulder when a sleeve is grown on; ``taken`` off the side, mm."""

    edges: dict[str, list[Cubic]]
    taken: float


_SLEEVE_MM = {"cap": 50.0, "short": 180.0, "elbow": 300.0}
_CAP_MOST_MM = 75.0
_CAP_INSIDE_MM = 12.0  # a cap ends at least this far inside the eased bust point
_MOST_LENGTHENED_MM = 150.0
_UNDERARM_ROUND_MM = 90.0
_MOST_LOWERED_MM = 70.0
_LEAST_UNDERARM_MM = 55.0


def _sleeve(
    pair: Mapping[str, Quarter],
    sides: Mapping[str, Side],
    side_length: float,
    style: Mapping[str, Any],
    arm: float | None,
    notes: list[str],
) -> dict[str, Upper] | None:
    """A sleeve grown on to the shoulder: the shoulder line runs on over the arm.

    A cap ends in a curve to the underarm; a longer one ends square and has an underarm, rounded
    into the side seam. Front and back meet at one point under the arm, so their seams mate.
    """
    if style["sleeve"] == "none":
        return None
    reach = style["sleeve_length"] or _SLEEVE_MM[style["sleeve"]]
    out = vec(pair[FRONT].along) + vec(pair[BACK].along)
    out = out / np.hypot(*out)
    down = -left_of(out)
    shoulder = 0.5 * (vec(pair[FRONT].shoulder) + vec(pair[BACK].shoulder))
    widest = max(q.bust[0] for q in pair.values())
    if reach <= _CAP_MOST_MM:
        room = (widest - _CAP_INSIDE_MM - float(shoulder[0])) / float(out[0])
        if reach > room:
            reach = max(room, 0.0)
            notes.append(
                f"The cap sleeve is {reach:.0f} mm long: further it would stand out past the side."
            )
        return {half: _cap(q, sides[half], reach) for half, q in pair.items()}
    width = style["sleeve_width"] or (arm + 60.0 if arm else 0.36 * 4.0 * widest)
    need = (
        widest + _LEAST_UNDERARM_MM - float(shoulder[0]) - 0.5 * width * float(down[0])
    ) / float(out[0])
    if need > reach + _MOST_LENGTHENED_MM:
        raise DraftError(
            Fault(
                "style.sleeve",
                f"ends inside the body's width: it must be {need:.0f} mm long to have an underarm.",
                "Make it longer or narrower, or choose a cap sleeve.",
            )
        )
    if need > reach:
        reach = need
        notes.append(f"The sleeve is {reach:.0f} mm long, so that it has an underarm to sew.")
    wrist = shoulder + out * reach + down * (0.5 * width)
    # The underarm lies lower than that of an armhole, so that it runs on gently into the sleeve.
    across = float(wrist[0]) - widest
    under = 0.5 * (pair[FRONT].bust[1] + pair[BACK].bust[1]) - float(wrist[1])
    lowered = min(max(under - 0.35 * across, 0.0), _MOST_LOWERED_MM, 0.3 * side_length)
    corners = {h: cut_chain(s.curves, lowered)[1][0].start for h, s in sides.items()}
    if any(c[1] - wrist[1] > max(across, 60.0) for c in corners.values()):
        raise DraftError(
            Fault(
                "style.sleeve_width",
                f"a sleeve {width:.0f} mm round hangs down past the underarm.",
                "Make it narrower or longer, or the top longer.",
            )
        )
    taken = min(
        _UNDERARM_ROUND_MM,
        0.35 * side_length,
        *(0.8 * float(np.hypot(*(wrist - c))) for c in corners.values()),
    )

    def underarm(half: str, end: Points) -> list[Cubic]:
        corner = corners[half]
        joint = corner + unit(end - corner) * taken
        below = cut_chain(sides[half].curves, lowered + taken)[1][0].start
        return [rounded(below, corner, joint), line(joint, end)]

    lengths = {h: chain_length(underarm(h, wrist)) for h in pair}
    uppers = {}
    for half, q in pair.items():
        # Where front and back differ each underarm ends a little sooner or later: they mate.
        end = wrist
        goal = 0.5 * (lengths[FRONT] + lengths[BACK])
        for _ in range(20):
            off = goal - chain_length(underarm(half, end))
            end = end + unit(end - corners[half]) * off
            if abs(off) < 1e-6:
                break
        tip = vec(q.shoulder) + vec(q.along) * reach
        uppers[half] = Upper(
            {
                "underarm": underarm(half, end),
                # square to the underarm and to the shoulder, so that it runs on over both seams
                "sleeve hem": [
                    sweep(end, left_of(unit(end - corners[half])), tip, left_of(vec(q.along)))
                ],
                "shoulder": [line(tip, q.neck)],
            },
            lowered + taken,
        )
    return uppers


def _cap(q: Quarter, side: Side, reach: float) -> Upper:
    """A cap sleeve: the shoulder longer by ``reach``, the armhole drawn from its end."""
    tip = vec(q.shoulder) + vec(q.along) * reach
    armhole = _armhole(q, side.curves[0].tangent(0.0), tip, _square_down(q))
    edges = {"armhole": [c.reversed() for c in armhole[::-1]], "shoulder": [line(tip, q.neck)]}
    return Upper(edges, 0.0)


# --- the points of the quarters ----------------------------------------------------------------


def base_quarters(m: Measurements, style: Mapping[str, Any]) -> dict[str, Quarter]:
    """The points of a front and a back quarter from the measurements, mm."""
    length = m["back_neck_to_tailbone"]
    third = length / 3.0
    neck_x = m["neck_width"] / 2.0
    shoulder_x = neck_x + m["shoulder_length"]
    bust_x = (m["bust_girth"] + style["bust_ease"]) / 4.0
    waist_x = (m["waist_girth"] + style["waist_ease"]) / 4.0
    hip_x = (m["hip_girth_at_tailbone"] + style["hem_ease"]) / 4.0
    whole = _length(style["length"], length)
    front_depth = style["front_neck_depth"] or _DEPTH_MM[style["neckline"]]
    back_depth = style["back_neck_depth"] or _BACK_DEPTH_MM[style["back_neckline"]]
    front = Quarter(
        FRONT,
        (neck_x, BALANCE_MM),
        (shoulder_x, -BALANCE_MM),
        -front_depth,
        (bust_x, -third),
        (waist_x, -2.0 * third),
        (hip_x, -length),
        -whole,
    )
    back = replace(
        front.moved(neck=(0.0, -BACK_DROP_MM), shoulder=(0.0, -BACK_DROP_MM)),
        half=BACK,
        centre_y=-back_depth,
    )
    return {FRONT: front, BACK: back}


def _length(chosen: Any, length: float) -> float:
    """The hem's depth below the top line."""
    if isinstance(chosen, float):
        return chosen
    return {
        "crop": 0.62 * length,
        "waist": 2.0 / 3.0 * length + 30.0,
        "top": length,
        "tunic": length + 150.0,
        "dress": length + 420.0,
    }[chosen]


def _styled(q: Quarter, style: Mapping[str, Any], measured_shoulder: float) -> Quarter:
    """Points moved along the shoulder line as the style asks."""
    c, s = q.along
    length = q.shoulder_length
    end = measured_shoulder if style["shoulder_seam"] == "measured" else length
    end -= style["shoulder_in"]
    out = style["neck_point_out"]
    start = _OUT_MM[style["neckline"]] if out is None else out
    if end - start < 20.0:
        raise DraftError(
            Fault(
                "shoulder",
                f"only {max(end - start, 0.0):.0f} mm of it are left.",
                "Use less for neck_point_out or shoulder_in.",
            )
        )
    return replace(
        q,
        neck=(q.neck[0] + c * start, q.neck[1] + s * start),
        shoulder=(q.neck[0] + c * end, q.neck[1] + s * end),
    )


def _check_quarter(q: Quarter) -> None:
    """Refuse points from which no garment can be drawn, with the reason.

    Raises:
        DraftError: says which measurements do not go together.
    """
    faults = []
    if q.neck[1] - q.centre_y < 8.0:
        faults.append(
            Fault(f"{q.half} neckline", "is shallower than the neck point.", "Make it deeper.")
        )
    if q.centre_y < q.bust[1] - 60.0:
        faults.append(
            Fault(
                f"{q.half} neckline",
                f"reaches {q.bust[1] - q.centre_y:.0f} mm below the bust line.",
                "Make it shallower.",
            )
        )
    if q.shoulder[1] - q.bust[1] < 70.0:
        faults.append(
            Fault(
                f"{q.half} armhole",
                f"is only {q.shoulder[1] - q.bust[1]:.0f} mm deep.",
                "The bust line lies at a third of back_neck_to_tailbone: is that length right?",
            )
        )
    if q.shoulder[0] > q.bust[0] + 25.0:
        faults.append(
            Fault(
                f"{q.half} armhole",
                f"the shoulder reaches {q.shoulder[0] - q.bust[0]:.0f} mm past the eased bust point.",
                "Are neck_width, shoulder_length and bust_girth from the same body?",
            )
        )
    if q.hem_y > q.bust[1] - 45.0:
        faults.append(
            Fault("length", "ends less than 45 mm below the bust line.", "Make the top longer.")
        )
    if faults:
        raise DraftError(faults)


# --- pieces ------------------------------------------------------------------------------------


def _flip(points: Points) -> Points:
    """Mirrored in the centre line, direction kept counter-clockwise."""
    return np.asarray((points * (-1.0, 1.0))[::-1])


def _half_piece(
    name: str,
    half: str,
    points: Mapping[str, Points],
    m: Measurements,
    style: Mapping[str, Any],
    grain: Line,
) -> Piece:
    """A piece that is the same left and right: cut on the fold, or as a pair."""
    seam = half == BACK and style["centre_back"] == "seam"
    folded = "fold" in points and not seam
    names = {n: ("centre back" if seam and n == "fold" else n) for n in points}
    edges = {names[n]: Edge(names[n], p) for n, p in points.items()}
    _refuse_crossing(edges, name)
    fold = None
    if folded:
        top, low = points["fold"][0], points["fold"][-1]
        fold = ((0.0, float(top[1])), (0.0, float(low[1])))
    return Piece(
        name=name,
        edges=edges,
        cut=1 if folded else 2,
        pair=not folded,
        fold=fold,
        grain=grain,
        notches=tuple(_notches(edges, half)),
        label=_label(name, "cut 1 on the fold" if folded else "cut 2, a pair", m),
    )


def _whole_piece(
    name: str,
    half: str,
    left: Mapping[str, Points],
    right: Mapping[str, Points],
    m: Measurements,
    grain: Line,
    up: str = "right side up",
) -> Piece:
    """A piece whose sides differ: one whole, seen from the cloth's right side.

    Seen so, the wearer's left lies at x > 0 on the front and at x < 0 on the back.
    """
    plus, minus = (left, right) if half == FRONT else (right, left)
    side_of = (LEFT, RIGHT) if half == FRONT else (RIGHT, LEFT)
    a, b = dict(plus), {n: _flip(p) for n, p in minus.items()}
    across = [n for n in a if n != "fold"]
    first, last = across[0], across[-1]  # the hem (or a facing's outer edge), and the neckline
    middle = across[1:-1]
    edges = {
        first: Edge(first, np.concatenate([b[first][:-1], a[first]])),
        **{f"{side_of[0]} {n}": Edge(f"{side_of[0]} {n}", a[n]) for n in middle},
        last: Edge(last, np.concatenate([a[last][:-1], b[last]])),
        **{f"{side_of[1]} {n}": Edge(f"{side_of[1]} {n}", b[n]) for n in reversed(middle)},
    }
    _refuse_crossing(edges, name)
    (_, low), (_, high) = grain
    return Piece(
        name=name,
        edges=edges,
        grain=((0.0, low), (0.0, high)),
        notches=tuple(_notches(edges, half)),
        label=_label(name, f"cut 1, single layer, {up}", m),
    )


def _garment_pieces(
    name: str,
    half: str,
    flat: Sequence[Mapping[str, Points]],
    m: Measurements,
    style: Mapping[str, Any],
    grain: Line,
    apart: bool = False,
    up: str = "right side up",
) -> dict[str, Piece]:
    """The piece or pieces of one half: one drawing of it for both sides, or left and right.

    ``apart``: left and right do not meet at the centre (armhole facings).
    """
    if len(flat) == 1:
        return {name: _half_piece(name, half, flat[0], m, style, grain)}
    if not apart and not (half == BACK and style["centre_back"] == "seam"):
        return {name: _whole_piece(name, half, flat[0], flat[1], m, grain, up)}
    out = {}
    for side, points in zip((LEFT, RIGHT), flat, strict=True):
        full = f"{side} {name}"
        ends = grain
        if (side == LEFT) != (half == FRONT):  # lies at x < 0, see `_whole_piece`
            points = {n: _flip(points[n]) for n in reversed(list(points))}
            (x0, y0), (x1, y1) = grain
            ends = ((-x0, y0), (-x1, y1))
        piece = _half_piece(full, half, points, m, style, ends)
        label = _label(full, f"cut 1, {up}", m)
        out[full] = piece.with_(cut=1, pair=False, label=label)
    return out


def _spot(half: str, side: str, edge: str, style: Mapping[str, Any]) -> Spot:
    """Piece and edge where an edge of the garment's half lies; ``side`` '' when both are alike."""
    if not side:
        return (half, edge)
    if half == BACK and style["centre_back"] == "seam":
        return (f"{side} {half}", edge)
    return (half, edge if edge in ("neckline", "hem") else f"{side} {edge}")


def _refuse_crossing(edges: Mapping[str, Edge], half: str) -> None:
    ring = ring_points(edges)
    if not is_simple(ring):
        raise DraftError(
            Fault(
                f"{half} outline",
                "crosses itself with these measurements and this style.",
                "Look at the neckline's depth and width, the shoulder and the bust girth.",
            )
        )


def _grain(drawn: Drawn) -> Line:
    """A grainline parallel to the fold, short of the cutting lines (JIS L 0110:2001)."""
    q = drawn.quarter
    x = 0.42 * q.bust[0]
    low = q.hem_y + 0.12 * (q.bust[1] - q.hem_y)
    return ((x, low), (x, min(q.bust[1], q.centre_y) - 10.0))


def _label(half: str, how: str, m: Measurements) -> tuple[str, ...]:
    who = " · ".join(t for t in (m.wearer, m.taken) if t)
    return tuple(t for t in (half, how, who) if t)


def _notches(edges: Mapping[str, Edge], half: str) -> list[Notch]:
    """One notch on the front, two on the back, at equal distances along mated edges."""
    count = 1 if half == FRONT else 2
    out = []
    for name, edge in edges.items():
        plain = name.split()[-1]
        length = edge.length_mm
        mirrored = _runs_down(edge)  # of the other side of a whole piece
        if plain == "side" and length > 2.0 * SIDE_NOTCH_MM:
            from_top = SIDE_NOTCH_MM
            at = from_top if mirrored else length - from_top
            out.append(Notch(name, at, count, name))
        elif plain == "armhole":
            third = length / 3.0
            out.append(Notch(name, length - third if mirrored else third, count, ""))
        elif plain == "shoulder" and length > 120.0:
            out.append(Notch(name, length / 2.0, 1, name))
    return out


def _runs_down(edge: Edge) -> bool:
    return bool(edge.points[0, 1] > edge.points[-1, 1])


# --- finishing pieces --------------------------------------------------------------------------


def _neck_facing(drawn: Drawn, style: Mapping[str, Any], tilt: float) -> dict[str, list[Cubic]]:
    """A facing of the neckline: the neckline again, and once more the facing's width further out."""
    q, width = drawn.quarter, style["facing_width"]
    c, s = q.along
    width = min(width, 0.8 * q.shoulder_length)
    shape = style["neckline"] if q.half == FRONT else style["back_neckline"]
    deeper = width
    if shape == "v":  # measured square to the V's line, not down the centre
        lean = math.atan2(q.neck[0], q.neck[1] - q.centre_y)
        deeper = min(width / math.sin(lean), 2.5 * width, q.centre_y - q.hem_y - 40.0)
    outer = replace(
        q, neck=(q.neck[0] + c * width, q.neck[1] + s * width), centre_y=q.centre_y - deeper
    )
    edge = _neckline(outer, shape, tilt if q.half == FRONT else -tilt)
    return {
        "fold": [line((0.0, q.centre_y), (0.0, outer.centre_y))],
        "outer": [x.reversed() for x in edge[::-1]],
        "shoulder": [line(outer.neck, q.neck)],
        "neckline": drawn.edges["neckline"],
    }


def _armhole_facing(drawn: Drawn, style: Mapping[str, Any]) -> dict[str, list[Cubic]]:
    """A facing of the armhole, of even width at the shoulder and at the side seam."""
    armhole, shoulder, side = (drawn.edges[n] for n in ("armhole", "shoulder", "side"))
    width = min(style["facing_width"], 0.45 * chain_length(shoulder), 0.5 * chain_length(side))
    lower, kept = cut_chain(side, chain_length(side) - width)
    near, far = cut_chain(shoulder, width)
    down = -kept[0].tangent(0.0)
    top = far[0].start
    leave = -armhole[-1].tangent(1.0)
    outer = sweep(top, leave, kept[0].start, left_of(down), (0.9, 0.9))
    del lower
    return {"outer": [outer], "side": kept, "armhole": armhole, "shoulder": near}


def _strip(
    name: str, length: float, style: Mapping[str, Any], loops: int, m: Measurements
) -> tuple[Piece, str]:
    """A bias binding: strips at 45° to the grain, their ends along the grain, joins included.

    ``length``: the finished edge, mm; ``loops``: how many such edges are bound.
    """
    width = style["binding_width"]
    slant = BIAS_JOIN_MM * math.sqrt(2.0)  # a join across a 45° end takes this much of the strip
    parts = max(1, math.ceil((length + 2.0 * slant) / LONGEST_STRIP_MM))
    each = length / parts + 2.0 * slant
    d = math.sqrt(0.5)
    along, rise = each * d, width / d
    ring = ((0.0, 0.0), (along, along), (along, along + rise), (0.0, rise))
    names = ("lower raw edge", "last raw edge", "upper raw edge", "first raw edge")
    edges = {n: Edge(n, np.array([ring[i], ring[(i + 1) % 4]])) for i, n in enumerate(names)}
    cut = parts * loops
    text = (
        f"{name}: cut {cut} on the bias, {format_length(width, m.unit)} wide and "
        f"{format_length(each, m.unit)} long along its middle; "
        f"the finished edge is {format_length(length, m.unit)} long"
        + (f", joined from {parts} strips." if parts > 1 else ".")
        + " Bound edges take no seam allowance."
    )
    piece = Piece(
        name=name,
        edges=edges,
        cut=cut,
        grain=((0.5 * along, 0.5 * along + 0.2 * rise), (0.5 * along, 0.5 * along + 0.8 * rise)),
        turns=(0.0, 90.0, 180.0, 270.0),
        label=_label(name, f"cut {cut} on the bias", m),
    )
    return piece, text


def _pocket(
    front: Piece, drawn: Drawn, style: Mapping[str, Any], m: Measurements, notes: list[str]
) -> tuple[Piece, Piece]:
    """A patch pocket and the front with its place marked."""
    q = drawn.quarter
    width, depth = style["pocket_width"], style["pocket_depth"]
    chest = style["pocket"] == "chest"
    middle = (0.52 if chest else 0.55) * q.bust[0]
    top = q.bust[1] + 20.0 if chest else q.waist[1] - 20.0
    low = top - depth
    room = q.hem_y + 15.0
    if low < room:
        low, top = room, room + depth
    if middle - width / 2 < 8.0 or middle + width / 2 > q.bust[0] - 8.0:
        raise DraftError(
            Fault("style.pocket_width", "is too wide for the front.", "Make it narrower.")
        )
    if top > q.shoulder[1] - 30.0:
        raise DraftError(Fault("style.pocket_depth", "is too deep for it.", "Make it shorter."))
    bevel = min(18.0, 0.15 * width)
    left, right = -0.5 * width, 0.5 * width
    base = [
        line((left + bevel, 0.0), (right - bevel, 0.0)),
        rounded((right - bevel, 0.0), (right, 0.0), (right, bevel)),
    ]
    first = rounded((left, bevel), (left, 0.0), (left + bevel, 0.0))
    edges = {
        "bottom": chain_points([first, *base]),
        "right side": np.array([[right, bevel], [right, depth]]),
        "hem": np.array([[right, depth], [left, depth]]),
        "left side": np.array([[left, depth], [left, bevel]]),
    }
    cut = 1 if chest else 2
    pocket = Piece(
        name="pocket",
        edges={n: Edge(n, p) for n, p in edges.items()},
        cut=cut,
        grain=((0.0, 0.15 * depth), (0.0, 0.75 * depth)),
        label=_label("pocket", f"cut {cut}", m),
    )
    place = ring_points(pocket.edges) + np.array([middle, low])
    marks = [
        Mark("pocket", place, closed=True),
        # drilled a centimetre inside, so that the pocket hides the holes
        Mark("pocket corner", np.array([[middle + left + 10.0, low + depth - 10.0]])),
        Mark("pocket corner", np.array([[middle + right - 10.0, low + depth - 10.0]])),
    ]
    if chest:
        notes.append("The chest pocket's place shows on both halves: sew it on the wearer's left.")
    return pocket, front.with_(marks=(*front.marks, *marks))


def _finish(
    pieces: dict[str, Piece],
    both: tuple[Mapping[str, Drawn], Mapping[str, Drawn]],
    m: Measurements,
    style: Mapping[str, Any],
    notes: list[str],
) -> list[Seam]:
    """Facings and bindings of neckline and armholes, added to ``pieces``; their seams."""
    seams: list[Seam] = []
    one = both[0] is both[1]
    shapes: dict[str, list[dict[str, dict[str, Points]]]] = {}
    if style["neckline_finish"] == "facing":
        shapes["neck"] = [
            {h: _flat(_neck_facing(d[h], style, d[h].tilt)) for h in (FRONT, BACK)} for d in both
        ]
    has_armhole = "armhole" in both[0][FRONT].edges
    if style["armhole_finish"] == "facing" and has_armhole:
        shapes["armhole"] = [
            {h: _flat(_armhole_facing(d[h], style)) for h in (FRONT, BACK)} for d in both
        ]
    for kind, sides in shapes.items():
        edge = "neckline" if kind == "neck" else "armhole"
        apart = kind == "armhole"
        for h in (FRONT, BACK):
            name, flat = f"{h} {kind} facing", [d[h] for d in sides[: 1 if one else 2]]
            # Drawn as the garment lies, right side up: a facing is its mirror image.
            pieces |= _garment_pieces(
                name, h, flat, m, style, _facing_grain(flat[0]), apart, "wrong side up"
            )

        def facing(h: str, side: str, e: str, kind: str = kind, apart: bool = apart) -> Spot:
            name = f"{h} {kind} facing"
            if not side:
                return (name, e)
            if apart or (h == BACK and style["centre_back"] == "seam"):
                return (f"{side} {name}", e)
            return (name, e if e in ("neckline", "outer") else f"{side} {e}")

        for side in ("",) if one else (LEFT, RIGHT):
            for e in ("side", "shoulder") if apart else ("shoulder",):
                name = f"{side} {kind} facing {e}".strip()
                seams.append(Seam(name, (facing(FRONT, side, e),), (facing(BACK, side, e),)))
            for h in (FRONT, BACK):
                on, under = _spot(h, side, edge, style), facing(h, side, edge)
                longer = (
                    seam_length(pieces, [on]) - seam_length(pieces, [under])
                    if kind == "neck" and style["gathers"] in (h, "both")
                    else 0.0
                )
                seam = Seam(under[0], (on,), (under,), longer)
                if seam not in seams:  # a whole neck facing is met from both sides
                    seams.append(seam)
    if style["neckline_finish"] == "bias":
        length = sum(chain_length(d[h].edges["neckline"]) for d in both for h in (FRONT, BACK))
        pieces["neck binding"], text = _strip("neck binding", length, style, 1, m)
        notes.append(text)
    if style["armhole_finish"] == "bias" and has_armhole:
        lengths = [sum(chain_length(d[h].edges["armhole"]) for h in (FRONT, BACK)) for d in both]
        pieces["armhole binding"], text = _strip("armhole binding", max(lengths), style, 2, m)
        notes.append(text)
    return seams


def _flat(edges: Mapping[str, list[Cubic]]) -> dict[str, Points]:
    return {name: chain_points(curves) for name, curves in edges.items()}


def _facing_grain(
    points: Mapping[str, Points],
) -> Line:
    """A short grainline inside a facing: at its fold, or beside the middle of its outer edge."""
    if "fold" in points:
        top, low = points["fold"][0], points["fold"][-1]
        x = 8.0
        return (
            (x, float(low[1] + 0.2 * (top[1] - low[1]))),
            (x, float(low[1] + 0.8 * (top[1] - low[1]))),
        )
    outer, inner = points["outer"], points["armhole"]
    middle = 0.5 * (outer[len(outer) // 2] + inner[len(inner) // 2])
    return (
        (float(middle[0]), float(middle[1] - 15.0)),
        (float(middle[0]), float(middle[1] + 15.0)),
    )


def _gathered(points: dict[str, Points], q: Quarter, style: Mapping[str, Any]) -> dict[str, Points]:
    """The quarter slashed from neckline to hem and spread, so that the neckline can be gathered.

    The slashes lie close to one another near the centre and end short of the neck point: the
    shoulder, armhole and side seam are moved as they are and still fit their partners.
    """
    if style["gathers"] not in (q.half, "both"):
        return points
    # Straight stretches are bent by the spreading: they need points to bend at.
    points = {
        n: _dense(p, GATHER_STEP_MM) if n in ("neckline", "hem") else p for n, p in points.items()
    }
    neckline = points["neckline"]
    finished = polyline_length(neckline)
    zone = 0.85 * q.neck[0]
    even = style["gather_spread"] == "even"
    height = q.centre_y - q.hem_y

    def spread(line_: Points, amount: float) -> Points:
        return slash_and_spread(line_, zone, amount, q.hem_y, 0.0 if even else height)

    low, high = 0.0, 3.0 * finished
    for _ in range(24):  # to a ten-thousandth of a millimetre
        amount = 0.5 * (low + high)
        new = spread(neckline, amount)
        if polyline_length(new) < style["gather_ratio"] * finished:
            low = amount
        else:
            high = amount
    return {n: spread(p, 0.5 * (low + high)) for n, p in points.items()}


def _dense(points: Points, step_mm: float) -> Points:
    """The same polyline with points at most ``step_mm`` apart."""
    parts = []
    for a, b in pairwise(points):
        count = max(1, math.ceil(float(np.hypot(*(b - a))) / step_mm))
        parts.append(a + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * (b - a))
    return np.concatenate([*parts, points[-1:]])


# --- the block ---------------------------------------------------------------------------------


def quick_top(m: Measurements, style: Mapping[str, Any], fit: tuple[FitChange, ...]) -> Draft:
    """Draft the quick top.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    base = base_quarters(m, style)
    arm = m.get("upper_arm_girth")
    sides = (LEFT, RIGHT) if one_sided(fit) else (LEFT,)
    notes = list(m.warnings)
    drawn: dict[str, dict[str, Drawn]] = {}
    for side in sides:
        quarters = {
            h: _styled(apply(q, side, fit), style, m["shoulder_length"]) for h, q in base.items()
        }
        for q in quarters.values():
            _check_quarter(q)
        drawn[side] = _draw_side(quarters[FRONT], quarters[BACK], style, arm, notes)
    right = drawn.get(RIGHT, drawn[LEFT])
    both = (drawn[LEFT], right)
    pieces: dict[str, Piece] = {}
    for h in (FRONT, BACK):
        flat = [_gathered(d[h].flat, d[h].quarter, style) for d in both[: len(sides)]]
        pieces |= _garment_pieces(h, h, flat, m, style, _grain(drawn[LEFT][h]))
    opening = sum(
        chain_length(d[h].edges["neckline"]) for d in (drawn[LEFT], right) for h in (FRONT, BACK)
    )
    notes = list(dict.fromkeys(notes))  # both sides of the body may say the same
    notes += _shoulder_note(m, style, base[FRONT])
    notes += _arm_note(m, drawn[LEFT])
    notes += _bust_notes(m, style)
    pieces, slit, head_check = _head(pieces, opening, m, style, notes)
    facing_seams = _finish(pieces, both, m, style, notes)
    if style["pocket"] != "none":
        pieces["pocket"], pieces[FRONT] = _pocket(
            pieces[FRONT], drawn[LEFT][FRONT], style, m, notes
        )
    girths = _girths(m, style, fit, drawn[LEFT], right)
    seams, corners, runs = _truing(pieces, style, len(sides) == 2)
    return Draft(
        block="quick-top",
        measurements=m,
        style=style,
        fit=fit,
        pieces=MappingProxyType(pieces),
        seams=(*seams, *facing_seams),
        corners=corners,
        runs=runs,
        girths=girths,
        extra_checks=head_check,
        steps=tuple(_steps(m, style, base, fit, drawn[LEFT])),
        notes=tuple(notes),
        figures=MappingProxyType({"neck opening": opening, "slit": slit}),
    )


def _shoulder_note(m: Measurements, style: Mapping[str, Any], q: Quarter) -> list[str]:
    drawn, measured = q.shoulder_length, m["shoulder_length"]
    if style["shoulder_seam"] == "measured":
        return []
    return [
        f"The drawn shoulder seam is {format_length(drawn - measured, m.unit)} longer than the "
        f"measured shoulder ({format_length(drawn, m.unit)}, measured "
        f"{format_length(measured, m.unit)}), because it slopes. "
        "Choose 'shoulder_seam: measured' to keep the measured length."
    ]


def _arm_note(m: Measurements, drawn: Mapping[str, Drawn]) -> list[str]:
    arm = m.get("upper_arm_girth")
    if arm is None or "armhole" not in drawn[FRONT].edges:
        return []
    hole = sum(chain_length(drawn[h].edges["armhole"]) for h in (FRONT, BACK))
    if hole >= arm + 50.0:
        return []
    return [
        f"The armhole is {format_length(hole, m.unit)} round, the upper arm "
        f"{format_length(arm, m.unit)}: less than 5 cm to move in. Lower the shoulder of the toile "
        "with care, or lengthen the draft."
    ]


def _bust_notes(m: Measurements, style: Mapping[str, Any]) -> list[str]:
    """What a closed, dartless woven top asks of the bust (common practice, no source)."""
    notes = []
    upper = m.get("upper_chest_girth")
    if upper is not None and m["bust_girth"] - upper > FULL_BUST_MM:
        notes.append(
            f"The bust is {format_length(m['bust_girth'] - upper, m.unit)} fuller than the chest "
            "above it: a woven top without a dart will drag from the bust to the armhole. "
            "More bust ease, or a cloth that gives, helps."
        )
    if style["bust_ease"] < EASE_TO_PULL_ON_MM:
        notes.append(
            f"With less than {format_length(EASE_TO_PULL_ON_MM, m.unit)} of bust ease a closed "
            "woven top may not go over the shoulders: a longer opening, or a cloth that gives."
        )
    return notes


def _head(
    pieces: dict[str, Piece],
    opening: float,
    m: Measurements,
    style: Mapping[str, Any],
    notes: list[str],
) -> tuple[dict[str, Piece], float, tuple[Check, ...]]:
    """Does the head pass? If not, a slit at the centre back is marked, or the check fails."""
    measured = m.get("head_girth")
    head = measured if measured is not None else USUAL_HEAD_MM
    need = 0.5 * (head + HEAD_EASE_MM - opening)
    slit = 0.0
    if style["opening"] == "slit":
        slit = style["opening_length"] or max(math.ceil(max(need, 0.0) / 5.0) * 5.0, 60.0)
    elif style["opening"] == "auto" and need > 0:
        slit = max(math.ceil(need / 5.0) * 5.0, 40.0)
    if slit > 0:
        backs = [n for n in (BACK, f"{LEFT} {BACK}", f"{RIGHT} {BACK}") if n in pieces]
        top = _centre_top(pieces[backs[0]])
        if top - slit < float(pieces[backs[0]].sewing_line[:, 1].min()) + 60.0:
            raise DraftError(
                Fault("style.opening_length", "is longer than the back.", "Make it shorter.")
            )
        mark = Mark("opening", np.array([[0.0, top], [0.0, top - slit]]))
        marked = {n: pieces[n].with_(marks=(*pieces[n].marks, mark)) for n in backs}
        pieces = {**pieces, **marked}
        if style["opening"] == "auto":
            notes.append(
                f"The neck opening is {format_length(opening, m.unit)}; "
                f"{'the head' if measured is not None else 'a head, not measured here,'} needs "
                f"{format_length(head + HEAD_EASE_MM, m.unit)}. A slit of "
                f"{format_length(slit, m.unit)} is marked at the centre back. For none, choose a "
                "wider or deeper neckline, or 'opening: none' in a cloth that stretches."
            )
    elif need > 0 and measured is None:
        notes.append(
            f"The neck opening is {format_length(opening, m.unit)}; heads measure "
            f"{format_length(540.0, m.unit)} to {format_length(USUAL_HEAD_MM, m.unit)} round. "
            "Measure the head, or choose an opening."
        )
        return pieces, slit, ()
    return pieces, slit, (check_head(opening, slit, head, m.unit),)


def _centre_top(piece: Piece) -> float:
    edge = piece.edges["neckline"].points
    return float(edge[np.argmin(np.abs(edge[:, 0])), 1])


def _girths(
    m: Measurements,
    style: Mapping[str, Any],
    fit: Sequence[FitChange],
    left: Mapping[str, Drawn],
    right: Mapping[str, Drawn],
) -> tuple[Girth, ...]:
    """Finished girths, measured on the quarters that were drawn."""
    quarters = [d[h] for d in (left, right) for h in (FRONT, BACK)]

    def added(level: str) -> float:
        return sum(c.by_mm for c in fit if c.change == level)

    bust = sum(d.quarter.bust[0] for d in quarters)
    waist = sum(d.waist_x for d in quarters)
    hem = sum(d.hem_length for d in quarters)
    out = [Girth("bust girth", bust, m["bust_girth"], style["bust_ease"] + added("bust"))]
    whole = _length(style["length"], m["back_neck_to_tailbone"])
    if whole >= 2.0 / 3.0 * m["back_neck_to_tailbone"] and style["waist"] == "straight":
        out.append(
            Girth(
                "waist girth", waist, m["waist_girth"], style["waist_ease"] + added("waist"), True
            )
        )
    if style["length"] == "top" and style["hem"] == "level":
        out.append(
            Girth(
                "hem girth",
                hem,
                m["hip_girth_at_tailbone"],
                style["hem_ease"] + style["flare"] + added("hem"),
            )
        )
    return tuple(out)


def _truing(
    pieces: Mapping[str, Piece], style: Mapping[str, Any], whole: bool
) -> tuple[tuple[Seam, ...], tuple[Corner, ...], tuple[Run, ...]]:
    """What must be equal, square and smooth on the pieces."""
    seams: list[Seam] = []
    corners: list[Corner] = []
    runs: list[Run] = []
    sides = (LEFT, RIGHT) if whole else ("",)
    split = whole and style["centre_back"] == "seam"
    for side in sides:
        for name in ("side", "shoulder", "underarm"):
            a, b = (_spot(h, side, name, style) for h in (FRONT, BACK))
            if a[1] in pieces[a[0]].edges:
                seams.append(Seam(f"{side} {name}".strip(), (a,), (b,)))
    if split:
        a, b = (_spot(BACK, side, "centre back", style) for side in sides)
        seams.append(Seam("centre back", (a,), (b,)))
    for on in (FRONT, *((f"{LEFT} {BACK}", f"{RIGHT} {BACK}") if split else (BACK,))):
        shape = style["neckline"] if on == FRONT else style["back_neckline"]
        for before, after in _ring_pairs(pieces[on]):
            kinds = {n.removeprefix(f"{LEFT} ").removeprefix(f"{RIGHT} ") for n in (before, after)}
            at_centre = kinds <= {"fold", "centre back", "neckline"}
            if (at_centre and shape != "v") or kinds in _SQUARE:
                corners.append(Corner(on, before, after))
    meetings = (
        ("neckline", "shoulder"),
        ("armhole", "shoulder"),
        ("sleeve hem", "shoulder"),
        ("armhole", "side"),
        ("sleeve hem", "underarm"),
        ("hem", "side"),
    )
    for side in sides:
        for across, seam in meetings:
            pair = []
            for h in (FRONT, BACK):
                (on, line_), (_, end) = (_spot(h, side, e, style) for e in (across, seam))
                pair += [
                    Corner(on, before, after)
                    for before, after in _ring_pairs(pieces[on])
                    if {before, after} == {line_, end}
                ]
            if len(pair) == 2:
                runs.append(Run(f"{side} {across} over the {seam}".strip(), pair[0], pair[1]))
    return tuple(seams), tuple(corners), tuple(runs)


_SQUARE = (
    {"fold", "hem"},
    {"centre back", "hem"},
    {"hem", "side"},
    {"side", "armhole"},
    {"armhole", "shoulder"},
    {"underarm", "sleeve hem"},
    {"sleeve hem", "shoulder"},
)


def _ring_pairs(piece: Piece) -> list[tuple[str, str]]:
    """Each edge of a piece with the one that follows it."""
    ring = list(piece.edges)
    return list(zip(ring, [*ring[1:], ring[0]], strict=True))


# --- the steps, for teaching and for a pencil --------------------------------------------------


def _steps(
    m: Measurements,
    style: Mapping[str, Any],
    base: Mapping[str, Quarter],
    fit: Sequence[FitChange],
    drawn: Mapping[str, Drawn],
) -> list[Step]:
    """The construction with the numbers worked out for this body."""
    u = m.unit

    def t(mm: float) -> str:
        return format_length(mm, u)

    f, b = base[FRONT], base[BACK]
    length = m["back_neck_to_tailbone"]
    third = length / 3.0
    wide = max(f.bust[0], f.hip[0], f.waist[0], f.shoulder[0]) + PAPER_MARGIN_MM
    neck_x, shoulder_x = f.neck[0], f.shoulder[0]
    bust0, waist0 = m["bust_girth"] / 4.0, m["waist_girth"] / 4.0
    hip0 = m["hip_girth_at_tailbone"] / 4.0

    def across(y: float) -> Points:
        return np.array([[0.0, y], [wide, y]])

    front, back = drawn[FRONT].flat, drawn[BACK].flat
    steps = [
        Step(
            "frame",
            "both",
            "Centre line, top line and bottom line",
            f"Draw the centre line along the paper's edge and, square to it, the top line and, {t(length)} below, the bottom line.",
            (
                f"back neck point to tailbone = {t(length)}",
                f"paper: {t(length + PAPER_MARGIN_MM)} × {t(wide)}",
            ),
            {"top": (0.0, 0.0), "bottom": (0.0, -length)},
            {
                "centre line": np.array([[0.0, 0.0], [0.0, -length]]),
                "top line": across(0.0),
                "bottom line": across(-length),
            },
        ),
        Step(
            "thirds",
            "both",
            "Bust line and waist line",
            f"Divide the length into three equal parts: the bust line lies {t(third)} down, the waist line {t(2 * third)}.",
            (f"{t(length)} ÷ 3 = {t(third)}",),
            {"bust level": (0.0, -third), "waist level": (0.0, -2 * third)},
            {"bust line": across(-third), "waist line": across(-2 * third)},
        ),
        Step(
            "neck-point",
            "both",
            "Neck point",
            f"Mark half the neck width, {t(neck_x)}, on the top line.",
            (f"{t(m['neck_width'])} ÷ 2 = {t(neck_x)}",),
            {"neck point on the top line": (neck_x, 0.0)},
        ),
        Step(
            "girths",
            "both",
            "A quarter of each girth",
            f"On their lines mark a quarter of the bust, {t(bust0)}, of the waist, {t(waist0)}, and of the girth at the tailbone, {t(hip0)}.",
            (
                f"bust {t(m['bust_girth'])} ÷ 4 = {t(bust0)}",
                f"waist {t(m['waist_girth'])} ÷ 4 = {t(waist0)}",
                f"girth at the tailbone {t(m['hip_girth_at_tailbone'])} ÷ 4 = {t(hip0)}",
            ),
            {"bust": (bust0, -third), "waist": (waist0, -2 * third), "hem": (hip0, -length)},
        ),
        Step(
            "shoulder-mark",
            "both",
            "Shoulder mark",
            f"From the neck point mark the shoulder length, {t(m['shoulder_length'])}, on the top line.",
            (f"{t(neck_x)} + {t(m['shoulder_length'])} = {t(shoulder_x)} from the centre",),
            {"shoulder mark on the top line": (shoulder_x, 0.0)},
        ),
        Step(
            "neck-depth",
            FRONT,
            "Depth of the front neckline",
            f"Mark the front neckline {t(-f.centre_y)} below the top line on the centre line.",
            (),
            {"centre front neck": (0.0, f.centre_y)},
        ),
        Step(
            "balance",
            FRONT,
            "Balance: the shoulder line",
            f"Move the neck point up and the shoulder mark down by {t(BALANCE_MM)} and join them: the shoulder line.",
            (f"drawn shoulder {t(f.shoulder_length)}, measured {t(m['shoulder_length'])}",),
            {"neck point": f.neck, "shoulder point": f.shoulder},
            {"shoulder line": np.array([f.neck, f.shoulder])},
        ),
        Step(
            "ease",
            "both",
            "Ease",
            f"Move the points outward for ease: bust to {t(f.bust[0])}, waist to {t(f.waist[0])}, hem to {t(f.hip[0])}.",
            (
                f"bust {t(bust0)} + {t(style['bust_ease'] / 4)} = {t(f.bust[0])}",
                f"waist {t(waist0)} + {t(style['waist_ease'] / 4)} = {t(f.waist[0])}",
                f"hem {t(hip0)} + {t(style['hem_ease'] / 4)} = {t(f.hip[0])}",
            ),
            {"eased bust": f.bust, "eased waist": f.waist, "eased hem": f.hip},
        ),
    ]
    if _is_changed(style, fit, f, drawn[FRONT].quarter) or _is_changed(
        style, fit, b, drawn[BACK].quarter
    ):
        q = drawn[FRONT].quarter
        steps.append(
            Step(
                "changes",
                FRONT,
                "Her style and fit",
                "Move the points as the style and the fit notes ask, before the curves are drawn.",
                tuple(c.text + (f": {c.note}" if c.note else "") for c in fit),
                {
                    "neck point, moved": q.neck,
                    "shoulder point, moved": q.shoulder,
                    "bust, moved": q.bust,
                    "centre front neck, moved": (0.0, q.centre_y),
                },
            )
        )
    steps.append(
        Step(
            "neckline",
            FRONT,
            "Front neckline",
            "Draw the neckline from the neck point to the centre, square to the centre line"
            + (" but for the point of the V." if style["neckline"] == "v" else "."),
            (f"front neckline {t(chain_length(drawn[FRONT].edges['neckline']))}",),
            {},
            {},
            {"neckline": front["neckline"], "shoulder": front["shoulder"]},
        )
    )
    if "armhole" in front:
        steps.append(
            Step(
                "armhole",
                FRONT,
                "Armhole",
                "Draw the armhole from the shoulder point to the eased bust point: square to the shoulder line, and square to the side seam.",
                (f"front armhole {t(chain_length(drawn[FRONT].edges['armhole']))}",),
                {},
                {},
                {"armhole": front["armhole"]},
            )
        )
    else:
        steps.append(
            Step(
                "sleeve",
                FRONT,
                "Sleeve, grown on",
                "Run the shoulder line on over the arm, end it square, and round the underarm into the side seam.",
                (f"shoulder and sleeve {t(chain_length(drawn[FRONT].edges['shoulder']))}",),
                {},
                {},
                {"sleeve hem": front["sleeve hem"], "underarm": front["underarm"]},
            )
        )
    straight = len(drawn[FRONT].edges["side"]) == 1
    steps += [
        Step(
            "side",
            FRONT,
            "Side seam",
            "Join eased bust and eased hem with a straight line: it passes outside the eased waist."
            if straight
            else "Draw the side seam as one smooth curve through eased bust, eased waist and eased hem.",
            (f"side seam {t(drawn[FRONT].side_length)}",),
            {},
            {},
            {"side": front["side"]},
        ),
        Step(
            "hem",
            FRONT,
            "Hem",
            "Curve the hem up at the side so that it meets the side seam square"
            + (
                "; at the centre it lies square to the fold."
                if style["hem"] == "level"
                else ", as a shirt tail."
            ),
            (f"half front hem {t(drawn[FRONT].hem_length)}",),
            {},
            {},
            {"hem": front["hem"], "fold": front["fold"]},
        ),
        Step(
            "back",
            BACK,
            "The back",
            f"Draw the back on the same lines: its shoulder line {t(BACK_DROP_MM)} lower, its neckline {t(b.centre_y - f.centre_y)} higher; side seam and hem are the front's.",
            (
                f"back neckline {t(-drawn[BACK].quarter.centre_y)} below the top line",
                "shoulder seams and side seams of front and back are equal",
            ),
            {
                "back neck point": b.neck,
                "back shoulder point": b.shoulder,
                "centre back neck": (0.0, b.centre_y),
            },
            {},
            dict(back),
        ),
    ]
    return steps


def _is_changed(
    style: Mapping[str, Any], fit: Sequence[FitChange], before: Quarter, after: Quarter
) -> bool:
    del style
    return bool(fit) or before != after


# --- what may be chosen ------------------------------------------------------------------------

_SHAPES = {
    "round": "follows the base of the neck",
    "scoop": "deep and round",
    "v": "two nearly straight lines to a point",
    "square": "straight down, straight across",
    "boat": "wide and shallow, from shoulder to shoulder",
}
OPTIONS: tuple[Option, ...] = (
    Option(
        "length",
        "both",
        "How long, from the back neck point down; the names go by the wearer's own length.",
        "top",
        300.0,
        1300.0,
        {
            "crop": "ends above the waist",
            "waist": "ends just below the waist",
            "top": "ends at the tailbone",
            "tunic": "15 cm longer",
            "dress": "42 cm longer, to about the knee",
        },
    ),
    Option("bust_ease", "length", "Ease round the body at the bust.", BUST_EASE_MM, 0.0, 400.0),
    Option("waist_ease", "length", "Ease round the body at the waist.", WAIST_EASE_MM, 0.0, 400.0),
    Option("hem_ease", "length", "Ease round the body at the hem.", HEM_EASE_MM, 0.0, 400.0),
    Option("neckline", "choice", "Shape of the front neckline.", "round", choices=_SHAPES),
    Option("back_neckline", "choice", "Shape of the back neckline.", "round", choices=_SHAPES),
    Option(
        "front_neck_depth",
        "length",
        "Front neckline, below the top line at the centre; unset, it goes by its shape.",
        None,
        15.0,
        320.0,
    ),
    Option(
        "back_neck_depth",
        "length",
        "Back neckline, below the top line at the centre; unset, it goes by its shape.",
        None,
        10.0,
        320.0,
    ),
    Option(
        "neck_point_out",
        "length",
        "Neck point moved out along the shoulder line, on each side; unset, it goes by the shape.",
        None,
        0.0,
        90.0,
    ),
    Option(
        "shoulder_seam",
        "choice",
        "The sloping shoulder seam as drawn, or cut to the measured shoulder length.",
        "drawn",
        choices={"drawn": "to the shoulder mark", "measured": "as long as the shoulder"},
    ),
    Option(
        "shoulder_in",
        "length",
        "Shoulder narrower at its outer end, for a sleeveless top.",
        0.0,
        0.0,
        70.0,
    ),
    Option(
        "waist",
        "choice",
        "Side seam straight from bust to hem, or shaped in at the waist (4 cm at most).",
        "straight",
        choices={"straight": "an A-line", "shaped": "through the eased waist"},
    ),
    Option(
        "sleeve",
        "choice",
        "A sleeve grown on to the shoulder.",
        "none",
        choices={
            "none": "an armhole",
            "cap": "5 cm over the shoulder point",
            "short": "18 cm or a little more, with an underarm",
            "elbow": "30 cm, with an underarm",
        },
    ),
    Option(
        "sleeve_length",
        "length",
        "Grown-on sleeve from the shoulder point; up to 7.5 cm it is a cap.",
        None,
        20.0,
        380.0,
    ),
    Option(
        "sleeve_width",
        "length",
        "Grown-on sleeve round the arm at its hem; unset, the upper arm and 6 cm.",
        None,
        220.0,
        700.0,
    ),
    Option("flare", "length", "Added to the hem, round the body.", 0.0, 0.0, 900.0),
    Option(
        "hem",
        "choice",
        "Shape of the hem.",
        "level",
        choices={"level": "hangs level", "shirt-tail": "rises to the side seam"},
    ),
    Option("hem_rise", "length", "How far a shirt-tail hem rises at the side.", None, 20.0, 160.0),
    Option(
        "centre_back",
        "choice",
        "Back cut on the fold, or in two with a seam.",
        "fold",
        choices={"fold": "one piece", "seam": "two pieces"},
    ),
    Option(
        "opening",
        "choice",
        "A slit at the centre back so that the head passes.",
        "auto",
        choices={
            "auto": "only where the head needs it",
            "slit": "always",
            "none": "never (cloth that stretches)",
        },
    ),
    Option("opening_length", "length", "Length of the slit.", None, 30.0, 400.0),
    Option(
        "gathers",
        "choice",
        "Neckline with fullness to gather in, slashed and spread to the hem.",
        "none",
        choices={
            "none": "plain",
            "front": "at the front neckline",
            "back": "at the back neckline",
            "both": "all round",
        },
    ),
    Option(
        "gather_ratio",
        "number",
        "Length of the neckline before gathering, as a multiple of the finished one.",
        1.5,
        1.1,
        2.5,
    ),
    Option(
        "gather_spread",
        "choice",
        "Where the fullness goes.",
        "even",
        choices={"even": "down to the hem", "top": "only at the neckline, hinged at the hem"},
    ),
    Option(
        "neckline_finish",
        "choice",
        "How the neckline is finished; facings and bindings become pieces.",
        "none",
        choices={
            "none": "left to you",
            "facing": "a facing of its shape",
            "bias": "bound with a bias strip",
        },
    ),
    Option(
        "armhole_finish",
        "choice",
        "How the armholes are finished.",
        "none",
        choices={
            "none": "left to you",
            "facing": "a facing of its shape",
            "bias": "bound with a bias strip",
        },
    ),
    Option("facing_width", "length", "Width of facings.", 60.0, 25.0, 120.0),
    Option(
        "binding_width",
        "length",
        "Width of bias strips as cut: four times the finished width.",
        28.0,
        16.0,
        80.0,
    ),
    Option(
        "pocket",
        "choice",
        "Patch pocket, its place marked on the front.",
        "none",
        choices={"none": "none", "chest": "one on the chest", "hip": "two below the waist"},
    ),
    Option("pocket_width", "length", "Width of the finished pocket.", 125.0, 60.0, 220.0),
    Option("pocket_depth", "length", "Depth of the finished pocket.", 140.0, 60.0, 260.0),
)

BLOCK = Block(
    name="quick-top",
    title="The quick top",
    text="A loose top without darts, drafted on quarters: front and back in one drawing.",
    needs=(
        "bust_girth",
        "waist_girth",
        "hip_girth_at_tailbone",
        "neck_width",
        "shoulder_length",
        "back_neck_to_tailbone",
    ),
    helps=("head_girth", "upper_arm_girth", "upper_chest_girth"),
    options=OPTIONS,
    make=quick_top,
)
