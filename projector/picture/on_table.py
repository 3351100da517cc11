"""On the table: a docket's lay under a calibration, before anything is drawn of it."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from drafting.piece import alike
from drafting.placement import carry
from projector.picture.faces import Face, Faces, face_of
from projector.picture.frame import Lens
from projector.picture.marks import box_of
from projector.picture.view import View, default_view

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from drafting.piece import Piece
    from drafting.placement import Placement


def at_cloth(docket: Docket, calibration: Calibration) -> Calibration:
    """The calibration of the cloth's upper side, as far as thickness and lens are known.

    Raises:
        InputError: what is noted of them has faults.
    """
    if not docket.table.get("height"):  # without a thickness nothing is to be corrected
        return calibration
    from projector.height import corrected, height_of

    return corrected(calibration, height_of(docket, calibration))


def faces_of(docket: Docket, before: Docket | None = None, known: Faces | None = None) -> Faces:
    """Every piece's face for the docket's cloth and allowances.

    ``known``: of the docket ``before``, on the same cloth; pieces that are as they were keep theirs.
    """
    one_way = docket.cloth is not None and docket.cloth.nap == "one-way"
    old = before.pieces() if before is not None else {}

    def face(name: str, piece: Piece) -> Face:
        sizes = docket.allowances_for(name)
        same = name in old and before is not None and sizes == before.allowances_for(name)
        if known is not None and same and name in known and alike(piece, old[name]):
            return known[name]
        return face_of(piece, sizes, docket.cloth, one_way=one_way)

    return Faces({name: face(name, p) for name, p in docket.pieces().items()}, docket.cloth)


def reading_direction(lens: Lens, side: str) -> float:
    """Her reading direction in the table frame, degrees: the beam's own axis nearest to it.

    Text along the beam's axis rather than the table's: the calibration's frame may lie turned.
    """
    whole = View(side=side).up_deg
    w, h = lens.calibration.size
    mids = lens.calibration.to_table(
        np.array([[0.0, h / 2], [w - 1.0, h / 2], [w / 2, h - 1.0], [w / 2, 0.0]])
    )
    ways = (mids[1] - mids[0], mids[0] - mids[1], mids[3] - mids[2], mids[2] - mids[3])
    turns = [math.degrees(math.atan2(y, x)) for x, y in ways]
    best = min(turns, key=lambda t: round(abs(math.remainder(t - whole, 360.0)), 9))
    return round(best, 6)


def copy_of(
    docket: Docket, lay: Iterable[Placement], placement: Placement, *, on_fold: bool
) -> str:
    """Which of how many a laid copy is: ``1 of 2``; empty where it is the only one wanted.

    On folded cloth the first ones lie on both layers and give two each: ``1 and 2 of 4``. Beside it
    'cut 2' would be read as two from each copy.
    """
    copies, copy = sum(1 for p in lay if p.piece == placement.piece), placement.copy
    wanted = docket.pieces()[placement.piece].cut * docket.quantity
    folded = docket.cloth is not None and docket.cloth.folded and not on_fold
    if wanted < 2 or (folded and copies < 2):
        return ""
    if on_fold:
        return f"{copy} of {wanted} on the fold"
    double = max(0, wanted - copies) if folded else 0
    if copy <= double:
        return f"{2 * copy - 1} and {2 * copy} of {wanted}"
    return f"{copy + double} of {wanted}"


def light_words(unlit: Sequence[str], way: str) -> str:
    """How many of the pieces reach out of the light, and what to do; empty when all are lit.

    ``unlit``: `Stage.unlit` of every piece laid; ``way``: to the bays, in words.
    """
    out = sum(1 for u in unlit if u)
    if not out:
        return ""
    dark = sum(1 for u in unlit if u == "wholly")
    reach = "reaches" if out == 1 else "reach"
    wholly = f" ({dark} not lit at all)" if dark else ""
    return f"{out} of {len(unlit)} pieces {reach} out of the light{wholly}: {way}"


def used_box(
    stage_faces: Faces, lay: Iterable[Placement]
) -> tuple[float, float, float, float] | None:
    """x0, y0, x1, y1 of what lies on the cloth, cloth mm; None with nothing there."""
    here = [p for p in lay if not p.aside and p.piece in stage_faces]
    rings = [carry(p.cloth_from_piece, stage_faces.of(p).outline) for p in here]
    return box_of(np.concatenate(rings)) if rings else None


def view_of(docket: Docket, calibration: Calibration) -> View:
    """The docket's own view, or the used cloth centred in the beam.

    Raises:
        InputError: the docket's ``table: view`` has faults.
    """
    held = docket.table.get("view")
    side = "near"
    if held is not None:
        kept = View.from_dict(held, f"{docket.path or 'docket'}: table.view")
        # a view is of one calibration's table frame: under another it would lie anywhere
        if docket.table.get("light", light_of(calibration)) == light_of(calibration):
            return kept
        side = kept.side
    lens = Lens(at_cloth(docket, calibration))
    box = used_box(faces_of(docket), docket.lay)
    if box is None:
        cloth = docket.cloth
        outline = cloth.lie_outline_mm if cloth is not None else None
        if outline is not None:
            box = box_of(outline)
        else:
            box = (0.0, 0.0, 1000.0, cloth.width_mm if cloth is not None else 600.0)
    return default_view(lens.beam_mm, box, side=side)


def light_of(calibration: Calibration) -> str:
    """A short word that tells one calibration from another by where its pixels fall."""
    w, h = calibration.size
    px = np.array([[0.0, 0.0], [w - 1.0, 0.0], [w - 1.0, h - 1.0], [0.0, h - 1.0]])
    places = np.round(calibration.to_table(px), 2) + 0.0
    return hashlib.sha256(places.tobytes()).hexdigest()[:12]
