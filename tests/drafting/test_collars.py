"""Collars on necklines: as long as the neckline, square behind, their layers mated; or refused with why."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from bodice_bodies import PLACES
from test_set_in_sleeve import BODY, PLUS, docket, person

from configs.errors import DraftError, InputError
from drafting import draft
from drafting.blocks import Draft, joined
from drafting.curves import Points
from drafting.outline import Edge, nearest_distance, polyline_length
from drafting.piece import Piece
from drafting.sheet.collars import beside, laid_together, rising
from drafting.sheet.necks import Half, neck_of
from drafting.sheet.onto import Onto

COLLARS = ("flat-collar", "stand-collar", "shirt-collar")
LARGER = BODY | {"bust_girth": 108, "waist_girth": 92, "hip_girth_at_tailbone": 118, "neck_width": 15, "shoulder_length": 12.8}  # fmt: skip
SIZES = (BODY, LARGER, PLUS)
OVER_HEAD = {"opening": "none", "neckline": "scoop"}


def collared(name: str, style: Any = None, top: Any = None, body: Any = BODY, fit: Any = ()) -> Draft:  # fmt: skip
    """A quick top with a collar; by default it goes over the head."""
    m = person(body)
    return joined(draft("quick-top", m, OVER_HEAD if top is None else top, fit), name, style)


def bad(d: Draft) -> list[str]:
    """The checks that fail, but for the head, which is the top's own."""
    wrong = [c for c in d.checks() if not c.ok and not c.name.startswith("the head passes")]
    return [f"{c.name}: {c.value_mm:.2f} ({c.text})" for c in wrong]


def halves(top: Draft) -> dict[str, Half]:
    """The half neckline of a top by half, as a collar sees it."""
    from drafting.sheet import Sheet

    onto = Onto(top.pieces, top.seams, top.hangs_on, top.style)
    return dict(neck_of(Sheet(top.measurements, {}, (), onto)).sides[0])


# FACTS L7: what the upper edge of a stand 3 cm high is shorter by, half a neckline of 20 (derived).
@pytest.mark.parametrize(("rise", "shorter"), [(10.0, 3.0), (15.0, 5.0), (25.0, 8.0)])
def test_a_stand_leans_by_its_rise(rise: float, shorter: float) -> None:
    """A stand's seam keeps its length and rises as told; its upper edge is shorter by the figures of
    the trade's tables."""
    lower, upper = rising(200.0, rise), rising(200.0, rise, 30.0)
    assert polyline_length(lower) == pytest.approx(200.0, abs=0.01)
    assert lower[-1, 1] == pytest.approx(rise, abs=0.01)
    assert polyline_length(lower) - polyline_length(upper) == pytest.approx(shorter, abs=0.6)


# FACTS L7: overlap of 12 cm at the shoulder → what the outer edge of a width of 7 is shorter by (derived).
@pytest.mark.parametrize(("overlap", "shorter"), [(12.5, 7.0), (25.0, 14.0), (50.0, 29.0), (75.0, 44.0)])  # fmt: skip
@pytest.mark.parametrize("body", SIZES)
def test_a_flat_collar_rolls_by_its_overlap(body: Any, overlap: float, shorter: float) -> None:
    """At three sizes the overlap keeps the neckline's length, and takes from the outer edge what
    its angle takes; nothing overlapped, the collar is the garment's own line."""
    half = halves(draft("quick-top", person(body), OVER_HEAD))
    outer: list[float] = []
    for much in (0.0, overlap):
        seam, down = laid_together(half["front"], half["back"], much)
        both = sum(polyline_length(h.line) for h in half.values())
        assert polyline_length(seam) == pytest.approx(both, abs=0.01)
        outer.append(polyline_length(beside(seam, 70.0, down)))
    assert outer[0] - outer[1] == pytest.approx(shorter, rel=0.06, abs=0.3)


def test_a_shirt_collar_by_the_lesson() -> None:
    """8 cm behind, the seam rising 1.5 cm to the front, the point 1 cm past it, the outer edge straight;
    at three sizes the seam is the half neckline (a web lesson's one-piece collar)."""
    for body in SIZES:
        d = collared("shirt-collar", body=body)
        piece = d.pieces["upper collar"]
        seam, point = piece.edges["neckline"].points, piece.edges["front edge"].points[-1]
        assert piece.edges["fold"].length_mm == pytest.approx(80.0)
        assert seam[-1, 1] == pytest.approx(15.0, abs=0.01)
        assert point - seam[-1] == pytest.approx([10.0, 65.0], abs=0.01)
        half = sum(d.pieces[h].edges["neckline"].length_mm for h in ("front", "back"))
        assert piece.edges["neckline"].length_mm == pytest.approx(half, abs=0.1)


@pytest.mark.parametrize("name", COLLARS)
@pytest.mark.parametrize("body", SIZES)
@pytest.mark.parametrize("neckline", ["round", "scoop", "v", "boat"])
def test_a_collar_sews_on(name: str, body: Any, neckline: str) -> None:
    """On four necklines and three bodies seam and neckline mate, the centre back is square, and the
    shoulder notch lies as far from the fold as the seam on the garment."""
    top = {"opening": "none", "neckline": neckline}
    d = collared(name, top=top, body=body)
    assert bad(d) == []
    layer = d.pieces["outer stand" if name == "stand-collar" else "upper collar"]
    first = d.pieces["front" if name == "stand-collar" else "back"].edges["neckline"].length_mm
    edge = layer.edges["neckline"]
    at = {n.match: n.at_mm for n in layer.notches if n.edge == "neckline"}
    from_fold = at["shoulder"] if edge.points[0, 0] < 1.0 else edge.length_mm - at["shoulder"]
    assert from_fold == pytest.approx(first, abs=0.2)
    partner = [n for n in d.pieces["front"].notches if n.match == "front neckline"]
    assert len(partner) == 1 and len(d.making) >= 2


def test_layers_and_interfacing() -> None:
    """The under collar is smaller by the turn of cloth at its outer edge and not at the neckline; the
    interfacing lies 2 mm inside the upper one, as many as its cut count says."""
    d = collared("flat-collar", {"turn_of_cloth": "3 mm", "interfacing": "both"})
    upper, under = d.pieces["upper collar"], d.pieces["under collar"]
    assert upper.edges["neckline"].length_mm == pytest.approx(under.edges["neckline"].length_mm)
    gaps = nearest_distance(under.edges["outer"].points, upper.edges["outer"].points)
    assert float(np.median(gaps)) == pytest.approx(3.0, abs=0.05)
    inner = d.pieces["collar interfacing"]
    assert (inner.cut, upper.cut, inner.label[1]) == (2, 1, "cut 2 on the fold")
    raw = inner.edges["raw edge"].points[1:-1]
    assert nearest_distance(raw, upper.unfolded()).min() == pytest.approx(2.0, abs=0.02)
    assert "collar interfacing" not in collared("flat-collar", {"interfacing": "none"}).pieces


@pytest.mark.parametrize("name", COLLARS)
def test_where_left_and_right_differ(name: str) -> None:
    """With one shoulder lower the collar is cut whole, its halves as long as theirs of the neckline."""
    fit = [{"change": "one shoulder lower", "by": "15 mm", "side": "left"}]
    d = collared(name, fit=fit)
    assert bad(d) == []
    layer = d.pieces["outer stand" if name == "stand-collar" else "upper collar"]
    assert layer.fold is None and layer.cut == 1
    whole = sum(d.pieces[h].edges["neckline"].length_mm for h in ("front", "back"))
    assert layer.edges["neckline"].length_mm == pytest.approx(whole, abs=0.2)


@pytest.mark.parametrize("name", COLLARS)
@pytest.mark.parametrize("start", ["neckline", "shoulder"])
def test_a_neckline_in_parts(name: str, start: str) -> None:
    """A front cut from its neckline or its shoulder to the hem takes the same collar as one in one piece."""
    changes = [{"cut": "front", "from": f"{start} 1/2", "to": "hem 1/2"}]
    garment = {"block": "quick-top", "style": OVER_HEAD, "with": [{"block": name}]}
    cut = docket({**garment, "changes": changes}).draft()
    plain = docket(garment).draft()
    layer = "outer stand" if name == "stand-collar" else "upper collar"
    a, b = (x.pieces[layer].edges["neckline"].length_mm for x in (plain, cut))
    assert a == pytest.approx(b, abs=0.05)
    assert bad(cut) == []


@pytest.mark.parametrize("name", ["flat-collar", "stand-collar"])
def test_a_garment_that_opens_at_the_back(name: str) -> None:
    """A slit or a zip at the centre back opens the collar there: a flat one is cut as two halves, a
    stand is folded in front; a bodice takes both. A shirt collar is refused, with what to do."""
    for under in (draft("quick-top", person(BODY)), bodice("back")):
        d = joined(under, name)
        assert bad(d) == []
        if name == "flat-collar":
            assert "centre back" in d.pieces["upper collar"].edges and d.pieces["upper collar"].pair
        else:
            assert {"fold", "back edge"} <= set(d.pieces["outer stand"].edges)
        with pytest.raises(DraftError, match="opening: front"):
            joined(under, "shirt-collar")


def bodice(opening: str) -> Draft:
    """A fitted bodice at bust 88 that opens there."""
    more = {"back_neck_to_waist": 41.0, "bust_girth": 88, "waist_girth": 68, "shoulder_length": 12.25}  # fmt: skip
    return draft("fitted-bodice", person(more), {"opening": opening, "bust_dart": PLACES[2]})


@pytest.mark.parametrize("name", COLLARS)
def test_a_bodice_that_opens_in_front(name: str) -> None:
    """On a bodice with its opening in front every collar is folded behind and ends in front."""
    d = joined(bodice("front"), name)
    layer = d.pieces["outer stand" if name == "stand-collar" else "upper collar"]
    assert bad(d) == []
    assert layer.fold is not None and "front edge" in layer.edges


def test_what_is_refused() -> None:
    """Alone, twice, on a bound or a square neckline, or flat on a gathered one: each with its reason;
    a stand goes on the gathered one, and takes the fullness."""
    for name in COLLARS:
        with pytest.raises(InputError, match="sewn to the neckline"):
            draft(name, person(BODY))
        with pytest.raises(DraftError, match=r"taken by the .* already"):
            joined(collared(name), name)
        with pytest.raises(DraftError, match="taken by a binding"):
            collared(name, top={**OVER_HEAD, "neckline_finish": "bias"})
        assert bad(collared(name, top={**OVER_HEAD, "neckline_finish": "facing"})) == []
    for name in COLLARS[1:]:
        with pytest.raises(DraftError, match="has corners"):
            collared(name, top={"opening": "none", "neckline": "square"})
    gathers = {**OVER_HEAD, "gathers": "front"}
    with pytest.raises(DraftError, match="is gathered"):
        collared("flat-collar", top=gathers)
    full, plain = (collared("stand-collar", top=t) for t in (gathers, OVER_HEAD))
    assert bad(full) == []
    assert full.figures["collar seam"] == pytest.approx(plain.figures["collar seam"], abs=0.1)


# Where, an option at half and at twice its limit, and what else is chosen.
@pytest.mark.parametrize(
    ("name", "key", "limit", "half", "twice"),
    [
        ("flat-collar", "style.width", "wider than the shoulder", {"width": "6 cm"}, {"width": "20 cm"}),
        ("shirt-collar", "style.fall", "in sight", {"fall": "74 mm"}, {"fall": "20 mm"}),
        ("shirt-collar", "style.point", "along the neckline", {"point": "60 mm", "point_out": "15 mm"}, {"point": "60 mm", "point_out": "60 mm"}),
        ("stand-collar", "style.rise", "makes the upper edge", {"rise": "30 mm", "height": "35 mm"}, {"rise": "60 mm", "height": "90 mm"}),
    ],
)  # fmt: skip
def test_guards_at_half_and_twice(name: str, key: str, limit: str, half: Any, twice: Any) -> None:
    """At half its limit a collar is drafted, at twice it is refused with what would do."""
    top = {"opening": "none"}
    assert bad(collared(name, half, top)) == []
    with pytest.raises(DraftError, match=limit) as raised:
        collared(name, twice, top)
    fault, *others = raised.value.faults
    assert not others
    assert fault.where == key and fault.remedy


def test_a_closed_stand_must_let_the_head_pass() -> None:
    """Over the head, a stand's upper edge is the tightest place: leaning more it stops the head."""

    def stopped(rise: str) -> list[str]:
        d = collared("stand-collar", {"rise": rise})
        return [c.name for c in d.checks() if not c.ok]

    assert stopped("5 mm") == []
    assert stopped("50 mm") == ["the head passes the stand"]


@pytest.mark.parametrize("seed", range(3))
def test_random_bodies_and_styles(seed: int) -> None:
    """Bodies of bust 70 to 150 with random necklines and collars: sound, or refused with a reason."""
    rng = random.Random(seed)
    drafted = 0
    for _ in range(14):
        bust = rng.uniform(70, 150)
        body = BODY | {"bust_girth": bust, "waist_girth": bust - 14, "hip_girth_at_tailbone": bust + 8, "neck_width": rng.uniform(12, 18)}  # fmt: skip
        top = {
            "neckline": rng.choice(["round", "scoop", "v", "boat", "square"]),
            "back_neckline": rng.choice(["round", "scoop", "v"]),
            "opening": rng.choice(["auto", "none"]),
            "shoulder_seam": rng.choice(["drawn", "measured"]),
        }
        name = rng.choice(COLLARS)
        style: dict[str, Any] = {
            "flat-collar": {"width": f"{rng.uniform(30, 110):.0f} mm", "overlap": rng.choice(["flat", "rolled", "standing"]), "front": rng.choice(["round", "pointed"])},
            "stand-collar": {"height": f"{rng.uniform(20, 60):.0f} mm", "rise": f"{rng.uniform(0, 40):.0f} mm", "ends": rng.choice(["square", "round"])},
            "shirt-collar": {"fall": f"{rng.uniform(38, 80):.0f} mm", "rise": f"{rng.uniform(0, 30):.0f} mm", "point_out": f"{rng.uniform(0, 40):.0f} mm"},
        }[name]  # fmt: skip
        try:
            d = collared(name, style, top, body)
        except DraftError as error:
            assert all(f.what and f.remedy for f in error.faults), error
            continue
        drafted += 1
        assert bad(d) == [], (body, top, name, style)
    assert drafted >= 6


def at_shoulder(points: Points) -> float:
    """The sharpest turn of a line, degrees."""
    d = np.diff(points, axis=0)
    angles = np.unwrap(np.arctan2(d[:, 1], d[:, 0]))
    return float(np.degrees(np.abs(np.diff(angles)).max()))


@pytest.mark.parametrize("overlap", [12.5, 75.0])
def test_the_laid_neckline_is_smooth(overlap: float) -> None:
    """Over the shoulder the collar's seam has no corner, however much is overlapped."""
    half = halves(draft("quick-top", person(BODY), OVER_HEAD))
    seam, _ = laid_together(half["front"], half["back"], overlap)
    assert at_shoulder(seam) < 6.0


@pytest.mark.parametrize("name", COLLARS)
@pytest.mark.parametrize("moved", [0.0, 300.0])
def test_on_outlines_drawn_elsewhere(name: str, moved: float) -> None:
    """On a front and a back that came whole, wherever they were drawn, the collar is cut whole and is the one
    that the pieces on the fold get."""
    top = draft("quick-top", person(BODY), OVER_HEAD)
    plain = joined(top, name)

    def elsewhere(piece: Piece) -> Piece:
        whole = piece.opened(("left", "right") if piece.name == "front" else ("right", "left"))
        edges = {n: Edge(n, e.points + np.array([moved, 0.0])) for n, e in whole.edges.items()}
        return Piece(piece.name, edges, grain=((moved, -300.0), (moved, -200.0)))

    came = replace(top, pieces={n: elsewhere(p) for n, p in top.pieces.items()}, style={}, seams=(), corners=(), runs=(), girths=(), extra_checks=())  # fmt: skip
    d = joined(came, name)
    assert bad(d) == []
    layer = "outer stand" if name == "stand-collar" else "upper collar"
    assert d.pieces[layer].fold is None
    for edge in ("neckline", "outer"):
        half = plain.pieces[layer].edges[edge].length_mm
        assert d.pieces[layer].edges[edge].length_mm == pytest.approx(2.0 * half, abs=0.3)
