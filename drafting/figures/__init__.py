"""Figures of how each measurement is taken: where the tape goes, from landmark to landmark.

Beside `drafting.measurements`, whose keys they serve: `figure(key)` is a `Drawing` that
becomes SVG (`to_svg`), lines for a terminal (`to_text`) or a page of a PDF sheet
(`measuring_sheet`). The body and the tape are our own drawing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, cast

import numpy as np

from configs.errors import Fault, InputError
from drafting.figures import body
from drafting.figures.drawing import (
    GREY,
    INK,
    TAPE,
    Drawing,
    Points,
    Stroke,
    Writing,
    circle,
    place,
    smooth,
    svg_width,
    tape_strokes,
    text_lines,
    to_pdf,
    to_svg,
    to_text,
)
from drafting.measurements import REGISTRY

__all__ = [
    "FIGURES",
    "Figure",
    "figure",
    "figure_legend",
    "figure_svg",
    "figure_text",
    "measuring_sheet",
]

Pair = tuple[float, float]
Crop = tuple[float, float, float, float]

# what a view shows of the body: (left, right, bottom, top) in model mm
_TRUNK = (-330.0, 330.0, 860.0, 1700.0)
_UPPER = (-300.0, 300.0, 1010.0, 1700.0)
_NECK = (-250.0, 250.0, 1230.0, 1700.0)
_BACK_LONG = (-330.0, 330.0, 780.0, 1700.0)
_HEAD = (-190.0, 200.0, 1330.0, 1700.0)
_SIDE_LONG = (-330.0, 330.0, 700.0, 1700.0)
_ARM = (-200.0, 420.0, 900.0, 1700.0)
_UPPER_ARM = (-180.0, 380.0, 1060.0, 1700.0)
_HAND = (-180.0, 380.0, 640.0, 1240.0)
_WHOLE = (-460.0, 460.0, -30.0, 1720.0)


@dataclass(frozen=True, eq=False)
class Figure:
    """Where the tape goes, in model mm (see `drafting.figures.body`).

    ``view``: front, back or side; ``crop``: (left, right, bottom, top) that is shown;
    ``tape`` (N, 2): the visible run; ``hidden``: the run behind the body; ``ends``: letter →
    (place, landmark); ``level``: a height at which the tape lies level, and its name;
    ``helps``: thin aids such as the waist tape and the neck chain; ``bent``: fist on the hip.
    """

    view: str
    crop: Crop
    tape: Points
    hidden: Points | None = None
    ends: tuple[tuple[str, Pair, str], ...] = ()
    level: tuple[float, str] | None = None
    helps: tuple[Points, ...] = ()
    bent: bool = False

    @property
    def seen_from(self) -> str:
        """The view in words, for a caption."""
        return f"seen from the {self.view}"


def _ring(centre: Pair, half_width: float, dip: float, tilt: float = 0.0) -> tuple[Points, Points]:
    """A tape round the body as an ellipse: (the half before the body, the half behind it)."""
    a = np.linspace(np.pi, 2 * np.pi, 33)
    turn = np.array([[np.cos(tilt), np.sin(tilt)], [-np.sin(tilt), np.cos(tilt)]])
    flat = np.stack([half_width * np.cos(a), dip * np.sin(a)], axis=1)
    behind = flat * np.array([1.0, -1.0])
    return flat @ turn + np.array(centre), behind @ turn + np.array(centre)


def _round(view: str, crop: Crop, y: float, half: float, name: str, x: float = 0.0) -> Figure:
    """A tape that lies level round the trunk."""
    return Figure(view, crop, *_ring((x, y), half, 13.0), level=(y, name))


def _from_to(
    view: str, crop: Crop, tape: Points, first: str, last: str, *helps: Points, bent: bool = False
) -> Figure:
    """A tape from one landmark to another."""
    a, b = (cast(Pair, tuple(tape[i].tolist())) for i in (0, -1))
    return Figure(view, crop, tape, ends=(("A", a, first), ("B", b, last)), helps=helps, bent=bent)


def _straight(*points: Pair) -> Points:
    return np.array(points, dtype=np.float64)


_WAIST_TIE = _straight((-123, body.WAIST), (123, body.WAIST))
_CHAIN_FRONT = smooth(
    [(-63, body.NECK_SIDE), (-42, 1394), (0, body.NECK_PIT), (42, 1394), (63, body.NECK_SIDE)]
)
_CHAIN_BACK = smooth(
    [(-63, body.NECK_SIDE), (-34, 1428), (0, body.NECK_BACK), (34, 1428), (63, body.NECK_SIDE)]
)


def _figures() -> dict[str, Figure]:
    b = body
    neck_back, neck_side = (0.0, b.NECK_BACK), (63.0, b.NECK_SIDE)
    shoulder = (172.0, b.SHOULDER)
    elbow, wrist_bent = (347.0, 1092.0), (176.0, 966.0)
    arm_over = smooth([shoulder, (207, 1352), (238, 1304), (288, 1216), (336, 1130), elbow])
    behind = smooth([(-63, 1413), (-36, 1430), (0, 1436), (36, 1430), (63, 1413)])
    neck = smooth([(-63, 1413), (-44, 1392), (0, b.NECK_PIT - 2), (44, 1392), (63, 1413)])
    upper_arm = _ring((196, 1240), 27, 6, tilt=0.09)
    wrist = _ring((261, 822), 18, 5, tilt=0.12)
    hand = _ring((272, 762), 25, 6, tilt=0.12)
    bent = _ring((317, 1101), 34, 9, tilt=-0.22)
    head = _ring((-4, 1588), 98, 12, tilt=-0.05)
    to_bust = smooth([neck_side, (70, 1340), (78, 1270), (84, b.BUST)])
    to_wrist = smooth([elbow, (330, 1070), (272, 1029), (222, 986), wrist_bent])
    below, beside = (*_NECK[:2], 1150.0, 1700.0), (*_TRUNK[:2], 690.0, 1440.0)
    return {
        "bust_girth": _round("front", _UPPER, b.BUST, 152, "bust level"),
        "under_bust_girth": _round("front", _UPPER, b.UNDER_BUST, 138, "under-bust level"),
        "upper_chest_girth": _round("front", _UPPER, b.UPPER_CHEST, 155, "upper chest level"),
        "waist_girth": _round("front", _TRUNK, b.WAIST, 123, "waist level"),
        "hip_girth": _round("side", _SIDE_LONG, b.HIP, 112, "hip level, at the fullest", x=-29),
        "hip_girth_at_tailbone": _round("side", _SIDE_LONG, b.TAILBONE, 112, "tailbone level", x=-22),
        "head_girth": Figure("side", _HEAD, *head, level=(b.BROW - 4, "over the brow")),
        "neck_base_girth": Figure("front", _NECK, neck, behind, (("A", (0, b.NECK_PIT - 2), "hollow of the neck"),)),
        "upper_arm_girth": Figure("front", _UPPER_ARM, *upper_arm, (("A", (231, 1243), "fullest of the upper arm"),)),
        "elbow_girth": Figure("back", _ARM, *bent, (("A", (362, 1092), "round the bent elbow"),), bent=True),
        "wrist_girth": Figure("front", _HAND, *wrist, (("A", (286, 825), "over the wrist bone"),)),
        "hand_girth": Figure("front", _HAND, *hand, (("A", (302, 766), "widest of the hand"),)),
        "neck_width": _from_to("front", _NECK, _straight((-63, b.NECK_SIDE), neck_side), "side neck point", "other side neck point", _CHAIN_FRONT),
        "shoulder_length": _from_to("back", _NECK, smooth([neck_side, (104, 1400), (150, 1387), shoulder]), "side neck point", "shoulder point", _CHAIN_BACK),
        "back_neck_to_tailbone": _from_to("back", _BACK_LONG, _straight(neck_back, (0, b.TAILBONE)), "back neck point", "end of the tailbone", _CHAIN_BACK),
        "back_neck_to_waist": _from_to("back", _BACK_LONG, _straight(neck_back, (0, b.WAIST)), "back neck point", "waist", _CHAIN_BACK, _WAIST_TIE),
        "back_width": _from_to("back", below, _straight((-160, b.BACK_WIDTH), (160, b.BACK_WIDTH)), "arm crease at the back", "other arm crease"),
        "scye_depth": _from_to("back", _UPPER, _straight(neck_back, (0, b.ARMPIT)), "back neck point", "armpit level", _CHAIN_BACK, _straight((-155, b.ARMPIT), (155, b.ARMPIT))),
        "side_neck_to_bust_point": _from_to("front", _UPPER, to_bust, "side neck point", "bust point", _CHAIN_FRONT),
        "front_waist_length": _from_to("front", _UPPER, np.vstack([to_bust, [(84, b.WAIST)]]), "side neck point", "waist level", _CHAIN_FRONT, _WAIST_TIE),
        "bust_point_width": _from_to("front", _UPPER, _straight((-84, b.BUST), (84, b.BUST)), "bust point", "other bust point"),
        "shoulder_to_elbow": _from_to("back", _ARM, arm_over, "shoulder point", "point of the bent elbow", bent=True),
        "arm_length": _from_to("back", _ARM, np.vstack([arm_over, to_wrist]), "shoulder point", "wrist bone", bent=True),
        "waist_to_hip": _from_to("front", beside, smooth([(123, b.WAIST), (133, 990), (157, 925), (172, b.HIP)]), "waist, at the side", "hip level", _WAIST_TIE, _straight((-172, b.HIP), (172, b.HIP))),
        "stature": _from_to("front", _WHOLE, _straight((345, b.CROWN), (345, 0)), "crown of the head", "floor", _straight((0, b.CROWN), (345, b.CROWN)), _straight((-300, 0), (400, 0))),
    }  # fmt: skip


FIGURES: Mapping[str, Figure] = MappingProxyType(_figures())


def _known(key: str) -> Figure:
    if key not in FIGURES:
        raise InputError.of(f"figure '{key}'", "there is no figure of that measurement.")
    return FIGURES[key]


def figure(key: str, width_mm: float = 80.0, lettered: bool = True) -> Drawing:
    """The figure of a measurement (a key of `drafting.measurements.REGISTRY`) as a drawing.

    ``lettered``: with a strip below that names the landmarks; without it only letters stand.

    Raises:
        InputError: no such measurement.
    """
    f = _known(key)
    left, right, bottom, top = f.crop
    scale = width_mm / (right - left)
    height = (top - bottom) * scale
    origin = (-left * scale, top * scale)

    def put(points: Any) -> Points:
        return place(points, origin, scale)

    shape = {"front": body.front, "side": body.side}.get(f.view)
    view = shape() if shape else body.back(f.bent)
    strokes = [Stroke(put(ring), "body", True) for ring in view.outlines]
    strokes += [Stroke(put(line), "faint") for line in view.details]
    if f.level:
        strokes.append(Stroke(put([(left, f.level[0]), (right, f.level[0])]), "level"))
    strokes += [Stroke(put(line), "line") for line in f.helps]
    strokes += tape_strokes(put(f.tape), put(f.hidden) if f.hidden is not None else None)
    writings = []
    for letter, at, _ in f.ends:
        p = put([at])[0]
        strokes.append(Stroke(circle(p, 1.9), "end", True))
        writings.append(_letter((p[0], p[1] + 1.05), letter, 3.0))
    if lettered:
        strip = _strip(f, width_mm, height)
        strokes, writings = strokes + strip[0], writings + strip[1]
        height += strip[2]
    return Drawing(width_mm, height, tuple(strokes), tuple(writings))


def _strip(f: Figure, width: float, top: float) -> tuple[list[Stroke], list[Writing], float]:
    """What the letters and the dotted line mean, on a white strip below a figure; its height."""
    rows = len(f.ends) + (1 if f.level else 0) + 1
    height = 4.4 * rows + 2.0
    ground = np.array([(-1, top), (width + 1, top), (width + 1, top + height), (-1, top + height)])
    strokes = [Stroke(ground, "rule", True)]
    writings = []
    y = top + 4.6
    for letter, _, name in f.ends:
        strokes.append(Stroke(circle((3.2, y - 1.05), 1.7), "end", True))
        writings.append(_letter((3.2, y - 0.1), letter, 2.7))
        writings.append(Writing((7.0, y), name, _fitting(name, 3.0, width), bare=True))
        y += 4.4
    if f.level:
        strokes.append(Stroke(np.array([(1.4, y - 1.0), (6.0, y - 1.0)]), "level"))
        size = _fitting(f.level[1], 3.0, width)
        writings.append(Writing((7.0, y), f.level[1], size, bare=True))
        y += 4.4
    writings.append(Writing((7.0, y), f.seen_from, 2.7, colour=GREY, bare=True))
    return strokes, writings, height


def _letter(at: Pair, letter: str, size: float) -> Writing:
    """The letter of a landmark."""
    return Writing(at, letter, size, "middle", TAPE, strong=True, bare=True)


def _fitting(text: str, size: float, width: float) -> float:
    """A letter height at which a legend's line ends inside the strip, ``size`` at most."""
    return min(size, size * (width - 8.0) / svg_width(text, size))


def figure_svg(key: str) -> str:
    """The figure as an SVG document.

    Raises:
        InputError: no such measurement.
    """
    return to_svg(figure(key), REGISTRY[key].name)


def figure_text(key: str, columns: int = 34, rows: int = 60, plain: bool = False) -> list[str]:
    """The figure as lines of text for a terminal, within ``columns`` × ``rows`` characters.

    ``plain``: ASCII only.

    Raises:
        InputError: no such measurement.
    """
    drawing = figure(key, lettered=False)
    fitting = int(2 * rows * drawing.width_mm / drawing.height_mm)
    return to_text(drawing, max(12, min(columns, fitting)), plain)


def figure_legend(key: str) -> list[str]:
    """What the letters of a figure mean, one a line, and from where the body is seen.

    Raises:
        InputError: no such measurement.
    """
    f = _known(key)
    lines = [f"{letter}  {name}" for letter, _, name in f.ends]
    if f.level:
        lines.append(f"The tape lies level: {f.level[1]}.")
    return [*lines, f"Drawn as {f.seen_from}."]


def measuring_sheet(keys: Sequence[str], heading: Sequence[str] = (), paper: str = "a4") -> bytes:
    """A PDF to print and write on: figure, how it is taken and blanks for two takes of each.

    ``heading``: lines over the first page; ``paper``: a4 or letter. A measurement without a
    figure has an empty frame.

    Raises:
        InputError: no such measurement.
    """
    from configs.paper import PAPERS, pdf_document
    from drafting.lettering import Lettering

    unknown = [Fault(f"'{k}'", "is no measurement.") for k in keys if k not in REGISTRY]
    if unknown:
        raise InputError(unknown)
    pdf = pdf_document(PAPERS[paper], "measuring sheet")
    blank = Drawing(_CARD_FIGURE_MM, _CARD_FIGURE_MM, (), ())
    drawings = {k: figure(k, _CARD_FIGURE_MM) if k in FIGURES else blank for k in keys}
    texts = [t for d in drawings.values() for t in d.texts()]
    texts += [t for k in keys for t in (REGISTRY[k].name, REGISTRY[k].how, REGISTRY[k].posture)]
    pdf.add_page()
    letters = Lettering(pdf, [*heading, *texts, _SHEET_NOTE])
    y = _sheet_head(pdf, letters, heading)
    gap, column = 6.0, (pdf.w - 2 * _MARGIN_MM - 6.0) / 2
    for at in range(0, len(keys), 2):
        row = keys[at : at + 2]
        high = max(_card_height(letters, k, drawings[k], column) for k in row)
        if y + high > pdf.h - _MARGIN_MM:
            pdf.add_page()
            y = _MARGIN_MM
        for i, k in enumerate(row):
            _card(pdf, letters, k, drawings[k], _MARGIN_MM + i * (column + gap), y, column)
        y += high + 5.0
    return bytes(pdf.output())


_MARGIN_MM = 14.0
_CARD_FIGURE_MM = 40.0  # narrower, the longest landmark name no longer fits
_SHEET_NOTE = (
    "Take each measure twice, tape snug but not pulled, over a thin close layer; add nothing for "
    "comfort, the draft does that. Girths that differ by more than 1 cm, lengths by more than "
    "0.5 cm, are taken a third time."
)


def _sheet_head(pdf: Any, letters: Any, heading: Sequence[str]) -> float:
    y = _MARGIN_MM + 5.0
    for i, line in enumerate(heading):
        size = letters.fitted(line, 6.0 if i == 0 else 4.0, pdf.w - 2 * _MARGIN_MM)
        letters.write(_MARGIN_MM, y, line, size)
        y += 1.45 * size
    pdf.set_text_color(*GREY)
    for line in text_lines(_SHEET_NOTE, 3.4, pdf.w - 2 * _MARGIN_MM, letters.width):
        letters.write(_MARGIN_MM, y, line, 3.4)
        y += 4.8
    pdf.set_text_color(*INK)
    return y + 2.0


def _card_lines(letters: Any, key: str, width: float) -> tuple[list[str], list[str]]:
    told = (REGISTRY[key].how, REGISTRY[key].posture)
    how, posture = (text_lines(t, 3.3, width, letters.width) for t in told)
    return how, posture


def _card_height(letters: Any, key: str, drawing: Drawing, column: float) -> float:
    how, posture = _card_lines(letters, key, column - _CARD_FIGURE_MM - 4.0)
    return max(drawing.height_mm, 9.0 + 4.3 * (len(how) + len(posture)) + 19.0)


def _card(
    pdf: Any, letters: Any, key: str, drawing: Drawing, x: float, y: float, column: float
) -> None:
    to_pdf(pdf, letters, drawing, x, y)
    pdf.set_draw_color(*GREY)
    pdf.set_line_width(0.2)
    pdf.rect(x, y, drawing.width_mm, drawing.height_mm)
    left, wide = x + _CARD_FIGURE_MM + 4.0, column - _CARD_FIGURE_MM - 4.0
    size = letters.fitted(REGISTRY[key].name, 4.4, wide)
    for shift in (0.0, 0.14):  # twice, a hair apart: bold in any font
        letters.write(left + shift, y + 4.4, REGISTRY[key].name, size)
    at = y + 10.2
    for lines, colour, gap in zip(
        _card_lines(letters, key, wide), (INK, GREY), (1.2, 7.0), strict=True
    ):
        pdf.set_text_color(*colour)
        for line in lines:
            letters.write(left, at, line, 3.3)
            at += 4.3
        at += gap
    for blank in ("1st", "2nd"):
        letters.write(left, at, blank, 3.3)
        pdf.line(left + 8.0, at + 0.6, left + wide, at + 0.6)
        at += 8.5
    pdf.set_text_color(*INK)
