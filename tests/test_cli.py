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
    ("typed", "told"),
    [
        ("calibrate photo", "PHOTOS"),
        ("calibrate photo x.jpg", "'--size' is missing: The projector's own resolution. Add"),
        ("calibrate photo x.jpg --sise 1x1", "no option '--sise'. Did you mean '--size'?"),
        ("calibrate photo x.jpg --size", "'--size' needs a value after it: WxH"),
        ("calibrate cards --paper b4", "--paper: 'b4' is none of a4, letter"),
        ("calibrate live --camera one", "--camera: 'one' should be a whole number"),
        ("calibrate fotos", "no command 'fotos'. Did you mean 'photo'?"),
        ("cloth x.jpg --keep-off wide --out c.yaml", "'wide' is not a length"),
        ("lay a.yaml --seconds -3", "--seconds: '-3' should be a number from 0 to 86400"),
        ("lay a.yaml my dress.yaml", "'my dress.yaml' is too much"),
        ("lay a.yaml --json=3", "'--json' takes no value"),
        ("draft a.yaml", "Folder for the pieces"),
        ("--frob", "no option '--frob'"),
    ],
)
def test_a_slip_in_the_options_is_a_sentence(
    typed: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Like every other fault: what is wrong and where, what to do, where help is; exit code 2."""
    assert main(typed.split()) == 2
    said = capsys.readouterr()
    words = [w for w in typed.split()[:2] if w.isalpha()]
    command = " ".join(["chalkbeam", *[w for w in words if w != "fotos"]])
    assert said.err.startswith(f"Not done: {command}: ") and told in said.err
    assert said.err.rstrip().endswith(f"See '{command} --help'.")
    assert "Usage:" not in said.err and "Error:" not in said.err and said.out == ""
    assert said.err.count("\n") == 1


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


OUTPUTS = [  # every option and argument that names a file or folder to write
    "blocks --out P",
    "calibrate cards --out P/x.pdf",
    "calibrate check x.jpg --mend --out P/x.yaml",
    "calibrate crosses --size 1920x1080 --out P/x.png",
    "calibrate crosses --size 1920x1080 --out x.png --form P/x.yaml",
    "calibrate live --out P/x.yaml",
    "calibrate live --keep-pictures P",
    "calibrate pattern --size 1920x1080 --out P/x.png",
    "calibrate photo x.jpg --size 1920x1080 --out P/x.yaml",
    "calibrate photo x.jpg --size 1920x1080 --report P/x.png",
    "calibrate photo x.jpg --size 1920x1080 --square-picture P/x.png",
    "calibrate tape x.yaml --out P/x.yaml",
    "cloth x.jpg --out P/x.yaml",
    "cloth --light P/x.png --size 1920x1080",
    "demo --out P",
    "draft x.yaml --out P",
    "export x.yaml --out P/x.svg",
    "frame x.yaml --calibration c.yaml --out P/x.png",
    "import x.svg P/x.yaml",
    "import x.svg --out P/x.yaml",
    "import x.svg y.yaml --picture P/x.png",
    "lay x.yaml --picture P/x.png",
    "measure P/x.yaml",
    "measure x.yaml --figures P",
    "print x.yaml --paper a4 --out P/x.pdf",
]


@pytest.mark.parametrize("typed", OUTPUTS)
def test_a_mistyped_folder_is_told_before_anything_is_done(
    typed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither the folder nor the one it goes into is there: refused, the nearest named, none made."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "choir").mkdir()
    assert main(typed.replace("P", "chior/top").split()) == 2
    said = capsys.readouterr().err
    assert f"there is no folder 'chior' in {tmp_path}" in said
    assert "Did you mean 'choir' there?" in said
    assert [p.name for p in tmp_path.iterdir()] == ["choir"]


def test_a_folder_that_is_made_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One folder deep is made and said, once; one that is there is not spoken of."""
    monkeypatch.chdir(tmp_path)
    typed = ["calibrate", "crosses", "--size", "1920x1080", "--out", "table/x.png"]
    assert main([*typed, "--form", "table/y.yaml"]) == 0
    assert capsys.readouterr().err == "Made the folder table.\n"
    assert sorted(p.name for p in (tmp_path / "table").iterdir()) == ["x.png", "x.yaml", "y.yaml"]
    assert main(typed) == 0
    assert "Made" not in capsys.readouterr().err
    assert main(["export", "nowhere.yaml", "--out", "new/x.svg"]) == 2
    assert "Made" not in capsys.readouterr().err and not (tmp_path / "new").exists()


def test_a_fault_of_ours_is_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A fault in the program says so, keeps the details in a file and leaves with code 3."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

    def broken(*_: object, **__: object) -> None:
        raise KeyError("oops")

    monkeypatch.setattr(cli, "main", broken)
    assert main(["blocks"]) == 3
    said = capsys.readouterr().err
    assert "fault in chalkbeam" in said
    assert "Traceback" not in said
    (kept,) = tmp_path.glob("chalkbeam-fault-*.txt")
    assert "Traceback" in kept.read_text(encoding="utf-8")


def test_missing_system_library_names_the_remedy() -> None:
    """OpenCV without libGL is answered with what to install, not with an import error."""
    from projector.commands.support import explain

    text = explain(ImportError("libGL.so.1: cannot open shared object file"))
    assert text is not None
    assert "apt install libgl1" in text


@pytest.mark.parametrize("written", ["1200", "120 cm", "1.2 m", "120cm"])
def test_lengths_on_the_command_line(written: str, tmp_path: Path) -> None:
    """`--beam-width` reads a bare number as millimetres and any unit that is named."""
    made = []
    for i, text in enumerate((written, "1200")):
        out = tmp_path / f"{i}.png"
        args = ["calibrate", "pattern", "--size", "1280x720", "--beam-width", text]
        assert main([*args, "--out", str(out)]) == 0
        made.append(out.read_bytes())
    assert made[0] == made[1]


def test_a_length_that_is_none(capsys: pytest.CaptureFixture[str]) -> None:
    """A length that cannot be read names the option and how to write it."""
    args = ["calibrate", "pattern", "--size", "1280x720", "--out", "x.png"]
    assert main([*args, "--beam-width", "broad"]) == 2
    said = capsys.readouterr().err
    assert "--beam-width" in said
    assert "cm" in said


def test_options_of_what_runs_alone_need_no_word_before_them(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """`chalkbeam calibrate --unit elbow` is meant for what `calibrate` alone does, and told so; an
    option that nobody has is told with the group's own."""
    for words, told in (
        (["calibrate", "--unit", "elbow"], "'elbow' is none of mm, in"),
        (["--versoin"], "'--version'"),
    ):
        assert main(words) == 2
        assert told in capsys.readouterr().err


def test_a_fields_type_says_what_may_be_left_out_or_given_again() -> None:
    """Of a toy command: what has no default is asked for, a list grows, a switch is off, a None stays."""
    from projector.commands.command_line import CommandLine, argument, option

    heard: list[CommandLine] = []

    class ToyCommand(CommandLine):
        """A toy."""

        file: Path = argument("FILE")
        size: int = option("How large.")
        also: tuple[str, ...] = option("More.", names="-a")
        loud: bool = option("Loud.")
        both: bool | None = option("Both.", names="--both/--not-both")
        word: str | None = option("A word.", ("one", "two"))
        times: int = option("How often.", default=2)

        def run(self) -> None:
            heard.append(self)

    def go(*words: str) -> int:
        return CliRunner().invoke(ToyCommand.command, words).exit_code

    assert go("f.yaml", "--size", "3") == 0
    assert heard[-1] == ToyCommand(
        file=Path("f.yaml"), size=3, also=(), loud=False, both=None, word=None, times=2
    )
    assert go("f.yaml", "--size", "3", "-a", "x", "--also", "y", "--loud", "--not-both") == 0
    assert heard[-1] == ToyCommand(
        file=Path("f.yaml"), size=3, also=("x", "y"), loud=True, both=False, word=None, times=2
    )
    for wrong in (["f.yaml"], ["--size", "3"], ["f.yaml", "--size", "x"],
                  ["f.yaml", "--size", "3", "--word", "three"]):  # fmt: skip
        assert go(*wrong) == 2, wrong
    shown = CliRunner().invoke(ToyCommand.command, ["--help"]).output
    assert "[default: 2]" in shown and "[required]" in shown and "A toy." in shown
