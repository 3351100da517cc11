"""The drawing sheet: amounts that know their sum, and steps that are read off what was done."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from printed import holds, worked_out
from top_bodies import centimetres, inches

from configs.errors import DraftError
from configs.units import format_length
from drafting.curves import line
from drafting.fit import parse_fit
from drafting.sheet import Amount, Sheet, found, least, most, number, read_steps, sources_of
from drafting.sheet.amount import MEASURE, told


def measure(mm: float, name: str = "hip") -> Amount:
    """A measure of the body."""
    return Amount(mm, MEASURE, name, (), frozenset((name,)))


def test_sums_by_hand() -> None:
    """A quotient, a sum that must round one part up, brackets, a share: worked out by hand."""
    hip = measure(925.0)
    assert (hip / 4).sum_text("cm") == "hip 92.5 cm ÷ 4 = 23.1 cm"
    assert ((hip + number(101.6, "ease")) / 4).sum_text(
        "cm"
    ) == "(hip 92.5 cm + ease 10.2 cm) ÷ 4 = 25.7 cm"
    # 231.4 + 25.3 = 256.7: rounded apart it would read 23.1 + 2.5 = 25.7; the measure stays
    assert (measure(231.4, "a") + number(25.3, "b")).sum_text(
        "cm"
    ) == "a 23.1 cm + b 2.6 cm = 25.7 cm"
    assert (2 / 3 * measure(600.0, "length")).sum_text("cm") == "2/3 × length 60.0 cm = 40.0 cm"
    assert (measure(24 * 25.4, "length") / 3).sum_text("in") == "length 24 in ÷ 3 = 8 in"
    assert (hip - number(0.0)).sum_text("cm") == "", "nothing was taken off: there is no sum"


def test_an_amount_is_a_number() -> None:
    """It compares, converts and travels to other processes as the plain number that it is."""
    hip = measure(925.0)
    total = hip / 4 + 10
    assert total == pytest.approx(241.25) and math.isclose(math.sqrt(total), 241.25**0.5)
    assert np.array([hip, total]).dtype == np.float64
    assert type(pickle.loads(pickle.dumps(total))) is float
    assert sources_of(most(hip, measure(800.0, "waist"))) == {"hip", "waist"}
    assert least(hip, measure(800.0, "waist")) == 800.0
    assert sources_of(found(3.0, "solved", [hip], {"x": total})) == {"hip"}


def test_a_name_is_explained_before_it_is_used() -> None:
    """What a sum calls by a name is told once, before it."""
    half = (measure(926.0) / 2).named("half the hip")
    known: set[str] = set()
    assert told([half - 15.0], "cm", known) == [
        "half the hip: hip 92.6 cm ÷ 2 = 46.3 cm",
        "half the hip 46.3 cm - 1.5 cm = 44.8 cm",
    ]
    assert told([half + 15.0], "cm", known) == ["half the hip 46.3 cm + 1.5 cm = 47.8 cm"]


LENGTHS = st.floats(3.0, 1500.0)


@settings(max_examples=150, deadline=None)
@given(st.lists(LENGTHS, min_size=2, max_size=5), st.lists(st.booleans(), min_size=5, max_size=5),
       st.integers(1, 7), st.sampled_from(["cm", "in", "mm"]))  # fmt: skip
def test_any_printed_sum_holds(parts: list[float], signs: list[bool], by: int, unit: str) -> None:
    """Of any parts, in each unit: sums to the last place, quotients to half of it; the whole is
    what the length itself is printed as, and no part is off by more than its rounding."""
    total: Amount = measure(parts[0], "a")
    for mm, plus in zip(parts[1:], signs, strict=False):
        total = total + number(mm, "b") if plus else total - number(mm, "b")
    for amount in (total, total / by, total / by + measure(parts[0], "c")):
        text = amount.sum_text(unit)
        if not text:  # all else was nil: one part is left, and no sum
            continue
        assert text.endswith(f"= {format_length(float(amount), unit)}")
        assert holds(text) or worked_out(text.split(" = ")[0]) == 0, text


def a_sheet() -> Sheet:
    """Two steps on the body of the worked example."""
    s = Sheet(
        inches(), {"flare": 20.0, "neckline": "v"}, parse_fit([{"change": "bust", "by": 8.0}])
    )
    with s.step("frame", "Frame"):
        s.frame(
            s.m["back_neck_to_tailbone"], 300.0, top_line=0.0, hem_line=s.m["back_neck_to_tailbone"]
        )
    with s.step("bust", "Bust", "front", "Done."):
        s.point("bust", on="top line", out=s.m["bust_girth"] / 4)
        s.move("bust", out=s.style["flare"] / 4, up=-number(25.4), to="eased bust")
        s.join("a line", "bust", "eased bust")
        s.draw("side", [line(s.spots["bust"], s.spots["eased bust"])], "straight")
    return s


def test_steps_are_read_off_what_was_done() -> None:
    """Sentence, sums, points, what they are measured from, and lines of two steps, by hand."""
    frame, step = read_steps(a_sheet().steps, "in")
    assert frame.text == (
        "Draw the centre line along the paper's edge and, square to it, the top line and the hem "
        "line 24 in below it."
    )
    assert step.text == (
        "On the top line mark the bust 9 in from the centre. Move the bust out by 3/16 in and down "
        "by 1 in. Join the bust and the eased bust: the a line. Draw the side straight. Done."
    )
    assert step.sums == (
        "bust girth 36 in ÷ 4 = 9 in",
        "bust 9 in + flare 13/16 in ÷ 4 = 9 3/16 in",
    )
    assert step.points["eased bust"] == pytest.approx((36 * 25.4 / 4 + 5.0, -25.4))
    assert step.origins["eased bust"] == ("bust", step.points["bust"], True)
    assert list(step.lines) == ["a line"] and list(step.curves) == ["side"]


def test_a_spot_knows_what_it_hangs_on() -> None:
    """Through marks, moves and fit changes; choices too."""
    s = a_sheet()
    assert sources_of(s.spots["eased bust"]) == {"bust_girth", "style.flare"}
    assert s.fitted("bust") == 8.0 and sources_of(s.fitted("bust")) == {"fit.bust"}
    assert sources_of(s.fit[0].by_mm, s.style["neckline"]) == {"fit.bust", "style.neckline"}


def test_faults_are_told_together() -> None:
    """All that was noted before `stop`, in one error; nothing is refused without a fault."""
    s = Sheet(centimetres(), {})
    s.stop()
    s.fault(True, "a", "is wrong.")
    s.fault(False, "b", "is right.")
    s.fault(True, "c", "is wrong too.", "Change it.")
    with pytest.raises(DraftError) as caught:
        s.stop()
    assert [f.where for f in caught.value.faults] == ["a", "c"]


def test_what_is_drawn_outside_a_step_is_no_news() -> None:
    """A point set outside a step can be used, and no step shows it; empty steps are left out."""
    s = a_sheet()
    before = len(s.steps)
    s.point("quiet", on="top line", out=10.0)
    with s.step("empty", "Nothing"):
        pass
    assert len(s.steps) == before and s.spots["quiet"].x == 10.0
