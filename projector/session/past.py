"""Past: undo and redo kept from one sitting to the next.

Beside the journal, which holds the work as it stands: here the steps that led to it are noted,
one short line each, in a hidden file beside the docket. At the table there is no limit; of what
was done in earlier sittings the last `KEPT` steps come back. When the work is not where the last
line left it (the plug was pulled in the middle of a drag, `lay` planned anew), the difference
becomes one more step, so undoing still leads back through everything. A file that does not go
with the docket's pieces any more is left aside, and a disk that refuses costs only this comfort.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from projector.picture.view import View
from projector.session.merge import marks_from, placement_from, plain
from projector.session.rules import History, Work

if TYPE_CHECKING:
    from drafting.placement import Placement

KEPT = 1000
_MOST_BYTES = 64_000_000
VERSION = 1


def past_path(docket_path: Path) -> Path:
    """Where the steps of a docket are noted: a hidden file beside it."""
    docket_path = docket_path.resolve()
    return docket_path.with_name(f".{docket_path.name}.steps")


@dataclass(eq=False)
class Past:
    """The file of one docket's steps. `note` after every finished change."""

    path: Path
    _last: History | None = None
    _file: int = field(default=-1, repr=False)

    @classmethod
    def open(cls, docket_path: Path, work: Work, pieces: Collection[str]) -> tuple[Past, History]:
        """The history of a docket that stands at ``work``.

        Args:
            pieces: names of the docket's pieces; steps with others are of another garment.
        """
        made = cls(past_path(docket_path))
        found = _read(made.path, set(pieces))
        history = History(work)
        if found is not None and _alike(found.now, work):
            history = History(work, _last(found.past), _last(found.future))
        elif found is not None:
            history = History(work, _last((found.now, found.past)), None)
        made._last = history
        made._anew(history)  # even with no step yet: a drag that is cut off began somewhere
        return made, history

    def note(self, history: History) -> None:
        """Note what has changed since the last note (nothing when nothing has)."""
        last, self._last = self._last, history
        if last is None or history is last:
            return
        line = _step(last, history)
        if line is None:
            self._anew(history)
        elif line:
            if self._file < 0:
                self._anew(last)
            with contextlib.suppress(OSError):
                os.write(self._file, _written(line))

    def close(self) -> None:
        """Give the file back; it stays for the next sitting when there is a step in it."""
        self._let_go()
        last = self._last
        if last is None or (last.past is None and last.future is None):
            with contextlib.suppress(OSError):
                self.path.unlink()

    def _let_go(self) -> None:
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def _anew(self, history: History) -> None:
        """The file written whole: the oldest state kept, and the steps from it on."""
        from configs.errors import ChalkbeamError
        from configs.files import write_atomic

        self._let_go()
        before, after = _chain(history.past, KEPT), _chain(history.future, KEPT)
        states = [*reversed(before), history.now, *after]
        lines: list[dict[str, Any]] = [{"steps": VERSION, **_delta(None, states[0])}]
        lines += [{"then": _delta(a, b)} for a, b in pairwise(states)]
        if after:
            lines.append({"back": len(after)})
        with contextlib.suppress(OSError, ChalkbeamError):
            write_atomic(self.path, b"".join(_written(line) for line in lines))
            flags = os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0)
            self._file = os.open(self.path, flags)


def _step(last: History, now: History) -> dict[str, Any] | None:
    """How one history follows from the other: {} not at all, None by more than one step."""
    if now.now == last.now and now.past is last.past and now.future is last.future:
        return {}
    if _grew(now.past, last) and now.future is None:
        return {"then": _delta(last.now, now.now)}
    if last.past is not None and now.past is last.past[1] and _grew(now.future, last, ahead=True):
        return {"back": 1}
    if last.future is not None and now.future is last.future[1] and _grew(now.past, last):
        return {"forth": 1}
    return None


def _grew(link: tuple[Work, object] | None, last: History, *, ahead: bool = False) -> bool:
    """Whether a chain is the last one with the work of then on top."""
    rest = last.future if ahead else last.past
    return link is not None and link[1] is rest and link[0] == last.now


def _chain(link: object, most: int) -> list[Work]:
    """The works of a chain, the nearest first."""
    out: list[Work] = []
    while link is not None and len(out) < most:
        out.append(link[0])  # type: ignore[index]  # recursive
        link = link[1]  # type: ignore[index]  # recursive
    return out


def _last(link: tuple[Work, object] | None) -> tuple[Work, object] | None:
    """A chain cut off after `KEPT` steps."""
    made: tuple[Work, object] | None = None
    for work in reversed(_chain(link, KEPT)):
        made = (work, made)
    return made


def _delta(before: Work | None, after: Work) -> dict[str, Any]:
    """What makes one work the other; from None: everything."""
    line: dict[str, Any] = {}
    if before is None or [p.key for p in before.lay] != [p.key for p in after.lay]:
        line["lay"] = [plain(p) for p in after.lay]
    elif before.lay != after.lay:
        line["moved"] = [plain(q) for p, q in zip(before.lay, after.lay, strict=True) if p != q]
    if before is None or before.traced != after.traced:
        line["traced"] = list(after.traced)
    if before is None or before.view != after.view:
        line["view"] = after.view.to_dict()
    return line


def _with(before: Work, line: Mapping[str, Any]) -> Work:
    lay: tuple[Placement, ...] = before.lay
    if "lay" in line:
        lay = tuple(placement_from(p) for p in line["lay"])
    if "moved" in line:
        moved = {p.key: p for p in map(placement_from, line["moved"])}
        lay = tuple(moved.get(p.key, p) for p in lay)
    traced = marks_from(line["traced"]) if "traced" in line else before.traced
    view = View.from_dict(line["view"], "view") if "view" in line else before.view
    return Work(lay, traced, view)


def _read(path: Path, pieces: set[str]) -> History | None:
    """The history in a file; as far as it can be read, None when nothing of it can."""
    from configs.errors import InputError
    from configs.files import json_record, read_text

    try:
        lines = read_text(path, _MOST_BYTES).splitlines()
    except InputError:
        return None
    history: History | None = None
    for text in lines:
        line = json_record(text)
        if line is None:
            break  # a torn last line
        try:
            if history is None:
                if line["steps"] != VERSION:
                    return None
                history = History(_with(Work((), (), View()), line))
            elif "then" in line:
                history = history.then(_with(history.now, line["then"]))
            for _ in range(min(int(line.get("back", 0)), len(lines))):
                history = history.back()
            for _ in range(min(int(line.get("forth", 0)), len(lines))):
                history = history.forth()
        except (ValueError, TypeError, KeyError, AttributeError):
            break
        if not {p.piece for p in history.now.lay} <= pieces:
            return None
    return history


def _alike(one: Work, other: Work) -> bool:
    """Whether both would be saved alike: the docket rounds the places of its lay."""

    def written(work: Work) -> Any:
        lay = [
            {**plain(p), "at": [round(v, 3) for v in p.at], "turn_deg": round(p.turn_deg, 4)}
            for p in work.lay
        ]
        v = work.view
        view = (round(v.turn_deg, 4), round(v.at[0], 2), round(v.at[1], 2), v.mirror, v.side)
        return lay, work.traced, view

    return bool(written(one) == written(other))


def _written(line: Mapping[str, Any]) -> bytes:
    return (json.dumps(line, separators=(",", ":"), ensure_ascii=False) + "\n").encode()
