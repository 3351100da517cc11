"""Imported pieces in a docket: all that lies on them is written and read back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from exchange_pieces import ALLOWANCES, front, garment

from configs.errors import InputError
from configs.reader import Reader
from drafting.docket import Docket
from drafting.piece import Notch, Piece
from drafting.piece_entry import read_entries

HEAD = "chalkbeam: 1\ntitle: harbour pouch\n"


def saved(tmp_path: Path, pieces: dict[str, Piece], unit: str = "mm") -> dict[str, Piece]:
    """The pieces after a docket was written with them and read again."""
    path = Docket(title="t", unit=unit, imported=pieces).save(tmp_path / "t.yaml")
    return Docket.load(path).pieces()


@pytest.mark.parametrize("unit", ["mm", "cm", "in"])
def test_everything_on_a_piece_comes_back(tmp_path: Path, unit: str) -> None:
    """Notches, darts, drill holes, marks, corners, label and size, whatever the docket's unit."""
    corners = {("hem", "side"): ("squared", "side")}
    odd = front().with_(corners=corners, label=("front", "cut 1 on the fold", "mind the nap"))
    pieces = {**garment(), "front": odd}
    for name, after in saved(tmp_path, pieces, unit).items():
        before = pieces[name]
        np.testing.assert_allclose(after.sewing_line, before.sewing_line, atol=1e-4)
        assert [(n.edge, n.count, n.match) for n in after.notches] == [
            (n.edge, n.count, n.match) for n in before.notches
        ]
        np.testing.assert_allclose(
            [n.at_mm for n in after.notches], [n.at_mm for n in before.notches], atol=1e-4
        )
        assert [d.edge for d in after.darts] == [d.edge for d in before.darts]
        np.testing.assert_allclose(
            [(d.first, d.second, d.tip) for d in after.darts],
            [(d.first, d.second, d.tip) for d in before.darts],
            atol=1e-4,
        )
        assert [(m.name, m.closed) for m in after.marks] == [
            (m.name, m.closed) for m in before.marks
        ]
        for a, b in zip(after.marks, before.marks, strict=True):
            np.testing.assert_allclose(a.points, b.points, atol=1e-4)
        assert dict(after.corners) == dict(before.corners)
        assert after.label == (before.label or (name,))
        cut = [shapely.Polygon(p.cutting_line(ALLOWANCES)) for p in (after, before)]
        assert shapely.symmetric_difference(*cut).area < 0.1


def test_a_cutting_line_of_its_own_goes_before_allowances(tmp_path: Path) -> None:
    """It is cut along the line that was drawn for it; notches start on that line."""
    odd = [(-5, -20), (250, -10), (245, 75), (-5, 65)]
    cuff = garment()["cuff"].with_(own_cutting_line=odd, notches=(Notch("edge", 120.0),))
    (after,) = saved(tmp_path, {"cuff": cuff}).values()
    for allowances in (None, {"all": 10.0}, {"all": 0.0}):
        assert shapely.Polygon(after.cutting_line(allowances)).equals(shapely.Polygon(odd))
        (notch,) = after.notch_lines(allowances)
        # by hand: at x = 120 the drawn line, from (-5, -20) to (250, -10), is at y = -20 + 125/25.5
        assert notch[0] == pytest.approx((120.0, -20.0 + 125.0 / 25.5))
        assert notch[1][1] - notch[0][1] == pytest.approx(4.0)


def test_the_whole_piece_is_cut_as_its_half_says() -> None:
    """Opened out, corners and a cutting line of its own lie as on the half and mirrored."""
    shaped = front().with_(corners={("hem", "side"): ("squared", "hem")})
    for piece in (shaped, front().with_(own_cutting_line=shaped.cutting_line(ALLOWANCES))):
        whole = shapely.Polygon(piece.opened().cutting_line(ALLOWANCES))
        half = shapely.Polygon(shaped.cutting_line(ALLOWANCES))
        both = shapely.union(half, shapely.affinity.scale(half, -1.0, 1.0, origin=(0, 0)))
        assert shapely.symmetric_difference(whole, both).area < 0.01


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ("notches: [{edge: brim, at: 10}]", "off its edge 'brim'"),
        ("notches: [{edge: edge, at: 1000}]", "off its edge 'edge'"),
        ("notches: [{edge: edge, at: 10, count: 0}]", r"notches\[0\].count"),
        ("notches: 3", "notches"),
        ("notches: [3]", r"notches\[0\]"),
        ("notches: [{edge: edge, att: 10}]", "att"),
        ("darts: [{edge: edge, first: [0, 0], second: [5, 0], tip: [1]}]", r"darts\[0\].tip"),
        ("marks: [{name: zip, points: []}]", r"marks\[0\].points"),
        ("marks: [{points: [[1, 2]]}]", r"marks\[0\].name"),
        ("corners: [{edges: [edge], kind: squared, by: edge}]", r"corners\[0\].edges"),
        ("corners: [{edges: [edge, edge], kind: round, by: edge}]", r"corners\[0\]"),
        ("cutting: [[0, 0], [60, 60], [60, 0], [0, 40]]", "cutting line"),
        ("cutting: 5", "cutting"),
        ("label: front", "label"),
        ("fold: [[0, 0], [0, 50]], marks: [{name: a, points: [[1, 2]]}]", "by 'edges'"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(tmp_path: Path, more: str, key: str) -> None:
    """Slips inside an entry of 'pieces' are told with the entry's key."""
    path = tmp_path / "t.yaml"
    path.write_text(
        f"{HEAD}pieces: [{{name: a, outline: [[0, 0], [50, 0], [50, 50], [0, 50]], {more}}}]\n"
    )
    with pytest.raises(InputError, match=key) as caught:
        Docket.load(path).pieces()
    assert all("pieces[0]" in f.where for f in caught.value.faults)


@pytest.mark.parametrize("name", ["a/b", " ", "x" * 81, "a\x1b[31m", ["a"], None, 7])
def test_what_is_no_name_of_a_piece_is_refused(name: object) -> None:
    """Names go into files, labels and 'piece/copy': short, shown, without a slash."""
    row = {"name": name, "outline": [[0, 0], [300, 0], [300, 200]]}
    reader = Reader({"pieces": [row, {**row, "name": "x" * 80}, {**row, "name": "x" * 80}]})
    assert list(read_entries(reader, "pieces")) == ["x" * 80]
    assert [f.where for f in reader.faults] == ["pieces[0].name", "pieces[2].name"]
