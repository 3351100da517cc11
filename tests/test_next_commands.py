"""Each command ends with the next one, written out: typed as they stand, one after the other, they
lead from nothing to lines on the virtual cloth.

Only what hands do is done here: answers are typed, the printed cards are laid in the projected pattern on
the virtual table and photographed. The last command, which sits at the table, is answered by the table's
own picture, without a window.
"""

from __future__ import annotations

import os
import shlex
from pathlib import Path
from typing import Any

import cv2
import pytest
import yaml
from click.testing import CliRunner

from calibrate import Calibration
from calibrate.pattern import load_pattern
from calibrate.simulate import VirtualCamera, VirtualTable
from calibrate.store import kept
from configs import shipped
from drafting import Docket, blocks
from projector import render
from projector.cli import cli
from projector.demo import lay_cards, measured

BLOCK = "quick-top"
TITLE = "lunch-hour top"
SIZE = (1920, 1080)
SHORTER = {"lay": {"seconds": 0.2}}  # than the 10 s for which a lay is looked for


def take_photo(table: VirtualTable) -> None:
    """The cards in the bright windows of the pattern, and one photo of both."""
    sheets = lay_cards(table, load_pattern("pattern.yaml"), 5)
    camera = VirtualCamera.phone(5, table.beam_mm(), size=(2400, 1800))
    shown = cv2.imread("pattern.png")[..., ::-1]
    photo = table.with_sheets(sheets).photograph(shown, camera, 3)
    cv2.imwrite("photo.jpg", photo[..., ::-1])


def typed(words: list[str], table: VirtualTable) -> str:
    """What she types to a command, after what her hands have done for it."""
    body = yaml.safe_load(shipped("measurements", "soprano-2.yaml").read_text())["measurements"]
    if words == ["new"]:
        number = [n for n in blocks.names() if blocks.get(n).alone].index(BLOCK) + 1
        return "\n".join(
            [str(number), "", TITLE, "soprano-2", "cm", "140", "2 m", "n", "", "l", ""]
        )
    if words[0] == "measure":
        lines = [line for key in blocks.get(BLOCK).needs for line in (str(body[key]), "")]
        return "\n".join([*lines, "", "", ""])
    if words == ["calibrate"]:
        return "print\n\n"
    if words[:2] == ["calibrate", "photo"]:
        take_photo(table)
    return ""


def test_the_printed_commands_lead_to_lines_on_the_cloth(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From `chalkbeam new` on, every 'Next:' runs as printed and leads on, none comes twice; what the
    table shows at the end is true to 0.2 mm, a third of a dot."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    table = VirtualTable.random(21, SIZE, beam_width_mm=1200.0, surface="wood")
    line, done = "chalkbeam new", []
    while not line.startswith("chalkbeam project "):
        assert line not in done, [*done, line]
        done.append(line)
        words = shlex.split(line)[1:]
        result = CliRunner().invoke(cli, words, input=typed(words, table), default_map=SHORTER)
        assert result.exit_code == 0, (line, result.output)
        told = [x for x in result.output.splitlines() if x.startswith("Next: ")]
        assert len(told) == 1 and result.output.rstrip().endswith(told[0]), (line, result.output)
        line = told[0].removeprefix("Next: ")
    first = [" ".join(shlex.split(x)[1:3]) for x in done]
    assert first == ["new", "measure soprano-2.yaml", "draft lunch-hour-top.yaml", "lay lunch-hour-top.yaml",
                     "calibrate", "calibrate pattern", "calibrate photo"]  # fmt: skip
    docket = Docket.load(shlex.split(line)[2])
    assert docket.title == TITLE and docket.lay and len(kept()) == 1
    calibration = Calibration.load("calibration.yaml")
    frame = render(docket, calibration, mode="trace")
    trueness = measured(table, frame, docket, calibration)
    assert 0.0 < trueness.rms_mm < 0.2 < trueness.mm_per_px, trueness.rms_mm
    there = CliRunner().invoke(cli, ["frame", docket.path.name, "--calibration", "calibration.yaml",
                                     "--out", "frame.png"])  # fmt: skip
    assert there.exit_code == 0 and Path("frame.png").stat().st_size > 1000, there.output


NAMES = ("a b.yaml", "it's.yaml", "été.yaml", "-top.yaml", "$HOME.yaml")


@pytest.mark.parametrize("name", NAMES)
def test_names_are_printed_so_that_a_shell_takes_them(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Spaces, quotes, a dash in front: the printed line is read back by the shell as it was meant."""
    import subprocess

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    Path("alto-3.yaml").write_bytes(shipped("measurements", "alto-3.yaml").read_bytes())
    Path(name).write_text(
        "chalkbeam: 1\ntitle: t\nmeasurements: alto-3.yaml\ngarment: {block: quick-top}\n"
        "allowances: {all: 10 mm}\ncloth: {width: 140 cm, length: 2 m}\n"
    )
    given = f"./{name}"
    result = CliRunner().invoke(cli, ["draft", given, "--out", "out"])
    assert result.exit_code == 0, result.output
    line = result.output.splitlines()[-1].removeprefix("Next: ")
    if os.name == "posix":
        said: Any = subprocess.run(
            ["sh", "-c", f"chalkbeam() {{ printf '%s\\n' \"$@\"; }}; {line}"],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        words = said.stdout.splitlines()
        assert words[0] == "lay" and Path(words[1]).resolve() == Path(name).resolve()
        result = CliRunner().invoke(cli, [*words, "--seconds", "0", "--no-compare"])
        assert result.exit_code == 0, result.output
