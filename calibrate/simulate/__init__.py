"""A table, a projector and a camera in software, for rehearsal, tests and measurement.

It stands where the real devices stand: a frame goes in, a photo comes out. The model is its own
and is not the solver run backwards: each camera pixel is followed as a ray through pinhole and
lens to the table or to a raised or curled sheet, and from there to the projector pixel that
lights it. The solver knows all terms of the camera's lens, and of the projector's all but r⁸. What a photo loses is modelled in the order
in which it is lost: the projector's grey curve, black level, pixel grid and defocus; the colour
of table and paper; room light; the camera's blur, vignetting, noise, tone curve and JPEG.

World frame: mm, right-handed, x right, y away from the person (who stands at −y), z up from the
table. Pixel centres are integers, in the camera and in the projector. Light is linear; 1 is the
projector's white at the middle of its beam.

Left out, and small: shadows of raised sheets, light that bounces between sheets, depth of field.
"""

from calibrate.simulate.camera import Radiance, VirtualCamera, jpeg
from calibrate.simulate.optics import Lens
from calibrate.simulate.projector import VirtualProjector
from calibrate.simulate.sheets import Sheet
from calibrate.simulate.source import VirtualSource
from calibrate.simulate.surfaces import SURFACES
from calibrate.simulate.table import VirtualTable

__all__ = [
    "SURFACES",
    "Lens",
    "Radiance",
    "Sheet",
    "VirtualCamera",
    "VirtualProjector",
    "VirtualSource",
    "VirtualTable",
    "jpeg",
]
