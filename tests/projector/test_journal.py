"""The journal by itself: what is noted, what comes back, what is refused, what is left behind."""

from __future__ import annotations

import json
import os
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml
from table_rig import is_open

from configs.errors import InputError
from drafting.docket import Docket
from drafting.placement import Placement
from projector.session import journal as module
from projector.session.journal import Journal, forget, is_stale, journal_path, with_noted
from projector.session.merge import Kept, marks_from, merged, placement_from, plain, seated

RING = [[0, 0], [100, 0], [100, 200], [0, 200]]
LAY = (Placement("bib", 1, (10.0, 100.0)), Placement("bib", 2, (300.0, 100.0)))
VIEW = {"view": {"turn": 90.0}}


@pytest.fixture
def bib(tmp_path: Path) -> Path:
    """A docket of two squares, laid."""
    path = tmp_path / "bib.yaml"
    path.write_text(
        "# for the altos\n"
        + yaml.safe_dump(
            {
                "chalkbeam": 1,
                "title": "bib",
                "pieces": [{"name": "bib", "outline": RING, "cut": 3}],
                "cloth": {"width": 900},
                "lay": [{"piece": p.piece, "copy": p.copy, "at": list(p.at)} for p in LAY],
            },
            sort_keys=False,
        )
    )
    return path


def moved(x: float, copy: int = 1) -> Placement:
    """A copy of the bib elsewhere along the cloth."""
    return replace(LAY[copy - 1], at=(x, 100.0))


def noted(path: Path) -> list[dict[str, Any]]:
    """What the journal beside a docket holds, line by line."""
    return [json.loads(t) for t in journal_path(path).read_text().splitlines()]


def crashed(journal: Journal) -> None:
    """What kill -9 leaves: the files as they are, no lock."""
    os.close(journal._lock)
    os.close(journal._file)


def written(path: Path, *lines: Any, known: bool = True, base: Any = None) -> None:
    """A journal written by hand beside a docket."""
    of = module._digest(path) if known else "another"
    head: dict[str, Any] = {"journal": 1, "of": of, "from": Kept.of(Docket.load(path)).to_dict()}
    if base is not None:
        head["from"] = base
    texts = [t if isinstance(t, str) else json.dumps(t) for t in (head, *lines)]
    journal_path(path).write_text("".join(f"{t}\n" for t in texts))


def edited(path: Path, x: float) -> None:
    """An editor moves the first bib in the file."""
    data = yaml.safe_load(path.read_text())
    data["lay"][0]["at"] = [x, 100]
    path.write_text(yaml.safe_dump(data, sort_keys=False))


# -- where it lies and who may have it ---------------------------------------------------------------


def test_a_folder_has_no_journal() -> None:
    """The root of the disk is refused as a folder; a docket's journal is hidden beside it."""
    with pytest.raises(InputError, match="is a folder"):
        journal_path(Path("/"))
    assert journal_path(Path("/tmp/bib.yaml")).name == ".bib.yaml.journal"


def test_a_docket_that_was_never_saved_has_none() -> None:
    """It is to be saved first; nothing of it can be taken up."""
    docket = Docket.from_dict({"chalkbeam": 1, "title": "t"})
    with pytest.raises(InputError, match="never saved"):
        Journal.open(docket)
    with pytest.raises(ValueError, match="no path"):
        Journal(docket, Path("t"), unsaved=1).save()


def test_opening_and_closing_leaves_nothing(bib: Path) -> None:
    """No file beside the docket, no open file, no thread, no lock; a second close does no harm."""
    before = len(list(Path("/proc/self/fd").iterdir()))
    text = bib.read_text()
    journal, found = Journal.open(Docket.load(bib))
    assert (found.changes, found.note, found.left) == (0, "", None)
    assert is_open(bib) and journal._thread is not None and journal._thread.is_alive()
    journal.note((moved(20.0), LAY[1]), (), {})
    journal.save()
    journal.note((moved(10.0), LAY[1]), (), {})
    journal.close()
    assert not journal._thread.is_alive()
    assert (journal._file, journal._lock, is_open(bib)) == (-1, -1, False)
    assert len(list(Path("/proc/self/fd").iterdir())) == before
    assert [p.name for p in bib.parent.iterdir()] == ["bib.yaml"]
    assert bib.read_text() == text
    journal.close()


def test_a_close_that_cannot_save_keeps_the_journal(bib: Path) -> None:
    """The docket has faults by now: that is told, all that was noted stays in the journal."""
    journal, _ = Journal.open(Docket.load(bib))
    journal.note((moved(20.0), LAY[1]), (), {})
    bib.write_text("chalkbeam: 1\ntitle: [\n")
    with pytest.raises(InputError):
        journal.close()
    assert noted(bib)[1]["moved"][0]["at"] == [20.0, 100.0]
    assert not is_open(bib)


def test_what_is_refused_at_the_start_holds_no_lock(bib: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    """When the first line cannot be written the docket is free again."""

    def full(path: Path, text: object) -> None:
        from configs.errors import Fault

        raise InputError(Fault(str(path), "no room."))

    monkeypatch.setattr("configs.files.write_atomic", full)
    with pytest.raises(InputError, match="no room"):
        Journal.open(Docket.load(bib))
    assert not is_open(bib)


# -- noting and saving -------------------------------------------------------------------------------


def test_each_change_is_one_line(bib: Path) -> None:
    """Moved pieces alone, the whole lay where copies come or go, marks, the table; else nothing."""
    journal, _ = Journal.open(Docket.load(bib))
    one, two = (moved(20.0), LAY[1]), (LAY[1],)
    journal.note(one, (), {})
    journal.note(one, (), {})
    journal.note(two, ("bib/2",), {})
    journal.note(two, ("bib/2",), VIEW)
    assert noted(bib)[1:] == [
        {"moved": [{**plain(one[0]), "at": [20.0, 100.0]}]},
        {"lay": [{**plain(two[0]), "at": [300.0, 100.0]}], "traced": ["bib/2"]},
        {"table": VIEW},
    ]
    assert (journal.unsaved, journal.now) == (3, Kept(two, ("bib/2",), VIEW))
    assert journal.save() == ""
    assert (journal.unsaved, len(noted(bib))) == (0, 1)
    there = bib.stat().st_ino
    assert journal.save() == ""
    assert bib.stat().st_ino == there  # not written again
    journal.close()
    docket = Docket.load(bib)
    assert (docket.lay, docket.traced, dict(docket.table)) == (two, ("bib/2",), VIEW)
    assert bib.read_text().startswith("# for the altos\n")


def test_a_docket_changed_meanwhile_is_told_once(bib: Path) -> None:
    """What the editor wrote stays beside the table's lay, and is told at the next save only."""
    journal, _ = Journal.open(Docket.load(bib))
    bib.write_text(bib.read_text().replace("title: bib", "title: bibs"))
    journal.note((moved(20.0), LAY[1]), (), {})
    assert "changed elsewhere" in journal.save()
    journal.note((moved(30.0), LAY[1]), (), {})
    assert journal.save() == ""
    journal.close()
    docket = Docket.load(bib)
    assert (docket.title, docket.lay[0].at) == ("bibs", (30.0, 100.0))


LONGER = {"changes": [{"lengthen": "bib", "at": "edge 1/2", "by": "2 cm"}]}


def test_a_garment_shaped_at_the_table_is_saved_with_its_lay(bib: Path) -> None:
    """Garment, lay, marks and view go to the docket at once, her comment stays; nothing is left to save."""
    journal, _ = Journal.open(Docket.load(bib))
    journal.note((moved(20.0), LAY[1]), (), {})
    journal.reshape(LONGER, Kept((moved(55.0),), ("bib/1",), VIEW))
    docket = Docket.load(bib)
    assert docket.garment == journal.docket.garment == LONGER
    assert (docket.lay, docket.traced, docket.table) == ((moved(55.0),), ("bib/1",), VIEW)
    assert bib.read_text().startswith("# for the altos")
    assert (journal.unsaved, len(noted(bib)), journal.now.lay) == (0, 1, (moved(55.0),))
    journal.close()


def test_a_garment_changed_elsewhere_is_not_written_over(bib: Path) -> None:
    """Shaped on the cloth and in the file at once: refused, and the file stays as the editor wrote it."""
    journal, _ = Journal.open(Docket.load(bib))
    hers = (
        bib.read_text()
        + "garment: {changes: [{landmark: bib, as: pocket, across: 2 cm, level: edge 1/2}]}\n"
    )
    bib.write_text(hers)
    with pytest.raises(InputError, match="changed elsewhere meanwhile, and on the cloth"):
        journal.reshape(LONGER, Kept(LAY, (), {}))
    assert bib.read_text() == hers and journal.docket.garment is None
    journal.close()


def test_a_shaped_garment_is_kept_beside_its_docket(bib: Path) -> None:
    """'Keep as new' writes the next free name with the next title, without what is under way."""
    journal, _ = Journal.open(Docket.load(bib))
    journal.note(LAY, (), {**VIEW, "shaping": {"hem": 3}})
    shaped = journal.docket.replace(garment=LONGER, traced=("bib/1",))
    text = bib.read_text()
    for n in (2, 3):
        made = journal.keep_as(shaped)
        kept = Docket.load(made)
        assert (made.name, kept.title, kept.garment) == (f"bib-{n}.yaml", f"bib {n}", LONGER)
        assert (dict(kept.table), kept.traced, kept.lay) == (VIEW, (), LAY)
    assert bib.read_text() == text
    journal.close()


def test_a_docket_taken_away_is_written_again(bib: Path) -> None:
    """Its file deleted under the open table: the next save writes it whole and has nothing to tell."""
    journal, _ = Journal.open(Docket.load(bib))
    bib.unlink()
    journal.note((moved(20.0), LAY[1]), (), {})
    assert journal.save() == ""
    journal.close()
    assert Docket.load(bib).lay[0].at == (20.0, 100.0)


def test_a_disk_that_takes_half_a_line(bib: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a line is taken back, the reason is told, and the next note writes down everything."""
    journal, _ = Journal.open(Docket.load(bib))
    journal.note((moved(20.0), LAY[1]), (), {})
    whole = journal_path(bib).read_text()
    real = os.write
    with monkeypatch.context() as patch:
        patch.setattr(module.os, "write", lambda handle, data: real(handle, data[:9]))
        journal.note((moved(20.0), moved(400.0, 2)), (), {})
    assert "No space left" in journal.refused
    assert journal_path(bib).read_text() == whole
    journal.note((moved(30.0), moved(400.0, 2)), (), {})
    assert journal.refused == ""
    crashed(journal)
    assert with_noted(bib).docket.lay == (moved(30.0), moved(400.0, 2))


def test_what_is_noted_reaches_the_disk(bib: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second thread has the system write each line to the disk."""
    done = threading.Event()
    journal, _ = Journal.open(Docket.load(bib))
    monkeypatch.setattr(module.os, "fsync", lambda handle: done.set() if handle == journal._file else None)  # fmt: skip
    journal.note((moved(20.0), LAY[1]), (), {})
    assert done.wait(5.0)
    monkeypatch.undo()
    journal.close()


# -- what comes back ---------------------------------------------------------------------------------


def test_a_killed_table_comes_back(bib: Path) -> None:
    """Every change, also after an edit that touched other things; nothing is left when it is saved."""
    journal, _ = Journal.open(Docket.load(bib))
    journal.note((moved(20.0), LAY[1]), (), {})
    journal.note((moved(20.0), LAY[1]), ("bib/1",), VIEW)
    crashed(journal)
    found = with_noted(bib)
    assert (found.changes, found.note) == (2, "")
    assert (found.docket.lay[0], found.docket.traced) == (moved(20.0), ("bib/1",))
    bib.write_text("# two hooks\n" + bib.read_text())
    again, found = Journal.open(Docket.load(bib))
    assert found.note.startswith(
        "Taken up where it was left: 2 changes kept; the docket was changed"
    )
    assert found.left is None
    assert again.unsaved == 2 and len(noted(bib)) == 2  # in one line now
    assert not list(bib.parent.glob(".*.left"))
    again.close()
    assert Docket.load(bib).lay[0] == moved(20.0)


@pytest.mark.parametrize(
    ("x", "edit", "stale"),
    [(20.0, None, False), (20.0, 20.0, False), (10.0, 40.0, False), (20.0, 40.0, True)],
)
def test_a_journal_that_the_docket_contradicts_is_stale(bib: Path, x: float, edit: float | None, stale: bool) -> None:  # fmt: skip
    """Only where table and editor moved one piece to different places must it not be lost."""
    written(bib, {"moved": [plain(moved(x))]})
    if edit is not None:
        edited(bib, edit)
    assert is_stale(bib) is stale
    found = with_noted(bib)
    assert ("the table had moved bib/1" in found.note) is stale
    assert found.docket.lay[0].at[0] == (edit if edit is not None else x)
    forget(bib)
    assert is_stale(bib) is False
    forget(bib)


def test_what_the_docket_contradicts_is_hers_to_decide(bib: Path) -> None:
    """The table's place is offered at every opening until it is settled; pointless ones go."""
    written(bib, {"moved": [plain(moved(20.0))]})
    edited(bib, 40.0)
    for _ in range(2):
        journal, found = Journal.open(Docket.load(bib))
        assert found.left is not None and found.left.keys == ("bib/1",)
        assert found.left.lay == (moved(20.0), LAY[1])
        journal.close()
    edited(bib, 20.0)  # as the table had it: nothing to decide
    journal, found = Journal.open(Docket.load(bib))
    assert found.left is None and not list(bib.parent.glob(".*.left"))
    journal.close()


def left_file(bib: Path, text: str) -> Path:
    """A file beside the docket where what is left for her is kept."""
    path = bib.with_name(".bib.yaml.left")
    path.write_text(text)
    return path


@pytest.mark.parametrize(
    "text", ["", "no data\n", "[1]\n", '{"places": [PLACE]}\n', '{"left": 1}\n', '{"left": 1, "places": [{}]}\n']
)  # fmt: skip
def test_files_that_are_nobodys_stay(bib: Path, text: str) -> None:
    """What does not hold places that a table noted is not offered and not taken away."""
    path = left_file(bib, text.replace("PLACE", json.dumps(plain(moved(20.0)))))
    journal, found = Journal.open(Docket.load(bib))
    journal.close()
    assert found.left is None and path.exists()


def test_places_of_pieces_that_are_gone_are_not_offered(bib: Path) -> None:
    """Of a piece that the docket has no more, nothing is left to decide."""
    gone = plain(Placement("hat", 1, (5.0, 5.0)))
    path = left_file(bib, json.dumps({"left": 1, "places": [gone, plain(moved(20.0))]}) + "\n")
    journal, found = Journal.open(Docket.load(bib))
    assert found.left is not None and found.left.keys == ("bib/1",)
    found.left.settle()
    found.left.settle()
    path.write_text(json.dumps({"left": 1, "places": [gone]}) + "\n")
    journal.close()
    journal, found = Journal.open(Docket.load(bib))
    assert found.left is None and not path.exists()
    journal.close()


@pytest.mark.parametrize(
    ("lines", "changes", "aside"),
    [
        (['{"moved": [{"pie'], 0, False),  # the plug tears the last line
        (["GOOD", '{"moved": [{"pie'], 1, False),
        (["GOOD", "what is this", "GOOD"], 1, True),
        (["GOOD", '{"moved": [{"at": "far"}]}'], 1, True),
        (["GOOD", '{"traced": "bib/1"}', "GOOD"], 1, True),
        (["GOOD", '{"table": {"view": {"turn": "left"}}}', "GOOD"], 1, True),
        (["GOOD", '{"table": {"height": {"mat": "thick"}}}', "GOOD"], 1, True),
    ],
)
def test_lines_that_cannot_be_read(bib: Path, lines: list[str], changes: int, aside: bool) -> None:
    """What stands before them is taken up; but for a torn last line, the whole file is kept aside."""
    good = json.dumps({"moved": [plain(moved(20.0))]})
    written(bib, *(good if t == "GOOD" else t for t in lines))
    text = journal_path(bib).read_bytes()
    journal, found = Journal.open(Docket.load(bib))
    journal.close()
    assert found.changes == changes
    kept = list(bib.parent.glob(".*.left"))
    assert [p.read_bytes() for p in kept] == ([text] if aside else [])
    assert ("cannot be read" in found.note) is aside
    assert Docket.load(bib).lay[0].at[0] == (20.0 if changes else 10.0)


@pytest.mark.parametrize("text", ["my notes\n", '{"moved": []}\n{"moved": []}\n'])
def test_what_is_no_journal_is_put_aside(bib: Path, text: str) -> None:
    """A file under its name that none wrote is kept under another, which none had before."""
    journal_path(bib).write_text(text)
    left_file(bib, "mine\n")
    journal, found = Journal.open(Docket.load(bib))
    journal.close()
    assert "was no journal; it is kept as .bib.yaml.2.left" in found.note
    assert bib.with_name(".bib.yaml.2.left").read_text() == text
    assert bib.with_name(".bib.yaml.left").read_text() == "mine\n"


def test_a_journal_that_does_not_know_where_it_began(bib: Path) -> None:
    """Without what was there before, each difference contradicts: the docket's place stands."""
    written(bib, {"moved": [plain(moved(20.0))]}, known=False, base={"lay": 5})
    assert is_stale(bib)
    assert with_noted(bib).docket.lay == LAY
    written(bib, {"moved": [plain(moved(20.0))]}, known=True, base={"lay": 5})
    assert not is_stale(bib)
    assert with_noted(bib).docket.lay[0] == moved(20.0)


def test_a_save_that_the_journal_did_not_see(bib: Path) -> None:
    """Killed between the save and the new journal: all is in the docket, nothing is taken up."""
    written(bib, {"moved": [plain(moved(20.0))]})
    edited(bib, 20.0)
    found = with_noted(bib)
    assert (found.changes, found.note) == (0, "")


def test_a_save_while_the_docket_is_read(bib: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the table saves between reading docket and journal, both are read again, but not for ever."""
    real, calls = module._noted, []

    def saving(times: int) -> list[float]:
        calls.clear()

        def between(docket: Docket, path: Path) -> Any:
            calls.append(len(calls))
            if len(calls) <= times:
                edited(bib, 100.0 * times + len(calls))
            return real(docket, path)

        monkeypatch.setattr(module, "_noted", between)
        return [with_noted(bib).docket.lay[0].at[0], float(len(calls))]

    assert saving(0) == [10.0, 1.0]
    assert saving(1) == [101.0, 2.0]
    assert saving(9) == [904.0, 5.0]


@pytest.mark.parametrize(("size", "read"), [(32_000_000, True), (128_000_000, False)])
def test_how_large_a_journal_may_be(bib: Path, size: int, read: bool) -> None:
    """Half of 64 MB is read; what is twice as large is no journal of ours, and kept aside."""
    written(bib, {"moved": [plain(moved(20.0))]})
    path = journal_path(bib)
    head, line = path.read_text().splitlines()
    if read:
        path.write_text(f"{head}{' ' * size}\n{line}\n")
    else:
        os.truncate(path, size)
    journal, found = Journal.open(Docket.load(bib))
    journal.close()
    assert (found.changes == 1, "was no journal" in found.note) == (read, not read)


# -- plain data and two hands --------------------------------------------------------------------------


def test_a_placement_is_read_back_or_refused() -> None:
    """Half a kilometre and half a million degrees are taken; twice the limit of 1e6, and no number, not."""
    whole = Placement("bib", 2, (5e5, -5e5), -5e5, True, True, True)
    assert placement_from(plain(whole)) == whole
    row = plain(LAY[0])
    for wrong in ({"at": [2e6, 0.0]}, {"at": [0.0, -2e6]}, {"turn_deg": 2e6}, {"turn_deg": -2e6},
                  {"at": [1.0]}, {"piece": ""}, {"copy": 0}, {"mirrored": 3}):  # fmt: skip
        with pytest.raises(ValueError):
            placement_from({**row, **wrong})


def test_marks_are_read_back_or_refused() -> None:
    """A list of copies, each a name and a number; nothing else."""
    assert marks_from(["bib/1", "left side/12"]) == ("bib/1", "left side/12")
    for wrong in ("bib/1", None, {"bib/1": 2}, ["bib"], ["bib/x"], ["a/b/1"], ["/1"], [5], ["bib/1", 7]):  # fmt: skip
        with pytest.raises(ValueError, match="no list"):
            marks_from(wrong)


def test_an_open_table_leaves_the_rest_to_the_file() -> None:
    """Its own lay, marks and settings; new copies, marks and settings of the file; no gone pieces."""
    hat = Placement("hat", 1, (5.0, 5.0))
    base = Kept(LAY, ("bib/1",), {"view": 1, "height": 2})
    table = Kept((moved(20.0),), ("bib/2",), {"view": 3})
    file = Kept((*LAY, hat), ("bib/1", "hat/1"), {"view": 1, "height": 2, "grid": 4})
    assert seated(base, table, file, None) == Kept(
        (moved(20.0), hat), ("bib/2", "hat/1"), {"grid": 4, "view": 3}
    )
    assert seated(base, table, file, {"hat"}) == Kept((hat,), ("hat/1",), {"grid": 4, "view": 3})
    assert seated(base, table, file, {"bib"}).traced == ("bib/2",)


def test_marks_and_settings_of_two_hands() -> None:
    """Each mark made or taken away by one hand counts; a setting that both changed is the file's."""
    base = Kept(
        (), ("a/1", "b/1", "c/1"), {"same": 1, "ours": 1, "theirs": 1, "both": 1, "gone": 1}
    )
    table = Kept(
        (), ("a/1", "b/1", "d/1"), {"same": 1, "ours": 2, "theirs": 1, "both": 2, "new": 5}
    )
    file = Kept(
        (), ("a/1", "c/1", "e/1"), {"same": 1, "ours": 1, "theirs": 3, "both": 3, "gone": 1}
    )
    made, against = merged(base, table, file, None)
    assert made.traced == ("a/1", "e/1", "d/1") and against == ()
    assert made.table == {"same": 1, "ours": 2, "theirs": 3, "both": 3, "new": 5}
    assert merged(base, table, file, {"a", "e"})[0].traced == ("a/1", "e/1")
    unknown, _ = merged(None, table, file, None)
    assert unknown.traced == ("a/1", "c/1", "e/1", "b/1", "d/1")
    assert unknown.table == {"same": 1, "ours": 1, "theirs": 3, "both": 3, "gone": 1, "new": 5}


def test_what_is_saved_alike_is_alike() -> None:
    """A thousandth of a millimetre is kept by the docket, a ten-thousandth is not; marks, table count."""
    one = Kept(LAY, ("bib/1",), VIEW)
    assert one.like(Kept((moved(10.0002), LAY[1]), ("bib/1",), {"view": {"turn": 90.0}}))
    assert not one.like(Kept((moved(10.002), LAY[1]), ("bib/1",), VIEW))
    assert not one.like(Kept(LAY, (), VIEW))
    assert not one.like(Kept(LAY, ("bib/1",), {}))
    assert not one.like(Kept(LAY[:1], ("bib/1",), VIEW))


@pytest.mark.quick
@pytest.mark.parametrize("was", [moved(100.00046), replace(LAY[0], turn_deg=7.49543509)])
def test_what_the_docket_rounded_is_nobodys_edit(bib: Path, was: Placement) -> None:
    """A place that a save has rounded is not taken for an edit against what the table did since."""
    docket = Docket.load(bib).replace(lay=(was, LAY[1]))
    docket.save(bib)
    assert Kept.of(docket).like(Kept.of(Docket.load(bib)))
    on = moved(250.0)
    base, now = Kept.of(docket), Kept((on, LAY[1]), (), {})
    kept, against = merged(base, now, Kept.of(Docket.load(bib)), {"bib"})
    assert kept.lay[0] == on and not against
