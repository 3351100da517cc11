"""Bringing the lay onto the cloth: rigid fits, selvedge and fold, the same marks again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from configs.errors import InputError
from drafting.cloth import Cloth
from projector.picture.view import View
from projector.tools.align import Pointing, align, align_again, carry, register, told

angles = st.floats(-180, 180)
places = st.floats(-2000, 2000)
FOUR = np.array([[0.0, 0.0], [600.0, 40.0], [30.0, 500.0], [640.0, 560.0]])


def lengths(points: np.ndarray) -> np.ndarray:
    """All distances between points."""
    return np.hypot(*np.moveaxis(points[:, None] - points[None], 2, 0))


@given(angles, places, places, st.booleans())
@settings(max_examples=60, deadline=None)
def test_exact_places_give_the_move_back(turn: float, x: float, y: float, mirror: bool) -> None:
    """Places pointed at without error give exactly the view the cloth lies in, mirrored or not."""
    view = View(turn, (x, y), mirror)
    made = register(FOUR, carry(view.table_from_cloth, FOUR), mirrored=mirror)
    assert made.residual_mm < 1e-6
    assert abs(made.stretch) < 1e-9
    assert np.allclose(made.table_from_cloth, view.table_from_cloth, atol=1e-6)
    assert np.allclose(
        made.view(View(side="far")).table_from_cloth, view.table_from_cloth, atol=1e-6
    )
    assert made.view(View(side="far")).side == "far"


@given(st.integers(0, 2**31), st.integers(2, 6), st.floats(0, 50))
@settings(max_examples=60, deadline=None)
def test_no_length_ever_changes(seed: int, n: int, noise: float) -> None:
    """However badly she points, the lay keeps every distance: the fit turns and moves only."""
    rng = np.random.default_rng(seed)
    cloth = rng.uniform(-800, 800, (n, 2))
    cloth[1] = cloth[0] + (300.0, 0.0)
    table = carry(View(30.0, (50, -20)).table_from_cloth, cloth) + rng.normal(0, noise, (n, 2))
    if lengths(table).max() < 60:
        return
    made = register(cloth, table)
    lay = rng.uniform(-2000, 2000, (12, 2))
    assert np.allclose(lengths(carry(made.table_from_cloth, lay)), lengths(lay), atol=1e-8)


def test_agrees_with_general_libraries() -> None:
    """The turn equals scipy's Wahba solution and the fit a general least-squares search.

    Source: scipy's `Rotation.align_vectors` and `least_squares` as reference libraries.
    """
    rng = np.random.default_rng(5)
    for _ in range(20):
        cloth = rng.uniform(-500, 500, (4, 2))
        view = View(float(rng.uniform(-180, 180)), tuple(rng.uniform(-300, 300, 2)))
        table = carry(view.table_from_cloth, cloth) + rng.uniform(-1, 1, (4, 2))
        made = register(cloth, table)
        u, v = cloth - cloth.mean(0), table - table.mean(0)
        pad = np.zeros((4, 1))
        # a heavy z axis keeps the three-dimensional solution in the plane
        turn, _ = Rotation.align_vectors(
            np.vstack([np.hstack([v, pad]), [0, 0, 1e4]]),
            np.vstack([np.hstack([u, pad]), [0, 0, 1e4]]),
        )
        assert math.isclose(turn.as_rotvec()[2], made.rotation, abs_tol=1e-6)

        def miss(p: np.ndarray, cloth: np.ndarray = cloth, table: np.ndarray = table) -> np.ndarray:
            return (
                carry(View(math.degrees(p[0]), (p[1], p[2])).table_from_cloth, cloth) - table
            ).ravel()

        best = least_squares(miss, [made.rotation, *made.translation], xtol=1e-14, ftol=1e-14)
        assert math.isclose(2 * best.cost, float(np.sum(made.residuals_mm**2)), rel_tol=1e-6)


def test_stretch_is_told_and_not_followed() -> None:
    """A cloth longer by 0.5 % is refused with its stretch; the residual alone would have passed."""
    cloth = FOUR * 0.5
    made = register(cloth, carry(View(10.0, (5, 5)).table_from_cloth, cloth * 1.005))
    assert math.isclose(made.stretch, 0.005, rel_tol=1e-6)
    assert made.residual_mm < 2.0
    assert not made.ok
    assert "+0.50 %" in told(made) and "longer" in told(made) and "point again" in told(made)


def test_limits_are_two_millimetres_and_three_in_a_thousand() -> None:
    """Just inside both limits passes, just outside either does not."""
    base = np.array([[0.0, 0.0], [1000.0, 0.0]])
    for stretch, ok in ((0.0029, True), (0.0031, False), (-0.0029, True), (-0.0031, False)):
        assert register(base, base * (1 + stretch)).ok is ok
    square = np.array([[0, 0], [1000, 0], [1000, 1000], [0, 1000.0]])
    # a saddle-shaped miss leaves turn, place and scale alone and is the residual itself
    saddle = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) / math.sqrt(2) * [[1], [-1], [1], [-1]]
    for miss, ok in ((1.95, True), (2.05, False)):
        made = register(square, square + miss * saddle)
        assert math.isclose(made.residual_mm, miss, rel_tol=1e-3)
        assert made.ok is ok


def test_one_bad_place_is_named() -> None:
    """A cross pointed at 9 mm off is named, so that she knows which to do again."""
    table = FOUR.copy()
    table[2] += (9.0, 0.0)
    made = register(FOUR, table)
    assert made.worst == 2
    assert "cross C" in told(made, ["cross A", "cross B", "cross C", "cross D"])


def test_expected_error_is_what_pointing_does() -> None:
    """The error told beforehand equals the spread over many trials, near the crosses and far."""
    rng = np.random.default_rng(11)
    at = np.array([[320.0, 270.0], [1500.0, 300.0]])
    off = []
    for _ in range(3000):
        made = register(FOUR, FOUR + rng.uniform(-1, 1, FOUR.shape))
        off.append(carry(made.table_from_cloth, at) - at)
    rms = np.sqrt(np.mean(np.sum(np.square(off), axis=2), axis=0))
    assert np.allclose(register(FOUR, FOUR).expected_error_mm(at), rms, rtol=0.05)


@pytest.mark.parametrize(
    ("cloth", "table", "words"),
    [
        (FOUR[:1], FOUR[:1], "second"),
        (FOUR, FOUR[:3], "3 pointed at"),
        (FOUR[:2] * 0.01, FOUR[:2] * 0.01, "far apart"),
        (FOUR[:2], np.zeros((2, 2)), "far apart"),
        (FOUR, FOUR * math.nan, "finite"),
        (np.zeros(4), np.zeros(4), "shape"),
    ],
)
def test_what_cannot_be_fitted_is_refused(cloth: np.ndarray, table: np.ndarray, words: str) -> None:
    """Too few places, places in one spot or not finite are refused with what to do."""
    with pytest.raises(InputError, match=words):
        register(cloth, table)


# -- selvedge and fold


CLOTH = Cloth.from_dict({"width": 1400, "length": "2 m", "fold": "lengthwise"})


@pytest.mark.parametrize("line", ["near", "far", "start", "end"])
@pytest.mark.parametrize("swap", [False, True])
@given(
    turn=st.floats(-40, 40),
    x=places,
    y=places,
    mirror=st.booleans(),
    base=st.sampled_from([0, 90, 180]),
)
@settings(max_examples=15, deadline=None)
def test_the_edge_falls_on_the_places(
    line: str, swap: bool, turn: float, x: float, y: float, mirror: bool, base: int
) -> None:
    """Two places on any edge of the cloth, in any order, bring that edge of the lay onto them."""
    truth = View(base + turn, (x, y), mirror)
    edge = {
        "near": [[100, 0], [900, 0]],
        "far": [[300, 700], [1500, 700]],
        "start": [[0, 50], [0, 650]],
        "end": [[2000, 30], [2000, 600]],
    }[line]
    pointed = carry(truth.table_from_cloth, np.array(edge[::-1] if swap else edge, float))
    made = align(View(base, (10.0, -40.0), mirror), pointed, line=line, cloth=CLOTH)
    assert np.allclose(
        made.view.table_from_cloth[:2, :2], truth.table_from_cloth[:2, :2], atol=1e-9
    )
    across = 1 if line in ("near", "far") else 0
    level = {"near": 0, "far": 700, "start": 0, "end": 2000}[line]
    assert np.allclose(carry(made.view.cloth_from_table, pointed)[:, across], level, atol=1e-7)
    assert made.view.mirror is mirror
    assert math.isclose(made.apart_mm, lengths(pointed).max(), rel_tol=1e-12)


def test_the_same_marks_again_after_a_move() -> None:
    """Marks pointed at once bring the lay back after the cloth was moved; their distance is checked."""
    pointed = np.array([[-400.0, -210.0], [420.0, -200.0]])
    first, made = Pointing().point(tuple(pointed[0]), View())
    assert made is None and "as far from the first" in first.asks()
    kept, made = first.point(tuple(pointed[1]), View())
    assert made is not None and "82 cm apart" in made.said()
    moved = View(7.0, (300.0, 90.0))
    marks = carry(moved.table_from_cloth, made.anchors_cloth)
    redone = align_again(made.view, marks, kept.anchors)
    assert np.allclose(redone.view.table_from_cloth, moved.table_from_cloth, atol=1e-9)
    assert redone.registration.ok
    stretched = marks + np.array([[0.0, 0.0], [4.0, 0.0]])
    assert not align_again(made.view, stretched, kept.anchors).registration.ok


def test_a_bowed_edge_is_told() -> None:
    """Three places that are not in one line say by how much the edge bows."""
    made = align(View(), [[0, 0], [500, 6], [1000, 0]])
    assert 3.0 < made.bow_mm < 5.0
    assert "bows" in made.said()


@pytest.mark.parametrize(
    ("points", "line", "words"),
    [
        ([[0, 0]], "near", "two places"),
        ([[0, 0], [10, 0]], "near", "far apart"),
        ([[0, 0], [500, 0]], "left", "not one of"),
        ([[0, 0], [500, 0]], "far", "width"),
        ([[0, 0], [500, 0]], "end", "length"),
    ],
)
def test_bad_alignments_are_refused(points: list[list[float]], line: str, words: str) -> None:
    """Too few or too close places, unknown edges and unknown sizes are refused with a remedy."""
    with pytest.raises(InputError, match=words):
        align(View(), points, line=line)
