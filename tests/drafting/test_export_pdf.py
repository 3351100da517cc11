"""The printed pattern, rasterised by pypdfium2 and measured: what comes out of the printer.

Sizes are measured as grey-weighted centres of lines, at 300 dots an inch (0.085 mm); the page's
own size in points gives the scale.
"""

from __future__ import annotations

import ctypes
import itertools
import math
from functools import cache
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import shapely
from exchange_pieces import ALLOWANCES, front, garment, sleeve
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from configs.errors import InputError
from configs.paper import PAPERS
from drafting.docket import Docket
from drafting.export import pdf
from drafting.export.marks import mark_words
from drafting.export.packing import Grid, pack
from drafting.export.pdf import Printed, pieces_pdf
from drafting.lettering import font_folders
from drafting.piece import Piece

CONFIGS = Path(__file__).parents[2] / "configs"
DOTS = 300.0
Page = tuple[NDArray[np.float64], float, float]  # darkness 0…1 (H, W), px per mm in x, in y


@cache
def printed(paper: str) -> Printed:
    """The rehearsal top on some paper."""
    roll = 900.0 if paper == "roll" else None
    return pieces_pdf(garment(), ALLOWANCES, paper=paper, roll_width_mm=roll, title="rehearsal top")


def raster(data: bytes, number: int, dots: float = DOTS) -> Page:
    """Darkness of one page (from 1) and its px per mm, by pypdfium2."""
    page = pypdfium2.PdfDocument(data)[number - 1]
    width, height = page.get_size()
    grey = page.render(scale=dots / 72.0, grayscale=True).to_numpy()
    grey = grey.reshape(grey.shape[:2])
    dark = 1.0 - grey.astype(np.float64) / 255.0
    return dark, dark.shape[1] / (width / 72.0 * 25.4), dark.shape[0] / (height / 72.0 * 25.4)


def line_offsets(page: Page, points: NDArray, normals: NDArray, reach: float = 0.6) -> NDArray:
    """(N,) mm from each point (N, 2) on the page to the dark line near it, along its normal.

    NaN where there is no line within ``reach`` mm.
    """
    dark, kx, ky = page
    steps = np.linspace(-reach, reach, 61)
    at = points[:, None, :] + steps[None, :, None] * normals[:, None, :]
    # a pixel's centre lies half a pixel from its edge
    values = map_coordinates(dark, [at[..., 1] * ky - 0.5, at[..., 0] * kx - 0.5], order=1)
    weight = values.sum(axis=1)
    centre = np.divide(values @ steps, weight, out=np.full(len(points), np.nan), where=weight > 3)
    return np.asarray(centre)


def test_test_squares_measure_true_on_the_first_page() -> None:
    """The 100 mm and the 4 in square are right within 0.05 mm, across and up."""
    for paper in ("a4", "letter"):
        _dark, _kx, _ky = page = raster(printed(paper).data, 1)
        for side, top in ((100.0, 10.0), (101.6, 10.0 + 100.0 + 8.0)):
            across, up = np.array([[1.0, 0.0]]), np.array([[0.0, 1.0]])
            y, x = top + side * 0.85, 10.0 + side * 0.85  # away from the words in the square
            corners = [
                line_offsets(page, np.array([[10.0, y]]), across),
                line_offsets(page, np.array([[10.0 + side, y]]), across),
                line_offsets(page, np.array([[x, top]]), up),
                line_offsets(page, np.array([[x, top + side]]), up),
            ]
            assert np.all(np.abs(np.concatenate(corners)) < 0.05), (paper, side, corners)


def squares_of(data: bytes) -> dict[float, tuple[float, ...]]:
    """Side in mm → (left, top, right, bottom) mm of each square drawn on page 1, by pypdfium2,
    whose boxes reach a line's width past the middle of the line."""
    page = pypdfium2.PdfDocument(data)[0]
    height = page.get_height()
    found = {}
    for item in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH]):
        left, low, right, high = item.get_bounds()
        pen = ctypes.c_float()
        pypdfium2.raw.FPDFPageObj_GetStrokeWidth(item, pen)
        w = pen.value
        sides = (left + w, height - high + w, right - w, height - low - w)
        box = tuple(v / 72 * 25.4 for v in sides)
        wide, tall = box[2] - box[0], box[3] - box[1]
        if abs(wide - tall) < 0.05 and 99.0 < wide < 103.0:
            found[round(wide, 2)] = box
    return found


@pytest.mark.parametrize("upright", [True, False])
@pytest.mark.parametrize("paper", [*PAPERS, "roll"])
def test_both_squares_lie_whole_on_every_paper(
    paper: str, upright: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On each paper, upright and across, page 1 has both squares whole, 10 mm from its rim and
    apart from each other, and true within 0.05 mm; the words on it keep off their lines."""
    w, h = sorted(PAPERS.get(paper, (900.0, 1000.0)))
    shape = (w, h) if upright else (h, w)
    if paper != "roll":
        monkeypatch.setattr(pdf, "_shapes", lambda *_: (shape,))
    roll = (w if upright else h) if paper == "roll" else None
    made = pieces_pdf(garment(), None, paper=paper, roll_width_mm=roll, title="rehearsal top")
    page = made.page_mm
    assert paper == "roll" or page == shape
    found = squares_of(made.data)
    assert sorted(found) == pytest.approx([100.0, 101.6], abs=0.05)
    for left, top, right, bottom in found.values():
        assert min(left, top, page[0] - right, page[1] - bottom) > 9.8
    squares = [shapely.box(*box) for box in found.values()]
    assert squares[0].distance(squares[1]) > 5.0
    text = pypdfium2.PdfDocument(made.data)[0].get_textpage()
    said = text.get_text_range()
    assert all(word in said for word in ("rehearsal top", "front", "sleeve", "cuff", "never"))
    if w > 700.0:  # the pieces are on this page too
        return
    for left, low, right, high in (text.get_rect(i) for i in range(text.count_rects())):
        across = [v / 72 * 25.4 for v in (left, right)]
        down = [page[1] - v / 72 * 25.4 for v in (high, low)]
        words = shapely.box(across[0], down[0], across[1], down[1])
        assert shapely.box(9, 9, page[0] - 9, page[1] - 9).contains(words)
        assert all(words.disjoint(s.exterior) for s in squares)


def test_the_shipped_skirt_has_its_squares() -> None:
    """The docket that is shipped prints across on A4 and Letter, with both squares whole."""
    read = Docket.load(next(CONFIGS.glob("*s/pier-skirt.yaml")))
    own = {n: read.allowances_for(n) for n in read.pieces()}
    for paper in ("a4", "letter"):
        made = pieces_pdf(read.pieces(), own, paper=paper, title=read.title)
        for box in squares_of(made.data).values():
            assert box[2] < made.page_mm[0] - 9.8 and box[3] < made.page_mm[1] - 9.8
        assert len(squares_of(made.data)) == 2


def on_sheets(made: Printed, line: NDArray) -> dict[tuple[int, int], NDArray]:
    """Sheet → indices of the points (N, 2) of the joined paper that it shows, 1 mm from its rim."""
    g = made.grid
    shown = {}
    for r, c in made.sheets:
        local = line - (c * g.step_x, r * g.step_y)
        good = np.all((local > 0.9) & (local < np.array([g.width, g.height]) - 0.9), axis=1)
        shown[r, c] = np.flatnonzero(good)
    return shown


def walk(ring: NDArray, step: float) -> tuple[NDArray, NDArray]:
    """Points every ``step`` mm along an open line and their unit normals, away from vertices."""
    points, normals = [], []
    for a, b in itertools.pairwise(ring):
        length = float(np.linalg.norm(b - a))
        if length < 4.0:
            continue
        t = (b - a) / length
        for s in np.arange(2.0, length - 2.0, step):
            points.append(a + s * t)
            normals.append((-t[1], t[0]))
    return np.array(points), np.array(normals)


def joined(made: Printed, name: str, line: NDArray) -> NDArray:
    """A line of a piece (piece mm, y up) on the joined paper, by the placement that is told."""
    spot = made.spots[name]
    piece = garment()[name]
    ring = piece.cutting_line(ALLOWANCES)
    marks = list(piece.notch_lines(ALLOWANCES))
    (left, _), (right, high) = (
        np.vstack([ring, *marks]).min(axis=0),
        np.vstack([ring, *marks]).max(axis=0),
    )
    x, y = line.T
    corner = np.array([spot.x + 1.0, spot.y + 1.0])  # the box is 1 mm larger than its lines
    if spot.turned:
        return np.column_stack([high - y, right - x]) + corner
    return np.column_stack([x - left, high - y]) + corner


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_lines_lie_true_across_every_sheet(paper: str) -> None:
    """Every straight run of every cutting line lies within 0.1 mm of its place, on every sheet.

    Looked at every 3 mm: a joint's diamond on the line would shift what is seen there.
    """
    made = printed(paper)
    worst, seen = 0.0, 0
    wanted = {}
    for name, piece in garment().items():
        ring = piece.cutting_line(ALLOWANCES)
        if piece.fold is not None:  # start at the fold; the fold itself is not drawn as a cut
            start = int(
                np.flatnonzero(np.abs(ring[:, 0]) < 1e-9)[
                    np.argmin(ring[np.abs(ring[:, 0]) < 1e-9, 1])
                ]
            )
            ring = np.roll(ring, -start, axis=0)
            ring = ring[: 1 + max(i for i, p in enumerate(ring) if abs(p[0]) < 1e-9)]
            ring = ring[np.r_[True, np.abs(ring[1:-1, 0]) > 1e-9, True]]
        else:
            ring = np.vstack([ring, ring[:1]])
        wanted[name] = walk(joined(made, name, ring), 3.0)
    for i, (r, c) in enumerate(made.sheets):
        page = raster(made.data, made.first_sheet + i)
        for points, normals in wanted.values():
            shown = on_sheets(made, points)[r, c]
            local = points[shown] - (c * made.grid.step_x, r * made.grid.step_y) + made.margin_mm
            offsets = line_offsets(page, local, normals[shown])
            assert not np.isnan(offsets).any(), (paper, r, c)
            assert np.all(np.abs(offsets) < 0.1), (paper, r, c, offsets[np.abs(offsets) >= 0.1])
            worst = max(worst, float(np.median(np.abs(offsets))) if len(offsets) else 0.0)
            seen += len(offsets)
    assert seen > 700
    assert worst < 0.02


def test_neighbouring_sheets_join() -> None:
    """What two sheets both show in their overlap is the same picture: joined, the lines run on."""
    made = printed("a4")
    g, m = made.grid, made.margin_mm
    pages = {s: raster(made.data, made.first_sheet + i, 150) for i, s in enumerate(made.sheets)}
    pairs = 0
    for (r, c), (dark, kx, ky) in pages.items():
        for dr, dc in ((0, 1), (1, 0)):
            other = pages.get((r + dr, c + dc))
            if other is None:
                continue
            # a grid of points in the overlap, in the frame of the joined paper
            x0, y0 = (c + dc) * g.step_x, (r + dr) * g.step_y
            xs = np.arange(x0 + 1.0, x0 + (g.overlap if dc else g.width) - 1.0, 0.2)
            ys = np.arange(y0 + 1.0, y0 + (g.overlap if dr else g.height) - 1.0, 0.2)
            x, y = np.meshgrid(xs, ys)

            def seen(page: Page, row: int, column: int, x: NDArray = x, y: NDArray = y) -> NDArray:
                dark, kx, ky = page
                u = (x - column * g.step_x + m) * kx - 0.5
                v = (y - row * g.step_y + m) * ky - 0.5
                return np.asarray(map_coordinates(dark, [v, u], order=1))

            a, b = seen((dark, kx, ky), r, c), seen(other, r + dr, c + dc)
            lines = (a > 0.6) | (b > 0.6)  # black lines; sheet names and joint lines are grey
            if lines.sum() < 20:
                continue
            both = float(np.mean((a > 0.25)[lines] & (b > 0.25)[lines]))
            assert both > 0.85, ((r, c), (r + dr, c + dc), both)
            pairs += 1
    assert pairs >= 4


def test_only_sheets_with_pieces_are_printed() -> None:
    """No sheet is printed blank, and every point of every piece is on some sheet."""
    made = printed("a4")
    for i in range(len(made.sheets)):
        dark, _, _ = raster(made.data, made.first_sheet + i, 60)
        assert (dark > 0.5).sum() > 30, made.sheets[i]
    for name, piece in garment().items():
        points, _ = walk(joined(made, name, piece.cutting_line(ALLOWANCES)), 5.0)
        shown = np.zeros(len(points), dtype=bool)
        for index in on_sheets(made, points).values():
            shown[index] = True
        assert shown.all(), name


def test_large_paper_spends_no_cover_page() -> None:
    """On A0 and on a roll the squares stand on the first sheet, beside the pieces."""
    for paper in ("a0", "roll"):
        made = printed(paper)
        assert made.pages == 1
        assert made.first_sheet == 1
        page = raster(made.data, 1, 150)
        x, y = 10.0, 10.0 + 85.0
        left = line_offsets(page, np.array([[x, y]]), np.array([[1.0, 0.0]]))
        right = line_offsets(page, np.array([[x + 100.0, y]]), np.array([[1.0, 0.0]]))
        assert abs(float(right[0] - left[0])) < 0.1


def test_pages_are_of_the_paper() -> None:
    """Every page has the size of its paper (ISO 216; Letter 8.5 × 11 in), upright or on its side."""
    for paper, size in PAPERS.items():
        data = pieces_pdf({"cuff": garment()["cuff"]}, None, paper=paper).data
        for page in pypdfium2.PdfDocument(data):
            assert sorted(np.array(page.get_size()) / 72 * 25.4) == pytest.approx(
                sorted(size), abs=0.01
            )


def test_viewers_are_told_not_to_scale() -> None:
    """The file asks the viewer to print without scaling, and the first page says so in words."""
    data = printed("a4").data
    assert b"/PrintScaling /None" in data
    words = pypdfium2.PdfDocument(data)[0].get_textpage().get_text_bounded()
    assert "100 %" in words and 'never "fit to page"' in words


def test_map_names_every_sheet() -> None:
    """The map page names every sheet by row letter and column number, as the sheets themselves do."""
    made = printed("a4")
    pages = pypdfium2.PdfDocument(made.data)
    words = pages[1].get_textpage().get_text_bounded()
    for i, (r, c) in enumerate(made.sheets):
        name = f"{chr(ord('A') + r)}{c + 1}"
        assert name in words
        own = pages[made.first_sheet - 1 + i].get_textpage().get_text_bounded()
        assert f"{name} · sheet {i + 1} of {len(made.sheets)}" in " ".join(own.split())


@pytest.mark.skipif(
    not any(f.rglob("DejaVuSans.ttf") for f in font_folders()), reason="no such font here"
)
def test_titles_in_any_script_that_a_font_here_has() -> None:
    """Greek, Cyrillic and Central European titles come out as themselves, from embedded fonts."""
    title = "Χορωδία · Портовый хор · Žluťoučký"
    made = pieces_pdf(garment(), ALLOWANCES, paper="a4", title=title)
    assert made.missing == ""
    words = pypdfium2.PdfDocument(made.data)[0].get_textpage().get_text_bounded()
    assert title in " ".join(words.split())
    assert b"/FontFile2" in made.data


def test_letters_that_no_font_has_are_told() -> None:
    """A letter without a font is told and stands as a box; the rest is printed."""
    made = pieces_pdf(garment(), ALLOWANCES, paper="a4", title="top \U000f1234\n!")
    assert made.missing == ""  # private use counts as no letter at all
    made = pieces_pdf(garment(), ALLOWANCES, paper="a4", title="top \U00012000!")
    words = pypdfium2.PdfDocument(made.data)[0].get_textpage().get_text_bounded()
    assert made.missing in ("", "\U00012000")
    if made.missing:
        assert "top □!" in words or "top ?!" in words


def test_without_any_font_plain_titles_still_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a machine with no TrueType font Latin-1 prints by a built-in font; others are told."""
    monkeypatch.setattr("drafting.lettering.font_folders", list)
    made = pieces_pdf(garment(), ALLOWANCES, paper="a4", title="Größe 40")
    assert made.missing == ""
    words = pypdfium2.PdfDocument(made.data)[0].get_textpage().get_text_bounded()
    assert "Größe 40" in words and "100 %" in words
    made = pieces_pdf(garment(), ALLOWANCES, paper="a4", title="хор")
    assert made.missing == "орх"


def test_a_piece_longer_than_a_sheet_and_wider_than_the_roll_is_tiled() -> None:
    """A 1.5 m cloak on Letter and a piece wider than the roll both come out, whole."""
    cloak = Piece.from_outline("cloak", [(0, 0), (900, 0), (700, 1500), (0, 1500)])
    made = pieces_pdf({"cloak": cloak}, {"all": 15.0}, paper="letter")
    assert len(made.sheets) > 20
    made = pieces_pdf({"cloak": cloak}, {"all": 15.0}, paper="roll", roll_width_mm=600.0)
    assert len(made.sheets) == 2


def test_faults_are_told() -> None:
    """No pieces, no such paper, a roll without width, too many sheets: each in words."""
    with pytest.raises(InputError, match="no pieces"):
        pieces_pdf({}, None)
    with pytest.raises(InputError, match="not a paper"):
        pieces_pdf(garment(), None, paper="a99")
    with pytest.raises(InputError, match="needs its width"):
        pieces_pdf(garment(), None, paper="roll")
    huge = Piece.from_outline("sail", [(0, 0), (8000, 0), (8000, 8000), (0, 8000)])
    with pytest.raises(InputError, match="at most"):
        pieces_pdf({"sail": huge}, None, paper="a4")


@pytest.mark.parametrize("seed", range(12))
def test_packing_keeps_pieces_apart_and_inside(seed: int) -> None:
    """Whatever the sizes, boxes lie at least the gap apart and inside the paper's width."""
    rng = np.random.default_rng(seed)
    sizes = [tuple(rng.uniform(20, 700, 2)) for _ in range(int(rng.integers(1, 12)))]
    grid = Grid(190.0, 277.0, 10.0)
    spots = pack(sizes, grid, 8.0)
    boxes = []
    for spot, (w, h) in zip(spots, sizes, strict=True):
        w, h = (h, w) if spot.turned else (w, h)
        boxes.append((spot.x, spot.y, spot.x + w, spot.y + h))
        assert spot.x >= 0 and spot.y >= 0
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            apart = max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3])
            assert apart >= 8.0 - 1e-5


def test_small_pieces_are_not_cut_by_a_joint() -> None:
    """Pieces that fit on a sheet lie on one sheet."""
    grid = Grid(190.0, 277.0, 10.0)
    sizes = [(150.0, 120.0)] * 5
    for spot in pack(sizes, grid, 8.0):
        w, h = (120.0, 150.0) if spot.turned else (150.0, 120.0)
        assert len(grid.sheets(spot.x, spot.y, spot.x + w, spot.y + h)) == 1


def test_turned_pieces_are_not_mirrored() -> None:
    """A piece laid on its side on the paper keeps its hand: a sleeve's front stays its front."""
    made = pieces_pdf({"sleeve": sleeve(), "front": front()}, None, paper="a0")
    turned = {n: s.turned for n, s in made.spots.items()}
    assert any(turned.values())
    from drafting.export.marks import label_of, shown
    from drafting.export.tiles import laid_on

    for name, one in shown({"sleeve": sleeve(), "front": front()}, None).items():
        laid = laid_on(one, one.box, made.spots[name], label_of(one.piece, None))
        ring = next(s.points for s in laid.drawn if s.kind == "cutting")
        x, y = ring.T
        area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
        assert area < 0  # counter-clockwise with y up is clockwise with y down


def test_right_to_left_scripts_are_drawn_as_they_are_read() -> None:
    """Hebrew is turned round with its brackets mirrored and its digits kept; Arabic is joined.

    Expected forms from the Unicode charts (Hebrew; Arabic Presentation Forms-B), by hand.
    """
    from drafting.lettering import drawn_order

    assert drawn_order("front 2") == "front 2"
    assert drawn_order("אב (12)") == "(12) בא"
    # kaf-alef-teh: initial kaf, final alef (which joins no further), isolated teh
    assert drawn_order("كات") == "\ufe95\ufe8e\ufedb"
    assert drawn_order("لا") == "\ufefb"  # lam with alef is one sign
    assert drawn_order("ببب") == "\ufe90\ufe92\ufe91"


def texts_of(page: pypdfium2.PdfPage) -> list[tuple[str, float]]:
    """Each text of a page and by how many degrees it is turned, counter-clockwise."""
    raw, reader = pypdfium2.raw, page.get_textpage()
    out = []
    for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT], max_depth=8):
        left, bottom, right, top = thing.get_bounds()
        m = thing.get_matrix()
        text = reader.get_text_bounded(left - 0.1, bottom - 0.1, right + 0.1, top + 0.1)
        out.append((text, math.degrees(math.atan2(m.b, m.a))))
    return out


@pytest.mark.parametrize("paper", ["a0", "a4"])
def test_strips_take_their_label_along_on_paper_too(paper: str) -> None:
    """The name of a bias strip runs along the strip as it lies on the paper; never upside down."""
    docket = Docket.load(CONFIGS / "styles" / "solo-dress.yaml")
    pieces = {n: p for n, p in docket.pieces().items() if n == "neck binding"}
    made = pieces_pdf(pieces, None, paper=paper)
    strip = pieces["neck binding"].sewing_line
    sides = np.diff(np.vstack([strip, strip[:1]]), axis=0)
    along = sides[int(np.argmax(np.hypot(*sides.T)))]
    want = math.degrees(math.atan2(along[1], along[0])) + (
        90.0 if made.spots["neck binding"].turned else 0.0
    )
    pdf = pypdfium2.PdfDocument(made.data)
    pages = range(made.first_sheet - 1, made.pages)
    named = [
        turn
        for i in pages
        for text, turn in texts_of(pdf[i])
        if "binding" in text and "cut 1" not in text
    ]
    turned = [t for t in named if abs(t) > 1.0]
    assert turned, "no name is turned"
    for turn in turned:
        assert abs((turn - want + 90.0) % 180.0 - 90.0) < 0.5
        assert -90.1 < turn < 90.1


def test_slit_says_its_length_on_paper_too() -> None:
    """The words beside the slit's bar stand on the sheet as they do in the SVG."""
    docket = Docket.load(CONFIGS / "dockets" / "rehearsal-top.yaml")
    pieces = docket.pieces()
    (words,) = mark_words(pieces["back"])
    made = pieces_pdf({"back": pieces["back"]}, docket.allowances_for("back"), paper="a0")
    page = pypdfium2.PdfDocument(made.data)[0]
    text = page.get_textpage().get_text_range()
    assert text.count(words.text) == 2, "beside the bar and in the label"


def test_diamonds_and_sheet_names_keep_off_the_pattern() -> None:
    """Where a joint leaves room, its registration marks cross no line of a piece."""
    made = printed("letter")
    lines = [
        shapely.LineString(joined(made, name, np.vstack([ring, ring[:1]])))
        for name, piece in garment().items()
        for ring in [piece.cutting_line(ALLOWANCES)]
    ]
    pattern = shapely.union_all(lines)
    pdf, k = pypdfium2.PdfDocument(made.data), 25.4 / 72.0
    seen = 0
    for i, (r, c) in enumerate(made.sheets):
        page = pdf[made.first_sheet + i - 1]
        for thing in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH], max_depth=8):
            left, bottom, right, top = (v * k for v in thing.get_bounds())
            if not (7.5 < right - left < 8.9 and 7.5 < top - bottom < 8.9):
                continue  # a diamond is 8 mm wide and high
            x, y = (left + right) / 2 - made.margin_mm, page.get_height() * k - (top + bottom) / 2
            at = (x + c * made.grid.step_x, y - made.margin_mm + r * made.grid.step_y)
            assert pattern.distance(shapely.Point(at)) > 4.0, (r, c, at)
            seen += 1
    assert seen > 40
