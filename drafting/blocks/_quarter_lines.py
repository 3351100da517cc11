"""The lines of a quarter: neckline, armhole, sleeve, side seam, hem, drawn between its points.

Second stage of a block of quarters: its points (after the fit changes) come in, curves by edge
name go out, front and back of one side of the body drawn together so that they mate. Frame:
piece mm, x from the centre line, y up, y = 0 on the top line. Common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from configs.errors import DraftError
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
    unit,
    vec,
)
from drafting.fit import BACK, FRONT, XY, Quarter
from drafting.outline import nearest_distance
from drafting.sheet import Sheet
from drafting.sheet.necklines import SQUARE_RUN_MM, neckline_curves, square_down, tilt_of
from drafting.sheet.passing import FACING_PAST_SLIT_MM, GUESSED_ARM

MOST_WAIST_SHAPING_MM = 40.0  # a side seam of a dartless woven top takes in no more without drag


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
    i, t = _passing(curves, y)
    return float(curves[i].point(t)[0]), curves[i].tangent(min(max(t, 0.0), 1.0))


def _passing(curves: Sequence[Cubic], y: float) -> tuple[int, float]:
    """Which curve of such a chain passes a height, and its parameter there; the last one's beyond its end."""
    i = next((i for i, c in enumerate(curves) if y >= c.end[1]), len(curves) - 1)
    start, end = float(curves[i].start[1]), float(curves[i].end[1])
    return i, (y - start) / (end - start)


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
            what = "flares so much that it runs out level."
            raise DraftError.of("side seam", what, "Use less flare.")
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
        last, y = y, hem_y + x * math.tan(math.atan2(float(down[0]), -float(down[1])) / 2.0)
        if abs(y - last) < 1e-10:
            break
    i, t = _passing(curves, y)
    whole = chain_length(curves[:i])
    return Side(curves, whole + curves[i].length_between(0.0, min(max(t, 1e-6), 1.0)))


def _side_to(side: Side, length: float) -> list[Cubic]:
    """The side seam from the underarm, ``length`` mm long, run on straight where needed."""
    total = chain_length(side.curves)
    if length > total:
        end, down = side.curves[-1].end, side.curves[-1].tangent(1.0)
        return [*side.curves, line(end, end + down * (length - total))]
    return cut_chain(side.curves, length)[0]


def hem_lines(q: Quarter, end: Points, down: Points, shirt_tail: bool) -> list[Cubic]:
    """The hem from the centre to the side seam's end, square to both."""
    start, level = vec((0.0, q.hem_y)), vec((1.0, 0.0))
    square = left_of(down)
    width, rise = float(end[0]), float(end[1] - q.hem_y)
    if not shirt_tail or rise < 0.15 * width:  # a low rise has no room for a second bend
        return [sweep(start, level, end, square)]
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
class BustDart:
    """A dart in a side seam: its ends from the hem up, its point, the top of its roof and where it is sewn
    to, (2,) mm each; ``after``: how many of the side's curves lie below it."""

    first: Points
    second: Points
    tip: Points
    cap: Points
    sewn: Points
    after: int


@dataclass(frozen=True, eq=False)
class Drawn:
    """The curves of one quarter by edge name, in ring order, and what was measured on them; the side's
    have a gap where its ``dart`` is. ``free``: the side above a dart of this half or the other, mm."""

    quarter: Quarter
    edges: dict[str, list[Cubic]]
    waist_x: float
    hem_length: float
    side_length: float
    tilt: float
    dart: BustDart | None = None
    free: float = math.inf

    @cached_property
    def flat(self) -> dict[str, Points]:
        """Flattened edges of the quarter, x ≥ 0, in ring order."""
        if self.dart is None:
            return flattened(self.edges)
        side = self.edges["side"]
        low, high = (chain_points(c) for c in (side[: self.dart.after], side[self.dart.after :]))
        rest = flattened({n: c for n, c in self.edges.items() if n != "side"})
        with_roof = np.concatenate([low, self.dart.cap[None], high])
        return {n: with_roof if n == "side" else rest[n] for n in self.edges}


def draw_side(s: Sheet, front: Quarter, back: Quarter, notes: list[str]) -> dict[str, Drawn]:
    """Both quarters of one side of the body, mated: shoulders, side seams and underarms equal."""
    style = s.style
    front, back = (_in_numbers(q) for q in (front, back))
    mean = 0.5 * sum(q.shoulder_length - q.ease for q in (front, back))
    pair = {q.half: _shoulder_to(q, mean + q.ease) for q in (front, back)}
    shaped, flare = style["waist"] == "shaped", float(style["flare"])
    rise = float(style["hem_rise"] or 70.0) if style["hem"] == "shirt-tail" else 0.0
    sides, length = _sides(s, pair, shaped, flare, rise)
    shapes = {FRONT: style["neckline"], BACK: style["back_neckline"]}
    tilt = tilt_of(pair[FRONT], pair[BACK], shapes)
    sleeves = _sleeve(s, pair, sides, length, notes)
    out = {}
    for half, q in pair.items():
        kept = _side_to(sides[half], length)
        down = kept[-1].tangent(1.0)
        hem = hem_lines(q, kept[-1].end, down, rise > 0)
        upper = sleeves[half] if sleeves else None
        if upper is None:
            top_down = kept[0].tangent(0.0)
            leave = square_down(q)
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
            "neckline": neckline_curves(q, shapes[half], tilt if half == FRONT else -tilt),
        }
        waist_x = _at_level(sides[half].curves, min(q.waist[1], q.bust[1]))[0]
        out[half] = Drawn(q, edges, waist_x, chain_length(hem), chain_length(kept), tilt)
    return out


def _sides(
    s: Sheet, pair: Mapping[str, Quarter], shaped: bool, flare: float, rise: float
) -> tuple[dict[str, Side], float]:
    """Side seams of front and back, and their common length.

    Where the quarters differ, each hem end is moved along its seam to the mean length, and the
    seam is leaned until the hem is again as long as its girth.
    """
    more = dict.fromkeys(pair, 0.0)
    for _ in range(20):
        sides = {h: _side(q, shaped, flare, more[h]) for h, q in pair.items()}
        length = 0.5 * sum(sides[h].hem_at + q.longer for h, q in pair.items()) - rise
        if length < 40.0:
            raise DraftError.of(
                "side seam", f"is only {s.t(max(length, 0.0))} long.", "Make the top longer."
            )
        if rise > 0 or all(abs(x.hem_at - length) < 1e-6 for x in sides.values()):
            break
        off = dict.fromkeys(pair, 0.0)
        for h, q in pair.items():
            wanted = sides[h].hem_length
            if wanted is not None:
                kept = _side_to(sides[h], length)
                hem = hem_lines(q, kept[-1].end, kept[-1].tangent(1.0), False)
                off[h] = wanted - chain_length(hem)
                more[h] += off[h]
        if max(map(abs, off.values())) < 0.02:
            break
    return sides, length


def _in_numbers(q: Quarter) -> Quarter:
    """The quarter in plain numbers, which draw faster than amounts."""

    def plain(v: XY) -> XY:
        return float(v[0]), float(v[1])

    neck, shoulder, bust, waist, hip = map(plain, (q.neck, q.shoulder, q.bust, q.waist, q.hip))
    heights = float(q.hem_y), float(q.ease), float(q.longer)
    return Quarter(q.half, neck, shoulder, float(q.centre_y), bust, waist, hip, *heights)


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
_MOST_REACH_MM = 420.0
_UNDERARM_ROUND_MM = 90.0
_MOST_LOWERED_MM = 70.0
_LEAST_UNDERARM_MM = 55.0
_LEAST_SIDE_LEFT_MM = 60.0  # of side seam below the underarm of a grown-on sleeve


def _sleeve(
    s: Sheet, pair: Mapping[str, Quarter], sides: Mapping[str, Side], side_length: float, notes: list[str]
) -> dict[str, Upper] | None:  # fmt: skip
    """A sleeve grown on to the shoulder: the shoulder line runs on over the arm.

    A cap ends in a curve to the underarm; a longer one ends square and has an underarm, rounded
    into the side seam. Front and back meet at one point under the arm, so their seams mate.
    """
    style = s.style
    if style["sleeve"] == "none":
        return None
    reach = float(style["sleeve_length"] or _SLEEVE_MM[style["sleeve"]])
    out, shoulder, widest = _arm_of(pair)
    if reach <= _CAP_MOST_MM:
        room = (widest - _CAP_INSIDE_MM - float(shoulder[0])) / float(out[0])
        if reach > room:
            reach = max(room, 0.0)
            notes.append(f"The cap sleeve is {s.t(reach)} long: further it would stand out past the side.")  # fmt: skip
        return {half: _cap(q, sides[half], reach) for half, q in pair.items()}
    return _long_sleeve(s, pair, sides, side_length, notes, reach)


def _arm_of(pair: Mapping[str, Quarter]) -> tuple[Points, Points, float]:
    """Direction of the arm and the shoulder's end, (2,), the means of front and back; how wide the wider is."""
    out = vec(pair[FRONT].along) + vec(pair[BACK].along)
    shoulder = 0.5 * (vec(pair[FRONT].shoulder) + vec(pair[BACK].shoulder))
    return out / np.hypot(*out), shoulder, max(q.bust[0] for q in pair.values())


def _long_sleeve(
    s: Sheet, pair: Mapping[str, Quarter], sides: Mapping[str, Side], side_length: float, notes: list[str],
    reach: float,
) -> dict[str, Upper]:  # fmt: skip
    """A sleeve grown on that ends ``reach`` mm from the shoulder point or farther, with an underarm."""
    style, arm = s.style, s.m.get("upper_arm_girth")
    out, shoulder, widest = _arm_of(pair)
    down = -left_of(out)
    wanted = float(arm or GUESSED_ARM * s.m["bust_girth"]) + 60.0
    width = float(style["sleeve_width"] or wanted)
    inside = widest + _LEAST_UNDERARM_MM - float(shoulder[0]) - 0.5 * width * float(down[0])
    asked, reach = reach, max(reach, inside / float(out[0]))
    laid = None
    while laid is None and reach <= _MOST_REACH_MM:
        wrist = shoulder + out * reach + down * (0.5 * width)
        laid = _underarm_corners(wrist, pair, sides, side_length, widest)
        reach += 0.0 if laid else 10.0
    if laid is None:
        wide = style["sleeve_width"]
        narrower = f"Leave sleeve_width out ({s.t(wanted)} then), make" if wide else "Make"
        what = f"{s.t(width)} round, it has no underarm at any length."
        remedy = f"{narrower} the top longer, or choose 'sleeve: cap'."
        raise DraftError.of("style.sleeve", what, remedy)
    lowered, corners = laid
    if reach > asked:
        notes.append(f"The sleeve is {s.t(reach)} long, so that it has an underarm to sew.")
    if lowered > _MOST_LOWERED_MM:
        notes.append(
            f"The underarm lies {s.t(lowered)} below that of an armhole: so wide a sleeve, grown on, "
            "hangs so low. The arm lifts less far in it; a sleeve that is set in, or a cap, sits "
            "higher."
        )
    taken = min(
        _UNDERARM_ROUND_MM,
        0.35 * side_length,
        0.6 * (side_length - lowered),
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
        # square to the underarm and to the shoulder, so that it runs on over both seams
        hem = sweep(end, left_of(unit(end - corners[half])), tip, left_of(vec(q.along)))
        edges = {
            "underarm": underarm(half, end),
            "sleeve hem": [hem],
            "shoulder": [line(tip, q.neck)],
        }
        uppers[half] = Upper(edges, lowered + taken)
    return uppers


def _underarm_corners(
    wrist: Points, pair: Mapping[str, Quarter], sides: Mapping[str, Side], side_length: float, widest: float
) -> tuple[float, dict[str, Points]] | None:  # fmt: skip
    """How far down the side seam a grown-on sleeve's underarm lies, mm, and its corner (2,) by half.

    Lower than that of an armhole, so that it runs on gently into the sleeve; and as far down as it
    must, so that the seam to ``wrist`` falls no steeper than halfway. None: there is no such place.
    """
    across = float(wrist[0]) - widest
    under = 0.5 * (pair[FRONT].bust[1] + pair[BACK].bust[1]) - float(wrist[1])
    usual = min(max(under - 0.35 * across, 0.0), _MOST_LOWERED_MM, 0.3 * side_length)
    for lowered in np.arange(usual, max(side_length - _LEAST_SIDE_LEFT_MM, usual) + 1e-9, 5.0):
        corners = {h: cut_chain(x.curves, float(lowered))[1][0].start for h, x in sides.items()}
        gaps = [wrist - c for c in corners.values()]
        if all(g[0] > 15.0 and -g[1] <= max(float(g[0]), 60.0) for g in gaps):
            return float(lowered), corners
    return None


def _cap(q: Quarter, side: Side, reach: float) -> Upper:
    """A cap sleeve: the shoulder longer by ``reach``, the armhole drawn from its end."""
    tip = vec(q.shoulder) + vec(q.along) * reach
    armhole = _armhole(q, side.curves[0].tangent(0.0), tip, square_down(q))
    edges = {"armhole": [c.reversed() for c in armhole[::-1]], "shoulder": [line(tip, q.neck)]}
    return Upper(edges, 0.0)


# --- facings -----------------------------------------------------------------------------------


def neck_facing(s: Sheet, drawn: Drawn, slit: float) -> dict[str, list[Cubic]]:
    """A facing of the neckline: the neckline again, and once more the facing's width further out.

    ``slit``: length mm of the slit at the centre back, which it must finish too.
    """
    q = drawn.quarter
    c, sine = q.along
    width = min(float(s.style["facing_width"]), 0.8 * q.shoulder_length)
    shape = s.style["neckline" if q.half == FRONT else "back_neckline"]
    deeper = width
    if shape == "v":  # measured square to the V's line, not down the centre
        lean = math.atan2(q.neck[0], q.neck[1] - q.centre_y)
        deeper = min(width / math.sin(lean), 2.5 * width, q.centre_y - q.hem_y - 40.0)
    if slit > 0 and q.half == BACK:
        deeper = max(deeper, slit + FACING_PAST_SLIT_MM)
    neck = (q.neck[0] + c * width, q.neck[1] + sine * width)
    outer = replace(q, neck=neck, centre_y=q.centre_y - deeper)
    edge = neckline_curves(outer, shape, drawn.tilt if q.half == FRONT else -drawn.tilt)
    return {
        "fold": [line((0.0, q.centre_y), (0.0, outer.centre_y))],
        "outer": [x.reversed() for x in edge[::-1]],
        "shoulder": [line(outer.neck, q.neck)],
        "neckline": drawn.edges["neckline"],
    }


def armhole_facing(s: Sheet, drawn: Drawn, _: float = 0.0) -> dict[str, list[Cubic]]:
    """A facing of the armhole, of even width at the shoulder and at the side seam."""
    armhole, shoulder, side = (drawn.edges[n] for n in ("armhole", "shoulder", "side"))
    most = min(0.45 * chain_length(shoulder), 0.5 * chain_length(side), drawn.free - 5.0)
    width = min(float(s.style["facing_width"]), most)
    kept = cut_chain(side, chain_length(side) - width)[1]
    near, far = cut_chain(shoulder, width)
    leave, down = -armhole[-1].tangent(1.0), -kept[0].tangent(0.0)
    outer = sweep(far[0].start, leave, kept[0].start, left_of(down), (0.9, 0.9))
    return {"outer": [outer], "side": kept, "armhole": armhole, "shoulder": near}


def facing_in_one(
    s: Sheet, drawn: Drawn, slit: float, foot: float = math.inf
) -> dict[str, list[Cubic]]:
    """A facing of neckline and armhole in one: down to its width below both, from the centre to the side;
    at the centre down to the height ``foot`` or lower."""
    q, side = drawn.quarter, drawn.edges["side"]
    width = float(s.style["facing_width"])
    kept = cut_chain(side, chain_length(side) - min(width, 0.5 * chain_length(side), drawn.free - 5.0))[1]  # fmt: skip
    end, square = kept[0].start, left_of(-kept[0].tangent(0.0))
    inner = np.concatenate([drawn.flat[e] for e in ("armhole", "neckline")])
    high = min(q.centre_y - width, foot)
    if slit > 0 and q.half == BACK:
        high = min(high, q.centre_y - slit - FACING_PAST_SLIT_MM)
    # lower where it came too near the armhole
    for y in np.linspace(high, min(high, float(end[1])), 8):
        outer = sweep((0.0, float(y)), (1.0, 0.0), end, square)
        if float(nearest_distance(outer.flatten(), inner).min()) > 0.8 * min(width, drawn.free):
            break
    return {
        "fold": [line((0.0, q.centre_y), outer.start)],
        "outer": [outer],
        "side": kept,
        **{n: drawn.edges[n] for n in ("armhole", "shoulder", "neckline")},
    }


def flattened(edges: Mapping[str, list[Cubic]]) -> dict[str, Points]:
    return {name: chain_points(curves) for name, curves in edges.items()}
