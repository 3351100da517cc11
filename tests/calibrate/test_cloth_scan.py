"""The cloth on the table from one photo: outline, holes, flaws, on the virtual table's truth."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely
from remnants import HOLE, OUTLINE, SIZE, STAIN, apart, remnant, true_calibration
from rigs import lay_cards

from calibrate.calibration import CardPlace
from calibrate.cloth_scan.edges import straight_sides
from calibrate.cloth_scan.picture import picture
from calibrate.cloth_scan.scan import scan
from calibrate.cloth_scan.view import scan_light, view_of
from calibrate.pattern import pattern_for
from calibrate.simulate import VirtualCamera, VirtualTable
from configs.errors import InputError, Refusal

BLACK = np.zeros((SIZE[1], SIZE[0]), np.uint8)
LIGHT = scan_light(SIZE).image()


def phone(seed: int, beam_mm: np.ndarray, size: tuple[int, int]) -> VirtualCamera:
    """A phone whose pixels are taken at their middle: what is asked here does not hang on more."""
    return replace(VirtualCamera.phone(seed, beam_mm, size), samples=1)


def webcam(seed: int, beam_mm: np.ndarray, size: tuple[int, int] = (1920, 1080)) -> VirtualCamera:
    """A webcam likewise."""
    return replace(VirtualCamera.webcam(seed, beam_mm, size), samples=1)


def table_on(surface: str, seed: int, ambient: float = 0.4) -> VirtualTable:
    """A table with a beam of 1.15 m."""
    return VirtualTable.random(seed, SIZE, surface=surface, ambient=ambient, beam_width_mm=1150.0)


@pytest.mark.parametrize(
    ("surface", "colour"),
    [
        ("wood", (40, 60, 120)),
        ("cutting mat", (200, 190, 60)),
        ("dark mat", (190, 180, 170)),
        ("light table", (120, 60, 70)),
    ],
)
def test_outline_hole_and_stain_under_the_light(surface: str, colour: tuple[int, int, int]) -> None:
    """Outline and hole to half a millimetre rms, not better than the camera's pixels allow; the stain is found where it is; on wood and on mats with grid lines."""
    seed = len(surface)
    bare_table = table_on(surface, seed)
    table = bare_table.with_sheets([remnant(colour=colour, seed=seed)])
    camera = phone(seed, table.beam_mm(4), (2016, 1512))
    photo = table.photograph(LIGHT, camera, seed)
    view = view_of(photo, true_calibration(bare_table))
    found = scan(photo, view)
    assert view.placed and view.by == "light"
    rms, worst = apart(found.outline, OUTLINE)
    assert 0.02 < rms < 0.6
    assert worst < 4.0
    assert len(found.holes) == 1
    assert apart(found.holes[0], HOLE)[0] < 1.2
    assert len(found.flaws) == 1
    stain = shapely.Polygon(STAIN)
    ring = shapely.Polygon(found.flaws[0])
    assert ring.buffer(1.0).contains(stain)
    assert ring.area < 2.2 * stain.area
    assert not found.printed
    assert shapely.Polygon(found.outline).exterior.is_ccw
    assert found.area_mm2 == pytest.approx(shapely.Polygon(OUTLINE, [HOLE]).area, rel=0.005)


@pytest.fixture(scope="module")
def among_cards() -> tuple[VirtualTable, VirtualTable, np.ndarray]:
    """A bare table, the same with a remnant and four cards on it, and a photo of these without light."""
    bare_table = table_on("wood", 12, 0.6)
    cards = lay_cards(bare_table, pattern_for(SIZE, 1150.0), 12)
    table = bare_table.with_sheets([remnant(), *cards])
    return bare_table, table, table.photograph(BLACK, phone(12, table.beam_mm(4), (2016, 1512)), 1)


def test_taped_cards_place_it_whether_the_beam_is_dark_or_white(
    among_cards: tuple[VirtualTable, VirtualTable, np.ndarray],
) -> None:
    """With cards where they lay at the calibration no light is needed, and white light does no harm: its edge is not taken for cloth."""
    bare_table, table, dark = among_cards
    places = tuple(
        CardPlace(i, s.at_mm, math.radians(s.angle_deg)) for i, s in enumerate(table.sheets[1:])
    )
    calibration = replace(true_calibration(bare_table), cards=places)
    white = table.photograph(BLACK + 255, phone(12, table.beam_mm(4), (2016, 1512)), 1)
    for photo in (dark, white):
        view = view_of(photo, calibration)
        found = scan(photo, view)
        assert view.by == "taped cards" and view.placed
        assert apart(found.outline, OUTLINE)[0] < 0.7
        assert len(found.holes) == 1


def test_loose_cards_give_the_size_and_say_that_the_place_is_unknown(
    among_cards: tuple[VirtualTable, VirtualTable, np.ndarray],
) -> None:
    """Cards anywhere: true area, no place, and a note; without a calibration too."""
    bare_table, _, photo = among_cards
    for calibration in (true_calibration(bare_table), None):
        view = view_of(photo, calibration)
        assert not view.placed
        assert bool(view.notes) == (calibration is not None)
        area = scan(photo, view).area_mm2
        assert area == pytest.approx(shapely.Polygon(OUTLINE, [HOLE]).area, rel=0.006)


def test_what_cannot_be_told_is_refused_or_said() -> None:
    """No reference, no cloth, cloth past the light: refused with a reason; a print: no stains told; a cloth of the table's colour: said."""
    bare_table = table_on("wood", 13)
    calibration = true_calibration(bare_table)
    camera = webcam(13, bare_table.beam_mm(4), (1440, 810))

    def take(*sheets: object, light: np.ndarray = LIGHT) -> np.ndarray:
        return bare_table.with_sheets(sheets).photograph(light, camera, 1)  # type: ignore[arg-type]

    with pytest.raises(Refusal, match="where the table is") as refused:
        view_of(take(remnant(), light=BLACK), calibration)
    assert refused.value.code == "no-reference"
    empty = take()
    with pytest.raises(Refusal, match="no cloth") as refused:
        scan(empty, view_of(empty, calibration))
    assert refused.value.code == "no-cloth"
    long = take(remnant(OUTLINE * (1.0, 1.75), None, None))
    with pytest.raises(Refusal, match="runs out of"):
        scan(long, view_of(long, calibration))
    printed = take(remnant(checks=True))
    found = scan(printed, view_of(printed, calibration))
    assert found.printed and not found.flaws
    assert any("printed" in n for n in found.notes)
    assert apart(found.outline, OUTLINE)[0] < 2.0
    like = take(remnant(hole=None, stain=None, colour=(150, 110, 80)))
    try:
        found = scan(like, view_of(like, calibration))
    except Refusal as error:
        assert error.code == "no-cloth"
    else:
        assert apart(found.outline, OUTLINE)[1] < 3 * found.doubt_mm
        assert any("colour" in n for n in found.notes)


def test_a_mirrored_blurred_or_dark_photo_is_called_so() -> None:
    """By the light or by cards: what is wrong with the photo is told, not that nothing is in it."""
    table = table_on("wood", 13)
    calibration = true_calibration(table)
    camera = webcam(13, table.beam_mm(4), (1440, 810))
    sheets = [remnant(), *lay_cards(table, pattern_for(SIZE, 1150.0), 3)]
    by_light = table.with_sheets(sheets[:1]).photograph(LIGHT, camera, 1)
    by_cards = table.with_sheets(sheets).photograph(255 - BLACK, camera, 1)
    shaken = replace(camera, shake_px=(28.0, 9.0))
    bad = [
        (by_light[:, ::-1], "mirrored", "is mirrored"),
        (by_cards[:, ::-1], "mirrored", "the photo is mirrored"),
        (table.with_sheets(sheets).photograph(255 - BLACK, shaken, 1), "blurred", "shaken"),
        (table.with_sheets(sheets[:1]).photograph(LIGHT, shaken, 1), "blurred", "shaken"),
        (cv2.GaussianBlur(by_cards, (0, 0), 9), "blurred", "no edge in it is sharp"),
        ((by_cards * 0.04).astype(np.uint8), "under-exposed", "too dark"),
    ]
    for photo, code, told in bad:
        with pytest.raises(Refusal) as refused:
            view_of(np.ascontiguousarray(photo), calibration, "cloth.jpg")
        assert (refused.value.code, told in str(refused.value)) == (code, True), str(refused.value)


def test_grain_follows_the_side_that_is_named() -> None:
    """The longest straight side by default; another by its number; an angle as given; a number too high is told."""
    bare_table = table_on("light table", 14)
    table = bare_table.with_sheets([remnant(colour=(120, 60, 70))])
    photo = table.photograph(LIGHT, webcam(14, table.beam_mm(4)), 1)
    view = view_of(photo, true_calibration(bare_table))
    # the left side, from (-310, 190) to (-330, -190), is the longest
    longest = math.degrees(math.atan2(380, 20))
    found = scan(photo, view)
    assert math.degrees(found.grain_rad) == pytest.approx(longest, abs=0.3)
    second = scan(photo, view, grain_side=2)
    d = found.sides[1][1] - found.sides[1][0]
    off = math.degrees(second.grain_rad) - math.degrees(math.atan2(d[1], d[0]))
    assert abs(math.remainder(off, 180)) < 1e-9
    assert math.degrees(scan(photo, view, grain_deg=200).grain_rad) == pytest.approx(20)
    with pytest.raises(InputError, match="straight side 40"):
        scan(photo, view, grain_side=40)
    drawn = picture(found)
    assert drawn.shape == found.flat.shape and (drawn != found.flat).any()


def test_straight_sides_of_a_rectangle_by_hand() -> None:
    """A rectangle of 400 by 150 with a bowed end: its straight sides are told, the bow is not."""
    bow = [(400 + 40 * math.sin(t), 150 * t / math.pi) for t in np.linspace(0, math.pi, 12)[1:-1]]
    ring = np.array([(0, 0), (400, 0), *bow, (400, 150), (0, 150)], dtype=float)
    lengths = [math.dist(s[0], s[1]) for s in straight_sides(ring)]
    assert lengths == pytest.approx([400, 400, 150], abs=1e-6)


def test_scan_light_leaves_a_corner_of_chequers_everywhere_and_white_between() -> None:
    """Each quarter has a marker of the pattern; the middle is white; a picture too small is refused."""
    light = scan_light(SIZE)
    image = light.image()
    assert (image[:, 600:1300] == 255).all() and (image[400:600] == 255).all()
    board = light.board()
    quarters = {
        tuple((q.mean(axis=0) > np.array(SIZE) / 2).tolist()) for q in board.markers.values()
    }
    assert len(quarters) == 4
    with pytest.raises(InputError, match="projector's picture"):
        scan_light((100, 80))
