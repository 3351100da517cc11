"""Height at the table: the thickness of mat and cloth and the lens's place, followed at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from configs.errors import ChalkbeamError
from configs.units import length_text
from drafting.placement import Array
from projector.height import Height, height_of, off_by
from projector.picture.height_page import height_page
from projector.picture.marks import Item, circle, cross
from projector.session.registry import Row, following
from projector.session.state import State
from projector.tools.protocol import Tool, leave

_FIELDS = ("cloth", "mat", "lens")
_FINE = {"cloth": 0.1, "mat": 0.5, "lens": 1.0}  # mm
_COARSE = {"cloth": 1.0, "mat": 5.0, "lens": 20.0}
_START_THROW = 1.2  # lens height over beam width to begin from; she sets it by her tape


@dataclass(frozen=True, eq=False)
class HeightTool(Tool):
    """What is noted; ``field``: that the keys change."""

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

    height: Height
    field: str = "cloth"

    def says(self, state: State) -> str:
        """For the strip: the field that the keys change, then what is in doubt."""
        name, value, _ = self.rows()[_FIELDS.index(self.field)]
        return "\n".join([f"{name}: {value}", *off_by(state.calibration, self.height).said])

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
        return self.noted(state, replace(self.height, foot_mm=(float(at[0]), float(at[1]))))

    def items(self, state: State) -> Sequence[Item]:
        """A page of its own: what is measured, with a drawing; the foot of the lens, and the square to
        hold a ruler to, which follows."""
        stage = state.stage
        out = list(height_page(stage, self.rows(), _FIELDS.index(self.field), state.inches))
        if self.height.foot_mm is not None:
            mark = stage.mark("chosen", [circle(0.0, 0.0, 9.0), *cross(0.0, 0.0, 16.0)])
            out.append(Item("foot", (mark,), stage.reading_frame(self.height.foot_mm)))
        return out

    def changed(self, state: State, by: float) -> State:
        """The chosen field larger by so many mm."""
        h = self.height
        if self.field == "cloth":
            h = replace(h, cloth_mm=round(max(0.0, (h.cloth_mm or 0.0) + by), 2))
        elif self.field == "mat":
            h = replace(h, mat_mm=round(min(50.0, max(-50.0, h.mat_mm + by)), 2))
        elif h.lens_mm is None:
            beam_mm = float(np.ptp(state.stage.lens.beam_mm[:, 0]))
            h = replace(h, lens_mm=float(round(_START_THROW * beam_mm, -1)))
        else:
            h = replace(h, lens_mm=min(9000.0, max(300.0, h.lens_mm + by)))
        return self.noted(state, h)

    def noted(self, state: State, height: Height) -> State:
        """Noted in the docket, the picture following; or why it cannot be so."""
        try:
            state = state.at_height(height.to_dict())
        except ChalkbeamError as error:
            return state.tell(str(error.faults[0]), 8.0)
        return state.but(tool=replace(self, height=height))


def _next(state: State, tool: HeightTool) -> State:
    return state.but(tool=replace(tool, field=following(_FIELDS, tool.field)))


def _by(steps: Mapping[str, float], sign: float) -> Callable[[State, HeightTool], State]:
    return lambda state, tool: tool.changed(state, sign * steps[tool.field])


HeightTool.DOES = {
    "next": _next,
    "height": _next,
    "away": _by(_FINE, 1.0),
    "toward": _by(_FINE, -1.0),
    "right": _by(_COARSE, 1.0),
    "left": _by(_COARSE, -1.0),
    **dict.fromkeys(("leave", "go-back", "go-on", "take"), leave),
}


def open_height(state: State) -> State:
    """Begin to set what lies on the calibrated table, from what is noted already.

    Raises:
        InputError: what is noted has faults.
    """
    known = height_of(state.docket, state.calibration, state.settings())
    return state.but(tool=HeightTool(known, before=state.tool))
