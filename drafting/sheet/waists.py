"""What closes a skirt at the waist: band, shaped facing, elastic in a casing; zip, pockets in the seams.

For any block whose pieces have a waist edge. All rules are common practice, no source, unless a
line says otherwise. Frame: piece mm, x from the centre line, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from configs.errors import DraftError
from drafting.curves import Cubic, Points, cross, rounded, sweep
from drafting.outline import polyline_length
from drafting.piece import Notch, Piece
from drafting.sheet.amount import Amount, least, most
from drafting.sheet.board import Sheet, edges_of
from drafting.sheet.finishing import band, bars, facing_below
from drafting.sheet.inside import interfaced
from drafting.sheet.joints import Joint, joint_of
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import label_of
from drafting.style import Option
from drafting.truing import GIRTH_MM, Check, Girth, Seam, place_sewn, sewn_length
from drafting.truing import Spot as EdgeAt

Places = Mapping[str, Sequence[float]]  # notch → mm along an edge

FINISHES = {
    "band": "a straight band, folded, with an overlap at the zip",
    "facing": "a shaped facing inside",
    "lined": "cut twice, once for the inside",
    "elastic": "elastic in a casing; no zip",
    "none": "nothing; you add it",
}
HIP_PASS_MM = 20.0  # a closed ring that passes the hip is this much larger, where its ease allows
# With less ease than that the skirt passes where it is nearly as wide as drafted.
BELOW_EASE_MM = 5.0
SWAPPED_MM = 60.0  # of half a girth: more over the hip is seldom a body
LEAST_BELOW_HIP_MM = 80.0
ELASTIC_SHORTER = (0.08, 0.05)  # elastic against the waist; it is stretched a little when worn
CASING_MM = 3.0  # a casing is wider than its elastic by this
# below the waist; a hand and 3 cm
POCKET_DOWN_MM, POCKET_OPEN_MM, POCKET_DEEP_MM = 60.0, 150.0, 270.0
_BAG_MM, _BAG_PAST_MM = 150.0, 20.0


def finish_options(*kinds: str) -> tuple[Option, ...]:
    """The options of these waist finishes (`FINISHES`); the first is the default."""
    found = [choice("waist_finish", "What finishes the waist.", {k: FINISHES[k] for k in kinds})]
    of = {"waist_finish": ("band",)}
    if "band" in kinds:
        found += [
            length("band_width", "Finished width of the band.", 30.0, 15.0, 80.0, of),
            length("band_overlap", "How far the band reaches past the opening.", 30.0, 0.0, 80.0, of),
        ]  # fmt: skip
    if "facing" in kinds:
        of = {"waist_finish": ("facing",)}
        found.append(length("facing_width", "Width of the facing.", 60.0, 30.0, 120.0, of))
    stiff = tuple(k for k in ("band", "facing", "lined") if k in kinds)
    words = {"none": "left to you", "waist": "a piece for what finishes it"}
    found.append(choice("interfacing", "A piece of interfacing.", words, when={"waist_finish": stiff}))  # fmt: skip
    if "elastic" in kinds:
        of = {"waist_finish": ("elastic",)}
        found.append(length("elastic_width", "Width of the elastic.", 25.0, 6.0, 60.0, of))
    return tuple(found)


LENGTHS_MM = {"short": 450.0, "knee": 600.0, "calf": 750.0, "floor": 1000.0}
_LENGTHS = {
    "short": "45 cm, above the knee",
    "knee": "60 cm, about to the knee",
    "calf": "75 cm, to the calf",
    "floor": "1 m, near the floor",
}


def length_option(floor: bool = False) -> Option:
    """How long a skirt is; ``floor``: that word too."""
    text = "How long, from the waist down at the centre, band not counted."
    words = {k: v for k, v in _LENGTHS.items() if floor or k != "floor"}
    return length("length", text, None, 250.0, 1150.0, word="knee", choices=words)


WAIST_EASE = length("waist_ease", "Ease round the body at the waist.", 15.0, 0.0, 80.0)
ZIP_LENGTH = length("zip_length", "How far the opening for the zip reaches down; unset, 18 cm or 7 in.", None, 80.0, 300.0)  # fmt: skip
POCKETS = choice(
    "pockets", "Pockets in the side seams.", {"none": "none", "seam": "bags, a hand wide, below the waist"}
)  # fmt: skip


@dataclass(frozen=True)
class Girths:
    """Finished girths round the body, mm: ``waist``; ``hip`` as asked for; ``drawn``, the hip as it
    is drawn, not smaller than the waist; ``ring``: what must be left for the hip to pass through;
    ``joint``: the waist of a bodice that it is sewn to."""

    waist: Amount
    hip: Amount
    drawn: Amount
    ring: Amount
    joint: Joint | None = None


def girths(s: Sheet, hip_ease: float, waist_ease: float) -> Girths:
    """The girths of a skirt from her measures, the eases and her fit changes."""
    wanted = s.m["hip_girth"] + hip_ease + s.fitted("hip")
    joint = joint_of(s)
    waist = joint.waist if joint else s.m["waist_girth"] + waist_ease + s.fitted("waist")
    if joint and waist_ease != WAIST_EASE.default:
        s.notes.append("'waist_ease' does nothing here: the waist is the bodice's.")
    ring = s.m["hip_girth"] + least(HIP_PASS_MM, hip_ease + s.fitted("hip") - BELOW_EASE_MM)
    joint = replace(joint, ring=float(ring)) if joint else None
    return Girths(waist, wanted, most(wanted, waist), ring, joint)


def tell_over(s: Sheet, g: Girths) -> None:
    """A note where the waist is larger than the hip."""
    over = float(g.drawn) - float(g.hip)
    if over > 0.1:
        s.notes.append(
            "The waist is larger than the hip: the skirt is drawn straight from the waist, "
            f"{s.t(over)} wider at the hip than asked for."
            + (" Are the two girths swapped?" if over > 2 * SWAPPED_MM else "")
        )


def refuse_halves(s: Sheet, changes: Sequence[str], why: str) -> None:
    """Refuse fit changes of these kinds that are meant for front or back alone."""
    for i, c in enumerate(s.fit, 1):
        wrong = c.change in changes and c.where != "both"
        s.fault(wrong, f"fit[{i}] where", f"is '{c.where}': {why}.", "Leave 'where' out.")


def refuse_short(s: Sheet, long_: Amount) -> None:
    """Refuse a skirt that is fitted to the hip and ends too near it."""
    depth = s.m["waist_to_hip"]
    what = f"ends less than {s.t(LEAST_BELOW_HIP_MM)} below the hip line, which lies {s.t(depth)} down."
    s.fault(long_ < depth + LEAST_BELOW_HIP_MM, "style.length", what, "Make the skirt longer.")


def refuse_at_hip(s: Sheet, long_: Amount) -> None:
    """Refuse a loose skirt that ends at the hip."""
    depth = s.m["waist_to_hip"]
    s.fault(long_ < depth + 30.0, "style.length", f"ends at the hip, {s.t(depth)} down.", "Make the skirt longer.")  # fmt: skip


def hip_curve(start: Points, leave: Points, hip: Points, down: Points) -> Cubic:
    """The side from the waist to the hip, where it runs on into the straight side below.

    Both inner control points lie on that straight line, so the curve has no curvature left where
    it meets it, and no jump shows on the hip.
    """
    sine = cross(leave, down)
    height = float(np.hypot(*(hip - start)))
    if abs(sine) > 1e-4:
        reach = cross(hip - start, down) / sine
        if 0.2 * height < reach < 0.95 * height:
            corner = start + reach * leave
            return Cubic(np.stack([start, corner, hip + 0.6 * (corner - hip), hip]))
    return sweep(start, leave, hip, down)


def on_target(
    drawn: Callable[[float], tuple[Any, float]], start: float, within: float = 1e-5
) -> tuple[Any, float, float]:
    """What is drawn where its error is nil, at which value, and what error is left.

    ``drawn``: value → (what is drawn, error mm), which grows by about 1 with each mm.
    """
    before, off_before = start - 1.0, drawn(start - 1.0)[1]
    at = start
    made, off = drawn(at)
    for _ in range(30):  # secants
        if abs(off) < within or off == off_before:
            break
        step = off * (at - before) / (off - off_before)
        before, off_before = at, off
        at -= step
        made, off = drawn(at)
    return made, at, off


def in_line(
    drawn: Callable[[float, float], tuple[dict[str, Any], float, float]], taken: float, more: float
) -> tuple[dict[str, Any], float, float]:
    """Front and back that both end at a bodice's side seam; what their sides take in, and how much wider
    than usual the front is at the hip.

    ``drawn``: (taken, more) → (half → what is drawn, how much too long front and back are at the waist).

    Raises:
        DraftError: no such skirt is found.
    """
    for _ in range(30):
        made, front, back = drawn(taken, more)
        if max(abs(front), abs(back)) < 1e-5:
            return made, taken, more
        taken += 0.5 * (front + back)
        more -= 0.5 * (front - back)
    what = "cannot be drawn to that of the bodice."
    raise DraftError.of("waist", what, "Are the measurements right?")


# --- zip -----------------------------------------------------------------------------------------


def ring_at(sides: Sequence[Points], depth: float) -> float:
    """Finished girth mm at ``depth`` below the upper end of the side seams (N, 2) of both halves,
    which run up."""
    return 2.0 * sum(float(np.interp(p[-1, 1] - depth, p[:, 1], p[:, 0])) for p in sides)


def usual_zip(
    unit: str, girth: Callable[[float], float], ring: float, deepest: float, waist: float = math.inf
) -> float:
    """How long the opening is, mm: 18 cm or 7 in, or down to where the ring at its end passes the
    hip. ``girth``: depth mm → finished girth mm; ``deepest``: where the hip lies;
    ``waist``: the finished waist, which with both sides of the opening must pass the hip too."""
    inches = unit == "in"
    step, most_ = (12.7, 304.8) if inches else (10.0, 300.0)
    depths = np.arange(0.0, min(deepest + step, most_), step)
    small = [float(d) for d in depths if girth(float(d)) < ring - 0.1]
    while small and small[-1] + step < most_ and girth(small[-1] + step) < ring - 0.1:
        small.append(small[-1] + step)  # a hip that is widest a little lower
    open_ = step * math.ceil(0.5 * (ring - waist) / step - 1e-9) if waist < ring else 0.0
    usual = 7.0 * 25.4 if inches else 180.0
    return max(usual, min(max(small) + step if small else 0.0, most_), min(open_, most_))


def opening(s: Sheet, girth: Callable[[float], float], g: Girths, waist: float) -> float:
    """How long the zip's opening is: as she asks, or the usual; a figure of the sheet, mm."""
    usual = usual_zip(s.unit, girth, float(g.ring), float(s.m["waist_to_hip"]), float(waist))
    s.figures["zip"] = float(s.style["zip_length"] or usual)
    return s.figures["zip"]


def hip_passes(s: Sheet, girth: float, zip_mm: float, ring: float, waist: float = math.inf) -> None:
    """Check that the hip passes the ring at the end of the zip, and the open ``waist`` with both
    sides of its opening."""
    open_ = waist + 2.0 * zip_mm
    short = max(ring - min(girth, open_), 0.0)
    text = f"{s.t(girth)} round at the end of the zip, {s.t(zip_mm)} down; {s.t(ring)} needed"
    if open_ < girth:
        text = f"{s.t(open_)} round the open waist, {s.t(zip_mm)} deep; {s.t(ring)} needed"
    text += ": a longer zip_length, or none named" if short > GIRTH_MM else ""
    s.checks.append(Check("the hip passes", short, GIRTH_MM, short <= GIRTH_MM, text))


def with_zip(s: Sheet, name: str, edges: Mapping[str, bool], zip_mm: float, where: str) -> None:
    """The bar at the end of a zip on some edges of a piece; ``edges``: name → it runs down."""
    piece = s.pieces[name]
    for edge, down in edges.items():
        more, cuts = bars(piece.edges[edge], {"zip": zip_mm}, down, f"{where} ", s.t)
        piece = piece.plus(marks=more, notches=cuts)
    s.pieces[name] = piece


# --- waist ---------------------------------------------------------------------------------------


def gather(s: Sheet, whole: Mapping[str, float], finished: Mapping[str, float], why: str) -> None:
    """What is gathered, on the pieces' labels and in a note. Piece → mm, cut and finished."""
    told = []
    for name, long_ in whole.items():
        text = f"gather {s.t(long_)} into {s.t(finished[name])}"
        s.pieces[name] = s.pieces[name].plus(text)
        told.append(f"{name} {text}")
    s.notes.append(f"The waist is gathered: {', '.join(told)}.{why}")


STRAIGHT = ("band", "elastic")  # what is cut as a straight strip


def add_straight(
    s: Sheet, round_: float, at: Places, spots: Sequence[EdgeAt], full: float, of: Any
) -> None:
    """The band or the casing that the style asks for, see `add_band` and `add_casing`."""
    add = add_band if s.style["waist_finish"] == "band" else add_casing
    add(s, round_, at, spots, full, of)


def add_band(
    s: Sheet, round_: float, at: Places, spots: Sequence[EdgeAt], full: float, of: Any
) -> None:
    """A band for a waist of ``round_`` mm that begins and ends at the opening, and its seam.

    ``at``: notches; ``spots``: the waist edges, each as often as it is cut; ``full``: how much
    longer these are, to be gathered in (less than nil: to be stretched).
    """  # fmt: skip
    over, high = s.style["band_overlap"], 2.0 * s.style["band_width"]
    at = {**at, "overlap": (round_,) if over > 0 else ()}
    name = "waistband"
    made = band(name, "waist", round_ + float(over), float(high), at, s.measurements)
    s.add(made, all=(of, over, high), waist=(of, over))
    if s.style["interfacing"] == "waist":
        interfaced(s, made, of, over, high)
    _sewn(s, name, spots, full, float(over))


def add_facings(
    s: Sheet, tops: Mapping[str, Points], seams: Mapping[str, bool], at: Mapping[str, Sequence[float]],
    spots: Sequence[EdgeAt], of: Any,
) -> None:  # fmt: skip
    """Facings in front and behind for a waist without darts, whatever panels it is made of, and their seam.

    ``tops``: half → (N, 2) mm the waist of half the front or back, the seams closed, from the centre to
    the side; ``seams``: half → whether it opens at its centre; ``at``: half → where seams lie along
    ``tops``; ``spots``: the waist edges, each as often as it is cut.
    """
    for half, top in tops.items():
        ends = (np.array([1.0, 0.0]), top[-1] - top[-2])
        long_ = polyline_length(top)
        cuts = [Notch("waist", long_ - x, 1, "seam") for x in at[half]]
        facing(s, half, top, ends, cuts, seams[half], of, s.options("waist_finish"))
    both = tuple((f"{h} waist facing", "waist") for h in tops for _ in range(2))
    s.seams.append(Seam("waist facings", both, tuple(spots)))


def facing(
    s: Sheet, half: str, top: Points, ends: tuple[Points, Points], cuts: Sequence[Notch], seam: bool, of: Any,
    *more: Any,
) -> EdgeAt:  # fmt: skip
    """One facing as `facing_below` draws it and its interfacing: the edge that is sewn to the waist. ``of``: what
    both hang on, and the facing on ``more``."""
    width, name = s.style["facing_width"], f"{half} waist facing"
    made = facing_below(name, top, ends, float(width), cuts, seam, s.measurements)
    s.add(made, all=(of, width, *more))
    if s.style["interfacing"] == "waist":
        interfaced(s, made, of, width)
    return name, "waist"


def _sewn(s: Sheet, name: str, spots: Sequence[EdgeAt], full: float, over: float = 0.0) -> None:
    on_band = ((name, "waist"),)
    if full:
        how = "gathered in" if full > 0 else "stretched on the bias"
        s.seams.append(Seam(name, tuple(spots), on_band, full - over, how))
    else:
        s.seams.append(Seam(name, on_band, tuple(spots), over, "of overlap"))


def add_casing(
    s: Sheet, ring: float, at: Places, spots: Sequence[EdgeAt], full: float, of: Any
) -> None:
    """A casing for elastic, closed to a ring of ``ring`` mm that passes the hip, and its seam."""
    wide = s.style["elastic_width"]
    high = 2.0 * (wide + CASING_MM)
    made = band("casing", "waist", ring, float(high), at, s.measurements)
    s.add(made, all=(of, high), waist=of)
    _sewn(s, "casing", spots, full)
    waist = float(s.m["waist_girth"] + s.fitted("waist"))
    low, up = (waist * (1.0 - part) for part in ELASTIC_SHORTER)
    s.figures |= {"elastic, shortest": low, "elastic, longest": up}
    s.notes.append(
        f"Cut the elastic, {s.t(wide)} wide, {s.t(low)} to {s.t(up)} long and its overlap: 8 to 5 % less "
        "than the waist. Try it round the waist first. Leave a gap in the casing's seam to draw it in."
    )


def elastic_ring(s: Sheet, g: Girths) -> Amount:
    """How far round a waist with elastic is cut, mm: the hip passes it with 2 cm to spare."""
    return most(s.m["hip_girth"] + s.fitted("hip") + HIP_PASS_MM, g.waist)


def finish_widths(
    s: Sheet, waist: Amount, spots: Sequence[EdgeAt], count: int, full: float
) -> None:
    """Band or casing of a waist that is cut in ``count`` equal widths, its notches at their seams and
    middles; ``full``: how much longer these are, to be gathered in."""
    each = float(waist) / count
    at = {
        "seam": [each * i for i in range(1, count)],
        "middle": [each * (i + 0.5) for i in range(count)],
    }
    if s.style["waist_finish"] in STRAIGHT:
        add_straight(s, float(waist), at, spots, full, waist)


def waist_girth(s: Sheet, spots: Sequence[EdgeAt], waist: Amount, grows: float = 0.0) -> None:
    """The finished waist, measured on its band where it has one; ``grows``: by how much without, mm."""
    round_ = grows + sum(sewn_length(s.pieces[p], e) for p, e in spots)
    if "casing" in s.pieces or s.onto:
        return  # the elastic draws it in; or it is the bodice's
    if "waistband" in s.pieces:  # what is gathered in is measured on its band
        round_ = s.pieces["waistband"].edges["waist"].length_mm - float(s.style["band_overlap"])
    elif round_ > waist + 1.0:  # it is gathered, and on what is hers to add
        round_ = float(waist)
    body = s.m["waist_girth"]
    s.girths.append(Girth("waist girth", round_, float(body), float(waist - body)))


def hip_girth(s: Sheet, mm: float, wanted: Amount, more: bool) -> None:
    """The finished hip; ``more``: more than wanted is as good."""
    body = s.m["hip_girth"]
    s.girths.append(Girth("hip girth", mm, float(body), float(wanted - body), more))


FINISHING = {
    "band": "Interface the band, sew it to the waist notch on notch, fold it and close its ends.",
    "facing": "Interface the facings, join them at the sides, sew them to the waist, clip, turn in and hold them at the seams.",
    "lined": "Interface the yoke, sew its inner layer to the waist, clip, turn in and sew it down over the seams.",
    "elastic": "Close the casing to a ring, sew it to the waist, fold it, and draw the elastic in.",
    "none": "Finish the waist as you like.",
}


# --- pockets -------------------------------------------------------------------------------------


def side_pockets(s: Sheet, names: Sequence[str], zip_there: bool) -> None:
    """Pocket bags for a front and a back whose edge 'side' runs up."""
    seam_pockets(s, {n: {"side": False} for n in names}, zip_there)


def seam_pockets(
    s: Sheet, spots: Mapping[str, Mapping[str, bool]], zip_there: bool, down_mm: float = POCKET_DOWN_MM,
    key: str = "pockets",
) -> None:  # fmt: skip
    """Pocket bags for the side seams: a piece, and two notches on each side.

    ``spots``: piece → edge → whether it runs down; ``zip_there``: the left side has a zip; ``down_mm``: how
    far below the edges' upper ends, darts closed; ``key``: the option that asks for them.
    """
    if s.style[key] == "none":
        return
    long_ = min(sewn_length(s.pieces[p], e) for p, edges in spots.items() for e in edges)
    wrong = long_ < down_mm + POCKET_DEEP_MM + 50.0
    what = f"have no room in a side seam of {s.t(long_)}."
    s.refuse(wrong, f"style.{key}", what, "Make it longer, or leave the pockets out.")
    for name, edges in spots.items():
        for e, down in edges.items():
            piece = s.pieces[name]
            sewn = sewn_length(piece, e)
            at = [down_mm, down_mm + POCKET_OPEN_MM]
            places = [place_sewn(piece, e, x if down else sewn - x) for x in at]
            s.pieces[name] = piece.plus(notches=[Notch(e, x, 1, "pocket") for x in places])
    s.add(_pocket_bag(s, 2 if zip_there else 4), all=s.options(key))
    if any("seam" in e for edges in spots.values() for e in edges):
        s.notes.append("The pocket is notched on the seams of every panel; it goes into the side seams only.")  # fmt: skip
    s.makes(flat="Sew the pocket bags to the sides between their notches.")
    if zip_there:
        s.notes.append("The zip takes the left side seam: the pocket goes into the right one only.")


def _pocket_bag(s: Sheet, cut: int) -> Piece:
    """A bag that hangs from the side seam: straight there, deep enough for a hand."""
    long_, deep, wide = POCKET_OPEN_MM + 2 * _BAG_PAST_MM, POCKET_DEEP_MM, _BAG_MM
    bag = [
        sweep((0.0, -long_), (0.35, -1.0), (0.55 * wide, -deep), (1.0, 0.0)),
        rounded((0.55 * wide, -deep), (wide, -deep), (wide, -deep + 0.45 * wide)),
        sweep((wide, -deep + 0.45 * wide), (0.0, 1.0), (0.0, 0.0), (-1.0, 0.0), (1.0, 1.4)),
    ]
    edges = edges_of({"side": np.array([(0.0, 0.0), (0.0, -long_)]), "bag": bag})
    ends = tuple(Notch("side", x, 1, "pocket") for x in (_BAG_PAST_MM, long_ - _BAG_PAST_MM))
    return Piece(
        "pocket bag", edges, cut, True, notches=ends,
        grain=((0.4 * wide, -0.8 * deep), (0.4 * wide, -0.3 * deep)),
        label=label_of("pocket bag", f"cut {cut}, {'a pair' if cut == 2 else 'two pairs'}", s.measurements),
    )  # fmt: skip
