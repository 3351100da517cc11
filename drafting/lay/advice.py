"""What a lay means for the purse: what to buy, what is left over, what would make it fit.

Read by the `lay` command after planning; nothing here changes a plan.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import LayError
from drafting.cloth import Cloth
from drafting.folding import FOLD_WORDS
from drafting.lay.cuts import named
from drafting.lay.first import touched_cells
from drafting.lay.folds import plan_way, small_halves, ways
from drafting.lay.model import Lay
from drafting.lay.planner import Effort, plan
from drafting.lay.rules import Rules
from drafting.lay.shapes import cleaned, convex_parts, counter_clockwise, sums
from drafting.piece import Piece

# widths as sold: in inches (36, 45, 54, 60 among those of reference.com), metric names common practice
WIDTHS_MM = {
    "cm": (900.0, 1150.0, 1400.0, 1500.0),
    "yd": (914.4, 1143.0, 1371.6, 1524.0),
}
COMPARED = ("lengthwise", "double", "none")  # ways to fold it that are tried for what finds no room
_STEP_MM = {"cm": 100.0, "yd": 914.4 / 8.0}  # shops cut by 10 cm or 1/8 yd (common practice)
_CELL_MM = 5.0
_WORTH_MM = 10.0  # less saved than this is not spoken of


@dataclass(frozen=True)
class Purchase:
    """What to buy. ``length_mm`` as cut in the shop; ``margin_mm`` of it is for the repeat."""

    needed_mm: float
    margin_mm: float
    length_mm: float
    cost: float | None
    currency: str


def to_buy(lay: Lay, unit: str = "cm") -> Purchase:
    """What to buy for a lay, rounded up to 10 cm (``unit`` "cm") or 1/8 yd ("yd").

    Pieces were enlarged for the shrinkage before they were laid, so the length needed holds that
    margin already. A repeat adds one repeat, since the cloth may start anywhere in it (common
    practice, no source).
    """
    needed = lay.cloth_length_mm
    margin = lay.cloth.repeat_length_mm
    step = _STEP_MM[unit]
    length = math.ceil((needed + margin) / step - 1e-6) * step
    cost = None if lay.cloth.price is None else lay.cloth.price * length / 1000.0
    return Purchase(needed, margin, length, cost, lay.cloth.currency)


@dataclass(frozen=True)
class Leftover:
    """What stays of the cloth as it lies: area mm² (one layer) and its largest rectangle.

    ``rectangle_mm``: (x, y, length, width) in the cloth frame, along the cloth's directions;
    ``layers`` of it lie on one another.
    """

    area_mm2: float
    rectangle_mm: tuple[float, float, float, float]
    layers: int


def leftover(lay: Lay, end_mm: float | None = None) -> Leftover:
    """What is left of the cloth up to x = ``end_mm`` (its own end, or the length used off the bolt).

    The rectangle is found on a 5 mm raster that counts every touched cell as cut, so it is
    really there; the area is exact.
    """
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    from drafting.lay.region import usable_region

    cloth = lay.cloth
    start, stop = cloth.x_range_mm
    if end_mm is not None:
        stop = min(stop, end_mm)
    if not math.isfinite(stop):
        stop = start + lay.used_length_mm
    low, high = cloth.y_range_mm
    region = usable_region(cloth, stop, flaws=True)
    taken = [Polygon(p.outline_mm) for p in lay.placements]
    rest = region.difference(unary_union(taken)) if taken else region
    cell = max(_CELL_MM, (stop - start) / 2000.0)
    rings = [p.outline_mm for p in lay.placements]
    rings += [np.array(r) for r in (*cloth.holes, *cloth.flaws)]
    if cloth.outline is not None:
        from shapely.geometry import box

        from drafting.lay.shapes import pieces_without_holes

        rings += pieces_without_holes(
            box(start - 1, low - 1, stop + 1, high + 1).difference(Polygon(cloth.outline))
        )
    parts = [sums(convex_parts(cleaned(counter_clockwise(ring), 1e-3))) for ring in rings]
    best = (0.0, (start, low, 0.0, 0.0), cloth.layers)
    for zone in cloth.zones:
        x0, x1, (y0, y1) = zone.x[0], min(zone.x[1], stop), zone.y
        columns = math.floor((x1 - x0) / cell + 1e-9)
        rows = math.floor((y1 - y0) / cell + 1e-9)
        if columns < 1 or rows < 1:
            continue
        busy = np.zeros((rows, columns), dtype=bool)
        for each in parts:
            busy |= touched_cells(each - (x0, y0), (cell, cell), (rows, columns))
        r, c, h, w = _largest_rectangle(~busy)
        place = (x0 + c * cell, y0 + r * cell, w * cell, h * cell)
        best = max(best, (h * w * cell * cell * zone.layers, place, zone.layers))
    return Leftover(float(rest.area), best[1], best[2])


def _largest_rectangle(free: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """(row, column, rows, columns) of the largest all-true rectangle (stack over histograms)."""
    best = (0, 0, 0, 0)
    area = 0
    heights = np.zeros(free.shape[1], dtype=np.int64)
    for r in range(free.shape[0]):
        heights = np.where(free[r], heights + 1, 0)
        stack: list[tuple[int, int]] = []
        for c, height in enumerate([*heights.tolist(), 0]):
            left = c
            while stack and stack[-1][1] >= height:
                left, tall = stack.pop()
                if tall * (c - left) > area:
                    area = tall * (c - left)
                    best = (r - tall + 1, left, tall, c - left)
            stack.append((left, height))
    return best


@dataclass(frozen=True)
class Choice:
    """One cloth that could be bought: its width, way to fold, length needed and efficiency.

    ``fold``: a `Way`'s kind; ``words``: the same in words.
    """

    width_mm: float
    fold: str
    length_mm: float | None
    efficiency: float
    words: str = ""


def compare_widths(
    pieces: Mapping[str, Piece],
    cloth: Cloth,
    *,
    seconds: float = 1.0,
    widths_mm: tuple[float, ...] = WIDTHS_MM["cm"],
    rules: Rules | None = None,
) -> list[Choice]:
    """The same pieces on the widths sold, folded in every way that they allow, ``seconds`` each width.

    Of ways that differ by a length alone the best one. A length of None: something does not fit
    across. Quick plans: compare them with each other, not with a longer one.
    """
    given, rules = named(pieces), rules or Rules()
    out = []
    sold = any(abs(w - cloth.width_mm) < 1.0 for w in widths_mm)  # 54 in are in the table once
    own = () if sold or cloth.outline is not None else (cloth.width_mm,)
    for width in sorted({*widths_mm, *own}):
        if width <= 2.0 * cloth.selvedge_mm:
            continue
        other = dataclasses.replace(
            cloth, width_mm=width, length_mm=None, outline=None, holes=(), flaws=(), best=False
        )
        every = ways(given, other, rules)
        best: dict[str, Choice] = {}
        for way in every:
            try:
                lay = plan_way(
                    given, way, seconds / len(every), rules=rules, effort=Effort(workers=0)
                )
            except LayError:
                continue
            length = None if lay.left_out else lay.cloth_length_mm
            made = Choice(width, way.kind, length, lay.efficiency, way.words)
            known = best.get(way.kind)
            if known is None or (length or math.inf) < (known.length_mm or math.inf):
                best[way.kind] = made
        out += list(best.values())
    return out


@dataclass(frozen=True)
class Opening:
    """Small pieces on the fold that save cloth when they are laid whole: which, and how much, mm."""

    pieces: tuple[str, ...]
    saved_mm: float


def worth_opening(
    pieces: Mapping[str, Piece],
    cloth: Cloth,
    lay: Lay,
    *,
    seconds: float = 1.0,
    rules: Rules | None = None,
) -> Opening | None:
    """Whether facings and the like had better leave the fold to the large pieces; tried, not guessed.

    Laid whole they go into gaps of either layer. None when that saves less than 10 mm.
    """
    if lay.job is None or lay.left_out:
        return None
    small = small_halves(named(pieces), cloth, rules or Rules())
    if not small or any(p.locked and p.piece in small for p in lay.placements):
        return None
    other = dataclasses.replace(cloth, opened=(*cloth.opened, *small))
    locked = [p for p in lay.placements if p.locked]
    try:
        made = plan(pieces, other, seconds, locked, rules=rules, effort=Effort(workers=0))
    except LayError:
        return None
    saved = lay.cloth_length_mm - made.cloth_length_mm
    return Opening(small, saved) if not made.left_out and saved >= _WORTH_MM else None


def what_would_help(
    pieces: Mapping[str, Piece],
    cloth: Cloth,
    lay: Lay,
    *,
    seconds: float = 1.0,
    rules: Rules | None = None,
) -> list[str]:
    """What would make pieces fit that were left out, each tried before it is said."""
    if not lay.left_out:
        return []
    said = []
    names = sorted({key.rsplit("/", 1)[0] for key in lay.left_out})

    rules = rules or Rules()

    def fits(other: Cloth, other_rules: Rules = rules) -> Lay | None:
        try:
            made = plan(pieces, other, seconds, rules=other_rules, effort=Effort(workers=0))
        except LayError:
            return None
        return None if made.left_out else made

    too_wide = _too_wide(lay, names)
    for name, across, room in too_wide:
        said.append(
            f"{name} is {across:.0f} mm across, {across - room:.0f} mm more than the cloth lies wide: "
            "piece it with a seam along the grain, or take wider cloth."
        )
    if cloth.outline is None:
        bolt = fits(dataclasses.replace(cloth, length_mm=None))
        if bolt is not None and cloth.length_mm is not None:
            short = bolt.cloth_length_mm - cloth.length_mm
            if short > 0:
                said.append(
                    f"About {math.ceil(short / 10.0) * 10} mm of length are missing: "
                    f"{math.ceil(bolt.cloth_length_mm / 10.0) * 10} mm would do."
                )
    apart, smaller = rules.distance_mm, _scaled(rules.allowances, 0.6)
    tried = [(cloth.nap == "one-way", dataclasses.replace(cloth, nap="two-way"), rules,
              "Laid two-way (pieces turned by 180°) it fits, if the nap allows that after all.")]  # fmt: skip
    for fold in COMPARED if cloth.outline is None else ():
        words = "Opened out to a single layer" if fold == "none" else FOLD_WORDS[fold]
        folded = dataclasses.replace(cloth, fold=fold)
        other = fold != cloth.fold and cloth.folded
        tried.append((other, folded, rules, f"{words[0].upper()}{words[1:]} it fits."))
    nearer, less = (
        dataclasses.replace(rules, **c) for c in ({"distance_mm": 1.0}, {"allowances": smaller})
    )
    what = f"With 1 mm between cutting lines instead of {apart:g} mm it fits."
    tried.append((apart > 1.0, cloth, nearer, what))
    tried.append((bool(smaller), cloth, less, "With allowances of six tenths it fits."))
    said += [text for may, on, by, text in tried if may and fits(on, by)]
    if not said:
        said.append(
            f"No small change was found that makes room for {', '.join(names)}: piece them with a "
            "seam, cut facings or pockets from another cloth, or take more cloth."
        )
    return said


def _too_wide(lay: Lay, names: list[str]) -> list[tuple[str, float, float]]:
    """Pieces too wide for the cloth, how wide they are at least, and how much room there is, mm."""
    if lay.job is None:
        return []
    room, out = lay.job.cloth.room_mm, []
    for name in names:
        stances = [s for k in lay.job.kinds if k.piece == name for s in k.stances]
        across = min((float((s.high - s.low)[1]) for s in stances), default=0.0)
        if across > room + 1e-6:
            out.append((name, across, room))
    return out


def _scaled(allowances: Mapping[str, Any] | None, factor: float) -> dict[str, Any]:
    return {
        k: _scaled(v, factor) if isinstance(v, Mapping) else factor * float(v)
        for k, v in (allowances or {}).items()
    }
