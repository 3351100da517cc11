"""Buttons as light: a rounded outline, the words, and the key that does the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from drafting.placement import Array
from projector.lettering import text_width
from projector.picture.faces import text_block
from projector.picture.marks import Mark, polyline, ring
from projector.picture.stage import Stage

LEAST_MM = 52.0  # a finger's breadth and more
_DIGIT_MM = 40.0  # of one with a single sign
GAP_MM = 5.0  # between two
LETTERS_MM = 10.0
_KEY_SHARE = 0.85  # letters of the key beside those of the words


@dataclass(frozen=True)
class Button:
    """One button: the action it does, its words, the key that does the same.

    ``on``: what it does is on now; ``marked``: the next press of a presenter or Return does it.
    """

    action: str
    words: str
    key: str
    on: bool = False
    marked: bool = False


def wide(button: Button, letters_mm: float = LETTERS_MM) -> float:
    """How wide a button is, mm."""
    least = (LEAST_MM if len(button.words) > 1 else _DIGIT_MM) * letters_mm / LETTERS_MM
    key = text_width(button.key, _KEY_SHARE * letters_mm)
    return max(least, text_width(button.words, letters_mm) + 14.0, key + 10.0)


@dataclass(eq=False)
class Buttons:
    """Buttons put side by side, in a frame of mm; ``places``: action → its box (4, 2) in it."""

    letters_mm: float = LETTERS_MM
    places: dict[str, Array] = field(default_factory=dict)
    _outlines: list[Array] = field(default_factory=list)
    _words: list[Array] = field(default_factory=list)
    _strong: list[Array] = field(default_factory=list)
    _keys: list[Array] = field(default_factory=list)

    def put(self, button: Button, x: float, y: float, tall: float) -> float:
        """One with its lower left corner at (x, y), mm; answers its width."""
        high, long_ = self.letters_mm, wide(button, self.letters_mm)
        right, top = x + long_, y + tall
        self._outlines.append(rounded(x, y, right, top, 5.0))
        middle = x + long_ / 2
        target = self._strong if button.on or button.marked else self._words
        target += text_block(
            [button.words], high, (middle, y + (0.64 if button.key else 0.5) * tall)
        )
        self._keys += text_block([button.key], _KEY_SHARE * high, (middle, y + 0.24 * tall))
        if button.on:
            self._strong.append(rounded(x + 1.6, y + 1.6, right - 1.6, top - 1.6, 4.0))
        if button.marked:  # a frame of its own, and a pointer at its side: not by weight alone
            for out in (1.8, 3.2):
                self._strong.append(rounded(x - out, y - out, right + out, top + out, 5.0 + out))
            half = y + tall / 2
            self._strong.append(polyline((x + 3, half + 4), (x + 8, half), (x + 3, half - 4)))
        self.places[button.action] = polyline((x, y), (right, y), (right, top), (x, top))
        return long_

    def marks(self, stage: Stage) -> list[Mark]:
        """As light."""
        return [
            stage.mark("button", self._outlines),
            stage.mark("text", self._words, wider=0.95),
            stage.mark("key", self._keys),
            stage.mark("strong", self._strong, wider=0.75),
        ]


def length_of(buttons: Sequence[Button], letters_mm: float = LETTERS_MM) -> float:
    """How long a row of them is, mm."""
    return sum(wide(b, letters_mm) + GAP_MM for b in buttons) - (GAP_MM if buttons else 0.0)


def rounded(x0: float, y0: float, x1: float, y1: float, r: float) -> Array:
    """A box with round corners, mm."""
    t = np.radians(np.linspace(0.0, 90.0, 5))
    c, s = r * np.cos(t), r * np.sin(t)
    corners = (
        (x1 - r + c, y1 - r + s), (x0 + r - s, y1 - r + c),
        (x0 + r - c, y0 + r - s), (x1 - r + s, y0 + r - c),
    )  # fmt: skip
    return ring(np.hstack(corners).T)
