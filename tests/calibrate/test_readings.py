"""Files of crosses and readings: where crosses lie, what is read, what is refused, what is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from calibrate.calibration import Calibration
from calibrate.model import ProjectorModel
from calibrate.readings import (
    Readings,
    crosses_for,
    crosses_text,
    distances_text,
    form_text,
    keep_under_way,
    load_readings,
    pairs_of,
    readings_from,
    set_aside,
    under_way,
)
from calibrate.store import keep, kept, newest, now, slug, store_folder
from configs.errors import InputError

SIZE = (1920, 1080)
CROSSES = {"A": [30, 30], "B": [1890, 30], "C": [30, 1050]}


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store of this test alone."""
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def read(rows: Any, **more: Any) -> Readings:
    """Readings from data with three crosses."""
    data = {"chalkbeam": 1, "size": list(SIZE), "crosses": CROSSES, "distances_mm": rows}
    return readings_from({**data, **more}, "d.yaml")


def faults(rows: Any, **more: Any) -> list[str]:
    """The places of the faults that are told of it."""
    with pytest.raises(InputError) as caught:
        read(rows, **more)
    return [f.where.removeprefix("d.yaml: ") for f in caught.value.faults]


# -- where crosses lie -------------------------------------------------------------------------------


def test_where_the_crosses_lie_by_hand() -> None:
    """Of a picture of 1001 × 501 px: 10 px from its edges, then quarters; lettered as one reads."""
    four = {"A": (10, 10), "B": (990, 10), "C": (10, 490), "D": (990, 490)}
    assert crosses_for((1001, 501), 4) == four
    six = crosses_for((1001, 501), 6)
    assert six == {"A": (10, 10), "B": (990, 10), "C": (250, 75), "D": (750, 425), "E": (10, 490), "F": (990, 490)}  # fmt: skip
    nine = crosses_for((1001, 501), 9)
    rows = [[(10, y), (250, y), (750, y), (990, y)] for y in (10, 490)]
    assert list(nine.values()) == [*rows[0], (500, 250), *rows[1]]
    assert "".join(nine) == "ABCDEFGHI"
    upright = crosses_for((501, 1001), 6)
    assert sorted((y, x) for x, y in upright.values()) == sorted(six.values())
    assert list(upright.values()) == sorted(upright.values(), key=lambda p: (p[1], p[0]))
    square = crosses_for((1001, 1001), 6)
    assert square["C"] == (250, 150) and square["D"] == (750, 850)
    assert crosses_for((2001, 1001), 4)["A"] == (20, 20)  # a fiftieth of the shorter side


@pytest.mark.parametrize(
    ("size", "count", "told"),
    [
        ((1920, 1080), 5, "--count"),
        ((1920, 1080), 0, "--count"),
        ((100, 400), 4, "--size"),
        ((400, 100), 4, "--size"),
        ((32768, 1080), 4, "--size"),
        ((1080, 32768), 4, "--size"),
        ((400, 400), 4, ""),
        ((8192, 1080), 9, ""),
    ],
)
def test_pictures_that_crosses_are_laid_out_on(size: tuple[int, int], count: int, told: str) -> None:  # fmt: skip
    """4, 6 or 9 of them, from 200 to 16,384 px: half and twice of each."""
    if not told:
        assert len(crosses_for(size, count)) == count
        return
    with pytest.raises(InputError) as caught:
        crosses_for(size, count)
    assert caught.value.faults[0].where == told


def test_pairs_in_the_order_of_measuring() -> None:
    """The tape's end stays at one cross for as long as it can."""
    assert pairs_of({"B": (0, 0), "A": (0, 0), "C": (0, 0)}) == [("A", "B"), ("A", "C"), ("B", "C")]


# -- what is written -----------------------------------------------------------------------------------


def test_texts_are_read_back(tmp_path: Path) -> None:
    """Crosses and readings, a pair read twice, half a pixel: as given; a form has all pairs, empty."""
    crosses = {**CROSSES, "C": [30.5, 1050]}
    text = crosses_text(SIZE, crosses)
    assert yaml.safe_load(text) == {"chalkbeam": 1, "size": [1920, 1080], "crosses": crosses}
    assert "30.5" in text and "30.0" not in text
    rows = [
        (("A", "B"), 1200.0),
        (("A", "C"), 650.12345),
        (("A", "B"), 1201.0),
        (("A", "B"), 1199.5),
    ]
    path = tmp_path / "d.yaml"
    path.write_text(distances_text(SIZE, crosses, rows))
    data = yaml.safe_load(path.read_text())
    assert data["distances_mm"] == {"A-B": [1200.0, 1201.0, 1199.5], "A-C": 650.123}
    found = load_readings(path)
    assert found.crosses == {k: tuple(map(float, p)) for k, p in crosses.items()}
    assert sorted(found.readings)[:2] == [(("A", "B"), 1199.5), (("A", "B"), 1200.0)]
    empty = yaml.safe_load(distances_text(SIZE, crosses, []))
    assert empty["distances_mm"] == {}
    form = yaml.safe_load(form_text(SIZE, crosses))
    assert form["distances_mm"] == {"A-B": None, "A-C": None, "B-C": None}
    assert form["crosses"] == crosses


def test_readings_under_way_are_kept_and_set_aside(home: Path) -> None:
    """For one display, one size and the same crosses; what is no pair of theirs is left out."""
    typed = {"A-B": "1200", "A-C": "65 cm"}
    path = keep_under_way("Hall 2", SIZE, CROSSES, typed)
    assert path == home / "readings" / "hall-2-1920x1080.yaml"
    assert under_way("Hall 2", SIZE, CROSSES) == typed
    assert under_way("attic", SIZE, CROSSES) == {}
    assert under_way("Hall 2", (1280, 720), CROSSES) == {}
    assert under_way("Hall 2", SIZE, {**CROSSES, "C": [31, 1050]}) == {}
    data = yaml.safe_load(path.read_text())
    data["distances_mm"].update({"A-Z": "5", "A-D": "3"})
    path.write_text(yaml.safe_dump(data))
    assert under_way("Hall 2", SIZE, CROSSES) == typed
    path.write_text(crosses_text(SIZE, CROSSES) + "distances_mm: [1]\n")
    assert under_way("Hall 2", SIZE, CROSSES) == {}
    path.write_text("what: [")
    assert under_way("Hall 2", SIZE, CROSSES) == {}
    keep_under_way("Hall 2", SIZE, CROSSES, {})
    assert under_way("Hall 2", SIZE, CROSSES) == {}
    keep_under_way("Hall 2", SIZE, CROSSES, typed)
    set_aside("Hall 2", SIZE)
    set_aside("Hall 2", SIZE)
    assert under_way("Hall 2", SIZE, CROSSES) == {} and not path.exists()
    assert path.with_name("hall-2-1920x1080-before.yaml").exists()


# -- what is read --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["A-B", "a-b", "AB", "ab", "A – B", "A—B", "A_B", "A to B", "A B", " A-B "]
)  # fmt: skip
def test_how_a_pair_may_be_written(name: str) -> None:
    """With any dash, with 'to', a blank or nothing between, in small letters."""
    assert read({name: 1200}).readings == ((("A", "B"), 1200.0),)


def test_pairs_and_readings_that_are_none() -> None:
    """One letter, three, the same twice, a letter that is no cross: each by its line."""
    assert faults({"A": 5, "A-B-C": 900, "A-A": 900, "ABC": 900, "A-Z": 900, "B-C": 900}) == [
        f"distances_mm.{n}" for n in ("A", "A-B-C", "A-A", "ABC", "A-Z")
    ]
    assert faults({}) == ["distances_mm"]
    assert faults({"A-B": None, "A-C": "  ", "B-C": []}) == ["distances_mm"]
    assert faults([1, 2]) == ["distances_mm"]
    assert faults({"A-B": "long", "A-C": True}) == ["distances_mm.A-B", "distances_mm.A-C"]
    # where the crosses themselves are wrong, a pair of theirs is not blamed too
    assert faults({"A-B": 900}, crosses={"A": [5000, 5]}) == ["crosses.A"]


@pytest.mark.parametrize(
    ("mm", "fine"), [(2.5, False), (10.0, True), (15_000.0, True), (60_000.0, False)]
)  # fmt: skip
def test_distances_on_a_table(mm: float, fine: bool) -> None:
    """From 5 mm to 30 m: half and twice of each."""
    if fine:
        assert read({"A-B": mm}).readings == ((("A", "B"), mm),)
    else:
        assert faults({"A-B": mm}) == ["distances_mm.A-B"]


def test_several_readings_of_a_pair_and_units() -> None:
    """A list is a pair read again, empty ones left out; ``distances`` is in the file's own unit."""
    found = read({"A-B": [1200, None, " ", "120.5 cm"], "A-C": None})
    assert found.readings == ((("A", "B"), 1200.0), (("A", "B"), 1205.0))
    found = read({"A-B": 1200}, unit="cm", distances={"A-C": 65})
    assert found.readings == ((("A", "B"), 1200.0), (("A", "C"), 650.0))
    found = read(None, distances={"A-C": 65}, unit="in")
    assert found.readings == ((("A", "C"), pytest.approx(1651.0)),)


@pytest.mark.parametrize(("mm", "asked"), [(25, True), (100, False)])
def test_a_bare_number_too_small_for_mm_is_asked_back(mm: int, asked: bool) -> None:
    """Under ``distances``, whose name says no unit: half and twice of 50; an answer is offered, and what
    is no length at all is told how lengths are written."""
    if not asked:
        assert read(None, distances={"A-B": mm}).readings == ((("A", "B"), float(mm)),)
        return
    data = {"size": list(SIZE), "crosses": CROSSES, "distances": {"A-B": mm, "A-C": "long"}}
    with pytest.raises(InputError) as caught:
        readings_from(data, "d.yaml")
    small, none = caught.value.faults
    assert "did you mean 25 cm" in small.what and "1123" not in small.remedy
    assert "Write 1123" in none.remedy


def test_distances_that_are_no_lines() -> None:
    """A list or a word in place of lines is told, beside lines under the other name too."""
    for other in ([1, 2], "long"):
        assert faults({"A-B": 900}, distances=other) == ["distances"]


@pytest.mark.parametrize(
    ("said", "unit"),
    [({}, "mm"), ({"unit": "in"}, "in"), ({"distances": {"A-C": "40 in"}}, "in"), ({"distances": {"A-C": "90 cm"}}, "mm")],
)  # fmt: skip
def test_what_was_read_in_inches_is_told_in_inches(said: dict[str, Any], unit: str) -> None:
    """By the file's unit, or by one reading that says so."""
    assert read({"A-B": 900}, **said).unit == unit


@pytest.mark.parametrize(
    ("size", "told"),
    [
        ([1920], True), ([1920, 1080, 3], True), ([1920.5, 1080], True), ("1920x1080", True), ([0, 1080], True),
        ([True, 1080], True), ([65536, 1080], True), ([32768, 16384], False), (None, True),
    ],
)  # fmt: skip
def test_sizes_of_a_picture(size: Any, told: bool) -> None:
    """Two whole numbers of px up to 32,768; in the file, or with the command."""
    if told:
        assert faults({"A-B": 900}, size=size) == ["size"]
    else:
        assert read({"A-B": 900}, size=size).size == tuple(size)
    if size is None:
        data = {"crosses": CROSSES, "distances_mm": {"A-B": 900}}
        assert readings_from(data, "d.yaml", SIZE).size == SIZE


def test_the_size_given_must_be_the_files() -> None:
    """The same is fine; another is one fault, whatever else is wrong."""
    data = {"size": list(SIZE), "crosses": CROSSES, "distances_mm": {"A-B": 900}}
    assert readings_from(data, "d.yaml", SIZE).size == SIZE
    with pytest.raises(InputError) as caught:
        readings_from({**data, "crosses": {"A": [9999, 0]}}, "d.yaml", (1280, 720))
    assert [f.where for f in caught.value.faults] == ["d.yaml: size"]


@pytest.mark.parametrize(
    ("at", "fine"),
    [
        ([-0.5, -0.5], True), ([1919.5, 1079.5], True), ([-1.0, 30], False), ([30, -1.0], False),
        ([1920.0, 30], False), ([30, 1080.0], False), (["x", 3], False), ([3], False),
    ],
)  # fmt: skip
def test_a_cross_lies_in_the_picture(at: list[Any], fine: bool) -> None:
    """To half a pixel past its outer pixels' middles and no farther; two numbers."""
    crosses = {**CROSSES, "C": at}
    if fine:
        assert read({"A-B": 900}, crosses=crosses).crosses["C"] == tuple(at)
    else:
        assert [w[:9] for w in faults({"A-B": 900}, crosses=crosses)] == ["crosses.C"]


def test_no_crosses_are_told() -> None:
    """An empty list of crosses is a fault with the remedy."""
    assert "crosses" in faults({"A-B": 900}, crosses={})[0]


@pytest.mark.parametrize(("last", "count"), [("B", 6), ("F", 6), ("G", 9), ("I", 9)])
def test_crosses_not_named_are_those_of_the_picture(last: str, count: int) -> None:
    """Letters up to F are of the six that are shown by default, later ones of the nine."""
    data = {"chalkbeam": 1, "distances": {f"a-{last.lower()}": 900}}
    found = readings_from(data, "d.yaml", SIZE)
    assert found.crosses == {k: tuple(map(float, p)) for k, p in crosses_for(SIZE, count).items()}
    assert found.readings == ((("A", last), 900.0),)


def test_what_was_shown_lies_beside_the_file(tmp_path: Path) -> None:
    """`crosses.yaml` beside it is taken where the file names none, with its size; never otherwise."""
    path = tmp_path / "d.yaml"
    path.write_text("distances_mm: {A-B: 900}\n")
    with pytest.raises(InputError, match="size"):
        load_readings(path)
    beside = tmp_path / "crosses.yaml"
    beside.write_text(crosses_text(SIZE, CROSSES))
    shown = {k: tuple(map(float, p)) for k, p in CROSSES.items()}
    assert load_readings(path) == Readings(SIZE, shown, ((("A", "B"), 900.0),))
    path.write_text(
        "size: [1000, 500]\ncrosses: {A: [1, 2], B: [3, 4]}\ndistances_mm: {A-B: 900}\n"
    )
    assert load_readings(path).crosses == {"A": (1.0, 2.0), "B": (3.0, 4.0)}
    path.write_text("distances_mm: {A-B: 900}\n")
    beside.write_text("chalkbeam: 1\ncrosses: none\n")
    assert len(load_readings(path, SIZE).crosses) == 6


def test_the_first_line_may_be_left_out_and_no_other_version_in(tmp_path: Path) -> None:
    """A file written by hand at the table needs no 'chalkbeam: 1'; one of another version is refused."""
    path = tmp_path / "d.yaml"
    for head in ("", "chalkbeam: 1\n", "'chalkbeam': 1\n"):
        path.write_text(f"{head}distances_mm: {{A-B: 900}}\n")
        assert load_readings(path, SIZE).readings == ((("A", "B"), 900.0),)
    path.write_text("chalkbeam: 2\ndistances_mm: {A-B: 900}\n")
    with pytest.raises(InputError, match="version 1"):
        load_readings(path, SIZE)


# -- the store -----------------------------------------------------------------------------------------


def made(display: str, date: str, size: tuple[int, int] = SIZE) -> Calibration:
    """A calibration for the store."""
    matrix = np.array([[1.5, 0, 960], [0, -1.5, 540], [0, 0, 1.0]])
    model = ProjectorModel(size, matrix, np.array([959.5, 539.5]))
    return Calibration(model, np.zeros((17, 17)), "photo", date, display=display)


def test_the_store_lies_where_the_system_keeps_such_things(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    """In CHALKBEAM_HOME where that is set, else in the user's own data."""
    assert store_folder() == home / "calibrations"
    monkeypatch.delenv("CHALKBEAM_HOME")
    monkeypatch.setenv("XDG_DATA_HOME", str(home / "data"))
    assert store_folder() == home / "data" / "chalkbeam" / "calibrations"


def test_names_of_files_and_dates(home: Path) -> None:
    """A display's name as a file's; the date in front, a second one of the same second numbered."""
    assert [slug(n) for n in ("Hall (2)", "--", "", "über dem Tisch")] == ["hall-2", "projector", "projector", "ber-dem-tisch"]  # fmt: skip
    files = [keep(made("Hall", "2026-11-02 10:11:12")) for _ in range(3)]
    assert [p.name for p in files] == ["20261102101112.yaml", "20261102101112-02.yaml", "20261102101112-03.yaml"]  # fmt: skip
    assert {p.parent for p in files} == {home / "calibrations" / "hall"}
    undated = keep(made("Hall", ""))
    assert len(undated.stem) == 14 and undated.stem[:4] >= "2024"
    assert len(now()) == 19 and now()[10] == " "


def test_the_newest_that_fits(home: Path) -> None:
    """Of one display or of all, of one size or any; files between the folders are none."""
    assert kept() == [] and newest() is None
    keep(made("hall", "2026-11-02"))
    keep(made("hall", "2026-11-03", (1280, 720)))
    keep(made("attic", "2026-11-04"))
    (home / "calibrations" / "notes.txt").write_text("x")
    assert [p.parent.name for p in kept()] == ["attic", "hall", "hall"]
    assert [p.stem for p in kept("hall")] == ["20261103", "20261102"]
    for display, size, date in (
        (None, None, "2026-11-04"),
        ("hall", None, "2026-11-03"),
        ("hall", SIZE, "2026-11-02"),
        (None, (1280, 720), "2026-11-03"),
    ):
        found = newest(display, size)
        assert found is not None and found.date == date, (display, size)
    assert newest("hall", (800, 600)) is None
    (home / "calibrations" / "hall" / "20991231.yaml").write_text("chalkbeam: 1\n")
    again = newest("hall")
    assert again is not None and again.date == "2026-11-03"
