"""Cloth that shrinks: what is measured on the cloth, shrunk along its axes, is the draft again.

Through the lay, the table's light, the printed sheet, SVG and DXF, and read back from a file. The
shrinking is done here, by plain arithmetic on coordinates: cut size × (1 − s), length and width
each by its own (what a shop's wash test measures; common practice, no source).
"""

from __future__ import annotations

import ctypes
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import LinearRing

from drafting.docket import Docket
from drafting.lay import Cloth, Effort, Rules, plan
from drafting.lay.planner import lay_as_it_is
from drafting.piece import Piece
from drafting.placement import Placement

Array = NDArray[np.float64]
CONFIGS = Path(__file__).parents[2] / "configs"
LENGTH, WIDTH = 0.05, 0.02  # what the cloth loses along and across
SHRINKS = {"length": "5 %", "width": "2 %"}
WITHIN_MM = 0.02
# a foot longer than its leg, no two sides alike: neither a turn nor a flip hides in it
LAST = [(0.0, 0.0), (180.0, 0.0), (150.0, 90.0), (90.0, 420.0), (20.0, 380.0)]
HALF = [(0.0, 0.0), (160.0, 10.0), (140.0, 300.0), (0.0, 260.0)]


def shrunk(on_cloth: Any) -> Array:
    """Points on the cloth (N, 2), x along its length, after it has shrunk."""
    return np.asarray(on_cloth, dtype=float) * (1.0 - LENGTH, 1.0 - WIDTH)


def turned(points: Any, turn: float, mirrored: bool) -> Array:
    """A draft as it lies: turned over about its y axis, its +y laid along the cloth, then turned."""
    z = np.asarray(points, dtype=float) @ (1.0, 1j)
    if mirrored:
        z = -z.conjugate()
    z = z * np.exp(1j * math.radians(turn - 90.0))
    return np.column_stack([z.real, z.imag])


def apart(one: Any, two: Any) -> float:
    """How far two rings lie from each other at worst, moved over each other but never turned."""
    rings = [LinearRing(np.asarray(r)) for r in (one, two)]
    ends = [np.array(r.bounds) for r in rings]
    shift = 0.5 * (ends[0] - ends[1])
    shift = shift[:2] + shift[2:]
    two = LinearRing(np.asarray(two) + shift)
    return float(rings[0].hausdorff_distance(two))


LIES = [(t, m) for t in (0.0, 90.0, 180.0, 270.0, 33.0, 45.0, 358.5) for m in (False, True)]


@pytest.mark.parametrize("grain", [((0, 0), (0, 100)), ((0, 0), (100, 100))], ids=["grain", "bias"])
def test_every_lie_shrinks_to_the_draft(grain: Any) -> None:
    """A piece put down at any turn, turned over or not, straight or bias, shrinks to its draft."""
    cloth = Cloth.from_dict({"width": 3000, "shrinkage": SHRINKS})
    piece = Piece.from_outline("last", LAST, grain=grain)
    for turn, mirrored in LIES:
        put = Placement("last", 1, (900.0, 900.0), turn, mirrored)
        (laid,) = lay_as_it_is([piece], cloth, [put]).placements
        assert apart(shrunk(laid.outline_mm), turned(LAST, turn, mirrored)) < WITHIN_MM
        locked = plan([piece], cloth, 0, [put]).placements[0]
        assert np.array_equal(locked.outline_mm, laid.outline_mm)


@pytest.mark.parametrize("nap", ["none", "two-way"])
@pytest.mark.parametrize("library", [True, False])
def test_what_the_planner_turns_shrinks_to_the_draft(nap: str, library: bool) -> None:
    """Every piece of a plan shrinks to its draft at the turn it got, from library and own planner."""
    cloth = Cloth.from_dict(
        {"width": 520, "nap": nap, "shrinkage": SHRINKS, "grain_tolerance": {"last": 2}}
    )
    pieces = [
        Piece.from_outline("last", LAST, cut=4, turns=(0, 90, 180, 270)),
        Piece.from_outline("bias", LAST, cut=2, grain=((0, 0), (100, 100))),
    ]
    if nap == "none":
        pieces.append(Piece.from_outline("across", LAST, turns=(90, 270)))
    # the library has a second at least; our own planner needs no process of its own
    effort = Effort(4, workers=1 if library else 0)
    lay = plan(pieces, cloth, 1.6 if library else 0.3, effort=effort)
    assert lay.problems() == []
    for p in lay.placements:
        assert apart(shrunk(p.outline_mm), turned(LAST, p.turn, p.mirrored)) < WITHIN_MM


def test_on_the_fold_and_in_pairs() -> None:
    """Folded cloth: the half on the fold and the pair through both layers shrink to their drafts."""
    cloth = Cloth.from_dict({"width": 1400, "fold": "lengthwise", "shrinkage": SHRINKS})
    pieces = [
        Piece.from_outline("half", HALF, fold=((0, 0), (0, 260))),
        Piece.from_outline("last", LAST, cut=2, pair=True),
    ]
    for p in plan(pieces, cloth, 0.3, effort=Effort(1)).placements:
        draft = HALF if p.piece == "half" else LAST
        assert apart(shrunk(p.outline_mm), turned(draft, p.turn, p.mirrored)) < WITHIN_MM
        assert p.piece != "half" or np.sum(p.outline_mm[:, 1] == 0.0) == 2


def test_the_strip_laid_across() -> None:
    """A strip of 80 × 1000 mm laid across cloth that loses 10 % of its length: 88.9 × 1000 mm."""
    cloth = Cloth.from_dict({"width": 1150, "shrinkage": {"length": 10}})
    strip = Piece.from_outline("strip", [(0, 0), (80, 0), (80, 1000), (0, 1000)])
    put = Placement("strip", 1, (0.0, 20.0), 90.0)
    (laid,) = lay_as_it_is([strip], cloth, [put]).placements
    assert np.ptp(laid.outline_mm, axis=0) == pytest.approx((88.889, 1000.0), abs=0.001)


def test_the_skirts_waistband_across() -> None:
    """The shipped skirt on 1150 mm single cloth: its waistband lies across, its length shrinks by 2 %."""
    docket = Docket.load(CONFIGS / "styles" / "pier-skirt.yaml")
    cloth = Cloth.from_dict({"width": 1150, "shrinkage": SHRINKS})
    band = docket.pieces()["waistband"]
    allowances = docket.allowances_for("waistband")
    own = np.ptp(band.cutting_line(allowances), axis=0)
    put = Placement("waistband", 1, (500.0, 1000.0), 0.0)
    lay = lay_as_it_is({"waistband": band}, cloth, [put], Rules(0.0, allowances))
    short, long_ = np.ptp(lay.placements[0].outline_mm, axis=0)
    assert long_ * 0.98 == pytest.approx(max(own), abs=WITHIN_MM)
    assert short * 0.95 == pytest.approx(min(own), abs=WITHIN_MM)
    assert long_ == pytest.approx(867.0, abs=1.0)  # 894 if its own length counted for the cloth's


# -- the table, the sheet, the file --------------------------------------------------------------


def docket_of(turn: float, mirrored: bool, *, laid: bool = True, grain: Any = None) -> Docket:
    """A docket of one piece with 10 mm around it, laid on single cloth that shrinks."""
    piece: dict[str, Any] = {"name": "last", "outline": [list(p) for p in LAST]}
    if grain is not None:
        piece["grain"] = grain
    lay = [{"piece": "last", "copy": 1, "at": [700, 700], "turn": turn, "mirrored": mirrored}]
    data: dict[str, Any] = {
        "chalkbeam": 1,
        "title": "one",
        "allowances": {"all": "10 mm"},
        "cloth": {"width": "1500 mm", "length": "2 m", "shrinkage": SHRINKS},
        "pieces": [piece],
    }
    return Docket.from_dict(data | ({"lay": lay} if laid else {}))


@pytest.mark.parametrize(("turn", "mirrored"), LIES)
def test_the_light_on_the_cloth_shrinks_to_the_draft(turn: float, mirrored: bool) -> None:
    """The cutting and sewing lines that the projector shows, traced, cut and washed, are the draft."""
    from calibrate.calibration import Calibration
    from calibrate.model import ProjectorModel
    from projector.picture.stage import Stage
    from projector.picture.view import View

    docket = docket_of(turn, mirrored)
    matrix = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 1080.0], [0.0, 0.0, 1.0]])
    model = ProjectorModel((1920, 1080), matrix, np.array([960.0, 540.0]), 0.0, 0.0)
    light = Calibration(model, np.eye(12) * 1e-12, "test", "2026-11-20 10:00:00")
    stage = Stage(docket, light, View())
    cloth_from_table = np.linalg.inv(stage.view.table_from_cloth)
    item = stage.piece(docket.lay[0])
    a = (cloth_from_table @ item.table_from_item)[:2, :2]
    piece = docket.pieces()["last"]
    drafts = {"cutting": piece.cutting_line({"all": 10.0}), "sewing": piece.sewing_line}
    for kind, draft in drafts.items():
        (ring,) = stage.faces.of(docket.lay[0]).lines[kind]
        (mark,) = (m for m in item.marks if m.kind == kind)
        for points in (ring, mark.points if kind == "cutting" else ring):  # the other is dashed
            there = shrunk(np.asarray(points) @ a.T)
            assert apart_of_points(there, turned(draft, turn, mirrored)) < WITHIN_MM


def apart_of_points(points: Array, ring: Array) -> float:
    """How far points lie from a ring at worst, and how far from filling its box; never turned."""
    from shapely import distance
    from shapely import points as as_points

    shift = 0.5 * (ring.min(axis=0) + ring.max(axis=0) - points.min(axis=0) - points.max(axis=0))
    off = distance(LinearRing(ring), as_points(points + shift))
    size = np.abs(np.ptp(points, axis=0) - np.ptp(ring, axis=0)).max()
    return float(max(off.max(), size))


BIAS = [[0, 0], [100, 100]]
SHEETS = [
    (0.0, False, True, None),
    (90.0, False, True, None),
    (90.0, True, True, None),
    (30.0, True, True, None),
    (0.0, False, False, None),  # not laid: by its grain
    (45.0, False, False, BIAS),  # the same, its grain on the bias: it lies turned by that
]


def as_it_lies(points: Any, turn: float, mirrored: bool) -> Array:
    """A drawn piece, larger as it lies so, shrunk and brought back into the frame it was drawn in."""
    back = shrunk(turned(points, turn, mirrored))
    z = back @ (1.0, 1j) * np.exp(-1j * math.radians(turn - 90.0))
    z = -z.conjugate() if mirrored else z
    return np.column_stack([z.real, z.imag])


@pytest.mark.parametrize(("turn", "mirrored", "laid", "grain"), SHEETS)
def test_sheets_and_files_shrink_to_the_draft(
    turn: float, mirrored: bool, laid: bool, grain: Any, tmp_path: Path
) -> None:
    """PDF, SVG and DXF hold the piece as it is cut; read back, a file gives the draft again."""
    import ezdxf
    import svgpathtools
    from click.testing import CliRunner

    from drafting.intake import read_outlines
    from projector.cli import cli

    docket = docket_of(turn, mirrored, laid=laid, grain=grain)
    docket = docket.replace(path=tmp_path / "one.yaml")
    docket.save()
    piece = docket.pieces()["last"]
    draft = {"cutting": piece.cutting_line({"all": 10.0}), "sewing": piece.sewing_line}
    for name in ("one.svg", "one.dxf", "one.pdf"):
        command = ["print", "--paper", "a0"] if name.endswith("pdf") else ["export"]
        out = str(tmp_path / name)
        ran = CliRunner().invoke(cli, [*command, str(docket.path), "--out", out])
        assert ran.exit_code == 0, ran.output

    paths, about = svgpathtools.svg2paths(str(tmp_path / "one.svg"))
    drawn = {
        a["class"]: [(s.start.real, -s.start.imag) for s in p]
        for p, a in zip(paths, about, strict=True)
    }
    assert apart(as_it_lies(drawn["cutting"], turn, mirrored), draft["cutting"]) < WITHIN_MM

    space = ezdxf.readfile(tmp_path / "one.dxf").modelspace()
    for layer, kind in (("1", "cutting"), ("14", "sewing")):
        (line,) = (e for i in space.query("INSERT") for e in i.virtual_entities()
                   if e.dxftype() == "POLYLINE" and e.dxf.layer == layer)  # fmt: skip
        ring = [(v.dxf.location.x, v.dxf.location.y) for v in line.vertices]
        assert apart(as_it_lies(ring, turn, mirrored), draft[kind]) < WITHIN_MM

    rings = printed_rings(tmp_path / "one.pdf")
    for line in draft.values():
        ways = [r @ way for r in rings for way in (np.eye(2), [[0.0, -1.0], [1.0, 0.0]])]
        assert min(apart(as_it_lies(r, turn, mirrored), line) for r in ways) < WITHIN_MM

    for name in ("one.svg", "one.dxf"):
        (found,) = read_outlines(tmp_path / name).outlines
        assert apart(found.points, draft[found.line]) < WITHIN_MM
        assert found.cutting is not None
        assert apart(found.cutting, draft["cutting"]) < WITHIN_MM


def printed_rings(path: Path) -> list[Array]:
    """The closed lines of a PDF, mm, y up, by pdfium.

    As they stand on the paper, perhaps a quarter round to save it.
    """
    import pypdfium2
    from pypdfium2 import raw

    rings = []
    for page in pypdfium2.PdfDocument(path):
        for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
            x, y = ctypes.c_float(), ctypes.c_float()
            points = []
            for i in range(raw.FPDFPath_CountSegments(thing)):
                segment = raw.FPDFPath_GetPathSegment(thing, i)
                raw.FPDFPathSegment_GetPoint(segment, x, y)
                points.append((x.value, y.value))
            ring = np.array(points) * 25.4 / 72.0
            if len(ring) > 3 and np.allclose(ring[0], ring[-1], atol=1e-3):
                ring = ring[:-1]
            if len(ring) > 3:
                rings.append(ring)
    return rings


def test_copies_that_lie_differently_come_apart(tmp_path: Path) -> None:
    """One copy along and one across are two sizes: both are written, and said to be larger."""
    from drafting.export.cut_size import cut_size
    from drafting.export.marks import label_lines

    docket = docket_of(0.0, False)
    along, across = docket.lay[0], Placement("last", 2, (1200.0, 700.0), 90.0)
    pieces, allowances = cut_size(docket.replace(lay=(along, across)))
    assert list(pieces) == list(allowances) == ["last", "last (copy 2)"]
    for piece, turn in zip(pieces.values(), (0.0, 90.0), strict=True):
        ring = piece.cutting_line(allowances["last"])
        draft = docket.pieces()["last"].cutting_line({"all": 10.0})
        assert apart(as_it_lies(ring, turn, False), draft) < WITHIN_MM
        assert any("shrinkage" in row for row in label_lines(piece, allowances["last"]))
    plain = docket.replace(cloth=Cloth(width_mm=1500.0))
    assert cut_size(plain)[0]["last"] is plain.pieces()["last"]


def test_notches_darts_and_marks_grow_with_the_piece() -> None:
    """Each stays on the same place of the cloth: shrunk, the larger piece's own are the draft's."""
    from drafting.export.cut_size import made_larger
    from drafting.piece import Dart, Mark, Notch

    piece = Piece.from_outline("last", LAST).with_(
        notches=(Notch("edge", 250.0), Notch("edge", 700.0, 2)),
        darts=(Dart("edge", (40.0, 0.0), (60.0, 0.0), (55.0, 90.0)),),
        marks=(Mark("drill", np.array([[60.0, 100.0]])),),
    )
    growth = Cloth.from_dict({"width": 900, "shrinkage": SHRINKS}).growth(90.0)
    larger = made_larger(piece, growth, {"all": 10.0})
    for n, m in zip(piece.notches, larger.notches, strict=True):
        was, now = piece.edges["edge"].at(n.at_mm)[0], larger.edges["edge"].at(m.at_mm)[0]
        assert as_it_lies([now], 90.0, False)[0] == pytest.approx(was, abs=WITHIN_MM)
    for was, now in (
        (piece.darts[0].tip, larger.darts[0].tip),
        (piece.marks[0].points[0], larger.marks[0].points[0]),
    ):
        assert as_it_lies([now], 90.0, False)[0] == pytest.approx(was, abs=WITHIN_MM)
