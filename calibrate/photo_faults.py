"""What is wrong with a photo, in words for the person who took it.

Only looked into where something could not be read for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array, Image
from calibrate.boards import agreeing, find_cards, gray_of, read_markers
from calibrate.cards import FIRST_PATTERN_ID
from calibrate.pattern import bare, sizes_like
from calibrate.photo import check_photo
from calibrate.saddles import Corners
from configs.errors import Refusal

SHAKEN, UNSHARP = "The photo was shaken.", "The photo is not sharp:"  # how such notes begin
_CARDS_LAID = 4  # of a print
READ_WIDTH = 2000  # long side at which markers are read first, px
_PLAIN_STEP = 45.0  # grey levels; wood grain alone makes 35, cards and pattern 75 to 140
# Edges of sharp virtual photos are up to 6 px wide (of 2000) and by up to 1.42 unlike over the
# directions, out of focus by 1.44; shaken by what a marker cannot be read through, from 1.6 on.
_SHAKEN_PX, _SHAKEN_RATIO, _SOFT_PX = 4.5, 1.52, 8.0
_STEADY = (
    "Lean the phone on something or use its timer, and give it more light, so that it need not "
    "expose so long."
)


def _light(gray: Image) -> dict[str, float]:
    import cv2

    small = np.asarray(
        cv2.resize(
            gray,
            (480, max(1, round(480 * gray.shape[0] / gray.shape[1]))),
            interpolation=cv2.INTER_AREA,
        )
    )
    return {
        "dark": float(np.quantile(small, 0.02)),
        "middle": float(np.quantile(small, 0.5)),
        "bright": float(np.quantile(small, 0.98)),
        "burnt": float(np.mean(small >= 252)),
    }


def _sharpness(gray: Image) -> float:
    """Width of the sharpest edges, px: step height over steepest slope, 2 % sharpest places."""
    import cv2

    soft = cv2.GaussianBlur(gray, (0, 0), 1.0).astype(np.float32)
    slope = np.hypot(cv2.Sobel(soft, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(soft, cv2.CV_32F, 0, 1) / 8)
    r = 12
    kernel = np.ones((2 * r + 1, 2 * r + 1), np.uint8)
    step = cv2.dilate(gray, kernel).astype(np.float32) - cv2.erode(gray, kernel)
    with np.errstate(divide="ignore", invalid="ignore"):
        width = np.where((step > 25) & (slope > 0.5), step / slope, np.inf)
    finite = width[np.isfinite(width)]
    return float(np.quantile(finite, 0.02)) if finite.size > 50 else math.inf


def _edge_widths(gray: Image) -> tuple[float, float]:
    """Width of the sharpest edges across the worst and the best of eight directions, px.

    Of a picture reduced to 2000 px: what the grey changes over a finger's breadth, by the
    steepest slope the same way. A shake smears all edges across its way and leaves those along
    it, so the two differ; a lens out of focus, or a scene of any kind, softens all ways alike.
    Directions in which nothing in the scene stands out tell nothing; (0, 0) when none does.
    """
    import cv2

    factor = min(1.0, READ_WIDTH / max(gray.shape))
    small = gray
    if factor < 1:
        small = np.asarray(
            cv2.resize(gray, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        )
    soft = cv2.GaussianBlur(small, (0, 0), 1.0).astype(np.float32)
    rough = cv2.GaussianBlur(small, (0, 0), 2.0).astype(np.float32)
    slope_x = cv2.Sobel(soft, cv2.CV_32F, 1, 0) / 8
    slope_y = cv2.Sobel(soft, cv2.CV_32F, 0, 1) / 8
    h, w = small.shape
    reach = max(h, w) // 50
    rim = reach + 1
    widths = []
    for k in range(8):
        c, s = math.cos(math.pi * k / 8), math.sin(math.pi * k / 8)
        x, y = round(reach * c), round(reach * s)
        ahead = rough[rim + y : h - rim + y : 4, rim + x : w - rim + x : 4]
        behind = rough[rim - y : h - rim - y : 4, rim - x : w - rim - x : 4]
        step = float(np.quantile(np.abs(ahead - behind), 0.98))
        if step < _PLAIN_STEP:
            continue
        # an edge fills 2 % of the first picture where it fills 0.04 % of the second
        slope = float(np.quantile(np.abs(c * slope_x + s * slope_y), 0.9996))
        widths.append(step / max(slope, 1e-3))
    return (max(widths), min(widths)) if widths else (0.0, 0.0)


def _is_shaken(worst: float, best: float) -> bool:
    return worst > _SHAKEN_PX and worst > _SHAKEN_RATIO * best


def _mirrored(gray: Image, kind: str) -> bool:
    """Does the picture hold more of our markers when it is flipped?"""
    factor = min(1.0, READ_WIDTH / max(gray.shape))
    flipped = read_markers(np.ascontiguousarray(gray[:, ::-1]), factor)
    if kind == "cards":
        flipped = [m for m in flipped if m[0] < FIRST_PATTERN_ID]
        return bool(find_cards(np.ascontiguousarray(gray[:, ::-1]), flipped, None, ""))
    return sum(1 for i, _ in flipped if i >= FIRST_PATTERN_ID) >= 6


# code and case -> what is wrong, and what to do
_SAID: Mapping[str, tuple[str, str]] = {
    "under-exposed": (
        "the photo is too dark to find anything in it.",
        "Turn on the projector and more room light, or expose longer.",
    ),
    "over-exposed": (
        "the photo is burnt out: the lit table is pure white.",
        "Tap on the brightest place before you take it, or lower the exposure.",
    ),
    "blurred, shaken": ("the photo was shaken: its edges are drawn out one way.", _STEADY),
    "blurred": (
        "the photo is blurred: no edge in it is sharp.",
        "Hold the phone against something, wait until it has focused, wipe its lens.",
    ),
    "blurred, cards": (
        "the photo is not sharp: the projected pattern is seen, but no card can be read.",
        "Wait until the camera has focused, wipe its lens, go nearer. The four cards lie face up in "
        "the white windows of the pattern.",
    ),
    "mirrored": (
        "the photo is mirrored.",
        "Switch off 'mirror front camera', or use the camera on the phone's back.",
    ),
    "mirrored-pattern": (
        "the projector shows its picture mirrored.",
        "Switch off rear projection (mirror image) in the projector's menu.",
    ),
    "no-pattern": (
        "the cards are seen, but not the projected pattern.",
        "Show the pattern full screen and darken the room; on a dark mat lay white paper wherever "
        "the light falls.",
    ),
}


def _refusal(case: str, name: str, **data: Any) -> Refusal:
    return Refusal(case.partition(",")[0], *_SAID[case], where=name, data=data)


def _poor(gray: Image, name: str, projected: int = 0) -> Refusal | None:
    """What is wrong with light or sharpness; ``projected``: markers of the pattern that were read
    all the same."""
    light = _light(gray)
    if light["bright"] < 60:
        return _refusal("under-exposed", name, **light)
    if light["burnt"] > 0.25 or light["dark"] > 225:
        return _refusal("over-exposed", name, **light)
    worst, best = _edge_widths(gray)
    if _is_shaken(worst, best):
        return _refusal("blurred, shaken", name, edge_px=worst, best_px=best)
    width = _sharpness(gray)
    if width > max(9.0, max(gray.shape) / 300):
        return _refusal("blurred", name, edge_px=width if math.isfinite(width) else -1.0)
    if projected >= 3 and worst > _SOFT_PX:
        return _refusal("blurred, cards", name, edge_px=worst, best_px=best)
    return None


def why_unreadable(photo: ArrayLike, name: str = "photo") -> Refusal | None:
    """What is wrong with a photo in which no card can be read; None if nothing is.

    For a caller of `detect` that was ``lenient``: mirrored (by its cards), under- or over-exposed,
    blurred, shaken.
    """
    gray = gray_of(check_photo(photo, name))
    return _refusal("mirrored", name) if _mirrored(gray, "cards") else _poor(gray, name)


def say_why_nothing(gray: Image, markers: Sequence[tuple[int, Array]], name: str) -> None:
    """Raise the refusal that fits a photo without a card."""
    if _mirrored(gray, "cards"):
        raise _refusal("mirrored", name)
    projected = sum(1 for i, _ in markers if i >= FIRST_PATTERN_ID)
    poor = _poor(gray, name, projected)
    if poor is not None:
        raise poor
    seen = (
        "The projected pattern is seen, but no card is." if projected >= 3 else "No card is seen."
    )
    raise Refusal(
        "no-cards",
        seen[0].lower() + seen[1:],
        "Lay the four printed cards, face up, into the white windows of the pattern; nearer and "
        "sharper if they are small in the photo.",
        where=name,
        data={"pattern_markers": projected},
    )


def say_why_no_pattern(
    gray: Image,
    markers: Sequence[tuple[int, Array]],
    size: tuple[int, int],
    name: str,
) -> None:
    """Raise the refusal that fits a photo with cards but without the pattern."""
    seen = {i: q for i, q in markers if i >= FIRST_PATTERN_ID}
    others = [s for s in sizes_like(seen) if s != size]
    if others and len(agreeing(markers, bare(others[0]).board())) >= max(4, 0.6 * len(seen)):
        w, h = others[0]
        raise Refusal(
            "other-pattern",
            f"the projector shows the pattern for {w} x {h} px, not for {size[0]} x {size[1]}.",
            "Show the pattern made for the projector's own resolution and give that as --size.",
            where=name,
            data={"seen": list(others[0]), "wanted": list(size)},
        )
    if len(seen) >= 6:
        raise Refusal(
            "other-pattern",
            f"the projected pattern is not the one for {size[0]} x {size[1]} px, or it is cropped or scaled.",
            "Make it with 'calibrate pattern --size' for the projector's own resolution; show it "
            "full screen, with overscan, zoom and keystone correction off.",
            where=name,
            data={"wanted": list(size), "markers": len(seen)},
        )
    if _mirrored(gray, "pattern"):
        raise _refusal("mirrored-pattern", name)
    raise _poor(gray, name) or _refusal("no-pattern", name, markers=len(seen))


def quality_notes(gray: Image, cards: Mapping[int, Corners], pattern: Corners | None) -> list[str]:
    """What would make the next photo better."""
    notes = []
    # whether the picture is soft is looked into only where something could not be read for it
    few = pattern is not None and 0 < len(cards) < _CARDS_LAID
    worst, best = _edge_widths(gray) if few else (0.0, 0.0)
    shaken = _is_shaken(worst, best)
    if shaken:
        notes.append(f"{SHAKEN} {_STEADY}")
    if cards:
        side = float(np.median(np.concatenate([c.side for c in cards.values()])))
        blur = float(np.median(np.concatenate([c.blur for c in cards.values()])))
        white = float(np.median(np.concatenate([c.white for c in cards.values()])))
        if side < 12:
            notes.append("The cards are small in the photo: go nearer, or use the larger cards.")
        if not shaken and ((blur > 2.2 and blur > 0.08 * side) or worst > _SOFT_PX):
            notes.append(f"{UNSHARP} hold still and let the camera focus.")
        if white > 250:
            notes.append("The cards are burnt out: expose less.")
        elif white < 60:
            notes.append("The photo is dark: expose longer or light the room evenly.")
    if pattern is not None and len(pattern):
        low = float(np.median(pattern.contrast))
        if low < 14:
            notes.append(
                "The projected pattern is faint: darken the room, or lay white paper wherever it falls."
            )
        if float(np.median(pattern.blur)) > 0.16 * float(np.median(pattern.side)):
            notes.append("The projector is out of focus.")
    return notes
