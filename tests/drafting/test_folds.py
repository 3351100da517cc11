"""Which way to fold: each tried, the best kept, the cloth opened out for the rest."""

from __future__ import annotations

from typing import Any

import pytest
from layers import Folded, faults
from top_bodies import inches

from configs.errors import InputError, LayError
from drafting import Piece, draft
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
    lay = plan_way(pieces, Way(cloth, refold=True), 0.2, effort=HERE)
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
    """Three pieces on a fold across take 1000 mm of cloth, from both layers or opened out, not 2000."""
    pieces = [box("front", 590, 500), box("back", 590, 500), box("cape", 1190, 500)]
    cloth = Cloth.from_dict({"width": 1200, "fold": "crosswise"})
    found = best_fold(pieces, cloth, 1.0, among=ways_as_asked(pieces, cloth, NO_GAP),
                      rules=NO_GAP, effort=HERE)  # fmt: skip
    by = {t.way: t.length_mm for t in found.tried}
    assert by["crosswise"] == pytest.approx(1000, abs=5.0)
    assert any(p.lower for p in plan(pieces, cloth, 0.3, rules=NO_GAP, effort=HERE).placements)
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
    lay = plan(pieces, cloth, 0.1, rules=Rules(distance), effort=HERE)
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


PART = {"way": "partial", "over": "250 mm"}
OPENED = {"way": "crosswise", "open_from": "600 mm"}
BORDER = {"edges": ["front.hem", "back.hem"], "from": "40 mm", "width": "150 mm"}


@pytest.mark.parametrize(
    ("fold", "side"),
    [("none", "near"), ("none", "far"), ("crosswise", "near"), ("lengthwise", "far"),
     ({"way": "partial", "over": "250 mm"}, "far"),
     ({"way": "partial", "over": "250 mm", "face": "out"}, "far")],
)  # fmt: skip
def test_hems_lie_on_the_border_print(fold: Any, side: str) -> None:
    """Every hem is 40 mm from its selvedge at its nearest, the neck away from it, on every fold."""
    pieces = dict(draft("quick-top", inches(), {"neckline_finish": "facing"}).pieces)
    cloth = Cloth.from_dict(
        {"width": 1400, "selvedge": 10, "fold": fold, "border": {**BORDER, "side": side}}
    )
    assert Cloth.from_dict(cloth.to_dict()) == cloth
    rules = Rules(5.0, {"all": 10.0, "hem": 25.0})
    lay = plan(pieces, cloth, 0.15, rules=rules, effort=HERE)
    assert lay.left_out == () and lay.problems() == []
    selvedge = 0.0 if side == "near" else cloth.lie_width_mm
    assert cloth.lie_width_mm == {"lengthwise": 700.0, "partial": 1150.0}.get(cloth.fold, 1400.0)
    folded = Folded(cloth.fold, 1400.0, cloth.face == "in", cloth.over_mm, None, 10.0)
    turns = {
        n: p.with_(turns=(90.0, 270.0)) if n in ("front", "back") else p for n, p in pieces.items()
    }
    assert faults(lay.placements, turns, folded, allowances=rules.allowances, distance=5.0) == []
    for p in lay.placements:
        if p.piece not in ("front", "back"):
            continue
        a = p.cloth_from_piece
        hem = pieces[p.piece].edges["hem"].points @ a[:2, :2].T + a[:2, 2]
        neck = pieces[p.piece].edges["neckline"].points @ a[:2, :2].T + a[:2, 2]
        off = abs(hem[:, 1] - selvedge)
        assert float(off.min()) == pytest.approx(40.0, abs=0.5)
        assert float(abs(neck[:, 1] - selvedge).min()) > float(off.max())


@pytest.mark.parametrize(("off_mm", "wrong"), [(0.25, False), (1.0, True)])
def test_a_hem_off_the_border_is_named(off_mm: float, wrong: bool) -> None:
    """Half a millimetre is let pass: at a quarter it is silent, at one it is told."""
    front = lopsided("front", 300, 500)
    edge = next(iter(front.edges))
    cloth = Cloth.from_dict({"width": 1400, "border": {**BORDER, "edges": [f"front.{edge}"]}})
    lay = plan([front], cloth, 0.1, effort=HERE)
    (p,) = lay.placements
    moved = Placement("front", 1, (p.at[0], p.at[1] + off_mm), p.turn, p.mirrored)
    found = [q.kind for q in judge([front], cloth, [moved])]
    assert found == (["border"] if wrong else [])


@pytest.mark.parametrize("repeat", [{"length": 80}, {"length": 80, "width": 60}])
def test_side_seams_match_at_the_notch(repeat: dict[str, float]) -> None:
    """Stripes and checks meet where front and back are notched at the waist, not at the hem alone."""
    pieces = dict(draft("quick-top", inches()).pieces)
    places = ["front.side@waist", "back.side@waist"]
    cloth = Cloth.from_dict({"width": 1500, "repeat": repeat, "match": [places]})
    assert Cloth.from_dict(cloth.to_dict()) == cloth
    rules = Rules(5.0, {"all": 10.0})
    lay = plan(pieces, cloth, 0.2, rules=rules, effort=HERE)
    assert lay.left_out == () and lay.problems() == []
    at = {}
    for p in lay.placements:
        piece = pieces[p.piece]
        (notch,) = (n for n in piece.notches if n.edge == "side" and n.match == "waist")
        a, spot = p.cloth_from_piece, piece.edges["side"].at(notch.at_mm)[0]
        at[p.piece] = a[:2, :2] @ spot + a[:2, 2]
    for axis, size in enumerate((repeat["length"], repeat.get("width"))):
        if size:
            off = (at["front"][axis] - at["back"][axis] + size / 2) % size - size / 2
            assert abs(off) < 0.5


@pytest.mark.parametrize(
    ("place", "said"),
    [("front.side@waits", "Did you mean 'waist'"), ("front.side@9 m", "any length up to")],
)
def test_a_place_that_a_seam_has_not_is_told(place: str, said: str) -> None:
    """A notch that is not there is met with those that are."""
    pieces = dict(draft("quick-top", inches()).pieces)
    cloth = Cloth.from_dict({"width": 1500, "repeat": {"length": 80}, "match": [[place]]})
    with pytest.raises(LayError, match=said):
        plan(pieces, cloth, 0.0)


@pytest.mark.parametrize(
    ("border", "fold", "said"),
    [
        ({"edges": ["front.hem"], "side": "neer"}, "none", "Did you mean 'near'"),
        ({"edges": ["hem"]}, "none", "piece.edge"),
        ({"edges": ["front.hem"], "side": "near"}, "lengthwise", "is no selvedge"),
        ({"edges": ["front.hem"], "side": "near"}, PART, "is no selvedge"),
        ({"edges": ["front.hem"], "side": "far"}, "double", "both selvedges lie in the middle"),
        ({"edges": ["front.hem"], "side": "near"}, "double", "both selvedges lie in the middle"),
        ({"edges": ["front.hem"], "side": "far"}, OPENED, "once the rest is opened out"),
        ({"edges": ["front.hem"], "side": "near"}, OPENED, "once the rest is opened out"),
        ({"edge": ["front.hem"]}, "none", "unknown key 'edge'"),
    ],
)
def test_a_border_that_cannot_be_is_told(border: dict[str, object], fold: Any, said: str) -> None:
    """Slips in a border, and folds that leave no bare selvedge there, are named."""
    with pytest.raises(InputError, match=said):
        Cloth.from_dict({"width": 1400, "fold": fold, "border": border})


@pytest.mark.parametrize("face", ["in", "out"])
def test_nothing_lies_across_where_the_cloth_is_opened_out(face: str) -> None:
    """The line is kept by the planner, and a piece laid across it by hand is named."""
    fold = {"way": "lengthwise", "open_from": "400 mm", "face": face}
    cloth = Cloth.from_dict({"width": 1200, "fold": fold})
    pieces = [lopsided(f"flap {n}", 250, 260) for n in range(4)] + [box("band", 200, 380)]
    lay = plan(pieces, cloth, 0.15, effort=HERE)
    assert lay.left_out == () and lay.problems() == []
    for p in lay.placements:
        x = p.outline_mm[:, 0]
        assert float(x.max()) <= 400.05 or float(x.min()) >= 399.95, p.key
    over = Placement("band", 1, (300.0, 400.0))
    assert judge([pieces[-1]], cloth, [over]) != []


def test_a_pair_too_wide_for_the_fold_is_left_out_not_refused() -> None:
    """Both selvedges to the middle leave 300 mm: a sleeve of 400 has no room, and is told so."""
    cloth = Cloth.from_dict({"width": 1200, "fold": "double"})
    pieces = [lopsided("sleeve", 400, 400, cut=2, pair=True), lopsided("yoke", 200, 200)]
    lay = plan_way(pieces, Way(cloth, refold=True), 0.2, effort=HERE)
    assert lay.left_out == ("sleeve/1",)
