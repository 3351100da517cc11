"""Pieces and their cutting lines, against hand-computed outlines and an independent library."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from configs.errors import DraftError, InputError
from drafting.allowance import cutting_ring
from drafting.outline import Edge, corner_angle_deg, is_simple, nearest_distance, signed_area
from drafting.piece import NOTCH_MM, Notch, Piece

Points = NDArray[np.float64]
SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]


def star(points: int = 300) -> Points:
    """A smooth outline with five hollows, (N, 2) mm."""
    t = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return np.stack([np.cos(t), np.sin(t)], axis=1) * (100 + 40 * np.cos(5 * t))[:, None]


def ring(**edges: list[tuple[float, float]]) -> dict[str, Edge]:
    """Edges from their corner points."""
    return {n.replace("_", " "): Edge(n.replace("_", " "), np.array(p)) for n, p in edges.items()}


def test_from_outline_either_way_round() -> None:
    """An outline drawn clockwise is the same piece, counter-clockwise."""
    for points in (SQUARE, SQUARE[::-1]):
        piece = Piece.from_outline("patch", points)
        assert piece.area_mm2 == pytest.approx(1e4)
        assert signed_area(piece.sewing_line) > 0
        assert not piece.sewing_line.flags.writeable


def test_square_with_allowance() -> None:
    """10 mm round a 100 mm square makes a 120 mm square."""
    line = Piece.from_outline("patch", SQUARE).cutting_line({"all": 10})
    assert sorted(map(tuple, line.round(9))) == [(-10, -10), (-10, 110), (110, -10), (110, 110)]


def test_on_the_fold() -> None:
    """The fold gets no allowance; opened out the piece is twice as wide."""
    piece = Piece.from_outline("front", SQUARE, fold=((0, 0), (0, 100)))
    line = piece.cutting_line({"all": 10})
    assert (line[:, 0].min(), line[:, 0].max()) == (0.0, 110.0)
    assert (line[:, 1].min(), line[:, 1].max()) == (-10.0, 110.0)
    whole = piece.unfolded({"all": 10})
    assert signed_area(whole) == pytest.approx(220 * 120)
    assert signed_area(piece.unfolded()) == pytest.approx(2e4)
    assert is_simple(whole)


def test_a_fold_elsewhere_is_moved_to_x_0() -> None:
    """A fold along the bottom is turned upright, the piece to its right, nothing stretched."""
    points = [(10, 5), (110, 5), (110, 45), (10, 65)]
    piece = Piece.from_outline("yoke", points, fold=((10, 5), (110, 5)))
    assert piece.sewing_line[:, 0].min() == 0.0
    assert piece.area_mm2 == pytest.approx(shapely.Polygon(points).area)
    assert piece.edges["fold"].length_mm == pytest.approx(100)
    assert piece.fold is not None
    assert piece.fold[0][0] == piece.fold[1][0] == 0.0


@pytest.mark.parametrize(
    ("points", "fold", "text"),
    [
        ([(0, 0), (100, 0)], None, "at least 3"),
        ([(0, 0), (100, 100), (100, 0), (0, 99)], None, "crosses"),
        ([(0, 0), (1, 0), (0, 1)], None, "encloses"),
        ([(0, 0), (math.nan, 0), (0, 50)], None, "finite"),
        ("not points", None, "pairs"),
        ([(0, 0), (50, 0), (50, 0), (0, 0)], None, "three different"),
        (np.array(SQUARE) * 1000.0, None, "check the unit"),
        (SQUARE, ((50, 0), (50, 100)), "both sides"),
        (SQUARE, ((0, 0), (0, 0)), "one point"),
        (SQUARE, ((-5, 0), (-5, 100)), "no single straight side"),
    ],
)
def test_bad_outlines_are_refused(points: object, fold: object, text: str) -> None:
    """What is no outline is refused with its reason and the piece's name."""
    with pytest.raises(InputError, match=text) as caught:
        Piece.from_outline("patch", points, fold=fold)  # type: ignore[arg-type]  # bad on purpose
    assert "patch" in str(caught.value)


def test_gap_between_edges_is_refused() -> None:
    """Edges must join."""
    with pytest.raises(InputError, match=r"starts 5\.00 mm from"):
        Piece("x", ring(a=[(0, 0), (100, 0)], b=[(100, 5), (0, 100), (0, 0)]))


@pytest.mark.parametrize("width", [3.0, 10.0, 25.0, 60.0])
def test_even_allowance_agrees_with_an_independent_library(width: float) -> None:
    """Round a smooth outline with hollows tighter than the allowance: shapely's own buffer."""
    line = Piece.from_outline("star", star()).cutting_line({"all": width})
    other = shapely.Polygon(star()).buffer(width, join_style="mitre", mitre_limit=10)
    assert signed_area(line) == pytest.approx(other.area, rel=1e-6)
    assert shapely.hausdorff_distance(shapely.LinearRing(line), other.exterior) < 1e-3
    assert is_simple(line)


def test_random_outlines_keep_their_distance() -> None:
    """Seeded ragged outlines: every cutting line is simple, and nowhere nearer than allowed."""
    rng = np.random.default_rng(2)
    for _ in range(15):
        count = int(rng.integers(5, 30))
        t = np.sort(rng.uniform(0, 2 * np.pi, count)) + np.arange(count) * 1e-3
        points = np.stack([np.cos(t), np.sin(t)], axis=1) * rng.uniform(60, 200, count)[:, None]
        if not is_simple(points) or abs(signed_area(points)) < 5e3:
            continue
        piece = Piece.from_outline("ragged", points)
        line = piece.cutting_line({"all": 8})
        assert is_simple(line)
        sewn = np.concatenate([piece.sewing_line, piece.sewing_line[:1]])
        assert nearest_distance(line, sewn).min() == pytest.approx(8, abs=0.01)
        assert shapely.Polygon(line).contains(shapely.Polygon(piece.sewing_line))


def test_each_edge_has_its_own_allowance() -> None:
    """The distance from each edge is that edge's allowance, off the corners."""
    edges = ring(
        hem=[(0, 0), (200, 0)],
        side=[(200, 0), (180, 150)],
        shoulder=[(180, 150), (20, 170)],
        neckline=[(20, 170), (0, 0)],
    )
    widths = {"hem": 30.0, "side": 15.0, "all": 8.0, "neckline": 0.0}
    line = Piece("bodice", edges).cutting_line(widths)
    closed = np.concatenate([line, line[:1]])
    for name, wanted in {"hem": 30, "side": 15, "shoulder": 8, "neckline": 0}.items():
        middle = edges[name].at(edges[name].length_mm / 2)[0]
        assert nearest_distance(middle[None], closed)[0] == pytest.approx(wanted, abs=1e-6)


def test_short_edges_and_wide_allowances() -> None:
    """An edge of 2 mm between long ones, with 40 mm round all, gives one sound line."""
    edges = ring(
        a=[(0, 0), (300, 0)],
        b=[(300, 0), (301, 2)],
        c=[(301, 2), (150, 120)],
        d=[(150, 120), (0, 0)],
    )
    line = Piece("wedge", edges).cutting_line({"all": 40})
    assert is_simple(line)
    assert shapely.Polygon(line).contains(shapely.Polygon(Piece("wedge", edges).sewing_line))


@pytest.mark.parametrize("lean", [-40.0, 0.0, 25.0, 60.0])
def test_turned_hem_lies_on_the_side(lean: float) -> None:
    """Folded up along the hem line, the hem's ends lie on the side's cutting line (mirrored)."""
    edges = ring(
        hem=[(0, 0), (200, 0)],
        side=[(200, 0), (200 - lean, 150)],
        top=[(200 - lean, 150), (0, 150)],
        fold=[(0, 150), (0, 0)],
    )
    piece = Piece("skirt", edges, fold=((0, 150), (0, 0)))
    line = piece.cutting_line({"all": 10, "hem": 25})
    shape = shapely.Polygon(line)
    turned = shapely.transform(
        shapely.intersection(shape, shapely.box(-1, -99, 999, 0)), lambda p: p * (1, -1)
    )
    strip = shapely.intersection(shape, shapely.box(-1, 0, 999, 25))
    assert shapely.symmetric_difference(turned, strip).area < 1e-3


def test_squared_corner() -> None:
    """A squared end stands at a right angle on the seam that is sewn first, full width."""
    edges = ring(
        a=[(0, 0), (100, 0)], b=[(100, 0), (150, 80)], c=[(150, 80), (0, 80)], d=[(0, 80), (0, 0)]
    )
    plain = Piece("p", edges).cutting_line({"all": 10})
    squared = Piece("p", edges, corners={("a", "b"): ("squared", "a")}).cutting_line({"all": 10})
    assert signed_area(plain) != pytest.approx(signed_area(squared))
    # a's line run on meets b's cutting line, and the end stands up from there
    slope = math.atan2(80, 50)
    x = 100 + 10 / math.sin(slope)
    assert any(np.allclose(p, (x, -10), atol=1e-6) for p in squared)
    assert any(np.allclose(p, (x, 0), atol=1e-6) for p in squared)


def test_a_very_sharp_corner_is_blunted() -> None:
    """The point of a 10° corner does not run off across the cloth."""
    piece = Piece.from_outline("spike", [(0, 0), (300, 0), (300, 50)])
    line = piece.cutting_line({"all": 10})
    assert np.hypot(*line.T).min() <= 25.0 + 1e-6
    assert line[:, 0].min() > -30.0


def test_allowances_are_checked() -> None:
    """All bad allowances at once; texts with a unit are lengths too."""
    piece = Piece.from_outline("patch", SQUARE)
    with pytest.raises(InputError) as caught:
        piece.cutting_line({"all": -1, "hem": math.nan, "side": 900})
    assert len(caught.value.faults) == 3
    np.testing.assert_allclose(
        piece.cutting_line({"all": "1/2 in"}), piece.cutting_line({"all": 12.7})
    )
    assert piece.cutting_line({"all": 0}) is not None
    np.testing.assert_array_equal(piece.cutting_line(), piece.sewing_line)


def test_notches() -> None:
    """A notch is square to its edge, at most half the allowance deep, one or two (back)."""
    piece = Piece.from_outline("patch", SQUARE).with_(
        notches=(Notch("edge", 50.0, 1), Notch("edge", 150.0, 2))
    )
    lines = piece.notch_lines({"all": 6})
    assert len(lines) == 3
    assert np.allclose(lines[0], [(50, -6), (50, -3)])  # half of 6, not 4
    assert np.allclose(piece.notch_lines({"all": 15})[0], [(50, -15), (50, -15 + NOTCH_MM)])
    assert [round(float(x[0, 1])) for x in lines[1:]] == [47, 53]
    with pytest.raises(InputError, match="off its edge"):
        piece.with_(notches=(Notch("edge", 500.0),))


def test_opened_piece_keeps_lengths_and_notches() -> None:
    """Opened out: crossing edges doubled, side edges twice, notches on both."""
    piece = Piece(
        "front",
        ring(
            fold=[(0, 100), (0, 0)],
            hem=[(0, 0), (100, 0)],
            side=[(100, 0), (90, 80)],
            neckline=[(90, 80), (0, 100)],
        ),
        fold=((0, 100), (0, 0)),
        notches=(Notch("side", 30.0),),
    )
    whole = piece.opened()
    assert list(whole.edges) == ["hem", "right side", "neckline", "left side"]
    assert whole.edges["hem"].length_mm == 200
    assert whole.area_mm2 == pytest.approx(2 * piece.area_mm2)
    right, left = (whole.edges[n.edge].at(n.at_mm)[0] for n in whole.notches)
    np.testing.assert_allclose(left, right * (-1, 1), atol=1e-9)


@pytest.mark.parametrize("at", [0.0, 50.0, 250.0, 400.0])
def test_an_outline_in_one_edge_is_opened_with_its_notch_on_both_sides(at: float) -> None:
    """An imported half whose outline is one edge: its notch stays where it is and is mirrored; one on
    the fold is there once."""
    outline = [(0, 0), (100, 0), (100, 200), (0, 200)]
    half = Piece.from_outline("bib", outline, fold=((0, 0), (0, 200)))
    half = half.with_(notches=(Notch("edge", at),))
    x, y = half.edges["edge"].at(at)[0]
    whole = half.opened()
    found = {(*whole.edges[n.edge].at(n.at_mm)[0].round(6).tolist(),) for n in whole.notches}
    assert found == {(x, y), (-x + 0.0, y)}
    assert len(whole.notches) == len(found)


def test_interior_angles() -> None:
    """Corner angles of a square are 90°, of a hollow corner 270°."""
    east, north = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    assert corner_angle_deg(east, north) == pytest.approx(90)
    assert corner_angle_deg(north, east) == pytest.approx(270)


def test_too_wide_for_the_piece_says_so() -> None:
    """An allowance that swallows a hollow whole is refused or drawn soundly, never crossed."""
    edges = ring(
        a=[(0, 0), (60, 0)], b=[(60, 0), (60, 60)], c=[(60, 60), (40, 60), (30, 5), (20, 60), (0, 60)],
        d=[(0, 60), (0, 0)],
    )  # fmt: skip
    try:
        line = cutting_ring(edges, {"all": 5, "c": 30})
    except DraftError as error:
        assert "allowance" in str(error)
    else:
        assert is_simple(line)
