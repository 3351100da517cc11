"""Question and answer at a terminal, in plain text: over any terminal, without colour, read aloud, piped.

Below what asks: `measuring` and `making`.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TypeVar

import click

T = TypeVar("T")


def can_draw() -> bool:
    """Whether standard output can show the dots and blocks of a figure."""
    try:
        "⣿▟".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def showable(text: str) -> str:
    """The text with '?' for letters that standard output cannot show."""
    encoding = sys.stdout.encoding or "utf-8"
    return text.encode(encoding, "replace").decode(encoding)


def numbered(answer: str, of: Sequence[T]) -> T | None:
    """The one of a list that a number from 1 on means; None: no such number."""
    return of[int(answer) - 1] if answer.isdecimal() and 1 <= int(answer) <= len(of) else None


def free_name(path: Path) -> Path:
    """The path, or the next one with a number at which nothing stands yet."""
    n, free = 2, path
    while free.exists() or free.is_symlink():
        free, n = path.with_name(f"{path.stem}-{n}{path.suffix}"), n + 1
    return free


class Talk:
    """Speaks and listens."""

    def listen(self) -> None:
        """Make the keyboard ready: a stray byte is a slip, and a line can be mended while typed."""
        if hasattr(sys.stdin, "reconfigure"):
            with contextlib.suppress(io.UnsupportedOperation):  # something was read already
                sys.stdin.reconfigure(errors="replace")
        with contextlib.suppress(ImportError):
            import readline  # noqa: F401  (line editing in input(), where the system has it)

    def say(self, text: str = "", indent: str = "") -> None:
        """Text for the person, wrapped, in letters that this terminal can show."""
        width = min(shutil.get_terminal_size().columns, 80) - 1
        for line in text.splitlines() or [""]:
            for part in textwrap.wrap(
                line, max(30, width), initial_indent=indent, subsequent_indent=indent
            ) or [""]:
                self.raw(part)

    def hint(self, text: str) -> None:
        """What belongs to the question that was asked: set in a little."""
        self.say(text, "  ")

    def raw(self, line: str) -> None:
        """One line as it stands."""
        click.echo(showable(line))

    def listed(self, texts: Iterable[str]) -> None:
        """What can be chosen, a line each, numbered from 1."""
        for n, text in enumerate(texts, 1):
            self.say(f"{n}  {text}", "  ")

    def until(self, prompt: str, read: Callable[[str], T]) -> T:
        """Ask until ``read`` takes the answer: what it refuses with a ValueError is said.

        Raises:
            EOFError: there are no more lines.
        """
        while True:
            try:
                return read(self.ask(prompt))
            except ValueError as error:
                self.say(str(error))

    def ask(self, prompt: str) -> str:
        """One line from the person, without outer spaces.

        Raises:
            EOFError: there are no more lines.
        """
        answer = input(showable(prompt)).strip()
        if not sys.stdin.isatty():  # piped: nobody's Enter has ended the line
            click.echo(showable(answer))
        return answer
