"""The quick top: worked out by hand at two sizes, square, smooth, and true to its measurements."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from top_bodies import ASTM_CM, INCH, body, centimetres, inches

from configs.errors import DraftError, InputError
from drafting import Measurements, draft
from drafting.blocks import Draft, get, names
from drafting.outline import is_simple
from drafting.piece import Piece

Points = NDArray[np.float64]
IN = np.array([INCH, INCH])


def corner(piece: Piece, edge: str, end: int = 0) -> Points:
    """An end of an edge, in inches."""
    return piece.edges[edge].points[end] / INCH


def test_worked_by_hand_in_inches() -> None:
    """Bust 36, waist 30, hips 42, neck 5 1/2, shoulder 5, length 24: each point by arithmetic.

    The rules of the first garment, common practice, no source; sums done with pencil.
    """
    d = draft("quick-top", inches())
    front, back = d.pieces["front"], d.pieces["back"]
    np.testing.assert_allclose(corner(front, "shoulder", -1), (2.75, 0.875), atol=1e-9)
    np.testing.assert_allclose(corner(front, "shoulder", 0), (7.75, -0.875), atol=1e-9)
    np.testing.assert_allclose(corner(front, "neckline", -1), (0, -3), atol=1e-9)
    np.testing.assert_allclose(corner(front, "side", -1), (10, -8), atol=1e-9)
    np.testing.assert_allclose(corner(front, "fold", -1), (0, -24), atol=1e-9)
    np.testing.assert_allclose(corner(back, "shoulder", -1), (2.75, 0.5), atol=1e-9)
    np.testing.assert_allclose(corner(back, "shoulder", 0), (7.75, -1.25), atol=1e-9)
    np.testing.assert_allclose(corner(back, "neckline", -1), (0, -1.5), atol=1e-9)
    # the hem point: a quarter of 42 and 1, at the bottom line but for the square curve upward
    x, y = corner(front, "side", 0)
    assert x == pytest.approx(11.5, abs=0.03)
    assert -24 < y < -23
    assert front.edges["hem"].length_mm == pytest.approx(11.5 * INCH, abs=0.05)
    # √(5² + 1 3/4²) = 5.2974
    assert front.edges["shoulder"].length_mm == pytest.approx(5.2974 * INCH, abs=0.01)


def test_worked_by_hand_in_centimetres() -> None:
    """Bust 100, waist 84, hips 108, neck 14, shoulder 13, length 63: the same by arithmetic."""
    front = draft("quick-top", centimetres()).pieces["front"]
    points = {
        ("shoulder", -1): (70.0, 22.225),
        ("shoulder", 0): (200.0, -22.225),
        ("side", -1): (275.4, -210.0),  # 1000 / 4 + 25.4
        ("neckline", -1): (0.0, -76.2),
        ("fold", -1): (0.0, -630.0),
    }
    for (edge, end), wanted in points.items():
        np.testing.assert_allclose(front.edges[edge].points[end], wanted, atol=1e-6)
    assert front.edges["hem"].length_mm == pytest.approx(270 + 25.4, abs=0.05)


def test_edges_are_named_and_on_the_fold() -> None:
    """Both pieces: fold, hem, side, armhole, shoulder, neckline; cut once on a straight fold."""
    for piece in draft("quick-top", inches()).pieces.values():
        assert set(piece.edges) == {"fold", "neckline", "shoulder", "armhole", "side", "hem"}
        assert (piece.cut, piece.pair) == (1, False)
        assert piece.fold is not None
        assert np.ptp(piece.edges["fold"].points[:, 0]) == 0.0
        assert piece.sewing_line[:, 0].min() == 0.0


def test_seams_mate() -> None:
    """Shoulder and side seams of front and back are equally long."""
    front, back = draft("quick-top", inches()).pieces.values()
    for edge in ("side", "shoulder"):
        assert front.edges[edge].length_mm == pytest.approx(back.edges[edge].length_mm, abs=1e-6)


def test_side_seam_is_straight_outside_the_waist() -> None:
    """With bust and hips larger than the waist the side seam is one straight line."""
    side = draft("quick-top", inches()).pieces["front"].edges["side"].points
    a, b = side[0], side[-1]
    t = (b - a) / np.hypot(*(b - a))
    off = (side - a) @ np.array([-t[1], t[0]])
    assert np.abs(off).max() < 1e-6
    at_waist = float(np.interp(-16 * INCH, side[:, 1], side[:, 0]))
    assert at_waist > (30 / 4 + 0.75) * INCH


def test_side_seam_goes_out_to_a_larger_waist() -> None:
    """With the waist the largest the side seam passes through the eased waist and stays smooth."""
    m = body(bust_girth=1000.0, waist_girth=1200.0, hip_girth_at_tailbone=1050.0)
    side = draft("quick-top", m).pieces["front"].edges["side"].points
    at_waist = float(np.interp(-16 * INCH, side[:, 1], side[:, 0]))
    assert at_waist == pytest.approx(1200 / 4 + 0.75 * INCH, abs=0.05)
    d = np.diff(side, axis=0)
    turn = np.abs(np.diff(np.unwrap(np.arctan2(d[:, 1], d[:, 0]))))
    assert np.degrees(turn.max()) < 3.0


@pytest.mark.parametrize("waist", range(500, 1500, 100))
def test_the_seam_never_cuts_inside_the_eased_waist(waist: int) -> None:
    """Whatever the waist: at waist level the seam passes at or outside the eased point."""
    side = draft("quick-top", body(waist_girth=float(waist))).pieces["back"].edges["side"].points
    at_waist = float(np.interp(-16 * INCH, side[:, 1], side[:, 0]))
    assert at_waist >= waist / 4 + 0.75 * INCH - 0.05


def near_tangent(points: Points, end: int) -> Points:
    """Direction away from an end of an edge, over its first millimetre."""
    line = points if end == 0 else points[::-1]
    far = np.hypot(*(line - line[0]).T)
    i = int(np.argmax(far >= 1.0))
    return (line[i] - line[0]) / far[i]


def test_square_corners() -> None:
    """90° where it must be (within 2°, common practice): fold, hem and side, shoulder, underarm.

    Measured on the points, over a millimetre, by their own arithmetic.
    """
    for piece in draft("quick-top", inches()).pieces.values():
        e = {n: x.points for n, x in piece.edges.items()}
        pairs = [
            (near_tangent(e["fold"], 1), near_tangent(e["hem"], 0)),
            (near_tangent(e["hem"], 1), near_tangent(e["side"], 0)),
            (near_tangent(e["side"], 1), near_tangent(e["armhole"], 0)),
            (near_tangent(e["armhole"], 1), near_tangent(e["shoulder"], 0)),
            (near_tangent(e["neckline"], 1), near_tangent(e["fold"], 0)),
        ]
        for a, b in pairs:
            assert abs(np.degrees(np.arccos(np.clip(a @ b, -1, 1))) - 90) < 2.0


def test_neckline_runs_on_over_the_shoulder() -> None:
    """Shoulders laid on one another, the neckline has no corner: the angles make 180° ± 2°."""
    angles = []
    for piece in draft("quick-top", inches()).pieces.values():
        e = piece.edges
        a, b = near_tangent(e["shoulder"].points, 1), near_tangent(e["neckline"].points, 0)
        angles.append(np.degrees(np.arccos(a @ b)))
    assert sum(angles) == pytest.approx(180, abs=2.0)


def test_curves_have_no_bumps() -> None:
    """Neckline and armhole bend one way from end to end."""
    for piece in draft("quick-top", inches()).pieces.values():
        for edge in ("neckline", "armhole"):
            d = np.diff(piece.edges[edge].points, axis=0)
            turn = np.diff(np.unwrap(np.arctan2(d[:, 1], d[:, 0])))
            assert (turn <= 1e-9).all()


def test_against_a_dartless_top_of_another_source() -> None:
    """Bust 88: half panel 24.5, shoulder slope 19–21°, armhole 0.40–0.55 of the bust.

    Bands of common practice for a loose dartless top (no source; the bust-88 column of a
    drafting book, from memory).
    """
    m = body(
        bust_girth=880.0,
        waist_girth=720.0,
        hip_girth_at_tailbone=960.0,
        shoulder_length=122.5,
        neck_width=138.0,
        back_neck_to_tailbone=610.0,
    )
    front, back = draft("quick-top", m).pieces.values()
    assert front.edges["side"].points[-1, 0] == pytest.approx(245.0, abs=1.0)
    shoulder = front.edges["shoulder"].points
    run, rise = np.abs(shoulder[-1] - shoulder[0])
    assert 19.0 <= math.degrees(math.atan2(rise, run)) <= 21.0
    armholes = front.edges["armhole"].length_mm + back.edges["armhole"].length_mm
    assert 0.40 <= armholes / 880.0 <= 0.55


def finished(d: Draft, edge: str, end: int) -> float:
    """Finished girth from the x of an edge's end on both pieces, mm."""
    return sum(2 * float(p.edges[edge].points[end, 0]) for p in d.pieces.values())


@pytest.mark.parametrize("size", ASTM_CM)
def test_finished_girths_of_published_bodies(size: int) -> None:
    """Finished bust is bust and 4 in, hem the girth and 4 in (± 1 mm), for ASTM D5585-11e1 misses.

    Bust and waist from the table; the other measures scaled from the worked example.
    """
    bust, waist, _, _ = (v * 10 for v in ASTM_CM[size])
    m = body(bust_girth=bust, waist_girth=waist, hip_girth_at_tailbone=bust + 60)
    d = draft("quick-top", m)
    assert finished(d, "side", -1) - bust == pytest.approx(4 * INCH, abs=1.0)
    hems = sum(2 * p.edges["hem"].length_mm for p in d.pieces.values())
    assert hems - (bust + 60) == pytest.approx(4 * INCH, abs=1.0)
    assert all(c.ok for c in d.checks())


def test_the_head() -> None:
    """Neck base openings (35 to 40 cm) are smaller than heads (54 to 57 cm, ASTM D5585-11e1).

    So a slit is marked, long enough; and without one the check fails and says what to do.
    """
    m = body(head_girth=559.0)
    d = draft("quick-top", m)
    opening = 2 * sum(p.edges["neckline"].length_mm for p in d.pieces.values())
    mark = next(x for x in d.pieces["back"].marks if x.name == "opening").points
    assert mark[0] == pytest.approx((0, -1.5 * INCH))
    assert opening + 2 * abs(mark[1, 1] - mark[0, 1]) >= 559.0 + 10.0
    assert any("slit" in note for note in d.notes)
    # seen beside the fold: a bar square to it at the slit's end, outside every outline
    bar = next(x for x in d.pieces["back"].marks if x.name.startswith("slit "))
    assert bar.points[:, 1] == pytest.approx([mark[1, 1]] * 2)
    assert bar.points[:, 0] == pytest.approx([0.0, 15.0])
    assert bar.name in d.pieces["back"].label
    bad = [c for c in draft("quick-top", m, {"opening": "none"}).checks() if not c.ok]
    assert [c.name for c in bad] == ["the head passes"]
    assert "wider or deeper" in bad[0].text
    wide = draft(
        "quick-top", m, {"neckline": "scoop", "front_neck_depth": "18 cm", "opening": "none"}
    )
    assert all(c.ok for c in wide.checks())


def test_drawn_shoulder_is_told_and_can_be_kept() -> None:
    """The truing table tells that the sloping seam is 5/16 in longer, and which option keeps the
    shoulder's length; no draft warns of it."""
    d = draft("quick-top", inches())
    (line,) = (c for c in d.checks() if c.name == "shoulder seam longer than measured")
    assert line.ok and line.value_mm == pytest.approx(0.2974 * INCH, abs=0.01)
    assert "shoulder_seam: measured" in line.text
    assert not any("shoulder" in n for n in d.notes)
    kept = draft("quick-top", inches(), {"shoulder_seam": "measured"})
    assert kept.pieces["front"].edges["shoulder"].length_mm == pytest.approx(5 * INCH)
    assert not any(c.name.startswith("shoulder seam longer") for c in kept.checks())


def test_a_full_bust_and_little_ease_are_told() -> None:
    """More than 6 cm from upper chest to bust, or under 10 cm of ease: a note (common practice)."""
    full = draft("quick-top", body(upper_chest_girth=36 * INCH - 75))
    assert any("without a dart" in n for n in full.notes)
    assert not any("without a dart" in n for n in draft("quick-top", inches()).notes)
    close = draft("quick-top", inches(), {"bust_ease": "6 cm"})
    assert any("over the shoulders" in n for n in close.notes)


@pytest.mark.parametrize("fit", [[], [{"change": "bust", "by": "4 cm", "where": "front"}]])
def test_notches_meet(fit: list[dict[str, str]]) -> None:
    """Side notches lie 8 cm below the underarm, on the front as on the back; the armhole tells which
    is which by one and two."""
    d = draft("quick-top", inches(), fit=fit)
    found = {}
    for half, piece in d.pieces.items():
        (notch,) = (n for n in piece.notches if (n.edge, n.match) == ("side", "side"))
        found[half] = piece.edges["side"].length_mm - notch.at_mm
        assert notch.count == 1
        (armhole,) = (n for n in piece.notches if n.edge == "armhole")
        assert armhole.count == {"front": 1, "back": 2}[half]
    assert found["front"] == pytest.approx(80.0)
    assert found["front"] == pytest.approx(found["back"], abs=1e-6)


def test_missing_measurements_are_all_named() -> None:
    """A draft that lacks measurements names every one and how to take it."""
    m = Measurements.from_dict({"unit": "cm", "bust_girth": 92, "waist_girth": 75})
    with pytest.raises(InputError) as caught:
        draft("quick-top", m)
    assert len(caught.value.faults) == 4
    assert "tailbone" in str(caught.value)


def test_unknown_block_names_the_nearest() -> None:
    """A block that is not there is told with the nearest that is."""
    with pytest.raises(InputError, match="quick-top"):
        draft("quick-tap", inches())
    assert "quick-top" in names()
    assert get("Quick Top").name == "quick-top"


def test_steps_work_out_her_numbers() -> None:
    """The recorded steps name points, lines and curves, with the sums for this body."""
    d = draft("quick-top", inches())
    keys = [s.key for s in d.steps]
    assert keys[:4] == ["frame", "thirds", "neck-point", "girths"]
    assert {"balance", "ease", "neckline", "armhole", "side", "hem", "back"} <= set(keys)
    girths = next(s for s in d.steps if s.key == "girths")
    assert girths.points["hem"] == pytest.approx((10.5 * INCH, -24 * INCH))
    assert "girth at tailbone level 42 in ÷ 4 = 10 1/2 in" in girths.sums
    ease = next(s for s in d.steps if s.key == "ease")
    assert "bust 9 in + bust ease 4 in ÷ 4 = 10 in" in ease.sums
    frame = next(s for s in d.steps if s.key == "frame")
    assert "paper: 26 in × 13 1/2 in" in frame.sums
    for step in d.steps:
        assert (step.text or step.sums[-1]).endswith(".")
        assert step.points or step.lines or step.curves or step.key == "make-up"


BODIES = st.fixed_dictionaries(
    {
        "bust_girth": st.floats(600, 1600),
        "waist": st.floats(-300, 200),
        "hips": st.floats(-300, 300),
        "neck_width": st.floats(95, 190),
        "shoulder_length": st.floats(85, 180),
        "back_neck_to_tailbone": st.floats(420, 820),
    }
)


@settings(
    max_examples=80,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(BODIES)
def test_any_body_drafts_soundly_or_is_refused_with_a_reason(sizes: dict[str, float]) -> None:
    """Bust 60 to 160 cm, hips ± 30 cm from it: closed, simple, mated within 0.5 mm, or a reason."""
    bust = sizes["bust_girth"]
    m = Measurements.from_dict(
        {
            "unit": "mm",
            "bust_girth": bust,
            "waist_girth": bust + sizes["waist"],
            "hip_girth_at_tailbone": bust + sizes["hips"],
            **{k: v for k, v in sizes.items() if k not in ("bust_girth", "waist", "hips")},
        }
    )
    try:
        d = draft("quick-top", m)
    except DraftError as error:
        assert len(str(error)) > 20
        assert all(f.remedy for f in error.faults)
        return
    for piece in d.pieces.values():
        ring = list(piece.edges.values())
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True):
            assert np.hypot(*(a.points[-1] - b.points[0])) < 1e-6
        assert is_simple(piece.sewing_line)
        assert is_simple(piece.unfolded())
        assert np.isfinite(piece.sewing_line).all()
    front, back = d.pieces["front"], d.pieces["back"]
    for edge in ("side", "shoulder"):
        assert abs(front.edges[edge].length_mm - back.edges[edge].length_mm) < 0.5
    assert [c for c in d.checks() if not c.ok] == []
