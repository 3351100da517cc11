"""The flared skirt, or A-line: the darts of the straight skirt closed about their points, so that the
hem spreads; half of what it gains is added at the side.

The rule is common practice, no source: a dart of angle α closed about its point opens the hem,
which lies L below it, by 2·L·sin(α/2); half of the gain at the side seam holds the balance. Front
and back get the mean of their halves, so that they share one side seam.

Frame: piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from drafting.blocks import _darted_halves as halves
from drafting.blocks._hip_lines import (
    DartPlan,
    Panel,
    Sizes,
    dart_legs,
    dart_scale,
    panels,
    plan_darts,
    sizes,
)
from drafting.blocks._skirt import skirt
from drafting.curves import Cubic, chain_points, left_of, sweep, unit
from drafting.fit import BACK, FRONT
from drafting.sheet import Amount, Sheet, found, number, waists
from drafting.sheet.darts import OpenDart, Turn, roof, with_roofs
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import CENTRE
from drafting.sheet.record import spot_array

LEAST_SIDE_MM = 30.0  # at the hem of each panel, where there are no darts to close
# of a panel's darts; with more the side hangs on the bias, and what is left stays a dart
MOST_CLOSED = math.radians(18.0)
FRONT_SHARE = 0.43  # of one dart's width, shared so that front and back flare alike
LEAST_CLOSED_MM = 3.0
LEAST_LEFT_MM = 5.0  # a dart that would be narrower is closed too
# the flare of front and back goes by their darts: the side seam gives way first
LOOSE_SIDE_MM = 40.0
MOST_LEAN = math.radians(50.0)  # the side may lean out so far; more is a circle skirt
OPTIONS = (
    waists.length_option(),
    waists.WAIST_EASE,
    length("hip_ease", "Ease round the body at the hip; the closed darts add to it.", 20.0, 0.0, 250.0),
    length("flare", "Added to the hem round the body, at the side seams, beside what the darts give.", 0.0, 0.0, 600.0),
    choice("centre_back", "Centre back: a seam that takes the zip, or on the fold; the zip then goes into the left side.",
           {"seam": "back cut as a pair", "fold": "back cut in one"}),
    waists.ZIP_LENGTH,
    waists.POCKETS,
    *waists.finish_options("band", "facing", "none"),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Flared:
    """Half of the front or back, spread, mm: ``waist``, its parts from the centre to the side, between
    the ``darts`` that are left; ``closed``: the waist with these closed too; ``side`` from the
    waist down; ``hem`` from the centre to the side; ``gain``: by how much the darts let the hem
    out; ``lean``: how far the side leans out there, radians."""

    half: str
    waist: list[Cubic]
    darts: list[OpenDart]
    closed: Cubic
    side: list[Cubic]
    hem: Cubic
    gain: float
    lean: float


def _angle(d: OpenDart) -> float:
    return 2.0 * math.asin(0.5 * math.dist(d.inner, d.outer) / math.dist(d.inner, d.tip))


def share_closed(panel: Panel) -> float:
    """How much of its darts a panel can close before its side leans out too far, 0 to 1."""
    total = sum(_angle(d) for d in panel.darts)
    share = min(1.0, MOST_CLOSED / total) if total else 0.0
    left = max((math.dist(d.inner, d.outer) for d in panel.darts), default=0.0) * (1.0 - share)
    return share if left >= LEAST_LEFT_MM else 1.0


def gain_of(panel: Panel, length_: float) -> float:
    """How much a hem ``length_`` below the waist line gains by the darts that are closed, mm."""
    share = share_closed(panel)
    return sum(
        2.0 * (length_ + float(d.tip[1])) * math.sin(0.5 * share * _angle(d)) for d in panel.darts
    )


def usual_gains(plan: DartPlan, z: Sizes) -> list[float]:
    """What front and back gain with darts as long as planned, before the panels are drawn, mm."""
    out = []
    for half, widths in ((FRONT, plan.front), (BACK, plan.back)):
        legs = dart_legs(half, len(widths), float(z.depth))
        angles = [2.0 * math.asin(0.5 * w / leg) for w, leg in zip(widths, legs, strict=True)]
        share = min(1.0, MOST_CLOSED / sum(angles)) if angles else 0.0
        reach = [float(z.length) - leg for leg in legs]
        opened = zip(reach, angles, strict=True)
        out.append(sum(2.0 * r * math.sin(0.5 * share * a) for r, a in opened))
    return out


def close_darts(panel: Panel, length_: float) -> Flared:
    """The panel with its darts closed about their points, as far as may be: what lies outward of each
    is turned towards the centre."""
    share = share_closed(panel)
    turns = [Turn(np.eye(2), np.zeros(2))]
    for d in panel.darts:
        turns.append(turns[-1].after(Turn.about(d.tip, share * _angle(d))))
    side = [Cubic(turns[-1](c.control)) for c in panel.side]
    down = side[-1].tangent(1.0)
    hem = sweep((0.0, -length_), (1.0, 0.0), side[-1].end, left_of(down))
    waist, left = [panel.closed], []
    if panel.darts and share < 1.0:
        waist = [Cubic(t(c.control)) for t, c in zip(turns, panel.waist, strict=True)]
        for a, b, d, t in zip(waist[:-1], waist[1:], panel.darts, turns[:-1], strict=True):
            tip = t(d.tip)
            axis = unit(0.5 * (a.end + b.start) - tip)
            left.append(OpenDart(a.end, b.start, tip, roof(a, tip, axis)))
    lean = math.atan2(float(down[0]), -float(down[1]))
    return Flared(panel.half, waist, left, panel.closed, side, hem, gain_of(panel, length_), lean)


def flared_skirt(s: Sheet) -> None:
    """Draft the flared skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    style = s.style
    g = waists.girths(s, style["hip_ease"], style["waist_ease"])
    z = sizes(s, g, number(0.0))
    s.stop()
    waists.tell_over(s, g)
    plan = plan_darts(
        float(z.hip - z.waist), dart_scale(float(z.depth)), "Else take the gathered-skirt."
    )
    if plan.back and not plan.front:  # both halves must flare, or the side seam swings forward
        part = FRONT_SHARE * plan.back[0]
        plan = DartPlan((part,), (plan.back[0] - part,))
    gains = usual_gains(plan, z)
    what = "half of what front and back gain, on average"
    half_gain = found(sum(gains) / 4, what, z.hip, z.waist, z.length)
    at_side = half_gain if half_gain > LEAST_SIDE_MM else number(LEAST_SIDE_MM, "at least")
    z = replace(z, flare=at_side + (style["flare"] + s.fitted("hem")) / 4)
    front, back, taken, widths = panels(s, z, g, plan, LOOSE_SIDE_MM, LEAST_CLOSED_MM)
    flared = {p.half: close_darts(p, float(z.length)) for p in (front, back)}
    too_far = max(f.lean for f in flared.values()) > MOST_LEAN
    remedy = "Use less, or the circle-skirt."
    s.fault(too_far, "style.flare", "spreads the side seams too far.", remedy)
    s.fault(z.flare < 5.0, "fit", "'hem' takes the flare away.", "Use less, or the straight-skirt.")
    s.stop()
    halves.frame(s, z, widths, 150.0, ", as for a straight skirt")
    for panel in (front, back):
        _record(s, panel, flared[panel.half], z, taken)
    _pieces(s, flared, z, g)
    waists.side_pockets(s, (FRONT, BACK), style["centre_back"] != "seam")
    halves.finish(s, z, g, {h: (f.waist, f.closed) for h, f in flared.items()})
    halves.true(s, z, g, float(g.waist), True)
    hem = 2.0 * sum(s.pieces[h].edges["hem"].length_mm for h in (FRONT, BACK))
    s.figures |= {"hem": hem, **{f"{h} hem gain": f.gain for h, f in flared.items()}}
    hang = "Hang the skirt for a night, level the hem and turn it up: its edge is eased in."
    halves.make(s, any(f.darts for f in flared.values()), hang)


def _record(s: Sheet, panel: Panel, f: Flared, z: Sizes, taken: Amount) -> None:
    """The steps of one panel: the straight one with its darts, then spread."""
    half, name = panel.half, panel.half.capitalize()
    with s.step(f"{half}-side", f"{name}: side seam and darts of the straight skirt", half):
        wide = halves.side_waist(s, panel, taken)
        s.point(f"{half} hem, straight", on="hem line", out=wide + z.flare)
        for i, d in enumerate(panel.darts, 1):
            s.dart(f"dart {i}" if len(panel.darts) > 1 else "dart", d.inner, d.tip, d.outer)
        s.tell("added at the side of the hem", z.flare)
    part = " as far as the side allows; the rest stays a dart" if f.darts else ""
    many = "every dart" if len(panel.darts) > 1 else "the dart"
    title = f"{name}: {many} closed, the hem spread" if panel.darts else f"{name}: waist and hem"
    why = f"Cut from the hem up to the point of {many}, and close it{part}." if panel.darts else ""
    with s.step(f"{half}-spread", title, half, why):
        how = "as one smooth line, square to the centre and to the side"
        s.draw("waist", with_roofs(f.waist, f.darts)[::-1], how)
        s.draw("side", chain_points(f.side), "softly bowed to the hip, straight below")
        s.draw("hem", f.hem.flatten(), how)
        s.draw(CENTRE[False], spot_array([f.closed.start, f.hem.start]), "-")
        s.tell("the darts let the hem out by", f.gain)
        s.tell("side seam", sum(c.length for c in f.side))


def _pieces(s: Sheet, flared: dict[str, Flared], z: Sizes, g: waists.Girths) -> None:
    """Front and back; zip and its mark."""
    sides = [chain_points(f.side)[::-1] for f in flared.values()]
    zip_mm = waists.opening(s, lambda d: waists.ring_at(sides, d), g, g.waist)
    if s.style["centre_back"] == "fold":
        s.notes.append("The back is cut on the fold: the zip is marked on the side seams, and goes into the left one only.")  # fmt: skip
    for half, f in flared.items():
        points = {
            "fold": np.array([f.closed.start, f.hem.start]),
            "hem": f.hem.flatten(),
            "side": chain_points(f.side)[::-1],
            "waist": with_roofs(f.waist, f.darts),
        }
        x = 0.3 * float(f.closed.end[0])
        grain = ((x, 60.0 - float(z.length)), (x, -0.3 * float(z.length)))
        made = halves.piece_of(s, half, points, f.darts, f.side[-1].length, {"zip": zip_mm}, grain)
        centre = (z.length, z.drop)
        s.add(made, all=halves.everything(s, z), fold=(*centre, z.rise), centre_back=centre)


BLOCK = skirt(
    flared_skirt,
    "The flared skirt (A-line)",
    "The straight skirt's darts closed into the hem, so that it spreads; band or facing.",
    OPTIONS,
    ("fold", "centre back", "outer", "bag"),
    ("hem", "sway back", "stomach"),
    hem=25.0,
    centre_back=20.0,
    bag=10.0,
)
