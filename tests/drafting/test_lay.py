"""The lay: every plan valid on every kind of cloth, judged from outside; bad input told in words."""

from __future__ import annotations

import dataclasses
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from judge import cut_up, judge
from shapely.geometry import Polygon

from configs.errors import ChalkbeamError, LayError
from drafting.lay import Cloth, Effort, Lay, Rules, plan
from drafting.lay import judge as product_judge
from drafting.lay.advice import (
    _largest_rectangle,
    leftover,
    to_buy,
    what_would_help,
    worth_opening,
)
from drafting.lay.planner import lay_as_it_is
from drafting.piece import Piece
from drafting.placement import Placement

QUICK = 0.15
HERE = Effort(seed=7, workers=0)


def rectangle(name: str, across: float, along: float, **how: Any) -> Piece:
    """A piece of across × along mm, its corner at the origin."""
    ring = [(0, 0), (across, 0), (across, along), (0, along)]
    return Piece.from_outline(name, ring, **how)


def half_front(name: str = "front", grow: float = 0.0) -> Piece:
    """A half front on the fold, like a top's, 300 × 640 mm."""
    g = grow
    ring = [
        (0, 0), (280 + g, 10), (262 + g, 200), (290 + g, 430), (250, 470), (215, 560), (205, 610),
        (95, 640), (80, 590), (45, 560), (0, 550 + g),
    ]  # fmt: skip
    return Piece.from_outline(name, ring, fold=((0, 0), (0, 550 + g)))


def sleeve(seed: int = 3) -> Piece:
    """A sleeve with a lopsided head, cut as a pair, 400 × 330 mm."""
    a = np.linspace(0.0, np.pi, 24)
    head = np.column_stack([200 + 200 * np.cos(a), 200 + (130 + 15 * np.sin(2 * a)) * np.sin(a)])
    ring = np.concatenate([[(40.0, 0.0), (370.0, 0.0)], head])
    return Piece.from_outline("sleeve", ring, cut=2, pair=True)


def garment() -> dict[str, Piece]:
    """Front and back on the fold, a pair of sleeves, two cuffs, one pocket."""
    return {
        "front": half_front("front"),
        "back": half_front("back", 30.0),
        "sleeve": sleeve(),
        "cuff": rectangle("cuff", 240, 60, cut=2),
        "pocket": Piece.from_outline("pocket", [(0, 0), (130, 0), (130, 120), (60, 150), (0, 120)]),
    }


def lines(lay: Lay) -> dict[str, int]:
    """Cutting lines by piece."""
    out: dict[str, int] = {}
    for p in lay.placements:
        out[p.piece] = out.get(p.piece, 0) + 1
    return out


def planned(pieces: Any, cloth: Cloth, seconds: float = QUICK, **how: Any) -> tuple[Lay, list[Lay]]:
    """A plan in this process, with every lay shown on the way."""
    shown: list[Lay] = []
    if "rules" not in how:
        how["rules"] = Rules(0.0)
    lay = plan(pieces, cloth, seconds, progress=shown.append, effort=HERE, **how)
    return lay, [*shown, lay]


def planned_down_to(
    length_mm: float, pieces: Any, cloth: Cloth, **how: Any
) -> tuple[Lay, list[Lay]]:
    """Planned on and on, each time from the last lay, longer each time, until a length is reached.

    So that a slow machine needs longer instead of failing.
    """
    shown: list[Lay] = []
    lay, more = planned(pieces, cloth, **how)
    for times in (2, 4, 8, 16, 32, 64):
        shown += more
        if lay.used_length_mm <= length_mm and not lay.left_out:
            break
        start = lay.docket_placements()
        lay, more = planned(pieces, cloth, times * QUICK, start=start, **how)
    return lay, shown


# -- kinds of cloth ----------------------------------------------------------------------------


CLOTHS: dict[str, dict[str, Any]] = {
    "single": {"width": 1400, "selvedge": 10},
    "folded": {"width": 1400, "selvedge": 10, "fold": "lengthwise"},
    "velvet": {"width": 1150, "selvedge": 12, "fold": "lengthwise", "nap": "one-way"},
    "two-way": {"width": 1150, "nap": "two-way"},
    "crosswise": {"width": 1000, "fold": "crosswise", "nap": "two-way"},
    "short": {"width": 1400, "length": 700, "fold": "lengthwise"},
    "double": {"width": 1900, "selvedge": 10, "fold": "both selvedges to the middle"},
    "double velvet": {"width": 1900, "nap": "one-way", "fold": "double", "length": 2600},
    "shrinks": {"width": 1400, "fold": "lengthwise", "shrinkage": {"length": 4, "width": 2}},
    "remnant": {
        "outline": [[0, 0], [1300, 0], [1250, 900], [900, 1250], [60, 1200]],
        "holes": [[[500, 500], [560, 500], [560, 560], [500, 560]]],
    },
}


@pytest.mark.parametrize("name", CLOTHS)
def test_every_lay_shown_is_valid(name: str) -> None:
    """On each kind of cloth every intermediate and final lay passes the judge and its own check."""
    data = CLOTHS[name]
    cloth = Cloth.from_dict(data)
    folded, across = cloth.fold in ("lengthwise", "double"), cloth.fold == "crosswise"
    lay, shown = planned(garment(), cloth, rules=Rules(4.0, {"all": 10}))
    scale = cloth.cut_scale
    turns = {"one-way": [0.0]}.get(cloth.nap, [0.0, 180.0])
    wanted = {
        "front": 1,
        "back": 1,
        "sleeve": 2 if not cloth.folded else 1,
        "cuff": 2 if not cloth.folded else 1,
        "pocket": 1,
    }
    shapes = {
        n: (p.cutting_line if folded else p.unfolded)({"all": 10})
        for n, p in garment().items()
    }  # fmt: skip
    assert len(shown) >= 2
    for one in shown:
        found = judge(
            one.placements,
            width=cloth.width_mm,
            length=cloth.x_range_mm[1] if np.isfinite(cloth.x_range_mm[1]) else None,
            outline=cloth.outline,
            holes=cloth.holes,
            fold=folded,
            double=cloth.fold == "double",
            selvedge=cloth.selvedge_mm,
            distance=4,
            turns=dict.fromkeys(wanted, turns),
            on_fold=["front", "back"] if folded else [],
            shapes=shapes,
            scale=scale,
            wanted=wanted,
            left_out=one.left_out,
        )
        assert found == []
        assert one.problems() == []
        assert 0 < one.efficiency <= 1
    if name not in ("short",):
        assert lay.left_out == ()
    if across:
        assert lay.cloth_length_mm == pytest.approx(2 * lay.used_length_mm)


def test_lays_only_get_better() -> None:
    """What is shown never gets longer once everything is laid."""
    _, shown = planned(garment(), Cloth.from_dict({"width": 1400}), 0.4)
    lengths = [one.used_length_mm for one in shown if not one.left_out]
    assert lengths == sorted(lengths, reverse=True)


def test_two_rectangles_side_by_side() -> None:
    """300 + 400 mm across on 700 mm cloth need the longer one's 500 mm, and fill 9/14 and 5/14 of it."""
    pieces = [rectangle("a", 300, 500), rectangle("b", 400, 450)]
    lay, _ = planned_down_to(500.02, pieces, Cloth.from_dict({"width": 700}))
    assert lay.used_length_mm == pytest.approx(500.0, abs=0.05)
    assert lay.efficiency == pytest.approx((300 * 500 + 400 * 450) / (700 * 500), abs=1e-4)


def test_piece_exactly_as_wide_as_the_cloth() -> None:
    """A piece of the whole usable width is laid, with and without selvedge, by every planner."""
    pieces = [rectangle("belt", 700, 90, cut=3), rectangle("tab", 60, 50)]
    for data in ({"width": 700}, {"width": 720, "selvedge": 10}):
        cloth = Cloth.from_dict(data)
        lay, _ = planned_down_to(320.1, pieces, cloth)
        assert lay.used_length_mm == pytest.approx(320.0, abs=0.1)
    by_library = plan(pieces, cloth, 1.5, rules=Rules(0), effort=Effort(workers=1))
    assert by_library.left_out == ()
    assert by_library.problems() == []
    assert by_library.used_length_mm < 360.0


def test_folded_pairs_and_halves() -> None:
    """On a true fold: halves on it, a pair as one line through both layers, the single one told."""
    lay, _ = planned(garment(), Cloth.from_dict({"width": 1400, "fold": "lengthwise"}))
    how = {p.piece: p.how for p in lay.placements}
    assert how == {
        "front": "fold", "back": "fold", "sleeve": "through", "cuff": "through", "pocket": "single",
    }  # fmt: skip
    assert any("pocket" in note and "one layer" in note for note in lay.notes)
    for p in lay.placements:
        if p.piece in ("front", "back"):
            assert np.count_nonzero(p.outline_mm[:, 1] == 0.0) >= 2
    true = 2 * sum(
        Polygon(garment()[n].sewing_line).area * (0.5 if n == "pocket" else 1.0) for n in how
    )
    assert lay.cut_area_mm2 == pytest.approx(true, rel=1e-6)


def test_both_selvedges_to_the_middle() -> None:
    """A fold on each side: front on one and back on the other take half the length of one fold.

    By hand: halves of 300 × 500 mm on cloth of 1300 mm lie one behind the other on one fold, 1000 mm
    and the distance; with two folds, 310 mm from each to the selvedges, beside each other on 500.
    """
    halves = [rectangle(n, 300, 500, fold=((0, 0), (0, 500))) for n in ("front", "back")]
    cloths = [
        Cloth.from_dict({"width": 1300, "selvedge": 10, "fold": fold})
        for fold in ("lengthwise", "both selvedges to the middle")
    ]
    one, two = (plan(halves, cloth, 0.2, effort=HERE) for cloth in cloths)
    assert one.used_length_mm == pytest.approx(1005.0, abs=0.1)
    assert two.used_length_mm == pytest.approx(500.0, abs=0.1)
    assert one.problems() == two.problems() == []
    assert sorted(round(p.outline_mm[:, 1].max()) for p in two.placements) == [300, 650]
    assert two.cut_area_mm2 == one.cut_area_mm2 == 2 * 2 * 300 * 500


def with_facing() -> dict[str, Piece]:
    """Two halves of 300 × 500 mm and a facing whose half is 60 × 200, all cut on the fold."""
    sizes = {"front": (300, 500), "back": (300, 500), "facing": (60, 200)}
    return {n: rectangle(n, w, h, fold=((0, 0), (0, h))) for n, (w, h) in sizes.items()}


def test_a_facing_laid_whole_leaves_the_fold_to_the_large_pieces() -> None:
    """By hand: 500 + 5 + 500 + 5 + 200 mm on the fold, 1005 with the facing in a gap of one layer."""
    cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise"})
    lay = plan(with_facing(), cloth, 0.3, effort=HERE)
    assert lay.used_length_mm == pytest.approx(1210.0, abs=0.1)
    told = worth_opening(with_facing(), cloth, lay, seconds=0.3)
    assert told is not None and told.pieces == ("facing",)
    assert told.saved_mm == pytest.approx(205.0, abs=0.1)
    other = dataclasses.replace(cloth, opened=told.pieces)
    assert Cloth.from_dict(other.to_dict()) == other
    less = plan(with_facing(), other, 0.3, effort=HERE)
    found = judge(
        less.placements, width=1400, fold=True, distance=5, on_fold=["front", "back"],
        shapes={"facing": [(-60, 0), (60, 0), (60, 200), (-60, 200)]}, wanted=lines(less),
    )  # fmt: skip
    assert found == less.problems() == []
    (facing,) = (p for p in less.placements if p.piece == "facing")
    assert (facing.how, facing.area_mm2) == ("single", pytest.approx(120 * 200))
    assert any("facing" in note and "one layer" in note for note in less.notes)
    assert worth_opening(with_facing(), other, less, seconds=0.1) is None


def test_nothing_is_opened_where_that_saves_nothing() -> None:
    """Where the fold has room for all, or nothing small lies on it, nothing is said."""
    pieces = with_facing()
    wide = Cloth.from_dict({"width": 1400, "fold": "lengthwise", "nap": "two-way"})
    alone = {n: pieces[n] for n in ("front", "back")}
    for some in (alone, {"facing": pieces["facing"]}):
        lay = plan(some, wide, 0.1, effort=HERE)
        assert worth_opening(some, wide, lay, seconds=0.1) is None
    single = dataclasses.replace(wide, fold="none")
    lay = plan(pieces, single, 0.1, effort=HERE)
    assert worth_opening(pieces, single, lay, seconds=0.1) is None


@pytest.mark.parametrize(("wide", "fits"), [(309.0, True), (316.0, False)])
def test_no_line_is_cut_across_where_the_selvedges_meet(wide: float, fits: bool) -> None:
    """Between fold and selvedge lie 315 mm of 1300 less 10: a pair wider than that finds no room."""
    pair = [rectangle("pair", wide, 400, cut=2, pair=True, turns=(0,))]
    cloth = Cloth.from_dict({"width": 1300, "selvedge": 10, "fold": "double"})
    lay = plan(pair, cloth, QUICK, rules=Rules(0.0), effort=HERE)
    assert (lay.left_out == ()) == fits
    for y in (wide, 650.0, 500.0):  # from the low fold, from the high one, across the middle
        put = Placement("pair", 1, (0.0, y), 0.0)
        kinds = [p.kind for p in product_judge(pair, cloth, [put], Rules(0.0))]
        assert kinds == ([] if fits and y != 500.0 else ["outside"])
    if not fits:
        said = " ".join(what_would_help(pair_by_name(pair), cloth, lay, seconds=0.1))
        assert "pair is 316 mm across, 1 mm more" in said


def pair_by_name(pieces: list[Piece]) -> dict[str, Piece]:
    """Pieces as `what_would_help` takes them."""
    return {p.name: p for p in pieces}


def test_single_layer_pairs_are_left_and_right() -> None:
    """On single cloth one of a pair is turned over, and halves are opened out."""
    lay, _ = planned(garment(), Cloth.from_dict({"width": 1400}))
    assert sorted(p.mirrored for p in lay.placements if p.piece == "sleeve") == [False, True]
    front = next(p for p in lay.placements if p.piece == "front")
    assert Polygon(front.outline_mm).area == pytest.approx(
        2 * Polygon(garment()["front"].sewing_line).area, rel=1e-6
    )


def test_pieces_need_not_be_symmetrical_to_stay_apart_from_their_twins() -> None:
    """Two alike but lopsided pieces are no pair: folded cloth cuts them one by one.

    Both from the upper layer, which lies face down, so both lie turned over.
    """
    lopsided = Piece.from_outline("patch", [(0, 0), (200, 0), (60, 300)], cut=2)
    lay, _ = planned([lopsided], Cloth.from_dict({"width": 1400, "fold": "lengthwise"}))
    assert [p.how for p in lay.placements] == ["single", "single"]
    assert all(p.mirrored for p in lay.placements)


def test_velvet_never_turns_round() -> None:
    """With a nap every piece has turn 0; two-way cloth allows 180° as well (Industrial Cutting §3.6.2)."""
    pieces = [Piece.from_outline("t", [(0, 0), (300, 0), (150, 400)], cut=6)]
    one, _ = planned(pieces, Cloth.from_dict({"width": 700, "nap": "one-way"}))
    two, _ = planned_down_to(900.0, pieces, Cloth.from_dict({"width": 700, "nap": "two-way"}))
    assert {p.turn for p in one.placements} == {0.0}
    assert {p.turn for p in two.placements} == {0.0, 180.0}
    assert two.used_length_mm < one.used_length_mm


def test_grain_tolerance_is_kept() -> None:
    """A piece may turn off the grain by its tolerance, no further; others not at all."""
    strip = rectangle("strip", 100, 1000)
    strip = dataclasses.replace(strip, turns=(0.0,))
    cloth = Cloth.from_dict({"width": 500, "grain_tolerance": {"strip": 1.5}})
    lay, _ = planned([strip, rectangle("other", 80, 900)], cloth)
    for p in lay.placements:
        off = abs((p.turn + 90) % 180 - 90)
        assert off <= (1.5 if p.piece == "strip" else 0.0) + 1e-9
    assert lay.problems() == []


def test_slanted_grain_lies_along_the_cloth() -> None:
    """A bias piece (grain at 45° in its own frame) is turned until its grain runs along the cloth."""
    bias = dataclasses.replace(rectangle("bias", 300, 300), grain=((0.0, 0.0), (100.0, 100.0)))
    lay, _ = planned([bias], Cloth.from_dict({"width": 900}))
    (p,) = lay.placements
    along = p.cloth_from_piece[:2, :2] @ np.array([1.0, 1.0]) / np.sqrt(2)
    assert abs(along[0]) == pytest.approx(1.0)
    assert lay.used_length_mm == pytest.approx(300 * np.sqrt(2), abs=0.01)
    assert p.placement.cloth_from_piece == pytest.approx(p.cloth_from_piece)


@pytest.mark.parametrize("distance", [0.0, 3.0, 20.0])
def test_distance_between_cutting_lines(distance: float) -> None:
    """Lines keep their distance (judged in mm) and the cloth pays no more than it must."""
    pieces = [rectangle("a", 200, 300, cut=4)]
    lay, shown = planned_down_to(
        600 + distance + 0.05,
        pieces,
        Cloth.from_dict({"width": 400 + distance}),
        rules=Rules(distance),
    )
    for one in shown:
        assert judge(one.placements, width=400 + distance, distance=distance) == []
    assert lay.used_length_mm == pytest.approx(600 + distance, abs=0.1)


def test_shrinkage_enlarges_by_direction() -> None:
    """Cut size = size / (1 − s): 970 mm along at 3 % become 1000, 99 mm across at 1 % become 100."""
    cloth = Cloth.from_dict({"width": 1400, "shrinkage": {"length": 3, "width": 1}})
    lay, _ = planned([rectangle("a", 99, 970)], cloth)
    size = np.ptp(lay.placements[0].outline_mm, axis=0)
    assert size == pytest.approx([1000.0, 100.0])
    m = lay.placements[0].cloth_from_piece
    assert m[:2, :2] @ np.array([99.0, 970.0]) == pytest.approx(
        m[:2, :2] @ np.array([99.0, 0]) + m[:2, :2] @ np.array([0, 970.0])
    )


@pytest.mark.parametrize("fold", ["none", "lengthwise"])
def test_stripes_meet_at_the_seams(fold: str) -> None:
    """Match points of named seams fall on one phase of the stripe, in every lay shown."""
    data = {
        "width": 1400, "fold": fold, "repeat": {"length": 70},
        "match": [[{"piece": "front", "at": [280, 10]}, {"piece": "back", "at": [310, 10]},
                   {"piece": "sleeve", "at": [40, 0]}]],
    }  # fmt: skip
    _, shown = planned(garment(), Cloth.from_dict(data), 0.8, rules=Rules(3))
    for one in shown:
        found = judge(
            one.placements, width=1400, fold=fold == "lengthwise", distance=3,
            phases=[("front", (280, 10)), ("back", (310, 10)), ("sleeve", (40, 0))],
            repeat=(70.0, 0.0), on_fold=["front", "back"] if fold == "lengthwise" else [],
        )  # fmt: skip
        assert found == []
        assert one.problems() == []


def test_checks_meet_both_ways() -> None:
    """A check repeats along and across; the match points meet in both directions."""
    data = {
        "width": 1400, "repeat": {"length": 90, "width": 60},
        "match": [[{"piece": n, "at": [0, 0]} for n in ("a", "b", "c")]],
    }  # fmt: skip
    pieces = [rectangle("a", 300, 400), rectangle("b", 250, 310), rectangle("c", 130, 200)]
    _, shown = planned(pieces, Cloth.from_dict(data), 0.6)
    for one in shown:
        found = judge(
            one.placements, width=1400, repeat=(90.0, 60.0),
            phases=[(n, (0, 0)) for n in ("a", "b", "c")],
        )  # fmt: skip
        assert found == []


def test_flaws_are_for_those_that_may() -> None:
    """Only a tolerant piece may cover a flaw; with the others there is no room for it elsewhere."""
    data = {
        "width": 400, "length": 300, "flaws": [[[250, 100], [350, 100], [350, 200], [250, 200]]],
    }  # fmt: skip
    pieces = [rectangle("good", 400, 260), rectangle("facing", 390, 58)]
    lay, _ = planned(pieces, Cloth.from_dict({**data, "tolerates_flaws": ["facing"]}))
    assert lay.left_out == ("good/1",)  # 260 mm do not fit before the flaw, nor after it
    laid = [rectangle("good", 400, 230), rectangle("facing", 390, 58)]
    lay, _ = planned(laid, Cloth.from_dict({**data, "tolerates_flaws": ["facing"]}))
    assert lay.left_out == ()
    assert next(p for p in lay.placements if p.piece == "good").outline_mm[:, 0].max() <= 250.03
    lay, _ = planned(laid, Cloth.from_dict(data))
    assert lay.left_out == ("facing/1",)


def test_locked_pieces_stay_and_the_rest_goes_round() -> None:
    """A locked piece is where she put it, exactly, and nothing touches it."""
    at = Placement("sleeve", 1, (700.0, 600.0), 0.0, False, True)
    lay, shown = planned(garment(), Cloth.from_dict({"width": 1400}), locked=[at], rules=Rules(5))
    for one in shown:
        mine = next(p for p in one.placements if p.key == "sleeve/1")
        assert (mine.at, mine.turn, mine.mirrored, mine.locked) == (
            (700.0, 600.0),
            0.0,
            False,
            True,
        )
        assert judge(one.placements, width=1400, distance=5) == []
    assert lay.left_out == ()
    assert sum(p.locked for p in lay.placements) == 1


def test_locks_by_mapping_and_by_laid_piece() -> None:
    """A docket's entry, a Placement and a laid piece lock alike."""
    cloth = Cloth.from_dict({"width": 1400})
    first, _ = planned(garment(), cloth)
    piece = first.placements[0]
    entry = {
        "piece": piece.piece, "copy": piece.copy, "at": list(piece.at), "turn": piece.turn,
        "mirrored": piece.mirrored,
    }  # fmt: skip
    for locked in (piece, piece.placement, entry):
        lay, _ = planned(garment(), cloth, 0.0, locked=[locked])
        kept = next(p for p in lay.placements if p.key == piece.key)
        assert kept.outline_mm == pytest.approx(piece.outline_mm)


def test_quantities_and_several_garments() -> None:
    """Two choir tops in two sizes in one lay, each twice: every copy laid once."""
    pieces = {f"alto-3: {n}": p for n, p in garment().items()}
    pieces |= {f"tenor-1: {n}": p for n, p in garment().items()}
    lay, _ = planned(pieces, Cloth.from_dict({"width": 1500}), rules=Rules(0.0, quantity=2))
    assert lines(lay) == {
        f"{who}: {n}": 2 * c
        for who in ("alto-3", "tenor-1")
        for n, c in {"front": 1, "back": 1, "sleeve": 2, "cuff": 2, "pocket": 1}.items()
    }
    assert lay.problems() == []


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("fold", [False, True])
def test_cut_up_cloth_comes_close_to_its_known_optimum(seed: int, fold: bool) -> None:
    """A cloth cut into ten pieces is laid again: never shorter than its area allows, nor over 1.35 × it."""
    rng = np.random.default_rng(seed)
    length, width = 900.0, 700.0
    pieces = {}
    for i, ring in enumerate(cut_up(rng, length, width, 10)):
        own = np.column_stack([ring[:, 1], ring[:, 0]])  # turned over onto the piece frame
        at = np.abs(own[:, 0]) < 1e-9
        edge = own[at]
        if fold and at.sum() == 2:
            a, b = edge
            pieces[f"p{i}"] = Piece.from_outline(f"p{i}", own, fold=(tuple(a), tuple(b)))
        else:
            pieces[f"p{i}"] = Piece.from_outline(f"p{i}", own, cut=2 if fold else 1, pair=fold)
    cloth = Cloth.from_dict(
        {"width": 2 * width if fold else width, "fold": "lengthwise" if fold else "none"}
    )
    lay, shown = planned_down_to(1.3 * length, pieces, cloth)
    for one in shown:
        assert judge(one.placements, width=cloth.width_mm, fold=fold) == []
    assert length - 0.1 <= lay.used_length_mm <= 1.35 * length


# -- stopping, going on, processes ------------------------------------------------------------


def test_stopping_keeps_the_best() -> None:
    """Answering False stops at once with what was shown last."""
    seen: list[Lay] = []

    def stop(lay: Lay) -> bool:
        seen.append(lay)
        return False

    began = time.monotonic()
    lay = plan(garment(), Cloth.from_dict({"width": 1400}), 30.0, progress=stop)
    assert time.monotonic() - began < 10.0
    assert len(seen) == 1
    assert lay.used_length_mm == seen[-1].used_length_mm
    assert lay.problems() == []


def test_interrupt_keeps_the_best_and_can_be_resumed() -> None:
    """Ctrl-C ends with a valid lay; planning on from it never gets worse."""
    calls = 0

    def interrupt(_: Lay) -> None:
        nonlocal calls
        calls += 1
        if calls == 2:
            raise KeyboardInterrupt

    cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise"})
    lay = plan(garment(), cloth, 30.0, progress=interrupt, effort=HERE)
    assert lay.interrupted
    assert lay.problems() == []
    on, shown = planned(garment(), cloth, start=lay.docket_placements())
    assert on.used_length_mm <= lay.used_length_mm + 1e-6
    assert not on.interrupted
    assert min(one.used_length_mm for one in shown) == on.used_length_mm


def test_no_seconds_is_a_plan_all_the_same() -> None:
    """With no time to search the first plan comes, whole and valid."""
    lay = plan(garment(), Cloth.from_dict({"width": 1400}), 0)
    assert lay.left_out == ()
    assert lay.problems() == []


def test_from_a_bare_script(tmp_path: Path) -> None:
    """A script with no guard around its main part plans with processes, once, and ends."""
    script = tmp_path / "script.py"
    script.write_text(
        "from drafting import Piece\n"
        "from drafting.lay import Cloth, Rules, plan\n"
        "print('begun')\n"
        "p = Piece.from_outline('a', [(0, 0), (300, 0), (0, 400)], cut=4)\n"
        "lay = plan([p], Cloth.from_dict({'width': 700}), seconds=2.5, rules=Rules(0))\n"
        "print(round(lay.used_length_mm, 1), lay.problems())\n"
    )
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=60, cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr
    first, last = done.stdout.splitlines()
    assert first == "begun"
    assert last.endswith("[]")
    assert float(last.split()[0]) <= 850.0  # two pairs of triangles take 800


@pytest.mark.skipif(
    not hasattr(os, "sched_setaffinity"), reason="cores are given another way there"
)
def test_one_core_no_home_and_no_compiler(tmp_path: Path) -> None:
    """On one core, with no folder to keep anything in and no numba, a lay is planned and sound."""
    taken = tmp_path / "taken"
    taken.write_text("a file where the cache and the home should be")
    script = tmp_path / "script.py"
    script.write_text(
        "import os, sys\n"
        "os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})\n"
        "sys.modules['numba'] = sys.modules['llvmlite'] = None\n"
        "from drafting import Piece\n"
        "from drafting.lay import Cloth, plan\n"
        "half = Piece.from_outline('h', [(0, 0), (300, 0), (0, 400)], fold=((0, 0), (0, 400)))\n"
        "pieces = [half, Piece.from_outline('a', [(0, 0), (300, 0), (0, 400)], cut=4)]\n"
        "for fold in ('none', 'lengthwise'):\n"
        "    lay = plan(pieces, Cloth.from_dict({'width': 900, 'fold': fold}), seconds=1.3)\n"
        "    print(lay.problems() + list(lay.left_out))\n"
    )
    lost = {"HOME": str(taken), "XDG_CACHE_HOME": str(taken), "XDG_DATA_HOME": str(taken)}
    done = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True, text=True, timeout=120, cwd=tmp_path, env={**os.environ, **lost},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["[]", "[]"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["script.py", "taken"]


def test_without_processes_it_plans_in_this_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system starts no further process, the time given is searched here."""

    def refused(*_: Any, **__: Any) -> Any:
        raise OSError("no more processes")

    monkeypatch.setattr(subprocess, "Popen", refused)
    lay = plan(garment(), Cloth.from_dict({"width": 1400}), 1.3, effort=Effort(seed=2))
    first = plan(garment(), Cloth.from_dict({"width": 1400}), 0)
    assert lay.problems() == [] and lay.left_out == ()
    assert lay.used_length_mm < first.used_length_mm
    assert lay.seconds >= 1.2


@pytest.mark.skipif(os.name == "nt", reason="signals are sent another way there")
def test_workers_end_with_their_parent(tmp_path: Path) -> None:
    """Killed in the middle of planning, the program leaves no process behind."""
    script = tmp_path / "script.py"
    script.write_text(
        "from drafting import Piece\n"
        "from drafting.lay import Cloth, Effort, plan\n"
        "p = Piece.from_outline('a', [(0, 0), (300, 0), (0, 400)], cut=9)\n"
        "def tell(lay):\n"
        "    import subprocess, os\n"
        "    kids = subprocess.run(['ps', '-o', 'pid=', '--ppid', str(os.getpid())],\n"
        "                          capture_output=True, text=True).stdout.split()\n"
        "    print(*kids, flush=True)\n"
        "plan([p], Cloth.from_dict({'width': 700}), seconds=60, progress=tell, effort=Effort(workers=1))\n"
    )
    with subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        kids: list[str] = []
        end = time.monotonic() + 30
        while not kids and time.monotonic() < end:
            kids = [k for k in run.stdout.readline().split() if _is_worker(int(k))]
        assert kids
        run.send_signal(signal.SIGKILL)
    end = time.monotonic() + 10
    while any(_is_worker(int(k)) for k in kids) and time.monotonic() < end:
        time.sleep(0.05)
    assert not any(_is_worker(int(k)) for k in kids)


def _is_worker(pid: int) -> bool:
    try:
        return b"drafting.lay.worker" in Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return False


# -- what is wrong with it ----------------------------------------------------------------------


def test_problems_sees_planted_faults() -> None:
    """The lay's own check names pieces and mm for overlap, edge, distance, fold, turn, count."""
    cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise", "nap": "one-way"})
    pieces = garment()
    sound, _ = planned(pieces, cloth, 0.0, rules=Rules(5))
    spots = {p.key: p for p in sound.docket_placements()}

    def said(**moved: Placement) -> str:
        changed = {**spots, **{p.key: p for p in moved.values()}}
        lay = lay_as_it_is(pieces, cloth, changed.values(), Rules(5.0))
        return " ".join(lay.problems())

    assert said() == ""
    front, sleeve_ = spots["front/1"], spots["sleeve/1"]
    pocket = spots["pocket/1"]
    move = dataclasses.replace
    on_top = move(pocket, at=(front.at[0] + 200, 200.0))
    assert "front/1 and pocket/1 overlap" in said(a=on_top)
    assert "outside the usable cloth" in said(a=move(sleeve_, at=(-50.0, sleeve_.at[1])))
    assert "off the cloth's fold" in said(a=move(front, at=(front.at[0] + 3000, 1.0)))
    assert "turned 180°" in said(a=move(pocket, turn_deg=180.0, at=(4000.0, 300.0)))
    gone = lay_as_it_is(pieces, cloth, [front], Rules(5.0))
    assert set(gone.left_out) == {"back/1", "sleeve/1", "cuff/1", "pocket/1"}
    untold = dataclasses.replace(gone, left_out=())
    assert any("neither laid nor named" in p for p in untold.problems())


BAD: dict[str, tuple[Any, dict[str, Any], dict[str, Any], str]] = {
    "nothing": ({}, {"width": 900}, {}, "no pieces"),
    "same name": (
        [rectangle("a", 10, 10), rectangle("a", 20, 20)], {"width": 900}, {}, "two pieces",
    ),
    "turn": ([rectangle("a", 9, 9, turns=(90,))], {"width": 900, "nap": "two-way"}, {}, "turned 90"),
    "distance": ([rectangle("a", 9, 9)], {"width": 900}, {"rules": Rules(-1.0)}, "distance"),
    "seconds": ([rectangle("a", 9, 9)], {"width": 900}, {"seconds": float("nan")}, "seconds"),
    "allowance": ([rectangle("a", 9, 9)], {"width": 900}, {"rules": Rules(0.0, {"all": -5})}, "a"),
    "unknown lock": (
        [rectangle("a", 9, 9)], {"width": 900}, {"locked": [Placement("b", 1, (0, 50))]}, "b/1",
    ),
    "lock twice": (
        [rectangle("a", 9, 9)], {"width": 900},
        {"locked": [Placement("a", 1, (0, 50)), Placement("a", 1, (90, 50))]}, "twice",
    ),
    "locks overlap": (
        [rectangle("a", 90, 90, cut=2)], {"width": 900},
        {"locked": [Placement("a", 1, (0, 100)), Placement("a", 2, (60, 100))]},
        "a/1 and a/2 overlap by 30",
    ),
    "lock outside": (
        [rectangle("a", 90, 90)], {"width": 900}, {"locked": [Placement("a", 1, (0, 50))]},
        "outside",
    ),
    "lock off fold": (
        [half_front()], {"width": 1400, "fold": "lengthwise"},
        {"locked": [Placement("front", 1, (0, 12), 0.0, True)]}, "off the cloth's fold",
    ),
    "match": (
        [rectangle("a", 9, 9)], {"width": 900, "repeat": {"length": 20}, "match": [["z.side"]]},
        {}, "no piece 'z'",
    ),
    "match on the fold": (
        [half_front("front"), half_front("back", 30)],
        {"width": 1400, "fold": "lengthwise", "repeat": {"width": 40},
         "match": [[{"piece": "front", "at": [280, 10]}, {"piece": "back", "at": [295, 10]}]]},
        {}, "15.0 mm apart",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_laid_is_said(name: str) -> None:
    """Bad input is one clear message that names what is meant."""
    pieces, cloth, how, word = BAD[name]
    with pytest.raises(ChalkbeamError, match=word):
        plan(pieces, Cloth.from_dict(cloth), **{"seconds": 0.0, **how})


def test_self_crossing_outline_is_refused_by_name() -> None:
    """A bow-tie is no piece, wherever it comes from."""
    with pytest.raises(ChalkbeamError, match="bow"):
        Piece.from_outline("bow", [(0, 0), (100, 100), (100, 0), (0, 100)])


def test_fold_across_the_grain_is_told() -> None:
    """A half piece whose fold is not along its grain cannot lie on the cloth's fold."""
    turned = dataclasses.replace(
        rectangle("yoke", 200, 100, fold=((0, 0), (0, 100))), grain=((0.0, 0.0), (50.0, 0.0))
    )
    with pytest.raises(LayError, match="yoke"):
        plan([turned], Cloth.from_dict({"width": 1400, "fold": "lengthwise"}), 0)


def test_too_wide_is_left_out_and_told() -> None:
    """A piece wider than the cloth is left out, the rest is laid, and help is named."""
    pieces = {"sail": rectangle("sail", 1500, 300), "pocket": rectangle("pocket", 100, 100)}
    cloth = Cloth.from_dict({"width": 1400})
    lay = plan(pieces, cloth, QUICK, effort=HERE)
    assert lay.left_out == ("sail/1",)
    assert lay.problems() == []
    said = " ".join(what_would_help(pieces, cloth, lay, seconds=0.1))
    assert "sail is 1500 mm across, 100 mm more" in said


def test_too_short_says_how_much_is_missing() -> None:
    """Ten strips of 100 mm on 800 mm of cloth: two stay out, 200 mm are missing."""
    pieces = {"belt": rectangle("belt", 600, 100, cut=10)}
    cloth = Cloth.from_dict({"width": 600, "length": 800})
    lay = plan(pieces, cloth, QUICK, rules=Rules(0), effort=HERE)
    assert len(lay.left_out) == 2
    said = " ".join(what_would_help(pieces, cloth, lay, seconds=0.1, rules=Rules(0.0)))
    assert "200 mm of length are missing" in said or "210 mm of length are missing" in said


# -- what it means for the purse ------------------------------------------------------------------


def test_to_buy_rounds_up() -> None:
    """512 mm become 60 cm or 5/8 yd (571.5 mm); a repeat of 70 mm is added before rounding."""
    piece = [rectangle("a", 400, 512)]
    lay = plan(piece, Cloth.from_dict({"width": 500, "price": "10 EUR/m"}), 0)
    assert to_buy(lay).length_mm == pytest.approx(600.0)
    assert to_buy(lay).cost == pytest.approx(6.0)
    assert to_buy(lay, "yd").length_mm == pytest.approx(571.5)
    striped = Cloth.from_dict({"width": 500, "repeat": {"length": 90}})
    assert to_buy(plan(piece, striped, 0)).length_mm == pytest.approx(700.0)
    exact = plan([rectangle("a", 400, 500)], Cloth.from_dict({"width": 500}), 0)
    assert to_buy(exact).length_mm == pytest.approx(500.0)


def test_leftover_and_its_largest_rectangle() -> None:
    """One 400 × 300 piece on 1000 × 600 leaves 0.48 m² and a rectangle of 700 × 600."""
    cloth = Cloth.from_dict({"width": 600, "length": 1000})
    lay = plan([rectangle("a", 400, 300)], cloth, 0)
    rest = leftover(lay)
    assert rest.area_mm2 == pytest.approx(1000 * 600 - 400 * 300, rel=1e-6)
    x, y, length, width = rest.rectangle_mm
    assert (length, width) == pytest.approx((700.0, 600.0), abs=5.01)
    assert (x, y) == pytest.approx((300.0, 0.0), abs=5.01)


def test_largest_rectangle_against_trying_all() -> None:
    """The stack method agrees with trying every rectangle, on random pictures."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        free = rng.random((7, 9)) < 0.7
        best = max(
            (h * w)
            for r in range(7) for c in range(9) for h in range(8 - r) for w in range(10 - c)
            if free[r : r + h, c : c + w].all()
        )  # fmt: skip
        r, c, h, w = _largest_rectangle(free)
        assert h * w == best
        assert free[r : r + h, c : c + w].all()
