"""What a lay keeps to besides what its pieces and its cloth say themselves.

The one place of the distance between cutting lines: planner, judge, docket and table take it here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

DEFAULT_DISTANCE_MM = (
    5.0  # room for the shears between two cutting lines (common practice, no source)
)
MOST_DISTANCE_MM = 100.0
LEAST_BARE_DISTANCE_MM = 2.0  # a bare number below it was hardly meant in mm: shears need more


@dataclass(frozen=True)
class Rules:
    """Rules of one lay.

    ``distance_mm``: kept between cutting lines; ``allowances``: edge → mm, ``all`` for the rest,
    and piece → such a mapping; ``quantity``: how often the whole is cut, or piece → times.
    """

    distance_mm: float = DEFAULT_DISTANCE_MM
    allowances: Mapping[str, Any] = field(default_factory=dict)
    quantity: int | Mapping[str, int] = 1

    def allowances_for(self, piece: str) -> dict[str, float] | None:
        """Edge → mm for one piece; None cuts on its sewing line."""
        flat = {k: float(v) for k, v in self.allowances.items() if not isinstance(v, Mapping)}
        own = self.allowances.get(piece)
        if isinstance(own, Mapping):
            flat |= {k: float(v) for k, v in own.items()}
        return flat or None

    def times(self, piece: str) -> int:
        """How often a piece is cut, beside its own number."""
        return self.quantity if isinstance(self.quantity, int) else int(self.quantity.get(piece, 1))
