"""Never lost: every change on disk before the next one.

Each change is one short line appended to a file beside the docket, in the hand of the system
within microseconds, so that killing the program at any moment loses nothing; a second thread
sees to it that the disk has it too. When her hands rest, the docket itself is saved whole and
the journal begins anew. Opening a docket reads what its journal still holds.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from configs.errors import Fault
    from drafting import Docket
    from drafting.placement import Placement

VERSION = 1


def journal_path(docket_path: Path) -> Path:
    """The journal of a docket: a hidden file beside it (beside the file itself, not a link to it)."""
    docket_path = docket_path.resolve()
    return docket_path.with_name(f".{docket_path.name}.journal")


def lock_path(docket_path: Path) -> Path:
    """Held while a docket is open at a table."""
    docket_path = docket_path.resolve()
    return docket_path.with_name(f".{docket_path.name}.open")


def _grab(handle: int, *, shared: bool = False) -> bool:
    """Take the lock of an open file; answers at once whether nobody else has it.

    The system frees it with the handle. A folder that knows no locks (some network drives) keeps
    nobody out: two tables are then hers to avoid.
    """
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]  # Windows only
        else:
            import fcntl

            # of the open file, not of the process: two tables in one process are told apart too
            fcntl.flock(handle, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return True
    return True


def is_open(docket_path: Path) -> bool:
    """Whether a docket is open at a table now: its lock is held by somebody who is alive."""
    try:
        handle = os.open(lock_path(docket_path), os.O_RDONLY if os.name != "nt" else os.O_RDWR)
    except OSError:
        return False
    try:
        return not _grab(handle, shared=True)
    finally:
        os.close(handle)


def _lock(docket_path: Path) -> int:
    """Take the docket for this table; the system gives it back even after kill -9.

    Raises:
        InputError: another table has it, or the folder cannot be written to.
    """
    from configs.errors import Fault, InputError

    path = lock_path(docket_path)
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise InputError(_closed_folder(docket_path, error.strerror or "")) from error
        if not _grab(handle):
            os.close(handle)
            raise InputError(
                Fault(
                    str(docket_path),
                    "is open at another table.",
                    "Leave that one first (Q); two would write over each other.",
                )
            )
        if _is_still(handle, path):
            return handle
        os.close(handle)  # its owner left between our opening and our locking it: the next one


def _is_still(handle: int, path: Path) -> bool:
    """Whether an open file is the one that bears the name now."""
    try:
        there, ours = path.stat(), os.fstat(handle)
    except OSError:
        return False
    return (there.st_dev, there.st_ino) == (ours.st_dev, ours.st_ino)


def _unlock(docket_path: Path, handle: int) -> None:
    """Give the docket back; the file goes first, while nobody else can have taken it."""
    path = lock_path(docket_path)
    gone = False
    with contextlib.suppress(OSError):
        if os.name != "nt":  # there an open file cannot be taken away
            path.unlink()
            gone = True
    os.close(handle)
    if not gone:
        with contextlib.suppress(OSError):
            path.unlink()


def _closed_folder(docket_path: Path, why: str) -> Fault:
    from configs.errors import Fault

    return Fault(
        str(docket_path.parent),
        f"cannot be written to ({why}), so no change could be kept.",
        "Copy the docket into a folder of your own, or free this one for writing.",
    )


def _may_write(docket_path: Path) -> None:
    """Whether docket and folder can be written to, asked before she begins.

    Raises:
        InputError: one of them cannot.
    """
    from configs.errors import Fault, InputError

    if not os.access(docket_path.parent, os.W_OK):
        raise InputError(_closed_folder(docket_path, "it is write-protected"))
    if docket_path.exists() and not os.access(docket_path, os.W_OK):
        raise InputError(
            Fault(
                str(docket_path),
                "is write-protected, so no change could be kept.",
                "Copy it, or take the protection off.",
            )
        )


@contextlib.contextmanager
def held(docket_path: Path) -> Iterator[None]:
    """Keep a docket to oneself for a while, as a table does: nobody else writes to it.

    Raises:
        InputError: it is open at a table, or its folder cannot be written to.
    """
    handle = _lock(docket_path)
    try:
        yield
    finally:
        _unlock(docket_path, handle)


def with_noted(docket_path: Path) -> Recovered:
    """A docket as the table would show it: with the changes that its journal still holds.

    Only reads; may be asked while the docket is open at a table.

    Raises:
        ChalkbeamError: the docket cannot be read or has faults.
    """
    from drafting.docket import Docket

    path = journal_path(docket_path)
    for _ in range(5):
        before = _digest(docket_path)
        docket = Docket.load(docket_path)
        found = _noted(docket, path)
        if _digest(docket_path) == before:  # else the table saved in between: once more
            break
    if found.stale:
        note = f"{path.name} holds changes of another version of the docket; they are left out."
        return Recovered(docket, 0, note)
    return Recovered(found.docket, found.changes)


def forget(docket_path: Path) -> None:
    """Take a docket's journal away: what it held is in the docket now."""
    with contextlib.suppress(OSError):
        journal_path(docket_path).unlink()


def is_stale(docket_path: Path) -> bool:
    """Whether a docket's journal is of another version of it, so that it must not be lost.

    Raises:
        ChalkbeamError: the docket cannot be read or has faults.
    """
    from drafting.docket import Docket

    return _noted(Docket.load(docket_path), journal_path(docket_path)).stale


@dataclass(frozen=True)
class Recovered:
    """What a journal still held: the docket with it, how many changes, and what to say."""

    docket: Docket
    changes: int
    note: str = ""


@dataclass(eq=False)
class Journal:
    """The open journal of one docket. `note` after every change, `save` when hands rest."""

    docket: Docket
    path: Path
    _file: int = field(default=-1, repr=False)
    _base: str = ""
    _lay: tuple[Placement, ...] = ()
    _traced: tuple[str, ...] = ()
    _table: Mapping[str, Any] = field(default_factory=dict)
    _wake: threading.Event = field(default_factory=threading.Event, repr=False)
    _closing: bool = False
    _thread: threading.Thread | None = field(default=None, repr=False)
    _lock: int = field(default=-1, repr=False)
    unsaved: int = 0

    @classmethod
    def open(cls, docket: Docket) -> tuple[Journal, Recovered]:
        """Open a docket's journal and take up what it still holds.

        A journal of another version of the docket (edited elsewhere since) is put aside under
        another name and told, never applied.

        Raises:
            InputError: the docket was never saved, is open at another table, or its
                folder cannot be written to.
        """
        from configs.errors import Fault, InputError

        if docket.path is None:
            raise InputError(Fault("", "this docket was never saved.", "Save it first."))
        path = journal_path(docket.path)
        _may_write(docket.path)
        lock = _lock(docket.path)
        try:
            recovered = _recover(docket, path)
            made = cls(recovered.docket, path, _lock=lock)
            made._keep(recovered.docket)
            made._base = _digest(docket.path)
            # written anew in one step even with changes in it: proof that the folder takes it
            made._begin([made._everything()] if recovered.changes else [])
            made.unsaved = recovered.changes
        except BaseException:
            _unlock(docket.path, lock)
            raise
        made._thread = threading.Thread(target=made._sync, name="journal", daemon=True)
        made._thread.start()
        return made, recovered

    def note(
        self, lay: tuple[Placement, ...], traced: tuple[str, ...], table: Mapping[str, Any]
    ) -> None:
        """Write down what has changed since the last note (nothing when nothing has)."""
        line: dict[str, Any] = {}
        if lay != self._lay:
            before = {p.key: p for p in self._lay}
            if [p.key for p in lay] == [p.key for p in self._lay]:
                line["moved"] = [plain(p) for p in lay if before[p.key] != p]
            else:
                line["lay"] = [plain(p) for p in lay]
        if traced != self._traced:
            line["traced"] = list(traced)
        if dict(table) != dict(self._table):
            line["table"] = dict(table)
        if not line:
            return
        self._append(line)
        self.unsaved += 1
        self._lay, self._traced, self._table = lay, traced, dict(table)

    def save(self) -> str:
        """Save the docket whole, then begin the journal anew; answers what is to be told, or "".

        A docket that was changed elsewhere meanwhile keeps those changes; the lay, the marks and
        the view are the table's.

        Raises:
            InputError: the docket cannot be written, or was changed elsewhere and has
                faults now; the journal keeps everything.
        """
        if not self.unsaved:
            return ""
        said = ""
        now = _digest(self._docket_path)
        if now and now != self._base:
            self.docket = type(self.docket).load(self._docket_path)
            self.docket.pieces()
            said = (
                "The docket was changed elsewhere meanwhile: both are kept, the lay is this one. "
                "Leave and open it again to see those changes."
            )
        docket = self.docket.replace(lay=self._lay, traced=self._traced, table=self._table)
        docket.save()
        self.docket = docket
        self._base = _digest(self._docket_path)
        self._begin()
        self.unsaved = 0
        return said

    def close(self) -> None:
        """Save and take the journal away: everything is in the docket.

        Raises:
            InputError: as `save`; the journal then stays.
        """
        try:
            self.save()
            done = True
        except Exception:
            done = False
            raise
        finally:
            self._closing = True
            self._wake.set()
            if self._thread is not None:
                self._thread.join(timeout=5.0)
            if self._file >= 0:
                os.close(self._file)
                self._file = -1
            if done:
                with contextlib.suppress(OSError):
                    self.path.unlink()
            if self._lock >= 0:
                _unlock(self._docket_path, self._lock)
                self._lock = -1

    # -- inside ----------------------------------------------------------------------------------

    @property
    def _docket_path(self) -> Path:
        path = self.docket.path
        if path is None:  # `open` refuses such a docket
            raise ValueError("the docket has no path")
        return path

    def _keep(self, docket: Docket) -> None:
        self._lay, self._traced, self._table = docket.lay, docket.traced, dict(docket.table)

    def _everything(self) -> dict[str, Any]:
        """All that is noted, as one line."""
        lay = [plain(p) for p in self._lay]
        return {"lay": lay, "traced": list(self._traced), "table": dict(self._table)}

    def _begin(self, changes: Sequence[Mapping[str, Any]] = ()) -> None:
        """A new journal, replacing the old one in one step."""
        from configs.files import write_atomic

        if self._file >= 0:
            os.close(self._file)
            self._file = -1
        lines = [{"journal": VERSION, "of": self._base}, *changes]
        write_atomic(self.path, "".join(_written(line) for line in lines))
        self._open_file()

    def _open_file(self) -> None:
        flags = os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0)
        self._file = os.open(self.path, flags)

    def _append(self, line: Mapping[str, Any]) -> None:
        os.write(self._file, _written(line).encode())
        self._wake.set()

    def _sync(self) -> None:
        """Bring what was written to the disk, away from the hand that draws."""
        while not self._closing:
            self._wake.wait()
            self._wake.clear()
            with contextlib.suppress(OSError, ValueError):  # closed meanwhile: saved anyway
                if self._file >= 0:
                    os.fsync(self._file)


def _written(line: Mapping[str, Any]) -> str:
    return json.dumps(line, separators=(",", ":"), ensure_ascii=False) + "\n"


def plain(p: Placement) -> dict[str, Any]:
    """A placement as plain data; `placement_from` reads it back."""
    return asdict(p)


def _digest(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


@dataclass(frozen=True)
class _Noted:
    """What a journal holds: the docket with it, how many changes; ``stale``: of another version."""

    docket: Docket
    changes: int
    stale: bool = False


def _noted(docket: Docket, path: Path) -> _Noted:
    """The docket with what its journal holds, line by line; a torn last line is left out."""
    if docket.path is None:
        return _Noted(docket, 0)
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return _Noted(docket, 0)
    head = _line(lines[0]) if lines else None
    changes = [c for c in (_line(text) for text in lines[1:]) if c]
    if not changes:
        return _Noted(docket, 0)
    lay, traced, table = list(docket.lay), docket.traced, dict(docket.table)
    count = 0
    for change in changes:
        try:
            if "lay" in change:
                lay = [placement_from(p) for p in change["lay"]]
            for given in change.get("moved", ()):
                moved = placement_from(given)
                lay = [moved if p.key == moved.key else p for p in lay]
            traced = tuple(str(k) for k in change.get("traced", traced))
            table = dict(change.get("table", table))
        except (KeyError, TypeError, ValueError):
            break
        count += 1
    made = docket.replace(lay=tuple(lay), traced=traced, table=table)
    if head is None or head.get("of") != _digest(docket.path):
        # killed after the docket was saved, before the journal began anew: all is there already
        all_there = count == len(lines) - 1 and _same(made, docket)
        return _Noted(docket, 0, stale=not all_there)
    return _Noted(made, count)


def _recover(docket: Docket, path: Path) -> Recovered:
    """What the journal holds; one of another version is put aside under another name."""
    found = _noted(docket, path)
    if found.stale:
        aside = _free(path)
        path.replace(aside)
        return Recovered(
            docket,
            0,
            f"The docket was changed elsewhere since the table was left; what the table had "
            f"noted is kept in {aside.name}.",
        )
    if not found.changes:
        return Recovered(docket, 0)
    plural = "s" if found.changes != 1 else ""
    said = f"Taken up where it was left: {found.changes} change{plural} kept."
    return Recovered(found.docket, found.changes, said)


def _same(one: Docket, other: Docket) -> bool:
    """Whether both would be saved alike: the docket rounds the places of its lay."""

    def written(docket: Docket) -> Any:
        lay = [
            {**plain(p), "at": [round(v, 4) for v in p.at], "turn_deg": round(p.turn_deg, 6)}
            for p in docket.lay
        ]
        table = json.loads(json.dumps(dict(docket.table), default=str))
        return lay, list(docket.traced), table

    return bool(written(one) == written(other))


def _free(journal: Path) -> Path:
    """A name for a journal put aside that no earlier one has."""
    aside, n = journal.with_suffix(".left"), 1
    while aside.exists():
        n += 1
        aside = journal.with_suffix(f".{n}.left")
    return aside


def _line(text: str) -> dict[str, Any] | None:
    try:
        data = json.loads(text)
    except ValueError:
        return None
    return data if isinstance(data, dict) else None


def placement_from(data: Mapping[str, Any]) -> Placement:
    """The placement that `plain` made data of.

    Raises:
        KeyError, TypeError, ValueError: it is none.
    """
    from drafting.placement import Placement

    known = {f.name for f in fields(Placement)}
    values = {k: v for k, v in data.items() if k in known}
    x, y = values["at"]
    values["at"] = (float(x), float(y))
    return Placement(**values)
