"""The straight skirt's construction, recorded step by step with the numbers of one body.

For teaching and for drafting on paper: `drafting.steps` draws what is recorded here. Frame:
piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from configs.units import format_length
from drafting.blocks import Step
from drafting.blocks.shown import Shown
from drafting.blocks.straight_skirt_panel import DartPlan, Panel, Sizes
from drafting.curves import Points
from drafting.fit import BACK, FRONT
from drafting.measurements import Measurements
from drafting.piece import Piece

PAPER_MARGIN_MM = 50.0


def construction(
    m: Measurements,
    style: Mapping[str, Any],
    sizes: Sizes,
    plan: DartPlan,
    front: Panel,
    back: Panel,
    back_piece: Piece,
) -> list[Step]:
    """The construction with the numbers worked out for this body."""
    u = m.unit

    def t(mm: float) -> str:
        return format_length(mm, u)

    wide = max(back.width, front.width) + max(sizes.flare, 0.0) + PAPER_MARGIN_MM

    def across(y: float) -> Points:
        return np.array([[0.0, y], [wide, y]])

    whole = Shown.of(2.0 * sizes.hip, u)
    quarter = whole.divided(4, 0.5 * sizes.hip)
    narrow, broad = Shown.of(front.width, u), Shown.of(back.width, u)
    steps = [
        Step(
            "frame",
            "both",
            "Centre line, waist line, hip line and hem line",
            f"Draw the centre line along the paper's edge and, square to it, the waist line, the top "
            f"line of the tables; "
            f"{t(sizes.depth)} below it the hip line, {t(sizes.length)} below it the hem line.",
            (
                f"waist to hip = {t(sizes.depth)}",
                f"length = {t(sizes.length)}",
                f"paper, for each half: {t(sizes.length + PAPER_MARGIN_MM)} × {t(wide)}",
            ),
            {"waist": (0.0, 0.0), "hip": (0.0, -sizes.depth), "hem": (0.0, -sizes.length)},
            {
                "centre line": np.array([[0.0, 0.0], [0.0, -sizes.length]]),
                "waist line": across(0.0),
                "hip line": across(-sizes.depth),
                "hem line": across(-sizes.length),
            },
        ),
        Step(
            "hip",
            "both",
            "Width at the hip",
            f"On the hip line mark the front, {narrow.text}, and the back, {broad.text}: half "
            f"of half the hip with its ease, the back {(broad - narrow).text} wider.",
            (
                f"hip with ease {whole.text} ÷ 4 = {quarter.text}",
                f"{quarter.text} - {(quarter - narrow).text} = {narrow.text}",
                f"{quarter.text} + {(broad - quarter).text} = {broad.text}",
            ),
            {"front hip": (front.width, -sizes.depth), "back hip": (back.width, -sizes.depth)},
        ),
    ]
    for panel in (front, back):
        steps += _of_panel(panel, sizes, plan, style, t)
    if "vent" in back_piece.edges:
        steps.append(_vent_step(back_piece, t))
    return steps


def _vent_step(back: Piece, t: Callable[[float], str]) -> Step:
    upper, edge = back.edges["vent top"].points, back.edges["vent"].points
    width, high = float(-edge[0, 0]), float(upper[0, 1] - edge[-1, 1])
    return Step(
        "back-vent",
        BACK,
        "Back: the vent",
        f"Draw the vent {t(width)} beyond the centre back, from {t(high)} above the hem down; its "
        "upper end falls towards its edge.",
        (f"vent {t(high)} long, {t(width)} wide",),
        {
            "vent, upper end": (float(upper[0, 0]), float(upper[0, 1])),
            "vent corner": (float(edge[0, 0]), float(edge[0, 1])),
            "vent at the hem": (float(edge[-1, 0]), float(edge[-1, 1])),
        },
        {},
        {"vent top": upper, "vent": edge},
    )


def _of_panel(
    panel: Panel, sizes: Sizes, plan: DartPlan, style: Mapping[str, Any], t: Any
) -> list[Step]:
    half = panel.half
    widths = plan.front if half == FRONT else plan.back
    end, foot = panel.waist_point, panel.side[1].end
    taken = panel.width - float(end[0])
    upper, lower = (part.flatten() for part in panel.side)
    hem = panel.hem.flatten()
    centre = "centre back" if half == BACK and style["centre_back"] == "seam" else "fold"
    run = np.array([[0.0, panel.centre_y], [0.0, -sizes.length]])
    waist_points = {f"{half} side waist": (float(end[0]), float(end[1]))}
    if half == BACK and sizes.back_drop:
        waist_points[f"{half} centre"] = (0.0, panel.centre_y)
    steps = [
        Step(
            f"{half}-side",
            half,
            f"{half.capitalize()}: side seam and hem",
            f"Mark the side waist {t(taken)} inside the hip point and {t(float(end[1]))} above the "
            "waist line. Draw the side seam from there, softly bowed to the hip, then straight to "
            "the hem.",
            (f"side seam {t(sum(c.length for c in panel.side))}",),
            {**waist_points, f"{half} hem": (float(foot[0]), float(foot[1]))},
            {},
            {"side to the hip": upper, "side below the hip": lower, "hem": hem, centre: run},
        )
    ]
    if widths:
        points: dict[str, tuple[float, float]] = {}
        lines: dict[str, Points] = {}
        sums = []
        for i, (dart, width) in enumerate(zip(panel.darts, widths, strict=True), 1):
            name = f"dart {i}" if len(widths) > 1 else "dart"
            for word, p in (("inner", dart.inner), ("outer", dart.outer), ("point", dart.tip)):
                points[f"{name} {word}"] = (float(p[0]), float(p[1]))
            lines[f"{half} {name}"] = np.array([dart.inner, dart.tip, dart.outer])
            leg = float(np.hypot(*(dart.inner - dart.tip)))
            sums.append(f"{name}: {t(width)} wide, legs {t(leg)}")
        steps.append(
            Step(
                f"{half}-darts",
                half,
                f"{half.capitalize()}: {'darts' if len(widths) > 1 else 'dart'}",
                f"Draw the {'darts' if len(widths) > 1 else 'dart'} from the places in the table. Both "
                "legs of a dart are equally long.",
                tuple(sums),
                points,
                lines,
            )
        )
    drawn = _waist(panel)
    steps.append(
        Step(
            f"{half}-waist",
            half,
            f"{half.capitalize()}: waist",
            "Fold the darts closed, towards the centre, and draw the waist as one smooth line: square "
            "to the centre line and square to the side seam. Cut, and open the darts."
            if widths
            else "Draw the waist as one smooth line, square to the centre line and to the side seam.",
            (f"waist with the darts closed {t(panel.closed.length)}",),
            {},
            {},
            {"waist": drawn},
        )
    )
    return steps


def _waist(panel: Panel) -> Points:
    """The waist from the centre to the side with the roofs of its darts (N, 2) mm."""
    parts = [panel.waist[0].flatten()]
    for dart, part in zip(panel.darts, panel.waist[1:], strict=True):
        parts += [dart.cap[None, :], part.flatten()]
    return np.concatenate(parts)
