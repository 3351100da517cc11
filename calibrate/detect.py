"""From a photo to corners: which cards and which pattern are seen, and exactly where.

Before `calibrate.solve`. `calibrate.boards` finds the corners, `calibrate.saddles` measures them,
`calibrate.photo_faults` says what is wrong with the photo.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array
from calibrate.boards import affine, card_outline, find_cards, find_pattern, gray_of, read_markers
from calibrate.cards import FIRST_PATTERN_ID
from calibrate.pattern import Pattern, bare
from calibrate.photo import check_photo
from calibrate.photo_faults import (
    READ_WIDTH,
    SHAKEN,
    UNSHARP,
    quality_notes,
    say_why_no_pattern,
    say_why_nothing,
)
from calibrate.plane import apply
from calibrate.saddles import Corners

_RIM_MM = 4.0  # so much wider than the card no corner of the pattern is looked for
_LEAST_SHARED = 20  # corners in both photos, to call them one
_SAME_NOISE = 3.0  # median miss over noise; copies and a still camera make 0.1 to 2


@dataclass(frozen=True, eq=False)
class Detections:
    """What one photo shows.

    ``size`` (width, height) px; ``cards`` card id -> corners; ``pattern`` corners of the projected
    pattern of ``pattern_size``; ``markers`` ids read; ``name`` for messages.
    """

    name: str
    size: tuple[int, int]
    cards: Mapping[int, Corners]
    pattern: Corners | None
    pattern_size: tuple[int, int]
    markers: tuple[int, ...] = ()
    notes: tuple[str, ...] = field(default=())


def detect(
    photo: ArrayLike,
    pattern_size: tuple[int, int] | None,
    *,
    pattern: Pattern | None = None,
    card_ids: Collection[int] | None = None,
    name: str = "photo",
    lenient: bool = False,
) -> Detections:
    """Find and measure the cards and the projected pattern in a photo.

    Args:
        photo: (H, W, 3) RGB or (H, W) uint8.
        pattern_size: the projector's picture size; None looks for cards only.
        pattern: the pattern shown, when its file is at hand; else it follows from the size.
        card_ids: cards of the print in use; None takes any print.
        name: the photo's name, for messages.
        lenient: take what there is, cards or pattern or neither; the caller says what is missing.

    Raises:
        InputError: not a picture.
        Refusal: mirrored, blurred, over- or under-exposed, no cards, the same card twice, cards
            of several prints, pattern not seen or of another size.
    """
    gray = gray_of(check_photo(photo, name))
    h, w = gray.shape
    long_side = max(w, h)
    markers = read_markers(gray, min(1.0, READ_WIDTH / long_side))
    wanted = {i for i, _ in markers}
    shown = None
    if pattern_size is not None:
        shown = (pattern or bare(pattern_size)).board()
    # who takes what there is has enough in the whole of the light
    enough = lenient and shown is not None and set(shown.markers) <= wanted
    for larger in () if enough else (1.5, 2.0):  # small markers are read better larger
        if _is_thin({i for i, _ in markers}, pattern_size is not None):
            factor = larger * min(1.0, READ_WIDTH / long_side)
            markers = _merge(markers, read_markers(gray, factor))
    found = find_cards(gray, markers, card_ids, name)
    if not found and not lenient:
        say_why_nothing(gray, markers, name)
    corners = None
    if shown is not None and pattern_size is not None:
        outlines = [card_outline(i, c, _RIM_MM) for i, c in found.items()]
        corners = find_pattern(gray, markers, shown, outlines)
        if corners is None and not lenient:
            say_why_no_pattern(gray, markers, pattern_size, name)
    return Detections(
        name,
        (w, h),
        found,
        corners,
        pattern_size or (0, 0),
        tuple(sorted({i for i, _ in markers})),
        tuple(quality_notes(gray, found, corners)),
    )


def same_view(one: Detections, two: Detections) -> bool:
    """Whether two photos show the table from one and the same place: a file given twice, a copy
    of it (turned, made smaller, saved anew), or a camera that did not move.

    From another place a card is foreshortened otherwise, which no affine map of the picture
    does; a hand's breadth makes hundreds of times the noise of a corner.
    """
    boards = in_both(one, two)
    if sum(len(a) for a, _ in boards) < _LEAST_SHARED:
        return False
    px, sigma, others = (
        np.concatenate(each)
        for each in zip(*((a.px, a.sigma, b.px) for a, b in boards), strict=True)
    )
    chart = affine(others, px)
    if chart is None:
        return False
    return bool(np.median(np.hypot(*(px - apply(chart, others)).T) / sigma) < _SAME_NOISE)


def in_both(one: Detections, two: Detections) -> list[tuple[Corners, Corners]]:
    """Each board that both photos show, with the same corners of each."""
    boards = [(one.cards[i], two.cards[i]) for i in sorted(set(one.cards) & set(two.cards))]
    if one.pattern is not None and two.pattern is not None:
        boards.append((one.pattern, two.pattern))
    shared = ((a, b, np.intersect1d(a.index, b.index, return_indices=True)) for a, b in boards)
    return [(a.pick(at), b.pick(there)) for a, b, (_, at, there) in shared]


def is_soft(seen: Detections) -> bool:
    """Whether a photo was shaken or is out of focus, as its notes have it."""
    return any(note.startswith((SHAKEN, UNSHARP)) for note in seen.notes)


def _is_thin(ids: set[int], with_pattern: bool) -> bool:
    """Whether more may be found by another look."""
    seen = {i // 2 for i in ids if i < FIRST_PATTERN_ID}
    both = sum(1 for i in ids if i < FIRST_PATTERN_ID)
    projected = sum(1 for i in ids if i >= FIRST_PATTERN_ID)
    return len(seen) < 4 or both < 6 or (with_pattern and projected < 5)


def _merge(
    first: list[tuple[int, Array]], second: list[tuple[int, Array]]
) -> list[tuple[int, Array]]:
    """Both readings; the same marker at the same place once."""
    out = list(second)
    for i, quad in first:
        middle = quad.mean(axis=0)
        side = float(np.hypot(*(quad[0] - quad[2])))
        if not any(
            i == j and float(np.hypot(*(other.mean(axis=0) - middle))) < side for j, other in second
        ):
            out.append((i, quad))
    return out
