"""A skirt sewn to the waist of a bodice: whose waist it is drafted to, what must lie in line, where it opens.

The finished waist is measured on the bodice's pieces after its changes, darts closed, front and back
apart, so that the side seams meet; a dart of the skirt stands where a dart or a seam of the bodice
ends. Common practice, no source, unless a line says otherwise. Frame: piece mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from drafting.allowance import plain
from drafting.curves import Points
from drafting.fit import BACK, FRONT, LEFT, RIGHT
from drafting.piece import Notch, Piece
from drafting.sheet.amount import Amount, Choice, found
from drafting.sheet.board import STYLE, Body, Sheet, ring_pairs
from drafting.sheet.making import Task
from drafting.sheet.onto import EdgeRun, Onto
from drafting.sheet.passing import BODY_EASE_MM
from drafting.sheet.pieces import half_piece
from drafting.truing import GIRTH_MM, Check, Seam, dart_places, place_sewn, sewn_length
from drafting.truing import Spot as EdgeAt

SEWN_ON = {"waist_finish": "none"}  # the style of a skirt that is sewn to a bodice
IN_LINE_MM = 2.0
PLEATED = "pleated in"
YOKE_SEAM = "yoke seam"
# a side opening above the waist; what stays shut below the arm
SIDE_ZIP_MM, UNDERARM_MM = 150.0, 30.0
_CENTRES = {"fold", "centre back", "centre front"}


@dataclass(frozen=True)
class WaistHalf:
    """The waist of the bodice's front or back: its ``runs`` from the centre to the side, half its
    finished ``length``, and the ``cuts``: how far from the centre its darts and seams end, mm, closed."""

    runs: tuple[EdgeRun, ...]
    length: Amount
    cuts: tuple[float, ...]


@dataclass(frozen=True)
class Joint:
    """The waist that a skirt is sewn to, by half; ``opens``: 'back' at its centre, or 'side'; ``above``:
    how far the opening reaches above the waist, mm; ``word``: what is above it; ``ring``: what the hip needs to pass."""

    halves: Mapping[str, WaistHalf]
    opens: str
    above: float
    word: str = "bodice"
    ring: float = 0.0

    @property
    def waist(self) -> Amount:
        """The finished waist, all round."""
        both = self.halves[FRONT].length + self.halves[BACK].length
        return (2 * both).named(f"the {self.word}'s waist")

    @property
    def at_back(self) -> bool:
        """Whether it opens at the centre back."""
        return self.opens == BACK

    @property
    def zips(self) -> dict[str, dict[str, bool]]:
        """Where the zip goes in a front and a back: piece → edge → it runs down."""
        return {BACK: {"centre back": True}} if self.at_back else {h: {"side": False} for h in (FRONT, BACK)}  # fmt: skip

    @property
    def where(self) -> str:
        """The seam that it opens in."""
        return "centre back" if self.at_back else "left side seam"


def joint_of(s: Sheet) -> Joint | None:
    """The waist that this skirt is sewn to; None of a skirt drafted alone.

    Raises:
        DraftError: there is none, it is sewn to something, or opens where no skirt does.
    """
    if s.onto is None:
        return None
    onto = s.onto
    kind, word = "waist", "bodice"
    if onto.edge_runs(YOKE_SEAM):
        kind, word = YOKE_SEAM, "yoke"
        s.m = Body(s.measurements, float(onto.style.get("yoke_depth") or 0.0))
    elif onto.style.get("length") == "waist" and not onto.edge_runs("waist"):
        kind = "hem"
    runs = s.fits(kind, without=("sleeve", "casing"))
    finish = s.style.get("waist_finish", "none")
    s.fault(finish != "none", "style.waist_finish", f"'{finish}' has no place at the waist of a dress.", "Leave it out.")  # fmt: skip
    wrong = [f"fit[{i}]" for i, c in enumerate(s.fit, 1) if c.change == "waist"]
    what = "'waist': the waist is the bodice's."
    s.fault(bool(wrong), "".join(wrong[:1]), what, "Change the bodice's.")
    s.stop()
    halves = {h: _half(onto, [r for r in runs if r.half == h], word) for h in (FRONT, BACK)}
    for h, half in halves.items():
        s.fault(not half.runs, "block", f"the waist has no {h}.", "Look at what cut it.")
    s.stop()
    opens, above = _opening(onto, halves)
    s.fault(opens == FRONT, "block", "the bodice opens at the centre front, and no skirt here does.", "Write 'opening: back' in its style.")  # fmt: skip
    if "centre_back" in s.style:
        apart = opens == BACK and s.style["centre_back"] == "fold"
        s.fault(apart, "style.centre_back", "'fold' has no opening below that of the bodice.", "Leave it out.")  # fmt: skip
        s.style["centre_back"] = Choice("seam" if opens == BACK else "fold", STYLE + "centre_back")
    s.stop()
    return Joint(halves, opens, above, word)


def around(piece: Piece) -> int:
    """How often an edge of a piece lies in a ring round the body."""
    return 2 if piece.fold is not None or piece.pair else piece.cut


def _half(onto: Onto, runs: Sequence[EdgeRun], word: str) -> WaistHalf:
    def place(r: EdgeRun) -> tuple[int, float]:
        beside = set(onto.next_to(r.piece, r.edge))
        at = 0 if beside & _CENTRES else 2 if any(b.endswith("side") for b in beside) else 1
        return at, float(abs(r.points[:, 0]).mean())

    right = sorted((r for r in runs if r.side != LEFT), key=place)
    left = [r for r in runs if r.side == LEFT]
    length = sum(r.length_mm * around(onto.pieces[r.piece]) for r in runs) / 2.0
    cuts, start = [], 0.0
    for r in right or left:
        piece = onto.pieces[r.piece]
        whole = around(piece) == 1 and not r.side  # the centre lies in its middle
        for at in dart_places(piece, r.edge):
            from_end = at if runs_out(piece, r.edge) else r.length_mm - at
            cuts.append(abs(from_end - r.length_mm / 2) if whole else start + from_end)
        start += r.length_mm
        cuts.append(start)
    inner = sorted({round(c, 6) for c in cuts if 1.0 < c < length - 1.0})
    of = [onto.sources(r.piece, r.edge) for r in runs]
    return WaistHalf((*right, *left), found(length, f"the {word}'s waist", *of), tuple(inner))


def runs_out(piece: Piece, edge: str) -> bool:
    """Whether a waist edge runs from the centre to the side."""
    before, after = map(plain, piece.beside(edge))
    if before in _CENTRES or after == "side":
        return True
    if after in _CENTRES or before == "side":
        return False
    x = piece.edges[edge].points[:, 0]
    return bool(abs(x[0]) < abs(x[-1]))


def _opening(onto: Onto, halves: Mapping[str, WaistHalf]) -> tuple[str, float]:
    """Where the bodice opens, and how far above the waist."""
    for h in (BACK, FRONT):
        for r in halves[h].runs:
            piece = onto.pieces[r.piece]
            if f"centre {h}" in onto.next_to(r.piece, r.edge):
                return h, piece.edges[f"centre {h}"].length_mm
    sides = [onto.pieces[p].edges[e].length_mm for p, e, _ in _sides(onto, halves)]
    return "side", max(min([SIDE_ZIP_MM, *(x - UNDERARM_MM for x in sides)]), 0.0)


def _sides(onto: Onto, halves: Mapping[str, WaistHalf]) -> list[tuple[str, str, bool]]:
    """The bodice's side edges that take the opening: piece, edge, and that it runs up from the waist."""
    return [
        (r.piece, e, up)
        for half in halves.values()
        for r in half.runs
        for e, up in zip(onto.pieces[r.piece].beside(r.edge), (False, True), strict=True)
        if plain(e) == "side" and not e.startswith(RIGHT)
    ]


def places(joint: Joint, half: str, count: int) -> tuple[float, ...]:
    """Where a skirt's ``count`` darts in a half stand, from the centre, mm, closed: under the bodice's
    darts and seams; one more midway from there to the side. Empty where the bodice has none."""
    cuts, whole = joint.halves[half].cuts, float(joint.halves[half].length)
    if not cuts or not count:
        return ()
    if count == 1:
        return (min(cuts, key=lambda c: abs(c - 0.5 * whole)),)
    first = cuts[:count]
    while len(first) < count:
        first = (*first, 0.5 * (first[-1] + whole))
    return first


def in_halves(
    s: Sheet, joint: Joint, shapes: Mapping[str, Mapping[str, Points]], whole: Mapping[str, bool], of: Any
) -> None:  # fmt: skip
    """Front and back of a skirt without darts: half → edge → points, from the 'fold' round; ``whole``: half →
    its centre is a fold, else a seam, as it is where the bodice opens."""
    for half, points in shapes.items():
        fold = whole[half] and not (half == BACK and joint.at_back)
        lines = {(f"centre {half}" if n == "fold" and not fold else n): p for n, p in points.items()}  # fmt: skip
        ys, x = np.concatenate(list(points.values()))[:, 1], 0.25 * float(points["waist"][0, 0])
        made = half_piece(
            half, lines, s.measurements, grain=((x, float(ys.min()) + 60.0), (x, -60.0)),
            notches=(Notch("waist", 0.0, 1, "side"),),
        )  # fmt: skip
        s.add(made, all=of)
        s.square(half, [frozenset(p) for p in ring_pairs(made)])
    s.sew("side", (FRONT, "side"), (BACK, "side"))


def sew_on(
    s: Sheet, joint: Joint, own: Mapping[str, Sequence[EdgeAt]], longer: Mapping[str, float] | None = None,
    how: str = "gathered in",
) -> None:  # fmt: skip
    """The waist seam, half by half, with notches on both; and whether the body passes the opening.

    ``own``: half → the skirt's waist edges from its centre to the side, that is half of a half;
    ``longer``: by how much these are meant to be longer than the bodice's, mm, and ``how`` that is
    taken in: gathered, stretched, pleated (a pleat's folds keep the places of the darts to themselves).
    """
    pieces = s.garment.pieces
    for h, spots in own.items():
        half, ease = joint.halves[h], (longer or {}).get(h, 0.0)
        theirs = tuple((r.piece, r.edge) for r in half.runs for _ in range(around(pieces[r.piece])))
        if len(half.runs) == len(spots) == 1 and len(theirs) == 2:
            s.joins.append((Seam(f"{h} waist", tuple(spots), theirs[:1], ease, how), True))
        else:
            s.joins.append((Seam(f"{h} waist", (*spots, *spots), theirs, 2.0 * ease, how), False))
        if how != PLEATED:
            _notch(s, half, h, spots)
    _pass(s, joint)


def _notch(s: Sheet, half: WaistHalf, name: str, spots: Sequence[EdgeAt]) -> None:
    """What ends at the waist of one has a notch or a dart on the other, but for the centre and the sides."""
    whole = sum(sewn_length(s.pieces[p], e) for p, e in spots)
    scale, start = whole / float(half.length), 0.0
    own = []
    for p, e in spots:
        piece, long_ = s.pieces[p], sewn_length(s.pieces[p], e)
        forward = runs_out(piece, e)
        ends = [at if forward else long_ - at for at in dart_places(piece, e)]
        own += [(start + at) / scale for at in (*ends, long_)]
        single = piece.pair or piece.fold is not None  # a gore is several places at once
        for cut in half.cuts if single else ():
            at = cut * scale - start
            if 1.0 < at < long_ - 1.0 and not any(abs(at - x) < IN_LINE_MM for x in ends):
                at = place_sewn(piece, e, at if forward else long_ - at)
                piece = piece.plus(notches=[Notch(e, at, 1, f"{name} waist")])
        s.pieces[p] = piece
        start += long_
    for at in own:
        if at < half.length - 1.0 and not any(abs(at - c) < IN_LINE_MM for c in half.cuts):
            _notch_theirs(s, half, at, f"{name} waist")


def _notch_theirs(s: Sheet, half: WaistHalf, at: float, match: str) -> None:
    """A notch on the bodice, ``at`` mm from the centre on both sides."""
    start = {"": 0.0, LEFT: 0.0, RIGHT: 0.0}
    for r in half.runs:
        piece, here = s.garment.pieces[r.piece], at - start[r.side]
        start[r.side] += r.length_mm
        whole = around(piece) == 1 and not r.side
        middle = 0.5 * r.length_mm
        spots = (middle - at, middle + at) if whole else (here if runs_out(piece, r.edge) else r.length_mm - here,)  # fmt: skip
        for x in spots:
            if 0.0 < x < r.length_mm:
                s.notch_onto(r.piece, Notch(r.edge, place_sewn(piece, r.edge, x), 1, match))


def _pass(s: Sheet, joint: Joint) -> None:
    """The opening, one for both: told, marked at the side, and whether hip and shoulders pass."""
    below = s.figures.get("zip", 0.0)
    if joint.opens == "side":
        for piece, edge, up in _sides(s.garment, joint.halves):
            long_ = s.garment.pieces[piece].edges[edge].length_mm
            s.notch_onto(piece, Notch(edge, joint.above if up else long_ - joint.above, 1, "zip"))
    whole = joint.above + below
    place, rest = joint.where, "below" if joint.at_back else "below and above"
    s.making += [
        Task("waist", f"Right sides together, pin the skirt to the {joint.word}'s edge: centres, sides and darts on one another; sew, and press the seam up. "
        "A tape sewn into it keeps it from stretching."),
        Task("closing", f"Set one zip into the {place}, {s.t(whole)} long, the waist seams meeting; then sew that seam {rest} it."),
    ]  # fmt: skip
    s.figures["opening"] = whole
    top = "waist" if joint.word == "yoke" else "neckline"
    where = f"centre back, from the {top}" if joint.at_back else f"left side seam, from {s.t(joint.above)} above the waist"  # fmt: skip
    s.notes.append(f"One opening for {joint.word} and skirt: in the {where} to {s.t(below)} below it, {s.t(whole)} long in all.")  # fmt: skip
    # The opening spreads by twice what lies between the waist and its nearer end: she steps in through
    # the open back, hips first; a dress that opens at its side goes over the head.
    hip = joint.at_back or "bust_girth" not in s.m
    spread = below if joint.at_back else min(below, joint.above)
    need = joint.ring if hip else float(s.m["bust_girth"]) + BODY_EASE_MM
    has = float(joint.waist) + 2.0 * spread
    short = max(need - has, 0.0)
    text = f"{s.t(has)} round the open waist; {s.t(need)} needed"
    text += ": a longer zip_length" if short > GIRTH_MM else ""
    name = "hips pass the waist" if hip else "shoulders and bust pass the waist"
    s.checks.append(Check(name, short, GIRTH_MM, short <= GIRTH_MM, text))
