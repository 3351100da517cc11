"""The window of a bay: the largest upright rectangle of the beam, set along the cloth."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from configs.errors import InputError
from configs.units import length_text
from drafting.placement import Array, carry
from projector.picture.frame import Seen
from projector.picture.view import View
from projector.tools.bays.model import (
    LEAST_WINDOW_MM,
    MARGIN_MM,
    OVERLAP_MM,
    BayPlan,
    Laid,
    Window,
)
from projector.tools.bays.plane import lines_here

TIGHTER = (1.0, 0.6, 0.35)  # of the margin: taken where that saves a bay


def beam_quad(calibration: Seen, margin_mm: float = MARGIN_MM) -> tuple[Array, Array]:
    """The beam on the table as four half planes ``normals @ p <= reach``, margin taken off.

    Straight sides inside a rim that the lens may have bowed; (4, 2) outward normals of unit
    length and (4,) mm, in the order left, top, right, bottom of the picture.

    Raises:
        InputError: the picture's rim does not all meet the table.
    """
    w, h = calibration.size
    t = np.linspace(0.0, 1.0, 25)[:, None]
    corner = np.array([[-0.5, h - 0.5], [-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5]])
    middle = calibration.to_table(np.array([[(w - 1) / 2.0, (h - 1) / 2.0]]))[0]
    normals, reach = np.empty((4, 2)), np.empty(4)
    for i in range(4):
        side = calibration.to_table(corner[i] * (1 - t) + corner[(i + 1) % 4] * t)
        if not np.all(np.isfinite(side)):
            raise InputError.of(
                "calibration", "part of the picture never meets the table.", "Calibrate again."
            )
        d = side[-1] - side[0]
        n = np.array([d[1], -d[0]]) / np.hypot(*d)
        if float(n @ (side[0] - middle)) < 0:
            n = -n
        normals[i], reach[i] = n, float((side @ n).min()) - margin_mm
    return normals, reach


def window_for(
    calibration: Seen,
    view: View,
    extent_mm: tuple[float, float],
    *,
    margin_mm: float = MARGIN_MM,
    strip_mm: float = 0.0,
) -> Window:
    """The rectangle of the beam that takes the lay in the fewest bays; the largest of those.

    Args:
        view: how the cloth lies: its turn, mirror and side count.
        extent_mm: length and breadth of the lay.
        strip_mm: breadth of the strip along her edge, kept free.

    Raises:
        InputError: the beam leaves no rectangle of `LEAST_WINDOW_MM`.
    """
    normals, reach = beam_quad(calibration, margin_mm)
    if strip_mm:
        up = math.radians(view.up_deg)
        hers = int(np.argmin(normals @ np.array([-math.sin(up), math.cos(up)])))
        reach[hers] -= strip_mm
    turn = View(view.turn_deg).table_from_cloth[:2, :2]
    n = normals @ turn  # the same sides seen in axes along the cloth
    corners = _corners(n, reach)
    if corners is None:
        raise _no_room(0.0)
    ys = np.linspace(corners[:, 1].min(), corners[:, 1].max(), 161)
    left, right = _chords(n, reach, ys)
    x0 = np.maximum(left[:, None], left[None])
    x1 = np.minimum(right[:, None], right[None])
    width, depth = x1 - x0, ys[None] - ys[:, None]
    good = (width >= LEAST_WINDOW_MM) & (depth >= LEAST_WINDOW_MM)
    if not good.any():
        raise _no_room(float(np.minimum(width, depth).max()))
    count = _least_count(width, extent_mm[0]) * _least_count(depth, extent_mm[1])
    count = np.where(good, count, np.inf)
    area = np.where(count == count.min(), width * depth, -1.0)
    i, j = np.unravel_index(int(np.argmax(area)), area.shape)
    return Window(
        view.turn_deg,
        view.mirror,
        (float(x0[i, j]), float(ys[i])),
        (float(x1[i, j]), float(ys[j])),
        view.side,
    )


def _no_room(mm: float) -> InputError:
    return InputError.of(
        "calibration",
        f"the beam leaves only {length_text(round(max(mm, 0.0)))} for a bay; "
        f"{length_text(LEAST_WINDOW_MM)} is the least.",
        "Raise the projector, or turn the cloth along the beam.",
    )


def _least_count(size: Array, extent: float) -> Array:
    step = np.maximum(size - least_overlap(size), 1.0)
    return np.where(size >= extent, 1.0, np.ceil((extent - size) / step - 1e-9) + 1.0)


def least_overlap(size: Array) -> Array:
    """Overlap of two bays in one direction, mm: never more than a third of the window."""
    return np.minimum(OVERLAP_MM, size / 3.0)


def _corners(normals: Array, reach: Array) -> Array | None:
    """(4, 2) corners of the four half planes taken in turn; None when they leave nothing."""
    pairs = np.stack([normals, np.roll(normals, -1, axis=0)], axis=1)
    if np.any(np.abs(np.linalg.det(pairs)) < 1e-9):
        return None
    ends = np.stack([reach, np.roll(reach, -1)], axis=1)
    out = np.linalg.solve(pairs, ends[..., None])[..., 0]
    return out if np.all(normals @ out.T <= reach[:, None] + 1e-6) else None


def _chords(normals: Array, reach: Array, ys: Array) -> tuple[Array, Array]:
    """Left and right end of the half planes' common part at each y; crossed when empty."""
    left, right = np.full(len(ys), -1e9), np.full(len(ys), 1e9)
    for (nx, ny), d in zip(normals, reach, strict=True):
        room = d - ny * ys
        if abs(nx) < 1e-9:
            right = np.where(room < -1e-9, -1e9, right)
        elif nx > 0:
            right = np.minimum(right, room / nx)
        else:
            left = np.maximum(left, room / nx)
    return left, right


def too_long(pieces: Sequence[Laid], calibration: Seen, view: View) -> bool:
    """Whether any line of the lay falls outside the beam as the cloth lies now."""
    normals, reach = beam_quad(calibration, 5.0)
    table = (carry(view.table_from_cloth, p.outline_mm) for p in pieces)
    return any(bool(np.any(ring @ normals.T > reach)) for ring in table)


def out_of_beam(
    plan: BayPlan,
    index: int,
    pieces: Sequence[Laid],
    calibration: Seen,
    view: View,
) -> tuple[float, float]:
    """How far (x, y) the cloth must be moved on the table so that this bay's lines are all lit.

    (0, 0) when they are; table mm.
    """
    normals, reach = beam_quad(calibration, 3.0)
    mine = [p for p in pieces if p.key in plan.bays[index].keys]
    points = [line for p in mine for line in lines_here(plan, index, p)[0]]
    if not points:
        return 0.0, 0.0
    table = carry(view.table_from_cloth, np.vstack(points))
    move = -np.maximum((table @ normals.T - reach).max(axis=0), 0.0) @ normals
    return float(move[0]) + 0.0, float(move[1]) + 0.0
