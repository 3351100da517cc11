"""Measurements taken one at a time at a terminal, with a figure of where the tape goes.

Between `drafting` (what each measure is, how it looks, its file) and the command `measure`. Plain
text in and out, so that it works over any terminal, without colour, and for a screen reader.
"""

from __future__ import annotations

import re
import shutil
import textwrap
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from typing import Any

from configs.errors import InputError
from configs.files import one_line
from configs.units import format_length, parse_length, run_together, unit_name
from drafting.figures import FIGURES, figure_legend, figure_text
from drafting.measurements import BODIES, REGISTRY, Measurements, is_usual, plausibility
from drafting.measurements_file import MeasurementsFile, as_written
from projector.console import print_table
from projector.talk import Talk, numbered, showable

_MOST_APART = 1.5  # of two takes: further apart they are not takes of one measure
_FIGURE_COLUMNS = 34
_LEAST_COLUMNS = 70  # below this the text stands under the figure
_ROWS_FOR_WORDS = 8  # head line, prompt and answers beside a figure
_COMMANDS = {"b": "back", "s": "skip", "q": "quit", "?": "help"}
_HELP = (
    "Type the number as the tape reads it: 92, 54,6 cm, 21 1/2 in, 546 mm. A bare number is in "
    "the file's unit. b goes back to the measure before, s skips this one, q quits; what you "
    "have answered is saved already. Press Enter to leave a value as it is."
)
_WHY_NAMED = (
    "The name goes into the file and on to the pieces, so that they are not\n"
    "mixed up. A voice part is enough, such as alto-3; Enter names nobody."
)
_CAUTION = (
    "Tape snug, never pulled; over a thin close layer; nothing added for comfort, the draft does "
    "that. For the back ask a helper."
)


def _why_no_name(answer: str, unit: str) -> str:
    """Why something cannot be a wearer's name: '' when it can."""
    if not re.search(r"[^\W_]", answer):
        return "holds no letter" if answer else "is empty"
    if not re.search(r"[^\W\d_]", answer):
        return "reads like a measure"
    try:
        parse_length(answer, unit, signed=True)
    except InputError:
        return ""
    return "reads like a measure"


@dataclass
class Dialog(Talk):
    """One sitting at the terminal."""

    sheet: MeasurementsFile
    keys: list[str]
    once: bool
    plain: bool

    @property
    def body(self) -> dict[str, Any]:
        """The measures that stand in the file, as written."""
        return self.sheet.data["measurements"]  # type: ignore[no-any-return]  # `open` made it

    @property
    def before(self) -> Measurements | None:
        """The earlier measuring of the same wearer."""
        now = self.sheet.loaded()
        return now.since if now else None

    # --- the course of it -------------------------------------------------------------------

    def begin(self, unit: str | None, wearer: str | None, taken: str | None) -> None:
        """Unit, wearer and date: from the file, the options, the earlier file, or asked for.

        Raises:
            InputError: an option that does not agree with the file.
        """
        self.listen()
        data = self.sheet.data
        why = _why_no_name(wearer, "cm") if wearer is not None else ""
        if why:
            what = f"{wearer!r} {why}; it should be who is measured."
            remedy = "Name a voice part: --wearer alto-3, or leave --wearer out."
            raise InputError.of("--wearer", what, remedy)
        old, path = self.before, self.sheet.path
        written = data.get("unit")
        name = unit_name(unit, "--unit") if unit is not None else None
        if name is not None and written is not None and unit_name(written, "unit") != name:
            what = f"is {written} and --unit says {unit}: its bare numbers would change meaning."
            remedy = "Leave --unit out and write the unit after a number, like 92 cm."
            raise InputError.of(f"{path} unit", what, remedy)
        known = [str(w) for w in (data.get("wearer"), old.wearer if old else None) if w]
        given = wearer or (known[0] if known else "")
        for held in known:
            if given != held:
                remedy = "Give each wearer a file of their own."
                raise InputError.of(f"{path} wearer", f"is {held}, not {given}.", remedy)
        if written is None:
            data["unit"] = name or (old.unit if old else self.ask_unit())
        if data.get("wearer") is None:
            who = wearer or (old.wearer if old else "")
            who = who or self.ask_wearer(str(data["unit"]))
            if who:
                data["wearer"] = who
        self.dated(taken)
        # the order in which a new file is written
        order = ["chalkbeam", "unit", "wearer", "taken", "since", "note"]
        ranked = {k: data[k] for k in order if k in data}
        self.sheet.data = {**ranked, **{k: v for k, v in data.items() if k not in ranked}}
        who = f"{data['wearer']}, " if data.get("wearer") else ""
        self.say()
        self.say(f"{who}{data['taken']}; bare numbers are in {data['unit']}. {_CAUTION}")
        self.say("b: back, s: skip, q: quit, ?: more. Every answer is saved at once.")

    def dated(self, taken: str | None) -> None:
        """The day of measuring: as in the file, as given, or today.

        Raises:
            InputError: not a date, or another than the file's.
        """
        data = self.sheet.data
        try:
            day = date.fromisoformat(taken) if taken else date.today()
        except ValueError as error:
            what = f"{taken!r} is not a date."
            raise InputError.of("--taken", what, "Write it like 2026-11-02.") from error
        if data.get("taken") is None:
            data["taken"] = day
        elif taken and str(data["taken"]) != day.isoformat():
            what = f"is {data['taken']}, not {taken}."
            remedy = "Give another day's measuring a file of its own, with --since this one."
            raise InputError.of(f"{self.sheet.path} taken", what, remedy)

    def ask_unit(self) -> str:
        """The unit of the tape."""
        asked = "Which unit does your tape show? cm, in or mm [cm]: "
        return self.until(asked, lambda answer: unit_name(answer or "cm", "the unit"))

    def ask_wearer(self, unit: str) -> str:
        """Who is measured, '' for nobody named; a number or a length is asked again."""

        def read(answer: str) -> str:
            why = _why_no_name(answer, unit) if answer else ""
            if answer == "?":
                raise ValueError(_WHY_NAMED)
            if why:
                follow = ", and the measures come next" if why.startswith("reads") else ""
                raise ValueError(
                    f"'{answer}' {why}{follow}. Who is measured? "
                    "Name a voice part, or press Enter to name nobody."
                )
            return answer

        asked = "Who is measured? A voice part, such as alto-3 (Enter: nobody named): "
        return self.until(asked, read)

    def run(self) -> None:
        """Ask what is not there yet, then offer to take any of them again."""
        here = [k for k in self.keys if k in self.body]
        if here and len(here) < len(self.keys):
            self.say(f"Going on: {len(here)} of {len(self.keys)} are in the file already.")
        elif here and str(self.sheet.data["taken"]) != date.today().isoformat():
            self.say(
                "All are in the file. For a new measuring of the same wearer give it a file of its "
                f"own, with --since {self.sheet.path}, and what has changed is told."
            )
        for key in here:
            if self.odd(key):
                self.say(f"In the file, {REGISTRY[key].name}:")
                if self.settle(key) == "quit":
                    return
        at = self.next_from(0)
        while at is not None:
            word = self.one(self.keys[at], at)
            if word == "quit":
                return
            at = max(at - 1, 0) if word == "back" else self.next_from(at + 1)
        while True:
            self.table()
            answer = self.ask("Number of one to take again, Enter to end: ").lower()
            if answer in ("", "q", "quit"):
                return
            named = (k for k in self.keys if answer in (k, REGISTRY[k].name.lower()))
            chosen = next(named, None) or numbered(answer, self.keys)
            if chosen is None:
                self.say(f"'{answer}' is none of these; 1 to {len(self.keys)} are.")
            elif self.one(chosen, self.keys.index(chosen)) == "quit":
                return

    def odd(self, key: str) -> bool:
        """Whether a value of the file lies outside its usual range and nobody was asked about it."""
        now = self.sheet.loaded()
        kept = (self.sheet.data.get("confirmed") or {}).get(key)
        if now is None or str(kept) == str(self.body[key]):
            return False
        return not is_usual(key, now[key], now.body)

    def settle(self, key: str) -> str:
        """Ask about a doubtful value of the file, before its neighbours are compared with it."""
        before = self.body[key]
        word = self.doubt(key, None, self.warnings(key))
        if word == "again":
            return self.one(key, self.keys.index(key))
        if isinstance(word, tuple):
            self.keep(key, word[1])
            self.tell_saved(key, before)
            return "done"
        return word

    def next_from(self, at: int) -> int | None:
        """The next measure, from place ``at`` on, that is not in the file."""
        return next((i for i in range(at, len(self.keys)) if self.keys[i] not in self.body), None)

    # --- one measure ------------------------------------------------------------------------

    def one(self, key: str, at: int) -> str:
        """Show and ask one measure; 'done', 'back', 'skip' or 'quit'."""
        self.show(key, at)
        first: tuple[float, Any] | None = None
        while True:
            before = self.body.get(key)
            word = self.takes(key, first)
            first = None
            after = self.body.get(key)
            if after is not None and after != before:
                self.tell_saved(key, before)
            if word == "changed meanwhile":
                continue
            if word != "done" or after is None or after == before:
                return word
            warned = self.warnings(key)
            self.tell_change(key)
            if not warned:
                return "done"
            answer = self.doubt(key, before, warned)
            if isinstance(answer, str):
                if answer == "again":
                    continue
                return answer
            first = answer  # a new reading, given at once

    def doubt(self, key: str, before: Any, warned: list[str]) -> str | tuple[float, Any]:
        """Ask about a value that looks unusual: kept, taken back, or another reading of it.

        'done', 'again' after it was taken back, a command, or the new reading.
        """
        for line in warned:
            self.hint(line)
        now = self.sheet.loaded()
        whose = "" if now is None or now.body != "woman" else ", man or child if it is one's"
        prompt = f"Enter keeps it, m measures it again{whose}, or type the new reading: "
        word, take = self.length_from(key, prompt, again=True)
        if word in BODIES:
            self.sheet.note_body(word)
            left = self.warnings(key)
            if not left:
                self.hint(f"Usual for a {word}; noted in the file.")
                return "done"
            return self.doubt(key, before, left)
        if word == "value":
            if take is not None:
                return take
            self.sheet.confirm(key)
            return "done"
        if word == "again":  # what she refused herself is not in the file
            if before is None:
                self.sheet.take_out(key)
            else:
                self.sheet.put(key, before)
            return "again"
        self.hint("It stays as saved.")
        return word

    def takes(self, key: str, first: tuple[float, Any] | None = None) -> str:
        """Ask for one or two takes, a third where two differ too much; each is saved at once.

        ``first``: the first take, where it has been given already. 'done' (also when the file's
        value is to stay), a command, or 'changed meanwhile'.
        """
        m = REGISTRY[key]
        old = self.earlier(key)
        held = key in self.body or old is not None
        keep = f", Enter: as {old}" if old else ", new value or Enter to keep" if held else ""
        prompts = (
            f"{m.name} ({self.sheet.data['unit']}){keep}: ",
            "  once more (Enter: no second take): ",
            "  third take: ",
        )
        taken: list[tuple[float, Any]] = []
        while len(taken) < (1 if self.once else 3):
            if len(taken) == 2:
                spread = abs(taken[0][0] - taken[1][0])
                if spread <= m.spread_mm + 1e-9:
                    break
                self.hint(
                    f"The two takes differ by {self.length(spread)}, more than "
                    f"{self.length(m.spread_mm)}. Stand at ease, see that the tape lies as drawn, "
                    "and take it a third time; the two that agree best count.",
                )
            word, take = "value", first
            if first is None:
                word, take = self.length_from(key, prompts[len(taken)])
            first = None
            if word != "value":
                return word
            if take is None:
                if len(taken) == 2:
                    middle = 0.5 * (taken[0][0] + taken[1][0])
                    self.hint(
                        f"No third take: the middle of the two, {self.length(middle)}, counts, and "
                        "every draft will say that they differ.",
                    )
                if taken or held:
                    break
                self.hint(f"Nothing is noted yet. {_HELP}")
                continue
            if taken and not 1 / _MOST_APART < take[0] / taken[0][0] < _MOST_APART:
                self.hint(
                    f"{self.length(taken[0][0])} and {self.length(take[0])} are no two takes of one "
                    "measure. Is the unit right? The first is saved; take it once more.",
                )
                continue
            taken.append(take)
            best = [w for _, w in self.nearest(key, taken)]
            if not self.keep(key, best[0] if len(best) == 1 else best):
                return "changed meanwhile"
        return "done"

    def earlier(self, key: str) -> str | None:
        """'92.0 cm, 2026-03-01' where only the earlier file has it; it counts until taken anew."""
        old = self.before
        if key in self.body or old is None or key not in old:
            return None
        return f"{self.length(old[key])}, {old.taken or 'the time before'}"

    def nearest(self, key: str, taken: list[tuple[float, Any]]) -> list[tuple[float, Any]]:
        """Of three takes the two that agree best, in the order taken."""
        if len(taken) < 3:
            return taken
        a, b = min(combinations(taken, 2), key=lambda p: abs(p[0][0] - p[1][0]))
        spread = abs(a[0] - b[0])
        text = f"Kept: {self.length(a[0])} and {self.length(b[0])}."
        if spread > REGISTRY[key].spread_mm + 1e-9:
            text += f" They still differ by {self.length(spread)}; the file will say so."
        self.hint(text)
        return [a, b]

    def length_from(
        self, key: str, prompt: str, again: bool = False
    ) -> tuple[str, tuple[float, Any] | None]:
        """('value', (mm, as written)), ('value', None) for Enter, or a command.

        ``again``: m, for measuring it again, is a command too.
        """
        while True:
            answer = self.ask(prompt)
            low = answer.lower()
            word = _COMMANDS.get(low, low)
            if word == "help":
                self.hint(f"{REGISTRY[key].how} {REGISTRY[key].posture}")
                self.hint(_HELP)
                continue
            if word in ("back", "skip", "quit"):
                return word, None
            if again and word in ("m", "again", "measure"):
                return "again", None
            if again and word in BODIES:
                return word, None
            if not answer:
                return "value", None
            meant = run_together(answer)
            if meant:
                sure = self.ask(f"  Do you mean {meant}? Enter: yes, or type it anew: ")
                answer = sure or meant
            written = as_written(answer)
            try:
                probe = {"unit": self.sheet.data["unit"], "measurements": {key: written}}
                read = Measurements.from_dict(probe, "this answer")
            except InputError as error:
                for fault in error.faults:
                    self.hint(f"{fault.what} {fault.remedy}")
                continue
            return "value", (read[key], written)

    def keep(self, key: str, value: Any) -> bool:
        """Save it; False, and told, when another hand has written that value meanwhile."""
        if self.sheet.put(key, value):
            return True
        self.hint(
            f"The file has been changed meanwhile: it now says "
            f"{one_line(self.sheet.data['measurements'].get(key))}. Nothing was overwritten.",
        )
        return False

    def tell_saved(self, key: str, before: Any) -> None:
        """What the file now holds, and what it held."""
        now = self.sheet.loaded()
        instead = "" if before is None else f", in place of {one_line(before)}"
        self.hint(f"Saved: {now.text(key) if now else ''}{instead}.")

    def warnings(self, key: str) -> list[str]:
        """What looks unusual because of this measure."""
        now = self.sheet.loaded()
        if now is None:
            return []
        body = self.body
        today = {k: now[k] for k in body}
        kept = self.sheet.data.get("confirmed") or {}
        sure = {k for k in kept if k in body and str(kept[k]) == str(body[k])} - {key}
        others = {k: v for k, v in today.items() if k != key}
        quiet = set(plausibility(others, now.unit, sure, now.body))
        return [w for w in plausibility(today, now.unit, sure, now.body) if w not in quiet]

    def tell_change(self, key: str) -> None:
        """By how much it differs from the earlier measuring."""
        now, old = self.sheet.loaded(), self.before
        if now is None or old is None or key not in old:
            return
        change = now[key] - old[key]
        when = f"since {old.taken}" if old.taken else "since the last time"
        told = "no change" if abs(change) < 0.05 else self.signed(change)
        self.hint(f"{told} {when} (then {self.length(old[key])}).")

    def length(self, mm: float) -> str:
        """A length in the file's unit."""
        return format_length(mm, str(self.sheet.data["unit"]))

    def signed(self, mm: float) -> str:
        """A change in the file's unit, with its sign."""
        return f"{'+' if mm > 0 else '-'}{self.length(abs(mm))}"

    # --- pictures and tables ----------------------------------------------------------------

    def show(self, key: str, at: int) -> None:
        """Figure and words of one measure, side by side where there is room."""
        m = REGISTRY[key]
        screen = shutil.get_terminal_size()
        columns = min(screen.columns, 80) - 1
        picture, words = [""], [f"{re.split(r'[;.:] ?', m.how)[0]}. (? says more)"]
        if key in FIGURES:
            rows = max(12, screen.lines - _ROWS_FOR_WORDS)
            picture = figure_text(key, _FIGURE_COLUMNS, rows, self.plain)
            words += ["", *figure_legend(key)]
        old = self.before
        if key in self.body:
            words += ["", f"In the file: {one_line(self.body[key])}{self.mean_of(key)}"]
        if old is not None and key in old:
            words += ["", f"{old.taken or 'Last time'}: {old.text(key)}"]
        self.raw("")
        self.raw(("-" if self.plain else "─") * columns)
        self.say(f"{at + 1} of {len(self.keys)}: {m.name}")
        self.raw("")
        if columns < _LEAST_COLUMNS:
            for line in picture:
                self.raw(line)
            for line in words:
                self.say(line)
            return
        left = max(len(x) for x in picture) + 3
        beside = [p for w in words for p in (textwrap.wrap(w, columns - left) or [""])]
        for i in range(max(len(picture), len(beside))):
            drawn = picture[i] if i < len(picture) else ""
            self.raw(f"{drawn:<{left}}{beside[i] if i < len(beside) else ''}".rstrip())
        self.raw("")

    def mean_of(self, key: str) -> str:
        """How a value of two takes counts."""
        now = self.sheet.loaded()
        return f" (counts as {now.text(key)})" if now and isinstance(self.body[key], list) else ""

    def table(self) -> None:
        """What has been taken, and by how much it differs from the earlier measuring."""
        now, old = self.sheet.loaded(), self.before
        rows = []
        for i, key in enumerate(self.keys, 1):
            here = now if key in self.body else None
            missing = "as before" if self.earlier(key) else "not taken"
            row = [f"{i}  {REGISTRY[key].name}", here.text(key) if here else missing]
            if old is not None:
                row.append(old.text(key) if key in old else "-")
                row.append(self.signed(here[key] - old[key]) if here and key in old else "-")
            rows.append(row)
        columns = ["measure", str(self.sheet.data.get("taken", "now"))]
        if old is not None:
            columns += [old.taken or "before", "change"]
        self.raw("")
        print_table(showable(str(self.sheet.data.get("wearer") or "")), columns, rows)

    def end(self, helpful: list[str]) -> int:
        """Say what is missing and where the file is; 0 when all is there, 1 when not."""
        body = self.body
        kept = [k for k in self.keys if self.earlier(k)]
        missing = [REGISTRY[k].name for k in self.keys if k not in body and k not in kept]
        if not (body and self.sheet.path.exists()):
            self.say("Nothing was measured; no file was written.")
            return 1
        if missing:
            self.say(
                f"Saved in {self.sheet.path}. Still missing: {', '.join(missing)}. "
                "The same command goes on from here."
            )
            return 1
        self.say(f"Saved in {self.sheet.path}; all that is needed is there.")
        if kept:
            names = ", ".join(REGISTRY[k].name for k in kept)
            self.say(f"Not taken anew, so the earlier value counts: {names}.")
        others = [REGISTRY[k].name for k in helpful if k not in body]
        if others:
            self.say(f"With --extra it also asks for what helps: {', '.join(others)}.")
        return 0
