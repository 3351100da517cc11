"""The judge sees: every kind of planted fault is found, and a sound lay passes."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from judge import cut_up, judge
from shapely.geometry import Polygon
from shapely.ops import unary_union

from drafting.piece import Piece
from drafting.placement import cloth_from_piece

SQUARE = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 200.0], [0.0, 200.0]])


@dataclasses.dataclass
class Put:
    """A placement as the judge reads it."""

    piece: str
    copy: int
    turn: float
    mirrored: bool
    cloth_from_piece: Any
    outline_mm: Any


def put(
    name: str, copy: int, at: tuple[float, float], turn: float = 0.0, mirrored: bool = False
) -> Put:
    """A square of 100 × 200 mm laid."""
    m = cloth_from_piece(at, turn, mirrored)
    ring = SQUARE @ m[:2, :2].T + m[:2, 2]
    return Put(name, copy, turn, mirrored, m, ring[::-1] if mirrored else ring)


def good() -> list[Put]:
    """Two squares side by side on cloth 300 wide."""
    return [put("a", 1, (0.0, 100.0)), put("a", 2, (205.0, 100.0))]


def test_a_sound_lay_passes() -> None:
    """No fault where there is none."""
    assert (
        judge(
            good(),
            width=300,
            length=500,
            distance=5,
            turns={"a": [0]},
            shapes={"a": SQUARE},
            wanted={"a": 2},
        )
        == []
    )


def test_touching_is_no_overlap_but_a_twentieth_of_a_millimetre_is() -> None:
    """Pieces may share a line; 0.05 mm deep is seen, 0.01 mm is rounding."""
    assert judge([put("a", 1, (0, 100)), put("a", 2, (200.0, 100))], width=300) == []
    assert judge([put("a", 1, (0, 100)), put("a", 2, (199.95, 100))], width=300)
    assert judge([put("a", 1, (0, 100)), put("a", 2, (199.99, 100))], width=300) == []


@pytest.mark.parametrize(
    ("laid", "how", "word"),
    [
        (good(), {"distance": 5.1}, "apart"),
        ([put("a", 1, (0, 99.9))], {}, "outside"),
        ([put("a", 1, (0, 100.1))], {"fold": True, "on_fold": ["a"]}, "fold"),
        ([put("a", 1, (0, 100))], {"holes": [[(50, 50), (60, 50), (55, 60)]]}, "outside"),
        ([put("a", 1, (200, 0), 180.0)], {"turns": {"a": [0]}}, "not allowed"),
        ([put("a", 1, (50, 110), 0.05)], {"turns": {"a": [0]}}, "not allowed"),
        (good(), {"wanted": {"a": 3}}, "wanted"),
        ([put("a", 1, (0, 100)), put("a", 1, (300, 100))], {"wanted": {"a": 2}}, "twice"),
        (good(), {"phases": [("a", (0, 0))], "repeat": (100.0, 0.0)}, "phase"),
        ([put("a", 1, (0, 100))], {"shapes": {"a": SQUARE * 1.01}}, "not the piece"),
        ([put("a", 1, (0, 100))], {"scale": (1.0, 1.03), "shapes": {"a": SQUARE}}, "scaled"),
    ],
)
def test_planted_faults_are_seen(laid: list[Put], how: dict[str, Any], word: str) -> None:
    """Each planted fault is named."""
    found = judge(laid, width=300, **how)
    assert any(word in text for text in found), found


def test_a_lie_about_the_turn_is_seen() -> None:
    """The matrix counts, not what the placement says about itself."""
    told = dataclasses.replace(put("a", 1, (0, 100)), turn=180.0)
    assert any("says turn" in t for t in judge([told], width=300))
    told = dataclasses.replace(put("a", 1, (0, 100)), mirrored=True)
    assert any("says mirrored" in t for t in judge([told], width=300))


def test_cut_up_cloth_fits_itself() -> None:
    """The known-optimum cases really make up the whole cloth, without overlap."""
    for seed in range(5):
        parts = cut_up(np.random.default_rng(seed), 900.0, 700.0, 12)
        shapes = [Polygon(p) for p in parts]
        assert math.isclose(unary_union(shapes).area, 900 * 700, rel_tol=1e-9)
        assert math.isclose(sum(s.area for s in shapes), 900 * 700, rel_tol=1e-9)
        for i, p in enumerate(parts):
            Piece.from_outline(str(i), p)
