"""How true a webcam's calibration is: ``python tests/bench/bench_live.py [rigs] [--from N] [--log F]``.

Three cases on each random rig, 1080p webcam, colour wheel flickering: one frame; thirty frames from
one place; thirty frames from three places (white and pattern, as the live command does). Lines are
appended to the log as they come, so that a long run can be cut into pieces; the table is printed
over all lines of the log.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

from rigs import make_rig, print_rows, spread, trueness

from calibrate.camera import take_view
from calibrate.detect import detect
from calibrate.simulate import VirtualSource
from calibrate.solve import solve
from configs.errors import ChalkbeamError

FRAMES, PLACES = 30, 3
CASES = ("one frame", f"{FRAMES} frames, 1 place", f"{FRAMES} frames, {PLACES} places")


def one_rig(seed: int) -> dict[str, object]:
    """All cases on one rig: trueness in mm, or the refusal."""
    rig = make_rig(seed, "webcam", views=PLACES, wheel=0.15)
    done: dict[str, object] = {"seed": seed}
    start = time.perf_counter()
    try:
        photo = rig.table.photograph(rig.frame, rig.cameras[0], seed)
        calibration = solve([detect(photo, rig.pattern.size)]).calibration
        done[CASES[0]] = vars_of(trueness(calibration, rig.table))
    except ChalkbeamError as error:
        done[CASES[0]] = str(error)
    views = []
    for place, camera in enumerate(rig.cameras):
        source = VirtualSource(rig.table, camera, 100 * seed + place)
        try:
            views.append(take_view(source, source.show, rig.pattern, frames=FRAMES).seen)
        except ChalkbeamError as error:
            done.setdefault("views refused", str(error))
    for case, some in ((CASES[1], views[:1]), (CASES[2], views)):
        try:
            done[case] = vars_of(trueness(solve(some).calibration, rig.table))
        except ChalkbeamError as error:
            done[case] = str(error)
    done["seconds"] = time.perf_counter() - start
    return done


def vars_of(found: object) -> dict[str, float]:
    return {k: float(v) for k, v in vars(found).items()}


def report(lines: list[dict[str, object]]) -> None:
    rows = []
    for case in CASES:
        found = [line[case] for line in lines if isinstance(line.get(case), dict)]
        refused = [line[case] for line in lines if isinstance(line.get(case), str)]
        rows.append(
            [
                case,
                *spread([f["rms_mm"] for f in found]),  # type: ignore[index]
                *spread([f["max_mm"] for f in found]),  # type: ignore[index]
                spread([f["rms_mm"] / f["expected_rms_mm"] for f in found], 2)[0],  # type: ignore[index]
                spread([f["mm_per_px"] for f in found], 2)[0],  # type: ignore[index]
                len(refused),
            ]
        )
    print_rows(
        f"Webcam 1080p, {len(lines)} rigs of 0.7 to 1.6 m, mm over the whole beam",
        ["case", "rms median", "90 %", "worst", "max median", "90 %", "worst", "true/expected", "projector mm/px", "refused"],
        rows,
    )  # fmt: skip
    for line in lines:
        for case in CASES:
            if isinstance(line.get(case), str):
                print(f"rig {line['seed']}, {case}: {line[case]}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("rigs", type=int, nargs="?", default=40)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--log", type=Path)
    given = parser.parse_args()
    lines = []
    if given.log and given.log.exists():
        lines = [json.loads(row) for row in given.log.read_text().splitlines()]
    for seed in range(given.first, given.first + given.rigs):
        if any(line["seed"] == seed for line in lines):
            continue
        lines.append(one_rig(seed))
        if given.log:
            with given.log.open("a") as log:
                log.write(json.dumps(lines[-1]) + "\n")
    report(lines)


if __name__ == "__main__":
    main()
