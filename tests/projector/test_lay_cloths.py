"""Several cloths: each with its own lay, picture and purchase, each at the table by its name."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from table_rig import projector

from configs import shipped
from configs.errors import InputError
from drafting.docket import Docket
from drafting.docket.beside import docket_of_cloth
from drafting.export.cut_size import cut_size
from projector.cli import main
from projector.lay_picture import docket_lay

TOP = """chalkbeam: 1
title: {title}
measurements: alto-3.yaml
garment: {{block: quick-top, style: {{neckline_finish: facing, armhole_finish: facing}}}}
allowances: {{all: 10 mm, hem: 25 mm}}
cloth: {{width: 1400 mm, fold: double, selvedge: 10 mm}}
cloths:
  lining: {{width: 1.2 m, fold: lengthwise, takes: [facings], price: 5 EUR/m, shrinkage: {{length: 5 %}}}}   # left over
  interfacing: {{width: 900 mm, takes: [neck], also: true}}
"""


def written(folder: Path, name: str = "top", title: str = "rehearsal top") -> Path:
    """A top whose facings are cut from a lining; those of the neck from interfacing too."""
    shutil.copy(shipped() / "measurements" / "alto-3.yaml", folder)
    path = folder / f"{name}.yaml"
    path.write_text(TOP.format(title=title), encoding="utf-8")
    return path


def run(*arguments: str | Path) -> int:
    """The command line, in this process."""
    return main([*map(str, arguments)])


def test_each_cloth_has_its_lay_and_its_purchase(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every piece lies once, on the cloth that takes it; each cloth has picture, length and price."""
    path = written(tmp_path)
    assert run("lay", path, "--seconds", "0.1", "--no-compare", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told["cloths"]) == {"lining", "interfacing"}
    assert told["cloths"]["lining"]["to_buy"]["cost"] > 0
    docket = Docket.load(path)
    lying = {}
    for name, one in (("", docket), *((n, docket_of_cloth(docket, n)) for n in docket.cloths)):
        lay = docket_lay(one)
        assert lay.problems() == [] and lay.left_out == ()
        lying[name] = {p.piece for p in lay.placements}
        assert one.path is not None and one.path.with_suffix(".lay.png").is_file()
    every = set(docket.every_piece())
    facings = {n for n in every if "facing" in n}
    assert facings and lying[""] == every - facings and lying["lining"] == facings
    assert lying["interfacing"] == {n for n in facings if "neck" in n}
    assert "# left over" in path.read_text(encoding="utf-8")


def test_a_cloth_that_shrinks_takes_larger_pieces_on_paper_too(tmp_path: Path) -> None:
    """The lining loses 5 % of its length: its pieces are printed 1/0.95 as long, the top's as drafted."""
    docket = Docket.load(written(tmp_path))
    drafted = docket.every_piece()
    cut, _ = cut_size(docket)
    assert set(cut) == set(drafted)
    for name, grows in (("front", 1.0), ("front neck facing", 1.0 / 0.95)):
        tall = [float(p[name].sewing_line[:, 1].max() - p[name].sewing_line[:, 1].min())
                for p in (drafted, cut)]  # fmt: skip
        assert tall[1] / tall[0] == pytest.approx(grows, rel=1e-4)


def test_two_garments_and_a_lining_on_two_cloths(tmp_path: Path) -> None:
    """Laid together, both garments share the cloth and both linings the other one, side by side."""
    one, two = written(tmp_path), written(tmp_path, "vest", "vest")
    assert run("lay", one, "--with", two, "--seconds", "0.2", "--no-compare") == 0
    first, second = Docket.load(one), Docket.load(two)
    assert first.shares == ("vest.yaml",)
    lining = docket_of_cloth(first, "lining")
    assert lining.shares == ("vest.lining.yaml",) and lining.lay
    assert docket_of_cloth(second, "lining").lay
    from projector.laying import sharing_notes

    assert sharing_notes(first) == [] and sharing_notes(lining) == []


def test_frame_shows_the_cloth_that_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--cloth shows that cloth's pieces; a name that is not there is met with the nearest one."""
    path = written(tmp_path)
    assert run("lay", path, "--cloth", "lining", "--seconds", "0.1", "--no-compare") == 0
    assert not Docket.load(path).lay
    calibration = tmp_path / "calibration.yaml"
    projector((640, 360)).save(calibration)
    out = tmp_path / "frame.png"
    capsys.readouterr()
    assert run("frame", path, "--cloth", "lining", "--calibration", calibration, "--out", out) == 0
    pieces = docket_of_cloth(Docket.load(path), "lining").pieces()
    assert f"{len(pieces)} pieces" in capsys.readouterr().out
    assert run("frame", path, "--cloth", "linning", "--calibration", calibration) == 2
    assert "Did you mean 'lining'" in capsys.readouterr().err


def test_the_table_keeps_the_small_docket(tmp_path: Path) -> None:
    """A move noted at the table of the lining is in its own file, the garment's stays as it was."""
    from dataclasses import replace

    path = written(tmp_path)
    before = path.read_bytes()
    small = docket_of_cloth(Docket.load(path), "lining")
    small.save()
    small = docket_of_cloth(Docket.load(path), "lining")
    assert run("lay", path, "--cloth", "lining", "--seconds", "0.1", "--no-compare") == 0
    small = docket_of_cloth(Docket.load(path), "lining")
    moved = tuple(replace(p, at=(p.at[0] + 1.0, p.at[1])) for p in small.lay)
    small.replace(lay=moved).save()
    again = docket_of_cloth(Docket.load(path), "lining")
    assert [p.at[0] for p in again.lay] == pytest.approx([p.at[0] for p in moved], abs=1e-3)
    assert path.read_bytes() == before
    assert again.cloth == Docket.load(path).cloths["lining"].cloth


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("  lining: {width: 1 m, takes: [facngs]}", "Did you mean 'facing"),
        ("  lining: {width: 1 m}", "takes"),
        ("  lining: {width: 1 m, take: [facings], takes: [neck]}", "unknown key 'take'"),
        ("  li/ning: {width: 1 m, takes: [neck]}", "no name for a cloth"),
        ("  lining: 3", "should be a cloth"),
    ],
)
def test_a_cloth_that_is_written_wrong_is_told(line: str, said: str, tmp_path: Path) -> None:
    """Each slip under 'cloths' is named with its key."""
    path = written(tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("  lining")] + line + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=said):
        Docket.load(path).every_piece()


def test_a_small_docket_says_nothing_twice_and_names_no_other_small_one(tmp_path: Path) -> None:
    """Allowances belong to the garment's docket; a small docket of a small docket is refused."""
    path = written(tmp_path)
    small = docket_of_cloth(Docket.load(path), "lining")
    small.save()
    assert small.path is not None
    text = small.path.read_text(encoding="utf-8")
    small.path.write_text(text + "allowances: {all: 3 mm}\n", encoding="utf-8")
    with pytest.raises(InputError, match="is said in top"):
        Docket.load(small.path)
    small.path.write_text(text.replace("top.yaml", "top.lining.yaml"), encoding="utf-8")
    with pytest.raises(InputError, match="itself for a cloth"):
        Docket.load(small.path)
