"""An imported piece as it stands in a docket, under ``pieces``: written and read back.

Beside the docket. A drafted piece is computed again from the measurements; one that came from a
drawing has nothing to be computed from, so all of it is written down: its edges, and what lies on
them and inside (notches, darts, marks), the kind of its corners, its own cutting line.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from configs.errors import InputError, is_shown, short
from configs.reader import Reader, as_number
from drafting.allowance import KINDS
from drafting.outline import JOIN_MM
from drafting.piece import Dart, Mark, Notch, Piece

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
    "landmarks",
    "label",
)
_NOTCH_KEYS = ("edge", "at", "count", "match")
_DART_KEYS = ("edge", "first", "second", "tip")
_MARK_KEYS = ("name", "points", "closed")
_CORNER_KEYS = ("edges", "kind", "by")
_LONGEST_MM = 1e5


def entry_of(piece: Piece, unit: str = "mm") -> dict[str, Any]:
    """The entry of ``pieces``; ``unit``: the docket's, lengths say 'mm' where that is another."""

    def mm(value: float) -> Any:
        number = round(float(value), 5) + 0.0
        return number if unit == "mm" else f"{number:.10g} mm"

    def xy(point: Any) -> list[Any]:
        return [mm(point[0]), mm(point[1])]

    def line(points: Any) -> list[Any]:
        return [xy(q) for q in points]

    whole, own = len(piece.edges) == 1, piece.own_cutting_line
    entry: dict[str, Any] = {
        "name": piece.name,
        "edges": {} if whole else {n: line(e.points) for n, e in piece.edges.items()},
        "outline": line(piece.sewing_line) if whole else [],
        "cut": piece.cut,
        "pair": piece.pair,
        "fold": line(piece.fold or ()),
        "grain": line(piece.grain),
        "turns": [float(t) for t in piece.turns],
        "corners": [
            {"edges": [a, b], "kind": kind, "by": lead}
            for (a, b), (kind, lead) in piece.corners.items()
        ],
        "cutting": [] if own is None else line(own),
        "notches": [
            {"edge": n.edge, "at": mm(n.at_mm), "count": n.count}
            | ({"match": n.match} if n.match else {})
            for n in piece.notches
        ],
        "darts": [
            {"edge": d.edge, "first": xy(d.first), "second": xy(d.second), "tip": xy(d.tip)}
            for d in piece.darts
        ],
        "marks": [
            {"name": m.name, "points": line(m.points)} | ({"closed": True} if m.closed else {})
            for m in piece.marks
        ],
        "landmarks": {n: xy(p) for n, p in piece.landmarks.items()},
        "label": [] if piece.label in ((), (piece.name,)) else list(piece.label),
    }
    return {k: v for k, v in entry.items() if v}  # what is not there is not said


def read_entries(top: Reader, key: str) -> dict[str, Piece]:
    """The pieces listed at a key, by name; faults are noted."""
    pieces: dict[str, Piece] = {}
    for row in top.rows(key, KEYS):
        name = row.get("name")
        if (
            not isinstance(name, str)
            or not name.strip()
            or not is_shown(name)
            or "/" in name
            or len(name) > 80
        ):
            row.note("name", f"{short(name)} is not a name.", "A word or two, without '/'.")
            continue
        if name in pieces:
            row.note("name", f"'{name}' stands twice.", "Every piece needs its own name.")
            continue
        piece = read_entry(row)
        if piece is not None:
            pieces[name] = piece
    return pieces


def read_entry(row: Reader) -> Piece | None:
    """The piece of one entry; None with its faults noted."""
    before = len(row.faults)
    name = str(row.get("name"))
    edges: dict[str, list[tuple[float, float]]] | None = None
    outline: list[tuple[float, float]] = []
    if isinstance(row.get("edges"), Mapping):
        each = row.sub("edges")
        edges = {str(k): each.points(k) for k in each.data}
        outline = [p for e in edges.values() for p in e[:-1]]
    elif "outline" in row.data:
        outline = row.points("outline")
    else:
        row.note("", "has neither 'outline' nor 'edges'.")
    fold, grain = row.segment("fold"), row.segment("grain")
    turns = _turns(row)
    cut, pair = row.count("cut", high=100), row.flag("pair")
    details = _details(row)
    if (
        edges is None
        and fold is not None
        and details.keys() & {"darts", "marks", "own_cutting_line", "landmarks"}
    ):
        row.note(
            "",
            "is moved to its fold, so what lies inside has no place.",
            "Give it by 'edges', one of them named 'fold', on x = 0.",
        )
    if len(row.faults) > before:
        return None
    try:
        piece = Piece.from_outline(
            name, outline, cut=cut, pair=pair, fold=fold, turns=turns, grain=grain, edges=edges
        )
        if details.get("notches"):
            details["notches"] = tuple(_on_edge(n, piece) for n in details["notches"])
        return piece.with_(**details) if details else piece
    except InputError as error:
        for f in error.faults:
            of = f.where.removeprefix(f"piece '{name}'")
            row.faults.append(replace(f, where=f"{row.place()} ({name}){of}"))
        return None


def _turns(row: Reader) -> tuple[float, ...]:
    turns = row.get("turns", [0, 180])
    found = [as_number(t) for t in turns] if isinstance(turns, list | tuple) else []
    if not found or any(t is None or abs(t) > 1e6 for t in found):
        row.note("turns", f"{short(turns)} is not a list of degrees.", "Example: [0, 180]", turns)
        return (0.0, 180.0)
    return tuple(t for t in found if t is not None)


def _details(row: Reader) -> dict[str, Any]:
    """What lies on the edges and inside, as fields of a `Piece`; only what is written."""
    made: dict[str, Any] = {}
    readers: tuple[tuple[str, Sequence[str], Callable[[Reader], Any]], ...] = (
        ("notches", _NOTCH_KEYS, _notch),
        ("darts", _DART_KEYS, _dart),
        ("marks", _MARK_KEYS, _mark),
        ("corners", _CORNER_KEYS, _corner),
    )
    for key, known, read in readers:
        if row.has(key):
            made[key] = tuple(read(inner) for inner in row.rows(key, known))
    if "corners" in made:
        made["corners"] = dict(c for c in made["corners"] if c is not None)
    if row.has("landmarks"):
        each = row.sub("landmarks")
        made["landmarks"] = {str(k): each.point(str(k)) for k in each.data}
    if row.has("cutting"):
        made["own_cutting_line"] = row.points("cutting")
    if row.has("label"):
        label = row.get("label")
        if (
            not isinstance(label, list)
            or len(label) > 20
            or not all(isinstance(t, str) and is_shown(t) for t in label)
        ):
            row.note("label", "should be a list of lines of text.", got=label)
        else:
            made["label"] = tuple(label)
    return made


def _notch(row: Reader) -> Notch:
    return Notch(
        row.text("edge", need=True),
        row.length("at", 0.0, _LONGEST_MM, least=0.0),
        row.count("count", high=9),
        row.text("match"),
    )


def _dart(row: Reader) -> Dart:
    first, second, tip = (row.point(k) for k in ("first", "second", "tip"))
    return Dart(row.text("edge", need=True), first, second, tip)


def _mark(row: Reader) -> Mark | None:
    points = row.points("points")
    name, closed = row.text("name", need=True), row.flag("closed")
    if not points:
        row.note("points", "holds no point.", "One point is a drill hole.")
        return None
    return Mark(name, points, closed)  # type: ignore[arg-type]  # a Mark takes any list of pairs


def _corner(row: Reader) -> tuple[tuple[str, str], tuple[str, str]] | None:
    pair, kind, lead = row.get("edges"), row.get("kind"), row.text("by", need=True)
    if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(e, str) for e in pair):
        row.note("edges", "should be the two edges that meet there.", got=pair)
        return None
    if not isinstance(kind, str) or kind not in KINDS or lead not in pair:
        row.note(
            "",
            "should say its kind and by which of its edges.",
            f"Kinds are {', '.join(KINDS)}.",
        )
        return None
    return (pair[0], pair[1]), (kind, lead)


def _on_edge(notch: Notch, piece: Piece) -> Notch:
    """The notch, at the edge's very end where only the rounding of numbers put it past that."""
    edge = piece.edges.get(notch.edge)
    if edge is not None and edge.length_mm < notch.at_mm < edge.length_mm + JOIN_MM:
        return replace(notch, at_mm=edge.length_mm)
    return notch
