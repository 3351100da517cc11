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
    """Ends of open lines, looked up in a tree, so that thousands stay quick."""

    def __init__(self, ends: Sequence[tuple[Array, Array]]) -> None:
        from scipy.spatial import cKDTree

        self.at = np.array(ends, dtype=np.float64).reshape(-1, 2)  # two rows a line
        self.free = np.ones(len(ends), dtype=bool)
        self.tree = cKDTree(self.at)
        self.looks = 0

    def take(self, i: int) -> bool:
        """Take line ``i`` out; False when it was taken before."""
        was, self.free[i] = bool(self.free[i]), False
        return was

    def nearest(self, point: Array) -> tuple[int, bool] | None:
        """The free line with an end at ``point``, and whether it must be turned round."""
        near = self.tree.query_ball_point(point, JOIN_MM)
        self.looks += len(near)
        if self.looks > MAX_LOOKS:
            raise InputError.of(
                "",
                f"too many lines end near x {point[0]:.1f}, y {point[1]:.1f} mm to tell which go on.",
                "Save the outlines of one garment alone, each as one closed line.",
            )
        there = [end for end in sorted(near) if self.free[end // 2]]
        if not there:
            return None
        end = min(there, key=lambda end: math.dist(self.at[end], point))
        return end // 2, bool(end % 2)
