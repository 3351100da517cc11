"""The construction in pictures: true numbers, nothing lost, legible, one panel after the other."""

from __future__ import annotations

import ctypes
import math
import re
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import numpy as np
import pypdfium2
import pytest

from configs.errors import InputError
from drafting import Draft, Measurements, draft
from drafting.figures.drawing import clipped, svg_width, text_lines
from drafting.lettering import font_folders
from drafting.sheet import Sheet
from drafting.steps import panels, steps_pdf, steps_svg
from drafting.steps.board import PANEL_MM, Panel
from drafting.steps.lines import curvature

SVG = "{http://www.w3.org/2000/svg}"
# Common practice, no source: length 24 in, hip 42 in, neck depth 3 in, balance 7/8 in, ease 1,
# 3/4 and 1 in on the quarter. The other girths are ours.
BODY = {
    "bust_girth": 36, "waist_girth": 30, "hip_girth_at_tailbone": 42, "neck_width": 5,
    "shoulder_length": "4 3/4", "back_neck_to_tailbone": 24,
}  # fmt: skip


def drafted(unit: str = "in", style: dict[str, object] | None = None, **changes: object) -> Draft:
    """The quick top for the body above."""
    scale = {"in": 1.0, "cm": 2.54, "mm": 25.4}[unit]
    body = {**BODY, **changes}
    if unit != "in":
        body = {k: (4.75 if v == "4 3/4" else float(str(v))) * scale for k, v in body.items()}
    m = Measurements.from_dict({"unit": unit, "wearer": "alto-3", "measurements": body})
    return draft("quick-top", m, style or {})


@pytest.fixture(scope="module")
def top() -> Draft:
    """One draft for the tests that only look."""
    return drafted()


def words(panel: Panel) -> str:
    """All text of a panel."""
    return " | ".join(panel.drawing.texts())


def of_step(drawn: list[Panel], key: str) -> str:
    """All text of the panel of one step."""
    return next(words(p) for p in drawn if p.key == key)


def test_handbook_numbers_stand_in_the_pictures(top: Draft) -> None:
    """The numbers of the quick top as common practice gives them, each in its step's panel.

    Length 24 in: lines 8 and 16 down; hip 42 in: 10 1/2; depth 3; balance 7/8; ease 1, 3/4, 1.
    """
    drawn = panels(top)
    assert "tailbone 24 in ÷ 3 = 8 in" in of_step(drawn, "thirds").replace(" | ", " ")
    assert "waist level | 0 | 16" in of_step(drawn, "thirds")
    assert "hem | 10 1/2 | 24" in of_step(drawn, "girths")
    assert "| 3 in |" in f"| {of_step(drawn, 'neck-depth')} |"
    assert of_step(drawn, "balance").split(" | ").count("7/8 in") == 2
    eased = of_step(drawn, "ease").split(" | ")
    assert (eased.count("1 in"), eased.count("3/4 in")) == (2, 1)
    assert "neck point | 2 1/2 | 7/8 up" in of_step(drawn, "balance")


@pytest.mark.parametrize("unit", ["in", "cm", "mm"])
def test_a_sheet_is_in_her_own_unit(unit: str) -> None:
    """One system on one sheet: each column is in her unit, and no other stands there."""
    panel = panels(drafted(unit))[1]
    units = [t for t in panel.drawing.texts() if t in ("in", "cm", "mm")]
    assert units == [unit] * 2
    bust_level = {"in": "8 in", "cm": "20.3 cm", "mm": "203.2 mm"}[unit]
    assert words(panel).count(bust_level) >= 2, "in the sentence and in the picture"


@pytest.mark.parametrize(
    "style",
    [
        {},
        {"neckline": "v", "length": "dress", "hem": "shirt-tail", "sleeve": "elbow"},
        {"neckline": "square", "sleeve": "cap", "waist": "shaped"},
        {"neckline": "boat", "length": "crop", "flare": "20 cm"},
    ],
)
def test_every_new_thing_is_drawn(style: dict[str, object]) -> None:
    """No point, line or curve that the block recorded is left out, and each is named once."""
    made = drafted(style=style)
    drawn = panels(made)
    told = " | ".join(words(p) for p in drawn)
    for step in made.steps:
        for name in (*step.lines, *step.curves):
            assert name in told, name
        for name in step.points:
            assert name in told
    # every curve that is sewn is drawn strongly once, with all of its points
    strong = {
        len(s.points) for p in drawn for s in p.drawing.strokes if s.pen in ("new-seam", "new-fold")
    }
    assert {len(c) for s in made.steps for c in s.curves.values()} <= strong


def test_pictures_are_to_scale(top: Draft) -> None:
    """The seam lines in the pictures have their true length at the scale that is told.

    Lengths from the block's own edges; scale read from the PDF's first page.
    """
    scale = int(re.search(r"1 : (\d+)", pdf_text(steps_pdf(top))[0]).group(1))  # type: ignore[union-attr]
    side = next(p for p in panels(top) if p.key == "side")
    drawn = [s.points for s in side.drawing.strokes if s.pen == "new-seam"]
    length = sum(float(np.hypot(*np.diff(p, axis=0).T).sum()) for p in drawn)
    assert length * scale == pytest.approx(top.pieces["front"].edges["side"].length_mm, rel=1e-6)


def test_cumulative(top: Draft) -> None:
    """What was new in one picture is light in the next, and still there."""
    drawn = panels(top)
    new = next(p for p in drawn if p.key == "armhole").drawing.strokes
    armhole = next(s.points for s in new if s.pen == "new-seam")
    after = next(p for p in drawn if p.key == "side").drawing.strokes
    light = [s for s in after if len(s.points) == len(armhole) and np.allclose(s.points, armhole)]
    assert [s.pen for s in light] == ["old-seam"]


def pdf_text(data: bytes) -> list[str]:
    """The text of each page, on one line."""
    pdf = pypdfium2.PdfDocument(data)
    texts = [page.get_textpage().get_text_bounded() for page in pdf]
    return [re.sub(r"\s+", " ", t) for t in texts]


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_pdf_pages(top: Draft, paper: str, size: tuple[float, float]) -> None:
    """Two steps a page, true paper size, every title in order, vector and not pixels."""
    data = steps_pdf(top, title="rehearsal top", paper=paper)
    drawn = panels(top)
    pdf = pypdfium2.PdfDocument(data)
    assert len(pdf) == math.ceil(len(drawn) / 2)
    assert [v / 72 * 25.4 for v in pdf[0].get_size()] == pytest.approx(size, abs=0.1)
    texts = pdf_text(data)
    assert "rehearsal top for alto-3" in texts[0]
    for i, panel in enumerate(drawn):
        assert panel.title in texts[i // 2], panel.title
    kinds = {o.type for page in pdf for o in page.get_objects()}
    assert pypdfium2.raw.FPDF_PAGEOBJ_IMAGE not in kinds
    assert pypdfium2.raw.FPDF_PAGEOBJ_PATH in kinds


Box = tuple[float, float, float, float]  # mm, left, top, right, bottom, y down


def text_boxes(page: pypdfium2.PdfPage) -> list[tuple[str, Box]]:
    """Each text that stands on a page with the box of its letters, as pypdfium2 sees them."""
    raw = pypdfium2.raw
    high, reader, mm = page.get_height(), page.get_textpage(), 25.4 / 72
    out = []
    for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT], max_depth=8):
        size = raw.FPDFTextObj_GetText(thing.raw, reader.raw, None, 0)
        buffer = ctypes.create_string_buffer(size)
        wide = ctypes.cast(buffer, ctypes.POINTER(ctypes.c_ushort))
        raw.FPDFTextObj_GetText(thing.raw, reader.raw, wide, size)
        left, bottom, right, top = thing.get_bounds()
        text = buffer.raw.decode("utf-16-le").rstrip("\0")
        out.append((text, (left * mm, (high - top) * mm, right * mm, (high - bottom) * mm)))
    return out


CONFIGS = Path(__file__).parents[2] / "configs"
SHIPPED = sorted([*(CONFIGS / "dockets").glob("*.yaml"), *(CONFIGS / "styles").glob("*.yaml")])


@pytest.mark.parametrize(("unit", "paper"), [("cm", "a4"), ("in", "letter")])
@pytest.mark.parametrize("docket", SHIPPED, ids=lambda p: p.stem)
def test_no_letter_leaves_its_panel_or_touches_another_text(
    docket: Path, unit: str, paper: str
) -> None:
    """In the PDF of every docket that is shipped, on each system's paper, read back by pypdfium2."""
    from drafting.docket import Docket

    plain = Docket.load(docket).draft()
    own = {
        k: f"{v / (25.4 if unit == 'in' else 10.0):.6f}"
        for k, v in plain.measurements.values.items()
    }
    body = Measurements.from_dict({"unit": unit, "wearer": "alto-3", "measurements": own})
    made = draft(plain.block, body, plain.style, plain.fit)
    for page in pypdfium2.PdfDocument(steps_pdf(made, title="rehearsal top", paper=paper)):
        boxes = text_boxes(page)
        wide, high = (v / 72 * 25.4 for v in page.get_size())
        left, right = (wide - PANEL_MM[0]) / 2, (wide + PANEL_MM[0]) / 2
        assert len(boxes) > 10
        # the rule between the two panels of a page
        rules = [o.get_bounds() for o in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH])]
        middle = [
            high - b[1] / 72 * 25.4 for b in rules
            if (b[2] - b[0]) / 72 * 25.4 > PANEL_MM[0] - 1 and b[3] - b[1] < 2
        ]  # fmt: skip
        for text, box in boxes:
            assert box[0] > left - 0.1 and box[2] < right + 0.1, (text, box)
            assert box[1] > 8.0 and box[3] < high - 4.0, (text, box)
            assert not any(box[1] < y < box[3] for y in middle), text
        for (text, a), (other, b) in combinations(boxes, 2):
            apart_x = max(a[0], b[0]) - min(a[2], b[2])
            apart_y = max(a[1], b[1]) - min(a[3], b[3])
            assert apart_x > -0.05 or apart_y > -0.05, (text, other)
            in_table = min(a[0], b[0]) > left + 100.0 and a[3] - a[1] < 3.0 > b[3] - b[1]
            if in_table and apart_y < -1.2:  # one line of a table, or its heads
                assert apart_x > 1.0, ("columns need room", text, other)


def test_widths_of_the_face_that_svgs_name() -> None:
    """No line is wider in Helvetica, fpdf2's metrics, nor in DejaVu Sans itself where it is."""
    from fontTools.ttLib import TTFont
    from fpdf import FPDF

    made = [
        *panels(drafted("cm")),
        *panels(drafted("in", {"gathers": "front", "hem": "shirt-tail"})),
    ]
    lines = {t for p in made for t in p.drawing.texts()}
    assert len(lines) > 150
    pdf = FPDF(unit="mm")
    pdf.set_font("Helvetica", size=10 / 25.4 * 72)
    for line in lines:
        assert pdf.get_string_width(line.replace("−", "-")) < svg_width(line, 10.0) * 1.001, line
    found = [f for folder in font_folders() for f in folder.rglob("DejaVuSans.ttf")]
    if not found:
        pytest.skip("DejaVu Sans is not on this machine")
    with TTFont(found[0]) as font:
        names, advances, em = font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm
        for line in lines:
            true = sum(advances[names[ord(c)]][0] for c in line) / em * 10.0
            assert svg_width(line, 10.0) == pytest.approx(true, rel=2e-3), line
    assert svg_width("é", 1.0) == svg_width("e", 1.0)
    assert svg_width("歌", 1.0) == 1.0


def test_notes_that_find_no_room_are_told() -> None:
    """The check panel sets its notes smaller when there are many, and says when some are missing."""
    from dataclasses import replace

    made = drafted("cm")
    note = "The neck opening is narrower than her head: an opening is marked at the centre back."
    for count, whole in ((1, True), (5, True), (30, False)):
        panel = next(p for p in panels(replace(made, said=(note,) * count)) if p.key == "check")
        text = " ".join(panel.drawing.texts())
        assert (text.count("narrower") == count) == whole
        assert ("truing.txt" in text) != whole
        assert all(w.at[1] < PANEL_MM[1] for w in panel.drawing.writings)


def test_nothing_leaves_its_panel() -> None:
    """Text and strokes of every panel stay on it, for small and for large bodies."""
    bodies = (
        {},
        {"bust_girth": 24, "waist_girth": 22, "hip_girth_at_tailbone": 25, "neck_width": 4,
         "shoulder_length": 3.5, "back_neck_to_tailbone": 16},
        {"bust_girth": 60, "waist_girth": 64, "hip_girth_at_tailbone": 62},
    )  # fmt: skip
    for body in bodies:
        for unit in ("in", "cm"):
            for panel in panels(drafted(unit, {"sleeve": "elbow"} if not body else {}, **body)):
                for text in panel.drawing.writings:
                    wide = svg_width(text.text, text.size_mm)
                    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[text.anchor]
                    if text.turn_deg:
                        assert text.at[1] + left > -1, text
                        continue
                    assert text.at[0] + left > -1.0, (panel.key, text)
                    assert text.at[0] + left + wide < PANEL_MM[0] + 1.0, (panel.key, text)
                    assert 0 < text.at[1] < PANEL_MM[1] + 0.5, (panel.key, text)
                for stroke in panel.drawing.strokes:
                    assert np.isfinite(stroke.points).all()
                    assert (stroke.points > -1.5).all(), (panel.key, stroke.pen)
                    assert (stroke.points < np.array(PANEL_MM) + 1.5).all()


def test_names_do_not_cover_one_another(top: Draft) -> None:
    """No two texts of a panel overlap by more than a third of the smaller one."""
    for made in (top, drafted("cm", {"neckline": "scoop"})):
        for panel in panels(made):
            boxes = []
            for t in panel.drawing.writings:
                if t.turn_deg:
                    continue
                wide = svg_width(t.text, t.size_mm)
                left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[t.anchor]
                x, y = t.at[0] + left, t.at[1]
                boxes.append((x, y - 0.7 * t.size_mm, x + wide, y, t.text))
            for i, a in enumerate(boxes):
                for b in boxes[i + 1 :]:
                    over_x = min(a[2], b[2]) - max(a[0], b[0])
                    over_y = min(a[3], b[3]) - max(a[1], b[1])
                    if over_x <= 0 or over_y <= 0:
                        continue
                    least = min((q[2] - q[0]) * (q[3] - q[1]) for q in (a, b))
                    assert over_x * over_y < 0.34 * least, (panel.key, a[4], b[4])


def test_svgs(top: Draft) -> None:
    """One SVG a panel, in order, of true size, well formed, without a number that is none."""
    texts = steps_svg(top)
    assert list(texts) == sorted(texts)
    assert len(texts) == len(panels(top))
    for text in texts.values():
        root = ET.fromstring(text)
        assert root.get("width") == f"{PANEL_MM[0]:g}mm"
        assert "nan" not in text and "inf" not in text
        assert root.findall(f"{SVG}path") and root.findall(f"{SVG}text")


def test_paper_that_is_not_known_is_refused(top: Draft) -> None:
    """Steps come on A4 or letter; another paper is refused."""
    with pytest.raises(InputError, match="paper"):
        steps_pdf(top, paper="a3")


def test_block_without_steps_is_refused(top: Draft) -> None:
    """A draft without recorded steps is refused with its block's name."""
    from dataclasses import replace

    with pytest.raises(InputError, match="quick-top"):
        panels(replace(top, record=(), tasks=()))


def test_any_block_can_be_drawn(top: Draft) -> None:
    """A record that knows nothing of the quick top: far and negative points, a cap, a sum."""
    from dataclasses import replace

    s = Sheet(top.measurements, {})
    with s.step("a", "First", "sleeve"):
        s.frame(200.0, 200.0, biceps_line=0.0)
        s.point("crown", on="centre line", up=140.0)
        s.point("left", on="biceps line", out=-180.0)
    with s.step("b", "Cap", "sleeve"):
        s.draw("cap", np.array([(-180.0, 0.0), (-90.0, 100.0), (0.0, 140.0), (180.0, 0.0)]))
        s.remark("a sum")
    drawn = panels(replace(top, record=tuple(s.steps), tasks=()))
    assert [p.key for p in drawn] == ["a", "b", "check", "curves"]
    assert "crown | 0 | 5 1/2 up" in words(drawn[0])
    assert "a sum" in words(drawn[1])


def test_check_panel_gives_the_edges(top: Draft) -> None:
    """The last table repeats each edge's true length, front and back, as the pieces have it."""
    from configs.units import format_length

    panel = next(p for p in panels(top) if p.key == "check")
    for piece in ("front", "back"):
        for edge in top.pieces[piece].edges.values():
            assert format_length(edge.length_mm, "in").removesuffix(" in") in words(panel)


@pytest.mark.parametrize(
    "style",
    [{}, {"neckline": "scoop", "waist": "shaped"}, {"hem": "shirt-tail", "sleeve": "elbow"}],
)
def test_pencil_line_through_the_table_is_the_curve(style: dict[str, object]) -> None:
    """A smooth line through the tables' places, read to 1 mm, stays within 2 mm of each seam.

    The line by scipy's cubic spline, the distance by shapely; a pencil and a tape are good to
    1 to 2 mm (common practice, no source).
    """
    from scipy.interpolate import CubicSpline
    from shapely.geometry import LineString, Point

    made = drafted("mm", style)
    places: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for panel in panels(made):
        texts = panel.drawing.texts()
        piece = next(t for t in texts if t in ("front", "back", "front and back"))
        for i, text in enumerate(texts):
            name, _, part = text.partition(", ")
            if not re.fullmatch(r"\d/\d|middle", part):
                continue
            x, y = (t.removesuffix(" up") for t in (texts[i + 1], texts[i + 2]))
            up = 1 if texts[i + 2].endswith(" up") else -1
            places.setdefault((piece, name), []).append((round(float(x)), up * round(float(y))))
    assert ("front", "neckline") in places and ("back", "neckline") in places
    for (piece, name), dots in places.items():
        edge = made.pieces[piece].edges[name].points
        first, last = sorted((edge[0], edge[-1]), key=lambda p: np.hypot(*(p - dots[0])))
        knots = np.vstack([first, dots, last])
        at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(knots, axis=0).T))])
        drawn = CubicSpline(at, knots)(np.linspace(0.0, at[-1], 200))
        true = LineString(edge)
        assert max(true.distance(Point(p)) for p in drawn) < 2.0, (piece, name)


def test_corner_of_a_square_neckline_can_be_drawn_from_the_table() -> None:
    """The table names the corner of a square neckline, on the piece's own outline."""
    made = drafted("mm", {"neckline": "square"})
    texts = next(p for p in panels(made) if p.key == "neckline").drawing.texts()
    at = texts.index("neckline, corner")
    x, y = float(texts[at + 1]), -float(texts[at + 2])
    line = made.pieces["front"].edges["neckline"].points
    assert np.hypot(*(line - (x, y)).T).min() < 0.15


def test_moved_points_only() -> None:
    """Of the points that style and fit may move, those that stayed are not shown as new."""
    from dataclasses import replace

    made = drafted("mm", {})
    s = Sheet(made.measurements, {})
    with s.step("first", "First"):
        s.frame(500.0, 300.0, top_line=0.0)
        s.point("neck point", on="top line", out=70.0)
        s.point("bust", on="top line", out=240.0)
    with s.step("moved", "Moved"):
        s.moved_to("bust", (249.0, 0.0))
        s.moved_to("neck point", (70.0, 0.0))
    panel = panels(replace(made, record=tuple(s.steps)))[1]
    assert "9 mm" in words(panel)
    assert "neck point" not in panel.drawing.texts()


def test_points_stand_before_the_lines_through_them(top: Draft) -> None:
    """A step with points and curves becomes two pictures: first the points, then the lines."""
    drawn = panels(top)
    keys = [p.key for p in drawn]
    assert keys.index("back-lines") == keys.index("back") + 1
    assert not any(s.pen == "new-seam" for s in drawn[keys.index("back")].drawing.strokes)
    assert "armhole, middle" in of_step(drawn, "back-lines")
    assert [p.number for p in drawn] == list(range(1, len(drawn) + 1))


def test_curvature_of_a_circle() -> None:
    """On a circle of radius 80 mm the curvature is 1/80 everywhere, left bend positive."""
    angle = np.linspace(0, 2, 40)
    circle = 80 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    bend, normal = curvature(circle)
    assert bend == pytest.approx(1 / 80, rel=1e-9)
    assert np.allclose(normal, -circle[1:-1] / 80)
    assert curvature(circle[::-1])[0] == pytest.approx(-1 / 80, rel=1e-9)


def test_sums_stay_on_one_line() -> None:
    """A mixed number is not torn from its fraction nor from its unit at a line's end."""
    text = "from the centre mark 9 3/16 in and then 7 5/8 in of the rest"
    for width in range(18, 80, 3):
        lines = text_lines(text, 3.7, width)
        assert " ".join(lines) == text
        assert not any(re.search(r"\d$", line) or re.match(r"in\b|\d+/", line) for line in lines)


def test_clipping_against_shapely() -> None:
    """Clipped lines agree with shapely's intersection in length, and lie inside the box."""
    from shapely.geometry import LineString, box

    rng = np.random.default_rng(3)
    for _ in range(200):
        line = rng.uniform(-10, 20, (rng.integers(2, 9), 2))
        parts = clipped(line, (0, 0, 10, 8))
        expected = LineString(line).intersection(box(0, 0, 10, 8)).length
        assert sum(LineString(p).length for p in parts) == pytest.approx(expected, abs=1e-9)
