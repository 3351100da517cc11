"""What went wrong, told to a person at a cutting table.

Every error names what is wrong, where it stands (file, key, value) and what to do.
A file is read to its end before anything is said, so one message holds all its faults.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong: ``where`` (file and key path), ``what`` is wrong, ``remedy`` (what to do)."""

    where: str
    what: str
    remedy: str = ""

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.remedy}".rstrip() if self.remedy else head


class DraftingError(Exception):
    """Anything the drafting package refuses, with its faults.

    ``faults``: one `Fault` or more, in the order found.
    """

    def __init__(self, faults: Fault | Iterable[Fault] | str) -> None:
        if isinstance(faults, str):
            faults = Fault("", faults)
        if isinstance(faults, Fault):
            faults = (faults,)
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))


class InputError(DraftingError, ValueError):
    """A file or value from a person that cannot be used as it stands."""


class DraftError(DraftingError, ValueError):
    """Measurements or style from which no sound pattern can be drawn."""


class LayError(DraftingError, ValueError):
    """Pieces or cloth from which no lay can be made."""
