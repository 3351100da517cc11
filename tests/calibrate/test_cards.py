"""The printed cards and the projected pattern: exact, readable by others, told apart by their ids."""

from __future__ import annotations

from itertools import combinations

import cv2
import numpy as np
import pypdfium2
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from calibrate.cards import (
    FIRST_PATTERN_ID,
    MARKER_IDS,
    SETS,
    card,
    card_images,
    card_set,
    cards_pdf,
    load_cards,
)
from calibrate.pattern import (
    COMMON_SIZES,
    Pattern,
    bare,
    load_pattern,
    parse_size,
    pattern_for,
    sizes_like,
)
from calibrate.saddles import measure
from configs.errors import InputError

PX_PER_MM = 12.0


def page(name: str, number: int = 0) -> np.ndarray:
    """A page as an outside library rasterises it, (h, w) float, 1 is ink."""
    document = pypdfium2.PdfDocument(cards_pdf(name))
    picture = document[number].render(scale=PX_PER_MM * 25.4 / 72, grayscale=True).to_numpy()
    return 1 - picture.reshape(picture.shape[:2]).astype(float) / 255


@pytest.fixture(scope="module")
def a4() -> np.ndarray:
    return page("a4")


def opencv_reader() -> cv2.aruco.ArucoDetector:
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100))


def test_printed_squares_are_exact(a4) -> None:
    """Widths and places of printed squares are right to 0.01 mm, rasterised by pypdfium2."""
    for each in card_set("a4").cards:
        x, y, _, _ = each.rect_mm
        rects = each.black_rects_mm()
        squares = rects[np.abs(rects[:, 2] - each.shape.square_mm) < 1e-9]
        for sx, sy, sw, sh in squares[::5]:
            pad = 2.0
            c0 = round((x + sx - pad) * PX_PER_MM)
            c1 = round((x + sx + sw + pad) * PX_PER_MM)
            r0, r1 = (round((y + sy + f * sh) * PX_PER_MM) for f in (0.3, 0.7))
            row = a4[r0:r1, c0:c1].mean(axis=0)
            width = row.sum() / PX_PER_MM
            middle = ((np.arange(c0, c1) + 0.5) * row).sum() / row.sum() / PX_PER_MM
            assert width == pytest.approx(sw, abs=0.01)
            assert middle == pytest.approx(x + sx + sw / 2, abs=0.01)


def test_printed_bars_have_their_length(a4) -> None:
    """The two rulers are 180 mm and 250 mm from end tick to end tick."""
    lines = (a4 > 0.5).astype(np.uint8) * 255
    for size, axis, length in (((900, 1), 1, 180.0), ((1, 1500), 0, 250.0)):
        run = cv2.morphologyEx(lines, cv2.MORPH_OPEN, np.ones(size[::-1], np.uint8))
        along = np.flatnonzero(run.any(axis=0 if axis == 1 else 1))
        assert (along[-1] - along[0] + 1) / PX_PER_MM == pytest.approx(length, abs=0.3)


def test_markers_are_opencvs_and_lie_where_they_should(a4) -> None:
    """OpenCV reads each card's two ids from the printed page, at the places that we say."""
    picture = np.round((1 - a4) * 255).astype(np.uint8)
    corners, ids, _ = opencv_reader().detectMarkers(picture)
    seen = {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}
    assert sorted(seen) == list(range(8))
    for each in card_set("a4").cards:
        x, y, w, h = each.rect_mm
        for marker, quad in each.board().markers.items():
            on_page = np.column_stack([x + w / 2 + quad[:, 0], y + h / 2 - quad[:, 1]])
            assert np.abs(seen[marker] - (on_page * PX_PER_MM - 0.5)).max() < 1.5


def test_a_card_cut_from_the_page_is_the_card_image(a4) -> None:
    """What rect_mm cuts out of the page equals `card_images`, apart from words in the margin."""
    images = card_images("a4", PX_PER_MM)
    for each in card_set("a4").cards:
        x, y, w, h = (round(v * PX_PER_MM) for v in each.rect_mm)
        cut = a4[y : y + h, x : x + w]
        edge = round(4 * PX_PER_MM)
        ours = 1 - images[each.id].astype(float) / 255
        assert np.abs(cut - ours)[edge:-edge, edge:-edge].max() < 0.1


@pytest.mark.parametrize("name", SETS)
def test_every_print_fits_its_paper(name: str) -> None:
    """Cards lie on the paper without overlap and leave printers their margin round all ink."""
    cards = card_set(name)
    for number in range(1, cards.pages + 1):
        rects = [c.rect_mm for c in cards.cards if c.page == number]
        for k, (x, y, w, h) in enumerate(rects):
            assert x >= 5 and x + w <= cards.page_mm[0] - 5
            assert y >= 5 and y + h <= cards.page_mm[1] - 5
            for a, b, c, d in rects[k + 1 :]:
                assert (
                    x + w <= a + 1e-9 or a + c <= x + 1e-9 or y + h <= b + 1e-9 or b + d <= y + 1e-9
                )
    assert len(pypdfium2.PdfDocument(cards_pdf(name))) == cards.pages + 1


def test_ids_tell_prints_and_pattern_apart() -> None:
    """No marker id belongs to two cards, and none of them is projected."""
    ids = [m for name in SETS for c in card_set(name).cards for m in c.marker_ids]
    assert len(set(ids)) == len(ids)
    assert max(ids) < FIRST_PATTERN_ID


def test_saddles_are_measured_at_pixel_centres() -> None:
    """On the ideal picture of a card each corner is found where its millimetres are, to 0.01 px."""
    scale = 3.3
    each = card(0)
    board = each.board()
    picture = card_images("a4", scale)[0]
    w, h = each.shape.width_mm, each.shape.height_mm
    true = np.column_stack([board.corners[:, 0] + w / 2, h / 2 - board.corners[:, 1]]) * scale - 0.5
    rough = true + np.random.default_rng(0).uniform(-0.7, 0.7, true.shape)
    steps = np.tile(np.diag([scale, -scale]), (len(true), 1, 1))
    soft = cv2.GaussianBlur(picture, (0, 0), 0.8)
    got = measure(soft, rough, steps, board.square, board.signs, board.clear)
    assert len(got) == len(true)
    assert np.abs(got.px - true).max() < 0.02
    assert np.abs((got.px - true).mean(axis=0)).max() < 0.003


def test_saddles_agree_with_opencvs_board() -> None:
    """On OpenCV's own ChArUco picture our corners are true; its detector's stray by under a pixel."""
    side = 60
    grid = cv2.aruco.CharucoBoard(
        (7, 5), 1.0, 0.6, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    )
    picture = grid.generateImage((7 * side, 5 * side), marginSize=0)
    picture = cv2.GaussianBlur(
        cv2.copyMakeBorder(picture, 30, 30, 30, 30, cv2.BORDER_CONSTANT, value=255), (0, 0), 0.8
    )
    x, y = np.meshgrid(np.arange(1, 7), np.arange(1, 5))
    true = np.column_stack([x.ravel(), y.ravel()]) * side + 30 - 0.5
    black = [picture[int(b + 8), int(a + 8)] < 128 for a, b in true]
    signs = np.where(black, 1.0, -1.0)
    steps = np.tile(np.eye(2), (len(true), 1, 1))
    got = measure(picture, true + 0.6, steps, side, signs, np.full(len(true), 0.2))
    assert len(got) == len(true)
    assert np.abs(got.px - true).max() < 0.02
    theirs, ids, *_ = cv2.aruco.CharucoDetector(grid).detectBoard(picture)
    gap = theirs.reshape(-1, 2) - got.px[ids.ravel()]
    assert len(ids) >= 20
    assert np.abs(gap).max() < 0.75


def test_pattern_corners_are_where_four_squares_meet() -> None:
    """Every corner of the pattern, and no other pixel corner, has the four-square picture round it."""
    pattern = pattern_for((1920, 1080), 1200)
    picture, board = pattern.image(), pattern.board()
    c = np.round(board.corners + 0.5).astype(int)
    near = [
        picture[c[:, 1] + dy, c[:, 0] + dx].astype(int)
        for dx, dy in ((3, 3), (-4, 3), (-4, -4), (3, -4))
    ]
    assert (near[0] == near[2]).all() and (near[1] == near[3]).all()
    assert (near[0] != near[1]).all()
    assert ((near[0] == 0) == (board.signs > 0)).all()
    assert len(c) > 500


def test_projected_markers_are_read_by_opencv() -> None:
    """OpenCV reads all markers of the pattern at the pixels that the board gives."""
    pattern = pattern_for((1280, 800), 1000)
    corners, ids, _ = opencv_reader().detectMarkers(pattern.image())
    board = pattern.board()
    seen = {int(i): q.reshape(4, 2) for i, q in zip(ids.ravel(), corners, strict=True)}
    assert set(seen) == set(board.markers)
    assert len(seen) >= 8
    assert max(np.abs(seen[i] - board.markers[i]).max() for i in seen) < 1.5


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    w=st.integers(480, 4096),
    aspect=st.sampled_from([4 / 3, 16 / 10, 16 / 9, 17 / 9]),
    beam=st.floats(600, 2500),
    large=st.booleans(),
)
def test_windows_are_bright_and_inside(w: int, aspect: float, beam: float, large: bool) -> None:
    """For any projector four windows lie apart inside the picture, all white, with pattern outside."""
    size = (w, round(w / aspect))
    pattern = pattern_for(size, beam, large)
    picture = pattern.image()
    assert picture.shape == (size[1], size[0])
    assert len(pattern.windows) == 4
    covered = np.zeros(picture.shape, int)
    for x, y, a, b in pattern.windows:
        assert x > 0 and y > 0 and x + a < size[0] and y + b < size[1]
        assert (picture[y : y + b, x : x + a] == 255).all()
        covered[y : y + b, x : x + a] += 1
    assert covered.max() == 1
    assert len(pattern.board().corners) > 60
    shown = set(map(tuple, np.round(pattern.board().corners, 3)))
    assert len(pattern.board().markers) >= 2
    assert len(shown - set(map(tuple, np.round(Pattern(size).board().corners, 3)))) < 0.4 * len(
        shown
    )


def test_a_pattern_of_another_size_is_recognised() -> None:
    """From the markers' places alone the size of the pattern is named."""
    for size in COMMON_SIZES[::6]:
        quads = {i: q * 1.3 + 40 for i, q in bare(size).board().markers.items()}
        assert sizes_like(quads)[0] == size


def test_marker_order_differs_between_sizes() -> None:
    """Two sizes put their markers in different orders, from the ids that are not on cards."""
    a, b = bare((1920, 1080)).marker_cells(), bare((1280, 720)).marker_cells()
    assert set(a) | set(b) <= set(range(FIRST_PATTERN_ID, MARKER_IDS))
    assert sum(a[i] == b.get(i) for i in a) < 5


@pytest.mark.parametrize(
    "text", ["1920", "1920x", "x", "0x0", "-1x5", "1e3x900", "99999x1", "१९२०x1080"]
)
def test_bad_sizes_are_refused(text: str) -> None:
    """What is no picture size is refused with the way to write one."""
    with pytest.raises(InputError, match="1920x1080"):
        parse_size(text)


def test_files_beside_are_read_back(tmp_path) -> None:
    """cards.yaml and pattern.yaml are read back to what was written; strange ones are refused."""
    path = tmp_path / "cards.yaml"
    path.write_text(yaml.safe_dump(card_set("letter").to_dict()))
    assert load_cards(path) == card_set("letter")
    mixed = card_set("letter").to_dict()
    mixed["cards"][0]["id"] = 0
    path.write_text(yaml.safe_dump(mixed))
    with pytest.raises(InputError, match="mixes"):
        load_cards(path)
    pattern = pattern_for((1280, 800))
    path.write_text(yaml.safe_dump(pattern.to_dict()))
    assert load_pattern(path) == pattern
    path.write_text(yaml.safe_dump({**pattern.to_dict(), "windows": [[1, 2, 3]]}))
    with pytest.raises(InputError, match="windows"):
        load_pattern(path)


@pytest.mark.parametrize("name", SETS)
def test_words_lie_on_the_paper_and_touch_neither_ink_nor_each_other(name: str) -> None:
    """On every page, read by pypdfium2: no text leaves the paper or meets another; the words at
    the bars stay clear of the cards, and the last page shows the command to type."""
    made = card_set(name)
    pdf, mm = pypdfium2.PdfDocument(cards_pdf(name)), 25.4 / 72
    for number, page in enumerate(pdf, 1):
        boxes = []
        for thing in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_TEXT], max_depth=8):
            left, bottom, right, top = (v * mm for v in thing.get_bounds())
            boxes.append((left, made.page_mm[1] - top, right, made.page_mm[1] - bottom))
        for a in boxes:
            assert a[0] > 4 and a[1] > 4, (number, a)
            assert a[2] < made.page_mm[0] - 4 and a[3] < made.page_mm[1] - 4, (number, a)
        for a, b in combinations(boxes, 2):
            apart = max(max(a[0], b[0]) - min(a[2], b[2]), max(a[1], b[1]) - min(a[3], b[3]))
            assert apart > -0.05, (number, a, b)
        for each in (c for c in made.cards if c.page == number):
            x, y, _, _ = each.rect_mm
            for rx, ry, rw, rh in each.black_rects_mm() + np.array([x, y, 0, 0]):
                for a in boxes:
                    assert a[2] < rx or a[0] > rx + rw or a[3] < ry or a[1] > ry + rh, each.id
    words = pdf[len(pdf) - 1].get_textpage().get_text_range()
    assert "--bars BAR1,BAR2" in words
    assert "Bar 1" in words and "Bar 2" in words
