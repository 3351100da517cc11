"""Is it still true? Drift in shape and place measured to a tenth, and mended without moving the lay."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from rigs import Rig, beam_grid_px, make_rig, rigid

from calibrate.calibration import Calibration, CardPlace
from calibrate.drift import drift, mend
from calibrate.model import ProjectorModel
from calibrate.simulate import VirtualCamera
from calibrate.simulate.optics import rotation_about, rows_of
from configs.errors import InputError
from projector.cli import main

SIZE = (1920, 1080)
MIDDLE = np.array([959.5, 539.5])
CARDS = (
    CardPlace(0, (-500.0, 250.0), 0.1),
    CardPlace(1, (480.0, 260.0), 1.6),
    CardPlace(2, (-490.0, -260.0), 3.0),
    CardPlace(3, (500.0, -240.0), -1.5),
)


def plain(
    grow: tuple[float, float] = (1.0, 1.0), cards: tuple[CardPlace, ...] = CARDS
) -> Calibration:
    """A beam of 0.6 mm a pixel without keystone, grown along its width and height."""
    matrix = np.array(
        [[1 / 0.6 / grow[0], 0, MIDDLE[0]], [0, -1 / 0.6 / grow[1], MIDDLE[1]], [0, 0, 1.0]]
    )
    model = ProjectorModel(SIZE, matrix, MIDDLE)
    return Calibration(model, np.zeros((12, 12)), "photo", "2026-11-02", cards=cards)


def turned(angle: float, dx: float, dy: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, dx], [s, c, dy], [0, 0, 1.0]])


def test_an_unchanged_beam_has_not_drifted() -> None:
    """The same beam seen in any other table frame shows no drift, in shape or in place."""
    old = plain()
    found = drift(old, old.moved(turned(0.4, 123.0, -56.0)))
    assert found.worst_mm < 1e-6
    assert found.still == (0, 1, 2, 3)
    assert not found.past


def test_growth_along_and_across_by_hand() -> None:
    """2 mm in a metre along and 1 across are told as such; at the corner that is 1.19 mm, by hand."""
    found = drift(plain(), plain((1.002, 1.001)), tolerance_mm=1.0)
    assert found.scale_x == pytest.approx(0.002, abs=1e-6)
    assert found.scale_y == pytest.approx(0.001, abs=1e-6)
    assert abs(found.keystone_mm) < 1e-6
    corner = math.hypot(0.002 * 959.5 * 0.6, 0.001 * 539.5 * 0.6)
    assert found.shape_max_mm == pytest.approx(corner, abs=0.01)
    assert found.past
    assert not drift(plain(), plain((1.002, 1.001)), tolerance_mm=1.5).past


def test_a_shifted_beam_shows_only_against_the_cards() -> None:
    """A beam pushed 5 mm right and 3 mm away keeps its shape; taped cards tell where it went."""
    old = plain()
    # the light moved by (5, 3), the cards did not: the new solve sees them at (-5, -3) from the light
    new = replace(old.moved(turned(0, 5.0, 3.0)), cards=CARDS)
    found = drift(old, new)
    assert found.shape_max_mm < 1e-6
    assert found.shift_mm == pytest.approx((5.0, 3.0), abs=1e-6)
    assert found.position_max_mm == pytest.approx(math.hypot(5, 3), abs=1e-6)
    assert found.past
    blind = drift(old, replace(new, cards=()))
    assert blind.position_max_mm is None
    assert not blind.past
    assert "not known" in " ".join(blind.sentences())


def test_a_card_that_was_moved_is_not_believed() -> None:
    """One card of four pushed aside is named and left out; the others still carry the place."""
    old = plain()
    pushed = (*CARDS[:2], CardPlace(2, (-470.0, -260.0), 3.0), CARDS[3])
    found = drift(old, replace(old, cards=pushed))
    assert found.moved == (2,)
    assert found.still == (0, 1, 3)
    assert found.position_max_mm is not None
    assert found.position_max_mm < 1e-6
    assert "card 2" in " ".join(found.sentences())


def test_cards_laid_anew_tell_no_place() -> None:
    """When all cards lie elsewhere the shape is still checked and the place is said to be unknown."""
    rng = np.random.default_rng(4)
    anew = tuple(
        CardPlace(
            c.card,
            tuple((np.array(c.at_mm) + rng.normal(0, 30, 2)).tolist()),
            float(rng.uniform(0, 6)),
        )
        for c in CARDS
    )
    found = drift(plain(), replace(plain((1.002, 1.0)), cards=anew))
    assert found.position_max_mm is None
    assert found.scale_x == pytest.approx(0.002, abs=1e-6)


def test_mending_keeps_the_old_frame() -> None:
    """After a push and a growth the mended calibration still means the same places on the table."""
    old = plain()
    light = plain((1.003, 1.002)).moved(turned(0.002, 7.0, -4.0))
    new = replace(light, cards=CARDS).moved(turned(1.1, 300.0, 40.0))
    mended = mend(old, new, drift(old, new))
    px = beam_grid_px(SIZE, 9, 7)
    assert np.allclose(mended.to_table(px), light.to_table(px), atol=1e-6)
    assert mended.cards == CARDS


@pytest.mark.parametrize("tolerance", [0.0, -1.0, math.nan])
def test_a_tolerance_that_is_none_is_refused(tolerance: float) -> None:
    """Zero, negative and not-a-number tolerances are refused."""
    with pytest.raises(InputError, match="tolerance"):
        drift(plain(), plain(), tolerance)


def test_another_size_is_refused() -> None:
    """A photo of a pattern of another size cannot be compared."""
    other = replace(plain(), model=replace(plain().model, size=(1280, 720)))
    with pytest.raises(InputError, match="1920 x 1080 px, the photo shows 1280 x 720"):
        drift(plain(), other)


@pytest.mark.parametrize(("by", "still"), [(0.3, True), (1.2, False)])
@pytest.mark.parametrize("turn", [False, True])
def test_a_card_may_miss_the_others_by_six_tenths(by: float, still: bool, turn: bool) -> None:
    """0.3 mm aside, or turned by that at 50 mm from its middle, is still; 1.2 mm was moved."""
    at = CARDS[2].at_mm if turn else (CARDS[2].at_mm[0] + by, CARDS[2].at_mm[1])
    moved = CardPlace(2, at, 3.0 + (by / 50 if turn else 0.0))
    found = drift(plain(), replace(plain(), cards=(*CARDS[:2], moved, CARDS[3])))
    assert found.moved == (() if still else (2,))
    assert found.still == ((0, 1, 2, 3) if still else (0, 1, 3))


def test_one_card_tells_no_place() -> None:
    """A single card that both know says nothing, neither that it stayed nor that it moved."""
    found = drift(plain(), replace(plain(), cards=CARDS[:1]))
    assert (found.still, found.moved, found.position_max_mm) == ((), (), None)
    told = found.to_dict()
    assert (told["shift_mm"], told["turn_deg"]) == (None, None)


def test_a_turned_beam_is_told_in_degrees() -> None:
    """The light turned by half a degree about the frame's origin, the cards still."""
    new = replace(plain().moved(turned(math.radians(0.5), 0.0, 0.0)), cards=CARDS)
    told = drift(plain(), new).to_dict()
    assert told["turn_deg"] == pytest.approx(0.5, abs=1e-6)
    assert told["shift_mm"] == pytest.approx([0.0, 0.0], abs=0.01)


@pytest.mark.parametrize(
    ("widths", "heights", "keystone"),
    [((0, 4), (0, 0), 4.0), ((4, 0), (0, 0), -4.0), ((0, 0), (0, 3), 3.0), ((0, 0), (3, 0), -3.0)],
)
def test_keystone_is_what_one_end_has_grown_more(
    widths: tuple[float, float], heights: tuple[float, float], keystone: float
) -> None:
    """Of a beam of 1151.4 × 647.4 mm the far and near edge, the left and right end grow, by hand."""
    w, h = 1151.4, 647.4
    (far, near), (left, right) = widths, heights
    table = [(-far / 2, left / 2), (w + far / 2, right / 2), (w + near / 2, -h - right / 2), (-near / 2, -h - left / 2)]  # fmt: skip
    px = [(0, 0), (1919, 0), (1919, 1079), (0, 1079)]
    matrix = cv2.getPerspectiveTransform(np.array(table, np.float32), np.array(px, np.float32))
    new = replace(plain(), model=ProjectorModel(SIZE, matrix, MIDDLE))
    assert drift(plain(), new).keystone_mm == pytest.approx(keystone, abs=0.01)
    assert drift(new, new).keystone_mm == pytest.approx(0.0, abs=1e-6)


def test_what_two_photos_differ_by_anyway() -> None:
    """Doubts of 0.3 and 0.4 mm make 0.5 together, told with the tolerance when that is too fine."""
    old, new = replace(plain(), floor_mm=0.3), replace(plain(), floor_mm=0.4)
    found = drift(old, new, tolerance_mm=1.01)
    assert found.expected_mm == pytest.approx(0.5)
    assert "hardly good enough" not in " ".join(found.sentences())
    assert "hardly good enough" in " ".join(drift(old, new, 0.99).sentences())


def test_mending_keeps_the_display() -> None:
    """The old display's name stays; where it had none, the new one's is taken."""
    for old, new, named in (
        ("hall", "", "hall"),
        ("hall", "attic", "hall"),
        ("", "attic", "attic"),
    ):
        a, b = replace(plain(), display=old), replace(plain(), display=new)
        assert mend(a, b, drift(a, b)).display == named


def bumped(rig: Rig) -> Rig:
    """The same table after somebody's elbow met the projector."""
    p = rig.table.projector
    tilt = np.array(p.rotation) @ rotation_about(0, math.radians(0.2)).T
    x, y, z = p.position_mm
    return replace(
        rig,
        table=replace(
            rig.table, projector=replace(p, rotation=rows_of(tilt), position_mm=(x + 2, y, z))
        ),
    )


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Rig, Rig]:
    """A folder with a calibration and two later photos: of the beam unmoved, and bumped."""
    folder = tmp_path_factory.mktemp("check")
    rig = make_rig(3, "phone", camera={"size": (2016, 1512)}, beam_width_mm=1000.0)
    after = bumped(rig)
    for name, which, seed in (("first", rig, 1), ("same", rig, 2), ("bumped", after, 3)):
        camera = VirtualCamera.phone(40 + seed, which.table.beam_mm(), (2016, 1512))
        photo = which.table.photograph(rig.frame, camera, seed)
        cv2.imwrite(str(folder / f"{name}.jpg"), photo[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 94])
    args = ["calibrate", "photo", str(folder / "first.jpg"), "--size", "1920x1080"]
    assert main([*args, "--out", str(folder / "calibration.yaml"), "--bars", "180,250"]) == 0
    return folder, rig, after


def test_check_passes_an_unmoved_beam(
    photos: tuple[Path, Rig, Rig], capsys: pytest.CaptureFixture[str]
) -> None:
    """From photo to verdict: exit 0, shape and position within a fraction of a millimetre."""
    folder, _, _ = photos
    args = ["calibrate", "check", str(folder / "same.jpg")]
    code = main([*args, "--calibration", str(folder / "calibration.yaml"), "--json"])
    told = json.loads(capsys.readouterr().out)
    assert code == 0
    assert told["worst_mm"] < 0.4
    assert told["cards_still"] == [0, 1, 2, 3]


def test_check_tells_a_bump_and_mends_it(
    photos: tuple[Path, Rig, Rig], capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 1, the move told to 0.2 mm; the mended file puts light where the old frame means."""
    folder, rig, after = photos
    args = ["calibrate", "check", str(folder / "bumped.jpg")]
    args += ["--calibration", str(folder / "calibration.yaml")]
    args += ["--mend", "--out", str(folder / "mended.yaml"), "--json"]
    assert main(args) == 1
    told = json.loads(capsys.readouterr().out)
    px = beam_grid_px(SIZE)
    was, gone = (r.table.projector.to_table(px) for r in (rig, after))
    true_worst = float(np.hypot(*(gone - was).T).max())
    assert true_worst > 3.0
    assert told["position_max_mm"] == pytest.approx(true_worst, abs=0.25)
    old = Calibration.load(folder / "calibration.yaml")
    mended = Calibration.load(folder / "mended.yaml")
    turn, shift = rigid(old.to_table(px), was)
    miss = mended.to_table(px) @ turn.T + shift - gone
    assert float(np.sqrt((miss**2).sum(axis=1).mean())) < 0.12


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (["--mend"], "--out"),
        (["--out", "x.yaml"], "--mend"),
        (["--tolerance", "-1"], "tolerance"),
    ],
)
def test_check_refuses_what_it_cannot_do(
    photos: tuple[Path, Rig, Rig], more: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """--mend without --out, --out without --mend and no tolerance: exit 2 with the remedy."""
    folder, _, _ = photos
    args = ["calibrate", "check", str(folder / "same.jpg")]
    assert main([*args, "--calibration", str(folder / "calibration.yaml"), *more]) == 2
    assert told in capsys.readouterr().err
