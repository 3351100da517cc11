"""Every sum that a step prints is right as printed: added up again from the text alone."""

from __future__ import annotations

import re
from fractions import Fraction

import numpy as np
import pytest

from configs.units import MM_PER, parse_length
from drafting import Measurements, draft
from drafting.blocks import Draft

LENGTH = r"-?\d+(?:\.\d+)?(?: \d+/\d+)?(?:/\d+)? (?:mm|cm|in)"
STEP_MM = {"cm": 1.0, "in": 25.4 / 16.0, "mm": 0.1}


def printed_sums(d: Draft) -> list[str]:
    """The sums with an operation in them, of all steps."""
    return [s for step in d.steps for s in step.sums if re.search(r"[+÷×] | - ", s) and "=" in s]


def off_by(text: str) -> tuple[float, str, bool]:
    """How far (mm) a printed sum is from its result, the unit, and whether it divides."""
    left, right = text.split("=")
    (result,) = re.findall(LENGTH, right)
    first, *rest = re.findall(rf"({LENGTH})|(÷ \d+)|([+-] (?={LENGTH}))", left)
    value, sign = Fraction(parse_length(first[0], signed=True)), 1
    for length, parts, operation in rest:
        if parts:
            value /= int(parts[1:])
        elif operation:
            sign = 1 if operation[0] == "+" else -1
        else:
            value += sign * Fraction(parse_length(length))
    unit = result.rsplit(" ", 1)[1]
    return float(abs(value - Fraction(parse_length(result, signed=True)))), unit, "÷" in left


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
    for m in bodies(40, unit):
        sums = printed_sums(draft(block, m))
        assert len(sums) >= 3
        for text in sums:
            off, told, divided = off_by(text)
            assert off <= (0.5 * STEP_MM[told] if divided else 0.0) + 1e-6, text


def test_the_reader_of_sums_finds_a_wrong_one() -> None:
    """A sum that is off by its last place is seen, in each unit."""
    assert off_by("25.5 cm - 0.8 cm = 24.8 cm")[0] == pytest.approx(1.0)
    assert off_by("hip 40 1/2 in ÷ 4 = 10 3/16 in")[0] == pytest.approx(25.4 / 16)
    assert off_by("9 in + 1/2 in = 9 1/2 in")[0] < 1e-9
