"""How results are told: one document for programs, tables and cautions for a person."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console


def print_json(data: Any) -> None:
    """One JSON document on standard output, for programs (numbers finite, UTF-8)."""
    sys.stdout.write(
        json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False, default=_plain)
    )
    sys.stdout.write("\n")


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    if isinstance(value, Path):
        return str(value)
    raise TypeError(f"{type(value).__name__} is not for JSON")


def terminal(*, stderr: bool = False) -> Console:
    """The terminal for tables and progress: no text is ever taken for markup or emoji."""
    from rich.console import Console

    return Console(stderr=stderr, markup=False, emoji=False, highlight=False)


def print_table(
    title: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
) -> None:
    """A table in the terminal; first column left, the others right."""
    from rich.table import Table

    table = Table(title=title, title_justify="left", header_style="bold")
    for i, name in enumerate(columns):
        table.add_column(name, justify="left" if i == 0 else "right")
    for row in rows:
        table.add_row(*row)
    terminal().print(table)


def tell(lines: Iterable[str], head: str = "", *, err: bool = False) -> None:
    """Lines for a person, each with the same words before it."""
    import click

    for line in lines:
        click.echo(f"{head}{line}", err=err)


def warn(text: str, head: str = "Caution: ", *, stderr: bool = False) -> None:
    """What could spoil cloth, told so that it is not read over."""
    import click

    click.secho(f"{head}{text}", fg="yellow", bold=True, err=stderr)
