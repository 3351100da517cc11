"""What ends a sleeve that is fuller than the arm: a cuff with its placket, or elastic in a casing.

On the sheet, for any sleeve with an edge at its end. Where the hand does not pass the closed cuff,
the sleeve is slit at the back fourth and the cuff overlaps. Numbers: common practice, no source.
Frame: piece mm, as the sleeve.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from configs.errors import DraftError
from drafting.curves import arc, chain_points, left_of
from drafting.outline import Edge
from drafting.piece import Mark, Notch, Piece
from drafting.sheet.amount import Amount
from drafting.sheet.arms import Arm
from drafting.sheet.board import Sheet
from drafting.sheet.finishing import band, rectangle
from drafting.sheet.pieces import label_of
from drafting.truing import Seam

CUFF_EASE_MM = 45.0  # round the wrist: 4 to 5 cm
OVERLAP_MM = 20.0
HAND_EASE_MM = 10.0  # a hand slips through what is so much larger
USUAL_MM = {True: 60.0, False: 30.0}  # cuff, with a placket or as a plain band
PLACKET_MM = 15.0  # finished width of the strip that binds the slit
PLEATS_MM = 60.0  # what is fuller than this is gathered
_PLEAT_FROM_SLIT_MM, _PLEAT_GAP_MM, _PLEAT_LONG_MM = 20.0, 15.0, 50.0
_DEEP_MM = 80.0  # a straight cuff that is deeper binds the forearm
ELASTIC_SHORTER = 0.065  # 5 to 8 % than what it goes round
CASING_MM = 3.0  # wider than the elastic
SLIT_SHARE = 0.25  # of the sleeve's end, from the back underarm seam


@dataclass(frozen=True)
class Cuff:
    """A cuff: ``depth`` as finished; ``net``: its girth when closed; ``upper``: that of the edge that is
    sewn to the sleeve, longer on a shaped one; ``over``: its overlap; ``slit``: the placket's length,
    0 where the hand passes the closed cuff."""

    depth: float
    net: float
    upper: float
    over: float
    slit: float
    sources: frozenset[str]


def cuff_for(s: Sheet, arm: Arm, down: Amount) -> Cuff:
    """The cuff for a sleeve that ends, cuff included, ``down`` mm from the shoulder point."""
    by = CUFF_EASE_MM + s.fitted("wrist")
    net = arm.girth_at(float(down)) + float(by)
    open_ = net < float(arm.hand) + HAND_EASE_MM
    depth = s.given("cuff_depth", USUAL_MM[open_])
    shaped = s.style["cuff"] == "shaped"
    upper = arm.girth_at(float(down) - float(depth)) + float(by) if shaped else net
    if depth > _DEEP_MM and not shaped and open_:
        s.notes.append(f"A straight cuff {s.t(depth)} deep binds the forearm when the arm bends: 'style: {{cuff: shaped}}' follows the arm.")  # fmt: skip
    slit = float(s.style["placket_length"]) if open_ else 0.0
    return Cuff(float(depth), net, upper, OVERLAP_MM if open_ else 0.0, slit, by.sources)


def sewn_to_cuff(
    s: Sheet, name: str, edge: str, cuff: Cuff, cut: int, of: Sequence[object]
) -> None:
    """The cuff of the sleeve ``name``, its placket, and what its end gets for them.

    Raises:
        DraftError: the sleeve's end is too narrow for the cuff.
    """
    sleeve = s.pieces[name]
    end = sleeve.edges[edge]
    full = end.length_mm - cuff.upper
    if full < -0.5:
        what = f"ends {s.t(end.length_mm)} round; its cuff needs {s.t(cuff.upper)}."
        raise DraftError.of(name, what, "A wider hem_width, a shaped cuff, or 'finish: hem'.")
    back_first = next(iter(sleeve.edges)) == edge  # a left sleeve's end runs from its front
    size = end.length_mm

    def place(x: float) -> float:
        """A distance from the back underarm seam as one along the edge."""
        return x if back_first else size - x

    at = SLIT_SHARE * size
    marks, notches, told = [], [], []
    if cuff.slit:
        point, along = end.at(place(at))
        line = np.array([point, point + cuff.slit * left_of(along)])
        marks.append(Mark(f"placket {s.t(cuff.slit)}", line))
        notches.append(Notch(edge, place(at), 1, "placket"))
    else:
        at = 0.5 * end.length_mm
    into = str(s.style["into_cuff"])
    into = ("pleats" if full <= PLEATS_MM else "gathers") if into == "auto" else into
    count = 1 if full < 30.0 else 2
    room = at + _PLEAT_FROM_SLIT_MM + full + _PLEAT_GAP_MM < end.length_mm - 20.0
    if full > 8.0 and into == "pleats" and room:
        each, start = full / count, at + _PLEAT_FROM_SLIT_MM
        for i in range(count):
            for x in (start, start + each):
                point, along = end.at(place(x))
                marks.append(Mark("pleat", np.array([point, point + _PLEAT_LONG_MM * left_of(along)])))  # fmt: skip
                notches.append(Notch(edge, place(x), 1, f"pleat {i + 1}"))
            start += each + _PLEAT_GAP_MM
        pleats = "pleat" if count == 1 else "pleats"
        told = [f"{count} {pleats} of {s.t(each)}, folded towards the back"]
    elif full > 8.0:
        told = [f"gather {s.t(end.length_mm)} into {s.t(cuff.upper)} at its end"]
    s.pieces[name] = sleeve.plus(*told, marks=marks, notches=notches)
    own = name.replace("sleeve", "cuff")
    made = _cuff(s, own, cuff, cut)
    s.add(made, all=(*of, cuff))
    less = end.length_mm - made.edges["sleeve edge"].length_mm
    word = "in pleats" if told and "pleat" in told[0] else "gathered in"
    s.seams.append(Seam(own, ((name, edge),), ((own, "sleeve edge"),), less, f"{word}, the overlap apart" if cuff.over else word))  # fmt: skip
    if cuff.slit:
        strip = name.replace("sleeve", "placket")
        piece = rectangle(
            strip, ("sleeve edge", "right side", "inner", "left side"), 2.0 * cuff.slit + 10.0,
            2.0 * PLACKET_MM, cut=cut, grain=((20.0, PLACKET_MM), (2.0 * cuff.slit - 20.0, PLACKET_MM)),
            turns=(0.0, 90.0, 180.0, 270.0), label=label_of(strip, f"cut {cut}", s.measurements),
        )  # fmt: skip
        s.add(piece, all=(s.options("placket_length"), *of))


def _cuff(s: Sheet, name: str, cuff: Cuff, cut: int) -> Piece:
    """A band folded along its middle, or where it is shaped two layers of a ring's part."""
    net, upper = cuff.net + cuff.over, cuff.upper + cuff.over
    places = {"overlap": (cuff.upper,)} if cuff.over else {}
    if upper - net < 1.0:
        made = band(name, "sleeve edge", net, 2.0 * cuff.depth, places, s.measurements)
        return made.with_(cut=cut, label=label_of(name, f"cut {cut}", s.measurements))
    turn = (upper - net) / cuff.depth
    low = net / turn
    a, b = 0.5 * (math.pi - turn), 0.5 * (math.pi + turn)
    outer = chain_points(arc((0.0, 0.0), low + cuff.depth, a, b))
    inner = chain_points(arc((0.0, 0.0), low, a, b))[::-1]
    ring = {
        "sleeve edge": outer,
        "left side": np.array([outer[-1], inner[0]]),
        "wrist edge": inner,
        "right side": np.array([inner[-1], outer[0]]),
    }
    pairs = 2 * cut
    return Piece(
        name, {n: Edge(n, p) for n, p in ring.items()}, pairs, pairs % 4 == 0,
        grain=((0.0, low + 0.2 * cuff.depth), (0.0, low + 0.8 * cuff.depth)),
        notches=tuple(Notch("sleeve edge", x, 1, n) for n, at in places.items() for x in at),
        label=label_of(name, f"cut {pairs}, two layers each", s.measurements),
    )  # fmt: skip


def elastic_in(s: Sheet, name: str, edge: str, arm: Arm, down: Amount) -> None:
    """The end of the sleeve ``name`` as a casing, its elastic told."""
    sleeve = s.pieces[name]
    round_, long_ = arm.girth_at(float(down)), sleeve.edges[edge].length_mm
    need = max(round_, float(arm.hand)) + HAND_EASE_MM
    if long_ < need - 0.5:
        what = f"ends {s.t(long_)} round; the arm slips through {s.t(need)} and no less."
        raise DraftError.of(name, what, "Make its end wider: a larger hem_width or fullness.")
    wide = float(s.style["elastic_width"])
    elastic = round_ * (1.0 - ELASTIC_SHORTER)
    told = f"elastic {s.t(elastic)} long, {s.t(wide)} wide"
    s.pieces[name] = sleeve.plus(told)
    s.figures[f"{name} elastic"] = elastic
    s.notes.append(
        f"{name.capitalize()}: {told}, its join not counted, in a casing {s.t(wide + CASING_MM)} wide: the "
        f"allowance '{edge}' holds it with 7 mm turned in at {s.t(wide + CASING_MM + 7.0)}."
    )
