"""The cloth that was seen on the table: in its own frame, in a docket, and in words.

Between `calibrate.cloth_scan`, which sees outlines on the table, and `drafting.cloth`, which pieces
are laid on. Cloth frame: mm, x along the length, its lowest corner at the origin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from configs.errors import InputError
from configs.files import FORMAT_VERSION, dump_yaml
from drafting.cloth import Cloth, kept_off

if TYPE_CHECKING:
    from calibrate.cloth_scan.scan import ClothScan
    from calibrate.cloth_scan.view import TableView
    from drafting import Docket

_SEEN = ("width", "length", "fold", "selvedge", "outline", "holes", "flaws")


@dataclass(frozen=True)
class Remnant:
    """A cloth as it was seen: its keys as in a docket, and where its frame lies on the table.

    ``turn_deg``: of its length from the table's right, counter-clockwise; ``at_mm``: its origin;
    ``notes``: what to tell of it.
    """

    data: dict[str, Any]
    turn_deg: float
    at_mm: tuple[float, float]
    notes: tuple[str, ...] = ()

    def cloth(self, before: Cloth | None = None, where: str = "the cloth found") -> Cloth:
        """As a cloth; what a photo cannot see (nap, repeat, price) is that of ``before``."""
        keep = before.to_dict() if before is not None else {}
        unseen = {k: v for k, v in keep.items() if k not in _SEEN}
        return Cloth.from_dict({**unseen, **self.data}, where=where)

    def text(self, cloth: Cloth) -> str:
        """The file of the cloth, YAML."""
        note = f"found on the table; length {self.turn_deg:.1f}° from the table's right"
        return dump_yaml({"chalkbeam": FORMAT_VERSION, **cloth.to_dict(), "note": note})

    def into(self, docket: Docket, *, placed: bool) -> Docket:
        """The docket with this cloth; lying where it was seen, where that is known (``placed``)."""
        table = dict(docket.table or {})
        if placed:
            at = [round(v, 4) for v in self.at_mm]
            lies = {"turn": round(self.turn_deg, 6), "at": at, "mirror": False}
            table["view"] = {**(table.get("view") or {}), **lies}
        return docket.replace(cloth=self.cloth(docket.cloth, f"{docket.path}: cloth"), table=table)


def remnant(found: ClothScan, keep_off_mm: float, name: str) -> Remnant:
    """The cloth in its own frame, its edges kept off by ``keep_off_mm``; ``name``: of the photo.

    Raises:
        InputError: nothing is left of it.
    """
    c, s = math.cos(found.grain_rad), math.sin(found.grain_rad)
    turned = np.array([[c, s], [-s, c]])
    low = (found.outline @ turned.T).min(axis=0)
    at = turned.T @ low

    def own(ring: Any) -> list[list[float]]:
        return [[round(float(x), 1), round(float(y), 1)] for x, y in ring @ turned.T - low]

    holes_seen = [own(h) for h in found.holes]
    try:
        outline, holes, lost = kept_off(own(found.outline), holes_seen, keep_off_mm)
        flaws = [kept_off(own(f), [], -keep_off_mm)[0] for f in found.flaws]
    except ValueError as error:
        what = f"nothing is left of the cloth inside {keep_off_mm:g} mm."
        raise InputError.of(name, what, "Keep off less.") from error
    data: dict[str, Any] = {"unit": "mm", "outline": outline}
    if holes:
        data["holes"] = holes
    if flaws:
        data["flaws"] = flaws
    told: tuple[str, ...] = ()
    if lost > 1.0:
        parts = "Keeping off the edge cuts the cloth in parts"
        told = (f"{parts}; {lost / 100:.0f} cm² of small ones are left out.",)
    return Remnant(data, math.degrees(found.grain_rad), (float(at[0]), float(at[1])), told)


def sentences(found: ClothScan, view: TableView, made: Remnant) -> list[str]:
    """What was seen, for a person."""
    span = np.ptp(np.array(made.data["outline"]), axis=0) / 10
    holes, flaws = len(found.holes), len(found.flaws)
    by = {
        "longest side": "its longest straight side",
        "longest way": "its longest way, no side being straight",
        "given": "the angle that you gave",
    }.get(found.grain_by, f"side {found.grain_by.split()[-1]} of the picture")
    seen = {
        "light": "the projected light",
        "taped cards": "the taped cards",
        "loose cards": "loose cards (its place on the table is not known)",
    }[view.by]
    return [
        f"Cloth of {span[0]:.1f} × {span[1]:.1f} cm (along × across), "
        f"{found.area_mm2 / 1e6:.2f} m², {_count(holes, 'hole')}, {_count(flaws, 'flaw')}; "
        f"measured by {seen}, edge true to about {max(0.5, 3 * found.doubt_mm):.1f} mm.",
        f"Its length is taken along {by}, {made.turn_deg:.1f}° from the table's "
        "right. If that is not the grain: --grain-side N, numbers in the picture.",
    ]


def _count(number: int, word: str) -> str:
    return f"no {word}" if number == 0 else f"{number} {word}{'s' if number > 1 else ''}"
