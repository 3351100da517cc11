"""The cutting line, corner by corner, against half-planes and coordinates worked out by hand."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from numpy.typing import ArrayLike

from configs.errors import DraftError, InputError
from drafting import Docket, Piece, allowance
from drafting.allowance import allowance_of, cutting_ring, falls_short, in_mm, with_bound
from drafting.outline import Edge, Points, is_simple, signed_area


def edges_of(*corners: tuple[float, float], **named: int) -> dict[str, Edge]:
    """Straight edges a, b, c … round a ring of corners; ``hem=1`` names the one after corner 1."""
    names = {i: n.replace("_", " ") for n, i in named.items()}
    out = {}
    for i, (p, q) in enumerate(zip(corners, (*corners[1:], corners[0]), strict=True)):
        name = names.get(i, chr(97 + i))
        out[name] = Edge(name, np.array([p, q], dtype=float))
    return out


def same_ring(line: Points, wanted: ArrayLike) -> bool:
    """Whether a cutting line has these vertices and no others, in any order, within 1 µm."""
    want = np.asarray(wanted, dtype=float)
    gaps = np.hypot(*(line[:, None] - want[None]).transpose(2, 0, 1))
    return len(line) == len(want) and bool((gaps.min(axis=0) < 2e-6).all())


# -- which allowance -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edge", "given", "mm"),
    [
        ("side", {"side": 12.0, "all": 5.0}, 12.0),
        ("side", {"all": 5.0}, 5.0),
        ("left side", {"side": 12.0, "all": 5.0}, 12.0),
        ("right side", {"right side": 9.0, "side": 12.0}, 9.0),
        ("sleeve hem", {"hem": 25.0, "all": 5.0}, 25.0),
        ("sleeve hem", {"sleeve hem": 30.0, "hem": 25.0}, 30.0),
        ("side", {"hem": 25.0}, 0.0),
        ("raw edge", {"all": 5.0}, 0.0),
        ("raw edge", {"raw edge": 4.0, "all": 5.0}, 4.0),
        ("fold", {"fold": 9.0, "all": 5.0}, 0.0),
        ("side", {}, 0.0),
        ("side", None, 0.0),
    ],
)
def test_an_edge_takes_its_own_or_the_general(edge: str, given: dict[str, float], mm: float) -> None:  # fmt: skip
    """Its own entry, that of both sides, the hems', ``all``; never a fold, a raw edge only by name."""
    assert allowance_of(edge, given) == mm


def test_bound_edges_take_none_from_all() -> None:
    """A bound edge gets what is named for it or its pair of sides, and else nothing."""
    bound = ("neckline", "left armhole", "right armhole")
    given = {"all": 10.0, "armhole": 6.0}
    assert with_bound(given, bound) == {"all": 10.0, "armhole": 6.0, "neckline": 0.0}
    assert with_bound({"hem": 20.0}, bound) == {"hem": 20.0}
    assert with_bound({"all": 10.0, "neckline": 3.0}, bound[:1]) == {"all": 10.0, "neckline": 3.0}
    assert given == {"all": 10.0, "armhole": 6.0}
    assert with_bound(None, bound) == {}


@pytest.mark.parametrize(("mm", "fine"), [(100.0, True), (200.0, True), (400.0, False)])
def test_no_allowance_over_200_mm(mm: float, fine: bool) -> None:
    """Half of the most passes, the most passes, twice of it is refused by its key."""
    if fine:
        assert in_mm({"hem": mm}) == {"hem": mm}
        return
    with pytest.raises(InputError) as caught:
        in_mm({"hem": mm})
    assert [f.where for f in caught.value.faults] == ["allowances.hem"]


# -- corners -----------------------------------------------------------------------------------------


def test_convex_pieces_are_where_their_half_planes_meet() -> None:
    """Seeded convex outlines, each edge its own width or none: every edge's line moved outward."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        count = int(rng.integers(4, 8))
        t = (np.arange(count) + rng.uniform(-0.2, 0.2, count)) * 2 * np.pi / count
        ring = 200.0 * np.stack([np.cos(t), np.sin(t)], axis=1) + rng.uniform(-500, 500, 2)
        edges = edges_of(*map(tuple, ring))
        widths = rng.choice([0.0, 6.0, 10.0, 15.0, 25.0], count)
        cut = cutting_ring(edges, dict(zip(edges, widths, strict=True)))
        wanted = shapely.box(-2e3, -2e3, 2e3, 2e3)
        for edge, width in zip(edges.values(), widths, strict=True):
            p, q = edge.points
            along = (q - p) / math.dist(p, q)
            inward = np.array([-along[1], along[0]])
            a, b = p - inward * width - 4e3 * along, q - inward * width + 4e3 * along
            wanted = wanted & shapely.Polygon([a, b, b + 8e3 * inward, a + 8e3 * inward])
        assert shapely.symmetric_difference(shapely.Polygon(cut), wanted).area < 1e-2
        assert len(cut) == len(wanted.exterior.coords) - 1
        assert math.dist(cut[0], ring[0]) == min(math.dist(p, ring[0]) for p in cut)
        assert signed_area(cut) > 0


def test_a_hollow_corner_is_where_both_lines_meet() -> None:
    """An L with six different widths: each vertex by hand."""
    edges = edges_of((0, 0), (200, 0), (200, 80), (100, 80), (100, 200), (0, 200))
    widths = {"a": 20.0, "b": 10.0, "c": 5.0, "d": 15.0, "e": 8.0, "f": 12.0}
    wanted = [(-12, -20), (210, -20), (210, 85), (115, 85), (115, 208), (-12, 208)]
    assert same_ring(cutting_ring(edges, widths), wanted)
    for width in (0.0, 7.0):  # one line only, inside an edge too
        ring = np.array(
            [(0, 0), (200, 0), (200, 80), (100, 80), (100, 200), (0, 200), (0, 0)], float
        )
        line = cutting_ring({"edge": Edge("edge", ring)}, {"all": width})
        w = width
        box = [(-w, -w), (200 + w, -w), (200 + w, 80 + w), (100 + w, 80 + w), (100 + w, 200 + w), (-w, 200 + w)]  # fmt: skip
        assert same_ring(line, box)


def test_a_wide_allowance_ends_at_a_narrow_ones_line() -> None:
    """20 mm after 5 mm round a bend of 30°: the lines meet at (231.3, −5), either way round."""
    x = 210 + (17.3205081 - 5) * math.sqrt(3)  # up the line through (210, −17.32) at 30°
    top = (200 + 300 * math.sqrt(0.75), 150)
    line = cutting_ring(edges_of((0, 0), (200, 0), top, (0, 400)), {"a": 5.0, "b": 20.0})
    assert any(math.dist(p, (x, -5)) < 1e-5 for p in line)
    assert line[:, 1].min() == pytest.approx(-5)
    flipped = [(-p[0], p[1]) for p in ((200.0, 0.0), (0.0, 0.0), (0.0, 400.0), top)]
    line = cutting_ring(edges_of(*flipped), {"a": 5.0, "d": 20.0})
    assert any(math.dist(p, (-x, -5)) < 1e-5 for p in line)
    assert line[:, 1].min() == pytest.approx(-5)


@pytest.mark.parametrize("swap", [False, True])
def test_a_sharp_corner_is_blunted_at_two_and_a_half_widths(swap: bool) -> None:
    """10 mm and 6 mm round a corner of 10°: the lines stop where 10 mm reach 25 mm from the corner."""
    tan = math.tan(math.radians(10))
    ring = [(500.0, 40.0), (200.0, 40.0), (500.0, 40.0 + 300 * tan)]
    ring = [ring[0], ring[2], ring[1]]  # the tip last, its upper side before it
    edges = edges_of(*ring)
    upper, lower = (6.0, 10.0) if swap else (10.0, 6.0)
    line = cutting_ring(edges, {"a": 1.0, "b": upper, "c": lower}) - (200.0, 40.0)
    run = math.sqrt(25**2 - 10**2)  # 22.913: past the corner, along each line
    cos, sin = math.cos(math.radians(10)), math.sin(math.radians(10))
    for p in ((-run, -lower), (-run * cos - upper * sin, -run * sin + upper * cos)):
        assert np.hypot(*(line - p).T).min() < 1e-5
    assert line[:, 0].min() == pytest.approx(
        -run * cos - upper * sin if upper == 10 else -run, abs=2
    )


@pytest.mark.parametrize(("degrees", "sharp"), [(1.0, False), (4.0, True)])
def test_a_hem_runs_straight_on(degrees: float, sharp: bool) -> None:
    """An edge 1° off the hem's line starts at its end; at 4° the corner has its point."""
    rise = 200 * math.tan(math.radians(degrees))
    edges = edges_of((0, 0), (200, 0), (400, rise), (400, 300), (0, 300), hem=0)
    line = cutting_ring(edges, {"all": 10.0, "hem": 10.0}, {("hem", "b"): ("extended", "hem")})
    half = math.tan(math.radians(degrees) / 2)
    point = (200 + 10 * half, -10)
    assert bool(np.hypot(*(line - point).T).min() < 1e-6) is sharp
    assert line[:, 1].min() == pytest.approx(-10)
    near = line[np.hypot(*(line - (200.0, 0.0)).T) < 15.0]
    assert np.hypot(*(near - (200.0, 0.0)).T).min() > 9.99
    assert len(near) == (1 if sharp else 2)
    if not sharp:  # whatever the corner's kind: nothing is turned up there
        other = cutting_ring(edges, {"all": 10.0, "hem": 10.0})
        assert shapely.Polygon(line).symmetric_difference(shapely.Polygon(other)).area < 1e-6
        wide = cutting_ring(edges, {"all": 10.0, "hem": 30.0})
        assert wide[:, 0].max() == pytest.approx(410) and wide[:, 1].min() == pytest.approx(-30)


CORNER = [(0, 0), (200, 0), (260, 160), (0, 160)]  # at (200, 0) the side leans out, 69.4° up


@pytest.mark.parametrize("lead", ["a", "b"])
def test_a_squared_end(lead: str) -> None:
    """Square to the seam that is sewn first: the end stands up on it, a width deep, by hand."""
    line = cutting_ring(
        edges_of(*CORNER), {"all": 10.0, "a": 30.0}, {("a", "b"): ("squared", lead)}
    )
    up = np.array([60.0, 160.0]) / math.hypot(60, 160)
    out = np.array([up[1], -up[0]])
    if lead == "a":  # on the line of a, from where the cutting line of b meets it
        x = 200 + 10 / up[1]
        wanted = [(x, 0.0), (x, -30.0)]
    else:  # on the line of b run down, from where the cutting line of a meets it
        foot = np.array([200.0, 0.0]) - up * (30 / up[1])
        wanted = [tuple(foot), tuple(foot + 10 * out)]
    for p in wanted:
        assert np.hypot(*(line - p).T).min() < 1e-5, p
    assert is_simple(line)


@pytest.mark.parametrize("hem_first", [True, False])
@pytest.mark.parametrize("lean", [-300.0, -120.0, -60.0, -20.0, 0.0, 20.0, 60.0])
def test_a_mirrored_end_lies_on_the_side_when_turned_up(lean: float, hem_first: bool) -> None:
    """Turned up at the hem's line, its allowance covers the side's cut shape there and no more."""
    ring = [(-150.0, 0.0), (200.0, 0.0), (200.0 + lean, 300.0), (-150.0, 300.0)]
    if not hem_first:
        ring = [(-x, y) for x, y in (ring[1], ring[0], ring[3], ring[2])]
    edges = edges_of(*ring, hem=0)
    cut = shapely.Polygon(cutting_ring(edges, {"all": 10.0, "hem": 40.0}))
    turned = shapely.transform(cut & shapely.box(-999, -99, 999, 0), lambda p: p * (1.0, -1.0))
    assert shapely.symmetric_difference(turned, cut & shapely.box(-999, 0, 999, 40)).area < 1e-3


def test_a_hem_that_could_not_be_turned_up_ends_square() -> None:
    """A side that leans by more than 78° would mirror to a long tongue: its hem ends square."""
    edges = edges_of((0, 0), (200, 0), (800, 80), (0, 200), hem=0)
    line = cutting_ring(edges, {"all": 10.0, "hem": 40.0})
    x = 200 + 10 * math.hypot(600, 80) / 80  # where the side's cutting line meets the hem's
    assert np.hypot(*(line - (x, -40.0)).T).min() < 1e-5


def test_wide_hems_on_narrow_sides_end_at_their_line() -> None:
    """A side with 30 mm that is squared after a hem of 5 mm does not stand below the hem's line."""
    edges = edges_of((0, 0), (200, 0), (460, 150), (0, 400))
    line = cutting_ring(edges, {"all": 5.0, "b": 30.0}, {("a", "b"): ("squared", "a")})
    assert line[:, 1].min() == pytest.approx(-5)
    assert is_simple(line)
    mirrored = [(-x, y) for x, y in ((200, 0), (0, 0), (0, 400), (460, 150))]
    other = cutting_ring(edges_of(*mirrored), {"all": 5.0, "d": 30.0}, {("d", "a"): ("squared", "a")})  # fmt: skip
    assert signed_area(other) == pytest.approx(signed_area(line), abs=1e-2)
    assert other[:, 1].min() == pytest.approx(-5)


@pytest.mark.parametrize("kind", ["squared", "mirrored"])
def test_no_end_is_shaped_where_a_side_has_none(kind: str) -> None:
    """Beside an edge without an allowance the other simply runs on to its line."""
    ring = [(0, 0), (200, 0), (200, 150), (0, 150)]
    for wide in ("a", "b"):
        line = cutting_ring(edges_of(*ring), {wide: 20.0}, {("a", "b"): (kind, "a")})
        box = [(0, -20), (200, -20), (200, 150), (0, 150)] if wide == "a" else [(0, 0), (220, 0), (220, 150), (0, 150)]  # fmt: skip
        assert same_ring(line, box)


# -- along an edge -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("degrees", "shared"), [(10.0, True), (40.0, True), (-10.0, True), (-40.0, True)])  # fmt: skip
def test_a_bend_inside_an_edge_is_one_vertex(degrees: float, shared: bool) -> None:
    """Outward or inward, gentle or sharp: both stretches meet in one point of the cutting line."""
    t = math.radians(degrees)
    bend = np.array([(0, 0), (150, 0), (150 + 150 * math.cos(t), 150 * math.sin(t))])
    edges = {"a": Edge("a", bend), "b": Edge("b", np.array([bend[-1], (150, 400), (0, 0)]))}
    line = cutting_ring(edges, {"a": 10.0})
    point = (150 + 10 * math.tan(t / 2), -10)
    assert bool(np.hypot(*(line - point).T).min() < 1e-6) is shared
    near = np.hypot(*(line - (150, 0)).T) < 20
    assert near.sum() == 1


def test_a_hollow_tighter_than_the_allowance() -> None:
    """A square notch with a round bottom of 15 mm, 40 mm round it: as an independent buffer has it."""
    t = np.radians(np.arange(180, 361, 15))
    bowl = np.stack([100 + 15 * np.cos(t), 60 + 15 * np.sin(t)], axis=1)[::-1]
    top = np.concatenate([[(300.0, 100.0), (115.0, 100.0)], bowl, [(85.0, 100.0), (-100.0, 100.0)]])
    edges = {"a": Edge("a", top), "b": Edge("b", np.array([(-100.0, 100), (-100, -50), (300, -50), (300, 100)]))}  # fmt: skip
    for width in (5.0, 40.0):
        cut = shapely.Polygon(cutting_ring(edges, {"all": width}))
        ring = np.concatenate([top[:-1], edges["b"].points[:-1]])
        other = shapely.Polygon(ring).buffer(width, join_style="mitre", mitre_limit=10)
        assert shapely.symmetric_difference(cut, other).area < 0.5


def test_no_allowance_is_the_sewing_line_itself() -> None:
    """Point for point, those on a straight run too; with one they are dropped from the cutting line."""
    ring = [(0.1, 0.2), (60.3, 0.2), (120.7, 0.2), (120.7, 99.9), (0.1, 99.9)]
    edges = edges_of(*ring)
    np.testing.assert_array_equal(cutting_ring(edges, {}), ring)
    np.testing.assert_array_equal(cutting_ring(edges, {"all": 0.0}), ring)
    assert len(cutting_ring(edges, {"all": 5.0})) == 4


def test_a_fold_is_never_crossed() -> None:
    """Beside the fold an edge that leans back is cut off at x = 0, above and below the outline too."""
    edges = edges_of((0, 0), (150, 30), (150, 280), (0, 300), fold=3)
    line = cutting_ring(edges, {"all": 20.0, "fold": 30.0})
    assert line[:, 0].min() == 0.0
    low, high = line[line[:, 0] == 0.0][:, 1].min(), line[line[:, 0] == 0.0][:, 1].max()
    assert low == pytest.approx(-20 * math.hypot(150, 30) / 150)
    assert high == pytest.approx(300 + 20 * math.hypot(150, 20) / 150)


@pytest.mark.parametrize("fold", [False, True])
def test_a_trim_that_would_bite_is_left_out(fold: bool) -> None:
    """An edge that leaves a narrow one upward and comes down past its line keeps its own width."""
    down = np.array([(200.0, 0.0), (230.0, 17.0), (330.0, -90.0)])
    ring = {
        "fold": [(0, 400), (0, 60)], "low": [(0, 60), (30, 0)], "a": [(30, 0), (200, 0)],
        "b": down, "c": [(330, -90), (330, 400), (0, 400)],
    }  # fmt: skip
    names = {"fold": "fold" if fold else "left"}
    edges = {names.get(n, n): Edge(names.get(n, n), np.array(p, float)) for n, p in ring.items()}
    line = cutting_ring(edges, {"low": 20.0, "a": 5.0, "b": 20.0})
    assert is_simple(line)
    closed = shapely.LinearRing(line)
    for x, y in ((265.0, -20.45), (300.0, -57.9)):  # on the falling part of b
        assert closed.distance(shapely.Point(x, y)) == pytest.approx(20, abs=0.01)
    if fold:
        assert line[:, 0].min() == 0.0


def test_an_edge_close_along_the_fold_is_sound() -> None:
    """What its allowance would take past the fold is not asked for, and not drawn."""
    edges = edges_of((0, 0), (40, -120), (200, -120), (200, 300), (0, 300), fold=4)
    line = cutting_ring(edges, {"all": 30.0})
    assert line[:, 0].min() == 0.0
    assert line[:, 1].min() == pytest.approx(-150)


# -- the last look -----------------------------------------------------------------------------------

RECTANGLE = edges_of((0, 0), (200, 0), (200, 300), (0, 300))


def grown(left: float, low: float, right: float, high: float) -> Points:
    """The rectangle's cutting line with these widths."""
    return np.array([(-left, -low), (200 + right, -low), (200 + right, 300 + high), (-left, 300 + high)])  # fmt: skip


@pytest.mark.parametrize("edge", range(4))
def test_a_line_nearer_than_the_allowance_is_told(edge: int) -> None:
    """0.025 mm nearer is let pass, 0.1 mm is told with its edge, on whichever side it is."""
    ring, widths = list(RECTANGLE.values()), [10.0, 12.0, 14.0, 16.0]
    for by, told in ((0.025, ""), (0.1, "abcd"[edge])):
        low, right, high, left = (w - by * (i == edge) for i, w in enumerate(widths))
        assert falls_short(ring, widths, grown(left, low, right, high)) == told


def test_only_what_has_an_allowance_is_looked_at() -> None:
    """An edge without one and a fold may lie on the line; corners do not count; crossed lines do."""
    ring = list(RECTANGLE.values())
    assert falls_short(ring, [10.0, 0.0, 10.0, 10.0], grown(10, 10, 0, 10)) == ""
    folded = list(edges_of((0, 0), (200, 0), (200, 300), (0, 300), fold=3).values())
    assert falls_short(folded, [10.0, 10.0, 10.0, 10.0], grown(0, 10, 10, 10)) == ""
    assert falls_short(folded, [10.0, 10.0, 10.0, 0.0], grown(0, 10, 9, 10)) == "b"
    chopped = np.array([(0, -10), (200, -10), (210, 0), (210, 300), (200, 310), (0, 310), (-10, 300), (-10, 0)])  # fmt: skip
    assert falls_short(ring, [10.0] * 4, chopped) == ""
    cut = grown(10, 10, 10, 10)
    assert falls_short(ring, [10.0] * 4, cut[[0, 2, 1, 3]]) == "outline"
    dented = np.array([*cut[:2], (210, 120), (201, 150), (210, 180), *cut[2:]])
    assert falls_short(ring, [10.0] * 4, dented) == "b"


def test_a_short_edge_is_looked_at_in_its_middle() -> None:
    """Where an edge is shorter than its corners take, its middle third still counts."""
    ring = list(edges_of((0, 0), (200, 0), (200, 20), (0, 20)).values())
    for right, told in ((40.0, ""), (39.0, "b")):
        line = np.array([(-40, -40), (200 + right, -40), (200 + right, 60), (-40, 60)])
        assert falls_short(ring, [40.0] * 4, line) == told


def test_edges_beside_a_fold_are_looked_at_up_to_it() -> None:
    """Past the fold there is no cloth: what would lie at x < 0 is no fault, what lies at x > 0 is."""
    edges = edges_of((0, 0), (60, 60), (60, 300), (0, 300), fold=3)  # a rises at 45° from the fold
    line = cutting_ring(edges, {"all": 30.0})
    ring = list(edges.values())
    assert falls_short(ring, [30.0, 30.0, 30.0, 0.0], line) == ""
    assert falls_short(ring, [30.0, 30.0, 30.0, 0.0], line * (0.97, 1.0)) == "a"


def test_no_sound_line_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line that comes nearer than the allowance is never handed out: untrimmed, else refused."""
    trims = []

    def joined(sound: bool) -> None:
        def join(*args: object) -> Points:
            trims.append(args[-1])
            return grown(10, 10, 10, 10) if sound and not args[-1] else grown(10, 10, 9, 10)

        monkeypatch.setattr(allowance, "_join", join)

    joined(sound=True)
    np.testing.assert_array_equal(cutting_ring(RECTANGLE, {"all": 10.0}), grown(10, 10, 10, 10))
    joined(sound=False)
    with pytest.raises(
        DraftError, match=r"outside 'b'.*nearer to the sewing line than the allowance"
    ):
        cutting_ring(RECTANGLE, {"all": 10.0})
    assert trims == [True, False, True, False]


def test_corners_of_every_kind_keep_the_allowance() -> None:
    """Seeded quads, every corner kind and width: each edge's own width off its ends, one sound line."""
    rng = np.random.default_rng(11)
    kinds = itertools.cycle(["extended", "squared", "mirrored"])
    for _ in range(30):
        jitter = rng.uniform(-60, 60, (4, 2))
        ring = np.array([(0, 0), (300, 0), (300, 300), (0, 300)]) + jitter
        edges = edges_of(*map(tuple, ring))
        widths = dict(zip("abcd", rng.uniform(4, 35, 4), strict=True))
        names = list("abcda")
        corners = {(a, b): (next(kinds), rng.choice([a, b])) for a, b in itertools.pairwise(names)}
        cut = cutting_ring(edges, widths, corners)
        assert is_simple(cut)
        closed = shapely.LinearRing(cut)
        for name, edge in edges.items():
            middle = edge.points.mean(axis=0)
            away = closed.distance(shapely.Point(middle))
            assert away == pytest.approx(widths[name], abs=1e-6), (name, corners)


@pytest.mark.parametrize(("mm", "told"), [(1.5, True), (2.9, True), (3.1, False), (6.0, False)])
def test_an_allowance_too_narrow_to_sew_is_told(mm: float, told: bool) -> None:
    """Less than 3 mm is asked back: at half of that told, at twice of it not."""
    bib = Piece.from_outline("bib", [(0, 0), (300, 0), (0, 400)])
    docket = Docket(imported={"bib": bib}, allowances={"all": mm})
    assert any("is that meant" in text for text in docket.allowance_cautions()) is told
