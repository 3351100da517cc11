"""Pieces for the tests of the scissors: drafted, imported, curved; and a darted front from a book.

Lengths mm; bodies invented unless a source is named.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from drafting import Measurements, draft
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.shaping.places import place
from drafting.shaping.state import Work

BODIES = {
    "pear": {"bust_girth": 880, "waist_girth": 700, "hip_girth": 1020, "hip_girth_at_tailbone": 1010,
             "neck_width": 132, "shoulder_length": 120, "back_neck_to_tailbone": 600, "waist_to_hip": 206},
    "straight": {"bust_girth": 940, "waist_girth": 820, "hip_girth": 980, "hip_girth_at_tailbone": 970,
                 "neck_width": 138, "shoulder_length": 125, "back_neck_to_tailbone": 620, "waist_to_hip": 200},
    "plus": {"bust_girth": 1320, "waist_girth": 1160, "hip_girth": 1380, "hip_girth_at_tailbone": 1370,
             "neck_width": 152, "shoulder_length": 135, "back_neck_to_tailbone": 630, "waist_to_hip": 215},
}  # fmt: skip


def body(name: str) -> Measurements:
    """One of the three."""
    return Measurements.from_dict({"unit": "mm", **BODIES[name]})


@cache
def drafted(block: str, who: str, *style: tuple[str, Any]) -> Work:
    """A drafted garment, ready for the scissors."""
    d = draft(block, body(who), dict(style))
    return Work(d.pieces, d.seams, (), "mm")


@cache
def curved() -> Piece:
    """An imported outline of three curved edges, with a notch, a drill and a line on it."""
    t = np.linspace(0.0, 2.0 * np.pi, 121)
    ring = np.stack(
        [(200 + 18 * np.cos(3 * t)) * np.cos(t), (260 + 12 * np.sin(2 * t)) * np.sin(t)], 1
    )
    edges = {"crown": ring[:41], "left": ring[40:81], "right": ring[80:]}
    piece = Piece.from_outline("panel", [], edges=edges)
    return piece.with_(
        notches=(Notch("crown", 120.0, 1, "a"), Notch("left", 60.0, 2, "b")),
        marks=(Mark("drill", np.array([[40.0, 60.0]])), Mark("line", np.array([[-90.0, -40.0], [90.0, -60.0]]))),
        landmarks={"apex": (30.0, 40.0)},
    )  # fmt: skip


@cache
def aldrich_front() -> Piece:
    """The front of a close-fitting bodice, bust 88, with its dart at the shoulder, in mm.

    Points after W. Aldrich, *Metric Pattern Cutting for Women's Wear*, from memory, worked by hand:
    neck point 67 from the centre front, bust point 98.5 from it and 255 below the top line, armhole
    control point (197, -177.3), underarm (255, -230), waist line at -425, shoulder 122.5 long.
    """
    neck, bust = np.array([67.0, 0.0]), np.array([98.5, -255.0])
    leg = float(np.hypot(*(neck - bust)))
    angle = 2.0 * np.arcsin(0.5 * 70.0 / leg)  # 7 cm from leg to leg
    c, s = np.cos(-angle), np.sin(-angle)
    second = bust + np.array([[c, -s], [s, c]]) @ (neck - bust)
    end = np.array([second[0] + np.sqrt(122.5**2 - (second[1] + 65.0) ** 2), -65.0])
    edges = {
        "centre front": [(0.0, -72.0), (0.0, -425.0)],
        "waist": [(0.0, -425.0), (255.0, -425.0)],
        "side": [(255.0, -425.0), (255.0, -230.0)],
        "armhole": [(255.0, -230.0), (212.0, -212.0), (197.0, -177.3), tuple(end)],
        "shoulder": [tuple(end), tuple(second), tuple(neck)],
        "neckline": [(67.0, 0.0), (30.0, -58.0), (0.0, -72.0)],
    }
    piece = Piece.from_outline("bodice front", [], cut=2, pair=True, edges=edges)
    dart = Dart("shoulder", tuple(second), tuple(neck), tuple(bust))
    return piece.with_(darts=(dart,), landmarks={"bust point": tuple(bust)})


def at(piece: Piece, text: str) -> Any:
    """The end of a cut at a place told in words."""
    return place(piece, text, "mm").end
