"""No output says a sentence twice: every shipped style on three bodies, drafted and laid."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest
import yaml

from configs import shipped
from configs.errors import ChalkbeamError, once
from drafting import Docket
from drafting.report import report
from projector.cli import main

STYLES = sorted([*shipped("styles").glob("*.yaml"), *shipped("dockets").glob("*.yaml")])
BODIES = ("alto-3", "soprano-2", "bass-2")


def _body(name: str) -> dict[str, object]:
    """A shipped body; what was not taken of it is another's."""
    from drafting import Measurements

    own = Measurements.load(shipped("measurements", f"{name}.yaml"))
    all_of = {}
    for path in shipped("measurements").glob("*.yaml"):
        all_of |= dict(Measurements.load(path).values)
    values = {k: f"{v:.1f} mm" for k, v in (all_of | dict(own.values)).items()}
    return {"chalkbeam": 1, "unit": own.unit, "wearer": name, "measurements": values}


def sentences(told: str) -> list[str]:
    """The sentences of an output; a table's cells and headings are none."""
    plain = " ".join(line.strip() for line in told.splitlines() if not re.search("[│┃]", line))
    return [s for s in re.split(r"(?<=[.!?])\s+", plain) if len(s.split()) > 4]


@pytest.mark.parametrize("style", STYLES, ids=lambda p: p.stem)
def test_no_sentence_twice(
    style: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The report on each body, the terminal on the last: each sentence once; a slit is told where one is drawn."""
    monkeypatch.chdir(tmp_path)
    data = yaml.safe_load(style.read_text()) | {"measurements": "body.yaml"}
    data["cloth"] = {"width": "1400 mm"}
    Path("top.yaml").write_text(yaml.safe_dump(data))
    told = {}
    for body in BODIES:
        Path("body.yaml").write_text(yaml.safe_dump(_body(body)))
        try:
            made = report(Docket.load("top.yaml"))
        except ChalkbeamError:  # its scissors cut a dart that this body has not
            continue
        told[body] = made.text()
        drawn = any(m.name.startswith("slit") for p in made.draft.pieces.values() for m in p.marks)
        assert drawn or not re.search(r"\bslit of\b", told[body]), (
            "a slit is told where one is drawn"
        )
    assert told
    if body in told:
        assert main(["draft", "top.yaml", "--out", "drafted"]) in (0, 1)
        told["terminal"] = (out := capsys.readouterr()).out + out.err
    for where, words in told.items():
        twice = [s for s, n in Counter(sentences(words)).items() if n > 1]
        assert not twice, (where, twice)


def test_a_lay_says_each_thing_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two bindings, laid: what both need is said of both at once."""
    monkeypatch.chdir(tmp_path)
    data = yaml.safe_load(shipped("styles", "evening-scoop.yaml").read_text())
    data |= {
        "measurements": "body.yaml",
        "cloth": {"width": "1400 mm"},
        "allowances": {"hem": "2 cm"},
    }
    Path("top.yaml").write_text(yaml.safe_dump(data))
    Path("body.yaml").write_text(yaml.safe_dump(_body("alto-3")))
    assert main(["lay", "top.yaml", "--seconds", "0", "--no-compare"]) == 0
    told = (out := capsys.readouterr()).out + out.err
    assert [s for s, n in Counter(sentences(told)).items() if n > 1] == []


def test_once_keeps_what_is_new() -> None:
    """A sentence that stood before is left out, what is new of the same text stays."""
    assert once(["A. Both are cut.", "B. Both are cut.", "A."]) == ("A. Both are cut.", "B.")
    assert once(["7.5 cm wide. End.", "7.5 cm wide. Other."]) == ("7.5 cm wide. End.", "Other.")
