"""Keys: which key does what, as shipped or as she has it in a ``keys.yaml``.

Keys carry the names that they bear on the keyboard.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from projector.session import actions
from projector.session.keynames import NAMED, is_key, normal, printed
from projector.session.registry import ACTIONS, MODES

__all__ = ["Keys", "actions", "load_keys", "normal"]  # the actions: without them there is no key

if TYPE_CHECKING:
    from configs.errors import Fault


@dataclass(frozen=True)
class Keys:
    """Which key does what: key → action names, in the order of `ACTIONS`."""

    by_action: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: {a.name: a.keys for a in ACTIONS.values()}
    )

    def action(self, key: str, mode: str) -> str | None:
        """The action that a key does in a mode; None when it does nothing there."""
        wanted = normal(key)
        for action in ACTIONS.values():
            if mode in action.modes and wanted in self.by_action.get(action.name, action.keys):
                return action.name
        return None

    def printed(self, action: str) -> str:
        """The first key of an action as it is printed on the keyboard."""
        return printed(next(iter(self.by_action.get(action, ())), ""))

    def meant(self, key: str, mode: str) -> str | None:
        """The action of a key, and of the same without shift, which only makes a step larger."""
        action = self.action(key, mode)
        if action is None and "shift+" in key:
            action = self.action(key.replace("shift+", ""), mode)
        return action


def load_keys(path: str | Path) -> Keys:
    """Read a ``keys.yaml``; actions that it does not name keep the shipped keys.

    Raises:
        InputError: every fault: unknown actions or keys, a key that does two things.
    """
    from configs.errors import short
    from configs.reader import Reader

    reader = Reader.of_file(path).only(("chalkbeam", "keys"))
    given = reader.sub("keys", [a.name for a in ACTIONS.values()])
    keys = {a.name: a.keys for a in ACTIONS.values()}
    for name, value in given.data.items():
        if name not in ACTIONS:
            continue
        listed = [] if value is None else value if isinstance(value, list) else [value]
        made = []
        for key in listed:
            if isinstance(key, bool):  # YAML reads a bare no or off as false
                given.note(name, f"{key!r} is not a key; put quotes about it: 'n' or 'y'.")
                continue
            text = normal(str(key)[:40])
            if not is_key(text):
                given.note(
                    name,
                    f"there is no key {short(key)}.",
                    f"A letter, digit or sign, or one of {', '.join(NAMED)}; "
                    "with shift+, ctrl+ or alt+ before it.",
                )
                continue
            made.append(text)
        keys[name] = tuple(dict.fromkeys(made))
    reader.faults += _clashes(keys, str(path))
    reader.done()
    return Keys(keys)


def _clashes(keys: Mapping[str, Iterable[str]], where: str) -> list[Fault]:
    from configs.errors import Fault

    found: list[Fault] = []
    for mode in MODES:
        seen: dict[str, str] = {}
        for action in ACTIONS.values():
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
