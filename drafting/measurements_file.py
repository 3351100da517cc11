"""A measurements file that is filled in one measure at a time; every other line stays as she wrote it.

Beside `measurements`, which says what each measure is and reads the whole file.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from configs.errors import Fault, InputError
from configs.files import parse_yaml, read_text, write_atomic
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
                raise InputError(
                    Fault(
                        f"{path} since",
                        f"names '{before}' already.",
                        "Leave --since out, or start a new file.",
                    )
                )
            sheet.data["since"] = place
        return sheet

    def loaded(self) -> Measurements | None:
        """What the file says so far, as every other command will read it; None when nothing.

        Raises:
            InputError: it cannot be used as it stands.
        """

        if not self.data["measurements"] and not self.data.get("since"):
            head = {k: v for k, v in self.data.items() if k != "measurements"}
            probe = {**head, "measurements": {"bust_girth": "1 m"}}
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
            if theirs.get(key) != ours["measurements"].get(key):
                return False
            if self.data["unit"] != ours["unit"]:
                return False
        after = {**self.data, "measurements": {**self.data["measurements"], key: value}}
        text = with_value(self.text, after, key)
        write_atomic(self.path, text)
        self.disk, self.text, self.data = text, text, after
        return True

    def confirm(self, key: str) -> None:
        """Note that she was asked about this value and keeps it, so that nobody asks again.

        Raises:
            InputError: the folder cannot be written to.
        """
        if not self.path.exists() or read_text(self.path) != self.disk:
            return  # another hand is at work: it is asked again another time
        kept = dict(self.data.get("confirmed") or {}) | {key: self.data["measurements"][key]}
        after = {**self.data, "confirmed": kept}
        line = f"confirmed: {scalar(kept)}"
        lines = self.text.splitlines()
        at = next((i for i, x in enumerate(lines) if re.match(r"confirmed\s*:", x)), None)
        if at is None:
            lines.insert(
                next(i for i, x in enumerate(lines) if re.match(r"measurements\s*:", x)), line
            )
        else:
            lines[at] = line
        made = "\n".join(lines) + "\n"
        try:
            text = made if parse_yaml(made, "") == after else _fresh(after)
        except InputError:
            text = _fresh(after)
        write_atomic(self.path, text)
        self.disk, self.text, self.data = text, text, after


def with_value(text: str, after: Mapping[str, Any], key: str) -> str:
    """The file's text with one measurement set; every other line stays as it was written.

    ``after``: the file's mapping with the new value, at ``key`` of its measurements. What cannot
    be set line by line (measurements in one line, in braces) is written anew as a whole.
    """

    if not text.strip():
        return _fresh(after)
    line = f"{key}: {scalar(after['measurements'][key])}"
    lines = text.splitlines()
    head = next((i for i, x in enumerate(lines) if re.match(r"measurements\s*:", x)), None)
    if head is None:
        lines.append("measurements:")
        head = len(lines) - 1
    for name in ("since", "unit", "wearer", "taken"):
        if name in after and not any(re.match(rf"{name}\s*:", x) for x in lines):
            lines.insert(head, f"{name}: {scalar(after[name])}")
            head += 1
    end = head + 1
    while end < len(lines) and (not lines[end].strip() or lines[end][0] in " \t#"):
        end += 1
    while end > head + 1 and (not lines[end - 1].strip() or lines[end - 1].startswith("#")):
        end -= 1
    body = range(head + 1, end)
    at = next((i for i in body if re.match(rf"\s+['\"]?{key}['\"]?\s*:", lines[i])), None)
    if re.match(r"measurements\s*:\s*(#.*)?$", lines[head]):
        indent = next((re.match(r"\s*", lines[i]) for i in body if lines[i].strip()), None)
        space = indent.group() if indent else "  "
        if at is None:
            lines.insert(end, f"{space}{line}")
        else:
            remark = re.search(r"\s+#.*$", lines[at])
            lines[at] = f"{space}{line}{remark.group() if remark else ''}"
    else:
        rows = [f"  {k}: {scalar(v)}" for k, v in after["measurements"].items()]
        lines[head:end] = ["measurements:", *rows]
    made = "\n".join(lines) + "\n"
    with contextlib.suppress(InputError):
        if parse_yaml(made, "") == dict(after):
            return made
    return _fresh(after)


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
    rows = [f"{k}: {scalar(v)}" for k, v in data.items() if k != "measurements"]
    rows.append("measurements:")
    rows += [f"  {k}: {scalar(v)}" for k, v in data["measurements"].items()]
    return "\n".join(rows) + "\n"


def scalar(value: Any) -> str:
    """A value as one line of YAML."""
    import yaml

    text = yaml.safe_dump(value, default_flow_style=True, allow_unicode=True, width=10**6)
    return text.removesuffix("\n").removesuffix("\n...").strip()


def as_written(answer: str) -> Any:
    """What goes into the file: a plain number as a number, all else as the text she typed."""
    if re.fullmatch(r"\d{1,6}", answer):
        return int(answer)
    if re.fullmatch(r"\d{1,6}\.\d{1,6}", answer):
        return float(answer)
    return answer
