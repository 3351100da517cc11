"""The set-in sleeve: a cap drafted to the armhole as it was sewn, in the trade's shapes and lengths.

For any bodice or top here, after its changes. Cap height by the armhole: a third of it for a fitted
sleeve, a quarter for an easy, a fifth for a casual one, less what a dropped shoulder grew; the cap's
halves are their armholes' lengths and 40 and 60 hundredths of the ease, none of it below the
notches (handbooks' rules, from memory). Armhole → cap → seams and hem → fullness → cuff. Frame:
piece mm, x from the sleeve's middle, front at x > 0 (the right sleeve), y up, y = 0 at the crown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from drafting.blocks import Block
from drafting.blocks._elbow_dart import NEAR_MM, elbow_dart, record, sewn_in
from drafting.blocks._sleeve_lines import (
    SPREAD_MM,
    Sizes,
    fuller_lines,
    least_end,
    notch_places,
    plain_lines,
    sizes_of,
)
from drafting.curves import Points
from drafting.fit import BACK, FRONT, LEFT, SLEEVE
from drafting.piece import Notch, Piece
from drafting.sheet import Sheet, edges_of, found
from drafting.sheet.armholes import Armhole, alike, armholes
from drafting.sheet.arms import Arm
from drafting.sheet.caps import Cap
from drafting.sheet.cuffs import elastic_in, sewn_to_cuff
from drafting.sheet.darts import OpenDart
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import flip, label_of, refuse_crossing
from drafting.truing import Seam

PLAIN_EDGES = ("front underarm", "front cap", "back cap", "back underarm")
END = {"hem": "sleeve hem", "cuff": "sleeve end", "elastic": "casing hem"}

OPTIONS = (
    length("length", "How long, from the shoulder point, its cuff included; the names go by the arm.", None, 120.0, 800.0, word="short",
           choices={"short": "22 cm, and 5 cm below the underarm at least", "elbow": "3 cm above the elbow", "three-quarter": "between elbow and wrist", "long": "to the wrist bone"}),
    length("cap", "How high the cap is: higher hangs neater, lower lifts easier and is wider.", None, 25.0, 260.0, word="auto",
           choices={"auto": "easy, or as low as the arm needs", "fitted": "a third of the armhole", "easy": "a quarter", "casual": "a fifth"}),
    length("cap_ease", "How much longer the cap is than the armhole, to be eased in; unset, it goes by the cap.", None, 0.0, 50.0),
    choice("shape", "The sleeve's shape.",
           {"plain": "straight or narrowing", "flared": "a bell, spread at its hem", "bishop": "full at its end, gathered there",
            "puff": "gathered at the cap, and at its end where a cuff or elastic holds it"}),
    length("fullness", "Spread between the slashes, in all; unset, it goes by the shape.", None, 20.0, 700.0, {"shape": ("flared", "bishop", "puff")}),
    length("hem_width", "Round its end, before pleats or gathers; unset, it goes by the arm.", None, 160.0, 900.0, {"shape": ("plain",)}),
    choice("elbow", "How it bends at the elbow.", {"none": "straight", "dart": "forward, by a dart in the back seam"}, when={"shape": ("plain",)}),
    length("elbow_dart", "Width of the elbow dart.", 20.0, 8.0, 40.0, {"elbow": ("dart",)}),
    choice("finish", "How it ends.", {"hem": "turned up", "cuff": "a cuff, with a placket where the hand needs it", "elastic": "in a casing"}),
    choice("cuff", "Shape of the cuff.", {"straight": "a folded band", "shaped": "in two layers, follows the arm"}, when={"finish": ("cuff",)}),
    length("cuff_depth", "Depth of the finished cuff; unset, 6 cm, or 3 cm of a band that needs no opening.", None, 15.0, 200.0, {"finish": ("cuff",)}),
    choice("into_cuff", "How fullness goes into the cuff.", {"auto": "pleats up to 6 cm, else gathers", "pleats": "two pleats", "gathers": "gathered"}, when={"finish": ("cuff",)}),
    length("placket_length", "Length of the slit at the back, where the cuff opens.", 110.0, 60.0, 160.0, {"finish": ("cuff",)}),
    length("elastic_width", "Width of the elastic.", 10.0, 4.0, 40.0, {"finish": ("elastic",)}),
)  # fmt: skip


def _piece(s: Sheet, z: Sizes, name: str, points: dict[str, Points], cut: int, dart: OpenDart | None) -> None:  # fmt: skip
    """The sleeve as a piece with its notches, and what finishes it."""
    end = END[s.style["finish"]]
    points = {(end if n == "hem" else n): p for n, p in points.items()}
    places = notch_places(z, points)
    low = -float(z.long_)
    if z.hole.side == LEFT:  # the right sleeve's mirror image
        points = {n: flip(points[n]) for n in reversed(list(points))}
    edges = edges_of(points)
    refuse_crossing(edges, name)
    notches = [Notch("front cap", edges["front cap"].length_mm, 1, "shoulder")]
    for place, half in zip(places, (z.hole.back, z.hole.front), strict=True):
        notches.append(Notch(*place, half.count, half.match))
    at = z.arm.elbow_at
    if at is not None and z.height + 60.0 < at - z.hole.grown < z.long_ - 60.0:
        seam, down = edges["front underarm"], float(at - z.hole.grown - z.height)
        near = {"elbow": 0.0} if dart is None else {"above the elbow": -NEAR_MM, "below the elbow": NEAR_MM}  # fmt: skip
        notches += [Notch("front underarm", seam.length_mm - down - x, 1, word) for word, x in near.items()]  # fmt: skip
    if z.hole.side == LEFT:
        notches = [replace(n, at_mm=edges[n.edge].length_mm - n.at_mm) for n in notches]
    how = "cut 2, a pair" if cut == 2 else "cut 1, right side up"
    made = Piece(
        name, edges, cut, cut == 2, grain=((0.0, 0.85 * low), (0.0, 0.3 * low)), notches=tuple(notches),
        label=label_of(name, how, s.measurements),
    )  # fmt: skip
    s.add(made if dart is None else sewn_in(made, dart), all=z.of)
    if z.cuff:
        sewn_to_cuff(s, name, end, z.cuff, cut, (z.of,))
    elif end == "casing hem":
        elastic_in(s, name, end, z.arm, z.down)


def _record(
    s: Sheet, z: Sizes, cap: Cap, plain: dict[str, Points], full: dict[str, Points]
) -> None:
    """The steps of the construction."""
    side, hole = f"{z.hole.side} ".lstrip(), z.hole
    why = "Measure along the sewing line, darts closed."
    with s.step(f"{side}armhole", f"The {side}armhole, measured", why=why):
        s.tell("armhole in front", hole.front.length)
        s.tell("armhole behind", hole.back.length)
        s.tell("cap in front", z.front)
        s.tell("cap behind", z.back)
    with s.step(f"{side}frame", "Middle line, cap line, biceps line and hem line"):
        wide = cap.front_width + 40.0
        s.frame(z.long_, wide, cap_line=0.0, biceps_line=z.height, hem_line=z.long_)
    why = "So wide is each half where its cap is as long as it must be."
    with s.step(f"{side}biceps", "Width at the biceps line", why=why):
        for half, width in ((FRONT, cap.front_width), (BACK, -cap.back_width)):
            s.point(f"{half} underarm", on="biceps line", out=found(width, f"{half} width", z.of))
    why = f"No ease below the notches: they lie {s.t(hole.front.notch_mm)} above the underarm in front and {s.t(hole.back.notch_mm)} behind, on cap and armhole alike."
    with s.step(f"{side}cap", "The cap", why=why):
        for half, more in ((FRONT, " and more so than the back"), (BACK, "")):
            how = f"full near the crown, hollow near the underarm{more}, square to the underarm seam for 1 cm"
            s.draw(f"{half} cap", plain[f"{half} cap"], how)
    with s.step(f"{side}seams", "Underarm seams and hem"):
        for name, (x, y) in (("front hem", plain["hem"][-1]), ("back hem", plain["hem"][0])):
            out, up = found(x, name, z.of), found(y + z.long_, name, z.of)
            s.point(name, on="hem line", out=out, up=up)
        for half in (FRONT, BACK):
            s.draw(f"{half} underarm", plain[f"{half} underarm"], "straight")
        s.draw("hem", plain["hem"], "square to both underarm seams")
    if full is not plain:
        spread = s.t(s.given("fullness", SPREAD_MM[s.style["shape"]]))
        why = f"Slash the sleeve along the lines from cap to hem, spread it by {spread} in all, and draw the edges anew, smoothly."
        with s.step(f"{side}fullness", "Slash and spread", why=why):
            for n, points in full.items():
                s.draw(n, points, "-")


def _sew(s: Sheet, holes: Sequence[Armhole], names: Sequence[str]) -> None:
    """What is sewn to what, and the corners that must be square."""
    word = (
        "gathered in between the notches"
        if s.style["shape"] == "puff"
        else "eased in above the notch"
    )
    for name, hole in zip(names, holes, strict=True):
        for half, part in ((FRONT, hole.front), (BACK, hole.back)):
            cap = (name, f"{half} cap")
            more = s.pieces[name].edges[cap[1]].length_mm - float(part.length)
            seam = f"{hole.side} {half} armhole".strip()
            s.seams.append(Seam(seam, (cap,), part.spots, more, word))
    for name in dict.fromkeys(names):
        s.sew(f"{name} underarm", (name, "front underarm"), (name, "back underarm"))
        end = next(e for e in s.pieces[name].edges if e not in PLAIN_EDGES)
        s.square(name, [frozenset((f"{h} underarm", e)) for h in (FRONT, BACK) for e in (f"{h} cap", end)])  # fmt: skip


def _passes(s: Sheet, z: Sizes, name: str) -> None:
    """Refuse an end that the hand or the arm does not pass."""
    end = next(e for n, e in s.pieces[name].edges.items() if n not in PLAIN_EDGES)
    if end.name != "sleeve hem":
        return
    need = least_end(z)
    what = f"is {s.t(end.length_mm)} round; hand and arm need {s.t(need)} there."
    remedy = "Make it wider, or choose 'finish: cuff'."
    s.refuse(end.length_mm < need - 0.5, "style.hem_width", what, remedy)


def _say(s: Sheet, arm: Arm) -> None:
    """What she should know before she cuts."""
    if s.style["shape"] == "bishop" and s.style["finish"] == "hem":
        s.notes.append("A bishop sleeve is gathered at its end: 'style: {finish: cuff}', or elastic; as it is, it is flared.")  # fmt: skip
    if arm.guessed and s.style["length"] != "short":
        s.notes.append(f"Not measured, and guessed: {', '.join(arm.guessed)}. Measure them: arms differ.")  # fmt: skip


_ENDED = {
    "hem": "Turn up the sleeve's hem and sew it by hand or machine.",
    "cuff": "Lay the pleats or pull up the gathers at the sleeve's end, sew the cuff on, fold it and sew its inside down.",
    "elastic": "Turn up the casing, stitch it down but for a gap, draw the elastic in and close it.",
}


def _make_up(s: Sheet, pair: bool, bent: bool) -> None:
    """How it is made up, in order (common practice, no source)."""
    each = "each sleeve" if pair else "both sleeves, each on its own side,"
    fuller = "gather it" if s.style["shape"] == "puff" else "ease it in"
    slit = any("placket" in n for n in s.pieces)
    s.making += [
        f"Slit {each} along its mark and bind the slit with its placket." * slit,
        "Sew the elbow darts and press them down." * bent,
        "Sew the underarm seam of each sleeve; press it open or neaten it.",
        _ENDED[s.style["finish"]],
        f"With shoulder and side seams sewn: two rows of long stitches along the cap between its notches. Pin the sleeve into the armhole, "
        f"right sides together: underarm on side seam, notch on notch (two behind), crown on shoulder seam. Pull the cap up to fit, {fuller}, and sew from the sleeve's side.",
    ]  # fmt: skip


def set_in_sleeve(s: Sheet) -> None:
    """Draft the sleeve.

    Raises:
        DraftError: no armhole to set it in, a sleeve in which the arm has no room, with figures.
    """
    arm, holes = Arm.of(s), armholes(s)
    bent = s.style["elbow"] == "dart" and s.style["shape"] == "plain"
    pair = alike(holes)
    names = ["sleeve"] * len(holes) if pair else [f"{h.side} sleeve" for h in holes]
    for name, hole in zip(names, holes, strict=True):
        if name in s.pieces:
            continue
        z = sizes_of(s, replace(hole, side="") if pair else hole, arm)
        z, cap, plain = plain_lines(s, z)
        full = plain if s.style["shape"] == "plain" else fuller_lines(s, z, plain)
        _record(s, z, cap, plain, full)
        dart = None
        if bent:
            full, dart = elbow_dart(s, z, full)
            record(s, dart, full, f"{z.hole.side} ".lstrip())
        _piece(s, z, name, full, 2 if pair else 1, dart)
        _passes(s, z, name)
    _sew(s, holes, names)
    _say(s, arm)
    _make_up(s, pair, bent)


BLOCK = Block(
    name="set-in-sleeve",
    title="The set-in sleeve",
    text="A sleeve in one piece, its cap drafted to the armhole of the garment that it is set in.",
    needs=("upper_arm_girth",),
    helps=("arm_length", "shoulder_to_elbow", "elbow_girth", "wrist_girth", "hand_girth", "shoulder_length"),
    options=OPTIONS,
    edges=("sleeve hem", "sleeve end", "casing hem", "front underarm", "front cap", "back cap", "back underarm", "sleeve edge", "wrist edge", "right side", "left side", "inner"),
    draw=set_in_sleeve,
    changes=SLEEVE,
    joins=("armhole",),
    alone=False,
    allowances={"all": 10.0, "sleeve hem": 25.0, "casing hem": 20.0},
)  # fmt: skip
