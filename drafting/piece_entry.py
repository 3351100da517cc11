"""An imported piece as it stands in a docket, under ``pieces``: written and read back.

Beside the docket. A drafted piece is computed again from the measurements; one that came from a
drawing has nothing to be computed from, so all of it is written down: its edges, and what lies on
them and inside (notches, darts, marks), the kind of its corners, its own cutting line.
"""

from __future__ import annotations

import math
import reprlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

from configs.errors import Fault, InputError
from configs.files import unknown_keys
from drafting.allowance import KINDS
from drafting.outline import JOIN_MM
from drafting.piece import Dart, Line, Mark, Notch, Piece

KEYS = (
    "name",
    "outline",
    "edges",
    "cut",
    "pair",
    "fold",
    "grain",
    "turns",
    "allowances",
    "corners",
    "cutting",
    "notches",
    "darts",
    "marks",
    "label",
)
_NOTCH_KEYS = ("edge", "at", "count", "match")
_DART_KEYS = ("edge", "first", "second", "tip")
_MARK_KEYS = ("name", "points", "closed")
_CORNER_KEYS = ("edges", "kind", "by")
_LONGEST_MM = 1e5


class Values(Protocol):
    """What a docket's reader offers: each reads one value and notes its fault with its place."""

    faults: list[Fault]

    def fault(self, key: str, what: str, remedy: str = "") -> None:
        """Note a fault at a key."""

    def place(self, key: str) -> str:
        """The key with the file's name before it."""

    def length(self, key: str, value: Any, low: float, high: float) -> float:
        """A length in mm."""

    def point(self, key: str, value: Any) -> tuple[float, float]:
        """(x, y) mm."""

    def points(self, key: str, value: Any) -> list[tuple[float, float]]:
        """A list of (x, y) mm."""

    def flag(self, where: str, row: Mapping[str, Any], key: str) -> bool:
        """True or false."""

    def count(self, where: str, value: Any, most: int = 1000) -> int:
        """A whole number from 1."""


def entry_of(piece: Piece, unit: str = "mm") -> dict[str, Any]:
    """The entry of ``pieces``; ``unit``: the docket's, lengths say 'mm' where that is another."""

    def mm(value: float) -> Any:
        number = round(float(value), 5) + 0.0
        return number if unit == "mm" else f"{number:.10g} mm"

    def xy(point: Any) -> list[Any]:
        return [mm(point[0]), mm(point[1])]

    entry: dict[str, Any] = {"name": piece.name}
    if len(piece.edges) > 1:
        entry["edges"] = {n: [xy(q) for q in e.points] for n, e in piece.edges.items()}
    else:
        entry["outline"] = [xy(q) for q in piece.sewing_line]
    entry["cut"] = piece.cut
    if piece.pair:
        entry["pair"] = True
    if piece.fold is not None:
        entry["fold"] = [xy(q) for q in piece.fold]
    entry["grain"] = [xy(q) for q in piece.grain]
    entry["turns"] = [float(t) for t in piece.turns]
    if piece.corners:
        entry["corners"] = [
            {"edges": [a, b], "kind": kind, "by": lead}
            for (a, b), (kind, lead) in piece.corners.items()
        ]
    if piece.own_cutting_line is not None:
        entry["cutting"] = [xy(q) for q in piece.own_cutting_line]
    if piece.notches:
        entry["notches"] = [
            {"edge": n.edge, "at": mm(n.at_mm), "count": n.count}
            | ({"match": n.match} if n.match else {})
            for n in piece.notches
        ]
    if piece.darts:
        entry["darts"] = [
            {"edge": d.edge, "first": xy(d.first), "second": xy(d.second), "tip": xy(d.tip)}
            for d in piece.darts
        ]
    if piece.marks:
        entry["marks"] = [
            {"name": m.name, "points": [xy(q) for q in m.points]}
            | ({"closed": True} if m.closed else {})
            for m in piece.marks
        ]
    if piece.label not in ((), (piece.name,)):
        entry["label"] = list(piece.label)
    return entry


def read_entry(where: str, row: Mapping[str, Any], values: Values) -> Piece | None:
    """The piece of one entry; None with its faults noted."""
    before = len(values.faults)
    name = str(row.get("name"))
    edges: dict[str, list[tuple[float, float]]] | None = None
    outline: list[tuple[float, float]] = []
    if isinstance(row.get("edges"), Mapping):
        edges = {str(k): values.points(f"{where}.edges.{k}", v) for k, v in row["edges"].items()}
        outline = [p for e in edges.values() for p in e[:-1]]
    elif "outline" in row:
        outline = values.points(f"{where}.outline", row["outline"])
    else:
        values.fault(where, "has neither 'outline' nor 'edges'.")
    fold = _segment(f"{where}.fold", row.get("fold"), values)
    grain = _segment(f"{where}.grain", row.get("grain"), values)
    turns = row.get("turns", [0, 180])
    if (
        not isinstance(turns, list | tuple)
        or not turns
        or not all(
            isinstance(t, int | float) and not isinstance(t, bool) and math.isfinite(t)
            for t in turns
        )
    ):
        values.fault(
            f"{where}.turns",
            f"{reprlib.repr(turns)} is not a list of degrees.",
            "Example: [0, 180]",
        )
    cut = values.count(f"{where}.cut", row.get("cut", 1), 100)
    pair = values.flag(where, row, "pair")
    details = _details(where, row, values)
    if (
        edges is None
        and fold is not None
        and details.keys() & {"darts", "marks", "own_cutting_line"}
    ):
        values.fault(
            where,
            "is moved to its fold, so what lies inside has no place.",
            "Give it by 'edges', one of them named 'fold', on x = 0.",
        )
    if len(values.faults) > before:
        return None
    try:
        piece = Piece.from_outline(
            name,
            outline,
            cut=cut,
            pair=pair,
            fold=fold,
            turns=tuple(float(t) for t in turns),
            grain=grain,
            edges=edges,
        )
        if details.get("notches"):
            details["notches"] = tuple(_on_edge(n, piece) for n in details["notches"])
        return piece.with_(**details) if details else piece
    except InputError as error:
        for f in error.faults:
            of = f.where.removeprefix(f"piece '{name}'")
            values.fault(f"{where} ({name}){of}", f.what, f.remedy)
        return None


def _details(where: str, row: Mapping[str, Any], values: Values) -> dict[str, Any]:
    """What lies on the edges and inside, as fields of a `Piece`; only what is written."""
    made: dict[str, Any] = {}

    def each(key: str, known: Sequence[str], read: Callable[[str, Mapping[str, Any]], Any]) -> None:
        rows = row.get(key)
        if rows is None:
            return
        if not isinstance(rows, list):
            values.fault(f"{where}.{key}", f"should be a list, not {reprlib.repr(rows)}.")
            return
        found = []
        for i, inner in enumerate(rows):
            at = f"{where}.{key}[{i}]"
            if not isinstance(inner, Mapping):
                values.fault(at, f"should hold 'key: value' pairs, not {reprlib.repr(inner)}.")
                continue
            values.faults += unknown_keys(inner, known, values.place(at))
            found.append(read(at, inner))
        made[key] = tuple(found)

    def text(at: str, inner: Mapping[str, Any], key: str, need: bool = True) -> str:
        value = inner.get(key, "" if not need else None)
        if not isinstance(value, str) or (need and not value.strip()):
            values.fault(f"{at}.{key}", f"{reprlib.repr(value)} is not a name.")
            return ""
        return value

    def notch(at: str, inner: Mapping[str, Any]) -> Notch:
        return Notch(
            text(at, inner, "edge"),
            values.length(f"{at}.at", inner.get("at"), 0.0, _LONGEST_MM),
            values.count(f"{at}.count", inner.get("count", 1), 9),
            text(at, inner, "match", need=False),
        )

    def dart(at: str, inner: Mapping[str, Any]) -> Dart:
        first, second, tip = (
            values.point(f"{at}.{k}", inner.get(k)) for k in ("first", "second", "tip")
        )
        return Dart(text(at, inner, "edge"), first, second, tip)

    def mark(at: str, inner: Mapping[str, Any]) -> Mark | None:
        points = values.points(f"{at}.points", inner.get("points"))
        name, closed = text(at, inner, "name"), values.flag(at, inner, "closed")
        if not points:
            values.fault(f"{at}.points", "holds no point.", "One point is a drill hole.")
            return None
        return Mark(name, points, closed)  # type: ignore[arg-type]  # a Mark takes any list of pairs

    def corner(at: str, inner: Mapping[str, Any]) -> tuple[tuple[str, str], tuple[str, str]] | None:
        pair = inner.get("edges")
        kind, lead = inner.get("kind"), text(at, inner, "by")
        if (
            not isinstance(pair, list)
            or len(pair) != 2
            or not all(isinstance(e, str) for e in pair)
        ):
            values.fault(f"{at}.edges", "should be the two edges that meet there.")
            return None
        if kind not in KINDS or lead not in pair:
            values.fault(
                at,
                "should say its kind and by which of its edges.",
                f"Kinds are {', '.join(KINDS)}.",
            )
            return None
        return (pair[0], pair[1]), (kind, lead)

    each("notches", _NOTCH_KEYS, notch)
    each("darts", _DART_KEYS, dart)
    each("marks", _MARK_KEYS, mark)
    each("corners", _CORNER_KEYS, corner)
    if "corners" in made:
        made["corners"] = dict(c for c in made["corners"] if c is not None)
    if row.get("cutting") is not None:
        made["own_cutting_line"] = values.points(f"{where}.cutting", row["cutting"])
    if row.get("label") is not None:
        label = row["label"]
        if not isinstance(label, list) or not all(isinstance(t, str) for t in label):
            values.fault(f"{where}.label", "should be a list of lines of text.")
        else:
            made["label"] = tuple(label)
    return made


def _on_edge(notch: Notch, piece: Piece) -> Notch:
    """The notch, at the edge's very end where only the rounding of numbers put it past that."""
    edge = piece.edges.get(notch.edge)
    if edge is not None and edge.length_mm < notch.at_mm < edge.length_mm + JOIN_MM:
        return replace(notch, at_mm=edge.length_mm)
    return notch


def _segment(key: str, value: Any, values: Values) -> Line | None:
    if value is None:
        return None
    ends = values.points(key, value)
    if len(ends) != 2 or ends[0] == ends[1]:
        values.fault(key, "should be the line's two ends: [[x, y], [x, y]].")
        return None
    return ends[0], ends[1]
