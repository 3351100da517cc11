"""What went wrong while calibrating, told to a person at a cutting table.

The twin of the drafting package's errors: the two packages do not know each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Fault:
    """One thing wrong: ``where`` (file and key path), ``what`` is wrong, ``remedy`` (what to do)."""

    where: str
    what: str
    remedy: str = ""

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.remedy}".rstrip() if self.remedy else head


class CalibrationError(Exception):
    """Anything the calibrate package refuses, with its faults in the order found."""

    def __init__(self, faults: Fault | Iterable[Fault] | str) -> None:
        if isinstance(faults, str):
            faults = Fault("", faults)
        if isinstance(faults, Fault):
            faults = (faults,)
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))


class InputError(CalibrationError, ValueError):
    """A file or value from a person that cannot be used as it stands."""


class Refusal(CalibrationError):
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

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickled with its fault, code and data (tests and workers hand errors between processes)."""
        fault = self.faults[0]
        return _refusal, (self.code, fault.what, fault.remedy, fault.where, self.data)


def _refusal(code: str, what: str, remedy: str, where: str, data: Mapping[str, Any]) -> Refusal:
    return Refusal(code, what, remedy, where=where, data=data)
