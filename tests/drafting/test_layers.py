"""Lays cut on paper layer by layer: what leaves the cloth is what was wanted, face up, on grain."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from layers import Folded, faults
from random_dockets import case

from drafting import Piece
from drafting.lay import Cloth, Effort, Lay, Rules, plan
from drafting.lay.folds import best_fold, ways_as_asked
from drafting.placement import Placement

HERE = Effort(seed=5, workers=0)
NO_GAP = Rules(0.0)


def folded_as(cloth: Cloth) -> Folded:
    return Folded(
        cloth.fold, cloth.width_mm, cloth.face == "in", cloth.over_mm,
        cloth.open_from_mm, cloth.selvedge_mm,
    )  # fmt: skip


def cut(lay: Lay, pieces: dict[str, Piece], rules: Rules = NO_GAP) -> list[str]:
    return faults(
        lay.placements, pieces, folded_as(lay.cloth), allowances=dict(rules.allowances) or None,
        distance=rules.distance_mm, nap=lay.cloth.nap, times=int(rules.quantity),  # type: ignore[call-overload]
        left_out=lay.left_out,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(18))
def test_what_is_cut_from_each_layer_is_what_was_wanted(seed: int) -> None:
    """On every way to fold, random pieces come out whole, face up, on grain, apart, counted."""
    one = case(7000 + seed)
    if one.cloth.best:
        among = ways_as_asked(one.pieces, one.cloth, one.rules)
        lay = best_fold(one.pieces, one.cloth, 0.1, among=among, rules=one.rules, effort=HERE).lay
    else:
        lay = plan(one.pieces, one.cloth, 0.03, rules=one.rules, effort=HERE)
    assert len(lay.placements) > len(lay.left_out)
    assert lay.problems() == []
    assert cut(lay, one.pieces, one.rules) == []


def lopsided(name: str, wide: float, high: float, **more: Any) -> Piece:
    return Piece.from_outline(name, [(0, 0), (wide, 0), (wide, 0.4 * high), (0, high)], **more)


@pytest.mark.parametrize("face", ["in", "out"])
@pytest.mark.parametrize("way", ["lengthwise", "crosswise"])
def test_two_one_sided_pieces_lie_over_each_other(way: str, face: str) -> None:
    """Each is cut from one layer, so both lie on the length of one; each comes out as it is drawn."""
    pieces = {n: lopsided(n, 540, 600) for n in ("front", "back")}
    data = {
        "width": 1140 if way == "lengthwise" else 570,
        "fold": {"way": way, "face": face},
        "nap": "two-way",
    }
    lay = plan(pieces, Cloth.from_dict(data), 0.3, rules=NO_GAP, effort=HERE)
    assert lay.problems() == [] and cut(lay, pieces) == []
    assert sorted(p.lower for p in lay.placements) == [False, True]
    assert lay.used_length_mm == pytest.approx(600, abs=1.0)
    assert any("from the lower layer" in n for n in lay.notes)


def test_with_room_in_the_upper_layer_nothing_is_cut_from_the_lower() -> None:
    """A lone one-sided piece and a band stay in the layer that she sees."""
    pieces = {
        "front": lopsided("front", 300, 500),
        "band": Piece.from_outline("band", [(0, 0), (200, 0), (200, 60), (0, 60)]),
    }
    for way in ("lengthwise", "crosswise", "double"):
        cloth = Cloth.from_dict({"width": 1600, "fold": way, "nap": "two-way"})
        lay = plan(pieces, cloth, 0.1, rules=NO_GAP, effort=HERE)
        assert [p.key for p in lay.placements if p.lower] == []


@cache
def _laid() -> tuple[dict[str, Piece], Lay]:
    pieces = {
        "one": lopsided("one", 540, 600),
        "two": lopsided("two", 540, 600),
        "cuff": lopsided("cuff", 150, 200, cut=2, pair=True),
        "yoke": Piece.from_outline(
            "yoke", [(0, 0), (200, 0), (150, 300), (0, 300)], fold=((0, 0), (0, 300))
        ),
    }
    cloth = Cloth.from_dict({"width": 1140, "fold": "lengthwise", "nap": "one-way"})
    return pieces, plan(pieces, cloth, 0.1, rules=NO_GAP, effort=HERE)


FAULTS: dict[str, tuple[str, dict[str, Any], str]] = {
    "other layer": ("one", {"lower": "not"}, "cut mirrored"),
    "turned over": ("one", {"mirrored": "not"}, "cut mirrored"),
    "off grain": ("cuff", {"turn_deg": 90.0}, "off"),
    "against the nap": ("cuff", {"turn_deg": 180.0}, "off"),
    "off the fold": ("yoke", {"by": (0.0, 3.0)}, "does not open out"),
    "over the selvedge": ("one", {"by": (0.0, 300.0)}, "selvedge"),
    "over the fold": ("cuff", {"to": (50.0, 10.0)}, "same cloth"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_the_paper_cutter_sees_planted_faults(name: str) -> None:
    """A sound lay has none; each fault that is planted is told, here and by the product's judge."""
    from drafting.lay.planner import lay_as_it_is

    pieces, lay = _laid()
    assert cut(lay, pieces) == []
    which, change, said = FAULTS[name]
    wrong: list[Placement] = []
    for p in lay.docket_placements():
        if p.piece == which:
            kept = {k: v for k, v in change.items() if k not in ("by", "to")}
            kept = {k: not getattr(p, k) if v == "not" else v for k, v in kept.items()}
            at = change.get("to") or tuple(np.add(p.at, change.get("by", (0.0, 0.0))).tolist())
            p = replace(p, at=at, **kept)
        wrong.append(p)
    other = lay_as_it_is(pieces, lay.cloth, wrong, NO_GAP)
    assert any(said in f for f in cut(other, pieces)), cut(other, pieces)
    assert other.problems() != []


def test_a_docket_keeps_the_layer() -> None:
    """'layer: lower' is read, kept and written; any other word is refused with the nearest."""
    from configs.errors import InputError
    from drafting import Docket

    rows = [{"name": "flap", "outline": [[0, 0], [200, 0], [200, 60], [0, 100]]}]
    data = {"chalkbeam": 1, "title": "c", "pieces": rows,
            "cloth": {"width": "1500 mm", "fold": "lengthwise"},
            "lay": [{"piece": "flap", "copy": 1, "at": [300, 300], "layer": "lower"}]}  # fmt: skip
    docket = Docket.from_dict(data)
    assert docket.lay[0].lower
    assert Docket.from_dict(docket.to_dict()).lay[0].lower
    with pytest.raises(InputError, match="lower"):
        Docket.from_dict({**data, "lay": [{"piece": "flap", "at": [0, 0], "layer": "lowest"}]})


@pytest.mark.parametrize(("gap", "right"), [(2.5, False), (10.0, True)])
def test_where_cloth_lies_single_the_lower_layer_goes_on(gap: float, right: bool) -> None:
    """One selvedge folded over by 500: a piece of the lower layer and one beyond keep 5 mm apart."""
    pieces = {n: lopsided(n, 200, 300) for n in ("under", "beyond")}
    cloth = Cloth.from_dict({"width": 1400, "fold": {"way": "partial", "over": "500 mm"}})
    rules = Rules(5.0)
    edge = 499.9  # the end of the flap
    placed = [
        Placement("under", 1, (0.0, edge), lower=True),
        Placement("beyond", 1, (0.0, edge + gap + 200.0)),
    ]
    from drafting.lay.planner import lay_as_it_is

    lay = lay_as_it_is(pieces, cloth, placed, rules)
    assert (lay.problems() == []) is right, lay.problems()
    assert (cut(lay, pieces, rules) == []) is right


def test_names_of_two_layers_stand_beside_each_other() -> None:
    """Two pieces over each other: each name with its layer, neither written on the other."""
    from projector.lay_picture import _Picture

    pieces = {n: lopsided(n, 540, 600) for n in ("front", "back")}
    cloth = Cloth.from_dict({"width": 1140, "fold": "lengthwise", "nap": "two-way"})
    lay = plan(pieces, cloth, 0.2, rules=NO_GAP, effort=HERE)
    picture = _Picture(lay, "", 800)
    picture.drawn()
    one, two = picture.written
    assert ((one[1] <= two[0]) | (two[1] <= one[0])).any()
    assert sorted(picture._layers(p) for p in lay.placements) == [
        "lower layer only", "upper layer only",
    ]  # fmt: skip


@pytest.mark.parametrize("lower", [False, True])
def test_at_the_table_only_pieces_of_one_layer_overlap(lower: bool) -> None:
    """Two flaps on the same spot: told when both are of the upper layer, not when one is of the lower; the
    words beside it say which, and the table's notes keep it."""
    from drafting import Docket
    from projector.picture.on_table import faces_of
    from projector.session.merge import placement_from, plain
    from projector.session.rules import Rules as TableRules

    ring = [[0, 0], [200, 0], [200, 60], [0, 100]]
    lay = [
        {"piece": "one", "at": [300, 300], "mirrored": True},
        {
            "piece": "two",
            "at": [310, 300],
            "mirrored": not lower,
            "layer": "lower" if lower else "upper",
        },
    ]
    docket = Docket.from_dict({
        "chalkbeam": 1, "title": "c", "pieces": [{"name": n, "outline": ring} for n in ("one", "two")],
        "cloth": {"width": "1500 mm", "fold": "lengthwise"}, "lay": lay,
    })  # fmt: skip
    rules = TableRules(docket, faces_of(docket))
    two = next(p for p in docket.lay if p.piece == "two")
    if lower:  # turned over it lies on its own outline mirrored, at the same place
        two = replace(two, at=(310.0, 200.0))
    there = [p for p in docket.lay if p.piece == "one"] + [two]
    assert bool(rules.troubles_with(two, there)) is not lower
    assert "wrong side up" not in rules.own_troubles(two, there)
    assert placement_from(plain(two)) == two
    assert rules.turned_over(two).lower is not lower
