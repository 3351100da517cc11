"""What the skirts with darts in a front and a back do alike: darts on the pieces, waist, truing.

Frame: piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from drafting.blocks._hip_lines import Panel, Sizes
from drafting.curves import Cubic, Points
from drafting.fit import BACK, FRONT
from drafting.outline import Edge
from drafting.piece import Dart, Line, Mark, Notch, Piece
from drafting.sheet import Amount, Sheet, Sources, found, joints, sources_of, waists
from drafting.sheet.board import ring_pairs
from drafting.sheet.darts import OpenDart
from drafting.sheet.finishing import bars, short_of
from drafting.sheet.pieces import CENTRE, along, half_piece
from drafting.sheet.record import xy
from drafting.truing import Seam, check_dart_runs, sewn_length

SEW_DARTS = "Sew the darts to their points and press them to the centre."


def everything(s: Sheet, z: Sizes) -> Sources:
    """What side and waist hang on: the waist is drawn to its length on front and back at once."""
    own = s.style.get("shaping", ())
    return sources_of(z.hip, z.waist, z.depth, z.length, z.flare, z.drop, z.rise, own)


def frame(s: Sheet, z: Sizes, widths: Mapping[str, Amount], past: float, like: str = "") -> None:
    """The levels, ``past`` mm wider than the back, and how wide front and back are at the hip."""
    with s.step("frame", "Centre line, waist line, hip line and hem line"):
        wide = float(widths[BACK]) + past
        s.frame(z.length, wide, waist_line=0.0, hip_line=z.depth, hem_line=z.length)
    with s.step("hip", f"Width at the hip{like}"):
        for half, width in widths.items():
            s.point(f"{half} hip", on="hip line", out=width)


def side_waist(s: Sheet, panel: Panel, taken: Amount) -> float:
    """Where the side meets the waist, marked; how wide the half is at the hip."""
    wide = s.spots[f"{panel.half} hip"].x
    up = found(panel.side[0].start[1], "the side is raised by", taken)
    s.point(f"{panel.half} side waist", on="waist line", out=wide - taken, up=up)
    return wide


def piece_of(
    s: Sheet, half: str, points: Mapping[str, Points], opened: Sequence[OpenDart], below_mm: float,
    openings: Mapping[str, float], grain: Line, *more: Mark,
) -> Piece:  # fmt: skip
    """Front or back: half of it on the fold, or one of a pair where it has a seam, with its darts.

    ``below_mm``: of the side below the hip; ``openings``: zip and slit → mm; ``more``: further marks.
    """
    seam, waist = half == BACK and s.style["centre_back"] == "seam", Edge("waist", points["waist"])
    darts = tuple(Dart("waist", xy(d.outer), xy(d.inner), xy(d.tip)) for d in opened[::-1])
    notches = [Notch("side", below_mm, 1, "hip"), Notch("waist", 0.0, 1, "side")]
    for i, d in zip(range(len(darts), 0, -1), darts, strict=True):  # from the side to the centre
        ends = (along(waist, end) for end in (d.first, d.second))
        notches += [Notch("waist", at, 1, f"{half} dart {i}") for at in ends]
    marks = [Mark("dart point", short_of(d)[None, :]) for d in opened]
    if seam or s.style["centre_back"] == "fold":
        # the centre runs down, the side runs up
        on = Edge(CENTRE[True], points["fold"]) if seam else Edge("side", points["side"])
        ends_, cuts = bars(on, openings, seam, "" if seam else "left side ", s.t)
        marks, notches = [*marks, *ends_], [*notches, *cuts]
    return half_piece(
        half, points, s.measurements, seam,
        grain=grain, notches=tuple(notches), darts=darts, marks=(*marks, *more),
    )  # fmt: skip


def finish(
    s: Sheet, z: Sizes, g: waists.Girths, lines: Mapping[str, tuple[Sequence[Cubic], Cubic]],
    remedy: str = "Choose 'waist_finish: band'.", why: str = "",
) -> None:  # fmt: skip
    """Band, casing or facings, with the seams that join them to the skirt, or its seam to a bodice.

    ``lines``: half → its waist between the darts, and with them closed; ``remedy``: what to do where
    gathers have no band; ``why``: why it is gathered, after a space.
    """
    at_back, of, how = s.style["centre_back"] == "seam", everything(s, z), s.style["waist_finish"]
    whole = {h: 2.0 * sewn_length(s.pieces[h], "waist") for h in lines}
    full = sum(whole.values()) - 2.0 * float(z.waist)
    full = full if full > 0.5 else 0.0
    f, b = (w * (1.0 - full / sum(whole.values())) for w in whole.values())
    if g.joint:
        f, b = (2.0 * float(g.joint.halves[h].length) for h in lines)
    if full:
        what = "cannot hold a waist that is gathered."
        s.refuse(how == "facing", "style.waist_finish", what, remedy)
        waists.gather(s, whole, {FRONT: f, BACK: b}, why)
    cuts = {h: np.cumsum([c.length for c in parts])[:-1] for h, (parts, _) in lines.items()}
    if g.joint:
        joint = g.joint
        more = {h: w / 2.0 - float(joint.halves[h].length) for h, w in whole.items() if full}
        joints.sew_on(s, joint, {h: [(h, "waist")] for h in lines}, more)
    elif how in waists.STRAIGHT:
        # It begins at the opening: at the centre back, or at the left side seam.
        first = 0.5 * b if at_back else 0.0
        middles = {FRONT: (first + 0.5 * f,), BACK: (0.0, f + b) if at_back else (f + 0.5 * b,)}
        at: dict[str, tuple[float, ...]] = {"side": (first, first + f) if at_back else (f,)}
        for h, places in middles.items():
            at[f"centre {h}"] = tuple(x for x in places if 0.0 < x < f + b)
            for i, c in enumerate(cuts[h], 1):
                both = (x + sign * float(c) for x in places for sign in (-1.0, 1.0))
                at[f"{h} dart {i}"] = tuple(x for x in both if 0.0 < x < f + b)
        spots = tuple((h, "waist") for h in lines for _ in range(2))
        waists.add_straight(s, f + b, at, spots, full, z.waist)
    elif how == "facing":
        for h, (_, shut) in lines.items():
            ends, whole_ = (shut.tangent(0.0), shut.tangent(1.0)), shut.length
            notches = [Notch("waist", float(whole_ - c), 1, f"{h} dart {i}") for i, c in enumerate(cuts[h], 1)]  # fmt: skip
            made = waists.facing(s, h, shut.flatten(), ends, notches, h == BACK and at_back, of)
            s.seams.append(Seam(f"{h} facing", (made,), ((h, "waist"),)))


def true(s: Sheet, z: Sizes, g: waists.Girths, open_waist: float, more: bool) -> None:
    """What must be equal and square, and the finished girths, measured on the pieces. ``open_waist``: the
    waist where the hip must pass it too; ``more``: more at the hip is as good."""
    s.sew("side", (FRONT, "side"), (BACK, "side"))
    for half in (FRONT, BACK):
        pairs = [p for p in ring_pairs(s.pieces[half]) if "vent top" not in p]
        s.square(half, [frozenset(p) for p in pairs])
    s.checks += check_dart_runs(s.pieces)
    sides = [s.pieces[h].edges["side"].points for h in (FRONT, BACK)]
    zip_mm = s.figures["zip"]
    waists.hip_passes(s, waists.ring_at(sides, zip_mm), zip_mm, float(z.ring), open_waist)
    waists.waist_girth(s, tuple((h, "waist") for h in (FRONT, BACK) for _ in range(2)), g.waist)
    hip = 2.0 * sum(float(np.interp(-float(z.depth), p[:, 1], p[:, 0])) for p in sides)
    waists.hip_girth(s, hip, g.hip, more)


def make(s: Sheet, darts: bool, hem: str, *, slit: bool = False) -> None:
    """How it is sewn."""
    seam = s.style["centre_back"] == "seam"
    where = "centre back" if seam else "left side seam"
    s.makes(
        darts=SEW_DARTS if darts else "", hem=hem,
        skirt=f"Sew the skirt's {'side seams' if seam else 'right side seam'}.",
        closing=f"Zip into the {where}, then that seam below it{', down to the slit' if slit else ''}.",
        finish=waists.FINISHING[s.style["waist_finish"]],
    )  # fmt: skip
