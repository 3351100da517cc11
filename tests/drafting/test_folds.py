"""Which way to fold: each tried, the best kept, the cloth opened out for the rest."""

from __future__ import annotations

import pytest

from drafting import Piece
from drafting.lay import Cloth, Effort, Placement, Rules, judge, plan
from drafting.lay.folds import Way, best_fold, plan_way, ways, ways_as_asked

HERE = Effort(seed=5, workers=0)
NO_GAP = Rules(0.0)


def box(name: str, w: float, h: float, **more: object) -> Piece:
    """A rectangle, its grain along h."""
    return Piece.from_outline(name, [(0, 0), (w, 0), (w, h), (0, h)], **more)  # type: ignore[arg-type]


def half(name: str, w: float, h: float) -> Piece:
    """Half a piece whose fold is its left edge."""
    return box(name, w, h, fold=((0, 0), (0, h)))


def lopsided(name: str, w: float, h: float, **more: object) -> Piece:
    """A piece that is another one turned over."""
    return Piece.from_outline(name, [(0, 0), (w, 0), (w, h), (0, h - 60)], **more)  # type: ignore[arg-type]


def test_front_and_back_take_half_the_cloth_with_two_folds() -> None:
    """Two halves of 290 on 1200: one fold takes 1000 mm, two folds 500; best says so (by hand)."""
    cloth = Cloth.from_dict({"width": 1200, "fold": "best"})
    found = best_fold([half("front", 290, 500), half("back", 290, 500)], cloth, 1.0,
                      rules=NO_GAP, effort=HERE)  # fmt: skip
    by = {t.way: t.length_mm for t in found.tried}
    assert by["lengthwise"] == pytest.approx(1000, abs=1.0)
    assert by["double"] == pytest.approx(500, abs=1.0)
    assert found.lay.cloth_length_mm == pytest.approx(500, abs=1.0)
    assert found.lay.cloth.best and found.lay.cloth.found


def test_a_nap_forbids_the_fold_across() -> None:
    """One-way cloth is never folded across; two-way and plain cloth may be."""
    pieces = [half("front", 300, 500)]
    for nap, allowed in (("one-way", False), ("two-way", True), ("none", True)):
        cloth = Cloth.from_dict({"width": 1200, "fold": "best", "nap": nap})
        kinds = {w.kind for w in ways(pieces, cloth)}
        assert ("crosswise" in kinds) == allowed


@pytest.mark.parametrize("fold", ["lengthwise", "double", "crosswise"])
def test_cut_these_open_out_cut_those(fold: str) -> None:
    """The pairs lie before the line, what is cut once after it; nothing is wrong, nothing locked."""
    pieces = [lopsided("sleeve", 250, 300, cut=2, pair=True), lopsided("yoke", 500, 250)]
    cloth = Cloth.from_dict({"width": 1200, "selvedge": 10, "fold": fold})
    lay = plan_way(pieces, Way(cloth, refold=True), 0.4, effort=HERE)
    opened = lay.cloth.open_from_mm
    assert lay.left_out == () and lay.problems() == [] and opened is not None
    by = {p.piece: p for p in lay.placements}
    assert float(by["sleeve"].outline_mm[:, 0].max()) <= opened
    assert not any(p.locked for p in lay.placements)
    yoke = by["yoke"]
    after = float(yoke.outline_mm[:, 0].min()) >= opened - 0.05
    assert yoke.mirrored == (not after)
    assert not after or any("open out" in n for n in lay.notes)


def test_folded_across_no_layer_is_left_whole_below_a_single_piece() -> None:
    """Two pieces 900 wide on a fold across would take 2000 mm of cloth; opened out they take 1000."""
    pieces = [box("front", 590, 500), box("back", 590, 500), box("cape", 1190, 500)]
    cloth = Cloth.from_dict({"width": 1200, "fold": "crosswise"})
    found = best_fold(pieces, cloth, 1.0, among=ways_as_asked(pieces, cloth, NO_GAP),
                      rules=NO_GAP, effort=HERE)  # fmt: skip
    by = {t.way: t.length_mm for t in found.tried}
    assert by["crosswise"] == pytest.approx(2000, abs=5.0)
    assert found.lay.cloth_length_mm == pytest.approx(1000, abs=5.0)
    assert found.lay.problems() == []


def test_part_folded_part_single_beats_both_where_it_should() -> None:
    """A half of 200 beside a whole of 700 on 1130: in part 600 mm long, else longer (by hand)."""
    pieces = [half("skirt", 200, 600), lopsided("panel", 700, 600)]
    cloth = Cloth.from_dict({"width": 1130, "fold": "best", "nap": "one-way"})
    found = best_fold(pieces, cloth, 1.5, rules=NO_GAP, effort=HERE)
    by = {t.way: t.length_mm for t in found.tried}
    assert by["partial"] == pytest.approx(600, abs=2.0)
    assert by["lengthwise"] is None or by["lengthwise"] > 1100


def test_a_way_that_has_no_room_is_told_as_none() -> None:
    """A whole of 1000 does not lie on 1200 folded: None there, a length where it does."""
    cloth = Cloth.from_dict({"width": 1200, "fold": "best", "nap": "one-way"})
    found = best_fold([lopsided("cape", 1000, 500)], cloth, 0.5, rules=NO_GAP, effort=HERE)
    by = {t.way: t.length_mm for t in found.tried}
    assert by["lengthwise"] is None and by["none"] == pytest.approx(500, abs=1.0)
    assert found.tried[-1].length_mm is None and found.tried[0].length_mm is not None


@pytest.mark.parametrize("fold", ["lengthwise", "double", "crosswise"])
@pytest.mark.parametrize("distance", [4.0, 10.0])
def test_twins_keep_their_distance_over_the_fold(fold: str, distance: float) -> None:
    """Opened out, the two of a pair lie at least the cutting distance apart across each fold."""
    cloth = Cloth.from_dict({"width": 1200, "fold": fold})
    pieces = [lopsided(n, 180, 300, cut=2, pair=True) for n in ("one", "two", "three")]
    lay = plan(pieces, cloth, 0.3, distance_mm=distance, effort=HERE)
    assert lay.left_out == () and lay.problems() == []
    for p in lay.placements:
        x, y = p.outline_mm[:, 0], p.outline_mm[:, 1]
        to_fold = float(x.min() if fold == "crosswise" else y.min())
        if fold == "double":
            to_fold = min(to_fold, 600.0 - float(y.max()))
        assert 2.0 * to_fold >= distance - 0.05


@pytest.mark.parametrize(("share", "wrong"), [(0.5, True), (2.0, False)])
def test_a_pair_too_near_the_fold_is_named(share: float, wrong: bool) -> None:
    """At half of the half distance from the fold the judge says so, at twice it is silent."""
    cloth = Cloth.from_dict({"width": 1200, "fold": "lengthwise"})
    sleeve = lopsided("sleeve", 180, 300, cut=2, pair=True)
    put = Placement("sleeve", 1, (0.0, 180.0 + share * 5.0))  # its width runs down to the fold
    found = judge([sleeve], cloth, [put], Rules(10.0))
    assert [p.kind for p in found] == (["distance"] if wrong else [])
    if wrong:
        assert found[0].short == "too near the fold" and found[0].amount == pytest.approx(5.0)


def test_halves_are_laid_whole_where_she_allows_it() -> None:
    """'whole: allowed' takes the facing off the fold where that is shorter; without it stays."""
    pieces = [half("body", 500, 700), half("facing", 80, 200)]
    for whole, shorter in (("allowed", True), ("no", False)):
        cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise", "whole": whole})
        among = ways_as_asked(pieces, cloth, NO_GAP)
        found = best_fold(pieces, cloth, 0.8, among=among, rules=NO_GAP, effort=HERE)
        assert (found.lay.cloth.opened == ("facing",)) == shorter
        assert found.lay.cloth_length_mm == pytest.approx(700 if shorter else 900, abs=2.0)
        assert Cloth.from_dict(found.lay.cloth.to_dict()) == found.lay.cloth
