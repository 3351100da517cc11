"""A front that buttons: lapped on its centre, faced, its buttonholes evenly spaced and one at the bust."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from test_set_in_sleeve import BODY, PLUS, person

from drafting import draft
from drafting.blocks import Draft, joined
from drafting.sheet.fronts import button_places, stand_width


def buttoned(top: Any = None, body: Any = BODY, fit: Any = ()) -> Draft:
    """A quick top that buttons."""
    return draft("quick-top", person(body), {"opening": "front", **(top or {})}, fit)


def holes(d: Draft, name: str = "front") -> list[np.ndarray]:
    """The buttonholes of a front, (2, 2) mm each, from the top."""
    return [m.points for m in d.pieces[name].marks if m.name.startswith("buttonhole")]


STYLES: tuple[Any, ...] = (
    {},
    {"neckline": "v", "neckline_finish": "facing", "hem": "shirt-tail", "pocket": "chest"},
    {"neckline": "square", "neckline_finish": "bias", "waist": "shaped"},
    {"neckline": "scoop", "gathers": "front", "neckline_finish": "facing", "centre_back": "seam"},
    {
        "neckline": "v",
        "gathers": "both",
        "gather_spread": "top",
        "gather_ratio": 2.2,
        "button": "30 mm",
    },
    {"sleeve": "short", "pocket": "hip", "length": "dress", "side_opening": "zip"},
)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize(("side", "body"), [("", PLUS), ("left", BODY)])
def test_a_buttoned_front_sews_together(style: Any, side: str, body: Any) -> None:
    """In five styles on two bodies, left and right alike or not, all checks hold; there is no slit, and
    the facing mates the front at its edge, its stand and its neckline."""
    fit = [{"change": "one shoulder lower", "by": "12 mm", "side": side}] if side else []
    d = buttoned(style, body, fit)
    assert [f"{c.name}: {c.text}" for c in d.checks() if not c.ok] == []
    assert d.figures["slit"] == 0.0
    sewn = {spot for seam in d.seams for spot in seam.a}
    names = [n for n in d.pieces if n.split()[-1] == "front"]
    assert names == (["left front", "right front"] if side else ["front"])
    for n in names:
        edge = "neckline" if style.get("neckline_finish") != "bias" else "stand top"
        assert {(n, "front edge"), (n, "stand top"), (n, edge)} <= sewn
        assert d.pieces[n].fold is None


def test_the_fronts_lap_on_their_centre() -> None:
    """Beside the centre line each front is wider by the stand alone; everything beyond is as closed."""
    plain, d = draft("quick-top", person(BODY)), buttoned({"button": "18 mm"})
    assert d.pieces["front"].edges["front edge"].points[:, 0] == pytest.approx(-18.0)
    assert (d.pieces["front"].cut, d.pieces["front"].pair) == (2, True)
    for edge in ("side", "armhole", "shoulder", "neckline"):
        both = [x.pieces["front"].edges[edge].points for x in (plain, d)]
        assert np.allclose(*both)
    wider = buttoned({"button": "18 mm", "button_stand": "3 cm"}).pieces["front"]
    assert wider.edges["front edge"].points[:, 0] == pytest.approx(-30.0)


# FACTS L6, two machine handbooks: a button of 11.5 mm takes a hole of 14, one of 18 a hole of 21.5.
@pytest.mark.parametrize(("button", "hole"), [(11.5, 14.0), (18.0, 21.5)])
def test_buttonholes_by_the_handbooks(button: float, hole: float) -> None:
    """Holes are their button's width and thickness long and begin 3 mm past the centre; the topmost lies
    half a button and 6 mm below the edge, one at the bust line, and all are as far apart within 0.5 mm."""
    d = buttoned({"button": f"{button} mm"})
    made, front = holes(d), d.pieces["front"]
    xs, ys = np.array([h[:, 0] for h in made]), np.array([h[0, 1] for h in made])
    assert xs[:, 1] - xs[:, 0] == pytest.approx(hole, abs=0.3)
    assert xs[:, 0] == pytest.approx(-3.0)
    top = front.edges["stand top"].points[:, 1].min()
    assert top - ys[0] == pytest.approx(0.5 * button + 6.0)
    bust = -float(BODY["back_neck_to_tailbone"]) * 10 / 3
    assert np.abs(ys - bust).min() < 0.5
    steps = -np.diff(ys)
    assert np.ptp(steps) < 0.5
    assert 50.0 <= steps[0] <= 100.0
    assert stand_width(button) >= 0.5 * button + 6.0
    assert f"{len(made)} buttons" in " ".join(front.label)


@pytest.mark.parametrize("top", [0.0, -120.0, -260.0])
@pytest.mark.parametrize("low", [-330.0, -600.0, -1000.0])
def test_buttons_end_above_the_hem(top: float, low: float) -> None:
    """However low the neckline and the hem, there is a button, and the last lies 7 cm above the hem."""
    places = button_places(top, -200.0, low, 12.0)
    assert places[0] == pytest.approx(top - 12.0)
    assert (places[-1] >= low + 70.0 or len(places) == 1) and places[-1] - low < 170.0


@pytest.mark.parametrize("collar", ["flat-collar", "stand-collar", "shirt-collar"])
@pytest.mark.parametrize("neckline", ["round", "v", "scoop"])
def test_a_collar_ends_at_the_centre_front(collar: str, neckline: str) -> None:
    """A collar on a front that buttons ends where the centre lines lie on one another: the stand beyond
    is the facing's. A stand collar reaches over it to the edge unless it is to meet."""
    under = buttoned({"neckline": neckline, "neckline_finish": "facing"})
    d = joined(under, collar)
    assert [c.name for c in d.checks() if not c.ok] == []
    layer = d.pieces["outer stand" if collar == "stand-collar" else "upper collar"]
    half = sum(d.pieces[h].edges["neckline"].length_mm for h in ("front", "back"))
    past = d.pieces["front"].edges["stand top"].length_mm if collar == "stand-collar" else 0.0
    assert layer.edges["neckline"].length_mm == pytest.approx(half + past, abs=0.2)
    assert "front edge" in layer.edges and layer.fold is not None
    if collar == "stand-collar":
        assert past >= 12.0
        centre = next(n for n in layer.notches if n.match == "centre front" and n.edge == "neckline")  # fmt: skip
        assert centre.at_mm == pytest.approx(half, abs=0.2)
        meets = joined(under, collar, {"reach": "meet"})
        assert [c.name for c in meets.checks() if not c.ok] == []
        assert meets.pieces["outer stand"].edges["neckline"].length_mm == pytest.approx(half, abs=0.2)  # fmt: skip


def test_a_stand_reaches_over_on_both_sides() -> None:
    """Where left and right differ the stand is whole and reaches over the button stand of each front."""
    fit = [{"change": "one shoulder lower", "by": "12 mm", "side": "left"}]
    d = joined(buttoned({"neckline_finish": "facing"}, fit=fit), "stand-collar")
    assert [c.name for c in d.checks() if not c.ok] == []
    edges = (("left front", "neckline"), ("right front", "neckline"), ("left front", "stand top"), ("right front", "stand top"), ("back", "neckline"))  # fmt: skip
    whole = sum(d.pieces[p].edges[e].length_mm for p, e in edges)
    assert d.pieces["outer stand"].edges["neckline"].length_mm == pytest.approx(whole, abs=0.3)
