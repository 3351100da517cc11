"""The cloth she has: its size, how it is folded, and what the cutting must respect.

Comes after the pieces are drafted and before they are laid: the planners read nothing about the
cloth but what is here. Sizes are of the cloth opened out flat, ready to cut (mm); a remnant's
outline, its holes and its flaws are given as the cloth lies on the table.

Frame, cloth mm: x along the length (parallel to the selvedge), y across, 0 at the near selvedge,
or at the fold when it is folded lengthwise. Folded crosswise, the fold lies at x = 0. Folded
double, both selvedges to the middle, one fold lies at y = 0 and one at half the width, and the
selvedges meet on the line between them. Folded over in part, the fold lies at y = 0, the selvedge
that was folded over as far from it as it was folded, and the other one beyond it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import InputError, short
from configs.files import read_yaml
from configs.reader import Reader, as_list, as_number, nearest
from configs.units import length_text
from drafting.folding import Folding, Zone, check_folding, read_folding
from drafting.outline import crossing_of
from drafting.placement import cloth_from_piece

Ring = tuple[tuple[float, float], ...]

NAPS = ("none", "one-way", "two-way")
# words people write for the same thing
_SAME: dict[Any, str] = {False: "none", "no": "none", "oneway": "one-way"}
_SAME |= dict.fromkeys(("one-way motif", "one-way motifs", "motif"), "one-way")
_SAME |= {"one way": "one-way", "two way": "two-way", "twoway": "two-way", "with": "one-way"}
_SPELT = {"color": "colour", "grain tolerance": "grain_tolerance"}
_SPELT |= {"tolerates flaws": "tolerates_flaws", "grain-tolerance": "grain_tolerance"}
_MAX_WIDTH_MM = 5000.0  # the widest sheeting is 3.2 m
_MAX_LENGTH_MM = 200_000.0  # two bolts
_LEAST_REPEAT_MM = 5.0  # the like for a print's repeat, and for the width of its border
_LEAST_BORDER_MM = 15.0
_LEAST_SELVEDGE_MM = 3.0  # common practice, no source: 5 to 20 mm
_LEAST_BARE_MM = 300.0  # narrower than any cloth sold: a number without unit was meant in cm
_MAX_SHRINKAGE = 0.25
_MOST_JOINS = 9  # of one strip; with more it is patchwork
_MAX_TILT_DEG = 10.0  # past this it is another grain, not a tolerance
_YARD_MM = 914.4


@dataclass(frozen=True)
class MatchPoint:
    """A place on a piece that must fall on the same place of the stripe or check as its partners.

    Either ``at`` (x, y) in the piece's frame, mm, or a place of the edge ``edge``: its lower end, or
    ``spot``: the notch of that name ("waist"), "top" for its upper end, or a length from the lower end.
    """

    piece: str
    edge: str = ""
    spot: str = ""
    at: tuple[float, float] | None = None


@dataclass(frozen=True)
class Border:
    """A print along one selvedge, and the edges of pieces that lie on it, across the grain.

    ``edges``: piece → edge, each with its point nearest the selvedge ``from_mm`` from it; ``side``: "near"
    or "far" as the cloth lies; ``width_mm``: how wide the print is, from the selvedge (to be drawn).
    """

    edges: Mapping[str, str]
    from_mm: float
    side: str = "near"
    width_mm: float = 0.0

    def __hash__(self) -> int:
        """By what can be told apart at a glance."""
        return hash((tuple(self.edges), self.from_mm, self.side))


@dataclass(frozen=True)
class Cloth:
    """The cloth and its rules. Lengths mm, angles degrees, shrinkage as a fraction.

    ``width_mm``: across, selvedges included, opened out; ``length_mm``: None off the bolt;
    ``fold``: one of `folding.FOLDS`, ``face``, ``over_mm``, ``open_from_mm``, ``best``, ``found``: as in
    `Folding`; ``nap``: none, one-way or two-way; ``selvedge_mm``:
    left unused along each selvedge; ``shrinkage_length``, ``shrinkage_width``: fraction that the
    cloth will lose, so pieces are cut larger by 1 / (1 − s); ``outline``, ``holes``, ``flaws``:
    rings as the cloth lies; ``tolerates_flaws``: pieces that may cover a flaw; ``opened``: pieces with a fold of their own that
    are laid whole all the same, in one layer; ``whole``: the planner may choose which (into ``opened``);
    ``joins``: strip → how many joins she allows at most, ``all`` for every strip; ``pieced``: strip → how many the lay makes;
    ``repeat_length_mm``, ``repeat_width_mm``: of the stripe or check, 0 for none; ``match``:
    groups of `MatchPoint` that must fall on the same phase; ``border``: a print along a selvedge; ``grain_tolerance_deg``: piece → how
    far it may turn off the grain, ``all`` for the rest; ``price``: per metre; ``currency``.
    """

    width_mm: float = 0.0
    length_mm: float | None = None
    fold: str = "none"
    face: str = "in"
    over_mm: float = 0.0
    open_from_mm: float | None = None
    best: bool = False
    found: bool = False
    nap: str = "none"
    selvedge_mm: float = 0.0
    shrinkage_length: float = 0.0
    shrinkage_width: float = 0.0
    outline: Ring | None = None
    holes: tuple[Ring, ...] = ()
    flaws: tuple[Ring, ...] = ()
    tolerates_flaws: tuple[str, ...] = ()
    opened: tuple[str, ...] = ()
    whole: bool = False
    joins: Mapping[str, int] = field(default_factory=dict)
    pieced: Mapping[str, int] = field(default_factory=dict)
    repeat_length_mm: float = 0.0
    repeat_width_mm: float = 0.0
    match: tuple[tuple[MatchPoint, ...], ...] = ()
    border: Border | None = None
    grain_tolerance_deg: Mapping[str, float] = field(default_factory=dict)
    price: float | None = None
    currency: str = ""
    colour: str = ""
    note: str = ""

    def __hash__(self) -> int:
        """By size and folding: enough to tell cloths apart in a set."""
        return hash((self.width_mm, self.length_mm, self.fold, self.nap, self.outline))

    # -- reading and writing ----------------------------------------------------------------------

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, where: str = "cloth") -> Cloth:
        """Read the docket's ``cloth`` keys; numbers without a unit are in ``unit`` (default mm).

        Raises:
            InputError: all that is wrong with it, each fault with its key path.
        """
        return _read(data, where)

    @classmethod
    def load(cls, path: str | Path) -> Cloth:
        """Read a cloth's own file: the docket's ``cloth`` keys at the top level.

        Raises:
            InputError: all that is wrong with it, at once.
        """
        data = read_yaml(path)
        data.pop("chalkbeam")
        return _read(data, "", str(path))

    def to_dict(self) -> dict[str, Any]:
        """The keys that `from_dict` reads back to an equal cloth."""
        return {k: v for k, v in self._every_key().items() if v not in ("", [], {}, None)}

    def _every_key(self) -> dict[str, Any]:
        """All keys that a docket's cloth may have; '', [] or {} where there is nothing to write."""
        length, width = "length", "width"
        shrinkage = {length: self.shrinkage_length, width: self.shrinkage_width}
        repeat = {length: self.repeat_length_mm, width: self.repeat_width_mm}
        drawn = self.outline is not None or self.holes or self.flaws or self.match
        price = "" if self.price is None else f"{self.price:.10g} {self.currency}/m"
        return {
            width: _mm(self.width_mm) if self.width_mm else "",
            length: _mm(self.length_mm) if self.length_mm is not None else "",
            "fold": plain if (plain := self.folding.to_plain()) != "none" else "",
            "nap": self.nap if self.nap != "none" else "",
            "selvedge": _mm(self.selvedge_mm) if self.selvedge_mm else "",
            "shrinkage": {k: f"{100 * v:.10g} %" for k, v in shrinkage.items() if v},
            "repeat": {k: _mm(v) for k, v in repeat.items() if v},
            "match": [[_point_to_plain(p) for p in group] for group in self.match],
            "border": _border_to_plain(self.border),
            "grain_tolerance": _all_or_each(self.grain_tolerance_deg),
            "unit": "mm" if drawn else "",
            "outline": [list(p) for p in self.outline or ()],
            "holes": [[list(p) for p in ring] for ring in self.holes],
            "flaws": [[list(p) for p in ring] for ring in self.flaws],
            "tolerates_flaws": list(self.tolerates_flaws),
            "opened": list(self.opened),
            "whole": "allowed" if self.whole else "",
            "joins": _all_or_each(self.joins),
            "pieced": dict(self.pieced),
            "price": price.replace(" /", "/"),
            "colour": self.colour,
            "note": self.note,
        }

    def contradictions(self) -> list[str]:
        """What its keys say twice and not alike, each in a sentence with which one counts."""
        if self.outline is None:
            return []
        size = np.ptp(np.array(self.outline), axis=0).tolist()
        told = (("length", "long", self.length_mm), ("width", "wide", self.width_mm or None))
        return [
            f"The cloth's 'outline' counts, {length_text(drawn)} {word} as drawn; its '{key}' of "
            f"{length_text(said)} is not used. Take one of them out."
            for (key, word, said), drawn in zip(told, size, strict=True)
            if said is not None and abs(said - drawn) > 10.0
        ]

    # -- what follows from it ---------------------------------------------------------------------

    @property
    def folding(self) -> Folding:
        """How it is folded. A remnant with an outline of its own lies as it was drawn."""
        return Folding(self.fold, self.face, self.over_mm, self.open_from_mm, self.best, self.found)

    def folded_as(self, folding: Folding) -> Cloth:
        """The same cloth folded so."""
        return replace(
            self,
            fold=folding.way,
            face=folding.face,
            over_mm=folding.over_mm,
            open_from_mm=folding.open_from_mm,
            best=folding.best,
            found=folding.found,
        )

    @property
    def layers(self) -> int:
        """How many layers lie on each other where it is folded: 2, else 1."""
        return self.folding.layers

    @property
    def side_words(self) -> tuple[str, ...]:
        """How its sides lie and how pieces are laid for it, in lines for paper."""
        told = [f"Cloth: {self.folding.words}. Pieces are drawn as its right side shows them."]
        if any(z.wrong_side for z in self.zones):
            told.append(
                "Cut from one layer only? Where it shows its wrong side, turn the piece over."
            )
        return tuple(told)

    @property
    def folded(self) -> bool:
        """Whether it lies in two layers, at least in part."""
        return self.layers == 2

    @property
    def zones(self) -> tuple[Zone, ...]:
        """Its parts, each of one kind: layers, and which side of the upper one is to be seen."""
        along, wrong_side = self.x_range_mm, self.folded and self.face == "in"
        found: tuple[Zone, ...] = ()
        if self.outline is None:
            found = self.folding.zones(self.width_mm, self.selvedge_mm, *along)
        return found or (Zone(along, self.y_range_mm, self.layers, wrong_side),)

    @property
    def y_range_mm(self) -> tuple[float, float]:
        """Lowest and highest y that a cutting line may reach, selvedges left out."""
        if self.outline is not None:
            ys = [p[1] for p in self.outline]
            return min(ys), max(ys)
        found = self.folding.zones(self.width_mm, self.selvedge_mm, 0.0, math.inf)
        if not found:
            return self.selvedge_mm, self.width_mm - self.selvedge_mm
        return min(z.y[0] for z in found), max(z.y[1] for z in found)

    @property
    def lie_width_mm(self) -> float:
        """How wide the cloth lies, selvedges included; 0 where its width is not told."""
        if self.open_from_mm is not None:
            return self.width_mm
        return self.folding.width_of(self.width_mm)

    @property
    def folds_mm(self) -> tuple[float, ...]:
        """Where folds run along the length, as y: halves of pieces lie on them."""
        if self.outline is not None and self.fold in ("double", "partial"):
            return ()
        return self.folding.folds_of(self.width_mm)

    def beside_folds_mm(self, distance_mm: float) -> tuple[tuple[float, float, float, float], ...]:
        """Boxes (x from, to, y from, to) along the folds that what is cut through both layers keeps off.

        Half the distance on each side of the fold is the whole one between the two pieces.
        """
        half = 0.5 * distance_mm
        if half <= 0.0 or not self.folded:
            return ()
        start, stop = self.x_range_mm
        end = stop if self.open_from_mm is None else min(stop, self.open_from_mm)
        low, high = self.y_range_mm
        if self.fold == "crosswise" and end > start:
            return ((start - half, start + half, low, high),)
        return tuple((start, end, y - half, y + half) for y in self.folds_mm if end > start)

    def lays_on_fold(self, piece: str) -> bool:
        """Whether a piece with a fold of its own is laid as its half, on a fold of the cloth."""
        across = self.border is not None and piece in self.border.edges
        return bool(self.folds_mm) and piece not in self.opened and not across

    def border_mm(self) -> tuple[float, float] | None:
        """The selvedge that the border runs along, as y, and which way is into the cloth (1 or −1)."""
        if self.border is None:
            return None
        return (0.0, 1.0) if self.border.side == "near" else (self.lie_width_mm, -1.0)

    @property
    def meeting_mm(self) -> tuple[float, float] | None:
        """From which y to which an upper layer ends: no line is cut across."""
        if self.outline is not None:
            return None
        return self.folding.meeting_of(self.width_mm, self.selvedge_mm)

    @property
    def room_mm(self) -> float:
        """How wide a piece the cloth has room for across, as it lies."""
        return max((z.y[1] - z.y[0] for z in self.zones), default=0.0)

    @property
    def x_range_mm(self) -> tuple[float, float]:
        """Lowest and highest x of the cloth as it lies; the highest is infinite off the bolt."""
        if self.outline is not None:
            xs = [p[0] for p in self.outline]
            return min(xs), max(xs)
        if self.length_mm is None:
            return 0.0, math.inf
        return 0.0, self.folding.lying_length(self.length_mm)

    @property
    def lie_outline_mm(self) -> NDArray[np.float64] | None:
        """(N, 2) outline of the cloth as it lies, selvedges included; None off the bolt."""
        if self.outline is not None:
            return np.array(self.outline, dtype=np.float64)
        if self.length_mm is None:
            return None
        x = self.x_range_mm[1]
        y = self.lie_width_mm
        return np.array([[0.0, 0.0], [x, 0.0], [x, y], [0.0, y]])

    def lengths_lying(self, end_mm: float) -> tuple[tuple[float, float, float], ...]:
        """(from x, to x, how wide it lies) of a straight cloth up to ``end_mm``, selvedges included.

        One, or two where it is opened out after the first pieces are cut.
        """
        start, wide = self.x_range_mm[0], self.folding.width_of(self.width_mm)
        opened = self.open_from_mm if self.folded else None
        if opened is None or end_mm <= opened:
            return ((start, end_mm, wide),)
        return (start, opened, wide), (opened, end_mm, self.width_mm)

    @property
    def repeats_mm(self) -> tuple[float, float]:
        """The repeat along and across the cloth, 0 where it has none."""
        return self.repeat_length_mm, self.repeat_width_mm

    @property
    def cut_scale(self) -> tuple[float, float]:
        """How much larger pieces are cut (across, along the cloth), to shrink to size later.

        cut size = size / (1 − s), length and width apart (FACTS E, derived by arithmetic).
        """
        return 1.0 / (1.0 - self.shrinkage_width), 1.0 / (1.0 - self.shrinkage_length)

    def growth(self, turn_deg: float, mirrored: bool = False) -> NDArray[np.float64]:
        """(2, 2) matrix, piece frame: what makes a piece that lies so larger for the shrinkage.

        The cloth loses length along its own axes, whatever way the piece lies on it, so the matrix
        hangs on the piece's turn and mirror (as in `Placement`). Exactly the identity without
        shrinkage. Everything that is cut, drawn or printed takes its size from here.
        """
        across, along = self.cut_scale
        if across == along:
            return np.eye(2) * along
        turned = cloth_from_piece((0.0, 0.0), turn_deg, mirrored)[:2, :2]
        out: NDArray[np.float64] = turned.T @ np.diag([along, across]) @ turned
        return out

    def tilt_deg(self, piece: str) -> float:
        """How far a piece may be turned off the grain, degrees."""
        tilts = self.grain_tolerance_deg
        return float(tilts.get(piece, tilts.get("all", 0.0)))


def kept_off(
    outline: Sequence[Sequence[float]], holes: Sequence[Sequence[Sequence[float]]], rim_mm: float
) -> tuple[list[list[float]], list[list[list[float]]], float]:
    """What is left of a cloth inside its edge and clear of its holes.

    Args:
        outline, holes: rings (N, 2) mm; rim_mm: how far to keep off; below 0 the ring grows.

    Returns:
        the largest part's outline and holes, rounded to 0.1 mm, and the area of parts left out, mm².

    Raises:
        ValueError: nothing is left, or the ring encloses nothing.
    """
    from shapely.geometry import Polygon

    whole = Polygon(outline, holes).buffer(0)
    left = whole.buffer(-rim_mm, join_style="mitre", mitre_limit=2.0).simplify(0.05)
    parts = sorted(getattr(left, "geoms", [left]), key=lambda p: -p.area)
    if not parts or parts[0].geom_type != "Polygon" or parts[0].area < 1.0:
        raise ValueError("nothing is left of the cloth")

    def plain(ring: Any) -> list[list[float]]:
        points = [[round(float(x), 1) + 0.0, round(float(y), 1) + 0.0] for x, y in ring.coords]
        return points[:-1]

    best, *rest = parts
    return plain(best.exterior), [plain(r) for r in best.interiors], sum(p.area for p in rest)


def _mm(value: float) -> str:
    return f"{value:.10g} mm"


def _all_or_each(values: Mapping[str, Any]) -> Any:
    """As it is read: one value where it is for all, else each by its name."""
    return values["all"] if set(values) == {"all"} else dict(values)


def _border_to_plain(border: Border | None) -> dict[str, Any]:
    if border is None:
        return {}
    edges = [f"{piece}.{edge}" for piece, edge in border.edges.items()]
    made = {"edges": edges, "from": _mm(border.from_mm), "side": border.side}
    return made | ({"width": _mm(border.width_mm)} if border.width_mm else {})


def _point_to_plain(point: MatchPoint) -> Any:
    if point.at is None:
        return f"{point.piece}.{point.edge}" + (f"@{point.spot}" if point.spot else "")
    return {"piece": point.piece, "at": list(point.at)}


_PRICE = re.compile(
    r"^\s*(?P<amount>\d+(?:[.,]\d+)?)\s*(?P<currency>[^\d\s/]*)\s*"
    r"(?:(?:/|per)\s*(?P<per>m|metre|meter|yd|yard)s?)?\s*$"
)


def _read(data: Any, where: str, file: str = "") -> Cloth:
    plain = data
    if isinstance(data, Mapping):
        plain = {_SPELT.get(str(k), str(k)): v for k, v in data.items()}
    reader = Reader(plain, file=file, key=where)
    if reader.faults:
        raise InputError([replace(f, remedy="Example: {width: 1400 mm}") for f in reader.faults])
    reader.only(Cloth()._every_key()).read_unit()
    outline = _ring(reader, "outline", reader.get("outline")) if reader.has("outline") else None
    width = _length(reader, "width", 1.0, _MAX_WIDTH_MM, _LEAST_BARE_MM)
    length = None
    if reader.has("length") and reader.get("length") not in ("bolt", "off the bolt"):
        length = _length(reader, "length", 1.0, _MAX_LENGTH_MM, _LEAST_BARE_MM)
    if "width" not in reader.data and not reader.has("outline"):
        reader.note("width", "is missing.", "Measure across, selvedge to selvedge: 1400 mm.")
    folding, nap = read_folding(reader), reader.word("nap", NAPS, same=_SAME)
    selvedge = _length(reader, "selvedge", 0.0, 200.0, _LEAST_SELVEDGE_MM)
    if outline is None:
        check_folding(reader, folding, width, selvedge)
    elif folding.way in ("double", "partial") or folding.open_from_mm is not None:
        reader.note(
            "fold",
            "a fold by the selvedges goes with a width, not with an outline.",
            "Give its width, or say how the remnant lies: lengthwise, crosswise or none.",
        )
    if folding.best and outline is not None:
        what = "'best' goes with a width; a remnant lies as it is drawn."
        reader.note("fold", what, "Take it out.")
    if folding.way == "crosswise" and nap == "one-way":
        reader.note(
            "fold",
            "crosswise does not go with a nap: the upper layer would run the other way.",
            "Fold it lengthwise, lay it single, or cut it in two and turn the upper layer.",
        )
    shrinkage = _pair(reader, "shrinkage", _fraction)
    repeat = _pair(
        reader,
        "repeat",
        lambda inner, key: _length(inner, key, 1.0, _MAX_WIDTH_MM, _LEAST_REPEAT_MM),
    )
    price, currency = _price(reader)
    made = Cloth(
        width_mm=width,
        length_mm=length,
        nap=nap,
        selvedge_mm=selvedge,
        shrinkage_length=shrinkage["length"],
        shrinkage_width=shrinkage["width"],
        outline=outline,
        holes=_rings(reader, "holes"),
        flaws=_rings(reader, "flaws"),
        tolerates_flaws=reader.texts(
            "tolerates_flaws", "should be a list of pieces.", "Example: [facing, pocket]"
        ),
        opened=reader.texts("opened", "should be a list of pieces.", "Example: [neck facing]"),
        whole=_allowed(reader, "whole"),
        joins=_joins(reader, "joins"),
        pieced=_joins(reader, "pieced"),
        repeat_length_mm=repeat["length"],
        repeat_width_mm=repeat["width"],
        match=_match(reader),
        border=_border(reader, folding, outline is not None),
        grain_tolerance_deg=_tilts(reader),
        price=price,
        currency=currency,
        colour=reader.text("colour"),
        note=reader.text("note", lines=True),
    )
    reader.done()
    return made.folded_as(folding)


def _length(reader: Reader, key: str, low: float, high: float, least: float) -> float:
    """A length in mm, 0 where none stands there; below ``least`` a bare number is asked about."""
    return reader.length(key, low, high, least=least) if reader.has(key) else 0.0


def _joins(reader: Reader, key: str) -> dict[str, int]:
    """Strip → number of joins; a bare number is for every strip."""
    value = reader.get(key)
    if value is None:
        return {}
    rows = value if isinstance(value, Mapping) else {"all": value}
    made = {}
    for name, many in rows.items():
        if isinstance(many, bool) or not isinstance(many, int) or not 0 <= many <= _MOST_JOINS:
            where = key if name == "all" else f"{key}.{name}"
            reader.note(
                where,
                f"{short(many)} is no number of joins from 0 to {_MOST_JOINS}.",
                "Example: joins: {waistband: 1}",
                many,
            )
            continue
        made[str(name)] = many
    return made


def _allowed(reader: Reader, key: str) -> bool:
    """'allowed' (or yes), 'no' where it is left out."""
    value = reader.data.get(key)
    if value in (None, False, "no"):
        return False
    if value is not True and value not in ("allowed", "yes"):
        near = nearest(str(value), ("allowed", "no"))
        reader.note(key, f"{short(value)} is neither 'allowed' nor 'no'.", near, value)
    return True


def _pair(reader: Reader, key: str, read: Callable[[Reader, str], float]) -> dict[str, float]:
    out = {"length": 0.0, "width": 0.0}
    if not reader.has(key):
        return out
    if not isinstance(reader.get(key), Mapping):
        reader.note(key, f"should be {{length: …, width: …}}, not {short(reader.get(key))}.")
        return out
    inner = reader.sub(key, tuple(out))
    for direction in out:
        if inner.has(direction) and inner.get(direction) != 0:
            out[direction] = read(inner, direction)
    return out


def _bare(value: Any, *units: str) -> float | None:
    """A number with or without one of these units behind it; None of anything else."""
    if isinstance(value, str):
        text = value.strip()
        value = next((text.removesuffix(u) for u in units if text.endswith(u)), text)
    return as_number(value)


def _fraction(reader: Reader, key: str) -> float:
    value = reader.get(key)
    number = _bare(value, "%")
    if number is None:
        reader.note(key, f"{short(value)} is not a percentage.", "Example: 3 %", value)
        return 0.0
    if not 0.0 <= number <= 100.0 * _MAX_SHRINKAGE:
        reader.note(
            key,
            f"{short(value)} is outside 0 to {100 * _MAX_SHRINKAGE:g} %.",
            "Write what the cloth loses in the wash, 3 % for 100 → 97 cm.",
            value,
        )
        return 0.0
    return number / 100.0


def _ring(reader: Reader, key: str, value: Any) -> Ring | None:
    value = as_list(value)
    if not isinstance(value, list | tuple) or len(value) < 3:
        reader.note(key, "should be a list of three or more [x, y].", got=value)
        return None
    before = len(reader.faults)
    points = reader.points(key, _MAX_LENGTH_MM, value)
    if len(reader.faults) > before:
        return None
    if points[0] == points[-1]:
        points.pop()
    from shapely.geometry import Polygon

    shape = Polygon(points) if len(points) > 2 else None
    spot = None if shape is None else crossing_of(np.array(points))
    if shape is None or spot or shape.area < 1.0:
        what = "encloses no area."
        if spot and shape is not None and shape.convex_hull.area >= 1.0:
            what = f"crosses itself near ({spot[0]:.0f}, {spot[1]:.0f}) mm."
        reader.note(key, what, "List the corners in order, once round.")
        return None
    return tuple(points)


def _rings(reader: Reader, key: str) -> tuple[Ring, ...]:
    value = as_list(reader.get(key, []))
    if not isinstance(value, list | tuple):
        reader.note(key, "should be a list of rings, each a list of [x, y].", got=value)
        return ()
    found = [_ring(reader, f"{key}[{i}]", v) for i, v in enumerate(value)]
    return tuple(r for r in found if r is not None)


def _match(reader: Reader) -> tuple[tuple[MatchPoint, ...], ...]:
    value = reader.get("match", [])
    help_text = "Example: [[front.side, back.side]]"
    if not isinstance(value, list | tuple):
        reader.note("match", "should be a list of groups.", help_text, value)
        return ()
    groups = []
    for i, group in enumerate(value):
        if not isinstance(group, list | tuple) or not group:
            reader.note(f"match[{i}]", "should be a list of places.", help_text, group)
            continue
        points = []
        for j, item in enumerate(group):
            key = f"match[{i}][{j}]"
            if isinstance(item, str) and "." in item:
                place, _, spot = item.partition("@")
                piece, _, edge = place.rpartition(".")
                points.append(MatchPoint(piece.strip(), edge.strip(), spot.strip()))
            elif isinstance(item, Mapping) and isinstance(item.get("piece"), str):
                inner = reader.inner(key, item, ("piece", "at"))
                points.append(MatchPoint(item["piece"], at=inner.point("at")))
            else:
                reader.note(
                    key,
                    f"{short(item)} is neither 'piece.edge', 'piece.edge@notch' nor {{piece: …, at: [x, y]}}.",
                    help_text,
                    item,
                )
        groups.append(tuple(points))
    if groups and not reader.get("repeat"):
        reader.note("match", "there is nothing to match without a repeat.", "Add 'repeat'.")
    return tuple(groups)


def _border(reader: Reader, folding: Folding, drawn: bool) -> Border | None:
    if not reader.has("border"):
        return None
    inner = reader.sub("border", ("edges", "from", "side", "width"))
    help_text = "Example: border: {edges: [front.hem, back.hem], from: 30 mm}"
    edges = {}
    for text in inner.texts("edges", "should be a list of edges.", help_text):
        piece, dot, edge = text.rpartition(".")
        if not dot or piece.strip() in edges:
            inner.note("edges", f"'{text}' should be 'piece.edge', one of a piece.", help_text)
            continue
        edges[piece.strip()] = edge.strip()
    side = inner.word("side", ("near", "far"), "near") if inner.has("side") else "near"
    off = _length(inner, "from", 0.0, 2000.0, _LEAST_SELVEDGE_MM)
    width = _length(inner, "width", 1.0, _MAX_WIDTH_MM, _LEAST_BORDER_MM)
    if not edges and not inner.faults:
        inner.note("edges", "is missing: which edges lie on the border?", help_text)
    if drawn:
        inner.note(
            "side", "a remnant with an outline has no selvedge to follow.", "Give its width."
        )
    elif not folding.best and (
        folding.way == "double"
        or folding.open_from_mm is not None
        or (folding.way in ("lengthwise", "partial") and side == "near")
    ):
        why = f"the {side} side is no selvedge"
        if folding.way == "double":
            why = "both selvedges lie in the middle, over a layer without the border"
        elif folding.open_from_mm is not None:
            why = "the selvedge lies at another place once the rest is opened out"
        inner.note(
            "side", f"{folding.short}, {why}.",
            "Take 'fold: none' or crosswise; folded lengthwise 'side: far', where both selvedges lie.",
        )  # fmt: skip
    if isinstance(reader.get("repeat"), Mapping) and reader.get("repeat").get("width"):
        inner.note("edges", "a border fixes pieces across; a repeat across the cloth does so too.",
                   "Take 'width' out of 'repeat'.")  # fmt: skip
    return Border(edges, off, side, width)


def _tilts(reader: Reader) -> dict[str, float]:
    value = reader.get("grain_tolerance", {})
    given = value if isinstance(value, Mapping) else {"all": value}
    out = {}
    for name, angle in given.items():
        key = f"grain_tolerance.{name}" if isinstance(value, Mapping) else "grain_tolerance"
        number = _bare(angle, "°", "deg")
        if number is None or not 0.0 <= number <= _MAX_TILT_DEG:
            reader.note(
                key,
                f"{short(angle)} is not an angle from 0 to {_MAX_TILT_DEG:g} degrees.",
                got=angle,
            )
            continue
        out[str(name)] = number
    return out


def _price(reader: Reader) -> tuple[float | None, str]:
    value = reader.get("price")
    if value is None:
        return None, ""
    found = None if isinstance(value, bool) else _PRICE.match(str(value)[:40])
    if not found:
        reader.note(
            "price", f"{short(value)} is not a price.", "Example: 12.50 EUR/m or 9 GBP/yd", value
        )
        return None, ""
    amount = float(found["amount"].replace(",", "."))
    if found["per"] in ("yd", "yard"):
        amount *= 1000.0 / _YARD_MM
    return amount, found["currency"]
