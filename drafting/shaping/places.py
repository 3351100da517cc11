"""Places on a piece by the words of the trade, and the lines between them.

Between what she writes and the parts that are cut. A place is an edge with a share or a distance
('armhole 1/2', 'side 8 cm from hem'), a notch ('side notch', 'armhole notch 2'), the corner of two
edges ('shoulder at neckline'), a dart ('dart', 'dart 2') or a landmark ('bust point'): never
coordinates, which would die with the next draft. Frame: piece mm.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from configs.errors import InputError
from configs.reader import nearest
from configs.units import typed_length
from drafting.allowance import FOLD
from drafting.curves import Cubic, chain_points, left_of, sweep, unit
from drafting.outline import Points, place_on
from drafting.piece import Dart, Piece
from drafting.shaping.parts import XY, End, edge_named, refuse

_SHARE = re.compile(r"(?:(\d+)\s*/\s*(\d+)|(\d+(?:[.,]\d+)?)\s*%|half)")
_LEAST_BARE_MM = 3.0  # a bare number below it was hardly meant in mm
_MEANT_MM = 8.0  # so near to a corner, a notch or a middle that is what is meant
_WORDS = {"half": Fraction(1, 2), "third": Fraction(1, 3), "quarter": Fraction(1, 4)}
HOW = (
    "Write an edge and where on it, such as 'armhole 1/2', 'side 8 cm from hem', 'side notch', "
    "'hem at side', or 'dart 1'."
)


@dataclass(frozen=True)
class Place:
    """A place: its ``point``; ``end`` where it lies on the outline, ``dart`` where it is one."""

    point: XY
    end: End | None = None
    dart: Dart | None = None


def dart_named(piece: Piece, text: str) -> Dart | None:
    """The dart that a text names: 'dart' where there is one, 'dart 2', 'waist dart 1'."""
    found = re.fullmatch(r"(?:(.+?)\s+)?dart(?:\s+(\d{1,2}))?", text.strip())
    if found is None:
        return None
    edge, number = found[1], found[2]
    darts = [d for d in piece.darts if edge is None or d.edge == edge]
    if number is None and len(darts) != 1:
        many = f"{len(darts)} darts" if darts else "no dart"
        raise refuse(
            f"the {piece.name} has {many}{f' on its {edge}' if edge else ''}.",
            "Say which: 'dart 1', counted along the edges." if darts else "",
        )
    i = int(number or 1)
    if not 1 <= i <= len(darts):
        raise refuse(f"the {piece.name} has {len(darts)} darts, no dart {i}.")
    return darts[i - 1]


def place(piece: Piece, text: str, unit_: str) -> Place:
    """The place that a text names on a piece; ``unit_``: of lengths without their own.

    Raises:
        DraftError: it names none, with what would.
    """
    words = " ".join(str(text).split())
    if words in piece.landmarks:
        return Place(piece.landmarks[words])
    point = _point_of_dart(piece, words)
    if point is not None:
        return Place(point)
    dart = dart_named(piece, words)
    if dart is not None:
        end = End.of_dart(piece, dart)
        return Place(dart.tip, end, dart)
    edge, rest = _edge_and_rest(piece, words)
    line = piece.edges[edge]
    if rest.startswith("at "):
        other = edge_named(piece, rest[3:])
        return _placed(piece, edge, _corner(piece, edge, other))
    found = re.fullmatch(r"notch(?:\s+(\d{1,2}))?", rest)
    if found:
        notches = sorted(n.at_mm for n in piece.notches if n.edge == edge)
        i = int(found[1] or 1)
        if not 1 <= i <= len(notches):
            raise refuse(
                f"the {edge} of the {piece.name} has {len(notches)} notches, no notch {i}."
            )
        return _placed(piece, edge, notches[i - 1])
    amount, _, from_ = rest.partition(" from ")
    if not amount:
        raise refuse(f"'{words}' does not say where on the {edge}.", HOW)
    share = _share(amount)
    distance = float(share) * line.length_mm if share is not None else _length(amount, unit_, words)
    if distance > line.length_mm + 1e-6:
        raise refuse(f"'{words}' lies past the end of the {edge}.", "Use a shorter distance.")
    if from_:
        if _corner(piece, edge, edge_named(piece, from_)) > 0.0:
            distance = line.length_mm - distance
    elif share != Fraction(1, 2):
        before, after = neighbours(piece, edge)
        raise refuse(
            f"'{words}' does not say from which end of the {edge}.",
            f"Write '{words} from {before}' or '{words} from {after}'.",
        )
    return _placed(piece, edge, distance)


def nearest_place(piece: Piece, point: XY) -> tuple[str, float]:
    """The place on a piece's outline nearest to a point, in words that `place` reads, and how far off
    it is, mm. A corner, a notch or a middle that lies near is meant itself."""
    found = {n: place_on(e.points, point) for n, e in piece.edges.items()}
    name = min(found, key=lambda n: found[n][1])
    at, gap = found[name]
    before, after = neighbours(piece, name)
    long_ = piece.edges[name].length_mm
    if min(at, long_ - at) < _MEANT_MM:
        return f"{name} at {before if at < long_ / 2 else after}", gap
    notches = sorted(n.at_mm for n in piece.notches if n.edge == name)
    for i, mm in enumerate(notches, 1):
        if abs(mm - at) < _MEANT_MM:
            return f"{name} notch {i}", gap
    if abs(at - long_ / 2) < _MEANT_MM:
        return f"{name} 1/2", gap
    return f"{name} {100.0 * at / long_:.1f} % from {before}", gap


def nearest_dart(piece: Piece, point: XY) -> tuple[str, float] | None:
    """The dart nearest to a point, in words, and how far off it is, mm; None where there is none."""
    found = []
    for i, dart in enumerate(piece.darts, 1):
        middle = 0.5 * (np.array(dart.first) + np.array(dart.second))
        axis = np.linspace(middle, np.array(dart.tip), 21)
        found.append((float(np.hypot(*(axis - point).T).min()), i))
    if not found:
        return None
    gap, i = min(found)
    return f"dart {i}", gap


def _placed(piece: Piece, edge: str, mm: float) -> Place:
    end = End.on(piece, edge, mm)
    return Place(end.near, end)


def _point_of_dart(piece: Piece, words: str) -> XY | None:
    """'point of dart 1': the dart's point, as a place inside the piece."""
    if not words.startswith("point of "):
        return None
    dart = dart_named(piece, words.removeprefix("point of "))
    if dart is None:
        raise refuse(f"'{words}' names no dart.", "Such as 'point of dart 1'.")
    return dart.tip


def _edge_and_rest(piece: Piece, words: str) -> tuple[str, str]:
    """The longest edge name with which a text begins, and what follows it."""
    for name in sorted(piece.edges, key=len, reverse=True):
        if words == name or words.startswith(f"{name} "):
            return name, words[len(name) :].strip()
    landmarks = f" and the landmarks {', '.join(piece.landmarks)}" if piece.landmarks else ""
    raise refuse(
        f"'{words}' is no place on the {piece.name}; it has the edges {', '.join(piece.edges)}"
        f"{landmarks}.",
        nearest(words, [*piece.edges, *piece.landmarks]) or HOW,
    )


def _share(text: str) -> Fraction | None:
    text = text.strip()
    if text in _WORDS:
        return _WORDS[text]
    found = _SHARE.fullmatch(text)
    if found is None:
        return None
    if found[3]:
        share = Fraction(found[3].replace(",", ".")) / 100
    elif int(found[2] or 0) == 0:
        return None
    else:
        share = Fraction(int(found[1]), int(found[2]))
    if share > 1:
        raise refuse(f"'{text}' is more than the whole edge.")
    return share


def _length(text: str, unit_: str, words: str) -> float:
    try:
        return typed_length(text, "", _LEAST_BARE_MM, unit=unit_)
    except InputError as error:
        fault = error.faults[0]
        asked = "did you mean" in fault.what
        what = f"'{words}': {fault.what}" if asked else f"'{words}' names no place."
        raise refuse(what, fault.remedy if asked else HOW) from error


def neighbours(piece: Piece, edge: str) -> tuple[str, str]:
    """The edges that meet an edge where it begins and where it ends."""
    ring = list(piece.edges)
    i = ring.index(edge)
    return ring[i - 1], ring[(i + 1) % len(ring)]


def _corner(piece: Piece, edge: str, other: str) -> float:
    """How far along an edge it meets a neighbour, mm: 0 or its length."""
    before, after = neighbours(piece, edge)
    if other == before and other != after:
        return 0.0
    if other == after:
        return piece.edges[edge].length_mm
    raise refuse(
        f"the {edge} of the {piece.name} does not meet its {other}.",
        f"It runs from {before} to {after}.",
    )


# --- lines -------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class CutLine:
    """A line across a piece: both ends on the outline, ``inner`` (K, 2) the points between them."""

    a: End
    b: End
    inner: Points

    @property
    def points(self) -> Points:
        """(N, 2) mm with its ends."""
        return np.concatenate([[self.a.near], self.inner.reshape(-1, 2), [self.b.near]])


def line_between(
    piece: Piece, start: str, end: str, through: Sequence[str], bend_mm: float, unit_: str
) -> CutLine:
    """The line from a place on the outline to another: straight, through places inside, or bent.

    ``bend_mm``: how far its middle lies off the straight line, upward where it runs more across than
    along the grain, else away from the centre line; a smooth curve.

    Raises:
        DraftError: a place that is none.
    """
    a, b = (place(piece, t, unit_) for t in (start, end))
    for told, spot in ((start, a), (end, b)):
        if spot.end is None:
            raise refuse(f"'{told}' does not lie on the outline of the {piece.name}.", HOW)
    assert a.end is not None and b.end is not None
    stops = [np.array(place(piece, t, unit_).point) for t in through]
    first = np.array(a.dart.tip if a.dart else a.point)
    last = np.array(b.dart.tip if b.dart else b.point)
    if bend_mm and not stops:
        chord = unit(last - first)
        across = left_of(chord)
        lead = across[1] if abs(chord[0]) > abs(chord[1]) else across[0]
        off = across * math.copysign(bend_mm, bend_mm * (lead or 1.0))
        inner = chain_points(_arc(first, 0.5 * (first + last) + off, last))[1:-1]
        return CutLine(a.end, b.end, inner)
    if not stops:
        return CutLine(a.end, b.end, np.zeros((0, 2)))
    knots = [first, *(s for s in stops if not _near(s, first) and not _near(s, last)), last]
    return CutLine(a.end, b.end, _smooth(knots)[1:-1])


def _near(a: Points, b: Points) -> bool:
    return float(np.hypot(*(a - b))) < 1e-6


def _arc(a: Points, middle: Points, b: Points) -> list[Cubic]:
    chord = unit(b - a)
    lean = 2.0 * (middle - 0.5 * (a + b))
    leave, arrive = unit(middle - a + lean * 0.5), unit(b - middle + lean * -0.5)
    return [sweep(a, leave, middle, chord), sweep(middle, chord, b, arrive)]


def _smooth(knots: Sequence[Points]) -> Points:
    """A smooth line (N, 2) through points: at each it runs along the chord of its neighbours."""
    if len(knots) == 2:
        return np.array(knots)
    along = [unit(knots[i + 1] - knots[i - 1]) for i in range(1, len(knots) - 1)]
    ends = [unit(knots[1] - knots[0]), unit(knots[-1] - knots[-2])]
    directions = [ends[0], *along, ends[1]]
    return chain_points(
        [
            sweep(knots[i], directions[i], knots[i + 1], directions[i + 1])
            for i in range(len(knots) - 1)
        ]
    )


def level_y(piece: Piece, text: str, unit_: str) -> float:
    """The height of a level, mm: 'side notch', '10 cm below shoulder at neckline'.

    Raises:
        DraftError: it names none.
    """
    words = " ".join(str(text).split())
    found = re.fullmatch(r"(?:(.+?)\s+(below|above)\s+)?(.+)", words)
    assert found is not None
    y = place(piece, found[3], unit_).point[1]
    if found[1] is None:
        return y
    by = _length(found[1], unit_, words)
    return y - by if found[2] == "below" else y + by


def level_line(piece: Piece, y: float) -> CutLine:
    """The level line across a piece at a height.

    Raises:
        DraftError: it does not meet the outline twice.
    """
    return across(piece, np.array([0.0, y]), np.array([1.0, 0.0]))


def across(piece: Piece, origin: Points, along: Points) -> CutLine:
    """The straight line through ``origin`` (2,) along a direction, from outline to outline.

    Raises:
        DraftError: it does not meet the outline twice.
    """
    import shapely

    reach = 2.0 * float(np.abs(piece.sewing_line).max() + np.abs(origin).max() + 1.0)
    d = unit(along) * reach
    met = shapely.intersection(
        shapely.Polygon(piece.sewing_line), shapely.LineString([origin - d, origin + d])
    )
    runs = [g for g in shapely.get_parts(met) if g.length > 1.0]
    if len(runs) != 1:
        many = "misses" if not runs else f"crosses {len(runs)} parts of"
        raise refuse(f"the line {many} the {piece.name}.", "Name another level.")
    ends = [on_outline(piece, np.array(c)) for c in (runs[0].coords[0], runs[0].coords[-1])]
    return CutLine(ends[0], ends[1], np.zeros((0, 2)))


def beside(piece: Piece, edge: str, by_mm: float) -> CutLine:
    """The line that runs beside an edge at a distance, from outline to outline.

    Raises:
        DraftError: there is no such line on the piece.
    """
    import shapely

    line = piece.edges[edge]
    # Past both ends the edge is run on straight, so that the line reaches the outline.
    reach = 3.0 * by_mm + 50.0
    first = line.points[0] - reach * line.start_tangent
    last = line.points[-1] + reach * line.end_tangent
    long_ = np.concatenate([[first], line.points, [last]])
    offset = shapely.LineString(long_).offset_curve(by_mm, quad_segs=32, join_style="round")
    met = shapely.intersection(shapely.Polygon(piece.sewing_line), offset)
    runs = [g for g in shapely.get_parts(met) if g.length > 1.0]
    if not runs:
        raise refuse(
            f"no line runs {by_mm / 10:.1f} cm inside the {edge} of the {piece.name}.",
            "Use a smaller distance.",
        )
    best = np.array(max(runs, key=lambda g: g.length).coords)
    ends = [on_outline(piece, best[0]), on_outline(piece, best[-1])]
    return CutLine(ends[0], ends[1], best[1:-1])


def on_outline(piece: Piece, point: Points) -> End:
    """The place of the outline nearest to a point (2,)."""
    found = {n: place_on(e.points, point) for n, e in piece.edges.items()}
    # At a corner the fold is left to itself.
    name = min(found, key=lambda n: (round(found[n][1], 6), n == FOLD))
    return End.on(piece, name, found[name][0])
