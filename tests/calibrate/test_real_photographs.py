"""The camera half on real photographs of a chessboard, the widely used stereo calibration set."""

from __future__ import annotations

import numpy as np
import pytest
from bench_board import PHOTOS, found, known_camera, measured, ours, whole

pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not PHOTOS.is_dir(), reason="the photographs are not beside the checkout"),
]


def test_four_patches_predict_the_whole_board() -> None:
    """Four patches at unknown places, corners measured as in a photo of cards, nothing chosen on these pictures: at most 800 ppm of the board in the median, 1,300 in every one.

    Bounded below by what the whole board given as one card leaves: unknown poses cannot help.
    """
    got, least = [], []
    for picture, rough in found().values():
        px, sigma = measured(picture, rough)
        assert np.all(np.isfinite(px))
        got.append(ours(picture.shape[::-1], px, sigma))
        least.append(whole(picture.shape[::-1], px, sigma))
    assert len(got) >= 10
    assert np.median(got) <= 800
    assert max(got) <= 1300
    assert np.median(got) > np.median(least)


def test_as_good_as_with_the_camera_known_beforehand() -> None:
    """On the corners of OpenCV's detector one photo leaves what it leaves when OpenCV's `calibrateCamera` has told the camera from all of them."""
    photos = found()
    corners = [px for _, px in photos.values()]
    size = next(iter(photos.values()))[0].shape[::-1]
    got = [ours(size, px, 0.05) for px in corners]
    bound = known_camera(size, corners)
    assert np.median(got) < 1.05 * np.median(bound)
    assert max(got) < 1.05 * max(bound)
