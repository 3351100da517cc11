"""One reader for all files of ours: each value is asked for by its key, and every fault is noted
with its path, so that one message tells all that is wrong with a file.

Between the YAML (`files`) and the things that a file describes. A reader hands back a harmless
value for what could not be read and goes on; `done` raises all faults at once.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from configs.errors import Fault, InputError, is_shown, short
from configs.files import read_yaml
from configs.units import asked_back, length_text, meant_units, parse_length, said_in, unit_name

T = TypeVar("T")
XY = tuple[float, float]

_MOST_UNKNOWN = 12  # of one mapping: more are counted, not told
_MOST_KNOWN = 24  # words in one sentence
_MOST_FAULTS = 200  # past them a file is no file of ours; nobody reads on
_THERE: Any = object()  # the value that stands at the key; any other is read as if it did
POINT_COMMA = "In brackets a comma parts two values: write 2.5 with a point."
_KINDS = {  # what the kinds of our files are known by, at the top level
    "a docket": {"garment"},
    "a base": {"base"},
    "a measurements file": {"measurements", "taken"},
    "a calibration": {"projector_from_table"},
    "a list of cards": {"bars_mm", "cards"},
    "a pattern's description": {"windows"},
    "a file of crosses": {"crosses"},
    "a file of keys": {"keys"},
}


def kind_of(value: Any) -> str:
    """What a value is, in words: a list, 'key: value' pairs, the text '…', a number."""
    if isinstance(value, bool):
        return "true/false"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, Mapping):
        return "'key: value' pairs"
    return f"the text {short(value)}" if isinstance(value, str) else short(value)


def _some(words: Sequence[str]) -> str:
    """A list that can be read over: the first dozen and how many more."""
    more = len(words) - _MOST_KNOWN
    return ", ".join(words[:_MOST_KNOWN]) + (f" and {more} more" if more > 1 else "")


def unknown_keys(data: Mapping[Any, Any], known: Collection[str], where: str) -> list[Fault]:
    """One fault for each key of ``data`` that is not in ``known``, naming the nearest known one.

    Raises:
        InputError: it is a file of ours of another kind; that alone is told then.
    """
    for kind, marks in _KINDS.items():
        if all(m in data for m in marks) and not marks <= set(known):
            wanted = next((k for k, own in _KINDS.items() if own <= set(known)), "")
            what = f"this is {kind}; wanted here is {wanted or 'another file'}."
            remedy = "Name another file."
            if wanted == "a docket" and "measurements" in data:
                remedy = (
                    f"Write a docket with the line 'measurements: {Path(where).name}'; "
                    "'chalkbeam blocks' shows one."
                )
            raise InputError.of(where, what, remedy)
    faults = []
    odd = [key for key in data if key not in known]
    for key in odd[:_MOST_UNKNOWN]:
        text = key if isinstance(key, str) and len(key) <= 60 else short(key)
        near = difflib.get_close_matches(text, list(known), 1, 0.5)
        remedy = f"Did you mean '{near[0]}'?" if near else f"Known here: {_some(sorted(known))}."
        if re.match(r"\d", text) and data[key] is None:  # {hem: 2, 5 cm}
            remedy = "Is it the end of a number? In braces write 2.5 cm, with a point."
        faults.append(Fault(where, f"unknown key '{text}'.", remedy, key))
    if len(odd) > _MOST_UNKNOWN:
        faults.append(Fault(where, f"{len(odd) - _MOST_UNKNOWN} more keys are unknown."))
    return faults


# What people write who have the thing in mind and not our word for it, and what may be meant by it,
# the likeliest first. Common usage of the trade, no source.
_SENSES: Mapping[str, tuple[str, ...]] = {
    said: meant
    for words, meant in (
        (("yes",), ("one-way", "lengthwise", "auto", "facing")),
        (("no",), ("none", "without")),
        (("long",), ("maxi", "dress", "calf", "ankle", "tunic")),
        (("maxi",), ("ankle", "dress", "calf")),
        (("midi",), ("calf", "knee", "dress")),
        (("knee",), ("dress",)),
        (("mini",), ("short", "crop")),
        (("short",), ("crop", "waist")),
        (("cropped",), ("crop",)),
        (("hip",), ("top",)),
        (("normal",), ("top", "round", "knee")),
        (("crew", "jewel"), ("round",)),
        (("deep",), ("scoop", "v")),
        (("bateau", "wide"), ("boat",)),
        (("sleeveless", "single", "flat"), ("none",)),
        (("bound", "binding"), ("bias",)),
        (("velvet", "napped", "directional"), ("one-way",)),
        (("plain",), ("two-way", "none")),
        (("folded", "half"), ("lengthwise",)),
        (("selvedges",), ("double", "both selvedges")),
        # blocks, pages of the guide, commands, papers, units
        (("skirt",), ("straight-skirt",)),
        (("top", "tunic", "blouse", "shirt"), ("quick-top",)),
        (("dress", "bodice"), ("fitted-bodice",)),
        (("sleeve",), ("set-in-sleeve",)),
        (("collar",), ("flat-collar",)),
        (("tape", "camera"), ("calibrating",)),
        (("webcam",), ("live", "calibrating")),
        (("fit", "fitting", "muslin"), ("toile",)),
        (("measure",), ("measuring",)),
        (("measures",), ("measure", "measuring")),
        (("lay", "fold"), ("cloth",)),
        (("trace", "tracing"), ("trace", "project", "table")),
        (("shape",), ("scissors",)),
        (("errors",), ("trouble",)),
        (("plan",), ("lay",)),
        (("show",), ("project",)),
        (("start", "init"), ("new",)),
        (("pdf",), ("print",)),
        (("svg", "dxf"), ("export",)),
        (("check", "photo"), ("calibrate",)),
        (("legal",), ("letter",)),
        (("us",), ("letter", "in")),
        (("inch", "inches", "imperial"), ("in",)),
        (("centimetres", "centimeters"), ("cm",)),
        (("millimetres", "millimeters"), ("mm",)),
        (("metric",), ("cm", "mm")),
    )
    for said in words
}


def as_typed(value: Any) -> Any:
    """YAML's true and false as the word that was most likely typed: yes, no."""
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else value


def nearest(word: str, known: Iterable[str]) -> str:
    """'Did you mean …?' with the nearest known word, by its letters or by its sense, or ''."""
    there = sorted(known)
    sense = next((w for w in _SENSES.get(word.strip().lower(), ()) if w in there), "")
    near = [sense] if sense else difflib.get_close_matches(word[:60], there, 1, 0.4)
    if word.strip().lower() in ("yes", "no", "true", "on") and not sense:
        return ""
    return f"Did you mean '{near[0]}'?" if near else ""


@dataclass(eq=False)
class Reader:
    """One mapping of a file, with all faults found in that file.

    ``file``: its name, '' for a mapping without one; ``key``: where in the file it stands;
    ``unit``: of lengths without their own; ``faults``: shared by all readers of one file;
    ``remedy``: said where a fault has none of its own; ``asks``: whether a bare number too small for
    mm is asked back (a person wrote it, and no program).
    """

    data: Any
    _: KW_ONLY
    file: str = ""
    key: str = ""
    unit: str = "mm"
    faults: list[Fault] = field(default_factory=list)
    remedy: str = ""
    asks: bool = True

    def __post_init__(self) -> None:
        if not isinstance(self.data, Mapping):
            what, self.data = kind_of(self.data), {}
            self.note("", f"should hold 'key: value' pairs, not {what}.")

    @classmethod
    def of_file(cls, path: str | Path, **how: Any) -> Reader:
        """A reader of one of our YAML files.

        Raises:
            InputError: the file cannot be read, is not YAML or not ours.
        """
        return cls(read_yaml(path), file=str(path), **how)

    # -- faults --------------------------------------------------------------------------------

    def place(self, key: str = "") -> str:
        """The path of a key, with the file's name before it: ``top.yaml: cloth.width``."""
        parts = [self.key, key] if not key.startswith("[") else [self.key + key]
        path = ".".join(p for p in parts if p)
        return f"{self.file}: {path}" if self.file and path else self.file or path

    def note(self, key: str, what: str, remedy: str = "", got: Any = None) -> None:
        """Note a fault at a key ('' for the mapping itself)."""
        if len(self.faults) < _MOST_FAULTS:
            self.faults.append(Fault(self.place(key), what, remedy or self.remedy, got))

    def again(self, error: InputError, key: str | None = None) -> None:
        """Note what another reader refused; at ``key`` where it did not know the place itself."""
        for fault in error.faults[: max(0, _MOST_FAULTS - len(self.faults))]:
            if key is None:
                self.faults.append(fault)
            else:
                self.note(key, fault.what, fault.remedy, fault.got)

    def tried(self, read: Callable[[], T], otherwise: T, key: str | None = None) -> T:
        """What ``read`` gives; ``otherwise`` with its faults noted when it refuses."""
        try:
            return read()
        except InputError as error:
            self.again(error, key)
            return otherwise

    def only(self, known: Collection[str]) -> Reader:
        """Note every key that is not known here.

        Raises:
            InputError: it is a file of ours of another kind.
        """
        self.faults += unknown_keys(self.data, known, self.place())
        return self

    def done(self) -> None:
        """The end of the file.

        Raises:
            InputError: every fault that was noted.
        """
        if self.faults:
            raise InputError(self.faults)

    # -- what is there -------------------------------------------------------------------------

    def has(self, key: str) -> bool:
        """Whether the key stands there with a value."""
        return self.data.get(key) is not None

    def get(self, key: str, otherwise: Any = None) -> Any:
        """The value as it stands."""
        value = self.data.get(key)
        return otherwise if value is None else value

    def sub(self, key: str, known: Collection[str] | None = None) -> Reader:
        """A reader of the mapping at a key; an empty one where there is none."""
        value = self.get(key, {})
        return self.inner(key, value, known)

    def inner(self, key: str, value: Any, known: Collection[str] | None = None) -> Reader:
        """A reader of a mapping that stands at a key, told with that key."""
        place = self.key + key if key.startswith("[") else ".".join(p for p in (self.key, key) if p)
        made = replace(self, data=value, key=place)
        return made if known is None else made.only(known)

    def rows(self, key: str, known: Collection[str] | None = None) -> list[Reader]:
        """A reader for each mapping of the list at a key; what is no mapping is noted, left out."""
        made = []
        for i, row in enumerate(self.items(key)):
            if isinstance(row, Mapping):
                made.append(self.inner(f"{key}[{i}]", row, known))
            else:
                self.note(f"{key}[{i}]", f"should hold 'key: value' pairs, not {kind_of(row)}.")
        return made

    def items(self, key: str) -> Sequence[Any]:
        """The list at a key; an empty one where there is none."""
        value = self.get(key, [])
        if not isinstance(value, list | tuple):
            self.note(key, f"should be a list, not {kind_of(value)}.", got=value)
            return []
        return value

    # -- single values -------------------------------------------------------------------------

    def text(
        self,
        key: str,
        otherwise: str = "",
        need: bool = False,
        lines: bool = False,
        most: int = 2000,
    ) -> str:
        """A line of text (``lines``: one or several); a number counts as one."""
        value = self.get(key)
        if value is None and not need:
            return otherwise
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        if value is None or (need and isinstance(value, str) and not value.strip()):
            self.note(key, "is missing.", got=value)
            return otherwise
        if not isinstance(value, str) or not is_shown(value) or len(value) > most:
            self.note(key, f"{short(value)} is not a line of text.", got=value)
            return otherwise
        return value if lines else " ".join(value.splitlines())

    def texts(
        self, key: str, what: str = "should be a list of texts.", example: str = ""
    ) -> tuple[str, ...]:
        """A list of texts, each kept once; a single one counts as a list."""
        value = self.get(key)
        if value is None:
            return ()
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list | tuple) or not all(
            isinstance(t, str) and t.strip() and is_shown(t) for t in listed
        ):
            self.note(key, what, example, value)
            return ()
        return tuple(dict.fromkeys(listed))

    def word(
        self,
        key: str,
        known: Collection[str],
        otherwise: str | None = None,
        same: Mapping[Any, str] = MappingProxyType({}),
    ) -> str:
        """One of the known words; the first of them (or ``otherwise``) where none stands there.

        ``same``: other words for it → the known one; False where 'no' and 0 are one.
        """
        other = next(iter(known)) if otherwise is None else otherwise
        given = self.get(key, other)
        value = as_typed(same.get(given, given) if isinstance(given, str | int) else given)
        if not isinstance(value, str) or value not in known:
            hint = nearest(value, known) if isinstance(value, str) else ""
            self.note(key, f"{short(value)} is not one of {', '.join(known)}.", hint, value)
            return other
        return value

    def flag(self, key: str, otherwise: bool = False) -> bool:
        """True or false."""
        value = self.get(key, otherwise)
        if not isinstance(value, bool):
            self.note(key, f"{short(value)} is neither true nor false.", got=value)
            return otherwise
        return value

    def count(self, key: str, otherwise: int = 1, low: int = 1, high: int = 1000) -> int:
        """A whole number from ``low`` to ``high``."""
        value = self.get(key, otherwise)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.note(key, f"{short(value)} is not a whole number from {low} to {high}.", got=value)
            return otherwise
        return value

    def number(
        self,
        key: str,
        otherwise: float = 0.0,
        low: float = -math.inf,
        high: float = math.inf,
        what: str = "a number",
    ) -> float:
        """A finite number, 2.5 or 2,5; ``what`` it is, for the sentence: 'an angle in degrees'."""
        value = self.get(key)
        if value is None:
            return otherwise
        number = as_number(value)
        if number is None or not low <= number <= high:
            limits = f" from {low:g} to {high:g}"
            if math.inf in (-low, high):
                limits = f" of {low:g} or more" if low > -math.inf else ""
                limits = f" of {high:g} or less" if high < math.inf else limits
            self.note(key, f"{short(value)} is not {what}{limits}.", got=value)
            return otherwise
        return number

    def read_unit(self, key: str = "unit", otherwise: str = "mm") -> str:
        """The file's unit of length; lengths read from here on are in it."""
        self.unit = self.tried(
            lambda: unit_name(self.get(key, otherwise), self.place(key)), otherwise
        )
        return self.unit

    def length(
        self,
        key: str,
        low: float,
        high: float,
        otherwise: float | None = None,
        *,
        least: float,
        value: Any = _THERE,
    ) -> float:
        """A length in mm from ``low`` to ``high``; a number is in the reader's unit. ``least``: a bare
        number of fewer mm is asked back; 0 where mm are what people write, or a program does."""
        value = self.data.get(key) if value is _THERE else value
        other = max(low, 0.0) if otherwise is None else otherwise
        try:
            mm = parse_length(value, self.unit, self.place(key), signed=low < 0)
        except InputError as error:
            self.again(error)
            return other
        if self.too_bare(key, value, mm, least, high):
            return other
        if not low <= mm <= high:
            meant = meant_units(value, max(low, least), high, self.unit)
            what = f"{short(value)} is outside {length_text(low)} to {length_text(high)}."
            remedy = f"{meant}Check the number and its unit."
            self.note(key, said_in(what, self.unit), remedy, value)
            return other
        return mm

    def too_bare(
        self, key: str, value: Any, mm: float, least: float, most: float, low: float = 0.0
    ) -> bool:
        """Note a bare number, read as ``mm``, that is too small to be meant in mm."""
        asked = asked_back(value, mm, least, most, low) if self.asks and self.unit == "mm" else None
        if asked is not None:
            self.note(key, *asked, value)
        return asked is not None

    # -- places --------------------------------------------------------------------------------

    def point(self, key: str, reach: float = 1e5, value: Any = _THERE) -> XY:
        """(x, y) mm."""
        value = as_list(self.data.get(key) if value is _THERE else value)
        if not isinstance(value, list | tuple) or len(value) != 2:
            many = isinstance(value, list | tuple) and len(value) in (3, 4)
            remedy = POINT_COMMA if many else ""
            self.note(key, f"should be [x, y], not {short(value)}.", remedy, value)
            return (0.0, 0.0)
        x, y = (self.length(key, -reach, reach, least=0.0, value=v) for v in value)
        return (x, y)

    def points(self, key: str, reach: float = 1e5, value: Any = _THERE) -> list[XY]:
        """(N) of (x, y) mm; none where there is no such key."""
        value = as_list(self.data.get(key) if value is _THERE else value)
        if not isinstance(value, list | tuple):
            self.note(key, f"should be a list of [x, y], not {kind_of(value)}.", got=value)
            return []
        return [self.point(f"{key}[{i}]", reach, v) for i, v in enumerate(value)]

    def segment(self, key: str) -> tuple[XY, XY] | None:
        """A line's two ends, mm; None where there is no such key."""
        if self.data.get(key) is None:
            return None
        ends = self.points(key)
        if len(ends) != 2 or ends[0] == ends[1]:
            self.note(key, "should be the line's two ends: [[x, y], [x, y]].")
            return None
        return ends[0], ends[1]

    def numbers(
        self, key: str, shape: tuple[int, ...], what: str = "", value: Any = _THERE
    ) -> list[Any] | None:
        """Finite numbers in nested lists of a shape; None with the fault noted. ``what`` it should be."""
        if value is _THERE and key not in self.data:
            self.note(key, "is missing.")
            return None
        value = self.data[key] if value is _THERE else value
        found: list[Any] | None = _shaped(value, shape)
        if found is None:
            wanted = what or f"{' x '.join(map(str, shape))} finite numbers"
            self.note(key, f"must be {wanted}.", got=value)
        return found


def as_list(value: Any) -> Any:
    """An array as nested lists; anything else as it is."""
    return value.tolist() if hasattr(value, "tolist") else value


def as_number(value: Any) -> float | None:
    """A finite number, or a text that is one with a decimal comma; None for anything else."""
    if isinstance(value, str) and re.fullmatch(r"\s*[-+]?\d{1,15}(?:[.,]\d{1,15})?\s*", value):
        return float(value.replace(",", "."))
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _shaped(value: Any, shape: tuple[int, ...]) -> Any:
    if not shape:
        return as_number(value) if not isinstance(value, str) else None
    value = as_list(value)
    if not isinstance(value, list | tuple) or len(value) != shape[0]:
        return None
    made = [_shaped(v, shape[1:]) for v in value]
    return None if any(m is None for m in made) else made
