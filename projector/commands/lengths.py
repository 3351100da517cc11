"""Lengths on the command line: a bare number is millimetres, others carry their unit."""

from __future__ import annotations

from typing import Any

import click


class LengthMm(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.5 on
    """``1200``, ``120 cm``, ``1.2 m``, ``47 1/4 in`` → mm."""

    name = "length"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The length in mm; a usage error naming the option for anything else."""
        if isinstance(value, int | float):
            return float(value)
        from configs.errors import InputError
        from configs.units import parse_length

        try:
            return float(parse_length(value, "mm", "it"))
        except InputError as error:
            fault = error.faults[0]
            self.fail(f"{fault.what} {fault.remedy}".strip(), param, ctx)


LENGTH_MM = LengthMm()
