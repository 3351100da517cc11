"""Outlines from DXF files written by ezdxf: units, blocks, arcs, splines; bad files refused."""

from __future__ import annotations

import io
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from exchange_pieces import ALLOWANCES, garment
from scipy.special import ellipe

from configs.errors import InputError
from drafting.export.dxf import pieces_dxf
from drafting.intake import read_outlines
from drafting.intake.found import Found

SQUARE = [(0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0)]


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Found]:
    """Outlines of a drawing that a function draws into a new document."""

    def reader(
        draw: Callable[[Any, Any], object],
        units: int = 4,
        unit: str | None = None,
        version: str = "R2000",
    ) -> Found:
        document = ezdxf.new(version)
        document.header["$INSUNITS"] = units
        draw(document, document.modelspace())
        path = tmp_path / "top.dxf"
        document.saveas(path)
        return read_outlines(path, unit)

    return reader


@pytest.mark.parametrize(("code", "mm"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (14, 100.0)])
def test_units_of_the_header_are_followed(read: Callable[..., Found], code: int, mm: float) -> None:
    """$INSUNITS says what a drawing unit is (DXF reference)."""
    square = np.array(SQUARE) / 25.0
    found = (
        read(lambda _, m: m.add_lwpolyline(square, close=True), code)
        if mm > 9
        else read(lambda _, m: m.add_lwpolyline(np.array(SQUARE) * 2 / mm, close=True), code)
    )
    side = 2.0 * mm if mm > 9 else 100.0
    assert found.outlines[0].size_mm == pytest.approx((side, side))


def test_unit_is_asked_for_when_the_file_has_none(read: Callable[..., Found]) -> None:
    """A drawing without a unit is not guessed at; her answer goes before the file's own, and told."""

    def draw(_: Any, m: Any) -> None:
        m.add_lwpolyline(SQUARE, close=True)

    with pytest.raises(InputError, match="--unit"):
        read(draw, 0)
    assert read(draw, 0, "cm").outlines[0].size_mm[0] == pytest.approx(500.0)
    assert read(draw, 4, "mm").outlines[0].size_mm[0] == pytest.approx(50.0)
    found = read(draw, 4, "in")
    assert found.outlines[0].size_mm[0] == pytest.approx(50 * 25.4)
    assert any("is 1 mm" in n and "--unit in" in n for n in found.notes)
    assert not read(draw, 4, "mm").notes


@pytest.mark.parametrize(("word", "mm"), [("METRIC", 50.0), ("ENGLISH", 1270.0)])
def test_units_of_the_style_text_are_followed(
    read: Callable[..., Found], word: str, mm: float
) -> None:
    """Pattern files say their units in the style text, not in the header (from memory)."""

    def draw(_: Any, m: Any) -> None:
        m.add_text(f"UNITS: {word}")
        m.add_lwpolyline(SQUARE, close=True)

    assert read(draw, 0).outlines[0].size_mm[0] == pytest.approx(mm)


def test_round_shapes_measure_true(read: Callable[..., Found]) -> None:
    """Circles, ellipses and bulged polylines have their true length within 0.01 mm."""

    def draw(_: Any, m: Any) -> None:
        m.add_circle((0, 0), 100, dxfattribs={"layer": "circle"})
        m.add_ellipse((400, 0), (120, 0), 1 / 3, dxfattribs={"layer": "ellipse"})
        m.add_lwpolyline(
            [(0, 300, 1), (200, 300, 1)], format="xyb", close=True, dxfattribs={"layer": "bulge"}
        )
        m.add_lwpolyline(
            [(300, 300, math.tan(math.pi / 8)), (400, 400, 0), (300, 400, 0)],
            format="xyb", close=True, dxfattribs={"layer": "quarter"},
        )  # fmt: skip

    around = {o.name: o.length_mm for o in read(draw).outlines}
    assert around["circle"] == pytest.approx(2 * math.pi * 100, abs=0.01)
    assert around["ellipse"] == pytest.approx(4 * 120 * ellipe(1 - 1 / 9), abs=0.01)
    assert around["bulge"] == pytest.approx(2 * math.pi * 100, abs=0.01)
    assert around["quarter"] == pytest.approx(math.pi * 50 + 200, abs=0.01)


def test_bulge_turns_to_the_right_side(read: Callable[..., Found]) -> None:
    """A positive bulge on a counter-clockwise outline makes it fatter, a negative one thinner."""

    def draw(bulge: float) -> Callable[[Any, Any], object]:
        points = [(x, y, bulge) for x, y in SQUARE]
        return lambda _, m: m.add_lwpolyline(points, format="xyb", close=True)

    angle = 4 * math.atan(0.2)
    radius = 25 / math.sin(angle / 2)
    segment = 4 * radius**2 / 2 * (angle - math.sin(angle))  # four circular segments
    assert read(draw(0.2)).outlines[0].area_mm2 == pytest.approx(2500 + segment, rel=1e-3)
    assert read(draw(-0.2)).outlines[0].area_mm2 == pytest.approx(2500 - segment, rel=1e-3)


def test_loose_lines_arcs_and_splines_join(read: Callable[..., Found]) -> None:
    """An outline drawn as lines, an arc and a spline, in any order and direction, is one piece."""
    spline = [(100, 100, 0), (80, 130, 0), (20, 130, 0), (0, 100, 0)]

    def draw(_: Any, m: Any) -> None:
        m.add_line((0, 0), (0, 100))
        m.add_line((100, 0.04), (0, 0))
        m.add_open_spline(spline, degree=3)
        m.add_arc((100, 50), 50, 270, 90)

    outline = read(draw).outlines[0]
    t = np.linspace(0, 1, 200_001)[:, None]
    p = np.array(spline, dtype=float)[:, :2]
    curve = (
        (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]
    )
    length = np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()
    assert outline.length_mm == pytest.approx(200 + math.pi * 50 + length, abs=0.1)


def test_blocks_are_placed_scaled_and_mirrored(read: Callable[..., Found]) -> None:
    """A block keeps its shape through insertion: scaled unevenly, mirrored, nested, in rows."""

    def draw(document: Any, m: Any) -> None:
        inner = document.blocks.new("inner")
        inner.add_circle((0, 0), 20)
        outer = document.blocks.new("outer")
        outer.add_blockref("inner", (0, 0), dxfattribs={"xscale": 2, "yscale": 1})
        m.add_blockref("outer", (0, 0), dxfattribs={"yscale": -1, "rotation": 30})
        grid = m.add_blockref("inner", (300, 0))
        grid.dxf.row_count, grid.dxf.column_count = 2, 3
        grid.dxf.row_spacing, grid.dxf.column_spacing = 50, 60

    found = read(draw)
    around = sorted(o.length_mm for o in found.outlines)
    assert around[-1] == pytest.approx(4 * 40 * ellipe(1 - 1 / 4), abs=0.01)
    assert len(around) == 7
    assert around[:6] == pytest.approx([2 * math.pi * 20] * 6, abs=0.01)


def test_seen_from_below_is_mirrored(read: Callable[..., Found]) -> None:
    """An entity with its extrusion turned down lies mirrored in x, as the DXF reference says."""

    def draw(_: Any, m: Any) -> None:
        m.add_lwpolyline(
            [(10, 0), (60, 0), (10, 30)], close=True, dxfattribs={"extrusion": (0, 0, -1)}
        )

    points = read(draw).outlines[0].points
    assert points[:, 0].min() == pytest.approx(-60)
    assert points[:, 0].max() == pytest.approx(-10)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_versions(read: Callable[..., Found], version: str) -> None:
    """Old and new DXF versions are read alike."""
    found = read(
        lambda _, m: m.add_polyline2d(SQUARE, close=True),
        4 if version != "R12" else 0,
        "mm",
        version,
    )
    assert found.outlines[0].area_mm2 == pytest.approx(2500)


def test_export_then_import_keeps_every_length(tmp_path: Path) -> None:
    """Every edge comes back by name, its length within 0.01 mm, with cut, pair, fold and grain."""
    path = tmp_path / "top.dxf"
    path.write_bytes(pieces_dxf(garment(), ALLOWANCES, title="rehearsal top"))
    found = {o.name: o for o in read_outlines(path).outlines}
    assert list(found) == list(garment())
    for name, piece in garment().items():
        outline = found[name]
        assert (outline.cut, outline.pair, outline.turns) == (piece.cut, piece.pair, piece.turns)
        assert (outline.fold is not None) == (piece.fold is not None)
        if len(piece.edges) > 1:
            assert list(outline.edges) == list(piece.edges)
        for edge, points in outline.edges.items():
            length = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
            assert length == pytest.approx(piece.edges[edge].length_mm, abs=0.01)
        (ax, ay), (bx, by) = outline.grain or ((0, 0), (0, 0))
        (cx, cy), (dx, dy) = piece.grain
        assert (bx - ax, by - ay) == pytest.approx((dx - cx, dy - cy))


def test_foreign_pattern_blocks_give_the_boundary(read: Callable[..., Found]) -> None:
    """A block with a boundary on layer 1 and marks on others is one piece, named by its text."""

    def draw(document: Any, m: Any) -> None:
        block = document.blocks.new("P1")
        block.add_polyline2d(SQUARE, close=True, dxfattribs={"layer": "1"})
        block.add_text("Piece Name: YOKE", dxfattribs={"layer": "1"})
        block.add_text("Quantity: 2", dxfattribs={"layer": "1"})
        block.add_line((25, 10), (25, 40), dxfattribs={"layer": "7"})
        block.add_lwpolyline(np.array(SQUARE) / 4 + 10, close=True, dxfattribs={"layer": "8"})
        m.add_blockref("P1", (0, 0))

    (yoke,) = read(draw).outlines
    assert (yoke.name, yoke.cut, yoke.line) == ("YOKE", 2, "cutting")
    assert yoke.area_mm2 == pytest.approx(2500)
    assert yoke.grain == ((25, 10), (25, 40))


def deep(document: Any, m: Any) -> None:
    """Blocks in blocks, ten times ten, eight deep."""
    document.blocks.new("b0").add_circle((0, 0), 20)
    for i in range(1, 9):
        block = document.blocks.new(f"b{i}")
        for k in range(10):
            block.add_blockref(f"b{i - 1}", (k, 0))
    m.add_blockref("b8", (0, 0))


def ring(document: Any, m: Any) -> None:
    """Two blocks that insert each other."""
    a, b = document.blocks.new("a"), document.blocks.new("b")
    a.add_blockref("b", (0, 0))
    b.add_blockref("a", (0, 0))
    m.add_blockref("a", (0, 0))


def rows(document: Any, m: Any) -> None:
    """One block in thirty thousand rows and columns."""
    document.blocks.new("a").add_circle((0, 0), 20)
    insert = m.add_blockref("a", (0, 0))
    insert.dxf.row_count = insert.dxf.column_count = 30_000
    insert.dxf.row_spacing = insert.dxf.column_spacing = 50


@pytest.mark.parametrize(
    ("draw", "part"),
    [
        (deep, "more than .* entities"),
        (ring, "nests blocks|more than"),
        (rows, "more than .* entities"),
        (lambda _, m: m.add_blockref("nowhere", (0, 0)), "not there|no closed outline"),
        (
            lambda _, m: m.add_lwpolyline([(0, 0), (1e9, 0), (1e9, 1e9)], close=True),
            "larger than any piece",
        ),
        (
            lambda _, m: m.add_lwpolyline([(0, 0), (50, 50), (50, 0), (0, 50)], close=True),
            "crosses or touches",
        ),
        (
            lambda _, m: m.add_lwpolyline([(0, 0), (50, 0), (25, 0)], close=True),
            "no closed outline",
        ),
        (lambda _, m: m.add_lwpolyline(SQUARE), "no closed outline.*1 open line"),
        (lambda _, m: m.add_text("front"), "no closed outline"),
        (lambda _, m: m.add_circle((0, 0), 1e7), "larger than any piece"),
        (lambda _, m: [m.add_circle((60 * i, 0), 20) for i in range(600)], "at most 500"),
        (
            lambda _, m: m.add_open_spline([(0, 0), (1e8, 0), (1e8, 1e8), (0, 0)]),
            "longer than 20 m",
        ),
    ],
)
def test_bad_drawings_cost_a_message(
    read: Callable[..., Found], draw: Callable[[Any, Any], object], part: str
) -> None:
    """Drawings that no piece can be made of are refused in words, and in bounded time."""
    started = time.process_time()
    with pytest.raises(InputError, match=part) as caught:
        read(draw)
    assert time.process_time() - started < 30.0  # a bound, not a benchmark
    assert all("top.dxf" in f.where for f in caught.value.faults)


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (b"", "not a DXF"),
        (b"just words", "not a DXF"),
        (b"AutoCAD Binary DXF\r\n\x1a\x00" + b"\x00" * 50, "binary DXF"),
        (b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n 10\nabc\n", "DXF|no closed outline|unit"),
        (b"  0\nSECTION\n" * 1000, "DXF|no closed outline|unit"),
        (b"0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nEOF\n", "no closed outline"),
    ],
)
def test_damaged_files_cost_a_message(tmp_path: Path, data: bytes, part: str) -> None:
    """Files that are no DXF, or a damaged one, are refused in words."""
    path = tmp_path / "top.dxf"
    path.write_bytes(data)
    with pytest.raises(InputError, match=part):
        read_outlines(path)


@pytest.mark.parametrize("seed", range(25))
def test_garbled_files_never_break_the_program(tmp_path: Path, seed: int) -> None:
    """A good file with bytes changed or cut off is either read or refused in words."""
    rng = np.random.default_rng(seed)
    document = ezdxf.new("R12")
    space = document.modelspace()
    space.add_polyline2d(SQUARE, close=True)
    space.add_circle((200, 0), 30)
    space.add_arc((300, 0), 30, 0, 200)
    stream = io.StringIO()
    document.write(stream)
    data = bytearray(stream.getvalue().encode())
    for _ in range(int(rng.integers(1, 60))):
        data[int(rng.integers(len(data)))] = int(rng.integers(32, 127))
    if seed % 3 == 0:
        del data[int(rng.integers(len(data))) :]
    path = tmp_path / "top.dxf"
    path.write_bytes(bytes(data))
    try:
        found = read_outlines(path, "mm")
    except InputError as error:
        assert "top.dxf" in str(error)
    else:
        assert all(o.area_mm2 > 0 for o in found.outlines)


def test_too_large_a_file(tmp_path: Path) -> None:
    """A file past the size limit is not read."""
    path = tmp_path / "big.dxf"
    with path.open("wb") as file:
        file.truncate(11_000_000)
    with pytest.raises(InputError, match=r"larger than .*10 MB"):
        read_outlines(path)
