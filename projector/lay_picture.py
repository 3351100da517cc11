"""A picture of a lay, to scale: cloth, fold, selvedges, cutting lines, names, measures.

For `lay`, `demo` and anyone who wants the plan on paper. Drawn with OpenCV at twice the size and
scaled down, so lines are smooth; nothing here changes the lay.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import InputError
from configs.units import format_length

if TYPE_CHECKING:
    from drafting.docket import Docket
    from drafting.lay.laid import LaidPiece
    from drafting.lay.model import Lay

_OVER = 2  # drawn this many times larger, then scaled down
_COARSE = 4  # px of the picture to one, where bare cloth is looked for
_LINE_PX = 20.0  # from one line of a label to the next
_PAPER = (250, 249, 245)
_CLOTH = (232, 224, 208)
_TWO_LAYERS = (221, 210, 190)
_BORDER = (214, 186, 176)
_EDGE = (120, 110, 95)
_SELVEDGE = (214, 203, 182)
_INK = (45, 42, 40)
_SOFT = (120, 116, 110)
_ALARM = (170, 60, 40)
_HOLE = (250, 249, 245)
_FLAW = (224, 150, 130)
_CUT = {"single": (206, 222, 214), "through": (178, 200, 222), "fold": (224, 208, 160)}
_LINE = {"single": (38, 92, 70), "through": (28, 66, 120), "fold": (128, 92, 12)}
_WORD = {"single": "one layer", "through": "both layers", "fold": "on the fold"}


def docket_lay(docket: Docket) -> Lay:
    """The docket's lay as it is, sound or not.

    Raises:
        InputError: no cloth is named. LayError: pieces that cannot be used.
    """
    from drafting.lay.planner import lay_as_it_is

    if docket.cloth is None:
        raise InputError.of(f"{docket.path or 'docket'}: cloth", "no cloth is named.")
    return lay_as_it_is(docket.pieces(), docket.cloth, docket.placed(), docket.rules)


def lay_picture(
    source: Docket | Lay,
    *,
    title: str = "",
    width_px: int = 1600,
    unit: str = "cm",
    buy: str = "",
) -> NDArray[np.uint8]:
    """(H, W, 3) uint8 RGB picture of a docket's lay, or of a `Lay`, to scale; lengths in ``unit``, cm or in;
    ``buy``: what to buy for it, in words."""
    if hasattr(source, "placements"):
        lay: Any = source
    else:
        lay, title = docket_lay(source), title or source.title
    return _Picture(lay, title, width_px, unit, buy).drawn()


class _Picture:
    def __init__(
        self, lay: Lay, title: str, width_px: int, unit: str = "cm", buy: str = ""
    ) -> None:
        import cv2

        self.cv2 = cv2
        self.lay = lay
        self.title = title
        self.buy = f"To buy: {buy}" if buy else ""
        self.told_in = unit
        self.one_mm = 25.4 if unit == "in" else 10.0
        cloth = lay.cloth
        outline = cloth.lie_outline_mm
        self.bolt = outline is None
        if outline is None:
            top = cloth.lie_width_mm
            end = max(lay.used_length_mm * 1.06 + 60.0, 300.0)
            outline = np.array([[0.0, 0.0], [end, 0.0], [end, top], [0.0, top]])
        self.outline: NDArray[np.float64] = outline
        # pieces that hang over the edge are shown, not cut off
        every = np.vstack([outline, *(p.outline_mm for p in lay.placements)])
        low, high = every.min(axis=0), every.max(axis=0)
        self.low, self.high = low, high
        size = high - low
        self.unit = width_px / 1600.0 * _OVER
        left, right = 90 * self.unit, 40 * self.unit
        self.scale = float((width_px * _OVER - left - right) / size[0])
        self.scale = min(self.scale, 1500 * self.unit / float(size[1]))
        self.margin = np.array([left, 110 * self.unit])
        self.w = int(size[0] * self.scale + left + right)
        self.w = max(self.w, int(900 * self.unit))
        self.h = int(size[1] * self.scale + (110 + 130) * self.unit)
        self.mixed = len({z.layers for z in cloth.zones}) > 1
        self.numbered: list[str] = []
        self.written: list[tuple[Any, Any]] = []  # boxes of names, px
        self.outside: list[tuple[str, Any]] = []  # numbers without room in their piece, and where
        self.image = np.full((self.h, self.w, 3), _PAPER, dtype=np.uint8)

    # -- helpers

    def px(self, points_mm: Any) -> NDArray[np.int32]:
        """Cloth mm → picture px, y up."""
        p = (np.atleast_2d(np.asarray(points_mm, dtype=float)) - self.low) * self.scale
        x = p[:, 0] + self.margin[0]
        y = self.margin[1] + (self.high[1] - self.low[1]) * self.scale - p[:, 1]
        return np.round(np.column_stack([x, y])).astype(np.int32)

    def ring(self, points_mm: Any, fill: Any, line: Any = None, width: float = 1.5) -> None:
        pts = self.px(points_mm)
        if fill is not None:
            self.cv2.fillPoly(self.image, [pts], fill, self.cv2.LINE_AA)
        if line is not None:
            thick = max(1, round(width * self.unit))
            self.cv2.polylines(self.image, [pts], True, line, thick, self.cv2.LINE_AA)

    def edges(self, ring: Any, colour: Any, width: float, dash: float = 0.0) -> None:
        """A closed ring of cloth mm, line by line."""
        for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            self.line(a, b, colour, width, dash)

    def line(self, a: Any, b: Any, colour: Any, width: float, dash: float = 0.0) -> None:
        p, q = self.px([a, b]).astype(float)
        thick = max(1, round(width * self.unit))
        length = float(np.hypot(*(q - p)))
        if not dash or length < 1:
            self._segment(p, q, colour, thick)
            return
        step = dash * self.unit
        for s in np.arange(0.0, length, 2.0 * step):
            a_, b_ = p + (q - p) * s / length, p + (q - p) * min(s + step, length) / length
            self._segment(a_, b_, colour, thick)

    def _segment(self, p: Any, q: Any, colour: Any, thick: int) -> None:
        a, b = tuple(int(v) for v in np.round(p)), tuple(int(v) for v in np.round(q))
        self.cv2.line(self.image, a, b, colour, thick, self.cv2.LINE_AA)

    def text(
        self, at: Any, words: str, size: float, colour: Any, *, middle: bool = True,
        weight: float = 1.0,
    ) -> None:  # fmt: skip
        """Words with their middle (or left end) at a px point."""
        font = self.cv2.FONT_HERSHEY_SIMPLEX
        scale = size / 22.0 * self.unit
        thick = max(1, round(weight * self.unit))
        (w, h), _ = self.cv2.getTextSize(_ascii(words), font, scale, thick)
        x, y = float(at[0]) - (w / 2 if middle else 0), float(at[1]) + h / 2
        self.cv2.putText(
            self.image, _ascii(words), (int(x), int(y)), font, scale, colour, thick,
            self.cv2.LINE_AA,
        )  # fmt: skip

    def width_of(self, words: str, size: float) -> float:
        (w, _), _ = self.cv2.getTextSize(
            _ascii(words), self.cv2.FONT_HERSHEY_SIMPLEX, size / 22.0 * self.unit, 1
        )
        return float(w)

    # -- parts

    def drawn(self) -> NDArray[np.uint8]:
        self.cloth()
        for p in sorted(self.lay.placements, key=lambda p: not p.lower):
            self.piece(p)
        side = self.lay.cloth.border_mm()
        if side is not None and self.lay.cloth.border is not None:
            at = side[0] + side[1] * self.lay.cloth.border.from_mm
            (x0, _), (x1, _) = self.outline.min(axis=0), self.outline.max(axis=0)
            self.line((x0, at), (x1, at), _EDGE, 1.0, 4.0)
        for p in self.lay.placements:
            if p.lower:  # seen through the layer above it
                self.edges(p.outline_mm, _LINE[p.how], 1.4, 5.0)
        for p in self.lay.placements:
            self.label(p)
        self.numbers_outside()
        self.legend = self._rows([f"{i}  {name}" for i, name in enumerate(self.numbered, 1)])
        more = int(22 * self.unit) * max(0, len(self.legend) - 1)
        below = np.full((more, self.w, 3), _PAPER, dtype=np.uint8)
        self.image, self.h = np.concatenate([self.image, below]), self.h + more
        self.measures()
        self.head()
        small = self.cv2.resize(
            self.image, (self.w // _OVER, self.h // _OVER), interpolation=self.cv2.INTER_AREA
        )
        return np.asarray(small, dtype=np.uint8)

    def cloth(self) -> None:
        cloth = self.lay.cloth
        (x0, y0), (x1, y1) = self.outline.min(axis=0), self.outline.max(axis=0)
        lengths = cloth.lengths_lying(float(x1)) if cloth.outline is None else ()
        if cloth.outline is not None:
            self.ring(self.outline, _CLOTH)
        for left, right, wide in lengths:
            self.ring(_box(left, right, 0.0, wide), _SELVEDGE if cloth.selvedge_mm else _CLOTH)
        for zone in cloth.zones if lengths else ():
            shade = _CLOTH if zone.layers == 1 or not self.mixed else _TWO_LAYERS
            self.ring(_box(zone.x[0], min(zone.x[1], float(x1)), *zone.y), shade)
        side = cloth.border_mm()
        if side is not None and cloth.border is not None:
            wide = cloth.border.width_mm or max(cloth.border.from_mm, 20.0)
            band = sorted((side[0], side[0] + side[1] * wide))
            self.ring(_box(float(x0), float(x1), *band), _BORDER)
            at = side[0] + side[1] * cloth.border.from_mm
            self.line((x0, at), (x1, at), _EDGE, 1.0, 4.0)
        for repeat, axis in ((cloth.repeat_length_mm, 0), (cloth.repeat_width_mm, 1)):
            if not repeat:
                continue
            start, stop = (x0, x1) if axis == 0 else (y0, y1)
            for v in np.arange(start, stop + 1e-6, repeat):
                a, b = ((v, y0), (v, y1)) if axis == 0 else ((x0, v), (x1, v))
                self.line(a, b, (212, 200, 178), 1.0)
        for ring in cloth.holes:
            self.ring(ring, _HOLE, _EDGE, 1.2)
        for ring in cloth.flaws:
            self.ring(ring, _FLAW, _EDGE, 1.0)
        if not lengths:
            self.edges(self.outline, _EDGE, 1.2)
        for n, (left, right, wide) in enumerate(lengths):
            last = n == len(lengths) - 1
            self.line((left, 0.0), (left, wide), _EDGE, 1.2, 6.0 if n else 0.0)
            self.line((left, wide), (right, wide), _EDGE, 1.2)
            self.line((left, 0.0), (right, 0.0), _EDGE, 1.2)
            dash = 6.0 if self.bolt or not last else 0.0
            self.line((right, 0.0), (right, wide), _EDGE, 1.2, dash)
        fold_end = lengths[0][1] if lengths else float(x1)
        folded = cloth.open_from_mm != 0.0
        for y in cloth.folds_mm if folded else ():
            self.line((x0, y), (fold_end, y), _LINE["fold"], 4.0, 16.0)
            self._along("fold", (x0, y))
        if cloth.meeting_mm is not None and folded:
            double = cloth.fold == "double"
            at = sum(cloth.meeting_mm) / 2.0 if double else cloth.meeting_mm[1]
            self.line((x0, at), (fold_end, at), _EDGE, 1.2)
            p = self.px([(fold_end, at)])[0].astype(float)
            words = "selvedges meet" if double else "selvedge, folded over to here"
            room = (0.5 * self.width_of(words, 12) + 8 * self.unit, 16 * self.unit)
            self.text((p[0] - room[0], p[1] - room[1]), words, 12, _SOFT)
        if cloth.fold == "crosswise" and folded:
            top = lengths[0][2] if lengths else y1
            self.line((0.0, y0), (0.0, top), _LINE["fold"], 4.0, 16.0)
            self._along("fold", (0.0, y0 + 0.25 * (top - y0)))
        self.steps()

    def steps(self) -> None:
        """What is cut first, and where the rest is opened out: written where it happens."""
        opened = self.lay.cloth.open_from_mm
        if not opened or not self.lay.cloth.folded:
            return
        words = ("1  cut these, folded", "2  open out the rest, right side up; cut these")
        room = (opened - self.low[0]) * self.scale
        stacked = room < self.width_of(words[0], 13) + 20 * self.unit
        for n, x in enumerate((float(self.low[0]), opened)):
            p = self.px([(x, self.high[1])])[0].astype(float)
            up = 34 if n == 0 and stacked else 16
            place = (p[0] + 6 * self.unit, p[1] - up * self.unit)
            self.text(place, words[n], 13, _INK, middle=False)

    def _along(self, words: str, at: tuple[float, float]) -> None:
        p = self.px([at])[0].astype(float)
        self.text((p[0] - 45 * self.unit, p[1]), words, 15, _LINE["fold"])

    def piece(self, p: LaidPiece) -> None:
        width = 3.0 if p.locked else 1.8
        self.ring(p.outline_mm, _CUT[p.how], _LINE[p.how], width)
        # the grain: an arrow along the piece's own grainline, as far as it lies inside
        origin, tip = self._grain(p)
        if origin is not None:
            self.line(origin, tip, _LINE[p.how], 1.0)
            d = np.asarray(tip) - np.asarray(origin)
            u = d / np.linalg.norm(d)
            n = np.array([-u[1], u[0]])
            head = 9.0 * self.unit / self.scale
            for side in (1.0, -1.0):
                self.line(tip, tip - u * head + side * n * head * 0.45, _LINE[p.how], 1.0)
                if self.lay.cloth.nap != "one-way":
                    back = np.asarray(origin) + u * head + side * n * head * 0.45
                    self.line(origin, back, _LINE[p.how], 1.0)

    def _grain(self, p: LaidPiece) -> tuple[Any, Any]:
        import cv2

        ring = p.outline_mm.astype(np.float32).reshape(-1, 1, 2)
        u = self.lay.grain_of(p)
        centre, _ = self._spot(p.outline_mm)
        at = np.arange(-1490.0, 1491.0, 10.0)
        spots = [(float(x), float(y)) for x, y in centre + at[:, None] * u]
        inside = np.array([cv2.pointPolygonTest(ring, spot, False) > 0 for spot in spots])
        if not inside.any():
            return None, None
        run, out = at[inside], at[~inside]
        low, high = max(out[out <= 0], default=run[0]), min(out[out >= 0], default=run[-1])
        span = high - low
        if span < 60:
            return None, None
        return centre + u * (low + 0.15 * span), centre + u * (high - 0.15 * span)

    def _spot(self, ring: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
        """The middle of the roomiest place inside a ring and its distance to the edge, mm."""
        import cv2

        low, high = ring.min(axis=0), ring.max(axis=0)
        f = 160.0 / float((high - low).max())
        mask = np.zeros(
            (int((high - low)[1] * f) + 3, int((high - low)[0] * f) + 3), dtype=np.uint8
        )
        pts = np.round((ring - low) * f + 1).astype(np.int32)
        cv2.fillPoly(mask, [pts], 255)
        mask[0], mask[-1], mask[:, 0], mask[:, -1] = 0, 0, 0, 0
        depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        # of the roomiest places the one nearest the middle: a strip is named halfway along
        roomy = np.argwhere(depth >= 0.93 * depth.max())[:, ::-1]
        centre = (np.array(ring.mean(axis=0)) - low) * f + 1
        x, y = roomy[int(np.argmin(((roomy - centre) ** 2).sum(axis=1)))]
        return np.asarray(low + (np.array([x, y]) - 1) / f), float(depth.max() / f)

    def _seen(self, p: LaidPiece) -> NDArray[np.float64]:
        """The ring of a piece; of one in the lower layer the largest part that nothing lies over."""
        over = [q.outline_mm for q in self.lay.placements if p.lower and p.apart_from(q)]
        if not over:
            return p.outline_mm
        from shapely.geometry import Polygon
        from shapely.ops import unary_union

        rest: Any = Polygon(p.outline_mm).difference(unary_union([Polygon(r) for r in over]))
        parts = [g for g in getattr(rest, "geoms", [rest]) if g.geom_type == "Polygon" and g.area]
        if not parts or max(g.area for g in parts) < 0.05 * p.area_mm2:
            return p.outline_mm
        return np.array(max(parts, key=lambda g: g.area).exterior.coords)[:-1, :2]

    def label(self, p: LaidPiece) -> None:
        """Its name where it has room inside the outline, beside its grain arrow; else a number, whose
        name stands below the picture. Nothing is written over a line."""
        job = self.lay.job
        several = job is not None and sum(q.piece == p.piece for q in self.lay.placements) > 1
        whole = f"{p.piece} {p.copy}" if several else p.piece
        garment, _, name = whole.rpartition(": ")  # of several garments: its title on its own line
        words = [self._layers(p)] if self.lay.cloth.folded else []
        if p.mirrored and p.how == "single":
            words.append("turned over")
        if p.locked:
            words.append("locked")
        if p.key in self.lay.across_grain():
            words.append("across the grain")
        small = [t for t in (", ".join(words), garment) if t]
        room = _Room(self, p)
        for size in range(17, 9, -1):
            for more in (small, small[:1], []):
                lines = [(name, float(size), _INK), *((t, 11.0, _SOFT) for t in more)]
                at = room.for_lines(lines)
                if at is not None and (more == small or size < 14 or not small):
                    self._lines(at, lines)
                    return
        self.numbered.append(whole)
        number = str(len(self.numbered))
        for high in (12.0, 10.5, 9.0):
            at = room.for_lines([(number, high, _INK)])
            if at is not None:
                self.text(at, number, high, _INK)
                return
        self.outside.append((number, room.prefer))

    def _lines(self, at: Any, lines: Sequence[tuple[str, float, Any]]) -> None:
        wide = max(self.width_of(words, size) for words, size, _ in lines) + 6 * self.unit
        half = 0.5 * np.array([wide, (_LINE_PX * len(lines) + 6.0) * self.unit])
        self.written.append((np.asarray(at) - half, np.asarray(at) + half))
        y = at[1] - 0.5 * _LINE_PX * self.unit * (len(lines) - 1)
        for words, size, colour in lines:
            self.text((at[0], y), words, size, colour)
            y += _LINE_PX * self.unit

    def numbers_outside(self) -> None:
        """Numbers of pieces too slim for one, on the bare cloth beside them, with a line to each."""
        if not self.outside:
            return
        taken = np.full((self.h // _COARSE + 1, self.w // _COARSE + 1), 255, dtype=np.uint8)
        for p in self.lay.placements:
            self.cv2.fillPoly(taken, [self.px(p.outline_mm) // _COARSE], 0)
        ends: list[tuple[Any, str]] = []
        for number, at in self.outside:
            w, h = self.width_of(number, 12.0) + 8 * self.unit, 18.0 * self.unit
            spot = _nearest_box(taken, at / _COARSE, w / _COARSE, h / _COARSE)
            to = at if spot is None else spot * _COARSE
            self._segment(at, to, _SOFT, max(1, int(self.unit)))
            ends.append((to, number))
            if spot is not None:
                x, y = (int(v) for v in spot)
                dx, dy = int(w / _COARSE / 2) + 1, int(h / _COARSE / 2) + 1
                taken[max(y - dy, 0) : y + dy, max(x - dx, 0) : x + dx] = 0
        for to, number in ends:
            self._plate(to, number, 12.0, _CLOTH)
            self.text(to, number, 12.0, _INK)

    def _rows(self, words: Sequence[str]) -> list[str]:
        """Names below the picture, as many in a row as it is wide."""
        rows: list[str] = []
        for one in words:
            longer = f"{rows[-1]}   {one}" if rows else one
            if rows and self.width_of(longer, 13) <= self.w - 48 * self.unit:
                rows[-1] = longer
            else:
                rows.append(one)
        return rows

    def _layers(self, p: LaidPiece) -> str:
        middle = 0.5 * (p.outline_mm.min(axis=0) + p.outline_mm.max(axis=0))
        at = (float(middle[0]), float(middle[1]))
        upper = any(z.layers == 2 and z.holds(at) for z in self.lay.cloth.zones)
        if p.how != "single" or not upper:
            return _WORD[p.how]
        return "lower layer only" if p.lower else "upper layer only"

    def _plate(self, at: Any, words: str, size: float, colour: Any) -> None:
        half = np.array([self.width_of(words, size) / 2 + 4 * self.unit, 0.55 * size * self.unit])
        a, b = ((np.asarray(at) + side * half).astype(int).tolist() for side in (-1, 1))
        self.cv2.rectangle(self.image, a, b, colour, -1)

    def measures(self) -> None:
        """A ruler along the lower edge, the width at the left, where the lay ends."""
        low, high = self.low, self.high
        unit = self.unit
        x0 = self.lay.cloth.x_range_mm[0]
        end = x0 + self.lay.used_length_mm
        base = self.px([[low[0], low[1]]])[0][1] + 26 * unit
        step = _round_step((high[0] - low[0]) / 12.0 / self.one_mm) * self.one_mm
        for v in np.arange(math.ceil(low[0] / step) * step, high[0] + 1e-6, step):
            x = float(self.px([[v, low[1]]])[0][0])
            self._segment((x, base - 5 * unit), (x, base + 5 * unit), _SOFT, max(1, int(unit)))
            self.text((x, base + 18 * unit), f"{v / self.one_mm:g}", 11, _SOFT)
        a, b = self.px([[low[0], low[1]], [high[0], low[1]]]).astype(float)
        self._segment((a[0], base), (b[0], base), _SOFT, max(1, int(unit)))
        self.text((a[0] - 28 * unit, base), self.told_in, 11, _SOFT)
        if self.lay.placements:
            self.line((end, low[1]), (end, high[1]), _ALARM, 1.6, 8.0)
            p = self.px([[end, high[1]]])[0].astype(float)
            words = format_length(self.lay.used_length_mm, self.told_in)
            half = 0.5 * self.width_of(words, 14)
            x = min(max(p[0], half + 4), self.w - half - 4)
            self.text((x, p[1] - 14 * unit), words, 14, _ALARM)
        c = self.px([[low[0], 0.5 * (low[1] + high[1])]])[0].astype(float)
        wide = self._said(float(self.outline[:, 1].max() - self.outline[:, 1].min()))
        for i, words in enumerate(("lies", wide, "wide")):
            self.text((c[0] - 46 * unit, c[1] + (i - 1) * 20 * unit), words, 11, _SOFT)

    def _said(self, mm: float) -> str:
        return format_length(mm, self.told_in).replace(".0 ", " ")

    def head(self) -> None:
        lay, unit = self.lay, self.unit
        cloth = lay.cloth
        self.text((24 * unit, 30 * unit), self.title or "Lay", 22, _INK, middle=False, weight=1.6)
        if self.buy:
            tall = 17.0
            room = self.w - 72 * unit - self.width_of(self.title or "Lay", 22) * 1.1
            tall *= min(1.0, room / self.width_of(self.buy, tall))
            x = self.w - 24 * unit - self.width_of(self.buy, tall)
            self.text((x, 30 * unit), self.buy, tall, _INK, middle=False)
        fold = cloth.folding.words
        wide = f"cloth {self._said(cloth.width_mm)} wide"
        size = wide if cloth.outline is None else "remnant"
        nap = "" if cloth.nap == "none" else f", nap {cloth.nap}"
        found = "" if not lay.placements else f" - {100 * lay.efficiency:.1f} % of the cloth used"
        length = f"{format_length(lay.used_length_mm, self.told_in)} long"
        if abs(lay.cloth_length_mm - lay.used_length_mm) > 1.0:
            length += f" as it lies, {format_length(lay.cloth_length_mm, self.told_in)} opened out"
        line = f"{size}, {fold}{nap} - {length}{found}"
        fit = 15.0 * min(1.0, (self.w - 60 * unit) / self.width_of(line, 15.0))
        self.text((24 * unit, 60 * unit), line, fit, _SOFT, middle=False)
        bottom = self.h - 24 * unit
        for i, words in enumerate(reversed(self.legend)):
            self.text((24 * unit, self.h - (50 + 22 * i) * unit), words, 13, _INK, middle=False)
        if lay.left_out:
            words = f"No room for {', '.join(lay.left_out)}"
            self.text((24 * unit, bottom), words, 15, _ALARM, middle=False)
        elif lay.notes:
            self.text((24 * unit, bottom), _fitted(lay.notes), 12, _SOFT, middle=False)


class _Room:
    """Where words find room inside a piece, off its outline and its grain arrow."""

    def __init__(self, picture: _Picture, p: LaidPiece) -> None:
        self.picture = picture
        ring = picture.px(picture._seen(p)).astype(np.float64)
        self.low = ring.min(axis=0) - 2.0
        size = ring.max(axis=0) + 2.0 - self.low
        self.step = max(1.0, float(size.max()) / 400.0)  # px of the picture to one of the mask
        shape = np.ceil(size / self.step).astype(int) + 2
        self.free = np.zeros((shape[1], shape[0]), dtype=np.uint8)
        cv2, line = picture.cv2, max(1, round(3.0 * picture.unit / self.step))
        cv2.fillPoly(self.free, [self._on(ring)], 255)
        cv2.polylines(self.free, [self._on(ring)], True, 0, line + 1)
        for q in picture.lay.placements:  # what lies over it, or under it, is drawn there too
            if q is not p:
                cv2.polylines(self.free, [self._on(picture.px(q.outline_mm))], True, 0, line + 1)
        for corners in picture.written:  # a name of the other layer may stand here
            low, high = self._on(np.array(corners))
            cv2.rectangle(self.free, tuple(map(int, low)), tuple(map(int, high)), 0, -1)
        spot, _ = picture._spot(picture._seen(p))
        self.prefer = picture.px([spot])[0].astype(float)
        tail, tip = picture._grain(p)
        if tail is not None:
            arrow = self._on(picture.px([tail, tip]))
            barbs = 2 * max(1, round(5.0 * picture.unit / self.step))
            cv2.line(self.free, tuple(map(int, arrow[0])), tuple(map(int, arrow[1])), 0, barbs)

    def _on(self, px: Any) -> NDArray[np.int32]:
        return np.asarray(np.round((np.asarray(px) - self.low) / self.step), dtype=np.int32)

    def for_lines(self, lines: Sequence[tuple[str, float, Any]]) -> NDArray[np.float64] | None:
        """The middle (px) of a box for lines of (words, size), as near as can be above the arrow."""
        unit = self.picture.unit
        wide = max(self.picture.width_of(words, size) for words, size, _ in lines) + 6 * unit
        high = (_LINE_PX * (len(lines) - 1) + 1.25 * lines[0][1]) * unit
        above = self.prefer - (0.0, 0.5 * high + 6.0 * unit)
        at = _nearest_box(
            self.free, (above - self.low) / self.step, wide / self.step, high / self.step
        )
        return None if at is None else np.asarray(self.low + at * self.step)


def _nearest_box(
    free: NDArray[np.uint8], near: NDArray[np.float64], wide: float, high: float
) -> NDArray[np.float64] | None:
    """The middle (x, y) nearest to ``near`` at which a box lies on free pixels alone; None: nowhere."""
    import cv2

    kernel = np.ones((2 * math.ceil(high / 2) + 1, 2 * math.ceil(wide / 2) + 1), dtype=np.uint8)
    if kernel.shape[0] > free.shape[0] or kernel.shape[1] > free.shape[1]:
        return None
    fits = cv2.erode(free, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    spots = np.argwhere(fits > 0)[:, ::-1].astype(np.float64)
    if not len(spots):
        return None
    return np.asarray(spots[int(np.argmin(((spots - near) ** 2).sum(axis=1)))])


def _box(x0: float, x1: float, y0: float, y1: float) -> list[list[float]]:
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


def _fitted(notes: Sequence[str]) -> str:
    text = notes[-1]  # how to cut it stands last
    return text if len(text) < 150 else text[:147] + "..."


def _round_step(mm: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(mm, 0.1)))
    return next(f * power for f in (1.0, 2.0, 5.0, 10.0) if f * power >= mm * (1.0 - 1e-9))


def _ascii(words: str) -> str:
    """The drawing font knows ASCII only."""
    import unicodedata

    swapped = words.replace("–", "-").replace("×", "x").replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", swapped)
    return plain.encode("ascii", "ignore").decode()
