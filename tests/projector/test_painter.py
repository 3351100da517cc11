"""The painter: where light falls between the pixels, and that items come and go alone."""

from __future__ import annotations

import inspect
import re
from itertools import pairwise

import numpy as np
import pytest
from table_rig import docket, projector

from configs.errors import InputError
from drafting.placement import carry
from projector import render
from projector.output import picture_bytes
from projector.picture.frame import FrameItem, Lens
from projector.picture.on_table import view_of
from projector.picture.painter import Painter
from projector.picture.stage import Stage
from projector.picture.view import View

WHITE = ((255, 255, 255),)


def line(x0: float, y0: float, x1: float, y1: float, half: float = 1.0) -> FrameItem:
    """One straight line as an item."""
    return FrameItem(
        "line", np.array([[x0, y0, x1, y1]]), np.array([half]), np.zeros(1, np.int64), WHITE
    )


def test_line_lies_where_it_is_asked_to_a_twentieth_of_a_pixel() -> None:
    """Across every line, at any angle, width and place between pixels, light is centred on it."""
    rng = np.random.default_rng(20)
    painter = Painter((260, 260))
    yy, xx = np.mgrid[:260, :260].astype(np.float64)
    worst_place = worst_width = 0.0
    for _ in range(150):
        half, angle = rng.uniform(0.6, 3.0), rng.uniform(0.0, 2.0 * np.pi)
        d = np.array([np.cos(angle), np.sin(angle)])
        c = np.array([130.0, 130.0]) + rng.uniform(-1.0, 1.0, 2)
        painter.clear()
        painter.put(painter.paint(line(*(c - 80 * d), *(c + 80 * d), half)))
        light = painter.rgb()[:, :, 0] / 255.0
        across = (xx - c[0]) * -d[1] + (yy - c[1]) * d[0]
        steep = abs(d[1]) > abs(d[0])
        share = max(abs(d[0]), abs(d[1]))
        inner = slice(90, 170)
        part = light[inner] if steep else light[:, inner]
        off = across[inner] if steep else across[:, inner]
        axis = 1 if steep else 0
        total = part.sum(axis=axis)
        worst_place = max(worst_place, float(np.abs((part * off).sum(axis=axis) / total).max()))
        worst_width = max(worst_width, float(np.abs(total * share - 2.0 * half).max()))
    assert worst_place < 0.02  # promised: 0.05
    assert worst_width < 0.03


def test_pixel_centres_are_integers() -> None:
    """A line drawn through the pixel column 40 lights column 40 most and its neighbours alike."""
    painter = Painter((81, 41))
    painter.put(painter.paint(line(40.0, 5.0, 40.0, 35.0, 0.5)))
    row = painter.rgb()[20, :, 0].astype(int)
    assert row.argmax() == 40
    assert row[39] == row[41] > 0
    assert row[:38].max() == 0 and row[43:].max() == 0


def test_line_ends_reach_their_points_with_a_round_cap() -> None:
    """A dot is a disc about its point; a line's light sums to its length and caps."""
    painter = Painter((100, 100))
    painter.put(painter.paint(line(50.3, 49.8, 50.3, 49.8, 6.0)))
    light = painter.rgb()[:, :, 0] / 255.0
    yy, xx = np.mgrid[:100, :100]
    assert light.sum() == pytest.approx(np.pi * 36.0, rel=0.02)
    assert (light * xx).sum() / light.sum() == pytest.approx(50.3, abs=0.02)
    assert (light * yy).sum() / light.sum() == pytest.approx(49.8, abs=0.02)


def test_joints_are_neither_gaps_nor_double_light() -> None:
    """A polyline in many chords leaves the same light as the line in one piece."""
    one, many = Painter((200, 120)), Painter((200, 120))
    a, b = np.array([12.4, 20.7]), np.array([181.2, 97.3])
    one.put(one.paint(line(*a, *b, 1.3)))
    t = np.linspace(0.0, 1.0, 40)[:, None]
    p = a + (b - a) * t
    segments = np.hstack([p[:-1], p[1:]])
    item = FrameItem("x", segments, np.full(39, 1.3), np.zeros(39, np.int64), WHITE)
    many.put(many.paint(item))
    assert np.abs(one.rgb().astype(int) - many.rgb().astype(int)).max() <= 3


def test_what_lies_outside_is_cut_without_harm() -> None:
    """Lines from far outside cross the picture as they should; those beside it leave nothing."""
    painter = Painter((120, 80))
    far = painter.paint(line(-1e7, 40.0, 1e7, 40.0, 1.0))
    painter.put(far)
    assert (painter.rgb()[40, :, 0] > 200).all()
    painter.clear()
    painter.put(painter.paint(line(-500.0, -300.0, 700.0, -250.0, 2.0)))
    painter.put(painter.paint(line(60.0, 200.0, 65.0, 9000.0, 2.0)))
    assert painter.rgb().max() == 0


def test_items_come_and_go_alone() -> None:
    """Painting order does not matter, and restoring one item leaves the others untouched."""
    first, second = line(5, 5, 90, 60, 2.0), line(5, 60, 90, 5, 1.2)
    for ground in ((0, 0, 0), (238, 238, 230)):
        inks = FrameItem("b", second.segments, second.half_px, second.ink, ((120, 60, 10),))
        ab, ba = Painter((100, 70), ground), Painter((100, 70), ground)
        a, b = ab.paint(first), ab.paint(inks)
        ab.put(a)
        below = ab.canvas.copy()
        ab.put(b)
        ba.put(b)
        ba.put(a)
        assert (ab.canvas == ba.canvas).all()
        ab.carry(b, below, ab.canvas)
        assert (ab.canvas == below).all()


def test_render_has_the_size_of_the_calibration() -> None:
    """`render` answers (H, W, 3) uint8 RGB of the calibration's size, the same each time."""
    made = render(docket(), projector((1280, 720)))
    assert made.shape == (720, 1280, 3) and made.dtype == np.uint8
    assert (made == render(docket(), projector((1280, 720)))).all()
    assert made.max() > 200


def test_cutting_lines_lie_where_the_calibration_puts_them() -> None:
    """Along every cutting line, light is centred on the calibration's image of it (0.05 px)."""
    from scipy.ndimage import map_coordinates

    laid, cal = docket(), projector(k1=0.012, keystone=0.03)
    picture = render(laid, cal, mode="plain", lines="cutting").max(axis=2).astype(np.float64)
    view = view_of(laid, cal)
    stage = Stage(laid, cal, view)
    offsets = np.arange(-4.0, 4.01, 0.05)
    missed = []
    for placement in laid.placed():
        ring = carry(placement.cloth_from_piece, stage.faces.of(placement).outline)
        ring = np.vstack([ring, ring[:1]])
        t = view.table_from_cloth
        for p, q in pairwise(ring):
            if np.hypot(*(q - p)) < 12.0 or abs(p[1]) + abs(q[1]) < 1e-6:
                continue  # too short to look across, or the fold
            for share in (0.4, 0.6):
                at = p + (q - p) * share
                ends = np.array(
                    [
                        at - 0.5 * (q - p) / np.hypot(*(q - p)),
                        at,
                        at + 0.5 * (q - p) / np.hypot(*(q - p)),
                    ]
                )
                px = cal.to_projector(ends @ t[:2, :2].T + t[:2, 2])
                if not ((px > 8) & (px < np.array(cal.size) - 9)).all():
                    continue
                along = px[2] - px[0]
                normal = np.array([-along[1], along[0]]) / np.hypot(*along)
                spots = px[1] + offsets[:, None] * normal
                light = map_coordinates(picture, spots[:, ::-1].T, order=1)
                if light[0] > 1 or light[-1] > 1:
                    continue  # a label or notch beside it
                missed.append(float((light * offsets).sum() / light.sum()))
    assert len(missed) > 40
    assert np.abs(missed).max() < 0.08  # sampled between pixels: bilinear adds a few hundredths
    assert np.sqrt(np.mean(np.square(missed))) < 0.03


def test_a_docket_without_a_lay_says_what_to_do() -> None:
    """Nothing laid: one clear fault that names the remedy."""
    with pytest.raises(InputError, match="chalkbeam lay"):
        render(docket(lay=[]), projector())


def test_unknown_mode_is_refused() -> None:
    """A mode that does not exist is a ValueError, not an empty picture."""
    with pytest.raises(ValueError, match="arrange"):
        render(docket(), projector(), mode="sideways")


def test_png_keeps_every_pixel() -> None:
    """What is written as PNG reads back the same (decoded by scikit-image's reader)."""
    import io

    from skimage.io import imread

    picture = render(docket(), projector((640, 360)))
    assert (imread(io.BytesIO(picture_bytes(picture))) == picture).all()


def test_chords_follow_the_lens() -> None:
    """Every drawn chord stays within 0.05 px of the true curve of a strongly bent lens."""
    laid, cal = docket(), projector(k1=0.03)
    stage = Stage(laid, cal, view_of(laid, cal))
    worst = 0.0
    lens = Lens(cal)
    for p in laid.placed():
        item = stage.piece(p)
        pack, a = item.packed, item.table_from_item
        table = pack.points @ a[:2, :2].T + a[:2, 2]
        lit = lens.covers(table)
        use = pack.first[lit[pack.first] & lit[pack.first + 1]]
        middle = cal.to_projector(0.5 * (table[use] + table[use + 1]))
        ends = cal.to_projector(table)
        worst = max(worst, float(np.hypot(*(middle - 0.5 * (ends[use] + ends[use + 1])).T).max()))
    assert 0.0 < worst < 0.05


def test_render_takes_what_its_docstring_names() -> None:
    """Every option of the docstring is a parameter and changes the picture; a wrong word is refused by name."""
    shown, calibration = docket(), projector((640, 360))
    named = set(inspect.signature(render).parameters)
    told = set(re.findall(r"(?:^ {8}|; )(\w+):", inspect.getdoc(render) or "", re.MULTILINE))
    told |= set(re.findall(r"^    (\w+):", inspect.getdoc(render) or "", re.MULTILINE))
    assert named == told
    plain = render(shown, calibration)
    assert plain.shape == (360, 640, 3)
    first = shown.placed()[0].key
    for option in (
        {"mode": "trace"}, {"mode": "trace", "current": first}, {"mode": "plain"}, {"ink": "bold"},
        {"ink": "dark"}, {"lines": "cutting"}, {"lines": "sewing"}, {"weight": 2.0},
        {"cloth": False}, {"view": View(5.0, (30.0, 10.0))},
    ):  # fmt: skip
        assert (render(shown, calibration, **option) != plain).any(), option
    for option in ({"mode": "show"}, {"ink": "red"}, {"lines": "none"}, {"current": "cape/1"}):
        with pytest.raises(InputError, match=f"render: {next(iter(option))}"):
            render(shown, calibration, **option)
