"""The ruler of the benchmarks is itself true: alignment, trueness, and cards laid where they belong."""

from __future__ import annotations

import math

import numpy as np
import pytest
from rigs import STRESS, lay_cards, make_rig, rigid, trueness

from calibrate.calibration import Calibration
from calibrate.model import ProjectorModel
from calibrate.pattern import pattern_for
from calibrate.simulate import VirtualProjector, VirtualTable

SIZE = (1000, 600)
MIDDLE = np.array([499.5, 299.5])


def told(scale: float = 1.0) -> Calibration:
    """A calibration that takes a 1 mm per pixel table for one of ``scale`` mm per pixel."""
    matrix = np.array([[1 / scale, 0, MIDDLE[0]], [0, -1 / scale, MIDDLE[1]], [0, 0, 1.0]])
    model = ProjectorModel(SIZE, matrix, MIDDLE)
    return Calibration(model, np.zeros((12, 12)), "photo", "2026-11-02", floor_mm=0.1)


def test_rigid_fit_turns_and_shifts_but_never_scales_or_mirrors() -> None:
    """A known turn and shift comes back; of a mirrored figure no mirror is made."""
    rng = np.random.default_rng(2)
    points = rng.normal(0, 300, (40, 2))
    c, s = math.cos(0.7), math.sin(0.7)
    turn, shift = rigid(points, points @ np.array([[c, s], [-s, c]]) + (30, -40))
    assert np.allclose(turn, [[c, -s], [s, c]])
    assert np.allclose(shift, [30, -40])
    mirrored, _ = rigid(points, points * (1, -1))
    assert np.linalg.det(mirrored) == pytest.approx(1.0)


def test_trueness_by_hand() -> None:
    """The truth itself has no error; one part in a thousand too large has the rms of a sum by hand."""
    table = VirtualTable(VirtualProjector.above(SIZE, beam_width_mm=1000.0))
    assert trueness(told(), table).max_mm < 1e-9
    found = trueness(told(1.001), table)
    # grid of 33 × 19 points: mean square of k evenly spaced from −a to a is a² (k + 1) / (3 (k − 1))
    by_hand = 0.001 * math.sqrt(499.5**2 * 34 / 96 + 299.5**2 * 20 / 54)
    assert found.rms_mm == pytest.approx(by_hand, rel=1e-6)
    assert found.max_mm == pytest.approx(0.001 * math.hypot(499.5, 299.5), rel=1e-6)
    assert found.scale_ppm == pytest.approx(1000.0, rel=1e-3)
    assert found.honesty == pytest.approx(by_hand / 0.1, rel=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_cards_lie_in_their_windows_and_differ(seed: int) -> None:
    """On a beam of a metre every card lies inside its window, at an angle of its own."""
    table = VirtualTable.random(seed, beam_width_mm=1000.0)
    pattern = pattern_for((1920, 1080), 1000.0)
    sheets = lay_cards(table, pattern, seed)
    assert len({round(s.angle_deg, 3) for s in sheets}) == 4
    for sheet, (x, y, w, h) in zip(sheets, pattern.windows, strict=True):
        size = np.array(sheet.size_mm)
        corners = sheet.to_table(np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * size)
        px = table.projector.to_pixels(corners[:, :2])
        assert (px > (x - 1, y - 1)).all()
        assert (px < (x + w, y + h)).all()


def test_every_stress_scene_is_a_rig() -> None:
    """Each scene's options are ones that a rig knows."""
    for options in STRESS.values():
        rig = make_rig(1, "webcam", **options)
        assert len(rig.table.sheets) == 4
