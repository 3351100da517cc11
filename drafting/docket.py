"""The docket: one file, one garment, everything the person did.

It names the wearer's measurements, the block and its style, fit changes, allowances, the cloth,
where each piece lies and which are traced. All else is computed again from it. Saving touches
only the sections that changed: her comments and her order of keys stay as she wrote them.
"""

from __future__ import annotations

import dataclasses
import datetime
import math
import os
import re
import reprlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from configs.errors import ChalkbeamError, Fault, InputError
from configs.files import (
    FORMAT_VERSION,
    dump_yaml,
    named_file,
    parse_yaml,
    read_text,
    unknown_keys,
    write_atomic,
)
from configs.units import length_text, parse_length, unit_name
from drafting import piece_entry
from drafting.allowance import HEM
from drafting.cloth import Cloth
from drafting.fit import FORM
from drafting.measurements import Measurements
from drafting.piece import Piece
from drafting.piece_entry import entry_of
from drafting.placement import Placement

if TYPE_CHECKING:
    from drafting.blocks import Draft

_KEYS = (
    "chalkbeam",
    "title",
    "unit",
    "wearer",
    "measurements",
    "garment",
    "pieces",
    "quantity",
    "allowances",
    "cloth",
    "distance",
    "shares",
    "lay",
    "traced",
    "table",
    "record",
)
_GARMENT_KEYS = ("block", "style", "fit")
_LAY_KEYS = ("piece", "copy", "at", "turn", "mirrored", "locked", "aside")
_DRAFT_FIELDS = frozenset({"measurements", "garment", "imported"})
_MAX_ALLOWANCE_MM = 200.0  # a curtain's hem; more is a slip of the unit
_SMALL_ALLOWANCE_MM = 3.0  # no shears cut a seam so narrow (common practice, no source)
DEFAULT_DISTANCE_MM = 5.0  # room for the shears between two cutting lines (common practice)


@dataclass(frozen=True, eq=False)
class Docket:
    """One garment's file, read and checked. Lengths mm.

    ``garment``: block, style and fit as written (None when the pieces are imported outlines);
    ``imported``: outlines taken in from elsewhere, by name; ``allowances``: edge → mm, ``all`` for
    the rest; ``piece_allowances``: piece → the same, going before; ``shares``: files of other
    dockets whose pieces lie on the same cloth, as seen from this one's folder; ``table``: the view, kept for
    the table; ``record``: what she noted about the garment.
    """

    title: str = "untitled"
    unit: str = "mm"
    wearer: str = ""
    measurements: Measurements | None = None
    garment: Mapping[str, Any] | None = None
    imported: Mapping[str, Piece] = field(default_factory=dict)
    quantity: int = 1
    allowances: Mapping[str, float] = field(default_factory=dict)
    piece_allowances: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    cloth: Cloth | None = None
    distance_mm: float = DEFAULT_DISTANCE_MM
    shares: tuple[str, ...] = ()
    lay: tuple[Placement, ...] = ()
    traced: tuple[str, ...] = ()
    table: Mapping[str, Any] = field(default_factory=dict)
    record: tuple[Mapping[str, Any], ...] = ()
    path: Path | None = None
    _raw: Mapping[str, Any] = field(default_factory=dict, repr=False)
    _text: str = field(default="", repr=False)

    # -- reading ------------------------------------------------------------------------------

    @classmethod
    def load(cls, path: str | Path) -> Docket:
        """Read a docket with the measurements that it names.

        Raises:
            InputError: all that is wrong with it, each fault with its key path.
        """
        path = Path(path)
        text = read_text(path)
        return cls.from_dict(parse_yaml(text, str(path)), path=path, text=text)

    @classmethod
    def from_dict(
        cls, data: Mapping[str, Any], *, path: Path | None = None, text: str = ""
    ) -> Docket:
        """A docket from its YAML mapping; ``path`` anchors the measurements file it may name.

        Raises:
            InputError: all that is wrong with it, each fault with its key path.
        """
        return _Reader(data, path).docket(text)

    # -- what follows from it -----------------------------------------------------------------

    @cached_property
    def _draft(self) -> Draft | None:
        if self.garment is None:
            return None
        from drafting.blocks import draft

        if self.measurements is None:
            raise InputError(
                Fault(
                    self._where("measurements"),
                    "a garment is to be drafted but no measurements are named.",
                    "Add 'measurements: alto-3.yaml', or take them with 'chalkbeam measure'.",
                )
            )
        try:
            return draft(
                self.garment["block"],
                self.measurements,
                style=self.garment.get("style") or {},
                fit=self.garment.get("fit") or [],
                unit=self.unit,
            )
        except ChalkbeamError as error:  # the block knows no files: say which one it speaks of
            doubt = self.measurements.unit_doubt
            if doubt:  # what follows from numbers in the wrong unit is told of nothing else
                raise InputError(
                    Fault(
                        self.measurements.path or self._where("measurements"),
                        doubt,
                        "Correct its line 'unit:', or the numbers.",
                    )
                ) from error
            raise type(error)([self._of_garment(f) for f in error.faults]) from error

    def _of_garment(self, fault: Fault) -> Fault:
        """A fault that drafting told, with this file and its key where they are the docket's."""
        head = re.split(r"[ .\[:]", fault.where, maxsplit=1)[0]
        if head in ("block", "style", "fit"):
            return replace(fault, where=self._where(f"garment.{fault.where}"))
        named = [str(self.path)] if self.path else []
        named += [self.measurements.path] if self.measurements and self.measurements.path else []
        if any(fault.where.startswith(n) for n in named):
            return fault
        return replace(
            fault, where=self._where(f"garment, {fault.where}" if fault.where else "garment")
        )

    def draft(self) -> Draft:
        """The garment drafted from its measurements (cached).

        Raises:
            InputError: the docket holds no garment to draft, or a value of it is off.
            DraftError: no sound pattern follows from the measurements and style.
        """
        made = self._draft
        if made is None:
            raise InputError(
                Fault(
                    self._where("garment"),
                    "this docket has no garment to draft, only imported pieces."
                    if self.imported
                    else "this docket names no garment.",
                    "Add 'garment: {block: quick-top}'; 'chalkbeam blocks' lists what there is.",
                )
            )
        return made

    @cached_property
    def _pieces(self) -> dict[str, Piece]:
        drafted = dict(self._draft.pieces) if self.garment is not None and self._draft else {}
        twice = sorted(set(drafted) & set(self.imported))
        if twice:
            raise InputError(
                [
                    Fault(
                        self._where(f"pieces ({name})"),
                        "the garment has a piece of this name too.",
                        "Give the imported one another name.",
                    )
                    for name in twice
                ]
            )
        pieces = {**drafted, **self.imported}
        if not pieces:
            self.draft()
        self._check_names(pieces)
        return pieces

    def pieces(self) -> dict[str, Piece]:
        """Every piece of the garment by name: drafted ones first, then imported ones.

        Raises:
            InputError, DraftError: as `draft`; allowances, lay or traced name what is not there.
        """
        return dict(self._pieces)

    def allowances_for(self, piece: str) -> dict[str, float]:
        """Edge → allowance mm for one piece (``all`` for edges not named)."""
        return {**self.allowances, **self.piece_allowances.get(piece, {})}

    def allowance_cautions(self) -> list[str]:
        """What to know before cutting: edges without allowance, and allowances too small to sew.

        ``all: 0`` says that it is meant so (outlines that hold their allowances already).
        """
        where = str(self.path) if self.path else "the docket"
        if not self.allowances and not self.piece_allowances:
            if all(p.own_cutting_line is not None for p in self.pieces().values()):
                return []
            return [
                "No allowance is set: the pieces would be cut on the seam line, with nothing to sew. "
                f"Add this line to {where}: 'allowances: {{all: 10 mm, hem: 25 mm}}' (or 'all: 0' "
                "if the outlines hold their allowances already)."
            ]
        said = []
        bare = list(dict.fromkeys(e for p in self.pieces().values() for e in self._bare_edges(p)))
        if bare:
            said.append(
                f"No allowance is set for {', '.join(bare)}: cut on the seam line there. Add 'all: "
                f"10 mm' under 'allowances' in {where} (or 'all: 0' if it is meant so)."
            )
        for key, mm in self._each_allowance():
            if 0.0 < mm < _SMALL_ALLOWANCE_MM:
                meant = f"did you mean {mm:g} cm?" if self.unit == "mm" else "is that meant?"
                said.append(
                    f"{key} is {mm:.3g} mm: {meant} A number without a unit is in "
                    f"{self.unit}; write it with its unit, such as '{key.rsplit('.', 1)[-1]}: 1 cm'."
                )
        return said

    def _bare_edges(self, piece: Piece) -> list[str]:
        """Edges of a piece for which neither they nor 'all' have an allowance."""
        if piece.own_cutting_line is not None:
            return []
        own = self.allowances_for(piece.name)
        if "all" in own:
            return []
        widths = piece.widths(own)
        fold = piece.fold

        def on_fold(edge: str) -> bool:
            if fold is None:
                return False
            (ax, ay), (bx, by) = fold
            length = math.hypot(bx - ax, by - ay)
            return all(
                abs((bx - ax) * (y - ay) - (by - ay) * (x - ax)) < 0.05 * length
                for x, y in piece.edges[edge].points
            )

        out = []
        for edge in piece.edges:
            plain = edge.removeprefix("left ").removeprefix("right ")
            named = edge in own or plain in own or (edge.split()[-1] == HEM and HEM in own)
            if not named and not widths.get(edge) and edge not in piece.bound and not on_fold(edge):
                out.append(edge)
        return out

    def _each_allowance(self) -> list[tuple[str, float]]:
        """Key path → mm of every allowance that is written."""
        every = [(f"allowances.{k}", v) for k, v in self.allowances.items()]
        for name, own in self.piece_allowances.items():
            every += [(f"allowances.{name}.{k}", v) for k, v in own.items()]
        return every

    def placed(self) -> tuple[Placement, ...]:
        """The placements on the cloth (those put aside left out)."""
        return tuple(p for p in self.lay if not p.aside)

    def _check_names(self, pieces: Mapping[str, Piece]) -> None:
        import difflib

        edges = {e for p in pieces.values() for e in p.edges} | {"all"}
        # 'side' speaks for 'left side' and 'right side' where the two differ
        edges |= {e.removeprefix("left ").removeprefix("right ") for e in edges}
        faults: list[Fault] = []

        def need(key: str, name: str, known: set[str], kind: str) -> None:
            if name not in known:
                near = difflib.get_close_matches(name, sorted(known), 1, 0.4)
                hint = f"Did you mean '{near[0]}'?" if near else ""
                faults.append(
                    Fault(
                        self._where(key),
                        f"there is no {kind} '{name}'; there are {', '.join(sorted(known))}.",
                        hint,
                    )
                )

        if self.garment is not None:  # an edge that only another style has is no slip
            from drafting.blocks import edge_names

            edges |= set(edge_names(self.garment["block"]))
        for edge in self.allowances:
            need("allowances", edge, edges, "edge")
        for name, own in self.piece_allowances.items():
            need("allowances", name, set(pieces), "piece")
            for edge in own if name in pieces else ():
                need(f"allowances.{name}", edge, self._edges_of(pieces[name]), "edge")
        for i, placement in enumerate(self.lay):
            need(f"lay[{i}].piece", placement.piece, set(pieces), "piece")
        for key in self.traced:
            need("traced", key.rsplit("/", 1)[0], set(pieces), "piece")
        if faults:
            raise InputError(faults)

    def _edges_of(self, piece: Piece) -> set[str]:
        """The edges an allowance of this piece may name."""
        own = set(piece.edges) | {"all"}
        own |= {e.removeprefix("left ").removeprefix("right ") for e in own}
        if self.garment is None or piece.name in self.imported:
            return own
        from drafting.blocks import edge_names

        return own | set(edge_names(self.garment["block"]))

    def unused_allowances(self) -> tuple[str, ...]:
        """Edges named under ``allowances`` that no piece of this style has, in order."""
        there = {e for p in self.pieces().values() for e in p.edges} | {"all"}
        there |= {e.removeprefix("left ").removeprefix("right ") for e in there}
        return tuple(e for e in self.allowances if e not in there)

    def _where(self, key: str) -> str:
        return f"{self.path}: {key}" if self.path else key

    # -- changing and writing -----------------------------------------------------------------

    def replace(self, **changes: Any) -> Docket:
        """A docket with some fields changed; the rest, her comments included, stays."""
        made = dataclasses.replace(self, **changes)
        if not _DRAFT_FIELDS & set(changes):  # the drafted pieces are still the same
            kept = {k: v for k, v in self.__dict__.items() if k in ("_draft", "_pieces")}
            made.__dict__.update(kept)
        return made

    def to_dict(self) -> dict[str, Any]:
        """The docket as its YAML mapping: what she wrote, with what has changed since."""
        data = dict(self._raw) or {"chalkbeam": FORMAT_VERSION, "title": self.title}
        before = _Reader(self._raw, self.path).docket("") if self._raw else Docket(title=self.title)
        if self.title != before.title:
            data["title"] = self.title
        if self.wearer != before.wearer:
            data["wearer"] = self.wearer
        if self.unit != before.unit:
            data["unit"] = self.unit
        if self.garment != before.garment:
            _set(data, "garment", dict(self.garment) if self.garment else None)
        if self.measurements is not before.measurements and (
            self.measurements is None
            or before.measurements is None
            or self.measurements.to_dict() != before.measurements.to_dict()
        ):
            _set(data, "measurements", self.measurements.to_dict() if self.measurements else None)
        if set(self.imported) != set(before.imported) or any(
            self.imported[n] is not before.imported[n]
            and entry_of(self.imported[n]) != entry_of(before.imported[n])
            for n in self.imported
        ):
            _set(data, "pieces", [entry_of(p, self.unit) for p in self.imported.values()])
        if self.quantity != before.quantity:
            data["quantity"] = self.quantity
        if (self.allowances, self.piece_allowances) != (
            before.allowances,
            before.piece_allowances,
        ):
            sizes: dict[str, Any] = {k: _mm(v) for k, v in self.allowances.items()}
            for name, own in self.piece_allowances.items():
                sizes[name] = {k: _mm(v) for k, v in own.items()}
            _set(data, "allowances", sizes)
        if self.cloth != before.cloth:
            _set(data, "cloth", self.cloth.to_dict() if self.cloth else None)
        if self.distance_mm != before.distance_mm:
            data["distance"] = _mm(self.distance_mm)
        if self.shares != before.shares:
            _set(data, "shares", list(self.shares))
        if self.lay != before.lay:
            _set(data, "lay", [self._placement_to_dict(p) for p in self.lay])
        if self.traced != before.traced:
            _set(data, "traced", list(self.traced))
        if dict(self.table) != dict(before.table):
            _set(data, "table", dict(self.table))
        if self.record != before.record:
            _set(data, "record", [dict(r) for r in self.record])
        return data

    def save(self, path: str | Path | None = None) -> Path:
        """Write the docket whole or not at all; answer where.

        Only sections that changed are written anew. Without ``path``, where it was read from.

        Raises:
            InputError: no path is known, or the file cannot be written.
        """
        target = Path(path) if path is not None else self.path
        if target is None:
            raise InputError(Fault("", "this docket was never saved.", "Say where to save it."))
        data = self.to_dict()
        if self.path is not None and target.resolve().parent != self.path.resolve().parent:
            for key in ("measurements", "shares"):
                named = data.get(key)
                if isinstance(named, str):
                    data[key] = self._seen_from(named, target)
                elif isinstance(named, list):
                    data[key] = [self._seen_from(str(n), target) for n in named]
        write_atomic(target, _merge(self._text, self._raw, data))
        return target

    def _seen_from(self, named: str, target: Path) -> str:
        """A file that this docket names, as seen from the folder of ``target``."""
        if Path(named).is_absolute() or self.path is None:
            return named
        at = self.path.resolve().parent / named
        try:
            return Path(os.path.relpath(at, target.resolve().parent)).as_posix()
        except ValueError:  # another drive
            return str(at)

    def _placement_to_dict(self, p: Placement) -> dict[str, Any]:
        x, y = (round(float(v), 4) + 0.0 for v in p.at)
        at: list[Any] = [x, y] if self.unit == "mm" else [f"{x} mm", f"{y} mm"]
        entry: dict[str, Any] = {
            "piece": p.piece,
            "copy": p.copy,
            "at": at,
            "turn": round(p.turn_deg, 6) + 0.0,
            "mirrored": p.mirrored,
            "locked": p.locked,
        }
        if p.aside:
            entry["aside"] = True
        return entry


def _set(data: dict[str, Any], key: str, value: Any) -> None:
    """Set a section, or take it out when it holds nothing."""
    if value in (None, [], {}):
        data.pop(key, None)
    else:
        data[key] = value


def _mm(value: float) -> str:
    return f"{value:.10g} mm"


class _Reader:
    """Reads a docket's mapping to its end, collecting every fault on the way."""

    def __init__(self, data: Mapping[str, Any], path: Path | None) -> None:
        self.data = data
        self.path = path
        self.faults: list[Fault] = []

    def docket(self, text: str) -> Docket:
        data = self.data
        self.faults += unknown_keys(data, _KEYS, str(self.path or ""))
        unit = "mm"
        try:
            unit = unit_name(data.get("unit", "mm"), "unit")
        except InputError as error:
            self.again(error)
        self.unit: str = unit
        title = data.get("title", "untitled")
        if not isinstance(title, str | int | float) or isinstance(title, bool):
            self.fault("title", "is not a line of text.")
        allowances, own = self.read_allowances()
        measurements = self.read_measurements()
        wearer = data.get("wearer")
        garment = self.read_garment()
        made = Docket(
            title=str(title),
            unit=unit,
            wearer=str(wearer)
            if wearer is not None
            else (measurements.wearer if measurements else ""),
            measurements=measurements,
            garment=garment,
            imported=self.read_pieces(),
            quantity=self.read_quantity(),
            allowances=allowances,
            piece_allowances=own,
            cloth=self.read_cloth(),
            distance_mm=self.read_distance(),
            shares=self.read_shares(),
            lay=self.read_lay(),
            traced=self.read_traced(),
            table=self.mapping("table"),
            record=self.read_record(),
            path=self.path,
            _raw=dict(data),
            _text=text,
        )
        if self.faults:
            raise InputError(self.faults)
        return made

    # -- helpers

    def fault(self, key: str, what: str, remedy: str = "") -> None:
        self.faults.append(Fault(self.place(key), what, remedy))

    def place(self, key: str) -> str:
        """The key with the file's name before it."""
        return f"{self.path}: {key}" if self.path else key

    def mapping(self, key: str) -> dict[str, Any]:
        value = self.data.get(key)
        if value is None:
            return {}
        if not isinstance(value, Mapping):
            self.fault(key, f"should hold 'key: value' pairs, not {_kind(value)}.")
            return {}
        return {str(k): v for k, v in value.items()}

    def rows(self, key: str, known: Sequence[str]) -> list[tuple[str, Mapping[str, Any]]]:
        value = self.data.get(key)
        if value is None:
            return []
        if not isinstance(value, list):
            self.fault(key, f"should be a list, not {_kind(value)}.")
            return []
        out = []
        for i, row in enumerate(value):
            where = f"{key}[{i}]"
            if not isinstance(row, Mapping):
                self.fault(where, f"should hold 'key: value' pairs, not {_kind(row)}.")
                continue
            self.faults += unknown_keys(row, known, f"{self.path}: {where}" if self.path else where)
            out.append((where, row))
        return out

    def again(self, error: InputError) -> None:
        """Faults found by another reader, told with this file's name before them."""
        for f in error.faults:
            self.fault(f.where, f.what, f.remedy)

    def length(self, key: str, value: Any, low: float, high: float) -> float:
        try:
            mm = parse_length(value, self.unit, key, signed=low < 0)
        except InputError as error:
            self.again(error)
            return max(low, 0.0)
        if not low <= mm <= high:
            self.fault(
                key,
                f"{str(value)[:40]} is outside {length_text(low)} to {length_text(high)}.",
                "Check the unit.",
            )
            return max(low, 0.0)
        return mm

    def point(self, key: str, value: Any) -> tuple[float, float]:
        if not isinstance(value, list | tuple) or len(value) != 2:
            self.fault(key, f"should be [x, y], not {_short(value)}.")
            return (0.0, 0.0)
        limit = 1e5  # 100 m: past any cloth, and past any slip worth keeping
        x, y = (self.length(key, v, -limit, limit) for v in value)
        return (x, y)

    def points(self, key: str, value: Any) -> list[tuple[float, float]]:
        if not isinstance(value, list | tuple):
            self.fault(key, f"should be a list of [x, y], not {_kind(value)}.")
            return []
        return [self.point(f"{key}[{i}]", v) for i, v in enumerate(value)]

    def flag(self, where: str, row: Mapping[str, Any], key: str) -> bool:
        value = row.get(key, False)
        if not isinstance(value, bool):
            self.fault(f"{where}.{key}", f"{_short(value)} is neither true nor false.")
            return False
        return value

    def count(self, where: str, value: Any, most: int = 1000) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
            self.fault(where, f"{_short(value)} is not a whole number from 1 to {most}.")
            return 1
        return value

    # -- sections

    def read_measurements(self) -> Measurements | None:
        value = self.data.get("measurements")
        try:
            if value is None:
                return None
            if isinstance(value, str):
                base = self.path.parent if self.path else Path()
                where = str(self.path) if self.path else "the docket"
                made = "take the measurements: chalkbeam measure FILE.yaml"
                return Measurements.load(named_file(base, value, "measurements", where, made))
            if isinstance(value, Mapping):
                if "measurements" in value:
                    inner = dict(value)
                else:
                    inner = {"unit": self.unit, "measurements": dict(value)}
                inner.setdefault("chalkbeam", FORMAT_VERSION)
                inner.setdefault("unit", self.unit)
                inner.setdefault("wearer", self.data.get("wearer", ""))
                where = f"{self.path}: measurements" if self.path else "measurements"
                return Measurements.from_dict(inner, where, self.path.parent if self.path else None)
        except InputError as error:
            self.faults += error.faults
            return None
        self.fault(
            "measurements", "should be a file's name or 'key: value' pairs.", "Example: alto-3.yaml"
        )
        return None

    def read_garment(self) -> Mapping[str, Any] | None:
        if self.data.get("garment") is None:
            return None
        garment = self.mapping("garment")
        where = f"{self.path}: garment" if self.path else "garment"
        odd = self.style_keys(garment)
        for key in odd:
            self.fault(
                f"garment.{key}",
                "is a matter of style.",
                f"Write it as 'style: {{{key}: {_short(garment[key])}}}'.".replace("'", '"'),
            )
        rest = {k: v for k, v in garment.items() if k not in odd}
        self.faults += unknown_keys(rest, _GARMENT_KEYS, where)
        block = garment.get("block")
        if not isinstance(block, str):
            self.fault(
                "garment.block", "is missing.", "'chalkbeam blocks' lists what can be drafted."
            )
        style = garment.get("style")
        if style is not None and not isinstance(style, Mapping):
            self.fault("garment.style", f"should hold 'key: value' pairs, not {_kind(style)}.")
        fit = garment.get("fit")
        if fit is not None and not isinstance(fit, list):
            self.fault(
                "garment.fit",
                f"should be a list of changes, not {_kind(fit)}.",
                f"Write '- {FORM}'.",
            )
        return garment

    def style_keys(self, garment: Mapping[str, Any]) -> list[str]:
        """Keys written beside ``block`` that are style options of that block."""
        others = [k for k in garment if k not in _GARMENT_KEYS]
        if not others:
            return []
        from drafting import blocks

        block = str(garment.get("block"))
        known = {o.key for o in blocks.get(block).options} if block in blocks.names() else set()
        return [k for k in others if k in known]

    def read_pieces(self) -> dict[str, Piece]:
        pieces: dict[str, Piece] = {}
        for where, row in self.rows("pieces", piece_entry.KEYS):
            name = row.get("name")
            if not isinstance(name, str) or not name.strip() or "/" in name:
                self.fault(
                    f"{where}.name", f"{_short(name)} is not a name.", "A word or two, without '/'."
                )
                continue
            if name in pieces:
                self.fault(
                    f"{where}.name", f"'{name}' stands twice.", "Every piece needs its own name."
                )
                continue
            piece = piece_entry.read_entry(where, row, self)
            if piece is not None:
                pieces[name] = piece
        return pieces

    def read_quantity(self) -> int:
        return self.count("quantity", self.data.get("quantity", 1), 100)

    def read_allowances(self) -> tuple[dict[str, float], dict[str, dict[str, float]]]:
        sizes: dict[str, float] = {}
        own: dict[str, dict[str, float]] = {}
        for key, value in self.mapping("allowances").items():
            if isinstance(value, Mapping):
                own[key] = {
                    str(k): self.length(f"allowances.{key}.{k}", v, 0, _MAX_ALLOWANCE_MM)
                    for k, v in value.items()
                }
            else:
                sizes[key] = self.length(f"allowances.{key}", value, 0, _MAX_ALLOWANCE_MM)
        for piece, row in self.rows("pieces", piece_entry.KEYS) if "pieces" in self.data else ():
            inner = row.get("allowances")
            if isinstance(inner, Mapping) and isinstance(row.get("name"), str):
                own[row["name"]] = {
                    str(k): self.length(f"{piece}.allowances.{k}", v, 0, _MAX_ALLOWANCE_MM)
                    for k, v in inner.items()
                }
        return sizes, own

    def read_cloth(self) -> Cloth | None:
        if self.data.get("cloth") is None:
            return None
        value = self.data["cloth"]
        try:
            if isinstance(value, str):
                from configs.files import read_yaml

                base = self.path.parent if self.path else Path()
                where = str(self.path) if self.path else "the docket"
                made = "write the cloth into the docket itself: cloth: {width: 1400 mm}"
                path = named_file(base, value, "cloth", where, made)
                inner = read_yaml(path)
                inner.pop("chalkbeam")
                return Cloth.from_dict(inner, where=str(path))
            return Cloth.from_dict(
                {"unit": self.unit, **self.mapping("cloth")},
                where=f"{self.path}: cloth" if self.path else "cloth",
            )
        except InputError as error:
            self.faults += error.faults
            return None

    def read_distance(self) -> float:
        if "distance" not in self.data:
            return DEFAULT_DISTANCE_MM
        return self.length("distance", self.data["distance"], 0.0, 100.0)

    def read_shares(self) -> tuple[str, ...]:
        value = self.data.get("shares")
        if value is None:
            return ()
        names = [value] if isinstance(value, str) else value
        if not isinstance(names, list) or not all(isinstance(n, str) and n.strip() for n in names):
            self.fault("shares", "should list other dockets' files.", "Example: shares: [tie.yaml]")
            return ()
        own = self.path.resolve() if self.path else None
        for name in names:
            if own is not None and (own.parent / name).resolve() == own:
                self.fault("shares", f"'{name}' is this docket itself.", "Name the other one.")
        return tuple(dict.fromkeys(names))

    def read_lay(self) -> tuple[Placement, ...]:
        placements: list[Placement] = []
        seen: set[str] = set()
        for where, row in self.rows("lay", _LAY_KEYS):
            name = row.get("piece")
            if not isinstance(name, str):
                self.fault(f"{where}.piece", "is missing.")
                continue
            turn = row.get("turn", 0)
            if (
                isinstance(turn, bool)
                or not isinstance(turn, int | float)
                or not math.isfinite(turn)
            ):
                self.fault(f"{where}.turn", f"{_short(turn)} is not a number of degrees.")
                turn = 0
            placement = Placement(
                name,
                self.count(f"{where}.copy", row.get("copy", 1)),
                self.point(f"{where}.at", row.get("at")),
                float(turn),
                self.flag(where, row, "mirrored"),
                self.flag(where, row, "locked"),
                self.flag(where, row, "aside"),
            )
            if placement.key in seen:
                self.fault(where, f"{placement.key} is laid twice.", "Number the copies 1, 2, …")
            seen.add(placement.key)
            placements.append(placement)
        return tuple(placements)

    def read_traced(self) -> tuple[str, ...]:
        value = self.data.get("traced")
        if value is None:
            return ()
        if not isinstance(value, list) or not all(
            isinstance(v, str) and re.fullmatch(r"[^/]+/\d+", v) for v in value
        ):
            self.fault("traced", "should be a list of piece/copy.", "Example: [front/1, back/1]")
            return ()
        return tuple(dict.fromkeys(value))

    def read_record(self) -> tuple[Mapping[str, Any], ...]:
        return tuple(dict(row) for _, row in self.rows("record", ("date", "note", "photo")))


def _short(value: Any) -> str:
    return reprlib.repr(value)


def _kind(value: Any) -> str:
    if isinstance(value, bool):
        return "true/false"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, Mapping):
        return "'key: value' pairs"
    return f"the text {_short(value)}" if isinstance(value, str) else _short(value)


_TOP_KEY = re.compile(r"^(?:[A-Za-z_][\w-]*|'[^']*'|\"[^\"]*\")\s*:(?:\s|$)")


def _merge(text: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """The file's text with only the changed top-level sections written anew.

    Falls back to writing all of it when the result would not read back as ``after``.
    """
    fresh = dump_yaml(_dates_kept(after))
    if not text:
        return fresh
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    starts = [i for i, line in enumerate(lines) if _TOP_KEY.match(line)]
    head = lines[: starts[0]] if starts else []
    out = list(head)
    done: set[str] = set()
    for n, start in enumerate(starts):
        end = starts[n + 1] if n + 1 < len(starts) else len(lines)
        block = lines[start:end]
        key = lines[start].split(":", 1)[0].strip().strip("'\"")
        done.add(key)
        tail: list[str] = []  # comments and blank lines at its end belong to what follows
        while len(block) > 1 and (not block[-1].strip() or block[-1].startswith("#")):
            tail.insert(0, block.pop())
        if key not in after:
            block = []
        elif after[key] != before.get(key):
            block = dump_yaml({key: after[key]}).splitlines(keepends=True)
        out += block + tail
    rest = {k: v for k, v in after.items() if k not in done}
    if rest:
        out += dump_yaml(rest).splitlines(keepends=True)
    merged = "".join(out)
    try:
        same = parse_yaml(merged, "") == dict(after)
    except InputError:
        same = False
    return merged if same else fresh


def _dates_kept(data: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v.isoformat() if isinstance(v, datetime.datetime) else v for k, v in data.items()}
