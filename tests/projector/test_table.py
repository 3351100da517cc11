"""What hands do: no action changes a length; snaps, troubles and figures are what they say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon
from shapely.affinity import affine_transform
from table_rig import docket, projector, single_cloth

from projector.picture.on_table import faces_of
from projector.picture.view import View
from projector.session.actions import ACTIONS
from projector.session.rules import History, Rules, Work
from projector.session.sitting import Sitting

KEYS = [
    a.name for a in ACTIONS.values() if a.name not in ("quit", "leave", "plan", "take", "calibrate")
]


def rules(laid=None) -> Rules:
    """Rules of the folded docket, or of the one given."""
    laid = laid or docket()
    return Rules(laid, faces_of(laid))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("do"), st.sampled_from(KEYS), st.booleans()),
            st.tuples(st.just("drag"), st.floats(-400, 400), st.floats(-300, 300)),
        ),
        min_size=1,
        max_size=12,
    ),
    st.booleans(),
)
def test_no_action_changes_any_length(steps: list, folded: bool) -> None:
    """Whatever is pressed or dragged, every edge of every piece keeps its length on the table."""
    laid = docket() if folded else single_cloth()
    sitting = Sitting(laid, projector((640, 360)))
    sitting.do("next")
    for kind, one, two in steps:
        if kind == "do":
            sitting.do(one, large=two)
        else:
            middle = np.array([300.0, 150.0])
            sitting.pointer("down", *middle)
            sitting.pointer("move", *(middle + np.array([one / 3, two / 3])))
            sitting.pointer("move", *(middle + np.array([one, two])))
            sitting.pointer("up", *(middle + np.array([one, two])))
    pieces = laid.pieces()
    for p in sitting.state.work.lay:
        a = sitting.state.stage.table_from_piece(p)
        assert a[:2, :2] @ a[:2, :2].T == pytest.approx(np.eye(2), abs=1e-12)
        for edge in pieces[p.piece].edges.values():
            on_table = edge.points @ a[:2, :2].T + a[:2, 2]
            length = float(np.hypot(*np.diff(on_table, axis=0).T).sum())
            assert length == pytest.approx(edge.length_mm, abs=1e-6)
    # and what is drawn is what lies there
    item = sitting.state.stage.piece(sitting.state.work.lay[0])
    drawn = item.marks[0]
    assert drawn.length_mm.sum() == pytest.approx(
        np.hypot(*np.diff(drawn.points, axis=0).T).sum(), abs=1e-6
    )


def test_view_has_no_scale() -> None:
    """A view turns, moves and mirrors; its matrix is orthonormal and comes back from its dict."""
    view = View(33.3, (12.5, -7.25), True, "left")
    a = view.table_from_cloth
    assert a[:2, :2].T @ a[:2, :2] == pytest.approx(np.eye(2), abs=1e-15)
    assert a @ view.cloth_from_table == pytest.approx(np.eye(3), abs=1e-12)
    assert View.from_dict(view.to_dict(), "x") == view


def test_overlap_agrees_with_shapely() -> None:
    """What the table says of 300 random pairs of stances and shapely's areas and distances agree."""
    rng = np.random.default_rng(5)
    laid = single_cloth(distance="7 mm")
    r = rules(laid)
    said: dict[str, int] = {"": 0, "overlaps": 0, "too near": 0}
    for _ in range(300):
        i, j = rng.choice(len(laid.lay), 2, replace=False)
        shapes, placed = [], []
        for k in (i, j):
            p = replace(
                laid.lay[k],
                at=(float(rng.uniform(0, 700)), float(rng.uniform(300, 900))),
                turn_deg=float(rng.choice([0, 180, 37.0])),
                mirrored=bool(rng.integers(2)),
            )
            a = p.cloth_from_piece
            outline = Polygon(r.faces[p.piece].outline)
            shapes.append(affine_transform(outline, [*a[0, :2], *a[1, :2], a[0, 2], a[1, 2]]))
            placed.append(p)
        area, gap = shapes[0].intersection(shapes[1]).area, shapes[0].distance(shapes[1])
        word = "overlaps" if area > 1.0 else "too near" if gap < 6.9 else ""
        if 0.0 < area < 1.0 or 6.9 < gap < 7.0:
            continue
        found = r.troubles_with(placed[0], placed)
        assert found == ({(placed[0].key, placed[1].key): word} if word else {})
        assert set(r.pair_troubles(placed).values()) == ({word} if word else set())
        said[word] += 1
    assert min(said.values()) > 3, said


def test_pieces_on_the_fold_keep_to_it() -> None:
    """Dragging, nudging and turning leave a piece's fold edge on the cloth's fold."""
    r = rules()
    p = docket().lay[0]
    for made in (r.moved(p, 55.0, 120.0), r.turned(p, 180.0), r.turned_over(p), r.turned(p, 30.0)):
        ring = r.outline(made)
        assert ring[:, 1].min() == pytest.approx(0.0, abs=1e-9)
        assert "off the fold" not in r.own_troubles(made, docket().lay)
    turned = r.turned(p, 180.0)
    before, after = r.outline(p), r.outline(turned)
    assert after[:, 0].min() == pytest.approx(before[:, 0].min(), abs=1e-6)
    assert after[:, 0].max() == pytest.approx(before[:, 0].max(), abs=1e-6)


def test_with_two_folds_a_piece_goes_from_one_to_the_other() -> None:
    """Dragged past the middle it lies turned over on the other fold, and back; nothing is wrong."""
    laid = docket()
    cloth = {
        "width": "1400 mm",
        "length": "2 m",
        "fold": "both selvedges to the middle",
        "nap": "two-way",
    }
    laid = laid.replace(cloth=type(laid.cloth).from_dict(cloth), lay=laid.lay[:1])
    r = rules(laid)
    p = laid.lay[0]
    assert r.own_troubles(p, laid.lay) == ()
    near, far = r.moved(p, 5.0, 300.0), r.moved(p, 5.0, 400.0)
    assert (near.at[1], near.mirrored) == (0.0, p.mirrored)
    assert (far.at[1], far.mirrored) == (700.0, not p.mirrored)
    ring = r.outline(far)
    assert ring[:, 1].max() == pytest.approx(700.0, abs=1e-9)
    assert ring[:, 1].min() == pytest.approx(700.0 - r.outline(p)[:, 1].max(), abs=1e-6)
    assert ring[:, 0].min() == pytest.approx(r.outline(p)[:, 0].min() + 5.0, abs=1e-6)
    assert r.own_troubles(far, (far,)) == ()
    assert r.moved(far, -5.0, -400.0) == p
    half = r.turned(far, 180.0)
    assert r.own_troubles(half, (half,)) == () and half.at[1] == 700.0


def test_a_piece_that_is_laid_whole_is_shown_and_judged_whole() -> None:
    """Named under 'opened', a half is laid, shown and written as its whole, off the fold."""
    from drafting.export.cut_size import cut_size

    laid = docket()
    cloth = {"width": "1400 mm", "length": "2 m", "fold": "lengthwise", "opened": ["front"]}
    laid = laid.replace(cloth=type(laid.cloth).from_dict(cloth), lay=())
    p = replace(docket().lay[0], at=(20.0, 340.0), mirrored=False)
    r = rules(laid)
    whole = Polygon(laid.pieces()["front"].unfolded(laid.allowances))
    assert not r.on_fold(p)
    assert Polygon(r.outline(p)).area == pytest.approx(whole.area)
    assert Polygon(r.faces.of(p).outline).area == pytest.approx(whole.area)
    assert r.own_troubles(p, (p,)) == ()
    assert r.layers(p) == 1
    piece = cut_size(laid)[0]["front"]
    assert piece.fold is None
    assert Polygon(piece.cutting_line()).equals_exact(whole, 1e-6) or whole.equals(
        Polygon(piece.cutting_line())
    )


def test_the_cloth_is_drawn_with_both_folds_and_the_meeting_selvedges() -> None:
    """Two dashed sides for the folds, the selvedges on the line between them."""
    from projector.picture import signs
    from projector.picture.stage import Stage

    laid = docket()
    for length in ("2 m", None):
        data = {
            "width": "1400 mm",
            "fold": "double",
            "selvedge": "12 mm",
            **({"length": length} if length else {}),
        }
        stage = Stage(
            laid.replace(cloth=type(laid.cloth).from_dict(data), lay=()),
            projector((640, 360)),
            View(),
        )
        marks = signs.cloth(stage, 800.0).marks
        levels = {
            kind: sorted(
                {round(float(y), 3) for m in marks if m.kind == kind for y in m.points[:, 1]}
            )
            for kind in ("guide", "selvedge")
        }
        assert levels == {"guide": [0.0, 700.0], "selvedge": [338.0, 362.0]}


def test_turning_keeps_the_place() -> None:
    """Half a turn, and a mirror image, stay where the piece lay (its middle does not wander)."""
    laid = single_cloth()
    r = rules(laid)
    p = laid.lay[1]
    middle = r._middle(p)
    for made in (r.turned(p, 180.0), r.turned(p, 12.0), r.turned_over(p)):
        assert r._middle(made) == pytest.approx(middle, abs=1e-9)
    assert r.turned(r.turned(p, 180.0), 180.0).at == pytest.approx(p.at, abs=1e-9)
    assert r.turned_over(r.turned_over(p)).at == pytest.approx(p.at, abs=1e-9)


def test_snap_to_fold_selvedge_and_start() -> None:
    """Near the selvedge or the cloth's start a piece is drawn exactly on to it; farther off not."""
    laid = docket()
    r = rules(laid)
    p = laid.lay[2]
    ring = r.outline(p)
    high = 700.0 - 10.0  # half of 1400, less the selvedge
    near = r.moved(p, 3.5 - ring[:, 0].min(), high - ring[:, 1].max() - 4.0)
    made, guides = r.snapped(near, [near])
    ring = r.outline(made)
    assert ring[:, 0].min() == pytest.approx(0.0, abs=1e-6)
    assert ring[:, 1].max() == pytest.approx(high, abs=1e-6)
    assert len(guides) == 2
    far = r.moved(near, 30.0, -30.0)
    assert r.snapped(far, [far]) == (far, [])


def test_snap_to_a_neighbour_at_the_cutting_distance() -> None:
    """Beside a neighbour, a piece comes to lie at exactly the docket's distance (by shapely)."""
    laid = single_cloth(distance="7 mm")
    r = rules(laid)
    other, p = laid.lay[0], laid.lay[3]
    box = r.outline(other)
    mine = r.outline(p)
    right = box[:, 0].max()
    start = r.moved(p, right + 10.5 - mine[:, 0].min(), 330.0 - mine[:, 1].min())
    made, guides = r.snapped(start, [other, start])
    gap = Polygon(r.outline(made)).distance(Polygon(r.outline(other)))
    assert gap == pytest.approx(7.0, abs=1e-6)
    assert guides


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"at": (-40.0, 640.0)}, "off the cloth"),
        ({"turn_deg": 7.0}, "off grain 7.0°"),
        ({"mirrored": True}, "wrong side up"),
    ],
)
def test_troubles_are_told_in_words(change: dict, said: str) -> None:
    """Off the cloth, off the grain and the wrong side up are each said of the piece itself."""
    laid = single_cloth()
    r = rules(laid)
    p = replace(laid.lay[1], **change)
    assert said in r.own_troubles(p, (laid.lay[0], p, *laid.lay[2:]))
    assert r.own_troubles(laid.lay[1], laid.lay) == ()


def test_one_way_nap_and_tolerance() -> None:
    """Half a turn is against a one-way nap; a tilt within the cloth's tolerance is no trouble."""
    cloth = {"width": "1400 mm", "length": "2 m", "nap": "one-way", "grain_tolerance": 2}
    laid = single_cloth()
    laid = laid.replace(cloth=type(laid.cloth).from_dict(cloth))
    r = rules(laid)
    p = laid.lay[1]
    assert r.own_troubles(r.turned(p, 180.0), laid.lay) == ("against the nap",)
    assert r.own_troubles(r.turned(p, 1.5), laid.lay) == ()
    assert r.own_troubles(r.turned(p, -3.0), laid.lay) == ("off grain 3.0°",)
    assert r.straightened(r.turned(p, 3.0)).turn_deg == pytest.approx(p.turn_deg, abs=1e-9)


def test_figures_agree_with_the_planner() -> None:
    """Used length and share of the cloth are those that the planner's own lay reports."""
    from drafting.lay import plan

    laid = docket()
    lay = plan(laid.pieces(), laid.cloth, seconds=0.2, rules=laid.rules)
    r = rules(laid)
    figures = r.figures(lay.docket_placements())
    assert figures.used_mm == pytest.approx(lay.used_length_mm, abs=0.5)
    assert figures.share == pytest.approx(lay.efficiency, abs=2e-3)
    assert figures.left_mm == pytest.approx(2000.0 - lay.used_length_mm, abs=0.5)


def test_a_planned_lay_has_no_trouble() -> None:
    """Nothing is said of a lay that the planner made and checked."""
    from drafting.lay import plan

    for laid in (docket(), single_cloth()):
        lay = plan(laid.pieces(), laid.cloth, seconds=0.2, rules=laid.rules).docket_placements()
        r = Rules(laid.replace(lay=lay), faces_of(laid))
        assert {p.key: r.own_troubles(p, lay) for p in lay} == {p.key: () for p in lay}
        assert r.pair_troubles(lay) == {}


def test_the_smaller_piece_is_picked_where_two_lie_on_each_other() -> None:
    """A press picks the smallest piece that holds the place, or one just beside it, or none."""
    laid = single_cloth()
    r = rules(laid)
    big, small = laid.lay[0], laid.lay[3]
    middle = r.outline(big).mean(axis=0)
    p = r.moved(small, *(middle - r.outline(small).mean(axis=0)))
    lay = (big, p)
    assert r.under(lay, middle) == p.key
    assert r.under((big,), middle) == big.key
    edge = np.array([r.outline(small)[:, 0].min() - 4.0, r.outline(small)[:, 1].mean()])
    assert r.under((small,), edge) == small.key
    assert r.under((small,), edge - np.array([40.0, 0.0])) is None


def test_history_goes_back_and_forth_without_limit() -> None:
    """Five thousand changes are undone to the first state and done again to the last."""
    first = Work((), (), View())
    history = History(first)
    for i in range(5000):
        history = history.then(replace(first, view=View(at=(float(i + 1), 0.0))))
    last = history.now
    for _ in range(5000):
        history = history.back()
    assert history.now == first and history.back() is history
    for _ in range(5000):
        history = history.forth()
    assert history.now == last and history.forth() is history
    assert history.back().then(first).future is None


def test_shrinkage_enlarges_what_is_drawn_and_nothing_else() -> None:
    """With shrinkage the drawn ring equals the planner's, along and across the grain."""
    from drafting.lay import plan

    laid = single_cloth()
    cloth = {"width": "1400 mm", "length": "3 m", "shrinkage": {"length": "4 %", "width": "1 %"}}
    laid = laid.replace(cloth=type(laid.cloth).from_dict(cloth), lay=())
    lay = plan(laid.pieces(), laid.cloth, seconds=0.1, rules=laid.rules)
    r = rules(laid)
    for p in lay.placements:
        mine = Polygon(r.outline(p.placement))
        theirs = Polygon(p.outline_mm)
        assert mine.symmetric_difference(theirs).area < 1.0


def test_of_a_pair_either_may_be_the_turned_one() -> None:
    """Two alike are wrong, told on one of them; one of each is right, whichever it is."""
    from projector.session.sitting import Sitting

    sitting = Sitting(single_cloth(), projector((640, 360)))

    def wrong() -> set[str]:
        keys = ("sleeve/1", "sleeve/2")
        return {k for k in keys if "wrong side up" in sitting.state.judged.of(k)}

    assert wrong() == set()
    sitting.state = sitting.state.but(chosen="sleeve/1")
    sitting.do("turn-over")
    assert wrong() == {"sleeve/1"}
    sitting.state = sitting.state.but(chosen="sleeve/2")
    sitting.do("turn-over")
    assert wrong() == set()
    sitting.state = sitting.state.but(chosen="sleeve/1")
    sitting.do("turn-over")
    assert wrong() == {"sleeve/2"}
