"""What DEVELOPERS.md shows of the library runs as it stands there."""

from __future__ import annotations

import doctest
from pathlib import Path


def test_the_examples_run_as_written() -> None:
    """Every line after >>> in DEVELOPERS.md answers what is written under it."""
    text = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    test = doctest.DocTestParser().get_doctest(text, {}, "DEVELOPERS.md", "DEVELOPERS.md", 0)
    assert len(test.examples) >= 8
    said: list[str] = []
    doctest.DocTestRunner().run(test, out=said.append)
    assert said == [], "".join(said)
