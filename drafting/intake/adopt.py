"""From an outline of a file to a piece: grain up, fold on x = 0, sides named.

Last station of the intake, before the docket. The person names what a bare outline cannot say:
which way the grain runs, which side lies on the fold, how many to cut. The drawing is moved and
turned (and, for a fold on its right, mirrored) but never scaled.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from itertools import pairwise

import numpy as np

from configs.errors import InputError
from configs.units import length_text
from drafting.allowance import FOLD
from drafting.intake.details import details_of
from drafting.intake.drawn import JOIN_MM
from drafting.intake.found import Ends, Outline
from drafting.intake.geometry import Array
from drafting.lettering import unlike
from drafting.outline import polyline_length
from drafting.piece import AS_DRAWN, Piece
from drafting.placement import carry

CORNER_DEG = 30.0  # a sharper turn than this parts one side of an outline from the next
CORNER_REACH_MM = 2.0  # over which a turn is measured, so that a drawn curve's chords are none
MIN_SIDE_MM = 5.0
MIN_FOLD_MM = 10.0  # the fold of a low collar stand is 16 mm
UPRIGHT_DEG = 1.0
SIDES = ("left", "right", "top", "bottom")


def adopt(
    outline: Outline,
    *,
    name: str | None = None,
    cut: int | None = None,
    pair: bool | None = None,
    fold: str | None = None,
    grain_deg: float | None = None,
    turns: tuple[float, ...] | None = None,
    edge_names: Mapping[str, str] | None = None,
) -> Piece:
    """A piece from an outline and what the person says of it.

    Args:
        outline: as read; its own edges, grain and counts hold where nothing is said here.
        name: what to call the piece.
        cut: how many are cut. pair: as left and right.
        fold: 'left', 'right', 'top', 'bottom' as the drawing shows it, or the name of an edge.
        grain_deg: direction of the grain in the drawing, counter-clockwise from its right; 90 up.
        turns: degrees the piece may be turned on the cloth.
        edge_names: side as named here → name to give it.

    A cutting line round the sewing line comes along as the piece's own (see `drafting.intake.cutting`).

    Raises:
        InputError: no straight side lies where the fold should be, the fold does not run along
            the grain, or an edge to be named is not there.
    """
    name = name or outline.name
    where = f"piece '{name}'"
    edges = {n: np.array(p) for n, p in outline.edges.items()} or named_sides(outline.points)
    if fold is None and outline.fold is not None and FOLD in edges:
        fold = FOLD
    chosen: str | None = None
    mirrored = False
    if fold is not None:
        chosen, edges = _fold_edge(edges, fold, where, outline.edges)
    grain = _direction(outline.grain)
    if grain_deg is not None:
        grain = math.radians(grain_deg)
    if chosen is not None:
        along = edges[chosen][0] - edges[chosen][-1]  # the ring runs down the fold
        up = math.atan2(along[1], along[0])
        told = grain if grain_deg is not None else None
        if told is not None and abs(math.sin(told - up)) > math.sin(math.radians(UPRIGHT_DEG)):
            raise InputError.of(
                where,
                f"its fold does not run along the grain of {grain_deg:g}°.",
                "A piece on the fold has its grain along it: leave the grain out.",
            )
        # Of the two ways up, the one nearer to the drawing's own: mirrored when the fold is right.
        reference = told if told is not None else (grain if grain is not None else math.pi / 2)
        mirrored = math.cos(up - reference) < -1e-9
        grain = -up if mirrored else up
    turn = math.pi / 2 - (grain if grain is not None else math.pi / 2)
    c, s, flip = math.cos(turn), math.sin(turn), -1.0 if mirrored else 1.0
    placed = np.array([[c * flip, -s, 0.0], [s * flip, c, 0.0], [0.0, 0.0, 1.0]])
    edges = {n: carry(placed, p) for n, p in edges.items()}
    if mirrored:
        edges = {n: p[::-1].copy() for n, p in reversed(edges.items())}
    low = np.vstack(list(edges.values())).min(axis=0)
    if chosen is not None:
        low[0] = float(edges[chosen][:, 0].mean())
    placed[:2, 2] = -low
    edges = {n: p - low for n, p in edges.items()}
    if chosen is not None:
        edges = _on_fold(edges, chosen)
    arrow = None
    if outline.grain is not None and grain_deg is None and not mirrored:
        (ax, ay), (bx, by) = carry(placed, outline.grain).tolist()
        arrow = (ax, ay), (bx, by)
    new_names = {**(edge_names or {}), **({chosen: FOLD} if chosen else {})}
    edges = _renamed(edges, new_names, where)
    inner = [replace(i, points=carry(placed, i.points)) for i in outline.inner]
    notches, darts, marks = details_of(inner, edges, new_names, mirrored)
    piece = Piece.from_outline(
        name,
        np.vstack([p[:-1] for p in edges.values()]),
        cut=outline.cut if cut is None else cut,
        pair=outline.pair if pair is None else pair,
        turns=outline.turns if turns is None else turns,
        grain=arrow,
        edges=edges,
    )
    return piece.with_(
        notches=notches,
        darts=darts,
        marks=marks,
        label=_label(outline, name),
        own_cutting_line=None if outline.cutting is None else carry(placed, outline.cutting),
    )


def _label(outline: Outline, name: str) -> tuple[str, ...]:
    """The file's lines of text, the first with the piece's name of now."""
    first = name if outline.label[:1] in ((), (outline.name,)) else outline.label[0]
    return (first, *(row for row in outline.label[1:] if row != AS_DRAWN))


def named_sides(points: Array) -> dict[str, Array]:
    """The sides of a bare outline between its corners, named for where they face.

    ``points``: (N, 2) mm, counter-clockwise. Answers name → (M, 2) mm in ring order; a second
    side facing the same way is 'right 2'. An outline without two corners has one side, 'edge'.
    """
    corners = _corners(points)
    if len(corners) < 2:
        return {"edge": np.vstack([points, points[:1]])}
    sides: dict[str, Array] = {}
    runs = []
    for a, b in pairwise([*corners, corners[0] + len(points)]):
        runs.append(points[np.arange(a, b + 1) % len(points)])
    lowest = min(range(len(runs)), key=lambda i: _facing(runs[i]) != "bottom")
    for run in runs[lowest:] + runs[:lowest]:
        sides[unlike(_facing(run), sides)] = run
    return sides


def _facing(run: Array) -> str:
    """Which way a side's chord faces, for a ring that runs counter-clockwise."""
    dx, dy = run[-1] - run[0]
    if abs(dx) >= abs(dy):
        return "bottom" if dx > 0 else "top"
    return "right" if dy > 0 else "left"


def _corners(points: Array) -> list[int]:
    """Indices where the outline turns sharply, at least `MIN_SIDE_MM` apart along it."""
    ring = np.vstack([points, points[:1]])
    steps = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    total = float(steps.sum())
    at = np.concatenate([[0.0], np.cumsum(steps)[:-1]])
    reach = min(CORNER_REACH_MM, total / 50.0)

    def along(s: Array) -> Array:
        return np.column_stack([np.interp(s, at, axis, period=total) for axis in points.T])

    back, ahead = points - along(at - reach), along(at + reach) - points
    turn = np.degrees(
        np.abs(
            np.arctan2(
                back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (back * ahead).sum(axis=1)
            )
        )
    )
    corners: list[int] = []
    for i in np.argsort(-turn, kind="stable"):
        if turn[i] < CORNER_DEG:
            break
        gaps = [abs(at[i] - at[j]) for j in corners]
        if all(min(g, total - g) >= MIN_SIDE_MM for g in gaps):
            corners.append(int(i))
    return sorted(corners)


def _fold_edge(
    edges: dict[str, Array], fold: str, where: str, named: Collection[str]
) -> tuple[str, dict[str, Array]]:
    """The name of the edge meant by ``fold`` and the edges with that one made straight.

    ``named``: the edges that have their names from the file, not for where they face.

    Raises:
        InputError: there is none, or it is not straight.
    """
    chosen = fold if fold in edges else ""
    if fold in SIDES:  # where it lies in the drawing goes before what it is named
        on = _along(edges, fold)
        if len(on) == 1:
            chosen = on[0]
        elif not chosen or fold not in named:
            raise _no_fold(where, f"has no single straight side along its {fold}", edges)
    if not chosen:
        raise _no_fold(where, f"has no side '{fold}'", edges)
    run = edges[chosen]
    chord = run[-1] - run[0]
    length = float(np.linalg.norm(chord))
    if length < MIN_FOLD_MM:
        raise _no_fold(where, f"has a fold only {length_text(length)} long", edges)
    normal = np.array([-chord[1], chord[0]]) / length
    off = float(np.abs((run - run[0]) @ normal).max())
    if off > JOIN_MM:
        raise _no_fold(
            where, f"has a side '{chosen}' that is {length_text(off)} off straight", edges
        )
    return chosen, {**edges, chosen: np.array([run[0], run[-1]])}


def _along(edges: Mapping[str, Array], side: str) -> list[str]:
    """Edges that lie with all their points on one side of the outline's box."""
    axis, sign = (0 if side in ("left", "right") else 1), (-1 if side in ("left", "bottom") else 1)
    limit = max(float((p[:, axis] * sign).max()) for p in edges.values())
    return [n for n, p in edges.items() if float((p[:, axis] * sign).min()) > limit - 2 * JOIN_MM]


def _no_fold(where: str, what: str, edges: Mapping[str, Array]) -> InputError:
    sides = ", ".join(f"{n} ({length_text(polyline_length(p))})" for n, p in edges.items())
    return InputError.of(
        where, f"{what}, so it cannot lie on the fold.", f"Its sides are: {sides}."
    )


def _direction(grain: Ends | None) -> float | None:
    if grain is None or grain[0] == grain[1]:
        return None
    (ax, ay), (bx, by) = grain
    return math.atan2(by - ay, bx - ax)


def _on_fold(edges: Mapping[str, Array], fold: str) -> dict[str, Array]:
    """The edges with the fold made exactly x = 0 and nothing past it."""
    moved = {n: np.maximum(p, (0.0, -np.inf)) for n, p in edges.items()}
    moved[fold][:, 0] = 0.0
    names = list(moved)
    i = names.index(fold)
    moved[names[i - 1]][-1] = moved[fold][0]
    moved[names[(i + 1) % len(names)]][0] = moved[fold][-1]
    return moved


def _renamed(edges: dict[str, Array], names: Mapping[str, str], where: str) -> dict[str, Array]:
    """The same edges under the names she gives.

    Raises:
        InputError: a side is not there, or a name would stand twice.
    """
    unknown = [n for n in names if n not in edges]
    if unknown:
        raise InputError.of(
            where, f"has no side '{unknown[0]}'.", f"Its sides are: {', '.join(edges)}."
        )
    new = [names.get(n, n) for n in edges]
    if len(set(new)) < len(new):
        twice = next(n for n in new if new.count(n) > 1)
        raise InputError.of(where, f"would have two edges named '{twice}'.", "Name one otherwise.")
    return dict(zip(new, edges.values(), strict=True))
