"""Order: tracing piece by piece so that her sleeves stay off the chalk.

Pure functions of the lay and of what is marked.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from drafting.placement import Placement
    from projector.picture.stage import Stage


_ROW_MM = 120.0  # pieces whose nearest edges differ by less lie in one row for her arm


def order(stage: Stage, placed: Iterable[Placement]) -> list[str]:
    """Keys of the pieces in the order of tracing.

    The farthest row first and the nearest last, so that she never leans over a traced piece;
    within a row away from her drawing hand, so that the hand never rests on fresh chalk.
    """
    rows: list[tuple[float, float, str]] = []
    for p in placed:
        seen = stage.ring(p) @ stage.read
        rows.append((float(seen[:, 1].min()), float(seen[:, 0].mean()), p.key))
    rows.sort(key=lambda r: (-r[0], r[2]))
    out: list[str] = []
    while rows:
        top = rows[0][0]
        row = [r for r in rows if r[0] >= top - _ROW_MM]
        rows = [r for r in rows if r[0] < top - _ROW_MM]
        row.sort(key=lambda r: (-r[1] if stage.left_handed else r[1], r[2]))
        out.extend(r[2] for r in row)
    return out


def next_piece(
    stage: Stage, placed: Sequence[Placement], traced: Collection[str], after: str | None = None
) -> str | None:
    """The next piece that is not traced yet, after ``after`` and round again; None when all are."""
    keys = order(stage, placed)
    if after in keys:
        i = keys.index(after) + 1
        keys = keys[i:] + keys[:i]
    return next((k for k in keys if k not in traced), None)


def neighbour(
    stage: Stage, placed: Sequence[Placement], current: str | None, step: int
) -> str | None:
    """The piece one place on (or back) in the order, marked or not."""
    keys = order(stage, placed)
    if not keys:
        return None
    if current not in keys:
        return keys[0] if step > 0 else keys[-1]
    return keys[(keys.index(current) + step) % len(keys)]
