"""Every action has a pointer way: her hands may be full of cloth, the keyboard across the room."""

from __future__ import annotations

import numpy as np
import pytest
from table_rig import crowd, docket, leave_unpainted, projector, single_cloth

from projector.session import actions, words
from projector.session.planning import Found
from projector.session.registry import ACTIONS
from projector.session.sitting import Sitting
from projector.session.state import Plan

BUTTON = "the strip's button"


@pytest.fixture(autouse=True)
def unpainted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where buttons lie and what they do is asked here, never a pixel."""
    leave_unpainted(monkeypatch)


def press(sitting: Sitting, action: str) -> None:
    """A button, on the page or on the strip, pressed by pointer in its middle."""
    shown = sitting.state.shown
    assert shown.strip is not None
    middle = {**shown.strip.buttons, **shown.pads}[action].mean(axis=0)
    for kind in ("down", "up"):
        sitting.pointer(kind, *sitting.state.calibration.to_projector(middle[None])[0])
    sitting.frame()


def seen_buttons(sitting: Sitting) -> list[str]:
    """Every button of the strip and of the page of everything, turned over by pointer to its end."""
    sitting.frame()
    strip = sitting.state.shown.strip
    assert strip is not None
    found: list[str] = []
    on_strip = [name for name in strip.buttons if name != "more"]
    for _ in range(30):
        press(sitting, "more")
        if sitting.state.page != "all":
            assert sitting.state.shown.strip is not None
            assert list(sitting.state.shown.strip.buttons) == list(strip.buttons)
            return [*on_strip, *found]
        quads = list(sitting.state.shown.pads.values())
        assert sitting.state.stage.lens.covers(np.concatenate(quads)).all()
        found += sitting.state.shown.pads
    raise AssertionError("'All' never came round")


@pytest.mark.parametrize("beam_mm", [1300.0, 750.0])
@pytest.mark.parametrize("mode", ["arrange", "trace"])
def test_every_button_that_is_promised_is_on_the_strip(mode: str, beam_mm: float) -> None:
    """Where the registry says 'the strip's button', the strip has it, on any beam."""
    sitting = Sitting(docket(), projector((960, 540), beam_mm))
    sitting.frame()
    if mode == "trace":
        sitting.do("trace")
    found = seen_buttons(sitting)
    on_page = found[len(found) - len(sitting.state.shown.pads) :]
    assert len(on_page) == len(set(on_page))
    of_parts = {
        "cut-here",
        "spread-here",
        "dart-here",
        "next-bay",
        "previous-bay",
        "keep-fit",
        "point-again",
        "keep-as",
    }  # on the tools' own
    of_a_plan = {"take", "drop"}  # on the plan's
    promised = {
        a.name
        for a in ACTIONS.values()
        if mode in a.modes and BUTTON in a.pointer and a.name not in of_parts | of_a_plan
    }
    promised -= {mode, "more"}  # where one is already
    if mode == "arrange":
        promised -= {"go-on", "go-back"}  # there they are 'Trace' and 'Undo'
    assert promised <= set(found)


def test_a_button_from_the_further_row_works() -> None:
    """'Redo', found on the page of everything, does what the key does."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.frame()
    before = sitting.state.work.lay
    sitting.do("next")
    sitting.do("turn")
    turned = sitting.state.work.lay
    sitting.do("undo")
    assert sitting.state.work.lay == before
    sitting.frame()
    press(sitting, "more")
    press(sitting, "redo")
    assert sitting.state.work.lay == turned != before
    assert sitting.state.page == ""


def test_buttons_have_words() -> None:
    """Nothing that may stand on the strip is without a word on it."""
    assert {a.name for a in ACTIONS.values() if not a.words} == {"go-on", "go-back", "choose"}


# What a presenter sends: its two large buttons, and its black one, "." or "b".
@pytest.mark.parametrize("black", [".", "b"])
@pytest.mark.parametrize("wanted", ["work-light", "redo", "quit", "turn-over"])
def test_a_presenter_reaches_everything(black: str, wanted: str) -> None:
    """With forward, back and the black button alone any action is done; forward again and again ends."""
    sitting = Sitting(docket(), projector((960, 540), 750.0))
    sitting.frame()
    sitting.key(black)
    for _ in range(80):
        sitting.frame()
        if actions.ways.marked(sitting.state) == wanted:
            break
        sitting.key("page down")
    assert sitting.state.page == "all"
    sitting.key("page down")
    sitting.frame()
    sitting.key("page up")
    sitting.frame()
    assert actions.ways.marked(sitting.state) == wanted
    sitting.key(black)
    assert sitting.state.page == ("light" if wanted == "work-light" else "")
    assert sitting.running == (wanted != "quit")


def test_the_black_button_twice_is_dark() -> None:
    """What it is for on a presenter is its first place: pressed twice the beam is dark."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.frame()
    sitting.key("b")
    sitting.frame()
    sitting.key("b")
    assert sitting.state.page == "dark"


def test_arrows_find_their_way_on_the_page_of_everything() -> None:
    """Arrows mark the next and the next group's button, Return does it, Esc closes and does nothing."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.frame()
    before = sitting.state.work
    sitting.key("f2")
    sitting.frame()
    names = list(sitting.state.shown.pads)
    sitting.key("right")
    sitting.frame()
    assert actions.ways.marked(sitting.state) == names[1]
    sitting.key("down")
    sitting.frame()
    assert actions.ways.marked(sitting.state) == "next"
    sitting.key("up")
    sitting.frame()
    assert actions.ways.marked(sitting.state) == names[0]
    sitting.key("escape")
    assert sitting.state.page == "" and sitting.running and sitting.state.work == before
    sitting.key("f2")
    sitting.frame()
    sitting.key("down")
    sitting.frame()
    sitting.key("return")
    assert sitting.state.chosen is not None  # 'next' was done


def test_a_mouse_alone_nudges_by_a_millimetre() -> None:
    """Picked, 'All', 'Nudge', 'Right': 1 mm to her right; a presenter repeats it and goes back."""
    sitting = Sitting(single_cloth(), projector((960, 540)))
    sitting.do("next")
    key = sitting.state.chosen
    sitting.frame()
    start = sitting.state.work.of(key).at  # type: ignore[union-attr]
    for name in ("more", "nudge", "right"):
        press(sitting, name)

    def moved() -> float:
        now = sitting.state.work.of(key)
        assert now is not None
        return float(np.hypot(now.at[0] - start[0], now.at[1] - start[1]))

    assert moved() == pytest.approx(1.0)
    sitting.key("page down")
    assert moved() == pytest.approx(2.0)
    sitting.key("page up")
    sitting.key("page up")
    assert moved() == pytest.approx(0.0, abs=1e-9)
    press(sitting, "leave")
    assert sitting.state.tool is None and sitting.running


def test_a_plan_that_arrives_moves_no_button() -> None:
    """'Take' and 'Drop' come at the strip's other end: every other button stands where it stood."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.frame()
    before = dict(sitting.state.shown.strip.buttons)  # type: ignore[union-attr]
    best = Found(sitting.state.work.lay, 1234.0, 0.5)
    sitting.state = sitting.state.but(plan=Plan((), best))
    sitting.repaint()
    sitting.frame()
    after = sitting.state.shown.strip.buttons  # type: ignore[union-attr]
    assert set(after) - set(before) == {"take", "drop"}
    for name, box in before.items():
        assert np.array_equal(after[name], box), name


def test_the_strip_turns_to_a_left_hand() -> None:
    """With the other hand the first button lies at the other end, and the docket keeps it."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.frame()
    right = sitting.state.shown.strip.buttons["trace"]  # type: ignore[union-attr]
    sitting.do("hand")
    sitting.frame()
    left = sitting.state.shown.strip.buttons["trace"]  # type: ignore[union-attr]
    assert left[:, 0].min() > right[:, 0].max() + 300.0
    again = Sitting(docket(table=sitting.state.settings()), projector((960, 540)))
    again.frame()
    assert np.allclose(again.state.shown.strip.buttons["trace"], left)  # type: ignore[union-attr]


def test_a_hidden_strip_still_says_what_is_not_saved() -> None:
    """Hidden by hand, the words that something is not saved stand on the table all the same."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.do("strip")
    sitting.frame()
    assert sitting.state.shown.strip is None
    sitting.state = sitting.state.but(not_saved="NOT SAVED: the journal is full")
    sitting.repaint()
    sitting.frame()
    strip = sitting.state.shown.strip
    assert strip is not None and set(strip.buttons) == {"strip"}
    told = " ".join(f.text for f in strip.figures(words.lines_for(sitting.state, strip)))
    assert "NOT SAVED" in told


@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_row_is_traced_away_from_her_hand(hand: str) -> None:
    """The right hand begins a row at its left, the left hand at its right: none rests on fresh chalk."""
    sitting = Sitting(crowd(), projector((1280, 720), 1500.0))
    if hand == "left":
        sitting.do("hand")
    sitting.do("trace")
    first = sitting.state.work.of(sitting.state.current)
    assert first is not None
    row = [p.at[0] for p in sitting.state.work.placed() if p.at[1] == first.at[1]]
    assert len(row) == 9 and first.at[0] == (min(row) if hand == "right" else max(row))
