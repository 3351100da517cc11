"""A file of hers is changed in places: what she wrote beside it stays."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from configs.files import dump_yaml, parse_yaml
from configs.rewrite import merged

TEXT = """\
# für die Größe 42 ½
chalkbeam: 1   # format

title:   'x'   # mine
allowances:    # as the book says
  all: 1 cm    # everywhere

  # the hem is deep
  hem: 2,5 cm  # two turns
lay:
  # left of the stain
  - {piece: front, at: [1, 2]}   # grain
  - piece: back   # her favourite
    at: [3, 4]
    # not moved
    locked: true
record: []   # nothing yet
note: |
  # no comment, but text

  last line
# the end
"""
DATA = parse_yaml(TEXT, "")


def changed(*path: Any, to: Any) -> tuple[str, str]:
    """The text after one change, and what is new in it, line by line."""
    after = copy.deepcopy(DATA)
    at = after
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = to
    made = merged(TEXT, DATA, after)
    assert parse_yaml(made, "") == after
    old, new = TEXT.splitlines(), made.splitlines()
    return "\n".join(x for x in new if x not in old), "\n".join(x for x in old if x not in new)


@pytest.mark.parametrize(
    ("path", "to", "new", "gone"),
    [
        (("title",), "y: z", "title:   'y: z'   # mine", "title:   'x'   # mine"),
        (("allowances", "hem"), "3 cm", "  hem: 3 cm  # two turns", "  hem: 2,5 cm  # two turns"),
        (("allowances", "neck"), 6, "  neck: 6", ""),
        (("lay", 1, "at"), [5, 6.5], "    at: [5, 6.5]", "    at: [3, 4]"),
        (("lay", 1, "locked"), False, "    locked: false", "    locked: true"),
        (("lay", 1, "locked"), 1, "    locked: 1", "    locked: true"),
        (("lay", 1, "piece"), "yoke", "  - piece: yoke   # her favourite",
         "  - piece: back   # her favourite"),
        (("record",), ["a"], "record: [a]   # nothing yet", "record: []   # nothing yet"),
        (("record",), [{"note": "n"}], "record:   # nothing yet\n- {note: n}",
         "record: []   # nothing yet"),
        (("quantity",), 3, "quantity: 3", ""),
        (("note",), "x", "note: x", "note: |\n  # no comment, but text\n\n  last line"),
    ],
)  # fmt: skip
def test_one_value_changes_and_nothing_beside_it(path: Any, to: Any, new: str, gone: str) -> None:
    """Comments, remarks, blank lines and spelling stay; only the value's own lines differ."""
    assert changed(*path, to=to) == (new, gone.replace("\n\n", "\n"))


def test_removed_keys_take_their_lines_and_no_others() -> None:
    """What is taken out goes with its remark; the comment above the next key stays."""
    after = copy.deepcopy(DATA)
    del after["allowances"]["all"], after["lay"][1]["locked"], after["record"]
    made = merged(TEXT, DATA, after)
    assert parse_yaml(made, "") == after
    for line in (
        "  all: 1 cm    # everywhere\n",
        "    locked: true\n",
        "record: []   # nothing yet\n",
    ):
        assert line not in made
    for line in ("  # the hem is deep\n", "# für die Größe 42 ½\n", "# the end\n",
                 "  # left of the stain\n", "chalkbeam: 1   # format\n"):  # fmt: skip
        assert line in made


def test_the_first_key_of_a_row_goes_without_the_row_before_it() -> None:
    """Taken out of a row, its first key takes no dash with it: its list is written anew, alone."""
    after = copy.deepcopy(DATA)
    del after["lay"][1]["piece"]
    made = merged(TEXT, DATA, after)
    assert parse_yaml(made, "") == after
    assert made.startswith(TEXT[: TEXT.index("lay:")])
    assert made.endswith(TEXT[TEXT.index("record:") :])


def test_new_keys_stand_where_the_order_puts_them() -> None:
    """A new key goes before the one that follows it, with that one's comments left below it."""
    after = {"chalkbeam": 1, "unit": "cm", **{k: v for k, v in DATA.items() if k != "chalkbeam"}}
    lines = merged(TEXT, DATA, {**after, "later": [1]}).splitlines()
    assert lines[:4] == ["# für die Größe 42 ½", "chalkbeam: 1   # format", "", "unit: cm"]
    assert lines[-2:] == ["# the end", "later: [1]"]


def test_what_is_added_at_one_place_keeps_its_order() -> None:
    """The last row of a list and the file itself grow at the same line: each gets its own."""
    text = "# mine\nchalkbeam: 1\nlay:\n- piece: front\n  at: [1, 2]\n"
    before = parse_yaml(text, "")
    row = {"piece": "front", "at": [1, 2], "locked": False, "copy": 1}
    after = {"chalkbeam": 1, "lay": [row], "more": 1, "table": {"a": {"b": [1]}}}
    assert merged(text, before, after) == (
        f"{text}  locked: false\n  copy: 1\nmore: 1\ntable:\n  a:\n    b: [1]\n"
    )


def test_a_list_of_another_length_is_written_anew_alone() -> None:
    """A further row rewrites its list; the rest of the file stays."""
    after = copy.deepcopy(DATA)
    after["lay"].append({"piece": "yoke", "at": [7, 8]})
    made = merged(TEXT, DATA, after)
    assert parse_yaml(made, "") == after
    assert made.startswith(TEXT[: TEXT.index("lay:")])
    assert made.endswith(TEXT[TEXT.index("record:") :])


@pytest.mark.parametrize(
    "text",
    ["chalkbeam: 1\n? a\n: 1\n", "{chalkbeam: 1, a: 1}\n", "chalkbeam: 1\na: 1", "'chalkbeam': 1\n\"a\" : 1\n",
     "chalkbeam: 1\na:\n  1\n", "chalkbeam: 1\na: &x 1\n", "--- \nchalkbeam: 1\na: 1\n...\n"],
)  # fmt: skip
def test_odd_ways_of_writing_lose_nothing(text: str) -> None:
    """Whatever the file's form, what is written reads back as what was meant."""
    before = {"chalkbeam": 1, "a": 1}
    for after in ({**before, "a": 2}, {**before, "b": {"c": [1]}}, {"chalkbeam": 1, "b": 1}):
        assert parse_yaml(merged(text, before, after), "") == after


@pytest.mark.parametrize(
    ("text", "after", "made"),
    [
        # rows of a list at the column of its key go with it, and no others
        ("a: 1  # one\nlay:\n- x\n- y\n# two\nb: 2\n", {"a": 1, "b": 3}, "a: 1  # one\n# two\nb: 3\n"),
        # whole numbers as keys, long ones too
        ("a: {}\n3: x  # three\n", {"a": {}, 3: "y"}, "a: {}\n3: y  # three\n"),
        ("12345678901234567890123: x  # many\n", {12345678901234567890123: "y"}, "12345678901234567890123: y  # many\n"),
        # before the first key of a file; in a row never before its dash, else where the order has it
        ("# mine\nb: 2  # two\nchalkbeam: 1\n", {"a": 1, "b": 2, "chalkbeam": 1}, "# mine\na: 1\nb: 2  # two\nchalkbeam: 1\n"),
        ("r:\n- p: 1  # one\n  q: 2\n", {"r": [{"o": 0, "p": 1, "q": 2}]}, "r:\n- p: 1  # one\n  q: 2\n  o: 0\n"),
        ("r:\n- p: 1  # one\n  q: 2\n", {"r": [{"p": 1, "o": 0, "q": 2}]}, "r:\n- p: 1  # one\n  o: 0\n  q: 2\n"),
        # a remark behind a value of several lines stays behind the key
        ("a: [1,\n  2]  # both\nb: 1\n", {"a": {"c": [1]}, "b": 1}, "a:  # both\n  c: [1]\nb: 1\n"),
        ("a: 1\nb: x  # old\n", {"a": 1, "b": {"c": {"d": 1}}}, "a: 1\nb:  # old\n  c: {d: 1}\n"),
        # a file in braces over several lines
        ("{chalkbeam: 1,  # one\n b: 2}\n", {"chalkbeam": 1, "b": 3}, "{chalkbeam: 1,  # one\n b: 3}\n"),
    ],
)  # fmt: skip
def test_where_a_change_goes(text: str, after: dict[Any, Any], made: str) -> None:
    """The whole text after one change, by hand."""
    if "chalkbeam" not in text:
        text, made, after = (
            f"chalkbeam: 1\n{text}",
            f"chalkbeam: 1\n{made}",
            {"chalkbeam": 1, **after},
        )
    assert merged(text, parse_yaml(text, ""), after) == made


def test_a_new_file_is_written_whole() -> None:
    """Where there is no text, or nothing but a remark, all of it is written."""
    for text in ("", "\n", "# only a remark\n"):
        assert merged(text, {}, {"chalkbeam": 1, "a": [2]}) == "chalkbeam: 1\na: [2]\n"


def test_a_text_that_holds_something_else_is_written_anew() -> None:
    """Where the file is not what it is said to hold, all of ``after`` is written and nothing else."""
    for before in ({"chalkbeam": 1}, {"chalkbeam": 1, "b": 2, "c": 3}, {"c": 3}):
        after = {"chalkbeam": 1, "b": 3}
        assert parse_yaml(merged("chalkbeam: 1\nb: 2\n", before, after), "") == after


values = st.recursive(
    st.integers(0, 9)
    | st.booleans()
    | st.none()
    | st.sampled_from(["a", "2,5 cm", "", "x: #y", "1"]),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("pqr"), inner, max_size=3)
    ),
    max_leaves=8,
)
files = st.dictionaries(st.sampled_from("klmn"), values, max_size=4).map(
    lambda d: {"chalkbeam": 1, **d}
)


@given(files, files)
def test_any_file_becomes_any_other(before: dict[str, Any], after: dict[str, Any]) -> None:
    """From every mapping to every other, the text reads back; the same mapping keeps the text."""
    lines = dump_yaml(before).splitlines()
    text = "".join(
        f"# c{i}\n{x}\n" if not x.startswith((" ", "-")) else f"{x}\n" for i, x in enumerate(lines)
    )
    made = merged(text, before, after)
    assert parse_yaml(made, "") == after
    if before == after and str(before) == str(after):
        assert made == text
