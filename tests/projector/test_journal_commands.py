"""What a journal left behind does to the next opening, and how `frame` names a piece."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from table_rig import DATA, is_open, projector, pull_the_plug

from drafting.docket import Docket
from projector.cli import main
from projector.session.hold import lock_path
from projector.session.journal import Journal, _digest, journal_path
from projector.session.sitting import Sitting


def noted(path: Path) -> bytes:
    """A docket of the tests, and what its journal held before the docket was saved."""
    if not path.exists():
        path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    for action in ("next", "right", "turn", "ink"):
        sitting.do(action)
    held = journal_path(path).read_bytes()
    sitting.close()
    return held


def test_a_kill_between_save_and_a_new_journal_says_nothing(tmp_path: Path) -> None:
    """The docket has it all already: no word of changes elsewhere, nothing put aside."""
    path = tmp_path / "top.yaml"
    held = noted(path)
    assert _digest(path) not in held.decode()
    journal_path(path).write_bytes(held)
    before = Docket.load(path)
    journal, found = Journal.open(before)
    journal.close()
    assert (found.note, found.changes) == ("", 0)
    assert found.docket.lay == before.lay
    assert not journal_path(path).exists() and not list(tmp_path.glob("*.left"))


def test_frame_takes_a_piece_cut_once_by_its_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The sole copy needs no number: the same picture as with it; of two, one is to be named."""
    path, cal = tmp_path / "top.yaml", tmp_path / "cal.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    projector((640, 360)).save(cal)
    how = ["frame", str(path), "--calibration", str(cal), "--mode", "trace", "--out"]
    one, two = tmp_path / "one.png", tmp_path / "two.png"
    assert main([*how, str(one), "--piece", "sleeve"]) == 0
    assert main([*how, str(two), "--piece", "sleeve/1"]) == 0
    assert one.read_bytes() == two.read_bytes()
    second = {"piece": "sleeve", "copy": 2, "at": [1200, 100]}
    more = {**DATA, "lay": [*DATA["lay"], second]}
    path.write_text(yaml.safe_dump(more, sort_keys=False))
    assert main([*how, str(one), "--piece", "sleeve"]) == 2
    assert "sleeve/2" in capsys.readouterr().err


def at_work(path: Path, *, leave: bool) -> Journal:
    """A table at which the front has been moved; left by the plug unless ``leave``."""
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.do("next")
    sitting.do("right", large=True)
    sitting.do("lock")
    if leave:
        sitting.close()
    return journal


@pytest.fixture
def laid_top(tmp_path: Path) -> Path:
    """The shipped top with a lay."""
    from configs import shipped

    body = shipped("measurements", "alto-3.yaml")
    path = tmp_path / "top.yaml"
    path.write_text(
        f"chalkbeam: 1\ntitle: top\nmeasurements: {body}\ngarment: {{block: quick-top}}\n"
        "cloth: {width: 1400 mm, length: 2 m, fold: lengthwise}\n",
        encoding="utf-8",
    )
    assert main(["lay", str(path), "--seconds", "0.05"]) == 0
    return path


def test_lay_keeps_off_a_docket_that_is_open_at_a_table(
    laid_top: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """While a table holds the docket `lay` refuses and changes nothing; afterwards it works."""
    journal = at_work(laid_top, leave=False)
    before, noted = laid_top.read_bytes(), journal_path(laid_top).read_bytes()
    assert is_open(laid_top)
    assert main(["lay", str(laid_top), "--seconds", "0.05"]) == 2
    assert "open at another table" in capsys.readouterr().err
    assert laid_top.read_bytes() == before and journal_path(laid_top).read_bytes() == noted
    assert main(["lay", str(laid_top), "--seconds", "0.05", "--dry-run"]) == 0
    journal.close()
    assert not is_open(laid_top)
    assert main(["lay", str(laid_top), "--seconds", "0.05"]) == 0


def test_lay_keeps_what_a_table_noted_before_the_plug_was_pulled(
    laid_top: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """After kill -9 `lay` goes on from the journal: a piece locked there stays where it lay."""
    journal = at_work(laid_top, leave=False)
    locked = [p for p in journal.now.lay if p.locked]
    pull_the_plug(journal)
    assert not is_open(laid_top)
    assert Docket.load(laid_top).lay != journal.now.lay  # only the journal knows
    assert main(["lay", str(laid_top), "--seconds", "0.05"]) == 0
    assert "that the table had noted" in capsys.readouterr().err
    after = {p.key: p for p in Docket.load(laid_top).lay}
    assert len(locked) == 1
    assert after[locked[0].key].locked
    assert after[locked[0].key].at == pytest.approx(locked[0].at, abs=1e-3)
    assert not journal_path(laid_top).exists() and not lock_path(laid_top).exists()


def test_a_lay_that_is_refused_leaves_the_journal(laid_top: Path) -> None:
    """When `lay` changes nothing, what the table noted is still there for the next opening."""
    journal = at_work(laid_top, leave=False)
    noted = journal_path(laid_top).read_bytes()
    pull_the_plug(journal)
    assert main(["lay", str(laid_top), "--seconds", "0.05", "--distance", "101 mm"]) == 2
    assert journal_path(laid_top).read_bytes() == noted
    again, found = Journal.open(Docket.load(laid_top))
    again.close()
    assert found.docket.lay == journal.now.lay


def test_frame_shows_what_the_table_would_show(laid_top: Path, tmp_path: Path) -> None:
    """With changes only in the journal, open or cut off, `frame` draws them and touches nothing."""
    cal, out = tmp_path / "cal.yaml", tmp_path / "out.png"
    projector((640, 360)).save(cal)
    how = ["frame", str(laid_top), "--calibration", str(cal), "--out", str(out)]
    assert main(how) == 0
    before = out.read_bytes()
    journal = at_work(laid_top, leave=False)
    noted = journal_path(laid_top).read_bytes()
    assert main(how) == 0
    moved = out.read_bytes()
    assert moved != before
    assert journal_path(laid_top).read_bytes() == noted and is_open(laid_top)
    pull_the_plug(journal)
    assert main(how) == 0
    assert out.read_bytes() == moved
    again, _ = Journal.open(Docket.load(laid_top))
    again.close()
    assert main(how) == 0
    assert out.read_bytes() == moved


def test_a_lock_left_by_a_kill_keeps_nobody_out(tmp_path: Path) -> None:
    """Its file alone is no lock: the next table takes the docket."""
    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    lock_path(path).write_bytes(b"")  # left by kill -9: nobody holds it
    assert not is_open(path)


def test_a_lock_is_of_the_file_that_bears_the_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opened just before its owner took it away, locked just after: the next file is taken."""
    import os

    from projector.session import hold as module

    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    first = module.take(path)
    real = module._grab

    def late(handle: int) -> bool:
        monkeypatch.setattr(module, "_grab", real)
        module.give_back(path, first)  # the owner leaves between our opening and our locking
        return real(handle)

    monkeypatch.setattr(module, "_grab", late)
    second = module.take(path)
    assert os.fstat(second).st_ino == lock_path(path).stat().st_ino
    assert is_open(path)
    module.give_back(path, second)
    assert not lock_path(path).exists()


def test_a_folder_that_takes_nothing_is_told_before_anything_is_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Write-protected: refused at start with the folder's name, not at the first drag."""
    import os

    path, cal = tmp_path / "top.yaml", tmp_path / "cal.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    projector((640, 360)).save(cal)
    real = os.access
    for closed in (tmp_path, path):

        def access(name: object, mode: int, closed: Path = closed) -> bool:
            return not (Path(str(name)) == closed and mode == os.W_OK) and real(str(name), mode)

        monkeypatch.setattr(os, "access", access)
        assert main(["project", str(path), "--window", "--calibration", str(cal)]) == 2
        said = capsys.readouterr().err
        assert "write-protected" in said and str(closed) in said
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cal.yaml", "top.yaml"]


def test_a_folder_without_locks_still_opens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A network drive that knows no locks is no reason to refuse; nobody is kept out there."""
    import errno
    import sys

    if sys.platform == "win32":
        pytest.skip(reason="fcntl is not there")
    import fcntl

    def none(handle: int, how: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    monkeypatch.setattr(fcntl, "flock", none)
    journal, _ = Journal.open(Docket.load(path))
    assert not is_open(path)
    journal.close()
    assert [p.name for p in tmp_path.iterdir()] == ["top.yaml"]
