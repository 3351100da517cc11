"""Pieces as SVG, judged by svgpathtools and the standard library's XML reader."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator, Mapping
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
import svgpathtools
from exchange_pieces import ALLOWANCES, front, garment, sleeve

from configs.errors import InputError
from drafting import draft
from drafting.docket import Docket
from drafting.export.marks import clear_grain, label_along, strokes
from drafting.export.svg import pieces_svg
from drafting.piece import Piece

CONFIGS = Path(__file__).parents[2] / "configs"
SVG = "{http://www.w3.org/2000/svg}"


def paths(text: str, piece: str) -> dict[tuple[str, str], svgpathtools.Path]:
    """(class, edge) → path of one piece, by an outside reader."""
    group = next(
        g for g in ElementTree.fromstring(text).iter(f"{SVG}g") if g.get("data-piece") == piece
    )
    return {
        (p.get("class") or "", p.get("data-edge") or p.get("id") or ""): svgpathtools.parse_path(
            p.get("d")
        )
        for p in group.iter(f"{SVG}path")
    }


def test_one_user_unit_is_a_millimetre() -> None:
    """Width and height are given in mm and equal to the viewBox, so every viewer shows true size."""
    root = ElementTree.fromstring(pieces_svg(garment(), ALLOWANCES, title="rehearsal top"))
    assert root.tag == f"{SVG}svg"
    box = [float(v) for v in root.get("viewBox", "").split()]
    assert box[:2] == [0.0, 0.0]
    for key, size in (("width", box[2]), ("height", box[3])):
        match = re.fullmatch(r"([\d.]+)mm", root.get(key, ""))
        assert match and float(match.group(1)) == size


def test_every_edge_keeps_its_length_for_an_outside_reader() -> None:
    """svgpathtools measures every named edge as the piece does, within 0.001 mm."""
    text = pieces_svg(garment(), ALLOWANCES)
    for piece in garment().values():
        found = paths(text, piece.name)
        for name, edge in piece.edges.items():
            kind = "fold" if name == "fold" else "sewing"
            assert found[kind, name].length() == pytest.approx(edge.length_mm, abs=1e-3), name


def cut_path(text: str, piece: str) -> svgpathtools.Path:
    """The cutting line of one piece, by an outside reader."""
    return next(p for (kind, _), p in paths(text, piece).items() if kind == "cutting")


def around(ring: np.ndarray) -> float:
    """Length in mm once round a closed ring."""
    return float(np.linalg.norm(np.diff(np.vstack([ring, ring[:1]]), axis=0), axis=1).sum())


def test_the_fold_is_no_part_of_the_cutting_path() -> None:
    """A cutting machine follows the path from the fold's one end to its other, and never the fold.

    front's cut line runs on x = 0 from 25 mm under its hem to 6 mm above its neckline, by hand.
    """
    text = pieces_svg(garment(), ALLOWANCES)
    for piece in garment().values():
        path = cut_path(text, piece.name)
        assert path.isclosed() == (piece.fold is None), piece.name
        fold = 25.0 + 544.0 + 6.0 if piece.fold is not None else 0.0
        expected = around(piece.cutting_line(ALLOWANCES)) - fold
        assert path.length() == pytest.approx(expected, abs=2e-3)
    half = cut_path(text, "front")
    on_fold = paths(text, "front")["fold", "fold"][0].start.real
    for step in half:
        assert max(step.start.real, step.end.real) > on_fold + 1e-3
    assert half.start.real == pytest.approx(on_fold) == pytest.approx(half.end.real)


@pytest.mark.parametrize("name", ["rehearsal-top", "pier-skirt"])
def test_the_whole_piece_is_drawn_on_asking(name: str) -> None:
    """Unfolded, the cutting path is closed, without a fold, and has the half on both sides of it."""
    docket = Docket.load(next(CONFIGS.glob(f"*/{name}.yaml")))
    own = {n: docket.allowances_for(n) for n in docket.pieces()}
    text = pieces_svg(docket.pieces(), own, unfolded=True)
    folded = {n: p for n, p in docket.pieces().items() if p.fold is not None}
    assert folded
    for n, piece in folded.items():
        path = cut_path(text, n)
        assert path.isclosed()
        assert not [kind for kind, _ in paths(text, n) if kind == "fold"]
        half = piece.cutting_line(own[n])
        on = half[np.abs(half[:, 0]) < 1e-6, 1]
        assert path.length() == pytest.approx(2 * (around(half) - np.ptp(on)), abs=5e-3)
        whole = shapely.Polygon([(z.real, z.imag) for z in (s.start for s in path)])
        assert whole.area == pytest.approx(2 * shapely.Polygon(half).area, rel=1e-6)
        notches = sum(n.count for n in piece.opened().notches)
        drawn = [
            k
            for k in ElementTree.fromstring(text).iter(f"{SVG}path")
            if k.get("id", "").startswith(f"{n.replace(' ', '-')}.notch")
        ]
        assert len(drawn) == notches


def test_piece_stands_upright() -> None:
    """The hem lies lower on the page than the neckline, and the piece is not mirrored."""
    found = paths(pieces_svg({"front": front()}, ALLOWANCES), "front")
    hem, neck = found["sewing", "hem"], found["sewing", "neckline"]
    assert min(s.start.imag for s in hem) > max(s.end.imag for s in neck)
    assert hem[0].end.real > hem[0].start.real  # the hem runs away from the fold, to the right
    assert hem[0].start.real == pytest.approx(found["fold", "fold"][0].start.real)


def test_every_kind_of_line_has_its_class() -> None:
    """Cutting, sewing, fold, grain, notch, dart, drill and inner lines can be told apart."""
    kinds = {kind for kind, _ in paths(pieces_svg({"front": front()}, ALLOWANCES), "front")}
    assert kinds == {"cutting", "sewing", "fold", "grain", "notch", "dart", "drill", "mark", "sign"}


def test_ids_are_unlike_and_names_survive_any_script() -> None:
    """Markup, quotes and any script in names and titles stay text; ids are never given twice."""
    names = ["sleeve", "<b>&\"'", "рукав", "рукав 2", "袖", "a b", "a-b"]
    pieces = {n: sleeve().with_(name=n) for n in names}
    text = pieces_svg(pieces, None, title="Ωμέγα <choir> & co\x0b")
    root = ElementTree.fromstring(text)
    assert root.find(f"{SVG}title").text == "Ωμέγα <choir> & co"  # type: ignore[union-attr]
    assert [g.get("data-piece") for g in root.iter(f"{SVG}g") if g.get("data-piece")] == names
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[A-Za-z][\w.-]*", i or "", re.ASCII) for i in ids)


def test_pieces_stand_side_by_side() -> None:
    """In one document no two pieces' cutting lines come nearer than 15 mm, and all lie inside."""
    text = pieces_svg(garment(), ALLOWANCES)
    width = float(ElementTree.fromstring(text).get("viewBox", "").split()[2])
    spans = []
    for piece in garment().values():
        path = next(p for (kind, _), p in paths(text, piece.name).items() if kind == "cutting")
        left, right, _, _ = path.bbox()
        spans.append((left, right))
    assert spans[0][0] > 0 and spans[-1][1] < width
    assert all(b[0] - a[1] >= 15 for a, b in pairwise(spans))


def test_label_says_how_many_to_cut_and_the_allowances() -> None:
    """Each piece says its name, how to cut it and which allowances are drawn."""
    text = pieces_svg(garment(), ALLOWANCES, title="rehearsal top")
    said = [t.text for t in ElementTree.fromstring(text).iter(f"{SVG}text")]
    for line in (
        "front",
        "cut 1 on the fold",
        "cut 2, a pair",
        "allowance 10 mm; hem 25, neckline 6",
        "rehearsal top",
    ):
        assert line in said


def test_allowances_may_differ_by_piece() -> None:
    """Piece → allowances is taken as well as one set for all."""
    own = {"front": {"all": 0.0}, "sleeve": {"all": 15.0}, "cuff": {"all": 5.0}}
    text = pieces_svg(garment(), own)
    cuff = next(p for (kind, _), p in paths(text, "cuff").items() if kind == "cutting")
    assert cuff.length() == pytest.approx(2 * (250 + 70), abs=1e-3)


def test_no_pieces_is_said() -> None:
    """An empty garment is refused in words."""
    with pytest.raises(InputError, match="no pieces"):
        pieces_svg({}, None)


def test_label_lies_inside_the_piece() -> None:
    """The label's middle lies inside the sewing line, also of a crescent whose middle is empty."""
    from exchange_pieces import arc

    crescent = np.vstack([arc((0, 0), 200, 0, 180), arc((0, 0), 120, 180, 0)])
    text = pieces_svg({"facing": Piece.from_outline("facing", crescent)}, None)
    label = next(t for t in ElementTree.fromstring(text).iter(f"{SVG}text"))
    x, y = float(label.get("x", "nan")), float(label.get("y", "nan"))
    path = next(p for (kind, _), p in paths(text, "facing").items() if kind == "sewing")
    assert svgpathtools.path_encloses_pt(complex(x, y), complex(-10, -10), path)


def _clear(piece: Piece, grain: np.ndarray) -> float:
    """Distance in mm from a grain line to the nearest other line of the piece."""
    line = shapely.LineString(grain)
    ring = shapely.LinearRing(piece.sewing_line)
    others = [ring, *(shapely.LineString(m.points) for m in piece.marks if len(m.points) > 1)]
    assert shapely.Polygon(piece.sewing_line).contains(line)
    return min(line.distance(o) for o in others)


@pytest.mark.parametrize(
    "path", [*CONFIGS.glob("dockets/*.yaml"), *CONFIGS.glob("styles/*.yaml")], ids=lambda p: p.stem
)
def test_the_grain_arrow_crosses_nothing(path: Path) -> None:
    """On paper and under the beam it keeps off sewing line, fold sign and marks, on every piece."""
    from projector.picture.faces import face_of

    docket = Docket.load(path)
    for name, piece in docket.pieces().items():
        least = 3.0 if piece.area_mm2 < 40_000 else 9.9
        for shape in (piece, piece.opened()):
            grain = clear_grain(shape)
            assert _clear(shape, grain) >= least, name
            own = np.diff(np.array(shape.grain), axis=0)[0]
            turned = np.diff(grain, axis=0)[0]
            assert abs(own[0] * turned[1] - own[1] * turned[0]) < 1e-3 * np.hypot(*own)
            assert own @ turned > 0
        drawn = [s for s in strokes(piece, docket.allowances_for(name)) if s.name == "fold sign"]
        for sign in drawn:
            assert (
                shapely.LineString(sign.points).distance(shapely.LineString(clear_grain(piece))) > 5
            )
        for cloth in (docket.cloth, None):
            face = face_of(piece, docket.allowances_for(name), cloth)
            shaft = face.lines["grain"][0]
            on_half = face.on_fold or piece.fold is None
            if cloth is None or cloth.cut_scale == (1.0, 1.0):
                assert _clear(piece if on_half else piece.opened(), shaft) >= least, name


def test_the_slit_is_written_beside_its_bar() -> None:
    """The slit's end is a bar square to the fold with its length beside it, and no cutting line."""
    back = Docket.load(CONFIGS / "dockets" / "rehearsal-top.yaml").pieces()["back"]
    text = pieces_svg({"back": back}, {"all": 10.0})
    beside = [t for t in ElementTree.fromstring(text).iter(f"{SVG}text") if t.text]
    assert [t for t in beside if (t.text or "").startswith("slit ")]
    bars = [s for s in strokes(back, None) if s.name.startswith("slit ")]
    assert [s.kind for s in bars] == ["mark"]
    assert shapely.Polygon(back.cutting_line()).equals(
        shapely.Polygon(back.with_(marks=()).cutting_line())
    )


def test_a_strip_takes_its_label_along() -> None:
    """The label of a 4 cm bias strip stays on the strip."""
    style = {"neckline_finish": "bias", "binding_width": "4 cm"}
    docket = Docket.load(CONFIGS / "dockets" / "rehearsal-top.yaml")
    strip = draft("quick-top", docket.draft().measurements, style).pieces["neck binding"]
    place = label_along(strip)
    assert place is not None
    (x, y), along, across, turn = place
    box = shapely.box(-along / 2, -across / 2, along / 2, across / 2)
    box = shapely.affinity.translate(shapely.affinity.rotate(box, turn, origin=(0, 0)), x, y)
    assert shapely.Polygon(strip.sewing_line).contains(box)
    said = [
        t.text
        for t in ElementTree.fromstring(pieces_svg({"strip": strip}, None)).iter(f"{SVG}text")
        if t.text
    ]
    assert said[0] == "neck binding"
    assert said[1].startswith("cut 1 on the bias · cut as drawn")


SHIPPED = sorted([*(CONFIGS / "dockets").glob("*.yaml"), *(CONFIGS / "styles").glob("*.yaml")])


@pytest.mark.parametrize("docket", SHIPPED, ids=lambda p: p.stem)
def test_no_line_crosses_the_words_on_a_piece(docket: Path) -> None:
    """The size beside a slit's bar and the label lie inside the sewing line, clear of all lines.

    Widths of letters by fpdf2's Helvetica, heights by its letters' own (0.72 up, 0.21 down).
    """
    from fpdf import FPDF

    pdf = FPDF(unit="mm")
    pdf.set_font("Helvetica", size=72 / 25.4)
    seen = 0
    read = Docket.load(docket)
    for name, piece in read.pieces().items():
        lines = shapely.union_all(
            [shapely.LineString(s.inked) for s in strokes(piece, read.allowances_for(name))]
        )
        group = ElementTree.fromstring(
            pieces_svg({"piece": piece}, read.allowances_for(name), title="t")
        )
        x0, y0 = (v[0] for v in page_shift(piece, read.allowances_for(name)))
        inside = shapely.Polygon(piece.sewing_line)
        for words, turn in words_of(group):
            size = float(words.get("font-size", "0"))
            wide = pdf.get_string_width((words.text or "").replace("·", "-")) * size
            x, y = float(words.get("x", "0")), float(words.get("y", "0"))
            left = x - wide / 2 if turn is not None else x
            box = shapely.box(left, y - 0.72 * size, left + wide, y + 0.21 * size)
            if turn:
                degrees, px, py = (float(v) for v in turn)
                box = shapely.affinity.rotate(box, degrees, origin=(px, py))
            box = shapely.affinity.affine_transform(box, [1, 0, 0, -1, -x0, y0])
            assert inside.contains(box), (name, words.text)
            assert lines.distance(box) > 0.3, (name, words.text)
            seen += 1
    assert seen >= 8


def page_shift(piece: Piece, own: Mapping[str, float]) -> tuple[tuple[float], tuple[float]]:
    """Where a piece's (0, 0) lies on its page: 10 mm of margin round all that is drawn."""
    points = np.vstack([s.points for s in strokes(piece, own)])
    low, high = points.min(axis=0), points.max(axis=0)
    return (10.0 - low[0],), (10.0 + high[1],)


def words_of(
    root: ElementTree.Element,
) -> Iterator[tuple[ElementTree.Element, tuple[str, ...] | None]]:
    """Each text of one piece; for those of its label how it is turned: () or (degrees, x, y)."""
    for group in root.iter(f"{SVG}g"):
        if group.get("class") == "label":
            turned = re.match(r"rotate\((\S+) (\S+) (\S+)\)", group.get("transform", ""))
            for text in group.findall(f"{SVG}text"):
                yield text, turned.groups() if turned else ()
        elif group.get("class") == "piece":
            for text in group.findall(f"{SVG}text"):
                yield text, None


def test_labels_on_facings_can_be_read() -> None:
    """On every facing and pocket the letters are 4 mm or more, the name and the cut among them; a
    large piece keeps all its rows (4 mm: common practice, no source)."""
    from configs import shipped
    from drafting import Measurements, draft
    from drafting.export.marks import label_of
    from drafting.figures.drawing import svg_width

    body = Measurements.load(shipped("measurements", "alto-3.yaml"))
    style = {
        "neckline": "v",
        "neckline_finish": "facing",
        "armhole_finish": "facing",
        "pocket": "chest",
    }
    pieces = draft("quick-top", body, style=style).pieces
    for name, piece in pieces.items():
        label = label_of(piece, {"all": 10.0}, "rehearsal top for the autumn concert")
        rows = label.set_in(svg_width, 2.0)
        assert min(size for _, size, _ in rows) >= 4.0, name
        assert rows[0][0] == label.rows[0] and "cut" in " ".join(r for r, _, _ in rows), name
        if name == "front":
            assert len(rows) == len(label.rows)


def test_no_shipped_piece_has_letters_too_small() -> None:
    """Facings, bindings, plackets of every shipped style: 4 mm and more, with the name and the cut."""
    from configs import shipped
    from drafting import Docket
    from drafting.export.marks import label_of
    from drafting.figures.drawing import svg_width

    told = 0
    for style in sorted(shipped("styles").glob("*.yaml")):
        docket = Docket.load(style)
        for name, piece in docket.pieces().items():
            label = label_of(piece, docket.allowances_for(name), docket.title)
            rows = label.set_in(svg_width, 2.0)
            assert min(size for _, size, _ in rows) >= 4.0, (style.stem, name, rows)
            assert name in rows[0][0] and "cut" in " ".join(r for r, _, _ in rows), (name, rows)
            told += 1
    assert told > 50
