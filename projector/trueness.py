"""How far the light lies from the draft: lines measured where they fall, on the virtual table.

The other half of the demo. The light of a finished frame is followed back on to the table by the
virtual projector's own optics; each cutting line is then looked for across its own direction, as
one would with a ruler, and its place compared with the draft's. Nothing of the calibration is used
but the lay that the frame shows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibrate import plane
from drafting.outline import arc_lengths, without_repeats
from drafting.placement import Array, carry

_REACH_MM = 3.5  # how far to either side a line is looked for
_STEP_MM = 0.05
_CLEAR_MM = 5.0  # from a corner or the beam's edge, where two lines' light mixes
_ALONG_MM = 4.0  # between two places measured


@dataclass(frozen=True)
class Trueness:
    """Distances of measured light from drafted lines, after the best rigid alignment.

    ``errors_mm``: (N,) signed distance across the line; ``points_mm``: (N, 2) where, world frame;
    ``asked``: places looked at; ``mm_per_px``: size of a projector pixel on the table.
    """

    errors_mm: Array
    points_mm: Array
    asked: int
    mm_per_px: float

    @property
    def rms_mm(self) -> float:
        """Root mean square."""
        return float(np.sqrt(np.mean(self.errors_mm**2)))

    @property
    def p95_mm(self) -> float:
        """What 95 % of the places stay within."""
        return float(np.quantile(np.abs(self.errors_mm), 0.95))

    @property
    def max_mm(self) -> float:
        """The worst place."""
        return float(np.abs(self.errors_mm).max())


def best_rigid(from_mm: Array, to_mm: Array) -> Array:
    """(3, 3) turn and move, without scale or mirror, least squares."""
    return plane.matrix_of(plane.rigid(from_mm, to_mm))


def stations(lines_mm: Sequence[Array]) -> tuple[Array, Array]:
    """Places (N, 2) along lines and their unit normals (N, 2), clear of corners and ends."""
    places, normals = [], []
    for line in lines_mm:
        ring = without_repeats(np.asarray(line))
        at = arc_lengths(ring)
        unit = np.diff(ring, axis=0) / np.diff(at)[:, None]
        before = np.roll(unit, 1, axis=0)
        sharp = np.abs(
            np.arctan2(
                before[:, 0] * unit[:, 1] - before[:, 1] * unit[:, 0], (before * unit).sum(axis=1)
            )
        ) > np.radians(12)
        if not np.allclose(line[0], line[-1]):
            sharp[0] = True  # an open line's ends are corners
        corners = at[:-1][sharp]
        s = np.arange(_ALONG_MM / 2, at[-1], _ALONG_MM)
        if len(corners):
            gap = np.abs(s[:, None] - corners)
            gap = np.minimum(gap, at[-1] - gap).min(axis=1)
            s = s[gap > _CLEAR_MM]
        k = np.clip(np.searchsorted(at, s, side="right") - 1, 0, len(unit) - 1)
        places.append(ring[k] + unit[k] * (s - at[k])[:, None])
        normals.append(np.column_stack([-unit[k][:, 1], unit[k][:, 0]]))
    return np.vstack(places), np.vstack(normals)


def measure(
    light: Callable[[Array], Array],
    lines_mm: Sequence[Array],
    *,
    world_from_table: Array,
    beam_mm: Array,
    mm_per_px: float,
) -> Trueness:
    """Measure where lines fall.

    Args:
        light: brightness (N,) of the thrown frame at world places (N, 2) mm.
        lines_mm: lines (M, 2) where the draft has them, table frame, mm; closed ones end where
            they begin.
        world_from_table: (3, 3) rough place of the table frame; refined by what is measured.
        beam_mm: (K, 2) outline of the beam in the world; places outside or near it are left out.
        mm_per_px: size of a projector pixel on the table.
    """
    places, normals = stations(lines_mm)
    found: tuple[Array, Array, Array] = (places, normals, np.zeros(len(places)))
    inside = np.ones(len(places), bool)
    for _ in range(3):
        at, across = carry(world_from_table, places), normals @ world_from_table[:2, :2].T
        inside = _inside(at, beam_mm, 2 * _REACH_MM)
        offset = _centroids(light, at[inside], across[inside])
        seen = np.isfinite(offset)
        found = (at[inside][seen], across[inside][seen], offset[seen])
        world_from_table = _rigid_step(*found) @ world_from_table
    return Trueness(found[2], found[0], int(inside.sum()), mm_per_px)


def _inside(points: Array, ring: Array, margin: float) -> NDArray[np.bool_]:
    """Within a convex ring by at least ``margin``."""
    a, b = ring, np.roll(ring, -1, axis=0)
    area = np.sum(a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1])
    edge = (b - a) / np.maximum(np.hypot(*(b - a).T), 1e-12)[:, None] * np.sign(area)
    rel = points[:, None, :] - a
    depth = edge[:, 0] * rel[..., 1] - edge[:, 1] * rel[..., 0]
    return np.asarray(depth.min(axis=1) > margin)


def _centroids(light: Callable[[Array], Array], at: Array, across: Array) -> Array:
    """(N,) mm: where each line's light has its middle; nan where no single line stands out."""
    t = np.arange(-_REACH_MM, _REACH_MM + _STEP_MM / 2, _STEP_MM)
    profile = light((at[:, None, :] + across[:, None, :] * t[:, None]).reshape(-1, 2))
    profile = profile.reshape(len(at), len(t))
    profile = profile - np.quantile(profile, 0.1, axis=1)[:, None]
    out = np.full(len(at), np.nan)
    for i, row in enumerate(profile):
        top = row.max()
        if top <= 0:
            continue
        lit = row > 0.15 * top
        # one stretch of light, not touching the ends: other lines near by would shift its middle
        edges = np.flatnonzero(np.diff(lit.astype(int)))
        if len(edges) == 2 and not lit[0] and not lit[-1]:
            part = slice(edges[0] + 1, edges[1] + 1)
            out[i] = float(np.average(t[part], weights=row[part] - 0.15 * top))
    faint = np.nanmedian(profile.max(axis=1)) * 0.3
    out[profile.max(axis=1) < faint] = np.nan
    return out


def _rigid_step(at: Array, across: Array, offset: Array) -> Array:
    """(3, 3) small turn and move that takes the drafted lines on to the measured ones."""
    middle = at.mean(axis=0)
    arm = at - middle
    lever = across[:, 1] * arm[:, 0] - across[:, 0] * arm[:, 1]
    rows = np.column_stack([across, lever])
    (dx, dy, turn), *_ = np.linalg.lstsq(rows, offset, rcond=None)
    out = plane.matrix_of((0.0, 0.0, turn))
    out[:2, 2] = middle - out[:2, :2] @ middle + [dx, dy]
    return out
