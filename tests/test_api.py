"""What programs may use: the examples of DEVELOPERS.md run, and only plain things come out."""

from __future__ import annotations

import ast
import dataclasses
import doctest
import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from dockets import write_top

import calibrate
import drafting
import drafting.lay
from calibrate import Calibration, pattern_for, solve_photos
from calibrate.cards import BARS_MM
from calibrate.detect import detect
from calibrate.drift import drift
from calibrate.readings import crosses_for, distances_text, pairs_of, readings_from
from calibrate.simulate import VirtualCamera, VirtualTable
from calibrate.tape import solve_tape
from configs import shipped
from configs.errors import ChalkbeamError
from drafting import Cloth, Docket, Piece, draft
from drafting.export.svg import pieces_svg
from drafting.intake import read_outlines
from drafting.intake.adopt import adopt
from drafting.lay import Effort, Rules, judge, plan
from drafting.lay.advice import compare_widths, leftover, what_would_help
from drafting.steps import panels
from projector.cli import main
from projector.demo import lay_cards

ROOT = Path(__file__).resolve().parent.parent
SIZE = (1920, 1080)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with what the examples open: measurements, a laid docket, a photo, distances."""
    monkeypatch.chdir(tmp_path)
    write_top(tmp_path)
    assert main(["lay", "top.yaml", "--seconds", "0", "--no-compare"]) == 0
    table = VirtualTable.random(5, SIZE, beam_width_mm=1200.0, surface="light table")
    pattern = pattern_for(SIZE, 1200.0)
    laid = table.with_sheets(lay_cards(table, pattern, 5))
    camera = VirtualCamera.phone(5, table.beam_mm(), size=(3024, 2268))
    photo = laid.photograph(pattern.image(), camera, 5)
    cv2.imwrite(str(tmp_path / "photo.jpg"), photo[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    crosses, mm = crosses_for(SIZE, 6), 1200.0 / SIZE[0]
    read = [((a, b), mm * math.dist(crosses[a], crosses[b])) for a, b in pairs_of(crosses)]
    (tmp_path / "distances.yaml").write_text(distances_text(SIZE, crosses, read))
    return tmp_path


def test_the_examples_run_as_written(here: Path) -> None:
    """Every line after >>> in DEVELOPERS.md answers what is written under it."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    test = doctest.DocTestParser().get_doctest(text, {}, "DEVELOPERS.md", "DEVELOPERS.md", 0)
    assert len(test.examples) >= 30
    told: list[str] = []
    doctest.DocTestRunner().run(test, out=told.append)
    assert told == [], "".join(told)
    assert (here / "calibration.yaml").is_file()


@pytest.mark.parametrize("package", [drafting, drafting.lay, calibrate])
def test_every_offered_name_is_there(package: Any) -> None:
    """Each public name loads, and the list of them is complete and sorted by hand."""
    assert sorted(package.__all__) == sorted(package._HOMES)
    for name in package.__all__:
        assert getattr(package, name).__name__.rpartition(".")[2] == name


# -- no library's object leaves its package -----------------------------------------------------


def holders(value: Any, library: str) -> list[str]:
    """Paths to objects of a library in what a public call gave back, down all public names."""
    found: list[str] = []
    seen: set[int] = set()
    keep: list[Any] = []  # so that no id is used twice

    def inside(value: Any) -> Iterator[tuple[str, Any]]:
        if isinstance(value, Mapping):
            yield from ((f"[{k!r}]", v) for k, v in value.items())
            return
        if isinstance(value, list | tuple | set | frozenset):
            yield from ((f"[{i}]", v) for i, v in enumerate(value))
            return
        names = (
            {n for n in vars(value) if not n.startswith("_")}
            if hasattr(value, "__dict__")
            else set()
        )
        names |= {n for n, v in vars(type(value)).items()
                  if not n.startswith("_") and (isinstance(v, property) or type(v).__name__ in
                                                ("cached_property", "member_descriptor"))}  # fmt: skip
        if dataclasses.is_dataclass(value):
            names |= {f.name for f in dataclasses.fields(value) if not f.name.startswith("_")}
        for name in sorted(names):
            try:
                yield f".{name}", getattr(value, name)
            except (ChalkbeamError, ValueError, AttributeError):
                continue

    def look(value: Any, path: str) -> None:
        home = type(value).__module__.split(".")[0]
        if home == library:
            found.append(f"{path}: {type(value).__module__}.{type(value).__name__}")
            return
        plain = isinstance(value, str | bytes | int | float | complex | Path | type | None)
        if (
            plain
            or id(value) in seen
            or callable(value)
            or (
                home in ("numpy", "builtins")
                and not (isinstance(value, Mapping | list | tuple | set | frozenset))
            )
        ):
            return
        seen.add(id(value))
        keep.append(value)
        for name, each in inside(value):
            look(each, path + name)

    look(value, type(value).__name__)
    return found


def test_the_search_for_foreign_objects_finds_them() -> None:
    """The walk itself sees an object in a field, a list, a mapping and behind a property."""
    import shapely

    @dataclasses.dataclass(frozen=True)
    class Held:
        shape: Any
        _own: Any = None

        @property
        def hull(self) -> Any:
            return self._own

    point = shapely.Point(1, 2)
    for value in (Held(point), Held([{"a": point}]), Held(None, point), {"x": (point,)}, [point]):
        assert len(holders(value, "shapely")) == 1
    assert holders(Held(np.zeros(3), "text"), "shapely") == []


def test_no_shapely_object_leaves_drafting(tmp_path: Path) -> None:
    """All that drafting's public calls give back, down every public name, is plain or ours."""
    docket = Docket.load(shipped("dockets", "rehearsal-top.yaml"))
    assert docket.measurements is not None
    assert docket.cloth is not None
    made: list[Any] = [docket, docket.draft(), docket.pieces(), docket.draft().checks()]
    skirt = draft("straight-skirt", docket.measurements)
    made += [skirt, skirt.checks(), panels(skirt)]
    pieces = docket.pieces()
    rules = Rules(allowances={n: docket.allowances_for(n) for n in pieces})
    lay = plan(pieces, docket.cloth, 0.1, rules=rules, effort=Effort(workers=0))
    made += [
        lay,
        lay.problems(),
        lay.placements,
        leftover(lay),
        judge(pieces, docket.cloth, lay.placements, rules),
    ]
    made.append(
        compare_widths(pieces, docket.cloth, seconds=0.05, widths_mm=(1500.0,), rules=rules)
    )
    small = Cloth.from_dict(
        {"outline": [[0, 0], [300, 0], [300, 400], [0, 400]], "holes": [[[5, 5], [9, 5], [9, 9]]]}
    )
    tight = plan(pieces, small, 0.1, rules=rules, effort=Effort(workers=0))
    made += [
        small,
        tight,
        tight.problems(),
        what_would_help(pieces, small, tight, seconds=0.05, rules=rules),
    ]
    drawing = tmp_path / "p.svg"
    drawing.write_text(pieces_svg(pieces, {n: docket.allowances_for(n) for n in pieces}))
    found = read_outlines(drawing)
    made += [found, [adopt(o) for o in found.outlines]]
    made.append(Piece.from_outline("flag", [(0, 0), (300, 0), (300, 200), (0, 200)]))
    assert holders(made, "shapely") == []


def test_no_opencv_object_leaves_calibrate() -> None:
    """All that calibrate's public calls give back, down every public name, is plain or ours."""
    size = (1920, 1080)
    pattern = pattern_for(size, 1200.0)
    seen = detect(calibrate.read_photo(shipped("pictures", "photo.jpg")), size, name="photo")
    by_photo = solve_photos([seen], bars_mm=BARS_MM)
    crosses = crosses_for(size, 6)
    at = by_photo.to_table(np.array([crosses[k] for k in sorted(crosses)], dtype=float))
    index = {k: i for i, k in enumerate(sorted(crosses))}
    readings = readings_from(
        {"chalkbeam": 1, "size": list(size), "crosses": {k: list(v) for k, v in crosses.items()},
         "distances_mm": {f"{a}-{b}": float(np.hypot(*(at[index[a]] - at[index[b]])))
                          for a, b in pairs_of(crosses)}}, "d.yaml", size)  # fmt: skip
    by_tape = solve_tape(readings)
    assert isinstance(by_photo, Calibration)
    made: list[Any] = [pattern, calibrate.card_set("a4"), seen, by_photo, by_photo.to_dict()]
    made += [by_photo.summary(), readings, by_tape, drift(by_photo, by_photo)]
    assert holders(made, "cv2") == []


def words(annotation: ast.expr | None) -> set[str]:
    """The names that an annotation speaks of, quoted ones too."""
    if annotation is None:
        return {"Any"}
    text = ast.unparse(annotation).replace("'", " ").replace('"', " ")
    return set(re.findall(r"[A-Za-z_]\w*", text))


WRITTEN = {"as_written"}  # a value as it stands in a file: text, number or list


@pytest.mark.parametrize(("package", "library"), [("drafting", "shapely"), ("calibrate", "cv2")])
def test_no_public_annotation_speaks_of_the_library(package: str, library: str) -> None:
    """Nothing public returns or holds a type of the library, and what the top uses is not 'Any'."""
    used: set[tuple[str, str]] = set()
    for path in (ROOT / "projector").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(package):
                used |= {(str(node.module), a.name) for a in node.names}
    bad: list[str] = []
    for path in sorted((ROOT / package).rglob("*.py")):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        tree = ast.parse(path.read_text(encoding="utf-8"))
        foreign = {library}
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == library:
                foreign |= {a.asname or a.name for a in node.names}
        for name, annotation, at_top in public(tree.body, module, used):
            told = words(annotation)
            hidden = told == {"Any"} and at_top and name.rsplit(".", 1)[-1] not in WRITTEN
            if told & foreign or hidden:
                bad.append(f"{name}: {ast.unparse(annotation) if annotation else 'nothing said'}")
    assert not bad, "\n".join(bad)


def public(
    body: list[ast.stmt], inside: str, used: set[tuple[str, str]], at_top: bool = False
) -> Iterator[tuple[str, ast.expr | None, bool]]:
    """(name, what it returns or holds, used by the top) of all that is public in a module."""
    for node in body:
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            if not node.target.id.startswith("_"):
                yield f"{inside}.{node.target.id}", node.annotation, False
        elif isinstance(node, ast.ClassDef | ast.FunctionDef) and not node.name.startswith("_"):
            top = at_top or (inside, node.name) in used
            if isinstance(node, ast.ClassDef):
                yield from public(node.body, f"{inside}.{node.name}", used, top)
            else:
                yield f"{inside}.{node.name}", node.returns, top
