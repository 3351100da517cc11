"""Lengths as they are printed, so that printed sums are right as printed.

Between a block's arithmetic and the texts of its steps: what is added or divided here is the
rounded figure that stands on the page, not the length behind it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from configs.units import format_length

_STEP_MM = {"in": 25.4 / 16.0, "mm": 0.1}  # what `format_length` rounds to; else 1 mm


@dataclass(frozen=True)
class Shown:
    """A printed length: ``steps`` of the smallest length that is printed in ``unit``."""

    steps: int
    unit: str

    @classmethod
    def of(cls, mm: float, unit: str) -> Shown:
        """The length as `format_length` prints it."""
        step = _step(unit)
        low = math.floor(mm / step)
        text = format_length(mm, unit)
        near = (low, low + 1, low - 1)
        return cls(next(n for n in near if format_length(n * step, unit) == text), unit)

    @property
    def text(self) -> str:
        """The length with its unit."""
        return format_length(self.steps * _step(self.unit), self.unit)

    def __add__(self, other: Shown) -> Shown:
        return replace(self, steps=self.steps + other.steps)

    def __sub__(self, other: Shown) -> Shown:
        return replace(self, steps=self.steps - other.steps)

    def divided(self, parts: int, near_mm: float) -> Shown:
        """One of equal ``parts``: ``near_mm`` as printed where that is right to half a step."""
        near = Shown.of(near_mm, self.unit)
        if abs(near.steps - self.steps / parts) <= 0.5:
            return near
        return replace(self, steps=round(self.steps / parts))


def _step(unit: str) -> float:
    return _STEP_MM.get(unit, 1.0)
