"""The straight skirt: darted at the waist, fitted to the hip, straight from there to the hem.

After the rules on which two handbooks agree: half the hip and a little ease, the back 1.5 cm
wider than the front, two darts in each half of the back and one in the front, the side raised at
the waist (W. Aldrich, *Metric Pattern Cutting for Women's Wear*, from memory; the skirt handout of
WikiEducator, published). Their darts are fixed; ours follow the body, so that the side seam keeps
a soft curve (common practice, no source). Two things are exact where a pencil is not: front and
back have the very same side seam, and the waist is drawn with the darts closed, as one smooth
line, and opened again, so that it runs on over every dart and is as long as it must be.

Frame: piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError, Fault
from drafting.blocks import Block
from drafting.curves import Cubic, Points, chain_points, left_of, line, sweep
from drafting.fit import BACK, FRONT
from drafting.outline import Edge
from drafting.piece import Dart, Mark, Notch
from drafting.sheet import Amount, Sheet, Sources, found, least, most, number, sources_of
from drafting.sheet.board import ring_pairs
from drafting.sheet.darts import OpenDart, through_darts, with_roofs
from drafting.sheet.finishing import band, bars, closed_facing, short_of
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import CENTRE, along, half_piece
from drafting.sheet.record import CENTRE_LINE, spot_array
from drafting.truing import GIRTH_MM, Check, Girth, Seam, check_dart_runs, sewn_length

LENGTHS_MM = {"short": 450.0, "knee": 600.0, "calf": 750.0}
_BAND, _FACED = {"waist_finish": ("band",)}, {"waist_finish": ("facing",)}
# Wearing ease of woven skirts: waist 1/2 to 3/4 in, hips 2 to 2 3/4 in (Central Washington
# University, costume text, chapter 16). The other limits: common practice, no source.
OPTIONS = (
    length("length", "How long, from the waist down at the centre, band not counted.", None, 250.0, 1150.0, word="knee",
           choices={"short": "45 cm, above the knee", "knee": "60 cm, about to the knee", "calf": "75 cm, to the calf"}),
    length("waist_ease", "Ease round the body at the waist.", 15.0, 0.0, 80.0),
    length("hip_ease", "Ease round the body at the hip.", 51.0, 0.0, 250.0),
    length("flare", "Added to the hem, round the body.", 0.0, 0.0, 600.0),
    length("taper", "Taken from the hem, round the body.", 0.0, 0.0, 120.0),
    choice("shaping", "How the waist is taken in.",
           {"auto": "darts, and gathers where darts refuse", "darts": "darts alone", "gathers": "gathered into the band"}),
    choice("centre_back", "Centre back: a seam that takes zip and slit, or on the fold; they then go into the left side.",
           {"seam": "back cut as a pair", "fold": "back cut in one"}),
    length("zip_length", "How far the opening for the zip reaches down; unset, 18 cm or 7 in.", None, 80.0, 300.0),
    length("slit", "Vent at the hem to walk in, a plain slit in a side seam. Auto puts one where the hem is too narrow for a stride.", None, 60.0, 600.0,
           word="auto", choices={"auto": "only where the stride needs it", "none": "never"}),
    length("vent_width", "How far the two sides of a slit in the centre-back seam overlap, as a vent.", 40.0, 30.0, 60.0, {"centre_back": ("seam",)}),
    choice("waist_finish", "What finishes the waist.",
           {"band": "a straight band, folded, with an overlap at the zip", "facing": "a shaped facing inside", "none": "nothing; you add it"}),
    length("band_width", "Finished width of the band.", 30.0, 15.0, 80.0, _BAND),
    length("band_overlap", "How far the band reaches past the opening.", 30.0, 0.0, 80.0, _BAND),
    length("facing_width", "Width of the facing.", 60.0, 30.0, 120.0, _FACED),
)  # fmt: skip

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
GATHERED_SIDE_MM = 30.0  # of shaping at the side of a skirt that is gathered into its band
MOST_RISE_MM = 20.0  # of the centre front over a full stomach
LEAST_BELOW_HIP_MM = 80.0
HIP_PASS_MM = 20.0  # a closed ring that passes the hip is this much larger, where its ease allows
# With less ease than that the skirt passes where it is nearly as wide as drafted.
BELOW_EASE_MM = 5.0
VENT_SLOPE = 0.5  # the upper end of a vent falls towards its edge, so that it can be sewn flat
SWAPPED_MM = 60.0  # of half a girth: more over the hip is seldom a body
STRIDE_MM = 1150.0  # a hem at knee length that a common stride asks for
WALK_FROM_MM = 500.0  # a shorter skirt opens by itself
SLIT_BELOW_MM, LEAST_SLIT_MM = 450.0, 100.0  # a slit begins this far below the waist


@dataclass(frozen=True)
class DartPlan:
    """How many darts of which width (at the waist, mm) a half of front and back get."""

    front: tuple[float, ...]
    back: tuple[float, ...]


def plan_darts(shaping_mm: float, scale: float = 1.0) -> DartPlan:
    """Darts for what one half of the skirt must lose from hip to waist: a third in front, two thirds
    behind, none wider than a quarter of its length.

    Three of 2 cm where that leaves the side seam 1 to 4 cm on each panel; else wider ones, a
    second in the front, or fewer, and none where there is nothing to take in. ``scale``: of the
    darts' lengths.

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
    widest = {
        key: scale * MOST_OF_LENGTH * min(leg for _, leg in darts) for key, darts in _DARTS.items()
    }
    back = min(
        third, widest[BACK, 2]
    )  # where the back's are as wide as may be the front takes more
    front = min(shaping_mm - 2 * usual - 2 * back, 2 * widest[FRONT, 2])
    if 0.5 * (shaping_mm - 2 * back - front) > LIMIT_SIDE_MM + 1e-9:
        what = "is too small for the hip: darts and side seams cannot take in so much."
        remedy = "Are waist_girth and hip_girth right? Else 'style: {shaping: gathers}'."
        raise DraftError(Fault("waist", what, remedy))
    fronts = (front,) if front <= widest[FRONT, 1] else (front / 2, front / 2)
    return DartPlan(fronts, (back, back))


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


def _dart_scale(depth: float) -> float:
    """How much longer than usual darts are, for a hip that lies ``depth`` below the waist."""
    return min(max(depth / USUAL_DEPTH_MM, 0.7), 1.1)


def draw_panel(half: str, width: float, taken: float, darts: Sequence[float], z: Sizes) -> Panel:
    """Half of the front or back whose side seam comes in by ``taken`` mm from hip to waist.

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
    scale = _dart_scale(depth)
    grid = np.linspace(0.0, 1.0, 65)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(rough.point(grid), axis=0).T))])
    places = []
    for (share, leg), wide in zip(_DARTS.get((half, len(darts)), ()), darts, strict=True):
        at = float(np.interp(share * run[-1], run, grid))
        places.append((rough.point(at), left_of(rough.tangent(at)), leg * scale, wide))
    lifts = [0.0] * len(places)
    for _ in range(3):  # the true waist lies a little off the rough one: the points follow it
        spots = [
            (p + axis * (lift - leg), axis, 2.0 * math.asin(0.5 * wide / leg))
            for (p, axis, leg, wide), lift in zip(places, lifts, strict=True)
        ]
        waist, opened, closed = through_darts(centre, end, up, spots)
        legs = [float(np.hypot(*(d.inner - d.tip))) for d in opened]
        lifts = [x + a - p[2] for x, a, p in zip(lifts, legs, places, strict=True)]
    hem = sweep((0.0, -long_), (1.0, 0.0), foot, left_of(down))
    side = (_hip_curve(end, -up, hip, down), line(hip, foot))
    return Panel(half, width, waist, opened, side, hem, closed)


def _hip_curve(start: Points, leave: Points, hip: Points, down: Points) -> Cubic:
    """The side from the waist to the hip, where it runs on into the straight side below.

    Both inner control points lie on that straight line, so the curve has no curvature left where
    it meets it, and no jump shows on the hip.
    """
    cross = float(leave[0] * down[1] - leave[1] * down[0])
    height = float(np.hypot(*(hip - start)))
    if abs(cross) > 1e-4:
        gap = hip - start
        reach = float(gap[0] * down[1] - gap[1] * down[0]) / cross
        if 0.2 * height < reach < 0.95 * height:
            corner = start + reach * leave
            return Cubic(np.stack([start, corner, hip + 0.6 * (corner - hip), hip]))
    return sweep(start, leave, hip, down)


def _solved(
    z: Sizes, plan: DartPlan | None, widths: dict[str, float]
) -> tuple[Panel, Panel, float]:
    """Front and back whose waists together are as long as half the waist, their sides alike, and
    by how much the side comes in; without a ``plan`` they are longer, to be gathered in."""
    darts = plan or DartPlan((), ())

    def drawn(taken: float) -> tuple[tuple[Panel, Panel], float]:
        pair = (
            draw_panel(FRONT, widths[FRONT], taken, darts.front, z),
            draw_panel(BACK, widths[BACK], taken, darts.back, z),
        )
        return pair, sum(p.closed.length for p in pair) - float(z.waist)

    taken = 0.5 * float(z.hip - z.waist - sum(darts.front) - sum(darts.back))
    if plan is None:
        taken = min(taken, GATHERED_SIDE_MM)
        return (*drawn(taken)[0], taken)
    before, off_before = taken - 1.0, drawn(taken - 1.0)[1]
    pair, off = drawn(taken)
    for _ in range(30):  # secants; the length grows by about 1 mm with each mm
        if abs(off) < 1e-6 or off == off_before:
            break
        step = off * (taken - before) / (off - off_before)
        before, off_before = taken, off
        taken -= step
        pair, off = drawn(taken)
    if abs(off) > 1e-4 or not -5.0 < taken < 2.0 * LIMIT_SIDE_MM:
        raise DraftError(
            Fault("waist", "cannot be drawn to its length.", "Are the measurements right?")
        )
    return (*pair, taken)


def _openings(s: Sheet, front: Panel, back: Panel, z: Sizes) -> tuple[float, float]:
    """Length of the zip's opening and of the slit, mm; 0 where there is none."""
    style, inches = s.style, s.unit == "in"
    fold = style["centre_back"] == "fold"
    where = "left side seam" if fold else "centre back"
    usual = max(7.0 * 25.4 if inches else 180.0, _zip_to_pass(front, back, z, inches))
    zip_mm = float(style["zip_length"] or usual)
    if fold:
        s.notes.append(
            "The back is cut on the fold: zip and slit are marked on the side seams, and go into the "
            "left one only."
        )
    hem = 2.0 * (front.hem.length + back.hem.length)
    slit = 0.0
    if isinstance(style["slit"], Amount):
        slit = float(style["slit"])
    elif style["slit"] == "auto" and z.length > WALK_FROM_MM and hem < STRIDE_MM:
        step = 12.7 if inches else 10.0
        slit = step * math.ceil(max(LEAST_SLIT_MM, float(z.length) - SLIT_BELOW_MM) / step)
        s.notes.append(
            f"The hem is {s.t(hem)} round: a {'slit' if fold else 'vent'} of {s.t(slit)} is "
            f"{'marked' if fold else 'drawn'} at the {where}, to walk in. Write 'style: {{slit: none}}' "
            "for a cloth that stretches."
        )
    if slit and fold:
        s.notes.append(
            "The side slit is turned back, not overlapped: leave an allowance of 3 cm or more on the "
            "side seam, from its upper end to the hem."
        )
    met = bool(slit) and slit + zip_mm > z.length - 60.0
    s.fault(met, "style.slit", f"meets the zip at the {where}.", "Make one of them shorter.")
    s.stop()
    return zip_mm, slit


def _ring_at(sides: Sequence[Points], depth: float) -> float:
    """Finished girth mm at ``depth`` below the upper end of the side seams (N, 2) of both halves,
    which run up."""
    return 2.0 * sum(float(np.interp(p[-1, 1] - depth, p[:, 1], p[:, 0])) for p in sides)


def _zip_to_pass(front: Panel, back: Panel, z: Sizes, inches: bool) -> float:
    """How far down the zip must reach so that the ring at its end passes the hip, mm."""
    sides = [chain_points(p.side)[::-1] for p in (front, back)]
    step, most_ = (12.7, 304.8) if inches else (10.0, 300.0)
    depths = np.arange(0.0, min(float(z.depth) + step, most_), step)
    small = [float(d) for d in depths if _ring_at(sides, float(d)) < z.ring - 0.1]
    return min(max(small) + step, most_) if small else 0.0


def _everything(s: Sheet, z: Sizes) -> Sources:
    """What side and waist hang on: the waist is drawn to its length on front and back at once."""
    return sources_of(
        z.hip, z.waist, z.depth, z.length, z.flare, z.drop, z.rise, s.style["shaping"]
    )


def _xy(p: Points) -> tuple[float, float]:
    return float(p[0]), float(p[1])


def _piece(s: Sheet, panel: Panel, z: Sizes, zip_mm: float, slit_mm: float) -> None:
    """Front or back: half on the fold, or one of a pair."""
    seam = panel.half == BACK and s.style["centre_back"] == "seam"
    points = {
        "fold": np.array([panel.waist[0].start, panel.hem.start]),
        **(_vent(s, z, slit_mm) if seam and slit_mm else {}),
        "hem": panel.hem.flatten(),
        "side": chain_points(panel.side)[::-1],
        "waist": with_roofs(panel.waist, panel.darts),
    }
    if "vent" in points:
        points["fold"] = np.array([points["fold"][0], points["vent top"][0]])
        points["hem"] = np.concatenate([points["vent"][-1:], points["hem"]])
    darts = tuple(Dart("waist", _xy(d.outer), _xy(d.inner), _xy(d.tip)) for d in panel.darts[::-1])
    waist = Edge("waist", points["waist"])
    notches = [Notch("side", panel.side[1].length, 1, "hip"), Notch("waist", 0.0, 1, "side")]
    for i, d in zip(range(len(darts), 0, -1), darts, strict=True):  # from the side to the centre
        notches += [
            Notch("waist", along(waist, end), 1, f"{panel.half} dart {i}")
            for end in (d.first, d.second)
        ]
    marks = [Mark("dart point", short_of(d)[None, :]) for d in panel.darts]
    if seam or s.style["centre_back"] == "fold":
        on = Edge(CENTRE[True], points["fold"]) if seam else Edge("side", points["side"])
        # the centre runs down, the side runs up
        sizes = {"zip": zip_mm} if "vent" in points else {"zip": zip_mm, "slit": slit_mm}
        more, cuts = bars(on, sizes, seam, "" if seam else "left side ", s.t)  # fmt: skip
        marks, notches = [*marks, *more], [*notches, *cuts]
    if "vent" in points:
        marks.append(Mark("fold the vent here", np.array([points["fold"][1], panel.hem.start])))
    x = 0.25 * panel.width
    grain = ((x, -float(z.length) + 60.0), (x, -float(z.depth) - 5.0))
    made = half_piece(
        panel.half, points, s.measurements, seam,
        grain=grain, notches=tuple(notches), darts=darts, marks=tuple(marks),
    )  # fmt: skip
    everything = _everything(s, z)
    vent = s.options("slit", "vent_width", "zip_length", "centre_back")
    centre = (z.length, z.drop if panel.half == BACK else z.rise)
    hem = (z.hip, z.depth, z.length, z.flare, z.rise)
    more_ = (hem, vent) if seam else ()
    s.add(
        made, all=everything, fold=centre, centre_back=(centre, more_), hem=(hem, more_),
        vent=(hem, vent), vent_top=(hem, vent),
    )  # fmt: skip


def _vent(s: Sheet, z: Sizes, slit_mm: float) -> dict[str, Points]:
    """An extension beyond the centre back whose two sides overlap, slanted at its upper end.

    Common practice, no source.
    """
    width, up = float(s.style["vent_width"]), slit_mm - float(z.length)
    corner = (-width, up - VENT_SLOPE * width)
    return {
        "vent top": np.array([(0.0, up), corner]),
        "vent": np.array([corner, (-width, -float(z.length))]),
    }


def _gather(s: Sheet, whole: dict[str, float], finished: dict[str, float]) -> None:
    """What is gathered into the band, on the pieces' labels and in a note."""
    wrong = s.style["waist_finish"] == "facing"
    what = "cannot hold a waist that is gathered."
    s.fault(wrong, "style.waist_finish", what, "Choose 'waist_finish: band', or 'shaping: darts'.")
    s.stop()
    told = []
    for half, long_ in whole.items():
        text = f"gather {s.t(long_)} into {s.t(finished[half])}"
        piece = s.pieces[half]
        s.pieces[half] = piece.with_(label=(*piece.label[:2], text, *piece.label[2:]))
        told.append(f"{half} {text}")
    why = ""
    if s.style["shaping"] == "auto":
        why = " Darts cannot take in so much between hip and waist."
    s.notes.append(f"The waist is gathered: {', '.join(told)}.{why}")


def _dart_places(panel: Panel) -> Points:
    """Where the darts stand on the closed waist, mm from the centre."""
    return np.cumsum([part.length for part in panel.waist])[:-1]


def _finish(s: Sheet, front: Panel, back: Panel, z: Sizes) -> None:
    """Band or facings, with the seams that join them to the skirt."""
    whole = {h: 2.0 * sewn_length(s.pieces[h], "waist") for h in (FRONT, BACK)}
    full = sum(whole.values()) - 2.0 * float(z.waist)
    full = full if full > 0.5 else 0.0
    f, b = (w * (1.0 - full / sum(whole.values())) for w in whole.values())
    if full:
        _gather(s, whole, {FRONT: f, BACK: b})
    if s.style["waist_finish"] == "band":
        over = s.style["band_overlap"]
        cuts = {p.half: _dart_places(p) for p in (front, back)}
        # It begins at the opening: at the centre back, or at the left side seam.
        at_back = s.style["centre_back"] == "seam"
        first = 0.5 * b if at_back else 0.0
        sides = (first, first + f) if at_back else (f,)
        middles = {FRONT: (first + 0.5 * f,), BACK: (0.0, f + b) if at_back else (f + 0.5 * b,)}
        at: dict[str, tuple[float, ...]] = {"side": sides, "overlap": (f + b,) if over > 0 else ()}
        for h, places in middles.items():
            at[f"centre {h}"] = tuple(x for x in places if 0.0 < x < f + b)
            for i, c in enumerate(cuts[h], 1):
                both = (x + sign * float(c) for x in places for sign in (-1.0, 1.0))
                at[f"{h} dart {i}"] = tuple(x for x in both if 0.0 < x < f + b)
        high = 2.0 * s.style["band_width"]
        made = band("waistband", "waist", f + b + float(over), float(high), at, s.measurements)
        s.add(made, all=(z.waist, over, high), waist=(z.waist, over))
        waist = ((FRONT, "waist"), (FRONT, "waist"), (BACK, "waist"), (BACK, "waist"))
        name = "waistband"
        on_band = ((name, "waist"),)
        if full:
            s.seams.append(Seam(name, waist, on_band, full - float(over)))
        else:
            s.seams.append(Seam(name, on_band, waist, float(over), "of overlap"))
    elif s.style["waist_finish"] == "facing":
        for panel in (front, back):
            seam = panel.half == BACK and s.style["centre_back"] == "seam"
            width, name = s.style["facing_width"], f"{panel.half} waist facing"
            made = closed_facing(
                name, panel.closed, float(width), _dart_places(panel), seam, s.measurements
            )
            s.add(made, all=(_everything(s, z), width))
            there = ((panel.half, "waist"),)
            s.seams.append(Seam(f"{panel.half} facing", ((name, "waist"),), there))


def straight_skirt(s: Sheet) -> None:
    """Draft the straight skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    m, style = s.m, s.style
    wanted = m["hip_girth"] + style["hip_ease"] + s.fitted("hip")
    waist = m["waist_girth"] + style["waist_ease"] + s.fitted("waist")
    z = Sizes(
        hip=(most(wanted, waist) / 2).named("half the hip"),
        waist=(waist / 2).named("half the waist"),
        depth=m["waist_to_hip"],
        length=s.chosen("length", LENGTHS_MM) + s.fitted("length below waist"),
        flare=(style["flare"] - style["taper"] + s.fitted("hem")) / 4,
        drop=s.fitted("sway back"),
        rise=least(s.fitted("stomach") / 2, MOST_RISE_MM),
        ring=m["hip_girth"]
        + least(HIP_PASS_MM, style["hip_ease"] + s.fitted("hip") - BELOW_EASE_MM),
    )
    _refuse(s, z)
    over = float(z.hip) - 0.5 * float(wanted)
    if over > 0.05:
        s.notes.append(
            "The waist is larger than the hip: the skirt is drawn straight from the waist, "
            f"{s.t(2 * over)} wider at the hip than asked for."
            + (" Are the two girths swapped?" if over > SWAPPED_MM else "")
        )
    plan = None
    if style["shaping"] != "gathers":
        try:
            plan = plan_darts(float(z.hip - z.waist), _dart_scale(float(z.depth)))
        except DraftError:
            if style["shaping"] == "darts" or style["waist_finish"] == "facing":
                raise
    shift = s.fitted("stomach") / 2
    widths = {FRONT: (z.hip - BACK_WIDER) / 2 + shift, BACK: (z.hip + BACK_WIDER) / 2 - shift}
    front, back, taken = _solved(z, plan, {h: float(w) for h, w in widths.items()})
    wide = float(widths[BACK]) + max(float(z.flare), 0.0) + 50.0
    with s.step("frame", "Centre line, waist line, hip line and hem line"):
        s.frame(z.length, wide, waist_line=0.0, hip_line=z.depth, hem_line=z.length)
    with s.step("hip", "Width at the hip"):
        for half, width in widths.items():
            s.point(f"{half} hip", on="hip line", out=width)
    for panel in (front, back):
        _record(s, panel, z, found(taken, "taken in at the side", z.hip, z.waist, z.depth))
    zip_mm, slit_mm = _openings(s, front, back, z)
    for panel in (front, back):
        _piece(s, panel, z, zip_mm, slit_mm)
    if "vent" in s.pieces[BACK].edges:
        _record_vent(s, slit_mm)
    _finish(s, front, back, z)
    s.figures |= {"zip": zip_mm, "slit": slit_mm}
    _true(s, z, wanted, waist, zip_mm)


def _refuse(s: Sheet, z: Sizes) -> None:
    for i, c in enumerate(s.fit, 1):
        wrong = c.change in ("waist", "hip", "hem") and c.where != "both"
        what = f"is '{c.where}': front and back of this skirt share one side seam."
        s.fault(wrong, f"fit[{i}] where", what, "Leave 'where' out.")
    what = (
        f"ends less than {s.t(LEAST_BELOW_HIP_MM)} below the hip line, "
        f"which lies {s.t(z.depth)} down."
    )
    s.fault(z.length < z.depth + LEAST_BELOW_HIP_MM, "style.length", what, "Make the skirt longer.")
    s.fault(z.drop > 0.2 * z.depth, "fit", "'sway back' takes too much from so short a hip.", "Use less.")  # fmt: skip
    narrow = 0.5 * (z.hip - BACK_WIDER) - 0.5 * s.fitted("stomach") + z.flare < 100.0
    s.fault(narrow, "style.taper", "leaves hardly any hem.", "Use less.")
    s.stop()


def _record(s: Sheet, panel: Panel, z: Sizes, taken: Amount) -> None:
    """The steps of one panel."""
    half, name = panel.half, panel.half.capitalize()
    side, end, foot = panel.side, panel.side[0].start, panel.side[1].end
    seam = half == BACK and s.style["centre_back"] == "seam"
    many = "darts" if len(panel.darts) > 1 else "dart"
    with s.step(f"{half}-side", f"{name}: side seam and hem", half):
        hip = s.spots[f"{half} hip"]
        up = found(end[1], "the side is raised by", taken)
        s.point(f"{half} side waist", on="waist line", out=hip.x - taken, up=up)
        off = -z.drop if half == BACK else z.rise
        if off:
            s.point(f"{half} centre", on=CENTRE_LINE, up=off)
        out, up = found(foot[0], "hem", z.flare), found(foot[1] + z.length, "raised", z.flare)
        s.point(f"{half} hem", on="hem line", out=out, up=up)
        s.draw("side to the hip", side[0].flatten(), "softly bowed")
        s.draw("side below the hip", side[1].flatten(), "straight")
        s.draw("hem", panel.hem.flatten(), "square to the centre and to the side")
        s.draw(CENTRE[seam], spot_array([panel.waist[0].start, panel.hem.start]), "-")
        s.tell("side seam", sum(c.length for c in side))
    with s.step(f"{half}-darts", f"{name}: {many}", half, "Both legs of a dart are equally long."):
        for i, d in enumerate(panel.darts, 1):
            dart = f"dart {i}" if len(panel.darts) > 1 else "dart"
            s.dart(dart, d.inner, d.tip, d.outer)
            s.tell(f"{dart}, wide", math.dist(d.inner, d.outer))
            s.tell(f"{dart}, legs", math.dist(d.inner, d.tip))
    folded = f" with the {many} folded closed towards the centre" if panel.darts else ""
    why = f"Cut, and open the {many}." if panel.darts else ""
    with s.step(f"{half}-waist", f"{name}: waist", half, why):
        line_ = with_roofs(panel.waist, panel.darts)[::-1]
        s.draw("waist", line_, f"as one smooth line{folded}, square to the centre and to the side")
        s.tell("waist with the darts closed", panel.closed.length)
        if half == BACK:
            s.tell("front and back together, finished", z.waist)


def _record_vent(s: Sheet, slit_mm: float) -> None:
    back, width = s.pieces[BACK], s.style["vent_width"]
    with s.step("back-vent", "Back: the vent", BACK, "Its upper end falls towards its edge."):
        s.point("vent, upper end", on="hem line", up=number(slit_mm))
        s.point("vent corner", from_="vent, upper end", out=-width, up=-(VENT_SLOPE * width))
        s.point("vent at the hem", on="hem line", out=-width)
        s.draw("vent top", back.edges["vent top"].points)
        s.draw("vent", back.edges["vent"].points, f"{s.t(slit_mm)} long and {s.t(width)} wide")


def _true(s: Sheet, z: Sizes, wanted: Amount, waist: Amount, zip_mm: float) -> None:
    """What must be equal and square, and the finished girths, measured on the pieces."""
    s.sew("side", (FRONT, "side"), (BACK, "side"))
    for half in (FRONT, BACK):
        pairs = [p for p in ring_pairs(s.pieces[half]) if "vent top" not in p]
        s.square(half, [frozenset(p) for p in pairs])
    s.checks += check_dart_runs(s.pieces)
    sides = [s.pieces[h].edges["side"].points for h in (FRONT, BACK)]
    end = _ring_at(sides, zip_mm)
    short = max(float(z.ring) - end, 0.0)
    text = f"{s.t(end)} round at the end of the zip, {s.t(zip_mm)} down; {s.t(z.ring)} needed"
    text += ": a longer zip_length, or none named" if short > GIRTH_MM else ""
    s.checks.append(Check("the hip passes", short, GIRTH_MM, short <= GIRTH_MM, text))
    hip = 2.0 * sum(float(np.interp(-float(z.depth), p[:, 1], p[:, 0])) for p in sides)
    round_ = 2.0 * sum(sewn_length(s.pieces[h], "waist") for h in (FRONT, BACK))
    if "waistband" in s.pieces:  # what is gathered in is measured on its band
        round_ = s.pieces["waistband"].edges["waist"].length_mm - float(s.style["band_overlap"])
    elif round_ > waist + 1.0:  # it is gathered, and on what is hers to add
        round_ = float(waist)
    for name, mm, body, asked, more in (
        ("waist girth", round_, s.m["waist_girth"], waist, False),
        ("hip girth", hip, s.m["hip_girth"], wanted, 2.0 * z.hip > wanted + 0.1),
    ):
        s.girths.append(Girth(name, mm, float(body), float(asked - body), more))


BLOCK = Block(
    name="straight-skirt",
    title="The straight skirt",
    text="Darts at the waist, close over the hip, straight to the hem; band or facing.",
    needs=("waist_girth", "hip_girth", "waist_to_hip"),
    helps=(),
    options=OPTIONS,
    edges=("fold", "centre back", "vent top", "vent", "hem", "side", "waist", "outer", "left side", "inner", "right side"),
    draw=straight_skirt,
    changes=("waist", "hip", "hem", "length below waist", "sway back", "stomach"),
    allowances={"all": 15.0, "hem": 40.0, "waist": 10.0, "centre back": 20.0},
)  # fmt: skip
