"""The ``changes`` of a garment: the scissors' operations as she writes them, replayed in order.

Between the docket and the operations. Each entry is one operation by trade words: a verb with the
piece that it works on, and what it needs. `read_changes` reads the whole list with all its faults;
`replay` does one after the other on whatever the measures gave this time. Taking an entry out of
the list undoes it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from typing import Any

from configs.errors import DraftError, Fault
from configs.reader import Reader, nearest
from drafting.piece import Piece
from drafting.shaping import adding, cuffs, cutting, opening, spreading, walking
from drafting.shaping.parts import edge_named
from drafting.shaping.places import CutLine, beside, level_line, level_y, line_between
from drafting.shaping.state import Work
from drafting.sheet.inside import INTERFACING

_MOST_MM = 3000.0
_LEAST_BARE_MM = 3.0  # a bare number below it was hardly meant in mm
_MOST_LINES = 24
MOST_CHANGES = 200


@dataclass(frozen=True)
class Change:
    """One entry, read: its ``name``, where it stands (``key``), and what it does."""

    name: str
    key: str
    act: Callable[[Work], Work]


@dataclass(frozen=True)
class Said:
    """One thing that an operation is told: the ``keys`` that say it, how they are read, and whether
    the first of them must be there."""

    keys: tuple[str, ...]
    read: Callable[[Reader], Any]
    needed: bool = False


@dataclass(frozen=True)
class Verb:
    """An operation that can be asked for.

    ``act``: does it, from the work, the piece's name and what is ``said``, in this order; ``many``: it
    works on several pieces (two, where it says so), and this is told where none are named.
    """

    word: str
    text: str
    example: str
    act: Callable[..., Work]
    said: tuple[Said, ...] = ()
    many: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys that it takes."""
        return tuple(k for s in self.said for k in s.keys)


def read_changes(reader: Reader, key: str = "changes") -> tuple[Change, ...]:
    """The list of changes at a key; faults are noted in the reader."""
    items = reader.items(key)
    if len(items) > MOST_CHANGES:
        reader.note(key, f"holds {len(items)} changes; at most {MOST_CHANGES} are read.")
        return ()
    read = [_read(row, f"{key}[{i}]") for i, row in enumerate(reader.rows(key))]
    return tuple(change for change in read if change is not None)


def _read(row: Reader, key: str) -> Change | None:
    verbs = [w for w in VERBS if w in row.data]
    if len(verbs) != 1:
        known = ", ".join(VERBS)
        if verbs:
            row.note("", f"holds two operations, {' and '.join(verbs)}.", "Make two entries.")
        else:
            odd = [str(k) for k in row.data if k != "name"]
            hint = next((h for k in odd if (h := nearest(k, VERBS))), "")
            row.note("", f"names no operation; there are {known}.", hint)
        return None
    verb = VERBS[verbs[0]]
    before = len(row.faults)
    row.only((verb.word, "name", *verb.keys))
    name = row.text("name") or f"{verb.word} {row.get(verb.word)}"
    of: str | tuple[str, ...]
    if verb.many:
        of = row.texts(verb.word)
        if not of or ("two" in verb.many and len(of) != 2):
            row.note(verb.word, verb.many)
    else:
        of = " ".join(row.text(verb.word, need=True).split())
    for said in verb.said:
        if said.needed and not row.has(said.keys[0]):
            row.note(said.keys[0], "is missing.")
    told = [said.read(row) for said in verb.said]
    if len(row.faults) > before:
        row.faults[before:] = [
            replace(f, remedy=f.remedy or f"Such as {verb.example}") for f in row.faults[before:]
        ]
        return None
    return Change(name, key, lambda work: verb.act(work, of, *told))


def replay(work: Work, changes: Sequence[Change]) -> Work:
    """Every change done, in order.

    Raises:
        DraftError: one that cannot be done here, by its place in the list and its name.
    """
    for change in changes:
        try:
            work = change.act(work)
        except ValueError as error:
            faults = getattr(error, "faults", None) or (Fault("", str(error)),)
            where = f"{change.key} ({change.name})"
            raise DraftError(
                [replace(f, where=where if not f.where else f"{where}, {f.where}") for f in faults]
            ) from error
    return work


# --- reading each ------------------------------------------------------------------------------


def _length(row: Reader, key: str, low: float = 0.0, otherwise: float = 0.0) -> float:
    return row.length(key, low, _MOST_MM, least=_LEAST_BARE_MM) if row.has(key) else otherwise


def _mm(key: str, low: float = 0.0, otherwise: float = 0.0, needed: bool = False) -> Said:
    return Said((key,), lambda row: _length(row, key, low, otherwise), needed)


def _text(key: str, needed: bool = False, otherwise: str = "") -> Said:
    return Said((key,), lambda row: " ".join(row.text(key, otherwise).split()), needed)


def _word(key: str, known: Collection[str], needed: bool = False) -> Said:
    return Said((key,), lambda row: row.word(key, known), needed)


def _cut_line(row: Reader) -> Callable[[Work, Piece], CutLine]:
    """How the line of a cut is told: from … to …, a level, or along an edge."""
    ways = [k for k in ("from", "level", "along") if row.has(k)]
    if len(ways) != 1:
        row.note(
            "",
            "does not say where the line runs."
            if not ways
            else f"says it twice: {', '.join(ways)}.",
            "Give 'from' and 'to', or 'level', or 'along' and 'by'.",
        )
    second = {"from": "to", "along": "by"}.get("".join(ways))
    if second is not None and not row.has(second):
        row.note(second, "is missing.")
    if ways == ["from"]:
        start, end = row.text("from"), row.text("to")
        through = row.texts("through")
        bend = _length(row, "bend", -500.0)
        return lambda w, p: line_between(p, start, end, through, bend, w.unit)
    if ways == ["along"]:
        edge, by = row.text("along"), _length(row, "by", 1.0)
        return lambda w, p: beside(p, edge_named(p, edge), by)
    level = row.text("level")
    return lambda w, p: level_line(p, level_y(p, level, w.unit))


def _into(row: Reader) -> tuple[str, ...]:
    into = row.texts("into")
    if row.has("into") and len(into) != 2:
        row.note("into", "should name the two parts.", "Such as 'into: [yoke, body]'.")
    return into


def _share(row: Reader) -> float:
    if not row.has("share"):
        return 1.0
    text = str(row.get("share")).strip()
    try:
        share = float(Fraction(text.rstrip("% "))) / (100.0 if text.endswith("%") else 1.0)
    except (ValueError, ZeroDivisionError):
        share = 0.0
    if not 0.0 < share <= 1.0:
        row.note("share", f"{text!r} is no share.", "Such as 1/2 or 30 %.")
        return 1.0
    return share


def _new_dart(row: Reader) -> opening.NewDart:
    share, kind = _share(row), row.word("as", ("dart", "flare", *walking.KINDS))
    return opening.NewDart(share, kind, _length(row, "short"), _length(row, "by"))


def _how_much(row: Reader) -> tuple[str, float]:
    """By which word a spread is told, and its value."""
    ways = [k for k in ("by", "ratio", "length") if row.has(k)]
    if len(ways) != 1:
        row.note("", "should say how much once: 'by', 'ratio' or 'length'.")
    told = {
        "by": _length(row, "by", -_MOST_MM),
        "ratio": row.number("ratio", 1.0, 0.5, 5.0),
        "length": _length(row, "length"),
    }
    way = ways[0] if ways else "length"
    return way, told[way]


def _copied(row: Reader) -> Callable[[Work, str], Work]:
    """Which copy of a piece is meant, and how it differs from it."""
    kind = row.word("for", (INTERFACING, adding.LINING))
    for key in ("shorter", "edge") if kind == INTERFACING else ("short", "count"):
        if row.has(key):
            row.note(
                key,
                f"says nothing of {kind}.",
                "Lining takes 'shorter' at an 'edge'; interfacing 'short' all round and 'count', how many.",
            )
    shorter, edge = _length(row, "shorter"), row.text("edge", "hem")
    short, count = _length(row, "short"), row.count("count", high=50) if row.has("count") else 0
    if kind == INTERFACING:
        return lambda w, name: cuffs.interfacing(w, name, short, count)
    return lambda w, name: adding.lining(w, name, shorter, edge)


def _fullness(row: Reader) -> tuple[float, float]:
    ease, girth = _length(row, "ease"), _length(row, "girth", 20.0)
    if ease and girth:
        row.note("girth", "says with 'ease' the same twice.", "Give one of them.")
    return ease, girth


_EDGE, _AS = _text("edge", needed=True), _text("as")


_VERBS = (
    Verb(
        "cut",
        "Cut a piece in two along a line: between two places, at a level, or beside an edge.",
        "{cut: front, level: 9 cm below shoulder at neckline, into: [yoke, front]}",
        lambda work, name, line, *how: cutting.cut(work, name, line(work, work.piece(name)), *how),
        (
            Said(("from", "to", "through", "bend", "level", "along", "by"), _cut_line),
            Said(("seam",), lambda row: row.text("seam", row.text("name") or "new seam")),
            Said(("into",), _into),
            Said(
                ("notches",),
                lambda row: row.count("notches", low=0, high=20) if row.has("notches") else None,
            ),
        ),
    ),
    Verb(
        "pivot",
        "Move a dart about its point to another place, whole or in part; or take one from an edge.",
        "{pivot: front, from: dart 1, to: side 6 cm from waist}",
        opening.pivoted,
        (
            _text("about"),
            _text("from", needed=True),
            _text("to", needed=True),
            Said(("share", "as", "short", "by"), _new_dart),
        ),
    ),
    Verb(
        "turn",
        "Turn a dart into gathers, ease, a pleat or a tuck.",
        "{turn: front, dart: 1, into: gathers}",
        walking.turned,
        (_text("dart", needed=True), _word("into", walking.KINDS, needed=True)),
    ),
    Verb(
        "spread",
        "Slash and spread (or, with less than 0, take in) along one line or several.",
        "{spread: front, from: neckline, to: hem, lines: 5, ratio: 1.5, hinge: hem}",
        opening.slashed,
        (
            _text("from", needed=True),
            _text("to", needed=True),
            Said(("lines",), lambda row: row.count("lines", high=_MOST_LINES)),
            _text("hinge"),
            Said(("by", "ratio", "length"), _how_much),
            _word("as", ("cloth", "gathers", "ease", "pleats")),
        ),
    ),
    Verb(
        "lengthen",
        "Lengthen (or, with less than 0, shorten) at a level.",
        "{lengthen: front, at: side notch, by: 3 cm}",
        opening.lengthened,
        (_text("at", needed=True), _mm("by", -_MOST_MM, needed=True)),
    ),
    Verb(
        "strip",
        "Add a strip along a straight edge: button stand, grown-on facing, pleat, hem.",
        "{strip: front, edge: centre front, width: 6 cm}",
        adding.strip,
        (_EDGE, _mm("width", 1.0, needed=True), _text("line")),
    ),
    Verb(
        "join",
        "Lay two pieces together along an edge and make them one.",
        "{join: [front yoke, back yoke], edge: shoulder, as: yoke}",
        cutting.join,
        (_EDGE, _text("to"), _AS),
        many="should name two pieces.",
    ),
    Verb(
        "seam at fold",
        "Give a piece on the fold a seam there.",
        "{seam at fold: back}",
        cutting.seam_at_fold,
        (_AS,),
    ),
    Verb("unfold", "Open out a piece that lies on the fold.", "{unfold: front}", cutting.unfold),
    Verb("part", "Make a pair a left and a right piece.", "{part: sleeve}", cutting.apart),
    Verb(
        "face",
        "Draft a facing from one edge, or an all-in-one facing from several.",
        "{face: front, edges: [neckline], width: 6 cm}",
        adding.facing,
        (
            Said(("edges",), partial(Reader.texts, key="edges"), needed=True),
            _mm("width", 5.0, needed=True),
            _AS,
        ),
    ),
    Verb(
        "band",
        "Draft a straight band, folded along its middle, for an edge.",
        "{band: front, edge: neckline, width: 3 cm}",
        adding.band,
        (_EDGE, _mm("width", 5.0, needed=True), _mm("ease"), _mm("overlap"), _AS),
    ),
    Verb(
        "bind",
        "Cut a bias binding for an edge, which then takes no allowance.",
        "{bind: front, edge: neckline, width: 28 mm}",
        adding.bind,
        (_EDGE, _mm("width", 8.0, 28.0), _AS),
    ),
    Verb(
        "stand",
        "Draft a collar stand for a neckline, from the back piece to the front one.",
        "{stand: [back, front], height: 3 cm, rise: 1.5 cm}",
        adding.stand,
        (
            _text("edge", otherwise="neckline"),
            _mm("height", 5.0, 30.0),
            _mm("rise", 0.0, 15.0),
            _AS,
        ),
        many="should name the pieces of the neckline, back first.",
    ),
    Verb(
        "cuff",
        "Draft a shaped cuff from a sleeve's finished end, following its slope on or turned back.",
        "{cuff: sleeve, edge: hem, width: 6 cm, overlap: 2 cm}",
        cuffs.cuff,
        (
            _EDGE,
            _mm("width", 10.0, needed=True),
            Said(("ease", "girth"), _fullness),
            _mm("overlap"),
            Said(("turned",), partial(Reader.flag, key="turned")),
            _AS,
        ),
        many="should name the pieces whose edges make the sleeve's end.",
    ),
    Verb(
        "patch",
        "Draft a patch pocket and mark its place.",
        "{patch: front, across: 12 cm, level: 2 cm below side at armhole, width: 11 cm, depth: 13 cm}",
        adding.patch,
        (
            _mm("across", needed=True),
            _text("level", needed=True),
            _mm("width", 40.0, needed=True),
            _mm("depth", 40.0, needed=True),
            _AS,
        ),
    ),
    Verb(
        "copy",
        "Copy a piece for lining, or for interfacing: on the sewing line or short of it, darts cut out.",
        "{copy: front, for: lining, shorter: 2 cm}",
        lambda work, name, copied: copied(work, name),
        (Said(("for", "shorter", "edge", "short", "count"), _copied),),
    ),
    Verb(
        "pocket bag",
        "Draft an in-seam pocket bag and notch its opening.",
        "{pocket bag: front, edge: side, at: 6 cm, opening: 15 cm}",
        adding.pocket_bag,
        (
            _EDGE,
            _mm("at", needed=True),
            _mm("opening", 50.0, needed=True),
            _mm("depth", otherwise=130.0),
            _AS,
        ),
    ),
    Verb(
        "true up",
        "Redraw the corners inside an edge as smooth curves.",
        "{true up: front, edge: waist}",
        spreading.trued_up,
        (_EDGE, _mm("reach", otherwise=30.0)),
    ),
    Verb(
        "walk",
        "Walk one edge along another and tell what is found.",
        "{walk: front, edge: shoulder, along: back}",
        walking.walked,
        (_EDGE, _text("along", needed=True), _text("to")),
    ),
    Verb(
        "landmark",
        "Name a place inside a piece, by its distance from the centre line and its level.",
        "{landmark: front, as: bust point, across: 9.5 cm, level: side at armhole}",
        adding.landmark,
        (_text("as", needed=True), _mm("across", needed=True), _text("level", needed=True)),
    ),
)
VERBS: Mapping[str, Verb] = {v.word: v for v in _VERBS}
