"""Printed pages look as they did when they were last looked at.

Drawn with the letters that every PDF reader has, so that no font of this machine shows in them.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from exchange_pieces import ALLOWANCES, garment
from pictures import SLACK, page_picture, same_picture, unlike

from drafting import Docket
from drafting.export.pdf import pieces_pdf
from drafting.steps import steps_pdf

CONFIGS = Path(__file__).parents[2] / "configs"


@pytest.fixture(autouse=True)
def _no_fonts(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No font files on this machine."""
    monkeypatch.setattr("drafting.lettering.font_folders", list)
    yield


@pytest.mark.parametrize(
    ("page", "name"), [(1, "print-cover"), (2, "print-map"), (4, "print-sheet")]
)
def test_printed_pages(page: int, name: str, tmp_path: Path) -> None:
    """Cover, map and a sheet of the rehearsal top on A4."""
    made = pieces_pdf(garment(), ALLOWANCES, paper="a4", title="rehearsal top")
    same_picture(page_picture(made.data, page), name, tmp_path)


def test_step_page(tmp_path: Path) -> None:
    """The first page of the skirt's steps."""
    docket = Docket.load(next(CONFIGS.glob("*s/pier-skirt.yaml")))
    data = steps_pdf(docket.draft(), title="pier skirt", paper="a4")
    same_picture(page_picture(data, 1), "steps-page", tmp_path)


def test_what_counts_as_alike() -> None:
    """Smoothed edges may differ a little; a line that is gone or has moved may not."""
    made = pieces_pdf(garment(), ALLOWANCES, paper="a4", title="rehearsal top")
    page = page_picture(made.data, 4)
    noise = np.random.default_rng(1).integers(-SLACK // 2, SLACK // 2, page.shape)
    assert unlike(np.clip(page + noise, 0, 255).astype(np.uint8), page) is None
    assert unlike(np.roll(page, 2, axis=1), page) is not None
    rows, columns = np.nonzero(page < 60)
    y, x = int(rows[len(rows) // 2]), int(columns[len(rows) // 2])  # on a black line
    for half, alike in ((1, True), (8, False)):
        cut = page.copy()
        cut[y - half : y + half, x - half : x + half] = 255
        assert (unlike(cut, page) is None) == alike, half
    assert unlike(page[:-1], page) is not None
