"""A docket to oneself: locks beside it that the system frees, even after kill -9.

`held` keeps a docket for a whole sitting or command; `alone` keeps it for the moment in which it is
read again, changed and written, so that two who write at once lose nothing of each other.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from configs.errors import Fault

_PATIENCE_S = 5.0  # writing takes milliseconds


def beside(docket_path: Path, kind: str) -> Path:
    """A hidden file beside a docket (beside the file itself, not a link to it).

    Raises:
        InputError: it is a folder.
    """
    from configs.errors import InputError

    docket_path = docket_path.resolve()
    if not docket_path.name:
        raise InputError.of(str(docket_path), "is a folder, not a file.")
    return docket_path.with_name(f".{docket_path.name}.{kind}")


def lock_path(docket_path: Path) -> Path:
    """Held while a docket is open at a table."""
    return beside(docket_path, "open")


def _grab(handle: int) -> bool:
    """Take the lock of an open file; answers at once whether nobody else has it.

    The system frees it with the handle. A folder that knows no locks (some network drives) keeps
    nobody out: two tables are then hers to avoid.
    """
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]  # Windows only
        else:
            import fcntl

            # of the open file, not of the process: two tables in one process are told apart too
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return True
    return True


def take(docket_path: Path) -> int:
    """Take the docket for this table; the system gives it back even after kill -9.

    Raises:
        InputError: another table has it, or the folder cannot be written to.
    """
    remedy = "Leave that one first (Q); two would write over each other."
    return _taken(lock_path(docket_path), docket_path, 0.0, "is open at another table.", remedy)


def _taken(path: Path, docket_path: Path, patience_s: float, what: str, remedy: str) -> int:
    """The handle of a lock beside a docket, when nobody else has it any more.

    Raises:
        InputError: somebody else has it all the time, or the folder cannot be written to.
    """
    from configs.errors import InputError

    until = time.monotonic() + patience_s
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise InputError(_closed_folder(docket_path, error.strerror or "")) from error
        free = _grab(handle)
        if free and _is_still(handle, path):
            return handle
        os.close(handle)  # its owner left between our opening and our locking it: the next one
        if not free:
            if time.monotonic() >= until:
                raise InputError.of(str(docket_path), what, remedy)
            time.sleep(0.01)


def _is_still(handle: int, path: Path) -> bool:
    """Whether an open file is the one that bears the name now."""
    try:
        there, ours = path.stat(), os.fstat(handle)
    except OSError:
        return False
    return (there.st_dev, there.st_ino) == (ours.st_dev, ours.st_ino)


def give_back(docket_path: Path, handle: int) -> None:
    """Give the docket back."""
    _release(lock_path(docket_path), handle)


def _release(path: Path, handle: int) -> None:
    """Free a lock; its file goes first, while nobody else can have taken it."""
    gone = False
    with contextlib.suppress(OSError):
        if os.name != "nt":  # there an open file cannot be taken away
            path.unlink()
            gone = True
    os.close(handle)
    if not gone:
        with contextlib.suppress(OSError):
            path.unlink()


def _closed_folder(docket_path: Path, why: str) -> Fault:
    from configs.errors import Fault

    return Fault(
        str(docket_path.parent),
        f"cannot be written to ({why}), so no change could be kept.",
        "Copy the docket into a folder of your own, or free this one for writing.",
    )


def may_write(docket_path: Path) -> None:
    """Whether docket and folder can be written to, asked before she begins.

    Raises:
        InputError: one of them cannot.
    """
    from configs.errors import InputError
    from configs.files import is_protected

    if not os.access(docket_path.parent, os.W_OK):
        raise InputError(_closed_folder(docket_path, "it is write-protected"))
    if is_protected(docket_path):
        raise InputError.of(
            str(docket_path),
            "is write-protected, so no change could be kept.",
            "Copy it, or take the protection off.",
        )


@contextlib.contextmanager
def held(docket_path: Path) -> Iterator[None]:
    """Keep a docket to oneself for a while, as a table does: nobody else writes to it.

    Raises:
        InputError: it is open at a table, or its folder cannot be written to.
    """
    handle = take(docket_path)
    try:
        yield
    finally:
        give_back(docket_path, handle)


@contextlib.contextmanager
def alone(docket_path: Path) -> Iterator[None]:
    """Keep everybody else from writing a docket while it is read again, changed and written.

    Raises:
        InputError: another one holds it for seconds, or its folder cannot be written to.
    """
    path = beside(docket_path, "saving")
    handle = _taken(
        path, docket_path, _PATIENCE_S, "is being written by another program.", "Try again."
    )
    try:
        yield
    finally:
        _release(path, handle)
