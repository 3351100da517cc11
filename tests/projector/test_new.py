"""A docket by question and answer, what comes next, and calibration with no docket."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner, Result

from configs import shipped
from drafting import Docket, blocks
from projector.cli import cli
from projector.next_step import after, of_docket

TOP = str([n for n in blocks.names() if blocks.get(n).alone].index("quick-top") + 1)
ALTO = ["36 3/4", "", "30 1/2", "", "41", "", "5 1/2", "", "4 3/4", "", "24", "", ""]


@pytest.fixture(autouse=True)
def _alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))


def typed(lines: list[str], *words: str) -> Result:
    """Run a command with these lines typed."""
    return CliRunner().invoke(cli, list(words), input="".join(f"{x}\n" for x in lines))


def test_from_nothing_to_a_docket_drafted_and_the_next_command() -> None:
    """The program alone asks, measures, writes a docket that every line explains, drafts, shows, goes on."""
    result = typed([TOP, "", "rehearsal top", "alto-3", "in", "45", "2 yd", "n", "", *ALTO])
    assert result.exit_code == 0, result.output
    docket = Docket.load("rehearsal-top.yaml")
    assert docket.title == "rehearsal top" and docket.wearer == "alto-3" and docket.unit == "in"
    assert docket.cloth is not None
    assert docket.cloth.width_mm == pytest.approx(1143.0)  # 45 in; 1 in = 25.4 mm by agreement
    assert docket.cloth.length_mm == pytest.approx(1828.8)
    text = Path("rehearsal-top.yaml").read_text()
    assert all("#" in x for x in text.splitlines() if not x.startswith(("  hem", "  neck", "cloth:", "garment:")))  # fmt: skip
    assert "⠤" in result.output and "checks of the draft passed" in result.output
    assert result.output.endswith("Next: chalkbeam lay rehearsal-top.yaml\n")
    assert not Path(".chalkbeam-new.yaml").exists()


def test_every_block_is_offered() -> None:
    """What she can make is whatever there is a block for that stands alone."""
    said = typed([], "new").output
    for block in map(blocks.get, blocks.names()):
        assert (block.title in said) == getattr(block, "alone", True), block.name


def test_measures_later_and_next_says_how() -> None:
    """Measured later, the docket stands, and the next command takes what its block needs."""
    result = typed([TOP, "", "", "bass 2", "", "", "l"], "new", "jacket.yaml")
    assert result.exit_code == 0, result.output
    assert yaml.safe_load(Path("jacket.yaml").read_text())["measurements"] == "bass-2.yaml"
    assert "Next: chalkbeam measure bass-2.yaml --block quick-top" in result.output


def test_an_end_in_the_middle_loses_no_answer() -> None:
    """After the end of input no docket is there, and the same command asks only what is left."""
    first = typed([TOP, "", "stage blouse"], "new", "blouse.yaml")
    assert first.exit_code == 1 and not Path("blouse.yaml").exists()
    assert "Next: chalkbeam new blouse.yaml" in first.output
    second = typed(["alto-3", "", "", "l"], "new", "blouse.yaml")
    assert second.exit_code == 0, second.output
    assert yaml.safe_load(Path("blouse.yaml").read_text())["title"] == "stage blouse"
    assert "What do you call it" not in second.output


def test_back_asks_the_question_before() -> None:
    """b goes back a question, and its answer is asked anew."""
    result = typed([TOP, "", "wrong", "b", "right", "alto-3", "", "", "l"], "new")
    assert result.exit_code == 0, result.output
    assert Path("right.yaml").exists() and not Path("wrong.yaml").exists()


def test_ctrl_c_keeps_the_answers(tmp_path: Path) -> None:
    """Ctrl-C at a terminal leaves with 130, without a docket and with every answer kept."""
    main, side = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-c", "from projector.cli import main; main()", "new"],
        cwd=tmp_path, stdin=side, stdout=side, stderr=side, start_new_session=True,
    )  # fmt: skip
    os.close(side)
    said = ""
    answers = [TOP, ""]
    until = time.monotonic() + 60
    while time.monotonic() < until and "What do you call it" not in said:
        if select.select([main], [], [], 0.1)[0]:
            said += os.read(main, 4096).decode(errors="replace")
        if answers and said.rstrip().endswith(":") and said.count(":") > 2 - len(answers):
            os.write(main, f"{answers.pop(0)}\n".encode())
            time.sleep(0.3)
    run.send_signal(signal.SIGINT)
    assert run.wait(30) == 130
    os.close(main)
    assert not list(tmp_path.glob("*.yaml"))[1:], "only the hidden file of answers"
    kept = yaml.safe_load((tmp_path / ".chalkbeam-new.yaml").read_text())["answers"]
    assert kept["block"] == "quick-top"


def test_nothing_of_hers_is_written_over() -> None:
    """A docket of that name is refused when it is named, and passed by when the title names it."""
    Path("top.yaml").write_text("chalkbeam: 1\ntitle: top\ngarment: {block: quick-top}\n")
    refused = typed([TOP], "new", "top.yaml")
    assert refused.exit_code != 0
    result = typed([TOP, "", "top", "alto-3", "", "", "l"], "new")
    assert result.exit_code == 0 and Path("top-2.yaml").exists()


def test_answers_that_cannot_be_are_asked_back() -> None:
    """A cloth 140 in wide is asked back with the unit that fits, and a wrong word with the nearest."""
    result = typed([TOP, "", "t", "alto-3", "in", "140 m", "55", "", "", "l"], "new")
    assert "is no cloth's" in result.output
    result = typed(["quick-tip"], "new", "u.yaml")
    assert "Did you mean" in result.output or "As it usually is" in result.output


def test_next_follows_what_is_there(tmp_path: Path) -> None:
    """Measure, lay, calibrate, project: each when the one before is done."""
    docket = tmp_path / "top.yaml"
    head = "chalkbeam: 1\ntitle: t\nmeasurements: alto-3.yaml\ngarment: {block: quick-top}\n"
    docket.write_text(head)
    assert of_docket(docket).startswith("chalkbeam measure")
    (tmp_path / "alto-3.yaml").write_bytes(shipped("measurements", "alto-3.yaml").read_bytes())
    assert of_docket(docket).startswith("chalkbeam print")
    docket.write_text(head + "cloth: {width: 1400 mm}\n")
    assert of_docket(docket) == f"chalkbeam lay {docket}"
    docket.write_text(head + "cloth: {width: 1400 mm}\nlay: [{piece: front, at: [0, 0]}]\n")
    assert of_docket(docket) == "chalkbeam calibrate"
    kept = tmp_path / "home" / "calibrations" / "beam"
    kept.mkdir(parents=True)
    (kept / "20261102100000.yaml").write_text("chalkbeam: 1\n")
    assert of_docket(docket) == f"chalkbeam project {docket}"
    shown = after("calibrate lead", {"display": 0, "calibrated": True}, 0)
    assert shown == "chalkbeam project top.yaml --display 0", "where it was calibrated"
    assert after("project", {"docket": docket, "display": 1}, 0).endswith("--display 1")
    assert after("calibrate photo", {"display": "Epson"}, 0) == "chalkbeam project top.yaml"
    assert after("draft", {"docket": docket}, 1) == "", "a failed draft is not laid"


def test_every_next_command_is_one(tmp_path: Path) -> None:
    """What each rule answers can be typed: its command and its options are there."""
    import shlex

    import click

    from projector.next_step import _RULES, _RULES_DONE

    docket = tmp_path / "o'clock top.yaml"  # a name that a shell would break
    given = {"docket": docket, "out": docket, "folder": tmp_path, "size": (1280, 720), "blocks": ("quick-top",)}  # fmt: skip
    for command in (*_RULES, *_RULES_DONE):
        words = shlex.split(after(command, given, 0)) or ["chalkbeam", "new"]
        found: click.Command | None = cli
        for word in words[1:]:
            if isinstance(found, click.Group):
                found = found.get_command(click.Context(found), word)
        assert found is not None, (command, words)
        known = {o for p in found.params for o in p.opts}
        assert {w for w in words if w.startswith("--")} <= known, (command, words)


def test_calibrate_alone_leads_without_a_docket() -> None:
    """`calibrate` alone asks for the way, and its way to the cards writes them."""
    result = typed(["9", "print", "letter"], "calibrate")
    assert result.exit_code == 0, result.output
    assert "'9' is none of these" in result.output
    assert Path("cards.pdf").exists() and "Next: chalkbeam calibrate pattern" in result.output
    ended = typed([], "calibrate")
    assert ended.exit_code in (0, 1) and "Nothing was changed" in ended.output


def test_calibrate_alone_opens_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """The way over the table opens first light itself; left there, nothing is kept."""
    from projector import app

    seen: list[object] = []

    def run(sitting: object, beam: object) -> None:
        seen.append(sitting)

    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setattr(app, "run", run)
    result = typed(["1"], "calibrate")
    assert type(seen[0]).__name__ == "FirstLight", result.output
    assert "Nothing was changed" in result.output


def test_page_and_terminal_tell_the_same_figure(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the page Found says of a calibration is what the terminal says when it was taken."""
    from table_rig import projector

    from calibrate.report import headline
    from projector import app

    found = projector((1280, 720))

    def run(sitting: object, beam: object) -> None:
        sitting.result = found  # type: ignore[attr-defined]

    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setattr(app, "run", run)
    result = typed([], "calibrate", "--window")
    assert f"Calibrated. {headline(found)} It was a window" in " ".join(result.output.split())


def test_a_sleeve_is_sewn_to_a_top_by_choosing() -> None:
    """Who chooses is asked what is sewn to it; the docket drafts with it, and its measures are asked."""
    top = blocks.get("quick-top")
    asked = [o for o in top.options if o.choices and not o.when]
    shorter = ["" for _ in asked]
    body = shipped("measurements", "alto-3.yaml")
    Path("alto-3.yaml").write_bytes(body.read_bytes())
    result = typed([TOP, "c", *shorter, "set-in-sleeve", "", "1", ""], "new")
    assert result.exit_code == 0, result.output
    docket = Docket.load("quick-top.yaml")
    assert "sleeve" in " ".join(docket.pieces()), result.output


def test_who_works_in_inches_is_told_in_inches() -> None:
    """A docket in inches: the lay, what is left over and the caution hold no metric length; the same
    body on cloth written in metres is told in cm."""
    Path("alto-3.yaml").write_bytes(shipped("measurements", "alto-3.yaml").read_bytes())
    head = "chalkbeam: 1\ntitle: t\nmeasurements: alto-3.yaml\ngarment: {block: quick-top}\n"
    for name, cloth, there in (
        ("inch", "unit: in\nallowances: {all: 3/8}\ncloth: {width: 45, length: 2 yd}\n", False),
        ("metric", "allowances: {all: 1 cm}\ncloth: {width: 1400 mm, length: 2 m}\n", True),
    ):
        Path(f"{name}.yaml").write_text(head + cloth)
        said = CliRunner().invoke(cli, ["lay", f"{name}.yaml", "--seconds", "0"]).output
        assert "Length needed" in said, said
        metric = re.findall(r"\d (?:mm|cm|m|m²)\b", said)
        assert bool(metric) == there, said
        assert bool(re.search(r"\d in\b", said)) != there, said
