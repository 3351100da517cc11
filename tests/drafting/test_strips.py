"""Strips in parts: joined again they are the strip, on the bias at 45°, with the seam in the outline."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from layers import Folded, faults
from shapely.geometry import LineString, Polygon
from shapely.ops import unary_union
from top_bodies import inches

from configs.errors import InputError, LayError
from drafting import Docket, Piece, draft
from drafting.docket.telling import told_on
from drafting.piece import Mark, Notch
from drafting.strips import in_parts, is_strip, joining_words, pieced, why_no_strip
from projector.cli import main

BAND = Piece.from_outline(
    "band", [(0, 0), (1000, 0), (1000, 80), (0, 80)], turns=(0, 90), grain=((400, 40), (600, 40))
)


def binding() -> Piece:
    style = {"neckline_finish": "bias", "opening": "none"}
    return draft("quick-top", inches(), style=style).pieces["neck binding"]


def seam_of(part: Piece) -> list[np.ndarray]:
    return [m.points for m in part.marks if "join, " in m.name]


def test_a_band_in_two_parts_has_a_centimetre_of_seam_on_each() -> None:
    """1000 mm in two: each 500 and 10 of seam, the seam line 10 from its end (common practice)."""
    one, two = in_parts(BAND, 1)
    assert (one.name, two.name) == ("band part 1", "band part 2")
    for part in (one, two):
        assert np.ptp(part.sewing_line, axis=0) == pytest.approx((510, 80))
        (line,) = seam_of(part)
        assert line[:, 0] == pytest.approx((500, 500))
    assert one.cutting_line({"all": 10.0})[:, 0].max() == pytest.approx(510)
    assert one.cutting_line({"all": 10.0})[:, 1].max() == pytest.approx(90)


@pytest.mark.parametrize("joins", [1, 2, 3])
@pytest.mark.parametrize("which", ["band", "bias"])
def test_joined_along_their_seams_the_parts_are_the_strip(which: str, joins: int) -> None:
    """Cut off at the lines that are sewn, the parts lie side by side and cover the strip, no more."""
    strip = BAND if which == "band" else binding()
    whole = Polygon(strip.sewing_line)
    parts = in_parts(strip, joins)
    assert len(parts) == joins + 1
    kept = []
    for k, part in enumerate(parts):
        shape = Polygon(part.sewing_line)
        for line in seam_of(part):
            far = LineString(line + np.array([[-1.0], [1.0]]) * (line[1] - line[0]) * 1e-6)
            sides = sorted(_split(shape, far), key=lambda g: g.area)
            seam, shape = sides[0], sides[-1]
            width = seam.area / far.length
            assert width == pytest.approx(10.0 if which == "band" else 6.0, rel=0.01)
        kept.append(shape)
        assert len(seam_of(part)) == (1 if k in (0, joins) else 2)
    assert unary_union(kept).symmetric_difference(whole).area < 1.0
    assert sum(g.area for g in kept) == pytest.approx(whole.area, rel=1e-6)


def _split(shape: Polygon, line: LineString) -> list[Polygon]:
    from shapely.ops import split

    return list(split(shape, line).geoms)


def test_on_the_bias_a_join_runs_along_the_grain_at_45_degrees() -> None:
    """Whatever the ends: those of a binding, or square ones; and parallel to the grain or across it."""
    square = Piece.from_outline(
        "tape", [(0, 0), (900, 0), (900, 40), (0, 40)], grain=((100, 5), (130, 35))
    )
    for strip in (square, binding()):
        ring = strip.sewing_line
        sides = np.roll(ring, -1, axis=0) - ring
        run = max(sides, key=lambda s: float(np.linalg.norm(s)))
        along = run / np.linalg.norm(run)
        for line in seam_of(in_parts(strip, 1)[0]):
            join = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
            assert abs(float(join @ along)) == pytest.approx(np.sqrt(0.5), abs=1e-3)


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_how_strips_are_joined_does_not_hang_on_the_unit(unit: str) -> None:
    """A bias binding is joined at 45° also where what stands on its parts is told in inches."""
    strip = binding()
    parts = told_on(pieced({strip.name: strip}, {strip.name: 2}), unit)
    (said,) = joining_words({strip.name: 2}, parts)
    assert "at 45°" in said
    (words,) = {m.name for m in parts[f"{strip.name} part 1"].marks if "join, " in m.name}
    assert ("mm" in words) == (unit == "cm")


def test_only_sizes_that_are_marked_are_told_anew() -> None:
    """A line of a label that only looks like inches stays: 'cut 2 in lining' is a count."""
    slit = Mark("slit 2 3/8 in", np.array([[10.0, 10.0], [20.0, 10.0]]))
    piece = BAND.with_(label=("band", "cut 2 in lining", "slit 2 3/8 in"), marks=(slit,))
    told = told_on({"band": piece}, "cm")["band"]
    assert told.label == ("band", "cut 2 in lining", "slit 6.0 cm")
    assert told.marks[0].name == "slit 6.0 cm"


def test_grain_notches_and_marks_stay_where_they_were() -> None:
    """A notch is on the part that it lies on, at its place; the grain points as before."""
    strip = BAND.with_(notches=tuple(Notch(next(iter(BAND.edges)), at) for at in (200.0, 700.0)))
    one, two = in_parts(strip, 1)
    places = [p.edges[n.edge].at(n.at_mm)[0] for p in (one, two) for n in p.notches]
    assert [p.tolist() for p in places] == [pytest.approx([200, 0]), pytest.approx([700, 0])]
    before = np.subtract(*strip.grain)
    for part in (one, two):
        now = np.subtract(*part.grain)
        assert now / np.linalg.norm(now) == pytest.approx(before / np.linalg.norm(before))


@pytest.mark.parametrize(("at", "moved"), [(507.5, True), (530.0, False)])
def test_a_join_keeps_off_a_notch(at: float, moved: bool) -> None:
    """15 mm: a notch 7.5 mm from the middle moves the join, one at 30 mm does not."""
    strip = BAND.with_(notches=(Notch(next(iter(BAND.edges)), at),))
    (line,) = seam_of(in_parts(strip, 1)[0])
    x = float(line[0, 0])
    assert (abs(x - 500.0) > 1.0) is moved
    assert abs(x - at) >= 15.0


@pytest.mark.parametrize(
    ("ring", "said"),
    [
        ([(0, 0), (150, 0), (150, 100), (0, 100)], "too short for its width"),
        ([(0, 0), (600, 0), (600, 100), (0, 100)], ""),
        ([(0, 0), (600, 0), (600, 100), (2, 100)], "parallel and alike"),
        ([(0, 0), (600, 0), (600, 100), (0.5, 100)], ""),
        ([(0, 0), (600, 0), (600, 100), (300, 120), (0, 100)], "four straight edges"),
    ],
)
def test_what_is_no_strip_is_told(ring: list[tuple[float, float]], said: str) -> None:
    """Three times as long as wide, long edges alike within 1 mm: at half and at twice of both."""
    piece = Piece.from_outline("yoke", ring)
    assert (said in why_no_strip(piece)) if said else is_strip(piece)


@pytest.mark.parametrize(("length", "fits"), [(100.0, False), (400.0, True)])
def test_parts_are_ten_centimetres_at_least(length: float, fits: bool) -> None:
    """One join: 50 mm parts are refused with how many joins there may be, 200 mm ones are not."""
    strip = Piece.from_outline("tab", [(0, 0), (length, 0), (length, 20), (0, 20)])
    if fits:
        assert len(in_parts(strip, 1)) == 2
        return
    with pytest.raises(LayError, match="at most 0"):
        in_parts(strip, 1)


def docket(folder: Path, cloth: str, joins: str = "joins: 2") -> Path:
    path = folder / "apron.yaml"
    path.write_text(
        "chalkbeam: 1\ntitle: apron\nallowances: {all: 10 mm}\ndistance: 5 mm\n"
        f"cloth: {{width: 900 mm, nap: two-way, {cloth}{', ' if cloth else ''}{joins}}}\n"
        "pieces:\n- {name: skirt, outline: [[0, 0], [620, 0], [600, 580], [0, 580]]}\n"
        "- {name: band, outline: [[0, 0], [80, 0], [80, 1000], [0, 1000]]}\n"
    )
    return path


def test_the_lay_makes_a_join_where_it_saves_cloth(tmp_path: Path) -> None:
    """A band of 1000 beside a skirt of 600: in two parts it is 600 long, not 1020; kept in the docket,
    cut right, told; asked again it goes on from there."""
    path = docket(tmp_path, "")
    for _ in range(2):
        assert main(["lay", str(path), "--seconds", "1", "--no-compare"]) == 0
        read = Docket.load(path)
        assert read.cloth is not None and dict(read.cloth.pieced) == {"band": 1}
        assert {p.piece for p in read.lay} == {"skirt", "band part 1", "band part 2"}
        from projector.lay_picture import docket_lay

        lay = docket_lay(read)
        assert lay.problems() == [] and lay.used_length_mm == pytest.approx(600, abs=2.0)
        rules = read.rules
        assert faults(lay.placements, read.pieces(), Folded("none", 900.0),
                      allowances=dict(rules.allowances), distance=5.0, nap="two-way") == []  # fmt: skip
    assert any("2 parts" in s for s in joining_words(read.joins, read.every_piece()))


def test_without_need_or_leave_nothing_is_joined(tmp_path: Path) -> None:
    """With 'joins: 0', and where the strip lies beside the skirt anyway, it stays whole."""
    path = docket(tmp_path, "", "joins: 0")
    assert main(["lay", str(path), "--seconds", "0.3", "--no-compare"]) == 0
    assert {p.piece for p in Docket.load(path).lay} == {"skirt", "band"}
    path.write_text(path.read_text().replace("joins: 0", "joins: 2").replace("1000", "560"))
    path.write_text(path.read_text().split("lay:")[0])
    assert main(["lay", str(path), "--seconds", "0.5", "--no-compare"]) == 0
    assert {p.piece for p in Docket.load(path).lay} == {"skirt", "band"}


def test_slips_in_joins_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A piece that is no strip, and a number that is none, exit 2 and change nothing."""
    slips = (
        ("joins: {skirt: 1}", "no strip"),
        ("joins: {bend: 1}", "band"),
        ("joins: many", "number of joins"),
    )
    for joins, said in slips:
        path = docket(tmp_path, "", joins)
        before = path.read_bytes()
        if "strip" in said:
            text = before.decode().replace("[0, 580]]", "[0, 580], [-5, 300]]")
            path.write_text(text)
            before = path.read_bytes()
        assert main(["lay", str(path), "--seconds", "0.2", "--no-compare"]) == 2
        assert said in capsys.readouterr().err
        assert path.read_bytes() == before
    with pytest.raises(InputError):
        Docket.load(path)


def test_steps_and_truing_tell_the_joins(tmp_path: Path) -> None:
    """A skirt whose band was laid in parts: its parts are drawn, and the report says how they are joined."""
    body = Path(__file__).parents[2] / "configs" / "measurements" / "alto-3.yaml"
    read = Docket.from_dict({
        "chalkbeam": 1, "title": "pier", "measurements": str(body),
        "garment": {"block": "straight-skirt", "style": {"waist_finish": "band"}},
        "allowances": {"all": "10 mm"},
        "cloth": {"width": "1150 mm", "pieced": {"waistband": 1}},
    })  # fmt: skip
    from drafting.report import report

    assert any("waistband: cut in 2 parts" in n for n in report(read).draft.notes)
    assert set(pieced(read.draft().pieces, read.joins)) == set(read.every_piece())
    notches = sum(len(read.every_piece()[f"waistband part {k}"].notches) for k in (1, 2))
    assert notches == len(read.draft().pieces["waistband"].notches)


def test_a_piece_of_hers_called_part_2_is_no_part() -> None:
    """Only what the lay has parted takes the allowances of its strip: a name is no proof."""
    square = [[0, 0], [300, 0], [300, 400], [0, 400]]
    docket = Docket.from_dict(
        {"chalkbeam": 1, "title": "bag", "allowances": {"all": "10 mm", "body": {"all": "30 mm"}},
         "cloth": {"width": "1400 mm"},
         "pieces": [{"name": n, "outline": square} for n in ("body", "body part 2")]}
    )  # fmt: skip
    assert docket.allowances_for("body")["all"] == 30.0
    assert docket.allowances_for("body part 2")["all"] == 10.0
    assert docket.rules.allowances.get("body part 2", {}).get("all", 10.0) == 10.0
