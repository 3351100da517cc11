"""What a person says of outlines in short texts: ``[PIECE[/SIDE]=]VALUE``.

Before `taking`, which wants it by the piece's name. One grammar for all texts: a piece, a side of
it after a slash, what is said after an equals sign; without a piece it goes for all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from configs.errors import InputError
from configs.reader import nearest
from configs.units import typed_length
from drafting.allowance import MOST_MM, SMALL_ALLOWANCE_MM
from drafting.intake.found import Outline
from drafting.intake.taking import Said, scale_for
from drafting.piece import Piece

T = TypeVar("T")
MOST_CUT = 50
_LEAST_BARE_SIDE_MM = 10.0  # a bare number below it was hardly meant in mm


@dataclass(frozen=True)
class Saying:
    """One text, taken apart; ``piece`` and ``side`` are empty where none is named."""

    piece: str
    side: str
    value: str


def taken_apart(text: str, where: str, form: str = "", example: str = "") -> Saying:
    """A text taken apart.

    Args:
        where: the option, for the messages.
        form: what it must look like, such as ``PIECE/SIDE=NAME``; without it piece and side may
            be left out.

    Raises:
        InputError: a part that the form asks for is missing.
    """
    place, _, value = (part.strip() for part in text.rpartition("="))
    piece, slash, side = (part.strip() for part in place.partition("/"))
    if form and not (piece and value and bool(side) == bool(slash) == ("/" in form)):
        raise InputError.of(where, f"'{text}' is not {form}.", f"Example: {where} {example}")
    return Saying(piece, side, value)


def one_of(name: str, names: Sequence[str], where: str) -> str:
    """The name, which must be one of these.

    Raises:
        InputError: it is not; the nearest is told.
    """
    if name not in names:
        what = f"there is no outline '{name}'; there are {', '.join(names)}."
        raise InputError.of(where, what, nearest(name, names))
    return name


def renamed(texts: Sequence[str], names: Sequence[str]) -> dict[str, str]:
    """Name in the file → name in the docket, from texts ``OLD=NEW``.

    Raises:
        InputError: no such text, no such outline, or two pieces would have the same name.
    """
    new = {name: name for name in names}
    for text in texts:
        one = taken_apart(text, "--rename", "OLD=NEW", "'piece 1=front'")
        new[one_of(one.piece, names, "--rename")] = one.value
    if len(set(new.values())) < len(new):
        raise InputError.of("--rename", "two pieces would have the same name.")
    return new


def scale_from(text: str, outlines: Mapping[str, Outline]) -> tuple[float, str]:
    """How many times as large everything must be, and that in words; from ``PIECE/SIDE=LENGTH``.

    Args:
        outlines: by their names in the docket.

    Raises:
        InputError: no such text, piece or side, or a length that is another by far.
    """
    where = "--side"
    one = taken_apart(text, where, "PIECE/SIDE=LENGTH", "'front/left=300 mm'")
    wanted = typed_length(one.value, where, _LEAST_BARE_SIDE_MM, 5000.0)
    outline = outlines[one_of(one.piece, list(outlines), where)]
    return scale_for(outline, f"{one.piece}/{one.side}", wanted, where)


def said_of(names: Sequence[str], options: Mapping[str, Sequence[str]]) -> Said:
    """What is said of pieces of these names, from the options ``cut``, ``pair``, ``fold``,
    ``grain``, ``turns`` and ``edge``.

    Raises:
        InputError: no such piece, or no such value.
    """
    pair = [n if n == "all" else one_of(n, names, "--pair") for n in options["pair"]]
    edges: dict[str, dict[str, str]] = {}
    for text in options["edge"]:
        one = taken_apart(text, "--edge", "PIECE/SIDE=NAME", "front/bottom=hem")
        edges.setdefault(one_of(one.piece, names, "--edge"), {})[one.side] = one.value

    def each(option: str, read: Callable[[str, str], T]) -> dict[str, T]:
        """Piece → value: what is said of one piece goes before what is said of all."""
        values: dict[str, T] = {}
        for text in sorted(options[option], key=lambda t: "=" in t):
            name, equals, value = (part.strip() for part in text.rpartition("="))
            there = [one_of(name, names, f"--{option}")] if equals else names
            values |= dict.fromkeys(there, read(value, f"--{option}"))
        return values

    return Said(
        cut=each("cut", _whole),
        pair=names if "all" in pair else pair,
        fold=each("fold", lambda value, _: value),
        grain_deg=each("grain", _degrees),
        turns=each("turns", lambda v, where: tuple(_degrees(t, where) for t in v.split(","))),
        edge_names=edges,
    )


def allowances_from(
    texts: Sequence[str], pieces: Mapping[str, Piece]
) -> dict[str, dict[str, float]]:
    """Piece → (edge or ``all`` → mm), from texts ``WIDTH``, ``PIECE=WIDTH``, ``PIECE/EDGE=WIDTH``.

    Raises:
        InputError: no such piece or edge, or no length.
    """
    where = "--allowance"
    own: dict[str, dict[str, float]] = {}
    sayings = [taken_apart(text, where) for text in texts]
    for one in sorted(sayings, key=lambda s: (bool(s.piece), bool(s.side))):  # the nearest last
        mm = typed_length(one.value, where, SMALL_ALLOWANCE_MM, MOST_MM)
        there = [one_of(one.piece, list(pieces), where)] if one.piece else list(pieces)
        for name in there:
            if one.side and one.side not in pieces[name].edges:
                what = f"'{name}' has no edge '{one.side}'."
                raise InputError.of(where, what, f"It has {', '.join(pieces[name].edges)}.")
            own.setdefault(name, {})[one.side or "all"] = mm
    return own


def _degrees(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError.of(where, f"'{text}' is no number of degrees.", "Example: 90")
    return value


def _whole(text: str, where: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= MOST_CUT):
        raise InputError.of(where, f"'{text}' is not a whole number from 1 to {MOST_CUT}.")
    return int(text)
