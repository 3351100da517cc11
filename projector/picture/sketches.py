"""Sketches: small line drawings of what to do, drawn here and not to scale.

Each is a `Sketch`: lines by kind, and words, in a box of mm whose lower left corner is (0, 0). Made of
nothing but strokes, so that they read like the rest of the beam on any cloth.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from drafting.placement import Array
from projector.picture.buttons import rounded
from projector.picture.faces import text_block
from projector.picture.marks import Item, Mark, circle, cross, moved, polyline
from projector.picture.stage import Stage
from projector.picture.view import rigid

LETTERS_MM = 10.0


@dataclass(frozen=True, eq=False)
class Sketch:
    """A drawing ``size`` mm large: ``lines`` by the kind of their light, ``words`` about (x, y)."""

    size: tuple[float, float]
    lines: Mapping[str, Sequence[Array]]
    words: Sequence[tuple[str, float, float]] = field(default_factory=tuple)

    def marks(self, stage: Stage, at: Sequence[float], scale: float = 1.0) -> list[Mark]:
        """As light, its lower left corner at (2,) mm; ``scale`` of the drawing, not of its letters."""
        corner = np.asarray(at, dtype=np.float64)
        marks = [
            stage.mark(kind, [scale * line + corner for line in lines])
            for kind, lines in self.lines.items()
        ]
        text = [
            stroke
            for words, x, y in self.words
            for stroke in text_block([words], LETTERS_MM, corner + scale * np.array([x, y]))
        ]
        return [m for m in (*marks, stage.mark("text", text)) if len(m.points)]


def named(sketch: Sketch, number: int) -> Sketch:
    """With its number, as the page names it, in the corner."""
    return replace(sketch, words=(*sketch.words, (str(number), 4.0, sketch.size[1] - 8.0)))


def row_of(
    stage: Stage,
    drawn: Sequence[Sketch],
    frame: Array,
    box: tuple[float, float, float, float],
) -> Item | None:
    """Sketches side by side, as large as they can be in a box (left, bottom, right, top) of a frame,
    at most twice their size; None where it is too small to be of use."""
    x0, y0, x1, y1 = box
    gap = 40.0
    wide = sum(s.size[0] for s in drawn)
    scale = min(
        2.0, (x1 - x0 - gap * (len(drawn) - 1)) / wide, (y1 - y0) / max(s.size[1] for s in drawn)
    )
    if scale < 0.6:
        return None
    x, marks = x0, []
    for one in drawn:
        marks += one.marks(stage, (x, y0 + 0.5 * (y1 - y0 - scale * one.size[1])), scale)
        x += scale * one.size[0] + gap
    return Item("sketch", tuple(marks), frame)


def _aslant(strong: Sequence[Array], eye: tuple[float, float]) -> Sketch:
    """What looks from ``eye`` on the lit part of a table seen aslant, with a card in each corner."""
    corners = polyline((10, 8), (190, 8), (168, 74), (32, 74), (10, 8))
    cards = []
    for x, y, deg in ((36, 16, 6), (164, 16, -8), (52, 62, -7), (150, 62, 9)):
        box = polyline((-13, -6), (13, -6), (11, 6), (-11, 6), (-13, -6))
        cards += moved([box, 0.45 * box], rigid(deg, (x, y)))
    sight = [polyline(eye, corner) for corner in ((10, 10), (190, 10), (168, 74), (32, 74))]
    lines = {"strong": strong, "text": cards, "button": [corners], "guide": sight}
    return Sketch((200, 140), lines)


def photo() -> Sketch:
    """A phone held over the lit table with a card in each corner, all of it in its picture."""
    back, screen = rounded(76, 112, 124, 138, 4), rounded(80, 123, 120, 135, 1)
    return _aslant([back, circle(100, 118, 2.6, 16), screen], (100, 112))


def webcam() -> Sketch:
    """A webcam on an arm over the lit table."""
    arm = polyline((196, 8), (196, 132), (112, 132))
    return _aslant([arm, rounded(88, 120, 112, 138, 4), circle(100, 120, 4.0, 16)], (100, 115))


def tape(first: str = "A", second: str = "B") -> Sketch:
    """A tape laid flat from the middle of one cross to the middle of another; what is read there."""
    crosses = [*cross(24, 30, 7.0), *cross(176, 30, 7.0)]
    band = [
        polyline((24, 30), (176, 30)),
        polyline((24, 42), (176, 42)),
        polyline((24, 30), (24, 42)),
    ]
    ticks = [polyline((x, 30), (x, 34 + 3 * (i % 5 == 0))) for i, x in enumerate(range(24, 177, 8))]
    case = [
        rounded(186, 28, 198, 56, 5),
        polyline((176, 30), (186, 30)),
        polyline((176, 42), (186, 42)),
    ]
    return Sketch(
        (200, 70),
        {"strong": crosses, "text": [*band, *ticks], "button": case,
         "chosen": [polyline((176, 64), (176, 48), (173, 53), (176, 48), (179, 53))]},
        (("0", 24, 54), (first, 24, 12), (second, 176, 12)),
    )  # fmt: skip


def bars() -> Sketch:
    """The cards' page with its two printed bars, a steel rule laid along the one across."""
    page = [polyline((40, 4), (160, 4), (160, 136), (40, 136), (40, 4))]
    drawn = [
        polyline((54, 20), (146, 20)), polyline((54, 15), (54, 25)), polyline((146, 15), (146, 25)),
        polyline((52, 34), (52, 126)), polyline((47, 34), (57, 34)), polyline((47, 126), (57, 126)),
    ]  # fmt: skip
    rule = [polyline((54, 26), (190, 26), (190, 40), (54, 40), (54, 26))]
    ticks = [polyline((54 + 4 * i, 26), (54 + 4 * i, 29 + 3 * (i % 5 == 0))) for i in range(33)]
    return Sketch(
        (200, 140),
        {"strong": drawn, "button": page, "text": [*rule, *ticks]},
        (("1", 100, 56), ("2", 72, 80)),
    )


# what the sketch of heights shows: the field, the number that stands beside it
HEIGHTS = {"cloth": "1", "mat": "2", "lens": "3", "foot": "4"}


def heights(chosen: str = "") -> Sketch:
    """The table from its side: cloth on a mat under the lens, and from where to where each height is
    measured; what is chosen is drawn strong."""
    lines: dict[str, list[Array]] = {k: [] for k in ("strong", "text", "button", "guide")}
    lines["button"] += [polyline((10, 20), (250, 20)), polyline((10, 17), (250, 17))]
    lines["guide"] += [polyline((124, 168), (30, 40)), polyline((136, 168), (230, 40))]
    lines["button"] += [
        rounded(100, 172, 160, 200, 5),
        polyline((122, 172), (124, 168), (136, 168), (138, 172)),
    ]

    def put(name: str, drawn: Sequence[Array]) -> None:
        lines["strong" if name == chosen else "text"] += drawn

    put("mat", [polyline((40, 20), (40, 30), (220, 30), (220, 20))])
    put(
        "cloth",
        [
            polyline((50, 30), (50, 35), (210, 35), (210, 30)),
            polyline((50, 40), (210, 40), (210, 35)),
            polyline((50, 35), (50, 40)),
        ],
    )
    put("lens", [*_measured((238, 20), (238, 168)), polyline((136, 168), (244, 168))])
    put("foot", cross(130, 20, 6.0))
    lines["guide"].append(polyline((130, 166), (130, 44)))
    put("mat", _measured((30, 20), (30, 30)))
    put("cloth", _measured((44, 30), (44, 40)))
    places = {"cloth": (64, 54), "mat": (16, 38), "lens": (250, 96), "foot": (146, 6)}
    return Sketch((264, 204), lines, tuple((HEIGHTS[k], *places[k]) for k in places))


def _measured(a: tuple[float, float], b: tuple[float, float]) -> list[Array]:
    """A line with a bar at each end."""
    return [
        polyline(a, b),
        polyline((a[0] - 4, a[1]), (a[0] + 4, a[1])),
        polyline((b[0] - 4, b[1]), (b[0] + 4, b[1])),
    ]
