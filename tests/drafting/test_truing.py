"""Truing sees what is wrong: planted faults are found with their size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from top_bodies import inches

from drafting import draft
from drafting.outline import Edge
from drafting.piece import Dart, Piece
from drafting.truing import (
    Corner,
    Girth,
    Run,
    Seam,
    check_corners,
    check_cutting,
    check_darts,
    check_girths,
    check_head,
    check_runs,
    check_seams,
    cutting_distance_error,
)


def tri(name: str, *points: tuple[float, float]) -> Piece:
    """A piece with edges a, b, c … between the points."""
    ring = [*points, points[0]]
    edges = {
        chr(97 + i): Edge(chr(97 + i), np.array([ring[i], ring[i + 1]])) for i in range(len(points))
    }
    return Piece(name, edges)


def test_unequal_seams_are_found() -> None:
    """Two seams 3 mm apart fail by 3 mm; with 3 mm of ease they pass."""
    pieces = {
        "p": tri("p", (0, 0), (103, 0), (0, 80)),
        "q": tri("q", (0, 0), (100, 0), (0, 80)),
    }
    seam = Seam("side", (("p", "a"),), (("q", "a"),))
    (check,) = check_seams(pieces, [seam], "cm")
    assert (check.ok, check.name) == (False, "side seam")
    assert check.value_mm == pytest.approx(3.0)
    (check,) = check_seams(pieces, [replace(seam, ease_mm=3.0)], "cm")
    assert check.ok


@pytest.mark.parametrize(("lean", "ok"), [(0.0, True), (3.0, True), (4.0, False), (-20.0, False)])
def test_corners_off_square_are_found(lean: float, ok: bool) -> None:
    """A corner that leans by mm over 100 mm is told by as many mm; 2° are allowed."""
    pieces = {"p": tri("p", (0, 0), (100, 0), (100 + lean, 100), (0, 100))}
    (check,) = check_corners(pieces, [Corner("p", "a", "b")])
    assert check.ok is ok
    assert check.value_mm == pytest.approx(abs(lean))


def test_a_line_that_breaks_over_a_seam_is_found() -> None:
    """Two corners of 100° and 90° make a kink of 10°, 17.6 mm over 100 mm."""
    slope = 100 * np.tan(np.radians(10))
    pieces = {
        "p": tri("p", (0, 0), (100, 0), (100 + slope, 100), (0, 100)),
        "q": tri("q", (0, 0), (100, 0), (100, 100), (0, 100)),
    }
    run = Run("hem over the side", Corner("p", "a", "b"), Corner("q", "a", "b"))
    (check,) = check_runs(pieces, [run])
    assert not check.ok
    assert check.value_mm == pytest.approx(17.63, abs=0.01)


def test_girths() -> None:
    """Finished less body must be the ease, or at least the ease where more is as good."""
    exact = Girth("bust girth", 1021.0, 920.0, 100.0)
    loose = Girth("waist girth", 1021.0, 800.0, 75.0, at_least=True)
    short = Girth("hem girth", 1000.0, 920.0, 100.0)
    assert [c.ok for c in check_girths([exact, loose, short], "cm")] == [True, True, False]


def test_dart_legs() -> None:
    """Legs that differ by 2 mm are found."""
    p = tri("p", (0, 0), (200, 0), (200, 200), (0, 200))
    dart = Dart("a", (90.0, 0.0), (110.0, 0.0), (100.0, 80.0))
    slipped = Dart("a", (90.0, 0.0), (110.0, 0.0), (92.0, 80.0))
    pieces = {"p": p.with_(darts=(dart,)), "q": p.with_(darts=(slipped,))}
    assert [c.ok for c in check_darts(pieces)] == [True, False]


def test_cutting_line_is_measured() -> None:
    """The distance check measures what was drawn: it finds a line drawn for other allowances."""
    piece = draft("quick-top", inches()).pieces["front"]
    wanted = {"all": 10.0, "hem": 25.0}
    assert cutting_distance_error(piece, wanted) < 0.01
    other = piece.with_()
    other._cache[tuple(sorted(wanted.items()))] = piece.cutting_line({"all": 12.0, "hem": 25.0})
    assert cutting_distance_error(other, wanted) == pytest.approx(2.0, abs=0.05)


def test_cutting_check_reports_what_cannot_be_cut() -> None:
    """An impossible allowance is a failed check with its reason, not a crash."""
    (check,) = check_cutting({"p": tri("p", (0, 0), (100, 0), (0, 80))}, {"all": 500.0})
    assert not check.ok
    assert "20 cm" in check.text


@pytest.mark.parametrize(
    ("opening", "slit", "ok"), [(600, 0, True), (500, 40, False), (500, 50, True)]
)
def test_head(opening: float, slit: float, ok: bool) -> None:
    """Head and 1 cm must pass; a slit counts twice."""
    check = check_head(opening, slit, 580.0, "cm")
    assert check.ok is ok
    assert ("opening of at least 4.5 cm" in check.text) is (not ok)
