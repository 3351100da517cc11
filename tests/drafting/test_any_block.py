"""A block and a measurement that nothing else was written for go through every command.

The toy block is a file of its own and a row in the measurements' registry; no other line of the
program knows of it.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from drafting import Measurements, blocks, figures, measurements
from drafting.blocks import Block, draft, get
from drafting.measurements import Measure
from drafting.sheet import board
from projector.cli import cli, main

TOY = '''
"""A leg without fit changes, whose edges have odd names."""

import numpy as np

from drafting.blocks import Block
from drafting.sheet.finishing import rectangle
from drafting.sheet.options import choice, length
from drafting.truing import Seam


def legs(s):
    wide, long_ = (s.m["shin_girth"] / 2).named("half the shin"), s.style["leg_length"]
    with s.step("frame", "A leg", "left leg"):
        s.frame(long_, float(wide) + 50.0, top_line=0.0, cuff_line=long_)
        s.point("outer cuff", on="cuff line", out=wide + 10)
        s.draw("outseam", np.array([(float(wide) + 10, 0.0), (float(wide) + 10, -float(long_))]), "straight")
    for name in ("left leg", "right leg"):
        leg = rectangle(name, ("cuff", "outseam", "top", "inseam"), float(wide) + 10, float(long_))
        s.add(leg, outseam=long_, inseam=long_, all=wide)
    s.seams.append(Seam("inseam", (("left leg", "inseam"),), (("right leg", "inseam"),)))


BLOCK = Block(
    name="toy-leg",
    title="A leg",
    text="Two legs.",
    needs=("shin_girth",),
    helps=(),
    options=(
        length("leg_length", "How long.", 400.0, 100.0, 900.0),
        choice("cuff", "What ends it.", {"plain": "cut off", "turned": "turned up"}),
    ),
    edges=("cuff", "outseam", "top", "inseam"),
    draw=legs,
)
'''
SHIN = Measure("shin_girth", 200, 600, "Tape round the shin.", "Standing.")


@pytest.fixture
def toy(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Block:
    """The block as a new file among the others, and its measure in the registry, without a figure."""
    home = tmp_path / "more_blocks"
    home.mkdir()
    (home / "toy_leg.py").write_text(TOY, encoding="utf-8")
    monkeypatch.setattr(blocks, "__path__", [*blocks.__path__, str(home)])
    monkeypatch.delitem(sys.modules, "drafting.blocks.toy_leg", raising=False)
    registry = {**measurements.REGISTRY, SHIN.key: SHIN}
    for module in (measurements, figures, board):
        monkeypatch.setattr(module, "REGISTRY", registry)
    for name in ("slips", "report"):
        monkeypatch.setattr(f"drafting.{name}.REGISTRY", registry)
    return get("toy-leg")


@pytest.fixture
def docket(tmp_path: Path) -> Path:
    """A docket for the toy."""
    path = tmp_path / "legs.yaml"
    path.write_text(
        "chalkbeam: 1\ntitle: deck legs\n"
        "unit: cm\nmeasurements: {shin_girth: 36.5}\n"
        "garment: {block: toy-leg, style: {leg_length: 41 cm}}\n"
        "allowances: {all: 10 mm, cuff: 30 mm}\n"
        "cloth: {width: 90 cm, length: 2 m}\n",
        encoding="utf-8",
    )
    return path


def test_a_block_without_fit_changes_is_listed(
    toy: Block, capsys: pytest.CaptureFixture[str]
) -> None:
    """``blocks NAME`` prints all of it and says nothing of a fit list it has not."""
    assert main(["blocks", toy.name]) == 0
    said = capsys.readouterr().out
    assert "shin_girth" in said and "turned" in said
    assert "fit:" not in said
    assert main(["blocks"]) == 0
    assert "toy-leg: A leg" in capsys.readouterr().out


def test_figures_of_a_measure_without_one(
    toy: Block, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``measure --figures`` writes the sheet with a card for it, and goes on to the questions."""
    out = tmp_path / "body.yaml"
    args = ["measure", str(out), "--block", toy.name, "--figures", str(tmp_path / "f"), "--plain"]
    result = CliRunner().invoke(cli, args, input="cm\nalto-1\n\n36\n36\n\n")
    assert (tmp_path / "f" / "measuring-sheet.pdf").read_bytes()[:4] == b"%PDF"
    assert "shin girth" in result.output
    assert "Traceback" not in result.output and not isinstance(result.exception, Exception)


def test_the_toy_drafts(toy: Block) -> None:
    """The toy block itself is sound."""
    made = draft(toy.name, Measurements.from_dict({"unit": "cm", "shin_girth": 36}))
    assert set(made.pieces) == {"left leg", "right leg"}
    assert all(c.ok for c in made.checks())


def test_draft_and_steps(
    toy: Block, docket: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pieces, truing, step pictures with the sum worked out; why and slips from the record."""
    out = tmp_path / "out"
    assert main(["draft", str(docket), "--out", str(out), "--steps"]) == 0
    assert {"left-leg.svg", "right-leg.svg", "steps.pdf", "truing.txt"} <= {
        p.name for p in out.iterdir()
    }
    step = next((out / "steps").glob("*-frame.svg")).read_text(encoding="utf-8")
    assert "outer cuff" in step and "cuff line" in step
    capsys.readouterr()
    assert main(["draft", str(docket), "--why", "outseam", "--slips", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [h["key"] for h in told["why"]["hangs_on"]] == ["style.leg_length"]
    assert [(s["measure"], s["moved_mm"]) for s in told["slips"]] == [("shin_girth", 5.0)]


def test_lay_and_export(toy: Block, docket: Path, tmp_path: Path) -> None:
    """The planner lays both legs, and the export writes their odd edges' lines."""
    assert main(["lay", str(docket), "--seconds", "1"]) == 0
    text = docket.read_text(encoding="utf-8")
    assert text.count("left leg") == 1 and text.count("right leg") == 1
    for name in ("legs.svg", "legs.dxf"):
        assert main(["export", str(docket), "--out", str(tmp_path / name)]) == 0
        assert "left leg" in (tmp_path / name).read_text(encoding="utf-8")
