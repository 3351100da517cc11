"""Sleeve caps: exact lengths by half, widths against the handbooks' examples, smooth and square."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline
from test_curves import end_bend

from configs.errors import DraftError
from drafting.curves import chain_length, chain_points, line
from drafting.fit import BACK, FRONT
from drafting.outline import polyline_length
from drafting.sheet.caps import Cap, Fan, bell, cap_of, half_cap, height_for

# A handbook's one-piece sleeve with a cap of a third of the armhole (from memory), cm: armhole,
# width at the biceps line, length of the cap. Ease in front about a third of the whole.
HANDBOOK = [(41.0, 31.9, 43.6), (42.4, 32.9, 44.9), (43.8, 34.0, 46.3), (45.8, 35.5, 48.2)]
# The same with all chords 0.5 cm shorter: armhole, width, ease.
SHORTER_CHORDS = [(41.0, 30.5, 1.6), (42.4, 31.6, 1.6), (43.8, 32.6, 1.5), (45.8, 34.1, 1.4)]
# A quick top's armhole (24.1 in front, 23.0 behind) by chords 0.5 cm shorter (derived): height of
# the cap, width.
QUICK_TOP = [(15.7, 35.1), (11.8, 39.6), (9.4, 42.1)]
SQUARE_TAKES = (
    17.0  # mm of width: the handbook's curve is not square to the underarm, ours is for 1 cm
)


def cap(armhole: float, ease: float, height: float | None = None, front: float = 0.4) -> Cap:
    """A cap to an armhole of two equal halves, cm in, mm inside."""
    half, more = 5.0 * armhole, 10.0 * ease
    return cap_of(10.0 * armhole / 3 if height is None else 10.0 * height, half + front * more, half + (1 - front) * more)  # fmt: skip


@pytest.mark.parametrize(("armhole", "biceps", "length"), HANDBOOK)
def test_a_fitted_cap_is_as_wide_as_the_handbooks(
    armhole: float, biceps: float, length: float
) -> None:
    """A cap of the handbook's height and length is its width, less what the square underarm takes."""
    made = cap(armhole, length - armhole, front=0.34)
    assert chain_length(made.front) + chain_length(made.back) == pytest.approx(
        10 * length, abs=0.01
    )
    assert 10.0 * biceps - SQUARE_TAKES < made.biceps < 10.0 * biceps


@pytest.mark.parametrize(("armhole", "biceps", "ease"), SHORTER_CHORDS)
def test_a_cap_with_less_ease(armhole: float, biceps: float, ease: float) -> None:
    """With less ease the sleeve is narrower, as in the handbook's second row."""
    made = cap(armhole, ease)
    assert made.biceps == pytest.approx(10.0 * biceps, abs=SQUARE_TAKES)
    assert made.biceps < cap(armhole, ease + 1.0).biceps


@pytest.mark.parametrize(("height", "biceps"), QUICK_TOP)
def test_caps_for_the_quick_top(height: float, biceps: float) -> None:
    """Front armhole 1 cm longer than the back: the widths worked out by chords, within 4.5 %."""
    made = cap_of(10.0 * height, 241.0 + 6.4, 230.0 + 9.6)
    assert made.biceps == pytest.approx(10.0 * biceps, rel=0.045)
    assert made.front_width > made.back_width - 10.0


def test_the_curve_passes_the_handbooks_points() -> None:
    """Full by 1.8 and 1.9 cm a quarter below the crown, hollow by 1.0 and 0.5 above the underarm."""
    for half, chord, out, hollow in ((FRONT, 212.0, 18.0, 10.0), (BACK, 222.0, 19.0, 5.0)):
        width, high = math.sqrt(chord**2 - 141.3**2), 141.3
        points = chain_points(half_cap(half, width, high)) * (1.0 if half == FRONT else -1.0, 1.0)
        along = np.array([width, -high]) / chord
        across = np.array([high, width]) / chord
        for share, off in ((0.25, out), (0.75, -hollow)):
            want = share * chord * along + off * across
            assert np.hypot(*(points - want).T).min() < 1.5, (half, share)


def test_what_the_square_underarm_takes() -> None:
    """A free spline through the same points, not square anywhere, has the handbook's cap length."""
    free = []
    for half, width in ((FRONT, 158.3), (BACK, 171.5)):
        knots = [c.start for c in half_cap(half, width, 141.3)[2:]]
        p = np.array([(width if half == FRONT else -width, -141.3), *knots, (0.0, 0.0)])
        u = np.r_[0.0, np.cumsum(np.sqrt(np.hypot(*np.diff(p, axis=0).T)))]
        free.append(
            polyline_length(CubicSpline(u, p, bc_type="natural")(np.linspace(0, u[-1], 900)))
        )
    assert sum(free) == pytest.approx(449.0, abs=2.0)
    ours = sum(chain_length(half_cap(h, w, 141.3)) for h, w in ((FRONT, 158.3), (BACK, 171.5)))
    assert 3.0 < ours - sum(free) < 12.0


halves = st.floats(150.0, 420.0)


@settings(max_examples=40, deadline=None)
@given(halves, st.floats(0.9, 1.1), st.floats(0.16, 0.37), st.floats(-0.3, 0.3))
def test_any_cap_is_exact_smooth_and_square(
    half: float, ratio: float, share: float, lean: float
) -> None:
    """Whatever the armhole: lengths exact, tangent and bend run on, level crown, square underarm."""
    lengths = (half, ratio * half)
    made = cap_of(share * sum(lengths), *lengths, lean)
    for curves, length, sign in ((made.front, lengths[0], 1.0), (made.back, lengths[1], -1.0)):
        assert chain_length(curves) == pytest.approx(length, abs=1e-3)
        for a, b in pairwise(curves):
            assert a.tangent(1.0) @ b.tangent(0.0) > 1.0 - 1e-9
        for a, b in pairwise(curves[1:]):
            assert end_bend(a, 1) == pytest.approx(end_bend(b, 0), abs=1e-4)
        seam = np.array([-sign * math.sin(lean), -math.cos(lean)])
        first = curves[0]
        assert abs(first.tangent(0.0) @ seam) < 1e-9 and first.length == pytest.approx(
            10.0, abs=1e-6
        )
        assert curves[-1].tangent(1.0) == pytest.approx((-sign, 0.0), abs=1e-9)
        assert (np.diff(sign * chain_points(curves)[:, 0]) < 1e-9).all(), "it turns back on itself"
        assert chain_points(curves)[:, 1].max() < 1e-6, "it rises over the crown"


def test_a_wider_sleeve_has_a_lower_cap() -> None:
    """The height at which a cap of given length is 3 cm wider is lower, and gives that width."""
    now = cap(47.1, 1.0)
    height = height_for(now.biceps + 30.0, 239.5, 241.5)
    assert height < now.height
    assert cap_of(height, 239.5, 241.5).biceps == pytest.approx(now.biceps + 30.0, abs=0.01)


def test_impossible_caps_are_refused() -> None:
    """A cap higher than its length allows, and a sleeve wider than its armhole, are refused."""
    with pytest.raises(DraftError, match=r"style\.cap"):
        cap_of(240.0, 240.0, 240.0)
    with pytest.raises(DraftError, match="at most"):
        height_for(560.0, 240.0, 240.0)


def sleeve() -> tuple[np.ndarray, np.ndarray]:
    """A cap from front to back and a straight hem, mm."""
    made = cap(47.1, 1.0)
    whole = np.concatenate([chain_points(made.front), chain_points(made.back)[-2::-1]])
    hem = chain_points([line((-made.back_width, -500.0), (made.front_width, -500.0))])
    return whole, np.stack([np.linspace(*hem[[0, -1], 0], 120), np.full(120, -500.0)], axis=1)


def test_hinged_at_the_cap_the_cap_keeps_its_length() -> None:
    """A bell: the cap is as long as before, the hem longer by what was spread, its ends turned."""
    whole, hem = sleeve()
    low, high = -100.0, 100.0
    at = np.linspace(low, high, 400)
    depth = float((np.interp(at, *whole[::-1].T) + 500.0).mean())
    fan = Fan(whole, low, high, 150.0 / depth)
    assert polyline_length(fan(whole)) == pytest.approx(polyline_length(whole), abs=1e-6)
    assert polyline_length(fan(hem)) == pytest.approx(polyline_length(hem) + 150.0, abs=1.0)
    crown = fan(np.array([[0.0, 0.0], [0.0, -300.0]]))
    assert np.abs(crown[:, 0]).max() < 1e-9, "the middle stays upright"


def test_spread_in_parallel_both_ends_grow_and_the_crown_is_raised() -> None:
    """A puff: both edges wider by the same, the cap raised at its crown, nothing below the notches."""
    whole, hem = sleeve()
    fan = Fan(hem, -110.0, 120.0, apart=100.0)
    raised = 50.0 * bell(whole[:, 0], -110.0, 0.0, 120.0)
    made = fan(whole, raised)
    assert made[:, 1].max() == pytest.approx(50.0, abs=0.1)
    assert np.ptp(made[:, 0]) == pytest.approx(np.ptp(whole[:, 0]) + 100.0)
    assert polyline_length(fan(hem)) == pytest.approx(polyline_length(hem) + 100.0)
    under = whole[:, 0] > 120.0
    assert np.allclose(np.diff(made[under], axis=0), np.diff(whole[under], axis=0))
