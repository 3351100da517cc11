"""A lay: which piece lies where on the cloth, and what that costs.

What the planners hand over, and what the docket, the table and the printer read. A lay knows the
rules that it was made under, so it can say what is wrong with it (`Lay.problems`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drafting.cloth import Cloth
from drafting.lay.check import problems_of
from drafting.lay.laid import LaidPiece
from drafting.lay.region import area_to
from drafting.placement import Placement

if TYPE_CHECKING:
    from drafting.lay.job import Job


@dataclass(frozen=True, eq=False)
class Lay:
    """A plan of cutting. Lengths mm, cloth frame.

    ``placements``: what lies where; ``left_out``: copies that found no place (``front/2``);
    ``notes``: what the person should know (cut single, cut once more …); ``seconds``: spent on it;
    ``seconds_left``: still planned for, 0 when finished; ``interrupted``: she stopped it before its time.
    """

    placements: tuple[LaidPiece, ...]
    cloth: Cloth
    distance_mm: float = 0.0
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    seconds: float = 0.0
    seconds_left: float = 0.0
    interrupted: bool = False
    job: Job | None = field(default=None, repr=False)

    def problems(self) -> list[str]:
        """Everything wrong with it, naming pieces and mm; empty for a sound lay.

        Checked exactly on the true cutting lines: overlap and distance (0.02 mm), the cloth's
        edge, holes and flaws, the fold (0.05 mm), turns (0.01°), right and wrong side, stripes
        (0.5 mm), and that every copy is either laid once or named as left out. The same judge as
        `drafting.lay.judge`, in sentences.
        """
        return [p.text for p in problems_of(self)]

    def grain_of(self, laid: LaidPiece) -> NDArray[np.float64]:
        """(2,) unit vector of a laid piece's grain, cloth frame; (1, 0) is along the selvedge."""
        spec = None if self.job is None else self.job.specs.get(laid.piece)
        off = math.radians(spec.grain_turn if spec is not None else 0.0)
        along = laid.cloth_from_piece[:2, :2] @ np.array([math.sin(off), math.cos(off)])
        out: NDArray[np.float64] = along / np.linalg.norm(along)
        return out

    def across_grain(self) -> list[str]:
        """Copies whose grain lies across the cloth rather than along the selvedge."""
        return [p.key for p in self.placements if abs(self.grain_of(p)[0]) < math.sqrt(0.5)]

    @property
    def used_length_mm(self) -> float:
        """Length of cloth used as it lies, from its start (or its fold) to the last cutting line."""
        if not self.placements:
            return 0.0
        end = max(float(p.outline_mm[:, 0].max()) for p in self.placements)
        return end - self.cloth.x_range_mm[0]

    @property
    def cloth_length_mm(self) -> float:
        """Length of cloth used when opened out: twice as much where it is folded crosswise."""
        return self.cloth.folding.opened_length(self.used_length_mm)

    @property
    def cut_area_mm2(self) -> float:
        """Area of all pieces cut, layers counted, mm²."""
        return sum(p.area_mm2 for p in self.placements)

    @property
    def efficiency(self) -> float:
        """Area of the pieces over area of usable cloth in the length used, 0 to 1."""
        used = area_to(self.cloth, self.cloth.x_range_mm[0] + self.used_length_mm)
        return self.cut_area_mm2 / used if used > 0 else 0.0

    def docket_placements(self) -> tuple[Placement, ...]:
        """The placements as the docket keeps them."""
        return tuple(p.placement for p in self.placements)

    def to_dict(self) -> dict[str, Any]:
        """Plain data for programs: every number in mm, degrees or a fraction."""
        return {
            "used_length_mm": round(self.used_length_mm, 3),
            "cloth_length_mm": round(self.cloth_length_mm, 3),
            "efficiency": round(self.efficiency, 5),
            "left_out": list(self.left_out),
            "notes": list(self.notes),
            "problems": self.problems(),
            "placements": [
                {
                    "piece": p.piece,
                    "copy": p.copy,
                    "at": [round(v, 4) for v in p.at],
                    "turn": p.turn,
                    "mirrored": p.mirrored,
                    "locked": p.locked,
                    "how": p.how,
                    **({"layer": "lower"} if p.lower else {}),
                    "grain": np.round(self.grain_of(p), 6).tolist(),
                    "outline_mm": np.round(p.outline_mm, 3).tolist(),
                }
                for p in self.placements
            ],
        }
