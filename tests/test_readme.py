"""The README keeps its word: its dockets load and draft, its commands exist, its pictures are there."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest
import yaml

from configs import shipped
from drafting import Docket
from projector.cli import _COMMANDS, CALIBRATE_COMMANDS

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
DOCKETS = [
    textwrap.dedent(block)
    for block in re.findall(r"```yaml\n(.*?)^ *```", TEXT, re.DOTALL | re.MULTILINE)
    if "garment:" in block
]


@pytest.mark.parametrize("number", range(len(DOCKETS)))
def test_docket_examples_draft(number: int) -> None:
    """Each docket shown in the README loads, drafts and passes its checks."""
    data = yaml.safe_load(DOCKETS[number])
    wearer = Path(data["measurements"]).name
    data["measurements"] = str(shipped("measurements", wearer))
    docket = Docket.from_dict(data)
    assert docket.cloth is not None
    assert set(docket.pieces()) >= {"front", "back"}
    assert all(check.ok for check in docket.draft().checks())


def test_there_are_examples() -> None:
    """The README shows a first docket and a full one."""
    assert len(DOCKETS) == 2


def test_commands_named_exist() -> None:
    """Every `chalkbeam …` in the README is a command that there is."""
    for name, sub in re.findall(r"chalkbeam ([a-z]+)(?: ([a-z]+))?", TEXT):
        if name in ("takes", "demo"):
            continue
        assert name in _COMMANDS, name
        if name == "calibrate" and sub:  # alone it leads
            assert sub in CALIBRATE_COMMANDS, sub


def test_pictures_are_there() -> None:
    """Every picture that the README shows lies in the repository."""
    found = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", TEXT)
    assert found
    for path in found:
        assert (ROOT / path).stat().st_size > 10_000, path


def test_shipped_dockets_draft_and_name_their_cloth() -> None:
    """Every docket that is shipped drafts, passes its checks and has a cloth to lie on."""
    dockets = sorted(shipped("dockets").glob("*.yaml"))
    assert dockets
    for path in dockets:
        docket = Docket.load(path)
        assert docket.cloth is not None, path
        assert all(check.ok for check in docket.draft().checks()), path
