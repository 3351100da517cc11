"""What real tables do: ``python tests/bench/bench_stress.py [rigs] [--from N] [--log F] [--only WORD]``.

Each scene of `rigs.STRESS` on a few random rigs, one phone photo each. Asked of each: solved within
0.3 mm, or refused, or what is wrong is named; never an error over 1 mm unsaid. The last scenes are
of print scale: without the ruler's readings the doubt is told, with them it is gone.
"""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path

from rigs import STRESS, make_rig, print_rows, trueness

from calibrate.detect import detect
from calibrate.solve import solve
from configs.errors import ChalkbeamError

BARS = {"print +0.2 % along": (180.36, 250.0), "print +0.2 % both": (180.36, 250.5)}


def one(scene: str, seed: int, bars: tuple[float, float] | None = None) -> dict[str, object]:
    """One scene on one rig."""
    rig = make_rig(seed, "phone", **STRESS[scene])
    name = scene + (", bars given" if bars else "")
    out: dict[str, object] = {"scene": name, "seed": seed}
    try:
        solution = solve([detect(rig.photos()[0], rig.pattern.size)], bars_mm=bars)
    except ChalkbeamError as error:
        return {**out, "refused": str(error)}
    found = trueness(solution.calibration, rig.table)
    doubt = solution.calibration.summary()
    return {
        **out,
        "rms": found.rms_mm,
        "max": found.max_mm,
        "expected": found.expected_rms_mm,
        "print doubt": doubt["print_doubt_mm"],
        "named": [*solution.named, *solution.raised],
        "lift": solution.calibration.facts["lift_mm"],
        "notes": list(solution.notes),
    }


def report(lines: list[dict[str, object]]) -> None:
    rows = []
    for scene in dict.fromkeys(str(line["scene"]) for line in lines):
        mine = [line for line in lines if line["scene"] == scene]
        solved = [line for line in mine if "rms" in line]
        refused = [str(line["refused"]) for line in mine if "refused" in line]
        worst = max((float(str(line["max"])) for line in solved), default=float("nan"))
        named = sum(bool(line["named"]) for line in solved)
        said = [n for line in mine for n in (line.get("notes") or [])] + refused  # type: ignore[union-attr]
        unsaid = sum(
            float(str(line["max"])) > 1.0
            and not line["named"]
            and 2 * math.hypot(float(str(line["print doubt"])), float(str(line["expected"])))
            + float(str(line.get("lift", 0)))
            < float(str(line["max"]))
            for line in solved
        )
        rows.append(
            [
                scene,
                len(mine),
                len(solved),
                f"{max((float(str(line['rms'])) for line in solved), default=float('nan')):.3f}",
                f"{worst:.3f}",
                named,
                len(refused),
                unsaid,
                (str(said[0])[:110] if said else ""),
            ]
        )
    print_rows(
        "Stress, one 12 MP phone photo, mm over the whole beam",
        ["scene", "rigs", "solved", "worst rms", "worst max", "card named", "refused", ">1 mm unsaid", "said"],
        rows,
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("rigs", type=int, nargs="?", default=5)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--log", type=Path)
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    lines: list[dict[str, object]] = []
    if given.log and given.log.exists():
        lines = [json.loads(row) for row in given.log.read_text().splitlines()]
    seeds = range(given.first, given.first + given.rigs)
    done = {(line["scene"], line["seed"]) for line in lines}
    jobs = [(s, n, None) for n in seeds for s in STRESS if given.only in s]
    jobs += [(s, n, BARS[s]) for n in seeds for s in BARS if given.only in s]  # type: ignore[misc]
    for scene, seed, bars in jobs:
        if (scene + (", bars given" if bars else ""), seed) in done:
            continue
        lines.append(one(scene, seed, bars))
        if given.log:
            with given.log.open("a") as log:
                log.write(json.dumps(lines[-1]) + "\n")
    report(lines)


if __name__ == "__main__":
    main()
