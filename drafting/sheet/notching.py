"""Notches: equal on edges that are sewn together, at centres, where hems turn, and never far apart.

The last touch on the pieces of any block. A block sets the notches that its construction gives
(waist, hip, darts, zip); here they get their partners. Common practice, no source: one notch every
25 to 30 cm at most; notches at construction points run square to the edge (*Industrial Cutting of
Textile Materials*, § 7.3.1). Piece frame, mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from drafting.allowance import FOLD, plain
from drafting.outline import Edge, Points, arc_lengths
from drafting.piece import Notch, Piece
from drafting.truing import Seam, Spot, cut_place, dart_spans, sewn_place

Held = dict[str, list[Notch]]  # piece → its notches
Spans = Sequence[tuple[float, float]]  # where the darts of an edge lie along it
FARTHEST_MM = 300.0
SAME_MM = 3.0  # nearer than this two notches are one
HEMS = ("hem", "sleeve hem")
_LEAST_MM = 12.0  # an edge shorter than this is no place for a notch of its own


def notched(pieces: Mapping[str, Piece], seams: Sequence[Seam]) -> dict[str, Piece]:
    """The pieces with notches at centres and hem turns, and partners on all mated edges."""
    held: Held = {}
    for n, p in pieces.items():
        held[n] = list(p.notches)
        _add(held[n], [*_at_centres(p), *_at_hems(p)])
    mated = [(s.a[0], s.b[0]) for s in seams if len(s.a) == len(s.b) == 1]
    mated += [
        ((n, e),) * 2 for n, p in pieces.items() for e in p.edges if p.pair and e == "centre back"
    ]
    for a, b in mated:
        one, other = (pieces[p].edges[e] for p, e in (a, b))
        spans = [
            dart_spans(pieces[p], e) if e.split()[-1] in ("side", "underarm") else []
            for p, e in (a, b)
        ]
        sizes = [sewn_place(x, e.length_mm) for x, e in zip(spans, (one, other), strict=True)]
        if abs(sizes[0] - sizes[1]) > 1.0:
            continue
        legs = [_closed(held, spot, x) for spot, x in zip((a, b), spans, strict=True)]
        _mate(held, a, one, b, other, sizes)
        for spot, x, own in zip((a, b), spans, legs, strict=True):
            _opened(held, spot, x, own)
    now = {n: tuple(notches) for n, notches in held.items()}
    return {n: p if now[n] == p.notches else p.with_(notches=now[n]) for n, p in pieces.items()}


def at_height(edge: Edge, y: float) -> float | None:
    """How far along an edge it passes a height, mm; None if it does not."""
    ys = edge.points[:, 1]
    return _where(edge, ys, y) if ys.min() < y < ys.max() else None


def _where(edge: Edge, values: Points, value: float) -> float:
    """How far along an edge one of its coordinates has a value, mm."""
    order = np.argsort(values)
    return float(np.interp(value, values[order], arc_lengths(edge.points)[order]))


def _add(notches: list[Notch], more: Iterable[Notch]) -> None:
    """Add those notches that are not there yet."""
    for new in more:
        if not any(n.edge == new.edge and abs(n.at_mm - new.at_mm) < SAME_MM for n in notches):
            notches.append(new)


def _at_centres(piece: Piece) -> list[Notch]:
    """A notch at the centre of every edge that meets the fold or crosses the centre line."""
    half = next((w for w in ("front", "back") if w in piece.name.split()), "")
    name = f"centre {half}".strip()
    more: list[Notch] = []
    if piece.fold is not None and FOLD in piece.edges:
        before, after = piece.beside(FOLD)
        ends = [(after, 0.0), (before, piece.edges[before].length_mm)]
        more = [Notch(e, at, 1, name) for e, at in ends if e != "outer"]
    elif half and not piece.pair:
        for e, edge in piece.edges.items():
            x = edge.points[:, 0]
            once = (np.diff(np.sign(x)) != 0).sum() == 1
            if e != "outer" and x.min() < -20.0 and x.max() > 20.0 and once:
                more.append(Notch(e, _where(edge, x, 0.0), 1, name))
    return more


def _at_hems(piece: Piece) -> list[Notch]:
    """A notch at the hem's end of every edge that is folded up with it."""
    more = []
    for e in piece.edges:
        if plain(e) not in HEMS:
            continue
        before, after = piece.beside(e)
        ends = [(before, piece.edges[before].length_mm), (after, 0.0)]
        more += [
            Notch(n, at, 1, "hem")
            for n, at in ends
            if n != FOLD and piece.edges[n].length_mm > _LEAST_MM
        ]
    return more


def _rises(edge: Edge) -> bool:
    """Whether it runs up, or outward from the centre where it lies level."""
    step = edge.points[-1] - edge.points[0]
    if abs(step[1]) > 0.3 * abs(step[0]):
        return bool(step[1] > 0)
    return bool(abs(edge.points[-1, 0]) > abs(edge.points[0, 0]))


def _closed(held: Held, spot: Spot, spans: Spans) -> list[Notch]:
    """An edge's notches as they lie with its darts closed; those of the darts are taken out, and returned."""
    if not spans:
        return []
    own = _on(held, spot)
    legs = [n for n in own if any(a - 0.5 <= n.at_mm <= b + 0.5 for a, b in spans)]
    rest = [replace(n, at_mm=sewn_place(spans, n.at_mm)) for n in own if n not in legs]
    _set(held, spot, rest)
    return legs


def _opened(held: Held, spot: Spot, spans: Spans, legs: Sequence[Notch]) -> None:
    """The notches of an edge with its darts open again."""
    if spans:
        own = _on(held, spot)
        _set(held, spot, [*(replace(n, at_mm=cut_place(spans, n.at_mm)) for n in own), *legs])


def _mate(held: Held, a: Spot, one: Edge, b: Spot, two: Edge, sizes: Sequence[float]) -> None:
    """Give two mated edges, as long as ``sizes``, the same notches, and more where they lie too far apart."""
    turned = _rises(one) != _rises(two)
    length, there = sizes

    def across(n: Notch) -> float:
        return length - n.at_mm * length / there if turned else n.at_mm * length / there

    own, other = _on(held, a), _on(held, b)
    both = own + [replace(n, edge=a[1], at_mm=across(n)) for n in other if a != b]
    kept: list[Notch] = []
    for n in both:
        same = [k for k in kept if abs(k.at_mm - n.at_mm) < SAME_MM]
        if not same:
            kept.append(n)
        elif n.match and not same[0].match:
            kept[kept.index(same[0])] = replace(same[0], match=n.match)
    counts = {round(n.at_mm): n.count for n in own}, {round(across(n)): n.count for n in other}
    for i, n in enumerate(kept):
        count = min(c.get(round(n.at_mm), n.count) for c in counts)
        kept[i] = replace(n, count=count, at_mm=min(max(n.at_mm, 0.0), length))
    ends = sorted({0.0, length, *(n.at_mm for n in kept)})
    for start, end in pairwise(ends):
        parts = math.ceil((end - start) / FARTHEST_MM - 1e-9)
        kept += [Notch(a[1], start + (end - start) * i / parts, 1, "") for i in range(1, parts)]
    _set(held, a, kept)
    if a != b:
        scale = there / length
        _set(held, b, [
            replace(n, edge=b[1], at_mm=min(max((length - n.at_mm if turned else n.at_mm) * scale, 0.0), there))
            for n in kept
        ])  # fmt: skip


def _on(held: Held, at: Spot) -> list[Notch]:
    """The notches of an edge."""
    return [n for n in held[at[0]] if n.edge == at[1]]


def _set(held: Held, at: Spot, notches: Sequence[Notch]) -> None:
    others = [n for n in held[at[0]] if n.edge != at[1]]
    held[at[0]] = [*others, *sorted(notches, key=lambda n: n.at_mm)]
