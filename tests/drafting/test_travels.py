"""What lies on a piece goes with the cloth it lies on: each is held against two corners of its part."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from shaping_pieces import aldrich_front, at, curved
from test_changes import changed, failing, skirt, top

from configs.errors import DraftError
from drafting.outline import Edge
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.shaping.cutting import join
from drafting.shaping.parts import End, built, runs_of
from drafting.shaping.pivoting import pivot
from drafting.shaping.places import line_between
from drafting.shaping.state import Work
from drafting.shaping.walking import walk
from drafting.truing import USUAL_ALLOWANCES


def lettered() -> Piece:
    """The darted front of a book with a landmark, a line, a drill hole and a second dart on the part
    that moves when its dart is closed into the waist, at its side."""
    front = aldrich_front()
    side = front.edges["side"]
    p, q = (tuple(side.at(x)[0].tolist()) for x in (60.0, 75.0))
    return front.with_(
        darts=(*front.darts, Dart("side", p, q, (200.0, -350.0))),  # type: ignore[arg-type]
        landmarks={**front.landmarks, "hip bone": (230.0, -380.0)},
        marks=(Mark("line", [(190.0, -300.0), (240.0, -300.0)]), Mark("hole", [(220.0, -320.0)])),  # type: ignore[arg-type]
        notches=(Notch("side", 30.0, 2, "side"),),
        grain=((30.0, -400.0), (30.0, -150.0)),  # the part at the centre front stays
    )


def spots(piece: Piece) -> dict[str, np.ndarray]:
    """Every place that is followed, by name."""
    (dart,) = (d for d in piece.darts if d.edge == "side")
    notch = next(n for n in piece.notches if n.match == "side")
    return {
        "landmark": np.array(piece.landmarks["hip bone"]),
        "line": next(m.points for m in piece.marks if m.name == "line")[0],
        "hole": next(m.points for m in piece.marks if m.name == "hole")[0],
        "dart's tip": np.array(dart.tip),
        "dart's first leg": np.array(dart.first),
        "notch": piece.edges["side"].at(notch.at_mm)[0],
    }


def test_all_that_lies_on_the_moved_part_moves_with_it() -> None:
    """A dart closed into the waist turns the side: landmark, line, hole, dart and notch keep their
    distances from both ends of the side seam, and none is where it was."""
    before = lettered()
    bust = np.array(before.landmarks["bust point"])
    after = pivot(before, bust, End.of_dart(before, before.darts[0]), at(before, "waist 98.5 mm from centre front"))  # fmt: skip
    for name, was in spots(before).items():
        now = spots(after)[name]
        assert np.hypot(*(now - was)) > 5.0, f"{name} stayed"
        for i in (0, -1):
            ends = [p.edges["side"].points[i] for p in (before, after)]
            far = [float(np.hypot(*(p - e))) for p, e in zip((was, now), ends, strict=True)]
            assert far[0] == pytest.approx(far[1], abs=1e-6), name
    assert after.landmarks["bust point"] == before.landmarks["bust point"]


def test_a_fold_that_would_bend_asks_for_a_seam() -> None:
    """A line that ends on the fold cannot be opened at one end, and a bent fold is built by nothing."""
    entry = {"spread": "front", "from": "fold 20 from hem", "to": "side 1/2", "by": 2, "hinge": "side"}  # fmt: skip
    with pytest.raises(DraftError, match="seam at fold"):
        changed(top(), entry)
    front = top().pieces["front"]
    lean = np.array([[0.0, 0.0], [5.0, 0.0]])
    moved = [
        replace(r, points=r.points[[0, -1]] + lean) if r.name == "fold" else r
        for r in runs_of(front)
    ]
    with pytest.raises(DraftError, match="no longer be straight"):
        built(front, moved, (), {})


def test_both_edges_of_a_cut_get_their_allowance() -> None:
    """10 mm beyond the new seam on either side, as on every edge."""
    work = changed(top(), {"cut": "front", "level": "9 below shoulder at neckline", "into": ["yoke", "front"], "seam": "yoke seam"})  # fmt: skip
    for name, sign in (("yoke", -1.0), ("front", 1.0)):
        piece = work.pieces[name]
        seam = float(piece.edges["yoke seam"].points[:, 1].mean())
        cut = piece.cutting_line(USUAL_ALLOWANCES)[:, 1]
        assert max(sign * (cut - seam)) == pytest.approx(10.0, abs=1e-6)


def test_the_corners_that_a_block_shaped_stay_shaped() -> None:
    """The allowance's corners of a piece are as they were after a change elsewhere."""
    before = top()
    shaped = {("hem", "side"): ("squared", "hem")}
    front = before.pieces["front"].with_(corners=shaped)
    work = changed(before.with_piece(front), {"lengthen": "front", "at": "side notch", "by": 2})
    assert dict(work.pieces["front"].corners) == shaped


def test_a_dart_folded_shut_has_cloth_under_its_seam() -> None:
    """Folded towards its first leg the top of a dart lies along the edge: its allowance is caught in
    the seam. The fold is done here with a mirror."""
    front = aldrich_front()
    bust = np.array(front.landmarks["bust point"])
    moved = pivot(front, bust, End.of_dart(front, front.darts[0]), at(front, "side 100 mm from armhole"))  # fmt: skip
    (dart,) = moved.darts
    edge = moved.edges["side"]
    first, second, tip = (np.array(p) for p in (dart.first, dart.second, dart.tip))
    legs = (first, second)
    far = [[float(np.hypot(*(p - q))) for q in legs] for p in edge.points]
    roof = [p for p, d in zip(edge.points, far, strict=True) if min(d) > 1e-6 and max(d) < 60.0]
    assert len(roof) == 1
    low = min(legs, key=lambda p: float(np.hypot(*(p - edge.points[0]))))
    leg = (low - tip) / np.hypot(*(low - tip))
    mirrored = 2.0 * ((roof[0] - tip) @ leg) * leg - (roof[0] - tip) + tip
    along = (low - edge.points[0]) / np.hypot(*(low - edge.points[0]))
    off = (mirrored - low) @ np.array([-along[1], along[0]])
    assert abs(off) < 0.05
    assert (mirrored - low) @ along < 0.0, "it lies over the edge, not beyond it"


def test_what_is_joined_brings_all_that_lies_on_it() -> None:
    """A panel cut and its halves joined the other way round: the half that is turned to the other
    brings its landmark, line and hole to where they were on the cloth."""
    panel = curved()
    work = changed(Work({"panel": panel}, ()), {"cut": "panel", "level": "crown 1/2", "into": ["yoke", "panel"]})  # fmt: skip
    low = work.pieces["panel"]
    off = np.array([37.0, -81.0])
    shifted = low.with_(
        edges={n: Edge(n, e.points + off) for n, e in low.edges.items()},
        marks=tuple(Mark(m.name, m.points + off, m.closed) for m in low.marks),
        landmarks={n: (p[0] + off[0], p[1] + off[1]) for n, p in low.landmarks.items()},
        grain=tuple((x + off[0], y + off[1]) for x, y in low.grain),
    )
    seam = next(e for e in low.edges if e in work.pieces["yoke"].edges and "seam" in e)
    made = join(work.with_piece(shifted), ("yoke", "panel"), seam, name="panel").pieces["panel"]
    assert {n: pytest.approx(p, abs=0.01) for n, p in panel.landmarks.items()} == dict(
        made.landmarks
    )
    for m in panel.marks:
        (same,) = (k for k in made.marks if k.name == m.name)
        a, b = sorted(map(tuple, m.points)), sorted(map(tuple, same.points[[0, -1]] if len(same.points) > 1 else same.points))  # fmt: skip
        np.testing.assert_allclose(a, b, atol=0.01)


def entries(*more: dict[str, Any]) -> list[dict[str, Any]]:
    """Changes after a bound neckline."""
    return [{"bind": "front", "edge": "neckline"}, *more]


def test_a_bound_edge_stays_bound() -> None:
    """What a binding encloses takes no allowance after further changes either."""
    work = changed(top(), *entries({"lengthen": "front", "at": "side notch", "by": 2}))
    assert work.pieces["front"].widths({"all": 10.0})["neckline"] == 0.0


def test_a_piece_with_a_cutting_line_of_its_own_is_not_cut() -> None:
    """A cutting line that no allowances tell would no longer fit: the change says so, and what to do."""
    front = top().pieces["front"]
    kept = front.with_(own_cutting_line=front.cutting_line(USUAL_ALLOWANCES))
    with pytest.raises(DraftError, match="cutting line of its own"):
        changed(Work({"front": kept}, ()), {"cut": "front", "level": "side at armhole"})


def test_a_darts_point_is_drilled_a_centimetre_inside_it() -> None:
    """The drill mark of a moved dart lies 10 mm from its point, towards the edge, where no hole shows."""
    front = aldrich_front()
    bust = np.array(front.landmarks["bust point"])
    moved = pivot(front, bust, End.of_dart(front, front.darts[0]), at(front, "side 100 mm from armhole"))  # fmt: skip
    (dart,), (hole,) = moved.darts, moved.drills
    middle = 0.5 * (np.array(dart.first) + np.array(dart.second))
    way = hole.points[0] - bust
    assert np.hypot(*way) == pytest.approx(10.0, abs=1e-6)
    assert way @ (middle - bust) == pytest.approx(10.0 * np.hypot(*(middle - bust)), rel=1e-9)


def test_what_is_left_of_a_dart_is_as_short_of_the_bust_point_as_it_was() -> None:
    """Half of a dart that ends 25 mm before the bust point is moved: the other half still ends there."""
    front = aldrich_front()
    bust = np.array(front.landmarks["bust point"])
    (dart,) = front.darts
    middle = 0.5 * (np.array(dart.first) + np.array(dart.second))
    tip = bust + 25.0 * (middle - bust) / np.hypot(*(middle - bust))
    short = front.with_(darts=(replace(dart, tip=(float(tip[0]), float(tip[1]))),))
    halved = pivot(short, bust, End.of_dart(short, short.darts[0]), at(short, "waist 98.5 mm from centre front"), 0.5)  # fmt: skip
    (left,) = (d for d in halved.darts if d.edge == "shoulder")
    assert np.hypot(*(np.array(left.tip) - bust)) == pytest.approx(25.0, abs=1e-6)
    assert left.legs_mm[0] == pytest.approx(left.legs_mm[1], abs=1e-6)


def test_an_opened_piece_meets_a_half_one_on_both_sides() -> None:
    """A front that was faced on the fold and is then opened out: its neckline is twice the facing's
    half, and they still mate; so does a band that went round both halves before."""
    face = {"face": "front", "edges": ["neckline"], "width": 6}
    band = {"band": "front", "edge": "neckline", "width": 3}
    for entry in (face, band):
        assert failing(changed(top(), entry, {"unfold": "front"})) == []
    assert failing(changed(skirt(), {"unfold": "front"})) == [], "in its waistband with the back"
    gathered = {"spread": "front", "from": "neckline", "to": "hem", "lines": 3, "ratio": 1.3, "as": "gathers"}  # fmt: skip
    assert failing(changed(top(), band, gathered, {"unfold": "front"})) == []


@pytest.mark.parametrize("bend", [20.0, -20.0])
@pytest.mark.parametrize(
    ("start", "end", "axis"),
    [
        ("armhole 1/2", "fold 200 mm from neckline", 1),
        ("fold 200 mm from neckline", "armhole 1/2", 1),
        ("hem 1/2", "shoulder 1/2", 0),
        ("shoulder 1/2", "hem 1/2", 0),
    ],
)
def test_a_line_bends_up_or_away_from_the_centre(start: str, end: str, axis: int, bend: float) -> None:  # fmt: skip
    """Across the piece a positive bend is upward, down it away from the centre, from whichever end the
    line is told."""
    line = line_between(top().pieces["front"], start, end, (), bend, "mm").points
    middle = line[len(line) // 2]
    assert np.sign(middle[axis] - np.interp(middle[1 - axis], *_sorted(line[[0, -1]], 1 - axis, axis))) == np.sign(bend)  # fmt: skip


def _sorted(ends: np.ndarray, by: int, of: int) -> tuple[np.ndarray, np.ndarray]:
    """Both ends in order, for `numpy.interp`."""
    order = np.argsort(ends[:, by])
    return ends[order, by], ends[order, of]


def test_truing_up_leaves_notches_on_their_cloth() -> None:
    """A corner redrawn makes an edge shorter; notches on what was not redrawn stay where they are."""
    panel = Piece.from_outline("panel", [], edges={
        "low": [(0, 0), (300, 0)], "right": [(300, 0), (300, 300)],
        "top": [(300, 300), (150, 420), (0, 300)], "left": [(0, 300), (0, 0)],
    })  # fmt: skip
    long_ = panel.edges["top"].length_mm
    panel = panel.with_(notches=(Notch("top", 20.0, 1, "a"), Notch("top", long_ - 20.0, 1, "b")))
    work = changed(Work({"panel": panel}, ()), {"true up": "panel", "edge": "top", "reach": 6})
    made = work.pieces["panel"]
    assert made.edges["top"].length_mm < long_ - 5.0
    for before, after in zip(panel.notches, made.notches, strict=True):
        was, now = (p.edges["top"].at(n.at_mm)[0] for p, n in ((panel, before), (made, after)))
        np.testing.assert_allclose(was, now, atol=0.02)


def test_a_facing_has_the_notches_of_its_edge() -> None:
    """The armhole's notch comes on the facing, at the same place of the same line."""
    work = changed(top(), {"face": "back", "edges": ["armhole"], "width": 5})
    body, facing = work.pieces["back"], work.pieces["back armhole facing"]
    mine = [n for n in body.notches if n.edge == "armhole"]
    theirs = [n for n in facing.notches if n.edge == "armhole"]
    assert mine and [(n.count, n.match) for n in mine] == [(n.count, n.match) for n in theirs]
    for n, m in zip(mine, theirs, strict=True):
        np.testing.assert_allclose(
            body.edges["armhole"].at(n.at_mm)[0], facing.edges["armhole"].at(m.at_mm)[0], atol=0.01
        )


def test_an_edge_is_walked_from_the_end_where_the_notches_meet() -> None:
    """The two halves of a back, mirrored: their sides run against one another, and are walked so."""
    work = changed(top(), {"seam at fold": "back"}, {"part": "back"})
    found = walk(work.pieces["left back"], "side", work.pieces["right back"], "side")
    assert found.reversed_
    assert found.notches and all(g is not None and abs(g) < 0.01 for _, _, g in found.notches)
    same = walk(work.pieces["left back"], "side", work.pieces["left back"], "side")
    assert not same.reversed_
