"""Body measurements: what each is, how it is taken, and a wearer's file of them.

The first thing that enters the program. Names follow ISO 8559-1:2017 where it has the term
and the trade's where it has none; how each is taken is told in our own words, landmark to
landmark. An implausible value is a warning with its reason and never a refusal: bodies differ.

Levels, landmarks and relations: FACTS of the trade as common practice gives them; the ranges
are wide bands around published size tables (from memory), from a child of ten to the largest
sizes sold.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from configs.errors import Fault, InputError, short
from configs.files import dump_yaml, named_file, read_yaml, write_atomic
from configs.reader import POINT_COMMA, Reader, unknown_keys
from configs.units import HOW_TO_WRITE, INCH_UNITS, MM_PER, format_length, parse_length

GIRTH, LENGTH, WIDTH = "girth", "length", "width"
_MOST_APART = 1.5  # of two takes; further apart they are not takes of one measure
SPREAD_MM = {GIRTH: 10.0, LENGTH: 5.0, WIDTH: 5.0}  # two takes further apart are taken again


@dataclass(frozen=True)
class Measure:
    """One body measurement.

    ``key``: its name in files; ``name``: for people; ``kind``: girth, length or width;
    ``low_mm``, ``high_mm``: outside this it is asked about; ``how``: how it is taken;
    ``posture``; ``start`` and ``end``: landmarks (of a girth: its level and ''); ``view``: the
    side of the body that shows the tape (front, back, side); ``standard``: whether the name is
    one of ISO 8559-1.
    """

    key: str
    name: str
    kind: str
    low_mm: float
    high_mm: float
    how: str
    posture: str
    start: str
    end: str
    view: str
    standard: bool

    @property
    def spread_mm(self) -> float:
        """Two takes that differ by more than this are taken again."""
        return SPREAD_MM[self.kind]


_STAND = "Standing upright, arms hanging, breathing normally."
_CHAIN = "A fine chain round the base of the neck shows the side neck points."
_WAIST_TAPE = "A narrow tape tied at the waist shows its level."


def _registry() -> dict[str, Measure]:
    rows = [
        # key, name, kind, low, high, how, posture, start, end, view, in ISO 8559-1
        (
            "bust_girth",
            "bust girth",
            GIRTH,
            600,
            1600,
            "Tape level all round, under the arms and over the fullest part of the bust; over a bra that does not reshape it. On a man: the chest girth, at its fullest.",
            _STAND,
            "bust level",
            "",
            "front",
            True,
        ),
        (
            "waist_girth",
            "waist girth",
            GIRTH,
            450,
            1500,
            f"Tape level all round where the tied tape has settled, belly relaxed. {_WAIST_TAPE}",
            _STAND,
            "waist level",
            "",
            "front",
            True,
        ),
        (
            "hip_girth",
            "hip girth",
            GIRTH,
            600,
            1700,
            "Tape level all round over the fullest part of the seat, seen from the side.",
            "Standing upright, feet together.",
            "hip level",
            "",
            "side",
            True,
        ),
        (
            "hip_girth_at_tailbone",
            "girth at tailbone level",
            GIRTH,
            600,
            1700,
            "Tape level all round at the height of the tailbone's end, where the top's hem will lie; include the belly and the thighs if they stand out there.",
            "Standing upright, feet together.",
            "tailbone level",
            "",
            "side",
            False,
        ),
        (
            "neck_width",
            "neck width",
            WIDTH,
            90,
            200,
            f"Straight across the front from one side neck point to the other, bone to bone; not round the neck. {_CHAIN}",
            _STAND,
            "side neck point",
            "other side neck point",
            "front",
            False,
        ),
        (
            "shoulder_length",
            "shoulder length",
            LENGTH,
            85,
            185,
            f"From the side neck point along the shoulder to the shoulder point, the outer end of the shoulder bone. {_CHAIN}",
            _STAND,
            "side neck point",
            "shoulder point",
            "back",
            True,
        ),
        (
            "back_neck_to_tailbone",
            "back neck point to tailbone",
            LENGTH,
            400,
            850,
            "From the back neck point, the bone that stands out when the head is bent, down the spine to the end of the tailbone.",
            "Standing upright, head level again; a helper measures.",
            "back neck point",
            "tailbone",
            "back",
            False,
        ),
        (
            "back_neck_to_waist",
            "back neck point to waist",
            LENGTH,
            300,
            540,
            f"From the back neck point down the spine to the waist, following the back. {_WAIST_TAPE}",
            "Standing upright; a helper measures.",
            "back neck point",
            "waist level at the spine",
            "back",
            True,
        ),
        (
            "head_girth",
            "head girth",
            GIRTH,
            480,
            650,
            "Tape round the head over the brow and the fullest part of its back, above the ears; hair as it will be worn.",
            "Sitting or standing, looking ahead.",
            "brow level",
            "",
            "side",
            True,
        ),
        (
            "neck_base_girth",
            "neck base girth",
            GIRTH,
            280,
            560,
            "Tape on edge round the base of the neck: back neck point, both side neck points, the hollow in front.",
            _STAND,
            "neck base",
            "",
            "front",
            True,
        ),
        (
            "upper_arm_girth",
            "upper arm girth",
            GIRTH,
            180,
            560,
            "Tape square to the arm at the fullest part of its upper half.",
            "Arm hanging loose.",
            "upper arm level",
            "",
            "front",
            True,
        ),
        (
            "elbow_girth",
            "elbow girth",
            GIRTH,
            180,
            480,
            "Tape round the elbow, arm bent to a right angle.",
            "Fist on the hip.",
            "elbow level",
            "",
            "side",
            True,
        ),
        (
            "wrist_girth",
            "wrist girth",
            GIRTH,
            120,
            260,
            "Tape round the wrist over its bone.",
            "Arm hanging loose.",
            "wrist level",
            "",
            "front",
            True,
        ),
        (
            "hand_girth",
            "hand girth",
            GIRTH,
            150,
            300,
            "Tape round the hand at its widest, over the knuckles and the thumb, laid in as when it slips through a sleeve.",
            "Hand stretched out, thumb laid against the palm.",
            "widest of the hand",
            "",
            "front",
            False,
        ),
        (
            "under_bust_girth",
            "under-bust girth",
            GIRTH,
            550,
            1500,
            "Tape level all round directly under the breasts.",
            _STAND,
            "under-bust level",
            "",
            "front",
            True,
        ),
        (
            "upper_chest_girth",
            "upper chest girth",
            GIRTH,
            600,
            1500,
            "Tape under the arms and above the breasts, as high as it will lie.",
            _STAND,
            "upper chest level",
            "",
            "front",
            False,
        ),
        (
            "back_width",
            "back width",
            WIDTH,
            240,
            520,
            "Across the shoulder blades from one arm crease to the other, midway between shoulder point and armpit.",
            "Arms hanging; a helper measures.",
            "arm crease at the back",
            "other arm crease",
            "back",
            True,
        ),
        (
            "scye_depth",
            "scye depth",
            LENGTH,
            140,
            330,
            "From the back neck point down the spine to the level of the armpits (a ruler held under them shows it).",
            "Standing upright; a helper measures.",
            "back neck point",
            "armpit level",
            "back",
            True,
        ),
        (
            "side_neck_to_bust_point",
            "side neck point to bust point",
            LENGTH,
            180,
            450,
            f"From the side neck point down to the point of the breast. {_CHAIN}",
            _STAND,
            "side neck point",
            "bust point",
            "front",
            True,
        ),
        (
            "front_waist_length",
            "front waist length",
            LENGTH,
            300,
            650,
            f"From the side neck point over the bust point, and from there straight down to the waist. {_CHAIN}",
            "Standing upright; a tape tied round the waist shows its level.",
            "side neck point",
            "waist level",
            "front",
            True,
        ),
        (
            "bust_point_width",
            "bust point width",
            WIDTH,
            130,
            320,
            "Straight across from one bust point to the other.",
            _STAND,
            "bust point",
            "other bust point",
            "front",
            True,
        ),
        (
            "shoulder_to_elbow",
            "upper arm length",
            LENGTH,
            220,
            460,
            "From the shoulder point to the point of the bent elbow.",
            "Fist on the hip, elbow at a right angle.",
            "shoulder point",
            "elbow",
            "side",
            True,
        ),
        (
            "arm_length",
            "arm length",
            LENGTH,
            420,
            760,
            "From the shoulder point over the bent elbow to the wrist bone.",
            "Fist on the hip, elbow at a right angle.",
            "shoulder point",
            "wrist bone",
            "side",
            True,
        ),
        (
            "waist_to_hip",
            "waist to hip",
            LENGTH,
            130,
            300,
            "At the side, from the waist over the body down to hip level.",
            _STAND,
            "waist level at the side",
            "hip level at the side",
            "side",
            True,
        ),
        (
            "stature",
            "stature",
            LENGTH,
            1200,
            2150,
            "From the floor to the crown of the head, without shoes.",
            "Standing against a wall, heels together.",
            "crown of the head",
            "floor",
            "front",
            True,
        ),
    ]
    return {r[0]: Measure(*r) for r in rows}


REGISTRY: Mapping[str, Measure] = MappingProxyType(_registry())


@dataclass(frozen=True)
class Relation:
    """Two measurements that go together: ``value`` of both lies in ``low`` … ``high``."""

    keys: tuple[str, str]
    low: float
    high: float
    value: Callable[[float, float], float]
    text: Callable[[float, str], str]


def _share(a: str, b: str, low: float, high: float) -> Relation:
    names = REGISTRY[a].name, REGISTRY[b].name
    return Relation(
        (a, b),
        low,
        high,
        lambda x, y: x / y,
        lambda v, _: (
            f"the {names[0]} is {_beside(100 * v, 100 * low, 100 * high)} % of the {names[1]} "
            f"(usual: {100 * low:.0f} to {100 * high:.0f} %)"
        ),
    )


def _beside(value: float, low: float, high: float) -> str:
    """A value outside its limits in as many places as tell it from them: 9.6 beside 10, not 10."""
    texts = (f"{value:.{places}f}" for places in (0, 1, 2, 3))
    return next((t for t in texts if not low <= float(t) <= high), f"{value:g}")


def _difference(a: str, b: str, low: float, high: float) -> Relation:
    names = REGISTRY[a].name, REGISTRY[b].name
    return Relation(
        (a, b),
        low,
        high,
        lambda x, y: x - y,
        lambda v, u: (
            f"the {names[0]} is {_length_beside(v, low, high, u)} {'more' if v > 0 else 'less'} "
            f"than the {names[1]} (usual: {_between(low, high, u)})"
        ),
    )


def _length_beside(mm: float, low: float, high: float, unit: str) -> str:
    """A difference outside its limits, finer where it would read like one of them."""
    text = format_length(abs(mm), unit)
    if text not in (format_length(abs(low), unit), format_length(abs(high), unit)):
        return text
    return format_length(abs(mm), unit, 128) if unit in INCH_UNITS else f"{abs(mm):.1f} mm"


def _between(low: float, high: float, unit: str) -> str:
    def side(v: float) -> str:
        return "equal" if v == 0 else f"{format_length(abs(v), unit)} {'more' if v > 0 else 'less'}"

    return f"{side(low)} to {side(high)}"


# Bands of adult women's size tables, from memory; each told as 'unusual', never as wrong.
RELATIONS: tuple[Relation, ...] = (
    _difference("hip_girth", "bust_girth", 0.0, 160.0),
    _difference("hip_girth_at_tailbone", "bust_girth", -60.0, 200.0),
    _difference("waist_girth", "bust_girth", -300.0, 0.0),
    _difference("hip_girth", "hip_girth_at_tailbone", -60.0, 150.0),
    _share("neck_base_girth", "bust_girth", 0.37, 0.44),
    _share("back_width", "bust_girth", 0.36, 0.41),
    _share("upper_arm_girth", "bust_girth", 0.30, 0.35),
    _share("wrist_girth", "upper_arm_girth", 0.50, 0.62),
    _share("scye_depth", "back_neck_to_waist", 0.49, 0.56),
    _difference("back_neck_to_tailbone", "back_neck_to_waist", 120.0, 300.0),
    _share("neck_width", "bust_girth", 0.10, 0.20),
    _share("shoulder_length", "bust_girth", 0.10, 0.18),
    _share("back_neck_to_waist", "stature", 0.21, 0.28),
)

# Who is full in the bust, over EN 13402-3's letter code L (107 cm, from memory): its table has the hip
# 4 cm over the bust of 128 and the waist 16 under it; the margins round it are from memory.
FULL_BUST_MM = 1070.0
_FULL: tuple[Relation, ...] = (
    _difference("hip_girth", "bust_girth", -120.0, 200.0),
    _difference("hip_girth_at_tailbone", "bust_girth", -140.0, 220.0),
    _difference("waist_girth", "bust_girth", -270.0, 50.0),
    _share("neck_base_girth", "bust_girth", 0.31, 0.43),
    _share("back_width", "bust_girth", 0.31, 0.41),
    _share("upper_arm_girth", "bust_girth", 0.27, 0.38),
    _share("neck_width", "bust_girth", 0.09, 0.19),
    _share("shoulder_length", "bust_girth", 0.08, 0.16),
)
# Men: EN 13402-3's drop from chest to waist, 4 to 16 cm, and -8 for stout figures; the rest from memory.
_MAN: tuple[Relation, ...] = (
    _difference("hip_girth", "bust_girth", -160.0, 120.0),
    _difference("hip_girth_at_tailbone", "bust_girth", -170.0, 120.0),
    _difference("waist_girth", "bust_girth", -240.0, 100.0),
    _share("neck_base_girth", "bust_girth", 0.35, 0.47),
    _share("back_width", "bust_girth", 0.36, 0.45),
    _share("upper_arm_girth", "bust_girth", 0.27, 0.38),
    _share("wrist_girth", "upper_arm_girth", 0.48, 0.64),
    _share("shoulder_length", "bust_girth", 0.11, 0.19),
)
# Children of 3 to 12: body heights 98 to 152 cm with chest 55 to 76 and hip 58 to 82, as European
# tables by height have them (from memory); they are fuller at the waist and longer in the neck.
_CHILD: tuple[Relation, ...] = (
    _difference("hip_girth", "bust_girth", -40.0, 120.0),
    _difference("hip_girth_at_tailbone", "bust_girth", -60.0, 130.0),
    _difference("waist_girth", "bust_girth", -140.0, 40.0),
    _share("neck_base_girth", "bust_girth", 0.38, 0.52),
    _share("back_width", "bust_girth", 0.36, 0.46),
    _share("upper_arm_girth", "bust_girth", 0.25, 0.35),
    _share("neck_width", "bust_girth", 0.12, 0.22),
    _share("shoulder_length", "bust_girth", 0.11, 0.18),
)
# Where a body's own range is another than the registry's, which spans all: low and high in mm.
_RANGES: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "man": {
        "bust_girth": (760, 1600), "waist_girth": (620, 1600), "hip_girth": (760, 1600),
        "hip_girth_at_tailbone": (760, 1600), "shoulder_length": (110, 200),
        "back_neck_to_tailbone": (500, 850), "neck_base_girth": (340, 560),
        "back_width": (300, 560), "wrist_girth": (140, 260),
    },
    "child": {
        "bust_girth": (480, 900), "waist_girth": (440, 820), "hip_girth": (480, 960),
        "hip_girth_at_tailbone": (480, 960), "neck_width": (75, 145),
        "shoulder_length": (65, 135), "back_neck_to_tailbone": (270, 620),
        "back_neck_to_waist": (200, 420), "neck_base_girth": (230, 380),
        "upper_arm_girth": (140, 300), "wrist_girth": (95, 170), "back_width": (190, 380),
        "scye_depth": (105, 220), "arm_length": (300, 640), "shoulder_to_elbow": (160, 380),
        "waist_to_hip": (90, 220), "stature": (850, 1700),
    },
}  # fmt: skip
BODIES = ("woman", "man", "child")  # whose usual values a file is held against


def _usual(key: str, body: str) -> tuple[float, float]:
    m = REGISTRY[key]
    return _RANGES.get(body, {}).get(key, (m.low_mm, m.high_mm))


def is_usual(key: str, mm: float, body: str = "woman") -> bool:
    """Whether a value lies within the usual range of that body."""
    low, high = _usual(key, body)
    return low <= mm <= high


def _relations(values: Mapping[str, float], body: str) -> tuple[Relation, ...]:
    """Those of her figure; what a body has no relation of its own for is as for women."""
    own = {"man": _MAN, "child": _CHILD}.get(body)
    if own is None:
        own = _FULL if values.get("bust_girth", 0.0) > FULL_BUST_MM else ()
    named = {r.keys for r in own}
    return (*own, *(r for r in RELATIONS if r.keys not in named))


_TOP_KEYS = (
    "chalkbeam",
    "unit",
    "wearer",
    "figure",
    "taken",
    "note",
    "since",
    "confirmed",
    "measurements",
)


@dataclass(frozen=True, eq=False)
class Measurements:
    """One wearer's measurements on one day, all in mm.

    ``values``: key → mm; ``raw``: key → as written; ``unit``: the file's unit, in which texts
    are shown; ``warnings``: what looks unusual, in plain words, but for what she has ``confirmed``
    (key → the value that she kept when she was asked); ``since``: the earlier
    measurements that this file continues, or None; ``path``: the file, or ''; ``body``: one of
    `BODIES`, whose usual values these are held against.
    """

    values: Mapping[str, float]
    wearer: str = ""
    taken: str = ""
    unit: str = "cm"
    note: str = ""
    raw: Mapping[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    since: Measurements | None = None
    path: str = ""
    body: str = "woman"

    @classmethod
    def load(cls, path: str | Path) -> Measurements:
        """Read a measurements file, and the earlier one that its ``since`` names.

        Raises:
            InputError: all that is wrong with the file, at once.
        """
        return cls._load(Path(path), ())

    @classmethod
    def _load(cls, path: Path, seen: tuple[Path, ...]) -> Measurements:
        data = read_yaml(path)
        here = path.resolve()
        if here in seen:
            raise InputError(Fault(str(path), "continues itself: 'since' runs in a circle."))
        return cls._read(Reader(data, file=str(path)), path.parent, (*seen, here))

    @classmethod
    def from_dict(
        cls, data: Mapping[str, Any], where: str = "measurements", folder: str | Path | None = None
    ) -> Measurements:
        """From a mapping like a file's: ``{"unit": "cm", "measurements": {"bust_girth": 92, …}}``.

        The measurements may also stand at the top level, beside ``unit`` and ``wearer``.
        ``folder``: where ``since`` is looked for.

        Raises:
            InputError: all that is wrong with it, at once.
        """
        return cls._read(Reader(data, key=where), Path(folder) if folder else None, ())

    @classmethod
    def _read(cls, top: Reader, folder: Path | None, seen: tuple[Path, ...]) -> Measurements:
        top.done()  # no mapping at all
        body = top
        if "measurements" in top.data:
            top.only(_TOP_KEYS)
            body = top.sub("measurements")
        unit: str | None = None
        if top.has("unit"):  # after a fault the numbers are still read, to tell all faults at once
            unit = top.read_unit()
        numbers = {k: v for k, v in body.data.items() if body is not top or k not in _TOP_KEYS}
        if not numbers and not top.get("since"):
            body.note("", "holds no 'name: value' lines.")
        top.faults += unknown_keys(numbers, REGISTRY, body.place())
        since = None
        if top.has("since"):
            since = top.tried(lambda: _earlier(cls, top, folder, seen), None)
        values: dict[str, float] = dict(since.values) if since else {}
        warnings: list[str] = []
        bare: list[Fault] = []
        for key, written in numbers.items():
            if key not in REGISTRY:
                continue
            try:
                values[key], spread = _value(written, unit, body.place(key))
            except InputError as error:
                without = [f for f in error.faults if f.what.endswith(" has no unit.")]
                bare += without[:1]
                top.faults += [f for f in error.faults if f not in without]
                continue
            measure = REGISTRY[key]
            if spread > measure.spread_mm + 1e-9:
                shown = unit or "cm"
                warnings.append(
                    f"{measure.name}: the two takes differ by {format_length(spread, shown)}; "
                    f"more than {format_length(measure.spread_mm, shown)} means taking it again. "
                    "The middle is used."
                )
        if len(bare) > 1:  # one line is missing, not as many as there are numbers
            top.note(
                "unit",
                f"is missing: {len(bare)} of the numbers have no unit.",
                "Write the line 'unit: cm' (or in, or mm) above 'measurements:'.",
            )
        else:
            top.faults += bare
        confirmed: dict[str, Any] = {}
        if top.has("confirmed"):
            row = top.sub("confirmed")
            top.faults += unknown_keys(row.data, REGISTRY, row.place())
            confirmed = dict(row.data)
        quiet = {k for k, v in confirmed.items() if k in numbers and str(numbers[k]) == str(v)}
        kind = top.word("figure", BODIES, since.body if since else "woman")
        taken = _date(top, "taken")
        wearer = top.text("wearer", since.wearer if since else "")
        note = top.text("note", lines=True)
        top.done()
        shown = unit or (since.unit if since else "cm")
        doubt = _unit_doubt(values, shown)
        return cls(
            values=MappingProxyType(values),
            wearer=wearer,
            taken=taken,
            unit=shown,
            note=note,
            raw=MappingProxyType(numbers),
            warnings=(*warnings, *([doubt] if doubt else plausibility(values, shown, quiet, kind))),
            since=since,
            path=top.place() if folder is not None else "",
            body=kind,
        )

    @property
    def unit_doubt(self) -> str:
        """A sentence when most numbers would be a body's in another unit; '' when they are now."""
        return _unit_doubt(self.values, self.unit)

    def get(self, key: str, default: float | None = None) -> float | None:
        """The measurement in mm, or ``default`` when it was not taken."""
        return self.values.get(key, default)

    def __getitem__(self, key: str) -> float:
        """The measurement in mm.

        Raises:
            InputError: it was not taken.
        """
        if key not in self.values:
            raise InputError(missing([key], self.path or self.wearer or "measurements"))
        return self.values[key]

    def __contains__(self, key: object) -> bool:
        return key in self.values

    def text(self, key: str) -> str:
        """The measurement in the file's unit, for a person."""
        return format_length(self[key], self.unit)

    def changes(self) -> dict[str, tuple[float | None, float]]:
        """What differs from ``since``: key → (then, now) in mm; empty without an earlier file."""
        if self.since is None:
            return {}
        then = self.since.values
        return {
            k: (then.get(k), v)
            for k, v in self.values.items()
            if k not in then or abs(then[k] - v) > 1e-9
        }

    def to_dict(self) -> dict[str, Any]:
        """The mapping of a file that reads back as these measurements, without ``since``."""
        unit = "in" if self.unit == "in" else self.unit
        body = {k: self.raw.get(k, format_length(v, unit, 64)) for k, v in self.values.items()}
        data: dict[str, Any] = {"chalkbeam": 1, "unit": unit}
        if self.wearer:
            data["wearer"] = self.wearer
        if self.taken:
            data["taken"] = self.taken
        if self.body != "woman":
            data["figure"] = self.body
        if self.note:
            data["note"] = self.note
        return {**data, "measurements": body}

    def save(self, path: str | Path) -> None:
        """Write a file, whole or not at all.

        Raises:
            InputError: the folder is missing or cannot be written to.
        """
        write_atomic(path, dump_yaml(self.to_dict()))


def missing(keys: Iterable[str], where: str) -> list[Fault]:
    """One fault for each measurement that is needed and was not taken, with how to take it."""
    return [
        Fault(
            where,
            f"the measurement '{key}' ({REGISTRY[key].name}) is missing.",
            REGISTRY[key].how,
        )
        for key in keys
    ]


def plausibility(
    values: Mapping[str, float],
    unit: str = "cm",
    quiet: frozenset[str] | set[str] = frozenset(),
    body: str = "woman",
) -> list[str]:
    """What looks unusual about measurements in mm, each in one sentence; nothing is refused.

    ``quiet``: measures that she was asked about and kept; ``body``: one of `BODIES`. A value outside
    its own range is told alone: what it makes of its neighbours follows from it.
    """
    out = []
    odd = {k for k, mm in values.items() if not is_usual(k, mm, body)}
    for key, mm in values.items():
        if key not in quiet and key in odd:
            low, high = _usual(key, body)
            out.append(
                f"{REGISTRY[key].name} is {format_length(mm, unit)}; "
                f"{format_length(low, unit)} to {format_length(high, unit)} is usual. "
                "Is the unit right? Please measure again."
            )
    for relation in _relations(values, body):
        a, b = (values.get(k) for k in relation.keys)
        silent = (quiet | odd) & set(relation.keys)
        if a is None or b is None or silent:
            continue
        value = relation.value(a, b)
        if not relation.low <= value <= relation.high:
            out.append(f"Unusual: {relation.text(value, unit)}. Bodies differ; is it measured so?")
    return out


def _unit_doubt(values: Mapping[str, float], unit: str) -> str:
    """Whether most measurements (mm) lie outside what is usual and would lie inside in another unit."""

    def usual(factor: float) -> int:
        return sum(
            REGISTRY[k].low_mm <= v * factor <= REGISTRY[k].high_mm for k, v in values.items()
        )

    now = usual(1.0)
    if not values or now > 0.5 * len(values):
        return ""
    per = float(MM_PER[unit])
    found = {u: usual(float(MM_PER[u]) / per) for u in ("mm", "cm", "in") if u != unit}
    best = max(found, key=lambda u: found[u])
    if found[best] <= max(now, 0.5 * len(values)):
        return ""
    key = next((k for k in ("waist_girth", "bust_girth") if k in values), next(iter(values)))
    number = f"{values[key] / per:.4g}"
    return (
        f"the numbers look like {best}, not {unit}: a {REGISTRY[key].name} of {number} {unit} is no "
        f"body's. Is the unit right? 'unit: {best}' in place of 'unit: {unit}' would make it "
        f"{number} {best}."
    )


def _value(written: Any, unit: str | None, where: str) -> tuple[float, float]:
    """mm, and by how much two takes differ.

    Raises:
        InputError: not a length, or more than two takes, or nothing.
    """
    takes = written if isinstance(written, list) else [written]
    if len(takes) not in (1, 2):
        raise InputError(
            Fault(
                where,
                f"holds {len(takes)} values.",
                f"Write one, or two takes as [a, b]. {POINT_COMMA}",
                written,
            )
        )
    faults: list[Fault] = []
    lengths = []
    for take in takes:
        try:
            lengths.append(parse_length(take, unit, where))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    if min(lengths) <= 0:
        raise InputError(Fault(where, "is 0.", f"Leave it out if it was not taken. {HOW_TO_WRITE}"))
    if max(lengths) > 5000:
        raise InputError(
            Fault(where, f"{short(takes[0])} is more than 5 m.", "Check the number and its unit.")
        )
    if max(lengths) > _MOST_APART * min(lengths):  # [92,5 cm] are the takes 92 and 5 cm to YAML
        raise InputError(
            Fault(where, f"{short(written)} are no two takes of one measure.", POINT_COMMA, written)
        )
    return sum(lengths) / len(lengths), max(lengths) - min(lengths)


def _date(top: Reader, key: str) -> str:
    value = top.get(key)
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()[:10]
    try:
        return date.fromisoformat(str(value)).isoformat()
    except ValueError:
        top.note(key, f"{short(value)} is not a date.", "Write it like 2026-11-02.", value)
        return ""


def _earlier(
    cls: type[Measurements], top: Reader, folder: Path | None, seen: tuple[Path, ...]
) -> Measurements:
    since = top.get("since")
    if isinstance(since, Mapping):
        return cls._read(Reader(since, key=top.place("since")), folder, seen)
    if not isinstance(since, str) or folder is None:
        raise InputError(
            Fault(
                top.place("since"),
                f"{short(since)} is not the name of an earlier measurements file.",
            )
        )
    made = "leave 'since' out"
    return cls._load(named_file(folder, since, "since", top.place(), made), seen)
