"""The table and the picture of a lay look as they did when they were last looked at.

The table's letters are strokes of our own, so no font of this machine shows in it.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from pictures import Grey, same_picture, unlike
from table_rig import DATA, docket, projector

from projector.lay_picture import lay_picture
from projector.session.sitting import Sitting


def table() -> Grey:
    """Two pieces and a chosen one, the strip below, at a small beam."""
    return seen(Sitting(docket(), projector((960, 540))))


def seen(sitting: Sitting) -> Grey:
    """The canvas with a piece chosen, in grey."""
    sitting.do("next")
    sitting.frame()
    canvas = sitting.canvas
    rgb = np.stack([(canvas >> k) & 255 for k in (16, 8, 0)], axis=-1).astype(np.uint8)
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def test_the_table(tmp_path: Path) -> None:
    """The strip with its few buttons, cutting and sewing lines, labels, grain, fold, brackets."""
    same_picture(table(), "table", tmp_path)


def test_the_picture_of_a_lay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces on folded cloth, each in the colour of how it is cut, grain, fold, scale; without its
    words, whose letters are OpenCV's and differ from version to version."""
    monkeypatch.setattr("cv2.putText", lambda image, *_: image)
    made = cv2.cvtColor(lay_picture(docket(), width_px=700), cv2.COLOR_RGB2GRAY)
    same_picture(np.asarray(made, dtype=np.uint8), "lay", tmp_path)


def test_a_label_or_a_line_that_is_gone_shows() -> None:
    """A table without one of its pieces is not taken for the same."""
    less = seen(Sitting(docket(lay=DATA["lay"][:2]), projector((960, 540))))
    assert unlike(less, table()) is not None
