"""The lines of a gore: half of it, from its middle to the seam.

Frame: piece mm, x from the middle of the gore, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drafting.blocks._hip_lines import SIDE_BOW
from drafting.curves import Cubic, left_of, line, sweep
from drafting.sheet import Amount, waists


@dataclass(frozen=True, eq=False)
class Gore:
    """Half of a gore, mm: ``waist`` and ``hem`` from its middle to the seam, ``seam`` downward."""

    waist: Cubic
    seam: list[Cubic]
    hem: Cubic


@dataclass(frozen=True)
class Sizes:
    """Depth of the hip, where the flare begins, the length, the flare on one edge, mm."""

    depth: Amount
    begins: Amount
    length: Amount
    flare: Amount


def hem_lean(wide: float, flare: float, room: float, knee: bool) -> float:
    """How far the seam leans out at the hem of half a gore ``wide`` mm there, radians; as far as may
    be where it finds no rest. A trumpet swings out, steeper towards the hem."""
    lean, before, steep = 0.0, 1.0, 1.6 if knee else 1.0
    for _ in range(60):
        before = lean
        lean = min(math.atan2(steep * flare, room - wide * math.tan(0.5 * lean)), 1.5)
        if abs(lean - before) < 1e-9:
            break
    return lean if abs(lean - before) < 1e-4 else 1.5


def draw_gore(width: float, mean: float, taken: float, z: Sizes) -> Gore:
    """Half a gore ``width`` wide at the hip whose seam comes in by ``taken`` mm at the waist; waist and
    hem are square to its middle and to the seam. ``mean``: half the mean gore's width, by which the seam is drawn, so that all are alike."""
    depth, long_, begins, flare = (float(v) for v in (z.depth, z.length, z.begins, z.flare))
    knee = begins > depth
    wide, off = mean + flare, np.array([width - mean, 0.0])
    # Waist and hem are arcs: an arc that leaves the middle squarely rises by its width × tan(lean ÷ 2)
    # up to a seam that leans so; the seam is square to it there.
    lean = hem_lean(wide, flare, long_ - max(begins, depth), knee)
    foot = np.array([wide, -long_ + wide * math.tan(0.5 * lean)]) + off
    down = np.array([math.sin(lean), -math.cos(lean)])
    hip, inner = np.array([width, -depth]), mean - taken
    below = 0.0 if knee else lean
    up = 0.0
    for _ in range(4):
        phi = SIDE_BOW * math.atan2(taken, up + depth) - (SIDE_BOW - 1.0) * below
        up = inner * math.tan(0.5 * phi)
    end, along = np.array([width - taken, up]), np.array([-math.sin(phi), math.cos(phi)])
    waist = sweep((0.0, 0.0), (1.0, 0.0), end, -left_of(along))
    straight = np.array([math.sin(below), -math.cos(below)])
    seam = [waists.hip_curve(end, -along, hip, straight)]
    if knee:
        start = np.array([width, -begins])
        seam += [line(hip, start), sweep(start, (0.0, -1.0), foot, down)]
    else:
        seam.append(line(hip, foot))
    hem = sweep((0.0, -long_), (1.0, 0.0), foot, left_of(down))
    return Gore(waist, seam, hem)
