"""The product's judge and the tests' own see the same faults, planted at half and twice each limit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from judge import judge as outside_judge

from configs.errors import LayError
from drafting import Docket
from drafting.lay import Cloth, Effort, Placement, Rules, judge, plan
from drafting.lay.check import Judge, is_sound
from drafting.lay.cuts import specs_of
from drafting.lay.first import State
from drafting.lay.job import make_job
from drafting.lay.planner import lay_as_it_is
from drafting.piece import Piece

# ends of 50 mm, so that twice a limit of 0.02 mm is more than the square millimetre let pass, and
# a notch in one side, so that turned over it is another
RING = [(0, 0), (50, 0), (50, 200), (0, 200), (0, 120), (6, 100), (0, 80)]
A = Piece.from_outline("a", RING, cut=2)
HALF = Piece.from_outline("half", [(0, 0), (120, 0), (90, 300), (0, 250)], fold=((0, 0), (0, 250)))
TWIN = Piece.from_outline("twin", RING, cut=2, pair=True)
APART = Rules(0.0)
DOUBLE = {"width": 1200, "length": 900, "fold": "both selvedges to the middle"}
HOLE = [(400.0, 100.0), (450.0, 100.0), (450.0, 160.0), (400.0, 160.0)]


@dataclass(frozen=True)
class Planted:
    """Placements with a fault in them: where, on what, and what the outside judge is to know."""

    laid: list[Placement]
    pieces: tuple[Piece, ...] = (A,)
    cloth: dict[str, Any] = field(default_factory=lambda: {"width": 300, "length": 900})
    rules: Rules = APART
    told: dict[str, Any] = field(default_factory=dict)


def at(
    x: float,
    y: float = 150.0,
    turn: float = 0.0,
    copy: int = 1,
    piece: str = "a",
    over: bool = False,
) -> Placement:
    """A placement; at turn 0 the piece lies from x on along the cloth and from y down across."""
    return Placement(piece, copy, (x, y), turn, over)


def striped(along: float, across: float) -> Planted:
    """Two pieces of a check of 40 × 30 mm, the second off its phase."""
    cloth = {"width": 400, "length": 900, "repeat": {"length": 40, "width": 30},
             "match": [[{"piece": "a", "at": [0, 0]}, {"piece": "half", "at": [0, 0]}]]}  # fmt: skip
    there = [at(7.0, 101.0), at(407.0 + along, 221.0 + across, piece="half")]
    told = {"phases": [("a", (0, 0)), ("half", (0, 0))], "repeat": (40.0, 30.0)}
    return Planted(there, (A, HALF), cloth, told=told)


def over(ring: str) -> Callable[[float], Planted]:
    """A piece that reaches into a hole or a flaw by its 50 mm edge."""

    def made(by: float) -> Planted:
        cloth = {"width": 300, "length": 900, ring: [HOLE]}
        return Planted([at(200.0 + by, 155.0)], cloth=cloth, told={ring: [HOLE]})

    return made


@dataclass(frozen=True)
class Fault:
    """A fault of some amount: what the product calls it, its limit, what the other judge says."""

    kind: str
    limit: float
    plant: Callable[[float], Planted]
    word: str


FAULTS = {
    "overlap": Fault("overlap", 0.02, lambda by: Planted([at(0), at(200 - by, copy=2)]), "overlap"),
    "distance": Fault(
        "distance", 0.02,
        lambda by: Planted([at(0), at(205 - by, copy=2)], rules=Rules(5.0), told={"distance": 5.0}),
        "apart",
    ),
    "outside, near selvedge": Fault("outside", 0.02, lambda by: Planted([at(0, -by, 90.0)],
        told={"turns": {"a": [0, 90]}}, pieces=(replace(A, turns=(0.0, 90.0)),)), "outside"),
    "outside, the end": Fault("outside", 0.02, lambda by: Planted([at(700 + by)]), "outside"),
    "outside, the start": Fault("outside", 0.02, lambda by: Planted([at(200 - by, 100, 180.0)]), "outside"),
    "selvedge": Fault("outside", 0.02, lambda by: Planted(
        [at(100, 290.0 + by, 270.0)], pieces=(replace(A, turns=(270.0,)),),
        cloth={"width": 300, "length": 900, "selvedge": 10}, told={"selvedge": 10.0}), "outside"),
    "hole": Fault("outside", 0.02, over("holes"), "outside"),
    "flaw": Fault("flaw", 0.02, over("flaws"), "flaw"),
    "fold": Fault(
        "fold", 0.05,
        lambda by: Planted([at(0, by, piece="half", over=True)], (HALF,),
                           {"width": 600, "length": 900, "fold": "lengthwise"},
                           told={"fold": True, "on_fold": ["half"]}),
        "fold",
    ),
    "fold, the upper one": Fault(
        "fold", 0.05,
        lambda by: Planted([at(0, 600.0 - by, piece="half")], (HALF,), DOUBLE,
                           told={"fold": True, "double": True, "on_fold": ["half"]}),
        "fold",
    ),
    "over the meeting selvedges": Fault(
        "outside", 0.02,
        lambda by: Planted([at(100, 90.0 + by, 90.0, over=True)], (replace(A, turns=(90.0,)),),
                           {**DOUBLE, "selvedge": 10}, told={"fold": True, "double": True, "selvedge": 10.0}),
        "outside",
    ),
    "grain": Fault("grain", 0.01, lambda by: Planted([at(300, 150, by)], told={"turns": {"a": [0, 180]}}), "not allowed"),
    "grain, within its tolerance": Fault(
        "grain", 0.01,
        lambda by: Planted([at(300, 150, -(2.0 + by))], told={"turns": {"a": [0, 180]}, "tilt": 2.0},
                           cloth={"width": 300, "length": 900, "grain_tolerance": {"a": 2}}),
        "not allowed",
    ),
    "stripes along": Fault("stripes", 0.5, lambda by: striped(by, 0.0), "phase"),
    "stripes across": Fault("stripes", 0.5, lambda by: striped(0.0, by), "phase"),
}  # fmt: skip


def found_by_both(planted: Planted) -> tuple[list[str], list[str]]:
    """What the product calls the faults it finds, and what the outside judge says."""
    cloth = Cloth.from_dict(planted.cloth)
    kinds = [p.kind for p in judge(planted.pieces, cloth, planted.laid, planted.rules)]
    laid = lay_as_it_is(planted.pieces, cloth, planted.laid, planted.rules).placements
    rest = {k: planted.told.get(k) for k in ("holes", "flaws") if k in planted.told}
    told = {k: v for k, v in planted.told.items() if k not in rest}
    said = outside_judge(laid, width=cloth.width_mm, length=cloth.length_mm, **told, **rest)
    return kinds, said


@pytest.mark.parametrize("name", FAULTS)
def test_half_a_limit_passes_and_twice_is_told(name: str) -> None:
    """Both judges let half of each limit pass, and name the fault at twice of it, and no other."""
    fault = FAULTS[name]
    assert found_by_both(fault.plant(0.0)) == ([], [])
    assert found_by_both(fault.plant(0.5 * fault.limit)) == ([], [])
    kinds, said = found_by_both(fault.plant(2.0 * fault.limit))
    assert kinds == [fault.kind]
    assert len(said) == 1 and fault.word in said[0]


@pytest.mark.parametrize("by", [0.5, 2.0, 60.0])
def test_what_is_told_holds(by: float) -> None:
    """An overlap's depth, a missing distance, an angle and a phase are told as large as they are."""
    for name, amount in (("overlap", by), ("distance", min(by, 4.0)), ("grain", by), ("stripes along", min(by, 15.0) + 0.6)):  # fmt: skip
        planted = FAULTS[name].plant(amount)
        found = judge(planted.pieces, Cloth.from_dict(planted.cloth), planted.laid, planted.rules)
        kind = FAULTS[name].kind
        told = [p.amount for p in found if p.kind == kind]
        wanted = min(amount, 50.0) if kind == "overlap" else amount  # the piece is 50 mm across
        assert told == [pytest.approx(wanted, rel=0.02, abs=0.02)], name


NAPPED = {"width": 300, "length": 900, "nap": "one-way"}
BINARY = {
    "nap": ("nap", Planted([at(300, 100, 180.0)], cloth=NAPPED, told={"turns": {"a": [0]}}), "allowed"),
    "turned over": ("side", Planted([at(0, 150, over=True)], told={"sides": {"a": False}}), "wrong side"),
    "upper layer face down": (
        "side",
        Planted([at(0, 150)], pieces=(replace(A, cut=1),),
                cloth={"width": 600, "length": 900, "fold": "lengthwise"},
                told={"fold": True, "sides": {"a": True}}),
        "wrong side",
    ),
    "laid twice": ("count", Planted([at(0), at(300)], told={"wanted": {"a": 2}}), "twice"),
}  # fmt: skip


@pytest.mark.parametrize("name", BINARY)
def test_what_has_no_half_is_told(name: str) -> None:
    """Against the nap, wrong side up, laid twice: both judges tell it."""
    kind, planted, word = BINARY[name]
    kinds, said = found_by_both(planted)
    assert kinds == [kind]
    if name != "laid twice":  # the outside judge is given what is laid, which is then only one
        assert len(said) == 1 and word in said[0]


def test_a_pair_of_one_side_is_told() -> None:
    """Two left sleeves are no pair; left and right are, whichever of them is which."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    for first, second in ((False, True), (True, False)):
        there = [at(0, over=first, piece="twin"), at(300, over=second, copy=2, piece="twin")]
        assert judge([TWIN], cloth, there, APART) == []
    for same in (False, True):
        there = [at(0, over=same, piece="twin"), at(300, over=same, copy=2, piece="twin")]
        (found,) = judge([TWIN], cloth, there, APART)
        wrong, right = ("twin/1", "twin/2") if same else ("twin/2", "twin/1")
        assert (found.kind, found.keys) == ("side", (wrong,))
        assert found.text.startswith(f"{wrong} lies the same side up as {right}:")


def test_a_flaw_is_for_those_that_may() -> None:
    """A piece that tolerates flaws may cover one, and no hole."""
    for ring, kinds in (("flaws", []), ("holes", ["outside"])):
        planted = over(ring)(20.0)
        cloth = {**planted.cloth, "tolerates_flaws": ["a"]}
        got, said = found_by_both(
            replace(planted, cloth=cloth, told={**planted.told, "tolerant": ["a"]})
        )
        assert got == kinds
        assert len(said) == len(kinds)


@pytest.mark.parametrize(("by", "refused"), [(0.01, False), (0.04, True)])
def test_locks_are_held_to_the_same_limits(by: float, refused: bool) -> None:
    """Locked pieces that overlap by twice the limit are refused by name, at half they are not."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    locked = [replace(p, locked=True) for p in (at(0), at(200 - by, copy=2))]
    if refused:
        with pytest.raises(LayError, match="a/1 and a/2 overlap"):
            plan([A], cloth, 0, locked, rules=APART)
    else:
        assert plan([A], cloth, 0, locked, rules=APART).problems() == []


def test_how_she_turned_a_locked_piece_is_told_and_planned_around() -> None:
    """A locked piece off its grain stays; the plan is made all the same, and the judge tells it."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    lay = plan([A], cloth, 0.2, [replace(at(300, 150, 8.0), locked=True)], rules=APART)
    assert len(lay.placements) == 2 and lay.left_out == ()
    assert [p.kind for p in judge([A], cloth, lay.docket_placements(), APART)] == ["grain"]
    assert len(lay.problems()) == 1


def test_the_other_one_of_a_pair_is_planned() -> None:
    """When she has locked the turned one as copy 1, the plan adds the one that is not turned."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    lay = plan(
        [TWIN], cloth, 0.2, [replace(at(300, over=True, piece="twin"), locked=True)], rules=APART
    )
    assert sorted(p.mirrored for p in lay.placements) == [False, True]
    assert lay.problems() == []


def test_what_is_missing_or_too_many() -> None:
    """A lay that neither lays nor names a copy has a problem; so has one that lays it twice."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    lay = lay_as_it_is([A], cloth, [at(0)], APART)
    assert lay.problems() == []
    assert replace(lay, left_out=()).problems() == ["a/2 is neither laid nor named as left out."]
    twice = replace(lay, placements=(lay.placements[0], replace(lay.placements[0])))
    assert any("a/1 is laid 2 times" in text for text in twice.problems())
    assert [p.kind for p in judge([A], cloth, [at(0), at(300, copy=3)], APART)] == ["count"]
    assert [p.kind for p in judge([A], cloth, [at(0, piece="b")], APART)] == ["count"]


def test_out_of_a_corner() -> None:
    """A piece wholly outside by both its sides, near the start or past the end, is told."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    for x, y in ((-500.0, -90.0), (1200.0, 700.0)):
        assert [p.kind for p in judge([A], cloth, [at(x, y)], APART)] == ["outside"]


@pytest.mark.parametrize(
    ("by", "ring", "told"),
    [
        (0.015, [(0, 0), (50, 0), (50, 190), (0, 190)], True),  # 3 mm², not deep
        (0.5, [(0, 0), (100, 50), (0, 100)], True),  # a tip: a quarter of a mm², but deep
        (0.004, [(0, 0), (50, 0), (50, 190), (0, 190)], False),  # neither
    ],
)
def test_both_area_and_depth_must_be_small(by: float, ring: Any, told: bool) -> None:
    """A long edge a hair outside is told for its area, a tip for its depth."""
    piece = Piece.from_outline("a", ring, turns=(90.0,))
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    reach = max(x for x, _ in ring)
    put = at(900.0 + by - reach, 100.0, 90.0)  # at 90° its x runs along the cloth
    assert [p.kind for p in judge([piece], cloth, [put], APART)] == (["outside"] if told else [])


def test_a_plan_is_sound_or_not() -> None:
    """Planners' states: overlaps, distance, edge and stripes count, but not between her own locks."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    job = make_job([A], cloth, Rules(5.0))
    apart = {205.0: True, 204.9: False, 150.0: False, 705.0: False}
    for x, sound in apart.items():
        state = State(np.array([0, 0]), np.array([(0.0, 150.0), (x, 150.0)]))
        assert is_sound(job, state) == sound, x
    planted = striped(5.0, 0.0)
    striped_cloth = Cloth.from_dict(planted.cloth)
    free = make_job([replace(A, cut=1), HALF], striped_cloth, APART)
    state = State(np.array([0, 0]), np.array([p.at for p in planted.laid]))
    assert not is_sound(free, state)
    locks = [replace(p, locked=True) for p in planted.laid]
    held = make_job([replace(A, cut=1), HALF], striped_cloth, APART, locks)
    assert is_sound(held, State(np.zeros(0, dtype=np.int64), np.zeros((0, 2))))
    one = make_job([replace(A, cut=1), HALF], striped_cloth, APART, locks[:1])
    assert not is_sound(one, State(np.array([0]), np.array([planted.laid[1].at])))


def test_pieces_that_nothing_is_known_of_are_held_to_cloth_and_lines() -> None:
    """Without how they are cut, overlaps, edges and flaws are still judged, by the cloth's own words."""
    for tolerant, kinds in (([], ["flaw", "overlap"]), (["a"], ["overlap"])):
        data = {"width": 300, "length": 900, "flaws": [HOLE], "tolerates_flaws": tolerant}
        cloth = Cloth.from_dict(data)
        laid = lay_as_it_is([A], cloth, [at(230), at(240, 290, copy=2), at(0)], APART).placements
        laid = [laid[0], replace(laid[1], outline_mm=laid[0].outline_mm - (100.0, 0.0))]
        assert sorted(p.kind for p in Judge({}, cloth, APART).problems(laid)) == kinds


def test_the_turns_that_are_allowed_are_named() -> None:
    """Of a piece with its grain aslant too, as the docket counts turns; turned over, the other way."""
    bias = Piece.from_outline("a", RING, grain=((0, 0), (100, 100)))
    cloth = Cloth.from_dict({"width": 900, "length": 900})
    for over, turn, named in ((False, 45.0, "45°, 225°"), (True, 315.0, "135°, 315°")):
        (found,) = judge([bias], cloth, [at(400, 400, turn + 9.0, over=over)], APART)[:1]
        assert found.kind == "grain" and f"allowed are {named}." in found.text
        rest = [p.kind for p in judge([bias], cloth, [at(400, 400, turn, over=over)], APART)]
        assert rest == (["side"] if over else [])


def test_pieces_that_cannot_be_cut_are_refused() -> None:
    """The judge refuses what no lay could hold, by name."""
    with pytest.raises(LayError, match="a: may only be turned 90"):
        judge([replace(A, turns=(90.0,))], Cloth.from_dict(NAPPED), [])


def test_how_far_outside_is_told() -> None:
    """Off the end, over a flaw, into a hole: as deep as it lies there, in mm."""
    for name, by in (("outside, the end", 35.0), ("flaw", 4.0), ("hole", 4.0)):
        planted = FAULTS[name].plant(by)
        (found,) = judge(planted.pieces, Cloth.from_dict(planted.cloth), planted.laid, APART)
        assert found.amount == pytest.approx(by, abs=1e-6), name
    bolt = Cloth.from_dict({"width": 300, "holes": [HOLE]})
    for x, kinds in ((500_000.0, []), (2_000_000.0, ["outside"])):
        assert [p.kind for p in judge([A], bolt, [at(x)], APART)] == kinds


def test_a_half_that_only_touches_the_fold_is_off_it() -> None:
    """Two corners on the fold make it the fold's edge; one corner alone does not."""
    cloth = Cloth.from_dict({"width": 600, "length": 900, "fold": "lengthwise"})
    one = Judge(specs_of({"half": HALF}, cloth, APART).of, cloth, APART)
    laid = one.laid(Placement("half", 1, (0.0, 0.0), mirrored=True))
    assert one.own(laid) == []
    ring = laid.outline_mm.copy()
    (low,) = np.flatnonzero((ring[:, 1] == 0.0) & (ring[:, 0] > 1.0))
    ring[low, 1] = 3.0
    (found,) = one.own(replace(laid, outline_mm=ring))
    assert (found.kind, found.amount) == ("fold", 0.0)
    assert "at one point only" in found.text


def test_a_pair_is_not_judged_with_others() -> None:
    """Left and right lie rightly, whichever way up a third piece lies between them."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    other = replace(A, name="b")
    there = [at(0, piece="twin"), at(210, over=True, copy=2, piece="twin")]
    there += [at(420, piece="b"), at(630, copy=2, piece="b")]
    assert judge([TWIN, other], cloth, there, APART) == []


def test_locks_off_the_cloth_or_the_fold_are_refused() -> None:
    """A locked piece that leaves the cloth or its fold is refused with what to do."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    with pytest.raises(LayError, match=r"a/1 lies 30\.00 mm .*outside the usable cloth.*Unlock it"):
        plan([A], cloth, 0, [replace(at(730), locked=True)], rules=APART)
    folded = Cloth.from_dict({"width": 600, "length": 900, "fold": "lengthwise"})
    off = [replace(at(0, 4.0, piece="half", over=True), locked=True)]
    with pytest.raises(LayError, match=r"half/1 has its fold edge 4\.00 mm off"):
        plan([HALF], folded, 0, off, rules=APART)


def test_a_piece_not_known_has_no_tilt() -> None:
    """Of a piece whose cutting nothing is known of, no turn is wrong."""
    cloth = Cloth.from_dict({"width": 300, "length": 900})
    assert Judge({}, cloth, APART).tilt("a", 33.0, False) == 0.0
    assert Judge(specs_of({"a": A}, cloth, APART).of, cloth, APART).tilt("a", 33.0, False) == 33.0


BESIDE: dict[str, tuple[dict[str, Any], Callable[[float], Placement]]] = {
    "lengthwise": ({"width": 1200, "length": 900, "fold": "lengthwise"}, lambda by: at(100, 55.0 - by, piece="twin")),
    "double, near": (DOUBLE, lambda by: at(100, 55.0 - by, piece="twin")),
    "double, far": (DOUBLE, lambda by: at(100, 595.0 + by, piece="twin")),
    "crosswise": ({"width": 800, "length": 1800, "fold": "crosswise"}, lambda by: at(5.0 - by, 400, piece="twin")),
    "crosswise, narrow": ({"width": 300, "length": 1800, "fold": "crosswise"}, lambda by: at(5.0 - by, 100, piece="twin")),
}  # fmt: skip


@pytest.mark.parametrize("name", BESIDE)
def test_twins_beside_a_fold_keep_their_distance(name: str) -> None:
    """Cut through both layers, a pair is 10 mm apart when each is 5 mm off the fold; half a limit passes."""
    data, put = BESIDE[name]
    cloth = Cloth.from_dict(data)
    for by, told in ((0.0, False), (0.01, False), (0.04, True), (2.0, True)):
        found = judge([TWIN], cloth, [put(by)], Rules(10.0))
        assert [p.kind for p in found] == (["distance"] if told else []), by
        if told:
            assert found[0].amount == pytest.approx(2.0 * by)
            assert f"{10.0 - 2.0 * by:.2f} mm from its twin" in found[0].text
    single = replace(TWIN, cut=1, pair=False, turns=(0.0,))
    near = replace(put(4.0), mirrored=data["fold"] != "crosswise", piece="twin")
    assert "distance" not in [p.kind for p in judge([single], cloth, [near], Rules(10.0))]
    assert judge([TWIN], cloth, [put(4.9)], APART) == []
    judged = Judge(
        specs_of({"twin": TWIN}, cloth, Rules(10.0)).of, cloth, Rules(10.0), bounded=False
    )
    laid = judged.laid(Placement("twin", 1, put(4.0).at))
    assert judged.own(laid) == []


def test_past_where_the_cloth_is_opened_there_is_no_fold() -> None:
    """Folded up to 40 cm and single after: beside the fold's line, but past its end, nothing is asked."""
    cloth = Cloth.from_dict(
        {"width": 1200, "length": 900, "fold": {"way": "lengthwise", "open_from": "40 cm"}}
    )
    beside = [p.kind for p in judge([TWIN], cloth, [at(150, 52, piece="twin")], Rules(10.0))]
    past = [p.kind for p in judge([TWIN], cloth, [at(450, 52, piece="twin")], Rules(10.0))]
    assert (beside, past) == (["distance"], ["layers"])


def test_each_lies_on_as_many_layers_as_it_is_cut_from() -> None:
    """Two layers up to 380 mm, one from 400 on: a pair on one layer, a single piece half and half."""
    cloth = Cloth.from_dict(
        {"width": 1400, "length": 900, "fold": {"way": "partial", "over": "400 mm"}}
    )
    single = replace(A, cut=1)

    def kinds(piece: Piece, y: float, over: bool = False) -> list[str]:
        return [
            p.kind for p in judge([piece], cloth, [at(100, y, piece=piece.name, over=over)], APART)
        ]

    assert kinds(TWIN, 300.0) == [] and kinds(TWIN, 379.0) == []
    (found,) = judge([TWIN], cloth, [at(100, 700, piece="twin")], APART)
    assert (found.kind, found.short) == ("layers", "needs two layers")
    assert kinds(single, 700.0) == [] and kinds(single, 300.0, over=True) == []
    opened = Cloth.from_dict(
        {"width": 1400, "length": 900, "fold": {"way": "lengthwise", "open_from": "40 cm"}}
    )
    for x, told in ((199.99, False), (200.015, False), (201.0, True), (300.0, True), (399.0, True), (400.5, False)):  # fmt: skip
        there = [at(x, 300, over=x < 300)]  # 200 mm along: up to the line, over it, past it
        found_here = judge([single], opened, there, APART)
        assert ("across the line" in [p.short for p in found_here]) is told, x


def test_no_cloth_has_no_edge() -> None:
    """Where no cloth is named its edges are not asked for; all else is."""
    specs = specs_of({"a": A}, Cloth(), APART).of
    one = Judge(specs, Cloth(), APART, bounded=False)
    laid = [
        one.laid(Placement("a", 1, (-400.0, -90.0))),
        one.laid(Placement("a", 2, (-300.0, -90.0), 7.0)),
    ]
    assert [p.kind for p in one.problems(laid)] == ["overlap", "grain"]


# -- one distance ----------------------------------------------------------------------------------


def test_a_lay_of_the_public_api_is_accepted_by_the_docket(tmp_path: Path) -> None:
    """Planned with nothing said of distances, saved, read again: nothing is wrong with it."""
    rows = [
        {"name": n, "outline": [[0, 0], [200, 0], [200, 300], [0, 280]], "cut": 3} for n in "abc"
    ]
    docket = Docket.from_dict(
        {"chalkbeam": 1, "title": "t", "pieces": rows, "cloth": {"width": "1400 mm"}}
    )
    assert docket.cloth is not None
    lay = plan(docket.pieces(), docket.cloth, 0.3, effort=Effort(3, 0))
    docket.replace(lay=lay.docket_placements(), path=tmp_path / "t.yaml").save()
    read = Docket.load(tmp_path / "t.yaml")
    assert read.cloth is not None
    assert judge(read.pieces(), read.cloth, read.placed(), read.rules) == []
    assert lay.distance_mm == read.distance_mm == Rules().distance_mm == 5.0


def test_the_distance_of_the_rules_is_kept() -> None:
    """A lay is planned with the distance of its rules; 0 is a distance too."""
    cloth = Cloth.from_dict({"width": 300})
    lays = [plan([A], cloth, 0, rules=Rules(d)) for d in (7.0, 0.0, 2.0)]
    assert [lay.distance_mm for lay in lays] == [7.0, 0.0, 2.0]


def test_a_cloth_file_is_loaded() -> None:
    """`Cloth.load` reads the shipped cloths; what is wrong with a file is told with its name."""
    folder = Path(__file__).parents[2] / "configs" / "cloth"
    for path in sorted(folder.glob("*.yaml")):
        assert Cloth.load(path).to_dict()
    with pytest.raises(ValueError, match="no-such"):
        Cloth.load(folder / "no-such.yaml")
    assert np.isfinite(Cloth.load(folder / "velvet.yaml").y_range_mm).all()


@pytest.mark.parametrize(("off", "wrong"), [(2.5, True), (10.0, False)])
def test_what_is_cut_from_the_lower_layer_keeps_its_distance_from_the_fold(
    off: float, wrong: bool
) -> None:
    """Above it a piece may lie at the fold itself: 5 mm are wanted, at half it is told with what is missing."""
    flap = Piece.from_outline("flap", [(0, 0), (200, 0), (200, 60), (0, 100)])
    cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise"})
    placed = Placement("flap", 1, (0.0, 200.0 + off), lower=True)
    found = judge([flap], cloth, [placed], Rules(5.0))
    assert [(p.kind, p.keys) for p in found] == ([("distance", ("flap/1",))] if wrong else [])
    if wrong:
        assert found[0].amount == pytest.approx(5.0 - off)
        assert f"{off:.2f} mm from the fold, in the lower layer" in found[0].text
    upper = replace(placed, at=(0.0, off), mirrored=True, lower=False)
    assert judge([flap], cloth, [upper], Rules(5.0)) == []


def test_a_lower_layer_that_is_not_there_is_told() -> None:
    """Where the cloth lies single 'layer: lower' is named; of what is cut through both layers it says nothing."""
    flap = Piece.from_outline("flap", [(0, 0), (200, 0), (200, 60), (0, 100)])
    pair = Piece.from_outline("cuff", [(0, 0), (200, 0), (200, 60), (0, 100)], cut=2, pair=True)
    part = Cloth.from_dict({"width": 1400, "fold": {"way": "partial", "over": "400 mm"}})
    beyond = Placement("flap", 1, (0.0, 900.0), lower=True)
    (told,) = judge([flap], part, [beyond])
    assert (told.kind, told.keys, told.short) == ("layers", ("flap/1",), "has no lower layer")
    assert "only one" in told.text
    cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise"})
    assert judge([pair], cloth, [Placement("cuff", 1, (0.0, 400.0), lower=True)]) == []
