"""The fitted bodice against the method's worked sizes, a second method, and bodies of all shapes."""

from __future__ import annotations

import math
import random
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bodice_bodies import PLACES, outcome

from configs.errors import DraftError
from drafting import Measurements
from drafting.blocks import Draft, draft, joined
from drafting.docket import Docket
from drafting.truing import sewn_length

SIZES = {84: (68, 40.5), 88: (72, 41.0), 92: (76, 41.5), 100: (84, 42.5), 132: (122, 45.0)}


def bodice(bust: float, style: dict[str, Any] | None = None, fit: Any = None, **more: Any) -> Draft:
    """A bodice for a size of W. Aldrich's table (from memory); beyond 104 its steps are carried on."""
    waist, nape = SIZES[int(bust)]
    steps = (bust - 88) / 4
    body = {
        "unit": "cm", "bust_girth": bust, "waist_girth": waist, "back_neck_to_waist": nape,
        "shoulder_length": 12.25 + 0.25 * min(steps, 4), "neck_base_girth": 37 + steps,
        "scye_depth": 21 + 0.5 * steps, "back_width": 34.4 + steps, "upper_arm_girth": 28.4 + 1.2 * steps,
    }  # fmt: skip
    return draft("fitted-bodice", Measurements.from_dict({**body, **more}), style, fit)


def wrong(made: Draft) -> list[str]:
    """The checks that fail."""
    return [f"{c.name}: {c.text or c.value_mm}" for c in made.checks() if not c.ok]


@pytest.mark.parametrize(
    ("bust", "angle", "holes", "neck", "panels"),
    [
        (84, 14.6, (206.0, 204.0), 357.0, (227.0, 243.0)),
        (88, 15.7, (212.0, 212.0), 367.0, (235.0, 255.0)),
        (92, 16.7, (219.0, 219.0), 377.0, (243.0, 267.0)),
        (100, 18.6, (228.0, 230.0), 398.0, (259.0, 291.0)),
    ],
)
def test_worked_sizes(
    bust: int, angle: float, holes: tuple[float, float], neck: float, panels: tuple[float, float]
) -> None:
    """W. Aldrich's close-fitting block worked by hand at four sizes (from memory): dart, panels,
    armholes and neck seam (5 mm for another kind of curve)."""
    made = bodice(bust, {"back_shoulder_ease": "10 mm"})
    assert made.figures["bust dart degrees"] == pytest.approx(angle, abs=0.1)
    pieces = made.pieces
    drawn = [sewn_length(pieces[h], "armhole") for h in ("back", "front")]
    assert drawn == pytest.approx(holes, abs=5.0)
    seam = 2 * sum(p.edges["neckline"].length_mm for p in pieces.values())
    assert seam == pytest.approx(neck, abs=5.0)
    for half, wide in zip(("back", "front"), panels, strict=True):
        under = pieces[half].edges["side"].points[-1, 0]
        assert under == pytest.approx(wide, abs=1.0)


def test_finished_bust_counts_the_ease_once() -> None:
    """At bust 88 the worked draft has 96.6 cm on the bust line, not the frame's 98 (from memory)."""
    assert bodice(88).figures["bust"] == pytest.approx(966.0, abs=1.0)


@pytest.mark.parametrize("bust", [84, 88, 92, 100, 132])
def test_shoulders_slope_as_bodies_do(bust: int) -> None:
    """With the bust dart closed both shoulders slope 38 to 42° together (common practice, no source), a
    degree more or less; the method's get flatter with size, and no flatter than 35°."""
    pieces = bodice(bust, {"bust_dart": "side"}).pieces
    slope = 0.0
    for piece in pieces.values():
        step = piece.edges["shoulder"].points[0] - piece.edges["shoulder"].points[-1]
        slope += math.degrees(math.atan2(-float(step[1]), abs(float(step[0]))))
    assert (37.0 if bust < 96 else 35.0) < slope < 42.5


@pytest.mark.parametrize(
    ("bust", "half_width", "back", "neck"),
    [(84, 480.0, 179.0, 69.0), (88, 500.0, 184.0, 71.0), (92, 520.0, 189.0, 72.3)],
)
def test_second_method_agrees(bust: int, half_width: float, back: float, neck: float) -> None:
    """The Bunka textbook's bodice (from memory) is as wide within 12 mm, its back and neck within 8."""
    made = bodice(bust, {"bust_dart": "side"})
    wide = sum(float(p.edges["armhole"].points[0, 0]) for p in [made.pieces["back"]])
    wide += float(bodice(bust).pieces["front"].edges["armhole"].points[0, 0])
    assert wide == pytest.approx(half_width, abs=12.0)
    assert float(made.pieces["back"].edges["armhole"].points[:, 0].min()) == pytest.approx(back, abs=8.0)  # fmt: skip
    front = made.pieces["front"].edges["neckline"].points[0, 0]
    assert float(front) == pytest.approx(neck, abs=8.0)


@pytest.mark.parametrize("bust", [88, 132])
def test_a_moved_dart_changes_no_seam(bust: int) -> None:
    """Wherever the bust dart lies, armhole, side and shoulder are as long once it is closed."""
    long_ = []
    for place in PLACES:
        made = bodice(bust, {"bust_dart": place})
        assert not wrong(made)
        front = made.pieces["front"]
        assert [d.edge for d in front.darts] == ["waist", place]
        long_.append([sewn_length(front, e) for e in ("armhole", "side", "shoulder", "neckline")])
    assert np.ptp(long_, axis=0).max() < 0.3


@pytest.mark.parametrize("opening", ["back", "front"])
def test_it_opens_where_asked(opening: str) -> None:
    """The half that opens is a pair with a seam, the other lies on the fold."""
    pieces = bodice(92, {"opening": opening, "fit": "easy", "neckline": "v"}).pieces
    for half, piece in pieces.items():
        assert piece.pair == (half == opening)
        assert (f"centre {half}" in piece.edges) == (half == opening)


def test_her_own_bust_point() -> None:
    """The dart points at the bust point as measured, and what the method has instead is told."""
    made = bodice(88, bust_point_width=18.5, side_neck_to_bust_point=27)
    x, y = made.pieces["front"].landmarks["bust point"]
    neck = made.pieces["front"].edges["neckline"].points[0]
    assert 2 * x == pytest.approx(185.0)
    assert math.dist((x, y), neck) == pytest.approx(270.0, abs=0.5)
    assert sum("the draft goes by the measure" in n for n in made.notes) == 2
    assert not wrong(made)


def test_waist_is_as_long_as_asked() -> None:
    """Waist and ease, darts closed: close 5 cm, easy 11 cm; and a fit change on top."""
    for style, fit, want in (
        ({}, None, 770.0),
        ({"fit": "easy"}, None, 830.0),
        ({}, [{"change": "waist", "by": "2 cm"}], 790.0),
    ):
        pieces = bodice(88, style, fit).pieces.values()
        assert 2 * sum(sewn_length(p, "waist") for p in pieces) == pytest.approx(want, abs=0.5)


@pytest.mark.parametrize("place", PLACES)
def test_a_sleeve_is_drafted_to_it(place: str) -> None:
    """A set-in sleeve fits the bodice wherever its dart is, and follows when the bodice grows."""
    made = bodice(88, {"bust_dart": place})
    sleeved = joined(made, "set-in-sleeve", {"length": "short"})
    assert not wrong(sleeved)
    wider = joined(bodice(88, {"bust_dart": place, "bust_ease": "14 cm"}), "set-in-sleeve", {"length": "short"})  # fmt: skip
    caps = [
        sum(d.pieces["sleeve"].edges[f"{h} cap"].length_mm for h in ("front", "back"))
        for d in (sleeved, wider)
    ]
    assert caps[1] > caps[0] + 5.0


def test_no_bodice_for_impossible_numbers() -> None:
    """What cannot be drawn is refused with figures and the measure to look at."""
    for more, words in (
        ({"waist_girth": 130}, "wider than the bust"),
        ({"back_neck_to_waist": 31}, "below the underarm|bust point"),
        ({"back_width": 52}, "back_width"),
        ({"side_neck_to_bust_point": 40}, "side_neck_to_bust_point"),
    ):
        with pytest.raises(DraftError, match=words):
            bodice(88, **more)


def test_any_body() -> None:
    """Bodies of bust 60 to 160 get a bodice in which every check holds, or a reason; most get one."""
    rng = random.Random(3)
    told = [outcome(rng) for _ in range(40)]
    assert not [t for t in told if t[0].startswith("wrong")]
    assert sum(t[0] == "drafted" for t in told) >= 25


def test_the_shipped_style_drafts() -> None:
    """The choir's bodice with its sleeves is sound, and tells in which order it is sewn."""
    path = Path(__file__).parents[2] / "configs" / "styles" / "recital-bodice.yaml"
    one = Docket.load(path).draft()
    assert set(one.pieces) == {"front", "back", "sleeve"}
    assert not wrong(one)
    assert any("darts" in t for t in one.making) and len(one.making) >= 5


@pytest.mark.parametrize("to", ["side 8 cm from waist", "neckline 4 cm from shoulder"])
def test_the_scissors_move_the_dart(to: str, tmp_path: Path) -> None:
    """The bust dart pivoted about its point: every seam as long as before, every check holds."""
    path = tmp_path / "moved.yaml"
    garment = "{block: fitted-bodice, changes: [{pivot: front, from: dart 2, to: TO}]}"
    body = Path(__file__).parents[2] / "configs" / "measurements" / "mezzo-1.yaml"
    text = f"chalkbeam: 1\ntitle: moved\nmeasurements: {body}\ngarment: {garment}\n"
    path.write_text(text.replace("TO", to), encoding="utf-8")
    docket = Docket.load(path)
    before, now = draft("fitted-bodice", docket.measurements).pieces["front"], docket.draft()
    front = now.pieces["front"]
    assert to.split()[0] in {d.edge for d in front.darts}
    assert "shoulder" not in {d.edge for d in front.darts}
    for edge in ("armhole", "side", "shoulder", "neckline", "waist"):
        there = sum(sewn_length(front, e) for e in front.edges if e.rstrip(" 0123456789") == edge)
        assert there == pytest.approx(sewn_length(before, edge), abs=1.5), edge
    assert not wrong(now)


def lengths(made: Draft, half: str) -> dict[str, float]:
    """Sewn lengths of a half's edges."""
    return {e: sewn_length(made.pieces[half], e) for e in made.pieces[half].edges}


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("bust", "more"), [(88, 15.0), (100, 25.0), (132, 35.0)])
def test_full_bust(bust: int, more: float, place: str) -> None:
    """The spreads of the project's FACTS, L2 (derived: 1.5 cm on each half at 8 cm over the chest, 2.5 at
    10, 3.5 at 12): front wider by that, centre longer, dart deeper; armhole, shoulder, side, neckline, waist
    and the back stay; trued."""
    plain = bodice(bust, {"bust_dart": place})
    full = bodice(bust, {"bust_dart": place}, [{"change": "full bust", "by": f"{2 * more} mm"}])
    assert wrong(full) == []
    before, after = lengths(plain, "front"), lengths(full, "front")
    for edge in ("shoulder", "neckline"):
        assert after[edge] == pytest.approx(before[edge], abs=0.01)
    assert after["side"] == pytest.approx(before["side"], abs=0.5)  # it leans in by another amount
    assert after["armhole"] == pytest.approx(before["armhole"], abs=3.0)
    assert after["fold"] - before["fold"] == pytest.approx(more, rel=0.35)
    waists = [sum(lengths(d, h)["waist"] for h in ("front", "back")) for d in (plain, full)]
    assert waists[1] == pytest.approx(waists[0], abs=0.01)
    for edge in ("armhole", "shoulder", "neckline"):
        assert lengths(full, "back")[edge] == pytest.approx(lengths(plain, "back")[edge], abs=0.2)
    assert full.figures["bust dart degrees"] > plain.figures["bust dart degrees"] + 0.3 * more
    assert full.figures["bust"] - plain.figures["bust"] == pytest.approx(2 * more, abs=12.0)


@pytest.mark.parametrize(("chest", "each", "by"), [(90.0, "2.5", 5.0), (86.0, "4.5", 9.0)])
def test_a_full_bust_is_offered_by_the_chest_above_it(chest: float, each: str, by: float) -> None:
    """10 cm over the upper chest wants 2.5 cm on each half, 14 cm 4.5 (the project's FACTS, L2, derived); done
    as offered, the note is gone and the girth is what it was."""
    body = {"upper_chest_girth": chest}
    plain = bodice(100, **body)
    (note,) = [n for n in plain.notes if "full bust" in n]
    assert f"wants {each} cm" in note and f"by: {by} cm" in note
    fit = [{"change": "full bust", "by": f"{by} cm"}, {"change": "bust", "by": f"{-by} cm"}]
    done = bodice(100, None, fit, **body)
    assert not any("full bust" in n for n in done.notes) and wrong(done) == []
    assert done.figures["bust"] == pytest.approx(plain.figures["bust"], abs=12.0)


@pytest.mark.parametrize("bust", [84, 100, 132])
def test_front_length_and_across_the_back(bust: int) -> None:
    """Walked on the pieces: neck point, bust point, waist. Half of 3 mm off is not told, twice is; the
    back has 1 to 2 cm over her measure (common practice, no source)."""
    made = bodice(bust, {"bust_dart": "side"})
    front = made.pieces["front"]
    neck, point = front.edges["neckline"].points[0], np.array(front.landmarks["bust point"])
    (dart,) = [d for d in front.darts if d.edge == "waist"]
    walk = [neck, point, np.array(dart.tip), np.array(dart.first)]
    long_ = float(sum(np.hypot(*(b - a)) for a, b in pairwise(walk)))
    assert made.figures["front length"] == pytest.approx(long_, abs=0.2)
    for off, told in ((1.5, 0), (-1.5, 0), (6.0, 1), (-6.0, 1)):
        d = bodice(bust, front_waist_length=(long_ + off) / 10.0)
        assert sum("over the bust to the waist" in n for n in d.notes) == told
    (back,) = [c for c in made.checks() if c.name == "across the back"]
    assert back.ok and "1.0 cm to move in" in back.text


@pytest.mark.parametrize(("ease", "ok"), [(94, True), (76, False)])
def test_a_back_without_room_is_told(ease: int, ok: bool) -> None:
    """By the method a quarter of the bust's ease lies in half the back: 1.5 mm less than 1 cm across it
    passes, 6 mm less fails."""
    (back,) = [
        c for c in bodice(88, {"bust_ease": f"{ease} mm"}).checks() if c.name == "across the back"
    ]
    assert back.ok == ok and back.value_mm == pytest.approx(1.5 if ok else 6.0, abs=0.2)
