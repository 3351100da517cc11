"""In which system of lengths a docket's garment is told: one in one sitting, one on one sheet."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

from configs.units import INCH_UNITS, format_length, parse_length, said_in
from drafting.piece import Mark, Piece

if TYPE_CHECKING:
    from drafting.docket.model import Docket


def told_in(docket: Docket) -> str:
    """'in' for who works in inches, 'cm' for all others: by the docket's unit, else as cloth and body are.

    A body in inches on cloth that she wrote in metres is told in cm.
    """
    if docket.unit != "mm" or docket.measurements is None:
        return "in" if docket.unit in INCH_UNITS else "cm"
    metric = is_metric(docket.to_dict().get("cloth"))
    return "in" if docket.measurements.unit in INCH_UNITS and not metric else "cm"


def is_metric(cloth: object) -> bool:
    """Whether a docket's ``cloth``, as written, names a length in mm, cm or m."""
    return bool(re.search(r"\d *(mm|cm|m)\b", str(cloth or "")))


_INCHES = re.compile(r"(?:\d+ )?\d+(?:/\d+)? in\b")


def told_on(pieces: Mapping[str, Piece], unit: str) -> dict[str, Piece]:
    """The pieces, the lengths that stand on them (a slit's, a zip's) in one system: ``unit`` cm or in."""

    def told(words: str) -> str:
        if unit in INCH_UNITS:
            return said_in(words, unit)
        return _INCHES.sub(lambda m: format_length(parse_length(m[0]), unit), words)

    out = {}
    for name, piece in pieces.items():
        sizes = {m.name for m in piece.marks}  # no other line of a label is a length
        label = tuple(told(line) if line in sizes else line for line in piece.label)
        marks = tuple(Mark(told(m.name), m.points, m.closed) for m in piece.marks)
        same = label == piece.label and [m.name for m in marks] == [m.name for m in piece.marks]
        out[name] = piece if same else piece.with_(label=label, marks=marks)
    return out
