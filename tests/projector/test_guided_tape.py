"""Led by questions through a calibration by tape, really run: a terminal, the program, the crosses shown.

A pseudo-terminal stands for the person's, SDL's dummy driver for the display; the distances are those of
the virtual table, read to 1/16 in.
"""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from calibrate import Calibration
from calibrate.readings import crosses_for, load_readings, pairs_of
from calibrate.simulate import VirtualTable
from configs.units import inches_text

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX's")
SIZE = (1920, 1080)
PATIENCE_S = 90.0


class Terminal:
    """A program on a pseudo-terminal: what it says, and what she types when it has asked."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.master, slave = pty.openpty()
        env = {
            **os.environ,
            "SDL_VIDEODRIVER": "dummy",
            "TERM": "dumb",
            "CHALKBEAM_HOME": str(folder / "home"),
        }
        self.run = subprocess.Popen(
            [sys.executable, "-c", "import sys; from projector.cli import main; sys.exit(main())", *words], cwd=folder, env=env,
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
        )  # fmt: skip
        os.close(slave)
        self.said = ""

    def until(self, pattern: str) -> re.Match[str]:
        """Wait until it has said this; what was said up to there is dropped."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            if found := re.search(pattern, self.said):
                self.said = self.said[found.end() :]
                return found
            if select.select([self.master], [], [], 0.1)[0]:
                try:
                    self.said += os.read(self.master, 65536).decode(errors="replace")
                except OSError:  # it has ended
                    break
        raise AssertionError(f"never said {pattern!r}: {self.said}")

    def type(self, line: str) -> None:
        os.write(self.master, f"{line}\n".encode())


def distances() -> dict[str, str]:
    """Pair → what her tape reads in inches, either way round."""
    table = VirtualTable.random(31, SIZE, beam_width_mm=1200.0)
    crosses = crosses_for(SIZE, 6)
    at = dict(zip(crosses, table.projector.to_table(list(crosses.values())), strict=True))
    read = {}
    for a, b in pairs_of(crosses):
        mm = float(((at[a] - at[b]) ** 2).sum() ** 0.5)
        read[f"{a}{b}"] = read[f"{b}{a}"] = inches_text(mm / 25.4)
    return read


def test_led_by_questions_with_a_tape_in_inches(tmp_path: Path) -> None:
    """`chalkbeam calibrate`, 3, in: fifteen questions, a slip asked again, a wrong reading challenged,
    a file and a calibration in inches; shown in a window, it is not kept for the table."""
    read = distances()
    person = Terminal(tmp_path, "calibrate")
    try:
        person.until(r"\[1\]: ")
        person.type("3")
        person.until(r"Which unit .*: ")
        person.type("in")
        person.until(r"readings .*: ")
        person.type("")
        asked, slips = 0, {4: "wide", 12: "9 1/2"}
        while asked < 15:
            found = person.until(r"([A-F]) to ([A-F]) \((\d+) of 15\), in: ")
            asked = int(found[3])
            if slip := slips.pop(asked, None):
                person.type(slip)
                person.until(
                    r"Write it like 44 1/4\." if slip == "wide" else r"than the rest can explain"
                )
                asked = 0
                continue
            person.type(read[found[1] + found[2]])
        told = person.until(r"(?s).*Next: .*\n")[0]
        assert person.run.wait(30) == 0
    finally:
        person.run.kill()
        os.close(person.master)
    assert "True to about 0.0" in told and "not kept for 'project'" in told
    assert not re.search(r"\d ?mm\b|\bmetre", told), told
    assert len(load_readings(tmp_path / "distances.yaml").readings) == 15
    made = Calibration.load(tmp_path / "calibration.yaml")
    assert made.unit == "in"
    assert 1150.0 < made.summary()["beam_width_mm"] < 1250.0, "of the table that was measured, 1200"
