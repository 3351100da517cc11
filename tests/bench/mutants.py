"""Do the guards guard? Breaks one thing at a time in the guard modules and runs their tests.

Run by hand from the checkout: `python tests/bench/mutants.py` (every mutant of every guard),
`--guard lay/check` (one; may be repeated), `--list` (what would be broken), `--line FILE:LINE`.

How: the tests of a guard are collected once; each runs once alone, and which lines of the guard it
reaches is kept. Then, for each mutant, a fork swaps the broken code in and runs the tests that reach
that line, quickest first, until one fails. Nothing on disk changes. A test slower than `SLOW_S` does
not count: a guard's own tests are quick. A mutant that hangs is killed.

What is broken: comparisons, and/or, conditions (always, never), + − × ÷, raises, values returned, and
named thresholds (times and by `THRESHOLD_FACTOR`). What only chooses or builds words is left out:
whatever stands inside an f-string, a `Fault`, a `Refusal` or an assignment of nothing but text, an
``if`` that holds only such assignments, and functions named in ``words``. Beside them stand `PLANTED`,
faults by hand that must be killed. A survivor is a missing test or a change that nobody can see; the
ones that stay are listed in DEVELOPERS.md with the reason.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import os
import pickle
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType, FunctionType, ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
PACKAGES = ("configs", "drafting", "calibrate", "projector")
SLOW_S = 6.0  # with its fixtures, lines being counted
HANGS_S = 20.0  # beyond what its tests usually take
MOST_SURVIVORS = 0.10
THRESHOLD_FACTOR = 3.0  # a test at half and at twice a threshold sees it moved by three
TOLD = ("Fault", "Refusal", "InputError", "DraftError", "LayError")  # what they hold is words


@dataclass(frozen=True)
class Guard:
    """Modules whose work is to refuse or to keep, and the tests nearest to them.

    ``only``: names of the functions, methods and constants that guard, where a module does other
    work too; ``words``: functions that only make
    sentences, or whose number `bench_photo.py` holds against the truth; ``keyword``: as pytest's -k.
    """

    name: str
    modules: tuple[str, ...]
    tests: tuple[str, ...]
    only: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    keyword: str = ""


GUARDS: tuple[Guard, ...] = (
    Guard("lay/check", ("drafting/lay/check.py",),
          ("tests/drafting/test_lay_judge.py", "tests/drafting/test_lay_rules.py",
           "tests/drafting/test_folds.py::test_a_hem_off_the_border_is_named",
           "tests/drafting/test_folds.py::test_hems_lie_on_the_border_print")),
    Guard("allowance", ("drafting/allowance.py",),
          ("tests/drafting/test_allowance.py", "tests/drafting/test_piece.py", "tests/drafting/test_cut_size.py")),
    Guard("truing", ("drafting/truing.py",), ("tests/drafting/test_truing.py",)),
    Guard("journal", ("projector/session/journal.py", "projector/session/merge.py"),
          ("tests/projector/test_journal.py", "tests/projector/test_two_hands.py::test_each_change_is_of_one_hand",
           "tests/projector/test_two_hands.py::test_what_lies_of_a_piece_that_is_gone_is_told")),
    Guard("docket text", ("configs/rewrite.py", "drafting/docket/text.py"),
          ("tests/configs/test_rewrite.py", "tests/drafting/test_docket.py")),
    Guard("drift", ("calibrate/drift.py",), ("tests/calibrate/test_drift.py",),
          words=("sentences",), keyword="not test_check_"),
    Guard("solve", ("calibrate/verdict.py",), ("tests/calibrate/test_verdict.py",),
          words=("_named", "_stretch_note", "lift_mm", "floor_mm_of")),
    Guard("calibration files", ("calibrate/store.py", "calibrate/readings.py"),
          ("tests/calibrate/test_calibration.py", "tests/calibrate/test_readings.py"),
          words=("told", "crosses_picture"), keyword="store or readings or file"),
)  # fmt: skip

# guard, module, what stands there once, what it is made to say
PLANTED: tuple[tuple[str, str, str, str], ...] = (
    ("docket text", "configs/rewrite.py", "if parse_yaml(made, \"\") == dict(after):", "if False:"),
    ("allowance", "drafting/allowance.py", "if not inside.all():", "if False:"),
    ("journal", "projector/session/journal.py", "return bool(_noted(", "return False and bool(_noted("),
    ("lay/check", "drafting/lay/check.py", "if abs(off) > PHASE_MM:", "if abs(off) > PHASE_MM and axis == 0:"),
    ("lay/check", "drafting/lay/check.py", "OVERLAP_MM = 0.02", "OVERLAP_MM = 2.0"),
)  # fmt: skip

FLIPS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip


# -- what is broken --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mutant:
    """One thing broken: where, what it said, what it says now, and the whole module's tree.

    ``owner``: the function ("Judge.own") that holds it, "" at the module's level, where ``name``
    is the constant.
    """

    module: str
    lines: range
    before: str
    after: str
    tree: ast.Module
    owner: str
    name: str = ""

    def __str__(self) -> str:
        return f"{self.module}:{self.lines.start}  {self.before}  →  {self.after}"


def mutants(guard: Guard) -> list[Mutant]:
    """Every mutant of a guard, in the order of its lines, what was planted by hand last."""
    found = []
    for module in guard.modules:
        text = (ROOT / module).read_text(encoding="utf-8")
        found += sorted(_of_tree(ast.parse(text), module, guard), key=lambda m: m.lines.start)
    for name, module, here, instead in PLANTED:
        if name == guard.name:
            found.append(_planted(module, here, instead))
    return found


def _of_tree(tree: ast.Module, module: str, guard: Guard) -> Iterator[Mutant]:
    places = list(_places(tree, "", ""))
    for index, (node, owner, name) in enumerate(places):
        last = owner.split(".")[-1]
        if guard.only and not {owner, last, owner.split(".")[0], name} & set(guard.only):
            continue
        if last in guard.words:
            continue
        for change in _changes(node, at_top=not owner):
            broken = copy.deepcopy(tree)
            target = list(_places(broken, "", ""))[index][0]
            before = ast.unparse(target)
            after = change(target)
            ast.fix_missing_locations(broken)
            lines = _lines_of(node)
            yield Mutant(module, lines, _short(before), _short(after), broken, owner, name)


def _places(node: ast.AST, owner: str, name: str) -> Iterator[tuple[ast.AST, str, str]]:
    """Nodes that may be broken, each with its function and, outside of any, its constant."""
    for child in ast.iter_child_nodes(node):
        if _is_words(child) or (
            isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING"
        ):
            continue
        inner, constant = owner, name
        if isinstance(child, ast.ClassDef):
            yield from _places(child, f"{owner}{child.name}.", "")
            continue
        if isinstance(child, ast.FunctionDef):
            if not owner or owner.endswith("."):
                inner = f"{owner}{child.name}"
        elif isinstance(child, ast.Assign | ast.AnnAssign) and not owner:
            target = child.targets[0] if isinstance(child, ast.Assign) else child.target
            constant = ast.unparse(target)
        if not inner.endswith("."):
            yield child, inner, constant
        yield from _places(child, inner, constant)


def _is_words(node: ast.AST) -> bool:
    """Whether a node only chooses or builds words."""
    if isinstance(node, ast.Assign | ast.AugAssign):
        return _is_text(node.value)
    if isinstance(node, ast.If):
        return all(
            isinstance(n, ast.Assign | ast.AugAssign) and _is_words(n)
            for n in (*node.body, *node.orelse)
        )
    if isinstance(node, ast.Call):
        attribute = node.func.attr if isinstance(node.func, ast.Attribute) else ""
        maker = node.func.value if attribute == "of" else node.func
        return attribute == "note" or (isinstance(maker, ast.Name) and maker.id in TOLD)
    return _is_text(node)


def _is_text(node: ast.AST | None) -> bool:
    if isinstance(node, ast.IfExp):
        return _is_text(node.body) and _is_text(node.orelse)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return _is_text(node.left) or _is_text(node.right)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        return node.func.attr == "join" and isinstance(node.func.value, ast.Constant)
    return isinstance(node, ast.JoinedStr) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


def _lines_of(node: ast.AST) -> range:
    """The lines of what is broken: of a condition the condition's alone."""
    part = node.test if isinstance(node, ast.If) else node
    first = getattr(part, "lineno", 0)
    return range(first, (getattr(part, "end_lineno", None) or first) + 1)


def _short(text: str) -> str:
    return " ".join(text.split())[:90]


def _changes(node: ast.AST, at_top: bool) -> Iterator[Callable[[Any], str]]:
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
    if isinstance(node, ast.Raise) and node.exc is not None:
        yield _no_raise
    if isinstance(node, ast.Assign | ast.AnnAssign) and at_top and _numbers(node):
        yield lambda n: _scaled(n, THRESHOLD_FACTOR)
        yield lambda n: _scaled(n, 1.0 / THRESHOLD_FACTOR)
    if isinstance(node, ast.Return) and isinstance(node.value, ast.Compare | ast.BoolOp | ast.Call):
        yield _nothing_returned


def _flip(node: ast.Compare) -> str:
    node.ops = [FLIPS[type(node.ops[0])]()]
    return ast.unparse(node)


def _other_word(node: ast.BoolOp) -> str:
    node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    return ast.unparse(node)


def _condition(node: ast.If, value: bool) -> str:
    node.test = ast.copy_location(ast.Constant(value), node.test)
    return f"if {value}: …"


def _other_sign(node: ast.BinOp) -> str:
    node.op = ARITHMETIC[type(node.op)]()
    return ast.unparse(node)


def _no_raise(node: ast.Raise) -> str:
    node.exc, node.cause = ast.parse("RuntimeWarning('not raised')", mode="eval").body, None
    return "raise of another kind"


def _nothing_returned(node: ast.Return) -> str:
    node.value = ast.Constant(None)
    return "return None"


def _numbers(node: ast.Assign | ast.AnnAssign) -> list[ast.Constant]:
    """The numbers of a named threshold (not 0 or 1)."""
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    if node.value is None or not all(isinstance(t, ast.Name) and t.id.isupper() for t in targets):
        return []
    found = [n for n in ast.walk(node.value) if isinstance(n, ast.Constant)]
    return [n for n in found if type(n.value) in (int, float) and n.value not in (0, 1)][:1]


def _scaled(node: ast.Assign | ast.AnnAssign, factor: float) -> str:
    (number,) = _numbers(node)
    assert isinstance(number.value, int | float)
    value = number.value * factor
    number.value = round(value) if isinstance(number.value, int) else value
    return ast.unparse(node)


def _planted(module: str, here: str, instead: str) -> Mutant:
    text = (ROOT / module).read_text(encoding="utf-8")
    if text.count(here) != 1:
        raise SystemExit(f"mutants.py, PLANTED: {module} holds {here!r} {text.count(here)} times")
    line = text[: text.index(here)].count("\n") + 1
    tree = ast.parse(text.replace(here, instead))
    for node, owner, name in _places(tree, "", ""):
        if line in _lines_of(node) or getattr(node, "lineno", 0) == line:
            return Mutant(
                module, range(line, line + 1), f"(planted) {here}", instead, tree, owner, name
            )
    raise SystemExit(f"mutants.py, PLANTED: nothing of {module} stands on line {line}")


# -- how it is broken ------------------------------------------------------------------------------


def put_in(mutant: Mutant) -> None:
    """Break the module as it is loaded: a function's code, or a constant wherever it is known."""
    module = sys.modules[_name_of(mutant.module)]
    code = compile(mutant.tree, str(ROOT / mutant.module), "exec")
    if mutant.owner:
        function = _function(module, mutant.owner)
        function.__code__ = _code(code, mutant.owner)
        return
    fresh = ModuleType(module.__name__)
    fresh.__dict__.update({k: v for k, v in module.__dict__.items() if k.startswith("__")})
    exec(code, fresh.__dict__)
    loaded = [
        m
        for n, m in list(sys.modules.items())
        if n.split(".")[0] in (*PACKAGES, "tests") or n.startswith("test_")
    ]
    for name, new in list(fresh.__dict__.items()):
        old = module.__dict__.get(name)
        if name.isupper() and old is not None and type(old) is type(new) and old != new:
            for m in loaded:
                if m.__dict__.get(name) is old:
                    setattr(m, name, new)
        if (
            isinstance(new, FunctionType)
            and isinstance(old, FunctionType)
            and new.__module__ == module.__name__
        ):
            old.__defaults__, old.__kwdefaults__ = new.__defaults__, new.__kwdefaults__


def _name_of(module: str) -> str:
    parts = Path(module).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _function(module: ModuleType, owner: str) -> FunctionType:
    found: Any = module
    for part in owner.split("."):
        found = found.__dict__[part]
    for inner in (
        "fget",
        "func",
        "__func__",
        "__wrapped__",
    ):  # property, cached_property, classmethod
        if not isinstance(found, FunctionType):
            found = getattr(found, inner, found)
    while hasattr(found, "__wrapped__"):
        found = found.__wrapped__
    assert isinstance(found, FunctionType), owner
    return found


def _code(code: CodeType, owner: str) -> CodeType:
    for part in owner.split("."):
        code = next(c for c in code.co_consts if isinstance(c, CodeType) and c.co_name == part)
    return code


# -- the tests -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ran:
    """One test run alone: seconds, and the lines of the guard's modules that it reached."""

    passed: bool
    seconds: float
    lines: frozenset[tuple[str, int]]


@dataclass
class Runner:
    """A pytest plugin that has the tests collected and runs some of them in forks."""

    guard: Guard
    chosen: Sequence[Mutant]
    workers: int
    say: Callable[[str], None]
    survivors: list[tuple[Mutant, int]] | None = None
    failed: list[str] = field(default_factory=list)

    def pytest_runtestloop(self, session: Any) -> bool:
        """In place of pytest's own loop."""
        if session.testsfailed:
            return True  # some could not be collected
        session.config._tmp_path_factory.getbasetemp()  # one for all forks, which would empty it
        items = list(session.items)
        ran: dict[int, Ran] = {}
        with tempfile.TemporaryDirectory() as folder:
            jobs = [
                (i, lambda i=i: _alone(items[i], Path(folder) / str(i), self.guard), 300.0)
                for i in range(len(items))
            ]
            for i, code in _forked(jobs, self.workers):
                kept = Path(folder) / str(i)
                if code == 0 and kept.exists():
                    ran[i] = pickle.loads(kept.read_bytes())
        self.failed = [
            items[i].nodeid for i in range(len(items)) if i not in ran or not ran[i].passed
        ]
        slow = [i for i, r in ran.items() if r.seconds > SLOW_S]
        usable = {i: r for i, r in ran.items() if r.passed and i not in slow}
        self.say(
            f"{self.guard.name}: {len(usable)} tests, {len(slow)} too slow, {len(self.failed)} fail"
        )
        for i in slow:
            self.say(f"    slow: {items[i].nodeid} {ran[i].seconds:.1f} s")
        tests = [_reaching(m, usable) for m in self.chosen]
        jobs = [
            (n, lambda n=n: _with(self.chosen[n], [items[i] for i in tests[n]]),
             HANGS_S + 5 * sum(usable[i].seconds for i in tests[n]))
            for n in range(len(self.chosen)) if tests[n]
        ]  # fmt: skip
        killed = {n for n, code in _forked(jobs, self.workers) if code != 0}
        self.survivors = [(m, len(tests[n])) for n, m in enumerate(self.chosen) if n not in killed]
        return True


def _reaching(mutant: Mutant, ran: Mapping[int, Ran]) -> list[int]:
    """The tests that reach what is broken, quickest first."""
    spots = {(mutant.module, n) for n in mutant.lines}
    if mutant.owner:
        found = [i for i, r in ran.items() if r.lines & spots]
    else:  # a threshold: whoever runs anything that names it, or what is made of it
        spots = {(mutant.module, n) for n in _users(mutant)}
        found = [i for i, r in ran.items() if r.lines & spots] or list(ran)
    return sorted(found, key=lambda i: ran[i].seconds)


def _users(mutant: Mutant) -> set[int]:
    names, before = {mutant.name}, 0
    while len(names) != before:
        before = len(names)
        for node in mutant.tree.body:
            if isinstance(node, ast.Assign) and any(
                isinstance(n, ast.Name) and n.id in names for n in ast.walk(node.value)
            ):
                names |= {t.id for t in node.targets if isinstance(t, ast.Name)}
    found = set()
    for node in ast.walk(mutant.tree):
        if isinstance(node, ast.FunctionDef) and any(
            isinstance(n, ast.Name) and n.id in names for n in ast.walk(node)
        ):
            found |= set(range(node.body[0].lineno, (node.end_lineno or 0) + 1))
    return found


def _run(item: Any, following: Any) -> bool:
    from _pytest.runner import runtestprotocol

    return not any(r.failed for r in runtestprotocol(item, log=False, nextitem=following))


def _alone(item: Any, out: Path, guard: Guard) -> int:
    """One test with its lines counted; what was found is left in ``out``."""
    watched = {str(ROOT / m): m for m in guard.modules}
    lines: set[tuple[str, int]] = set()

    def within(frame: FrameType, event: str, arg: Any) -> Any:
        lines.add((watched[frame.f_code.co_filename], frame.f_lineno))
        return within

    def entered(frame: FrameType, event: str, arg: Any) -> Any:
        return within if frame.f_code.co_filename in watched else None

    start = time.perf_counter()
    threading.settrace(entered)
    sys.settrace(entered)
    try:
        passed = _run(item, None)
    finally:
        sys.settrace(None)
    out.write_bytes(pickle.dumps(Ran(passed, time.perf_counter() - start, frozenset(lines))))
    return 0


def _with(mutant: Mutant, items: Sequence[Any]) -> int:
    """0 when all tests pass with the mutant in place."""
    put_in(mutant)
    for n, item in enumerate(items):
        if not _run(item, items[n + 1] if n + 1 < len(items) else None):
            return 1
    return 0


def _forked(
    jobs: Sequence[tuple[int, Callable[[], int], float]], workers: int
) -> Iterator[tuple[int, int]]:
    """Each job in a fork of its own: its number and exit code (not 0 where it took too long)."""
    waiting, running = list(reversed(jobs)), dict[int, tuple[int, float]]()
    while waiting or running:
        while waiting and len(running) < workers:
            number, job, seconds = waiting.pop()
            child = os.fork()
            if child == 0:
                os.setsid()
                code = 3
                with contextlib.suppress(BaseException):
                    code = job()
                os._exit(code)
            running[child] = (number, time.monotonic() + seconds)
        for child, (number, end) in list(running.items()):
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                del running[child]
                yield number, os.waitstatus_to_exitcode(status)
            elif time.monotonic() > end:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                del running[child]
                yield number, 3
        time.sleep(0.002)


def run(
    guard: Guard, chosen: Sequence[Mutant], workers: int, say: Callable[[str], None]
) -> list[tuple[Mutant, int]]:
    """The mutants that no test kills, each with the number of tests that reach it."""
    import pytest

    for module in guard.modules:
        __import__(_name_of(module))
    runner = Runner(guard, chosen, workers, say)
    folder = tempfile.mkdtemp()
    try:
        tests = [t for t in guard.tests if (ROOT / t.split("::")[0]).exists()]
        pytest.main(
            [
                "-q",
                "-p",
                "no:cacheprovider",
                "-p",
                "no:xdist",
                "-k",
                guard.keyword,
                f"--basetemp={folder}/t",
                *tests,
            ],
            plugins=[runner],
        )
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    if runner.failed:
        raise SystemExit(f"tests fail without any mutant: {', '.join(runner.failed[:5])}")
    if runner.survivors is None:
        raise SystemExit(f"the tests of {guard.name} could not be collected")
    return runner.survivors


def main() -> int:
    """The table of mutants, and the survivors by line; exit code 1 where a guard keeps too many."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--guard", action="append", help="only this one (may be repeated)")
    parser.add_argument("--list", action="store_true", help="name the mutants, run nothing")
    parser.add_argument("--line", action="append", help="only mutants of this place, file.py:12")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    names = [g.name for g in GUARDS]
    if wrong := set(given.guard or ()) - set(names):
        parser.error(f"no guard {', '.join(wrong)}; known: {', '.join(names)}")
    out = os.fdopen(os.dup(1), "w", buffering=1)
    start = time.monotonic()
    worst = 0.0
    for g in (g for g in GUARDS if not given.guard or g.name in given.guard):
        every = mutants(g)
        if given.line:
            every = [
                m
                for m in every
                if any(f"{m.module}:{n}".endswith(x) for n in m.lines for x in given.line)
            ]
        if given.list:
            print(*(f"{g.name:18} {m}" for m in every), sep="\n")
            continue
        if not every:
            continue
        # each guard in a process of its own: what pytest has loaded stays with it
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reader)
            with os.fdopen(writer, "wb") as pipe, Path(os.devnull).open("w") as sink:
                os.dup2(sink.fileno(), 1)
                survivors = run(g, every, given.workers, lambda s: print(s, file=out))
                pickle.dump([(str(m), n) for m, n in survivors], pipe)
            os._exit(0)
        os.close(writer)
        with os.fdopen(reader, "rb") as pipe:
            data = pipe.read()
        if os.waitpid(child, 0)[1] or not data:
            return 2
        alive = pickle.loads(data)
        worst = max(worst, len(alive) / len(every))
        print(f"{g.name:18} {len(every):4d} mutants, {len(alive):3d} survive "
              f"({100 * len(alive) / len(every):.0f} %), {time.monotonic() - start:.0f} s", file=out)  # fmt: skip
        for text, reached in alive:
            print(f"    {text}" + ("" if reached else "   (no test comes here)"), file=out)
    print(
        f"at most {100 * worst:.0f} % of a guard's mutants survive (limit {100 * MOST_SURVIVORS:.0f} %)",
        file=out,
    )
    return int(worst > MOST_SURVIVORS)


if __name__ == "__main__":
    sys.exit(main())
