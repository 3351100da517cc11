"""A drafted garment after its changes: the same draft with other pieces, seams and checks.

What the scissors leave of a draft: seams told anew, corners and runs where they still are, darts
looked at again, girths and openings measured again (`measured`). What cannot be measured on the
changed pieces holds for the draft before the changes, and is told so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from drafting.blocks import Draft
from drafting.piece import Piece
from drafting.shaping.changes import Change, replay
from drafting.shaping.measured import checks_now, girths_now, with_lines, without_lines
from drafting.shaping.places import neighbours
from drafting.shaping.state import Work
from drafting.sheet.making import Task
from drafting.truing import Corner, Run, check_dart_runs


def changed(
    draft: Draft, changes: Sequence[Change], unit: str, further: Mapping[str, Piece] | None = None
) -> tuple[Draft, dict[str, Piece]]:
    """(the draft after its changes, the further pieces after them).

    ``further``: pieces beside the draft, imported ones, which the changes may name too.

    Raises:
        DraftError: a change that cannot be done here, by its place in the list and its name.
    """
    imported = dict(further or {})
    lined, lines = with_lines(draft)
    work = replay(Work({**lined, **imported}, draft.seams, (), unit), changes)
    after = {n: p for n, p in work.pieces.items() if set(work.came_from(n)) <= set(imported)}
    pieces = {n: without_lines(p) for n, p in work.pieces.items() if n not in after}
    runs = tuple(r for run in draft.runs for r in _runs(run, work))
    own = tuple(c for c in checks_now(draft, lines, work) if " over dart " not in c.name)
    tasks = _tasks(draft, pieces, work)
    made = replace(
        draft,
        tasks=tasks,
        pieces=MappingProxyType(pieces),
        seams=tuple(s for s in work.seams if not {p for p, _ in (*s.a, *s.b)} & set(after)),
        corners=tuple(c for corner in draft.corners for c in _corners(corner, work)),
        runs=runs,
        girths=girths_now(draft, lines, work),
        extra_checks=(*own, *check_dart_runs(pieces)),
        said=(*draft.said, *work.said),
    )
    return made, after


def _tasks(draft: Draft, pieces: Mapping[str, Piece], work: Work) -> tuple[Task, ...]:
    """How it is sewn, with the seams and darts that the scissors made."""
    if not draft.tasks:  # it tells of no seam, so of none of these
        return ()
    there = {s.name for s in draft.seams}
    seams = [
        Task("seams", f"Sew the {s.name} seam, {s.a[0][0]} to {s.b[0][0]}.")
        for s in work.seams
        if s.name not in there and not s.name.endswith(("facing", "binding"))
    ]
    if not any(p.darts for p in pieces.values()):
        return (*seams, *(t for t in draft.tasks if t.stage != "darts"))
    told = any(t.stage == "darts" for t in draft.tasks)
    sewn = [] if told else [Task("darts", "Sew the darts to their points and press them.")]
    return (*sewn, *seams, *draft.tasks)


def changed_pieces(
    pieces: Mapping[str, Piece], changes: Sequence[Change], unit: str
) -> dict[str, Piece]:
    """Imported pieces after their changes.

    Raises:
        DraftError: a change that cannot be done here, by its place in the list and its name.
    """
    return dict(replay(Work(pieces, (), (), unit), changes).pieces)


def _corners(corner: Corner, work: Work) -> list[Corner]:
    """A corner on the pieces that have it now."""
    return [
        replace(corner, piece=name)
        for name, piece in work.pieces.items()
        if corner.piece in work.came_from(name) and _meet(piece, corner.before, corner.after)
    ]


def _meet(piece: Piece, before: str, after: str) -> bool:
    return before in piece.edges and neighbours(piece, before)[1] == after


def _runs(run: Run, work: Work) -> list[Run]:
    """A line that runs on over a seam, where both its pieces still have it, once each."""
    a, b = _corners(run.a, work), _corners(run.b, work)
    return [replace(run, a=x, b=y) for x, y in zip(a, b, strict=False)] if len(a) == len(b) else []
