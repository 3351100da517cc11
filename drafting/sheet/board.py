"""The drawing sheet: where a block is drawn, once, by the words of the trade.

A block gets a `Sheet` with her measures, style and fit changes as amounts. On it the block sets
levels, marks and moves points, joins them and draws the curves, in steps; then it hands over its
pieces with what must be equal, square and smooth. The steps with their sums, and what every edge
hangs on, are read off. What is drawn outside a step is no step's news, but is known all the same.
Frame: piece mm, x from the centre line, y up.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np

from configs.errors import DraftError, Fault
from configs.units import format_length
from drafting.allowance import plain
from drafting.curves import Cubic, Points, chain_points
from drafting.fit import KINDS, FitChange
from drafting.measurements import REGISTRY, Measurements
from drafting.outline import Edge
from drafting.piece import Notch, Piece
from drafting.sheet.amount import (
    FOUND,
    MEASURE,
    OPTION,
    Amount,
    Choice,
    Sources,
    number,
    sources_of,
)
from drafting.sheet.making import Task
from drafting.sheet.onto import EdgeRun, Onto
from drafting.sheet.record import BOTH, CENTRE_LINE, XY, Deed, Recorded, Spot, spot_array
from drafting.truing import Check, Corner, Girth, Run, Seam
from drafting.truing import Spot as EdgeAt

STYLE, FIT = "style.", "fit."
NO_EDGE = {"armhole": "Choose a garment with armholes; a quick top has them with 'sleeve: none'."}
PAPER_MARGIN_MM = 50.0


class Body(Mapping[str, Amount]):
    """Her measures as amounts; a missing one is refused as `Measurements` does it. ``below``: mm below the
    waist where a skirt begins: so much less is its way to the hip."""

    def __init__(self, measurements: Measurements, below: float = 0.0) -> None:
        self._of, self._below = measurements, below

    def __getitem__(self, key: str) -> Amount:
        name, value = REGISTRY[key].name, self._of[key]
        if self._below and key == "waist_to_hip":
            name, value = "yoke to hip", value - self._below
        return Amount(value, MEASURE, name, (), frozenset((key,)))

    def __iter__(self) -> Iterator[str]:
        return iter(self._of.values)

    def __len__(self) -> int:
        return len(self._of.values)

    def get(self, key: str, default: Any = None) -> Any:
        """The measure, or ``default`` when it was not taken."""
        return self[key] if key in self._of else default


def _option(key: str, value: Any) -> Any:
    if isinstance(value, float):
        return Amount(value, OPTION, key.replace("_", " "), (), frozenset((STYLE + key,)))
    return Choice(value, STYLE + key) if isinstance(value, str) else value


def _change(c: FitChange) -> Amount:
    return Amount(c.by_mm, FOUND, f"fit: {c.change}", (), frozenset((FIT + c.change,)))


class Sheet:
    """One drawing sheet for one body, one style, one list of fit changes.

    ``m``: her measures; ``style``: option → amount, `Choice` or None; ``spots``: the points by
    name; ``pieces``, ``notes``, ``figures`` and the truing lists are what the block hands over; ``onto``: the
    garment that it is sewn to, None of a block drafted alone; ``making``: how it is made up, a sentence each: a `Task`, or
    words alone for the stage of what the block is sewn to.
    """

    def __init__(
        self,
        measurements: Measurements,
        style: Mapping[str, Any],
        fit: tuple[FitChange, ...] = (),
        onto: Onto | None = None,
    ) -> None:
        self.measurements = measurements
        self.fit = tuple(replace(c, by_mm=_change(c)) for c in fit)
        self.m = Body(measurements)
        self.style: dict[str, Any] = {k: _option(k, v) for k, v in style.items()}
        self.unit = measurements.unit
        self.spots: dict[str, Spot] = {}
        self.levels: dict[str, float] = {}
        self.steps: list[Recorded] = []
        self.notes: list[str] = [] if onto else list(measurements.warnings)
        self.making: list[str | Task] = []
        self.partners: list[tuple[str, Notch]] = []
        self.figures: dict[str, float] = {}
        self.pieces: dict[str, Piece] = {}
        self.hangs_on: dict[tuple[str, str], Sources] = {}
        self.seams: list[Seam] = []
        self.corners: list[Corner] = []
        self.joins: list[tuple[Seam, bool]] = []
        self._mated: list[tuple[str, EdgeAt, EdgeAt]] = []
        self.girths: list[Girth] = []
        self.checks: list[Check] = []
        self.wide = 0.0
        self.onto = onto
        self._deeds: list[Deed] | None = None
        self._faults: list[Fault] = []

    # --- amounts ----------------------------------------------------------------------------------

    def t(self, mm: float) -> str:
        """A length in her unit."""
        return format_length(float(mm), self.unit)

    def fitted(self, change: str) -> Amount:
        """The sum of her fit changes of this name."""
        by = sum(float(c.by_mm) for c in self.fit if c.change == change)
        return Amount(by, FOUND, f"fit: {change}", (), frozenset((FIT + change,)))

    def fitted_at(self, level: str) -> Amount:
        """What her fit changes add to the girth at a level."""
        added = [(c, KINDS[c.change].adds.get(level, 0.0)) for c in self.fit]
        by = sum(share * float(c.by_mm) for c, share in added)
        keys = frozenset(FIT + c.change for c, share in added if share)
        return Amount(by, FOUND, "fit", (), keys)

    def chosen(self, key: str, lengths: Mapping[str, float]) -> Amount:
        """An option that is a length or the name of one."""
        value = self.style[key]
        if isinstance(value, Amount):
            return value
        mm = lengths[value]
        return Amount(
            mm, OPTION, f"{key.replace('_', ' ')}, {value},", (mm,), sources_of(value, mm)
        )

    def given(self, key: str, otherwise: float, *of: Any) -> Amount:
        """An option that is a length; where it is unset, what the method takes, ``of`` other things."""
        value = self.style[key]
        if isinstance(value, Amount):
            return value
        sources = sources_of(otherwise, *of) | {STYLE + key}
        if isinstance(otherwise, Amount):
            return Amount(
                float(otherwise), otherwise.kind, otherwise.label, otherwise.parts, sources
            )
        return Amount(float(otherwise), OPTION, key.replace("_", " "), (), sources)

    def options(self, *keys: str) -> Sources:
        """These options as what an edge hangs on, also where they are unset."""
        return frozenset(STYLE + k for k in keys)

    @property
    def garment(self) -> Onto:
        """What this block is sewn to.

        Raises:
            DraftError: nothing.
        """
        if self.onto is None:
            raise DraftError.of("block", "there is no garment to sew it to.")
        return self.onto

    def fits(
        self, kind: str, leave: str = "Leave that out.", *, beside: str = "\0", without: Sequence[str] = ()
    ) -> tuple[EdgeRun, ...]:  # fmt: skip
        """The edges of one kind that this block is sewn to, but for those with the words ``without``. Where one is
        taken already, unless by what is called ``beside``, or its half is not told, a fault is noted, with what to do: ``leave``.

        Raises:
            DraftError: the garment has none.
        """
        onto = self.garment
        runs = tuple(r for r in onto.edge_runs(kind) if not {*r.edge.split()} & {*without})
        if not runs:
            has = sorted({e for p in onto.pieces.values() for e in p.edges})
            what = f"there is no {kind} to sew it to; the edges are {', '.join(has)}."
            raise DraftError.of("block", what, NO_EDGE.get(kind, ""))
        for r in runs:
            at, taken = f"the {r.edge} of the {r.piece}", onto.taken(r.piece, r.edge)
            wrong = bool(taken) and beside not in taken
            self.fault(wrong, "block", f"{at} is taken by {taken} already.", leave)
            what = f"it cannot be told whether {at} is in front or behind."
            self.fault(not r.half, "block", what, "Join the pieces otherwise, or name them 'front …' or 'back …'.")  # fmt: skip
        return runs

    # --- faults -----------------------------------------------------------------------------------

    def fault(self, wrong: bool, where: str, what: str, remedy: str = "") -> None:
        """Note a reason to refuse; `stop` tells all of them at once."""
        if wrong:
            self._faults.append(Fault(where, what, remedy))

    def refuse(self, wrong: bool, where: str, what: str, remedy: str = "") -> None:
        """Refuse the draft for this reason, if it is one.

        Raises:
            DraftError: with what was noted before.
        """
        self.fault(wrong, where, what, remedy)
        self.stop()

    def stop(self) -> None:
        """Refuse the draft if there was a reason.

        Raises:
            DraftError: all that was noted.
        """
        if self._faults:
            raise DraftError(self._faults)

    # --- drawing ----------------------------------------------------------------------------------

    @contextmanager
    def step(self, key: str, title: str, piece: str = BOTH, why: str = "") -> Iterator[None]:
        """What is done inside is one step; ``why``: a sentence without numbers that ends it."""
        deeds: list[Deed] = []
        self._deeds = deeds
        try:
            yield
        finally:
            self._deeds = None
        if deeds:
            self.steps.append(Recorded(key, piece, title, why, deeds))

    def _did(self, deed: Deed) -> None:
        if self._deeds is not None:
            self._deeds.append(deed)

    def frame(self, length: float, wide: float, **levels: float) -> None:
        """The centre line, ``length`` long, and levels square to it: name → how far down."""
        self.wide = float(wide)
        line_ = np.array([[0.0, 0.0], [0.0, -float(length)]])
        self._did(Deed("level", CENTRE_LINE, points=line_))
        for name, down in levels.items():
            self.level(name.replace("_", " "), down)

    def level(self, name: str, down: float = 0.0) -> None:
        """A line square to the centre line, ``down`` below the first level."""
        first = next(iter(self.levels), "")
        self.levels[name] = y = -down if down else 0.0
        line_ = np.array([[0.0, float(y)], [self.wide, float(y)]])
        at = Spot(0.0, y, level_name(name))
        origin = Spot(0.0, 0.0, level_name(first)) if first else None
        self.spots[at.name] = at
        self._did(Deed("level", name, at, origin, first, up=y, points=line_))

    def point(
        self, name: str, *, on: str = "", from_: str = "", out: float = 0.0, up: float = 0.0
    ) -> Spot:
        """Mark a point: ``out`` from the centre and ``up`` from its level, or from a point.

        ``on``: the level, or 'centre line' (``up`` is then from the first level).
        """
        if from_:
            start = self.spots[from_]
        elif on and on != CENTRE_LINE:
            start = Spot(0.0, self.levels[on], level_name(on))
        else:
            start = Spot(0.0, 0.0, level_name(next(iter(self.levels))))
        x = start.x + out if start.x else out
        if isinstance(x, Amount):
            x = x.named(name)
        at = Spot(x, start.y + up if up else start.y, name, start if from_ else ())
        self.spots[name] = at
        self._did(Deed("mark", name, at, start, on, out, up))
        return at

    def move(self, name: str, *, out: float = 0.0, up: float = 0.0, to: str = "") -> Spot:
        """Move a point; the moved one is called ``to``, or keeps its name."""
        before = self.spots[name]
        x = before.x + out if out else before.x
        at = Spot(
            x.named(to or name) if isinstance(x, Amount) else x,
            before.y + up if up else before.y,
            to or name,
        )
        self.spots[at.name] = at
        self._did(Deed("move", at.name, at, before, "", out, up))
        return at

    def moved_to(self, name: str, at: XY, to: str = "") -> Spot:
        """A point that style or fit put at another place; nothing is recorded if it stayed."""
        before = self.spots.get(name)
        name_ = to or name
        x = at[0].named(name_) if isinstance(at[0], Amount) and at[0].parts else at[0]
        new = Spot(x, at[1], name_)
        self.spots[new.name] = new
        if before is None:
            self._did(Deed("mark", new.name, new))
        elif abs(new.x - before.x) + abs(new.y - before.y) > 0.05:
            out, up = float(new.x - before.x), float(new.y - before.y)
            self._did(Deed("move", new.name, new, before, "", out, up))
        return new

    def join(self, name: str, *ends: str) -> None:
        """A straight construction line through points."""
        points = spot_array([self.spots[n] for n in ends])
        self._did(Deed("join", name, points=points, how=" and ".join(f"the {e}" for e in ends)))

    def dart(self, name: str, inner: Points, tip: Points, outer: Points) -> None:
        """A dart: its legs from ``tip`` (2,) mm to both its ends."""
        for word, p in (("inner", inner), ("outer", outer), ("point", tip)):
            at = Spot(float(p[0]), float(p[1]), f"{name} {word}")
            self._did(Deed("dart point", at.name, at))
        points = np.array([inner, tip, outer], dtype=np.float64)
        self._did(Deed("dart", name, points=points))

    def draw(self, name: str, line: Sequence[Cubic] | Points, how: str = "") -> None:
        """A line that will be sewn; ``how``: words of the trade; '-' says nothing of it."""
        points = line if isinstance(line, np.ndarray) else chain_points(line)
        self._did(Deed("draw", name, points=points, how=how))

    def tell(self, name: str, amount: float) -> None:
        """A number that the step gives without drawing anything."""
        self._did(Deed("tell", name, amounts=(amount if isinstance(amount, Amount) else number(amount),)))  # fmt: skip

    def remark(self, text: str) -> None:
        """A line of words among the sums of a step."""
        self._did(Deed("tell", text))

    # --- what is handed over ----------------------------------------------------------------------

    def add(self, piece: Piece, **of: Any) -> Piece:
        """A finished piece. ``of``: edge → what it hangs on; 'all' for the others."""
        self.pieces[piece.name] = piece
        for edge in piece.edges:
            key = plain(edge).replace(" ", "_")
            key = key if key in of else edge.replace(" ", "_")
            self.hangs_on[piece.name, edge] = sources_of(of.get(key, of.get("all", ())))
        return piece

    def makes(self, **stages: str | Sequence[str]) -> None:
        """How it is sewn: `making.STAGES` → a sentence or several. Of a skirt on a bodice, what closes and
        finishes the waist is told by the joint."""
        for stage, told in stages.items():
            if not (self.joins and stage in ("closing", "finish")):
                texts = (told,) if isinstance(told, str) else told
                self.making += [Task(stage, t) for t in texts if t]

    def notch_onto(self, piece: str, notch: Notch) -> None:
        """A notch on a piece of the garment that this block is sewn to."""
        self.partners.append((piece, notch))

    def square(self, piece: str, pairs: Iterable[frozenset[str]]) -> None:
        """Corners of a piece that must be square, by the plain names of their edges."""
        wanted = set(pairs)
        for before, after in ring_pairs(self.pieces[piece]):
            if frozenset((plain(before), plain(after))) in wanted:
                self.corners.append(Corner(piece, before, after))

    def sew(self, name: str, a: EdgeAt, b: EdgeAt, ease: float = 0.0) -> None:
        """Two edges sewn together; what they meet at both ends must run on over the seam.

        ``ease``: how much longer ``a`` is, to be eased in.
        """
        self.seams.append(Seam(name, (a,), (b,), ease, "eased in"))
        self._mated.append((name, a, b))

    @property
    def runs(self) -> tuple[Run, ...]:
        """Lines that must run on over the seams; not those that are a seam of their own there."""
        sewn = {spot for _, *pair in self._mated for spot in pair}
        every = {**(self.onto.pieces if self.onto else {}), **self.pieces}
        return tuple(r for name, a, b in self._mated for r in _runs_over(every, name, a, b, sewn))

    def settle(self, word: str) -> None:
        """Last: the pieces bear ``word`` in their names, where they have not, and ``joins`` are sewn, each
        with its word whether lines must run on over it. What is joined may have pieces of the same names."""
        called = {n: n if word in n.split() else f"{word} {n}" for n in self.pieces}

        def at(spots: Iterable[EdgeAt]) -> tuple[EdgeAt, ...]:
            return tuple((called.get(p, p), e) for p, e in spots)

        self.pieces = {
            called[n]: p.with_(name=called[n], label=(called[n], *p.label[1:]))
            for n, p in self.pieces.items()
        }
        self.hangs_on = {(called[p], e): k for (p, e), k in self.hangs_on.items()}
        self.seams = [replace(x, name=f"{word} {x.name}", a=at(x.a), b=at(x.b)) for x in self.seams]
        self.corners = [replace(c, piece=called[c.piece]) for c in self.corners]
        self._mated = [(f"{word} {name}", at((a,))[0], at((b,))[0]) for name, a, b in self._mated]
        for i, c in enumerate(self.checks):
            head, colon, rest = c.name.partition(":")
            if head in called:
                self.checks[i] = replace(c, name=called[head] + colon + rest)
        for seam, runs_on in self.joins:
            seam = replace(seam, a=at(seam.a))
            self.seams.append(seam)
            if runs_on:
                self._mated.append((seam.name, seam.a[0], seam.b[0]))


def level_name(line_name: str) -> str:
    """'waist level' of the waist line."""
    return line_name.removesuffix(" line") + " level"


def ring_pairs(piece: Piece) -> list[tuple[str, str]]:
    """Each edge of a piece with the one that follows it."""
    ring = list(piece.edges)
    return list(zip(ring, [*ring[1:], ring[0]], strict=True))


def _runs_over(
    pieces: Mapping[str, Piece], seam: str, a: EdgeAt, b: EdgeAt, sewn: set[EdgeAt]
) -> list[Run]:
    """The lines that meet a seam's ends on both pieces, by their plain names."""

    def at_ends(spot: EdgeAt) -> dict[str, Corner]:
        piece, edge = spot
        out = {}
        for before, after in ring_pairs(pieces[piece]):
            if edge in (before, after):
                met = after if before == edge else before
                if (piece, met) not in sewn:
                    out[plain(met)] = Corner(piece, before, after)
        return out

    one, other = at_ends(a), at_ends(b)
    side = seam.removesuffix(plain(seam))
    return [Run(f"{side}{w} over the {plain(seam)}", one[w], other[w]) for w in one if w in other]


def edges_of(curves: Mapping[str, Sequence[Cubic] | Points]) -> dict[str, Edge]:
    """Edges from curves or points, in order."""
    return {
        n: Edge(n, c if isinstance(c, np.ndarray) else chain_points(c)) for n, c in curves.items()
    }
