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
import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from itertools import islice, pairwise
from pathlib import Path
from typing import Any

from projector.picture.view import View
from projector.session.hold import beside
from projector.session.journal import begun, lines_of, written
from projector.session.merge import changed, changes, rounded
from projector.session.rules import History, Work, chain, linked

KEPT = 1000
VERSION = 1


def past_path(docket_path: Path) -> Path:
    """Where the steps of a docket are noted: a hidden file beside it."""
    return beside(docket_path, "steps")


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
                os.write(self._file, written(line))

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

        self._let_go()
        before, after = ([*islice(chain(c), KEPT)] for c in (history.past, history.future))
        states = [*reversed(before), history.now, *after]
        lines: list[dict[str, Any]] = [{"steps": VERSION, **_delta(None, states[0])}]
        lines += [{"then": _delta(a, b)} for a, b in pairwise(states)]
        if after:
            lines.append({"back": len(after)})
        with contextlib.suppress(OSError, ChalkbeamError):
            self._file = begun(self.path, lines)


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


def _last(link: tuple[Work, object] | None) -> tuple[Work, object] | None:
    """A chain cut off after `KEPT` steps."""
    return linked([*islice(chain(link), KEPT)])


def _delta(before: Work | None, after: Work) -> dict[str, Any]:
    """What makes one work the other; from None: everything."""
    line = changes(before, after)
    if before is None or before.view != after.view:
        line["view"] = after.view.to_dict()
    return line


def _with(before: Work, line: Mapping[str, Any]) -> Work:
    view = View.from_dict(line["view"], "view") if "view" in line else before.view
    return Work(*changed(before, line), view)


def _read(path: Path, pieces: set[str]) -> History | None:
    """The history in a file; as far as it can be read, None when nothing of it can."""
    history: History | None = None
    lines = lines_of(path)
    for line in lines:
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
    """Whether both would be saved alike: the docket rounds places."""
    return (
        rounded(one.lay) == rounded(other.lay)
        and one.traced == other.traced
        and one.view.to_dict() == other.view.to_dict()
    )
