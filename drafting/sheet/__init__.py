"""The drawing sheet: amounts that know their sum, points, lines and steps, and their record."""

from drafting.allowance import plain
from drafting.sheet.amount import Amount, Choice, Sources, found, least, most, number, sources_of
from drafting.sheet.board import Sheet, edges_of, ring_pairs
from drafting.sheet.record import Deed, Recorded, Spot, Step, read_steps

__all__ = [
    "Amount",
    "Choice",
    "Deed",
    "Recorded",
    "Sheet",
    "Sources",
    "Spot",
    "Step",
    "edges_of",
    "found",
    "least",
    "most",
    "number",
    "plain",
    "read_steps",
    "ring_pairs",
    "sources_of",
]
