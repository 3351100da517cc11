"""Plain strips: handed to spyrrow, the strip packing library, and brought back valid.

Only for jobs with no fold edge, obstacle or stripe (`Job.plain`). What it returns may overlap a
little or be none at all (it can panic), so every answer is mended in mm and checked like any other.
Runs in a process of its own (`worker`), where a panic takes nothing down with it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from typing import Any

import numpy as np

from drafting.lay.first import State
from drafting.lay.job import Job, Kind, Stance

_STEP_MM = 0.05  # points closer than this would be equal in the library's single precision
_LOOK_S = 0.15


def strip_states(job: Job, seconds: int, seed: int, threads: int) -> Iterator[State]:
    """Better and better states found by the library within whole ``seconds``, as they come.

    Kinds that may be turned over keep one side, chosen at random. Pieces taller than the strip are
    left out. Ends silently when the library gives up.
    """
    import spyrrow

    rng = np.random.default_rng(seed)
    height = job.top - job.bottom
    items: list[Any] = []
    side: dict[int, list[int]] = {}
    for k, kind in enumerate(job.kinds):
        wanted = [i for i, item in enumerate(job.items) if item.kind == k]
        stances = _one_side(kind, rng, height)
        if not wanted or not stances:
            continue
        side[k] = stances
        base = kind.stances[stances[0]]
        turns = [(kind.stances[s].turn - base.turn) % 360.0 for s in stances]
        items.append(spyrrow.Item(str(k), _plain_ring(base.around), len(wanted), turns))
    if not items:
        return
    # its last phase presses together, which our own program does in a moment: one second is enough
    phases: dict[str, Any] = {"total_computation_time": seconds}
    if seconds >= 4:
        phases = {"exploration_time": seconds - 1, "compression_time": 1}
        phases["total_computation_time"] = None
    config = spyrrow.StripPackingConfig(
        **phases,
        early_termination=False,
        num_workers=threads,
        seed=int(seed) % (2**31),
        min_items_separation=job.distance or None,
    )
    # a piece exactly as tall as the strip makes the library panic
    strip = spyrrow.StripPackingInstance("lay", height * (1.0 + 1e-6) + 0.01, items)
    queue = spyrrow.ProgressQueue()
    done: list[Any] = []

    def solve() -> None:
        try:
            done.append(strip.solve(config, progress=queue))
        except BaseException:  # a panic is no Exception; there is then simply no answer
            done.append(None)

    thread = threading.Thread(target=solve, daemon=True)
    thread.start()
    best = float("inf")
    end = time.monotonic() + seconds + 3.0
    alive = True
    while alive and time.monotonic() < end:
        thread.join(_LOOK_S)
        alive = thread.is_alive()
        found = [
            s
            for report, s in queue.drain()
            if report not in (spyrrow.ReportType.ExplInfeas, spyrrow.ReportType.ExplImproving)
        ]
        if not alive and done and done[0] is not None:
            found.append(done[0])
        if found:
            shortest = min(found, key=lambda s: float(s.width))
            if shortest.width < best - 1e-3:
                best = float(shortest.width)
                yield _state(job, shortest, side)


def _one_side(kind: Kind, rng: np.random.Generator, height: float) -> list[int]:
    """Stances that fit across the strip and are one outline turned, by the side and way of one of them.

    The library turns what it is given; cloth that shrinks more one way gives a piece that lies
    across it another outline.
    """
    fit = [i for i, s in enumerate(kind.stances) if s.high[1] - s.low[1] <= height + 1e-6]
    flips = {kind.stances[i].mirrored for i in fit}
    if not fit:
        return []
    flip = bool(rng.random() < 0.5)
    if flip not in flips:
        flip = not flip
    side = [i for i in fit if kind.stances[i].mirrored == flip]
    base = kind.stances[int(rng.choice(side))]
    return [i for i in side if _turned_only(base, kind.stances[i])]


def _turned_only(one: Stance, two: Stance) -> bool:
    """Whether two stances of a kind are the same outline, turned."""
    a, b = one.matrix[:2, :2], two.matrix[:2, :2]
    return bool(np.abs(a.T @ a - b.T @ b).max() < 1e-9)


def _plain_ring(ring: Any) -> list[tuple[float, float]]:
    step = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1)
    kept = ring[step > _STEP_MM]
    return [(float(x), float(y)) for x, y in kept]


def _state(job: Job, solution: Any, side: dict[int, list[int]]) -> State:
    state = State.empty(len(job.items))
    free: dict[int, list[int]] = {}
    for i, item in enumerate(job.items):
        free.setdefault(item.kind, []).append(i)
    for placed in solution.placed_items:
        k = int(placed.id)
        if not free.get(k):
            continue
        stances = job.kinds[k].stances
        base = stances[side[k][0]].turn
        gaps = [
            abs((stances[s].turn - base - placed.rotation + 180.0) % 360.0 - 180.0) for s in side[k]
        ]
        i = free[k].pop()
        state.stance[i] = side[k][int(np.argmin(gaps))]
        x, y = placed.translation
        state.at[i] = job.start + x, job.bottom + y
    return state
