"""The flat collar: it lies on the garment all round, or rolls a little, with round or pointed fronts.

Front and back are laid together with their necks touching and their shoulders overlapped at the arm
end: 1 to 1.5 cm of 12 for a collar that lies flat, 2.5 for a slight roll, 7 to 8 for one that stands
(M. Müller & Sohn's flat collar, as told in a web lesson; half an inch in *The Practical Designer for
Women's and Misses' Underwear*). The laid neckline is drawn smooth over the shoulder, as long as both,
and again at the collar's width. Frame: piece mm, x from the centre back, y up, the neckline's centre
back at (0, 0).
"""

from __future__ import annotations

import numpy as np

from drafting.blocks import Block
from drafting.curves import Points, rounded, sweep, unit
from drafting.fit import BACK, FRONT
from drafting.outline import arc_lengths, points_along, polyline_length
from drafting.sheet import Sheet, found
from drafting.sheet.collars import SHARED, Layer, Lines, beside, laid_together, layers
from drafting.sheet.necks import Half, neck_of
from drafting.sheet.options import choice, length

OVERLAPS = {"flat": 12.5, "rolled": 25.0, "standing": 75.0}
LIES_WITHIN = 0.95  # of the shoulder: a wider collar falls off it
_ROUND, _POINT = 0.75, 0.4  # of the width: how far a round front's curve reaches, a point's lead

OPTIONS = (
    length("width", "How wide it is, all round.", 70.0, 25.0, 200.0),
    length("overlap", "How far the shoulders overlap, of 12 cm: the more, the higher it rolls.", None, 0.0, 90.0, word="flat",
           choices={"flat": "1.25 cm: lies flat", "rolled": "2.5 cm: a slight roll", "standing": "7.5 cm: stands at the back and falls over"}),
    choice("front", "Shape of its fronts.", {"round": "rounded", "pointed": "to a point"}),
    length("point", "How far the point reaches out.", 10.0, 0.0, 80.0, {"front": ("pointed",)}),
    *SHARED,
)  # fmt: skip


def flat_lines(s: Sheet, side: dict[str, Half], smaller: float) -> Lines:
    """One side of the collar by edge, in ring order; ``smaller``: mm at its outer edges."""
    overlap, width = float(s.chosen("overlap", OVERLAPS)), float(s.style["width"]) - smaller
    seam, down = laid_together(side[FRONT], side[BACK], overlap)
    outer = beside(seam, width, down)
    front = seam[-1]
    along = arc_lengths(outer)

    def at(rest: float) -> Points:
        return points_along(outer, along[-1] - rest)

    corner, depth = at(smaller), float(np.hypot(*(outer[-1] - front)))
    out = unit(corner - front)
    round_ = s.style["front"] == "round"
    lead = smaller + width * (_ROUND if round_ else _POINT)
    kept, last = outer[along < along[-1] - lead - 1e-6], at(lead)
    if round_:
        begin = front + out * max(depth - lead, 0.2 * depth)
        end = rounded(last, corner, begin).flatten()
    else:
        begin = corner + unit(outer[-1] - front) * float(s.style["point"])
        end = sweep(last, last - kept[-1], begin, begin - last).flatten()
    return {
        "fold": np.array([seam[0], outer[0]]),
        "outer": np.concatenate([kept, end]),
        "front edge": np.array([begin, front]),
        "neckline": seam[::-1],
    }


def flat_collar(s: Sheet) -> None:
    """Draft the collar.

    Raises:
        DraftError: no neckline, one that is gathered, a collar wider than the shoulder.
    """
    neck, width = neck_of(s), s.style["width"]
    for side in neck.sides:
        for half in side.values():
            what = "is gathered or has a dart: a flat collar is drafted to its line, which is another once sewn."
            s.fault(half.bent, "neckline", what, "A stand or a shirt collar goes by its length alone.")  # fmt: skip
    shoulder = min(half.shoulder_mm for side in neck.sides for half in side.values())
    what = f"of {s.t(width)} is wider than the shoulder, {s.t(shoulder)}, lets it lie."
    s.fault(width > LIES_WITHIN * shoulder, "style.width", what, f"{s.t(LIES_WITHIN * shoulder)} at most.")  # fmt: skip
    s.stop()
    turn = float(s.style["turn_of_cloth"])
    kinds = (Layer("upper collar", False, 0.0), Layer("under collar", True, turn))
    made = {k: [flat_lines(s, side, k.smaller) for side in neck.sides] for k in kinds}
    layers(s, neck, made, BACK, neck.opens == BACK, "collar")
    upper = made[kinds[0]][0]
    _record(s, neck.sides[0], upper)
    outer = polyline_length(upper["outer"])
    s.figures |= {"collar seam": polyline_length(upper["neckline"]), "collar outer edge": outer}
    faced = any("facing" in n for n in (s.onto.pieces if s.onto else ()))
    meets = {FRONT: "centre front to centre front", BACK: "centre back to centre back, its halves meeting in front"}  # fmt: skip
    s.making += [
        "Interface the collar, sew its layers along the outer edge and the fronts, trim, clip and turn; press the seam to the under side.",
        f"Baste it to the neckline, {meets.get(neck.opens, 'its ends meeting at the centre front')}: notch on notch, shoulder on shoulder seam.",
        "Sew the neck facing over it, clip, turn in and understitch." if faced else "Cover the neckline seam inside with a bias strip.",
    ]  # fmt: skip


def _record(s: Sheet, side: dict[str, Half], lines: Lines) -> None:
    """The steps of the construction."""
    with s.step("laid", "Front and back laid together", why="Lay the necks of front and back on one another, seams closed, the shoulders overlapped at the arm end, and pin them."):  # fmt: skip
        s.frame(float(s.style["width"]), float(lines["outer"][:, 0].max()) + 30.0, seam_line=0.0)
        s.tell("shoulders overlapped, of 12 cm,", s.chosen("overlap", OVERLAPS))
        for half in (BACK, FRONT):
            s.tell(f"{half} neckline", side[half].length)
    with s.step("seam", "The collar's neckline"):
        s.draw("neckline", lines["neckline"], "the neckline of both, smooth over the shoulder and no shorter")  # fmt: skip
        s.draw("centre back", lines["fold"], "-")
    with s.step("outer", "The outer edge", why="As wide as the collar all round, measured square to the neckline."):  # fmt: skip
        s.draw("outer edge", lines["outer"], "square to the centre back")
        s.draw("front edge", lines["front edge"], "-")
        s.tell("outer edge", found(polyline_length(lines["outer"]), "outer edge"))


BLOCK = Block(
    name="flat-collar",
    title="The flat collar",
    text="A collar that lies on the garment, its fronts round or pointed.",
    options=OPTIONS,
    edges=("centre back", "outer", "front edge", "neckline"),
    draw=flat_collar,
    joins=("neckline",),
    alone=False,
    allowances={"all": 10.0, "neckline": 6.0},
)  # fmt: skip
