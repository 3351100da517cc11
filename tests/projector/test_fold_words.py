"""Which sides lie together is said in words: on the lay's picture, at the table, on the sheets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from table_rig import docket, projector

from drafting.docket import Docket
from drafting.lay import Effort, plan
from projector.cli import main
from projector.lay_picture import _Picture, lay_picture
from projector.session.keys import Keys
from projector.session.sitting import Sitting
from projector.session.words import lines, shown

HERE = Effort(seed=3, workers=0)
ROWS = """chalkbeam: 1
title: flag
allowances: {all: 10 mm}
pieces:
- {name: flap, outline: [[0, 0], [300, 0], [250, 300], [0, 150]]}
- {name: sleeve, cut: 2, pair: true, outline: [[0, 0], [200, 0], [250, 300], [0, 350]]}
"""
SAID = {"in": "right sides together", "out": "wrong sides together"}


def laid(folder: Path, cloth: str) -> Docket:
    """A docket with a one-sided piece and a pair, laid on a cloth."""
    path = folder / "flag.yaml"
    path.write_text(f"{ROWS}cloth: {cloth}\n", encoding="utf-8")
    read = Docket.load(path)
    assert read.cloth is not None
    lay = plan(read.pieces(), read.cloth, 0.2, rules=read.rules, effort=HERE)
    assert lay.problems() == [] and lay.left_out == ()
    read.replace(lay=lay.docket_placements()).save()
    return Docket.load(path)


@pytest.mark.parametrize("face", ["in", "out"])
def test_the_picture_says_it(face: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Head and label: how it is folded, and that the one-layer piece lies turned over, or not."""
    read = laid(tmp_path, f"{{width: 1400 mm, fold: {{way: lengthwise, face: {face}}}}}")
    said: list[str] = []
    real = _Picture.text

    def heard(self: Any, at: Any, words: str, *args: Any, **kwargs: Any) -> None:
        said.append(words)
        real(self, at, words, *args, **kwargs)

    monkeypatch.setattr(_Picture, "text", heard)
    lay_picture(read)
    text = "\n".join(said)
    assert SAID[face] in text and "upper layer only" in text
    assert ("turned over" in text) == (face == "in")


def test_the_picture_in_inches_tells_what_the_sentence_tells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Crosswise in inches: its length as it lies and opened out, no centimetre anywhere."""
    read = laid(tmp_path, "{width: 54 in, fold: crosswise}")
    said: list[str] = []
    monkeypatch.setattr(_Picture, "text", lambda self, at, words, *a, **k: said.append(words))
    lay_picture(read, unit="in")
    text = "\n".join(said)
    assert "54 in wide" in text and "opened out" in text and " cm" not in text


@pytest.mark.parametrize("face", ["in", "out"])
def test_the_table_says_it(face: str) -> None:
    """The strip names the sides that lie together; a single layer needs no such word."""
    cloth = {"width": 1400, "length": 1500, "fold": {"way": "lengthwise", "face": face}}
    sitting = Sitting(docket(cloth=cloth), projector(), Keys())
    assert SAID[face] in lines(sitting.state)
    single = {"width": 1400, "length": 1500}
    told = lines(Sitting(docket(cloth=single), projector(), Keys()).state)
    assert not any("sides together" in line for line in told)


def test_the_label_at_the_table_tells_the_layers(tmp_path: Path) -> None:
    """Folded in part: both layers, the upper one only and turned over, or one layer."""
    read = laid(tmp_path, "{width: 1400 mm, fold: {way: partial, over: 450 mm}}")
    state = Sitting(read, projector(), Keys()).state
    notes = {p.key: shown(state, p).notes for p in state.work.lay}
    assert "both layers" in notes["sleeve/1"]
    flap = next(p for p in state.work.lay if p.piece == "flap")
    folded = "upper layer only" in notes["flap/1"]
    assert folded or "one layer" in notes["flap/1"]
    assert ("turned over" in notes["flap/1"]) == flap.mirrored == folded


def test_the_sheets_say_it(tmp_path: Path) -> None:
    """The first page tells how the cloth is folded and when a piece is turned over."""
    read = laid(tmp_path, "{width: 1400 mm, fold: double}")
    out = tmp_path / "flag.pdf"
    assert main(["print", str(read.path), "--paper", "a4", "--out", str(out)]) == 0
    first = pypdfium2.PdfDocument(out)[0].get_textpage().get_text_bounded()
    assert "both selvedges folded to the middle, right sides together" in first
    assert "turn the piece over" in first
