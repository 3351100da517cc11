"""The quick top's points: from measurements and style to a front and a back quarter.

First stage of the block, all of it arithmetic with a pencil. Frame: piece mm, x from the centre
line, y up, y = 0 on the top line through the back neck point. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from configs.errors import DraftError, Fault
from configs.units import format_length
from drafting.blocks.quarter_lines import (
    BACK_DEPTH_MM,
    DEPTH_MM,
    INCH,
    OUT_MM,
)
from drafting.fit import BACK, FRONT, Quarter
from drafting.measurements import Measurements

BALANCE_MM = 7 / 8 * INCH  # neck point up, shoulder mark down: the slope of the shoulder
BACK_DROP_MM = 3 / 8 * INCH  # the back shoulder line lies this much lower


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
    whole = hem_depth(style["length"], length)
    front_depth = style["front_neck_depth"] or DEPTH_MM[style["neckline"]]
    back_depth = style["back_neck_depth"] or BACK_DEPTH_MM[style["back_neckline"]]
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


def hem_depth(chosen: Any, length: float) -> float:
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


LEAST_BELOW_BUST_MM = 45.0


def styled(q: Quarter, style: Mapping[str, Any], m: Measurements) -> Quarter:
    """Points moved along the shoulder line as the style asks."""
    c, s = q.along
    length = q.shoulder_length
    end = m["shoulder_length"] if style["shoulder_seam"] == "measured" else length
    end -= style["shoulder_in"]
    out = style["neck_point_out"]
    start = OUT_MM[style["neckline"]] if out is None else out
    if end - start < 20.0:
        raise DraftError(
            Fault(
                "shoulder",
                f"only {format_length(max(end - start, 0.0), m.unit)} of it are left.",
                "Use less for neck_point_out or shoulder_in.",
            )
        )
    return replace(
        q,
        neck=(q.neck[0] + c * start, q.neck[1] + s * start),
        shoulder=(q.neck[0] + c * end, q.neck[1] + s * end),
    )


def check_quarter(q: Quarter, unit: str) -> None:
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
                f"reaches {format_length(q.bust[1] - q.centre_y, unit)} below the bust line.",
                "Make it shallower.",
            )
        )
    if q.shoulder[1] - q.bust[1] < 70.0:
        faults.append(
            Fault(
                f"{q.half} armhole",
                f"is only {format_length(q.shoulder[1] - q.bust[1], unit)} deep.",
                "The bust line lies at a third of back_neck_to_tailbone: is that length right?",
            )
        )
    if q.shoulder[0] > q.bust[0] + 25.0:
        faults.append(
            Fault(
                f"{q.half} armhole",
                f"the shoulder reaches {format_length(q.shoulder[0] - q.bust[0], unit)} past the eased bust point.",
                "Are neck_width, shoulder_length and bust_girth from the same body?",
            )
        )
    if q.hem_y > q.bust[1] - LEAST_BELOW_BUST_MM:
        faults.append(
            Fault(
                "length",
                f"ends less than {format_length(LEAST_BELOW_BUST_MM, unit)} below the bust line.",
                "Make the top longer.",
            )
        )
    if faults:
        raise DraftError(faults)
