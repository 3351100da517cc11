"""Do the guards guard? Breaks one thing at a time in the guard modules and runs their tests.

Run by hand from the checkout: `python tests/bench/mutants.py` (all guards, a seeded sample of each),
`--guard lay/check --all` (one, every mutant), `--list` (what would be broken, without running).
A mutant is killed when a test fails, survives when all pass. Each runs in a forked process, so nothing
on disk changes. A survivor is either a missing test or a change that nobody can see; the ones that
stay are listed in DEVELOPERS.md with the reason.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import importlib.abc
import importlib.machinery
import io
import os
import random
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parent.parent.parent
PER_GUARD = 25  # mutants of one guard in a sampled run
SECONDS = 240.0  # a mutant that hangs is killed
MOST_SURVIVORS = 0.10
THRESHOLD_FACTOR = 3.0  # a test at half and at twice a threshold sees it moved by three


@dataclass(frozen=True)
class Guard:
    """Modules whose work is to refuse or to keep, and the tests nearest to them, quickest first.

    ``only``: names of the functions and constants that guard, where the rest of a module does other work.
    """

    name: str
    modules: tuple[str, ...]
    tests: tuple[str, ...]
    only: tuple[str, ...] = ()


GUARDS: tuple[Guard, ...] = (
    Guard("lay/check", ("drafting/lay/check.py",), ("tests/drafting/test_lay_rules.py", "tests/drafting/test_lay.py")),
    Guard("allowance", ("drafting/allowance.py",), ("tests/drafting/test_piece.py", "tests/drafting/test_cut_size.py")),
    Guard("truing", ("drafting/truing.py",), ("tests/drafting/test_truing.py", "tests/drafting/test_fit.py",
          "tests/drafting/test_quick_top.py", "tests/drafting/test_straight_skirt.py", "tests/drafting/test_draft_command.py")),
    Guard("journal", ("projector/session/journal.py",),
          ("tests/projector/test_journal_commands.py", "tests/projector/test_two_hands.py", "tests/projector/test_table.py")),
    Guard("docket text", ("configs/rewrite.py", "drafting/docket/text.py"),
          ("tests/configs/test_rewrite.py", "tests/drafting/test_docket.py")),
    Guard("drift", ("calibrate/drift.py",), ("tests/calibrate/test_drift.py",)),
    Guard("solve", ("calibrate/verdict.py",), ("tests/calibrate/test_solve.py", "tests/calibrate/test_photo.py")),
    Guard("calibration files", ("calibrate/store.py", "calibrate/readings.py"),
          ("tests/calibrate/test_calibration.py", "tests/calibrate/test_tape.py")),
)  # fmt: skip

FLIPS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One thing broken: where, what it said, what it says now, and the whole module's tree."""

    module: str
    line: int
    before: str
    after: str
    tree: ast.Module


def mutants(path: Path, name: str, only: Sequence[str] = ()) -> list[Mutant]:
    """Every mutant of a module, in the order of its lines."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = []
    for index, node in enumerate(ast.walk(tree)):
        for change in _changes(node):
            broken = copy.deepcopy(tree)
            target = next(n for i, n in enumerate(ast.walk(broken)) if i == index)
            before = ast.unparse(target)
            after = change(target)
            if only and not any(_within(tree, n, node) for n in only):
                continue
            ast.fix_missing_locations(broken)
            found.append(
                Mutant(name, getattr(node, "lineno", 0), _short(before), _short(after), broken)
            )
    return sorted(found, key=lambda m: m.line)


def _short(text: str) -> str:
    return " ".join(text.split())[:90]


def _within(tree: ast.Module, name: str, node: ast.AST) -> bool:
    for top in ast.walk(tree):
        named = isinstance(top, ast.FunctionDef | ast.ClassDef) and top.name == name
        named |= isinstance(top, ast.Assign) and any(
            isinstance(t, ast.Name) and t.id == name for t in top.targets
        )
        if named and any(n is node for n in ast.walk(top)):
            return True
    return False


def _number(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Constant)
        and isinstance(node.value, int | float)
        and not isinstance(node.value, bool)
        and node.value not in (0, 1, -1)
    )


def _changes(node: ast.AST) -> Iterator[Callable[[ast.AST], str]]:
    """What can be broken at a node: each takes the node's copy, changes it, tells how it reads."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield _flip
    if isinstance(node, ast.BoolOp):
        yield _other_word
    if isinstance(node, ast.If):
        yield lambda n: _condition(n, False)
        yield lambda n: _condition(n, True)
    if isinstance(node, ast.BinOp) and type(node.op) in ARITHMETIC:
        yield _other_sign
    if isinstance(node, ast.Raise):
        yield _no_raise
    if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
        names = node.targets if isinstance(node, ast.Assign) else [node.target]
        if all(isinstance(n, ast.Name) and n.id.strip("_").isupper() for n in names) and _number(
            node.value
        ):
            yield lambda n: _scaled(n, THRESHOLD_FACTOR)
            yield lambda n: _scaled(n, 1.0 / THRESHOLD_FACTOR)
    if isinstance(node, ast.Return) and isinstance(node.value, ast.Compare | ast.BoolOp | ast.Call):
        yield _nothing_returned


def _flip(node: ast.AST) -> str:
    assert isinstance(node, ast.Compare)
    node.ops = [FLIPS[type(node.ops[0])]()]
    return ast.unparse(node)


def _other_word(node: ast.AST) -> str:
    assert isinstance(node, ast.BoolOp)
    node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    return ast.unparse(node)


def _condition(node: ast.AST, value: bool) -> str:
    assert isinstance(node, ast.If)
    node.test = ast.Constant(value)
    return f"if {value}: …"


def _other_sign(node: ast.AST) -> str:
    assert isinstance(node, ast.BinOp)
    node.op = ARITHMETIC[type(node.op)]()
    return ast.unparse(node)


def _no_raise(node: ast.AST) -> str:
    assert isinstance(node, ast.Raise)
    node.exc, node.cause = ast.parse("RuntimeWarning('not raised')", mode="eval").body, None
    return "raise of another kind"


def _scaled(node: ast.AST, factor: float) -> str:
    assert isinstance(node, ast.Assign | ast.AnnAssign)
    assert isinstance(node.value, ast.Constant)
    assert isinstance(node.value.value, int | float)
    value = node.value.value * factor
    node.value = ast.Constant(round(value) if isinstance(node.value.value, int) else value)
    return ast.unparse(node)


def _nothing_returned(node: ast.AST) -> str:
    assert isinstance(node, ast.Return)
    node.value = ast.Constant(None)
    return "return None"


class _Broken(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Hands out the broken tree in place of the module's file."""

    def __init__(self, mutant: Mutant) -> None:
        self.path = ROOT / mutant.module
        parts = Path(mutant.module).with_suffix("").parts
        self.name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        self.tree = mutant.tree

    def find_spec(
        self, fullname: str, path: object = None, target: object = None
    ) -> importlib.machinery.ModuleSpec | None:
        """The broken module alone."""
        if fullname != self.name:
            return None
        places = [str(self.path.parent)] if self.path.name == "__init__.py" else None
        spec = importlib.machinery.ModuleSpec(fullname, self, origin=str(self.path))
        spec.submodule_search_locations = places
        spec.has_location = True
        return spec

    def create_module(self, spec: importlib.machinery.ModuleSpec) -> ModuleType | None:
        """The usual one."""
        return None

    def exec_module(self, module: ModuleType) -> None:
        """Run the broken tree."""
        exec(compile(self.tree, str(self.path), "exec"), module.__dict__)


def is_killed(mutant: Mutant, tests: Sequence[str]) -> bool:
    """True when a test fails, or hangs, with this mutant in place."""
    child = os.fork()
    if child == 0:
        os.setsid()
        code = 1
        try:
            sys.meta_path.insert(0, _Broken(mutant))
            import pytest

            with (
                contextlib.redirect_stdout(io.StringIO()),
                contextlib.redirect_stderr(io.StringIO()),
            ):
                sink = os.open(os.devnull, os.O_WRONLY)
                os.dup2(sink, 1)
                os.dup2(sink, 2)
                code = int(
                    pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", *tests])
                )
        finally:
            os._exit(code)
    end = time.monotonic() + SECONDS
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) != 0
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def run(guard: Guard, most: int | None, seed: int, workers: int) -> tuple[int, list[Mutant]]:
    """How many mutants were tried, and those that survived."""
    every = [m for module in guard.modules for m in mutants(ROOT / module, module, guard.only)]
    if most is not None and len(every) > most:
        every = random.Random(seed).sample(every, most)
    import concurrent.futures as futures

    with futures.ThreadPoolExecutor(workers) as pool:
        killed = list(pool.map(lambda m: is_killed(m, guard.tests), every))
    return len(every), sorted(
        (m for m, k in zip(every, killed, strict=True) if not k), key=lambda m: (m.module, m.line)
    )


def main() -> int:
    """The table of mutants, and the survivors by line; exit code 1 where too many survive."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--guard", action="append", help="only this one (may be repeated)")
    parser.add_argument("--all", action="store_true", help="every mutant, not a sample")
    parser.add_argument("--list", action="store_true", help="name the mutants, run nothing")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    chosen = [g for g in GUARDS if not given.guard or g.name in given.guard]
    if given.list:
        for g in chosen:
            for module in g.modules:
                for m in mutants(ROOT / module, module, g.only):
                    print(f"{g.name:18} {m.module}:{m.line}  {m.before}  →  {m.after}")
        return 0
    import cv2  # noqa: F401  loaded once, for every child
    import hypothesis  # noqa: F401
    import numpy as np  # noqa: F401
    import scipy.optimize  # noqa: F401
    import shapely  # noqa: F401

    tried = alive = 0
    for g in chosen:
        count, survivors = run(g, None if given.all else PER_GUARD, given.seed, given.workers)
        tried, alive = tried + count, alive + len(survivors)
        print(f"{g.name:18} {count:4d} tried, {len(survivors):3d} survived", flush=True)
        for m in survivors:
            print(f"    {m.module}:{m.line}  {m.before}  →  {m.after}", flush=True)
    share = alive / max(tried, 1)
    print(
        f"{tried} tried, {alive} survived: {100 * share:.0f} % (limit {100 * MOST_SURVIVORS:.0f} %)"
    )
    return int(share > MOST_SURVIVORS)


if __name__ == "__main__":
    sys.exit(main())
