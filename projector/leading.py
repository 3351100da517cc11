"""First light on the beam, to its end: for a table without a calibration, and for `calibrate` alone.

Above `first_light`, which is the pages, and `app`, which shows them: here they meet the webcam and the
store.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from configs.errors import ChalkbeamError

if TYPE_CHECKING:
    from drafting import Docket
    from projector.app import Beam
    from projector.first_light.light import FirstLight


def led(docket: Docket, beam: Beam, folder: Path, camera: int, *, in_use: bool) -> FirstLight:
    """Led through a calibration on the beam; what was taken is kept in the store.

    Args:
        docket: hers, to come back to; one without a garment where there is none.
        folder: where her photo is looked for.
        camera: the webcam's number.
        in_use: there is a calibration, which stays when she leaves.
    """
    from calibrate.store import keep
    from projector.app import run
    from projector.first_light.light import FirstLight

    leading = FirstLight(
        docket, beam.size, beam.display.name, [folder],
        may_look=not beam.true_scale and docket.path is not None, in_use=in_use,
    )  # fmt: skip
    while True:
        run(leading, beam)
        if not leading.webcam:
            break
        _webcam(leading, beam, camera)
    # what was found through a window holds for that window: full screen it would be wrong
    found = leading.result
    if not leading.looks and found is not None and found.method != "live" and beam.true_scale:
        keep(found)
    return leading


def _webcam(leading: FirstLight, beam: Beam, camera: int) -> None:
    """Look with the webcam on the same beam; what comes of it goes back to first light."""
    from calibrate.camera import DeviceSource
    from calibrate.solve import solve
    from calibrate.store import keep
    from projector.live import look_from

    try:
        with DeviceSource.open(camera) as source:
            seen = [view.seen for view in look_from(source, beam, say=click.echo)]
            name, bars = beam.display.name, leading.bars_mm
            solution = solve(seen, bars_mm=bars, display=name, method="live")
            keep(solution.calibration)
            leading.found(solution.calibration)
    except ChalkbeamError as error:
        leading.again(str(error.faults[0]))
