"""What lies on a piece goes with the cloth it lies on: each is held against two corners of its part."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from shaping_pieces import aldrich_front, at, curved
from test_changes import changed, top

from configs.errors import DraftError
from drafting.outline import Edge
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.shaping.cutting import join
from drafting.shaping.parts import End, built, runs_of
from drafting.shaping.pivoting import pivot
from drafting.shaping.state import Work
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
    made = join(work.with_piece(shifted), "yoke", "panel", seam, seam, "panel").pieces["panel"]
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
