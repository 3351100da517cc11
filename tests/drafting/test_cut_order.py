"""The order of cutting under a beam: few places, each with whole pieces, all of them once."""

from __future__ import annotations

from itertools import pairwise

import pytest

from drafting import Piece
from drafting.lay import Cloth, Effort, Lay, Placement, Rules, plan
from drafting.lay.order import stops, with_fewer_stops
from drafting.lay.planner import lay_as_it_is

HERE = Effort(seed=5, workers=0)


def tiles(columns: int, rows: int) -> Lay:
    """Squares of 300 mm in columns along and rows across, 20 mm apart."""
    ring = [(0, 0), (300, 0), (300, 300), (0, 300)]
    piece = Piece.from_outline("tile", ring, cut=columns * rows)
    spots = [(c, r) for c in range(columns) for r in range(rows)]
    put = [
        Placement("tile", n, (320.0 * c, 300.0 + 320.0 * r)) for n, (c, r) in enumerate(spots, 1)
    ]
    cloth = Cloth.from_dict({"width": 320.0 * rows, "length": 320 * columns})
    return lay_as_it_is([piece], cloth, put, Rules(5.0))


@pytest.mark.parametrize(
    ("columns", "rows", "beam", "count"),
    [
        (4, 1, (1300.0, 400.0), 1),
        (4, 1, (640.0, 400.0), 2),
        (4, 1, (600.0, 400.0), 4),
        (4, 2, (640.0, 640.0), 2),
        (4, 2, (640.0, 400.0), 4),
        (6, 3, (960.0, 640.0), 4),
    ],
)
def test_as_few_places_as_there_can_be(
    columns: int, rows: int, beam: tuple[float, float], count: int
) -> None:
    """Counted by hand on tiles: each place holds whole tiles only, and every tile is cut once."""
    lay = tiles(columns, rows)
    walk = stops(lay, beam)
    assert len(walk) == count
    keys = [k for s in walk for k in s.keys]
    assert sorted(keys) == sorted(p.key for p in lay.placements)
    for s in walk:
        x0, y0, x1, y1 = s.rect
        assert s.longer == ()
        assert x1 - x0 <= beam[0] + 0.01 and y1 - y0 <= beam[1] + 0.01


def test_rows_run_to_and_fro() -> None:
    """Two rows of two places: the cloth moves along, across, and back, never the long way home."""
    walk = stops(tiles(4, 2), (640.0, 400.0))
    middles = [((s.rect[0] + s.rect[2]) / 2, (s.rect[1] + s.rect[3]) / 2) for s in walk]
    steps = [abs(a[0] - b[0]) + abs(a[1] - b[1]) for a, b in pairwise(middles)]
    assert max(steps) <= 640.0 + 1e-6


def test_a_piece_longer_than_the_light_is_named() -> None:
    """It is cut in parts where it lies; a beam of no size is refused."""
    long = Piece.from_outline("long", [(0, 0), (100, 0), (100, 900), (0, 900)])
    short = Piece.from_outline("short", [(0, 0), (100, 0), (100, 300), (0, 300)], cut=2)
    lay = plan([long, short], Cloth.from_dict({"width": 400}), 0.1, effort=HERE)
    walk = stops(lay, (500.0, 500.0))
    assert [k for s in walk for k in s.longer] == ["long/1"]
    with pytest.raises(ValueError, match="a beam has"):
        stops(lay, (0.0, 500.0))


@pytest.mark.parametrize("locked", [False, True])
def test_of_two_lays_as_long_the_one_in_fewer_places_is_taken(locked: bool) -> None:
    """500, 500, 300, 300 in a row need three places of 800 mm; 500, 300, 500, 300 two, on as much cloth.

    What she has locked stays, so then the row is as it was.
    """
    sizes = {"one": 500, "two": 500, "three": 300, "four": 300}
    pieces = [Piece.from_outline(n, [(0, 0), (250, 0), (250, s), (0, s)]) for n, s in sizes.items()]
    starts = (0.0, 500.0, 1000.0, 1300.0)
    put = [Placement(n, 1, (x, 250.0), locked=locked) for n, x in zip(sizes, starts, strict=True)]
    cloth = Cloth.from_dict({"width": "260 mm", "nap": "two-way"})
    lay = lay_as_it_is(pieces, cloth, put, Rules(0.0))
    beam = (800.5, 400.0)
    assert lay.problems() == [] and len(stops(lay, beam)) == 3
    other = with_fewer_stops(lay, beam, 1.0, HERE)
    assert other.problems() == []
    assert len(stops(other, beam)) == (3 if locked else 2)
    assert other.used_length_mm <= lay.used_length_mm + 1.0
    assert with_fewer_stops(lay, (1700.0, 400.0), 1.0, HERE) is lay  # one place holds it all
