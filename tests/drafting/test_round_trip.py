"""What a file holds comes back: out and in again, and files of other programs with all their lines.

Foreign files are written by ezdxf here, on the layers of ASTM D6673 (numbers from two listings that
agree, not from the standard's text); sizes are by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pypdfium2
import pytest
import shapely
from exchange_pieces import ALLOWANCES, garment

from configs.errors import InputError
from drafting.docket import Docket
from drafting.export.dxf import pieces_dxf
from drafting.export.pdf import pieces_pdf
from drafting.export.svg import pieces_svg
from drafting.intake import read_outlines
from drafting.intake.adopt import adopt
from drafting.intake.cutting import SAME_MM, as_allowances
from drafting.intake.found import Found
from drafting.outline import Edge
from drafting.piece import FOLD_NEAR_MM, Mark, Notch, Piece

CONFIGS = Path(__file__).parents[2] / "configs"
WRITERS: dict[str, Callable[..., str | bytes]] = {"svg": pieces_svg, "dxf": pieces_dxf}


def write(path: Path, pieces: dict[str, Piece], allowances: Any) -> Path:
    """The pieces in a file of the kind that its name says."""
    made = WRITERS[path.suffix[1:]](pieces, allowances, title="t")
    path.write_bytes(made if isinstance(made, bytes) else made.encode())
    return path


def shipped(name: str) -> tuple[dict[str, Piece], dict[str, dict[str, float]]]:
    """Pieces and allowances of a shipped docket."""
    docket = Docket.load(next(CONFIGS.glob(f"*s/{name}.yaml")))
    return docket.pieces(), {n: docket.allowances_for(n) for n in docket.pieces()}


def upright(piece: Piece) -> np.ndarray:
    """(3, 3) that turns a piece's grain up, as an import does."""
    (ax, ay), (bx, by) = piece.grain
    t = np.array([bx - ax, by - ay]) / np.hypot(bx - ax, by - ay)
    return np.array([[t[1], -t[0], 0], [t[0], t[1], 0], [0, 0, 1.0]])


@pytest.mark.parametrize("kind", ["svg", "dxf"])
@pytest.mark.parametrize("name", ["pier-skirt", "deckhand", ""])
def test_nothing_is_lost_out_and_in_again(tmp_path: Path, kind: str, name: str) -> None:
    """Notches with their matches, darts, drill holes, marks, label, grain and the cutting line come
    back, each in its place within 0.02 mm, and nothing is said to be left out; then again."""
    pieces, own = shipped(name) if name else (garment(), dict.fromkeys(garment(), ALLOWANCES))
    first = write(tmp_path / f"first.{kind}", pieces, own)
    found = read_outlines(first)
    assert not found.notes
    cuts = {o.name: as_allowances(adopt(o)) for o in found.outlines}
    assert list(cuts) == list(pieces)
    second = write(
        tmp_path / f"second.{kind}",
        {n: c.piece for n, c in cuts.items()},
        {n: c.allowances for n, c in cuts.items()},
    )
    again = {o.name: as_allowances(adopt(o)) for o in read_outlines(second).outlines}
    total = 0
    for n, piece in pieces.items():
        for cut in (cuts[n], again[n]):
            back = cut.piece
            turn = upright(piece)[:2, :2]
            cutting = piece.cutting_line(own[n]) @ turn.T
            shift = back.cutting_line(cut.allowances).min(axis=0) - cutting.min(axis=0)

            def moved(points: Any, turn: Any = turn, shift: Any = shift) -> np.ndarray:
                return np.asarray(points, dtype=float) @ turn.T + shift

            rings = [back.cutting_line(cut.allowances), moved(piece.cutting_line(own[n]))]
            assert shapely.hausdorff_distance(*(shapely.LinearRing(r) for r in rings)) < 0.02
            assert back.own_cutting_line is None
            assert [(d.edge) for d in back.darts] == [d.edge for d in piece.darts]
            for a, b in zip(back.darts, piece.darts, strict=True):
                legs = moved([b.first, b.second, b.tip])
                np.testing.assert_allclose([a.first, a.second, a.tip], legs, atol=0.02)
            assert [m.name for m in back.marks] == [m.name for m in piece.marks]
            for c, d in zip(back.marks, piece.marks, strict=True):
                assert c.closed == d.closed
                np.testing.assert_allclose(c.points, moved(d.points), atol=0.02)
            assert [(x.edge, x.count, x.match) for x in back.notches] == [
                (x.edge, x.count, x.match) for x in piece.notches
            ]
            for e, f in zip(back.notches, piece.notches, strict=True):
                there, was = back.edges[e.edge].at(e.at_mm)[0], piece.edges[f.edge].at(f.at_mm)[0]
                np.testing.assert_allclose(there, moved(was), atol=0.02)
            lines = back.notch_lines(cut.allowances)
            assert back.label == (piece.label or (n,))
            assert (back.cut, back.pair, back.turns) == (piece.cut, piece.pair, piece.turns)
            total += len(lines) + len(back.darts) + len(back.marks)
    there = [sum(x.count for x in p.notches) + len(p.darts) + len(p.marks) for p in pieces.values()]
    assert total == 2 * sum(there) >= 18  # after each of the two ways back


@pytest.fixture
def foreign(tmp_path: Path) -> Callable[..., Found]:
    """Outlines of a drawing with one block, drawn by a function."""

    def reader(draw: Callable[[Any, Any], object]) -> Found:
        document = ezdxf.new("R2000")
        document.header["$INSUNITS"] = 4
        block = document.blocks.new("P1")
        document.modelspace().add_blockref("P1", (0, 0))
        draw(document, block)
        path = tmp_path / "foreign.dxf"
        document.saveas(path)
        return read_outlines(path)

    return reader


SEW = [(0.0, 0.0), (200.0, 0.0), (200.0, 100.0), (0.0, 100.0)]


def polyline(block: Any, points: Any, layer: str, closed: bool = True) -> None:
    """A POLYLINE on a layer."""
    block.add_polyline2d(points, close=closed, dxfattribs={"layer": layer})


def cut_of(found: Found) -> tuple[Any, np.ndarray]:
    """The one piece of a file and what it is cut along, its sewing line at (0, 0) again."""
    (outline,) = found.outlines
    cut = as_allowances(adopt(outline))
    return cut, cut.piece.cutting_line(cut.allowances)


@pytest.mark.parametrize(
    ("boundary", "allowances"),
    [
        ([(-10, -10), (210, -10), (210, 110), (-10, 110)], {"all": 10.0}),
        # constant edge by edge: 30 below, 10 elsewhere; the corners run on
        ([(-10, -30), (210, -30), (210, 110), (-10, 110)], {"all": 10.0, "bottom": 30.0}),
        # the hem's allowance stands square to the side seams, which end at the hem
        (
            [(0, -30), (200, -30), (200, 0), (210, 0), (210, 110), (-10, 110), (-10, 0), (0, 0)],
            {},
        ),
        ([(-10, -10), (210, -25), (210, 110), (-10, 110)], {}),  # wider to one side
        ([(-10, -10), (205, -10), (210, -5), (210, 110), (-10, 110)], {}),  # a corner cut off
    ],
)
def test_a_foreign_cutting_line_is_kept(
    foreign: Callable[..., Found], boundary: list[tuple[float, float]], allowances: dict[str, float]
) -> None:
    """The piece is cut along layer 1 whatever it looks like, never on the seam of layer 14: as
    allowances where they tell it, else as the line itself."""

    def draw(_: Any, block: Any) -> None:
        polyline(block, boundary, "1")
        polyline(block, SEW, "14")

    cut, ring = cut_of(foreign(draw))
    assert shapely.symmetric_difference(shapely.Polygon(ring), shapely.Polygon(boundary)).area < 1
    assert cut.allowances == allowances
    assert (cut.piece.own_cutting_line is None) == bool(allowances)
    assert shapely.Polygon(cut.piece.sewing_line).equals(shapely.Polygon(SEW))


@pytest.mark.parametrize(("off", "kept"), [(SAME_MM / 2, False), (SAME_MM * 2, True)])
def test_a_cutting_line_nearly_as_allowances_is_told_as_such(
    foreign: Callable[..., Found], off: float, kept: bool
) -> None:
    """A bump of half the tolerance is a drawing's slack; one of twice that keeps the line."""

    def draw(_: Any, block: Any) -> None:
        bump = [(95, -10), (100, -10 - off), (105, -10)]
        polyline(block, [(-10, -10), *bump, (210, -10), (210, 110), (-10, 110)], "1")
        polyline(block, SEW, "14")

    cut, _ = cut_of(foreign(draw))
    assert (cut.piece.own_cutting_line is not None) == kept


def test_foreign_lines_inside_come_along(foreign: Callable[..., Found]) -> None:
    """Notches as points or lines, drill holes, a dart, an internal line and a cut-out are taken; a
    stripe line, which a piece has no place for, is named with its count."""

    def draw(_: Any, block: Any) -> None:
        polyline(block, [(-10, -10), (210, -10), (210, 110), (-10, 110)], "1")
        polyline(block, SEW, "14")
        block.add_point((50, -10), dxfattribs={"layer": "4"})
        block.add_point((210, 40), dxfattribs={"layer": "4"})
        block.add_line((210, 40), (206, 40), dxfattribs={"layer": "4"})  # the same, as a line
        block.add_line((120, 110), (120, 106), dxfattribs={"layer": "4"})
        block.add_point((60, 60), dxfattribs={"layer": "13"})
        block.add_circle((90, 60), 2, dxfattribs={"layer": "13"})
        polyline(
            block, [(80, 0), (90, 40), (100, 0)], "8", closed=False
        )  # its legs end on the seam
        block.add_line((20, 20), (180, 20), dxfattribs={"layer": "8"})
        polyline(block, [(150, 60), (170, 60), (160, 80)], "11")
        block.add_line((0, 50), (200, 50), dxfattribs={"layer": "9"})
        block.add_line((100, 20), (100, 80), dxfattribs={"layer": "7"})
        block.add_text("PIECE NAME: yoke", dxfattribs={"layer": "1"})
        block.add_text("gather here", dxfattribs={"layer": "15"})

    found = foreign(draw)
    piece = adopt(found.outlines[0])
    assert sorted((n.edge, round(n.at_mm, 3)) for n in piece.notches) == [
        ("bottom", 50.0), ("right", 40.0), ("top", 80.0),
    ]  # fmt: skip
    assert [d.tip for d in piece.darts] == [(90.0, 40.0)]
    np.testing.assert_allclose([m.points[0] for m in piece.drills], [(60, 60), (90, 60)], atol=0.01)
    lines = {m.name: m.points.tolist() for m in piece.marks if len(m.points) > 1}
    assert lines["line"] == [[20, 20], [180, 20]]
    assert lines["cut-out"] == [[150, 60], [170, 60], [160, 80]]
    assert any("1 × line on layer '9'" in n for n in found.notes)
    assert "1 text left out." in found.notes


@pytest.mark.parametrize(
    ("texts", "cut"),
    [
        (["CATEGORY: L,R"], 2),
        (["Category: l, r", "Quantity: 2"], 2),
        (["QUANTITY: 1,1"], 2),
        (["QUANTITY: 4", "CATEGORY: L,R"], 4),
    ],
)
def test_left_and_right_are_a_pair(
    foreign: Callable[..., Found], texts: list[str], cut: int
) -> None:
    """A piece whose category is left and right is cut as a pair."""

    def draw(_: Any, block: Any) -> None:
        polyline(block, SEW, "1")
        for text in texts:
            block.add_text(text, dxfattribs={"layer": "1"})

    (outline,) = foreign(draw).outlines
    assert (outline.pair, outline.cut) == (True, cut)


@pytest.mark.parametrize("state", ["off", "freeze"])
def test_layers_switched_off_stay_out(foreign: Callable[..., Found], state: str) -> None:
    """What the drawing program does not show is not taken, and its count is told."""

    def draw(document: Any, block: Any) -> None:
        document.layers.add("4")
        getattr(document.layers.get("4"), state)()
        document.layers.add("sketch")
        getattr(document.layers.get("sketch"), state)()
        polyline(block, SEW, "1")
        block.add_point((50, 0), dxfattribs={"layer": "4"})
        document.modelspace().add_circle((500, 0), 50, dxfattribs={"layer": "sketch"})

    found = foreign(draw)
    assert [o.name for o in found.outlines] == ["P1"]
    assert not adopt(found.outlines[0]).notches
    assert any("2 lines on layers switched off" in n for n in found.notes)


def test_every_consumer_shows_what_came_in(tmp_path: Path) -> None:
    """Table, print and export draw an imported piece's lines as they draw a drafted one's."""
    from drafting.export.marks import strokes
    from projector.picture.faces import face_of

    pieces, own = shipped("pier-skirt")
    for outline in read_outlines(write(tmp_path / "a.dxf", pieces, own)).outlines:
        cut, before = as_allowances(adopt(outline)), pieces[outline.name]
        for cloth in (None, Docket.load(next(CONFIGS.glob("*s/pier-skirt.yaml"))).cloth):
            a = face_of(cut.piece, dict(cut.allowances), cloth)
            b = face_of(before, own[outline.name], cloth)
            for kind in ("notch", "dart", "mark", "inner"):
                assert len(a.lines[kind]) == len(b.lines[kind]), (outline.name, kind)
        drawn = [
            sorted((s.kind, s.name) for s in strokes(p, o) if s.kind not in ("sign", "fold"))
            for p, o in ((cut.piece, cut.allowances), (before, own[outline.name]))
        ]
        assert drawn[0] == drawn[1]


HERS = "<b>&\"' {x} $y %U \\U+0041 (a\\) ]]> рукав 袖 \U0001f9f5"


@pytest.mark.parametrize("kind", ["svg", "dxf"])
def test_her_words_come_back_as_she_wrote_them(tmp_path: Path, kind: str) -> None:
    """Names of pieces, edges and marks, labels and matches hold markup, quotes, backslashes, any
    script and letters past U+FFFF; control characters and half letters do no harm."""
    (name, sleeve), broken = list(garment().items())[1], "\x00\x0b\ud800"
    edges = {
        f"{HERS} {i}": Edge(f"{HERS} {i}", e.points) for i, e in enumerate(sleeve.edges.values())
    }
    piece = sleeve.with_(
        name=HERS,
        edges=edges,
        notches=(Notch(f"{HERS} 2", 100.0, 2, HERS),),
        marks=(Mark(HERS, [(0.0, 100.0), (30.0, 100.0)]),),  # type: ignore[arg-type]
        label=(HERS, f"{HERS}{broken}"),
    )
    (outline,) = read_outlines(write(tmp_path / f"a.{kind}", {name: piece}, None)).outlines
    back = adopt(outline)
    assert (back.name, list(back.edges)) == (HERS, list(edges))
    assert [(n.edge, n.match) for n in back.notches] == [(f"{HERS} 2", HERS)]
    assert [m.name for m in back.marks] == [HERS]
    assert back.label[1].rstrip() == HERS


def test_her_words_do_no_harm_on_paper() -> None:
    """A title with markup, brackets, a half letter and a bell is printed and is the PDF's title."""
    made = pieces_pdf(garment(), ALLOWANCES, title=f"{HERS}\ud800\x07")
    document = pypdfium2.PdfDocument(made.data)
    assert document.get_metadata_value("Title").strip() == HERS
    assert "<b>&\"' {x} $y %U \\U+0041 (a\\) ]]>" in document[0].get_textpage().get_text_range()


# beside the fold at 103 a real corner, whose next point lies further up the same fold
SLIVER = [(0, 0), (100, 0), (100, 100), (30, 100), (0.005, 103), (0, 110)]


def farthest(first: Any, second: Any) -> float:
    """mm between two rings at most, looked at every quarter of a millimetre on both."""
    rings = [shapely.LinearRing(r) for r in (first, second)]
    tried = [shapely.points(r.segmentize(0.25).coords) for r in rings]
    return float(max(shapely.distance(tried[i], rings[1 - i]).max() for i in (0, 1)))


def on_fold(top: float, cutting: Any = None) -> Piece:
    """A piece on the fold, 90 mm wide and ``top`` high, with a cutting line of its own."""
    edges = {
        "side": Edge("side", [(0, 5), (90, 5), (90, 0.9 * top), (0, top)]),
        "fold": Edge("fold", [(0, top), (0, 5)]),
    }
    return Piece("back", edges, fold=((0, top), (0, 5)), own_cutting_line=cutting)


def there_and_back(piece: Piece, own: Any, path: Path) -> np.ndarray:
    """The cutting line of a piece after its way through a file, at the piece's own height."""
    (outline,) = read_outlines(write(path, {piece.name: piece}, own)).outlines
    cut = as_allowances(adopt(outline))
    return cut.piece.cutting_line(cut.allowances) + np.array([0, piece.sewing_line[:, 1].min()])


@pytest.mark.parametrize("kind", ["svg", "dxf"])
def test_a_corner_on_the_fold_stays(tmp_path: Path, kind: str) -> None:
    """The cutting line of a piece on the fold keeps every corner, those on the fold too, and opened
    out it is both halves."""
    piece = on_fold(95.0, SLIVER)
    back = there_and_back(piece, None, tmp_path / f"a.{kind}")
    for ring in (piece.cutting_line(), back):
        assert farthest(ring, [*SLIVER[:4], (0, 103)]) < 0.02
    whole = shapely.Polygon(piece.unfolded())
    assert whole.area == pytest.approx(2 * (100 * 100 + 3 * 15), abs=0.1)


def test_what_lies_past_the_fold_is_cut_off_there() -> None:
    """A cutting line drawn round the fold ends where it crosses it, not where it would have gone."""
    round_it = [(-10, -10), (100, -10), (100, 100), (50, 110), (-10, 130)]
    ring = on_fold(95.0, round_it).cutting_line()
    assert farthest(ring, [(0, -10), (100, -10), (100, 100), (50, 110), (0, 110 + 50 / 3)]) < 1e-9


@pytest.mark.parametrize(("off", "fits"), [(FOLD_NEAR_MM / 2, True), (FOLD_NEAR_MM * 2, False)])
def test_a_cutting_line_that_misses_the_fold_is_refused(off: float, fits: bool) -> None:
    """It must reach the fold at both its ends, within a drawing's slack."""
    ring = [(off, 0), (100, 0), (100, 100), (off, 110)]
    if fits:
        assert on_fold(95.0, ring).cutting_line()[:, 0].min() == 0.0
        return
    with pytest.raises(InputError, match="does not lie along the fold in one stretch"):
        on_fold(95.0, ring)


@pytest.mark.parametrize("seed", range(12))
def test_pieces_on_the_fold_come_back_as_they_were_cut(tmp_path: Path, seed: int) -> None:
    """Random pieces on the fold, with a corner of the cutting line beside it or even allowances, are
    cut on the same line after a way through a file."""
    rng = np.random.default_rng(seed)
    top, kind = float(rng.uniform(60, 400)), ("svg", "dxf")[seed % 2]
    piece, own = on_fold(top), {"all": float(np.round(rng.uniform(4, 25), 1))}
    ring = piece.cutting_line(own)
    if seed % 3:
        size = own["all"]
        corner = (float(rng.choice([0.0, 0.003, 0.02])), top + size * rng.uniform(0.1, 0.9))
        high = int(np.argmax(np.where(ring[:, 0] == 0, ring[:, 1], -1e9)))
        lead = [(0.0, float(ring[high, 1]))] if seed % 2 else []
        ring = np.array([*ring[:high], corner, *lead, *ring[high + 1 :]])
        piece = piece.with_(own_cutting_line=ring)
        ring = np.array([p for p in ring if tuple(p) not in lead])
    back = there_and_back(piece, {"back": own}, tmp_path / f"a.{kind}")
    assert farthest(back, ring) < 0.05


def test_a_line_through_the_same_corners_in_another_order_is_another() -> None:
    """Lines are compared all along, not at their corners: dented below and dented at the right are
    two shapes of the same five corners."""
    below = [(0, 0), (100, 30), (200, 0), (200, 100), (0, 100)]
    right = [(0, 0), (200, 0), (100, 30), (200, 100), (0, 100)]
    piece = Piece.from_outline("s", below)
    assert as_allowances(piece.with_(own_cutting_line=below)).allowances == {"all": 0.0}
    kept = as_allowances(piece.with_(own_cutting_line=right))
    assert farthest(kept.piece.cutting_line(kept.allowances), right) < 1e-9
