"""What an edge hangs on, and what a slip of the tape would do.

After `drafting.blocks`: what an edge hangs on is read off the sheet's record; how far it moves is
found by drafting again with one measure changed. For ``draft --why`` and ``draft --slips``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from configs.errors import DraftError, InputError
from configs.reader import unknown_keys
from configs.units import format_length
from drafting.allowance import plain
from drafting.blocks import Draft, draft, joined, of_pieces
from drafting.figures.drawing import GREY, INK, Drawing, Stroke, Writing, to_svg
from drafting.measurements import REGISTRY, Measurements
from drafting.outline import Points
from drafting.piece import Piece
from drafting.sheet.board import FIT, STYLE
from drafting.truing import Move, compare

SLIP_MM = 10.0
_SLIP_INCHES_MM = 12.7


def slip_mm(unit: str) -> float:
    """How far the tape is taken to slip: 1 cm, for who works in inches 1/2 in."""
    return _SLIP_INCHES_MM if unit == "in" else SLIP_MM


def slip_text(unit: str) -> str:
    """The same in words."""
    return "1/2 in" if unit == "in" else "1 cm"


@dataclass(frozen=True)
class Slip:
    """What one measure does when the tape reads ``by_mm`` more.

    ``moved_mm``: how far the edge at ``piece``, ``edge`` moves, the farthest of all; ``moves``:
    every edge that changes; ``refused``: why no garment could be drawn then, else ''.
    """

    measure: str
    by_mm: float
    moved_mm: float
    piece: str = ""
    edge: str = ""
    moves: tuple[Move, ...] = ()
    pieces: Mapping[str, Piece] | None = None
    refused: str = ""


@dataclass(frozen=True)
class Hold:
    """One thing that an edge hangs on: ``key`` of the record, ``name`` and ``value`` for people;
    for a measure also how far a slip of the tape (`slip_mm`) moves the edge, and by how much it lengthens it, mm."""

    key: str
    name: str
    value: str
    moved_mm: float | None = None
    longer_mm: float | None = None


def used_measures(made: Draft) -> list[str]:
    """Measures on which some edge hangs, in the registry's order."""
    held = {k for keys in made.hangs_on.values() for k in keys}
    return [k for k in REGISTRY if k in held and k in made.measurements]


def slip(made: Draft, measure: str, by_mm: float | None = None) -> Slip:
    """The garment again with one measure ``by_mm`` more, against the draft ``made``."""
    by_mm = slip_mm(made.measurements.unit) if by_mm is None else by_mm
    try:
        body = _with(made.measurements, measure, by_mm)
        other = of_pieces(made.given, body)
        if made.block:
            other = draft(made.block, body, made.style, made.fit)
        for part in made.parts:
            other = joined(other, part.block, part.style, part.fit)
    except DraftError as error:
        return Slip(measure, by_mm, 0.0, refused=str(error.faults[0].what))
    moves = tuple(compare(made.pieces, other.pieces))
    far = max((m for m in moves if m.moved_mm is not None), key=_far, default=None)
    if far is None:
        return Slip(measure, by_mm, 0.0, moves=moves, pieces=other.pieces)
    return Slip(measure, by_mm, _far(far), far.piece, far.edge, moves, other.pieces)


def slips(made: Draft, by_mm: float | None = None) -> list[Slip]:
    """Every measure that was used, the one that moves the garment most first."""
    found = [slip(made, key, by_mm) for key in used_measures(made)]
    return sorted(found, key=lambda s: -s.moved_mm)


def _far(move: Move) -> float:
    return move.moved_mm or 0.0


def _with(m: Measurements, key: str, by_mm: float) -> Measurements:
    values = dict(m.values) | {key: m[key] + by_mm}
    return replace(m, values=MappingProxyType(values), warnings=(), since=None)


def edges_named(made: Draft, name: str) -> list[tuple[str, str]]:
    """(piece, edge) of every edge called ``name``: 'side', 'left side', or 'front side'.

    Raises:
        InputError: none is; the nearest name is told.
    """
    word = " ".join(name.lower().replace("/", " ").replace(":", " ").split())
    known: dict[str, list[tuple[str, str]]] = {}
    for spot in made.hangs_on:
        for called in dict.fromkeys((spot[1], " ".join(spot))):
            known.setdefault(called, []).append(spot)
    sided: dict[str, list[tuple[str, str]]] = {}  # 'side' also where left and right differ
    for spot in made.hangs_on:
        sided.setdefault(plain(spot[1]), []).append(spot)
    known = sided | known
    if word not in known:
        (fault,) = unknown_keys({name: 0}, known, "edge")
        edges = sorted({plain(e) for _, e in made.hangs_on})
        remedy = fault.remedy or f"Edges here: {', '.join(edges)}."
        raise InputError.of("--why", f"this garment has no edge '{name}'.", remedy)
    return known[word]


def why(made: Draft, edges: Sequence[tuple[str, str]]) -> list[Hold]:
    """What some edges hang on: measures (with what a slip does), then style options, then fit."""
    held = {k for spot in edges for k in made.hangs_on[spot]}
    unit = made.measurements.unit
    out = []
    for key in (k for k in REGISTRY if k in held):
        if key not in made.measurements:
            out.append(Hold(key, REGISTRY[key].name, "not measured"))
            continue
        moved, longer = _on(slip(made, key), edges)
        out.append(Hold(key, REGISTRY[key].name, made.measurements.text(key), moved, longer))
    for of, style, fit in (("", made.style, made.fit), *((f"{p.block}: ", p.style, p.fit) for p in made.parts)):  # fmt: skip
        for option, value in style.items():
            if of + STYLE + option in held:
                shown = (
                    format_length(value, unit)
                    if isinstance(value, float)
                    else str(value or "not set")
                )
                out.append(Hold(of + STYLE + option, of + option, shown))
        fits = [c for c in fit if of + FIT + c.change in held]
        out += [Hold(of + FIT + c.change, f"{of}fit: {c.change}", c.text) for c in fits]
    return out


def _on(result: Slip, edges: Sequence[tuple[str, str]]) -> tuple[float | None, float | None]:
    """How far the edges move, and how much longer the most changed of them gets, mm."""
    if result.refused:
        return None, None
    mine = [m for m in result.moves if (m.piece, m.edge) in edges]
    gains = [(m.after_mm or 0.0) - (m.before_mm or 0.0) for m in mine]
    return max(map(_far, mine), default=0.0), max(gains, key=abs, default=0.0)


# --- the picture ---------------------------------------------------------------------------------

_CELL_MM = (62.0, 66.0)
_MARGIN_MM, _HEAD_MM, _GAP_MM = 4.0, 12.0, 7.0
_COLUMNS = 3
ENLARGED = 5.0  # a centimetre on a whole garment would not be seen on a page
_PER_EDGE = 40


def slips_svg(made: Draft, found: Sequence[Slip]) -> str:
    """One small picture a measure: the garment (pale, full) and where its lines go (strong, broken),
    each place moved `ENLARGED` times as far as it would be."""
    shown = [s for s in found if s.pieces is not None and s.moved_mm > 0.05]
    names = list(made.pieces)[:2]
    strokes: list[Stroke] = []
    writings: list[Writing] = []
    wide, high = _CELL_MM
    by = slip_text(made.measurements.unit)
    head = f"If the tape slipped by {by}: how the garment's lines move, drawn {ENLARGED:g} times as far"
    writings.append(Writing((_MARGIN_MM, 6.0), head, 3.6, colour=INK, strong=True, bare=True))
    for i, s in enumerate(shown):
        x, y = i % _COLUMNS * wide, 10.0 + i // _COLUMNS * high
        told = format_length(s.moved_mm, made.measurements.unit)
        moved = f"{told} at the {s.piece}: {s.edge}"
        name = REGISTRY[s.measure].name
        writings.append(Writing((x + _MARGIN_MM, y + 4.5), name, 3.2, colour=INK, bare=True))
        writings.append(Writing((x + _MARGIN_MM, y + 8.5), moved, 2.7, colour=GREY, bare=True))
        strokes += _cell(made.pieces, s, names, (x, y))
    rows = max(1, -(-len(shown) // _COLUMNS))
    drawing = Drawing(_COLUMNS * wide, 10.0 + rows * high, tuple(strokes), tuple(writings))
    return to_svg(drawing, f"What a slip of the tape by {by} would do")


def _cell(
    before: Mapping[str, Piece], s: Slip, names: Sequence[str], corner: tuple[float, float]
) -> list[Stroke]:
    """The first pieces side by side, to one scale: as drafted, and with their moves enlarged."""
    assert s.pieces is not None
    rings = [_rings(before[n], s.pieces[n]) for n in names if n in s.pieces]
    sizes = [np.ptp(np.concatenate(pair), axis=0) for pair in rings]
    room = np.array(_CELL_MM) - (2 * _MARGIN_MM, _MARGIN_MM + _HEAD_MM)
    across = sum(float(z[0]) for z in sizes)
    scale = min((room[0] - _GAP_MM * (len(rings) - 1)) / across, room[1] / max(z[1] for z in sizes))
    x = corner[0] + _MARGIN_MM
    strokes = []
    for pair, size in zip(rings, sizes, strict=True):
        both = np.concatenate(pair)
        left, top = both[:, 0].min(), both[:, 1].max()
        for ring, pen in zip(pair, ("old-seam", "other-seam"), strict=True):
            at = (ring - (left, top)) * (scale, -scale) + (x, corner[1] + _HEAD_MM)
            strokes.append(Stroke(at, pen))
        x += float(size[0]) * scale + _GAP_MM
    return strokes


def _rings(old: Piece, new: Piece) -> tuple[Points, Points]:
    """Both outlines (N, 2) mm, place by place along each edge, the second's moves enlarged."""
    share = np.linspace(0.0, 1.0, _PER_EDGE)

    def places(piece: Piece, edge: str) -> Points:
        line = piece.edges[edge]
        return line.spots(share * line.length_mm)[0]

    shared = [e for e in old.edges if e in new.edges]
    a = np.concatenate([places(old, e) for e in shared])
    b = np.concatenate([places(new, e) for e in shared])
    return a, a + ENLARGED * (b - a)
