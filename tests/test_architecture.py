"""The house stands as it is drawn: who may import whom, what the top level holds, what is lazy."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
NOTES = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PACKAGES = ("configs", "drafting", "calibrate", "projector")


def ranks(package: str) -> list[set[str]]:
    """The package's row of the table in DEVELOPERS.md: modules by rank, the lowest first."""
    row = re.search(rf"^\| `{package}` \| (.*) \|$", NOTES, re.MULTILINE)
    assert row, f"DEVELOPERS.md has no row for {package}"
    plain = re.sub(r"\([^)]*\)", "", row[1])
    return [{n.strip(" /`") for n in rank.split(",")} for rank in plain.split("·")]


def named(package: str) -> dict[str, Path]:
    """Every module of a package by its dotted name; a folder's ``__init__`` by the folder's."""
    return {
        ".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): p
        for p in modules(package)
    }


def modules(package: str) -> list[Path]:
    """Every module of a package."""
    found = sorted((ROOT / package).rglob("*.py"))
    assert found, package
    return found


@dataclass(frozen=True)
class Import:
    """One import: the module it asks for, its line, and whether it waits until it is needed."""

    name: str
    line: int
    lazy: bool


@cache
def imports(path: Path) -> tuple[Import, ...]:
    """Each import of a file: those at its head and lazy ones, of modules named in texts too."""
    found: list[Import] = []
    package = path.relative_to(ROOT).parts[0]
    known = named(package)

    def walk(node: ast.AST, lazy: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
                continue
            if isinstance(child, ast.Import):
                found.extend(Import(a.name, child.lineno, lazy) for a in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, f"{path}:{child.lineno}: relative import"
                whole = [f"{child.module}.{a.name}" for a in child.names]
                found.extend(
                    Import(w if w in known else str(child.module), child.lineno, lazy)
                    for w in whole
                )
            elif (
                isinstance(child, ast.Constant) and child.value in known and path.stem != "__init__"
            ):
                found.append(Import(str(child.value), child.lineno, True))  # import_module("…")
            walk(child, lazy or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef))

    walk(ast.parse(path.read_text(encoding="utf-8")), False)
    return tuple(found)


@pytest.mark.parametrize(
    ("package", "forbidden"),
    [
        (
            "configs",
            {
                "calibrate",
                "drafting",
                "projector",
                "numpy",
                "scipy",
                "cv2",
                "shapely",
                "pygame",
                "click",
                "rich",
            },
        ),
        ("drafting", {"calibrate", "projector", "cv2", "pygame", "click", "rich"}),
        ("calibrate", {"drafting", "projector", "shapely", "pygame", "click", "rich"}),
    ],
)
def test_packages_keep_apart(package: str, forbidden: set[str]) -> None:
    """The lower packages know neither each other, nor the top, nor each other's libraries."""
    bad = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for path in modules(package)
        for name, line in ((i.name, i.line) for i in imports(path))
        if name.split(".")[0] in forbidden
    ]
    assert not bad, "\n".join(bad)


def test_pygame_only_at_the_window() -> None:
    """pygame is imported by the window alone."""
    allowed = {"projector/app.py"}
    bad = [
        f"{path.relative_to(ROOT)}:{line}"
        for package in PACKAGES
        for path in modules(package)
        for name, line in ((i.name, i.line) for i in imports(path))
        if name.split(".")[0] == "pygame" and str(path.relative_to(ROOT)) not in allowed
    ]
    assert not bad, "\n".join(bad)


def inner(package: str) -> Iterator[tuple[str, Import]]:
    """(module, import) for every import of a package's module by another of the same package."""
    known = named(package)
    for name, path in known.items():
        for each in imports(path):
            if each.name in known and each.name != name:
                yield name, each


@pytest.mark.parametrize("package", PACKAGES)
def test_imports_run_along_the_table(package: str) -> None:
    """Inside a package a module imports only what DEVELOPERS.md lists before it, lazily or not."""
    order = {name: n for n, rank in enumerate(ranks(package)) for name in rank}
    there = {name.split(".")[1] for name in named(package) if "." in name}
    assert there - set(order) == set(), "modules without a place in DEVELOPERS.md's table"
    assert set(order) - there == set(), "DEVELOPERS.md's table names what is not there"
    bad = []
    for name, each in inner(package):
        if "." not in name or "." not in each.name:
            continue  # the package's front door, see below
        here, other = name.split(".")[1], each.name.split(".")[1]
        if order[other] > order[here]:
            bad.append(f"{name}:{each.line} imports {each.name}")
    assert not bad, "\n".join(bad)


@pytest.mark.parametrize("package", PACKAGES)
def test_no_circle_of_imports(package: str) -> None:
    """No module reaches itself through others, lazy imports included."""
    graph: dict[str, set[str]] = {}
    for name, each in inner(package):
        graph.setdefault(name, set()).add(each.name)
    done: set[str] = set()

    def follow(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " → ".join([*trail[trail.index(name) :], name])
        if name not in done:
            for other in sorted(graph.get(name, ())):
                follow(other, (*trail, name))
            done.add(name)

    for name in sorted(graph):
        follow(name, ())


@pytest.mark.parametrize("package", PACKAGES)
def test_no_module_uses_its_own_front_door(package: str) -> None:
    """Names that a package offers to others are taken inside it from where they live."""
    known = named(package)
    doors = {n for n, p in known.items() if p.stem == "__init__" and "__getattr__" in p.read_text()}
    bad = [
        f"{name}:{each.line} imports from {each.name}"
        for name, each in inner(package)
        if each.name in doors and f"{name}.".startswith(f"{each.name}.")
    ]
    assert not bad, "\n".join(bad)


# who may open files by the system's own calls, each with its reason; all else goes through configs.files
OPENS = {
    "configs/files.py": "the one place",
    "projector/session/hold.py": "locks are files held open",
    "projector/session/journal.py": "a line is appended to a file held open",
}
_OPENERS = {
    "read_text",
    "read_bytes",
    "write_text",
    "write_bytes",
    "imread",
    "imwrite",
    "fromfile",
    "readfile",
}
_MODULES = {"io", "os", "Path", "path", "gzip", "zipfile", "codecs", "builtins"}


def calls(path: Path) -> Iterator[tuple[str, str, ast.Call]]:
    """(what stands before the dot, name called, call) of every call in a file."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                yield "", node.func.id, node
            elif isinstance(node.func, ast.Attribute):
                yield ast.unparse(node.func.value), node.func.attr, node


def test_files_are_opened_in_one_place() -> None:
    """Reading and writing go through configs.files, where pipes, devices and giants are refused."""
    found = {}
    for package in PACKAGES:
        for path in modules(package):
            for owner, name, call in calls(path):
                plain = name == "open" and (
                    not owner or owner in _MODULES or owner.endswith("path")
                )
                method = bool(owner) and name in _OPENERS  # of a path; bare, they are ours
                if plain or method:
                    found[str(path.relative_to(ROOT))] = call.lineno
    assert set(found) == set(OPENS), found


def test_texts_reach_the_terminal_through_one_console() -> None:
    """rich is given no text of hers as markup: one Console, and columns of text say so."""
    bad = []
    for path in modules("projector"):
        for owner, name, call in calls(path):
            where = f"{path.relative_to(ROOT)}:{call.lineno}"
            told = {k.arg: ast.unparse(k.value) for k in call.keywords}
            if name == "Console" and path.name != "console.py":
                bad.append(f"{where}: use projector.console.terminal")
            if name in ("Console", "TextColumn") and told.get("markup") != "False":
                bad.append(f"{where}: {name} without markup=False")
            if name in ("from_markup", "render_markup") or (owner == "rich" and name == "print"):
                bad.append(f"{where}: {name} reads markup")
    assert not bad, "\n".join(bad)


def test_top_level_is_the_card() -> None:
    """The top level holds what the card names, dot files, and nothing else."""
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    card = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "projector", "calibrate", "drafting",
        "tests", "configs",
    }  # fmt: skip
    assert {t for t in top if not t.startswith(".")} <= card


HEAVY = ("cv2", "pygame", "scipy", "shapely", "numpy", "ezdxf", "fpdf", "spyrrow", "rich")


@pytest.mark.parametrize("args", [["--help"], ["--version"], ["calibrate", "--help"]])
def test_help_loads_nothing_heavy(args: list[str]) -> None:
    """Help and version answer without OpenCV, pygame, scipy or numpy being loaded."""
    code = (
        "import sys\nfrom projector.cli import main\n"
        f"assert main({args!r}) == 0\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stderr.strip() == "[]"
    assert "chalkbeam" in run.stdout
