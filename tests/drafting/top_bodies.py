"""Bodies for the tests of the quick top; lengths mm, invented unless a source is named."""

from __future__ import annotations

from drafting import Measurements

INCH = 25.4

# In inches, round numbers, so that every point of the draft can be worked out by hand.
BY_HAND_IN = {
    "bust_girth": 36,
    "waist_girth": 30,
    "hip_girth_at_tailbone": 42,
    "neck_width": "5 1/2",
    "shoulder_length": 5,
    "back_neck_to_tailbone": 24,
}
BY_HAND_CM = {
    "bust_girth": 100,
    "waist_girth": 84,
    "hip_girth_at_tailbone": 108,
    "neck_width": 14,
    "shoulder_length": 13,
    "back_neck_to_tailbone": 63,
}

# ASTM D5585-11e1, Table 1, misses: size → bust, straight waist, head girth, neck base, in cm
# (inch values from the publisher's page, cm by arithmetic).
ASTM_CM = {
    4: (86.7, 70.2, 54.6, 35.6),
    8: (92.1, 74.9, 55.2, 37.1),
    12: (98.4, 81.9, 55.9, 38.4),
    16: (107.0, 91.4, 56.5, 40.0),
}


def inches() -> Measurements:
    """The body of the worked example in inches."""
    return Measurements.from_dict({"unit": "in", "measurements": BY_HAND_IN})


def centimetres() -> Measurements:
    """The body of the second worked example."""
    return Measurements.from_dict({"unit": "cm", "measurements": BY_HAND_CM})


def body(**mm: float) -> Measurements:
    """The worked example's body with some measurements changed, mm."""
    values = {
        "bust_girth": 36 * INCH,
        "waist_girth": 30 * INCH,
        "hip_girth_at_tailbone": 42 * INCH,
        "neck_width": 5.5 * INCH,
        "shoulder_length": 5 * INCH,
        "back_neck_to_tailbone": 24 * INCH,
    }
    return Measurements.from_dict({"unit": "mm", "measurements": {**values, **mm}})
