"""Shaped cuffs from a sleeve's end, and interfacing that is cut as drawn."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from exchange_pieces import sleeve
from shaping_pieces import body
from test_changes import changed, failing, skirt, top

from configs.errors import DraftError, InputError
from drafting import draft
from drafting.outline import corner_angle_deg, nearest_distance
from drafting.piece import Notch, Piece
from drafting.shaping.state import Work
from drafting.truing import USUAL_ALLOWANCES, sewn_length

CUFF: dict[str, Any] = {"cuff": "sleeve", "edge": "hem", "width": 6}


def tapering() -> Work:
    """A sleeve that narrows from 330 mm to 220 mm over 420 mm of height, with a notch at its end."""
    piece = sleeve()
    return Work({"sleeve": piece.with_(notches=(*piece.notches, Notch("hem", 70.0, 2, "placket")))})


# By hand: 60 mm up the seam, which is 423.6 long and leans out by 55, the sleeve is 15.58 mm wider.
@pytest.mark.parametrize(("turned", "outer"), [(True, 235.58), (False, 204.42)])
def test_a_cuff_follows_the_slope_of_the_sleeve(turned: bool, outer: float) -> None:
    """Turned back it is as wide at its outer edge as the sleeve there; set on it narrows on by as much.
    Its ends are square to both edges, it is 6 cm wide all along, and it mates the sleeve's end."""
    work = changed(tapering(), {**CUFF, "turned": turned})
    made = work.pieces["sleeve cuff"]
    assert made.edges["hem"].length_mm == pytest.approx(220.0, abs=0.02)
    assert made.edges["outer"].length_mm == pytest.approx(outer, abs=0.05)
    gaps = nearest_distance(made.edges["outer"].points, made.edges["hem"].points)
    assert gaps == pytest.approx(60.0, abs=0.02)
    ring = list(made.edges.values())
    for a, b in zip(ring, [*ring[1:], ring[0]], strict=True):
        assert corner_angle_deg(a.end_tangent, b.start_tangent) == pytest.approx(90.0, abs=1.0)
    assert failing(work) == []
    assert (made.cut, made.pair) == (4, True)  # two sleeves, an outer and an under cuff
    assert made.label[:2] == ("sleeve cuff", "cut 4, in pairs")
    # laid on the sleeve's end, which runs the other way, the notch meets its partner
    (notch,) = made.notches
    assert (notch.at_mm, notch.count, notch.match) == (pytest.approx(150.0, abs=0.02), 2, "placket")


def test_a_cuff_with_an_overlap_and_pleated_fullness() -> None:
    """17 cm round with 2 cm to button on a sleeve end of 22: 5 cm are told as taken in, and it mates."""
    work = changed(tapering(), {**CUFF, "girth": 17, "overlap": 2})
    made = work.pieces["sleeve cuff"]
    assert made.edges["hem"].length_mm == pytest.approx(190.0, abs=0.02)
    (seam,) = (s for s in work.seams if s.name == "sleeve cuff")
    assert seam.ease_mm == pytest.approx(220.0 - 170.0 - 20.0)
    assert failing(work) == []
    spots = {n.match: n.at_mm for n in made.notches}
    assert spots["overlap"] == pytest.approx(20.0)
    assert spots["placket"] == pytest.approx(20.0 + 170.0 * 150.0 / 220.0, abs=0.02)


def test_a_cuff_for_a_sleeve_of_front_and_back() -> None:
    """A grown-on sleeve ends at the front and at the back: the cuff goes round both, a notch between."""
    made = draft("quick-top", body("pear"), {"opening": "none", "sleeve": "short"})
    work = changed(
        Work(made.pieces, made.seams),
        {"cuff": ["front", "back"], "edge": "sleeve hem", "width": 3, "as": "cuff"},
    )
    cuff = work.pieces["cuff"]
    halves = [sewn_length(work.pieces[n], "sleeve hem") for n in ("front", "back")]
    assert cuff.edges["sleeve hem"].length_mm == pytest.approx(sum(halves), abs=0.05)
    assert cuff.cut == 4
    assert any(n.at_mm == pytest.approx(halves[1], abs=0.05) for n in cuff.notches)
    assert failing(work) == []


def test_a_cuff_that_would_be_a_cone_is_refused() -> None:
    """The steeper the slope and the wider the cuff, the less is left outside: 40 % at least."""
    wide = {
        n: [(x * (1.0 if y == 0 else 3.0), y) for x, y in e.points]
        for n, e in sleeve().edges.items()
    }
    work = Work({"sleeve": Piece.from_outline("sleeve", [], edges=wide)})  # type: ignore[arg-type]
    changed(work, {**CUFF, "width": 6})
    with pytest.raises(DraftError, match="round at its outer edge"):
        changed(work, {**CUFF, "width": 12})


@pytest.mark.parametrize("short", [0.0, 2.0])
def test_interfacing_is_cut_as_drawn(short: float) -> None:
    """The interfacing of a facing lies 0 or 2 mm inside its sewing line all round but at the fold,
    whatever the allowances; its label says what it is and how many are cut."""
    facing = changed(top(), {"face": "front", "edges": ["neckline"], "width": 6})
    entry = {"copy": "front neck facing", "for": "interfacing", "short": f"{short} mm"}
    piece = changed(facing, entry).pieces["front neck facing interfacing"]
    whole = facing.pieces["front neck facing"]
    cut = piece.cutting_line(USUAL_ALLOWANCES)
    np.testing.assert_allclose(cut, piece.sewing_line)
    raw = piece.edges["raw edge"].points
    sewn = np.concatenate([e.points for n, e in whole.edges.items() if n != "fold"])
    off = nearest_distance(raw, sewn)
    assert off == pytest.approx(short, abs=0.02)
    assert np.abs(piece.edges["fold"].points[:, 0]).max() == 0.0
    assert piece.label[:3] == (piece.name, "cut 1 on the fold", "interfacing")
    twice = changed(facing, {**entry, "count": 2}).pieces[piece.name]
    assert (twice.cut, twice.label[1]) == (2, "cut 2 on the fold")


def test_interfacing_has_its_darts_cut_out() -> None:
    """Of a darted piece the darts are gone, so that they are not sewn double; nothing else is."""
    work = changed(skirt(), {"copy": "front", "for": "interfacing", "short": 0})
    piece, front = work.pieces["front interfacing"], work.pieces["front"]
    assert front.darts and not piece.darts
    gone = front.area_mm2 - piece.area_mm2
    wedges = sum(shapely.Polygon([d.first, d.second, d.tip]).area for d in front.darts)
    assert gone == pytest.approx(wedges, rel=0.1)
    inside = shapely.Polygon(piece.sewing_line)
    for d in front.darts:
        middle = (np.array(d.first) + np.array(d.second) + np.array(d.tip)) / 3.0
        assert not inside.contains(shapely.Point(middle))


@pytest.mark.parametrize(
    "entry",
    [
        {"copy": "front", "for": "interfacing", "shorter": 2},
        {"copy": "front", "for": "lining", "count": 2},
        {**CUFF, "ease": 2, "girth": 20},
    ],
)
def test_what_says_nothing_is_told(entry: dict[str, Any]) -> None:
    """A key that has no meaning for the kind of copy, or that says a thing twice, is named."""
    with pytest.raises(InputError):
        changed(skirt(), entry)


def test_a_notch_at_the_end_of_the_sleeve_lies_on_the_cuff() -> None:
    """The curved cuff is drawn in chords, a hair shorter than its arc: a notch at its end is on it."""
    piece = sleeve()
    ends = tuple(Notch("hem", x, 1, f"end {x}") for x in (0.0, piece.edges["hem"].length_mm))
    work = Work({"sleeve": piece.with_(notches=ends)})
    made = changed(work, {**CUFF, "width": 8}).pieces["sleeve cuff"]
    long_ = made.edges["hem"].length_mm
    assert [n.at_mm for n in made.notches] == pytest.approx([long_, 0.0], abs=0.02)
    assert all(n.at_mm <= long_ for n in made.notches)
