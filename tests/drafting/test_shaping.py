"""The scissors keep what paper keeps: areas, angles, lengths, and all that lies on the cloth."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shaping_pieces import aldrich_front, at, curved, drafted

from configs.errors import DraftError
from configs.reader import Reader
from drafting.outline import nearest_distance, signed_area
from drafting.piece import Piece
from drafting.shaping.changes import VERBS, read_changes, replay
from drafting.shaping.cutting import cut, join
from drafting.shaping.parts import End
from drafting.shaping.pivoting import pivot
from drafting.shaping.places import CutLine, beside, level_line, line_between, place
from drafting.shaping.spreading import fan, spread
from drafting.shaping.state import Work
from drafting.truing import check_dart_runs, check_seams, sewn_length

QUICK = settings(
    max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
SHARE = st.floats(0.06, 0.94)
WHO = st.sampled_from(["pear", "straight", "plus"])
NONE = np.zeros((0, 2))


def any_piece(kind: str, who: str) -> Piece:
    """A piece of each sort: tops, skirts with darts, a whole back, an imported outline."""
    if kind == "curved":
        return curved()
    block, name = kind.split("/")
    style = (("opening", "none"),) if block == "quick-top" else (("slit", "none"),)
    return drafted(block, who, *style).pieces[name]


KINDS = st.sampled_from(
    ["quick-top/front", "quick-top/back", "straight-skirt/front", "straight-skirt/back", "curved"]
)


def gap(a: Any, b: Any) -> float:
    """The largest distance from a line to another, both ways, mm."""
    return float(max(nearest_distance(a, b).max(), nearest_distance(b, a).max()))


def angle_deg(piece: Piece, about: Any) -> float:
    """Sum of the angles under which a piece's darts are seen from a point, by its own arithmetic."""
    total = 0.0
    for d in piece.darts:
        a, b = (np.array(p) - about for p in (d.first, d.second))
        cos = a @ b / (np.hypot(*a) * np.hypot(*b))
        total += math.degrees(math.acos(min(cos, 1.0)))
    return total


def area_closed(piece: Piece, about: Any) -> float:
    """Area left when every dart is cut out from its legs to a point, mm², by polygons."""
    shape = shapely.Polygon(piece.sewing_line)
    for d in piece.darts:
        edge = piece.edges[d.edge].points
        spots = [int(np.argmin(np.hypot(*(edge - np.array(p)).T))) for p in (d.first, d.second)]
        roof = edge[min(spots) : max(spots) + 1]
        shape = shape.difference(shapely.Polygon([*roof, about]).buffer(0))
    return float(shape.area)


def assert_same(a: Piece, b: Piece, off: float = 0.01) -> None:
    """Two pieces are one and the same: edges, fold, notches, darts, marks, landmarks, grain."""
    assert set(a.edges) == set(b.edges)
    for n, e in a.edges.items():
        assert gap(e.points, b.edges[n].points) < off, n
        assert e.length_mm == pytest.approx(b.edges[n].length_mm, abs=off)
    assert sorted((n.edge, round(n.at_mm, 1), n.match) for n in a.notches) == sorted(
        (n.edge, round(n.at_mm, 1), n.match) for n in b.notches
    )
    assert len(a.darts) == len(b.darts)
    for p, q in zip(sorted(a.marks, key=_first), sorted(b.marks, key=_first), strict=True):
        assert p.name == q.name
        if len(p.points) > 1:
            assert gap(p.points, q.points) < off
        else:
            np.testing.assert_allclose(p.points, q.points, atol=off)
    assert set(a.landmarks) == set(b.landmarks)
    assert (a.fold is None) == (b.fold is None)
    np.testing.assert_allclose(np.array(a.grain), np.array(b.grain), atol=off)


def _first(mark: Any) -> tuple[str, float, float]:
    return (
        mark.name,
        round(float(mark.points[:, 0].mean()), 3),
        round(float(mark.points[:, 1].mean()), 3),
    )


# --- pivots ------------------------------------------------------------------------------------


def test_dart_openings_of_a_bodice_front() -> None:
    """The 7 cm shoulder dart opens at five places to the widths that trigonometry gives, ± 0.05 cm.

    Front of bust 88 after W. Aldrich (from memory); widths derived: 2·r·sin(15.65°/2).
    """
    front = aldrich_front()
    bust = np.array(front.landmarks["bust point"])
    expected = {
        "side 40 mm from armhole": 42.8,
        "side 100 mm from armhole": 47.3,
        "armhole 84.4 mm from side": 34.2,
        "centre front 170 mm from waist": 26.8,
        "waist 98.5 mm from centre front": 46.3,
    }
    for words, wide in expected.items():
        q = pivot(front, bust, End.of_dart(front, front.darts[0]), at(front, words))
        (dart,) = q.darts
        width = np.hypot(*(np.array(dart.first) - np.array(dart.second)))
        assert width == pytest.approx(wide, abs=0.5), words
    # back on the shoulder it is the dart of the book again: 7.00 at 25.7 from the bust point
    shut = End.of_dart(front, front.darts[0])
    aside = pivot(front, bust, shut, at(front, "side 40 mm from armhole"))
    (dart,) = aside.darts
    again = pivot(aside, bust, End.of_dart(aside, dart), End.on(aside, "shoulder", shut.before))
    (dart,) = again.darts
    width = np.hypot(*(np.array(dart.first) - np.array(dart.second)))
    assert (dart.edge, width) == ("shoulder", pytest.approx(70.0, abs=0.5))
    assert dart.legs_mm == pytest.approx((257.0, 257.0), abs=0.5)
    half = pivot(front, bust, End.of_dart(front, front.darts[0]), End.on(front, "waist", 98.5), 0.5)
    assert [angle_deg(front.with_(darts=(d,)), bust) for d in half.darts] == pytest.approx(
        [7.83] * 2, abs=0.02
    )


@QUICK
@given(
    WHO,
    st.sampled_from(["front", "back"]),
    st.sampled_from(["side", "hem"]),
    SHARE,
    st.floats(0.1, 1.0),
)
def test_a_pivot_keeps_area_angles_and_edges(
    who: str, half: str, edge: str, share: float, part: float
) -> None:
    """Closed area 0.1 mm², angles about the point 0.01°, edges and seam lengths 0.01 mm; marks,
    grain and fold stay; and turned back it is the piece that it was."""
    piece = any_piece(f"straight-skirt/{half}", who)
    assume(piece.darts)
    dart = piece.darts[0]
    about = np.array(dart.tip)
    one = piece.with_(darts=(dart,))
    try:
        q = pivot(
            piece,
            about,
            End.of_dart(piece, dart),
            End.on(piece, edge, share * piece.edges[edge].length_mm),
            part,
        )
    except DraftError:
        assume(False)
    moved = [d for d in q.darts if np.hypot(*(np.array(d.tip) - about)) < 1e-3]
    assert angle_deg(q.with_(darts=tuple(moved)), about) == pytest.approx(
        angle_deg(one, about), abs=0.01
    )
    assert area_closed(q.with_(darts=tuple(moved)), about) == pytest.approx(
        area_closed(one, about), abs=0.1
    )
    for n in piece.edges:
        assert sewn_length(q, n) == pytest.approx(sewn_length(piece, n), abs=0.01)
        if n not in (edge, dart.edge):
            assert q.edges[n].length_mm == pytest.approx(piece.edges[n].length_mm, abs=0.01)
    assert len(q.drills) == len(q.darts)
    assert q.fold == piece.fold
    assert len(q.notches) - 2 * len(q.darts) == len(piece.notches) - 2 * len(piece.darts)
    for d in q.darts:
        assert d.legs_mm[0] == pytest.approx(d.legs_mm[1], abs=0.01)
    if part > 0.999:
        new = next(d for d in q.darts if d.edge == edge and d in moved)
        index = next(i for i, d in enumerate(q.darts) if d is new)
        # where the waist's two stretches met when the dart was shut
        shut = End.on(q, dart.edge, End.of_dart(piece, dart).before)
        back = pivot(q, about, End.of_dart(q, q.darts[index]), shut)
        for n, e in piece.edges.items():
            assert sewn_length(back, n) == pytest.approx(sewn_length(piece, n), abs=0.01)
            if n not in (edge, dart.edge):
                assert gap(e.points, back.edges[n].points) < 0.02


@pytest.mark.parametrize(
    ("width", "tip", "length", "gain"), [(20.0, 100.0, 510.0, 102.0), (20.0, 140.0, 460.0, 66.0)]
)
def test_an_a_line_by_closing_a_dart(width: float, tip: float, length: float, gain: float) -> None:
    """Closing a waist dart opens the hem by 2·L·sin(α/2): 20 mm on 100 give 102 mm at 510 below, 20
    on 140 give 66 at 460 (± 1 mm).

    Worked by hand; common practice, no source.
    """
    from drafting.piece import Dart

    low = -tip - length
    half = 0.5 * width
    edges = {
        "centre": [(0.0, 0.0), (0.0, low)],
        "hem": [(0.0, low), (240.0, low)],
        "side": [(240.0, low), (240.0, 0.0)],
        "waist": [(240.0, 0.0), (120.0 + half, 0.0), (120.0 - half, 0.0), (0.0, 0.0)],
    }
    piece = Piece.from_outline("skirt", [], edges=edges).with_(
        darts=(Dart("waist", (120.0 + half, 0.0), (120.0 - half, 0.0), (120.0, -tip)),)
    )
    q = pivot(
        piece,
        np.array([120.0, -tip]),
        End.of_dart(piece, piece.darts[0]),
        at(piece, "hem 1/2"),
        1.0,
        "flare",
    )
    assert q.darts == ()
    assert q.edges["hem"].length_mm - 240.0 == pytest.approx(gain, abs=1.0)
    assert q.edges["waist"].length_mm == pytest.approx(240.0 - width, abs=0.01)


def test_edges_run_on_over_a_moved_dart() -> None:
    """A dart moved into a straight side seam has a roof: folded shut, the seam runs on over it."""
    piece = any_piece("straight-skirt/front", "pear")
    dart = piece.darts[0]
    q = pivot(
        piece,
        np.array(dart.tip),
        End.of_dart(piece, dart),
        at(piece, "side 1/2"),
        1.0,
        "dart",
        20.0,
    )
    assert all(c.ok for c in check_dart_runs({"front": q}) if "side" in c.name)
    short = np.hypot(*(np.array(q.darts[0].tip) - np.array(dart.tip)))
    assert short == pytest.approx(20.0, abs=0.01)
    assert q.cutting_line({"all": 10.0}).shape[1] == 2


# --- cuts --------------------------------------------------------------------------------------


def _two_places(piece: Piece, i: int, s: float, j: int, t: float) -> CutLine:
    names = list(piece.edges)
    a, b = names[i % len(names)], names[j % len(names)]
    return CutLine(
        End.on(piece, a, s * piece.edges[a].length_mm),
        End.on(piece, b, t * piece.edges[b].length_mm),
        NONE,
    )


@QUICK
@given(KINDS, WHO, st.integers(0, 5), SHARE, st.integers(0, 5), SHARE)
def test_a_cut_mates_and_joins_again(
    kind: str, who: str, i: int, s: float, j: int, t: float
) -> None:
    """Both new edges are equal, areas add up, notches meet; joined again it is the piece it was."""
    piece = any_piece(kind, who)
    line = _two_places(piece, i, s, j, t)
    work = Work({piece.name: piece}, (), (), "mm")
    try:
        done = cut(work, piece.name, line, "new seam")
    except DraftError as error:
        assert str(error)
        assume(False)
    one, two = done.pieces.values()
    assert one.edges["new seam"].length_mm == pytest.approx(
        two.edges["new seam"].length_mm, abs=0.01
    )
    assert one.area_mm2 + two.area_mm2 == pytest.approx(piece.area_mm2, abs=0.1)
    long_ = one.edges["new seam"].length_mm
    here = sorted(n.at_mm for n in one.notches if n.match == "new seam")
    there = sorted(long_ - n.at_mm for n in two.notches if n.match == "new seam")
    assert here == pytest.approx(there, abs=0.01)
    for p in (one, two):
        inside = shapely.Polygon(p.sewing_line).buffer(0.1)
        assert inside.covers(shapely.LineString(p.grain)), "grain inside"
        d = np.array(p.grain[1]) - np.array(p.grain[0])
        e = np.array(piece.grain[1]) - np.array(piece.grain[0])
        assert abs(d[0] * e[1] - d[1] * e[0]) < 1e-6 * np.hypot(*d) * np.hypot(*e)
    assert len(one.drills) + len(two.drills) == len(piece.drills)
    assert set(one.landmarks) | set(two.landmarks) == set(piece.landmarks)
    first, second = done.pieces
    again = join(done, (first, second), "new seam", name=piece.name).pieces[piece.name]
    bare = again.with_(notches=tuple(n for n in again.notches if n.match != "new seam"))
    if set(bare.edges) == set(piece.edges):
        assert_same(bare.with_(grain=piece.grain), piece)
    assert signed_area(bare.sewing_line) == pytest.approx(piece.area_mm2, abs=0.1)


def test_a_curved_cut_a_level_cut_and_one_beside_an_edge() -> None:
    """The three ways to tell a line: bent by 2 cm it is 2 cm off its chord; level it is level; beside
    an edge it keeps its distance."""
    work = drafted("quick-top", "straight", ("opening", "none"))
    front = work.pieces["front"]
    bent = line_between(front, "armhole 1/2", "fold 200 mm from neckline", (), 20.0, "mm").points
    chord = bent[-1] - bent[0]
    off = (bent - bent[0]) @ (np.array([-chord[1], chord[0]]) / np.hypot(*chord))
    assert np.abs(off).max() == pytest.approx(20.0, abs=0.3)
    level = level_line(front, -250.0).points
    assert np.ptp(level[:, 1]) < 1e-6
    near = beside(front, "neckline", 80.0)
    inner = near.inner[5:-5]
    gaps = nearest_distance(inner, front.edges["neckline"].points)
    away = np.hypot(*(inner - front.edges["neckline"].points[0]).T)
    assert np.abs(gaps[away > 90] - 80.0).max() < 0.2


def test_a_cut_through_darts_takes_them_into_the_seam() -> None:
    """A princess line from dart to hem: the legs become part of both new edges, which are equal."""
    work = drafted("straight-skirt", "straight", ("slit", "none"))
    front = work.pieces["front"]
    line = line_between(front, "dart 1", "hem 1/2", (), 0.0, "mm")
    done = cut(work, "front", line, "princess")
    assert list(done.pieces)[:2] == ["centre front", "side front"]
    a, b = (done.pieces[n] for n in ("centre front", "side front"))
    assert a.darts == b.darts == ()
    assert a.edges["princess"].length_mm == pytest.approx(b.edges["princess"].length_mm, abs=0.01)
    assert a.fold is not None and b.fold is None
    assert (b.cut, b.pair) == (2, True)
    assert sum(p.edges["waist"].length_mm for p in (a, b)) == pytest.approx(
        sewn_length(front, "waist"), abs=0.01
    )
    assert [c.name for c in check_seams(done.pieces, done.seams, "mm") if not c.ok] == []


# --- spreading ---------------------------------------------------------------------------------


@QUICK
@given(KINDS, WHO, st.integers(1, 6), st.floats(1.05, 2.2), st.booleans())
def test_spread_edges_are_as_long_as_asked(
    kind: str, who: str, lines: int, ratio: float, hinged: bool
) -> None:
    """Spread by a ratio r the edge is r times as long (0.01 mm), the hinge keeps its length, edges
    that no slash meets too; the fold lies where it lay."""
    piece = any_piece(kind, who)
    edges = {
        "quick-top/front": ("neckline", "hem"),
        "quick-top/back": ("neckline", "hem"),
        "curved": ("crown", "right"),
    }
    if kind not in edges:
        edges[kind] = ("hem", "waist")
    top, low = edges[kind]
    if piece.darts:
        piece = piece.with_(
            darts=(), notches=tuple(n for n in piece.notches if "dart" not in n.match)
        )
    a, b = piece.edges[top], piece.edges[low]
    shares = [(i + 1) / (lines + 1) for i in range(lines)]
    ends = [
        (End.on(piece, top, s * a.length_mm), End.on(piece, low, (1 - s) * b.length_mm))
        for s in shares
    ]
    each = (ratio - 1.0) * a.length_mm / lines
    try:
        q = fan(piece, ends, [(each, 0.0 if hinged else each)] * lines)
    except DraftError as error:
        assert (
            "cross" in str(error)
            or "leaves" in str(error)
            or "bend" in str(error)
            or "far" in str(error)
        )
        assume(False)
    assert q.edges[top].length_mm == pytest.approx(ratio * a.length_mm, abs=0.01)
    grown = 0.0 if hinged else (ratio - 1.0) * a.length_mm
    assert q.edges[low].length_mm == pytest.approx(b.length_mm + grown, abs=0.01)
    for n in set(piece.edges) - {top, low}:
        assert q.edges[n].length_mm == pytest.approx(piece.edges[n].length_mm, abs=0.01)
    assert shapely.LinearRing(q.sewing_line).is_simple
    assert len(q.notches) == len(piece.notches)
    assert q.fold == piece.fold


@pytest.mark.parametrize("by", [30.0, -30.0])
def test_lengthening_at_a_level(by: float) -> None:
    """Below the level all moves by 3 cm along the grain; above it, and each edge off it, stays."""
    piece = any_piece("quick-top/front", "straight")
    line = level_line(piece, -330.0)
    q = spread(piece, (line.a, line.b), line.inner, by, by)
    assert q.edges["fold"].length_mm == pytest.approx(piece.edges["fold"].length_mm + by, abs=0.01)
    for n in ("armhole", "shoulder", "neckline", "hem"):
        assert q.edges[n].length_mm == pytest.approx(piece.edges[n].length_mm, abs=0.01)
    np.testing.assert_allclose(
        q.edges["hem"].points, piece.edges["hem"].points - (0.0, by), atol=1e-6
    )
    turns = np.diff(np.unwrap(np.arctan2(*np.diff(q.edges["side"].points, axis=0).T[::-1])))
    assert np.degrees(np.abs(turns)).max() < 8.0, "the side seam has no step"


@pytest.mark.parametrize(("first", "second"), [(-20.0, 0.0), (-20.0, -20.0)])
def test_taking_in_makes_edges_shorter(first: float, second: float) -> None:
    """Overlapped by 2 cm at the hem the hem is about 2 cm shorter, with no step; the side is as it was."""
    piece = any_piece("straight-skirt/back", "straight")
    q = spread(
        piece, (at(piece, "hem 1/2"), at(piece, "waist 20 mm from side")), NONE, first, second
    )
    assert piece.edges["hem"].length_mm - q.edges["hem"].length_mm == pytest.approx(20.0, abs=0.6)
    assert q.edges["side"].length_mm == pytest.approx(piece.edges["side"].length_mm, abs=0.01)
    assert shapely.LinearRing(q.sewing_line).is_simple


# --- as she writes them ------------------------------------------------------------------------


def changes(*entries: dict[str, Any]) -> Any:
    """The list as the docket reads it."""
    reader = Reader({"changes": list(entries)}, unit="cm")
    made = read_changes(reader)
    reader.done()
    return made


def test_each_operation_has_an_example_that_reads() -> None:
    """The example of every operation is one that the reader takes."""
    import yaml

    for verb in VERBS.values():
        made = changes(yaml.safe_load(verb.example))
        assert len(made) == 1, verb.word
        assert made[0].name


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ({"cutt": "front"}, "Did you mean 'cut'"),
        ({"cut": "front"}, "where the line runs"),
        ({"cut": "front", "from": "armhole 1/2"}, "to"),
        ({"cut": "front", "level": "side notch", "levle": 3}, "Did you mean 'level'"),
        ({"spread": "front", "from": "neckline", "to": "hem"}, "how much"),
        ({"pivot": "front", "from": "dart", "to": "side 1/2", "share": "5/3"}, "no share"),
        ({"lengthen": "front", "at": "side notch", "by": "much"}, "length"),
        ({"join": ["a"], "edge": "side"}, "two pieces"),
        ({"cut": "front", "unfold": "back"}, "two operations"),
    ],
)
def test_a_slip_in_an_entry_is_told(entry: dict[str, Any], told: str) -> None:
    """What is wrong with an entry names its place in the list and what to write."""
    reader = Reader({"changes": [{"unfold": "back"}, entry]}, unit="cm")
    read_changes(reader)
    assert any("changes[1]" in f.where for f in reader.faults)
    assert any(told in str(f) for f in reader.faults)


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ({"cut": "fromt", "level": "side notch"}, "Did you mean 'front'"),
        ({"cut": "front", "from": "armhole 5", "to": "hem 1/2"}, "which end"),
        ({"cut": "front", "from": "armhole 90 cm from side", "to": "hem 1/2"}, "past the end"),
        ({"cut": "front", "from": "armhol 1/2", "to": "hem 1/2"}, "armhole"),
        ({"pivot": "front", "from": "dart", "to": "side 1/2"}, "no dart"),
        (
            {"spread": "front", "from": "fold 1/2", "to": "side 1/2", "by": 3, "hinge": "side"},
            "fold",
        ),
        ({"strip": "front", "edge": "fold", "width": 3}, "seam at fold"),
        ({"strip": "front", "edge": "armhole", "width": 3}, "curved"),
        ({"face": "front", "edges": ["neckline"], "width": 60}, "Make it narrower"),
        ({"lengthen": "front", "at": "5 cm above shoulder at neckline", "by": 3}, "misses"),
    ],
)
def test_what_cannot_be_done_is_refused_with_its_entry(entry: dict[str, Any], told: str) -> None:
    """A refusal names the entry's place and name, says what would go wrong, and what to do."""
    work = drafted("quick-top", "straight", ("opening", "none"))
    work = Work(work.pieces, work.seams, (), "cm")
    with pytest.raises(DraftError) as caught:
        replay(work, changes({"name": "my change", **entry}))
    assert "changes[0] (my change)" in str(caught.value)
    assert told in str(caught.value)


def test_taking_an_entry_out_undoes_it() -> None:
    """The same list without its last entry gives what was there before it, to the last bit."""
    work = drafted("quick-top", "pear", ("opening", "none"))
    entries = [
        {"cut": "front", "level": "9 cm below shoulder at neckline", "seam": "yoke seam"},
        {"lengthen": "lower front", "at": "side notch", "by": "2 cm"},
        {
            "spread": "lower front",
            "from": "yoke seam",
            "to": "hem",
            "lines": 4,
            "by": "8 cm",
            "hinge": "hem",
        },
    ]
    before = replay(work, changes(*entries[:2]))
    replay(work, changes(*entries))
    again = replay(work, changes(*entries[:2]))
    for n, p in before.pieces.items():
        for e, line in p.edges.items():
            np.testing.assert_array_equal(line.points, again.pieces[n].edges[e].points)
    assert before.seams == again.seams


def test_places_are_found_by_words() -> None:
    """Share, distance from either end, notch, corner, dart, landmark: each where a hand would put it."""
    front = any_piece("quick-top/front", "straight")
    hem = front.edges["hem"]
    assert place(front, "hem 1/2", "cm").point == pytest.approx(
        tuple(hem.at(0.5 * hem.length_mm)[0])
    )
    assert place(front, "hem 3 from fold", "cm").point == pytest.approx(tuple(hem.at(30.0)[0]))
    assert place(front, "hem 3 cm from side", "mm").point == pytest.approx(
        tuple(hem.at(hem.length_mm - 30)[0])
    )
    assert place(front, "hem 25 % from fold", "cm").point == pytest.approx(
        tuple(hem.at(0.25 * hem.length_mm)[0])
    )
    assert place(front, "shoulder at neckline", "cm").point == pytest.approx(
        tuple(front.edges["neckline"].points[0])
    )
    notch = next(n for n in front.notches if n.edge == "side")
    assert place(front, "side notch", "cm").point == pytest.approx(
        tuple(front.edges["side"].at(notch.at_mm)[0])
    )
    skirt = any_piece("straight-skirt/back", "pear")
    assert place(skirt, "dart 2", "cm").dart is skirt.darts[1]
    assert place(curved(), "apex", "cm").point == (30.0, 40.0)
