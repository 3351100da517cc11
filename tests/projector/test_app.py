"""The window and its loop: real events through SDL's dummy driver, refusals, a lost display."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")

import numpy as np
import pytest
import yaml
from table_rig import DATA, docket, projector
from texts import Seen

from calibrate import Calibration
from configs.errors import Refusal
from drafting.docket import Docket
from projector import app
from projector.app import Beam, handle, key_name, run
from projector.first_light.light import FirstLight
from projector.first_light.stand_in import is_plain, plain_calibration
from projector.picture.notice import words_only
from projector.screens import Place
from projector.session import words
from projector.session.journal import Journal
from projector.session.sitting import Sitting

pygame = app.pygame


@pytest.fixture(autouse=True)
def dummy(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Every test here runs on the dummy driver, and leaves no window behind."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    pygame.display.quit()
    yield
    pygame.display.quit()


def shown() -> np.ndarray:
    """What the window holds, (H, W, 3) uint8."""
    surface = pygame.display.get_surface()
    return np.ascontiguousarray(pygame.surfarray.array3d(surface).swapaxes(0, 1))


def post(kind: int, **more: Any) -> None:
    """Put an event into the real queue."""
    pygame.event.post(pygame.event.Event(kind, **more))


def key(code: int, mod: int = 0) -> None:
    """A key pressed."""
    post(pygame.KEYDOWN, key=code, mod=mod, unicode="", scancode=0)


def middle(sitting: Sitting, name: str) -> tuple[int, int]:
    """A whole pixel in the middle of a piece."""
    ring = sitting.state.rules.outline(sitting.state.work.of(name))
    t = sitting.state.work.view.table_from_cloth
    at = t[:2, :2] @ (0.5 * (ring.min(axis=0) + ring.max(axis=0))) + t[:2, 2]
    x, y = sitting.state.calibration.to_projector(at[None])[0]
    return round(float(x)), round(float(y))


def test_beam_shows_every_pixel_as_given() -> None:
    """What is handed over stands in the window pixel for pixel."""
    rng = np.random.default_rng(1)
    picture = rng.integers(0, 256, (360, 640, 3), dtype=np.uint8)
    with Beam.open(size=(640, 360), window=True) as beam:
        beam.show(picture)
        assert (shown() == picture).all()
        assert beam.size == (640, 360)
        assert not beam.true_scale and "not true scale" in beam.notice
        with pytest.raises(ValueError, match="beam"):
            beam.show(picture[:, :100])


def test_beam_updates_only_the_boxes() -> None:
    """Only the boxes named are brought to the window, and boxes past the edge do no harm."""
    with Beam.open(size=(200, 100), window=True) as beam:
        canvas = np.zeros((100, 200), np.uint32)
        beam.present(canvas)
        canvas[:] = 0x102030
        beam.present(
            canvas, [(10, 20, 30, 40), (190, 90, 999, 999), (-5, -5, 2, 2), (50, 50, 50, 60)]
        )
        seen = shown()[:, :, 2] == 0x30
        assert seen[20:40, 10:30].all() and seen[90:, 190:].all() and seen[:2, :2].all()
        assert seen.sum() == 400 + 100 + 4


def test_only_one_display_opens_a_window_that_says_so() -> None:
    """Without a second display there is a window, and it says that it is not true scale."""
    with Beam.open() as beam:
        assert not beam.true_scale
        assert "not true scale" in beam.notice


def test_another_size_than_the_calibration_is_refused() -> None:
    """Full screen at another resolution than the calibration's is refused with both sizes."""
    with pytest.raises(Refusal) as caught:
        Beam.open(display=0, size=(123, 77))
    assert caught.value.code == "other-size"
    assert "123 x 77" in str(caught.value)
    with pytest.raises(Refusal) as caught:
        Beam.open(display=7)
    assert caught.value.code == "no-such-display"


def test_no_such_display_names_those_there_are_by_number() -> None:
    """A display is told as 'display 0 (1024 x 768)': a bare 0 would read as none at all."""
    with pytest.raises(Refusal) as caught:
        Beam.open(display=7)
    w, h = app.displays()[0].size
    assert f"display 0 ({w} x {h})" in str(caught.value)


def test_without_a_screen_it_is_refused(tmp_path: Path) -> None:
    """No display server and no SDL driver asked for: one message, exit 2, nothing runs unseen."""
    import subprocess
    import sys

    path, cal = tmp_path / "top.yaml", tmp_path / "cal.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    projector((960, 540)).save(cal)
    gone = ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER")
    clean = {k: v for k, v in os.environ.items() if k not in gone}
    code = "import sys; from projector.cli import main; sys.exit(main(sys.argv[1:]))"
    for more in ((), ("--window",), ("--display", "0")):
        run = subprocess.run(
            [sys.executable, "-c", code, "project", str(path), "--calibration", str(cal), *more],
            env={**clean, "CHALKBEAM_HOME": str(tmp_path)}, capture_output=True, text=True,
            timeout=60, check=False,
        )  # fmt: skip
        assert run.returncode == 2, run.stderr
        assert "no screen" in run.stderr or "no display" in run.stderr
        assert "Traceback" not in run.stderr


@pytest.fixture
def visits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[int, list[Any], str]]:
    """``project`` on the dummy driver; what is shown in turn is handled by the functions given."""
    from click.testing import CliRunner

    from projector.commands.project import ProjectCommand

    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))

    def go(hands: list[Callable[[Any], None]], *more: str) -> tuple[int, list[Any], str]:
        seen: list[Any] = []
        waiting = iter(hands)

        def shown_to_her(what: Any, beam: Beam) -> None:
            seen.append(what)
            what.frame()
            next(waiting)(what)
            what.close()

        monkeypatch.setattr(app, "run", shown_to_her)
        run = CliRunner().invoke(ProjectCommand.command, [str(path), "--window", *more])
        assert next(waiting, None) is None, run.output
        return run.exit_code, seen, run.output

    return go


def test_without_a_calibration_a_window_leads_through_one_too(visits: Any) -> None:
    """Nothing kept: first light, which offers a look at the lay; no doubt about what is not there."""
    code, seen, said = visits([lambda s: s.key("4"), lambda s: s.key("q")])
    assert code == 0 and isinstance(seen[0], FirstLight) and isinstance(seen[1], Sitting)
    assert is_plain(seen[1].state.calibration) and seen[1].state.page == ""
    assert "No calibration yet" in said and "says not when" not in said
    assert "thickness" not in said  # nothing is true here that it could make untrue
    back = [lambda s: s.key("4"), lambda s: s.do("calibrate"), lambda s: s.key("escape")]
    code, seen, said = visits([*back, lambda s: s.key("q")])
    assert code == 0 and is_plain(seen[3].state.calibration) and "calibration in use" not in said
    code, seen, said = visits([lambda s: s.key("escape")])
    assert code == 0 and "Left without a calibration" in said


def test_leaving_first_light_goes_back_to_the_lay(tmp_path: Path, visits: Any) -> None:
    """Ctrl+K, then Esc: the lay again with the calibration in use; closing the window ends all."""
    cal = tmp_path / "cal.yaml"
    projector((960, 540)).save(cal)
    again = [lambda s: s.do("calibrate"), lambda s: s.key("escape"), lambda s: s.key("q")]
    code, seen, said = visits(again, "--calibration", str(cal))
    assert code == 0 and [type(s) for s in seen] == [Sitting, FirstLight, Sitting]
    assert "Left without" not in said and "Saved" in said
    assert seen[2].state.calibration.size == (960, 540) and seen[2].state.page == ""
    px = np.array([[0.0, 0.0], [900.0, 500.0]])
    mine, before = (s.state.calibration.to_table(px) for s in (seen[2], seen[0]))
    assert (mine == before).all()
    closed = [lambda s: s.do("calibrate"), lambda s: s.do("quit")]
    code, _, said = visits(closed, "--calibration", str(cal))
    assert code == 0 and "Left without" in said


def test_a_scaled_display_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A system that hands over a surface of another size than the display is refused."""

    class Small:
        def get_size(self) -> tuple[int, int]:
            return (683, 512)

    app.displays()
    monkeypatch.setattr(pygame.display, "set_mode", lambda *_, **__: Small())
    with pytest.raises(Refusal) as caught:
        Beam.open(display=0)
    assert caught.value.code == "scaled"
    assert "100 %" in str(caught.value)


@pytest.mark.parametrize(
    ("code", "mod", "name"),
    [
        ("K_LEFT", 0, "left"),
        ("K_LEFT", "KMOD_LSHIFT", "shift+left"),
        ("K_z", "KMOD_LCTRL", "ctrl+z"),
        ("K_PAGEDOWN", 0, "page down"),
        ("K_RETURN", 0, "return"),
        ("K_LSHIFT", "KMOD_LSHIFT", ""),
        ("K_COMMA", 0, ","),
        ("K_F1", 0, "f1"),
        ("K_KP1", 0, "1"),
    ],
)
def test_key_names(code: str, mod: Any, name: str) -> None:
    """Keys come with the names that keys.yaml uses."""
    pygame.display.init()
    mask = getattr(pygame, mod) if mod else 0
    event = pygame.event.Event(pygame.KEYDOWN, key=getattr(pygame, code), mod=mask)
    assert key_name(event) == name


def test_real_events_drive_the_table(tmp_path: Path) -> None:
    """Events through the real queue and loop: drag, nudge, mark, leave; the docket holds it."""
    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((960, 540)), journal=journal)
    before = sitting.state.work.of("neck-facing/1")
    with Beam.open(size=(960, 540), window=True) as beam:
        x, y = middle(sitting, "neck-facing/1")
        post(pygame.MOUSEBUTTONDOWN, pos=(x, y), button=1)
        for i in range(1, 13):
            post(pygame.MOUSEMOTION, pos=(x + 4 * i, y - i), rel=(0, 0), buttons=(1, 0, 0))
        post(pygame.MOUSEBUTTONUP, pos=(x + 48, y - 12), button=1)
        key(pygame.K_RIGHT, pygame.KMOD_LSHIFT)
        key(pygame.K_c)
        key(pygame.K_SPACE)
        key(pygame.K_q)
        run(sitting, beam)
        assert (shown()[:, :, 0] == (sitting.canvas >> 16).astype(np.uint8)).mean() > 0.99
    again = Docket.load(path)
    after = next(p for p in again.lay if p.key == "neck-facing/1")
    assert after.at != before.at
    assert len(again.traced) == 1
    assert not list(tmp_path.glob(".*journal"))


def test_of_many_moves_only_the_last_counts() -> None:
    """A burst of moves between two frames costs one, and ends where the last one pointed."""
    sitting = Sitting(docket(), projector((640, 360)))
    with Beam.open(size=(640, 360), window=True) as beam:
        calls: list[tuple[float, float]] = []
        real = sitting.pointer

        def counted(kind: str, x: float, y: float, button: int = 1, *, free: bool = False) -> None:
            calls.append((x, y))
            real(kind, x, y, button, free=free)

        sitting.pointer = counted  # type: ignore[method-assign]
        moves = [
            pygame.event.Event(pygame.MOUSEMOTION, pos=(i, 100), rel=(1, 0), buttons=(0, 0, 0))
            for i in range(200)
        ]
        handle(sitting, beam, moves)
        assert calls == [(199.0, 100.0)]


def test_a_lost_display_pauses_and_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Unplugged: it says so, does nothing meanwhile, and goes on when the display is back."""
    said: list[str] = []
    sitting = Sitting(docket(), projector((640, 360)), say=said.append)
    first = sitting.state.work
    with Beam.open(size=(640, 360), window=True) as beam:
        state = {"there": False}
        monkeypatch.setattr(beam, "what_happened", lambda: "" if state["there"] else "It has gone")
        lost = app._watch(sitting, beam, False)
        assert lost and "paused" in said[-1]
        state["there"] = True
        assert app._watch(sitting, beam, lost) is False
        assert "back" in said[-1]
        assert sitting.state.work == first and sitting.running


class Output:
    """A stand-in for an output that is followed: what the server would tell of it."""

    def __init__(self, size: tuple[int, int]) -> None:
        self.first = Place((100, 0), size)
        self.now: Place | None = self.first

    def look(self) -> Place | None:
        return self.now

    def number(self) -> int | None:
        return 0 if self.now else None

    def close(self) -> None:
        pass


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (None, "off or unplugged"),
        (Place((100, 0), (320, 180)), "320 x 180 instead of 640 x 360"),
        (Place((100, 0), (640, 360), turned=True), "turned or mirrored"),
    ],
)
def test_another_mode_is_noticed_and_nothing_but_words_shown(
    now: Place | None, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The mode changes under the table: no pixel of the lay is left, it says what, and goes on."""
    told: list[str] = []
    with Beam.open(display=0) as beam:
        size = beam.size
        sitting = Sitting(docket(), projector(size), say=told.append)
        sitting.frame()
        beam.present(sitting.canvas)
        output = Output(size)
        beam._watched = output  # type: ignore[assignment]
        output.now = now if now is None or now.size != (640, 360) else replace(now, size=size)
        lost = app._watch(sitting, beam, False)
        said = said.replace("640 x 360", f"{size[0]} x {size[1]}")
        assert lost and said in told[-1] and "paused" in told[-1]
        shown = pygame.surfarray.array2d(beam._surface).T
        w, h = size if output.now is None else np.minimum(output.now.size, size)
        words = words_only((w, h), [beam.paused, "Paused: no line would be true. Nothing is lost.", app._BACK])  # fmt: skip
        assert np.array_equal(shown[:h, :w], words)
        assert not shown[h:].any() and not shown[:, w:].any()
        output.now = output.first
        assert app._watch(sitting, beam, True) is False
        assert np.array_equal(pygame.surfarray.array2d(beam._surface).T, sitting.canvas)
        # the desktop's other display changes, so this one's part begins elsewhere
        reopened = []
        monkeypatch.setattr(beam, "reopen", lambda: not reopened.append(1))
        assert app._watch(sitting, beam, False) is False and not reopened
        output.now = replace(output.first, at=(900, 0))
        assert app._watch(sitting, beam, False) is False and reopened


def test_while_the_display_is_gone_nothing_but_leaving_counts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Unplugged in the middle of the work: keys pressed in the dark change nothing; Q leaves."""
    sitting = Sitting(docket(), projector((640, 360)))
    sitting.do("next")
    before = sitting.state.work
    with Beam.open(size=(640, 360), window=True) as beam:
        monkeypatch.setattr(beam, "what_happened", lambda: "It has gone")
        monkeypatch.setattr(app, "_LOOK_S", -1.0)
        turns = iter(["t", "right", "t", "q"])

        def wait(_: int) -> Any:
            name = next(turns)
            code = pygame.key.key_code(name)
            return pygame.event.Event(pygame.KEYDOWN, key=code, mod=0, unicode="")

        monkeypatch.setattr(pygame.event, "wait", wait)
        run(sitting, beam)
    assert sitting.state.work == before and not sitting.running
    assert next(turns, None) is None


def test_a_key_held_goes_on_nudging_and_marks_nothing_twice() -> None:
    """Arrows go on while they are held, from 0.4 s on; Space held marks one piece only."""
    sitting = Sitting(docket(), projector((640, 360)))
    sitting.do("next")
    held = app.Held()
    down = pygame.event.Event(pygame.KEYDOWN, key=pygame.K_LEFT, mod=pygame.KMOD_SHIFT, unicode="")
    up = pygame.event.Event(pygame.KEYUP, key=pygame.K_LEFT, mod=0)
    held.see(sitting, [down], 10.0)
    pressed = [t for t in np.arange(10.0, 11.001, 0.015) if held.again(float(t)) == "shift+left"]
    assert pressed[0] >= 10.4 and 8 <= len(pressed) <= 12
    held.see(sitting, [up], 11.0)
    assert held.again(20.0) == ""
    for code in (pygame.K_SPACE, pygame.K_t, pygame.K_z):
        held.see(sitting, [pygame.event.Event(pygame.KEYDOWN, key=code, mod=0, unicode="")], 30.0)
        assert held.again(40.0) == ""


@pytest.mark.parametrize("days", [0.2, 1.5, 40.0, None])
def test_an_old_calibration_is_questioned_with_one_key_or_press(days: float | None) -> None:
    """Past a day, for another display or without a date: go on, check or calibrate, by one press."""
    from datetime import datetime, timedelta

    from projector.commands.project import _doubts

    made = datetime.now() - timedelta(days=days or 0.0)
    date = "" if days is None else made.isoformat(sep=" ", timespec="seconds")
    calibration = replace(projector((960, 540)), date=date)
    with Beam.open(size=(960, 540), window=True) as beam:
        doubts = _doubts(calibration, beam)
        assert bool(doubts) == (days is None or days > 1.0)
        beam.true_scale = True
        other = _doubts(replace(calibration, display="display 7 800x600"), beam)
        assert any("display 7" in line for line in other)
    for action in ("go-on", "check", "calibrate", "quit"):
        for how in ("key", "press"):
            sitting = Sitting(docket(), calibration)
            sitting.ask(other)
            sitting.frame()
            assert sitting.state.shown.strip is not None
            if how == "press":
                middle = sitting.state.shown.strip.buttons[action].mean(axis=0)
                x, y = sitting.state.calibration.to_projector(middle[None])[0]
                sitting.pointer("down", float(x), float(y))
            else:
                sitting.key(sitting.state.keys.by_action[action][0])
            assert sitting.state.mode == "arrange"
            assert sitting.state.page == "" or not sitting.running
            assert (sitting.state.checking_at is not None) == (action == "check")
            assert sitting.state.anew == (action == "calibrate")
            assert sitting.running == (action in ("go-on", "check"))


def test_a_window_too_small_shows_it_whole_and_points_truly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """On a small desktop the window is shrunk; its pointer still lands on the right pixel."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    with Beam.open(size=(640, 360), window=True) as beam:
        beam._shrink = 0.5
        assert beam.to_picture(0, 0) == pytest.approx((0.5, 0.5))
        assert beam.to_picture(319, 179) == pytest.approx((638.5, 358.5))


# -- first light -----------------------------------------------------------------------------------


def lead(folder: Path, size: tuple[int, int] = (1280, 720)) -> FirstLight:
    """First light without a beam."""
    return FirstLight(docket(), size, "display 1", [folder])


def until(leading: FirstLight, page: str, seconds: float = 30.0) -> None:
    """Tick until a page is reached."""
    import time

    end = time.monotonic() + seconds
    while leading.page != page:
        leading.tick(time.monotonic())
        time.sleep(0.02)
        assert time.monotonic() < end, (leading.page, leading.said)


def test_pages_have_words_and_the_pattern_has_none(tmp_path: Path) -> None:
    """Every page shows something; the pattern page is the calibrate package's picture, untouched."""
    from calibrate.pattern import pattern_for

    leading = lead(tmp_path)
    for keys in ((), ("1",), ("space",)):
        for name in keys:
            leading.key(name)
        assert leading.frame()
        assert leading.canvas.max() > 0
    image = np.asarray(pattern_for((1280, 720)).image())
    gray = image if image.ndim == 2 else image[:, :, 0]
    assert ((leading.canvas & 0xFF) == gray).all()
    leading.key("escape")
    assert leading.page == "start"
    leading.key("escape")
    assert leading.running and "once more" in leading.said  # never at one press
    leading.key("escape")
    assert not leading.running and leading.result is None


def test_first_light_by_tape(tmp_path: Path) -> None:
    """Distances typed at the table give a calibration that holds its own crosses to the mm."""
    from calibrate.readings import crosses_for, pairs_of

    truth = projector((1280, 720), 1180.0, k1=0.0)
    leading = lead(tmp_path)
    leading.key("3")
    places = {
        k: truth.to_table(np.array([v], float))[0] for k, v in crosses_for((1280, 720), 6).items()
    }
    for a, b in pairs_of(crosses_for((1280, 720), 6)):
        for letter in f"{np.hypot(*(places[a] - places[b])):.1f}":
            leading.key(letter)
        leading.frame()
        leading.key("return")
    until(leading, "done")
    leading.frame()
    leading.key("space")
    found = leading.result
    assert found is not None and not leading.running
    anew = lead(tmp_path)
    anew.key("3")
    assert not anew.room.readings  # what has served is not asked about again
    for a, b in pairs_of(places):
        px = np.array([crosses_for((1280, 720), 6)[k] for k in (a, b)], float)
        length = float(np.hypot(*np.diff(found.to_table(px), axis=0)[0]))
        assert length == pytest.approx(float(np.hypot(*(places[a] - places[b]))), abs=1.0)


@pytest.mark.parametrize("when", ["before it is done", "over its end"])
def test_bars_typed_while_it_solves_are_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    """Whether the second bar is typed before the photo is solved or after, what is taken has both."""
    import threading
    from types import SimpleNamespace

    may_end = threading.Event()

    def slow(seen: object, *, bars_mm: tuple[float, float] | None, display: str) -> object:
        del seen, display
        may_end.wait(20.0)
        matrix = projector((1280, 720), 1180.0)
        return SimpleNamespace(
            calibration=Calibration(matrix, np.zeros((17, 17)), "photo", "", bars_mm=bars_mm)
        )

    monkeypatch.setattr("calibrate.solve.solve", slow)
    leading = lead(tmp_path)
    leading.key("1")
    leading.detected = "a photo"
    leading.beside.start(leading.solve_detected)
    for name in ("r", *"180.4", "return"):
        leading.key(name)
    if when == "over its end":
        may_end.set()
        while leading.beside.busy:
            leading.tick(0.0)
    for name in (*"250.6", "return"):
        leading.key(name)
    may_end.set()
    until(leading, "done")
    while leading.beside.busy:
        leading.key("space")  # what was found without the bars is not for taking any more
        assert leading.result is None
        leading.tick(0.0)
    leading.key("space")
    assert leading.result is not None and leading.result.bars_mm == (180.4, 250.6)


def test_tape_readings_outlive_esc_and_the_plug(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read is there again after Esc and in a new process; a pair left out stays out; Del begins anew, and so does the next time after it was taken."""
    from calibrate.readings import load_readings

    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path))

    def measured() -> FirstLight:
        leading = lead(tmp_path)
        leading.key("3")
        return leading

    leading = measured()
    for text in ("612.5", "1105", ""):
        for letter in text:
            leading.key(letter)
        leading.key("return")
    leading.key("escape")
    leading.key("3")
    again = measured()  # nothing was closed or saved: the plug was pulled
    for one in (leading, again):
        assert one.room.readings == {"A-B": "612.5", "A-C": "1105"}
        assert one.room.pair == 2 and "2 readings" in one.said
        one.frame()
    again.key("backspace")
    assert again.room.typed == "1105"
    for _ in "1105":
        again.key("backspace")
    again.key("return")
    assert measured().room.readings == {"A-B": "612.5"}
    (kept,) = (tmp_path / "readings").glob("*.yaml")
    assert load_readings(kept).readings == ((("A", "B"), 612.5),)
    press(again, "delete")
    assert not measured().room.readings and again.room.pair == 0


def typed(leading: FirstLight, text: str) -> None:
    """Typed at the table, and Enter."""
    for letter in text:
        leading.key(letter)
    leading.key("return")


def test_a_tape_reading_is_looked_at_as_it_is_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is no length, or none of a table, is asked for again in words; so is one that the others
    contradict, once: the same again is kept. The page counts, and Enter by itself leaves a pair out."""
    from calibrate.readings import crosses_for, pairs_of

    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path))
    seen = Seen()
    seen.follow(monkeypatch)
    truth = projector((1280, 720), 1180.0, k1=0.0)
    crosses = crosses_for((1280, 720), 6)
    at = {k: truth.to_table(np.array([v], float))[0] for k, v in crosses.items()}
    pairs = pairs_of(crosses)
    true = [f"{np.hypot(*(at[a] - at[b])):.1f}" for a, b in pairs]
    leading = lead(tmp_path)
    leading.key("3")
    for wrong, said in (("1..2", "no length"), ("2", "no distance"), ("99999", "no distance")):
        typed(leading, wrong)
        assert leading.room.pair == 0 and not leading.room.readings and said in leading.said
        for _ in wrong:
            leading.key("backspace")
    for text in true[:12]:
        typed(leading, text)
    assert leading.room.pair == 12
    leading.frame()
    assert "13 of 15, 12 read" in [t.words for t in seen.texts(leading.picture.painter)]
    off = f"{float(true[12]) + 40.0:.1f}"
    typed(leading, off)
    assert leading.room.pair == 12 and "longer than the rest" in leading.said
    leading.key("return")
    assert leading.room.pair == 13 and len(leading.room.readings) == 13
    leading.key("return")
    assert leading.room.pair == 14 and len(leading.room.readings) == 13


def test_found_tells_the_figure_of_the_strip(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How true the light is, is one figure: on the page where it is taken, and on the table after."""
    seen = Seen()
    seen.follow(monkeypatch)
    found = projector((1280, 720), 1180.0)
    leading = lead(tmp_path)
    leading.found(found)
    leading.frame()
    strip = Sitting(docket(), found).state.truth
    told = " ".join(t.words for t in seen.texts(leading.picture.painter))
    assert strip[1:] in told and told.lower().count("true to") == 1


def test_what_is_told_at_the_start_stands_on_the_table(
    tmp_path: Path, visits: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The note on a lay made at the start, what the display says: not in the terminal alone."""
    from projector import laying

    cal = tmp_path / "cal.yaml"
    projector((960, 540)).save(cal)
    monkeypatch.setattr(laying, "kept_lay", lambda read: (read, "Laid anew: the cloth is longer."))
    lines: list[str] = []

    def looks(sitting: Any) -> None:
        lines.extend(words.lines(sitting.state))
        sitting.key("q")

    code, _, said = visits([looks], "--calibration", str(cal))
    assert code == 0 and said.count("Laid anew") == 1
    assert "Laid anew: the cloth is longer." in lines
    assert any("not true scale" in line for line in lines)


def test_first_light_says_what_the_cards_sheet_says() -> None:
    """The cards lie on what she cuts on, as sheet and README say; nothing is glued or bare."""
    from calibrate.cards import _HOW_TO
    from projector.first_light.words import PHOTO_STEPS

    steps = " ".join(words for _, words in PHOTO_STEPS).lower()
    sheet = " ".join(words for _, words in _HOW_TO).lower()
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").lower()
    for word in ("glue", "stiff", "bare"):
        assert word not in steps and word not in sheet
    for said in (steps, sheet, readme):
        assert "cut on" in said and "flat" in said
    assert "white paper" in steps and "white paper" in sheet


def press(leading: FirstLight, key: str) -> None:
    """A press in the middle of a button."""
    leading.frame()
    box = leading.picture.places[key]
    x, y = leading.picture.lens.calibration.to_projector(box.mean(axis=0)[None])[0]
    leading.pointer("move", float(x), float(y))
    leading.frame()
    leading.pointer("down", float(x), float(y))


def test_buttons_of_first_light_leave_the_crosses_and_the_pattern_alone(tmp_path: Path) -> None:
    """No button and no pointer on the pattern; on the tape's page every cross stays in sight."""
    from calibrate.readings import crosses_for, crosses_picture

    leading = lead(tmp_path)
    leading.key("3")
    leading.pointer("move", 640.0, 120.0)
    leading.frame()
    picture = crosses_picture((1280, 720), crosses_for((1280, 720), 6), ("A", "B"))
    bare = picture if picture.ndim == 2 else picture[:, :, 0]
    for x, y in crosses_for((1280, 720), 6).values():
        part = (slice(max(0, y - 25), y + 26), slice(max(0, x - 25), x + 26))
        assert (leading.canvas[part] >> np.uint32(16) == bare[part]).all()
    leading.key("escape")
    leading.key("1")
    leading.key("space")
    leading.frame()
    before = leading.canvas.copy()
    leading.pointer("move", 300.0, 300.0)
    leading.frame()
    assert np.array_equal(before, leading.canvas)
    assert not leading.picture.places


def test_the_pointer_of_first_light_leaves_no_trace(tmp_path: Path) -> None:
    """Where the pointer was, the page stands as before."""
    leading = lead(tmp_path)
    leading.frame()
    before = leading.canvas.copy()
    for x in (200.0, 260.0, 420.0):
        leading.pointer("move", x, 130.0)
        boxes = leading.frame()
        assert boxes
        outside = np.ones(before.shape, bool)
        for x0, y0, x1, y1 in boxes:
            outside[y0:y1, x0:x1] = False
    assert (leading.canvas != before).any()
    assert np.array_equal(leading.canvas[outside], before[outside])
    leading.pointer("move", -500.0, -500.0)
    leading.frame()
    assert np.array_equal(leading.canvas, before)


def test_first_light_reads_inches_for_who_works_in_them(tmp_path: Path) -> None:
    """Bars of 7 3/32 and 9 27/32 in are 180.2 and 250.0 mm; a tape's plain number is kept as inches."""
    leading = FirstLight(replace(docket(), unit="in"), (640, 360), "a display", [tmp_path])
    leading.key("r")
    for name in (*"7", "space", *"3/32", "return"):
        leading.key(name)
    assert leading.room.bars == pytest.approx([180.18], abs=0.01)
    for name in (*"9", "space", *"27/32", "return"):
        leading.key(name)
    assert leading.bars_mm == pytest.approx((180.18, 250.03), abs=0.01)
    assert "in" in leading.said and "mm" not in leading.said
    leading.key("3")
    for name in (*"44", "space", *"1/4", "return"):
        leading.key(name)
    assert list(leading.room.readings.values()) == ["44 1/4 in"]
    leading.key("backspace")
    assert leading.room.typed == "44 1/4"
    leading.key("return")
    assert list(leading.room.readings.values()) == ["44 1/4 in"]
    leading.frame()


def test_bars_read_at_first_light_take_the_prints_doubt_away(tmp_path: Path) -> None:
    """A print 0.4 % too large, its bars typed after the photo: distances come right."""
    import cv2

    from calibrate.cards import BARS_MM
    from calibrate.pattern import pattern_for
    from calibrate.simulate import VirtualCamera, VirtualTable
    from projector.demo import lay_cards

    size, grown = (1280, 720), 1.004
    leading = lead(tmp_path, size)
    leading.key("1")
    leading.key("space")
    table = VirtualTable.random(4, size, beam_width_mm=1100.0)
    sheets = [
        replace(s, print_scale=(grown, grown)) for s in lay_cards(table, pattern_for(size), 4)
    ]
    pattern = np.asarray(pattern_for(size).image())
    if pattern.ndim == 2:
        pattern = np.repeat(pattern[:, :, None], 3, axis=2)
    photo = table.with_sheets(sheets).photograph(
        pattern, VirtualCamera.phone(4, table.beam_mm(), (2016, 1512)), 6
    )
    cv2.imwrite(str(tmp_path / "IMG_1.jpg"), photo[:, :, ::-1])
    until(leading, "done", 60.0)
    px = np.array([[40.0, 30.0], [1240.0, 40.0], [1200.0, 690.0], [60.0, 680.0]])
    true = table.projector.to_table(px)

    def worst() -> float:
        mine = leading.solved.to_table(px)
        return max(
            abs(float(np.hypot(*(mine[i] - mine[j])) - np.hypot(*(true[i] - true[j]))))
            for i in range(4)
            for j in range(i)
        )

    assert worst() > 2.0
    leading.key("r")
    for letter in "99":
        leading.key(letter)
    leading.key("return")
    leading.key("return")
    assert leading.page == "bars" and "such as" in leading.said
    leading.key("escape")
    leading.key("r")
    for value in BARS_MM:
        for letter in f"{value * grown:.2f}":
            leading.key(letter)
        leading.frame()
        leading.key("return")
    assert leading.page == "done" and leading.bars_mm is not None
    until_solved(leading)
    assert worst() < 0.5


def until_solved(leading: FirstLight, seconds: float = 180.0) -> None:
    """Tick until nothing is being solved."""
    import time

    end = time.monotonic() + seconds
    while leading.beside.busy:
        leading.tick(time.monotonic())
        time.sleep(0.02)
        assert time.monotonic() < end


def test_the_stand_in_is_told_apart() -> None:
    """The stand-in for letters is known as one, so that nothing true is promised through it."""
    assert is_plain(plain_calibration((1920, 1080)))
    assert not is_plain(projector())
