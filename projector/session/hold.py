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

# a pipe of that name must not hold us
_LOOK = os.O_RDWR if os.name == "nt" else os.O_RDONLY | os.O_NONBLOCK
_PATIENCE_S = 5.0  # writing takes milliseconds


def lock_path(docket_path: Path) -> Path:
    """Held while a docket is open at a table."""
    docket_path = docket_path.resolve()
    return docket_path.with_name(f".{docket_path.name}.open")


def _grab(handle: int, *, shared: bool = False) -> bool:
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
            fcntl.flock(handle, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return True
    return True


def is_open(docket_path: Path) -> bool:
    """Whether a docket is open at a table now: its lock is held by somebody who is alive."""
    try:
        handle = os.open(lock_path(docket_path), _LOOK)
    except OSError:
        return False
    try:
        return not _grab(handle, shared=True)
    finally:
        os.close(handle)


def take(docket_path: Path) -> int:
    """Take the docket for this table; the system gives it back even after kill -9.

    Raises:
        InputError: another table has it, or the folder cannot be written to.
    """
    from configs.errors import Fault, InputError

    path = lock_path(docket_path)
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise InputError(_closed_folder(docket_path, error.strerror or "")) from error
        if not _grab(handle):
            os.close(handle)
            raise InputError(
                Fault(
                    str(docket_path),
                    "is open at another table.",
                    "Leave that one first (Q); two would write over each other.",
                )
            )
        if _is_still(handle, path):
            return handle
        os.close(handle)  # its owner left between our opening and our locking it: the next one


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
    from configs.errors import Fault, InputError
    from configs.files import is_protected

    if not os.access(docket_path.parent, os.W_OK):
        raise InputError(_closed_folder(docket_path, "it is write-protected"))
    if is_protected(docket_path):
        raise InputError(
            Fault(
                str(docket_path),
                "is write-protected, so no change could be kept.",
                "Copy it, or take the protection off.",
            )
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


def _saving_path(docket_path: Path) -> Path:
    docket_path = docket_path.resolve()
    return docket_path.with_name(f".{docket_path.name}.saving")


@contextlib.contextmanager
def alone(docket_path: Path) -> Iterator[None]:
    """Keep everybody else from writing a docket while it is read again, changed and written.

    Raises:
        InputError: another one holds it for seconds, or its folder cannot be written to.
    """
    from configs.errors import Fault, InputError

    path = _saving_path(docket_path)
    until = time.monotonic() + _PATIENCE_S
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise InputError(_closed_folder(docket_path, error.strerror or "")) from error
        if _grab(handle) and _is_still(handle, path):
            break
        os.close(handle)
        if time.monotonic() > until:
            raise InputError(
                Fault(str(docket_path), "is being written by another program.", "Try again.")
            )
        time.sleep(0.01)
    try:
        yield
    finally:
        _release(path, handle)
