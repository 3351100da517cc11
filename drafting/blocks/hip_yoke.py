"""The hip yoke: fitted from the waist down over the hip with its darts closed, for a skirt below it.

The upper part of the straight skirt (rules as there), its darts shut: a ring's part that is as long at
the waist and as wide at its lower edge as the skirt is there. From it hangs the skirt: gathered, pleated, in gores or a
circle ('garment: {block: hip-yoke, with: [{block: gathered-skirt}]}'). Handbooks' way, from memory; it
opens at the centre back. Frame: piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math

import numpy as np

from drafting.blocks import Block
from drafting.blocks._hip_lines import Panel, Sizes, dart_scale, panels, plan_darts
from drafting.curves import Points, arc, chain_points, cut_chain
from drafting.fit import BACK
from drafting.sheet import Amount, Sheet, found, number, sources_of, waists
from drafting.sheet.inside import interfaced
from drafting.sheet.joints import YOKE_SEAM
from drafting.sheet.options import length
from drafting.sheet.pieces import half_piece
from drafting.truing import Girth

MOST_OF_HIP = 0.75  # of the way to the hip: below it the skirt has no room to reach the hip
UPPER = "upper edge"
OPTIONS = (
    length("yoke_depth", "How deep the yoke is.", 100.0, 50.0, 170.0),
    waists.WAIST_EASE,
    length("hip_ease", "Ease round the body at the hip.", 51.0, 0.0, 250.0),
    *waists.finish_options("lined", "band", "none"),
)


def _width_at(panel: Panel, deep: float) -> float:
    """How wide half of front or back is ``deep`` mm below the waist along its side, without what its darts
    still take there."""
    side = cut_chain(panel.side, deep)[0][-1].end
    wide = float(side[0])
    for d in panel.darts:
        top, y = 0.5 * float(d.inner[1] + d.outer[1]), float(side[1])
        left = max(1.0 - (top - y) / (top - float(d.tip[1])), 0.0)
        wide -= left * float(np.hypot(*(d.outer - d.inner)))
    return wide


def _yoke(waist: float, low: float, deep: float) -> dict[str, Points]:
    """Half of front or back by edge: a ring's part whose edges are so long and ``deep`` mm apart all along."""
    angle = (low - waist) / deep
    if abs(angle) < 1e-6:
        ends = np.array([[0.0, 0.0], [waist, 0.0]])
        top, foot = ends, ends - np.array([0.0, deep])
    else:
        radius, start = waist / angle, -0.5 * math.pi
        top, foot = (chain_points(arc((0.0, radius), radius + x, start, start + angle)) for x in (0.0, deep))  # fmt: skip
    return {
        "fold": np.array([top[0], foot[0]]),
        YOKE_SEAM: foot,
        "side": np.array([foot[-1], top[-1]]),
        UPPER: top[::-1],
    }


def hip_yoke(s: Sheet) -> None:
    """Draft the yoke.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    style, depth = s.style, s.m["waist_to_hip"]
    deep = style["yoke_depth"]
    what = f"of {s.t(deep)} leaves too little to the hip, {s.t(depth)} down."
    s.fault(deep > MOST_OF_HIP * depth, "style.yoke_depth", what, f"{s.t(MOST_OF_HIP * depth)} at most.")  # fmt: skip
    waists.refuse_halves(s, ("waist", "hip"), "front and back of the yoke share one side seam")
    s.stop()
    g = waists.girths(s, style["hip_ease"], style["waist_ease"])
    waists.tell_over(s, g)
    none = number(0.0)
    z = Sizes((g.drawn / 2).named("half the hip"), (g.waist / 2).named("half the waist"), depth, depth * 2, none, none, none, g.ring)  # fmt: skip
    plan = plan_darts(float(z.hip - z.waist), dart_scale(float(depth)), "Less hip_ease.")
    front, back, taken, widths = panels(s, z, g, plan)
    of = sources_of(z.hip, z.waist, depth, deep)
    low = {p.half: _width_at(p, float(deep)) for p in (front, back)}
    made = {p.half: _yoke(p.closed.length, low[p.half], float(deep)) for p in (front, back)}
    with s.step("frame", "Centre line, waist line, yoke line and hip line"):
        s.frame(depth, float(widths[BACK]) + 30.0, waist_line=0.0, yoke_line=deep, hip_line=depth)
    for panel in (front, back):
        _record(s, panel, made[panel.half], deep, taken)
        _piece(s, panel.half, made[panel.half], of)
    s.sew("side", ("front yoke", "side"), ("back yoke", "side"))
    for name, centre in (("front yoke", "fold"), ("back yoke", "centre back")):
        s.square(name, [frozenset((c, e)) for c in (centre, "side") for e in (UPPER, YOKE_SEAM)])
    spots = _finish(s, of)
    waist = sum(s.pieces[p].edges[e].length_mm for p, e in spots)
    s.girths.append(Girth("waist girth", waist, float(s.m["waist_girth"]), float(g.waist - s.m["waist_girth"])))  # fmt: skip
    round_ = 2.0 * sum(low.values())
    s.figures |= {YOKE_SEAM: round_}
    s.notes.append(f"The yoke's lower edge is {s.t(round_)} round, {s.t(deep)} below the waist. Sew a skirt to it under 'with'; that counts its length from there.")  # fmt: skip
    s.makes(
        skirt="Sew the yoke's side seams.",
        finish=waists.FINISHING[style["waist_finish"]],
    )


def _record(s: Sheet, panel: Panel, lines: dict[str, Points], deep: Amount, taken: Amount) -> None:
    """The steps of one panel."""
    half = panel.half
    with s.step(f"{half}-panel", f"{half.capitalize()}: the straight skirt's waist and side", half):
        s.point(f"{half} hip", on="hip line", out=found(panel.width, f"{half} hip", taken))
        for i, d in enumerate(panel.darts, 1):
            s.dart(f"dart {i}", d.inner, d.tip, d.outer)
        s.draw("side", panel.side[0].flatten(), "softly bowed to the hip")
    why = "Measure the width on the yoke line, without what is left of the darts there; draw an arc for the waist and one for the seam, so long and so far apart."
    with s.step(f"{half}-yoke", f"{half.capitalize()} yoke: darts closed", half, why):
        s.tell("yoke deep, along centre and side", deep)
        s.draw("upper edge", lines[UPPER], "square to the centre and to the side")
        s.draw("yoke seam", lines[YOKE_SEAM], "square to the centre and to the side")
        s.draw("yoke's side", lines["side"], "-")


def _piece(s: Sheet, half: str, lines: dict[str, Points], of: frozenset[str]) -> None:
    """A half's yoke; cut twice where it is lined."""
    top, low = (float(lines["fold"][i, 1]) for i in (0, -1))
    x = 0.3 * float(lines[UPPER][0, 0])
    grain = ((x, low + 0.2 * (top - low)), (x, low + 0.8 * (top - low)))
    made = half_piece(f"{half} yoke", lines, s.measurements, half == BACK, grain=grain)
    if s.style["waist_finish"] == "lined":
        name, _, *who = made.label
        twice = "cut 4, in pairs" if made.pair else "cut 2 on the fold"
        made = made.with_(cut=2 * made.cut, label=(name, f"{twice}, one inside", *who))
    s.add(made, all=(of, s.options("waist_finish")))


def _finish(s: Sheet, of: frozenset[str]) -> tuple[tuple[str, str], ...]:
    """Band and interfacing of the waist; its edges, each as often as it is cut."""
    spots = tuple((n, UPPER) for n in ("front yoke", "back yoke") for _ in range(2))
    f, b = (2.0 * s.pieces[n].edges[UPPER].length_mm for n in ("front yoke", "back yoke"))
    if s.style["waist_finish"] == "band":
        at = {"side": (0.5 * b, 0.5 * b + f), "centre front": (0.5 * b + 0.5 * f,)}
        waists.add_band(s, f + b, at, spots, 0.0, of)
    elif s.style["waist_finish"] == "lined" and s.style["interfacing"] == "waist":
        for name in ("front yoke", "back yoke"):
            piece = s.pieces[name]
            interfaced(s, piece.with_(cut=piece.cut // 2), of)
    return spots


BLOCK = Block(
    name="hip-yoke",
    title="The hip yoke",
    text="Smooth from the waist over the upper hip, without darts; a skirt is sewn to its lower edge.",
    needs=("waist_girth", "hip_girth", "waist_to_hip"),
    options=OPTIONS,
    edges=("fold", "centre back", "side", UPPER, YOKE_SEAM, "waist", "inner", "left side", "right side"),
    draw=hip_yoke,
    changes=("waist", "hip"),
    allowances={"all": 15.0, UPPER: 10.0, YOKE_SEAM: 10.0, "centre back": 20.0},
)  # fmt: skip
