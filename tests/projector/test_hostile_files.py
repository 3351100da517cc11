"""Files that were broken, mistyped or made to hurt: each is read, or refused in words."""

from __future__ import annotations

import copy
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from table_rig import is_open, projector

from calibrate.calibration import Calibration
from calibrate.cards import card_set, load_cards
from calibrate.pattern import load_pattern, pattern_for
from calibrate.photo import read_photo
from calibrate.readings import crosses_for, load_readings
from configs import shipped
from configs.errors import ChalkbeamError, InputError, is_shown
from configs.files import dump_yaml, read_yaml
from drafting import Docket, Measurements
from drafting.cloth import Cloth
from drafting.docket.base import Base
from drafting.intake import read_outlines
from drafting.placement import Placement
from projector.cli import main
from projector.console import print_table
from projector.height import from_dict as height_from
from projector.picture.look import look_of
from projector.picture.view import View
from projector.session.journal import Journal, journal_path, with_noted
from projector.session.keys import load_keys
from projector.session.past import Past
from projector.session.rules import Work
from projector.session.shares import together

ALL = bool(os.environ.get("CHALKBEAM_ALL_HOSTILE"))  # each value in each field: minutes, by hand
HERE = "here-stands-the-value"
# as they stand in the file
HOSTILE = [
    "!!int ''",
    "!!float ''",
    "!!timestamp x",
    "!!bool x",
    "!!python/object/apply:os.system ['true']",
    "9" * 400,
    "9" * 5000,
    f"0.{'3' * 400}",
    "-1",
    "0",
    "12345678901234567890",
    "1.0e+308",
    "-1.0e+308",
    ".inf",
    ".nan",
    "190:20:30.15",
    "2026-13-45",
    "true",
    "~",
    "[]",
    "{}",
    "[[[[[]]]]]",
    "[.nan, 1]",
    "{a: {b: {c: 1}}}",
    "{? [a] : b}",
    "&a [*a]",
    r'"\0"',
    r'"a\0b.yaml"',
    r'"\e[31mred"',
    r'"\ud800"',
    "/",
    "..",
    "'[/foo]'",
    "'[red]x[/blue]'",
    "1/0 in",
    "2,5,5 cm",
    "- 3 cm",
    "x" * 100_000,
    "[" * 200 + "]" * 200,
]


def spots(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of a nested mapping where a value stands, but the format's version."""
    items = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in items:
        if key == "chalkbeam":
            continue
        yield (*path, key)
        if isinstance(value, dict | list):
            yield from spots(value, (*path, key))


def with_gap(data: dict[str, Any], spot: tuple[Any, ...]) -> str:
    """The file's text with `HERE` in one place, for a value as YAML."""
    changed = copy.deepcopy(data)
    at: Any = changed
    for key in spot[:-1]:
        at = at[key]
    at[spot[-1]] = HERE
    return dump_yaml(changed)


SQUARE = [[0, 0], [300, 0], [300, 200], [0, 200]]
DOCKET: dict[str, Any] = {
    "chalkbeam": 1,
    "title": "banner",
    "unit": "mm",
    "wearer": "tenor-1",
    "pieces": [
        {
            "name": "flag",
            "outline": SQUARE,
            "cut": 1,
            "pair": False,
            "grain": [[0, 0], [0, 1]],
            "turns": [0, 180],
            "allowances": {"all": 5},
        },
        {
            "name": "tab",
            "edges": {"side": [[0, 0], [100, 0], [100, 80]], "hem": [[100, 80], [0, 80], [0, 0]]},
            "notches": [{"edge": "side", "at": 20, "count": 2, "match": "x"}],
            "darts": [{"edge": "hem", "first": [80, 80], "second": [60, 80], "tip": [70, 40]}],
            "marks": [{"name": "m", "points": [[50, 30]], "closed": False}],
            "corners": [{"edges": ["side", "hem"], "kind": "squared", "by": "side"}],
            "label": ["tab"],
        },
    ],
    "quantity": 1,
    "allowances": {"all": "10 mm", "tab": {"hem": "2 cm"}},
    "cloth": {
        "unit": "mm",
        "width": 1400,
        "length": 2000,
        "fold": "none",
        "nap": "two-way",
        "selvedge": 10,
        "shrinkage": {"length": "3 %", "width": 1},
        "repeat": {"length": 80, "width": 40},
        "match": [["flag.outline", {"piece": "tab", "at": [0, 0]}]],
        "grain_tolerance": {"all": 2},
        "price": "12.50 EUR/m",
        "colour": "green",
        "note": "n",
        "tolerates_flaws": ["tab"],
    },
    "distance": 5,
    "shares": ["other.yaml"],
    "lay": [
        {
            "piece": "flag", "copy": 1, "at": [10, 10], "turn": 0, "mirrored": False,
            "locked": False, "aside": False,
        }
    ],
    "traced": ["flag/1"],
    "table": {
        "view": {"turn": 0, "at": [0, 0], "mirror": False, "side": "near"},
        "height": {"mat": 3, "cloth": 1, "layers": 1, "lens_height": 1800, "lens_foot": [1, 2]},
        "weight": 1,
        "width": "1.2 mm",
    },
    "record": [{"date": "2026-11-02", "note": "n", "photo": "p.jpg"}],
}  # fmt: skip
GARMENT: dict[str, Any] = {
    "chalkbeam": 1,
    "title": "top",
    "measurements": "m.yaml",
    "garment": {
        "block": "quick-top",
        "style": {"length": "540 mm", "neckline": "scoop", "gather_ratio": 1.4},
        "fit": [{"change": "bust", "by": "12 mm", "where": "front", "note": "n", "date": "d"}],
    },
    "allowances": {"all": "10 mm"},
}
CHANGES: list[dict[str, Any]] = [
    {"face": "apron", "edges": ["top"], "width": "6 cm", "as": "top facing"},
    {"copy": "apron", "for": "lining", "shorter": "2 cm", "edge": "hem"},
    {"band": "apron", "edge": "top", "width": "3 cm", "ease": "1 mm", "as": "band"},
    {"lengthen": "apron", "at": "side 20 cm from hem", "by": "3 cm", "name": "longer"},
    {"landmark": "apron", "as": "middle", "across": "20 cm", "level": "side 20 cm from hem"},
    {"cut": "apron", "from": "hem 10 cm from left", "to": "top 10 cm from left",
     "into": ["l", "r"], "notches": 1},
    {"spread": "r", "from": "top", "to": "hem", "lines": 3, "by": "6 cm", "hinge": "hem"},
    {"strip": "l", "edge": "left", "width": "3 cm"},
]  # fmt: skip
APRON = {
    "name": "apron",
    "edges": {"hem": [[0, 0], [400, 0]], "side": [[400, 0], [400, 500]],
              "top": [[400, 500], [0, 500]], "left": [[0, 500], [0, 0]]},
}  # fmt: skip
BODY = read_yaml(shipped("measurements", "alto-3.yaml"))


def use_docket(path: Path) -> None:
    """All that is read of a docket, and written and read again."""
    docket = Docket.load(path)
    docket.pieces()
    docket.allowance_cautions()
    look_of(docket)
    table = docket.table or {}
    if "view" in table:
        View.from_dict(table["view"], "table.view")
    if "height" in table:
        height_from(table["height"])
    again = docket.replace(quantity=2).save(path.with_name("again.yaml"))
    assert Docket.load(again).title == docket.title


def use_garment(path: Path) -> None:
    """Reading and drafting."""
    Docket.load(path).pieces()


def use_measurements(path: Path) -> None:
    """Reading, saving and reading again."""
    body = Measurements.load(path)
    body.save(path.with_name("again.yaml"))
    assert Measurements.load(path.with_name("again.yaml")).values.keys() == body.values.keys()


def use_cloth(path: Path) -> None:
    """Reading, and its keys read back."""
    cloth = Cloth.load(path)
    assert Cloth.from_dict(cloth.to_dict()).width_mm == pytest.approx(cloth.width_mm)


def use_calibration(path: Path) -> None:
    """Reading, and a place on the table."""
    assert np.isfinite(Calibration.load(path).to_table(np.array([[960.0, 540.0]]))).all()


def calibration() -> dict[str, Any]:
    """A calibration's mapping, as it is saved."""
    made = projector()
    return {**made.to_dict(), "bars_mm": [180.1, 250.2], "facts": {"n": 1}, "held_out_mm": 0.1,
            "cards": [{"card": 1, "at_mm": [0.0, 1.0], "turn": 3.0}]}  # fmt: skip


CROSSES = {k: list(v) for k, v in crosses_for((1920, 1080), 6).items()}
KINDS: dict[str, tuple[Callable[[], dict[str, Any]], Callable[[Path], Any]]] = {
    "docket": (lambda: DOCKET, use_docket),
    "garment": (lambda: GARMENT, use_garment),
    "changes": (
        lambda: {"chalkbeam": 1, "title": "t", "pieces": [APRON], "garment": {"changes": CHANGES}},
        use_garment,
    ),
    "base": (
        lambda: {"chalkbeam": 1, "title": "b", "unit": "cm", "wearer": "w", "made": "2026-11-02",
                 "measurements": "m.yaml", "base": GARMENT["garment"], "drafted": [APRON]},
        Base.load,
    ),
    "measurements": (lambda: {**BODY, "confirmed": {"bust_girth": "36 3/4"}, "note": "n", "since": "m.yaml"}, use_measurements),
    "cloth": (
        lambda: {"chalkbeam": 1, **DOCKET["cloth"], "outline": SQUARE, "holes": [SQUARE[:3]]},
        use_cloth,
    ),
    "calibration": (calibration, use_calibration),
    "cards": (lambda: {"chalkbeam": 1, **card_set("a4").to_dict()}, load_cards),
    "pattern": (
        lambda: {"chalkbeam": 1, **pattern_for((1920, 1080), 1200.0).to_dict()},
        load_pattern,
    ),
    "distances": (
        lambda: {"chalkbeam": 1, "size": [1920, 1080], "unit": "cm", "crosses": CROSSES,
                 "distances_mm": {"A-B": 1123, "A-C": [500, 501]}, "distances": {"B-C": 90}},
        load_readings,
    ),
    "keys": (lambda: {"chalkbeam": 1, "keys": {"turn": ["j"], "lock": "o"}}, load_keys),
}  # fmt: skip


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_any_value_anywhere_is_read_or_refused_in_words(kind: str, tmp_path: Path) -> None:
    """Every hostile value in every field of every kind of file: read, or refused with its place."""
    make, use = KINDS[kind]
    data = make()
    path = tmp_path / "f.yaml"
    (tmp_path / "m.yaml").write_text(dump_yaml(BODY))
    path.write_text(dump_yaml(data))
    use(path)  # as it is, it is sound
    big = kind == "calibration"
    refused = turn = 0
    for spot in spots(data):
        if big and spot[0] == "covariance" and spot[1:] not in ((), (3,), (3, 4)):
            continue  # one of 17 rows and of 289 numbers stands for the others
        turn += 1
        text = with_gap(data, spot)
        for value in HOSTILE if ALL else HOSTILE[turn % 6 :: 6]:
            path.write_text(text.replace(HERE, value))
            try:
                use(path)
            except ChalkbeamError as error:
                refused += 1
                told = str(error)
                assert is_shown(told), (spot, value)
                assert max(len(str(f)) for f in error.faults) < 2000, (spot, value[:40], told[:300])
            except BaseException as error:
                raise AssertionError(f"{spot} {value[:40]!r}: {error!r}") from error
    assert refused > 10


READERS: dict[str, Callable[[Path], Any]] = {
    **{kind: use for kind, (_, use) in KINDS.items()},
    "photo.jpg": read_photo,
    "drawing.svg": read_outlines,
    "drawing.dxf": read_outlines,
}


@pytest.mark.parametrize("reader", sorted(READERS))
def test_only_plain_files_are_opened_and_none_past_its_limit(reader: str, tmp_path: Path) -> None:
    """A pipe nobody writes to, a device without end, a folder, a sparse file of 50 GB: refused at once."""
    name = reader if "." in reader else f"{reader}.yaml"
    for kind in ("pipe", "device", "folder", "sparse", "missing", "link to itself"):
        path = tmp_path / f"{kind} {name}"
        if kind == "pipe":
            os.mkfifo(path)
        elif kind == "device":
            path.symlink_to("/dev/zero")
        elif kind == "folder":
            path.mkdir()
        elif kind == "sparse":
            with path.open("wb") as file:
                file.truncate(50_000_000_000)
        elif kind == "link to itself":
            path.symlink_to(path)
        with pytest.raises(InputError, match=r"plain file|folder|larger|no such|cannot be read"):
            READERS[reader](path)


@pytest.mark.parametrize("name", ["pipe", "folder", r"a\0b", "x" * 300, "/dev/zero", "", "/", "."])
@pytest.mark.parametrize(
    "line", ["measurements: {}", "cloth: {}", "shares: [{}]", "measurements: {{since: {}}}"]
)
def test_what_a_docket_names_must_be_a_plain_file(name: str, line: str, tmp_path: Path) -> None:
    """Files named in a docket are looked at before they are opened, whatever their names hold."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    path = tmp_path / "d.yaml"
    data = {k: v for k, v in DOCKET.items() if k not in ("shares", "cloth", "table")}
    path.write_text(dump_yaml(data) + line.format(f'"{name}"') + "\n")
    with pytest.raises(InputError):
        together([Docket.load(path)])


def test_a_file_of_endless_keys_is_left_early(tmp_path: Path) -> None:
    """400,000 unknown keys are not read to their end, and of 50,000 a dozen are told."""
    path = tmp_path / "d.yaml"
    path.write_text("chalkbeam: 1\n" + "".join(f"k{i}: 1\n" for i in range(330_000)))
    with pytest.raises(InputError, match="more values than any file"):
        Docket.load(path)
    path.write_text("chalkbeam: 1\n" + "".join(f"k{i}: 1\n" for i in range(50_000)))
    with pytest.raises(InputError, match="49988 more keys") as caught:
        Docket.load(path)
    assert len(caught.value.faults) == 13


@pytest.fixture
def top(tmp_path: Path) -> Path:
    """A docket that drafts."""
    (tmp_path / "m.yaml").write_text(dump_yaml(BODY))
    path = tmp_path / "top.yaml"
    path.write_text(dump_yaml({**GARMENT, "cloth": {"width": "140 cm"}}))
    return path


@pytest.mark.parametrize("text", ["[/foo]", "[red]x[/blue]", ":smile: [bold]", "[link=x]y"])
def test_text_of_hers_is_never_markup(
    text: str, top: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Titles, notes and file names with brackets come out letter by letter."""
    name = text.replace("/", "|")
    path = top.with_name(f"{name}.yaml")
    data = {**GARMENT, "title": text, "cloth": {"width": "140 cm"}}
    data["garment"] = {
        **GARMENT["garment"],
        "fit": [{"change": "bust", "by": "1 cm", "note": text}],
    }
    path.write_text(dump_yaml(data))
    out = path.with_name(f"out {name}")
    assert main(["draft", str(path), "--out", str(out)]) in (0, 1)
    assert main(["export", str(path), "--out", str(out / f"{name}.svg")]) == 0
    said = "".join(capsys.readouterr().out.split())
    assert f"{name}.svg".replace(" ", "") in said
    print_table(f"t {text}", [f"c {text}", "n"], [[f"r {text}", text]])
    said = " ".join(capsys.readouterr().out.split())
    for part in ("t", "c", "r"):
        assert f"{part} {text}" in said


def test_names_that_are_no_text_are_told_and_files_written(
    top: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """File names of bytes that are no UTF-8 (a stick from another system) work, and can be shown."""
    bad = top.with_name(os.fsdecode(b"t\xff\xfe.yaml"))
    bad.write_text(top.read_text())
    out = top.with_name(os.fsdecode(b"o\xff.svg"))
    assert main(["export", str(bad), "--out", str(out)]) == 0
    assert out.read_text().startswith("<?xml")
    bad.write_text("chalkbeam: 2\n")
    assert main(["export", str(bad), "--out", str(out)]) == 2
    assert r"t\udcff\udcfe.yaml" in capsys.readouterr().err


@pytest.mark.parametrize(
    "line",
    [
        '{"lay":' * 300 + "1" + "}" * 300,
        '{"lay":' + "[" * 100_000,
        '{"moved":[{"piece":"front","copy":1,"at":[NaN,1]}]}',
        '{"moved":[{"piece":"front","copy":1,"at":[1e999,1]}]}',
        '{"moved":[{"piece":"front","copy":1,"at":["12","x"]}]}',
        '{"moved":[{"piece":"front","copy":"1","at":[1,2]}]}',
        '{"moved":[{"piece":"front","copy":1,"at":[1,2],"turn_deg":"much"}]}',
        '{"moved":[{"piece":"front","copy":1,"at":[1,2],"locked":"yes"}]}',
        '{"moved":[{"piece":["front"],"copy":1,"at":[1,2]}]}',
        '{"moved":[{"piece":"\\ud800","copy":1,"at":[1,2]}]}',
        '{"moved":7}',
        '{"lay":{"a":1}}',
        '{"traced":["front"]}',
        '{"traced":"front/1"}',
        '{"traced":[1,2]}',
        '{"table":[1,2]}',
        '{"table":{"view":{"turn":"north"}}}',
        '{"table":{"view":7}}',
        '{"table":{"height":{"mat":"deep"}}}',
        f'{{"moved":[{{"piece":"front","copy":{"9" * 5000},"at":[1,2]}}]}}',
        "[1,2]",
        "\x00\xff",
    ],
)  # fmt: skip
@pytest.mark.parametrize("torn", [False, True])
def test_hostile_journals_neither_break_nor_enter_the_docket(
    line: str, torn: bool, top: Path
) -> None:
    """A line of a journal that no table wrote is left out, whole or torn; the docket stays sound."""
    docket = Docket.load(top)
    front = Placement("front", 1, (30.0, 40.0))
    docket = docket.replace(lay=(front,))
    docket.save()
    journal, _ = Journal.open(Docket.load(top))
    journal.note((Placement("front", 1, (50.0, 40.0)),), (), {})
    kept = journal_path(top).read_bytes()
    journal.close()
    docket.save()
    written = line.encode("utf-8", "surrogatepass")
    journal_path(top).write_bytes(kept + written[: len(written) // 2 if torn else None] + b"\n")
    found = with_noted(top)
    assert found.docket.lay[0].at == (50.0, 40.0)
    assert (dict(found.docket.table), found.docket.traced) == ({}, ())
    again, recovered = Journal.open(Docket.load(top))
    assert recovered.docket.lay[0].at == (50.0, 40.0)
    again.close()
    assert Docket.load(top).lay[0].at == (50.0, 40.0)


@pytest.mark.parametrize("name", ["journal", "steps", "open"])
def test_what_lies_under_our_hidden_names_holds_nobody(name: str, top: Path) -> None:
    """A pipe or an endless file where a journal, its steps or its lock would be hangs nothing."""
    hidden = top.with_name(f".{top.name}.{name}")
    os.mkfifo(hidden)
    docket = with_noted(top).docket
    is_open(top)
    journal, _ = Journal.open(docket)
    past, _ = Past.open(top, Work((), (), View()), {"front", "back"})
    past.close()
    journal.close()
    with hidden.open("wb") as file:
        file.truncate(50_000_000_000)
    journal, _ = Journal.open(with_noted(top).docket)
    journal.close()


@pytest.mark.parametrize(
    "words",
    [
        ["calibrate", "cards", "--out", "."],
        ["calibrate", "cards", "--out", "/"],
        ["calibrate", "pattern", "--size", "1920x1080", "--out", ".."],
        ["calibrate", "crosses", "--size", "1920x1080", "--out", "."],
        ["export", "top.yaml", "--out", "."],
        ["print", "top.yaml", "--paper", "a4", "--out", "."],
        ["draft", "top.yaml", "--out", "m.yaml"],
        ["lay", "top.yaml", "--picture", "."],
        ["measure", "."],
        ["lay", "top.yaml", "--with", "/"],
        ["export", "top.yaml", "--out", "\ud800.svg"],
        ["frame", "top.yaml", "--calibration", "\ud800", "--out", "f.png"],
        ["import", "a.svg", "."],
    ],
)  # fmt: skip
def test_a_folder_where_a_file_should_go_is_told(
    words: list[str], top: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """'.', '/' and half a letter as a file's name, a file as a folder: one sentence, exit code 2."""
    monkeypatch.chdir(top.parent)
    assert main(words) == 2
    assert "fault in chalkbeam" not in capsys.readouterr().err
