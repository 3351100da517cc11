"""Every test has a store of its own: none writes into the calibrations kept on this machine."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest


@pytest.fixture(scope="session", autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Calibrations and settings of this session live in a temporary folder."""
    before = os.environ.get("CHALKBEAM_HOME")
    os.environ["CHALKBEAM_HOME"] = str(tmp_path_factory.mktemp("home"))
    yield
    if before is None:
        os.environ.pop("CHALKBEAM_HOME", None)
    else:
        os.environ["CHALKBEAM_HOME"] = before
