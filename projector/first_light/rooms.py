"""The rooms of first light: one a page, with what keys do on it and how it is drawn.

A room is made anew whenever she comes into it, so that it holds nothing but what is under way on its
page; what is known of the calibration is the `FirstLight`'s. Every word stands on the beam itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from configs.units import INCH_UNITS, parse_length
from drafting.placement import carry
from projector.first_light import words
from projector.lettering import text_width
from projector.picture import pages, signs, sketches
from projector.picture.buttons import rounded
from projector.picture.marks import Item, polyline
from projector.picture.stage import Stage
from projector.picture.view import View
from projector.session.words import things

if TYPE_CHECKING:
    from projector.first_light.light import FirstLight
    from projector.first_light.picture import Picture

_ON, _BACK = ("space", "return", "page down"), ("backspace", "page up")
_LEAST_MM, _MOST_MM = 5.0, 30_000.0  # of a distance on a table


class Room:
    """A page, by its ``name``.

    ``MARKS``: a presenter's forward and back mark a button from the first, since there is no one way
    on; ``POINTER``: it is drawn; ``UP``: of the beam's height, how far up its buttons stand.
    """

    name: ClassVar[str]
    MARKS: ClassVar[bool] = False
    POINTER: ClassVar[bool] = True
    UP: ClassVar[float] = 0.0

    def buttons(self, light: FirstLight) -> list[words.Words]:
        """The key that each of its buttons presses, its words, that key as it is printed."""
        return list(words.BUTTONS[self.name])

    def key(self, light: FirstLight, name: str) -> None:
        """A key was pressed, or the button of the same."""
        raise NotImplementedError

    def leave(self, light: FirstLight) -> None:
        """Esc was pressed."""
        light.go(Start())

    def draw(self, light: FirstLight, picture: Picture) -> None:
        """The page on the canvas."""
        raise NotImplementedError


class Start(Room):
    """What to calibrate by."""

    name = "start"
    MARKS = True

    def buttons(self, light: FirstLight) -> list[words.Words]:
        """A look at the lay in a window only."""
        return [b for b in super().buttons(light) if b[0] != "4" or light.may_look]

    def key(self, light: FirstLight, name: str) -> None:
        if name == "1":
            light.go(Photo())
        elif name == "2":
            light.webcam, light.running = True, False
        elif name == "3":
            light.go(tape := Tape())
            tape.begin(light)
        elif name == "4" and light.may_look:
            light.looks, light.running = True, False

    def leave(self, light: FirstLight) -> None:
        """Back to the lay; without one she is asked first."""
        if light.in_use:
            light.running = False
        else:
            light.leave_if_sure()

    def draw(self, light: FirstLight, picture: Picture) -> None:
        start = words.START
        rows = [*start[:3], *([words.LOOK] if light.may_look else []), *start[3:-1]]
        rows.append(("Esc", words.TO_THE_LAY if light.in_use else start[-1][1]))
        window = (words.IN_A_WINDOW,) if light.may_look else ()
        none = "Nothing drawn on this page is to scale yet."
        drawn = (sketches.photo(), sketches.webcam(), sketches.tape())
        picture.page(
            "First light: how does the projector see this table?",
            rows,
            (none, *window, words.PRESENTER, *words.CAUTIONS),
            [sketches.named(s, n) for n, s in enumerate(drawn, 1)],
        )


class Photo(Room):
    """What to lay where before the photo."""

    name = "photo"

    def key(self, light: FirstLight, name: str) -> None:
        if name in _ON:
            light.go(Pattern())
        elif name in _BACK:
            light.go(Start())

    def draw(self, light: FirstLight, picture: Picture) -> None:
        where = " or ".join(str(f) for f in light.folders)
        foot = (f"Folder: {where}", "Space shows the pattern, Esc goes back.")
        picture.page("A photo", words.PHOTO_STEPS, foot, (sketches.bars(), sketches.photo()))


class Pattern(Room):
    """The pattern alone: a camera looks at it."""

    name = "pattern"
    POINTER = False

    def key(self, light: FirstLight, name: str) -> None:
        if name in (*_BACK, "space"):
            light.go(Photo())

    def draw(self, light: FirstLight, picture: Picture) -> None:
        """The calibrate package's picture, untouched."""
        from calibrate.pattern import pattern_for

        picture.picture(pattern_for(light.size).image())


@dataclass(eq=False)
class Typing(Room):
    """A page on which lengths are ``typed``: a point is a digit's there."""

    MARKS = True

    typed: str = ""

    def key(self, light: FirstLight, name: str) -> None:
        """A digit more, or one less."""
        if name == "backspace":
            self.typed = self.typed[:-1]
        elif name == "space":
            self.typed += " "
        elif len(name) == 1 and name in "0123456789.,/ ":
            self.typed += name


@dataclass(eq=False)
class Bars(Typing):
    """What a rule reads on the two printed bars: ``bars`` so far, mm; ``before``: the room to go back to."""

    name = "bars"

    before: Room = field(default_factory=Start)
    bars: list[float] = field(default_factory=list)

    def leave(self, light: FirstLight) -> None:
        light.go(self.before)

    def key(self, light: FirstLight, name: str) -> None:
        """Enter takes a bar; the second of them ends it."""
        from calibrate.solve import bar_scale
        from configs.errors import ChalkbeamError

        if name != "return":
            super().key(light, name)
            return
        try:
            self.bars.append(parse_length(self.typed, light.unit))
        except ChalkbeamError:
            such = f"{light.unit}, such as {'7 1/8' if light.unit == 'in' else '180.4'}"
            light.tell(f"Type what the rule reads in {such}; Esc leaves them unread.")
            return
        self.typed = ""
        if len(self.bars) < 2:
            return
        read, self.bars = (self.bars[0], self.bars[1]), []
        try:
            bar_scale(read)
        except ChalkbeamError as error:
            light.tell(f"{str(error.faults[0]).removeprefix('--bars: ')} Type both anew.")
            return
        light.bars_mm = read
        light.go(self.before)
        if light.detected is not None and isinstance(self.before, Done):
            light.solve_with_bars()
        else:
            light.tell(f"The bars: {light.told(read[0])} and {light.told(read[1])}.")

    def draw(self, light: FirstLight, picture: Picture) -> None:
        from calibrate.cards import BARS_MM

        typed, (one, two) = f"{self.typed}_ {light.unit}", words.BARS_ASKED
        fine = "to a 64th of an inch" if light.unit == "in" else "to a fifth of a millimetre"
        first = light.told(self.bars[0]) if self.bars else typed
        long = light.told(BARS_MM[len(self.bars)])
        picture.page(
            "What does a steel rule read on the two printed bars?",
            [("1", f"{one}: {first}"), ("2", f"{two}: {typed}" if self.bars else two)],
            (
                f"Drawn {long} long, from end to end; read it {fine}. Enter takes it.",
                "Printers are often 0.2 % out, and no photo can show it. Esc leaves the bars unread.",
            ),
            (sketches.bars(),),
        )


@dataclass(eq=False)
class Tape(Typing):
    """Distances by tape: ``pair``: which is asked for; ``readings``: pair → as it was typed."""

    name = "tape"
    UP = 0.26  # her edge has crosses

    pair: int = 0
    readings: dict[str, str] = field(default_factory=dict)
    doubted: tuple[str, str] = ("", "")

    def begin(self, light: FirstLight) -> None:
        """With the readings that were kept when it was left."""
        from calibrate.readings import under_way

        self.readings = under_way(light.display, light.size, light.crosses())
        pairs = _pairs(light)
        left = [n for n, pair in enumerate(pairs) if pair not in self.readings]
        self.pair, self.typed = left[0] if left else len(pairs), ""
        if self.readings:
            light.tell(
                f"{things(len(self.readings), 'reading')} of before kept. Enter goes on; was the "
                "projector moved since, press Del and measure anew."
            )

    def key(self, light: FirstLight, name: str) -> None:
        """Enter takes a reading, Back mends one, Tab solves, Del begins anew."""
        from calibrate.readings import set_aside

        pairs = _pairs(light)
        if name == "delete":
            set_aside(light.display, light.size)
            self.begin(light)
            light.tell("The readings were put aside. Measure anew, from the first pair.")
        elif name == "tab" or (name == "return" and self.pair >= len(pairs)):
            self._solve(light)
        elif name == "return":
            self._take(light, pairs[self.pair], self.typed.strip())
            if self.pair >= len(pairs):
                self._solve(light)
        elif name == "backspace" and not self.typed:
            if self.pair:
                self.pair -= 1
                self.typed = self.readings.get(pairs[self.pair], "").removesuffix(" in")
        else:
            super().key(light, name)

    def _take(self, light: FirstLight, pair: str, typed: str) -> None:
        """A reading as it is typed, on the disk before the next one: the plug may be pulled."""
        from calibrate.readings import keep_under_way
        from configs.errors import ChalkbeamError

        others = {k: v for k, v in self.readings.items() if k != pair}
        if typed and (doubt := self._doubt(light, pair, typed, others)):
            light.tell(doubt)
            return
        if typed:  # a plain number is mm in what is kept
            others[pair] = f"{typed} in" if light.unit == "in" else typed
        before, self.readings = self.readings, others
        if others != before:
            try:
                keep_under_way(light.display, light.size, light.crosses(), others)
            except ChalkbeamError as error:
                light.tell(f"Not kept: {error.faults[0]}")
        self.pair, self.typed = self.pair + 1, ""

    def _doubt(self, light: FirstLight, pair: str, typed: str, others: dict[str, str]) -> str:
        """What is wrong with a reading as it is typed, in words; empty when nothing is, or when the same
        is typed again after it was told that it contradicts the rest."""
        from calibrate.readings import readings_from
        from calibrate.tape import against_the_rest
        from configs.errors import ChalkbeamError

        such = "44 1/4" if light.unit == "in" else "1123.5"
        try:
            mm = parse_length(typed, light.unit)
        except ChalkbeamError:
            return (
                f"'{typed}' is no length. Type what the tape reads in {light.unit}, such as {such}."
            )
        if not _LEAST_MM <= mm <= _MOST_MM:
            return f"{light.told(mm)} is no distance on a table. Is it read in {light.unit}?"
        given = _taped(light, {**others, pair: f"{mm:.3f}"})
        try:
            told = against_the_rest(readings_from(given, "the readings", light.size))
        except ChalkbeamError:  # of readings that are kept: told when it is solved
            return ""
        if not told or self.doubted == (pair, typed):
            return ""
        self.doubted = (pair, typed)
        return f"{told} Read it again; the same once more keeps it."

    def _solve(self, light: FirstLight) -> None:
        from calibrate.readings import readings_from
        from calibrate.tape import solve_tape

        given, size, display = _taped(light, self.readings), light.size, light.display
        light.detected = None  # what is found now is the tape's; the cards' bars say nothing of it
        light.tell("Solving …")
        light.beside.start(
            lambda: (
                solve_tape(readings_from(given, "the readings", size), display=display).calibration
            )
        )

    def draw(self, light: FirstLight, picture: Picture) -> None:
        from calibrate.readings import crosses_picture, pairs_of

        pairs = pairs_of(light.crosses())
        pair = pairs[self.pair] if self.pair < len(pairs) else None
        picture.picture(crosses_picture(light.size, light.crosses(), pair))
        asked = f"{pair[0]} to {pair[1]}: {self.typed}_ {light.unit}" if pair else "Enter solves"
        count = f"{min(self.pair + 1, len(pairs))} of {len(pairs)}, {len(self.readings)} read"
        lines = [asked, count, light.said or words.TAPE_KEYS]
        half = 0.5 * max(text_width(t, h) for t, h in zip(lines, (24.0, 12.0, 12.0), strict=True))
        stage, (x, y) = picture.stage, (float(v) for v in picture.stage.middle_mm)
        box = polyline((-half, -74.0), (half, -74.0), (half, 24.0), (-half, 24.0))
        picture.clear(box * (1.06, 1.0) + (x, y))
        picture.put(pages.lines_in_middle(stage, lines))
        if pair is None:
            return
        drawn = sketches.tape(*pair)
        wide, tall = 1.2 * drawn.size[0], 1.2 * drawn.size[1]
        frame = stage.reading_frame((x - 0.5 * wide, y + 44.0))
        # in a frame: its crosses are not those on the table
        leaf = rounded(-14.0, -8.0, wide + 14.0, tall + 8.0, 6.0)
        picture.clear(carry(frame, leaf))
        marks = [stage.mark("button", [leaf]), *drawn.marks(stage, (0.0, 0.0), 1.2)]
        picture.put(Item("sketch", tuple(marks), frame))


def _pairs(light: FirstLight) -> list[str]:
    """The distances that are asked for, as they are kept: ``A-B``."""
    from calibrate.readings import pairs_of

    return [f"{a}-{b}" for a, b in pairs_of(light.crosses())]


def _taped(light: FirstLight, readings: dict[str, str]) -> dict[str, Any]:
    return {
        "size": list(light.size),
        "crosses": {k: list(v) for k, v in light.crosses().items()},
        "distances_mm": dict(readings),
    }


class Done(Room):
    """What was found, with its check square."""

    name = "done"

    def buttons(self, light: FirstLight) -> list[words.Words]:
        """The bars only where they can still change something: not for the tape or the webcam's end."""
        return [b for b in super().buttons(light) if b[0] != "r" or light.detected is not None]

    def key(self, light: FirstLight, name: str) -> None:
        from calibrate.readings import set_aside

        if light.beside.busy:
            light.tell("Still solving with the bars; a moment.")
        elif name in _ON:
            light.result, light.running = light.solved, False
            if light.solved.method == "tape":
                set_aside(light.display, light.size)
        elif name in _BACK:
            light.solved = light.detected = None
            light.go(Start())

    def leave(self, light: FirstLight) -> None:
        """Without what was found: asked first."""
        light.leave_if_sure()

    def draw(self, light: FirstLight, picture: Picture) -> None:
        """How true it is, in the figure of the strip: one, with every doubt that is known."""
        from projector.height import truth

        found = light.solved
        leave = words.TO_THE_LAY if light.in_use else "leave without it"
        rows = [("Space", "take it"), ("Back", "do it again"), ("Esc", leave)]
        if light.detected is not None:
            unread = "read the two printed bars: the print is what it is least sure of"
            rows.insert(1, ("R", unread if light.bars_mm is None else "read the bars again"))
        told = truth(light.docket, found)
        ruler = "Afterwards lay a ruler on the check square: key K."
        picture.page("Found", rows, (f"{told[:1].upper()}{told[1:]}.", ruler))
        corner = found.to_table(np.array([[light.size[0] * 0.62, light.size[1] * 0.55]]))[0]
        if np.isfinite(corner).all():
            true = Stage(light.docket, found, View(), words_only=True)
            square = signs.check_square(true, corner, inches=light.docket.unit in INCH_UNITS)
            picture.put(square, true)
