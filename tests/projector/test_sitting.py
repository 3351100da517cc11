"""One sitting: keys and pointer in, pictures and saved work out."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import yaml
from table_rig import DATA, crowd, docket, leave_unpainted, projector, pull_the_plug, single_cloth

from drafting.docket import Docket
from projector.lettering import text_strokes, text_width
from projector.picture import signs
from projector.picture.compositor import _plan_items
from projector.picture.contrast import contrast
from projector.picture.look import STYLES
from projector.picture.on_table import used_box
from projector.picture.view import View
from projector.session import hands, planning, words
from projector.session.hand import HELD_S
from projector.session.journal import Journal, journal_path
from projector.session.past import past_path
from projector.session.planning import Found, Planning
from projector.session.rules import Work, chain
from projector.session.sitting import Sitting
from projector.session.state import SILENT, State


def sit(laid: Docket | None = None, size: tuple[int, int] = (960, 540), **more: object) -> Sitting:
    """A sitting without a journal on a small picture."""
    return Sitting(laid or docket(), projector(size), **more)  # type: ignore[arg-type]


def spot(sitting: Sitting, key: str, share: tuple[float, float] = (0.5, 0.5)) -> np.ndarray:
    """A pixel inside a piece."""
    p = sitting.state.work.of(key)
    assert p is not None
    ring = sitting.state.rules.outline(p)
    at = ring.min(axis=0) + np.array(share) * (ring.max(axis=0) - ring.min(axis=0))
    t = sitting.state.work.view.table_from_cloth
    return sitting.state.calibration.to_projector((t[:2, :2] @ at + t[:2, 2])[None])[0]


def drag(sitting: Sitting, key: str, dx: float, dy: float, steps: int = 6) -> None:
    """Drag a piece by so many pixels, a frame after each move."""
    at = spot(sitting, key)
    sitting.pointer("down", *at)
    sitting.frame()
    for i in range(1, steps + 1):
        sitting.pointer("move", at[0] + dx * i / steps, at[1] + dy * i / steps)
        sitting.frame()
    sitting.pointer("up", at[0] + dx, at[1] + dy)
    sitting.frame()


def whole(sitting: Sitting) -> np.ndarray:
    """The canvas painted anew in one go."""
    sitting.repaint()
    sitting.frame()
    return sitting.canvas.copy()


def test_drag_moves_by_what_the_hand_moved() -> None:
    """A drag moves the piece by the hand's path in mm, through the lens; undo brings it back."""
    sitting = sit(single_cloth())
    before = sitting.state.work.of("sleeve/1")
    at = spot(sitting, "sleeve/1")
    drag(sitting, "sleeve/1", 31.0, -17.0)
    after = sitting.state.work.of("sleeve/1")
    lens, view = sitting.state.stage.lens, sitting.state.work.view
    a, b = lens.to_table(*at), lens.to_table(at[0] + 31.0, at[1] - 17.0)
    moved = view.cloth_from_table[:2, :2] @ (b - a)
    assert np.subtract(after.at, before.at) == pytest.approx(moved, abs=6.1)  # or snapped near it
    sitting.key("z")
    assert sitting.state.work.of("sleeve/1") == before
    sitting.key("y")
    assert sitting.state.work.of("sleeve/1") == after


def test_one_drag_is_one_undo() -> None:
    """However many moves a drag has, one undo takes it back, and a press alone leaves nothing."""
    sitting = sit(single_cloth())
    first = sitting.state.work
    drag(sitting, "sleeve/1", 40.0, 10.0, steps=25)
    drag(sitting, "neck-facing/1", -10.0, 22.0, steps=9)
    sitting.pointer("down", *spot(sitting, "sleeve/1"))
    sitting.pointer("up", *spot(sitting, "sleeve/1"))
    sitting.key("z")
    sitting.key("z")
    assert sitting.state.work == first
    assert sitting.state.history.past is None


@pytest.mark.parametrize("ink", ["light", "bold", "dark"])
def test_piecewise_painting_equals_painting_anew(ink: str) -> None:
    """After drags, picks and turns the canvas is, pixel for pixel, what a full repaint gives."""
    sitting = sit(docket(table={"ink": ink}))
    sitting.frame()
    drag(sitting, "sleeve/1", 35.0, 20.0)
    drag(sitting, "sleeve/1", -20.0, -30.0)
    drag(sitting, "neck-facing/1", -150.0, 40.0)
    sitting.key("t")
    sitting.frame()
    piecewise = sitting.canvas.copy()
    assert (piecewise == whole(sitting)).all()


def test_in_the_middle_of_a_drag_nothing_else_is_lost() -> None:
    """While a piece is dragged across others, every pixel is what painting all anew gives."""
    sitting = sit(docket())
    sitting.frame()
    at = spot(sitting, "neck-facing/1")
    sitting.pointer("down", *at)
    sitting.frame()
    for i in range(1, 9):
        sitting.pointer("move", at[0] - 30.0 * i, at[1] + 8.0 * i)
        boxes = sitting.frame()
        assert boxes and all(b[2] - b[0] < 900 for b in boxes)
        while sitting.pending:
            assert sitting.frame()
        here = sitting.canvas.copy()
        assert (here == whole(sitting)).all()
    sitting.pointer("up", at[0] - 240.0, at[1] + 64.0)
    sitting.frame()
    assert (sitting.canvas == whole(sitting)).all()


def test_dirty_boxes_hold_every_changed_pixel() -> None:
    """What the window is told to update covers all that has changed on the canvas."""
    sitting = sit(docket())
    sitting.frame()
    at = spot(sitting, "sleeve/1")
    sitting.pointer("down", *at)
    sitting.frame()
    for i in range(1, 7):
        before = sitting.canvas.copy()
        sitting.pointer("move", at[0] + 9.0 * i, at[1] + 5.0 * i)
        left = before != sitting.canvas
        assert not left.any()
        boxes = sitting.frame()
        while sitting.pending:
            boxes += sitting.frame()
        changed = before != sitting.canvas
        for x0, y0, x1, y1 in boxes:
            changed[y0:y1, x0:x1] = False
        assert not changed.any()


def test_trouble_is_shown_on_the_piece_and_counted() -> None:
    """An overlap is said on both pieces in words and bars, and counted in the strip."""
    sitting = sit(single_cloth())
    assert sitting.state.judged.count == 0
    assert any("nothing overlaps" in line for line in words.lines(sitting.state))
    target, here = spot(sitting, "front/1"), spot(sitting, "neck-facing/1")
    drag(sitting, "neck-facing/1", *(target - here))
    assert (
        sitting.state.judged.of("neck-facing/1")
        == sitting.state.judged.of("front/1")
        == ("overlaps",)
    )
    assert sitting.state.judged.of("sleeve/1") == ()
    assert any("1 overlap" in line for line in words.lines(sitting.state))
    state = words.shown(sitting.state, sitting.state.work.of("front/1"))
    item = sitting.state.stage.piece(sitting.state.work.of("front/1"), state)
    plain = sitting.state.stage.piece(sitting.state.work.of("front/1"))
    assert len(item.marks) > len(plain.marks)  # bars, not the colour alone


def test_locked_pieces_stay() -> None:
    """A locked piece is neither dragged, nudged, turned nor put aside, and says so."""
    said: list[str] = []
    sitting = sit(single_cloth(), say=said.append)
    sitting.pointer("down", *spot(sitting, "sleeve/1"))
    sitting.pointer("up", *spot(sitting, "sleeve/1"))
    sitting.key("l")
    locked = sitting.state.work.of("sleeve/1")
    assert locked.locked
    drag(sitting, "sleeve/1", 40.0, 0.0)
    for key in ("left", "t", "m", "d", ","):
        sitting.key(key)
    assert sitting.state.work.of("sleeve/1") == locked
    assert any("is locked" in line for line in said)
    sitting.key("l")
    sitting.key("left")
    assert sitting.state.work.of("sleeve/1") != locked


@pytest.mark.parametrize("side", ["near", "right", "far", "left"])
def test_arrows_follow_where_she_stands(side: str) -> None:
    """'Right' moves to her right hand and 'away' away from her, from each side of the table."""
    view = {"turn": 20.0, "at": [100.0, -300.0], "mirror": True, "side": side}
    sitting = sit(single_cloth(table={"view": view}))
    sitting.do("next")
    before = sitting.state.stage.table_from_piece(sitting.state.work.of(sitting.state.chosen))[
        :2, 2
    ]
    sitting.key("right")
    after = sitting.state.stage.table_from_piece(sitting.state.work.of(sitting.state.chosen))[:2, 2]
    angle = np.radians(sitting.state.stage.reading_deg)
    assert after - before == pytest.approx([np.cos(angle), np.sin(angle)], abs=1e-9)
    sitting.key("shift+up")
    third = sitting.state.stage.table_from_piece(sitting.state.work.of(sitting.state.chosen))[:2, 2]
    assert third - after == pytest.approx([-10 * np.sin(angle), 10 * np.cos(angle)], abs=1e-9)
    whole_side = {"near": 0.0, "right": 90.0, "far": 180.0, "left": -90.0}[side]
    off = (sitting.state.stage.reading_deg - whole_side + 180.0) % 360.0 - 180.0
    assert abs(off) < 5.0


def test_buttons_do_what_their_keys_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """A press in the middle of each of the strip's buttons does that action."""
    sitting = sit(single_cloth(), (1920, 1080))
    sitting.frame()
    boxes = dict(sitting.state.shown.strip.buttons)
    assert {"trace", "plan", "turn", "help"} <= set(boxes)
    for name, box in boxes.items():
        sides = np.hypot(*(np.roll(box, -1, axis=0) - box).T)
        assert sides.min() >= 30.0, name  # large enough at arm's length
    done = []

    def noted(state: State, name: str) -> State:
        done.append(name)
        return state

    monkeypatch.setattr(hands, "done", noted)
    for box in boxes.values():
        px = sitting.state.calibration.to_projector(box.mean(axis=0)[None])[0]
        sitting.pointer("down", *px)
    assert done == list(boxes)


def test_trace_goes_from_far_to_near_and_marks() -> None:
    """Space marks and goes on, backspace goes back, all marked is said; the docket holds it."""
    sitting = sit(docket())
    sitting.key("c")
    seen = []
    nearest = {}
    for p in sitting.state.work.placed():
        a = sitting.state.stage.table_from_piece(p)
        nearest[p.key] = float(
            (sitting.state.stage.faces[p.piece].outline @ a[:2, :2].T + a[:2, 2])[:, 1].min()
        )
    while sitting.state.current is not None:
        seen.append(sitting.state.current)
        sitting.key("space")
    assert sorted(seen) == sorted(p.key for p in sitting.state.work.placed())
    rows = [nearest[k] for k in seen]
    assert all(b <= a + 120.0 for a, b in pairwise(rows))
    assert rows[-1] == min(rows) or rows[-1] <= min(rows) + 120.0
    assert sitting.state.work.traced == tuple(seen)
    assert "All traced" in words.lines(sitting.state)[0]
    sitting.key("backspace")
    sitting.key("u")
    assert len(sitting.state.work.traced) == len(seen) - 1


def test_current_piece_is_bright_others_faint() -> None:
    """While tracing, the current piece's cutting line is at full light, the others' far below."""
    sitting = sit(docket())
    sitting.key("c")
    states = {p.key: words.shown(sitting.state, p).emphasis for p in sitting.state.work.placed()}
    assert states.pop(sitting.state.current) == "bright"
    assert set(states.values()) == {"faint"}
    bright = sitting.state.stage.mark("cutting", [], "bright").colour
    faint = sitting.state.stage.mark("cutting", [], "faint").colour
    assert contrast(faint, (0, 0, 0)) < 0.5 * contrast(bright, (0, 0, 0))


def test_dark_and_light_are_whole_and_any_key_ends_them() -> None:
    """Dark leaves no light at all, work light is white all over, and neither eats the work."""
    sitting = sit()
    sitting.frame()
    picture = sitting.canvas.copy()
    for key, level in (("shift+b", 0), ("w", 0xFFFFFF)):
        sitting.key(key)
        sitting.frame()
        assert (sitting.canvas == level).all()
        sitting.key("t")  # only brings the picture back
        sitting.frame()
        assert (sitting.canvas == picture).all()
    sitting.key("shift+b")
    sitting.pointer("down", 300.0, 300.0)
    assert sitting.state.page == ""


def test_check_square_measures_100_mm() -> None:
    """The check square's corners lie 100 mm apart on the table, wherever it is asked for."""
    sitting = sit()
    sitting.pointer("move", 420.0, 250.0)
    sitting.key("k")
    item = signs.check_square(sitting.state.stage, sitting.state.checking_at)
    a = item.table_from_item
    corners = item.marks[0].points @ a[:2, :2].T + a[:2, 2]
    ends = np.array([[0, 0], [100, 0], [100, 100], [0, 100]]) @ a[:2, :2].T + a[:2, 2]
    for end in ends:
        assert np.hypot(*(corners - end).T).min() < 1e-9
    assert np.hypot(*(ends[2] - ends[0])) == pytest.approx(141.4214, abs=1e-3)
    assert a[:2, 2] == pytest.approx(sitting.state.stage.lens.to_table(420.0, 250.0))


def test_aside_and_back() -> None:
    """A piece put aside leaves the cloth and the count, and comes back where it lay."""
    sitting = sit(single_cloth())
    sitting.do("next")
    key = sitting.state.chosen
    before = sitting.state.work.of(key)
    sitting.key("d")
    assert sitting.state.work.of(key).aside and sitting.state.chosen is None
    assert "1 aside" in words.lines(sitting.state) or sitting.state.message.text
    sitting.key("r")
    assert sitting.state.work.of(key) == before


def test_a_plan_that_arrives_waits_for_the_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """In the middle of a drag nothing else changes; let go, the better plan is there."""
    sitting = sit(single_cloth())
    monkeypatch.setattr("projector.session.planning.Planning.start", lambda self: None)
    sitting.do("plan")
    run = sitting.planning
    assert run is not None
    found = [Found(sitting.state.work.lay, 900.0, 0.5)]

    def poll(self: Planning) -> bool:
        if not found:
            return False
        self.best = found.pop()
        return True

    monkeypatch.setattr("projector.session.planning.Planning.poll", poll)
    sitting.pointer("down", *spot(sitting, "front/1"))
    sitting.tick(1.0)
    assert sitting.state.plan is not None and sitting.state.plan.best is None
    sitting.pointer("up", *spot(sitting, "front/1"))
    sitting.tick(1.1)
    assert sitting.state.plan is not None and sitting.state.plan.best is run.best is not None
    sitting.close()


@pytest.mark.parametrize(("cores", "workers"), [(1, 0), (2, 0), (3, 1), (8, 6)])
def test_a_core_stays_free_for_the_hand(
    cores: int, workers: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The planner at the table takes one core for itself and leaves one; the rest help it."""
    monkeypatch.setattr("drafting.lay.planner.cores", lambda: cores)
    assert planning._workers() == workers


@pytest.mark.skipif(not hasattr(os, "nice"), reason="this system has no nice")
def test_the_planner_gives_way_to_the_table() -> None:
    """Its process stands behind the table's: what she drags goes first."""
    sitting = sit(single_cloth())
    sitting.do("plan")
    assert sitting.planning is not None and sitting.planning._process is not None
    until = time.monotonic() + 40.0
    own = os.getpriority(os.PRIO_PROCESS, 0)
    while os.getpriority(os.PRIO_PROCESS, sitting.planning._process.pid) < min(own + 10, 19):
        time.sleep(0.02)
        assert time.monotonic() < until
    sitting.close()


def test_a_plan_is_taken_around_what_is_locked() -> None:
    """A plan from the other process keeps locked pieces; taking it is one undo."""
    sitting = sit(single_cloth())
    sitting.pointer("down", *spot(sitting, "front/1"))
    sitting.pointer("up", *spot(sitting, "front/1"))
    sitting.key("l")
    locked = sitting.state.work.of("front/1")
    before = sitting.state.work
    sitting.key("p")
    sitting.planning.seconds = 1.0
    until = time.monotonic() + 40.0
    while sitting.planning is not None and sitting.planning.best is None:
        sitting.tick(time.monotonic())
        time.sleep(0.02)
        assert time.monotonic() < until
    sitting.frame()
    assert (
        any(line.startswith("plan:") for line in words.lines(sitting.state))
        or sitting.state.message.text
    )
    sitting.key("return")
    assert sitting.planning is None
    assert sitting.state.work.of("front/1").at == pytest.approx(locked.at, abs=1e-6)
    assert sitting.state.judged.count == 0
    assert {p.key for p in sitting.state.work.lay} == {p.key for p in before.lay}
    sitting.key("z")
    assert sitting.state.work == before
    sitting.close()


def test_a_plan_keeps_off_what_shares_the_cloth(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked for at the table too, no piece is planned onto another garment's; she is told so."""
    from shapely.geometry import Polygon

    from projector.lay_picture import docket_lay

    front = [[0, 0], [600, 0], [600, 500], [0, 500]]
    cloth = {"width": "1400 mm", "length": "2 m"}
    scarf = {
        "chalkbeam": 1,
        "title": "scarf",
        "cloth": cloth,
        "allowances": {"all": 0},
        "pieces": [{"name": "front", "outline": front}],
        # where a plan of the bag alone would begin
        "lay": [{"piece": "front", "copy": 1, "at": [0, 700], "turn": 0}],
    }
    bag = {**scarf, "title": "bag", "shares": ["scarf.yaml", "tie.yaml"]}
    bag["pieces"] = [{"name": "front", "outline": front, "cut": 3}]
    bag["lay"] = [{"piece": "front", "copy": 1, "at": [900, 700], "turn": 0}]
    tie = {k: v for k, v in scarf.items() if k != "lay"} | {"title": "tie"}
    for name, data in (("scarf", scarf), ("bag", bag), ("tie", tie)):
        (tmp_path / f"{name}.yaml").write_text(yaml.safe_dump(data))
    said: list[str] = []
    sitting = sit(Docket.load(tmp_path / "bag.yaml"), say=said.append)
    start = Planning.start

    def shortly(planning: Planning) -> None:
        planning.seconds = 1.0
        start(planning)

    monkeypatch.setattr(Planning, "start", shortly)
    sitting.do("plan")
    until = time.monotonic() + 40.0
    while sitting.planning is not None and not (sitting.planning.best and sitting.planning.done):
        sitting.tick(time.monotonic())
        time.sleep(0.02)
        assert time.monotonic() < until
    assert [p.key for p in sitting.planning.best.lay] == ["front/1", "front/2", "front/3"]
    sitting.do("take")
    told = " ".join(said)
    assert "Kept clear of: scarf.yaml" in told and "No room is kept for tie.yaml" in told
    own = [Polygon(sitting.state.rules.outline(p)) for p in sitting.state.work.placed()]
    (its,) = docket_lay(Docket.load(tmp_path / "scarf.yaml")).placements
    assert len(own) == 3
    assert all(Polygon(its.outline_mm).intersection(ring).area < 1.0 for ring in own)
    sitting.close()


def test_a_plan_beside_a_file_that_is_gone_is_told(tmp_path: Path) -> None:
    """A garment that shares the cloth and is not there stops the plan, with the file's name."""
    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump({**DATA, "shares": ["scarf.yaml"]}))
    said: list[str] = []
    sitting = sit(Docket.load(path), say=said.append)
    sitting.do("plan")
    until = time.monotonic() + 40.0
    while sitting.planning is not None:
        sitting.tick(time.monotonic())
        time.sleep(0.02)
        assert time.monotonic() < until
    assert "shares: scarf.yaml" in said[-1] and "not there" in said[-1]
    sitting.close()


def test_dropping_a_plan_changes_nothing() -> None:
    """A plan that is dropped leaves the lay as it was, and its process is gone."""
    sitting = sit(single_cloth())
    before = sitting.state.work
    sitting.key("p")
    process = sitting.planning._process
    best = Found(before.lay, 900.0, 0.5)
    sitting.state = sitting.state.but(plan=replace(sitting.state.plan, best=best))
    sitting.frame()
    sitting.key("delete")
    assert sitting.planning is None and sitting.state.work == before
    with pytest.raises(ValueError):
        process.is_alive()  # closed


def test_labels_cross_no_line() -> None:
    """No label's letter comes nearer than a millimetre to any line of its piece."""
    import shapely

    sitting = sit(single_cloth(), (1920, 1080))
    for p in sitting.state.work.placed():
        item = sitting.state.stage.piece(p, words.shown(sitting.state, p))
        face = sitting.state.stage.faces[p.piece]
        lines = [shapely.LineString(x) for kind in face.lines.values() for x in kind if len(x) > 1]
        letters = item.marks[-1]
        assert letters.colour == sitting.state.stage.mark("label", []).colour
        parts = [
            shapely.LineString(letters.points[i : i + 2]) for i in np.flatnonzero(letters.joined)
        ]
        gap = shapely.union_all(lines).distance(shapely.union_all(parts))
        assert gap > 1.0, p.key
        assert shapely.Polygon(face.outline).contains(shapely.union_all(parts))


@pytest.mark.parametrize("side", ["near", "right", "far", "left"])
def test_labels_stand_upright_to_her_and_8_mm_tall(side: str) -> None:
    """Seen from where she stands, every label's capitals are at least 8 mm and not mirrored."""
    view = {"turn": 0.0, "at": [0.0, 0.0], "mirror": side == "far", "side": side}
    sitting = sit(single_cloth(table={"view": view}))
    angle = np.radians(sitting.state.stage.reading_deg)
    read = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    for p in sitting.state.work.placed():
        stage = sitting.state.stage
        matrix = stage.table_from_piece(p)
        label = stage._label(p, ("H",))
        assert label is not None and label.height_mm >= 8.0
        seen = [s @ matrix[:2, :2].T @ read.T for s in label.strokes]
        drawn = text_strokes("H", label.height_mm)
        shift = seen[0][0] - drawn[0][0]
        for mine, plain in zip(seen, drawn, strict=True):
            assert mine - shift == pytest.approx(plain, abs=1e-9)


def test_text_of_any_script_is_drawn() -> None:
    """Titles in other scripts, marks alone, control signs and emoji give strokes, never an error."""
    for text in (
        "Хор",
        "χορός",
        "合唱団",
        "كورال",
        "naïve Łódź",
        "\u0301",
        "a\tb\n",
        "🧵",
        "",
        "½ ″",
    ):
        strokes = text_strokes(text, 8.0)
        assert all(len(s) > 1 and np.isfinite(s).all() for s in strokes)
        assert text_width(text, 8.0) >= 0.0
    assert text_strokes("Я", 8.0) and text_strokes("合", 8.0) and text_strokes("é", 8.0)
    box = np.vstack(text_strokes("H", 8.0))
    assert np.ptp(box[:, 1]) == pytest.approx(8.0)


def test_titles_in_other_scripts_do_not_stop_the_table() -> None:
    """A docket whose pieces are named in another script is shown, labelled, and moved."""
    pieces = [dict(p) for p in DATA["pieces"]]
    pieces[2] = {**pieces[2], "name": "обтачка"}
    lay = [dict(p) for p in DATA["lay"]]
    lay[2] = {**lay[2], "piece": "обтачка"}
    sitting = sit(docket(pieces=pieces, lay=lay, title="хор"))
    sitting.frame()
    drag(sitting, "обтачка/1", 15.0, 5.0)
    assert sitting.state.work.of("обтачка/1") is not None


def test_meaning_is_in_dash_and_weight_before_colour() -> None:
    """Cutting, sewing, fold and grain differ with colour taken away; cutting is the heaviest."""
    kinds = ("cutting", "sewing", "fold", "grain")
    looks = {(STYLES[k].width_mm, STYLES[k].dash) for k in kinds}
    assert len(looks) == len(kinds)
    assert STYLES["cutting"].dash == () and STYLES["sewing"].dash and len(STYLES["fold"].dash) == 4
    assert all(STYLES["cutting"].width_mm > STYLES[k].width_mm for k in kinds[1:])


def test_the_used_cloth_is_centred_in_the_beam() -> None:
    """Without a view of hers the used cloth lies in the middle, its length along the longer axis."""
    for turn in (0.0, 35.0, 120.0):
        cal = projector(turn_deg=turn, keystone=0.0, k1=0.0)
        sitting = Sitting(docket(), cal)
        x0, y0, x1, y1 = used_box(sitting.state.stage.faces, sitting.state.work.placed())
        t = sitting.state.work.view.table_from_cloth
        middle = t[:2, :2] @ [0.5 * (x0 + x1), 0.5 * (y0 + y1)] + t[:2, 2]
        assert cal.to_projector(middle[None])[0] == pytest.approx([959.5, 539.5], abs=3.0)
        ends = np.array([[x0, y0], [x1, y0]]) @ t[:2, :2].T + t[:2, 2]
        d = np.diff(cal.to_projector(ends), axis=0)[0]
        assert abs(d[0]) > 10 * abs(d[1])


@pytest.mark.usefixtures("unpainted")
def test_help_on_a_small_beam_has_pages() -> None:
    """On a beam of half a metre help goes on over several pages, shows all, then closes."""
    sitting = Sitting(docket(), projector((960, 600), 560.0))
    sitting.key("h")
    seen = []
    while sitting.state.page == "help":
        sitting.frame()
        seen.append(sitting.state.help_from)
        assert len(seen) < 12
        sitting.key("h")
    assert len(seen) > 1 and seen == sorted(set(seen))
    large = sit(docket(), (1920, 1080))
    large.key("h")
    large.frame()
    large.key("h")
    assert large.state.page == ""


def assert_clear_of_current(sitting: Sitting) -> None:
    """The strip is there and covers no line of the piece being traced."""
    strip = sitting.state.shown.strip
    assert strip is not None
    p = sitting.state.work.of(sitting.state.current)
    if p is None:
        return
    a = sitting.state.stage.table_from_piece(p)
    ring = sitting.state.stage.faces[p.piece].outline @ a[:2, :2].T + a[:2, 2]
    assert not shapely.LinearRing(ring).intersects(shapely.Polygon(strip.ground_mm))


def press(sitting: Sitting, table_mm: np.ndarray) -> None:
    """The pointer pressed at a place of the table."""
    x, y = sitting.state.stage.calibration.to_projector(np.asarray(table_mm)[None])[0]
    sitting.pointer("down", float(x), float(y))
    sitting.pointer("up", float(x), float(y))
    sitting.frame()


def press_button(sitting: Sitting, action: str) -> None:
    """A button of the strip, or of the page over it, pressed in its middle."""
    shown = sitting.state.shown
    assert shown.strip is not None
    press(sitting, {**shown.strip.buttons, **shown.pads}[action].mean(axis=0))


@pytest.fixture
def unpainted(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests of words and places alone."""
    leave_unpainted(monkeypatch)


@pytest.mark.usefixtures("unpainted")
@pytest.mark.parametrize("how", ["beam", "long", "turned"])
def test_tracing_36_pieces_the_strip_is_there_and_works_by_pointer(how: str) -> None:
    """With pieces all over the beam the strip stays, off the piece traced, its buttons lit and true."""
    said: list[str] = []
    sitting = Sitting(crowd(how), projector((1920, 1080)), say=said.append)
    sitting.frame()
    press_button(sitting, "trace")
    steps = {"long": 24}.get(how, 36)  # as many lie in the first bay
    for i in range(steps):
        sitting.frame()
        assert_clear_of_current(sitting)
        strip = sitting.state.shown.strip
        assert strip is not None and {"go-on", "go-back", "more"} <= set(strip.buttons)
        assert sitting.state.stage.lens.covers(np.concatenate(list(strip.buttons.values()))).all()
        assert (
            any(f"{i} of {steps} traced" in line for line in words.lines_for(sitting.state, strip))
            or i == 0
        )
        if sitting.state.tool is not None:
            for cross in sitting.state.tool.clear_of(sitting):
                assert not shapely.Polygon(strip.ground_mm).contains(shapely.Point(cross))
        before = sitting.state.current
        press_button(sitting, "go-on")
        assert before in sitting.state.work.traced and sitting.state.current != before
    press_button(sitting, "go-back")
    assert sitting.state.current is not None
    # the rest of what can be done is one press away, and the handle comes back
    small = sitting.state.shown.strip.small  # type: ignore[union-attr]
    press_button(sitting, "more")
    assert sitting.state.shown.strip is not None and not sitting.state.shown.strip.small
    assert "unmark" in sitting.state.shown.pads
    press_button(sitting, "unmark")
    if small:
        assert sitting.state.shown.strip is not None and sitting.state.shown.strip.small
        assert len(sitting.state.work.traced) == steps - 1


@pytest.mark.usefixtures("unpainted")
@pytest.mark.parametrize("how", ["turned", "long"])
def test_what_is_said_stands_on_the_handle(how: str) -> None:
    """A message is on the table where the strip is small too, whole."""
    sitting = Sitting(crowd(how), projector((1920, 1080)))
    sitting.do("trace")
    sitting.do("undo")  # "Nothing left to undo."
    sitting.frame()
    strip = sitting.state.shown.strip
    assert strip is not None and strip.small
    told = " ".join(f.text for f in strip.figures(words.lines_for(sitting.state, strip)))
    assert "Nothing left to undo" in told


# -- the hand, free ------------------------------------------------------------------------------------


def hand_to(sitting: Sitting, cloth_mm: np.ndarray, kind: str, **more: Any) -> None:
    """The pointer at a place of the cloth."""
    a = sitting.state.work.view.table_from_cloth
    at = a[:2, :2] @ cloth_mm + a[:2, 2]
    sitting.pointer(kind, *sitting.state.stage.calibration.to_projector(at[None])[0], **more)


@pytest.mark.parametrize("how", ["snaps", "key", "held", "not held long"])
def test_a_key_or_a_press_held_still_keeps_a_piece_from_snapping(how: str) -> None:
    """4 mm from the selvedge a piece is drawn on to it, but not with a key held, nor after a press
    that was held still: twice the time is enough, half of it is not."""
    sitting = sit(single_cloth())
    sitting.tick(10.0)
    p = sitting.state.work.of("neck-facing/1")
    assert p is not None
    ring = sitting.state.rules.outline(p)
    start = ring.mean(axis=0)
    edge = sitting.state.rules.cloth.y_range_mm[1]  # type: ignore[union-attr]
    way = np.array([0.0, edge - float(ring[:, 1].max()) - 4.0])
    hand_to(sitting, start, "down")
    sitting.tick(10.0 + {"held": 2 * HELD_S, "not held long": 0.5 * HELD_S}.get(how, 0.0))
    hand_to(sitting, start + 0.5 * way, "move", free=how == "key")
    hand_to(sitting, start + way, "move", free=how == "key")
    made = sitting.state.work.of("neck-facing/1")
    assert made is not None
    gap = edge - float(sitting.state.rules.outline(made)[:, 1].max())
    free = how in ("key", "held")
    assert gap == pytest.approx(4.0 if free else 0.0, abs=0.01)
    assert ("snaps to nothing" in " ".join(words.lines(sitting.state))) == (how == "held")


def test_undo_says_what_it_undid() -> None:
    """What comes back is named: moved, turned over, locked, put aside, a mark, and done again."""
    sitting = sit(single_cloth())
    for action, told in [
        ("right", "sleeve 2 moved"), ("turn", "sleeve 2 turned"), ("turn-over", "turned over"),
        ("lock", "sleeve 2 locked"), ("side", "your side"), ("flip-cloth", "how the cloth lies"),
    ]:  # fmt: skip
        sitting.state = sitting.state.but(chosen="sleeve/2")
        sitting.do(action)
        sitting.do("undo")
        assert f"Undone: {told}" in sitting.state.message.text or told in sitting.state.message.text
        sitting.do("redo")
        assert sitting.state.message.text.startswith("Done again: ")
        sitting.do("undo")
    sitting = sit(crowd())
    sitting.do("trace")
    first = sitting.state.current
    sitting.do("go-on")
    sitting.do("undo")
    assert sitting.state.message.text == f"Undone: the mark of {words.named(first)}."  # type: ignore[arg-type]


def test_esc_closes_one_thing_at_a_time() -> None:
    """The page first, then the check square, then the piece: nothing more goes than was meant."""
    sitting = sit(single_cloth())
    sitting.do("next")
    sitting.do("check")
    sitting.do("help")
    for left in [(True, True), (True, False), (False, False)]:
        sitting.key("escape")
        assert (sitting.state.chosen is not None, sitting.state.checking_at is not None) == left
    assert sitting.running


def test_the_check_square_is_dragged_and_keeps_its_size() -> None:
    """Dragged it follows the hand as far as it is wholly lit; no piece is taken meanwhile."""
    sitting = sit()
    sitting.pointer("move", 420.0, 250.0)
    sitting.do("check")
    start = sitting.state.checking_at
    assert start is not None
    before = sitting.state.work
    cal = sitting.state.calibration
    for kind, by in [("down", 0.0), ("move", 60.0), ("move", 5000.0), ("up", 60.0), ("move", 90.0)]:
        at = start + np.array([50.0 + by, 50.0])
        x, y = cal.to_projector(at[None])[0] if by < 1000.0 else (1e4, 250.0)
        sitting.pointer(kind, float(x), float(y))
    assert sitting.state.checking_at == pytest.approx(start + np.array([60.0, 0.0]), abs=0.01)
    assert sitting.state.work == before and sitting.state.drag is None


def test_a_docket_in_inches_gets_a_square_in_inches() -> None:
    """4 in a side (101.6 mm), 8 in of ruler, and the words say so."""
    sitting = sit(replace(docket(), unit="in"))
    sitting.do("check")
    assert "4 in each way" in " ".join(words.lines(sitting.state))
    item = signs.check_square(sitting.state.stage, sitting.state.checking_at, inches=True)
    assert np.ptp(item.marks[0].points, axis=0) == pytest.approx([101.6, 101.6])
    ruler = item.marks[2].points
    assert np.ptp(ruler[:, 0]) == pytest.approx(203.2)


def test_the_strip_tells_how_far_the_chosen_piece_lies_from_its_neighbours() -> None:
    """Gaps between cutting lines and to the cloth's edge, worked out by hand."""
    tab = [[0, 0], [100, 0], [100, 100], [0, 100]]
    laid = docket(
        pieces=[{"name": "tab", "outline": tab, "cut": 2}],
        allowances={"all": "0 mm"},
        lay=[
            {"piece": "tab", "copy": 1, "at": [20, 1150], "turn": 0},
            {"piece": "tab", "copy": 2, "at": [220, 1300], "turn": 0},
        ],
        cloth={"width": "1400 mm", "length": "2 m", "nap": "none", "selvedge": "10 mm"},
    )
    sitting = sit(laid)
    sitting.state = sitting.state.but(chosen="tab/1")
    said = words.lines(sitting.state)
    assert "11.2 cm to tab 2" in said  # 100 along and 50 across from corner to corner
    assert "20 mm to the end of the cloth" in said
    sitting.state = sitting.state.but(chosen="tab/2")
    assert "11.2 cm to tab" in words.lines(sitting.state)
    assert "90 mm to the selvedge" in words.lines(sitting.state)  # 1400 - 10 - 1300


# -- a way out that loses nothing ----------------------------------------------------------------------


def test_esc_leaves_only_when_pressed_twice() -> None:
    """Esc with nothing chosen says what a second one does; anything between takes it back."""
    sitting = sit()
    sitting.frame()
    sitting.key("escape")
    assert sitting.running and "once more" in words.lines(sitting.state)[0]
    sitting.key("n")
    sitting.key("escape")
    assert sitting.running
    sitting.tick(0.0)
    sitting.tick(60.0)  # long after
    sitting.key("escape")
    assert sitting.running
    sitting.key("escape")
    assert not sitting.running


def test_esc_at_the_question_leaves_only_when_pressed_twice() -> None:
    """The page that questions the calibration is no trap: Esc once leaves the page as it is."""
    sitting = sit()
    sitting.ask(["This calibration is 3 days old."])
    sitting.frame()
    sitting.key("escape")
    assert sitting.running and sitting.state.page == "question"
    sitting.key("escape")
    assert not sitting.running


@pytest.mark.parametrize("moves", [0, 5])
def test_esc_in_a_drag_puts_the_piece_back(moves: int, tmp_path: Path) -> None:
    """Esc with a piece in hand: it lies where it was picked up, nothing to undo, nothing lost."""
    path = saved(tmp_path)
    journal, found = Journal.open(Docket.load(path))
    sitting = Sitting(found.docket, projector((960, 540)), journal=journal)
    sitting.do("next")
    sitting.do("turn")
    sitting.do("undo")  # so that there is something to do again
    before, future = sitting.state.work, sitting.state.history.future
    x, y = spot(sitting, "neck-facing/1")
    sitting.pointer("down", x, y)
    sitting.frame()
    for i in range(1, moves + 1):
        sitting.pointer("move", x + 9.0 * i, y - 4.0 * i)
        sitting.tick(float(i))
        sitting.frame()
    if moves:
        assert sitting.state.work != before
    sitting.key("escape")
    sitting.frame()
    assert (
        sitting.running and sitting.state.work == before and sitting.state.history.future == future
    )
    sitting.pointer("move", x + 90.0, y)  # the button is still held, and nothing is in the hand
    sitting.pointer("up", x + 90.0, y)
    assert sitting.state.work == before
    assert np.array_equal(sitting.canvas, whole(sitting)) or sitting.frame() is not None
    pull_the_plug(journal)
    again, left = Journal.open(Docket.load(path))
    again.close()
    assert left.docket.lay == before.lay


@pytest.mark.parametrize("chalk", ["traced", "tracing", "crosses"])
@pytest.mark.parametrize("action", ["centre", "flip-cloth", "turn-cloth"])
def test_the_lay_under_chalk_moves_only_when_asked_twice(action: str, chalk: str) -> None:
    """Home, flip and quarter turn with chalk on the cloth are asked about; then done, and said so."""
    view = sit().state.work.view
    view = replace(view, at=(view.at[0] + 4.0, view.at[1] + 3.0))
    bays = {"bays": {"on": False, "chalked": ["A"]}} if chalk == "crosses" else {}
    sitting = sit(docket(table={"view": view.to_dict(), **bays}))
    if chalk != "crosses":
        sitting.do("trace")
    if chalk == "traced":
        sitting.do("go-on")
        sitting.do("arrange")
    before = sitting.state.work
    sitting.do(action)
    assert sitting.state.work == before
    assert "chalk" in words.lines(sitting.state)[0] and "again" in " ".join(
        words.lines(sitting.state)
    )
    sitting.do("lines")  # something else: it is not meant any more
    sitting.do(action)
    assert sitting.state.work == before
    sitting.do(action)
    assert sitting.state.work.view.table_from_cloth != pytest.approx(before.view.table_from_cloth)
    assert sitting.state.work.traced == before.traced
    assert "elsewhere than the chalk" in words.lines(sitting.state)[0]
    sitting.do("undo")
    assert sitting.state.work == before
    free = sit(docket(table={"view": view.to_dict()}))
    free.do(action)  # without chalk nobody is asked
    assert free.state.work.view.table_from_cloth != pytest.approx(before.view.table_from_cloth)


def test_another_side_moves_no_line_and_says_so() -> None:
    """She walks round the table with chalk on the cloth: words turn, no line moves."""
    sitting = sit()
    sitting.do("trace")
    sitting.do("go-on")
    before = sitting.state.work.view.table_from_cloth.copy()
    sitting.do("side")
    assert np.array_equal(sitting.state.work.view.table_from_cloth, before)
    assert "no line has moved" in words.lines(sitting.state)[0]


@pytest.mark.usefixtures("unpainted")
def test_a_press_beside_a_button_takes_no_hidden_piece() -> None:
    """Between and around the strip's buttons nothing is grabbed; only the buttons do something."""
    sitting = sit(crowd(), (1920, 1080))
    sitting.frame()
    strip = sitting.state.shown.strip
    assert strip is not None
    low, high = strip.ground_mm.min(axis=0), strip.ground_mm.max(axis=0)
    before, hidden = sitting.state.work, 0
    for at in np.stack(np.meshgrid(np.linspace(low[0] + 3, high[0] - 3, 60),
                                   np.linspace(low[1] + 3, high[1] - 3, 9)), -1).reshape(-1, 2):  # fmt: skip
        if not shapely.Polygon(strip.ground_mm).contains(shapely.Point(at)):
            continue
        if any(
            shapely.Polygon(b).buffer(1.0).contains(shapely.Point(at))
            for b in strip.buttons.values()
        ):
            continue
        t = sitting.state.work.view.cloth_from_table
        hidden += sitting.state.rules.under(before.lay, t[:2, :2] @ at + t[:2, 2]) is not None
        press(sitting, at)
        assert (
            sitting.state.chosen is None
            and sitting.state.work == before
            and sitting.state.page == ""
        )
    assert hidden > 50  # pieces do lie there


@pytest.mark.usefixtures("unpainted")
@pytest.mark.parametrize("how", ["button", "handle"])
def test_check_by_pointer_goes_beside_the_strip(how: str) -> None:
    """Pressed by pointer the check square stands in the light, off the strip and its own button."""
    sitting = Sitting(crowd("turned" if how == "handle" else "beam"), projector((1920, 1080)))
    if how == "handle":
        sitting.do("trace")
    sitting.frame()
    press_button(sitting, "more")
    press_button(sitting, "check")
    assert sitting.state.checking_at is not None and sitting.state.shown.strip is not None
    panel = signs.check_panel(sitting.state.stage, sitting.state.checking_at)
    assert sitting.state.stage.lens.covers(panel).all()
    assert not shapely.Polygon(panel).intersects(
        shapely.Polygon(sitting.state.shown.strip.ground_mm)
    )
    press_button(sitting, "more")
    press_button(sitting, "check")
    assert sitting.state.checking_at is None


def test_the_strip_keeps_off_the_piece_being_traced() -> None:
    """While tracing, the strip goes to the other side, or away, rather than over the cutting line."""
    for y in (0.0, -120.0, 300.0):
        view = {"turn": 0.0, "at": [10.0, y], "mirror": False, "side": "near"}
        sitting = sit(docket(table={"view": view}))
        sitting.key("c")
        sitting.frame()
        assert_clear_of_current(sitting)


def test_a_view_belongs_to_its_calibration() -> None:
    """Under another calibration her view is not used: the cloth is centred anew, her side kept."""
    sitting = sit(docket())
    sitting.do("side")
    sitting.do("flip-cloth")
    held = sitting.state.settings()
    same = Sitting(docket(table=held), projector((960, 540)))
    assert same.state.work.view.table_from_cloth == pytest.approx(
        sitting.state.work.view.table_from_cloth, abs=1e-3
    )
    other = Sitting(docket(table=held), projector((960, 540), turn_deg=80.0))
    fresh = Sitting(docket(), projector((960, 540), turn_deg=80.0))
    assert other.state.work.view == replace(fresh.state.work.view, side="right")


# -- never lost ------------------------------------------------------------------------------------


def saved(folder: Path, **changes: object) -> Path:
    """A docket file of the tests."""
    path = folder / "top.yaml"
    data = {**DATA, **changes}
    path.write_text(yaml.safe_dump(data, sort_keys=False))
    return path


def test_every_change_is_in_the_journal_at_once(tmp_path: Path) -> None:
    """After each single action another process would find the work exactly as it stands."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.do("next")
    for action in ("right", "turn", "lock", "undo", "redo", "lock", "aside", "bring-back", "ink"):
        sitting.do(action)
        other = journal_path(path).read_text().splitlines()
        assert len(other) > 1
        _, found = _peek(path, tmp_path)
        assert found.docket.lay == sitting.state.work.lay
        assert found.docket.traced == sitting.state.work.traced
        assert dict(found.docket.table) == sitting.state.settings()
    sitting.close()
    assert not journal_path(path).exists()
    again = Docket.load(path)
    assert [p.key for p in again.lay] == [p.key for p in sitting.state.work.lay]
    for mine, theirs in zip(again.lay, sitting.state.work.lay, strict=True):
        assert mine.at == pytest.approx(theirs.at, abs=1e-4)
    assert "rehearsal top" in path.read_text()


def _peek(path: Path, folder: Path) -> tuple[Path, object]:
    """What a second opening would find, on a copy."""
    from projector.session.journal import _recover

    copy = folder / "copy" / path.name
    copy.parent.mkdir(exist_ok=True)
    copy.write_bytes(path.read_bytes())
    journal_path(copy).write_bytes(journal_path(path).read_bytes())
    return copy, _recover(Docket.load(copy), journal_path(copy))


CHILD = """
import sys
sys.path.insert(0, {here!r})
from table_rig import projector
from drafting.docket import Docket
from projector.session.journal import Journal
from projector.session.sitting import Sitting
from projector.session.state import SILENT, State
journal, _ = Journal.open(Docket.load({path!r}))
sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
sitting.do("next")
n = 0
while True:
    sitting.tick(n * 0.05)
    sitting.do(("right", "away", "left", "undo", "turn")[n % 5])
    n += 1
    p = sitting.state.work.lay[2]
    print(n, repr(p.at[0]), repr(p.at[1]), p.turn_deg, flush=True)
"""


@pytest.mark.parametrize("pause", [0.0, 0.13, 0.31])
def test_kill_9_loses_nothing(tmp_path: Path, pause: float) -> None:
    """Killed at any moment, the work opens as it stood: the last change told, or the one after."""
    path = saved(tmp_path)
    code = CHILD.format(here=str(Path(__file__).parent), path=str(path))
    child = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env={**os.environ}
    )
    assert child.stdout is not None
    lines = [child.stdout.readline() for _ in range(30)]
    time.sleep(pause)
    os.kill(child.pid, signal.SIGKILL)
    rest = child.stdout.read()
    lines += rest[: rest.rfind("\n") + 1].splitlines()
    told = [line.split() for line in lines if line.count(" ") == 3]
    child.wait()
    child.stdout.close()
    last = told[-1]
    _, found = Journal.open(Docket.load(path))
    p = found.docket.lay[2]
    # it may have been killed after the change was kept and before it was told
    expected = [(float(last[1]), float(last[2]), float(last[3]))]
    sitting = Sitting(found.docket, projector((640, 360)))
    here = (p.at[0], p.at[1], p.turn_deg)
    near = min(abs(here[0] - e[0]) + abs(here[1] - e[1]) for e in expected)
    assert near <= 1.5 or abs(here[2] - expected[0][2]) == 180.0
    assert sitting.state.judged.count >= 0
    assert Docket.load(path).title == "rehearsal top"


def test_a_torn_last_line_is_left_out(tmp_path: Path) -> None:
    """A journal that ends in the middle of a line gives everything before it."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.do("next")
    sitting.do("right")
    kept = sitting.state.work.lay
    sitting.do("turn")
    held = journal_path(path)
    text = held.read_bytes()
    held.write_bytes(text[:-25])
    _, found = _peek(path, tmp_path)
    assert found.docket.lay == kept


def test_a_docket_edited_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    """What a journal holds of another version is put into it, never laid over her own edit."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.do("next")
    sitting.do("right")
    path.write_text(path.read_text().replace("rehearsal top", "evening top"))
    pull_the_plug(journal)
    _, found = Journal.open(Docket.load(path))
    assert found.changes == 2 and "changed elsewhere" in found.note
    assert found.docket.title == "evening top" and found.docket.lay == sitting.state.work.lay


def test_an_edit_made_meanwhile_is_kept_beside_the_tables_own(tmp_path: Path) -> None:
    """She mends an allowance in an editor while the table is open: both changes are saved."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    said: list[str] = []
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal, say=said.append)
    sitting.do("next")
    sitting.do("right")
    path.write_text(path.read_text().replace("all: 10 mm", "all: 12 mm"))
    sitting.tick(50.0)
    assert "changed elsewhere" in said[-1]
    again = Docket.load(path)
    assert again.allowances["all"] == 12.0
    assert [p.at for p in again.lay] == [
        pytest.approx(p.at, abs=1e-3) for p in sitting.state.work.lay
    ]
    sitting.do("right")
    path.write_text("chalkbeam: [")
    sitting.tick(90.0)
    assert "Not saved yet" in said[-1]
    assert path.read_text() == "chalkbeam: ["  # hers to mend; the journal holds the table's
    assert len(journal_path(path).read_text().splitlines()) > 1
    path.write_text(again.path.read_text() if again.path != path else yaml.safe_dump(DATA))
    sitting.close()
    assert len(Docket.load(path).lay) == 3


def test_a_docket_is_open_at_one_table_only(tmp_path: Path) -> None:
    """A second program on the same docket is refused; after leaving it opens, no trace stays."""
    path = saved(tmp_path)
    code = (
        "import sys\nfrom drafting.docket import Docket\nfrom projector.session.journal import Journal\n"
        f"journal, _ = Journal.open(Docket.load({str(path)!r}))\njournal.close()"
    )
    journal, _ = Journal.open(Docket.load(path))
    other = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert other.returncode != 0 and "another table" in other.stderr
    journal.close()
    other = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert other.returncode == 0, other.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["top.yaml"]


@pytest.mark.parametrize("how", ["leave", "kill"])
def test_undo_leads_back_through_earlier_sittings(tmp_path: Path, how: str) -> None:
    """Left or killed, the next sitting undoes and does again what this one did, step by step."""
    path = saved(tmp_path)
    states = []
    for n in range(3):
        journal, _ = Journal.open(Docket.load(path))
        sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
        if not states:
            states.append(sitting.state.work)
        sitting.state = sitting.state.but(chosen="neck-facing/1")
        for action in ("right", "turn", "lock") if n == 0 else ("lock", "away", "undo", "toward"):
            sitting.do(action, large=True)
            if action == "undo":
                states.pop()
            else:
                states.append(sitting.state.work)
        if how == "leave":
            sitting.close()
        else:
            pull_the_plug(journal)
        if n == 1:
            break
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    assert len(states) == 6
    for state in reversed(states[:-1]):
        sitting.do("undo")
        assert _near(sitting.state.work, state)
    sitting.do("undo")
    assert "Nothing left" in sitting.state.message.text
    for state in states[1:4]:
        sitting.do("redo")
        assert _near(sitting.state.work, state)
    sitting.close()
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    for state in states[4:]:  # what was undone when she left can be done again
        sitting.do("redo")
        assert _near(sitting.state.work, state)
    sitting.close()


def _near(one: Work, other: Work) -> bool:
    """The same to a thousandth of a millimetre: a docket rounds the places of its lay."""
    return (
        one.traced == other.traced
        and one.view.side == other.view.side
        and all(
            replace(p, at=q.at) == q and np.allclose(p.at, q.at, atol=1e-3)
            for p, q in zip(one.lay, other.lay, strict=True)
        )
    )


def test_a_drag_cut_off_is_one_step_to_undo(tmp_path: Path) -> None:
    """The plug pulled in the middle of a drag: it opens there, and undo puts the piece back."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((960, 540)), journal=journal)
    before = sitting.state.work
    at = spot(sitting, "neck-facing/1")
    sitting.pointer("down", *at)
    for i in range(1, 30):
        sitting.tick(i / 10.0)
        sitting.pointer("move", at[0] + 3 * i, at[1])
    held = sitting.state.work.of("neck-facing/1")
    assert held is not None and held != before.of("neck-facing/1")
    pull_the_plug(journal)
    again, _ = Journal.open(Docket.load(path))
    other = Sitting(again.docket, projector((960, 540)), journal=again)
    there = other.state.work.of("neck-facing/1")
    assert there is not None and there.at == pytest.approx(held.at, abs=1e-3)
    other.do("undo")
    assert _near(other.state.work, before)
    other.close()


def test_undo_reaches_behind_a_lay_made_elsewhere_but_not_into_another_garment(
    tmp_path: Path,
) -> None:
    """A lay changed by `lay` is one more step; steps with pieces that are gone are forgotten."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.do("next")
    sitting.do("right", large=True)
    left = sitting.state.work
    sitting.close()
    docket = Docket.load(path)
    lay = tuple(replace(p, at=(p.at[0] + 50.0, p.at[1])) for p in docket.lay)
    docket.replace(lay=lay).save()
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    assert [p.at[0] for p in sitting.state.work.lay] == [pytest.approx(p.at[0]) for p in lay]
    sitting.do("undo")
    assert _near(sitting.state.work, left)
    sitting.close()
    text = path.read_text().replace("neck-facing", "collar")
    path.write_text(text)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    assert sitting.state.history.past is None and sitting.state.history.future is None
    sitting.close()


def test_steps_of_earlier_sittings_are_bounded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within a sitting without limit; of earlier ones the last so many come back."""
    from projector.session import past

    monkeypatch.setattr(past, "KEPT", 20)
    path = saved(tmp_path)
    for _ in range(2):
        journal, _ = Journal.open(Docket.load(path))
        sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
        count = len(list(chain(sitting.state.history.past)))
        sitting.do("next")
        for _ in range(60):
            sitting.do("right")
        assert len(list(chain(sitting.state.history.past))) == count + 60
        sitting.close()
    assert count == 20


def test_a_damaged_file_of_steps_costs_only_them(tmp_path: Path) -> None:
    """Torn, of another version or no text at all: the table opens, the lay is the docket's."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.do("next")
    sitting.do("right")
    sitting.do("turn")
    work = sitting.state.work
    sitting.close()
    good = past_path(path).read_bytes()
    for bad, steps in ((good[:-9], 2), (b"{}\n", 0), (b"\xff\xfe", 0), (b"", 0), (b"[1]\n", 0)):
        past_path(path).write_bytes(bad)
        journal, _ = Journal.open(Docket.load(path))
        sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
        assert _near(sitting.state.work, work)
        assert (sitting.state.history.past is not None) == (steps > 0)
        sitting.close()


def settled(laid: Docket, beam_mm: float = 1300.0) -> Docket:
    """A docket that keeps its view, rounded as dockets keep it."""
    sitting = Sitting(laid, projector((640, 360), beam_mm))
    return laid.replace(table={"view": sitting.state.work.view.to_dict()})


def test_it_opens_in_the_mode_and_at_the_piece_where_it_was(tmp_path: Path) -> None:
    """Killed while tracing the second piece: it opens tracing the second piece."""
    path = saved(tmp_path)
    settled(Docket.load(path), 2600.0).save()
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360), 2600.0), journal=journal)
    sitting.do("trace")
    sitting.do("go-on")
    sitting.do("next")
    assert sitting.state.tool is None and sitting.state.current is not None
    pull_the_plug(journal)
    again, _ = Journal.open(Docket.load(path))
    other = Sitting(again.docket, projector((640, 360), 2600.0), journal=again)
    assert (other.state.mode, other.state.current) == ("trace", sitting.state.current)
    assert np.array_equal(whole(other)[:250], whole(sitting)[:250])
    other.do("arrange")
    other.close()


def test_another_ink_changes_every_line(tmp_path: Path) -> None:
    """Ink and width changed at the table give the picture that a fresh table would show."""
    changes = [
        ("ink",),
        ("ink", "ink"),
        ("wider",),
        ("thinner", "thinner"),
        ("lines",),
        ("ink", "wider"),
    ]
    for actions in changes:
        sitting = sit(settled(docket()))
        sitting.frame()
        for action in actions:
            sitting.do(action)
            sitting.frame()
        sitting.tick(0.0)
        sitting.tick(100.0)
        fresh = sit(sitting.state.docket.replace(table=sitting.state.settings()))
        assert np.array_equal(whole(sitting), whole(fresh)), actions


def test_a_message_goes_with_the_next_thing_she_does() -> None:
    """What was said about one thing does not hide what the next one asks for."""
    sitting = sit(single_cloth())
    sitting.do("check")
    assert "Lay a ruler" in words.lines(sitting.state)[0]
    sitting.do("check")
    sitting.do("align")
    assert "Point at the first place" in words.lines(sitting.state)[0]


@pytest.mark.parametrize("beam_mm", [1300.0, 900.0, 600.0])
def test_no_figure_is_dropped_from_the_strip(beam_mm: float) -> None:
    """On any beam every figure has room: the strip takes another row rather than leave one out."""
    from projector.picture.strip import _in_rows

    sitting = Sitting(single_cloth(), projector((960, 540), beam_mm))
    drag(sitting, "neck-facing/1", 0.0, -60.0)
    sitting.do("aside")
    for _ in range(3):
        sitting.do("next")
        sitting.do("tilt-left")
    sitting.tick(0.0)
    sitting.tick(1000.0)  # what was said is gone
    sitting.frame()
    lines = words.lines(sitting.state)
    for wanted in ("off grain", "used", "left", "true to", "aside"):
        assert any(wanted in line for line in lines), wanted
    strip = sitting.state.shown.strip
    assert strip is not None
    rows = _in_rows(lines, strip.length_mm)
    assert len(rows) <= strip.rows
    assert " ".join(t for row in rows for _, t in row).split() == " ".join(lines).split()
    for row in rows:
        assert row[-1][0] + text_width(row[-1][1], 9.0) <= strip.length_mm
    assert np.array_equal(sitting.canvas, whole(sitting))


def test_chalk_does_not_move() -> None:
    """A traced piece that is moved loses its mark, told; a plan leaves traced pieces in place."""
    sitting = sit(single_cloth())
    sitting.do("trace")
    traced = sitting.state.current
    assert traced is not None
    sitting.do("go-on")
    sitting.do("arrange")
    sitting.state = sitting.state.but(chosen=traced)
    assert traced in sitting.state.work.traced
    sitting.do("lock")
    sitting.do("lock")
    assert traced in sitting.state.work.traced
    sitting.do("right")
    assert traced not in sitting.state.work.traced and "was traced" in sitting.state.message.text
    sitting.do("undo")
    assert traced in sitting.state.work.traced
    drag(sitting, traced, 40.0, 0.0)
    assert traced not in sitting.state.work.traced
    sitting.do("undo")
    assert traced in sitting.state.work.traced
    sitting.do("plan")
    run = sitting.planning
    assert run is not None and traced in {p.key for p in run.locked}
    sitting.do("drop")


def test_saving_when_hands_rest(tmp_path: Path) -> None:
    """After two quiet seconds the docket itself is saved, and the journal begins anew."""
    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.tick(10.0)
    sitting.do("next")
    sitting.key("shift+right")
    sitting.do("right", large=True)
    sitting.tick(11.0)
    assert Docket.load(path).lay[0].at == (20.0, 0.0)
    sitting.tick(12.5)
    again = Docket.load(path)
    assert [p.at for p in again.lay] == [
        pytest.approx(p.at, abs=1e-3) for p in sitting.state.work.lay
    ]
    assert len(journal_path(path).read_text().splitlines()) == 1
    sitting.close()


def test_a_full_disk_is_told_and_the_journal_keeps_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the docket cannot be written, it is said, the journal stays, nothing is half written."""
    from configs.errors import Fault, InputError

    path = saved(tmp_path)
    journal, _ = Journal.open(Docket.load(path))
    said: list[str] = []
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal, say=said.append)
    sitting.do("next")
    sitting.do("right")
    text = path.read_text()

    def full(self: Docket, path: object = None) -> Path:
        raise InputError(Fault("top.yaml", "cannot be written (No space left on device)."))

    with monkeypatch.context() as patched:
        patched.setattr(Docket, "save", full)
        sitting.tick(10.0)
    assert any("Not saved yet" in line for line in said)
    assert path.read_text() == text
    _, found = _peek(path, tmp_path)
    assert found.docket.lay == sitting.state.work.lay
    sitting.close()
    assert Docket.load(path).lay[2].at == pytest.approx(sitting.state.work.lay[2].at, abs=1e-3)


def test_a_plans_outlines_run_through_no_label(monkeypatch: pytest.MonkeyPatch) -> None:
    """Outlines of a plan are broken at the words of the pieces that still lie there."""
    sitting = sit(single_cloth())
    monkeypatch.setattr("projector.session.planning.Planning.start", lambda self: None)
    sitting.do("plan")
    plan = sitting.state.plan
    assert plan is not None
    lay = sitting.state.work.lay
    a, b = sitting.state.rules.outline(lay[0]), sitting.state.rules.outline(lay[1])
    labels = [
        w for p in lay for w in sitting.state.stage.words_of(p, words.shown(sitting.state, p))
    ]
    assert len(labels) == len(lay)
    # the second piece planned with its edge in the middle of the first one's label
    t = sitting.state.work.view.cloth_from_table
    label = labels[0].mean(axis=0)
    on = t[:2, :2] @ label + t[:2, 2]
    shift = on - b[np.argmin(b[:, 0])]
    there = replace(lay[1], at=(lay[1].at[0] + float(shift[0]), lay[1].at[1] + float(shift[1])))
    best = Found((lay[0], there, *lay[2:]), 1000.0, 0.5)
    (ghost,) = _plan_items(sitting.state.but(plan=replace(plan, best=best)))
    points = np.concatenate([m.points for m in ghost.marks])
    joined = np.concatenate([np.append(m.joined, False) for m in ghost.marks])
    steps = np.stack([points[:-1], points[1:]])[:, joined[:-1]]
    middle = steps.mean(axis=0)
    box = labels[0].min(axis=0), labels[0].max(axis=0)
    near = np.abs(middle - label).max(axis=1) < 120.0
    assert near.any() and len(a)
    assert not ((middle >= box[0] - 2.0) & (middle <= box[1] + 2.0)).all(axis=1).any()
    # and what the plan leaves in its place is not drawn twice
    best = Found(lay, 1000.0, 0.5)
    (ghost,) = _plan_items(sitting.state.but(plan=replace(plan, best=best)))
    assert sum(len(m.points) for m in ghost.marks) == 0


def test_undoing_a_mark_leads_back_to_its_piece() -> None:
    """While tracing, undo takes the mark off the last piece and makes it the current one again."""
    sitting = Sitting(single_cloth(), projector((960, 540), 2600.0))
    sitting.do("trace")
    first = sitting.state.current
    sitting.do("go-on")
    assert sitting.state.current != first and sitting.state.work.traced == (first,)
    sitting.do("undo")
    assert sitting.state.current == first and sitting.state.work.traced == ()
    sitting.do("redo")
    assert sitting.state.work.traced == (first,)


def test_what_is_wrong_has_room_before_how_to_cut() -> None:
    """On a piece too small for its whole label, the words of trouble are not the ones left out."""
    pieces = [{"name": "pocket", "outline": [[0, 0], [110, 0], [110, 90], [55, 115], [0, 90]]}]
    lay = [{"piece": "pocket", "copy": 1, "at": [300, 300], "turn": 0}]
    cloth = {"width": "1400 mm", "length": "2 m", "nap": "two-way", "selvedge": "10 mm"}
    sitting = sit(docket(pieces=pieces, lay=lay, cloth=cloth), (1920, 1080))
    sitting.do("next")
    sitting.do("tilt-left")
    (p,) = sitting.state.work.placed()
    state = words.shown(sitting.state, p)
    assert state.trouble == ("off grain 1.0°",)
    sitting.state.stage.piece(p, state)
    said = [
        label.words
        for (_, words), label in sitting.state.stage._labels.items()
        if label and any(w.startswith("!") for w in words)
    ]
    assert said and all(words[:2] == ("pocket", "! off grain 1.0°") for words in said)


def reaching() -> Docket:
    """Four pieces on single cloth: one lit, one over the beam's edge, two wholly out of a 1.3 m beam."""
    square = [[0, 0], [200, 0], [200, 200], [0, 200]]
    names = ("collar", "cuff", "patch", "tab")
    places = ([400, 300], [1180, 300], [2200, 300], [2700, 300])
    return docket(
        pieces=[{"name": n, "outline": square} for n in names],
        lay=[
            {"piece": n, "copy": 1, "at": at, "turn": 0}
            for n, at in zip(names, places, strict=True)
        ],
        cloth={"width": "1400 mm", "length": "4 m", "nap": "none", "selvedge": "10 mm"},
        table={"view": View().to_dict()},
    )


def test_what_reaches_out_of_the_light_is_told_with_what_to_do() -> None:
    """How many, how many not at all, and the way to the bays; nothing of it where all are lit."""
    sitting = sit(reaching(), (1920, 1080))
    kinds = [sitting.state.stage.unlit(p) for p in sitting.state.work.placed()]
    assert kinds == ["", "partly", "wholly", "wholly"]
    lines = words.lines(sitting.state)
    assert "3 of 4 pieces reach out of the light (2 not lit at all): trace in bays [V]" in lines
    sitting.do("trace")
    sitting.state = sitting.state.but(tool=None, message=SILENT)
    assert any("out of the light" in line for line in words.lines(sitting.state))
    assert not any("light" in line for line in words.lines(sit(single_cloth()).state)[:3])


def test_what_the_beam_would_hold_is_led_to_the_middle() -> None:
    """Out of the light only because the lay stands aside: the key that centres it, not the bays."""
    sitting = sit(docket(), (1920, 1080))
    view = sitting.state.work.view
    aside = replace(view, at=(view.at[0] - 600.0, view.at[1]))
    sitting.state = sitting.state.change(replace(sitting.state.work, view=aside))
    said = [line for line in words.lines(sitting.state) if "out of the light" in line]
    assert said and "[Home]" in said[0] and "bays" not in said[0]
    sitting.key("home")
    assert not any("out of the light" in line for line in words.lines(sitting.state))


def test_an_arrow_at_the_edge_points_to_each_piece_that_is_not_lit() -> None:
    """With its name, within the beam, off the strip and off each other; moving pieces loses none."""
    sitting = sit(reaching(), (1920, 1080))
    sitting.frame()
    strip = sitting.state.shown.strip
    assert strip is not None
    grounds = [strip.ground_mm]
    for key in ("patch/1", "tab/1"):
        p = sitting.state.work.of(key)
        assert p is not None
        made = signs.beyond(sitting.state.stage, p, grounds)
        assert made is not None
        item, ground = made
        assert sitting.state.stage.lens.covers(ground).all()
        for other in grounds:
            low = np.maximum(ground.min(axis=0), other.min(axis=0))
            assert (low >= np.minimum(ground.max(axis=0), other.max(axis=0))).any()
        grounds.append(ground)
        shaft = item.marks[0].points[:2] @ item.table_from_item[:2, :2].T
        t = sitting.state.stage.table_from_piece(p)
        way = t[:2, :2] @ np.array([100.0, 100.0]) + t[:2, 2] - ground.mean(axis=0)
        d = shaft[1] - shaft[0]
        assert d @ way / np.hypot(*d) / np.hypot(*way) > 0.99
    drag(sitting, "collar/1", 300.0, -60.0)
    assert (sitting.canvas == whole(sitting)).all()
    lit = sitting.canvas.copy()
    sitting.state.stage.unlit = lambda p: ""  # type: ignore[method-assign]
    assert (whole(sitting) != lit).sum() > 200


def test_keys_are_shown_as_they_are_printed() -> None:
    """Signs by themselves, with a word only where the sign is a mere dot; names as on the keys."""
    sitting = sit()
    shown = {a: sitting.state.key_words(a) for a in ("wider", "thinner", "tilt-left", "choose")}
    assert shown["wider"] == "=" and shown["thinner"] == "-" and shown["tilt-left"] == "["
    assert shown["choose"].startswith(".") and len(shown["choose"]) > 1
    assert (
        sitting.state.key_words("leave") == "Esc"
        and sitting.state.key_words("calibrate") == "Ctrl+K"
    )


@pytest.mark.parametrize(
    ("unit", "told"), [("mm", "used 138 cm"), ("cm", "used 138 cm"), ("in", "used 54 5/16 in")]
)
def test_lengths_at_the_table_follow_one_rule(unit: str, told: str) -> None:
    """From 100 mm on centimetres, below it millimetres; inches for a docket in inches (1 in = 25.4)."""
    plain = [[0, 0], [200, 0], [200, 200], [0, 200]]
    laid = docket(
        pieces=[{"name": "tab", "outline": plain}],
        lay=[{"piece": "tab", "copy": 1, "at": [1170, 300], "turn": 0}],
        cloth={"width": "1400 mm", "length": "1450 mm", "nap": "none", "selvedge": "10 mm"},
    )
    sitting = sit(replace(laid, unit=unit))
    lines = words.lines(sitting.state)
    assert lines[0].startswith(told + ",")
    assert lines[1] == ("2 3/4 in left" if unit == "in" else "70 mm left")
