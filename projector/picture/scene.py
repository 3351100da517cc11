"""Scene: a lay without anybody at the table, for pictures (no strip, no pointer)."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from projector.picture import signs
from projector.picture.look import INKS, LINES, look_of
from projector.picture.on_table import copy_of, used_box, view_of
from projector.picture.order import next_piece
from projector.picture.painter import Painter
from projector.picture.stage import PieceState, Stage

if TYPE_CHECKING:
    from calibrate import Calibration
    from drafting import Docket
    from projector.picture.view import View


MODES = ("arrange", "trace", "plain")


def render(
    docket: Docket,
    calibration: Calibration,
    *,
    mode: str = "arrange",
    view: View | None = None,
    ink: str | None = None,
    lines: str | None = None,
    weight: float | None = None,
    current: str | None = None,
    cloth: bool = True,
) -> NDArray[np.uint8]:
    """What the projector shows for a docket: (H, W, 3) uint8 RGB, the size of the calibration.

    The picture of the cloth and its pieces; what only a table has (the strip of buttons, the
    pointer) is not in it.

    Args:
        docket: with its lay; pieces put aside are not shown.
        calibration: table mm to projector px.
        mode: ``arrange``: all pieces alike; ``trace``: the current one bright, the others faint;
            ``plain``: only the pieces' lines, no cloth.
        view: how the cloth lies on the table; None for the docket's own, or centred in the beam.
        ink: ``light``, ``bold`` or ``dark``; lines: ``both``, ``cutting`` or ``sewing``; weight:
            makes every line so many times as wide. None for what the docket's table remembers.
        current: the copy that is traced, ``front/1``; None for the next in order.
        cloth: whether the cloth's own edge and fold are drawn.

    Raises:
        InputError, DraftError: the docket has faults or no lay; no such mode, ink, lines or copy.
    """
    from configs.errors import Fault, InputError

    placed = docket.placed()
    known = {
        "mode": (mode, MODES),
        "ink": (ink, tuple(INKS)),
        "lines": (lines, tuple(LINES)),
        "current": (current, tuple(p.key for p in placed)),
    }
    faults = [
        Fault(f"render: {name}", f"there is no '{value}'.", f"There are {', '.join(words)}.")
        for name, (value, words) in known.items()
        if value is not None and value not in words
    ]
    if not faults and not placed:
        plan = f"Plan it with 'chalkbeam lay {docket.path.name if docket.path else 'DOCKET.yaml'}'."
        where = f"{docket.path or 'docket'}: lay"
        faults = [Fault(where, "no piece lies on the cloth yet.", plan)]
    if faults:
        raise InputError(faults)
    look = look_of(docket, ink, lines, weight)
    stage = Stage(docket, calibration, view or view_of(docket, calibration), look)
    items = []
    if cloth and mode != "plain":
        box = used_box(stage.faces, placed)
        items.append(signs.cloth(stage, box[2] if box else None))
    if mode == "trace" and current is None:
        current = next_piece(stage, placed, docket.traced)
    for p in placed:
        state = PieceState(
            copy=copy_of(docket, docket.lay, p, on_fold=stage.faces[p.piece].on_fold)
        )
        if mode == "trace":
            done = ("traced",) if p.key in docket.traced else ()
            state = replace(state, emphasis="bright" if p.key == current else "faint", notes=done)
        items.append(stage.piece(p, state))
    painter = Painter(calibration.size, stage.ink.ground)
    for item in items:  # through the lens at the height of the cloth, where that is known
        painter.put(painter.paint(stage.lens.frame(item)))
    return painter.rgb()
