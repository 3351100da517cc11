"""Align at the table: pointing along the cloth's edge, or at the marks of the last time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from configs.errors import InputError
from drafting.placement import Array
from projector.picture.marks import Item, circle, cross
from projector.session.registry import Row, following
from projector.session.state import State
from projector.tools.align import LINES, Pointing
from projector.tools.protocol import Tool, leave


@dataclass(frozen=True, eq=False)
class AlignTool(Tool):
    """Pointing at places of an edge."""

    ROW = Row(
        "align", ("align", "go-back", "leave", "work-light", "help"), words={"go-back": "Back"}
    )

    pointing: Pointing

    def says(self, state: State) -> str:
        """For the strip."""
        return f"{self.pointing.asks()}\n[{state.key_words('align')}] for another edge"

    def shows(self, key: str) -> tuple[str, tuple[str, ...]] | None:
        """Pieces are shown faint meanwhile."""
        return "faint", ()

    def press(self, state: State, at: Array) -> State:
        """One more place."""
        place = (float(at[0]), float(at[1]))
        try:
            pointing, made = self.pointing.point(place, state.work.view, state.docket.cloth)
        except InputError as error:
            again = replace(self, pointing=replace(self.pointing, taken=()))
            return state.but(tool=again).tell(str(error.faults[0]), 8.0)
        if made is None:
            return state.but(tool=replace(self, pointing=pointing))
        state = state.change(replace(state.work, view=made.view)).keep(align=pointing.to_dict())
        return _end(state, self).tell(made.said(), 20.0)

    def items(self, state: State) -> Sequence[Item]:
        """The places taken so far."""
        mark = state.stage.mark("chosen", [circle(0.0, 0.0, 6.0), *cross(0.0, 0.0, 10.0)])
        return [
            Item(f"place {i}", (mark,), state.stage.reading_frame(at))
            for i, at in enumerate(self.pointing.taken)
        ]


def _end(state: State, tool: AlignTool) -> State:
    state = leave(state, tool)
    return state if state.tool is None else state.tool.retaken(state)


def _other_edge(state: State, tool: AlignTool) -> State:
    p = tool.pointing
    ways = [(line, False) for line in LINES] + ([("near", True)] if p.anchors else [])
    line, again = following(ways, (p.line if not p.again else "near", p.again))
    return state.but(tool=replace(tool, pointing=Pointing(line, (), p.anchors, again)))


def _back(state: State, tool: AlignTool) -> State | None:
    if tool.pointing.taken:
        taken = tool.pointing.taken[:-1]
        return state.but(tool=replace(tool, pointing=replace(tool.pointing, taken=taken)))
    return _end(state, tool)


def _undo(state: State, tool: AlignTool) -> State | None:
    return _back(state, tool) if tool.pointing.taken else None


def _point(state: State, tool: AlignTool) -> State | None:
    return None if state.pointer_mm is None else tool.press(state, state.pointer_mm)


AlignTool.DOES = {
    "align": _other_edge,
    "go-back": _back,
    "undo": _undo,
    "go-on": _point,
    "leave": _end,
    "arrange": _end,
}


def open_align(state: State) -> State:
    """Begin to align; when marks of the last time are kept and pieces traced, at those.

    Raises:
        InputError: what is kept has faults.
    """
    kept = state.settings().get("align")
    anchors: tuple[tuple[float, float], ...] = ()
    line = "near"
    if isinstance(kept, dict):
        try:
            anchors = tuple((float(x), float(y)) for x, y in kept.get("anchors") or ())
            line = kept["line"] if kept.get("line") in LINES else "near"
        except (TypeError, ValueError) as error:
            where = f"{state.docket.path or 'docket'}: table.align"
            raise InputError.of(
                where, f"cannot be read ({error}).", "Take it out to align anew."
            ) from error
    again = len(anchors) >= 2 and bool(state.work.traced)
    pointing = Pointing(line, (), anchors, again)
    return state.but(tool=AlignTool(pointing, before=state.tool))
