"""Measures on the command line: lengths, what a ruler reads, the size of a picture.

A bare number is millimetres, others carry their unit.
"""

from __future__ import annotations

from typing import Any

import click

from configs.errors import InputError
from configs.units import typed_length


class LengthMm(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.5 on
    """``1200``, ``120 cm``, ``1.2 m``, ``47 1/4 in`` → mm."""

    name, metavar = "length", "LENGTH"

    def __init__(self, least_mm: float = 0.0) -> None:
        self.least_mm = least_mm  # a bare number below it is asked back

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The length in mm; a usage error naming the option for anything else."""
        if isinstance(value, int | float):
            return float(value)

        try:
            return typed_length(value, "it", self.least_mm)
        except InputError as error:
            fault = error.faults[0]
            self.fail(f"{fault.what} {fault.remedy}".strip(), param, ctx)


class PairMm(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.5 on
    """``180.4,250.0``: what a ruler reads across and up, mm."""

    name, metavar = "x,y", "X,Y"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float]:
        """Two numbers.

        Raises:
            InputError: not two numbers with a comma between them.
        """

        where = max(param.opts, key=len) if param is not None else ""
        parts = str(value).split(",")
        try:
            if len(parts) != 2:
                raise ValueError
            x, y = (typed_length(p, where, 150.0, 400.0) for p in parts)
        except ValueError as error:
            if "did you mean" in str(error):
                raise
            what = f"'{value}' is not two readings."
            raise InputError.of(
                where, what, "Write them in mm as 180.4,250.0, or as '7 1/16 in,9 13/16 in'."
            ) from None
        return x, y


class PictureSize(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.5 on
    """``1920x1080`` → (width, height) px."""

    name, metavar = "wxh", "WxH"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, int]:
        """Two whole numbers.

        Raises:
            InputError: anything else, or no projector's size.
        """
        from calibrate.pattern import parse_size

        return parse_size(str(value))


LENGTH_MM = LengthMm()
BEAM_MM = LengthMm(200.0)  # no beam is narrower
PAIR_MM = PairMm()
SIZE = PictureSize()
