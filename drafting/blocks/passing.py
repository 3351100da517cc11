"""Does the body pass through what is sewn shut, and the arm through its sleeve?

After the pieces of a block of quarters are drawn: a closed top in a cloth that does not stretch
goes over the head, so every girth of it passes the bust, and what hangs at or below the tailbone
passes the hip too. Where one is too small an opening in the left side seam is marked, or the
check fails. Frame: piece mm, x from the centre line, y up. Common practice, no source, unless a
line says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from configs.units import format_length
from drafting.blocks.quarter_lines import GUESSED_ARM, Drawn
from drafting.curves import left_of
from drafting.fit import BACK, FRONT, LEFT
from drafting.measurements import Measurements
from drafting.outline import Edge
from drafting.piece import Mark, Notch, Piece
from drafting.truing import Check

BODY_EASE_MM = 20.0  # a woven girth that passes a body is this much larger, or it sticks
ARM_EASE_MM = 40.0  # round the upper arm, of a sleeve that fits closely
BAR_MM = 15.0
_BEYOND_MM = 20.0  # an opening reaches this far past the place that is too small
_LEAST_OPENING_MM = 120.0
_USUAL_OPENING_MM = (30.0, 330.0)  # below the underarm, where she asks for one
_STEPS = 161


def pass_body(
    pieces: Mapping[str, Piece],
    sides: Sequence[Mapping[str, Drawn]],
    style: Mapping[str, Any],
    m: Measurements,
    notes: list[str],
) -> tuple[dict[str, Piece], float, list[Check]]:
    """(pieces with the side opening marked, its length in mm or 0, the check).

    ``sides``: the quarters of the wearer's left and right.
    """
    halves = [p for n, p in pieces.items() if n.split()[-1] in (FRONT, BACK)]
    edge = _left_side(halves[0])
    if edge is None:
        return dict(pieces), 0.0, []
    length = edge.length_mm
    down = np.linspace(0.0, length, _STEPS)
    girth, level = _girths_down(halves, down)
    hem_piece = 2.0 * sum(d[h].hem_length for d in sides for h in (FRONT, BACK)) / len(sides)
    hangs_level = style["hem"] == "level" and style["gathers"] == "none"
    if hangs_level:
        girth[-1] = hem_piece
    hip = sides[0][FRONT].quarter.hip[1]
    hip_level = level <= hip + 10.0
    if style["length"] == "top" and hangs_level:
        hip_level[-1] = True  # the hem curves up at the side, but hangs at the tailbone
    need = m["bust_girth"] + BODY_EASE_MM + np.zeros(_STEPS)
    need[hip_level] = np.maximum(need[hip_level], m["hip_girth_at_tailbone"] + BODY_EASE_MM)
    tight = np.flatnonzero(girth < need - 0.05)
    span = _span(style, down, tight, length, m.unit)
    out = dict(pieces)
    if span is not None:
        out = {n: _with_opening(p, span, length, m.unit) for n, p in out.items()}
    open_ = np.zeros(_STEPS, dtype=bool) if span is None else (down >= span[0]) & (down <= span[1])
    spare = np.where(open_, np.inf, girth - need)
    worst = int(np.argmin(spare if not open_.all() else girth - need))
    over = "hip" if need[worst] > m["bust_girth"] + BODY_EASE_MM + 1e-9 else "bust"
    body = need[worst] - BODY_EASE_MM
    text = (
        f"least {format_length(girth[worst], m.unit)}, {format_length(down[worst], m.unit)} below "
        f"the underarm; {over} {format_length(body, m.unit)} and "
        f"{format_length(BODY_EASE_MM, m.unit)} to pass"
    )
    if span is not None:
        text += f"; the left side opens for {format_length(span[1] - span[0], m.unit)}"
    short = 0.0 if open_.all() else float(max(need[worst] - girth[worst], 0.0))
    if short > 0.05:
        text += ": more ease there, or 'style: {side_opening: auto}' for a zip in the side seam"
    check = Check("the body passes", short, 0.05, short <= 0.05, text)
    if span is not None and style["side_opening"] == "auto":
        notes.append(_told(girth, need, tight, down, span, length, m))
    return out, 0.0 if span is None else span[1] - span[0], [check]


def _told(
    girth: Any,
    need: Any,
    tight: Any,
    down: Any,
    span: tuple[float, float],
    length: float,
    m: Measurements,
) -> str:
    i = tight[np.argmin((girth - need)[tight])]
    where = f"from {format_length(span[0], m.unit)} to {format_length(span[1], m.unit)} below the underarm"
    if span[1] >= length - 1e-6:
        where = f"from {format_length(span[0], m.unit)} below the underarm down to the hem"
    return (
        f"The finished girth is {format_length(girth[i], m.unit)} at "
        f"{format_length(down[i], m.unit)} below the underarm; the body needs "
        f"{format_length(need[i], m.unit)} there to pass. An opening for a zip is marked in the left "
        f"side seam, {where}. For none, add ease there, or write 'style: {{side_opening: none}}' for "
        "a cloth that stretches."
    )


def _left_side(piece: Piece) -> Edge | None:
    for name in (f"{LEFT} side", "side"):
        if name in piece.edges:
            return piece.edges[name]
    return None


def _girths_down(halves: Sequence[Piece], down: Any) -> tuple[Any, Any]:
    """Finished girth and mean height, mm, at distances ``down`` along the side from the underarm."""
    girth, level, count = np.zeros(len(down)), np.zeros(len(down)), 0
    for piece in halves:
        for name, edge in piece.edges.items():
            if name.split()[-1] != "side":
                continue
            falls = bool(edge.points[0, 1] > edge.points[-1, 1])
            along = down if falls else edge.length_mm - down
            run = np.r_[0.0, np.cumsum(np.hypot(*np.diff(edge.points, axis=0).T))]
            x, y = (np.interp(along, run, edge.points[:, k]) for k in (0, 1))
            doubled = 2.0 if piece.fold is not None or piece.pair else 1.0
            girth += doubled * np.abs(x)
            level += y
            count += 1
    return girth, level / count


def _span(
    style: Mapping[str, Any], down: Any, tight: Any, length: float, unit: str
) -> tuple[float, float] | None:
    """Where the side opening begins and ends below the underarm, mm; None for none."""
    chosen = style["side_opening"]
    if chosen == "none" or (chosen == "auto" and not len(tight)):
        return None
    first, last = _USUAL_OPENING_MM
    if len(tight):
        first, last = float(down[tight[0]]) - _BEYOND_MM, float(down[tight[-1]]) + _BEYOND_MM
    step = 12.7 if unit == "in" else 10.0
    size = step * math.ceil(max(last - first, _LEAST_OPENING_MM) / step)
    first = max(min(first, length - size), 0.0)
    last = min(first + size, length)
    # No stub of a closed seam at either end: there the opening runs out.
    return (0.0 if first < 25.0 else first, length if last > length - 25.0 else last)


def _with_opening(piece: Piece, span: tuple[float, float], length: float, unit: str) -> Piece:
    """Front or back with a notch and a bar at each end of the opening in its left side seam."""
    edge = _left_side(piece)
    if piece.name.split()[-1] not in (FRONT, BACK) or edge is None:
        return piece
    if piece.name.startswith("right "):
        return piece
    marks, notches = [], []
    falls = bool(edge.points[0, 1] > edge.points[-1, 1])
    for at in (s for s in span if 1.0 < s < length - 1.0):
        along = at if falls else edge.length_mm - at
        point, tangent = edge.at(along)
        bar = np.array([point, point + BAR_MM * left_of(tangent)])
        marks.append(Mark(f"left side opening {format_length(span[1] - span[0], unit)}", bar))
        notches.append(Notch(edge.name, along, 1, "opening"))
    return replace(piece, marks=(*piece.marks, *marks), notches=(*piece.notches, *notches))


def arm_check(drawn: Mapping[str, Drawn], m: Measurements, notes: list[str]) -> list[Check]:
    """The arm passes a grown-on sleeve: its hem against the upper arm and 4 cm."""
    if "sleeve hem" not in drawn[FRONT].edges:
        return []
    measured = m.get("upper_arm_girth")
    arm = GUESSED_ARM * m["bust_girth"] if measured is None else measured
    hem = sum(c.length for h in (FRONT, BACK) for c in drawn[h].edges["sleeve hem"])
    guess = "" if measured is not None else " (guessed from the bust)"
    if guess:
        notes.append(
            f"The upper arm was not measured: {format_length(arm, m.unit)} is guessed from the bust, "
            "and the sleeve is judged by it. Measure it: arms differ more than busts."
        )
    short = max(arm + ARM_EASE_MM - hem, 0.0)
    text = (
        f"sleeve {format_length(hem, m.unit)} round, upper arm {format_length(arm, m.unit)}{guess} "
        f"and {format_length(ARM_EASE_MM, m.unit)}"
    )
    if short > 0.5:
        text += f": a sleeve_width of {format_length(arm + ARM_EASE_MM, m.unit)} or more"
    return [Check("the arm passes", short, 0.5, short <= 0.5, text)]
