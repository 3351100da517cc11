"""The joint fit on synthetic corners: truth from OpenCV's 3-D camera, noise that is known."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibrate.bundle import eye_of
from calibrate.cards import BARS_MM, card
from calibrate.detect import Detections
from calibrate.model import CameraModel, ProjectorModel
from calibrate.pattern import pattern_for
from calibrate.plane import homography, place, rigid
from calibrate.report import lift_sentence, print_sentence
from calibrate.saddles import Corners
from calibrate.solve import bar_scale, solve, solve_photos
from calibrate.stages import fit_plane
from configs.errors import InputError, Refusal

SIZE = (1920, 1080)
PHOTO = (4032, 3024)
TRUE = ProjectorModel(
    SIZE,
    np.array([[1.6, 0.02, 959.5], [0.015, -1.62, 539.5], [2e-5, -6e-5, 1.0]]),
    np.array([990.0, 420.0]),
    0.006,
    -0.001,
)
SPOTS = ((-430, 205, 0.1), (440, 200, 1.5), (-420, -215, 0.02), (430, -210, 3.2))
PHONE_LENS = np.array([0.03, -0.02, 2e-4, -2e-4, 0.003])


def eye(points: np.ndarray, tilt=0.3, azimuth=-1.2, height=1250.0, lens=PHONE_LENS) -> np.ndarray:
    """(N, 2) camera px of table places (N, 2) or (N, 3) mm: OpenCV's pinhole and lens."""
    away = np.array([math.cos(azimuth), math.sin(azimuth)]) * math.sin(tilt)
    place_mm = np.array([*away, math.cos(tilt)]) * height
    forward = -place_mm / np.linalg.norm(place_mm)
    right = np.cross(forward, [0.0, 1.0, 0.2])
    right /= np.linalg.norm(right)
    R = np.array([right, np.cross(forward, right), forward])
    full = np.column_stack([points, np.zeros((len(points), 3 - points.shape[1]))])
    K = np.array([[2900.0, 0, 2030], [0, 2900, 1500], [0, 0, 1]])
    out, _ = cv2.projectPoints(full, cv2.Rodrigues(R)[0], -R @ place_mm, K, lens)
    return out.reshape(-1, 2)


def corners(index: np.ndarray, px: np.ndarray, sigma: float) -> Corners:
    n = len(index)
    flat = np.ones(n)
    return Corners(index, px, flat * max(sigma, 1e-6), flat * 0.8, flat * 70, flat * 200, flat * 35)


def photo(
    seed: int = 0,
    sigma: float = 0.03,
    heights=(0, 0, 0, 0),
    print_scale=(1.0, 1.0),
    spots=SPOTS,
    cards=(0, 1, 2, 3),
    true=TRUE,
    every=1,
    **view,
) -> Detections:
    """What a perfect detector with that much noise would see, of each board only so many corners."""
    rng = np.random.default_rng(seed)
    seen = {}
    for k, i in enumerate(cards):
        board = card(i).board(print_scale)
        laid = place(board.corners, spots[k])
        px = eye(np.column_stack([laid, np.full(len(laid), heights[k])]), **view)
        seen[i] = corners(np.arange(len(px)), px + rng.normal(0, sigma, px.shape), sigma)
    board = pattern_for(SIZE, 1200).board()
    from calibrate.pattern import bare

    lookup = {tuple(c): n for n, c in enumerate(bare(SIZE).board().corners)}
    known = [n for n, c in enumerate(board.corners) if tuple(c) in lookup]
    index = np.array([lookup[tuple(board.corners[n])] for n in known])
    px = eye(true.to_table(board.corners[known]), **view)
    seen_px = px + rng.normal(0, sigma, px.shape)
    cards_seen = {i: c.pick(np.arange(0, len(c), every)) for i, c in seen.items()}
    lit = corners(index, seen_px, sigma)
    return Detections("photo", PHOTO, cards_seen, lit.pick(np.arange(0, len(lit), every)), SIZE)


def error_mm(calibration, truth=TRUE) -> np.ndarray:
    """Distances over the beam after the best rigid move."""
    x, y = np.meshgrid(np.linspace(0, 1919, 17), np.linspace(0, 1079, 11))
    px = np.column_stack([x.ravel(), y.ravel()])
    told, true = calibration.to_table(px), truth.to_table(px)
    return np.hypot(*(place(told, rigid(told, true)) - true).T)


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_homography_agrees_with_scikit_image() -> None:
    """The homography through noisy points leaves what scikit-image's estimator leaves."""
    from skimage.transform import ProjectiveTransform

    rng = np.random.default_rng(0)
    source = rng.uniform(-100, 100, (40, 2))
    matrix = np.array([[2, 0.1, 30], [-0.2, 1.8, -10], [1e-3, 5e-4, 1.0]])
    target = ProjectiveTransform(matrix)(source) + rng.normal(0, 0.1, (40, 2))
    ours = ProjectiveTransform(homography(source, target))
    theirs = ProjectiveTransform.from_estimate(source, target)
    assert rms(ours(source) - target) == pytest.approx(rms(theirs(source) - target), rel=0.01)
    exact = homography(source[:4], ProjectiveTransform(matrix)(source[:4]))
    assert np.abs(exact - matrix).max() < 1e-8


def test_rigid_agrees_with_scikit_image() -> None:
    """The best rigid move is scikit-image's Euclidean estimate."""
    from skimage.transform import EuclideanTransform

    rng = np.random.default_rng(1)
    a = rng.uniform(-100, 100, (20, 2))
    b = place(a, (12.0, -7.0, 2.5)) + rng.normal(0, 1, (20, 2))
    x, y, turn = rigid(a, b)
    theirs = EuclideanTransform.from_estimate(a, b)
    assert (x, y) == pytest.approx(tuple(theirs.translation), abs=1e-9)
    assert math.cos(turn - theirs.rotation) == pytest.approx(1.0, abs=1e-12)


def test_camera_lens_agrees_with_opencv() -> None:
    """The camera's lens terms are OpenCV's, and both directions agree."""
    v = np.array(
        [1, 0.02, 0.01, -0.03, -1.1, 0.05, 0.04, -0.1, 0.05, -0.03, 0.01, -0.02, 3e-4, -4e-4, 0.004]
    )
    camera = CameraModel(PHOTO, v)
    points = np.random.default_rng(2).uniform(-250, 250, (30, 2))
    flat = np.append(v[:8], 1).reshape(3, 3)
    q = np.column_stack([points / 500, np.ones(30)]) @ flat.T
    rays = np.column_stack([q[:, :2] / q[:, 2:] - v[10:12], np.ones(30)])
    unit = 0.5 * math.hypot(*PHOTO)
    middle = np.array([4031 / 2, 3023 / 2]) + unit * v[10:12]
    K = np.array([[unit, 0, middle[0]], [0, unit, middle[1]], [0, 0, 1]])
    lens = np.array([v[8], v[9], v[12], v[13], v[14]])
    seen, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), K, lens)
    px, by_place, by_vector = camera.project(points)
    assert np.abs(seen.reshape(-1, 2) - px).max() < 1e-8
    assert np.abs(camera.to_table(px) - points).max() < 1e-8
    for k in range(15):
        step = np.zeros(15)
        step[k] = 1e-6
        gap = (
            CameraModel(PHOTO, v + step).to_px(points) - CameraModel(PHOTO, v - step).to_px(points)
        ) / 2e-6
        assert np.abs(gap - by_vector[:, :, k]).max() < 1e-3 * max(1, np.abs(gap).max())
    d = np.array([1e-3, 0])
    gap = (camera.to_px(points + d) - camera.to_px(points - d)) / 2e-3
    assert np.abs(gap - by_place[:, :, 0]).max() < 1e-6


def test_without_noise_the_projector_is_found() -> None:
    """Perfect corners give the true light to a few thousandths of a millimetre."""
    assert error_mm(solve_photos([photo(sigma=0.0)])).max() < 0.004


def test_errors_are_what_the_noise_allows_and_what_is_told() -> None:
    """Over ten photos the true error is near the expected one: neither better nor worse by half."""
    true, told = [], []
    for seed in range(10):
        c = solve_photos([photo(seed, 0.2)])
        true.append(rms(error_mm(c)))
        told.append(rms(c.expected_error_mm(c.model.grid_mm())))
    assert 0.5 < np.median(np.array(true) / told) < 2.0
    assert np.median(true) < 0.3
    assert np.median(true) > 0.01


def test_three_photos_are_truer_than_one() -> None:
    """Photos from three sides, joined in one fit, are truer than one alone."""
    one, three = [], []
    for seed in range(4):
        views = [
            photo(seed, 0.2, every=3),
            photo(seed + 50, 0.2, azimuth=0.4, every=3),
            photo(seed + 90, 0.2, azimuth=2.4, tilt=0.2, every=3),
        ]
        one.append(rms(error_mm(solve_photos(views[:1]))))
        three.append(rms(error_mm(solve_photos(views))))
    assert rms(np.array(three)) < 0.85 * rms(np.array(one))


def test_bars_put_a_wrong_printer_right() -> None:
    """A print 0.3 % too wide and 0.1 % too short is put right by the two readings."""
    scale = (1.003, 0.999)
    seen = photo(1, 0.02, print_scale=scale, every=3)
    bars = (BARS_MM[0] * scale[0], BARS_MM[1] * scale[1])
    assert error_mm(solve_photos([seen], bars_mm=bars)).max() < 0.1
    unread = solve([seen])
    assert error_mm(unread.calibration).max() > 0.4
    assert any("stretched" in note for note in unread.notes)
    assert unread.calibration.print_doubt_mm(unread.calibration.model.grid_mm()).max() > 0.8


def test_what_an_unread_print_may_cost_is_told_in_words() -> None:
    """A print 0.2 % too large both ways, bars unread: the sentence names the error it makes."""
    c = solve([photo(1, 0.02, print_scale=(1.002, 1.002), every=3)]).calibration
    off = error_mm(c).max()
    told = [float(v) for v in re.findall(r"(\d+\.\d) mm", print_sentence(c))]
    assert len(told) == 2
    assert off > 1.0
    assert 0.8 * told[0] < off < told[1]
    read = solve([photo(1, 0.02, every=3)], bars_mm=BARS_MM).calibration
    assert "--bars" not in print_sentence(read)


@pytest.mark.parametrize("bars", [(170.0, 250.0), (18.0, 25.0), (180.0, float("nan"))])
def test_impossible_bars_are_refused(bars) -> None:
    """Readings that no printer makes are asked for again."""
    with pytest.raises(InputError, match="Measure both bars"):
        bar_scale(bars)


@pytest.mark.parametrize("raised", [0, 2, 3])
def test_a_raised_card_is_named(raised: int) -> None:
    """One card 2 mm above the table, and no other, is named: left out, or reckoned with at its height."""
    heights = [0.0] * 4
    heights[raised] = 2.0
    found = solve([photo(3, 0.02, heights=heights)])
    assert {*found.named, *found.raised} == {raised}
    if found.named:
        assert f"Card {raised} does not lie flat" in found.notes[0]
    else:
        assert found.raised[raised] == pytest.approx(2.0, abs=0.3)
        assert f"Card {raised} lies about" in found.notes[0]
    assert error_mm(found.calibration).max() < 0.17


def test_flat_cards_are_not_accused() -> None:
    """Clean photos name no card."""
    for seed in range(6):
        found = solve([photo(seed, 0.05, every=3)])
        assert found.named == ()
        assert found.raised == {}


SIDES = ((1.0, 0.0, 1.0, 0.0), (1.0, 1.0, 0.0, 0.0), (0.0, 1.5, 0.0, 1.5))
AROUND = ({}, {"azimuth": 0.4}, {"azimuth": 2.4, "tilt": 0.2})


@pytest.mark.parametrize(
    ("heights", "views"), [(SIDES[0], 1), (SIDES[1], 1), (SIDES[2], 1), (SIDES[0], 2)]
)
def test_cards_raised_alike_on_one_side_are_seen(heights, views: int) -> None:
    """Two cards that lie alike 1 mm higher are named with their height and reckoned with.

    Noise of a hundredth of a pixel is what a phone's photo leaves on the virtual table.
    """
    shots = [photo(3 + k, 0.01, heights=heights, **AROUND[k]) for k in range(views)]
    found = solve(shots)
    high = [i for i in range(4) if heights[i]]
    assert sorted(found.raised) == high
    assert found.named == ()
    assert [found.raised[i] for i in high] == pytest.approx([heights[i] for i in high], abs=0.3)
    assert f"Cards {high[0]} and {high[1]} lie about" in found.notes[0]
    error, grid = error_mm(found.calibration), found.calibration.model.grid_mm()
    assert error.max() < 0.25
    assert rms(error) < 3 * rms(found.calibration.expected_error_mm(grid))


def test_what_one_photo_cannot_tell_of_heights_is_said() -> None:
    """All cards 1 mm up: one photo says by how much that may be off; three photos see it."""
    flat, up = (
        solve([photo(1, 0.03, every=3)]),
        solve([photo(1, 0.03, heights=(1.0,) * 4, every=3)]),
    )
    said, off = flat.calibration.facts["lift_mm"], error_mm(up.calibration).max()
    assert up.raised == {}
    assert 0.3 < off < 1.3 * said
    assert said < 2.0
    assert "millimetre above the table" in lift_sentence(flat.calibration)
    three = [photo(k, 0.03, heights=(1.0,) * 4, every=3, **AROUND[k]) for k in range(3)]
    found = solve(three)
    assert sorted(found.raised) == [0, 1, 2, 3]
    assert all(0.7 < h < 1.3 for h in found.raised.values())
    assert found.notes[0].startswith("All cards lie about")
    assert error_mm(found.calibration).max() < 0.4 * off
    level = solve([photo(k, 0.03, every=3, **AROUND[k]) for k in range(3)])
    assert level.raised == {}
    assert level.calibration.facts["lift_mm"] < 0.1
    assert lift_sentence(level.calibration) == ""


def test_place_of_the_camera_is_read_off_its_view() -> None:
    """Square pixels and the view of the table give the camera's height to a tenth."""
    for tilt in (0.02, 0.3, 0.6):
        seen = photo(0, 0.03, tilt=tilt)
        cards = {i: (card(i).board().corners[c.index], c.px) for i, c in seen.cards.items()}
        told = eye_of(fit_plane(cards, PHOTO).camera)[2]
        assert told == pytest.approx(1250.0 * math.cos(tilt), rel=0.15)


def test_a_lens_off_its_axis_is_found() -> None:
    """A projector lens with hardly any k1 but tangential terms: no centre can stand in for them."""
    skew = ProjectorModel(SIZE, TRUE.projector_from_table, TRUE.middle_px, 2e-4, 0.0, 2e-4, -1.5e-4)
    plain = ProjectorModel(SIZE, TRUE.projector_from_table, TRUE.middle_px, 2e-4, 0.0)
    found = solve([photo(k, 0.01, true=skew, every=3, **AROUND[k]) for k in range(3)]).calibration
    assert error_mm(found, skew).max() < 0.03
    assert error_mm(found, plain).max() > 0.1
    assert 0.0 < found.floor_mm < 0.01


@pytest.mark.parametrize("k1", [-0.001, 0.006])
def test_a_prism_and_the_sixth_order_are_found(k1: float) -> None:
    """A lens off its axis with r⁶ and a prism of a tenth of a pixel: solved to the noise, told so.

    Hardly any k1 leaves the lens's centre open; with it at the wrong place the corners of the
    light were a tenth of a millimetre off.
    """
    centre = TRUE.middle_px + np.array([7.0, -123.0])
    true = replace(TRUE, centre_px=centre, k1=k1, k2=1e-4, k3=2.5e-4, s2=1e-4, s4=-5e-5)
    for seed in range(2):
        found = solve([photo(seed, 0.01, true=true, every=2)], bars_mm=(180, 250)).calibration
        error, grid = error_mm(found, true), found.model.grid_mm()
        assert error.max() < 0.06
        assert rms(error) < 1.5 * rms(found.expected_error_mm(grid))


def test_one_or_two_cards_are_refused() -> None:
    """Fewer than three cards cannot carry a calibration, and the reason is said."""
    for cards in ((0,), (0, 3)):
        spots = [SPOTS[i] for i in cards]
        with pytest.raises(Refusal) as caught:
            solve_photos([photo(cards=cards, spots=spots)])
        assert caught.value.code == "few-cards"
        assert "Lay all four" in str(caught.value)


def test_cards_all_in_one_place_are_refused() -> None:
    """Four cards side by side in the middle leave the corners guessed."""
    spots = ((-60, 80, 0.1), (60, 80, 0.0), (-60, -80, 0.02), (60, -80, 0.05))
    with pytest.raises(Refusal) as caught:
        solve_photos([photo(sigma=0.1, spots=spots)])
    assert caught.value.code in ("cards-together", "too-uncertain")


def few(seen: Detections, count: int) -> Detections:
    """The photo with so many of the pattern's corners, picked over the whole light."""
    p = seen.pattern
    keep = np.random.default_rng(5).permutation(len(p))[:count]
    return replace(seen, pattern=corners(p.index[keep], p.px[keep], float(p.sigma[0])))


def test_a_pattern_hardly_seen_is_refused_and_a_thin_one_told() -> None:
    """Six corners fit any projector perfectly: refused. Forty carry one, with its doubt told."""
    with pytest.raises(Refusal) as caught:
        solve([few(photo(2, 0.1), 6)])
    assert caught.value.code == "few-pattern"
    assert "white sheet" in str(caught.value)
    ratios = []
    for seed in range(6):
        c = solve([few(photo(seed, 0.1), 40)]).calibration
        ratios.append(rms(error_mm(c)) / rms(c.expected_error_mm(c.model.grid_mm())))
    assert 0.3 < np.median(ratios) < 2.0


def test_a_moved_card_between_photos_is_not_accepted_unsaid() -> None:
    """A card pushed by 3 mm between two photos is named or the fit refused."""
    moved = list(SPOTS)
    moved[1] = (SPOTS[1][0] + 3, SPOTS[1][1], SPOTS[1][2])
    pair = [photo(0, 0.03, every=3), photo(1, 0.03, spots=moved, azimuth=0.5, every=3)]
    try:
        found = solve(pair)
    except Refusal as refusal:
        assert refusal.code in ("not-flat", "bad-fit", "too-uncertain")
    else:
        assert found.named == (1,) or found.notes
        assert error_mm(found.calibration).max() < 0.5


def test_table_frame_is_right_handed_and_in_the_middle() -> None:
    """Origin under the picture's middle, x to the right in it, y away; also for a mirrored beam."""
    c = solve_photos([photo()])
    middle, right, down = c.to_table([[959.5, 539.5], [1059.5, 539.5], [959.5, 639.5]])
    assert np.abs(middle).max() < 1e-6
    assert right[0] > 50 and abs(right[1]) < 2
    assert down[1] < -50


def test_plane_and_poses_of_cards_alone() -> None:
    """`fit_plane` gives the cards' places relative to one another, in millimetres."""
    seen = photo(0, 0.02)
    cards = {i: (card(i).board().corners[c.index], c.px) for i, c in seen.cards.items()}
    plane = fit_plane(cards, PHOTO)
    got = np.array([plane.poses[i][:2] for i in range(4)])
    true = np.array([s[:2] for s in SPOTS], dtype=float)
    assert rms(place(got, rigid(got, true)) - true) < 0.1
    assert plane.rms_px < 0.05
    flat = cards[0][1]
    assert np.abs(plane.camera.to_px(plane.camera.to_table(flat)) - flat).max() < 1e-6


def test_degenerate_cards_are_refused_not_solved() -> None:
    """No card, or corners on one line, give a refusal."""
    with pytest.raises(Refusal, match="no card"):
        fit_plane({}, PHOTO)
    line = np.column_stack([np.arange(6.0), np.zeros(6)])
    with pytest.raises(Refusal, match="corners"):
        fit_plane({0: (line, line * 30)}, PHOTO)


def half_covered(seen: Detections, which: int) -> Detections:
    """The same photo with something lying over half of a card."""
    found = seen.cards[which]
    along = card(which).board().corners[found.index][:, 1]
    return replace(seen, cards={**seen.cards, which: found.pick(along <= np.median(along) - 1)})


def noisier(seen: Detections, which: int, seed: int, sigma: float) -> Detections:
    """The same photo with the corners of one card wilder than they say, as moiré makes them."""
    found = seen.cards[which]
    off = np.random.default_rng(seed).normal(0, sigma, found.px.shape)
    return replace(seen, cards={**seen.cards, which: replace(found, px=found.px + off)})


@pytest.mark.parametrize(("seed", "covered", "noisy"), [(0, 2, 0), (2, 3, 2), (7, 0, 2)])
def test_a_half_covered_card_makes_no_other_card_lifted(
    seed: int, covered: int, noisy: int
) -> None:
    """With half of a card hidden and another card's corners wilder than told, none is called raised or bent; when that other card does lie 3 mm up, it is it that is told."""
    seen = noisier(half_covered(photo(seed, sigma=0.05), covered), noisy, seed, 0.065)
    found = solve([seen])
    assert not found.named and not found.raised
    assert rms(error_mm(found.calibration)) < 2.0 * rms(
        found.calibration.expected_error_mm(found.calibration.model.grid_mm())
    )
    heights = [3.0 if i == noisy else 0.0 for i in range(4)]
    lifted = solve([half_covered(photo(seed, sigma=0.03, heights=heights), covered)])
    assert {*lifted.named, *lifted.raised} == {noisy}
