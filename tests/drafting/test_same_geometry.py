"""The blocks on the drawing sheet draw what they drew before they moved there."""

from __future__ import annotations

import numpy as np
import pytest
from golden_blocks import BLOCKS, cases, drafted, frozen


@pytest.mark.parametrize("block", BLOCKS)
def test_same_geometry_as_before_the_sheet(block: str) -> None:
    """200 bodies, styles and fit changes: every edge, notch, dart and mark within 0.001 mm."""
    count = 0
    for i, (case, before) in enumerate(zip(cases(block), frozen(block), strict=True)):
        now = drafted(block, case)
        if isinstance(before, str) or isinstance(now, str):
            assert now == before, (i, case[1], case[2])
            continue
        assert list(now) == list(before), (i, case[1], case[2])
        for key, values in before.items():
            # float32 keeps 0.0001 mm of a metre
            assert np.allclose(now[key], values, rtol=3e-7, atol=1e-3), (i, key, case[1], case[2])
        count += 1
    assert count > 120
