"""Curves: lengths against an independent library and quadrature, flattening, joins."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.integrate import quad
from shapely.ops import substring
from svgpathtools import CubicBezier

from drafting.curves import (
    CHORD_MM,
    Cubic,
    arc,
    chain_length,
    chain_points,
    cut_chain,
    left_of,
    line,
    rounded,
    sweep,
    through_levels,
    unit,
)
from drafting.outline import arc_lengths, points_along, polyline_length, stretch_of

Points = NDArray[np.float64]


def some_cubics(count: int = 12) -> list[Cubic]:
    """Seeded cubics of a garment's size."""
    rng = np.random.default_rng(3)
    return [Cubic(rng.uniform(0, 300, (4, 2))) for _ in range(count)]


def test_length_agrees_with_svgpathtools() -> None:
    """Arc lengths agree with svgpathtools, which integrates adaptively, to 0.001 mm."""
    for cubic in some_cubics():
        other = CubicBezier(*[complex(*p) for p in cubic.control])
        assert cubic.length == pytest.approx(other.length(error=1e-9), abs=1e-3)


def test_length_agrees_with_quadrature() -> None:
    """Arc length of an armhole-like curve agrees with scipy's quadrature to a nanometre."""
    cubic = sweep((190, -22), (-0.35, -0.94), (259, -203), (1.0, 0.08))
    speed = lambda t: float(np.hypot(*cubic.derivative(t)))  # noqa: E731
    assert cubic.length == pytest.approx(quad(speed, 0, 1, epsabs=1e-11)[0], abs=1e-6)


def test_flattening_keeps_its_chord_tolerance() -> None:
    """No point of a curve lies further than 0.05 mm from its polyline (densely sampled)."""
    from shapely import LineString, Point

    for cubic in some_cubics(5):
        polyline = LineString(cubic.flatten())
        dense = cubic.point(np.linspace(0, 1, 2000))
        assert max(polyline.distance(Point(p)) for p in dense) <= CHORD_MM


def test_split_parts_are_the_curve() -> None:
    """Cut anywhere, both parts lie on the curve and their lengths add up."""
    for cubic in some_cubics(4):
        before, after = cubic.split(0.37)
        np.testing.assert_allclose(before.point(0.5), cubic.point(0.185), atol=1e-9)
        np.testing.assert_allclose(after.point(0.5), cubic.point(0.685), atol=1e-9)
        assert before.length + after.length == pytest.approx(cubic.length, abs=1e-6)


def test_distance_along() -> None:
    """The parameter at a distance cuts off just that length."""
    cubic = some_cubics(1)[0]
    t = cubic.parameter_at(100.0)
    assert cubic.length_between(0, t) == pytest.approx(100.0, abs=1e-6)
    assert cubic.parameter_at(-5) == 0.0
    assert cubic.parameter_at(1e9) == 1.0


def test_arc_is_round() -> None:
    """An arc's points keep their radius within 0.001 mm, its length is radius times angle."""
    curves = arc((10, 20), 100, 0.2, 2.0)
    points = chain_points(curves)
    radii = np.hypot(points[:, 0] - 10, points[:, 1] - 20)
    np.testing.assert_allclose(radii, 100, atol=1e-3)
    assert chain_length(curves) == pytest.approx(180.0, abs=1e-3)


@pytest.mark.parametrize("turn", [0.4, 1.0, math.pi / 2, 2.0])
def test_sweep_draws_a_circle_where_one_fits(turn: float) -> None:
    """Between tangents of a circle the sweep is that circle within 1 % of its radius."""
    start, end = np.array([0.0, -1.0]), np.array([math.sin(turn), -math.cos(turn)])
    curve = sweep(start * 100, (1, 0), end * 100, (math.cos(turn), math.sin(turn)))
    radii = np.hypot(*curve.point(np.linspace(0, 1, 50)).T)
    np.testing.assert_allclose(radii, 100, rtol=0.01)


def end_bend(curve: Cubic, end: int) -> float:
    """Curvature 1/mm where a cubic begins (0) or ends (1): two thirds of the cross product of its control
    polygon's first two sides over the cube of the first (from memory)."""
    a, b, c = curve.control[:3] if end == 0 else curve.control[:0:-1]
    (x, y), (u, v) = b - a, c - b
    bend = float(x * v - y * u) / math.hypot(x, y) ** 3 * 2 / 3
    return bend if end == 0 else -bend


def test_sweep_keeps_its_directions_and_bends_one_way() -> None:
    """A sweep leaves and arrives as told; where one bend does, there is no second."""
    rng = np.random.default_rng(11)
    for _ in range(50):
        corner = rng.uniform(40, 120, 2)
        a, b = rng.uniform(40, 150, 2)
        start, end = corner + np.array([0, a]), corner - np.array([b, 0])
        curve = sweep(start, (0, -1), end, (-1, 0))
        np.testing.assert_allclose(curve.tangent(0), (0, -1), atol=1e-9)
        np.testing.assert_allclose(curve.tangent(1), (-1, 0), atol=1e-9)
        way = np.array([curve.tangent(t) for t in np.linspace(0, 1, 40)])
        assert (way[:-1, 0] * way[1:, 1] - way[:-1, 1] * way[1:, 0] <= 1e-12).all()


def test_rounded_corner_is_an_arc() -> None:
    """Equal arms round a right angle with its circle, off by less than 0.1 % of the radius."""
    curve = rounded((0, 0), (50, 0), (50, 50))
    radii = np.hypot(*(curve.point(np.linspace(0, 1, 30)) - (0, 50)).T)
    np.testing.assert_allclose(radii, 50, rtol=1e-3)


@pytest.mark.parametrize("slopes", [None, (0.1, -0.2)])
def test_side_curve_is_smooth(slopes: tuple[float, float] | None) -> None:
    """Through any levels: the points are met, tangent and curvature run on."""
    knots = [(200.0, 0.0), (230.0, -180.0), (210.0, -420.0), (240.0, -700.0)]
    curves = through_levels(knots, slopes)
    for curve, (a, b) in zip(curves, itertools.pairwise(knots), strict=True):
        np.testing.assert_allclose(curve.start, a)
        np.testing.assert_allclose(curve.end, b)
    for before, after in itertools.pairwise(curves):
        np.testing.assert_allclose(before.tangent(1), after.tangent(0), atol=1e-9)
        assert end_bend(before, 1) == pytest.approx(end_bend(after, 0), abs=1e-9)
    if slopes:
        assert curves[0].tangent(0)[0] / -curves[0].tangent(0)[1] == pytest.approx(slopes[0])
        assert curves[-1].tangent(1)[0] / -curves[-1].tangent(1)[1] == pytest.approx(slopes[1])


def test_cutting_a_chain() -> None:
    """A chain cut at a distance has that length before the cut and the rest after it."""
    chain = [line((0, 0), (100, 0)), line((100, 0), (100, 50))]
    before, after = cut_chain(chain, 120.0)
    assert chain_length(before) == pytest.approx(120.0)
    assert chain_length(after) == pytest.approx(30.0)
    np.testing.assert_allclose(after[0].start, (100, 20), atol=1e-6)


def test_directions() -> None:
    """Unit and quarter turn of a direction."""
    np.testing.assert_allclose(left_of(unit((0, -3))), (1, 0))


def test_places_along_a_polyline_agree_with_shapely() -> None:
    """Linear referencing of shapely (GEOS): places, and a stretch from one distance to another."""
    line = np.array([[0.0, 0.0], [30.0, 40.0], [30.0, 40.0], [90.0, 40.0], [90.0, -5.0]])
    reference = shapely.LineString(line)
    at = np.array([-3.0, 0.0, 12.5, 50.0, 99.0, 155.0, 200.0])
    wanted = shapely.get_coordinates(shapely.line_interpolate_point(reference, at.clip(0.0)))
    assert np.allclose(points_along(line, at), wanted, atol=1e-9)
    assert arc_lengths(line)[-1] == pytest.approx(reference.length)
    part = substring(reference, 20.0, 120.0)
    assert np.allclose(stretch_of(line, 20.0, 120.0)[[0, -1]], [part.coords[0], part.coords[-1]])
    assert polyline_length(stretch_of(line, 20.0, 120.0)) == pytest.approx(100.0)
