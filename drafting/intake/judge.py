"""Which of a file's lines are the outlines of pieces: closed, not inside another, fit to be cut.

Third station of the intake. Groups that say they are a piece go to `group`; everywhere else each
closed chain is a candidate. What cannot be cut is refused, what is left out is said.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence

import numpy as np

from configs.errors import Fault, InputError
from drafting.intake.drawn import Drawn, join
from drafting.intake.found import Found, Outline, many, ring
from drafting.intake.group import outline_of
from drafting.lettering import unlike

MAX_TOTAL_POINTS = 60_000  # of one file: more would make a docket that takes long to read
MAX_POINTS_SEEN = 1_000_000  # of all closed lines, those inside others too
MAX_FAULTS = 20  # told of one file
MAX_OUTLINES = 500  # pieces of one file


def outlines_from(
    drawn: Sequence[Drawn], where: str, notes: Sequence[str] = (), only: Collection[str] = ()
) -> Found:
    """Judge what a reader found.

    Groups with a piece's name (files of ours, blocks of a DXF) give one outline each, the sewing
    line before the cutting line, their edges joined by name. Elsewhere every closed chain is a
    candidate and open chains whose ends meet within 0.1 mm are joined; what lies inside another
    outline is left out, and said.

    ``only``: names of the outlines wanted: what is wrong with others is then a note, and an
    outline inside another is taken. The others are still found; the caller chooses.

    Raises:
        InputError: nothing closed is there, or an outline crosses itself, is far too large or has
            too many points. All faults at once.
    """
    said = list(notes)
    wrong: list[tuple[str, Fault]] = []
    outlines: list[Outline] = []
    groups: dict[str, list[Drawn]] = {}
    loose: list[Drawn] = []
    for d in map(_at_draft_size, drawn):
        if d.piece:
            groups.setdefault(d.piece, []).append(d)
        else:
            loose.append(d)
    if len(groups) > MAX_OUTLINES:
        raise InputError(_too_many(where, len(groups)))
    for name, members in groups.items():
        try:
            made = outline_of(name, members, said)
        except InputError as error:
            wrong += [(name, _placed(f, where, name)) for f in error.faults]
            continue
        if made is not None:
            outlines.append(made)
    try:
        closed, _, left_open = join(loose)
    except InputError as error:
        raise InputError([_placed(f, where, "") for f in error.faults]) from error
    candidates: list[Outline] = []
    tiny = points_seen = 0
    for d in closed:
        try:
            points = ring(d.chain)
        except InputError as error:
            wrong += [(d.name, _placed(f, where, d.where)) for f in error.faults]
            if len(wrong) > MAX_OUTLINES:
                break
            continue
        if points is None:
            tiny += 1
            continue
        candidates.append(Outline(d.name, points, d.where, line=d.line))
        points_seen += len(points)
        if len(candidates) + len(outlines) > MAX_OUTLINES or points_seen > MAX_POINTS_SEEN:
            raise InputError(_too_many(where, len(closed) + len(outlines)))
    outer, inner = _outermost(candidates)
    if tiny:
        said.append(f"{many(tiny, 'closed shape')} under a square centimetre left out.")
    # Sizes are often drawn one inside the other: an inner outline is had by its name.
    named = _unique([*outlines, *outer, *(o for o, _ in inner)])
    within = dict(zip((o.name for o in named[len(outlines) + len(outer) :]), inner, strict=True))
    outlines = [o for o in named if o.name not in within or o.name in only]
    hidden = [(n, o, around) for n, (o, around) in within.items() if n not in only]
    for name, o, around in hidden[:MAX_FAULTS]:
        said.append(f"'{name}' ({o.where}) lies inside {around.called} and was left out.")
    if len(hidden) > MAX_FAULTS:
        said.append(f"{len(hidden) - MAX_FAULTS} more lie inside others and were left out.")
    if hidden:
        said.append("What was left out for lying inside is taken when it is asked for by name.")
    if left_open:
        what = "left out: only closed outlines become pieces."
        said.append(f"{many(left_open, 'open line')} {what}")
    faults = [f for name, f in wrong if not only or name in only or not outlines]
    if faults:
        raise InputError(faults[:MAX_FAULTS])
    said += [f"Left out: {f}" for _, f in wrong[:MAX_FAULTS]]
    count = sum(len(o.points) for o in outlines)
    if count > MAX_TOTAL_POINTS:
        raise InputError.of(
            where,
            f"has {count} points on its outlines; at most {MAX_TOTAL_POINTS} are taken.",
            "Simplify the paths, or save fewer pieces to a file.",
        )
    if not outlines:
        raise InputError.of(
            where,
            "holds no closed outline of a piece"
            + (f" (but {left_open} open lines)." if left_open else "."),
            "Close the outlines in the program that the file came from, convert text and pictures to paths, and save again.",
        )
    return Found(tuple(outlines), tuple(said))


def _too_many(where: str, count: int) -> Fault:
    return Fault(
        where,
        f"holds {count} closed outlines; at most {MAX_OUTLINES} with {MAX_POINTS_SEEN} points are taken.",
        "Save the pieces of one garment to a file of their own.",
    )


def _at_draft_size(drawn: Drawn) -> Drawn:
    """A line of a piece that our export had made larger for shrinkage, at the draft's size again."""
    try:
        growth = np.array([float(v) for v in drawn.about.get("larger", "").split()])
    except ValueError:
        return drawn
    if growth.shape != (4,) or not np.all(np.isfinite(growth)):
        return drawn
    matrix = np.eye(3)
    matrix[:2, :2] = growth.reshape(2, 2)
    if not 0.5 < float(np.linalg.det(matrix)) < 4.0:  # no cloth shrinks so
        return drawn
    chain = drawn.chain.moved(np.asarray(np.linalg.inv(matrix), dtype=np.float64))
    note = {k: v for k, v in drawn.note.items() if k != "at"}  # a length along the larger edge
    return dataclasses.replace(drawn, chain=chain, note=note)


def _placed(fault: Fault, where: str, inner: str) -> Fault:
    return Fault(f"{where}: {inner}" if inner else where, fault.what, fault.remedy)


def _outermost(
    candidates: Sequence[Outline],
) -> tuple[list[Outline], list[tuple[Outline, Outline]]]:
    """Outlines not inside another, and the others each with one that holds it."""
    import shapely

    shapes = [shapely.Polygon(o.points) for o in candidates]
    tree = shapely.STRtree(shapes)
    outer: list[Outline] = []
    inner: list[tuple[Outline, Outline]] = []
    for i, (o, shape) in enumerate(zip(candidates, shapes, strict=True)):
        holders = [
            int(j)
            for j in tree.query(shape, predicate="covered_by")
            # of two equal outlines, one drawn over the other, the first stays
            if j != i and (shapes[j].area > shape.area or (shapes[j].area == shape.area and j < i))
        ]
        if holders:
            inner.append((o, candidates[max(holders, key=lambda j: shapes[j].area)]))
        else:
            outer.append(o)
    return outer, inner


def _unique(outlines: Sequence[Outline]) -> list[Outline]:
    """The same with names made unlike: a second 'front' becomes 'front 2'."""
    seen: set[str] = set()
    named = []
    for i, o in enumerate(outlines, 1):
        base = " ".join(o.name.replace("/", "-").split())[:60] or f"piece {i}"
        name = unlike(base, seen)
        seen.add(name)
        named.append(dataclasses.replace(o, name=name))
    return named
