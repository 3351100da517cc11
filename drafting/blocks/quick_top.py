"""The quick top: a loose dartless top drafted on quarters, front and back in one drawing.

Rules as common practice gives them for a first garment (no source): the length in thirds, a
quarter of each girth with an inch of ease, a shoulder line balanced seven eighths up and down,
an armhole and hem drawn square. Measures → points of four quarters → fit changes → curves (see
`_quarter_lines`) → pieces. Frame: piece mm, x from the centre line, y up, y = 0 on the top line
through the back neck point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

from configs.errors import DraftError
from drafting.blocks import Block
from drafting.blocks._bust_lines import FULL_MM, bust_point, darted, for_chest, fuller_by, shaped
from drafting.blocks._quarter_lines import Drawn, draw_side
from drafting.blocks._top_finish import (
    IN_ONE,
    Held,
    buttons,
    finish,
    gather_zone,
    mark_gathers,
    notches_on,
    pocket,
    seamed,
    side_bags,
    stand_of,
)
from drafting.curves import Points, chain_length, vec
from drafting.fit import BACK, FRONT, KINDS, LEFT, RIGHT, SLEEVE, Quarter, apply, one_sided
from drafting.piece import Line
from drafting.sheet import Amount, Sheet, found, fronts, number, sources_of
from drafting.sheet.finishing import gathered
from drafting.sheet.necklines import BACK_DEPTHS, DEPTHS, OUT_MM
from drafting.sheet.options import choice, length, ratio
from drafting.sheet.passing import head_need, pass_arm, pass_body, pass_head, slit_in_facings
from drafting.sheet.pieces import edge_at, pieces_of
from drafting.sheet.record import CENTRE_LINE
from drafting.truing import Check, Girth, Seam

INCH = 25.4
_SHAPES = {
    "round": "follows the base of the neck",
    "scoop": "deep and round",
    "v": "two nearly straight lines to a point",
    "square": "straight down, straight across",
    "boat": "wide and shallow, from shoulder to shoulder",
}
_FINISHES = {"none": "left to you", "facing": "a facing of its shape", "bias": "bound with a bias strip"}  # fmt: skip
_SLEEVED = {"sleeve": ("cap", "short", "elbow")}
_GATHERED = {"gathers": ("front", "back", "both")}
_FACED, _BOUND = ({f"{e}_finish": (k,) for e in ("neckline", "armhole")} for k in ("facing", "bias"))  # fmt: skip
_BUTTONED = {"opening": ("front",)}
_IN_FACINGS = {**_FACED, **_BUTTONED, "neckline_finish": ("facing", "all in one")}
_POCKET = {"pocket": ("chest", "hip")}
OPTIONS = (
    length("length", "How long, from the back neck point down; the names go by the wearer's own length.", None, 300.0, 1300.0, word="top",
           choices={"crop": "ends above the waist", "waist": "ends just below the waist", "top": "ends at the tailbone",
                    "tunic": "15 cm longer", "dress": "42 cm longer, to about the knee"}),
    length("bust_ease", "Ease round the body at the bust.", 4 * INCH, 0.0, 400.0),
    length("waist_ease", "Ease round the body at the waist.", 3 * INCH, 0.0, 400.0),
    length("hem_ease", "Ease round the body at the hem.", 4 * INCH, 0.0, 400.0),
    choice("bust_shaping", "Shaping for a full bust, so that the hem hangs level.",
           {"none": "a front without a dart", "dart": "a dart in the side seam", "hem": "the dart turned into the hem, which swings"}),
    length("bust_spread", "How much each front half is spread over the bust; unset, half of what bust over upper chest is more than 5 cm.", None, 5.0, 70.0, {"bust_shaping": ("dart", "hem")}),
    choice("neckline", "Shape of the front neckline.", _SHAPES),
    choice("back_neckline", "Shape of the back neckline.", _SHAPES),
    length("front_neck_depth", "Front neckline, below the top line at the centre; unset, it goes by its shape.", None, 15.0, 320.0),
    length("back_neck_depth", "Back neckline, below the top line at the centre; unset, it goes by its shape.", None, 10.0, 320.0),
    length("neck_point_out", "Neck point moved out along the shoulder line, on each side; unset, it goes by the shape.", None, 0.0, 90.0),
    choice("shoulder_seam", "The sloping shoulder seam as drawn, or cut to the measured shoulder length.",
           {"drawn": "to the shoulder mark", "measured": "as long as the shoulder"}),
    length("shoulder_in", "Shoulder narrower at its outer end, for a sleeveless top.", 0.0, 0.0, 70.0),
    choice("waist", "Side seam straight from bust to hem, or shaped in at the waist (4 cm at most).",
           {"straight": "an A-line", "shaped": "through the eased waist"}),
    choice("sleeve", "A sleeve grown on to the shoulder.",
           {"none": "an armhole", "cap": "5 cm over the shoulder point", "short": "18 cm or a little more, with an underarm", "elbow": "30 cm, with an underarm"}),
    length("sleeve_length", "Grown-on sleeve from the shoulder point; up to 7.5 cm it is a cap.", None, 20.0, 380.0, _SLEEVED),
    length("sleeve_width", "Grown-on sleeve round the arm at its hem; unset, the upper arm and 6 cm.", None, 220.0, 700.0, {"sleeve": ("short", "elbow")}),
    length("flare", "Added to the hem, round the body.", 0.0, 0.0, 900.0),
    choice("hem", "Shape of the hem.", {"level": "hangs level", "shirt-tail": "rises to the side seam"}),
    length("hem_rise", "How far a shirt-tail hem rises at the side.", None, 20.0, 160.0, {"hem": ("shirt-tail",)}),
    choice("centre_back", "Back cut on the fold, or in two with a seam.", {"fold": "one piece", "seam": "two pieces"}),
    choice("opening", "A slit at the centre back so that the head passes, or a front that buttons from neckline to hem.",
           {"auto": "a slit, only where the head needs it", "slit": "always", "front": "buttons down the front", "none": "never (cloth that stretches)"}),
    length("opening_length", "Length of the slit.", None, 30.0, 400.0, {"opening": ("slit",)}),
    length("button", "Width of the buttons in front.", 12.0, 6.0, 40.0, _BUTTONED),
    length("button_stand", "How far each front reaches past the centre; unset, it goes by the button.", None, 8.0, 60.0, _BUTTONED),
    choice("side_opening", "An opening for a zip in the left side seam, where the body would not pass.",
           {"auto": "only where the body needs it", "zip": "always", "none": "never (cloth that stretches)"}),
    choice("gathers", "Neckline with fullness to gather in, slashed and spread to the hem.",
           {"none": "plain", "front": "at the front neckline", "back": "at the back neckline", "both": "all round"}),
    ratio("gather_ratio", "Length of the neckline before gathering, as a multiple of the finished one.", 1.5, 1.1, 2.5, _GATHERED),
    choice("gather_spread", "Where the fullness goes.",
           {"even": "down to the hem", "top": "only at the neckline, hinged at the hem"}, when=_GATHERED),
    choice("neckline_finish", "How the neckline is finished; facings and bindings become pieces.",
           {**_FINISHES, "all in one": "one facing for neckline and armholes, of a sleeveless top"}),
    choice("armhole_finish", "How the armholes are finished.", _FINISHES),
    length("facing_width", "Width of facings.", 60.0, 25.0, 120.0, _IN_FACINGS),
    choice("interfacing", "Pieces of interfacing for the facings; a front that buttons has its own.", {"none": "left to you", "facings": "a piece for each facing"}, when=_IN_FACINGS),
    length("binding_width", "Width of bias strips as cut: four times the finished width.", 28.0, 16.0, 80.0, _BOUND),
    choice("pocket", "Patch pockets, their places marked on the front, or bags in the side seams.", {"none": "none", "chest": "one on the chest", "hip": "two below the waist", "seam": "in the side seams, a hand wide, below the waist"}),
    length("pocket_width", "Width of the finished pocket; unset, 12.5 cm, or less where the front has no room.", None, 60.0, 220.0, _POCKET),
    length("pocket_depth", "Depth of the finished pocket; unset, 14 cm, or less where the front has no room.", None, 60.0, 260.0, _POCKET),
)  # fmt: skip

BALANCE = number(7 / 8 * INCH, "balance")  # neck point up, shoulder mark down: the shoulder's slope
BACK_DROP = number(3 / 8 * INCH, "back shoulder lower by")
FRONT_DEPTH = number(3 * INCH, "neck depth")
BACK_RISE = number(1.5 * INCH, "back higher by")
LEAST_BELOW_BUST_MM = 45.0
PAPER_MARGIN_MM = 2 * INCH
FINGER_MM = 25.0  # a thumb: a neckline may be as much deeper or wider where that saves a slit
SLOPE_MM = 15.0  # the balance makes the seam of a shoulder of 85 mm 11 mm longer, of others less
FULL_BUST_MM = 60.0
EASE_TO_PULL_ON_MM = 100.0
ARM_ROOM_MM = 50.0
LONGER_MM = {"tunic": 150.0, "dress": 420.0}


# --- the points --------------------------------------------------------------------------------


def _hem_depth(s: Sheet) -> Amount:
    """The hem's depth below the top line."""
    chosen, down = s.style["length"], s.m["back_neck_to_tailbone"]
    if isinstance(chosen, Amount):
        return chosen
    share = {"crop": 0.62 * down, "waist": down * (2 / 3) + 30.0}.get(chosen, down)
    depth = share + LONGER_MM.get(chosen, 0.0)
    return Amount(depth, depth.kind, "", depth.parts, depth.sources | chosen.sources)


def _base(s: Sheet, more: float) -> dict[str, Quarter]:
    """The steps from the measures to the eased points: a front and a back quarter. ``more``: mm by
    which the neckline is deeper for the head, or wider where it is a boat."""
    m, style = s.m, s.style
    down, hem = m["back_neck_to_tailbone"], _hem_depth(s)
    third = (down / 3).named("a third")
    quarters = {
        "bust": ("bust line", m["bust_girth"] / 4, style["bust_ease"] / 4),
        "waist": ("waist line", m["waist_girth"] / 4, style["waist_ease"] / 4),
        "hem": ("bottom line", m["hip_girth_at_tailbone"] / 4, style["hem_ease"] / 4),
    }
    eased = [float(girth + ease) for _, girth, ease in quarters.values()]
    widest = max(*eased, float(m["neck_width"] / 2 + m["shoulder_length"])) + PAPER_MARGIN_MM
    shape, back_shape = style["neckline"], style["back_neckline"]
    with s.step("frame", "Centre line, top line and bottom line"):
        s.frame(down, widest, top_line=0.0, bottom_line=down)
        s.tell(f"paper: {s.t(down + PAPER_MARGIN_MM)} ×", widest)
    with s.step("thirds", "Bust line and waist line"):
        s.level("bust line", third)
        s.level("waist line", third * 2)
    with s.step("neck-point", "Neck point"):
        s.point("neck mark", on="top line", out=m["neck_width"] / 2)
    with s.step("girths", "A quarter of each girth"):
        for name, (on, girth, _) in quarters.items():
            s.point(name, on=on, out=girth)
    with s.step("shoulder-mark", "Shoulder mark"):
        start = "neck mark"
        s.point("shoulder mark", from_=start, out=m["shoulder_length"])
    with s.step("neck-depth", "Depth of the front neckline", FRONT):
        usual = FRONT_DEPTH if shape == "round" else third * DEPTHS[shape]
        if more and shape != "boat":
            usual = usual + number(more, "for the head")
        depth = s.given("front_neck_depth", usual, shape, _for_head(s))
        s.point("centre front neck", on=CENTRE_LINE, up=-depth)
    with s.step("balance", "Balance: the shoulder line", FRONT):
        neck = s.move("neck mark", up=BALANCE, to="neck point")
        tip = s.move("shoulder mark", up=-BALANCE, to="shoulder point")
        s.join("shoulder line", "neck point", "shoulder point")
        drawn = math.dist(neck, tip)
        s.remark(f"drawn shoulder {s.t(drawn)}, measured {s.t(m['shoulder_length'])}")
    with s.step("ease", "Ease"):
        bust, waist, hip = (s.move(n, out=q[2], to=f"eased {n}") for n, q in quarters.items())
    front = Quarter(FRONT, neck, tip, -depth, bust, waist, hip, -hem)
    lower = front.moved(neck=(0.0, -BACK_DROP), shoulder=(0.0, -BACK_DROP))
    usual = FRONT_DEPTH - BACK_RISE if back_shape == "round" else third * BACK_DEPTHS[back_shape]
    depth = s.given("back_neck_depth", usual, back_shape)
    return {FRONT: front, BACK: replace(lower, half=BACK, centre_y=-depth)}


def _for_head(s: Sheet) -> Any:
    """What a neckline hangs on that may be a finger deeper or wider, so that the head passes."""
    if s.style["neckline"] == "round" or s.style["opening"] != "auto":
        return ()
    keys = ("opening", "back_neckline", "back_neck_depth", "front_neck_depth", "neck_point_out", "shoulder_in", "shoulder_seam")  # fmt: skip
    return *(s.m.get(k) for k in ("neck_width", "shoulder_length", "head_girth")), s.options(*keys)


def _styled(s: Sheet, q: Quarter, more: float) -> Quarter:
    """Points moved along the shoulder line as the style asks."""
    c, sine = (found(v, "", q.neck, q.shoulder) for v in q.along)
    of = (q.neck, q.shoulder, s.options("shoulder_seam"))
    long_ = found(q.shoulder_length, "drawn shoulder", *of)
    end = long_
    if s.style["shoulder_seam"] == "measured":
        measured = s.m["shoulder_length"] + q.ease
        end = found(measured, "shoulder length", measured, long_)
    end = end - s.style["shoulder_in"]
    shape = s.style["neckline"]
    usual = OUT_MM[shape] + (more if shape == "boat" else 0.0)
    start = s.given("neck_point_out", usual, shape, _for_head(s) if shape == "boat" else ())
    left = f"only {s.t(max(end - start, 0.0))} of it are left."
    s.refuse(end - start < 20.0, "shoulder", left, "Use less for neck_point_out or shoulder_in.")
    neck, tip = ((q.neck[0] + at * c, q.neck[1] + at * sine) for at in (start, end))
    return replace(q, neck=neck, shoulder=tip)


def _check(s: Sheet, q: Quarter) -> None:
    """Refuse points from which no garment can be drawn, with the reason."""
    deep, below = q.shoulder[1] - q.bust[1], q.bust[1] - q.centre_y
    neckline, armhole, past = f"{q.half} neckline", f"{q.half} armhole", q.shoulder[0] - q.bust[0]
    least = LEAST_BELOW_BUST_MM
    for wrong, where, what, remedy in (
        (q.neck[1] - q.centre_y < 8.0, neckline, "is shallower than the neck point.", "Make it deeper."),
        (below > 60.0, neckline, f"reaches {s.t(below)} below the bust line.", "Make it shallower."),
        (deep < 70.0, armhole, f"is only {s.t(deep)} deep.", "The bust line lies at a third of back_neck_to_tailbone: is that length right?"),
        (past > 25.0, armhole, f"the shoulder reaches {s.t(past)} past the eased bust point.", "Are neck_width, shoulder_length and bust_girth from the same body?"),
        (q.hem_y > q.bust[1] - least, "length", f"ends less than {s.t(least)} below the bust line.", "Make the top longer."),
    ):  # fmt: skip
        s.fault(wrong, where, what, remedy)
    s.stop()


def _hangs(s: Sheet, pair: Mapping[str, Quarter]) -> Held:
    """What each edge of front and back hangs on, by half and edge."""
    f, b = pair[FRONT], pair[BACK]
    sleeve = s.options("sleeve")
    if s.style["sleeve"] != "none":
        sleeve |= s.options("sleeve_length", "sleeve_width") | sources_of(
            s.m.get("upper_arm_girth")
        )
    shoulder = sources_of(f.neck, f.shoulder, b.neck, b.shoulder, sleeve)
    bust: list[Any] = [s.options("bust_shaping")]
    if s.style["bust_shaping"] != "none":
        keys = ("upper_chest_girth", "bust_girth", "bust_point_width", "side_neck_to_bust_point")
        bust += [s.options("bust_spread"), *(s.m.get(k) for k in keys), f.shoulder, f.neck]
    low = [*bust, *(v for q in (f, b) for v in (q.bust, q.waist, q.hip, q.hem_y))]
    side = sources_of(low, s.style["flare"], sleeve, s.options("waist", "hem", "hem_rise"))
    if s.style["sleeve"] not in ("none", "cap"):
        side = sources_of(side, shoulder)
    neck = sources_of(shoulder - sleeve, f.centre_y, b.centre_y)
    out: dict[str, dict[str, Any]] = {}
    for h, q in pair.items():
        full = s.options("gathers")
        if s.style["gathers"] in (h, "both"):
            full = sources_of(full, neck, side, s.options("gather_ratio", "gather_spread"))
        out[h] = {
            "fold": sources_of(q.centre_y, q.hem_y, side if h == FRONT and len(bust) > 1 else bust),
            "neckline": sources_of(neck, full),
            "shoulder": sources_of(shoulder, side if "upper_arm_girth" in sleeve else (), full),
            "side": sources_of(side, full),
            "hem": sources_of(side, full),
            "all": sources_of(shoulder, side, full),  # armhole, sleeve hem, underarm
        }
        out[h]["centre_back"] = out[h]["fold"]
    opened = s.options("opening", *(("button", "button_stand") if buttons(s) else ()))
    out[FRONT]["hem"] = sources_of(out[FRONT]["hem"], opened)
    at_edge = sources_of(out[FRONT]["fold"], out[FRONT]["neckline"], opened)
    out[FRONT] |= dict.fromkeys(("front_edge", "stand_top"), at_edge)
    return out


# --- the steps of the lines ----------------------------------------------------------------------


def _record(s: Sheet, pair: Mapping[str, Quarter], drawn: Mapping[str, Drawn]) -> None:
    """The steps from the moved points to the lines, on the front and then on the back."""
    q, b = pair[FRONT], pair[BACK]
    front, back = drawn[FRONT], drawn[BACK]
    flat = front.flat
    with s.step("changes", "Her style and fit", FRONT, "The curves are drawn through the moved points."):  # fmt: skip
        places = (q.neck, front.quarter.shoulder, q.bust, q.waist, q.hip, (0.0, q.centre_y))
        names = ("neck point", "shoulder point", "eased bust", "eased waist", "eased hem", "centre front neck")  # fmt: skip
        for name, at in zip(names, places, strict=True):
            s.moved_to(name, at)
        for c in s.fit:
            s.remark(c.text + (f": {c.note}" if c.note else ""))
    point = " but for the point of the V" if s.style["neckline"] == "v" else ""
    with s.step("neckline", "Front neckline", FRONT):
        s.draw("neckline", flat["neckline"], f"from the neck point to the centre, square to the centre line{point}")  # fmt: skip
        s.draw("shoulder", flat["shoulder"], "-")
        s.tell("front neckline", chain_length(front.edges["neckline"]))
    if "armhole" in flat:
        with s.step("armhole", "Armhole", FRONT):
            s.draw("armhole", flat["armhole"], "from the shoulder point to the eased bust, square to the shoulder line and to the side seam")  # fmt: skip
            s.tell("front armhole", chain_length(front.edges["armhole"]))
    else:
        why = "Run the shoulder line on over the arm, end it square, and round the underarm into the side seam."  # fmt: skip
        with s.step("sleeve", "Sleeve, grown on", FRONT, why):
            s.draw("sleeve hem", flat["sleeve hem"], "-")
            s.draw("underarm", flat["underarm"], "-")
            s.tell("shoulder and sleeve", chain_length(front.edges["shoulder"]))
    straight = "straight from the eased bust to the eased hem: it passes outside the eased waist"
    curved = "as one smooth curve through eased bust, eased waist and eased hem"
    with s.step("side", "Side seam", FRONT):
        s.draw("side", flat["side"], straight if len(front.edges["side"]) == 1 else curved)
        s.tell("side seam", front.side_length)
    level = "; at the centre it lies square to the fold" if s.style["hem"] == "level" else ", as a shirt tail"  # fmt: skip
    with s.step("hem", "Hem", FRONT):
        s.draw("hem", flat["hem"], f"curved up at the side so that it meets the side seam square{level}")  # fmt: skip
        s.draw("fold", flat["fold"], "-")
        s.tell("half front hem", front.hem_length)
    with s.step("back", "The back", BACK, "Draw the back on the same lines; side seam and hem are the front's."):  # fmt: skip
        for name, at in (("neck point", b.neck), ("shoulder point", back.quarter.shoulder)):
            s.moved_to(name, at, to=f"back {name}")
        s.point("centre back neck", on=CENTRE_LINE, up=b.centre_y)
        for name, points in back.flat.items():
            s.draw(name, points, "-")
        s.tell("back neckline below the top line", -back.quarter.centre_y)
        s.remark("shoulder seams and side seams of front and back are equal")


# --- pieces --------------------------------------------------------------------------------------


def _grain(q: Quarter) -> Line:
    """A grainline parallel to the fold, short of the cutting lines (JIS L 0110:2001)."""
    x = 0.42 * q.bust[0]
    low = q.hem_y + 0.12 * (q.bust[1] - q.hem_y)
    return ((x, low), (x, min(q.bust[1], q.centre_y) - 10.0))


def _lines(s: Sheet, d: Drawn) -> Mapping[str, Points]:
    """A quarter's lines, its neckline spread for gathers where the style asks."""
    if s.style["gathers"] not in (d.quarter.half, "both"):
        return d.flat
    even = s.style["gather_spread"] == "even"
    zone, by = gather_zone(d), float(s.style["gather_ratio"])
    return gathered(d.flat, "neckline", "hem", zone, by, even)


Drafts = tuple[dict[str, Quarter], list[dict[str, Quarter]], list[dict[str, Drawn]], list[str]]


def _drawn(s: Sheet, more: float) -> Drafts:
    """Base points, moved points and lines of each side, and what is said about them; the steps up to
    the ease are recorded anew. ``more``: see `_base`."""
    s.steps.clear()
    base, fuller = _base(s, more), fuller_by(s)
    both: list[dict[str, Drawn]] = []
    pairs: list[dict[str, Quarter]] = []
    said: list[str] = []
    for side in (LEFT, RIGHT) if one_sided(s.fit) else (LEFT,):
        quarters = {
            h: _styled(s, for_chest(apply(q, side, s.fit), fuller), more) for h, q in base.items()
        }
        for q in quarters.values():
            _check(s, q)
        pairs.append(quarters)
        both.append(draw_side(s, quarters[FRONT], quarters[BACK], said))
    return base, pairs, both, said


def _opening(both: list[dict[str, Drawn]]) -> float:
    """The neck opening, mm."""
    return (3 - len(both)) * sum(
        chain_length(d.edges["neckline"]) for p in both for d in p.values()
    )


def _drawn_for_head(s: Sheet) -> Drafts:
    """The lines; a finger's width deeper or wider at the neck where that saves a slit."""
    plain_ = _drawn(s, 0.0)
    shape = s.style["neckline"]
    key = "neck_point_out" if shape == "boat" else "front_neck_depth"
    short = head_need(s)[0] - _opening(plain_[2])
    if shape == "round" or s.style["opening"] != "auto" or s.style[key] is not None or short <= 0:
        return plain_
    try:
        gain = (_opening(_drawn(s, FINGER_MM)[2]) - _opening(plain_[2])) / FINGER_MM
        tried = math.ceil(short / max(gain, 1e-6))  # nearly in proportion: the next one does else
        for more in range(tried, min(tried + 3, int(FINGER_MM) + 1)):
            made = _drawn(s, more)
            if _opening(made[2]) >= head_need(s)[0]:
                break
        else:
            return _drawn(s, 0.0)
    except DraftError:
        return _drawn(s, 0.0)
    word = "wider on each side" if shape == "boat" else "deeper"
    said = f"The neckline is {s.t(more)} {word}, so that the head passes without a slit."
    return (*made[:3], [*made[3], said])


def _shaped(s: Sheet, q: Quarter, both: list[dict[str, Drawn]]) -> list[dict[str, Drawn]]:
    """Front and back of each side with the front spread over the bust where the style asks."""
    kind, fuller = str(s.style["bust_shaping"]), float(fuller_by(s))
    if kind == "none":
        return both
    grown = both[0][FRONT].edges.get("armhole") is None
    s.fault(grown, "style.bust_shaping", "turns the part below an armhole, which a grown-on sleeve has not.", "Choose 'sleeve: none', and set a sleeve in.")  # fmt: skip
    full = s.style["gathers"] in (FRONT, "both")
    s.fault(full, "style.bust_shaping", "does not go with gathers in front, which give room over the bust.", "Choose one of the two.")  # fmt: skip
    s.stop()
    if fuller == 0.0:
        s.notes.append("The bust is not fuller over its chest than a front without shaping takes: no dart is drawn.")  # fmt: skip
        return both
    if s.m.get("upper_chest_girth") is None and s.style["bust_spread"] is None:
        s.notes.append(f"The upper chest was not measured: the front is spread by {s.t(fuller / 2)} on each half, as for a full cup. Measure it: cups differ.")  # fmt: skip
    at = bust_point(s, q)
    out = [shaped(s, pair, fuller, vec(at)) for pair in both]
    made = out[0][FRONT]
    with s.step("bust", "Slashed over the bust and spread", FRONT, "Slash from the hem to the bust point and on to the armhole, and from the side to the bust point. Turn the part below the armhole out, slide the lower part with it, lengthen the centre by as much, and draw armhole and hem anew."):  # fmt: skip
        s.moved_to("bust point", at)
        s.tell("each half spread by", found(fuller / 2, "spread", fuller_by(s)))
        s.tell("the centre longer by", found(float(both[0][FRONT].quarter.hem_y - made.quarter.hem_y), "longer"))  # fmt: skip
        if made.dart is not None:
            s.dart("bust dart", made.dart.first, made.dart.tip, made.dart.second)
            s.tell("bust dart, wide at the side", math.dist(made.dart.first, made.dart.second))
        for edge in ("armhole", "side", "hem", "fold"):
            s.draw(edge, made.flat[edge], "-")
    if made.dart is None:
        wider = made.hem_length - both[0][FRONT].hem_length
        s.notes.append(f"The dart is turned into the hem: each half of it is {s.t(wider)} wider in front, and swings.")  # fmt: skip
    return out


def quick_top(s: Sheet) -> None:
    """Draft the quick top.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    base, pairs, both, said = _drawn_for_head(s)
    s.notes += dict.fromkeys(said)  # both sides of the body may say the same
    _record(s, pairs[0], both[0])
    if buttons(s):
        lines = fronts.with_stand(both[0][FRONT].flat, stand_of(s))
        with s.step("front", "The front that buttons", FRONT, "Both fronts lap over: their centre lines lie on one another."):  # fmt: skip
            s.draw("front edge", lines[fronts.EDGE], f"{s.t(stand_of(s))} past the centre line")
            s.draw("stand's top", lines[fronts.TOP], "the neckline run on")
            s.tell("buttons", s.style["button"])
    both = _shaped(s, base[FRONT], both)
    held = _hangs(s, pairs[-1])
    for h, seam in seamed(s).items():
        flat, q = [_lines(s, d[h]) for d in both], both[0][h].quarter
        lapped = h == FRONT and buttons(s)
        if lapped:
            flat = [fronts.with_stand(points, stand_of(s), d[h].flat["neckline"]) for points, d in zip(flat, both, strict=True)]  # fmt: skip
        swings = s.style["bust_shaping"] == "hem"
        cuts = partial(notches_on, q, dart=both[0][h].dart, on=BACK if swings else FRONT)
        made = pieces_of(h, h, flat, s.measurements, _grain(q), seam, notches=cuts)
        for piece in made.values():
            piece = darted(piece, both) if h == FRONT else piece
            piece = fronts.buttoned(s, piece, q.bust[1], s.style["button"]) if lapped else piece
            s.add(piece, **held[h])
    opening = _opening(both)
    _notes(s, base[FRONT], both[0])
    slit = 0.0 if buttons(s) else pass_head(s, opening)
    finish(s, both, held, slit)
    slit_in_facings(s, slit)
    mark_gathers(s, both[0])
    if s.style["pocket"] in ("chest", "hip"):
        pocket(s, both[0][FRONT].quarter)
    level = s.style["hem"] == "level" and s.style["gathers"] == "none"
    hem = 2.0 * sum(d.hem_length for pair in both for d in pair.values()) / len(both)
    front = both[0][FRONT]
    at_hip = level and s.style["length"] == "top"
    open_side = 0.0
    if not buttons(s) or s.style["side_opening"] == "zip":
        open_side = pass_body(s, hem if level else None, front.quarter.hip[1], at_hip)
    if s.style["pocket"] == "seam":
        side_bags(s, front.quarter.waist[1], bool(open_side))
    if "sleeve hem" in front.edges:
        pass_arm(s, sum(chain_length(d.edges["sleeve hem"]) for d in both[0].values()))
    s.figures |= {"neck opening": opening, "slit": slit, "side opening": open_side}
    _true(s, both)
    _make_up(s, slit, open_side)


def _make_up(s: Sheet, slit: float, open_side: float) -> None:
    """How it is sewn (common practice, no source)."""
    style = s.style
    ways = {
        "facing": "Join the facings of the {0}, sew them to it, trim, clip, turn in and hold them down at the seams.",
        "bias": "Bind the {0}.",
        "none": "Finish the {0}.",
        IN_ONE: "Facing all in one: join its sides, sew it on round neckline and armholes to 3 cm below the shoulders' ends, clip and turn. Sew the shoulders of the top, close the facing's by hand.",
    }
    in_one = style["neckline_finish"] == IN_ONE
    armhole = style["sleeve"] == "none"
    shoulder = "Stay-stitch the neckline. Gather it between its notches. " if style["gathers"] != "none" else "Stay-stitch the neckline. "  # fmt: skip
    front = " Interface the front facings, join them at the shoulders to what faces the back; sew them on along the front edges with the neckline." if buttons(s) else ""  # fmt: skip
    holes = "Work the buttonholes in the right front, their marks on its centre line; sew the buttons on the left one's." if buttons(s) else ""  # fmt: skip
    s.makes(
        darts="Sew the bust darts to their marks, 3 cm short of the bust point; press them down." if style["bust_shaping"] == "dart" else "",
        flat="Turn in the pocket's edges and sew it on its place." if style["pocket"] in ("chest", "hip") else "",
        seams="Sew the centre-back seam." if style["centre_back"] == "seam" else "",
        shoulder=shoulder + ("Leave the shoulders open." if in_one else "Sew the shoulders.") + front,
        neckline=ways[style["neckline_finish"]].format("neckline") + (f" The slit of {s.t(slit)} is faced with it." if slit else ""),
        side=f"Sew the side seams{'' if armhole else ' and the underarms in one'}.",
        armhole=ways[style["armhole_finish"]].format("armholes") if armhole and not in_one else "",
        closing=(f"The left side seam stays open for {s.t(open_side)}: set the zip in." if open_side else "") + holes,
        sleeve="" if armhole else "Turn up the hems of the sleeves.",
        hem="Turn up the hem.",
    )  # fmt: skip


def _notes(s: Sheet, q: Quarter, drawn: Mapping[str, Drawn]) -> None:
    """What she should know before she cuts (common practice, no source)."""
    seam, measured = q.shoulder_length, s.m["shoulder_length"]
    if s.style["shoulder_seam"] != "measured":
        text = f"{s.t(seam)}, measured {s.t(measured)}: it slopes; 'style: {{shoulder_seam: measured}}' keeps the measured length"
        over = float(seam - measured)
        name = "shoulder seam longer than measured"
        s.checks.append(Check(name, over, SLOPE_MM, over <= SLOPE_MM, text))
    arm = s.m.get("upper_arm_girth")
    if arm is not None and "armhole" in drawn[FRONT].edges:
        hole = sum(chain_length(drawn[h].edges["armhole"]) for h in (FRONT, BACK))
        if hole < arm + ARM_ROOM_MM:
            s.notes.append(
                f"The armhole is {s.t(hole)} round, the upper arm {s.t(arm)}: less than "
                f"{s.t(ARM_ROOM_MM)} to move in. Lower the shoulder of the toile with care, or "
                "lengthen the draft."
            )
    upper, bust = s.m.get("upper_chest_girth"), s.m["bust_girth"]
    shaping, plain_ = "'style: {bust_shaping: dart}' (or hem) lets it hang level", s.style["bust_shaping"] == "none"  # fmt: skip
    if upper is not None and bust - upper > FULL_BUST_MM and plain_:
        s.notes.append(
            f"The bust is {s.t(bust - upper)} fuller than the chest above it: a woven top without "
            f"a dart will drag from the bust to the armhole and rise in front. {shaping}."
        )
    elif upper is None and bust >= FULL_MM and plain_:
        s.notes.append(
            f"The bust measures {s.t(bust)}: where it is more than {s.t(FULL_BUST_MM)} fuller than the chest "
            f"above it, the hem rises in front. Measure upper_chest_girth; {shaping}."
        )
    if s.style["bust_ease"] < EASE_TO_PULL_ON_MM and not buttons(s):
        s.notes.append(
            f"With less than {s.t(EASE_TO_PULL_ON_MM)} of bust ease a closed woven top may not go "
            "over the shoulders: a longer opening, or a cloth that gives."
        )


# --- truing --------------------------------------------------------------------------------------

_SQUARE = [frozenset(p) for p in (
    ("fold", "hem"), ("centre back", "hem"), ("hem", "side"), ("side", "armhole"), (fronts.EDGE, "hem"),
    ("armhole", "shoulder"), ("underarm", "sleeve hem"), ("sleeve hem", "shoulder"),
)]  # fmt: skip
_AT_NECK = [frozenset(p) for p in (("fold", "neckline"), ("centre back", "neckline"), (fronts.TOP, fronts.EDGE))]  # fmt: skip


def _true(s: Sheet, both: list[dict[str, Drawn]]) -> None:
    """What must be equal, square and smooth on the pieces; the finished girths."""
    whole = len(both) == 2
    in_two = seamed(s)
    seam = in_two[BACK]
    for side in (LEFT, RIGHT) if whole else ("",):
        for name in ("side", "shoulder", "underarm"):
            a = edge_at(FRONT, side, name, in_two[FRONT])
            if a[1] in s.pieces[a[0]].edges:
                b = edge_at(BACK, side, name, seam)
                ease = both[-1 if side == RIGHT else 0][BACK].quarter.ease
                if name == "shoulder" and ease:
                    s.sew(f"{side} {name}".strip(), b, a, float(ease))
                else:
                    s.sew(f"{side} {name}".strip(), a, b)
    if whole and seam:
        a, b = (edge_at(BACK, side, "centre back", True) for side in (LEFT, RIGHT))
        s.seams.append(Seam("centre back", (a,), (b,)))
    for name in s.pieces:
        half = name.split()[-1]
        if half in (FRONT, BACK):
            shape = s.style["neckline" if half == FRONT else "back_neckline"]
            s.square(name, _SQUARE if shape == "v" else [*_SQUARE, *_AT_NECK])
    _girths(s, [d for pair in (both * 2)[:2] for d in pair.values()])


def _girths(s: Sheet, quarters: list[Drawn]) -> None:
    """Finished girths, measured on the quarters that were drawn: what is gathered in comes on top,
    and the notes tell it."""
    m, style = s.m, s.style
    plain = "" if style["gathers"] == "none" else ", gathers not counted"

    def girth(name: str, mm: float, body: str, ease: float, at_least: bool = False) -> None:
        s.girths.append(Girth(f"{name} girth{plain}", float(mm), float(m[body]), float(ease), at_least))  # fmt: skip

    bust = sum(d.quarter.bust[0] for d in quarters)
    girth("bust", bust, "bust_girth", style["bust_ease"] + s.fitted_at("bust"))
    past_waist = _hem_depth(s) >= 2.0 / 3.0 * m["back_neck_to_tailbone"]
    if past_waist and style["waist"] == "straight":
        waist = sum(d.waist_x for d in quarters)
        girth("waist", waist, "waist_girth", style["waist_ease"] + s.fitted_at("waist"), True)
    if style["length"] == "top" and style["hem"] == "level":
        hem = sum(d.hem_length for d in quarters)
        swings = style["bust_shaping"] == "hem"
        ease = style["hem_ease"] + style["flare"] + s.fitted_at("hem")
        girth("hem", hem, "hip_girth_at_tailbone", ease, swings)


BLOCK = Block(
    name="quick-top",
    title="The quick top",
    text="A loose top without darts, drafted on quarters: front and back in one drawing.",
    needs=(
        "bust_girth", "waist_girth", "hip_girth_at_tailbone", "neck_width", "shoulder_length",
        "back_neck_to_tailbone",
    ),
    helps=("head_girth", "upper_arm_girth", "upper_chest_girth", "bust_point_width", "side_neck_to_bust_point"),
    options=OPTIONS,
    edges=(
        *("fold", "centre back", "hem", "side", "armhole", "shoulder", "neckline", "bag"),
        *("underarm", "sleeve hem", "outer", "bottom", "left side", "right side"),
        *(fronts.EDGE, fronts.TOP),
    ),
    draw=quick_top,
    changes=tuple(k for k in KINDS if k not in ("hip", *SLEEVE)),
)  # fmt: skip
