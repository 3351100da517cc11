"""What a journal left behind does to the next opening, and how `frame` names a piece."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from table_rig import DATA, projector

from drafting.docket import Docket
from projector.cli import main
from projector.journal import Journal, _digest, journal_path
from projector.sitting import Sitting


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
    assert [p.name for p in tmp_path.iterdir()] == ["top.yaml"]


def test_a_second_journal_put_aside_keeps_the_first(tmp_path: Path) -> None:
    """Changed elsewhere twice: both journals stay, each told by its own name."""
    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    original = path.read_bytes()
    kept = []
    for name in (".top.yaml.left", ".top.yaml.2.left"):
        held = noted(path)
        kept.append((tmp_path / name, held))
        path.write_bytes(original + f"# her edit, {name}\n".encode())
        journal_path(path).write_bytes(held)
        journal, found = Journal.open(Docket.load(path))
        journal.close()
        assert found.changes == 0 and name in found.note
    assert all(file.read_bytes() == held for file, held in kept)


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


def test_lay_keeps_off_a_docket_that_is_at_the_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """While changes from the table wait beside a docket, `lay` refuses and changes nothing."""
    from projector.cli import main
    from projector.commands.support import configs_folder
    from projector.journal import journal_path

    body = configs_folder() / "measurements" / "alto-3.yaml"
    path = tmp_path / "top.yaml"
    text = (
        f"chalkbeam: 1\ntitle: top\nmeasurements: {body}\ngarment: {{block: quick-top}}\n"
        "cloth: {width: 1400 mm, length: 2 m, fold: lengthwise}\n"
    )
    path.write_text(text, encoding="utf-8")
    journal_path(path).write_text("{}\n", encoding="utf-8")
    assert main(["lay", str(path), "--seconds", "0.2"]) == 2
    assert "at the table" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == text
    journal_path(path).unlink()
    assert main(["lay", str(path), "--seconds", "0.2"]) == 0
