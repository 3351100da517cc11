"""How true is a calibration by photo? Random rigs on the virtual table against the stated targets.

    python tests/bench/bench_photo.py [rows] [--rigs 40] [--first N] [--log F] [--bad] [--time PHOTO.jpg]

rows: phone, phone3, webcam, large. Ideal print, clean light table, the whole beam, after the best
rigid alignment, mm. Beside each: what the corners' own noise allows through the same Jacobian
(bound), the projector's dot, and the plain way (one card, two homographies). With --log, what is
measured is kept line by line, so that a long run can be cut into pieces.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np
import rigs

from calibrate.cards import card
from calibrate.detect import Detections, detect
from calibrate.pattern import bare
from calibrate.photo import read_photo
from calibrate.plane import homography, place, rigid
from calibrate.solve import solve
from configs.errors import ChalkbeamError

# name -> kind of camera, photos, print, targets: rms median, rms of every rig, max of every rig
ROWS = {
    "phone": ("phone", 1, "a4", (0.035, 0.08, 0.18)),
    "phone3": ("phone", 3, "a4", (0.020, 0.04, 0.08)),
    "webcam": ("webcam", 1, "a4", (0.12, 0.30, 0.60)),
    "large": ("webcam", 1, "a4-large", (0.12, 0.30, 0.60)),
}


def plain(seen: Detections, table) -> float:
    """Rms of the plain way: the plane from one card, the projector by one homography."""
    i = min(seen.cards)
    c = seen.cards[i]
    table_from_photo = homography(c.px, card(i).board().corners[c.index])
    photo_from_projector = homography(
        bare(seen.pattern_size).board().corners[seen.pattern.index], seen.pattern.px
    )
    px = rigs.beam_grid_px(seen.pattern_size)
    q = np.column_stack([px, np.ones(len(px))]) @ (table_from_photo @ photo_from_projector).T
    told, true = q[:, :2] / q[:, 2:], table.projector.to_table(px)
    return float(np.sqrt(np.mean(np.sum((place(told, rigid(told, true)) - true) ** 2, axis=1))))


def one(row: str, seed: int) -> dict[str, object]:
    """One rig: its trueness in mm, or the refusal."""
    kind, views, name, _ = ROWS[row]
    line: dict[str, object] = {"row": row, "seed": seed}
    rig = rigs.make_rig(seed, kind, views=views, print_name=name)
    try:
        seen = [detect(p, rig.pattern.size) for p in rig.photos()]
        start = time.perf_counter()
        found = solve(seen)
        line["solve_s"] = time.perf_counter() - start
    except ChalkbeamError as error:
        return {**line, "refused": str(error)}
    c = found.calibration
    t = rigs.trueness(c, rig.table)
    told = c.expected_error_mm(c.model.grid_mm())
    return {
        **line,
        "rms": t.rms_mm,
        "max": t.max_mm,
        "told": t.expected_rms_mm,
        "scale_ppm": t.scale_ppm,
        "dot": t.mm_per_px,
        "bound": float(np.sqrt(np.mean(np.maximum(told**2 - c.floor_mm**2, 0)))),
        "plain": plain(seen[0], rig.table),
        "lift": c.facts["lift_mm"],
        "cards": sorted(seen[0].cards),
        "named": [*found.named, *found.raised],
    }


def run(row: str, first: int, count: int, log: Path | None) -> None:
    """Measure one row and print it, rig by rig and over all."""
    targets = ROWS[row][3]
    lines = (
        [json.loads(text) for text in log.read_text().splitlines()] if log and log.exists() else []
    )
    known = {line["seed"]: line for line in lines if line["row"] == row}
    for seed in range(first, first + count):
        if seed in known:
            continue
        known[seed] = line = one(row, seed)
        if log:
            with log.open("a") as out:
                out.write(json.dumps(line) + "\n")
        print({k: round(v, 4) if isinstance(v, float) else v for k, v in line.items()}, flush=True)
    mine = [known[seed] for seed in range(first, first + count)]
    got = [line for line in mine if "rms" in line]
    rigs.print_rows(
        f"{row}, seeds {first} to {first + count - 1}: {len(got)} rigs, {len(mine) - len(got)} refused (mm)",
        ["", "median", "90 %", "worst", "target"],
        [
            ["rms", *rigs.spread([g["rms"] for g in got], 4), f"median {targets[0]}, every {targets[1]}"],
            ["max", *rigs.spread([g["max"] for g in got], 4), f"every {targets[2]}"],
            ["bound by corner noise", *rigs.spread([g["bound"] for g in got], 4), ""],
            ["plain way: one card", *rigs.spread([g["plain"] for g in got], 3), ""],
            ["projector dot", *rigs.spread([g["dot"] for g in got], 3), ""],
            ["true over told", *rigs.spread([g["rms"] / g["told"] for g in got], 2), "median 0.5 to 2"],
            ["a millimetre's lift, unseen", *rigs.spread([g["lift"] for g in got], 2), ""],
        ],
    )  # fmt: skip
    for line in mine:
        if "refused" in line or line["named"]:
            print(f"rig {line['seed']}: {line.get('refused') or line['named']}")


def bad_photos() -> None:
    """Bad photos and what is said to each."""
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "calibrate"))
    import test_photo

    for make in test_photo.REFUSED:
        photo = make()
        start = time.perf_counter()
        try:
            solve([detect(photo, test_photo.SIZE, name="table.jpg")])
            said = "ACCEPTED"
        except ChalkbeamError as error:
            said = f"[{getattr(error, 'code', '')}] {error}"
        print(f"{make.__name__} ({time.perf_counter() - start:.1f} s): {said}", flush=True)


def timing(path: str) -> None:
    """Seconds from a photo's file to a calibration, best of three."""
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        solve([detect(read_photo(path), (1920, 1080))])
        best = min(best, time.perf_counter() - start)
    print(f"{path}: {best:.2f} s from file to calibration; target 3 s")


def main() -> None:
    """Read the arguments and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="*", default=[])
    parser.add_argument("--rigs", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--log", type=Path)
    parser.add_argument("--bad", action="store_true")
    parser.add_argument("--time")
    options = parser.parse_args()
    for row in options.rows or ([] if options.bad or options.time else list(ROWS)):
        run(row, options.first, options.rigs, options.log)
    if options.bad:
        bad_photos()
    if options.time:
        timing(options.time)


if __name__ == "__main__":
    main()
