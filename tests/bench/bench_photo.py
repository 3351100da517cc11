"""How true is a calibration by photo? Random rigs on the virtual table against the stated targets.

    python tests/bench/bench_photo.py [rows] [--rigs 40] [--bad] [--time PHOTO.jpg]

rows: phone, phone3, webcam, large. Ideal print, clean light table, the whole beam, after the best
rigid alignment, mm. Beside each: what the corners' own noise allows through the same Jacobian
(bound), the projector's dot, and the plain way (one card, two homographies).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
import rigs

from calibrate.cards import card
from calibrate.detect import Detections, detect, read_photo
from calibrate.errors import CalibrationError
from calibrate.pattern import bare
from calibrate.plane import homography, place, rigid
from calibrate.solve import solve

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
    told, true = q[:, :2] / q[:, 2:], table.true_table_from_projector(px)
    return float(np.sqrt(np.mean(np.sum((place(told, rigid(told, true)) - true) ** 2, axis=1))))


def run(row: str, first: int, count: int) -> None:
    """Measure one row and print it, rig by rig and over all."""
    kind, views, name, targets = ROWS[row]
    got, bounds, plains, doubts, refused = [], [], [], [], []
    for seed in range(first, first + count):
        rig = rigs.make_rig(seed, kind, views=views, print_name=name)
        try:
            seen = [detect(p, rig.pattern.size) for p in rig.photos()]
            found = solve(seen)
        except CalibrationError as error:
            refused.append((seed, str(error)))
            print(f"{row} {seed}: refused: {error}", flush=True)
            continue
        c = found.calibration
        t = rigs.trueness(c, rig.table)
        told = c.expected_error_mm(c.model.grid_mm())
        bounds.append(float(np.sqrt(np.mean(np.maximum(told**2 - c.floor_mm**2, 0)))))
        got.append(t)
        plains.append(plain(seen[0], rig.table))
        doubts.append(t.honesty)
        print(
            f"{row} {seed}: rms {t.rms_mm:.4f} max {t.max_mm:.4f} told {t.expected_rms_mm:.4f} "
            f"scale {t.scale_ppm:+.0f} ppm, cards {sorted(seen[0].cards)} named {found.named}",
            flush=True,
        )
    rms = [t.rms_mm for t in got]
    worst = [t.max_mm for t in got]
    rigs.print_rows(
        f"{row}: {len(got)} rigs, {len(refused)} refused (mm)",
        ["", "median", "90 %", "worst", "target"],
        [
            ["rms", *rigs.spread(rms, 4), f"median {targets[0]}, every {targets[1]}"],
            ["max", *rigs.spread(worst, 4), f"every {targets[2]}"],
            ["bound by corner noise", *rigs.spread(bounds, 4), ""],
            ["plain way: one card", *rigs.spread(plains, 3), ""],
            ["projector dot", *rigs.spread([t.mm_per_px for t in got], 3), ""],
            ["true over told", *rigs.spread(doubts, 2), "median 0.5 to 2"],
        ],
    )


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
        except CalibrationError as error:
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
    parser.add_argument("--bad", action="store_true")
    parser.add_argument("--time")
    options = parser.parse_args()
    for row in options.rows or ([] if options.bad or options.time else list(ROWS)):
        run(row, options.first, options.rigs)
    if options.bad:
        bad_photos()
    if options.time:
        timing(options.time)


if __name__ == "__main__":
    main()
