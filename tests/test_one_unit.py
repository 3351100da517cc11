"""One system of lengths in one sitting: whoever works in inches meets no millimetre in what is
drawn, laid, framed, printed or calibrated, and whoever works in centimetres no inch.

Read back are the terminal, the report's text, PDFs (by an outside library), SVGs, and what is
lettered into pictures (by listening at the drawing layer). Programs' JSON is in mm for all.
"""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import pypdfium2
import pytest
from table_rig import projector

import projector.lettering as lettering
from calibrate.drift import drift
from calibrate.readings import crosses_for, pairs_of
from calibrate.report import picture, text
from configs.units import INCH_UNITS, format_length, said_in, small_text
from drafting import Docket
from projector import height
from projector.cli import main
from projector.session.sitting import Sitting

INCHES = """\
chalkbeam: 1
unit: in
wearer: soprano-2
measurements:
  {bust_girth: 35 1/2, waist_girth: 29, hip_girth_at_tailbone: 38 1/4, neck_width: 5, shoulder_length: 4 1/2,
   back_neck_to_tailbone: 23 1/2}
"""
DOCKET = """\
chalkbeam: 1
title: concert top
unit: in
measurements: body.yaml
garment:
  block: quick-top
  style: {opening: slit, opening_length: 4, neckline_finish: facing, pocket: chest}
  fit: [{change: bust, by: 1/2}]
allowances: {all: 3/8, hem: 1, neckline: 1/4}
cloth: {width: 45, length: 2 yd, fold: lengthwise, selvedge: 3/8, price: 12 USD/yd}
"""
CM = {
    "unit: in": "unit: cm", "35 1/2": "90", "29": "74", "38 1/4": "97", "width: 5": "width: 12.7",
    "4 1/2": "11.5", "23 1/2": "60", "opening_length: 4": "opening_length: 10", "by: 1/2": "by: 1",
    "all: 3/8": "all: 1", "hem: 1,": "hem: 2.5,", "neckline: 1/4": "neckline: 0.6", "width: 45": "width: 140", "length: 2 yd": "length: 2 m",
    "selvedge: 3/8": "selvedge: 1", "USD/yd": "EUR/m",
}  # fmt: skip
OTHER = {
    "in": re.compile(r"(?<![\w.])[\d.,]*\d\s?(?:mm|cm|m)\b|\b(?:mm|cm|metres?|millimetres?)\b"),
    "cm": re.compile(r"\d[\d/ ]*\s?(?:in\b(?! (?:the|a|one|two|it|its|all|order|each|parts|\d)\b)|yd|inch)|\byards?\b"),
}  # fmt: skip
BOTH = ("100 mm × 100 mm", "4 in × 4 in")  # the print's two squares: whichever ruler is at hand


def other_units(told: str, unit: str) -> list[str]:
    """Lines that hold a length of the other system."""
    lines = (" ".join(line.split()) for line in told.splitlines())
    return sorted({x for x in lines if OTHER[unit].search(x) and not any(b in x for b in BOTH)})


@pytest.fixture(scope="module", params=["in", "cm"])
def sitting(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, dict[str, str]]:
    """Her unit, and every text of one sitting: where it stood → the text."""
    unit, folder = request.param, tmp_path_factory.mktemp(request.param)
    body, docket = INCHES, DOCKET
    for old, new in CM.items() if unit == "cm" else ():
        body, docket = body.replace(old, new), docket.replace(old, new)
    (folder / "body.yaml").write_text(body)
    (folder / "top.yaml").write_text(docket)
    projector((1920, 1080)).told_in(unit).save(folder / "cal.yaml")
    told: dict[str, str] = {}
    lettered: list[str] = []

    with pytest.MonkeyPatch.context() as patch:
        draw, strokes = cv2.putText, lettering.text_strokes
        patch.chdir(folder)
        patch.setattr(
            cv2, "putText", lambda *a, **k: (lettered.append(str(a[1])), draw(*a, **k))[1]
        )
        for module in ("projector.picture.faces", "projector.picture.signs", "projector.picture.painter",
                       "projector.picture.strip", "projector.picture.pages", "projector.lettering"):  # fmt: skip
            heard = __import__(module, fromlist=["x"])
            if hasattr(heard, "text_strokes"):
                patch.setattr(
                    heard, "text_strokes", lambda t, h: (lettered.append(t), strokes(t, h))[1]
                )
        capture = pytest.importorskip("_pytest.capture")
        for words in (
            ["draft", "top.yaml", "--out", "drafted", "--steps"],
            ["draft", "top.yaml", "--slips", "--out", "slips"],
            ["draft", "top.yaml", "--why", "side"],
            ["lay", "top.yaml", "--seconds", "0", "--beam", "47x27 in" if unit == "in" else "120x70 cm"],
            ["print", "top.yaml", "--paper", "letter", "--out", "top.pdf"],
            ["export", "top.yaml", "--out", "top.svg"],
            ["frame", "top.yaml", "--calibration", "cal.yaml", "--out", "frame.png"],
        ):  # fmt: skip
            heard_here = capture.MultiCapture(
                in_=None, out=capture.SysCapture(1), err=capture.SysCapture(2)
            )
            heard_here.start_capturing()
            try:
                assert main(words) == 0
            finally:
                out, err = heard_here.readouterr()
                heard_here.stop_capturing()
            told[" ".join(words[:2])] = told.get(" ".join(words[:2]), "") + out + err
    told["pictures"] = "\n".join(lettered)
    for path in folder.rglob("*.pdf"):
        pages = [p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(path)]
        told[path.name] = "\n".join(pages)
    for path in folder.rglob("*.svg"):
        written = re.findall(r"<(text|title|desc)\b[^>]*>(.*?)</\1>", path.read_text(), re.DOTALL)
        told[path.name] = "\n".join(re.sub("<[^>]+>", "", t) for _, t in written)
    told["docket"] = str(folder / "top.yaml")
    told["truing.txt"] = (folder / "drafted" / "truing.txt").read_text()
    return unit, told


def test_no_length_of_the_other_system(sitting: tuple[str, dict[str, str]]) -> None:
    """Draft, steps, slips, lay with order of cutting, print, export and the table's picture."""
    unit, told = sitting
    assert len(told) > 20 and all(told.values()), {k: len(v) for k, v in told.items()}
    assert "length" in told["pictures"] or len(told["pictures"]) > 100
    wrong = {where: bad for where, words in told.items() if (bad := other_units(words, unit))}
    assert wrong == {}


def test_the_search_finds_the_other_system() -> None:
    """What it looks for, it sees; what is no length, it leaves."""
    assert other_units("off by 0.3 mm", "in") and other_units("1.4 m of cloth", "in")
    assert other_units("7 1/16 in long", "cm") and other_units("2 yd", "cm")
    assert not other_units("cut 2 in the fold\n1 in 4 in × 4 in", "cm")
    assert not other_units("3/8 in and 0.02 in", "in") and not other_units("6 mm, 1.2 m", "cm")


def test_calibrated_by_tape_in_inches(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Readings in inches are told in inches; `check` of that calibration and its photo's report too."""
    monkeypatch.chdir(tmp_path)
    true = projector((1920, 1080))
    crosses = crosses_for((1920, 1080))
    rows = []
    for a, b in pairs_of(crosses):
        (x0, y0), (x1, y1) = true.to_table([crosses[a], crosses[b]])
        mm = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        rows.append(f"  {a}-{b}: {format_length(mm, 'in')}\n")
    Path("d.yaml").write_text(
        "chalkbeam: 1\nsize: [1920, 1080]\nunit: in\ndistances:\n" + "".join(rows).replace(" in\n", "\n")
    )  # fmt: skip
    assert main(["calibrate", "tape", "d.yaml", "--size", "1920x1080", "--out", "c.yaml"]) == 0
    told = capsys.readouterr().out
    assert " in (" in told and other_units(told, "in") == [], told


def test_the_table_in_inches(sitting: tuple[str, dict[str, str]]) -> None:
    """What the strip, the help page, the check square and the terminal say while she is at the table."""
    from projector.session.words import help_rows, lines

    unit, told = sitting
    laid = Docket.load(told["docket"])
    at_table = Sitting(laid, projector((1920, 1080)), truth="true to 2.6 mm at worst")
    for note in height.notes(laid, projector((1920, 1080))):
        at_table.tell(note)
    heard = []
    for key in ("", "tab", "up", "right", "k", "escape", "c", "escape", "shift+n"):
        if key:
            at_table.key(key)
        heard += lines(at_table.state)
    heard += [*at_table.state.said, *(text for _, text in help_rows(at_table.state))]
    assert len(heard) > 40 and other_units("\n".join(heard), unit) == []


@pytest.mark.parametrize("unit", ["in", "cm"])
def test_the_cards_in_her_unit(
    unit: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a folder of hers, the print's bars and blanks, the command and the next one are in her unit;
    a bar read as 7.09 without one is asked back."""
    monkeypatch.chdir(tmp_path)
    Path("body.yaml").write_text(INCHES.replace("unit: in", f"unit: {unit}"))
    assert main(["calibrate", "cards", "--paper", "letter", "--out", "cards.pdf"]) == 0
    pages = pypdfium2.PdfDocument("cards.pdf")
    told = capsys.readouterr().out + "\n".join(p.get_textpage().get_text_range() for p in pages)
    assert ("7 3/32 in" in told) == (unit == "in")
    assert main(["calibrate", "pattern", "--size", "1920x1080", "--out", "p.png"]) == 0
    following = capsys.readouterr().out.splitlines()[-1]
    assert ("7 3/32 in,9 27/32 in" in following) == (unit == "in")
    assert other_units(told.replace("a print", ""), unit) == []
    words = [
        "calibrate",
        "photo",
        "no.jpg",
        "--size",
        "1920x1080",
        "--out",
        "c.yaml",
        "--bars",
        "7.09,9.84",
    ]
    assert main(words) == 2 and "did you mean 7.09 in?" in capsys.readouterr().err


def test_the_reports_of_a_photo_and_of_a_check_in_inches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sentence, advice, numbers and the picture's legend; the same calibration in mm has no inch."""
    import numpy as np

    lettered: list[str] = []
    draw = cv2.putText
    monkeypatch.setattr(cv2, "putText", lambda *a, **k: (lettered.append(a[1]), draw(*a, **k))[1])
    for unit in ("in", "mm"):
        true = projector((1920, 1080)).told_in(unit)
        solution: Any = SimpleNamespace(
            calibration=true, notes=("A card lay 0.4 mm above the table.",), card_mm={1: 0.012},
            named=(), raised={}, scale=(1.0, 1.0), order=[0],
            cameras=[SimpleNamespace(to_px=lambda mm: np.asarray(mm) + 900.0)],
        )  # fmt: skip
        seen: Any = SimpleNamespace(notes=(), cards={}, pattern=None)
        lettered.clear()
        picture(np.zeros((1000, 1600, 3), np.uint8), solution, seen)
        moved = drift(true, true, 1.0)
        all_told = "\n".join(
            [text(solution, []), *(said_in(s, true.unit) for s in moved.sentences()), *lettered]
        )
        assert other_units(all_told, "in" if unit == "in" else "cm") == []
        assert ("0.016 in above" in all_told) == (unit == "in")


@pytest.mark.parametrize(
    ("metric", "inches"),
    [
        ("off by 0.51 mm", "off by 0.020 in"),
        ("12.7 mm wide", "0.50 in wide"),
        ("254 mm", "10 in"),
        ("over 1.27 × 0.635 m", "over 50 × 25 in"),
        ("33.02 cm of cloth", "13 in of cloth"),
        ("6 mm", "1/4 in"),
        ("+2.5 mm to the right", "+0.098 in to the right"),
        ("20 mm², 3 m/s, 4 mmm", "20 mm², 3 m/s, 4 mmm"),
    ],
)
def test_a_sentence_told_in_inches(metric: str, inches: str) -> None:
    """By 1 in = 25.4 mm (international yard agreement of 1959); areas are left alone."""
    assert said_in(metric, "in") == inches
    for unit in ("mm", "cm", "m"):
        assert unit not in INCH_UNITS and said_in(metric, unit) == metric


def test_small_lengths_of_both_systems() -> None:
    """Two decimals of a mm below 1, three of an inch below a tenth."""
    assert [small_text(v) for v in (0.024, 0.4, 3.26)] == ["0.02 mm", "0.40 mm", "3.3 mm"]
    assert [small_text(v, "in") for v in (0.024, 0.4, 3.26)] == ["0.0009 in", "0.016 in", "0.13 in"]


@pytest.mark.parametrize(
    ("cloth", "told"), [("1400 mm", "slit 6.0 cm"), ("55 in", "slit 2 3/8 in")]
)
def test_what_stands_on_a_piece_is_in_the_system_of_its_docket(cloth: str, told: str) -> None:
    """Measured in inches, cloth by the metre: the slit's mark and label are told in cm, as the lay is."""
    from configs import shipped
    from drafting import Cloth, Docket

    read = Docket.load(shipped("dockets", "rehearsal-top.yaml"))
    docket = read.replace(cloth=Cloth.from_dict({"width": cloth}), lay=())
    if cloth.endswith("in"):
        docket = docket.replace(unit="in")
    back = docket.pieces()["back"]
    assert told in {m.name for m in back.marks} and told in back.label


def test_a_metric_docket_decides_for_what_is_beside_it(tmp_path: Path) -> None:
    """Measures in inches beside a docket with cloth in mm, changed after them: told in mm; alone, in inches."""
    import os

    from projector.next_step import unit_here

    body, docket = tmp_path / "alto-3.yaml", tmp_path / "top.yaml"
    body.write_text("chalkbeam: 1\nunit: in\nmeasurements: {bust_girth: 36}\n")
    assert unit_here(tmp_path) == "in"
    docket.write_text("chalkbeam: 1\ntitle: top\ncloth: {width: 1400 mm}\n")
    os.utime(body, (1e9, 1e9))
    assert unit_here(tmp_path) == "mm"
    docket.write_text("chalkbeam: 1\ntitle: top\ncloth: {width: 45 in}\n")
    assert unit_here(tmp_path) == "in"
