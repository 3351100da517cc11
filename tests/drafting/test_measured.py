"""Girths and openings after the changes are measured on the changed pieces, against hand-made sums."""

from __future__ import annotations

from typing import Any

import pytest
from shaping_pieces import BODIES, body

from configs.reader import Reader
from drafting import draft
from drafting.blocks import Draft
from drafting.shaping.changes import read_changes
from drafting.shaping.garment import changed
from drafting.truing import Check

TOP = {"opening": "slit", "neckline": "scoop"}


def after(block: str, style: dict[str, Any], *entries: dict[str, Any], who: str = "straight") -> tuple[Draft, Draft]:  # fmt: skip
    """A draft before and after some changes, lengths in cm."""
    reader = Reader({"changes": list(entries)}, unit="cm")
    made = read_changes(reader)
    reader.done()
    before = draft(block, body(who), style)
    return before, changed(before, made, "cm")[0]


def finished(d: Draft) -> dict[str, float]:
    """Girths by name, mm."""
    return {g.name: g.finished_mm for g in d.girths}


def check(d: Draft, name: str) -> Check:
    """The check of that name."""
    return next(c for c in d.checks() if c.name == name)


STRIPS = {"spread": "front", "from": "neckline 1/2", "to": "hem 1/2", "by": 3}


@pytest.mark.parametrize("who", sorted(BODIES))
def test_what_slides_apart_is_wider_by_as_much_all_down(who: str) -> None:
    """The half front opened by 3 cm from neck to hem: 6 cm more at bust, waist and hem."""
    before, now = after("quick-top", TOP, STRIPS, who=who)
    for name, mm in finished(before).items():
        assert finished(now)[name] - mm == pytest.approx(60.0, abs=0.6), name
    assert all(c.ok and "before the changes" not in c.name for c in now.checks())


def test_the_same_cloth_in_more_pieces_is_as_wide() -> None:
    """Cut into a yoke, into panels, opened out or given a centre seam: every girth is what it was."""
    for entries in (
        [{"cut": "front", "level": "side at armhole", "seam": "yoke seam"}],
        [{"cut": "front", "from": "hem 1/2", "to": "shoulder 1/2", "seam": "princess"}],
        [{"unfold": "front"}],
        [{"seam at fold": "back"}, {"part": "back"}],
        [{"seam at fold": "front"}, {"strip": "front", "edge": "centre front", "width": 3}],
    ):
        before, now = after("quick-top", TOP, *entries)
        if "strip" in entries[-1]:  # a seam that is sewn as far out as the strip is wide
            assert finished(now)["bust girth"] - finished(before)["bust girth"] == pytest.approx(
                60.0
            )
            continue
        assert now.girths == before.girths, entries
        assert {c.name for c in now.extra_checks} >= {c.name for c in before.extra_checks}


def test_the_neck_is_measured_again_for_the_head() -> None:
    """A neckline wider by 3 cm on the half lets a head pass that did not by 6 cm; a smaller one is told."""
    style = {"opening": "none", "neckline": "round"}
    head = {"head_girth": 570}
    from drafting import Measurements

    measured = Measurements.from_dict({"unit": "mm", **BODIES["straight"], **head})
    before = draft("quick-top", measured, style)
    opening = before.figures["neck opening"]
    reader = Reader({"changes": [STRIPS]}, unit="cm")
    now, _ = changed(before, read_changes(reader), "cm")
    short = 580.0 - opening
    assert check(before, "the head passes").value_mm == pytest.approx(short, abs=0.1)
    grown = now.pieces["front"].edges["neckline"].length_mm
    grown -= before.pieces["front"].edges["neckline"].length_mm
    assert check(now, "the head passes").value_mm == pytest.approx(short - 2 * grown, abs=0.1)
    assert 15.0 < grown <= 30.1  # the slope of the neckline, trued, takes some of the 3 cm


def test_what_is_gathered_in_does_not_count() -> None:
    """A neckline spread and gathered into a band is as long as it was; the hem below is not."""
    entry = {"spread": "front", "from": "neckline", "to": "hem", "lines": 4, "ratio": 1.4, "as": "gathers"}  # fmt: skip
    band = {"band": "front", "edge": "neckline", "width": 3}
    before, now = after("quick-top", TOP, band, entry)
    assert check(now, "the head passes").text == check(before, "the head passes").text
    assert finished(now)["hem girth"] > finished(before)["hem girth"] + 60.0


def test_an_a_line_is_wider_at_the_hip_and_not_at_the_waist() -> None:
    """A dart closed into the hem widens the hip line by its angle times the way down from its tip; the
    waist in its band is what it was, and the hip still passes the zip."""
    flare = {"pivot": "front", "from": "dart 1", "to": "hem 1/2", "as": "flare"}
    before, now = after("straight-skirt", {"slit": "none"}, flare, who="pear")
    assert finished(now)["waist girth"] == pytest.approx(finished(before)["waist girth"], abs=0.1)
    dart = before.pieces["front"].darts[0]
    tip = dart.tip
    angle = 17.75 / 100.0  # its width over its length: 17.7 mm on 99, by hand
    hip_below_tip = 206.0 + tip[1]
    gained = finished(now)["hip girth"] - finished(before)["hip girth"]
    assert gained == pytest.approx(2.0 * angle * hip_below_tip, rel=0.05)
    assert all("before the changes" not in c.name for c in now.checks())


def test_what_gets_too_narrow_is_told() -> None:
    """Taken in by 4 cm on the half front a top no longer lets the body pass, and says by how much."""
    taken = {**STRIPS, "by": -4}
    before, now = after("quick-top", {**TOP, "bust_ease": 60}, taken)
    assert check(before, "the body passes").ok
    passes = check(now, "the body passes")
    assert not passes.ok
    bust = finished(now)["bust girth"]
    assert bust == pytest.approx(finished(before)["bust girth"] - 80.0, abs=0.5)
    assert passes.value_mm == pytest.approx(940.0 + 20.0 - bust, abs=0.5)
    assert not check(now, "finished bust girth").ok


def test_what_cannot_be_measured_any_more_says_so() -> None:
    """A front and a back without a shoulder seam: that check alone holds for the draft before."""
    yoke = [
        {"cut": "front", "level": "6 below shoulder at neckline", "into": ["a front", "front"], "seam": "s"},
        {"cut": "back", "level": "10 below shoulder at neckline", "into": ["a back", "back"], "seam": "t"},
        {"join": ["a front", "a back"], "edge": "shoulder", "as": "yoke"},
    ]  # fmt: skip
    _, now = after("quick-top", TOP, *yoke)
    told = [c.name for c in now.checks() if "before the changes" in c.name]
    assert told == ["shoulder seam longer than measured, before the changes"]


def test_no_line_of_the_measuring_is_left_on_the_cloth() -> None:
    """The lines that are laid on the pieces to be measured again are gone from the garment."""
    _, now = after("quick-top", TOP, STRIPS)
    assert all(m.name.isprintable() for p in now.pieces.values() for m in p.marks)
    assert all(n.match.isprintable() for p in now.pieces.values() for n in p.notches)
