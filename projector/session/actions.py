"""Every action once: the one table of what she can do, and the way from a name to the next state.

The strip and the help page show it, ``configs/keys.yaml`` remaps it, a tool may take an action over
while it is in use. Adding one touches the file that does it and this table.
"""

from __future__ import annotations

from dataclasses import replace

from projector.session import hand, pieces, standing, tracing, ways
from projector.session.registry import ACTIONS, Action, Step
from projector.session.rows import ROWS, row_of
from projector.session.state import SILENT, State
from projector.tools import align_room, height_room
from projector.tools.bays import opening as bays_opening
from projector.tools.bays import room as bays_room
from projector.tools.protocol import opens

_ARRANGE, _TRACE = ("arrange",), ("trace",)
_DRAG = "drag the piece"


def _only_in_bays(state: State, large: bool) -> State:
    """An action of the bays, outside of them."""
    return state.tell(f"That belongs to tracing in bays: [{state.key_words('bays')}].")


ACTIONS.add(
    Action("go-on", tracing.go_on, "", ("space", "page down"),
           "arrange: start tracing; trace: mark the piece traced, go to the next",
           pointer="the strip's button; a presenter's forward button"),
    Action("go-back", tracing.go_back, "", ("backspace", "page up"),
           "trace: back to the piece before; arrange: undo",
           pointer="the strip's button; a presenter's back button"),
    Action("next", pieces.pick_next, "Next", ("tab",), "pick the next piece",
           pointer="press on the piece"),
    Action("away", pieces.nudge("away"), "", ("up",), "nudge 1 mm away from you (shift: 10 mm)",
           _ARRANGE, _DRAG, repeats=True),
    Action("toward", pieces.nudge("toward"), "", ("down",),
           "nudge 1 mm towards you (shift: 10 mm)", _ARRANGE, _DRAG, repeats=True),
    Action("left", pieces.nudge("left"), "", ("left",), "nudge 1 mm to the left (shift: 10 mm)",
           _ARRANGE, _DRAG, repeats=True),
    Action("right", pieces.nudge("right"), "", ("right",),
           "nudge 1 mm to the right (shift: 10 mm)", _ARRANGE, _DRAG, repeats=True),
    Action("turn", pieces.turn, "Turn", ("t",), "turn the piece half round", _ARRANGE),
    Action("turn-over", pieces.turn_over, "Over", ("m",), "turn the piece over (mirror)",
           _ARRANGE),
    Action("tilt-left", pieces.tilt(1.0), "", (",",),
           "tilt 1° off the grain, to the left (shift: 5°)", _ARRANGE,
           "drag with the second button", repeats=True),
    Action("tilt-right", pieces.tilt(-1.0), "", (".",),
           "tilt 1° off the grain, to the right (shift: 5°)", _ARRANGE,
           "drag with the second button", repeats=True),
    Action("straighten", pieces.straighten, "Straighten", ("g",),
           "straighten the piece to the grain", _ARRANGE),
    Action("lock", pieces.lock, "Lock", ("l",), "lock the piece where it lies, or free it",
           _ARRANGE),
    Action("aside", pieces.aside, "Aside", ("d",), "put the piece aside", _ARRANGE),
    Action("bring-back", pieces.bring_back, "Bring back", ("r",),
           "bring back a piece that was put aside", _ARRANGE),
    Action("undo", tracing.undo, "Undo", ("z", "ctrl+z"), "undo, as far back as you like"),
    Action("redo", tracing.redo, "Redo", ("y", "ctrl+y", "shift+ctrl+z"),
           "do again what was undone"),
    Action("plan", tracing.plan, "Plan", ("p",), "plan the lay around what is locked", _ARRANGE),
    Action("take", tracing.take, "Take", ("return",), "take the plan that is shown", _ARRANGE),
    Action("drop", tracing.drop, "Drop", ("delete",), "drop the plan that is shown", _ARRANGE),
    Action("trace", tracing.trace, "Trace", ("c",), "trace: piece by piece"),
    Action("arrange", tracing.arrange, "Arrange", ("a",), "arrange: move pieces about"),
    Action("bays", opens(bays_opening.open_wanted), "Bays", ("v",),
           "cloth longer or wider than the beam: trace it bay by bay"),
    Action("next-bay", _only_in_bays, "Next bay", ("]",),
           "bays: on to the next (chalk the crosses first)", _TRACE),
    Action("previous-bay", _only_in_bays, "Bay back", ("[",), "bays: back to the bay before",
           _TRACE),
    Action("point-again", _only_in_bays, "Again", ("o",), "bays: point at the crosses again",
           _TRACE, "press on the first cross"),
    Action("keep-fit", _only_in_bays, "Keep it", ("return",),
           "bays: take the fit although it is past the limit", _TRACE),
    Action("align", opens(align_room.open_align), "Align", ("e",),
           "align to the cloth: point at two places on its edge; again for another edge"),
    Action("height", opens(height_room.open_height), "Height", ("ctrl+t",),
           "thickness of mat and cloth, the lens's place (arrows, Tab)", _ARRANGE),
    Action("unmark", tracing.unmark, "Unmark", ("u",), "take the mark off the piece", _TRACE),
    Action("lines", ways.lines, "Lines", ("n",),
           "cutting and sewing line, cutting only, sewing only"),
    Action("ink", ways.ink, "Ink", ("i",), "light lines, bold lines, dark lines on a lit table"),
    Action("wider", ways.weight(1.2), "Wider", ("=", "shift+="), "wider lines", repeats=True),
    Action("thinner", ways.weight(1.0 / 1.2), "Thinner", ("-",), "thinner lines", repeats=True),
    Action("blank", ways.page("dark"), "Dark", ("b",), "beam dark; any key brings it back"),
    Action("work-light", ways.page("light"), "Light", ("w",),
           "beam white, to see by; any key brings it back"),
    Action("check", ways.check, "Check", ("k",), "100 mm square and ruler, where the pointer is"),
    Action("calibrate", ways.calibrate, "Calibrate", ("ctrl+k",), "calibrate anew (first light)"),
    Action("side", standing.side, "Side", ("s",), "the side of the table where you stand"),
    Action("turn-cloth", ways.turn_cloth, "Turn cloth", ("ctrl+r",),
           "the cloth runs the other way (turn the whole lay a quarter)"),
    Action("flip-cloth", ways.flip_cloth, "Flip cloth", ("f",),
           "the cloth lies the other way up (mirror the whole lay)"),
    Action("centre", ways.centre, "Centre", ("home",), "put the lay back in the middle of the beam"),
    Action("strip", ways.strip, "Hide", ("x",), "hide or show this strip",
           pointer="press on your edge of the beam"),
    Action("more", ways.more, "More", ("f2",), "the strip's further buttons"),
    Action("help", ways.help_page, "Help", ("h", "f1"), "this page, and the next where it is long"),
    Action("leave", ways.leave, "Close", ("escape",),
           "put a dragged piece back, close a page, let a piece go; twice: leave"),
    Action("quit", ways.quit_table, "Quit", ("q", "ctrl+q"), "leave; everything is saved already"),
)  # fmt: skip

# what is written down by name elsewhere is looked up now
for _row in (*ROWS, *bays_room.ROWS, align_room.ROW, height_room.ROW):
    _row.checked()
for _table in (*bays_room.DOES.values(), align_room.DOES, height_room.DOES):
    ACTIONS.known(_table, "a tool")


def done(state: State, name: str, *, large: bool = False) -> State:
    """After an action; ``large``: the larger step where there are two.

    Raises:
        KeyError: there is no such action.
    """
    action = ACTIONS[name]
    if state.mode not in action.modes:
        return state
    confirm = state.to_confirm if state.to_confirm == name else ""
    state = state.but(message=SILENT, to_confirm=confirm)  # it was about what she did before
    if name == "leave" and state.drag is not None:
        state = hand.put_back(state)
    else:
        state = _act(state, name, action.do, large)
    if state.strip.opened and name != "more" and not state.to_confirm:
        state = state.but(strip=replace(state.strip, opened=False))
    return settled(state)


def _act(state: State, name: str, do: Step, large: bool) -> State:
    if state.page == "question" and name == "go-on":
        return state.but(page="")
    if state.tool is not None:
        made = state.tool.do(state, name)
        if made is not None:
            return made
    if state.page and name not in ("leave", "help", "quit"):
        state = state.but(page="")
    return do(hand.let_go(state), large)


def settled(state: State) -> State:
    """With the further buttons forgotten when another row has come."""
    strip, row = state.strip, row_of(state).name
    return state if strip.row == row else state.but(strip=replace(strip, row=row, first=0))
