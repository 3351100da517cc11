"""Armholes as a sleeve meets them: each half measured on the pieces, however many they are now.

Between what was drafted before, after its changes, and a sleeve. From the underarm upward: the
sewn length of front and back, the notch that the sleeve's is matched with, and how much longer the
shoulder is than was measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from configs.errors import DraftError
from drafting.fit import BACK, FRONT, LEFT, RIGHT
from drafting.piece import Notch
from drafting.sheet.amount import Amount, found
from drafting.sheet.board import Sheet
from drafting.sheet.onto import EdgeRun
from drafting.truing import Spot

NOTCH_SHARE = 1 / 3  # of the half's length above the underarm, where the pieces have no notch
SAME_MM = 0.5  # armholes that differ by less get one sleeve


@dataclass(frozen=True)
class Half:
    """Half an armhole: its edges from the underarm up, its length, and the notch: how far above the
    underarm, mm, how many, and the word that it is matched by."""

    spots: tuple[Spot, ...]
    length: Amount
    notch_mm: float
    count: int
    match: str


@dataclass(frozen=True)
class Armhole:
    """An armhole of the wearer's ``side``, '' for both; ``grown``: by how much its shoulder is longer
    than measured, mm, the mean of front and back."""

    side: str
    front: Half
    back: Half
    grown: Amount


def armholes(s: Sheet) -> tuple[Armhole, ...]:
    """The armholes to set sleeves in: one that stands for both, or the left and the right.

    Raises:
        DraftError: there is none, or one has no front or no back.
    """
    grown_on = str(s.garment.style.get("sleeve", "none"))
    what = f"the garment has a grown-on sleeve already ('sleeve: {grown_on}')."
    s.refuse(grown_on != "none", "block", what, "Write 'sleeve: none' in its style for an armhole, or leave the set-in sleeve out.")  # fmt: skip
    runs = s.fits("armhole", "Leave that out; a quick top's is 'armhole_finish: none'.")
    s.stop()
    sides = [side for side in (LEFT, RIGHT) if any(r.side == side for r in runs)] or [""]
    return tuple(_armhole(s, [r for r in runs if r.side in (side, "")], side) for side in sides)


def alike(holes: Sequence[Armhole]) -> bool:
    """Whether one sleeve, cut as a pair, fits them all."""
    first = holes[0]
    return all(
        abs(a.length - b.length) < SAME_MM and abs(a.notch_mm - b.notch_mm) < SAME_MM
        for hole in holes[1:]
        for a, b in ((first.front, hole.front), (first.back, hole.back))
    )


def _armhole(s: Sheet, runs: Sequence[EdgeRun], side: str) -> Armhole:
    front, back = (
        _half(s, [r for r in runs if r.half == half], half, side) for half in (FRONT, BACK)
    )
    measured = s.m.get("shoulder_length")
    grown = found(0.0, "the shoulder grew by")
    if measured is not None:
        drawn = [r.length_mm for r in s.garment.edge_runs("shoulder") if r.side in (side, "")]
        longer = sum(drawn) / 2.0 - float(measured) if drawn else 0.0
        grown = found(longer, "the shoulder grew by", measured, front.length, back.length)
    return Armhole(side, front, back, grown)


def _half(s: Sheet, runs: Sequence[EdgeRun], half: str, side: str) -> Half:
    if not runs:
        what = f"has no {half} half; a sleeve needs both."
        raise DraftError.of(f"{side} armhole".strip(), what, "Look at what cut it.")
    onto = s.garment
    # the part that meets the side seam lies at the underarm, whatever way its piece was turned
    runs = sorted(
        runs,
        key=lambda r: ("side" not in onto.next_to(r.piece, r.edge), float(r.points[:, 1].mean())),
    )
    long_ = sum(r.length_mm for r in runs)
    usual = NOTCH_SHARE * long_
    up, notch, place = 0.0, None, None
    for r in runs:
        rises = bool(r.points[0, 1] < r.points[-1, 1])
        edge = onto.pieces[r.piece].edges[r.edge]
        for n in onto.pieces[r.piece].notches:
            if n.edge == r.edge and n.match.endswith("armhole") and notch is None:
                at = n.at_mm if rises else edge.length_mm - n.at_mm
                notch = (up + at, n.count, n.match)
        if up <= usual <= up + r.length_mm and place is None:
            at = usual - up
            place = (r.piece, r.edge, at if rises else edge.length_mm - at)
        up += r.length_mm
    if notch is None and place is not None:
        notch = (usual, 1 if half == FRONT else 2, f"{half} armhole")
        s.notch_onto(place[0], Notch(place[1], place[2], notch[1], notch[2]))
    where = f"{side} {half} armhole".strip()
    spots = tuple((r.piece, r.edge) for r in runs)
    of = [onto.sources(*spot) for spot in spots]
    return Half(spots, found(up, where, *of), *(notch or (usual, 1, where)))
