"""Scene + calibration → lines in projector pixels (numpy only).

Between `scene`, which thinks in millimetres on the table, and `painter`, which thinks in pixels.
Chords are kept so short that the lens's curvature is followed to `TOLERANCE_PX`; what lies
outside the beam is dropped before the lens is asked about it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from drafting.outline import signed_area
from drafting.placement import Array, carry
from projector.picture.marks import Index, Item, Packed

TOLERANCE_PX = 0.05
_LEAST_HALF_PX = 0.6  # thinner lines lose their light between two pixels
_MARGIN_PX = 48.0  # a line just outside the beam still reaches in with its width


class Seen(Protocol):
    """What a calibration must offer here (`calibrate.Calibration` does)."""

    @property
    def size(self) -> tuple[int, int]: ...

    def to_projector(self, points_mm: Array) -> Array: ...

    def to_table(self, points_px: Array) -> Array: ...


@dataclass(frozen=True, eq=False)
class FrameItem:
    """An item of the scene in projector pixels.

    ``segments`` (S, 4) x0 y0 x1 y1 px; ``half_px`` (S,) half widths; ``ink`` (S,) index into
    ``colours``.
    """

    key: str
    segments: Array
    half_px: Array
    ink: Index
    colours: tuple[tuple[int, int, int], ...]


@dataclass(eq=False)
class Lens:
    """A calibration made ready for drawing many frames.

    ``step_mm``: the longest chord on the table that stays within `TOLERANCE_PX` of its image
    everywhere in the beam; ``px_per_mm``: mean scale; ``beam_mm``: (N, 2) outline of the beam on
    the table, counter-clockwise.
    """

    calibration: Seen
    step_mm: float = field(init=False)
    px_per_mm: float = field(init=False)
    beam_mm: Array = field(init=False)
    _edges: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        cal = self.calibration
        self.beam_mm, self._edges = _rim(cal, 0.5), _rim(cal, _MARGIN_PX)
        self.px_per_mm, self.step_mm = _chord(cal)

    def frame(self, item: Item) -> FrameItem:
        """An item through the lens."""
        points = carry(item.table_from_item, item.packed.points)
        return self._through(item.key, item.packed, points)

    def frame_joined(self, items: Sequence[Item]) -> FrameItem:
        """Several items through the lens at once, as one under the first one's name."""
        packs = [i.packed for i in items]
        points = np.concatenate([carry(i.table_from_item, i.packed.points) for i in items])
        start = np.cumsum([0, *(len(p.points) for p in packs[:-1])])
        number = np.cumsum([0, *(len(p.colours) for p in packs[:-1])])
        joined = Packed(
            points,
            np.concatenate([p.first + n for p, n in zip(packs, start, strict=True)]),
            np.concatenate([p.half_mm for p in packs]),
            np.concatenate([p.half_px for p in packs]),
            np.concatenate([p.length_mm for p in packs]),
            np.concatenate([p.ink + n for p, n in zip(packs, number, strict=True)]),
            tuple(c for p in packs for c in p.colours),
        )
        return self._through(items[0].key, joined, points)

    def _through(self, key: str, pack: Packed, table_mm: Array) -> FrameItem:
        if not pack.first.size:
            return FrameItem(key, np.zeros((0, 4)), pack.half_mm, pack.ink, ())
        px = self.calibration.to_projector(table_mm)
        segments = np.hstack([px[pack.first], px[pack.first + 1]])
        # the local scale, from the chords themselves; short ones (letters) are too rough for it
        chord = segments[:, 2:] - segments[:, :2]
        with np.errstate(divide="ignore", invalid="ignore"):
            local = np.hypot(chord[:, 0], chord[:, 1]) / pack.length_mm
        local[pack.length_mm < 2.0] = self.px_per_mm
        half = np.where(pack.half_px > 0.0, pack.half_px, pack.half_mm * local)
        half = np.maximum(half, _LEAST_HALF_PX)
        ink = pack.ink
        good = np.isfinite(half) & np.isfinite(segments).all(axis=1)  # past the horizon: not
        if not good.all():
            segments, half, ink = segments[good], half[good], ink[good]
        return FrameItem(key, segments, half, ink, pack.colours)

    def _in_beam(self, table: Array) -> NDArray[np.bool_]:
        """(N,) whether each point lies in the beam or just outside it."""
        ring = self._edges
        low, high = ring.min(axis=0), ring.max(axis=0)
        inside = np.asarray(((table >= low) & (table <= high)).all(axis=1))
        # a beam is convex but for its lens's bend, which the margin covers
        corners = ring[::16]
        edge = np.roll(corners, -1, axis=0) - corners
        for corner, (ex, ey) in zip(corners, edge, strict=True):
            away = ex * (table[:, 1] - corner[1]) - ey * (table[:, 0] - corner[0])
            inside &= away >= -0.02 * (ex * ex + ey * ey)
        return inside

    def to_table(self, x_px: float, y_px: float) -> Array:
        """(2,) table mm under a pixel (the pointer's)."""
        return np.asarray(self.calibration.to_table(np.array([[x_px, y_px]]))[0])

    def covers(self, table_mm: Array) -> NDArray[np.bool_]:
        """(N,) whether each table point is lit (its image lies within the picture)."""
        near = self._in_beam(table_mm)
        out = np.zeros(len(table_mm), dtype=bool)
        if near.any():
            px = self.calibration.to_projector(table_mm[near])
            last = np.array(self.calibration.size) - 0.5
            out[near] = ((px >= -0.5) & (px <= last)).all(axis=1)
        return out


def _rim(cal: Seen, grow_px: float) -> Array:
    """(64, 2) table mm round the picture and a little more, counter-clockwise."""
    w, h = cal.size
    x0, y0, x1, y1 = -grow_px, -grow_px, w - 1 + grow_px, h - 1 + grow_px
    corners = np.array([(x0, y1), (x1, y1), (x1, y0), (x0, y0), (x0, y1)])
    t = np.linspace(0.0, 1.0, 17)[:-1, None]
    ring = cal.to_table(np.vstack([a + (b - a) * t for a, b in pairwise(corners)]))
    return ring if signed_area(ring) >= 0 else np.ascontiguousarray(ring[::-1])


def _chord(cal: Seen) -> tuple[float, float]:
    """Mean px per mm over the beam, and the longest chord, mm, that bends by `TOLERANCE_PX`.

    A chord's distance from its curve grows with the square of its length: one probe length in
    four directions over a grid gives the curvature, hence the length. A fifth is kept in hand.
    """
    w, h = cal.size
    gx, gy = np.meshgrid(np.linspace(8, w - 9, 13), np.linspace(8, h - 9, 9))
    centre = cal.to_table(np.column_stack([gx.ravel(), gy.ravel()]))
    ends = cal.to_projector(centre + np.array([1.0, 0.0])) - cal.to_projector(centre)
    ups = cal.to_projector(centre + np.array([0.0, 1.0])) - cal.to_projector(centre)
    scale = float(np.mean(np.sqrt(np.abs(ends[:, 0] * ups[:, 1] - ends[:, 1] * ups[:, 0]))))
    probe = 60.0 / scale  # about 60 px
    worst = 0.0
    for angle in np.radians([0.0, 45.0, 90.0, 135.0]):
        half = 0.5 * probe * np.array([math.cos(angle), math.sin(angle)])
        a, b = cal.to_projector(centre - half), cal.to_projector(centre + half)
        worst = max(worst, float(np.hypot(*(0.5 * (a + b) - cal.to_projector(centre)).T).max()))
    step = probe * math.sqrt(0.8 * TOLERANCE_PX / max(worst, 1e-9))
    return scale, float(np.clip(step, 2.0, 200.0))
