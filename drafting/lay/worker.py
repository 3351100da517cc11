"""A planner in a process of its own: reads a job, writes better and better states.

Started by `planner` as a plain interpreter with two pipes, so it works from any script (nothing of
the caller is imported again), a panic in a library stays in here, and it can be killed at any time.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import sys
import threading
import time

from drafting.lay.first import State


def main() -> None:
    """Serve one order from standard input, a `State` at a time to standard output.

    The order: keys job, seed, seconds, strip, threads, start (a `State` or None), fresh.
    """
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # a library's own printing must not get between the answers
    source = sys.stdin.buffer
    try:
        order = pickle.load(source)
    except EOFError:
        return

    def leave_with_parent() -> None:
        source.read(1)  # the pipe closes when the parent stops or dies
        os._exit(0)

    def report(state: State, _length: float) -> bool:
        pickle.dump(state, out, pickle.HIGHEST_PROTOCOL)
        out.flush()
        return True

    threading.Thread(target=leave_with_parent, daemon=True).start()
    from drafting.lay.search import Search

    deadline = time.monotonic() + order["seconds"]
    with contextlib.suppress(BrokenPipeError):
        search = Search(order["job"], order["seed"], deadline, report)
        search.run(order["start"], order["strip"], order["threads"], order["fresh"])
