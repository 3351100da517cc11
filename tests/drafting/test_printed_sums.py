"""Every sum that a step prints is right as printed: worked out again from the text alone."""

from __future__ import annotations

import numpy as np
import pytest
from printed import holds, off_by, printed_sums

from configs.units import MM_PER
from drafting import Measurements, draft


def bodies(count: int, unit: str) -> list[Measurements]:
    """Seeded bodies whose measures are no round numbers."""
    rng = np.random.default_rng(1214)
    out = []
    for _ in range(count):
        bust, waist = rng.uniform(760, 1500), rng.uniform(560, 1300)
        mm = {
            "bust_girth": bust,
            "waist_girth": waist,
            "hip_girth_at_tailbone": bust + rng.uniform(0, 160),
            "neck_width": rng.uniform(120, 170),
            "shoulder_length": rng.uniform(105, 150),
            "back_neck_to_tailbone": rng.uniform(560, 700),
            "hip_girth": waist + rng.uniform(60, 330),
            "waist_to_hip": rng.uniform(180, 230),
        }
        size = float(MM_PER[unit])
        out.append(Measurements.from_dict({"unit": unit} | {k: v / size for k, v in mm.items()}))
    return out


@pytest.mark.parametrize("unit", ["cm", "in", "mm"])
@pytest.mark.parametrize("block", ["quick-top", "straight-skirt"])
def test_every_printed_sum_holds_as_printed(block: str, unit: str) -> None:
    """Sums hold exactly; a quotient is the printed whole divided, to half of the last place."""
    fit = [{"change": "waist", "by": "7 mm"}, {"change": "hem", "by": "13 mm"}]
    style = {"flare": "33 mm"} | ({"length": "657 mm"} if block == "quick-top" else {})
    for i, m in enumerate(bodies(40, unit)):
        sums = printed_sums(draft(block, m, style if i % 2 else {}, fit if i % 3 else []))
        assert len(sums) >= 3
        for text in sums:
            assert holds(text), (text, off_by(text))


def test_the_reader_of_sums_finds_a_wrong_one() -> None:
    """A sum that is off by its last place is seen, in each unit; × and ÷ bind first."""
    assert off_by("hip 25.5 cm - 0.8 cm = 24.8 cm")[0] == pytest.approx(1.0)
    assert off_by("hip 40 1/2 in ÷ 4 = 10 3/16 in")[0] == pytest.approx(25.4 / 16)
    assert off_by("9 in + 1/2 in = 9 1/2 in")[0] < 1e-9
    assert off_by("bust 23.1 cm + ease 10.0 cm ÷ 4 = 25.6 cm")[0] < 1e-9
    assert off_by("(hip 50.0 cm - 2.0 cm) ÷ 2 = 24.0 cm")[0] < 1e-9
    assert off_by("a third 20.33 cm × 2 = 40.7 cm")[0] == pytest.approx(0.4)
