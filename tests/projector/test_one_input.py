"""The whole job with a mouse alone and with a presenter alone, in the real window and its loop."""

from __future__ import annotations

import os
import time
from pathlib import Path

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")

import numpy as np
import pytest
import yaml
from numpy.typing import NDArray
from person import Person, by_mouse, by_presenter, goes
from table_rig import DATA, docket, projector

from drafting.docket import Docket
from projector.first_light.light import FirstLight
from projector.first_light.rooms import Bars, Done, Pattern, Photo, Start, Tape

SIZE = (1024, 768)


@pytest.fixture
def top(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The docket of the tests as a file, an empty home, the dummy driver."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("projector.first_light.beside._LOOK_S", 0.05)
    monkeypatch.setattr("projector.first_light.beside._SETTLED_S", 0.2)
    (tmp_path / "top.yaml").write_text(yaml.safe_dump(DATA, sort_keys=False))
    return tmp_path / "top.yaml"


def off_by(person: Person, truth: NDArray[np.float64], px: NDArray[np.float64]) -> float:
    """mm: the largest error of a distance between places of the picture, (N, 2) px."""
    mine = person.shown.state.calibration.to_table(px)
    gaps = [
        np.hypot(*(mine[i] - mine[j])) - np.hypot(*(truth[i] - truth[j]))
        for i in range(len(px))
        for j in range(i)
    ]
    return float(np.abs(gaps).max())


PX = np.array([[40.0, 30.0], [980.0, 40.0], [950.0, 740.0], [60.0, 730.0], [512.0, 384.0]])


def test_with_a_mouse_alone(top: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From first light by tape to the last traced piece and out: every press is the mouse's, and the
    calibration that comes of it is true."""
    real = projector(SIZE, 1180.0, k1=0.0)
    mouse = Person(by_mouse(real.to_table))
    goes(mouse, top, monkeypatch)
    assert {p.split()[0] for p in mouse.presses} == {"mouse"}
    assert set(Docket.load(top).traced) == {"front/1", "sleeve/1", "neck-facing/1"}
    assert off_by(mouse, real.to_table(PX), PX) < 1.5


def test_with_a_presenter_alone(top: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From first light by photo to the last traced piece and out with forward, back, black and Esc, and
    the calibration that comes of it is true."""
    import cv2

    from calibrate.pattern import pattern_for
    from calibrate.simulate import VirtualCamera, VirtualTable
    from projector.demo import lay_cards

    table = VirtualTable.random(4, SIZE, beam_width_mm=1100.0)
    table = table.with_sheets(lay_cards(table, pattern_for(SIZE), 4))

    def photographed(glass: NDArray[np.uint8]) -> None:
        photo = table.photograph(glass, VirtualCamera.phone(4, table.beam_mm(), (2016, 1512)), 4)
        cv2.imwrite(str(top.parent / "IMG_0042.jpg"), photo[:, :, ::-1])

    presenter = Person(by_presenter(photographed))
    goes(presenter, top, monkeypatch)
    assert {p.split()[0] for p in presenter.presses} == {"presenter"}
    assert set(Docket.load(top).traced) == {"front/1", "sleeve/1", "neck-facing/1"}
    assert off_by(presenter, table.projector.to_table(PX), PX) < 1.5


@pytest.mark.parametrize("black", [".", "b"])
@pytest.mark.parametrize("page", ["start", "photo", "tape", "bars", "done"])
def test_a_presenter_reaches_every_button_of_first_light(
    page: str, black: str, tmp_path: Path
) -> None:
    """Black marks one, forward and back go round over all of them; black again presses it, and on
    pages for typing the mark stays for the next digit; a key takes the mark away and types."""
    light = FirstLight(docket(), SIZE, "display 1", [tmp_path], may_look=True)
    light.solved = projector(SIZE)
    light.go({r.name: r for r in (Start, Photo, Tape, Bars, Done)}[page]())
    light.key("b")  # where a point is a digit only this one begins
    keys = [key for key, _, _ in light.buttons()]
    seen = []
    for _ in keys:
        assert light.marked is not None
        seen.append(keys[light.marked])
        light.key("page down")
    light.frame()
    assert seen == keys and light.marked == 0
    light.key("page up")
    assert light.marked == len(keys) - 1
    if page in ("tape", "bars"):
        while keys[light.marked] != "4":
            light.key("page up")
        light.key(black)
        light.key(black)
        assert light.room.typed == "44" and light.marked is not None
        light.key("5")
        light.key(".")
        assert light.room.typed == "445." and light.marked is None
    else:
        while keys[light.marked] != "escape":
            light.key("page up")
        light.key(black)
        assert light.page == "start" or "once more" in light.said


def test_a_file_that_is_no_photo_is_told_and_survived(tmp_path: Path) -> None:
    """Back on the page of the photo, in words for a person."""
    light = FirstLight(docket(), SIZE, "display 1", [tmp_path], room=Pattern())
    (tmp_path / "cat.png").write_bytes(b"\x89PNG not a picture")
    end = time.monotonic() + 30.0
    while light.page != "photo":
        light.tick(time.monotonic())
        time.sleep(0.02)
        assert time.monotonic() < end
    assert light.said and "could not be solved (" not in light.said
