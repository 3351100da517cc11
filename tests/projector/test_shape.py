"""Shaping on the cloth: the garment pulled by hand, key and typing, kept, undone, never lost."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
import yaml
from table_rig import docket as imported
from table_rig import projector, pull_the_plug, remember_grips

from configs import shipped
from configs.errors import Fault, InputError
from drafting import Docket
from drafting.lay import plan
from projector.session import words
from projector.session.journal import Journal
from projector.session.sitting import Sitting
from projector.tools.shape_room import ShapeTool

LAY = [
    {"piece": "front", "copy": 1, "at": [620, 0], "turn": 0, "mirrored": True},
    {"piece": "back", "copy": 1, "at": [20, 0], "turn": 0, "mirrored": True},
]


@pytest.fixture(autouse=True)
def known(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each garment's grips are looked for by the first test that comes to it."""
    remember_grips(monkeypatch)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """The shipped top, laid, in a folder of its own."""
    made = tmp_path / "top.yaml"
    text = shipped("dockets", "rehearsal-top.yaml").read_text()
    text = text.replace("../measurements/alto-3.yaml", str(shipped("measurements", "alto-3.yaml")))
    made.write_text(text + "lay: " + str(yaml.safe_dump(LAY, default_flow_style=True)))
    return made


def sit(path: Path) -> Sitting:
    """A table with the docket's journal."""
    journal, recovered = Journal.open(Docket.load(path))
    sitting = Sitting(recovered.docket, projector((960, 540), 1500.0), journal=journal)
    sitting.frame()
    return sitting


def tool(sitting: Sitting) -> ShapeTool:
    """The tool in use."""
    made = sitting.state.tool
    assert isinstance(made, ShapeTool)
    return made


def grip(sitting: Sitting, key: str) -> int:
    """The number of a grip."""
    return [g.key for g in tool(sitting).grips].index(key)


def pull(sitting: Sitting, key: str, by_mm: float, *, let_go: bool = True) -> None:
    """A grip dragged so far along its way, in five moves."""
    made = tool(sitting)
    one = made.grips[grip(sitting, key)]
    start = made.on_table(sitting.state, one)
    a = sitting.state.stage.table_from_piece(made.placement(sitting.state, one))[:2, :2]
    way = a @ (one.way / np.hypot(*one.way))

    def at(mm: float) -> tuple[float, float]:
        x, y = sitting.state.stage.calibration.to_projector((start + mm * way)[None])[0]
        return float(x), float(y)

    sitting.pointer("down", *at(0.0))
    for share in np.linspace(0.2, 1.0, 5):
        sitting.pointer("move", *at(share * by_mm))
        sitting.frame()
    if let_go:
        sitting.pointer("up", *at(by_mm))
        sitting.frame()


def length_mm(sitting: Sitting) -> float:
    """How long the front is on the cloth."""
    return float(np.ptp(sitting.state.docket.pieces()["front"].sewing_line[:, 1]))


def test_the_hem_is_pulled_and_the_docket_says_so(path: Path) -> None:
    """Pulled in by 60 mm: both pieces are shorter at once, and after 'Done' and again the file is."""
    sitting = sit(path)
    before, tall = length_mm(sitting), sitting.state.stage.faces["back"].outline[:, 1].min()
    sitting.do("shape")
    pull(sitting, "style.length", -60.0)
    assert length_mm(sitting) == pytest.approx(before - 60.0, abs=1.5)
    assert sitting.state.stage.faces["back"].outline[:, 1].min() == pytest.approx(
        tall + 60.0, abs=2.0
    )
    assert "54 cm" not in path.read_text() and "540 mm" in path.read_text()
    sitting.do("leave")
    assert sitting.state.tool is None
    sitting.close()
    again = Docket.load(path)
    assert again.garment["style"]["length"] == "480 mm"  # type: ignore[index]
    assert "shaping" not in again.table
    assert "# Dark green cotton" in path.read_text()  # her comments stay
    assert not list(path.parent.glob(".*journal"))


def test_no_grip_lies_under_the_strip() -> None:
    """A dress fills the beam: the strip goes where it covers no grip, or shrinks, so each can be taken."""
    read = Docket.load(shipped("styles", "gala-dress.yaml"))
    assert read.cloth is not None
    cloth = replace(read.cloth, length_mm=None)
    lay = plan(list(read.pieces().values()), cloth, seconds=0).docket_placements()
    sitting = Sitting(read.replace(lay=lay, cloth=cloth), projector((1920, 1080), 1500.0))
    sitting.do("shape")
    sitting.frame()
    strip, stage = sitting.compositor.shown.strip, sitting.state.stage
    assert strip is not None
    ground = shapely.Polygon(strip.ground_mm)
    spots = [tool(sitting).on_table(sitting.state, g) for g in tool(sitting).grips]
    lit = [p for p in spots if stage.lens.covers(p[None])[0]]
    assert lit and not any(ground.contains(shapely.Point(p)) for p in lit)
    sitting.close()


def test_the_strip_stands_still_while_a_grip_is_pulled(path: Path) -> None:
    """No button moves and nothing of the strip is painted anew until the hand lets go."""
    sitting = sit(path)
    sitting.do("shape")
    sitting.frame()
    pull(sitting, "style.length", 5.0, let_go=False)
    strip, painted = sitting.compositor.shown.strip, sitting.compositor._painted["strip"][1]
    pull(sitting, "style.length", -150.0, let_go=False)
    assert sitting.compositor.shown.strip is strip
    assert sitting.compositor._painted["strip"][1] is painted
    sitting.do("away")
    sitting.pointer("up", 0.0, 0.0)
    sitting.do("lines")
    sitting.frame()
    assert sitting.compositor.shown.strip is not strip
    sitting.close()


def test_why_it_stops_is_told_while_the_hand_pulls(path: Path) -> None:
    """At a limit the word why stands on the strip at once, though the strip else keeps still in a pull."""
    sitting = sit(path)
    sitting.do("shape")
    sitting.frame()
    pull(sitting, "style.length", 5.0, let_go=False)
    pull(sitting, "style.length", -900.0, let_go=False)
    sitting.frame()
    strip, message = sitting.compositor.shown.strip, sitting.state.message.text
    assert message and strip is not None
    lines = words.lines(sitting.state)
    assert strip.rows >= strip.rows_needed(lines)
    shown = " ".join(f.text for f in strip.figures(lines))
    assert message.split(".")[0] in shown
    sitting.close()


def test_a_power_cut_in_the_middle_loses_nothing(path: Path) -> None:
    """Killed with a pull under way that was let go: opened again it is as pulled, still to be taken
    or put back; the docket's garment is not touched meanwhile."""
    sitting = sit(path)
    sitting.do("shape")
    pull(sitting, "style.front_neck_depth", 40.0)
    deep = sitting.state.docket.pieces()["front"].edges["neckline"].length_mm
    assert sitting.journal is not None
    pull_the_plug(sitting.journal)
    assert Docket.load(path).garment["style"] == {"length": "540 mm"}  # type: ignore[index]
    again = sit(path)
    assert isinstance(again.state.tool, ShapeTool)
    assert again.state.docket.pieces()["front"].edges["neckline"].length_mm == pytest.approx(deep)
    again.do("drop")
    again.do("leave")
    again.close()
    assert Docket.load(path).garment["style"] == {"length": "540 mm"}  # type: ignore[index]


def test_undo_redo_and_as_it_was(path: Path) -> None:
    """Each pull is one step; 'As it was' brings the base back, and even that can be undone."""
    sitting = sit(path)
    start = length_mm(sitting)
    sitting.do("shape")
    for by in (-30.0, -20.0):
        pull(sitting, "style.length", by)
    both = length_mm(sitting)
    assert both == pytest.approx(start - 50.0, abs=2.0)
    sitting.do("undo")
    assert length_mm(sitting) == pytest.approx(start - 30.0, abs=1.5)
    sitting.do("redo")
    assert length_mm(sitting) == both
    sitting.do("drop")
    assert length_mm(sitting) == start
    sitting.do("undo")
    assert length_mm(sitting) == both


def test_keys_and_typing_do_the_same(path: Path) -> None:
    """Tab to the length, three times 'away': 3 mm; '62', Enter: 62 cm; past the limit it is told."""
    sitting = sit(path)
    sitting.do("shape")
    for _ in range(20):
        if tool(sitting).grip.key == "style.length":
            break
        sitting.key("tab")
    for _ in range(3):
        sitting.key("up")
    assert tool(sitting).grip.value_mm == 543.0
    for name in "62":
        sitting.key(name)
    assert "62 _" in " ".join(words.lines(sitting.state))
    sitting.key("return")
    assert tool(sitting).grip.value_mm == 620.0
    for name in "999":
        sitting.key(name)
    sitting.key("return")
    assert tool(sitting).grip.value_mm == 620.0
    assert "30 cm to 130 cm" in " ".join(words.lines(sitting.state))
    sitting.key("escape")
    assert sitting.state.tool is None and sitting.running


def test_typing_what_it_is_already_is_no_step(path: Path) -> None:
    """54 cm typed on 54 cm: the typing is done with, and there is nothing to undo."""
    sitting = sit(path)
    sitting.do("shape")
    while tool(sitting).grip.key != "style.length":
        sitting.key("tab")
    for name in ("5", "4", "return"):
        sitting.key(name)
    assert tool(sitting).grip.value_mm == 540.0
    assert tool(sitting).text == "" and not tool(sitting).past


def test_a_pull_stops_at_its_limit_with_a_word(path: Path) -> None:
    """Pulled far past it the neckline stops at the option's limit, and the strip says which."""
    sitting = sit(path)
    sitting.do("shape")
    pull(sitting, "style.front_neck_depth", 900.0, let_go=False)
    said = " ".join(words.lines(sitting.state))
    assert "front neck depth" in said or "No farther" in said
    value = tool(sitting).grip.value_mm
    assert value <= 320.0
    sitting.pointer("up", 10.0, 10.0)
    assert all(np.isfinite(p.sewing_line).all() for p in sitting.state.docket.pieces().values())


def test_chalk_of_the_old_line_is_told_and_its_mark_goes(path: Path) -> None:
    """With the front traced a pull says so, and 'Done' takes the mark off what has changed."""
    sitting = sit(path)
    sitting.do("trace")
    while sitting.state.current != "front/1":
        sitting.do("next")
    sitting.do("go-on")
    sitting.do("arrange")
    assert "front/1" in sitting.state.work.traced
    sitting.do("shape")
    pull(sitting, "style.length", -20.0)
    assert "chalk of front" in " ".join(words.lines(sitting.state))
    sitting.do("leave")
    assert "front/1" not in sitting.state.work.traced
    sitting.close()


def test_kept_as_new_leaves_this_one_as_it_was(path: Path) -> None:
    """The changed garment goes into a file of its own; the docket and its table are as before."""
    sitting = sit(path)
    start = length_mm(sitting)
    sitting.do("shape")
    pull(sitting, "style.length", -50.0)
    sitting.do("keep-as")
    assert sitting.state.tool is None and length_mm(sitting) == start
    sitting.close()
    assert Docket.load(path).garment["style"] == {"length": "540 mm"}  # type: ignore[index]
    new = Docket.load(path.with_name("top-2.yaml"))
    assert new.garment["style"]["length"] == "490 mm" and len(new.lay) == 2  # type: ignore[index]
    assert new.pieces()


def test_a_garment_changed_elsewhere_meanwhile_is_not_written_over(path: Path) -> None:
    """An editor's hand on the garment while she pulls: refused and told, both are there."""
    sitting = sit(path)
    sitting.do("shape")
    pull(sitting, "style.length", -50.0)
    path.write_text(path.read_text().replace("540 mm", "600 mm"))
    sitting.do("leave")
    assert "changed elsewhere" in " ".join(words.lines(sitting.state))
    assert Docket.load(path).garment["style"]["length"] == "600 mm"  # type: ignore[index]
    assert sitting.journal is not None
    pull_the_plug(sitting.journal)
    again = sit(path)
    assert isinstance(again.state.tool, ShapeTool)  # still hers to take or to leave
    pull_the_plug(again.journal)  # type: ignore[arg-type]


def press(sitting: Sitting, piece: str, at_mm: tuple[float, float]) -> None:
    """The pointer pressed at a place of a piece, piece mm."""
    p = next(p for p in sitting.state.work.placed() if p.piece == piece)
    a = sitting.state.stage.table_from_piece(p)
    table = a[:2, :2] @ np.array(at_mm) + a[:2, 2]
    x, y = sitting.state.stage.calibration.to_projector(table[None])[0]
    sitting.pointer("down", float(x), float(y))
    sitting.pointer("up", float(x), float(y))
    sitting.frame()


def half_way(sitting: Sitting, piece: str, edge: str) -> tuple[float, float]:
    """The middle of an edge, piece mm."""
    points = sitting.state.docket.pieces()[piece].edges[edge].points
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    x, y = (float(np.interp(along[-1] / 2, along, points[:, k])) for k in (0, 1))
    return x, y


def test_a_yoke_is_cut_with_two_presses(path: Path) -> None:
    """Armhole to fold: the front is two pieces where it lay, sewn to each other; undone, cut again,
    kept, and after a power cut in between nothing is lost; the docket says it in trade words."""
    sitting = sit(path)
    sitting.do("shape")
    sitting.do("cut-here")
    press(sitting, "front", half_way(sitting, "front", "armhole"))
    press(sitting, "front", (0.0, half_way(sitting, "front", "armhole")[1]))
    new = {"upper front", "lower front"}
    assert new <= set(sitting.state.docket.pieces()), sitting.state.message
    laid = {p.piece: p for p in sitting.state.work.placed()}
    assert new <= set(laid) and "front" not in laid
    assert all(laid[n].at == (620.0, 0.0) and laid[n].mirrored for n in new)
    sitting.do("undo")
    assert "front" in sitting.state.docket.pieces()
    assert {p.piece for p in sitting.state.work.placed()} == {"front", "back"}
    sitting.do("redo")
    assert new <= {p.piece for p in sitting.state.work.placed()}
    assert sitting.journal is not None
    pull_the_plug(sitting.journal)
    assert {p.piece for p in Docket.load(path).lay} == {"front", "back"}
    again = sit(path)
    assert isinstance(again.state.tool, ShapeTool)
    assert new <= {p.piece for p in again.state.work.placed()}
    pull(again, "style.length", -40.0)
    again.do("leave")
    again.do("trace")
    assert again.state.current is not None
    again.do("go-on")
    again.close()
    read = Docket.load(path)
    (change,) = read.garment["changes"]  # type: ignore[index]
    assert change["cut"] == "front" and {change["from"], change["to"]} & {"armhole 1/2"}
    assert read.garment["style"]["length"] == "500 mm"  # type: ignore[index]
    assert new <= {p.piece for p in read.lay} and read.traced
    edges = [read.pieces()[n] for n in ("upper front", "lower front")]
    shared = set(edges[0].edges) & set(edges[1].edges) - {"fold", "armhole"}
    lengths = {
        round(e.edges[s].length_mm, 2) for e in edges for s in shared if "cut" in s or "seam" in s
    }
    assert len(lengths) == 1
    assert sit(path).state.tool is None


def test_a_spread_opens_the_edge_that_was_pressed_first(path: Path) -> None:
    """Hem to shoulder, by 2 cm: the hem is 20 mm longer, the shoulder as it was."""
    sitting = sit(path)
    sitting.do("shape")
    before = sitting.state.docket.pieces()["front"].edges
    sitting.do("spread-here")
    press(sitting, "front", half_way(sitting, "front", "hem"))
    press(sitting, "front", half_way(sitting, "front", "shoulder"))
    after = sitting.state.docket.pieces()["front"].edges
    assert after["hem"].length_mm == pytest.approx(before["hem"].length_mm + 20.0, abs=1.5)
    assert after["shoulder"].length_mm == pytest.approx(before["shoulder"].length_mm, abs=20.5)
    sitting.do("drop")
    assert sitting.state.docket.pieces()["front"].edges["hem"].length_mm == before["hem"].length_mm


def test_what_cannot_be_done_is_said_and_changes_nothing(path: Path) -> None:
    """A press on nothing asks again; a cut along one edge is refused; Esc leaves the pointing first."""
    sitting = sit(path)
    sitting.do("shape")
    before = sitting.state.docket
    sitting.do("cut-here")
    press(sitting, "front", (120.0, -300.0))
    assert "Nothing to take there" in " ".join(words.lines(sitting.state))
    x, y = half_way(sitting, "front", "hem")
    press(sitting, "front", (x, y))
    press(sitting, "front", (x + 30.0, y + 1.0))
    assert sitting.state.docket is before
    assert "Not so" in " ".join(words.lines(sitting.state))
    sitting.do("dart-here")
    press(sitting, "front", (x, y))
    assert "Nothing to take there" in " ".join(words.lines(sitting.state))
    sitting.key("escape")
    assert isinstance(sitting.state.tool, ShapeTool) and tool(sitting).op == ""
    sitting.key("escape")
    assert sitting.state.tool is None


@pytest.mark.parametrize("way", ["leave", "keep-as"])
def test_a_disk_that_refuses_takes_nothing_away(
    path: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    """A cut that cannot be saved stays in her hands and is told; after a power cut it is there still,
    and once the disk takes it 'Done' does what it did not."""
    sitting = sit(path)
    sitting.do("shape")
    sitting.do("cut-here")
    press(sitting, "front", half_way(sitting, "front", "armhole"))
    press(sitting, "front", (0.0, half_way(sitting, "front", "armhole")[1]))
    with monkeypatch.context() as full:

        def refuse(*_: object) -> None:
            raise InputError(Fault("top.yaml", "cannot be written: no room is left."))

        full.setattr(Docket, "save", refuse)
        sitting.do(way)
        assert "no room is left" in " ".join(words.lines(sitting.state))
        assert tool(sitting).changed or "upper front" in sitting.state.docket.pieces()
        assert sitting.journal is not None
        sitting.frame()
        pull_the_plug(sitting.journal)
    again = sit(path)
    assert "upper front" in {p.piece for p in again.state.work.placed()}
    again.do("leave")
    assert again.state.tool is None
    again.close()
    assert "upper front" in {p.piece for p in Docket.load(path).lay}


@pytest.mark.parametrize("action", ["aside", "lock", "plan", "trace", "bays", "turn", "align"])
def test_while_she_shapes_pieces_stay_where_they_lie(path: Path, action: str) -> None:
    """What would move them, put them aside or trace them waits, in words; the picture goes on."""
    sitting = sit(path)
    sitting.do("next")
    sitting.do("shape")
    before = sitting.state.work
    sitting.do(action)
    sitting.frame()
    assert sitting.state.work == before and sitting.state.mode == "arrange"
    assert "First take what is shaped" in " ".join(words.lines(sitting.state))
    sitting.do("more")
    sitting.frame()
    sitting.key("escape")
    assert isinstance(sitting.state.tool, ShapeTool)


def test_imported_pieces_cannot_be_shaped() -> None:
    """Said in words, and nothing opens."""
    sitting = Sitting(imported(), projector((960, 540)))
    sitting.do("shape")
    assert sitting.state.tool is None
    assert "imported" in " ".join(words.lines(sitting.state))


@pytest.mark.parametrize(
    "held",
    [
        7,
        "x",
        {"garment": 3},
        {"garment": {"block": "nothing"}, "lay": []},
        {"garment": {"block": "quick-top", "style": {"length": "-4 mm"}}, "lay": []},
        {"garment": {"block": "quick-top"}, "lay": [{"piece": 3}]},
    ],
)
def test_a_note_that_is_none_is_left(path: Path, held: object) -> None:
    """What is kept of a shaping and cannot be drafted is told and dropped."""
    read = Docket.load(path)
    sitting = Sitting(read.replace(table={"shaping": held}), projector((960, 540), 1500.0))
    assert sitting.state.tool is None
    assert "shaping" not in sitting.state.settings()


def test_a_top_is_made_another_on_the_cloth_from_its_length_to_its_sleeve(tmp_path: Path) -> None:
    """Shortened, its neck deepened, a yoke cut, the sleeve that is sewn on widened, all by pulls and
    presses; saved, opened again, traced: the docket says all four, every seam is trued, the light is
    of the new lines and every piece is marked."""
    text = shipped("dockets", "rehearsal-top.yaml").read_text()
    text = text.replace("../measurements/alto-3.yaml", str(shipped("measurements", "alto-3.yaml")))
    text = text.replace(
        "block: quick-top\n", "block: quick-top\n  with: [{block: set-in-sleeve}]\n"
    )
    text = text.replace("fold: double", "fold: lengthwise").replace("width: 1400", "width: 2200")
    lay = [*LAY, {"piece": "sleeve", "copy": 1, "at": [300, 460], "turn": 0}]
    path = tmp_path / "top.yaml"
    path.write_text(text + "lay: " + str(yaml.safe_dump(lay, default_flow_style=True)))
    sitting = sit(path)
    before = sitting.state.docket.pieces()
    sitting.do("shape")
    pull(sitting, "style.length", -60.0)
    pull(sitting, "style.front_neck_depth", 30.0)
    pull(sitting, "with[0].fit.upper arm", 12.0)
    sitting.do("cut-here")
    press(sitting, "front", half_way(sitting, "front", "armhole"))
    press(sitting, "front", (0.0, half_way(sitting, "front", "armhole")[1]))
    after = sitting.state.docket.pieces()
    assert {"upper front", "lower front", "back", "sleeve"} == set(after), sitting.state.message
    sitting.do("leave")
    assert sitting.state.tool is None
    sitting.close()

    read = Docket.load(path)
    garment = read.garment or {}
    assert garment["style"]["length"] == "480 mm" and "front_neck_depth" in garment["style"]
    assert [c["cut"] for c in garment["changes"]] == ["front"]
    (widened,) = garment["with"][0]["fit"]
    assert widened["change"] == "upper arm"
    assert all(c.ok for c in read.draft().checks())
    assert np.ptp(read.pieces()["sleeve"].sewing_line[:, 0]) > (
        np.ptp(before["sleeve"].sewing_line[:, 0]) + 5.0
    )
    assert np.ptp(read.pieces()["back"].sewing_line[:, 1]) < (
        np.ptp(before["back"].sewing_line[:, 1]) - 55.0
    )
    assert "# Dark green cotton" in path.read_text()

    again = sit(path)
    assert again.state.tool is None
    again.do("trace")
    keys = {p.key for p in again.state.work.placed()}
    for _ in range(40):
        if again.state.current is None:
            if keys <= set(again.state.work.traced):
                break
            again.do("next-bay")
            break
        again.do("go-on")
    again.close()
    assert set(Docket.load(path).traced) == keys
    assert {k.partition("/")[0] for k in keys} == set(after)
