"""How true a calibration by tape is, over random rigs: ``python tests/bench/bench_tape.py [rigs] [first seed]``.

First how often the error told at the worst place is passed by the true one, with one digit of one
reading swapped: at most one time in ten. ``python tests/bench/bench_tape.py 200 0 told`` does only that.

Readings carry 0.5 mm of hand and eye and are read to 1 mm; then the same with the greatest error
of a tape of each class (EU 2014/32 annex X: a + b · metres begun) on top. Truth comes from the
virtual projector. Distances are straight lines between the crosses' true places.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace

import numpy as np
from rigs import print_rows, spread, trueness

from calibrate.readings import Readings, crosses_for, pairs_of
from calibrate.simulate import VirtualTable
from calibrate.tape import TAPE_CLASSES, solve_tape
from configs.errors import ChalkbeamError

SIZE = (1920, 1080)


def read_off(
    table: VirtualTable,
    count: int,
    seed: int,
    *,
    sigma_mm: float = 0.5,
    step_mm: float = 1.0,
    tape: str | None = None,
    skip: float = 0.0,
) -> Readings:
    """Distances as a person would read them on this table."""
    rng = np.random.default_rng([seed, count, 3])
    crosses = crosses_for(table.projector.size, count)
    places = dict(
        zip(
            crosses,
            table.projector.to_table(np.array(list(crosses.values()), float)),
            strict=True,
        )
    )
    off = float(rng.uniform(-1, 1))  # one tape, one error: it grows with length
    readings = []
    for a, b in pairs_of(crosses):
        if rng.uniform() < skip:
            continue
        true = float(np.linalg.norm(places[a] - places[b]))
        mm = true + float(rng.normal(0, sigma_mm))
        if tape:
            constant, per_metre = TAPE_CLASSES[tape]
            mm += off * (constant + per_metre * math.ceil(true / 1000))
        readings.append(((a, b), round(mm / step_mm) * step_mm if step_mm else mm))
    return Readings(
        table.projector.size,
        {k: (float(x), float(y)) for k, (x, y) in crosses.items()},
        tuple(readings),
    )


def digits_swapped(data: Readings, seed: int) -> tuple[Readings, int]:
    """With two neighbouring digits of one reading swapped, as a tired eye does; and which reading."""
    rng = np.random.default_rng([seed, 77])
    rows = list(data.readings)
    while True:
        which = int(rng.integers(len(rows)))
        pair, mm = rows[which]
        text = f"{mm:.0f}"
        at = int(rng.integers(len(text) - 1))
        slip = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
        if slip[0] != "0" and abs(float(slip) - float(text)) >= 9:
            rows[which] = (pair, float(slip))
            return replace(data, readings=tuple(rows)), which


def told_and_true(seed: int, count: int = 6) -> tuple[float, float, bool]:
    """One set with a misread pair: told and true mm at the worst place, and whether it was found."""
    table = VirtualTable.random(seed, SIZE)
    data, which = digits_swapped(read_off(table, count, seed), seed)
    result = solve_tape(data)
    told = result.calibration.worst_error_mm()
    return told, trueness(result.calibration, table).max_mm, result.left_out == (which,)


def told(rigs: int, first: int = 0) -> None:
    """How often what is told at the worst place is passed."""
    rows = []
    for count in (6, 9):
        sets = [told_and_true(seed, count) for seed in range(first, first + rigs)]
        ratios = np.array([true / said for said, true, _ in sets])
        rows.append(
            [
                f"{count} crosses",
                f"{int((ratios > 1).sum())} of {rigs}",
                *spread(list(ratios), 2),
                f"{np.median([said for said, _, _ in sets]):.2f}",
                sum(not found for _, _, found in sets),
            ]
        )
    print_rows(
        f"One reading misread, {rigs} rigs (seeds from {first}); limit: passed in one of ten",
        ["case", "passed", "true/told median", "90 %", "worst", "told mm", "not found"],
        rows,
    )


def main(rigs: int, first: int = 0) -> None:
    told(rigs, first)
    rows = []
    cases = [(4, {}), (6, {}), (9, {}), (6, {"skip": 0.2}), (9, {"skip": 0.3})]
    cases += [(6, {"tape": name}) for name in ("I", "II", "III")]
    cases += [(6, {"sigma_mm": 0.0, "step_mm": 0.0}), (9, {"sigma_mm": 0.0, "step_mm": 0.0})]
    for count, options in cases:
        found, refused = [], 0
        for seed in range(first, first + rigs):
            table = VirtualTable.random(seed, SIZE)
            try:
                result = solve_tape(read_off(table, count, seed, **options))
            except ChalkbeamError:
                refused += 1
                continue
            found.append(trueness(result.calibration, table))
        rms, worst = [t.rms_mm for t in found], [t.max_mm for t in found]
        label = f"{count} crosses" + "".join(f", {k} {v}" for k, v in options.items())
        rows.append(
            [
                label,
                *spread(rms),
                *spread(worst),
                f"{np.median([t.honesty for t in found]):.2f}",
                f"{np.median([abs(t.scale_ppm) for t in found]):.0f}",
                refused,
            ]
        )
    print_rows(
        f"Tape, {rigs} rigs (seeds from {first}) of 0.7 to 1.6 m, mm over the whole beam",
        [
            "case",
            "rms median",
            "90 %",
            "worst",
            "max median",
            "90 %",
            "worst",
            "true/expected",
            "scale ppm",
            "refused",
        ],
        rows,
    )


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:3]] or [100]
    (told if "told" in sys.argv else main)(*numbers)
