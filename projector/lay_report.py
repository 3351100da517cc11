"""What is told of a lay: what to buy, what is left over, what would help; as lines and as data."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from configs.errors import once
from configs.units import format_length, inches_text, said_in

if TYPE_CHECKING:
    from drafting.cloth import Cloth
    from drafting.lay.order import Stop
    from projector.laying import Planned

CROOKED_MM = 30.0  # what a crooked cut may cost (common practice, no source)
_WORTH_MM = 10.0  # less saved than this is not spoken of


def as_data(planned: Planned, unit: str = "cm") -> dict[str, Any]:
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
        "fold": planned.lay.cloth.folding.words,
        "tried": [dataclasses.asdict(t) for t in planned.tried],
        "spare": spare_words(planned, unit),
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
    lines += _tried(planned, unit)
    if purchase is not None:
        lines.append(f"To buy         {to_buy_words(planned, unit)}")
        shrinks = made.cloth.shrinkage_length or made.cloth.shrinkage_width
        lines.append(
            "               Shrinkage is in it: the pieces are cut larger."
            if shrinks
            else "               No shrinkage was given: wash the cloth before, or add what it loses."
        )
        if words := spare_words(planned, unit):
            lines.append(f"               {words}")
    x, y, length, width = rest.rectangle_mm
    both = ", in two layers" if rest.layers == 2 else ""
    lines.append(
        f"Left over      {_area(rest.area_mm2, unit)}{both}; largest rectangle "
        f"{say(length)} x {say(width)}, from {say(x)} along and {say(y)} across"
    )
    lines += [f"Note           {note}" for note in once((*made.notes, *planned.notes, *notes))]
    if made.left_out:
        lines.append(f"No room for    {', '.join(made.left_out)}")
        lines += [f"               {text}" for text in planned.would_help]
    lines += [f"Wrong          {text}" for text in planned.problems]
    return [said_in(line, unit) for line in lines + _folding(planned, unit)]


COLUMNS = {
    "lengthwise": "folded",
    "double": "selvedges to the middle",
    "crosswise": "across",
    "partial": "one selvedge over",
    "refold": "folded, rest opened out",
    "none": "single",
}


def _area(mm2: float, unit: str) -> str:
    return f"{mm2 / 914.4**2:.2f} yd²" if unit == "in" else f"{mm2 / 1e6:.2f} m²"


def widths_of(planned: Planned, unit: str) -> tuple[list[str], list[list[str]]]:
    """Columns and rows: what is needed on the widths sold, way by way; no rows when one was tried."""
    widths = sorted({c.width_mm for c in planned.widths})
    there = [f for f in COLUMNS if any(c.fold == f for c in planned.widths)]
    head = ["width", *(COLUMNS[f] for f in there)]
    if len(widths) < 2:
        return head, []
    needed = {(c.width_mm, c.fold): _needed(c.length_mm, unit) for c in planned.widths}
    rows = [[format_length(w, unit), *(needed.get((w, f), "–") for f in there)] for w in widths]
    return head, rows


def _needed(length_mm: float | None, unit: str) -> str:
    return "no room" if length_mm is None else format_length(length_mm, unit)


def _folding(planned: Planned, unit: str) -> list[str]:
    """The ways to fold it against each other, of cloth whose width is settled, the best one first."""
    ways = [(c.length_mm, c.words, c.fold) for c in planned.widths]
    if planned.tried or len({c.width_mm for c in planned.widths}) != 1:
        return []
    ways.sort(key=lambda w: math.inf if w[0] is None else w[0])
    text = ", ".join(f"{words} {_needed(length, unit)}" for length, words, _ in ways)
    lines = [f"Planned quickly {text}, opened out."]
    made, (length, words, fold) = planned.lay, ways[0]
    if length is not None and made.placements and fold != made.cloth.fold:
        less = made.cloth_length_mm - length
        if less > _WORTH_MM:
            how = f"{words[0].upper()}{words[1:]}"
            lines.append(
                f"               {how} it needs {format_length(less, unit)} less; 'fold: best' under "
                "'cloth' chooses by itself."
            )
    return lines


def _tried(planned: Planned, unit: str) -> list[str]:
    """What every way to fold it takes, where the docket left that open."""
    if not planned.tried:
        return []
    told = [f"{t.words} {_needed(t.length_mm, unit)}" for t in planned.tried]
    return [
        f"Folded         {planned.lay.cloth.folding.words}",
        f"               ({', '.join(told)})",
    ]


def to_buy_words(planned: Planned, unit: str) -> str:
    """What to buy, in ``unit`` and as the shop sells it, and its price; "" for cloth that she has.

    The same words stand in the terminal and in the picture.
    """
    bought = planned.purchase
    if bought is None:
        return ""
    repeat = format_length(bought.margin_mm, unit)
    margin = f", one repeat of {repeat} included" if bought.margin_mm else ""
    cost = "" if bought.cost is None else f"   {bought.cost:.2f} {bought.currency}".rstrip()
    yards = f" ({_yards(bought.length_mm)} yd)" if unit == "in" else ""
    price = _price(planned.lay.cloth, unit)
    return f"{format_length(bought.length_mm, unit)}{yards}{margin}{cost}{price}"


def spare_words(planned: Planned, unit: str) -> str:
    """That little of what is bought is spare; "" when there is enough."""
    bought = planned.purchase
    if bought is None:
        return ""
    spare = bought.length_mm - bought.needed_mm - bought.margin_mm
    if spare >= CROOKED_MM:
        return ""
    more = "1/8 yd" if unit == "in" else "10 cm"
    return (
        f"Only {format_length(spare, unit)} of it is spare: shops cut crooked now and then; "
        f"{more} more is safe."
    )


def stop_lines(walk: Sequence[Stop], unit: str) -> list[str]:
    """In which order to cut under a beam, with what is cut where."""
    plural = "place" if len(walk) == 1 else "places"
    lines = [f"To cut         in {len(walk)} {plural} of the cloth:"]
    for n, stop in enumerate(walk, 1):
        x0, y0, x1, y1 = (format_length(v, unit) for v in stop.rect)
        parts = f" ({', '.join(stop.longer)} in parts)" if stop.longer else ""
        lines.append(
            f"               {n}  {x0} to {x1} along, {y0} to {y1} across: {', '.join(stop.keys)}{parts}"
        )
    return lines


def _price(cloth: Cloth, unit: str) -> str:
    """The price per metre, or per yard for who buys by the yard; "" where none is told."""
    if cloth.price is None:
        return ""
    each = cloth.price * (0.9144 if unit == "in" else 1.0)
    return f" at {each:.2f} {cloth.currency}".rstrip() + (" per yd" if unit == "in" else " per m")


def _yards(mm: float) -> str:
    return inches_text(mm / 914.4, 8)  # yards are told as inches are
