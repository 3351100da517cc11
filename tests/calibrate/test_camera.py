"""Frames from a camera: averaged, refused when something moves, and carried to a calibration."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rigs import Rig, make_rig, trueness

from calibrate import Calibration
from calibrate.camera import (
    DeviceSource,
    live_picture,
    look_for_cards,
    mean_frame,
    take_view,
)
from calibrate.detect import detect
from calibrate.photo import read_photo
from calibrate.simulate import VirtualSource
from calibrate.solve import solve
from configs.errors import Refusal
from projector.cli import main
from projector.commands.calibrate_live import LiveCommand


class Frames:
    """A source of frames from a list, again and again."""

    name, settle_seconds, stale = "frames", 0.0, 0

    def __init__(self, frames: list[np.ndarray]) -> None:
        self.frames, self.at = frames, -1

    def read(self) -> np.ndarray:
        self.at += 1
        return self.frames[self.at % len(self.frames)]

    def close(self) -> None:
        pass


class DummyBeam:
    """The projector's side of the live command, showing on the virtual table."""

    def __init__(self, source: VirtualSource) -> None:
        self.size, self.source = source.table.projector.size, source
        self.shown: list[np.ndarray] = []

    def show(self, rgb: np.ndarray) -> None:
        assert rgb.shape == (self.size[1], self.size[0], 3)
        self.shown.append(rgb)
        self.source.show(rgb)

    def wait(self, seconds: float) -> None:
        pass


@pytest.fixture(scope="module")
def rig() -> Rig:
    """A table of 0.8 m with a webcam over it and a projector whose colour wheel flickers."""
    return make_rig(
        5,
        "webcam",
        size=(1280, 720),
        beam_width_mm=800.0,
        wheel=0.3,
        camera={"samples": 1, "size": (1024, 576)},
        views=2,
    )


def test_the_mean_of_frames_is_their_mean() -> None:
    """Noise falls with the root of the number of frames, and each frame is told of."""
    rng = np.random.default_rng(1)
    frames = [rng.normal(120, 12, (90, 160, 3)).clip(0, 255).astype(np.uint8) for _ in range(25)]
    told: list[tuple[int, int]] = []
    mean = mean_frame(Frames(frames), 25, lambda i, n: told.append((i, n)))
    assert np.array_equal(mean, np.rint(np.mean(frames, axis=0)).astype(np.uint8))
    assert 1.9 < mean.std() < 2.9  # 12 / √25, by hand
    assert told[-1] == (25, 25)


def test_a_moved_camera_is_told() -> None:
    """A picture that has slid by the end of the frames is refused, a flickering one is not."""
    base = np.zeros((360, 640, 3), np.uint8)
    base[100:200, 100:300] = 220
    slid = [np.roll(base, 8 * i, axis=1) for i in range(10)]
    with pytest.raises(Refusal, match="moved"):
        mean_frame(Frames(slid), 10)
    rows = np.arange(360)[:, None, None]
    flicker = [
        np.clip(base * (0.85 + 0.15 * np.sin(rows / 40 + i)), 0, 255).astype(np.uint8)
        for i in range(10)
    ]
    mean_frame(Frames(flicker), 10)


def test_a_changed_frame_size_is_told() -> None:
    """A camera that changes its picture's size between frames is refused, not broadcast."""
    with pytest.raises(Refusal, match="size"):
        mean_frame(Frames([np.zeros((90, 160, 3), np.uint8), np.zeros((60, 80, 3), np.uint8)]), 4)


def test_no_camera_is_said_in_words(capfd: pytest.CaptureFixture[str]) -> None:
    """A camera that is not there: a refusal with a remedy, and nothing of OpenCV's own log."""
    with pytest.raises(Refusal, match="cannot be opened") as caught:
        DeviceSource.open(97)
    assert "plugged in" in str(caught.value)
    assert main(["calibrate", "live", "--camera", "97"]) == 2
    assert "Traceback" not in capfd.readouterr().err


def test_white_light_finds_the_cards_and_the_picture_shows_them(rig: Rig) -> None:
    """The small live picture marks each card found, and showing it does not double the cards."""
    source = VirtualSource(rig.table, rig.cameras[0])
    w, h = rig.table.projector.size
    source.show(np.full((h, w, 3), 255, np.uint8))
    picture, seen, wrong = look_for_cards(source)
    assert wrong == ""
    assert seen is not None
    assert sorted(seen.cards) == [0, 1, 2, 3]
    shown = live_picture(picture, seen, (w, h), "four cards found")
    assert shown.shape == (h, w, 3)
    source.show(shown)
    _, again, _ = look_for_cards(source)
    assert again is not None
    assert sorted(again.cards) == [0, 1, 2, 3]


def test_an_empty_table_says_what_is_wrong(rig: Rig) -> None:
    """Without cards the search gives the picture and a sentence, not an exception."""
    source = VirtualSource(rig.table.with_sheets([]), rig.cameras[0])
    w, h = rig.table.projector.size
    source.show(np.full((h, w, 3), 255, np.uint8))
    _, seen, wrong = look_for_cards(source)
    assert seen is None
    assert "card" in wrong


def test_cards_outside_the_windows_are_no_matter_live(rig: Rig) -> None:
    """Cards come from the white view: one that lies under the pattern is measured all the same."""
    sheets = list(rig.table.sheets)
    x, y = sheets[0].at_mm
    sheets[0] = replace(sheets[0], at_mm=(x + 150.0, y - 60.0))
    source = VirtualSource(rig.table.with_sheets(sheets), rig.cameras[0])
    view = take_view(source, source.show, rig.pattern, frames=3)
    assert sorted(view.seen.cards) == [0, 1, 2, 3]
    assert view.seen.pattern is not None
    assert len(view.seen.pattern) > 300


def test_frames_that_wait_in_the_driver_s_queue_are_let_go(rig: Rig) -> None:
    """A camera that hands out frames four late still gives white for white and pattern for pattern."""

    class Late(VirtualSource):
        queue: tuple[np.ndarray, ...] = ()

        def read(self) -> np.ndarray:
            self.queue = (*self.queue, super().read())
            return self.queue[max(0, len(self.queue) - 5)]

    late = Late(rig.table, rig.cameras[0], stale=6)
    view = take_view(late, late.show, rig.pattern, frames=2)
    assert view.seen.pattern is not None
    assert len(view.seen.pattern) > 300


def test_cards_all_under_the_pattern_are_said_to_be_unchecked(rig: Rig) -> None:
    """With no window open over any card, the view still works and says what it could not check."""
    source = VirtualSource(rig.table, rig.cameras[0])
    closed = replace(rig.pattern, windows=())
    view = take_view(source, source.show, closed, frames=2)
    assert sorted(view.seen.cards) == [0, 1, 2, 3]
    assert any("stood still" in note for note in view.seen.notes)


def test_a_lens_that_refocuses_between_the_views_does_no_harm(rig: Rig) -> None:
    """Half a per cent of focus breathing between white and pattern is noticed; it stays true to 0.3 mm."""

    class Breathing(VirtualSource):
        def show(self, frame: np.ndarray) -> None:
            grown = 1.005 if (frame == 0).any() else 1.0
            still = rig.cameras[0]
            self.camera = replace(still, focal_px=still.focal_px * grown)
            super().show(frame)

    breathing = Breathing(rig.table, rig.cameras[0])
    view = take_view(breathing, breathing.show, rig.pattern, frames=3)
    assert trueness(solve([view.seen]).calibration, rig.table).rms_mm < 0.3


def test_live_from_light_to_saved_calibration(
    rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two positions, a few flickering frames each: saved, kept in the store, true to 0.15 mm."""
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    source = VirtualSource(rig.table, rig.cameras[0])
    moves: list[int] = []

    def move(position: int) -> None:
        moves.append(position)
        source.camera = rig.cameras[position - 1]

    out = tmp_path / "calibration.yaml"
    live = LiveCommand(
        out=out, frames=4, positions=2, beam_width=800.0, unit="mm",
        keep_pictures=tmp_path / "pictures",
    )  # fmt: skip
    live.look(source, DummyBeam(source), "attic projector", next_position=move)
    assert moves == [2]
    told = capsys.readouterr().out
    assert "cards 0, 1, 2, 3" in told
    calibration = Calibration.load(out)
    assert calibration.method == "live"
    found = trueness(calibration, rig.table)
    assert 0.001 < found.rms_mm < 0.15
    assert len(list((tmp_path / "home").rglob("*.yaml"))) == 1
    pictures = sorted((tmp_path / "pictures").glob("*.png"))
    assert len(pictures) == 2
    kept = detect(read_photo(pictures[1]), (1280, 720))
    assert sorted(kept.cards) == [0, 1, 2, 3]


@pytest.mark.parametrize(("count", "solved"), [(3, True), (2, False)])
def test_live_makes_do_with_three_cards_but_not_with_two(
    rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int, solved: bool
) -> None:
    """When patience ends three cards are enough; with two nothing is saved and she is told why."""
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path))
    source = VirtualSource(rig.table.with_sheets(rig.table.sheets[:count]), rig.cameras[0])
    beam = DummyBeam(source)
    live = LiveCommand(frames=3, patience=0.01, beam_width=800.0, unit="mm")
    if solved:
        solution = live.look(source, beam)
        assert trueness(solution.calibration, rig.table).rms_mm < 0.3
    else:
        with pytest.raises(Refusal, match=r"cards found: 0, 1 of four"):
            live.look(source, beam)
        assert not list(tmp_path.rglob("*.yaml"))


def test_the_live_command_with_its_real_beam(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The whole command: pygame shows (on a dummy screen), a camera that sees what it shows, exit 0."""
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path))
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    from projector.app import Beam, displays

    size = displays()[0].size
    rig = make_rig(
        2, "webcam", size=size, beam_width_mm=750.0, camera={"samples": 1, "size": (1024, 576)}
    )

    class Plugged(VirtualSource):
        def __enter__(self) -> Plugged:
            return self

        def __exit__(self, *error: object) -> None:
            self.close()

    source = Plugged(rig.table, rig.cameras[0])
    shown = Beam.show

    def show(beam: Beam, rgb: np.ndarray) -> None:
        shown(beam, rgb)
        source.show(rgb)

    monkeypatch.setattr(Beam, "show", show)
    monkeypatch.setattr(DeviceSource, "open", classmethod(lambda cls, number: source))
    out = tmp_path / "calibration.yaml"
    args = ["calibrate", "live", "--out", str(out), "--frames", "2", "--beam-width", "750"]
    assert main([*args, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)
    assert trueness(Calibration.load(out), rig.table).rms_mm < 0.2
    args = ["calibrate", "check", "--live", "--frames", "2", "--calibration", str(out)]
    assert main([*args, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["worst_mm"] < 0.5
