"""What a reader of a drawing file hands over: single lines, and how loose ones join.

Second station of the intake, between the readers (`svg`, `dxf`) and `judge`, which tells the
outlines of pieces among them. Lines are chains of segments in mm, y up.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from configs.errors import InputError
from drafting.intake.geometry import Array, Chain

JOIN_MM = 0.1  # ends no further apart than this are one point; less than a pencil line
MAX_LOOKS = 300_000  # at ends that lie near one another, of one file

CUTTING, SEWING, GRAIN, FOLD = "cutting", "sewing", "grain", "fold"
NOTCH, DART, DRILL, MARK = "notch", "dart", "drill", "mark"
INSIDE = (NOTCH, DART, DRILL, MARK)  # what lies on an outline or inside it


@dataclass(frozen=True)
class Drawn:
    """One chain of a file with what the file says about it; mm, y up.

    ``name``: what the file calls it or its group; ``where``: for messages; ``piece``, ``edge``:
    only in files of ours and blocks of a DXF; ``line``: one of the kinds above, as the file's
    class or layer tells, or ''; ``about``: what is said of the whole piece (cut, pair, turns);
    ``note``: what is said of this line (see `drafting.export.marks.Stroke`).
    """

    chain: Chain
    name: str
    where: str
    piece: str = ""
    edge: str = ""
    line: str = ""
    about: Mapping[str, str] = field(default_factory=dict)
    note: Mapping[str, str] = field(default_factory=dict)


def meet(a: Array, b: Array) -> bool:
    """Whether two points (2,) are one."""
    return math.hypot(float(a[0] - b[0]), float(a[1] - b[1])) <= JOIN_MM


def join(lines: Sequence[Drawn]) -> tuple[list[Drawn], list[Drawn], int]:
    """Closed chains, those that open ones make end to end included; those that stay open, joined
    as far as they go; and of how many lines these were made.

    A line that was drawn twice counts once.

    Raises:
        InputError: more ends lie in one place than can be told apart in a reasonable time.
    """
    closed = [d for d in lines if d.chain.closed]
    pending = _once([d for d in lines if not d.chain.closed])
    ends = _Ends([d.chain.ends for d in pending])
    stay: list[Drawn] = []
    stayed = 0
    for i, d in enumerate(pending):
        if not ends.take(i):
            continue
        run, (first, last), count = list(d.chain.segments), d.chain.ends, 1
        shut = len(run) > 1 and meet(first, last)
        while not shut and (step := ends.nearest(last)) is not None:
            j, flip = step
            ends.take(j)
            more = pending[j].chain.reversed() if flip else pending[j].chain
            run += more.segments
            last = more.ends[1]
            count += 1
            shut = meet(first, last)
        made = dataclasses.replace(d, chain=Chain(tuple(run), shut))
        (closed if shut else stay).append(made)
        stayed += 0 if shut else count
    return closed, stay, stayed


def _once(lines: Sequence[Drawn]) -> list[Drawn]:
    """The same without lines that lie on one before them from end to end."""
    kept: dict[object, Drawn] = {}
    for d in lines:
        hulls = [np.round(s.control, 6) + 0.0 for s in d.chain.segments]
        there = tuple(tuple(h.ravel()) for h in hulls)
        back = tuple(tuple(h[::-1].ravel()) for h in reversed(hulls))
        kept.setdefault((d.line, d.edge, min(there, back)), d)
    return list(kept.values())


class _Ends:
    """Ends of open lines, looked up by the cells of a grid, so that thousands stay quick."""

    def __init__(self, ends: Sequence[tuple[Array, Array]]) -> None:
        self.ends = [((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))) for a, b in ends]
        self.free = set(range(len(ends)))
        self.looks = 0
        self.cells: dict[tuple[int, int], set[int]] = {}
        for i, both in enumerate(self.ends):
            for end in both:
                self.cells.setdefault(_cell(end), set()).add(i)

    def take(self, i: int) -> bool:
        """Take line ``i`` out; False when it was taken before."""
        if i not in self.free:
            return False
        self.free.discard(i)
        for end in self.ends[i]:
            self.cells[_cell(end)].discard(i)
        return True

    def nearest(self, point: Array) -> tuple[int, bool] | None:
        """The free line with an end at ``point``, and whether it must be turned round."""
        x, y = float(point[0]), float(point[1])
        cx, cy = _cell((x, y))
        best = (math.inf, -1, False)
        for cell in ((cx + dx, cy + dy) for dx in (0, -1, 1) for dy in (0, -1, 1)):
            around = self.cells.get(cell, ())
            self.looks += len(around)
            if self.looks > MAX_LOOKS:
                raise InputError.of(
                    "",
                    f"too many lines end near x {x:.1f}, y {y:.1f} mm to tell which go on.",
                    "Save the outlines of one garment alone, each as one closed line.",
                )
            for i in around:
                for flip in (False, True):
                    ex, ey = self.ends[i][flip]
                    best = min(best, (math.hypot(ex - x, ey - y), i, flip))
        return (best[1], best[2]) if best[0] <= JOIN_MM else None


def _cell(point: tuple[float, float]) -> tuple[int, int]:
    return math.floor(point[0] / JOIN_MM), math.floor(point[1] / JOIN_MM)
