"""The commands export, print and import, from the shell to the light on the table."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import numpy as np
import pypdfium2
import pytest
import shapely
import svgpathtools

from drafting.docket import Docket
from projector.cli import main

DOCKET = """chalkbeam: 1
title: harbour pouch
allowances: {all: 10 mm}
pieces:
- {name: strap, outline: [[0, 0], [40, 0], [40, 240], [0, 240]], cut: 2}
- {name: half, outline: [[0, 0], [90, 0], [90, 300], [0, 300]], fold: [[0, 300], [0, 0]]}
"""
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 400 300">
<g transform="translate(20 20)">
<path id="pouch" d="M0 0 H180 C 180 90 150 160 90 200 A 60 60 0 0 1 0 140 Z"/></g>
<path id="strap" d="M240 20 h40 v240 h-40 z"/></svg>"""


@pytest.fixture
def docket(tmp_path: Path) -> Path:
    """A docket with two imported pieces."""
    path = tmp_path / "pouch.yaml"
    path.write_text(DOCKET, encoding="utf-8")
    return path


@pytest.fixture
def drawing(tmp_path: Path) -> Path:
    """An SVG of a pouch and a strap, 400 × 300 mm."""
    path = tmp_path / "pouch.svg"
    path.write_text(DRAWING.format(size='width="40cm" height="30cm"'), encoding="utf-8")
    return path


def test_export_svg_and_dxf(
    docket: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both kinds are written at true size; --json says what is in them."""
    for name in ("p.svg", "p.dxf"):
        assert main(["export", str(docket), "--out", str(tmp_path / name), "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert [p["name"] for p in told["pieces"]] == ["strap", "half"]
        assert told["pieces"][0]["width_mm"] == pytest.approx(60)
        assert told["pieces"][1]["edges_mm"]["fold"] == pytest.approx(300)
    paths, _ = svgpathtools.svg2paths(str(tmp_path / "p.svg"))
    assert any(abs(p.length() - 2 * (60 + 260)) < 0.001 for p in paths)
    assert not ezdxf.readfile(tmp_path / "p.dxf").audit().errors


def test_only_the_pieces_named(
    docket: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--piece takes some; a wrong name is told with the nearest, and nothing is written."""
    out = tmp_path / "p.svg"
    assert main(["export", str(docket), "-o", str(out), "-p", "half", "--json"]) == 0
    assert [p["name"] for p in json.loads(capsys.readouterr().out)["pieces"]] == ["half"]
    other = tmp_path / "q.svg"
    assert main(["export", str(docket), "-o", str(other), "-p", "strip"]) == 2
    assert "Did you mean 'strap'?" in capsys.readouterr().err
    assert not other.exists()


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["export", "{docket}", "-o", "{tmp}/p.pdf"], "p.svg or p.dxf"),
        (["export", "{tmp}/nowhere.yaml", "-o", "{tmp}/p.svg"], "no such file"),
        (["print", "{docket}", "--paper", "a4", "-o", "{tmp}/p.svg"], "p.pdf"),
        (["print", "{docket}", "--paper", "roll", "-o", "{tmp}/p.pdf"], "needs its width"),
        (["print", "{docket}", "--paper", "a4", "--roll-width", "1 m", "-o", "{tmp}/p.pdf"], "--paper roll"),
        (["print", "{docket}", "--paper", "roll", "--roll-width", "wide", "-o", "{tmp}/p.pdf"], "--roll-width"),
        (["import", "{tmp}/nowhere.svg"], "no such file"),
        (["import", "{docket}"], ".svg and .dxf"),
        (["import", "{drawing}", "--fold", "left"], "no docket is named"),
        (["import", "{drawing}", "{docket}"], "--replace"),
        (["import", "{drawing}", "{docket}", "--outline", "puch"], "Did you mean 'pouch'?"),
        (["import", "{drawing}", "--side", "strap=1 m"], "PIECE/SIDE=LENGTH"),
        (["import", "{drawing}", "--side", "strap/hem=1 m"], "no side 'hem'"),
        (["import", "{drawing}", "--side", "strep/left=1 m"], "Did you mean 'strap'?"),
        (["import", "{drawing}", "--side", "strap/left=900 m"], "not nearly"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--cut", "pouch=0"], "1 to 50"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--cut", "bag=1"], "no outline 'bag'"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--fold", "pouch=left"], "cannot lie on the fold"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--grain", "up"], "no number of degrees"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--edge", "hem"], "PIECE/SIDE=NAME"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--rename", "pouch=strap"], "same name"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--allowance", "pouch/hem=1 cm"], "no edge 'hem'"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--allowance", "much"], "--allowance"),
        (["import", "{drawing}", "{tmp}/n.yaml", "--out", "{tmp}/m.yaml"], "one docket"),
    ],
)  # fmt: skip
def test_faults_are_told_and_nothing_is_written(
    docket: Path, drawing: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    arguments: list[str], part: str,
) -> None:  # fmt: skip
    """Each slip gives one message, exit code 2, and leaves every file as it was."""
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    words = [a.format(docket=docket, drawing=drawing, tmp=tmp_path) for a in arguments]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert part in said
    assert "Traceback" not in said and "fault in chalkbeam" not in said
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_import_takes_out_as_the_other_commands_do(drawing: Path, tmp_path: Path) -> None:
    """--out names the docket too, and makes the very same one."""
    first, second = tmp_path / "first.yaml", tmp_path / "second.yaml"
    assert main(["import", str(drawing), str(first), "--cut", "2"]) == 0
    assert main(["import", str(drawing), "--out", str(second), "--cut", "2"]) == 0
    assert "pieces:" in first.read_text()
    assert second.read_text() == first.read_text()


def test_print_writes_a_pdf(
    docket: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """print writes a PDF and says how to print it; --json tells the sheets."""
    out = tmp_path / "p.pdf"
    assert main(["print", str(docket), "--paper", "letter", "--out", str(out)]) == 0
    assert "100 %" in capsys.readouterr().out
    assert (
        main(
            [
                "print",
                str(docket),
                "--paper",
                "roll",
                "--roll-width",
                "36 in",
                "-o",
                str(out),
                "--json",
            ]
        )
        == 0
    )
    told = json.loads(capsys.readouterr().out)
    page = pypdfium2.PdfDocument(out)[0]
    assert page.get_width() / 72 * 25.4 == pytest.approx(914.4, abs=0.01)
    assert told["page_mm"][0] == pytest.approx(914.4)
    assert told["sheets"] == [{"row": 1, "column": 1}]


def test_import_asks_for_the_unit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A drawing without a unit is not taken until she says what its unit is."""
    path = tmp_path / "pouch.svg"
    path.write_text(DRAWING.format(size='width="400" height="300"'), encoding="utf-8")
    assert main(["import", str(path)]) == 2
    assert "--unit" in capsys.readouterr().err
    assert main(["import", str(path), "--unit", "in", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["outlines"][1]["height_mm"] == pytest.approx(240 * 25.4)


def test_a_file_at_another_scale_is_put_right_by_one_side(
    drawing: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One side's true length scales all: the strap of 240 mm was meant to be 24 in."""
    words = ["import", str(drawing), "--side", "strap/left=24 in", "--json"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["outlines"][1]["height_mm"] == pytest.approx(609.6)
    assert told["outlines"][1]["width_mm"] == pytest.approx(40 * 2.54)
    assert any("2.54 times as large" in n for n in told["notes"])
    docket = tmp_path / "n.yaml"
    named = ["--rename", "strap=band", "--side", "band/left=609.6 mm"]
    assert main(["import", str(drawing), str(docket), *named]) == 0
    pouch, before = Docket.load(docket).pieces()["pouch"], 240 * 2.54
    assert Docket.load(docket).pieces()["band"].edges["left"].length_mm == pytest.approx(before)
    assert np.ptp(pouch.sewing_line, axis=0)[0] == pytest.approx(180 * 2.54, rel=0.02)


def test_picture_of_the_sides(drawing: Path, tmp_path: Path) -> None:
    """--picture draws every outline with each side's name and length, at true scale."""
    import xml.etree.ElementTree as ElementTree

    picture = tmp_path / "sides.svg"
    assert main(["import", str(drawing), "--picture", str(picture), "--rename", "pouch=bag"]) == 0
    said = [
        t.text
        for t in ElementTree.parse(picture).getroot().iter("{http://www.w3.org/2000/svg}text")
    ]
    for text in ("bag", "strap", "left · 240 mm", "bottom · 40 mm"):
        assert text in said
    paths, _ = svgpathtools.svg2paths(str(picture))
    assert sum(p.length() for p in paths[2:]) == pytest.approx(560, abs=0.01)
    assert main(["import", str(drawing), "--picture", str(tmp_path / "sides.png")]) == 2


def test_import_makes_and_extends_a_docket(drawing: Path, tmp_path: Path) -> None:
    """A new docket is made; a second import adds to it and keeps her comments and the rest."""
    from drafting import Docket

    path = tmp_path / "new.yaml"
    words = ["import", str(drawing), str(path), "--outline", "strap"]
    assert (
        main(
            [
                *words,
                "--fold",
                "left",
                "--edge",
                "strap/bottom=hem",
                "--allowance",
                "strap/hem=30 mm",
            ]
        )
        == 0
    )
    path.write_text(path.read_text(encoding="utf-8") + "# from the attic\n", encoding="utf-8")
    again = [
        "import",
        str(drawing),
        str(path),
        "--outline",
        "pouch",
        "--cut",
        "2",
        "--pair",
        "pouch",
        "--turns",
        "0",
    ]
    assert main([*again, "--lines", "cutting"]) == 0
    docket = Docket.load(path)
    pieces = docket.pieces()
    assert list(pieces) == ["strap", "pouch"]
    assert pieces["strap"].fold is not None
    assert docket.allowances_for("strap") == {"hem": 30.0}
    assert (pieces["pouch"].cut, pieces["pouch"].pair, pieces["pouch"].turns) == (2, True, (0.0,))
    np.testing.assert_allclose(  # cutting lines get no further allowance
        np.sort(
            pieces["pouch"].cutting_line({"all": 10.0, **docket.allowances_for("pouch")}), axis=0
        ),
        np.sort(pieces["pouch"].sewing_line, axis=0),
        atol=1e-6,
    )
    assert "# from the attic" in path.read_text(encoding="utf-8")


def test_export_and_import_again_through_files(docket: Path, tmp_path: Path) -> None:
    """Out as SVG or DXF and in again by the commands: every edge the same within 0.01 mm."""
    from drafting import Docket

    before = Docket.load(docket).pieces()
    for kind in ("svg", "dxf"):
        out, again = tmp_path / f"p.{kind}", tmp_path / f"again-{kind}.yaml"
        assert main(["export", str(docket), "-o", str(out)]) == 0
        assert main(["import", str(out), str(again)]) == 0
        after = Docket.load(again).pieces()
        assert list(after) == list(before)
        for name, piece in before.items():
            assert (after[name].cut, after[name].fold is None) == (piece.cut, piece.fold is None)
            assert after[name].area_mm2 == pytest.approx(piece.area_mm2, abs=0.1)
        assert after["half"].edges["fold"].length_mm == pytest.approx(300, abs=0.01)
        assert after["half"].edges["edge"].length_mm == pytest.approx(480, abs=0.01)


def test_an_imported_drawing_is_projected_true(drawing: Path, tmp_path: Path) -> None:
    """SVG → docket → frame: the light on the table is as large as the file says, within a pixel."""
    from calibrate import Calibration
    from calibrate.model import ProjectorModel

    docket = tmp_path / "new.yaml"
    docket.write_text(
        "chalkbeam: 1\ntitle: harbour strap\ncloth: {width: 700 mm, length: 900 mm}\n"
        "lay: [{piece: strap, copy: 1, at: [320, 200], turn: 0}]\n",
        encoding="utf-8",
    )
    assert main(["import", str(drawing), str(docket), "--outline", "strap"]) == 0
    scale = 1.25  # projector px per mm
    model = ProjectorModel(
        (1280, 800),
        np.array([[scale, 0, 100], [0, -scale, 750], [0, 0, 1.0]]),
        np.array([639.5, 399.5]),
    )
    calibration = tmp_path / "calibration.yaml"
    Calibration(model, np.eye(12) * 1e-12, "by hand", "2026-11-25").save(calibration)
    out = tmp_path / "frame.png"
    assert main(
        ["frame", str(docket), "--calibration", str(calibration), "--out", str(out), "--mode", "plain", "--lines", "cutting"]
    ) == 0  # fmt: skip
    import cv2

    picture = cv2.imread(str(out), cv2.IMREAD_GRAYSCALE)
    assert picture.shape == (800, 1280)
    lit = picture > 100
    rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    # the strap is 40 × 240 mm; its grain (up in the drawing) lies along the cloth, to the right
    assert columns[-1] - columns[0] == pytest.approx(240 * scale, abs=3)  # line width 2–3 px
    assert rows[-1] - rows[0] == pytest.approx(40 * scale, abs=3)


@pytest.mark.parametrize("kind", ["svg", "dxf"])
def test_allowances_come_back_from_the_files_two_lines(
    tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exported and imported again, each edge is cut as far out as before: the two lines tell it."""
    body = (Path(__file__).parents[2] / "configs" / "measurements" / "alto-3.yaml").as_posix()
    first = tmp_path / "a.yaml"
    first.write_text(
        f"chalkbeam: 1\ntitle: t\nmeasurements: {body}\ngarment: {{block: quick-top}}\n"
        "allowances: {all: 12 mm, hem: 25 mm, neckline: 6 mm}\n"
    )
    drawn, second = tmp_path / f"a.{kind}", tmp_path / "b.yaml"
    assert main(["export", str(first), "--out", str(drawn)]) == 0
    capsys.readouterr()
    assert main(["import", str(drawn), str(second)]) == 0
    assert "taken from its cutting line" in " ".join(capsys.readouterr().out.split())
    before, after = Docket.load(first), Docket.load(second)
    for name, piece in before.pieces().items():
        was = piece.widths(before.allowances_for(name))
        now = after.pieces()[name].widths(after.allowances_for(name))
        for edge in piece.edges:
            if edge != "fold":
                told = now.get(edge, now["all"])
                assert told == pytest.approx(was.get(edge, was["all"]), abs=0.05), (name, edge)
    assert after.allowance_cautions() == []


def test_a_dockets_own_allowances_stay_when_a_file_has_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What she wrote goes before; what the file shows is told."""
    body = (Path(__file__).parents[2] / "configs" / "measurements" / "alto-3.yaml").as_posix()
    first = tmp_path / "a.yaml"
    first.write_text(
        f"chalkbeam: 1\ntitle: t\nmeasurements: {body}\ngarment: {{block: quick-top}}\n"
        "allowances: {all: 12 mm}\n"
    )
    assert main(["export", str(first), "--out", str(tmp_path / "a.svg")]) == 0
    second = tmp_path / "b.yaml"
    second.write_text("chalkbeam: 1\ntitle: b\nallowances: {all: 15 mm}\n")
    capsys.readouterr()
    assert main(["import", str(tmp_path / "a.svg"), str(second)]) == 0
    assert "all 12 mm; the docket's own are kept" in " ".join(capsys.readouterr().out.split())
    assert Docket.load(second).allowances_for("front") == {"all": 15.0}


def test_a_foreign_cutting_line_reaches_lay_table_and_paper(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A standard-layer DXF whose cutting line no allowance tells: lay, table, print and export cut
    along it, whatever the docket's allowances say; --allowance puts an allowance in its place.

    By hand: 200 × 100 mm, cut 10 mm outside, but 10 to 40 mm below; 220 × 120 + 15 × 220 mm².
    """
    drawing = ezdxf.new("R2000", units=4)
    block = drawing.blocks.new("yoke")
    drawing.modelspace().add_blockref("yoke", (0, 0))
    sew = [(0, 0), (200, 0), (200, 100), (0, 100)]
    cut = [(-10, -10), (210, -40), (210, 110), (-10, 110)]
    block.add_polyline2d(sew, close=True, dxfattribs={"layer": "14"})
    block.add_polyline2d(cut, close=True, dxfattribs={"layer": "1"})
    drawing.saveas(tmp_path / "yoke.dxf")
    docket = tmp_path / "yoke.yaml"
    docket.write_text(
        "chalkbeam: 1\ntitle: choir yoke\nallowances: {all: 5 mm}\n"
        "cloth: {width: 700 mm, length: 900 mm}\nlay: [{piece: yoke, copy: 1, at: [100, 100], turn: 0}]\n"
    )
    area = 220 * 120 + 15 * 220
    assert main(["import", str(tmp_path / "yoke.dxf"), str(docket)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    # 30 mm in 220: at 2 and 198 mm along the seam it is 10 + 12 · 30 / 220 and 10 + 208 · 30 / 220
    assert "11.6 to 38.4 mm" in said and "it is cut as the file draws it" in said
    read = Docket.load(docket)
    (piece,) = read.pieces().values()
    assert read.allowance_cautions() == []

    from drafting.lay import plan
    from projector.picture.faces import face_of

    assert face_of(piece, read.allowances_for("yoke"), read.cloth).area_mm2 == pytest.approx(area)
    lay = plan({"yoke": piece}, read.cloth, seconds=0.1)
    (laid,) = lay.placements
    assert shapely.Polygon(laid.outline_mm).area == pytest.approx(area, rel=1e-6)
    assert main(["export", str(docket), "-o", str(tmp_path / "out.svg")]) == 0
    assert main(["print", str(docket), "--paper", "a4", "-o", str(tmp_path / "out.pdf")]) == 0
    assert main(["lay", str(docket), "--seconds", "0.1"]) == 0
    paths, attributes = svgpathtools.svg2paths(str(tmp_path / "out.svg"))
    drawn = next(p for p, a in zip(paths, attributes, strict=True) if a.get("class") == "cutting")
    assert abs(drawn.area()) == pytest.approx(area, rel=1e-6)
    again = ["import", str(tmp_path / "yoke.dxf"), str(docket), "--replace"]
    assert main([*again, "--allowance", "12 mm"]) == 0
    read = Docket.load(docket)
    ring = read.pieces()["yoke"].cutting_line(read.allowances_for("yoke"))
    assert shapely.Polygon(ring).area == pytest.approx(224 * 124, rel=1e-6)


@pytest.mark.parametrize(("inside", "warned"), [(0.25, False), (1.0, True)])
def test_a_cutting_line_inside_the_seam_is_warned_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], inside: float, warned: bool
) -> None:
    """Where the file would have a piece cut inside its sewing line, she is told before she cuts."""
    drawing = ezdxf.new("R2000", units=4)
    block = drawing.blocks.new("yoke")
    drawing.modelspace().add_blockref("yoke", (0, 0))
    sew = [(0, 0), (200, 0), (200, 100), (0, 100)]
    cut = [(inside, -9), (200, -12), (210, 110), (inside, 113)]
    block.add_polyline2d(sew, close=True, dxfattribs={"layer": "14"})
    block.add_polyline2d(cut, close=True, dxfattribs={"layer": "1"})
    drawing.saveas(tmp_path / "yoke.dxf")
    assert main(["import", str(tmp_path / "yoke.dxf"), str(tmp_path / "yoke.yaml")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert ("mm INSIDE its sewing line" in said) == warned
