"""What a piece has to say is read at any size, and trouble shows where it is, not by colour alone."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from table_rig import docket, projector

from drafting.docket import Docket
from projector.picture import signs
from projector.picture.callouts import MOST, Callouts
from projector.session.sitting import Sitting

LOOP = [[0, 0], [36, 0], [36, 24], [0, 24]]


def loops(count: int = 3, **changes: object) -> Docket:
    """Belt loops too small for any word, side by side; the second is locked."""
    lay = [
        {
            "piece": "belt-loop",
            "copy": i + 1,
            "at": [200 + 60 * i, 500],
            "turn": 0,
            "locked": i == 1,
        }
        for i in range(count)
    ]
    return docket(
        pieces=[{"name": "belt-loop", "outline": LOOP, "cut": count}],
        allowances={"all": "5 mm"},
        cloth={"width": "1400 mm", "length": "3 m", "nap": "none"},
        lay=lay,
        **changes,
    )


def test_a_piece_without_room_has_its_words_beside_it() -> None:
    """Each loop's name, number and lock stand near it, off every line and every other word, lit."""
    sitting = Sitting(loops(), projector())
    sitting.frame()
    state = sitting.state
    strip = state.shown.strip
    assert strip is not None
    made = Callouts().of(state, [strip.ground_mm])
    assert [item.key for item, _ in made] == [f"callout:belt-loop/{i}" for i in (1, 2, 3)]
    grounds = [shapely.Polygon(g) for _, g in made]
    for i, ground in enumerate(grounds):
        assert state.stage.lens.covers(np.asarray(ground.exterior.coords)).all()
        assert not ground.intersects(shapely.Polygon(strip.ground_mm))
        assert not any(ground.overlaps(other) for other in grounds[:i])
        for p in state.work.placed():
            a = state.work.view.table_from_cloth
            ring = state.rules.outline(p) @ a[:2, :2].T + a[:2, 2]
            assert not shapely.LinearRing(ring).intersects(ground)
        own = state.work.placed()[i]
        a = state.work.view.table_from_cloth
        ring = state.rules.outline(own) @ a[:2, :2].T + a[:2, 2]
        assert ground.distance(shapely.Polygon(ring)) < 60.0
    said = [state.stage.without_room(p, _look(sitting, p.key)) for p in state.work.placed()]
    assert said == [
        ("belt loop", "1 of 3"), ("belt loop", "2 of 3", "locked"), ("belt loop", "3 of 3"),
    ]  # fmt: skip


def _look(sitting: Sitting, key: str):  # type: ignore[no-untyped-def]
    from projector.session import words

    p = sitting.state.work.of(key)
    assert p is not None
    return words.shown(sitting.state, p)


def test_what_has_room_inside_has_no_callout() -> None:
    """Pieces whose label holds all of it get none; in trace only the piece at hand does."""
    sitting = Sitting(docket(), projector())
    assert list(Callouts().of(sitting.state, [])) == []
    small = Sitting(loops(), projector())
    small.do("trace")
    made = Callouts().of(small.state, [])
    assert [item.key for item, _ in made] == [f"callout:{small.state.current}"]


def test_a_crowd_gets_no_hedge_of_words() -> None:
    """Of 18 loops the first dozen are named; those in trouble go before the others."""
    sitting = Sitting(loops(18), projector())
    made = Callouts().of(sitting.state, [])
    assert len(made) == MOST
    p = sitting.state.work.of("belt-loop/18")
    assert p is not None
    sitting.state = sitting.state.but(chosen="belt-loop/18")
    sitting.do("left", large=True)
    sitting.do("left", large=True)
    sitting.do("left", large=True)
    keys = [item.key for item, _ in Callouts().of(sitting.state, [])]
    assert {"callout:belt-loop/17", "callout:belt-loop/18"} <= set(keys[:2])


def test_an_overlap_is_hatched_where_it_is() -> None:
    """The hatching lies in both outlines and fills what they share; without an overlap there is none."""
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    sitting = Sitting(docket(), projector())
    item = signs.overlap(sitting.state.stage, "a b", square, square + 60.0)
    points = item.marks[0].points
    assert points.min() >= 60.0 - 1e-6 and points.max() <= 100.0 + 1e-6
    assert np.ptp(points[:, 0]) > 30.0 and np.ptp(points[:, 1]) > 30.0
    assert signs.overlap(sitting.state.stage, "a b", square, square + 160.0).marks == ()


@pytest.mark.parametrize("turn", [0.0, 45.0, -45.0, 90.0])
def test_hatching_fills_a_ring_evenly(turn: float) -> None:
    """Lines inside the ring at that angle, as many as there is room for, and one in the smallest."""
    ring = np.array([[0.0, 0.0], [140.0, 0.0], [140.0, 70.0], [0.0, 70.0]])
    lines = signs.hatching(ring, turn, 14.0)
    across = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
    levels = sorted({round(float(line[0] @ across), 3) for line in lines})
    assert np.diff(levels) == pytest.approx(np.full(len(levels) - 1, 14.0), abs=1.0)
    inside = shapely.Polygon(ring).buffer(1e-6)
    for line in lines:
        assert inside.covers(shapely.LineString(line))
        assert abs(float((line[1] - line[0]) @ across)) < 1e-6
    assert len(signs.hatching(ring * 0.02, turn, 14.0)) == 1


def test_holes_and_flaws_are_told_apart_without_colour() -> None:
    """A hole is hatched both ways, a flaw one way: twice the lines for the same outline."""
    spot = [[200, 200], [300, 200], [300, 300], [200, 300]]

    def lines(kind: str) -> int:
        cloth = {"width": "1400 mm", "length": "2 m", kind: [spot]}
        stage = Sitting(docket(cloth=cloth, lay=[]), projector()).state.stage
        (plain,) = (m for m in signs.cloth(stage).marks[-1:])
        return len(plain.points)

    assert lines("holes") == pytest.approx(2 * lines("flaws"), rel=0.1)
