"""Key names: as the keyboard bears them, as we keep them, as they are printed on the strip."""

from __future__ import annotations

_MODIFIERS = ("shift", "ctrl", "alt")
NAMED = (
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
_PRINTED = {
    ",": ", comma",
    ".": ". point",
    "return": "Enter",
    "escape": "Esc",
    "backspace": "Back",
    "page down": "PgDn",
    "page up": "PgUp",
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
}


def printed(key: str) -> str:
    """A key as it is printed on the keyboard; a sign too small to be read has its word too."""
    *held, name = key.split("+")
    name = _PRINTED.get(name, name.capitalize() if len(name) > 1 else name.upper())
    return "+".join([h.capitalize() for h in held] + [name]) if key else ""


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


def is_key(text: str) -> bool:
    """Whether a name, in our form, is a key's."""
    name = text.rsplit("+", 1)[-1]
    return name in NAMED or (len(name) == 1 and name.isprintable() and not name.isspace())
