"""The arrays of the package by what they hold; functions tell their shapes and units."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Plane = NDArray[np.float32]
