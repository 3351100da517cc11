"""A planner in a process of its own: reads a job, writes better and better states.

Started by `planner` as a plain interpreter with two pipes, so it works from any script (nothing of
the caller is imported again), a panic in a library stays in here, and it can be killed at any time.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import struct
import sys
import threading
import time
from typing import IO, Any

from drafting.lay.first import State

_HEAD = struct.Struct("<Q")


def write_frame(stream: IO[bytes], payload: Any) -> None:
    """Write one object with its length before it."""
    data = pickle.dumps(payload, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(_HEAD.pack(len(data)) + data)
    stream.flush()


def read_frame(stream: IO[bytes]) -> Any:
    """Read one object, or None at the end of the stream."""
    head = stream.read(_HEAD.size)
    if len(head) < _HEAD.size:
        return None
    (size,) = _HEAD.unpack(head)
    data = stream.read(size)
    return pickle.loads(data) if len(data) == size else None


def main() -> None:
    """Serve one job from standard input, answers to standard output."""
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # a library's own printing must not get between the frames
    source = sys.stdin.buffer
    order = read_frame(source)
    if order is None:
        return

    def leave_with_parent() -> None:
        source.read(1)  # the pipe closes when the parent stops or dies
        os._exit(0)

    threading.Thread(target=leave_with_parent, daemon=True).start()
    with contextlib.suppress(BrokenPipeError):
        serve(order, out)


def serve(order: dict[str, Any], out: IO[bytes]) -> None:
    """Plan as ordered: keys job, seed, seconds, strip, threads, start (a `State` or None),
    fresh."""
    from drafting.lay.search import Search

    deadline = time.monotonic() + float(order["seconds"])

    def report(state: State, length: float) -> bool:
        write_frame(out, (state, length))
        return True

    search = Search(order["job"], int(order["seed"]), deadline, report)
    search.run(
        start=order.get("start"),
        strip=bool(order.get("strip")),
        threads=int(order.get("threads", 1)),
        fresh=bool(order.get("fresh")),
    )
