"""What the commands share: errors as text, tables as rich or JSON, where configs are."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any


def explain(error: BaseException) -> str | None:
    """Text for a person, or None when the error is a fault of the program itself."""
    from calibrate.errors import CalibrationError
    from drafting.errors import DraftingError

    if isinstance(error, DraftingError | CalibrationError):
        faults = error.faults
        if len(faults) == 1:
            return f"Not done: {faults[0]}"
        return "\n".join(
            [f"Not done; {len(faults)} things to put right:", *(f"  · {f}" for f in faults)]
        )
    if isinstance(error, ImportError) and ".so" in str(error):
        return (
            f"Not done: a library of the system is missing ({error}). On Debian or Ubuntu: "
            "sudo apt install libgl1 libglib2.0-0"
        )
    if isinstance(error, OSError) and error.strerror:
        name = f"{error.filename}: " if error.filename else ""
        return f"Not done: {name}{error.strerror}."
    return None


def own_fault(error: BaseException) -> str:
    """Text for a fault of the program itself; the details go to a file that can be sent on."""
    import os
    import tempfile
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


def configs_folder() -> Path:
    """The shipped examples and settings: beside the installed package, or in the checkout."""
    shipped = Path(__file__).resolve().parent.parent / "_configs"
    return shipped if shipped.is_dir() else shipped.parent.parent / "configs"


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


def print_table(
    title: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    notes: Mapping[str, str] | None = None,
) -> None:
    """A table in the terminal; first column left, the others right."""
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title, title_justify="left", header_style="bold")
    for i, name in enumerate(columns):
        table.add_column(name, justify="left" if i == 0 else "right")
    for row in rows:
        table.add_row(*row)
    console = Console()
    console.print(table)
    for head, text in (notes or {}).items():
        console.print(f"{head}: {text}", highlight=False)
