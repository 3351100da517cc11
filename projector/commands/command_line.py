"""A command as a frozen value: its fields are what is typed, `run` is what is done then.

A field's name is the option's, and its type says what click would have to be told again: `bool` is a
switch, `tuple[X, ...]` may be given again, a `Path` is a file that is only read, and what is neither
``| None`` nor has a default is required.
"""

from __future__ import annotations

import inspect
from dataclasses import Field, dataclass, field, fields
from pathlib import Path
from typing import Any, ClassVar, dataclass_transform

import click

from projector.commands.places import FILE, Command
from projector.next_step import unit_here

_KINDS = {"Path": FILE, "int": int, "str": str, "float": float}  # of a field that says no other


def argument(metavar: str | None = None, kind: Any = None) -> Any:
    """A field that is typed without a name; ``kind``: click's type of it."""
    return field(metadata={"type": kind, "metavar": metavar})


def option(help: str, kind: Any = None, names: str = "", default: Any = None, **how: Any) -> Any:
    """A field that is typed with its name.

    Args:
        kind: click's type of it; several words: one of them.
        names: further names, with spaces between; with a long one among them they are all.
        how: what else `click.Option` is to be told.
    """
    if isinstance(kind, tuple):
        kind = click.Choice(kind)
    metavar = getattr(kind, "metavar", None)
    known = {"help": help or None, "type": kind, "metavar": metavar, "names": names.split()}
    return field(default=default, metadata={**known, **how})


def json_switch() -> Any:
    """The field ``as_json`` of a command whose result programs can read."""
    return option("The result for programs.", names="--json")


def paper_option(help: str = "") -> Any:
    """The field ``paper`` of what is printed on sheets that every printer takes."""
    return option(help, click.Choice(["a4", "letter"], case_sensitive=False), default="a4")


def rule_unit() -> Any:
    """The field ``unit`` of the calibrations: that of her rule."""
    return option(
        "Of your rule, and of what is told; as this folder's files say when not given.",
        ("mm", "in"), required=False, callback=lambda ctx, param, value: value or unit_here(Path()),
    )  # fmt: skip


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(argument, option))
class CommandLine:
    """One command of the program; its docstring is its help.

    ``command``: as click knows it; ``name``: where it is not the class's, without 'Command'.
    """

    command: ClassVar[click.Command]

    def __init_subclass__(cls, name: str = "") -> None:
        made = dataclass(frozen=True, kw_only=True)(cls)
        cls.command = Command(
            name or cls.__name__.removesuffix("Command").lower(),
            params=[_parameter(f) for f in fields(made)],  # type: ignore[arg-type]  # just made one
            callback=lambda **typed: cls(**typed).run(),
            help=inspect.cleandoc(cls.__doc__ or ""),
        )

    def run(self) -> int | None:
        """Do it; the exit code, where it is not 0."""
        raise NotImplementedError


def _parameter(told: Field[Any]) -> click.Parameter:
    """A field as click knows it."""
    how, kind = {**told.metadata}, str(told.type)
    many, optional = kind.endswith(", ...]"), kind.endswith("| None")
    kind = kind.removeprefix("tuple[").removesuffix(", ...]").removesuffix(" | None")
    how["type"] = how["type"] or _KINDS.get(kind)
    if "names" not in how:
        return click.Argument([told.name], nargs=-1 if many else 1, required=not optional, **how)
    names = [told.name, *how.pop("names")]
    if not any(n.startswith("--") for n in names):
        names.append(f"--{told.name.replace('_', '-')}")
    if kind == "bool" and not optional:
        return click.Option(names, is_flag=True, **how)
    if told.default is not None or kind == "bool":  # a None that is named would be a value to click
        shown = told.default not in (None, "")
        return click.Option(names, multiple=many, default=told.default, show_default=shown, **how)
    return click.Option(names, multiple=many, **{"required": not (optional or many), **how})
