"""What an edge hangs on, and what a slip of the tape would do.

After `drafting.blocks`: what an edge hangs on is read off the sheet's record; how far it moves is
found by drafting again with one measure changed. For ``draft --why`` and ``draft --slips``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from configs.errors import DraftError, Fault, InputError
from configs.reader import unknown_keys
from configs.units import format_length
from drafting.blocks import Draft, draft
from drafting.figures.drawing import GREY, INK, Drawing, Stroke, Writing, to_svg
from drafting.measurements import REGISTRY, Measurements
from drafting.piece import Piece
from drafting.sheet.board import FIT, STYLE, plain
from drafting.truing import Move, compare

SLIP_MM = 10.0


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
    for a measure also how far 1 cm more moves the edge, and by how much it lengthens it, mm."""

    key: str
    name: str
    value: str
    moved_mm: float | None = None
    longer_mm: float | None = None


def used_measures(made: Draft) -> list[str]:
    """Measures on which some edge hangs, in the registry's order."""
    held = {k for keys in made.hangs_on.values() for k in keys}
    return [k for k in REGISTRY if k in held and k in made.measurements]


def slip(made: Draft, measure: str, by_mm: float = SLIP_MM) -> Slip:
    """The garment again with one measure ``by_mm`` more, against the draft ``made``."""
    try:
        other = draft(made.block, _with(made.measurements, measure, by_mm), made.style, made.fit)
    except DraftError as error:
        return Slip(measure, by_mm, 0.0, refused=str(error.faults[0].what))
    moves = tuple(compare(made.pieces, other.pieces))
    far = max((m for m in moves if m.moved_mm is not None), key=_far, default=None)
    if far is None:
        return Slip(measure, by_mm, 0.0, moves=moves, pieces=other.pieces)
    return Slip(measure, by_mm, _far(far), far.piece, far.edge, moves, other.pieces)


def slips(made: Draft, by_mm: float = SLIP_MM) -> list[Slip]:
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
        raise InputError(Fault("--why", f"this garment has no edge '{name}'.", remedy))
    return known[word]


def why(made: Draft, edges: Sequence[tuple[str, str]]) -> list[Hold]:
    """What some edges hang on: measures (with what 1 cm does), then style options, then fit."""
    held = {k for spot in edges for k in made.hangs_on[spot]}
    unit = made.measurements.unit
    out = []
    for key in (k for k in REGISTRY if k in held):
        if key not in made.measurements:
            out.append(Hold(key, REGISTRY[key].name, "not measured"))
            continue
        moved, longer = _on(slip(made, key), edges)
        out.append(Hold(key, REGISTRY[key].name, made.measurements.text(key), moved, longer))
    for option, value in made.style.items():
        if STYLE + option in held:
            shown = (
                format_length(value, unit) if isinstance(value, float) else str(value or "not set")
            )
            out.append(Hold(STYLE + option, option, shown))
    fits = [c for c in made.fit if FIT + c.change in held]
    return [*out, *(Hold(FIT + c.change, f"fit: {c.change}", c.text) for c in fits)]


def _on(result: Slip, edges: Sequence[tuple[str, str]]) -> tuple[float | None, float | None]:
    """How far the edges move, and how much longer the most changed of them gets, mm."""
    if result.refused:
        return None, None
    mine = [m for m in result.moves if (m.piece, m.edge) in edges]
    gains = [(m.after_mm or 0.0) - (m.before_mm or 0.0) for m in mine]
    return max(map(_far, mine), default=0.0), max(gains, key=abs, default=0.0)


# --- the picture ---------------------------------------------------------------------------------

_CELL_MM = (88.0, 96.0)
_MARGIN_MM, _HEAD_MM = 5.0, 13.0


def slips_svg(made: Draft, found: Sequence[Slip]) -> str:
    """One small picture a measure: the garment (thin, full) and how it would be (strong, broken)."""
    shown = [s for s in found if s.pieces is not None and s.moved_mm > 0.05]
    names = [n for n, p in made.pieces.items() if any(plain(e) == "side" or p.darts or p.fold for e in p.edges)]  # fmt: skip
    names = names[:2] or list(made.pieces)[:2]
    columns = 2
    rows = max(1, -(-len(shown) // columns))
    strokes: list[Stroke] = []
    writings: list[Writing] = []
    wide, high = _CELL_MM
    for i, s in enumerate(shown):
        corner = np.array([i % columns * wide, i // columns * high])
        text = f"{REGISTRY[s.measure].name} + {format_length(s.by_mm, 'mm')}"
        moved = f"moves {format_length(s.moved_mm, 'mm')} at {s.piece}: {s.edge}"
        writings.append(Writing((corner[0] + _MARGIN_MM, corner[1] + 5.0), text, 3.4, colour=INK))
        writings.append(Writing((corner[0] + _MARGIN_MM, corner[1] + 9.6), moved, 2.8, colour=GREY))
        _cell(made.pieces, s, names, corner, strokes)
    drawing = Drawing(columns * wide, rows * high, tuple(strokes), tuple(writings))
    return to_svg(drawing, "What a slip of the tape by 1 cm would do")


def _cell(
    before: Mapping[str, Piece], s: Slip, names: Sequence[str], corner: np.ndarray, strokes: list[Stroke]
) -> None:  # fmt: skip
    """Both outlines of the first pieces side by side, to one scale."""
    assert s.pieces is not None
    pairs = [(before[n].unfolded(), s.pieces[n].unfolded()) for n in names if n in s.pieces]
    sizes = [np.ptp(np.concatenate(p), axis=0) for p in pairs]
    room = np.array(_CELL_MM) - (2 * _MARGIN_MM, 2 * _MARGIN_MM + _HEAD_MM)
    gap = 6.0 * (len(pairs) - 1)
    scale = min(
        (room[0] - gap) / max(sum(float(z[0]) for z in sizes), 1.0),
        room[1] / max(float(max(z[1] for z in sizes)), 1.0),
    )
    x = _MARGIN_MM
    for (old, new), size in zip(pairs, sizes, strict=True):
        both = np.concatenate([old, new])
        left, top = float(both[:, 0].min()), float(both[:, 1].max())
        for ring, pen in ((old, "old-seam"), (new, "other-seam")):
            at = (ring - (left, top)) * (scale, -scale) + (x, _MARGIN_MM + _HEAD_MM) + corner
            strokes.append(Stroke(np.concatenate([at, at[:1]]), pen))
        x += float(size[0]) * scale + 6.0
