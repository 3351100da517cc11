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
            if name == "one shoulder lower":
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
