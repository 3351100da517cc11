"""The fitted bodice: close to the body, shaped by a bust dart and darts at the waist.

After W. Aldrich, *Metric Pattern Cutting for Women's Wear*, the close-fitting bodice block (from
memory): half the bust and 5 cm wide; the bust dart from its size table; necklines by the neck's base;
shoulders, width lines and armhole control points by her proportions. The share of each dart in what
the waist takes in is ours, and so is the easy fit: its further ease is shared among back (a
quarter), front (a quarter) and armhole. What was not measured is taken from that book's table and
told. Frame: piece mm, x from the centre, y up, y = 0 at the side neck points.
"""

from __future__ import annotations

import math

import numpy as np

from configs.errors import DraftError
from drafting.blocks import Block
from drafting.blocks._bodice_lines import (
    BACK_ROOM_MM,
    BELOW_BUST_MM,
    EASE_MM,
    LEAST_ROOM_MM,
    SEWN_SHORT_MM,
    TOLD_MM,
    USUAL_CUP_MM,
    Half,
    Sizes,
    halves_of,
    neckline_lines,
    refuse,
    sizes_of,
    with_bust_dart,
    xy,
)
from drafting.curves import Cubic, chain_points, line, unit, vec
from drafting.fit import BACK, FRONT
from drafting.outline import Edge
from drafting.piece import Dart, Mark, Notch
from drafting.sheet import Amount, Sheet, found
from drafting.sheet.darts import Turn, roof, with_roofs
from drafting.sheet.finishing import short_of
from drafting.sheet.options import choice, length
from drafting.sheet.pieces import along, half_piece, refuse_crossing
from drafting.truing import Check, Girth, check_dart_runs, sewn_length

OPTIONS = (
    choice("fit", "How close it is.", {"close": "a bodice that darts hold to the body", "easy": "4 cm more at the bust, 6 cm more at the waist"}),
    length("bust_ease", "Ease round the body at the bust, before the bust dart; unset, it goes by the fit.", None, 60.0, 240.0),
    length("waist_ease", "Ease round the body at the waist; unset, it goes by the fit.", None, 20.0, 240.0),
    choice("bust_dart", "Where the bust dart lies; the scissors move it to any other place.",
           {"shoulder": "from the middle of the shoulder", "armhole": "from the armhole", "side": "from the side seam"}),
    choice("neckline", "Shape of the front neckline.", {"round": "at the base of the neck", "scoop": "deep and round", "v": "to a point", "square": "straight down, straight across"}),
    length("front_neck_depth", "Front neckline, below the side neck points at the centre; unset, it goes by its shape.", None, 40.0, 220.0),
    length("neck_point_out", "Neck point moved out along the shoulder, on each side; unset, it goes by the shape.", None, 0.0, 40.0),
    choice("opening", "Where it opens, from neckline to waist.", {"back": "a zip at the centre back", "front": "a zip at the centre front"}),
    length("back_shoulder_ease", "How much longer the back shoulder is, to be eased in over the blade.", 5.0, 0.0, 12.0),
)  # fmt: skip


def _piece(s: Sheet, z: Sizes, half: Half, neck: list[Cubic]) -> None:
    """Front or back as a piece."""
    h = half.name
    lines, opened = (half.lines, {}) if h == BACK else with_bust_dart(s, z, half)
    darts = [Dart("waist", xy(d.inner), xy(d.outer), xy(d.tip)) for d in half.darts]
    marks = [Mark("dart point", short_of(d)[None, :]) for d in half.darts]
    points = {"waist": with_roofs(half.waist, half.darts)[::-1]}
    for name, curves in lines.items():
        if name == "shoulder":  # it ends where the neckline begins
            first, last = opened.get(name, ([], curves))
            curves = [line(last[0].start, neck[0].start)]
            opened |= {name: (first, curves)} if first else {}
        points[name] = chain_points(curves)
        if name in opened:
            a, b = opened[name]
            axis = unit(0.5 * (a[-1].end + b[0].start) - vec(z.point))
            towards = Cubic(b[0].control[::-1]) if name == "shoulder" else a[-1]
            top = roof(towards, vec(z.point), axis)
            points[name] = np.concatenate([chain_points(a), top[None, :], chain_points(b)])
            darts.append(Dart(name, xy(a[-1].end), xy(b[0].start), z.point))
            sewn = vec(z.point) + SEWN_SHORT_MM * axis
            marks.append(Mark("bust dart, sewn to here", sewn[None, :]))
    points["neckline"] = chain_points(neck)
    seam = h == s.style["opening"]
    centre = f"centre {h}" if seam else "fold"
    points = {centre: np.array([points["neckline"][-1], points["waist"][0]]), **points}
    edges = {n: Edge(n, p) for n, p in points.items()}
    refuse_crossing(edges, h)
    notches = [
        Notch(d.edge, along(edges[d.edge], end), 1, f"{h} dart")
        for d in darts
        for end in (d.first, d.second)
    ]
    hole, many = edges["armhole"], 1 if h == FRONT else 2
    if s.style["bust_dart"] != "armhole" or h == BACK:
        notches.append(Notch("armhole", hole.length_mm / 3, many, f"{h} armhole"))
    x = 0.3 * z.front_x
    made = half_piece(
        h, points, s.measurements, grain=((x, z.waist_y + 40.0), (x, z.bust_y - 10.0)),
        notches=tuple(notches), darts=tuple(darts), marks=tuple(marks),
        landmarks={"bust point": z.point} if h == FRONT else {},
    )  # fmt: skip
    s.add(made, all=(*(s.m.get(k) for k in (*BLOCK.needs, *BLOCK.helps)), s.options(*(o.key for o in OPTIONS)), s.fitted("bust"), s.fitted("full bust"), s.fitted("waist"), s.fitted("length above waist")))  # fmt: skip


def _record(s: Sheet, z: Sizes, halves: tuple[Half, Half]) -> None:
    """The steps of the construction."""
    m = s.m
    measures = [m[k] for k in m]

    def of(value: float, label: str) -> Amount:
        return found(value, label, *measures)

    with s.step("frame", "Centre line, top line, bust line and waist line"):
        bust, waist = of(-z.bust_y, "bust line"), of(-z.waist_y, "waist line")
        s.frame(waist, z.frame, top_line=0.0, bust_line=bust, waist_line=waist)
        s.tell("half the bust with its ease", of(z.frame, "half the bust with its ease"))
    with s.step("bust point", "Bust point and bust dart", FRONT, "Both legs of a dart are equally long."):  # fmt: skip
        s.point("bust point", on="top line", out=of(z.point[0], "bust point out"), up=of(z.point[1], "bust point down"))  # fmt: skip
        s.tell("bust dart, wide at the neck point", of(z.dart, "bust dart"))
        if z.spread:
            s.tell("spread over the bust, each half of the front by", of(z.spread, "spread"))
            s.tell("and longer at the centre by", of(z.drop, "longer"))
    for half in halves:
        h = half.name
        with s.step(f"{h}-panel", f"{h.capitalize()}: width line, side seam and armhole", h):
            width = of(z.front_x + z.spread if h == FRONT else z.back_x, f"{h} width line")
            low = -of(z.drop, "longer for the bust") if h == FRONT and z.drop else 0.0
            s.point(f"{h} width", on="bust line", out=width, up=low)
            for name, on, at in (("underarm", "bust line", "end"), ("side waist", "waist line", "start")):  # fmt: skip
                x = float(getattr(half.lines["side"][0], at)[0])
                s.point(f"{h} {name}", on=on, out=of(x, f"{h} {name}"), up=low)
            for name, curves in half.lines.items():
                s.draw(f"{h} {name}", chain_points(curves), "straight" if name != "armhole" else "square to side and shoulder")  # fmt: skip
        with s.step(f"{h}-waist", f"{h.capitalize()}: waist and its dart", h):
            for d in half.darts:
                s.dart("waist dart", d.inner, d.tip, d.outer)
                s.tell("waist dart, wide", math.dist(d.inner, d.outer))
            s.draw(f"{h} waist", with_roofs(half.waist, half.darts)[::-1], "as one smooth line with the dart closed")  # fmt: skip


def _checks(s: Sheet, z: Sizes) -> None:
    """What must be equal and square, the finished girths, and her second measures."""
    s.sew("side", (FRONT, "side"), (BACK, "side"))
    s.sew("shoulder", (BACK, "shoulder"), (FRONT, "shoulder"), z.ease)
    pairs = (("side", "waist"), ("side", "armhole"), ("shoulder", "armhole"), ("fold", "waist"), ("centre front", "waist"), ("centre back", "waist"))  # fmt: skip
    for h in (FRONT, BACK):
        s.square(h, [frozenset(p) for p in pairs])
    s.checks += check_dart_runs(s.pieces)
    waist = 2.0 * sum(sewn_length(s.pieces[h], "waist") for h in (FRONT, BACK))
    asked = 2.0 * z.waist
    s.girths.append(Girth("waist girth", waist, float(s.m["waist_girth"]), asked - float(s.m["waist_girth"])))  # fmt: skip
    dart = max(z.bust_y - z.drop - z.point[1], 0.0) * 2.0 * math.tan(z.angle / 2)
    bust = 2.0 * (z.frame + z.spread - dart)
    room = bust - float(s.m["bust_girth"])
    what = f"has {s.t(room)} of ease on the bust line with the bust dart closed; {s.t(LEAST_ROOM_MM)} are needed."
    remedy = "Use more; is side_neck_to_bust_point right?"
    s.refuse(room < LEAST_ROOM_MM, "style.bust_ease", what, remedy)
    s.figures |= {"bust": bust, "bust dart degrees": math.degrees(z.angle)}
    _second_measures(s, z)
    upper = s.m.get("upper_chest_girth")
    more = float(s.m["bust_girth"] - upper) - USUAL_CUP_MM if upper is not None else 0.0
    if more - 2.0 * z.spread > 10.0:
        by = s.t(more)
        s.notes.append(
            f"The bust is {s.t(more + USUAL_CUP_MM)} fuller than the chest above it, the method draws for {s.t(USUAL_CUP_MM)}: "
            f"each front half wants {s.t(more / 2)}. 'fit: [{{change: full bust, by: {by}}}, {{change: bust, by: -{by}}}]' gives "
            "it to the front alone and takes it from the whole."
        )


def _second_measures(s: Sheet, z: Sizes) -> None:
    """Her front length over the bust, and the back's width at the blades, measured on the pieces."""
    waist = [d for d in s.pieces[FRONT].darts if d.edge == "waist"]
    down = z.point[1] - z.waist_y + z.drop  # with a dart, along its closed legs
    if waist:
        down = BELOW_BUST_MM + waist[0].legs_mm[0]
    drawn = math.dist(z.point, z.neck_point) + down
    s.figures |= {"front length": drawn}
    measured = s.m.get("front_waist_length")
    if measured is not None and abs(drawn - measured) > TOLD_MM:
        more = float(measured) - drawn
        way = (
            "With folds that point at the bust give it with 'full bust', else let the waist down in front."
            if more > 0
            else "Pin the surplus out below the bust on a toile."
        )
        s.notes.append(
            f"From the side neck point over the bust to the waist she measures {s.t(measured)}, the draft {s.t(drawn)}: "
            f"{s.t(abs(more))} too {'short' if more > 0 else 'long'} in front. {way}"
        )
    wide = s.m.get("back_width")
    if wide is not None:
        hole = s.pieces[BACK].edges["armhole"].points
        level = 0.5 * (float(hole[-1, 1]) + z.bust_y)
        has = 2.0 * float(np.interp(level, hole[:, 1], hole[:, 0]))
        move = has - float(wide)
        most_ = BACK_ROOM_MM[1] + 0.5 * (z.frame * 2.0 - z.bust - EASE_MM["close"][0])
        off = max(BACK_ROOM_MM[0] - move, move - most_, 0.0)
        text = f"{s.t(has)} across the blades, {s.t(wide)} measured: {s.t(move)} to move in"
        s.checks.append(Check("across the back", off, TOLD_MM, off <= TOLD_MM, text))


def fitted_bodice(s: Sheet) -> None:
    """Draft the bodice.

    Raises:
        DraftError: no sound pattern can be drawn from these, with the reason.
    """
    z = sizes_of(s)
    refuse(s, z)
    try:
        front, back = halves_of(s, z)
    except ValueError as error:  # a dart wider than it is long
        raise DraftError.of("waist", "has no room for its darts.", "Are the measurements right?") from error  # fmt: skip
    close = Turn.about(vec(z.point), z.angle)
    shoulder = front.lines["shoulder"][0]
    necks = neckline_lines(s, z, (close(shoulder.end), close(shoulder.start)), back)
    _record(s, z, (front, back))
    for half in (front, back):
        _piece(s, z, half, necks[half.name])
    _checks(s, z)
    s.makes(
        darts="Sew the darts, the one of the bust to its mark, those of the waist to their points; press these to the centre.",
        shoulder=f"Sew the shoulders, the back eased in by {s.t(z.ease)}.",
        side="Sew the side seams.",
        closing=f"Set the zip in the centre {s.style['opening']}, open from neckline to waist.",
        neckline="Finish the neckline with a facing or a binding.",
        armhole="Finish the armholes.",
        waist="Finish the waist.",
    )


BLOCK = Block(
    name="fitted-bodice",
    title="The fitted bodice",
    text="Close to the body down to the waist, with a bust dart and darts at the waist.",
    needs=("bust_girth", "waist_girth", "back_neck_to_waist", "shoulder_length"),
    helps=("neck_base_girth", "scye_depth", "back_width", "bust_point_width", "side_neck_to_bust_point", "front_waist_length", "upper_chest_girth"),
    options=OPTIONS,
    edges=("fold", "centre front", "centre back", "waist", "side", "armhole", "shoulder", "neckline"),
    draw=fitted_bodice,
    changes=("bust", "full bust", "waist", "length above waist"),
    allowances={"all": 15.0, "neckline": 6.0, "armhole": 10.0, "waist": 10.0, "centre back": 20.0, "centre front": 20.0},
)  # fmt: skip
