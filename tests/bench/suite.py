"""What the tests cost: ``python tests/bench/suite.py [pytest arguments]``.

Runs the suite and prints the processor's seconds, of the test's process and of those it starts, for
each file and for the slowest tests. Processor time hardly hangs on what else the machine does; on two
quiet cores the suite takes about half of the sum. The limits are 5 minutes for all of it and 45 s for
what is marked ``quick``.
"""

from __future__ import annotations

import resource
import sys
from collections import defaultdict
from collections.abc import Iterator

import pytest

LIMIT_S, QUICK_LIMIT_S, CORES = 300.0, 45.0, 2
_KEY = "cpu_s"


def _spent() -> float:
    who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(u.ru_utime + u.ru_stime for u in map(resource.getrusage, who))


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_setup(item: pytest.Item) -> Iterator[None]:
    """Before the fixtures."""
    item.stash[_START] = _spent()
    yield


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_teardown(item: pytest.Item) -> Iterator[None]:
    """After the test, its fixtures put away."""
    yield
    quick = item.get_closest_marker("quick") is not None
    item.user_properties.append((_KEY, (_spent() - item.stash[_START], quick)))


_START = pytest.StashKey[float]()


class Sums:
    """What was spent, by file and by test."""

    def __init__(self) -> None:
        self.files: dict[str, float] = defaultdict(float)
        self.tests: dict[str, float] = {}
        self.quick = 0.0

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A report has come, from a worker too."""
        if report.when != "teardown":
            return
        for name, value in report.user_properties:
            if name == _KEY:
                spent, quick = value  # type: ignore[misc]
                self.tests[report.nodeid] = spent
                self.files[report.nodeid.partition("::")[0]] += spent
                self.quick += spent if quick else 0.0


def main(arguments: list[str]) -> int:
    """Run and print."""
    sums = Sums()
    code = pytest.main(["-q", "-p", "suite", *arguments], plugins=[sums])
    print(f"\n{'file':50} CPU s")
    for name, spent in sorted(sums.files.items(), key=lambda x: -x[1])[:40]:
        print(f"{name:50} {spent:7.1f}")
    print("\nslowest tests")
    for name, spent in sorted(sums.tests.items(), key=lambda x: -x[1])[:60]:
        print(f"{spent:7.1f}  {name}")
    total = sum(sums.files.values())
    for what, spent, limit in (("all", total, LIMIT_S), ("quick", sums.quick, QUICK_LIMIT_S)):
        print(
            f"{what}: {spent:.0f} s of processor, about {spent / CORES:.0f} s on {CORES} cores (limit {limit:.0f})"
        )
    return int(code)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
