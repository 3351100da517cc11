"""The command line: every command answers, faults are sentences, exit codes hold."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from projector.cli import _COMMANDS, CALIBRATE_COMMANDS, cli, main


@pytest.mark.parametrize("name", sorted(_COMMANDS))
def test_every_command_has_help(name: str) -> None:
    """Each command named in the help exists and explains itself."""
    result = CliRunner().invoke(cli, [name, "--help"])
    assert result.exit_code == 0, result.output
    assert len(result.output) > 80


@pytest.mark.parametrize("name", sorted(CALIBRATE_COMMANDS))
def test_every_calibrate_command_has_help(name: str) -> None:
    """Each calibration command named in the help exists and explains itself."""
    result = CliRunner().invoke(cli, ["calibrate", name, "--help"])
    assert result.exit_code == 0, result.output
    assert len(result.output) > 80


def test_unknown_command_names_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    """A slip of the key is answered with the command she meant, exit code 2."""
    assert main(["drafft"]) == 2
    assert "Did you mean 'draft'?" in capsys.readouterr().err


@pytest.mark.parametrize(
    "args",
    [
        ["draft", "nowhere.yaml", "--out", "out"],
        ["lay", "nowhere.yaml"],
        ["frame", "nowhere.yaml", "--calibration", "none.yaml", "--out", "f.png"],
        ["calibrate", "photo", "nowhere.jpg", "--size", "1920x1080", "--out", "c.yaml"],
        ["calibrate", "tape", "nowhere.yaml", "--size", "1920x1080", "--out", "c.yaml"],
        ["calibrate", "check", "nowhere.jpg", "--calibration", "none.yaml"],
        ["print", "nowhere.yaml", "--paper", "a4", "--out", "p.pdf"],
        ["export", "nowhere.yaml", "--out", "p.svg"],
    ],
)
def test_missing_file_is_a_sentence(
    args: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A file that is not there: one sentence naming it, exit code 2, nothing written."""
    monkeypatch.chdir(tmp_path)
    assert main(args) == 2
    said = capsys.readouterr()
    assert "nowhere" in said.err or "none.yaml" in said.err
    assert "Traceback" not in said.err
    assert list(tmp_path.iterdir()) == []
