"""A plan made in the background while she goes on working.

Beside the table: another process plans around what is locked and around the garments that share
the cloth, so that neither the hand nor the picture ever waits for it, and sends each better lay
as plain placements.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import queue
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs import clean

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.placement import Placement


_GIVES_WAY = 10  # of the 19 steps that a system has to put a process behind others


@dataclass(frozen=True)
class Found:
    """A better lay: placements, length used mm, share of the cloth."""

    lay: tuple[Placement, ...]
    used_mm: float
    share: float


@dataclass(eq=False)
class Planning:
    """A plan under way. `poll` now and then; `stop` in any case.

    ``best``: the best so far; ``done``: nothing more will come; ``fault``: why there is none;
    ``note``: what to tell her once (garments on the same cloth that it keeps clear of); ``told``: how
    far it is, for the strip; ``decided``: called when she has taken the best or dropped it. With a
    best from the start, and never started, it shows what she had noted herself.
    """

    docket: Docket
    locked: tuple[Placement, ...]
    seconds: float = 20.0
    best: Found | None = None
    done: bool = False
    fault: str = ""
    note: str = ""
    told: str = "planning …"
    decided: Callable[[], None] = lambda: None
    _process: Any = field(default=None, repr=False)
    _queue: Any = field(default=None, repr=False)

    def start(self) -> None:
        """Begin."""
        clean.safe_path()
        context = multiprocessing.get_context("spawn")
        self._queue = context.Queue()
        args = (self._queue, self.docket.to_dict(), self.docket.path, self.locked, self.seconds)
        self._process = context.Process(target=_work, args=args, daemon=True)
        self._process.start()

    def poll(self) -> bool:
        """Take in what has come; answers whether something is new."""
        new = False
        while self._queue is not None:
            try:
                kind, value = self._queue.get_nowait()
            except (queue.Empty, OSError, EOFError):
                break
            new = True
            if kind == "found":
                self.best = value
            elif kind == "note":
                self.note = value
            elif kind == "fault":
                self.fault, self.done = value, True
            else:
                self.done = True
        if self._process is not None and not self._process.is_alive() and not self.done and not new:
            self.done = new = True
            self.fault = self.fault or ("" if self.best else "The planner stopped without a plan.")
        if self.done:
            self.told = "planned"
        return new

    def stop(self) -> None:
        """Stop it and give everything back."""
        if self._process is not None:
            if self._process.is_alive():
                self._process.terminate()
            self._process.join(timeout=5.0)
            with contextlib.suppress(ValueError):
                self._process.close()
            self._process = None
        if self._queue is not None:
            self._queue.close()
            self._queue.cancel_join_thread()
            self._queue = None
        self.done = True


def _workers() -> int:
    """Processes that help the planner's own: one core stays free for the hand."""
    from drafting.lay.planner import cores

    return max(cores() - 2, 0)


def _work(
    out: Any,
    data: Mapping[str, Any],
    path: Path | None,
    locked: Sequence[Placement],
    seconds: float,
) -> None:
    """In the other process: plan, send every better lay, end with a word."""
    from configs.errors import ChalkbeamError
    from drafting.docket import Docket
    from drafting.lay import Effort, plan
    from projector.session.shares import rules_of, together

    if hasattr(os, "nice"):  # what she drags goes first; the planner's own processes inherit it
        os.nice(_GIVES_WAY)
    try:
        docket = Docket.from_dict(data, path=path)
        if docket.cloth is None:
            out.put(("fault", "No cloth is named in the docket."))
            return
        joined = together([docket])
        if joined.at_the_table:
            out.put(("note", joined.at_the_table))

        def send(lay: Any) -> bool:
            own = tuple(p for p in lay.docket_placements() if joined.own(p.piece))
            out.put(("found", Found(own, lay.used_length_mm, lay.efficiency)))
            return True

        lay = plan(
            joined.pieces,
            docket.cloth,
            seconds=seconds,
            locked=(*locked, *joined.still),
            progress=send,
            rules=rules_of(joined, docket.distance_mm),
            effort=Effort(workers=_workers()),
        )
        send(lay)
        out.put(("done", ""))
    except ChalkbeamError as error:
        out.put(("fault", " ".join(str(f) for f in error.faults[:2])))
