"""A number without its unit that nobody means in millimetres is asked back wherever a length is
read; one of twice the least is taken. Which places there are the program itself tells: each length
goes through the one reader. The least values are common practice, no source."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

from calibrate.readings import load_readings
from configs import shipped
from configs.errors import Fault, InputError
from configs.files import dump_yaml, parse_yaml
from configs.reader import Reader
from configs.units import asked_back, is_bare, meant_units
from drafting import Docket, blocks
from drafting.fit import KINDS, parse_fit
from drafting.shaping.changes import read_changes
from drafting.style import resolve
from projector import height

ROOT = Path(__file__).resolve().parent.parent
DOCKET = """
chalkbeam: 1
title: all lengths
measurements: alto-3.yaml
garment: {block: quick-top}
allowances: {all: 10 mm, front: {side: 20 mm}}
distance: 6 mm
cloth:
  width: 1400 mm
  length: 2 m
  fold: {way: partial, over: 300 mm, open_from: 1 m}
  selvedge: 10 mm
  repeat: {length: 64 mm, width: 64 mm}
cloths:
  lining: {width: 1.4 m, selvedge: 10 mm, takes: [facings], border: {edges: [front.hem], from: 40 mm, width: 80 mm, side: far}}
"""
HEIGHT = {
    "mat": "3 mm",
    "cloth": "1 mm",
    "lens_height": "1.5 m",
    "lens_distances": [[0.0, 0.0, "500 mm"], ["300 mm", 0.0, "400 mm"], [0.0, "400 mm", "300 mm"]],
}


def _docket(data: Any, folder: Path) -> object:
    (folder / "alto-3.yaml").write_bytes(shipped("measurements", "alto-3.yaml").read_bytes())
    (folder / "top.yaml").write_text(dump_yaml(data), encoding="utf-8")
    return Docket.load(folder / "top.yaml").cloth


def _changes(data: Any, _: Path) -> object:
    reader = Reader(data, key="garment")
    made = read_changes(reader)
    reader.done()
    return made


def _verbs() -> dict[str, Any]:
    """One change of each kind, as its own example writes it."""
    from drafting.shaping.changes import VERBS

    return {"changes": [yaml.safe_load(v.example) for v in VERBS.values()]}


FILES: dict[str, tuple[Any, Callable[[Any, Path], object]]] = {
    "docket": (parse_yaml(DOCKET, ""), _docket),
    "height": (HEIGHT, lambda data, _: height.from_dict(data)),
    "changes": (_verbs(), _changes),
}


def _leasts(what: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, float]:
    """Key path → least bare mm, of every length that the program reads in the file."""
    found: dict[str, float] = {}
    ask = Reader.too_bare

    def noted(
        self: Reader, key: str, value: Any, mm: float, least: float, most: float, low: float = 0.0
    ) -> bool:
        found[self.place(key).rpartition(": ")[2]] = least
        return ask(self, key, value, mm, least, most, low)

    with monkeypatch.context() as patch:
        patch.setattr(Reader, "too_bare", noted)
        data, read = FILES[what]
        read(copy.deepcopy(data), folder)
    return found


def _with(data: Any, place: str, value: float) -> Any:
    """The data with another value at a key path; rows count from 0 here and there from 0 or 1."""
    data = copy.deepcopy(data)
    at, parts = data, place.replace("[", ".[").split(".")
    for i, part in enumerate(parts):
        step: Any = int(part[1:-1]) if part.startswith("[") else part
        if i == len(parts) - 1:
            if isinstance(at[step], list):
                step, at = -1, at[step]
            at[step] = value
        else:
            at = at[step]
    return data


@pytest.mark.parametrize("what", FILES)
def test_half_the_least_is_asked_back_twice_is_taken(
    what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every length of a docket with its cloths, of the heights, of the scissors."""
    data, read = FILES[what]
    every = _leasts(what, tmp_path, monkeypatch)
    leasts = {place: least for place, least in every.items() if least > 0.0}
    assert set(every) - set(leasts) <= {f"table.height.{k}" for k in ("mat", "cloth")}, (
        "in mm by nature"
    )
    assert len(leasts) >= {"docket": 12, "height": 4, "changes": 15}[what], leasts
    for place, least in leasts.items():
        place_in = place.removeprefix("table.height.").removeprefix("garment.")
        for number, asked in ((0.5 * least, True), (2.0 * least, False)):
            try:
                read(_with(data, place_in, number), tmp_path)
                told = ""
            except InputError as error:
                told = str(error)
            meant = f"{number:g} mm: did you mean" in told or f"{number:g} mm: that is" in told
            assert meant == asked, (place, number, told)


@pytest.mark.parametrize("name", blocks.names())
def test_every_length_of_a_style(name: str) -> None:
    """Half of what an option asks back from is asked back, twice of it is not."""
    options = [o for o in blocks.get(name).options if o.kind in ("length", "both") and o.high > 0]
    assert options
    for option in options:
        least = max(0.05 * option.high, option.low)
        small = 0.5 * least
        fits = small >= option.low or meant_units(small, least, option.high)
        with pytest.raises(InputError, match="did you mean" if fits else "outside its limits"):
            resolve([option], {option.key: small})
        if 2.0 * least <= option.high:
            assert resolve([option], {option.key: 2.0 * least})[option.key] == 2.0 * least
        if 0.5 * least >= option.low:
            assert resolve([option], {option.key: f"{0.5 * least} mm"})


@pytest.mark.parametrize("name", KINDS)
def test_every_change_of_fit(name: str) -> None:
    """'by: 1' is asked back; '1 mm', a program's 1.0, and twice the least are taken."""
    kind = KINDS[name]
    side = {"side": "left"} if kind.sided else {}
    least = max(3.0, 0.03 * kind.limit_mm)
    for sign in (1.0, -1.0) if kind.signed else (1.0,):
        with pytest.raises(InputError, match=r"by: .*did you mean"):
            parse_fit([{"change": name, "by": sign * 0.5 * least, **side}])
        small = sign * 0.5 * least
        assert parse_fit([{"change": name, "by": f"{small} mm", **side}])[0].by_mm == small
        assert parse_fit([{"change": name, "by": small, **side}], asks=False)[0].by_mm == small
        assert parse_fit([{"change": name, "by": 2.0 * sign * least, **side}])


def test_distances_by_tape(tmp_path: Path) -> None:
    """44 1/4 without a unit would be 44 mm between two crosses: asked back. 100 mm is taken."""
    path = tmp_path / "distances.yaml"
    text = "chalkbeam: 1\nsize: [1920, 1080]\ndistances: {A-B: %s}\n"
    path.write_text(text % "25")
    with pytest.raises(InputError, match="did you mean 25 cm or 25 in"):
        load_readings(path, (1920, 1080))
    path.write_text(text % "100")
    with pytest.raises(InputError) as caught:  # too few of them, which is another matter
        load_readings(path, (1920, 1080))
        raise InputError(Fault("", "read"))
    assert "did you mean" not in str(caught.value)


@pytest.mark.parametrize(
    ("value", "bare"),
    [(4, True), ("4", True), ("2,5", True), ("3/8", True), ("1 3/8", True), ("⅜", True), ("-4", True),
     ("4 cm", False), ("4in", False), ('4"', False), ("", False), (True, False), ("wide", False)],
)  # fmt: skip
def test_what_counts_as_bare(value: object, bare: bool) -> None:
    """Numbers, decimals, fractions; nothing with a unit."""
    assert is_bare(value) == bare


def test_what_is_asked_names_the_units_that_fit() -> None:
    """140 for a width is 140 cm or 140 in; 1.4 only m and yd; nothing fits 0.001."""
    told = {n: asked_back(n, n, 300.0, 4000.0) for n in (140, 1.4, 0.001, 0, 300)}
    assert "140 cm or 140 in?" in told[140][0] and "1.4 m or 1.4 yd?" in told[1.4][0]  # type: ignore[index]
    assert "next to nothing" in told[0.001][0] and told[0] is None and told[300] is None  # type: ignore[index]


def test_no_length_is_read_past_the_question() -> None:
    """Whoever reads a length of a file or an option with `parse_length` asks back beside it, or asks
    a person, who is told at once how it was read."""
    people = {"projector/tape_guide.py", "projector/making.py", "projector/measuring.py",
              "projector/first_light/rooms.py", "projector/tools/shape_room.py", "projector/commands/lay.py",
              "drafting/measurements.py", "drafting/grips.py",
              "projector/commands/lengths.py", "projector/commands/calibrate_lead.py"}  # fmt: skip
    bad = []
    for folder in ("drafting", "calibrate", "projector"):
        for path in (ROOT / folder).rglob("*.py"):
            text = path.read_text(encoding="utf-8")
            asks = "asked_back(" in text or ".too_bare(" in text
            if re.search(r"^[^#\"]*\bparse_length\(", text, re.MULTILINE) and not asks:
                bad.append(path.relative_to(ROOT).as_posix())
    ours = {"drafting/docket/telling.py"}  # what it reads it wrote itself, with the unit
    assert set(bad) - people - {"drafting/allowance.py"} - ours == set()
