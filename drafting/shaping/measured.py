"""Girths and openings of a garment after its changes, measured anew on the changed pieces.

Before the changes a line is laid on the cloth where each girth was measured, and it travels with the
cloth as any line does; what was put in between its stretches counts, what was lapped over does not,
nor what a dart takes. Rings of edges (neckline, hem, sleeve hem, waist) are found again by their edges,
with what is gathered in taken off. Where that cannot be done, the check says so. Frame: piece mm.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from drafting.blocks import Draft
from drafting.fit import BACK, FRONT
from drafting.outline import Edge, Points, place_on, polyline_length
from drafting.piece import Mark, Piece
from drafting.shaping.state import Work
from drafting.sheet.passing import ARM_EASE_MM, BODY_EASE_MM, GUESSED_ARM
from drafting.truing import USUAL_HEAD_MM, Check, Girth, Seam, check_head, sewn_length

BEFORE = ", before the changes"
_SIGN = "\x00girth"
_ZIP = f"{_SIGN} at the end of the zip"
_SAME_MM = 0.3  # a line whose girth is that of the draft within this is where the draft measured it
_TOLD_MM = 0.05
_BELOW_MM = 0.1
_DOWN = 9  # lines down the side at which the body passes
_STEPS = 16
_RINGS = ("neckline", "hem", "sleeve hem", "waist")


@dataclass(frozen=True, eq=False)
class Lines:
    """What was measured before the changes: ``girths`` and ``down`` by name of their lines' marks,
    ``rings`` by edge; mm."""

    girths: Mapping[str, float]
    down: Mapping[str, float]
    rings: Mapping[str, float]


def with_lines(draft: Draft) -> tuple[dict[str, Piece], Lines]:
    """The pieces of a draft with the lines on them at which it is measured again."""
    body = [p for n, p in draft.pieces.items() if _is_body(n)]
    halves = [h for h in map(_Half.of, body) if h is not None]
    long_ = min((e.length_mm for p in body for e in _sides(p)), default=0.0)
    drawn: dict[str, list[Mark]] = {p.name: [] for p in body}
    rings = {r: _ring(draft.pieces, draft.seams, list(drawn), r) for r in _RINGS}

    def lay(name: str, at: float) -> None:
        for half in halves:
            drawn[half.piece.name] += [Mark(name, p) for p in half.across(at)]

    for girth in draft.girths:
        at = None if rings.get(_edge_of(girth)) else _found(halves, girth.finished_mm, long_)
        if at is not None:
            lay(f"{_SIGN} {girth.name}", at)
    for i in range(_DOWN if long_ > 0 else 0):
        lay(f"{_SIGN} {i}", long_ * i / _DOWN)
    if 0.0 < draft.figures.get("zip", 0.0) < long_:
        lay(_ZIP, draft.figures["zip"])
    pieces = {
        n: p.with_(marks=(*p.marks, *drawn[n])) if n in drawn else p
        for n, p in draft.pieces.items()
    }
    work = Work(pieces, draft.seams)
    names = dict.fromkeys(m.name for marks in drawn.values() for m in marks)
    was = {n: _along(work, n) for n in names}
    down = {n: mm for n, mm in was.items() if n.rpartition(" ")[2].isdigit()}
    girths = {n: mm for n, mm in was.items() if n not in down}
    return pieces, Lines(girths, down, {r: mm for r, mm in rings.items() if mm})


def without_lines(piece: Piece) -> Piece:
    """The piece without the lines that were laid on it."""
    kept = tuple(m for m in piece.marks if not m.name.startswith(_SIGN))
    return piece if len(kept) == len(piece.marks) else piece.with_(marks=kept)


def girths_now(draft: Draft, lines: Lines, work: Work) -> tuple[Girth, ...]:
    """The draft's girths as they are after the changes.

    One that changed must let the body pass: what ease she wanted of the draft is no longer asked.
    """
    return tuple(_girth_now(g, lines, work) for g in draft.girths)


def _girth_now(girth: Girth, lines: Lines, work: Work) -> Girth:
    name, edge = f"{_SIGN} {girth.name}", _edge_of(girth)
    if name in lines.girths:
        now, was = _along(work, name), lines.girths[name]
    else:
        now, was = _ring(work.pieces, work.seams, _bodies(work), edge), lines.rings.get(edge, 0.0)
    if not now or not was:
        return replace(girth, name=girth.name + BEFORE)
    if abs(now - was) < _TOLD_MM:
        return girth
    ease = min(girth.ease_mm, BODY_EASE_MM)
    return replace(girth, finished_mm=girth.finished_mm + now - was, ease_mm=ease, at_least=True)


def checks_now(draft: Draft, lines: Lines, work: Work) -> tuple[Check, ...]:
    """The checks that the block made itself, as they are after the changes."""
    return tuple(_check_now(c, draft, lines, work) for c in draft.extra_checks)


def _check_now(check: Check, draft: Draft, lines: Lines, work: Work) -> Check:
    m, unit = draft.measurements, draft.measurements.unit

    def ring(edge: str) -> tuple[float, float]:
        now = _ring(work.pieces, work.seams, _bodies(work), edge)
        return now, lines.rings.get(edge, 0.0)

    if check.name == "the head passes":
        now, was = ring("neckline")
        opening = draft.figures.get("neck opening", was)
        if now and was:
            open_ = any(t.name == "opening" for p in work.pieces.values() for t in p.marks)
            slit = draft.figures.get("slit", 0.0) if open_ else 0.0
            head = m.get("head_girth")
            girth = USUAL_HEAD_MM if head is None else float(head)
            return check_head(opening + now - was, slit, girth, unit, head is None)
    if check.name == "the arm passes":
        now, was = ring("sleeve hem")
        if now and was:
            arm = m.get("upper_arm_girth")
            need = ARM_EASE_MM + float(GUESSED_ARM * m["bust_girth"] if arm is None else arm)
            return _told(check, max(need - now, 0.0), now - was, unit)
    zip_ = lines.girths.get(_ZIP, 0.0)
    if check.name == "the hip passes" and zip_ and _along(work, _ZIP) > zip_ - _TOLD_MM:
        return check  # at the end of the zip it is no narrower than where it passed
    if check.name == "the body passes":
        pairs = [(_along(work, n), was) for n, was in lines.down.items()]
        pairs += [ring("hem")] if "hem" in lines.rings else []
        if pairs and all(now for now, _ in pairs):
            less = max(was - now for now, was in pairs)
            if less < _TOLD_MM:
                return check  # nowhere narrower than where it passed
            bust, hip = (float(m.get(k) or 0.0) for k in ("bust_girth", "hip_girth_at_tailbone"))
            short = max(bust + BODY_EASE_MM - now for now, _ in pairs)
            low = hip + BODY_EASE_MM - pairs[-1][0]
            if bust and (low <= 0.0 or " hip " in check.text):
                return _told(check, max(short, low, 0.0), -less, unit)
    if check.name == "shoulder seam longer than measured":
        now, was = _sewn(work.pieces, "shoulder"), _sewn(draft.pieces, "shoulder")
        if now and abs(now - was) < _TOLD_MM:
            return check
    return replace(check, name=check.name + BEFORE)


def _told(check: Check, short: float, by: float, unit: str) -> Check:
    """A check measured anew, with what the changes made of it."""
    from configs.units import length_text

    if abs(by) < _TOLD_MM:
        return check
    more = "wider" if by > 0 else "narrower"
    text = f"{length_text(abs(by), unit)} {more} after the changes than: {check.text}"
    return Check(check.name, short, check.limit_mm, short <= check.limit_mm + 1e-9, text)


# --- lines on the cloth ------------------------------------------------------------------------


def _is_body(name: str) -> bool:
    return name.split()[-1] in (FRONT, BACK)


def _bodies(work: Work) -> list[str]:
    """Pieces that are of a front or back, and not drafted from one (a facing, a lining)."""
    return [
        n
        for n in work.pieces
        if n not in work.drafted and any(_is_body(o) for o in work.came_from(n))
    ]


def _sides(piece: Piece) -> list[Edge]:
    return [e for n, e in piece.edges.items() if n.split()[-1] == "side"]


def _times(piece: Piece) -> int:
    """How often what is drawn comes in the garment."""
    return 2 * piece.cut if piece.fold is not None else piece.cut


@dataclass(frozen=True, eq=False)
class _Half:
    """A piece of the body to be measured across: its ``shape`` without what its darts take."""

    piece: Piece
    side: Edge
    shape: Any

    @classmethod
    def of(cls, piece: Piece) -> _Half | None:
        """None for a piece without a side seam."""
        import shapely

        sides = _sides(piece)
        if not sides:
            return None
        shape = shapely.difference(shapely.Polygon(piece.sewing_line), _wedges(piece))
        shapely.prepare(shape)
        return cls(piece, sides[0], shape)

    def across(self, down: float) -> list[Points]:
        """The level line across at a distance down its side."""
        import shapely

        points = self.side.points
        falls = bool(points[0, 1] > points[-1, 1])
        y = float(self.side.at(down if falls else self.side.length_mm - down)[0][1])
        left, low, right, high = self.shape.bounds
        y = min(max(y - _BELOW_MM, low + _BELOW_MM), high)  # an armhole begins level
        line = shapely.LineString([(left - 1.0, y), (right + 1.0, y)])
        met = shapely.intersection(self.shape, line)
        runs = [g for g in shapely.get_parts(met) if g.length > 1.0]  # a point has no length
        return [np.array(g.coords) for g in runs]

    def girth(self, down: float) -> float:
        """What it adds to the girth there, mm."""
        return _times(self.piece) * sum(polyline_length(r) for r in self.across(down))


def _wedges(piece: Piece) -> object:
    """What the darts of a piece take, to the outline and a little past it."""
    import shapely

    out = []
    for d in piece.darts:
        tip, a, b = (np.array(p) for p in (d.tip, d.first, d.second))
        out.append(shapely.Polygon([tip, a + 0.1 * (a - tip), b + 0.1 * (b - tip)]))
    return shapely.union_all(out)


def _found(body: Sequence[_Half], girth: float, long_: float) -> float | None:
    """How far down the sides the girth is first so many mm; None where it is nowhere."""

    def miss(at: float) -> float:
        return sum(h.girth(at) for h in body) - girth

    if long_ <= 0:
        return None

    def halved(low: float, high: float, past: Callable[[float], bool]) -> float:
        """The first place that is past something, to a hair."""
        for _ in range(20):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if past(middle) else (middle, high)
        return high

    before, first = 0.0, miss(0.0)
    if abs(first) < _SAME_MM:
        return 0.0
    for at in np.linspace(0.0, long_, _STEPS)[1:].tolist():
        now = miss(at)
        if first * now < 0.0:
            at = halved(before, at, lambda x, f=first: f * miss(x) <= 0.0)  # type: ignore[misc]
            return at if abs(miss(at)) < _SAME_MM else None
        if abs(now) < _SAME_MM:
            near = max(1.1 * abs(now), 0.01)
            return halved(before, at, lambda x, n=near: abs(miss(x)) < n)  # type: ignore[misc]
        before, first = at, now
    return None


def _along(work: Work, name: str) -> float:
    """The girth along a line that was laid on the cloth, mm; 0 where nothing is left of it."""
    sewn = {spot for s in work.seams for spot in (*s.a, *s.b)}
    return sum(_times(work.pieces[n]) * _across(work.pieces[n], name, sewn) for n in _bodies(work))


def _across(piece: Piece, name: str, sewn: set[tuple[str, str]]) -> float:
    """The length across one piece along the stretches of a line, and over what was put in between."""
    import shapely

    parts = [m.points for m in piece.marks if m.name == name]
    if not parts:
        return 0.0
    cloud = np.concatenate(parts)
    _, _, axes = np.linalg.svd(cloud - cloud.mean(axis=0), full_matrices=False)
    way = axes[0]
    parts = [p if (p[-1] - p[0]) @ way >= 0 else p[::-1] for p in parts]
    parts.sort(key=lambda p: float((p[0] + p[-1]) @ way))
    wedges = _wedges(piece)
    total = sum(polyline_length(p) for p in parts)
    for p, q in pairwise(parts):
        middle = 0.5 * (p[-1] + q[0])
        if shapely.distance(wedges, shapely.Point(middle)) < 0.05 and piece.darts:
            continue
        total += float(np.hypot(*(q[0] - p[-1]))) * (1.0 if (q[0] - p[-1]) @ way >= 0 else -1.0)
    for end, out in ((parts[0][0], parts[0][0] - parts[0][1]), (parts[-1][-1], parts[-1][-1] - parts[-1][-2])):  # fmt: skip
        total += _further(piece, end, out, sewn)
    return total


def _further(piece: Piece, end: Points, out: Points, sewn: set[tuple[str, str]]) -> float:
    """How far a line must be run on to reach the edge, where that is sewn to something: what was added
    there. A stand that laps over its partner is not."""
    import shapely

    at = shapely.Point(end)
    ring = shapely.LinearRing(piece.sewing_line)
    if shapely.distance(ring, at) < 0.05 or not shapely.Polygon(ring).contains(at):
        return 0.0
    ray = shapely.LineString([end, end + 1000.0 * out / np.hypot(*out)])
    met = shapely.intersection(ray, ring)
    if met.is_empty:
        return 0.0
    spots = [np.array(g.coords[0]) for g in shapely.get_parts(met)]
    spot = min(spots, key=lambda p: float(np.hypot(*(p - end))))
    edge = min(piece.edges.values(), key=lambda e: place_on(e.points, spot)[1])
    return float(np.hypot(*(spot - end))) if (piece.name, edge.name) in sewn else 0.0


# --- rings of edges ----------------------------------------------------------------------------


def _edge_of(girth: Girth) -> str:
    """The edge whose ring a girth may be: 'hem' of 'hem girth'."""
    return girth.name.partition(" girth")[0]


def _is(name: str, edge: str) -> bool:
    """Whether an edge is one of that name, or what the scissors left of it ('left hem', 'hem 2')."""
    found = re.fullmatch(rf"(?:.* )?{re.escape(edge)}(?: \d+)?", name) is not None
    return found and not (edge == "hem" and re.fullmatch(r"(?:.* )?sleeve hem(?: \d+)?", name))


def _ring(
    pieces: Mapping[str, Piece], seams: Sequence[Seam], names: Sequence[str], edge: str
) -> float:
    """The sewn length of a ring of edges on the fronts and backs, what is gathered in taken off, mm."""
    total, ring = 0.0, {}
    for n in names:
        for e in pieces[n].edges:
            if _is(e, edge):
                ring[n, e] = _times(pieces[n])
                total += ring[n, e] * sewn_length(pieces[n], e)
    for seam in seams:
        for side, sign in ((seam.a, 1.0), (seam.b, -1.0)):
            mine = [s for s in side if s in ring]
            if mine and sign * seam.ease_mm > 0:
                total -= sign * seam.ease_mm * ring[mine[0]] / side.count(mine[0])
    return total


def _sewn(pieces: Mapping[str, Piece], edge: str) -> float:
    return sum(
        _times(p) * sewn_length(p, e) for p in pieces.values() for e in p.edges if _is(e, edge)
    )
