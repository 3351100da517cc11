"""The virtual table is true to its own geometry, so that what is measured on it can be believed."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibrate.simulate import SURFACES, Lens, Sheet, VirtualCamera, VirtualProjector, VirtualTable

SMALL = (960, 540)


def spots(
    size: tuple[int, int], seed: int, step: int = 110
) -> tuple[np.ndarray, list[tuple[int, int]]]:
    """A frame (or print) of Gaussian spots at random sub-pixel places, and the middles of their boxes."""
    w, h = size
    rng = np.random.default_rng(seed)
    frame = np.zeros((h, w), np.uint8)
    yy, xx = np.mgrid[-12:13, -12:13]
    boxes = []
    for cx in range(45, w - 40, step):
        for cy in range(45, h - 40, step):
            fx, fy = rng.uniform(-0.5, 0.5, 2)
            spot = np.exp(-((xx - fx) ** 2 + (yy - fy) ** 2) / (2 * 2.6**2))
            frame[cy - 12 : cy + 13, cx - 12 : cx + 13] = np.rint(250 * spot)
            boxes.append((cx, cy))
    return frame, boxes


def mass_centre(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    return (at * values.ravel()[:, None]).sum(axis=0) / values.sum()


def expected_centres(frame, boxes, to_camera) -> np.ndarray:  # type: ignore[no-untyped-def]
    """Where each spot's centre of light must be seen: each source pixel carried over, area and all."""
    yy, xx = np.mgrid[-12:13, -12:13]
    centres = []
    for cx, cy in boxes:
        at = np.column_stack([(cx + xx).ravel(), (cy + yy).ravel()]).astype(float)
        h = 0.01
        here = to_camera(at)
        right, below = to_camera(at + np.array([h, 0])), to_camera(at + np.array([0, h]))
        a, b = (right - here) / h, (below - here) / h
        area = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
        light = frame[cy - 12 : cy + 13, cx - 12 : cx + 13].astype(float).ravel()
        centres.append(mass_centre(light * area, here))
    return np.array(centres)


def seen_centres(image: np.ndarray, near: np.ndarray, reach: int) -> np.ndarray:
    """Centre of light of each spot in an image, the even background taken off by the rim's mean plane."""
    out = []
    for x, y in near:
        cx, cy = round(float(x)), round(float(y))
        part = image[cy - reach : cy + reach + 1, cx - reach : cx + reach + 1].astype(float)
        yy, xx = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        rim = (np.abs(xx) >= reach - 1) | (np.abs(yy) >= reach - 1)
        plane = np.column_stack([np.ones(int(rim.sum())), xx[rim], yy[rim]])
        c = np.linalg.lstsq(plane, part[rim], rcond=None)[0]
        above = part - (c[0] + c[1] * xx + c[2] * yy)
        out.append(mass_centre(above, np.column_stack([(cx + xx).ravel(), (cy + yy).ravel()])))
    return np.array(out)


def even_table(seed: int, **more: object) -> VirtualTable:
    """A rig without anything that makes light uneven, so that centres of light are pure geometry."""
    options: dict[str, object] = {
        "gamma": 1.0,
        "gap": 0.0,
        "falloff": 0.0,
        "contrast": 1e6,
        "tangential": (2e-3, -1e-3),
        "throw": 1.4,
    }
    table = VirtualTable.random(seed, SMALL, surface="white sheet", **(options | more))
    return replace(table, slope=0.0)


@pytest.mark.parametrize(("seed", "samples"), [(0, 1), (1, 1), (2, 2)])
def test_projected_spots_are_seen_where_geometry_puts_them(seed: int, samples: int) -> None:
    """Bias of a projected spot in the photo stays below 0.01 camera px, on average below 0.003."""
    table = even_table(seed)
    camera = VirtualCamera.phone(
        seed, table.beam_mm(), (1280, 960), vignetting=0.0, samples=samples, tilt_deg=15.0
    )
    frame, boxes = spots(SMALL, seed)
    want = expected_centres(frame, boxes, lambda p: camera.to_pixels(table.projector.to_table(p)))
    white = table.radiance(np.full_like(frame, 255), camera).beam
    image = table.radiance(frame, camera).beam / np.maximum(white, 1e-6)
    got = seen_centres(image[..., 1], want, 18)
    miss = got - want
    assert np.abs(miss.mean(axis=0)).max() < 0.004
    assert np.abs(miss).max() < 0.01


@pytest.mark.parametrize(("height", "curl"), [(0.0, 0.0), (3.0, 0.0), (1.0, 4.0)])
def test_printed_spots_are_seen_where_geometry_puts_them(height: float, curl: float) -> None:
    """Spots printed on a flat, a raised and a curled sheet are seen within 0.02 camera px."""
    table = even_table(4, beam_width_mm=700.0)
    size_px, size_mm = (720, 480), (180.0, 120.0)
    ink, boxes = spots(size_px, 7, 100)
    sheet = Sheet(
        255 - ink, size_mm, (20.0, -10.0), 12.0, height, curl, (1.002, 0.999), paper=0.9, ink=0.0
    )
    camera = VirtualCamera.phone(
        3,
        sheet.to_table(np.array([[-30.0, -30], [210, -30], [210, 150], [-30, 150]]))[:, :2],
        (1280, 960),
        vignetting=0.0,
    )
    table = replace(table.with_sheets([sheet]), ambient=1.0)
    black = np.zeros((SMALL[1], SMALL[0]), np.uint8)

    def to_camera(px: np.ndarray) -> np.ndarray:
        mm = (px + 0.5) * (size_mm[0] / size_px[0], size_mm[1] / size_px[1])
        return camera.to_pixels(sheet.to_table(mm))

    want = expected_centres(ink, boxes, to_camera)
    scale = float(
        np.hypot(*(to_camera(np.array([[360.0, 240]])) - to_camera(np.array([[361.0, 240]])))[0])
    )
    bare = table.with_sheets([replace(sheet, picture=np.full_like(ink, 255))])
    image = table.radiance(black, camera).room / bare.radiance(black, camera).room
    got = seen_centres(image[..., 1], want, math.ceil(13 * scale))
    miss = got - want
    assert np.abs(miss.mean(axis=0)).max() < 0.004
    assert np.abs(miss).max() < 0.02


def test_camera_agrees_with_opencv() -> None:
    """The ray model is the one that OpenCV documents: projectPoints gives the same pixels."""
    lens = Lens(-0.11, 0.05, 0.01, 8e-4, -5e-4)
    camera = VirtualCamera.webcam(5, lens=lens)
    rng = np.random.default_rng(1)
    points = np.column_stack(
        [rng.uniform(-600, 600, 50), rng.uniform(-330, 330, 50), rng.uniform(0, 30, 50)]
    )
    rotation = np.array(camera.rotation)
    matrix = np.array(
        [
            [camera.focal_px, 0, camera.centre_px[0]],
            [0, camera.focal_px, camera.centre_px[1]],
            [0, 0, 1.0],
        ]
    )
    shift = -rotation @ np.array(camera.position_mm)
    want, _ = cv2.projectPoints(
        points,
        cv2.Rodrigues(rotation)[0],
        shift,
        matrix,
        np.array([lens.k1, lens.k2, lens.p1, lens.p2, lens.k3]),
    )
    assert np.allclose(camera.to_pixels(points), want[:, 0], atol=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_devices_invert_exactly(seed: int) -> None:
    """Pixel to table and back is the same pixel, for projectors and cameras of every draw."""
    table = VirtualTable.random(seed)
    camera = VirtualCamera.webcam(seed, table.beam_mm())
    rng = np.random.default_rng(seed)
    for eye in (table.projector, camera):
        px = rng.uniform((0, 0), np.array(eye.size) - 1, (200, 2))
        assert np.allclose(eye.to_pixels(eye.to_table(px)), px, atol=1e-8)


@pytest.mark.parametrize("seed", range(8))
def test_random_rigs_are_rigs(seed: int) -> None:
    """Width and keystone lie in the promised range, the frame is right-handed, the camera sees all."""
    table = VirtualTable.random(seed)
    middle = table.projector.to_table(np.array([[-0.5, 539.5], [1919.5, 539.5]]))
    assert 699.9 < float(np.linalg.norm(middle[1] - middle[0])) < 1600.1
    axis = np.array(table.projector.rotation)[2]
    assert math.degrees(math.acos(-axis[2])) <= 15.001
    corners = table.beam_mm()
    area = np.cross(np.append(corners[1] - corners[0], 0), np.append(corners[3] - corners[0], 0))[2]
    assert area < 0  # px y runs down, so clockwise in px is clockwise from above
    assert corners[:2, 1].mean() > corners[2:, 1].mean()  # the picture's top lies away from her
    for camera in (VirtualCamera.phone(seed, corners), VirtualCamera.webcam(seed, corners)):
        px = camera.to_pixels(corners)
        assert (px > 0).all()
        assert (px < np.array(camera.size) - 1).all()


def test_known_throw_by_hand() -> None:
    """Without tilt or lens the map is the similarity that a ruler would draw: 1 mm per pixel here."""
    projector = VirtualProjector.above((1000, 500), beam_width_mm=1000.0)
    table = VirtualTable(projector)
    got = table.projector.to_table(np.array([[499.5, 249.5], [0.0, 0.0], [999.0, 249.5]]))
    assert np.allclose(got, [[0, 0], [-499.5, 249.5], [499.5, 0]], atol=1e-9)


def test_a_raised_sheet_shifts_the_light_by_height_times_tangent() -> None:
    """2 mm at 20° moves the light 0.7 mm towards the lens (FACTS: height × tan of the angle)."""
    throw = 0.5 / math.tan(math.radians(20.0))  # the last pixel column leaves at 20°
    table = VirtualTable(
        VirtualProjector.above((1001, 601), beam_width_mm=1001.0, throw=throw * 1001 / 1001),
        "white sheet",
    )
    frame = np.zeros((601, 1001), np.uint8)
    frame[300, 900] = 255
    at = table.projector.to_table(np.array([[900.0, 300.0]]))[0]
    angle = math.atan(at[0] / table.projector.position_mm[2])
    sheet = Sheet(
        np.full((40, 40), 255, np.uint8), (60.0, 60.0), (float(at[0]), float(at[1])), height_mm=2.0
    )
    seen = []
    for scene in (table, table.with_sheets([sheet])):
        picture, origin = scene.throw(frame, 0.2, (at[0] - 12, at[1] - 12, at[0] + 12, at[1] + 12))
        light = np.clip((picture[..., 1] / 255.0) ** 2.2 - 0.25, 0, None)
        rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
        seen.append(origin[0] + 0.2 * float((light * columns).sum() / light.sum()))
        assert abs(origin[1] - 0.2 * float((light * rows).sum() / light.sum()) - at[1]) < 0.02
    assert abs(seen[0] - at[0]) < 0.02
    assert abs((seen[0] - seen[1]) - 2.0 * math.tan(angle)) < 0.03
    assert 0.55 < seen[0] - seen[1] < 0.65  # 2 mm × tan(16.2°), by hand


def test_light_gives_a_line_s_place_to_a_thousandth() -> None:
    """The centroid of a two-pixel line, sampled across on the table, is the truth to 0.002 px."""
    table = VirtualTable.random(11, SMALL)
    frame = np.zeros((SMALL[1], SMALL[0]), np.uint8)
    frame[:, 300:302] = 255
    along = np.linspace(-6, 6, 401)
    px = np.column_stack([300.5 + along, np.full_like(along, 200.0)])
    light = table.light(frame, table.projector.to_table(px))[:, 1]
    light = light - light[0]
    assert abs(float((light * along).sum() / light.sum())) < 0.002


def test_light_keeps_energy() -> None:
    """A white frame gives the middle of the beam light 1, black gives the black level."""
    table = VirtualTable.random(2, SMALL, contrast=500.0)
    middle = table.projector.to_table(np.array([[479.5, 269.5]]))
    white = np.full((SMALL[1], SMALL[0], 3), 255, np.uint8)
    assert table.light(white, middle)[0, 1] == pytest.approx(1.0, abs=1e-3)
    assert table.light(np.zeros_like(white), middle)[0, 1] == pytest.approx(1 / 500, rel=1e-2)
    outside = table.projector.to_table(np.array([[-20.0, 269.5]]))
    assert table.light(white, outside)[0].max() == 0.0


def test_shake_smears_and_fringes_part_without_moving_green() -> None:
    """A shaken photo is blurred along the shake only; fringes move red out, blue in, green not at all."""
    table = even_table(3)
    camera = VirtualCamera.phone(3, table.beam_mm(), (1280, 960), vignetting=0.0, tilt_deg=8.0)
    frame, boxes = spots(SMALL, 3)
    near = camera.to_pixels(table.projector.to_table(np.array(boxes, float)))
    still = table.radiance(frame, camera).beam
    shaken = table.radiance(frame, replace(camera, shake_px=(6.0, 0.0))).beam
    fringed = table.radiance(frame, replace(camera, fringe=1e-3)).beam
    at = [seen_centres(image[..., 1], near, 20) for image in (still, shaken, fringed)]
    assert np.abs(at[1] - at[0]).max() < 0.03
    assert np.abs(at[2] - at[0]).max() < 1e-9
    x, y = (int(v) for v in np.rint(near[0]))
    width = [
        image[y, x - 20 : x + 21, 1].max() / image[y, x - 20 : x + 21, 1].sum()
        for image in (still, shaken)
    ]
    assert width[1] < 0.93 * width[0]
    out = near - np.array(camera.centre_px)
    red = seen_centres(fringed[..., 0], near, 20) - at[0]
    blue = seen_centres(fringed[..., 2], near, 20) - at[0]
    assert np.abs(red - 1e-3 * out).max() < 0.05
    assert np.abs(blue + 1e-3 * out).max() < 0.05


def test_photos_are_repeatable_and_noisy() -> None:
    """One seed gives one photo, another seed differs by noise of the size the electrons ask for."""
    table = VirtualTable.random(1, SMALL, surface="white sheet", gap=0.0)
    camera = VirtualCamera.webcam(1, table.beam_mm(), (640, 360), jpeg=0, full_well=2000.0)
    white = np.full((SMALL[1], SMALL[0]), 255, np.uint8)
    light = table.radiance(white, camera)
    a, b = camera.expose(light, 1), camera.expose(light, 2)
    assert np.array_equal(a, camera.expose(light, 1))
    middle = (slice(170, 190), slice(310, 330), 1)
    difference = a[middle].astype(float) - b[middle]
    linear = float(((light.beam + light.room)[middle] * light.gain).mean())
    slope = 255 / camera.gamma * linear ** (1 / camera.gamma - 1)
    want = math.sqrt(2) * slope * math.sqrt(linear / 2000.0)
    assert 0.7 * want < difference.std() < 1.4 * want


def test_flicker_bands_vanish_in_the_average() -> None:
    """A colour wheel paints bands over single frames; the mean of thirty has next to none."""
    table = VirtualTable.random(3, SMALL, surface="white sheet", wheel=0.5, wheel_hz=143.0)
    camera = VirtualCamera.webcam(
        3, table.beam_mm(), (480, 270), jpeg=0, full_well=1e6, read_noise=0.0, shutter_s=1 / 200
    )
    white = np.full((SMALL[1], SMALL[0]), 255, np.uint8)
    frames = np.array([f[..., 0] for f in table.sequence(white, camera, 30)], float)
    still = replace(table, projector=replace(table.projector, wheel=0.0))
    plain = still.photograph(white, camera)[..., 0].astype(float)
    column = (slice(100, 170), 240)
    single = np.ptp(frames[0][column] - plain[column])
    mean = np.ptp(frames.mean(axis=0)[column] - plain[column])
    assert single > 8
    assert mean < 0.3 * single


@pytest.mark.parametrize("surface", SURFACES)
def test_every_surface_can_be_photographed(surface: str) -> None:
    """Each surface gives a photo with the beam brighter than the table beside it."""
    table = VirtualTable.random(6, SMALL, surface=surface, glare=0.1)
    camera = VirtualCamera.webcam(6, table.beam_mm(), (480, 270), margin=0.15, samples=1)
    white = np.full((SMALL[1], SMALL[0]), 255, np.uint8)
    photo = table.photograph(white, camera)
    assert photo.shape == (270, 480, 3)
    assert photo.dtype == np.uint8
    assert photo[120:150, 220:260].mean() > 1.3 * photo[:8].mean()


def test_a_frame_of_another_size_is_refused() -> None:
    """A picture that is not pixel for pixel the projector's is not quietly scaled."""
    table = VirtualTable.random(1, SMALL)
    with pytest.raises(ValueError, match="960 × 540"):
        table.throw(np.zeros((1080, 1920, 3), np.uint8))
    with pytest.raises(ValueError, match="surface"):
        replace(table, surface="marble").throw(np.zeros((540, 960), np.uint8))


def test_the_rest_of_a_lens_is_a_few_tenths_of_a_pixel() -> None:
    """With ``rest`` the same table has lens terms more, never over half a pixel, and differs in nothing else."""
    moved = []
    for seed in range(12):
        plain, more = (VirtualTable.random(seed, rest=rest) for rest in (False, True))
        assert replace(more, projector=plain.projector) == plain
        eyes = [replace(t.projector, position_mm=(0.0, 0.0, 1000.0)) for t in (plain, more)]
        px = np.array([[0.0, 0.0], [1919.0, 0.0], [0.0, 1079.0], [1919.0, 1079.0], [960.0, 540.0]])
        moved.append(np.hypot(*(eyes[1].to_pixels(eyes[0].to_table(px)) - px).T))
    corners = np.array(moved)[:, :4]
    assert 0.05 < np.median(corners) < 0.3 and corners.max() < 0.6
    assert np.array(moved)[:, 4].max() < 0.01
