"""Letters as strokes, so that text goes through the calibration like every other line.

First in the projector's flow: `scene` asks for the strokes of a text in millimetres. Latin
letters, digits and signs are single strokes drawn here from lines and elliptic arcs (the
plain upright manner of technical lettering); other scripts are taken as glyph outlines from
a font file that is already on the machine, and what no font holds becomes an open box.
"""

from __future__ import annotations

import math
import unicodedata
from functools import lru_cache
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from drafting.lettering import font_files
from drafting.placement import Array

CAP = 8.0  # capital height in the units of the table below
LINE_PITCH = 1.62  # baseline to baseline, in capital heights
_GAP = 1.75  # between letters: light on cloth blurs, so wider than print
_SPACE = 3.2

# M x,y moves · L x,y draws a line · A cx,cy,rx,ry,from,to draws an arc (degrees, joined by a line)
_GLYPHS: dict[str, str] = {
    "A": "M0,0 L2.9,8 L5.8,0 M1,2.7 L4.8,2.7",
    "B": "M0,4.2 L2.8,4.2 A2.8,6.1,1.9,1.9,-90,90 L0,8 L0,0 L2.9,0 A2.9,2.1,2.3,2.1,-90,90",
    "C": "A3.2,4,3.2,4,48,312",
    "D": "M0,0 L0,8 L1.9,8 A1.9,4,3.7,4,90,-90 L0,0",
    "E": "M4.6,8 L0,8 L0,0 L4.7,0 M0,4.2 L3.9,4.2",
    "F": "M4.5,8 L0,8 L0,0 M0,4.1 L3.8,4.1",
    "G": "A3.2,4,3.2,4,48,335 L6.1,3.7 L3.7,3.7",
    "H": "M0,0 L0,8 M5.4,0 L5.4,8 M0,4.2 L5.4,4.2",
    "I": "M0.3,0 L0.3,8",
    "J": "M3.4,8 L3.4,2.1 A1.7,2.1,1.7,2.1,0,-160",
    "K": "M0,0 L0,8 M4.9,8 L0,3 M1.7,4.7 L5.2,0",
    "L": "M0,8 L0,0 L4.4,0",
    "M": "M0,0 L0,8 L3.3,2 L6.6,8 L6.6,0",
    "N": "M0,0 L0,8 L5.4,0 L5.4,8",
    "O": "A3.2,4,3.2,4,90,450",
    "P": "M0,0 L0,8 L2.8,8 A2.8,5.9,2.2,2.1,90,-90 L0,3.8",
    "Q": "A3.2,4,3.2,4,90,450 M3.9,1.9 L6.2,-0.4",
    "R": "M0,0 L0,8 L2.8,8 A2.8,5.9,2.2,2.1,90,-90 L0,3.8 M2.7,3.8 L5.2,0",
    "S": "A2.5,6,2.2,2,35,270 A2.5,2,2.5,2,90,-145",
    "T": "M0,8 L5.6,8 M2.8,8 L2.8,0",
    "U": "M0,8 L0,2.7 A2.7,2.7,2.7,2.7,180,360 L5.4,8",
    "V": "M0,8 L2.8,0 L5.6,8",
    "W": "M0,8 L1.9,0 L4,6.4 L6.1,0 L8,8",
    "X": "M0.2,0 L5,8 M0.2,8 L5,0",
    "Y": "M0,8 L2.7,3.7 L5.4,8 M2.7,3.7 L2.7,0",
    "Z": "M0.2,8 L5,8 L0,0 L5.2,0",
    "a": "A2.3,2.75,2.3,2.75,0,360 M4.6,5.5 L4.6,0",
    "b": "M0,8 L0,0 A2.3,2.75,2.3,2.75,180,-180",
    "c": "A2.4,2.75,2.4,2.75,48,312",
    "d": "A2.3,2.75,2.3,2.75,0,360 M4.6,8 L4.6,0",
    "e": "M0,2.95 L4.7,2.95 A2.35,2.75,2.35,2.75,4,318",
    "f": "A2.9,6.5,1.5,1.5,60,180 L1.4,0 M0,5.4 L3.1,5.4",
    "g": "A2.3,2.75,2.3,2.75,0,360 M4.6,5.5 L4.6,-0.5 A2.35,-0.5,2.25,2,0,-145",
    "h": "M0,0 L0,8 M0,3.3 A2.15,3.3,2.15,2.2,180,0 L4.3,0",
    "i": "M0.3,0 L0.3,5.5 M0.3,7.5 L0.3,7.8",
    "j": "M1.6,5.5 L1.6,-1.2 A0.3,-1.2,1.3,1.2,0,-110 M1.6,7.5 L1.6,7.8",
    "k": "M0,0 L0,8 M4,5.5 L0,2 M1.5,3.3 L4.2,0",
    "l": "M0.2,8 L0.2,1.3 A1.5,1.3,1.3,1.3,180,280",
    "m": "M0,0 L0,5.5 M0,3.7 A1.7,3.7,1.7,1.8,180,0 L3.4,0 M3.4,3.7 A5.1,3.7,1.7,1.8,180,0 L6.8,0",
    "n": "M0,0 L0,5.5 M0,3.3 A2.15,3.3,2.15,2.2,180,0 L4.3,0",
    "o": "A2.4,2.75,2.4,2.75,90,450",
    "p": "M0,5.5 L0,-2.3 A2.3,2.75,2.3,2.75,180,-180",
    "q": "A2.3,2.75,2.3,2.75,0,360 M4.6,5.5 L4.6,-2.3",
    "r": "M0,0 L0,5.5 M0,3.3 A2.1,3.3,2.1,2.2,180,55",
    "s": "A2,4.1,1.75,1.4,38,270 A2,1.35,2,1.35,90,-142",
    "t": "M1.4,7.4 L1.4,1.4 A2.8,1.4,1.4,1.4,180,285 M0,5.4 L3.1,5.4",
    "u": "M0,5.5 L0,2.2 A2.15,2.2,2.15,2.2,180,360 L4.3,5.5 M4.3,2.2 L4.3,0",
    "v": "M0,5.5 L2.2,0 L4.4,5.5",
    "w": "M0,5.5 L1.6,0 L3.3,4.6 L5,0 L6.6,5.5",
    "x": "M0,0 L4.1,5.5 M0,5.5 L4.1,0",
    "y": "M0,5.5 L2.2,0.2 M4.4,5.5 L1.3,-2.1 L0.2,-2.3",
    "z": "M0,5.5 L4,5.5 L0,0 L4.2,0",
    "0": "A2.45,4,2.45,4,90,450",
    "1": "M0.5,6.3 L2.4,8 L2.4,0",
    "2": "A2.35,5.75,2.25,2.25,165,-32 L0,0 L4.8,0",
    "3": "A2.25,6.05,2.05,1.95,150,-90 A2.25,2.05,2.4,2.05,90,-150",
    "4": "M3.6,0 L3.6,8 L0,2.3 L5,2.3",
    "5": "M4.3,8 L0.8,8 L0.45,4.4 A2.2,2.6,2.5,2.6,135,-145",
    "6": "A2.4,2.5,2.4,2.5,90,450 M0,2.5 A4.6,2.5,4.6,5.5,180,97",
    "7": "M0,8 L4.7,8 L1.5,0",
    "8": "A2.4,6.1,1.95,1.9,-90,270 A2.4,2.1,2.4,2.1,90,450",
    "9": "A2.4,5.5,2.4,2.5,-90,270 M4.8,5.5 A0.2,5.5,4.6,5.5,0,-83",
    ".": "M0.3,0 L0.3,0.3",
    ",": "M0.6,0.4 L0,-1.4",
    ":": "M0.3,0 L0.3,0.3 M0.3,4.4 L0.3,4.7",
    ";": "M0.6,0.4 L0,-1.4 M0.6,4.4 L0.6,4.7",
    "!": "M0.3,8 L0.3,2.4 M0.3,0 L0.3,0.3",
    "?": "A1.9,6.1,1.9,1.9,160,-60 A3.2,2.7,1.3,1.5,120,180 M1.9,0 L1.9,0.3",
    "-": "M0,3.2 L3,3.2",
    "–": "M0,3.2 L4.4,3.2",
    "—": "M0,3.2 L7,3.2",
    "+": "M0,3.5 L4.6,3.5 M2.3,1.2 L2.3,5.8",
    "=": "M0,4.5 L4.4,4.5 M0,2.3 L4.4,2.3",
    "×": "M0.3,1.5 L4,5.2 M0.3,5.2 L4,1.5",
    "±": "M0,4.6 L4.4,4.6 M2.2,2.4 L2.2,6.8 M0,0.6 L4.4,0.6",
    "/": "M0,-1 L3.6,8.6",
    "\\": "M0,8.6 L3.6,-1",
    "|": "M0.3,-1.5 L0.3,8.8",
    "_": "M0,-1 L5,-1",
    "(": "A3,3.6,3,5.4,120,240",
    ")": "A-1,3.6,3,5.4,60,-60",
    "[": "M1.8,8.8 L0,8.8 L0,-1.4 L1.8,-1.4",
    "]": "M0,8.8 L1.8,8.8 L1.8,-1.4 L0,-1.4",
    "{": "M2,8.8 L1.1,8.2 L1.1,4.6 L0,3.7 L1.1,2.8 L1.1,-0.8 L2,-1.4",
    "}": "M0,8.8 L0.9,8.2 L0.9,4.6 L2,3.7 L0.9,2.8 L0.9,-0.8 L0,-1.4",
    "<": "M4.2,6.2 L0,3.5 L4.2,0.8",
    ">": "M0,6.2 L4.2,3.5 L0,0.8",
    "'": "M0.3,8 L0.3,6.1",
    "’": "M0.6,8 L0,6.2",
    "‘": "M0,6.2 L0.6,8",
    '"': "M0.3,8 L0.3,6.1 M1.8,8 L1.8,6.1",
    "“": "M0,6.2 L0.6,8 M1.5,6.2 L2.1,8",
    "”": "M0.6,8 L0,6.2 M2.1,8 L1.5,6.2",
    "′": "M0.9,8 L0.2,6",
    "″": "M0.9,8 L0.2,6 M2.3,8 L1.6,6",
    "#": "M1,0 L2.2,8 M3.6,0 L4.8,8 M0,2.6 L5.2,2.6 M0.6,5.4 L5.8,5.4",
    "%": "A1.4,6.5,1.4,1.5,90,450 A5.4,1.5,1.4,1.5,90,450 M1,0 L5.8,8",
    "&": "M5.6,0 L1.1,5.3 A2.3,6.5,1.5,1.5,225,-45 L1,3.9 A2.2,2.1,2.2,2.1,125,320 L5.5,3.6",
    "*": "M1.8,7.8 L1.8,4.2 M0.2,6.9 L3.4,5.1 M0.2,5.1 L3.4,6.9",
    "°": "A1.2,6.8,1.2,1.2,90,450",
    "·": "M0.4,3.3 L0.4,3.6",
    "•": "A0.8,3.4,0.7,0.7,90,450",
    "…": "M0.3,0 L0.3,0.3 M2.5,0 L2.5,0.3 M4.7,0 L4.7,0.3",
    "@": "A4.3,3.2,1.6,1.8,0,360 M5.9,5 L5.9,2.2 A7,2.4,1.1,1,190,360 A4.3,3.4,3.9,4.4,-5,300",
    "$": "A2.5,5.7,2.2,1.7,35,270 A2.5,2.2,2.5,1.8,90,-145 M2.5,8.6 L2.5,-0.8",
    "→": "M0,3.5 L6,3.5 M4,5.4 L6,3.5 L4,1.6",
    "←": "M6,3.5 L0,3.5 M2,5.4 L0,3.5 L2,1.6",
    "↑": "M2,0 L2,7 M0.1,5 L2,7 L3.9,5",
    "↓": "M2,7 L2,0 M0.1,2 L2,0 L3.9,2",
    "ß": "M0,0 L0,5.9 A2,5.9,2,2.1,180,-60 L1.9,4.3 A2.1,2.1,2.5,2.1,75,-115",
    "ø": "A2.4,2.75,2.4,2.75,90,450 M0.3,-0.6 L4.5,6.1",
    "Ø": "A3.2,4,3.2,4,90,450 M0.6,-0.6 L5.8,8.6",
    "ł": "M1,8 L1,1.3 A2.3,1.3,1.3,1.3,180,280 M0,3.4 L2.4,5",
    "Ł": "M1,8 L1,0 L5.4,0 M0,3.2 L3,5.2",
    "ı": "M0.3,0 L0.3,5.5",
    "½": "M0.2,7 L1.2,8 L1.2,4.4 M0.6,0 L5,8 A5.4,2.7,1.3,1.2,165,-32 L4.1,0 L6.9,0",
    "¼": "M0.2,7 L1.2,8 L1.2,4.4 M0.6,0 L5,8 M6.3,0 L6.3,3.8 L4.3,1.1 L7,1.1",
    "¾": "A0.9,7,1,0.9,150,-90 A0.9,5.2,1.1,1,90,-150 M1,0 L5.4,8 M6.9,0 L6.9,3.8 L4.9,1.1 L7.6,1.1",
}

# combining mark → strokes about x = 0, y from the top of the letter
_MARKS: dict[str, str] = {
    "\u0300": "M-1,2.2 L0.4,0.9",
    "\u0301": "M1,2.2 L-0.4,0.9",
    "\u0302": "M-1.3,0.9 L0,2.2 L1.3,0.9",
    "\u0303": "A-0.8,1.1,0.8,0.6,180,0 A0.8,1.1,0.8,0.6,180,360",
    "\u0304": "M-1.4,1.5 L1.4,1.5",
    "\u0306": "A0,2,1.3,1.1,180,360",
    "\u0307": "M0,1.4 L0,1.7",
    "\u0308": "M-1.1,1.4 L-1.1,1.7 M1.1,1.4 L1.1,1.7",
    "\u030a": "A0,1.9,0.9,0.9,90,450",
    "\u030b": "M0.4,2.2 L-0.8,0.9 M2,2.2 L0.8,0.9",
    "\u030c": "M-1.3,2.2 L0,0.9 L1.3,2.2",
}
_MARKS_BELOW: dict[str, str] = {
    "\u0323": "M0,-1.2 L0,-1.5",
    "\u0326": "M0.3,-0.8 L-0.3,-2",
    "\u0327": "M0,0 L0,-0.8 A-0.1,-1.5,0.8,0.7,90,-120",
    "\u0328": "M0.6,0 A0.9,-1.1,0.8,0.9,120,300",
}


def _strokes(code: str) -> list[Array]:
    """Parse one drawing of the tables: list of (N, 2), units of the table."""
    strokes: list[list[tuple[float, float]]] = []
    for token in code.split():
        numbers = [float(v) for v in token[1:].split(",")]
        if token[0] == "M":
            strokes.append([(numbers[0], numbers[1])])
        elif token[0] == "L":
            strokes[-1].append((numbers[0], numbers[1]))
        else:
            cx, cy, rx, ry, a0, a1 = numbers
            # 20 degrees a chord keeps a 13 mm letter within 0.06 mm of its arc
            steps = max(2, math.ceil(abs(a1 - a0) / 20.0))
            angle = np.radians(np.linspace(a0, a1, steps + 1))
            arc = list(zip(cx + rx * np.cos(angle), cy + ry * np.sin(angle), strict=True))
            if strokes and abs(abs(a1 - a0) - 360.0) > 1e-9:  # a full turn stands alone
                strokes[-1].extend(arc)
            else:
                strokes.append(arc)
    return [np.asarray(s, dtype=np.float64) for s in strokes]


@lru_cache(maxsize=2048)
def _glyph(letter: str) -> tuple[tuple[Array, ...], float]:
    """Strokes of one letter (with its accents) from x = 0, and its width; table units."""
    if letter in _GLYPHS:
        return _from_zero(_strokes(_GLYPHS[letter]))
    parts = unicodedata.normalize("NFD", letter)
    if len(parts) > 1 and all(p in _MARKS or p in _MARKS_BELOW for p in parts[1:]):
        base = "ı" if parts[0] == "i" else parts[0]
        if base in _GLYPHS:
            strokes, width = _glyph(base)
            top = max(float(s[:, 1].max()) for s in strokes)
            added = list(strokes)
            for mark in parts[1:]:
                below = mark in _MARKS_BELOW
                shift = np.array([width / 2.0, 0.0 if below else top])
                drawn = _strokes(_MARKS_BELOW[mark] if below else _MARKS[mark])
                added.extend(s + shift for s in drawn)
                top += 0.0 if below else 2.4
            return _from_zero(added)
    outline = _font_outline(letter)
    if outline:
        return _from_zero(outline)
    box = np.array([[0, 0], [0, CAP], [4.6, CAP], [4.6, 0], [0, 0]], dtype=np.float64)
    return (box,), 4.6


def _from_zero(strokes: list[Array]) -> tuple[tuple[Array, ...], float]:
    left = min(float(s[:, 0].min()) for s in strokes)
    moved = tuple(s - np.array([left, 0.0]) for s in strokes)
    return moved, max(float(s[:, 0].max()) for s in moved)


_MOST_FONTS = 12  # looked into for letters that are not ours: a table must not wait for them


@lru_cache(maxsize=1)
def _fonts() -> tuple[tuple[Any, Any, dict[int, str]], ...]:
    """(font, glyph set, character map) of each usable font file; () without the library."""
    try:
        from fontTools.ttLib import TTFont
    except ImportError:
        return ()
    places = [*islice(font_files(kinds=(".ttf", ".ttc")), _MOST_FONTS)]
    home = find_spec("pygame")  # its bundled font covers Latin, Greek, Cyrillic; not imported
    if home is not None and home.submodule_search_locations:
        places.insert(0, Path(home.submodule_search_locations[0]) / "freesansbold.ttf")
    fonts = []
    for place in places:
        try:
            font = TTFont(place, fontNumber=0, lazy=True)
            fonts.append((font, font.getGlyphSet(), font.getBestCmap() or {}))
        except Exception:  # a damaged font file must not stop a cutting table
            continue
    return tuple(fonts)


def _font_outline(letter: str) -> list[Array]:
    """Closed outlines of a letter out of a font file, capital height scaled to `CAP`; or []."""
    for font, glyphs, cmap in _fonts():
        name = cmap.get(ord(letter))
        if name is None:
            continue
        try:
            return _flatten(glyphs, name, CAP / _cap_height(font))
        except Exception:  # as above: the next font, or the box
            continue
    return []


def _cap_height(font: Any) -> float:
    value = getattr(font["OS/2"], "sCapHeight", 0) if "OS/2" in font else 0
    return float(value) if value else 0.72 * float(font["head"].unitsPerEm)


def _flatten(glyphs: Any, name: str, scale: float) -> list[Array]:
    from fontTools.pens.basePen import decomposeQuadraticSegment
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    rings: list[list[Any]] = []
    for verb, points in pen.value:
        if verb == "moveTo":
            rings.append([points[0]])
        elif verb == "lineTo":
            rings[-1].append(points[0])
        elif verb == "qCurveTo":
            for pair in decomposeQuadraticSegment(points):
                rings[-1] += _curve([rings[-1][-1], *pair], 4)
        elif verb == "curveTo":
            rings[-1] += _curve([rings[-1][-1], *points], 6)
        elif verb == "closePath":
            rings[-1].append(rings[-1][0])
    return [np.asarray(r, dtype=np.float64) * scale for r in rings if len(r) > 2]


def _curve(controls: list[Any], chords: int) -> list[Any]:
    """Ends of the chords of a Bézier curve, its first point left out."""
    n, t = len(controls) - 1, np.linspace(0.0, 1.0, chords + 1)[1:, None]
    shares = (math.comb(n, i) * t**i * (1 - t) ** (n - i) for i in range(n + 1))
    return list(sum(s * np.asarray(c) for s, c in zip(shares, controls, strict=True)))


def text_width(text: str, height_mm: float) -> float:
    """Width of one line of text, mm, at the capital height ``height_mm``."""
    return _width(text) * height_mm / CAP


@lru_cache(maxsize=4096)
def _width(text: str) -> float:
    letters = _letters(text)
    wide = sum(_SPACE if letter == " " else _glyph(letter)[1] + _GAP for letter in letters)
    return max(0.0, wide - _GAP)


@lru_cache(maxsize=512)
def text_strokes(text: str, height_mm: float) -> tuple[Array, ...]:
    """Strokes of one line of text: (N, 2) mm each, baseline from (0, 0) along +x, up is +y.

    ``height_mm``: the height of capitals. Any text is accepted: what cannot be drawn is a box.
    """
    scale = height_mm / CAP
    strokes: list[Array] = []
    x = 0.0
    for letter in _letters(text):
        if letter == " ":
            x += _SPACE
            continue
        glyph, width = _glyph(letter)
        strokes.extend((s + np.array([x, 0.0])) * scale for s in glyph)
        x += width + _GAP
    for stroke in strokes:
        stroke.setflags(write=False)  # shared with everyone who asks for the same words
    return tuple(strokes)


def _letters(text: str) -> list[str]:
    """Letters with their accents composed; control signs dropped, other blanks as a space."""
    return [
        " " if letter.isspace() else letter
        for letter in unicodedata.normalize("NFC", text)
        if letter.isspace()
        or (unicodedata.category(letter)[0] != "C" and not unicodedata.combining(letter))
    ]
