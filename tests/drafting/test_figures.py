"""The measuring figures: one for each measurement, its tape on the body, its landmarks right."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from configs.errors import InputError
from drafting.figures import (
    FIGURES,
    body,
    figure,
    figure_legend,
    figure_svg,
    figure_text,
    measuring_sheet,
)
from drafting.figures.drawing import smooth, svg_width, to_text
from drafting.measurements import GIRTH, REGISTRY, WIDTH

KEYS = sorted(REGISTRY)


def test_every_measurement_has_its_figure() -> None:
    """The registry and the figures name the same measurements."""
    assert set(FIGURES) == set(REGISTRY)


@pytest.mark.parametrize("key", KEYS)
def test_ends_are_the_landmarks_told(key: str) -> None:
    """A length or width runs from its landmark A to its landmark B, as the words say."""
    measure, shown = REGISTRY[key], FIGURES[key]
    assert shown.view in ("front", "back", "side")
    if measure.kind == GIRTH:
        assert shown.hidden is not None, "a girth goes round the back too"
        assert shown.level or shown.ends, "where it goes round is named"
        return
    (a, start, first), (b, end, second) = shown.ends
    assert (a, b) == ("A", "B")
    assert np.allclose(shown.tape[0], start)
    assert np.allclose(shown.tape[-1], end)
    words = set(re.findall(r"\w+", f"{measure.name} {measure.how}".replace("armpits", "armpit")))
    nouns = {"neck", "shoulder", "tailbone", "waist", "arm", "armpit", "bust", "elbow", "wrist"}
    nouns |= {"hip", "crown", "floor"}
    for told in (first, second):
        assert nouns & set(re.findall(r"\w+", told)) & words, (told, words)


@pytest.mark.parametrize("key", KEYS)
def test_tape_lies_on_the_body(key: str) -> None:
    """The tape's ends lie on the body's outline or inside it, within a finger's width."""
    from shapely.geometry import Point, Polygon

    shown = FIGURES[key]
    if key == "stature":
        return  # taken beside the body, against the wall
    view = {"front": body.front, "side": body.side}.get(shown.view)
    rings = (view() if view else body.back(shown.bent)).outlines
    shape = Polygon(rings[0]).buffer(0)
    for ring in rings[1:]:
        shape = shape.union(Polygon(ring).buffer(0))
    for point in (shown.tape[0], shown.tape[-1], shown.tape[len(shown.tape) // 2]):
        assert shape.distance(Point(point)) < 16.0, (key, point)


def test_levels_stand_in_the_body_order() -> None:
    """From the crown down: brow, neck, armpit, bust, waist, tailbone, hip (anatomy)."""
    heights = [body.CROWN, body.BROW, body.NECK_BACK, body.NECK_PIT, body.ARMPIT, body.BUST]
    heights += [body.UNDER_BUST, body.WAIST, body.TAILBONE, body.HIP]
    assert heights == sorted(heights, reverse=True)
    assert body.NECK_BACK > body.NECK_SIDE > body.SHOULDER


def test_drawn_body_has_human_proportions() -> None:
    """The body drawn falls within the relations that published size tables give (FACTS A).

    Nape to waist 21–28 % of stature, shoulder length 10–18 % of a bust of 90 cm: bands from
    memory of women's size tables.
    """
    stature = body.CROWN
    assert 0.21 < (body.NECK_BACK - body.WAIST) / stature < 0.28
    shoulder = np.hypot(*(FIGURES["shoulder_length"].tape[-1] - FIGURES["shoulder_length"].tape[0]))
    assert 0.10 * 900 < shoulder < 0.18 * 900


@pytest.mark.parametrize("key", KEYS)
def test_figure_shows_where_on_the_body_it_is(key: str) -> None:
    """No figure is cut so close that the place cannot be told: it shows the head, or the trunk
    from below the bust to the crotch."""
    left, right, bottom, top = FIGURES[key].crop
    shows_head = top >= body.CROWN
    shows_trunk = top > body.BUST and bottom < 766.0
    assert shows_head or shows_trunk, key
    for x, y in (FIGURES[key].tape.min(axis=0), FIGURES[key].tape.max(axis=0)):
        assert left + 20 < x < right - 20 and bottom + 25 < y < top - 15, key


@pytest.mark.parametrize("key", KEYS)
def test_legend_ends_inside_its_strip(key: str) -> None:
    """On the measuring sheet (figures 40 mm wide) too; read back from the PDF by pypdfium2."""
    import pypdfium2

    for width in (40.0, 80.0):
        drawing = figure(key, width)
        for text in drawing.writings:
            if text.anchor == "start":
                assert text.at[0] + svg_width(text.text, text.size_mm) < width - 0.5, text.text
    page = pypdfium2.PdfDocument(measuring_sheet([key]))[0]
    words = " ".join(page.get_textpage().get_text_range().split())
    for text in figure(key, 40.0).texts():
        assert text in words


@pytest.mark.parametrize("key", KEYS)
def test_svg_is_sound(key: str) -> None:
    """Each SVG parses, has its true size in mm and no number that is not finite."""
    text = figure_svg(key)
    root = ET.fromstring(text)
    drawing = figure(key)
    assert root.get("width") == "80mm"
    assert float(root.get("height", "0mm").removesuffix("mm")) == pytest.approx(
        drawing.height_mm, abs=0.01
    )
    assert "nan" not in text and "inf" not in text
    assert root.findtext("{http://www.w3.org/2000/svg}title") == REGISTRY[key].name


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("plain", [False, True])
def test_terminal_figure_fits_and_shows_the_tape(key: str, plain: bool) -> None:
    """At most 34 × 20 characters; the tape is there in its own signs; ASCII when asked."""
    lines = figure_text(key, 34, 20, plain)
    assert 6 <= len(lines) <= 21
    assert max(map(len, lines)) <= 34
    letters = set("".join(lines))
    assert letters & (set("#") if plain else set("▘▝▀▖▌▞▛▗▚▐▜▄▙▟█")), "no tape"
    if plain:
        assert all(ord(c) < 127 for c in letters)
    for letter, _, _ in FIGURES[key].ends:
        assert letter in letters


def test_terminal_figure_is_where_the_drawing_is() -> None:
    """A widths' tape is level in the terminal too: all its blocks stand in one row."""
    for key in (k for k in KEYS if REGISTRY[k].kind == WIDTH):
        rows = [i for i, line in enumerate(figure_text(key)) if set(line) & set("▀▄█▌▐")]
        assert len(rows) == 1, key


def test_legend_names_the_ends() -> None:
    """The legend says what A and B are, and from where she is seen."""
    assert figure_legend("shoulder_length") == [
        "A  side neck point",
        "B  shoulder point",
        "Drawn as seen from the back.",
    ]


def test_unknown_measurement_is_refused() -> None:
    """A key without a figure is named in the refusal."""
    with pytest.raises(InputError, match="hat_size"):
        figure("hat_size")
    with pytest.raises(InputError, match="hat_size"):
        measuring_sheet(["bust_girth", "hat_size"])


@pytest.mark.parametrize(("paper", "size"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])
def test_measuring_sheet_prints(paper: str, size: tuple[float, float]) -> None:
    """One page of true size for the quick top, with every name on it and blanks to write on."""
    import pypdfium2

    keys = ["bust_girth", "waist_girth", "hip_girth_at_tailbone", "neck_width"]
    keys += ["shoulder_length", "back_neck_to_tailbone"]
    pdf = pypdfium2.PdfDocument(measuring_sheet(keys, ["Sheet", "wearer"], paper))
    assert len(pdf) == 1
    page = pdf[0]
    assert [v / 72 * 25.4 for v in page.get_size()] == pytest.approx(size, abs=0.1)
    text = page.get_textpage().get_text_bounded().replace("\r\n", " ")
    for key in keys:
        assert REGISTRY[key].name in text
    assert text.count("1st") == text.count("2nd") == 6


def test_smooth_passes_through_its_points() -> None:
    """The smooth line meets every point it was given, open and closed, and repeats none."""
    points = np.array([(0, 0), (10, 3), (12, 20), (-4, 22)], dtype=float)
    for closed in (False, True):
        line = smooth(points, closed)
        for p in points:
            assert np.hypot(*(line - p).T).min() < 1e-9
        assert np.hypot(*np.diff(line, axis=0).T).min() > 1e-6


def test_drawing_is_not_changed_by_being_shown() -> None:
    """Showing a figure leaves the figure's own data as it was."""
    before = FIGURES["bust_girth"].tape.copy()
    to_text(figure("bust_girth"))
    figure_svg("bust_girth")
    assert np.array_equal(before, FIGURES["bust_girth"].tape)
