"""Which texts stand on a picture and where: each line of letters followed from its strokes to the pixels.

For tests: letters carry what they say (`Said`) from the lettering to the mark; the painter, which has
nothing to paint then, tells what was put after its last clearing and which grounds were filled over it.
"""

from __future__ import annotations

import itertools
import sys
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from drafting.placement import carry
from projector import lettering
from projector.picture import faces, frame, marks, painter, stage

Array = NDArray[np.float64]


class Said(np.ndarray):  # type: ignore[type-arg]
    """A stroke that knows of which text it is: ``(number, text, height mm)``, moved or copied."""

    text: tuple[int, str, float] | None = None

    def __array_finalize__(self, other: Any) -> None:
        self.text = getattr(other, "text", None)


@dataclass(frozen=True, eq=False)
class Text:
    """A line of letters in the picture: ``px`` (N, 2) of its strokes, the item that it is of, and how
    much of it, 0 to 1, lies under what was filled afterwards."""

    words: str
    height_mm: float
    item: str
    px: Array
    covered: float = 0.0

    @cached_property
    def hull(self) -> Any:
        """What it takes, as a convex polygon px."""
        low, high = self.px.min(axis=0) - 1.0, self.px.max(axis=0) + 1.0
        if min(high - low) < 3.0:
            return shapely.box(*low, *high)
        return shapely.MultiPoint(self.px).convex_hull


@dataclass(eq=False)
class Seen:
    """Follows texts from when it is made; `texts` of what stands on a canvas."""

    _number: Any = field(default_factory=itertools.count)
    _of_mark: dict[int, tuple[Any, list[tuple[Any, Array]]]] = field(default_factory=dict)
    _of_frame: dict[int, tuple[Any, list[Text]]] = field(default_factory=dict)
    _of_painted: dict[int, tuple[Any, list[Text]]] = field(default_factory=dict)
    _put: dict[int, list[Any]] = field(default_factory=dict)

    def follow(self, patch: Any) -> None:
        """From now on. ``patch``: pytest's monkeypatch."""
        written, drawn = lettering.text_strokes, marks.mark
        through = frame.Lens.frame

        def strokes(text: str, height_mm: float) -> list[Array]:
            number = next(self._number)
            out = []
            for stroke in written(text, height_mm):
                made = np.array(stroke).view(Said)
                made.text = (number, text, height_mm)
                out.append(made)
            return out

        def mark(lines: Any, **more: Any) -> Any:
            lines = list(lines)
            made = drawn(lines, **more)
            told = [(s.text, np.array(s)) for s in lines if isinstance(s, Said)]
            self._of_mark[id(made)] = (made, told)
            return made

        def lens(of: Any, item: Any) -> Any:
            made = through(of, item)
            self._of_frame[id(made)] = (made, self._texts_of(of, item))
            return made

        def joined(of: Any, items: Any) -> Any:
            made = through(of, items[0])
            self._of_frame[id(made)] = (made, [t for i in items for t in self._texts_of(of, i)])
            return made

        def paint(of: Any, given: Any) -> Any:
            del of
            made = painter.Painted(np.zeros(0, np.int64), np.zeros(0, np.uint32), (0, 0, 1, 1))
            self._of_painted[id(made)] = (made, self._of_frame.get(id(given), (0, []))[1])
            return made

        def put(of: Any, painted: Any, canvas: Any = None) -> None:
            del canvas
            known = self._of_painted.get(id(painted))
            if known is not None:
                self._put.setdefault(id(of), []).extend(known[1])

        def fill(of: Any, polygon: Any, colour: Any) -> None:
            del colour
            self._put.setdefault(id(of), []).append(shapely.make_valid(shapely.Polygon(polygon)))

        placed = faces.LabelRoom._strokes

        def label(of: Any, rows: Any, height: float, turned: bool, at: Any) -> list[Array]:
            out = [s.view(Said) for s in placed(of, rows, height, turned, at)]
            for stroke, plain in zip(out, faces.text_block(rows, height), strict=True):
                stroke.text = plain.text  # type: ignore[attr-defined]
            return out  # type: ignore[return-value]

        patch.setattr(faces.LabelRoom, "_strokes", label)
        for name, module in list(sys.modules.items()):
            if name.startswith("projector.") and getattr(module, "text_strokes", None) is written:
                patch.setattr(module, "text_strokes", strokes)
        patch.setattr(stage, "mark", mark)
        patch.setattr(frame.Lens, "frame", lens)
        patch.setattr(frame.Lens, "frame_joined", joined)
        patch.setattr(painter.Painter, "paint", paint)
        patch.setattr(painter.Painter, "put", put)
        patch.setattr(painter.Painter, "fill", fill)
        patch.setattr(painter.Painter, "clear", lambda of: self._put.pop(id(of), None))
        patch.setattr(painter.Painter, "erase", lambda *_: None)

    def _texts_of(self, lens: Any, item: Any) -> list[Text]:
        found = []
        for m in item.marks:
            told = self._of_mark.get(id(m), (0, []))[1]
            for (_, words, height), run in itertools.groupby(told, key=lambda s: s[0]):
                points = np.concatenate([s for _, s in run])
                px = lens.calibration.to_projector(carry(item.table_from_item, points))
                found.append(Text(words, height, item.key, np.asarray(px)))
        return found

    def texts(self, canvas: Any) -> list[Text]:
        """What stands on a painter's canvas, what is wholly covered left out."""
        out: list[Text] = []
        given = self._put.get(id(canvas), [])
        for n, text in enumerate(given):
            if not isinstance(text, Text):
                continue
            over = [
                g for g in given[n + 1 :] if not isinstance(g, Text) and g.intersects(text.hull)
            ]
            area = shapely.unary_union(over).intersection(text.hull).area if over else 0.0
            hidden = area / max(text.hull.area, 1e-9)
            if hidden < 0.98:
                out.append(replace(text, covered=hidden) if hidden else text)
        return out


def overlaps(texts: list[Text]) -> list[tuple[str, str]]:
    """The pairs of them that lie on each other."""
    hulls = np.array([t.hull for t in texts], dtype=object)
    first, second = shapely.STRtree(hulls).query(hulls, predicate="intersects")
    return [
        (texts[i].words, texts[j].words)
        for i, j in zip(first, second, strict=True)
        if i < j and hulls[i].intersection(hulls[j]).area > 4.0
    ]
