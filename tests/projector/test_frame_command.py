"""``chalkbeam frame``: the picture on disk, and each way it is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import yaml
from table_rig import DATA, projector

from calibrate.calibration import Calibration
from drafting.docket import Docket
from drafting.lay import Effort, plan
from projector import render
from projector.cli import main


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path, Path]:
    """A docket, a calibration and where the picture goes."""
    path, cal = tmp_path / "top.yaml", tmp_path / "cal.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    projector((640, 360)).save(cal)
    return path, cal, tmp_path / "frame.png"


def test_the_picture_is_what_render_gives(files: tuple[Path, Path, Path]) -> None:
    """The PNG holds, pixel for pixel, what `render` answers; the docket is not touched."""
    from skimage.io import imread

    path, cal, out = files
    before = path.read_bytes()
    assert main(["frame", str(path), "--calibration", str(cal), "--out", str(out)]) == 0
    expected = render(Docket.load(path), Calibration.load(cal))
    assert (imread(out) == expected).all()
    assert path.read_bytes() == before


def test_what_is_wrong_with_the_lay_is_told(
    files: tuple[Path, Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """The picture is written, and the judge's sentence stands beside it."""
    path, cal, out = files
    assert main(["frame", str(path), "--calibration", str(cal), "--out", str(out)]) == 0
    sound = capsys.readouterr().out
    data = yaml.safe_load(path.read_text())
    data["lay"][1]["turn"] = 4
    path.write_text(yaml.safe_dump(data, sort_keys=False))
    assert main(["frame", str(path), "--calibration", str(cal), "--out", str(out)]) == 0
    told = [t for t in capsys.readouterr().out.splitlines() if t not in sound.splitlines()]
    assert any(t.startswith("Wrong: sleeve/1 is turned 4°") for t in told), told


def test_modes_lines_and_inks_differ(files: tuple[Path, Path, Path]) -> None:
    """Trace, one kind of lines and dark ink each give another picture of the same size."""
    from skimage.io import imread

    path, cal, out = files
    seen = []
    for more in ([], ["--mode", "trace", "--piece", "sleeve/1"], ["--lines", "cutting"],
                 ["--lines", "sewing"], ["--ink", "dark"], ["--ink", "bold"]):  # fmt: skip
        assert main(["frame", str(path), "--calibration", str(cal), "--out", str(out), *more]) == 0
        seen.append(imread(out))
    for i, one in enumerate(seen):
        assert one.shape == (360, 640, 3)
        assert all((one != other).any() for other in seen[:i])


def test_a_docket_without_a_lay_is_laid_and_told(
    files: tuple[Path, Path, Path],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Never laid: laid quickly for the picture, said so, and the file left as it was."""
    from projector import laying

    monkeypatch.setattr(laying, "QUICK_SECONDS", 0.3)
    path, cal, out = files
    path.write_text(yaml.safe_dump({**DATA, "lay": []}, sort_keys=False))
    before = path.read_text()
    assert main(["frame", str(path), "--calibration", str(cal), "--out", str(out)]) == 0
    assert "had no lay" in capsys.readouterr().out
    assert path.read_text() == before and out.stat().st_size > 1000


@pytest.mark.parametrize(
    ("change", "args", "said"),
    [
        ({}, ["--size", "1920x1080"], "640 x 360"),
        ({}, ["--size", "wide"], "1920x1080"),
        ({}, ["--out", "frame.jpg"], "lossy"),
        ({}, ["--piece", "sleeve/9"], "sleeve/1"),
        ({"cloth": None, "lay": []}, [], "no cloth"),
        ({"table": {"view": {"turn": "left", "sid": "near"}}}, [], "table.view"),
        ({"allowances": {"hemm": "3 mm"}}, [], "hemm"),
    ],
)
def test_refusals_are_one_message_and_leave_nothing(
    files: tuple[Path, Path, Path],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    change: dict,
    args: list[str],
    said: str,
) -> None:
    """Another size, no picture's name, a piece that is not there, faults: exit 2, no file."""
    path, cal, out = files
    data = {k: v for k, v in {**DATA, **change}.items() if v is not None}
    path.write_text(yaml.safe_dump(data, sort_keys=False))
    monkeypatch.chdir(path.parent)
    code = main(["frame", str(path), "--calibration", str(cal), "--out", str(out), *args])
    told = capsys.readouterr().err
    assert code == 2 and said in told and "Traceback" not in told
    assert not out.exists() and not (path.parent / "frame.jpg").exists()


@pytest.mark.parametrize("text", ["", "chalkbeam: 1\nholds: cards\n", "chalkbeam: [", "\x00\x01"])
def test_what_is_no_calibration_is_told(
    files: tuple[Path, Path, Path], capsys: pytest.CaptureFixture[str], text: str
) -> None:
    """An empty, foreign or damaged calibration file: exit 2 and its name, no picture."""
    path, cal, out = files
    cal.write_text(text)
    code = main(["frame", str(path), "--calibration", str(cal), "--out", str(out)])
    told = capsys.readouterr().err
    assert code == 2 and "cal.yaml" in told and "Traceback" not in told
    assert not out.exists()


def test_every_view_key_is_checked() -> None:
    """All faults of a view are told at once, each with its key."""
    from configs.errors import InputError
    from projector.picture.view import View

    with pytest.raises(InputError) as caught:
        View.from_dict({"turn": "x", "at": [1], "mirror": 2, "side": "door", "zoom": 2}, "v")
    text = str(caught.value)
    for part in ("v.turn", "v.at", "v.mirror", "v.side", "zoom"):
        assert part in text
    assert np.isfinite(View().table_from_cloth).all()


@pytest.mark.parametrize(("width", "px"), [("4 px", 4.0), ("8 px", 8.0), ("3 mm", 3.0)])
def test_the_cutting_line_has_the_width_asked_for(width: str, px: float) -> None:
    """A width in px is that many pixels across; one in mm is that many mm on the table."""
    from table_rig import docket

    cal = projector((1000, 560), 1000.0, keystone=0.0, k1=0.0)
    view = {"turn": 0.0, "at": [20.0, 20.0], "mirror": False, "side": "near"}
    laid = docket(table={"width": width, "view": view})
    picture = render(laid, cal, mode="plain", lines="cutting")[:, :, 0] / 255.0
    # down a column through the facing's two straight cutting lines along the cloth
    column = picture[:, 765]
    lit = np.flatnonzero(column > 0)
    first = column[lit[0] : lit[0] + 16]
    assert first.sum() == pytest.approx(px, abs=0.25)


def test_pieces_out_of_the_light_are_told(
    files: tuple[Path, Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """A narrow beam over a long lay: how many reach out of it, and the way to trace them."""
    path, _, out = files
    narrow = path.parent / "narrow.yaml"
    projector((640, 360), 600.0).save(narrow)
    assert main(["frame", str(path), "--calibration", str(narrow), "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "of 3 pieces reach out of the light" in said and "bays" in said and "V" in said
    wide = path.parent / "wide.yaml"
    projector((640, 360), 2400.0).save(wide)
    assert main(["frame", str(path), "--calibration", str(wide), "--out", str(out)]) == 0
    assert "out of the light" not in capsys.readouterr().out


def test_a_dress_is_shown(files: tuple[Path, Path, Path]) -> None:
    """The choir's dress, laid on its cloth, as the projector lights it: some of every piece, nothing wrong."""
    from skimage.io import imread

    path, cal, out = files
    dress = Docket.load(Path(__file__).parents[2] / "configs" / "styles" / "gala-dress.yaml")
    assert dress.cloth is not None
    lay = plan(
        dress.pieces(), dress.cloth, 0.0, rules=dress.rules, effort=Effort(seed=1, workers=0)
    )
    dress.replace(lay=lay.docket_placements()).save(path)
    assert main(["frame", str(path), "--calibration", str(cal), "--out", str(out)]) == 0
    lit = imread(out).max(axis=2) > 100
    dress.replace(lay=lay.docket_placements()[:1]).save(path)
    assert main(["frame", str(path), "--calibration", str(cal), "--out", str(out)]) == 0
    assert lit.sum() > 2 * (imread(out).max(axis=2) > 100).sum() > 200
