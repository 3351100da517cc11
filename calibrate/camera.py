"""Where frames come from, and how many shaky frames become one good picture.

A source gives RGB frames one after the other: a camera that is plugged in, or the virtual table's. Projectors with a colour wheel and rolling shutters paint bands over single
frames, so a view is the mean of many. White light shows the cards best, the pattern shows the
projector: a view takes the cards from the one and all else from the other.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from calibrate.arrays import Array, Image
from calibrate.boards import card_outline
from calibrate.detect import Detections, detect, in_both
from calibrate.pattern import Pattern
from configs.errors import Refusal

FRAMES = 30
_SETTLE_SECONDS = 0.7  # projector, cable and camera together lag a few tenths
_WARM_UP = 12  # frames that a camera spends on finding its exposure
_QUEUED = 6  # drivers keep up to four or five frames back
_SHAKE_LEVELS = 10.0  # grey levels of change between the first and last frames: something moved
_SLID_PX = 0.35  # between two views of cards that nobody touched; noise is a tenth of it
_UNSURE = (
    "The pattern lies over the cards, so it could not be checked that the camera stood still and "
    "kept its focus: lay them into the white windows."
)
_ASKED = (1920, 1080)


class Source(Protocol):
    """Frames, one after the other.

    ``name`` for messages; ``settle_seconds`` until a new light is seen; ``stale`` frames that
    were taken before and still wait in a queue.
    """

    name: str
    settle_seconds: float
    stale: int

    def read(self) -> Image:
        """The next frame, (H, W, 3) uint8 RGB."""
        ...

    def close(self) -> None:
        """Give the device back."""
        ...


@dataclass(eq=False)
class DeviceSource:
    """A camera that is plugged in. Open it with `open`; it is a context manager."""

    name: str
    _device: Any = field(repr=False)
    settle_seconds: float = _SETTLE_SECONDS
    stale: int = _QUEUED

    @classmethod
    def open(cls, number: int = 0) -> DeviceSource:
        """Open camera ``number`` at full HD, or the nearest that it has.

        Raises:
            Refusal: there is no such camera, it is in use, or it gives no picture.
        """
        import cv2

        name = f"camera {number}"
        with _quiet():
            device = cv2.VideoCapture(int(number))
            if not device.isOpened():
                device.release()
                raise Refusal(
                    "no-camera",
                    f"{name} cannot be opened.",
                    f"{_cameras_told()} Is it plugged in, allowed to this program, and closed in "
                    "every other one? A phone's photo does as well: 'calibrate photo'.",
                    data={"camera": number},
                )
            # compressed frames: many cameras give their full size only so
            device.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
            device.set(cv2.CAP_PROP_FRAME_WIDTH, _ASKED[0])
            device.set(cv2.CAP_PROP_FRAME_HEIGHT, _ASKED[1])
        source = cls(name, device)
        try:
            for _ in range(_WARM_UP):
                source.read()
        except Refusal:
            source.close()
            raise
        # a lens that hunts for focus between two views changes the scale of its picture
        device.set(cv2.CAP_PROP_AUTOFOCUS, 0)
        return source

    def read(self) -> Image:
        """The next frame.

        Raises:
            Refusal: the camera gives none (unplugged, asleep).
        """
        for _ in range(3):
            good, frame = self._device.read()
            if good and frame is not None and frame.size:
                return np.ascontiguousarray(np.asarray(frame, np.uint8)[..., ::-1])
        raise Refusal(
            "no-frame",
            f"{self.name} gives no picture.",
            "Is its cable in and its cover open? Plug it in again.",
        )

    def close(self) -> None:
        """Give the camera back."""
        self._device.release()

    def __enter__(self) -> DeviceSource:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()


def _cameras_told() -> str:
    devices = sorted(Path("/dev").glob("video*")) if Path("/dev").is_dir() else []
    if os.name == "nt" or not Path("/sys").is_dir():
        return "Try another number with --camera."
    if not devices:
        return "This machine has no camera."
    return f"Seen here: {', '.join(str(d) for d in devices[:6])} (the number is --camera)."


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """OpenCV's own warnings about devices held back: ours say it in words."""
    import cv2

    # the log's place differs between the OpenCV versions that we allow
    log: Any = getattr(getattr(cv2, "utils", None), "logging", cv2)
    if not hasattr(log, "setLogLevel"):
        yield
        return
    level = log.getLogLevel()
    log.setLogLevel(0)
    try:
        yield
    finally:
        log.setLogLevel(level)


def mean_frame(
    source: Source,
    count: int = FRAMES,
    progress: Callable[[int, int], None] | None = None,
) -> Image:
    """The mean of ``count`` frames, (H, W, 3) uint8 RGB.

    Args:
        progress: called with (frames so far, count) after each.

    Raises:
        Refusal: ``moved`` when the last frames do not show what the first did; the source's own.
    """
    total: NDArray[np.float32] | None = None
    ends: list[Array] = []
    for i in range(count):
        frame = source.read()
        if total is None:
            total = frame.astype(np.float32)
        elif frame.shape != total.shape:
            raise Refusal("moved", f"{source.name} changed the size of its picture.", "Try again.")
        else:
            total += frame
        if i in (0, 1, count - 2, count - 1):
            ends.append(_coarse(frame))
        if progress is not None:
            progress(i + 1, count)
    if total is None:
        raise Refusal("no-frame", "not one frame was asked for.", "Ask for 1 or more.")
    if len(ends) >= 4:
        change = np.abs((ends[0] + ends[1]) - (ends[-1] + ends[-2])) / 2
        if float(np.quantile(change, 0.98)) > _SHAKE_LEVELS:
            raise Refusal(
                "moved",
                "something moved while the frames were taken.",
                "Put the camera on something that stands still, step back, and try again.",
                data={"levels": float(np.quantile(change, 0.98))},
            )
    return np.asarray(np.rint(total / np.float32(count)), np.uint8)


def _coarse(frame: Image) -> Array:
    """Grey levels of blocks of the frame, small enough that noise and flicker average out."""
    import cv2

    h, w = frame.shape[:2]
    small = cv2.resize(frame, (max(8, w // 24), max(8, h // 24)), interpolation=cv2.INTER_AREA)
    grey = np.asarray(small, np.float64).mean(axis=2)
    # bands of a colour wheel run along the rows and dim them whole: that is not motion
    rows = grey.mean(axis=1, keepdims=True) + 8.0
    return np.asarray(grey / rows * (grey.mean() + 8.0))


def _drain(source: Source) -> None:
    """Let go of frames that show the light before this one."""
    for _ in range(source.stale):
        source.read()


def with_cards_of(pattern_view: Image, white_view: Image, outlines: list[Array]) -> Image:
    """The view of the pattern with the cards as white light shows them.

    Both from the same camera standing still, so that a card's pixels may be taken over.

    Args:
        outlines: (4, 2) px corners of each card in the views.
    """
    import cv2

    out = pattern_view.copy()
    mask = np.zeros(out.shape[:2], np.uint8)
    for ring in outlines:
        cv2.fillConvexPoly(mask, np.rint(ring).astype(np.int32), 255)
    out[mask > 0] = white_view[mask > 0]
    return out


@dataclass(frozen=True, eq=False)
class View:
    """What a camera saw from one place: the picture that was measured, and what was found."""

    picture: Image = field(repr=False)
    seen: Detections


def look_for_cards(source: Source) -> tuple[Image, Detections | None, str]:
    """A few frames under white light: the picture, the cards in it, and what is wrong if none."""
    _drain(source)
    picture = mean_frame(source, 4)
    try:
        return picture, detect(picture, None, name=source.name), ""
    except Refusal as refusal:
        return picture, None, str(refusal)


def take_view(
    source: Source,
    show: Callable[[Image], None],
    pattern: Pattern,
    *,
    frames: int = FRAMES,
    wait: Callable[[float], None] = lambda seconds: None,
    progress: Callable[[int, int], None] | None = None,
) -> View:
    """Show white, then the pattern, and join what each shows best.

    Args:
        show: puts a picture (H, W, 3) on the projector.
        wait: lets so many seconds pass while the display stays alive.
        progress: called with (frames so far, frames in all).

    Raises:
        Refusal: no cards, no pattern, something moved; as `calibrate.detect.detect` says.
    """
    w, h = pattern.size
    told = progress or (lambda done, whole: None)
    show(np.full((h, w, 3), 255, np.uint8))
    wait(source.settle_seconds)
    _drain(source)
    white = mean_frame(source, frames, lambda i, n: told(i, 2 * n))
    cards = detect(white, None, name=source.name)
    show(np.repeat(pattern.image()[..., None], 3, axis=2))
    wait(source.settle_seconds)
    _drain(source)
    lit = mean_frame(source, frames, lambda i, n: told(n + i, 2 * n))
    outlines = [card_outline(i, corners, -4.0) for i, corners in cards.cards.items()]
    slid = _slid_px(cards, lit, source.name)
    if slid is not None and slid > _SLID_PX:
        # refocused or nudged in between: the view of the pattern must do alone
        return View(lit, detect(lit, pattern.size, name=source.name))
    picture = with_cards_of(lit, white, outlines)
    seen = detect(picture, pattern.size, name=source.name)
    if slid is None:
        seen = replace(seen, notes=(*seen.notes, _UNSURE))
    return View(picture, seen)


def _slid_px(white: Detections, lit: Image, name: str) -> float | None:
    """How far the cards lie apart in the two views, px rms; None when the pattern hides them."""
    try:
        seen = detect(lit, None, name=name)
    except Refusal:
        return None
    apart = [np.sum((a.px - b.px) ** 2, axis=1) for a, b in in_both(white, seen)]
    if not apart:
        return None
    # a card that lies half under the pattern is measured badly: the middle one decides
    return float(np.sqrt(np.median(np.concatenate(apart))))


def live_picture(frame: Image, seen: Detections | None, size: tuple[int, int], words: str) -> Image:
    """White light with a small picture of what the camera sees in its middle, (H, W, 3) RGB.

    The middle of the beam is free: the cards lie towards the corners. Cards found
    are painted green with their number.

    Args:
        frame: the camera's picture; seen: the cards in it; size: the projector's picture.
        words: one line under the picture.
    """
    import cv2

    w, h = size
    out = np.full((h, w, 3), 255, np.uint8)
    wide = round(0.3 * w)
    tall = round(wide * frame.shape[0] / frame.shape[1])
    tall = min(tall, round(0.4 * h))
    small = np.asarray(cv2.resize(frame, (wide, tall), interpolation=cv2.INTER_AREA), np.uint8)
    small = np.ascontiguousarray(small)
    scale = np.array([wide / frame.shape[1], tall / frame.shape[0]])
    for card_id, corners in (seen.cards if seen else {}).items():
        ring = card_outline(card_id, corners) * scale
        corners_px = [np.rint(ring).astype(np.int32)]
        # painted over, or the camera would read the small card as the same card twice
        cv2.fillPoly(small, corners_px, (0, 150, 60), cv2.LINE_AA)
        spot = ring.mean(axis=0) + np.array([-0.008, 0.008]) * h
        cv2.putText(
            small, str(card_id), (round(float(spot[0])), round(float(spot[1]))),
            cv2.FONT_HERSHEY_SIMPLEX, h / 1400, (255, 255, 255), max(1, round(h / 700)), cv2.LINE_AA,
        )  # fmt: skip
    left, top = (w - wide) // 2, (h - tall) // 2 - round(0.04 * h)
    out[top : top + tall, left : left + wide] = small
    cv2.rectangle(out, (left - 2, top - 2), (left + wide + 1, top + tall + 1), (0, 0, 0), 2)
    letter, weight = h / 1000, max(1, round(h / 540))
    (tw, th), _ = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, letter, weight)
    at = ((w - tw) // 2, top + tall + round(1.8 * th))
    cv2.putText(out, words, at, cv2.FONT_HERSHEY_SIMPLEX, letter, (0, 0, 0), weight, cv2.LINE_AA)
    return out
