"""Varied dockets laid, then cut on paper layer by layer: overlaps, faces, nap, grain, counts.

    python tests/bench/bench_layers.py [--cases 300] [--seconds 0.1] [--seed 100000]

Random pieces on every way to fold (`tests/drafting/random_dockets.py`), and every shipped style, faced where
it can be, on every way. The paper cutter (`tests/drafting/layers.py`) shares no code with the product's judge.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "drafting"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from bench_folds import garments
from layers import Folded, faults
from random_dockets import case

from drafting.lay import Cloth, Effort, Lay
from drafting.lay.folds import best_fold, plan_way, ways_as_asked


def wrong(lay: Lay, pieces: Any, rules: Any) -> list[str]:
    """What the paper cutter and the product's judge say of a lay."""
    c = lay.cloth
    folded = Folded(c.fold, c.width_mm, c.face == "in", c.over_mm, c.open_from_mm, c.selvedge_mm)
    seen = faults(
        lay.placements, pieces, folded, allowances=rules.allowances_for, distance=rules.distance_mm,
        nap=c.nap, times=int(rules.quantity), left_out=lay.left_out,
    )  # fmt: skip
    return seen + lay.problems()


def main() -> None:
    """Lay, cut, count."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--cases", type=int, default=300)
    ask.add_argument("--seconds", type=float, default=0.1)
    ask.add_argument("--seed", type=int, default=100_000)
    given = ask.parse_args()
    effort = Effort(seed=931301, workers=0)
    began, bad, laid, lower, lays = time.process_time(), 0, 0, 0, 0

    def count(what: str, lay: Lay, pieces: Any, rules: Any) -> None:
        nonlocal bad, laid, lower, lays
        said = wrong(lay, pieces, rules)
        lays += 1
        bad += bool(said)
        laid += len(lay.placements)
        lower += sum(p.lower for p in lay.placements)
        if said:
            print(f"{what}: {'; '.join(said[:3])}", flush=True)

    for seed in range(given.seed, given.seed + given.cases):
        one = case(seed)
        if one.cloth.best:
            among = ways_as_asked(one.pieces, one.cloth, one.rules)
            lay = best_fold(
                one.pieces, one.cloth, 8 * given.seconds, among=among, rules=one.rules,
                effort=effort,
            ).lay  # fmt: skip
        else:
            way = ways_as_asked(one.pieces, one.cloth, one.rules)[0]
            lay = plan_way(one.pieces, way, given.seconds, rules=one.rules, effort=effort)
        count(f"case {seed}", lay, one.pieces, one.rules)
    for name, (pieces, rules) in garments().items():
        for width in (900.0, 1400.0):
            cloth = Cloth.from_dict({"width": width, "selvedge": 10, "fold": "best",
                                     "nap": "two-way", "whole": "allowed"})  # fmt: skip
            for way in ways_as_asked(pieces, cloth, rules):
                lay = plan_way(pieces, way, given.seconds, rules=rules, effort=effort)
                count(f"{name} on {width:.0f}, {way.words}", lay, pieces, rules)
    print(
        f"{lays} lays, {laid} lines cut, {lower} of them from the lower layer: {bad} wrong; "
        f"{time.process_time() - began:.0f} s of processor time"
    )


if __name__ == "__main__":
    main()
