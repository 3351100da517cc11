"""`chalkbeam cloth`: a photo becomes a docket's remnant, lying where it was seen."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
import yaml
from remnants import HOLE, OUTLINE, SIZE, remnant, true_calibration
from table_rig import DATA

from calibrate.cloth_scan.view import scan_light
from calibrate.simulate import VirtualCamera, VirtualTable
from drafting.cloth import Cloth, kept_off
from drafting.docket import Docket
from projector.cli import main
from projector.output import CLOTH, kind_of
from projector.picture.view import View


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with photo.png and calibration.yaml."""
    folder = tmp_path_factory.mktemp("cloth")
    table = VirtualTable.random(21, SIZE, surface="light table", ambient=0.3, beam_width_mm=1150.0)
    laid = table.with_sheets([remnant(colour=(120, 60, 70))])
    camera = VirtualCamera.webcam(21, laid.beam_mm(4))
    photo = laid.photograph(scan_light(SIZE).image(), camera, 1)
    cv2.imwrite(str(folder / "photo.png"), photo[..., ::-1])
    true_calibration(table).save(folder / "calibration.yaml")
    return folder


def test_into_a_docket_and_on_the_table_where_it_lay(
    seen: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The cloth in the docket, carried by the docket's view, lies inside the true remnant, 3 mm off its edge and clear of the hole; price and nap stay, the fold goes; `cloth.yaml` reads back to the same."""
    docket = tmp_path / "top.yaml"
    data = {**DATA, "cloth": {"width": 1400, "length": 900, "fold": "lengthwise", "nap": "one-way"}}
    docket.write_text(yaml.safe_dump({**data, "lay": []}, sort_keys=False))
    out = tmp_path / "remnant.yaml"
    code = main(
        [
            "cloth",
            str(seen / "photo.png"),
            "--calibration",
            str(seen / "calibration.yaml"),
            "--out",
            str(out),
            "--into",
            str(docket),
        ]
    )
    told = capsys.readouterr().out
    assert code == 0
    assert "1 hole" in told and "1 flaw" in told and "Written" in told
    held = Docket.load(docket)
    assert held.cloth is not None and held.cloth.outline is not None
    assert held.cloth.nap == "one-way" and held.cloth.fold == "none"
    view = View.from_dict(held.table["view"], "view")
    move = view.table_from_cloth
    ring = np.array(held.cloth.outline) @ move[:2, :2].T + move[:2, 2]
    true = shapely.Polygon(OUTLINE, [HOLE])
    hole = np.array(held.cloth.holes[0]) @ move[:2, :2].T + move[:2, 2]
    laid = shapely.Polygon(ring, [hole])
    assert true.contains(laid)
    assert 1.0 < true.exterior.distance(laid.exterior) < 3.5
    assert laid.area > true.buffer(-5).area
    assert kind_of(out.read_bytes()) == (CLOTH, True)  # so that the next scan may replace it
    again = yaml.safe_load(out.read_text())
    assert again.pop("chalkbeam") == 1
    assert Cloth.from_dict(again).outline == held.cloth.outline
    picture = cv2.imread(str(out.with_suffix(".png")))
    assert picture is not None and picture.std() > 5
    assert min(p[0] for p in held.cloth.outline) > 0 < min(p[1] for p in held.cloth.outline)


def test_json_and_the_light(seen: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--json` is one document with the cloth and its place; `--light` writes the picture to show."""
    out = tmp_path / "cloth.yaml"
    call = ["cloth", str(seen / "photo.png"), "--calibration", str(seen / "calibration.yaml")]
    assert main([*call, "--out", str(out), "--json", "--grain", "0"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["placed"] and told["grain_deg"] == 0.0
    assert told["area_mm2"] == pytest.approx(shapely.Polygon(OUTLINE, [HOLE]).area, rel=0.01)
    light = tmp_path / "light.png"
    assert main(["cloth", "--light", str(light), "--size", "1280x720"]) == 0
    assert cv2.imread(str(light), cv2.IMREAD_GRAYSCALE).shape == (720, 1280)


@pytest.mark.parametrize(
    ("extra", "word"),
    [
        (["--keep-off", "900"], "no rim"),
        (["--keep-off", "99"], None),
        (["--grain", "10", "--grain-side", "1"], "same"),
        (["--grain-side", "50"], "straight side 50"),
        (["--size", "1920x1080"], "--light"),
        (["--live"], "one of the two"),
    ],
)
def test_bad_input_writes_nothing(
    seen: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    extra: list[str],
    word: str | None,
) -> None:
    """Exit code 2, one message, no file; a rim of 99 mm still leaves some cloth."""
    out = tmp_path / "cloth.yaml"
    call = ["cloth", str(seen / "photo.png"), "--calibration", str(seen / "calibration.yaml")]
    code = main([*call, "--out", str(out), *extra])
    if word is None:
        assert code == 0
        return
    assert code == 2
    assert word in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_no_photo_no_file_no_place_to_write(
    seen: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each is told, and nothing is written."""
    calibration = ["--calibration", str(seen / "calibration.yaml")]
    missing = str(tmp_path / "none.jpg")
    assert main(["cloth", missing, *calibration, "--out", str(tmp_path / "c.yaml")]) == 2
    assert "none.jpg" in capsys.readouterr().err
    assert main(["cloth", str(seen / "photo.png"), *calibration]) == 2
    assert "--out" in capsys.readouterr().err
    assert main(["cloth", *calibration, "--out", str(tmp_path / "c.yaml")]) == 2
    assert "PHOTO" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_kept_off_by_hand() -> None:
    """A square of 100 with a hole of 10: 5 mm off its edge it is 90, the hole 20; a neck narrower than twice the rim parts it, and the smaller part is told."""
    square = [[0, 0], [100, 0], [100, 100], [0, 100]]
    hole = [[45, 45], [55, 45], [55, 55], [45, 55]]
    outline, holes, lost = kept_off(square, [hole], 5)
    assert shapely.Polygon(outline).area == pytest.approx(8100)
    assert shapely.Polygon(holes[0]).area == pytest.approx(400)
    assert lost == 0
    necked = [[0, 0], [100, 0], [100, 46], [120, 46], [120, 30], [150, 30], [150, 70], [120, 70],
              [120, 54], [100, 54], [100, 100], [0, 100]]  # fmt: skip
    outline, _, lost = kept_off(necked, [], 5)
    assert shapely.Polygon(outline).area == pytest.approx(8100)
    assert lost == pytest.approx(20 * 30)
    with pytest.raises(ValueError):
        kept_off(square, [], 60)
