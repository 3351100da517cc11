"""Height at the table: the thickness of mat and cloth and the lens's place, followed at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from configs.errors import ChalkbeamError
from configs.units import length_text
from projector.height import Height, height_of, off_by
from projector.picture.height_page import height_page
from projector.picture.marks import Item, circle
from projector.session.registry import Row
from projector.session.state import State
from projector.tools.bays.plane import cross_lines
from projector.tools.protocol import Pressed, Tool

Array = NDArray[np.float64]

_FIELDS = ("cloth", "mat", "lens")
_FINE = {"cloth": 0.1, "mat": 0.5, "lens": 1.0}  # mm
_COARSE = {"cloth": 1.0, "mat": 5.0, "lens": 20.0}
_START_THROW = 1.2  # lens height over beam width to begin from; she sets it by her tape

ROW = Row(
    "height",
    ("next", "away", "toward", "left", "right", "leave", "help"),
    words={
        "leave": "Done",
        "away": "Up",
        "toward": "Down",
        "right": "Up a lot",
        "left": "Down a lot",
    },
    alone=True,
)


@dataclass(frozen=True, eq=False)
class HeightTool(Pressed):
    """What is noted; ``field``: that the keys change; ``doubts``: told; ``before``: to go back to."""

    height: Height
    beam_mm: float
    doubts: tuple[str, ...] = ()
    field: str = "cloth"
    before: Tool | None = None

    @property
    def row(self) -> Row:
        """Which row of buttons."""
        return ROW

    @property
    def says(self) -> str:
        """For the strip: the field that the keys change, then what is in doubt."""
        name, value, _ = self.rows()[_FIELDS.index(self.field)]
        return "\n".join([f"{name}: {value}", *self.doubts])

    def rows(self) -> tuple[tuple[str, str, str], ...]:
        """What is measured, in order: its name, what is noted of it, how it is measured."""
        h = self.height
        layers = f" a layer, {h.layers} layers" if h.layers > 1 else " a layer"
        return (
            (
                "Cloth",
                "not noted" if h.cloth_mm is None else length_text(h.cloth_mm) + layers,
                "fold it to ten layers, measure them, take a tenth",
            ),
            (
                "Mat",
                length_text(h.mat_mm) if h.mat_mm else "none since calibrating",
                "what was put on the table since; below 0: taken off",
            ),
            (
                "Lens",
                "not noted" if h.lens_mm is None else length_text(h.lens_mm) + " above the table",
                "tape straight down from the lens to the bare table",
            ),
            (
                "Point under the lens",
                "not noted" if h.foot_mm is None else "noted",
                "hang a weight from the lens, press where it points",
            ),
        )

    def press(self, state: State, at: Array) -> State:
        """The point of the table under the plumb line from the lens."""
        return self.noted(state, self.height.replace(foot_mm=(float(at[0]), float(at[1]))))

    def do(self, state: State, action: str) -> State | None:
        """Up and down change a little, left and right more; Tab takes the next; leaving keeps it."""
        handler = DOES.get(action)
        return None if handler is None else handler(state, self)

    def items(self, state: State) -> Sequence[Item]:
        """A page of its own: what is measured, with a drawing; the foot of the lens, and the square to
        hold a ruler to, which follows."""
        stage = state.stage
        out = list(height_page(stage, self.rows(), _FIELDS.index(self.field), state.inches))
        if self.height.foot_mm is not None:
            lines = [circle(0.0, 0.0, 9.0), *cross_lines((0.0, 0.0), 16.0)]
            frame = stage.reading_frame(self.height.foot_mm)
            out.append(Item("foot", (stage.mark("chosen", lines),), frame))
        return out

    def changed(self, state: State, by: float) -> State:
        """The chosen field larger by so many mm."""
        h = self.height
        if self.field == "cloth":
            h = h.replace(cloth_mm=round(max(0.0, (h.cloth_mm or 0.0) + by), 2))
        elif self.field == "mat":
            h = h.replace(mat_mm=round(min(50.0, max(-50.0, h.mat_mm + by)), 2))
        elif h.lens_mm is None:
            h = h.replace(lens_mm=float(round(_START_THROW * self.beam_mm, -1)))
        else:
            h = h.replace(lens_mm=min(9000.0, max(300.0, h.lens_mm + by)))
        return self.noted(state, h)

    def noted(self, state: State, height: Height) -> State:
        """Noted in the docket, the picture following; or why it cannot be so."""
        try:
            state = state.at_height(height.to_dict())
        except ChalkbeamError as error:
            return state.tell(str(error.faults[0]), 8.0)
        doubts = off_by(state.calibration, height).said
        return state.but(tool=replace(self, height=height, doubts=doubts))


def _next(state: State, tool: HeightTool) -> State:
    field = _FIELDS[(_FIELDS.index(tool.field) + 1) % len(_FIELDS)]
    return state.but(tool=replace(tool, field=field))


def _by(steps: Mapping[str, float], sign: float) -> Callable[[State, HeightTool], State]:
    return lambda state, tool: tool.changed(state, sign * steps[tool.field])


def _leave(state: State, tool: HeightTool) -> State:
    return state.but(tool=tool.before)


DOES: Mapping[str, Callable[[State, HeightTool], State]] = {
    "next": _next,
    "height": _next,
    "away": _by(_FINE, 1.0),
    "toward": _by(_FINE, -1.0),
    "right": _by(_COARSE, 1.0),
    "left": _by(_COARSE, -1.0),
    "leave": _leave,
    "go-back": _leave,
    "go-on": _leave,
    "take": _leave,
}


def open_height(state: State) -> State:
    """Begin to set what lies on the calibrated table, from what is noted already.

    Raises:
        InputError: what is noted has faults.
    """
    cloth = state.docket.cloth
    known = height_of(
        state.settings(),
        state.calibration,
        folded=cloth is not None and cloth.folded,
        where=f"{state.docket.path or 'docket'}: table",
    )
    width = float(np.ptp(state.stage.lens.beam_mm[:, 0]))
    doubts = off_by(state.calibration, known).said
    return state.but(tool=HeightTool(known, width, doubts, before=state.tool))
