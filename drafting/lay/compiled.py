"""Whether the compiled loops (`kernels`) are ready on this machine, and how they get there.

numba compiles them once for each machine and keeps the result in the cache folder; that takes some
seconds, and nobody is to wait for it. So a planner asks `ready` first and does without them until
they are; the first plan on a machine has them made beside it, at low priority, by `make_beside`.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.metadata
import os
import platform
import shutil
import subprocess
import sys
import threading
import time
from functools import cache
from pathlib import Path
from typing import Any

from configs import clean

_STAMP = "ready"
_BUSY = "busy"
_FAILED = "failed"
_STALE_S = 180.0  # a compiler that has not come to an end by then was killed
_KEPT = 4  # folders of other versions


@cache
def _folder() -> Path | None:
    """Where the compiled loops of this version lie on this machine; None without numba or a home."""
    try:
        from platformdirs import user_cache_path

        # numba knows what it has compiled by the file's path and time
        source = Path(__file__).with_name("kernels.py")
        parts = [importlib.metadata.version(name) for name in ("numba", "numpy")]
        parts += [sys.version, platform.node(), platform.machine()]
        parts += [str(source), str(source.stat().st_mtime_ns), str(source.stat().st_size)]
        mark = hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]
        return user_cache_path("chalkbeam", appauthor=False) / "compiled" / mark
    except (importlib.metadata.PackageNotFoundError, OSError, RuntimeError):
        return None


def ready() -> bool:
    """Whether the loops can be imported now without compiling anything."""
    folder = _folder()
    return folder is not None and (folder / _STAMP).exists()


def loops() -> Any:
    """The module `kernels`, its cache where `ready` looks for it.

    Raises:
        RuntimeError: numba is not installed.
    """
    folder = _folder()
    if folder is None:
        raise RuntimeError("numba, which compiles the lay's inner loops, is not installed.")
    config: Any = clean.library("numba").config
    config.CACHE_DIR = str(folder)
    from drafting.lay import kernels

    return kernels


def make() -> bool:
    """Compile the loops now, some seconds; False where that cannot be done."""
    if ready():
        return True
    folder = _folder()
    if folder is None:
        return False
    busy = folder / _BUSY
    try:
        folder.mkdir(parents=True, exist_ok=True)
        busy.write_text(str(os.getpid()), encoding="ascii")
        from drafting.lay.front import warm_up

        warm_up()
        (folder / _STAMP).write_text("", encoding="ascii")
    except OSError:
        return False  # a cache that cannot be written: plans go on without
    except Exception as error:  # whatever the compiler says: it would say it again
        (folder / _FAILED).write_text(f"{type(error).__name__}: {error}", encoding="utf-8")
        return False
    finally:
        with contextlib.suppress(OSError):
            busy.unlink()
    with contextlib.suppress(OSError):
        others = [p for p in folder.parent.iterdir() if p.is_dir() and p != folder]
        for old in sorted(others, key=lambda p: p.stat().st_mtime)[: -_KEPT or None]:
            shutil.rmtree(old, ignore_errors=True)
    return True


def make_beside() -> None:
    """Have the loops compiled by a process of its own, if they are not and none is at it."""
    folder = _folder()
    if folder is None or ready() or not sys.executable or (folder / _FAILED).exists():
        return
    with contextlib.suppress(OSError):
        if time.time() - (folder / _BUSY).stat().st_mtime < _STALE_S:
            return
    apart: dict[str, Any] = (
        {
            "creationflags": getattr(subprocess, "BELOW_NORMAL_PRIORITY_CLASS", 0)
            | getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
            | getattr(subprocess, "CREATE_NO_WINDOW", 0)
        }
        if os.name == "nt"
        else {"start_new_session": True}
    )
    code = (
        "import os; getattr(os, 'nice', lambda by: None)(5)\n"
        "from drafting.lay.compiled import make; make()"
    )
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        (folder / _BUSY).write_text("", encoding="ascii")
        made = subprocess.Popen(
            **clean.python(code),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            **apart,
        )
        threading.Thread(target=made.wait, daemon=True).start()  # so that it leaves nothing behind
