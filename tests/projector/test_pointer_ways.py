"""Every action has a pointer way: her hands may be full of cloth, the keyboard across the room."""

from __future__ import annotations

import pytest
from table_rig import docket, projector

from projector.session.registry import ACTIONS
from projector.session.sitting import Sitting

BUTTON = "the strip's button"


def seen_buttons(sitting: Sitting) -> list[str]:
    """Every button that pressing 'More' round to the beginning brings, pressed by pointer."""
    found: list[str] = []
    for _ in range(30):
        sitting.frame()
        strip = sitting.state.shown.strip
        assert strip is not None
        page = [name for name in strip.buttons if name != "more"]
        if found[: len(page)] == page:
            return found
        found += page
        middle = strip.buttons["more"].mean(axis=0)
        sitting.pointer("down", *sitting.state.calibration.to_projector(middle[None])[0])
        sitting.pointer("up", *sitting.state.calibration.to_projector(middle[None])[0])
    raise AssertionError("'More' never came round")


@pytest.mark.parametrize("beam_mm", [1300.0, 750.0])
@pytest.mark.parametrize("mode", ["arrange", "trace"])
def test_every_button_that_is_promised_is_on_the_strip(mode: str, beam_mm: float) -> None:
    """Where the registry says 'the strip's button', the strip has it, on any beam."""
    sitting = Sitting(docket(), projector((960, 540), beam_mm))
    sitting.frame()
    if mode == "trace":
        sitting.do("trace")
    found = seen_buttons(sitting)
    assert len(found) == len(set(found))
    of_parts = {"next-bay", "previous-bay", "keep-fit", "point-again"}  # on the bays' own strips
    of_a_plan = {"take", "drop"}  # on the plan's
    promised = {
        a.name
        for a in ACTIONS
        if mode in a.modes and BUTTON in a.pointer and a.name not in of_parts | of_a_plan
    }
    promised -= {mode, "more"}  # where one is already
    if mode == "arrange":
        promised -= {"go-on", "go-back"}  # there they are 'Trace' and 'Undo'
    assert promised <= set(found)


def test_a_button_from_the_further_row_works() -> None:
    """'Redo', found behind 'More', does what the key does."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.frame()
    before = sitting.state.work.lay
    sitting.do("next")
    sitting.do("turn")
    turned = sitting.state.work.lay
    sitting.do("undo")
    assert sitting.state.work.lay == before
    for _ in range(30):
        sitting.frame()
        assert sitting.state.shown.strip is not None
        box = sitting.state.shown.strip.buttons.get(
            "redo", sitting.state.shown.strip.buttons["more"]
        )
        done = "redo" in sitting.state.shown.strip.buttons
        sitting.pointer("down", *sitting.state.calibration.to_projector(box.mean(axis=0)[None])[0])
        if done:
            break
    assert sitting.state.work.lay == turned != before


def test_buttons_have_words() -> None:
    """Nothing that may stand on the strip is without a word on it."""
    nudges = {"away", "toward", "left", "right", "go-on", "go-back", "tilt-left", "tilt-right"}
    assert {a.name for a in ACTIONS if not a.words} <= nudges
