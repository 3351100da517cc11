"""Edges that an operation broke are trued by it: smooth, square at their ends, as long as they must be."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shaping_pieces import at, curved, drafted
from test_changes import changed, failing, skirt, top

from configs.errors import DraftError
from drafting.outline import corner_angle_deg, nearest_distance
from drafting.piece import Notch, Piece
from drafting.shaping.mending import CORNER_DEG, mended
from drafting.shaping.spreading import fan
from drafting.shaping.state import Work
from drafting.truing import check_dart_runs, sewn_length

QUICK = settings(
    max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
TRUE_DEG = 2.0  # what truing allows where a line runs on


def sharpest(piece: Piece, edge: str, within_mm: float = 6.0) -> float:
    """The most that an edge turns over a few millimetres, degrees, but for its darts' roofs."""
    e = piece.edges[edge]
    inside = [
        x
        for x in np.arange(within_mm, e.length_mm - within_mm, 1.0)
        if all(
            np.hypot(*(e.at(x)[0] - np.array(p))) > 40.0
            for d in piece.darts
            if d.edge == edge
            for p in (d.first, d.second)
        )
    ]
    turns = [
        corner_angle_deg(e.at(x - within_mm / 2)[1], e.at(x + within_mm / 2)[1]) - 180.0
        for x in inside
    ]
    return float(np.abs(turns).max())


def corners(piece: Piece) -> dict[tuple[str, str], float]:
    """The angle between each edge and the next, degrees."""
    ring = list(piece.edges.values())
    return {
        (a.name, b.name): corner_angle_deg(a.end_tangent, b.start_tangent)
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)
    }


@pytest.mark.parametrize("who", ["pear", "straight", "plus"])
@pytest.mark.parametrize("half", ["front", "back"])
@pytest.mark.parametrize("place", ["hem 1/2", "hem 30 % from side", "hem 25 % from {centre}"])
def test_an_a_line_has_its_hem_trued(who: str, half: str, place: str) -> None:
    """Darts closed into the hem, wherever it is slashed: no corner is left in the hem, which runs square
    into both its seams; it bends one way, waist and side seams are as long as they were."""
    before = skirt(who)
    piece = before.pieces[half]
    centre = "fold" if piece.fold is not None else "centre back"
    flare = {"pivot": half, "from": "dart 1", "to": place.format(centre=centre), "as": "flare"}
    work = changed(before, *[flare] * (1 if half == "front" else len(piece.darts)))
    made = work.pieces[half]
    assert made.edges["hem"].length_mm > piece.edges["hem"].length_mm + 30.0
    assert sharpest(made, "hem") < TRUE_DEG
    for spot, angle in corners(made).items():
        assert angle == pytest.approx(corners(piece)[spot], abs=0.2), spot
    d = np.diff(made.edges["hem"].points, axis=0)
    way = np.degrees(np.unwrap(np.arctan2(d[:, 1], d[:, 0])))
    assert np.diff(way).clip(max=0.0).sum() > -0.6, "the hem does not wave"
    assert sewn_length(made, "waist") == pytest.approx(sewn_length(piece, "waist"), abs=0.05)
    assert made.edges["side"].length_mm == pytest.approx(piece.edges["side"].length_mm, abs=0.01)
    assert failing(work) == []
    assert any(f"{half}: its hem was trued" in t for t in work.said)


EDGES = {
    "quick-top/front": ("neckline", "hem"),
    "quick-top/back": ("hem", "neckline"),
    "straight-skirt/back": ("hem", "waist"),
    "curved": ("crown", "right"),
}


@QUICK
@given(
    st.sampled_from(sorted(EDGES)),
    st.sampled_from(["pear", "straight", "plus"]),
    st.integers(1, 6),
    st.floats(1.05, 2.0),
    st.booleans(),
)
def test_spread_edges_are_smooth_and_as_long_as_asked(
    kind: str, who: str, lines: int, ratio: float, hinged: bool
) -> None:
    """Trued, the spread edge is r times as long (0.01 mm) and has no corner, nor has the hinge, which
    keeps its length; the corners at their ends are those of the cloth as it was opened."""
    block, _, name = kind.partition("/")
    style = ("opening", "none") if block == "quick-top" else ("slit", "none")
    piece = drafted(block, who, style).pieces[name] if name else curved()
    first, second = EDGES[kind]
    entry: dict[str, Any] = {"spread": piece.name, "from": first, "to": second, "lines": lines, "ratio": ratio}  # fmt: skip
    if piece.darts:
        marks = tuple(n for n in piece.notches if "dart" not in n.match)
        piece = piece.with_(darts=(), notches=marks)
    if hinged:
        entry["hinge"] = second
    work = Work({piece.name: piece}, ())
    # openings wider than the strips between them leave an edge no room to be smooth
    assume((ratio - 1.0) * (lines + 1) / lines < 0.8)
    try:
        made = changed(work, entry).pieces[piece.name]
    except DraftError:
        assume(False)
    old = piece.edges[first].length_mm
    assert made.edges[first].length_mm == pytest.approx(ratio * old, abs=0.01)
    if hinged:
        was = piece.edges[second].length_mm
        assert made.edges[second].length_mm == pytest.approx(was, abs=0.05)
    for edge in (first, second):
        assert sharpest(made, edge) < sharpest(piece, edge) + TRUE_DEG + 4.0
    assert shapely.LinearRing(made.sewing_line).is_simple
    assert len(made.notches) == len(piece.notches)
    lengths = {n: e.length_mm for n, e in made.edges.items()}
    assert all(-1e-6 <= n.at_mm <= lengths[n.edge] + 1e-6 for n in made.notches)
    for n in set(piece.edges) - {first, second}:
        assert made.edges[n].length_mm == pytest.approx(piece.edges[n].length_mm, abs=0.01)


def _slashed(corner_deg: float, across: float = 150.0) -> tuple[Piece, Piece]:
    """A panel whose upper edge has a corner where it is slashed and opened by 3 cm, hinged below; as
    opened, and trued."""
    rise = 150.0 * np.tan(np.radians(corner_deg))
    piece = Piece.from_outline("panel", [], edges={
        "low": [(0, 0), (300, 0)], "right": [(300, 0), (300, 400 + rise)],
        "top": [(300, 400 + rise), (150, 400), (0, 400)], "left": [(0, 400), (0, 0)],
    })  # fmt: skip
    ends = (at(piece, f"top {across} mm from left"), at(piece, "low 150 mm from left"))
    opened = [fan(piece, [ends], [(30.0, 0.0)], keep_breaks=keep) for keep in (False, True)]
    return opened[0], mended(opened[1])[0]


@pytest.mark.parametrize(("corner", "kept"), [(CORNER_DEG / 2, False), (CORNER_DEG * 2, True)])
def test_a_corner_that_the_edge_had_is_kept(corner: float, kept: bool) -> None:
    """An edge that was smooth is swept over its opening; one that had a corner there keeps it."""
    opened, trued = _slashed(corner)
    gap = nearest_distance(opened.edges["top"].points, trued.edges["top"].points).max()
    assert bool(gap < 1e-6) == kept


@pytest.mark.parametrize(("across", "swept"), [(2.5, False), (10.0, True)])
def test_next_to_its_end_an_edge_is_left_alone(across: float, swept: bool) -> None:
    """Within 5 mm of the edge's end there is no room for a sweep: the gap stays straight."""
    opened, trued = _slashed(0.0, across)
    gap = nearest_distance(opened.edges["top"].points, trued.edges["top"].points).max()
    assert bool(gap > 1e-6) == swept


def test_a_sweep_leaves_darts_and_notches_where_they_are() -> None:
    """Beside a dart the edge is trued, its roof and legs are as they were; notches stay on their cloth."""
    before = skirt("pear")
    entry = {"spread": "front", "from": "hem 1/2", "to": "waist 3 from side", "by": 8, "hinge": "waist"}  # fmt: skip
    made = changed(before, entry).pieces["front"]
    assert len(made.darts) == len(before.pieces["front"].darts) == 2
    for dart in made.darts:
        for p in (dart.first, dart.second):
            assert nearest_distance(np.array([p]), made.edges["waist"].points)[0] < 1e-6
    assert all(c.ok for c in check_dart_runs({"front": made}))
    assert made.edges["hem"].length_mm - before.pieces["front"].edges["hem"].length_mm == (
        pytest.approx(80.0, abs=0.01)
    )


def test_a_lengthened_side_seam_has_no_step_and_mates() -> None:
    """Front and back lengthened by 4 cm at one level: both side seams slope on, and are still equal."""
    entries = [{"lengthen": h, "at": "side 12 from armhole", "by": 4} for h in ("front", "back")]
    work = changed(top("pear"), *entries)
    assert failing(work) == []
    for half in ("front", "back"):
        assert sharpest(work.pieces[half], "side") < TRUE_DEG


def test_a_notch_stays_on_its_cloth_when_the_edge_is_trued() -> None:
    """A neckline that slopes gets shorter by being trued; notches 1 cm from either end stay there."""
    before = top()
    front = before.pieces["front"]
    long_ = front.edges["neckline"].length_mm
    own = (Notch("neckline", 10.0, 1, "near"), Notch("neckline", long_ - 10.0, 1, "far"))
    work = changed(
        before.with_piece(front.with_(notches=(*front.notches, *own))),
        {"spread": "front", "from": "neckline 1/2", "to": "hem 1/2", "by": 3},
    )
    made = work.pieces["front"]
    spots = {n.match: n.at_mm for n in made.notches}
    assert spots["near"] == pytest.approx(10.0, abs=0.2)
    assert made.edges["neckline"].length_mm - spots["far"] == pytest.approx(10.0, abs=0.2)
    assert made.edges["neckline"].length_mm < long_ + 27.0
