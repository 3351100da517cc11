"""``chalkbeam calibrate`` alone: led through a calibration, with no docket."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from configs.errors import InputError
from configs.units import parse_length
from projector.commands.command_line import CommandLine, option
from projector.next_step import unit_here
from projector.talk import Talk

_WAYS = (
    ("table", "on the table: the projector is connected and leads me (phone, webcam or tape)"),
    ("photo", "from a photo that I have taken of the four cards in the pattern"),
    ("tape", "with a tape measure, typing here what it reads"),
    ("print", "nothing is printed yet: show me what to print and to project"),
)
_SIZE = "1920x1080"


class LeadCommand(CommandLine):
    """Be led through a calibration: on the table itself, from a photo, or with a tape measure.

    Needs no docket. Never look into the projector's lens.
    """

    display: int | None = option(
        "The projector's display; the first that is not the primary when not given.", metavar="N"
    )
    window: bool = option("A window instead: to try it out, nothing is kept.")
    photos: Path | None = option(
        "Where your photo is looked for; this folder when not given.", metavar="FOLDER"
    )
    camera: int = option("The webcam that may be used.", default=0, metavar="N")
    unit: str | None = option(
        "Of your rule and tape; as this folder's files say when not given.", ("mm", "in")
    )

    def run(self) -> int:
        talk = Talk()
        talk.listen()
        unit = self.unit or unit_here(Path.cwd())
        if self.display is not None or self.window:
            return self._on_the_table(talk, unit)
        talk.say("How will you calibrate? Never look into the projector's lens.")
        for n, (_, text) in enumerate(_WAYS, 1):
            talk.say(f"{n}  {text}", "  ")
        try:
            way = _way(talk)
            if way == "table":
                return self._on_the_table(talk, unit)
            words = {"photo": _photo, "tape": _tape, "print": _cards}[way](talk, unit)
        except EOFError:
            talk.say()
            talk.say(
                "Nothing was changed. By commands: 'chalkbeam calibrate --help' lists the steps."
            )
            return 1
        talk.say(f"That is: chalkbeam calibrate {shlex.join(words)}")
        return _run(words)

    def _on_the_table(self, talk: Talk, unit: str) -> int:
        from calibrate.report import headline
        from calibrate.store import newest
        from drafting import Docket
        from projector.app import Beam
        from projector.leading import led

        with Beam.open(self.display, None, self.window) as beam:
            if beam.notice:
                talk.say(beam.notice)
            there = newest(beam.display.name, beam.size) is not None
            folder = self.photos or Path.cwd()
            leading = led(Docket(unit=unit), beam, folder, self.camera, in_use=there)
            true = beam.true_scale
        if leading.result is None:
            talk.say("Left without a new calibration. Nothing was changed.")
            return 1
        click.get_current_context().params["calibrated"] = True
        found = headline(leading.result)  # as the page said
        talk.say(f"Calibrated. {found}" + ("" if true else " It was a window: nothing is kept."))
        return 0


def _way(talk: Talk) -> str:
    while True:
        answer = talk.ask(f"Number, 1 to {len(_WAYS)} [1]: ").lower() or "1"
        for n, (way, _) in enumerate(_WAYS, 1):
            if answer in (str(n), way):
                return way
        talk.say(f"'{answer}' is none of these.")


def _run(words: list[str]) -> int:
    """The command as if she had typed it, with all that guards its files."""
    from projector.cli import calibrate

    done = calibrate.main(words, prog_name="chalkbeam calibrate", standalone_mode=False)
    return done if isinstance(done, int) else 0


def _asked(talk: Talk, question: str, usual: str = "") -> str:
    shown = f" [{usual}]" if usual else ""
    while True:
        answer = talk.ask(f"{question}{shown}: ") or usual
        if answer:
            return answer
        talk.say("This one needs an answer.")


def _size(talk: Talk) -> str:
    from calibrate.pattern import parse_size

    while True:
        answer = _asked(talk, "The projector's own resolution", _SIZE)
        try:
            parse_size(answer)
        except InputError as error:
            talk.say(str(error.faults[0]))
        else:
            return answer


def _photo(talk: Talk, unit: str) -> list[str]:
    while True:
        name = _asked(talk, "The photo's file", "photo.jpg")
        if Path(name).is_file():
            break
        talk.say(f"There is no file {name} here.")
    size = _size(talk)
    while True:
        such = "7 1/16,9 13/16" if unit == "in" else "180.4,250"
        bars = talk.ask(f"What a steel rule reads on bar 1 and bar 2, {unit}, like {such} (Enter: not read): ")  # fmt: skip
        words = ["photo", name, "--size", size, "--out", _free("calibration")]
        words += ["--unit", unit] if unit == "in" else []
        if not bars:
            return words
        try:
            x, y = (parse_length(v, unit) for v in bars.replace(";", ",").split(","))
        except ValueError:
            talk.say(f"Two readings with a comma between them, such as {such}.")
            continue
        return [*words, "--bars", f"{x:.6g},{y:.6g}"]


def _tape(talk: Talk, unit: str) -> list[str]:
    unit = _asked(talk, "Which unit does the tape show? mm, cm or in", unit)
    while unit not in ("mm", "cm", "in"):
        unit = _asked(talk, "mm, cm or in", "mm")
    readings = _asked(talk, "The file for the readings", "distances.yaml")
    return ["tape", readings, "--guided", "--unit", unit, "--out", _free("calibration")]


def _cards(talk: Talk, unit: str) -> list[str]:
    paper = _asked(talk, "Which paper? a4 or letter", "letter" if unit == "in" else "a4").lower()
    while paper not in ("a4", "letter"):
        paper = _asked(talk, "a4 or letter", "a4").lower()
    return ["cards", "--paper", paper, "--out", "cards.pdf"]


def _free(stem: str) -> str:
    """A name for a new calibration beside those that are there."""
    n, path = 2, Path(f"{stem}.yaml")
    while path.exists():
        path, n = Path(f"{stem}-{n}.yaml"), n + 1
    return str(path)
