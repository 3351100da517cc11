"""Tests of this folder share the random rigs of the benchmarks (``import rigs``) and a store of their own."""

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "bench"))


@pytest.fixture(scope="session", autouse=True)
def _own_store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test writes into the calibrations that the person at this machine keeps."""
    before = os.environ.get("CHALKBEAM_HOME")
    os.environ["CHALKBEAM_HOME"] = str(tmp_path_factory.mktemp("home"))
    yield
    if before is None:
        del os.environ["CHALKBEAM_HOME"]
    else:
        os.environ["CHALKBEAM_HOME"] = before
