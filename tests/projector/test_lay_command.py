"""`chalkbeam lay`: the docket gets a sound lay, the picture lies beside it, nothing is lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from drafting.docket import Docket
from projector.cli import main
from projector.lay_picture import docket_lay, lay_picture

DOCKET = """chalkbeam: 1
title: banner bag
# cut from what the banners left
cloth: {CLOTH}
distance: 4 mm
allowances: {all: 10 mm}
pieces:
- name: body
  outline: [[0, 0], [200, 0], [180, 380], [0, 400]]
  fold: [[0, 0], [0, 400]]
  cut: 2
- name: side
  outline: [[0, 0], [120, 0], [120, 350], [40, 390], [0, 350]]
  cut: 2
  pair: true
- name: tab
  outline: [[0, 0], [60, 0], [60, 90], [0, 90]]
"""


def written(folder: Path, cloth: str = "width: 1400 mm, fold: lengthwise", extra: str = "") -> Path:
    """A docket of imported pieces on a cloth."""
    path = folder / "bag.yaml"
    path.write_text(DOCKET.replace("CLOTH", cloth) + extra)
    return path


def run(*arguments: str | Path) -> int:
    """The command line, in this process."""
    return main(["lay", *map(str, arguments)])


def test_the_docket_gets_a_sound_lay(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Written into the docket, her comment kept; read back it has no problem; a picture beside it."""
    path = written(tmp_path)
    assert run(path, "--seconds", "0.05", "--no-compare") == 0
    docket = Docket.load(path)
    lay = docket_lay(docket)
    assert lay.problems() == []
    assert {p.key for p in lay.placements} == {"body/1", "body/2", "side/1", "tab/1"}
    assert "# cut from what the banners left" in path.read_text()
    assert (tmp_path / "bag.lay.png").read_bytes().startswith(b"\x89PNG")
    said = capsys.readouterr().out
    assert "Length needed" in said
    assert "To buy" in said
    assert "tab is cut once from one layer" in said


def test_json_tells_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--json is one document; the length to buy is a whole number of 10 cm above the length needed."""
    path = written(tmp_path, "width: 1400 mm, price: 8 EUR/m")
    assert (
        run(path, "--seconds", "0.05", "--json", "--compare", "--picture", tmp_path / "x.png") == 0
    )
    told = json.loads(capsys.readouterr().out)
    assert told["problems"] == []
    assert told["to_buy"]["length_mm"] % 100 == pytest.approx(0.0)
    assert 0 <= told["to_buy"]["length_mm"] - told["used_length_mm"] < 100.0
    assert told["to_buy"]["cost"] == pytest.approx(8 * told["to_buy"]["length_mm"] / 1000)
    assert {(c["width_mm"], c["fold"]) for c in told["widths"]} >= {
        (900.0, "none"), (1150.0, "lengthwise"), (1400.0, "none"), (1500.0, "lengthwise"),
    }  # fmt: skip
    assert (tmp_path / "x.png").exists()


def test_locked_and_traced_pieces_stay(tmp_path: Path) -> None:
    """What she locked or traced is where it was; a traced piece is not locked by that."""
    path = written(tmp_path)
    assert run(path, "--seconds", "0", "--no-compare") == 0
    before = {p.key: p for p in Docket.load(path).lay}
    path.write_text(path.read_text() + "traced: [side/1]\n")
    assert run(path, "--seconds", "0.05", "--no-compare", "--afresh") == 0
    after = {p.key: p for p in Docket.load(path).lay}
    assert after["side/1"] == before["side/1"]
    assert not after["side/1"].locked
    assert Docket.load(path).traced == ("side/1",)


def test_planning_goes_on_from_the_lay_so_far(tmp_path: Path) -> None:
    """A second run never makes it longer."""
    path = written(tmp_path)
    run(path, "--seconds", "0.05", "--no-compare")
    first = docket_lay(Docket.load(path)).used_length_mm
    run(path, "--seconds", "0.05", "--no-compare")
    assert docket_lay(Docket.load(path)).used_length_mm <= first + 1e-3


def test_no_room_is_told_with_what_would_help(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Too short a cloth: refused with the missing length named; --partial keeps the rest, exit code 1."""
    path = written(tmp_path, "width: 500 mm, length: 60 cm")
    before = path.read_bytes()
    assert run(path, "--seconds", "0.05") == 2
    said = capsys.readouterr().err
    assert "no room for" in said
    assert "of length are missing" in said
    assert path.read_bytes() == before
    assert run(path, "--seconds", "0.05", "--partial") == 1
    assert "No room for" in capsys.readouterr().out
    kept = docket_lay(Docket.load(path))
    assert kept.placements
    assert kept.problems() == []


def test_two_dockets_on_one_cloth(tmp_path: Path) -> None:
    """Two singers' dockets share the cloth; each keeps its own pieces, none overlap."""
    one = written(tmp_path)
    (tmp_path / "second").mkdir()
    two = written(tmp_path / "second")
    one.write_text(one.read_text() + "wearer: alto-3\n")
    two.write_text(two.read_text() + "wearer: tenor-1\n")
    assert run(one, "--with", two, "--seconds", "0.05", "--no-compare") == 0
    lays = [docket_lay(Docket.load(p)) for p in (one, two)]
    for lay in lays:
        assert lay.problems() == []
        assert len(lay.placements) == 4
    from shapely.geometry import Polygon

    rings = [[Polygon(p.outline_mm) for p in lay.placements] for lay in lays]
    assert min(a.distance(b) for a in rings[0] for b in rings[1]) >= 4 - 0.02


@pytest.mark.parametrize(
    ("cloth", "extra", "options", "word"),
    [
        ("width: 0 mm", "", [], "width"),
        ("width: 1400 mm, fold: diagonal", "", [], "fold"),
        (
            "width: 1400 mm",
            "lay:\n- {piece: side, copy: 1, at: [0, 500], locked: true}\n"
            "- {piece: side, copy: 2, at: [10, 500], mirrored: true, locked: true}\n",
            [],
            "side/1 and side/2 overlap",
        ),
        ("width: 1400 mm", "", ["--distance", "2 m"], "distance"),
        ("width: 1400 mm", "", ["--distance", "broad"], "broad"),
        ("width: 1400 mm", "", ["--seconds", "-1"], "seconds"),
        ("width: 1400 mm", "", ["--with", "nowhere.yaml"], "nowhere.yaml"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_written(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    cloth: str,
    extra: str,
    options: list[str],
    word: str,
) -> None:
    """Exit code 2, one message naming the trouble, the docket as it was, no picture."""
    path = written(tmp_path, cloth, extra)
    before = path.read_bytes()
    assert run(path, "--seconds", "0.05", *options) == 2
    told = capsys.readouterr().err
    assert word in told
    assert "Traceback" not in told
    assert path.read_bytes() == before
    assert not list(tmp_path.glob("*.png"))


def test_a_docket_without_cloth(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No cloth named: told, with an example."""
    path = tmp_path / "bare.yaml"
    path.write_text("chalkbeam: 1\npieces:\n- {name: a, outline: [[0, 0], [9, 0], [9, 9]]}\n")
    assert run(path) == 2
    assert "cloth: {width" in capsys.readouterr().err


@pytest.mark.skipif(os.name == "nt", reason="signals are sent another way there")
def test_ctrl_c_keeps_the_best(tmp_path: Path) -> None:
    """Interrupted in the middle of a long plan, the best lay so far is saved and sound."""
    path = written(tmp_path, "width: 1400 mm, length: 2 m, fold: lengthwise")
    code = "from projector.cli import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", code, "lay", str(path), "--seconds", "120"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as command:  # fmt: skip
        time.sleep(3.0)
        command.send_signal(signal.SIGINT)
        out, err = command.communicate(timeout=60)
    assert command.returncode == 0, err
    assert "Stopped early" in out
    assert docket_lay(Docket.load(path)).problems() == []


def test_the_picture_is_to_scale(tmp_path: Path) -> None:
    """A piece of 200 × 400 mm covers the share of the picture's scale that it should."""
    path = written(tmp_path, "width: 1000 mm, length: 1 m")
    run(path, "--seconds", "0", "--no-compare")
    docket = Docket.load(path)
    image = lay_picture(docket, width_px=1200)
    assert image.dtype == np.uint8
    assert image.shape[2] == 3
    # 1000 mm of cloth fill the width but for the margins: 90 and 40 of 1600
    scale = (1200 - 130 * 1200 / 1600) / 1000.0
    colour = np.array((206, 222, 214))
    covered = (np.abs(image.astype(int) - colour).max(axis=2) <= 3).sum() / scale**2
    true = sum(p.area_mm2 for p in docket_lay(docket).placements)
    assert 0.9 * true < covered < true  # lines and names take the rest


SKIRT = """chalkbeam: 1
title: pier skirt
measurements:
  unit: cm
  measurements: {waist_girth: 79, hip_girth: 102, waist_to_hip: 20.6}
garment: {block: straight-skirt}
allowances: {all: 10 mm, hem: 40 mm}
cloth: {width: 1400 mm, CLOTH}
"""


@pytest.mark.parametrize("cloth", ["nap: one-way", "nap: two-way", "fold: lengthwise, nap: none"])
def test_the_grain_lies_along_the_cloth_or_it_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cloth: str
) -> None:
    """Every piece's own grainline, carried to the cloth, runs along the selvedge (JIS L 0110:2001:
    the line shows the direction of the warp), or the piece is named as lying across it."""
    path = tmp_path / "skirt.yaml"
    path.write_text(SKIRT.replace("CLOTH", cloth))
    assert run(path, "--seconds", "0.05", "--no-compare") == 0
    told = " ".join(capsys.readouterr().out.split())
    docket = Docket.load(path)
    pieces = docket.pieces()
    assert "waistband" in pieces
    for placed in docket.placed():
        ends = np.array(pieces[placed.piece].grain)
        along = placed.cloth_from_piece[:2, :2] @ (ends[1] - ends[0])
        along /= np.linalg.norm(along)
        if abs(along[0]) < 1.0 - 1e-9:
            assert "nap: none" in cloth, f"{placed.key} lies across napped cloth"
            assert f"{placed.key} lies across the grain" in told
        elif "nap: one-way" in cloth:
            assert along[0] > 0
    assert docket_lay(docket).problems() == []


def test_a_band_laid_across_the_grain_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Locked with its long side across the cloth, its arrow points at the selvedge: said in words."""
    path = tmp_path / "skirt.yaml"
    lay = "lay:\n- {piece: waistband, copy: 1, at: [100, 1100], turn: 0, locked: true}\n"
    path.write_text(SKIRT.replace("CLOTH", "nap: none") + lay)
    assert run(path, "--seconds", "0.05", "--no-compare") == 0
    assert "waistband/1 lies across the grain" in " ".join(capsys.readouterr().out.split())


def test_the_pictures_arrow_runs_along_the_band(tmp_path: Path) -> None:
    """The drawn arrow of every piece is parallel to the grainline that the piece carries."""
    from projector.lay_picture import _Picture

    path = tmp_path / "skirt.yaml"
    path.write_text(SKIRT.replace("CLOTH", "nap: one-way"))
    assert run(path, "--seconds", "0.05", "--no-compare") == 0
    docket = Docket.load(path)
    lay = docket_lay(docket)
    picture = _Picture(lay, "", 800)
    for laid in lay.placements:
        foot, head = (np.asarray(p) for p in picture._grain(laid))
        ends = np.array(docket.pieces()[laid.piece].grain)
        own = laid.placement.cloth_from_piece[:2, :2] @ (ends[1] - ends[0])
        cross = own[0] * (head - foot)[1] - own[1] * (head - foot)[0]
        assert abs(cross) < 1e-6 * np.linalg.norm(own) * np.linalg.norm(head - foot), laid.key
        assert (head - foot)[0] > 0


def test_facings_that_had_better_leave_the_fold_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Said with what it saves and the line to write; once written, it is so and is said no more."""
    path = tmp_path / "top.yaml"
    rows = [("front", 300, 500), ("back", 300, 500), ("facing", 60, 200)]
    pieces = "".join(
        f"- {{name: {n}, outline: [[0, 0], [{w}, 0], [{w}, {h}], [0, {h}]], fold: [[0, 0], [0, {h}]]}}\n"
        for n, w, h in rows
    )
    head = "chalkbeam: 1\ntitle: top\nallowances: {all: 0}\ncloth:\n  width: 1400 mm\n  fold: lengthwise\n"
    path.write_text(f"{head}pieces:\n{pieces}")
    assert run(path, "--seconds", "0.05") == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "facing would save 20.5 cm of cloth: say 'opened: [facing]' under 'cloth'" in told
    path.write_text(f"{head}  opened: [facing]\npieces:\n{pieces}")
    assert run(path, "--seconds", "0.05", "--afresh") == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Length needed 100.5 cm" in told
    assert "would save" not in told


def test_widths_are_those_of_her_shop(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By the yard 36, 45, 54, 60 in (reference.com lists them), else 90 to 150 cm (common practice)."""
    path = written(tmp_path, "width: 45 in, fold: crosswise")
    for unit, wanted in (
        ("in", {36.0, 45.0, 54.0, 60.0}),
        ("cm", {90.0, 114.3, 115.0, 140.0, 150.0}),
    ):
        assert (
            run(path, "--seconds", "0.05", "--compare", "--unit", unit, "--json", "--dry-run") == 0
        )
        data = json.loads(capsys.readouterr().out)
        one = 25.4 if unit == "in" else 10.0
        assert {round(c["width_mm"] / one, 3) for c in data["widths"]} == wanted
    assert data["cloth_length_mm"] == pytest.approx(2 * data["used_length_mm"], abs=0.002)


def pair_of_dockets(folder: Path) -> tuple[Path, Path]:
    """Two garments in one folder, each its own title, on the same cloth."""
    one = written(folder)
    two = folder / "tie.yaml"
    two.write_text(one.read_text().replace("banner bag", "concert tie"))
    return one, two


def test_laid_anew_alone_a_garment_keeps_off_the_one_it_shares_the_cloth_with(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """After --with, each docket laid alone keeps the other's room; the other is not changed."""
    from shapely.geometry import Polygon

    one, two = pair_of_dockets(tmp_path)
    assert run(one, "--with", two, "--seconds", "0.05", "--no-compare") == 0
    assert Docket.load(one).shares == ("tie.yaml",)
    assert Docket.load(two).shares == ("bag.yaml",)
    assert "# cut from what the banners left" in two.read_text()
    before = two.read_bytes()
    capsys.readouterr()
    assert run(one, "--seconds", "0.05", "--no-compare", "--afresh") == 0
    assert two.read_bytes() == before
    told = capsys.readouterr()
    assert "tie.yaml shares this cloth" in " ".join(told.err.split())
    rings = [
        [Polygon(p.outline_mm) for p in docket_lay(Docket.load(x)).placements] for x in (one, two)
    ]
    assert len(rings[0]) == len(rings[1]) == 4
    assert min(a.distance(b) for a in rings[0] for b in rings[1]) >= 4 - 0.02


def test_garments_on_one_cloth_go_by_their_titles(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both are the same singer's: the pieces are told apart by what the garments are called."""
    one, two = pair_of_dockets(tmp_path)
    for path in (one, two):
        path.write_text(path.read_text() + "wearer: alto-3\n")
    assert run(one, "--with", two, "--seconds", "0.05", "--no-compare", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert {p["piece"].split(": ")[0] for p in data["placements"]} == {"banner bag", "concert tie"}


def test_the_same_docket_twice_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """However its path is written."""
    path = written(tmp_path)
    before = path.read_bytes()
    assert run(path, "--with", tmp_path / ".." / tmp_path.name / "bag.yaml") == 2
    assert "that is the same docket" in capsys.readouterr().err
    assert path.read_bytes() == before


def test_a_sharing_docket_that_is_not_there_or_on_other_cloth(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused with what to do; a docket that shares with itself too."""
    path = written(tmp_path, extra="shares: [tie.yaml]\n")
    assert run(path, "--seconds", "0.05") == 2
    assert "'shares: tie.yaml' names a file that is not there" in capsys.readouterr().err
    other = path.read_text().replace("1400", "900").replace("shares: [tie.yaml]\n", "")
    (tmp_path / "tie.yaml").write_text(other + "lay: [{piece: tab, at: [0, 100]}]\n")
    assert run(path, "--seconds", "0.05") == 2
    assert "'cloth' says something else" in capsys.readouterr().err
    path.write_text(path.read_text().replace("[tie.yaml]", "[bag.yaml]"))
    assert run(path, "--seconds", "0.05") == 2
    assert "this docket itself" in capsys.readouterr().err


def test_two_dockets_of_one_folder_have_two_pictures(tmp_path: Path) -> None:
    """Each picture bears its docket's name."""
    for path in pair_of_dockets(tmp_path):
        assert run(path, "--seconds", "0.05", "--no-compare") == 0
    assert {p.name for p in tmp_path.glob("*.png")} == {"bag.lay.png", "tie.lay.png"}


def test_cloth_with_a_length_is_told_how_it_compares_opened_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Folded against single, on her width; no table of widths that she does not have."""
    path = written(tmp_path, "width: 1400 mm, length: 3 m, fold: lengthwise")
    assert run(path, "--seconds", "0.05", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert {c["width_mm"] for c in data["widths"]} == {1400.0}
    assert {c["fold"] for c in data["widths"]} >= {"lengthwise", "double", "crosswise", "none"}
    assert run(path, "--seconds", "0.05") == 0
    out = capsys.readouterr().out
    assert "single layer" in out
    assert "both selvedges folded to the middle" in out


@pytest.mark.parametrize(("long", "spare"), [(490, True), (450, False)])
def test_little_to_spare_for_a_crooked_cut_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], long: int, spare: bool
) -> None:
    """Shops cut by 10 cm: of 490 mm 1 cm is spare, of 450 mm 5 cm (a crooked cut: common practice)."""
    path = tmp_path / "strip.yaml"
    path.write_text(
        "chalkbeam: 1\ntitle: strip\ncloth: {width: 1400 mm}\nallowances: {all: 0}\n"
        f"pieces:\n- {{name: a, outline: [[0, 0], [800, 0], [800, {long}], [0, {long}]]}}\n"
    )
    assert run(path, "--seconds", "0.05", "--no-compare") == 0
    out = capsys.readouterr().out
    assert "To buy         50.0 cm" in out
    assert ("is spare" in out) is spare


def test_the_table_is_told_when_two_garments_lie_on_one_another(tmp_path: Path) -> None:
    """Laid together nothing is said; the other one laid over it since then is."""
    from projector.laying import laid

    one, two = pair_of_dockets(tmp_path)
    assert run(one, "--with", two, "--seconds", "0.05", "--no-compare") == 0
    assert laid(Docket.load(one))[1] == ""
    over = Docket.load(one).lay
    Docket.load(two).replace(lay=over).save()
    assert "side/1 on its side/1" in laid(Docket.load(one))[1]
    two.unlink()
    assert "tie.yaml shares this cloth and cannot be read" in laid(Docket.load(one))[1]


@pytest.mark.parametrize(
    ("gap", "told"),
    [
        (-1.0, "side/1 on its side/1"),
        (2.5, "nearer than 5 mm to its side/1"),
        (4.96, "nearer"),
        (4.99, ""),
    ],
)
def test_garments_too_near_each_other_are_told(tmp_path: Path, gap: float, told: str) -> None:
    """On or within the cutting distance of each other, by the limits that hold inside one garment."""
    from projector.laying import sharing_notes

    one, two = tmp_path / "one.yaml", tmp_path / "two.yaml"
    for path, x, other in ((one, 0.0, two), (two, 200.0 + gap, one)):
        path.write_text(
            f"chalkbeam: 1\ntitle: {path.stem}\ncloth: {{width: 900 mm}}\nshares: [{other.name}]\n"
            "pieces: [{name: side, outline: [[0, 0], [300, 0], [300, 200], [0, 200]]}]\n"
            f"lay: [{{piece: side, copy: 1, at: [{x}, 400]}}]\n"
        )
    said = " ".join(sharing_notes(Docket.load(one)))
    assert told in said
    assert bool(said) == bool(told)


def test_the_first_plan_of_frame_keeps_off_what_shares_the_cloth(tmp_path: Path) -> None:
    """A docket never laid is laid before it is shown, clear of the other garment, and says so."""
    from projector.laying import laid

    one, two = pair_of_dockets(tmp_path)
    assert run(two, "--seconds", "0.05", "--no-compare") == 0
    one.write_text(one.read_text() + "shares: [tie.yaml]\n")
    made, note = laid(Docket.load(one), seconds=0.1)
    assert {p.key for p in made.lay} == {"body/1", "body/2", "side/1", "tab/1"}
    assert "tie.yaml shares this cloth: its pieces keep their place" in note
    assert "there lies" not in note


def test_best_tries_each_way_says_what_it_takes_and_keeps_the_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """'fold: best': all ways told, the shortest chosen, kept in her file; the rest of it is hers."""
    path = written(tmp_path, "width: 140 cm, fold: best")
    assert run(path, "--seconds", "1", "--no-compare", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    lengths = {t["way"]: t["length_mm"] for t in data["tried"]}
    assert set(lengths) >= {"none", "lengthwise", "double", "crosswise"}
    found = [v for v in lengths.values() if v is not None]
    assert data["cloth_length_mm"] == pytest.approx(min(found), abs=0.01)
    kept = Docket.load(path)
    assert kept.cloth is not None and kept.cloth.best and kept.cloth.found
    assert kept.cloth.folding.words == data["fold"]
    assert "width: 140 cm" in path.read_text(encoding="utf-8")
    assert lay_problems(path) == []
    # laid again, and after another way was found, it is still for the planner to choose
    assert run(path, "--seconds", "0.5", "--no-compare", "--json") == 0
    assert len(json.loads(capsys.readouterr().out)["tried"]) > 3


def lay_problems(path: Path) -> list[str]:
    """What is wrong with a docket's lay, read again from its file."""
    from projector.lay_picture import docket_lay

    return docket_lay(Docket.load(path)).problems()


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_the_spare_cloth_is_told_to_programs_too(
    unit: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a person reads of a purchase, --json has: spare cloth, price by metre or yard."""
    path = written(tmp_path, "width: 1400 mm, fold: lengthwise, price: 10 EUR/m")
    assert run(path, "--seconds", "0.05", "--no-compare", "--unit", unit) == 0
    out = capsys.readouterr().out
    assert run(path, "--seconds", "0.05", "--no-compare", "--unit", unit, "--json") == 0
    data = json.loads(capsys.readouterr().out)
    spare = data["to_buy"]["length_mm"] - data["to_buy"]["needed_mm"]
    assert bool(data["spare"]) == (spare < 30.0)
    assert (data["spare"] in out) and (
        "9.14 EUR per yd" if unit == "in" else "10.00 EUR per m"
    ) in out


def test_the_order_of_cutting_is_told_for_a_beam(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--beam says how many places of the cloth there are, and what is cut at each; nonsense is told."""
    path = written(tmp_path)
    assert run(path, "--seconds", "0.05", "--no-compare", "--beam", "50x60 cm") == 0
    out = capsys.readouterr().out
    assert "of the cloth:" in out and "along" in out
    assert run(path, "--seconds", "0.05", "--no-compare", "--beam", "500x600", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert sorted(k for s in data["stops"] for k in s["keys"]) == sorted(
        f"{p['piece']}/{p['copy']}" for p in data["placements"]
    )
    for wrong in ("50", "5x6 mm", "axb"):
        assert run(path, "--beam", wrong) == 2
        assert "--beam" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("cloth", "pinned", "middle"),
    [
        ("width: 1400 mm, fold: lengthwise, repeat: {length: 60}", True, False),
        ("width: 1400 mm, fold: lengthwise, repeat: {width: 60}", True, True),
        ("width: 1400 mm, fold: crosswise, repeat: {length: 60}", True, True),
        ("width: 1400 mm, fold: none, repeat: {length: 60}", False, False),
    ],
)
def test_a_pattern_in_two_layers_is_pinned(
    cloth: str, pinned: bool, middle: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Folded, the layers' pattern must lie on each other, and the fold in the middle of a stripe."""
    assert run(written(tmp_path, cloth), "--seconds", "0.05", "--no-compare", "--dry-run") == 0
    out = capsys.readouterr().out
    assert ("stripe on stripe" in out) == pinned
    assert ("on the middle of a stripe" in out) == middle


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_picture_and_sentence_name_the_same_purchase(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], unit: str
) -> None:
    """What to buy, with its price, stands in the picture as in the terminal, word for word."""
    from projector.lay_picture import _Picture

    drawn: list[str] = []
    text = _Picture.text

    def noted(self: Any, at: Any, words: str, *more: Any, **other: Any) -> None:
        drawn.append(words)
        text(self, at, words, *more, **other)

    monkeypatch.setattr(_Picture, "text", noted)
    path = tmp_path / "bag.yaml"
    path.write_text(
        "chalkbeam: 1\ntitle: bag\n"
        "pieces: [{name: side, outline: [[0, 0], [400, 0], [400, 310], [0, 310]]}]\n"
        "cloth: {width: 900 mm, price: 12 EUR/m}\n"
    )
    assert run(path, "--seconds", "0.05", "--no-compare", "--unit", unit) == 0
    said = next(li for li in capsys.readouterr().out.splitlines() if li.startswith("To buy"))
    words = said.removeprefix("To buy").strip()
    assert words.startswith("40.0 cm   4.80 EUR" if unit == "cm" else "13 1/2 in (3/8 yd)")
    assert f"To buy: {words}" in drawn
