"""The cloth: its keys read in any unit, every fault told at once, written back without loss."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from configs.errors import InputError
from configs.files import read_yaml
from drafting.cloth import Cloth, MatchPoint

CONFIGS = Path(__file__).resolve().parents[2] / "configs" / "cloth"
WHOLE = {
    "width": "55 in",
    "length": "1.4 m",
    "fold": "lengthwise",
    "nap": "two-way",
    "selvedge": "1 cm",
    "shrinkage": {"length": "3 %", "width": 1},
    "repeat": {"length": "44 1/2 mm", "width": 20},
    "match": [["front.side", {"piece": "back", "at": [3, "1 in"]}]],
    "grain_tolerance": {"pocket": 2, "all": 0.5},
    "flaws": [[[10, 10], [30, 10], [20, 40]]],
    "tolerates_flaws": ["pocket"],
    "price": "12,50 EUR/m",
    "colour": "dark green",
}


def test_every_key_is_read_in_its_own_unit() -> None:
    """Lengths come out in mm whatever unit they were written in (1 in = 25.4 mm)."""
    cloth = Cloth.from_dict(WHOLE)
    assert cloth.width_mm == pytest.approx(55 * 25.4)
    assert cloth.length_mm == pytest.approx(1400.0)
    assert cloth.selvedge_mm == pytest.approx(10.0)
    assert (cloth.shrinkage_length, cloth.shrinkage_width) == pytest.approx((0.03, 0.01))
    assert cloth.repeat_length_mm == pytest.approx(44.5)
    assert cloth.match == ((MatchPoint("front", "side"), MatchPoint("back", at=(3.0, 25.4))),)
    assert (cloth.tilt_deg("pocket"), cloth.tilt_deg("front")) == (2.0, 0.5)
    assert (cloth.price, cloth.currency) == (12.5, "EUR")


def test_numbers_are_in_the_file_unit() -> None:
    """A bare number is in the docket's unit."""
    assert Cloth.from_dict({"unit": "in", "width": 10}).width_mm == pytest.approx(254.0)


def test_written_and_read_again_is_the_same_cloth() -> None:
    """to_dict loses nothing, in any unit of the docket around it."""
    remnant = {"outline": [[0, 0], [900, 0], [700, 500.5]], "holes": [[[9, 9], [19, 9], [9, 29]]]}
    for data in (WHOLE, remnant, {"width": 900}, {"width": 900, "nap": "one-way", "price": 3}):
        cloth = Cloth.from_dict(data)
        assert Cloth.from_dict(cloth.to_dict()) == cloth
        assert Cloth.from_dict({"unit": "in", **cloth.to_dict()}) == cloth


def test_all_faults_at_once_with_their_paths() -> None:
    """Ten things wrong are ten faults in one message, each naming its key."""
    with pytest.raises(InputError) as caught:
        Cloth.from_dict(
            {
                "width": "wide",
                "lenght": 3,
                "fold": "in four",
                "nap": "sideways",
                "selvedge": -3,
                "shrinkage": {"length": 300},
                "repeat": 5,
                "holes": [[[0, 0], [1, 1]]],
                "grain_tolerance": 40,
                "price": "dear",
            },
            where="x.yaml: cloth",
        )
    said = [str(f) for f in caught.value.faults]
    assert len(said) == 10
    for key in ("width", "fold", "nap", "selvedge", "shrinkage.length", "repeat", "holes[0]"):
        assert any(s.startswith(f"x.yaml: cloth.{key}") for s in said), key
    assert any("'length'" in s for s in said)  # the nearest known key to 'lenght'


@pytest.mark.parametrize(
    ("data", "word"),
    [
        ({}, "width"),
        ({"width": 0}, "outside"),
        ({"width": math.nan}, "width"),
        ({"width": True}, "width"),
        ({"width": 20, "selvedge": 10}, "leave nothing"),
        ({"width": 1400, "fold": "crosswise", "nap": "one-way"}, "nap"),
        ({"outline": [[0, 0], [10, 10], [10, 0], [0, 10]]}, "crosses itself"),
        ({"outline": [[0, 0], [10, 0], [20, 0]]}, "no area"),
        ({"width": 900, "match": [["a.b"]]}, "nothing to match"),
        ({"width": 900, "repeat": {"length": 50}, "match": ["front"]}, "list of places"),
        ({"width": 900, "length": -1}, "length"),
    ],
)
def test_cloth_that_cannot_be(data: dict[str, object], word: str) -> None:
    """Impossible cloth is refused with a reason, never a traceback of another kind."""
    with pytest.raises(InputError, match=word):
        Cloth.from_dict(data)


@pytest.mark.parametrize("said", ["none", "no", False, 0])
def test_no_nap_and_no_fold_in_any_word(said: object) -> None:
    """'none', no and 0 say that there is none."""
    cloth = Cloth.from_dict({"width": 1400, "nap": said, "fold": said})
    assert (cloth.nap, cloth.folded) == ("none", False)


def test_where_pieces_may_lie() -> None:
    """Selvedges are left out on both sides; folded, y runs from the fold to the selvedges."""
    assert Cloth.from_dict({"width": 1000, "selvedge": 10}).y_range_mm == (10.0, 990.0)
    folded = Cloth.from_dict({"width": 1000, "selvedge": 10, "fold": "lengthwise"})
    assert folded.y_range_mm == (0.0, 490.0)
    assert folded.layers == 2
    across = Cloth.from_dict({"width": 1000, "length": 3000, "fold": "crosswise"})
    assert across.x_range_mm == (0.0, 1500.0)
    assert Cloth.from_dict({"width": 1000}).x_range_mm == (0.0, math.inf)


def test_shrinkage_is_cut_larger() -> None:
    """Cut size = size / (1 − s) by direction (arithmetic; FACTS E): 970 → 1000 at 3 %."""
    cloth = Cloth.from_dict({"width": 1400, "shrinkage": {"length": 3, "width": 1}})
    assert cloth.growth(0.0) @ [99.0, 970.0] == pytest.approx([100.0, 1000.0])
    assert cloth.growth(90.0) @ [970.0, 99.0] == pytest.approx([1000.0, 100.0])


def test_price_per_yard_becomes_per_metre() -> None:
    """9.144 a yard is 10 a metre (1 yd = 0.9144 m)."""
    assert Cloth.from_dict({"width": 900, "price": "9.144 GBP/yd"}).price == pytest.approx(10.0)


@pytest.mark.parametrize("path", sorted(CONFIGS.glob("*.yaml")), ids=lambda p: p.stem)
def test_shipped_cloths_load(path: Path) -> None:
    """Every shipped cloth is read without a fault and survives being written."""
    data = read_yaml(path)
    data.pop("chalkbeam")
    cloth = Cloth.from_dict(data)
    assert Cloth.from_dict(cloth.to_dict()) == cloth


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("width", 140, "140 mm: did you mean 140 cm or 140 in?"),
        ("width", "55", "55 mm: did you mean 55 cm or 55 in?"),
        ("length", 2, "2 mm: did you mean 2 m or 2 yd?"),
    ],
)
def test_a_bare_number_that_no_cloth_is_as_small_as(key: str, value: object, told: str) -> None:
    """Cloth is sold from 90 cm on (common practice): under 300 mm the unit was forgotten."""
    with pytest.raises(InputError) as caught:
        Cloth.from_dict({"width": "140 cm", key: value})
    assert told in str(caught.value)


def test_narrow_cloth_with_its_unit_is_taken_as_written() -> None:
    """A ribbon: who writes the unit means it."""
    assert Cloth.from_dict({"width": "50 mm"}).width_mm == 50.0
    assert Cloth.from_dict({"unit": "cm", "width": 14}).width_mm == 140.0


def test_an_outline_and_a_width_that_differ_are_told() -> None:
    """Which of the two counts is said; alike, or with one of them only, nothing is."""
    ring = [[0, 0], [900, 0], [900, 700], [0, 700]]
    (said,) = Cloth.from_dict({"outline": ring, "width": "1400 mm"}).contradictions()
    assert "70 cm wide" in said and "140 cm" in said
    assert Cloth.from_dict({"outline": ring, "width": "700 mm"}).contradictions() == []
    assert Cloth.from_dict({"outline": ring}).contradictions() == []


def test_both_selvedges_to_the_middle() -> None:
    """Said in words or as double: half as wide, a fold on each side, the selvedges met between them."""
    for said in ("both selvedges to the middle", "selvedges to the middle", "double"):
        cloth = Cloth.from_dict({"width": 1400, "selvedge": 12, "fold": said})
        assert (cloth.fold, cloth.layers, cloth.lie_width_mm) == ("double", 2, 700.0)
        assert cloth.folds_mm == (0.0, 700.0) and cloth.y_range_mm == (0.0, 700.0)
        assert cloth.meeting_mm == (338.0, 362.0) and cloth.room_mm == 338.0
        assert Cloth.from_dict(cloth.to_dict()) == cloth
    bare = Cloth.from_dict({"width": 1400, "fold": "double"})
    assert bare.meeting_mm is not None
    assert 0.0 < bare.meeting_mm[1] - bare.meeting_mm[0] < 1.0
    with pytest.raises(InputError, match="outline"):
        Cloth.from_dict({"outline": [[0, 0], [900, 0], [900, 900]], "fold": "double"})
    with pytest.raises(InputError, match="selvedge"):
        Cloth.from_dict({"width": 100, "selvedge": 30, "fold": "double", "unit": "mm"})
