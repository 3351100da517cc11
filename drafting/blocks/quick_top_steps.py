"""The quick top's construction, recorded step by step with the numbers of one body.

For teaching and for drafting on paper: `drafting.steps` draws what is recorded here. Frame:
piece mm, x from the centre line, y up, y = 0 on the top line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from configs.units import format_length
from drafting.blocks import Step
from drafting.blocks.quarter_lines import (
    INCH,
    Drawn,
)
from drafting.blocks.quick_top_points import (
    BACK_DROP_MM,
    BALANCE_MM,
)
from drafting.blocks.shown import Shown
from drafting.curves import (
    Points,
    chain_length,
)
from drafting.fit import BACK, FRONT, FitChange, Quarter
from drafting.measurements import Measurements

PAPER_MARGIN_MM = 2 * INCH


# --- the steps, for teaching and for a pencil --------------------------------------------------


def construction(
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
    girths = {
        "bust": ("bust_girth", f.bust),
        "waist": ("waist_girth", f.waist),
        "hem": ("hip_girth_at_tailbone", f.hip),
    }
    whole = {n: Shown.of(m[key], u) for n, (key, _) in girths.items()}
    plain = {n: whole[n].divided(4, m[key] / 4.0) for n, (key, _) in girths.items()}
    eased = {n: Shown.of(point[0], u) for n, (_, point) in girths.items()}
    bust0, waist0 = m["bust_girth"] / 4.0, m["waist_girth"] / 4.0
    hip0 = m["hip_girth_at_tailbone"] / 4.0
    down = Shown.of(length, u)
    line_down = down.divided(3, third)
    half_neck = Shown.of(m["neck_width"], u).divided(2, neck_x)
    shoulder = Shown.of(m["shoulder_length"], u)

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
            f"Divide the length into three equal parts: the bust line lies {line_down.text} down, the waist line {t(2 * third)}.",
            (f"{down.text} ÷ 3 = {line_down.text}",),
            {"bust level": (0.0, -third), "waist level": (0.0, -2 * third)},
            {"bust line": across(-third), "waist line": across(-2 * third)},
        ),
        Step(
            "neck-point",
            "both",
            "Neck point",
            f"Mark half the neck width, {half_neck.text}, on the top line.",
            (f"{t(m['neck_width'])} ÷ 2 = {half_neck.text}",),
            {"neck point on the top line": (neck_x, 0.0)},
        ),
        Step(
            "girths",
            "both",
            "A quarter of each girth",
            f"On their lines mark a quarter of the bust, {plain['bust'].text}, of the waist, {plain['waist'].text}, and of the girth at the tailbone, {plain['hem'].text}.",
            (
                f"bust {whole['bust'].text} ÷ 4 = {plain['bust'].text}",
                f"waist {whole['waist'].text} ÷ 4 = {plain['waist'].text}",
                f"girth at the tailbone {whole['hem'].text} ÷ 4 = {plain['hem'].text}",
            ),
            {"bust": (bust0, -third), "waist": (waist0, -2 * third), "hem": (hip0, -length)},
        ),
        Step(
            "shoulder-mark",
            "both",
            "Shoulder mark",
            f"From the neck point mark the shoulder length, {t(m['shoulder_length'])}, on the top line.",
            (
                f"{half_neck.text} + {shoulder.text} = {(half_neck + shoulder).text} from the centre",
            ),
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
            tuple(
                f"{n} {plain[n].text} + {(eased[n] - plain[n]).text} = {eased[n].text}"
                for n in girths
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
