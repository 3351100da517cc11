"""The tape measure, led from cross to cross: the pair is shown on the table, its reading asked for.

Between `calibrate.tape`, which knows crosses and readings, and the command `calibrate tape --guided`.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from configs.errors import InputError
from configs.files import write_atomic
from configs.units import parse_length, said_in

if TYPE_CHECKING:
    from calibrate.readings import Pair, Readings
    from projector.app import Beam


def guide(
    path: Path,
    size: tuple[int, int],
    count: int,
    unit: str,
    show: Callable[[Any], None],
    ask: Callable[[str], str],
) -> None:
    """Ask for one distance after the other; every answer is in the file before the next question.

    Args:
        path: the distances file; readings that it holds already are kept and not asked again.
        show: puts a picture (H, W, 3) on the projector.
        ask: a question to an answer; '' skips the pair, 'back' takes the last one again, 'done' ends.
    """
    from calibrate.readings import (
        Readings,
        crosses_for,
        crosses_picture,
        distances_text,
        load_readings,
        pairs_of,
    )
    from calibrate.tape import against_the_rest

    crosses: dict[str, tuple[float, float]] = {
        k: (float(x), float(y)) for k, (x, y) in crosses_for(size, count).items()
    }
    readings: list[tuple[Pair, float]] = []
    if path.exists() and path.stat().st_size:
        before: Readings = load_readings(path, size)
        crosses, readings = dict(before.crosses), list(before.readings)
    have = {frozenset(pair) for pair, _ in readings}
    todo = [pair for pair in pairs_of(crosses) if frozenset(pair) not in have]
    click.echo(
        "From the middle of one cross to the middle of the other, tape straight and flat. "
        "Enter alone skips a pair, 'back' takes the last one again, 'done' ends."
    )
    at, doubted = 0, ""
    while at < len(todo):
        pair = todo[at]
        show(crosses_picture(size, crosses, pair))
        answer = ask(f"{pair[0]} to {pair[1]} ({at + 1} of {len(todo)}), {unit}").strip()
        if answer.lower() == "done":
            break
        if answer.lower() == "back":
            at = max(0, at - 1)
            readings = [r for r in readings if r[0] != todo[at]]
            write_atomic(path, distances_text(size, crosses, readings))
            continue
        if not answer:
            at += 1
            continue
        try:
            mm = parse_length(answer, unit)
        except InputError as error:
            such = {"in": "44 1/4", "cm": "112.3"}.get(unit, "1123")
            click.echo(f"{error.faults[0].what} Write it like {such}.")
            continue
        if not 5.0 <= mm <= 30_000.0:
            click.echo(said_in(f"{mm:g} mm is no distance on a table. Is the unit right?", unit))
            continue
        told = against_the_rest(Readings(size, crosses, (*readings, (pair, mm)), unit))
        if told and doubted != f"{pair} {answer}":
            click.echo(f"{told} Read it again; the same answer again keeps it.")
            doubted = f"{pair} {answer}"
            continue
        readings.append((pair, mm))
        write_atomic(path, distances_text(size, crosses, readings))
        at += 1
    show(crosses_picture(size, crosses))


@contextlib.contextmanager
def shown(screen: int | None, size: tuple[int, int] | None) -> Iterator[Beam]:
    """The beam while readings are taken."""
    from projector.app import Beam

    with Beam.open(screen, size) as beam:
        if beam.notice:
            click.echo(beam.notice)
        yield beam


def typed(wait: Callable[[float], None]) -> Callable[[str], str]:
    """A question on the terminal that keeps the beam alive while she measures.

    Typing is awaited in a thread: a window that does not answer is greyed by the system.
    """

    def ask(question: str) -> str:
        answers: queue.Queue[str | None] = queue.Queue()

        def read() -> None:
            try:
                answers.put(input(f"{question}: "))
            except (EOFError, KeyboardInterrupt):
                answers.put(None)

        threading.Thread(target=read, daemon=True).start()
        while True:
            wait(0.05)
            with contextlib.suppress(queue.Empty):
                answer = answers.get_nowait()
                if answer is None:
                    raise click.Abort
                return answer

    return ask
