"""What may be written where: no file of hers is ever replaced without a word.

One rule for every command. What a command reads is never written over. What is there already is
replaced only when it is empty, or when this program wrote it and it is of the very kind that is
written now: its head is read for that. What she writes herself (a docket, measurements, readings)
is never replaced, only edited; a write-protected file stays as it is. `commands/places` asks the
rule before any work is done, `write` and `write_all` ask it again when the file is written.
"""

from __future__ import annotations

import os
import re
import stat
import struct
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from configs.errors import Fault, InputError
from configs.files import is_protected, open_regular, write_atomic

if TYPE_CHECKING:
    from typing import Any

    import numpy as np
    from numpy.typing import NDArray

    from configs.errors import Fault

_MARK = b"chalkbeam"
_HEAD = 65_536
_TAIL = 262_144  # a PDF says at its end who made it


@dataclass(frozen=True)
class Kind:
    """A kind of file; ``name`` as in a sentence, ``suffixes`` that it may have (none: any).

    ``keys``: what a YAML file of this kind has at its top level; ``hers``: she writes in it, so it
    is never replaced.
    """

    name: str
    suffixes: tuple[str, ...] = ()
    keys: frozenset[str] = frozenset()
    hers: bool = False


_YAML = (".yaml", ".yml")
PICTURE = Kind("a picture", (".png", ".jpg", ".jpeg"))
EXACT_PICTURE = Kind("a picture", (".png",))  # of projector pixels: a lossy one moves lines
DRAWING = Kind("an SVG drawing", (".svg",))
DXF = Kind("a DXF drawing", (".dxf",))
EXCHANGE = Kind("an SVG or DXF drawing", (".svg", ".dxf"))
PDF = Kind("a PDF", (".pdf",))
SHEET = Kind("a PDF, an SVG drawing or a PNG picture", (".pdf", ".svg", ".png"))
JSON = Kind("a list for programs", (".json",))
TEXT = Kind("a text", (".txt",))
DOCKET = Kind("a docket", _YAML, frozenset({"garment"}), hers=True)
BASE = Kind("a base", _YAML, frozenset({"base"}), hers=True)
MEASUREMENTS = Kind("a measurements file", _YAML, frozenset({"measurements"}), hers=True)
CALIBRATION = Kind("a calibration", _YAML, frozenset({"projector_from_table"}))
CARDS = Kind("a list of cards", _YAML, frozenset({"bars_mm", "cards"}))
PATTERN = Kind("a pattern's description", _YAML, frozenset({"windows"}))
READINGS = Kind("a file of tape readings", _YAML, frozenset({"distances_mm"}), hers=True)
CROSSES = Kind("a file of crosses", _YAML, frozenset({"crosses"}))
CLOTH = Kind("a cloth found on the table", _YAML, frozenset({"outline", "note"}))
ANSWERS = Kind("answers to 'chalkbeam new'", _YAML, frozenset({"answers"}))
_OURS = Kind("a file of another kind", _YAML, hers=True)

# a docket names most of what the others hold, so it is asked first
_BY_KEYS = (
    DOCKET, BASE, MEASUREMENTS, CALIBRATION, CARDS, PATTERN, READINGS, CROSSES, CLOTH, ANSWERS,
)  # fmt: skip
_DOCKET_KEYS = frozenset({"lay", "pieces", "allowances", "cloth", "cloths", "of", "shares"})


def kind_of(data: bytes) -> tuple[Kind | None, bool]:
    """What bytes are, by their head, and whether this program wrote them.

    None: nothing that this program reads or writes.
    """
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return EXACT_PICTURE, b"Software\0" + _MARK in data
    if data.startswith(b"\xff\xd8\xff"):
        return PICTURE, b"\xff\xfe" + _comment_length() + _MARK in data
    if data.startswith(b"%PDF-"):
        return PDF, b"/Creator (" + _MARK + b")" in data
    text = data.removeprefix(b"\xef\xbb\xbf").lstrip()
    if re.match(rb"(?:<\?xml|<!--|<!DOCTYPE|<svg)", text) and b"<svg" in text:
        return DRAWING, b"<!-- " + _MARK + b" -->" in text
    if re.match(rb"(?:999\r?\n.*\r?\n\s*)*0\r?\n\s*SECTION", text):
        return DXF, text.startswith(b"999\n" + _MARK + b"\n")
    if text.startswith((b"{", b"[")):
        return JSON, b'"' + _MARK + b'"' in text
    if re.search(rb"^chalkbeam\s*:", text, re.MULTILINE):
        keys = {k.decode() for k in re.findall(rb"^['\"]?([a-z_]+)['\"]?\s*:", text, re.MULTILINE)}
        if "title" in keys and keys & _DOCKET_KEYS and "base" not in keys:
            return DOCKET, True
        return next((k for k in _BY_KEYS if k.keys <= keys), _OURS), True
    return (TEXT, True) if b"drafted by " + _MARK in text else (None, False)


def _comment_length() -> bytes:
    return struct.pack(">H", len(_MARK) + 2)


def _read(path: Path) -> bytes:
    with open_regular(path) as file:
        head = file.read(_HEAD)
        file.seek(0, os.SEEK_END)
        size = file.tell()
        file.seek(max(_HEAD, size - _TAIL))
        return head + file.read(_TAIL)


def unfit(path: Path, kind: Kind, *, edited: bool = False) -> Fault | None:
    """Why ``path`` must not be written to as a file of ``kind``; None when it may.

    ``edited``: what is there is read and kept, so it may be hers; whoever reads it says whether
    it is of the right kind.
    """
    if not path.name.strip("."):
        return Fault(str(path), "is a folder, not a file.", "Name a file in it.")
    bare = kind.suffixes == _YAML and not path.suffix  # a YAML file may do without an ending
    if kind.suffixes and path.suffix.lower() not in kind.suffixes and not edited and not bare:
        names = " or ".join(path.with_suffix(s).name for s in kind.suffixes[:2])
        lossy = " A lossy picture moves lines." if kind is EXACT_PICTURE else ""
        what = f"ends in '{path.suffix}'; {kind.name} goes here.{lossy}"
        return Fault(str(path), what, f"Name it {names}.")
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return None
    except OSError as error:
        return Fault(str(path), f"cannot be looked at ({error.strerror}).", "Name another file.")
    if stat.S_ISDIR(mode):
        return Fault(str(path), "is a folder, not a file.", "Name a file in it.")
    if not stat.S_ISREG(mode):
        return Fault(str(path), "is a device or a pipe, not a file.", "Name a file.")
    if is_protected(path):
        remedy = "Name another file, or take the protection off."
        return Fault(str(path), "is write-protected.", remedy)
    if edited:
        return None
    try:
        data = _read(path)
    except InputError as error:
        return replace(error.faults[0], remedy="Name another file.")
    except OSError as error:
        return Fault(str(path), f"cannot be read ({error.strerror}).", "Name another file.")
    if not data.strip():
        return None
    there, ours = kind_of(data)
    what = there.name if there is not None else "not a file that this program made"
    if there is not None and ours and not there.hers and _alike(there, kind, path):
        return None
    if there is not None and not ours:
        what = f"{there.name} that this program did not make"
    what = f"is there already and is {what}; it would be lost."
    return Fault(str(path), what, "Name another file, or move that one away.")


def _alike(there: Kind, wanted: Kind, path: Path) -> bool:
    """Whether a file may give way to one that is written to its name."""
    if wanted in (PICTURE, EXACT_PICTURE):  # the name's ending says which of the two is written
        lossless = path.suffix.lower() == ".png"
        return there is (EXACT_PICTURE if lossless else PICTURE)
    if wanted is EXCHANGE:
        return there is (DXF if path.suffix.lower() == ".dxf" else DRAWING)
    if wanted is SHEET:
        return there is kind_named(path.name)
    return there is wanted


def kind_named(name: str) -> Kind:
    """What a file is by its name's ending: of those that are written into folders.

    Raises:
        ValueError: none of them ends so.
    """
    suffix = Path(name).suffix.lower()
    for kind in (EXACT_PICTURE, PICTURE, DRAWING, DXF, PDF, JSON, TEXT):
        if suffix in kind.suffixes:
            return kind
    raise ValueError(f"no kind of file ends in {suffix!r}")


def same_file(one: Path, other: Path) -> bool:
    """Whether two names are one file: by links too, and where it is not there yet."""
    try:
        return one.samefile(other)
    except OSError:
        return one.resolve() == other.resolve()


def write(path: Path, data: str | bytes, kind: Kind) -> None:
    """Write a file whole or not at all, marked as this program's.

    Raises:
        InputError: the rule forbids it, or it cannot be written.
    """
    write_all({path: (data, kind)})


def write_all(files: Mapping[Path, tuple[str | bytes, Kind]]) -> None:
    """Write several files; when the rule forbids one of them, none is written.

    Raises:
        InputError: every file that must not be written to, or one cannot be.
    """
    faults = [f for path, (_, kind) in files.items() if (f := unfit(path, kind)) is not None]
    if faults:
        raise InputError(faults)
    for path, (data, _) in files.items():
        write_atomic(path, marked(data if isinstance(data, bytes) else data.encode("utf-8")))


def write_picture(path: Path, picture: NDArray[np.uint8], kind: Kind = PICTURE) -> None:
    """Write a picture (H, W) or (H, W, 3) RGB as PNG or JPEG, by its name's ending.

    Raises:
        InputError: as `write`.
    """
    write(path, picture_bytes(picture, path.suffix), kind)


def picture_bytes(picture: NDArray[np.uint8], suffix: str = ".png") -> bytes:
    """A picture (H, W) or (H, W, 3) RGB as PNG (lossless: lines stay where they are) or JPEG."""
    import cv2
    import numpy as np

    jpeg = suffix.lower() != ".png"
    how: list[Any] = [cv2.IMWRITE_JPEG_QUALITY, 93] if jpeg else []
    bgr = picture if picture.ndim == 2 else np.ascontiguousarray(picture[:, :, ::-1])
    done, data = cv2.imencode(".jpg" if jpeg else ".png", bgr, how)
    if not done:
        raise OSError("the picture could not be encoded")
    return bytes(data.tobytes())


def marked(data: bytes) -> bytes:
    """The same file, saying by whom it was written, where its kind has a place for that."""
    kind, ours = kind_of(data)
    if ours:
        return data
    if kind is EXACT_PICTURE:  # after the first chunk, IHDR: 8 signature, 8 head, 13 data, 4 sum
        text = b"tEXtSoftware\0" + _MARK
        chunk = struct.pack(">I", len(text) - 4) + text + struct.pack(">I", zlib.crc32(text))
        return data[:33] + chunk + data[33:]
    if kind is PICTURE:  # a comment before the first segment that is not an application's
        at = 2
        while data[at : at + 1] == b"\xff" and 0xE0 <= data[at + 1] <= 0xEF:
            at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
        return data[:at] + b"\xff\xfe" + _comment_length() + _MARK + data[at:]
    if kind is DRAWING:
        at = data.index(b"<svg")
        return data[:at] + b"<!-- " + _MARK + b" -->\n" + data[at:]
    if kind is DXF:
        return b"999\n" + _MARK + b"\n" + data
    return data


def look_over(
    reads: Iterable[tuple[str, Path]], writes: Iterable[tuple[str, Path, Kind, bool]]
) -> None:
    """The rule for a whole command, before it does anything.

    Args:
        reads: what it reads: (option as typed, file).
        writes: what it writes: (option as typed, file, kind, whether it is edited: read and
            written back).

    Raises:
        InputError: every file that must not be written to, with its option.
    """
    read = list(reads)
    faults = []
    seen: list[tuple[str, Path]] = []
    for option, path, kind, edited in writes:
        fault = unfit(path, kind, edited=edited)
        other = next((o for o, p in (*read, *seen) if same_file(p, path)), None)
        if edited and any(same_file(p, path) for _, p in seen):
            continue  # the same docket named twice; its command says what it makes of that
        if other is not None:
            taken = f"is the same file as {other}" if other else "is read here too"
            fault = Fault(str(path), f"{taken}; it would be lost.", "Name another file.")
        if fault is not None:
            where = f"{option} {fault.where}" if option else fault.where
            faults.append(Fault(where, fault.what, fault.remedy))
        seen.append((option or str(path), path))
    if faults:
        raise InputError(faults)
