"""Notches: partners on mated edges, at waist, hip, centres and hem turns, and never far apart.

One every 25 to 30 cm at most: common practice, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from top_bodies import body, centimetres, inches

from drafting import Measurements, draft
from drafting.blocks import Draft
from drafting.piece import Notch, Piece
from drafting.sheet.notching import at_height, notched
from drafting.truing import Seam

PLUS = body(bust_girth=1320.0, waist_girth=1240.0, hip_girth_at_tailbone=1400.0)
ONE_SIDED = [{"change": "one shoulder lower", "by": "8 mm", "side": "left"}]
TOPS: list[tuple[Any, dict[str, Any], Any]] = [
    (inches(), {}, []),
    (centimetres(), {"length": "dress", "centre_back": "seam", "sleeve": "elbow"}, []),
    (PLUS, {"length": "dress", "neckline_finish": "facing", "armhole_finish": "facing"}, []),
    (inches(), {"neckline_finish": "facing", "armhole_finish": "facing", "waist": "shaped"}, ONE_SIDED),
    (inches(), {"centre_back": "seam", "length": "tunic"}, ONE_SIDED),
    (inches(), {"gathers": "both", "neckline_finish": "facing"}, [{"change": "bust", "by": "4 cm", "where": "front"}]),
]  # fmt: skip
SKIRTS: list[dict[str, Any]] = [
    {}, {"waist_finish": "facing"}, {"length": "110 cm", "flare": "30 cm"},
    {"centre_back": "fold", "waist_finish": "facing"}, {"centre_back": "fold"},
]  # fmt: skip


def drafts() -> list[Draft]:
    """Tops and skirts."""
    out = [draft("quick-top", m, s, f) for m, s, f in TOPS]
    for waist, hip in ((72, 96), (120, 132)):
        m = {"unit": "cm", "waist_girth": waist, "hip_girth": hip, "waist_to_hip": 20.6}
        out += [draft("straight-skirt", Measurements.from_dict(m), s) for s in SKIRTS]
    return out


def from_top(piece: Piece, edge: str) -> list[tuple[float, int]]:
    """(distance from the upper end, or from the centre on a level edge; count) of its notches."""
    line = piece.edges[edge]
    a, b = line.points[0], line.points[-1]
    steep = abs(b[1] - a[1]) > 0.3 * abs(b[0] - a[0])
    down = a[1] > b[1] if steep else abs(a[0]) < abs(b[0])
    places = [
        (n.at_mm if down else line.length_mm - n.at_mm, n.count)
        for n in piece.notches
        if n.edge == edge
    ]
    return sorted(places)


def test_mated_edges_have_equal_notches_never_far_apart() -> None:
    """On every seam of one edge on one edge: as many, at the same distances; gaps of 30 cm at most."""
    seen = 0
    for d in drafts():
        for seam in d.seams:
            if len(seam.a) != 1 or len(seam.b) != 1:
                continue
            (pa, ea), (pb, eb) = seam.a[0], seam.b[0]
            a, b = (d.pieces[p].edges[e].length_mm for p, e in ((pa, ea), (pb, eb)))
            if abs(a - b) > 1.0:  # darts or gathers: another test
                continue
            one, other = from_top(d.pieces[pa], ea), from_top(d.pieces[pb], eb)
            assert [x for x, _ in one] == pytest.approx([x for x, _ in other], abs=0.6), (
                seam,
                one,
                other,
            )
            assert [c for _, c in one] == [c for _, c in other], seam
            stops = [0.0, *(x for x, _ in one), a]
            assert max(np.diff(stops)) <= 300.0 + 1e-6, seam
            seen += 1
    assert seen > 40


def test_waist_hip_centre_and_hem_are_notched() -> None:
    """At the levels that were drawn, where the folds lie, and where every hem turns up."""
    d = draft("quick-top", inches(), {"length": "dress"})
    for half in ("front", "back"):
        piece = d.pieces[half]
        at = {n.match: piece.edges[n.edge].at(n.at_mm)[0] for n in piece.notches}
        assert at["waist"][1] == pytest.approx(-16 * 25.4, abs=0.1)
        assert at["hip"][1] == pytest.approx(-24 * 25.4, abs=0.1)
        centre = [n for n in piece.notches if n.match == f"centre {half}"]
        assert {n.edge for n in centre} == {"neckline", "hem"}
        assert all(abs(piece.edges[n.edge].at(n.at_mm)[0][0]) < 1e-9 for n in centre)
        (turn,) = (n for n in piece.notches if n.match == "hem")
        assert turn.edge == "side"
        assert piece.edges["side"].at(turn.at_mm)[0] == pytest.approx(piece.edges["hem"].points[-1])
    sleeved = draft("quick-top", inches(), {"sleeve": "elbow"}).pieces["front"]
    assert {n.edge for n in sleeved.notches if n.match == "hem"} == {"side", "underarm", "shoulder"}


@pytest.mark.parametrize("style", SKIRTS)
def test_band_and_facing_share_names_with_the_skirt(style: dict[str, Any]) -> None:
    """Each name on band or facing is on the skirt too; walked from one shared place to the next, band
    and closed waist agree."""
    m = {"unit": "cm", "waist_girth": 72, "hip_girth": 96, "waist_to_hip": 20.6}
    d = draft("straight-skirt", Measurements.from_dict(m), style)
    names = {
        h: {n.match for n in d.pieces[h].notches if n.edge == "waist"} for h in ("front", "back")
    }
    finishes = [p for n, p in d.pieces.items() if n not in ("front", "back")]
    for finish in finishes:
        own = {n.match for n in finish.notches if n.edge == "waist"} - {"overlap"}
        there = (
            names["front"] | names["back"]
            if finish.name == "waistband"
            else names[finish.name.split()[0]]
        )
        assert own and own <= there
        for half in ("front", "back"):
            piece = d.pieces[half]
            darts = [n for n in piece.notches if n.match == f"{half} dart 1"]
            mine = [n.at_mm for n in finish.notches if n.match == f"{half} dart 1"]
            if not mine:
                continue
            # from the centre to the first dart: a leg nearer the centre on the skirt
            length = piece.edges["waist"].length_mm
            on_skirt = length - max(n.at_mm for n in darts)
            if finish.name == "waistband":
                centre = [n.at_mm for n in finish.notches if n.match == f"centre {half}"] or [0.0]
                assert min(abs(x - centre[0]) for x in mine) == pytest.approx(on_skirt, abs=0.1)
            else:
                whole = finish.edges["waist"].length_mm
                assert whole - mine[0] == pytest.approx(on_skirt, abs=0.1)


def test_a_slit_goes_on_into_its_facing() -> None:
    """Bar and slit are on the back and on its neck facing at one height."""
    d = draft(
        "quick-top",
        inches(),
        {"neckline_finish": "facing", "opening": "slit", "opening_length": "12 cm"},
    )
    ends = [
        next(m for m in d.pieces[p].marks if m.name == "opening").points[1]
        for p in ("back", "back neck facing")
    ]
    assert ends[0] == pytest.approx(ends[1])


def toy(length: float, *at: float) -> Piece:
    """A strip with notches on its long right edge."""
    ring = shapely.box(0, 0, 60, length).exterior.coords[:-1]
    piece = Piece.from_outline("strip", ring, edges={
        "foot": [(0, 0), (60, 0)], "long": [(60, 0), (60, length)],
        "head": [(60, length), (0, length)], "left": [(0, length), (0, 0)],
    })  # fmt: skip
    return piece.with_(notches=tuple(Notch("long", a) for a in at))


@pytest.mark.parametrize(
    ("length", "count"), [(150.0, 0), (299.0, 0), (301.0, 1), (600.0, 1), (601.0, 2)]
)
def test_long_seams_get_more(length: float, count: int) -> None:
    """Half and twice of 30 cm, and either side of it."""
    pieces = {"a": toy(length), "b": toy(length)}
    out = notched(pieces, [Seam("s", (("a", "long"),), (("b", "long"),))])
    assert [len(p.notches) for p in out.values()] == [count, count]


def test_a_notch_that_one_edge_lacks_is_given_and_one_that_is_near_is_not_doubled() -> None:
    """b gets a's; a notch 2 mm off counts as the same, one 6 mm off does not."""
    pieces = {"a": toy(250.0, 100.0, 180.0), "b": toy(250.0, 102.0, 186.0)}
    out = notched(pieces, [Seam("s", (("a", "long"),), (("b", "long"),))])
    assert [round(n.at_mm) for n in out["b"].notches] == [100, 180, 186]
    assert at_height(out["a"].edges["long"], 40.0) == pytest.approx(40.0)
    assert at_height(out["a"].edges["long"], 260.0) is None
