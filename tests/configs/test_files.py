"""Reading what people write: decimal commas, plain numbers, nothing that YAML makes of them."""

from __future__ import annotations

import pickle
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from configs import shipped
from configs.errors import Fault, InputError, Refusal, is_shown, printable, short
from configs.files import (
    dump_yaml,
    json_record,
    one_line,
    parse_yaml,
    read_bytes,
    write_atomic,
)
from configs.reader import Reader, unknown_keys


def read(text: str) -> Any:
    """The value of ``a`` in a file."""
    return parse_yaml(f"chalkbeam: 1\na: {text}\n", "f.yaml")["a"]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("{hem: 2,5 cm}", {"hem": "2,5 cm"}),
        ("{hem: 2,5 cm, all: 1,5}", {"hem": "2,5 cm", "all": 1.5}),
        ("{all: 1,25,hem: -2,5 cm}", {"all": 1.25, "hem": "-2,5 cm"}),
        ("{x: {hem: 12,75 in}, y: 1}", {"x": {"hem": "12,75 in"}, "y": 1}),
        ("{hem: 2,5cm}", {"hem": "2,5cm"}),
        ("\n  hem: 2,5 cm\n  all: 1,5", {"hem": "2,5 cm", "all": "1,5"}),
        ("{hem: 2, b: 3}", {"hem": 2, "b": 3}),
        ("{hem: 2,b: 3}", {"hem": 2, "b": 3}),
        ("{hem: 2,5: 3}", {"hem": 2, 5: 3}),
        ("{hem: 'x',5 cm}", {"hem": "x", "5 cm": None}),
        ("{hem: 2, 5 cm}", {"hem": 2, "5 cm": None}),
        ("[0,180]", [0, 180]),
    ],
)
def test_decimal_commas_are_read_in_braces(text: str, value: Any) -> None:
    """A comma with a digit right behind it is a decimal comma wherever YAML leaves room for it."""
    assert read(text) == value


def test_a_comma_that_ended_the_value_is_told_with_what_to_type() -> None:
    """Where it stays open what was meant, the message says to write a point."""
    (fault,) = unknown_keys({"hem": 2, "5 cm": None}, ("hem", "all"), "f")
    assert "2.5 cm, with a point" in fault.remedy
    row = Reader({"at": [100, 5, 200]}, file="f.yaml")
    row.point("at")
    assert "write 2.5 with a point" in str(row.faults[0])


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12:30", "12:30"),  # base 60 in YAML 1.1
        ("190:20:30.15", "190:20:30.15"),
        ("010", 10),  # octal in YAML 1.1
        ("0x1F", "0x1F"),
        ("1_000", "1_000"),
        ("1e3", "1e3"),
        ("+5", 5),
        ("-.5", -0.5),
        ("5.", 5.0),
        ("−3", "−3"),
        ("yes", True),
        ("~", None),
        ("=", "="),
        ("2026-11-02", date(2026, 11, 2)),
        ("2026-02-31", "2026-02-31"),
        ("36 3/4", "36 3/4"),
    ],
)
def test_numbers_mean_what_they_look_like(text: str, value: Any) -> None:
    """No base 60, no octal, no underscores; what is no date stays a text for its reader to tell."""
    made = read(text)
    assert made == value
    assert type(made) is type(value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("!!int ''", "tags"),
        ("!!timestamp x", "tags"),
        ("!mine x", "tags"),
        ("&b [*b]", "references"),
        ("9" * 41, "41 signs"),
        ("0." + "3" * 400, "402 signs"),
        ("[" * 40 + "]" * 40, "too deep"),
        ("{a: 1, a: 2}", "stands twice"),
        ("{? [1] : 2}", "cannot be a key"),
        ("[" + "1," * 200_001 + "1]", "more values"),
        ("'open", "quote|scanning"),
    ],
)
def test_what_is_refused_is_told_with_line_and_column(text: str, said: str) -> None:
    """Each refusal of the YAML itself names the place in the file."""
    with pytest.raises(InputError, match=rf"f.yaml line \d+, column \d+: .*({said})"):
        read(text)


plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.floats(-1e9, 1e9).map(lambda v: round(v, 6))
    | st.text("aeB019 .,:-[]{}'\"#&*!|>%@`~=½袖\n\t_", max_size=12)
    | st.dates(date(1900, 1, 1), date(2100, 1, 1)),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text("abcdefgh", min_size=1, max_size=4), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.text("klmnop", min_size=1, max_size=5), plain, max_size=5))
def test_what_is_written_reads_back_the_same(data: dict[str, Any]) -> None:
    """Texts that look like numbers, dates or words of YAML come back as texts, numbers as numbers."""
    whole = {"chalkbeam": 1, **data}
    assert parse_yaml(dump_yaml(whole), "") == whole


def test_the_same_list_in_two_places_is_written_twice() -> None:
    """No reference is written, since none is read."""
    ring = [[0, 0], [1, 2]]
    data = {"chalkbeam": 1, "a": ring, "b": [ring, (1, 2)]}
    assert parse_yaml(dump_yaml(data), "") == {"chalkbeam": 1, "a": ring, "b": [ring, [1, 2]]}


def test_nothing_is_left_when_writing_fails(tmp_path: Path) -> None:
    """A text that is none, a name that is none: refused, the old file stays, no scrap lies about."""
    path = tmp_path / "f.yaml"
    path.write_text("old")
    for target, text in ((path, "half a sign \ud800"), (tmp_path / "a\0b", "x"), (tmp_path, "x")):
        with pytest.raises(InputError, match="cannot be written"):
            write_atomic(target, text)
    assert [p.name for p in tmp_path.iterdir()] == ["f.yaml"]
    assert path.read_text() == "old"


def test_a_file_at_its_limit_is_read_and_one_past_it_is_not(tmp_path: Path) -> None:
    """Half the limit and the limit itself are read whole; a byte more, and twice, are not."""
    path = tmp_path / "f"
    for size in (500, 1000):
        path.write_bytes(b"x" * size)
        assert len(read_bytes(path, 1000)) == size
    for size in (1001, 2000):
        path.write_bytes(b"x" * size)
        with pytest.raises(InputError, match="larger than"):
            read_bytes(path, 1000)


@pytest.mark.parametrize("text", ['{"a":NaN}', '{"a":-Infinity}', "[1]", "7", "{", "[" * 90000, ""])
def test_lines_of_json_that_are_no_record_are_none(text: str) -> None:
    """Not finite, not a mapping, torn or bottomless: no record."""
    assert json_record(text) is None
    assert json_record('{"a": [1, 2.5]}') == {"a": [1, 2.5]}


def test_every_fault_of_a_file_comes_with_its_path() -> None:
    """A reader goes on after a fault and tells all of them, each with file, key and what to do."""
    top = Reader(
        {"turn": "north", "lay": [{"at": [1]}, 7], "flag": 1, "kind": "scop"}, file="t.yaml"
    )
    top.only(("turn", "lay", "flgs", "kind"))
    top.number("turn", what="an angle")
    for row in top.rows("lay", ("at",)):
        row.point("at")
    top.flag("flag")
    assert top.word("kind", ("scoop", "v")) == "scoop"
    with pytest.raises(InputError) as caught:
        top.done()
    told = [str(f) for f in caught.value.faults]
    assert told == [
        "t.yaml: unknown key 'flag'. Did you mean 'flgs'?",
        "t.yaml: turn: 'north' is not an angle.",
        "t.yaml: lay[1]: should hold 'key: value' pairs, not 7.",
        "t.yaml: lay[0].at: should be [x, y], not [1].",
        "t.yaml: flag: 1 is neither true nor false.",
        "t.yaml: kind: 'scop' is not one of scoop, v. Did you mean 'scoop'?",
    ]


def test_what_another_reader_refused_is_told_at_its_key() -> None:
    """A fault that knows no place gets the key under which it was tried; what is sound comes back."""

    def refuse() -> int:
        raise InputError(Fault("somewhere", "is wrong.", "Mend it.", 7))

    top = Reader({}, file="t.yaml")
    assert top.tried(lambda: 5, 0, "a.b") == 5
    assert top.tried(refuse, 3, "a.b") == 3
    assert top.tried(refuse, 4) == 4
    assert [str(f) for f in top.faults] == [
        "t.yaml: a.b: is wrong. Mend it.",
        "somewhere: is wrong. Mend it.",
    ]


@pytest.mark.parametrize(
    ("value", "number"),
    [(2, 2.0), (2.5, 2.5), ("2,5", 2.5), (" -2.5 ", -2.5), ("2,5,5", None), (True, None),
     (None, None), ("x", None), (float("inf"), None), (10**400, None), ("9" * 400, None)],
)  # fmt: skip
def test_numbers_with_a_point_or_a_comma(value: Any, number: float | None) -> None:
    """A number may have a decimal comma; what is not finite or no number is refused."""
    top = Reader({"n": value} if value is not None else {"n": []})
    assert top.number("n", -1.0) == (number if number is not None else -1.0)
    assert bool(top.faults) == (number is None)


def test_shown_text_holds_nothing_hidden() -> None:
    """Escapes of a terminal, halves of signs and turned directions are spelt out; letters stay."""
    odd = "a\x1b[31m\ud800\u202eb\0"
    assert not is_shown(odd)
    assert printable(odd) == r"a\x1b[31m\ud800\u202eb\x00"
    assert printable("Größe ½ 袖 e\u0301\u00a0x\n") == "Größe ½ 袖 e\u0301\u00a0x\n"
    assert str(Fault(odd, odd)).isprintable()
    assert len(str(Fault("f", "x" * 100_000))) < 1300
    assert len(short(10**5000)) < 80


def test_errors_travel_between_processes_whole() -> None:
    """An error that is pickled keeps class, faults, code and data."""
    for error in (InputError([Fault("a", "b", "c", 7), Fault("d", "e")]),
                  Refusal("mirrored", "w", "r", where="p", data={"n": 2})):  # fmt: skip
        again = pickle.loads(pickle.dumps(error))
        assert type(again) is type(error)
        assert (again.faults, again.__dict__) == (error.faults, error.__dict__)
        assert str(again) == str(error)


def test_shipped_files_lie_in_the_package() -> None:
    """Every kind of example is found through the package, in the checkout and installed."""
    for parts in (("keys.yaml",), ("measurements", "alto-3.yaml"), ("styles",), ("cloth",),
                  ("dockets",), ("pictures", "lay.png")):  # fmt: skip
        assert shipped(*parts).exists(), parts


@pytest.mark.parametrize(
    "text", ["09", "010", "1.", "+7", "no", "~", "2026-11-02", "", "12:30", ".5"]
)
def test_a_text_that_looks_like_a_number_stays_a_text(text: str) -> None:
    """Written and read again '09' is no nine: what our reader would take for another value is quoted."""
    assert parse_yaml(dump_yaml({"chalkbeam": 1, "k": text}), "x")["k"] == text
    assert parse_yaml(f"chalkbeam: 1\nk: {one_line([text])}\n", "x")["k"] == [text]
