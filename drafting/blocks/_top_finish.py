"""What finishes a quick top: notches, facings, a buttoned front, bindings, gathers, pockets.

Last stage of the block: its pieces are on the sheet, and get or bring with them what ends their edges.
Frame: piece mm, x from the centre line, y up. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from itertools import product
from typing import Any

import numpy as np

from configs.errors import DraftError
from drafting.blocks._quarter_lines import (
    BustDart,
    Drawn,
    armhole_facing,
    facing_in_one,
    flattened,
    neck_facing,
)
from drafting.curves import Cubic, Points, chain_length
from drafting.fit import BACK, FRONT, LEFT, RIGHT, Quarter
from drafting.outline import Edge, polyline_length
from drafting.piece import Line, Mark, Notch
from drafting.sheet import Sheet, fronts, plain
from drafting.sheet.finishing import (
    POCKET_OFF_MM,
    binding,
    check_pocket,
    dense,
    patch_pocket,
    pocket_marks,
    pocket_place,
)
from drafting.sheet.inside import interfaced
from drafting.sheet.notching import at_height
from drafting.sheet.pieces import edge_at, pieces_of
from drafting.sheet.waists import POCKET_DOWN_MM, seam_pockets
from drafting.truing import Seam, seam_length

IN_ONE = "all in one"
Edges = tuple[str, ...]
SIDE_NOTCH_MM = 80.0
# Width and depth of a pocket where she names none, and the least it may have, mm.
POCKET_MM = {"pocket_width": (125.0, 80.0), "pocket_depth": (140.0, 90.0)}


Held = Mapping[str, Mapping[str, Any]]  # half → edge → what it hangs on


def buttons(s: Sheet) -> bool:
    """Whether the front buttons."""
    return bool(s.style["opening"] == FRONT)


def stand_of(s: Sheet) -> float:
    """How far a front that buttons reaches past its centre line, mm."""
    return float(s.given("button_stand", fronts.stand_width(float(s.style["button"]))))


def seamed(s: Sheet) -> dict[str, bool]:
    """Whether front and back are in two at their centre."""
    return {FRONT: buttons(s), BACK: s.style["centre_back"] == "seam"}


def facing_name(s: Sheet, half: str, kind: str) -> str:
    """What the facing of a half is called: that of a buttoned front runs from neckline to hem."""
    plain_ = kind == IN_ONE or (buttons(s) and (half, kind) == (FRONT, "neck"))
    return f"{half} facing" if plain_ else f"{half} {kind} facing"


def notches_on(
    q: Quarter, edges: Mapping[str, Edge], half: str, dart: BustDart | None = None, on: str = FRONT
) -> list[Notch]:
    """Below the underarm, at waist and hip, in the middle of the shoulder; on the armhole one on the
    front and two on the back. ``dart``: in the side seam, above the first of these; ``on``: the half that
    has waist and hip where its points are."""
    out = []
    below = SIDE_NOTCH_MM
    if dart is not None:
        below += polyline_length(np.stack([dart.first, dart.cap, dart.second]))
    for name, edge in edges.items():
        kind, long_ = plain(name), edge.length_mm
        down = bool(edge.points[0, 1] > edge.points[-1, 1])  # of the other side of a whole piece
        if kind == "side" and long_ > 2.0 * SIDE_NOTCH_MM:
            out.append(Notch(name, below if down else long_ - below, 1, "side"))
            if half == on:  # the other gets the same, as far from the underarm
                levels = {"waist": q.waist[1], "hip": q.hip[1]}
                at = {n: at_height(edge, float(y)) or 0.0 for n, y in levels.items()}
                out += [Notch(name, x, 1, n) for n, x in at.items() if 25.0 < x < long_ - 25.0]
        elif kind == "armhole":
            place = long_ - long_ / 3.0 if down else long_ / 3.0
            out.append(Notch(name, place, 1 if half == FRONT else 2, f"{half} armhole"))
        elif kind == "shoulder" and long_ > 120.0:
            out.append(Notch(name, long_ / 2.0, 1, "shoulder"))
    return out


def gather_zone(d: Drawn) -> float:
    """How far from the centre the gathers reach, mm: short of the neck point, and of the side seam,
    which is moved as it is."""
    narrow = float(d.flat["side"][:, 0].min())
    return min(0.85 * float(d.quarter.neck[0]), 0.9 * narrow)


def _pocket_sizes(named: Mapping[str, float]) -> Iterator[tuple[float, float]]:
    """Width and depth of a pocket, mm, from the usual one down; ``named``: what she gives."""
    for share in (1.0, *np.arange(0.95, 0.5, -0.05)):
        width, depth = (named.get(k, max(share * m, low)) for k, (m, low) in POCKET_MM.items())
        yield width, depth


def pocket(s: Sheet, q: Quarter) -> None:
    """A patch pocket, its place marked on the front, and the check of that place."""
    chest, style = s.style["pocket"] == "chest", s.style
    name = FRONT if FRONT in s.pieces else f"{LEFT} {FRONT}"
    front, whole = s.pieces[name], s.pieces[name].fold is None and not buttons(s)
    named = {k: float(style[k]) for k in POCKET_MM if style[k] is not None}
    sizes = list(dict.fromkeys(_pocket_sizes(named)))
    usual = sizes[0]
    middle, top = (0.52, q.bust[1] + 20.0) if chest else (0.55, q.waist[1] - 20.0)
    place = pocket_place(front, (middle * q.bust[0], top), sizes)
    if place is None:
        last, off = " × ".join(map(s.t, sizes[-1])), s.t(POCKET_OFF_MM)
        what = f"the front has no room for a pocket of {last} that keeps {off} off armhole, neckline and hem."
        remedy = "Make the top longer, or leave the pocket out."
        if named:
            remedy = f"Make it smaller, or leave {' and '.join(named)} out."
        raise DraftError.of(f"style.{next(iter(named), 'pocket')}", what, remedy)
    width, depth, x, y, moved = place
    said = []
    if (width, depth) != usual:
        said.append(f"is {s.t(width)} × {s.t(depth)} instead of {' × '.join(map(s.t, usual))}")
    if moved > 1.0:
        said.append(f"lies {s.t(moved)} from its usual place")
    if said:
        s.notes.append(f"The pocket {' and '.join(said)}, to keep {s.t(POCKET_OFF_MM)} off armhole and hem.")  # fmt: skip
    sewn_on = patch_pocket(width, depth, 1 if chest else 2, s.measurements)
    marks = list(pocket_marks(sewn_on, (x, y)))
    if whole and not chest:
        marks += [Mark(k.name, k.points * (-1.0, 1.0), k.closed) for k in marks]
    if chest and not whole and name == FRONT:
        s.notes.append(
            "The chest pocket's place shows on both halves: sew it on the wearer's left."
        )
    s.pieces[name] = front.plus(marks=marks)
    s.checks.append(check_pocket(s.pieces[name], s.unit))
    if name != FRONT and not chest:
        other = s.pieces[f"{RIGHT} {FRONT}"]
        flipped = [Mark(k.name, k.points * (-1.0, 1.0), k.closed) for k in marks]
        s.pieces[other.name] = other.plus(marks=flipped)
    beside = (s.hangs_on[name, e] for e in ("hem", "neckline"))
    s.add(sewn_on, all=(s.options("pocket", *POCKET_MM), *beside))


def side_bags(s: Sheet, waist_y: float, zip_there: bool) -> None:
    """Pocket bags in the side seams, from a little below the waist down."""
    sides = {
        n: {e: bool(x.points[0, 1] > x.points[-1, 1]) for e, x in p.edges.items() if plain(e) == "side"}
        for n, p in s.pieces.items()
        if n.split()[-1] in (FRONT, BACK)
    }  # fmt: skip
    back = next(p for n, p in s.pieces.items() if n.split()[-1] == BACK)
    top = max(float(e.points[:, 1].max()) for n, e in back.edges.items() if plain(n) == "side")
    down = top - waist_y + POCKET_DOWN_MM
    seam_pockets(s, sides, zip_there, max(down, POCKET_DOWN_MM), "pocket")


def _facing_grain(points: Mapping[str, Points]) -> Line:
    """A short grainline inside a facing: at its fold, or beside the middle of its outer edge."""
    if "fold" in points:
        top, low = float(points["fold"][0, 1]), float(points["fold"][-1, 1])
        return ((8.0, low + 0.2 * (top - low)), (8.0, low + 0.8 * (top - low)))
    outer, inner = points["outer"], points["armhole"]
    x, y = (0.5 * (outer[len(outer) // 2] + inner[len(inner) // 2])).tolist()
    return ((x, y - 15.0), (x, y + 15.0))


def finish(s: Sheet, both: list[dict[str, Drawn]], held: Held, slit: float) -> None:
    """Facings and bindings of neckline and armholes; their seams."""
    in_two = seamed(s)
    kinds: dict[str, tuple[Edges, Callable[[Sheet, Drawn, float], dict[str, list[Cubic]]]]] = {
        "neck": (("neckline",), neck_facing),
        "armhole": (("armhole",), armhole_facing),
    }
    if s.style["neckline_finish"] == IN_ONE:
        _refuse_in_one(s, both)
        kinds = {IN_ONE: (("neckline", "armhole"), facing_in_one)}
    faced: list[tuple[str, Edges, bool]] = []
    for kind, (edges, drawn_facing) in kinds.items():
        wanted = kind == IN_ONE or s.style[f"{edges[0]}_finish"] == "facing"
        if not wanted or edges[0] not in both[0][FRONT].edges:
            continue
        apart = kind == "armhole"
        for h, seam in in_two.items():
            if kind == "neck" and facing_name(s, h, kind) == "front facing":
                continue
            lines = [drawn_facing(s, d[h], slit) for d in both]
            if kind == IN_ONE and len(both) == 2:  # as deep on both sides
                foot = min(float(x["outer"][0].start[1]) for x in lines)
                lines = [facing_in_one(s, d[h], slit, foot) for d in both]
            flat = [flattened(x) for x in lines]
            made = pieces_of(
                facing_name(s, h, kind), h, flat, s.measurements, _facing_grain(flat[0]),
                seam, apart, True, partial(notches_on, both[0][h].quarter),
            )  # fmt: skip
            on = held[h]["all"] if apart else (held[h]["neckline"], held[h]["fold"])
            on = (held[h]["all"], on) if kind == IN_ONE else on
            if h == BACK and not apart:  # it goes down past the slit
                asked = s.options("opening", "opening_length")
                on = (on, held[FRONT]["neckline"], asked, s.m.get("head_girth"))
            for piece in made.values():
                s.add(piece, all=(on, s.style["facing_width"]))
                if s.style["interfacing"] == "facings":
                    interfaced(s, piece, on, s.style["facing_width"])
        faced.append((kind, edges, apart))
    if buttons(s):
        _front_facing(s, both, held)
    for kind, edges, apart in faced:
        _sew_facings(s, kind, edges, apart, len(both) == 2)
    each = [
        {e: sum(chain_length(d[h].edges[e]) for h in (FRONT, BACK)) for e in ("neckline", "armhole") if e in d[FRONT].edges}
        for d in both
    ]  # fmt: skip
    for edge, name, loops in (("neckline", "neck binding", 1), ("armhole", "armhole binding", 2)):
        if s.style[f"{edge}_finish"] != "bias" or edge not in each[0]:
            continue
        sizes = [d[edge] for d in each]
        long_ = sum(sizes) * (3 - len(both)) if loops == 1 else max(sizes)
        made_, text = binding(name, long_, float(s.style["binding_width"]), loops, s.measurements)
        on = [held[h]["all" if loops == 2 else "neckline"] for h in held]
        s.add(made_, all=(on, s.style["binding_width"]))
        s.notes.append(text)
        for n, piece in s.pieces.items():
            if n.split()[-1] in (FRONT, BACK):
                ends = [e for e in piece.edges if e.split()[-1] == edge]
                s.pieces[n] = piece.plus(bound=ends)


def _front_facing(s: Sheet, both: list[dict[str, Drawn]], held: Held) -> None:
    """The facing of a front that buttons, its interfacing, and their seams."""
    name, faced = "front facing", s.style["neckline_finish"] == "facing"
    flat = []
    for d in (pair[FRONT] for pair in both):
        beside = flattened(neck_facing(s, d, 0.0))["outer"]
        lines, wide = fronts.with_stand(d.flat, stand_of(s)), float(s.style["facing_width"])
        flat.append(fronts.front_facing(lines, wide, beside, d.quarter.bust[1]))
    x, y = 0.4 * float(s.style["facing_width"]), float(flat[0]["hem"][0, 1])
    grain = ((x, y + 60.0), (x, y + 200.0))
    on = (held[FRONT], s.style["facing_width"])
    for piece in pieces_of(name, FRONT, flat, s.measurements, grain, True, facing=True).values():
        s.add(piece, all=on)
        interfaced(s, piece, on)
    edges = (fronts.EDGE, fronts.TOP) if faced else (fronts.EDGE, fronts.TOP, "neckline")
    for side in (LEFT, RIGHT) if len(both) == 2 else ("",):
        for e in edges:
            a, b = (edge_at(FRONT, side, e, True, name=n) for n in (FRONT, name))
            full = e == "neckline" and s.style["gathers"] in (FRONT, "both")
            more = seam_length(s.pieces, [a]) - seam_length(s.pieces, [b]) if full else 0.0
            s.seams.append(Seam(f"{side} front facing {e}".strip(), (a,), (b,), more))


def _refuse_in_one(s: Sheet, both: list[dict[str, Drawn]]) -> None:
    """Refuse a facing all in one where it cannot be."""
    where, other = "style.neckline_finish", "Choose 'neckline_finish: facing'."
    s.fault("armhole" not in both[0][FRONT].edges, where, "is all in one with armholes, which a grown-on sleeve has not.", other)  # fmt: skip
    s.fault(buttons(s), where, "is all in one; a front that buttons has a facing down to its hem.", other)  # fmt: skip
    taken = s.style["armhole_finish"]
    s.fault(taken != "none", "style.armhole_finish", f"is '{taken}', and the facing all in one finishes the armholes too.", "Leave it out.")  # fmt: skip
    s.stop()


def _sew_facings(s: Sheet, kind: str, edges: Edges, apart: bool, whole: bool) -> None:
    """Facings to one another and to the edges they finish."""
    seam = seamed(s)
    for side in (LEFT, RIGHT) if whole else ("",):
        there = {h: partial(edge_at, h, side, seam=seam[h]) for h in seam}
        facing = {h: partial(edge_at, h, side, seam=seam[h] or apart, name=facing_name(s, h, kind)) for h in seam}  # fmt: skip
        for e in ("shoulder",) if kind == "neck" else ("side", "shoulder"):
            name = f"{side} {kind} facing {e}".strip()
            s.seams.append(Seam(name, (facing[FRONT](e),), (facing[BACK](e),)))
        for h, edge in product((FRONT, BACK), edges):
            on, under = there[h](edge), facing[h](edge)
            full = edge == "neckline" and s.style["gathers"] in (h, "both")
            longer = seam_length(s.pieces, [on]) - seam_length(s.pieces, [under]) if full else 0.0
            sewn = Seam(under[0], (on,), (under,), longer)
            if sewn not in s.seams:  # a whole neck facing is met from both sides
                s.seams.append(sewn)


def mark_gathers(s: Sheet, drawn: Mapping[str, Drawn]) -> None:
    """Notches where the gathers begin and end, a line on the label, and a note.

    From the neck point to the notch the neckline is as it was drawn; the facing is notched at
    the same distance.
    """
    for half, d in drawn.items():
        if s.style["gathers"] not in (half, "both"):
            continue
        flat, q = d.flat["neckline"], d.quarter
        close = dense(flat, 0.25)
        plain = polyline_length(close[: int(np.argmax(close[:, 0] < gather_zone(d))) + 1])
        finished = 2.0 * (polyline_length(flat) - plain)
        long_ = 2.0 * (s.style["gather_ratio"] * polyline_length(flat) - plain)
        text = f"gather {s.t(long_)} into {s.t(finished)}"
        for name, piece in s.pieces.items():
            facing = name.endswith((f"{half} neck facing", f"{half} facing"))
            if not facing and name.split()[-1] != half:
                continue
            edge = piece.edges["neckline"]
            ends = np.abs(edge.points[[0, -1], 0])
            far = [i for i in (0, 1) if ends[i] > 0.5 * q.neck[0]]  # the ends at a neck point
            at = (plain, edge.length_mm - plain)
            told = () if facing else (text,)
            s.pieces[name] = piece.plus(*told, notches=[Notch("neckline", at[i], 1, "gathers") for i in far])  # fmt: skip
        wide = ""
        if s.style["gather_spread"] == "even":
            side = next(e for n, e in s.pieces.items() if n.split()[-1] == half)
            edge = next(e for n, e in side.edges.items() if n.split()[-1] == "side")
            top = edge.points[-1 if edge.points[0, 1] < edge.points[-1, 1] else 0]
            added = 2.0 * (abs(float(top[0])) - q.bust[0])
            wide = f" The {half} is {s.t(added)} wider all the way down."
        s.notes.append(f"{half.capitalize()} neckline, from notch to notch: {text}.{wide}")
