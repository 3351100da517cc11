"""Where a command is told to write: looked at before any work is done.

A folder that is not there is made, and said, when the folder that it goes into is there. Where
that one is missing too, the name is more likely mistyped than meant: it is refused at once.
"""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

import click


class _Place(click.Path):
    """A path to write to; ``folder``: it is the folder itself, not a file in it."""

    def __init__(self, *, folder: bool = False) -> None:
        super().__init__(path_type=Path, file_okay=not folder)
        self.folder = folder

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """The path.

        Raises:
            InputError: its folder is missing, and the one which that would be in.
        """
        path = Path(str(super().convert(value, param, ctx)))
        folder = path if self.folder else path.parent
        if folder.exists() or path.is_symlink():
            return path
        if not folder.absolute().parent.exists():
            raise _no_such_place(path, folder, param)
        told = ctx.meta.setdefault(__name__, set()) if ctx is not None else set()
        if ctx is not None and folder not in told:
            told.add(folder)
            ctx.call_on_close(lambda: _say_made(folder))
        return path


def _say_made(folder: Path) -> None:
    if folder.is_dir():  # else the command ended before it wrote anything
        click.echo(f"Made the folder {folder}.", err=True)


def _no_such_place(path: Path, folder: Path, param: click.Parameter | None) -> Exception:
    from configs.errors import Fault, InputError

    missing = folder.absolute()
    while not missing.parent.exists():
        missing = missing.parent
    try:
        there = [p.name for p in missing.parent.iterdir() if p.is_dir()]
    except OSError:
        there = []
    near = difflib.get_close_matches(missing.name, there, 1, 0.6)
    hint = f" Did you mean '{near[0]}' there?" if near else ""
    where = max(param.opts, key=len) if isinstance(param, click.Option) else str(path)
    return InputError(
        Fault(
            f"{where} {path}" if isinstance(param, click.Option) else where,
            f"there is no folder '{missing.name}' in {missing.parent}.",
            f"Check the name, or make the folder first.{hint}",
        )
    )


OUT_FILE = _Place()
OUT_FOLDER = _Place(folder=True)
