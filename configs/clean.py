"""Nothing from the current folder runs or decides: her folder may hold files of anybody.

Python puts the current folder first on the path of a process that is started with ``-c``, so a
file ``multiprocessing.py`` beside a docket would run in its place; ezdxf takes settings from a
file of its name there. Processes of ours start by `python`, and `library` imports what
reads settings.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

_OWN = Path(__file__).parent  # holds no settings of a library


def python(code: str) -> dict[str, Any]:
    """``args`` and ``cwd`` for `subprocess.Popen`: an interpreter that runs ``code``.

    It finds what this process finds, but nothing in the current folder, and ignores PYTHON*
    variables.
    """
    own = _OWN.parent
    path = [os.path.abspath(p) for p in sys.path if p]  # noqa: PTH100  (links stay as they are)
    here = os.path.abspath(os.curdir) if _is_there() else ""  # noqa: PTH100
    path = [p for p in path if p != here or Path(p) == own]
    head = f"import sys; sys.path[:] = {path!r}\n"
    return {"args": [sys.executable, "-E", "-s", "-P", "-c", head + code], "cwd": str(_OWN)}


def _is_there() -> bool:
    """Whether there is a current folder; it may have been taken away."""
    try:
        Path.cwd()
    except OSError:
        return False
    return True


def safe_path() -> None:
    """Processes that libraries start from now on look for nothing in the current folder."""
    os.environ.setdefault("PYTHONSAFEPATH", "1")


def library(name: str) -> Any:
    """A module, imported out of reach of settings in the current folder.

    Raises:
        ImportError: it is not installed.
    """
    if name in sys.modules:
        return sys.modules[name]
    with _elsewhere():
        return importlib.import_module(name)


@contextlib.contextmanager
def _elsewhere() -> Iterator[None]:
    before = Path.cwd() if _is_there() else None
    os.chdir(_OWN)
    try:
        yield
    finally:
        if before is not None:
            os.chdir(before)
