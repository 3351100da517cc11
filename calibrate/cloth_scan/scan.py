"""The cloth in a photo."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Array, Image
from calibrate.cloth_scan.apart import told_apart
from calibrate.cloth_scan.edges import REACH_MM, flaws_in, followed, gaps_in, straight_sides
from calibrate.cloth_scan.flat import flatten, sees_all
from calibrate.cloth_scan.masks import (
    components,
    filled_in,
    grown_by,
    lab_of,
    largest_ring,
    plain_ring,
    shrunk_by,
)
from calibrate.cloth_scan.view import TableView, mm_per_px
from calibrate.photo import check_photo
from calibrate.plane import apply, signed_area
from configs.errors import Fault, InputError


@dataclass(frozen=True, eq=False)
class ClothScan:
    """The cloth in the table frame, mm, rings counter-clockwise and not closed.

    ``outline`` (N, 2); ``holes`` and ``flaws``; ``sides``: straight sides as (start, end) (2, 2),
    the longest first; ``grain_rad``: direction of the cloth's length; ``printed``: its colour
    varies so much that stains cannot be told; ``colour``: mean, sRGB; ``doubt_mm``: one sigma of
    the outline's place; ``flat`` (H, W, 3) and ``flat_from_table`` (3, 3): the flattened photo.
    """

    outline: Array
    holes: tuple[Array, ...]
    flaws: tuple[Array, ...]
    sides: tuple[Array, ...]
    grain_rad: float
    grain_by: str
    printed: bool
    colour: tuple[int, int, int]
    doubt_mm: float
    flat: Image = field(repr=False)
    flat_from_table: Array = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def area_mm2(self) -> float:
        """Of the cloth, holes taken off."""
        return abs(signed_area(self.outline)) - sum(abs(signed_area(h)) for h in self.holes)


def scan(
    photo: ArrayLike,
    view: TableView,
    *,
    grain_deg: float | None = None,
    grain_side: int | None = None,
    name: str = "photo",
) -> ClothScan:
    """The cloth in a photo.

    Args:
        photo: (H, W, 3) uint8 RGB, the one that ``view`` is of.
        grain_deg: direction of the cloth's length in the table frame, counter-clockwise from x.
        grain_side: number of the straight side that it follows, 1 for the longest; without both,
            the longest straight side is taken for the selvedge or a side cut along the grain.

    Raises:
        InputError: not a picture; no such side.
        Refusal: no cloth that differs from the table, or it runs out of the picture or the light.
    """
    picture = check_photo(photo, name)
    flat, known, flat_from_table = flatten(picture, view)
    table_from_flat = np.asarray(np.linalg.inv(flat_from_table), dtype=np.float64)
    per_mm = float(flat_from_table[0, 0])
    whole = told_apart(flat, known, per_mm, name, bool(view.white_mm) or not sees_all(known))
    outline_px = largest_ring(whole)
    lab = lab_of(flat)
    fine, doubt_px = followed(lab, known, outline_px, per_mm)
    outline = apply(table_from_flat, plain_ring(fine, 0.8 * per_mm))
    inside = filled_in(whole.shape, fine)
    deep = shrunk_by(inside, 3.0 * per_mm)
    holes_px = gaps_in(deep & ~whole & known, per_mm)
    holes = tuple(
        apply(table_from_flat, plain_ring(followed(lab, known, ring, per_mm)[0], 0.5 * per_mm))
        for ring in holes_px
    )
    bare_cloth = deep & whole & known
    for ring in holes_px:
        bare_cloth &= ~grown_by(filled_in(whole.shape, ring), 4.0 * per_mm)
    flaws_px, printed = flaws_in(lab, bare_cloth, per_mm)
    flaws = tuple(apply(table_from_flat, ring) for ring in flaws_px)
    sides = straight_sides(outline)
    grain, grain_by = _grain(sides, grain_deg, grain_side, outline)
    colour = flat[bare_cloth].reshape(-1, 3).mean(axis=0) if bare_cloth.any() else np.zeros(3)
    notes = []
    if printed:
        notes.append(
            "The cloth is printed or woven in colours: stains cannot be told from the print. Look "
            "for flaws yourself and write them into the file."
        )
    rest = sum(1 for c in components(whole & ~inside) if c.sum() > (60 * per_mm) ** 2)
    if rest:
        notes.append(
            f"{rest} further piece{'s' if rest > 1 else ''} of cloth lie{'' if rest > 1 else 's'} "
            "there; only the largest is taken. Photograph each alone."
        )
    if len(view.cards) and (inside & ~known).any():
        notes.append("A card lies on the cloth: what it hides is taken for good cloth.")
    if doubt_px > 0.4 * REACH_MM * per_mm:
        notes.append(
            "Cloth and table are nearly of one colour: the edge is only roughly known. Lay it on "
            "something of quite another colour, or look at the picture with care."
        )
    span = np.concatenate([outline.min(axis=0), outline.max(axis=0)])
    size = view.reach_mm[2:] - view.reach_mm[:2]
    beyond = np.maximum(view.reach_mm[:2] - span[:2], span[2:] - view.reach_mm[2:]).max()
    if beyond > 0.3 * float(size.max()):
        notes.append(
            "The cloth reaches far past the cards or the light by which its size is known: lay "
            "cards round it for a truer outline."
        )
    doubt = math.hypot(doubt_px / per_mm, view.rms_px * mm_per_px(view, outline.mean(axis=0)))
    return ClothScan(
        outline,
        holes,
        flaws,
        sides,
        grain,
        grain_by,
        printed,
        (int(colour[0]), int(colour[1]), int(colour[2])),
        doubt,
        flat,
        flat_from_table,
        tuple(notes),
    )


def _grain(
    sides: Sequence[Array], deg: float | None, number: int | None, outline: Array
) -> tuple[float, str]:
    if deg is not None:
        return _half(math.radians(deg)), "given"
    if number is not None and not 1 <= number <= len(sides):
        raise InputError(
            Fault(
                "--grain-side",
                f"there is no straight side {number}; {len(sides)} were found.",
                "The picture beside the file numbers them; or give --grain in degrees.",
            )
        )
    if sides:
        start, end = sides[(number or 1) - 1]
        told = "longest side" if number is None else f"side {number}"
        return _half(math.atan2(end[1] - start[1], end[0] - start[0])), told
    gone = outline - outline.mean(axis=0)
    axis = np.linalg.svd(gone, full_matrices=False)[2][0]
    return _half(math.atan2(axis[1], axis[0])), "longest way"


def _half(angle: float) -> float:
    """The same line, told in (−90°, 90°]."""
    return math.pi / 2 - (math.pi / 2 - angle) % math.pi


def as_data(found: ClothScan, view: TableView) -> Mapping[str, Any]:
    """The numbers for programs."""
    span = np.ptp(found.outline, axis=0)
    return {
        "placed": view.placed,
        "by": view.by,
        "area_mm2": round(found.area_mm2, 1),
        "span_mm": [round(float(v), 2) for v in span],
        "holes": len(found.holes),
        "flaws": len(found.flaws),
        "printed": found.printed,
        "grain_deg": round(math.degrees(found.grain_rad), 3),
        "grain_by": found.grain_by,
        "doubt_mm": round(found.doubt_mm, 3),
        "colour": "#{:02x}{:02x}{:02x}".format(*found.colour),
    }
