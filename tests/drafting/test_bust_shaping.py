"""The quick top's bust: spread by what the bust is fuller, with armhole, shoulder and side as they were."""

from __future__ import annotations

import math
import random
from typing import Any

import numpy as np
import pytest
from test_set_in_sleeve import BODY, PLUS, person

from configs.errors import DraftError
from drafting import draft
from drafting.blocks import Draft, joined
from drafting.truing import sewn_length

SHAPED = ("dart", "hem")


def top(kind: str, difference: float | None, body: Any = BODY, **style: Any) -> Draft:
    """A quick top of a body whose bust is so much fuller than its upper chest, cm."""
    upper = None if difference is None else body["bust_girth"] - difference
    m = person(body, upper_chest_girth=upper)
    return draft("quick-top", m, {"opening": "none", "bust_shaping": kind, **style})


def bad(d: Draft) -> list[str]:
    """The checks that fail, but for the head."""
    return [f"{c.name}: {c.text}" for c in d.checks() if not c.ok and "head" not in c.name]


def at_bust(d: Draft, half: str) -> float:
    """A half's width at its bust line by the armhole's foot, mm."""
    edge = d.pieces[half].edges["armhole"]
    return float(edge.points[0, 0])


# FACTS L2 (derived from the cup table of sewing pages): bust over upper chest → spread of each front half, cm.
@pytest.mark.parametrize(("difference", "spread"), [(8, 1.5), (10, 2.5), (12, 3.5), (14, 4.5)])
@pytest.mark.parametrize("body", [BODY, PLUS])
@pytest.mark.parametrize("kind", SHAPED)
def test_the_spread_by_the_difference(kind: str, body: Any, difference: float, spread: float) -> None:  # fmt: skip
    """Of 8, 10, 12 and 14 cm each half is spread by 1.5, 2.5, 3.5 and 4.5, at bust 92.5 and 132; the finished
    bust is what she asked for, the side seam as long as the back's with its dart closed, and all trues."""
    d = top(kind, difference, body)
    assert bad(d) == []
    told = next(s for s in d.steps if s.key == "bust")
    assert f"{spread:.1f} cm" in " ".join(told.sums)
    sides = [sewn_length(d.pieces[h], "side") for h in ("front", "back")]
    assert sides[0] == pytest.approx(sides[1], abs=0.3)
    assert len(d.pieces["front"].darts) == (kind == "dart")


def test_armhole_and_shoulder_are_the_frame_s() -> None:
    """Spread or not, the front's armhole and shoulder are as long as on a top drafted for the chest; so a
    sleeve is drafted for the frame, and the front alone gets longer at its centre."""
    frame = top("none", 8, BODY | {"bust_girth": 89.5})  # 8 over the chest and 5 of it usual
    d = top("dart", 8)
    for edge in ("shoulder", "neckline", "armhole"):
        a, b = (x.pieces["front"].edges[edge].length_mm for x in (frame, d))
        assert a == pytest.approx(b, abs=2.0 if edge == "armhole" else 0.1), (
            edge
        )  # it ends square to the side
    assert d.pieces["back"].edges["armhole"].length_mm == pytest.approx(
        frame.pieces["back"].edges["armhole"].length_mm, abs=0.3
    )
    folds = {h: d.pieces[h].edges["fold"].length_mm for h in ("front", "back")}
    before = {h: frame.pieces[h].edges["fold"].length_mm for h in ("front", "back")}
    assert folds["back"] == pytest.approx(before["back"])
    assert 7.0 < folds["front"] - before["front"] < 30.0


@pytest.mark.parametrize("body", [BODY, PLUS])
def test_the_hem_hangs_level(body: Any) -> None:
    """With the dart sewn the hem is as far below the underarm at the side as on the back, and the centre
    front is longer by what the lower part slid down: measured by folding the dart shut on paper."""
    d, plain = top("dart", 11, body), top("none", 11, body)
    front = d.pieces["front"]
    (dart,) = front.darts
    a, b, tip = (np.array(p) for p in (dart.first, dart.second, dart.tip))
    (u, v), (x, y) = a - tip, b - tip
    angle = math.atan2(u * y - v * x, u * x + v * y)
    assert math.dist(a, tip) == pytest.approx(math.dist(b, tip), abs=0.01)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    side = front.edges["side"].points
    hem_at_side = tip + turn @ (side[0] - tip)  # the lower part turned up to the upper
    down = math.dist(hem_at_side, side[-1])
    back = d.pieces["back"].edges["side"]
    assert down == pytest.approx(math.dist(back.points[0], back.points[-1]), abs=3.0)
    longer = front.edges["fold"].length_mm - plain.pieces["front"].edges["fold"].length_mm
    lower = plain.pieces["front"].edges["hem"].points[-1, 1] - front.edges["hem"].points[-1, 1]
    assert longer == pytest.approx(lower, abs=8.0)


def test_what_is_told() -> None:
    """A bust 8 cm fuller is offered the dart; one of 132 without an upper chest is asked for it; a usual
    bust hears nothing, and one that asks for shaping it does not need gets none and is told so."""
    told = [" ".join(top("none", x, b).notes) for x, b in ((8, BODY), (None, PLUS), (4, BODY))]
    assert "bust_shaping: dart" in told[0] and "Measure upper_chest_girth" in told[1]
    assert "bust_shaping" not in told[2]
    idle = top("dart", 4)
    assert not idle.pieces["front"].darts and "no dart is drawn" in " ".join(idle.notes)
    guessed = top("dart", None, PLUS)
    assert guessed.pieces["front"].darts and "was not measured" in " ".join(guessed.notes)
    assert bad(guessed) == []


def test_her_own_bust_point() -> None:
    """Where she measured it the dart points there: so far out, so far below the side neck point."""
    m = person(BODY, upper_chest_girth=83, bust_point_width=20, side_neck_to_bust_point=28)
    d = draft("quick-top", m, {"opening": "none", "bust_shaping": "dart", "bust_spread": "20 mm"})
    x, y = d.pieces["front"].landmarks["bust point"]
    neck = d.pieces["front"].edges["neckline"].points[0]
    # the point was slid out by the spread, and down with the centre
    fold = d.pieces["front"].edges["fold"].length_mm - top("none", 4).pieces["front"].edges["fold"].length_mm  # fmt: skip
    assert (x, math.hypot(x - 20.0 - neck[0], y + fold - neck[1])) == (
        pytest.approx(120.0, abs=0.1),
        pytest.approx(280.0, abs=0.2),
    )


@pytest.mark.parametrize("kind", SHAPED)
@pytest.mark.parametrize(
    "style",
    [
        {"opening": "front", "neckline_finish": "facing", "armhole_finish": "facing"},
        {"hem": "shirt-tail", "waist": "shaped", "length": "tunic"},
        {"pocket": "chest", "side_opening": "zip"},
        {"length": "crop", "neckline": "scoop", "armhole_finish": "bias"},
    ],
)
def test_it_goes_with_other_styles(kind: str, style: Any) -> None:
    """Facings end above the dart, a zip and a pocket keep clear of it, left and right may differ, and a sleeve
    and a collar go on: all trues."""
    m = person(BODY, upper_chest_girth=81)
    fit = [{"change": "one shoulder lower", "by": "10 mm", "side": "right"}]
    for changes in ((), fit):
        d = draft("quick-top", m, {"opening": "none", "bust_shaping": kind, **style}, changes)
        assert bad(d) == []
        darts = [x for n, p in d.pieces.items() if n.endswith("front") for x in p.darts]
        assert len(darts) == (0 if kind == "hem" else 2 if changes else 1)
    if "armhole_finish" not in style:
        assert bad(joined(d, "set-in-sleeve")) == []
        assert bad(joined(d, "flat-collar")) == []


def test_what_is_refused() -> None:
    """A grown-on sleeve, gathers in front, a top too short, and more than the armhole gives: with why."""
    for style, why in (
        ({"sleeve": "short"}, "grown-on sleeve"),
        ({"gathers": "front"}, "gathers in front"),
        ({"bust_spread": "70 mm"}, "turns the part below the armhole by"),
    ):
        with pytest.raises(DraftError, match=why) as raised:
            top("dart", 11, BODY, **style)
        assert all(f.remedy for f in raised.value.faults)
    assert bad(top("dart", 11, BODY, bust_spread="25 mm")) == []


def test_the_hem_keeps_its_girth_on_any_body() -> None:
    """Where the hips are far narrower than the bust the spread front still has the hem that was asked for."""
    body = BODY | {"bust_girth": 101.5, "waist_girth": 108.4, "hip_girth_at_tailbone": 72.5, "shoulder_length": 11.7}  # fmt: skip
    d = top("dart", 11, body)
    assert bad(d) == []
    hem = 2.0 * sum(d.pieces[h].edges["hem"].length_mm for h in ("front", "back"))
    assert hem == pytest.approx(725.0 + 4 * 25.4, abs=0.3)


def test_random_busts() -> None:
    """Bodies of bust 75 to 150, fuller by 3 to 20 cm: sound, or refused with a reason."""
    rng, drafted = random.Random(5), 0
    for _ in range(30):
        bust = rng.uniform(75, 150)
        body = BODY | {"bust_girth": bust, "waist_girth": bust + rng.uniform(-24, 0), "hip_girth_at_tailbone": bust + rng.uniform(-6, 20), "shoulder_length": rng.uniform(11, 14)}  # fmt: skip
        try:
            d = top(rng.choice(SHAPED), rng.uniform(3, 20), body, waist=rng.choice(["straight", "shaped"]))  # fmt: skip
        except DraftError as error:
            assert all(f.what and f.remedy for f in error.faults)
            continue
        assert bad(d) == [], body
        drafted += 1
    assert drafted >= 15
