"""Measurements: files read exactly, all faults at once, warnings that never refuse."""

from __future__ import annotations

from pathlib import Path

import pytest
from top_bodies import ASTM_CM, BY_HAND_IN

from configs.errors import InputError
from drafting.measurements import REGISTRY, Measurements, plausibility

CONFIGS = Path(__file__).parents[2] / "configs" / "measurements"


def write(folder: Path, name: str, text: str) -> Path:
    """A measurements file."""
    path = folder / name
    path.write_text("chalkbeam: 1\n" + text, encoding="utf-8")
    return path


def test_a_file_reads_exactly(tmp_path: Path) -> None:
    """Fractions of inches in the file's unit and lengths with their own unit become exact mm."""
    path = write(
        tmp_path,
        "a.yaml",
        "unit: in\nwearer: alto-3\ntaken: 2026-11-02\n"
        "measurements: {bust_girth: 36 3/4, waist_girth: 30.5, shoulder_length: '12,1 cm'}\n",
    )
    m = Measurements.load(path)
    assert dict(m.values) == {"bust_girth": 933.45, "waist_girth": 774.7, "shoulder_length": 121.0}
    assert (m.wearer, m.taken, m.unit) == ("alto-3", "2026-11-02", "in")
    assert m.get("bust_girth") == 933.45
    assert m.get("head_girth") is None
    assert "head_girth" not in m
    assert m.text("bust_girth") == "36 3/4 in"


def test_all_faults_at_once(tmp_path: Path) -> None:
    """Every fault of a file is told in one message, each with its key."""
    path = write(
        tmp_path,
        "bad.yaml",
        "unit: elbows\ntaken: yesterday\nbody: x\n"
        "measurements: {bust_girht: 92, waist_girth: wide, neck_width: -3, head_girth: 0,"
        " hip_girth: [1, 2, 3]}\n",
    )
    with pytest.raises(InputError) as caught:
        Measurements.load(path)
    text = str(caught.value)
    for part in (
        "elbows",
        "yesterday",
        "'body'",
        "Did you mean 'bust_girth'?",
        "'wide'",
        "measurements.neck_width",
        "measurements.head_girth",
        "holds 3 values",
    ):
        assert part in text
    assert len(caught.value.faults) == 8


def test_a_number_without_any_unit_is_refused() -> None:
    """92 of what? Nothing is guessed."""
    with pytest.raises(InputError, match="no unit"):
        Measurements.from_dict({"measurements": {"bust_girth": 92}})


def test_flat_mapping_reads_too() -> None:
    """Measurements may stand beside the unit, as in a docket."""
    m = Measurements.from_dict({"unit": "cm", "bust_girth": 92})
    assert m["bust_girth"] == 920.0


def test_missing_measurement_says_how_it_is_taken() -> None:
    """Asking for what was not taken names it and tells how to take it."""
    m = Measurements.from_dict({"unit": "cm", "bust_girth": 92})
    with pytest.raises(InputError, match="side neck point"):
        m["neck_width"]


@pytest.mark.parametrize(
    ("takes", "spread", "mean"),
    [("[92, 92.9]", False, 924.5), ("[92, 93.2]", True, 926.0)],
)
def test_two_takes(tmp_path: Path, takes: str, spread: bool, mean: float) -> None:
    """Two takes give their middle; more than 1 cm apart (girths) is told (common practice)."""
    m = Measurements.load(
        write(tmp_path, "two.yaml", f"unit: cm\nmeasurements: {{bust_girth: {takes}}}\n")
    )
    assert m["bust_girth"] == pytest.approx(mean)
    assert any("two takes" in w for w in m.warnings) is spread


def test_two_takes_of_a_length_may_differ_less() -> None:
    """Lengths: 0.5 cm (common practice)."""
    m = Measurements.from_dict({"unit": "cm", "shoulder_length": [12, 12.6]})
    assert any("two takes" in w for w in m.warnings)


def test_the_implausible_warns_and_is_kept() -> None:
    """A girth in the wrong unit is asked about, never refused."""
    m = Measurements.from_dict({"unit": "mm", "bust_girth": 92})
    assert m["bust_girth"] == 92.0
    assert any("Is the unit right" in w for w in m.warnings)


def test_relations_of_published_tables_hold_for_their_own_bodies() -> None:
    """No warning for the bodies of ASTM D5585-11e1, Table 1 (misses, sizes 4 to 16)."""
    for bust, waist, head, neck in ASTM_CM.values():
        values = {
            "bust_girth": bust * 10,
            "waist_girth": waist * 10,
            "head_girth": head * 10,
            "neck_base_girth": neck * 10,
        }
        assert plausibility(values) == []


def test_relations_hold_for_a_size_table_from_memory() -> None:
    """No warning for bust 80, 88 and 104 of a well-known drafting book's table (from memory)."""
    rows = [  # bust, waist, hip, back width, neck base, top arm, wrist, nape-waist, scye depth
        (80, 64, 88, 32.4, 35, 26, 15, 40, 20),
        (88, 72, 96, 34.4, 37, 28.4, 16, 41, 21),
        (104, 88, 112, 38.4, 41, 33.2, 18, 43, 23),
    ]
    keys = (
        "bust_girth", "waist_girth", "hip_girth", "back_width", "neck_base_girth",
        "upper_arm_girth", "wrist_girth", "back_neck_to_waist", "scye_depth",
    )  # fmt: skip
    for row in rows:
        values = {k: 10.0 * v for k, v in zip(keys, row, strict=True)}
        assert plausibility(values) == []


def test_an_unlikely_relation_is_told() -> None:
    """A hip 30 cm under the bust is told in the file's unit."""
    warnings = plausibility({"bust_girth": 1200.0, "hip_girth": 900.0}, "cm")
    assert warnings == [
        "Unusual: the hip girth is 30.0 cm less than the bust girth "
        "(usual: 12.0 cm less to 20.0 cm more). Bodies differ; is it measured so?"
    ]


def test_a_man_and_a_child_have_usual_values_of_their_own() -> None:
    """A man of chest 100, waist 88, seat 102 and a child 116 cm tall warn nothing as what they are
    (European tables by chest and by height, from memory); the child is odd as a woman."""
    man = {
        "bust_girth": 1000.0,
        "waist_girth": 880.0,
        "hip_girth": 1020.0,
        "neck_base_girth": 430.0,
    }
    assert plausibility(man, body="man") == []
    child = {"bust_girth": 590.0, "waist_girth": 550.0, "hip_girth": 640.0, "stature": 1160.0}
    assert plausibility(child, body="child") == []
    assert plausibility(child) != []
    m = Measurements.from_dict({"unit": "mm", "figure": "child", "measurements": child})
    assert m.warnings == ()
    with pytest.raises(InputError, match="woman"):
        Measurements.from_dict({"unit": "mm", "figure": "womn", "measurements": child})


@pytest.mark.parametrize("bust", [1160.0, 1280.0])
def test_a_full_figure_of_the_european_table_is_usual(bust: float) -> None:
    """EN 13402-3, women, from memory: bust 116 has waist 100 and hip 122, bust 128 has 112 and 132;
    the shoulder grows little with the bust (12.25 cm at 88, 13.25 at 104: a drafting book)."""
    hip = {1160.0: 1220.0, 1280.0: 1320.0}[bust]
    full = {"bust_girth": bust, "waist_girth": bust - 160.0, "hip_girth": hip}
    assert plausibility({**full, "shoulder_length": 140.0, "neck_base_girth": 450.0}) == []
    assert plausibility({**full, "hip_girth": bust + 401.0}) != [], "twice past its margin"


def test_a_doubtful_value_is_told_and_not_its_neighbour() -> None:
    """A bust of 36 cm is asked about alone: the waist beside it is nothing unusual."""
    said = plausibility({"bust_girth": 360.0, "waist_girth": 760.0})
    assert len(said) == 1 and said[0].startswith("bust girth")


def test_a_value_beside_its_limit_is_told_apart_from_it() -> None:
    """9.6 % under a limit of 10 % reads 9.6, not 10; a clear 8 % stays 8; lengths get finer too."""
    near = plausibility({"neck_width": 96.0, "bust_girth": 1000.0})
    assert "the neck width is 9.6 % of the bust girth (usual: 10 to 20 %)" in near[0]
    clear = plausibility({"neck_width": 92.0, "bust_girth": 1150.0})
    assert "is 8 % of" in clear[0]
    close = plausibility({"hip_girth": 1160.3, "bust_girth": 1000.0})
    assert "160.3 mm more" in close[0] and "16.0 cm more)" in close[0]


def test_what_was_confirmed_is_not_told_again(tmp_path: Path) -> None:
    """A value that she kept when asked warns no draft; when it is changed later, it warns again; an
    unknown name under 'confirmed' is refused."""
    body = "chalkbeam: 1\nunit: cm\n{}measurements: {{waist_girth: 118.4, bust_girth: 110}}\n"
    path = tmp_path / "bass-2.yaml"
    path.write_text(body.format(""), encoding="utf-8")
    assert len(Measurements.load(path).warnings) == 1
    path.write_text(body.format("confirmed: {waist_girth: 118.4}\n"), encoding="utf-8")
    assert Measurements.load(path).warnings == ()
    path.write_text(body.format("confirmed: {waist_girth: 117}\n"), encoding="utf-8")
    assert len(Measurements.load(path).warnings) == 1
    path.write_text(body.format("confirmed: {waste_girth: 118.4}\n"), encoding="utf-8")
    with pytest.raises(InputError, match="waist_girth"):
        Measurements.load(path)


def test_history_continues_an_earlier_file(tmp_path: Path) -> None:
    """A later file states only what changed; the rest comes from the earlier one."""
    write(
        tmp_path,
        "then.yaml",
        "unit: cm\nwearer: alto-3\ntaken: 2025-09-01\n"
        "measurements: {bust_girth: 92, waist_girth: 75}\n",
    )
    now = Measurements.load(
        write(
            tmp_path,
            "now.yaml",
            "unit: cm\ntaken: 2026-11-02\nsince: then.yaml\nmeasurements: {waist_girth: 78}\n",
        )
    )
    assert (now["bust_girth"], now["waist_girth"], now.wearer) == (920.0, 780.0, "alto-3")
    assert now.changes() == {"waist_girth": (750.0, 780.0)}


def test_a_circle_of_files_is_refused(tmp_path: Path) -> None:
    """Two files that continue each other are told, not followed for ever."""
    write(tmp_path, "a.yaml", "unit: cm\nsince: b.yaml\nmeasurements: {bust_girth: 90}\n")
    path = write(tmp_path, "b.yaml", "unit: cm\nsince: a.yaml\nmeasurements: {bust_girth: 90}\n")
    with pytest.raises(InputError, match="circle"):
        Measurements.load(path)


def test_save_and_load(tmp_path: Path) -> None:
    """What is saved reads back the same, as it was written."""
    m = Measurements.from_dict({"unit": "in", "wearer": "alto-3", "measurements": BY_HAND_IN})
    m.save(tmp_path / "m.yaml")
    again = Measurements.load(tmp_path / "m.yaml")
    assert dict(again.values) == dict(m.values)
    assert again.raw["neck_width"] == "5 1/2"


def test_registry_tells_how() -> None:
    """Each measure has a posture, a range and a way of taking it; its landmarks are in its figure."""
    for measure in REGISTRY.values():
        assert len(measure.how) > 30
        assert measure.posture
        assert 0 < measure.low_mm < measure.high_mm


@pytest.mark.parametrize("path", sorted(CONFIGS.glob("*.yaml")), ids=lambda p: p.stem)
def test_shipped_measurements_load(path: Path) -> None:
    """The singers' files load and name their wearer."""
    m = Measurements.load(path)
    assert m.wearer == path.stem
    assert m.taken


def test_a_missing_unit_is_one_fault_however_many_numbers(tmp_path: Path) -> None:
    """Twenty bare numbers lack one line, which is named once with where it goes."""
    path = tmp_path / "m.yaml"
    rows = "".join(f"  {k}: {round(0.05 * (m.low_mm + m.high_mm))}\n" for k, m in REGISTRY.items())
    path.write_text(f"chalkbeam: 1\nmeasurements:\n{rows}")
    with pytest.raises(InputError) as caught:
        Measurements.load(path)
    assert len(caught.value.faults) == 1
    assert "'unit: cm'" in str(caught.value) and f"{len(REGISTRY)} of the numbers" in str(
        caught.value
    )


def test_hip_and_tailbone_girths_far_apart_are_asked_about() -> None:
    """Both go round the seat, a hand apart: 25 cm between them is a slip (common practice)."""
    m = Measurements.from_dict({"unit": "cm", "hip_girth": 78.5, "hip_girth_at_tailbone": 104})
    assert any("hip girth is 25.5 cm less" in w for w in m.warnings)
    m = Measurements.from_dict({"unit": "cm", "hip_girth": 102, "hip_girth_at_tailbone": 104})
    assert m.warnings == ()


@pytest.mark.parametrize(("unit", "other"), [("in", "cm"), ("mm", "cm")])
def test_a_body_in_the_wrong_unit_names_the_right_one(unit: str, other: str) -> None:
    """An even body in cm (our own) under another 'unit:' is one question, naming both units."""
    body = {"bust_girth": 94, "waist_girth": 78, "hip_girth": 102, "shoulder_length": 12.3}
    m = Measurements.from_dict({"unit": unit, **body})
    assert len(m.warnings) == 1
    assert f"'unit: {other}' in place of 'unit: {unit}'" in m.warnings[0]
    assert Measurements.from_dict({"unit": other, **body}).unit_doubt == ""
