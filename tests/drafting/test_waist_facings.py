"""Faced waists of skirts in gores and circles, and interfacing at the waist, with their cut counts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from test_set_in_sleeve import BODY, PLUS, person

from configs.errors import DraftError
from drafting import draft
from drafting.blocks import Draft
from drafting.outline import nearest_distance

HIPS = ({"hip_girth": 100, "waist_to_hip": 20.6}, {"hip_girth": 140, "waist_to_hip": 22})
SKIRTS = (
    *(("gored-skirt", {"gores": n}) for n in ("4", "6", "8")),
    *(("circle-skirt", {"circle": c, "panels": p}) for c, p in (("half", "2"), ("half", "1"), ("three-quarter", "3"), ("full", "4"))),
)  # fmt: skip


def skirt(name: str, style: Any, plus: bool = False) -> Draft:
    """A skirt for the one body or the other."""
    return draft(name, person(PLUS if plus else BODY, **HIPS[plus]), style)


@pytest.mark.parametrize(("name", "style"), SKIRTS)
@pytest.mark.parametrize("plus", [False, True])
def test_a_facing_is_the_waist_with_its_seams_closed(name: str, style: Any, plus: bool) -> None:
    """On seven skirts and two bodies: front and back facings together are as long as the waist of all
    panels, as wide all along as asked, without a corner where the panels meet, and open where the zip is."""
    d = skirt(name, {**style, "waist_finish": "facing", "facing_width": "5 cm"}, plus)
    assert [f"{c.name}: {c.text}" for c in d.checks() if not c.ok] == []
    made = {n: p for n, p in d.pieces.items() if n.endswith(" facing")}
    round_ = sum(2.0 * p.edges["waist"].length_mm for p in made.values())
    panels = sum(
        p.edges["waist"].length_mm * p.cut * (2 if p.fold else 1)
        for n, p in d.pieces.items()
        if n not in made
    )
    assert round_ == pytest.approx(panels, abs=0.3)
    for piece in made.values():
        gaps = nearest_distance(piece.edges["outer"].points, piece.edges["waist"].points)
        assert gaps == pytest.approx(50.0, abs=0.3)
        steps = np.diff(piece.edges["waist"].points, axis=0)
        turns = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
        assert np.abs(np.diff(turns)).max() < math.radians(6.0)
    at_back = "left side" not in " ".join(d.notes) and style.get("panels") != "2"
    assert made["back waist facing"].pair == at_back


@pytest.mark.parametrize(
    ("name", "finish"),
    [(n, f) for n in ("straight-skirt", "gored-skirt", "circle-skirt") for f in ("band", "facing")]
    + [("pleated-skirt", "band"), ("gathered-skirt", "band"), ("flared-skirt", "facing")],
)
def test_interfacing_at_the_waist(name: str, finish: str) -> None:
    """Asked for, the band or each facing gets a piece of interfacing, as often as it is cut, 2 mm inside."""
    d = skirt(name, {"waist_finish": finish, "interfacing": "waist"})
    names = [n for n in d.pieces if n == "waistband" or n.endswith(" facing")]
    assert len(names) == (1 if finish == "band" else 2)
    for n in names:
        inner, piece = d.pieces[f"{n} interfacing"], d.pieces[n]
        assert (inner.cut, inner.pair) == (piece.cut, piece.pair)
        raw = inner.edges["raw edge"].points[1:-1]
        assert nearest_distance(raw, piece.unfolded()).min() == pytest.approx(2.0, abs=0.05)
    assert not [n for n in skirt(name, {"waist_finish": finish}).pieces if "interfacing" in n]


POCKETED = (
    ("straight-skirt", {}, 4), ("straight-skirt", {"centre_back": "fold"}, 2), ("flared-skirt", {}, 4),
    ("gored-skirt", {"gores": "4"}, 4), ("gored-skirt", {"gores": "6"}, 2),
    ("circle-skirt", {"panels": "2"}, 2), ("circle-skirt", {"circle": "full"}, 4),
)  # fmt: skip


@pytest.mark.parametrize(("name", "style", "cut"), POCKETED)
def test_pockets_in_the_side_seams(name: str, style: Any, cut: int) -> None:
    """Seven skirts: bags for both sides, or for one where the zip takes the other; front and back are notched
    alike, a hand's width apart, and it is told how they are sewn."""
    d = skirt(name, {**style, "pockets": "seam"})
    assert [f"{c.name}: {c.text}" for c in d.checks() if not c.ok] == []
    assert (d.pieces["pocket bag"].cut, d.pieces["pocket bag"].pair) == (cut, True)
    mouths = 0
    for piece in (p for n, p in d.pieces.items() if n != "pocket bag"):
        for edge in piece.edges:
            own = [n for n in piece.notches if n.edge == edge]
            upper = [n.at_mm for n in own if n.match == "pocket"]
            if upper:  # its lower end may share the hip's notch
                first = min(upper, key=lambda x: min(x, piece.edges[edge].length_mm - x))
                assert min(abs(abs(n.at_mm - first) - 150.0) for n in own) < 3.0
                mouths += 1
    assert mouths >= 2
    assert any("pocket bags" in x for x in d.making)


def test_pockets_need_a_side_seam() -> None:
    """A circle in one panel or three has no side seams: refused with what has; half as short as fits, too."""
    for style in ({"panels": "1"}, {"circle": "three-quarter", "panels": "3"}):
        with pytest.raises(DraftError, match="need side seams"):
            skirt("circle-skirt", {**style, "pockets": "seam"})
    with pytest.raises(DraftError, match="have no room"):
        skirt("straight-skirt", {"length": "32 cm", "pockets": "seam"})


@pytest.mark.parametrize(
    ("style", "fit"),
    [
        ({"length": "dress"}, []),
        ({"length": "90 cm", "opening": "front", "bust_shaping": "dart"}, []),
        ({"length": "dress", "waist": "shaped", "waist_ease": "4 cm", "bust_shaping": "hem"}, [{"change": "one hip higher", "by": "1 cm", "side": "left"}]),
    ],
)  # fmt: skip
def test_pockets_in_a_tunic(style: Any, fit: Any) -> None:
    """In the sides of a top long enough, 6 cm below the waist: on front and back as far from the hem, dart or
    none, alike or not; a top to the waist has no room and says so."""
    m = person(BODY, upper_chest_girth=82)
    d = draft("quick-top", m, {"pocket": "seam", **style}, fit)
    assert [f"{c.name}: {c.text}" for c in d.checks() if not c.ok] == []
    from_hem = []
    for name, piece in d.pieces.items():
        for e, edge in piece.edges.items():
            rises = edge.points[0, 1] < edge.points[-1, 1]
            at = [n.at_mm for n in piece.notches if n.edge == e and n.match == "pocket"]
            if at and name != "pocket bag":
                from_hem.append(sorted(x if rises else edge.length_mm - x for x in at))
    assert len(from_hem) == (4 if fit else 2)
    for low, high in from_hem:
        assert high - low == pytest.approx(150.0, abs=0.1)
    firsts = sorted(x[0] for x in from_hem)
    assert firsts[-1] - firsts[0] < (12.0 if fit else 0.5)
    with pytest.raises(DraftError, match="have no room"):
        draft("quick-top", m, {"pocket": "seam", "length": "waist"})
