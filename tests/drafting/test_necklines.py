"""Necklines: square where they are called square, without a wave, as deep as the body asks.

Smooth over the shoulder within 2°: common practice, no source.
"""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest
from top_bodies import body, centimetres, inches

from drafting import draft
from drafting.blocks import Draft
from drafting.outline import Points

SHAPES = ("round", "scoop", "v", "square", "boat")
PEAR = body(bust_girth=880.0, hip_girth_at_tailbone=1060.0, neck_width=132.0, shoulder_length=120.0)
PLUS = body(bust_girth=1320.0, waist_girth=1240.0, hip_girth_at_tailbone=1400.0, neck_width=152.0)


def line_of(d: Draft, half: str) -> Points:
    """A neckline (N, 2) mm from the neck point to the centre."""
    points = d.pieces[half].edges["neckline"].points
    return points if abs(points[0, 0]) > abs(points[-1, 0]) else points[::-1]


def waves(line: Points, from_mm: float) -> float:
    """Degrees that a line turns the other way than it mostly does, beyond ``from_mm`` of its start."""
    step = np.diff(line, axis=0)
    size = np.hypot(*step.T)
    step, at = step[size > 0.05], np.cumsum(size)[size > 0.05]
    turn = np.degrees(np.diff(np.unwrap(np.arctan2(step[:, 1], step[:, 0]))))
    turn = turn[at[:-1] > from_mm]
    return float(min(turn[turn > 0].sum(), -turn[turn < 0].sum()))


@pytest.mark.parametrize("m", [PEAR, PLUS], ids=["pear", "plus"])
def test_no_neckline_waves(m: Any) -> None:
    """Every pair of shapes, also deep ones and with the neck point moved: beyond the strap (6 cm) a
    line bends one way only, and in the strap it turns the other way by 6° at most, by 12° where front
    and back are both 20 cm deep; it never stands outside the neck point; all seams run on."""
    changes: list[dict[str, Any]] = [
        {}, {"neck_point_out": "4 cm"}, {"neck_point_out": "8 cm"}, {"back_neck_depth": "20 cm"},
        {"front_neck_depth": "20 cm"}, {"front_neck_depth": "20 cm", "back_neck_depth": "20 cm"},
    ]  # fmt: skip
    for front, back in product(SHAPES, SHAPES):
        for change in changes:
            style = {"neckline": front, "back_neckline": back, "opening": "none", **change}
            d = draft("quick-top", m, style)
            for half, shape in (("front", front), ("back", back)):
                line = line_of(d, half)
                if shape != "square":
                    assert waves(line, 60.0) < 0.2, (half, style)
                    assert waves(line, 0.0) < (12.0 if len(change) == 2 else 6.0), (half, style)
                assert line[:, 0].max() < line[0, 0] + 2.5, (half, style)
            assert [
                c.name for c in d.checks() if c.name.endswith("over the shoulder") and not c.ok
            ] == []


@pytest.mark.parametrize("back", SHAPES)
def test_square_is_square(back: str) -> None:
    """Straight down to a corner of 90°, straight across; the sides parallel to the centre line."""
    d = draft("quick-top", inches(), {"neckline": "square", "back_neckline": back})
    line = line_of(d, "front")
    step = np.diff(line, axis=0)
    long_ = step[np.hypot(*step.T) > 25.0]
    angles = np.degrees(np.arctan2(long_[:, 1], long_[:, 0]))
    assert angles[0] == pytest.approx(-90.0, abs=0.5), "down"
    assert abs(angles[-1]) == pytest.approx(180.0, abs=0.1), "across"
    straight = line[
        np.abs(line[:, 0] - line[:, 0].min(where=line[:, 1] > line[-1, 1] + 1, initial=1e9)) < 0.5
    ]
    assert np.ptp(straight[:, 1]) > 60.0
    if back == "round":  # then the front needs no turn at the strap at all
        assert np.ptp(line[line[:, 1] > line[-1, 1] + 1, 0]) < 0.5


def test_depths_go_with_the_body() -> None:
    """A length of 24 in has its bust line 8 in down: scoop 5, V 6, square 4 1/2 below the top line; a
    longer body more, in proportion. The method's round one is 3 in deep on everyone."""
    long_ = body(back_neck_to_tailbone=24 * 25.4 * 1.1)
    for shape, deep in (("scoop", 5.0), ("v", 6.0), ("square", 4.5)):
        style = {"neckline": shape, "opening": "none"}
        assert -line_of(draft("quick-top", inches(), style), "front")[-1, 1] == pytest.approx(
            deep * 25.4, abs=0.1
        )
        assert -line_of(draft("quick-top", long_, style), "front")[-1, 1] == pytest.approx(
            1.1 * deep * 25.4, abs=0.1
        )
    for m in (inches(), long_):
        assert -line_of(draft("quick-top", m), "front")[-1, 1] == pytest.approx(76.2, abs=0.01)


@pytest.mark.parametrize(
    ("shape", "word"), [("v", "deeper"), ("square", "deeper"), ("boat", "wider")]
)
def test_a_finger_saves_a_slit(shape: str, word: str) -> None:
    """Where up to 2.5 cm more at the neck lets the head pass, they are given and told, and no slit is
    marked; half of what is missing is not enough and twice is a slit again; what she chose stays."""
    m = centimetres()
    plain = draft("quick-top", m, {"neckline": shape, "opening": "none"})
    opening = plain.figures["neck opening"]

    def with_head(missing: float) -> Draft:
        values = {k: v / 10 for k, v in m.values.items()}
        head = (opening + missing - 10.0) / 10.0
        return draft(
            "quick-top",
            type(m).from_dict({"unit": "cm", **values, "head_girth": head}),
            {"neckline": shape},
        )

    near = with_head(15.0)
    assert near.figures["slit"] == 0.0 and near.figures["neck opening"] >= opening + 15.0
    assert near.figures["neck opening"] < opening + 25.0, "no more than is needed"
    assert any(word in n and "without a slit" in n for n in near.notes)
    assert with_head(-1.0).figures["neck opening"] == pytest.approx(opening)
    far = with_head(150.0)
    assert far.figures["slit"] > 0.0 and far.figures["neck opening"] == pytest.approx(opening)
    key = "neck_point_out" if shape == "boat" else "front_neck_depth"
    chosen = draft(
        "quick-top", near.measurements, {"neckline": shape, key: plain_value(plain, key)}
    )
    assert chosen.figures["slit"] > 0.0


def plain_value(d: Draft, key: str) -> float:
    """What the option is where it was unset, mm."""
    return 50.0 if key == "neck_point_out" else float(-line_of(d, "front")[-1, 1])
