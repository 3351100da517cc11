"""Files of ours in and out: only regular files are read, and none past its limit; YAML is read
with places and limits; what is written is written whole or not at all.

The only place of the program that opens a file of hers for reading, or one for writing.
"""

from __future__ import annotations

import contextlib
import datetime
import difflib
import os
import re
import stat
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO, ClassVar

import yaml

from configs.errors import Fault, InputError, is_shown, short

FORMAT_VERSION = 1
MOST_BYTES = 4_000_000  # a docket of a hundred pieces is 50 kB; more is no text of ours
_DEEPEST = 30  # a remnant's holes are five deep
# numbers, texts and keys of one file: an import of a hundred pieces has 60,000
_MOST_VALUES = 200_000
_MOST_DIGITS = 40


# -- reading -----------------------------------------------------------------------------------


def open_regular(path: str | Path, most: int | None = None) -> BinaryIO:
    """A regular file, open for reading; ``most``: bytes, None for any number.

    A pipe, a device or a folder is refused before anything of it is read.

    Raises:
        InputError: missing, no regular file, not readable or larger than ``most``.
    """
    path = Path(path)
    try:
        # O_NONBLOCK: a pipe that nobody writes to must not hold us before it is looked at
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        handle = os.open(path, flags)
    except FileNotFoundError as error:
        near = _near_name(path)
        hint = f"Did you mean {near}?" if near else "Check the name and the folder."
        raise InputError.of(str(path), "there is no such file.", hint) from error
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        if _is_folder(path):  # Windows opens none
            raise InputError.of(str(path), "is a folder, not a file.") from error
        why = getattr(error, "strerror", None) or error
        raise InputError.of(str(path), f"cannot be read ({why}).") from error
    kind = os.fstat(handle)
    fault = None
    if stat.S_ISDIR(kind.st_mode):
        fault = Fault(str(path), "is a folder, not a file.")
    elif not stat.S_ISREG(kind.st_mode):
        fault = Fault(str(path), "is no plain file but a pipe or a device.", "Name a file.")
    elif most is not None and kind.st_size > most:
        fault = _too_large(path, most)
    if fault is not None:
        os.close(handle)
        raise InputError(fault)
    return os.fdopen(handle, "rb")


def read_bytes(path: str | Path, most: int = MOST_BYTES) -> bytes:
    """All of a regular file, at most ``most`` bytes.

    Raises:
        InputError: as `open_regular`.
    """
    with open_regular(path, most) as file:
        try:
            data = file.read(most + 1)  # it may grow meanwhile, and some systems tell no size
        except OSError as error:
            raise InputError.of(str(path), f"cannot be read ({error.strerror}).") from error
    if len(data) > most:
        raise InputError(_too_large(Path(path), most))
    return data


def read_text(path: str | Path, most: int = MOST_BYTES) -> str:
    """A text file whole (UTF-8).

    Raises:
        InputError: as `read_bytes`, or not UTF-8 text.
    """
    try:
        return read_bytes(path, most).decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        raise InputError.of(str(path), "is not a text file.", "Is it the right file?") from error


def _too_large(path: Path, most: int) -> Fault:
    drawing = path.suffix.lower() in (".svg", ".dxf")
    remedy = "Save the outlines alone, without pictures." if drawing else "Is it the right file?"
    what = f"is larger than {most / 1e6:.3g} MB, and so than any file of its kind."
    return Fault(str(path), what, remedy)


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def named_file(folder: Path, name: str, key: str, where: str, how_made: str) -> Path:
    """The file that a key of another file names, seen from that file's own folder.

    ``key``: as it stands in the file ``where``; ``how_made``: what makes such a file.

    Raises:
        InputError: there is no such file; it says who names it, where it was looked for, and
            one of that name or a like one nearby.
    """
    path = folder / name
    near, there = "", False
    with contextlib.suppress(OSError, ValueError):  # a NUL, or a name too long
        if path.is_file():
            return path
        there = path.exists()
    if there:
        what = f"its line '{key}: {name}' names a folder or a device."
        raise InputError(Fault(where, what, f"Name a file, or {how_made}.", name))
    looked = Path(os.path.normpath(path.absolute()))
    if is_shown(name):
        near = _near_name(path)
        for place in (".", "..", f"../{key}", key):  # the file itself, in a folder close by
            with contextlib.suppress(OSError):
                if not near and (folder / place / path.name).is_file():
                    near = str(folder / place / path.name)
    told = path_from(folder, Path(near)) if near else ""
    hint = f"Did you mean '{key}: {told}'? " if told else ""
    raise InputError.of(
        where,
        f"its line '{key}: {short(name) if len(name) > 200 else name}' names a file that is not "
        f"there (looked for {looked if len(name) <= 200 else short(str(looked))}).",
        f"{hint}Write the path as seen from the folder of {Path(where).name}, or {how_made}.",
    )


def path_from(folder: Path, path: Path) -> str:
    """A path as a file in ``folder`` names it; the whole path where it lies on another drive."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return str(path)


def _near_name(path: Path) -> str:
    """A file beside it of a like name, or of the same name spelt ``.yml``; "" when there is none."""
    yaml = (".yaml", ".yml")
    try:
        stems = {p.stem: p.name for p in path.parent.iterdir() if p.suffix == path.suffix}
        if path.suffix in ("", *yaml):  # 'top' or 'top.yml' for top.yaml
            for other in map(path.with_suffix, yaml):
                if other != path and other.is_file():
                    return str(other)
    except (OSError, ValueError):  # no such folder, or a name too long
        return ""
    close = difflib.get_close_matches(path.stem, list(stems), 1, 0.75)
    return str(path.parent / stems[close[0]]) if close else ""


def json_record(text: str) -> dict[str, Any] | None:
    """One mapping from a line of JSON; None when the line is none (torn, too deep, not finite)."""
    import json

    try:
        data = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) else None


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number")


# -- YAML --------------------------------------------------------------------------------------

_Fast: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # ten times the speed, where built


class _Loader(_Fast):  # type: ignore[misc]  # one of two bases, both safe loaders
    """Safe loader for what people write: decimal numbers, and no key twice.

    YAML 1.1 reads 12:30 as 750 and 010 as 8; here the first is a text and the second ten.
    """

    yaml_implicit_resolvers: ClassVar[dict[str, list[tuple[str, re.Pattern[str]]]]] = {}


for _tag, _form, _first in (
    ("bool", r"yes|Yes|YES|no|No|NO|true|True|TRUE|false|False|FALSE|on|On|ON|off|Off|OFF", "yYnNtTfFoO"),
    ("null", r"~|null|Null|NULL|", ["~", "n", "N", ""]),
    ("int", r"[-+]?[0-9]+", "-+0123456789"),
    (
        "float",
        r"[-+]?(?:[0-9]+\.[0-9]*|\.[0-9]+)(?:[eE][-+][0-9]+)?|[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)",
        "-+.0123456789",
    ),
    ("timestamp", r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[Tt ].*)?", "0123456789"),
):  # fmt: skip
    _Loader.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", re.compile(f"^(?:{_form})$"), list(_first)
    )


def _refuse(what: str, mark: Any) -> yaml.constructor.ConstructorError:
    return yaml.constructor.ConstructorError(None, None, what, mark)


def _look_over(text: str) -> None:
    """Refuse references, tags, endless lists and bottomless nesting before anything is built.

    No file of ours needs references ('*name') or tags ('!!int'), and a few lines of the first can
    grow into more values than memory holds.
    """
    depth = count = 0
    for event in yaml.parse(text, Loader=_Fast):
        mark: Any = event.start_mark
        if isinstance(event, yaml.AliasEvent):
            raise _refuse("references ('*name') are not read", mark)
        tag = getattr(event, "tag", None)
        if tag is not None:
            raise _refuse(f"tags ({short(tag)}) are not read; take it out", mark)
        if isinstance(event, yaml.NodeEvent):
            count += 1
            if count > _MOST_VALUES:
                raise _refuse("the file holds more values than any file of ours", mark)
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > _DEEPEST:
                raise _refuse("lists are nested too deep", mark)
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1


def _mapping(loader: _Loader, node: yaml.MappingNode) -> dict[Any, Any]:
    _join_decimals(node)
    made: dict[Any, Any] = {}
    for key_node, value_node in node.value:
        key = loader.construct_object(key_node, deep=True)
        try:
            twice = key in made
        except TypeError as error:
            raise _refuse("a list or mapping cannot be a key", key_node.start_mark) from error
        if twice:
            raise _refuse(f"the key {short(key)} stands twice", key_node.start_mark)
        made[key] = loader.construct_object(value_node, deep=True)
    return made


def _join_decimals(node: yaml.MappingNode) -> None:
    """Put ``{hem: 2,5 cm}`` together again: in braces YAML ends a value at the comma.

    What stands right behind the comma, begins with a digit and has no value of its own can be
    nothing but the number's decimals.
    """
    if not node.flow_style:
        return
    pairs: list[tuple[Any, Any]] = []
    for key, value in node.value:
        before = pairs[-1][1] if pairs else None
        if (
            isinstance(before, yaml.ScalarNode)
            and isinstance(key, yaml.ScalarNode)
            and isinstance(value, yaml.ScalarNode)
            and value.value == ""
            and value.end_mark.index == key.end_mark.index
            and key.start_mark.index == before.end_mark.index + 1
            and not before.style
            and not key.style
            and re.fullmatch(r"[-+−]?\d+", before.value)
            and re.match(r"\d", key.value)
        ):
            plain = key.value.isdigit()
            joined = yaml.ScalarNode(
                f"tag:yaml.org,2002:{'float' if plain else 'str'}",
                f"{before.value}{'.' if plain else ','}{key.value}",
                before.start_mark,
                key.end_mark,
            )
            pairs[-1] = (pairs[-1][0], joined)
        else:
            pairs.append((key, value))
    node.value = pairs


def _number(loader: _Loader, node: yaml.ScalarNode) -> int | float:
    text = str(node.value).replace("−", "-")
    if len(text) > _MOST_DIGITS:
        raise _refuse(f"a number of {len(text)} signs is none of ours", node.start_mark)
    if node.tag.endswith(":int"):
        return int(text)
    words = {".inf": "inf", "-.inf": "-inf", "+.inf": "inf", ".nan": "nan"}
    return float(words.get(text.lower(), text))


def _date(loader: _Loader, node: yaml.ScalarNode) -> Any:
    try:
        return loader.construct_yaml_timestamp(node)
    except (ValueError, OverflowError, AttributeError):  # the 31st of February: its reader tells
        return node.value


_Loader.add_constructor(yaml.resolver.BaseResolver.DEFAULT_MAPPING_TAG, _mapping)
_Loader.add_constructor("tag:yaml.org,2002:int", _number)
_Loader.add_constructor("tag:yaml.org,2002:float", _number)
_Loader.add_constructor("tag:yaml.org,2002:timestamp", _date)


def parse_yaml(text: str, where: str) -> dict[str, Any]:
    """Parse a file of ours: a mapping with ``chalkbeam: 1`` at the top level.

    A decimal comma is read in braces too (``{hem: 2,5 cm}``).

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
        remedy = "Check the line and the one above it: colons, quotes, indents."
        raise InputError.of(f"{where}{spot}", f"{why}.", remedy) from error
    except (RecursionError, ValueError, OverflowError) as error:
        raise InputError.of(where, f"cannot be read as YAML ({error}).") from error
    if not isinstance(data, dict):
        remedy = "Its first line should read 'chalkbeam: 1'."
        raise InputError.of(where, "holds no 'key: value' lines.", remedy)
    version = data.get("chalkbeam")
    if version != FORMAT_VERSION or isinstance(version, bool):
        got = "is missing" if "chalkbeam" not in data else f"is {short(version)}"
        what = f"the key 'chalkbeam' (the format's version) {got}; this program reads version {FORMAT_VERSION}."
        remedy = f"Write 'chalkbeam: {FORMAT_VERSION}' in its first line."
        raise InputError.of(where, what, remedy)
    return data


def compose(text: str) -> Any:
    """The nodes of a YAML text, each with the place where it stands; None for an empty one.

    Raises:
        InputError: it is no YAML.
    """
    try:
        return yaml.compose(text, Loader=_Loader)
    except yaml.YAMLError as error:
        raise InputError.of("", f"cannot be read as YAML ({error}).") from error


def read_yaml(path: str | Path) -> dict[str, Any]:
    """Read and parse one of our YAML files.

    Raises:
        InputError: the file is missing, not readable, too large, not text or not ours.
    """
    return parse_yaml(read_text(path), str(path))


class _Dumper(yaml.SafeDumper):
    """Plain values only; a tuple is a list, a date with a time its text, nothing a reference."""

    def ignore_aliases(self, data: Any) -> bool:
        """What stands in two places is written twice: `parse_yaml` reads no references."""
        return True


def _text(dumper: _Dumper, value: str) -> yaml.ScalarNode:
    """A text that the reader would take for something else ('09', a number to it) stands in quotes."""
    forms = _Loader.yaml_implicit_resolvers.get(value[:1], [])
    style = "'" if any(form.match(value) for _, form in forms) else None
    return dumper.represent_scalar("tag:yaml.org,2002:str", value, style=style)


_Dumper.add_representer(str, _text)
_Dumper.add_representer(tuple, lambda d, v: d.represent_list(v))
_Dumper.add_representer(datetime.datetime, lambda d, v: d.represent_str(v.isoformat()))


def dump_yaml(data: Mapping[str, Any]) -> str:
    """Text of one of our files, keys in the order given, each on a line of its own; short lists
    and mappings below them on one line."""
    return "".join(
        yaml.dump(
            {key: value},
            Dumper=_Dumper,
            sort_keys=False,
            allow_unicode=True,
            default_flow_style=None if isinstance(value, dict | list | tuple) else False,
            width=100,
        )
        for key, value in data.items()
    )


def one_line(value: Any) -> str:
    """A value as it stands in a file, on one line where it can."""
    made = yaml.dump(
        value, Dumper=_Dumper, default_flow_style=True, allow_unicode=True, width=10**6,
        sort_keys=False,
    )  # fmt: skip
    return made.removesuffix("\n").removesuffix("\n...").strip()


# -- writing -----------------------------------------------------------------------------------


def write_atomic(path: str | Path, data: str | bytes) -> None:
    """Write a file whole or not at all: a temporary file beside it, fsync, replace.

    Raises:
        InputError: the file is write-protected, the folder is missing or cannot be written to, the
            disk is full, or the text holds what is no text.
    """
    path = Path(path)
    if is_protected(path):
        remedy = "Nothing was changed. Take the protection off, or name another place."
        raise InputError.of(str(path), "is write-protected.", remedy)
    temporary = ""
    try:
        payload = data.encode("utf-8") if isinstance(data, str) else data
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
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name, half a sign in the text
        if temporary:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
        why = getattr(error, "strerror", None) or error
        remedy = "Nothing was changed. See to the folder's rights and the disk's room, or name "
        remedy += "another place."
        raise InputError.of(str(path), f"cannot be written ({why}).", remedy) from error


def is_protected(path: Path) -> bool:
    """Whether a file is there that must not be changed; root is told so too."""
    try:
        return not path.stat().st_mode & 0o222 or not os.access(path, os.W_OK)
    except (OSError, ValueError):
        return False


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
