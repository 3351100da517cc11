"""The straight skirt's pieces: front, back, band or facings, with darts, notches, zip and slit.

From the panels' curves to `Piece`s. Frame: piece mm, x from the centre line, y up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from configs.errors import DraftError, Fault
from configs.units import format_length
from drafting.blocks.garment_pieces import label_of
from drafting.blocks.straight_skirt_panel import Panel, Sizes
from drafting.curves import Points, chain_points, left_of
from drafting.fit import BACK, FRONT
from drafting.measurements import Measurements
from drafting.outline import Edge, polyline_length
from drafting.piece import Dart, Mark, Notch, Piece
from drafting.truing import GIRTH_MM, Check, sewn_length

DRILL_SHORT_MM = 10.0  # the mark for a dart's point lies this far inside it, so that no hole shows
BAR_MM = 15.0  # of the mark across the end of a zip or slit
STRIDE_MM = (
    1150.0  # a hem at knee length that a common stride asks for (common practice, no source)
)
WALK_FROM_MM = 500.0  # a shorter skirt opens by itself
SLIT_BELOW_MM = 450.0  # a slit begins this far below the waist
LEAST_SLIT_MM = 100.0


def skirt_pieces(
    front: Panel,
    back: Panel,
    sizes: Sizes,
    style: Mapping[str, Any],
    m: Measurements,
    notes: list[str],
) -> tuple[dict[str, Piece], dict[str, float]]:
    """(name → piece, further numbers in mm by name); what she should know goes to ``notes``.

    Raises:
        DraftError: zip and slit do not fit on their seam.
    """
    zip_mm, slit_mm = _openings(front, back, sizes, style, m, notes)
    pieces = {
        FRONT: _half(front, sizes, style, m, zip_mm, slit_mm),
        BACK: _half(back, sizes, style, m, zip_mm, slit_mm),
    }
    if style["waist_finish"] == "band":
        pieces["waistband"] = _band(pieces, style, m)
    elif style["waist_finish"] == "facing":
        for half, panel in ((FRONT, front), (BACK, back)):
            pieces[f"{half} waist facing"] = _facing(panel, style, m)
    return pieces, {"zip": zip_mm, "slit": slit_mm}


def _openings(
    front: Panel,
    back: Panel,
    sizes: Sizes,
    style: Mapping[str, Any],
    m: Measurements,
    notes: list[str],
) -> tuple[float, float]:
    """Length of the zip's opening and of the slit, mm; 0 where there is none."""
    where = "centre back" if style["centre_back"] == "seam" else "left side seam"
    inches = m.unit == "in"
    zip_mm = style["zip_length"] or max(
        7.0 * 25.4 if inches else 180.0, _zip_to_pass(front, back, sizes, inches)
    )
    if style["centre_back"] == "fold":
        notes.append(
            "The back is cut on the fold: zip and slit are marked on the side seams, and go into the "
            "left one only."
        )
    hem = 2.0 * (front.hem.length + back.hem.length)
    slit = 0.0
    if isinstance(style["slit"], float):
        slit = style["slit"]
    elif style["slit"] == "auto" and sizes.length > WALK_FROM_MM and hem < STRIDE_MM:
        step = 12.7 if inches else 10.0
        slit = step * math.ceil(max(LEAST_SLIT_MM, sizes.length - SLIT_BELOW_MM) / step)
        word, verb = ("vent", "drawn") if style["centre_back"] == "seam" else ("slit", "marked")
        notes.append(
            f"The hem is {format_length(hem, m.unit)} round: a {word} of "
            f"{format_length(slit, m.unit)} is {verb} at the {where}, to walk in. Write 'style: "
            "{slit: none}' for a cloth that stretches."
        )
    if slit and style["centre_back"] == "fold":
        notes.append(
            "The side slit is turned back, not overlapped: leave an allowance of 3 cm or more on the "
            "side seam, from its upper end to the hem."
        )
    if slit and slit + zip_mm > sizes.length - 60.0:
        raise DraftError(
            Fault("style.slit", f"meets the zip at the {where}.", "Make one of them shorter.")
        )
    return zip_mm, slit


def _half(
    panel: Panel,
    sizes: Sizes,
    style: Mapping[str, Any],
    m: Measurements,
    zip_mm: float,
    slit_mm: float,
) -> Piece:
    """Front or back: half on the fold, or one of a pair."""
    seam = panel.half == BACK and style["centre_back"] == "seam"
    centre = "centre back" if seam else "fold"
    top, low = (0.0, panel.centre_y), (0.0, -sizes.length)
    waist = [panel.waist[-1].flatten()[::-1]]
    for dart, part in zip(panel.darts[::-1], panel.waist[-2::-1], strict=True):
        waist += [dart.cap[None, :], part.flatten()[::-1]]
    centre_line, hem = np.array([top, low]), panel.hem.flatten()
    vent: dict[str, Points] = {}
    if seam and slit_mm > 0:
        centre_line, vent = _vent(sizes, slit_mm, float(style["vent_width"]), panel.centre_y)
        hem = np.concatenate([vent["vent"][-1:], hem])
    points: dict[str, Points] = {
        centre: centre_line,
        **vent,
        "hem": hem,
        "side": chain_points(panel.side)[::-1],
        "waist": np.concatenate(waist),
    }
    edges = {n: Edge(n, p) for n, p in points.items()}
    darts = tuple(Dart("waist", _xy(d.outer), _xy(d.inner), _xy(d.tip)) for d in panel.darts[::-1])
    count = 1 if panel.half == FRONT else 2
    below_hip = panel.side[1].length
    notches = [Notch("side", below_hip, count, "side")]
    for each in darts:
        notches += [
            Notch("waist", _along(edges["waist"], end), 1, "dart")
            for end in (each.first, each.second)
        ]
    marks = [Mark("dart point", _short_of(d.tip, d)[None, :]) for d in panel.darts]
    if seam or style["centre_back"] == "fold":
        on = edges[centre] if seam else edges["side"]
        more, cuts = _opening_marks(on, seam, zip_mm, 0.0 if vent else slit_mm, m)
        marks += more
        notches += cuts
    if vent:
        marks.append(Mark("fold the vent here", np.array([centre_line[-1], low])))
    name = panel.half
    how = "cut 2, a pair" if seam else "cut 1 on the fold"
    x = 0.25 * panel.width
    return Piece(
        name=name,
        edges=edges,
        cut=2 if seam else 1,
        pair=seam,
        fold=None if seam else (top, low),
        grain=((x, -sizes.length + 60.0), (x, -sizes.depth - 5.0)),
        notches=tuple(notches),
        darts=darts,
        marks=tuple(marks),
        label=label_of(name, how, m),
    )


def _zip_to_pass(front: Panel, back: Panel, sizes: Sizes, inches: bool) -> float:
    """How far down the zip must reach so that the ring at its end passes the hip, mm."""
    sides = [chain_points(p.side) for p in (front, back)]
    step, most = (12.7, 304.8) if inches else (10.0, 300.0)
    depths = np.arange(0.0, min(sizes.depth + step, most), step)
    small = [float(d) for d in depths if _ring_at(sides, float(d)) < sizes.ring - 0.1]
    return min(max(small) + step, most) if small else 0.0


def _ring_at(sides: list[Points], depth: float) -> float:
    """Finished girth mm at ``depth`` below the upper end of the side seams (N, 2) of both halves."""
    total = 0.0
    for side in sides:
        falling = side if side[0, 1] > side[-1, 1] else side[::-1]
        y = float(falling[0, 1]) - depth
        total += 2.0 * float(np.interp(-y, -falling[:, 1], falling[:, 0]))
    return total


def hips_pass(pieces: Mapping[str, Piece], zip_mm: float, m: Measurements, sizes: Sizes) -> Check:
    """The hip passes the ring at the end of the zip; measured on the pieces."""
    sides = [pieces[h].edges["side"].points for h in (FRONT, BACK)]
    ring, need = _ring_at(sides, zip_mm), sizes.ring
    text = (
        f"{format_length(ring, m.unit)} round at the end of the zip, "
        f"{format_length(zip_mm, m.unit)} down; {format_length(need, m.unit)} needed"
    )
    short = max(need - ring, 0.0)
    if short > GIRTH_MM:
        text += ": a longer zip_length, or none named"
    return Check("the hip passes", short, GIRTH_MM, short <= GIRTH_MM, text)


VENT_SLOPE = 0.5  # the upper end of a vent falls towards its edge, so that it can be sewn flat


def _vent(
    sizes: Sizes, slit_mm: float, width: float, centre_y: float
) -> tuple[Points, dict[str, Points]]:
    """(the centre back down to the vent, the vent's own edges): an extension that overlaps.

    Common practice, no source: 3 to 5 cm beyond the centre back, slanted at its upper end.
    """
    end = (0.0, slit_mm - sizes.length)
    corner = (-width, end[1] - VENT_SLOPE * width)
    return np.array([(0.0, centre_y), end]), {
        "vent top": np.array([end, corner]),
        "vent": np.array([corner, (-width, -sizes.length)]),
    }


def _xy(p: Points) -> tuple[float, float]:
    return float(p[0]), float(p[1])


def _along(edge: Edge, spot: tuple[float, float]) -> float:
    """How far along an edge one of its own points lies, mm."""
    i = int(np.argmin(np.hypot(*(edge.points - np.array(spot)).T)))
    return polyline_length(edge.points[: i + 1]) if i else 0.0


def _short_of(tip: Points, dart: Any) -> Points:
    middle = 0.5 * (dart.inner + dart.outer)
    along = (middle - tip) / float(np.hypot(*(middle - tip)))
    return np.asarray(tip + DRILL_SHORT_MM * along)


def _opening_marks(
    edge: Edge, centre: bool, zip_mm: float, slit_mm: float, m: Measurements
) -> tuple[list[Mark], list[Notch]]:
    """Bars across the ends of zip and slit, inside the seam, and a notch at each."""
    marks, notches = [], []
    for word, size, from_top in (("zip", zip_mm, True), ("slit", slit_mm, False)):
        if size <= 0:
            continue
        # the centre runs down, the side runs up
        at = size if from_top == centre else edge.length_mm - size
        point, along = edge.at(at)
        inward = left_of(along)
        line_ = np.array([point, point + BAR_MM * inward])
        where = "" if centre else "left side "
        marks.append(Mark(f"{where}{word} {format_length(size, m.unit)}", line_))
        notches.append(Notch(edge.name, at, 1, word))
    return marks, notches


def _band(pieces: Mapping[str, Piece], style: Mapping[str, Any], m: Measurements) -> Piece:
    """A straight band, folded along its middle: the whole waist and an overlap at its right end."""
    front, back = (2.0 * sewn_length(pieces[h], "waist") for h in (FRONT, BACK))
    overlap, high = style["band_overlap"], 2.0 * style["band_width"]
    long_ = front + back + overlap
    ring = ((0.0, 0.0), (long_, 0.0), (long_, high), (0.0, high))
    names = ("waist", "right side", "inner", "left side")
    edges = {n: Edge(n, np.array([ring[i], ring[(i + 1) % 4]])) for i, n in enumerate(names)}
    if style["centre_back"] == "seam":  # from the centre back round to the centre back
        at = {"side": (0.5 * back, 0.5 * back + front), "centre": (0.5 * back + 0.5 * front,)}
    else:  # from the left side seam round to the left side seam
        at = {"side": (front,), "centre": (0.5 * front, front + 0.5 * back)}
    ends = (front + back,) if overlap > 0 else ()
    notches = [Notch("waist", s, 1, n) for n, spots in at.items() for s in spots]
    notches += [Notch("waist", s, 1, "overlap") for s in ends]
    fold = np.array([(0.0, 0.5 * high), (long_, 0.5 * high)])
    return Piece(
        name="waistband",
        edges=edges,
        grain=((0.35 * long_, 0.25 * high), (0.65 * long_, 0.25 * high)),
        turns=(0.0, 90.0, 180.0, 270.0),
        notches=tuple(notches),
        marks=(Mark("fold the band here", fold),),
        label=label_of("waistband", "cut 1", m),
    )


def _facing(panel: Panel, style: Mapping[str, Any], m: Measurements) -> Piece:
    """The top of a panel with its darts closed, as deep as the facing is wide."""
    width = float(style["facing_width"])
    seam = panel.half == BACK and style["centre_back"] == "seam"
    centre = "centre back" if seam else "fold"
    upper = panel.closed.flatten()
    tangents = np.gradient(upper, axis=0)
    tangents[0], tangents[-1] = panel.closed.tangent(0.0), panel.closed.tangent(1.0)
    tangents /= np.hypot(*tangents.T)[:, None]
    lower = upper - width * np.stack([-tangents[:, 1], tangents[:, 0]], axis=1)
    lower[0, 0] = 0.0
    if (np.diff(lower[:, 0]) <= 0).any() or (lower[1:, 0] <= 0).any():
        raise DraftError(
            Fault(
                "style.facing_width",
                f"is too wide for the waist of the {panel.half}, which is strongly curved.",
                "Make it narrower.",
            )
        )
    edges = {
        centre: Edge(centre, np.array([upper[0], lower[0]])),
        "outer": Edge("outer", lower),
        "side": Edge("side", np.array([lower[-1], upper[-1]])),
        "waist": Edge("waist", upper[::-1]),
    }
    at = np.cumsum([part.length for part in panel.waist])[:-1]
    name = f"{panel.half} waist facing"
    x = 0.3 * float(upper[-1, 0])
    top = float(np.interp(x, upper[:, 0], upper[:, 1]))
    return Piece(
        name=name,
        edges=edges,
        cut=2 if seam else 1,
        pair=seam,
        fold=None if seam else (_xy(upper[0]), _xy(lower[0])),
        grain=((x, top - 0.85 * width), (x, top - 0.15 * width)),
        notches=tuple(Notch("waist", float(panel.closed.length - s), 1, "dart") for s in at[::-1]),
        label=label_of(name, "cut 2, a pair" if seam else "cut 1 on the fold", m),
    )
