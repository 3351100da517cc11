"""The elbow dart: the lower arm turned forward about the front seam, both seams as long as before."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from test_set_in_sleeve import BODY, PLUS, bad, person, sleeved

from configs.errors import DraftError
from drafting.truing import sewn_length


@pytest.mark.parametrize("body", [BODY, PLUS])
@pytest.mark.parametrize("style", [{"length": "long"}, {"length": "long", "finish": "cuff"}, {"length": "three-quarter"}])  # fmt: skip
def test_both_underarms_keep_their_lengths(body: Any, style: Any) -> None:
    """On two bodies and in three styles the seams are as long as without it, the dart closed, and all trues;
    the dart is as wide as asked, and the hem lies forward by its angle."""
    plain = sleeved(person(body), style)
    d = sleeved(person(body), {**style, "elbow": "dart", "elbow_dart": "24 mm"})
    assert not bad(d)
    a, b = plain.pieces["sleeve"], d.pieces["sleeve"]
    for edge in ("front underarm", "back underarm"):
        assert sewn_length(b, edge) == pytest.approx(a.edges[edge].length_mm, abs=0.1)
    (dart,) = b.darts
    assert math.dist(dart.first, dart.second) == pytest.approx(24.0, abs=0.05)
    assert dart.legs_mm[0] == pytest.approx(dart.legs_mm[1], abs=0.01)
    ends = [p.edges["front underarm"].points[0] for p in (a, b)]
    assert ends[1][0] - ends[0][0] > 5.0
    same = {n.match: n.at_mm for n in b.notches if n.edge == "back underarm" and "the elbow" in n.match}  # fmt: skip
    low, high = same["below the elbow"], same["above the elbow"]
    # 5 cm above and below the elbow on both seams, with the dart between them behind
    assert abs(low - high) == pytest.approx(100.0 + 24.0 + _roof(b), abs=2.5)


def _roof(piece: Any) -> float:
    """How much longer the roof's outline is than the dart is wide, mm."""
    (dart,) = piece.darts
    points = piece.edges["back underarm"].points
    i = [int(np.argmin(np.hypot(*(points - p).T))) for p in (dart.first, dart.second)]
    run = points[min(i) : max(i) + 1]
    return float(np.hypot(*np.diff(run, axis=0).T).sum()) - math.dist(dart.first, dart.second)


def test_left_and_right_bend_forward() -> None:
    """Where the armholes differ the left sleeve is the right one's mirror image, dart and all."""
    fit = [{"change": "one shoulder lower", "by": "12 mm", "side": "left"}]
    d = sleeved(person(BODY), {"length": "long", "elbow": "dart"}, top_fit=fit)
    assert not bad(d)
    left, right = d.pieces["left sleeve"], d.pieces["right sleeve"]
    assert left.darts[0].tip[0] > 0.0 > right.darts[0].tip[0]
    assert left.sewing_line[:, 0].min() < -0.9 * right.sewing_line[:, 0].max() < 0.0


def test_what_is_refused() -> None:
    """No elbow measured, or less than 10 cm below the elbow (half of it; twice goes): each
    with what to do."""
    for style, more in (
        ({"length": "50 cm"}, {"shoulder_to_elbow": None, "arm_length": None}),
        ({"length": "38 cm"}, {}),
    ):
        with pytest.raises(DraftError) as raised:
            sleeved(person(BODY, **more), {**style, "elbow": "dart"})
        assert all(f.where == "style.elbow" and f.remedy for f in raised.value.faults)
    assert not bad(sleeved(person(BODY), {"length": "53 cm", "elbow": "dart"}))
    full = sleeved(person(BODY), {"length": "long", "shape": "bishop", "finish": "cuff", "elbow": "dart"})  # fmt: skip
    assert not full.pieces["sleeve"].darts and any("style.elbow changes nothing" in n for n in full.notes)  # fmt: skip
