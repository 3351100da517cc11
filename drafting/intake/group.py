"""A group of lines that says it is a piece: of a file of ours, or a block of a DXF.

Fourth station of the intake, called by `judge`. The group's lines say what they are (sewing line,
cutting line, grain, fold, notch …), so nothing is guessed but where edges begin.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from configs.errors import InputError
from drafting.intake.drawn import (
    CUTTING,
    DART,
    DRILL,
    FOLD,
    GRAIN,
    INSIDE,
    JOIN_MM,
    MARK,
    NOTCH,
    SEWING,
    Drawn,
    join,
    meet,
)
from drafting.intake.found import Ends, Inner, Outline, ring
from drafting.intake.geometry import Array, Chain, line, polygon
from drafting.outline import signed_area

MAX_INNER = 1_000  # of one piece
MAX_INNER_POINTS = 20_000  # of one piece


def outline_of(name: str, members: Sequence[Drawn], said: list[str]) -> Outline | None:
    """One outline from a group: by its edges, else its sewing line, else its cutting line.

    What is left out is added to ``said``.

    Raises:
        InputError: its outline cannot be a piece's.
    """
    about: dict[str, str] = {}
    for d in members:
        about.update(d.about)
    edges = _edges([d for d in members if d.edge and d.line in (SEWING, FOLD)])
    kind, points = SEWING, None
    if edges:
        around = polygon(np.vstack([e[:-1] for e in edges.values()]), True)
        points = ring(around) if around else None
        if points is not None and signed_area(np.vstack([e[:-1] for e in edges.values()])) < 0.0:
            edges = {n: e[::-1].copy() for n, e in reversed(edges.items())}
    else:
        for kind in (SEWING, CUTTING, ""):
            lines = [d for d in members if d.line == kind or (d.edge and kind == SEWING)]
            points = _largest(lines, _straight(members, FOLD))
            if points is not None:
                break
    if points is None:
        said.append(f"'{name}' holds no closed outline and was left out.")
        return None
    cutting = None
    if kind == SEWING:
        try:
            lines = [d for d in members if d.line == CUTTING]
            cutting = _largest(lines, _straight(members, FOLD))
        except InputError as error:
            said.append(f"'{name}': its cutting line was left out: {error.faults[0].what}")
    return Outline(
        name,
        points,
        members[0].where,
        edges=edges,
        line=kind,
        grain=_straight(members, GRAIN),
        fold=_straight(members, FOLD),
        cut=_count(about.get("cut", "1")),
        pair=about.get("pair", "") == "true",
        turns=_turns(about.get("turns", "")),
        cutting=cutting,
        inner=_inner(name, members, said),
        label=_label(about),
    )


def _largest(lines: Sequence[Drawn], fold: Ends | None) -> Array | None:
    """The largest ring that the lines make; an open one that ends on the fold is closed by it."""
    closed, still_open, _ = join(lines)
    chains = [d.chain for d in closed]
    chains += [c for d in still_open if (c := _closed_by(fold, d.chain)) is not None]
    rings = [r for c in chains if (r := ring(c)) is not None]
    return max(rings, key=signed_area, default=None)


def _closed_by(fold: Ends | None, chain: Chain) -> Chain | None:
    """The chain closed along the fold's line; None where it does not end there."""
    if fold is None or fold[0] == fold[1]:
        return None
    a, b = np.array(fold)
    t = (b - a) / np.linalg.norm(b - a)
    first, last = chain.ends
    off = [abs(float(t[0] * (p - a)[1] - t[1] * (p - a)[0])) for p in (first, last)]
    if max(off) > JOIN_MM or meet(first, last):
        return None
    return Chain((*chain.segments, line(last, first)), True)


def _edges(drawn: Sequence[Drawn]) -> dict[str, Array]:
    """Named edges in ring order, joints exact; empty when they do not close a ring."""
    runs = {d.edge: d.chain.flatten() for d in drawn if not d.chain.closed}
    names = list(runs)
    if len(names) < 2 or len(names) != len(drawn):
        return {}
    for n, after in zip(names, names[1:] + names[:1], strict=True):
        if not meet(runs[n][-1], runs[after][0]):
            return {}
        runs[n][-1] = runs[after][0]
    return runs


def _inner(name: str, members: Sequence[Drawn], said: list[str]) -> tuple[Inner, ...]:
    """Notches, darts, drill holes and marks; what is more than can be kept is said by kind."""
    kept: list[Inner] = []
    left = Counter[str]()
    room = MAX_INNER_POINTS
    for d in members:
        if d.line not in INSIDE:
            continue
        points = d.chain.flatten() if len(kept) < MAX_INNER and room > 0 else np.empty((0, 2))
        room -= len(points)
        if not len(points) or room < 0 or not np.all(np.isfinite(points)):
            left[d.line] += 1
            continue
        kept.append(Inner(d.line, points, d.chain.closed, d.note))
    words = {NOTCH: "notches", DART: "darts", DRILL: "drill holes", MARK: "lines inside"}
    said += [f"'{name}': {n} {words[k]} left out: too many." for k, n in left.items()]
    return tuple(kept)


def _straight(members: Sequence[Drawn], kind: str) -> Ends | None:
    """The two ends of the group's first line of that kind, an edge's before another's."""
    for d in sorted(members, key=lambda d: not d.edge):
        if d.line == kind and not d.chain.closed:
            (ax, ay), (bx, by) = d.chain.ends
            return (float(ax), float(ay)), (float(bx), float(by))
    return None


def _count(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= 100 else 1


def _turns(text: str) -> tuple[float, ...]:
    try:
        turns = tuple(float(t) for t in text.split())
    except ValueError:
        turns = ()
    return turns if turns and all(math.isfinite(t) for t in turns) else (0.0, 180.0)


def _label(about: Mapping[str, str]) -> tuple[str, ...]:
    """The lines label-1, label-2 …"""
    lines: list[str] = []
    while (row := about.get(f"label-{len(lines) + 1}")) is not None and len(lines) < 20:
        lines.append(row)
    return tuple(lines)
