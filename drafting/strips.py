"""Strips in parts: a band or a bias binding cut as several pieces that are joined to the whole strip.

After a garment is drafted and before it is laid: how many joins she allows stands with the cloth
('joins'), and how many the lay makes is kept there too ('pieced'). Every join has its seam allowance in
the outline of both parts, and the line that is sewn drawn in it.

Frame: piece mm, that of the strip, so that a part lies in the strip where it is sewn in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from configs.errors import LayError
from drafting.allowance import plain
from drafting.outline import Edge, Points
from drafting.piece import Mark, Notch, Piece
from drafting.placement import grain_turn

JOIN = "join raw edge"  # takes no allowance of its own: it is in the outline
BIAS = "bias "  # before the word of a join that lies so
JOIN_MM, BIAS_JOIN_MM = 10.0, 6.0  # seam at a join (common practice, no source)
_LONG = 3.0  # lengths of its own width that make a strip
_LEAST_PART_MM = 100.0  # shorter ones are not worth a seam
_BENT_MM = 0.1  # off the straight by less it is straight
_EQUAL_MM = 1.0  # by which the two long edges may differ
_OFF_NOTCH_MM = 15.0  # a join keeps so far off a notch where it can
_BIAS_DEG = (30.0, 60.0)  # grain to strip: between, it is cut on the bias


def part_name(strip: str, number: int) -> str:
    """The name of one part."""
    return f"{strip} part {number}"


def strip_of(name: str) -> str:
    """The strip that a part is of; any other name as it is."""
    head, word, number = name.rpartition(" part ")
    return head if word and number.isdigit() else name


def is_strip(piece: Piece) -> bool:
    """Whether a piece can be cut in parts: four straight edges, the long ones parallel."""
    return not why_no_strip(piece)


def why_no_strip(piece: Piece) -> str:
    """Why a piece cannot be pieced; "" for one that can."""
    if piece.fold is not None:
        return "lies on a fold; open it out first ('unfold' under 'changes')"
    if piece.darts or piece.own_cutting_line is not None:
        return "is no strip of four straight edges"
    edges = _sides(piece)
    if not edges:
        return "is no strip of four straight edges"
    first = _first_long(edges)
    lower, upper = edges[first], edges[first + 2]
    width = edges[(first + 1) % 4].length_mm
    u, v = _run(lower), _run(upper)
    if abs(lower.length_mm - upper.length_mm) > _EQUAL_MM or float(u @ v) > -0.9999:
        return "has long edges that are not parallel and alike"
    return "" if lower.length_mm >= _LONG * width else "is too short for its width"


def in_parts(piece: Piece, joins: int) -> tuple[Piece, ...]:
    """A strip cut as ``joins`` + 1 parts, alike in length but where a notch is in the way.

    Cut on the bias it is joined along the grain or across it, at 45° to the strip, so that the seam
    does not lie across the turn of the strip on itself; else straight across, as its ends are.

    Raises:
        LayError: it is no strip, or the parts would be too short.
    """
    if joins < 1:
        return (piece,)
    why = why_no_strip(piece)
    edges = _sides(piece)
    first = 0 if why else _first_long(edges)
    if not why and edges[first].length_mm / (joins + 1) < _LEAST_PART_MM:
        most = max(0, int(edges[first].length_mm / _LEAST_PART_MM) - 1)
        why = f"is too short for {joins} joins; at most {most}"
    if why:
        raise LayError.of("cloth.joins", f"{piece.name} {why}.", "Take it out there.")
    lower, right, upper, left = (edges[(first + k) % 4] for k in range(4))
    origin, u = lower.points[0], _run(lower)
    axes = np.array([u, [-u[1], u[0]]]).T  # along the strip and across it
    width = float((upper.points[0] - origin) @ axes[:, 1])
    ends, length = float((upper.points[-1] - origin) @ u), lower.length_mm
    lean, bias = _lean(piece, u, axes[:, 1], ends / width)
    seam = BIAS_JOIN_MM if bias else JOIN_MM
    wide = seam * math.hypot(1.0, lean)  # of the seam, along the strip
    spots = [piece.edges[x.edge].at(x.at_mm)[0] for x in piece.notches]
    near = [float((spot - origin) @ axes @ (1.0, -lean)) for spot in spots]
    cuts = [ends / 2.0 + length * k / (joins + 1) - lean * width / 2.0 for k in range(1, joins + 1)]
    cuts = [_off(c, near, length / (joins + 1) / 4.0) for c in cuts]
    # where the strip ends and is cut, along its lower and its upper edge
    across = np.array(
        [[0.0, ends], *([c, c + lean * width] for c in cuts), [length, ends + length]]
    )
    spans = [-math.inf, *cuts, math.inf]
    made = []
    for k in range(joins + 1):
        low = across[k] - (wide if k else 0.0)
        high = across[k + 1] + (wide if k < joins else 0.0)
        corners = [(low[0], 0.0), (high[0], 0.0), (high[1], width), (low[1], width)]
        ring = origin + np.array(corners) @ axes.T
        names = [lower.name, JOIN if k < joins else right.name, upper.name]
        names.append(f"first {JOIN}" if k and k < joins else JOIN if k else left.name)
        sides = _edges(names, ring)
        notches = tuple(
            moved
            for x, spot, at in zip(piece.notches, spots, near, strict=True)
            if spans[k] <= at < spans[k + 1] and (moved := _notch(x, spot, sides))
        )
        what = f"{BIAS if bias else ''}join, {seam:g} mm seam"
        seams = [
            Mark(what, origin + np.array([[c, 0.0], [c + lean * width, width]]) @ axes.T)
            for c in cuts[max(0, k - 1) : k + 1]
        ]
        name = part_name(piece.name, k + 1)
        how = ", ".join(w for w in (*piece.label[1:2], f"{k + 1} of {joins + 1}") if w)
        made.append(
            piece.with_(
                name=name, edges=sides, notches=notches, label=(name, how, *piece.label[2:]),
                marks=(*_marks_in(piece, ring), *seams), grain=_grain_in(piece, ring),
                bound=tuple(b for b in piece.bound if b in sides), corners={}, landmarks={},
            )
        )  # fmt: skip
    return tuple(made)


def pieced(pieces: Mapping[str, Piece], joins: Mapping[str, int]) -> dict[str, Piece]:
    """Pieces by name, those with joins in their parts.

    Raises:
        LayError: as `in_parts`.
    """
    out: dict[str, Piece] = {}
    for name, piece in pieces.items():
        parts = in_parts(piece, joins.get(name, 0))
        out |= {name: piece} if len(parts) == 1 else {p.name: p for p in parts}
    return out


def joining_words(joins: Mapping[str, int], pieces: Mapping[str, Piece]) -> tuple[str, ...]:
    """How the parts of each strip are joined, a sentence for each."""
    said = []
    for name, many in joins.items():
        first = pieces.get(part_name(name, 1))
        if not many or first is None:
            continue
        bias = any(m.name.startswith(f"{BIAS}join") for m in first.marks)
        how = "at 45°, their ends crossing at the seam line, " if bias else "end to end, "
        said.append(
            f"{name}: cut in {many + 1} parts; join them {how}right sides together, in the order of their "
            f"numbers, with a seam of {BIAS_JOIN_MM if bias else JOIN_MM:g} mm, and press it open."
        )
    return tuple(said)


def _sides(piece: Piece) -> list[Edge]:
    """Its four straight sides, each with the name of the edge that it is of; none where there are others."""
    edges = list(piece.edges.values())
    if len(edges) == 4 and all(abs(e.length_mm - _span(e)) <= _BENT_MM for e in edges):
        return edges
    ring = piece.sewing_line
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    bend = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    reach = np.linalg.norm(after + before, axis=1)
    corners = ring[np.abs(bend) > _BENT_MM * np.maximum(reach, 1e-9)]
    if len(edges) != 1 or len(corners) != 4:
        return []
    name = edges[0].name
    return [Edge(name, np.array([corners[i], corners[(i + 1) % 4]])) for i in range(4)]


def _edges(names: list[str], ring: Points) -> dict[str, Edge]:
    """The edges of a part; of a strip with one edge all round, what runs on is one edge."""
    if len(set(names)) == 4:
        return {m: Edge(m, np.array([ring[i], ring[(i + 1) % 4]])) for i, m in enumerate(names)}
    start = next(i for i, m in enumerate(names) if m.endswith(JOIN))
    runs: list[tuple[str, list[Points]]] = []
    for i in [(start + k) % 4 for k in range(4)]:
        if runs and runs[-1][0] == names[i]:
            runs[-1][1].append(ring[(i + 1) % 4])
        else:
            runs.append((names[i], [ring[i], ring[(i + 1) % 4]]))
    twice = len({m for m, _ in runs}) < len(runs)
    out = {}
    for name, points in runs:
        if twice and not name.endswith(JOIN):
            name = f"left {name}" if f"right {name}" in out else f"right {name}"
        out[name] = Edge(name, np.array(points))
    return out


def _first_long(edges: list[Edge]) -> int:
    return 0 if edges[0].length_mm >= edges[1].length_mm else 1


def _span(edge: Edge) -> float:
    return float(np.linalg.norm(edge.points[-1] - edge.points[0]))


def _run(edge: Edge) -> Points:
    return np.asarray((edge.points[-1] - edge.points[0]) / max(_span(edge), 1e-9))


def _lean(piece: Piece, u: Points, n: Points, ends: float) -> tuple[float, bool]:
    """How far a join runs along the strip for each mm across it, and whether the strip is on the bias."""
    turn = math.radians(grain_turn(piece.grain))
    grain = np.array([math.sin(turn), math.cos(turn)])
    off = math.degrees(math.acos(min(1.0, abs(float(grain @ u)))))
    if not _BIAS_DEG[0] <= off <= _BIAS_DEG[1]:
        return ends, False
    along = float(grain @ u) / float(grain @ n)
    across = -float(grain @ n) / float(grain @ u)
    return (along if abs(along - ends) <= abs(across - ends) else across), True


def _off(cut: float, notches: list[float], room: float) -> float:
    """A join moved off the notches, if there is room to."""
    if all(abs(cut - at) >= _OFF_NOTCH_MM for at in notches):
        return cut
    for by in np.arange(1.0, max(room, 1.0)):
        for at in (cut - by, cut + by):
            if all(abs(at - x) >= _OFF_NOTCH_MM for x in notches):
                return float(at)
    return cut


def _notch(notch: Notch, at: Points, sides: Mapping[str, Edge]) -> Notch | None:
    """A notch of the strip, at (2,) mm, on the part with these edges; None where it is on none of them."""
    from shapely.geometry import LineString, Point

    named = [e for m, e in sides.items() if plain(m) == notch.edge
             or m == notch.edge]  # fmt: skip
    lines = [(float(LineString(e.points).distance(Point(at))), e) for e in named]
    far, there = min(lines, key=lambda found: found[0], default=(math.inf, None))
    if there is None or far > _BENT_MM:
        return None
    along = float(LineString(there.points).project(Point(at)))
    return replace(notch, edge=there.name, at_mm=along)


def _marks_in(piece: Piece, ring: Points) -> list[Mark]:
    from shapely.geometry import LineString, Point, Polygon

    part = Polygon(ring)
    kept = []
    for mark in piece.marks:
        if len(mark.points) == 1:
            kept += [mark] if part.buffer(1e-6).covers(Point(mark.points[0])) else []
            continue
        ends = [*mark.points, mark.points[0]] if mark.closed else mark.points
        line = LineString(ends).intersection(part)
        runs = [
            g
            for g in getattr(line, "geoms", [line])
            if g.geom_type == "LineString" and g.length > 1.0
        ]
        kept += [replace(mark, points=np.array(g.coords), closed=False) for g in runs]
    return kept


def _grain_in(piece: Piece, ring: Points) -> tuple[tuple[float, float], tuple[float, float]]:
    """The strip's grain, in the middle of a part and as long as there is room."""
    a, b = (np.asarray(q, dtype=float) for q in piece.grain)
    run, middle = b - a, ring.mean(axis=0)
    length = float(np.linalg.norm(run))
    if length < 1e-9:
        return piece.grain
    from shapely.geometry import LineString, Polygon

    far = run / length * 1e4
    inside = LineString([middle - far, middle + far]).intersection(Polygon(ring))
    half = 0.5 * run / length * min(length, 0.6 * float(inside.length))
    low, high = middle - half, middle + half
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
