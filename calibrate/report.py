"""What a calibration is worth, in words, numbers and a picture.

Last step of a calibration by photo: after `calibrate.solve`, before the person decides whether
to cut by it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibrate.arrays import Array, Image
from calibrate.calibration import Calibration
from calibrate.cards import card
from calibrate.detect import Detections, is_soft
from calibrate.model import CameraModel
from calibrate.photo import check_photo
from calibrate.plane import grid, place
from calibrate.verdict import Solution
from configs.errors import Fault, InputError
from configs.units import said_in, small_text

_FRACTIONS = (
    (0.04, "far less than"),
    (0.07, "about a twentieth of"),
    (0.14, "about a tenth of"),
    (0.22, "about a fifth of"),
    (0.29, "about a quarter of"),
    (0.42, "about a third of"),
    (0.58, "about half"),
    (0.85, "about three quarters of"),
    (1.25, "about"),
    (1.75, "about one and a half times"),
)
_PICTURE_WIDTH = 1600


def in_dots(ratio: float) -> str:
    """'about a third of a projector dot' for a ratio of error to dot."""
    for limit, words in _FRACTIONS:
        if ratio < limit:
            return f"{words} a projector dot"
    return f"about {ratio:.0f} projector dots"


def length_mm(value: float) -> str:
    """A small error as a person reads it: '0.03 mm', '0.2 mm', '2 mm'."""
    if value < 0.1:
        return f"{max(value, 0.01):.2f} mm"
    return f"{value:.1f} mm" if value < 9.95 else f"{value:.0f} mm"


def headline(calibration: Calibration) -> str:
    """'True to 0.2 mm (about a third of a projector dot) over 1.21 × 0.68 m', in her unit.

    Rms over the whole light, the print's doubt with it; the worst place too where it matters.
    """
    s = calibration.summary()
    grid = calibration.model.grid_mm()
    total = np.hypot(calibration.expected_error_mm(grid), calibration.print_doubt_mm(grid))
    rms, worst = float(np.sqrt(np.mean(total**2))), calibration.worst_error_mm(with_print=True)
    words = (
        f"True to {length_mm(rms)} ({in_dots(rms / s['dot_mm'])}) over "
        f"{s['beam_width_mm'] / 1000:.2f} × {s['beam_height_mm'] / 1000:.2f} m"
    )
    if worst > 0.3:
        words += f", {length_mm(worst)} at its worst corner"
    return said_in(f"{words}.", calibration.unit)


def print_sentence(calibration: Calibration) -> str:
    """How large the doubt of the print is, and what takes it away."""
    worst = calibration.summary()["print_doubt_mm"]
    if "square_mm" in calibration.facts:
        return (
            f"The check square was read as {calibration.facts['square_mm']} mm; a ruler leaves "
            f"up to {length_mm(worst)} at the corners."
        )
    if calibration.bars_mm is None:
        return (
            "The two printed bars were not given. Printers are often 0.2 % out, some 0.4 %: that "
            f"is {length_mm(worst)} at the corners of the light, at some printers "
            f"{length_mm(2 * worst)}, and no photo can show it. Measure the bars with a ruler and "
            "give the readings: --bars WIDE,TALL."
        )
    a, b = calibration.bars_mm
    return (
        f"The bars were read as {a:g} and {b:g} mm; a ruler leaves up to "
        f"{length_mm(worst)} at the corners."
    )


def lift_sentence(calibration: Calibration) -> str:
    """What cards that do not lie on the table would do unseen; '' where the photos would show it."""
    worst = calibration.facts.get("lift_mm", 0.0)
    if not isinstance(worst, int | float) or worst < 0.1:
        return ""
    return (
        "It holds for the surface that the cards lie on. Were all of them a millimetre above the "
        f"table, or some on one side, this photo might not show it, and the light would be up to "
        f"{length_mm(float(worst))} off. Lay them flat on what you cut on; photos from two or "
        "three sides do show it."
    )


def advice(solution: Solution, detections: Sequence[Detections]) -> list[str]:
    """What would make the next calibration better, the weightiest first."""
    out = list(solution.notes)
    for d in detections:
        out += [note for note in d.notes if note not in out]
    calibration = solution.calibration
    seen = {i for d in detections for i in d.cards}
    if len(seen) == 3:
        there = (
            "the photo is too soft to read it"
            if any(map(is_soft, detections))
            else "look that nothing shades or covers it, and go nearer"
        )
        out.append(
            f"Only three cards were read; the fourth makes it truer. If it lies there, {there}."
        )
    grid = calibration.model.grid_mm()
    error = calibration.expected_error_mm(grid)
    # a worst corner of a few hundredths of a millimetre is nothing to walk round the table for
    if error.max() > max(2.5 * error.mean(), 0.15) or error.max() > 0.4:
        w, h = calibration.size
        px = calibration.to_projector(grid[[int(np.argmax(error))]])[0]
        side = "left" if px[0] < w / 2 else "right"
        end = "upper" if px[1] < h / 2 else "lower"
        out.append(f"It is least sure in the {end} {side} corner: lay a card nearer to it.")
    if error.max() > 0.5 and calibration.facts.get("photos") == 1:
        out.append("A second and third photo from other sides would halve the doubt.")
    return out


def as_data(solution: Solution, detections: Sequence[Detections]) -> dict[str, Any]:
    """All numbers behind the report, plain, for ``--json``."""
    c = solution.calibration
    return {
        "headline": headline(c),
        "size": list(c.size),
        **{k: round(v, 5) for k, v in c.summary().items()},
        "rms_px": round(c.rms_px, 5),
        "held_out_mm": None if c.held_out_mm is None else round(c.held_out_mm, 5),
        "bars_mm": None if c.bars_mm is None else list(c.bars_mm),
        "cards": {
            str(i): {
                "misses_mm": round(v, 5),
                "left_out": i in solution.named,
                "above_table_mm": round(solution.raised.get(i, 0.0), 2),
            }
            for i, v in solution.card_mm.items()
        },
        "photos": [
            {
                "name": d.name,
                "size": list(d.size),
                "cards": sorted(d.cards),
                "pattern_corners": 0 if d.pattern is None else len(d.pattern),
            }
            for d in detections
        ],
        "print": print_sentence(c),
        "lift": lift_sentence(c),
        "advice": advice(solution, detections),
    }


def text(solution: Solution, detections: Sequence[Detections]) -> str:
    """The report for a person."""
    c = solution.calibration
    s = c.summary()
    lines = [headline(c), print_sentence(c), *advice(solution, detections), lift_sentence(c)]
    lines = [line for line in lines if line]
    lines.append(
        "Before you cut: show the check square (K at the table) and lay a ruler on it. It shows what "
        "no photo can: a print of another scale, a picture not shown full screen."
    )
    held = "" if c.held_out_mm is None else f"; corners kept out of the fit: {c.held_out_mm:.3f} mm"
    lines.append(
        f"Numbers: expected error {s['rms_mm']:.3f} mm rms, {s['max_mm']:.3f} mm at worst; "
        f"left over by the fit {c.rms_px:.3f} projector px rms{held}; dot {s['dot_mm']:.2f} mm; "
        f"{c.facts.get('card_corners')} corners on cards, {c.facts.get('pattern_corners')} projected; "
        + ", ".join(f"card {i} {v:.3f} mm" for i, v in solution.card_mm.items())
        + "."
    )
    return said_in("\n".join(lines), c.unit)


# -- the picture -----------------------------------------------------------------------------


def picture(photo: ArrayLike, solution: Solution, detections: Detections, which: int = 0) -> Image:
    """(h, w, 3) uint8 RGB: the photo, small, with the error map, the cards and the corners found.

    Args:
        photo: (H, W, 3) uint8 RGB as given to `detect`.
        which: number of the photo's camera in the solution.
    """
    import cv2

    full = check_photo(photo)
    scale = min(1.0, _PICTURE_WIDTH / full.shape[1])
    small = np.asarray(
        cv2.resize(full, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.uint8
    )
    camera = solution.cameras[which]

    def spot(px: Array) -> NDArray[np.int32]:
        return np.asarray(np.round(((px + 0.5) * scale - 0.5) * 16), dtype=np.int32)

    canvas = (small * 0.75).astype(np.uint8)
    overlay = canvas.copy()
    values, quads = _error_cells(solution.calibration, camera)
    top = max(float(values.max()), 1e-6)
    colours = cv2.applyColorMap(
        np.clip(values / top * 255, 0, 255).astype(np.uint8).reshape(-1, 1), cv2.COLORMAP_VIRIDIS
    ).reshape(-1, 3)[:, ::-1]
    for quad, colour in zip(quads, colours, strict=True):
        if np.all(np.isfinite(quad)):
            cv2.fillConvexPoly(overlay, spot(quad), tuple(int(v) for v in colour), 0, 4)
    canvas = np.asarray(cv2.addWeighted(overlay, 0.45, canvas, 0.55, 0), dtype=np.uint8)
    if detections.pattern is not None:
        for x, y in spot(detections.pattern.px):
            cv2.circle(canvas, (int(x), int(y)), 20, (255, 255, 255), -1, cv2.LINE_AA, 4)
    poses = {c.card: c for c in solution.calibration.cards}
    for i, found in detections.cards.items():
        good = i in poses
        ink = (255, 210, 60) if good else (255, 150, 120)
        for x, y in spot(found.px):
            cv2.circle(canvas, (int(x), int(y)), 40, ink, 1, cv2.LINE_AA, 4)
        if good:
            p = poses[i]
            ring = place(card(i).outline_mm(solution.scale), (*p.at_mm, p.turn))
            px = camera.to_px(ring)
            cv2.polylines(canvas, [spot(px)], True, ink, 2, cv2.LINE_AA, 4)
        name = f"card {i}" if good else f"card {i}: left out"
        if i in solution.raised:
            name = said_in(f"card {i}: {solution.raised[i]:.1f} mm high", solution.calibration.unit)
        x, y = (found.px.mean(axis=0) * scale).astype(int)
        left = min(max(int(x) - 30, 4), canvas.shape[1] - 170)
        _label(canvas, name, (left, int(y) + 6), ink)
    return _with_legend(canvas, solution.calibration, top)


def _error_cells(calibration: Calibration, camera: CameraModel) -> tuple[Array, Array]:
    """How far off the light may be, the print's doubt with it as in the headline, at the middles of a
    grid of cells (N,) mm, and the cells' corners in the photo (N, 4, 2)."""
    w, h = calibration.size
    nx, ny = 64, max(8, round(64 * h / w))
    cells = grid(np.linspace(-0.5, w - 0.5, nx + 1), np.linspace(-0.5, h - 0.5, ny + 1))
    table = calibration.to_table(cells)
    px = camera.to_px(table).reshape(ny + 1, nx + 1, 2)
    total = np.hypot(calibration.expected_error_mm(table), calibration.print_doubt_mm(table))
    error = total.reshape(ny + 1, nx + 1)
    middle = (error[:-1, :-1] + error[1:, :-1] + error[:-1, 1:] + error[1:, 1:]) / 4
    quads = np.stack([px[:-1, :-1], px[:-1, 1:], px[1:, 1:], px[1:, :-1]], axis=2)
    return middle.ravel(), quads.reshape(-1, 4, 2)


def _label(canvas: Image, words: str, at: tuple[int, int], ink: tuple[int, int, int]) -> None:
    import cv2

    for colour, thick in (((20, 20, 20), 5), (ink, 2)):
        cv2.putText(canvas, words, at, cv2.FONT_HERSHEY_SIMPLEX, 0.6, colour, thick, cv2.LINE_AA)


def _with_legend(canvas: Image, calibration: Calibration, top: float) -> Image:
    """The picture over a strip with the headline and the colour scale in mm."""
    import cv2

    width = canvas.shape[1]
    strip = np.full((84, width, 3), 245, dtype=np.uint8)
    ramp = cv2.applyColorMap(np.arange(256, dtype=np.uint8).reshape(1, -1), cv2.COLORMAP_VIRIDIS)
    bar = np.asarray(cv2.resize(ramp, (256, 18)), dtype=np.uint8)[:, :, ::-1]
    strip[52:70, 16:272] = bar
    words = headline(calibration).replace("×", "x")
    ink = (20, 20, 20)
    font = cv2.FONT_HERSHEY_SIMPLEX
    cv2.putText(strip, words, (16, 32), font, 0.62, ink, 1, cv2.LINE_AA)
    off = small_text(top, "in") if calibration.unit == "in" else f"{top:.2g} mm"
    scale = f"0 to {off} off at most; dots: projected corners; rings: corners on cards"
    cv2.putText(strip, scale, (284, 67), font, 0.5, ink, 1, cv2.LINE_AA)
    return np.concatenate([canvas, strip])


# -- the check square ------------------------------------------------------------------------

SQUARE_MM = 200.0
_SQUARE_READING_MM = 0.12


def square_picture(calibration: Calibration) -> Image:
    """(H, W) uint8 to project: a square of 200 mm in the middle of the light, to measure.

    Its sides lie along the table's x and y; the number at a side says which reading is which.
    """
    import cv2

    w, h = calibration.size
    canvas = np.zeros((h, w), dtype=np.uint8)
    half = SQUARE_MM / 2
    ring = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
    middle = calibration.to_table(np.array([[(w - 1) / 2, (h - 1) / 2]]))[0]
    sides = np.concatenate(
        [np.linspace(ring[i], ring[(i + 1) % 4], 24, endpoint=False) + middle for i in range(4)]
    )
    px = np.round(calibration.to_projector(sides) * 256).astype(np.int32)
    cv2.polylines(canvas, [px], True, 255, 1, cv2.LINE_AA, 8)
    size = max(0.5, 14 / calibration.model.mm_per_px() / 30)
    for words, at in (
        ("X: left side to right side, middle of the lines", (-half, half + 24)),
        ("Y", (-half - 24, 0.0)),
    ):
        x, y = calibration.to_projector(np.array([at]) + middle)[0]
        cv2.putText(
            canvas, words, (int(x), int(y)), cv2.FONT_HERSHEY_SIMPLEX, size, 255, 1, cv2.LINE_AA
        )
    return canvas


def apply_square(calibration: Calibration, reading_mm: tuple[float, float]) -> Calibration:
    """The calibration put right by what a ruler read on the projected square of 200 mm.

    Args:
        reading_mm: along the table's x and along its y.

    Raises:
        InputError: readings more than 3 % off, which no print explains.
    """
    if any(not math.isfinite(v) or abs(v / SQUARE_MM - 1) > 0.03 for v in reading_mm):
        raise InputError(
            Fault(
                "--square",
                f"{reading_mm[0]:g},{reading_mm[1]:g} mm for a square of {SQUARE_MM:g} mm.",
                "Measure from middle of line to middle of line, in mm; if it is right, something "
                "has moved: calibrate again.",
            )
        )
    a, b = (v / SQUARE_MM for v in reading_mm)
    scaled = calibration.moved(np.diag([a, b, 1.0]))
    return replace(
        scaled,
        scale_doubt=_SQUARE_READING_MM / SQUARE_MM,
        facts={**calibration.facts, "square_mm": f"{reading_mm[0]:g} × {reading_mm[1]:g}"},
    )
