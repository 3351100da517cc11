"""Look: how lines are shown, by what they mean.

Meaning is carried by dash and weight first and by colour second; the three line kinds are those of
JIS L 0110:2001 (solid, dashed, long-short chain), which line gets which, and the colours (tailor's
chalk: white, yellow, blue, red), are our own choice.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from projector.picture.contrast import (
    LEAST,
    LUMINANCE,
    Colour,
    colours_in,
    linear,
    made_visible,
)

if TYPE_CHECKING:
    from drafting import Docket


@dataclass(frozen=True)
class Style:
    """Width mm, dash mm (on, off, …), colour's name in the ink."""

    width_mm: float
    dash: tuple[float, ...]
    colour: str


STYLES: dict[str, Style] = {
    "cutting": Style(1.5, (), "white"),
    "sewing": Style(0.9, (7.0, 4.0), "yellow"),
    "fold": Style(1.1, (24.0, 4.0, 5.0, 4.0), "blue"),
    "foldmark": Style(0.8, (), "blue"),
    "grain": Style(0.8, (), "green"),
    "dart": Style(0.9, (7.0, 4.0), "yellow"),
    "notch": Style(1.3, (), "white"),
    "mark": Style(0.9, (), "yellow"),
    "inner": Style(0.8, (12.0, 4.0), "yellow"),
    "label": Style(1.0, (), "text"),
    "cloth": Style(0.8, (), "slate"),
    "selvedge": Style(0.7, (3.0, 5.0), "slate"),
    "ghost": Style(1.0, (14.0, 7.0), "blue"),
    "guide": Style(0.8, (2.5, 5.0), "blue"),
    "snap": Style(0.5, (), "blue"),
    "trouble": Style(3.0, (), "red"),
    "chosen": Style(1.3, (), "blue"),
    "button": Style(0.8, (), "slate"),
    "text": Style(1.0, (), "text"),
    "key": Style(0.8, (), "blue"),
    "strong": Style(1.4, (), "white"),
}
OWN_WIDTH = ("label", "text", "key", "strong", "button", "chosen")  # words and signs, no lines


@dataclass(frozen=True)
class Ink:
    """Colours for one kind of cloth. ``weight`` thickens lines (dark or printed cloth)."""

    ground: Colour
    colours: Mapping[str, Colour]
    weight: float = 1.0
    letters: float = 1.0  # height of a piece's letters, where there is room, over the plain ink's
    towards: Colour = (255, 255, 255)  # what makes any of its lines stand out more
    faint: Colour = (0, 0, 0)  # of what is not its turn; worked out for the cloth


_CHALK: dict[str, Colour] = {
    "white": (255, 253, 244),
    "yellow": (255, 204, 84),
    "blue": (104, 190, 255),
    "green": (140, 214, 160),
    "red": (255, 112, 92),
    "slate": (150, 164, 186),
    "text": (226, 226, 214),
}
_PENCIL: dict[str, Colour] = {
    "white": (0, 0, 0),
    "yellow": (96, 44, 0),
    "blue": (0, 36, 140),
    "green": (0, 78, 34),
    "red": (176, 0, 0),
    "slate": (104, 104, 112),
    "text": (18, 18, 26),
}
INKS: dict[str, Ink] = {
    "light": Ink((0, 0, 0), _CHALK),
    "bold": Ink((0, 0, 0), _CHALK, weight=1.9, letters=1.3),
    "dark": Ink((238, 238, 230), _PENCIL, weight=1.15, letters=1.15, towards=(0, 0, 0)),
}
FAINT_WIDTH = 0.6  # of a line whose turn it is not
_TROUBLE = 3.7  # contrast of what is wrong, which is drawn twice as wide as any line besides
_MOST_MOVED = 0.7  # by which light colours may be whitened, in linear light, summed up
_DARK_CLOTH = 0.12  # of white's luminance: black, navy, bottle green give back less


LINES: dict[str, tuple[str, ...]] = {
    "both": ("cutting", "sewing"),
    "cutting": ("cutting",),
    "sewing": ("sewing",),
}


@dataclass(frozen=True)
class Look:
    """How lines are shown.

    ``ink`` of `INKS`; which ``lines``; ``weight`` on top of the ink's; ``cut``: the cutting line's
    own width and its unit, mm or px (other lines in proportion), None for the ink's; ``cloth``: the
    colours that it lies on, sRGB, none where they are not known.
    """

    ink: str = "light"
    lines: str = "both"
    weight: float = 1.0
    cut: tuple[float, str] | None = None
    cloth: tuple[Colour, ...] = ()


@cache
def suited(ink: str, cloth: tuple[Colour, ...]) -> Ink:
    """An ink of `INKS`, each colour moved only so far that it is seen on the cloth in a lit room.

    On strongly coloured cloth colours grow alike; what a line means its dash and weight still tell.
    """
    plain = INKS[ink]

    def seen(colour: Colour, least: float = LEAST) -> Colour:
        return made_visible(colour, plain.towards, plain.ground, cloth, least)

    colours = {
        name: seen(colour, _TROUBLE if name == "red" else LEAST)
        for name, colour in plain.colours.items()
    }
    return replace(plain, colours=colours, faint=seen(plain.ground))


@cache
def ink_for(cloth: tuple[Colour, ...]) -> str:
    """The ink for a cloth: ``dark`` on a lit ground where light lines would lose their colours, ``bold``
    on dark or printed cloth, else ``light``."""
    if not cloth:
        return "light"

    def moved(ink: str) -> float:
        plain, made = INKS[ink].colours, suited(ink, cloth).colours
        return sum(
            math.dist(linear(made[n]), linear(plain[n]))
            for n in plain
            if n not in ("white", "text")
        )

    if moved("light") > _MOST_MOVED and moved("dark") < 0.5 * moved("light"):
        return "dark"
    least = min(float(LUMINANCE @ linear(c)) for c in cloth)
    return "bold" if len(cloth) > 1 or least < _DARK_CLOTH else "light"


PLAIN_LOOK = Look()


def look_of(
    docket: Docket, ink: str | None = None, lines: str | None = None, weight: float | None = None
) -> Look:
    """How lines are wanted: as asked for, or as the docket's ``table`` remembers: ``ink`` (else what
    suits its cloth), ``lines``, ``weight``, ``width``.

    ``width``: of the cutting line: ``1.2 mm`` or ``2 px``.

    Raises:
        InputError: a weight or width that is none.
    """
    from configs.errors import short
    from configs.reader import Reader

    table = Reader(docket.table, file=str(docket.path or "docket"), key="table")
    kept = table.number("weight", 1.0, 0.1, 10.0)
    cut = None
    if table.has("width"):
        given = table.get("width")
        found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(mm|px)\s*", str(given)[:40])
        value = float(found[1].replace(",", ".")) if found else 0.0
        if not found or not 0.2 <= value <= 30.0:
            said = f"{short(given)} is not a line's width."
            table.note("width", said, "Write it as 1.2 mm or 2 px.", given)
        else:
            cut = (value, found[2])
    table.done()
    cloth = () if docket.cloth is None else colours_in(docket.cloth.colour)
    ink, lines = ink or table.get("ink"), lines or table.get("lines")
    return Look(
        ink if ink in INKS else ink_for(cloth),
        lines if lines in LINES else "both",
        kept if weight is None else weight,
        cut,
        cloth,
    )
