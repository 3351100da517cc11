"""What of an arm a sleeve must go round: girths by distance from the shoulder point, the hand.

Measures that were not taken are guessed from those that were, and the guess is said. Shares from
W. Aldrich's size table (upper arm and wrist by bust; from memory) and common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drafting.sheet.amount import Amount, found
from drafting.sheet.board import Sheet
from drafting.sheet.passing import GUESSED_ARM

GUESSED_WRIST = 0.56  # of the upper arm: 0.50 to 0.62 in the table
GUESSED_ELBOW = 0.92  # of the upper arm, bent
HAND_OVER_WRIST_MM = 55.0  # hands pass through 20 to 22 cm, wrists are 15 to 17 [common practice]


@dataclass(frozen=True)
class Arm:
    """An arm: girths mm of upper arm, elbow, wrist and of the hand as it slips through; ``elbow_at``
    and ``length``: from the shoulder point, ``length`` None where it is not known; ``guessed``: what
    was not measured."""

    upper: Amount
    elbow: Amount
    wrist: Amount
    hand: Amount
    elbow_at: Amount | None
    length: Amount | None
    guessed: tuple[str, ...]

    @classmethod
    def of(cls, s: Sheet) -> Arm:
        """Her arm."""
        guessed: list[str] = []

        def taken(key: str, label: str, otherwise: Amount) -> Amount:
            value = s.m.get(key)
            if value is not None:
                return value  # type: ignore[no-any-return]
            guessed.append(label)
            return found(float(otherwise), f"{label}, guessed,", otherwise)

        upper = taken("upper_arm_girth", "upper arm", GUESSED_ARM * s.m["bust_girth"]) if "bust_girth" in s.m else s.m["upper_arm_girth"]  # fmt: skip
        wrist = taken("wrist_girth", "wrist", GUESSED_WRIST * upper)
        elbow = taken("elbow_girth", "elbow", GUESSED_ELBOW * upper)
        hand = taken("hand_girth", "hand", wrist + HAND_OVER_WRIST_MM)
        long_ = s.m.get("arm_length")
        bend = s.m.get("shoulder_to_elbow")
        if bend is None and long_ is not None:
            bend = long_ / 2 + 25.0
        return cls(upper, elbow, wrist, hand, bend, long_, tuple(guessed))

    def girth_at(self, down: float) -> float:
        """Girth mm of the arm at a distance from the shoulder point along it."""
        if self.elbow_at is None or self.length is None:
            return float(self.upper if down < 260.0 else self.elbow)
        at = (0.55 * self.elbow_at, float(self.elbow_at), float(self.length))
        return float(np.interp(down, at, (self.upper, self.elbow, self.wrist)))
