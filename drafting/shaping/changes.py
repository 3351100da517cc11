"""The ``changes`` of a garment: the scissors' operations as she writes them, replayed in order.

Between the docket and the operations. Each entry is one operation by trade words: a verb with the
piece that it works on, and what it needs. `read_changes` reads the whole list with all its faults;
`replay` does one after the other on whatever the measures gave this time. Taking an entry out of
the list undoes it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from configs.errors import DraftError, Fault
from configs.reader import Reader, nearest
from configs.units import length_text
from drafting.piece import Dart, Piece
from drafting.shaping import adding, cuffs, cutting, pivoting, spreading, walking
from drafting.shaping.mending import mended
from drafting.shaping.parts import End, refuse
from drafting.shaping.places import (
    CutLine,
    beside,
    dart_named,
    edge_named,
    level_line,
    level_y,
    line_between,
    place,
)
from drafting.shaping.state import Work
from drafting.sheet.inside import INTERFACING

Act = Callable[[Work], Work]
_MOST_MM = 3000.0
_LEAST_BARE_MM = 3.0  # a bare number below it was hardly meant in mm
_MOST_LINES = 24
_MOST_TRIES, _EXACT_MM = 12, 1e-3
MOST_CHANGES = 200
TOLD_MM = 0.5  # an edge that truing moved by less is not worth a word


@dataclass(frozen=True)
class Change:
    """One entry, read: its ``name``, where it stands (``key``), and what it does."""

    name: str
    key: str
    act: Act


@dataclass(frozen=True)
class Verb:
    """An operation that can be asked for: ``keys`` that it takes, an ``example``, how it is read."""

    word: str
    text: str
    keys: tuple[str, ...]
    example: str
    read: Callable[[Reader, str], Act]


def read_changes(reader: Reader, key: str = "changes") -> tuple[Change, ...]:
    """The list of changes at a key; faults are noted in the reader."""
    items = reader.items(key)
    if len(items) > MOST_CHANGES:
        reader.note(key, f"holds {len(items)} changes; at most {MOST_CHANGES} are read.")
        return ()
    out = []
    for i, row in enumerate(reader.rows(key)):
        change = _read(row, f"{key}[{i}]")
        if change is not None:
            out.append(change)
    return tuple(out)


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
    piece = row.text(verb.word, need=True) if verb.word not in ("join", "stand", "cuff") else ""
    act = verb.read(row, " ".join(piece.split()))
    if len(row.faults) > before:
        row.faults[before:] = [
            replace(f, remedy=f.remedy or f"Such as {verb.example}") for f in row.faults[before:]
        ]
        return None
    return Change(name, key, act)


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


def _mm(row: Reader, key: str, low: float = 0.0, otherwise: float = 0.0) -> float:
    return row.length(key, low, _MOST_MM, least=_LEAST_BARE_MM) if row.has(key) else otherwise


def _needs(row: Reader, *keys: str) -> None:
    for key in keys:
        if not row.has(key):
            row.note(key, "is missing.")


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
    if ways == ["from"]:
        _needs(row, "to")
        start, end = row.text("from"), row.text("to")
        through = row.texts("through")
        bend = _mm(row, "bend", -500.0)
        return lambda w, p: line_between(p, start, end, through, bend, w.unit)
    if ways == ["along"]:
        _needs(row, "by")
        edge, by = row.text("along"), _mm(row, "by", 1.0)
        return lambda w, p: beside(p, edge_named(p, edge), by)
    level = row.text("level")
    return lambda w, p: level_line(p, level_y(p, level, w.unit))


def _cut(row: Reader, name: str) -> Act:
    line = _cut_line(row)
    seam = row.text("seam", row.text("name") or "new seam")
    into = row.texts("into")
    if row.has("into") and len(into) != 2:
        row.note("into", "should name the two parts.", "Such as 'into: [yoke, body]'.")
    count = row.count("notches", low=0, high=20) if row.has("notches") else None
    return lambda w: cutting.cut(w, name, line(w, w.piece(name)), seam, into, count)


def _pivot(row: Reader, name: str) -> Act:
    _needs(row, "from", "to")
    about, start, to = row.text("about"), row.text("from"), row.text("to")
    share = _share(row)
    kind = row.word("as", ("dart", "flare", *walking.KINDS))
    short = _mm(row, "short")
    by = _mm(row, "by")

    def act(work: Work) -> Work:
        piece = work.piece(name)
        source = place(piece, start, work.unit)
        target = place(piece, to, work.unit)
        if target.end is None or target.dart is not None:
            raise refuse(f"'{to}' is no place on the outline where a dart could open.")
        opened = target.end
        if source.dart is not None:
            point = place(piece, about, work.unit).point if about else source.dart.tip
            assert source.end is not None
            how = pivoting.FLARE if kind == "flare" else pivoting.DART
            made = pivoting.pivot(
                piece, np.array(point), source.end, opened, share, how, short, keep_breaks=True
            )
        else:
            if source.end is None:
                raise refuse(f"'{start}' is neither a dart nor a place on the outline.")
            if not about or by <= 0:
                raise refuse(
                    f"'{start}' is no dart, so it must be said about which point and by how much.",
                    "Such as 'about: bust point, by: 3 cm': the new dart's width.",
                )
            point = place(piece, about, work.unit).point
            made = pivoting.taken_from(piece, np.array(point), source.end, opened, by, short)
        out = _trued(work, made)
        made = out.pieces[name]
        out = _eased(out, work, name, opened.edge) if kind == "flare" else out
        if kind in walking.KINDS:
            new = min(made.darts, key=lambda d: _off(d, opened))
            out = walking.turned_into(out, name, new, kind)
        return out

    return act


def _trued(work: Work, made: Piece) -> Work:
    """The work with a piece, the edges that its change broke trued, which is told."""
    piece, moved = mended(made)
    return work.with_piece(piece).noting(
        *(
            f"{piece.name}: its {edge} was trued where it was opened or shut; it moved by "
            f"{length_text(off, work.unit)} at most."
            for edge, off in moved.items()
            if off >= TOLD_MM
        )
    )


def _off(dart: Dart, end: End) -> float:
    middle = 0.5 * (np.array(dart.first) + np.array(dart.second))
    return float(np.hypot(*(middle - np.array(end.near)))) + (0.0 if dart.edge == end.edge else 1e6)


def _eased(out: Work, before: Work, name: str, edge: str) -> Work:
    """What an edge has gained is told where it is sewn to something."""
    more = out.pieces[name].edges[edge].length_mm - before.pieces[name].edges[edge].length_mm
    sewn = [s.name for s in out.seams if (name, edge) in (*s.a, *s.b)]
    if not sewn or abs(more) < 0.05:
        return out
    return out.noting(
        f"{name}: its {edge} is {length_text(more, out.unit)} longer than before; "
        f"{', '.join(sewn)} must take it."
    )


def _share(row: Reader) -> float:
    from fractions import Fraction

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


def _turn(row: Reader, name: str) -> Act:
    _needs(row, "dart", "into")
    which, kind = row.text("dart"), row.word("into", walking.KINDS)

    def act(work: Work) -> Work:
        words = which if "dart" in which.split() else f"dart {which}"
        dart = dart_named(work.piece(name), words)
        if dart is None:
            raise refuse(f"'{which}' names no dart.", "Such as 'dart 1'.")
        return walking.turned_into(work, name, dart, kind)

    return act


def _spread(row: Reader, name: str) -> Act:
    _needs(row, "from", "to")
    start, to = row.text("from"), row.text("to")
    lines = row.count("lines", high=_MOST_LINES)
    hinge = row.text("hinge")
    ways = [k for k in ("by", "ratio", "length") if row.has(k)]
    if len(ways) != 1:
        row.note("", "should say how much once: 'by', 'ratio' or 'length'.")
    by = _mm(row, "by", -_MOST_MM)
    ratio = row.number("ratio", 1.0, 0.5, 5.0) if row.has("ratio") else 1.0
    length = _mm(row, "length")
    kind = row.word("as", ("cloth", "gathers", "ease", "pleats")) if row.has("as") else "cloth"

    def act(work: Work) -> Work:
        piece = work.piece(name)
        ends = _slashes(piece, start, to, lines, work.unit)
        edges = (ends[0][0].edge, ends[0][1].edge)
        if hinge and hinge not in edges:
            raise refuse(f"it can be hinged at {edges[0]} or {edges[1]}, not at '{hinge}'.")
        grown = edges[1] if hinge == edges[0] else edges[0]
        old = piece.edges[grown].length_mm
        wanted = old + by if row.has("by") else ratio * old if row.has("ratio") else length

        def opened(total: float) -> tuple[Piece, tuple[float, float]]:
            each = total / len(ends)
            amounts = (
                (0.0 if hinge == edges[0] else each),
                (0.0 if hinge == edges[1] else each),
            )
            lips = "pleat" if kind == "pleats" else ""
            made = spreading.fan(piece, ends, [amounts] * len(ends), lips, keep_breaks=True)
            return made, amounts

        total = wanted - old
        made, amounts = opened(total)
        if hinge or not row.has("by"):  # strips that slide apart by so much do so, told as they are
            # Where it slopes, an edge trued over its openings is shorter than all its strips.
            step, before = total, wanted - old  # so much more is that much nearer, to begin with
            for _ in range(_MOST_TRIES):
                short = wanted - mended(made)[0].edges[grown].length_mm
                if abs(short) < _EXACT_MM or min(amounts) < 0.0:
                    break
                gained = (before - short) / step
                step, before = short / (gained if 0.3 < gained < 3.0 else 1.0), short
                total += step
                made, amounts = opened(total)
        out = _trued(work, made)
        made = out.pieces[name]
        for edge, more in zip(edges, amounts, strict=True):
            if more == 0.0:
                continue
            seams = [s for s in out.seams if (name, edge) in (*s.a, *s.b)]
            if kind != "cloth" and seams:
                gain = made.edges[edge].length_mm - piece.edges[edge].length_mm
                word = {"gathers": "gathered in", "ease": "eased in"}.get(kind, "in pleats")
                changed = {s: walking.fuller(s, (name, edge), gain, word) for s in seams}
                out = replace(out, seams=tuple(changed.get(s, s) for s in out.seams))
            else:
                out = _eased(out, work, name, edge)
        return out

    return act


def _slashes(piece: Piece, start: str, to: str, lines: int, unit_: str) -> list[tuple[End, End]]:
    """The slashes: one between two places, or several spread evenly between two edges."""
    if start in piece.edges and to in piece.edges:
        a, b = piece.edges[start], piece.edges[to]
        shares = [(i + 1) / (lines + 1) for i in range(lines)]
        # Seen from inside, the second edge runs the other way round the ring.
        return [
            (
                End.on(piece, start, s * a.length_mm),
                End.on(piece, to, (1.0 - s) * b.length_mm),
            )
            for s in shares
        ]
    if lines != 1:
        raise refuse(
            "several lines run from edge to edge.", "Name two edges: 'from: neckline, to: hem'."
        )
    line = line_between(piece, start, to, (), 0.0, unit_)
    return [(line.a, line.b)]


def _lengthen(row: Reader, name: str) -> Act:
    _needs(row, "at", "by")
    level, by = row.text("at"), _mm(row, "by", -_MOST_MM)

    def act(work: Work) -> Work:
        piece = work.piece(name)
        line = level_line(piece, level_y(piece, level, work.unit))
        made = spreading.spread(piece, (line.a, line.b), line.inner, by, by, keep_breaks=True)
        return _trued(work, made)

    return act


def _strip(row: Reader, name: str) -> Act:
    _needs(row, "edge", "width")
    edge, width, line = row.text("edge"), _mm(row, "width", 1.0), row.text("line")
    return lambda w: adding.strip(w, name, edge, width, line)


def _join(row: Reader, _: str) -> Act:
    both = row.texts("join")
    if len(both) != 2:
        row.note("join", "should name two pieces.", "Such as 'join: [front yoke, back yoke]'.")
        both = ("", "")
    _needs(row, "edge")
    edge = row.text("edge")
    other, name = row.text("to", edge), row.text("as", both[0])

    def act(work: Work) -> Work:
        if name not in both and name in work.pieces:
            raise refuse(f"there is a piece '{name}' already.", "Give it another 'as' name.")
        return cutting.join(work, both[0], both[1], edge, other, name)

    return act


def _seam(row: Reader, name: str) -> Act:
    edge = row.text("as")
    return lambda w: cutting.seam_at_fold(w, name, edge)


def _unfold(row: Reader, name: str) -> Act:
    return lambda w: cutting.unfold(w, name)


def _part(row: Reader, name: str) -> Act:
    return lambda w: cutting.apart(w, name)


def _face(row: Reader, name: str) -> Act:
    _needs(row, "edges", "width")
    edges, width, made = row.texts("edges"), _mm(row, "width", 5.0), row.text("as")
    return lambda w: adding.facing(w, name, edges, width, made)


def _band(row: Reader, name: str) -> Act:
    _needs(row, "edge", "width")
    edge, width, made = row.text("edge"), _mm(row, "width", 5.0), row.text("as")
    ease, overlap = _mm(row, "ease"), _mm(row, "overlap")
    return lambda w: adding.band(w, name, edge, width, made, ease, overlap)


def _bind(row: Reader, name: str) -> Act:
    _needs(row, "edge")
    edge, width, made = row.text("edge"), _mm(row, "width", 8.0, 28.0), row.text("as")
    return lambda w: adding.bind(w, name, edge, width, made)


def _stand(row: Reader, _: str) -> Act:
    names = row.texts("stand")
    if not names:
        row.note("stand", "should name the pieces of the neckline, back first.")
    height, rise = _mm(row, "height", 5.0, 30.0), _mm(row, "rise", 0.0, 15.0)
    edge, made = row.text("edge", "neckline"), row.text("as")
    return lambda w: adding.stand(w, names, edge, height, rise, made)


def _patch(row: Reader, name: str) -> Act:
    _needs(row, "across", "level", "width", "depth")
    across, level = _mm(row, "across"), row.text("level")
    width, depth = _mm(row, "width", 40.0), _mm(row, "depth", 40.0)
    made = row.text("as")

    def act(work: Work) -> Work:
        top = level_y(work.piece(name), level, work.unit)
        return adding.patch(work, name, across, top, width, depth, made)

    return act


def _copy(row: Reader, name: str) -> Act:
    kind = row.word("for", (INTERFACING, adding.LINING))
    other = ("shorter", "edge") if kind == INTERFACING else ("short", "count")
    for key in other:
        if row.has(key):
            row.note(key, f"says nothing of {kind}.", _COPIES)
    shorter, edge = _mm(row, "shorter"), row.text("edge", "hem")
    short, count = _mm(row, "short"), row.count("count", high=50) if row.has("count") else 0
    if kind == INTERFACING:
        return lambda w: cuffs.interfacing(w, name, short, count)
    return lambda w: adding.lining(w, name, shorter, edge)


_COPIES = (
    "Lining takes 'shorter' at an 'edge'; interfacing 'short' all round and 'count', how many."
)


def _cuff(row: Reader, _: str) -> Act:
    names = row.texts("cuff")
    if not names:
        row.note("cuff", "should name the pieces whose edges make the sleeve's end.")
    _needs(row, "edge", "width")
    edge, width, made = row.text("edge"), _mm(row, "width", 10.0), row.text("as")
    ease, girth, overlap = _mm(row, "ease"), _mm(row, "girth", 20.0), _mm(row, "overlap")
    if ease and girth:
        row.note("girth", "says with 'ease' the same twice.", "Give one of them.")
    turned = row.flag("turned")
    return lambda w: cuffs.cuff(w, names, edge, width, made, ease, girth, overlap, turned)


def _pocket(row: Reader, name: str) -> Act:
    _needs(row, "edge", "at", "opening")
    edge, at, opening = row.text("edge"), _mm(row, "at"), _mm(row, "opening", 50.0)
    depth, made = _mm(row, "depth", otherwise=130.0), row.text("as")
    return lambda w: adding.pocket_bag(w, name, edge, at, opening, depth, made)


def _true(row: Reader, name: str) -> Act:
    _needs(row, "edge")
    edge, reach = row.text("edge"), _mm(row, "reach", otherwise=30.0)

    def act(work: Work) -> Work:
        piece = work.piece(name)
        return work.with_piece(spreading.trued(piece, edge_named(piece, edge), reach))

    return act


def _walk(row: Reader, name: str) -> Act:
    _needs(row, "edge", "along")
    edge, partner = row.text("edge"), row.text("along")
    other = row.text("to", edge)

    def act(work: Work) -> Work:
        found = walking.walk(work.piece(name), edge, work.piece(partner), other)
        return work.noting(walking.told(found, f"{name} {edge}", f"{partner} {other}", work.unit))

    return act


def _landmark(row: Reader, name: str) -> Act:
    _needs(row, "as", "across", "level")
    word, across, level = row.text("as"), _mm(row, "across"), row.text("level")

    def act(work: Work) -> Work:
        import shapely

        piece = work.piece(name)
        spot = (across, level_y(piece, level, work.unit))
        if not shapely.Polygon(piece.sewing_line).covers(shapely.Point(spot)):
            raise refuse(f"'{word}' would lie outside the {name}.")
        if word in piece.edges or _like_a_dart(word):
            raise refuse(f"'{word}' cannot name a landmark: it is read as something else.")
        return work.with_piece(piece.with_(landmarks={**piece.landmarks, word: spot}))

    return act


def _like_a_dart(word: str) -> bool:
    """Whether a text would be read as a dart's name."""
    return "dart" in word.split()


_VERBS = (
    Verb(
        "cut",
        "Cut a piece in two along a line: between two places, at a level, or beside an edge.",
        ("from", "to", "through", "bend", "level", "along", "by", "seam", "into", "notches"),
        "{cut: front, level: 9 cm below shoulder at neckline, into: [yoke, front]}",
        _cut,
    ),
    Verb(
        "pivot",
        "Move a dart about its point to another place, whole or in part; or take one from an edge.",
        ("about", "from", "to", "share", "as", "short", "by"),
        "{pivot: front, from: dart 1, to: side 6 cm from waist}",
        _pivot,
    ),
    Verb(
        "turn",
        "Turn a dart into gathers, ease, a pleat or a tuck.",
        ("dart", "into"),
        "{turn: front, dart: 1, into: gathers}",
        _turn,
    ),
    Verb(
        "spread",
        "Slash and spread (or, with less than 0, take in) along one line or several.",
        ("from", "to", "lines", "hinge", "by", "ratio", "length", "as"),
        "{spread: front, from: neckline, to: hem, lines: 5, ratio: 1.5, hinge: hem}",
        _spread,
    ),
    Verb(
        "lengthen",
        "Lengthen (or, with less than 0, shorten) at a level.",
        ("at", "by"),
        "{lengthen: front, at: side notch, by: 3 cm}",
        _lengthen,
    ),
    Verb(
        "strip",
        "Add a strip along a straight edge: button stand, grown-on facing, pleat, hem.",
        ("edge", "width", "line"),
        "{strip: front, edge: centre front, width: 6 cm}",
        _strip,
    ),
    Verb(
        "join",
        "Lay two pieces together along an edge and make them one.",
        ("edge", "to", "as"),
        "{join: [front yoke, back yoke], edge: shoulder, as: yoke}",
        _join,
    ),
    Verb(
        "seam at fold",
        "Give a piece on the fold a seam there.",
        ("as",),
        "{seam at fold: back}",
        _seam,
    ),
    Verb("unfold", "Open out a piece that lies on the fold.", (), "{unfold: front}", _unfold),
    Verb("part", "Make a pair a left and a right piece.", (), "{part: sleeve}", _part),
    Verb(
        "face",
        "Draft a facing from one edge, or an all-in-one facing from several.",
        ("edges", "width", "as"),
        "{face: front, edges: [neckline], width: 6 cm}",
        _face,
    ),
    Verb(
        "band",
        "Draft a straight band, folded along its middle, for an edge.",
        ("edge", "width", "ease", "overlap", "as"),
        "{band: front, edge: neckline, width: 3 cm}",
        _band,
    ),
    Verb(
        "bind",
        "Cut a bias binding for an edge, which then takes no allowance.",
        ("edge", "width", "as"),
        "{bind: front, edge: neckline, width: 28 mm}",
        _bind,
    ),
    Verb(
        "stand",
        "Draft a collar stand for a neckline, from the back piece to the front one.",
        ("edge", "height", "rise", "as"),
        "{stand: [back, front], height: 3 cm, rise: 1.5 cm}",
        _stand,
    ),
    Verb(
        "cuff",
        "Draft a shaped cuff from a sleeve's finished end, following its slope on or turned back.",
        ("edge", "width", "ease", "girth", "overlap", "turned", "as"),
        "{cuff: sleeve, edge: hem, width: 6 cm, overlap: 2 cm}",
        _cuff,
    ),
    Verb(
        "patch",
        "Draft a patch pocket and mark its place.",
        ("across", "level", "width", "depth", "as"),
        "{patch: front, across: 12 cm, level: 2 cm below side at armhole, width: 11 cm, depth: 13 cm}",
        _patch,
    ),
    Verb(
        "copy",
        "Copy a piece for lining, or for interfacing: on the sewing line or short of it, darts cut out.",
        ("for", "shorter", "edge", "short", "count"),
        "{copy: front, for: lining, shorter: 2 cm}",
        _copy,
    ),
    Verb(
        "pocket bag",
        "Draft an in-seam pocket bag and notch its opening.",
        ("edge", "at", "opening", "depth", "as"),
        "{pocket bag: front, edge: side, at: 6 cm, opening: 15 cm}",
        _pocket,
    ),
    Verb(
        "true up",
        "Redraw the corners inside an edge as smooth curves.",
        ("edge", "reach"),
        "{true up: front, edge: waist}",
        _true,
    ),
    Verb(
        "walk",
        "Walk one edge along another and tell what is found.",
        ("edge", "along", "to"),
        "{walk: front, edge: shoulder, along: back}",
        _walk,
    ),
    Verb(
        "landmark",
        "Name a place inside a piece, by its distance from the centre line and its level.",
        ("as", "across", "level"),
        "{landmark: front, as: bust point, across: 9.5 cm, level: side at armhole}",
        _landmark,
    ),
)
VERBS: Mapping[str, Verb] = {v.word: v for v in _VERBS}
