"""The whole job with one input, as a list of presses that can be read.

Run by hand: ``python tests/bench/record_table.py [--mouse] [--presenter]``. Both sessions go from first
light to the last traced piece and out, through the real window and loop on SDL's dummy driver; the same
that `tests/projector/test_one_input.py` tests. What is pressed next is decided by what stands on the beam.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "projector"))

import cv2
import numpy as np
import pytest
import yaml
from numpy.typing import NDArray
from person import Person, by_mouse, by_presenter, goes
from table_rig import DATA, projector

from calibrate.pattern import pattern_for
from calibrate.simulate import VirtualCamera, VirtualTable
from drafting.docket import Docket
from projector.demo import lay_cards

SIZE = (1024, 768)


def session(name: str) -> None:
    """One of them, printed."""
    with tempfile.TemporaryDirectory() as where, pytest.MonkeyPatch.context() as patch:
        folder = Path(where)
        patch.setenv("CHALKBEAM_HOME", str(folder / "home"))
        path = folder / "top.yaml"
        path.write_text(yaml.safe_dump(DATA, sort_keys=False))
        if name == "mouse":
            person = Person(by_mouse(projector(SIZE, 1180.0, k1=0.0).to_table))
        else:
            table = VirtualTable.random(4, SIZE, beam_width_mm=1100.0)
            table = table.with_sheets(lay_cards(table, pattern_for(SIZE), 4))

            def photographed(glass: NDArray[np.uint8]) -> None:
                photo = table.photograph(
                    glass, VirtualCamera.phone(4, table.beam_mm(), (2016, 1512)), 4
                )
                cv2.imwrite(str(folder / "IMG_0042.jpg"), photo[:, :, ::-1])

            person = Person(by_presenter(photographed))
        goes(person, path, patch)
        traced = ", ".join(Docket.load(path).traced)
    print(f"{name} alone: {len(person.presses)} presses; traced: {traced}")
    for n, press in enumerate(person.presses, 1):
        print(f"{n:4d}  {press}")


def main() -> None:
    """Both, or the one that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mouse", action="store_true")
    parser.add_argument("--presenter", action="store_true")
    asked = parser.parse_args()
    both = asked.mouse == asked.presenter
    for name in ("mouse", "presenter"):
        if both or getattr(asked, name):
            session(name)


if __name__ == "__main__":
    main()
