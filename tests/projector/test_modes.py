"""A new mode of the table is a file of its own and a line in the registry: here a toy one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import FrozenInstanceError, dataclass, replace

import numpy as np
import pytest
from table_rig import docket, projector

from projector.picture.marks import Item, circle
from projector.session import words
from projector.session.registry import ACTIONS, Action, Row
from projector.session.sitting import Sitting
from projector.session.state import State
from projector.tools.protocol import Tool, opens

ROW = Row("pins", ("unpin", "leave", "help"), words={"leave": "Done"})


@dataclass(frozen=True, eq=False)
class Pins(Tool):
    """Pins stuck where she presses."""

    ROW = ROW

    at: tuple[tuple[float, float], ...] = ()

    def says(self, state: State) -> str:
        return f"{len(self.at)} pins"

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        return "faint", ("pinned",) if self.at else ()

    def clear_of(self, state: State) -> np.ndarray:
        return np.array(self.at).reshape(-1, 2)

    def items(self, state: State) -> Sequence[Item]:
        mark = state.stage.mark("strong", [circle(0.0, 0.0, 9.0)])
        return [
            Item(f"pin {i}", (mark,), state.stage.reading_frame(p)) for i, p in enumerate(self.at)
        ]

    def press(self, state: State, at: np.ndarray) -> State:
        pins = (*self.at, (float(at[0]), float(at[1])))
        return state.but(tool=replace(self, at=pins)).keep(pins=len(pins))

    def do(self, state: State, action: str) -> State | None:
        if action == "unpin":
            return state.but(tool=replace(self, at=self.at[:-1]))
        return state.but(tool=None) if action == "leave" else None


def open_pins(state: State) -> State:
    return state.but(tool=Pins())


def unpin(state: State, large: bool) -> State:
    return state.tell("No pins.")


@pytest.fixture
def pins() -> Iterator[None]:
    """The toy mode, registered as long as the test runs."""
    ACTIONS.add(
        Action("pins", opens(open_pins), "Pins", ("f9",), "stick pins", ("arrange",)),
        Action("unpin", unpin, "Unpin", ("f10",), "take the last pin out", ("arrange",)),
    )
    ROW.checked()
    yield
    del ACTIONS["pins"]
    del ACTIONS["unpin"]


def test_a_toy_mode_is_whole_by_key_and_pointer(pins: None) -> None:
    """Opened by key, pressed, drawn, on the strip and the help page, kept in the docket, closed."""
    tool: Tool = Pins()
    assert tool.row is ROW
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.frame()
    before = sitting.canvas.copy()
    sitting.key("f9")
    sitting.pointer("down", 420.0, 200.0)
    sitting.pointer("up", 420.0, 200.0)
    sitting.frame()
    assert "1 pins" in words.lines(sitting.state)
    assert sitting.state.settings()["pins"] == 1
    assert set(sitting.state.shown.strip.buttons) == {"unpin", "leave", "help", "more"}  # type: ignore[union-attr]
    (pin,) = sitting.state.tool.items(sitting.state)  # type: ignore[union-attr]
    at = sitting.state.calibration.to_projector(
        pin.marks[0].points @ pin.table_from_item[:2, :2].T + pin.table_from_item[:2, 2]
    )
    x, y = at[0].round().astype(int)
    assert sitting.canvas[y - 1 : y + 2, x - 1 : x + 2].max() > 0x808080 > before[y, x]
    assert sitting.state.work == sitting.state.history.now  # no piece was taken
    box = sitting.state.shown.strip.buttons["unpin"]  # type: ignore[union-attr]
    sitting.pointer("down", *sitting.state.calibration.to_projector(box.mean(axis=0)[None])[0])
    assert "0 pins" in words.lines(sitting.state)
    sitting.key("h")
    sitting.frame()
    sitting.key("h")
    sitting.key("escape")
    assert sitting.state.tool is None and sitting.running
    sitting.state = sitting.state.but(pointer_mm=None)
    sitting.repaint()
    sitting.frame()
    assert np.array_equal(sitting.canvas, before)


def test_an_action_outside_its_mode_says_so(pins: None) -> None:
    """The registry's own step is what is done while no tool takes the action over."""
    sitting = Sitting(docket(), projector((960, 540)))
    sitting.key("f10")
    assert words.lines(sitting.state) == ("No pins.",)
    sitting.do("trace")
    sitting.do("next-bay")
    assert "bays" in words.lines(sitting.state)[0]


def test_a_state_is_a_value() -> None:
    """A change gives another state and leaves the one before; a field that is not there is refused."""
    state = Sitting(docket(), projector((960, 540))).state
    other = state.but(mode="trace", chosen="front/1")
    assert (state.mode, state.chosen) == ("arrange", None)
    assert (other.mode, other.chosen, other.history) == ("trace", "front/1", state.history)
    with pytest.raises(TypeError, match="no speed"):
        state.but(speed=1)
    with pytest.raises(FrozenInstanceError):
        state.mode = "trace"  # type: ignore[misc]
