"""Plans of 1 s against plans of 10 s on real garments and cloths: how much longer the short ones are.

    python tests/bench/bench_pairs.py [--seconds 1 10] [--pairs 30] [--first 0] [--only faced]

Every shipped style, plain and faced, on three cloths in turn. The planner's clock counts this process's own
time, so that other work on the machine changes nothing; without further processes, and without the strip
library.
"""

from __future__ import annotations

import argparse
import time
from types import SimpleNamespace
from typing import Any

from bench_folds import garments

from drafting.lay import Cloth, Effort, Rules, folds, planner, search
from drafting.lay.folds import best_fold, plan_way, ways_as_asked

CLOTHS: tuple[dict[str, Any], ...] = (
    {"width": 1400, "selvedge": 10, "fold": "best", "nap": "two-way"},
    {"width": 1150, "selvedge": 10, "fold": "lengthwise", "nap": "two-way"},
    {"width": 1500, "selvedge": 10, "fold": "none", "nap": "one-way"},
)


def length(pieces: Any, cloth: Cloth, rules: Rules, seconds: float) -> float:
    """Cloth taken after so many seconds, opened out, mm."""
    effort = Effort(seed=931401, workers=0)
    ways = ways_as_asked(pieces, cloth, rules)
    if len(ways) == 1:
        lay = plan_way(pieces, ways[0], seconds, rules=rules, effort=effort)
    else:
        lay = best_fold(pieces, cloth, seconds, among=ways, rules=rules, effort=effort).lay
    if lay.problems():
        print("violation:", lay.problems()[0])
    return lay.cloth_length_mm if not lay.left_out else float("nan")


def main() -> None:
    """Print a line for each pair and the mean ratio."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--seconds", type=float, nargs=2, default=(1.0, 10.0))
    ask.add_argument("--pairs", type=int, default=30)
    ask.add_argument("--only", default="")
    ask.add_argument("--first", type=int, default=0, help="number of the pair to begin with")
    given = ask.parse_args()
    clock: Any = SimpleNamespace(monotonic=time.process_time)
    for module in (folds, planner, search):
        vars(module)["time"] = clock
    ratios = []
    every = [(n, g) for n, g in garments().items() if given.only in n]
    for k in range(given.first, min(given.first + given.pairs, 3 * len(every))):
        name, (pieces, rules) = every[k % len(every)]
        data = CLOTHS[(k % len(every) + k // len(every)) % len(CLOTHS)]
        short, long_ = (length(pieces, Cloth.from_dict(data), rules, s) for s in given.seconds)
        ratios.append(short / long_)
        print(f"{name:24} {data['width']} {data['fold']:10} {short / 10:7.1f} {long_ / 10:7.1f} "
              f"{ratios[-1]:6.3f}", flush=True)  # fmt: skip
    known = [r for r in ratios if r == r]
    print(
        f"{len(known)} pairs: {sum(known) / max(1, len(known)):.3f} in the mean, {max(known):.3f} at worst"
    )


if __name__ == "__main__":
    main()
