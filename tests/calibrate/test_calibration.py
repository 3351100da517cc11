"""The projector model, its doubt, its file and its store."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import yaml

from calibrate.calibration import Calibration, CardPlace, without_rigid
from calibrate.model import ProjectorModel
from calibrate.store import keep, kept, newest
from configs.errors import InputError

SIZE = (1920, 1080)
MATRIX = np.array([[1.6, 0.03, 960.0], [0.02, -1.6, 540.0], [1e-5, -8e-5, 1.0]])


def model(
    k1: float = 0.01,
    k2: float = -0.002,
    p1: float = 3e-4,
    p2: float = -2e-4,
    rest: tuple[float, float, float] = (8e-4, 2e-4, -1e-4),
) -> ProjectorModel:
    return ProjectorModel(SIZE, MATRIX, np.array([980.0, 500.0]), k1, k2, p1, p2, *rest)


def calibration() -> Calibration:
    m = model()
    return Calibration(
        m,
        without_rigid(m, np.diag(np.linspace(1, 4, 17)) * 1e-9),
        "photo",
        "2026-11-25 10:00:00",
        display="over the table",
        rms_px=0.1,
        held_out_mm=0.03,
        floor_mm=0.006,
        bars_mm=(180.4, 250.1),
        scale_doubt=0.0006,
        cards=(CardPlace(0, (-410.25, 1 / 3), 0.1),),
        facts={"photos": 1},
    )


@pytest.mark.parametrize("k1", [-0.06, -0.01, 0.0, 0.01, 0.06])
@pytest.mark.parametrize(
    ("p1", "rest"),
    [(0.0, (0.0, 0.0, 0.0)), (3e-4, (1e-3, 2e-4, -2e-4)), (0.009, (-5e-3, 0.002, 0.002))],
)
def test_two_directions_are_exact_inverses(
    k1: float, p1: float, rest: tuple[float, float, float]
) -> None:
    """Table to pixel to table loses nothing, inside the beam and far beside it."""
    m = model(k1, p1=p1, p2=-p1, rest=rest)
    px = np.random.default_rng(1).uniform([-300, -300], [2200, 1400], (400, 2))
    assert np.abs(m.to_projector(m.to_table(px)) - px).max() < 1e-9
    far = np.random.default_rng(2).uniform(-3000, 3000, (400, 2))
    assert np.abs(m.to_table(m.to_projector(far)) - far).max() < 1e-6


def test_lens_agrees_with_opencv() -> None:
    """Radial, tangential and thin-prism terms are those of OpenCV's projectPoints."""
    m = model()
    table = m.to_table(np.random.default_rng(3).uniform([0, 0], [1919, 1079], (50, 2)))
    ideal = np.column_stack([table, np.ones(50)]) @ MATRIX.T
    ideal = ideal[:, :2] / ideal[:, 2:]
    unit = 0.5 * np.hypot(*SIZE)
    rays = np.column_stack([(ideal - m.centre_px) / unit, np.ones(50)])
    K = np.array([[unit, 0, 980.0], [0, unit, 500.0], [0, 0, 1]])
    # k1, k2, p1, p2, k3, then k4 to k6 of a fraction, then the prism's s1 to s4
    terms = np.array([0.01, -0.002, 3e-4, -2e-4, 8e-4, 0, 0, 0, 0, 2e-4, 0, -1e-4])
    seen, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), K, terms)
    assert np.abs(seen.reshape(-1, 2) - m.to_projector(table)).max() < 1e-9


def test_homography_agrees_with_scikit_image() -> None:
    """Without a lens the model is a projective transform as scikit-image has it."""
    from skimage.transform import ProjectiveTransform

    points = np.random.default_rng(4).uniform(-500, 500, (30, 2))
    ours = ProjectorModel(SIZE, MATRIX, np.zeros(2)).to_projector(points)
    assert np.abs(ours - ProjectiveTransform(MATRIX)(points)).max() < 1e-9


def test_jacobians_match_differences() -> None:
    """The derivatives by hand are those that small steps show."""
    m = model()
    table = m.to_table(np.random.default_rng(5).uniform([0, 0], [1919, 1079], (20, 2)))
    _, by_place, by_vector = m.jacobians(table)
    v = m.vector()
    steps = np.eye(17) * 1e-6
    numeric = np.stack(
        [
            (
                ProjectorModel.from_vector(SIZE, v + d).to_projector(table)
                - ProjectorModel.from_vector(SIZE, v - d).to_projector(table)
            )
            / 2e-6
            for d in steps
        ],
        axis=-1,
    )
    assert np.abs(numeric - by_vector).max() < 1e-4 * np.abs(by_vector).max()
    for axis in (0, 1):
        d = np.eye(2)[axis] * 1e-3
        numeric_place = (m.to_projector(table + d) - m.to_projector(table - d)) / 2e-3
        assert np.abs(numeric_place - by_place[:, :, axis]).max() < 1e-6
    assert np.abs(ProjectorModel.from_vector(SIZE, v).projector_from_table - MATRIX).max() < 1e-9


def test_behind_the_horizon_is_no_number() -> None:
    """A place that the projector cannot light gives NaN, not a wrong pixel."""
    assert np.isnan(model().to_projector([[0.0, 1e6]])).all()
    assert np.isfinite(model().to_projector([[0.0, 1000.0]])).all()


def test_expected_error_is_what_random_parameters_do() -> None:
    """Expected error equals the scatter of the table under parameters drawn from the covariance."""
    c = calibration()
    rng = np.random.default_rng(6)
    grid = c.model.grid_mm(9, 7)
    px = c.to_projector(grid)
    draws = rng.multivariate_normal(np.zeros(17), c.covariance, 400, method="eigh")
    miss = []
    for d in draws:
        moved = ProjectorModel.from_vector(SIZE, c.model.vector() + d).to_table(px)
        miss.append(np.sum((moved - grid) ** 2, axis=1))
    scatter = np.sqrt(np.mean(miss, axis=0))
    expected = np.sqrt(c.expected_error_mm(grid) ** 2 - c.floor_mm**2)
    assert 0.85 < np.median(scatter / expected) < 1.15


def test_frame_is_no_error() -> None:
    """A doubt that is only a move of the whole table counts for nothing."""
    m = model()
    grid = m.grid_mm()
    J = m.table_jacobian(grid).reshape(-1, 17)
    shift = np.tile([1.0, 0.0], len(grid))
    move = np.linalg.lstsq(J, shift, rcond=None)[0]
    covariance = np.outer(move, move)
    before = np.einsum("ij,jk,ik->i", J, covariance, J)
    after = np.einsum("ij,jk,ik->i", J, without_rigid(m, covariance), J)
    assert before[::2].mean() > 0.99
    assert np.abs(after).max() < 1e-8


def test_moving_the_table_frame_moves_nothing_on_the_table() -> None:
    """A calibration in another frame throws the same light with the same doubt."""
    c = calibration()
    turn = np.array([[0.8, -0.6, 30.0], [0.6, 0.8, -20.0], [0, 0, 1]])
    moved = c.moved(turn)
    grid = c.model.grid_mm(5, 4)
    there = grid @ turn[:2, :2].T + turn[:2, 2]
    assert np.abs(moved.to_projector(there) - c.to_projector(grid)).max() < 1e-8
    assert moved.expected_error_mm(there) == pytest.approx(c.expected_error_mm(grid), rel=1e-4)
    assert moved.cards[0].turn == pytest.approx(0.1 + np.arctan2(0.6, 0.8))


def test_raised_cloth_by_similar_triangles() -> None:
    """5 mm of cloth under a lens 1500 mm up: 300 mm out, the ray would land 1.003 mm further out."""
    c = calibration()
    raised = c.at_height(5.0, (0.0, 0.0, 1500.0))
    assert (
        np.abs(
            raised.to_projector([[300.0, 0.0]]) - c.to_projector([[300.0 * 1500 / 1495, 0.0]])
        ).max()
        < 1e-9
    )
    assert pytest.approx(1.0033, abs=1e-4) == 300.0 * 1500 / 1495 - 300.0
    with pytest.raises(InputError, match="straight down"):
        c.at_height(5.0, (0.0, 0.0, 8.0))


def test_outline_is_counter_clockwise_and_whole() -> None:
    """The outline runs round the whole picture, its half pixels too, counter-clockwise."""
    c = calibration()
    ring = c.beam_outline_mm(1)
    x, y = ring[:, 0], ring[:, 1]
    assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0
    px = c.to_projector(ring)
    assert sorted(np.round(px[:, 0], 6)) == [-0.5, -0.5, 1919.5, 1919.5]


def test_file_keeps_every_digit(tmp_path) -> None:
    """Saved and loaded, a calibration is the same to the last bit."""
    c = calibration()
    path = tmp_path / "c.yaml"
    c.save(path)
    d = Calibration.load(path, SIZE)
    grid = c.model.grid_mm()
    assert (c.to_projector(grid) == d.to_projector(grid)).all()
    assert (c.covariance == d.covariance).all()
    assert d.to_dict() == c.to_dict()
    assert d.cards == c.cards


@pytest.mark.parametrize(("count", "gone"), [(12, "p1 p2 k3 s2 s4"), (14, "k3 s2 s4")])
def test_files_from_before_the_later_lens_terms_are_read(tmp_path, count: int, gone: str) -> None:
    """A file without some lens terms, with a covariance of so many, gives the same light and doubt."""
    m = model(rest=(0.0, 0.0, 0.0)) if count == 14 else model(p1=0.0, p2=0.0, rest=(0.0, 0.0, 0.0))
    known = np.diag([1e-9] * count + [0.0] * (17 - count))
    c = replace(calibration(), model=m, covariance=without_rigid(m, known))
    data = c.to_dict()
    for name in gone.split():
        del data["lens"][name]
    data["covariance"] = np.array(data["covariance"])[:count, :count].tolist()
    path = tmp_path / "old.yaml"
    path.write_text(yaml.safe_dump(data))
    d = Calibration.load(path, SIZE)
    grid = c.model.grid_mm()
    assert (d.to_projector(grid) == c.to_projector(grid)).all()
    assert d.expected_error_mm(grid) == pytest.approx(c.expected_error_mm(grid), rel=1e-6)
    data["covariance"] = np.eye(13).tolist()
    path.write_text(yaml.safe_dump(data))
    with pytest.raises(InputError, match="17 x 17"):
        Calibration.load(path)


def test_all_faults_of_a_file_are_told_at_once(tmp_path) -> None:
    """A damaged file is refused with each fault and its key."""
    data = calibration().to_dict()
    data["lens"]["k1"] = "much"
    data["rms_px"] = -1
    data["covariance"] = [[0.0]]
    data["colour"] = "red"
    path = tmp_path / "c.yaml"
    path.write_text(yaml.safe_dump(data))
    with pytest.raises(InputError) as caught:
        Calibration.load(path)
    told = str(caught.value)
    assert len(caught.value.faults) == 4
    for word in ("k1", "rms_px", "covariance", "colour"):
        assert word in told


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"chalkbeam": 2}, "version 1"),
        ({"size": [1280, 800]}, None),
        ({"projector_from_table": [[0.0, 0, 0], [0.0, 0, 0], [0.0, 0, 1]]}, "inverted"),
        ({"lens": {"centre_px": [960.0, 540.0], "k1": -0.6, "k2": 0.0}}, "folds"),
        (
            {"lens": {"centre_px": [960.0, 540.0], "k1": 0.0, "k2": 0.0, "p1": 0.02, "p2": 0.0}},
            "off its axis",
        ),
        ({"lens": {"centre_px": [960.0, 540.0], "k1": 0.0, "k2": 0.0, "s4": 0.02}}, "off its axis"),
        ({"holds": "cards"}, "not a calibration"),
    ],
)
def test_unsound_files_are_refused(tmp_path, change, told) -> None:
    """Another version, another size, a matrix or lens that cannot be: refused, with the reason."""
    path = tmp_path / "c.yaml"
    path.write_text(yaml.safe_dump({**calibration().to_dict(), **change}))
    with pytest.raises(InputError, match=told or "now shows 1920 x 1080"):
        Calibration.load(path, SIZE)


def test_store_keeps_old_ones_and_finds_the_newest(tmp_path, monkeypatch) -> None:
    """Calibrations are kept by display and date; a damaged file does not hide a good one."""
    monkeypatch.setenv("CHALKBEAM_HOME", str(tmp_path))
    c = calibration()
    first = keep(c)
    second = keep(replace(c, date="2026-11-26 09:00:00"))
    again = keep(c)
    assert len({first, second, again}) == 3
    assert kept("over the table")[0] == second
    (second.parent / "20991231.yaml").write_text("chalkbeam: 1\n")
    found = newest("over the table", SIZE)
    assert found is not None
    assert found.date == "2026-11-26 09:00:00"
    assert newest("over the table", (800, 600)) is None
    assert newest("another") is None


def test_the_reports_colours_tell_what_its_headline_tells() -> None:
    """The colour scale reaches as far as the doubt that the headline counts, the print's with it."""
    from calibrate.model import CameraModel
    from calibrate.report import _error_cells, headline

    size = (1920, 1080)
    s = size[0] / 1200.0
    matrix = np.array([[s, 0.0, 960.0], [0.0, -s, 540.0], [0.0, 0.0, 1.0]])
    model = ProjectorModel(size, matrix, np.array([960.0, 540.0]))
    made = Calibration(model, np.eye(12) * 1e-14, "test", "2026-11-20 10:00:00", scale_doubt=0.002)
    view = np.array([1, 0.02, 0.01, -0.03, -1.1, 0.05, 0.04, -0.1, *np.zeros(7)])
    cells, _ = _error_cells(made, CameraModel((4032, 3024), view))
    corner = made.to_table([(0.0, 0.0)])
    whole = float(np.hypot(made.expected_error_mm(corner), made.print_doubt_mm(corner))[0])
    assert whole > 20 * float(made.expected_error_mm(corner)[0])  # the bars were not read
    assert float(cells.max()) == pytest.approx(whole, rel=0.1)
    assert float(np.sqrt(np.mean(cells**2))) == pytest.approx(
        float(headline(made).split()[2]), abs=0.1
    )
