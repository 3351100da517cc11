"""Right side and wrong side: what is cut from an uneven body's cloth fits when it is sewn.

The test does with points what is done with cloth: it turns each cut piece face up, lays the facing
on the garment right sides together and holds edge against edge. It reads the lay's own matrices
and the drafted sewing lines, no label and no rule of the product. That folded cloth lies right
sides together, so that its upper layer shows the wrong side, is common practice, no source.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from top_bodies import inches

from drafting import draft
from drafting.docket import Docket
from drafting.lay import Cloth, Effort, Lay, plan
from projector.picture.on_table import faces_of
from projector.session.rules import Rules

Array = NDArray[np.float64]
HERE = Effort(seed=3, workers=0)
OVER = np.array([-1.0, 1.0])
STYLES: dict[str, dict[str, Any]] = {
    "whole back": {"opening": "none"},
    "back in two": {"centre_back": "seam"},
}
OUT = {"face": "out"}
CLOTHS: dict[str, Any] = {
    "single": "none",
    "folded": "lengthwise",
    "folded across": "crosswise",
    "to the middle": "both selvedges to the middle",
    "folded over in part": {"way": "partial", "over": "700 mm"},
    "folded, wrong sides together": {"way": "lengthwise", **OUT},
    "across, wrong sides together": {"way": "crosswise", **OUT},
    "to the middle, wrong sides together": {"way": "double", **OUT},
    "in part, wrong sides together": {"way": "partial", "over": "700 mm", **OUT},
    "folded, then opened out": {"way": "lengthwise", "open_from": "500 mm"},
}


@cache
def pieces_of(style: str) -> dict[str, Any]:
    """A top with facings for a body whose left shoulder is 25 mm lower than the right."""
    low = {"change": "one shoulder lower", "by": "25 mm", "side": "left"}
    finishes = {"neckline_finish": "facing", "armhole_finish": "facing"}
    return dict(draft("quick-top", inches(), {**finishes, **STYLES[style]}, [low]).pieces)


@cache
def laid(style: str, fold: str) -> Lay:
    """Its lay on a kind of cloth, the same for every test."""
    cloth = Cloth.from_dict({"width": 2600, "fold": CLOTHS[fold]})
    return plan(pieces_of(style), cloth, 0.05, effort=HERE)


def face_up(lay: Lay, piece: str, points: Array) -> Array:
    """Points of a piece (piece mm) as its cut cloth shows them, lying face up."""
    (laid,) = (p for p in lay.placements if p.piece == piece)
    a = laid.cloth_from_piece
    there = points @ a[:2, :2].T + a[:2, 2]
    middle = there.mean(axis=0)
    down = lies_face_down(lay.cloth, float(middle[0]), float(middle[1])) != laid.lower
    return there * OVER if down else there


def lies_face_down(cloth: Cloth, x: float, y: float) -> bool:
    """Whether the upper layer at a place of the table has its right side below."""
    if cloth.fold == "none" or (cloth.open_from_mm is not None and x > cloth.open_from_mm):
        return False
    together = cloth.face == "in"
    if cloth.fold == "partial" and y > cloth.over_mm:
        return not together  # the lower layer by itself: it faces the flap's own other side
    return together


def spaced(line: Array, count: int = 41) -> Array:
    """Points at even distances along a line."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0.0, run[-1], count)
    return np.column_stack([np.interp(at, run, line[:, 0]), np.interp(at, run, line[:, 1])])


def gap(one: Array, two: Array) -> float:
    """Worst distance of two lines laid on each other by turning and moving, never by flipping."""
    best = np.inf
    for line in (two, two[::-1]):
        a, b = spaced(one) @ (1.0, 1j), spaced(line) @ (1.0, 1j)
        a, b = a - a.mean(), b - b.mean()
        turn = np.vdot(b, a)
        best = min(best, float(np.abs(a - b * turn / abs(turn)).max()))
    return best


def seams(pieces: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """(garment piece, edge, facing, edge) that are sewn to each other, by what they are called."""
    found = []
    for half in ("front", "back"):
        for side in ("left", "right"):
            apart = f"{side} {half}" in pieces
            body, edge = (f"{side} {half}", "armhole") if apart else (half, f"{side} armhole")
            found.append((body, edge, f"{side} {half} armhole facing", "armhole"))
            if apart:
                found.append((body, "neckline", f"{side} {half} neck facing", "neckline"))
        if half in pieces:
            found.append((half, "neckline", f"{half} neck facing", "neckline"))
    return found


@pytest.mark.parametrize("fold", CLOTHS)
@pytest.mark.parametrize("style", STYLES)
def test_facings_fit_the_garment_right_sides_together(style: str, fold: str) -> None:
    """On every kind of lay the facing's edge lies on the garment's within 0.5 mm."""
    pieces, lay = pieces_of(style), laid(style, fold)
    assert lay.left_out == () and lay.problems() == []
    flipped = 0.0
    assert len(seams(pieces)) >= 6
    for body, edge, facing, its in seams(pieces):
        on = face_up(lay, body, pieces[body].edges[edge].points)
        own = face_up(lay, facing, pieces[facing].edges[its].points)
        assert gap(on, own * OVER) < 0.5, (body, facing)
        flipped = max(flipped, gap(on, own))
    assert flipped > 4.0  # cut the wrong way round it would be seen


@pytest.mark.parametrize("fold", CLOTHS)
def test_the_lower_shoulder_is_on_her_own_side(fold: str) -> None:
    """The front, face up and neck up, has the wearer's left to the right of who looks at it."""
    pieces, lay = pieces_of("whole back"), laid("whole back", fold)
    for half, sign in (("front", 1.0), ("back", -1.0)):
        edges = pieces[half].edges
        ends = [
            face_up(lay, half, edges[f"{s} armhole"].points).mean(axis=0) for s in ("left", "right")
        ]
        up = face_up(lay, half, np.array([[0.0, 0.0], [0.0, 1.0]]))
        neck = up[1] - up[0]
        to_her_left = ends[0] - ends[1]
        right_of_viewer = np.array([neck[1], -neck[0]])
        assert sign * float(to_her_left @ right_of_viewer) > 0.0


@pytest.mark.parametrize("fold", CLOTHS)
def test_the_table_keeps_the_same_rule(fold: str) -> None:
    """The planner's lay is right side up at the table; any one-sided piece turned over is not."""
    pieces = pieces_of("whole back")
    rows = [
        {"name": n, "outline": p.sewing_line.tolist(), "grain": [list(q) for q in p.grain]}
        for n, p in pieces.items()
    ]
    docket = Docket.from_dict(
        {
            "chalkbeam": 1,
            "title": "top",
            "pieces": rows,
            "cloth": {"width": "2600 mm", "fold": CLOTHS[fold]},
        }
    )
    lay = plan(docket.pieces(), docket.cloth, 0.02, effort=HERE)
    docket = docket.replace(lay=lay.docket_placements())
    rules = Rules(docket, faces_of(docket))
    for p in docket.lay:
        assert "wrong side up" not in rules.own_troubles(p, docket.lay)
        over = rules.turned_over(p)  # about its middle, so it stays where it lies
        others = tuple(q for q in docket.lay if q.key != p.key)
        other_layer = over.lower != p.lower  # of two layers, it is then cut from the other one
        told = rules.own_troubles(over, (*others, over))
        assert other_layer == ("wrong side up" not in told), p.key
        there = dataclasses.replace(over, lower=p.lower)
        assert "wrong side up" in rules.own_troubles(there, (*others, there)), p.key


def test_a_piece_that_is_the_same_turned_over_has_no_wrong_side() -> None:
    """A rectangle may lie either way up: no word is said of it."""
    rows = [{"name": "cuff", "outline": [[0, 0], [200, 0], [200, 60], [0, 60]]}]
    docket = Docket.from_dict(
        {"chalkbeam": 1, "title": "c", "pieces": rows, "cloth": {"width": "1500 mm"},
         "lay": [{"piece": "cuff", "copy": 1, "at": [300, 300], "mirrored": True}]}
    )  # fmt: skip
    rules = Rules(docket, faces_of(docket))
    assert rules.own_troubles(docket.lay[0], docket.lay) == ()
