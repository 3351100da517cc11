"""In every state of the table, at every size of the picture: texts are whole, apart and large enough."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from states import NO_STRIP, STATES, WIDTHS, Rig, made
from table_rig import leave_unpainted, remember_grips
from texts import Seen, Text, overlaps

from drafting.placement import carry
from projector.first_light.light import FirstLight
from projector.picture.edge import along_edge
from projector.session import actions


def painter_of(shown: Any) -> Any:
    """Whose canvas is on the beam."""
    return shown.picture.painter if isinstance(shown, FirstLight) else shown.compositor.painter


def lies_out(shown: Any, text: Text) -> bool:
    """Whether it is of a piece that reaches out of the light itself."""
    if isinstance(shown, FirstLight) or not text.item.startswith("piece:"):
        return False
    p = shown.state.work.of(text.item.removeprefix("piece:"))
    return p is not None and shown.state.stage.unlit(p) != ""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of what the states need as files, drafted once."""
    return tmp_path_factory.mktemp("states")


# in millimetres the largest picture differs little from the middle one: every fourth state does
ASKED = [
    pytest.param(name, size, id=f"{name}-{size[0]}x{size[1]}")
    for size in WIDTHS
    for name in list(STATES)[:: 4 if size[0] > 2000 else 1]
]


@pytest.mark.parametrize(("name", "size"), ASKED)
def test_texts_are_whole_and_apart(
    name: str, size: tuple[int, int], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No text leaves the picture, none lies on another, none but a piece's name half under something, none is smaller than
    8 mm; the strip is there in some form, but where the beam is dark, white or she has hidden it."""
    monkeypatch.setenv("CHALKBEAM_HOME", str(folder))
    remember_grips(monkeypatch)
    seen = Seen()
    seen.follow(monkeypatch)
    shown = made(name, Rig(size, folder))
    texts = [t for t in seen.texts(painter_of(shown)) if not lies_out(shown, t)]
    w, h = size
    rim = 1.5 * w / WIDTHS[size]  # 1.5 mm
    outside = [
        t.words for t in texts if (t.px < rim).any() or (t.px > np.array([w, h]) - rim).any()
    ]
    assert not outside, f"out of the picture: {outside}"
    half = [
        (t.words, round(t.covered, 2)) for t in texts if t.covered > 0.02 and "piece:" not in t.item
    ]
    assert not half, f"half under something: {half}"
    on = overlaps(texts)
    assert not on, f"one on the other: {on}"
    assert not [t.words for t in texts if t.height_mm < 7.9]
    if isinstance(shown, FirstLight):
        assert shown.picture.places or shown.page == "pattern"
    else:
        assert (shown.state.shown.strip is None) == (name in NO_STRIP)
        assert name in ("dark", "light") or seen.texts(painter_of(shown))
    if hasattr(shown, "close"):
        shown.close()


WAYS = [
    "bare", "drag", "tracing", "help", "all", "question", "bays-point", "align-half", "nudge",
    "height", "shape-pull", "shape-cut", "check", "hidden", "dark", "light", "plan",
]  # fmt: skip


@pytest.mark.parametrize("name", WAYS)
def test_every_state_has_a_way_out(
    name: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With Esc alone, a presenter's black, forward and back alone, and a mouse alone, the table is
    left from wherever she stands; never at the first press, unless that is 'Quit' itself."""
    remember_grips(monkeypatch)
    leave_unpainted(monkeypatch)
    shown = made(name, Rig((1280, 720), folder))
    start = shown.state
    for who in ("Esc", "black", "mouse"):
        shown.state = start
        shown.repaint()
        leave(shown, who, name)
        assert not shown.running, (name, who, shown.state.page, shown.state.tool)


def leave(shown: Any, who: str, name: str) -> None:
    """Presses until the table is left, 120 at most."""
    presses = 0

    def press(box: Any) -> None:
        x, y = shown.state.calibration.to_projector(box.mean(axis=0)[None])[0]
        for kind in ("move", "down", "up"):
            shown.pointer(kind, float(x), float(y))

    while shown.running and presses < 120:
        shown.frame()
        state, presses = shown.state, presses + 1
        strip = state.shown.strip
        if who == "Esc":
            shown.key("escape")
        elif who == "black":
            on_quit = state.page == "all" and actions.ways.marked(state) == "quit"
            shown.key("b" if state.page != "all" or on_quit else "page up")
        elif "quit" in state.shown.pads:
            press(state.shown.pads["quit"])
        elif strip is None:  # dark, light: anywhere; hidden: at her edge of the beam
            frame, length, _ = along_edge(state.stage, 20.0)
            press(carry(frame, np.array([[0.5 * length, 5.0]])))
        else:
            buttons = strip.buttons
            press(buttons["quit"] if "quit" in buttons else buttons["more"])
        if presses == 1 and name not in ("question", "all"):
            assert shown.running, who
