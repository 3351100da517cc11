"""Lengths as people write them."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from configs.errors import InputError
from configs.units import format_length, inches_text, length_text, parse_length


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("21 1/2 in", None, 546.1),
        ('21.5"', None, 546.1),
        ("54,6 cm", None, 546.0),
        ("546 mm", None, 546.0),
        ("36 1/4", "in", 920.75),
        ("21½ in", None, 546.1),
        ("1/2 in", None, 12.7),
        ("5 ft 3 in", None, 1600.2),
        ("5'3\"", None, 1600.2),
        ("21-1/2 in", None, 546.1),
        ("3.5 yd", None, 3200.4),
        ("2 m", None, 2000.0),
        (92, "cm", 920.0),
        (54.6, "cm", 546.0),
        (0.1, "cm", 1.0),
        (np.float64(54.6), "cm", 546.0),
        (np.int64(92), "cm", 920.0),
        (" 546  mm ", None, 546.0),
    ],
)
def test_lengths_read_exactly(text: object, unit: str | None, mm: float) -> None:
    """What a person writes becomes exactly that many mm (1 in = 25.4 mm, 1959 agreement)."""
    assert parse_length(text, unit) == mm


@pytest.mark.parametrize(
    "text",
    [
        "", "abc", "12", "12 furlong", "-3 cm", "1/0 in", "21.5 1/2 in", "3 in 5 ft", "12 cm 3",
        "1,234.5 mm", None, True, float("nan"), float("inf"), ["5 cm"], "5 cm 4 mm x",
    ],
)  # fmt: skip
def test_nonsense_is_refused_with_its_place(text: object) -> None:
    """Nonsense names the place it stands in and never becomes a number."""
    with pytest.raises(InputError, match=r"allowances\.hem"):
        parse_length(text, None, "allowances.hem")


def test_nothing_with_a_minus_is_nothing() -> None:
    """-0 in any unit is 0, so that no file says '-0 mm'."""
    for unit in ("mm", "cm", "in"):
        assert str(parse_length(-0.0, unit)) == "0.0"


def test_minus_only_where_it_means_something() -> None:
    """A change may be negative, a length may not."""
    assert parse_length("-6 mm", signed=True) == -6.0
    assert parse_length("−1/2 in", signed=True) == -12.7
    with pytest.raises(InputError):
        parse_length("-6 mm")


@given(st.integers(0, 80), st.integers(0, 15))
def test_sixteenths_survive_a_round_trip(whole: int, sixteenths: int) -> None:
    """Inches to a sixteenth, written and read again, are the same length."""
    mm = float((Fraction(whole) + Fraction(sixteenths, 16)) * Fraction(254, 10))
    assert parse_length(format_length(mm, "in")) == pytest.approx(mm, abs=1e-12)


def test_texts_for_people() -> None:
    """Fractions in lowest terms, centimetres to the millimetre."""
    assert format_length(292.1, "in") == "11 1/2 in"
    assert format_length(292.1, "cm") == "29.2 cm"
    assert format_length(292.0, "mm") == "292 mm"
    assert inches_text(-0.375) == "-3/8"
    assert inches_text(0) == "0"


@pytest.mark.parametrize("unit", ["mm", "cm", "in"])
def test_nothing_has_no_minus_sign(unit: str) -> None:
    """A length that rounds to nothing is 0 in every unit, whichever side it came from."""
    for mm in (-0.0, -1e-9, -0.001, -0.049):
        assert format_length(mm, unit) == format_length(0.0, unit)
    assert format_length(-6.35, unit).startswith("-")


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (6.0, None, "6 mm"), (6.35, None, "6.3 mm"), (99.9, None, "99.9 mm"), (99.96, None, "10 cm"),
        (140.0, None, "14 cm"), (546.1, None, "54.6 cm"), (-12.0, None, "-12 mm"),
        (6.35, "in", "1/4 in"), (140.0, "cm", "14.0 cm"), (140.0, "mm", "140 mm"),
    ],
)  # fmt: skip
def test_one_rule_for_lengths_that_are_told(mm: float, unit: str | None, text: str) -> None:
    """In the file's unit; without one below 100 mm in mm, others in cm."""
    assert length_text(mm, unit) == text
