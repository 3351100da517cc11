"""What the skirts with darts in a front and a back do alike: darts on the pieces, waist, truing.

Frame: piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from drafting.blocks._hip_lines import Sizes
from drafting.curves import Cubic
from drafting.fit import BACK, FRONT
from drafting.outline import Edge
from drafting.piece import Dart, Mark, Notch
from drafting.sheet import Sheet, Sources, waists
from drafting.sheet.board import ring_pairs
from drafting.sheet.darts import OpenDart
from drafting.sheet.finishing import short_of
from drafting.sheet.pieces import along
from drafting.sheet.record import xy
from drafting.truing import check_dart_runs

SEW_DARTS = "Sew the darts to their points and press them to the centre."


def on_piece(
    half: str, waist: Edge, opened: Sequence[OpenDart]
) -> tuple[tuple[Dart, ...], list[Notch], list[Mark]]:
    """The darts of a waist that runs from the side to the centre, the notches at their legs and at the
    side, and where their points are drilled."""
    darts = tuple(Dart("waist", xy(d.outer), xy(d.inner), xy(d.tip)) for d in opened[::-1])
    notches = [Notch("waist", 0.0, 1, "side")]
    for i, d in zip(range(len(darts), 0, -1), darts, strict=True):  # from the side to the centre
        ends = (along(waist, end) for end in (d.first, d.second))
        notches += [Notch("waist", at, 1, f"{half} dart {i}") for at in ends]
    return darts, notches, [Mark("dart point", short_of(d)[None, :]) for d in opened]


def finish(
    s: Sheet, z: Sizes, g: waists.Girths, lines: Mapping[str, tuple[Sequence[Cubic], Cubic]], of: Sources,
    remedy: str = "Choose 'waist_finish: band'.", why: str = "",
) -> None:  # fmt: skip
    """The waist's finish, or its seam to a bodice. ``lines``: half → its waist between the darts, and
    with them closed; ``of``: what it hangs on."""
    at_back = s.style["centre_back"] == "seam"
    halves = [
        waists.Half(h, np.cumsum([c.length for c in parts])[:-1], closed, h == BACK and at_back, of)
        for h, (parts, closed) in lines.items()
    ]
    waists.finish_halves(s, halves, z.waist, at_back, g.joint, remedy=remedy, why=why)


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


def make(s: Sheet, darts: bool, hem: str, *, flat: str = "", slit: bool = False) -> None:
    """How it is sewn."""
    seam = s.style["centre_back"] == "seam"
    where = "centre back" if seam else "left side seam"
    s.makes(
        flat=flat, darts=SEW_DARTS if darts else "", hem=hem,
        skirt=f"Sew the skirt's {'side seams' if seam else 'right side seam'}.",
        closing=f"Zip into the {where}, then that seam below it{', down to the slit' if slit else ''}.",
        finish=waists.FINISHING[s.style["waist_finish"]],
    )  # fmt: skip
