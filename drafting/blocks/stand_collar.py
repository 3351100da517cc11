"""The stand collar: a band that stands round the neck, by length and rise.

Its seam is the half neckline long and rises to the end where it opens, along an arc (handbooks'
stand, from memory): the upper edge is shorter by the height times the arc's angle, so the more it
rises, the closer it stands. Where the garment does not open in front it is folded at the centre
front and ends at the centre back. Frame: piece mm, x from its fold, y up.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from drafting.blocks import Block
from drafting.curves import rounded, unit
from drafting.fit import BACK, FRONT
from drafting.outline import arc_lengths, points_along, polyline_length
from drafting.sheet import Sheet, found
from drafting.sheet.collars import SHARED, Layer, Lines, layers, rising
from drafting.sheet.necks import Half, neck_of, refuse_corners
from drafting.sheet.options import choice, length
from drafting.sheet.passing import head_need
from drafting.truing import HEAD_EASE_MM, check_head

MOST_LEAN = 0.9  # an upper edge shorter than this share of the seam is a cone (common practice)
END = {FRONT: "front edge", BACK: "back edge"}

OPTIONS = (
    length("height", "How high it stands.", 30.0, 15.0, 90.0),
    length("rise", "How far its seam rises to its end: the more, the closer it stands to the neck.", 15.0, 0.0, 60.0),
    choice("reach", "Where its ends are, on a front that buttons.", {"button": "at the fronts' edges, over the button stand", "meet": "at the centre, where they meet"}),
    choice("ends", "Shape of its upper corners.", {"square": "square", "round": "rounded"}),
    *SHARED,
)  # fmt: skip


def stand_lines(s: Sheet, side: dict[str, Half], fold: str, smaller: float, past: float) -> Lines:
    """One side of the stand by edge, in ring order; ``smaller``: mm at its upper edge; ``past``: how far it
    reaches over a button stand, mm."""
    long_ = sum(float(h.length) for h in side.values()) + past
    rise, high = float(s.style["rise"]), float(s.style["height"]) - smaller
    lower, upper = rising(long_, rise), rising(long_, rise, high)
    end, begin = upper, upper[-1]
    if s.style["ends"] == "round":
        reach = 0.6 * high
        along = arc_lengths(upper)
        last = points_along(upper, along[-1] - reach)
        begin = upper[-1] + reach * unit(lower[-1] - upper[-1])
        end = np.concatenate([upper[along < along[-1] - reach - 1e-6], rounded(last, upper[-1], begin).flatten()])  # fmt: skip
    return {
        "fold": np.array([upper[0], lower[0]]),
        "neckline": lower,
        END[BACK if fold == FRONT else FRONT]: np.array([lower[-1], begin]),
        "outer": end[::-1],
    }


def stand_collar(s: Sheet) -> None:
    """Draft the stand.

    Raises:
        DraftError: no neckline, one with corners, a rise that makes a cone of it.
    """
    neck = neck_of(s)
    fold = BACK if neck.opens == FRONT else FRONT
    refuse_corners(s, neck, "a stand")
    s.stop()
    turn = float(s.style["turn_of_cloth"])
    kinds = (Layer("outer stand", False, 0.0), Layer("inner stand", True, turn))
    past = neck.stand if s.style["reach"] == "button" else 0.0
    made = {k: [stand_lines(s, side, fold, k.smaller, past) for side in neck.sides] for k in kinds}
    lines = made[kinds[0]][0]
    seam = sum(float(h.length) for h in neck.sides[0].values()) + past
    top = polyline_length(rising(seam, float(s.style["rise"]), float(s.style["height"])))
    what = f"of {s.t(s.style['rise'])} makes the upper edge {s.t(2 * top)}, its seam is {s.t(2 * seam)}."
    s.refuse(top < MOST_LEAN * seam, "style.rise", what, "A lower rise or height; 1 to 2.5 cm is usual.")  # fmt: skip
    layers(s, neck, made, fold, False, "stand", past)
    s.figures |= {"collar seam": seam, "collar outer edge": top}
    whole, measured = head_need(s)
    if not neck.opens:
        passes = check_head(2.0 * top, 0.0, whole - HEAD_EASE_MM, s.unit, measured is None)
        s.checks.append(replace(passes, name="the head passes the stand"))
    with s.step("stand", "The stand", why="Draw the seam level where it is folded, rising to its end, and the upper edge beside it."):  # fmt: skip
        s.frame(float(s.style["height"]), seam + 20.0, seam_line=0.0)
        for half in (BACK, FRONT):
            s.tell(f"{half} neckline", neck.sides[0][half].length)
        if past:
            s.tell("over the button stand", found(past, "over the button stand", neck.sources))
        s.draw("seam", lines["neckline"], f"as long as both, rising {s.t(s.style['rise'])} to its end")  # fmt: skip
        s.draw("upper edge", lines["outer"], f"{s.t(s.style['height'])} above it, square to the fold")  # fmt: skip
        s.tell("the upper edge is shorter by", found(seam - top, "shorter by"))
    s.making += [
        "Interface the stand, sew its layers along the upper edge and the ends, trim, clip and turn.",
        f"Sew the outer layer to the neckline, notch on notch{'' if neck.opens else ', its ends joined at the centre back first'}; turn the inner one in and sew it down over the seam.",
    ]  # fmt: skip


BLOCK = Block(
    name="stand-collar",
    title="The stand collar",
    text="A band that stands round the neck.",
    helps=("head_girth",),
    options=OPTIONS,
    edges=("outer", "front edge", "back edge", "neckline"),
    draw=stand_collar,
    joins=("neckline",),
    alone=False,
    allowances={"all": 10.0, "neckline": 6.0},
)  # fmt: skip
