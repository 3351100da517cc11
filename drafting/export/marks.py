"""A piece as strokes by kind: what is drawn of it, wherever it is drawn.

First station of every export. Kinds follow the trade's line habits: the cutting line, the sewing
line edge by edge, the fold, the grain, notches, darts, drill holes and marks inside. Symbols are
read from the right side and the grain line is kept short of the cutting line (JIS L 0110:2001);
the fold's sign, a line with both ends bent towards the fold, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from drafting.allowance import ALL, FOLD, RAW, allowance_of
from drafting.outline import Points
from drafting.piece import Piece

CUTTING, SEWING, GRAIN, NOTCH = "cutting", "sewing", "grain", "notch"
DART, DRILL, MARK, SIGN = "dart", "drill", "mark", "sign"
KINDS = (CUTTING, SEWING, FOLD, GRAIN, NOTCH, DART, DRILL, MARK, SIGN)

ARROW_MM = 7.0
DRILL_MM = 3.0  # half length of a drill cross's arms
FOLD_SIGN_MM = 12.0  # how far the fold's sign stands inside


@dataclass(frozen=True, eq=False)
class Stroke:
    """One line to draw: ``points`` (N, 2) mm, piece frame (y up), not repeated when ``closed``.

    ``name``: the edge of a sewing or fold line, else what it marks; ``on_fold``: the side that
    closes it lies on the cloth's fold, belongs to the outline and is not to be drawn or cut.
    """

    kind: str
    name: str
    points: Points
    closed: bool = False
    on_fold: bool = False


def strokes(piece: Piece, allowances: Mapping[str, float] | None) -> tuple[Stroke, ...]:
    """All that is drawn of a piece, the cutting line first, its edges in ring order.

    Raises:
        DraftError: an allowance that the piece has no room for.
    """
    ring = piece.cutting_line(allowances)
    if piece.fold is None:
        drawn = [Stroke(CUTTING, piece.name, ring, True)]
    else:
        ring = _from_fold(ring)
        drawn = [Stroke(CUTTING, piece.name, ring, True, on_fold=True)]
        low, high = sorted(piece.edges[FOLD].points[:, 1])[:: len(piece.edges[FOLD].points) - 1]
        for a, b in ((ring[0, 1], low), (high, ring[-1, 1])):
            if b - a > 1e-6:  # the fold runs on through the allowances at its ends
                drawn.append(Stroke(FOLD, "fold end", np.array([[0.0, a], [0.0, b]])))
    for name, edge in piece.edges.items():
        drawn.append(Stroke(FOLD if name == FOLD else SEWING, name, edge.points))
    drawn.append(Stroke(GRAIN, "grain", np.array(piece.grain, dtype=np.float64)))
    drawn += [Stroke(SIGN, "grain arrow", a) for a in _arrows(piece)]
    if piece.fold is not None:
        drawn.append(Stroke(SIGN, "fold sign", _fold_sign(piece)))
    drawn += [Stroke(NOTCH, "notch", line) for line in piece.notch_lines(allowances)]
    for dart in piece.darts:
        legs = np.array([dart.first, dart.tip, dart.second], dtype=np.float64)
        drawn.append(Stroke(DART, f"dart at {dart.edge}", legs))
    for mark in piece.marks:
        if len(mark.points) == 1:
            drawn += [Stroke(DRILL, mark.name, arm) for arm in _cross(mark.points[0], DRILL_MM)]
        else:
            drawn.append(Stroke(MARK, mark.name, mark.points, mark.closed))
    return tuple(drawn)


def _from_fold(ring: Points) -> Points:
    """A closed ring from the fold's lower end round to its upper end, x = 0 only at those two."""
    on = np.abs(ring[:, 0]) < 1e-7
    lowest = int(np.flatnonzero(on)[np.argmin(ring[on, 1])])
    turned = np.roll(ring, -lowest, axis=0)
    upper = int(np.argmax(np.where(np.abs(turned[:, 0]) < 1e-7, turned[:, 1], -np.inf)))
    return np.array(turned[: upper + 1])


def _arrows(piece: Piece) -> list[Points]:
    """Arrow heads of the grain line: two, or only the upper one when nap allows one turn."""
    ends = np.array(piece.grain, dtype=np.float64)
    along = ends[1] - ends[0]
    length = float(np.hypot(*along))
    if length < 1e-9:
        return []
    t = along / length
    side = np.array([-t[1], t[0]])
    size = min(ARROW_MM, length / 4.0)

    def head(tip: Points, back: Points) -> Points:
        return np.array([tip + size * (back + 0.4 * side), tip, tip + size * (back - 0.4 * side)])

    heads = [head(ends[1], -t)]
    if len(piece.turns) > 1:
        heads.append(head(ends[0], t))
    return heads


def _fold_sign(piece: Piece) -> Points:
    """A line beside the fold with both ends bent to it, (4, 2) mm."""
    low, high = sorted(p[1] for p in piece.fold or ())
    third = (high - low) / 5.0
    low, high = low + third, high - third
    bend = min(FOLD_SIGN_MM, (high - low) / 3.0, float(np.ptp(piece.sewing_line[:, 0])) / 4.0)
    return np.array([[0.0, low], [bend, low + bend / 2], [bend, high - bend / 2], [0.0, high]])


def _cross(at: Points, arm: float) -> list[Points]:
    return [
        at + np.array([[-arm, 0.0], [arm, 0.0]]),
        at + np.array([[0.0, -arm], [0.0, arm]]),
    ]


def label_lines(
    piece: Piece, allowances: Mapping[str, float] | None, title: str = ""
) -> tuple[str, ...]:
    """What is written on a piece: its name, how to cut it, the allowances drawn, the garment."""
    lines = [piece.name]
    lines.append(piece.how_to_cut)
    lines.append(allowance_text(piece, allowances))
    # The block's own words on the cutting are said above already.
    lines += [
        t for t in piece.label if t not in (*lines, title) and not t.startswith(f"cut {piece.cut}")
    ]
    if title:
        lines.append(title)
    return tuple(lines)


def allowance_text(piece: Piece, allowances: Mapping[str, float] | None) -> str:
    """The allowances as drawn on this piece: 'allowance 10 mm; hem 25, neckline 6'."""
    allowances = piece.widths(allowances)
    widths = {n: allowance_of(n, allowances) for n in piece.edges if n != FOLD}
    if not any(widths.values()):
        if all(n.endswith(RAW) for n in widths):
            return "cut as drawn"
        return "no allowance: cut on the sewing line or add it"
    if len(set(widths.values())) == 1:
        return f"allowance {next(iter(widths.values())):g} mm"
    common = float((allowances or {}).get(ALL, 0.0))
    if common not in widths.values():
        common = max(set(widths.values()), key=list(widths.values()).count)
    other = ", ".join(f"{n} {w:g}" for n, w in widths.items() if w != common)
    return f"allowance {common:g} mm; {other}"


def label_spot(piece: Piece) -> tuple[tuple[float, float], float, float]:
    """((x, y) of a label's centre, its room across, its room up), mm, inside the sewing line.

    The widest free place beside the grain line; the room is that of a box 3 wide to 1 high.
    """
    import shapely

    shape = shapely.Polygon(piece.sewing_line)
    keep = shape.difference(shapely.LineString(piece.grain).buffer(3.0))
    for mark in piece.marks:
        line = mark.points if len(mark.points) > 1 else np.repeat(mark.points, 2, axis=0)
        keep = keep.difference(shapely.LineString(line).buffer(4.0))
    for dart in piece.darts:
        keep = keep.difference(shapely.LineString([dart.first, dart.tip, dart.second]).buffer(3.0))
    # Squeezed to a third across, the largest circle becomes an ellipse three wide to one high.
    flat = shapely.affinity.scale(keep, 1.0 / 3.0, 1.0, origin=(0, 0))
    circle = shapely.maximum_inscribed_circle(flat, tolerance=1.0)
    (x, y), _ = circle.coords[0], circle.coords[-1]
    reach = float(circle.length)
    half = reach / float(np.sqrt(2.0))
    return (float(x) * 3.0, float(y)), 6.0 * half, 2.0 * half
