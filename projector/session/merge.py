"""Two hands on one docket: what a table did is put into what was written there meanwhile.

Between the journal and the docket. What was there when the table began is known, so each change is
one of the table or one of the file; only where both changed the same thing, or the piece is gone,
do they contradict each other.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.placement import Placement

_FAR = 1e6  # mm or degrees; no cloth reaches so far


@dataclass(frozen=True)
class Kept:
    """What a table keeps of a docket: its lay, the marks and its own settings."""

    lay: tuple[Placement, ...] = ()
    traced: tuple[str, ...] = ()
    table: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, docket: Docket) -> Kept:
        """That of a docket."""
        return cls(docket.lay, docket.traced, dict(docket.table))

    def like(self, other: Kept) -> bool:
        """Whether both would be saved alike: the docket rounds the places of its lay."""
        tables = [json.loads(json.dumps(dict(k.table), default=str)) for k in (self, other)]
        return (
            self.traced == other.traced
            and tables[0] == tables[1]
            and rounded(self.lay) == rounded(other.lay)
        )

    def to_dict(self) -> dict[str, Any]:
        """As plain data; `from_dict` reads it back."""
        return {**changes(None, self), "table": dict(self.table)}

    def changed(self, change: Mapping[str, Any]) -> Kept:
        """With a journal's line: ``lay`` whole or ``moved`` pieces, ``traced``, ``table``.

        Raises:
            KeyError, TypeError, ValueError, AttributeError: it is no such line.
        """
        lay, traced = changed(self, change)
        table = _settings_from(change["table"]) if "table" in change else self.table
        return Kept(lay, traced, table)


class Lies(Protocol):
    """Where pieces lie, and which are traced."""

    @property
    def lay(self) -> tuple[Placement, ...]: ...

    @property
    def traced(self) -> tuple[str, ...]: ...


def changes(before: Lies | None, after: Lies) -> dict[str, Any]:
    """What makes one lay the other, as plain data; from None: all of it. `changed` reads it back."""
    line: dict[str, Any] = {}
    if before is None or [p.key for p in before.lay] != [p.key for p in after.lay]:
        line["lay"] = [plain(p) for p in after.lay]
    elif before.lay != after.lay:
        line["moved"] = [plain(q) for p, q in zip(before.lay, after.lay, strict=True) if p != q]
    if before is None or before.traced != after.traced:
        line["traced"] = list(after.traced)
    return line


def changed(before: Lies, line: Mapping[str, Any]) -> tuple[tuple[Placement, ...], tuple[str, ...]]:
    """The lay and the marks after what `changes` wrote down.

    Raises:
        KeyError, TypeError, ValueError, AttributeError: it is no such line.
    """
    lay = before.lay
    if "lay" in line:
        lay = tuple(placement_from(p) for p in line["lay"])
    moved = {p.key: p for p in map(placement_from, line.get("moved", ()))}
    lay = tuple(moved.get(p.key, p) for p in lay)
    return lay, marks_from(line["traced"]) if "traced" in line else before.traced


def plain(p: Placement) -> dict[str, Any]:
    """A placement as plain data; `placement_from` reads it back."""
    return asdict(p)


def placement_from(data: Any) -> Placement:
    """The placement that `plain` made data of.

    Raises:
        ValueError: it is none.
    """
    from configs.reader import Reader
    from drafting.placement import Placement

    row = Reader(data, key="place")
    at = row.numbers("at", (2,)) or [0.0, 0.0]
    made = Placement(
        row.text("piece", need=True),
        row.count("copy"),
        (at[0], at[1]),
        row.number("turn_deg", 0.0, -_FAR, _FAR),
        row.flag("mirrored"),
        row.flag("locked"),
        row.flag("aside"),
        row.flag("lower"),
    )
    row.done()
    if max(map(abs, at)) > _FAR:
        raise ValueError("no cloth is so large")
    return made


def marks_from(data: Any) -> tuple[str, ...]:
    """Copies that are traced, ``front/1``, from plain data.

    Raises:
        ValueError: it is no list of them.
    """
    if not isinstance(data, list | tuple) or not all(
        isinstance(k, str) and re.fullmatch(r"[^/]+/[0-9]{1,6}", k) for k in data
    ):
        raise ValueError("no list of copies")
    return tuple(data)


def _settings_from(data: Any) -> dict[str, Any]:
    """The table's own settings from plain data; what is read of them at once is looked at.

    Raises:
        TypeError, ValueError: they are none.
    """
    from projector.height import from_dict
    from projector.picture.view import View

    made = {str(k): v for k, v in dict(data).items()}
    if made.get("view") is not None:
        View.from_dict(made["view"], "view")
    if made.get("height") is not None:
        from_dict(made["height"])
    return made


def seated(base: Kept, table: Kept, file: Kept, pieces: Collection[str] | None) -> Kept:
    """What an open table leaves in the docket: its word for all that it shows, the file's for the rest.

    Args:
        base: what the table had noted when it saved last, or began with.
        table: what it shows now. file: what the docket says now.
        pieces: names of the docket's pieces, where it was changed elsewhere; None: as the table knows.
    """
    known = {p.key for p in (*base.lay, *table.lay)}
    new = [p for p in file.lay if p.key not in known]
    lay = tuple(p for p in (*table.lay, *new) if pieces is None or p.piece in pieces)
    marks = _of((*table.traced, *(k for k in file.traced if k not in known)), pieces)
    others = {k: v for k, v in file.table.items() if k not in base.table}
    return Kept(lay, marks, {**others, **table.table})


def merged(
    base: Kept | None, table: Kept, file: Kept, pieces: Collection[str] | None
) -> tuple[Kept, tuple[Placement, ...]]:
    """Both hands' changes in one, after the table; and its places that the file contradicts.

    Where both changed the same, the file's word stands until she says otherwise.

    Args:
        base: what was there when the table began; None when that is not known: then whatever
            differs contradicts.
        table: what the table made of it. file: what the docket says now.
        pieces: names of the docket's pieces; None: all that are named are there. What lies of
            other pieces is left out, and contradicted.
    """
    was = {p.key: p for p in base.lay} if base is not None else {}
    ours, theirs = {p.key: p for p in table.lay}, {p.key: p for p in file.lay}
    lay: dict[str, Placement] = {}
    against: list[Placement] = []
    for key in dict.fromkeys((*theirs, *ours)):
        one, other = ours.get(key), theirs.get(key)
        there = (one or other).piece  # type: ignore[union-attr]  # the key is of one of them
        known = pieces is None or there in pieces
        by_table = base is None or not _alike(was.get(key), one)
        by_file = base is None or not _alike(was.get(key), other)
        chosen = one if by_table else other
        if by_table and (by_file or not known) and not _alike(one, other):
            against += [one] if one is not None else []
            chosen = other
        if chosen is not None and known:
            lay[key] = chosen
    marks = _of(_marks(base, table, file), pieces)
    return Kept(tuple(lay.values()), marks, _settings(base, table, file)), tuple(against)


def _of(marks: tuple[str, ...], pieces: Collection[str] | None) -> tuple[str, ...]:
    """The marks of pieces that are there."""
    return tuple(k for k in marks if pieces is None or k.rsplit("/", 1)[0] in pieces)


def _marks(base: Kept | None, table: Kept, file: Kept) -> tuple[str, ...]:
    was = set(base.traced) if base is not None else set(file.traced) & set(table.traced)
    gone = (was - set(table.traced)) | (was - set(file.traced))
    return tuple(k for k in dict.fromkeys((*file.traced, *table.traced)) if k not in gone)


def _settings(base: Kept | None, table: Kept, file: Kept) -> dict[str, Any]:
    was = base.table if base is not None else {}
    made: dict[str, Any] = {}
    for key in dict.fromkeys((*file.table, *table.table)):
        one, other = table.table.get(key), file.table.get(key)
        value = one if one != was.get(key) and other == was.get(key) else other
        if value is not None:
            made[key] = value
    return made


def _alike(one: Placement | None, other: Placement | None) -> bool:
    if one is None or other is None:
        return one is other
    return rounded([one]) == rounded([other])


def rounded(lay: Iterable[Placement]) -> list[dict[str, Any]]:
    """A lay to a thousandth of a mm, first to the docket's own digits: what it saved stays alike."""
    return [
        {
            **plain(p),
            "at": [round(round(v, 4), 3) for v in p.at],
            "turn_deg": round(round(p.turn_deg, 6), 5),
        }
        for p in lay
    ]
