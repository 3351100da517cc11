"""The virtual table with the interface of a camera at a computer."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from calibrate.arrays import Image
from calibrate.simulate.camera import Radiance, VirtualCamera
from calibrate.simulate.table import VirtualTable


@dataclass(eq=False)
class VirtualSource:
    """Projector and camera of a virtual table behind the calls of the real ones.

    ``show`` is the projector's, ``read`` the camera's next frame of what is shown.
    """

    table: VirtualTable
    camera: VirtualCamera
    seed: int = 0
    name: str = "virtual camera"
    settle_seconds: float = 0.0
    stale: int = 0
    fps: float = 29.97
    _count: int = 0
    _light: Radiance | None = field(default=None, repr=False)

    def show(self, frame: Image) -> None:
        """Project a picture (H, W, 3) uint8 RGB."""
        self._light = self.table.radiance(frame, self.camera)

    def read(self) -> Image:
        """The next frame, (H, W, 3) uint8 RGB; a dark projector's before anything is shown."""
        light = self._light
        if light is None:
            w, h = self.table.projector.size
            light = self._light = self.table.radiance(np.zeros((h, w, 3), np.uint8), self.camera)
        self._count += 1
        seed = self.seed * 1009 + self._count
        return self.table.exposed(light, self.camera, seed, self._count / self.fps)

    def close(self) -> None:
        """Nothing to give back."""
