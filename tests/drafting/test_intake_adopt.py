"""A bare outline becomes a piece: sides named, fold on x = 0, grain up, nothing ever scaled."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from configs.errors import InputError
from drafting.intake.adopt import adopt, named_sides
from drafting.intake.found import Outline

# a half front as a drawing shows it: centre line left at x = 10, hem low, one curve at the neck
T = np.radians(np.linspace(0, -90, 40))[1:-1]
NECK = np.column_stack([10 + 70 * np.cos(T), 600 + 70 * np.sin(T)])
HALF = np.vstack([[(10, 20), (260, 20), (250, 400), (210, 580), (80, 600)], NECK, [(10, 530)]])


def outline(points: NDArray, name: str = "front", **more: object) -> Outline:
    """An outline as a reader would hand it over."""
    return Outline(name, np.asarray(points, dtype=float), "top.svg", **more)  # type: ignore[arg-type]


def turned(points: NDArray, degrees: float) -> NDArray:
    """The points turned counter-clockwise about the origin."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return points @ np.array([[c, s], [-s, c]])


def lengths(points: NDArray) -> NDArray:
    """Lengths of a closed ring's steps, sorted."""
    ring = np.vstack([points, points[:1]])
    return np.sort(np.linalg.norm(np.diff(ring, axis=0), axis=1))


def test_sides_are_named_for_where_they_face() -> None:
    """Sides run from corner to corner in ring order; a curve between corners is one side."""
    sides = named_sides(HALF)
    assert next(iter(sides)) == "bottom"
    assert {n: len(p) for n, p in sides.items()} == {
        "bottom": 2, "right": 3, "top": 2, "top 2": len(NECK) + 2, "left": 2,
    }  # fmt: skip
    for (_, a), (_, b) in pairwise([*sides.items(), next(iter(sides.items()))]):
        np.testing.assert_array_equal(a[-1], b[0])


def test_a_smooth_outline_has_one_side() -> None:
    """A circle has no corners, so no sides; it is one edge."""
    t = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    assert list(named_sides(np.column_stack([np.cos(t), np.sin(t)]) * 80)) == ["edge"]


@pytest.mark.parametrize(("degrees", "fold"), [(0, "left"), (90, "bottom"), (-90, "top")])
def test_fold_lies_on_x_0_whatever_side_it_was_drawn(degrees: float, fold: str) -> None:
    """The fold named by its side lies on x = 0, the piece in x ≥ 0, unscaled and not mirrored."""
    drawn = turned(HALF, degrees)
    piece = adopt(outline(drawn), fold=fold)
    line = piece.sewing_line
    assert piece.fold is not None
    assert np.abs(piece.edges["fold"].points[:, 0]).max() == 0.0
    assert line.min(axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert piece.edges["fold"].length_mm == pytest.approx(510)
    np.testing.assert_allclose(lengths(line), lengths(drawn), atol=1e-6)
    assert piece.area_mm2 == pytest.approx(outline(drawn).area_mm2)


def test_a_fold_on_the_right_is_mirrored_onto_the_left() -> None:
    """A half drawn with its fold on the right opens to the same piece, and stays upright."""
    mirrored = (HALF * (-1.0, 1.0))[::-1]
    piece, twin = adopt(outline(mirrored), fold="right"), adopt(outline(HALF), fold="left")
    np.testing.assert_allclose(
        np.sort(piece.sewing_line, axis=0), np.sort(twin.sewing_line, axis=0), atol=1e-9
    )
    np.testing.assert_allclose(piece.edges["bottom"].points, twin.edges["bottom"].points, atol=1e-9)


def test_grain_is_turned_up() -> None:
    """A drawing whose grain runs to the right is turned so that it runs up."""
    piece = adopt(outline(HALF), grain_deg=0.0)
    width, height = np.ptp(piece.sewing_line, axis=0)
    assert (width, height) == pytest.approx((580, 250))
    # what was at the right of the drawing (the side seam) is now at the top
    assert piece.edges["right"].points[:, 1].min() > 190
    assert piece.area_mm2 == pytest.approx(outline(HALF).area_mm2)


def test_grain_of_the_file_is_followed() -> None:
    """A grain line in the file turns the piece and comes along."""
    grain = ((30.0, 100.0), (130.0, 200.0))  # 45 degrees
    piece = adopt(outline(HALF, grain=grain))
    (ax, ay), (bx, by) = piece.grain
    assert (bx - ax, by - ay) == pytest.approx((0, math.hypot(100, 100)), abs=1e-9)
    np.testing.assert_allclose(lengths(piece.sewing_line), lengths(HALF), atol=1e-6)


@pytest.mark.parametrize(
    ("kwargs", "part"),
    [
        ({"fold": "right"}, "no single straight side along its right"),
        ({"fold": "top 2"}, "off straight"),
        ({"fold": "centre"}, "no side 'centre'.*Its sides are: bottom"),
        ({"fold": "left", "grain_deg": 30.0}, "does not run along the grain"),
        ({"edge_names": {"botom": "hem"}}, "no side 'botom'"),
        ({"edge_names": {"bottom": "top"}}, "two edges named 'top'"),
    ],
)
def test_what_cannot_be_is_told_with_the_sides_there_are(
    kwargs: dict[str, object], part: str
) -> None:
    """A fold on no straight side, against the grain, or a side that is not there: told in words."""
    with pytest.raises(InputError, match=part):
        adopt(outline(HALF), **kwargs)  # type: ignore[arg-type]


def test_a_named_side_has_its_own_allowance() -> None:
    """A side that she names 'hem' gets the hem's allowance and no other side does."""
    piece = adopt(outline(HALF), fold="left", edge_names={"bottom": "hem"})
    cut = piece.cutting_line({"all": 10.0, "hem": 40.0})
    assert cut[:, 1].min() == pytest.approx(-40.0)
    assert cut[:, 0].min() == 0.0


def test_what_the_file_says_holds_unless_she_says_otherwise() -> None:
    """Counts and turns come from the file; her own go before."""
    told = outline(HALF, cut=3, pair=True, turns=(0.0,))
    kept, changed = adopt(told), adopt(told, cut=2, pair=False, turns=(0.0, 90.0), name="yoke")
    assert (kept.cut, kept.pair, kept.turns, kept.name) == (3, True, (0.0,), "front")
    assert (changed.cut, changed.pair, changed.turns, changed.name) == (
        2,
        False,
        (0.0, 90.0),
        "yoke",
    )


def test_a_fold_of_half_the_least_length_is_refused_and_of_twice_taken() -> None:
    """A fold of 5 mm says nothing of the grain; the 20 mm of a low collar stand do."""

    def stand(high: float) -> NDArray:
        return np.array([(0, 0), (200, 0), (205, 30), (0, high)], dtype=float)

    with pytest.raises(InputError, match="a fold only 5 mm long"):
        adopt(outline(stand(5.0)), fold="left")
    assert adopt(outline(stand(20.0)), fold="left").edges["fold"].length_mm == pytest.approx(20)
