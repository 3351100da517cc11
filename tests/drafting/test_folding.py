"""Ways to fold: where the cloth lies double, which side shows, and what is cut where.

A fold's geometry is hand-computed; that right sides lie together is common practice, no source.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from configs.errors import InputError
from drafting import Piece
from drafting.lay import Cloth, Effort, Placement, judge, plan

HERE = Effort(seed=5, workers=0)


def cloth(fold: Any, **more: Any) -> Cloth:
    """1400 mm of cloth with selvedges of 20 mm."""
    return Cloth.from_dict({"width": 1400, "selvedge": 20, "fold": fold, **more})


FOLDS: list[Any] = [
    "none",
    "double",
    "best",
    {"way": "lengthwise", "face": "out"},
    {"way": "partial", "over": "400 mm"},
    {"way": "crosswise", "open_from": "62 cm"},
    {"way": "best", "found": {"way": "partial", "over": "30 cm"}, "face": "out"},
]


@pytest.mark.parametrize("fold", FOLDS, ids=str)
def test_a_fold_is_written_as_it_reads(fold: Any) -> None:
    """What is written reads back to the same cloth."""
    made = cloth(fold)
    assert Cloth.from_dict(made.to_dict()) == made


@pytest.mark.parametrize(
    ("fold", "said"),
    [
        ("dubble", "Did you mean 'double'"),
        ({"way": "double", "face": "inn"}, "Did you mean 'in'"),
        ({"way": "double", "fase": "in"}, "Did you mean 'face'"),
        ({"way": "partial"}, "how wide"),
        ({"way": "double", "over": "30 cm"}, "partial' only"),
        ({"way": "partial", "over": "71 cm"}, "passes the other"),
        ({"way": "partial", "over": "20 mm"}, "leave nothing"),
        ({"way": "none", "open_from": "30 cm"}, "not folded"),
        (["double"], "is not one of"),
    ],
    ids=str,
)
def test_a_fold_that_cannot_be_is_told(fold: Any, said: str) -> None:
    """A wrong word is met with the nearest one; what does not fit the width with why."""
    with pytest.raises(InputError, match=said):
        cloth(fold)


def test_one_selvedge_folded_over_leaves_two_parts() -> None:
    """Folded over by 400 of 1400: 1000 wide; two layers up to 380, one from 400 to 980."""
    made = cloth({"way": "partial", "over": "400 mm"})
    two, one = made.zones
    assert made.lie_width_mm == 1000.0 and made.folds_mm == (0.0,)
    assert (two.layers, two.y, two.wrong_side) == (2, (0.0, 380.0), True)
    assert (one.layers, one.y[1], one.wrong_side) == (1, 980.0, False)
    assert 400.0 < one.y[0] < 400.5
    out = cloth({"way": "partial", "over": "400 mm", "face": "out"}).zones
    assert [z.wrong_side for z in out] == [False, True]


@pytest.mark.parametrize(
    ("fold", "used", "length"),
    [("crosswise", 700.0, 1400.0), ({"way": "crosswise", "open_from": "50 cm"}, 700.0, 1200.0),
     ({"way": "crosswise", "open_from": "50 cm"}, 400.0, 800.0), ("double", 700.0, 700.0)],
    ids=str,
)  # fmt: skip
def test_the_opened_length(fold: Any, used: float, length: float) -> None:
    """Across a fold twice the cloth is used, past where it is opened out only once."""
    assert cloth(fold).folding.opened_length(used) == pytest.approx(length)


def shapes() -> list[Piece]:
    """A half on the fold, a pair, and a one-sided piece."""
    half = [(0, 0), (220, 0), (260, 500), (0, 600)]
    lopsided = [(0, 0), (300, 0), (250, 300), (0, 150)]
    return [
        Piece.from_outline("body", half, fold=((0, 0), (0, 600))),
        Piece.from_outline("sleeve", lopsided, cut=2, pair=True),
        Piece.from_outline("flap", lopsided, cut=1),
    ]


@pytest.mark.parametrize("face", ["in", "out"])
def test_a_plan_in_part_folded_puts_each_where_its_layers_are(face: str) -> None:
    """Halves and pairs lie double; the one-sided piece is turned over just where it must be."""
    made = cloth({"way": "partial", "over": "400 mm", "face": face})
    lay = plan(shapes(), made, 0.4, effort=HERE)
    assert lay.left_out == () and lay.problems() == []
    for p in lay.placements:
        high = float(p.outline_mm[:, 1].max())
        low = float(p.outline_mm[:, 1].min())
        if p.piece == "flap":
            folded_part = high <= 380.05
            assert folded_part or low >= 399.95
            assert p.mirrored == (folded_part if face == "in" else not folded_part)
        else:
            assert high <= 380.05, p.key


@pytest.mark.parametrize(("over_the_edge", "wrong"), [(-10.0, False), (200.0, True)])
def test_the_judge_wants_two_layers_for_a_pair(over_the_edge: float, wrong: bool) -> None:
    """A pair laid where the cloth is single is named, and one well inside the fold is not."""
    made = cloth({"way": "partial", "over": "400 mm"})
    sleeve = shapes()[1]
    at = Placement("sleeve", 1, (100.0, 379.0 + over_the_edge))  # its width runs down from there
    found = {p.kind for p in judge([sleeve], made, [at])}
    assert (bool(found & {"layers", "outside"})) == wrong
    single = Placement("sleeve", 1, (100.0, 800.0))
    assert [p.kind for p in judge([sleeve], made, [single])] == ["layers"]


def test_opened_out_past_a_line_pairs_stay_before_it() -> None:
    """Folded up to 60 cm, single after: the pair before the line, the one-sided piece on either."""
    made = cloth({"way": "lengthwise", "open_from": "62 cm"})
    lay = plan(shapes(), made, 0.4, effort=HERE)
    assert lay.left_out == () and lay.problems() == []
    ends = {p.piece: p.outline_mm[:, 0] for p in lay.placements}
    assert max(ends["body"].max(), ends["sleeve"].max()) <= 620.05
    across = Placement("flap", 1, (560.0, 400.0))
    assert "layers" in {p.kind for p in judge([shapes()[2]], made, [across])}


def test_of_a_remnant_no_selvedge_is_folded() -> None:
    """A cloth with an outline lies as drawn: folds by the selvedges are refused."""
    ring = [[0, 0], [900, 0], [900, 700], [0, 700]]
    for fold in ("double", {"way": "partial", "over": 300}, {"way": "lengthwise", "open_from": 50}):
        with pytest.raises(InputError, match="not with an outline"):
            Cloth.from_dict({"outline": ring, "fold": fold})
    assert math.isfinite(Cloth.from_dict({"outline": ring}).zones[0].x[1])
