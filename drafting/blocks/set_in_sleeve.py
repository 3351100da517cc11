"""The set-in sleeve: a cap drafted to the armhole as it was sewn, in the trade's shapes and lengths.

For any bodice or top here, after its changes. Cap height by the armhole: a third of it for a fitted
sleeve, a quarter for an easy, a fifth for a casual one, less what a dropped shoulder grew; the cap's
halves are their armholes' lengths and 40 and 60 hundredths of the ease, none of it below the
notches (handbooks' rules, from memory). Armhole → cap → seams and hem → fullness → cuff. Frame:
piece mm, x from the sleeve's middle, front at x > 0 (the right sleeve), y up, y = 0 at the crown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from configs.errors import DraftError, Fault
from drafting.blocks import Block
from drafting.curves import Points, chain_points, sweep
from drafting.fit import BACK, FRONT, LEFT, SLEEVE
from drafting.outline import Edge, polyline_length
from drafting.piece import Notch, Piece
from drafting.sheet import Amount, Sheet, Sources, edges_of, found, most, number, sources_of
from drafting.sheet.armholes import Armhole, alike, armholes
from drafting.sheet.arms import Arm
from drafting.sheet.caps import Cap, Fan, bell, cap_of, height_for
from drafting.sheet.cuffs import Cuff, cuff_for, elastic_in, sewn_to_cuff
from drafting.sheet.finishing import dense
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import flip, label_of, refuse_crossing
from drafting.truing import Girth, Seam

PARTS = {"fitted": 3, "easy": 4, "casual": 5}  # of the armhole, that the cap is high
CAP_EASE_MM = {"fitted": 20.0, "easy": 10.0, "casual": 5.0}  # 2.0–2.5 and 0–1 cm in woven cloth
ARM_EASE_MM = {"fitted": 40.0, "auto": 50.0, "easy": 50.0, "casual": 50.0}  # at least, round the upper arm
FRONT_SHARE = 0.4  # of the cap's ease; the back, which reaches forward, has the rest
DROPPED_MM = 10.0  # a shoulder this much longer than measured is a dropped one
DROPPED_EASE_MM = 5.0
SHORT_MM, UNDERARM_MM = 220.0, 50.0  # a short sleeve: so long, and so much below the underarm
LEAST_UNDERARM_MM = 15.0
HAND_EASE_MM, WRIST_EASE_MM, END_EASE_MM = 10.0, 50.0, 20.0
SPREAD_MM = {"flared": 200.0, "bishop": 100.0, "puff": 100.0}
RAISED = 0.5  # of what is spread at the cap, that a puffed cap is raised by
MOST_RAISED_MM = 50.0
BLOUSE_MM = 20.0  # a full sleeve is so much longer at its back, to fall over its cuff
FINE_MM = 0.5  # ends of an edge are drawn so finely, that they are square
STEP_MM = 4.0  # of a straight hem that is fanned out
STEEPEST = math.tan(math.radians(25.0))
GATHERED_UP = ("cuff", "elastic")
LOWEST = 0.15  # of the armhole, that a cap is high: lower it is a tunic's
SHORT_TAPER, MOST_TAPER = 0.25, 0.5  # by which a sleeve narrows for its length: where the arm's is not known, and at most
PLEAT_MM = 22.0  # each of two, 2 to 2.5 cm
WIDEST = 2.6  # radians; opened farther, its underarm seams would meet
PLAIN_EDGES = ("front underarm", "front cap", "back cap", "back underarm")

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
    choice("finish", "How it ends.", {"hem": "turned up", "cuff": "a cuff, with a placket where the hand needs it", "elastic": "in a casing"}),
    choice("cuff", "Shape of the cuff.", {"straight": "a folded band", "shaped": "in two layers, follows the arm"}, when={"finish": ("cuff",)}),
    length("cuff_depth", "Depth of the finished cuff; unset, 6 cm, or 3 cm of a band that needs no opening.", None, 15.0, 200.0, {"finish": ("cuff",)}),
    choice("into_cuff", "How fullness goes into the cuff.", {"auto": "pleats up to 6 cm, else gathers", "pleats": "two pleats", "gathers": "gathered"}, when={"finish": ("cuff",)}),
    length("placket_length", "Length of the slit at the back, where the cuff opens.", 110.0, 60.0, 160.0, {"finish": ("cuff",)}),
    length("elastic_width", "Width of the elastic.", 10.0, 4.0, 40.0, {"finish": ("elastic",)}),
)  # fmt: skip


@dataclass(frozen=True)
class Sizes:
    """What a sleeve is drawn from: its armhole and arm, the cap's and its halves' lengths, its
    length without and with the cuff, and all that these hang on."""

    hole: Armhole
    arm: Arm
    height: Amount
    front: Amount
    back: Amount
    ease: Amount
    long_: Amount
    whole: Amount
    cuff: Cuff | None
    of: Sources


def _sizes(s: Sheet, hole: Armhole, arm: Arm) -> Sizes:
    """The sums, up to the lengths."""
    style = s.style
    around = (hole.front.length + hole.back.length).named("armhole")
    auto = style["cap"] == "auto"
    word = "easy" if auto else str(style["cap"]) if isinstance(style["cap"], str) else ""
    dropped = hole.grown > DROPPED_MM
    height: Amount = around / PARTS[word] if word else style["cap"]
    if word and dropped:
        height = height - hole.grown
    height = (height + s.fitted("cap height")).named("cap height")
    ease = DROPPED_EASE_MM if dropped and word != "fitted" else CAP_EASE_MM.get(word, 10.0)
    ease = s.given("cap_ease", ease, style["cap"], hole.grown)
    front = (hole.front.length + FRONT_SHARE * ease).named("front of the cap")
    back = (hole.back.length + (1.0 - FRONT_SHARE) * ease).named("back of the cap")
    if auto:
        height = _low_enough(s, arm, height, front, back, around)
    by = s.fitted("upper arm")
    if by:
        now = cap_of(float(height), float(front), float(back)).biceps
        height = found(height_for(now + float(by), float(front), float(back)), "cap height", height, by, front, back)
    for wanted in ("elbow", "three-quarter", "long"):
        lacks = arm.length is None and not (wanted == "elbow" and arm.elbow_at is not None)
        what = f"is '{wanted}', and the arm length was not measured."
        s.fault(lacks and style["length"] == wanted, "style.length", what, "Measure arm_length, or give the sleeve's length.")  # fmt: skip
    s.stop()
    elbow, whole = arm.elbow_at or number(0.0), arm.length or number(0.0)
    names = {
        "short": most(SHORT_MM, height + UNDERARM_MM),
        "elbow": elbow - 30.0,
        "three-quarter": (elbow + whole) / 2,
        "long": whole,
    }
    whole = s.chosen("length", names) + s.fitted("sleeve length")
    down = whole
    if isinstance(style["length"], str):
        whole = whole - hole.grown
    cuff = cuff_for(s, arm, down) if style["finish"] == "cuff" else None
    long_ = (whole - cuff.depth if cuff else whole).named("sleeve length")
    low = height + LEAST_UNDERARM_MM
    what = f"leaves {s.t(long_ - height)} below the cap, which is {s.t(height)} high."
    s.fault(long_ < low, "style.length", what, f"{s.t(low + whole - long_)} or more, or a lower cap.")
    s.stop()
    of = sources_of(height, front, back, ease, long_, whole, arm.upper, *(s.options(o.key) for o in OPTIONS))
    return Sizes(hole, arm, height, front, back, ease, long_, whole, cuff, of)


def _low_enough(s: Sheet, arm: Arm, height: Amount, front: Amount, back: Amount, around: Amount) -> Amount:
    """The cap's height, or a lower one where the arm needs it."""
    need = float(arm.upper + ARM_EASE_MM["easy"])
    if cap_of(float(height), float(front), float(back)).biceps >= need:
        return height
    try:
        low = height_for(need, float(front), float(back))
    except DraftError:
        return height
    if low < LOWEST * around:
        return height
    s.notes.append(f"The cap is {s.t(low)} high instead of {s.t(height)}, so that the sleeve is wide enough for the arm.")
    return found(low, "cap height", height, arm.upper, front, back)


def _end_width(s: Sheet, z: Sizes, biceps: float) -> float:
    """Round the end of a plain sleeve, mm, before pleats and gathers."""
    arm, by = z.arm, float(s.fitted("wrist"))
    wrist = max(arm.wrist + WRIST_EASE_MM, arm.hand + HAND_EASE_MM) + by
    below = float(z.long_ - z.height)
    taper = SHORT_TAPER
    if arm.length is not None:
        taper = min((biceps - wrist) / max(float(arm.length - z.height), 1.0), MOST_TAPER)
    natural = biceps - max(taper, 0.0) * below
    if s.style["hem_width"] is not None:
        natural = float(s.style["hem_width"]) + by
    elif z.cuff:
        natural = z.cuff.upper + 2.0 * PLEAT_MM * (z.cuff.slit > 0.0)
    elif s.style["finish"] == "elastic":
        natural = max(natural, arm.hand + HAND_EASE_MM, 1.2 * arm.girth_at(float(z.whole)))
    return natural


def _fits_arm(s: Sheet, z: Sizes, cap: Cap) -> None:
    """Refuse a sleeve that is too narrow for the arm, with what would fit."""
    need_of = ARM_EASE_MM.get(s.style["cap"], ARM_EASE_MM["fitted"])
    need = z.arm.upper + need_of
    s.girths.append(Girth(f"{z.hole.side} upper arm girth".strip(), cap.biceps, float(z.arm.upper), need_of, True))  # fmt: skip
    if cap.biceps >= need - 0.5:
        return
    try:
        most_ = height_for(float(need), float(z.front), float(z.back))
        remedy = f"A lower cap is wider: 'cap: {s.t(5.0 * math.floor(most_ / 5.0))}', or make the armhole deeper."
    except DraftError:
        remedy = "The armhole is too small for this arm: make it deeper ('armhole lower'), or the top wider."
    what = (
        f"with a cap {s.t(cap.height)} high the sleeve is {s.t(cap.biceps)} round the upper arm; "
        f"it needs {s.t(need)}: the arm's {s.t(z.arm.upper)} and {s.t(need_of)}."
    )
    raise DraftError(Fault("style.cap", what, remedy))


def _plain(s: Sheet, z: Sizes) -> tuple[Cap, dict[str, Points]]:
    """The sleeve with straight underarm seams, its hem square to them, ring order from the hem."""
    below = float(z.long_ - z.height)
    slope = in_ = dip = 0.0
    for _ in range(8):  # how far the seams run in and how wide the cap is hang on one another
        cap = cap_of(float(z.height), float(z.front), float(z.back), math.atan(slope))
        if s.style["shape"] != "plain":
            break
        in_ = 0.5 * (cap.biceps - _end_width(s, z, cap.biceps))
        dip = (0.5 * cap.biceps - in_) * math.tan(0.5 * math.atan(slope))
        before, slope = slope, in_ / (below + dip)
        if abs(slope - before) < 0.003 or abs(slope) > STEEPEST:
            break
    _fits_arm(s, z, cap)
    what = f"turns the underarm seam by {abs(math.degrees(math.atan(slope))):.0f}°."
    s.fault(abs(slope) > STEEPEST, "style.hem_width", what, "Make the sleeve longer, or its end nearer to the upper arm's width.")  # fmt: skip
    s.stop()
    foot = float(z.long_) + dip
    right, left = cap.front_width - in_, -cap.back_width + in_
    a, b, up = np.array([left, -foot]), np.array([right, -foot]), math.atan(slope)
    hem = sweep(a, (math.cos(up), math.sin(up)), b, (math.cos(up), -math.sin(up))).flatten()
    front, back = (chain_points(c) for c in (cap.front, cap.back))
    return cap, {
        "hem": hem,
        "front underarm": np.array([b, front[0]]),
        "front cap": front,
        "back cap": back[::-1],
        "back underarm": np.array([back[0], a]),
    }


def _fuller(s: Sheet, z: Sizes, cap: Cap, points: dict[str, Points]) -> dict[str, Points]:
    """The sleeve slashed between its notches and spread: at the hem, at the cap, or at both."""
    shape = str(s.style["shape"])
    spread = float(s.given("fullness", SPREAD_MM[shape]))
    gathered = s.style["finish"] in GATHERED_UP
    points = {n: dense(p, STEP_MM) if n == "hem" else p for n, p in points.items()}
    whole = np.concatenate([points["front cap"], points["back cap"][1:]])
    low, high = (float(Edge(h, points[h]).at(x)[0][0]) for h, x in _notch_places(z, points))
    if gathered:
        a, b = points["hem"][[0, -1], 0]
        x = np.r_[a, np.linspace(a + FINE_MM, b - FINE_MM, 90), b]
        y = points["hem"][0, 1] - BLOUSE_MM * bell(x, a, 0.5 * a, b)
        points = {**points, "hem": np.stack([x, y], axis=1)}
    at = np.linspace(low, high, 50)
    depth = float((np.interp(at, *whole[::-1].T) - np.interp(at, *points["hem"].T)).mean())
    raised = 0.0
    if shape == "puff":
        raised = min(RAISED * spread, MOST_RAISED_MM)
        fan = Fan(points["hem"], low, high, apart=spread) if gathered else Fan(points["hem"], low, high, -spread / depth)
    else:
        fan = Fan(whole, low, high, spread / depth)
    what = f"of {s.t(spread)} is more than a sleeve {s.t(depth)} from cap to end opens to."
    s.fault(abs(fan.angle) > WIDEST, "style.fullness", what, f"{s.t(10.0 * math.floor(0.1 * WIDEST * depth))} at most.")
    s.stop()
    put = {n: raised * bell(p[:, 0], low, 0.0, high) * n.endswith("cap") for n, p in points.items()}
    made = fan(np.concatenate([*points.values()]), np.concatenate([*put.values()]))
    return dict(zip(points, np.split(made, np.cumsum([len(p) for p in points.values()])[:-1]), strict=True))


def _notch_places(z: Sizes, points: Mapping[str, Points]) -> tuple[tuple[str, float], tuple[str, float]]:
    """Edge and distance along it of the back's and the front's notch on the cap."""
    back = polyline_length(points["back cap"]) - z.hole.back.notch_mm
    return ("back cap", back), ("front cap", z.hole.front.notch_mm)


def _piece(s: Sheet, z: Sizes, name: str, points: dict[str, Points], cut: int) -> None:
    """The sleeve as a piece with its notches, and what finishes it."""
    end = {"hem": "sleeve hem", "cuff": "sleeve end", "elastic": "casing hem"}[s.style["finish"]]
    points = {(end if n == "hem" else n): p for n, p in points.items()}
    places = _notch_places(z, points)
    x, low = 0.0, -float(z.long_)
    if z.hole.side == LEFT:  # the right sleeve's mirror image
        points = {n: flip(points[n]) for n in reversed(list(points))}
    edges = edges_of(points)
    refuse_crossing(edges, name)
    notches = [Notch("front cap", edges["front cap"].length_mm, 1, "shoulder")]
    for (edge, at), half in zip(places, (z.hole.back, z.hole.front), strict=True):
        notches.append(Notch(edge, at, half.count, half.match))
    if z.arm.elbow_at is not None and z.height + 60.0 < z.arm.elbow_at - z.hole.grown < z.long_ - 60.0:
        seam, down = edges["front underarm"], float(z.arm.elbow_at - z.hole.grown - z.height)
        notches.append(Notch("front underarm", seam.length_mm - down, 1, "elbow"))
    if z.hole.side == LEFT:
        notches = [replace(n, at_mm=edges[n.edge].length_mm - n.at_mm) for n in notches]
    how = "cut 2, a pair" if cut == 2 else "cut 1, right side up"
    s.add(Piece(
        name, edges, cut, cut == 2, grain=((x, 0.85 * low), (x, 0.3 * low)), notches=tuple(notches),
        label=label_of(name, how, s.measurements),
    ), all=z.of)  # fmt: skip
    if z.cuff:
        sewn_to_cuff(s, name, end, z.cuff, cut, (z.of,))
    elif end == "casing hem":
        elastic_in(s, name, end, z.arm, z.whole)


def _record(s: Sheet, z: Sizes, cap: Cap, plain: dict[str, Points], full: dict[str, Points]) -> None:
    """The steps of the construction."""
    side = f"{z.hole.side} " if z.hole.side else ""
    with s.step(f"{side}armhole", f"The {side}armhole, measured", why="Measure along the sewing line, darts closed."):
        s.tell("armhole in front", z.hole.front.length)
        s.tell("armhole behind", z.hole.back.length)
        s.tell("cap in front", z.front)
        s.tell("cap behind", z.back)
    with s.step(f"{side}frame", "Middle line, cap line, biceps line and hem line"):
        s.frame(z.long_, cap.front_width + 40.0, cap_line=0.0, biceps_line=z.height, hem_line=z.long_)
    with s.step(f"{side}biceps", "Width at the biceps line", why="So wide is each half where its cap is as long as it must be."):
        for half, width in ((FRONT, cap.front_width), (BACK, -cap.back_width)):
            s.point(f"{half} underarm", on="biceps line", out=found(width, f"{half} width", z.of))
    with s.step(f"{side}cap", "The cap", why=f"No ease below the notches: they lie {s.t(z.hole.front.notch_mm)} above the underarm in front and {s.t(z.hole.back.notch_mm)} behind, on cap and armhole alike."):
        for half in (FRONT, BACK):
            how = "full near the crown, hollow near the underarm" + (" and more so than the back" if half == FRONT else "")
            s.draw(f"{half} cap", plain[f"{half} cap"], f"{how}, square to the underarm seam for 1 cm")
    with s.step(f"{side}seams", "Underarm seams and hem"):
        for name, out in (("front hem", plain["hem"][-1]), ("back hem", plain["hem"][0])):
            s.point(name, on="hem line", out=found(out[0], name, z.of), up=found(out[1] + z.long_, name, z.of))
        for half in (FRONT, BACK):
            s.draw(f"{half} underarm", plain[f"{half} underarm"], "straight")
        s.draw("hem", plain["hem"], "square to both underarm seams")
    if full is not plain:
        with s.step(f"{side}fullness", "Slash and spread", why=f"Slash the sleeve along the lines from cap to hem, spread it by {s.t(s.given('fullness', SPREAD_MM[s.style['shape']]))} in all, and draw the edges anew, smoothly."):
            for n, points in full.items():
                s.draw(n, points, "-")


def _sew(s: Sheet, holes: Sequence[Armhole], names: Sequence[str]) -> None:
    """What is sewn to what, and the corners that must be square."""
    for name, hole in zip(names, holes, strict=True):
        for half, part in ((FRONT, hole.front), (BACK, hole.back)):
            cap = s.pieces[name].edges[f"{half} cap"].length_mm
            word = "gathered in between the notches" if s.style["shape"] == "puff" else "eased in above the notch"
            s.seams.append(Seam(f"{hole.side} {half} armhole".strip(), ((name, f"{half} cap"),), part.spots, cap - float(part.length), word))
    for name in dict.fromkeys(names):
        s.sew(f"{name} underarm", (name, "front underarm"), (name, "back underarm"))
        end = next(e for e in s.pieces[name].edges if e not in PLAIN_EDGES)
        s.square(name, [frozenset(p) for h in (FRONT, BACK) for p in ((f"{h} underarm", f"{h} cap"), (f"{h} underarm", end))])


def _passes(s: Sheet, z: Sizes, name: str) -> None:
    """Refuse an end that the hand or the arm does not pass."""
    end = next(e for n, e in s.pieces[name].edges.items() if n not in PLAIN_EDGES)
    if end.name != "sleeve hem":
        return
    need = max(float(z.arm.hand) + HAND_EASE_MM, z.arm.girth_at(float(z.whole)) + END_EASE_MM)
    what = f"is {s.t(end.length_mm)} round; hand and arm need {s.t(need)} there."
    s.fault(end.length_mm < need - 0.5, "style.hem_width", what, "Make it wider, or choose 'finish: cuff'.")
    s.stop()


def _say(s: Sheet, arm: Arm) -> None:
    """What she should know before she cuts."""
    if arm.guessed and s.style["length"] != "short":
        s.notes.append(f"Not measured, and guessed: {', '.join(arm.guessed)}. Measure them: arms differ.")


def set_in_sleeve(s: Sheet) -> None:
    """Draft the sleeve.

    Raises:
        DraftError: no armhole to set it in, a sleeve in which the arm has no room, with figures.
    """
    arm, holes = Arm.of(s), armholes(s)
    pair = alike(holes)
    names = ["sleeve"] * len(holes) if pair else [f"{h.side} sleeve" for h in holes]
    for name, hole in zip(names, holes, strict=True):
        if name in s.pieces:
            continue
        z = _sizes(s, replace(hole, side="") if pair else hole, arm)
        cap, plain = _plain(s, z)
        full = plain if s.style["shape"] == "plain" else _fuller(s, z, cap, plain)
        _record(s, z, cap, plain, full)
        _piece(s, z, name, full, 2 if pair else 1)
        _passes(s, z, name)
    _sew(s, holes, names)
    _say(s, arm)


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
    allowances={"all": 10.0, "sleeve hem": 25.0, "casing hem": 20.0},
)  # fmt: skip
