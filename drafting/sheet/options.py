"""Short ways to write down a block's style options. The first choice is the default unless said."""

from __future__ import annotations

from collections.abc import Mapping

from drafting.style import Option

When = Mapping[str, tuple[str, ...]]


def choice(
    key: str, text: str, choices: Mapping[str, str], default: str = "", when: When | None = None
) -> Option:
    """One of some words."""
    first = default or next(iter(choices))
    return Option(key, "choice", text, first, choices=choices, when=_when(when))


def length(
    key: str,
    text: str,
    default: float | None,
    low: float,
    high: float,
    when: When | None = None,
    choices: Mapping[str, str] | None = None,
    word: str = "",
) -> Option:
    """A length in mm; with ``choices`` also one of some words, ``word`` by default."""
    kind = "both" if choices else "length"
    start = word or default
    return Option(key, kind, text, start, low, high, choices or {}, _when(when))


def ratio(
    key: str, text: str, default: float, low: float, high: float, when: When | None = None
) -> Option:
    """A plain number."""
    return Option(key, "number", text, default, low, high, when=_when(when))


def _when(when: When | None) -> tuple[tuple[str, tuple[str, ...]], ...]:
    return tuple((when or {}).items())
