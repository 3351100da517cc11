"""Reference pictures: what a page looked like when somebody last looked at it and found it good.

Few and small; coordinates are for the other tests. On failure the picture, the reference and their
difference are saved in the test's own folder, which the message names. To take new ones, look at
them and run the test with CHALKBEAM_NEW_PICTURES=1.
"""

from __future__ import annotations

import os
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
from numpy.typing import NDArray

HERE = Path(__file__).parents[1] / "pictures"
NEW = "CHALKBEAM_NEW_PICTURES"
SLACK = 38  # grey steps of 255, after a blur of 0.8 px: what smoothing of edges can differ by
SPOTS = 12  # pixels that may differ by more

Grey = NDArray[np.uint8]


def page_picture(data: bytes, number: int, dots: float = 50.0) -> Grey:
    """One page (from 1) of a PDF in grey, at ``dots`` an inch, by pypdfium2."""
    page = pypdfium2.PdfDocument(data)[number - 1]
    grey = page.render(scale=dots / 72.0, grayscale=True).to_numpy()
    return np.asarray(grey.reshape(grey.shape[:2]), dtype=np.uint8)


def unlike(picture: Grey, reference: Grey) -> Grey | None:
    """Where two pictures differ (bright is much), or None where they are alike."""
    if picture.shape != reference.shape:
        return np.full(reference.shape, 255, dtype=np.uint8)
    soft = [cv2.GaussianBlur(p, (0, 0), 0.8).astype(int) for p in (picture, reference)]
    off = np.abs(soft[0] - soft[1]).astype(np.uint8)
    return off if int((off > SLACK).sum()) > SPOTS else None


def same_picture(picture: Grey, name: str, folder: Path) -> None:
    """Assert that a picture is like its reference; ``folder``: for what is saved on failure."""
    kept = HERE / f"{name}.png"
    if os.environ.get(NEW):
        cv2.imwrite(str(kept), picture)
    reference = cv2.imread(str(kept), cv2.IMREAD_GRAYSCALE)
    assert reference is not None, f"there is no reference {kept}; take one with {NEW}=1"
    off = unlike(picture, np.asarray(reference, dtype=np.uint8))
    if off is None:
        return
    for what, shown in (("is", picture), ("was", reference), ("difference", 255 - off)):
        cv2.imwrite(str(folder / f"{name}-{what}.png"), shown)
    raise AssertionError(
        f"'{name}' does not look as it did: see {folder}/{name}-*.png; where it is right so, "
        f"take it as the new reference with {NEW}=1"
    )
