"""The gored skirt: four, six or eight gores, its darts taken into their seams, flared from hip or knee.

Every seam takes the same share of what the waist is smaller than the hip, and every gore gets the
same flare on both edges, so that all seams are alike and a gore hangs straight from its middle
(common practice, no source). The back gores are wider than the front ones by what a straight
skirt's back is wider. Seams and waist are solved for: the waist is exact.

Frame: piece mm, x from the middle of the gore, y up, y = 0 on the waist line.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from configs.errors import DraftError
from drafting.blocks._gore_lines import Gore, Sizes, closed_waist, draw_gore, fitted, hem_lean
from drafting.blocks._hip_lines import BACK_WIDER
from drafting.blocks._skirt import skirt
from drafting.curves import chain_points
from drafting.fit import BACK, FRONT
from drafting.piece import Notch, Piece
from drafting.sheet import Amount, Sheet, found, joints, number, sources_of, waists
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import both_halves, label_of
from drafting.sheet.record import spot_array

LIMIT_EDGE_MM = 40.0  # more at one edge makes a hook at the hip
LEAST_FLARED_MM = 120.0  # below where a knee flare begins
KNEE_MM = 400.0  # from waist to a hand above the knee; W. Aldrich's tables have 58 to the knee (from memory)
MOST_LEAN = math.radians(35.0)
SEAMS = ("left seam", "right seam")
OPTIONS = (
    choice("gores", "How many gores.", {"6": "six", "4": "four", "8": "eight"}),
    waists.length_option(),
    waists.WAIST_EASE,
    length("hip_ease", "Ease round the body at the hip.", 51.0, 0.0, 250.0),
    choice("flare_from", "Where the gores begin to flare.", {"hip": "at the hip", "knee": "a hand above the knee, as a trumpet"}),
    length("flare", "Added at the hem on each edge of each gore.", 50.0, 0.0, 250.0),
    waists.ZIP_LENGTH,
    waists.POCKETS,
    *waists.finish_options("band", "facing", "elastic", "none"),
)  # fmt: skip


def gored_skirt(s: Sheet) -> None:
    """Draft the gored skirt.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    style = s.style
    n = int(style["gores"])
    g = waists.girths(s, style["hip_ease"], style["waist_ease"])
    elastic = style["waist_finish"] == "elastic"
    waist = waists.elastic_ring(s, g) if elastic else g.waist
    hip = g.drawn if g.drawn > waist else waist
    long_ = s.chosen("length", waists.LENGTHS_MM) + s.fitted("length below waist")
    knee = style["flare_from"] == "knee"
    z = Sizes(
        s.m["waist_to_hip"],
        number(KNEE_MM, "the flare begins") if knee else s.m["waist_to_hip"],
        long_,
        style["flare"] + s.fitted("hem") / (2 * n),
    )
    six = g.joint is not None and n == 6
    s.fault(six, "style.gores", "six have no seams at the centres of the bodice.", "Choose 4 or 8.")
    _refuse(s, z, knee, float(hip) / (2 * n))
    waists.tell_over(s, g)
    if g.joint:
        kinds = _under(g.joint, n)
        taken, gores, wide = fitted(float(hip), float(waist), kinds, n, z)
        hips = {k: found(w, "half of this gore", g.waist, hip) for k, w in wide.items()}
    else:
        more = BACK_WIDER * (4.0 / n)  # on each back gore; half of the back has n ÷ 4 of them
        hips = {f"{FRONT} gore": (hip / n - more / 2) / 2, f"{BACK} gore": (hip / n + more / 2) / 2}
        taken, gores = _solved(waist, hip, hips, n, z)
    s.fault(
        taken > LIMIT_EDGE_MM, "waist", f"is too small for the hip: each edge of {n} gores would lose {s.t(taken)}.",
        "Choose more gores, or the gathered-skirt." if n < 8 else "Choose the gathered-skirt.",
    )  # fmt: skip
    s.stop()
    with s.step("frame", "Middle of the gore, waist line, hip line and hem line"):
        widest = float(max(hips.values(), key=float) + z.flare) + 50.0
        s.frame(z.length, widest, waist_line=0.0, hip_line=z.depth, hem_line=z.length)
    in_ = found(taken, "taken in at each edge", hip, waist, z.depth)
    chosen = [style[k] for k in ("gores", "flare_from", "waist_finish")]
    of = sources_of(hip, waist, z, z.depth, z.length, z.flare, *chosen)
    for name, gore in gores.items():
        _record(s, name, gore, hips[name], in_, z)
        s.add(_piece(s, name, gore, n // len(gores), z), all=of)
    seams = dict(zip(SEAMS, (True, False), strict=True))
    beside = {k: seams for k in gores if len(gores) == 2 or "side" in k.split()}
    waists.seam_pockets(s, beside, not elastic and not _at_back(g, n))
    _finish(s, g, waist, n, elastic)
    _true(s, g, z, elastic)
    where = "centre back" if _at_back(g, n) else "left side"
    s.makes(
        closing="" if elastic else f"Zip into the {where} seam, then that seam below it.",
        skirt="Join the front gores, then the back gores, from the hem up; press the seams open. Last the side seams.",
        finish=waists.FINISHING[style["waist_finish"]],
        hem="Hang the skirt for a night, level the hem and turn it up.",
    )


def _at_back(g: waists.Girths, n: int) -> bool:
    """Whether it opens at the centre back; six gores have no seam there."""
    return n != 6 and (g.joint is None or g.joint.opens == BACK)


def _refuse(s: Sheet, z: Sizes, knee: bool, half_hip: float) -> None:
    waists.refuse_halves(s, ("waist", "hip", "hem"), "all seams of this skirt are alike")
    short = z.depth + waists.LEAST_BELOW_HIP_MM if not knee else z.begins + LEAST_FLARED_MM
    what = f"leaves no room for the flare, which begins {s.t(z.begins)} down."
    remedy = "Make the skirt longer, or flare it from the hip."
    s.fault(z.length < short, "style.length", what, remedy)
    low, what = knee and float(z.begins) - float(z.depth) < 40.0, "'knee' lies too near the hip."
    s.fault(low, "style.flare_from", what, "Choose 'flare_from: hip'.")
    room = float(z.length - z.begins)
    lean = hem_lean(half_hip + float(z.flare), float(z.flare), max(room, 1.0), knee)
    wide, what = room > 0 and z.flare > 0 and lean > MOST_LEAN, "spreads the gores too far for their length."  # fmt: skip
    s.fault(wide, "style.flare", what, "Use less, or the circle-skirt.")
    s.fault(z.flare < 0, "fit", "'hem' takes more than the flare.", "Use less.")
    s.stop()


def _under(joint: joints.Joint, n: int) -> dict[str, float]:
    """Gore → half of its waist, mm, for a bodice: of eight, the seams lie under its darts."""
    wanted: dict[str, float] = {}
    for half, there in joint.halves.items():
        whole = float(there.length)
        if n == 4:
            wanted[f"{half} gore"] = whole / 2
            continue
        at = min(joints.places(joint, half, 1), default=whole / 2)
        at = at if 0.25 * whole < at < 0.75 * whole else whole / 2
        wanted |= {f"{half} gore": at / 2, f"{half} side gore": (whole - at) / 2}
    return wanted


def _solved(
    waist: Amount, hip: Amount, hips: dict[str, Amount], n: int, z: Sizes
) -> tuple[float, dict[str, Gore]]:
    """Gores whose waists together are as long as the waist, all seams alike, and what these take in."""
    each, wide = float(waist) / n, {k: float(w) for k, w in hips.items()}
    mean = 0.5 * sum(wide.values())

    def drawn(taken: float) -> tuple[dict[str, Gore], float]:
        made = {k: draw_gore(w, mean, taken, z) for k, w in wide.items()}
        return made, sum(x.waist.length for x in made.values()) - each

    gores, taken, off = waists.on_target(drawn, float(hip - waist) / (2 * n))
    if abs(off) > 1e-4 or taken < -5.0:
        what = "cannot be drawn to its length."
        raise DraftError.of("waist", what, "Are the measurements right?")
    return taken, gores


def _record(s: Sheet, kind: str, gore: Gore, width: Amount, in_: Amount, z: Sizes) -> None:
    """The steps of one gore."""
    title, why = f"{kind.capitalize()}: half of it", "The other half is its mirror image."
    half = kind.removesuffix(" gore")
    with s.step(kind.replace(" ", "-"), title, kind, why):
        s.point(f"{half} hip", on="hip line", out=width)
        end, foot = gore.waist.end, gore.hem.end
        up = found(end[1], "the seam is raised by", in_)
        s.point(f"{half} waist", on="waist line", out=width - in_, up=up)
        up = found(foot[1] + z.length, "raised", z.flare)
        s.point(f"{half} hem", on="hem line", out=width + z.flare, up=up)
        s.draw("seam", chain_points(gore.seam), "softly bowed to the hip")
        s.draw("waist", gore.waist.flatten(), "square to the middle and to the seam")
        s.draw("hem", gore.hem.flatten(), "square to the middle and to the seam")
        s.draw("middle", spot_array([gore.waist.start, gore.hem.start]), "-")
        s.tell("seam", sum(c.length for c in gore.seam))


def _piece(s: Sheet, name: str, gore: Gore, cut: int, z: Sizes) -> Piece:
    """A whole gore."""
    up, waist = chain_points(gore.seam)[::-1], gore.waist.flatten()[::-1]
    edges = both_halves(gore.hem.flatten(), up, waist)
    below = sum(c.length for c in gore.seam[1:])
    total = edges[SEAMS[0]].length_mm
    notches = (
        Notch(SEAMS[1], below, 1, "hip"), Notch(SEAMS[0], total - below, 1, "hip"),
        Notch("waist", 0.5 * edges["waist"].length_mm, 1, "middle"),
    )  # fmt: skip
    return Piece(
        name, edges, cut, grain=((0.0, 60.0 - float(z.length)), (0.0, -0.3 * float(z.length))),
        notches=notches, label=label_of(name, f"cut {cut}", s.measurements),
    )  # fmt: skip


def _finish(s: Sheet, g: waists.Girths, waist: Amount, n: int, elastic: bool) -> None:
    """Zip and band, or casing. The opening is at the centre back, with six gores at the left side."""
    names = (f"{FRONT} gore", f"{BACK} gore")
    if not elastic:
        zip_mm = waists.opening(s, lambda d: _girth(s, d), g, g.waist)
        where = "centre-back seam:" if _at_back(g, n) else "left side seam:"
        beside = f"{BACK} side gore" if g.joint and not g.joint.at_back else ""
        name = beside if beside in s.pieces else names[1]
        waists.with_zip(s, name, {SEAMS[0]: True, SEAMS[1]: False}, zip_mm, where)
        s.notes.append(f"The zip is marked on every back gore; it goes into the {where[:-1]} only.")
    if g.joint:
        own = {h: [(k, "waist") for k in s.pieces if k.startswith(h)] for h in (FRONT, BACK)}
        joints.sew_on(s, g.joint, own)
        return
    f, b = (s.pieces[x].edges["waist"].length_mm for x in names)
    half = n // 2
    first = half // 2 if n != 6 else 0  # of the back's, before the front's
    order = [b] * first + [f] * half + [b] * (half - first)
    ends = np.cumsum(order)
    middles = ends - 0.5 * np.array(order)
    at = {"seam": tuple(float(x) for x in ends[:-1]), "middle": tuple(float(x) for x in middles)}
    spots = tuple((x, "waist") for x in names for _ in range(half))
    if s.style["waist_finish"] in waists.STRAIGHT:
        waists.add_straight(s, float(ends[-1]), at, spots, 0.0, waist)
    elif s.style["waist_finish"] == "facing":
        tops, seams = {}, {}
        for half_, name in zip((FRONT, BACK), names, strict=True):
            line_ = s.pieces[name].edges["waist"].points[::-1]
            tops[half_], seams[half_] = closed_waist(line_, n)
        waists.add_facings(s, tops, {FRONT: False, BACK: n != 6}, seams, spots, sources_of(*(s.hangs_on[x, "waist"] for x in names)))  # fmt: skip


def _gores(s: Sheet) -> dict[str, Piece]:
    return {n: p for n, p in s.pieces.items() if n.endswith("gore")}


def _girth(s: Sheet, depth: float) -> float:
    """Finished girth at ``depth`` below the seams' upper ends, mm."""
    out = 0.0
    for piece in _gores(s).values():
        p = piece.edges[SEAMS[1]].points
        out += 2 * piece.cut * float(np.interp(p[-1, 1] - depth, p[:, 1], p[:, 0]))
    return out


def _true(s: Sheet, g: waists.Girths, z: Sizes, elastic: bool) -> None:
    """Seams alike, hem and waist square, girths; measured on the pieces."""
    gores = _gores(s)
    names, last = list(gores), f"{BACK} side gore"
    names = [*names[:2], last, names[2]] if last in gores else names  # from centre to centre
    for a, b in pairwise(names):
        sides = a.split()[0] != b.split()[0]
        s.sew("side" if sides else f"{a.split()[0]} gores", (a, SEAMS[1]), (b, SEAMS[0]))
    for name in names:
        if "side" not in name.split():
            s.sew(f"{name}s", (name, SEAMS[1]), (name, SEAMS[0]))
        s.square(name, [frozenset((a, "seam")) for a in ("hem", "waist")])
    if not elastic:
        zip_mm = s.figures["zip"]
        waists.hip_passes(s, _girth(s, zip_mm), zip_mm, float(g.ring), float(g.waist))
    spots = tuple((n, "waist") for n, p in gores.items() for _ in range(p.cut))
    waists.waist_girth(s, spots, g.waist)
    top = next(iter(gores.values())).edges[SEAMS[1]].points[-1, 1]
    hip = _girth(s, float(top) + float(z.depth))
    waists.hip_girth(s, hip, g.hip, hip > g.hip + 0.1)
    s.figures["hem"] = sum(p.cut * p.edges["hem"].length_mm for p in gores.values())


BLOCK = skirt(
    gored_skirt,
    "The gored skirt",
    "Four, six or eight gores with the shaping in their seams, flared from the hip or the knee.",
    OPTIONS,
    ("right seam", "left seam", "outer", "fold", "centre back", "side", "bag"),
    ("hem",),
    {"gores": "8"},
    hem=25.0,
)
