"""The compiled loops do what plain numpy says, and a machine without them still lays."""

from __future__ import annotations

import subprocess
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from judge import cut_up, judge

from drafting.lay import Cloth, compiled, plan
from drafting.lay.front import Front
from drafting.lay.job import make_job
from drafting.lay.search import Search
from drafting.piece import Piece


def shapes(seed: int, count: int = 5) -> list[Piece]:
    """Pieces of a cut-up cloth, of 700 × 1000 mm."""
    rings = cut_up(np.random.default_rng(seed), 1000.0, 700.0, count)
    return [
        Piece.from_outline(f"p{i}", np.column_stack([-r[:, 1], r[:, 0]]))
        for i, r in enumerate(rings)
    ]


def by_hand(f: np.ndarray, front: Front, left: np.ndarray) -> np.ndarray:
    """x at which each line can first be covered, all shapes at all coarse rows, one by one."""
    t = front.shapes
    near = np.full(front.lines, np.inf)
    for s in range(len(t.kind)):
        if left[t.kind[s]] <= 0:
            continue
        m = int(t.lines[s])
        hull, ends = t.hull[s, :m].astype(float), t.ends[s, :m].astype(float)
        for r in range(int(t.rows[s])):
            here = hull < 1e6
            x = max(0.0, float((f[r : r + m] - hull)[here].max(initial=0.0)))
            for _ in range(20):
                for low, high in t.coarse_bars[s, :, r, :2]:
                    if low + 0.01 < x < high - 0.01:
                        x = float(high)
            near[r : r + m] = np.minimum(near[r : r + m], x + ends)
    return np.minimum(near, f.max())


@pytest.mark.parametrize("hole", [False, True])
def test_what_cannot_be_reached_is_waste(hole: bool) -> None:
    """Cloth taken off the room after each piece is that which a plain search over all places finds."""
    outline = [[0, 0], [3000, 0], [3000, 700], [0, 700]]
    data: dict[str, Any] = {"width": 700}
    if hole:
        data = {"outline": outline, "holes": [[[300, 200], [380, 200], [380, 320], [300, 320]]]}
    front = Front(make_job(shapes(7, 6), Cloth.from_dict(data)), lines=60)
    rng = np.random.default_rng(3)
    plans = front._nothing_laid()
    rules = {"limit": 1e7, "budget": 1e7, "ahead": 400.0, "thrift": 0.0, "noise": 0.0}
    from drafting.lay.front import _Rules

    for _ in range(4):
        chosen = front._worth_a_look(plans, 3, _Rules(**rules), rng, None)
        children, place = front._at_rest(plans, chosen)
        made, _ = front._laid(
            plans, children, place, len(children), _Rules(**rules), rng, None, False
        )
        for q in range(len(children)):
            parent, s, row = (int(v) for v in children[q])
            r, o = row // front.loops.SUB, row % front.loops.SUB
            f = plans.front[parent].astype(float).copy()
            for j in range(front.shapes.to.shape[2]):
                if r + j < front.lines and front.shapes.to[s, o, j] > -1e6:
                    f[r + j] = max(f[r + j], float(place[q]) + front.shapes.to[s, o, j])
            near = by_hand(f, front, made.left[q])
            assert made.front[q] == pytest.approx(np.maximum(f, near), abs=0.05)
        plans = made.only(slice(0, 3))


def test_a_cut_up_cloth_goes_together_again() -> None:
    """Slanted cuts: each of ten pieces meets its neighbours, in some order from one end, on 1 m."""
    from drafting.lay.compact import Compactor

    for seed in (21, 22):
        job = make_job(shapes(seed, 10), Cloth.from_dict({"width": 700}))
        front, compactor, rng = Front(job), Compactor(job), np.random.default_rng(5)
        ends = []
        for _ in range(4):
            for _, state in front.run(200, rng)[:5]:
                made, end, over = compactor.compact(state, rounds=6, elastic=True)
                if over <= 0.01:
                    assert judge(job.laid_all(made.stance, made.at), width=700) == []
                    ends.append(end)
        assert 999.9 < min(ends) < 1005.0


def test_without_compiled_loops_the_raster_search_lays(monkeypatch: pytest.MonkeyPatch) -> None:
    """No numba, or not compiled yet: nobody waits, and everything still lies, validly."""
    monkeypatch.setattr(compiled, "ready", lambda: False)
    job = make_job(shapes(9), Cloth.from_dict({"width": 700}))
    lengths: list[float] = []

    def report(_state: Any, length: float) -> bool:
        lengths.append(length)
        return True

    search = Search(job, 1, time.monotonic() + 1.5, report)
    search.run()
    assert search.front == {}
    assert lengths
    assert lengths[-1] < 1500.0


def test_loops_are_compiled_once_beside_the_first_plan(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The first plan of a machine starts one compiler at most, and none once they are ready."""
    started: list[Any] = []
    monkeypatch.setattr(compiled, "_folder", lambda: tmp_path / "loops")

    class Made:
        def __init__(self, *args: Any, **_: Any) -> None:
            started.append(args)

        def wait(self) -> int:
            return 0

    monkeypatch.setattr(subprocess, "Popen", Made)
    assert not compiled.ready()
    compiled.make_beside()
    compiled.make_beside()
    assert len(started) == 1
    (tmp_path / "loops" / "busy").unlink()
    (tmp_path / "loops" / "ready").write_text("")
    compiled.make_beside()
    assert compiled.ready()
    assert len(started) == 1


def test_a_complete_plan_is_looked_at_though_it_is_longer_than_a_partial_one() -> None:
    """Cloth just long enough: the best so far leaves pieces out and is shorter; that must not count."""
    rings = cut_up(np.random.default_rng(22), 1000.0, 700.0, 9)
    pieces = [
        Piece.from_outline(f"p{i}", np.column_stack([-r[:, 1], r[:, 0]]))
        for i, r in enumerate(rings)
    ]
    job = make_job(pieces, Cloth.from_dict({"width": 700, "length": 1010}))
    search = Search(job, 3, time.monotonic() + 20.0, lambda _state, _length: True)
    search._start()
    search._fronts(time.monotonic() + 8.0)
    assert search.best_left == 0
    assert search.best_length < 1010.0


def test_an_obstacle_across_the_cloth_is_passed() -> None:
    """A locked piece over nearly all the width, at the start or further on: the rest lies behind it."""
    from drafting.placement import Placement

    wall = Piece.from_outline("wall", [(0, 0), (660, 0), (660, 500), (0, 500)])
    for along in (0.0, 305.0):
        # turn 0: the piece's x goes across, from the top of the cloth down
        lock = Placement("wall", 1, (along, 680.0), 0.0, False, True)
        job = make_job([*shapes(7, 5), wall], Cloth.from_dict({"width": 700}), locked=[lock])
        front, rng = Front(job), np.random.default_rng(2)
        assert all(front.run(40, rng) for _ in range(4))


def test_a_remnant_s_edge_costs_no_distance() -> None:
    """Distance is kept between cutting lines, not from the cloth's edge: pieces as wide as a remnant."""
    across = [(0, 0), (700, 0), (700, 200), (0, 200)]
    pieces = [
        Piece.from_outline("a", across),
        Piece.from_outline("b", [(0, 0), (340, 0), (340, 300), (0, 300)]),
        Piece.from_outline("c", [(0, 0), (345, 0), (345, 300), (0, 300)]),
    ]
    outline = [[0, 0], [1500, 0], [1480, 700], [0, 700]]
    for distance in (8.0, 12.0):
        job = make_job(pieces, Cloth.from_dict({"outline": outline}), distance_mm=distance)
        found = Front(job).run(40, np.random.default_rng(1))
        assert found
        assert found[0][0] < 520.0


def test_free_cloth_is_counted_once_where_obstacles_overlap() -> None:
    """Spans of obstacles that overlap on a line are made one."""
    from drafting.lay.front import _apart

    far = 1e7
    spans = np.full((3, 2, 2), far, dtype=np.float32)
    spans[0, :, 0], spans[1, :, 0], spans[2, :, 0] = (10, 50), (40, 90), (200, 210)
    apart = _apart(spans, far)
    assert apart[:, :, 0].tolist() == [[10, 90], [200, 210]]
    assert (apart[:, :, 1] == far).all()


def test_one_core_still_looks_for_pieces_that_go_together() -> None:
    """Few pieces off the bolt with one worker: nine cut from 1 m lie on 1 m again."""
    compiled.make()
    rings = cut_up(np.random.default_rng(22), 1000.0, 700.0, 9)
    pieces = [
        Piece.from_outline(f"p{i}", np.column_stack([-r[:, 1], r[:, 0]]))
        for i, r in enumerate(rings)
    ]
    lay = plan(pieces, Cloth.from_dict({"width": 700}), 12.0, workers=1, seed=1)
    assert lay.problems() == []
    assert lay.used_length_mm < 1060.0


@pytest.mark.parametrize(("left", "relieved"), [(8.0, True), (2.0, False)])
def test_the_library_is_relieved_while_there_is_time(
    monkeypatch: pytest.MonkeyPatch, left: float, relieved: bool
) -> None:
    """A plan that fills the cloth takes the strip library's process over, but not at the last moment."""
    from drafting.lay import planner
    from drafting.lay.front import Front as Beams

    job = make_job(shapes(22, 9), Cloth.from_dict({"width": 700}))
    _, state = min(Beams(job).run(200, np.random.default_rng(5)), key=lambda found: found[0])
    from drafting.lay.compact import Compactor

    state = Compactor(job).compact(state, rounds=6, elastic=True)[0]
    started: list[Any] = []

    class Fake:
        def __init__(self, order: dict[str, Any], inbox: Any) -> None:
            self.order, self.inbox, self.working, self.answered = order, inbox, True, True
            started.append(self)

        def stop(self) -> None:
            self.working = False

    monkeypatch.setattr(planner, "_Worker", Fake)
    run = planner._Run(job, time.monotonic() + left - 10.0, 10.0, None, 1)
    team: Any = planner._hire(job, run, 2, True)
    for worker in team:
        worker.order |= {"relieves": True}
    assert [w.order["strip"] for w in team] == [True, False]
    team[0].inbox.put((team[1], state))
    run.progress = lambda _lay: bool(team[0].inbox.qsize())  # one answer, then stop
    run.watch(team)
    assert run._well_filled()
    assert team[0].working is not relieved
    assert len(started) == 2 + relieved
    assert started[-1].order["strip"] is False


def test_where_the_cache_cannot_be_kept_plans_go_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A cache folder that cannot be made (a file is in its place) costs the beams, not the lay."""
    (tmp_path / "file").write_text("")
    monkeypatch.setattr(compiled, "_folder", lambda: tmp_path / "file" / "loops")
    assert not compiled.make()
    lay = plan(shapes(9), Cloth.from_dict({"width": 700}), 2.0)
    assert lay.problems() == []
    assert not lay.left_out
