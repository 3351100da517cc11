"""No command ever writes over what it reads, over a file of another kind, or over a protected one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import click
import cv2
import ezdxf
import numpy as np
import pytest
from dockets import write_top
from remnants import SIZE, true_calibration

from calibrate.simulate import VirtualTable
from projector import output
from projector.cli import _COMMANDS, CALIBRATE_COMMANDS, LazyGroup, cli, main
from projector.commands.places import Command, Place


def every_command(group: LazyGroup, words: str = "") -> Iterator[tuple[str, click.Command]]:
    """Each command that can be typed, with its words."""
    for name in group.table:
        command = group.get_command(click.Context(group), name)
        assert command is not None
        if isinstance(command, LazyGroup):
            yield from every_command(command, f"{words}{name} ")
        else:
            yield f"{words}{name}", command


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one file of every kind: hers, and what the commands made."""
    folder = tmp_path_factory.mktemp("made")
    write_top(folder)
    table = VirtualTable.random(21, SIZE, surface="light table", ambient=0.3, beam_width_mm=1150.0)
    cv2.imwrite(str(folder / "photo.jpg"), np.zeros((8, 8, 3), np.uint8))
    true_calibration(table).save(folder / "cal.yaml")
    (folder / "cloth.yaml").write_text(
        "chalkbeam: 1\noutline: [[0, 0], [9, 0], [9, 9]]\nnote: found\n"
    )
    here = str(folder)
    for line in (
        f"calibrate crosses --size 1280x720 --out {here}/crosses.png --form {here}/readings.yaml",
        f"calibrate cards --out {here}/cards.pdf",
        f"calibrate pattern --size 1280x720 --out {here}/pattern.png",
        f"lay {here}/top.yaml --seconds 0 --no-compare",
        f"export {here}/top.yaml --out {here}/pieces.svg",
        f"export {here}/top.yaml --out {here}/pieces.dxf",
    ):
        assert main(line.split()) == 0, line
    return folder


# every option and argument that names a file to write, {}: that name. What is read is there.
REPLACES = {
    "base top.yaml --out {}": ".yaml",
    "calibrate cards --out {}": ".pdf",
    "calibrate check photo.jpg --calibration cal.yaml --mend --out {}": ".yaml",
    "calibrate crosses --size 1280x720 --out {}": ".png",
    "calibrate crosses --size 1280x720 --out new.png --form {}": ".yaml",
    "calibrate live --out {}": ".yaml",
    "calibrate pattern --size 1280x720 --out {}": ".png",
    "calibrate photo photo.jpg --size 1280x720 --out {}": ".yaml",
    "calibrate photo photo.jpg --size 1280x720 --report {}": ".jpg",
    "calibrate photo photo.jpg --size 1280x720 --square-picture {}": ".png",
    "calibrate tape readings.yaml --out {}": ".yaml",
    "cloth photo.jpg --calibration cal.yaml --out {}": ".yaml",
    "cloth --size 1280x720 --light {}": ".png",
    "export top.yaml --out {}": ".svg",
    "frame top.yaml --calibration cal.yaml --out {}": ".png",
    "import pieces.svg --picture {}": ".svg",
    "lay top.yaml --seconds 0 --picture {}": ".png",
    "guide --out {}": ".pdf",
    "print top.yaml --paper a4 --out {}": ".pdf",
    "wardrobe . --out {}": ".pdf",
}
EDITS = ["calibrate tape {} --guided --out new.yaml", "cloth photo.jpg --into {}",
         "import pieces.svg {}", "import pieces.svg --out {}", "lay {}", "lay top.yaml --with {}",
         "measure {}", "project {}"]  # fmt: skip
KEEPS = (".yaml", ".png", ".jpg", ".pdf", ".svg", ".dxf")


def test_every_place_to_write_is_in_these_tests() -> None:
    """No option of any command writes without being tried below; none is taken another way."""
    tried = {
        (words, place)
        for line in (*REPLACES, *EDITS)
        for words in [" ".join(w for w in line.split()[: 1 + line.startswith("calibrate ")])]
        for place in [line.split("{}")[0].split()[-1]]
    }
    assert len(tried) >= 22
    for words, command in every_command(cli):
        assert isinstance(command, Command), f"{words} looks at no file before it begins"
        for param in command.params:
            kind = param.type
            if isinstance(kind, Place) and kind.kind is not None:
                option = max(param.opts, key=len) if isinstance(param, click.Option) else None
                assert option is None or (words, option) in tried, f"{words} {option} is not tried"
            elif isinstance(param, click.Option) and not isinstance(kind, Place):
                read = ("calibration", "cards", "pattern", "keys", "photos", "since", "font")
                given = isinstance(kind, click.Path)
                assert not given or any(r in param.opts[0] for r in read), f"{words} {param.opts}"
    assert {*_COMMANDS, *CALIBRATE_COMMANDS} >= {w.split()[-1] for w, _ in tried}


@pytest.fixture
def here(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of that folder, to work in."""
    folder = tmp_path / "here"
    shutil.copytree(made, folder)
    monkeypatch.chdir(folder)
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path / "home"))
    return folder


def refused(line: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """What is said when the command is refused; every file is as it was, and none came."""
    before = {p: p.read_bytes() for p in folder.iterdir()}
    capsys.readouterr()
    assert main(line.split()) == 2, line
    said = capsys.readouterr().err
    assert {p: p.read_bytes() for p in folder.iterdir()} == before, line
    assert said.startswith("Not done") and "Name" in said, said
    return said


@pytest.mark.parametrize("line", REPLACES)
def test_a_file_of_another_kind_is_never_replaced(
    line: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Her docket, measures, readings, photo, text and drawing under the very name: refused, untouched."""
    suffix = REPLACES[line]
    hers = {
        "docket": (here / "top.yaml").read_bytes(),
        "measurements": (here / "alto-3.yaml").read_bytes(),
        "readings": (here / "readings.yaml").read_bytes(),
        "a cloth": (here / "cloth.yaml").read_bytes() if "cloth" not in line else b"{}",
        "photo": cv2.imencode(".jpg", np.zeros((8, 8, 3), np.uint8))[1].tobytes(),
        "screenshot": cv2.imencode(".png", np.zeros((8, 8, 3), np.uint8))[1].tobytes(),
        "text": b"buy thread\n",
        "sketch": b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0"/></svg>',
        "paper": b"%PDF-1.4\n%her own\n",
    }
    for what, data in hers.items():
        target = here / f"hers{suffix}"
        target.write_bytes(data)
        said = refused(line.format(target.name), here, capsys)
        assert target.name in said and "would be lost" in said, what


@pytest.mark.parametrize("line", REPLACES)
def test_nothing_that_is_read_is_written_over(
    line: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each file that the command reads given as the one to write, by its name or by a link: refused."""
    suffix = REPLACES[line]
    reads = [w for w in line.split() if (here / w).is_file()]
    for n, word in enumerate(reads):
        link = here / f"link-{n}{suffix}"
        link.hardlink_to(here / word)
        for name in (word, link.name):
            said = refused(line.format(name), here, capsys)
            assert "read here too" in said or "the same file" in said or "ends in" in said
    if reads and Path(reads[0]).suffix == suffix:
        assert "ends in" not in refused(line.format(reads[0]), here, capsys)


@pytest.mark.parametrize("line", [*REPLACES, *EDITS])
def test_a_protected_file_stays(line: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file without write permission is refused before anything is done, to root as well."""
    suffix = REPLACES.get(line, ".yaml")
    target = here / f"kept{suffix}"
    own = "readings.yaml" if "tape" in line else "alto-3.yaml" if "measure" in line else "top.yaml"
    target.write_bytes((here / own).read_bytes() if line in EDITS else b"")
    target.chmod(0o444)
    assert "write-protected" in refused(line.format(target.name), here, capsys)


@pytest.mark.parametrize(
    "line",
    [
        "calibrate pattern --size 1280x720 --out top.png",
        "calibrate crosses --size 1280x720 --out top.png",
        "calibrate cards --out top.pdf",
        "calibrate photo photo.jpg --size 1280x720 --out top.yaml",
        "calibrate photo photo.jpg --size 1280x720 --report photo.jpg",
        "calibrate tape readings.yaml --out readings.yaml",
        "calibrate check photo.jpg --calibration cal.yaml --mend --out top.yaml",
        "lay top.yaml --picture top.yaml",
        "cloth --size 1280x720 --light photo.jpg",
        "import pieces.svg --picture pieces.svg",
        "import pieces.svg pieces.svg",
        "calibrate cards --out .",
        "calibrate cards --out /dev/null",
    ],
)
def test_the_sidecar_and_the_slips_that_were_seen(
    line: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What has overwritten her files: the YAML beside a picture, an input given as the output."""
    refused(line, here, capsys)


@pytest.mark.parametrize(
    "line", ["lay top.yaml --seconds 0", "cloth photo.jpg --into top.yaml --calibration cal.yaml"]
)
def test_a_picture_that_is_named_by_itself_keeps_hers(
    line: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A photo of hers under the name that the command would choose: refused before the docket changes."""
    picture = here / ("top.lay.png" if line.startswith("lay") else "top.cloth.png")
    cv2.imwrite(str(picture), np.zeros((8, 8, 3), np.uint8))
    assert picture.name in refused(line, here, capsys)


@pytest.mark.parametrize(
    "line",
    [
        "calibrate cards --out again.pdf",
        "calibrate crosses --size 1280x720 --out again.png",
        "calibrate pattern --size 1280x720 --out again.png",
        "cloth --size 1280x720 --light again.png",
        "cloth --size 1280x720 --light again.jpg",
        "export top.yaml --out again.svg",
        "export top.yaml --out again.dxf",
        "frame top.yaml --calibration cal.yaml --out again.png",
        "import pieces.svg --picture again.svg",
        "lay top.yaml --seconds 0 --no-compare --picture again.jpg",
        "print top.yaml --paper a4 --out again.pdf",
        "draft top.yaml --steps --out again",
        "blocks straight-skirt --out again",
        "measure alto-3.yaml --figures again",
    ],
)
def test_what_the_program_made_is_made_anew(
    line: str, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same command twice: its own files give way, so each carries its mark where the rule looks."""
    monkeypatch.setattr("builtins.input", lambda _: "")
    for _ in range(2):
        assert main(line.split()) in (0, 1)


@pytest.mark.parametrize("suffix", [".png", ".jpg"])
def test_the_mark_changes_no_pixel(suffix: str) -> None:
    """A marked picture holds the same pixels, is known as the program's, and is marked once."""
    noise = np.random.default_rng(4).integers(0, 255, (40, 60, 3), dtype=np.uint8)
    plain = output.picture_bytes(noise, suffix)
    made = output.marked(plain)
    assert output.kind_of(plain)[1] is False and output.kind_of(made)[1] is True
    read = [cv2.imdecode(np.frombuffer(b, np.uint8), cv2.IMREAD_COLOR) for b in (plain, made)]
    assert (read[0] == read[1]).all() and output.marked(made) == made
    if suffix == ".png":
        assert (read[1][..., ::-1] == noise).all()


def test_a_marked_drawing_reads_as_before(here: Path) -> None:
    """The DXF opens without a fault in ezdxf; the SVG is well-formed XML with the mark before its root."""
    from xml.etree import ElementTree

    drawing = ezdxf.readfile(here / "pieces.dxf")  # type: ignore[attr-defined]  # it is exported
    assert not drawing.audit().errors
    text = (here / "pieces.svg").read_text()
    assert ElementTree.fromstring(text).tag.endswith("svg")
    assert text.index("<!-- chalkbeam -->") < text.index("<svg")


def test_demo_keeps_a_docket_that_no_demo_made(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`demo --out .` where her own docket.yaml lies is refused."""
    (here / "top.yaml").rename(here / "docket.yaml")
    assert "docket.yaml" in refused("demo --out .", here, capsys)


def test_only_one_module_writes() -> None:
    """Every file is written by `output`, by what keeps a table's work, or by the packages' `save`."""
    import ast

    root = Path(__file__).parent.parent / "projector"
    writes = {"write_atomic", "write_bytes", "write_text", "imwrite", "imencode"}
    allowed = {"output.py", "journal.py", "past.py", "tape_guide.py", "demo.py"}
    for path in root.rglob("*.py"):
        tree = ast.parse(path.read_text())
        names = {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
        names |= {n.id for n in ast.walk(tree) if isinstance(n, ast.Name)}
        found = names & writes
        assert not found or path.name in allowed, f"{path.name} writes by itself: {found}"


def test_no_save_of_the_packages_replaces_a_protected_file(here: Path) -> None:
    """A docket, its measurements and a calibration that are write-protected refuse to be saved over."""
    from calibrate.calibration import Calibration
    from configs.errors import InputError
    from drafting.docket import Docket

    docket, calibration = Docket.load(here / "top.yaml"), Calibration.load(here / "cal.yaml")
    assert docket.measurements is not None
    for name, save in (
        ("top.yaml", docket.save),
        ("alto-3.yaml", docket.measurements.save),
        ("cal.yaml", calibration.save),
    ):
        before = (here / name).read_bytes()
        (here / name).chmod(0o444)
        with pytest.raises(InputError, match="write-protected"):
            save(here / name)
        assert (here / name).read_bytes() == before
