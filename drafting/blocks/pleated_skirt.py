"""The pleated skirt: knife or box pleats, worked out at waist, hip and hem apart.

What is to be pleated is the cloth less the finished girth (*A Complete Course in Dressmaking*,
vol. 5, p. 64 to 69, published). At hip and hem each of n pleats shows hip ÷ n and takes twice that
when it is full, so that the cloth is three hips; at the waist each takes (hip - waist) ÷ n more,
half of it on either edge of the face that
shows, or all of it on the fold where the folds turn to the centre. The cloth is cut in four quarters. Their seams lie
behind the pleats, or beside the faces where these turn.

Frame: piece mm, x from where the piece begins, y up, y = 0 on the waist line.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drafting.blocks._skirt import skirt
from drafting.curves import Points
from drafting.fit import BACK, FRONT
from drafting.outline import Edge
from drafting.piece import Mark, Notch, Piece
from drafting.sheet import Amount, Sheet, joints, sources_of, waists
from drafting.sheet.options import choice, length, ratio
from drafting.sheet.pieces import label_of
from drafting.sheet.record import BOTH, spot_array
from drafting.truing import SEAM_MM, Check

LEAST_FACE_MM = 12.0  # of a pleat at the waist
NUMBERS = ("8", "12", "16", "20", "24", "28", "32", "40", "48")
FOLD, PLACE = "fold", "place fold here"
OPTIONS = (
    choice("pleats", "How the pleats lie.",
           {"knife": "knife pleats, all one way round", "centre": "knife pleats that meet at centre front and back", "box": "box pleats; the folds meet at centre front and back"}),
    choice("number", "How many faces show all round.", {n: f"{n} all round" for n in NUMBERS}, "16"),
    ratio("depth", "How deep the pleats are: 1 is full, three times the cloth; less is shallower.", 1.0, 0.3, 1.0),
    waists.length_option(),
    waists.WAIST_EASE,
    length("hip_ease", "Ease round the body at the hip; pleats that are to hang shut need it.", 60.0, 20.0, 250.0),
    waists.ZIP_LENGTH,
    *waists.finish_options("band", "none"),
)  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One line of a pleat: ``x`` at hip and hem, ``top`` at the waist, mm; ``kind``: `FOLD` or `PLACE`;
    ``to``: x of the line on which a fold is laid, at the hip."""

    kind: str
    x: float
    top: float
    to: float = 0.0


def quarter(
    pleats: str, each: int, face: float, under: float, extra: float
) -> tuple[list[Line], float]:
    """The lines of a quarter with ``each`` pleats, its width, mm.

    ``face``: what shows of a pleat at the hip; ``under``: what lies under it; ``extra``: what a
    pleat takes more at the waist.
    """
    e, lines = 0.5 * extra, []
    step = face + under
    for i in range(each):
        x = i * step
        if pleats == "knife":  # begins and ends behind a pleat, in the middle of what lies under
            place, fold = x + 0.5 * under, x + 0.5 * under + face
            lines += [Line(PLACE, place, place + e), Line(FOLD, fold, fold - e, fold + under)]
        elif pleats == "centre":  # begins at the centre, where two folds meet
            lines += [Line(PLACE, x, x), Line(FOLD, x + under, x + under + extra, x)]
        else:  # box: begins and ends in the middle behind two folds that meet
            a, b = x + 0.5 * under, x + 0.5 * under + face
            lines += [Line(FOLD, a, a + e, x), Line(FOLD, b, b - e, x + step)]
            if i < each - 1:
                lines.append(Line(PLACE, x + step, x + step))
    return lines, each * step


def pleated_skirt(s: Sheet) -> None:
    """Draft the pleated skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    style = s.style
    n, pleats = int(style["number"]), str(style["pleats"])
    g = waists.girths(s, style["hip_ease"], style["waist_ease"])
    long_ = s.chosen("length", waists.LENGTHS_MM) + s.fitted("length below waist")
    depth = s.m["waist_to_hip"]
    face = (g.drawn / n).named("a pleat shows at the hip")
    under = (face * (2.0 * float(style["depth"]))).named("a pleat takes")
    more = ((g.drawn - g.waist) / n).named("a pleat takes more at the waist")
    extras = {"panel": more} if pleats == "knife" else {FRONT: more, BACK: more}
    if g.joint:  # a quarter of the skirt on each half of the bodice's front and back
        extras = {
            h: ((g.drawn - 4 * x.length) / n).named(f"a {h} pleat takes more at the waist")
            for h, x in g.joint.halves.items()
        }
    names = tuple(extras)
    extra = max(extras.values(), key=float)
    _refuse(s, long_, face, extra)
    waists.tell_over(s, g)
    plain = float(face), float(under)
    quarters = {x: quarter(pleats, n // 4, *plain, float(e)) for x, e in extras.items()}
    wide = quarters[names[0]][1]
    of = sources_of(face, under, extras, long_, *(style[k] for k in ("number", "pleats", "depth")))
    with s.step("frame", "Edge of a quarter, waist line, hip line and hem line"):
        s.frame(long_, wide, waist_line=0.0, hip_line=depth, hem_line=long_)
    at, knife = (wide, float(long_), float(depth)), pleats == "knife"
    for name in names if g.joint else names[:1]:
        amounts = (face, under, extras[name])
        _record(s, name if g.joint else "", quarters[name][0], *at, amounts)
    for name in names:
        s.add(_piece(s, name, 4 // len(names), knife, quarters[name][0], *at), all=of)
    down = ([0.0, float(depth)], [float(g.waist), float(g.drawn)])
    zip_mm = waists.opening(s, lambda d: float(np.interp(d, *down)), g, g.waist)
    zips, where = {x: {"side": False} for x in names}, "left side seam"
    if g.joint:
        zips, where = g.joint.zips, g.joint.where
    for name in zips:
        edges = {"side": False, "left side": True} if knife else zips[name]
        waists.with_zip(s, name, edges, zip_mm, f"{where}:")
    if not (g.joint and g.joint.at_back):
        s.notes.append("The zip is marked on every side seam, and goes into the left one only, behind the pleat.")  # fmt: skip
    spots = tuple((x, "waist") for x in names for _ in range(4 // len(names)))
    cloth = sum(s.pieces[p].edges["waist"].length_mm for p, _ in spots)
    if g.joint:
        longer = {h: 0.25 * cloth - float(x.length) for h, x in g.joint.halves.items()}
        joints.sew_on(s, g.joint, {h: [(h, "waist")] for h in names}, longer, joints.PLEATED)
    elif style["waist_finish"] == "band":
        each = float(g.waist) / 4
        seams = {"seam": [each * i for i in (1, 2, 3)]}
        waists.add_band(s, float(g.waist), seams, spots, cloth - float(g.waist), g.waist)
        s.seams[-1] = replace(s.seams[-1], ease=joints.PLEATED)
    _true(s, names, g, pleats, zip_mm, float(depth))
    s.figures |= {
        "zip": zip_mm, "pleats": float(n), "a pleat shows at the hip": float(face),
        "a pleat shows at the waist": float(face - extra), "a pleat takes at the hip": float(under),
        "more at the waist": float(extra), "cloth at the hip": 4.0 * wide,
    }  # fmt: skip
    s.makes(
        skirt=(
            f"Join the quarters, but leave the {where} open; turn up the hem while the cloth lies flat.",
            "Fold on every fold line and lay the fold on its placement line, by the arrows; tack from the hem up and press.",
            "Stitch the pleats shut from the waist to the hip line, if you like.",
        ),
        closing=f"Zip into the {where}, under its pleat.",
        finish=waists.FINISHING[style["waist_finish"]],
    )


def _refuse(s: Sheet, long_: Amount, face: Amount, extra: Amount) -> None:
    waists.refuse_halves(s, ("waist", "hip"), "all pleats of this skirt are alike")
    waists.refuse_short(s, long_)
    left = float(face - extra)
    what = f"leaves {s.t(max(left, 0.0))} of each pleat to show at the waist."
    remedy = "Choose fewer pleats, or the gathered-skirt."
    s.fault(left < LEAST_FACE_MM, "style.number", what, remedy)
    s.stop()


def _record(
    s: Sheet, half: str, lines: list[Line], wide: float, long_: float, depth: float,
    amounts: tuple[Amount, Amount, Amount],
) -> None:  # fmt: skip
    """The steps of a quarter, of the front's or the back's where they differ."""
    words = ("shows at the hip", "takes at the hip and the hem", "takes more at the waist")
    with s.step(f"{half}-sums".strip("-"), "What a pleat shows and takes", half or BOTH):
        for name, a in zip(words, amounts, strict=True):
            s.tell(name, a)
    with s.step(f"{half}-quarter".strip("-"), "A quarter of the skirt", half or BOTH):
        s.draw("hem", spot_array([(0.0, -long_), (wide, -long_)]), "straight")
        s.draw("side", spot_array([(wide, -long_), (wide, 0.0)]), "straight")
        s.draw("waist", spot_array([(0.0, 0.0), (wide, 0.0)]), "straight")
    why = "Lay each fold on the placement line to which its arrow points: the faces then show alike."  # fmt: skip
    with s.step(f"{half}-pleats".strip("-"), "Fold lines and placement lines", half or BOTH, why):
        for kind, name in ((FOLD, "fold"), (PLACE, "placement")):
            same = [k for k in lines if k.kind == kind and 0.0 < k.x < wide]
            for at, xs in (("hip and hem", [k.x for k in same]), ("waist", [k.top for k in same])):
                s.remark(f"{name} lines at the {at}, from the left edge: {', '.join(map(s.t, xs))}")
            if same:
                first = same[0]
                ends = [(first.top, 0.0), (first.x, -depth), (first.x, -long_)]
                how = "straight to the hip line, and straight down from there"
                s.draw(f"first {name} line", spot_array(ends), how)


def _piece(
    s: Sheet, name: str, cut: int, knife: bool, lines: list[Line], wide: float, long_: float, depth: float
) -> Piece:  # fmt: skip
    """A quarter with its lines, and arrows from the folds to where they are laid."""
    first = "left side" if knife else f"centre {name}"
    edges = {
        "hem": np.array([(0.0, -long_), (wide, -long_)]),
        "side": np.array([(wide, -long_), (wide, 0.0)]),
        "waist": np.array([(wide, 0.0), (0.0, 0.0)]),
        first: np.array([(0.0, 0.0), (0.0, -long_)]),
    }
    marks = []
    notches = [Notch("side", long_ - depth, 1, "hip"), Notch(first, depth, 1, "hip")]
    for k in lines:
        if 0.0 < k.x < wide:
            marks.append(Mark(k.kind, np.array([(k.top, 0.0), (k.x, -depth), (k.x, -long_)])))
            notches += [Notch("waist", wide - k.top, 1, ""), Notch("hem", k.x, 1, "")]
        if k.kind == FOLD:
            arrow = _arrow(k.x, k.to, -depth - 0.35 * (long_ - depth), wide)
            marks.append(Mark("lay the fold this way", arrow))
    how, text = ("a pair", "fold towards the arrows")
    if knife:
        how, text = "right side up", "knife pleats, all one way"
    label = label_of(name, f"cut {cut}, {how}", s.measurements)
    x = 0.5 * (lines[0].x + lines[1].x)
    return Piece(
        name, {n: Edge(n, p) for n, p in edges.items()}, cut, not knife,
        grain=((x, 60.0 - long_), (x, -0.55 * long_)), turns=(0.0, 180.0), notches=tuple(notches),
        marks=tuple(marks), label=(*label[:2], text, *label[2:]),
    )  # fmt: skip


def _arrow(start: float, end: float, y: float, wide: float) -> Points:
    """A level line from a fold to its placement line, or to the seam before it, with a head."""
    end = min(max(end, 4.0), wide - 4.0)
    back = 6.0 if start > end else -6.0
    return np.array([(start, y), (end, y), (end + back, y + 4.0), (end, y), (end + back, y - 4.0)])


def finished(piece: Piece, pleats: str, y_share: int) -> float:
    """What a quarter measures when its pleats are laid, by its own marks, mm.

    ``y_share``: 0 at the waist, 1 at the hip, 2 at the hem: that point of every line.
    """
    folds = sorted(float(m.points[y_share, 0]) for m in piece.marks if m.name == FOLD)
    places = sorted(float(m.points[y_share, 0]) for m in piece.marks if m.name == PLACE)
    right = float(piece.edges["waist"].points[0, 0])
    if pleats == "knife":
        return sum(f - p for f, p in zip(folds, places, strict=True))
    if pleats == "box":
        return sum(b - a for a, b in zip(folds[::2], folds[1::2], strict=True))
    ends = [*places, right]  # a face runs from its fold to the next placement line, or to the seam
    return sum(b - a for a, b in zip(folds, ends, strict=True))


def _true(
    s: Sheet, names: tuple[str, ...], g: waists.Girths, pleats: str, zip_mm: float, depth: float
) -> None:  # fmt: skip
    """The pleats take what they must at waist, hip and hem, measured on the pieces."""
    if pleats == "knife":
        for i, name in enumerate(names):  # one quarter after the other, all one way round
            s.sew("side" if i == 0 else f"{name} side", (name, "side"), (names[i - 1], "left side"))
    else:
        s.sew("side", (FRONT, "side"), (BACK, "side"))
    quarters = [s.pieces[x] for x in names for _ in range(4 // len(names))]
    round_ = [sum(finished(p, pleats, i) for p in quarters) for i in range(3)]
    at = zip(("waist", "hip", "hem"), round_, (g.waist, g.drawn, g.drawn), strict=True)
    for where, mm, wanted in at:
        off = abs(mm - float(wanted))
        text = f"{s.t(mm)} with the pleats laid, {s.t(wanted)} wanted"
        s.checks.append(Check(f"pleats at the {where}", off, SEAM_MM, off <= SEAM_MM, text))
    at_zip = float(np.interp(zip_mm, [0.0, depth], [round_[0], round_[1]]))
    waists.hip_passes(s, at_zip, zip_mm, float(g.ring), float(g.waist))
    spots = tuple((x, "waist") for x in names for _ in range(4 // len(names)))
    waists.waist_girth(s, spots, g.waist)
    waists.hip_girth(s, round_[1], g.hip, g.drawn > g.hip + 0.1)


BLOCK = skirt(
    pleated_skirt,
    "The pleated skirt",
    "Knife or box pleats, worked out at waist, hip and hem apart, in four quarters.",
    OPTIONS,
    ("centre front", "centre back"),
    (),
    hem=40.0,
)
