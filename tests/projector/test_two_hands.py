"""Two hands on one docket: what a table noted and what is written elsewhere are both kept."""

from __future__ import annotations

import errno
import os
import resource
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from table_rig import DATA, projector, pull_the_plug

from configs.errors import InputError
from drafting.docket import Docket
from drafting.placement import Placement
from projector.cli import main
from projector.laying import kept_lay, noted_plan
from projector.session import words
from projector.session.hold import alone
from projector.session.journal import Journal, journal_path
from projector.session.merge import Kept, merged
from projector.session.sitting import Sitting

SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="60mm" viewBox="0 0 50 60">'
    '<path id="bow" d="M5,5 L45,5 L45,55 L5,55 Z"/></svg>'
)


@pytest.fixture
def top(tmp_path: Path) -> Path:
    """A laid docket with pieces of its own."""
    path = tmp_path / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    return path


def moves(path: Path, count: int = 7) -> tuple[Journal, Sitting]:
    """A table at which one piece has been nudged ``count`` times; nothing is saved yet."""
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal)
    sitting.do("next")
    for _ in range(count):
        sitting.do("right")
    return journal, sitting


def at(lay: Path | Sitting) -> dict[str, tuple[float, ...]]:
    """Where each copy lies in the docket's file, or at the table; to a hundredth of a millimetre."""
    placed = lay.state.work.lay if isinstance(lay, Sitting) else Docket.load(lay).lay
    return {p.key: tuple(round(v, 2) for v in p.at) for p in placed}


def hidden(path: Path) -> list[str]:
    """What is left beside a docket, but for the steps that can be undone."""
    return [p.name for p in path.parent.glob(f".{path.stem}*") if p.suffix != ".steps"]


def test_a_comment_added_meanwhile_costs_no_move(top: Path) -> None:
    """Plug pulled, then a comment in an editor: all seven nudges come back, and the comment stays."""
    before = at(top)
    journal, sitting = moves(top)
    moved = at(sitting)
    pull_the_plug(journal)
    top.write_text("# cut the facing first\n" + top.read_text())
    again, found = Journal.open(Docket.load(top))
    assert found.changes >= 7 and "changed elsewhere" in found.note and found.left is None
    again.close()
    assert at(top) == moved and moved != before
    assert top.read_text().startswith("# cut the facing first\n")
    assert hidden(top) == []


def test_pieces_imported_meanwhile_cost_no_move(top: Path) -> None:
    """Plug pulled, then an import: the moves and the new piece are both in the docket."""
    journal, sitting = moves(top)
    moved = at(sitting)
    pull_the_plug(journal)
    drawing = top.parent / "bow.svg"
    drawing.write_text(SQUARE)
    assert main(["import", str(drawing), str(top)]) == 0
    again, _ = Journal.open(Docket.load(top))
    again.close()
    assert at(top) == moved
    assert "bow" in Docket.load(top).pieces()


def test_pieces_imported_while_the_table_is_open_stay(top: Path) -> None:
    """An import during a sitting, then more moves and two saves: nothing of either is gone."""
    _, sitting = moves(top, 2)
    drawing = top.parent / "bow.svg"
    drawing.write_text(SQUARE)
    assert main(["import", str(drawing), str(top)]) == 0
    entry = {"piece": "bow", "copy": 1, "at": [900, 900]}
    data = yaml.safe_load(top.read_text())
    top.write_text(yaml.safe_dump({**data, "lay": [*data["lay"], entry]}, sort_keys=False))
    sitting.do("right")
    sitting.save()
    sitting.do("right")
    sitting.save()
    sitting.close()
    lies = at(top)
    assert lies["bow/1"] == (900, 900)
    assert lies == {**at(sitting), "bow/1": (900, 900)}


def test_an_editor_that_writes_an_old_lay_costs_no_move(top: Path) -> None:
    """Opened in an editor before the sitting, written from there after the table has saved: the moves stay."""
    before = top.read_text()
    _, sitting = moves(top, 3)
    sitting.save()
    top.write_text("# buttons from the old coat\n" + before)
    sitting.do("next")
    sitting.do("toward")
    sitting.close()
    assert at(top) == at(sitting)
    assert top.read_text().startswith("# buttons from the old coat\n")


def contradicted(top: Path) -> tuple[Journal, Any, str, tuple[float, float], tuple[float, float]]:
    """The table and an editor have moved the same piece; the table opens again."""
    journal, sitting = moves(top)
    key = sitting.state.chosen
    assert key is not None
    mine = next(p.at for p in sitting.state.work.lay if p.key == key)
    pull_the_plug(journal)
    data = yaml.safe_load(top.read_text())
    row = next(r for r in data["lay"] if f"{r['piece']}/{r.get('copy', 1)}" == key)
    row["at"] = [row["at"][0] + 30, row["at"][1]]
    top.write_text(yaml.safe_dump(data, sort_keys=False))
    again, found = Journal.open(Docket.load(top))
    return again, found, key, mine, tuple(map(float, row["at"]))


@pytest.mark.parametrize("answer", ["take", "drop"])
def test_what_both_moved_is_taken_or_left_by_her(top: Path, answer: str) -> None:
    """The edit's place is shown first, the table's as an offer; either way it is asked once."""
    journal, found, key, mine, edited = contradicted(top)
    assert (
        found.left is not None and found.left.keys == (key,) and "Take it or leave it" in found.note
    )
    sitting = Sitting(found.docket, projector((640, 360)), journal=journal)
    sitting.offer(noted_plan(found.docket, found.left))
    assert "the table's place" in " ".join(words.lines(sitting.state))
    assert next(p.at for p in sitting.state.work.lay if p.key == key) == edited
    sitting.do(answer)
    sitting.close()
    assert at(top)[key] == pytest.approx(mine if answer == "take" else edited, abs=1e-3)
    again, later = Journal.open(Docket.load(top))
    again.close()
    assert later.left is None and hidden(top) == []


def test_what_is_not_answered_is_shown_again(top: Path) -> None:
    """Left without taking or leaving: the next opening offers the same."""
    journal, found, key, _, _ = contradicted(top)
    journal.close()
    again, later = Journal.open(Docket.load(top))
    again.close()
    assert later.left is not None and later.left.keys == (key,) == found.left.keys


def test_a_file_under_the_journals_name_is_put_aside(top: Path) -> None:
    """What is no journal, and what of one cannot be read, is kept under another name and told."""
    journal_path(top).write_text("my notes on the top\n")
    journal, found = Journal.open(Docket.load(top))
    journal.close()
    assert ".top.yaml.left" in found.note
    assert (top.parent / ".top.yaml.left").read_text() == "my notes on the top\n"
    journal, _ = moves(top)
    pull_the_plug(journal)
    lines = journal_path(top).read_text().splitlines()
    lines.insert(4, '{"moved": [{"at": "far"}]}')
    journal_path(top).write_text("\n".join(lines))
    journal, found = Journal.open(Docket.load(top))
    journal.close()
    assert ".top.yaml.2.left" in found.note and found.changes == 3
    assert (top.parent / ".top.yaml.2.left").read_text() == "\n".join(lines)


def places(**at: float) -> Kept:
    """Copies of one piece at places along the cloth."""
    lay = tuple(Placement("bag", int(k[1:]), (x, 0.0)) for k, x in at.items())
    return Kept(lay, tuple(f"bag/{k[1:]}" for k in at if at[k] > 50))


@pytest.mark.parametrize(
    ("base", "table", "file", "both", "against"),
    [
        ({"c1": 1}, {"c1": 2}, {"c1": 1}, {"c1": 2}, 0),
        ({"c1": 1}, {"c1": 1}, {"c1": 3}, {"c1": 3}, 0),
        ({"c1": 1}, {"c1": 2}, {"c1": 2}, {"c1": 2}, 0),
        ({"c1": 1}, {"c1": 2}, {"c1": 3}, {"c1": 3}, 1),
        ({"c1": 1}, {"c1": 2}, {}, {}, 1),
        ({"c1": 1}, {}, {"c1": 1}, {}, 0),
        ({"c1": 1}, {"c1": 1}, {}, {}, 0),
        ({}, {"c1": 2}, {"c2": 3}, {"c2": 3, "c1": 2}, 0),
        ({"c1": 1, "c2": 1}, {"c1": 9, "c2": 1}, {"c1": 1, "c2": 8}, {"c1": 9, "c2": 8}, 0),
        ({"c1": 60}, {"c1": 40}, {"c1": 60}, {"c1": 40}, 0),
    ],
)
def test_each_change_is_of_one_hand(
    base: dict[str, float], table: dict[str, float], file: dict[str, float],
    both: dict[str, float], against: int,
) -> None:  # fmt: skip
    """Moved, added or taken away by one hand: done; by both, differently: the file's, and told."""
    made, lost = merged(places(**base), places(**table), places(**file), None)
    assert {p.copy: p.at[0] for p in made.lay} == {int(k[1:]): x for k, x in both.items()}
    assert len(lost) == against
    assert made.traced == places(**both).traced


def test_what_lies_of_a_piece_that_is_gone_is_told() -> None:
    """An edit took the piece away: its place is left out of the docket, which stays sound."""
    made, lost = merged(places(c1=1), places(c1=2), places(c1=1), {"hat"})
    assert made.lay == () and [p.key for p in lost] == ["bag/1"]


# -- read again before it is written ------------------------------------------------------------


def edited_in_between(monkeypatch: pytest.MonkeyPatch, edit: Callable[[], None]) -> None:
    """Let an edit happen while a plan is made."""
    import drafting.lay

    real = drafting.lay.plan

    def plan(*args: Any, **kwargs: Any) -> Any:
        made = real(*args, **kwargs)
        edit()
        return made

    monkeypatch.setattr(drafting.lay, "plan", plan)


@pytest.fixture
def bag(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A docket without a lay; a quick plan will do for it."""
    monkeypatch.setattr("projector.laying.QUICK_SECONDS", 0.2)
    path = tmp_path / "bag.yaml"
    piece = {"name": "bag", "outline": [[0, 0], [300, 0], [300, 400], [0, 400]], "cut": 2}
    data = {"chalkbeam": 1, "title": "bag", "pieces": [piece],
            "cloth": {"width": 1400, "length": 2000}}  # fmt: skip
    path.write_text(yaml.safe_dump(data, sort_keys=False))
    return path


def test_an_edit_during_the_first_plan_stays(bag: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`project` lays first: a comment and a note written meanwhile are there afterwards, and the lay."""
    edited_in_between(
        monkeypatch, lambda: bag.write_text("# for alto-3\n" + bag.read_text()) and None
    )
    docket, note = kept_lay(Docket.load(bag))
    assert "planned one" in note and len(docket.lay) == 2
    assert bag.read_text().startswith("# for alto-3\n") and len(Docket.load(bag).lay) == 2


def test_the_first_plan_is_made_anew_for_another_cloth(
    bag: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cloth was made narrower while the plan was made: the lay in the docket lies on the new one."""
    times = []

    def narrower() -> None:
        times.append(1)
        bag.write_text(bag.read_text().replace("width: 1400", "width: 450"))

    edited_in_between(monkeypatch, narrower)
    docket, _ = kept_lay(Docket.load(bag))
    assert len(times) == 2
    ys = [p.at[1] for p in docket.lay]
    assert docket.cloth is not None and docket.cloth.width_mm == 450 and max(ys) < 450


def test_pieces_imported_while_lay_plans_stay(
    bag: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Import said done: its piece is in the docket, the plan too, and that it is not laid is said."""
    drawing = bag.parent / "bow.svg"
    drawing.write_text(SQUARE)
    edited_in_between(monkeypatch, lambda: main(["import", str(drawing), str(bag)]) and None)
    assert main(["lay", str(bag), "--seconds", "0", "--no-compare"]) == 0
    assert "bow changed in bag.yaml while it was laid" in capsys.readouterr().out
    docket = Docket.load(bag)
    assert set(docket.pieces()) == {"bag", "bow"} and {p.piece for p in docket.lay} == {"bag"}


def test_what_shares_the_cloth_is_noted_beside_what_was_noted_meanwhile(
    bag: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`lay --with` while she writes another garment under 'shares': both are there, none is itself."""
    for name in ("hat.yaml", "scarf.yaml"):
        (bag.parent / name).write_text(bag.read_text().replace("bag", name[:-5]))
    text = bag.read_text() + "shares: [scarf.yaml]\n"
    edited_in_between(monkeypatch, lambda: bag.write_text(text) and None)
    how = ["--seconds", "0", "--no-compare"]
    assert main(["lay", str(bag), "--with", str(bag.parent / "hat.yaml"), *how]) == 0
    assert Docket.load(bag).shares == ("scarf.yaml", "hat.yaml")
    assert Docket.load(bag.parent / "hat.yaml").shares == ("bag.yaml",)


@pytest.mark.parametrize("edit", ["cloth", "lay"])
def test_a_plan_that_an_edit_leaves_no_sense_in_is_not_written(
    bag: Path, edit: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Cloth or lay changed by hand while `lay` plans: the file stays as edited, and that is said."""
    if edit == "cloth":
        text = bag.read_text().replace("width: 1400", "width: 900")
    else:
        text = bag.read_text() + "lay: [{piece: bag, copy: 1, at: [400, 400]}]\n"
    edited_in_between(monkeypatch, lambda: bag.write_text(text) and None)
    assert main(["lay", str(bag), "--seconds", "0", "--no-compare"]) == 2
    assert f"({edit})" in capsys.readouterr().err and bag.read_text() == text


def test_who_writes_waits_for_who_writes(bag: Path) -> None:
    """While one reads, changes and writes, another waits; a name left over by a crash holds nobody."""
    order = []
    with alone(bag):
        waiting = threading.Thread(
            target=lambda: [order.append(2) for _ in [0] if alone(bag).__enter__() is None]
        )
        waiting.start()
        waiting.join(0.1)
        order.append(1)
    waiting.join(2.0)
    assert order == [1, 2]


# -- a full disk ----------------------------------------------------------------------------------


def full(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """A disk that takes nothing, until what is returned is called."""

    def refuse(*_: Any) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "write", refuse)
    monkeypatch.setattr(os, "fsync", refuse)
    return monkeypatch.undo


def through_a_full_disk(path: Path, fill: Callable[[], None], free: Callable[[], None]) -> None:
    """Moves on a full disk: the table stays open and says so; with room again all is in the docket."""
    said: list[str] = []
    journal, _ = Journal.open(Docket.load(path))
    sitting = Sitting(journal.docket, projector((640, 360)), journal=journal, say=said.append)
    sitting.do("next")
    sitting.do("right")
    fill()
    for _ in range(40):
        sitting.do("right", large=True)
    assert journal.refused and "NOT SAVED" in " ".join(words.lines(sitting.state))
    sitting.tick(100.0)
    assert any("Not saved yet" in s and ("No space left" in s or "too large" in s) for s in said)
    sitting.do("quit")
    assert sitting.running and "Once more leaves" in said[-1]
    moved = at(sitting)
    free()
    sitting.do("left")
    sitting.do("right")
    sitting.tick(200.0)
    assert any("takes it again" in s for s in said) and not journal.refused
    assert at(path) == moved
    sitting.do("quit")
    assert not sitting.running
    sitting.close()
    assert hidden(path) == []


def test_a_full_disk_costs_no_move(top: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every write refused: what was moved meanwhile is saved when there is room."""
    free: list[Callable[[], None]] = []
    through_a_full_disk(top, lambda: free.append(full(monkeypatch)), lambda: free[0]())


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path | None]:
    """A real file system of 256 kB; None where none can be mounted."""
    folder = tmp_path / "disk"
    folder.mkdir()
    how = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(folder)]
    try:
        mounted = subprocess.run(how, capture_output=True, check=False).returncode == 0
    except OSError:
        mounted = False
    yield folder if mounted else None
    if mounted:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def test_a_disk_that_is_really_full(small_disk: Path | None, tmp_path: Path) -> None:
    """The same on a file system without a free block, or with a limit that the system sets to files."""
    path = (small_disk or tmp_path) / "top.yaml"
    path.write_text(yaml.safe_dump(DATA, sort_keys=False))
    ballast = path.with_name("ballast")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fill() -> None:
        if small_disk is None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (1, before[1]))
            return
        with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
            while True:
                file.write(b"x" * 512)

    def free() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        ballast.unlink(missing_ok=True)

    try:
        through_a_full_disk(path, fill, free)
    finally:
        free()


def test_leaving_a_full_disk_keeps_what_was_noted(
    top: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Quit twice on a full disk: the docket and the journal are as they last were, whole."""
    journal, sitting = moves(top, 3)
    before, noted = top.read_bytes(), journal_path(top).read_bytes()
    full(monkeypatch)
    sitting.do("right")
    sitting.do("quit")
    sitting.do("quit")
    assert not sitting.running
    with pytest.raises(InputError, match="No space left"):
        sitting.close()
    monkeypatch.undo()
    assert top.read_bytes() == before and journal_path(top).read_bytes() == noted
    again, found = Journal.open(Docket.load(top))
    again.close()
    assert found.changes >= 3 and journal.docket.path == top
