"""``chalkbeam calibrate`` alone: led through a calibration, with no docket."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from configs.units import parse_length
from projector.commands.command_line import CommandLine, option
from projector.next_step import unit_here
from projector.talk import Talk, free_name, numbered

_WAYS = (
    ("table", "on the table: the projector is connected and leads me (phone, webcam or tape)"),
    ("photo", "from a photo that I have taken of the four cards in the pattern"),
    ("tape", "with a tape measure, typing here what it reads"),
    ("print", "nothing is printed yet: show me what to print and to project"),
)
_SIZE = "1920x1080"
_OUT = Path("calibration.yaml")


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
        talk.listed(text for _, text in _WAYS)
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
    def read(answer: str) -> str:
        word = answer.lower() or "1"
        way = numbered(word, _WAYS) or next((w for w in _WAYS if w[0] == word), None)
        if way is None:
            raise ValueError(f"'{word}' is none of these.")
        return way[0]

    return talk.until(f"Number, 1 to {len(_WAYS)} [1]: ", read)


def _run(words: list[str]) -> int:
    """The command as if she had typed it, with all that guards its files."""
    from projector.cli import calibrate

    done = calibrate.main(words, prog_name="chalkbeam calibrate", standalone_mode=False)
    return done if isinstance(done, int) else 0


def _asked(talk: Talk, question: str, usual: str) -> str:
    return talk.ask(f"{question} [{usual}]: ") or usual


def _one_of(talk: Talk, question: str, words: tuple[str, ...], usual: str) -> str:
    """One of some words; who types another is asked for no more than that."""
    answer = _asked(talk, question, usual).lower()
    listed = f"{', '.join(words[:-1])} or {words[-1]}"
    while answer not in words:
        answer = _asked(talk, listed, words[0]).lower()
    return answer


def _photo(talk: Talk, unit: str) -> list[str]:
    from calibrate.pattern import parse_size

    def size(answer: str) -> str:
        parse_size(answer or _SIZE)
        return answer or _SIZE

    while not Path(name := _asked(talk, "The photo's file", "photo.jpg")).is_file():
        talk.say(f"There is no file {name} here.")
    wide = talk.until(f"The projector's own resolution [{_SIZE}]: ", size)
    such = "7 1/16,9 13/16" if unit == "in" else "180.4,250"

    def bars(answer: str) -> list[str]:
        if not answer:
            return []
        try:
            x, y = (parse_length(v, unit) for v in answer.replace(";", ",").split(","))
        except ValueError:
            raise ValueError(f"Two readings with a comma between them, such as {such}.") from None
        return ["--bars", f"{x:.6g},{y:.6g}"]

    asked = f"What a steel rule reads on bar 1 and bar 2, {unit}, like {such} (Enter: not read): "
    words = ["photo", name, "--size", wide, "--out", str(free_name(_OUT))]
    words += ["--unit", unit] if unit == "in" else []
    return [*words, *talk.until(asked, bars)]


def _tape(talk: Talk, unit: str) -> list[str]:
    asked = "Which unit does the tape show? mm, cm or in"
    unit = _one_of(talk, asked, ("mm", "cm", "in"), unit)
    readings = _asked(talk, "The file for the readings", "distances.yaml")
    return ["tape", readings, "--guided", "--unit", unit, "--out", str(free_name(_OUT))]


def _cards(talk: Talk, unit: str) -> list[str]:
    usual = "letter" if unit == "in" else "a4"
    paper = _one_of(talk, "Which paper? a4 or letter", ("a4", "letter"), usual)
    return ["cards", "--paper", paper, "--out", "cards.pdf"]
