"""A folder of drafted files kept clean: what an earlier draft left is removed, or named.

Beside the command `draft`. A list in the folder says what each docket's last draft wrote there; only
a file of that list which is still as it was written is ever removed.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from configs.errors import InputError
from configs.files import json_record, path_from, read_bytes, read_text
from projector.output import JSON, write

_MOST_BYTES = 100_000_000  # of a file that an earlier draft wrote
_LIST = ".drafted.json"  # what each docket's last draft wrote here: docket → file → SHA-256


def keep_clean(out: Path, docket: Path, files: Mapping[str, bytes]) -> list[str]:
    """Take what an earlier draft of this docket left in its folder out of the way; say what.

    Only a file that this program wrote, and that is still as it was written, is removed. One
    that she changed, and SVGs that no draft of this docket wrote, are named and stay.
    """
    known = _drafted_before(out)
    own = path_from(out.resolve(), docket.resolve())
    before = known.pop(own, {})
    gone, changed = [], []
    for name, written in before.items():
        path = out / name
        inside = path.resolve().is_relative_to(out.resolve()) and not path.is_symlink()
        if name in files or not inside or not path.is_file():
            continue
        if _digest(read_bytes(path, _MOST_BYTES)) == written:
            with contextlib.suppress(OSError):
                path.unlink()
                gone.append(name)
        else:
            changed.append(name)
    with contextlib.suppress(OSError):
        (out / "steps").rmdir()  # only when empty
    said = []
    if gone:
        said.append(f"Removed what an earlier draft of this docket left: {_named(gone)}.")
    if changed:
        said.append(f"Of an earlier draft, and changed since, so left here: {_named(changed)}.")
    for other, theirs in known.items():
        both = sorted(set(theirs) & set(files))
        if both:
            said.append(
                f"{_named(both)} of {other} stood here and {'are' if len(both) > 1 else 'is'} "
                "this docket's now: give each docket a folder of its own (--out)."
            )
            known[other] = {k: v for k, v in theirs.items() if k not in both}
    mine = {*files, *changed, *(n for theirs in known.values() for n in theirs)}
    strange = sorted(p.name for p in out.glob("*.svg") if p.name not in mine)
    if strange:
        said.append(f"Also in this folder, and not of this draft: {_named(strange)}.")
    now = {n: _digest(d) for n, d in files.items()}
    listed = {**{k: v for k, v in known.items() if v}, own: now}
    text = json.dumps({"chalkbeam": 1, **listed}, indent=1, ensure_ascii=False)
    write(out / _LIST, f"{text}\n", JSON)
    return said


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _drafted_before(out: Path) -> dict[str, dict[str, str]]:
    """The list in the folder; empty when there is none that can be read."""
    try:
        read = json_record(read_text(out / _LIST)) or {}
    except InputError:
        return {}
    of = {str(k): v for k, v in read.items() if isinstance(v, dict)}
    return {k: {str(n): str(h) for n, h in v.items()} for k, v in of.items()}


def _named(names: Sequence[str], most: int = 6) -> str:
    """A few names, and how many more."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
