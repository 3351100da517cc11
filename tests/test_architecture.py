"""The house stands as it is drawn: who may import whom, what the top level holds, what is lazy."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("configs", "drafting", "calibrate", "projector")

# Inside each package imports run one way: a module may import those listed before it.
ORDER = {
    "configs": ["clean", "errors", "units", "files", "reader"],
    "drafting": [
        "measurements", "measurements_file", "figures", "curves", "outline", "allowance",
        "piece", "piece_entry", "style", "fit", "truing", "sheet", "blocks", "shaping", "steps", "slips", "placement", "cloth", "lay",
        "docket", "report", "intake", "export",
    ],
    "calibrate": [
        "calibration", "cards", "pattern", "photo", "detect", "plane", "solve", "report", "tape",
        "drift", "camera", "virtual_table", "cloth_scan",
    ],
}  # fmt: skip


def modules(package: str) -> list[Path]:
    """Every module of a package."""
    found = sorted((ROOT / package).rglob("*.py"))
    assert found, package
    return found


def imports(path: Path, *, everywhere: bool = True) -> list[tuple[str, int]]:
    """(dotted name, line) of each import; only those run on import when not ``everywhere``."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found: list[tuple[str, int]] = []

    def walk(node: ast.AST, inside: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
                continue
            deeper = inside or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
            if isinstance(child, ast.Import) and (everywhere or not inside):
                found.extend((alias.name, child.lineno) for alias in child.names)
            if isinstance(child, ast.ImportFrom) and (everywhere or not inside):
                assert child.level == 0, f"{path}:{child.lineno}: relative import"
                found.append((child.module or "", child.lineno))
            walk(child, deeper)

    walk(tree, False)
    return found


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
        for name, line in imports(path)
        if name.split(".")[0] in forbidden
    ]
    assert not bad, "\n".join(bad)


def test_pygame_only_at_the_window() -> None:
    """pygame is imported by the painter and the window alone."""
    allowed = {"projector/painter.py", "projector/app.py"}
    bad = [
        f"{path.relative_to(ROOT)}:{line}"
        for package in PACKAGES
        for path in modules(package)
        for name, line in imports(path)
        if name.split(".")[0] == "pygame" and str(path.relative_to(ROOT)) not in allowed
    ]
    assert not bad, "\n".join(bad)


@pytest.mark.parametrize("package", sorted(ORDER))
def test_imports_run_one_way(package: str) -> None:
    """Inside a package a module imports only what stands before it in the house's order."""
    order = ORDER[package]
    bad = []
    for path in modules(package):
        parts = path.relative_to(ROOT / package).with_suffix("").parts
        here = parts[0]
        if here == "__init__":
            continue
        assert here in order, f"{package}/{here} has no place in the order"
        for name, line in imports(path, everywhere=False):
            bits = name.split(".")
            if bits[0] != package or len(bits) < 2 or bits[1] == here:
                continue
            if order.index(bits[1]) > order.index(here):
                bad.append(f"{path.relative_to(ROOT)}:{line} imports {name}")
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
