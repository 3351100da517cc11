"""1,000 sampled bodies of bust 60 to 160 for the fitted bodice, and what a draft costs.

Run by hand: ``python tests/bench/bench_bodice.py [bodies]``. The limits: every draft valid and trued,
or refused with a reason; the median draft in under 15 ms of processor time.
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "drafting"))
from bodice_bodies import outcome

from drafting import Measurements
from drafting.blocks import draft

LIMIT_MS = 15.0


def cost() -> float:
    """Median processor time of a draft, ms."""
    body = Measurements.from_dict(
        {"unit": "cm", "bust_girth": 88, "waist_girth": 72, "shoulder_length": 12.25, "back_neck_to_waist": 41}
    )  # fmt: skip
    spent = []
    for _ in range(30):
        start = time.process_time()
        draft("fitted-bodice", body)
        spent.append(1000.0 * (time.process_time() - start))
    return float(np.median(spent))


def main() -> None:
    """The cost, and what became of the bodies."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"median draft: {cost() / LIMIT_MS:.0%} of {LIMIT_MS:g} ms")
    rng = random.Random(2026)
    for what, number in Counter(outcome(rng)[0] for _ in range(count)).most_common():
        print(f"  {number:>5}  {what}")


if __name__ == "__main__":
    main()
