"""The one-piece shirt collar: stand and fall in one, with points, folded along its roll line.

A web lesson's one-piece collar: the half neckline long, 8 cm deep at the centre back, the seam
rising 1.5 cm to the front, the point 1 cm past it. The seam is level along the back neckline and
rises along an arc from the shoulder on; the fall is 0.7 cm deeper than the stand at the least, or
the seam shows (common practice, no source). Frame: piece mm, x from the centre back, y up, unfolded.
"""

from __future__ import annotations

import math

import numpy as np

from drafting.blocks import Block
from drafting.curves import sweep
from drafting.fit import BACK, FRONT
from drafting.outline import polyline_length
from drafting.piece import Mark
from drafting.sheet import Sheet
from drafting.sheet.collars import SHARED, Layer, Lines, layers, rising
from drafting.sheet.necks import Half, neck_of, refuse_corners
from drafting.sheet.options import length

COVERS_MM = 7.0
WIDE_FALL_MM = 35.0  # a fall that is so much deeper than its stand needs a longer outer edge

OPTIONS = (
    length("stand", "How high it stands at the centre back.", 30.0, 10.0, 60.0),
    length("fall", "How deep it falls over at the centre back.", 50.0, 20.0, 120.0),
    length("rise", "How far its seam rises to the front.", 15.0, 0.0, 40.0),
    length("point_out", "How far the point reaches past the front of the seam.", 10.0, 0.0, 70.0),
    length("point", "Length of the front edge; unset, the outer edge is straight.", None, 30.0, 160.0),
    *SHARED,
)  # fmt: skip


def shirt_lines(s: Sheet, side: dict[str, Half], smaller: float) -> Lines:
    """One side of the collar by edge, in ring order; ``smaller``: mm at its outer edges."""
    back, front = float(side[BACK].length), float(side[FRONT].length)
    deep = float(s.style["stand"] + s.style["fall"])
    seam = np.concatenate(
        [np.zeros((1, 2)), rising(front, float(s.style["rise"])) + np.array([back, 0.0])]
    )
    start = seam[-1]
    out, up = float(s.style["point_out"]), deep - float(start[1])
    if s.style["point"] is not None:
        up = math.sqrt(max(float(s.style["point"]) ** 2 - out**2, 1.0))
    point = start + np.array([out, up])
    short = smaller / math.hypot(out, up)
    point, deep = point - short * (point - start) - (smaller, 0.0), deep - smaller
    middle = np.array([0.5 * float(point[0]), deep])
    outer = sweep((0.0, deep), (1.0, 0.0), point, point - middle).flatten()
    return {
        "fold": np.array([[0.0, deep], [0.0, 0.0]]),
        "neckline": seam,
        "front edge": np.array([start, point]),
        "outer": outer[::-1],
    }


def shirt_collar(s: Sheet) -> None:
    """Draft the collar.

    Raises:
        DraftError: no neckline, one with corners or open at the back, a fall that shows the seam.
    """
    neck, style = neck_of(s), s.style
    stand, fall = style["stand"], style["fall"]
    what = "opens at the centre back, where a shirt collar is folded."
    s.fault(neck.opens == BACK, "neckline", what, "Choose 'opening: front', a wider neckline without a slit, or a flat or stand collar.")  # fmt: skip
    refuse_corners(s, neck, "a shirt collar")
    what = f"of {s.t(fall)} leaves the seam of a stand of {s.t(stand)} in sight."
    s.fault(fall < stand + COVERS_MM, "style.fall", what, f"{s.t(stand + COVERS_MM)} or more.")
    short = style["point"]
    least = 2.0 * style["point_out"]
    what = f"of {s.t(short or 0.0)} reaches out {s.t(style['point_out'])}: it would lie along the neckline."
    s.fault(short is not None and short < least, "style.point", what, f"{s.t(least)} or more.")
    s.stop()
    turn = float(style["turn_of_cloth"])
    kinds = (Layer("upper collar", True, 0.0), Layer("under collar", False, turn))
    made = {k: [shirt_lines(s, side, k.smaller) for side in neck.sides] for k in kinds}
    layers(s, neck, made, BACK, False, "collar")
    lines = made[kinds[0]][0]
    start = lines["neckline"][-1]
    roll = sweep((0.0, float(stand)), (1.0, 0.0), start, start - (0.65 * start[0], float(stand))).flatten()  # fmt: skip
    for name in ("upper collar", "under collar"):
        piece = s.pieces[name]
        both = [roll] if piece.fold else [roll, roll * (-1.0, 1.0)]
        s.pieces[name] = piece.with_(marks=tuple(Mark("roll line", r[1:-1]) for r in both))
    if fall - stand > WIDE_FALL_MM:
        s.notes.append(
            f"The fall is {s.t(fall - stand)} deeper than the stand: its edge may pull over the shoulders. "
            "A flat collar with 'overlap: rolled' lies easier."
        )
    s.figures |= {"collar seam": polyline_length(lines["neckline"]), "collar outer edge": polyline_length(lines["outer"])}  # fmt: skip
    with s.step("collar", "The collar"):  # fmt: skip
        s.frame(float(stand + fall), float(start[0]) + 30.0, seam_line=0.0)
        for half in (BACK, FRONT):
            s.tell(f"{half} neckline", neck.sides[0][half].length)
        s.tell("deep at the centre back", stand + fall)
        s.draw("seam", lines["neckline"], f"level to the shoulder notch, rising {s.t(style['rise'])} to the front")  # fmt: skip
        s.draw("front edge", lines["front edge"], "straight")
        s.draw("outer edge", lines["outer"], "square to the centre back")
        s.draw("roll line", roll, "where it folds over: the stand's height at the back, nothing in front")  # fmt: skip
    s.making += [
        "Interface the collar, sew its layers along the outer edge and the fronts up to the seam, trim the corners, turn and press.",
        "Sew the under collar to the neckline, centre front to centre front, notch on notch; turn the upper one in and sew it down, or catch it under the facing.",
    ]  # fmt: skip


BLOCK = Block(
    name="shirt-collar",
    title="The shirt collar",
    text="Stand and fall in one piece, with points.",
    options=OPTIONS,
    edges=("outer", "front edge", "neckline"),
    draw=shirt_collar,
    joins=("neckline",),
    alone=False,
    allowances={"all": 10.0, "neckline": 6.0},
)  # fmt: skip
