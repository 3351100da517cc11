"""Cards that a small webcam's picture shows so small that one look does not find them all."""

from __future__ import annotations

import cv2
from rigs import make_rig

from calibrate.detect import detect


def test_small_cards_are_read_at_a_size_between() -> None:
    """All four cards of a webcam's picture of 960 px are found; fewer windows and looks missed one."""
    photo = make_rig(9700, "webcam").photos()[0]
    small = cv2.resize(photo, (960, 540), interpolation=cv2.INTER_AREA)
    assert sorted(detect(small, (1920, 1080), lenient=True).cards) == [0, 1, 2, 3]
