"""Every action once: its name, key, words on the button, and its line of help.

The first module of the table: `sitting` does what is named here, the strip and the help page
show it, `configs/keys.yaml` remaps it. Keys carry the names that they bear on the keyboard.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from configs.errors import Fault

MODES = ("arrange", "trace")


@dataclass(frozen=True)
class Action:
    """One thing she can do.

    ``words``: on the strip's button ("" when it has none there); ``keys``: as shipped;
    ``help``: one line; ``modes``: where it counts; ``pointer``: how a hand does it without keys.
    """

    name: str
    words: str
    keys: tuple[str, ...]
    help: str
    modes: tuple[str, ...] = MODES
    pointer: str = "the strip's button"


ACTIONS: tuple[Action, ...] = (
    Action("go-on", "", ("space", "page down"),
           "arrange: start tracing; trace: mark the piece traced, go to the next",
           pointer="the strip's button; a presenter's forward button"),
    Action("go-back", "", ("backspace", "page up"),
           "trace: back to the piece before; arrange: undo",
           pointer="the strip's button; a presenter's back button"),
    Action("next", "Next", ("tab",), "pick the next piece",
           pointer="press on the piece"),
    Action("away", "", ("up",), "nudge 1 mm away from you (shift: 10 mm)", ("arrange",),
           pointer="drag the piece"),
    Action("toward", "", ("down",), "nudge 1 mm towards you (shift: 10 mm)", ("arrange",),
           pointer="drag the piece"),
    Action("left", "", ("left",), "nudge 1 mm to the left (shift: 10 mm)", ("arrange",),
           pointer="drag the piece"),
    Action("right", "", ("right",), "nudge 1 mm to the right (shift: 10 mm)", ("arrange",),
           pointer="drag the piece"),
    Action("turn", "Turn", ("t",), "turn the piece half round", ("arrange",)),
    Action("turn-over", "Over", ("m",), "turn the piece over (mirror)", ("arrange",)),
    Action("tilt-left", "", (",",), "tilt 1° off the grain, to the left (shift: 5°)", ("arrange",),
           pointer="drag with the second button"),
    Action("tilt-right", "", (".",), "tilt 1° off the grain, to the right (shift: 5°)",
           ("arrange",), pointer="drag with the second button"),
    Action("straighten", "Straighten", ("g",), "straighten the piece to the grain", ("arrange",)),
    Action("lock", "Lock", ("l",), "lock the piece where it lies, or free it", ("arrange",)),
    Action("aside", "Aside", ("d",), "put the piece aside", ("arrange",)),
    Action("bring-back", "Bring back", ("r",), "bring back a piece that was put aside",
           ("arrange",)),
    Action("undo", "Undo", ("z", "ctrl+z"), "undo, as far back as you like"),
    Action("redo", "Redo", ("y", "ctrl+y", "shift+ctrl+z"), "do again what was undone"),
    Action("plan", "Plan", ("p",), "plan the lay around what is locked", ("arrange",)),
    Action("take", "Take", ("return",), "take the plan that is shown", ("arrange",)),
    Action("drop", "Drop", ("delete",), "drop the plan that is shown", ("arrange",)),
    Action("trace", "Trace", ("c",), "trace: piece by piece"),
    Action("arrange", "Arrange", ("a",), "arrange: move pieces about"),
    Action("bays", "Bays", ("v",), "cloth longer or wider than the beam: trace it bay by bay"),
    Action("next-bay", "Next bay", ("]",), "bays: on to the next (chalk the crosses first)",
           ("trace",)),
    Action("previous-bay", "Bay back", ("[",), "bays: back to the bay before", ("trace",)),
    Action("point-again", "Again", ("o",), "bays: point at the crosses again", ("trace",),
           pointer="press on the first cross"),
    Action("keep-fit", "Keep it", ("return",), "bays: take the fit although it is past the limit",
           ("trace",)),
    Action("align", "Align", ("e",), "align to the cloth: point at two places on its edge; again "
           "for another edge"),
    Action("height", "Height", ("ctrl+t",), "thickness of mat and cloth, the lens's place (arrows, Tab)",
           ("arrange",)),
    Action("unmark", "Unmark", ("u",), "take the mark off the piece", ("trace",)),
    Action("lines", "Lines", ("n",), "cutting and sewing line, cutting only, sewing only"),
    Action("ink", "Ink", ("i",), "light lines, bold lines, dark lines on a lit table"),
    Action("wider", "Wider", ("=", "shift+="), "wider lines"),
    Action("thinner", "Thinner", ("-",), "thinner lines"),
    Action("blank", "Dark", ("b",), "beam dark; any key brings it back"),
    Action("work-light", "Light", ("w",), "beam white, to see by; any key brings it back"),
    Action("check", "Check", ("k",), "100 mm square and ruler, where the pointer is"),
    Action("calibrate", "Calibrate", ("ctrl+k",), "calibrate anew (first light)"),
    Action("side", "Side", ("s",), "the side of the table where you stand"),
    Action("turn-cloth", "Turn cloth", ("ctrl+r",), "the cloth runs the other way (turn the whole lay a quarter)"),
    Action("flip-cloth", "Flip cloth", ("f",), "the cloth lies the other way up (mirror the whole lay)"),
    Action("centre", "Centre", ("home",), "put the lay back in the middle of the beam"),
    Action("strip", "Hide", ("x",), "hide or show this strip",
           pointer="press on your edge of the beam"),
    Action("more", "More", ("f2",), "the strip's further buttons"),
    Action("help", "Help", ("h", "f1"), "this page, and the next where it is long"),
    Action("leave", "Close", ("escape",), "put a dragged piece back, close a page, let a piece go; twice: leave"),
    Action("quit", "Quit", ("q", "ctrl+q"), "leave; everything is saved already"),
)  # fmt: skip

BY_NAME: dict[str, Action] = {a.name: a for a in ACTIONS}

# the strip's buttons, the more important first; what finds no room comes with 'more'
STRIP: dict[str, tuple[str, ...]] = {
    "arrange": (
        "trace", "plan", "turn", "turn-over", "lock", "aside", "bring-back", "undo", "align",
        "check", "lines", "ink", "side", "help",
    ),
    "trace": (
        "go-on", "go-back", "unmark", "arrange", "align", "blank", "work-light", "check", "lines",
        "ink", "help",
    ),
    "bays": (
        "go-on", "go-back", "unmark", "next-bay", "point-again", "arrange", "blank", "work-light",
        "check", "lines", "help",
    ),
    "question": ("go-on", "check", "calibrate", "quit"),
    "bays-move": ("point-again", "previous-bay", "go-back", "arrange", "work-light", "help"),
    "bays-check": ("point-again", "keep-fit", "go-back", "arrange", "work-light", "help"),
    "align": ("align", "go-back", "leave", "work-light", "help"),
    "height": ("next", "away", "toward", "left", "right", "leave", "help"),
    "plan": ("take", "drop", "turn", "turn-over", "lock", "aside", "bring-back", "undo", "help"),
}  # fmt: skip
# what 'more' brings after them: with these every action has a pointer way
STRIP_MORE: dict[str, tuple[str, ...]] = {
    "arrange": (
        "redo", "straighten", "height", "bays", "blank", "work-light", "wider", "thinner",
        "centre", "turn-cloth", "flip-cloth", "calibrate", "strip", "leave", "quit",
    ),
    "trace": (
        "undo", "redo", "bays", "side", "wider", "thinner", "centre", "turn-cloth", "flip-cloth",
        "calibrate", "strip", "leave", "quit",
    ),
    "plan": (
        "trace", "plan", "align", "check", "lines", "ink", "side", "redo", "straighten", "height",
        "bays", "blank", "work-light", "wider", "thinner", "centre", "turn-cloth", "flip-cloth",
        "calibrate", "strip", "leave", "quit",
    ),
    "bays-move": ("check", "blank", "ink", "wider", "thinner", "side", "strip", "quit"),
    "bays-check": ("check", "blank", "ink", "wider", "thinner", "side", "strip", "quit"),
    "align": ("check", "blank", "ink", "wider", "thinner", "side", "strip", "quit"),
    "height": ("work-light", "blank", "ink", "wider", "thinner", "side", "strip", "quit"),
    "bays": (
        "previous-bay", "undo", "redo", "bays", "align", "ink", "side", "wider", "thinner",
        "centre", "turn-cloth", "flip-cloth", "calibrate", "strip", "leave", "quit",
    ),
}  # fmt: skip
# on the handle that the strip shrinks to where pieces fill the beam; 'more' opens the strip
HANDLE: dict[str, tuple[str, ...]] = {
    "trace": ("go-on", "next", "go-back"),
    "bays": ("go-on", "next-bay", "go-back"),
    "bays-move": ("point-again", "go-back", "arrange"),
    "bays-check": ("point-again", "keep-fit", "go-back"),
    "align": ("align", "go-back", "leave"),
}
# words that differ from the action's own: by the row of buttons, or by the mode
STRIP_WORDS: dict[tuple[str, str], str] = {
    ("trace", "go-on"): "Traced",
    ("trace", "go-back"): "Back",
    ("question", "go-on"): "Go on",
    ("question", "check"): "Check",
    ("question", "calibrate"): "Calibrate",
    ("bays-move", "go-back"): "Back",
    ("bays-check", "go-back"): "Back",
    ("bays-move", "previous-bay"): "Not yet",
    ("align", "go-back"): "Back",
    ("arrange", "leave"): "Leave",
    ("plan", "leave"): "Close",
    ("height", "leave"): "Done",
    ("height", "away"): "Up",
    ("height", "toward"): "Down",
    ("height", "right"): "Up a lot",
    ("height", "left"): "Down a lot",
}

_MODIFIERS = ("shift", "ctrl", "alt")
_NAMED = (
    "space", "return", "backspace", "tab", "escape", "delete", "insert", "home", "end", "page up",
    "page down", "up", "down", "left", "right", "enter", *(f"f{i}" for i in range(1, 13)),
)  # fmt: skip
_SAME = {
    "pageup": "page up",
    "pagedown": "page down",
    "esc": "escape",
    "del": "delete",
    "spacebar": "space",
    "enter": "return",
    "keypad enter": "return",
    "plus": "shift+=",
    "minus": "-",
    "comma": ",",
    "period": ".",
}


@dataclass(frozen=True)
class Keys:
    """Which key does what: key → action names, in the order of `ACTIONS`."""

    by_action: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: {a.name: a.keys for a in ACTIONS}
    )

    def action(self, key: str, mode: str) -> str | None:
        """The action that a key does in a mode; None when it does nothing there."""
        wanted = normal(key)
        for action in ACTIONS:
            if mode in action.modes and wanted in self.by_action[action.name]:
                return action.name
        return None

    def shown(self, action: str) -> str:
        """The key to print beside an action: its first."""
        keys = self.by_action[action]
        return keys[0] if keys else ""


def normal(key: str) -> str:
    """A key's name as we keep it: lower case, modifiers first in a fixed order."""
    parts = [p.strip() for p in key.lower().split("+")] if key != "+" else ["shift", "="]
    if parts[-1] == "" and len(parts) > 1:  # "ctrl++"
        parts = [*parts[:-2], "="]
    name = _SAME.get(parts[-1], parts[-1])
    held = set(parts[:-1])
    if "+" in name:
        held.add("shift")
        name = name.rsplit("+", 1)[1]
    return "+".join([m for m in _MODIFIERS if m in held] + [name])


def load_keys(path: str | Path) -> Keys:
    """Read a ``keys.yaml``; actions that it does not name keep the shipped keys.

    Raises:
        InputError: every fault: unknown actions or keys, a key that does two things.
    """
    from configs.errors import short
    from configs.reader import Reader

    reader = Reader.of_file(path).only(("chalkbeam", "keys"))
    given = reader.sub("keys", BY_NAME)
    keys = {a.name: a.keys for a in ACTIONS}
    for name, value in given.data.items():
        if name not in BY_NAME:
            continue
        listed = [] if value is None else value if isinstance(value, list) else [value]
        made = []
        for key in listed:
            if isinstance(key, bool):  # YAML reads a bare no or off as false
                given.note(name, f"{key!r} is not a key; put quotes about it: 'n' or 'y'.")
                continue
            text = normal(str(key)[:40])
            if not _is_key(text):
                given.note(
                    name,
                    f"there is no key {short(key)}.",
                    f"A letter, digit or sign, or one of {', '.join(_NAMED)}; "
                    "with shift+, ctrl+ or alt+ before it.",
                )
                continue
            made.append(text)
        keys[name] = tuple(dict.fromkeys(made))
    reader.faults += _clashes(keys, str(path))
    reader.done()
    return Keys(keys)


def _is_key(text: str) -> bool:
    name = text.rsplit("+", 1)[-1]
    return name in _NAMED or (len(name) == 1 and name.isprintable() and not name.isspace())


def _clashes(keys: Mapping[str, Iterable[str]], where: str) -> list[Fault]:
    from configs.errors import Fault

    found: list[Fault] = []
    for mode in MODES:
        seen: dict[str, str] = {}
        for action in ACTIONS:
            if mode not in action.modes:
                continue
            for key in keys[action.name]:
                if key in seen and seen[key] != action.name:
                    found.append(
                        Fault(
                            f"{where}: keys.{action.name}",
                            f"'{key}' already does '{seen[key]}' in {mode}.",
                            "Give one of them another key.",
                        )
                    )
                seen.setdefault(key, action.name)
    return list(dict.fromkeys(found))
