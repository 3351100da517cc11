"""The cloth she has: its size, how it is folded, and what the cutting must respect.

Comes after the pieces are drafted and before they are laid: the planners read nothing about the
cloth but what is here. Sizes are of the cloth opened out flat, ready to cut (mm); a remnant's
outline, its holes and its flaws are given as the cloth lies on the table.

Frame, cloth mm: x along the length (parallel to the selvedge), y across, 0 at the near selvedge,
or at the fold when it is folded lengthwise. Folded crosswise, the fold lies at x = 0.
"""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from configs.errors import Fault, InputError
from configs.files import unknown_keys
from configs.units import length_text, parse_length
from drafting.placement import cloth_from_piece

Ring = tuple[tuple[float, float], ...]

FOLDS = ("none", "lengthwise", "crosswise")
NAPS = ("none", "one-way", "two-way")
_KEYS = (
    "unit",
    "width",
    "length",
    "outline",
    "holes",
    "flaws",
    "tolerates_flaws",
    "fold",
    "nap",
    "selvedge",
    "shrinkage",
    "repeat",
    "match",
    "grain_tolerance",
    "price",
    "colour",
    "note",
)
# words people write for the same thing
_SAME = {"single": "none", "no": "none", False: "none", None: "none", "oneway": "one-way"}
_SAME |= {"one way": "one-way", "two way": "two-way", "twoway": "two-way", "with": "one-way"}
_SPELT = {"color": "colour", "grain tolerance": "grain_tolerance"}
_SPELT |= {"tolerates flaws": "tolerates_flaws", "grain-tolerance": "grain_tolerance"}
_MAX_WIDTH_MM = 5000.0  # the widest sheeting is 3.2 m
_MAX_LENGTH_MM = 200_000.0  # two bolts
_LEAST_BARE_MM = 300.0  # narrower than any cloth sold: a number without unit was meant in cm
_MAX_SHRINKAGE = 0.25
_MAX_TILT_DEG = 10.0  # past this it is another grain, not a tolerance
_YARD_MM = 914.4


@dataclass(frozen=True)
class MatchPoint:
    """A place on a piece that must fall on the same place of the stripe or check as its partners.

    Either ``at`` (x, y) in the piece's frame, mm, or the lower end of the edge ``edge``.
    """

    piece: str
    edge: str = ""
    at: tuple[float, float] | None = None


@dataclass(frozen=True)
class Cloth:
    """The cloth and its rules. Lengths mm, angles degrees, shrinkage as a fraction.

    ``width_mm``: across, selvedges included, opened out; ``length_mm``: None off the bolt;
    ``fold``: none, lengthwise or crosswise; ``nap``: none, one-way or two-way; ``selvedge_mm``:
    left unused along each selvedge; ``shrinkage_length``, ``shrinkage_width``: fraction that the
    cloth will lose, so pieces are cut larger by 1 / (1 − s); ``outline``, ``holes``, ``flaws``:
    rings as the cloth lies; ``tolerates_flaws``: pieces that may cover a flaw;
    ``repeat_length_mm``, ``repeat_width_mm``: of the stripe or check, 0 for none; ``match``:
    groups of `MatchPoint` that must fall on the same phase; ``grain_tolerance_deg``: piece → how
    far it may turn off the grain, ``all`` for the rest; ``price``: per metre; ``currency``.
    """

    width_mm: float = 0.0
    length_mm: float | None = None
    fold: str = "none"
    nap: str = "none"
    selvedge_mm: float = 0.0
    shrinkage_length: float = 0.0
    shrinkage_width: float = 0.0
    outline: Ring | None = None
    holes: tuple[Ring, ...] = ()
    flaws: tuple[Ring, ...] = ()
    tolerates_flaws: tuple[str, ...] = ()
    repeat_length_mm: float = 0.0
    repeat_width_mm: float = 0.0
    match: tuple[tuple[MatchPoint, ...], ...] = ()
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
        return _Reader(data, where).cloth()

    def to_dict(self) -> dict[str, Any]:
        """The keys that `from_dict` reads back to an equal cloth."""
        out: dict[str, Any] = {}
        if self.width_mm:
            out["width"] = _mm(self.width_mm)
        if self.length_mm is not None:
            out["length"] = _mm(self.length_mm)
        if self.fold != "none":
            out["fold"] = self.fold
        if self.nap != "none":
            out["nap"] = self.nap
        if self.selvedge_mm:
            out["selvedge"] = _mm(self.selvedge_mm)
        shrinkage = {
            k: f"{100 * v:.10g} %"
            for k, v in (("length", self.shrinkage_length), ("width", self.shrinkage_width))
            if v
        }
        if shrinkage:
            out["shrinkage"] = shrinkage
        repeat = {
            k: _mm(v)
            for k, v in (("length", self.repeat_length_mm), ("width", self.repeat_width_mm))
            if v
        }
        if repeat:
            out["repeat"] = repeat
        if self.match:
            out["match"] = [[_point_to_plain(p) for p in group] for group in self.match]
        if self.grain_tolerance_deg:
            only = set(self.grain_tolerance_deg) == {"all"}
            out["grain_tolerance"] = (
                self.grain_tolerance_deg["all"] if only else dict(self.grain_tolerance_deg)
            )
        if self.outline is not None or self.holes or self.flaws or self.match:
            out["unit"] = "mm"
        if self.outline is not None:
            out["outline"] = [list(p) for p in self.outline]
        if self.holes:
            out["holes"] = [[list(p) for p in ring] for ring in self.holes]
        if self.flaws:
            out["flaws"] = [[list(p) for p in ring] for ring in self.flaws]
        if self.tolerates_flaws:
            out["tolerates_flaws"] = list(self.tolerates_flaws)
        if self.price is not None:
            out["price"] = f"{self.price:.10g} {self.currency}/m".replace(" /", "/")
        if self.colour:
            out["colour"] = self.colour
        if self.note:
            out["note"] = self.note
        return out

    def contradictions(self) -> list[str]:
        """What its keys say twice and not alike, each in a sentence with which one counts."""
        if self.outline is None:
            return []
        size = np.ptp(np.array(self.outline), axis=0)
        said = []
        for key, told, drawn in (
            ("length", self.length_mm, float(size[0])),
            ("width", self.width_mm or None, float(size[1])),
        ):
            if told is not None and abs(told - drawn) > 10.0:
                said.append(
                    f"The cloth's 'outline' counts, {length_text(drawn)} "
                    f"{'long' if key == 'length' else 'wide'} as drawn; its '{key}' of "
                    f"{length_text(told)} is not used. Take one of them out."
                )
        return said

    # -- what follows from it ---------------------------------------------------------------------

    @property
    def layers(self) -> int:
        """How many layers lie on each other: 2 when folded."""
        return 1 if self.fold == "none" else 2

    @property
    def folded(self) -> bool:
        """Whether it lies in two layers."""
        return self.layers == 2

    @property
    def top_shows_wrong_side(self) -> bool:
        """Whether the layer on top lies face down: folded cloth lies right sides together.

        (Common practice, no source: the face keeps clean, and chalk goes on the wrong side.) A
        single layer lies face up. So a piece that is cut from the top layer alone is turned over
        on folded cloth, and only there.
        """
        return self.folded

    @property
    def y_range_mm(self) -> tuple[float, float]:
        """Lowest and highest y that a cutting line may reach, selvedges left out."""
        if self.outline is not None:
            ys = [p[1] for p in self.outline]
            return min(ys), max(ys)
        if self.fold == "lengthwise":
            return 0.0, self.width_mm / 2.0 - self.selvedge_mm
        return self.selvedge_mm, self.width_mm - self.selvedge_mm

    @property
    def x_range_mm(self) -> tuple[float, float]:
        """Lowest and highest x of the cloth as it lies; the highest is infinite off the bolt."""
        if self.outline is not None:
            xs = [p[0] for p in self.outline]
            return min(xs), max(xs)
        if self.length_mm is None:
            return 0.0, math.inf
        return 0.0, self.length_mm / (2.0 if self.fold == "crosswise" else 1.0)

    @property
    def lie_outline_mm(self) -> NDArray[np.float64] | None:
        """(N, 2) outline of the cloth as it lies, selvedges included; None off the bolt."""
        if self.outline is not None:
            return np.array(self.outline, dtype=np.float64)
        if self.length_mm is None:
            return None
        x = self.x_range_mm[1]
        y = self.width_mm / 2.0 if self.fold == "lengthwise" else self.width_mm
        return np.array([[0.0, 0.0], [x, 0.0], [x, y], [0.0, y]])

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
    from shapely.geometry import MultiPolygon, Polygon

    whole = Polygon(outline, holes).buffer(0)
    left = whole.buffer(-rim_mm, join_style="mitre", mitre_limit=2.0).simplify(0.05)
    parts = list(left.geoms) if isinstance(left, MultiPolygon) else [left]
    parts = sorted((p for p in parts if not p.is_empty), key=lambda p: -p.area)
    if not parts or parts[0].geom_type != "Polygon" or parts[0].area < 1.0:
        raise ValueError("nothing is left of the cloth")

    def plain(ring: Any) -> list[list[float]]:
        points = [[round(float(x), 1) + 0.0, round(float(y), 1) + 0.0] for x, y in ring.coords]
        return points[:-1]

    best = parts[0]
    return (
        plain(best.exterior),
        [plain(r) for r in best.interiors],
        float(sum(p.area for p in parts[1:])),
    )


def _mm(value: float) -> str:
    return f"{value:.10g} mm"


def _point_to_plain(point: MatchPoint) -> Any:
    if point.at is None:
        return f"{point.piece}.{point.edge}"
    return {"piece": point.piece, "at": list(point.at)}


_PRICE = re.compile(
    r"^\s*(?P<amount>\d+(?:[.,]\d+)?)\s*(?P<currency>[^\d\s/]*)\s*"
    r"(?:(?:/|per)\s*(?P<per>m|metre|meter|yd|yard)s?)?\s*$"
)


class _Reader:
    """Reads the cloth's mapping to its end, collecting every fault on the way."""

    def __init__(self, data: Mapping[str, Any], where: str) -> None:
        self.where = where
        self.faults: list[Fault] = []
        if not isinstance(data, Mapping):
            raise InputError(
                Fault(where, "should hold 'key: value' pairs.", "Example: {width: 1400 mm}")
            )
        self.data = {_SPELT.get(str(k), str(k)): v for k, v in data.items()}
        unit = self.data.get("unit", "mm")
        self.unit = unit if isinstance(unit, str) else "mm"
        try:
            parse_length(1, self.unit)
        except (InputError, KeyError):
            self.fault("unit", f"{unit!r} is not a unit.", "Use mm, cm, m, in or yd.")
            self.unit = "mm"

    def cloth(self) -> Cloth:
        data = self.data
        self.faults += unknown_keys(data, _KEYS, self.where)
        outline = self.ring("outline", data["outline"]) if data.get("outline") is not None else None
        width = self.length("width", 1.0, _MAX_WIDTH_MM) if data.get("width") is not None else 0.0
        length = self.length("length", 1.0, _MAX_LENGTH_MM) if "length" in data else None
        if "width" not in data and data.get("outline") is None:
            self.fault("width", "is missing.", "Measure across, selvedge to selvedge: 1400 mm.")
        fold = self.word("fold", FOLDS)
        nap = self.word("nap", NAPS)
        selvedge = self.length("selvedge", 0.0, 200.0) if "selvedge" in data else 0.0
        usable = (width or 0.0) - 2.0 * (selvedge or 0.0)
        if width and outline is None and usable <= 0:
            self.fault(
                "selvedge",
                f"two of {length_text(selvedge or 0.0)} leave nothing of {length_text(width)}.",
            )
        if fold == "crosswise" and nap == "one-way":
            self.fault(
                "fold",
                "crosswise does not go with a nap: the upper layer would run the other way.",
                "Fold it lengthwise, lay it single, or cut it in two and turn the upper layer.",
            )
        shrinkage = self.pair("shrinkage", self.fraction)
        repeat = self.pair(
            "repeat", lambda key, value: self.length_of(key, value, 1.0, _MAX_WIDTH_MM)
        )
        price, currency = self.price()
        made = Cloth(
            width_mm=width or 0.0,
            length_mm=length,
            fold=fold,
            nap=nap,
            selvedge_mm=selvedge or 0.0,
            shrinkage_length=shrinkage["length"],
            shrinkage_width=shrinkage["width"],
            outline=outline,
            holes=self.rings("holes"),
            flaws=self.rings("flaws"),
            tolerates_flaws=self.names("tolerates_flaws"),
            repeat_length_mm=repeat["length"],
            repeat_width_mm=repeat["width"],
            match=self.match(),
            grain_tolerance_deg=self.tilts(),
            price=price,
            currency=currency,
            colour=self.text("colour"),
            note=self.text("note"),
        )
        if self.faults:
            raise InputError(self.faults)
        return made

    # -- helpers

    def fault(self, key: str, what: str, remedy: str = "") -> None:
        self.faults.append(Fault(f"{self.where}.{key}", what, remedy))

    def length_of(
        self, key: str, value: Any, low: float, high: float, signed: bool = False
    ) -> float:
        try:
            if isinstance(value, bool) or value is None:
                raise InputError(Fault("", f"{value!r} is not a length.", "Example: 1400 mm"))
            mm = float(parse_length(value, self.unit, signed=signed))
        except InputError as error:
            for f in error.faults:
                self.fault(key, f.what, f.remedy)
            return low
        if not low <= mm <= high:
            self.fault(
                key,
                f"{value} is outside {length_text(low)} to {length_text(high)}.",
                "Check the number and its unit.",
            )
            return low
        return mm

    def length(self, key: str, low: float, high: float) -> float | None:
        value = self.data.get(key)
        if value is None or (key == "length" and value in ("bolt", "off the bolt")):
            return None
        mm = self.length_of(key, value, low, high)
        if key in ("width", "length") and self.unit == "mm" and mm < _LEAST_BARE_MM:
            number = str(value).strip()
            if re.fullmatch(r"[\d.,]+", number) and low < mm:
                meant = "m" if mm < 10.0 else "cm"
                self.fault(
                    key,
                    f"{number} mm: did you mean {number} {meant}? "
                    "A number without a unit is read in mm.",
                    f"Write it with its unit: '{key}: {number} {meant}'.",
                )
        return mm

    def word(self, key: str, known: tuple[str, ...]) -> str:
        value = self.data.get(key)
        with contextlib.suppress(TypeError):  # a list is no word, and is told as such below
            value = _SAME.get(value, value)
        if value not in known:
            self.fault(key, f"{value!r} is not one of {', '.join(known)}.")
            return known[0]
        return str(value)

    def pair(self, key: str, read: Any) -> dict[str, float]:
        value = self.data.get(key)
        out = {"length": 0.0, "width": 0.0}
        if value is None:
            return out
        if not isinstance(value, Mapping):
            self.fault(key, f"should be {{length: …, width: …}}, not {value!r}.")
            return out
        self.faults += unknown_keys(value, tuple(out), f"{self.where}.{key}")
        for direction in out:
            if value.get(direction) is not None and value[direction] != 0:
                out[direction] = read(f"{key}.{direction}", value[direction])
        return out

    def fraction(self, key: str, value: Any) -> float:
        text = str(value).strip()
        try:
            if isinstance(value, bool):
                raise ValueError
            number = float(text.removesuffix("%").replace(",", ".")) / 100.0
        except ValueError:
            self.fault(key, f"{value!r} is not a percentage.", "Example: 3 %")
            return 0.0
        if not 0.0 <= number <= _MAX_SHRINKAGE:
            self.fault(
                key,
                f"{value} is outside 0 to {100 * _MAX_SHRINKAGE:g} %.",
                "Write what the cloth loses in the wash, 3 % for 100 → 97 cm.",
            )
            return 0.0
        return number

    def point(self, key: str, value: Any) -> tuple[float, float]:
        if not isinstance(value, list | tuple | np.ndarray) or len(value) != 2:
            self.fault(key, f"should be [x, y], not {value!r}.")
            return (0.0, 0.0)
        plain = [v.item() if isinstance(v, np.generic) else v for v in value]
        x, y = (self.length_of(key, v, -_MAX_LENGTH_MM, _MAX_LENGTH_MM, signed=True) for v in plain)
        return (x, y)

    def ring(self, key: str, value: Any) -> Ring | None:
        if not isinstance(value, list | tuple | np.ndarray) or len(value) < 3:
            self.fault(key, "should be a list of three or more [x, y].")
            return None
        before = len(self.faults)
        points = [self.point(f"{key}[{i}]", v) for i, v in enumerate(value)]
        if len(self.faults) > before:
            return None
        if points[0] == points[-1]:
            points.pop()
        from shapely.geometry import Polygon
        from shapely.validation import explain_validity

        shape = Polygon(points) if len(points) > 2 else None
        if shape is None or not shape.is_valid or shape.area < 1.0:
            why = explain_validity(shape) if shape is not None and not shape.is_valid else ""
            spot = re.search(r"\[(\S+) (\S+)\]", why)
            if spot and shape is not None and shape.convex_hull.area >= 1.0:
                near = f" near ({float(spot[1]):.0f}, {float(spot[2]):.0f}) mm"
                self.fault(key, f"crosses itself{near}.", "List the corners in order, once round.")
            else:
                self.fault(key, "encloses no area.", "List the corners in order, once round.")
            return None
        return tuple(points)

    def rings(self, key: str) -> tuple[Ring, ...]:
        value = self.data.get(key)
        if value is None:
            return ()
        if not isinstance(value, list | tuple):
            self.fault(key, "should be a list of rings, each a list of [x, y].")
            return ()
        found = [self.ring(f"{key}[{i}]", v) for i, v in enumerate(value)]
        return tuple(r for r in found if r is not None)

    def names(self, key: str) -> tuple[str, ...]:
        value = self.data.get(key)
        if value is None:
            return ()
        if isinstance(value, str):
            value = [value]
        if not isinstance(value, list | tuple) or not all(isinstance(v, str) for v in value):
            self.fault(key, "should be a list of pieces.", "Example: [facing, pocket]")
            return ()
        return tuple(value)

    def text(self, key: str) -> str:
        value = self.data.get(key)
        if value is None:
            return ""
        if not isinstance(value, str | int | float) or isinstance(value, bool):
            self.fault(key, "is not a line of text.")
            return ""
        return str(value)

    def match(self) -> tuple[tuple[MatchPoint, ...], ...]:
        value = self.data.get("match")
        if value is None:
            return ()
        help_text = "Example: [[front.side, back.side]]"
        if not isinstance(value, list | tuple):
            self.fault("match", "should be a list of groups.", help_text)
            return ()
        groups = []
        for i, group in enumerate(value):
            if not isinstance(group, list | tuple) or not group:
                self.fault(f"match[{i}]", "should be a list of places.", help_text)
                continue
            points = []
            for j, item in enumerate(group):
                key = f"match[{i}][{j}]"
                if isinstance(item, str) and "." in item:
                    piece, edge = item.rsplit(".", 1)
                    points.append(MatchPoint(piece.strip(), edge.strip()))
                elif isinstance(item, Mapping) and isinstance(item.get("piece"), str):
                    self.faults += unknown_keys(item, ("piece", "at"), f"{self.where}.{key}")
                    points.append(
                        MatchPoint(item["piece"], at=self.point(f"{key}.at", item.get("at")))
                    )
                else:
                    self.fault(
                        key,
                        f"{item!r} is neither 'piece.edge' nor {{piece: …, at: [x, y]}}.",
                        help_text,
                    )
            groups.append(tuple(points))
        if groups and not self.data.get("repeat"):
            self.fault("match", "there is nothing to match without a repeat.", "Add 'repeat'.")
        return tuple(groups)

    def tilts(self) -> dict[str, float]:
        value = self.data.get("grain_tolerance")
        if value is None:
            return {}
        given = value if isinstance(value, Mapping) else {"all": value}
        out = {}
        for name, angle in given.items():
            key = f"grain_tolerance.{name}" if isinstance(value, Mapping) else "grain_tolerance"
            text = str(angle).strip().removesuffix("°").removesuffix("deg").strip()
            try:
                number = math.nan if isinstance(angle, bool) else float(text)
            except ValueError:
                number = math.nan
            if not 0.0 <= number <= _MAX_TILT_DEG:
                self.fault(key, f"{angle!r} is not an angle from 0 to {_MAX_TILT_DEG:g} degrees.")
                continue
            out[str(name)] = number
        return out

    def price(self) -> tuple[float | None, str]:
        value = self.data.get("price")
        if value is None:
            return None, ""
        found = None if isinstance(value, bool) else _PRICE.match(str(value))
        if not found:
            self.fault("price", f"{value!r} is not a price.", "Example: 12.50 EUR/m or 9 GBP/yd")
            return None, ""
        amount = float(found["amount"].replace(",", "."))
        if found["per"] in ("yd", "yard"):
            amount *= 1000.0 / _YARD_MM
        return amount, found["currency"]
