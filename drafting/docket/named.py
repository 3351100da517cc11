"""What a docket or a base names beside itself: the measurements, and where names are seen from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVar

from configs.files import named_file
from configs.reader import Reader
from drafting.measurements import Measurements

T = TypeVar("T")


def place_of(path: Path | None) -> tuple[Path, str]:
    """The folder from which a docket's files are seen, and what the docket is called."""
    return (path.parent, str(path)) if path else (Path(), "the docket")


def loaded(
    top: Reader, path: Path | None, key: str, name: str, read: Callable[[Path], T], made: str
) -> T | None:
    """What a file holds that a key of another one names; None with the fault noted.

    ``path``: the file that names it; ``made``: what makes such a file.
    """
    folder, where = place_of(path)
    return top.tried(lambda: read(named_file(folder, name, key, where, made)), None)


def read_measurements(top: Reader, path: Path | None) -> Measurements | None:
    """The measurements that a file names or holds; None with the fault noted."""
    value = top.data.get("measurements")
    if value is None:
        return None
    if isinstance(value, str):
        made = "take the measurements: chalkbeam measure FILE.yaml"
        return loaded(top, path, "measurements", value, Measurements.load, made)
    if not isinstance(value, Mapping):
        top.note(
            "measurements", "should be a file's name or 'key: value' pairs.", "Example: alto-3.yaml"
        )
        return None
    inner = {"unit": top.unit, "wearer": top.get("wearer", ""), **value}
    return top.tried(
        lambda: Measurements.from_dict(
            inner, top.place("measurements"), path.parent if path else None
        ),
        None,
    )
