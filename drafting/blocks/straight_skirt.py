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

import numpy as np

from configs.errors import DraftError
from drafting.blocks import _darted_halves as halves
from drafting.blocks._hip_lines import (
    BACK_WIDER,
    Panel,
    Sizes,
    dart_scale,
    panels,
    plan_darts,
    sizes,
)
from drafting.blocks._skirt import skirt
from drafting.curves import Points, chain_points
from drafting.fit import BACK, FRONT
from drafting.piece import Mark
from drafting.sheet import Amount, Sheet, found, number, waists
from drafting.sheet.darts import with_roofs
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import CENTRE
from drafting.sheet.record import CENTRE_LINE, spot_array

# Wearing ease of woven skirts: waist 1/2 to 3/4 in, hips 2 to 2 3/4 in (Central Washington
# University, costume text, chapter 16). The other limits: common practice, no source.
OPTIONS = (
    waists.length_option(),
    waists.WAIST_EASE,
    length("hip_ease", "Ease round the body at the hip.", 51.0, 0.0, 250.0),
    length("flare", "Added to the hem, round the body.", 0.0, 0.0, 600.0),
    length("taper", "Taken from the hem, round the body.", 0.0, 0.0, 120.0),
    choice("shaping", "How the waist is taken in.",
           {"auto": "darts, and gathers where darts refuse", "darts": "darts alone", "gathers": "gathered into the band"}),
    choice("centre_back", "Centre back: a seam that takes zip and slit, or on the fold; they then go into the left side.",
           {"seam": "back cut as a pair", "fold": "back cut in one"}),
    waists.ZIP_LENGTH,
    length("slit", "Vent at the hem to walk in, a plain slit in a side seam. Auto puts one where the hem is too narrow for a stride.", None, 60.0, 600.0,
           word="auto", choices={"auto": "only where the stride needs it", "none": "never"}),
    length("vent_width", "How far the two sides of a slit in the centre-back seam overlap, as a vent.", 40.0, 30.0, 60.0, {"centre_back": ("seam",)}),
    waists.POCKETS,
    *waists.finish_options("band", "facing", "none"),
)  # fmt: skip

VENT_SLOPE = 0.5  # the upper end of a vent falls towards its edge, so that it can be sewn flat
STRIDE_MM = 1150.0  # a hem at knee length that a common stride asks for
WALK_FROM_MM = 500.0  # a shorter skirt opens by itself
SLIT_BELOW_MM, LEAST_SLIT_MM = 450.0, 100.0  # a slit begins this far below the waist


def _openings(
    s: Sheet, front: Panel, back: Panel, z: Sizes, g: waists.Girths
) -> tuple[float, float]:
    """Length of the zip's opening and of the slit, mm; 0 where there is none."""
    style = s.style
    fold = style["centre_back"] == "fold"
    where = "left side seam" if fold else "centre back"
    sides = [chain_points(p.side)[::-1] for p in (front, back)]
    open_ = float(g.waist) if s.onto else math.inf
    zip_mm = waists.opening(s, lambda d: waists.ring_at(sides, d), g, open_)
    if fold:
        s.notes.append("The back is cut on the fold: zip and slit are marked on the side seams, and go into the left one only.")  # fmt: skip
    hem = 2.0 * (front.hem.length + back.hem.length)
    slit = 0.0
    if isinstance(style["slit"], Amount):
        slit = float(style["slit"])
    elif style["slit"] == "auto" and z.length > WALK_FROM_MM and hem < STRIDE_MM:
        step = 12.7 if s.unit == "in" else 10.0
        slit = step * math.ceil(max(LEAST_SLIT_MM, float(z.length) - SLIT_BELOW_MM) / step)
        made = f"slit of {s.t(slit)} is marked" if fold else f"vent of {s.t(slit)} is drawn"
        s.notes.append(f"The hem is {s.t(hem)} round: a {made} at the {where}, to walk in. Write 'style: {{slit: none}}' for a cloth that stretches.")  # fmt: skip
    if slit and fold:
        s.notes.append("The side slit is turned back, not overlapped: leave an allowance of 3 cm or more on the side seam, from its upper end to the hem.")  # fmt: skip
    met = bool(slit) and slit + zip_mm > z.length - 60.0
    s.refuse(met, "style.slit", f"meets the zip at the {where}.", "Make one of them shorter.")
    return zip_mm, slit


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
    vented = "vent" in points
    marks = [Mark("fold the vent here", np.array([points["fold"][1], panel.hem.start]))] * vented
    openings = {"zip": zip_mm} if vented else {"zip": zip_mm, "slit": slit_mm}
    x = 0.25 * panel.width
    grain = ((x, -float(z.length) + 60.0), (x, -float(z.depth) - 5.0))
    below = panel.side[1].length
    made = halves.piece_of(s, panel.half, points, panel.darts, below, openings, grain, *marks)
    everything = halves.everything(s, z)
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


def straight_skirt(s: Sheet) -> None:
    """Draft the straight skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    style = s.style
    g = waists.girths(s, style["hip_ease"], style["waist_ease"])
    z = sizes(s, g, (style["flare"] - style["taper"] + s.fitted("hem")) / 4)
    narrow = 0.5 * (z.hip - BACK_WIDER) - 0.5 * s.fitted("stomach") + z.flare < 100.0
    s.refuse(narrow, "style.taper", "leaves hardly any hem.", "Use less.")
    waists.tell_over(s, g)
    plan = None
    if style["shaping"] != "gathers":
        try:
            plan = plan_darts(float(z.hip - z.waist), dart_scale(float(z.depth)))
        except DraftError:
            if style["shaping"] == "darts" or style["waist_finish"] == "facing":
                raise
    front, back, taken, widths = panels(s, z, g, plan)
    halves.frame(s, z, widths, max(float(z.flare), 0.0) + 50.0)
    for panel in (front, back):
        _record(s, panel, z, taken)
    zip_mm, slit_mm = _openings(s, front, back, z, g)
    for panel in (front, back):
        _piece(s, panel, z, zip_mm, slit_mm)
    if "vent" in s.pieces[BACK].edges:
        _record_vent(s, slit_mm)
    waists.side_pockets(s, (FRONT, BACK), style["centre_back"] != "seam")
    gathers = " Darts cannot take in so much between hip and waist."
    halves.finish(
        s, z, g, {p.half: (p.waist, p.closed) for p in (front, back)},
        remedy="Choose 'waist_finish: band', or 'shaping: darts'.",
        why=gathers if style["shaping"] == "auto" else "",
    )  # fmt: skip
    s.figures["slit"] = slit_mm
    hem = "Turn up the skirt's hem." + (" Then fold and face the slit." if slit_mm else "")
    halves.make(s, bool(front.darts or back.darts), hem, slit=bool(slit_mm))
    halves.true(s, z, g, math.inf, g.drawn > g.hip + 0.1)


def _record(s: Sheet, panel: Panel, z: Sizes, taken: Amount) -> None:
    """The steps of one panel."""
    half, name = panel.half, panel.half.capitalize()
    side, foot = panel.side, panel.side[1].end
    seam = half == BACK and s.style["centre_back"] == "seam"
    many = "darts" if len(panel.darts) > 1 else "dart"
    with s.step(f"{half}-side", f"{name}: side seam and hem", half):
        halves.side_waist(s, panel, taken)
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


BLOCK = skirt(
    straight_skirt,
    "The straight skirt",
    "Darts at the waist, close over the hip, straight to the hem; band or facing.",
    OPTIONS,
    ("fold", "centre back", "vent top", "vent", "outer", "bag"),
    ("hem", "sway back", "stomach"),
    hem=40.0,
    centre_back=20.0,
)
