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

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from configs.errors import DraftError, Fault
from configs.units import format_length
from drafting.blocks import Block, Draft
from drafting.blocks.straight_skirt_options import LENGTHS_MM, OPTIONS
from drafting.blocks.straight_skirt_panel import (
    LIMIT_SIDE_MM,
    DartPlan,
    Panel,
    Sizes,
    draw_panel,
    plan_darts,
)
from drafting.blocks.straight_skirt_pieces import hips_pass, skirt_pieces
from drafting.blocks.straight_skirt_steps import construction
from drafting.fit import BACK, FRONT, FitChange
from drafting.measurements import Measurements
from drafting.piece import Piece
from drafting.truing import Corner, Girth, Run, Seam, check_dart_runs, sewn_length

BACK_WIDER_MM = 15.0  # on each half, in both handbooks
LEAST_BELOW_HIP_MM = 80.0
HIP_PASS_MM = 20.0  # a closed ring that passes the hip is this much larger, where its ease allows
_BELOW_EASE_MM = (
    5.0  # with less ease than that the skirt passes where it is nearly as wide as drafted
)
SWAPPED_MM = 60.0  # of half a girth: more over the hip is seldom a body


def _sizes(m: Measurements, style: Mapping[str, Any], fit: Sequence[FitChange]) -> Sizes:
    def added(change: str) -> float:
        return sum(c.by_mm for c in fit if c.change == change)

    hip = m["hip_girth"] + style["hip_ease"] + added("hip")
    waist = m["waist_girth"] + style["waist_ease"] + added("waist")
    length = LENGTHS_MM.get(style["length"], style["length"])
    return Sizes(
        hip=0.5 * max(hip, waist),
        waist=0.5 * waist,
        depth=m["waist_to_hip"],
        length=float(length) + added("length below waist"),
        flare=0.25 * (style["flare"] - style["taper"] + added("hem")),
        back_drop=added("sway back"),
        ring=m["hip_girth"] + min(HIP_PASS_MM, style["hip_ease"] + added("hip") - _BELOW_EASE_MM),
    )


def _solved(sizes: Sizes, plan: DartPlan) -> tuple[Panel, Panel]:
    """Front and back whose waists together are as long as half the waist, their sides alike."""
    front_width = 0.5 * sizes.hip - 0.5 * BACK_WIDER_MM
    back_width = 0.5 * sizes.hip + 0.5 * BACK_WIDER_MM

    def drawn(taken: float) -> tuple[Panel, Panel]:
        return (
            draw_panel(FRONT, front_width, taken, plan.front, sizes),
            draw_panel(BACK, back_width, taken, plan.back, sizes),
        )

    def over(pair: tuple[Panel, Panel]) -> float:
        return sum(p.closed.length for p in pair) - sizes.waist

    taken = 0.5 * (sizes.hip - sizes.waist - sum(plan.front) - sum(plan.back))
    before, off_before = taken - 1.0, over(drawn(taken - 1.0))
    front, back = drawn(taken)
    off = over((front, back))
    for _ in range(30):  # secants; the length grows by about 1 mm with each mm
        if abs(off) < 1e-6 or off == off_before:
            break
        slope = (off - off_before) / (taken - before)
        before, off_before = taken, off
        taken -= off / slope
        front, back = drawn(taken)
        off = over((front, back))
    if abs(off) > 1e-4 or not -5.0 < taken < 2.0 * LIMIT_SIDE_MM:
        raise DraftError(
            Fault("waist", "cannot be drawn to its length.", "Are the measurements right?")
        )
    return front, back


def straight_skirt(m: Measurements, style: Mapping[str, Any], fit: tuple[FitChange, ...]) -> Draft:
    """Draft the straight skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    notes = list(m.warnings)
    sizes = _sizes(m, style, fit)
    _refuse(sizes, m, fit)
    body = 0.5 * (
        m["hip_girth"] + style["hip_ease"] + sum(c.by_mm for c in fit if c.change == "hip")
    )
    if sizes.hip > body + 0.05:
        notes.append(
            "The waist is larger than the hip: the skirt is drawn straight from the waist, "
            f"{format_length(2 * (sizes.hip - body), m.unit)} wider at the hip than asked for."
            + (" Are the two girths swapped?" if sizes.hip - body > SWAPPED_MM else "")
        )
    plan = plan_darts(sizes.hip - sizes.waist)
    front, back = _solved(sizes, plan)
    pieces, figures = skirt_pieces(front, back, sizes, style, m, notes)
    seams, corners, runs = _truing(pieces, style)
    return Draft(
        block="straight-skirt",
        measurements=m,
        style=style,
        fit=fit,
        pieces=MappingProxyType(pieces),
        seams=seams,
        corners=corners,
        runs=runs,
        girths=_girths(pieces, sizes, m, style, fit),
        extra_checks=(*check_dart_runs(pieces), hips_pass(pieces, figures["zip"], m, sizes)),
        steps=tuple(construction(m, style, sizes, plan, front, back, pieces[BACK])),
        notes=tuple(notes),
        figures=MappingProxyType(figures),
    )


def _refuse(sizes: Sizes, m: Measurements, fit: Sequence[FitChange]) -> None:
    faults = [
        Fault(
            f"fit[{i}] where",
            f"is '{c.where}': front and back of this skirt share one side seam.",
            "Leave 'where' out.",
        )
        for i, c in enumerate(fit, 1)
        if c.change in ("waist", "hip", "hem") and c.where != "both"
    ]
    if sizes.length < sizes.depth + LEAST_BELOW_HIP_MM:
        faults.append(
            Fault(
                "style.length",
                f"ends less than {format_length(LEAST_BELOW_HIP_MM, m.unit)} below the hip line, "
                f"which lies {format_length(sizes.depth, m.unit)} down.",
                "Make the skirt longer.",
            )
        )
    if sizes.back_drop > 0.2 * sizes.depth:
        faults.append(Fault("fit", "'sway back' takes too much from so short a hip.", "Use less."))
    if 0.5 * (sizes.hip - BACK_WIDER_MM) + sizes.flare < 100.0:
        faults.append(Fault("style.taper", "leaves hardly any hem.", "Use less."))
    if faults:
        raise DraftError(faults)


def _truing(
    pieces: Mapping[str, Piece], style: Mapping[str, Any]
) -> tuple[tuple[Seam, ...], tuple[Corner, ...], tuple[Run, ...]]:
    centre = {FRONT: "fold", BACK: "centre back" if style["centre_back"] == "seam" else "fold"}
    seams = [Seam("side", ((FRONT, "side"),), ((BACK, "side"),))]
    waist = ((FRONT, "waist"), (FRONT, "waist"), (BACK, "waist"), (BACK, "waist"))
    if "waistband" in pieces:
        seams.append(
            Seam("waistband", (("waistband", "waist"),), waist, style["band_overlap"], "of overlap")
        )
    for half in (FRONT, BACK):
        facing = f"{half} waist facing"
        if facing in pieces:
            seams.append(Seam(f"{half} facing", ((facing, "waist"),), ((half, "waist"),)))
    ends = {h: "vent" if "vent" in pieces[h].edges else centre[h] for h in (FRONT, BACK)}
    corners = [
        Corner(half, *pair)
        for half in (FRONT, BACK)
        for pair in (
            (ends[half], "hem"), ("hem", "side"), ("side", "waist"), ("waist", centre[half]),
        )
    ]  # fmt: skip
    runs = [
        Run("waist over the side", Corner(FRONT, "side", "waist"), Corner(BACK, "side", "waist")),
        Run("hem over the side", Corner(FRONT, "hem", "side"), Corner(BACK, "hem", "side")),
    ]
    return tuple(seams), tuple(corners), tuple(runs)


def _girths(
    pieces: Mapping[str, Piece],
    sizes: Sizes,
    m: Measurements,
    style: Mapping[str, Any],
    fit: Sequence[FitChange],
) -> tuple[Girth, ...]:
    """Finished girths, measured on the pieces."""

    def added(change: str) -> float:
        return sum(c.by_mm for c in fit if c.change == change)

    def at_hip(half: str) -> float:
        side = pieces[half].edges["side"].points
        order = np.argsort(side[:, 1])
        return float(np.interp(-sizes.depth, side[order, 1], side[order, 0]))

    hip = 2.0 * (at_hip(FRONT) + at_hip(BACK))
    waist = 2.0 * sum(sewn_length(pieces[h], "waist") for h in (FRONT, BACK))
    wider = 2.0 * sizes.hip > m["hip_girth"] + style["hip_ease"] + added("hip") + 0.1
    return (
        Girth("waist girth", waist, m["waist_girth"], style["waist_ease"] + added("waist")),
        Girth("hip girth", hip, m["hip_girth"], style["hip_ease"] + added("hip"), wider),
    )


BLOCK = Block(
    name="straight-skirt",
    title="The straight skirt",
    text="Darts at the waist, close over the hip, straight to the hem; band or facing.",
    needs=("waist_girth", "hip_girth", "waist_to_hip"),
    helps=(),
    options=OPTIONS,
    edges=(
        *("fold", "centre back", "vent top", "vent", "hem", "side", "waist", "outer"),
        *("left side", "inner", "right side"),
    ),
    make=straight_skirt,
    changes=("waist", "hip", "hem", "length below waist", "sway back"),
)
