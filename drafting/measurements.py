"""Body measurements: what each is, how it is taken, and a wearer's file of them.

The first thing that enters the program. Names follow ISO 8559-1:2017 where it has the term
and the trade's where it has none; how each is taken is told in our own words, landmark to
landmark. An implausible value is a warning with its reason and never a refusal: bodies differ.

Levels, landmarks and relations: FACTS of the trade as common practice gives them; the ranges
are wide bands around published size tables (from memory), from a child of ten to the largest
sizes sold.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
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

    ``key``: its name in files; ``low_mm``, ``high_mm``: outside this it is asked about; ``how``: how it
    is taken; ``posture``; ``called``: its name for people, where that is not the key's words.
    """

    key: str
    low_mm: float
    high_mm: float
    how: str
    posture: str = "Standing upright, arms hanging, breathing normally."
    called: str = ""

    @property
    def name(self) -> str:
        """What it is called, for people."""
        return self.called or self.key.replace("_", " ")

    @property
    def kind(self) -> str:
        """Girth, width or length, as the key says."""
        return next((k for k in (GIRTH, WIDTH) if k in self.key.split("_")), LENGTH)

    @property
    def spread_mm(self) -> float:
        """Two takes that differ by more than this are taken again."""
        return SPREAD_MM[self.kind]


_CHAIN = "A fine chain round the base of the neck shows the side neck points."
_WAIST_TAPE = "A narrow tape tied at the waist shows its level."
_FEET, _HELPED = "Standing upright, feet together.", "Standing upright; a helper measures."
_LOOSE, _FIST = "Arm hanging loose.", "Fist on the hip, elbow at a right angle."
REGISTRY: Mapping[str, Measure] = MappingProxyType({
    m.key: m for m in (
        Measure("bust_girth", 600, 1600, "Tape level all round, under the arms and over the fullest part of the bust; over a bra that does not reshape it. On a man: the chest girth, at its fullest."),
        Measure("waist_girth", 450, 1500, f"Tape level all round where the tied tape has settled, belly relaxed. {_WAIST_TAPE}"),
        Measure("hip_girth", 600, 1700, "Tape level all round over the fullest part of the seat, seen from the side.", _FEET),
        Measure("hip_girth_at_tailbone", 600, 1700, "Tape level all round at the height of the tailbone's end, where the top's hem will lie; include the belly and the thighs if they stand out there.", _FEET, called="girth at tailbone level"),
        Measure("neck_width", 90, 200, f"Straight across the front from one side neck point to the other, bone to bone; not round the neck. {_CHAIN}"),
        Measure("shoulder_length", 85, 185, f"From the side neck point along the shoulder to the shoulder point, the outer end of the shoulder bone. {_CHAIN}"),
        Measure("back_neck_to_tailbone", 400, 850, "From the back neck point, the bone that stands out when the head is bent, down the spine to the end of the tailbone.", "Standing upright, head level again; a helper measures.", called="back neck point to tailbone"),
        Measure("back_neck_to_waist", 300, 540, f"From the back neck point down the spine to the waist, following the back. {_WAIST_TAPE}", _HELPED, called="back neck point to waist"),
        Measure("head_girth", 480, 650, "Tape round the head over the brow and the fullest part of its back, above the ears; hair as it will be worn.", "Sitting or standing, looking ahead."),
        Measure("neck_base_girth", 280, 560, "Tape on edge round the base of the neck: back neck point, both side neck points, the hollow in front."),
        Measure("upper_arm_girth", 180, 560, "Tape square to the arm at the fullest part of its upper half.", _LOOSE),
        Measure("elbow_girth", 180, 480, "Tape round the elbow, arm bent to a right angle.", "Fist on the hip."),
        Measure("wrist_girth", 120, 260, "Tape round the wrist over its bone.", _LOOSE),
        Measure("hand_girth", 150, 300, "Tape round the hand at its widest, over the knuckles and the thumb, laid in as when it slips through a sleeve.", "Hand stretched out, thumb laid against the palm."),
        Measure("under_bust_girth", 550, 1500, "Tape level all round directly under the breasts.", called="under-bust girth"),
        Measure("upper_chest_girth", 600, 1500, "Tape under the arms and above the breasts, as high as it will lie."),
        Measure("back_width", 240, 520, "Across the shoulder blades from one arm crease to the other, midway between shoulder point and armpit.", "Arms hanging; a helper measures."),
        Measure("scye_depth", 140, 330, "From the back neck point down the spine to the level of the armpits (a ruler held under them shows it).", _HELPED),
        Measure("side_neck_to_bust_point", 180, 450, f"From the side neck point down to the point of the breast. {_CHAIN}", called="side neck point to bust point"),
        Measure("front_waist_length", 300, 650, f"From the side neck point over the bust point, and from there straight down to the waist. {_CHAIN}", "Standing upright; a tape tied round the waist shows its level."),
        Measure("bust_point_width", 130, 320, "Straight across from one bust point to the other."),
        Measure("shoulder_to_elbow", 220, 460, "From the shoulder point to the point of the bent elbow.", _FIST, called="upper arm length"),
        Measure("arm_length", 420, 760, "From the shoulder point over the bent elbow to the wrist bone.", _FIST),
        Measure("waist_to_hip", 130, 300, "At the side, from the waist over the body down to hip level."),
        Measure("stature", 1200, 2150, "From the floor to the crown of the head, without shoes.", "Standing against a wall, heels together."),
    )
})  # fmt: skip


@dataclass(frozen=True)
class Relation:
    """Two measurements that go together, ``a`` and ``b``: by which the first is more, in mm, or what
    ``share`` of the second it is, and what of that is usual: whose → lowest and highest."""

    a: str
    b: str
    share: bool
    usual: Mapping[str, tuple[float, float]]

    def doubt(self, values: Mapping[str, float], who: str, unit: str) -> str:
        """What is unusual about them in a person's measurements (mm), '' where nothing is."""
        x, y = values[self.a], values[self.b]
        low, high = self.usual.get(who, self.usual["woman"])
        value = x / y if self.share else x - y
        if low <= value <= high:
            return ""
        one, other = REGISTRY[self.a].name, REGISTRY[self.b].name
        if self.share:
            low, high = 100 * low, 100 * high
            how = f"{_beside(100 * value, low, high)} % of"
            usual = f"{low:.0f} to {high:.0f} %"
        else:
            more = "more" if value > 0 else "less"
            how = f"{_length_beside(value, low, high, unit)} {more} than"
            usual = f"{_side(low, unit)} to {_side(high, unit)}"
        return f"the {one} is {how} the {other} (usual: {usual})"


def _beside(value: float, low: float, high: float) -> str:
    """A value outside its limits in as many places as tell it from them: 9.6 beside 10, not 10."""
    texts = (f"{value:.{places}f}" for places in (0, 1, 2, 3))
    return next((t for t in texts if not low <= float(t) <= high), f"{value:g}")


def _length_beside(mm: float, low: float, high: float, unit: str) -> str:
    """A difference outside its limits, finer where it would read like one of them."""
    text = format_length(abs(mm), unit)
    if text not in (format_length(abs(low), unit), format_length(abs(high), unit)):
        return text
    return format_length(abs(mm), unit, 128) if unit in INCH_UNITS else f"{abs(mm):.1f} mm"


def _side(mm: float, unit: str) -> str:
    return "equal" if mm == 0 else f"{format_length(abs(mm), unit)} {'more' if mm > 0 else 'less'}"


# Whose usual values a file is held against; a woman over this bust is held against those of full figures.
BODIES = ("woman", "man", "child")
FULL_BUST_MM = 1070.0
# Each told as 'unusual', never as wrong; None: as a woman's.
# woman: bands of adult women's size tables, from memory.
# full: over EN 13402-3's letter code L (107 cm, from memory): its table has the hip 4 cm over the bust of
# 128 and the waist 16 under it; the margins round it are from memory.
# man: EN 13402-3's drop from chest to waist, 4 to 16 cm, and -8 for stout figures; the rest from memory.
# child, of 3 to 12: body heights 98 to 152 cm with chest 55 to 76 and hip 58 to 82, as European tables by
# height have them (from memory); they are fuller at the waist and longer in the neck.
_WHOSE, _SHARE, _MORE = ("woman", "full", "man", "child"), True, False
_BANDS: tuple[tuple[str, str, bool, *tuple[tuple[float, float] | None, ...]], ...] = (
    ("hip_girth", "bust_girth", _MORE, (0, 160), (-120, 200), (-160, 120), (-40, 120)),
    ("hip_girth_at_tailbone", "bust_girth", _MORE, (-60, 200), (-140, 220), (-170, 120), (-60, 130)),
    ("waist_girth", "bust_girth", _MORE, (-300, 0), (-270, 50), (-240, 100), (-140, 40)),
    ("hip_girth", "hip_girth_at_tailbone", _MORE, (-60, 150), None, None, None),
    ("neck_base_girth", "bust_girth", _SHARE, (0.37, 0.44), (0.31, 0.43), (0.35, 0.47), (0.38, 0.52)),
    ("back_width", "bust_girth", _SHARE, (0.36, 0.41), (0.31, 0.41), (0.36, 0.45), (0.36, 0.46)),
    ("upper_arm_girth", "bust_girth", _SHARE, (0.30, 0.35), (0.27, 0.38), (0.27, 0.38), (0.25, 0.35)),
    ("wrist_girth", "upper_arm_girth", _SHARE, (0.50, 0.62), None, (0.48, 0.64), None),
    ("scye_depth", "back_neck_to_waist", _SHARE, (0.49, 0.56), None, None, None),
    ("back_neck_to_tailbone", "back_neck_to_waist", _MORE, (120, 300), None, None, None),
    ("neck_width", "bust_girth", _SHARE, (0.10, 0.20), (0.09, 0.19), None, (0.12, 0.22)),
    ("shoulder_length", "bust_girth", _SHARE, (0.10, 0.18), (0.08, 0.16), (0.11, 0.19), (0.11, 0.18)),
    ("back_neck_to_waist", "stature", _SHARE, (0.21, 0.28), None, None, None),
)  # fmt: skip
RELATIONS = tuple(
    Relation(a, b, share, {w: u for w, u in zip(_WHOSE, usual, strict=True) if u})
    for a, b, share, *usual in _BANDS
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


def _usual(key: str, body: str) -> tuple[float, float]:
    m = REGISTRY[key]
    return _RANGES.get(body, {}).get(key, (m.low_mm, m.high_mm))


def is_usual(key: str, mm: float, body: str = "woman") -> bool:
    """Whether a value lies within the usual range of that body."""
    low, high = _usual(key, body)
    return low <= mm <= high


def _relations(values: Mapping[str, float], body: str) -> tuple[str, list[Relation]]:
    """By whose usual values she is told of, and all relations, those first that are for such a figure."""
    full = body == "woman" and values.get("bust_girth", 0.0) > FULL_BUST_MM
    who = "full" if full else body
    return who, sorted(RELATIONS, key=lambda r: who not in r.usual)


_TOP_KEYS = ("chalkbeam", "unit", "wearer", "figure", "taken", "note", "since", "confirmed", "measurements")  # fmt: skip


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
            raise InputError.of(str(path), "continues itself: 'since' runs in a circle.")
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
        # after a fault in the unit the numbers are still read, to tell all faults at once
        unit = top.read_unit() if top.has("unit") else None
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
        quiet: set[str] = set()
        if top.has("confirmed"):
            row = top.sub("confirmed")
            top.faults += unknown_keys(row.data, REGISTRY, row.place())
            quiet = {k for k, v in row.data.items() if k in numbers and str(numbers[k]) == str(v)}
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
        body = {k: self.raw.get(k, format_length(v, self.unit, 64)) for k, v in self.values.items()}
        figure = "" if self.body == "woman" else self.body
        rest = {"wearer": self.wearer, "taken": self.taken, "figure": figure, "note": self.note}
        told = {k: v for k, v in rest.items() if v}
        return {"chalkbeam": 1, "unit": self.unit, **told, "measurements": body}

    def save(self, path: str | Path) -> None:
        """Write a file, whole or not at all.

        Raises:
            InputError: the folder is missing or cannot be written to.
        """
        write_atomic(path, dump_yaml(self.to_dict()))


def missing(keys: Iterable[str], where: str) -> list[Fault]:
    """One fault for each measurement that is needed and was not taken, with how to take it."""
    return [
        Fault(where, f"the measurement '{k}' ({REGISTRY[k].name}) is missing.", REGISTRY[k].how)
        for k in keys
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
    who, relations = _relations(values, body)
    for relation in relations:
        keys = {relation.a, relation.b}
        if keys <= values.keys() and not (quiet | odd) & keys:
            doubt = relation.doubt(values, who, unit)
            out += [f"Unusual: {doubt}. Bodies differ; is it measured so?"] if doubt else []
    return out


def _unit_doubt(values: Mapping[str, float], unit: str) -> str:
    """Whether most measurements (mm) lie outside what is usual and would lie inside in another unit."""

    def usual(factor: float) -> int:
        return sum(is_usual(k, v * factor) for k, v in values.items())

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
        remedy = f"Write one, or two takes as [a, b]. {POINT_COMMA}"
        raise InputError(Fault(where, f"holds {len(takes)} values.", remedy, written))
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
        raise InputError.of(where, "is 0.", f"Leave it out if it was not taken. {HOW_TO_WRITE}")
    if max(lengths) > 5000:
        what = f"{short(takes[0])} is more than 5 m."
        raise InputError.of(where, what, "Check the number and its unit.")
    if max(lengths) > _MOST_APART * min(lengths):  # [92,5 cm] are the takes 92 and 5 cm to YAML
        what = f"{short(written)} are no two takes of one measure."
        raise InputError(Fault(where, what, POINT_COMMA, written))
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
        what = f"{short(since)} is not the name of an earlier measurements file."
        raise InputError.of(top.place("since"), what)
    made = "leave 'since' out"
    return cls._load(named_file(folder, since, "since", top.place(), made), seen)
