"""Photos of the virtual table through the detector, the command and its refusals."""

from __future__ import annotations

import io
import json
import struct
import zlib
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
import rigs
from PIL import Image as Pillow

from calibrate import Calibration
from calibrate.cards import card, card_images
from calibrate.detect import Detections, detect
from calibrate.model import ProjectorModel
from calibrate.pattern import bare, pattern_for
from calibrate.photo import read_photo
from calibrate.report import advice
from calibrate.simulate import Sheet, VirtualTable
from calibrate.solve import solve, solve_photos
from configs.errors import InputError, Refusal
from projector.cli import main

SIZE = (1920, 1080)
SMALL = (1440, 1080)


@cache
def rig(seed: int = 2, size: tuple[int, int] = SMALL) -> rigs.Rig:
    return rigs.make_rig(seed, "phone", camera={"size": size})


@cache
def picture(seed: int = 2) -> np.ndarray:
    out = rig(seed).photos()[0]
    out.setflags(write=False)
    return out


@cache
def seen(seed: int = 2) -> Detections:
    return detect(picture(seed), SIZE)


@pytest.fixture(scope="module")
def photo_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("photo") / "table.png"
    cv2.imwrite(str(path), picture()[:, :, ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])
    return path


@pytest.fixture
def found_file(tmp_path):
    path = tmp_path / "found.yaml"
    matrix = np.array([[1.6, 0.0, 0.0], [0.0, -1.6, 1080.0], [0.0, 0.0, 1.0]])
    model = ProjectorModel(SIZE, matrix, np.array([959.5, 539.5]))
    Calibration(model, np.zeros((17, 17)), "photo", "2026-11-02 10:00:00").save(path)
    return path


def shown(frame: np.ndarray | None = None, sheets: tuple[Sheet, ...] | None = None) -> np.ndarray:
    """The rig's table with another picture projected or other sheets on it."""
    r = rig()
    table: VirtualTable = r.table if sheets is None else r.table.with_sheets(sheets)
    return table.photograph(r.frame if frame is None else frame, r.cameras[0], 5)


def test_corners_are_measured_as_well_as_they_say() -> None:
    """Every card and the pattern are found; corners are within 0.03 px, and the noise told is a little more than twice the true one (tone curve and pixels are in it; the fit sets the level): never smaller than it, never many times it."""
    r, found_all = rig(), seen()
    camera = r.cameras[0]
    assert sorted(found_all.cards) == [0, 1, 2, 3]
    over_told = []
    for i, found in found_all.cards.items():
        shape = card(i).shape
        at = card(i).board().corners[found.index]
        drawn = np.column_stack([at[:, 0] + shape.width_mm / 2, shape.height_mm / 2 - at[:, 1]])
        miss = found.px - camera.to_pixels(r.table.sheets[i].to_table(drawn))
        assert len(found) >= 30
        assert np.sqrt(np.mean(miss**2)) < 0.03
        over_told.append(np.sqrt(np.mean((miss / found.sigma[:, None]) ** 2)))
    assert found_all.pattern is not None and len(found_all.pattern) > 500
    lit = r.table.projector.to_table(bare(SIZE).board().corners[found_all.pattern.index])
    miss = found_all.pattern.px - camera.to_pixels(lit)
    over_told.append(np.sqrt(np.mean((miss / found_all.pattern.sigma[:, None]) ** 2)))
    assert 0.3 < np.mean(over_told) < 0.65
    assert np.sqrt(np.mean(miss**2)) < 0.03
    assert np.abs(miss.mean(axis=0)).max() < 0.01


def test_a_photo_gives_the_true_table() -> None:
    """From one small photo the whole beam is true to 0.1 mm, and the doubt told is of that size."""
    got = rigs.trueness(solve_photos([seen()]), rig().table)
    assert got.max_mm < 0.1
    assert 0.2 < got.honesty < 4


def test_any_orientation_gives_the_same_table() -> None:
    """A photo turned by a quarter shows the same light."""
    upright = solve_photos([seen()])
    grid = upright.model.grid_mm()
    turned = solve_photos([detect(np.rot90(picture()), SIZE)])
    assert np.abs(turned.to_projector(grid) - upright.to_projector(grid)).max() < 0.1


def test_exif_orientation_is_respected(tmp_path) -> None:
    """A JPEG stored sideways with its EXIF note is read upright."""
    path = tmp_path / "sideways.jpg"
    stored = Pillow.fromarray(np.ascontiguousarray(np.rot90(picture(), 1)))
    exif = Pillow.Exif()
    exif[0x0112] = 6  # the stored picture has to be turned a quarter clockwise
    stored.save(path, exif=exif, quality=92)
    assert read_photo(path).shape == picture().shape
    assert np.abs(read_photo(path).astype(int) - picture()).mean() < 6


def test_a_grey_pattern_gap_or_thread_does_not_spoil_it() -> None:
    """A ruler forgotten across a card and the pattern costs corners, not truth."""
    messy = picture().copy()
    h, w = messy.shape[:2]
    cv2.line(messy, (w // 5, 0), (w // 2, h), (120, 90, 60), 14)
    cv2.line(messy, (0, h // 4), (w, h // 3), (30, 30, 30), 5)
    got = rigs.trueness(solve_photos([detect(messy, SIZE)]), rig().table)
    assert got.max_mm < 0.25


def mirrored() -> np.ndarray:
    return np.ascontiguousarray(picture()[:, ::-1])


def no_cards() -> np.ndarray:
    return shown(sheets=())


def one_card() -> np.ndarray:
    return shown(sheets=rig().table.sheets[:1])


def two_cards() -> np.ndarray:
    return shown(sheets=rig().table.sheets[1:3])


def no_pattern() -> np.ndarray:
    return shown(np.full((1080, 1920), 255, np.uint8))


def other_pattern() -> np.ndarray:
    small = pattern_for((1280, 720), 1000).image()
    return shown(cv2.resize(small, SIZE, interpolation=cv2.INTER_LINEAR))


def mirrored_pattern() -> np.ndarray:
    return shown(np.ascontiguousarray(rig().frame[:, ::-1]))


def blurred() -> np.ndarray:
    return cv2.GaussianBlur(picture(), (0, 0), 9)


def dark() -> np.ndarray:
    return (picture() * 0.04).astype(np.uint8)


def burnt() -> np.ndarray:
    return np.clip(picture().astype(float) * 8, 0, 255).astype(np.uint8)


def twice() -> np.ndarray:
    sheets = list(rig().table.sheets)
    sheets[1] = replace(sheets[0], at_mm=sheets[1].at_mm)
    return shown(sheets=tuple(sheets))


def two_prints() -> np.ndarray:
    sheets = list(rig().table.sheets)
    sheets[1] = replace(sheets[1], picture=card_images("letter", rigs.CARD_PX_PER_MM)[5])
    return shown(sheets=tuple(sheets))


def nothing() -> np.ndarray:
    return np.random.default_rng(0).integers(90, 140, (1200, 1600, 3)).astype(np.uint8)


REFUSED = {
    mirrored: ("mirrored",),
    no_cards: ("no-cards",),
    one_card: ("few-cards",),
    two_cards: ("few-cards",),
    no_pattern: ("no-pattern",),
    other_pattern: ("other-pattern",),
    mirrored_pattern: ("mirrored-pattern",),
    blurred: ("blurred",),
    dark: ("under-exposed",),
    burnt: ("over-exposed",),
    twice: ("card-twice",),
    two_prints: ("other-print",),
    nothing: ("no-cards", "blurred"),
}


@pytest.mark.parametrize("make", REFUSED, ids=lambda f: f.__name__)
def test_bad_photos_are_refused_with_their_reason(make) -> None:
    """Each kind of bad photo is refused with its own code, what is wrong, and what to do."""
    with pytest.raises(Refusal) as caught:
        solve_photos([detect(make(), SIZE, name="table.jpg")])
    assert caught.value.code in REFUSED[make]
    fault = caught.value.faults[0]
    assert len(fault.what) > 15
    assert len(fault.remedy) > 15


def shaken(way_px: float, angle_deg: float, size: tuple[int, int] = SMALL) -> np.ndarray:
    """A rig's photo by a hand that moved so far while the shutter was open."""
    r, a = rig(3, size), np.radians(angle_deg)
    way = (float(way_px * np.cos(a)), float(way_px * np.sin(a)))
    return r.table.photograph(r.frame, replace(r.cameras[0], shake_px=way), 5)


@pytest.mark.parametrize(("way", "angle"), [(22, 0), (22, 45), (22, 100), (9, 70)])
def test_a_shaken_photo_is_called_shaken(way: float, angle: float) -> None:
    """22 px of 1440 are 60 of a phone's 4032: told as a shake, with what to do, whatever its way."""
    with pytest.raises(Refusal) as caught:
        detect(shaken(way, angle), SIZE)
    assert caught.value.code == "blurred"
    fault = caught.value.faults[0]
    assert "shaken" in fault.what and "Lean the phone" in fault.remedy and "light" in fault.remedy


def test_cards_lost_to_a_shake_are_not_called_missing() -> None:
    """Shaken a little, so that cards cannot be read: the shake is told first, no empty corner."""
    with pytest.raises(Refusal) as caught:
        solve([detect(shaken(6, 30, (1600, 1200)), SIZE)])
    assert caught.value.code == "few-cards"
    assert caught.value.faults[0].remedy.startswith("The photo was shaken. Lean the phone")
    three = {i: c for i, c in seen().cards.items() if i}
    for notes, told in (
        (("The photo was shaken. Lean it.",), "too soft to read it"),
        ((), "nothing shades or covers it"),
    ):
        thin = replace(seen(), cards=three, notes=notes)
        (line,) = [x for x in advice(solve([thin]), [thin]) if "three cards" in x]
        assert told in line and "empty corner" not in line


@pytest.mark.parametrize(
    ("surface", "light"),
    [
        ("wood", "pattern"),
        ("wood", "white"),
        ("cutting mat", "white"),
        ("cutting mat", "off"),
        ("light table", "pattern"),
        ("light table", "off"),
    ],
)
def test_a_sharp_photo_without_cards_is_not_called_blurred(surface: str, light: str) -> None:
    """Wood grain and mat lines run one way without any shake: no card is there, and that is told."""
    r = rig()
    frame = {"pattern": r.frame, "white": np.full_like(r.frame, 255), "off": 0 * r.frame}[light]
    table = replace(r.table.with_sheets(()), surface=surface)
    with pytest.raises(Refusal) as caught:
        detect(table.photograph(frame, r.cameras[0], 5), SIZE)
    # a light table without the projector holds no edge at all
    either = (
        ("no-cards", "blurred") if (surface, light) == ("light table", "off") else ("no-cards",)
    )
    assert caught.value.code in either


def test_a_shaken_photo_in_the_dark_is_called_dark() -> None:
    """Where nothing can be made out for want of light, the light is what is told."""
    with pytest.raises(Refusal) as caught:
        detect((shaken(22, 20) * 0.04).astype(np.uint8), SIZE)
    assert caught.value.code == "under-exposed"


def test_other_cards_than_the_file_says_are_refused() -> None:
    """Cards of another print than --cards describes are told apart."""
    with pytest.raises(Refusal) as caught:
        detect(picture(), SIZE, card_ids=[4, 5, 6, 7])
    assert caught.value.code == "other-print"


@pytest.mark.parametrize(
    "bad",
    [np.zeros((10, 10, 3), np.uint8), np.zeros((900, 900)), np.zeros((900, 900, 2), np.uint8)],
)
def test_what_is_no_photo_is_refused(bad) -> None:
    """Thumbnails, floats and odd channels are no photos."""
    with pytest.raises(InputError):
        detect(bad, SIZE)


def test_unreadable_files_are_refused(tmp_path) -> None:
    """A missing file, text called .jpg, a cut-off PNG: a message, not a traceback."""
    with pytest.raises(InputError, match="no such file"):
        read_photo(tmp_path / "none.jpg")
    bad = tmp_path / "notes.jpg"
    bad.write_text("not a picture")
    with pytest.raises(InputError, match="JPEG or PNG"):
        read_photo(bad)
    bad.write_bytes(b"")
    with pytest.raises(InputError, match="JPEG or PNG"):
        read_photo(bad)


def png_that_says(width: int, height: int) -> bytes:
    """The head of an 8-bit RGB PNG of this size, with no pixel behind it (RFC 2083)."""
    ihdr = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    idat = b"IDAT" + zlib.compress(b"")
    parts = [ihdr, idat]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(p) - 4) + p + struct.pack(">I", zlib.crc32(p)) for p in parts
    )


@pytest.mark.parametrize(
    ("size", "told"),
    [
        ((7500, 4000), "cut short"),  # 30 megapixels: decoded, and found empty
        ((15000, 8000), "15000 x 8000 px"),  # 120: not decoded
        ((30000, 30000), "larger than 60 megapixels"),
        ((3000, 180), "3000 x 180 px"),
        ((3000, 720), "cut short"),
        ((3000, 1), "3000 x 1 px"),
    ],
)
def test_a_picture_is_measured_before_it_is_decoded(tmp_path, size, told) -> None:
    """The header alone decides on the size, on both sides of what is allowed."""
    path = tmp_path / "large.png"
    path.write_bytes(png_that_says(*size))
    with pytest.raises(InputError, match=told):
        read_photo(path)


def test_sixteen_bits_of_grey_are_read_as_eight(tmp_path) -> None:
    """A grey PNG of 16 bits keeps its greys instead of burning out."""
    path = tmp_path / "deep.png"
    grey = np.tile(np.linspace(0, 65535, 800).astype(np.uint16), (600, 1))
    cv2.imwrite(str(path), grey)
    assert np.abs(read_photo(path)[0, :, 0].astype(float) - grey[0] / 257).max() <= 1


@pytest.mark.parametrize("command", ["photo", "check", "cloth"])
@pytest.mark.parametrize("kind", ["cut short", "one pixel thin", "no picture", "too large"])
def test_a_hostile_photo_is_one_message(tmp_path, found_file, capsys, command, kind) -> None:
    """Wherever a photo is read: exit code 2, one message that names the file, nothing written."""
    photo, out = tmp_path / "her.jpg", tmp_path / "out.yaml"
    if kind == "cut short":
        Pillow.new("RGB", (1600, 1200), "grey").save(photo)
        photo.write_bytes(photo.read_bytes()[:-2000])
    elif kind == "one pixel thin":
        Pillow.new("RGB", (4000, 1)).save(photo)
    elif kind == "too large":
        photo.write_bytes(png_that_says(10900, 10900))
    else:
        photo.write_text("chalkbeam: 1\n")
    options = {
        "photo": ["calibrate", "photo", str(photo), "--size", "1920x1080", "--out", str(out)],
        "check": ["calibrate", "check", str(photo), "--calibration", str(found_file)],
        "cloth": ["cloth", str(photo), "--calibration", str(found_file), "--out", str(out)],
    }
    assert main(options[command]) == 2
    said = capsys.readouterr()
    assert "her.jpg" in said.err and len(said.err.strip().splitlines()) <= 2
    assert "Traceback" not in said.err and not out.exists()


def test_command_from_photo_to_saved_calibration(tmp_path, photo_file, capsys) -> None:
    """One command saves the calibration, draws the report and says what it is worth."""
    out, report, square = tmp_path / "c.yaml", tmp_path / "report.png", tmp_path / "square.png"
    base = ["calibrate", "photo", str(photo_file), "--size", "1920x1080", "--out", str(out)]
    pictures = ["--report", str(report), "--square-picture", str(square)]
    code = main([*base, *pictures, "--bars", "180.0,250.0"])
    said = capsys.readouterr().out
    assert code == 0
    assert said.startswith("True to 0.")
    assert "projector dot" in said and "180 and 250 mm" in said
    saved = Calibration.load(out, SIZE)
    assert rigs.trueness(saved, rig().table).max_mm < 0.1
    assert saved.bars_mm == (180.0, 250.0)
    drawn = cv2.imread(str(report))
    assert drawn.shape[1] == SMALL[0] and drawn.std() > 10
    lines = cv2.imread(str(square), cv2.IMREAD_GRAYSCALE)
    assert lines.shape == (1080, 1920)
    y, x = np.nonzero(lines[:, : 1920 // 2] > 60)
    left = x[np.abs(y - 540) < 60].max()
    assert saved.to_table([[left, 540.0]])[0, 0] == pytest.approx(-100.0, abs=1.0)


def test_check_square_is_fed_back(tmp_path, photo_file, capsys) -> None:
    """A square that reads 200.6 by 199.8 mm scales the table along each axis, and says so."""
    fed = tmp_path / "b.yaml"
    base = ["calibrate", "photo", str(photo_file), "--size", "1920x1080"]
    assert main([*base, "--out", str(fed), "--square", "200.6,199.8"]) == 0
    assert "200.6 × 199.8" in capsys.readouterr().out
    a, b = solve_photos([seen()]), Calibration.load(fed)
    points = np.array([[300.0, 0.0], [0.0, 150.0]])
    assert np.abs(b.to_projector(points * [1.003, 0.999]) - a.to_projector(points)).max() < 1e-6
    assert b.scale_doubt < a.scale_doubt
    assert main([*base, "--out", str(fed), "--square", "20,20"]) == 2


def test_command_for_programs_keeps_it_in_the_store(
    tmp_path, photo_file, monkeypatch, capsys
) -> None:
    """--json prints one document with the numbers, unread bars leave their doubt in it; without --out the calibration goes into the store under the projector's name."""
    from calibrate.store import newest

    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    options = ["--size", "1920x1080", "--display", "ceiling", "--json"]
    assert main(["calibrate", "photo", str(photo_file), *options]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["cards"]["0"]["misses_mm"] < 0.1
    assert data["print_doubt_mm"] > 0.5
    assert "--bars" in data["print"]
    found = newest("ceiling", SIZE)
    assert found is not None and found.display == "ceiling"
    (kept,) = (tmp_path / "home").rglob("*.yaml")
    assert str(kept) in data["saved"]


def test_refusal_leaves_no_file_and_code_two(tmp_path, capsys) -> None:
    """A refused photo: exit 2, one readable message, nothing written."""
    path, out = tmp_path / "mirror.jpg", tmp_path / "c.yaml"
    Pillow.fromarray(mirrored()).save(path, quality=90)
    assert main(["calibrate", "photo", str(path), "--size", "1920x1080", "--out", str(out)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("Not done:") and "mirrored" in said
    assert not out.exists()


def test_one_bad_photo_among_good_ones_is_left_out(tmp_path, photo_file, capsys) -> None:
    """Of two photos the bad one is left out and named; the good one is used."""
    bad = tmp_path / "blurred.jpg"
    Pillow.fromarray(blurred()).save(bad)
    out = tmp_path / "c.yaml"
    base = ["calibrate", "photo", str(bad), str(photo_file), "--size", "1920x1080"]
    assert main([*base, "--out", str(out)]) == 0
    assert "Left out: " in capsys.readouterr().out
    assert Calibration.load(out).facts["photos"] == 1


def test_the_same_photo_under_another_name_counts_once(tmp_path, photo_file, capsys) -> None:
    """A copy saved anew as JPEG and turned adds nothing: told, and the report counts one photo."""
    copy = tmp_path / "sent.jpg"
    Pillow.fromarray(np.ascontiguousarray(np.rot90(picture()))).save(copy, quality=90)
    out, picture_file = tmp_path / "c.yaml", tmp_path / "report.png"
    files = [str(photo_file), str(copy), str(photo_file)]
    options = ["--size", "1920x1080", "--out", str(out), "--report", str(picture_file)]
    assert main(["calibrate", "photo", *files, *options]) == 0
    said = capsys.readouterr().out
    assert "sent.jpg shows the same as" in said and "was given twice: counted once" in said
    assert Calibration.load(out).facts["photos"] == 1
    assert picture_file.stat().st_size > 10_000


@pytest.mark.parametrize(
    ("extra", "told"),
    [
        (["--size", "1920"], "1920x1080"),
        (["--size", "1920x1080", "--bars", "180"], "two readings"),
        (["--size", "1920x1080", "--bars", "18,25"], "did you mean 18 cm"),
        (["--size", "1920x1080", "--bars", "190,250"], "Measure both bars"),
    ],
)
def test_bad_options_are_refused_before_the_photo_is_read(tmp_path, capsys, extra, told) -> None:
    """Nonsense in the options is told at once, in words."""
    assert (
        main(["calibrate", "photo", str(tmp_path / "x.jpg"), "--out", str(tmp_path / "c"), *extra])
        == 2
    )
    assert told in capsys.readouterr().err


def test_cards_and_pattern_commands_write_their_files(tmp_path, capsys) -> None:
    """The two commands write a PDF or PNG and the YAML beside it, as the contract has them."""
    import yaml

    pdf, png = tmp_path / "cards.pdf", tmp_path / "pattern.png"
    assert main(["calibrate", "cards", "--paper", "letter", "--out", str(pdf)]) == 0
    assert (
        main(
            [
                "calibrate",
                "pattern",
                "--size",
                "1280x800",
                "--beam-width",
                "1200",
                "--out",
                str(png),
            ]
        )
        == 0
    )
    cards = yaml.safe_load((tmp_path / "cards.yaml").read_text())
    assert pdf.read_bytes().startswith(b"%PDF")
    assert cards["bars_mm"] == [180.0, 250.0]
    assert [c["id"] for c in cards["cards"]] == [4, 5, 6, 7]
    assert all(len(c["rect_mm"]) == 4 and c["page"] == 1 for c in cards["cards"])
    pattern = yaml.safe_load((tmp_path / "pattern.yaml").read_text())
    assert pattern["size"] == [1280, 800] and len(pattern["windows"]) == 4
    drawn = Pillow.open(io.BytesIO(png.read_bytes()))
    assert drawn.size == (1280, 800)
    assert main(["calibrate", "cards", "--out", str(tmp_path / "x.yaml")]) == 2
