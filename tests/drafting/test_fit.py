"""Fit changes after a toile: each does what it says, and seams stay mated."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import yaml
from top_bodies import INCH, inches

from configs.errors import InputError
from drafting import draft
from drafting.blocks import Draft, get
from drafting.fit import FORM, KINDS, parse_fit
from drafting.truing import compare


def fitted(*changes: dict[str, Any], style: dict[str, Any] | None = None) -> Draft:
    """The worked example with fit changes."""
    return draft("quick-top", inches(), style, list(changes))


def failing(d: Draft) -> list[str]:
    """Names of the checks that fail."""
    return [c.name for c in d.checks() if not c.ok]


@pytest.mark.parametrize("name", get("quick-top").changes)
@pytest.mark.parametrize("sleeve", ["none", "short"])
def test_every_change_trues(name: str, sleeve: str) -> None:
    """Every change, both ways and wherever it may go, leaves all seams mated and corners square."""
    kind = KINDS[name]
    for where in kind.where:
        for by in (0.5, -0.3) if kind.signed else (0.6,):
            change = {"change": name, "by": by * kind.limit_mm, "where": where}
            if kind.sided:
                change["side"] = "left"
            assert failing(fitted(change, style={"sleeve": sleeve})) == []


@pytest.mark.parametrize(
    ("change", "point", "moved"),
    [
        ("shoulder out", ("front", "shoulder", 0), (10 * 5 / 5.2974, -10 * 1.75 / 5.2974)),
        ("neck forward", ("front", "neckline", -1), (0, -10)),
        ("neck forward", ("back", "neckline", -1), (0, 10)),
        ("neck back", ("front", "shoulder", -1), (0, 10)),
        ("length above waist", ("front", "fold", -1), (0, -10)),
        ("length below waist", ("back", "fold", -1), (0, -10)),
        ("sway back", ("back", "neckline", -1), (0, -10)),
        ("round back", ("back", "neckline", -1), (0, 10)),
        ("shoulder down", ("front", "side", -1), (0, -10)),
    ],
)
def test_points_move_as_told(
    change: str, point: tuple[str, str, int], moved: tuple[float, float]
) -> None:
    """10 mm of a change moves its point by that much, in its direction (by hand)."""
    where = "back" if change in ("sway back", "round back") else "both"
    d = fitted({"change": change, "by": "10 mm", "where": where})
    piece, edge, end = point
    before = draft("quick-top", inches()).pieces[piece].edges[edge].points[end]
    after = d.pieces[piece].edges[edge].points[end]
    np.testing.assert_allclose(after - before, moved, atol=0.01)


def test_girth_changes_go_round_the_body() -> None:
    """4 cm at the bust is 1 cm on each quarter, or 2 cm on the front quarters alone."""
    base = draft("quick-top", inches())
    for where, front, back in (("both", 10, 10), ("front", 20, 0), ("back", 0, 20)):
        d = fitted({"change": "bust", "by": "4 cm", "where": where})
        for half, wanted in (("front", front), ("back", back)):
            step = (
                d.pieces[half].edges["side"].points[-1] - base.pieces[half].edges["side"].points[-1]
            )
            assert step[0] == pytest.approx(wanted, abs=1e-6)


def test_a_lower_shoulder_makes_left_and_right_differ() -> None:
    """Left and right then differ: whole pieces, the lower armhole 12 mm down, on the wearer's side.

    Seen from the cloth's right side the wearer's left is at x > 0 on the front, x < 0 on the back.
    """
    d = fitted({"change": "one shoulder lower", "by": "12 mm", "side": "left"})
    for half, sign in (("front", 1), ("back", -1)):
        piece = d.pieces[half]
        assert piece.fold is None
        low = piece.edges["left armhole"].points
        high = piece.edges["right armhole"].points
        assert (sign * low[:, 0] > 0).all()
        assert low[:, 1].min() - high[:, 1].min() == pytest.approx(-12, abs=0.1)
        # allowances by plain names reach both sides
        line = piece.cutting_line({"side": 20.0})
        assert np.ptp(line[:, 0]) == pytest.approx(np.ptp(piece.sewing_line[:, 0]) + 40, abs=2)
    assert failing(d) == []


def test_a_lower_shoulder_with_a_centre_back_seam() -> None:
    """With a seam the back comes as two unlike pieces, each the right way up, that still mate."""
    style = {"centre_back": "seam", "neckline_finish": "facing", "armhole_finish": "facing"}
    d = fitted({"change": "one shoulder lower", "by": "12 mm", "side": "left"}, style=style)
    left, right = d.pieces["left back"], d.pieces["right back"]
    assert left.sewing_line[:, 0].max() == pytest.approx(0.0)
    assert right.sewing_line[:, 0].min() == pytest.approx(0.0)
    assert left.edges["side"].length_mm < right.edges["side"].length_mm - 8
    front = d.pieces["front"].edges
    assert front["left side"].length_mm == pytest.approx(left.edges["side"].length_mm, abs=1e-6)
    assert (left.cut, left.pair) == (1, False)
    assert "left back armhole facing" in d.pieces
    assert "centre back seam" in {c.name for c in d.checks()}
    assert failing(d) == []


def test_round_and_sway_back_leave_the_side() -> None:
    """Changes at the centre back run out to nothing at the side seam."""
    for change in ("sway back", "round back"):
        d = fitted({"change": change, "by": "15 mm", "where": "back"})
        np.testing.assert_allclose(
            d.pieces["back"].edges["side"].points,
            draft("quick-top", inches()).pieces["back"].edges["side"].points,
            atol=1e-6,
        )


PLAIN = draft("quick-top", inches())


def ends(d: Draft, half: str, edge: str) -> np.ndarray:
    """Both ends of an edge (2, 2) mm."""
    return d.pieces[half].edges[edge].points[[0, -1]]


def test_sway_back_leaves_armhole_waist_and_front() -> None:
    """The strip at the centre slides down (Liechty, Pottberg, Rasband 1992, as told on a web page):
    the centre 20 mm shorter; armhole ends, side, hem and the whole front stay; shoulders mate."""
    d = fitted({"change": "sway back", "by": "2 cm"})
    assert failing(d) == []
    np.testing.assert_allclose(
        ends(d, "back", "armhole"), ends(PLAIN, "back", "armhole"), atol=1e-6
    )
    for edge in ("side", "hem"):
        np.testing.assert_allclose(
            d.pieces["back"].edges[edge].points, PLAIN.pieces["back"].edges[edge].points, atol=1e-6
        )
    assert ends(d, "back", "fold")[0, 1] - ends(PLAIN, "back", "fold")[0, 1] == pytest.approx(-20.0)
    moved = {m.edge for m in compare(PLAIN.pieces, d.pieces) if m.piece == "front"}
    assert moved <= {"neckline"}, "the front's neckline only leaves the shoulder at another angle"


def test_round_back_keeps_the_armhole_and_eases_the_shoulder() -> None:
    """The centre 20 mm longer; armhole ends stay; the back shoulder 3 to 10 mm longer than the front's,
    told as ease (0.5 to 1 cm: common practice, no source); the front stays."""
    d = fitted({"change": "round back", "by": "2 cm"})
    assert failing(d) == []
    np.testing.assert_allclose(
        ends(d, "back", "armhole"), ends(PLAIN, "back", "armhole"), atol=1e-6
    )
    assert ends(d, "back", "fold")[0, 1] - ends(PLAIN, "back", "fold")[0, 1] == pytest.approx(20.0)
    front, back = (d.pieces[h].edges["shoulder"].length_mm for h in ("front", "back"))
    assert 3.0 < back - front < 10.0
    (seam,) = (c for c in d.checks() if c.name == "shoulder seam")
    assert "eased in" in seam.text
    assert {m.edge for m in compare(PLAIN.pieces, d.pieces) if m.piece == "front"} <= {"neckline"}


def test_full_bust_widens_and_lengthens_the_front_alone() -> None:
    """4 cm: each front half 2 cm wider from the bust down and 2 cm longer at the centre; back stays."""
    d = fitted({"change": "full bust", "by": "4 cm"})
    assert failing(d) == []
    wider = ends(d, "front", "side")[1] - ends(PLAIN, "front", "side")[1]
    assert wider == pytest.approx((20.0, 0.0), abs=1e-6)
    assert ends(d, "front", "fold")[1, 1] - ends(PLAIN, "front", "fold")[1, 1] == pytest.approx(
        -20.0
    )
    back = {m.edge: m for m in compare(PLAIN.pieces, d.pieces) if m.piece == "back"}
    assert all((m.moved_mm or 0.0) < 3.0 for m in back.values()), (
        "only its hem's end follows the seam"
    )


def test_forward_shoulder_turns_the_seam() -> None:
    """1 cm: the front's outer end 1 cm lower, the back's 1 cm higher; neck points, seam lengths and
    underarms stay, both armholes together are as long as before."""
    d = fitted({"change": "forward shoulder", "by": "1 cm"})
    assert failing(d) == []
    for half, step in (("front", -10.0), ("back", 10.0)):
        tip, neck = ends(d, half, "shoulder") - ends(PLAIN, half, "shoulder")
        assert tip[1] == pytest.approx(step, abs=0.01) and neck == pytest.approx(
            (0.0, 0.0), abs=0.01
        )
        assert ends(d, half, "side")[1] == pytest.approx(ends(PLAIN, half, "side")[1])
    total = [
        sum(x.pieces[h].edges["armhole"].length_mm for h in ("front", "back")) for x in (PLAIN, d)
    ]
    assert total[0] == pytest.approx(total[1], abs=2.0)


@pytest.mark.parametrize(("change", "wider"), [("broad back", 10.0), ("narrow back", -10.0)])
def test_back_width_changes_the_back_alone(change: str, wider: float) -> None:
    """2 cm across the back: each half 1 cm; a broad back's shoulder is eased, a narrow one's stays."""
    d = fitted({"change": change, "by": "2 cm"})
    assert failing(d) == []
    assert ends(d, "back", "side")[1, 0] - ends(PLAIN, "back", "side")[1, 0] == pytest.approx(wider)
    assert ends(d, "front", "side")[1] == pytest.approx(ends(PLAIN, "front", "side")[1])
    front, back = (d.pieces[h].edges["shoulder"].length_mm for h in ("front", "back"))
    assert back - front == pytest.approx(max(wider, 0.0), abs=0.01)


def test_armhole_depth_and_gaping_neckline() -> None:
    """The underarm goes down or up by what is asked; a gaping neckline gets shorter by about that on
    each half, with the armhole's ends where they were."""
    for change, step in (("armhole lower", -10.0), ("armhole higher", 10.0)):
        d = fitted({"change": change, "by": "1 cm"})
        assert failing(d) == []
        assert ends(d, "front", "side")[1, 1] - ends(PLAIN, "front", "side")[1, 1] == pytest.approx(
            step
        )
    d = fitted({"change": "gaping neckline", "by": "8 mm"})
    assert failing(d) == []
    np.testing.assert_allclose(
        ends(d, "front", "armhole"), ends(PLAIN, "front", "armhole"), atol=1e-6
    )
    shorter = (
        PLAIN.pieces["front"].edges["neckline"].length_mm
        - d.pieces["front"].edges["neckline"].length_mm
    )
    assert 5.0 < shorter < 10.0


@pytest.mark.parametrize("side", ["left", "right"])
def test_one_hip_higher_lengthens_one_side(side: str) -> None:
    """2 cm: the side seam on that side is 2 cm longer, front and back; the other stays."""
    d = fitted({"change": "one hip higher", "by": "2 cm", "side": side})
    assert failing(d) == []
    other = {"left": "right", "right": "left"}[side]
    plain = PLAIN.pieces["front"].edges["side"].length_mm
    for half in ("front", "back"):
        edges = d.pieces[half].edges
        assert edges[f"{side} side"].length_mm == pytest.approx(plain + 20.0, abs=1.0)
        assert edges[f"{other} side"].length_mm == pytest.approx(plain, abs=0.1)


def test_a_change_that_moves_nothing_says_so() -> None:
    """The waist lies inside the straight side seam: 1 cm more there moves nothing, and she is told;
    where it moves the seam she is not."""
    change = {"change": "waist", "by": "1 cm"}
    idle = [n for n in fitted(change).notes if "moves nothing" in n]
    assert idle == ["fit[1] 'waist 10 mm' moves nothing on this garment."]
    shaped = fitted(change, style={"waist": "shaped", "waist_ease": "20 cm"})
    assert not any("moves nothing" in n for n in shaped.notes)


def test_no_two_faults_read_alike() -> None:
    """Each change names the fault it mends in its first sentence, and no two are the same; what is alike
    (a hem that rises) says what else is right or wrong."""
    signs = [k.text.split(". ")[0] for k in KINDS.values()]
    assert len(set(signs)) == len(signs)
    alike = [s for s in signs if "hem rises in front" in s]
    assert len(alike) == 2 and all("fits" in s for s in alike)
    behind = [s for s in signs if "stands away" in s]
    assert all("presses" in s for s in behind)


def test_shoulder_height_keeps_the_seam_length() -> None:
    """A sloping shoulder turns about the neck point: its seam stays as long."""
    d = fitted({"change": "shoulder down", "by": "1 cm"})
    assert d.pieces["front"].edges["shoulder"].length_mm == pytest.approx(5.2974 * INCH, abs=0.01)


def test_changes_add_up_in_order() -> None:
    """Two changes of 6 mm are one of 12."""
    a = fitted({"change": "shoulder in", "by": "6 mm"}, {"change": "shoulder in", "by": "6 mm"})
    b = fitted({"change": "shoulder in", "by": "12 mm"})
    np.testing.assert_allclose(a.pieces["back"].sewing_line, b.pieces["back"].sewing_line)


def test_what_she_wrote_is_kept() -> None:
    """Note and date travel with the change."""
    (change,) = parse_fit(
        [{"change": "Shoulder-Down", "by": "1/4 in", "note": "folds", "date": "2026-11-20"}]
    )
    assert (change.change, change.note, change.date) == ("shoulder down", "folds", "2026-11-20")
    assert change.by_mm == pytest.approx(6.35)
    assert change.text == "shoulder down 1/4 in"


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ({"change": "shoulder donw", "by": 5}, "Did you mean 'shoulder down'"),
        ({"change": "shoulder down", "by": "9 cm"}, "more than"),
        ({"change": "shoulder down", "by": "-5 mm"}, "less than nothing"),
        ({"change": "bust"}, "by how much"),
        ({"change": "bust", "by": 5, "where": "sleeve"}, "Here: both, front, back"),
        ({"change": "one shoulder lower", "by": 5}, "side: left"),
        ({"change": "bust", "by": 5, "side": "left"}, "only goes with"),
        ({"change": "bust", "by": 5, "size": 2}, "unknown key 'size'"),
        ("bust wider", "not a change"),
    ],
)
def test_bad_changes_are_refused(entry: Any, text: str) -> None:
    """A change that is none, too large or in the wrong place is told with its line."""
    with pytest.raises(InputError, match=text) as caught:
        draft("quick-top", inches(), fit=[entry])
    assert "fit[1]" in str(caught.value)


@pytest.mark.parametrize(
    "fit",
    [
        "bust wider",
        {"change": "bust", "by": 5},
        ["bust wider"],
        [{"by": "5 mm"}],
        [{"change": "", "by": "5 mm"}],
        [{"change": "bosom", "by": "5 mm"}],
        [{"change": "shoulder donw", "by": "5 mm"}],
    ],
)
def test_whoever_writes_no_change_is_shown_one_that_works(fit: Any) -> None:
    """Where the form is not met the form is shown, and what is shown is taken as it stands."""
    with pytest.raises(InputError) as caught:
        parse_fit(fit)
    assert FORM in str(caught.value)
    (change,) = parse_fit([yaml.safe_load(FORM)])
    assert (change.change, change.by_mm, change.where) == ("bust", 12.0, "front")
    assert failing(fitted(yaml.safe_load(FORM))) == []


def test_before_and_after() -> None:
    """The comparison names every edge that moved, by how much, and no other."""
    before, after = draft("quick-top", inches()), fitted({"change": "length below waist", "by": 20})
    moves = {(m.piece, m.edge): m for m in compare(before.pieces, after.pieces)}
    assert {("front", "fold"), ("front", "side"), ("back", "hem")} <= set(moves)
    assert {e for _, e in moves}.isdisjoint({"neckline", "shoulder"})
    fold = moves["front", "fold"]
    assert fold.after_mm is not None
    assert fold.before_mm is not None
    assert fold.after_mm - fold.before_mm == pytest.approx(20.0)
    assert fold.moved_mm == pytest.approx(20.0)


def test_before_and_after_of_a_lower_shoulder() -> None:
    """Whole pieces are compared with the folded ones opened out: the other side stays."""
    before = draft("quick-top", inches())
    after = fitted({"change": "one shoulder lower", "by": "10 mm", "side": "right"})
    edges = {m.edge for m in compare(before.pieces, after.pieces)}
    assert "right armhole" in edges
    assert not any(e.startswith("left") for e in edges)


@pytest.mark.parametrize("name", ["neck back", "neck forward"])
def test_a_change_stands_in_a_sum_as_it_is(name: str) -> None:
    """The sum of a neckline that was moved names the change; nothing is multiplied by one."""
    steps = fitted({"change": name, "by": "6 mm"}).steps
    sums = [line for step in steps for line in step.sums if f"fit: {name}" in line]
    assert sums
    assert not [line for line in sums if "1 ×" in line or "× 1 " in line]
