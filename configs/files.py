"""YAML in and out: versioned, unknown keys refused with the nearest known one, saves atomic.

The only place of the package that opens a file for writing.
"""

from __future__ import annotations

import contextlib
import difflib
import os
import tempfile
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import yaml

from configs.errors import Fault, InputError

FORMAT_VERSION = 1
_DEEPEST = 30  # a remnant's holes are five deep
_KINDS = {  # what the kinds of our files are known by, at the top level
    "a docket": {"garment"},
    "a measurements file": {"measurements", "taken"},
    "a calibration": {"projector_from_table"},
    "a list of cards": {"bars_mm", "cards"},
    "a pattern's description": {"windows"},
    "a file of crosses": {"crosses"},
    "a file of keys": {"keys"},
}
_MAX_BYTES = 4_000_000  # a docket of a hundred pieces is 50 kB; more is not a docket


_Fast: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # ten times the speed, where built


class _Loader(_Fast):  # type: ignore[misc]  # one of two bases, both safe loaders
    """Safe loader that refuses a key written twice (the second would silently win)."""


def _look_over(text: str) -> None:
    """Refuse references and bottomless nesting before anything is built from the text.

    No file of ours needs references ('*name'), and a few lines of them can grow into more values
    than memory holds.
    """
    depth = 0
    for event in yaml.parse(text, Loader=_Fast):
        mark: Any = event.start_mark
        if isinstance(event, yaml.AliasEvent):
            raise yaml.constructor.ConstructorError(
                None, None, "references ('*name') are not read", mark
            )
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > _DEEPEST:
                raise yaml.constructor.ConstructorError(
                    None, None, "lists are nested too deep", mark
                )
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1


def _mapping(loader: _Loader, node: yaml.MappingNode) -> dict[Any, Any]:
    seen: set[Any] = set()
    for key_node, _ in node.value:
        key = loader.construct_object(key_node, deep=True)
        try:
            twice = key in seen
            seen.add(key)
        except TypeError as error:
            raise yaml.constructor.ConstructorError(
                None, None, "a list or mapping cannot be a key", key_node.start_mark
            ) from error
        if twice:
            raise yaml.constructor.ConstructorError(
                None, None, f"the key {key!r} stands twice", key_node.start_mark
            )
    return dict(loader.construct_mapping(node, deep=True))


_Loader.add_constructor(yaml.resolver.BaseResolver.DEFAULT_MAPPING_TAG, _mapping)


def parse_yaml(text: str, where: str) -> dict[str, Any]:
    """Parse a file of ours: a mapping with ``chalkbeam: 1`` at the top level.

    Raises:
        InputError: not YAML, not a mapping, or of another version.
    """
    try:
        _look_over(text)
        data = yaml.load(text, Loader=_Loader)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        spot = f" line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        why = getattr(error, "problem", None) or "cannot be read as YAML"
        raise InputError(
            Fault(
                f"{where}{spot}",
                f"{why}.",
                "Check the line and the one above it: colons, quotes, indents.",
            )
        ) from error
    except (RecursionError, ValueError) as error:
        raise InputError(Fault(where, f"cannot be read as YAML ({error}).")) from error
    if not isinstance(data, dict):
        raise InputError(
            Fault(
                where, "holds no 'key: value' lines.", "Its first line should read 'chalkbeam: 1'."
            )
        )
    version = data.get("chalkbeam")
    if version != FORMAT_VERSION or isinstance(version, bool):
        got = "is missing" if "chalkbeam" not in data else f"is {version!r}"
        raise InputError(
            Fault(
                where,
                f"the key 'chalkbeam' (the format's version) {got}; this program reads version {FORMAT_VERSION}.",
                f"Write 'chalkbeam: {FORMAT_VERSION}' in its first line.",
            )
        )
    return data


def read_yaml(path: str | Path) -> dict[str, Any]:
    """Read and parse one of our YAML files.

    Raises:
        InputError: the file is missing, not readable, too large, not text or not ours.
    """
    return parse_yaml(read_text(path), str(path))


def read_text(path: str | Path) -> str:
    """Read a text file whole (UTF-8).

    Raises:
        InputError: missing, a folder, not readable, too large or not UTF-8 text.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise InputError(Fault(str(path), "is a folder, not a file."))
        if path.stat().st_size > _MAX_BYTES:
            raise InputError(
                Fault(str(path), "is larger than any file of ours.", "Is it the right file?")
            )
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        near = _near_name(path)
        hint = f"Did you mean {near}?" if near else "Check the name and the folder."
        raise InputError(Fault(str(path), "there is no such file.", hint)) from error
    except UnicodeDecodeError as error:
        raise InputError(
            Fault(str(path), "is not a text file.", "Is it the right file?")
        ) from error
    except OSError as error:
        raise InputError(Fault(str(path), f"cannot be read ({error.strerror}).")) from error


def named_file(folder: Path, name: str, key: str, where: str, how_made: str) -> Path:
    """The file that a key of another file names, seen from that file's own folder.

    ``key``: as it stands in the file ``where``; ``how_made``: what makes such a file.

    Raises:
        InputError: there is no such file; it says who names it, where it was looked for, and
            one of that name or a like one nearby.
    """
    path = folder / name
    if path.exists() or not name.strip():
        return path
    looked = Path(os.path.normpath(path.absolute()))
    near = _near_name(path)
    for place in (".", "..", f"../{key}", key):  # the file itself, in a folder close by
        if not near and (folder / place / path.name).is_file():
            near = str(folder / place / path.name)
    told = Path(os.path.relpath(near, folder)).as_posix() if near else ""
    hint = f"Did you mean '{key}: {told}'? " if told else ""
    raise InputError(
        Fault(
            where,
            f"its line '{key}: {name}' names a file that is not there (looked for {looked}).",
            f"{hint}Write the path as seen from the folder of {Path(where).name}, or {how_made}.",
        )
    )


def _near_name(path: Path) -> str:
    try:
        stems = {p.stem: p.name for p in path.parent.iterdir() if p.suffix == path.suffix}
    except OSError:
        return ""
    close = difflib.get_close_matches(path.stem, list(stems), 1, 0.75)
    return str(path.parent / stems[close[0]]) if close else ""


def unknown_keys(data: Mapping[Any, Any], known: Collection[str], where: str) -> list[Fault]:
    """One fault for each key of ``data`` that is not in ``known``, naming the nearest known one.

    Raises:
        InputError: it is a file of ours of another kind; that alone is told then.
    """
    for kind, marks in _KINDS.items():
        if marks <= set(data) and not marks <= set(known):
            wanted = next((k for k, own in _KINDS.items() if own <= set(known)), "")
            what = f"this is {kind}; wanted here is {wanted or 'another file'}."
            remedy = "Name another file."
            if wanted == "a docket" and "measurements" in data:
                remedy = (
                    f"Write a docket with the line 'measurements: {Path(where).name}'; "
                    "'chalkbeam blocks' shows one."
                )
            raise InputError(Fault(where, what, remedy))
    faults = []
    for key in data:
        if key in known:
            continue
        near = difflib.get_close_matches(str(key), list(known), 1, 0.5)
        remedy = (
            f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(sorted(known))}."
        )
        faults.append(Fault(where, f"unknown key '{key}'.", remedy))
    return faults


def write_atomic(path: str | Path, data: str | bytes) -> None:
    """Write a file whole or not at all: a temporary file beside it, fsync, replace.

    Raises:
        InputError: the file is write-protected, the folder is missing or cannot be written to, or
            the disk is full.
    """
    path = Path(path)
    if is_protected(path):
        raise InputError(
            Fault(
                str(path),
                "is write-protected.",
                "Nothing was changed. Take the protection off, or name another place.",
            )
        )
    payload = data.encode("utf-8") if isinstance(data, str) else data
    temporary = ""
    try:
        if path.is_symlink():
            path = path.resolve()
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(
            prefix=f".{path.name}.", suffix=".part", dir=path.parent
        )
        with os.fdopen(handle, "wb") as file:
            file.write(payload)
            file.flush()
            os.fsync(file.fileno())
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
        Path(temporary).chmod(mode)
        Path(temporary).replace(path)
        with contextlib.suppress(OSError):  # a folder cannot be fsynced on every system
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except OSError as error:
        if temporary:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
        raise InputError(
            Fault(
                str(path),
                f"cannot be written ({error.strerror}).",
                "Nothing was changed. See to the folder's rights and the disk's room, or name "
                "another place.",
            )
        ) from error


def is_protected(path: Path) -> bool:
    """Whether a file is there that must not be changed; root is told so too."""
    try:
        return not path.stat().st_mode & 0o222 or not os.access(path, os.W_OK)
    except OSError:
        return False


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def dump_yaml(data: Mapping[str, Any]) -> str:
    """Text of one of our files, keys in the order given, short lists on one line."""
    return yaml.dump(
        dict(data), sort_keys=False, allow_unicode=True, default_flow_style=None, width=100
    )
