"""Style options: what each does to the pieces, its limits, and that seams stay mated."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from top_bodies import INCH, body, inches

from configs import shipped
from configs.errors import DraftError, InputError
from configs.units import format_length
from drafting import Measurements, draft
from drafting.blocks import Draft, get
from drafting.outline import nearest_distance
from drafting.style import slash_and_spread

OPTIONS = get("quick-top").options
CHOICES = [(o.key, c) for o in OPTIONS for c in o.choices]
LENGTHS = [o for o in OPTIONS if o.kind in ("length", "both")]


def plain() -> Draft:
    """The worked example without any style."""
    return draft("quick-top", inches())


def bad(d: Draft) -> list[str]:
    """The names of the checks that fail, those left out for which no opening was allowed."""
    closed = {"the head passes": "opening", "the body passes": "side_opening"}
    return [
        c.name
        for c in d.checks()
        if not c.ok and not (c.name in closed and d.style[closed[c.name]] == "none")
    ]


@pytest.mark.parametrize(("key", "choice"), CHOICES)
def test_every_choice_trues(key: str, choice: str) -> None:
    """Each choice of each option draws pieces that pass every check."""
    # the top of these few measures ends at the hip, where a pocket in the seam has no room
    more = {"length": "900 mm"} if (key, choice) == ("pocket", "seam") else {}
    assert bad(draft("quick-top", inches(), {key: choice, **more})) == []


@pytest.mark.parametrize("option", LENGTHS, ids=lambda o: o.key)
@pytest.mark.parametrize("share", [0.0, 0.4, 1.0])
def test_every_length_within_its_limits_trues_or_is_refused(option: Any, share: float) -> None:
    """Anywhere between its limits a length draws sound pieces or says why it cannot."""
    value = option.low + share * (option.high - option.low)
    style: dict[str, Any] = {option.key: value}
    if option.key.startswith("sleeve"):
        style["sleeve"] = "short"
    try:
        d = draft("quick-top", inches(), style)
    except DraftError as error:
        assert all(f.remedy for f in error.faults)
    else:
        told = ["the arm passes"] if option.key == "sleeve_width" and share == 0.0 else []
        assert bad(d) == told


@pytest.mark.parametrize(
    ("style", "text"),
    [
        ({"neckline": "halter"}, "not one of its choices"),
        ({"neck_line": "v"}, "Did you mean 'neckline'"),
        ({"flare": "4 m"}, "outside its limits"),
        ({"bust_ease": "-1 cm"}, "less than nothing"),
        ({"gather_ratio": "much"}, "not a number"),
        ({"length": "knee"}, "Did you mean .dress."),
        ("short", "not a mapping"),
    ],
)
def test_bad_style_is_refused(style: Any, text: str) -> None:
    """An unknown option, choice or unit, or a value past its limits, is told."""
    with pytest.raises(InputError, match=text):
        draft("quick-top", inches(), style)


def test_all_style_faults_at_once() -> None:
    """Every fault of a style is told in one message."""
    with pytest.raises(InputError) as caught:
        draft("quick-top", inches(), {"neckline": "halter", "flare": -5, "pocket": "three"})
    assert len(caught.value.faults) == 3


def test_plain_numbers_take_the_unit_given() -> None:
    """Numbers are mm unless the docket has another unit; texts carry their own."""
    m = inches()
    a = draft("quick-top", m, {"front_neck_depth": 130})
    b = draft("quick-top", m, {"front_neck_depth": 13}, unit="cm")
    c = draft("quick-top", m, {"front_neck_depth": "13 cm"})
    for d in (a, b, c):
        assert d.pieces["front"].edges["neckline"].points[-1, 1] == pytest.approx(-130.0)


def test_ease_goes_round_the_body() -> None:
    """Bust ease of 6 in puts 1 1/2 in on each quarter."""
    d = draft("quick-top", inches(), {"bust_ease": "6 in"})
    x = float(d.pieces["front"].edges["side"].points[-1, 0])
    assert x == pytest.approx((36 / 4 + 1.5) * INCH)


@pytest.mark.parametrize(
    ("length", "below"),
    [("top", 24 * INCH), ("tunic", 24 * INCH + 150), ("dress", 24 * INCH + 420), (700.0, 700.0)],
)
def test_length_at_the_centre(length: object, below: float) -> None:
    """The hem at the centre lies as far below the back neck point as asked."""
    fold = draft("quick-top", inches(), {"length": length}).pieces["front"].edges["fold"].points
    assert fold[-1, 1] == pytest.approx(-below)


def test_cropping_changes_nothing_above() -> None:
    """A crop is the top cut off: armhole, shoulder and neckline stay, the side is its upper part."""
    full, crop = plain(), draft("quick-top", inches(), {"length": "crop"})
    for half in ("front", "back"):
        for edge in ("armhole", "shoulder", "neckline"):
            np.testing.assert_allclose(
                crop.pieces[half].edges[edge].points,
                full.pieces[half].edges[edge].points,
                atol=1e-9,
            )


def test_flare_lands_at_the_hem() -> None:
    """A flare of 20 cm makes the hem 20 cm longer round the body, and leaves the armhole."""
    d = draft("quick-top", inches(), {"flare": "20 cm"})
    hems = [sum(2 * p.edges["hem"].length_mm for p in x.pieces.values()) for x in (plain(), d)]
    assert hems[1] - hems[0] == pytest.approx(200.0, abs=0.2)
    assert float(d.pieces["front"].edges["side"].points[-1, 0]) == pytest.approx(10 * INCH)


def test_shaped_waist_is_shaped_at_the_waist() -> None:
    """Shaped goes in to the eased waist, but no more than 4 cm inside the straight seam."""
    m = body(bust_girth=960.0, waist_girth=900.0, hip_girth_at_tailbone=1000.0)
    side = draft("quick-top", m, {"waist": "shaped"}).pieces["front"].edges["side"].points
    at_waist = float(np.interp(-16 * INCH, side[:, 1], side[:, 0]))
    assert at_waist == pytest.approx(900 / 4 + 0.75 * INCH, abs=0.1)
    slim = body(bust_girth=960.0, waist_girth=600.0, hip_girth_at_tailbone=1000.0)
    side = draft("quick-top", slim, {"waist": "shaped"}).pieces["front"].edges["side"].points
    at_waist = float(np.interp(-16 * INCH, side[:, 1], side[:, 0]))
    straight = (960 + 1000) / 8 + INCH
    assert at_waist == pytest.approx(straight - 40, abs=0.1)


def test_narrow_shoulder_for_sleeveless() -> None:
    """The shoulder seam loses what shoulder_in says, at its outer end."""
    d = draft("quick-top", inches(), {"shoulder_in": "2 cm"})
    now, then = (x.pieces["front"].edges["shoulder"] for x in (d, plain()))
    assert now.length_mm == pytest.approx(then.length_mm - 20)
    np.testing.assert_allclose(now.points[-1], then.points[-1])


@pytest.mark.parametrize("sleeve", ["short", "elbow"])
def test_grown_on_sleeve_mates_underarm_and_shoulder(sleeve: str) -> None:
    """A sleeve has an underarm and a hem; front and back fit, also where the bust was changed."""
    for fit in ([], [{"change": "bust", "by": "4 cm", "where": "front"}]):
        d = draft("quick-top", body(upper_arm_girth=290.0), {"sleeve": sleeve}, fit)
        front, back = d.pieces["front"].edges, d.pieces["back"].edges
        assert list(front) == [
            "fold", "hem", "side", "underarm", "sleeve hem", "shoulder", "neckline",
        ]  # fmt: skip
        for edge in ("side", "underarm", "shoulder"):
            assert front[edge].length_mm == pytest.approx(back[edge].length_mm, abs=0.01)
        round_arm = front["sleeve hem"].length_mm + back["sleeve hem"].length_mm
        assert round_arm > 290.0 + 40.0


def test_sleeve_hems_follow_the_hem_allowance() -> None:
    """'hem: 25' is the allowance of a sleeve hem too, unless 'sleeve hem' says otherwise."""
    front = draft("quick-top", inches(), {"sleeve": "short"}).pieces["front"]
    middle = front.edges["sleeve hem"].at(0.5 * front.edges["sleeve hem"].length_mm)[0]
    for own, wanted in (({}, 25.0), ({"sleeve hem": 40.0}, 40.0)):
        line = front.cutting_line({"all": 10.0, "hem": 25.0, **own})
        off = nearest_distance(middle[None], np.concatenate([line, line[:1]]))[0]
        assert off == pytest.approx(wanted, abs=0.1)


def test_centre_back_seam() -> None:
    """With a seam the back is a pair with an edge to sew where the fold was."""
    back = draft("quick-top", inches(), {"centre_back": "seam"}).pieces["back"]
    assert (back.cut, back.pair, back.fold) == (2, True, None)
    assert "fold" not in back.edges
    line = back.cutting_line({"all": 10, "centre back": 15})
    assert line[:, 0].min() == pytest.approx(-15)


@pytest.mark.parametrize("spread", ["even", "top"])
def test_gathers_lengthen_only_the_neckline(spread: str) -> None:
    """The neckline is half as long again before gathering; shoulder, armhole, side are as before."""
    d = draft("quick-top", inches(), {"gathers": "front", "gather_spread": spread})
    now, then = d.pieces["front"].edges, plain().pieces["front"].edges
    assert now["neckline"].length_mm == pytest.approx(1.5 * then["neckline"].length_mm, abs=0.05)
    for edge in ("shoulder", "armhole", "side"):
        assert now[edge].length_mm == pytest.approx(then[edge].length_mm, abs=1e-6)
    assert bad(d) == []


def test_gathers_leave_a_side_seam_that_comes_in_far() -> None:
    """On a body whose hips are far narrower than the bust the gathers stay short of the side seam, so
    that it is moved as it is and still mates."""
    m = body(bust_girth=637.0, waist_girth=368.0, hip_girth_at_tailbone=353.0, neck_width=155.0)
    for gathers in ("front", "both"):
        d = draft("quick-top", m, {"length": "dress", "gathers": gathers, "opening": "none"})
        assert [
            c.name
            for c in d.checks()
            if not c.ok and c.name.startswith(("side", "hem", "front", "back"))
        ] == []


def test_slash_and_spread_by_hand() -> None:
    """Even: what lies beyond the slashes moves by the amount. Hinged: it opens by it at the top,
    nothing at the hinge, and keeps its shape."""
    points = np.array([[0.0, 0.0], [0.0, 500.0], [80.0, 500.0], [80.0, 0.0], [200.0, 0.0]])
    even = slash_and_spread(points, 80.0, 30.0, 0.0, 0.0)
    np.testing.assert_allclose(even, points + np.array([[0, 0]] * 2 + [[30, 0]] * 3))
    hinged = slash_and_spread(points, 80.0, 30.0, 0.0, 500.0)
    np.testing.assert_allclose(hinged[:2], points[:2])
    opened = np.hypot(*(hinged[2] - hinged[1])) - 80.0
    assert opened == pytest.approx(30.0, abs=1.5)
    for i, j in ((2, 3), (3, 4), (2, 4)):
        wanted = np.hypot(*(points[i] - points[j]))
        assert np.hypot(*(hinged[i] - hinged[j])) == pytest.approx(wanted, abs=1e-9)


def test_facings_fit_their_edges() -> None:
    """Neck and armhole facings have the edge's own line, and shoulders that mate."""
    d = draft("quick-top", inches(), {"neckline_finish": "facing", "armhole_finish": "facing"})
    for half in ("front", "back"):
        for kind, edge in (("neck", "neckline"), ("armhole", "armhole")):
            facing = d.pieces[f"{half} {kind} facing"]
            np.testing.assert_allclose(
                facing.edges[edge].points, d.pieces[half].edges[edge].points, atol=1e-9
            )
    a, b = (d.pieces[f"{h} neck facing"].edges["shoulder"].length_mm for h in ("front", "back"))
    assert a == pytest.approx(b, abs=1e-6)
    assert a == pytest.approx(60.0)
    assert d.pieces["front armhole facing"].pair


def test_binding_is_as_long_as_its_edge() -> None:
    """The bias strips, less their joins, make the true length of the finished edge, at 45°."""
    d = draft("quick-top", inches(), {"neckline_finish": "bias", "armhole_finish": "bias"})
    edges = {
        "neck binding": 2 * sum(d.pieces[h].edges["neckline"].length_mm for h in ("front", "back")),
        "armhole binding": sum(d.pieces[h].edges["armhole"].length_mm for h in ("front", "back")),
    }
    for name, finished in edges.items():
        strip = d.pieces[name]
        ring = strip.sewing_line
        long = np.hypot(*(ring[1] - ring[0]))
        angle = np.degrees(np.arctan2(*(ring[1] - ring[0])))
        assert angle == pytest.approx(45.0)
        parts = strip.cut / (2 if "armhole" in name else 1)
        assert parts * (long - 2 * 6.0 * np.sqrt(2)) == pytest.approx(finished, abs=0.2)
        np.testing.assert_allclose(strip.cutting_line({"all": 10}), ring)  # raw edges stay raw


def test_pocket_is_placed() -> None:
    """The pocket's place has its size and lies inside the front; a hip pocket is cut twice."""
    d = draft("quick-top", inches(), {"pocket": "hip", "pocket_width": "12 cm"})
    place = next(m for m in d.pieces["front"].marks if m.name == "pocket")
    assert place.closed
    assert np.ptp(place.points[:, 0]) == pytest.approx(120.0)
    import shapely

    assert shapely.Polygon(d.pieces["front"].sewing_line).contains(shapely.Polygon(place.points))
    assert d.pieces["pocket"].cut == 2
    assert len(d.pieces["front"].drills) == 2


@pytest.mark.parametrize("fit", [None, [{"change": "one shoulder lower", "by": 8, "side": "left"}]])
def test_a_bound_edge_is_cut_on_its_sewing_line(fit: Any) -> None:
    """A binding encloses the raw edge: 'all' gives it no allowance, only its own name does.

    Common practice, no source.
    """
    style = {"neckline_finish": "bias", "armhole_finish": "bias"}
    d = draft("quick-top", inches(), style, fit)
    for name in ("front", "back"):
        piece = d.pieces[name]
        whole = piece.opened()
        for shape, line in (
            (piece, piece.cutting_line({"all": 10.0})),
            (whole, piece.unfolded({"all": 10.0})),
            (whole, whole.cutting_line({"all": 10.0})),
        ):
            for edge in shape.edges.values():
                middle = edge.points[len(edge.points) // 2 - 1 : len(edge.points) // 2 + 1].mean(0)
                off = float(nearest_distance(middle[None], np.concatenate([line, line[:1]]))[0])
                bound = edge.name.split()[-1] in ("neckline", "armhole") or edge.name == "fold"
                assert off == pytest.approx(0.0 if bound else 10.0, abs=0.1), edge.name
        named = piece.cutting_line({"all": 10.0, "neckline": 6.0})
        assert np.ptp(named[:, 1]) > np.ptp(piece.cutting_line({"all": 10.0})[:, 1]) - 1e-9
        assert piece.widths({"all": 10.0, "armhole": 4.0}).get("armhole") == 4.0
    assert all(c.ok for c in d.checks({"all": 10.0}))
    strips = d.pieces["armhole binding"]
    assert strips.how_to_cut == "cut 2 on the bias"


@pytest.mark.parametrize("spread", ["even", "top"])
@pytest.mark.parametrize("centre_back", ["fold", "seam"])
@pytest.mark.parametrize("neckline", ["round", "v", "square"])
def test_gathers_are_notched_and_told(spread: str, centre_back: str, neckline: str) -> None:
    """From the notches to the centre the neckline is as long as the note says, before and after."""
    style = {
        "neckline": neckline,
        "centre_back": centre_back,
        "gathers": "both",
        "gather_spread": spread,
        "neckline_finish": "facing",
    }
    d = draft("quick-top", body(), style)
    for half in ("front", "back"):
        loose, drawn = (
            next(p for n, p in d.pieces.items() if n.endswith(end))
            for end in (half, f"{half} neck facing")
        )
        spans = []
        for piece in (loose, drawn):
            (notch,) = [n for n in piece.notches if n.match == "gathers"]
            spans.append(2 * (piece.edges["neckline"].length_mm - notch.at_mm))
        text = f"gather {format_length(spans[0], 'mm')} into {format_length(spans[1], 'mm')}"
        assert text in loose.label
        assert any(text in note for note in d.notes)
    assert all("gathers not counted" in c.name for c in d.checks() if c.name.startswith("finished"))
    assert bad(d) == []


def test_a_program_s_numbers_are_millimetres_and_taken_as_they_are() -> None:
    """From Python 4.0 is 4 mm; with the unit of a person's file the same number is asked back."""
    body = Measurements.load(shipped("measurements", "alto-3.yaml"))
    assert draft("quick-top", body, {"flare": 4.0}).style["flare"] == 4.0
    with pytest.raises(InputError, match="did you mean 4 cm or 4 in"):
        draft("quick-top", body, {"flare": 4.0}, unit="mm")
