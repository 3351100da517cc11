"""Height of mat and cloth: the frame is corrected, or what it may cost is told."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from rigs_bays import calibration_of, ideal
from table_rig import docket, projector, single_cloth
from texts import Seen

from calibrate.simulate import VirtualTable
from configs.errors import InputError
from projector.height import (
    Height,
    corrected,
    foot_from_tape,
    from_dict,
    height_of,
    notes,
    off_by,
    truth,
)
from projector.session import words
from projector.session.sitting import Sitting


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_lines_on_a_raised_cloth_have_true_length(seed: int) -> None:
    """Light followed to a surface 6 mm up: a metre is short by h/H before, true to 0.1 mm after."""
    rig = VirtualTable.random(seed)
    projector = rig.projector
    x, y, lens = projector.position_mm
    cal = calibration_of(rig)
    known = Height(mat_mm=4.0, cloth_mm=1.0, layers=2, lens_mm=lens, foot_mm=(x, y))
    rng = np.random.default_rng(seed)
    beam = cal.beam_outline_mm()
    middle = beam.mean(0)
    ends = middle + (rng.choice(beam, (40, 2)) - middle) * 0.8

    def lengths(calibration: object) -> np.ndarray:
        px = calibration.to_projector(ends.reshape(-1, 2))  # type: ignore[attr-defined]
        hit = projector.to_table(px, 6.0).reshape(-1, 2, 2)
        return np.hypot(*(hit[:, 1] - hit[:, 0]).T)

    want = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    use = want > 200
    plain, better = (
        lengths(cal)[use] / want[use] - 1,
        lengths(corrected(cal, known))[use] / want[use] - 1,
    )
    assert np.allclose(plain, -6.0 / lens, atol=3e-4)
    assert np.abs(better).max() < 2.5e-4  # the fit of this test's own calibration
    assert np.abs(better).max() < 0.25 * np.abs(plain).max()
    # without the foot sizes are the same; only the whole stands aside
    no_foot = lengths(corrected(cal, replace(known, foot_mm=None)))[use] / want[use] - 1
    assert np.allclose(no_foot, better, atol=2e-5)


def test_nothing_known_changes_nothing() -> None:
    """Without the lens's height, or with nothing on the table, the frame stays as calibrated."""
    cal = ideal()
    assert corrected(cal, Height(mat_mm=3.0)) is cal
    assert corrected(cal, Height(lens_mm=1500.0)) is cal


def test_what_may_be_off_is_told() -> None:
    """Each missing measurement is told with the millimetres it may cost, never less than the truth."""
    cal = ideal(1200.0)
    blind = off_by(cal, Height())
    assert "Corrected" not in str(blind.said) and "each mm of cloth" in blind.said[0]
    thick = off_by(cal, Height(mat_mm=3.0, cloth_mm=1.0))
    # a lens 1.2 m up over a beam of 1.2 m: 4 mm make a metre 3.3 mm short (similar triangles)
    assert "3.3 mm too short" in thick.said[0]
    assert thick.per_metre_mm >= 1000 * 4 / 1200
    some = off_by(cal, Height(mat_mm=3.0, cloth_mm=1.0, lens_mm=1500.0))
    assert "Corrected" in some.said[0] and "aside" in " ".join(some.said)
    assert some.per_metre_mm < 0.05
    full = off_by(cal, Height(mat_mm=3.0, cloth_mm=1.0, lens_mm=1500.0, foot_mm=(0, 0)))
    assert len(full.said) == 1 and "aside" not in full.said[0]
    below = off_by(cal, Height(mat_mm=-3.0, cloth_mm=0.0))
    assert "too long" in below.said[0] and "below" in below.said[0]
    assert off_by(cal, Height(cloth_mm=0.0)).said == ()


def test_a_slip_of_the_unit_is_noticed() -> None:
    """A lens noted 15 m up, as when centimetres were taken for millimetres, is questioned."""
    told = off_by(ideal(1200.0), Height(cloth_mm=1.0, lens_mm=9000.0))
    assert "unlikely" in told.said[0]


def test_the_foot_by_tape() -> None:
    """Taped distances to the plumb line meet in the foot, also outside the beam; misreads show."""
    foot = np.array([120.0, -430.0])
    places = np.array([[-500.0, -300], [520, -310], [0, 310], [480, 300]])
    taped = np.hypot(*(places - foot).T)
    (x, y), left = foot_from_tape(places, taped)
    assert math.isclose(x, 120.0, abs_tol=1e-6) and math.isclose(y, -430.0, abs_tol=1e-6)
    assert left < 1e-6
    at, left = foot_from_tape(places, np.round(taped + np.array([2, -2, 1, 0])))
    assert 0.1 < left < 2.0 and np.hypot(*(np.array(at) - foot)) < 4.0
    _, left = foot_from_tape(places, taped + np.array([0, 100, 0, 0]))
    assert left > 15
    for bad in (places[:2], places[:, [0, 0]]):
        with pytest.raises(InputError):
            foot_from_tape(bad, taped[: len(bad)])


def test_what_is_noted_reads_back() -> None:
    """The docket's note reads back to the same heights, units kept; folded cloth counts twice."""
    noted = {"mat": "3 mm", "cloth": "0.8 mm", "lens_height": "1.52 m", "lens_foot": [10, "-4 cm"]}
    made = from_dict(noted, folded=True)
    assert made == Height(3.0, 0.8, 2, 1520.0, (10.0, -40.0))
    assert math.isclose(made.surface_mm, 4.6)
    assert from_dict(made.to_dict()) == made
    taped = {"lens_distances": [[0, 0, 500], [1000, 0, 500], [500, 400, 400]]}
    foot = from_dict(taped).foot_mm
    assert foot is not None and np.allclose(foot, (500, 0), atol=1e-6)


def test_every_fault_of_a_note_is_told_at_once() -> None:
    """Unknown keys, wrong units and impossible heights come in one message with their keys."""
    noted = {"matt": 3, "cloth": "thick", "layers": 0, "lens_height": "20 mm", "lens_foot": [1]}
    with pytest.raises(InputError) as caught:
        from_dict(noted)
    text = str(caught.value)
    assert "unknown key 'matt'" in text
    for word in ("cloth", "layers", "lens_height", "lens_foot"):
        assert f"table.height.{word}" in text
    with pytest.raises(InputError, match="one point"):
        from_dict({"lens_distances": [[0, 0, 500], [1000, 0, 900], [500, 400, 400]]})
    with pytest.raises(InputError):
        from_dict(["mat"])


def test_the_rig_remembers_its_lens() -> None:
    """The lens's place may stand in the calibration, once for all dockets; the docket goes before."""
    from dataclasses import replace

    facts = {"lens_height_mm": 1480.0, "lens_foot_x_mm": 5.0, "lens_foot_y_mm": -300.0}
    cal = replace(ideal(), facts=facts)
    assert height_of(single_cloth(), cal) == Height(lens_mm=1480.0, foot_mm=(5.0, -300.0))
    noted = {"height": {"cloth": 1, "lens_height": 1500}}
    assert height_of(docket(table=noted), cal) == Height(0.0, 1.0, 2, 1500.0, (5.0, -300.0))


@pytest.mark.parametrize(
    ("noted", "why"),
    [
        ({}, "thickness"),
        ({"cloth": "3 mm"}, "lens"),
        ({"cloth": "3 mm", "lens_height": "1500 mm"}, ""),
        ({"lens_height": "1500 mm"}, "thickness"),
    ],
)
@pytest.mark.parametrize("doubt", [0.0, 0.002])
def test_no_length_told_is_larger_than_the_figure_of_trueness(
    noted: dict[str, str], why: str, doubt: float
) -> None:
    """The one figure on the strip is at least every 'a metre … too short' and the print's own doubt."""
    cal = replace(projector((1920, 1080), 570.0), scale_doubt=doubt)
    laid = docket(table={"height": noted})
    words = truth(laid, cal)
    figure = float(re.findall(r"true to ([\d.]+) mm at worst", words)[0])
    told = [
        float(v)
        for note in notes(laid, cal)
        for v in re.findall(r"([\d.]+) mm (?:too|under)", note)
    ]
    assert figure >= max([*told, float(cal.print_doubt_mm(cal.model.grid_mm()).max())])
    assert why in words or doubt
    if not why and not doubt:
        assert figure < 0.2


def test_the_figure_of_trueness_follows_what_is_noted_at_the_table() -> None:
    """Noting the cloth and the lens at the table makes the strip's figure smaller at once."""
    sitting = Sitting(docket(), projector((1920, 1080)))
    before = float(re.findall(r"true to ([\d.]+)", sitting.state.truth)[0])
    sitting.state = sitting.state.at_height({"cloth": "1 mm", "lens_height": "1500 mm"})
    after = float(re.findall(r"true to ([\d.]+)", sitting.state.truth)[0])
    assert after < 0.2 < 1.0 < before
    sitting.ask(["This calibration is 3 days old."])
    sitting.key("space")
    assert any("when it was made" in line for line in words.lines(sitting.state))
    sitting.key("k")  # a ruler is laid on it
    sitting.key("k")
    assert not any("when it was made" in line for line in words.lines(sitting.state))


def test_height_is_a_page_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """In order, from the cloth up: each with what is noted and how it is measured, its number in the
    drawing too, the square to hold a rule to, and no piece; the field that the keys change is drawn
    strong, and Esc brings the pieces back."""
    seen = Seen()
    seen.follow(monkeypatch)
    sitting = Sitting(single_cloth(), projector((960, 540)))
    sitting.do("height")
    said: dict[str, list[str]] = {}
    for field in ("cloth", "mat", "lens"):
        sitting.repaint()
        sitting.frame()
        said[field] = [t.words for t in seen.texts(sitting.compositor.painter)]
        sitting.do("away")
        sitting.do("next")
    names = [w.partition(":")[0] for w in said["mat"]]
    assert {"Cloth", "Mat", "Lens", "Point under the lens"} <= set(names)
    assert "Cloth: 0.1 mm a layer" in said["lens"] and "Cloth: not noted" in said["cloth"]
    assert {"1", "2", "3", "4"} <= {w for w in names if names.count(w) == 2}
    assert "100 mm each side" in names and "front" not in names
    sitting.do("leave")
    sitting.repaint()
    sitting.frame()
    assert "front" in [t.words for t in seen.texts(sitting.compositor.painter)]
