"""What cannot be worn or finished is told: girths that pass nobody, pockets on edges, slits unfaced.

Limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
import shapely
from top_bodies import body

from configs.errors import DraftError
from drafting import Measurements, draft
from drafting.blocks import Draft
from drafting.truing import Check

# Bust, waist, girth at the tailbone, neck, shoulder, length, cm: small to plus, one with a small
# and one with a wide shoulder; invented.
BODIES = [
    (76, 60, 86, 12.6, 11.6, 56), (84, 66, 92, 13.2, 12, 58), (88, 72, 98, 13.8, 12.2, 61),
    (92, 76, 104, 14, 12.4, 60), (96, 80, 104, 14, 13.6, 62), (100, 84, 108, 14, 13, 63),
    (104, 92, 112, 14.4, 12.6, 60), (110, 96, 118, 14.6, 13, 64), (116, 104, 124, 15, 13.2, 62),
    (122, 110, 130, 15, 13.4, 60), (128, 116, 136, 15.2, 13.4, 62), (136, 126, 144, 15.4, 13.6, 61),
    (146, 138, 150, 15.8, 13.8, 62),
]  # fmt: skip


def wearer(row: tuple[float, ...], **more: float) -> Measurements:
    """One of the bodies."""
    keys = ("bust_girth", "waist_girth", "hip_girth_at_tailbone", "neck_width")
    keys += ("shoulder_length", "back_neck_to_tailbone")
    return Measurements.from_dict({"unit": "cm", **dict(zip(keys, row, strict=True)), **more})


def check(d: Draft, name: str) -> Check:
    """The check of that name."""
    (found,) = (c for c in d.checks() if c.name == name)
    return found


def failing(d: Draft) -> list[str]:
    """The names of the checks that fail."""
    return [c.name for c in d.checks() if not c.ok]


def least_gap(d: Draft) -> float:
    """Distance from the pocket's place, with all that it covers, to armhole, neckline and hem, mm."""
    front = d.pieces["front"]
    places = [shapely.Polygon(m.points) for m in front.marks if m.name == "pocket"]
    far = [
        e.points for n, e in front.edges.items() if n.split()[-1] in ("armhole", "neckline", "hem")
    ]
    return min(p.distance(shapely.LineString(e)) for p in places for e in far)


@pytest.mark.parametrize("row", BODIES, ids=lambda r: str(r[0]))
@pytest.mark.parametrize(
    "style",
    [
        {"pocket": "chest"},
        {"pocket": "hip", "hem": "shirt-tail"},
        {"pocket": "hip", "length": "waist"},
    ],
)
def test_pockets_keep_off_armhole_and_hem(row: tuple[float, ...], style: dict[str, Any]) -> None:
    """On every body the pocket's place lies 3 cm off armhole, neckline and hem, inside the front."""
    d = draft("quick-top", wearer(row), style)
    assert least_gap(d) >= 30.0 - 1e-3
    assert failing(d) == []
    place = next(m for m in d.pieces["front"].marks if m.name == "pocket")
    assert shapely.Polygon(d.pieces["front"].sewing_line).contains(shapely.Polygon(place.points))


def test_a_pocket_that_was_asked_for_is_moved_or_refused() -> None:
    """22 × 26 cm has no place on a small front: refused by its key; where it has one, it is kept."""
    asked = {"pocket": "chest", "pocket_width": 220, "pocket_depth": 260}
    with pytest.raises(DraftError, match="pocket_width"):
        draft("quick-top", wearer(BODIES[0]), asked)
    wide = draft("quick-top", wearer(BODIES[-1]), asked)
    assert np.ptp(wide.pieces["pocket"].sewing_line, axis=0) == pytest.approx([220.0, 260.0])
    assert least_gap(wide) >= 30.0 - 1e-3


def test_a_pocket_too_near_an_edge_fails_its_check() -> None:
    """The check measures the piece: a place moved to half the distance fails, at twice it holds."""
    from dataclasses import replace

    from drafting.sheet.finishing import check_pocket

    front = draft("quick-top", wearer(BODIES[3]), {"pocket": "hip"}).pieces["front"]
    low = min(float(m.points[:, 1].min()) for m in front.marks if m.name == "pocket")
    hem = float(front.edges["hem"].points[0, 1])
    for gap, ok in ((15.0, False), (60.0, True)):
        marks = tuple(
            replace(m, points=m.points + np.array([-20.0, hem + gap - low])) for m in front.marks
        )
        assert check_pocket(front.with_(marks=marks), "cm").ok is ok


def test_a_shaped_waist_lets_the_bust_pass() -> None:
    """Bust 96.5, waist shaped to less: an opening in the left side seam is marked and told; without
    one the check fails, names the girth and what helps."""
    m = wearer((96.5, 72, 100, 14, 12.4, 60))
    shut = draft("quick-top", m, {"waist": "shaped", "side_opening": "none"})
    told = check(shut, "the body passes")
    assert not told.ok and "bust 96.5 cm" in told.text and "side_opening" in told.text
    d = draft("quick-top", m, {"waist": "shaped"})
    assert failing(d) == []
    assert d.figures["side opening"] >= 120.0
    assert any("left side seam" in n for n in d.notes)
    for half in ("front", "back"):
        assert [n.match for n in d.pieces[half].notches if n.match == "opening"]
        assert any(k.name.startswith("left side opening") for k in d.pieces[half].marks)


def test_a_hem_lets_bust_and_hip_pass() -> None:
    """A finished hem of 106 under a bust of 112 fails; at bust and 2 cm it passes; a hip too."""
    m = wearer((112, 96, 100, 14.6, 12.8, 62))
    none: dict[str, Any] = {"side_opening": "none"}
    assert "the body passes" in failing(draft("quick-top", m, {"hem_ease": "6 cm", **none}))
    assert "the body passes" not in failing(draft("quick-top", m, {"hem_ease": "14.5 cm", **none}))
    wide = wearer((92, 76, 112, 14, 12.4, 60))
    tight = draft("quick-top", wide, {"hem_ease": "1 cm", **none})
    assert "hip 112.0 cm" in check(tight, "the body passes").text
    assert "the body passes" in failing(tight)
    assert "the body passes" not in failing(draft("quick-top", wide, {"hem_ease": "4 cm", **none}))


@pytest.mark.parametrize(
    ("width", "ok"), [(300.0, False), (329.0, False), (331.0, True), (360.0, True)]
)
def test_the_arm_passes_its_sleeve(width: float, ok: bool) -> None:
    """A sleeve under the upper arm and 4 cm fails and names the width that would do."""
    d = draft("quick-top", body(upper_arm_girth=290.0), {"sleeve": "elbow", "sleeve_width": width})
    told = check(d, "the arm passes")
    assert told.ok is ok
    assert ok or "sleeve_width of 330 mm" in told.text


def test_a_guessed_arm_is_said_to_be_guessed() -> None:
    """Without its measure the arm is judged by a guess, and both check and notes say so."""
    d = draft("quick-top", body(), {"sleeve": "elbow"})
    assert "guessed" in check(d, "the arm passes").text
    assert any("guessed" in n and "upper arm" in n for n in d.notes)
    known = draft("quick-top", body(upper_arm_girth=290.0), {"sleeve": "elbow"})
    assert not any("guessed" in c.text for c in known.checks() if c.name == "the arm passes")
    assert "guessed" in check(d, "the head passes").text


@pytest.mark.parametrize("sleeve", ["short", "elbow"])
@pytest.mark.parametrize("bust", [120, 128, 136, 146])
@pytest.mark.parametrize("length", [54, 58, 62, 64])
def test_plus_sizes_get_a_sleeve(bust: int, length: int, sleeve: str) -> None:
    """Bust 120 to 146, every length: a sleeve that trues and goes over the arm and 4 cm."""
    arm = 0.33 * bust
    row = (bust, bust - 12, bust + 8, 15, 13.2, length)
    d = draft("quick-top", wearer(row, upper_arm_girth=arm), {"sleeve": sleeve})
    assert failing(d) == []
    hem = sum(d.pieces[h].edges["sleeve hem"].length_mm for h in ("front", "back"))
    assert hem >= 10 * arm + 40.0
    for half in ("front", "back"):
        assert d.pieces[half].edges["underarm"].length_mm > 40.0


@pytest.mark.parametrize("centre_back", ["fold", "seam"])
@pytest.mark.parametrize(
    "fit", [[], [{"change": "one shoulder lower", "by": "8 mm", "side": "left"}]]
)
@pytest.mark.parametrize("slit", [60.0, 150.0])
def test_the_facing_finishes_the_slit(slit: float, centre_back: str, fit: Any) -> None:
    """Every back neck facing has the slit on it and reaches 3 cm past its end."""
    style: Mapping[str, Any] = {
        "neckline_finish": "facing", "opening": "slit", "opening_length": slit,
        "centre_back": centre_back,
    }  # fmt: skip
    d = draft("quick-top", body(), style, fit)
    facings = {n: p for n, p in d.pieces.items() if n.endswith("back neck facing")}
    assert len(facings) == (2 if centre_back == "seam" and fit else 1)
    for name, piece in facings.items():
        (line,) = (m.points for m in piece.marks if m.name == "opening")
        assert line[0, 1] - line[1, 1] == pytest.approx(slit)
        inside = shapely.Polygon(piece.sewing_line).buffer(0.01)
        below = line[1] - (0.0, 29.9)
        assert inside.contains(shapely.Point(below)), name
        assert not inside.contains(shapely.Point(line[1] - (0.0, 250.0)))
    assert set(failing(d)) <= {"the head passes"}
    assert sum(c.name.endswith("reaches past the slit") for c in d.checks()) == len(facings)
