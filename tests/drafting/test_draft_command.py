"""``chalkbeam draft`` and ``chalkbeam blocks``: files, tables, JSON and exit codes."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from projector.cli import main

CONFIGS = Path(__file__).parents[2] / "configs"


def docket(folder: Path, garment: str, measurements: str | None = None, more: str = "") -> Path:
    """A docket in a folder, for alto-3."""
    named = measurements or str(CONFIGS / "measurements" / "alto-3.yaml")
    path = folder / "docket.yaml"
    path.write_text(
        f"chalkbeam: 1\ntitle: rehearsal top\nmeasurements: {named}\n"
        f"garment: {garment}\nallowances: {{all: 10 mm, hem: 25 mm, neckline: 6 mm}}\n{more}",
        encoding="utf-8",
    )
    return path


def test_pieces_and_report_are_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One SVG a piece in true mm, and a truing report that says all is well."""
    code = main(
        ["draft", str(docket(tmp_path, "{block: quick-top}")), "--out", str(tmp_path / "o")]
    )
    assert code == 0
    for name in ("front", "back"):
        root = ET.parse(tmp_path / "o" / f"{name}.svg").getroot()
        width = root.get("width") or ""
        assert width.endswith("mm")
        _, _, box, _ = map(float, (root.get("viewBox") or "").split())
        assert float(width[:-2]) == pytest.approx(box)
    report = (tmp_path / "o" / "truing.txt").read_text(encoding="utf-8")
    assert "FAIL" not in report
    assert "bust girth: 36 3/4 in" in report
    assert "checks passed" in capsys.readouterr().out


def test_json_is_for_programs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The result as JSON: pieces with edge lengths, checks, notes, files."""
    path = docket(tmp_path, "{block: quick-top, style: {pocket: hip}}")
    assert main(["draft", str(path), "--out", str(tmp_path / "o"), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["ok"] is True
    assert set(data["pieces"]) == {"front", "back", "pocket"}
    assert data["pieces"]["front"]["edges_mm"]["side"] == pytest.approx(
        data["pieces"]["back"]["edges_mm"]["side"]
    )
    assert all({"name", "value_mm", "limit_mm", "ok"} <= set(c) for c in data["checks"])


def test_a_failed_check_is_loud(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A head that does not pass exits 1, says so on stderr and still writes the pieces."""
    path = docket(tmp_path, "{block: quick-top, style: {opening: none}}")
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 1
    err = capsys.readouterr().err
    assert "FAILED" in err
    assert "the head passes" in err
    assert (tmp_path / "o" / "front.svg").exists()
    assert "FAIL the head passes" in (tmp_path / "o" / "truing.txt").read_text(encoding="utf-8")


def test_bad_input_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A style that is none exits 2 with the remedy and leaves no folder behind."""
    path = docket(tmp_path, "{block: quick-top, style: {neckline: halter}}")
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 2
    assert "halter" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()


def test_fit_prints_before_and_after(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With fit changes the edges are told before and after, with what she wrote."""
    path = docket(
        tmp_path,
        "{block: quick-top, fit: [{change: shoulder in, by: 6 mm, note: too wide}]}",
    )
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 0
    changes = capsys.readouterr().out.split("What the fit notes changed")[1]
    assert "too wide" in changes
    assert "front: shoulder" in changes
    assert "front: hem" not in changes


def test_history_tells_what_moved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With an earlier file the edges that her changed measurements moved are told."""
    text = (CONFIGS / "measurements" / "soprano-2.yaml").read_text(encoding="utf-8")
    (tmp_path / "then.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "now.yaml").write_text(
        "chalkbeam: 1\nunit: cm\ntaken: 2027-01-10\nsince: then.yaml\n"
        "measurements: {bust_girth: 88.5}\n",
        encoding="utf-8",
    )
    path = docket(tmp_path, "{block: quick-top}", "now.yaml")
    assert main(["draft", str(path), "--out", str(tmp_path / "o"), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    moved = {(m["piece"], m["edge"]): m for m in data["changes"]["measurements"]}
    assert moved["front", "side"]["moved_mm"] == pytest.approx(20 / 4, abs=0.1)
    assert ("front", "neckline") not in moved


def test_steps_are_drawn(tmp_path: Path) -> None:
    """--steps writes the construction as one PDF and a picture for each step."""
    path = docket(tmp_path, "{block: quick-top}")
    assert main(["draft", str(path), "--out", str(tmp_path / "o"), "--steps"]) == 0
    assert (tmp_path / "o" / "steps.pdf").read_bytes().startswith(b"%PDF")
    assert len(list((tmp_path / "o" / "steps").glob("*.svg"))) >= 12


def test_blocks_lists_all(capsys: pytest.CaptureFixture[str]) -> None:
    """Blocks, their measurements with how they are taken, style with limits, fit changes."""
    assert main(["blocks", "quick-top"]) == 0
    out = capsys.readouterr().out
    assert main(["blocks", "--all"]) == 0
    assert out.rpartition("Next:")[0] in capsys.readouterr().out
    for part in ("quick-top", "hip_girth_at_tailbone", "level all round", "neckline", "boat",
                 "one shoulder lower", "0.0 cm to 90.0 cm"):  # fmt: skip
        assert part in out
    assert any(0x2800 < ord(c) < 0x2900 for c in out)  # the sketches


def test_overview_of_blocks_fits_a_screen(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Without a name: every block with what must be measured for it, three to five lines each, and where
    the rest stands.

    The docket that it shows is one: with a measurements file beside it, it drafts.
    """
    from drafting.blocks import get, names

    monkeypatch.setenv("COLUMNS", "80")
    assert main(["blocks"]) == 0
    out = capsys.readouterr().out
    assert len(out.splitlines()) <= 5 * len(names()) + 10 and max(map(len, out.splitlines())) <= 80
    for block in map(get, names()):
        for part in (block.name, block.title, *block.needs, "chalkbeam blocks quick-top"):
            assert part in " ".join(out.split()), part
    shown = [line[4:] for line in out.splitlines() if line.startswith("    ")]
    (tmp_path / "top.yaml").write_text("\n".join(shown[-5:]) + "\n", encoding="utf-8")
    taken = (CONFIGS / "measurements" / "alto-3.yaml").read_text(encoding="utf-8")
    (tmp_path / "alto-3.yaml").write_text(taken, encoding="utf-8")
    assert main(["draft", str(tmp_path / "top.yaml"), "--out", str(tmp_path / "o")]) == 0


def test_blocks_as_json_and_pictures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The list for programs, and one sketch a style choice in a folder."""
    assert main(["blocks", "quick-top", "--json"]) == 0
    (block,) = json.loads(capsys.readouterr().out)
    choices = sum(len(o["choices"]) for o in block["style"])
    assert len(block["needs"]) == 6
    assert main(["blocks", "quick-top", "--out", str(tmp_path)]) == 0
    assert len(list(tmp_path.glob("quick-top-*.svg"))) == choices


def test_an_unknown_block_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, naming the nearest."""
    assert main(["blocks", "quick-tip"]) == 2
    assert "quick-top" in capsys.readouterr().err


@pytest.mark.parametrize("path", sorted((CONFIGS / "styles").glob("*.yaml")), ids=lambda p: p.stem)
def test_shipped_styles_draft(path: Path, tmp_path: Path) -> None:
    """Every shipped style is a docket that drafts and passes all its checks."""
    assert main(["draft", str(path), "--out", str(tmp_path)]) == 0


def test_allowances_of_the_docket_are_checked_and_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An edge only another style has is a note; a bound edge she gave an allowance is told."""
    path = docket(tmp_path, "{block: quick-top, style: {sleeve: short, neckline_finish: bias}}")
    text = path.read_text(encoding="utf-8").replace("{all", "{armhole: 8 mm, all")
    text = text.replace("6 mm}", "6 mm, front: {underarm: 15 mm}}")
    path.write_text(text, encoding="utf-8")
    assert main(["draft", str(path), "--out", str(tmp_path / "o"), "--json"]) == 0
    notes = "\n".join(json.loads(capsys.readouterr().out)["notes"])
    assert "'armhole', an edge this style does not have" in notes
    assert "The neckline is bound, yet 'allowances' gives it" in notes
    path.write_text(text.replace("armhole", "armhoel"), encoding="utf-8")
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 2
    assert "armhole" in capsys.readouterr().err


STARTER = "chalkbeam: 1\ntitle: t\nmeasurements: {body}\ngarment: {{block: quick-top}}\n{more}"


def bare_docket(folder: Path, more: str) -> Path:
    """A docket of a first-time user, with what is asked."""
    body = (CONFIGS / "measurements" / "alto-3.yaml").as_posix()
    path = folder / "top.yaml"
    path.write_text(STARTER.format(body=body, more=more), encoding="utf-8")
    return path


def test_without_allowances_every_way_to_cloth_or_paper_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """draft, lay, print and export name the seam line and the line to add (common practice)."""
    path = bare_docket(tmp_path, "cloth: {width: 1400 mm, fold: lengthwise}\n")
    for arguments in (
        ["draft", path, "--out", tmp_path / "o"],
        ["lay", path, "--seconds", "0.05", "--no-compare"],
        ["print", path, "--paper", "a4", "--out", tmp_path / "t.pdf"],
        ["export", path, "--out", tmp_path / "t.svg"],
    ):
        assert main([str(a) for a in arguments]) == 0
        told = capsys.readouterr()
        text = " ".join((told.out + told.err).split())
        assert "No allowance is set: the pieces would be cut on the seam line" in text, arguments
        assert "allowances: {all: 10 mm, hem: 25 mm, neckline: 6 mm}" in text
    assert "seam line" in (tmp_path / "o" / "truing.txt").read_text(encoding="utf-8")


def test_a_docket_laid_before_says_it_at_the_table_too(tmp_path: Path) -> None:
    """What frame and project show first names it; 'all: 0' says that it is meant so."""
    from drafting.docket import Docket
    from projector.laying import laid

    path = bare_docket(tmp_path, "cloth: {width: 1400 mm}\nlay: [{piece: front, at: [0, 0]}]\n")
    assert "seam line" in laid(Docket.load(path))[1]
    path.write_text(path.read_text() + "allowances: {all: 0}\n")
    assert laid(Docket.load(path))[1] == ""


def test_edges_that_no_allowance_names_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Only a hem: the sides would be cut on the seam line; the fold is no edge to sew."""
    path = bare_docket(tmp_path, "allowances: {hem: 25 mm}\n")
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 0
    line = next(x for x in capsys.readouterr().out.splitlines() if x.startswith("Caution"))
    assert "side" in line and "shoulder" in line
    assert "fold" not in line and "hem" not in line


@pytest.mark.parametrize(
    ("value", "told"),
    [("1", "1 mm: did you mean 1 cm or 1 in?"), ("2.5", "did you mean 2.5 cm or 2.5 in?")],
)
def test_an_allowance_of_a_few_mm_is_asked_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], value: str, told: str
) -> None:
    """Centimetres written without their unit; 6 mm, the narrowest in use, is none of that."""
    path = bare_docket(tmp_path, f"allowances: {{all: {value}, neckline: 6}}\n")
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("did you mean") == 1
    path.write_text(path.read_text().replace(f"all: {value}", f"all: {value} mm"))
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 0
    out = capsys.readouterr().out
    assert f"all is {value} mm: is that meant?" in out, "with its unit it is taken, with a word"


def test_the_starter_docket_has_allowances_and_drafts_without_a_caution(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The lines that `blocks` prints, with a body, are a whole docket."""
    assert main(["blocks"]) == 0
    lines = capsys.readouterr().out.splitlines()
    start = next(i for i, x in enumerate(lines) if x.strip() == "chalkbeam: 1")
    body = (CONFIGS / "measurements" / "alto-3.yaml").as_posix()
    text = []
    for line in lines[start:]:
        if not line.startswith("    "):
            break
        text.append(line.strip().replace("measurements: alto-3.yaml", f"measurements: {body}"))
    path = tmp_path / "top.yaml"
    text.append("cloth: {width: 1400 mm, fold: lengthwise}")  # as the next step asks
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 0
    out = capsys.readouterr().out
    assert "Caution" not in out
    assert main(["lay", str(path), "--seconds", "0.05", "--no-compare"]) == 0


def test_a_length_without_its_unit_is_told_in_which_it_was_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """60 in a docket of millimetres: read as 60 mm, and 60 cm would be within the limits."""
    path = bare_docket(tmp_path, "")
    path.write_text(path.read_text().replace("quick-top}", "quick-top, style: {length: 60}}"))
    assert main(["draft", str(path), "--out", str(tmp_path / "o")]) == 2
    err = " ".join(capsys.readouterr().err.split())
    assert "60 mm: did you mean 60 cm?" in err
    assert "read in mm" in err
    assert not (tmp_path / "o").exists()


def test_centimetres_in_a_file_of_inches_are_blamed_on_the_unit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A waist of 79 in is no body's: the file's 'unit:' is named, not a style option."""
    (tmp_path / "m.yaml").write_text(
        "chalkbeam: 1\nunit: in\nwearer: alto-1\nmeasurements:\n"
        "  {waist_girth: 79, hip_girth: 102, waist_to_hip: 20.6}\n"
    )
    path = tmp_path / "skirt.yaml"
    path.write_text(
        "chalkbeam: 1\ntitle: s\nmeasurements: m.yaml\ngarment: {block: straight-skirt}\n"
        "allowances: {all: 10 mm}\n"
    )
    main(["draft", str(path), "--out", str(tmp_path / "o")])
    told = capsys.readouterr()
    text = " ".join((told.out + told.err).split())
    assert "79 in" in text
    assert "'unit: in'" in text and "'unit: cm'" in text
    assert "style.length" not in text


def drafted(path: Path, out: Path, *more: str) -> int:
    """`draft` in this process."""
    return main(["draft", str(path), "--out", str(out), *more])


def test_what_an_earlier_draft_left_is_removed_and_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pocket and step pictures of yesterday's style are not cut today; what she put there stays."""
    out = tmp_path / "o"
    path = docket(tmp_path, "{block: quick-top, style: {pocket: hip}}")
    assert drafted(path, out, "--steps") == 0
    assert (out / "pocket.svg").exists() and list((out / "steps").glob("*.svg"))
    (out / "mine.svg").write_text("<svg/>")
    (out / "notes.txt").write_text("hers")
    capsys.readouterr()
    docket(tmp_path, "{block: quick-top}")
    assert drafted(path, out) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert not (out / "pocket.svg").exists()
    assert not (out / "steps").exists() and not (out / "steps.pdf").exists()
    assert "Removed what an earlier draft of this docket left" in told and "pocket.svg" in told
    assert (out / "mine.svg").exists() and (out / "notes.txt").read_text() == "hers"
    assert "not of this draft: mine.svg" in told


def test_a_left_over_piece_that_she_changed_stays(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Drawn on by hand since: named, never deleted."""
    out = tmp_path / "o"
    path = docket(tmp_path, "{block: quick-top, style: {pocket: hip}}")
    assert drafted(path, out) == 0
    (out / "pocket.svg").write_text("<svg><!-- hers --></svg>")
    docket(tmp_path, "{block: quick-top}")
    capsys.readouterr()
    assert drafted(path, out) == 0
    assert "hers" in (out / "pocket.svg").read_text()
    assert "changed since, so left here: pocket.svg" in " ".join(capsys.readouterr().out.split())


def test_the_list_of_files_cannot_name_one_outside_the_folder(tmp_path: Path) -> None:
    """Whatever the list says, nothing beyond the draft's folder is touched."""
    import hashlib

    out = tmp_path / "o"
    path = docket(tmp_path, "{block: quick-top}")
    assert drafted(path, out) == 0
    hers = tmp_path / "hers.svg"
    hers.write_text("x")
    listed = json.loads((out / ".drafted.json").read_text())
    (own,) = (k for k in listed if k != "chalkbeam")
    listed[own]["../hers.svg"] = hashlib.sha256(b"x").hexdigest()
    (out / ".drafted.json").write_text(json.dumps(listed))
    assert drafted(path, out) == 0
    assert hers.exists()


def test_two_dockets_in_one_folder_are_told_apart(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The second one's front stands in the place of the first one's: said."""
    out = tmp_path / "o"
    assert drafted(docket(tmp_path, "{block: quick-top, style: {pocket: hip}}"), out) == 0
    other = tmp_path / "b.yaml"
    other.write_text((tmp_path / "docket.yaml").read_text().replace("pocket: hip", "pocket: none"))
    capsys.readouterr()
    assert drafted(other, out) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "of ../docket.yaml stood here" in told
    assert "front.svg" in told
    assert (out / "pocket.svg").exists()


@pytest.mark.parametrize(
    ("style", "told"),
    [
        ("sleeve: none, sleeve_length: 20 cm", "style.sleeve_length changes nothing with 'sleeve: none'"),
        ("hem: level, hem_rise: 5 cm", "it needs 'hem: shirt-tail'"),
        ("pocket_width: 12 cm", "style.pocket_width changes nothing"),
        ("sleeve: short, sleeve_length: 20 cm", ""),
    ],
)  # fmt: skip
def test_style_that_changes_nothing_is_told(tmp_path: Path, style: str, told: str) -> None:
    """What is written and has no effect is named, and only then; the pieces show that it has none."""
    from drafting.blocks import Draft
    from drafting.docket import Docket

    def read(garment: str) -> Docket:
        return Docket.load(docket(tmp_path, garment))

    def lengths(made: Draft) -> dict[tuple[str, str], float]:
        return {(n, e): x.length_mm for n, p in made.pieces.items() for e, x in p.edges.items()}

    made = read(f"{{block: quick-top, style: {{{style}}}}}").draft()
    notes = [n for n in made.notes if "changes nothing" in n]
    if not told:
        assert notes == []
        return
    assert len(notes) == 1 and told in notes[0]
    first = ", ".join(style.split(", ")[:-1])
    plain = read(f"{{block: quick-top, style: {{{first}}}}}").draft()
    assert lengths(made) == lengths(plain)


@pytest.mark.parametrize("block", ["quick-top", "straight-skirt"])
def test_options_that_depend_on_others_name_what_there_is(block: str) -> None:
    """Every option and choice that another one needs is one of the block's."""
    from drafting.blocks import get

    options = {o.key: o for o in get(block).options}
    for option in options.values():
        for key, values in option.when:
            assert set(values) <= set(options[key].choices)
