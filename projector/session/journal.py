"""Never lost: every change on disk before the next one.

Each change is one short line appended to a file beside the docket, in the hand of the system
within microseconds, so that killing the program at any moment loses nothing; a second thread
sees to it that the disk has it too. When her hands rest, the docket itself is saved whole and
the journal begins anew. Opening a docket reads what its journal still holds; where the docket was
changed by another hand since, both hands' changes are kept (`merge`). A disk that is full costs
nothing while the table stays open: what could not be noted is noted whole as soon as there is room.
"""

from __future__ import annotations

import contextlib
import errno
import glob
import hashlib
import itertools
import json
import os
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from projector.session.hold import alone, beside, give_back, may_write, take
from projector.session.merge import Kept, changes, merged, placement_from, plain, seated

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.placement import Placement

_MOST_BYTES = 64_000_000  # of a journal: it begins anew whenever her hands rest
VERSION = 1
_SLIPS = (KeyError, TypeError, ValueError, AttributeError)  # of what is read as a journal


def journal_path(docket_path: Path) -> Path:
    """The journal of a docket."""
    return beside(docket_path, "journal")


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
        found = _noted(Docket.load(docket_path), path)
        if _digest(docket_path) == before:  # else the table saved in between: once more
            break
    if not found.against:
        return found
    keys = ", ".join(p.key for p in found.against)
    note = f"the table had moved {keys}, and so did an edit since: the file's places are taken. "
    return replace(found, note=f"{note}The table shows its own at the next start.")


def forget(docket_path: Path) -> None:
    """Take a docket's journal away: what it held is in the docket now."""
    with contextlib.suppress(OSError):
        journal_path(docket_path).unlink()


def is_stale(docket_path: Path) -> bool:
    """Whether a docket contradicts what its journal holds, so that it must not be lost.

    Raises:
        ChalkbeamError: the docket cannot be read or has faults.
    """
    from drafting.docket import Docket

    return bool(_noted(Docket.load(docket_path), journal_path(docket_path)).against)


@dataclass(frozen=True)
class Left:
    """What a table had noted and the docket contradicts: hers to take or to leave.

    ``lay``: the docket's lay with the table's places; ``keys``: those that differ.
    """

    lay: tuple[Placement, ...]
    keys: tuple[str, ...]
    path: Path

    def settle(self) -> None:
        """She has taken it or left it: it is not shown again."""
        with contextlib.suppress(OSError):
            self.path.unlink()


@dataclass(frozen=True)
class Recovered:
    """What a journal still held: the docket with it, how many changes, and what to say.

    ``left``: what is hers to decide; ``against``: the table's places that the docket contradicts;
    ``elsewhere``: the docket was changed by another hand; ``unread``: lines are left that cannot be
    read.
    """

    docket: Docket
    changes: int
    note: str = ""
    left: Left | None = None
    against: tuple[Placement, ...] = ()
    elsewhere: bool = False
    unread: bool = False


@dataclass(eq=False)
class Journal:
    """The open journal of one docket. `note` after every change, `save` when hands rest.

    ``now``: what was noted last; ``unsaved``: how many changes the docket has not; ``refused``:
    why the disk does not take what is noted, "" when it does.
    """

    docket: Docket
    path: Path
    now: Kept = field(default_factory=Kept)
    unsaved: int = 0
    refused: str = ""
    _file: int = field(default=-1, repr=False)
    _base: str = ""
    _from: Kept = field(default_factory=Kept)
    _wake: threading.Event = field(default_factory=threading.Event, repr=False)
    _closing: bool = False
    _thread: threading.Thread | None = field(default=None, repr=False)
    _lock: int = field(default=-1, repr=False)

    @classmethod
    def open(cls, docket: Docket) -> tuple[Journal, Recovered]:
        """Open a docket's journal and take up what it still holds.

        What the docket, edited elsewhere since, contradicts is kept in a file of its own and
        handed back as ``left``, at every opening until it is settled.

        Raises:
            InputError: the docket was never saved, is open at another table, or its
                folder cannot be written to.
        """
        from configs.errors import InputError

        if docket.path is None:
            raise InputError.of("", "this docket was never saved.", "Save it first.")
        path = journal_path(docket.path)
        may_write(docket.path)
        lock = take(docket.path)
        try:
            recovered = _recover(docket, path)
            on_disk = Kept.of(docket)
            made = cls(recovered.docket, path, Kept.of(recovered.docket), _lock=lock)
            made._base, made._from = _digest(docket.path), on_disk
            # written anew in one step even with changes in it: proof that the folder takes it
            made._begin([made.now.to_dict()] if recovered.changes else [])
            made.unsaved = recovered.changes
        except BaseException:
            give_back(docket.path, lock)
            raise
        made._thread = threading.Thread(target=made._sync, name="journal", daemon=True)
        made._thread.start()
        return made, recovered

    def note(
        self, lay: tuple[Placement, ...], traced: tuple[str, ...], table: Mapping[str, Any]
    ) -> None:
        """Write down what has changed since the last note (nothing when nothing has).

        A disk that does not take it is told in ``refused``; nothing is lost while this is open.
        """
        now = Kept(lay, traced, dict(table))
        line = changes(self.now, now)
        if now.table != dict(self.now.table):
            line["table"] = now.table
        if line:
            self.now = now
            self.unsaved += 1
            self._append(line)

    def reshape(self, garment: Mapping[str, Any] | None, kept: Kept) -> None:
        """Save the docket with another garment and all that lies otherwise for it, at once.

        Never noted in between: a journal of pieces that the docket does not have could not be read.

        Raises:
            InputError: as `save`, or the garment was changed elsewhere; nothing is changed then.
        """
        self._save(garment, kept)

    def keep_as(self, docket: Docket) -> Path:
        """The docket with a changed garment in a new file beside this one; answers it.

        Raises:
            InputError: it cannot be written.
        """
        path = self._docket_path
        n = 2
        while (made := path.with_name(f"{path.stem}-{n}{path.suffix}")).exists():
            n += 1
        table = {k: v for k, v in self.now.table.items() if k != "shaping"}
        kept = docket.replace(title=f"{docket.title} {n}", traced=(), table=table, path=made)
        return kept.save(made)

    def save(self) -> str:
        """Save the docket whole, then begin the journal anew; answers what is to be told, or "".

        What was changed in the docket elsewhere meanwhile stays; the places of what the table
        shows, the marks and the view are the table's.

        Raises:
            InputError: the docket cannot be written, or was changed elsewhere and has
                faults now; the journal keeps everything.
        """
        return self._save() if self.unsaved else ""

    def _save(self, garment: Mapping[str, Any] | None = None, shaped: Kept | None = None) -> str:
        """`save`; ``shaped``: what is kept instead of what was noted, with another garment."""
        from configs.errors import InputError

        with alone(self._docket_path):
            said, pieces, docket = "", None, self.docket
            now = _digest(self._docket_path)
            if now and now != self._base:
                docket = type(docket).load(self._docket_path)
                pieces = set(docket.pieces())
                said = (
                    "The docket was changed elsewhere meanwhile: both are kept, the lay is this "
                    "one. Leave and open it again to see those changes."
                )
            kept = seated(self._from, self.now, Kept.of(docket), pieces)
            if shaped is not None:
                if docket.garment != self.docket.garment:
                    raise InputError.of(
                        f"{self._docket_path}: garment",
                        "was changed elsewhere meanwhile, and on the cloth.",
                        "'Keep as new' puts yours beside it; or leave, and pull anew.",
                    )
                docket, kept = docket.replace(garment=garment), shaped
            docket = docket.replace(lay=kept.lay, traced=kept.traced, table=kept.table)
            docket.save()
            self.now = self.now if shaped is None else shaped
            self.docket, self._from = docket, self.now
            self._base = _digest(self._docket_path)
        self.unsaved = 0
        with contextlib.suppress(InputError):  # the docket has it all; ``refused`` says it
            self._begin()
        return said

    def close(self) -> None:
        """Save and take the journal away: everything is in the docket.

        Raises:
            InputError: as `save`; the journal then stays.
        """
        done = False
        try:
            self.save()
            done = True
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
                give_back(self._docket_path, self._lock)
                self._lock = -1

    # -- inside ----------------------------------------------------------------------------------

    @property
    def _docket_path(self) -> Path:
        path = self.docket.path
        if path is None:  # `open` refuses such a docket
            raise ValueError("the docket has no path")
        return path

    def _begin(self, more: Iterable[Mapping[str, Any]] = ()) -> None:
        """A new journal, replacing the old one in one step; the old one goes on when it fails.

        Raises:
            InputError: it cannot be written; ``refused`` says why.
        """
        from configs.errors import InputError

        head = {"journal": VERSION, "of": self._base, "from": self._from.to_dict()}
        try:
            opened = begun(self.path, (head, *more))
        except InputError as error:
            self.refused = error.faults[0].what
            raise
        before, self._file = self._file, opened
        if before >= 0:
            os.close(before)
        self.refused = ""

    def _append(self, line: Mapping[str, Any]) -> None:
        from configs.errors import InputError

        if self.refused or self._file < 0:  # what was not noted then is noted now, with this
            with contextlib.suppress(InputError):
                self._begin([self.now.to_dict()])
            return
        data = written(line)
        size = -1
        try:
            size = os.fstat(self._file).st_size
            done = os.write(self._file, data)
            if done < len(data):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        except OSError as error:
            self.refused = f"cannot be written ({error.strerror})."
            if size >= 0:  # half a line would hide those after it
                with contextlib.suppress(OSError):
                    os.ftruncate(self._file, size)
        self._wake.set()

    def _sync(self) -> None:
        """Bring what was written to the disk, away from the hand that draws."""
        while not self._closing:
            self._wake.wait()
            self._wake.clear()
            with contextlib.suppress(OSError, ValueError):  # closed meanwhile: saved anyway
                if self._file >= 0:
                    os.fsync(self._file)


def written(line: Mapping[str, Any]) -> bytes:
    """A line of such a file."""
    return (json.dumps(line, separators=(",", ":"), ensure_ascii=False) + "\n").encode()


def begun(path: Path, lines: Iterable[Mapping[str, Any]]) -> int:
    """A file with these lines in place of the old one, in one step; its handle, to append to.

    Raises:
        InputError: it cannot be written.
        OSError: it cannot be opened then.
    """
    from configs.files import write_atomic

    write_atomic(path, b"".join(map(written, lines)))
    return os.open(path, os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0))


def _digest(path: Path) -> str:
    from configs.errors import InputError
    from configs.files import read_bytes

    try:
        return hashlib.sha256(read_bytes(path)).hexdigest()
    except InputError:
        return ""


def _noted(docket: Docket, path: Path) -> Recovered:
    """The docket with what its journal holds, line by line; a torn last line is left out."""
    if docket.path is None:
        return Recovered(docket, 0)
    lines = lines_of(path)
    head = lines[0] if lines else None
    if not isinstance(head, dict) or "journal" not in head or len(lines) < 2:
        return Recovered(docket, 0)
    file = Kept.of(docket)
    known = head.get("of") == _digest(docket.path)
    base = file if known else None
    with contextlib.suppress(*_SLIPS):
        base = Kept().changed(head["from"])
    table, count, unread = base or file, 0, False
    for n, change in enumerate(lines[1:], 2):
        try:
            table = table.changed(change if change is not None else {"lay": None})
        except _SLIPS:
            unread = change is not None or n < len(lines)  # the plug tears the last line only
            break
        count = n - 1
    pieces = None if known else set(docket.pieces())
    kept, against = merged(base, table, file, pieces)
    if kept.like(file) and not known:  # killed between the save and a new journal: all is there
        count = 0
    made = docket.replace(lay=kept.lay, traced=kept.traced, table=kept.table) if count else docket
    return Recovered(made, count, against=against, elsewhere=not known, unread=unread)


def _recover(docket: Docket, path: Path) -> Recovered:
    """What the journal holds; what the docket contradicts goes into a file of its own."""
    from configs.files import read_bytes, write_atomic

    said = []
    lines = lines_of(path)
    if lines and not (isinstance(lines[0], dict) and "journal" in lines[0]):
        aside = _free(path)
        path.replace(aside)
        said.append(f"{path.name} was no journal; it is kept as {aside.name}.")
    found = _noted(docket, path)
    if found.unread:
        aside = _free(path)
        write_atomic(aside, read_bytes(path, _MOST_BYTES))
        said.append(f"{path.name} has lines that cannot be read; it is kept as {aside.name}.")
    if found.against:
        entry = {"left": VERSION, "places": [plain(p) for p in found.against]}
        write_atomic(_free(path), written(entry))
    if found.changes:
        plural = "s" if found.changes != 1 else ""
        also = "; the docket was changed elsewhere since, and keeps that too" * found.elsewhere
        said.append(f"Taken up where it was left: {found.changes} change{plural} kept{also}.")
    left = _left(found.docket, path)
    if left is not None:
        said.append(
            f"An edit of the docket and the table moved {', '.join(left.keys)} both: the edit's "
            "place is shown, the table's beside it. Take it or leave it."
        )
    return replace(found, note=" ".join(said), left=left)


def _left(docket: Docket, journal: Path) -> Left | None:
    """The newest of what was left for her to decide; what has become pointless goes."""
    pieces: set[str] | None = None
    for path in sorted(journal.parent.glob(f"{glob.escape(journal.stem)}*.left"), reverse=True):
        lines = lines_of(path)
        if not lines or not isinstance(lines[0], dict) or "left" not in lines[0]:
            continue  # of an earlier version, or nobody's
        pieces = pieces or set(docket.pieces())
        try:
            places = {p.key: p for p in map(placement_from, lines[0]["places"])}
        except _SLIPS:
            continue
        here = {p.key: p for p in docket.lay}
        places = {k: p for k, p in places.items() if p.piece in pieces}
        lay = tuple({**here, **places}.values())
        left = Left(lay, tuple(places), path)
        if places and not Kept(lay).like(Kept(docket.lay)):
            return left
        left.settle()
    return None


def lines_of(path: Path) -> list[dict[str, Any] | None]:
    """The lines of a file as data; None for one that is none, one None for what is no file."""
    from configs.errors import InputError
    from configs.files import json_record, read_bytes

    try:
        text = read_bytes(path, _MOST_BYTES).decode("utf-8", errors="replace")
    except InputError:
        return [None] if path.exists() else []
    return [json_record(t) for t in text.splitlines()]


def _free(journal: Path) -> Path:
    """A name for a journal put aside that no earlier one has."""
    names = (journal.with_suffix(f".{n}.left" if n > 1 else ".left") for n in itertools.count(1))
    return next(name for name in names if not name.exists())
