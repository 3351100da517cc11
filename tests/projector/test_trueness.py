"""Measuring where light falls: the ruler of the demo is itself checked on planted errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from calibrate.simulate import VirtualTable
from drafting.placement import carry
from projector.picture.frame import Lens
from projector.picture.marks import Item, mark
from projector.picture.painter import Painter
from projector.trueness import Trueness, best_rigid, measure


@dataclass(frozen=True)
class Truth:
    """The virtual projector's own map, standing in for a calibration; ``bend`` plants an error."""

    table: VirtualTable
    stretch: float = 1.0

    @property
    def size(self) -> tuple[int, int]:
        return self.table.projector.size

    def to_projector(self, points_mm: np.ndarray) -> np.ndarray:
        return self.table.projector.to_pixels(np.asarray(points_mm) * [self.stretch, 1.0])

    def to_table(self, points_px: np.ndarray) -> np.ndarray:
        return self.table.projector.to_table(points_px) / [self.stretch, 1.0]


def shape(middle: np.ndarray) -> np.ndarray:
    """A closed line with straight sides, a curve and corners, about 500 × 360 mm."""
    t = np.linspace(0, np.pi / 2, 60)
    curve = np.column_stack([150 + 100 * np.cos(t), 180 * np.sin(t)])
    ring = np.vstack([[[-250, -180], [250, -180]], curve, [[-250, 180], [-250, -180]]])
    return ring + middle


def thrown(stretch: float, seed: int = 4) -> tuple[np.ndarray, np.ndarray, VirtualTable]:
    table = VirtualTable.random(seed, (1280, 720), beam_width_mm=1000.0)
    lens = Lens(Truth(table, stretch))
    ring = shape(table.beam_mm().mean(axis=0))
    item = Item(
        "piece",
        (mark([ring], width_mm=1.5, colour=(255, 255, 255)),),
        np.eye(3),
    )
    painter = Painter((1280, 720))
    painter.put(painter.paint(lens.frame(item)))
    return painter.rgb(), ring, table


def looked_at(stretch: float, start: np.ndarray) -> Trueness:
    frame, ring, table = thrown(stretch)
    return measure(
        lambda p: table.light(frame, p).sum(axis=1),
        [ring],
        world_from_table=start,
        beam_mm=table.beam_mm(8),
        mm_per_px=1000 / 1280,
    )


def test_true_lines_measure_true() -> None:
    """Lines drawn through the projector's own map are found within a tenth of a pixel."""
    found = looked_at(1.0, np.eye(3))
    assert len(found.errors_mm) > 0.8 * found.asked > 300
    assert found.rms_mm < 0.06
    assert found.max_mm < 0.2


def test_a_rough_start_is_refined() -> None:
    """A start that is a millimetre and a tenth of a degree off ends at the same figure."""
    c, s = np.cos(0.0015), np.sin(0.0015)
    start = np.array([[c, -s, 0.7], [s, c, -0.5], [0, 0, 1.0]])
    found = looked_at(1.0, start)
    assert found.rms_mm < 0.06


def test_a_planted_stretch_is_seen() -> None:
    """Light that is 0.4 % too wide shows as what it is: its sides lie 1 mm off, not less."""
    found = looked_at(1.004, np.eye(3))
    # the sides at ±250 mm fall 1 mm outside; the long level lines do not move
    assert found.max_mm == pytest.approx(1.0, abs=0.15)
    assert 0.3 < found.rms_mm < 0.7


def test_best_rigid_against_a_known_move() -> None:
    """A known turn and move is recovered exactly, and a mirror image is not called rigid."""
    rng = np.random.default_rng(5)
    points = rng.normal(size=(20, 2)) * 300
    c, s = np.cos(0.7), np.sin(0.7)
    move = np.array([[c, -s, 12.0], [s, c, -7.0], [0, 0, 1.0]])
    np.testing.assert_allclose(best_rigid(points, carry(move, points)), move, atol=1e-9)
    mirrored = best_rigid(points, points * [1, -1])
    assert np.linalg.det(mirrored[:2, :2]) == pytest.approx(1.0)
