"""From the cards to the picture by the public names, as DEVELOPERS.md shows it."""

from __future__ import annotations

import doctest
import re
import textwrap
from pathlib import Path

import cv2
import pytest
from dockets import write_top

from calibrate.pattern import pattern_for
from calibrate.virtual_table import VirtualCamera, VirtualTable
from projector.cli import main
from projector.demo import lay_cards

TEXT = (Path(__file__).resolve().parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
(BLOCK,) = [
    b for b in re.findall(r"((?:^    .*\n|^\n)+)", TEXT, re.MULTILINE) if "detect.detect(" in b
]
SIZE = (1920, 1080)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with what the examples open: measurements, a laid docket, a photo of the cards."""
    monkeypatch.chdir(tmp_path)
    write_top(tmp_path)
    assert main(["lay", "top.yaml", "--seconds", "0", "--no-compare"]) == 0
    table = VirtualTable.random(5, SIZE, beam_width_mm=1200.0, surface="light table")
    pattern = pattern_for(SIZE, 1200.0)
    laid = table.with_sheets(lay_cards(table, pattern, 5))
    camera = VirtualCamera.phone(5, table.beam_mm(), size=(3024, 2268))
    picture = laid.photograph(pattern.image(), camera, 5)
    cv2.imwrite(str(tmp_path / "photo.jpg"), picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    return tmp_path


def test_from_the_cards_to_the_picture(here: Path) -> None:
    """Each line of the example gives what stands below it, on a photo of the virtual table."""
    test = doctest.DocTestParser().get_doctest(
        textwrap.dedent(BLOCK), {}, "example", "DEVELOPERS.md", 0
    )
    told: list[str] = []
    runner = doctest.DocTestRunner(verbose=False)
    runner.run(test, out=told.append)
    assert runner.summarize(verbose=False) == (0, len(test.examples)), "".join(told)
    assert len(test.examples) >= 10 and (here / "calibration.yaml").is_file()
