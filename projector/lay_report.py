"""What is told of a lay: what to buy, what is left over, what would help; as lines and as data."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from configs.units import format_length

if TYPE_CHECKING:
    from drafting.lay.advice import Choice
    from drafting.lay.model import Lay
    from projector.laying import Planned

_CROOKED_MM = 30.0  # what a crooked cut may cost (common practice, no source)
_WORTH_MM = 10.0  # less saved than this is not spoken of


def as_data(planned: Planned) -> dict[str, Any]:
    """For programs: the lay, and what was reckoned from it."""
    bought = planned.purchase
    return {
        **planned.lay.to_dict(),
        "interrupted": planned.lay.interrupted,
        "distance_mm": planned.distance_mm,
        "to_buy": None if bought is None else dataclasses.asdict(bought),
        "leftover": dataclasses.asdict(planned.leftover),
        "would_help": list(planned.would_help),
        "widths": [dataclasses.asdict(c) for c in planned.widths],
    }


def lines_of(planned: Planned, unit: str, notes: Sequence[str] = ()) -> list[str]:
    """For a person, in ``unit`` (cm or in); ``notes``: further ones than the lay's own."""
    made, purchase, rest = planned.lay, planned.purchase, planned.leftover
    lines: list[str] = []

    def say(mm: float) -> str:
        return format_length(mm, unit)

    if made.interrupted:
        lines.append("Stopped early; this is the best lay found.")
    if made.placements:
        lines.append(
            f"Length needed  {say(made.cloth_length_mm)}"
            f"   ({100 * made.efficiency:.1f} % of that cloth becomes pieces)"
        )
    if purchase is not None:
        margin = f", one repeat of {say(purchase.margin_mm)} included" if purchase.margin_mm else ""
        cost = (
            "" if purchase.cost is None else f"   {purchase.cost:.2f} {purchase.currency}".rstrip()
        )
        yards = f" ({_yards(purchase.length_mm)} yd)" if unit == "in" else ""
        lines.append(f"To buy         {say(purchase.length_mm)}{yards}{margin}{cost}")
        shrinks = made.cloth.shrinkage_length or made.cloth.shrinkage_width
        lines.append(
            "               Shrinkage is in it: the pieces are cut larger."
            if shrinks
            else "               No shrinkage was given: wash the cloth before, or add what it loses."
        )
        spare = purchase.length_mm - purchase.needed_mm - purchase.margin_mm
        if spare < _CROOKED_MM:
            more = "1/8 yd" if unit == "in" else "10 cm"
            lines.append(
                f"               Only {say(spare)} of it is spare: shops cut crooked now and then; "
                f"{more} more is safe."
            )
    x, y, length, width = rest.rectangle_mm
    both = ", in two layers" if rest.layers == 2 else ""
    lines.append(
        f"Left over      {rest.area_mm2 / 1e6:.2f} m²{both}; largest rectangle "
        f"{say(length)} x {say(width)}, from {say(x)} along and {say(y)} across"
    )
    lines += [f"Note           {note}" for note in (*made.notes, *planned.notes, *notes)]
    if made.left_out:
        lines.append(f"No room for    {', '.join(made.left_out)}")
        lines += [f"               {text}" for text in planned.would_help]
    lines += [f"Wrong          {text}" for text in planned.problems]
    if planned.widths and len({c.width_mm for c in planned.widths}) == 1:
        lines.append(f"Planned quickly: {_folding(planned.widths, made, say)}")
    return lines


def widths_of(planned: Planned, unit: str) -> list[list[str]]:
    """Rows width, folded, both selvedges to the middle, single: what is needed on the widths sold; empty when one was tried."""
    from drafting.lay.advice import COMPARED

    widths = sorted({c.width_mm for c in planned.widths})
    if len(widths) < 2:
        return []
    needed = {
        (c.width_mm, c.fold): "too narrow"
        if c.length_mm is None
        else format_length(c.length_mm, unit)
        for c in planned.widths
    }
    return [[format_length(w, unit), *(needed.get((w, f), "–") for f in COMPARED)] for w in widths]


def _folding(choices: Sequence[Choice], made: Lay, say: Callable[[float], str]) -> str:
    """The ways to fold it against each other, of cloth whose width is settled."""
    from drafting.folding import FOLD_WORDS

    words = {**FOLD_WORDS, "none": "as a single layer"}
    told = [
        f"{words[c.fold]} {'too narrow' if c.length_mm is None else say(c.length_mm)}"
        for c in choices
    ]
    text = f"{', '.join(told)}, opened out."
    found = [(c.length_mm, c.fold) for c in choices if c.length_mm is not None]
    if found and made.placements:
        length, fold = min(found)
        less = made.cloth_length_mm - length
        if less > _WORTH_MM and fold != made.cloth.fold:
            text += f" {words[fold].capitalize()} it needs {say(less)} less."
    return text


def _yards(mm: float) -> str:
    eighths = round(mm / (914.4 / 8.0))
    whole, part = divmod(eighths, 8)
    if not part:
        return str(whole)
    g = math.gcd(part, 8)
    return f"{whole} {part // g}/{8 // g}" if whole else f"{part // g}/{8 // g}"
