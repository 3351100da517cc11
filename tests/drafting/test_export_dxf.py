"""Pieces as DXF, judged by ezdxf's reader and auditor."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from exchange_pieces import ALLOWANCES, front, garment
from ezdxf import bbox

from configs.errors import InputError
from drafting.docket import Docket
from drafting.export.dxf import pieces_dxf
from drafting.export.svg import pieces_svg

CONFIGS = Path(__file__).parents[2] / "configs"


def document(data: bytes) -> Any:
    """The file read back by ezdxf."""
    return ezdxf.read(io.StringIO(data.decode("cp1252")))


def vertices(polyline: Any) -> np.ndarray:
    """(N, 2) of a POLYLINE."""
    return np.array([[v.dxf.location.x, v.dxf.location.y] for v in polyline.vertices])


def test_audit_is_clean() -> None:
    """ezdxf's auditor finds nothing wrong and nothing to mend."""
    auditor = document(pieces_dxf(garment(), ALLOWANCES, title="rehearsal top")).audit()
    assert not auditor.errors
    assert not auditor.fixes


def test_units_are_declared_millimetres() -> None:
    """Header and style text both say metric, mm."""
    doc = document(pieces_dxf(garment(), ALLOWANCES))
    assert doc.header["$INSUNITS"] == 4
    assert doc.header["$MEASUREMENT"] == 1
    assert "UNITS: METRIC" in [t.dxf.text for t in doc.modelspace().query("TEXT")]


def test_one_block_a_piece_on_the_interchange_layers() -> None:
    """Each piece is one block with boundary, sew line, grain, fold, notches, drill holes in place.

    Layer numbers: ASTM D6673, from two listings that agree (not from the standard's text).
    """
    doc = document(pieces_dxf(garment(), ALLOWANCES))
    assert [i.dxf.name for i in doc.modelspace().query("INSERT")] == ["front", "sleeve", "cuff"]
    block = doc.blocks["front"]
    layers: dict[str, list[str]] = {}
    for entity in block:
        layers.setdefault(entity.dxf.layer, []).append(entity.dxftype())
    assert layers["1"].count("POLYLINE") == 1
    assert layers["14"] == ["POLYLINE"]
    assert layers["7"] == ["LINE"]
    assert layers["6"] == ["LINE"]
    assert sorted(layers["4"]) == ["LINE"] * 3 + ["POINT"] * 3  # one single, one double notch
    assert layers["13"] == ["POINT"]
    assert layers["8"] == ["POLYLINE"] * 2  # the dart and the turn-up
    assert "PIECE NAME: front" in [t.dxf.text for t in block.query("TEXT")]


def test_lines_are_the_pieces_own() -> None:
    """Boundary and sew line are closed and equal to the piece's, point for point."""
    doc = document(pieces_dxf(garment(), ALLOWANCES))
    for name, piece in garment().items():
        block = doc.blocks[name]
        sew = next(e for e in block.query("POLYLINE") if e.dxf.layer == "14")
        cut = next(e for e in block.query("POLYLINE") if e.dxf.layer == "1")
        assert sew.is_closed and cut.is_closed
        np.testing.assert_allclose(vertices(sew), piece.sewing_line, atol=1e-9)
        ring = piece.cutting_line(ALLOWANCES)
        around = np.linalg.norm(np.diff(np.vstack([ring, ring[:1]]), axis=0), axis=1).sum()
        drawn = vertices(cut)
        own = np.linalg.norm(np.diff(np.vstack([drawn, drawn[:1]]), axis=0), axis=1).sum()
        assert own == pytest.approx(around, abs=1e-6)


def test_grain_is_the_line_that_is_drawn() -> None:
    """The grain line of the DXF is the one that the SVG draws, as long and in the same place."""
    pieces = {
        **garment(),
        "crowded": front().with_(name="crowded", grain=((60.0, 20.0), (60.0, 520.0))),
    }
    doc = document(pieces_dxf(pieces, ALLOWANCES))
    root = ElementTree.fromstring(pieces_svg(pieces, ALLOWANCES))
    svg = "{http://www.w3.org/2000/svg}"
    moved = 0
    for name, piece in pieces.items():
        (line,) = doc.blocks[name].query("LINE[layer=='7']")
        written = np.array([(line.dxf.start.x, line.dxf.start.y), (line.dxf.end.x, line.dxf.end.y)])
        group = next(g for g in root.iter(f"{svg}g") if g.get("id") == name)

        def drawn(kind: str, group: ElementTree.Element = group) -> np.ndarray:
            path = next(p for p in group.iter(f"{svg}path") if p.get("class") == kind)
            return np.array([float(v) for v in re.findall(r"-?[\d.]+", path.get("d", ""))]).reshape(
                -1, 2
            )

        sewing = piece.edges[next(n for n in piece.edges if n != "fold")].points[0]
        from_sewing = (drawn("grain") - drawn("sewing")[0]) * (1.0, -1.0)
        np.testing.assert_allclose(written - sewing, from_sewing, atol=2e-4)
        moved += not np.allclose(written, piece.grain)
    assert moved, "one at least is not where the piece has it"


def test_a_notch_is_a_point_on_the_boundary_and_a_line_inward() -> None:
    """Programs that know notches as points find them on the cutting line, one for each snip."""
    doc = document(pieces_dxf(garment(), ALLOWANCES))
    block = doc.blocks["front"]
    ring = shapely.LinearRing(front().cutting_line(ALLOWANCES))
    points = [p.dxf.location for p in block.query("POINT[layer=='4']")]
    starts = [line.dxf.start for line in block.query("LINE[layer=='4']")]
    assert len(points) == 3
    for point, start in zip(points, starts, strict=True):
        assert ring.distance(shapely.Point(point.x, point.y)) < 1e-6
        assert point.isclose(start)


SHIPPED = sorted([*(CONFIGS / "dockets").glob("*.yaml"), *(CONFIGS / "styles").glob("*.yaml")])


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.stem)
def test_words_lie_inside_and_extents_round_all(path: Path) -> None:
    """All text of a block lies inside its sewing line, as ezdxf measures it, names of marks and
    drill holes included; $EXTMIN and $EXTMAX lie round the drawing, as ezdxf measures it too."""
    read = Docket.load(path)
    own = {n: read.allowances_for(n) for n in read.pieces()}
    doc = document(pieces_dxf(read.pieces(), own, title="t"))
    for name, piece in read.pieces().items():
        inside = shapely.Polygon(piece.sewing_line)
        texts = list(doc.blocks[name].query("TEXT"))
        for text in texts:
            turn, at = text.dxf.rotation, text.dxf.insert
            text.dxf.rotation = 0.0
            box = bbox.extents([text])
            flat = shapely.box(box.extmin.x, box.extmin.y, box.extmax.x, box.extmax.y)
            shape = shapely.affinity.rotate(flat, turn, origin=(at.x, at.y))
            assert inside.contains(shape), (name, text.dxf.text)
        said = {t.dxf.text for t in texts}
        assert {m.name for m in piece.marks} <= said
    drawn = bbox.extents(doc.modelspace())
    np.testing.assert_allclose(doc.header["$EXTMIN"], tuple(drawn.extmin), atol=3.0)
    np.testing.assert_allclose(doc.header["$EXTMAX"], tuple(drawn.extmax), atol=3.0)


def test_the_whole_piece_is_written_on_asking() -> None:
    """Unfolded, the boundary holds both halves and there is no mirror line."""
    doc = document(pieces_dxf(garment(), ALLOWANCES, unfolded=True))
    cut = next(e for e in doc.blocks["front"].query("POLYLINE") if e.dxf.layer == "1")
    half = shapely.Polygon(front().cutting_line(ALLOWANCES)).area
    assert shapely.Polygon(vertices(cut)).area == pytest.approx(2 * half)
    assert not doc.blocks["front"].query("LINE[layer=='6']")


def test_turn_points_are_the_corners() -> None:
    """The corners of a rectangle are turn points; nothing on it is a curve point."""
    doc = document(pieces_dxf({"cuff": garment()["cuff"]}, {"all": 10.0}))
    points = [
        (e.dxf.location.x, e.dxf.location.y) for e in doc.blocks["cuff"].query("POINT[layer=='2']")
    ]
    assert sorted(points) == [(-10, -10), (-10, 70), (250, -10), (250, 70)]
    assert not doc.blocks["cuff"].query("POINT[layer=='3']")


def test_any_script_and_forbidden_characters() -> None:
    """Names that DXF forbids in a block, and letters outside its code page, still make a clean file."""
    odd = {n: front().with_(name=n) for n in ("a/b:c", "A/B:C", "рукав", "袖\n|")}
    doc = document(pieces_dxf(odd, ALLOWANCES, title="Ωμέγα"))
    assert not doc.audit().errors
    assert len(doc.modelspace().query("INSERT")) == 4


def test_no_pieces_is_said() -> None:
    """An empty garment is refused in words."""
    with pytest.raises(InputError, match="no pieces"):
        pieces_dxf({}, None)
