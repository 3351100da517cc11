"""1,000 sampled bodies a skirt block in random styles, alone or on a bodice, and what a draft costs.

Run by hand: ``python tests/bench/bench_skirts.py [bodies] [dress]``. The limits: every draft valid and
trued, or refused with a reason; the median draft in under 15 ms of processor time.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "drafting"))
from skirt_bodies import SKIRTS, dressed, made, outcome

LIMIT_MS = 15.0
BODIES = {"pear": (70, 108, 20.5), "straight": (84, 96, 20.0), "plus": (114, 132, 22.0)}


def cost(block: str, body: tuple[float, float, float], dress: bool) -> float:
    """Median processor time of a draft, ms; ``dress``: of bodice and skirt together."""
    spent = []
    for i in range(15):
        start = time.process_time()
        if dress:
            dressed(block, body, np.random.default_rng(i), {})
        else:
            made(block, body)
        spent.append(1000.0 * (time.process_time() - start))
    return float(np.median(spent))


def main() -> None:
    """Both tables."""
    dress = "dress" in sys.argv
    counts = [int(a) for a in sys.argv[1:] if a.isdigit()]
    count = counts[0] if counts else 1000
    for block in ("straight-skirt", *SKIRTS):
        told = ", ".join(f"{n} {cost(block, b, dress) / LIMIT_MS:.0%}" for n, b in BODIES.items())
        print(f"{block}: of {LIMIT_MS:g} ms: {told}")
        rng = np.random.default_rng(2026)
        found = Counter(outcome(block, rng, dress) for _ in range(count))
        for what, number in found.most_common():
            print(f"  {number:>5}  {what}")


if __name__ == "__main__":
    main()
