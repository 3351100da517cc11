"""The docket: read whole, every fault told at once, saved without losing anything."""

from __future__ import annotations

import os
import stat
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from configs.errors import ChalkbeamError
from configs.files import parse_yaml, write_atomic
from drafting import Docket, InputError, Piece
from drafting.cloth import Cloth
from drafting.measurements import Measurements
from drafting.placement import Placement, cloth_from_piece

CONFIGS = Path(__file__).parents[2] / "configs"
TEXT = """\
# for the harbour concert
chalkbeam: 1
title: rehearsal top   # the green one
wearer: alto-3
measurements:
  bust_girth: 934 mm
  waist_girth: 775 mm
  hip_girth_at_tailbone: 101,6 cm
  neck_width: 5 1/4 in
  shoulder_length: 121 mm
  back_neck_to_tailbone: 600 mm
garment: {block: quick-top}
allowances: {all: 10 mm, hem: 1 in, front: {neckline: 6 mm}}
# cotton from the attic
cloth: {width: 1400 mm, length: 2 m, fold: lengthwise}
"""


@pytest.fixture
def docket_file(tmp_path: Path) -> Path:
    path = tmp_path / "top.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def test_reads_what_she_wrote(docket_file: Path) -> None:
    """Units are parsed at the edge, per-piece allowances go before the general ones."""
    docket = Docket.load(docket_file)
    assert (docket.title, docket.wearer) == ("rehearsal top", "alto-3")
    assert docket.allowances == {"all": 10.0, "hem": pytest.approx(25.4)}
    assert docket.allowances_for("front")["neckline"] == 6.0
    assert "neckline" not in docket.allowances_for("back")
    assert set(docket.pieces()) == {"front", "back"}


def test_saving_a_lay_keeps_her_comments(docket_file: Path) -> None:
    """Only the changed section is written; every other line stays as she wrote it."""
    docket = Docket.load(docket_file)
    lay = (Placement("front", 1, (12.34567, 0.0), 180.0, False, True),)
    docket.replace(lay=lay, traced=("front/1",)).save()
    text = docket_file.read_text(encoding="utf-8")
    for line in TEXT.splitlines():
        assert line in text
    again = Docket.load(docket_file)
    assert again.lay == (Placement("front", 1, (12.3457, 0.0), 180.0, False, True),)
    assert again.traced == ("front/1",)


def test_saving_twice_replaces_the_section(docket_file: Path) -> None:
    """A second save replaces the first lay and leaves one copy of each section."""
    for x in (10.0, 20.0):
        docket = Docket.load(docket_file)
        docket.replace(lay=(Placement("back", 1, (x, 5.0)),), table={"side": "far"}).save()
    text = docket_file.read_text(encoding="utf-8")
    assert text.count("lay:") == 1
    assert text.count("# cotton from the attic") == 1
    assert Docket.load(docket_file).lay[0].at == (20.0, 5.0)
    Docket.load(docket_file).replace(lay=(), table={}).save()
    assert "lay:" not in docket_file.read_text(encoding="utf-8")


def test_measurements_file_is_found_after_saving_elsewhere(tmp_path: Path) -> None:
    """Saved to another folder, the docket still finds the measurements file it names."""
    (tmp_path / "body").mkdir()
    (tmp_path / "dockets").mkdir()
    block = TEXT.split("measurements:\n")[1].split("garment:")[0]
    (tmp_path / "body" / "a.yaml").write_text(
        f"chalkbeam: 1\nunit: mm\nwearer: alto-3\nmeasurements:\n{block}", encoding="utf-8"
    )
    text = TEXT.replace("measurements:\n" + block, "measurements: ../body/a.yaml\n")
    (tmp_path / "dockets" / "top.yaml").write_text(text, encoding="utf-8")
    Docket.load(tmp_path / "dockets" / "top.yaml").save(tmp_path / "deep" / "er" / "copy.yaml")
    copy = Docket.load(tmp_path / "deep" / "er" / "copy.yaml")
    assert copy.measurements is not None
    assert set(copy.pieces()) == {"front", "back"}


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    """One message names each wrong key and value, with the nearest known key."""
    path = tmp_path / "bad.yaml"
    path.write_text(
        "chalkbeam: 1\ntitel: x\ngarment: {blok: quick-top}\n"
        "allowances: {all: ten}\nlay: [{piece: front, copy: 0, at: [1]}]\ntraced: 7\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        Docket.load(path)
    said = str(caught.value)
    for part in (
        "unknown key 'titel'. Did you mean 'title'?",
        "unknown key 'blok'. Did you mean 'block'?",
        "allowances.all",
        "lay[0].copy",
        "lay[0].at",
        "traced",
    ):
        assert part in said, part
    assert said.count(str(path)) >= 6


def test_unknown_edge_in_allowances_is_named(docket_file: Path) -> None:
    """An allowance for an edge that no piece has is refused with the edges there are."""
    docket_file.write_text(TEXT.replace("hem: 1 in", "hemm: 1 in"), encoding="utf-8")
    with pytest.raises(InputError, match=r"no edge 'hemm'.*Did you mean 'hem'"):
        Docket.load(docket_file).pieces()


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "first line should read"),
        ("chalkbeam: 2\ntitle: x\n", "reads version 1"),
        ("title: x\n", "is missing"),
        ("chalkbeam: 1\ntitle: [\n", "line"),
        ("chalkbeam: 1\ntitle: a\ntitle: b\n", "stands twice"),
        ("chalkbeam: 1\nallowances: &a {all: 1 mm}\ncloth: *b\n", "line"),
        ("chalkbeam: 1\n? [a, b]\n: 1\n", "cannot be a key"),
        ("[1, 2]\n", "key: value"),
        ("chalkbeam: 1\ntitle: !!python/object/apply:os.getcwd []\n", "line"),
    ],
)
def test_not_a_docket(tmp_path: Path, text: str, part: str) -> None:
    """Text that is no docket gives one sentence with the line, never a traceback."""
    path = tmp_path / "x.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        Docket.load(path).draft()
    assert part in str(caught.value)


def test_missing_file_names_the_nearest(docket_file: Path) -> None:
    """A slip in the file's name is answered with the file that is there."""
    with pytest.raises(InputError, match=r"Did you mean .*top\.yaml"):
        Docket.load(docket_file.with_name("topp.yaml"))


def test_failed_write_leaves_the_old_file(
    docket_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the disk fails in the middle of a save, the old docket stays and no scrap is left."""

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        Docket.load(docket_file).replace(traced=("front/1",)).save()
    assert docket_file.read_text(encoding="utf-8") == TEXT
    assert [p.name for p in docket_file.parent.iterdir()] == ["top.yaml"]


def test_write_keeps_mode_and_link(tmp_path: Path) -> None:
    """A save through a link changes the file it points to and keeps its permissions."""
    real = tmp_path / "real.yaml"
    real.write_text("a", encoding="utf-8")
    real.chmod(0o640)
    link = tmp_path / "link.yaml"
    link.symlink_to(real)
    write_atomic(link, "b")
    assert link.is_symlink()
    assert real.read_text(encoding="utf-8") == "b"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_imported_pieces_round_trip(docket_file: Path) -> None:
    """An outline taken in from elsewhere is written, read back and laid like any other piece."""
    pocket = Piece.from_outline(
        "pocket", [(0, 0), (120, 0), (120, 140), (60, 160), (0, 140)], cut=2
    )
    Docket.load(docket_file).replace(imported={"pocket": pocket}).save()
    again = Docket.load(docket_file).pieces()["pocket"]
    assert again.cut == 2
    np.testing.assert_allclose(
        np.sort(np.asarray(again.sewing_line), axis=0),
        np.sort(np.asarray(pocket.sewing_line), axis=0),
    )


def test_placement_convention() -> None:
    """Turn 0 lays the grain along the cloth; only a mirrored piece changes its hand."""
    for turn in (0.0, 90.0, 180.0, 37.5):
        for mirrored in (False, True):
            matrix = cloth_from_piece((5.0, 7.0), turn, mirrored)
            assert np.linalg.det(matrix) == pytest.approx(-1.0 if mirrored else 1.0)
            np.testing.assert_allclose(matrix[:2, :2] @ matrix[:2, :2].T, np.eye(2), atol=1e-15)
    up = cloth_from_piece((0.0, 0.0), 0.0, False) @ [0.0, 1.0, 0.0]
    np.testing.assert_array_equal(up, [1.0, 0.0, 0.0])


def test_yaml_cannot_be_bottomless() -> None:
    """A hundred thousand brackets are refused in a sentence, not by a crash."""
    with pytest.raises(InputError, match=r"too deep|nesting depth"):
        parse_yaml("chalkbeam: 1\ntitle: " + "[" * 100_000, "deep.yaml")


def test_yaml_aliases_cannot_blow_up() -> None:
    """References (a thousand million values from a few lines) are refused before they grow."""
    lines = ["chalkbeam: 1", "a0: &a0 [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 10)]
    with pytest.raises(InputError, match="references"):
        parse_yaml("\n".join(lines), "bomb.yaml")


def test_a_style_option_in_the_wrong_place_is_told_where_it_goes(docket_file: Path) -> None:
    """`neckline` beside `block` is known for what it is."""
    text = TEXT.replace("{block: quick-top}", "{block: quick-top, neckline: v}")
    docket_file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        Docket.load(docket_file)
    assert "style: {neckline: " in str(caught.value)


def test_another_kind_of_file_is_told_in_one_line(tmp_path: Path) -> None:
    """A measurements file or a calibration given as a docket is named for what it is."""
    path = tmp_path / "alto-3.yaml"
    path.write_text(
        "chalkbeam: 1\nunit: cm\nwearer: alto-3\ntaken: 2026-11-02\nmeasurements: {bust_girth: 92}\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError, match="this is a measurements file") as caught:
        Docket.load(path).draft()
    assert len(caught.value.faults) == 1
    path.write_text("chalkbeam: 1\nprojector_from_table: [1]\nsize: [2, 3]\n", encoding="utf-8")
    with pytest.raises(InputError, match="this is a calibration"):
        Docket.load(path)


def test_no_guess_that_is_far_off(docket_file: Path) -> None:
    """A name that is nothing like any file beside it gets no guess."""
    with pytest.raises(InputError) as caught:
        Docket.load(docket_file.with_name("alto-9.yaml"))
    assert "Did you mean" not in str(caught.value)


@pytest.mark.parametrize(
    ("line", "place", "told"),
    [
        ("measurements: alto-3.yaml", "measurements", "'measurements: measurements/alto-3.yaml'"),
        ("measurements: ../measurements/alto-3.yaml", "measurements", "measurements/alto-3.yaml'"),
        ("measurements: measurements/alto3.yaml", "measurements", "measurements/alto-3.yaml'"),
        ("measurements: tenor.yaml", "", "chalkbeam measure FILE.yaml"),
        ("cloth: velvet.yaml", "", "cloth: {width: 1400 mm}"),
    ],
)
def test_a_named_file_that_is_missing(tmp_path: Path, line: str, place: str, told: str) -> None:
    """The docket, its line, the file that was looked for, and what to do: found nearby or made."""
    if place:
        (tmp_path / place).mkdir()
        (tmp_path / place / "alto-3.yaml").write_text("chalkbeam: 1\n", encoding="utf-8")
    path = tmp_path / "top.yaml"
    path.write_text(f"chalkbeam: 1\ntitle: top\n{line}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        Docket.load(path)
    text = str(caught.value)
    looked = Path(os.path.normpath(tmp_path / line.split(": ")[1]))
    for part in (str(path), f"'{line}'", str(looked), told):
        assert part in text, part


def test_the_earlier_file_that_is_missing_is_told_with_who_names_it(tmp_path: Path) -> None:
    """'since' in a measurements file, the same way."""
    path = tmp_path / "alto-3.yaml"
    path.write_text("chalkbeam: 1\nunit: cm\nsince: old.yaml\nmeasurements: {bust_girth: 92}\n")
    with pytest.raises(InputError, match=r"'since: old\.yaml'") as caught:
        Measurements.load(path)
    assert str(tmp_path / "old.yaml") in str(caught.value)


def test_fit_that_is_no_list_is_shown_the_form(tmp_path: Path) -> None:
    """The docket's own refusal shows the form, as the list's entries do."""
    from drafting.fit import FORM

    path = tmp_path / "top.yaml"
    path.write_text(
        "chalkbeam: 1\ntitle: top\ngarment: {block: quick-top, fit: {change: bust, by: 5 mm}}\n"
    )
    with pytest.raises(InputError) as caught:
        Docket.load(path)
    assert FORM in str(caught.value)


@pytest.mark.parametrize(
    ("garment", "told"),
    [
        ("{block: quicktop}", "garment.block: there is no block 'quicktop'"),
        ("{block: quick-top, style: {lenght: crop}}", "garment.style: unknown key 'lenght'"),
        ("{block: quick-top, style: {length: 20 cm}}", "garment.style.length"),
        ("{block: quick-top, fit: [{change: bust}]}", "garment.fit[1].by: is missing"),
        (
            "{block: quick-top, style: {opening: slit, opening_length: 40 cm, length: 42 cm}}",
            "garment.style.opening_length",
        ),
    ],
)
def test_what_drafting_refuses_is_told_with_its_docket(
    tmp_path: Path, garment: str, told: str
) -> None:
    """A slip that only the block can see names the file and the key in it all the same."""
    path = tmp_path / "top.yaml"
    body = (CONFIGS / "measurements" / "alto-3.yaml").as_posix()
    path.write_text(
        f"chalkbeam: 1\ntitle: top\nmeasurements: {body}\ngarment: {garment}\n", encoding="utf-8"
    )
    docket = Docket.load(path)
    with pytest.raises(ChalkbeamError) as caught:
        docket.draft()
    assert f"{path}: {told}" in str(caught.value)


def test_a_measurements_file_where_a_docket_is_wanted() -> None:
    """It says what it is, what is wanted, and the line that a docket needs."""
    with pytest.raises(InputError) as caught:
        Docket.load(CONFIGS / "measurements" / "alto-3.yaml")
    for part in ("a measurements file", "a docket", "'measurements: alto-3.yaml'"):
        assert part in str(caught.value)


def test_a_copy_elsewhere_still_names_the_dockets_it_shares_its_cloth_with(tmp_path: Path) -> None:
    """Saved into another folder, 'shares' is seen from there; read back it is the same file."""
    path = tmp_path / "top.yaml"
    path.write_text("chalkbeam: 1\ntitle: t\nshares: [tie.yaml]\n")
    (tmp_path / "other").mkdir()
    copy = Docket.load(path).save(tmp_path / "other" / "top.yaml")
    (name,) = Docket.load(copy).shares
    assert (copy.parent / name).resolve() == (tmp_path / "tie.yaml").resolve()
    assert Docket.load(path).shares == ("tie.yaml",)
    path.write_text("chalkbeam: 1\ntitle: t\nshares: {a: 1}\n")
    with pytest.raises(InputError, match="shares"):
        Docket.load(path)


CHANGED = {
    "title": ("festival top", "title"),
    "wearer": ("tenor-1", "wearer"),
    "garment": ({"block": "quick-top", "style": {"length": "tunic"}}, "garment"),
    "quantity": (2, "quantity"),
    "allowances": ({"all": 12.0}, "allowances"),
    "distance_mm": (8.0, "distance"),
    "shares": (("scarf.yaml",), "shares"),
    "traced": (("front/1",), "traced"),
    "table": ({"side": "left"}, "table"),
}


@pytest.mark.parametrize("field", sorted(CHANGED))
def test_a_changed_field_is_written_and_no_other(docket_file: Path, field: str) -> None:
    """What differs from the file is saved under its own key; every other key keeps its value."""
    write_atomic(docket_file.parent / "scarf.yaml", TEXT)
    before = parse_yaml(TEXT, "top.yaml")
    value, key = CHANGED[field]
    Docket.load(docket_file).replace(**{field: value}).save()
    after = parse_yaml(docket_file.read_text(encoding="utf-8"), "top.yaml")
    assert {k for k in {*before, *after} if before.get(k) != after.get(k)} == {key}
    assert getattr(Docket.load(docket_file), field) == value
    assert "# cotton from the attic" in docket_file.read_text(encoding="utf-8")


ODDLY = """\
# by hand, in my own way
chalkbeam: 1
title: "bib"
wearer:   'alto-3'
unit: cm
measurements: {bust_girth: 93.4, waist_girth: 775 mm}   # with the shirt on
pieces:
  - {name: bib, outline: [[0, 0], [10, 0], [10, 20 cm], [0, 200 mm]], cut: 2}
quantity: 1
allowances: {all: 1, hem: 1 in}
cloth: {width: 90, length: 2 m}
distance: 0.5
shares: [ tie.yaml ]
lay:
  - {piece: bib, at: [1, 100 mm]}   # by the window
  - {copy: 2, piece: bib, at: [30, 10], turn: 180}
traced: [ "bib/1" ]
table: {view: {turn: 90}}
record: [ {date: 2026-11-02, note: "made it"} ]
"""


def oddly(folder: Path) -> Path:
    """A docket with every section, none as the program would write it."""
    path = folder / "bib.yaml"
    path.write_text(ODDLY, encoding="utf-8")
    (folder / "tie.yaml").write_text("chalkbeam: 1\ntitle: tie\n", encoding="utf-8")
    return path


def test_what_has_not_changed_stays_letter_for_letter(tmp_path: Path) -> None:
    """Saved with one other number, every section stays as written, also one set to what it was."""
    path = oddly(tmp_path)
    docket = Docket.load(path)
    same = docket.replace(
        garment=docket.garment,
        measurements=Measurements.from_dict(docket.measurements.to_dict(), "x"),
        imported={n: p.with_() for n, p in docket.imported.items()},
        lay=tuple(docket.lay),
        quantity=4,
    )
    same.save()
    assert path.read_text(encoding="utf-8") == ODDLY.replace("quantity: 1", "quantity: 4")
    for bare in ("", "title: bib\n", "shares: []\ntraced: []\ntable: {}\nrecord: []\n"):
        path.write_text(f"chalkbeam: 1\n{bare}", encoding="utf-8")
        Docket.load(path).replace(quantity=4).save()
        assert path.read_text(encoding="utf-8") == f"chalkbeam: 1\n{bare}quantity: 4\n"


@pytest.mark.parametrize(
    "key", ["measurements", "pieces", "cloth", "lay", "traced", "table", "record", "shares", "allowances"]
)  # fmt: skip
def test_what_is_emptied_leaves_no_key(tmp_path: Path, key: str) -> None:
    """A section that holds nothing any more is taken out, and no other line."""
    path = oddly(tmp_path)
    empty = {"measurements": None, "cloth": None, "pieces": {}, "table": {}, "allowances": {}}
    docket = Docket.load(path)
    field = "imported" if key == "pieces" else key
    docket.replace(**{field: empty.get(key, ())}).save()
    before = parse_yaml(ODDLY, "")
    after = parse_yaml(path.read_text(encoding="utf-8"), "")
    assert after == {k: v for k, v in before.items() if k != key}


def test_what_is_given_anew_is_written(tmp_path: Path) -> None:
    """Unit, measurements, a piece, cloth and record: what was changed in them, and it reads back."""
    path = oddly(tmp_path)
    docket = Docket.load(path)
    assert docket.measurements is not None and docket.cloth is not None
    body = docket.measurements.to_dict()
    body["measurements"]["bust_girth"] = "95 cm"
    body = Measurements.from_dict(body, "x")
    wider = Piece.from_outline("bib", [(0, 0), (120, 0), (120, 200), (0, 200)], cut=2)
    for changes, key in (
        ({"measurements": body}, "measurements"),
        ({"imported": {"bib": wider}}, "pieces"),
        ({"imported": {**docket.imported, "bow": wider.with_(name="bow")}}, "pieces"),
        ({"cloth": replace(docket.cloth, width_mm=800.0)}, "cloth"),
        ({"record": ({"note": "let out"},)}, "record"),
        ({"unit": "in"}, "unit"),
    ):
        oddly(tmp_path)
        docket.replace(**changes).save()
        text = path.read_text(encoding="utf-8")
        before, after = parse_yaml(ODDLY, ""), parse_yaml(text, "")
        assert {k for k in before if before[k] != after.get(k)} == {key}, key
    oddly(tmp_path)
    docket.replace(measurements=body).save()
    again = Docket.load(path).measurements
    assert again is not None and again["bust_girth"] == pytest.approx(950.0)
    no_body = path.with_name("bare.yaml")
    no_body.write_text("chalkbeam: 1\ntitle: bare\n", encoding="utf-8")
    Docket.load(no_body).replace(measurements=body, cloth=docket.cloth).save()
    bare = Docket.load(no_body)
    assert bare.measurements is not None and bare.measurements["waist_girth"] == pytest.approx(775)
    assert bare.cloth == docket.cloth


def test_what_of_a_cloth_has_not_changed_stays_as_spelt(tmp_path: Path) -> None:
    """One number of the cloth is new: the others keep her words and order; what is taken out goes."""
    path = tmp_path / "bib.yaml"
    hers = "{width: 90 cm, length: 2 m, selvedge: 1 cm}"
    rows = "- {name: bib, outline: [[0, 0], [99, 0], [99, 99]]}"
    text = f"chalkbeam: 1\ntitle: bib\npieces:\n{rows}\ncloth: {hers}\n"

    def written(**changes: Any) -> str:
        path.write_text(text, encoding="utf-8")
        docket = Docket.load(path)
        assert docket.cloth is not None
        docket.replace(cloth=replace(docket.cloth, **changes)).save()
        assert Docket.load(path).cloth == replace(docket.cloth, **changes)
        return path.read_text(encoding="utf-8")

    assert written(width_mm=800.0) == text.replace("90 cm", "800 mm")
    assert written(selvedge_mm=0.0) == text.replace(", selvedge: 1 cm", "")
    assert written(nap="one-way") == text.replace("1 cm}", "1 cm, nap: one-way}")
    text = text.replace(
        hers, "\n  width: 90 cm  # measured\n  grain tolerance: {bib: 2}\n  length: 2 m"
    )
    assert written(grain_tolerance_deg={"bib": 3.0}) == text.replace("bib: 2}", "bib: 3.0}")
    assert written(length_mm=1900.0) == text.replace("2 m", "1900 mm")
    assert written(grain_tolerance_deg={}) == text.replace("  grain tolerance: {bib: 2}\n", "")


def test_how_a_place_is_written(tmp_path: Path) -> None:
    """Millimetres as numbers in a docket of mm, with their unit in another; no −0; aside only if so."""
    path = tmp_path / "bib.yaml"
    lay = (
        Placement("bib", 1, (-0.00001, 12.34567), -0.0000001),
        Placement("bib", 2, (5.0, 6.0), 90.0, True, True, True),
    )
    row = {"piece": "bib", "copy": 1, "at": [0.0, 12.3457], "turn": 0.0, "mirrored": False, "locked": False}  # fmt: skip
    other = {"piece": "bib", "copy": 2, "at": [5.0, 6.0], "turn": 90.0, "mirrored": True, "locked": True, "aside": True}  # fmt: skip
    for unit in ("mm", "cm"):
        text = ODDLY.replace("unit: cm", f"unit: {unit}").replace("width: 90,", "width: 900 mm,")
        text = text.replace("bust_girth: 93.4", "bust_girth: 934 mm").replace(
            "all: 1,", "all: 8 mm,"
        )
        text = text.replace("distance: 0.5", "distance: 5 mm")
        path.write_text(text, encoding="utf-8")
        Docket.load(path).replace(lay=lay).save()
        made = path.read_text(encoding="utf-8")
        assert "-0" not in made.replace("2026-11-02", "")
        texts = [["0.0 mm", "12.3457 mm"], ["5.0 mm", "6.0 mm"]]
        rows = [row, other] if unit == "mm" else [{**r, "at": t} for r, t in zip((row, other), texts, strict=True)]  # fmt: skip
        assert parse_yaml(made, "")["lay"] == rows


def test_a_docket_that_was_never_saved_needs_a_place(tmp_path: Path) -> None:
    """Without a path it is refused; with one it is a file that reads back."""
    docket = Docket(title="new")
    with pytest.raises(InputError, match="never saved"):
        docket.save()
    assert not list(tmp_path.iterdir())
    assert docket.replace(quantity=2).save(tmp_path / "new.yaml") == tmp_path / "new.yaml"
    assert (tmp_path / "new.yaml").read_text() == "chalkbeam: 1\ntitle: new\nquantity: 2\n"


def test_named_files_are_seen_from_where_it_is_saved(tmp_path: Path) -> None:
    """In its own folder a name stays as written, elsewhere it leads back; a full path stays."""
    (tmp_path / "other").mkdir()
    path = tmp_path / "bib.yaml"
    full = (tmp_path / "scarf.yaml").as_posix()
    path.write_text(f"chalkbeam: 1\ntitle: bib\nshares: [./tie.yaml, {full}]\n", encoding="utf-8")
    docket = Docket.load(path)
    for target, named in (
        (tmp_path / "copy.yaml", ["./tie.yaml", full]),
        (tmp_path / "other" / "copy.yaml", ["../tie.yaml", full]),
    ):
        docket.save(target)
        assert parse_yaml(target.read_text(), "")["shares"] == named


def test_the_docket_of_another_cloth_says_only_how_that_is_folded(tmp_path: Path) -> None:
    """What the garment's docket says of the cloth stays there; elsewhere the garment is still found."""
    rows = "pieces:\n- {name: bib, outline: [[0, 0], [99, 0], [99, 99]]}\n"
    cloths = "cloths: {lining: {width: 90 cm, nap: two-way, takes: [bib]}}\n"
    (tmp_path / "bib.yaml").write_text(
        f"chalkbeam: 1\ntitle: bib\n{rows}{cloths}", encoding="utf-8"
    )
    path = tmp_path / "bib.lining.yaml"
    path.write_text(
        "chalkbeam: 1\ntitle: lining\nof: {docket: bib.yaml, cloth: lining}\n", encoding="utf-8"
    )
    docket = Docket.load(path)
    assert docket.cloth is not None and docket.cloth.width_mm == 900.0
    found = docket.replace(cloth=replace(docket.cloth, opened=("bib",)))
    assert found.to_dict()["cloth"] == {"opened": ["bib"]}
    (tmp_path / "away").mkdir()
    there = Docket.load(found.save(tmp_path / "away" / "bib.lining.yaml"))
    assert there.to_dict()["of"] == {"docket": "../bib.yaml", "cloth": "lining"}
    assert there.cloth == docket.cloth and set(there.pieces()) == {"bib"}


def test_a_cloth_that_was_a_file_or_none_is_written_whole(tmp_path: Path) -> None:
    """A cloth given to a docket that names only a file, or had none, is written with all its keys."""
    (tmp_path / "canvas.yaml").write_text("chalkbeam: 1\nwidth: 90 cm\n", encoding="utf-8")
    path = tmp_path / "bib.yaml"
    for line in ("cloth: canvas.yaml\n", ""):
        path.write_text(f"chalkbeam: 1\ntitle: bib\n{line}", encoding="utf-8")
        wide = Cloth.from_dict({"width": "1400 mm", "selvedge": "10 mm"})
        saved = Docket.load(path).replace(cloth=wide)
        assert saved.to_dict()["cloth"] == wide.to_dict() and len(wide.to_dict()) >= 2
        assert Docket.load(saved.save()).cloth == wide
