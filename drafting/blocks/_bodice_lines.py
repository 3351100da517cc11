"""The fitted bodice's numbers and lines, before they are pieces.

Measures → the method's numbers (`sizes_of`) → necklines, shoulders, armholes, sides and waists with
their darts. W. Aldrich's method, see `fitted_bodice`. Frame: piece mm, x from the centre, y up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from drafting.curves import (
    Cubic,
    Points,
    chain_length,
    cut_chain,
    left_of,
    line,
    through,
    turn,
    unit,
    vec,
)
from drafting.fit import BACK, FRONT, Quarter
from drafting.sheet import Sheet
from drafting.sheet.darts import OpenDart, Turn, through_darts
from drafting.sheet.necklines import DEPTHS, OUT_MM, neckline_curves, tilt_of

EASE_MM = {"close": (100.0, 50.0), "easy": (140.0, 110.0)}
LEAST_ROOM_MM = 40.0
# across the back, to move the arms forward (common practice, no source)
BACK_ROOM_MM = (10.0, 20.0)
LEAST_GAP_MM, LEAST_DART_MM, MOST_DART_MM = 60.0, 10.0, 60.0
DARTS_OF_TAKE = {FRONT: 0.36, BACK: 0.31}  # of half the waist's take-in; the side seam has the rest
USUAL_CUP_MM = 50.0
TOLD_MM = 3.0  # a measure that differs from the method's by more is told
BELOW_BUST_MM = 25.0  # waist dart below the bust point; the bust point below the bust line
SEWN_SHORT_MM = 20.0  # a bust dart is sewn to so far from the bust point
# At bust 88 and for each 4 cm of bust, mm: W. Aldrich's table for 80 to 104 (from memory).
TABLE = {"neck_base_girth": (370.0, 10.0), "scye_depth": (210.0, 5.0), "back_width": (344.0, 10.0)}
TABLE_END_MM = 1040.0
LEAST_SLOPE = math.radians(14.0)  # of a front shoulder: the method's gets flat with a large dart
CHEST, DART = (324.0, 12.0), (70.0, 6.0)
_WORDS = {"neck_base_girth": "neck base", "scye_depth": "scye depth", "back_width": "back width"}


def by_bust(row: tuple[float, float], bust: float, beyond: float = 0.5) -> float:
    """A value mm of the size table at a bust girth; past the table's end its steps are ``beyond`` as
    large: the bust grows more than the bones do (common practice, no source)."""
    steps = (min(bust, TABLE_END_MM) - 880.0 + beyond * max(bust - TABLE_END_MM, 0.0)) / 40.0
    return row[0] + row[1] * steps


def xy(p: Points) -> tuple[float, float]:
    """A point as a pair."""
    return float(p[0]), float(p[1])


@dataclass(frozen=True, eq=False)
class Half:
    """Front or back, half of it: lines in ring order from the waist at the side round to the neckline's
    centre, the waist, and the darts in both."""

    name: str
    lines: dict[str, list[Cubic]]
    waist: list[Cubic]
    darts: list[OpenDart]


@dataclass(frozen=True)
class Sizes:
    """The method's numbers, mm: half the width, levels (negative: below the side neck points),
    width lines from the centre, half the finished waist, the shoulder, the neck's base, the bust
    dart's width and its point (x, y). Of a full bust: by how much each half of the front is ``spread``
    and by ``drop`` longer at the centre, how its shoulder is ``carried``, and the numbers ``before``."""

    frame: float
    bust_y: float
    waist_y: float
    back_x: float
    front_x: float
    waist: float
    shoulder: float
    ease: float
    neck: float
    scye: float
    dart: float
    point: tuple[float, float]
    bust: float
    spread: float = 0.0
    drop: float = 0.0
    carried: Turn | None = None
    before: Sizes | None = None

    @property
    def neck_point(self) -> Points:
        """The front's side neck point (2,)."""
        return vec((self.neck / 5 - 7.0, 0.0))

    @property
    def control_y(self) -> float:
        """How high the front armhole's control point lies, before a spread."""
        return self.bust_y + (-self.bust_y - (self.neck / 5 - 2.0)) / 3

    @property
    def gap(self) -> float:
        """Between the two width lines: the arm."""
        return self.frame - self.back_x - self.front_x

    @property
    def angle(self) -> float:
        """Of the bust dart, radians."""
        leg = math.dist(self.point, self.neck_point)
        return 2.0 * math.asin(min(0.5 * self.dart / leg, 0.9))


def sizes_of(s: Sheet) -> Sizes:
    """Her numbers by the method; what was not measured is taken from the table and told."""
    m, style = s.m, s.style
    usual, usual_waist = EASE_MM[style["fit"]]
    bust = float(m["bust_girth"] + s.fitted("bust"))
    ease = float(s.given("bust_ease", usual, style["fit"]))
    more = (ease - EASE_MM["close"][0]) / 2
    taken = {k: m.get(k) for k in TABLE}
    z = {k: by_bust(TABLE[k], bust) if v is None else float(v) for k, v in taken.items()}
    guessed = [f"{_WORDS[k]} {s.t(z[k])}" for k, v in taken.items() if v is None]
    if guessed:
        s.notes.append(f"Not measured, and taken from a size table by the bust: {', '.join(guessed)}. Measure them: a fitted bodice needs them.")  # fmt: skip
    dart = min(max(by_bust(DART, bust, 1.0), 20.0), 150.0)
    bust_y = -(20.0 + z["scye_depth"] + more / 4)
    front_x = by_bust(CHEST, bust) / 2 + dart / 2 + more / 4
    wide = m.get("bust_point_width")
    x = front_x / 2 if wide is None else float(wide) / 2
    if wide is not None and abs(float(wide) - front_x) > 2 * TOLD_MM:
        s.notes.append(
            f"The bust points lie {s.t(wide)} apart as measured, by the method {s.t(front_x)}: the draft goes by the measure."
        )
    y, down = bust_y - BELOW_BUST_MM, m.get("side_neck_to_bust_point")
    if down is not None:
        book = math.hypot(x - z["neck_base_girth"] / 5 + 7.0, y)
        if abs(float(down) - book) > TOLD_MM:
            s.notes.append(
                f"The bust point lies {s.t(down)} below the side neck point as measured, by the method {s.t(book)}: the draft goes by the measure."
            )
        y = -math.sqrt(max(float(down) ** 2 - (x - z["neck_base_girth"] / 5 + 7.0) ** 2, 1.0))
    waist_y = -(15.0 + float(m["back_neck_to_waist"] + s.fitted("length above waist")))
    plain = Sizes(
        frame=(bust + ease) / 2,
        bust_y=bust_y,
        waist_y=waist_y,
        back_x=z["back_width"] / 2 + 5.0 + more / 4,
        front_x=front_x,
        waist=float(m["waist_girth"] + s.fitted("waist") + s.given("waist_ease", usual_waist, style["fit"])) / 2,
        shoulder=float(m["shoulder_length"]),
        ease=float(style["back_shoulder_ease"]),
        neck=z["neck_base_girth"],
        scye=z["scye_depth"],
        dart=dart,
        point=(x, y),
        bust=bust,
    )  # fmt: skip
    return spread_bust(plain, float(s.fitted("full bust")) / 2)


def spread_bust(z: Sizes, spread: float) -> Sizes:
    """The numbers for a full bust: each half of the front ``spread`` mm wider from the bust down.

    Slashed from the waist over the bust point to the armhole's control point, spread there with the
    armhole as hinge, and the dart that opens at the side laid to the bust dart: armhole, shoulder and
    side seam keep their lengths, the centre gets longer by what that dart takes (H. Armstrong,
    *Patternmaking for Fashion Design*, from memory). The side goes straight to its place, so that the
    hinge is as far from the new point before and after where it goes square to the middle of both.
    """
    if not spread:
        return z
    point, close = vec(z.point), Turn.about(vec(z.point), z.angle)
    hinge = vec((z.front_x, z.control_y)) - point
    shut = close(hinge + point) - point
    both = hinge + shut
    drop = spread * float(both[0] / both[1])
    step = vec((spread, -drop))
    new, a, b = point + 0.5 * step, hinge + 0.5 * step, shut - 0.5 * step
    angle = turn(a, b)
    carried = Turn.about(new, angle).back().after(close)
    dart = 2.0 * math.dist(new, z.neck_point) * math.sin(0.5 * angle)
    return replace(z, point=xy(new), dart=dart, spread=spread, drop=drop, carried=carried, before=z)


def refuse(s: Sheet, z: Sizes) -> None:
    """Refuse numbers from which no bodice can be drawn, with the reason."""
    for i, c in enumerate(s.fit, 1):
        what = f"is '{c.where}': this change goes round the whole bodice."
        half = c.where != "both" and c.change != "full bust"
        s.fault(half, f"fit[{i}] where", what, "Leave 'where' out.")
    s.fault(z.gap < LEAST_GAP_MM, "armhole", f"has only {s.t(max(z.gap, 0.0))} between front and back.",
            "Are back_width and bust_girth from the same body? More bust_ease gives room.")  # fmt: skip
    s.fault(z.bust_y - z.waist_y < 80.0, "waist", f"lies only {s.t(max(z.bust_y - z.waist_y, 0.0))} below the underarm.",
            "Are scye_depth and back_neck_to_waist right?")  # fmt: skip
    s.fault(not z.waist_y + 90.0 < z.point[1] < -120.0, "bust point", f"lies {s.t(-z.point[1])} below the side neck point, the waist {s.t(-z.waist_y)}.",
            "Are side_neck_to_bust_point and back_neck_to_waist right?")  # fmt: skip
    s.fault(not 0.3 * z.front_x < z.point[0] < 0.8 * z.front_x, "bust point", f"lies {s.t(z.point[0])} from the centre, the armhole {s.t(z.front_x)}.",
            "Is bust_point_width right?")  # fmt: skip
    take = (z.frame + z.spread - z.waist) / 2
    s.fault(take < -60.0, "waist", f"is {s.t(-4 * take)} wider than the bust.",
            "A fitted bodice ends at the waist: choose a quick top.")  # fmt: skip
    s.stop()


def _corner(z: Sizes, small: float) -> float:
    """How far out of its corner an armhole passes at 45°, mm, by size."""
    return float(np.interp(z.bust, (840.0, 880.0, 1040.0), (small - 2.5, small, small + 5.0)))


def _armhole(start: Points, up: Points, x: float, control: float, off: float, end: Points, slope: Points, bust_y: float) -> list[Cubic]:  # fmt: skip
    """From the underarm, square to the side, through its corner and control point, square to the shoulder."""
    corner = vec((x, bust_y)) + off * unit((1.0, 1.0))
    return through([start, corner, vec((x, control)), end], left_of(up), left_of(slope))


def _waist(z: Sizes, panel: float, take: float, dart: float, tip: Points) -> tuple[list[Cubic], list[OpenDart], float]:  # fmt: skip
    """The waist from the centre to the side, its dart, and its length closed."""
    start = vec((0.0, z.waist_y))
    end = vec((panel - take, z.waist_y))
    up = unit(vec((panel, z.bust_y)) - end)
    leg = float(tip[1] - z.waist_y)
    spots = [(tip, vec((0.0, -1.0)), -2.0 * math.asin(0.5 * dart / leg))] if dart else []
    parts, darts, closed = through_darts(start, end, up, spots)
    return parts, darts, closed.length


def halves_of(s: Sheet, z: Sizes) -> tuple[Half, Half]:
    """Front and back whose waists together are half the finished waist, their sides alike."""
    take = z.frame - z.waist
    darts = {h: min(max(share * take, 0.0), MOST_DART_MM) for h, share in DARTS_OF_TAKE.items()}
    darts[FRONT] += z.spread  # the waist keeps its girth
    darts = {h: 0.0 if d < LEAST_DART_MM else d for h, d in darts.items()}
    panels = {BACK: z.back_x + z.gap / 2, FRONT: z.front_x + z.gap / 2 + z.spread}
    levels = {BACK: z, FRONT: replace(z, bust_y=z.bust_y - z.drop, waist_y=z.waist_y - z.drop)}
    low = vec(z.point) - (0.0, BELOW_BUST_MM)
    tips = {FRONT: low, BACK: vec((0.52 * z.back_x, z.bust_y + 5.0))}

    def drawn(side: float) -> dict[str, tuple[list[Cubic], list[OpenDart], float]]:
        return {h: _waist(levels[h], panels[h], side, darts[h], tips[h]) for h in panels}

    take += z.spread
    side = 0.5 * (take - sum(darts.values()))
    for _ in range(12):  # the length shrinks by about 2 mm with each mm
        waists = drawn(side)
        off = sum(w[2] for w in waists.values()) - z.waist
        if abs(off) < 1e-6:
            break
        side += off / 2
    s.refuse(abs(off) > 1e-3 or side > 60.0, "waist", f"takes {s.t(2 * take)} in from the bust, more than darts and side seams can.",
            "Are bust_girth and waist_girth right? More waist_ease helps.")  # fmt: skip
    made = []
    for h in (FRONT, BACK):
        under, low = vec((panels[h], levels[h].bust_y)), vec((panels[h] - side, levels[h].waist_y))
        up = unit(under - low)
        neck, tip, level = _shoulder(s, z.before or z, h)
        if h == FRONT and z.carried:
            neck, tip = z.carried(neck), z.carried(tip)
        x = z.front_x + z.spread if h == FRONT else z.back_x
        control = z.control_y - z.drop if h == FRONT else (level + z.bust_y) / 2
        off = _corner(z, 20.0 if h == FRONT else 25.0)
        hole = _armhole(under, up, x, control, off, tip, unit(tip - neck), levels[h].bust_y)
        lines = {"side": [line(low, under)], "armhole": hole, "shoulder": [line(tip, neck)]}
        made.append(Half(h, lines, *waists[h][:2]))
    return made[0], made[1]


def _shoulder(s: Sheet, z: Sizes, h: str) -> tuple[Points, Points, float]:
    """A shoulder's ends (2,) at the neck and at the arm, the front's past its dart; the method's level."""
    level = -(15.0 + z.scye / 5 - 7.0)
    long_ = z.shoulder + (z.ease if h == BACK else 0.0)
    neck = vec((z.neck / 5 - 2.0, 0.0))
    if h == FRONT:
        neck, level = Turn.about(vec(z.point), -z.angle)(z.neck_point), level - 15.0
    drop = float(neck[1]) - level
    if h == FRONT and abs(drop) < long_:
        drop = long_ * math.sin(max(math.asin(drop / long_), LEAST_SLOPE + z.angle))
    s.refuse(not -0.3 * long_ < drop < 0.85 * long_, f"{h} shoulder", f"falls by {s.t(drop)} on {s.t(long_)}.",
            "Are scye_depth, bust_girth and shoulder_length right?")  # fmt: skip
    return neck, neck + vec((math.sqrt(long_**2 - drop**2), -drop)), level


def with_bust_dart(s: Sheet, z: Sizes, front: Half) -> tuple[dict[str, list[Cubic]], dict[str, tuple[list[Cubic], list[Cubic]]]]:  # fmt: skip
    """The front's lines, what lies past the dart turned about the bust point to close it at the neck;
    and the line that the dart opens, in its two parts."""
    place, close = s.style["bust_dart"], Turn.about(vec(z.point), z.angle)
    lines, turned, opened = {}, False, {}
    for name, curves in front.lines.items():
        if name == place:
            share = {"shoulder": 0.5, "armhole": 0.45, "side": 0.7}[name]
            a, b = cut_chain(curves, share * chain_length(curves))
            lines[name], turned = curves, True
            opened[name] = (a, [Cubic(close(c.control)) for c in b])
        else:
            lines[name] = [Cubic(close(c.control)) for c in curves] if turned else curves
    return lines, opened


def neckline_lines(s: Sheet, z: Sizes, front_shoulder: tuple[Points, Points], back: Half) -> dict[str, list[Cubic]]:  # fmt: skip
    """Front and back neckline, from the neck point to the centre."""
    shape = s.style["neckline"]
    out = float(s.given("neck_point_out", OUT_MM[shape], shape))
    base = z.neck / 5 - 2.0
    deep = float(s.given("front_neck_depth", base if shape == "round" else -DEPTHS[shape] * z.bust_y, shape))  # fmt: skip
    b = back.lines["shoulder"][0]
    quarters, nothing = {}, (0.0, 0.0)
    for h, (neck, tip), depth in ((FRONT, front_shoulder, deep), (BACK, (b.end, b.start), 15.0 + 0.6 * out)):  # fmt: skip
        at = xy(neck + out * unit(tip - neck))
        quarters[h] = Quarter(h, at, xy(tip), -depth, nothing, nothing, nothing, 0.0)
    s.fault(deep > -z.bust_y - 20.0, "style.front_neck_depth", "reaches the bust line.", "Make it shallower.")  # fmt: skip
    s.fault(quarters[FRONT].neck[1] + deep < 10.0, "style.front_neck_depth", "lies above the neck point.", "Make it deeper.")  # fmt: skip
    s.stop()
    tilt = tilt_of(quarters[FRONT], quarters[BACK], {FRONT: shape, BACK: "round"})
    return {
        FRONT: neckline_curves(quarters[FRONT], shape, tilt),
        BACK: neckline_curves(quarters[BACK], "round", -tilt),
    }
