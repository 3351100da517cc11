"""In which order to cut a lay under a beam that does not light all of it, the cloth moved little.

For `lay --beam`; read off a finished lay, nothing is planned. (At the table the bays are planned anew
under the real beam, with their crosses: `projector.tools.bays`.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from drafting.lay.laid import LaidPiece
from drafting.lay.model import Lay


@dataclass(frozen=True)
class Stop:
    """Where the cloth lies still: from x0 to x1 and y0 to y1 (mm) is lit, ``keys`` are cut there;
    ``longer``: those of them that reach beyond the light and are traced in parts."""

    rect: tuple[float, float, float, float]
    keys: tuple[str, ...]
    longer: tuple[str, ...] = ()


def stops(lay: Lay, beam_mm: tuple[float, float]) -> tuple[Stop, ...]:
    """The fewest places of the cloth under a beam of (along, across) mm, row by row or along first.

    In each direction every window begins at the first piece not yet cut, which needs the fewest of
    one length (from first principles: no window can begin later and hold that piece). Neighbouring
    rows run to and fro, so the cloth is never drawn all the way back.
    """
    if min(beam_mm) <= 0.0:
        raise ValueError("a beam has a length and a width")
    pieces = list(lay.placements)
    ways = [_walk(pieces, beam_mm, first) for first in (0, 1)]
    return min(ways, key=lambda w: (len(w), _travel(w)))


def _walk(pieces: Sequence[LaidPiece], beam: tuple[float, float], first: int) -> tuple[Stop, ...]:
    found: list[Stop] = []
    for n, row in enumerate(_windows(pieces, beam[first], first)):
        line = []
        for some in _windows(row, beam[1 - first], 1 - first):
            low = np.min([p.outline_mm.min(axis=0) for p in some], axis=0)
            high = np.max([p.outline_mm.max(axis=0) for p in some], axis=0)
            some = sorted(some, key=lambda p: (float(p.outline_mm[:, 0].min()), p.key))
            longer = tuple(p.key for p in some if (np.ptp(p.outline_mm, axis=0) > beam).any())
            rect = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
            line.append(Stop(rect, tuple(p.key for p in some), longer))
        found += line[::-1] if n % 2 else line
    return tuple(found)


def _windows(pieces: Sequence[LaidPiece], size: float, axis: int) -> list[list[LaidPiece]]:
    """Groups of pieces that each lie within one window of a size, as few as there can be."""
    rest = sorted(pieces, key=lambda p: float(p.outline_mm[:, axis].min()))
    groups = []
    while rest:
        start = float(rest[0].outline_mm[:, axis].min())
        end = max(start + size, float(rest[0].outline_mm[:, axis].max())) + 1e-6
        groups.append([p for p in rest if float(p.outline_mm[:, axis].max()) <= end])
        rest = [p for p in rest if float(p.outline_mm[:, axis].max()) > end]
    return groups


def _travel(walk: Sequence[Stop]) -> float:
    """How far the cloth is moved in all, mm."""
    middles = [np.array([s.rect[0] + s.rect[2], s.rect[1] + s.rect[3]]) / 2.0 for s in walk]
    return float(sum(np.hypot(*(b - a)) for a, b in pairwise(middles)))
