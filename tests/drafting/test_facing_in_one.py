"""Neck and armhole faced in one: one piece a half that mates both edges, and keeps clear of the dart."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from test_set_in_sleeve import BODY, PLUS, docket, person

from configs.errors import DraftError
from drafting import draft
from drafting.blocks import Draft, joined
from drafting.outline import nearest_distance
from drafting.truing import sewn_length

LOOKS: tuple[Any, ...] = (
    {},
    {"neckline": "scoop", "back_neckline": "v", "shoulder_in": "3 cm"},
    {"neckline": "v", "centre_back": "seam"},
    {"neckline": "square", "gathers": "back"},
    {"bust_shaping": "dart"},
)


def in_one(style: Any, body: Any = BODY, fit: Any = ()) -> Draft:
    """A sleeveless top faced all in one."""
    m = person(body, upper_chest_girth=body["bust_girth"] - 11)
    return draft("quick-top", m, {"neckline_finish": "all in one", **style}, fit)


@pytest.mark.parametrize("style", LOOKS)
@pytest.mark.parametrize(("side", "body"), [("", BODY), ("left", PLUS)])
def test_it_mates_neckline_and_armhole(style: Any, body: Any, side: str) -> None:
    """In five looks on two bodies, alike or not, every seam of the facing holds; its lower edge keeps clear
    of neckline and armhole, meets the side in one depth in front and behind, and has no step."""
    fit = [{"change": "one shoulder lower", "by": "12 mm", "side": side}] if side else []
    d = in_one(style, body, fit)
    assert [f"{c.name}: {c.text}" for c in d.checks() if not c.ok and "head" not in c.name] == []
    facings = {n: p for n, p in d.pieces.items() if n.endswith("facing")}
    assert {n.split()[-2] for n in facings} == {"front", "back"}
    for piece in facings.values():
        outer = piece.edges["outer"].points
        others = [e.points for n, e in piece.edges.items() if n.split()[-1] in ("armhole", "neckline")]  # fmt: skip
        side = min(e.length_mm for n, e in piece.edges.items() if n.split()[-1] == "side")
        assert min(nearest_distance(outer, p).min() for p in others) > 0.72 * side
        turns = np.unwrap(np.arctan2(*np.diff(outer, axis=0).T[::-1]))
        assert np.abs(np.diff(turns)).max() < 0.5  # radians: no step where left and right meet


def test_interfacing_comes_with_its_count() -> None:
    """Asked for, each facing has a piece of interfacing with as many as it is cut itself, 2 mm inside it."""
    d = in_one({"interfacing": "facings"})
    for half in ("front", "back"):
        face, inner = d.pieces[f"{half} facing"], d.pieces[f"{half} facing interfacing"]
        assert (inner.cut, inner.label[1]) == (face.cut, "cut 1 on the fold")
        raw = inner.edges["raw edge"].points[1:-1]
        assert nearest_distance(raw, face.unfolded()).min() == pytest.approx(2.0, abs=0.05)
    plain = draft(
        "quick-top", person(BODY), {"neckline_finish": "facing", "interfacing": "facings"}
    )
    assert "back neck facing interfacing" in plain.pieces


def test_how_it_is_sewn_and_what_is_refused() -> None:
    """Its making leaves the shoulders open until it is turned; with a grown-on sleeve, bound armholes, or a
    front that buttons it is refused with what to choose; a sleeve finds the armhole taken."""
    told = in_one({}).making
    assert any("Leave the shoulders open" in x for x in told) and any("all in one" in x for x in told)  # fmt: skip
    for style in ({"sleeve": "short"}, {"armhole_finish": "bias"}, {"opening": "front"}):
        with pytest.raises(DraftError, match="all in one") as raised:
            in_one(style)
        assert all(f.remedy for f in raised.value.faults)
    with pytest.raises(DraftError, match="taken by the front facing"):
        joined(in_one({}), "set-in-sleeve")


@pytest.mark.parametrize(
    ("dart", "body"), [("shoulder", "88"), ("armhole", "132"), ("side", "132")]
)
def test_a_fitted_bodice_faced_in_one_by_the_scissors(dart: str, body: str) -> None:
    """Wherever its bust dart lies, the facing of a bodice has none: neckline, shoulder and armhole are as they
    are sewn, its outer edge runs from one to the other without a crevice, and all trues."""
    values = (
        BODY | {"back_neck_to_waist": 41.0} if body == "88" else PLUS | {"back_neck_to_waist": 46}
    )
    changes = [{"face": h, "edges": ["neckline", "armhole"], "width": "6 cm"} for h in ("front", "back")]  # fmt: skip
    garment = {"block": "fitted-bodice", "style": {"bust_dart": dart}, "changes": changes}
    d = docket(garment, measurements=values).draft()
    assert [f"{c.name}: {c.text}" for c in d.checks() if not c.ok] == []
    for half in ("front", "back"):
        piece, face = d.pieces[half], d.pieces[f"{half} neck and armhole facing"]
        for edge in ("neckline", "shoulder", "armhole"):
            assert face.edges[edge].length_mm == pytest.approx(sewn_length(piece, edge), abs=0.3)
        assert not face.darts
        (outer,) = (e for n, e in face.edges.items() if n == "outer")
        steps = np.diff(outer.points, axis=0)
        steps = steps[np.hypot(*steps.T) > 0.05]  # shorter ones are where two arcs meet
        turns = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
        assert np.abs(np.diff(turns)).max() < 0.35  # radians: no crevice, no corner
