"""Every action once: the one table of what she can do, and the way from a name to the next state.

The strip and the help page show it, ``configs/keys.yaml`` remaps it, a tool may take an action over
while it is in use. Adding one touches the file that does it and this table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from projector.session import hand, pieces, standing, tracing, ways
from projector.session.registry import ACTIONS, Action, Step
from projector.session.rows import ROWS
from projector.session.state import SILENT, State
from projector.tools.align_room import AlignTool, open_align
from projector.tools.bays import room as bays_room
from projector.tools.bays.opening import open_bays
from projector.tools.height_room import HeightTool, open_height
from projector.tools.nudge_room import NudgeTool, open_nudge
from projector.tools.protocol import opens
from projector.tools.shape_room import ShapeTool, open_shape

_ARRANGE, _TRACE = ("arrange",), ("trace",)
_DRAG = "drag the piece"


def _only_in(tool: str, words: str) -> Step:
    """An action of a tool, outside of it."""
    return lambda state, large: state.tell(f"That belongs to {words}: [{state.key_words(tool)}].")


_only_in_bays = _only_in("bays", "tracing in bays")
_only_in_shape = _only_in("shape", "shaping on the cloth")

ACTIONS.add(
    Action("go-on", tracing.go_on, "", ("space", "page down"),
           "arrange: start tracing; trace: mark the piece traced, go to the next",
           pointer="the strip's button; a presenter's forward button", group=""),
    Action("go-back", tracing.go_back, "", ("backspace", "page up"),
           "trace: back to the piece before; arrange: undo",
           pointer="the strip's button; a presenter's back button", group=""),
    Action("next", pieces.pick_next, "Next", ("tab",), "pick the next piece",
           pointer="press on the piece", group="piece"),
    Action("away", pieces.nudge("away"), "Away", ("up",), "nudge 1 mm away from you (shift: 10 mm)",
           _ARRANGE, _DRAG, repeats=True, group="piece"),
    Action("toward", pieces.nudge("toward"), "Toward", ("down",),
           "nudge 1 mm towards you (shift: 10 mm)", _ARRANGE, _DRAG, repeats=True, group="piece"),
    Action("left", pieces.nudge("left"), "Left", ("left",), "nudge 1 mm to the left (shift: 10 mm)",
           _ARRANGE, _DRAG, repeats=True, group="piece"),
    Action("right", pieces.nudge("right"), "Right", ("right",),
           "nudge 1 mm to the right (shift: 10 mm)", _ARRANGE, _DRAG, repeats=True, group="piece"),
    Action("nudge", opens(open_nudge), "Nudge", ("shift+n",),
           "buttons that move the piece by 1 mm a press", _ARRANGE, group="piece"),
    Action("turn", pieces.turn, "Turn", ("t",), "turn the piece half round", _ARRANGE, group="piece"),
    Action("turn-over", pieces.turn_over, "Over", ("m",), "turn the piece over (mirror)",
           _ARRANGE, group="piece"),
    Action("tilt-left", pieces.tilt(1.0), "Tilt left", ("[",),
           "tilt 1° off the grain, to the left (shift: 5°)", _ARRANGE,
           "drag with the second button", repeats=True, group="piece"),
    Action("tilt-right", pieces.tilt(-1.0), "Tilt right", ("]",),
           "tilt 1° off the grain, to the right (shift: 5°)", _ARRANGE,
           "drag with the second button", repeats=True, group="piece"),
    Action("straighten", pieces.straighten, "Straighten", ("g",),
           "straighten the piece to the grain", _ARRANGE, group="piece"),
    Action("lock", pieces.lock, "Lock", ("l",), "lock the piece where it lies, or free it",
           _ARRANGE, group="piece"),
    Action("aside", pieces.aside, "Aside", ("d",), "put the piece aside", _ARRANGE, group="piece"),
    Action("bring-back", pieces.bring_back, "Bring back", ("r",),
           "bring back a piece that was put aside", _ARRANGE, group="piece"),
    Action("undo", tracing.undo, "Undo", ("z", "ctrl+z"), "undo, as far back as you like", group="work"),
    Action("redo", tracing.redo, "Redo", ("y", "ctrl+y", "shift+ctrl+z"),
           "do again what was undone", group="work"),
    Action("plan", tracing.plan, "Plan", ("p",), "plan the lay around what is locked", _ARRANGE, group="work"),
    Action("take", tracing.take, "Take", ("return",), "take the plan that is shown", _ARRANGE, group="work"),
    Action("drop", tracing.drop, "Drop", ("delete",), "drop the plan that is shown", _ARRANGE, group="work"),
    Action("trace", tracing.trace, "Trace", ("c",), "trace: piece by piece", group="work"),
    Action("arrange", tracing.arrange, "Arrange", ("a",), "arrange: move pieces about", group="work"),
    Action("bays", opens(partial(open_bays, wanted=True)), "Bays", ("v",),
           "cloth longer or wider than the beam: trace it bay by bay", group="work"),
    Action("next-bay", _only_in_bays, "Next bay", ("]",),
           "bays: on to the next (chalk the crosses first)", _TRACE, group=""),
    Action("previous-bay", _only_in_bays, "Bay back", ("[",), "bays: back to the bay before",
           _TRACE, group=""),
    Action("point-again", _only_in_bays, "Again", ("o",), "bays: point at the crosses again",
           _TRACE, "press on the first cross", group=""),
    Action("keep-fit", _only_in_bays, "Keep it", ("return",),
           "bays: take the fit although it is past the limit", _TRACE, group=""),
    Action("align", opens(open_align), "Align", ("e",),
           "align to the cloth: point at two places on its edge; again for another edge", group="cloth"),
    Action("shape", opens(open_shape), "Shape", ("shift+s",),
           "pull the garment itself on the cloth: length, neckline, width …", _ARRANGE, group="work"),
    Action("keep-as", _only_in_shape, "Keep as new", ("shift+k",),
           "shape: the changed garment in a docket of its own", _ARRANGE, group=""),
    Action("cut-here", _only_in_shape, "Cut", ("shift+c",),
           "shape: cut a piece in two, from edge to edge", _ARRANGE, group=""),
    Action("spread-here", _only_in_shape, "Spread", ("shift+e",),
           "shape: slash a piece and spread it by 2 cm", _ARRANGE, group=""),
    Action("dart-here", _only_in_shape, "Move dart", ("shift+d",),
           "shape: a dart to another edge", _ARRANGE, group=""),
    Action("height", opens(open_height), "Height", ("ctrl+t",),
           "thickness of mat and cloth, the lens's place (arrows, Tab)", _ARRANGE, group="cloth"),
    Action("unmark", tracing.unmark, "Unmark", ("u",), "take the mark off the piece", _TRACE, group="piece"),
    Action("blank", ways.page("dark"), "Dark", ("shift+b",), "beam dark; any key brings it back", group="beam"),
    Action("work-light", ways.page("light"), "Light", ("w",),
           "beam white, to see by; any key brings it back", group="beam"),
    Action("lines", ways.lines, "Lines", ("n",),
           "cutting and sewing line, cutting only, sewing only", group="beam"),
    Action("ink", ways.ink, "Ink", ("i",), "light lines, bold lines, dark lines on a lit table", group="beam"),
    Action("wider", ways.weight(1.2), "Wider", ("=", "shift+="), "wider lines", repeats=True, group="beam"),
    Action("thinner", ways.weight(1.0 / 1.2), "Thinner", ("-",), "thinner lines", repeats=True, group="beam"),
    Action("check", ways.check, "Check", ("k",), "a square and a ruler to check by; drag it where you like"),
    Action("calibrate", ways.calibrate, "Calibrate", ("ctrl+k",), "calibrate anew (first light)"),
    Action("side", standing.side, "Side", ("s",), "the side of the table where you stand"),
    Action("turn-cloth", ways.turn_cloth, "Turn cloth", ("ctrl+r",),
           "the cloth runs the other way (turn the whole lay a quarter)", group="cloth"),
    Action("flip-cloth", ways.flip_cloth, "Flip cloth", ("f",),
           "the cloth lies the other way up (mirror the whole lay)", group="cloth"),
    Action("centre", ways.centre, "Centre", ("home",), "put the lay back in the middle of the beam", group="cloth"),
    Action("strip", ways.strip, "Hide", ("x",), "hide or show this strip",
           pointer="press on your edge of the beam"),
    Action("hand", standing.other_hand, "Other hand", ("shift+h",),
           "the strip's buttons from the right, for a left hand; or from the left again"),
    Action("more", ways.more, "All …", ("f2",), "everything that can be done here, in groups", group=""),
    Action("choose", ways.more, "", (".", "b"),
           "the same; then forward and back mark a button, this does it",
           pointer="a presenter's black button", group=""),
    Action("help", ways.help_page, "Help", ("h", "f1"), "this page, and the next where it is long"),
    Action("leave", ways.leave, "Close", ("escape",),
           "put a dragged piece back, close a page, let a piece go; twice: leave"),
    Action("quit", ways.quit_table, "Quit", ("q", "ctrl+q"), "leave; everything is saved already"),

)  # fmt: skip

_TOOLS = (AlignTool, HeightTool, NudgeTool, ShapeTool)
# what is written down by name elsewhere is looked up now
for _row in (*ROWS, *bays_room.ROWS, *(t.ROW for t in _TOOLS)):
    _row.checked()
for _table in (*bays_room.DOES.values(), *(t.DOES for t in _TOOLS)):
    ACTIONS.known(_table, "a tool")


def done(state: State, name: str, *, large: bool = False) -> State:
    """After an action; ``large``: the larger step where there are two.

    Raises:
        KeyError: there is no such action.
    """
    action = ACTIONS[name]
    if state.page == "all" and name in _ON_ALL:
        return _ON_ALL[name](state)
    if state.mode not in action.modes:
        return state
    confirm = state.to_confirm if state.to_confirm == name else ""
    state = state.but(message=SILENT, to_confirm=confirm)  # it was about what she did before
    puts_back = name == "leave" and state.drag is not None
    return hand.put_back(state) if puts_back else _act(state, name, action.do, large)


def _act(state: State, name: str, do: Step, large: bool) -> State:
    if (state.page == "question" and name == "go-on") or (state.page and name == "leave"):
        return state.but(page="")  # what lies over all else closes first, a tool below it stays
    if state.tool is not None:
        made = state.tool.do(state, name)
        if made is not None:
            return made
    if state.page and name not in ("leave", "help", "more", "quit"):
        state = state.but(page="")
    return do(hand.let_go(state), large)


def _marked(state: State) -> State:
    """The action whose button is marked on the page of everything, done."""
    name = ways.marked(state)
    state = state.but(page="")
    return done(state, name) if name else state


# what keys do on the page of everything: a presenter's buttons, arrows, Tab and Return find their way
_ON_ALL: Mapping[str, Callable[[State], State]] = {
    **dict.fromkeys(("go-on", "next", "right"), lambda s: ways.to_button(s, 1)),
    **dict.fromkeys(("go-back", "left"), lambda s: ways.to_button(s, -1)),
    "toward": lambda s: ways.to_group(s, 1),
    "away": lambda s: ways.to_group(s, -1),
    "take": _marked,
    "choose": _marked,
}
ACTIONS.known(_ON_ALL, "the page of everything")
