"""A block and a measurement that nothing else was written for go through every command."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from drafting import Measurements, blocks, figures, measurements
from drafting.blocks import Block, Draft, draft
from drafting.outline import Edge
from drafting.piece import Piece
from projector.cli import cli, main


def _legs(m: Measurements, style: object, fit: object) -> Draft:
    """Two rectangles with edges of odd names."""
    wide, long_ = m["shin_girth"] / 2, 400.0
    ring = np.array([(0.0, 0.0), (wide, 0.0), (wide, long_), (0.0, long_), (0.0, 0.0)])
    names = ("cuff", "outseam", "top", "inseam")
    edges = {n: Edge(n, ring[i : i + 2]) for i, n in enumerate(names)}
    pieces = {n: Piece(n, edges) for n in ("left leg", "right leg")}
    return Draft("toy-leg", m, style, fit, pieces)  # type: ignore[arg-type]


@pytest.fixture
def toy(monkeypatch: pytest.MonkeyPatch) -> Block:
    """A block of two legs without fit changes, whose measure has no figure."""
    block = Block("toy-leg", "A leg", "Two legs.", ("shin_girth",), (), (), ("cuff",), _legs)
    module = ModuleType("toy_leg_home")
    module.BLOCK = block  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "toy_leg_home", module)
    monkeypatch.setitem(blocks._HOMES, "toy-leg", ("toy_leg_home", "BLOCK"))
    like = measurements.REGISTRY["upper_arm_girth"]
    shin = SimpleNamespace(**{n: getattr(like, n) for n in like.__dataclass_fields__})
    shin.key, shin.name, shin.spread_mm = "shin_girth", "shin girth", 10.0
    registry = {**measurements.REGISTRY, "shin_girth": shin}
    for home in (measurements, figures):
        monkeypatch.setattr(home, "REGISTRY", registry)
    return block


def test_a_block_without_fit_changes_is_listed(
    toy: Block, capsys: pytest.CaptureFixture[str]
) -> None:
    """``blocks NAME`` prints all of it and says nothing of a fit list it has not."""
    assert main(["blocks", toy.name]) == 0
    said = capsys.readouterr().out
    assert "shin_girth" in said
    assert "fit:" not in said


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
