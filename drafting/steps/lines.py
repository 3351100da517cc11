"""What stands on the paper after each step, and how its lines are read: corners, curves, their ends."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from drafting.figures.drawing import Points
from drafting.outline import arc_lengths, points_along, polyline_length
from drafting.sheet import Step
from drafting.steps.board import SAME_MM, Spot

_CORNER_DEG = 25.0  # a sharper turn is a corner of its own and stands in the table
_STRAIGHT_MM = 0.4
# A curve is given at equal parts between its ends, more where it turns much: a smooth pencil
# line through the dots then stays within 2 mm of the true one.
_CURVE_PARTS, _TURNING_PARTS, _MUCH_DEG = 4, 6, 70.0


@dataclass
class Standing:
    """All that earlier steps drew."""

    points: dict[str, Spot] = field(default_factory=dict)
    lines: dict[str, Points] = field(default_factory=dict)
    curves: dict[str, Points] = field(default_factory=dict)

    def add(self, step: Step) -> None:
        """The step's strokes now stand too."""
        self.points.update(step.points)
        self.lines.update(step.lines)
        for name, points in step.curves.items():
            self.curves[f"{step.piece} {name}"] = points

    def holds(self, points: Points) -> bool:
        """Whether this very line is on the paper already."""
        return any(
            len(c) == len(points) and np.allclose(c, points, atol=0.05)
            for c in self.curves.values()
        )


def readable(steps: Iterable[Step]) -> list[Step]:
    """The steps as they are drawn: points before the curves through them."""
    out: list[Step] = []
    standing = Standing()
    of = ""
    for step in steps:
        if step.of != of:
            of, standing = step.of, Standing()
        fresh = {n: c for n, c in step.curves.items() if not standing.holds(c)}
        bent = [n for n, c in fresh.items() if n != "fold" and not is_straight(c)]
        standing.add(step)
        if not step.points or not bent:
            out.append(step)
            continue
        first, then = step.parts
        out.append(replace(step, curves={}, text=first or step.text))
        out.append(
            replace(
                step, key=f"{step.key}-lines", title=f"{step.title}: its lines", sums=(), points={},
                lines={}, text=f"{then} The rings are the places in the table.".strip(),
            )
        )  # fmt: skip
    return out


def middle_of(points: Points) -> Points:
    """A place (2,) halfway along a line."""
    return points_along(points, polyline_length(points) / 2)


def apart(a: Spot, b: Spot) -> bool:
    """Whether two spots, mm, are two on paper."""
    return math.hypot(a[0] - b[0], a[1] - b[1]) > SAME_MM


def square_corners(
    standing: Standing, step: Step, fresh: Mapping[str, Points]
) -> list[tuple[Points, Points, Points]]:
    """Where a new line meets another squarely: (corner, direction along each), piece mm."""
    own = [(np.asarray(p), True) for p in (*fresh.values(), *step.lines.values())]
    others = [(np.asarray(p), False) for p in (*standing.curves.values(), *standing.lines.values())]
    everything = own + others
    found: list[tuple[Points, Points, Points]] = []
    for i, (first, _) in enumerate(own):
        for corner, along_a in (
            (first[0], first[1] - first[0]),
            (first[-1], first[-2] - first[-1]),
        ):
            for j, (second, new) in enumerate(everything):
                if j == i or (new and j < i):
                    continue
                along_b = _direction_at(second, corner)
                if along_b is None:
                    continue
                a, b = along_a / np.hypot(*along_a), along_b / np.hypot(*along_b)
                if abs(float(a @ b)) < math.sin(math.radians(1.5)) and not any(
                    np.allclose(corner, c, atol=1.0) for c, _, _ in found
                ):
                    found.append((corner, a, b))
    return found


def _direction_at(line: Points, corner: Points) -> Points | None:
    """The direction away from ``corner`` along a line that ends there, or passes through it."""
    if np.hypot(*(line[0] - corner)) < SAME_MM:
        return np.asarray(line[1] - line[0])
    if np.hypot(*(line[-1] - corner)) < SAME_MM:
        return np.asarray(line[-2] - line[-1])
    if len(line) == 2:
        run = line[1] - line[0]
        share = float((corner - line[0]) @ run) / float(run @ run)
        if 0 < share < 1 and np.hypot(*(line[0] + share * run - corner)) < SAME_MM:
            return np.asarray(line[1] - corner if share < 0.5 else line[0] - corner)
    return None


def rows_of(standing: Standing, step: Step) -> list[tuple[str, Spot]]:
    """(name, place) of each new point, then a few places along each new curve that bends."""
    rows = [(n, p) for n, p in step.points.items()]
    known = [*standing.points.values(), *step.points.values()]
    known += [(float(x), float(y)) for c in standing.curves.values() for x, y in (c[0], c[-1])]
    for name, points in step.curves.items():
        if standing.holds(points):
            continue
        run = _readable_way(points)
        bent = name != "fold" and not is_straight(points)
        dots = dots_on(points) if bent else []
        shares = [Fraction(i, len(dots) + 1) for i in range(1, len(dots) + 1)]
        parts = [
            ("middle" if share == Fraction(1, 2) else str(share), at)
            for share, at in zip(shares, dots, strict=True)
        ]
        parts = _with_corners(run, parts)
        for end, at in (("start", run[0]), ("end", run[-1])):
            spot = (float(at[0]), float(at[1]))
            if all(apart(spot, p) for p in known):
                known.append(spot)
                parts.insert(0 if end == "start" else len(parts), (_end_name(run, end), at))
        rows += [(f"{name}, {part}", (float(at[0]), float(at[1]))) for part, at in parts]
    return rows


def _turns(line: Points) -> Points:
    """By how much a line (N, 2) turns at each inner point (N - 2,), radians."""
    step = np.diff(line, axis=0)
    return np.diff(np.unwrap(np.arctan2(step[:, 1], step[:, 0])))


def _with_corners(run: Points, parts: list[tuple[str, Points]]) -> list[tuple[str, Points]]:
    """The places along a line with its corners among them, in reading order."""
    sharp = np.flatnonzero(np.abs(_turns(run)) > math.radians(_CORNER_DEG)) + 1
    if not len(sharp):
        return parts
    at = arc_lengths(run)
    total = at[-1]
    placed = [(total * i / (len(parts) + 1), p) for i, p in enumerate(parts, 1)]
    placed += [(float(at[i]), ("corner", run[i])) for i in sharp]
    return [part for _, part in sorted(placed, key=lambda x: x[0])]


def _readable_way(points: Points) -> Points:
    """The line (N, 2) from its upper end down or, along a hem, from the centre outward."""
    run = points[-1] - points[0]
    down = run[1] < 0 if abs(run[1]) > 0.3 * abs(run[0]) else run[0] > 0
    return points if down else points[::-1]


def _end_name(run: Points, end: str) -> str:
    """'at the centre', 'upper end' and the like, for the end of a line in its reading way."""
    at = run[0] if end == "start" else run[-1]
    if abs(at[0]) < SAME_MM:
        return "at the centre"
    across = abs(run[-1][1] - run[0][1]) <= 0.3 * abs(run[-1][0] - run[0][0])
    if across:
        return "inner end" if end == "start" else "outer end"
    return "upper end" if end == "start" else "lower end"


def dots_on(points: Points) -> list[Points]:
    """Places (2,) at equal parts of a curve, downward or, along a hem, outward from the centre."""
    points = _readable_way(points)
    much = np.abs(_turns(points)).sum() > math.radians(_MUCH_DEG)
    count = _TURNING_PARTS if much else _CURVE_PARTS
    return list(points_along(points, polyline_length(points) * np.arange(1, count) / count))


def is_straight(points: Points) -> bool:
    """Whether a line (N, 2) mm is straight to the eye."""
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    if length < 1e-9:
        return True
    off = (points - points[0]) @ np.array([-chord[1], chord[0]]) / length
    return bool(np.abs(off).max() < _STRAIGHT_MM)


def curvature(points: Points) -> tuple[Points, Points]:
    """(signed curvature 1/mm (N - 2,), unit normals (N - 2, 2)) at the inner points (N, 2).

    Of the circle through each point and its neighbours; positive where the line bends left.
    """
    a, b, c = points[:-2], points[1:-1], points[2:]
    u, v, w = b - a, c - b, c - a
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    sizes = np.hypot(*u.T) * np.hypot(*v.T) * np.hypot(*w.T)
    along_ = w / np.maximum(np.hypot(*w.T), 1e-12)[:, None]
    return (
        np.asarray(2 * cross / np.maximum(sizes, 1e-12)),
        np.stack([-along_[:, 1], along_[:, 0]], axis=1),
    )
