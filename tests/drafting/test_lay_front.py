"""Beams over the front: what they put together is what was cut, under each rule they know."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from judge import judge

from drafting.lay import Cloth
from drafting.lay.compact import Compactor
from drafting.lay.front import Front
from drafting.lay.job import Job, make_job
from drafting.piece import Piece
from drafting.placement import Placement


def rectangle(name: str, across: float, along: float, **how: Any) -> Piece:
    """A piece of across × along mm, its corner at the origin."""
    return Piece.from_outline(name, [(0, 0), (across, 0), (across, along), (0, along)], **how)


def puzzle() -> list[Piece]:
    """Seven rectangles that fill 700 × 1000 mm: by hand, a column of 300, one of 450, one of 250."""
    return [
        rectangle("a", 400, 300), rectangle("b", 300, 300), rectangle("c", 200, 450),
        rectangle("d", 500, 450), rectangle("e", 350, 250), rectangle("f", 150, 250),
        rectangle("g", 200, 250),
    ]  # fmt: skip


def shortest(job: Job, runs: int = 6, width: int = 60) -> tuple[float, list[Any]]:
    """The shortest lay of several beams once compacted: its end and what lies where."""
    rng = np.random.default_rng(4)
    front, compactor = Front(job), Compactor(job)
    best: tuple[float, list[Any]] = (np.inf, [])
    for _ in range(runs):
        for _, state in front.run(width, rng, limit=job.stop)[:6]:
            made, end, over = compactor.compact(state, rounds=6, elastic=True)
            if over <= 0.01 and end < best[0]:
                best = end, job.laid_all(made.stance, made.at)
    return best


def test_a_puzzle_of_rectangles_is_put_together() -> None:
    """Rectangles that fill 700 × 1000 mm without a gap lie on 1000 mm again."""
    end, laid = shortest(make_job(puzzle(), Cloth.from_dict({"width": 700})))
    assert judge(laid, width=700) == []
    assert end == pytest.approx(1000.0, abs=0.1)


def test_distance_is_part_of_it() -> None:
    """Two rectangles beside each other, 6 mm apart, on cloth just as wide as that takes."""
    pieces = [rectangle("a", 300, 200), rectangle("b", 294, 200), rectangle("c", 600, 100)]
    end, laid = shortest(make_job(pieces, Cloth.from_dict({"width": 600}), distance_mm=6.0))
    assert judge(laid, width=600, distance=6.0) == []
    assert end == pytest.approx(306.0, abs=0.1)


def test_a_locked_piece_is_laid_around() -> None:
    """With one of the puzzle's pieces locked in its place the rest still closes around it."""
    # the piece's y runs along the cloth: at turn 0 x goes across, from the top of the cloth down
    lock = Placement("d", 1, (300.0, 700.0), 0.0, False, True)
    job = make_job(puzzle(), Cloth.from_dict({"width": 700}), locked=[lock])
    box = job.locked[0].outline_mm
    assert (box.min(0), box.max(0)) == (
        pytest.approx([300.0, 200.0]), pytest.approx([750.0, 700.0]),
    )  # fmt: skip
    end, laid = shortest(job)
    assert judge(laid, width=700) == []
    assert end == pytest.approx(1000.0, abs=0.1)


def test_fold_edges_lie_on_the_fold() -> None:
    """Two halves and a pair that fill half the cloth: the halves at the fold, nothing longer."""
    halves = [
        rectangle(n, 250, 400, fold=((0.0, 0.0), (0.0, 400.0))) for n in ("front", "back")
    ]  # fmt: skip
    pieces = [*halves, rectangle("sleeve", 200, 800, cut=2, pair=True)]
    job = make_job(pieces, Cloth.from_dict({"width": 900, "fold": "lengthwise"}))
    end, laid = shortest(job)
    assert judge(laid, width=900, fold=True, on_fold=["front", "back"]) == []
    assert end == pytest.approx(800.0, abs=0.1)


def test_stripes_along_the_length_meet() -> None:
    """Two pieces whose match points must fall on one stripe of 70 mm do, before anything is mended."""
    pieces = [rectangle("a", 500, 310), rectangle("b", 500, 200), rectangle("c", 400, 90)]
    spots = {"a": (0.0, 40.0), "b": (0.0, 15.0)}
    match = [{"piece": n, "at": list(p)} for n, p in spots.items()]
    cloth = Cloth.from_dict({"width": 600, "repeat": {"length": 70}, "match": [match]})
    job = make_job(pieces, cloth)
    found = Front(job).run(40, np.random.default_rng(1))
    assert found
    for _, state in found:
        laid = job.laid_all(state.stance, state.at)
        off = judge(laid, width=600, phases=list(spots.items()), repeat=(70.0, 0.0))
        assert [text for text in off if "phase" in text] == []


def test_none_past_the_limit() -> None:
    """Nothing comes through where the cloth is shorter than the pieces' area allows."""
    job = make_job(puzzle(), Cloth.from_dict({"width": 700}))
    rng = np.random.default_rng(2)
    assert Front(job).run(40, rng, limit=950.0) == []
    assert Front(job).run(40, rng, limit=1400.0) != []


def test_stripes_across_are_left_to_the_others() -> None:
    """A check to be met across the cloth makes the front unusable; a stripe along does not."""
    pieces = [rectangle("a", 100, 100), rectangle("b", 100, 100)]
    match = [{"piece": n, "at": [0, 0]} for n in "ab"]
    for repeat, usable in (({"width": 40}, False), ({"length": 40}, True)):
        cloth = Cloth.from_dict({"width": 600, "repeat": repeat, "match": [match]})
        assert Front(make_job(pieces, cloth)).usable is usable


def test_strips_thinner_than_a_line_lie_apart() -> None:
    """Cords of 5 mm on a cloth looked at in lines of 12 mm: beside each other, not on each other."""
    pieces = [rectangle(f"cord{i}", 5, 400) for i in range(6)]
    end, laid = shortest(make_job(pieces, Cloth.from_dict({"width": 1400})), runs=2)
    assert judge(laid, width=1400) == []
    assert end == pytest.approx(400.0, abs=0.1)
