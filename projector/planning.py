"""A plan made in the background while she goes on working.

Beside the table: another process plans around what is locked, so that neither the hand nor the
picture ever waits for it, and sends each better lay as plain placements.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import queue
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.placement import Placement


@dataclass(frozen=True)
class Found:
    """A better lay: placements, length used mm, share of the cloth, what found no place."""

    lay: tuple[Placement, ...]
    used_mm: float
    share: float
    left_out: tuple[str, ...]


@dataclass(eq=False)
class Planning:
    """A plan under way. `poll` now and then; `stop` in any case.

    ``best``: the best so far; ``done``: nothing more will come; ``fault``: why there is none.
    """

    docket: Docket
    locked: tuple[Placement, ...]
    seconds: float = 20.0
    best: Found | None = None
    done: bool = False
    fault: str = ""
    _process: Any = field(default=None, repr=False)
    _queue: Any = field(default=None, repr=False)

    def start(self) -> None:
        """Begin."""
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
            elif kind == "fault":
                self.fault, self.done = value, True
            else:
                self.done = True
        if self._process is not None and not self._process.is_alive() and not self.done and not new:
            self.done = new = True
            self.fault = self.fault or ("" if self.best else "The planner stopped without a plan.")
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


def _work(
    out: Any,
    data: Mapping[str, Any],
    path: Path | None,
    locked: Sequence[Placement],
    seconds: float,
) -> None:
    """In the other process: plan, send every better lay, end with a word."""
    from drafting.docket import Docket
    from drafting.errors import DraftingError
    from drafting.lay import plan

    def send(lay: Any) -> bool:
        out.put(("found", Found(lay.docket_placements(), lay.used_length_mm, lay.efficiency,
                                tuple(lay.left_out))))  # fmt: skip
        return True

    try:
        docket = Docket.from_dict(data, path=path)
        if docket.cloth is None:
            out.put(("fault", "No cloth is named in the docket."))
            return
        lay = plan(
            docket.pieces(),
            docket.cloth,
            seconds=seconds,
            locked=locked,
            progress=send,
            distance_mm=docket.distance_mm,
            allowances={**docket.allowances, **docket.piece_allowances},
            quantity=docket.quantity,
        )
        send(lay)
        out.put(("done", ""))
    except DraftingError as error:
        out.put(("fault", " ".join(str(f) for f in error.faults[:2])))
