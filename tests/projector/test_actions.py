"""Actions as data: every one can be done, by key, by pointer, and remapped."""

from __future__ import annotations

from pathlib import Path

import pytest
from table_rig import docket, projector

from configs import shipped
from configs.errors import InputError
from projector.session.actions import ACTIONS
from projector.session.keynames import normal
from projector.session.keys import Keys, load_keys
from projector.session.registry import MODES, Row
from projector.session.rows import ROWS
from projector.session.sitting import Sitting
from projector.tools.align_room import AlignTool
from projector.tools.bays import room as bays_room
from projector.tools.height_room import HeightTool

_STRIP_WORDS = {"go-on", "go-back"}  # 'Traced' and 'Back' while tracing


def test_every_action_says_what_it_does() -> None:
    """No action is only named: each has what it does, a line of help, a key and a pointer way."""
    for action in ACTIONS.values():
        assert callable(action.do) and action.help and action.pointer and action.keys
        assert set(action.modes) <= set(MODES)


def test_a_name_that_is_not_registered_is_an_error() -> None:
    """A row of buttons or a tool that names no action fails as it is written, and so does doing it."""
    with pytest.raises(LookupError, match="'fly'"):
        Row("toy", ("help", "fly")).checked()
    with pytest.raises(LookupError, match="'fly'"):
        ACTIONS.known({"fly": None}, "a tool")
    with pytest.raises(KeyError):
        Sitting(docket(), projector((640, 360))).do("fly")
    with pytest.raises(ValueError, match="'help'"):
        ACTIONS.add(ACTIONS["help"])


def test_no_key_does_two_things() -> None:
    """In each mode every shipped key does one thing."""
    keys = Keys()
    for mode in MODES:
        for action in ACTIONS.values():
            if mode in action.modes:
                for key in action.keys:
                    assert keys.action(key, mode) == action.name


def test_strip_names_actions_with_words() -> None:
    """What stands on the strip exists and has words to print."""
    for row in (*ROWS, *bays_room.ROWS, AlignTool.ROW, HeightTool.ROW):
        for name in row.every:
            assert (row.words or {}).get(name) or ACTIONS[name].words or name in _STRIP_WORDS


def test_shipped_keys_file_is_the_registry() -> None:
    """configs/keys.yaml says exactly what the program does without it."""
    own = load_keys(shipped("keys.yaml"))
    assert dict(own.by_action) == {a.name: tuple(map(normal, a.keys)) for a in ACTIONS.values()}


def test_keys_are_remapped(tmp_path: Path) -> None:
    """A file of her own remaps what it names and leaves the rest."""
    path = tmp_path / "keys.yaml"
    path.write_text("chalkbeam: 1\nkeys:\n  turn: [j, Shift+F5]\n  go-on: [PageDown]\n")
    keys = load_keys(path)
    assert keys.action("j", "arrange") == "turn"
    assert keys.action("shift+f5", "arrange") == "turn"
    assert keys.action("t", "arrange") is None
    assert keys.action("page down", "trace") == "go-on"
    assert keys.action("space", "trace") is None
    assert keys.action("l", "arrange") == "lock"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("keys: {trun: [j]}", "Did you mean 'turn'"),
        ("keys: {turn: [l]}", "already does"),
        ("keys: {turn: [hyperspace]}", "there is no key"),
        ("keys: {lines: [n]}\nkyes: 1", "unknown key 'kyes'"),
        ("keys: {turn: [y, yes]}", "quotes"),
        ("keys: [turn]", "should hold"),
    ],
)
def test_faults_of_a_keys_file_are_told(tmp_path: Path, text: str, said: str) -> None:
    """Unknown actions and keys, clashes, and YAML's bare yes are told with a remedy."""
    path = tmp_path / "keys.yaml"
    path.write_text(f"chalkbeam: 1\n{text}\n")
    with pytest.raises(InputError) as caught:
        load_keys(path)
    assert said in str(caught.value)


def test_key_names_have_one_spelling() -> None:
    """Spellings that people use come to one name."""
    assert normal("Ctrl+Shift+Z") == normal("shift+ctrl+z") == "shift+ctrl+z"
    assert normal("PageUp") == "page up"
    assert normal("Esc") == "escape"
    assert normal("+") == "shift+="
