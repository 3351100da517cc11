"""Edge: the widest upright box along her side of the beam, or across the table from her."""

from __future__ import annotations

import math

import numpy as np

from drafting.placement import Array
from projector.picture.stage import Stage

MARGIN_MM = 5.0  # from the beam's edge


def along_edge(stage: Stage, height_mm: float, *, far: bool = False) -> tuple[Array, float, float]:
    """Where a strip along her edge fits: its frame (3, 3), length and height mm."""
    beam = stage.lens.beam_mm @ stage.read
    if far:
        beam = beam * np.array([1.0, -1.0])
    margin = MARGIN_MM
    n = len(beam)
    # the lower edge is the side whose points all lie low; under keystone its highest counts
    quarter = n // 4
    sides = [beam[np.arange(i * quarter, (i + 1) * quarter + 1) % n] for i in range(4)]
    base = min(sides, key=lambda p: float(p[:, 1].mean()))
    roof = max(sides, key=lambda p: float(p[:, 1].mean()))
    y0 = float(base[:, 1].max()) + margin
    y1 = min(y0 + height_mm, float(roof[:, 1].min()) - margin)
    left, right = -math.inf, math.inf
    middle, after = float(beam[:, 0].mean()), np.roll(beam, -1, axis=0)
    for y in np.linspace(y0, y1, 9):
        hit = (beam[:, 1] <= y) != (after[:, 1] <= y)
        share = (y - beam[hit, 1]) / (after[hit, 1] - beam[hit, 1])
        chords = beam[hit, 0] + share * (after[hit, 0] - beam[hit, 0])
        left = max(left, float(chords[chords < middle].max(initial=-math.inf)))
        right = min(right, float(chords[chords > middle].min(initial=math.inf)))
    left, right = left + margin, right - margin
    origin = stage.read @ np.array([left, y0 if not far else -y1])
    return stage.reading_frame(origin), right - left, y1 - y0
