"""Does the body pass through what is sewn shut, the head through the neck, the arm through its sleeve?

After the pieces of an upper garment are drawn: a closed top in a cloth that does not stretch
goes over the head, so every girth of it passes the bust, and what hangs at or below the tailbone
passes the hip too. Where one is too small an opening in the left side seam is marked, or the
check fails. Frame: piece mm, x from the centre line, y up. Common practice, no source, unless a
line says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from drafting.curves import Points, left_of
from drafting.fit import BACK, FRONT, LEFT
from drafting.outline import Edge, points_along
from drafting.piece import Mark, Notch, Piece
from drafting.sheet.amount import Amount
from drafting.sheet.board import Sheet
from drafting.sheet.finishing import BAR_MM
from drafting.truing import (
    HEAD_EASE_MM,
    USUAL_HEAD_MM,
    Check,
    check_head,
    cut_place,
    dart_spans,
    sewn_length,
    sewn_place,
)

GUESSED_ARM = 0.325  # of the bust: 0.30 to 0.35 in W. Aldrich's tables (from memory)
BODY_EASE_MM = 20.0  # a woven girth that passes a body is this much larger, or it sticks
ARM_EASE_MM = 40.0  # round the upper arm, of a sleeve that fits closely
_BEYOND_MM = 20.0  # an opening reaches this far past the place that is too small
_LEAST_OPENING_MM = 120.0
_USUAL_OPENING_MM = (30.0, 330.0)  # below the underarm, where she asks for one
_STEPS = 161
_NO_HEAD = "a head, not measured here ('chalkbeam measure' takes it with --extra),"
FACING_PAST_SLIT_MM = 30.0  # a facing reaches this far below the end of the slit that it finishes


def pass_body(s: Sheet, hem: float | None, hip_y: float, hem_at_hip: bool) -> float:
    """Check that the body passes; mark a side opening where the style has one. Its length, mm.

    ``hem``: the finished hem of a top that hangs level, which curves up at its sides; ``hip_y``:
    the height of the hip; ``hem_at_hip``: the hem hangs there.
    """
    style, t = s.style, s.t
    halves = [p for n, p in s.pieces.items() if n.split()[-1] in (FRONT, BACK)]
    edge = _left_side(halves[0])
    if edge is None:
        return 0.0
    bust, length = float(s.m["bust_girth"]), sewn_length(halves[0], edge.name)
    down = np.linspace(0.0, length, _STEPS)
    girth, level = _girths_down(halves, down)
    if hem is not None:
        girth[-1] = hem
    hip_level = level <= hip_y + 10.0
    hip_level[-1] |= hem_at_hip  # the hem curves up at the side, but hangs at the tailbone
    need = bust + BODY_EASE_MM + np.zeros(_STEPS)
    hip = float(s.m["hip_girth_at_tailbone"])
    need[hip_level] = np.maximum(need[hip_level], hip + BODY_EASE_MM)
    tight = np.flatnonzero(girth < need - 0.05)
    span = _span(style["side_opening"], down, tight, length, s.unit)
    if span is not None:
        for name in list(s.pieces):
            s.pieces[name] = _with_opening(s.pieces[name], span, length, t(span[1] - span[0]))
    open_ = np.zeros(_STEPS, dtype=bool) if span is None else (down >= span[0]) & (down <= span[1])
    spare = np.where(open_, np.inf, girth - need)
    worst = int(np.argmin(spare if not open_.all() else girth - need))
    over = "hip" if need[worst] > bust + BODY_EASE_MM + 1e-9 else "bust"
    text = (
        f"least {t(girth[worst])}, {t(down[worst])} below the underarm; {over} "
        f"{t(need[worst] - BODY_EASE_MM)} and {t(BODY_EASE_MM)} to pass"
    )
    if span is not None:
        text += f"; the left side opens for {t(span[1] - span[0])}"
    short = 0.0 if open_.all() else float(max(need[worst] - girth[worst], 0.0))
    if short > 0.05:
        text += ": more ease there, or 'style: {side_opening: auto}' for a zip in the side seam"
    s.checks.append(Check("the body passes", short, 0.05, short <= 0.05, text))
    if span is None:
        return 0.0
    if style["side_opening"] == "auto":
        i = tight[np.argmin((girth - need)[tight])]
        where = f"from {t(span[0])} to {t(span[1])} below the underarm"
        if span[1] >= length - 1e-6:
            where = f"from {t(span[0])} below the underarm down to the hem"
        s.notes.append(
            f"The finished girth is {t(girth[i])} at {t(down[i])} below the underarm; the body "
            f"needs {t(need[i])} there to pass. An opening for a zip is marked in the left side "
            f"seam, {where}. For none, add ease there, or write 'style: {{side_opening: none}}' "
            "for a cloth that stretches."
        )
    return span[1] - span[0]


def _left_side(piece: Piece) -> Edge | None:
    return piece.edges.get(f"{LEFT} side", piece.edges.get("side"))


def _girths_down(halves: Sequence[Piece], down: Points) -> tuple[Points, Points]:
    """Finished girth and mean height, mm, at distances ``down`` along the side from the underarm."""
    girth, level, count = np.zeros(len(down)), np.zeros(len(down)), 0
    for piece in halves:
        for name, edge in piece.edges.items():
            if name.split()[-1] != "side":
                continue
            falls = bool(edge.points[0, 1] > edge.points[-1, 1])
            spans = dart_spans(piece, name)
            closed = down if falls else sewn_place(spans, edge.length_mm) - down
            along = [cut_place(spans, float(x)) for x in closed]
            x, y = points_along(edge.points, along).T
            doubled = 2.0 if piece.fold is not None or piece.pair else 1.0
            girth += doubled * np.abs(x)
            level += y
            count += 1
    return girth, level / count


def _span(
    chosen: str, down: Points, tight: np.ndarray, length: float, unit: str
) -> tuple[float, float] | None:
    """Where the side opening begins and ends below the underarm, mm; None for none."""
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


def _with_opening(piece: Piece, span: tuple[float, float], length: float, long_: str) -> Piece:
    """Front or back with a notch and a bar at each end of the opening in its left side seam."""
    edge = _left_side(piece)
    if piece.name.split()[-1] not in (FRONT, BACK) or edge is None:
        return piece
    if piece.name.startswith("right "):
        return piece
    marks, notches = [], []
    falls = bool(edge.points[0, 1] > edge.points[-1, 1])
    spans = dart_spans(piece, edge.name)
    for at in (s for s in span if 1.0 < s < length - 1.0):
        along = cut_place(spans, at if falls else sewn_place(spans, edge.length_mm) - at)
        point, tangent = edge.at(along)
        bar = np.array([point, point + BAR_MM * left_of(tangent)])
        marks.append(Mark(f"left side opening {long_}", bar))
        notches.append(Notch(edge.name, along, 1, "opening"))
    return piece.plus(marks=marks, notches=notches)


def pass_arm(s: Sheet, hem: float) -> None:
    """Check that the arm passes a sleeve whose hem is ``hem`` mm round: the upper arm and 4 cm."""
    measured = s.m.get("upper_arm_girth")
    arm = float(GUESSED_ARM * s.m["bust_girth"] if measured is None else measured)
    guess = "" if measured is not None else " (guessed from the bust)"
    if guess:
        s.notes.append(
            f"The upper arm was not measured: {s.t(arm)} is guessed from the bust, and the sleeve "
            "is judged by it. Measure it: arms differ more than busts."
        )
    short = max(arm + ARM_EASE_MM - hem, 0.0)
    text = f"sleeve {s.t(hem)} round, upper arm {s.t(arm)}{guess} and {s.t(ARM_EASE_MM)}"
    if short > 0.5:
        text += f": a sleeve_width of {s.t(arm + ARM_EASE_MM)} or more"
    s.checks.append(Check("the arm passes", short, 0.5, short <= 0.5, text))


def head_need(s: Sheet) -> tuple[float, Amount | None]:
    """What a neck opening must measure, mm, and the head's girth; None where that is a guess."""
    measured = s.m.get("head_girth")
    return (USUAL_HEAD_MM if measured is None else float(measured)) + HEAD_EASE_MM, measured


def pass_head(s: Sheet, opening: float) -> float:
    """Does the head pass? If not, a slit at the centre back is marked, or the check fails. Its length."""
    whole, measured = head_need(s)
    head = whole - HEAD_EASE_MM
    need = 0.5 * (whole - opening)
    slit, asked = 0.0, s.style["opening"]
    if asked == "slit":
        slit = float(s.style["opening_length"] or max(math.ceil(max(need, 0.0) / 5.0) * 5.0, 60.0))
    elif asked == "auto" and need > 0:
        slit = max(math.ceil(need / 5.0) * 5.0, 40.0)
    if slit > 0:
        backs = [p for n, p in s.pieces.items() if n.split()[-1] == BACK]
        top = _centre(backs[0], "neckline")
        past = top - slit < float(backs[0].sewing_line[:, 1].min()) + 60.0
        s.refuse(past, "style.opening_length", "is longer than the back.", "Make it shorter.")
        for piece in backs:
            s.pieces[piece.name] = _with_slit(piece, top, slit, s.t(slit))
        if asked == "auto":
            who = "the head" if measured is not None else _NO_HEAD
            s.notes.append(
                f"The neck opening is {s.t(opening)}; {who} needs {s.t(head + HEAD_EASE_MM)}. A slit "
                f"of {s.t(slit)} is marked at the centre back. For none, choose a wider or deeper "
                "neckline, or write 'style: {opening: none}' for a cloth that stretches."
            )
    elif need > 0 and measured is None:
        s.notes.append(
            f"The neck opening is {s.t(opening)}; heads measure {s.t(540.0)} to "
            f"{s.t(USUAL_HEAD_MM)} round. Measure the head, or choose an opening."
        )
        return slit
    s.checks.append(check_head(opening, slit, head, s.unit, measured is None))
    return slit


def slit_in_facings(s: Sheet, slit: float) -> None:
    """The slit marked on every back neck facing, and the checks that each reaches past its end."""
    for name, piece in s.pieces.items():
        if slit <= 0 or not name.endswith((f"{BACK} neck facing", f"{BACK} facing")):
            continue
        top, low = (_centre(piece, e) for e in ("neckline", "outer"))
        s.pieces[name] = _with_slit(piece, top, slit, s.t(slit))
        past = top - low - slit
        short = max(FACING_PAST_SLIT_MM - past, 0.0)
        text = f"{s.t(past)} below the end of the slit"
        s.checks.append(Check(f"{name} reaches past the slit", short, 0.1, short <= 0.1, text))


def _centre(piece: Piece, edge: str) -> float:
    """The height at which an edge meets the centre line."""
    points = piece.edges[edge].points
    return float(points[np.argmin(np.abs(points[:, 0])), 1])


def _with_slit(back: Piece, top: float, slit: float, long_: str) -> Piece:
    """The back with its slit: along the centre, and a bar across its end that the fold cannot hide."""
    xs = back.sewing_line[:, 0]
    left = -BAR_MM if xs.min() < -1.0 else 0.0
    right = BAR_MM if xs.max() > 1.0 else 0.0
    end = top - slit
    along = Mark("opening", np.array([[0.0, top], [0.0, end]]))
    across = Mark(f"slit {long_}", np.array([[left, end], [right, end]]))
    return back.plus(f"slit {long_}", marks=(along, across))
