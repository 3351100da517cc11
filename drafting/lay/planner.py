"""Plan a lay: a valid one at once, better ones while the person watches, the best one kept.

The only entrance to the planners. Workers search in processes of their own, one a core; each of
their answers is checked exactly before it replaces the last. Where no process can be started, or
for a second or less, the search runs in this one.
"""

from __future__ import annotations

import contextlib
import dataclasses
import math
import os
import pickle
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from configs import clean
from configs.errors import LayError
from drafting.cloth import Cloth
from drafting.lay.check import is_sound
from drafting.lay.cuts import laid_piece
from drafting.lay.first import State, first_plan
from drafting.lay.job import LOWER, Job, make_job
from drafting.lay.laid import LaidPiece, lower_steps, placement_of
from drafting.lay.model import Lay
from drafting.lay.rules import Rules
from drafting.piece import Piece

Progress = Callable[[Lay], Any]
_Inbox = queue.Queue[State | None]  # a worker's answer, or None at its end

_TICK_S = 0.25  # how often progress is told even when nothing better was found
_ALONE_S = 1.2  # with less time than this a process would hardly have started
_WARM_UP_S = 1.5  # how long this process searches too, until the first of them answers
_MOST_WORKERS = 8
_FEW_PIECES = 120  # up to which our own search holds its own against the strip library
_MOST_THREADS = 3  # of the strip library; more bring it little
_NO_GAIN_MM = 1e-3


@dataclass(frozen=True)
class Effort:
    """How a plan is looked for: what changes no rule, only what is found and when.

    ``seed``: for the same plan again; ``workers``: processes, one a core by default, 0 for none;
    ``library``: False leaves plain strips to our own planner too.
    """

    seed: int | None = None
    workers: int | None = None
    library: bool = True


def plan(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    cloth: Cloth,
    seconds: float = 10.0,
    locked: Iterable[Any] = (),
    progress: Progress | None = None,
    *,
    rules: Rules | None = None,
    start: Iterable[Any] = (),
    effort: Effort | None = None,
) -> Lay:
    """Lay pieces on cloth so that little of it is used.

    ``seconds``: how long to look for better lays; ``locked``: placements (or laid pieces, or
    mappings with piece, copy, at, turn, mirrored) that stay where they are; ``progress``: called
    with every better lay and about four times a second with the best so far (its ``seconds_left``
    counting down), answers False to stop; ``rules``: distance between cutting lines (5 mm by
    default, as in a docket), allowances, how often all is cut; ``start``: placements to go on from. Ctrl-C stops the search and keeps the best.

    Raises:
        LayError: pieces, cloth or locked placements that cannot be used, all named at once.
    """
    job = make_job(pieces, cloth, rules, locked)
    return plan_job(job, seconds, start=start, progress=progress, effort=effort)


def plan_job(
    job: Job,
    seconds: float,
    *,
    start: Iterable[Any] = (),
    progress: Progress | None = None,
    effort: Effort | None = None,
    enough: Callable[[Lay], bool] | None = None,
) -> Lay:
    """The same for a job that is made already; ``enough``: of which lay there is no more to wish.

    Raises:
        LayError: ``seconds`` is no number of seconds.
    """
    began = time.monotonic()
    effort = effort or Effort()
    if not math.isfinite(seconds) or seconds < 0:
        raise LayError(f"{seconds!r} is not a number of seconds to plan for.")
    seed = int(np.random.SeedSequence(effort.seed).generate_state(1)[0])
    run = _Run(job, began, float(seconds), progress, seed, enough)
    count = cores() if effort.workers is None else effort.workers
    # one worker cannot better a lone piece, and nothing can better an empty job
    alone = seconds < _ALONE_S or count <= 0
    team: list[_Worker] = []
    try:
        run.offer(first_plan(job))
        earlier = _start_state(job, start)
        if earlier is not None:
            run.offer(earlier)
        if not job.items or seconds == 0:
            if run.state is not None and not run.stopped:
                from drafting.lay.compact import Compactor

                run.offer(Compactor(job).compact(run.state)[0])
            run.stopped = True
        if not run.stopped and not alone:
            team = _hire(job, run, min(count, _MOST_WORKERS), effort.library)
        if team:
            if not team[0].order["strip"]:  # the library soon has a plan, and needs the cores
                run.search_here(_WARM_UP_S, team[0].inbox)  # while the processes come up
            run.watch(team)
        elif not run.stopped:
            run.search_here()
    except KeyboardInterrupt:
        run.interrupted = True
    finally:
        for worker in team:
            worker.stop()
    return run.result()


def lay_as_it_is(
    pieces: Mapping[str, Piece] | Iterable[Piece],
    cloth: Cloth,
    placements: Iterable[Any],
    rules: Rules | None = None,
) -> Lay:
    """A lay from placements as they are, sound or not (`Lay.problems` tells); nothing is moved.

    Placements of pieces that are not cut here are passed over; what is missing is left out.

    Raises:
        LayError: pieces or cloth that cannot be used.
    """
    job = make_job(pieces, cloth, rules)
    laid: list[LaidPiece] = []
    rest = [job.key(item) for item in job.items]
    for where in map(placement_of, placements):
        if where.key in rest:
            rest.remove(where.key)
            laid.append(laid_piece(job.specs[where.piece], cloth, where))
    notes = (*job.notes, *lower_steps(laid))
    return Lay(tuple(laid), cloth, job.distance, tuple(rest), notes, job=job)


def cores() -> int:
    """Processor cores that this process may use."""
    with contextlib.suppress(AttributeError, OSError):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _start_state(job: Job, placements: Iterable[Any]) -> State | None:
    """An earlier lay as a state: what still fits the job; None when nothing does."""
    state = State.empty(len(job.items))
    number = {job.key(item): i for i, item in enumerate(job.items)}
    for p in map(placement_of, placements):
        i = number.pop(p.key, None)
        for s, stance in enumerate(() if i is None else job.kind_of(i).stances):
            gap = abs((stance.turn - p.turn_deg + 180.0) % 360.0 - 180.0)
            below = (stance.layers == LOWER) == p.lower
            if gap < 1e-3 and stance.mirrored == p.mirrored and below:
                state.stance[i], state.at[i] = s, p.at
    return state if (state.stance >= 0).any() else None


@dataclass
class _Run:
    """The best lay so far and who is told about it."""

    job: Job
    began: float
    seconds: float
    progress: Progress | None
    seed: int
    enough: Callable[[Lay], bool] | None
    state: State | None = None
    lay: Lay | None = None
    rank: tuple[float, float] = (math.inf, math.inf)
    stopped: bool = False
    interrupted: bool = False

    def left(self) -> float:
        """Seconds until the deadline."""
        return max(0.0, self.began + self.seconds - time.monotonic())

    def offer(self, state: State) -> bool:
        """Take a state over if it is better and passes the exact check; False to stop."""
        lay = lay_of(self.job, state, time.monotonic() - self.began, self.left())
        missing = np.flatnonzero(state.stance < 0).tolist()
        rank = (sum(self.job.kind_of(i).area for i in missing), lay.used_length_mm)
        better = rank[0] < self.rank[0] - 1e-6 or (
            rank[0] <= self.rank[0] + 1e-6 and rank[1] < self.rank[1] - _NO_GAIN_MM
        )
        if better and is_sound(self.job, state):
            self.state, self.lay, self.rank = state, lay, rank
            self.tell()
            if self.enough is not None and self.enough(lay):
                self.stopped = True
        return not self.stopped

    def tell(self) -> None:
        """Tell the best so far; False in answer stops the search."""
        if self.progress is None or self.lay is None:
            return
        shown = dataclasses.replace(
            self.lay, seconds=time.monotonic() - self.began, seconds_left=self.left()
        )
        if self.progress(shown) is False:
            self.stopped = True

    def watch(self, team: list[_Worker]) -> None:
        """Collect the workers' states until time is up, all have ended, or she stops it."""
        inbox = team[0].inbox
        last = time.monotonic()
        while not self.stopped:
            going = self.left() > 0 and any(w.working for w in team)
            try:
                state = inbox.get(going, min(_TICK_S, max(self.left(), 0.01)))
            except queue.Empty:
                if not going:
                    break
                state = None
            if state is not None:
                self.offer(state)
            if going and time.monotonic() - last >= _TICK_S and not self.stopped:
                last = time.monotonic()
                self.tell()
        if not self.stopped and self.left() > 0.5 and not any(w.answered for w in team):
            self.search_here()  # not one process came up

    def search_here(self, seconds: float = math.inf, inbox: _Inbox | None = None) -> None:
        """Search in this process until time is up, for ``seconds`` or until an answer lies in."""
        from drafting.lay.search import Search

        def report(state: State, _length: float) -> bool:
            return self.offer(state)

        def tick() -> bool:
            self.tell()
            return not self.stopped and (inbox is None or inbox.empty())

        deadline = time.monotonic() + min(self.left(), seconds)
        search = Search(self.job, self.seed, deadline, report, tick)
        search.run(start=self.state)

    def result(self) -> Lay:
        """The best lay, final."""
        # it may be interrupted before the first plan
        lay = self.lay or lay_of(self.job, State.empty(len(self.job.items)), 0.0)
        if self.state is not None and any(p.lower and not p.locked for p in lay.placements):
            lay = lay_of(self.job, _lifted(self.job, self.state), 0.0)
        return dataclasses.replace(
            lay,
            seconds=time.monotonic() - self.began,
            seconds_left=0.0,
            interrupted=self.interrupted,
        )


class _Worker:
    """One planner in a process of its own, its answers put into a shared inbox."""

    def __init__(self, order: dict[str, Any], inbox: _Inbox) -> None:
        self.inbox = inbox
        self.working = True
        self.answered = False
        threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        apart: dict[str, Any] = (
            {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
            if os.name == "nt"
            else {"start_new_session": True}  # Ctrl-C is for the parent to handle
        )
        self.process = subprocess.Popen(
            **clean.python("from drafting.lay.worker import main; main()"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **threads},
            **apart,
        )
        self.order = order
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        try:
            assert self.process.stdin is not None
            assert self.process.stdout is not None
            pickle.dump(self.order, self.process.stdin, pickle.HIGHEST_PROTOCOL)
            self.process.stdin.flush()
            while True:
                answer = pickle.load(self.process.stdout)
                self.answered = True
                self.inbox.put(answer)
        except (OSError, ValueError, EOFError, pickle.UnpicklingError):
            pass  # at its end, killed, or its pipes closed: there is nothing more to read
        finally:
            self.working = False
            self.inbox.put(None)

    def stop(self) -> None:
        """End the process now."""
        with contextlib.suppress(OSError):
            self.process.kill()
        with contextlib.suppress(subprocess.TimeoutExpired, OSError):
            self.process.wait(timeout=2.0)
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError, ValueError):
                    pipe.close()


def _hire(job: Job, run: _Run, count: int, library: bool) -> list[_Worker]:
    """Start the workers; fewer, or none, where the system does not let us."""
    inbox: _Inbox = queue.Queue()
    team: list[_Worker] = []
    if not sys.executable:
        return team
    strip = library and job.plain
    # few pieces: the library beside our own search, the better one kept; many: it has all it can use
    two_sided = len({s.mirrored for k in job.kinds for s in k.stances}) > 1
    few = len(job.items) <= _FEW_PIECES or two_sided
    threads = 1 if few else min(count, _MOST_THREADS)
    workers = max(2 if strip else 1, count) if not strip or few else 1 + count - threads
    for w in range(workers):
        order = {
            "job": job,
            "seed": run.seed + w,
            "seconds": run.left() - 0.05,
            "strip": strip and w == 0,
            "threads": threads,
            "start": run.state,
            "fresh": w % 2 == 1,  # so that they do not all set out from the same plan
        }
        try:
            team.append(_Worker(order, inbox))
        except OSError:
            break
    return team


def _lifted(job: Job, state: State) -> State:
    """What lies in the lower layer though the upper one has room for it is cut from the upper one."""
    from drafting.lay.first import Constructor

    kinds = [
        dataclasses.replace(k, stances=tuple(s for s in k.stances if s.layers != LOWER))
        for k in job.kinds  # those of the lower layer come last, so the others keep their numbers
    ]
    end = _end(job, state)
    builder = Constructor(dataclasses.replace(job, kinds=tuple(kinds)), end - job.start)
    laid = np.flatnonzero(state.stance >= 0).tolist()
    below = [i for i in laid if job.stance_of(i, state.stance).layers == LOWER]
    for i in sorted(below, key=lambda i: job.kind_of(i).area):
        rest = state.copy()
        rest.stance[below] = -1
        made = builder.run([i], start=rest)
        if made.stance[i] >= 0:
            tried = state.copy()
            tried.stance[i], tried.at[i] = made.stance[i], made.at[i]
            if _end(job, tried) <= end + _NO_GAIN_MM and is_sound(job, tried):
                state = tried
                below = [k for k in below if k != i]
    return state


def _end(job: Job, state: State) -> float:
    """How far a state reaches, x in mm."""
    return max(
        (float(p.outline_mm[:, 0].max()) for p in job.laid_all(state.stance, state.at)),
        default=job.start,
    )


def lay_of(job: Job, state: State, seconds: float, left: float = 0.0) -> Lay:
    """The lay of a state."""
    missing = tuple(job.key(item) for i, item in enumerate(job.items) if state.stance[i] < 0)
    laid = tuple(job.laid_all(state.stance, state.at))
    return Lay(
        laid,
        job.cloth,
        job.distance,
        missing,
        (*job.notes, *lower_steps(laid)),
        seconds,
        left,
        False,
        job,
    )
