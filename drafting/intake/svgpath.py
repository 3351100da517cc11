"""The path grammar of SVG (attribute ``d``), read strictly, every command.

First station of the intake for SVG. SVG lets a viewer draw a faulty path up to its fault; a
cutting line that stops short is worse than none, so here a fault is told with its place. Written
by ourselves because it must refuse and be bounded; checked against svgpathtools in the tests.

Grammar: SVG 1.1 (Second Edition), section 8.3, and its appendix F.6 for arcs, W3C.
"""

from __future__ import annotations

import re

import numpy as np

from configs.errors import InputError
from drafting.intake.geometry import Array, Bezier, Chain, bounded, line, svg_arc

MAX_SEGMENTS = 50_000  # of one path

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_FLAG = re.compile("[01]")
_SPACE = re.compile(r"[\s,]*")
_COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


def parse_path(d: str) -> list[Chain]:
    """The subpaths of a ``d`` attribute, in the units and axes of the file.

    Subpaths of no length are left out. A subpath is closed by Z, or by ending where it started.

    Raises:
        InputError: the text is no SVG path, or holds more than `MAX_SEGMENTS` segments.
    """
    return _Reader(d).read()


class _Reader:
    """One pass over the text; keeps the pen's place and the last control point."""

    def __init__(self, d: str) -> None:
        self.d = d
        self.at = 0
        self.pen = np.zeros(2)
        self.first = np.zeros(2)
        self.chains: list[Chain] = []
        self.segments: list[Bezier] = []
        self.total = 0
        self.last_control: tuple[str, Array] | None = None

    def read(self) -> list[Chain]:
        command = ""
        self._skip()
        while self.at < len(self.d):
            letter = self.d[self.at]
            if letter.isalpha():
                if letter.upper() not in _COUNTS:
                    raise self._fault(f"'{letter}' is no path command")
                if not command and letter.upper() != "M":
                    raise self._fault("a path must start with M")
                command = letter
                self.at += 1
            elif command in ("", "Z", "z"):
                raise self._fault("a command letter is missing")
            elif command in "Mm":
                command = "L" if command == "M" else "l"  # further pairs after M are lines
            values = self._values(command)
            self._step(command, values)
            self._skip()
        self._end(closed=False)
        return self.chains

    def _values(self, command: str) -> list[float]:
        arc = command in "Aa"
        return [
            self._value(_FLAG, "an arc's flag must be 0 or 1")
            if arc and i in (3, 4)
            else self._value(_NUMBER, "a number is missing")
            for i in range(_COUNTS[command.upper()])
        ]

    def _skip(self) -> None:
        match = _SPACE.match(self.d, self.at)
        self.at = match.end() if match else self.at

    def _value(self, pattern: re.Pattern[str], wrong: str) -> float:
        self._skip()
        match = pattern.match(self.d, self.at)
        if not match:
            raise self._fault(wrong)
        value = bounded(float(match.group()))
        if value is None:
            raise self._fault("a number is too large")
        self.at = match.end()
        return value

    def _step(self, command: str, values: list[float]) -> None:
        kind = command.upper()
        base = self.pen if command.islower() else np.zeros(2)
        control: tuple[str, Array] | None = None
        if kind == "Z":
            self._end(closed=True)
        elif kind == "M":
            self._end(closed=False)
            self.pen = self.first = base + values
        elif kind == "L":
            self._add(line(self.pen, base + values))
        elif kind in "HV":
            end, axis = self.pen.copy(), "HV".index(kind)
            end[axis] = base[axis] + values[0]
            self._add(line(self.pen, end))
        elif kind == "A":
            end = base + values[5:]
            turn, large, sweep = values[2], values[3] == 1.0, values[4] == 1.0
            self._add(svg_arc(self.pen, end, values[0], values[1], turn, large, sweep))
        else:
            points = base + np.array(values).reshape(-1, 2)
            family = "C" if kind in "CS" else "Q"
            if kind in "ST":  # first control point: the last one mirrored at the pen
                mirrored = self.pen.copy()
                if self.last_control and self.last_control[0] == family:
                    mirrored = 2.0 * self.pen - self.last_control[1]
                points = np.vstack([mirrored, points])
            control = (family, points[-2])
            self._add(Bezier(np.vstack([self.pen, points])))
        self.last_control = control

    def _add(self, segment: Bezier) -> None:
        self.total += 1
        if self.total > MAX_SEGMENTS:
            raise self._fault(f"the path has more than {MAX_SEGMENTS} segments")
        start, end = segment.ends
        if not np.all(segment.control == start):
            self.segments.append(segment)
        self.pen = np.array(end)

    def _end(self, closed: bool) -> None:
        if self.segments:
            if closed and not np.array_equal(self.pen, self.first):
                self.segments.append(line(self.pen, self.first))
            elif not closed and len(self.segments) > 1 and np.array_equal(self.pen, self.first):
                closed = True
            self.chains.append(Chain(tuple(self.segments), closed))
        self.segments = []
        self.pen = self.first

    def _fault(self, what: str) -> InputError:
        near = self.d[max(0, self.at - 12) : self.at + 12].strip()
        return InputError.of(
            "",
            f"its path cannot be read: {what} at character {self.at + 1}, near '{near}'.",
            "Save the drawing again from the program it came from.",
        )
