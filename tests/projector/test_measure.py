"""Taking measurements, guided: saved after every answer, never lost, never overwritten unseen."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner, Result

from drafting.measurements import Measurements
from drafting.measurements_file import with_value
from projector.cli import cli

NEEDED = (
    "bust_girth", "waist_girth", "hip_girth_at_tailbone", "neck_width", "shoulder_length",
    "back_neck_to_tailbone",
)  # fmt: skip
# typed in centimetres, as one might at the end of a rehearsal; our own scenario
ALTO = ["94", "76", "102", "13", "12.5", "60"]
WHO = ("--unit", "cm", "--wearer", "alto-3")


def run(out: Path, lines: list[str], *options: str) -> Result:
    """Run the command with these lines typed."""
    args = ["measure", str(out), *options]
    return CliRunner().invoke(cli, args, input="".join(f"{x}\n" for x in lines))


def held(out: Path) -> dict[str, object]:
    """The measurements written in a file."""
    return dict(yaml.safe_load(out.read_text(encoding="utf-8"))["measurements"])


def test_whole_measuring(tmp_path: Path) -> None:
    """Six answers in inches, one take each, make a file that the draft can read; exit 0."""
    out = tmp_path / "alto-3.yaml"
    typed = ["36 3/4", "30 1/2", "42 in", '5 1/8"', "4.75", "61 cm"]
    result = run(out, ["in", "alto-3", *typed, ""], "--once")
    assert result.exit_code == 0, result.output
    m = Measurements.load(out)
    assert m.wearer == "alto-3"
    assert m.unit == "in"
    # 1 in = 25.4 mm (international yard and pound agreement, 1959): worked by hand
    expected = [933.45, 774.7, 1066.8, 130.175, 120.65, 610.0]
    assert [m[k] for k in NEEDED] == pytest.approx(expected, abs=1e-9)
    assert held(out)["bust_girth"] == "36 3/4", "kept as she typed it"


def test_two_takes_that_agree(tmp_path: Path) -> None:
    """Two takes within the spread are both kept, and their middle counts."""
    out = tmp_path / "m.yaml"
    run(out, ["94", "94.6", "q"], *WHO)
    assert held(out) == {"bust_girth": [94, 94.6]}
    assert Measurements.load(out)["bust_girth"] == pytest.approx(943.0)


def test_two_takes_apart_ask_a_third(tmp_path: Path) -> None:
    """Past 1 cm on a girth it is told and a third take asked; the nearest two are kept."""
    out = tmp_path / "m.yaml"
    result = run(out, ["94", "96", "95.7", "q"], *WHO)
    assert "differ by 2.0 cm, more than 1.0 cm" in " ".join(result.output.split())
    assert held(out) == {"bust_girth": [96, 95.7]}


def test_lengths_have_a_closer_spread(tmp_path: Path) -> None:
    """0.8 cm passes on a girth and is told on a length (common practice: 1 cm and 0.5 cm)."""
    out = tmp_path / "m.yaml"
    lines = ["94", "94.8", "s", "s", "13", "", "12", "12.8", "12.7", "q"]
    result = run(out, lines, *WHO)
    assert result.output.count("third take") == 1
    assert held(out)["shoulder_length"] == [12.8, 12.7]
    assert held(out)["bust_girth"] == [94, 94.8]


def test_saved_after_every_answer(tmp_path: Path) -> None:
    """The end of input in the middle loses nothing, not even a first take; exit code 1."""
    out = tmp_path / "m.yaml"
    result = run(out, ["94", "", "76"], *WHO)
    assert result.exit_code == 1
    assert held(out) == {"bust_girth": 94, "waist_girth": 76}
    assert "Still missing" in result.output
    assert "Traceback" not in result.output


def test_resumes_where_it_stopped(tmp_path: Path) -> None:
    """The second sitting asks for neither unit, nor wearer, nor what is there already."""
    out = tmp_path / "m.yaml"
    run(out, ["94", "76", "q"], "--once", *WHO)
    result = run(out, [*ALTO[2:], ""], "--once")
    assert result.exit_code == 0, result.output
    assert "2 of 6 are in the file" in result.output
    assert "1 of 6: bust girth" not in result.output
    assert list(held(out)) == list(NEEDED)


def test_back_shows_what_is_there_and_enter_keeps_it(tmp_path: Path) -> None:
    """Back shows the value; Enter leaves it; a new one replaces it and the old one is told."""
    out = tmp_path / "m.yaml"
    result = run(out, ["94", "b", "", "b", "95", "q"], "--once", *WHO)
    assert result.output.count("In the file: 94") == 2
    assert "in place of 94" in result.output
    assert held(out) == {"bust_girth": 95}


def test_skip_then_taken_from_the_table(tmp_path: Path) -> None:
    """A skipped measure stands in the table as not taken and can be chosen there."""
    out = tmp_path / "m.yaml"
    result = run(out, ["94", "s", *ALTO[2:], "9", "waist girth", "76", ""], "--once", *WHO)
    assert "not taken" in result.output
    assert "'9' is none of these" in result.output
    assert result.exit_code == 0
    assert held(out)["waist_girth"] == 76


def test_implausible_warns_and_never_refuses(tmp_path: Path) -> None:
    """36 cm round the bust is asked about, and kept when she says so."""
    out = tmp_path / "m.yaml"
    result = run(out, ["36", "", "q"], "--once", *WHO)
    assert "Is the unit right?" in " ".join(result.output.split())
    assert held(out) == {"bust_girth": 36}
    result = run(tmp_path / "n.yaml", ["36", "m", "94", "q"], "--once", *WHO)
    assert held(tmp_path / "n.yaml") == {"bust_girth": 94}


@pytest.mark.parametrize("word", ["foo", "0", "-3", "1/0", "12 miles", "1e9", "7 m", "92 cm 3 cm"])
def test_nonsense_is_told_and_asked_again(tmp_path: Path, word: str) -> None:
    """What is no length is answered with how to write one; nothing is saved of it."""
    out = tmp_path / "m.yaml"
    result = run(out, [word, "94", "q"], "--once", *WHO)
    assert held(out) == {"bust_girth": 94}
    assert "Traceback" not in result.output


def test_quit_at_once_writes_nothing(tmp_path: Path) -> None:
    """Without an answer there is no file."""
    out = tmp_path / "m.yaml"
    assert run(out, ["q"], *WHO).exit_code == 1
    assert run(out, []).exit_code == 1
    assert list(tmp_path.iterdir()) == []


def test_her_lines_and_comments_stay(tmp_path: Path) -> None:
    """Only the line of the measure changes; comments, order and other keys stay."""
    out = tmp_path / "m.yaml"
    text = (
        "# tape: the blue one\nchalkbeam: 1\nunit: cm\nwearer: bass-2\ntaken: 2026-11-02\n"
        "measurements:\n    bust_girth: 104   # over the jumper, again!\n    # still to come\n"
        "    waist_girth: [92, 92.5]\n\n# end\nnote: likes it long\n"
    )
    out.write_text(text, encoding="utf-8")
    run(out, ["s", "s", "s", "s", "1", "103", "q"], "--once")
    after = out.read_text(encoding="utf-8")
    assert after == text.replace("bust_girth: 104", "bust_girth: 103")
    run(out, ["110", "q"], "--once")
    assert "    waist_girth: [92, 92.5]\n    hip_girth_at_tailbone: 110\n\n# end" in out.read_text()


@pytest.mark.parametrize(
    "text",
    [
        "chalkbeam: 1\nunit: cm\nmeasurements: {bust_girth: 94, waist_girth: 76}\n",
        "chalkbeam: 1\nunit: cm\nbust_girth: 94 # loose\nwaist_girth: 76\nwearer: alto-3\n",
        "chalkbeam: 1\nunit: cm\nmeasurements:\n",
        "chalkbeam: 1\nunit: cm\nmeasurements:\n  bust_girth: 94",
        "\n",
    ],
)
def test_every_layout_of_the_file_can_be_continued(tmp_path: Path, text: str) -> None:
    """Braces, loose keys, an empty list: whatever reads as measurements can be gone on with."""
    out = tmp_path / "m.yaml"
    out.write_text(text, encoding="utf-8")
    before = yaml.safe_load(text) or {}
    before = before.get("measurements", before) or {}
    run(out, [*(s for s in ("cm",) if "unit" not in text), "", "s", "s", "70 cm", "q"], "--once")
    m = Measurements.load(out)
    for key in set(before) & set(NEEDED):
        assert m[key] == pytest.approx(before[key] * 10)
    assert 700.0 in m.values.values()
    assert ("# loose" in text) == ("# loose" in out.read_text())


def test_broken_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    """A file with faults is not filled in: exit 2, every fault told, not a byte changed."""
    out = tmp_path / "m.yaml"
    text = "chalkbeam: 1\nunit: cm\nmeasurements: {bust_grith: 94, waist_girth: wide}\n"
    out.write_text(text)
    done = console(["measure", str(out)])
    assert done.returncode == 2
    assert "bust_grith" in done.stderr
    assert "waist_girth" in done.stderr
    assert "Traceback" not in done.stderr
    assert out.read_text() == text


def test_other_hand_is_not_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A value that an editor wrote meanwhile is shown and not overwritten unseen."""
    out = tmp_path / "m.yaml"
    answers = iter(["94", "76", "", "q"])

    def typed(prompt: str = "") -> str:
        answer = next(answers)
        if answer == "76":  # while she reads the tape, the file changes
            out.write_text(out.read_text() + "  waist_girth: 80\n")
        return answer

    monkeypatch.setattr("builtins.input", typed)
    result = CliRunner().invoke(cli, ["measure", str(out), "--once", *WHO])
    assert "it now says 80" in " ".join(result.output.split())
    assert held(out) == {"bust_girth": 94, "waist_girth": 80}


def test_change_since_an_earlier_measuring(tmp_path: Path) -> None:
    """A later file of the same wearer says what changed, then and now, and notes since."""
    old, new = tmp_path / "spring.yaml", tmp_path / "later" / "autumn.yaml"
    run(old, [*ALTO, ""], "--once", *WHO)
    before = old.read_text()
    result = run(new, ["96", "76", "101", "13", "12.5", "60", ""], "--once", "--since", str(old))
    assert result.exit_code == 0, result.output
    flat = " ".join(result.output.split())
    assert "+2.0 cm since" in flat
    assert "no change since" in flat
    assert "-1.0 cm since" in flat
    m = Measurements.load(new)
    assert m.wearer == "alto-3"
    assert m.changes() == {
        "bust_girth": (940.0, 960.0),
        "hip_girth_at_tailbone": (1020.0, 1010.0),
    }
    assert yaml.safe_load(new.read_text())["since"] == "../spring.yaml"
    assert old.read_text() == before


def test_what_is_not_taken_anew_counts_as_before(tmp_path: Path) -> None:
    """In a later file Enter leaves a measure as it was; the draft still finds it; exit 0."""
    old, new = tmp_path / "spring.yaml", tmp_path / "autumn.yaml"
    run(old, [*ALTO, ""], "--once", "--taken", "2026-03-01", *WHO)
    result = run(new, ["96", "", "", "", "", "", ""], "--once", "--since", str(old))
    assert result.exit_code == 0, result.output
    assert "Enter: as 76.0 cm, 2026-03-01" in result.output
    assert "the earlier value counts: waist girth" in " ".join(result.output.split())
    assert held(new) == {"bust_girth": 96}
    assert Measurements.load(new)["waist_girth"] == 760.0


def test_day_of_measuring(tmp_path: Path) -> None:
    """The day is today's, or the one given; a file keeps its own and refuses another."""
    out = tmp_path / "m.yaml"
    run(out, ["94", "q"], "--once", "--taken", "2026-11-02", *WHO)
    assert Measurements.load(out).taken == "2026-11-02"
    for day in ("2026-11-03", "last Monday"):
        done = console(["measure", str(out), "--taken", day])
        assert done.returncode == 2
        assert day in done.stderr
    assert "2026-11-02" in run(out, ["q"]).output
    run(tmp_path / "n.yaml", ["94", "q"], "--once", *WHO)
    assert Measurements.load(tmp_path / "n.yaml").taken == date.today().isoformat()


def test_other_wearer_or_unit_is_refused(tmp_path: Path) -> None:
    """Neither a second wearer nor another unit can slip into a file: exit 2, nothing changed."""
    out = tmp_path / "m.yaml"
    run(out, ["94", "q"], "--once", *WHO)
    text = out.read_text()
    for options, word in (
        (["--wearer", "tenor-1"], "tenor-1"),
        (["--unit", "in"], "change meaning"),
        (["--since", str(out)], "same file as --since"),
        (["--since", str(tmp_path / "none.yaml")], "no such file"),
        (["--block", "quick-topp"], "quick-top"),
        (["--unit", "ell"], "ell"),
    ):
        done = console(["measure", str(out), *options])
        assert done.returncode == 2, options
        assert word in done.stderr
        assert "Traceback" not in done.stderr
    assert out.read_text() == text


def test_figures_are_written(tmp_path: Path) -> None:
    """--figures writes one SVG for each measure that is asked, and the sheet to print."""
    run(tmp_path / "m.yaml", ["q"], "--figures", str(tmp_path / "figs"), *WHO)
    names = {p.name for p in (tmp_path / "figs").iterdir()}
    assert names == {f"{k}.svg" for k in NEEDED} | {"measuring-sheet.pdf"}


def test_only_what_the_block_needs(tmp_path: Path) -> None:
    """Six measures for the quick top; what helps is asked for with --extra only, else told."""
    assert "1 of 6" in run(tmp_path / "m.yaml", ["q"], *WHO).output
    plain = run(tmp_path / "p.yaml", [*ALTO, ""], "--once", *WHO)
    assert plain.exit_code == 0
    assert set(held(tmp_path / "p.yaml")) == set(NEEDED)
    told = " ".join(plain.output.split()).partition("With --extra it also asks")[2]
    assert all(x in told for x in ("head girth", "upper arm girth", "upper chest girth"))
    helping = ["56", "29", "90"]
    result = run(tmp_path / "n.yaml", [*ALTO, *helping, ""], "--once", "--extra", *WHO)
    assert f"1 of {6 + told.count(',') + 1}" in result.output
    got = held(tmp_path / "n.yaml")
    assert set(got) - set(NEEDED) == {"head_girth", "upper_arm_girth", "upper_chest_girth"}
    assert got["head_girth"] == 56


def test_a_reading_typed_at_the_question_counts(tmp_path: Path) -> None:
    """A length typed where an unusual value is asked about replaces it, and is taken twice."""
    out = tmp_path / "m.yaml"
    result = run(out, ["36", "94", "q"], "--once", *WHO)
    assert held(out) == {"bust_girth": 94}
    assert "in place of 36" in result.output
    out = tmp_path / "twice.yaml"
    run(out, ["36", "36", "37 in", "94", "q"], *WHO)
    assert held(out) == {"bust_girth": ["37 in", 94]}
    # a new reading that is unusual as well is asked about again
    out = tmp_path / "again.yaml"
    result = run(out, ["36", "35", "94", "q"], "--once", *WHO)
    assert result.output.count("Enter keeps it") == 2
    assert held(out) == {"bust_girth": 94}


def test_what_she_keeps_is_noted_and_no_draft_asks_again(tmp_path: Path) -> None:
    """Enter at the question keeps the value and notes it as confirmed; her comment stays; a value that
    nobody asked about is not noted."""
    from drafting import Measurements

    out = tmp_path / "m.yaml"
    run(out, ["36", "", "80", "q"], "--once", *WHO)
    text = out.read_text(encoding="utf-8")
    assert "confirmed: {bust_girth: 36}" in text and "waist_girth: 36" not in text
    read = Measurements.load(out)
    assert not any(w.startswith("bust girth is") for w in read.warnings)
    out.write_text("# hers\n" + text, encoding="utf-8")
    run(out, ["118", "", "q"], "--once")
    assert out.read_text(encoding="utf-8").startswith("# hers\n")
    assert out.read_text(encoding="utf-8").count("confirmed:") == 1


@pytest.mark.parametrize("slip", ["n", "no", "94 furlongs", "-5", "mm"])
def test_nothing_is_kept_by_a_slip(tmp_path: Path, slip: str) -> None:
    """What is neither a length nor a command at that question is asked again, not kept."""
    out = tmp_path / "m.yaml"
    result = run(out, ["36", slip, "?", "m", "94", "q"], "--once", *WHO)
    assert result.output.count("Enter keeps it") == 3
    assert "2 of 6" in result.output
    assert held(out) == {"bust_girth": 94}


@pytest.mark.parametrize("slip", ["94", "36 3/4", "92 cm", '36"', "54,6 cm", "-5", "94."])
def test_a_measure_is_nobodys_name(tmp_path: Path, slip: str) -> None:
    """A number or length typed where the wearer is asked for is asked about again."""
    out = tmp_path / "m.yaml"
    result = run(out, [slip, "alto-3", "94", "q"], "--once", "--unit", "cm")
    assert "reads like a measure" in result.output
    assert Measurements.load(out).wearer == "alto-3"
    assert held(out) == {"bust_girth": 94}
    nobody = tmp_path / "n.yaml"
    run(nobody, [slip, "", "94", "q"], "--once", "--unit", "cm")
    assert not Measurements.load(nobody).wearer


@pytest.mark.parametrize("slip", ["94", "94 cm", "36 3/4", "", "-"])
def test_a_measure_as_the_option_is_refused(tmp_path: Path, slip: str) -> None:
    """--wearer 94 is told what to name instead; exit 2, nothing asked, nothing written."""
    out = tmp_path / "m.yaml"
    done = console(["measure", str(out), "--unit", "cm", "--wearer", slip])
    assert done.returncode == 2
    assert "--wearer alto-3" in done.stderr and "Traceback" not in done.stderr
    assert done.stdout == ""
    assert not out.exists()


@pytest.mark.parametrize("name", ["alto-3", "3rd tenor", "bass 2", "2 mezzo", "Inés"])
def test_a_name_may_hold_a_number(tmp_path: Path, name: str) -> None:
    """A voice part with a number in it is taken as it is."""
    out = tmp_path / "m.yaml"
    result = run(out, [name, "94", "q"], "--once", "--unit", "cm")
    assert "reads like a measure" not in result.output
    assert Measurements.load(out).wearer == name


def test_readable_in_80_columns(tmp_path: Path) -> None:
    """No line is wider than 80 characters, and none carries colour codes."""
    output = run(tmp_path / "m.yaml", [*ALTO, ""], "--once", *WHO).output
    assert "\x1b" not in output
    # what stands behind a prompt would be on a line of its own, were the answer echoed
    prompts = ("(cm): ", "to end: ")
    wide = [x for x in output.splitlines() if len(x) > 80 and not any(p in x for p in prompts)]
    assert not wide


def console(args: list[str], text: str = "", **env: str) -> subprocess.CompletedProcess[str]:
    """The installed command in a process of its own."""
    code = "from projector.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *args], input=text, capture_output=True, text=True,
        env={**os.environ, **env}, timeout=60, check=False,
    )  # fmt: skip


def test_terminal_that_knows_ascii_only(tmp_path: Path) -> None:
    """Where the terminal has no Unicode, all is said and drawn in ASCII; no traceback."""
    out = tmp_path / "m.yaml"
    done = console(
        ["measure", str(out), "--once", "--unit", "cm", "--wearer", "soprano-2 é"],
        "94\n76\n102\n13\n12.5\n60\n\n",
        PYTHONIOENCODING="ascii",
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()
    assert "####" in done.stdout
    assert Measurements.load(out)["waist_girth"] == 760.0


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(("end", "code"), [("\x03", 130), ("\x04", 1)])
def test_real_terminal(tmp_path: Path, end: str, code: int) -> None:
    """On a real terminal: two answers, then Ctrl-C or Ctrl-D; both are saved, no traceback."""
    import pty

    out = tmp_path / "m.yaml"
    pid, tty = pty.fork()
    if pid == 0:
        os.environ.update(COLUMNS="80", LINES="30", TERM="xterm")
        args = ["measure", str(out), "--once"]
        os.execv(
            sys.executable,
            [sys.executable, "-c", "from projector.cli import main; main()", *args],
        )
    seen = b""

    def until(word: str) -> None:
        nonlocal seen
        limit = time.monotonic() + 30
        while word.encode() not in seen:
            ready, _, _ = select.select([tty], [], [], max(0.0, limit - time.monotonic()))
            assert ready, f"waited for {word!r}, got {seen.decode(errors='replace')}"
            seen += os.read(tty, 4096)
        seen = seen.split(word.encode(), 1)[1]

    try:
        until("[cm]: ")
        os.write(tty, b"in\n")
        until("nobody named): ")
        os.write(tty, b"tenor-1\n")
        until("bust girth (in): ")
        os.write(tty, b"38 1/2\n")
        until("waist girth (in): ")
        os.write(tty, b"33\n")
        until("tailbone level (in): ")
        rest, limit = b"", time.monotonic() + 30
        while time.monotonic() < limit:
            # a key that comes in the instant between prompt and waiting is seen at the next one
            try:
                os.write(tty, end.encode())
                ready, _, _ = select.select([tty], [], [], 1.0)
                while ready and (chunk := os.read(tty, 4096)):
                    rest += chunk
                    ready, _, _ = select.select([tty], [], [], 5.0)
            except OSError:  # the other side has gone
                break
        else:
            pytest.fail(f"did not end: {rest.decode(errors='replace')}")
        _, status = os.waitpid(pid, 0)
    except BaseException:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        raise
    finally:
        os.close(tty)
    assert os.waitstatus_to_exitcode(status) == code, rest.decode(errors="replace")
    assert b"Traceback" not in rest
    assert held(out) == {"bust_girth": "38 1/2", "waist_girth": 33}


def test_with_value_falls_back_to_a_whole_file() -> None:
    """A text that cannot be edited line by line is written anew, with every value."""
    text = "{chalkbeam: 1, unit: cm, measurements: {bust_girth: 94}}\n"
    after = {"chalkbeam": 1, "unit": "cm", "measurements": {"bust_girth": 95}}
    assert yaml.safe_load(with_value(text, after, "bust_girth")) == after


def test_enter_at_the_third_take_says_that_the_middle_counts(tmp_path: Path) -> None:
    """Two takes 2.5 cm apart and no third: not saved unsaid; 95.25 is their middle, by hand."""
    result = run(tmp_path / "m.yaml", ["94", "96.5", "", "q"], *WHO)
    told = " ".join(result.output.split())
    assert "the middle of the two, 95.2 cm, counts" in told or "95.3 cm, counts" in told
    assert held(tmp_path / "m.yaml") == {"bust_girth": [94, 96.5]}


def test_a_question_mark_at_the_name_is_answered(tmp_path: Path) -> None:
    """? explains what the name is for; a dash holds no letter; neither is called a measure."""
    out = tmp_path / "m.yaml"
    result = run(out, ["?", "-", "alto-3", "94", "q"], "--once", "--unit", "cm")
    assert "reads like a measure" not in result.output
    assert "mixed up" in result.output
    assert "'-' holds no letter" in result.output
    assert Measurements.load(out).wearer == "alto-3"


def test_an_empty_name_as_the_option_is_called_empty(tmp_path: Path) -> None:
    """Not 'reads like a measure'."""
    result = console(["measure", str(tmp_path / "m.yaml"), "--unit", "cm", "--wearer", ""])
    assert result.returncode == 2
    assert "is empty" in result.stderr and "measure," not in result.stderr


def test_the_doubtful_one_is_asked_for_and_not_its_neighbour(tmp_path: Path) -> None:
    """A file in cm with a bust of 36: the bust is asked about first, the waist then not at all."""
    out = tmp_path / "m.yaml"
    out.write_text("chalkbeam: 1\nunit: cm\nwearer: alto-3\nmeasurements:\n  bust_girth: 36\n")
    result = run(out, ["91.5", "76", "q"], "--once")
    assert "In the file, bust girth" in result.output
    assert held(out) == {"bust_girth": 91.5, "waist_girth": 76}
    assert result.output.count("Unusual") == 0


def test_run_together_is_asked_back(tmp_path: Path) -> None:
    """311/2 is asked back as 31 1/2, by a fraction's rules; Enter takes it, 7/8 passes unasked."""
    from configs.units import run_together

    assert run_together("311/2") == "31 1/2" and run_together("3615/16 in") == "36 15/16 in"
    assert run_together("7/8") == "" and run_together("31 1/2") == ""
    out = tmp_path / "m.yaml"
    result = run(out, ["361/2", "", "q"], "--once", "--unit", "in", "--wearer", "alto-3")
    assert "Do you mean 36 1/2?" in result.output
    assert held(out) == {"bust_girth": "36 1/2"}


def test_what_was_refused_is_not_in_the_file(tmp_path: Path) -> None:
    """Measured again after a doubt, or a second take in another unit: the refused value is gone."""
    out = tmp_path / "m.yaml"
    run(out, ["36", "m"], "--once", *WHO)
    assert not out.exists()
    result = run(out, ["92", "36", "92.5", "q"], *WHO)
    assert "no two takes" in result.output
    assert held(out) == {"bust_girth": [92, 92.5]}


def test_confirmed_once_is_remembered(tmp_path: Path) -> None:
    """A waist over the bust that she kept is asked about neither by its neighbours nor another day."""
    out = tmp_path / "m.yaml"
    first = run(out, ["100", "108", "", "q"], "--once", *WHO)
    assert first.output.count("Unusual") == 1
    second = run(out, ["104", "b", "", "q"], "--once")
    assert "Unusual" not in second.output


def test_a_man_is_told_once(tmp_path: Path) -> None:
    """A bass's waist over his chest is asked about; 'man' notes it and the file has his usual values."""
    out = tmp_path / "m.yaml"
    result = run(out, ["112", "118", "man", "q"], "--once", *WHO)
    assert yaml.safe_load(out.read_text())["figure"] == "man", result.output
    assert Measurements.load(out).warnings == ()


def test_a_prompt_is_one_sentence(tmp_path: Path) -> None:
    """Six prompts hold at most half of the words that they had (830); ? gives the rest."""
    out = tmp_path / "m.yaml"
    result = run(out, [*ALTO, ""], "--once", *WHO)
    words = [w for w in result.output.split() if w.isascii() and w[0].isalnum()]
    assert len(words) < 415, len(words)
    more = run(tmp_path / "n.yaml", ["?", "q"], "--once", *WHO)
    assert "does not reshape it" in " ".join(more.output.split())
