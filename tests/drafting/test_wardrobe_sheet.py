"""The wardrobe on paper: every garment to one scale, in a PDF, an SVG drawing or a picture."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
import svgpathtools
import yaml
from exchange_pieces import ALLOWANCES, front, garment, sleeve
from test_base import fitted, write

from drafting.export.wardrobe import PAGE_MM, Card, scale_of, sheets
from drafting.piece import Piece
from projector.cli import main
from projector.drawing_picture import DOTS_PER_MM, picture_of

FRONT = {"front": front()}


def card(title: str, **more: object) -> Card:
    """A garment of one front."""
    return Card(title, pieces=FRONT, allowances={"front": ALLOWANCES}, **more)  # type: ignore[arg-type]


def test_pieces_are_drawn_to_the_scale_that_is_told() -> None:
    """At 1 : 10 a fold of 544 mm is 54.4 mm on paper; the scale is said on every sheet."""
    (sheet,) = sheets([card("top")], "Wardrobe")
    folds = [s.points for s in sheet.strokes if s.pen == "fold"]
    assert max(float(np.ptp(p[:, 1])) for p in folds) == pytest.approx(54.4, abs=0.01)
    assert any("1 : 10" in t for t in sheet.texts())


@pytest.mark.parametrize(("long_mm", "one_to"), [(1100.0, 10), (1300.0, 12), (2200.0, 20)])
def test_the_widest_piece_has_room(long_mm: float, one_to: int) -> None:
    """One scale for all, the largest at which the widest piece lies on the sheet."""
    band = Piece.from_outline("band", [(0, 0), (long_mm, 0), (long_mm, 60), (0, 60)])
    cards = [card("top"), Card("skirt", pieces={"band": band})]
    assert scale_of(cards) == one_to
    for sheet in sheets(cards, "Wardrobe"):
        points = np.concatenate([s.points for s in sheet.strokes])
        assert points.min() >= 0.0 and points[:, 0].max() <= PAGE_MM[0] - 10.0


def test_a_sheet_is_never_overfull() -> None:
    """Seven garments take three sheets; none is parted, none lies over another or off its sheet."""
    cards = [Card(f"garment {i}", ("for alto-3",), (), garment()) for i in range(7)]
    drawn = sheets(cards, "Wardrobe")
    assert [t for s in drawn for t in s.texts() if t.startswith("garment")] == [
        f"garment {i}" for i in range(7)
    ]
    assert len(drawn) == 3
    for sheet in drawn:
        assert max(float(s.points[:, 1].max()) for s in sheet.strokes) < PAGE_MM[1] - 10.0
        rules = sorted(float(s.points[0, 1]) for s in sheet.strokes if s.pen == "rule")
        for s in sheet.strokes:
            low, high = float(s.points[:, 1].min()), float(s.points[:, 1].max())
            assert s.pen == "rule" or not any(low < y < high for y in rules)
    (one,) = sheets(cards, "Wardrobe", height_mm=None)
    assert one.height_mm > 1.5 * PAGE_MM[1]


def test_what_is_traced_has_a_heavy_line_and_says_so() -> None:
    """A traced piece differs by its line's weight and by a word, one that is not by neither."""
    plain, done = (sheets([card("top", traced=t)], "W")[0] for t in ({}, {"front": "traced"}))
    assert "new" in {s.pen for s in done.strokes} and "new" not in {s.pen for s in plain.strokes}
    assert "traced" in done.texts() and "traced" not in plain.texts()


def test_a_picture_shows_the_same_lines() -> None:
    """The picture is as large as the drawing says, dark on its lines and white between them."""
    (sheet,) = sheets([Card("sleeve", pieces={"sleeve": sleeve()})], "W", height_mm=None)
    image = picture_of(sheet)
    assert image.shape == (round(sheet.height_mm * DOTS_PER_MM), round(210 * DOTS_PER_MM), 3)
    line = next(s for s in sheet.strokes if s.pen == "line").points
    px = np.round(line * DOTS_PER_MM).astype(int)
    assert np.median(image[px[:, 1], px[:, 0]]) < 120
    middle = (line.mean(axis=0) * DOTS_PER_MM).astype(int)
    assert image[middle[1] - 3 : middle[1] + 3, middle[0] + 30 : middle[0] + 36].min() == 255
    assert image[:30].min() == 255


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two bases, a garment of one of them that is traced, and a docket that cannot be drafted."""
    made = fitted(tmp_path, "straight")
    data = {
        "chalkbeam": 1, "title": "yoked", "garment": {"base": "top-base.yaml"},
        "lay": [{"piece": "back", "copy": 1, "at": [10, 10]}], "traced": ["back/1"],
        "cloth": {"width": "140 cm"}, "allowances": {"all": "1 cm"},
    }  # fmt: skip
    write(made / "yoked.yaml", data)
    odd = {"chalkbeam": 1, "title": "odd", "measurements": "body.yaml", "garment": {"block": "quick-tip"}}  # fmt: skip
    write(made / "odd.yaml", odd)
    base = yaml.safe_load((made / "top-base.yaml").read_text(encoding="utf-8"))
    base["base"]["fit"] = [*base["base"].get("fit", []), {"change": "hem", "by": 2}]
    write(made / "top-base.yaml", base)
    return made


def test_the_wardrobe_as_pdf_svg_and_png(folder: Path) -> None:
    """All three are written by their ending; words, and what is out of date, stand in them."""
    for suffix in ("pdf", "svg", "png"):
        out = folder / f"w.{suffix}"
        assert main(["wardrobe", str(folder), "--out", str(out)]) == 0
        assert main(["wardrobe", str(folder), "--out", str(out)]) == 0, "its own file it replaces"
    document = pypdfium2.PdfDocument(folder / "w.pdf")
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    words = " ".join(words.split())
    for told in ("yoked", "for alto-1", "from: top-base.yaml", "1400 mm wide", "1 traced"):
        assert told in words, told
    assert "Out of date" in words and "edges of its base moved" in words
    assert "Cannot be drafted" in words and "quick-tip" in words
    assert document[0].get_size() == pytest.approx((595.3, 841.9), abs=0.1)
    paths, _ = svgpathtools.svg2paths(str(folder / "w.svg"))
    assert len(paths) > 40
    picture = cv2.imread(str(folder / "w.png"))
    assert picture.shape[1] == 1260 and (picture < 100).any()


def test_a_file_of_hers_is_kept(folder: Path) -> None:
    """Another ending, and a file that this program did not make, are refused; nothing is lost."""
    hers = folder / "mine.pdf"
    hers.write_bytes(b"%PDF-1.4 hers")
    assert main(["wardrobe", str(folder), "--out", str(hers)]) == 2
    assert hers.read_bytes() == b"%PDF-1.4 hers"
    assert main(["wardrobe", str(folder), "--out", str(folder / "w.txt")]) == 2
    assert not (folder / "w.txt").exists()
