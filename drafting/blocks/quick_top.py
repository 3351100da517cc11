"""The quick top: a loose dartless top drafted on quarters, front and back in one drawing.

Rules as common practice gives them for a first garment (no source): the length in thirds, a
quarter of each girth with an inch of ease, a shoulder line balanced seven eighths up and down,
an armhole and hem drawn square. Measurements → points of four quarters → fit changes → curves →
pieces (see the modules beside this one). Frame: piece mm, x from the centre line, y up, y = 0 on the top line through the back
neck point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from configs.errors import DraftError, Fault
from configs.units import format_length
from drafting.blocks import Block, Draft
from drafting.blocks.garment_pieces import (
    FACING_PAST_SLIT_MM,
    finish,
    garment_pieces,
    gather_marks,
    gathered,
    grain_of,
    pocket,
    spot,
)
from drafting.blocks.passing import arm_check, pass_body
from drafting.blocks.quarter_lines import (
    Drawn,
    draw_side,
)
from drafting.blocks.quick_top_options import OPTIONS
from drafting.blocks.quick_top_points import (
    base_quarters,
    check_quarter,
    hem_depth,
    styled,
)
from drafting.blocks.quick_top_steps import construction
from drafting.curves import (
    chain_length,
)
from drafting.fit import BACK, FRONT, KINDS, LEFT, RIGHT, FitChange, Quarter, apply, one_sided
from drafting.measurements import Measurements
from drafting.piece import Mark, Piece
from drafting.truing import (
    HEAD_EASE_MM,
    USUAL_HEAD_MM,
    Check,
    Corner,
    Girth,
    Run,
    Seam,
    check_head,
)

FULL_BUST_MM = 60.0
EASE_TO_PULL_ON_MM = 100.0
ARM_ROOM_MM = 50.0
SLIT_BAR_MM = 15.0


# --- the block ---------------------------------------------------------------------------------


def quick_top(m: Measurements, style: Mapping[str, Any], fit: tuple[FitChange, ...]) -> Draft:
    """Draft the quick top.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    base = base_quarters(m, style)
    sides = (LEFT, RIGHT) if one_sided(fit) else (LEFT,)
    notes = list(m.warnings)
    drawn: dict[str, dict[str, Drawn]] = {}
    for side in sides:
        quarters = {h: styled(apply(q, side, fit), style, m) for h, q in base.items()}
        for q in quarters.values():
            check_quarter(q, m.unit)
        drawn[side] = draw_side(quarters[FRONT], quarters[BACK], style, m, notes)
    right = drawn.get(RIGHT, drawn[LEFT])
    both = (drawn[LEFT], right)
    pieces: dict[str, Piece] = {}
    for h in (FRONT, BACK):
        flat = [gathered(d[h].flat, d[h].quarter, style) for d in both[: len(sides)]]
        pieces |= garment_pieces(h, h, flat, m, style, grain_of(drawn[LEFT][h]))
    opening = sum(
        chain_length(d[h].edges["neckline"]) for d in (drawn[LEFT], right) for h in (FRONT, BACK)
    )
    notes = list(dict.fromkeys(notes))  # both sides of the body may say the same
    notes += _shoulder_note(m, style, base[FRONT])
    notes += _arm_note(m, drawn[LEFT])
    notes += _bust_notes(m, style)
    pieces, slit, own_checks = _head(pieces, opening, m, style, notes)
    facing_seams = finish(pieces, both, m, style, notes, slit)
    own_checks += _slit_in_facing(pieces, slit, m)
    gather_marks(pieces, drawn[LEFT], style, m, notes)
    if style["pocket"] != "none":
        pieces["pocket"], pieces[FRONT], placed = pocket(
            pieces[FRONT], drawn[LEFT][FRONT], style, m, notes
        )
        own_checks.append(placed)
    pieces, side_opening, passing = pass_body(pieces, both, style, m, notes)
    own_checks += [*passing, *arm_check(drawn[LEFT], m, notes)]
    girths = _girths(m, style, fit, drawn[LEFT], right)
    seams, corners, runs = _truing(pieces, style, len(sides) == 2)
    return Draft(
        block="quick-top",
        measurements=m,
        style=style,
        fit=fit,
        pieces=MappingProxyType(pieces),
        seams=(*seams, *facing_seams),
        corners=corners,
        runs=runs,
        girths=girths,
        extra_checks=tuple(own_checks),
        steps=tuple(construction(m, style, base, fit, drawn[LEFT])),
        notes=tuple(notes),
        figures=MappingProxyType(
            {"neck opening": opening, "slit": slit, "side opening": side_opening}
        ),
    )


def _shoulder_note(m: Measurements, style: Mapping[str, Any], q: Quarter) -> list[str]:
    drawn, measured = q.shoulder_length, m["shoulder_length"]
    if style["shoulder_seam"] == "measured":
        return []
    return [
        f"The drawn shoulder seam is {format_length(drawn - measured, m.unit)} longer than the "
        f"measured shoulder ({format_length(drawn, m.unit)}, measured "
        f"{format_length(measured, m.unit)}), because it slopes. "
        "Write 'style: {shoulder_seam: measured}' to keep the measured length."
    ]


def _arm_note(m: Measurements, drawn: Mapping[str, Drawn]) -> list[str]:
    arm = m.get("upper_arm_girth")
    if arm is None or "armhole" not in drawn[FRONT].edges:
        return []
    hole = sum(chain_length(drawn[h].edges["armhole"]) for h in (FRONT, BACK))
    if hole >= arm + ARM_ROOM_MM:
        return []
    return [
        f"The armhole is {format_length(hole, m.unit)} round, the upper arm "
        f"{format_length(arm, m.unit)}: less than {format_length(ARM_ROOM_MM, m.unit)} to move in. Lower the shoulder of the toile "
        "with care, or lengthen the draft."
    ]


def _bust_notes(m: Measurements, style: Mapping[str, Any]) -> list[str]:
    """What a closed, dartless woven top asks of the bust (common practice, no source)."""
    notes = []
    upper = m.get("upper_chest_girth")
    if upper is not None and m["bust_girth"] - upper > FULL_BUST_MM:
        notes.append(
            f"The bust is {format_length(m['bust_girth'] - upper, m.unit)} fuller than the chest "
            "above it: a woven top without a dart will drag from the bust to the armhole. "
            "More bust ease, or a cloth that gives, helps."
        )
    if style["bust_ease"] < EASE_TO_PULL_ON_MM:
        notes.append(
            f"With less than {format_length(EASE_TO_PULL_ON_MM, m.unit)} of bust ease a closed "
            "woven top may not go over the shoulders: a longer opening, or a cloth that gives."
        )
    return notes


def _head(
    pieces: dict[str, Piece],
    opening: float,
    m: Measurements,
    style: Mapping[str, Any],
    notes: list[str],
) -> tuple[dict[str, Piece], float, list[Check]]:
    """Does the head pass? If not, a slit at the centre back is marked, or the check fails."""
    measured = m.get("head_girth")
    head = measured if measured is not None else USUAL_HEAD_MM
    need = 0.5 * (head + HEAD_EASE_MM - opening)
    slit = 0.0
    if style["opening"] == "slit":
        slit = style["opening_length"] or max(math.ceil(max(need, 0.0) / 5.0) * 5.0, 60.0)
    elif style["opening"] == "auto" and need > 0:
        slit = max(math.ceil(need / 5.0) * 5.0, 40.0)
    if slit > 0:
        backs = [n for n in (BACK, f"{LEFT} {BACK}", f"{RIGHT} {BACK}") if n in pieces]
        top = _centre_top(pieces[backs[0]])
        if top - slit < float(pieces[backs[0]].sewing_line[:, 1].min()) + 60.0:
            raise DraftError(
                Fault("style.opening_length", "is longer than the back.", "Make it shorter.")
            )
        pieces = {**pieces, **{n: _with_slit(pieces[n], top, slit, m) for n in backs}}
        if style["opening"] == "auto":
            notes.append(
                f"The neck opening is {format_length(opening, m.unit)}; "
                f"{'the head' if measured is not None else 'a head, not measured here,'} needs "
                f"{format_length(head + HEAD_EASE_MM, m.unit)}. A slit of "
                f"{format_length(slit, m.unit)} is marked at the centre back. For none, choose a "
                "wider or deeper neckline, or write 'style: {opening: none}' for a cloth that "
                "stretches."
            )
    elif need > 0 and measured is None:
        notes.append(
            f"The neck opening is {format_length(opening, m.unit)}; heads measure "
            f"{format_length(540.0, m.unit)} to {format_length(USUAL_HEAD_MM, m.unit)} round. "
            "Measure the head, or choose an opening."
        )
        return pieces, slit, []
    return pieces, slit, [check_head(opening, slit, head, m.unit, measured is None)]


def _slit_in_facing(pieces: dict[str, Piece], slit: float, m: Measurements) -> list[Check]:
    """The slit marked on every back neck facing, and the checks that each reaches past its end."""
    checks = []
    for name in [n for n in pieces if slit > 0 and n.endswith(f"{BACK} neck facing")]:
        piece = pieces[name] = _with_slit(pieces[name], _centre_top(pieces[name]), slit, m)
        outer = piece.edges["outer"].points
        low = float(outer[np.argmin(np.abs(outer[:, 0])), 1])
        past = _centre_top(piece) - low - slit
        text = f"{format_length(past, m.unit)} below the end of the slit"
        short = max(FACING_PAST_SLIT_MM - past, 0.0)
        checks.append(Check(f"{name} reaches past the slit", short, 0.1, short <= 0.1, text))
    return checks


def _with_slit(back: Piece, top: float, slit: float, m: Measurements) -> Piece:
    """The back with its slit: along the centre, and a bar across its end that the fold cannot hide."""
    xs = back.sewing_line[:, 0]
    left = -SLIT_BAR_MM if xs.min() < -1.0 else 0.0
    right = SLIT_BAR_MM if xs.max() > 1.0 else 0.0
    end = top - slit
    text = f"slit {format_length(slit, m.unit)}"
    marks = (
        Mark("opening", np.array([[0.0, top], [0.0, end]])),
        Mark(text, np.array([[left, end], [right, end]])),
    )
    name, how, *who = back.label
    return back.with_(marks=(*back.marks, *marks), label=(name, how, text, *who))


def _centre_top(piece: Piece) -> float:
    edge = piece.edges["neckline"].points
    return float(edge[np.argmin(np.abs(edge[:, 0])), 1])


def _girths(
    m: Measurements,
    style: Mapping[str, Any],
    fit: Sequence[FitChange],
    left: Mapping[str, Drawn],
    right: Mapping[str, Drawn],
) -> tuple[Girth, ...]:
    """Finished girths, measured on the quarters that were drawn."""
    quarters = [d[h] for d in (left, right) for h in (FRONT, BACK)]

    def added(level: str) -> float:
        return sum(c.by_mm for c in fit if c.change == level)

    # The quarters are measured as drawn: what is gathered in comes on top, and the notes tell it.
    plain = "" if style["gathers"] == "none" else ", gathers not counted"
    bust = sum(d.quarter.bust[0] for d in quarters)
    waist = sum(d.waist_x for d in quarters)
    hem = sum(d.hem_length for d in quarters)
    out = [Girth(f"bust girth{plain}", bust, m["bust_girth"], style["bust_ease"] + added("bust"))]
    whole = hem_depth(style["length"], m["back_neck_to_tailbone"])
    if whole >= 2.0 / 3.0 * m["back_neck_to_tailbone"] and style["waist"] == "straight":
        out.append(
            Girth(
                f"waist girth{plain}",
                waist,
                m["waist_girth"],
                style["waist_ease"] + added("waist"),
                True,
            )
        )
    if style["length"] == "top" and style["hem"] == "level":
        out.append(
            Girth(
                f"hem girth{plain}",
                hem,
                m["hip_girth_at_tailbone"],
                style["hem_ease"] + style["flare"] + added("hem"),
            )
        )
    return tuple(out)


def _truing(
    pieces: Mapping[str, Piece], style: Mapping[str, Any], whole: bool
) -> tuple[tuple[Seam, ...], tuple[Corner, ...], tuple[Run, ...]]:
    """What must be equal, square and smooth on the pieces."""
    seams: list[Seam] = []
    corners: list[Corner] = []
    runs: list[Run] = []
    sides = (LEFT, RIGHT) if whole else ("",)
    split = whole and style["centre_back"] == "seam"
    for side in sides:
        for name in ("side", "shoulder", "underarm"):
            a, b = (spot(h, side, name, style) for h in (FRONT, BACK))
            if a[1] in pieces[a[0]].edges:
                seams.append(Seam(f"{side} {name}".strip(), (a,), (b,)))
    if split:
        a, b = (spot(BACK, side, "centre back", style) for side in sides)
        seams.append(Seam("centre back", (a,), (b,)))
    for on in (FRONT, *((f"{LEFT} {BACK}", f"{RIGHT} {BACK}") if split else (BACK,))):
        shape = style["neckline"] if on == FRONT else style["back_neckline"]
        for before, after in _ring_pairs(pieces[on]):
            kinds = {n.removeprefix(f"{LEFT} ").removeprefix(f"{RIGHT} ") for n in (before, after)}
            at_centre = kinds <= {"fold", "centre back", "neckline"}
            if (at_centre and shape != "v") or kinds in _SQUARE:
                corners.append(Corner(on, before, after))
    meetings = (
        ("neckline", "shoulder"),
        ("armhole", "shoulder"),
        ("sleeve hem", "shoulder"),
        ("armhole", "side"),
        ("sleeve hem", "underarm"),
        ("hem", "side"),
    )
    for side in sides:
        for across, seam in meetings:
            pair = []
            for h in (FRONT, BACK):
                (on, line_), (_, end) = (spot(h, side, e, style) for e in (across, seam))
                pair += [
                    Corner(on, before, after)
                    for before, after in _ring_pairs(pieces[on])
                    if {before, after} == {line_, end}
                ]
            if len(pair) == 2:
                runs.append(Run(f"{side} {across} over the {seam}".strip(), pair[0], pair[1]))
    return tuple(seams), tuple(corners), tuple(runs)


_SQUARE = (
    {"fold", "hem"},
    {"centre back", "hem"},
    {"hem", "side"},
    {"side", "armhole"},
    {"armhole", "shoulder"},
    {"underarm", "sleeve hem"},
    {"sleeve hem", "shoulder"},
)


def _ring_pairs(piece: Piece) -> list[tuple[str, str]]:
    """Each edge of a piece with the one that follows it."""
    ring = list(piece.edges)
    return list(zip(ring, [*ring[1:], ring[0]], strict=True))


BLOCK = Block(
    name="quick-top",
    title="The quick top",
    text="A loose top without darts, drafted on quarters: front and back in one drawing.",
    needs=(
        "bust_girth",
        "waist_girth",
        "hip_girth_at_tailbone",
        "neck_width",
        "shoulder_length",
        "back_neck_to_tailbone",
    ),
    helps=("head_girth", "upper_arm_girth", "upper_chest_girth"),
    options=OPTIONS,
    edges=(
        *("fold", "centre back", "hem", "side", "armhole", "shoulder", "neckline"),
        *("underarm", "sleeve hem", "outer", "bottom", "left side", "right side"),
    ),
    make=quick_top,
    changes=tuple(k for k in KINDS if k != "hip"),
)
