"""1,000 sampled bodies a skirt block in random styles, and what a draft costs.

Run by hand: ``python tests/bench/bench_skirts.py [bodies]``. The limits: every draft valid and
trued, or refused with a reason; the median draft in under 15 ms of processor time.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "drafting"))
from skirt_bodies import SKIRTS, made, outcome

LIMIT_MS = 15.0
BODIES = {"pear": (70, 108, 20.5), "straight": (84, 96, 20.0), "plus": (114, 132, 22.0)}


def cost(block: str, body: tuple[float, float, float]) -> float:
    """Median processor time of a draft, ms."""
    spent = []
    for _ in range(15):
        start = time.process_time()
        made(block, body)
        spent.append(1000.0 * (time.process_time() - start))
    return float(np.median(spent))


def main() -> None:
    """Both tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for block in SKIRTS:
        told = ", ".join(f"{n} {cost(block, b) / LIMIT_MS:.0%}" for n, b in BODIES.items())
        print(f"{block}: of {LIMIT_MS:g} ms: {told}")
        rng = np.random.default_rng(2026)
        found = Counter(outcome(block, rng) for _ in range(count))
        for what, number in found.most_common():
            print(f"  {number:>5}  {what}")


if __name__ == "__main__":
    main()
