"""The circle skirt: a quarter, half, three quarters or all of a circle, cut in one to four panels.

The waist is an arc of radius r = W ÷ (2πk), k the part of the circle and W the finished waist: plain
geometry. Cut on the bias the waist grows, so r is drawn smaller by half a centimetre to one and
stretched to its band (common practice, no source). Every panel is the same sector, drawn about
its middle; its seams run straight to the centre of the circle.

Frame: piece mm, x from the middle of the panel, y up, y = 0 on the waist at the middle.
"""

from __future__ import annotations

import math

import numpy as np

from drafting.blocks._skirt import skirt
from drafting.curves import Points, arc, chain_points
from drafting.fit import BACK, FRONT
from drafting.piece import Notch, Piece
from drafting.sheet import Amount, Sheet, found, joints, number, sources_of, waists
from drafting.sheet.board import ring_pairs
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import CENTRE, both_halves, half_piece, label_of
from drafting.sheet.record import BOTH

PARTS = {"quarter": 0.25, "half": 0.5, "three-quarter": 0.75, "full": 1.0}
USUAL_PANELS = {"quarter": 1, "half": 2, "three-quarter": 3, "full": 4}
Spots = tuple[tuple[str, str], ...]  # piece, edge, as often as it is cut
HEM_MM = 15.0  # the deepest hem that can be eased in
OPTIONS = (
    choice("circle", "How much of a circle.", {"half": "half a circle", "quarter": "a quarter", "three-quarter": "three quarters", "full": "a full circle"}),
    waists.length_option(True),
    choice("panels", "In how many equal panels it is cut; more seams for a narrower cloth.",
           {"auto": "one for each quarter of the circle", "1": "one, seam at the centre back", "2": "front and back", "3": "three", "4": "four"}),
    waists.WAIST_EASE,
    length("bias", "By how much the waist's radius is drawn smaller, because it grows on the bias; none for a cloth that hardly gives.", 5.0, 0.0, 10.0),
    waists.ZIP_LENGTH,
    waists.POCKETS,
    *waists.finish_options("band", "facing", "elastic", "none"),
)  # fmt: skip


def waist_radius(waist: float, part: float) -> float:
    """Radius in mm of an arc as long as the waist that is this part of a circle."""
    return waist / (2.0 * math.pi * part)


def sector(radius: float, long_: float, angle: float) -> dict[str, Points]:
    """Half of a panel about x = 0: 'fold' down its middle, 'hem', 'seam' up, 'waist' back; mm.

    ``radius`` of the waist, whose middle lies at y = 0; ``angle`` (radians) of the half.
    """
    centre, down = (0.0, radius), -0.5 * math.pi
    hem = chain_points(arc(centre, radius + long_, down, down + angle))
    waist = chain_points(arc(centre, radius, down, down + angle))[::-1]
    hem[0, 0] = waist[-1, 0] = 0.0
    return {
        "fold": np.array([waist[-1], hem[0]]),
        "hem": hem,
        "side": np.array([hem[-1], waist[0]]),
        "waist": waist,
    }


def circle_skirt(s: Sheet) -> None:
    """Draft the circle skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    style = s.style
    part = PARTS[style["circle"]]
    auto = style["panels"] == "auto"
    panels = USUAL_PANELS[style["circle"]] if auto else int(style["panels"])
    panels = {1: 2, 3: 4}.get(panels, panels) if s.onto and auto else panels
    elastic = style["waist_finish"] == "elastic"
    g = waists.girths(s, waists.HIP_PASS_MM + waists.BELOW_EASE_MM, style["waist_ease"])
    waist = (waists.elastic_ring(s, g) if elastic else g.waist).named("waist")
    whole = found(waist_radius(waist, part), f"waist ÷ (2 × π × {part:g})", waist, style["circle"])
    bias = number(0.0) if elastic else style["bias"]  # elastic draws it in anyway
    r = whole - bias
    long_ = s.chosen("length", waists.LENGTHS_MM) + s.fitted("length below waist")
    _refuse(s, r, long_, part, panels)
    waists.tell_over(s, g)
    turns = {"": math.pi * part / panels}  # half of a panel
    if g.joint:  # the side seams in line with the bodice's
        odd, what = panels % 2 > 0, "has no side seams to meet the bodice's."
        s.refuse(odd, "style.panels", what, "Choose 2 or 4.")
        turns = {h: float(2 * math.pi * part * x.length / waist) for h, x in g.joint.halves.items()}
    shapes = {n: sector(float(r), float(long_), a) for n, a in turns.items()}
    points = list(shapes.values())[-1]
    wide = max(float(p["hem"][:, 0].max()) for p in shapes.values())
    with s.step("frame", "Middle of the panel, waist line and hem line"):
        s.frame(long_, wide + 50.0, waist_line=0.0, hem_line=long_)
    for n, angle in turns.items():
        _record(s, n, shapes[n], angle, r, long_)
    of = sources_of(r, long_, style["circle"], style["panels"], style["waist_finish"])
    if g.joint:
        joints.in_halves(s, g.joint, shapes, dict.fromkeys(shapes, panels == 2), of)
        spots: Spots = tuple((h, "waist") for h in shapes for _ in range(2))
        seams, where = g.joint.zips, g.joint.where
    else:
        spots, seams, where = _pieces(s, points, panels, of)
    if not elastic:
        zip_mm = waists.opening(s, lambda d: _girth(d, r, part), g, g.waist)
        for name, edges in seams.items():
            waists.with_zip(s, name, edges, zip_mm, f"{where}:")
        waists.hip_passes(s, _girth(zip_mm, r, part), zip_mm, float(g.ring), float(g.waist))
    _pockets(s, [p for p, _ in spots], where, elastic)
    if g.joint:
        bias_ = {h: -float(bias) * a for h, a in turns.items()}
        own = {h: [(h, "waist")] for h in turns}
        joints.sew_on(s, g.joint, own, bias_, "stretched on the bias")
    else:
        _finish(s, waist, r, spots, panels)
    waists.waist_girth(s, spots, g.waist, 2.0 * math.pi * part * float(bias))
    need = s.m["hip_girth"] + s.fitted("hip") + waists.HIP_PASS_MM
    waists.hip_girth(s, _girth(float(s.m["waist_to_hip"]), r, part), need, True)
    hem = sum(s.pieces[p].edges["hem"].length_mm for p, _ in spots)
    s.figures |= {"radius": float(r), "radius before the bias": float(whole), "hem": hem}
    s.notes.append(
        f"The waist lies on the bias and grows: sew a tape or the band to it before it stretches. Let the skirt "
        f"hang for 24 hours, then level the hem. The hem takes at most {s.t(HEM_MM)}; a deeper one cannot be eased in."
    )  # fmt: skip
    _judge_cloth(s, points, panels)
    s.makes(
        flat="Stay-stitch the waist as soon as it is cut.",
        closing="" if elastic else f"Zip into the {where}, then that seam below it.",
        skirt="Join the seams from the hem up, but for the one with the zip." if panels > 1 else "",
        finish=waists.FINISHING[style["waist_finish"]],
        hem="Hang the skirt for 24 hours, level the hem all round from the floor, and turn up a narrow hem.",
    )


def _record(
    s: Sheet, half: str, points: dict[str, Points], angle: float, r: Amount, long_: Amount
) -> None:
    """The arcs of one panel, half of it."""
    of = f"{half} ".lstrip()
    why = f"From that centre turn {math.degrees(angle):.4g}° to each side; the seams run straight to it."
    with s.step(f"{half}-arcs".strip("-"), f"{of}waist and hem".capitalize(), half or BOTH, why):
        s.point("centre of the circle", on="waist line", up=r)
        s.draw(f"{of}waist", points["waist"][::-1], "as an arc about the centre of the circle")
        s.draw(f"{of}hem", points["hem"], "as an arc about the same centre")
        s.draw(f"{of}seam", points["side"], "straight to the centre of the circle")
        s.tell("waist radius and length, as on the cloth", r + long_)
        s.tell("hem of this panel", 2.0 * float(r + long_) * angle)


def _girth(depth: float, radius: float, part: float) -> float:
    """Finished girth mm at ``depth`` below the waist."""
    return 2.0 * math.pi * part * (float(radius) + depth)


def _refuse(s: Sheet, r: Amount, long_: Amount, part: float, panels: int) -> None:
    waists.refuse_halves(s, ("waist", "hip"), "all panels of this skirt are alike")
    what = "gives panels wider than half a circle."
    s.fault(part / panels > 0.5, "style.panels", what, "Choose more panels.")
    what = f"leaves a waist radius of {s.t(r)}."
    s.fault(r < 20.0, "style.circle", what, "Choose a smaller part of a circle.")
    waists.refuse_at_hip(s, long_)
    depth = float(s.m["waist_to_hip"])
    need = float(s.m["hip_girth"] + s.fitted("hip")) + waists.HIP_PASS_MM
    has = _girth(depth, r, part)
    larger = [k for k, p in PARTS.items() if _girth(depth, float(r) * part / p, p) >= need]
    what = f"'{s.style['circle']}' measures {s.t(has)} at the hip; {s.t(need)} are needed there."
    remedy = f"Choose '{larger[0]}'." if larger else "Choose the gathered-skirt."
    s.fault(has < need, "style.circle", what, remedy)
    s.stop()


def _pieces(
    s: Sheet, points: dict[str, Points], panels: int, of: frozenset[str]
) -> tuple[Spots, dict[str, dict[str, bool]], str]:
    """The panels; their waist edges, the seam with the zip (edge → it runs down), and its name."""
    m, zipped = s.measurements, s.style["waist_finish"] != "elastic"
    low, high = float(points["hem"][0, 1]) + 60.0, -60.0
    if panels > 2:
        edges = both_halves(points["hem"], points["side"], points["waist"])
        notch = Notch("waist", 0.5 * edges["waist"].length_mm, 1, "middle")
        label = label_of("panel", f"cut {panels}", m)
        grain = ((0.0, low), (0.0, high))
        s.add(Piece("panel", edges, panels, grain=grain, notches=(notch,), label=label), all=of)
        s.sew("panels", ("panel", "right seam"), ("panel", "left seam"))
        s.square("panel", [frozenset((e, "seam")) for e in ("hem", "waist")])
        if zipped:
            s.notes.append("The zip is marked on the seams of every panel; it goes into one of them only.")  # fmt: skip
        seams = {"panel": {"left seam": True, "right seam": False}}
        return (("panel", "waist"),) * panels, seams, "centre-back seam"
    names = (FRONT, BACK) if panels == 2 else ("skirt",)
    x = 0.25 * float(points["waist"][0, 0])
    for name in names:
        lines = {(CENTRE[True] if panels == 1 and n == "side" else n): p for n, p in points.items()}  # fmt: skip
        side = Notch("waist", 0.0, 1, "side")
        s.add(half_piece(name, lines, m, grain=((x, low), (x, high)), notches=(side,)), all=of)
        s.square(name, [frozenset(p) for p in ring_pairs(s.pieces[name])])
    if panels == 1:
        return (("skirt", "waist"),) * 2, {"skirt": {CENTRE[True]: False}}, "centre back"
    s.sew("side", (FRONT, "side"), (BACK, "side"))
    if zipped:
        s.notes.append("The zip is marked on both side seams, and goes into the left one only.")
    spots = tuple((n, "waist") for n in names for _ in range(2))
    return spots, {n: {"side": False} for n in names}, "left side"


def _finish(s: Sheet, waist: Amount, r: Amount, spots: Spots, panels: int) -> None:
    """Band, casing or facing, with notches at the seams and in the middle of each panel."""
    if s.style["waist_finish"] == "facing":
        angle = 0.5 * math.pi * PARTS[s.style["circle"]]
        top = sector(float(r), 1.0, angle)["waist"][::-1]
        cuts = {FRONT: [float(r) * angle * 2 / 3] if panels == 3 else [], BACK: []}
        opens, of = {FRONT: False, BACK: panels != 2}, s.hangs_on[spots[0]]
        waists.add_facings(s, dict.fromkeys(cuts, top), opens, cuts, spots, of)
        return
    full = sum(s.pieces[p].edges[e].length_mm for p, e in spots) - float(waist)
    waists.finish_widths(s, waist, spots, panels, full if abs(full) > 0.2 else 0.0)


def _pockets(s: Sheet, names: list[str], where: str, elastic: bool) -> None:
    """Pocket bags in the side seams, which one panel has not and three have elsewhere."""
    panels = [n for n in dict.fromkeys(names) if "side" in s.pieces[n].edges]
    none = s.style["pockets"] != "none" and not panels and len(names) != 4
    s.refuse(none, "style.pockets", "need side seams.", "Choose 'panels: 2' or 4.")
    if panels:
        waists.side_pockets(s, panels, not elastic and "left" in where)
    else:
        waists.seam_pockets(s, {"panel": {"right seam": False, "left seam": True}}, False)


def _judge_cloth(s: Sheet, points: dict[str, Points], panels: int) -> None:
    """Say how wide one panel lies on the cloth."""
    wide, far = 2.0 * float(points["hem"][:, 0].max()), np.concatenate(list(points.values()))
    high = float(np.ptp(far[:, 1]))
    s.notes.append(
        f"One panel is {s.t(wide)} wide and {s.t(high)} high, without allowances; a cloth that is narrower "
        f"than both needs more panels, with seams along the selvedge ('style: {{panels: …}}')."
        if panels < 4 else f"One panel is {s.t(wide)} wide and {s.t(high)} high, without allowances."
    )  # fmt: skip


BLOCK = skirt(
    circle_skirt,
    "The circle skirt",
    "A quarter, half, three quarters or all of a circle, cut in one to four panels.",
    OPTIONS,
    ("fold", "centre back", "right seam", "left seam", "outer", "bag"),
    (),
    hem=10.0,
    centre_back=20.0,
)
