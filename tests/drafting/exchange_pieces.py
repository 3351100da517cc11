"""Pieces of known size for the tests of export and intake: the singers' rehearsal top, invented."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drafting.outline import Edge
from drafting.piece import Dart, Mark, Notch, Piece

ALLOWANCES = {"all": 10.0, "hem": 25.0, "neckline": 6.0}


def arc(
    centre: tuple[float, float], radius: float, start: float, stop: float, n: int = 60
) -> NDArray[np.float64]:
    """(N, 2) points on a circle, degrees."""
    t = np.radians(np.linspace(start, stop, n))
    return np.column_stack([centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t)])


def front() -> Piece:
    """Half a front on the fold, with a dart, notches, a drill mark and a line inside."""
    armhole = np.vstack([[(279.0, 406.0)], arc((330, 520), 125, 245, 160)])
    runs = {
        "hem": np.array([[0.0, 0.0], [292.0, 0.0]]),
        "side": np.array([[292.0, 0.0], [279.0, 406.0]]),
        "armhole": armhole,
        "shoulder": np.array([armhole[-1], [76.0, 620.0]]),
        "neckline": arc((0, 620), 76, 0, -90),
        "fold": np.array([[0.0, 544.0], [0.0, 0.0]]),
    }
    return Piece(
        "front",
        {n: Edge(n, p) for n, p in runs.items()},
        fold=((0.0, 0.0), (0.0, 544.0)),
        grain=((120.0, 60.0), (120.0, 500.0)),
        notches=(Notch("armhole", 60.0), Notch("side", 150.0, 2)),
        darts=(Dart("side", (288.0, 120.0), (286.0, 150.0), (150.0, 140.0)),),
        marks=(
            Mark("pocket corner", [(60.0, 300.0)]),
            Mark("turn-up", [(20.0, 30.0), (270.0, 30.0)]),
        ),
        label=("front",),
    )


def sleeve() -> Piece:
    """A sleeve cut as a pair, one way only, with a curved cap."""
    t = np.linspace(0.0, 1.0, 80)
    cap = np.column_stack([165.0 - 330.0 * t, 420.0 + 140.0 * np.sin(np.pi * t) ** 1.5])
    cap[-1] = (-165.0, 420.0)
    runs = {
        "hem": np.array([[-110.0, 0.0], [110.0, 0.0]]),
        "front seam": np.array([[110.0, 0.0], [165.0, 420.0]]),
        "cap": cap,
        "back seam": np.array([[-165.0, 420.0], [-110.0, 0.0]]),
    }
    return Piece(
        "sleeve",
        {n: Edge(n, p) for n, p in runs.items()},
        cut=2,
        pair=True,
        turns=(0.0,),
        notches=(Notch("cap", 100.0), Notch("cap", 300.0, 2)),
    )


def garment() -> dict[str, Piece]:
    """Three pieces by name: on the fold, a pair, and a bare outline."""
    cuff = Piece.from_outline("cuff", [(0, 0), (240, 0), (240, 60), (0, 60)], cut=2)
    return {"front": front(), "sleeve": sleeve(), "cuff": cuff}
