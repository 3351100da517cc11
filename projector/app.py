"""The only window, clock and event loop.

At the very top: opens the beam on the projector's display, turns the machine's events into the
plain words that `sitting` understands, and puts its canvas on the glass. Pixel for pixel or not
at all: a beam that the system scales cannot hold a calibration.
"""

from __future__ import annotations

import contextlib
import gc
import os
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from projector.picture.marks import Index
from projector.picture.painter import Box, packed
from projector.screens import Watched, watched

if TYPE_CHECKING:
    from projector.first_light.light import FirstLight
    from projector.session.sitting import Sitting

    Shown = Sitting | FirstLight  # what the event loop can show

_UNSEEN = ("offscreen", "dummy", "evdev")  # what SDL falls back on where there is no screen
_SHARE = 0.9  # of the desktop that a window may take


def declare_dpi_aware() -> None:
    """Tell Windows that we draw in real pixels on every monitor; before pygame starts.

    Without it Windows enlarges our picture at 125 or 150 %, and no calibration holds.
    """
    if sys.platform != "win32":
        return
    import ctypes

    windll: Any = ctypes.windll  # type: ignore[attr-defined,unused-ignore]  # on Windows only
    with contextlib.suppress(AttributeError, OSError):
        # per monitor, version 2 (Windows 10 1703 and later)
        if windll.user32.SetProcessDpiAwarenessContext(ctypes.c_void_p(-4)):
            return
    with contextlib.suppress(AttributeError, OSError):
        windll.shcore.SetProcessDpiAwareness(2)


def _pygame() -> Any:
    """pygame, loaded quietly and set up for a projector."""
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    # the beam stays up when she clicks on the other display
    os.environ.setdefault("SDL_VIDEO_MINIMIZE_ON_FOCUS_LOSS", "0")
    os.environ.setdefault("SDL_VIDEO_X11_NET_WM_BYPASS_COMPOSITOR", "1")
    os.environ.setdefault("SDL_WINDOWS_DPI_AWARENESS", "permonitorv2")
    # tablets and touch screens send touches as a mouse would
    os.environ.setdefault("SDL_TOUCH_MOUSE_EVENTS", "1")
    declare_dpi_aware()
    import pygame

    return pygame


pygame = _pygame()


def _px(size: tuple[int, int]) -> str:
    return f"{size[0]} x {size[1]}"


@dataclass(frozen=True)
class Display:
    """A display of this machine: its number and size in px."""

    number: int
    size: tuple[int, int]

    @property
    def name(self) -> str:
        """How calibrations name it."""
        return f"display {self.number} {self.size[0]}x{self.size[1]}"


def displays() -> list[Display]:
    """The displays of this machine, the primary one first.

    Raises:
        Refusal: no display can be opened at all.
    """
    from configs.errors import Refusal

    def none(what: str, where: str) -> Refusal:
        remedy = "'chalkbeam frame' makes the picture without a display."
        return Refusal("no-display", what, f"Run it on the {where}; {remedy}")

    try:
        pygame.display.init()
        sizes = pygame.display.get_desktop_sizes()
    except pygame.error as error:
        where = "machine that the projector is plugged into"
        raise none(f"no display can be opened ({error}).", where) from error
    driver = str(pygame.display.get_driver() or "")
    if driver in _UNSEEN and os.environ.get("SDL_VIDEODRIVER", "") != driver:
        pygame.display.quit()
        where = "desktop of the machine that the projector is plugged into"
        raise none("there is no screen to show it on.", where)
    return [Display(i, (int(w), int(h))) for i, (w, h) in enumerate(sizes)]


@dataclass(eq=False)
class Beam:
    """The projector's picture: full screen on its display, or a window that is not true scale.

    Open it with `open`; it is a context manager. ``size``: the picture in px; ``true_scale``:
    whether a pixel of ours is a pixel of the display; ``display``: which one; ``paused``: what has
    become of the display, as long as nothing is shown.
    """

    size: tuple[int, int]
    display: Display
    true_scale: bool
    notice: str = ""
    paused: str = ""
    _surface: Any = field(default=None, repr=False)
    _shrink: float = field(default=1.0, repr=False)
    _watched: Watched | None = field(default=None, repr=False)

    @classmethod
    def open(
        cls,
        display: int | None = None,
        size: tuple[int, int] | None = None,
        window: bool = False,
    ) -> Beam:
        """Open the beam.

        Args:
            display: its number; None takes the first that is not the primary. With only one
                display there is a window instead, which says that it is not true scale.
            size: the picture needed (the calibration's), px; None for the display's own.
            window: a window even though there is a projector.

        Raises:
            Refusal: no such display, another size than needed, or a display that is scaled.
        """
        from configs.errors import Refusal

        found = displays()
        notice = ""
        if display is not None and not 0 <= display < len(found):
            listed = ", ".join(f"display {d.number} ({_px(d.size)})" for d in found)
            raise Refusal(
                "no-such-display",
                f"there is no display {display}. Found: {listed}.",
                "Plug the projector in and extend the desktop to it.",
            )
        if display is None and not window and len(found) == 1:
            window = True
            notice = "Only one display: this window is not true scale. Plug the projector in."
        chosen = found[display if display is not None else min(1, len(found) - 1)]
        pygame.display.set_caption("chalkbeam")
        if window:
            return cls._window(chosen, size or chosen.size, notice)
        if size is not None and tuple(size) != chosen.size:
            raise Refusal(
                "other-size",
                f"display {chosen.number} shows {_px(chosen.size)} px, but the calibration was made "
                f"for {_px(size)}.",
                "Set the projector to the resolution it was calibrated at, or calibrate again.",
                data={"display": list(chosen.size), "calibration": list(size)},
            )
        surface = pygame.display.set_mode(chosen.size, pygame.FULLSCREEN, 32, display=chosen.number)
        got = surface.get_size()
        if tuple(got) != chosen.size:
            pygame.display.quit()
            raise Refusal(
                "scaled",
                f"the system gave {_px(got)} px on a display of {_px(chosen.size)}: the picture "
                "would be scaled.",
                "Set the display's scaling to 100 % and its resolution to the projector's own.",
            )
        largest = _largest_mode(chosen.number)
        if largest is not None and largest[0] > chosen.size[0]:
            notice = (
                f"The display can show {_px(largest)}; it is set to {_px(chosen.size)}. "
                "Use the projector's own resolution, 100 %."
            )
        pygame.mouse.set_visible(False)
        followed = None
        if pygame.display.get_driver() == "x11":
            followed = watched(chosen.number, [d.size for d in found])
        return cls(chosen.size, chosen, True, notice, _surface=surface, _watched=followed)

    @classmethod
    def _window(cls, display: Display, size: tuple[int, int], notice: str) -> Beam:
        shrink = min(1.0, _SHARE * display.size[0] / size[0], _SHARE * display.size[1] / size[1])
        if os.environ.get("SDL_VIDEODRIVER") == "dummy":
            shrink = 1.0
        inner = (max(1, round(size[0] * shrink)), max(1, round(size[1] * shrink)))
        surface = pygame.display.set_mode(inner, 0, 32, display=display.number)
        pygame.mouse.set_visible(False)
        notice = notice or "A window is not true scale."
        return cls(
            (int(size[0]), int(size[1])), display, False, notice, _surface=surface, _shrink=shrink
        )

    # -- showing -----------------------------------------------------------------------------

    def show(self, rgb: NDArray[np.uint8]) -> None:
        """Put a picture (H, W, 3) uint8 RGB on the beam, whole, and let the system breathe.

        Raises:
            ValueError: it is not of the beam's size.
        """
        if rgb.shape != (self.size[1], self.size[0], 3):
            raise ValueError(
                f"the picture is {rgb.shape}, the beam {self.size[1], self.size[0], 3}"
            )
        self.present(packed(rgb))
        self.pump()

    def present(
        self,
        canvas: NDArray[np.uint32],
        boxes: Iterable[Box] | None = None,
        changed: Sequence[Index] | None = None,
    ) -> None:
        """Put a canvas (H, W) uint32 0x00RRGGBB on the beam; only these boxes when given.

        ``changed``: where the pixels that differ in them are known: indices into the flat canvas.
        Lines are thin: far fewer pixels than their boxes hold.
        """
        if self._shrink < 1.0:
            self._present_small(canvas)
            return
        width, height = self.size
        whole = [(0, 0, width, height)] if boxes is None else list(boxes)
        rects = []
        target = pygame.surfarray.pixels2d(self._surface)
        direct = self._surface.get_masks()[:3] == (0xFF0000, 0xFF00, 0xFF)
        few = changed is not None and direct and target.T.flags.c_contiguous
        if few and changed is not None:
            flat, given = target.T.reshape(-1), canvas.reshape(-1)
            for index in changed:
                flat[index] = given[index]
        for x0, y0, x1, y1 in whole:
            x0, y0, x1, y1 = max(0, x0), max(0, y0), min(width, x1), min(height, y1)
            if x1 <= x0 or y1 <= y0:
                continue
            rects.append(pygame.Rect(x0, y0, x1 - x0, y1 - y0))
            if few:
                continue
            part = canvas[y0:y1, x0:x1]
            target.T[y0:y1, x0:x1] = part if direct else self._mapped(part)
        if few:
            del flat
        del target  # the surface stays locked as long as the array lives
        if rects:
            pygame.display.update(rects)

    def _mapped(self, part: NDArray[np.uint32]) -> NDArray[np.uint32]:
        r, g, b, _ = self._surface.get_shifts()
        mask = np.uint32(0xFF)
        return np.asarray(
            ((part >> np.uint32(16)) & mask) << np.uint32(r)
            | ((part >> np.uint32(8)) & mask) << np.uint32(g)
            | (part & mask) << np.uint32(b),
            dtype=np.uint32,
        )

    def _present_small(self, canvas: NDArray[np.uint32]) -> None:
        import cv2

        view = canvas.view(np.uint8).reshape(*canvas.shape, 4)
        small = cv2.resize(view, self._surface.get_size(), interpolation=cv2.INTER_AREA)
        target = pygame.surfarray.pixels2d(self._surface)
        target.T[:] = self._mapped(np.ascontiguousarray(small).view(np.uint32)[:, :, 0])
        del target
        pygame.display.flip()

    def to_picture(self, x: float, y: float) -> tuple[float, float]:
        """Window pixel → pixel of the picture (pixel centres at integers)."""
        s = self._shrink
        return (x + 0.5) / s - 0.5, (y + 0.5) / s - 0.5

    def pump(self) -> None:
        """Let the system know that we are alive (needed while nothing else reads events)."""
        pygame.event.pump()

    def wait(self, seconds: float) -> None:
        """Show what is shown for a while, answering the system."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            pygame.event.pump()
            pygame.time.wait(10)

    def what_happened(self) -> str:
        """What has become of the display since it was opened, in words; empty when nothing has."""
        turned = False
        if self._watched is not None:
            now, first = self._watched.look(), self._watched.first
            size: Any = now.size if now is not None else None
            was: Any = first.size
            turned = now is not None and now.turned != first.turned
        else:
            pygame = _pygame()
            try:
                sizes = dict(enumerate(pygame.display.get_desktop_sizes()))
            except pygame.error:
                sizes = {}
            size = sizes.get(self.display.number)
            was = self.display.size if self.true_scale else size
        if size is None:
            return "The projector's display is off or unplugged"
        if size != was:
            return f"The projector's display now shows {_px(size)} instead of {_px(self.size)}"
        return "The projector's display was turned or mirrored" if turned else ""

    def moved(self) -> bool:
        """Whether the display shows another part of the desktop than it did: the picture is beside it."""
        if self._watched is None:
            return False
        now = self._watched.look()
        return now is not None and now.at != self._watched.first.at

    def say(self, lines: Sequence[str]) -> None:
        """Nothing but words, as far as the display shows them: no line may stand at a false scale."""
        from projector.picture.notice import words_only

        width, height = self._surface.get_size()
        now = self._watched.look() if self._watched is not None else None
        if now is not None:
            width, height = min(width, now.size[0]), min(height, now.size[1])
        self._surface.fill((0, 0, 0))
        words = words_only((width, height), lines)
        target = pygame.surfarray.pixels2d(self._surface)
        target.T[:height, :width] = self._mapped(words)
        del target
        pygame.display.flip()

    def reopen(self) -> bool:
        """Open the same picture on the same display again, after it was gone; whether it holds."""
        if not self.true_scale:
            return True
        number: int | None = self.display.number
        if self._watched is not None:  # SDL still has the displays as they were when it started
            number = self._watched.number()
            if number is None:
                return False
            pygame.display.quit()
            pygame.display.init()
            pygame.display.set_caption("chalkbeam")
        try:
            self._surface = pygame.display.set_mode(
                self.size, pygame.FULLSCREEN, 32, display=number
            )
        except pygame.error:
            return False
        pygame.mouse.set_visible(False)
        if self._watched is not None and (now := self._watched.look()) is not None:
            self._watched.first = replace(self._watched.first, at=now.at)
        return tuple(self._surface.get_size()) == self.size

    def close(self) -> None:
        """Give the display back."""
        self._surface = None
        if self._watched is not None:
            self._watched.close()
            self._watched = None
        pygame.display.quit()

    def __enter__(self) -> Beam:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _largest_mode(number: int) -> tuple[int, int] | None:
    try:
        modes = pygame.display.list_modes(display=number)
    except pygame.error:
        return None
    if not isinstance(modes, list) or not modes:
        return None
    return max(((int(w), int(h)) for w, h in modes), key=lambda m: m[0] * m[1])


# -- the event loop ------------------------------------------------------------------------------

_MODIFIERS = (
    "left ctrl", "right ctrl", "left shift", "right shift", "left alt", "right alt", "caps lock",
    "left meta", "right meta", "alt gr", "numlock",
)  # fmt: skip
_WAIT_MS = 15  # how long the loop sleeps for an event; messages and plans come in this often
_HOLD_S, _REPEAT_S = 0.4, 0.05  # a key held so long is pressed again, so often
_LOOK_S = 0.2  # how often the display is looked for
_BACK = "Set it back or plug it in again, and it goes on."


def key_name(event: Any) -> str:
    """A key event's name as `actions` knows it: ``shift+left``, ``page down``, ``a``; or ""."""
    name = pygame.key.name(event.key).lower()
    if not name or name in _MODIFIERS:
        return ""
    name = name.strip("[]") if len(name) > 1 else name
    held = [
        word
        for word, mask in (("shift", pygame.KMOD_SHIFT), ("ctrl", pygame.KMOD_CTRL),
                           ("alt", pygame.KMOD_ALT))
        if event.mod & mask
    ]  # fmt: skip
    return "+".join([*held, name])


def handle(sitting: Shown, beam: Beam, events: Iterable[Any]) -> None:
    """Turn the machine's events into the sitting's words; of many moves only the last counts."""
    move: Any = None

    def flush() -> None:
        nonlocal move
        if move is not None:
            keys = pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_SHIFT
            free = bool(pygame.key.get_mods() & keys)
            sitting.pointer("move", *beam.to_picture(*move.pos), free=free)
            move = None

    for event in events:
        if event.type == pygame.MOUSEMOTION:
            move = event
            continue
        flush()
        if event.type == pygame.QUIT:
            sitting.do("quit")
        elif event.type == pygame.KEYDOWN:
            name = key_name(event)
            if name:
                sitting.key(name)
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button in (1, 3):
            sitting.pointer("down", *beam.to_picture(*event.pos), event.button)
        elif event.type == pygame.MOUSEBUTTONUP and event.button in (1, 3):
            sitting.pointer("up", *beam.to_picture(*event.pos), event.button)
        elif event.type in (pygame.WINDOWEXPOSED, pygame.WINDOWRESTORED):
            beam.present(sitting.canvas)
    flush()


@dataclass
class Held:
    """A key held down: nudging, tilting and widening go on as long as it is; nothing else does."""

    name: str = ""
    code: int = 0
    due_s: float = 0.0

    def see(self, sitting: Shown, events: Iterable[Any], now_s: float) -> None:
        """Which key has gone down or up."""
        for event in events:
            if event.type == pygame.KEYDOWN:
                name = key_name(event)
                again = bool(name and sitting.repeats(name))
                self.name, self.code = (name, event.key) if again else ("", 0)
                self.due_s = now_s + _HOLD_S
            elif (event.type == pygame.KEYUP and event.key == self.code) or (
                event.type == pygame.WINDOWFOCUSLOST
            ):
                self.name = ""

    def again(self, now_s: float) -> str:
        """The key to be taken as pressed once more; "" when none is."""
        if not self.name or now_s < self.due_s:
            return ""
        self.due_s = now_s + _REPEAT_S
        return self.name


def settle() -> None:
    """What is loaded by now is not looked through for garbage again: that takes 10 to 30 ms, and comes
    in the middle of a drag."""
    gc.collect()
    gc.freeze()


def run(sitting: Shown, beam: Beam) -> None:
    """Sit at the table until she leaves; whatever ends it, everything is saved."""
    clock = time.monotonic  # pygame's own stands still until pygame.init, which opens sound too
    looked = clock()
    lost = False
    held = Held()
    try:
        sitting.frame()
        beam.present(sitting.canvas)
        settle()
        while sitting.running:
            first = pygame.event.wait(1 if sitting.pending else _WAIT_MS)
            events = [] if first.type == pygame.NOEVENT else [first, *pygame.event.get()]
            sitting.tick(clock())
            if clock() - looked > _LOOK_S:
                looked = clock()
                lost = _watch(sitting, beam, lost)
            if lost:  # paused: what she cannot see she cannot do, but she can leave
                handle(sitting, beam, [e for e in events if _leaves(sitting, e)])
                continue
            handle(sitting, beam, events)
            held.see(sitting, events, clock())
            if name := held.again(clock()):
                sitting.key(name)
            boxes = sitting.frame()
            if boxes:
                beam.present(sitting.canvas, boxes, sitting.changed)
    finally:
        gc.unfreeze()
        sitting.close()


def _leaves(sitting: Shown, event: Any) -> bool:
    """Whether an event means to leave the table."""
    if event.type == pygame.KEYDOWN:
        return sitting.leaves(key_name(event))
    return bool(event.type == pygame.QUIT)


def _watch(sitting: Shown, beam: Beam, lost: bool) -> bool:
    """Pause when the display has gone or changed, go on when it is back as it was."""
    what = beam.what_happened()
    if what:
        if not lost or what != beam.paused:
            beam.paused = what
            sitting.tell(f"{what}: paused, nothing is lost. {_BACK}", 3600.0)
            sitting.save()
            with contextlib.suppress(pygame.error):  # there may be nothing to say it on
                beam.say([what, "Paused: no line would be true. Nothing is lost.", _BACK])
        return True
    if lost or beam.moved():
        if not beam.reopen():
            return True
        beam.paused = ""
        sitting.tell("The display is back. Lay a ruler on the check square before you go on.", 20.0)
        sitting.repaint()
        sitting.frame()
        beam.present(sitting.canvas)
    return False
