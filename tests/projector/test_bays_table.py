"""Bays and align at the table: real keys and pointer places, a killed program, the virtual light."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rigs_bays import Worker, calibration_of, dress, ideal, worker
from table_rig import pull_the_plug

from calibrate.simulate import VirtualTable
from drafting import Docket
from drafting.placement import carry
from projector import render
from projector.picture.view import View
from projector.session import pieces, words
from projector.session.journal import Journal
from projector.session.sitting import Sitting
from projector.tools.bays.walk import crosses_shown


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the dress."""
    made = tmp_path_factory.mktemp("dress")
    dress(made)
    return made


@pytest.fixture
def docket(folder: Path, tmp_path: Path) -> Docket:
    """The dress, in a folder of this test's own."""
    shutil.copy(folder / "dress.yaml", tmp_path)
    return Docket.load(tmp_path / "dress.yaml")


def press(s: Sitting, table_mm: np.ndarray) -> None:
    """The pointer pressed over a place of the table."""
    x, y = s.state.stage.calibration.to_projector(np.atleast_2d(table_mm))[0]
    s.pointer("down", float(x), float(y))
    s.pointer("up", float(x), float(y))


def trace_all(s: Sitting) -> None:
    """Mark everything in this bay as traced."""
    for _ in range(50):
        if s.state.current is None:
            return
        s.do("go-on")
    raise AssertionError("never done")


def point_all(s: Sitting, truth: View, count: int = 99) -> None:
    """Point at the crosses asked for, as the cloth truly lies."""
    for _ in range(count):
        cross = s.state.tool.walk.next_cross  # type: ignore[union-attr]
        if cross is None:
            return
        press(s, carry(truth.table_from_cloth, np.array([cross.at]))[0])


def aside(view: View) -> View:
    """A cloth laid down by hand."""
    return replace(view, turn_deg=view.turn_deg - 0.8, at=(view.at[0] + 9, view.at[1] - 4))


def test_tracing_a_lay_larger_than_the_beam_goes_by_bays(docket: Docket) -> None:
    """Trace on a long lay opens the bays; a piece in two bays is traced when both are done."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    assert s.state.tool is not None and s.state.mode == "trace"
    assert {k for b in s.state.tool.walk.plan.bays for k in b.parts} == {"tie belt/1"}  # type: ignore[attr-defined]
    trace_all(s)
    assert s.state.work.traced == ("front/1",)
    s.key("space")
    assert s.state.tool.walk.phase == "move"  # type: ignore[attr-defined]
    truth = aside(s.state.work.view)
    point_all(s, truth)
    assert np.allclose(s.state.work.view.table_from_cloth, truth.table_from_cloth, atol=1e-6)
    trace_all(s)
    assert set(s.state.work.traced) == {p.key for p in docket.lay}
    assert "All traced" in s.state.message.text


def test_what_fits_is_traced_without_bays(docket: Docket) -> None:
    """Under a beam that holds all of it nothing changes; asked for, it says so."""
    s = Sitting(docket, ideal(2400.0))
    s.key("c")
    assert s.state.tool is None
    s.key("v")
    assert s.state.tool is None and "no bays" in s.state.message.text


@pytest.mark.parametrize("steps", [1, 3, 4, 6, 8])
def test_killed_it_opens_in_the_same_bay(docket: Docket, steps: int) -> None:
    """Killed at any moment, the table opens in the same bay, at the same cross, on the same cloth."""
    cal = ideal(1200.0)
    journal, _ = Journal.open(docket)
    s = Sitting(docket, cal, journal=journal)
    s.key("c")
    truth = s.state.work.view
    for _ in range(steps):
        if s.state.tool.walk.phase == "trace":  # type: ignore[union-attr]
            s.do("go-on")
            truth = aside(s.state.work.view)
        else:
            point_all(s, truth, 1)
    # no close, no save: what the journal holds is all there is
    pull_the_plug(journal)
    again, recovered = Journal.open(Docket.load(docket.path or ""))
    other = Sitting(recovered.docket, cal, journal=again)
    assert other.state.mode == "trace" and other.state.tool is not None
    assert other.state.tool.says(other.state) == s.state.tool.says(s.state)  # type: ignore[union-attr]
    assert other.state.current == s.state.current and other.state.work.traced == s.state.work.traced
    assert np.allclose(other.state.work.view.at, s.state.work.view.at, atol=1e-3)
    ours = [(c.label, c.kind) for c in crosses_shown(s.state.tool.walk)]  # type: ignore[union-attr]
    assert [(c.label, c.kind) for c in crosses_shown(other.state.tool.walk)] == ours
    # and it can be finished from there
    for _ in range(40):
        if other.state.tool.walk.phase == "trace":
            if other.state.current is None and other.state.tool.walk.last:
                break
            other.do("go-on")
        else:
            point_all(
                other, truth if s.state.tool.walk.phase == "move" else other.state.work.view, 1
            )  # type: ignore[union-attr]
    assert set(other.state.work.traced) == {p.key for p in docket.lay}


def test_undo_does_not_bring_an_old_view_back(docket: Docket) -> None:
    """Undo takes marks back, never the place of a cloth that has been moved."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    trace_all(s)
    s.key("space")
    truth = aside(s.state.work.view)
    point_all(s, truth)
    trace_all(s)
    for _ in range(6):
        s.key("z")
        assert np.allclose(s.state.work.view.at, truth.at, atol=1e-6)
    assert s.state.work.traced == ()


def test_undo_takes_back_one_mark_after_the_other(docket: Docket) -> None:
    """Also the mark on a part of a piece, which is no whole piece traced."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    order = []
    while s.state.current is not None:
        order.append(s.state.current)
        s.key("space")
    assert set(order) == {"tie belt/1", "front/1"}
    for key in reversed(order):
        s.key("z")
        assert s.state.current == key and key not in s.state.work.traced
        assert (key, 0) not in s.state.tool.walk.marked  # type: ignore[union-attr]
    s.key("space")
    s.key("space")
    assert s.state.current is None


@given(st.lists(st.integers(0, 15), min_size=1, max_size=40), st.integers(0, 10_000))
@settings(max_examples=12, deadline=None)
def test_nothing_she_does_changes_a_length(folder: Path, steps: list[int], seed: int) -> None:
    """Any keys and any pointing, in bays, aligning, going back: the lay turns and moves, no more."""
    rng = np.random.default_rng(seed)
    docket = Docket.load(folder / "dress.yaml")
    s = Sitting(docket, ideal(1200.0, keystone=0.1))
    before = {
        p.key: carry(p.cloth_from_piece, s.state.stage.faces.of(p).outline)
        for p in s.state.work.placed()
    }
    keys = ("c", "space", "]", "[", "o", "e", "z", "y", "escape", "return", "tab", "u", "s", "v")
    for step in steps:
        if step < len(keys):
            s.key(keys[step])
        else:
            x, y = rng.uniform((0, 0), (1920, 1080))
            s.pointer("down", x, y)
            s.pointer("up", x, y)
        s.state = s.state.but(running=True)
        a = s.state.work.view.table_from_cloth
        assert np.allclose(a[:2, :2] @ a[:2, :2].T, np.eye(2), atol=1e-9)
        assert s.state.stage.calibration is s.state.calibration
        for p in s.state.work.placed():
            now = carry(p.cloth_from_piece, s.state.stage.faces.of(p).outline)
            assert np.allclose(
                np.hypot(*np.diff(now, axis=0).T), np.hypot(*np.diff(before[p.key], axis=0).T)
            )
    s.frame()


def test_she_can_go_back_before_moving(docket: Docket) -> None:
    """Escape before a cross is pointed at: the cloth was not moved, the bay is as it was."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    before = s.state.work.view
    s.key("]")
    assert s.state.work.view != before
    s.key("escape")
    assert s.state.work.view == before and s.state.tool.walk.phase == "trace"  # type: ignore[union-attr]
    s.key("escape")
    assert s.state.tool is None and s.state.mode == "arrange"
    # and what is undone later lies where the cloth lies now
    for _ in range(4):
        s.key("z")
    assert s.state.work.view == before


def test_a_better_way_to_lay_the_cloth_is_told(docket: Docket) -> None:
    """With the cloth across the beam it takes more bays, and she is told; turned back, fewer."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    few = len(s.state.tool.walk.plan)  # type: ignore[union-attr]
    s.key("a")
    s = Sitting(docket, ideal(1200.0))
    s.key("ctrl+r")
    assert s.state.work.view.turn_deg == 90.0
    s.key("c")
    assert len(s.state.tool.walk.plan) > few  # type: ignore[union-attr]
    assert f"a quarter {few} bays" in s.state.message.text


def test_another_side_of_the_table(docket: Docket) -> None:
    """She goes round the table in the middle of a move: directions are hers from there."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    s.key("]")
    assert "to your left" in s.state.tool.says(s.state)  # type: ignore[union-attr]
    s.key("s")
    s.key("s")
    assert "to your right" in s.state.tool.says(s.state) and s.state.work.view.side == "far"  # type: ignore[union-attr]


def test_a_bad_fit_is_told_on_the_strip(docket: Docket) -> None:
    """A slip of the pointer is told with its size; Enter keeps it, a press begins anew."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    s.key("]")
    truth = s.state.work.view
    point_all(s, truth, len(s.state.tool.walk.wanted) - 1)  # type: ignore[union-attr]
    cross = s.state.tool.walk.next_cross  # type: ignore[union-attr]
    press(s, carry(truth.table_from_cloth, np.array([cross.at]))[0] + (14.0, 0.0))
    assert s.state.tool.walk.phase == "check"  # type: ignore[union-attr]
    assert "Not good enough" in s.state.tool.says(s.state)  # type: ignore[union-attr]
    s.key("o")
    point_all(s, truth)
    assert s.state.tool.walk.phase == "trace"  # type: ignore[union-attr]


def test_a_changed_lay_is_planned_anew_on_the_same_chalk(docket: Docket) -> None:
    """A piece moved between two bays: planned anew, the crosses that are chalked stay in use."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    trace_all(s)
    s.key("]")
    point_all(s, aside(s.state.work.view))
    view, chalked = s.state.work.view, s.state.tool.walk.chalked  # type: ignore[union-attr]
    s.key("a")
    assert s.state.tool is None
    pocket = s.state.work.of("pocket/1")
    assert pocket is not None
    s.state = pieces.put(s.state, replace(pocket, at=(330.0, 420.0)))
    s.key("c")
    assert "planned anew" in s.state.message.text
    walk = s.state.tool.walk  # type: ignore[union-attr]
    assert np.allclose(s.state.work.view.table_from_cloth, view.table_from_cloth, atol=1e-3)
    assert walk.phase == "trace"
    assert {c.label for c in walk.plan.crosses.values()} >= set(chalked)
    assert walk.plan.bay_of("pocket/1") != (walk.at,)
    assert set(walk.wanted) <= set(chalked)


def test_another_calibration_asks_for_the_crosses(docket: Docket) -> None:
    """Calibrated anew in the middle of the bays: she points at chalked crosses, nothing is assumed."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    trace_all(s)
    s.key("]")
    point_all(s, aside(s.state.work.view))
    kept = docket.replace(table=s.state.settings(), traced=s.state.work.traced)
    same = Sitting(kept, ideal(1200.0))
    assert same.state.tool.walk.phase == "trace" and same.state.tool.walk.at == 1  # type: ignore[union-attr]
    other = Sitting(kept, ideal(1180.0, turn_deg=4.0))
    walk = other.state.tool.walk  # type: ignore[union-attr]
    assert walk.phase == "move" and set(walk.wanted) <= set("ABCD")
    assert "calibration is another" in other.state.message.text
    truth = aside(other.state.work.view)
    point_all(other, truth)
    assert np.allclose(other.state.work.view.table_from_cloth, truth.table_from_cloth, atol=1e-6)


def test_centre_and_turning_over_are_kept_from_her_in_bays(docket: Docket) -> None:
    """What would tear the lay off the chalked crosses is refused with a word."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    view = s.state.work.view
    for key in ("home", "f"):
        s.key(key)
        assert s.state.work.view == view and "crosses hold" in s.state.message.text


def test_only_the_part_of_this_bay_is_bright(docket: Docket) -> None:
    """The belt is bright up to the joint and faint beyond it; the tick stands on the joint."""
    s = Sitting(docket, ideal(1200.0))
    s.key("x")
    s.key("c")
    s.state = s.state.but(current="tie belt/1")
    s.repaint()
    s.frame()
    rgb = s.compositor.painter.rgb().astype(int)
    walk = s.state.tool.walk  # type: ignore[union-attr]
    joint = walk.bay.parts["tie belt/1"][2]
    belt = next(p for p in s.state.tool.pieces if p.key == "tie belt/1")  # type: ignore[union-attr]
    y = belt.outline_mm[:, 1].min()
    places = np.array([[joint - 50, y], [joint - 10, y], [joint + 12, y], [joint, y + 5]])
    px = s.state.stage.calibration.to_projector(carry(s.state.work.view.table_from_cloth, places))
    near = [rgb[round(v) - 1 : round(v) + 2, round(u) - 1 : round(u) + 2].max() for u, v in px]
    assert near[0] > 200 and near[1] > 200 and near[2] < 140 and near[3] > 150


def test_align_by_pointer(docket: Docket) -> None:
    """Two places on the fold turn the lay onto the cloth; the same marks bring it back after a move."""
    s = Sitting(docket, ideal(1200.0))
    truth = replace(
        s.state.work.view,
        turn_deg=3.0,
        at=(s.state.work.view.at[0] + 5, s.state.work.view.at[1] + 20),
    )
    marks = np.array([[100.0, 0.0], [900.0, 0.0]])
    s.key("e")
    assert "first place on the fold" in s.state.tool.says(s.state)  # type: ignore[union-attr]
    for at in carry(truth.table_from_cloth, marks):
        press(s, at)
    assert s.state.tool is None and "80 cm apart" in s.state.message.text
    # the fold of the lay lies on the pointed line
    seen = carry(s.state.work.view.cloth_from_table, carry(truth.table_from_cloth, marks))
    assert np.allclose(seen[:, 1], 0.0, atol=1e-6)
    assert math.isclose(s.state.work.view.turn_deg, 3.0, abs_tol=1e-6)
    # moved: at the same marks
    s.state = s.state.change(replace(s.state.work, traced=("front/1",)))
    lies = replace(
        s.state.work.view,
        turn_deg=-2.0,
        at=(s.state.work.view.at[0] - 60, s.state.work.view.at[1] + 35),
    )
    s.key("e")
    assert "you marked" in s.state.tool.says(s.state)  # type: ignore[union-attr]
    for at in carry(lies.table_from_cloth, seen):
        press(s, at)
    assert np.allclose(s.state.work.view.table_from_cloth, lies.table_from_cloth, atol=1e-3)
    assert "Fits" in s.state.message.text
    s.key("z")
    assert s.state.work.view != lies


def test_align_can_be_left_and_takes_other_edges(docket: Docket) -> None:
    """The key again goes round the edges, Back takes a place back, Escape leaves it all."""
    s = Sitting(docket, ideal(1200.0))
    view = s.state.work.view
    s.key("e")
    s.key("e")
    assert "far selvedge" in s.state.tool.says(s.state)  # type: ignore[union-attr]
    press(s, np.array([0.0, 0.0]))
    s.key("z")
    assert "first" in s.state.tool.says(s.state)  # type: ignore[union-attr]
    press(s, np.array([0.0, 0.0]))
    press(s, np.array([5.0, 0.0]))
    assert "far apart" in s.state.message.text
    s.key("escape")
    assert s.state.tool is None and s.state.work.view == view


def test_height_changes_the_frame(docket: Docket) -> None:
    """Mat and cloth noted in the docket shrink the lit picture about the lens's foot, never the lay."""
    cal = ideal(2600.0)
    note = {"mat": "3 mm", "cloth": "1 mm", "lens_height": "1.25 m", "lens_foot": [0, 0]}
    high = docket.replace(table={"height": note})
    s, flat = Sitting(high, cal), Sitting(docket, cal)
    g = 1 - 5.0 / 1250.0  # folded cloth counts twice
    table = np.array([[400.0, 300.0], [-500.0, 100.0]])
    lit = cal.to_table(s.state.stage.calibration.to_projector(table))
    assert np.allclose(lit, table / g, atol=1e-6)
    assert np.allclose(s.state.work.view.at, np.array(flat.state.work.view.at), atol=6.0)
    assert (render(high, cal) != render(docket, cal)).any()


def test_height_is_set_at_the_table(docket: Docket) -> None:
    """Cloth, mat and lens by keys, the foot by pointer: the picture follows, the docket keeps it."""
    s = Sitting(docket, ideal(2600.0))
    table = np.array([[700.0, 200.0]])
    before = s.state.stage.calibration.to_projector(table)
    s.key("ctrl+t")
    assert "not noted" in s.state.tool.says(s.state) and "each mm of cloth" in s.state.tool.says(
        s.state
    )  # type: ignore[union-attr]
    for key in ("right", "up", "up", "tab", "right", "tab", "up", "right"):
        s.key(key)
    s.pointer("down", 959.5, 539.5)
    s.pointer("up", 959.5, 539.5)
    noted = s.state.settings()["height"]
    assert noted["cloth"] == "1.2 mm" and noted["mat"] == "5 mm" and noted["layers"] == 2
    lens = float(noted["lens_height"].split()[0])
    lit = ideal(2600.0).to_table(s.state.stage.calibration.to_projector(table))
    assert np.allclose(lit * (1 - 7.4 / lens), table, atol=1e-6)
    assert not np.allclose(s.state.stage.calibration.to_projector(table), before)
    s.key("escape")
    assert s.state.tool is None
    s.frame()
    again = Sitting(docket.replace(table=s.state.settings()), ideal(2600.0))
    assert np.allclose(
        again.state.stage.calibration.to_table([[5, 5]]),
        s.state.stage.calibration.to_table([[5, 5]]),
    )
    s.key("k")
    assert "Corrected for 7.4 mm" in s.state.message.text


def test_a_spoilt_state_does_not_stop_the_table(docket: Docket) -> None:
    """Bays that were edited into nonsense are told; taking them out begins anew."""
    s = Sitting(docket.replace(table={"bays": {"on": False, "plan": 3}}), ideal(1200.0))
    s.key("c")
    assert s.state.tool is None and "table.bays" in s.state.message.text


@pytest.mark.parametrize("seed", [0, 1])
def test_the_joint_in_the_light(docket: Docket, seed: int) -> None:
    """A dress of 1.8 m under a beam of 1.2 m, moved by hand and pointed at: lines join in the light.

    Measured on the virtual table where the light falls, both bays, either side of the joint.
    """
    table = VirtualTable.random(seed, (1920, 1080), beam_width_mm=1200.0)
    her: Worker = worker(docket, table, calibration_of(table), seed)
    her.work()
    assert set(her.sitting.state.work.traced) == {p.key for p in docket.lay}
    assert len(her.frames) >= 2 and len(her.steps) >= 2
    assert max(her.steps) < 2.0
    exact = worker(docket, table, calibration_of(table), seed, pointer_mm=0.0)
    exact.work()
    assert max(exact.steps) < 0.1


def test_a_button_pressed_twice_takes_no_cross(docket: Docket) -> None:
    """Space points where the pointer is, but only where it was brought since the last step."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    trace_all(s)
    s.pointer("move", 300.0, 200.0)
    s.key("page down")
    assert s.state.tool.walk.phase == "move"  # type: ignore[union-attr]
    s.key("page down")
    assert s.state.tool.walk.taken == () and "Move the pointer onto cross" in s.state.message.text  # type: ignore[union-attr]
    truth = aside(s.state.work.view)
    for n, label in enumerate(s.state.tool.walk.wanted):  # type: ignore[union-attr]
        at = carry(truth.table_from_cloth, np.array([s.state.tool.walk.plan.crosses[label].at]))  # type: ignore[union-attr]
        x, y = s.state.stage.calibration.to_projector(at)[0]
        s.pointer("move", float(x), float(y))
        s.key("page down")
        if n == 0:
            s.key("page down")
            assert len(s.state.tool.walk.taken) == 1  # type: ignore[union-attr]
    assert s.state.tool.walk.phase == "trace"  # type: ignore[union-attr]


def test_no_cross_is_chalked_among_letters(docket: Docket) -> None:
    """Crosses of a plan keep off the labels of every piece, as they stand when traced."""
    s = Sitting(docket, ideal(1200.0))
    s.key("c")
    walk = s.state.tool.walk  # type: ignore[union-attr]
    t = s.state.work.view.table_from_cloth
    for p in s.state.work.placed():
        for label in s.state.stage.words_of(p, words.shown(s.state, p)):
            low, high = label.min(axis=0), label.max(axis=0)
            for cross in walk.plan.crosses.values():
                at = carry(t, np.array([cross.at]))[0]
                gap = np.maximum(np.maximum(low - at, at - high), 0.0)
                assert np.hypot(*gap) > 5.0, (p.key, cross.label)
