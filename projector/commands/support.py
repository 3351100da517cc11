"""What went wrong, as text for a person: faults of files, slips in the options, faults of ours."""

from __future__ import annotations

import difflib
import os
import re
import tempfile
from typing import TYPE_CHECKING

from configs.errors import ChalkbeamError
from configs.reader import nearest

if TYPE_CHECKING:
    import click

_MOST_TOLD = 40  # faults in one message; who has more mends these first


def explain(error: BaseException) -> str | None:
    """Text for a person, or None when the error is a fault of the program itself."""
    if isinstance(error, ChalkbeamError):
        faults = error.faults
        if len(faults) == 1:
            return f"Not done: {faults[0]}"
        rest = len(faults) - _MOST_TOLD
        return "\n".join(
            [
                f"Not done; {len(faults)} things to put right:",
                *(f"  · {f}" for f in faults[:_MOST_TOLD]),
                *([f"  · and {rest} more."] if rest > 0 else []),
            ]
        )
    if isinstance(error, MemoryError):
        return (
            "Not done: there is not enough memory for it. Close other programs, or do less at once."
        )
    if isinstance(error, ImportError) and ".so" in str(error):
        return (
            f"Not done: a library of the system is missing ({error}). On Debian or Ubuntu: "
            "sudo apt install libgl1 libglib2.0-0"
        )
    if isinstance(error, UnicodeEncodeError):
        return (
            f"Not done: {ascii(error.object)[:80]} holds half a letter; it is no name and no text."
        )
    if isinstance(error, RuntimeError) and "Symlink loop" in str(error):  # until Python 3.13
        return f"Not done: a link leads back to itself ({error})."
    if isinstance(error, OSError) and error.strerror:
        name = f"{error.filename}: " if error.filename else ""
        return f"Not done: {name}{error.strerror}."
    return None


def explain_usage(error: click.ClickException, path: str, command: click.Command) -> str:
    """What is wrong with a command as it was typed: one sentence, what to do, where help is.

    ``path``: the command's words, ``chalkbeam calibrate photo``.
    """
    return f"Not done: {path}: {_usage_fault(error, command)} See '{path} --help'."


def _usage_fault(error: click.ClickException, command: click.Command) -> str:
    import click

    param = getattr(error, "param", None)
    if isinstance(error, click.NoSuchOption):
        known = [o for p in command.params for o in p.opts]
        near = difflib.get_close_matches(error.option_name, known, 1, 0.5)
        hint = f" Did you mean '{near[0]}'?" if near else ""
        return f"there is no option '{error.option_name}'.{hint}"
    if isinstance(error, click.MissingParameter) and param is not None:
        if not isinstance(param, click.Option):
            return f"the name of the file is missing: {_value_of(param)}."
        help_line = f": {param.help}" if param.help else ""
        told = f"'{_longest(param)}' is missing{help_line}"
        return f"{told.rstrip('.')}. Add {_longest(param)} {_value_of(param)}."
    if isinstance(error, click.BadOptionUsage):
        for p in command.params:
            if error.option_name in p.opts and isinstance(p, click.Option):
                if p.is_flag:
                    return f"'{error.option_name}' takes no value. Leave what follows it out."
                return f"'{error.option_name}' needs a value after it: {_value_of(p)}."
    if isinstance(error, click.BadParameter) and param is not None:
        what = _wanted(param, error.message)
        what = what.strip().rstrip(".")
        return f"{_longest(param)}: {what[:1].lower()}{what[1:]}{'' if what.endswith('?') else '.'}"
    extra = re.match(r"Got unexpected extra arguments? \((.*)\)", error.format_message())
    if extra:
        return f"'{extra[1]}' is too much. A name with spaces in it goes between quotation marks."
    what = error.format_message().rstrip(".")
    return f"{what[:1].lower()}{what[1:]}{'' if what.endswith('?') else '.'}"


def _wanted(param: click.Parameter, message: str) -> str:
    """What a value should be, from the kind of the parameter; else the message as it came."""
    import click

    kind = param.type
    given = re.match(r"('.*?'|-?[\d.e+-]+) is not", message)
    value = f"'{given[1].strip(chr(39)).removesuffix('.0')}'" if given else "that"
    if isinstance(kind, click.Choice):
        known = [str(c) for c in kind.choices]
        return f"{value} is none of {', '.join(known)}. {nearest(value.strip(chr(39)), known)}"
    whole = isinstance(kind, click.types.IntParamType)
    if whole or isinstance(kind, click.types.FloatParamType):
        low, high = getattr(kind, "min", None), getattr(kind, "max", None)
        number = "a whole number" if whole else "a number"
        if low is not None and high is not None:
            number += f" from {low:g} to {high:g}"
        elif low is not None or high is not None:
            number += f" of {low:g} or more" if low is not None else f" of {high:g} or less"
        return f"{value} should be {number}."
    return message


def _longest(param: click.Parameter) -> str:
    """An option's long name; what the help calls an argument."""
    import click

    if isinstance(param, click.Option):
        return max(param.opts, key=len)
    return _value_of(param)


def _value_of(param: click.Parameter) -> str:
    """What stands for a parameter's value in the help."""
    import click

    if param.metavar:
        return param.metavar
    if isinstance(param.type, click.Choice):
        return "|".join(str(c) for c in param.type.choices)
    if isinstance(param, click.Option):
        return param.type.name.upper()
    return (param.name or "").upper()


def own_fault(error: BaseException) -> str:
    """Text for a fault of the program itself; the details go to a file that can be sent on."""
    import traceback

    details = "".join(traceback.format_exception(error))
    if os.environ.get("CHALKBEAM_TRACE"):
        return details
    try:
        handle, path = tempfile.mkstemp(prefix="chalkbeam-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(details)
        kept = f" The details are in {path}."
    except OSError:
        kept = " Set CHALKBEAM_TRACE=1 to see the details."
    return (
        f"This is a fault in chalkbeam, not in what you did ({type(error).__name__}: {error})."
        f"{kept} What was saved stays saved."
    )
