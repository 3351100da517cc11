"""Her own base: kept once, drawn from often; a fit change in it reaches every garment."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner
from shaping_pieces import BODIES, curved

from configs.errors import InputError
from drafting import Docket
from drafting.docket.base import Base
from drafting.piece_entry import entry_of
from projector.cli import cli, main

STYLE = {"opening": "none", "neckline": "scoop", "bust_ease": 12}
TOPS: dict[str, list[dict[str, Any]]] = {
    "yoked": [
        {"cut": "front", "level": "6 below shoulder at neckline", "into": ["yoke", "front"], "seam": "yoke seam"},
    ],
    "princess": [
        {"cut": "front", "from": "hem 1/2", "to": "shoulder 1/2", "bend": 1, "seam": "princess"},
    ],
    "blouse": [
        {"cut": "front", "level": "9 below shoulder at neckline", "into": ["yoke", "front"], "seam": "yoke seam"},
        {"spread": "front", "from": "yoke seam", "to": "hem", "lines": 5, "ratio": 1.5, "as": "gathers"},
    ],
    "darted": [
        {"landmark": "front", "as": "bust point", "across": 9.5, "level": "3 below side at armhole"},
        {"pivot": "front", "about": "bust point", "from": "hem 1/2", "to": "side 7 from armhole", "by": 1.5},
        {"pivot": "front", "about": "bust point", "from": "dart", "to": "shoulder 1/2", "short": 2.5},
    ],
}  # fmt: skip
SKIRTS: dict[str, list[dict[str, Any]]] = {
    "a-line": [
        {"pivot": "front", "from": "dart 1", "to": "hem 1/2", "as": "flare"},
        {"pivot": "back", "from": "dart 1", "to": "hem 1/2", "as": "flare"},
    ],
    "pleated": [
        {
            "spread": "front",
            "from": "waist 10 % from fold",
            "to": "hem 10 % from fold",
            "by": 8,
            "as": "pleats",
        }
    ],
}


def write(path: Path, data: dict[str, Any]) -> Path:
    """A YAML file."""
    path.write_text(yaml.safe_dump(data, sort_keys=False), encoding="utf-8")
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Measurements and two fitted dockets, of a top and of a skirt, kept as bases."""
    return fitted(tmp_path, "straight")


def fitted(folder: Path, who: str) -> Path:
    """The same for one of the bodies."""
    body = {"chalkbeam": 1, "unit": "mm", "wearer": "alto-1", "measurements": BODIES[who]}
    write(folder / "body.yaml", body)
    recipes: dict[str, dict[str, Any]] = {
        "top": {
            "block": "quick-top",
            "style": dict(STYLE),
            "fit": [{"change": "shoulder in", "by": 1}],
        },
        "skirt": {"block": "straight-skirt", "style": {"slit": "none"}},
    }
    for name, garment in recipes.items():
        data = {
            "chalkbeam": 1,
            "title": name,
            "unit": "cm",
            "measurements": "body.yaml",
            "garment": garment,
        }
        path = write(folder / f"{name}.yaml", data)
        assert main(["base", str(path), "--out", str(folder / f"{name}-base.yaml")]) == 0
    return folder


def garments(folder: Path) -> dict[str, Path]:
    """A docket for each of the six garments; in mm, so that the base's centimetres must be kept."""
    out = {}
    for base, each in (("top", TOPS), ("skirt", SKIRTS)):
        for name, changes in each.items():
            cm = [
                {
                    k: _in_cm(v) if k in ("across", "by", "short", "bend") else v
                    for k, v in c.items()
                }
                for c in changes
            ]
            data = {"chalkbeam": 1, "title": name, "unit": "cm" if base == "top" else "mm",
                    "garment": {"base": f"{base}-base.yaml", "changes": cm}, "allowances": {"all": "1 cm"}}  # fmt: skip
            out[name] = write(folder / f"{name}.yaml", data)
    return out


def _in_cm(value: Any) -> Any:
    return f"{value} cm"


@pytest.mark.parametrize("who", sorted(BODIES))
def test_six_garments_from_two_bases_follow_a_fit_change(tmp_path: Path, who: str) -> None:
    """Yoked, princess, gathered blouse, darted top, A-line and pleated skirt: each is drafted, trued and
    laid without a problem; 2 cm more at the hem of the base make every one of them wider."""
    from drafting.lay import Cloth, plan

    folder = fitted(tmp_path, who)
    made = garments(folder)
    before = {}
    for name, path in made.items():
        d = Docket.load(path).draft()
        assert [c.name for c in d.checks() if not c.ok or "before the changes" in c.name] == [], (
            name
        )
        assert d.measurements.wearer == "alto-1"
        before[name] = hems(d)
        laid = plan(list(d.pieces.values()), Cloth.from_dict({"width": 1500}), seconds=0.2)
        assert laid.problems() == []
        assert {p.piece for p in laid.placements} == set(d.pieces)
    for base in ("top-base.yaml", "skirt-base.yaml"):
        data = yaml.safe_load((folder / base).read_text(encoding="utf-8"))
        data["base"]["fit"] = [*data["base"].get("fit", []), {"change": "hem", "by": 2}]
        write(folder / base, data)
    for name, path in made.items():
        # 2 cm round the body: 1 cm on the half pieces, less or more where they were spread
        assert 4.0 < hems(Docket.load(path).draft()) - before[name] < 18.0, name


def hems(d: Any) -> float:
    """Length of all hems as drawn, mm."""
    return sum(float(p.edges["hem"].length_mm) for p in d.pieces.values() if "hem" in p.edges)


def test_the_draft_tells_which_edges_of_the_base_moved(folder: Path) -> None:
    """After a change of the base ``draft`` lists its edges that moved since the day it was made."""
    path = garments(folder)["yoked"]
    out = folder / "out"
    first = CliRunner().invoke(cli, ["draft", str(path), "--out", str(out)])
    assert "moved on her base" not in first.output
    data = yaml.safe_load((folder / "top-base.yaml").read_text(encoding="utf-8"))
    data["base"]["fit"].append({"change": "length below waist", "by": "3 cm"})
    write(folder / "top-base.yaml", data)
    again = CliRunner().invoke(cli, ["draft", str(path), "--out", str(out)])
    assert "moved on her base" in again.output
    assert "front: fold" in again.output
    assert "moved on her base" in (out / "truing.txt").read_text(encoding="utf-8")


def test_a_base_keeps_its_own_unit(folder: Path) -> None:
    """Numbers of the base are in its unit, whatever the garment's docket has."""
    path = write(
        folder / "in.yaml",
        {"chalkbeam": 1, "title": "in", "unit": "in", "garment": {"base": "top-base.yaml"}},
    )
    assert Docket.load(path).draft().style["bust_ease"] == pytest.approx(120.0)
    own = write(
        folder / "own.yaml",
        {
            "chalkbeam": 1,
            "title": "own",
            "unit": "in",
            "garment": {"base": "top-base.yaml", "style": {"bust_ease": 6}},
        },
    )
    assert Docket.load(own).draft().style["bust_ease"] == pytest.approx(6 * 25.4)


@pytest.mark.parametrize(
    ("garment", "told"),
    [
        ({"base": "nowhere.yaml"}, "nowhere.yaml"),
        ({"base": "top-base.yaml", "block": "quick-top"}, "beside a block"),
        ({"base": "body.yaml"}, "a base"),
        ({"base": 3}, "file's name"),
    ],
)
def test_a_wrong_base_is_told(folder: Path, garment: dict[str, Any], told: str) -> None:
    """A base that is none, or that stands beside a block, is told with its docket."""
    path = write(folder / "x.yaml", {"chalkbeam": 1, "title": "x", "garment": garment})
    with pytest.raises(InputError) as caught:
        Docket.load(path)
    assert told in str(caught.value)


def test_a_base_is_never_written_over(folder: Path) -> None:
    """A second 'base' to the same file is refused, and the file stays."""
    before = (folder / "top-base.yaml").read_bytes()
    assert main(["base", str(folder / "top.yaml"), "--out", str(folder / "top-base.yaml")]) == 2
    assert (folder / "top-base.yaml").read_bytes() == before


def test_an_import_can_be_a_base(tmp_path: Path) -> None:
    """Outlines taken in from elsewhere, kept as a base, are cut by the garments that refer to it."""
    write(tmp_path / "in.yaml", {"chalkbeam": 1, "title": "in", "pieces": [entry_of(curved())]})
    assert main(["base", str(tmp_path / "in.yaml"), "--out", str(tmp_path / "b.yaml")]) == 0
    assert set(Base.load(tmp_path / "b.yaml").imported) == {"panel"}
    cut = {"cut": "panel", "level": "crown 1/2", "into": ["yoke", "panel"]}
    path = write(
        tmp_path / "g.yaml",
        {"chalkbeam": 1, "title": "g", "garment": {"base": "b.yaml", "changes": [cut]}},
    )
    assert set(Docket.load(path).pieces()) == {"yoke", "panel"}
    assert (
        "apex"
        in Docket.load(path).pieces()["yoke"].landmarks
        | Docket.load(path).pieces()["panel"].landmarks
    )


def test_the_wardrobe_lists_dockets_and_what_is_out_of_date(folder: Path) -> None:
    """Each docket and base once, with wearer, base, cloth and what is traced; a body that was
    measured again after the lay is told; a broken docket is told and the rest listed."""
    made = garments(folder)
    data = yaml.safe_load(made["yoked"].read_text(encoding="utf-8"))
    data |= {
        "cloth": {"width": "140 cm"},
        "lay": [{"piece": "back", "copy": 1, "at": [10, 10]}],
        "traced": ["back/1"],
    }
    write(made["yoked"], data)
    (folder / "broken.yaml").write_text(
        "chalkbeam: 1\ntitle: odd\nmeasurements: body.yaml\ngarment: {block: quick-tip}\n",
        encoding="utf-8",
    )
    later = made["yoked"].stat().st_mtime + 60.0
    os.utime(folder / "body.yaml", (later, later))
    import json

    result = CliRunner().invoke(cli, ["wardrobe", str(folder), "--json"])
    listed = {e["file"]: e for e in json.loads(result.output)}
    assert listed["yoked.yaml"]["traced"] == 1
    assert listed["yoked.yaml"]["base"] == "top-base.yaml"
    assert any("measurements changed" in t for t in listed["yoked.yaml"]["out_of_date"])
    assert listed["blouse.yaml"]["out_of_date"] == []
    assert "quick-tip" in listed["broken.yaml"]["wrong"]
    assert listed["top-base.yaml"]["kind"] == "base"
    assert "body.yaml" not in listed
    shown = CliRunner().invoke(cli, ["wardrobe", str(folder)]).output
    assert "princess" in shown and "Out of date" in shown
    assert any("⠀" <= c <= "⣿" for c in shown), "a drawing"
