"""What went wrong, told to a person at a cutting table.

Every error names what is wrong, where it stands (file, key, value) and what to do.
A file is read to its end before anything is said, so one message holds all its faults.
One tree for the whole program: `ChalkbeamError` at the top, below it a class for each kind of
no; where Python's own word for it is ValueError, it is that too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Self


def once(texts: Iterable[str]) -> tuple[str, ...]:
    """Texts without the sentences that stood in an earlier one; what is left of none is dropped."""
    said: set[str] = set()
    out = []
    for text in texts:
        new = [s for s in re.split(r"(?<=[.!?]) +(?=[A-Z0-9'])", text) if s not in said]
        said.update(new)
        out += [" ".join(new)] if new else []
    return tuple(out)


def short(value: Any, most: int = 60) -> str:
    """A value as Python writes it, cut to ``most`` signs: for sentences about it."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # an int of more digits than Python writes
        text = f"a {type(value).__name__} too long to show"
    return text if len(text) <= most else f"{text[: most - 3]}..."


_LONGEST = 1200  # signs of one fault
# control signs, halves of signs, and what turns the direction of the text around it
_HIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\u2028-\u202e\u2066-\u2069]")


def is_shown(text: str) -> bool:
    """Whether a text can be shown in a terminal and written to a file as it stands."""
    return _HIDDEN.search(text) is None


def printable(value: object) -> str:
    """A text that can be shown: what no terminal shows stands in it as an escape."""
    return _HIDDEN.sub(lambda m: m[0].encode("unicode_escape").decode(), str(value))


@dataclass(frozen=True)
class Fault:
    """One thing wrong.

    ``where``: file and key path; ``what`` is wrong; ``remedy``: what to do; ``got``: the value
    itself, for programs (None where there is none to show).
    """

    where: str
    what: str
    remedy: str = ""
    got: Any = None

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        text = f"{head} {self.remedy}".rstrip() if self.remedy else head
        if len(text) > _LONGEST:  # a value of 100,000 signs stands in it
            text = f"{text[: _LONGEST // 2]} … {text[-_LONGEST // 2 :]}"
        return printable(text)


class ChalkbeamError(Exception):
    """Anything that is refused, with its faults.

    ``faults``: one `Fault` or more, in the order found.
    """

    def __init__(self, faults: Fault | Iterable[Fault] | str) -> None:
        if isinstance(faults, str):
            faults = Fault("", faults)
        if isinstance(faults, Fault):
            faults = (faults,)
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))

    @classmethod
    def of(cls, where: str, what: str, remedy: str = "") -> Self:
        """One that has a single fault."""
        return cls(Fault(where, what, remedy))

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickled with all that it carries: workers hand errors between processes."""
        return _again, (type(self), self.faults, self.__dict__)


def _again(
    kind: type[ChalkbeamError], faults: tuple[Fault, ...], data: dict[str, Any]
) -> ChalkbeamError:
    error = kind.__new__(kind)
    ChalkbeamError.__init__(error, faults)
    error.__dict__.update(data)
    return error


class InputError(ChalkbeamError, ValueError):
    """A file or value from a person that cannot be used as it stands."""


class DraftError(ChalkbeamError, ValueError):
    """Measurements or style from which no sound pattern can be drawn."""


class LayError(ChalkbeamError, ValueError):
    """Pieces or cloth from which no lay can be made."""


class Refusal(ChalkbeamError):
    """A photo or set of readings that was understood and is not good enough to trust.

    ``code``: a short stable word for programs (``no-cards``, ``mirrored``, …);
    ``data``: the numbers behind the refusal.
    """

    def __init__(
        self,
        code: str,
        what: str,
        remedy: str,
        *,
        where: str = "",
        data: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(Fault(where, what, remedy))
        self.code = code
        self.data = dict(data or {})
