"""Changes in a docket: replayed on every draft, seams told, pieces drafted from finished edges."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shaping_pieces import BODIES, curved, drafted

from configs.errors import ChalkbeamError, DraftError, InputError
from configs.reader import Reader
from drafting import Docket
from drafting.outline import nearest_distance
from drafting.piece import Piece
from drafting.shaping.changes import read_changes, replay
from drafting.shaping.places import place
from drafting.shaping.spreading import spread
from drafting.shaping.state import Work
from drafting.shaping.walking import walk
from drafting.truing import check_seams, sewn_length


def changed(work: Work, *entries: dict[str, Any]) -> Work:
    """A work after some entries, lengths in cm."""
    reader = Reader({"changes": list(entries)}, unit="cm")
    made = read_changes(reader)
    reader.done()
    return replay(Work(work.pieces, work.seams, (), "cm"), made)


def top(who: str = "straight", **style: Any) -> Work:
    """A quick top."""
    return drafted("quick-top", who, ("opening", "none"), *style.items())


def skirt(who: str = "straight") -> Work:
    """A straight skirt without a vent."""
    return drafted("straight-skirt", who, ("slit", "none"))


def failing(work: Work) -> list[str]:
    """Seams that do not mate."""
    return [f"{c.name}: {c.text}" for c in check_seams(work.pieces, work.seams, "cm") if not c.ok]


def docket(tmp_path: Path, who: str, garment: dict[str, Any]) -> Docket:
    """A docket on disk."""
    path = tmp_path / "top.yaml"
    data = {
        "chalkbeam": 1, "title": "top", "unit": "mm", "measurements": dict(BODIES[who]),
        "garment": garment, "allowances": {"all": "10 mm", "hem": "25 mm"},
    }  # fmt: skip
    path.write_text(yaml.safe_dump(data, sort_keys=False), encoding="utf-8")
    return Docket.load(path)


YOKED: list[dict[str, Any]] = [
    {"cut": "front", "level": "60 mm below shoulder at neckline", "into": ["front yoke", "front"], "seam": "yoke seam"},
    {"cut": "back", "level": "100 mm below shoulder at neckline", "into": ["back yoke", "back"], "seam": "back yoke seam"},
    {"join": ["front yoke", "back yoke"], "edge": "shoulder", "as": "yoke"},
]  # fmt: skip


@pytest.mark.parametrize("who", sorted(BODIES))
def test_a_docket_replays_its_changes_on_every_body(tmp_path: Path, who: str) -> None:
    """The same three lines yoke a top on any body; every check holds; the pieces can be laid."""
    read = docket(
        tmp_path,
        who,
        {"block": "quick-top", "style": {"opening": "none", "neckline": "scoop"}, "changes": YOKED},
    )
    made = read.draft()
    assert set(made.pieces) == {"front", "back", "yoke"}
    assert made.pieces["yoke"].fold is not None
    assert [c.name for c in made.checks() if not c.ok] == []
    # of a yoke without shoulder seams their length cannot be measured any more; all else is
    told = [c.name for c in made.checks() if "before the changes" in c.name]
    assert told == ["shoulder seam longer than measured, before the changes"]
    assert any(c.name == "yoke seam" for c in made.checks())
    assert set(read.pieces()) == set(made.pieces)


def test_a_slip_in_the_changes_is_told_with_the_docket(tmp_path: Path) -> None:
    """Reading tells every slip of the list; drafting tells what cannot be done: file and entry."""
    with pytest.raises(InputError) as caught:
        docket(
            tmp_path,
            "pear",
            {"block": "quick-top", "changes": [{"ctu": "front"}, {"cut": "front"}]},
        )
    assert "garment.changes[0]" in str(caught.value) and "garment.changes[1]" in str(caught.value)
    read = docket(
        tmp_path,
        "pear",
        {"block": "quick-top", "changes": [{"unfold": "sleeve", "name": "open it"}]},
    )
    with pytest.raises(DraftError) as refused:
        read.draft()
    assert "top.yaml: garment.changes[0] (open it)" in str(refused.value)


def test_gathers_below_a_yoke_are_told_on_the_seam() -> None:
    """Spread to a ratio and gathered: the seam tells by how much and still mates."""
    work = changed(
        top(),
        {"cut": "front", "level": "9 below shoulder at neckline", "into": ["yoke", "front"], "seam": "yoke seam"},
        {"spread": "front", "from": "yoke seam", "to": "hem", "lines": 6, "ratio": 1.5, "as": "gathers"},
    )  # fmt: skip
    yoke, front = work.pieces["yoke"], work.pieces["front"]
    assert front.edges["yoke seam"].length_mm == pytest.approx(
        1.5 * yoke.edges["yoke seam"].length_mm, abs=0.01
    )
    (seam,) = (s for s in work.seams if s.name == "yoke")
    assert abs(seam.ease_mm) == pytest.approx(0.5 * yoke.edges["yoke seam"].length_mm, abs=0.01)
    assert seam.ease == "gathered in"
    assert failing(work) == []


@pytest.mark.parametrize("kind", ["gathers", "ease", "pleat", "tuck"])
def test_a_dart_turned_into_fullness_is_told(kind: str) -> None:
    """The dart's width stays on the waist and the band's seam says so; pleats and tucks get lines."""
    before = drafted("straight-skirt", "straight", ("slit", "none"))
    work = changed(before, {"turn": "front", "dart": 1, "into": kind})
    old, new = before.pieces["front"], work.pieces["front"]
    dart = old.darts[0]
    width = float(np.hypot(*(np.array(dart.first) - np.array(dart.second))))
    assert len(new.darts) == len(old.darts) - 1
    assert sewn_length(new, "waist") - sewn_length(old, "waist") == pytest.approx(width, abs=0.01)
    assert sum(m.name == kind for m in new.marks) == (2 if kind in ("pleat", "tuck") else 0)
    assert failing(work) == []
    assert len(new.drills) == len(old.drills) - 1


def test_a_strip_on_a_centre_seam() -> None:
    """A button stand of 6 cm on a centre front: the piece is 6 cm wider there, its line is marked."""
    before = changed(top(), {"seam at fold": "front"})
    work = changed(
        before, {"strip": "front", "edge": "centre front", "width": 6, "line": "fold here"}
    )
    old, new = before.pieces["front"], work.pieces["front"]
    assert new.sewing_line[:, 0].min() == pytest.approx(-60.0)
    assert new.area_mm2 - old.area_mm2 == pytest.approx(
        60.0 * old.edges["centre front"].length_mm, rel=1e-6
    )
    (line,) = (m.points for m in new.marks if m.name == "fold here")
    np.testing.assert_allclose(line, old.edges["centre front"].points)
    for edge in ("side", "armhole", "shoulder"):
        assert new.edges[edge].length_mm == pytest.approx(old.edges[edge].length_mm, abs=1e-6)
    assert (new.cut, new.pair) == (2, True)


def test_no_strip_is_set_on_an_edge_that_runs_all_round() -> None:
    """A piece whose one edge is its whole outline has no straight edge for a strip: refused, not tried for ever."""
    work = changed(top(), {"copy": "front", "for": "interfacing"})
    with pytest.raises(DraftError, match="is curved by"):
        changed(work, {"strip": "front interfacing", "edge": "raw edge", "width": 2})


def test_a_pair_made_two_takes_its_own_cutting_line_along() -> None:
    """Of a pair that came with its cutting line, the left and the right piece lie each inside its own."""
    line = [(-10.0, -10.0), (315.0, -10.0), (260.0, 410.0), (-10.0, 410.0)]
    sleeve = Piece.from_outline(
        "sleeve", [(0, 0), (300, 0), (250, 400), (0, 400)], cut=2, pair=True
    )
    work = changed(Work({"sleeve": sleeve.with_(own_cutting_line=line)}), {"part": "sleeve"})
    assert list(work.pieces) == ["left sleeve", "right sleeve"]
    for piece in work.pieces.values():
        assert shapely.Polygon(piece.cutting_line()).contains(shapely.Polygon(piece.sewing_line))


def test_a_facing_has_the_finished_edge() -> None:
    """A neck facing has the neckline's own line and is 6 cm wide; all in one it has both edges."""
    work = changed(top(), {"face": "front", "edges": ["neckline"], "width": 6})
    facing, front = work.pieces["front neck facing"], work.pieces["front"]
    assert facing.edges["neckline"].length_mm == pytest.approx(
        front.edges["neckline"].length_mm, abs=0.01
    )
    assert facing.fold is not None
    gaps = nearest_distance(facing.edges["outer"].points, front.edges["neckline"].points)
    assert gaps.max() == pytest.approx(60.0, abs=0.1)
    assert failing(work) == []
    both = changed(
        top(), {"face": "back", "edges": ["neckline", "armhole"], "width": 5, "as": "back facing"}
    )
    piece = both.pieces["back facing"]
    for edge in ("neckline", "armhole"):
        assert piece.edges[edge].length_mm == pytest.approx(
            both.pieces["back"].edges[edge].length_mm, abs=0.01
        )
    assert failing(both) == []


def test_a_band_is_as_long_as_its_edge() -> None:
    """A band for a neckline on the fold: both halves long, less its ease; twice as wide."""
    work = changed(top(), {"band": "front", "edge": "neckline", "width": 3, "ease": 2})
    band = work.pieces["front band"]
    whole = 2 * work.pieces["front"].edges["neckline"].length_mm
    assert np.ptp(band.sewing_line, axis=0) == pytest.approx([whole - 20.0, 60.0])
    assert failing(work) == []


@pytest.mark.parametrize(("rise", "shorter"), [(10, 3.2), (15, 4.9), (25, 8.1)])
def test_a_collar_stand_leans_to_the_neck(rise: float, shorter: float) -> None:
    """On a neckline of 37 cm a stand 3 cm high is 0.3, 0.5, 0.8 cm shorter above on the half, for a
    rise of 1, 1.5, 2.5 cm (derived: height times the arc's angle); below it is the neckline.
    """
    from drafting.piece import Piece

    half = Piece.from_outline("back", [], edges={
        "neckline": [(0.0, 0.0), (185.0, 0.0)], "side": [(185.0, 0.0), (185.0, 300.0)],
        "top": [(185.0, 300.0), (0.0, 300.0)], "fold": [(0.0, 300.0), (0.0, 0.0)],
    })  # fmt: skip
    work = changed(Work({"back": half}, ()), {"stand": ["back"], "height": 3, "rise": f"{rise} mm"})
    piece = work.pieces["collar stand"]
    assert piece.edges["neckline"].length_mm == pytest.approx(185.0, abs=0.05)
    assert 185.0 - piece.edges["upper"].length_mm == pytest.approx(shorter, abs=0.15)
    assert piece.edges["neckline"].points[-1, 1] == pytest.approx(rise, abs=0.01)
    assert failing(work) == []
    both = changed(top(), {"stand": ["back", "front"]}).pieces["collar stand"]
    whole = sum(top().pieces[h].edges["neckline"].length_mm for h in ("front", "back"))
    assert both.edges["neckline"].length_mm == pytest.approx(whole, abs=0.05)
    assert [n.at_mm for n in both.notches] == pytest.approx(
        [top().pieces["back"].edges["neckline"].length_mm]
    )


def test_a_bound_edge_and_a_patch_pocket() -> None:
    """A binding is as long as the edge and the edge takes no allowance; a pocket keeps off the edges."""
    work = changed(
        top(), {"bind": "front", "edge": "neckline"}, {"bind": "back", "edge": "armhole"}
    )
    strip, front = work.pieces["front neckline binding"], work.pieces["front"]
    ring = strip.sewing_line
    joins = 12.0 * np.sqrt(2.0)
    assert strip.cut * (np.hypot(*(ring[1] - ring[0])) - joins) == pytest.approx(
        2 * front.edges["neckline"].length_mm, abs=0.1
    )
    assert front.widths({"all": 10.0}).get("neckline") == 0.0
    assert work.pieces["back armhole binding"].cut == 2
    pocket = {"patch": "front", "across": 11, "level": "side at armhole", "width": 10, "depth": 12}
    placed = changed(top(), pocket)
    assert placed.pieces["front pocket"].cut == 2
    assert sum(m.closed for m in placed.pieces["front"].marks) == 1
    with pytest.raises(DraftError, match="3 cm"):
        changed(top(), {**pocket, "level": "6 above side at armhole", "across": 19})


def test_a_facing_of_a_darted_waist_has_no_darts() -> None:
    """A waist facing is drafted with the darts shut: as long as the sewn waist, and smooth."""
    work = changed(skirt(), {"face": "back", "edges": ["waist"], "width": 6})
    facing = work.pieces["back waist facing"]
    assert facing.darts == ()
    assert facing.edges["waist"].length_mm == pytest.approx(
        sewn_length(work.pieces["back"], "waist"), abs=0.05
    )
    assert failing(work) == []
    d = np.diff(facing.edges["waist"].points, axis=0)
    turns = np.degrees(np.abs(np.diff(np.unwrap(np.arctan2(d[:, 1], d[:, 0])))))
    assert turns.max() < 3.0


def test_a_lining_and_a_pocket_bag() -> None:
    """A lining 2 cm shorter, its side seam shorter with it; a pocket's mouth is 15 cm, its notches too."""
    work = changed(
        skirt(),
        {"copy": "front", "for": "lining", "shorter": 2},
        {"pocket bag": "front", "edge": "side", "at": 6, "opening": 15},
    )
    lining, front = work.pieces["front lining"], work.pieces["front"]
    assert front.edges["fold"].length_mm - lining.edges["fold"].length_mm == pytest.approx(
        20.0, abs=0.01
    )
    assert "cut 1 on the fold" in lining.label
    bag = work.pieces["front pocket bag"]
    assert bag.edges["mouth"].length_mm == pytest.approx(150.0, abs=0.5)
    low, high = sorted(n.at_mm for n in front.notches if n.match == "pocket")
    assert high - low == pytest.approx(150.0)
    assert front.edges["side"].length_mm - high == pytest.approx(60.0)
    assert (bag.cut, bag.pair) == (4, True)


def test_walking_tells_lengths_and_notches() -> None:
    """The side seams of a top: equal, their notches meet; the front shoulder along the hem does not."""
    work = top()
    front, back = work.pieces["front"], work.pieces["back"]
    found = walk(front, "side", back, "side")
    assert found.eased_mm == pytest.approx(0.0, abs=0.01)
    assert found.notches and all(gap is not None and abs(gap) < 0.01 for _, _, gap in found.notches)
    other = walk(front, "hem", back, "shoulder")
    assert other.eased_mm == pytest.approx(
        front.edges["hem"].length_mm - back.edges["shoulder"].length_mm
    )
    said = changed(work, {"walk": "front", "edge": "side", "along": "back"}).said
    assert len(said) == 1 and "walked along back side" in said[0]


def test_both_sides_and_a_left_and_a_right() -> None:
    """Opened out, a front mates with a back on the fold on both sides; a pair parts in two."""
    work = changed(top(), {"unfold": "front"})
    assert {"left side", "right side"} <= set(work.pieces["front"].edges)
    assert {s.name for s in work.seams} >= {
        "left side",
        "right side",
        "left shoulder",
        "right shoulder",
    }
    assert failing(work) == []
    pair = changed(
        top(),
        {"seam at fold": "back"},
        {"part": "back"},
        {"lengthen": "left back", "at": "side notch", "by": 1},
    )
    left, right = pair.pieces["left back"], pair.pieces["right back"]
    assert left.edges["centre back"].length_mm - right.edges[
        "centre back"
    ].length_mm == pytest.approx(10.0, abs=0.01)
    assert right.sewing_line[:, 0].min() >= -1e-9 and left.sewing_line[:, 0].max() <= 1e-9
    assert any("left side" in f for f in failing(pair)), "a seam that no longer mates is said"


def test_truing_up_smooths_a_corner() -> None:
    """A corner that an edge came with is redrawn as a curve when she asks for it, and not before."""
    front = top().pieces["front"]
    ends = (place(front, "hem 1/2", "mm").end, place(front, "armhole 1/2", "mm").end)
    corner = spread(front, ends, np.zeros((0, 2)), 120.0, 0.0)
    moved = Work({"front": corner}, ())
    trued = changed(moved, {"true up": "front", "edge": "armhole", "reach": 2})

    def turns(work: Work) -> float:
        d = np.diff(work.pieces["front"].edges["armhole"].points, axis=0)
        return float(np.degrees(np.abs(np.diff(np.unwrap(np.arctan2(d[:, 1], d[:, 0]))))).max())

    assert turns(moved) > 8.0
    assert turns(trued) < 6.0
    lengths = [w.pieces["front"].edges["armhole"].length_mm for w in (moved, trued)]
    assert abs(lengths[1] - lengths[0]) < 1.0


def test_a_hems_fullness_becomes_a_bust_dart() -> None:
    """A dart of 2.5 cm at the side, taken from the hem about the bust point; then moved to the shoulder:
    the side seam sewn is as it was, the hem is narrower, the shoulder dart has the same angle."""
    mark = {
        "landmark": "front",
        "as": "bust point",
        "across": 9.5,
        "level": "3 below side at armhole",
    }
    taken = {
        "pivot": "front",
        "about": "bust point",
        "from": "hem 1/2",
        "to": "side 7 from armhole",
        "by": 2.5,
    }
    moved = {
        "pivot": "front",
        "about": "bust point",
        "from": "dart",
        "to": "shoulder 1/2",
        "short": 2.5,
    }
    before, one, two = (changed(top(), *e) for e in ([mark], [mark, taken], [mark, taken, moved]))
    fronts = [w.pieces["front"] for w in (before, one, two)]
    (side,), (shoulder,) = fronts[1].darts, fronts[2].darts
    width = np.hypot(*(np.array(side.first) - np.array(side.second)))
    assert width == pytest.approx(25.0, abs=0.01)
    about = np.array(fronts[0].landmarks["bust point"])

    def angle(dart: Any) -> float:
        a, b = (np.array(p) - about for p in (dart.first, dart.second))
        return float(np.degrees(np.arccos(a @ b / np.hypot(*a) / np.hypot(*b))))

    assert angle(shoulder) == pytest.approx(angle(side), abs=0.01)
    for w in (one, two):
        assert sewn_length(w.pieces["front"], "side") == pytest.approx(
            sewn_length(fronts[0], "side"), abs=0.01
        )
        assert failing(w) == []
    assert fronts[1].edges["hem"].length_mm < fronts[0].edges["hem"].length_mm - 30.0
    assert np.hypot(*(np.array(shoulder.tip) - about)) == pytest.approx(25.0, abs=0.01)
    assert fronts[2].landmarks["bust point"] == pytest.approx(tuple(about))


def test_an_imported_outline_is_cut_and_spread(tmp_path: Path) -> None:
    """An imported outline without a block: cut into a yoke and spread, from its docket."""
    from drafting.piece_entry import entry_of

    path = tmp_path / "in.yaml"
    data = {
        "chalkbeam": 1, "title": "in", "pieces": [entry_of(curved())],
        "garment": {"changes": [
            {"cut": "panel", "level": "crown 1/2", "into": ["yoke", "panel"], "seam": "yoke seam"},
            {"spread": "panel", "from": "yoke seam 1/2", "to": "right 1/2", "by": "30 mm", "hinge": "right"},
        ]},
    }  # fmt: skip
    path.write_text(yaml.safe_dump(data), encoding="utf-8")
    pieces = Docket.load(path).pieces()
    assert set(pieces) == {"yoke", "panel"}
    longer = (
        pieces["panel"].edges["yoke seam"].length_mm - pieces["yoke"].edges["yoke seam"].length_mm
    )
    assert longer == pytest.approx(30.0, abs=0.01)


ENTRIES = st.lists(
    st.one_of(
        st.builds(
            lambda p, n, by: {"cut": p, "level": f"{by} cm below {n}", "seam": f"seam {by}"},
            st.sampled_from(["front", "back", "lower front", "upper back"]),
            st.sampled_from(["shoulder at neckline", "side notch", "waist at side"]),
            st.integers(2, 24),
        ),
        st.builds(
            lambda p, e, n, r, h: {"spread": p, "from": e, "to": "hem", "lines": n, "ratio": r, **h},
            st.sampled_from(["front", "back", "lower front", "lower back"]),
            st.sampled_from(["neckline", "waist", "shoulder"]),
            st.integers(1, 5),
            st.sampled_from([0.9, 1.2, 1.5, 2.0]),
            st.sampled_from([{}, {"hinge": "hem"}]),
        ),
        st.builds(
            lambda p, to, s, k: {"pivot": p, "from": "dart 1", "to": to, "share": s, "as": k},
            st.sampled_from(["front", "back"]),
            st.sampled_from(["side 6 from waist", "hem 1/2", "side 1/2", "waist 2 from side"]),
            st.sampled_from(["1", "1/2", "1/3"]),
            st.sampled_from(["dart", "flare", "gathers", "pleat"]),
        ),
        st.builds(
            lambda p, by: {"lengthen": p, "at": f"{abs(by) + 12} below side at armhole", "by": by},
            st.sampled_from(["front", "back", "lower front"]),
            st.integers(-4, 6).filter(bool),
        ),
        st.builds(lambda p: {"seam at fold": p}, st.sampled_from(["front", "back"])),
        st.builds(lambda p: {"unfold": p}, st.sampled_from(["front", "back"])),
        st.builds(
            lambda p, e, w: {"face": p, "edges": [e], "width": w},
            st.sampled_from(["front", "back", "upper front"]),
            st.sampled_from(["neckline", "armhole", "waist"]),
            st.integers(3, 8),
        ),
        st.builds(lambda p, e: {"true up": p, "edge": e}, st.sampled_from(["front", "back"]), st.sampled_from(["hem", "waist", "side"])),
        st.builds(
            lambda p, b: {"cut": p, "from": "hem 1/2", "to": "shoulder 1/2", "bend": b, "seam": "princess"},
            st.sampled_from(["front", "back"]),
            st.sampled_from([0, 2, -2]),
        ),
    ),
    min_size=1,
    max_size=5,
)  # fmt: skip


def sound(work: Work, start: Work) -> None:
    """No outline crosses itself, cutting lines exist, notches lie on their edges, every seam names what
    is there, and every edge that was sewn to something still is, or its seam is gone with its piece."""
    for name, piece in work.pieces.items():
        assert shapely.LinearRing(piece.sewing_line).is_simple, name
        assert shapely.LinearRing(piece.unfolded()).is_simple, name
        for notch in piece.notches:
            assert -1e-6 <= notch.at_mm <= piece.edges[notch.edge].length_mm + 1e-6
        grain = shapely.LineString(piece.grain)
        assert shapely.Polygon(piece.sewing_line).buffer(1.0).covers(grain), name
    told = {spot for s in work.seams for spot in (*s.a, *s.b)}
    for name, edge in told:
        assert edge in work.pieces[name].edges, (name, edge)
    names = {s.name.removeprefix("left ").removeprefix("right ") for s in work.seams}
    assert {s.name for s in start.seams} <= names


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(["quick-top", "straight-skirt"]), st.sampled_from(sorted(BODIES)), ENTRIES)
def test_chains_of_changes_stay_sound(block: str, who: str, entries: list[dict[str, Any]]) -> None:
    """Any chain of changes on any body: each is done soundly or refused with its reason."""
    start = top(who) if block == "quick-top" else skirt(who)
    work = Work(start.pieces, start.seams, (), "cm")
    for entry in entries:
        try:
            work = changed(work, entry)
        except ChalkbeamError as error:
            assert "changes[0]" in str(error) and len(str(error)) > 40
            continue
        sound(work, start)


@pytest.mark.parametrize(
    ("work", "entry", "told"),
    [
        (skirt, {"spread": "waistband", "from": "waist", "to": "left side", "lines": 5, "ratio": 0.9}, "turn back on itself"),
        (top, {"spread": "front", "from": "shoulder 9 % from neckline", "to": "neckline 1/2", "by": 8}, "cross its fold"),
    ],
)  # fmt: skip
def test_what_leaves_no_sound_outline_is_refused(
    work: Any, entry: dict[str, Any], told: str
) -> None:
    """An edge taken in until it turns back, an outline driven over its fold: refused in words."""
    with pytest.raises(DraftError, match=told):
        changed(work(), entry)
