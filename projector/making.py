"""A docket by question and answer: what to make, for whom, from which cloth.

Between `drafting` (blocks, dockets) and the command `new`. Each answer is kept in a hidden file beside
the docket before the next question, so that an end in the middle loses nothing; the docket itself is
written once, whole, when all is answered. Plain text in and out, over any terminal, or piped.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from configs.errors import InputError
from configs.files import dump_yaml, named_file, read_yaml
from configs.reader import nearest
from configs.units import INCH_UNITS, format_length, inches_text, parse_length, unit_name
from drafting import blocks
from drafting.blocks import Block
from drafting.measurements import Measurements
from drafting.style import Option
from projector.next_step import needs_of
from projector.output import ANSWERS, DOCKET, write
from projector.talk import Talk, free_name, numbered

T = TypeVar("T")

_KEPT = ".chalkbeam-new.yaml"  # the answers so far, in the folder where the docket will be
_LEAST_WIDTH_MM, _MOST_WIDTH_MM = 200.0, 4000.0  # of cloth: from a remnant to extra wide sheeting
_MOST_LENGTH_MM = 100_000.0
_COMMENTS_AT = 34  # column where the comments of the docket begin


class Back(Exception):
    """She wants to go back to the question before."""


@dataclass
class Making(Talk):
    """One sitting. ``folder``: where the docket goes; ``path``: its file, if she has named it.

    ``answers``: question → answer, in the order asked; ``asked``: those asked or told in this round.
    """

    folder: Path
    path: Path | None = None
    answers: dict[str, Any] = field(default_factory=dict)

    # -- the course of it ----------------------------------------------------------------------

    def run(self) -> Path:
        """Ask all, write the docket, answer where it is.

        Raises:
            EOFError, KeyboardInterrupt: it was ended in the middle; the answers are kept.
            InputError: the folder cannot be written to.
        """
        self.listen()
        self.answers = self._kept()
        self.say(
            "A new garment, by question and answer. Enter takes what stands in [brackets]; "
            "b goes back a question, ? says more, Ctrl-C stops. What is answered stays."
        )
        if self.answers:
            told = [str(self.answers[k]) for k in ("block", "title", "wearer") if k in self.answers]
            self.say(f"Going on from before: {', '.join(told)}. b goes back.")
        while True:
            try:
                path, text = self._all()
            except Back:
                if self.answers:
                    self.answers.popitem()
                    self._keep()
                continue
            break
        write(path, text, DOCKET)
        (self.folder / _KEPT).unlink(missing_ok=True)
        return path

    def stopped(self) -> str:
        """What to say when it ends in the middle."""
        if not self.answers:
            return "Nothing was answered, and nothing was written. 'chalkbeam --help' lists all."
        return "No docket is written yet; your answers are kept, and the same command goes on."

    def _all(self) -> tuple[Path, str]:
        block = blocks.get(self._block())
        style = self._style(block)
        parts = self._parts(block)
        title = self._answer("title", "What do you call it?", _one_line, _plain_title(block))
        path = self.path or free_name(self.folder / f"{_slug(title)}.yaml")
        wearer = self._wearer()
        file = self._measurements_of(wearer)
        unit = file[1] if file else self._unit()
        measures = file[0] if file else f"{_slug(wearer)}.yaml"
        cloth = self._cloth(unit)
        return path, _docket_text(block, style, parts, title, measures, unit, cloth)

    # -- the questions -------------------------------------------------------------------------

    def _block(self) -> str:
        known = [b for b in map(blocks.get, blocks.names()) if getattr(b, "alone", True)]
        if "block" not in self.answers:
            self.say()
            self.say("What do you want to make?")
            self.listed(b.title for b in known)
        names = [b.name for b in known]

        def read(answer: str) -> str:
            word = numbered(answer, names) or answer.lower().replace(" ", "-")
            words = [n for n in names if set(word.split("-")) & set(n.split("-"))]
            if word in names or len(words) == 1:
                return word if word in names else words[0]
            hint = nearest(word, names)
            raise ValueError(f"'{answer}' is none of these; type a number from 1 to {len(names)}. {hint}")  # fmt: skip

        more = "\n".join(f"{b.name}: {b.text}" for b in known)
        return self._answer("block", f"Number, 1 to {len(names)}", read, None, more)

    def _style(self, block: Block) -> dict[str, str]:
        """Style options with choices, one by one, if she wants to choose."""
        plain = [o for o in block.options if o.choices]
        if not plain:
            return {}
        some = ", ".join(o.key.replace("_", " ") for o in plain[:3]) + " … and what is sewn to it"
        choose = self._answer(
            "details", f"As it usually is, or choose ({some})? Enter: as usual, c: choose",
            _word_of({"usual": "", "": "", "c": "c", "choose": "c"}), "usual",
            f"Everything that can be chosen, with pictures: chalkbeam blocks {block.name}",
        )  # fmt: skip
        if choose != "c":
            return {}
        style: dict[str, str] = {}
        chosen = {o.key: str(o.default) for o in plain}
        for option in plain:
            if option.when and not any(chosen.get(k) in v for k, v in option.when):
                continue
            got = self._choice(option)
            chosen[option.key] = got
            if got != str(option.default):
                style[option.key] = got
        return style

    def _parts(self, block: Block) -> tuple[str, ...]:
        """What is sewn to it: sleeves, collars, a skirt, by the blocks that join one of its edges."""
        there = [b for b in map(blocks.get, blocks.names()) if b.name != block.name]
        fit = [b.name for b in there if set(b.joins) & set(block.edges)]
        if not fit or self.answers.get("details") not in ("c", "choose"):
            return ()
        listed = ", ".join(f"{n} {name}" for n, name in enumerate(fit, 1))

        def read(answer: str) -> str:
            if answer.lower() in ("", "nothing", "none", "no"):
                return ""
            found = []
            for word in answer.replace(",", " ").split():
                found.append(numbered(word, fit) or word)
                if found[-1] not in fit:
                    raise ValueError(f"'{word}' is none of these. {nearest(word, fit)}".rstrip())
            return " ".join(dict.fromkeys(found))

        more = "\n".join(f"{name}: {blocks.get(name).text}" for name in fit)
        asked = f"What is sewn to it ({listed})? Enter: nothing"
        return tuple(self._answer("parts", asked, read, "", more).split())

    def _choice(self, option: Option) -> str:
        known = list(option.choices)
        usual = str(option.default) if option.default in known else known[0]

        def read(answer: str) -> str:
            word = answer.lower()
            for choice in known:
                if word.replace("-", " ") == choice.replace("-", " "):
                    return choice
            raise ValueError(f"'{answer}' is none of these. {nearest(word, known)}".rstrip())

        name = option.key.replace("_", " ")
        more = option.text + "\n" + "\n".join(f"{c}: {t}" for c, t in option.choices.items())
        return self._answer(
            f"style {option.key}", f"{name[:1].upper()}{name[1:]}: {', '.join(known)}", read, usual, more
        )  # fmt: skip

    def _wearer(self) -> str:
        there = self._files()
        if there and "wearer" not in self.answers:
            self.say()
            self.say("Measured already:")
            self.listed(f"{m.wearer or path.stem} ({path.name})" for path, m in there)

        def read(answer: str) -> str:
            if named := numbered(answer, there):
                return named[0].name
            if not re.search(r"[^\W\d_]", answer):
                raise ValueError(f"'{answer}' holds no letter. Name who will wear it.")
            return _one_line(answer)

        asked = f"For whom? {'A number, or another name' if there else 'A name, such as alto-3'}"
        more = "It goes on to the pieces, so that they are not mixed up; the measures are kept under it."
        return self._answer("wearer", asked, read, None, more)

    def _unit(self) -> str:
        asked = "Which unit does your tape show? cm, in or mm"
        return self._answer("unit", asked, lambda answer: unit_name(answer, "the unit"), "cm")

    def _cloth(self, unit: str) -> dict[str, str]:
        """The cloth's lines as a docket writes them; empty where it is not known yet."""
        example = "45 in" if unit in INCH_UNITS else "140 cm"
        width = self._answer(
            "cloth width", f"How wide is the cloth, selvedge to selvedge (such as {example})? Enter: not known yet",
            _cloth_length(unit, _LEAST_WIDTH_MM, _MOST_WIDTH_MM), "",
            "Opened out. For a remnant press Enter: a photo finds its outline later, "
            "'chalkbeam guide remnants' tells how.",
        )  # fmt: skip
        if not width:
            return {}
        cloth = {"width": width}
        length = self._answer(
            "cloth length", "How long is your piece? Enter: not bought yet, the lay says how much",
            _cloth_length(unit, _LEAST_WIDTH_MM, _MOST_LENGTH_MM), "",
        )  # fmt: skip
        if length:
            cloth["length"] = length
        nap = self._answer(
            "cloth nap", "Does it look different upside down (nap, pile, a print with a top)? y or n",
            _word_of({"y": "one-way", "yes": "one-way", "n": "two-way", "no": "two-way"}), "n",
            "Velvet, corduroy, a print of flowers that stand: all pieces must lie the same way. Hold "
            "it up both ways in the light; if unsure, say y: it takes a little more cloth.",
        )  # fmt: skip
        return cloth | {"fold": "best", "nap": "one-way" if nap == "one-way" else "two-way"}

    # -- asking --------------------------------------------------------------------------------

    def _answer(
        self, key: str, question: str, read: Callable[[str], T], usual: str | None, more: str = ""
    ) -> T:
        """The answer to a question: the one kept, or asked until it is one, and kept at once.

        Raises:
            Back: the question before is wanted.
        """
        if key in self.answers:
            try:
                return read(str(self.answers[key]))
            except ValueError:
                del self.answers[key]  # it fitted then: another file, another block
        shown = f" [{usual}]" if usual else ""
        while True:
            answer = self.ask(f"{question}{shown}: ")
            if answer in ("b", "back"):
                raise Back
            if answer == "?":
                self.hint(more or "Type the answer, or b for the question before.")
                continue
            if not answer and usual is None:
                self.hint("This one needs an answer. ? says more.")
                continue
            written = answer or usual or ""
            try:
                value = read(written)
            except ValueError as error:
                self.hint(str(error))
                continue
            # a number means something else once there are more of them
            self.answers[key] = str(value) if key in ("block", "parts", "wearer") else written
            self._keep()
            return value

    def _keep(self) -> None:
        kept = self.folder / _KEPT
        if self.answers:
            write(kept, dump_yaml({"chalkbeam": 1, "answers": self.answers}), ANSWERS)
        else:
            kept.unlink(missing_ok=True)

    def _kept(self) -> dict[str, Any]:
        path = self.folder / _KEPT
        if not path.is_file():
            return {}
        try:
            data = read_yaml(path).get("answers")
        except InputError:
            return {}
        return {str(k): str(v) for k, v in data.items()} if isinstance(data, Mapping) else {}

    # -- files ---------------------------------------------------------------------------------

    def _files(self) -> list[tuple[Path, Measurements]]:
        """The measurements files of the folder, by name."""
        found = []
        for path in sorted(self.folder.glob("*.yaml")):
            try:
                if "measurements" in read_yaml(path) and "garment" not in read_yaml(path):
                    found.append((path, Measurements.load(path)))
            except InputError:
                continue
        return found

    def _measurements_of(self, wearer: str) -> tuple[str, str] | None:
        """(file, unit) of who is measured already; None for somebody new."""
        for path, m in self._files():
            if wearer in (path.name, m.wearer) or _slug(wearer) == path.stem:
                return path.name, m.unit
        return None


def needed(path: Path) -> tuple[Path, tuple[str, ...]] | None:
    """The measurements file that a new docket still waits for, and what must stand in it; None when
    all is there."""
    data = read_yaml(path)
    needs = needs_of(data["garment"])
    file = path.parent / str(data["measurements"])
    if not file.exists():
        return file, needs
    body = Measurements.load(named_file(path.parent, file.name, "measurements", str(path), ""))
    return None if all(k in body for k in needs) else (file, needs)


# -- reading answers -----------------------------------------------------------------------------


def _one_line(answer: str) -> str:
    line = " ".join(answer.split())
    if len(line) > 80:
        raise ValueError("That is longer than a label: at most 80 signs.")
    return line


def _word_of(known: Mapping[str, str]) -> Callable[[str], str]:
    def read(answer: str) -> str:
        word = answer.lower()
        if word not in known:
            raise ValueError(f"'{answer}' is none of {', '.join(k for k in known if k)}.")
        return known[word]

    return read


def _cloth_length(unit: str, low_mm: float, high_mm: float) -> Callable[[str], str]:
    """Reads a length as she writes it; answers it with its unit, '' for none."""

    def read(answer: str) -> str:
        if not answer:
            return ""
        try:
            mm = float(parse_length(answer, unit))
        except InputError as error:
            raise ValueError(f"{error.faults[0].what} {error.faults[0].remedy}") from None
        if low_mm <= mm <= high_mm:
            return answer if re.search(r"[^\d\s.,/]", answer) else f"{answer} {unit}"
        bare = not re.search(r"[^\d\s.,/]", answer)
        fits = [
            u for u in ("cm", "m", "in", "mm")
            if bare and u != unit and low_mm <= float(parse_length(answer, u)) <= high_mm
        ]  # fmt: skip
        meant = f" Did you mean {answer} {fits[0]}?" if fits else " Is the unit right?"
        raise ValueError(f"{format_length(mm, unit)} is no cloth's.{meant}")

    return read


def _plain_title(block: Block) -> str:
    return re.split(r"[:;,(]", block.title)[0].strip().lower().removeprefix("the ")


def _slug(text: str) -> str:
    text = text.removesuffix(".yaml")
    return re.sub(r"[^\w.-]+", "-", text.strip().lower()).strip("-.") or "garment"


# -- the docket ----------------------------------------------------------------------------------


def _docket_text(
    block: Block,
    style: Mapping[str, str],
    parts: tuple[str, ...],
    title: str,
    measures: str,
    unit: str,
    cloth: Mapping[str, str],
) -> str:
    """The docket's text, each line with what it is."""
    inches = unit in INCH_UNITS
    of = "in" if inches else "mm"
    rows: list[tuple[str, str]] = [
        ("chalkbeam: 1", "the form of this file; leave it as it is"),
        (f"title: {_quoted(title)}", "stands on the pieces"),
        *([("unit: in", "of numbers without a unit of their own")] if inches else []),
        (f"measurements: {_quoted(measures)}", f"the body; taken with: chalkbeam measure {measures}"),
        ("garment:", ""),
        (f"  block: {block.name}", f"what is drafted; all of it: chalkbeam blocks {block.name}"),
        ("  style:" if style else "  style: {}", "what differs from how it usually is"),
        *((f"    {key}: {_quoted(value)}", "") for key, value in style.items()),
        ("  fit: []", "what your toile shows: chalkbeam guide toile"),
        *([("  with:", "what is sewn to it, in this order")] if parts else []),
        *((f"    - {{block: {name}}}", f"all of it: chalkbeam blocks {name}") for name in parts),
        ("allowances:", "added outside the seam lines; a 0 cuts on the line"),
        *(
            (f"  {edge}: {_sewn(mm, inches)}", "every edge that is not named" if edge == "all" else "")
            for edge, mm in block.allowances.items()
        ),
    ]  # fmt: skip
    says = {
        "width": "selvedge to selvedge, opened out",
        "length": "of your piece; without this line the lay says how much to buy",
        "fold": "best tries each way; or lengthwise, double, crosswise; none for one layer",
        "nap": "one-way: all pieces lie the same way; two-way: they may turn half round",
    }
    if cloth:
        rows.append(("cloth:", ""))
        rows += [(f"  {key}: {value}", says[key]) for key, value in cloth.items()]
        rows.append(
            (f"  selvedge: {_sewn(10.0, inches)}", "strip along both edges that stays empty")
        )
    else:
        wide = "45 in" if inches else "140 cm"
        rows.append((f"# cloth: {{width: {wide}, fold: best}}",
                     f"take the first # away when you know it (a bare number is in {of})"))  # fmt: skip
    return "".join(
        f"{line:<{_COMMENTS_AT}}  # {why}\n" if why else f"{line}\n" for line, why in rows
    )


def _sewn(mm: float, inches: bool) -> str:
    """A usual allowance: in inches to the eighth that dressmakers use, else in mm."""
    return f"{inches_text(mm / 25.4, 8)} in" if inches else f"{mm:g} mm"


def _quoted(text: str) -> str:
    """A text as YAML holds it."""
    return dump_yaml({"x": text})[3:].strip().splitlines()[0]
