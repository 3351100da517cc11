"""The README's commands, from the top, as they stand there, in one clean shell.

Only what the reader's own hands do is done for her here: the docket is saved from the README, photos
are taken of the virtual table, distances are measured on it, answers are typed, the table is left.
`pip` hands over the installed environment instead of fetching it anew; the line that is run is
the README's.
"""

from __future__ import annotations

import dataclasses
import os
import re
import shutil
import signal
import subprocess
import sys
import sysconfig
import textwrap
import time
from pathlib import Path

import cv2
import pytest
import yaml
from remnants import remnant

from calibrate.cloth_scan.view import scan_light
from calibrate.readings import crosses_for
from calibrate.simulate import VirtualCamera, VirtualTable
from configs import shipped
from projector.demo import BEAM_WIDTH_MM, SIZE

TEXT = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")
FIRST = re.findall(r"```sh\n(.*?)\n```", TEXT, re.DOTALL)[0]
COMMANDS = [" ".join(c.split()) for c in re.findall(r"`(chalkbeam [^`]+)`", TEXT)]

PIP = f"""
pip() {{
  [ "$*" = "install -q ." ] || return 9
  [ -n "$VIRTUAL_ENV" ] || return 8
  cp '{Path(sysconfig.get_path("scripts")) / "chalkbeam"}' "$VIRTUAL_ENV/bin/chalkbeam"
}}
"""
TABLE_IS_OPEN_S = 60.0


@dataclasses.dataclass
class Shell:
    """A shell that is kept from one command to the next, as a terminal is."""

    folder: Path
    bash: subprocess.Popen[str]

    @classmethod
    def clean(cls, folder: Path) -> Shell:
        """With a home of its own and no variables but the path of Python and the system."""
        (folder / "home").mkdir()
        env = {
            "HOME": str(folder / "home"),
            "PATH": f"{Path(sys.executable).resolve().parent}:/usr/local/bin:/usr/bin:/bin",
            "SDL_VIDEODRIVER": "dummy",
            "LANG": "C.UTF-8",
        }
        pipe = subprocess.PIPE
        bash = subprocess.Popen(
            ["bash", "--noprofile", "--norc"], cwd=folder, env=env, text=True,
            stdin=pipe, stdout=pipe, stderr=subprocess.STDOUT,
        )  # fmt: skip
        shell = cls(folder, bash)
        shell.send(PIP)
        return shell

    def send(self, line: str) -> None:
        assert self.bash.stdin is not None
        self.bash.stdin.write(f"{line}\n")
        self.bash.stdin.flush()

    def run(self, command: str, typed: str = "") -> tuple[int, str]:
        """Exit code and what is said; ``typed``: what she answers."""
        answers = self.folder / "home" / "typed"
        answers.write_text(typed)
        self.send(f"{{ {command}\n}} < '{answers}'; echo \"<<$?>>\"")
        return self._until_done()

    def leave(self, command: str) -> tuple[int, str]:
        """Start what sits at the table, and leave it with Ctrl-C once it is open."""
        journal, number = self.folder / ".top.yaml.journal", self.folder / "home" / "pid"
        number.unlink(missing_ok=True)
        self.send(f"( echo $BASHPID > '{number}'; exec {command} ) </dev/null; echo \"<<$?>>\"")
        until = time.monotonic() + TABLE_IS_OPEN_S
        while time.monotonic() < until and not (journal.exists() and number.exists()):
            time.sleep(0.05)
        time.sleep(1.0)
        os.kill(int(number.read_text()), signal.SIGINT)
        return self._until_done()

    def _until_done(self) -> tuple[int, str]:
        assert self.bash.stdout is not None
        said = []
        for line in self.bash.stdout:
            said.append(line)
            if found := re.search(r"<<(\d+)>>$", line):
                return int(found[1]), "".join(said)
        raise AssertionError(f"the shell is gone: {''.join(said)}")


def measured(folder: Path) -> str:
    """Tape readings between the crosses on the virtual table, as the README has them written."""
    table = VirtualTable.random(3, SIZE, beam_width_mm=BEAM_WIDTH_MM)
    crosses = crosses_for(SIZE, 6)
    at = dict(zip(crosses, table.projector.to_table(list(crosses.values())), strict=True))
    names = list(at)
    read = {
        f"{a}-{b}": round(float(((at[a] - at[b]) ** 2).sum() ** 0.5))
        for i, a in enumerate(names)
        for b in names[i + 1 :]
    }
    lines = yaml.safe_load((folder / "crosses.yaml").read_text())
    return yaml.safe_dump({**lines, "distances_mm": read}, sort_keys=False)


def photo_of_a_remnant(path: Path) -> None:
    """The demo's table with a cloth on it, lit by the picture that the README has shown."""
    table = VirtualTable.random(
        3, SIZE, surface="light table", ambient=0.3, beam_width_mm=BEAM_WIDTH_MM
    )
    laid = table.with_sheets([remnant(colour=(120, 60, 70))])
    camera = VirtualCamera.webcam(3, laid.beam_mm(4))
    cv2.imwrite(str(path), laid.photograph(scan_light(SIZE).image(), camera, 1)[..., ::-1])


def answers() -> str:
    """What she types for `measure`: the tape's unit, her name, each measure once."""
    from drafting.blocks import get

    body = yaml.safe_load(shipped("measurements", "alto-3.yaml").read_text())
    lines = [body["unit"], body["wearer"]]
    for key in get("quick-top").needs:
        lines += [str(body["measurements"][key]), ""]
    return "\n".join([*lines, "", ""])


def test_every_command_of_the_readme_runs(tmp_path: Path) -> None:
    """From the first line on, each command does its work, or says plainly which device it lacks."""
    shell = Shell.clean(tmp_path)
    code, said = shell.run(FIRST)
    assert code == 0 and (tmp_path / "chalkbeam-demo" / "table.png").is_file(), said
    done = 0
    for n, command in enumerate(COMMANDS):
        words, typed, allowed = command.split(), "", {0}
        if words[1] == "measure":
            typed = answers()
        elif command == "chalkbeam calibrate":
            typed = "print\n\n"
        elif command == "chalkbeam blocks":
            (top,) = [t for t in re.findall(r"```yaml\n(.*?)```", TEXT, re.DOTALL)
                      if "title: rehearsal top" in t]  # fmt: skip
            (tmp_path / "top.yaml").write_text(textwrap.dedent(top))
        elif words[1:3] == ["calibrate", "photo"]:
            shutil.copy(tmp_path / "chalkbeam-demo" / "photo.jpg", tmp_path / words[3])
        elif words[1:3] == ["calibrate", "live"]:
            allowed = {2}  # no camera here
        elif words[1:3] == ["calibrate", "tape"]:
            (tmp_path / words[3]).write_text(measured(tmp_path))
        elif words[1:3] == ["calibrate", "check"]:
            shutil.copy(tmp_path / "photo.jpg", tmp_path / words[3])
            allowed = {0, 1}  # a tape's calibration is not a photo's
        elif words[1] == "cloth" and "--into" in words:
            photo_of_a_remnant(tmp_path / words[2])
            (tmp_path / "before.yaml").write_bytes((tmp_path / "top.yaml").read_bytes())
        elif words[1] == "import" and not (tmp_path / words[2]).exists():
            shutil.copy(tmp_path / "top.svg", tmp_path / words[2])
        if words[1] == "project":
            code, said = shell.leave(command)
            assert code == 130 and "Stopped. What was saved stays saved." in said, said
        else:
            code, said = shell.run(command, typed)
            assert code in allowed and "Traceback" not in said, f"{command}\n{said}"
        if words[1:3] == ["calibrate", "live"]:
            assert "camera" in said and said.count("\n") <= 4, said
        if words[1] == "cloth" and "--into" in words:  # the remnant is too small for this top
            (tmp_path / "before.yaml").replace(tmp_path / "top.yaml")
        done = n + 1
    assert done == len(COMMANDS) >= 20
    for name in ("drafted/front.svg", "top.lay.png", "cards.pdf", "pattern.yaml", "calibration.yaml",
                 "light.png", "top.cloth.png", "top.pdf", "top.svg", "sides.svg", "bag.yaml"):  # fmt: skip
        assert (tmp_path / name).is_file(), name
    assert yaml.safe_load((tmp_path / "top.yaml").read_text())["lay"]


@pytest.mark.parametrize("row", re.findall(r"^\| `([^|]+?)` .*\|", TEXT, re.MULTILINE))
def test_every_option_in_the_table_is_there(row: str) -> None:
    """Each command and option that the table of commands names is one of the program's."""
    import click

    from projector.cli import cli

    words = re.sub(r"[`\[\]]", " ", row).split()
    context = click.Context(cli)
    group = cli if words[0] != "calibrate" else cli.get_command(context, "calibrate")
    assert isinstance(group, click.Group)
    names = words[:1]
    if words[0] == "calibrate":
        names = [w for w in words[1:] if w.islower() and w.isalpha()]
    for name in names:
        command = group.get_command(click.Context(group), name)
        assert command is not None, name
        known = {o for p in command.params for o in p.opts}
        assert {w for w in words if w.startswith("--")} <= known, row
