"""A docket of a drafted top with its measurements, for tests that run commands in a folder."""

from __future__ import annotations

import shutil
from pathlib import Path

from configs import shipped

TOP = """\
chalkbeam: 1
title: top
measurements: alto-3.yaml
garment: {block: quick-top}
allowances: {all: 10 mm}
cloth: {width: 1400 mm, length: 2 m, fold: lengthwise}
"""


def write_top(folder: Path) -> Path:
    """``top.yaml`` and ``alto-3.yaml`` in a folder; not laid."""
    shutil.copy(shipped("measurements", "alto-3.yaml"), folder / "alto-3.yaml")
    path = folder / "top.yaml"
    path.write_text(TOP, encoding="utf-8")
    return path
