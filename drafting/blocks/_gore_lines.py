"""The lines of a gore: half of it, from its middle to the seam.

Frame: piece mm, x from the middle of the gore, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError
from drafting.blocks._hip_lines import SIDE_BOW
from drafting.curves import Cubic, Points, left_of, line, sweep, unit
from drafting.outline import polyline_length
from drafting.sheet import Amount, waists
from drafting.sheet.darts import Turn


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


def fitted(
    hip: float, waist: float, wanted: Mapping[str, float], n: int, z: Sizes
) -> tuple[float, dict[str, Gore], dict[str, float]]:
    """Gores whose waists are as long as ``wanted`` (half of each, mm), all seams alike; what these take in,
    and half of each gore's width at the hip. ``n`` gores, as many of each, are ``hip`` mm round.

    Raises:
        DraftError: no such gores are found.
    """
    each, taken = n // len(wanted), (hip - waist) / (2 * n)
    wide = {k: w + taken for k, w in wanted.items()}
    for _ in range(40):
        made = {k: draw_gore(w, hip / (2 * n), taken, z) for k, w in wide.items()}
        off = {k: x.waist.length - wanted[k] for k, x in made.items()}
        over = sum(2.0 * each * w for w in wide.values()) - hip
        if max(abs(over), *(abs(x) for x in off.values())) < 1e-5:
            return taken, made, wide
        step = (over - sum(2.0 * each * x for x in off.values())) / (2 * n)
        taken -= step  # each waist gets as much longer as its gore gets narrower at the hip
        wide = {k: w - off[k] - step for k, w in wide.items()}
    what = "cannot be drawn to that of the bodice."
    raise DraftError.of("waist", what, "Are the measurements right?")


def closed_waist(waist: Points, n: int) -> tuple[Points, list[float]]:
    """Half of the waist of front or back with its gores sewn together, from the centre (x = 0, level) to the
    side, and how far along it their seams lie. ``waist`` (N, 2) of one gore, from left to right."""
    middle = int(np.argmin(np.abs(waist[:, 0])))
    gore, half = waist - waist[0], waist[middle:] - waist[middle]
    odd = (n // 2) % 2 == 1  # a gore lies over the centre
    top, seams = (half if odd else _level(gore)), []
    for _ in range(n // 4 - (0 if odd else 1)):
        seams.append(polyline_length(top))
        last, first = unit(top[-1] - top[-2]), unit(gore[1] - gore[0])
        turn = math.atan2(float(last[1]), float(last[0])) - math.atan2(
            float(first[1]), float(first[0])
        )
        more = Turn.about(np.zeros(2), turn)(gore) + top[-1]
        top = np.concatenate([top, more[1:]])
    return top, seams


def _level(points: Points) -> Points:
    """A line from (0, 0), turned so that it begins level."""
    first = unit(points[1] - points[0])
    return Turn.about(np.zeros(2), -math.atan2(float(first[1]), float(first[0])))(points)
