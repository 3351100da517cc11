"""The gathered skirt: straight widths of cloth gathered into a band or an elastic casing, also in tiers.

The cloth is the finished girth × a fullness: 1.5 to 2 for a medium cloth, 2 to 3 for a thin one
(common practice, no source). Each tier is gathered into the one above, and a quarter deeper. A
tier wider than the cloth is cut in as many equal widths as it takes.

Frame: piece mm, x from the left edge of the piece, y up, y = 0 on the finished upper edge.
"""

from __future__ import annotations

import math

import numpy as np

from drafting.blocks._skirt import skirt
from drafting.piece import Notch
from drafting.sheet import Amount, Sheet, found, joints, most, sources_of, waists
from drafting.sheet.finishing import rectangle
from drafting.sheet.options import choice, length, ratio
from drafting.sheet.pieces import label_of
from drafting.sheet.record import spot_array
from drafting.truing import Seam, seam_length

FULLNESS = {"thin": 2.5, "medium": 1.75, "heavy": 1.5}
DEEPER = 1.25  # each tier against the one above
ALLOWED_MM = 40.0  # of the cloth's width for allowances and selvedges
LEAST_TIER_MM, TIER_FULLNESS = 90.0, 1.5
EASE_AT_HIP_MM = 60.0  # a gathered skirt is at least this much wider than the hip
OPTIONS = (
    waists.length_option(True),
    choice("cloth", "The kind of cloth, which gives the fullness where none is named.",
           {"medium": "1¾ times, poplin and linen", "thin": "2½ times, voile and crêpe", "heavy": "1½ times, denim and wool"}),
    ratio("fullness", "Cloth to finished waist; 0 takes it from the kind of cloth.", 0.0, 0.0, 3.0),
    choice("tiers", "How many tiers.", {"1": "one", "2": "two", "3": "three", "4": "four"}),
    ratio("tier_fullness", "Each tier to the one above.", TIER_FULLNESS, 1.2, 2.5, {"tiers": ("2", "3", "4")}),
    length("cloth_width", "The cloth's width: what is wider is cut in several widths.", 1400.0, 700.0, 3200.0),
    waists.WAIST_EASE,
    waists.ZIP_LENGTH,
    waists.POCKETS,
    *waists.finish_options("band", "elastic", "none"),
)  # fmt: skip


def tier_depths(long_: float, tiers: int) -> list[float]:
    """How deep the tiers are, mm, from the waist down; each a quarter deeper than the one above."""
    parts = [DEEPER**i for i in range(tiers)]
    return [long_ * p / sum(parts) for p in parts]


def gathered_skirt(s: Sheet) -> None:
    """Draft the gathered skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    style = s.style
    elastic = style["waist_finish"] == "elastic"
    g = waists.girths(s, waists.HIP_PASS_MM + waists.BELOW_EASE_MM, style["waist_ease"])
    waist = g.waist
    long_ = s.chosen("length", waists.LENGTHS_MM) + s.fitted("length below waist")
    tiers = int(style["tiers"])
    _refuse(s, long_, tiers)
    waists.tell_over(s, g)
    named = style["fullness"] > 0
    fullness = style["fullness"] if named else FULLNESS[style["cloth"]]
    full = (waist * float(fullness)).named("cloth round the top")
    least_ = s.m["hip_girth"] + s.fitted("hip") + EASE_AT_HIP_MM
    wide = most(full, least_)
    if elastic:
        waist = wide  # the elastic gathers it, and the hip passes all of it
    elif wide > full:
        s.notes.append(f"The cloth is {s.t(wide)} round instead of {s.t(full)}, so that it is easy over the hip.")  # fmt: skip
    keys = ("fullness", "cloth", "tiers", "cloth_width", "tier_fullness")
    of = sources_of(wide, waist, long_, s.options(*keys))
    depths = tier_depths(float(long_), tiers)
    with s.step("frame", "Left edge, upper edge and hem line"):
        s.frame(long_, 300.0, waist_line=0.0, hem_line=long_)
    rounds = [wide]
    for i in range(2, tiers + 1):
        rounds.append((rounds[-1] * float(style["tier_fullness"])).named(f"cloth round tier {i}"))
    for i, deep in enumerate(depths):
        if g.joint and i == 0:
            _joined(s, g.joint, tiers, wide, deep, of)
        else:
            _tier(s, i, tiers, rounds[i], deep, of)
    top, hip_depth = _names(tiers)[0], float(s.m["waist_to_hip"])
    spots = tuple((n, "waist") for n, p in s.pieces.items() if "waist" in p.edges for _ in range(p.cut))  # fmt: skip
    if g.joint is None:
        cut = len(spots)
        if wide > waist:
            each = {top: float(wide) / cut}, {top: float(waist) / cut}
            waists.gather(s, *each, _times(wide, waist))
        waists.finish_widths(s, waist, spots, cut, float(wide - waist))
    if not elastic:
        _zip(s, g, wide, long_, depths)
    if style["pockets"] != "none":
        remedy = "Leave the pockets out, or choose one tier."
        s.refuse(tiers > 1, "style.pockets", "do not go with tiers.", remedy)
        panels = tuple(g.joint.halves if g.joint else (top,))
        waists.side_pockets(s, panels, not elastic and not (g.joint and g.joint.at_back))
    waists.waist_girth(s, spots, g.waist)
    ends = np.cumsum(depths)[:-1]
    waists.hip_girth(s, float(rounds[int(np.searchsorted(ends, hip_depth))]), least_, True)
    s.figures |= {"fullness": float(wide / g.waist), "hem": float(rounds[-1])}
    s.makes(
        skirt=(
            f"Join the widths of each tier to a ring.{'' if elastic else ' The first stays open for the zip.'}",
            "Gather the upper edge of each lower tier, seam allowances flat, and sew it to the tier above, from the hem up." * (tiers > 1),
            "" if elastic else "Gather the waist with two rows of long stitches between the notches.",
        ),
        closing="" if elastic else "Zip into the left seam, then that seam below it.",
        finish=waists.FINISHING[style["waist_finish"]],
        hem="Turn up the skirt's hem.",
    )  # fmt: skip


def _zip(s: Sheet, g: waists.Girths, wide: Amount, long_: Amount, depths: list[float]) -> None:
    """The opening down the left side or the bodice's, through as many tiers as it takes."""
    zip_mm = waists.opening(s, lambda d: float(g.waist if d < 30 else wide), g, g.waist)
    end = depths[0] - 10.0  # a shorter opening does where the hip still passes
    if g.joint and not s.style["zip_length"] and zip_mm > end >= 0.5 * float(g.ring - g.waist):
        zip_mm = s.figures["zip"] = end
    what = f"of {s.t(zip_mm)} is as long as the skirt."
    s.fault(zip_mm > long_ - 30.0, "style.zip_length", what, "Make it shorter.")
    s.fault(g.joint is not None and zip_mm > end, "style.tiers", f"ends the first {s.t(depths[0])} down, the zip is {s.t(zip_mm)} long.",
            "Choose fewer tiers, or a longer skirt.")  # fmt: skip
    s.stop()
    if zip_mm > depths[0]:
        s.notes.append(f"The zip, {s.t(zip_mm)} long, goes on past the first tier in the left side seam.")  # fmt: skip
    if g.joint:
        _sew_on(s, g.joint, wide, zip_mm)
    else:  # a zip that is longer than a tier goes on in the next
        above = np.cumsum([0.0, *depths[:-1]])
        for name, deep, left in zip(_names(len(depths)), depths, zip_mm - above, strict=True):
            if 0.0 < left < deep - 10.0:
                edges = {"side": False, "left side": True}
                waists.with_zip(s, name, edges, float(left), "left side:")
    waists.hip_passes(s, float(wide), zip_mm, float(g.ring), float(g.waist))


def _names(tiers: int) -> list[str]:
    return ["skirt"] if tiers == 1 else [f"tier {i + 1}" for i in range(tiers)]


def _refuse(s: Sheet, long_: Amount, tiers: int) -> None:
    waists.refuse_halves(s, ("waist", "hip"), "front and back of this skirt are alike")
    first = tier_depths(float(long_), tiers)[0]
    what = f"makes the first of {tiers} tiers {s.t(first)} deep."
    s.fault(first < LEAST_TIER_MM, "style.tiers", what, "Choose fewer tiers, or a longer skirt.")
    low = 0.0 < s.style["fullness"] < 1.2
    remedy = "Use 1.5 to 3, or the flared-skirt."
    s.fault(low, "style.fullness", "under 1.2 hardly gathers.", remedy)
    waists.refuse_at_hip(s, long_)
    s.stop()


def _tier(s: Sheet, i: int, tiers: int, round_: Amount, deep: float, of: frozenset[str]) -> None:
    """One tier: as many equal widths as the cloth asks for, two at least."""
    name = _names(tiers)[i]
    cut = max(2, math.ceil(float(round_) / (float(s.style["cloth_width"]) - ALLOWED_MM)))
    each = round_ / cut
    top, foot = "waist" if i == 0 else "top", "hem" if i == tiers - 1 else "foot"
    notches = [Notch(e, 0.5 * float(each), 1, "middle") for e in (top, foot)]
    made = rectangle(
        name, (foot, "side", top, "left side"), float(each), deep, cut=cut, notches=tuple(notches),
        grain=((0.5 * float(each), 0.2 * deep), (0.5 * float(each), 0.8 * deep)),
        turns=(0.0, 180.0), label=label_of(name, f"cut {cut}", s.measurements),
    )  # fmt: skip
    s.add(made, all=of)
    with s.step(name.replace(" ", "-"), f"{name.capitalize()}: one of {cut} widths", name):
        x = float(each)
        s.draw(f"{name}, upper edge", spot_array([(0.0, 0.0), (x, 0.0)]), "straight")
        ring = spot_array([(x, 0.0), (x, -deep), (0.0, -deep), (0.0, 0.0)])
        s.draw(f"{name}, sides and lower edge", ring, "square to it")
        s.tell(f"{name}, wide", each)
        s.tell(f"{name}, deep", found(deep, "deep", of))
    if cut > 1:
        s.sew(f"{name} side", (name, "side"), (name, "left side"))
    s.square(name, [frozenset((a, "side")) for a in (top, foot)])
    if i:
        above = [(n, "foot") for n in list(s.pieces)[:-1] if "foot" in s.pieces[n].edges]
        above = [(n, e) for n, e in above if i == 1 or n == _names(tiers)[i - 1]]
        above = [x for x in above for _ in range(joints.around(s.pieces[x[0]]))]
        over = float(round_) - seam_length(s.pieces, above)
        s.seams.append(Seam(name, ((name, top),) * cut, tuple(above), over))
        text = f"gather the top of all {cut}, {s.t(round_)} round, to {s.t(round_ - over)}"
        s.pieces[name] = s.pieces[name].plus(text)


def _joined(s: Sheet, joint: joints.Joint, tiers: int, round_: Amount, deep: float, of: frozenset[str]) -> None:  # fmt: skip
    """The upper tier for a bodice: front and back, so that the side seams meet."""
    foot, width = "hem" if tiers == 1 else "foot", float(s.style["cloth_width"]) - ALLOWED_MM
    shapes, whole = {}, {}
    for half, there in joint.halves.items():
        wide = (round_ * float(there.length / joint.waist)).named(f"half of the {half}")
        long_ = float(wide)
        what = f"is less than half of the {half}, {s.t(wide)}."
        s.fault(long_ > width, "style.cloth_width", what, "Take less fullness.")
        ring = spot_array([(0.0, 0.0), (0.0, -deep), (long_, -deep), (long_, 0.0), (0.0, 0.0)])
        names = ("fold", foot, "side", "waist")
        shapes[half] = {n: ring[k : k + 2] for k, n in enumerate(names)}
        whole[half] = 2.0 * long_ <= width
        with s.step(f"{half}-width", f"{half.capitalize()}: half of it", half):
            s.draw(f"{half} waist", ring[3:], "straight")
            s.draw(f"{half} side and lower edge", ring[:4][::-1], "square to it")
            s.tell(f"half of the {half}, wide", wide)
    s.stop()
    joints.in_halves(s, joint, shapes, whole, of)


def _sew_on(s: Sheet, joint: joints.Joint, round_: Amount, zip_mm: float) -> None:
    """The waist seam of the upper tier, its gathers and its zip."""
    for half, edges in joint.zips.items():
        waists.with_zip(s, half, edges, zip_mm, f"{joint.where}:")
    long_ = {h: s.pieces[h].edges["waist"].length_mm for h in joint.halves}
    each = {h: 1.0 if s.pieces[h].pair else 2.0 for h in long_}  # a pair's, or opened from its fold
    finished = {h: each[h] * float(x.length) for h, x in joint.halves.items()}
    cut = {h: mm * each[h] for h, mm in long_.items()}
    waists.gather(s, cut, finished, _times(round_, joint.waist))
    more = {h: mm - float(joint.halves[h].length) for h, mm in long_.items()}
    joints.sew_on(s, joint, {h: [(h, "waist")] for h in long_}, more)


def _times(round_: Amount, waist: Amount) -> str:
    return f" That is {float(round_ / waist):.2f} times its length."


BLOCK = skirt(
    gathered_skirt,
    "The gathered skirt",
    "Straight widths gathered into a band or an elastic casing, in one to four tiers.",
    OPTIONS,
    ("foot", "top", "bag", "fold", "centre front", "centre back"),
    (),
    hem=40.0,
    bag=10.0,
    centre_back=20.0,
)
