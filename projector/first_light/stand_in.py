"""A stand-in for a calibration, as long as there is none."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from calibrate import Calibration

_NOMINAL_MM = 1200.0  # the beam's width until it is known: only letters are drawn at this scale


def plain_calibration(size: tuple[int, int]) -> Calibration:
    """A stand-in that draws letters at a nominal scale. Nothing drawn through it is true."""
    from calibrate.calibration import Calibration
    from calibrate.model import ProjectorModel

    s = size[0] / _NOMINAL_MM
    matrix = np.array([[s, 0.0, 0.0], [0.0, -s, size[1] - 1.0], [0.0, 0.0, 1.0]])
    middle = np.array([(size[0] - 1) / 2.0, (size[1] - 1) / 2.0])
    return Calibration(ProjectorModel(size, matrix, middle), np.zeros((12, 12)), "none", "")


def is_plain(calibration: Calibration) -> bool:
    """Whether it is the stand-in of `plain_calibration`."""
    return calibration.method == "none"
