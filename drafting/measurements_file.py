"""A measurements file that is filled in one measure at a time; every other line stays as she wrote it.

Beside `measurements`, which says what each measure is and reads the whole file.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from configs.errors import InputError
from configs.files import dump_yaml, parse_yaml, read_text, write_atomic
from configs.rewrite import merged
from drafting.measurements import REGISTRY, Measurements


@dataclass
class MeasurementsFile:
    """The file that is being filled in.

    ``disk``: its text as last seen on disk; ``text``: the same with its measurements under
    their heading; ``data``: what it holds, with what is known but not yet written.
    """

    path: Path
    disk: str = ""
    text: str = ""
    data: dict[str, Any] = field(default_factory=lambda: {"chalkbeam": 1, "measurements": {}})

    @classmethod
    def open(cls, path: Path, since: Path | None) -> MeasurementsFile:
        """An existing file, or a new one in memory; ``since`` is noted in it.

        Raises:
            InputError: the file, or the earlier one, cannot be used as it stands.
        """
        sheet = cls(path)
        sheet.disk = read_text(path) if path.exists() else ""
        if sheet.disk.strip():
            sheet.disk, sheet.text, sheet.data = _read(path)
            body = sheet.data.get("measurements")
            if body is not None and not isinstance(body, dict):
                Measurements.load(path)  # says what is wrong with it
            sheet.data["measurements"] = dict(body or {})
            sheet.loaded()
        if since is not None:
            Measurements.load(since)
            place = Path(os.path.relpath(since.resolve(), path.resolve().parent)).as_posix()
            before = sheet.data.get("since")
            if before is not None and before != place:
                remedy = "Leave --since out, or start a new file."
                raise InputError.of(f"{path} since", f"names '{before}' already.", remedy)
            sheet.data["since"] = place
        return sheet

    def loaded(self) -> Measurements | None:
        """What the file says so far, as every other command will read it; None when nothing.

        Raises:
            InputError: it cannot be used as it stands.
        """
        if not self.data["measurements"] and not self.data.get("since"):
            probe = {**_head(self.data), "measurements": {"bust_girth": "1 m"}}
            Measurements.from_dict(probe, str(self.path), self.path.parent)
            return None
        data = dict(self.data)
        if isinstance(data.get("since"), str):  # the new file's folder may not be there yet
            data["since"] = os.path.normpath(self.path.resolve().parent / data["since"])
        return Measurements.from_dict(data, str(self.path), self.path.parent)

    def put(self, key: str, value: Any) -> bool:
        """Save one measurement at once. False when the file was changed by another hand.

        Raises:
            InputError: the folder cannot be written to.
        """
        if self.path.exists() and read_text(self.path) != self.disk:
            ours = self.data
            self.disk, self.text, now = _read(self.path)
            self.data = {**ours, **now}
            theirs = self.data["measurements"] = dict(now.get("measurements") or {})
            if (
                theirs.get(key) != ours["measurements"].get(key)
                or self.data["unit"] != ours["unit"]
            ):
                return False
        after = {**self.data, "measurements": {**self.data["measurements"], key: value}}
        self._write(with_value(self.text, after, key), after)
        return True

    def take_out(self, key: str) -> None:
        """Take back one measurement that she has refused: the file is as if it had not been given.

        Raises:
            InputError: the folder cannot be written to.
        """
        if not self._is_ours():
            return  # another hand is at work
        body = {k: v for k, v in self.data["measurements"].items() if k != key}
        after = {**self.data, "measurements": body}
        if body:
            self._write(merged(self.text, parse_yaml(self.text, ""), after), after)
            return
        self.path.unlink()
        self.disk, self.text, self.data = "", "", after

    def note_body(self, body: str) -> None:
        """Note whose usual values the file is held against: a man's or a child's.

        Raises:
            InputError: the folder cannot be written to.
        """
        self._note({**self.data, "figure": body})

    def confirm(self, key: str) -> None:
        """Note that she was asked about this value and keeps it, so that nobody asks again.

        Raises:
            InputError: the folder cannot be written to.
        """
        if self._is_ours():  # else another hand is at work: it is asked again another time
            kept = dict(self.data.get("confirmed") or {}) | {key: self.data["measurements"][key]}
            self._note({**self.data, "confirmed": kept})

    def _is_ours(self) -> bool:
        """Whether the file is there as it was last seen."""
        return self.path.exists() and read_text(self.path) == self.disk

    def _note(self, after: dict[str, Any]) -> None:
        """Write what the file says above its measurements, unless another hand is at work."""
        if self._is_ours():
            whole = {**_head(after), "measurements": after["measurements"]}
            self._write(merged(self.text, parse_yaml(self.text, ""), whole), after)
        self.data = after

    def _write(self, text: str, data: dict[str, Any]) -> None:
        write_atomic(self.path, text)
        self.disk, self.text, self.data = text, text, data


def _head(data: Mapping[str, Any]) -> dict[str, Any]:
    """What a file says beside its measurements."""
    return {k: v for k, v in data.items() if k != "measurements"}


def with_value(text: str, after: Mapping[str, Any], key: str) -> str:
    """The file's text with one measurement set; every other line stays as it was written.

    ``after``: the file's mapping with the new value, at ``key`` of its measurements. Measurements
    that stand in one line, in braces, are written anew, one a line.
    """
    if not text.strip():
        return _fresh(after)
    head = _head(after)
    body = {**after["measurements"], key: after["measurements"][key]}
    before = parse_yaml(text, "")
    if before.get("measurements") and re.search(r"^measurements\s*:\s*(#.*)?$", text, re.MULTILINE):
        return merged(text, before, {**head, "measurements": body})
    made = merged(text, before, head) if set(head) & set(before) else ""
    return made + _rows(body)


def _read(path: Path) -> tuple[str, str, dict[str, Any]]:
    """A file's text, the same with its measurements under their heading, and what it holds.

    Raises:
        InputError: it is not one of our files.
    """

    disk = read_text(path)
    data = parse_yaml(disk, str(path))
    return (disk, *(_under_heading(disk, data) if "measurements" not in data else (disk, data)))


def _under_heading(text: str, data: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Measurements that stand at the top level, moved under their heading with their comments."""

    moved = {k: v for k, v in data.items() if k in REGISTRY}
    if not moved:
        return text, {**data, "measurements": {}}
    after = {k: v for k, v in data.items() if k not in moved} | {"measurements": moved}
    lines = text.splitlines()
    own = [x for x in lines if x.split(":")[0].strip(" '\"") in moved and x[0] not in " #"]
    made = "\n".join([x for x in lines if x not in own] + ["measurements:"])
    made += "".join(f"\n  {x}" for x in own) + "\n"
    return (made if parse_yaml(made, "") == after else _fresh(after)), after


def _fresh(data: Mapping[str, Any]) -> str:
    """A whole file, one measurement a line."""
    return dump_yaml(_head(data)) + _rows(data["measurements"])


def _rows(body: Mapping[str, Any]) -> str:
    return "measurements:\n" + "".join(f"  {line}\n" for line in dump_yaml(body).splitlines())


def as_written(answer: str) -> Any:
    """What goes into the file: a plain number as a number, all else as the text she typed."""
    if re.fullmatch(r"\d{1,6}", answer):
        return int(answer)
    if re.fullmatch(r"\d{1,6}\.\d{1,6}", answer):
        return float(answer)
    return answer
