"""The files of a command: what it reads, where it writes; looked at before any work is done.

A folder that is not there is made, and said, when the folder that it goes into is there. Where
that one is missing too, the name is more likely mistyped than meant: it is refused at once. What
may be written over is one rule for all commands: `projector.output`.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs.errors import ChalkbeamError, Fault, InputError
from projector import output
from projector.next_step import after
from projector.output import Kind

if TYPE_CHECKING:
    from drafting import Docket

FILE: Any = click.Path(path_type=Path)  # that is read only


class Place(click.Path):
    """A path to write to; ``folder``: it is the folder itself, not a file in it.

    ``kind``: what is written there; ``beside``: suffix → kind of what is written beside it;
    ``edited``: from the options to whether the file is read and written back; without it the
    file is replaced.
    """

    def __init__(
        self,
        kind: Kind | None = None,
        *,
        beside: Mapping[str, Kind] | None = None,
        edited: Callable[[Mapping[str, Any]], bool] | None = None,
    ) -> None:
        super().__init__(path_type=Path, file_okay=kind is not None)
        self.kind = kind
        self.beside = dict(beside or {})
        self.edited = edited

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """The path.

        Raises:
            InputError: its folder is missing, and the one which that would be in.
        """
        path = Path(str(super().convert(value, param, ctx)))
        folder = path.parent if self.kind is not None else path
        if folder.exists() or path.is_symlink():
            return path
        if not folder.absolute().parent.exists():
            raise _no_such_place(path, folder, param)
        told = ctx.meta.setdefault(__name__, set()) if ctx is not None else set()
        if ctx is not None and folder not in told:
            told.add(folder)
            ctx.call_on_close(lambda: _say_made(ctx))
        return path


class Command(click.Command):
    """A command whose files are looked at before it begins: nothing of hers is written over.

    When it is done it says which command is the next sensible one.
    """

    def invoke(self, ctx: click.Context) -> Any:
        """Run it.

        Raises:
            drafting.InputError: each file that must not be written to.
        """
        reads: list[tuple[str, Path]] = []
        writes: list[tuple[str, Path, Kind, bool]] = []
        for param in self.params:
            kind = param.type
            given = ctx.params.get(param.name or "")
            option = max(param.opts, key=len) if isinstance(param, click.Option) else ""
            for path in given if isinstance(given, tuple | list) else (given,):
                if not isinstance(path, Path):
                    continue
                if not isinstance(kind, Place):
                    reads.append((option, path))
                elif kind.kind is not None:
                    edits = kind.edited is not None
                    if kind.edited is not None and not kind.edited(ctx.params):
                        reads.append((option, path))
                        continue
                    writes.append((option, path, kind.kind, edits))
                    for suffix, other in kind.beside.items() if path.name.strip(".") else ():
                        writes.append((option, path.with_suffix(suffix), other, False))
        output.look_over(reads, writes)
        try:
            code = super().invoke(ctx)
        except click.exceptions.Exit as left:
            _say_next(ctx, left.exit_code)
            raise
        _say_next(ctx, code if isinstance(code, int) else 0)
        return code


def _say_next(ctx: click.Context, code: int) -> None:
    _say_made(ctx)
    words = " ".join(ctx.command_path.split()[1:])
    if not ctx.params.get("as_json") and (line := after(words, ctx.params, code)):
        click.echo(f"Next: {line}")


def _say_made(ctx: click.Context) -> None:
    """Which folders were made, once."""
    for folder in sorted(ctx.meta.pop(__name__, ())):
        if folder.is_dir():  # else the command ended before it wrote anything
            click.echo(f"Made the folder {folder}.", err=True)


def _no_such_place(path: Path, folder: Path, param: click.Parameter | None) -> Exception:
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
    return InputError.of(
        f"{where} {path}" if isinstance(param, click.Option) else where,
        f"there is no folder '{missing.name}' in {missing.parent}.",
        f"Check the name, or make the folder first.{hint}",
    )


OUT_FOLDER = Place()


def taken(paths: Sequence[Path], *, alone: bool) -> tuple[list[Docket], list[str]]:
    """Dockets as the table left them, with what its journals still hold; and what to say of it.

    Args:
        alone: to be written to: each is kept from every table until the command ends.

    Raises:
        InputError: one is open at a table (every such one is named), or has faults.
    """
    from projector.session.hold import held
    from projector.session.shares import as_noted

    if alone:
        faults: list[Fault] = []
        for path in dict.fromkeys(p.resolve() for p in paths):
            if not path.is_file():
                continue  # told by its own name below
            try:
                click.get_current_context().with_resource(held(path))
            except ChalkbeamError as error:
                faults += error.faults
        if faults:
            raise InputError(faults)
    return as_noted(paths)
