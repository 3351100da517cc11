"""Cloth length of garments x widths x ways to fold, each way planned for the same time.

    python tests/bench/bench_folds.py [--seconds 0.5] [--widths 900 1150 1400 1500] [--only tunic]

Old is what a docket took that says no more than 'fold: lengthwise', or a single layer where that has
no room; best the shortest of all, with what it is. Lengths in cm, opened out.
"""

from __future__ import annotations

import argparse
import time
from typing import Any

import yaml

from configs import shipped
from drafting import Docket, Measurements, draft
from drafting.lay import Cloth, Effort, Rules
from drafting.lay.folds import plan_way, ways_as_asked

FACED = {"neckline_finish": "facing", "armhole_finish": "facing"}
LOW = {"change": "one shoulder lower", "by": "25 mm", "side": "left"}
BODY = shipped() / "measurements" / "alto-3.yaml"
WIDTHS = (900.0, 1150.0, 1400.0, 1500.0)


def garments() -> dict[str, tuple[dict[str, Any], Rules]]:
    """Name → pieces and rules: every shipped style, each with facings, and an uneven faced top."""
    found: dict[str, tuple[dict[str, Any], Rules]] = {}
    for path in sorted((shipped() / "styles").glob("*.yaml")):
        data = yaml.safe_load(path.read_text(encoding="utf-8"))
        faced = data["garment"].get("block") == "quick-top"
        for suffix in ("", ", faced") if faced else ("",):
            garment = dict(data["garment"])
            if suffix:
                garment["style"] = {**garment.get("style", {}), **FACED}
            docket = {**data, "garment": garment, "measurements": str(BODY)}
            try:
                read = Docket.from_dict(docket)
                found[path.stem + suffix] = read.pieces(), read.rules
            except ValueError as error:
                print(f"{path.stem}{suffix} is left out: {str(error)[:70]}")
    style, body = {**FACED, "opening": "none"}, Measurements.load(BODY)
    pieces = dict(draft("quick-top", body, style=style, fit=[LOW]).pieces)
    found["uneven, faced"] = pieces, Rules(5.0, {"all": 10.0, "hem": 25.0})
    return found


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--seconds", type=float, default=0.5)
    ask.add_argument("--widths", type=float, nargs="+", default=WIDTHS)
    ask.add_argument("--only", default="")
    given = ask.parse_args()
    effort = Effort(seed=931201, workers=0)
    kinds = ("lengthwise", "none", "double", "crosswise", "partial", "refold", "whole")
    print(f"{'garment':22} {'width':>5} " + " ".join(f"{k:>10}" for k in kinds)
          + f" {'old':>7} {'best':>7} {'saved':>6}  best way")  # fmt: skip
    saved, violations = [], 0
    began = time.process_time()
    for name, (pieces, rules) in garments().items():
        if given.only not in name:
            continue
        for width in given.widths:
            cloth = Cloth.from_dict({"width": width, "selvedge": 10, "fold": "best",
                                     "nap": "two-way", "whole": "allowed"})  # fmt: skip
            lengths: dict[str, tuple[float, str]] = {}
            for way in ways_as_asked(pieces, cloth, rules):
                lay = plan_way(pieces, way, given.seconds, rules=rules, effort=effort)
                violations += len(lay.problems())
                if lay.left_out:
                    continue
                kind = "whole" if way.cloth.opened and way.cloth.folded else way.kind
                made = (lay.cloth_length_mm, way.words)
                lengths[kind] = min(lengths.get(kind, made), made)
            if not lengths:
                continue
            old = next((lengths[k][0] for k in ("lengthwise", "none") if k in lengths), None)
            best, words = min(lengths.values())
            if old is not None:
                saved.append(1.0 - best / old)
            cells = [f"{lengths[k][0] / 10:10.1f}" if k in lengths else f"{'-':>10}" for k in kinds]
            share = f"{100 * saved[-1]:5.1f}%" if old is not None else "     -"
            first = f"{old / 10:7.1f}" if old is not None else "      -"
            print(f"{name:22} {width / 10:5.0f} " + " ".join(cells)
                  + f" {first} {best / 10:7.1f} {share}  {words}", flush=True)  # fmt: skip
    mean = 100 * sum(saved) / max(1, len(saved))
    print(f"{len(saved)} (garment, width) pairs: best {mean:.1f} % shorter than old in the mean; "
          f"{violations} violations; {time.process_time() - began:.0f} s of processor time")  # fmt: skip


if __name__ == "__main__":
    main()
