"""The elbow dart of a plain sleeve: it hangs bent forward, as an arm does.

Between the sleeve's plain lines and its piece. Cut across at the elbow from the back seam to the front
seam, and turn the lower arm forward about the front seam: the gap is a dart in the back seam, sewn to
halfway (handbooks' way, from memory). Both underarm seams keep their lengths, the dart closed. Frame:
piece mm, x from the sleeve's middle, front at x > 0, y up.
"""

from __future__ import annotations

import math

import numpy as np

from drafting.blocks._sleeve_lines import Sizes
from drafting.curves import Points, line, sweep, unit
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.sheet import Sheet
from drafting.sheet.darts import OpenDart, Turn, roof
from drafting.sheet.finishing import short_of
from drafting.sheet.pieces import along

POINT_SHARE = 0.3  # of the width at the elbow: how deep the dart reaches from the back seam
BELOW_MM = 100.0  # of sleeve below the elbow, at the least
UNDER_MM = 60.0  # between underarm and elbow
BEND_MM = 60.0  # as far above and below the elbow the front seam bends
NEAR_MM = 50.0  # above and below the elbow the seams have notches
WORD = "elbow dart"


def elbow_dart(s: Sheet, z: Sizes, lines: dict[str, Points]) -> tuple[dict[str, Points], OpenDart]:
    """The plain sleeve's lines with the lower arm turned forward, and the dart in its back seam.

    Raises:
        DraftError: the elbow was not measured, or the sleeve ends above or too near it.
    """
    at = z.arm.elbow_at
    where = "style.elbow"
    s.refuse(at is None, where, "is 'dart', and the elbow was not measured.", "Measure shoulder_to_elbow.")  # fmt: skip
    down = float(at or 0.0) - float(z.hole.grown)
    below = float(z.long_) - down
    s.fault(below < BELOW_MM, where, f"has {s.t(max(below, 0.0))} of sleeve below the elbow; {s.t(BELOW_MM)} are needed.", "Make the sleeve longer.")  # fmt: skip
    s.fault(down < float(z.height) + UNDER_MM, where, "would lie beside the cap.", "A lower cap; is shoulder_to_elbow right?")  # fmt: skip
    s.stop()
    front, back = lines["front underarm"], lines["back underarm"]  # up, and down, straight
    hinge, gap = _level(front, -down), _level(back, -down)
    turn = Turn.about(hinge, float(s.style["elbow_dart"]) / float(np.hypot(*(gap - hinge))))
    low, high = turn(gap), gap
    middle = 0.5 * (low + high)
    tip = middle + POINT_SHARE * (hinge - middle)
    foot = turn(front[0])
    first, second = unit(hinge - foot), unit(front[1] - hinge)
    bend = sweep(hinge - BEND_MM * first, first, hinge + BEND_MM * second, second).flatten()
    cap = roof(line(turn(back[1]), low), tip, unit(middle - tip))
    out = {
        **lines,
        "hem": turn(lines["hem"]),
        "front underarm": np.concatenate([foot[None], bend, front[1:]]),
        "back underarm": np.stack([back[0], high, cap, low, turn(back[1])]),
    }
    return out, OpenDart(high, low, tip, cap)


def _level(seam: Points, y: float) -> Points:
    """Where a straight seam (2, 2) passes a height."""
    share = (y - seam[0, 1]) / (seam[1, 1] - seam[0, 1])
    return np.asarray(seam[0] + share * (seam[1] - seam[0]))


def sewn_in(piece: Piece, dart: OpenDart) -> Piece:
    """The sleeve with its elbow dart: legs, point and notches; a left sleeve's lies mirrored."""
    edge = piece.edges["back underarm"]
    flip = (-1.0 if float(edge.points[:, 0].mean()) > 0.0 else 1.0, 1.0)
    ends = [(float(p[0]) * flip[0], float(p[1])) for p in (dart.inner, dart.outer)]
    ends.sort(key=lambda p: along(edge, p))
    tip = (float(dart.tip[0]) * flip[0], float(dart.tip[1]))
    point = short_of(dart) * flip
    return piece.plus(
        darts=[Dart(edge.name, ends[0], ends[1], tip)],
        marks=[Mark("dart point", point[None])],
        notches=[Notch(edge.name, along(edge, p), 1, WORD) for p in ends],
    )


def record(s: Sheet, dart: OpenDart, lines: dict[str, Points], side: str) -> None:
    """The step of the dart."""
    with s.step(f"{side}elbow", "The elbow dart", why="Cut across at the elbow, turn the lower arm forward about the front seam until the gap is the dart, and draw the front seam anew."):  # fmt: skip
        s.dart(WORD, dart.inner, dart.tip, dart.outer)
        s.tell(f"{WORD}, wide", math.dist(dart.inner, dart.outer))
        for edge in ("front underarm", "back underarm", "hem"):
            s.draw(edge, lines[edge], "-")
