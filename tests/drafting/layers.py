"""Cuts a lay on paper: every layer of the folded cloth by itself, each part then turned face up.

Reads what a cutter reads (which line, through which layers) and the drafted outlines; shares no code
with `drafting.lay` and knows no zones. Flat cloth: u along, v across from one selvedge (0) to the other
(width), seen from its right side. `test_layers.py` plants faults to show that it sees; the long run is
`tests/bench/bench_layers.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.ops import unary_union

Array = NDArray[np.float64]
SLACK_MM = 0.05
GRAIN_DEG = 0.02


@dataclass(frozen=True)
class Folded:
    """How the cloth was folded, in the words of who folds it; all mm.

    ``right_sides_in``: they lie together; ``over``: of one selvedge; ``opened``: beyond this x all is
    opened out, right side up.
    """

    way: str
    width: float
    right_sides_in: bool = True
    over: float = 0.0
    opened: float | None = None
    selvedge: float = 0.0

    def layers(self, middle: Array) -> list[Array]:
        """(3, 3) table → flat cloth for every layer at a place, the upper one first."""
        x, y = middle
        w = self.width
        if self.way == "none" or (self.opened is not None and x > self.opened):
            return [np.eye(3)]
        # each layer by where it came from: on the table as it was, or carried over a fold
        if self.way == "crosswise":
            below, above = _affine(1, 1, 0, 0), _affine(-1, 1, 0, 0)
        elif self.way == "lengthwise":
            below, above = _affine(1, 1, 0, w / 2), _affine(1, -1, 0, w / 2)
        elif self.way == "double":
            near = y < w / 4
            below = _affine(1, 1, 0, w / 4)
            above = _affine(1, -1, 0, w / 4 if near else 3 * w / 4 + w / 2)
        else:
            below, above = _affine(1, 1, 0, self.over), _affine(1, -1, 0, self.over)
            if y > self.over:
                return [below if self.right_sides_in else _affine(1, -1, 0, w) @ below]
        if not self.right_sides_in:  # the same folding of the cloth laid face down
            turn = _affine(1, -1, 0, w) if self.way != "crosswise" else _affine(-1, 1, 0, 0)
            below, above = turn @ below, turn @ above
        return [above, below]


def _affine(a: float, d: float, x: float, y: float) -> Array:
    return np.array([[a, 0.0, x], [0.0, d, y], [0.0, 0.0, 1.0]])


def _carried(m: Array, points: Array) -> Array:
    return points @ m[:2, :2].T + m[:2, 2]


def faults(
    placements: Sequence[Any],
    pieces: Mapping[str, Any],
    folded: Folded,
    *,
    allowances: Callable[[str], Mapping[str, float] | None] | Mapping[str, float] | None = None,
    distance: float = 0.0,
    nap: str = "none",
    times: int = 1,
    left_out: Sequence[str] = (),
) -> list[str]:
    """Everything that goes wrong when the lay is cut, in words; empty when all is cut right.

    ``allowances``: of every piece, or piece → allowances.
    """
    found: list[str] = []
    parts: list[tuple[str, Any]] = []  # what leaves the cloth: name, shape on the flat cloth
    seen: dict[str, list[float]] = {name: [] for name in pieces}  # +1 as drawn, −1 its mirror image
    for p in placements:
        piece = pieces[p.piece]
        own = allowances(p.piece) if callable(allowances) else allowances
        ring = np.asarray(piece.cutting_line(own), dtype=float)
        whole = np.asarray(piece.unfolded(own), dtype=float)
        m = np.asarray(p.cloth_from_piece, dtype=float)
        if abs(m[:2, :2] @ m[:2, :2].T - np.eye(2)).max() > 1e-9:
            found.append(f"{p.key}: grows or shrinks")
        half = p.how == "fold"
        there = _carried(m, ring if half or piece.fold is None else whole)
        if Polygon(there).symmetric_difference(Polygon(p.outline_mm)).area > 1.0:
            found.append(f"{p.key}: the line is not the piece's")
        middle = 0.5 * (there.min(axis=0) + there.max(axis=0))
        layers = folded.layers(middle)
        if p.how == "single":
            layers = [layers[-1] if p.lower else layers[0]]
            if p.lower and len(folded.layers(middle)) == 1:
                found.append(f"{p.key}: there is no lower layer")
        elif len(layers) == 1:
            found.append(f"{p.key}: lies where there is one layer only")
        flat = [Polygon(_carried(f, there)).buffer(0) for f in layers]
        poses = [f @ m for f in layers]
        if half:
            joined = unary_union([g.buffer(1e-3) for g in flat]).buffer(-1e-3)
            wanted = Polygon(_carried(poses[0], whole))
            if joined.symmetric_difference(wanted).area > 2.0:
                found.append(f"{p.key}: does not open out to the piece")
            parts.append((p.key, joined))
            seen[p.piece].append(1.0)  # the same turned over, or it could not lie on a fold
        else:
            parts += [(p.key, g) for g in flat]
            seen[p.piece] += [float(np.sign(np.linalg.det(q[:2, :2]))) for q in poses]
        found += [f"{p.key}: {said}" for q in poses for said in _grain(q, piece, nap)]
        ends = [float(e[1]) for f in layers for e in _carried(f, there)]
        low, high = folded.selvedge, folded.width - folded.selvedge
        if min(ends) < low - SLACK_MM or max(ends) > high + SLACK_MM:
            found.append(f"{p.key}: over the selvedge or a fold")
        if folded.opened is not None and folded.way != "none":
            edges = there[:, 0]
            if edges.min() < folded.opened - SLACK_MM and edges.max() > folded.opened + SLACK_MM:
                found.append(f"{p.key}: across the line where it is opened out")
    tree = shapely.STRtree([g for _, g in parts])
    for i, (name, shape) in enumerate(parts):
        for j in tree.query(shape.buffer(distance + 1.0)):
            if j <= i:
                continue
            gap = shape.distance(parts[j][1])
            if shape.buffer(-SLACK_MM).intersects(parts[j][1].buffer(-SLACK_MM)):
                found.append(f"{name} and {parts[j][0]}: cut from the same cloth")
            elif gap < distance - SLACK_MM:
                found.append(f"{name} and {parts[j][0]}: {gap:.2f} mm apart")
    missing = {key.rsplit("/", 1)[0] for key in left_out}
    for name, piece in pieces.items():
        if name in missing:
            continue
        wanted_count = piece.cut * times
        if len(seen[name]) != wanted_count:
            found.append(f"{name}: {len(seen[name])} are cut, {wanted_count} are wanted")
        if _alike(piece, allowances(name) if callable(allowances) else allowances):
            continue
        if piece.pair and sum(seen[name]) != 0:
            found.append(f"{name}: not as many left ones as right ones")
        if not piece.pair and min(seen[name], default=1.0) < 0:
            found.append(f"{name}: cut mirrored")
    return found


def _grain(pose: Array, piece: Any, nap: str) -> list[str]:
    """Whether the grain lies on the flat cloth as the nap and the piece allow."""
    line = piece.grain if piece.grain is not None else ((0.0, 0.0), (0.0, 1.0))
    a, b = (np.asarray(q, dtype=float) for q in line)
    if (b - a)[1] < -1e-9:  # an arrow drawn downwards is the same grain
        a, b = b, a
    run = pose[:2, :2] @ (b - a)
    angle = float(np.degrees(np.arctan2(run[1], run[0])))
    allowed = {"one-way": (0.0,), "two-way": (0.0, 180.0)}.get(nap, tuple(piece.turns))
    off = min(abs((angle - t + 180.0) % 360.0 - 180.0) for t in allowed)
    return [f"its grain is {off:.2f}° off"] if off > GRAIN_DEG else []


def _alike(piece: Any, allowances: Mapping[str, float] | None) -> bool:
    """Whether its mirror image is the same piece, the grain along itself."""
    if piece.fold is not None:
        return True
    ring = np.asarray(piece.cutting_line(allowances), dtype=float)
    line = piece.grain if piece.grain is not None else ((0.0, 0.0), (0.0, 1.0))
    a, b = (np.asarray(q, dtype=float) for q in line)
    u = (b - a) / np.linalg.norm(b - a)
    across = np.array([u[1], -u[0]])
    here = np.column_stack([ring @ across, ring @ u])
    there = here * (-1.0, 1.0)
    there = there + here.min(axis=0) - there.min(axis=0)
    return bool(Polygon(here).symmetric_difference(Polygon(there)).area < 30.0)
