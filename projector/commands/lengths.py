"""Measures on the command line: lengths, what a ruler reads, the size of a picture.

A bare number is millimetres, others carry their unit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from configs.errors import InputError
from configs.units import typed_length


class Typed(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.5 on
    """What ``read`` makes of a text, told the option's name; it refuses as click or a file's reader does."""

    def __init__(self, metavar: str, read: Callable[[str, str], Any]) -> None:
        self.name, self.metavar, self.read = metavar.lower(), metavar, read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The value; a default that is one already stays."""
        where = max(param.opts, key=len) if param is not None else ""
        return self.read(value, where) if isinstance(value, str) else value


def _length(least_mm: float) -> Typed:
    """``1200``, ``120 cm``, ``1.2 m``, ``47 1/4 in`` → mm; a bare number below ``least_mm`` is asked back."""

    def read(text: str, _: str) -> float:
        try:
            return typed_length(text, "it", least_mm)
        except InputError as error:
            fault = error.faults[0]
            raise click.BadParameter(f"{fault.what} {fault.remedy}".strip()) from None

    return Typed("LENGTH", read)


def _pair(text: str, where: str) -> tuple[float, float]:
    """``180.4,250.0``: what a ruler reads across and up, mm.

    Raises:
        InputError: not two numbers with a comma between them.
    """
    try:
        x, y = (typed_length(p, where, 150.0, 400.0) for p in text.split(","))
    except ValueError as error:
        if "did you mean" in str(error):
            raise
        remedy = "Write them in mm as 180.4,250.0, or as '7 1/16 in,9 13/16 in'."
        raise InputError.of(where, f"'{text}' is not two readings.", remedy) from None
    return x, y


def _size(text: str, _: str) -> tuple[int, int]:
    """``1920x1080`` → (width, height) px.

    Raises:
        InputError: anything else, or no projector's size.
    """
    from calibrate.pattern import parse_size

    return parse_size(text)


LENGTH_MM = _length(0.0)
BEAM_MM = _length(200.0)  # no beam is narrower
PAIR_MM = Typed("X,Y", _pair)
SIZE = Typed("WxH", _size)
